// Keeps the copy and the server in step: sends what is unsent, fetches what is new, and follows the
// feed's tail while the page is open. Whatever is interrupted is done again; sending again is safe.

import { SignedOut } from "./account.js";
import { Offline, open, Problem, send, squadPath } from "./api.js";
import { alike, digestOf } from "./digest.js";
import { events } from "./events.js";
import { isFull } from "./keeping.js";
import { applyItems, itemOf, keyOf, kinds, placeOf, settleOutcomes, sweep, takeBatch } from "./queue.js";
import { firstSince, wantedSince } from "./span.js";
import { ask, ofKind, readMeta, run } from "./store.js";
import { fold, tablesType, unfold, withTables } from "./table.js";

const batchSize = 500, pageSize = 1000;
const firstWaitMs = 1000, longestWaitMs = 60_000;
const silenceMs = 45_000; // the tail says something every 15 s

// backoff is how long to wait after so many failures in a row: any time up to a bound that doubles,
// so that devices do not come back together.
export const backoff = (failures, random = Math.random) => random() * Math.min(longestWaitMs, firstWaitMs * 2 ** Math.min(failures, 10));

const compareEveryMs = 7 * 24 * 3600_000; // how often the whole copy is compared by itself

// The state of a squad's copy. seen is the newest head the server gave, by feed or push, at revision
// seenRev: it shows which history the copy is of; heads are those given of late, oldest first. why is
// why the copy that is being read was begun: after a restore, common is the newest revision that both
// histories are known to have. since is the first day of the copy's sessions, "" for all of them; wants
// an earlier one that was asked for, or "all", and olderPage where that is being read. usage is the
// squad's when it was near its quota at the last push.
const firstState = { usage: null, cursor: "", page: "", copy: 0, since: "", wants: "", olderPage: "", rev: 0, seen: "", seenRev: 0, heads: [], why: "", common: 0, syncedAt: 0, problem: null };
const headsKept = 200;

export const syncState = async (db, squad) => ({ ...firstState, ...await readMeta(db, placeOf(squad)) });

// changeState changes the state of a squad's copy, in a transaction of its own or as part of one.
async function changeStateIn(tx, squad, change) {
  const store = tx.objectStore("meta"), name = placeOf(squad);
  const was = { ...firstState, ...(await ask(store.get(name)))?.value };
  const value = { ...was, ...change };
  if (change.seen && change.seenRev < was.seenRev) Object.assign(value, { seen: was.seen, seenRev: was.seenRev }); // the newest stays
  else if (change.seen) value.heads = [...was.heads.filter(({ rev }) => rev < change.seenRev), { rev: change.seenRev, head: change.seen }].slice(-headsKept);
  await ask(store.put({ name, value }));
  return value;
}

const changeState = (db, squad, change) => run(db, ["meta"], "readwrite", (tx) => changeStateIn(tx, squad, change));

// Sync works for one squad of one person until it is stopped. told is called when the copy, the
// queue or the state has changed, moved when what the person may see has changed.
export class Sync {
  constructor({ account, db, squad, told, moved }) {
    Object.assign(this, { account, db, squad, told, moved });
    this.stopper = new AbortController();
    this.failures = 0;
    this.waking = null;
    this.tail = null;
    this.channel = new BroadcastChannel(`laneward ${account.person.user_id}`);
    this.channel.onmessage = ({ data }) => ({ wake: () => { this.rouse(); this.told(); }, compare: () => this.toCompare(), reconnect: () => this.reconnect() }[data] ?? this.told)();
  }

  // start works in the one page that holds the lock; another takes over when that is closed.
  start() {
    const work = () => this.loop();
    const begun = navigator.locks
      ? navigator.locks.request(`laneward sync ${this.account.person.user_id} ${this.squad}`, { signal: this.stopper.signal }, work)
      : work();
    begun.catch((error) => {
      if (error.name !== "AbortError") throw error;
    });
  }

  stop() {
    this.stopper.abort();
    this.rouse();
    this.channel.close();
  }

  get stopped() { return this.stopper.signal.aborted; }

  // wake has what is unsent sent now, by whichever page does the work.
  wake() {
    this.channel.postMessage("wake");
    this.rouse();
  }

  // compare has the copy compared with the server's records, by whichever page does the work.
  compare() {
    this.channel.postMessage("compare");
    this.toCompare();
  }

  toCompare() {
    this.comparing = true;
    this.reconnect();
  }

  rouse() {
    this.roused = true;
    this.waking?.();
  }

  // reconnect opens the tail anew: the network has changed, and the old one may be dead without
  // knowing.
  reconnect() {
    this.cut?.abort();
    this.rouse();
  }

  // rest waits until something wakes it, the tail ends, or the time is over.
  async rest(ms) {
    if (this.roused) return;
    const timer = ms === undefined ? null : new Promise((resolve) => { this.timer = setTimeout(resolve, ms); });
    const woken = new Promise((resolve) => { this.waking = resolve; });
    await Promise.race([woken, timer, this.tail].filter(Boolean));
    clearTimeout(this.timer);
    this.waking = null;
  }

  tell() {
    if (this.stopped) return;
    this.channel.postMessage("changed");
    this.told();
  }

  async loop() {
    while (!this.stopped) {
      this.roused = false;
      let wait;
      try {
        await this.pass();
        this.failures = 0;
      } catch (error) {
        if (this.stopped) return;
        const problem = problemOf(error);
        if (!problem) throw error;
        this.failures++;
        await changeState(this.db, this.squad, { problem });
        if (problem.kind === "not-a-member") this.moved();
        wait = problem.lasting ? undefined : Math.max(error.retryAfterMs ?? 0, backoff(this.failures));
      }
      this.tell();
      await this.rest(wait);
    }
  }

  // older has sessions before those of the copy added to it, since a day or "all", by whichever page
  // does the work.
  async older(since) {
    await changeState(this.db, this.squad, { wants: since });
    this.channel.postMessage("reconnect");
    this.reconnect();
  }

  // pass sends everything that can be sent and fetches everything that is new.
  async pass() {
    let turnedAway = false;
    if (this.tail && await wantedSince(this.db, this.squad, await syncState(this.db, this.squad))) { // the tail would go on with the cursor of less
      this.cut?.abort();
      await this.tail;
    }
    try {
      await this.push();
    } catch (error) {
      if (!leadsNowhere(error)) throw error;
      turnedAway = true; // of another history: the feed answers the same, and a new copy comes first
      this.cut?.abort();
      await this.tail;
    }
    if (!this.tail) {
      await this.pull();
      await this.addOlder();
      if (this.comparing || await this.compareIsDue()) await this.prove();
      if (turnedAway) await this.push();
      this.follow();
    }
    await changeState(this.db, this.squad, { problem: null, syncedAt: Date.now() });
  }

  async compareIsDue() {
    const { compared, copiedAt = 0 } = await syncState(this.db, this.squad);
    return Date.now() - Math.max(copiedAt, compared?.at ?? 0) > compareEveryMs;
  }

  // prove checks that this device has exactly what the server has. A copy that differs is read
  // again as a whole.
  async prove() {
    let mended = false;
    for (let tries = 0; tries < 5; tries++) {
      const { cursor } = await syncState(this.db, this.squad);
      const there = await this.account.call((token) => send("GET", `/v1/squads/${this.squad}/digest?${new URLSearchParams({ of: cursor })}`, { token, signal: this.stopper.signal }));
      const state = await syncState(this.db, this.squad);
      if (state.rev !== there.rev) {
        await this.pull(); // another user has changed something meanwhile
      } else if (await this.holds(there.kinds)) {
        this.comparing = false;
        await changeState(this.db, this.squad, { compared: { at: Date.now(), mended } });
        return;
      } else {
        mended = true;
        await this.copyAnew("differs");
      }
    }
    this.comparing = false;
    await changeState(this.db, this.squad, { compared: { at: Date.now(), failed: true } });
  }

  holds(digests) {
    return run(this.db, ["records"], "readonly", async (tx) => {
      for (const kind of kinds) {
        const records = await ask(tx.objectStore("records").getAll(ofKind(this.squad, kind)));
        if (!alike(digestOf(records.filter(({ record }) => record)), digests[kind])) return false;
      }
      return true;
    });
  }

  async push() {
    const passed = new Set();
    for (;;) {
      const batch = await takeBatch(this.db, this.squad, batchSize, passed);
      if (batch.length === 0) return;
      const answer = await this.sendItems(batch.map(itemOf));
      await settleOutcomes(this.db, this.squad, batch, answer.outcomes, (tx) => changeStateIn(tx, this.squad, { seen: answer.head, seenRev: answer.rev, usage: answer.usage ?? null }));
      for (const change of batch) passed.add(keyOf(change));
      this.tell();
    }
  }

  // sendItems pushes with shots as tables; a server that is older than this page may not take those.
  async sendItems(items) {
    const { seen } = await syncState(this.db, this.squad);
    const post = (body, type) => this.account.call((token) => send("POST", squadPath(this.squad, "push", { seen }), { token, body, type, signal: this.stopper.signal }));
    if (!this.takesNoTables) {
      try {
        return await post({ items: fold(items) }, tablesType);
      } catch (error) {
        if (!(error instanceof Problem) || error.status !== 415) throw error;
        this.takesNoTables = true;
      }
    }
    return post({ items });
  }

  async pull() {
    const state = await syncState(this.db, this.squad);
    if (!state.cursor || state.page) return this.copyAll(state);
    try {
      await this.pullFrom(state);
    } catch (error) {
      if (!leadsNowhere(error)) throw error;
      this.moved();
      await this.copyAnew(whyOf(error)); // the cursor leads nowhere any more; the queue stays
    }
  }

  // copyAnew reads a new copy. A restore stays the reason until it is whole.
  async copyAnew(why) {
    await this.copyAll(await this.beginCopy(why));
  }

  async beginCopy(why) {
    const { why: before, heads, common } = await syncState(this.db, this.squad);
    const next = { page: "", why, common: 0, seen: "", seenRev: 0, heads: [] };
    if (before === "restored") Object.assign(next, { why: before, common });
    else if (why === "restored") next.common = await this.commonWith(heads);
    return changeState(this.db, this.squad, next);
  }

  // commonWith looks for the newest of the heads that is of the server's history too: what the copy
  // has up to its revision the server has had.
  async commonWith(heads) {
    let [from, upto] = [0, heads.length]; // those below from stand, those from upto on do not
    while (from < upto) {
      const middle = from + upto >> 1;
      try {
        await this.get("feed", { seen: heads[middle].head, limit: 1 });
        from = middle + 1;
      } catch (error) {
        if (!leadsNowhere(error)) throw error;
        upto = middle;
      }
    }
    return from ? heads[from - 1].rev : 0;
  }

  async pullFrom({ cursor: after, copy, seen }) {
    for (let more = true; more;) {
      const page = await this.get("feed", { after, seen, limit: pageSize });
      await this.take(page.items, copy, { cursor: page.cursor, rev: page.rev, seen: page.head, seenRev: page.rev });
      seen = page.head;
      ({ cursor: after, more } = page);
    }
  }

  // copyAll reads a snapshot, page by page and from where it was broken off, and drops what it does
  // not hold.
  async copyAll(state) {
    let { page, copy, why, common } = state;
    const since = state.copy === 0 ? firstSince() : state.since;
    if (!page) copy++;
    for (;;) {
      let answer;
      try {
        answer = await this.get("snapshot", page ? { page, limit: pageSize } : { since, limit: pageSize });
      } catch (error) {
        if (!page || !(error instanceof Problem) || error.status !== 410 && error.status !== 400) throw error;
        page = "";
        copy++;
        ({ why, common } = await this.beginCopy(whyOf(error)));
        continue;
      }
      page = answer.page ?? "";
      const done = Boolean(answer.cursor);
      const next = { page, copy, since: answer.since ?? "", olderPage: "", seen: answer.head, seenRev: answer.rev };
      if (done) Object.assign(next, { cursor: answer.cursor, rev: answer.rev, why: "", common: 0, copiedAt: Date.now() });
      const was = { restored: why === "restored", differs: why === "differs", common };
      await this.take(answer.items, copy, next, { sweepUpTo: done ? answer.rev : null, was });
      if (done) return this.pullFrom({ cursor: answer.cursor, copy, seen: answer.head });
    }
  }

  // addOlder adds older sessions to the copy, when they are wanted: as they were at its place in the
  // feed, which it is then read on from.
  async addOlder() {
    const state = await syncState(this.db, this.squad);
    const wants = await wantedSince(this.db, this.squad, state);
    if (!wants) return;
    let page = state.olderPage;
    for (;;) {
      let answer;
      try {
        answer = await this.get("snapshot", page ? { page, limit: pageSize } : { since: wants === "all" ? "" : wants, extends: state.cursor, limit: pageSize });
      } catch (error) {
        if (page) await changeState(this.db, this.squad, { olderPage: "" }); // begun anew, should it lead nowhere
        throw error;
      }
      page = answer.page ?? "";
      const next = { olderPage: page };
      if (answer.cursor) Object.assign(next, { cursor: answer.cursor, since: answer.since ?? "", wants: "" });
      await this.take(answer.items, state.copy, next);
      if (answer.cursor) return this.pullFrom({ cursor: answer.cursor, copy: state.copy, seen: state.seen });
    }
  }

  // take writes a page and the place it leads to in one transaction, so that neither is ahead of
  // the other.
  async take(items, copy, next, { sweepUpTo = null, was = {} } = {}) {
    const more = await run(this.db, ["records", "changes", "meta", "lost"], "readwrite", async (tx) => {
      await changeStateIn(tx, this.squad, next);
      const shown = await applyItems(tx, this.squad, items, copy, was);
      const swept = sweepUpTo !== null && await sweep(tx, this.squad, copy, sweepUpTo, was);
      return shown || swept;
    });
    if (more) this.rouse(); // an edit of what has landed goes out next
    if (items.length > 0) this.tell();
  }

  // get reads a page of the feed or of a snapshot, and checks that it matches its digest.
  async get(what, query) {
    const page = await this.account.call((token) => send("GET", squadPath(this.squad, what, query), { token, signal: this.stopper.signal, accept: withTables }));
    const damaged = (error) => { throw new Problem(200, { detail: `a page that is not what its digest says: it was damaged on the way${error ? ` (${error.message})` : ""}` }); };
    let items;
    try {
      items = unfold(page.items);
    } catch (error) {
      damaged(error);
    }
    if (!alike(digestOf(items.filter(({ record }) => record)), page.digest)) damaged();
    return { ...page, items };
  }

  // follow opens the tail. When it ends, for whatever reason, the loop goes round once more and
  // finds out why.
  follow() {
    const begun = Date.now();
    const cut = this.cut = new AbortController();
    const signal = AbortSignal.any([this.stopper.signal, cut.signal]);
    this.tail = this.read(signal, cut).catch((error) => {
      if (!problemOf(error)) throw error;
    }).then(() => { // one that ends at once is not reopened at once
      const early = Date.now() - begun < 5000 && !signal.aborted;
      return early ? new Promise((resolve) => { setTimeout(resolve, firstWaitMs + backoff(2)); }) : null;
    }).finally(() => { this.tail = null; });
  }

  async read(signal, cut) {
    const { cursor, copy, seen } = await syncState(this.db, this.squad);
    const response = await this.account.call((token) => open(squadPath(this.squad, "live", { after: cursor, seen }), { token, signal, accept: "text/event-stream" }));
    for await (const batch of events(response.body, () => cut.abort(), silenceMs)) {
      const items = batch.filter((event) => event.name === "item").map((event) => JSON.parse(event.data));
      await this.take(items, copy, { cursor: batch.at(-1).id, syncedAt: Date.now() });
    }
  }
}

// leadsNowhere tells a cursor or a head that cannot be gone on from; 400 is one that the server has
// not signed, because its keys have changed.
const leadsNowhere = (error) => error instanceof Problem && (error.status === 410 || error.status === 400 && error.code === "invalid");

// whyOf is why a copy has to be read anew. A server whose keys have changed may have lost anything.
const whyOf = (error) => error.status === 410 ? error.reason : "differs";

// problemOf turns an error of the network or of the server into what a person can do about it; null
// for one that is our own fault. A lasting problem is not tried again until something happens.
function problemOf(error) {
  if (error instanceof SignedOut) return { kind: "signed-out", lasting: true, detail: error.message };
  if (isFull(error)) return { kind: "full", lasting: false, detail: error.message };
  if (error instanceof Offline) return { kind: "offline", lasting: false, detail: error.message };
  if (!(error instanceof Problem)) return null;
  switch (error.status) {
    case 401: return { kind: "signed-out", lasting: true, detail: error.message };
    case 404: return { kind: "not-a-member", lasting: true, detail: error.message };
    case 426: return { kind: "too-old", lasting: true, detail: error.message };
  }
  return { kind: "server", lasting: false, detail: error.message };
}

