// Starts Python in a worker, with the packages of an archive.

export async function fetchArchive(address, note = () => {}) {
  const response = await fetch(address);
  let arrived = 0;
  const counter = new TransformStream({
    transform(chunk, controller) {
      arrived += chunk.byteLength;
      note(new URL(address).pathname.split("/").at(-1), arrived);
      controller.enqueue(chunk);
    },
  });
  const unpacked = response.body.pipeThrough(counter).pipeThrough(new DecompressionStream("gzip"));
  return new Uint8Array(await new Response(unpacked).arrayBuffer());
}

// The archive's form is told in build_python.py.
export function writeArchive(FS, root, archive) {
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

// `pyodide` is the runtime's folder, `archive` the packages, soon; `begins` is called when they are here, and `more`
// may write further files before anything is imported.
export async function startPython({ pyodide: folder, lock_info, archive, env = {}, begins = () => {}, more = () => {} }) {
  let sitePackages;
  const { loadPyodide } = await import(`${folder}pyodide.mjs`);
  const pyodide = await loadPyodide({
    indexURL: folder,
    lockFileContents: { info: lock_info, packages: {} },
    packageBaseUrl: folder,
    env: { HOME: "/home/bench", PYTHONHASHSEED: "0", ...env },
    fsInit: async (FS, places) => {
      ({ sitePackages } = places);
      const files = await archive;
      begins();
      writeArchive(FS, sitePackages, files);
      await more(FS, sitePackages);
    },
  });
  startKernels(pyodide, sitePackages);
  return { pyodide, sitePackages };
}

// The quicker arithmetic (see runtime/kernels.py) works on Python's own memory. Without vectors there is NumPy's.
function startKernels(pyodide, sitePackages) {
  const code = pyodide.FS.readFile(`${sitePackages}/bandbench/runtime/kernels.wasm`);
  const { memory } = pyodide._module;
  if (!(memory instanceof WebAssembly.Memory) || !WebAssembly.validate(code)) {
    console.info("The frame's arithmetic is NumPy's: there are no vector instructions here.");
    return;
  }
  const { exports } = new WebAssembly.Instance(new WebAssembly.Module(code), { env: { memory } });
  pyodide.pyimport("bandbench.runtime.kernels").start(exports);
}
