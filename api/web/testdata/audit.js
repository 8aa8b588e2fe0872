// Checks of a page that a machine can make. Source of the limits: WCAG 2.2, success criteria 1.3.1, 1.4.3, 2.4.6, 2.5.3, 2.5.8, 4.1.2.
// The value is a list of sentences, one for each thing that is wrong.
(() => {
  const faults = [];
  const name = (e) => `<${e.tagName.toLowerCase()} class="${e.getAttribute("class") || ""}"> "${(e.textContent || "").trim().slice(0, 40)}"`;
  const shown = (e) => e.checkVisibility({ visibilityProperty: true }) && !e.closest(".unseen, .skip");

  if (!document.documentElement.lang) faults.push("the page names no language");
  if (document.querySelectorAll("main").length !== 1) faults.push("the page has not exactly one main part");
  if (document.querySelectorAll("h1").length !== 1) faults.push("the page has not exactly one h1");
  let level = 0;
  for (const h of document.querySelectorAll("h1, h2, h3, h4")) {
    const own = Number(h.tagName[1]);
    if (own > level + 1) faults.push(`heading ${name(h)} skips a level after h${level}`);
    level = own;
  }
  const ids = new Set();
  for (const e of document.querySelectorAll("[id]")) {
    if (ids.has(e.id)) faults.push(`two elements have the id ${e.id}`);
    ids.add(e.id);
  }
  for (const e of document.querySelectorAll("[aria-labelledby], [aria-describedby]"))
    for (const attribute of ["aria-labelledby", "aria-describedby"])
      for (const id of (e.getAttribute(attribute) || "").split(/\s+/).filter(Boolean))
        if (!ids.has(id)) faults.push(`${name(e)} points at ${id}, which is not there`);
  for (const e of document.querySelectorAll("input:not([type=hidden]):not([hidden]), select, textarea"))
    if (!e.labels.length) faults.push(`${name(e)} ${e.name} has no label`);
  for (const e of document.querySelectorAll("svg"))
    if (!e.closest("[aria-hidden=true]") && !e.querySelector("title") && !e.getAttribute("aria-label")) faults.push(`a picture has no name: ${name(e)}`);
  for (const e of document.querySelectorAll("a, button"))
    if (!(e.textContent.trim() || e.getAttribute("aria-label"))) faults.push(`${name(e)} says nothing`);
  const text = (e) => [...e.childNodes].map((n) => n.nodeType === Node.TEXT_NODE ? n.data : n.nodeType !== Node.ELEMENT_NODE || n.ariaHidden === "true" || n.matches("svg, .unseen") ? "" : text(n)).join("");
  const words = (t) => t.toLowerCase().replace(/[^\p{L}\p{N}]+/gu, " ").trim();
  for (const e of document.querySelectorAll("a[aria-label], button[aria-label]"))
    if (!words(e.getAttribute("aria-label")).includes(words(text(e)))) faults.push(`${name(e)} is called otherwise than it reads: ${e.getAttribute("aria-label")}`);
  const landmarks = new Set();
  for (const e of document.querySelectorAll("nav, aside, section[aria-label], section[aria-labelledby], [role=region]")) {
    const called = e.getAttribute("aria-label") ?? (e.getAttribute("aria-labelledby") ?? "").split(/\s+/).map((id) => document.getElementById(id)?.textContent.trim()).join(" ");
    const kind = `${e.getAttribute("role") ?? (e.tagName === "SECTION" ? "region" : e.tagName)} "${called}"`;
    if (landmarks.has(kind) && shown(e)) faults.push(`two parts of the page are the ${kind}`);
    landmarks.add(kind);
  }
  for (const e of document.querySelectorAll("th")) if (!e.scope) faults.push(`${name(e)} has no scope`);
  for (const e of document.querySelectorAll("table")) if (!e.caption) faults.push("a table has no caption");
  for (const e of document.querySelectorAll("button, input:not([type=hidden]):not([hidden]), select, textarea, .button, nav a")) {
    const box = e.getBoundingClientRect();
    if (shown(e) && (box.width < 20 || box.height < 24) && !e.closest(".check")) faults.push(`${name(e)} is ${Math.round(box.width)} x ${Math.round(box.height)} px: too small to hit`);
  }
  for (const e of document.querySelectorAll("[style]")) faults.push(`${name(e)} has a style of its own`);

  const channels = (colour) => colour.match(/[\d.]+/g).map(Number);
  const light = ([r, g, b]) => {
    const [x, y, z] = [r, g, b].map((v) => (v / 255 <= 0.04045 ? v / 255 / 12.92 : ((v / 255 + 0.055) / 1.055) ** 2.4));
    return 0.2126 * x + 0.7152 * y + 0.0722 * z;
  };
  const ground = (e) => {
    for (; e; e = e.parentElement) {
      const c = channels(getComputedStyle(e).backgroundColor);
      if (c.length < 4 || c[3] === 1) return c;
      if (c[3] > 0) faults.push(`${name(e)} has a half transparent ground`);
    }
    return [255, 255, 255];
  };
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const seen = new Set();
  while (walker.nextNode()) {
    const e = walker.currentNode.parentElement;
    if (!walker.currentNode.data.trim() || seen.has(e) || e.closest("svg, script, style, option, title") || !shown(e)) continue;
    seen.add(e);
    const style = getComputedStyle(e);
    const [a, b] = [light(channels(style.color)), light(ground(e))];
    const contrast = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    const size = parseFloat(style.fontSize);
    const large = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
    if (contrast < (large ? 3 : 4.5)) faults.push(`${name(e)} stands ${contrast.toFixed(2)} to 1 against its ground`);
  }
  return faults;
})()
