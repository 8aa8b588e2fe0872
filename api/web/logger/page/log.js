// Logging a shot: where the ball crossed, what was left standing, and at once whether the drill was
// kept.

import { conflictView } from "./conflict.js";
import { h, say, sign, svg, swap } from "./dom.js";
import { Draft } from "./draft.js";
import { newId } from "./ids.js";
import { fullWords, isFull } from "./keeping.js";
import { LaneView, corridorsOf } from "./laneview.js";
import { placeNamed } from "./lane.js";
import { PinsView } from "./pinsview.js";
import { placeEditor } from "./placeeditor.js";
import { Practice } from "./openpractice.js";
import { addShot, changeOf, write } from "./queue.js";
import { shotList } from "./shots.js";
import { faultLine } from "./syncview.js";
import { standingDetail, standingPanel } from "./standing.js";
import { readMeta, writeMeta } from "./store.js";
import { count, marginLine, verdictLine, verdictTitle } from "./words.js";

const ghostShots = 8;

export async function logView(app, [editing]) {
  const change = editing && await changeOf(app.db, app.choice.squad, "shot", editing);
  if (change?.state === "conflict") return conflictView(app, ["shot", editing]);
  const view = new LogView(app);
  await view.load(editing);
  return view;
}

// now is the time by the device's clock. Nothing is ordered by it.
const now = () => `${new Date().toISOString().slice(0, 19)}Z`;

class LogView {
  constructor(app) {
    this.app = app;
    this.saved = null; // what the last save can be undone to
    this.writes = 0; // of shots, by this view
    this.failure = ""; // why the last save failed
  }

  async load(editing) {
    this.practice = await this.read();
    const shot = editing && this.practice.all.find((one) => one.id === editing);
    if (shot) this.draft = new Draft({ ...shot }, shot);
    else this.draft = await this.kept();
    const change = shot && await changeOf(this.app.db, this.app.choice.squad, "shot", shot.id);
    this.faults = change?.state === "refused" || change?.state === "waiting" ? change.faults : [];
    this.place = this.askedPlace();
    this.build();
    this.update();
  }

  // kept is the shot that was begun when the page was closed, if it was of this session.
  async kept() {
    const kept = await readMeta(this.app.db, "draft");
    if (kept && !kept.original && kept.record.session_id === this.app.choice.session && kept.record.athlete_id === this.app.athlete) return new Draft(kept.record);
    return this.fresh();
  }

  fresh() {
    const { session, drill, ball } = this.app.choice;
    const known = ball && this.practice.balls.some((one) => one.id === ball);
    return new Draft({ session_id: session, athlete_id: this.app.athlete, ...known && { ball_id: ball }, ...this.practice.assigned && { drill_id: drill } });
  }

  askedPlace() {
    const rule = this.practice.drill?.rules.find((one) => (one.of ?? one.measure) === "board" && one.at);
    return rule?.at ?? "breakpoint";
  }

  build() {
    const side = this.practice.athlete?.side ?? "right";
    this.lane = new LaneView({ side, onmark: (point) => this.mark(point), onclear: (place) => this.clear(place) });
    this.pins = new PinsView({ onchange: (standing) => this.change({ standing }) });
    this.places = placeEditor({ onselect: (place) => this.select(place), onchange: (fields, again) => this.change(fields, again) });
    this.standing = h("div", {});
    this.more = h("details", { class: "more" });
    this.detail = h("div", { class: "log-detail" });
    this.buildFoot();
    this.recent = h("div", { class: "log-recent" });
    this.heading = h("h1", { class: "unseen" });
    const faults = this.faults.map((fault) => h("p", { class: "fault" }, `The server did not accept this shot. ${faultLine(fault)}`));
    this.element = h("div", { class: "wrap log" }, this.heading,
      h("div", { class: "log-standing" }, faults.length > 0 && h("div", { class: "card" }, faults), this.standing),
      h("section", { class: "log-lane", "aria-label": "Where the ball crossed" },
        h("p", { id: "lane-keys", class: "unseen" }, "Arrow keys move the cursor a board or a foot, with Shift five. 1 to 4 go to laydown, arrows, breakpoint and entry. Enter marks, Delete clears the mark."),
        this.lane.element, this.places.element),
      h("section", { class: "log-pins", "aria-label": "Pins" }, this.pins.element, this.more), this.detail, this.recent, this.foot);
    this.buildMore();
  }

  // buildFoot makes the buttons once: a press is lost when its button is rebuilt under the finger.
  buildFoot() {
    this.word = h("div", { class: "word" });
    this.undoButton = h("button", { type: "button", class: "quiet undo", id: "undo", "aria-label": "Undo", onclick: () => this.undo() },
      svg("svg", { viewBox: "0 0 24 24", "aria-hidden": "true", focusable: "false" }, svg("path", { d: "M8.500 4.500L4 9l4.500 4.500M4.500 9H14a5.500 5.500 0 0 1 0 11H9" })), h("span", {}, "Undo"));
    this.saveButton = h("button", { type: "button", class: "save", id: "save", onclick: () => this.save() });
    const { original } = this.draft;
    this.editActions = original && h("div", { class: "edit-actions" },
      h("button", { type: "button", class: "plain", onclick: () => this.app.go("log") }, "Cancel"),
      h("button", { type: "button", class: "plain danger", onclick: () => this.remove() }, `Delete shot ${this.practice.numberOf(original)}`));
    this.foot = h("div", { class: "foot" }, h("div", { class: "foot-inner" }, this.word, this.undoButton, this.saveButton, this.editActions));
  }

  buildMore() {
    const { balls } = this.practice;
    const speed = h("input", { id: "speed", inputmode: "decimal", autocomplete: "off", onchange: () => this.typeSpeed(speed) });
    const note = h("textarea", { id: "note", rows: 2, maxlength: 4000, onchange: () => this.change({ note: note.value.trim() || undefined }, "note") });
    const ball = h("select", { id: "ball", onchange: () => this.chooseBall(ball.value) },
      h("option", { value: "" }, "Not recorded"), balls.map((one) => h("option", { value: one.id }, one.name + (one.retired ? " (retired)" : ""))));
    this.inputs = { speed, note, ball };
    this.speedFault = h("p", { class: "fault", role: "alert" });
    this.unseen = h("button", { type: "button", class: "quiet", onclick: () => this.save(true) }, "Log shot as not seen");
    this.summary = h("summary", {});
    this.more.replaceChildren(this.summary, h("div", { class: "more-fields" },
      h("div", { class: "field" }, h("label", { for: "ball" }, "Ball"), ball, h("p", { class: "hint" }, "Stays until you change it.")),
      h("div", { class: "field" }, h("label", { for: "speed" }, "Speed at launch, mph"), speed, this.speedFault),
      h("div", { class: "field wide" }, h("label", { for: "note" }, "Note"), note), this.unseen));
  }

  typeSpeed(input) {
    const text = input.value.trim().replace(",", ".");
    const value = Number(text);
    const wrong = text !== "" && !(value >= 5 && value <= 30);
    this.speedFault.textContent = wrong ? "Enter 5 to 30 mph. To convert km/h, divide by 1.609." : "";
    input.setAttribute("aria-invalid", String(wrong));
    if (!wrong) this.change({ speed_mph: text === "" ? undefined : value }, "speed");
  }

  async chooseBall(ball) {
    this.change({ ball_id: ball || undefined });
    if (!this.draft.original) await this.app.choose({ ball });
  }

  // What is entered.

  mark({ place, board, ft }) {
    this.place = place;
    const fields = { [placeNamed(place).board]: board };
    if (place === "breakpoint") fields.breakpoint_ft = ft;
    this.change(fields);
    const words = this.judged ? verdictLine(this.practice.rules, this.judged) : "";
    say(`${placeNamed(place).label} ${board}${place === "breakpoint" ? ` at ${ft} feet` : ""}. ${words}`);
  }

  clear(place) {
    const fields = { [placeNamed(place).board]: undefined };
    if (place === "breakpoint") fields.breakpoint_ft = undefined;
    this.place = place;
    this.change(fields);
    say(`${placeNamed(place).label} cleared`);
  }

  select(place) {
    this.place = place;
    this.update();
  }

  change(fields, again) {
    this.draft.change(fields, again);
    this.saved = null;
    this.failure = "";
    this.keepDraft();
    this.update();
  }

  keepDraft() {
    if (this.draft.original) return;
    writeMeta(this.app.db, "draft", this.draft.empty ? null : this.draft.toJSON());
  }

  async undo() {
    if (this.draft.undo()) {
      this.keepDraft();
      this.update();
      say("Undone");
    } else if (this.saved) {
      await this.undoSave();
    }
  }

  // undoSave removes the last shot and puts it back into the entry.
  async undoSave() {
    const { before, after } = this.saved;
    this.saved = null;
    this.writes++;
    await write(this.app.db, this.app.choice.squad, "shot", after.id, before);
    this.app.sync?.wake();
    if (before) {
      this.practice.replace(before);
      this.draft = new Draft({ ...before }, before);
    } else {
      this.practice.remove(after.id);
      const { id, order, time, source, ...record } = after;
      this.draft = new Draft(record);
      this.keepDraft();
    }
    this.update();
    say(`Shot ${after.order} is back for editing`);
  }

  async save(unseen = false) {
    if (this.draft.empty && !unseen) {
      say("Tap the lane or the pins first.");
      return;
    }
    if (this.saving) return;
    this.saving = true;
    this.writes++;
    this.failure = "";
    try {
      if (this.draft.original) await this.saveEdit();
      else await this.saveNew();
    } catch (error) {
      this.failure = isFull(error) ? fullWords : `The browser couldn't save it: ${error.message}.`;
      this.update();
      say(`Not saved. ${this.failure}`);
      console.warn(error);
    } finally {
      this.writes++;
      this.saving = false;
    }
  }

  async saveNew() {
    const shot = await addShot(this.app.db, this.app.choice.squad, { id: newId(), ...this.draft.record, time: now(), source: "eye" });
    await writeMeta(this.app.db, "draft", null);
    this.practice.replace(shot);
    this.afterSave(null, shot);
  }

  async saveEdit() {
    const { original } = this.draft;
    const record = { ...this.draft.record };
    if (this.faults.some((fault) => fault.pointer?.endsWith("/time"))) record.time = now(); // the device's clock was wrong then
    await write(this.app.db, this.app.choice.squad, "shot", original.id, record);
    this.practice.replace(record);
    this.afterSave(original, record);
    history.replaceState(null, "", "#/log");
  }

  afterSave(before, after) {
    this.app.sync?.wake();
    this.saved = { before, after };
    this.draft = this.fresh();
    this.place = this.askedPlace();
    this.update();
    this.app.drawTop();
    const judged = this.practice.judged.get(after.id);
    say(`Shot ${after.order} saved. ${judged ? `${verdictLine(this.practice.rules, judged)}. ` : ""}${this.scoreWords()}`);
    if (this.element.contains(document.activeElement) && document.activeElement.matches(":focus-visible")) this.lane.element.focus();
  }

  scoreWords() {
    const { score } = this.practice;
    const lost = score?.withdrawn ? `; it was ${score.withdrawn}, but a shot behind that verdict has changed` : "";
    return score?.judged ? `${score.kept} of ${score.judged} kept, ${score.verdict}${lost}` : "";
  }

  async remove() {
    const { original } = this.draft, number = this.practice.numberOf(original);
    this.writes++;
    await write(this.app.db, this.app.choice.squad, "shot", original.id, null);
    this.app.sync?.wake();
    this.practice.remove(original.id);
    this.saved = null;
    this.draft = this.fresh();
    say(`Shot ${number} deleted`);
    this.app.go("shots");
  }

  edit(shot) {
    this.app.go(`log/${shot.id}`);
  }

  // refresh takes in what came from the server; the draft stays.
  async refresh() {
    for (let writes = -1; writes !== this.writes;) {
      writes = this.writes;
      const practice = await this.read();
      if (writes === this.writes) this.practice = practice; // else a shot was saved meanwhile, which this does not know
    }
    this.update();
  }

  read() {
    return Practice.load(this.app);
  }

  close() { this.lane.close(); }

  // What is shown.

  update() {
    const { practice, draft } = this;
    const look = practice.look(draft.record, draft.empty);
    this.judged = look.judged;
    const corridors = corridorsOf(practice.drill, look.corridors);
    this.lane.update({ corridors, marks: draft.marks.map((mark) => ({ ...mark, verdict: this.verdictAt(mark.place) })), ghosts: this.ghosts(), selected: this.place });
    this.pins.update(draft.record.standing ?? null);
    this.places.update(draft.record, this.place, this.askedPlaces());
    swap(this.standing, standingPanel(practice, this.judged));
    swap(this.detail, standingDetail(practice, (shot) => this.edit(shot)));
    swap(this.recent, h("h2", {}, "Shots"), shotList(practice, practice.inSession.slice(-10).reverse(), () => ""));
    this.updateMore();
    this.updateFoot();
    this.heading.textContent = draft.original ? `Shot ${practice.numberOf(draft.original)}` : `${practice.drill?.name ?? "Shots"}, ${practice.session?.name ?? ""}`;
  }

  askedPlaces() {
    return new Set((this.practice.drill?.rules ?? []).filter((rule) => rule.at).map((rule) => rule.at));
  }

  // verdictAt is the verdict of the rules on one place.
  verdictAt(place) {
    const rules = this.practice.drill?.rules ?? [];
    const found = rules.map((rule, i) => rule.at === place ? this.judged?.rules[i].verdict : null).filter(Boolean);
    if (found.includes("broken")) return "broken";
    return found.includes("kept") ? "kept" : found[0] ?? "none";
  }

  ghosts() {
    const place = placeNamed(this.place);
    return this.practice.inSession.filter((shot) => shot.id !== this.draft.original?.id && shot[place.board] !== undefined).slice(-ghostShots)
      .map((shot) => ({ board: shot[place.board], ft: place.ft ?? shot.breakpoint_ft, verdict: this.practice.judged.get(shot.id)?.verdict ?? "none" }))
      .filter((ghost) => ghost.ft !== undefined);
  }

  updateMore() {
    const { record } = this.draft;
    const set = (input, value) => { if (document.activeElement !== input) input.value = value; };
    set(this.inputs.speed, record.speed_mph ?? "");
    set(this.inputs.note, record.note ?? "");
    set(this.inputs.ball, record.ball_id ?? "");
    const parts = [this.practice.ballNames.get(record.ball_id), record.speed_mph !== undefined ? `${record.speed_mph} mph` : "", record.note ? "note" : ""].filter(Boolean);
    this.summary.textContent = parts.length ? `Ball, speed, note: ${parts.join(", ")}` : "Ball, speed, note";
    this.unseen.hidden = Boolean(this.draft.original) || !this.draft.empty;
  }

  updateFoot() {
    const { draft, practice } = this;
    const next = 1 + practice.inSession.reduce((most, shot) => Math.max(most, shot.order), 0);
    swap(this.word, this.verdict());
    this.undoButton.setAttribute("aria-disabled", String(draft.steps.length === 0 && !this.saved));
    this.saveButton.setAttribute("aria-disabled", String(draft.empty));
    const words = draft.original ? "Save changes" : `Save shot ${next}`;
    if (this.saveButton.textContent !== words) this.saveButton.textContent = words;
    if (this.editActions) this.editActions.hidden = !draft.original;
  }

  // verdict is the verdict on the shot being logged, or on the one just saved.
  verdict() {
    const { practice, draft } = this;
    if (this.failure) return h("p", { class: "now broken" }, sign("broken"), h("span", {}, h("strong", {}, "Not saved"), h("span", {}, this.failure)));
    if (draft.empty && this.saved) {
      const judged = practice.judged.get(this.saved.after.id);
      const words = judged ? verdictLine(practice.rules, judged) : "";
      return h("p", { class: `now ${judged?.verdict ?? "none"}` }, sign(judged?.verdict ?? "none"), h("span", {}, h("strong", {}, `Shot ${this.saved.after.order} saved`), h("span", {}, words)));
    }
    if (draft.empty) {
      return h("p", { class: "now" }, h("span", {}, h("strong", {}, draft.original ? "Nothing recorded" : "Next shot"), h("span", {}, "Tap the lane and the pins")));
    }
    if (!this.judged) return h("p", { class: "now none" }, sign("none"), h("span", {}, h("strong", {}, practice.drill ? "Not judged yet" : "No drill"), h("span", {}, practice.drill ? "The server judges it once it is sent" : count(draft.marks.length, "mark"))));
    return h("p", { class: `now ${this.judged.verdict}` }, sign(this.judged.verdict),
      h("span", {}, h("strong", {}, verdictTitle[this.judged.verdict]), h("span", {}, marginLine(practice.rules, this.judged))));
  }
}
