// Writes days in the form of the reader's language, as the pages do: package dates has the table,
// and a test keeps the two equal.

import { forms } from "./dateforms.js";

const find = (name) => forms.find((form) => form.language.toLowerCase() === name.toLowerCase());

// formFor picks the form for languages, the one wanted most first; English when none is known.
export function formFor(languages) {
  for (const tag of languages) {
    const form = find(tag) ?? find(tag.split("-")[0]);
    if (form) return form;
  }
  return forms[0];
}

const write = (form, pattern, date) => {
  const [year, month, day] = date.split("-").map(Number);
  const weekday = new Date(Date.UTC(year, month - 1, day)).getUTCDay();
  const parts = { w: form.days.split(" ")[weekday], d: day, m: form.months.split(" ")[month - 1], y: year };
  return pattern.replace(/{(.)}/g, (_, part) => parts[part]);
};

// dayText writes a day given as YYYY-MM-DD, weekdayText with its weekday.
export const dayText = (date, form = formFor(navigator.languages)) => write(form, form.short, date);
export const weekdayText = (date, form = formFor(navigator.languages)) => write(form, form.long, date);
