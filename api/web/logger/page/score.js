// How a log of shots stands against a drill, as service/drill scores it.

import { unitOf } from "./judge.js";

const z95 = 1.959963984540054;

// wilson is the 95 % score interval of a share (E. B. Wilson 1927).
function wilson(count, of) {
  if (of === 0) return { low: 0, high: 1 };
  const z = z95, p = count / of;
  const centre = p + z * z / (2 * of);
  const half = z * Math.sqrt(p * (1 - p) / of + z * z / (4 * of * of));
  const scale = 1 + z * z / of;
  return { low: count === 0 ? 0 : (centre - half) / scale, high: count === of ? 1 : (centre + half) / scale };
}

const testError = 0.05, testWidth = 0.2;

// sequentialTest is Wald's test of a pass share against a share 0.20 lower, or half of it (A. Wald, Sequential Analysis, 1947).
function sequentialTest(passShare) {
  const fail = Math.round(Math.max(passShare - testWidth, passShare / 2) * 1e6) / 1e6;
  const low = Math.log(testError / (1 - testError)), high = Math.log((1 - testError) / testError);
  const stepKept = Math.log(passShare / fail), stepBroken = Math.log((1 - passShare) / (1 - fail));
  const ratioOf = (kept, broken) => kept * stepKept + (broken > 0 ? broken * stepBroken : 0);
  const decide = (kept, broken) => {
    const ratio = ratioOf(kept, broken);
    if (ratio >= high) return "met";
    return ratio <= low ? "not met" : "too few shots";
  };
  const evidence = (kept, broken) => {
    const ratio = ratioOf(kept, broken);
    return {
      passShare, failShare: fail,
      progress: ratio >= 0 ? Math.min(ratio / high, 1) : Math.max(ratio / -low, -1),
      keptToMet: ratio === -Infinity ? null : stepsTo(high - ratio, stepKept),
      brokenToNotMet: stepsTo(ratio - low, -stepBroken),
    };
  };
  return { decide, evidence };
}

function stepsTo(distance, step) {
  if (distance <= 0) return 0;
  return Math.max(1, Math.ceil(distance / step)); // an infinite step still takes one shot
}

// score sums up judgements, in order of delivery, against a drill.
export function score(drill, judged) {
  const s = { shots: judged.length, kept: 0, broken: 0, unknown: 0, longestRun: 0, run: 0, outsideMisses: 0, insideMisses: 0 };
  const test = sequentialTest(drill.pass_share);
  let probabilities = 0, decidedAt = 0;
  for (const one of judged) {
    if (one.verdict === "unknown") {
      s.unknown++;
      s.run = 0;
      continue;
    }
    if (one.verdict === "kept") {
      s.kept++;
      s.longestRun = Math.max(s.longestRun, ++s.run);
    } else {
      s.broken++;
      s.run = 0;
      countMiss(s, drill, one);
    }
    probabilities += one.probabilityKept;
    if (decidedAt === 0 && test.decide(s.kept, s.broken) !== "too few shots") decidedAt = s.kept + s.broken;
  }
  s.judged = s.kept + s.broken;
  s.coverage = s.shots > 0 ? s.judged / s.shots : 0;
  s.share = s.judged > 0 ? s.kept / s.judged : null;
  s.interval = wilson(s.kept, s.judged);
  s.expectedShare = s.judged > 0 ? probabilities / s.judged : null;
  s.repsLeft = Math.max(0, drill.reps - s.judged);
  s.verdict = test.decide(s.kept, s.broken);
  s.evidence = { ...test.evidence(s.kept, s.broken), decidedAt };
  return { ...s, ...meanMargin(drill, judged) };
}

function countMiss(s, drill, judged) {
  const first = judged.rules.find((rule, i) => drill.rules[i].measure === "board" && (rule.miss === "outside" || rule.miss === "inside"));
  if (first?.miss === "outside") s.outsideMisses++;
  if (first?.miss === "inside") s.insideMisses++;
}

// meanMargin is that of the first rule that has one.
function meanMargin(drill, judged) {
  for (let i = 0; i < drill.rules.length; i++) {
    const margins = judged.map((one) => one.rules[i]).filter((rule) => rule.basis !== "").map((rule) => rule.margin);
    if (margins.length > 0) return { meanMargin: margins.reduce((a, b) => a + b) / margins.length, marginUnit: unitOf(drill.rules[i]) };
  }
  return { meanMargin: null, marginUnit: "" };
}
