// The part of the sync page that shows how safe the unsent changes are, saves them to a file, and
// takes a file up again.

import { h, say } from "./dom.js";
import { fileOf, keepingLines, onHomeScreen, readFile, takeUp } from "./keeping.js";
import { allChanges } from "./queue.js";
import { count } from "./words.js";

export function keepingCard(app, kept) {
  const save = async () => {
    const text = fileOf(app.account.person, await allChanges(app.db));
    const address = URL.createObjectURL(new Blob([text], { type: "application/json" }));
    h("a", { href: address, download: `laneward-unsent-${new Date().toISOString().slice(0, 10)}.json` }).click();
    setTimeout(() => URL.revokeObjectURL(address), 60_000);
    say("Saved to a file");
  };
  const fault = h("p", { class: "fault", role: "alert" });
  const take = async ({ target }) => {
    fault.textContent = "";
    const [file] = target.files;
    if (!file) return;
    try {
      const changes = readFile(await file.text(), app.me?.squads ?? []);
      const taken = await takeUp(app.db, changes);
      app.sync?.wake();
      say(taken ? `${count(taken, "change")} taken up` : "All of this file is here already");
      app.refresh();
    } catch (error) {
      fault.textContent = error.message;
    }
    target.value = "";
  };
  const input = h("input", { type: "file", accept: "application/json,.json", id: "take-up", hidden: true, onchange: take });
  return h("section", { class: "card", id: "keeping" }, h("h2", {}, "What is kept here"),
    app.keeping && keepingLines(app.keeping).map((line) => h("p", {}, line)),
    kept > 0 && !onHomeScreen() && h("p", { class: "notice" }, `${count(kept, "change")} not sent yet ${kept === 1 ? "is" : "are"} only in this browser. Add the logger to the home screen, or save ${kept === 1 ? "it" : "them"} to a file.`),
    h("p", { class: "actions" }, kept > 0 && h("button", { type: "button", id: "save-unsent", onclick: save }, "Save what is unsent to a file"),
      h("button", { type: "button", class: "quiet", onclick: () => input.click() }, "Take up a saved file")), input, fault);
}
