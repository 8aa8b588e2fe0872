// Making a session, and editing one.

import { weekdayText } from "./dates.js";
import { field, h, say } from "./dom.js";
import { newId } from "./ids.js";
import { changeOf, list, write } from "./queue.js";
import { faultLine } from "./syncview.js";
import { today } from "./words.js";

const longestText = 200; // characters, as the server counts

const characters = (text) => [...text].length;

// sessionForm is a form for a session, a new one for null; done is called with its id once it is
// stored.
export function sessionForm(app, record, done) {
  const name = h("input", { id: "session-name", value: record?.name ?? `Practice ${weekdayText(today())}` });
  const date = h("input", { id: "session-date", type: "date", value: record?.date ?? today() });
  const centre = h("input", { id: "session-centre", value: record?.centre ?? "" });
  const lanes = h("input", { id: "session-lanes", inputmode: "numeric", value: record?.lanes?.join(", ") ?? "" });
  const fault = h("p", { class: "fault", role: "alert" });
  const keep = async (event) => {
    event.preventDefault();
    const numbers = lanes.value.split(/[^0-9]+/).filter(Boolean).map(Number);
    fault.textContent = faultOf(name.value.trim(), date.value, centre.value.trim(), numbers);
    if (fault.textContent) return;
    const id = record?.id ?? newId();
    const next = { ...record ?? { id, kind: "practice", athlete_id: app.athlete }, name: name.value.trim(), date: date.value, centre: centre.value.trim(), lanes: numbers };
    if (!next.centre) delete next.centre;
    if (!numbers.length) delete next.lanes;
    await write(app.db, app.choice.squad, "session", id, next);
    app.sync?.wake();
    say(record ? "Session saved" : "Session created");
    await done(id, event.target);
  };
  return h("form", { onsubmit: keep }, field("Name", name), field("Day", date), field("Centre", centre), field("Lanes", lanes, "For example 11, 12"), fault,
    h("button", { type: "submit", class: record ? "" : "quiet" }, record ? "Save session" : "Create session"));
}

function faultOf(name, date, centre, lanes) {
  if (name === "") return "Enter a name.";
  if (characters(name) > longestText) return "The name is too long: use up to 200 characters.";
  if (!date) return "Enter a date.";
  if (characters(centre) > longestText) return "The centre's name is too long: use up to 200 characters.";
  return lanes.some((lane) => lane < 1 || lane > 999) ? "Lanes are numbered 1 to 999, such as 11, 12." : "";
}

export async function sessionView(app, [id]) {
  const [sessions, change] = await Promise.all([list(app.db, app.choice.squad, "session"), changeOf(app.db, app.choice.squad, "session", id)]);
  const record = sessions.find((session) => session.id === id);
  const faults = change?.state === "refused" ? change.faults : [];
  return { element: h("div", { class: "wrap narrow" }, h("h1", {}, "Session"), record
    ? h("div", { class: "card" }, faults.map((fault) => h("p", { class: "fault" }, `Refused. ${faultLine(fault)}`)), sessionForm(app, record, () => app.go("sync")))
    : h("p", {}, "This session doesn't exist here.")) };
}
