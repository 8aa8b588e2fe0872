// IndexedDB. One small database knows who signed in on this device; each person's copy and unsent
// changes are a database of their own, so that no other user can see or send them.

const people = "laneward";
const copyOf = (user) => `laneward ${user}`;

// open opens a database and brings it up to date: steps are what each version adds to the one
// before. One that was shipped never changes.
function open(name, steps) {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open(name, steps.length);
    request.onupgradeneeded = ({ oldVersion }) => steps.slice(oldVersion).forEach((step) => step(request.result, request.transaction));
    request.onsuccess = () => {
      request.result.onversionchange = () => request.result.close();
      resolve(request.result);
    };
    request.onerror = () => reject(request.error);
    request.onblocked = () => reject(new Error("another tab of the logger is blocking its storage: close it"));
  });
}

export const openPeople = () => open(people, [(db) => {
  db.createObjectStore("people", { keyPath: "user_id" });
  db.createObjectStore("device", { keyPath: "name" });
}]);

// openCopy opens a person's own database. records are the server's records as last received, null
// for a deleted one, whose revision is kept so that no older version brings it back. changes are
// those made here that are not known to be in them yet; see queue.js.
export const openCopy = (user) => open(copyOf(user), [(db) => {
  const records = db.createObjectStore("records", { keyPath: ["squad", "kind", "id"] });
  records.createIndex("session", ["squad", "kind", "record.session_id"]);
  records.createIndex("athlete", ["squad", "kind", "record.athlete_id"]);
  const changes = db.createObjectStore("changes", { keyPath: ["squad", "kind", "id"] });
  changes.createIndex("squad", "squad");
  db.createObjectStore("meta", { keyPath: "name" });
}, (_, tx) => { // changes hold the schema they were made by
  tx.objectStore("changes").openCursor().onsuccess = ({ target: { result: cursor } }) => {
    if (!cursor) return;
    cursor.update({ ...cursor.value, schema: 1 });
    cursor.continue();
  };
}, (db) => { // what the server has lost; see lost.js
  db.createObjectStore("lost", { keyPath: ["squad", "kind", "id"] }).createIndex("squad", "squad");
}]);

export function dropCopy(user) {
  return new Promise((resolve, reject) => {
    const request = indexedDB.deleteDatabase(copyOf(user));
    request.onsuccess = () => resolve();
    request.onerror = () => reject(request.error);
  });
}

// ask waits for one request of a transaction.
export function ask(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

// run does work in one transaction and returns its result once that is on the disk. An error undoes
// all of it. work may wait for requests of the transaction only.
export function run(db, stores, mode, work) {
  return new Promise((resolve, reject) => {
    const tx = db.transaction(stores, mode, { durability: mode === "readwrite" ? "strict" : "default" });
    let result, failure;
    tx.oncomplete = () => failure ? reject(failure) : resolve(result);
    tx.onabort = () => reject(failure ?? tx.error ?? new Error("the browser gave up the transaction"));
    Promise.resolve(work(tx)).then((value) => { result = value; }, (error) => {
      failure = error;
      try { tx.abort(); } catch { reject(error); } // it had ended already
    });
  });
}

export const readMeta = (db, name) => run(db, ["meta"], "readonly", async (tx) => (await ask(tx.objectStore("meta").get(name)))?.value);

export const writeMeta = (db, name, value) => run(db, ["meta"], "readwrite", (tx) => ask(tx.objectStore("meta").put({ name, value })));

// ofKind is the range of all records of one kind of a squad.
export const ofKind = (squad, kind) => IDBKeyRange.bound([squad, kind], [squad, kind, []]);
