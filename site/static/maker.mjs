// The picture worker: makes pictures that the bench's worker orders, on another processor (see runtime/maker.py).

import { fetchArchive, startPython } from "./python.mjs";

const post = (message, transfer = []) => self.postMessage(message, transfer);
const tellFailure = (error) => post({ type: "failed", detail: `${error?.stack ?? error}` });

async function start(config) {
  const { pyodide } = await startPython({ ...config, archive: fetchArchive(config.archives.recorder) });
  // For the tests and the benchmark: nothing in the site uses it.
  self.bandbench = { pyodide };
  const maker = pyodide.pyimport("bandbench.runtime.maker").start(post);
  config.port.onmessage = ({ data }) => {
    try {
      maker.make(data.seq, data.revision, data.pickled, data.buffers.map((buffer) => new Uint8Array(buffer)));
    } catch (error) {
      tellFailure(error);
      return;
    }
    config.port.postMessage({ type: "made" });
  };
  config.port.postMessage({ type: "ready" });
}

self.onmessage = ({ data }) => start(data).catch(tellFailure);
self.addEventListener("unhandledrejection", (event) => {
  event.preventDefault();
  tellFailure(event.reason);
});
