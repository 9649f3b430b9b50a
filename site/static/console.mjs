// The instructor's console: a light page that talks with the class's windows of this browser and computes nothing. All it
// shows comes from the window it is connected with, so that it can be loaded again at any time.

import { NAME, newName, openChannel, problemOf, sealed } from "./consoleprotocol.mjs";
import { say } from "./consolewords.mjs";
import "./theme.mjs";

const ASK_EVERY_MS = 3000;
// So many questions in a row without an answer, and a window is taken for closed.
const UNANSWERED = 5;
// A list of all that would have been right is of no use here.
const LONGEST_REASON = 400;
const SEVERITY_STEP = 0.05;

const element = (id) => document.getElementById(id);
const percentOf = (share) => Math.round(100 * share);
const own = newName();
const windows = new Map();
const waiting = new Map();
let channel = null;
let attached = null;
let lists = null;
let state = null;
let asked = 0;
let refusals = 0;
let lost = "";
// What the window that is connected now would need to be as it is, and what a window that is gone would have needed.
// Both are kept in this page alone, while it is open: what is planted is not for a store that a learner can open.
let memory = null;
let kept = null;
// While a slider moves, only its latest value waits.
let planting = false;
let next = null;

// Small parts of a page ------------------------------------------------------------------------------------------

function h(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (typeof value === "function") made.addEventListener(name, value);
    else made.setAttribute(name, value);
  }
  made.append(...children);
  return made;
}

function setText(id, text) {
  const place = element(id);
  if (place.textContent !== text) place.textContent = text;
}

// Builds a place anew only if what it is built from has changed, so that what is being pressed stays.
const built = new Map();
function rebuild(id, source, make) {
  const key = JSON.stringify(source);
  if (built.get(id) === key) return;
  built.set(id, key);
  const place = element(id);
  const held = place.contains(document.activeElement);
  place.replaceChildren(...make());
  if (held && place.tagName !== "SELECT") place.closest("section").querySelector("button").focus();
}

function options(id, rows) {
  const select = element(id);
  const before = select.value;
  rebuild(id, rows, () => {
    const groups = new Map();
    return rows.flatMap(([value, label, group]) => {
      const option = h("option", { value }, label);
      if (group === undefined) return [option];
      if (groups.has(group)) {
        groups.get(group).append(option);
        return [];
      }
      groups.set(group, h("optgroup", { label: group }, option));
      return [groups.get(group)];
    });
  });
  if (rows.some(([value]) => String(value) === before)) select.value = before;
}

function pairs(id, rows) {
  rebuild(id, rows, () => rows.flatMap(([label, text]) => [h("dt", {}, label), h("dd", {}, text)]));
}

// Windows of the class ---------------------------------------------------------------------------------------------

function post(kind, body) {
  channel.postMessage(sealed("console", own, kind, body));
}

// What is asked of a window that is gone is never answered.
function forgetOrders() {
  waiting.clear();
  ordered.clear();
  planting = false;
  next = null;
}

function keepMemory() {
  if (memory !== null && memory.text !== "") kept = { ...memory, from: attached, until: Date.now() };
  memory = null;
}

function attach(name) {
  if (attached !== null && attached !== name && windows.has(attached)) post("bye", { to: attached });
  if (attached !== name) keepMemory();
  // A window that answers again has everything itself.
  if (kept?.from === name) kept = null;
  attached = name;
  lists = state = null;
  forgetOrders();
  history.replaceState(null, "", `#${name}`);
  post("hello", { to: name });
  showLink();
}

function leave(word) {
  lost = say(word, { name: attached });
  keepMemory();
  windows.delete(attached);
  attached = lists = state = null;
  forgetOrders();
  showState();
}

// The window that opened this one, or that it was connected with before it was loaded again; else the only one.
function chooseWindow() {
  if (attached !== null) return;
  const wanted = location.hash.slice(1);
  if (windows.has(wanted)) attach(wanted);
  else if (windows.size === 1 && (asked > 1 || !NAME.test(wanted))) attach([...windows.keys()][0]);
}

function showLink() {
  const parts = lost ? [lost] : [];
  if (attached !== null) parts.push(say("window.on", { name: attached }));
  else if (windows.size > 1) parts.push(say("window.choose"));
  else parts.push(say(asked > 1 ? "window.none" : "window.searching"));
  setText("link-state", parts.join(" "));
  document.body.dataset.state = attached !== null ? (state ? "connected" : "waiting") : lost ? "gone" : "searching";
  element("windows-field").hidden = windows.size < 2 && attached !== null;
  if (windows.size === 0) element("windows-field").hidden = true;
  const time = (moment) => new Date(moment).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", second: "2-digit" });
  options("windows", [...(attached === null ? [["", ""]] : []), ...[...windows].map(([name, { opened }]) => [name, say("window.one", { name, time: time(opened) })])]);
  element("windows").value = attached ?? "";
}

function ask() {
  asked += 1;
  for (const [name, one] of windows) {
    one.unanswered += 1;
    if (one.unanswered <= UNANSWERED) continue;
    if (name === attached) leave("window.silent");
    else windows.delete(name);
  }
  post("who");
  chooseWindow();
  showLink();
}

const short = (reason) => (reason.length > LONGEST_REASON ? `${reason.slice(0, LONGEST_REASON)} \u2026` : reason);

function report(reason) {
  refusals += 1;
  setText("refused", say("refused", { reason: short(reason), count: refusals }));
}

const takers = {
  here: ({ from, opened }) => {
    windows.set(from, { opened, unanswered: 0 });
    chooseWindow();
    showLink();
  },
  gone: ({ from }) => {
    if (from === attached) leave("window.gone");
    else windows.delete(from);
    showLink();
  },
};
const ownTakers = {
  refused: ({ reason }) => report(reason),
  answer: ({ number, problem }) => {
    const what = waiting.get(number);
    waiting.delete(number);
    if (what === undefined) {
      if (problem) report(problem);
      return;
    }
    setText("outcome", problem ? say("not_done", { problem: short(problem) }) : say("done", { what: what.words }));
    what.then?.(problem === "");
  },
  memory: ({ text, words }) => { memory = { text, words }; },
  lists: ({ modes, faults, hidden, demonstrations }) => {
    lists = { modes, faults, hidden, demonstrations };
    lost = "";
    showLists();
  },
  state: (message) => {
    state = message;
    showLink();
    showState();
  },
};

function take({ data }) {
  const wrong = problemOf(data, "class");
  if (wrong !== null) {
    report(wrong);
    return;
  }
  // Other consoles speak on the same channel.
  if (data.side !== "class") return;
  if (windows.has(data.from)) windows.get(data.from).unanswered = 0;
  if (Object.hasOwn(takers, data.kind)) takers[data.kind](data);
  else if (data.from === attached) ownTakers[data.kind](data);
}

// What is shown ----------------------------------------------------------------------------------------------------

function showLists() {
  options("demonstrations", lists.demonstrations.map(([id, title, minutes]) => [id, say("demo.minutes", { title, minutes })]));
  options("faults", lists.faults.map(([name, title, group]) => [name, title, group]));
  options("values", lists.hidden.map(([name, label]) => [name, label]));
  chooseFault();
  chooseValue();
}

const chosenFault = () => lists?.faults.find(([name]) => name === element("faults").value);
const chosenValue = () => lists?.hidden.find(([name]) => name === element("values").value);
const plantedAs = (name) => state?.faults.find(([planted]) => planted === name)?.[2];

function showSeverity() {
  const text = say("severity", { percent: percentOf(Number(element("severity").value)) });
  setText("severity-text", text);
  element("severity").setAttribute("aria-valuetext", text);
}

function chooseFault() {
  const fault = chosenFault();
  if (fault === undefined) return;
  const [name, , , least, most, about] = fault;
  setText("fault-about", about);
  element("severity").value = plantedAs(name) ?? (least + most) / 2;
  showSeverity();
}

function chooseValue() {
  const value = chosenValue();
  if (value === undefined) return;
  const [, , unit, minimum, maximum, step, sound] = value;
  Object.assign(element("value"), { min: minimum, max: maximum, step, value: sound });
  setText("value-unit", unit);
  setText("value-sound", say("sound", { value: sound }));
}

function showCue(shown) {
  if (shown === null || shown === undefined) return [h("p", {}, say("demo.none"))];
  const now = say("demo.now", { cue: shown.cue, total: shown.total, title: shown.cue_title });
  const expect = shown.expect.map(([words, label, range, value, holds, remark]) => {
    const verdict = holds === null ? "" : say(holds ? "demo.holds" : "demo.not_yet");
    return h("li", {}, `${say("demo.expected", { words, label, range })} `, value ? `${say("demo.now_reads", { now: value })}.` : "",
      verdict ? h("span", { class: holds ? "held" : "missed" }, ` ${holds ? "\u2713" : "\u2717"} ${verdict}`) : "",
      remark ? h("span", { class: "about" }, ` (${remark})`) : "");
  });
  return [
    h("p", { class: "about" }, shown.title), h("h3", {}, now), h("p", {}, shown.caption), h("p", { class: "notes" }, shown.notes), h("ul", {}, ...expect),
    ...(shown.act_in_s >= 0 ? [h("p", {}, say("demo.act", { seconds: shown.act_in_s }))] : []),
    h("p", { class: "about" }, shown.next ? say("demo.next", { title: shown.next }) : say("demo.no_next")),
  ];
}

function showPlanted() {
  const faults = (state?.faults ?? []).map(([name, title, severity]) => ({
    text: say("planted.fault", { title, severity: percentOf(severity) }), title, remove: () => order("plant", { fault: name, severity: 0 }, say("planted.remove_name", { title })),
  }));
  const values = (state?.values ?? []).map(([name, label, value]) => {
    const one = lists?.hidden.find(([known]) => known === name);
    return {
      text: say("planted.value", { label, value }), title: label,
      remove: one && (() => order("hide_value", { name, to: one[6] }, say("planted.remove_name", { title: label }))),
    };
  });
  const all = [...faults, ...values];
  const [ownTitle, ownSeverity] = state?.own ?? [];
  rebuild("planted", [all.map(({ text }) => text), state?.own], () => [
    ...(all.length === 0 ? [h("p", {}, say("planted.none"))] : [h("ul", {}, ...all.map(({ text, title, remove }) => h("li", {}, text,
      ...(remove ? [h("button", { type: "button", "aria-label": say("planted.remove_name", { title }), click: remove }, say("planted.remove"))] : []))))]),
    ...(ownTitle ? [h("p", {}, say("state.own", { title: ownTitle, severity: percentOf(ownSeverity) }))] : []),
  ]);
}

function label(id, text) {
  const place = element(id);
  if (place.firstChild.nodeValue !== text) place.firstChild.nodeValue = text;
}

function showKept() {
  rebuild("kept", kept && [kept.words, kept.from], () => (kept === null ? [] : [
    h("p", {}, say("back.offer", { name: kept.from, time: new Date(kept.until).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" }) })),
    h("ul", {}, ...kept.words.map((words) => h("li", {}, words))), h("p", { class: "about" }, say("back.limits")),
  ]));
  element("kept-field").hidden = kept === null;
}

function putBack() {
  if (kept === null) {
    setText("outcome", say("back.none"));
    return;
  }
  const given = kept;
  order("put_back", { memory: given.text }, say("back.done", { name: given.from }), (done) => {
    if (done && kept === given) kept = null;
    showKept();
  });
}

function showState() {
  showKept();
  rebuild("cue", state?.demonstration ?? null, () => showCue(state?.demonstration));
  showPlanted();
  setText("frozen", state ? say(state.frozen ? "state.frozen" : "state.running") : "");
  label("freeze", say(state?.frozen ? "button.run" : "button.freeze"));
  setText("why-now", state ? say("why.now", { now: `${say(`why.${state.why}`)}. ${state.why_now}` }) : "");
  label("why-button", say(state?.why === "shown" ? "button.why_hide" : "button.why_show"));
  label("readings-button", say(state && !state.readings_shown ? "button.readings_show" : "button.readings_hide"));
  setText("no-mark", state?.no_mark ?? "");
  const marks = state?.marks ?? [];
  const had = element("marks").options.length;
  options("marks", marks.map(([number, what]) => [number, say("marks.one", { number, what })]));
  // A new mark is the one to go back to.
  if (marks.length > had) element("marks").value = marks.at(-1)[0];
  const lesson = state?.attempt ? say("state.lesson", { title: state.lesson, attempt: state.attempt }) : "";
  setText("mode", state ? [state.mode_title, lesson].filter(Boolean).join(". ") : "");
  setText("notice", state?.notice ?? "");
  pairs("machine", state?.machine ?? []);
  pairs("readings", (state?.readings ?? []).map(([, name, text]) => [name, text]));
  const controls = state?.controls ?? [];
  pairs("controls", state && controls.length === 0 ? [[say("state.controls_none"), ""]] : controls);
  for (const button of document.querySelectorAll("button[data-key]")) button.setAttribute("aria-disabled", String(state === null));
}

// What is done -----------------------------------------------------------------------------------------------------

let number = 0;

function order(action, value, words, then) {
  if (attached === null || state === null) {
    setText("outcome", say("not_connected"));
    return;
  }
  number += 1;
  waiting.set(number, { words, then });
  post("do", { to: attached, number, action, value });
}

// A key that turns something over means what was ordered last, not what the class's window told before it.
const ordered = new Map();

function standing(name) {
  return ordered.has(name) ? ordered.get(name).value : state?.[name];
}

function orderTo(name, value, action, wanted, words) {
  const mine = { value };
  if (attached !== null && state !== null) ordered.set(name, mine);
  order(action, wanted, words, (done) => {
    if (ordered.get(name) === mine) ordered.delete(name);
    // What the window tells next may still be of before; it has been done all the same.
    if (!done || state === null) return;
    state = { ...state, [name]: value };
    showState();
  });
}

function plant() {
  const fault = chosenFault();
  if (fault === undefined) return;
  const wanted = { fault: fault[0], severity: Number(element("severity").value) };
  if (planting) {
    next = wanted;
    return;
  }
  planting = true;
  order("plant", wanted, say("planted.fault", { title: fault[1], severity: percentOf(wanted.severity) }), () => {
    planting = false;
    if (next !== null) {
      next = null;
      plant();
    }
  });
  if (attached === null || state === null) planting = false;
}

function turnSeverity(by) {
  const severity = element("severity");
  severity.value = Number(severity.value) + by;
  severityMoved();
}

function severityMoved() {
  showSeverity();
  if (plantedAs(element("faults").value) !== undefined) plant();
}

function stepFault(by) {
  const select = element("faults");
  select.selectedIndex = Math.min(Math.max(select.selectedIndex + by, 0), select.options.length - 1);
  chooseFault();
}

const KEYS = {
  s: ["key.start", () => order("show", { demonstration: element("demonstrations").value, cue: 1 }, say("key.start"))],
  n: ["key.next", () => order("next", {}, say("key.next"))],
  b: ["key.back", () => order("back", {}, say("key.back"))],
  e: ["key.end", () => order("end", {}, say("key.end"))],
  ",": ["key.fault_down", () => stepFault(-1)],
  ".": ["key.fault_up", () => stepFault(1)],
  "+": ["key.worse", () => turnSeverity(SEVERITY_STEP)],
  "-": ["key.better", () => turnSeverity(-SEVERITY_STEP)],
  p: ["key.plant", plant],
  u: ["key.unplant", () => order("plant", { fault: element("faults").value, severity: 0 }, say("key.unplant"))],
  v: ["key.set", () => order("hide_value", { name: element("values").value, to: element("value").valueAsNumber || 0 }, say("key.set"))],
  x: ["key.clear", () => order("clear", {}, say("key.clear"))],
  f: ["key.freeze", () => {
    const frozen = !standing("frozen");
    orderTo("frozen", frozen, "freeze", { frozen }, say(frozen ? "button.freeze" : "button.run"));
  }],
  m: ["key.mark", () => order("mark", {}, say("key.mark"))],
  r: ["key.rewind", () => {
    if (element("marks").value === "") setText("outcome", say("marks.none"));
    else order("rewind", { mark: Number(element("marks").value) }, say("key.rewind"));
  }],
  w: ["key.why", () => {
    const choice = standing("why") === "shown" ? "hidden" : "shown";
    orderTo("why", choice, "why", { choice }, say(choice === "shown" ? "button.why_show" : "button.why_hide"));
  }],
  i: ["key.readings", () => {
    const shown = !standing("readings_shown");
    orderTo("readings_shown", shown, "readings", { shown }, say(shown ? "button.readings_show" : "button.readings_hide"));
  }],
  t: ["key.put_back", putBack],
  d: ["key.to_demonstrations", () => element("demonstrations").focus()],
  g: ["key.to_faults", () => element("faults").focus()],
  h: ["key.to_values", () => element("values").focus()],
  k: ["key.to_marks", () => element("marks").focus()],
  l: ["key.to_windows", () => element("windows").focus()],
};

function onKey(event) {
  const field = event.target.matches("select, input:not([type=range], [type=checkbox])");
  if (event.key === "Escape") {
    element("top").focus();
    return;
  }
  if (field || event.ctrlKey || event.metaKey || event.altKey || !element("keys-on").checked) return;
  const key = event.key.length === 1 ? event.key.toLowerCase() : "";
  if (!Object.hasOwn(KEYS, key)) return;
  event.preventDefault();
  KEYS[key][1]();
}

function start() {
  for (const button of document.querySelectorAll("button[data-key]")) {
    const { key } = button.dataset;
    button.setAttribute("aria-keyshortcuts", key);
    button.append(h("kbd", {}, key.toUpperCase()));
    button.addEventListener("click", () => KEYS[key][1]());
  }
  element("key-list").append(...Object.entries(KEYS).map(([key, [word]]) => h("div", {}, h("dt", {}, h("kbd", {}, key.toUpperCase())), h("dd", {}, say(word)))),
    h("div", {}, h("dt", {}, h("kbd", {}, "Esc")), h("dd", {}, say("key.leave"))));
  showState();
  if (typeof BroadcastChannel !== "function") {
    setText("link-state", say("window.unsupported"));
    return;
  }
  channel = openChannel();
  channel.addEventListener("message", take);
  channel.addEventListener("messageerror", () => report("it cannot be read"));
  document.addEventListener("keydown", onKey);
  element("faults").addEventListener("change", chooseFault);
  element("values").addEventListener("change", chooseValue);
  element("severity").addEventListener("input", severityMoved);
  element("windows").addEventListener("change", ({ target }) => { if (windows.has(target.value)) attach(target.value); });
  addEventListener("pagehide", () => { if (attached !== null) post("bye", { to: attached }); });
  addEventListener("pageshow", ({ persisted }) => { if (persisted && attached !== null) attach(attached); });
  ask();
  setInterval(ask, ASK_EVERY_MS);
}

start();
