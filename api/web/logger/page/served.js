// How shots stand where the page cannot judge them itself: as the server last said.

import { Offline, Problem, send } from "./api.js";

export async function served(app, { session, drill, shots }) {
  const inSession = shots.filter((shot) => shot.session_id === session).sort((a, b) => a.order - b.order);
  const standing = { in_session: inSession.map((shot) => shot.id), numbers: inSession.map((shot) => String(shot.order)), run: 0 };
  if (!drill) return standing;
  const path = `/v1/squads/${app.choice.squad}/drills/${drill.id}`;
  const get = (what) => app.account.call((token) => send("GET", `${path}/${what}`, { token }));
  try {
    const [{ athletes: [score] }, { items }] = await Promise.all([
      get(`adherence?athlete_id=${app.athlete}`), get(`athletes/${app.athlete}/judgements`),
    ]);
    return { ...standing, score, session_score: score, judged: Object.fromEntries(items.map((one) => [one.shot.id, one])) };
  } catch (error) {
    if (error instanceof Offline || error instanceof Problem) return standing;
    throw error;
  }
}
