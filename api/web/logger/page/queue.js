// The changes made on this device that are not known to be in the server's copy yet. What a person
// sees is the server's records with these over them, so a change and the local record are one and
// the same and cannot fall apart.
//
// A change: { squad, kind, id, seq, schema, version, base, head, baseRecord, record, state, flight,
// landed, faults, theirs }
//   schema            the version of the records it was made by: later fields are left as they are
//   base, baseRecord  the server's revision and record it began with; 0 and null for a new one
//   head              proves that base is of the server's history; older pages kept none
//   record            what it is to be; null for deleted
//   flight            { version, base, head, record } as sent and not answered yet. It is sent again
//                     unchanged, whatever was edited since: the server then recognises it.
//   state             unsent;
//                     landed: stored at revision `landed`, to be dropped when the copy shows that;
//                     waiting: the server lacks something it refers to, or the squad is full;
//                     refused;
//                     conflict: with `theirs` { rev, record }, record null for deleted

import { schema } from "./api.js";
import { anyLost, found, keep } from "./lost.js";
import { merge, same } from "./merge.js";
import { ask, ofKind, run } from "./store.js";

export const kinds = ["squad", "athlete", "member", "pattern", "ball", "session", "drill", "assignment", "shot"];

const bothStores = ["records", "changes"];
const withPlace = [...bothStores, "meta"];

export const placeOf = (squad) => `sync ${squad}`;

// proofOf is what proves a revision of the squad: the newest head the server gave, or the cursor
// when the tail has brought a newer record.
async function proofOf(tx, squad, base) {
  const { seen = "", seenRev = 0, cursor = "" } = (await ask(tx.objectStore("meta").get(placeOf(squad))))?.value ?? {};
  return base === 0 ? "" : seenRev >= base || !cursor ? seen : cursor;
}

export const plain = (record) => {
  if (!record) return null;
  const { rev, ...rest } = record;
  return rest;
};

// list reads all records of a kind as they are to be seen here.
export function list(db, squad, kind) {
  return run(db, bothStores, "readonly", (tx) => listIn(tx, squad, kind));
}

async function listIn(tx, squad, kind) {
  const [records, changes] = await Promise.all([
    ask(tx.objectStore("records").getAll(ofKind(squad, kind))), ask(tx.objectStore("changes").getAll(ofKind(squad, kind))),
  ]);
  return overlay(records, changes);
}

// listBy reads the records of a kind that an index finds under a value of one field.
export function listBy(db, squad, kind, index, value) {
  return run(db, bothStores, "readonly", (tx) => listByIn(tx, squad, kind, index, value));
}

async function listByIn(tx, squad, kind, index, value) {
  const [records, changes] = await Promise.all([
    ask(tx.objectStore("records").index(index).getAll([squad, kind, value])), ask(tx.objectStore("changes").getAll(ofKind(squad, kind))),
  ]);
  return overlay(records, changes).filter((record) => record[index + "_id"] === value);
}

function overlay(records, changes) {
  const seen = new Map(records.filter((entry) => entry.record).map((entry) => [entry.id, entry.record]));
  for (const change of changes) {
    if (change.record) seen.set(change.id, change.record);
    else seen.delete(change.id);
  }
  return [...seen.values()];
}

export const allChanges = (db) => run(db, ["changes"], "readonly", (tx) => ask(tx.objectStore("changes").getAll()));

export const changeOf = (db, squad, kind, id) => run(db, ["changes"], "readonly", (tx) => ask(tx.objectStore("changes").get([squad, kind, id])));

// write stores a record as changed here; null deletes it.
export const write = (db, squad, kind, id, record) => run(db, withPlace, "readwrite", (tx) => writeIn(tx, squad, kind, id, plain(record)));

// addShot stores a new shot as the next of its athlete in its session, and returns it.
export function addShot(db, squad, shot) {
  return run(db, withPlace, "readwrite", async (tx) => {
    const session = await listByIn(tx, squad, "shot", "session", shot.session_id);
    const order = 1 + session.filter((other) => other.athlete_id === shot.athlete_id).reduce((most, other) => Math.max(most, other.order), 0);
    const record = { ...shot, order };
    await writeIn(tx, squad, "shot", shot.id, record);
    return record;
  });
}

async function writeIn(tx, squad, kind, id, record) {
  const store = tx.objectStore("changes"), key = [squad, kind, id];
  const change = await ask(store.get(key));
  if (!change) {
    const known = await ask(tx.objectStore("records").get(key));
    if (!known && !record || known && same(plain(known.record), record)) return;
    const seq = await nextSeq(store), base = known?.rev ?? 0;
    await ask(store.put({
      squad, kind, id, seq, schema, version: 1, base, head: await proofOf(tx, squad, base), baseRecord: plain(known?.record), record, state: "unsent",
      flight: null, landed: 0, faults: [], theirs: null,
    }));
    return;
  }
  if (!change.flight && same(change.baseRecord, record)) { // back to what the server has, or a new one that was never sent and is gone
    await ask(store.delete(key));
    return;
  }
  const settled = change.state === "landed" || change.state === "conflict";
  await ask(store.put({ ...change, record, schema: change.base ? change.schema : schema, version: change.version + 1, state: settled ? change.state : "unsent", faults: settled ? change.faults : [] }));
}

async function nextSeq(store) {
  const all = await ask(store.getAll());
  return 1 + all.reduce((most, change) => Math.max(most, change.seq), 0);
}

// takeBatch picks what is to be sent next, at most so many, parents before children and deletions
// the other way round, and remembers it as being on its way. passed are the keys that were tried in
// this round: a waiting change is tried once.
export function takeBatch(db, squad, limit, passed) {
  return run(db, ["changes"], "readwrite", async (tx) => {
    const store = tx.objectStore("changes");
    const all = await ask(store.index("squad").getAll(squad));
    const proven = (change) => !(change.flight ?? change).base || change.head; // else by the next whole copy
    const batch = all.filter((change) => proven(change) && (change.state === "unsent" || change.state === "waiting" && !passed.has(keyOf(change))));
    for (const change of batch) change.flight ??= { version: change.version, base: change.base, head: change.head, record: change.record };
    batch.sort((a, b) => rank(a) - rank(b) || a.seq - b.seq);
    batch.length = Math.min(batch.length, limit);
    for (const change of batch) await ask(store.put(change));
    return batch;
  });
}

const rank = (change) => change.flight.record ? kinds.indexOf(change.kind) : 2 * kinds.length - kinds.indexOf(change.kind);

export const keyOf = (change) => `${change.kind} ${change.id}`;

// itemOf is a change as the push takes it.
export function itemOf({ kind, id, schema: made, head, flight }) {
  const item = flight.base ? { kind, id, version: `${flight.base}.${flight.head ?? head}` } : { kind, id };
  if (!flight.record) return { ...item, deleted: true };
  return { ...item, record: flight.record, ...made < schema && { schema: made } };
}

// settleOutcomes stores the outcomes of a batch. first is done before, in the same transaction.
export function settleOutcomes(db, squad, batch, outcomes, first) {
  return run(db, withPlace, "readwrite", async (tx) => {
    await first(tx);
    for (let i = 0; i < batch.length; i++) await settleOne(tx, [squad, batch[i].kind, batch[i].id], outcomes[i]);
  });
}

async function settleOne(tx, key, outcome) {
  const store = tx.objectStore("changes");
  const change = await ask(store.get(key));
  if (!change?.flight) return; // answered in another page already
  const faults = outcome.errors ?? [];
  const untouched = change.version === change.flight.version;
  switch (outcome.outcome) {
    case "stored":
    case "same": {
      const landed = { ...change, state: "landed", landed: outcome.rev ?? 0, faults: [], theirs: null };
      const shown = await ask(tx.objectStore("records").get(key));
      if (outcome.outcome === "stored" && !outcome.record && untouched) {
        await confirm(tx, landed, change.flight.record); // the server holds what was sent
      } else if (outcome.record || outcome.deleted || !change.flight.record) {
        await confirm(tx, landed, outcome.record ?? null);
      } else if (shown && shown.rev >= landed.landed) {
        await settle(tx, landed, shown);
      } else {
        await ask(store.put(landed)); // the feed brings what the server holds
      }
      return;
    }
    case "conflict":
      await ask(store.put({
        ...change, state: "conflict", flight: null, faults, theirs: { rev: outcome.rev ?? 0, record: plain(outcome.record) },
      }));
      return;
    case "waiting":
      await ask(store.put({ ...change, state: "waiting", flight: null, faults }));
      return;
    default: // refused. What was edited meanwhile is tried anew.
      await ask(store.put({ ...change, state: untouched ? "refused" : "unsent", flight: null, faults: untouched ? faults : [] }));
  }
}

// confirm writes what the server now has into the copy, unless that is further on already, and
// settles the change with it.
async function confirm(tx, change, record) {
  const records = tx.objectStore("records"), key = [change.squad, change.kind, change.id];
  const shown = await ask(records.get(key));
  const told = { squad: change.squad, kind: change.kind, id: change.id, rev: change.landed, record, copy: shown?.copy };
  if (shown && shown.rev > change.landed) return settle(tx, change, shown);
  await ask(records.put({ ...told, record: record && { ...record, rev: change.landed } }));
  return settle(tx, change, told);
}

// settle ends a change that has landed, now that the server's version is known: told, whose record
// is null for deleted. Edits made here since it was sent become a change based on that, to be sent:
// settle reports whether there is one.
async function settle(tx, change, told) {
  const store = tx.objectStore("changes"), key = [change.squad, change.kind, change.id];
  const theirs = plain(told.record);
  if (change.version === change.flight.version || same(change.record, theirs)) {
    await ask(store.delete(key));
    return false;
  }
  const head = await proofOf(tx, change.squad, told.rev);
  const next = { ...change, schema, state: "unsent", flight: null, landed: 0, base: told.rev, head, baseRecord: theirs };
  const sent = change.flight.record;
  if (!same(sent, theirs)) {
    const both = change.record && theirs && sent ? merge(sent, change.record, theirs) : null;
    if (both && both.met.length === 0) next.record = both.merged;
    else Object.assign(next, { state: "conflict", theirs: { rev: told.rev, record: theirs } });
  }
  await ask(store.put(next));
  return next.state === "unsent";
}

// applyItems writes items of the feed or of a snapshot into the copy and settles the changes they
// show. copy numbers the snapshot they belong to; was.restored says that the one before is of another
// history, whose revisions after was.common say nothing. It reports whether there is now more to send.
export async function applyItems(tx, squad, items, copy, was) {
  const records = tx.objectStore("records"), changes = tx.objectStore("changes");
  const missing = await anyLost(tx, squad);
  let more = false;
  for (const item of items) {
    const key = [squad, item.kind, item.id];
    const shown = await ask(records.get(key));
    const gone = item.deleted || item.scope === "removed";
    const other = was.restored && shown && shown.copy !== copy;
    if (other && !gone && shown.rev > was.common) await keep(tx, shown, item.record);
    if (missing) await found(tx, key, gone ? null : item.record);
    if (item.scope === "removed") {
      await ask(records.delete(key));
    } else if (shown && shown.rev > item.rev && !other) {
      await ask(records.put({ ...shown, copy }));
      continue;
    } else {
      await ask(records.put({ squad, kind: item.kind, id: item.id, rev: item.rev, record: gone ? null : item.record, copy }));
    }
    const change = await ask(changes.get(key));
    if (change?.state === "landed" && item.rev >= change.landed) {
      more = await settle(tx, change, { rev: item.rev, record: gone ? null : item.record }) || more;
    }
  }
  return more;
}

// sweep drops what an older copy of the squad held and a new snapshot does not. After a restore what
// the histories have not in common is kept as lost, and all of it when the copy differed of itself.
// It reports whether there is now more to send.
export async function sweep(tx, squad, copy, rev, { restored, differs, common }) {
  const records = tx.objectStore("records"), changes = tx.objectStore("changes");
  for (const kind of kinds) {
    for (const entry of await ask(records.getAll(ofKind(squad, kind)))) {
      if (entry.copy === copy || entry.rev > rev && !restored) continue;
      const key = [squad, kind, entry.id];
      const lost = differs || restored && entry.rev > common;
      if (lost && !await ask(changes.get(key))) await keep(tx, entry); // a change has all of its record
      await ask(records.delete(key));
    }
  }
  let more = false;
  for (const change of await ask(changes.index("squad").getAll(squad))) {
    const shown = await ask(records.get([squad, change.kind, change.id]));
    if (change.state !== "landed") {
      await rebase(tx, change, shown, restored);
    } else if (restored) {
      await land(tx, change, shown);
    } else if (change.landed <= rev && !shown?.record) {
      more = await settle(tx, change, { rev, record: null }) || more;
    }
  }
  return more || Boolean(restored);
}

// rebase bases an unsent change on the new copy, when that has what it began with, and lets one
// whose record the server has lost store all of it anew. A change of an older page that neither is
// true of is for the user to decide: no server proves its basis.
async function rebase(tx, change, shown, restored) {
  const store = tx.objectStore("changes"), key = [change.squad, change.kind, change.id];
  if (!change.base || change.state === "conflict") return;
  if (shown?.record && shown.rev === change.base && same(plain(shown.record), change.baseRecord)) {
    const head = await proofOf(tx, change.squad, change.base);
    await ask(store.put({ ...change, head, flight: change.flight && { ...change.flight, head } }));
  } else if (restored && !shown?.record) {
    if (!change.record) await ask(store.delete(key));
    else await ask(store.put({ ...change, base: 0, head: "", baseRecord: null, flight: null, schema }));
  } else if (!change.head) {
    await ask(store.put({ ...change, head: "-" }));
  }
}

// land looks at a change that the server had stored before it was restored: what it has lost is sent
// again.
async function land(tx, change, shown) {
  const store = tx.objectStore("changes");
  if (same(plain(shown?.record), change.record)) {
    await ask(store.delete([change.squad, change.kind, change.id]));
    return;
  }
  const base = shown?.rev ?? 0, theirs = plain(shown?.record);
  const next = { ...change, schema, flight: null, landed: 0, base, head: await proofOf(tx, change.squad, base), baseRecord: theirs };
  await ask(store.put(theirs ? { ...next, state: "conflict", theirs: { rev: base, record: theirs } } : { ...next, state: "unsent" }));
}

// sendLost has records that the server has lost sent again as they were. One that it has in another
// version becomes a conflict, for the user to choose.
export function sendLost(db, squad, lost) {
  return run(db, [...withPlace, "lost"], "readwrite", async (tx) => {
    const store = tx.objectStore("changes");
    let seq = await nextSeq(store);
    for (const { kind, id, record } of lost.toSorted((a, b) => kinds.indexOf(a.kind) - kinds.indexOf(b.kind))) {
      const key = [squad, kind, id];
      await ask(tx.objectStore("lost").delete(key));
      if (await ask(store.get(key))) continue; // changed here since, which has all of it
      const shown = await ask(tx.objectStore("records").get(key));
      const theirs = plain(shown?.record), base = shown?.rev ?? 0;
      await ask(store.put({
        squad, kind, id, seq: seq++, schema, version: 1, base, head: await proofOf(tx, squad, base), baseRecord: theirs, record: plain(record),
        state: theirs ? "conflict" : "unsent", flight: null, landed: 0, faults: [], theirs: theirs && { rev: base, record: theirs },
      }));
    }
  });
}

// resolve ends a conflict by a record chosen in knowledge of both versions; null deletes.
export function resolve(db, squad, kind, id, chosen) {
  return run(db, withPlace, "readwrite", async (tx) => {
    const store = tx.objectStore("changes"), key = [squad, kind, id];
    const change = await ask(store.get(key));
    if (change?.state !== "conflict") return;
    const theirs = change.theirs;
    if (same(plain(chosen), theirs.record)) {
      await ask(store.delete(key));
      const shown = await ask(tx.objectStore("records").get(key));
      if (shown && shown.rev > theirs.rev) return;
      const record = theirs.record && { ...theirs.record, rev: theirs.rev };
      await ask(tx.objectStore("records").put({ squad, kind, id, rev: theirs.rev, record, copy: shown?.copy }));
      return;
    }
    await ask(store.put({
      ...change, record: plain(chosen), version: change.version + 1, state: "unsent", base: theirs.rev, head: await proofOf(tx, squad, theirs.rev),
      baseRecord: theirs.record, theirs: null, faults: [], flight: null,
    }));
  });
}

// sendAgain has a refused change tried once more as it is.
export function sendAgain(db, squad, kind, id) {
  return run(db, ["changes"], "readwrite", async (tx) => {
    const store = tx.objectStore("changes");
    const change = await ask(store.get([squad, kind, id]));
    if (change?.state === "refused") await ask(store.put({ ...change, state: "unsent", faults: [] }));
  });
}

// discard drops a change for good.
export const discard = (db, squad, kind, id) => run(db, ["changes"], "readwrite", (tx) => ask(tx.objectStore("changes").delete([squad, kind, id])));
