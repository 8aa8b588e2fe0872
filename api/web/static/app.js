// Makes forms quicker. Every page does the same without this script, by its own buttons.
"use strict";

// Reads a coach's sentences back while they are typed.
(() => {
  const reading = document.getElementById("reading");
  const sentences = document.getElementById("sentences");
  if (!reading || !sentences) return;
  const waitMS = 400;
  let timer = 0;
  let asked = 0;

  const read = async () => {
    const turn = ++asked;
    try {
      const answer = await fetch(reading.dataset.reads, {
        method: "POST",
        body: new URLSearchParams({ sentences: sentences.value }),
        credentials: "same-origin",
      });
      if (!answer.ok || turn !== asked) return; // the page's button still works, and says what is wrong
      reading.innerHTML = await answer.text(); // our own page's part, in which every text is escaped
    } catch {
      // The network is off: the page's button says so.
    }
  };

  sentences.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(read, waitMS);
  });
})();

// Adds a row to a load table.
(() => {
  const more = document.getElementById("more-loads");
  const loads = document.getElementById("loads");
  if (!more || !loads) return;

  const renumber = (text, n) => text.replace(/^load-\d+-/, `load-${n}-`);

  more.addEventListener("click", (event) => {
    event.preventDefault();
    const n = loads.children.length + 1;
    const row = loads.lastElementChild.cloneNode(true);
    row.querySelector("legend").textContent = `Load ${n}`;
    for (const fault of row.querySelectorAll(".fault")) fault.remove();
    for (const cell of row.querySelectorAll(".faulty")) cell.classList.remove("faulty");
    for (const label of row.querySelectorAll("label")) label.htmlFor = renumber(label.htmlFor, n);
    for (const field of row.querySelectorAll("input, select")) {
      field.id = renumber(field.id, n);
      field.name = renumber(field.name, n);
      field.removeAttribute("aria-describedby");
      field.removeAttribute("aria-invalid");
      if (field.tagName === "INPUT") field.value = "";
    }
    loads.append(row);
    row.querySelector("select").focus();
  });
})();

// Keeps the page, and what was typed, where there is no network: a form is sent once the server has
// answered.
(() => {
  const waitMS = 10000;
  const answers = async () => {
    try {
      await fetch("/healthz", { cache: "no-store", signal: AbortSignal.timeout(waitMS) });
      return true;
    } catch {
      return false;
    }
  };
  const say = (form, text) => {
    form.querySelector(".unsent")?.remove();
    if (!text) return;
    const notice = document.createElement("p");
    notice.className = "alert unsent";
    notice.setAttribute("role", "alert");
    notice.tabIndex = -1;
    notice.textContent = text;
    form.prepend(notice);
    notice.focus();
  };

  document.addEventListener("submit", async (event) => {
    const form = event.target;
    if (event.defaultPrevented || form.method !== "post" || form.dataset.reached) return;
    event.preventDefault();
    if (form.dataset.asking) return; // a second click
    form.dataset.asking = "yes";
    const reached = await answers();
    delete form.dataset.asking;
    say(form, reached ? "" : "The server can’t be reached, so nothing was sent. What you entered is still here: try again when the network is back.");
    if (!reached) return;
    form.dataset.reached = "yes";
    form.requestSubmit(event.submitter); // comes back here at once
    delete form.dataset.reached;
  });
})();
