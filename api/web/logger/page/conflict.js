// Two versions of one record: the user chooses field by field, or either as a whole.

import { h, say } from "./dom.js";
import { differing, sameField } from "./merge.js";
import { changeOf, list, resolve } from "./queue.js";
import { titleOf } from "./syncview.js";
import { fieldValue, fieldWord } from "./words.js";

export async function conflictView(app, [kind, id]) {
  const change = await changeOf(app.db, app.choice.squad, kind, id);
  if (change?.state !== "conflict") {
    return { element: h("div", { class: "wrap" }, h("h1", {}, "Two versions"), h("p", {}, "This conflict is resolved."), h("p", {}, h("a", { href: "#/sync" }, "Back to sync"))) };
  }
  const names = await namesOf(app);
  const settle = async (chosen) => {
    await resolve(app.db, app.choice.squad, kind, id, chosen);
    app.sync?.wake();
    say("Your choice is saved and will be sent");
    app.go("sync");
  };
  const form = change.record && change.theirs.record ? fieldByField(change, names, settle) : keepOrDelete(change, names, settle);
  return { element: h("div", { class: "wrap medium" }, h("h1", {}, `${titleOf(change)}: two versions`), form) };
}

async function namesOf(app) {
  const kinds = await Promise.all(["athlete", "ball", "session", "drill", "pattern"].map((kind) => list(app.db, app.choice.squad, kind)));
  return new Map(kinds.flat().map((record) => [record.id, record.name]));
}

function fieldByField(change, names, settle) {
  const { record: mine, baseRecord: base, theirs: { record: theirs } } = change;
  const fields = differing(mine, theirs);
  // Fields that only the other device changed start with its value.
  const chosen = new Map(fields.map((name) => [name, base && sameField(name, mine[name], base[name]) ? "theirs" : "mine"]));
  const option = (name, whose, record) => h("label", { class: "choice" },
    h("input", { type: "radio", name: `field-${name}`, value: whose, checked: chosen.get(name) === whose, onchange: () => chosen.set(name, whose) }),
    h("span", { class: "choice-text" }, h("span", { class: "soft" }, whose === "mine" ? "Yours" : "Theirs"), h("strong", {}, fieldValue(name, record[name], names))));
  const choose = (event) => {
    event.preventDefault();
    const result = { ...theirs };
    for (const [name, whose] of chosen) {
      if (whose === "mine") result[name] = mine[name];
      if (result[name] === undefined) delete result[name];
    }
    settle(result);
  };
  return h("form", { class: "card conflict", onsubmit: choose },
    h("p", {}, "This was changed here and on another device. Everything else is the same in both."),
    fields.map((name) => h("fieldset", { class: "versus" }, h("legend", {}, fieldWord(name)), option(name, "mine", mine), option(name, "theirs", theirs))),
    h("div", { class: "actions" }, h("button", { type: "submit" }, "Keep my choices"),
      h("button", { type: "button", class: "quiet", onclick: () => settle(mine) }, "Keep all yours"),
      h("button", { type: "button", class: "quiet", onclick: () => settle(theirs) }, "Keep all theirs")));
}

function keepOrDelete(change, names, settle) {
  const kept = change.record ?? change.theirs.record;
  const words = change.record ? "Deleted on another device after you changed it here."
    : kept ? "Changed on another device after you deleted it here." : "Deleted on both devices.";
  const facts = kept ? h("dl", { class: "facts-list" }, Object.keys(kept).filter((name) => name !== "id" && name !== "rev")
    .map((name) => h("div", {}, h("dt", {}, fieldWord(name)), h("dd", {}, fieldValue(name, kept[name], names))))) : null;
  return h("div", { class: "card conflict" }, h("p", {}, words), facts, h("div", { class: "actions" },
    kept && h("button", { type: "button", onclick: () => settle(kept) }, "Keep it"),
    h("button", { type: "button", class: "quiet danger", onclick: () => settle(null) }, kept ? "Delete it" : "Done")));
}
