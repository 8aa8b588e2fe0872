// The page: who is signed in, what was chosen, which view is shown, and the messages at the top.

import { Account, SignedOut } from "./account.js";
import { Offline, Problem, send } from "./api.js";
import { conflictView } from "./conflict.js";
import { h, say, svg, swap } from "./dom.js";
import { logView } from "./log.js";
import { askToKeep, clearedWords, fullWords, isFull, markKept, onHomeScreen } from "./keeping.js";
import { lostOf } from "./lost.js";
import { allChanges, sendLost } from "./queue.js";
import { sessionView } from "./session.js";
import { shotsView } from "./shots.js";
import { signInView } from "./signin.js";
import { startView } from "./start.js";
import { openCopy, readMeta, writeMeta } from "./store.js";
import { Sync, syncState } from "./sync.js";
import { syncView } from "./syncview.js";
import { count, timeOf, usageWords } from "./words.js";

const views = {
  "": logView, log: logView, shots: shotsView, start: startView, sync: syncView, conflict: conflictView, session: sessionView, "sign-in": signInView,
};

const titles = { log: "Log", shots: "Shots", start: "Set up", sync: "Sync", conflict: "Two versions", session: "Session", "sign-in": "Sign in" };

class App {
  async begin() {
    this.account = await Account.open();
    this.update = null; // a newer version of the page, ready to take over
    window.addEventListener("hashchange", () => this.show());
    window.addEventListener("online", () => this.sync?.reconnect());
    window.addEventListener("offline", () => this.refresh());
    document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && this.sync?.wake());
    this.watchFaults();
    this.watchPresses();
    this.watchForUpdates();
    if (this.account.person) await this.enter();
    await this.show();
  }

  // enter opens the copy of the signed-in user, and keeps it up to date.
  async enter() {
    this.leave();
    this.db = await openCopy(this.account.person.user_id);
    this.me = await readMeta(this.db, "me") ?? null;
    this.choice = await readMeta(this.db, "choice") ?? {};
    askToKeep().then((keeping) => { // not awaited: some browsers ask the user first
      this.keeping = keeping;
      this.refresh();
    });
    if (this.me) this.meet().catch(passed);
    else await this.meet().catch(passed);
    this.startSync();
  }

  leave() {
    this.view?.close?.();
    this.view = null; // it shows the last user's records
    this.sync?.stop();
    this.db?.close();
    this.sync = this.db = this.me = null;
    this.choice = {};
  }

  // meet asks the server who this is and in which squads.
  async meet() {
    const { db } = this;
    const me = await this.account.call((token) => send("GET", "/v1/me", { token }));
    if (db !== this.db) return; // signed out meanwhile
    const left = this.squad;
    if (left && !me.squads.some((squad) => squad.squad_id === left.squad_id) && (await allChanges(db)).some((change) => change.squad === left.squad_id)) {
      me.squads.push(left); // its unsent changes are still shown
    }
    this.me = me;
    await writeMeta(db, "me", me);
    if (!this.choice.squad && this.me.squads.length === 1) await this.choose({ squad: this.me.squads[0].squad_id });
  }

  get squad() { return this.me?.squads.find((squad) => squad.squad_id === this.choice.squad) ?? null; }

  // athlete is whose shots are logged: an athlete's own, or the one a coach chose.
  get athlete() { return this.squad?.role === "athlete" ? this.squad.athlete_id : this.choice.athlete; }

  get ready() { return Boolean(this.squad && this.athlete && this.choice.session); }

  async choose(change) {
    const moved = change.squad && change.squad !== this.choice.squad;
    this.choice = { ...this.choice, ...moved && { athlete: "", session: "", drill: "", ball: "" }, ...change };
    await writeMeta(this.db, "choice", this.choice);
    if (moved) this.startSync();
  }

  startSync() {
    this.sync?.stop();
    this.sync = null;
    if (!this.choice.squad) return;
    this.sync = new Sync({ account: this.account, db: this.db, squad: this.choice.squad, told: () => this.refresh(), moved: () => this.meet().catch(passed) });
    this.sync.start();
  }

  go(where) {
    if (location.hash === `#/${where}`) this.show();
    else location.hash = `#/${where}`;
  }

  // show opens the view of the address, or the first one that has to come before it.
  async show() {
    let [name, ...rest] = location.hash.replace(/^#\/?/, "").split("/");
    if (!this.db) name = "sign-in";
    else if (["", "log", "shots"].includes(name) && !this.ready) name = "start";
    this.view?.close?.();
    this.view = null;
    this.name = name || "log";
    document.title = `${titles[this.name] ?? "Log"} · Laneward logger`;
    const turn = this.turn = (this.turn ?? 0) + 1;
    const view = await (views[name] ?? logView)(this, rest);
    if (turn !== this.turn) return view.close?.(); // the user has gone on meanwhile
    this.view = view;
    const main = document.getElementById("main");
    main.replaceChildren(view.element);
    window.scrollTo(0, 0);
    if (turn > 1) main.focus({ preventScroll: true });
    view.shown?.();
    await this.drawTop();
  }

  // refresh shows what has changed in the copy.
  async refresh() {
    if (this.refreshing || this.pressed) {
      this.again = true;
      return;
    }
    this.refreshing = true;
    const { db } = this;
    try {
      do {
        this.again = false;
        await this.drawTop();
        await this.view?.refresh?.();
      } while (this.again);
    } catch (error) {
      if (this.db === db) throw error; // there is nothing to show to a user who has signed out meanwhile
    } finally {
      this.refreshing = false;
    }
  }

  // watchFaults reports what went wrong in the page itself, so that silence is not taken for
  // success.
  watchFaults() {
    const told = ({ reason, error }) => {
      if (isFull(reason ?? error)) {
        this.full = true;
        say(fullWords);
        return this.drawTop();
      }
      this.fault = (reason ?? error)?.message ?? "unknown";
      this.drawTop();
    };
    window.addEventListener("unhandledrejection", told);
    window.addEventListener("error", told);
  }

  // watchPresses keeps the page from changing while something is pressed, so that nothing moves
  // away under a finger.
  watchPresses() {
    const ended = () => setTimeout(() => { // once the click has been dispatched
      this.pressed = false;
      if (this.again && !this.refreshing) this.refresh();
    });
    document.addEventListener("pointerdown", () => { this.pressed = true; }, true);
    document.addEventListener("pointerup", ended, true);
    document.addEventListener("pointercancel", ended, true);
  }

  // standing is the state of the queue and of the copy.
  async standing() {
    const { db } = this;
    const changes = await allChanges(db);
    const own = changes.filter((change) => change.squad === this.choice.squad);
    const of = (...states) => own.filter((change) => states.includes(change.state));
    const state = this.choice.squad ? await syncState(db, this.choice.squad) : null;
    return {
      state, lost: this.squad ? await lostOf(db, this.squad) : { mine: [], others: 0 }, unsent: of("unsent", "waiting"), refused: of("refused"), conflicts: of("conflict"), waiting: of("waiting"),
      elsewhere: changes.filter((change) => change.squad !== this.choice.squad && change.state !== "landed"),
      kept: changes.filter((change) => change.state !== "landed").length,
      offline: !navigator.onLine || state?.problem?.kind === "offline",
    };
  }

  async drawTop() {
    const top = document.getElementById("top");
    if (!this.db) { // no one has signed in
      const cleared = clearedWords();
      swap(top, h("div", { class: "bar" }, brand(), h("strong", {}, "Laneward logger")), cleared && h("p", { class: "notice", id: "cleared" }, cleared));
      return;
    }
    const standing = await this.standing();
    markKept(standing.kept);
    const link = (name, text) => h("a", { href: `#/${name}`, "aria-current": this.name === name ? "page" : null }, text);
    swap(top, h("div", { class: "bar" }, brand(),
      h("nav", { "aria-label": "Logger" }, link("log", "Log"), link("shots", "Shots"), link("start", "Set up")), chip(standing)), this.notices(standing));
  }

  notices(standing) {
    const problem = standing.state?.problem;
    const kept = count(standing.unsent.length, "change");
    const notes = [];
    if (!this.account.signedIn || problem?.kind === "signed-out") {
      notes.push(["Your sign-in ended. ", standing.unsent.length ? `${kept} not sent yet ${standing.unsent.length === 1 ? "is" : "are"} kept here. ` : "Keep logging; shots are kept here. ",
        h("a", { href: "#/sign-in" }, "Sign in again")]);
    } else if (problem?.kind === "not-a-member") {
      notes.push([`You are no longer in this squad, so nothing can be sent to it. ${kept} not sent yet stay on this device. `, h("a", { href: "#/sync" }, "Look at them")]);
    } else if (problem?.kind === "too-old") {
      notes.push([`This version of the logger is too old for the server. ${kept} not sent yet stay here. `,
        h("button", { type: "button", class: "plain", onclick: () => this.takeUpdate() }, "Update the logger")]);
    }
    if (standing.lost.mine.length) {
      notes.push([`The server has lost ${count(standing.lost.mine.length, "record")} that this phone still has. `,
        h("button", { type: "button", class: "plain", id: "send-lost", onclick: () => this.sendLost() }, "Send again")]);
    }
    if (standing.state?.usage) notes.push([usageWords(standing.state.usage)]);
    if (this.full || problem?.kind === "full") {
      notes.push([`${this.full ? fullWords : "This device is out of space, so nothing new can be loaded. Free some space, such as old photos or apps."} `,
        h("button", { type: "button", class: "plain", onclick: () => { this.full = false; this.sync?.wake(); this.refresh(); } }, "Try again")]);
    }
    if (standing.kept && (standing.offline || problem) && !onHomeScreen() && this.name !== "sync") {
      notes.push([`${count(standing.kept, "change")} not sent yet ${standing.kept === 1 ? "is" : "are"} only in this browser. `, h("a", { href: "#/sync" }, "Keep it safe")]);
    }
    if (this.fault) {
      notes.push([`Something went wrong on this page (${this.fault}). Everything saved is kept. `,
        h("button", { type: "button", class: "plain", onclick: () => location.reload() }, "Reload")]);
    }
    if (this.update) notes.push(["A newer version of the logger is ready. ", h("button", { type: "button", class: "plain", onclick: () => this.takeUpdate() }, "Update now")]);
    return notes.map((note) => h("p", { class: "notice" }, note));
  }

  // sendLost has what the server has lost sent again.
  async sendLost() {
    const { mine } = await lostOf(this.db, this.squad);
    await sendLost(this.db, this.choice.squad, mine);
    this.sync?.wake();
    say("Sending again");
    this.refresh();
  }

  async watchForUpdates() {
    if (!navigator.serviceWorker) return;
    const found = (worker) => worker.addEventListener("statechange", () => {
      if (worker.state !== "installed" || !navigator.serviceWorker.controller) return;
      this.update = worker;
      this.refresh();
    });
    try {
      const registration = await navigator.serviceWorker.register("sw.js", { scope: "./" });
      this.update = navigator.serviceWorker.controller ? registration.waiting : null;
      if (registration.installing) found(registration.installing);
      registration.addEventListener("updatefound", () => found(registration.installing));
    } catch (error) {
      this.notInstalled = error.message; // shown on the sync page: without it the page does not open with the network off
    }
  }

  async takeUpdate() {
    const registration = await navigator.serviceWorker?.getRegistration();
    await registration?.update().catch(passed);
    const worker = this.update ?? registration?.waiting;
    if (!worker) return location.reload();
    navigator.serviceWorker.addEventListener("controllerchange", () => location.reload(), { once: true });
    worker.postMessage("take over");
  }
}

// passed ignores failures for want of a network or a sign-in: the sync reports them.
function passed(error) {
  if (!(error instanceof Offline || error instanceof Problem || error instanceof SignedOut || error instanceof TypeError)) throw error;
}

const brand = () => h("a", { class: "brand", href: "#/log", "aria-label": "Laneward logger" },
  svg("svg", { viewBox: "0 0 24 24", "aria-hidden": "true", focusable: "false" },
    svg("path", { class: "boards", d: "M6 21L8.500 3M12 21V3M18 21L15.500 3" }), svg("path", { class: "ball-path", d: "M16 20C19 13 18 9 13.200 5" }),
    svg("circle", { class: "ball", cx: 13, cy: 5, r: 2.8 })));

// chip says in a few words how the sync is doing; the worst first.
function chip({ unsent, refused, conflicts, offline, state }) {
  const waits = unsent.length ? `${unsent.length} to send` : "";
  let kind = "sent", text = state?.syncedAt ? "All sent" : "Not synced";
  if (conflicts.length) [kind, text] = ["bad", count(conflicts.length, "conflict")];
  else if (refused.length) [kind, text] = ["bad", `${refused.length} refused`];
  else if (offline) [kind, text] = ["off", `Offline${unsent.length ? ` · ${unsent.length}` : ""}`];
  else if (waits) [kind, text] = ["busy", waits];
  const when = state?.syncedAt ? `, last synced ${timeOf(state.syncedAt)}` : "";
  return h("a", { class: `sync ${kind}`, href: "#/sync", "aria-label": `Sync: ${text}${offline && waits ? `, ${waits}` : ""}${when}` }, h("span", { class: "dot", "aria-hidden": "true" }), text);
}

const app = new App();
app.begin().catch((error) => {
  document.getElementById("main").replaceChildren(h("div", { class: "wrap" }, h("h1", {}, "The logger can't open its storage"),
    h("p", {}, `The browser says: ${error.message}. Shots you logged are not lost. Close other tabs of the logger, leave private browsing, then open it again.`)));
  say("The logger can't open its storage");
  throw error;
});
