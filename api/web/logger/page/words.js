// Words for what is shown.

import { dayText, weekdayText } from "./dates.js";
import { leaveName } from "./lane.js";
import { measures } from "./measures.js";

export const percent = (share) => `${Math.round(share * 100)}\u00a0%`;

export const round = (value, digits = 1) => Number(value.toFixed(digits));

export const count = (n, noun) => `${n} ${noun}${n === 1 ? "" : "s"}`;

// usageWords says how full a squad is that is near its quota, or at it.
export const usageWords = ({ records, quota, full }) => full
  ? `The squad is full: it has ${records} of ${quota} records. New shots stay on this device until there is room: a coach can delete sessions that nobody needs.`
  : `The squad is nearly full: it has ${records} of ${quota} records. When it is full, new shots stay on this device: tell a coach.`;

const sides = { outside: "outside", inside: "inside", low: "too low", high: "too high" };

const amount = (value, unit) => `${value} ${value === 1 ? unit.replace(/s$/, "") : unit}`;

// verdictWords says what came of one rule, whose unit is given: "kept by 2.5 boards", "broken, 1.5
// boards outside".
export function verdictWords({ unit }, judgement) {
  const by = () => amount(round(Math.abs(judgement.margin)), unit);
  switch (judgement.verdict) {
    case "kept": return judgement.basis ? `kept by ${by()}` : "kept";
    case "broken":
      if (judgement.miss === "gutter") return "broken, in the gutter";
      return judgement.basis ? `broken, ${by()} ${sides[judgement.miss]}` : "broken";
  }
  return "not measured";
}

export const verdictTitle = { kept: "Kept", broken: "Broken", unknown: "Not measured", none: "Logged" };

// marginLine is the one line about a judged shot under its verdict.
export function marginLine(rules, judged) {
  const worst = judged.verdict === "kept"
    ? judged.rules.reduce((a, b) => b.basis && (!a.basis || b.margin < a.margin) ? b : a)
    : judged.rules.find((rule) => rule.verdict === judged.verdict);
  const rule = rules[judged.rules.indexOf(worst)];
  if (judged.verdict === "unknown") return worst.reason;
  const words = verdictWords(rule, worst).replace(/^kept ?|^broken,? ?/, "");
  return [words, worst.basis === "estimated" ? "estimated" : "", judged.doubt].filter(Boolean).join(", ");
}

// verdictLine is a judged shot's verdict with its margin: "Kept by 2.5 boards", "Broken, 1.5 boards
// outside", "Not measured".
export function verdictLine(rules, judged) {
  const margin = marginLine(rules, judged);
  if (judged.verdict === "unknown" || !margin) return verdictTitle[judged.verdict];
  return judged.verdict === "kept" && margin.startsWith("by ") ? `Kept ${margin}` : `${verdictTitle[judged.verdict]}, ${margin}`;
}

// said is what was measured of a shot, each as a sentence says it, as service/shot has it.
function said(shot) {
  const parts = [];
  for (const { field, said: words } of measures) {
    if (shot[field] === undefined) continue;
    const text = words.replace("%s", shot[field]);
    const board = field.endsWith("_ft") ? shot[field.replace(/_ft$/, "_board")] : undefined;
    if (board !== undefined) parts.push(`${parts.pop()}${text.replace(/^\w+/, "")}`); // "breakpoint 9 at 42 ft"
    else parts.push(text);
  }
  if (shot.gutter) parts.push(`${shot.gutter} gutter`);
  return parts;
}

// shotLine sums up what was recorded of a shot.
export function shotLine(shot, ballNames) {
  const parts = said(shot);
  if (shot.standing) parts.push(shot.standing.length ? `left ${leaveName(shot.standing)}` : "strike");
  if (shot.ball_id && ballNames?.get(shot.ball_id)) parts.push(ballNames.get(shot.ball_id));
  return parts.length ? parts.join(" · ") : "nothing recorded";
}

const fieldWords = {
  session_id: "Session", athlete_id: "Athlete", ball_id: "Ball", drill_id: "Drill", order: "Order", time: "Time", track: "Track", gutter: "Gutter",
  standing: "Pins left", source: "Measured by", errors: "Measurement errors", note: "Note", kind: "Kind", name: "Name", date: "Date", centre: "Centre",
  lanes: "Lanes", pattern_id: "Pattern", time_zone: "Time zone", model: "Computed by",
  ...Object.fromEntries(measures.map(({ field, label }) => [field, label])),
};

export const fieldWord = (name) => fieldWords[name] ?? name;

const unitWords = { "": "", boards: "", deg: "°", ft: " ft", mph: " mph", rpm: " rpm" };
const unitsOfFields = Object.fromEntries(measures.map(({ field, unit }) => [field, unitWords[unit]]));

// fieldValue writes the value of a field; names maps ids to names.
export function fieldValue(name, value, names) {
  if (value === undefined || value === null) return "not recorded";
  if (name === "standing") return value.length ? leaveName(value) : "strike";
  if (name === "track") return count(value.length, "point");
  if (name === "date") return weekdayText(value);
  if (name === "time") return timeOf(Date.parse(value), true);
  if (name.endsWith("_id")) return names.get(value) ?? value;
  if (Array.isArray(value)) return value.join(", ");
  if (typeof value === "object") return Object.entries(value).map(([key, part]) => `${key} ${part}`).join(", ");
  return `${value}${unitsOfFields[name] ?? ""}`;
}

// timeOf writes a moment as the device's clock has it, in the reader's form.
export function timeOf(ms, withDay = false) {
  const moment = new Date(ms);
  const time = moment.toLocaleTimeString(navigator.languages, { timeStyle: "short" });
  return withDay ? `${dayText(dateOf(moment))}, ${time}` : time;
}

// dateOf is a moment's day as the device has it, YYYY-MM-DD.
const dateOf = (moment) => [moment.getFullYear(), moment.getMonth() + 1, moment.getDate()].map((part) => String(part).padStart(2, "0")).join("-");

export const today = () => dateOf(new Date());
