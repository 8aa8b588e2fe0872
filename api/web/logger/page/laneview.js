// The drawn lane, seen from the foul line: the user taps or presses and slides to where the ball
// crossed, or moves a cursor by keys.

import { arrowsFt, boards, centreBoard, lengthFt, maxBoard, minBoard, placeAt, placeNamed, places } from "./lane.js";
import { h, say, svg } from "./dom.js";

const gutterPx = 9, axisPx = 24, footPx = 20, headPx = 6;

// zones are the parts of the lane that a tap is assigned to, each from and to which distance.
const zones = { laydown: [0, 8], arrows: [8, 23], breakpoint: [23, 55], entry: [55, 60] };

const clamp = (value, low, high) => Math.min(high, Math.max(low, value));

// corridorsOf are the parts of the lane a drill allows: the boards, as exact positions, that each of
// its rules does, from and to which distance.
export function corridorsOf(drill, allowed) {
  return allowed.map(({ rule, low, high }) => {
    const { at, at_ft: ft, past_ft: past } = drill.rules[rule];
    if (past !== undefined) return { low, high, fromFt: past, toFt: lengthFt };
    const [fromFt, toFt] = at ? zones[at] : [clamp(ft - 4, 0, lengthFt), clamp(ft + 4, 0, lengthFt)];
    return { low, high, fromFt, toFt };
  });
}

export class LaneView {
  // onmark is called with the { place, board, ft } that was tapped, onclear with the place whose
  // mark is to be removed.
  constructor({ side, onmark, onclear }) {
    Object.assign(this, { side, onmark, onclear });
    this.cursor = { board: centreBoard, ft: arrowsFt };
    this.state = { corridors: [], marks: [], ghosts: [], selected: "" };
    this.pressed = null;
    this.picture = svg("svg", { class: "lane-picture", "aria-hidden": "true", focusable: "false" });
    this.element = h("div", {
      class: "lane", tabindex: "0", role: "application", "aria-roledescription": "lane", "aria-label": this.label(),
      "aria-describedby": "lane-keys",
      onkeydown: (event) => this.key(event), onfocus: () => this.draw(), onblur: () => this.draw(),
    }, this.picture);
    this.picture.addEventListener("pointerdown", (event) => this.press(event));
    this.picture.addEventListener("pointermove", (event) => this.slide(event));
    this.picture.addEventListener("pointerup", (event) => this.release(event));
    this.picture.addEventListener("pointercancel", () => this.cancel());
    this.sizes = new ResizeObserver(() => this.draw());
    this.sizes.observe(this.element);
  }

  label() {
    return `Lane, boards counted from the ${this.side} gutter`;
  }

  close() { this.sizes.disconnect(); }

  update(state) {
    Object.assign(this.state, state);
    this.draw();
  }

  // Geometry: boards run from the athlete's own strong-side gutter, which a right-hander has on the
  // right.

  measure() {
    const width = this.element.clientWidth, height = this.element.clientHeight;
    const unit = (width - axisPx - 2 * gutterPx - 2) / boards;
    const right = this.side !== "left";
    this.box = {
      width, height, unit, left: right ? axisPx + gutterPx : gutterPx + 2, top: headPx, foul: height - footPx, pxFt: (height - footPx - headPx) / lengthFt,
    };
    this.box.right = this.box.left + unit * boards;
  }

  x(board) {
    const { left, right, unit } = this.box;
    const from = clamp(board, -0.2, boards + 1.2) - minBoard;
    return this.side === "left" ? left + from * unit : right - from * unit;
  }

  y(ft) { return this.box.foul - ft * this.box.pxFt; }

  pointOf(event) {
    const frame = this.picture.getBoundingClientRect();
    const { left, right, unit, foul, pxFt } = this.box;
    const x = event.clientX - frame.left, y = event.clientY - frame.top;
    const from = this.side === "left" ? (x - left) / unit : (right - x) / unit;
    const board = clamp(Math.round(from + minBoard), 0, boards + 1);
    return this.snap(board, clamp((foul - y) / pxFt, 0, lengthFt));
  }

  // snap finds the place that a point means.
  snap(board, ft) {
    const place = placeAt(ft);
    return { place: place.name, board, ft: place.ft ?? Math.round(ft) };
  }

  // By finger: the mark is set where the finger lifts, so that the user can slide to the right
  // board while reading its number.

  press(event) {
    if (event.button !== 0) return;
    event.preventDefault();
    this.picture.setPointerCapture(event.pointerId);
    this.pressed = this.pointOf(event);
    this.draw();
  }

  slide(event) {
    if (!this.pressed) return;
    this.pressed = this.pointOf(event);
    this.draw();
  }

  release(event) {
    if (!this.pressed) return;
    const point = this.pointOf(event);
    this.pressed = null;
    this.mark(point);
  }

  cancel() {
    this.pressed = null;
    this.draw();
  }

  mark(point) {
    this.cursor = { board: point.board, ft: point.ft };
    this.onmark(point);
  }

  // By keys: arrows move the cursor a board or a foot, in the direction on the screen, Enter marks,
  // Delete clears the mark.

  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const out = this.side === "left" ? 1 : -1; // what the right arrow does to the board
    const step = event.shiftKey ? 5 : 1;
    const moves = { ArrowRight: [out * step, 0], ArrowLeft: [-out * step, 0], ArrowUp: [0, step], ArrowDown: [0, -step], PageUp: [0, 10], PageDown: [0, -10] };
    if (moves[event.key]) {
      const [across, down] = moves[event.key];
      this.cursor = { board: clamp(this.cursor.board + across, 0, boards + 1), ft: clamp(this.cursor.ft + down, 0, lengthFt) };
    } else if (/^[1-4]$/.test(event.key)) {
      this.jump(places[Number(event.key) - 1]);
    } else if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      this.mark(this.snap(this.cursor.board, this.cursor.ft));
      return;
    } else if (event.key === "Delete" || event.key === "Backspace") {
      event.preventDefault();
      this.onclear(placeAt(this.cursor.ft).name);
      return;
    } else {
      return;
    }
    event.preventDefault();
    this.tellCursor();
    this.draw();
  }

  jump(place) {
    const marked = this.state.marks.find((mark) => mark.place === place.name);
    this.cursor = { board: marked?.board ?? this.cursor.board, ft: place.ft ?? marked?.ft ?? 42 };
  }

  tellCursor() {
    const { board, ft } = this.cursor;
    say(`${board < 1 || board > boards ? "gutter" : `board ${board}`}, ${ft} feet, ${placeAt(ft).label.toLowerCase()}`);
  }

  // Drawing.

  draw() {
    this.measure();
    const { width, height } = this.box;
    if (width < 60 || height < 60) return; // not shown
    this.picture.setAttribute("viewBox", `0 0 ${width} ${height}`);
    this.picture.replaceChildren(...this.wood(), ...this.corridors(), ...this.guides(), ...this.arrows(), ...this.ghosts(), ...this.path(), ...this.marks(),
      ...this.pointer());
  }

  wood() {
    const { left, right, top, foul, unit } = this.box;
    const seams = [];
    for (let board = 1; board < boards; board++) seams.push(`M${this.x(board + 0.5)} ${top}V${foul}`);
    return [
      svg("rect", { class: "gutter", x: left - gutterPx, y: top, width: unit * boards + 2 * gutterPx, height: foul - top }),
      svg("rect", { class: "wood", x: left, y: top, width: right - left, height: foul - top }),
      svg("path", { class: "seams", d: seams.join("") }),
    ];
  }

  corridors() {
    return this.state.corridors.flatMap(({ low, high, fromFt, toFt }) => {
      const x = Math.min(this.x(low), this.x(high)), width = Math.abs(this.x(high) - this.x(low));
      const y = this.y(toFt), height = this.y(fromFt) - y;
      const sides = [low, high].filter((board) => board > minBoard && board < maxBoard);
      return [
        svg("rect", { class: "corridor", x, y, width, height }),
        svg("path", { class: "corridor-edge", d: sides.map((board) => `M${this.x(board)} ${y}v${height}`).join("") }),
      ];
    });
  }

  guides() {
    const { left, right, foul } = this.box;
    const lines = [], labels = [];
    for (let board = 5; board < boards; board += 5) {
      lines.push(`M${this.x(board)} ${headPx}V${foul}`);
      labels.push(svg("text", { class: "axis", x: this.x(board), y: foul + 15, "text-anchor": "middle" }, String(board)));
    }
    const onLeft = this.side !== "left";
    const edge = onLeft ? left - gutterPx - 4 : right + gutterPx + 4;
    for (let ft = 0; ft <= lengthFt; ft += 15) {
      labels.push(svg("text", { class: "axis", x: edge, y: clamp(this.y(ft) + 4, 12, foul + 1), "text-anchor": onLeft ? "end" : "start" }, String(ft)));
    }
    const borders = [zones.arrows[0], zones.breakpoint[0], zones.entry[0]].map((ft) => `M${left} ${this.y(ft)}H${right}`);
    const names = places.map(({ name, label }) => {
      const [from, to] = zones[name];
      const inside = onLeft ? left + 6 : right - 6;
      const chosen = name === this.state.selected ? " chosen" : "";
      return svg("text", { class: "zone" + chosen, x: inside, y: (this.y(from) + this.y(to)) / 2 + 4, "text-anchor": onLeft ? "start" : "end" }, label);
    });
    return [
      svg("path", { class: "boards", d: lines.join("") }), svg("path", { class: "borders", d: borders.join("") }), ...labels, ...names,
      svg("path", { class: "foul", d: `M${left - gutterPx} ${foul}H${right + gutterPx}` }),
    ];
  }

  arrows() {
    const tips = [];
    for (let board = 5; board <= 35; board += 5) {
      const x = this.x(board), y = this.y(15.75 - Math.abs(board - centreBoard) / 5 * 1.05);
      tips.push(`M${x} ${y}l3.500 10l-3.500 -2l-3.500 2z`);
    }
    return [svg("path", { class: "arrows", d: tips.join("") })];
  }

  ghosts() {
    return this.state.ghosts.map(({ board, ft, verdict }) => this.glyph(board, ft, verdict, 4, "ghost"));
  }

  path() {
    const points = this.state.marks.filter((mark) => mark.ft !== null).map(({ board, ft }) => `${this.x(board)} ${this.y(ft)}`);
    return points.length > 1 ? [svg("path", { class: "path", d: "M" + points.join("L") })] : [];
  }

  marks() {
    return this.state.marks.map((mark) => this.glyph(mark.board, mark.ft ?? 42, mark.verdict, 8, mark.place === this.state.selected ? "mark chosen" : "mark"));
  }

  // glyph draws one sign: a disc for kept, a cross for broken, a hollow diamond for not measured, a
  // square where no rule looks.
  glyph(board, ft, verdict, r, kind) {
    const x = this.x(board), y = this.y(ft);
    const shape = {
      kept: () => svg("circle", { cx: x, cy: y, r }),
      broken: () => svg("path", { d: `M${x - r} ${y - r}l${2 * r} ${2 * r}M${x + r} ${y - r}l${-2 * r} ${2 * r}` }),
      unknown: () => svg("path", { d: `M${x} ${y - r}l${r} ${r}l${-r} ${r}l${-r} ${-r}z` }),
      none: () => svg("rect", { x: x - r * 0.7, y: y - r * 0.7, width: r * 1.4, height: r * 1.4 }),
    }[verdict]();
    return svg("g", { class: `${kind} ${verdict}` }, verdict === "broken" ? [svg("path", { class: "halo", d: shape.getAttribute("d") }), shape] : shape);
  }

  // pointer is the finger's place with its board in large, or the cursor of the keys.
  pointer() {
    const keys = document.activeElement === this.element && this.element.matches(":focus-visible");
    if (!this.pressed && !keys) return [];
    const { width, top, foul } = this.box;
    const { board, ft } = this.pressed ?? this.cursor;
    const x = this.x(board), y = this.y(ft);
    const lines = svg("path", { class: "cross", d: `M${x} ${top}V${foul}M0 ${y}H${width}` });
    const text = board < 1 || board > boards ? "Gutter" : `Board ${board}`;
    const words = `${text} · ${placeNamed(placeAt(ft).name).label}${placeAt(ft).ft === null || keys ? ` ${ft} ft` : ""}`;
    const wide = 8.6 * words.length + 20;
    const at = clamp(x - wide / 2, 2, width - wide - 2), above = y > 76 ? y - 66 : y + 34;
    return [lines, svg("g", { class: "loupe" },
      svg("rect", { x: at, y: above, width: wide, height: 32, rx: 6 }), svg("text", { x: at + wide / 2, y: above + 21, "text-anchor": "middle" }, words))];
  }
}
