// Reads a coach's sentences back while they are typed. Without this script the page's own button does it.
"use strict";

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
      if (!answer.ok || turn !== asked) return; // the page's button still works, and tells what is wrong
      reading.innerHTML = await answer.text(); // our own page's part, in which every text is escaped
    } catch {
      // The network is off: the page's button tells.
    }
  };

  sentences.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(read, waitMS);
  });
})();
