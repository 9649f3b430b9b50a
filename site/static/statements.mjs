// Statements of what is done (xAPI): kept with the records, and sent to the one place that may have them, if any.
//
// Python (bench/trail.py) makes them, each under an id that is always the same for the same event, so that nothing
// counts twice however often it is sent. The part "reporting" (bench/reporting.mjs) asks by events on the document and
// is told by events how sending stands. Without an address that this site was built for, or a launch by a learning
// system, nothing is ever sent.

import { LaunchFailure, takenLaunch } from "./cmi5.mjs";
import { statementStore } from "./records.mjs";

const MOST_AT_ONCE = 25;
// Browsers finish requests of a page that is left only up to 64 KiB.
const LARGEST_AT_ONCE = 48_000;
const FIRST_PAUSE_MS = 1000;
const LONGEST_PAUSE_MS = 300_000;
const SETTINGS = "bandbench-endpoint";

let post = null;
let config = { origin: "", endpoint: "", cmi5: false };
// Where to: { endpoint, version, authorisation, session }. The authorisation is nowhere else.
let target = null;
let launch = { state: "", code: "", detail: "", returnAddress: "" };
const rows = new Map();
let trouble = { code: "", detail: "", seconds: 0 };
let failures = 0;
let timer = 0;
let busy = null;
let launched = null;
let closing = { rows: [], openedMs: 0 };
let ended = false;
// Whether the learner has asked to go back to the learning system.
let leaving = false;

// In order of what happened: statements carry their time, and a place for what happened at once.
const inOrder = (one, other) =>
  (one.statement.timestamp < other.statement.timestamp ? -1 : one.statement.timestamp > other.statement.timestamp ? 1 : one.place - other.place);
const waiting = () => [...rows.values()].filter((row) => row.state === "waiting" && row.session === (target?.session ?? "")).sort(inOrder);

function settings() {
  try {
    return JSON.parse(localStorage.getItem(SETTINGS)) ?? {};
  } catch {
    return {};
  }
}

function tell() {
  const states = { waiting: 0, sent: 0, refused: 0 };
  for (const row of rows.values()) states[row.state] += 1;
  const refused = [...rows.values()].filter((row) => row.state === "refused").map((row) => row.reason);
  const kept = settings();
  document.dispatchEvent(new CustomEvent("bandbench:reporting", { detail: {
    kept: rows.size,
    sent: states.sent,
    refused,
    waiting: waiting().length,
    // Of launches that are over: their authorisation is gone, and nobody takes them any more.
    stranded: [...rows.values()].filter((row) => row.state === "waiting" && row.session !== "" && row.session !== target?.session).length,
    open: config.origin !== "",
    origin: config.origin,
    endpoint: target?.endpoint ?? kept.endpoint ?? config.endpoint,
    version: target?.version ?? kept.version ?? "1.0.3",
    sending: target !== null,
    busy: busy !== null,
    offline: !navigator.onLine,
    trouble,
    launch,
    ended,
  } }));
}

// Sending -------------------------------------------------------------------------------------------------------------

// As many of the first rows as one request takes.
function batchOf(all, most) {
  const batch = [];
  let size = 2;
  for (const row of all.slice(0, most)) {
    const length = new TextEncoder().encode(JSON.stringify(row.statement)).length + 1;
    if (batch.length > 0 && size + length > LARGEST_AT_ONCE) break;
    batch.push(row);
    size += length;
  }
  return batch;
}

function deliver(batch) {
  const body = JSON.stringify(batch.map((row) => row.statement));
  return fetch(`${target.endpoint}statements`, {
    method: "POST",
    headers: {
      Authorization: target.authorisation,
      "Content-Type": "application/json",
      "X-Experience-API-Version": target.version,
    },
    body,
    // Goes on when the page is left.
    keepalive: body.length < 60_000,
    credentials: "omit",
    cache: "no-store",
    referrerPolicy: "no-referrer",
  });
}

async function mark(batch, state, reason = "") {
  const changed = batch.map((row) => ({ ...row, state, reason }));
  for (const row of changed) if (rows.has(row.id)) rows.set(row.id, row);
  await statementStore.put(changed.filter((row) => rows.has(row.id)));
}

function again(code, detail, askedS) {
  failures += 1;
  const pause = Math.max(Math.min(FIRST_PAUSE_MS * 2 ** (failures - 1), LONGEST_PAUSE_MS), 1000 * Math.min(askedS, 3600));
  trouble = { code, detail, seconds: Math.ceil(pause / 1000) };
  clearTimeout(timer);
  timer = setTimeout(send, pause);
  return "later";
}

// Sends one batch and says how to go on: "next", "single" (one of them is not accepted), "later" or "never".
async function attempt(batch) {
  let response;
  try {
    response = await deliver(batch);
  } catch (error) {
    return again("unreachable", error.message, 0);
  }
  const detail = `${response.status} ${response.statusText}`.trim();
  if (response.ok) {
    failures = 0;
    trouble = { code: "", detail: "", seconds: 0 };
    await mark(batch, "sent");
    return "next";
  }
  switch (response.status) {
    case 401: case 403:
      trouble = { code: "unauthorised", detail, seconds: 0 };
      return "never";
    case 408: case 429:
      return again("busy", detail, Number(response.headers.get("Retry-After")) || 0);
    // Another statement with this id is there: what was done has been told. Of several, each is tried for itself.
    case 409:
      if (batch.length > 1) return "single";
      await mark(batch, "sent");
      return "next";
    case 400: case 413: case 422: {
      if (batch.length > 1) return "single";
      const said = (await response.text().catch(() => "")).slice(0, 500);
      await mark(batch, "refused", `${batch[0].id}: ${detail} ${said}`.trim());
      return "next";
    }
    default:
      if (response.status >= 500) return again("busy", detail, Number(response.headers.get("Retry-After")) || 0);
      trouble = { code: "foreign", detail, seconds: 0 };
      return "never";
  }
}

async function sendAll() {
  let most = MOST_AT_ONCE;
  while (target !== null) {
    const batch = batchOf(waiting(), most);
    if (batch.length === 0) return;
    const next = await attempt(batch);
    tell();
    if (next === "later" || next === "never") return;
    // One after the other past the one that is not accepted, then together again.
    most = next === "single" ? 1 : MOST_AT_ONCE;
  }
}

// Sends what waits, in order, one request after the other.
function send() {
  clearTimeout(timer);
  if (target === null || waiting().length === 0) return Promise.resolve();
  busy ??= sendAll()
    .catch((error) => console.info(`Statements not sent: ${error?.name}: ${error?.message}`))
    .finally(() => {
      busy = null;
      tell();
      goBack();
      // What came while the last request was under way.
      if (trouble.code === "" && waiting().length > 0) send();
    });
  return busy;
}

function take(row) {
  rows.set(row.id, row);
  tell();
  send();
}

// The end of a launched session ----------------------------------------------------------------------------------------

// What ends the session, with the time it is now.
function closingRows() {
  const now = new Date();
  const seconds = Math.max(0, now.getTime() - closing.openedMs) / 1000;
  return closing.rows.map((row, place) => {
    if (place < closing.rows.length - 1) return row;
    const statement = { ...row.statement, timestamp: now.toISOString(), result: { ...row.statement.result, duration: `PT${Number(seconds.toFixed(2))}S` } };
    return { ...row, statement };
  });
}

function close() {
  if (ended || launch.state !== "open" || closing.rows.length === 0) return;
  ended = true;
  for (const row of closingRows()) rows.set(row.id, row);
}

async function finish() {
  close();
  leaving = true;
  await statementStore.put(closingRows()).catch(() => {});
  await send();
  tell();
  goBack();
}

// Back to the learning system once everything is told, however long that takes, or as soon as the learner says so.
function goBack(all = true) {
  if (leaving && launch.returnAddress && !(all && waiting().length > 0)) location.assign(launch.returnAddress);
}

// What the part and the browser ask ------------------------------------------------------------------------------------

function useEndpoint({ endpoint, version, user, secret }) {
  let url = null;
  try {
    url = new URL(endpoint.trim());
  } catch { /* Not an address: said below. */ }
  if (url === null || url.origin !== config.origin) {
    document.dispatchEvent(new CustomEvent("bandbench:reporting-told", { detail: { word: "endpoint_not", values: { origin: config.origin } } }));
    return;
  }
  const bytes = new TextEncoder().encode(`${user}:${secret}`);
  target = {
    endpoint: url.href.replace(/\/?$/, "/"),
    version,
    authorisation: `Basic ${btoa(String.fromCharCode(...bytes))}`,
    session: "",
  };
  try {
    localStorage.setItem(SETTINGS, JSON.stringify({ endpoint: target.endpoint, version }));
  } catch { /* It is asked for again next time. */ }
  trouble = { code: "", detail: "", seconds: 0 };
  failures = 0;
  document.dispatchEvent(new CustomEvent("bandbench:reporting-told", { detail: { word: "" } }));
  tell();
  send();
}

async function exportStatements() {
  const learner = await statementStore.learner();
  const own = [...rows.values()].filter((row) => row.profile === learner?.id).sort(inOrder);
  const told = (word, values) => document.dispatchEvent(new CustomEvent("bandbench:reporting-told", { detail: { word, values } }));
  if (own.length === 0) return told("nothing");
  const file = `bandbench-statements-${new Date().toISOString().slice(0, 10)}.json`;
  statementStore.save(file, JSON.stringify(own.map((row) => row.statement), null, 1));
  return told("exported", { file, count: own.length });
}

const wishes = {
  ask: tell,
  away: () => goBack(false),
  use: useEndpoint,
  stop: () => {
    clearTimeout(timer);
    target = null;
    trouble = { code: "", detail: "", seconds: 0 };
    tell();
  },
  export: exportStatements,
};

async function takeLaunch(opening) {
  launch = { ...launch, state: "opening" };
  tell();
  const opened = await opening;
  target = {
    endpoint: opened.endpoint,
    version: opened.version,
    authorisation: opened.authorisation,
    session: opened.message.launch_data.contextTemplate?.extensions?.["https://w3id.org/xapi/cmi5/context/extensions/sessionid"] ?? "",
  };
  launch = { state: "open", code: "", detail: "", returnAddress: opened.returnAddress };
  launched = opened.message;
  post({ type: "records", kind: "launch", text: JSON.stringify(launched) });
}

// The worker was started anew: it is told of the launch once more, with what has been said in it.
export function launchAgain() {
  if (launched === null || ended) return;
  const verbs = new Set([...rows.values()].filter((row) => row.session === target?.session).map((row) => row.statement.verb.id.split("/").at(-1)));
  launched = { ...launched, passed: launched.passed || verbs.has("passed"), completed: launched.completed || verbs.has("completed") };
  post({ type: "records", kind: "launch", text: JSON.stringify(launched) });
}

// A row of the store that is none of ours stays as it is, and is not sent.
function isStatement(row) {
  const { state, statement } = row;
  return ["waiting", "sent", "refused"].includes(state) && typeof statement?.timestamp === "string" && typeof statement.verb?.id === "string";
}

export async function acceptStatements(send_, given) {
  post = send_;
  config = given;
  document.addEventListener("bandbench:reporting-do", ({ detail }) => wishes[detail.do](detail));
  statementStore.added = take;
  statementStore.forgotten = (profile) => {
    for (const [id, row] of rows) if (row.profile === profile) rows.delete(id);
    tell();
  };
  statementStore.asked = {
    closing: (change) => { closing = { rows: change.rows, openedMs: change.opened_ms }; },
    // Not waited for: it keeps rows itself, behind the change that asks for it.
    finish: () => { finish(); },
  };
  for (const row of await statementStore.all()) if (isStatement(row) && !rows.has(row.id)) rows.set(row.id, row);
  addEventListener("online", () => send());
  addEventListener("offline", tell);
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "hidden") send(); });
  addEventListener("pagehide", () => {
    close();
    // There is no time for one after the other: everything that waits, as far as a left page may send.
    const last = batchOf(waiting(), MOST_AT_ONCE);
    if (target !== null && last.length > 0) deliver(last).catch(() => {});
  });
  tell();
  if (!config.cmi5) return;
  try {
    const opening = takenLaunch(config.cmi5);
    if (opening !== null) await takeLaunch(opening);
  } catch (error) {
    if (!(error instanceof LaunchFailure)) throw error;
    launch = { ...launch, state: "failed", code: error.code, detail: error.detail };
  }
  tell();
}
