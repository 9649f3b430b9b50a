// The page: starts the worker, shows its progress, its parts and its pictures, and says so when something fails.

import { acceptConsole, tellConsole } from "./classroom.mjs";
import { offerLanguages, spoken, textsAddress } from "./language.mjs";
import { hideTrouble, showProgress, showRunning, showTrouble } from "./loading.mjs";
import { applyPatch, build, onIdle } from "./panels.mjs";
import { acceptPictures, draw } from "./pictures.mjs";
import { acceptRecords, keepRecords } from "./records.mjs";
import { acceptScorm, openScorm } from "./scorm.mjs";
import { acceptSound, heard, playSound } from "./sound.mjs";
import { acceptStatements } from "./statements.mjs";
import { say } from "./words.mjs";

const parts = JSON.parse(document.getElementById("site-parts").textContent);
const ANSWER_EVERY_MS = 5000;
const SILENT_AFTER_MS = 20000;

// What tests and the benchmark read; nothing in the page depends on it.
const statistics = { frames: 0, dropped: 0, revision: 0, firstPictureMs: null, runningMs: null };
globalThis.bandbench = { statistics, heard };

// In a package for a learning system: which one, and which lesson is inside alone.
const { kind: packaged = "", lesson: only = "" } = parts.package ?? {};
const visit = packaged === "scorm" ? openScorm(only) : null;

let worker = null;
let failed = false;
let lastAnswer = performance.now();
let pending = [];

const post = (message, transfer = []) => worker.postMessage(message, transfer);

function fail(kind, detail) {
  if (failed) return;
  failed = true;
  worker?.terminate();
  showTrouble(kind, detail);
}

// The bench is whole with its picture and its controls; either may come first.
let built = false;
function runWhenWhole() {
  if (!built || statistics.firstPictureMs === null) return;
  statistics.runningMs = performance.now();
  showRunning();
}

function drawPending() {
  const frames = pending;
  pending = [];
  const latest = frames.at(-1);
  for (const image of latest.images) draw(image);
  statistics.frames += 1;
  statistics.dropped += frames.length - 1;
  statistics.revision = latest.revision;
  if (statistics.firstPictureMs === null) {
    statistics.firstPictureMs = performance.now();
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

const handlers = {
  progress: showProgress,
  document: async (message) => {
    await scriptsReady;
    await build(message, post);
    post({ type: "built" });
    acceptPictures(post);
    acceptSound(post);
    acceptConsole(post);
    acceptRecords(post, parts.version)
      .then(() => acceptStatements(post, parts.statements))
      .catch((error) => fail("bench", `records: ${error.stack ?? error}`));
    if (visit !== null) acceptScorm(post, visit.said);
    built = true;
    runWhenWhole();
  },
  patch: applyPatch,
  idle: onIdle,
  frame: (message) => {
    if (pending.push(message) === 1) requestAnimationFrame(drawPending);
  },
  sound: playSound,
  records: keepRecords,
  console: tellConsole,
  answer: () => {},
  failed: ({ kind, detail }) => fail(kind, detail),
};

async function onMessage({ data }) {
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
    if (failed || document.body.dataset.state === "loading") return;
    post({ type: "ask" });
    const silentMs = now - lastAnswer;
    if (silentMs > SILENT_AFTER_MS) {
      showTrouble("silent", `No message since ${Math.round(lastAnswer)} ms.`, { seconds: Math.round(silentMs / 1000) });
    }
  }, ANSWER_EVERY_MS);
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

function start() {
  const address = (path) => new URL(path, document.baseURI).href;
  document.getElementById("not-started").remove();
  if (globalThis.origin === "null") {
    fail("sandbox", "self.origin is null");
    return;
  }
  if (typeof WebAssembly !== "object") {
    fail("browser", say("browser.webassembly"));
    return;
  }
  worker = moduleWorker(address(`${parts.page}/worker.mjs`));
  if (worker === null) {
    fail("browser", say("browser.workers"));
    return;
  }
  worker.addEventListener("message", onMessage);
  worker.addEventListener("messageerror", () => fail("worker", "A message of the worker could not be read."));
  worker.addEventListener("error", (event) => {
    event.preventDefault();
    // Without a message the script itself could not be fetched.
    fail(event.message ? "worker" : "network", event.message || `${parts.page}/worker.mjs`);
  });
  post({
    type: "start",
    pyodide: address(`${parts.pyodide}/`),
    archive: address(parts.archive),
    panel: address(`${parts.panel}/`),
    sizes: parts.sizes,
    lock_info: parts.lock_info,
    lesson: visit?.lesson ?? only,
    language: spoken,
    texts: textsAddress && address(textsAddress),
  });
  watch();
}

// A learning system lets a visit begin once, so it alone says in which language.
if (packaged === "") offerLanguages(document.getElementById("language-field"), document.getElementById("language"));
start();
