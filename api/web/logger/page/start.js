// Choosing what is logged: the squad and the athlete where there is a choice, the session, and the drill.

import { choiceList, field, h, say, swap } from "./dom.js";
import { newId } from "./ids.js";
import { list, write } from "./queue.js";
import { sentence } from "./sentence.js";
import { count, dayOf, percent, today } from "./words.js";

const shownSessions = 6;

export async function startView(app) {
  const element = h("div", { class: "wrap start" });
  const view = { element, refresh: () => draw() };
  let all = false;

  async function draw() {
    if (element.querySelector("details[open]")) return; // somebody is making a session
    const parts = [h("h1", {}, "What are you logging?")];
    if (!app.me) {
      parts.push(h("p", {}, "Your squads have not been fetched yet. Connect to a network once, and they will be."));
    } else if (app.me.squads.length === 0) {
      parts.push(h("p", {}, "You are in no squad yet. Ask a coach for an invitation and accept it in the pages, then come back."));
    } else {
      parts.push(...squadPart(app, draw));
      if (app.squad) parts.push(...await squadParts());
    }
    swap(element, parts);
  }

  async function squadParts() {
    if (app.squad.role === "analyst") return [h("p", {}, "An analyst reads everything and logs nothing. Ask a coach to make you an athlete or a coach of the squad.")];
    const [athletes, sessions, drills, assignments, balls] = await Promise.all(
      ["athlete", "session", "drill", "assignment", "ball"].map((kind) => list(app.db, app.choice.squad, kind)));
    const parts = athletePart(app, athletes, draw);
    if (!app.athlete) return parts;
    const own = sessions.filter((session) => !session.athlete_id || session.athlete_id === app.athlete)
      .sort((a, b) => a.date < b.date ? 1 : a.date > b.date ? -1 : a.id < b.id ? 1 : -1);
    const names = new Map(balls.map((ball) => [ball.id, ball.name]));
    const go = h("div", { class: "go" });
    const chosen = () => swap(go, goButton(app));
    chosen();
    parts.push(sessionPart(app, own, all, { showAll: () => { all = true; draw(); }, chosen, made: draw }), drillPart(app, drills, assignments, names), go);
    return parts;
  }

  await draw();
  return view;
}

const goButton = (app) => h("button", {
  type: "button", class: "big", id: "go", "aria-disabled": String(!app.ready), onclick: () => app.ready ? app.go("log") : say("Choose a session first, or make one."),
}, app.ready ? "Start logging" : "Choose a session first");

function squadPart(app, draw) {
  if (app.me.squads.length === 1 && app.squad) return [];
  const items = app.me.squads.map((squad) => ({ value: squad.squad_id, title: squad.name, lines: [`You are ${squad.role === "coach" ? "a coach" : `an ${squad.role}`}`] }));
  return [h("section", { class: "card" }, h("fieldset", {}, h("legend", {}, "Squad"), choiceList("squad", items, app.choice.squad, async (squad) => {
    await app.choose({ squad });
    draw();
  })))];
}

function athletePart(app, athletes, draw) {
  if (app.squad.role === "athlete") return athletes.length ? [] : [h("p", { class: "soft" }, "Your own record has not arrived yet. It comes with the first sync.")];
  const select = h("select", { id: "athlete", onchange: async () => {
    await app.choose({ athlete: select.value, session: "", drill: "", ball: "" });
    draw();
  } }, h("option", { value: "" }, "Choose an athlete"), athletes.sort((a, b) => a.name.localeCompare(b.name)).map((one) => h("option", { value: one.id, selected: one.id === app.choice.athlete }, one.name)));
  return [h("section", { class: "card" }, field("Athlete", select))];
}

function sessionPart(app, sessions, all, { showAll, chosen: tell, made }) {
  const chosen = sessions.find((session) => session.id === app.choice.session);
  const shown = all ? sessions : sessions.slice(0, shownSessions);
  if (chosen && !shown.includes(chosen)) shown.push(chosen);
  const items = shown.map((session) => ({ value: session.id, title: session.name, lines: [sessionLine(session)] }));
  return h("section", { class: "card" }, h("fieldset", {}, h("legend", {}, "Session"),
    items.length ? choiceList("session", items, app.choice.session, async (session) => {
      await app.choose({ session });
      tell();
    }) : h("p", { class: "soft" }, "There is no session yet: make one.")),
  sessions.length > shown.length && h("button", { type: "button", class: "plain", onclick: showAll }, `Show all ${sessions.length} sessions`),
  newSession(app, made));
}

const sessionLine = (session) => [dayOf(session.date), session.centre, session.lanes?.length ? `lanes ${session.lanes.join(", ")}` : "", session.athlete_id ? "" : "shared"]
  .filter(Boolean).join(" · ");

function newSession(app, made) {
  const name = h("input", { id: "session-name", maxlength: 200, value: `Practice ${dayOf(today())}` });
  const date = h("input", { id: "session-date", type: "date", value: today() });
  const centre = h("input", { id: "session-centre", maxlength: 200 });
  const lanes = h("input", { id: "session-lanes", inputmode: "numeric" });
  const fault = h("p", { class: "fault", role: "alert" });
  const make = async (event) => {
    event.preventDefault();
    const numbers = lanes.value.split(/[^0-9]+/).filter(Boolean).map(Number);
    fault.textContent = name.value.trim() === "" ? "Give the session a name."
      : !date.value ? "Give the day of the session."
      : numbers.some((lane) => lane < 1 || lane > 999) ? "Lanes are numbered 1 to 999, such as 11, 12." : "";
    if (fault.textContent) return;
    const id = newId();
    await write(app.db, app.choice.squad, "session", id, {
      id, kind: "practice", name: name.value.trim(), date: date.value, ...centre.value.trim() && { centre: centre.value.trim() },
      ...numbers.length && { lanes: numbers }, athlete_id: app.athlete,
    });
    await app.choose({ session: id });
    app.sync?.wake();
    say("Session made");
    event.target.closest("details").open = false;
    await made();
    document.getElementById("go").focus();
  };
  return h("details", {}, h("summary", {}, "New session"), h("form", { onsubmit: make },
    field("Name", name), field("Day", date), field("Centre", centre), field("Lanes", lanes, "Numbers, such as 11, 12"), fault, h("button", { type: "submit", class: "quiet" }, "Make the session")));
}

function drillPart(app, drills, assignments, names) {
  const mine = new Map();
  for (const one of assignments.filter((one) => one.athlete_id === app.athlete)) mine.set(one.drill_id, one);
  const sorted = [...drills].sort((a, b) => mine.has(b.id) - mine.has(a.id) || (a.id < b.id ? 1 : -1));
  const items = sorted.map((drill) => {
    const due = mine.get(drill.id)?.due_on;
    const asked = `${count(drill.reps, "shot")}, keep ${percent(drill.pass_share)}${due ? `, due ${dayOf(due)}` : mine.has(drill.id) ? "" : ", not assigned"}`;
    return { value: drill.id, title: drill.name, lines: [...drill.rules.map((rule) => sentence(rule, names)), asked] };
  });
  items.push({ value: "", title: "No drill", lines: ["Only log the shots"] });
  return h("section", { class: "card" }, h("fieldset", {}, h("legend", {}, "Drill"), choiceList("drill", items, app.choice.drill ?? "", (drill) => app.choose({ drill }))));
}
