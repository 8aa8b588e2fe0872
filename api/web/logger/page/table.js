// Pages come with shots as tables of columns, which are half the size, and pushes go with them;
// reading a page yields the shots one by one.

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

export const tablesType = "application/vnd.laneward.tables+json";

const fewestFolded = 3; // shots are worth a table

// fold puts shots of a push that follow one another into tables.
export function fold(items) {
  const folded = [];
  let run = [];
  const close = () => { folded.push(...run.length < fewestFolded ? run : [tableOf(run)]); run = []; };
  for (const item of items) {
    if (isRow(item)) {
      run.push(item);
    } else {
      close();
      folded.push(item);
    }
  }
  close();
  return folded;
}

// isRow reports whether an item can be a row. What is out of the ordinary goes as it is, such as a
// time that is finer than a Date.
const isRow = ({ kind, id, record }) => kind === "shot" && record && !("rev" in record) && (record.id ?? id) === id &&
  Number.isSafeInteger(record.order) && /^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,3})?Z$/.test(record.time) && !isNaN(Date.parse(record.time));

// tableOf writes shots as the contract's PushTable says.
function tableOf(items) {
  const ids = items.map(({ id }) => bytesOf(id));
  const columns = {}, all = {};
  const value = (name, i, to) => { (columns[name] ??= items.map(() => null))[i] = to; };
  items.forEach(({ version, schema, record }, i) => {
    if (version !== undefined) value("version", i, version);
    if (schema !== undefined) value("schema", i, schema);
    for (const [name, to] of Object.entries(record)) if (!["id", "order", "time"].includes(name) && to !== null) value(name, i, to);
  });
  for (const name of ["session_id", "athlete_id", "ball_id", "drill_id", "source"]) {
    const first = columns[name]?.[0] ?? null;
    if (first === null || columns[name].some((to) => to !== first)) continue;
    all[name] = first;
    delete columns[name];
  }
  return { kind: "shot", table: {
    count: items.length,
    id: btoa(String.fromCharCode(...Array.from({ length: 16 }, (_, at) => ids.map((bytes) => bytes[at])).flat())),
    order: differences(items.map(({ record }) => record.order)),
    time: differences(items.map(({ record }) => Date.parse(record.time) * 1000)),
    all, ...columns,
  } };
}

const differences = (numbers) => numbers.map((number, i) => number - (numbers[i - 1] ?? 0));

const bytesOf = (id) => id.replaceAll("-", "").match(/../g).map((digits) => parseInt(digits, 16));
