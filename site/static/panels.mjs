// The page's side of Panel's document: builds it in the named places and keeps it equal to Python's side.

// Panel starts its small components through the function of a polyfill for old browsers. Every browser that can run
// the bench imports modules itself, so its own import is handed over, and no polyfill loosens the page's policy.
globalThis.importShim = (address) => import(address);
globalThis.importShim.addImportMap = ({ imports = {} }) => {
  const names = Object.keys(imports);
  if (names.length > 0) throw new Error(`Components must bring their code along; these would be fetched: ${names}`);
};

let jsdoc = null;
let views = null;
let patching = 0;
let onTheWay = 0;
let waiting = [];
let send = null;

// One patch for each event: Python drops a whole patch if a model in it has just left the document, as the figures of a
// closed result have, and with it what was pressed meanwhile.
function sendEvents(events) {
  for (const event of events) {
    if (event.model?.document === null) continue;
    onTheWay += 1;
    send({ type: "patch", patch: jsdoc.create_json_patch([event]) });
  }
}

// While Python is busy, only the latest value of each property waits.
function onChange(event) {
  if (patching > 0) return;
  if (onTheWay === 0) {
    sendEvents([event]);
    return;
  }
  if (event.model && event.attr) {
    waiting = waiting.filter((other) => !(other.model === event.model && other.attr === event.attr));
  }
  waiting.push(event);
}

export async function build(message, post) {
  send = post;
  const roots = {};
  for (const [root, name] of Object.entries(message.places)) {
    const place = document.querySelector(`[data-root="${name}"]`);
    if (place === null) throw new Error(`The page has no place named "${name}".`);
    place.id = `root-${name}`;
    roots[root] = place.id;
  }
  const items = JSON.parse(message.render_items);
  items[0].roots = roots;
  items[0].root_ids = Object.keys(roots);
  [views] = await globalThis.Bokeh.embed.embed_items(JSON.parse(message.docs_json), items);
  jsdoc = [...views.roots.values()][0].model.document;
  jsdoc.on_change(onChange, false);
}

// The parts stand as they are, but nothing done in them is sent any more: Python's side of them is gone.
export function detach() {
  jsdoc?.remove_on_change(onChange);
  jsdoc = null;
  onTheWay = 0;
  waiting = [];
}

// Takes the parts away, to build them anew.
export function clear() {
  views?.clear();
  views = null;
}

export function applyPatch({ patch, buffers }) {
  patching += 1;
  try {
    jsdoc.apply_json_patch(patch, buffers);
  } finally {
    patching -= 1;
  }
}

// Python has applied a patch: after the last one send what has gathered meanwhile.
export function onIdle() {
  onTheWay -= 1;
  if (onTheWay === 0 && waiting.length > 0) {
    const events = waiting;
    waiting = [];
    sendEvents(events);
  }
}
