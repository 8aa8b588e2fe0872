// The four places of the path as buttons with what was entered, and a row to nudge or type the
// chosen one.

import { h } from "./dom.js";
import { boards, lengthFt, placeNamed, places } from "./lane.js";

const clamp = (value, low, high) => Math.min(high, Math.max(low, value));

// placeEditor calls onselect with the place chosen and onchange with what was typed or nudged.
export function placeEditor({ onselect, onchange }) {
  let record = {}, selected = "breakpoint";
  const buttons = new Map(places.map(({ name, label }) => [name, h("button", { type: "button", class: "place", onclick: () => onselect(name) },
    h("span", { class: "place-name" }, label), h("span", { class: "place-value" }))]));
  const fault = h("p", { class: "fault", role: "alert" });
  const board = h("input", { id: "board", inputmode: "decimal", autocomplete: "off", onchange: () => type(board, placeNamed(selected).board, boards + 1, "board, 1 to 39; 0 and 40 are the gutters") });
  const ft = h("input", { id: "ft", inputmode: "decimal", autocomplete: "off", onchange: () => type(ft, "breakpoint_ft", lengthFt, "distance, 0 to 60 ft") });
  const ftPart = h("span", { class: "adjust-part" }, h("label", { for: "ft" }, "ft"), ft);
  const less = h("button", { type: "button", class: "quiet step", "aria-label": "One board outside", onclick: () => nudge(-1) }, "−");
  const more = h("button", { type: "button", class: "quiet step", "aria-label": "One board inside", onclick: () => nudge(1) }, "+");
  const clear = h("button", { type: "button", class: "quiet clear", onclick: () => onchange(selected === "breakpoint"
    ? { breakpoint_board: undefined, breakpoint_ft: undefined } : { [placeNamed(selected).board]: undefined }) }, "Clear");
  const boardLabel = h("label", { for: "board", class: "unseen" });

  function nudge(by) {
    const name = placeNamed(selected).board;
    onchange({ [name]: clamp((record[name] ?? 20) + by, 0, boards + 1) }, `nudge ${name}`);
  }

  function type(input, name, most, wanted) {
    const text = input.value.trim().replace(",", ".");
    const value = Number(text);
    const wrong = text !== "" && !(value >= 0 && value <= most);
    input.setAttribute("aria-invalid", String(wrong));
    fault.textContent = wrong ? `Enter a ${wanted}.` : "";
    if (!wrong) onchange({ [name]: text === "" ? undefined : value }, `type ${name}`);
  }

  function update(next, place, asked) {
    record = next;
    if (selected !== place) fault.textContent = "";
    selected = place;
    for (const { name, board: field } of places) {
      const button = buttons.get(name), value = record[field];
      button.setAttribute("aria-pressed", String(name === selected));
      button.classList.toggle("asked-for", asked.has(name));
      const far = name === "breakpoint" && record.breakpoint_ft !== undefined ? ` at ${record.breakpoint_ft}` : "";
      button.lastChild.textContent = value === undefined && !far ? "–" : `${value ?? "?"}${far}`;
    }
    const { label, board: field } = placeNamed(selected);
    boardLabel.textContent = `${label}, board`;
    if (document.activeElement !== board) board.value = record[field] ?? "";
    if (document.activeElement !== ft) ft.value = record.breakpoint_ft ?? "";
    ftPart.hidden = selected !== "breakpoint";
    clear.setAttribute("aria-disabled", String(record[field] === undefined));
  }

  const element = h("div", { class: "places" },
    h("div", { class: "place-row", role: "group", "aria-label": "Places of the path" }, [...buttons.values()]),
    h("div", { class: "adjust" }, less, h("span", { class: "adjust-part" }, boardLabel, board), more, ftPart, clear), fault);
  return { element, update };
}
