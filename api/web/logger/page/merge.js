// Compares and merges records field by field.

// canonical writes a value so that equal values are written the same.
function canonical(value) {
  if (Array.isArray(value)) return `[${value.map(canonical).join()}]`;
  if (value && typeof value === "object") {
    return `{${Object.keys(value).sort().filter((key) => value[key] !== undefined).map((key) => JSON.stringify(key) + ":" + canonical(value[key])).join()}}`;
  }
  return JSON.stringify(value) ?? "null";
}

const instant = (value) => typeof value === "string" && !Number.isNaN(Date.parse(value)) ? Date.parse(value) : null;

// sameField compares one field of two records. Times are compared as instants, however they are
// written.
export function sameField(name, a, b) {
  if (name === "time" && instant(a) !== null && instant(b) !== null) return instant(a) === instant(b);
  return canonical(a ?? null) === canonical(b ?? null);
}

const fieldNames = (...records) => [...new Set(records.flatMap((record) => Object.keys(record ?? {})))].filter((name) => name !== "id" && name !== "rev");

// differing lists the fields in which two records differ; neither the id nor the revision is one.
export const differing = (a, b) => fieldNames(a, b).filter((name) => !sameField(name, a?.[name], b?.[name]));

export const same = (a, b) => (a === null) === (b === null) && differing(a, b).length === 0;

// merge joins two edits of one record, given their common base. met are the fields that both
// changed to different values.
export function merge(base, mine, theirs) {
  const merged = { ...theirs };
  const met = [];
  for (const name of fieldNames(base, mine, theirs)) {
    if (sameField(name, mine[name], base[name]) || sameField(name, mine[name], theirs[name])) continue;
    if (!sameField(name, theirs[name], base[name])) met.push(name);
    else if (mine[name] === undefined) delete merged[name];
    else merged[name] = mine[name];
  }
  return { merged, met };
}
