// The page: starts the worker, shows its progress, its parts and its pictures, and says so when something fails.

import { acceptConsole, consoleAgain, tellConsole } from "./classroom.mjs";
import { callHelper, dismissHelper } from "./helper.mjs";
import { offerLanguages, spoken, textsAddress } from "./language.mjs";
import { hideTrouble, showProgress, showRunning } from "./loading.mjs";
import { keepCopy } from "./offline.mjs";
import { applyPatch, build, clear, detach, onIdle } from "./panels.mjs";
import { acceptPictures, draw } from "./pictures.mjs";
import { acceptRecords, attemptThatGoesOn, keepRecords, recordsAgain, resumeAgain } from "./records.mjs";
import { acceptRestart, benchMended, isMending, mendWith, workerDied, workerSilent } from "./recovery.mjs";
import { acceptScorm, openScorm, scormAgain } from "./scorm.mjs";
import { acceptSound, heard, playSound, soundAgain } from "./sound.mjs";
import { acceptStatements, launchAgain } from "./statements.mjs";
import "./theme.mjs";
import { say } from "./words.mjs";

const parts = JSON.parse(document.getElementById("site-parts").textContent);
const ANSWER_EVERY_MS = 5000;
const SILENT_AFTER_MS = 20000;
// The copy for use without a network is made when the bench has come to rest.
const KEEP_AFTER_MS = 3000;

// What tests and the benchmark read; nothing in the page depends on it.
const statistics = { frames: 0, helped: 0, dropped: 0, seq: 0, revision: 0, firstPictureMs: null, runningMs: null };
globalThis.bandbench = { statistics, heard };

// In a package for a learning system: which one, and which lesson is inside alone.
const { kind: packaged = "", lesson: only = "" } = parts.package ?? {};
const visit = packaged === "scorm" ? openScorm(only) : null;

let worker = null;
let lastAnswer = performance.now();
let pending = [];

// What is sent while there is no worker has nowhere to go: the page shows then that the bench has stopped.
const post = (message, transfer = []) => worker?.postMessage(message, transfer);

let stopped = false;

function fail(kind, detail) {
  if (stopped) return;
  stopped = true;
  worker?.terminate();
  worker = null;
  dismissHelper();
  pending = [];
  built = pictured = false;
  detach();
  workerDied(kind, detail, wasWhole);
}

// The bench is whole with its picture and its controls; either may come first.
let built = false;
let pictured = false;
let resumed = Promise.resolve();
let wasWhole = false;
function runWhenWhole() {
  if (!built || !pictured) return;
  if (!wasWhole) {
    statistics.runningMs = performance.now();
    setTimeout(() => keepCopy({ build: parts.build, packaged: packaged !== "" }), KEEP_AFTER_MS);
  }
  wasWhole = true;
  showRunning();
  if (!isMending()) return;
  const own = worker;
  // Until the lesson is there again, nothing else is begun.
  resumed.then(() => { if (own === worker && isMending()) benchMended(attemptThatGoesOn() ? "attempt" : ""); });
}

// Two of a moving picture that arrive together are drawn one after the other. Where more are waiting, or the newest shows
// what a control has changed since, it is drawn at once.
const MOST_WAITING = 2;

function drawPending() {
  // The worker that made them has stopped meanwhile.
  if (pending.length === 0) return;
  const [oldest, newer] = [pending[0], pending.at(-1)];
  const skip = pending.length > MOST_WAITING || newer.revision > oldest.revision;
  const latest = skip ? newer : oldest;
  statistics.dropped += skip ? pending.length - 1 : 0;
  pending = skip ? [] : pending.slice(1);
  if (pending.length > 0) requestAnimationFrame(drawPending);
  for (const image of latest.images) draw(image);
  statistics.frames += 1;
  statistics.helped += latest.helped ? 1 : 0;
  statistics.seq = latest.seq;
  statistics.revision = latest.revision;
  if (!pictured) {
    pictured = true;
    statistics.firstPictureMs ??= performance.now();
    document.getElementById("picture-still").hidden = true;
    runWhenWhole();
  }
  document.dispatchEvent(new CustomEvent("bandbench:frame", { detail: { revision: latest.revision } }));
  post({ type: "ack", seq: latest.seq });
}

// Bokeh's and Panel's scripts come after this one; they have run when the document is complete.
const scriptsReady = new Promise((resolve) => {
  if (document.readyState === "complete") resolve();
  else addEventListener("load", resolve, { once: true });
});

// For the first worker.
function begin() {
  acceptPictures(post);
  acceptSound(post);
  acceptConsole(post);
  acceptRecords(post, parts.version)
    .then(() => acceptStatements(post, parts.statements))
    .catch((error) => fail("bench", `records: ${error.stack ?? error}`));
  if (visit !== null) acceptScorm(post, visit.said);
}

// For a worker in the place of one that has died: what it has to know, and last which attempt goes on.
async function goOnWith() {
  soundAgain();
  consoleAgain();
  await recordsAgain();
  if (visit !== null) scormAgain(visit.said);
  launchAgain();
  resumed = resumeAgain();
}

// What only the views need is fetched once the recorder is here, while Python starts.
let suppliedWorker = null;
async function sendViews() {
  suppliedWorker = worker;
  const path = parts.archives.views;
  try {
    const response = await fetch(path);
    if (!response.ok) throw new Error(`the server answered ${response.status} ${response.statusText}`);
    const unpacked = response.body.pipeThrough(new DecompressionStream("gzip"));
    const archive = await new Response(unpacked).arrayBuffer();
    post({ type: "views", archive }, [archive]);
  } catch (error) {
    fail("network", `${path}: ${error.message}`);
  }
}

// Of two workers each may overtake the other: a frame waits for the one that belongs before it, and what comes too late
// is left out.
let newest = 0;
let waiting = [];
function takeFrame(message) {
  // What a worker in the place of another shows before it knows where things stand is not what was on the screen.
  if (wasWhole && message.seq === 0) return;
  if (message.seq < newest) {
    statistics.dropped += 1;
    return;
  }
  if (message.after > newest) {
    waiting.push(message);
    return;
  }
  newest = message.seq;
  if (pending.push(message) === 1) requestAnimationFrame(drawPending);
  letGo();
}

// Takes those that have waited for what is here now, or for nothing any more.
function letGo(all = false) {
  const [next] = waiting;
  if (next === undefined || !(all || next.after <= newest)) return;
  waiting.shift();
  takeFrame({ ...next, after: 0 });
  letGo(all);
}

const handlers = {
  progress: (message) => {
    showProgress(message);
    if (message.index > 0 && suppliedWorker !== worker) sendViews();
  },
  document: async (message) => {
    await scriptsReady;
    clear();
    await build(message, post);
    post({ type: "built" });
    if (wasWhole) await goOnWith();
    else begin();
    built = true;
    runWhenWhole();
  },
  patch: applyPatch,
  idle: onIdle,
  frame: takeFrame,
  help: ({ wanted }) => {
    const start = () => moduleWorker(address(`${parts.page}/maker.mjs`));
    const gone = () => {
      letGo(true);
      post({ type: "helper_gone" });
    };
    if (wanted) callHelper({ config: pythonParts(), start, tell: post, draw: (frame) => takeFrame({ ...frame, helped: true }), gone });
    else if (dismissHelper()) gone();
  },
  sound: playSound,
  records: keepRecords,
  console: tellConsole,
  answer: () => {},
  failed: ({ kind, detail }) => fail(kind, detail),
};

async function onMessage({ data, target }) {
  // The last words of one that was stopped.
  if (target !== worker) return;
  lastAnswer = performance.now();
  if (document.body.dataset.state === "silent") hideTrouble();
  try {
    await handlers[data.type](data);
  } catch (error) {
    fail("bench", `${data.type}: ${error.stack ?? error}`);
    throw error;
  }
}

function watch() {
  let asked = performance.now();
  setInterval(() => {
    const now = performance.now();
    // After the machine slept, or while the page was hidden and its timers slowed, the worker first gets its chance.
    if (now - asked > 3 * ANSWER_EVERY_MS) lastAnswer = now;
    asked = now;
    if (worker === null || !built) return;
    post({ type: "ask" });
    const silentMs = now - lastAnswer;
    if (silentMs > SILENT_AFTER_MS) workerSilent(silentMs, giveUp);
  }, ANSWER_EVERY_MS);
}

function giveUp() {
  fail("silent", `No message for ${Math.round(performance.now() - lastAnswer)} ms.`);
}

// Starts a module worker; null where the browser would take it for a classic one.
function moduleWorker(address) {
  let understood = false;
  const options = {
    get type() {
      understood = true;
      return "module";
    },
  };
  const started = new Worker(address, options);
  if (understood) return started;
  started.terminate();
  return null;
}

addEventListener("error", ({ target }) => {
  if (target instanceof HTMLScriptElement) fail("network", target.src);
}, { capture: true });

const address = (path) => new URL(path, document.baseURI).href;

// What any worker needs to start Python.
const pythonParts = () => ({
  pyodide: address(`${parts.pyodide}/`),
  archives: { recorder: address(parts.archives.recorder) },
  lock_info: parts.lock_info,
});

function startWorker() {
  newest = 0;
  waiting = [];
  worker = moduleWorker(address(`${parts.page}/worker.mjs`));
  if (worker === null) {
    fail("browser", say("browser.workers"));
    return;
  }
  stopped = false;
  lastAnswer = performance.now();
  const own = worker;
  worker.addEventListener("message", onMessage);
  worker.addEventListener("messageerror", () => fail("worker", "A message of the worker could not be read."));
  worker.addEventListener("error", (event) => {
    event.preventDefault();
    if (own !== worker) return;
    // Without a message the script itself could not be fetched.
    fail(event.message ? "worker" : "network", event.message || `${parts.page}/worker.mjs`);
  });
  post({
    type: "start",
    ...pythonParts(),
    panel: address(`${parts.panel}/`),
    sizes: parts.sizes,
    lesson: visit?.lesson ?? only,
    language: spoken,
    texts: textsAddress && address(textsAddress),
  });
}

function start() {
  document.getElementById("not-started").remove();
  if (globalThis.origin === "null") {
    fail("sandbox", "self.origin is null");
    return;
  }
  if (typeof WebAssembly !== "object") {
    fail("browser", say("browser.webassembly"));
    return;
  }
  startWorker();
  mendWith(startWorker);
  acceptRestart(giveUp);
  watch();
}

// A learning system lets a visit begin once, so it alone says in which language.
if (packaged === "") offerLanguages(document.getElementById("language-field"), document.getElementById("language"), attemptThatGoesOn);
start();
