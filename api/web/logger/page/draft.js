// The shot being logged or edited, with what was done to it step by step.

import { places } from "./lane.js";

const entered = ["laydown_board", "arrows_board", "breakpoint_board", "breakpoint_ft", "entry_board", "standing", "speed_mph", "note"];

export class Draft {
  constructor(record = {}, original = null, steps = []) {
    this.record = record;
    this.original = original; // the stored shot that is edited; null for a new one
    this.steps = steps;
  }

  // change sets fields; undefined removes one. again makes a change of the same thing, such as a
  // nudge, one step with the one before.
  change(fields, again = "") {
    const before = this.record;
    const record = { ...before, ...fields };
    for (const [name, value] of Object.entries(fields)) if (value === undefined || value === null) delete record[name];
    if (!again || this.steps.at(-1)?.again !== again) this.steps.push({ before, again });
    this.record = record;
  }

  undo() {
    const step = this.steps.pop();
    if (step) this.record = step.before;
    return Boolean(step);
  }

  get empty() { return entered.every((name) => this.record[name] === undefined); }

  // marks are the places of the path that have been entered; ft is null where a breakpoint's
  // distance was not.
  get marks() {
    return places.filter((place) => this.record[place.board] !== undefined)
      .map((place) => ({ place: place.name, board: this.record[place.board], ft: place.ft ?? this.record.breakpoint_ft ?? null }));
  }

  toJSON() { return { record: this.record, original: this.original }; }
}
