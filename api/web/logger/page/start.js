// Choosing what is logged: the squad and the athlete where there is a choice, the session, and the drill.

import { dayText, weekdayText } from "./dates.js";
import { choiceList, field, h, say, swap } from "./dom.js";
import { sentences } from "./engine.js";
import { list } from "./queue.js";
import { sessionForm } from "./session.js";
import { nextSince } from "./span.js";
import { syncState } from "./sync.js";
import { count, percent } from "./words.js";

const shownSessions = 6;

export async function startView(app) {
  const element = h("div", { class: "wrap start" });
  const view = { element, refresh: () => draw() };
  let all = false;
  const sessions = h("div", {});
  const sessionCard = h("section", { class: "card" }, sessions, newSession(app, () => draw()));

  async function draw() {
    const parts = [h("h1", {}, "What are you logging?")];
    if (!app.me) {
      parts.push(h("p", {}, "Your squads haven't loaded yet. Connect to a network once to load them."));
    } else if (app.me.squads.length === 0) {
      parts.push(h("p", {}, "You aren't in a squad yet. Ask a coach for an invitation code, enter it on the squads page, then come back."));
    } else {
      parts.push(...squadPart(app, draw));
      if (app.squad) parts.push(...await squadParts());
    }
    swap(element, parts);
  }

  async function squadParts() {
    if (app.squad.role === "analyst") return [h("p", {}, "Analysts can read everything but can't log shots. Ask a coach to make you an athlete or a coach of the squad.")];
    const [athletes, known, drills, assignments, balls] = await Promise.all(
      ["athlete", "session", "drill", "assignment", "ball"].map((kind) => list(app.db, app.choice.squad, kind)));
    const parts = athletePart(app, athletes, draw);
    if (!app.athlete) return parts;
    const own = known.filter((session) => !session.athlete_id || session.athlete_id === app.athlete)
      .sort((a, b) => a.date < b.date ? 1 : a.date > b.date ? -1 : a.id < b.id ? 1 : -1);
    const written = await sentences(app, drills, balls);
    const rules = new Map(drills.map((drill, i) => [drill.id, written[i]]));
    const go = h("div", { class: "go" }, goButton(app));
    const chosen = () => swap(element.querySelector(".go"), goButton(app));
    const { since, wants } = await syncState(app.db, app.choice.squad);
    swap(sessions, sessionPart(app, own, all, { showAll: () => { all = true; draw(); }, chosen }), olderPart(app, since, wants));
    parts.push(sessionCard, drillPart(app, drills, assignments, rules), go);
    return parts;
  }

  await draw();
  return view;
}

const goButton = (app) => h("button", {
  type: "button", class: "big", id: "go", "aria-disabled": String(!app.ready), onclick: () => app.ready ? app.go("log") : say("Choose a session first, or create one."),
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
  if (app.squad.role === "athlete") return athletes.length ? [] : [h("p", { class: "soft" }, "Your own record hasn't loaded yet. It comes with the first sync.")];
  const select = h("select", { id: "athlete", onchange: async () => {
    await app.choose({ athlete: select.value, session: "", drill: "", ball: "" });
    draw();
  } }, h("option", { value: "" }, "Choose an athlete"), athletes.sort((a, b) => a.name.localeCompare(b.name)).map((one) => h("option", { value: one.id, selected: one.id === app.choice.athlete }, one.name)));
  return [h("section", { class: "card" }, field("Athlete", select))];
}

function sessionPart(app, sessions, all, { showAll, chosen: tell }) {
  const chosen = sessions.find((session) => session.id === app.choice.session);
  const shown = all ? sessions : sessions.slice(0, shownSessions);
  if (chosen && !shown.includes(chosen)) shown.push(chosen);
  const items = shown.map((session) => ({ value: session.id, title: session.name, lines: [sessionLine(session)] }));
  return [h("fieldset", {}, h("legend", {}, "Session"),
    items.length ? choiceList("session", items, app.choice.session, async (session) => {
      await app.choose({ session });
      tell();
    }) : h("p", { class: "soft" }, "No sessions yet: create one.")),
  sessions.length > shown.length && h("button", { type: "button", class: "plain", onclick: showAll }, `Show all ${sessions.length} sessions`)];
}

// olderPart offers the sessions that the copy does not have.
function olderPart(app, since, wants) {
  if (!since) return [];
  const ask = async () => {
    await app.sync?.older(nextSince(since));
    say("Getting older sessions");
    app.refresh();
  };
  return [h("p", { class: "soft", id: "older" }, `Sessions since ${dayText(since)} are on this device. `,
    wants ? "Older ones come with the next sync." : h("button", { type: "button", class: "plain", onclick: ask }, "Get older sessions"))];
}

const sessionLine = (session) => [weekdayText(session.date), session.centre, session.lanes?.length ? `lanes ${session.lanes.join(", ")}` : "", session.athlete_id ? "" : "shared"]
  .filter(Boolean).join(" · ");

function newSession(app, made) {
  return h("details", {}, h("summary", {}, "New session"), sessionForm(app, null, async (session, form) => {
    await app.choose({ session });
    form.closest("details").open = false;
    await made();
    document.getElementById("go")?.focus();
  }));
}

function drillPart(app, drills, assignments, rules) {
  const mine = new Map();
  for (const one of assignments.filter((one) => one.athlete_id === app.athlete)) mine.set(one.drill_id, one);
  const given = drills.filter((drill) => mine.has(drill.id)).sort((a, b) => a.id < b.id ? 1 : -1); // the server takes shots for no others
  const items = given.map((drill) => {
    const due = mine.get(drill.id).due_on;
    const asked = `${count(drill.reps, "shot")}, keep ${percent(drill.pass_share)}${due ? `, due ${dayText(due)}` : ""}`;
    return { value: drill.id, title: drill.name, lines: [...rules.get(drill.id), asked] };
  });
  items.push({ value: "", title: "No drill", lines: ["Just log shots"] });
  return h("section", { class: "card" }, h("fieldset", {}, h("legend", {}, "Drill"), choiceList("drill", items, app.choice.drill ?? "", (drill) => app.choose({ drill }))));
}
