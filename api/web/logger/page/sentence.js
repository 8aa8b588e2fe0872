// Writes a rule as the English sentence service/drill writes, so that it can be read with the
// network off.

import { forSide, subject, units } from "./judge.js";

const names = {
  board: "board", breakpoint_distance: "breakpoint", launch_angle: "launch angle", entry_angle: "entry angle", speed: "speed", rev_rate: "rev rate", rotation: "axis rotation", tilt: "axis tilt",
};

const known = (value) => value !== undefined && value !== null;
const number = (value) => String(value === 0 ? 0 : value); // a negative zero is written without its sign

// sentence writes a rule without a full stop. ballNames maps the squad's ball ids to their names.
export function sentence(rule, ballNames) {
  switch (rule.measure) {
    case "ball": return ballSentence(rule.balls, ballNames);
    case "leave": return leaveSentence(rule);
    case "split": return "Leave no split";
    case "move": return moveSentence(rule);
    case "board": return `Keep the ball ${boardBounds(rule.min, rule.max)} ${place(rule)}`;
  }
  return `Keep the ${names[rule.measure]} ${bounds(rule.min, rule.max, units[rule.measure])}`;
}

// leaveSentence names the leaves, and a left-hander's where they differ.
function leaveSentence(rule) {
  const named = ({ leaves }) => listOr(leaves, (leave) => "the " + [...leave].sort((a, b) => a - b).join("-"));
  const own = named(rule), other = named(forSide({ rules: [rule] }, "left").rules[0]);
  return "Do not leave " + (own === other ? own : `${own} (left-handed: ${other})`);
}

function place(rule) {
  if (known(rule.past_ft)) return `past ${number(rule.past_ft)} ft`;
  if (known(rule.at_ft)) return `at ${number(rule.at_ft)} ft`;
  if (rule.at === "laydown") return "at the foul line";
  if (rule.at === "entry") return "at the head pin";
  return "at the " + rule.at;
}

function boardBounds(low, high) {
  if (!known(high)) return `at board ${number(low)} or inside`;
  if (!known(low)) return `at board ${number(high)} or outside`;
  if (low === high) return `on board ${number(low)}`;
  return `between boards ${number(low)} and ${number(high)}`;
}

function bounds(low, high, unit) {
  if (!known(high)) return `at ${number(low)} ${unit} or more`;
  if (!known(low)) return `at ${number(high)} ${unit} or less`;
  return `between ${number(low)} and ${number(high)} ${unit}`;
}

function moveSentence(rule) {
  const inBoards = rule.of === "board";
  const unit = units[subject(rule)], name = names[rule.of];
  if (known(rule.min) && known(rule.max) && rule.min === -rule.max) {
    const what = inBoards ? "Stay" : "Keep the " + name;
    return `${what} within ${amount(rule.max, unit)} of the shot before${inBoards ? " " + place(rule) : ""}`;
  }
  if (inBoards) return `Move ${moveBounds(rule.min, rule.max, unit, "inside", "outside")} ${place(rule)} from the shot before`;
  return `Change the ${name} by ${moveBounds(rule.min, rule.max, unit, "up", "down")} from the shot before`;
}

function moveBounds(low, high, unit, up, down) {
  const directed = (change) => change < 0 ? `${amount(-change, unit)} ${down}` : `${amount(change, unit)} ${up}`;
  if (!known(high)) return (low >= 0 ? "at least " : "no more than ") + directed(low);
  if (!known(low)) return (high >= 0 ? "no more than " : "at least ") + directed(high);
  if (low === high) return directed(low);
  if (low >= 0) return `between ${number(low)} and ${directed(high)}`;
  if (high < 0) return `between ${number(-high)} and ${directed(low)}`;
  return `between ${directed(low)} and ${directed(high)}`;
}

export const amount = (value, unit) => `${number(value)} ${value === 1 ? unit.replace(/s$/, "") : unit}`;

function ballSentence(balls, ballNames) {
  const shared = new Map();
  for (const name of ballNames.values()) shared.set(fold(name), (shared.get(fold(name)) ?? 0) + 1);
  const written = listOr(balls, (ball) => {
    const name = ballNames.get(ball) ?? "";
    return quotable(name) && shared.get(fold(name)) === 1 ? `"${name}"` : ball;
  });
  return (balls.length === 1 ? "Use the ball " : "Use one of the balls ") + written;
}

const fold = (name) => name.trim().split(/\s+/).join(" ").toLowerCase();

// quotable reports whether a name can be written between quotation marks and read back.
function quotable(name) {
  if (fold(name) === "" || new TextEncoder().encode(name).length > 60) return false;
  if (/^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$/.test(fold(name))) return false;
  return /^[\p{L}\p{M}\p{N}\p{P}\p{S} ]+$/u.test(name) && !/["“”„]/.test(name);
}

const listOr = (items, write) => items.map(write).reduce((text, item, i) => {
  if (i === 0) return item;
  return text + (i === items.length - 1 ? " or " : ", ") + item;
}, "");
