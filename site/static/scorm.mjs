// A visit from a SCORM 1.2 learning system: finds its object named API, reads what it says, sets what Python asks
// (bench/scormvisit.py), and saves it as the work goes on. Everything in it is text; a name is shown as text only.

const FURTHEST = 50;
const SAVE_AFTER_MS = 1000;
const TRY_AGAIN_MS = 30000;
// QUOTED, SCORM 1.2 Run-Time Environment: initialised before; element not supported.
const BEGUN_BEFORE = "101";
const NOT_SUPPORTED = "401";

const LOOKING_ONLY = new Set(["browse", "review"]);

const READ = {
  student_id: "cmi.core.student_id",
  student_name: "cmi.core.student_name",
  entry: "cmi.core.entry",
  lesson_mode: "cmi.core.lesson_mode",
  status: "cmi.core.lesson_status",
  mastery: "cmi.student_data.mastery_score",
  launch_data: "cmi.launch_data",
  suspend_data: "cmi.suspend_data",
  interactions: "cmi.interactions._count",
};

let api = null;
let over = false;
let changes = false;
// Whoever only looks leaves everything as it was, the time spent too.
let touched = false;
let saving = null;
let began = 0;
let post = () => {};
const told = new Set();

// Frames of other origins throw at every touch, and say nothing.
function look(at) {
  try {
    return at.API?.LMSInitialize ? at.API : null;
  } catch {
    return null;
  }
}

function above(from) {
  let frame = from;
  for (let hop = 0; hop < FURTHEST; hop += 1) {
    const found = look(frame);
    if (found !== null) return found;
    let parent = null;
    try {
      ({ parent } = frame);
    } catch { /* As good as none. */ }
    if (!parent || parent === frame) return null;
    frame = parent;
  }
  return null;
}

function opener(frame) {
  try {
    return frame.opener ?? null;
  } catch {
    return null;
  }
}

// The frames around the page, then those around the window that opened it.
export function findApi(frame = globalThis) {
  const found = above(frame);
  if (found !== null) return found;
  const from = opener(frame) ?? opener(frame.top);
  return from === null ? null : above(from);
}

// A learning system that fails inside must not stop the bench.
function call(name, ...words) {
  try {
    return String(api[name](...words) ?? "");
  } catch (error) {
    console.info(`${name}(${words[0] ?? ""}): ${error?.message}`);
    return "";
  }
}

const done = (answer) => answer === "true";

function read() {
  const launch = {};
  for (const [name, element] of Object.entries(READ)) launch[name] = call("LMSGetValue", element);
  const count = Number.parseInt(call("LMSGetValue", "cmi.objectives._count"), 10) || 0;
  launch.objectives = Array.from({ length: count }, (_, place) => call("LMSGetValue", `cmi.objectives.${place}.id`));
  return launch;
}

// A visit that was begun before, by a frame around the page, goes on; one that has ended says nothing any more.
function answers() {
  call("LMSGetValue", "cmi.core.student_id");
  return call("LMSGetLastError") === "0";
}

// Opens the visit, before Python is there. `lesson`: the package's own; the learning system may name another.
// Answers which lesson is to be shown alone ("": the whole course), and what Python is told.
export function openScorm(lesson) {
  api = findApi();
  if (api === null) return { lesson, said: { begun: false, why: "none", lesson } };
  const begun = done(call("LMSInitialize", "")) || (call("LMSGetLastError") === BEGUN_BEFORE && answers());
  if (!begun) {
    api = null;
    return { lesson, said: { begun: false, why: "closed", lesson } };
  }
  began = performance.now();
  const launch = read();
  if (!LOOKING_ONLY.has(launch.lesson_mode)) document.body.dataset.visit = "open";
  const wanted = new URLSearchParams(launch.launch_data).get("lesson") || lesson;
  return { lesson: wanted, said: { begun: true, launch, lesson: wanted } };
}

function span(ms) {
  const hundredths = Math.round(ms / 10);
  const two = (number) => String(number).padStart(2, "0");
  const seconds = Math.floor(hundredths / 100);
  const hours = String(Math.floor(seconds / 3600)).padStart(4, "0");
  return `${hours}:${two(Math.floor(seconds / 60) % 60)}:${two(seconds % 60)}.${two(hundredths % 100)}`;
}

const tell = (said) => post({ type: "records", kind: "scorm", text: JSON.stringify(said) });

function setValue(element, value) {
  if (done(call("LMSSetValue", element, value))) return;
  const code = call("LMSGetLastError");
  // Once for each kind of element: cmi.interactions.7.time is of one kind with cmi.interactions.8.time.
  const kind = element.replace(/\.\d+/g, "");
  if (told.has(kind)) return;
  told.add(kind);
  console.info(`${element} not taken: ${code} ${call("LMSGetErrorString", code)}`);
  // Objectives and interactions are for the system to have or not to have.
  if (code !== NOT_SUPPORTED) tell({ refused: kind });
}

let taken = true;

function save() {
  clearTimeout(saving);
  saving = null;
  if (over || !changes) return;
  setValue("cmi.core.session_time", span(performance.now() - began));
  const good = done(call("LMSCommit", ""));
  changes = !good;
  if (good !== taken) tell({ taken: good });
  taken = good;
  if (!good) saving = setTimeout(save, TRY_AGAIN_MS);
}

function finish() {
  if (over || api === null) return;
  save();
  over = true;
  clearTimeout(saving);
  if (touched) setValue("cmi.core.session_time", span(performance.now() - began));
  call("LMSFinish", "");
}

// What Python asks: values to set, or a line to show.
function carryOut({ values = [], line }) {
  if (line !== undefined) {
    const place = document.getElementById("visit");
    place.textContent = line;
    place.hidden = line === "";
  }
  if (over || api === null || values.length === 0) return;
  for (const [element, value] of values) setValue(element, value);
  changes = touched = true;
  saving ??= setTimeout(save, SAVE_AFTER_MS);
}

export function acceptScorm(send, said) {
  post = send;
  document.addEventListener("bandbench:scorm", ({ detail }) => carryOut(detail));
  tell(said);
}

// The worker was started anew: it is told how the learning system stands now.
export function scormAgain(said) {
  tell(said.begun && !over ? { ...said, launch: read() } : said);
}

// The page may go at any time, and often without a word: what is told is told by then.
addEventListener("visibilitychange", () => { if (document.visibilityState === "hidden") save(); });
addEventListener("pagehide", finish);
// A page that comes back from the browser's memory has ended its visit.
addEventListener("pageshow", ({ persisted }) => { if (persisted && over) location.reload(); });
