// The shots of one athlete, and which of them count for a drill, as the server counts them.

import { forSide, judgeAll, judgeOne } from "./judge.js";
import { list, listBy } from "./queue.js";
import { score, withdraws } from "./score.js";

const before = (a, b) => a < b ? -1 : a > b ? 1 : 0;

// spanOf joins an athlete's assignments of a drill: from the first day to the last day due; null
// when there is none.
function spanOf(assignments, drill, athlete) {
  const own = assignments.filter((one) => one.drill_id === drill && one.athlete_id === athlete);
  if (own.length === 0) return null;
  const from = own.map((one) => one.assigned_on).sort()[0];
  const to = own.some((one) => !one.due_on) ? "9999-12-31" : own.map((one) => one.due_on).sort().at(-1);
  return { from, to };
}

export class Practice {
  // load reads what the log page needs. choice names the athlete, the session and, or "", the
  // drill.
  static async load(db, squad, choice) {
    const [athletes, sessions, drills, assignments, balls, shots] = await Promise.all([
      list(db, squad, "athlete"), list(db, squad, "session"), list(db, squad, "drill"), list(db, squad, "assignment"), list(db, squad, "ball"),
      listBy(db, squad, "shot", "athlete", choice.athlete),
    ]);
    const practice = new Practice();
    practice.athlete = athletes.find((one) => one.id === choice.athlete) ?? null;
    practice.session = sessions.find((one) => one.id === choice.session) ?? null;
    practice.drill = drills.find((one) => one.id === choice.drill) ?? null;
    practice.sessions = new Map(sessions.map((one) => [one.id, one]));
    practice.span = practice.drill && spanOf(assignments, practice.drill.id, choice.athlete);
    practice.balls = balls.filter((ball) => ball.athlete_id === choice.athlete);
    practice.ballNames = new Map(balls.map((ball) => [ball.id, ball.name]));
    practice.all = shots;
    practice.judge();
    return practice;
  }

  // judge judges all shots that count again. withdrawn is the verdict that held before and no
  // longer does, because a shot behind it was changed.
  judge() {
    const earlier = this.score;
    this.inSession = this.all.filter((shot) => shot.session_id === this.session?.id).sort((a, b) => a.order - b.order || before(a.id, b.id));
    this.numbers = numbersOf(this.inSession);
    if (!this.drill) {
      this.judged = new Map();
      this.score = null;
      return;
    }
    this.counted = this.all.filter((shot) => this.counts(shot)).sort((a, b) => this.earlier(a, b));
    this.asked = forSide(this.drill, this.athlete?.side);
    const judgements = judgeAll(this.asked, this.counted);
    this.judged = new Map(this.counted.map((shot, i) => [shot.id, judgements[i]]));
    this.score = score(this.drill, judgements);
    this.withdrawn = withdraws(earlier, this.score) ? earlier.verdict : "";
    this.sessionScore = score(this.drill, this.inSession.map((shot) => this.judged.get(shot.id)).filter(Boolean));
  }

  // numberOf is what a shot is called: its place, unless another device gave that too.
  numberOf(shot) { return this.numbers.get(shot.id) ?? String(shot.order); }

  counts(shot) {
    const session = this.sessions.get(shot.session_id);
    if (!session) return false;
    if (shot.drill_id && shot.drill_id !== this.drill.id) return false;
    if (!this.span) return Boolean(shot.drill_id);
    return session.date >= this.span.from && session.date <= this.span.to;
  }

  earlier(a, b) {
    const day = (shot) => this.sessions.get(shot.session_id).date;
    return before(day(a), day(b)) || before(a.session_id, b.session_id) || a.order - b.order || before(a.id, b.id);
  }

  // previousOf is the shot a move is measured from: the counted one before it in the session.
  previousOf(shot) {
    return (this.counted ?? []).filter((other) => other.session_id === shot.session_id && other.id !== shot.id && (!shot.order || other.order < shot.order)).at(-1) ?? null;
  }

  // preview judges a shot that is not stored yet; null without a drill.
  preview(shot) {
    if (!this.drill) return null;
    const others = this.counted.filter((other) => other.id !== shot.id).map((other) => this.judged.get(other.id));
    return judgeOne(this.asked, shot, this.previousOf(shot), others);
  }

  // replace puts a shot in the place of its older self; remove takes it out.
  replace(shot) {
    this.all = this.all.filter((other) => other.id !== shot.id);
    this.all.push(shot);
    this.judge();
  }

  remove(id) {
    this.all = this.all.filter((other) => other.id !== id);
    this.judge();
  }
}

// numbersOf calls each of an athlete's shots, sorted by place and id, by its place; of several in one
// place, as two devices without a network give, the others are 4b, 4c and so on, as the program says.
export function numbersOf(shots) {
  let before = 0;
  return new Map(shots.map((shot, i) => {
    before = i > 0 && shots[i - 1].order === shot.order ? before + 1 : 0;
    return [shot.id, `${shot.order}${before ? letters(before) : ""}`];
  }));
}

const letters = (n) => n < 0 ? "" : letters(Math.floor(n / 26) - 1) + String.fromCharCode(97 + n % 26);
