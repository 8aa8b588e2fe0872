// The pin deck: the user taps the pins left standing, or strike. Until then nothing is recorded.

import { h, say } from "./dom.js";
import { leaveName, pinRows } from "./lane.js";

export class PinsView {
  // onchange is called with the standing pins: null not recorded, empty a strike.
  constructor({ onchange }) {
    this.onchange = onchange;
    this.standing = null;
    this.buttons = new Map();
    const rows = [...pinRows].reverse().map((row) => h("div", { class: "pin-row" }, row.map((pin) => this.button(pin))));
    this.strike = h("button", { type: "button", class: "strike quiet", "aria-pressed": "false", onclick: () => this.set(this.standing?.length === 0 ? null : []) },
      "Strike");
    this.words = h("p", { class: "pins-words soft" });
    this.element = h("div", { class: "deck", role: "group", "aria-label": "Pins left standing", onkeydown: (event) => this.key(event) },
      h("div", { class: "pins" }, rows), h("div", { class: "deck-side" }, this.strike, this.words));
    this.update(null);
  }

  button(pin) {
    const button = h("button", { type: "button", class: "pin", "aria-pressed": "false", "aria-label": `Pin ${pin} stands`, onclick: () => this.toggle(pin) }, String(pin));
    this.buttons.set(pin, button);
    return button;
  }

  // key lets 1 to 9 and 0, for pin 10, turn pins, and X mark a strike.
  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (/^[0-9]$/.test(event.key)) this.toggle(Number(event.key) || 10);
    else if (event.key === "x" || event.key === "X") this.set([]);
    else return;
    event.preventDefault();
  }

  toggle(pin) {
    const now = this.standing ?? [];
    const next = now.includes(pin) ? now.filter((other) => other !== pin) : [...now, pin].sort((a, b) => a - b);
    this.set(next.length > 0 ? next : null); // removing the last pin again does not make a strike
  }

  set(standing) {
    this.onchange(standing);
    say(standing === null ? "pins not recorded" : standing.length === 0 ? "strike" : `left ${leaveName(standing)}`);
  }

  update(standing) {
    this.standing = standing;
    for (const [pin, button] of this.buttons) button.setAttribute("aria-pressed", String(Boolean(standing?.includes(pin))));
    this.strike.setAttribute("aria-pressed", String(standing?.length === 0));
    this.element.classList.toggle("recorded", standing !== null);
    this.words.textContent = standing === null ? "Tap the pins left standing." : standing.length === 0 ? "All ten down." : `Left ${leaveName(standing)}`;
  }
}
