// Pages come with shots as tables of columns, which are half the size; reading them yields the
// shots one by one.

export const withTables = "application/json;shots=table";

// unfold replaces tables by their shots.
export const unfold = (items) => items.flatMap((item) => item.table ? shotsOf(item.table) : [item]);

// shotsOf reads a table as the contract's ShotTable says. It throws when the table is incomplete.
function shotsOf({ count, id, rev, order, ...columns }) {
  const bytes = Uint8Array.from(atob(id), (letter) => letter.charCodeAt(0));
  const revs = sums(rev), orders = sums(order);
  const named = Object.entries(columns);
  if (bytes.length !== 16 * count || [revs, orders, ...named.map(([, values]) => values)].some((values) => values.length !== count)) {
    throw new Error("a table of shots is not whole");
  }
  return revs.map((at, i) => {
    const record = { id: idOf(bytes.subarray(16 * i, 16 * i + 16)) };
    for (const [name, values] of named) if (values[i] !== null) record[name] = values[i];
    return { kind: "shot", id: record.id, rev: at, record: { ...record, order: orders[i], rev: at } };
  });
}

function sums(differences) {
  let sum = 0;
  return differences.map((difference) => sum += difference);
}

function idOf(bytes) {
  const digits = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return digits.replace(/(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
}
