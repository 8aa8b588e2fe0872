// Geometry of the lane, as service/lane has it. Boards count from the athlete's own strong-side
// gutter, 1 to 39; x counts from the right gutter.

export const boards = 39;
export const lengthFt = 60;
export const arrowsFt = 15;
export const centreBoard = 20;
export const minBoard = 0.5;
export const maxBoard = 39.5;

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
