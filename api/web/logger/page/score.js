// How well a log of shots keeps a drill, as service/drill scores it.

import { chancesOf } from "./chance.js";
import { unitOf } from "./judge.js";

const z95 = 1.959963984540054, alpha95 = 0.05;

// wilson is the 95 % score interval of a share at one look (E. B. Wilson 1927).
function wilson(count, of) {
  if (of === 0) return { low: 0, high: 1 };
  const z = z95, p = count / of;
  const centre = p + z * z / (2 * of);
  const half = z * Math.sqrt(p * (1 - p) / of + z * z / (4 * of * of));
  const scale = 1 + z * z / of;
  return { low: count === 0 ? 0 : (centre - half) / scale, high: count === of ? 1 : (centre + half) / scale };
}

// watched is the 95 % confidence sequence of a share, which may be read after every shot (H.
// Robbins 1970; S. R. Howard and others 2021).
function watched(count, of) {
  if (of === 0) return { low: 0, high: 1 };
  const drawn = logGamma(count + 1) + logGamma(of - count + 1) - logGamma(of + 2);
  const holds = (p) => {
    const told = (count > 0 ? count * Math.log(p) : 0) + (of > count ? (of - count) * Math.log1p(-p) : 0);
    return drawn - told < -Math.log(alpha95);
  };
  const crossing = (outside, inside) => {
    if (holds(outside)) return outside;
    for (let i = 0; i < 45; i++) {
      const middle = (outside + inside) / 2;
      if (holds(middle)) inside = middle;
      else outside = middle;
    }
    return inside;
  };
  return { low: crossing(0, count / of), high: crossing(1, count / of) };
}

// logGamma is ln Gamma of a number of 1 or more: Stirling's series from 12 on, the recurrence below
// (Abramowitz and Stegun 6.1.41).
function logGamma(x) {
  let below = 0;
  for (; x < 12; x++) below += Math.log(x);
  const series = 1 / (12 * x) - 1 / (360 * x ** 3) + 1 / (1260 * x ** 5) - 1 / (1680 * x ** 7) + 1 / (1188 * x ** 9);
  return (x - 0.5) * Math.log(x) - x + Math.log(2 * Math.PI) / 2 + series - below;
}

const testError = 0.05, lastLookError = 0.055, testWidth = 0.2, firstLook = 8, tolerance = 1e-9;

// SequentialTest is Wald's test of a pass share against a share 0.20 lower, or half of it (A. Wald,
// Sequential Analysis, 1947), with a last look at the planned number of shots.
class SequentialTest {
  constructor(passShare, reps) {
    this.pass = passShare;
    this.fail = Math.round(Math.max(passShare - testWidth, passShare / 2) * 1e6) / 1e6;
    this.reps = reps;
    this.low = Math.log(testError / (1 - testError));
    this.high = Math.log((1 - testError) / testError);
    this.stepKept = Math.log(this.pass / this.fail);
    this.stepBroken = Math.max(Math.log((1 - this.pass) / (1 - this.fail)), this.low - this.high);
    this.metFrom = reps + 1;
    this.notMetTo = -1;
    let { met, open } = this.walk(this.fail);
    while (this.ratio(reps, this.metFrom - 1) >= 0 && met + open[this.metFrom - 1] <= lastLookError) met += open[--this.metFrom];
    let notMet;
    ({ notMet, open } = this.walk(this.pass));
    while (this.ratio(reps, this.notMetTo + 1) < 0 && notMet + open[this.notMetTo + 1] <= lastLookError) notMet += open[++this.notMetTo];
  }

  // walk follows the number of kept shots of an athlete who keeps each with this probability: how
  // likely the test is decided before the last look, and how likely each number is still open then.
  walk(share) {
    const open = new Array(this.reps + 1).fill(0);
    open[0] = 1;
    let met = 0, notMet = 0;
    for (let n = 1; n <= this.reps; n++) {
      for (let kept = n; kept >= 0; kept--) {
        const likely = open[kept] * (1 - share) + (kept > 0 ? open[kept - 1] * share : 0);
        const verdict = this.sequential(n, kept, kept);
        open[kept] = verdict === "too few shots" ? likely : 0;
        if (verdict === "met") met += likely;
        if (verdict === "not met") notMet += likely;
      }
    }
    return { met, notMet, open };
  }

  ratio(n, kept) {
    return kept * this.stepKept + (n - kept) * this.stepBroken;
  }

  sequential(n, low, high) {
    if (n < Math.min(firstLook, this.reps)) return "too few shots";
    if (this.ratio(n, low) >= this.high) return "met";
    return this.ratio(n, high) <= this.low ? "not met" : "too few shots";
  }

  decide(n, low, high) {
    const verdict = this.sequential(n, low, high);
    if (verdict !== "too few shots" || n !== this.reps) return verdict;
    if (low >= this.metFrom - tolerance) return "met";
    return high <= this.notMetTo + tolerance ? "not met" : verdict;
  }

  evidence(n, low, high, verdict, decidedAt) {
    const found = { passShare: this.pass, failShare: this.fail, decidedAt, progress: 0, keptToMet: null, brokenToNotMet: null };
    if (verdict === "met") return { ...found, progress: 1, keptToMet: 0 };
    if (verdict === "not met") return { ...found, progress: -1, brokenToNotMet: 0 };
    const ratioLow = this.ratio(n, low), ratioHigh = this.ratio(n, high);
    if (ratioLow > 0) found.progress = Math.min(ratioLow / this.high, 1);
    else if (ratioHigh < 0) found.progress = Math.max(ratioHigh / -this.low, -1);
    const left = this.reps - n;
    found.keptToMet = this.more(n, (this.high - ratioLow) / this.stepKept, left, low + left >= this.metFrom);
    found.brokenToNotMet = this.more(n, (ratioHigh - this.low) / -this.stepBroken, left, high <= this.notMetTo);
    return found;
  }

  more(n, steps, left, lastDecides) {
    const shots = Math.max(1, Math.ceil(steps - tolerance), Math.min(firstLook, this.reps) - n);
    return left > 0 && lastDecides ? Math.min(shots, left) : shots;
  }
}

// looksAt reports whether the test looks at the first n shots: at each of the first 200, then at
// one in a hundred of those before.
const looksAt = (n) => n <= 200 || n % Math.floor(n / 100) === 0;

// boundsOf sums the chances that the shots kept the drill: the least and the most they can be,
// where some were not measured.
function boundsOf(kept, n) {
  let low = 0, high = 0;
  for (let i = 0; i < n; i++) {
    const known = kept.map((rule) => rule[i]).filter((chance) => !Number.isNaN(chance));
    const product = known.reduce((all, chance) => all * chance, 1);
    high += product;
    if (known.length === kept.length) low += product;
  }
  return { low, high };
}

// decide looks at the first shots as they were then, until the test is decided.
function decide(drill, judged, test) {
  for (let n = Math.min(firstLook, drill.reps); n <= judged.length; n++) {
    if (!looksAt(n)) continue;
    const { low, high } = boundsOf(chancesOf(drill, judged.slice(0, n)), n);
    const verdict = test.decide(n, low, high);
    if (verdict !== "too few shots") return { verdict, decidedAt: n };
  }
  return { verdict: "too few shots", decidedAt: 0 };
}

// shareOf is the product, over the rules, of the chance to keep each among the shots that kept
// those before it, and the number of shots that, judged on all of them, would measure it as well;
// null when some rule was never judged.
function shareOf(kept, n) {
  const left = new Array(n).fill(1);
  let share = 1, of = Infinity, variance = 0;
  for (const rule of kept) {
    let before = 0, after = 0;
    for (let i = 0; i < n; i++) {
      const next = left[i] * rule[i];
      if (!Number.isNaN(next)) {
        before += left[i];
        after += next;
      }
      left[i] = next;
    }
    if (before === 0) return share === 0 ? { share, of } : null;
    const one = Math.min(after / before, 1);
    share *= one;
    of = Math.min(of, before);
    variance += (1 - one) / (one * before);
  }
  if (share > 0 && variance > 0) of = (1 - share) / share / variance;
  return { share, of };
}

// score sums up judgements, in order of delivery, against a drill.
export function score(drill, judged) {
  const s = {
    shots: judged.length, kept: 0, broken: 0, unknown: 0, longestRun: 0, run: 0, outsideMisses: 0, insideMisses: 0, gutterBalls: 0,
  };
  for (const one of judged) {
    if (one.verdict === "unknown") {
      s.unknown++;
      s.run = 0;
    } else if (one.verdict === "kept") {
      s.kept++;
      s.longestRun = Math.max(s.longestRun, ++s.run);
    } else {
      s.broken++;
      s.run = 0;
      countMiss(s, drill, one);
    }
  }
  s.judged = s.kept + s.broken;
  s.coverage = s.shots > 0 ? s.judged / s.shots : 0;
  s.repsLeft = Math.max(0, drill.reps - s.shots);
  return { ...s, ...weighed(drill, judged), ...meanMargin(drill, judged) };
}

// weighed is the verdict and the share reported, from the chances that each shot was kept.
function weighed(drill, judged) {
  const test = new SequentialTest(drill.pass_share, drill.reps);
  const { verdict, decidedAt } = decide(drill, judged, test);
  const n = judged.length;
  const kept = chancesOf(drill, judged);
  const { low, high } = boundsOf(kept, n);
  const found = {
    verdict, evidence: test.evidence(n, low, high, verdict, decidedAt),
    share: null, interval: { low: 0, high: 1 }, atLeast: n > 0 ? low / n : 0, atMost: n > 0 ? high / n : 1,
  };
  const told = shareOf(kept, n);
  if (!told) return found;
  const interval = n === drill.reps ? wilson : watched;
  return { ...found, share: told.share, interval: interval(told.share * told.of, told.of) };
}

// withdraws reports whether a verdict reached before a change no longer holds.
export const withdraws = (before, after) => Boolean(before && after) && before.verdict !== "too few shots" && after.verdict !== before.verdict;

function countMiss(s, drill, judged) {
  const counted = ["outside", "inside", "gutter"];
  const first = judged.rules.find((rule, i) => drill.rules[i].measure === "board" && counted.includes(rule.miss));
  if (first?.miss === "outside") s.outsideMisses++;
  if (first?.miss === "inside") s.insideMisses++;
  if (first?.miss === "gutter") s.gutterBalls++;
}

// meanMargin is that of the first rule that has one.
function meanMargin(drill, judged) {
  for (let i = 0; i < drill.rules.length; i++) {
    const margins = judged.map((one) => one.rules[i]).filter((rule) => rule.basis !== "").map((rule) => rule.margin);
    if (margins.length > 0) return { meanMargin: margins.reduce((a, b) => a + b) / margins.length, marginUnit: unitOf(drill.rules[i]) };
  }
  return { meanMargin: null, marginUnit: "" };
}
