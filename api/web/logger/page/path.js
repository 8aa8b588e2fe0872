// Where a board is read off a shot, as service/drill does: measured points first, else estimates
// between them.

import { arrowsFt, boardsPerFoot, lengthFt, maxBoard, minBoard } from "./lane.js";

// Assumptions of the estimates. Common practice, no source.
const maxBend = 0.12; // boards per foot squared
const breakpointGapFt = 10;
const breakpointRise = 1;

const known = (value) => value !== undefined && value !== null;

// assumedErrors are the standard errors of a shot that states none, by what measured it.
function assumedErrors(source) {
  switch ((source ?? "").toLowerCase()) {
    case "sensor": return { board: 0.3, angle_deg: 0.2, speed_mph: 0.2, rev_rate_rpm: 10, axis_deg: 3 };
    case "video": return { board: 0.6, angle_deg: 0.5, speed_mph: 0.5, rev_rate_rpm: 25, axis_deg: 6 };
  }
  return { board: 1, angle_deg: 1, speed_mph: 1, rev_rate_rpm: 50, axis_deg: 10 };
}

// standardError is the error of one reading: stated with the shot, else assumed.
export function standardError(name, shot) {
  const stated = shot.errors?.[name];
  return known(stated) && stated >= 0 && Number.isFinite(stated) ? stated : assumedErrors(shot.source)[name];
}

// knots lists every known point of the path, the named ones before the track. slope is the path's
// direction there in boards per foot, NaN where it is not known.
function knots(shot) {
  const all = [];
  const add = (ft, board, slope = NaN, slopeSE = 0) => all.push({ ft, board, slope, slopeSE });
  const angleSE = () => boardsPerFoot(standardError("angle_deg", shot));
  if (known(shot.laydown_board)) {
    if (known(shot.launch_angle_deg)) add(0, shot.laydown_board, -boardsPerFoot(shot.launch_angle_deg), angleSE());
    else add(0, shot.laydown_board);
  }
  if (known(shot.arrows_board)) add(arrowsFt, shot.arrows_board);
  if (known(shot.breakpoint_board) && known(shot.breakpoint_ft)) add(shot.breakpoint_ft, shot.breakpoint_board, 0);
  if (known(shot.entry_board)) {
    if (known(shot.entry_angle_deg)) add(lengthFt, shot.entry_board, boardsPerFoot(shot.entry_angle_deg), angleSE());
    else add(lengthFt, shot.entry_board);
  }
  for (const point of shot.track ?? []) add(point.ft, point.board);
  return all;
}

export const onLane = (board) => board >= minBoard && board <= maxBoard;

// gutterBall reports whether a shot ended in the gutter, and the distance from which nothing more
// was seen of it on the lane; null when it did not.
function gutterBall(shot) {
  let past = known(shot.breakpoint_board), fell = Boolean(shot.gutter) || past && !onLane(shot.breakpoint_board), seenFt = 0;
  for (const { ft, board } of knots(shot)) {
    if (!onLane(board)) {
      fell = true;
      continue;
    }
    seenFt = Math.max(seenFt, ft);
    past ||= ft > arrowsFt;
  }
  return fell || shot.standing?.length === 10 && !past ? { seenFt } : null;
}

// lostInGutter reports whether a rule on the ball's path, for which nothing was measured, looks at
// a shot past the last point where it was seen before the gutter.
export function lostInGutter(rule, shot) {
  const gutter = gutterBall(shot);
  if (!gutter) return false;
  if (rule.measure === "entry_angle" || rule.measure === "breakpoint_distance" || known(rule.past_ft)) return true;
  if (rule.measure !== "board") return false;
  if (rule.at === "breakpoint" || rule.at === "entry") return true;
  if (rule.at === "arrows") return gutter.seenFt < arrowsFt;
  const turned = known(shot.breakpoint_board) && !known(shot.breakpoint_ft); // seen, but its distance is not recorded
  return known(rule.at_ft) && gutter.seenFt < rule.at_ft && !turned;
}

// boardOf is the board a rule with this place or distance looks at.
export function boardOf(at, atFt, shot) {
  switch (at) {
    case "laydown": return measuredOrAt(shot.laydown_board, 0, "no laydown board was recorded", shot);
    case "arrows":
      return measuredOrAt(shot.arrows_board, arrowsFt, "no board at the arrows was recorded, nor the path on both sides of them", shot);
    case "entry": return measuredOrAt(shot.entry_board, lengthFt, "no entry board was recorded", shot);
    case "breakpoint":
      if (!known(shot.breakpoint_board) && !known(shot.breakpoint_ft)) return outermost(shot);
      return measuredOrAt(shot.breakpoint_board, shot.breakpoint_ft ?? 0,
        "no breakpoint board was recorded, nor the path on both sides of its distance", shot);
  }
  if (!known(atFt)) return { basis: "", reason: "the rule names no place on the lane" };
  return measuredOrAt(undefined, atFt, "the path was not recorded on both sides of that distance", shot);
}

// breakpointFtPerBoard is how far, in feet, the breakpoint is misplaced for each board of error.
export const breakpointFtPerBoard = 2;

// boardPast reads the point of the path from a distance to the pins that comes nearest to breaking
// the rule.
export function boardPast(rule, { low, high }, shot) {
  const standard = standardError("board", shot);
  const at = boardAt(rule.past_ft, shot);
  const spare = ({ value }) => Math.min(value - low, high - value);
  let seen = at;
  for (const { ft, board } of knots(shot)) {
    const one = { value: board, standardError: standard, basis: "measured" };
    if (ft >= rule.past_ft && (seen.basis === "" || spare(one) < spare(seen))) seen = one;
  }
  if (seen.basis !== "" && spare(seen) < 0) return seen;
  const turned = known(shot.breakpoint_board) && known(shot.breakpoint_ft);
  const outerKnown = turned && (shot.breakpoint_ft >= rule.past_ft || at.basis !== "");
  const innerKnown = at.basis !== "" && known(shot.entry_board);
  if (known(rule.min) && !outerKnown || known(rule.max) && !innerKnown) return { basis: "", reason: "the path past that distance was not recorded" };
  return seen;
}

function measuredOrAt(board, ft, reason, shot) {
  if (known(board)) return { value: board, standardError: standardError("board", shot), basis: "measured" };
  const reading = boardAt(ft, shot);
  return reading.basis === "" ? { ...reading, reason } : reading;
}

const unset = () => ({ ft: NaN, board: 0, slope: NaN, slopeSE: 0 });

// side keeps the two known points nearest to a distance on one side of it; of several at one
// distance the first counts.
class Side {
  nearest = unset();
  next = unset();

  offer(knot, ft) {
    const gap = Math.abs(knot.ft - ft);
    if (Number.isNaN(this.nearest.ft) || gap < Math.abs(this.nearest.ft - ft)) {
      this.next = this.nearest;
      this.nearest = knot;
    } else if (knot.ft !== this.nearest.ft && (Number.isNaN(this.next.ft) || gap < Math.abs(this.next.ft - ft))) {
      this.next = knot;
    }
  }
}

// boardAt reads the board at a distance: a known point there, else the straight line between the
// nearest known points on both sides.
function boardAt(ft, shot) {
  const before = new Side(), after = new Side();
  let here = null;
  for (const knot of knots(shot)) {
    if (knot.ft === ft) here ??= knot.board;
    else if (knot.ft < ft) before.offer(knot, ft);
    else if (knot.ft > ft) after.offer(knot, ft);
  }
  const se = standardError("board", shot);
  if (here !== null) return { value: here, standardError: se, basis: "measured" };
  const a = before.nearest, b = after.nearest;
  if (Number.isNaN(a.ft) || Number.isNaN(b.ft)) return { basis: "", reason: "" };
  const share = (ft - a.ft) / (b.ft - a.ft);
  const chord = a.board + share * (b.board - a.board);
  const carried = se * Math.hypot(1 - share, share);
  const bent = bend(ft, chord, se, before, after) / Math.sqrt(3);
  return { value: chord, standardError: Math.hypot(carried, bent), basis: "estimated" };
}

// bend bounds how far the path may lie from the chord between two known points.
function bend(ft, chord, boardSE, before, after) {
  let bound = maxBend * Math.abs((ft - before.nearest.ft) * (after.nearest.ft - ft)) / 2;
  for (const { next: outer, nearest: inner } of [before, after]) {
    let { slope, slopeSE } = inner;
    if (Number.isNaN(slope)) {
      slope = (inner.board - outer.board) / (inner.ft - outer.ft); // NaN without an outer point
      slopeSE = Math.SQRT2 * boardSE / Math.abs(inner.ft - outer.ft);
    }
    const away = ft - inner.ft;
    const offset = Math.abs(chord - inner.board - slope * away) + slopeSE * Math.abs(away);
    if (offset < bound) bound = offset; // false for NaN
  }
  return bound;
}

// outermost estimates the breakpoint of a shot that recorded none, where the path comes back inside
// on both sides.
function outermost(shot) {
  const none = { basis: "", reason: "no breakpoint board was recorded, and the path does not show where it was outermost" };
  const all = knots(shot);
  let out = { ft: NaN, board: Infinity };
  for (const knot of all) if (knot.board < out.board) out = knot;
  const before = new Side(), after = new Side();
  let riseBefore = false, riseAfter = false;
  for (const knot of all) {
    if (knot.ft < out.ft) {
      before.offer(knot, out.ft);
      riseBefore ||= knot.board >= out.board + breakpointRise;
    } else if (knot.ft > out.ft) {
      after.offer(knot, out.ft);
      riseAfter ||= knot.board >= out.board + breakpointRise;
    }
  }
  const a = before.nearest, b = after.nearest;
  if (!riseBefore || !riseAfter || out.ft - a.ft > breakpointGapFt || b.ft - out.ft > breakpointGapFt) return none;
  const depth = depthBelow(a, out, b);
  return { value: out.board - depth, standardError: Math.hypot(standardError("board", shot), depth), basis: "estimated" };
}

// depthBelow is how far the lowest point of the parabola through three points lies below the middle
// and lowest one, boards.
function depthBelow(before, middle, after) {
  const left = (middle.board - before.board) / (middle.ft - before.ft);
  const right = (after.board - middle.board) / (after.ft - middle.ft);
  const curvature = (right - left) / (after.ft - before.ft);
  if (curvature <= 0) return 0;
  const slope = left + curvature * (middle.ft - before.ft);
  return slope * slope / (4 * curvature);
}
