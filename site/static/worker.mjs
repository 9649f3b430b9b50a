// The module worker: fetches and starts Python, then passes messages between it and the page.

const STEPS = ["download", "python", "libraries", "bench", "page"];

const post = (message, transfer = []) => self.postMessage(message, transfer);
const progress = (step, counts = {}) => post({ type: "progress", step, index: STEPS.indexOf(step), total: STEPS.length, ...counts });

class FetchFailed extends Error {}

let bench = null;
const early = [];

// Counts the bytes of several downloads together (as they are after the browser has unpacked them).
function byteCounter(size) {
  let loaded = 0;
  let shown = 0;
  return (bytes) => {
    loaded += bytes;
    if (loaded - shown > size / 200 || loaded >= size) {
      shown = loaded;
      progress("download", { loaded: Math.min(loaded, size), size });
    }
  };
}

async function fetchPart(address) {
  let response;
  try {
    response = await fetch(address);
  } catch (error) {
    throw new FetchFailed(`${address}: ${error.message}`);
  }
  if (!response.ok) throw new FetchFailed(`${address}: the server answered ${response.status} ${response.statusText}`);
  return response;
}

function counted(stream, count) {
  return stream.pipeThrough(new TransformStream({
    transform(chunk, controller) {
      count(chunk.byteLength);
      controller.enqueue(chunk);
    },
  }));
}

async function fetchArchive(address, count) {
  const response = await fetchPart(address);
  const unpacked = counted(response.body, count).pipeThrough(new DecompressionStream("gzip"));
  return new Uint8Array(await new Response(unpacked).arrayBuffer());
}

// The archive's form is told in build_python.py.
function writeArchive(FS, root, archive) {
  const indexLength = new DataView(archive.buffer).getUint32(0, true);
  const index = JSON.parse(new TextDecoder().decode(archive.subarray(4, 4 + indexLength)));
  const made = new Set();
  let offset = 4 + indexLength;
  for (const [path, size] of index) {
    const folder = `${root}/${path.slice(0, Math.max(0, path.lastIndexOf("/")))}`;
    if (!made.has(folder)) {
      FS.mkdirTree(folder);
      made.add(folder);
    }
    // A view, not a copy: the archive stays in memory as the files' contents.
    FS.writeFile(`${root}/${path}`, archive.subarray(offset, offset + size), { canOwn: true });
    offset += size;
  }
}

async function start(config) {
  const count = byteCounter(config.sizes.download);
  const archive = fetchArchive(config.archive, count);
  archive.catch(() => {});
  const plainFetch = self.fetch;
  self.fetch = async (resource, options) => {
    const response = await plainFetch(resource, options);
    count(config.sizes.core[new URL(response.url).pathname.split("/").at(-1)] ?? 0);
    return response;
  };
  const { loadPyodide } = await import(`${config.pyodide}pyodide.mjs`);
  const pyodide = await loadPyodide({
    indexURL: config.pyodide,
    lockFileContents: { info: config.sizes.lock_info, packages: {} },
    packageBaseUrl: config.pyodide,
    env: { PANEL_CDN_ROOT: config.panel, HOME: "/home/bench", PYTHONHASHSEED: "0" },
    fsInit: async (FS, { sitePackages }) => {
      writeArchive(FS, sitePackages, await archive);
    },
  });
  progress("libraries");
  pyodide.pyimport("bandbench.runtime.panel_glue");
  progress("bench");
  bench = pyodide.pyimport("bandbench.runtime.worker").start((message, transfer) => post(message, transfer));
  progress("page");
  bench.show();
  for (const message of early.splice(0)) await handle(message);
}

async function handle(message) {
  switch (message.type) {
    case "patch": bench.patch(message.patch); break;
    case "ack": bench.acknowledge(message.seq); break;
    case "built": bench.run(); break;
    case "picture_file": bench.picture_file(message.name, message.height, message.width, new Uint8Array(message.data)); break;
    case "ask": post({ type: "answer" }); break;
  }
}

self.onmessage = async ({ data }) => {
  const starting = data.type === "start";
  try {
    if (starting) await start(data);
    else if (bench === null) early.push(data);
    else await handle(data);
  } catch (error) {
    const kind = error instanceof FetchFailed ? "network" : starting ? "python" : "bench";
    post({ type: "failed", kind, detail: `${error.stack ?? error}` });
  }
};
