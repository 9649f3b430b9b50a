// What the page shows while the bench loads, and when something goes wrong.

import { recordsKept } from "./records.mjs";
import { say } from "./words.mjs";

const element = (id) => document.getElementById(id);
const megabytes = (bytes) => (bytes / 1e6).toFixed(1);

let benchStarted = false;

// A step is one of a known number; within the download the bytes count, so the bar moves with what really arrives.
export function showProgress({ step, index, total, loaded = 0, size = 0 }) {
  const within = size > 0 ? loaded / size : 0;
  const bar = element("loading-bar");
  bar.max = total;
  bar.value = index + within;
  const label = say(`step.${step}`, { loaded: megabytes(loaded), size: megabytes(size) });
  const text = say("step.position", { index: index + 1, total, label });
  if (element("loading-step").textContent !== text) element("loading-step").textContent = text;
  // A bench that is started anew is not waited for with an empty page: the notice says how far it is.
  if (document.body.dataset.state === "mending") element("trouble-action").textContent = text;
}

export function showRunning() {
  benchStarted = true;
  document.body.dataset.begun = "true";
  document.body.dataset.state = "running";
  element("loading").hidden = true;
}

// kind: a key of words.mjs ("network", "python", ...); detail: technical text for a report; `state`: that of the page;
// `restart`, `away`: whether the bench can be started anew, or the notice put away.
export function showTrouble(kind, detail, values = {}, { state = "failed", restart = false, away = false } = {}) {
  document.body.dataset.state = state;
  element("loading").hidden = true;
  element("trouble-title").textContent = say(`${kind}.title`, values);
  const records = recordsKept();
  element("trouble-kept").textContent = say(!benchStarted ? "kept.nothing" : `kept.${records || "attempt"}`);
  element("trouble-kept").hidden = away;
  element("trouble-export").hidden = records === "" || away;
  element("trouble-action").textContent = say(`${kind}.action`, values);
  element("trouble-restart").hidden = !restart;
  element("trouble-away").hidden = !away;
  element("trouble-reload").hidden = away;
  element("trouble-detail").textContent = detail;
  element("trouble").hidden = false;
}

export function hideTrouble() {
  element("trouble").hidden = true;
  document.body.dataset.state = "running";
}

element("trouble-export").addEventListener("click", () => document.dispatchEvent(new CustomEvent("bandbench:export-records")));
element("trouble-reload").addEventListener("click", () => location.reload());
