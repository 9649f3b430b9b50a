// The learners' records, kept in this browser: a store with a versioned schema, and memory where there is none.
//
// Python (bench/records.py) says what to write and judges what was read; the part "learner" (bench/learner.mjs) asks by
// events on the document for export and import, and is told by events what became of them.

import { openDB } from "./idb.mjs";

const NAME = "bandbench-records";
const STORES = ["profiles", "attempts", "running", "notes", "statements"];
// What a learner's records are made of; statements are computed from them, and are kept to be sent (statements.mjs).
const ROWS = ["attempts", "running", "notes"];
const FILE_FORMAT = "bandbench-records";
const FILE_FORMAT_VERSION = 1;
const LARGEST_FILE = 64e6;
// A store that takes longer to open is gone on without; it is taken up when it comes after all.
const OPEN_WITHIN_MS = 5000;
// A worker that was started anew takes up its attempt within some turns of its loop.
const RESUMED_WITHIN_MS = 20_000;

// What leads from each version of the schema to the next one.
const UPGRADES = [
  (db) => {
    db.createObjectStore("profiles", { keyPath: "id" });
    db.createObjectStore("attempts", { keyPath: "id" }).createIndex("profile", "profile");
  },
  async (db, transaction) => {
    for (const name of ["running", "notes"]) db.createObjectStore(name, { keyPath: "id" }).createIndex("profile", "profile");
    // Learners learned to say when they were last at the bench.
    const profiles = transaction.objectStore("profiles");
    for (const row of await profiles.getAll()) {
      if (row.used_at === undefined) await profiles.put({ ...row, used_at: row.created_at });
    }
  },
  (db) => { db.createObjectStore("statements", { keyPath: "id" }).createIndex("profile", "profile"); },
];

const tell = (name, detail) => document.dispatchEvent(new CustomEvent(`bandbench:${name}`, { detail }));

let post = null;
let version = "";
let db = null;
let storage = { state: "opening", reason: "" };
let profile = "";

// What was read or written in this visit, and what of it is not in the store: both by store and number.
const memory = new Map(STORES.map((name) => [name, new Map()]));
let unwritten = [];
let sinceExport = false;

function setStorage(state, reason = "") {
  if (storage.state === state && storage.reason === reason) return;
  storage = { state, reason };
  post?.({ type: "records", kind: "state", text: JSON.stringify(storage) });
}

// Why there is no store, as a code that the part has words for.
function reasonOf(error) {
  switch (error?.name) {
    case "VersionError": return "newer";
    case "QuotaExceededError": return "full";
    case "InvalidStateError": return db === null ? "refused" : "lost";
    default: return "refused";
  }
}

// Opening -------------------------------------------------------------------------------------------------------

async function open() {
  if (!globalThis.indexedDB) throw new DOMException("", "missing");
  return openDB(NAME, UPGRADES.length, {
    upgrade: async (opened, from, to, transaction) => {
      for (const upgrade of UPGRADES.slice(from)) await upgrade(opened, transaction);
    },
    blocked: () => setStorage("memory", "blocked"),
    // A newer version of the page, in another tab, needs the store: it gets it.
    blocking: () => {
      db?.close();
      db = null;
      setStorage("memory", "newer");
    },
    terminated: () => {
      db = null;
      setStorage("memory", "lost");
    },
  });
}

async function takeUp(opened) {
  db = opened;
  await write();
  if (unwritten.length === 0) setStorage("kept");
}

// Answers once it is known whether there is a store.
const opening = (async () => {
  const asked = open().then(takeUp).catch((error) => {
    console.info(`No store for records: ${error?.name}: ${error?.message}`);
    setStorage("memory", error?.name === "missing" ? "missing" : reasonOf(error));
  });
  await Promise.race([asked, new Promise((resolve) => { setTimeout(resolve, OPEN_WITHIN_MS); })]);
  if (storage.state === "opening") setStorage("memory", "blocked");
  // A store that comes later brings what it holds.
  if (db === null) asked.then(() => { if (db !== null && post !== null) return sendAll(profile); });
})();

// Reading and writing ---------------------------------------------------------------------------------------------

async function apply(transaction, { kind, store, row, id }) {
  switch (kind) {
    case "put": return transaction.objectStore(store).put(row);
    case "delete": return transaction.objectStore(store).delete(id);
    // Never over what is there, not even what another tab has just put there.
    case "add": {
      const own = transaction.objectStore(store);
      if (await own.getKey(row.id) === undefined) await own.put(row);
      return;
    }
    case "forget":
      for (const name of STORES.slice(1)) {
        const own = transaction.objectStore(name);
        for (const key of await own.index("profile").getAllKeys(id)) await own.delete(key);
      }
      await transaction.objectStore("profiles").delete(id);
  }
}

// Writes everything that waits, all of it or nothing; what could not be written goes on waiting.
async function write() {
  if (db === null || unwritten.length === 0) return;
  const batch = [...unwritten];
  try {
    const transaction = db.transaction(STORES, "readwrite");
    const done = transaction.done.catch((error) => error);
    try {
      for (const change of batch) await apply(transaction, change);
    } catch (error) {
      try { transaction.abort(); } catch { /* It has ended by itself. */ }
      throw error;
    }
    const error = await done;
    if (error) throw error;
    const written = new Set(batch);
    unwritten = unwritten.filter((change) => !written.has(change));
    setStorage("kept");
  } catch (error) {
    console.info(`Records not written: ${error?.name}: ${error?.message}`);
    setStorage("memory", reasonOf(error));
  }
}

function remember({ kind, store, row, id }) {
  switch (kind) {
    case "put": memory.get(store).set(row.id, row); break;
    case "add": if (!memory.get(store).has(row.id)) memory.get(store).set(row.id, row); break;
    case "delete": memory.get(store).delete(id); break;
    case "forget":
      for (const rows of memory.values()) {
        for (const [key, one] of rows) if (one.profile === id || key === id) rows.delete(key);
      }
  }
}

// The rows of one learner: what the store holds, and what this visit has that could not be written.
async function rowsOf(id) {
  const rows = {};
  for (const name of ROWS) rows[name] = [...memory.get(name).values()].filter((row) => row.profile === id);
  if (db === null) return rows;
  try {
    for (const name of ROWS) {
      const kept = id === "" ? [] : await db.getAllFromIndex(name, "profile", id);
      if (unwritten.length === 0) rows[name] = kept;
      else rows[name] = [...new Map([...kept, ...rows[name]].map((row) => [row.id, row])).values()];
      for (const row of rows[name]) memory.get(name).set(row.id, row);
    }
  } catch (error) {
    console.info(`Records not read: ${error?.name}: ${error?.message}`);
    setStorage("memory", reasonOf(error));
  }
  return rows;
}

async function profiles() {
  if (db !== null) {
    try {
      for (const row of await db.getAll("profiles")) {
        if (!memory.get("profiles").has(row.id)) memory.get("profiles").set(row.id, row);
      }
    } catch (error) {
      setStorage("memory", reasonOf(error));
    }
  }
  return [...memory.get("profiles").values()];
}

async function sendAll(wanted) {
  const known = await profiles();
  const latest = known.reduce((best, row) => (best === null || row.used_at > best.used_at ? row : best), null);
  profile = known.some((row) => row.id === wanted) ? wanted : latest?.id ?? "";
  const rows = await rowsOf(profile);
  const elsewhere = await heldElsewhere();
  post({ type: "records", kind: "all", text: JSON.stringify({ storage, app_version: version, profile, profiles: known, ...rows, elsewhere }) });
}

// The statements, for statements.mjs ------------------------------------------------------------------------------

async function statementIsThere(id) {
  if (memory.get("statements").has(id)) return true;
  if (db === null) return false;
  try {
    return await db.getKey("statements", id) !== undefined;
  } catch (error) {
    setStorage("memory", reasonOf(error));
    return false;
  }
}

export const statementStore = {
  // What is to be done with a new statement, with those of a deleted learner, and with what Python asks by other names than those of changes.
  added: () => {},
  forgotten: () => {},
  asked: {},
  // Every statement that is kept here, of all learners.
  all: async () => {
    const rows = new Map(memory.get("statements"));
    if (db !== null) {
      try {
        for (const row of await db.getAll("statements")) if (!rows.has(row.id)) rows.set(row.id, row);
      } catch (error) {
        setStorage("memory", reasonOf(error));
      }
    }
    return [...rows.values()];
  },
  // Keeps rows as they are now.
  put: (rows) => {
    const done = working.then(async () => {
      for (const row of rows) {
        remember({ kind: "put", store: "statements", row });
        unwritten = unwritten.filter((other) => !(other.store === "statements" && other.row.id === row.id));
        unwritten.push({ kind: "put", store: "statements", row });
      }
      await write();
    });
    working = done.catch(() => {});
    return done;
  },
  // Who is at the bench: the learner's row, or undefined.
  learner: async () => (await profiles()).find((row) => row.id === profile),
  save: (name, text) => save(name, text),
};

// Two tabs never go on with the same attempt -----------------------------------------------------------------------

const held = new Map();
let takenUp = () => {};
const lockName = (id) => `bandbench-attempt-${id}`;

function hold(id) {
  if (held.has(id)) return;
  held.set(id, () => {});
  if (navigator.locks === undefined) return;
  navigator.locks.request(lockName(id), { ifAvailable: true }, (lock) => {
    // Not got, or let go of before it was got.
    if (lock === null || !held.has(id)) return undefined;
    return new Promise((resolve) => { held.set(id, resolve); });
  })
    .catch((error) => console.info(`No lock on an attempt: ${error?.message}`));
}

function release(id) {
  held.get(id)?.();
  held.delete(id);
}

async function heldElsewhere() {
  try {
    const { held: locks } = await navigator.locks.query();
    return locks.map(({ name }) => name).filter((name) => name.startsWith(lockName("")))
      .map((name) => name.slice(lockName("").length)).filter((id) => !held.has(id));
  } catch {
    return [];
  }
}

// What Python asks ----------------------------------------------------------------------------------------------------

async function carryOut(change) {
  switch (change.do) {
    case "hold":
      hold(change.id);
      takenUp(change.id);
      return;
    case "release": release(change.id); return;
    case "scorm": tell("scorm", change); return;
    case "load": await write(); await sendAll(change.profile); return;
    case "fetch": {
      await write();
      const rows = await rowsOf(change.profile);
      post({ type: "records", kind: "of", text: JSON.stringify({ profile: change.profile, ...rows }) });
      return;
    }
    case "persist":
      // With it the browser does not clear the records away when it is short of room.
      try { await navigator.storage.persist(); } catch { /* Kept all the same, only less surely. */ }
      return;
  }
  if (statementStore.asked[change.do]) {
    await statementStore.asked[change.do](change);
    return;
  }
  const entry = { kind: change.do, store: change.store, row: change.row, id: change.id ?? change.profile };
  if (entry.store === "statements") {
    if (await statementIsThere(entry.row.id)) return;
    statementStore.added(entry.row);
  }
  if (entry.kind === "forget") statementStore.forgotten(entry.id);
  if (entry.store === "running") {
    if (entry.kind === "put") hold(entry.row.id);
    if (entry.kind === "delete") release(entry.id);
  }
  remember(entry);
  // While nothing can be written, only the latest of each row waits.
  if (entry.kind === "put") {
    unwritten = unwritten.filter((other) => !(other.kind === "put" && other.store === entry.store && other.row.id === entry.row.id));
  }
  unwritten.push(entry);
  sinceExport = true;
}

// One message after the other, in the order they came.
let working = opening;

export function keepRecords({ text }) {
  const message = JSON.parse(text);
  const done = working.then(async () => {
    profile = message.profile;
    for (const change of message.changes) await carryOut(change);
    await write();
  });
  working = done.catch(() => {});
  return done;
}

// Where the rows of this visit are, for the notice that the bench has failed: "records" (in the store), "memory", or ""
// while nobody has any.
export function recordsKept() {
  if (profile === "") return "";
  return unwritten.length > 0 ? "memory" : "records";
}

// Export and import ---------------------------------------------------------------------------------------------------

function save(name, text) {
  const address = URL.createObjectURL(new Blob([text], { type: "application/json" }));
  const link = document.createElement("a");
  link.href = address;
  link.download = name;
  link.hidden = true;
  document.body.append(link);
  link.click();
  link.remove();
  // The browser reads the address when it gets round to it.
  setTimeout(() => URL.revokeObjectURL(address), 10000);
}

async function exportRecords() {
  await working;
  const own = (await profiles()).find((row) => row.id === profile);
  if (own === undefined) {
    tell("records-told", { word: "nothing_to_export" });
    return;
  }
  const rows = await rowsOf(profile);
  const now = new Date().toISOString();
  const content = { format: FILE_FORMAT, format_version: FILE_FORMAT_VERSION, exported_at: now, app_version: version, profile: own, ...rows };
  const name = String(own.name).normalize("NFKC").replace(/[^\p{L}\p{N}]+/gu, "-").replace(/^-+|-+$/g, "");
  const file = ["bandbench-records", name, now.slice(0, 10)].filter(Boolean).join("-") + ".json";
  save(file, JSON.stringify(content, null, 1));
  sinceExport = false;
  tell("records-told", { word: "exported", values: { file, attempts: rows.attempts.length + rows.running.length, notes: rows.notes.length } });
}

async function readFile(file) {
  const refuse = (word) => tell("records-told", { word, values: { name: file.name } });
  if (file.size > LARGEST_FILE) return refuse("too_large");
  let bytes;
  try {
    bytes = await file.arrayBuffer();
  } catch (error) {
    console.info(`${file.name} not read: ${error?.name}`);
    return refuse("not_read");
  }
  let text;
  try {
    text = new TextDecoder("utf-8", { fatal: true }).decode(bytes);
  } catch {
    return refuse("not_text");
  }
  tell("records-told", { word: "" });
  post({ type: "records", kind: "file", text: JSON.stringify({ name: file.name, text }) });
}

// The attempt that goes on at this page, or an empty text.
export const attemptThatGoesOn = () => held.keys().next().value ?? "";

// A worker was started anew: it is told what is kept, and last which attempt it goes on with.
export async function recordsAgain() {
  await working;
  await sendAll(profile);
}

// Answers when the worker has it, or else after a while: then the part that shows records says why it cannot be.
export function resumeAgain() {
  const id = attemptThatGoesOn();
  if (id === "") return Promise.resolve();
  post({ type: "records", kind: "resume", text: JSON.stringify({ id }) });
  return new Promise((resolve) => {
    takenUp = (taken) => { if (taken === id) resolve(); };
    setTimeout(resolve, RESUMED_WITHIN_MS);
  });
}

export async function acceptRecords(send, appVersion) {
  post = send;
  version = appVersion;
  document.addEventListener("bandbench:export-records", () => {
    exportRecords().catch((error) => {
      console.info(`No export: ${error?.name}: ${error?.message}`);
      tell("records-told", { word: "not_exported" });
    });
  });
  document.addEventListener("bandbench:records-file", ({ detail }) => readFile(detail.file));
  addEventListener("beforeunload", (event) => {
    // Only where leaving loses something, and it has not been exported; a learning system keeps the lesson that goes on.
    if (document.body.dataset.visit === "open") return;
    if (storage.state === "memory" && unwritten.length > 0 && sinceExport) event.preventDefault();
  });
  await opening;
  await sendAll("");
}
