// What this device held and the server has lost, because a backup was restored there: the user may
// send it again.

import { same } from "./merge.js";
import { ask, run } from "./store.js";

const withoutRev = (record) => {
  const { rev, sentences, ...rest } = record;
  return rest;
};

const sayAlike = (a, b) => same(withoutRev(a), withoutRev(b));

// keep keeps a record of the copy before a restore: the server has lost it, or has another version.
export async function keep(tx, { squad, kind, id, record }, theirs) {
  if (!record || kind === "squad" || kind === "member" || theirs && sayAlike(record, theirs)) return;
  await ask(tx.objectStore("lost").put({ squad, kind, id, record }));
}

// found ends that a record is lost, when the server has it again as it was, or has deleted it.
export async function found(tx, key, record) {
  const store = tx.objectStore("lost");
  const lost = await ask(store.get(key));
  if (lost && (!record || sayAlike(lost.record, record))) await ask(store.delete(key));
}

export const anyLost = async (tx, squad) => await ask(tx.objectStore("lost").index("squad").count(squad)) > 0;

// lostOf are the records of a squad that the server has lost: those that the user may send, and how
// many only a coach may.
export async function lostOf(db, { squad_id: squad, role, athlete_id: athlete }) {
  const all = await run(db, ["lost"], "readonly", (tx) => ask(tx.objectStore("lost").index("squad").getAll(squad)));
  const own = ({ kind, record }) => role === "coach" || role === "athlete" && ["shot", "session", "ball"].includes(kind) && record.athlete_id === athlete;
  const mine = all.filter(own);
  return { mine, others: all.length - mine.length };
}

export const forgetLost = (db, squad) => run(db, ["lost"], "readwrite", async (tx) => {
  const store = tx.objectStore("lost");
  for (const key of await ask(store.index("squad").getAllKeys(squad))) await ask(store.delete(key));
});
