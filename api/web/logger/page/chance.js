// The chance that a shot kept a rule, given the error of reading and how far the athlete's own shots spread, as service/drill has it.

import { edges, subject } from "./judge.js";

const spreadTau = 0.5, spreadSteps = 11, spreadReach = 2.5;

const typical = { board: 1.1, breakpoint_distance: 2, launch_angle: 0.4, entry_angle: 0.6, speed: 0.4, rev_rate: 15, rotation: 4, tilt: 2 };

const typicalSpread = (rule) => typical[subject(rule)] * (rule.measure === "move" ? Math.SQRT2 : 1);

const grid = Array.from({ length: spreadSteps }, (_, g) => spreadReach * (2 * g / (spreadSteps - 1) - 1));

// probabilityWithin is the normal probability between two edges; without an error the margin decides.
export function probabilityWithin(low, high, value, se, margin) {
  if (se === 0) return margin < 0 ? 0 : 1;
  const below = erfc((value - low) / (se * Math.SQRT2)) / 2;
  const above = erfc((high - value) / (se * Math.SQRT2)) / 2;
  return Math.max(0, 1 - below - above);
}

// erfc is the complementary error function: the series of erf near zero, the continued fraction of erfc elsewhere (Abramowitz and Stegun
// 7.1.6 and 7.1.14). Good to 1e-13 or so, in absolute terms.
function erfc(x) {
  if (x < 0) return 2 - erfc(-x);
  if (x > 27) return 0;
  if (x < 2.5) {
    let term = x, sum = x;
    for (let n = 1; Math.abs(term) > 1e-17 * sum; n++) {
      term *= 2 * x * x / (2 * n + 1);
      sum += term;
    }
    return 1 - 2 / Math.sqrt(Math.PI) * Math.exp(-x * x) * sum;
  }
  let fraction = x;
  for (let n = 120; n > 0; n--) fraction = x + n / 2 / fraction;
  return Math.exp(-x * x) / Math.sqrt(Math.PI) / fraction;
}

// chances gives each reading the chance that its true value lies between the edges, averaged over the spreads that the readings allow.
function chances(readings, low, high, spread) {
  const fits = grid.map((point) => {
    const own = (spread * Math.exp(spreadTau * point)) ** 2;
    let precision = 0, sum = 0, weight = -point * point / 2;
    for (const { value, standardError: se } of readings) {
      const v = own + se * se;
      precision += 1 / v;
      sum += value / v;
      weight -= Math.log(v) / 2;
    }
    const middle = sum / precision;
    for (const { value, standardError: se } of readings) weight -= (value - middle) ** 2 / (2 * (own + se * se));
    return { own, middle, variance: 1 / precision, weight: weight - Math.log(precision) / 2 };
  });
  const best = Math.max(...fits.map((fit) => fit.weight));
  for (const fit of fits) fit.weight = Math.exp(fit.weight - best);
  const total = fits.reduce((all, fit) => all + fit.weight, 0);
  return readings.map(({ value, standardError: se }) => {
    let kept = 0;
    for (const { own, middle, variance, weight } of fits) {
      if (weight / total < 1e-7) continue;
      const pull = own / (own + se * se);
      const at = middle + pull * (value - middle);
      const deviation = Math.sqrt(pull * se * se + (1 - pull) ** 2 * variance);
      kept += weight / total * probabilityWithin(low, high, at, deviation, Math.min(at - low, high - at));
    }
    return Math.min(kept, 1);
  });
}

// chancesOf is, rule by rule, the chance that each of the shots judged kept it; NaN when it was not measured.
export function chancesOf(drill, judged) {
  return drill.rules.map((rule, j) => {
    const read = [];
    const kept = judged.map(({ rules }, i) => {
      const one = rules[j];
      if (one.verdict === "unknown") return NaN;
      if (one.basis !== "" && one.miss !== "gutter" && one.standardError !== 0) read.push(i);
      return one.verdict === "kept" ? 1 : 0;
    });
    const { low, high } = edges(rule);
    chances(read.map((i) => judged[i].rules[j]), low, high, typicalSpread(rule)).forEach((chance, k) => { kept[read[k]] = chance; });
    return kept;
  });
}
