// Which sessions a device's copy has: those of the last months at first, older ones when they are
// asked for. Everything else of a squad it has whole.

import { ask, run } from "./store.js";

const firstDays = 90, nextDays = 365;

// daysAgo is a day as YYYY-MM-DD, where the device is.
function daysAgo(days) {
  const day = new Date();
  day.setDate(day.getDate() - days);
  return [day.getFullYear(), day.getMonth() + 1, day.getDate()].map((part) => String(part).padStart(2, "0")).join("-");
}

export const firstSince = () => daysAgo(firstDays);

// nextSince is the day to ask for when more than the copy has is wanted, "all" for everything.
export const nextSince = (since) => since > daysAgo(nextDays) ? daysAgo(nextDays) : "all";

// wantedSince is what a copy has to be added to: what was asked for, or a session that is to be sent
// and is older than the copy, which would drop it. "" is nothing.
export async function wantedSince(db, squad, { cursor, since, wants }) {
  if (!since || !cursor) return "";
  const own = await run(db, ["changes"], "readonly", (tx) => ask(tx.objectStore("changes").index("squad").getAll(squad)));
  const days = own.filter(({ kind, record }) => kind === "session" && record && record.date < since).map(({ record }) => record.date);
  if (wants && wants < since) days.push(wants);
  return wants === "all" ? "all" : days.toSorted()[0] ?? "";
}
