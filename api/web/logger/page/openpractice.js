// The shots of one athlete, and what the drill says of them: judged by the engine, or where there is
// none by the server.

import { engine } from "./engine.js";
import { list, listBy } from "./queue.js";
import { served } from "./served.js";

// What nobody looks at any more is closed.
const forgotten = new FinalizationRegistry(({ call, practice }) => call("close", { practice }));

export class Practice {
  // load reads what the log page needs of the app's choice of athlete, session and, or "", drill.
  static async load(app) {
    const { db, choice: { squad } } = app;
    const [athletes, sessions, drills, assignments, balls, shots] = await Promise.all([
      list(db, squad, "athlete"), list(db, squad, "session"), list(db, squad, "drill"), list(db, squad, "assignment"), list(db, squad, "ball"),
      listBy(db, squad, "shot", "athlete", app.athlete),
    ]);
    const named = (records, id) => records.find((one) => one.id === id) ?? null;
    const practice = new Practice();
    practice.athlete = named(athletes, app.athlete);
    practice.session = named(sessions, app.choice.session);
    practice.drill = named(drills, app.choice.drill);
    practice.assigned = assignments.some((one) => one.drill_id === practice.drill?.id && one.athlete_id === app.athlete); // else the server takes no shot for it
    practice.balls = balls.filter((ball) => ball.athlete_id === app.athlete);
    practice.ballNames = new Map(balls.map((ball) => [ball.id, ball.name]));
    practice.all = shots;
    practice.call = await engine();
    const { athlete, drill } = practice, session = app.choice.session;
    if (practice.call) {
      const opened = practice.call("open", { athlete, session, drill, sessions, assignments, balls, shots });
      practice.handle = opened.practice;
      forgotten.register(practice, { call: practice.call, practice: opened.practice });
      practice.take(opened);
    } else {
      practice.take(await served(app, { session, drill, shots }));
    }
    return practice;
  }

  // take shows how the shots stand from now on.
  take(standing) {
    const byId = new Map(this.all.map((shot) => [shot.id, shot]));
    this.inSession = standing.in_session.map((id) => byId.get(id));
    this.numbers = new Map(standing.in_session.map((id, i) => [id, standing.numbers[i]]));
    this.judged = new Map(Object.entries(standing.judged ?? {}));
    this.score = standing.score ?? null;
    this.rules = this.score?.rules ?? []; // in words, with their units
    this.sessionScore = standing.session_score ?? null;
    this.run = standing.run;
  }

  // numberOf is what a shot is called: its place, unless another device gave that too.
  numberOf(shot) { return this.numbers.get(shot.id) ?? String(shot.order); }

  // look judges a shot that is not stored yet, and finds what the drill allows it.
  look(shot, empty) {
    if (!this.call) return { judged: null, corridors: [] };
    return this.call("look", { practice: this.handle, shot, empty });
  }

  // replace puts a shot in the place of its older self; remove takes it out.
  replace(shot) {
    this.all = [...this.all.filter((other) => other.id !== shot.id), shot];
    this.take(this.call ? this.call("replace", { practice: this.handle, shot }) : this.unjudged());
  }

  remove(id) {
    this.all = this.all.filter((other) => other.id !== id);
    this.take(this.call ? this.call("remove", { practice: this.handle, id }) : this.unjudged());
  }

  // unjudged is the standing with the shots as they now are; the server judges them once they are sent.
  unjudged() {
    const shots = this.all.filter((shot) => shot.session_id === this.session?.id).sort((a, b) => a.order - b.order);
    return {
      in_session: shots.map((shot) => shot.id), numbers: shots.map((shot) => String(shot.order)),
      judged: Object.fromEntries(this.judged), score: this.score, session_score: this.sessionScore, run: this.run,
    };
  }
}
