// The picture worker as the page sees it: started when the bench asks for it, and never missed when it cannot be had.

// One processor for the page, one for the bench: a third party would only be in their way.
const LEAST_PROCESSORS = 2;

let worker = null;

// `start()` starts its script; `tell` sends the bench's worker a message; `draw` takes a frame; `gone` is called when the
// bench has to go on alone.
export function callHelper({ config, start, tell, draw, gone }) {
  if (worker !== null || (navigator.hardwareConcurrency ?? 1) < LEAST_PROCESSORS) return;
  const own = start();
  if (own === null) return;
  worker = own;
  const { port1, port2 } = new MessageChannel();
  own.addEventListener("message", ({ data }) => {
    if (own !== worker) return;
    if (data.type === "frame") draw(data);
    else lose(data.detail);
  });
  own.addEventListener("error", (event) => {
    event.preventDefault();
    if (own === worker) lose(event.message || "the picture worker could not be fetched");
  });
  tell({ type: "helper", port: port1 }, [port1]);
  own.postMessage({ ...config, port: port2 }, [port2]);

  function lose(detail) {
    console.info(`The picture worker has stopped: ${detail}`);
    dismissHelper();
    gone();
  }
}

// Tells whether there was one.
export function dismissHelper() {
  const there = worker !== null;
  worker?.terminate();
  worker = null;
  return there;
}
