// When the worker dies: what is done about it, and what the page says of that.
//
// A worker that has died is started anew without loading the page, and goes on with the attempt as it was kept. One
// that dies again and again is left alone until the learner asks. One that is silent may only be busy: for some time
// it is the learner's choice.

import { hideTrouble, showTrouble } from "./loading.mjs";

// So many deaths within so long are no accident any more.
const MOST_DEATHS = 3;
const WITHIN_MS = 60_000;
// The bench may be busy for so long before it is given up.
const GIVEN_UP_AFTER_MS = 60_000;
// What a fresh worker can mend; what else there is, it would meet again.
const MENDED = new Set(["bench", "worker", "memory", "silent"]);

const element = (id) => document.getElementById(id);

let deaths = [];
let start = () => {};
let mending = false;
let before = { kind: "", detail: "" };

// `startWorker` starts a worker in the place of the one that has died.
export function mendWith(startWorker) {
  start = startWorker;
}

// Whether a worker is being started in the place of one that has died.
export const isMending = () => mending;

// To be called when a worker has died and is stopped; `whole`: whether the bench had ever been ready for use.
export function workerDied(kind, detail, whole) {
  const now = performance.now();
  deaths = [...deaths.filter((at) => now - at < WITHIN_MS), now];
  const again = mending;
  mending = false;
  setUsable(false);
  if (!whole || !(MENDED.has(kind) || again)) {
    showTrouble(kind, detail);
    return;
  }
  // What goes wrong while the bench is started anew is told with what went wrong before.
  before = { kind: MENDED.has(kind) ? kind : "worker", detail: again && before.detail !== detail ? `${detail}\n\n${before.detail}` : detail };
  if (deaths.length >= MOST_DEATHS || !MENDED.has(kind)) {
    showTrouble(MENDED.has(kind) ? "repeated" : kind, before.detail, { count: deaths.length }, { restart: true });
    return;
  }
  startAgain();
}

function startAgain() {
  mending = true;
  showTrouble(`${before.kind}_mending`, before.detail, {}, { state: "mending" });
  start();
}

// To be called when the bench is ready for use again, with what goes on: "attempt" or "".
export function benchMended(goesOn) {
  mending = false;
  setUsable(true);
  showTrouble(goesOn ? "mended_attempt" : "mended", before.detail, {}, { state: "running", away: true });
}

// To be called while no message comes from the worker.
export function workerSilent(silentMs, giveUp) {
  if (silentMs > GIVEN_UP_AFTER_MS) {
    giveUp();
    return;
  }
  showTrouble("silent", `No message for ${Math.round(silentMs)} ms.`, { seconds: Math.round(silentMs / 1000) }, { state: "silent", restart: true });
}

// What is drawn is the last that the dead worker made: nothing can be done with it.
function setUsable(usable) {
  document.querySelector("main").inert = !usable;
}

export function acceptRestart(giveUp) {
  element("trouble-restart").addEventListener("click", () => {
    // Whoever asks for it may: from now on it is counted anew.
    deaths = [];
    if (document.body.dataset.state === "silent") giveUp();
    else startAgain();
  });
  element("trouble-away").addEventListener("click", () => {
    hideTrouble();
    element("lesson").focus();
  });
}
