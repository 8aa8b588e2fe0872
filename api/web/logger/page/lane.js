// Geometry of the lane, as service/lane has it. Boards count from the athlete's own strong-side
// gutter, 1 to 39; x counts from the right gutter.

export const boards = 39;
export const lengthFt = 60;
export const arrowsFt = 15;
export const centreBoard = 20;
export const minBoard = 0.5;
export const maxBoard = 39.5;
const boardWidthIn = 41.5 / boards;

// boardsPerFoot is how many boards a ball moves sideways in one foot at an angle in degrees.
export const boardsPerFoot = (angleDeg) => Math.tan(angleDeg * Math.PI / 180) * 12 / boardWidthIn;

// The named places of the path, from the foul line on. The breakpoint lies where it was seen.
export const places = [
  { name: "laydown", label: "Laydown", board: "laydown_board", ft: 0, where: "at the foul line" },
  { name: "arrows", label: "Arrows", board: "arrows_board", ft: arrowsFt, where: "at the arrows" },
  { name: "breakpoint", label: "Breakpoint", board: "breakpoint_board", ft: null, where: "at the breakpoint" },
  { name: "entry", label: "Entry", board: "entry_board", ft: lengthFt, where: "at the head pin" },
];

export const placeNamed = (name) => places.find((place) => place.name === name);

// placeAt is the place a tap at a distance means.
export function placeAt(ft) {
  if (ft < 8) return placeNamed("laydown");
  if (ft < 23) return placeNamed("arrows");
  if (ft < 55) return placeNamed("breakpoint");
  return placeNamed("entry");
}

// The pins by row from the head pin back, each row from the left as seen from the foul line.
export const pinRows = [[1], [2, 3], [4, 5, 6], [7, 8, 9, 10]];

// leaveName writes standing pins joined by hyphens, "strike" for none.
export const leaveName = (standing) => standing.length === 0 ? "strike" : [...standing].sort((a, b) => a - b).join("-");

const mirrored = [0, 1, 3, 2, 6, 5, 4, 10, 9, 8, 7];

// mirrorPins are the pins of the mirror image.
export const mirrorPins = (standing) => standing.map((pin) => mirrored[pin]);

// beside are the pins next to each pin, and those straight behind or in front of it.
const beside = [[], [2, 3, 5], [1, 3, 4, 5, 8], [1, 2, 5, 6, 9], [2, 5, 7, 8], [1, 2, 3, 4, 6, 8, 9], [3, 5, 9, 10], [4, 8], [2, 4, 5, 7, 9], [3, 5, 6, 8, 10], [6, 9]];

// sideBySide are the neighbours of one row, each with the pin in front of both.
const sideBySide = [[2, 3, 1], [4, 5, 2], [5, 6, 3], [7, 8, 4], [8, 9, 5], [9, 10, 6]];

// isSplit reports whether the pins left are a split by the rule book: the head pin down, and a pin
// down between two standing ones or in front of both.
export function isSplit(standing) {
  const left = new Set(standing);
  if (left.size === 0 || left.has(1)) return false;
  if (sideBySide.some(([a, b, front]) => left.has(a) && left.has(b) && !left.has(front))) return true;
  const reached = new Set([Math.min(...left)]);
  for (const pin of reached) for (const next of beside[pin]) if (left.has(next)) reached.add(next);
  return reached.size < left.size;
}
