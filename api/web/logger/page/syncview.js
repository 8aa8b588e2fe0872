// What waits to be sent, what was refused and why, what conflicts, and who is signed in.

import { h, say, swap } from "./dom.js";
import { unmarkKept } from "./keeping.js";
import { keepingCard } from "./keepingview.js";
import { forgetLost } from "./lost.js";
import { changeOf, discard, list, sendAgain, write } from "./queue.js";
import { dropCopy } from "./store.js";
import { count, shotLine, timeOf } from "./words.js";

const problems = {
  offline: "The server can't be reached. Trying again automatically.", "signed-out": "Your sign-in ended: sign in again to send.",
  "not-a-member": "You are no longer in this squad. Unsent changes stay here; ask a coach to invite you again.",
  full: "This device is out of space, so nothing new can be loaded. Free some space, such as old photos or apps.",
  "too-old": "This version of the logger is too old for the server. Update it; unsent changes stay here.",
};

const listed = 20; // of the changes that only have to be sent; the count says how many there are

const needsRoom = (change) => change.faults.some((fault) => fault.code === "over-quota");

export async function syncView(app) {
  const element = h("div", { class: "wrap medium" });
  const draw = async () => swap(element, h("h1", {}, "Sync"), await parts(app));
  await draw();
  return { element, refresh: draw };
}

async function parts(app) {
  const standing = await app.standing();
  const balls = app.squad ? await list(app.db, app.choice.squad, "ball") : [];
  const names = new Map(balls.map((ball) => [ball.id, ball.name]));
  return [
    summary(app, standing),
    ...lostCard(app, standing.lost),
    ...group("Conflicts", "Two devices changed the same field. Choose which to keep.", standing.conflicts, (change) => [h("a", { class: "button", href: `#/conflict/${change.kind}/${change.id}` }, "Compare")], names),
    ...erasedCard(app, standing.refused.filter(wasErased), names),
    ...group("Refused", "The server did not accept these. Fix them and they are sent again.", standing.refused.filter((change) => !wasErased(change)),
      (change) => fixes(app, change), names),
    ...group("Waiting for room", "The squad is full. These stay here and are sent again with every sync; what is new goes when a coach has deleted sessions that nobody needs, or the server gives more room.",
      standing.waiting.filter(needsRoom), (change) => fixes(app, change), names),
    ...group("Waiting for other records", "These need a record you don't have yet. They are sent again with every sync.",
      standing.waiting.filter((change) => !needsRoom(change)), (change) => fixes(app, change), names),
    ...group("To send", "Sent as soon as the server can be reached.", standing.unsent.filter((change) => change.state === "unsent").slice(0, listed), () => [], names),
    keepingCard(app, standing.kept),
    account(app, standing),
  ];
}

function summary(app, { state, unsent, refused, conflicts, elsewhere, offline }) {
  const problem = state?.problem;
  const lines = [];
  const aside = refused.length + conflicts.length;
  lines.push(unsent.length ? `${count(unsent.length, "change")} to send.` : aside ? "Everything else is sent." : "Everything is sent.");
  lines.push(state?.syncedAt ? `Last synced ${timeOf(state.syncedAt, true)}.` : "Not synced yet.");
  if (state?.compared) lines.push(comparison(state.compared));
  if (problem) lines.push(problems[problem.kind] ?? `The server says: ${problem.detail}. Trying again automatically.`);
  else if (offline) lines.push(problems.offline);
  if (elsewhere.length) lines.push(`${count(elsewhere.length, "change")} in another squad waiting: choose that squad in Set up to send.`);
  if (app.notInstalled) lines.push(`Offline use isn't available: ${app.notInstalled}`);
  return h("section", { class: "card" }, h("h2", {}, app.squad?.name ?? "No squad chosen"), lines.map((line) => h("p", {}, line)),
    h("button", { type: "button", id: "sync-now", onclick: () => { app.sync?.compare(); say("Syncing"); } }, "Sync and verify"));
}

// lostCard offers to send again what the server has lost.
function lostCard(app, { mine, others }) {
  if (mine.length + others === 0) return [];
  const drop = async () => {
    if (!window.confirm(`Discard ${count(mine.length + others, "record")} for good? This phone may hold the only copy.`)) return;
    await forgetLost(app.db, app.choice.squad);
    say("Discarded");
    app.refresh();
  };
  return [h("section", { class: "card", id: "lost" }, h("h2", {}, "Lost by the server"),
    h("p", {}, `The server was restored from a backup. It has lost ${count(mine.length + others, "record")} that this phone still has.`),
    others > 0 && h("p", { class: "soft" }, `${count(others, "record")} of them only a coach can send again.`),
    h("p", { class: "actions" }, mine.length > 0 && h("button", { type: "button", onclick: () => app.sendLost() }, `Send ${count(mine.length, "record")} again`),
      h("button", { type: "button", class: "quiet danger", onclick: drop }, "Discard")))];
}

// wasErased tells a change that can never be stored: it belongs to an athlete who was erased for good.
const wasErased = (change) => change.faults.some((fault) => fault.code === "erased");

// erasedCard tells of such changes. They hold nothing up, and can be discarded together.
function erasedCard(app, erased, names) {
  if (erased.length === 0) return [];
  const drop = async () => {
    if (!window.confirm(`Discard ${count(erased.length, "change")} for good?`)) return;
    for (const change of erased) await discard(app.db, change.squad, change.kind, change.id);
    say("Discarded");
    app.refresh();
  };
  const [card] = group("Erased for good", "A coach erased the athlete these belong to, so the server no longer takes them. Everything else is sent as usual.",
    erased.slice(0, listed), (change) => fixes(app, change), names);
  card.id = "erased";
  card.append(h("p", { class: "actions" }, h("button", { type: "button", class: "quiet danger", onclick: drop }, `Discard all ${erased.length}`)));
  return [card];
}

function comparison({ at, mended, failed }) {
  const when = `Verified ${timeOf(at, true)}: `;
  if (failed) return `${when}this device could not be matched with the server, maybe because the squad is changing too fast. Nothing is lost; try again in a while.`;
  return `${when}this device ${mended ? "differed from the server and was reloaded; now it has" : "has"} exactly what the server has.`;
}

function group(title, words, changes, actions, names) {
  if (changes.length === 0) return [];
  return [h("section", { class: "card" }, h("h2", {}, title), h("p", { class: "soft" }, words), h("ul", { class: "changes" }, changes.map((change) => h("li", {},
    h("strong", {}, titleOf(change)), change.record && change.kind === "shot" && h("span", { class: "soft" }, shotLine(change.record, names)),
    change.faults.map((fault) => h("span", { class: "fault" }, faultLine(fault))), actions(change).length > 0 && h("span", { class: "actions" }, actions(change))))))];
}

export function titleOf(change) {
  const record = change.record ?? change.baseRecord ?? change.theirs?.record ?? change.flight?.record;
  const what = change.kind === "shot" ? `Shot ${record?.order ?? ""}` : `${change.kind} ${record?.name ?? ""}`;
  return (change.record ? what : `${what}, deleted here`).replace(/^./, (first) => first.toUpperCase());
}

export const faultLine = (fault) => `${fault.pointer ? `${fault.pointer.replace(/^\/record/, "").replace(/^\//, "").replaceAll("_", " ")}: ` : ""}${fault.detail}`;

// fixes are what can be done about a change that the server did not accept.
function fixes(app, change) {
  const found = [];
  const edit = { shot: () => openShot(app, change), session: () => app.go(`session/${change.id}`) }[change.kind];
  if (edit && change.record && !wasErased(change)) found.push(h("button", { type: "button", onclick: edit }, "Edit"));
  for (const [name, words] of [["drill_id", "drill"], ["ball_id", "ball"]]) {
    if (!change.record?.[name] || !change.faults.some((fault) => fault.pointer?.endsWith(name))) continue;
    found.push(h("button", { type: "button", onclick: async () => {
      const { [name]: gone, ...rest } = change.record;
      await write(app.db, change.squad, change.kind, change.id, rest);
      app.sync?.wake();
      say(`Sent without the ${words}`);
      app.refresh();
    } }, `Send without the ${words}`));
  }
  if (change.state === "refused" && !wasErased(change)) found.push(h("button", { type: "button", class: "quiet", onclick: async () => {
    await sendAgain(app.db, change.squad, change.kind, change.id);
    app.sync?.wake();
    say("Sending again");
    app.refresh();
  } }, "Send again"));
  found.push(h("button", { type: "button", class: "quiet danger", onclick: async () => {
    const now = await changeOf(app.db, change.squad, change.kind, change.id);
    if (now?.state !== change.state || !window.confirm(`Discard ${titleOf(change).replace(/^./, (first) => first.toLowerCase())} for good?`)) return;
    await discard(app.db, change.squad, change.kind, change.id);
    say("Discarded");
    app.refresh();
  } }, "Discard"));
  return found;
}

async function openShot(app, change) {
  const { session_id: session, athlete_id: athlete } = change.record;
  await app.choose({ session, athlete });
  app.go(`log/${change.id}`);
}

function account(app, { unsent, refused, conflicts, lost }) {
  const person = app.account.person;
  const kept = unsent.length + refused.length + conflicts.length + lost.mine.length + lost.others;
  const leave = async () => {
    const warning = kept ? `${count(kept, "change")} not sent yet. They stay on this device, and only you can send them by signing in again. Sign out?`
      : "Sign out and remove your copy from this device?";
    if (!window.confirm(warning)) return;
    const user = person.user_id;
    app.leave();
    await app.account.signOut();
    unmarkKept();
    if (!kept) await dropCopy(user);
    app.go("sign-in");
  };
  return h("section", { class: "card" }, h("h2", {}, "This device"), h("p", {}, `Signed in as ${app.me?.name ?? person.email} (${person.email}).`),
    h("p", { class: "soft" }, "Shots you logged are kept in this browser until the server has them. Clearing the browser's data loses anything not sent."),
    h("button", { type: "button", class: "quiet", onclick: leave }, "Sign out"));
}
