// Compiles an archive of Python sources inside Pyodide, under Node.js, while the site is built.
// node bytecode.mjs PYODIDE.MJS FOLDER_WITH_IN_PACK FOLDER_OF_BUILD_MODULES OPTIMISE PLACE

import { pathToFileURL } from "node:url";

const [pyodideModule, folder, modules, optimise, place] = process.argv.slice(2);
const { loadPyodide } = await import(pathToFileURL(pyodideModule));
// A fixed seed: sets of names are written in the order of their hashes.
const pyodide = await loadPyodide({ env: { PYTHONHASHSEED: "0", HOME: "/" } });
for (const [place, path] of [["/work", folder], ["/modules", modules]]) {
  pyodide.FS.mkdirTree(place);
  pyodide.mountNodeFS(place, path);
}
pyodide.runPython(`
import sys
sys.path.insert(0, "/modules")
from bytecode_inside import compile_in
compile_in("/work", ${Number(optimise)}, ${JSON.stringify(place)})
`);
