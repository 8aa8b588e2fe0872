// Judges shots against the rules of a drill, exactly as service/drill does; a test keeps the two
// equal.

import { chancesOf, probabilityWithin } from "./chance.js";
import { isSplit, maxBoard, minBoard, mirrorPins } from "./lane.js";
import { boardOf, boardPast, breakpointFtPerBoard, lostInGutter, onLane, standardError } from "./path.js";

export const units = {
  board: "boards", breakpoint_distance: "ft", launch_angle: "degrees", entry_angle: "degrees", speed: "mph", rev_rate: "rpm", rotation: "degrees", tilt: "degrees",
};

const known = (value) => value !== undefined && value !== null;

// subject is the measure a rule's bounds are in: what moved, for a move.
export const subject = (rule) => rule.measure === "move" ? rule.of : rule.measure;

export const unitOf = (rule) => units[subject(rule)] ?? "";

// edges is the range a value has to lie in, ends included. In boards a whole-number bound is the
// far edge of its strip.
export function edges(rule) {
  const inBoards = subject(rule) === "board";
  const beyond = (bound, half) => inBoards && Number.isInteger(bound) ? bound + half : bound;
  return {
    low: known(rule.min) ? beyond(rule.min, -0.5) : -Infinity,
    high: known(rule.max) ? beyond(rule.max, 0.5) : Infinity,
  };
}

const nothing = { basis: "", value: 0, standardError: 0, margin: 0, probabilityKept: 0, miss: "", reason: "" };

// judge judges one shot by one rule. previous is the athlete's shot before it in the same session;
// only a move looks at it.
export function judge(rule, shot, previous) {
  if (rule.measure === "ball") return judgeBall(rule, shot);
  if (rule.measure === "leave") return judgeLeave(rule, shot);
  if (rule.measure === "split") return judgeSplit(shot);
  const reading = read(rule, shot, previous);
  if (reading.basis !== "") return judgeNumber(rule, reading);
  if (lostInGutter(rule, shot)) return { ...nothing, verdict: "broken", miss: "gutter" };
  return { ...nothing, verdict: "unknown", reason: reading.reason };
}

function judgeBall(rule, shot) {
  if (!known(shot.ball_id)) return { ...nothing, verdict: "unknown", reason: "no ball was recorded" };
  return rule.balls.includes(shot.ball_id) ? { ...nothing, verdict: "kept", probabilityKept: 1 } : { ...nothing, verdict: "broken" };
}

const pinBits = (pins) => pins.reduce((bits, pin) => bits | 1 << pin, 0);

function judgeLeave(rule, shot) {
  if (!known(shot.standing) && shot.gutter) return { ...nothing, verdict: "broken" };
  if (!known(shot.standing)) return { ...nothing, verdict: "unknown", reason: "the standing pins were not recorded" };
  const left = pinBits(shot.standing);
  if (shot.standing.length === 10) return { ...nothing, verdict: "broken" };
  if (rule.leaves.some((leave) => pinBits(leave) === left)) return { ...nothing, verdict: "broken" };
  return { ...nothing, verdict: "kept", probabilityKept: 1 };
}

// judgeSplit: as with a leave, a full rack keeps nothing.
function judgeSplit(shot) {
  if (!known(shot.standing) && shot.gutter) return { ...nothing, verdict: "broken" };
  if (!known(shot.standing)) return { ...nothing, verdict: "unknown", reason: "the standing pins were not recorded" };
  if (shot.standing.length === 10 || isSplit(shot.standing)) return { ...nothing, verdict: "broken" };
  return { ...nothing, verdict: "kept", probabilityKept: 1 };
}

// forSide is a drill as it is judged for an athlete of this side: a left-hander's leaves are the
// mirror image.
export function forSide(drill, side) {
  if (side !== "left") return drill;
  const rules = drill.rules.map((rule) => rule.leaves ? { ...rule, leaves: rule.leaves.map(mirrorPins) } : rule);
  return { ...drill, rules };
}

const edgeTolerance = 1e-9; // keeps the rounding of decimal fractions from deciding

function judgeNumber(rule, { value, standardError: se, basis }) {
  const { low, high } = edges(rule);
  let margin = Math.min(value - low, high - value);
  if (Math.abs(margin) < edgeTolerance) margin = 0;
  if (rule.measure === "board" && !onLane(value)) {
    margin = Math.min(margin, value - minBoard, maxBoard - value);
    return { ...nothing, verdict: "broken", basis, value, standardError: se, margin, miss: "gutter" };
  }
  const broken = margin < 0;
  const below = value < low;
  let miss = "";
  if (broken) miss = subject(rule) === "board" ? (below ? "outside" : "inside") : (below ? "low" : "high");
  return {
    verdict: broken ? "broken" : "kept", basis, value, standardError: se, margin, miss, reason: "",
    probabilityKept: probabilityWithin(low, high, value, se, margin),
  };
}

function read(rule, shot, previous) {
  let now = readOne(rule, shot);
  if (now.basis !== "" && rule.measure === "move") now = change(rule, now, previous);
  if (now.basis !== "" && !Number.isFinite(now.value)) return { basis: "", reason: "what was recorded is not a number" };
  return now;
}

// change is how far the measure moved since the shot before, the errors of the two readings taken
// as independent.
function change(rule, now, previous) {
  if (!previous) return { basis: "", reason: "there is no shot before it in the session" };
  const then = readOne(rule, previous);
  if (then.basis === "") return { basis: "", reason: "the shot before did not record it" };
  return {
    value: now.value - then.value, standardError: Math.hypot(now.standardError, then.standardError),
    basis: then.basis === "estimated" ? "estimated" : now.basis,
  };
}

const fields = {
  launch_angle: ["launch_angle_deg", "angle_deg", "no launch angle was recorded"],
  entry_angle: ["entry_angle_deg", "angle_deg", "no entry angle was recorded"],
  speed: ["speed_mph", "speed_mph", "no speed was recorded"],
  rev_rate: ["rev_rate_rpm", "rev_rate_rpm", "no rev rate was recorded"],
  rotation: ["rotation_deg", "axis_deg", "no axis rotation was recorded"],
  tilt: ["tilt_deg", "axis_deg", "no axis tilt was recorded"],
};

export function readOne(rule, shot) {
  const measure = subject(rule);
  if (measure === "board" && known(rule.past_ft)) return boardPast(rule, edges(rule), shot);
  if (measure === "breakpoint_distance") {
    if (!known(shot.breakpoint_ft)) return { basis: "", reason: "no distance of the breakpoint was recorded" };
    return { value: shot.breakpoint_ft, standardError: breakpointFtPerBoard * standardError("board", shot), basis: "measured" };
  }
  if (measure === "board") return boardOf(rule.at, rule.at_ft, shot);
  const found = fields[measure];
  if (!found) return { basis: "", reason: "the rule has no measure" };
  const [field, error, reason] = found;
  if (!known(shot[field])) return { basis: "", reason };
  return { value: shot[field], standardError: standardError(error, shot), basis: "measured" };
}

// judgeAll judges an athlete's shots in their order of delivery against all rules of a drill.
export function judgeAll(drill, shots) {
  return weigh(drill, shots.map((shot, i) => {
    const before = shots[i - 1];
    const previous = before && before.session_id === shot.session_id && before.athlete_id === shot.athlete_id ? before : null;
    return readShot(drill, shot, previous);
  }));
}

// judgeOne judges one more shot after those judged.
export function judgeOne(drill, shot, previous, others) {
  return weigh(drill, [...others, readShot(drill, shot, previous)]).at(-1);
}

const readShot = (drill, shot, previous) => ({ rules: drill.rules.map((rule) => judge(rule, shot, previous)) });

// weigh gives each judgement its chance among all of them, and joins the verdicts of a shot's
// rules: kept when all were kept, broken when any was broken, else unknown.
function weigh(drill, judged) {
  const kept = chancesOf(drill, judged);
  return judged.map((one, i) => {
    const rules = one.rules.map((rule, j) => ({ ...rule, probabilityKept: rule.verdict === "unknown" ? 0 : kept[j][i] }));
    const known = rules.filter((rule) => rule.verdict !== "unknown");
    const broken = known.some((rule) => rule.verdict === "broken");
    const verdict = broken ? "broken" : known.length === rules.length ? "kept" : "unknown";
    const probabilityKept = verdict === "unknown" ? 0 : known.reduce((product, rule) => product * rule.probabilityKept, 1);
    return { verdict, probabilityKept, rules };
  });
}
