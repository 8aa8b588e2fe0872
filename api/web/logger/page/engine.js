// The program's own judging, compiled for the browser: cmd/laneward-phone. A server whose program
// was built without it has no module, and then is asked to judge; see served.js.

import { module } from "./module.js";
import { servedSentences } from "./served.js";

let starting;

// engine returns the function that answers calls, null when there is no module. A module that
// cannot be loaded is asked for again at the next call.
export function engine() {
  if (!module) return Promise.resolve(null);
  starting ??= start().catch((error) => {
    starting = undefined;
    throw error;
  });
  return starting;
}

async function start() {
  await import(module.support);
  const go = new globalThis.Go();
  const { instance } = await WebAssembly.instantiateStreaming(fetch(module.program), go.importObject);
  go.run(instance); // ends with the page
  return (name, request) => {
    const { answer, error } = globalThis.lanewardCall(name, JSON.stringify(request));
    if (error) throw new Error(error);
    return JSON.parse(answer);
  };
}

// sentences writes the rules of drills in words, a list for each.
export async function sentences(app, drills, balls) {
  const call = await engine();
  return call ? call("sentences", { drills, balls }) : servedSentences(app, drills);
}
