// Builds elements. Text is always text; nothing is read as HTML.

function fill(element, props, children) {
  for (const [name, value] of Object.entries(props ?? {})) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name === "value") element.value = value;
    else element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}

export const h = (tag, props, ...children) => fill(document.createElement(tag), props, children);

export const svg = (tag, props, ...children) => fill(document.createElementNS("http://www.w3.org/2000/svg", tag), props, children);

// keyOf is what identifies an element when it is rebuilt.
const keyOf = (element) => element.id || ["name", "value", "href", "aria-label"].map((name) => element.getAttribute(name) ?? "").join("|") + element.textContent;

// swap shows children in a parent and leaves alone those that are already there, so that nothing
// moves away under a finger, and the element with the focus keeps it.
export function swap(parent, ...children) {
  const held = parent.contains(document.activeElement) ? document.activeElement : null;
  const next = children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false && child !== "");
  const old = [...parent.childNodes];
  next.forEach((node, i) => {
    if (!old[i]) parent.append(node);
    else if (!(node instanceof Node) || !old[i].isEqualNode(node)) old[i].replaceWith(node);
  });
  for (const node of old.slice(next.length)) node.remove();
  if (held && !held.isConnected) [...parent.querySelectorAll(held.tagName)].find((element) => keyOf(element) === keyOf(held))?.focus({ preventScroll: true });
}

// say announces something to users of a screen reader.
export function say(text) {
  const region = document.getElementById("say");
  region.textContent = region.textContent === text ? `${text} ` : text; // the same words again have to be announced too
}

// Signs by shape, so that colour is not needed: a disc for kept, a cross for broken, a hollow
// diamond for not measured.
const signs = {
  kept: () => [svg("circle", { cx: 12, cy: 12, r: 9, class: "fill" }), svg("path", { d: "M7.500 12.300L10.700 15.400 16.500 8.900", class: "cut" })],
  broken: () => [svg("path", { d: "M5.500 5.500L18.500 18.500M18.500 5.500L5.500 18.500", class: "stroke" })],
  unknown: () => [svg("path", { d: "M12 3L21 12 12 21 3 12Z", class: "hollow" })],
  none: () => [svg("rect", { x: 6, y: 6, width: 12, height: 12, class: "fill" })],
};

export const sign = (verdict) => svg("svg", { class: `sign ${verdict}`, viewBox: "0 0 24 24", "aria-hidden": "true", focusable: "false" }, signs[verdict]());

// choiceList is a group of radio buttons as wide rows.
export function choiceList(name, items, chosen, onchange) {
  return h("ul", { class: "choices" }, items.map((item) => h("li", {}, h("label", { class: "choice" },
    h("input", { type: "radio", name, value: item.value, checked: item.value === chosen, onchange: () => onchange(item.value) }),
    h("span", { class: "choice-text" }, h("strong", {}, item.title), item.lines.map((line) => h("span", {}, line)))))));
}

export const field = (label, input, hint) => {
  const id = input.id || `field-${label.toLowerCase().replace(/[^a-z]+/g, "-")}`;
  input.id = id;
  if (hint) input.setAttribute("aria-describedby", `${id}-hint`);
  return h("div", { class: "field" }, h("label", { for: id }, label), hint && h("p", { class: "hint", id: `${id}-hint` }, hint), input);
};
