// The shots of the session, each to be opened and edited.

import { h, sign, swap } from "./dom.js";
import { Practice } from "./openpractice.js";
import { allChanges } from "./queue.js";
import { shotLine, verdictLine } from "./words.js";

const stateWords = { unsent: "to send", waiting: "waiting", refused: "refused", conflict: "conflict" };

export async function shotsView(app) {
  const element = h("div", { class: "wrap medium" });
  async function draw() {
    const [practice, changes] = await Promise.all([
      Practice.load(app), allChanges(app.db),
    ]);
    const states = new Map(changes.map((change) => [change.id, stateWords[change.state] ?? ""]));
    swap(element, h("h1", {}, practice.session?.name ?? "Shots"),
      practice.inSession.length ? shotList(practice, [...practice.inSession].reverse(), (shot) => states.get(shot.id) ?? "") : h("p", {}, "No shots in this session yet."),
      h("p", {}, h("a", { class: "button", href: "#/log" }, "Log the next shot")));
  }
  await draw();
  return { element, refresh: draw };
}

// shotList lists shots with their verdicts; note adds a word to each, such as that it is not sent
// yet.
export function shotList(practice, shots, note) {
  const recorded = (shot) => shotLine(shot, practice.ballNames);
  return h("ol", { class: "shots" }, shots.map((shot) => {
    const judged = practice.judged.get(shot.id);
    const verdict = judged?.verdict ?? "none";
    const words = judged ? verdictLine(practice.rules, judged) : "";
    return h("li", {}, h("a", { href: `#/log/${shot.id}` },
      h("span", { class: "unseen" }, "Edit shot "), h("span", { class: "order" }, practice.numberOf(shot)), sign(verdict),
      h("span", { class: "shot-text" }, h("strong", {}, words || recorded(shot)), words && h("span", { class: "soft" }, recorded(shot))),
      note(shot) && h("span", { class: "tag" }, note(shot))));
  }));
}
