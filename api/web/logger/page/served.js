// How shots stand where the page cannot judge them itself: as the server last said.

import { SignedOut } from "./account.js";
import { Offline, Problem, send } from "./api.js";

export async function served(app, { session, drill, shots }) {
  const inSession = shots.filter((shot) => shot.session_id === session).sort((a, b) => a.order - b.order);
  const standing = { in_session: inSession.map((shot) => shot.id), numbers: inSession.map((shot) => String(shot.order)), run: 0 };
  if (!drill) return standing;
  const said = await asked(async () => {
    const [{ athletes: [score] }, { items }] = await Promise.all([
      get(app, `drills/${drill.id}/adherence?athlete_id=${app.athlete}`), get(app, `drills/${drill.id}/athletes/${app.athlete}/judgements`),
    ]);
    return { score, session_score: score, judged: Object.fromEntries(items.map((one) => [one.shot.id, one])) };
  });
  return { ...standing, ...said };
}

// servedSentences are the rules of drills in words; none while the server cannot be asked.
export async function servedSentences(app, drills) {
  const said = await asked(async () => (await get(app, "drills?limit=1000")).items);
  const written = new Map(said?.map((drill) => [drill.id, drill.sentences]));
  return drills.map((drill) => written.get(drill.id) ?? []);
}

const get = (app, what) => app.account.call((token) => send("GET", `/v1/squads/${app.choice.squad}/${what}`, { token }));

// asked returns what the server says, null when it does not answer or refuses, or nobody is signed in.
async function asked(work) {
  try {
    return await work();
  } catch (error) {
    if (error instanceof Offline || error instanceof Problem || error instanceof SignedOut) return null;
    throw error;
  }
}
