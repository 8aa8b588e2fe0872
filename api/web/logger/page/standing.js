// How well the drill is kept, at a glance between two shots.

import { h, sign, svg } from "./dom.js";
import { count, percent, verdictTitle, verdictWords } from "./words.js";

const verdicts = { met: ["Met", "met"], "not met": ["Not met", "not-met"], "too few shots": ["Too few shots", "open"] };

const lastShots = 8;

// standingPanel shows what is asked and how much of it was kept. judged is the shot being logged,
// null for none: with several rules each says what came of it.
export function standingPanel(practice, judged) {
  const { drill, score } = practice;
  if (!drill) {
    return h("section", { class: "standing card", "aria-label": "This session" },
      h("p", { class: "kept" }, h("strong", {}, count(practice.inSession.length, "shot")), h("span", {}, "logged in this session, without a drill")));
  }
  if (!score) return unscored(practice);
  const [words, kind] = verdicts[score.verdict];
  const share = score.true_share.share ?? null;
  const lost = score.withdrawn && `It was ${score.withdrawn}, but a shot behind that verdict has changed.`;
  return h("section", { class: "standing card", "aria-label": "How the drill stands" },
    h("ul", { class: "asked" }, practice.rules.map((rule, i) => h("li", {}, rule.sentence,
      judged && practice.rules.length > 1 && h("span", { class: `rule ${judged.rules[i].verdict}` }, sign(judged.rules[i].verdict), verdictWords(rule, judged.rules[i]))))),
    h("p", { class: "kept" },
      h("strong", {}, score.judged ? `${score.kept} of ${score.judged}` : "No shots"),
      h("span", {}, score.judged ? `kept${share === null ? "" : `, ${percent(share)}`}` : "measured yet"),
      h("span", { class: `verdict ${kind}` }, words)),
    lost && h("p", { class: "soft" }, lost),
    bar(score));
}

// unscored is the panel while the server, which judges here, has not answered.
const unscored = (practice) => h("section", { class: "standing card", "aria-label": "How the drill stands" },
  h("p", { class: "kept" }, h("strong", {}, count(practice.inSession.length, "shot")), h("span", {}, "logged in this session")),
  h("p", { class: "soft" }, "The server judges the shots once they are sent."));

// standingDetail is the detail: the numbers behind it and the last shots.
export function standingDetail(practice, edit) {
  return h("section", { class: "detail card", "aria-label": "Details and last shots" },
    practice.score && h("p", { class: "soft facts" }, facts(practice).join(" · ")), lastRow(practice, edit));
}

// facts are the few numbers of the detail.
function facts({ score, sessionScore, drill, inSession, run }) {
  const share = score.true_share;
  const found = [];
  if (score.judged) {
    found.push(`95 % interval ${Math.round(share.low * 100)} to ${percent(share.high)}`);
    const longest = score.longest_run;
    if (run) found.push(`run of ${run}${longest > run ? `, longest ${longest}` : ""}`);
    else if (longest) found.push(`longest run ${longest}`);
  }
  if (score.unknown) found.push(`${Math.round(share.at_least * 100)} to ${percent(share.at_most)}: ${score.unknown} of ${score.shots} not measured`);
  if (score.gutter_balls) found.push(`${score.gutter_balls} in the gutter`);
  if (score.verdict === "too few shots" && score.judged) {
    const more = score.evidence.kept_to_met;
    if (more) found.push(`${count(more, "more good shot")} and it is met`);
  }
  found.push(score.reps_left ? `${score.reps_left} of ${drill.reps} left` : `${count(drill.reps, "shot")} done`);
  if (sessionScore.judged && sessionScore.judged !== score.judged) found.push(`today ${sessionScore.kept} of ${sessionScore.judged}`);
  else if (inSession.length > sessionScore.shots) found.push(`${inSession.length - sessionScore.shots} for other drills`);
  return found;
}

// bar draws the share kept with its interval, and the share asked for.
function bar(score) {
  const { share = null, low, high } = score.true_share, pass = score.evidence.pass_share;
  const parts = [svg("rect", { class: "track", x: 0, y: 5, width: 100, height: 10 })];
  if (share !== null) {
    parts.push(svg("rect", { class: "fill", x: 0, y: 5, width: share * 100, height: 10 }));
    const beam = `M${low * 100} 10H${high * 100}`;
    parts.push(svg("path", { class: "halo", d: beam }), svg("path", { class: "beam", d: beam }));
  }
  parts.push(svg("path", { class: "pass", d: `M${pass * 100} 0V20` }));
  const words = share !== null ? `${percent(share)} kept, pass mark ${percent(pass)}` : `pass mark ${percent(pass)}`;
  return h("div", { class: "bar-line" }, svg("svg", { class: "share", viewBox: "0 0 100 20", preserveAspectRatio: "none", role: "img", "aria-label": words }, parts),
    h("span", { class: "soft" }, `pass mark ${percent(pass)}`));
}

// lastRow shows the last shots of the session as signs, the newest last; each opens its shot.
function lastRow(practice, edit) {
  const last = practice.inSession.slice(-lastShots);
  if (last.length === 0) return h("p", { class: "soft" }, "No shots in this session yet.");
  return h("ol", { class: "last", "aria-label": "Last shots" }, last.map((shot) => {
    const verdict = practice.judged.get(shot.id)?.verdict ?? "none";
    return h("li", {}, h("button", { type: "button", class: "plain", "aria-label": `Shot ${practice.numberOf(shot)}, ${verdictTitle[verdict].toLowerCase()}: edit`, onclick: () => edit(shot) },
      sign(verdict), h("span", { "aria-hidden": "true" }, practice.numberOf(shot))));
  }));
}
