// The state of this copy of the bench: which version it is, whether the browser keeps it for use without a network, and
// whether a new one is ready. It begins once the bench runs, so that keeping never competes with the start.

import { recordsKept } from "./records.mjs";
import { say } from "./words.mjs";

const ASK_EVERY_MS = 3600_000;
const WRITTEN_WITHIN_MS = 5000;

const element = (id) => document.getElementById(id);
// Told once, politely: the line itself changes too often to be read out.
const announce = (text) => { element("copy-spoken").textContent = text; };

let told = "";
function show(key) {
  const text = say(`copy.${key}`);
  element("copy-state").textContent = text;
  element("copy").dataset.state = key;
  element("copy-update").hidden = key !== "new";
  // Whoever comes again has been told before.
  if ((key === "new" || (key === "kept" && told === "keeping")) && told !== key) announce(text);
  told = key;
}

// Why this page cannot be kept, as a key of the words; "" if it can.
function obstacle(packaged) {
  if (packaged) return "packaged";
  if (window.top !== window) return "frame";
  if (!globalThis.isSecureContext) return "insecure";
  if (!("serviceWorker" in navigator) || !("caches" in globalThis)) return "missing";
  return "";
}

// For as long as this page is open its version stays in the store.
function holdVersion(build) {
  const scope = new URL("./", document.baseURI).pathname;
  navigator.locks?.request(`bandbench-version ${scope} ${build}`, { mode: "shared" }, () => new Promise(() => {}));
}

async function written() {
  const end = performance.now() + WRITTEN_WITHIN_MS;
  while (recordsKept() === "memory" && performance.now() < end) await new Promise((resolve) => { setTimeout(resolve, 50); });
  return recordsKept() !== "memory";
}

// Which version a service worker keeps.
function buildOf(worker) {
  const { port1, port2 } = new MessageChannel();
  return new Promise((resolve) => {
    port1.onmessage = ({ data }) => resolve(data);
    worker.postMessage("build", [port2]);
  });
}

function follow(registration, build) {
  let pressed = false;
  let overtaken = false;
  async function look() {
    const { installing, waiting, active } = registration;
    if (overtaken) show("new");
    else if (waiting !== null) {
      // A page that came from the network may be newer than what was kept: then the new one may take its place.
      if (await buildOf(waiting) === build) waiting.postMessage("take over");
      else show("new");
    } else if (active !== null && await buildOf(active) === build) show("kept");
    else show(installing === null ? "failed" : "keeping");
  }
  const watch = (worker) => worker?.addEventListener("statechange", look);
  registration.addEventListener("updatefound", () => {
    watch(registration.installing);
    look();
  });
  for (const worker of [registration.installing, registration.waiting]) watch(worker);
  look();
  registration.active?.postMessage("tidy");
  navigator.serviceWorker.addEventListener("controllerchange", async () => {
    const { controller } = navigator.serviceWorker;
    if (pressed) location.reload();
    else if (controller !== null) {
      // In another window its user took the new version; this one goes on with the old one.
      overtaken = told === "new" && await buildOf(controller) !== build;
      look();
    }
  });
  element("copy-update").addEventListener("click", async () => {
    element("copy-update").disabled = true;
    if (!await written()) show("memory");
    else if (registration.waiting === null) location.reload();
    else {
      pressed = true;
      registration.waiting.postMessage("take over");
    }
    element("copy-update").disabled = false;
  });
  const ask = () => { if (navigator.onLine) registration.update().catch(() => {}); };
  setInterval(ask, ASK_EVERY_MS);
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") ask(); });
}

export async function keepCopy({ build, packaged }) {
  const why = obstacle(packaged);
  if (why !== "") {
    show(why);
    return;
  }
  holdVersion(build);
  try {
    const registration = await navigator.serviceWorker.register("service-worker.js", { updateViaCache: "none" });
    follow(registration, build);
  } catch (error) {
    console.info(`No copy is kept: ${error?.name}: ${error?.message}`);
    show("refused");
  }
}
