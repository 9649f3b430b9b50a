// The module worker: fetches and starts Python, then passes messages between it and the page.

import { fetchArchive, startPython, writeArchive } from "./python.mjs";

const STEPS = ["download", "python", "bench", "libraries", "page"];

const post = (message, transfer = []) => self.postMessage(message, transfer);
const progress = (step, counts = {}) => post({ type: "progress", step, index: STEPS.indexOf(step), total: STEPS.length, ...counts });

let bench = null;
const early = [];
// What only the views need: the page fetches it meanwhile, for nothing can arrive here while Python computes.
let viewsArrived;
const views = new Promise((resolve) => { viewsArrived = resolve; });

// Tells the page how much of the download has arrived. `sizes` has each file's size as it is sent.
function downloadCounter(sizes) {
  const size = Object.values(sizes).reduce((sum, one) => sum + one, 0);
  const arrived = {};
  let shown = -1;
  let done = false;
  const note = (name, bytes) => {
    arrived[name] = Math.min(sizes[name] ?? 0, bytes);
    const loaded = Object.values(arrived).reduce((sum, one) => sum + one, 0);
    if (done || (loaded - shown < size / 200 && loaded < size)) return;
    shown = loaded;
    progress("download", { loaded, size });
  };
  // The runtime must reach the browser's compiler untouched, or the browser would not keep what it compiled for the
  // next visit: it counts when it is complete.
  new PerformanceObserver((list) => {
    for (const entry of list.getEntries()) {
      const name = nameOf(entry.name);
      if (name in sizes) note(name, sizes[name]);
    }
  }).observe({ type: "resource", buffered: true });
  note("", 0);
  return { note, finish: () => { done = true; } };
}

const nameOf = (address) => new URL(address).pathname.split("/").at(-1);

// Pyodide passes over a part that it cannot fetch, or waits for it for ever: every failure is told at once. A response
// goes on untouched (see downloadCounter).
const plainFetch = self.fetch;
self.fetch = async (address, options) => {
  const failed = (why) => post({ type: "failed", kind: "network", detail: `${address}: ${why}` });
  try {
    const response = await plainFetch(address, options);
    if (!response.ok) failed(`the server answered ${response.status} ${response.statusText}`);
    return response;
  } catch (error) {
    failed(error.message);
    throw error;
  }
};

async function start(config) {
  const download = downloadCounter(config.sizes);
  const archive = fetchArchive(config.archives.recorder, download.note);
  archive.catch(() => {});
  // The texts of another language than English (see bench/languages.py).
  const texts = config.texts === null ? null : fetch(config.texts).then((response) => response.text());
  texts?.catch(() => {});
  const { pyodide, sitePackages } = await startPython({
    ...config,
    archive,
    begins: () => {
      download.finish();
      progress("python");
    },
    env: {
      PANEL_CDN_ROOT: config.panel,
      BANDBENCH_LANGUAGE: config.language,
      // Panel asks models for attributes they lack, at every update; a search for similar names takes 7 ms each time.
      BOKEH_PERFORM_ERROR_DIAGNOSTICS: "no",
      BOKEH_VALIDATE_DOC: "no",
    },
    // Before anything is imported: names in declarations are said as their modules are.
    more: async (FS, packages) => {
      if (texts === null) return;
      FS.mkdirTree(`${packages}/words`);
      FS.writeFile(`${packages}/words/${config.language}.json`, await texts);
    },
  });
  // For the tests and the benchmark: nothing in the site uses it.
  self.bandbench = { pyodide };
  progress("bench");
  const send = (message, transfer) => post(message, transfer);
  const recorder = pyodide.pyimport("bandbench.runtime.first").show_first_picture(send);
  progress("libraries");
  writeArchive(pyodide.FS, sitePackages, await views);
  pyodide.pyimport("importlib").invalidate_caches();
  pyodide.pyimport("bandbench.runtime.panel_glue");
  progress("page");
  bench = pyodide.pyimport("bandbench.runtime.worker").start(send, config.lesson, recorder);
  self.bandbench.bench = bench;
  bench.show();
  for (const message of early.splice(0)) await handle(message);
}

async function handle(message) {
  switch (message.type) {
    case "patch": bench.patch(message.patch); break;
    case "ack": bench.acknowledge(message.seq); break;
    case "built": bench.run(); break;
    case "picture_file": bench.picture_file(message.name, message.height, message.width, new Uint8Array(message.data)); break;
    case "microphone": bench.microphone(new Float32Array(message.data)); break;
    case "records": bench.records(message.kind, message.text); break;
    case "console": bench.console(message.text); break;
    case "helper": acceptHelper(message.port); break;
    case "helper_gone": bench.help(); break;
    case "ask":
      // A loop that has ended without a word would never be missed here.
      if (bench.alive) post({ type: "answer" });
      break;
  }
}

// The picture worker says here when it is ready and when it has made a picture, which it gives to the page.
function acceptHelper(port) {
  port.onmessage = ({ data }) => {
    if (data.type === "ready") bench.help((message, transfer = []) => port.postMessage(message, transfer));
    else bench.picture_made();
  };
}

self.onmessage = async ({ data }) => {
  const starting = data.type === "start";
  try {
    if (starting) await start(data);
    else if (data.type === "views") viewsArrived(new Uint8Array(data.archive));
    else if (bench === null) early.push(data);
    else await handle(data);
  } catch (error) {
    tellFailure(error, starting ? "python" : "bench");
  }
};

// A module that cannot be fetched is told by text alone; browsers agree on these words. Those of memory differ.
function tellFailure(error, otherwise) {
  const said = `${error?.message ?? error}`;
  const kind = /dynamically imported module/.test(said) ? "network"
    : /MemoryError|out of memory|allocation failed|could not allocate/i.test(said) ? "memory" : otherwise;
  post({ type: "failed", kind, detail: `${error?.stack ?? error}` });
}

// What goes wrong where nobody waits for it, as in Python's own tasks.
self.addEventListener("unhandledrejection", (event) => {
  event.preventDefault();
  tellFailure(event.reason, bench === null ? "python" : "bench");
});
