// How safe what is unsent is in this browser: whether the browser promises to keep it, how much room
// there is, a copy of it in a file, and the sign that the browser has cleared it.

import { kinds, plain } from "./queue.js";
import { same } from "./merge.js";
import { ask, run } from "./store.js";
import { count } from "./words.js";

// onHomeScreen reports whether the page was opened from the home screen: browsers keep the data of
// such a page, and may clear that of one that was not visited for some days.
export const onHomeScreen = () => window.matchMedia("(display-mode: standalone)").matches || navigator.standalone === true;

// askToKeep asks the browser not to clear the data by itself, and how much room there is. Some
// browsers ask the user first. Where it does not say, a part is null.
export async function askToKeep() {
  const { storage } = navigator;
  const [promised, room] = await Promise.all([storage?.persist?.(), storage?.estimate?.()].map((asked) => asked?.catch(() => null) ?? null));
  return { promised, used: room?.usage ?? null, free: room?.quota ? room.quota - room.usage : null };
}

const size = (bytes) => bytes >= 1e9 ? `${(bytes / 1e9).toFixed(1)} GB` : `${Math.max(1, Math.round(bytes / 1e6))} MB`;

// keepingLines say in words what askToKeep found.
export function keepingLines({ promised, used, free }) {
  const lines = [promised ? "The browser has promised not to clear this data by itself."
    : `The browser may clear this data when space runs short${onHomeScreen() ? "" : ", or after some days without a visit. Add the logger to the home screen to keep it"}.`];
  if (free !== null) lines.push(`The logger uses ${size(used)}; about ${size(free)} are free.`);
  return lines;
}

export const isFull = (error) => error?.name === "QuotaExceededError";

export const fullWords = "This device is out of space, so this was not saved. Free some space, such as old photos or apps, and save again.";

const format = "laneward-unsent";

// fileOf is everything that the server is not known to have, as the text of a file.
export function fileOf({ user_id: user, email }, changes) {
  const kept = changes.filter((change) => change.state !== "landed");
  return JSON.stringify({ format, version: 1, saved_at: new Date().toISOString(), user, email, changes: kept });
}

// readFile reads such a file; it throws an error that says in plain words what is wrong.
export function readFile(text, squads) {
  let file;
  try {
    file = JSON.parse(text);
  } catch {
    throw new Error("This file can't be read. Choose one that the logger saved, such as laneward-unsent-2026-11-29.json.");
  }
  const valid = ({ squad, kind, id, version, base, state }) =>
    typeof squad === "string" && typeof id === "string" && kinds.includes(kind) && version > 0 && base >= 0 && ["unsent", "waiting", "refused", "conflict"].includes(state);
  if (file?.format !== format || file.version !== 1 || !Array.isArray(file.changes) || !file.changes.every(valid)) {
    throw new Error("This isn't a file of unsent changes. Choose one that the logger saved, such as laneward-unsent-2026-11-29.json.");
  }
  const known = file.changes.filter(({ squad }) => squads.some(({ squad_id: id }) => id === squad));
  if (known.length < file.changes.length) {
    throw new Error("This file has changes of a squad you aren't in. Sign in as the user who saved it, or join the squad first.");
  }
  return file.changes;
}

// takeUp puts the changes of a file into the queue. One that this device has a change of its own for
// is left, and so is one that the copy shows already; taking a file up twice, or on two devices, does
// no more than once: the server knows a change again by its id and content. It returns how many were
// taken up.
export function takeUp(db, changes) {
  return run(db, ["records", "changes"], "readwrite", async (tx) => {
    const store = tx.objectStore("changes");
    let seq = (await ask(store.getAll())).reduce((most, change) => Math.max(most, change.seq), 0), taken = 0;
    for (const change of changes.toSorted((a, b) => a.seq - b.seq)) {
      const key = [change.squad, change.kind, change.id];
      const shown = await ask(tx.objectStore("records").get(key));
      if (await ask(store.get(key)) || shown && same(plain(shown.record), change.record)) continue;
      await ask(store.put({ ...change, seq: ++seq }));
      taken++;
    }
    return taken;
  });
}

// A cookie outlives what a browser clears when it runs short of space. It says that somebody is
// signed in here, and how many changes were unsent.
const mark = "laneward_kept";

export function markKept(unsent) {
  document.cookie = `${mark}=${unsent}; path=/logger/; max-age=34560000; samesite=strict${location.protocol === "https:" ? "; secure" : ""}`;
}

export const unmarkKept = () => { document.cookie = `${mark}=; path=/logger/; max-age=0; samesite=strict`; };

// clearedWords say what the browser has cleared, when it knows no user and the mark says there was
// one; "" when nothing was.
export function clearedWords() {
  const found = document.cookie.split("; ").find((part) => part.startsWith(`${mark}=`));
  if (!found) return "";
  const unsent = Number(found.slice(mark.length + 1)) || 0;
  const lost = unsent ? ` ${count(unsent, "change")} not sent yet ${unsent === 1 ? "was" : "were"} in it: if you saved ${unsent === 1 ? "it" : "them"} to a file, take that up on the Sync page.`
    : " Everything in it had been sent.";
  return `This browser has cleared the logger's data.${lost} Sign in to load your squads again.`;
}
