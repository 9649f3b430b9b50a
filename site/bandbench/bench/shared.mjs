// What the scripts of all parts share. It is put in front of each of them.

// An element with attributes, listeners (keys that begin with "on") and children.
function h(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (value === true) element.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(name, value);
  }
  element.append(...children.flat().filter((child) => child !== null && child !== undefined));
  return element;
}

const SVG = "http://www.w3.org/2000/svg";

function s(tag, attributes = {}, ...children) {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

// Fills {names} of a text.
function fill(text, values) {
  return text.replace(/\{(\w+)\}/g, (_, name) => String(values[name]));
}

function setText(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

function setAttribute(element, name, value) {
  if (value === null || value === undefined || value === false) element.removeAttribute(name);
  else if (element.getAttribute(name) !== String(value)) element.setAttribute(name, value === true ? "" : value);
}

// A number stays on one line with its unit; a sentence in its place may wrap.
function whole(text) {
  return text.length < 16 ? "whole" : null;
}

// Paragraphs with **strong** words and `names`: as much of Markdown as lessons use.
function prose(text) {
  const fragment = document.createDocumentFragment();
  for (const paragraph of text.trim().split(/\n\s*\n/)) {
    const p = h("p");
    for (const piece of paragraph.split(/(\*\*[^*]+\*\*|`[^`]+`)/)) {
      if (piece.startsWith("**")) p.append(h("strong", {}, piece.slice(2, -2)));
      else if (piece.startsWith("`")) p.append(h("em", {}, piece.slice(1, -1)));
      else p.append(piece.replace(/\s+/g, " "));
    }
    fragment.append(p);
  }
  return fragment;
}

function button(label, onclick, attributes = {}) {
  return h("button", { type: "button", onclick, ...attributes }, label);
}

// A button that asks for a sheet of paper (paper.mjs lays it out); who pressed it has the focus again afterwards.
function paperButton(label, kind, value = "", attributes = {}) {
  const element = button(label, () => document.dispatchEvent(new CustomEvent("bandbench:paper", { detail: { kind, value, opener: element } })),
    { class: "quiet", "data-do": `paper_${kind}`, ...attributes });
  return element;
}

// How long a list waits for what was chosen in it to be confirmed.
const CHOICE_SETTLES_MS = 1500;

// A labelled list to choose from. show(value, options, enabled) brings it up to date. Options are [value, label], or
// [value, label, group, open]: those of a group stand together under its name, and can be chosen only if open.
// What has just been chosen is not overwritten by what was set before; settle() ends that, as after a refusal.
function choice(id, label, onchoose) {
  let chosen = null;
  let timer = 0;
  let latest = "";
  const settle = () => {
    clearTimeout(timer);
    chosen = null;
    select.value = latest;
  };
  const select = h("select", {
    id,
    onchange: () => {
      chosen = select.value;
      clearTimeout(timer);
      timer = setTimeout(settle, CHOICE_SETTLES_MS);
      onchoose(select.value);
    },
  });
  const element = h("span", { class: "field" }, h("label", { for: id }, label), select);
  let shown = "";
  const show = (value, options, enabled = true) => {
    const key = JSON.stringify(options);
    if (key !== shown) {
      shown = key;
      const groups = new Map();
      select.replaceChildren(...options.flatMap(([name, text, group, open = true]) => {
        const option = h("option", { value: name, disabled: !open }, text);
        if (group === undefined) return [option];
        const known = groups.get(group);
        if (known) {
          known.append(option);
          return [];
        }
        groups.set(group, h("optgroup", { label: group }, option));
        return [groups.get(group)];
      }));
    }
    latest = value;
    if (chosen === null || chosen === value) settle();
    else select.value = chosen;
    select.disabled = !enabled;
  };
  return { element, show, settle, select };
}

// A button that is either pressed or not.
function toggle(label, onpress) {
  const element = button(label, () => onpress(element.getAttribute("aria-pressed") !== "true"), { "aria-pressed": "false" });
  return { element, show: (pressed) => setAttribute(element, "aria-pressed", String(pressed)) };
}

// A slider. A finger that comes down on it to scroll the page leaves it as it was: the browser moves it at once, but nobody is
// told of that before it is clear what the finger does.
const SLIDE_PX = 4;
function slideBar(attributes) {
  const element = h("input", { type: "range", ...attributes });
  let open = null;
  const decide = (moved) => {
    const { value } = open;
    open = null;
    if (!moved) element.value = value;
    else if (element.value !== value) element.dispatchEvent(new Event("input"));
  };
  const ofFinger = (name, callback) => element.addEventListener(name, (event) => {
    if (open?.finger === event.pointerId) callback(event);
  });
  for (const name of ["input", "change"]) {
    element.addEventListener(name, (event) => { if (open !== null) event.stopImmediatePropagation(); }, { capture: true });
  }
  element.addEventListener("pointerdown", ({ pointerType, pointerId, clientX, clientY }) => {
    if (pointerType === "touch" && open === null) open = { finger: pointerId, x: clientX, y: clientY, value: element.value };
  });
  ofFinger("pointermove", ({ clientX, clientY }) => {
    const along = Math.abs(clientX - open.x);
    if (along > SLIDE_PX && along >= Math.abs(clientY - open.y)) decide(true);
  });
  ofFinger("pointerup", () => decide(true));
  ofFinger("pointercancel", () => decide(false));
  return element;
}

// Hands the user a file of this page's own making: nothing leaves the page.
function saveFile(name, blob) {
  const address = URL.createObjectURL(blob);
  const link = h("a", { href: address, download: name, hidden: true });
  document.body.append(link);
  link.click();
  link.remove();
  // The browser reads the address when it gets round to it.
  setTimeout(() => URL.revokeObjectURL(address), 10000);
}

// A bar that shows a share of its range: from its left end, or from its zero if it is "centred". Strokes divide it into
// `parts`; aim() outlines the part where the reading is wanted.
function bar(kind, zero, parts = 0) {
  const fill = h("span", { class: "bar-fill" });
  const zone = h("span", { class: "bar-zone", hidden: true });
  const element = h("span", { class: `bar ${kind}`, "aria-hidden": "true" }, fill, h("span", { class: "bar-zero" }), zone);
  element.style.setProperty("--zero", zero);
  if (parts > 0) {
    element.style.setProperty("--parts", parts);
    element.classList.add("ruled");
  }
  return {
    element,
    aim: (ends) => {
      zone.hidden = ends === null;
      if (ends === null) return;
      zone.style.left = `${100 * ends[0]}%`;
      zone.style.width = `${100 * (ends[1] - ends[0])}%`;
    },
    show: (share) => {
      fill.hidden = share === null;
      if (share === null) return;
      const from = kind === "centred" ? zero : 0;
      fill.style.left = `${100 * Math.min(from, share)}%`;
      fill.style.width = `${100 * Math.abs(share - from)}%`;
    },
  };
}

// Listens to an event outside the part for as long as the part is there: all parts are built anew after a failure.
function listenTo(model, target, name, callback, options = {}) {
  target.addEventListener(name, callback, options);
  model.on("lifecycle:remove", () => target.removeEventListener(name, callback));
}

// Opens a dialog over the page, which knows that it is open: on paper it then stands alone (bench.css).
function openDialog(model, dialog, name) {
  document.body.dataset.dialog = name;
  const away = () => {
    delete document.body.dataset.dialog;
    model.off("lifecycle:remove", away);
  };
  dialog.addEventListener("close", away, { once: true });
  model.on("lifecycle:remove", away);
  dialog.showModal();
}

// Calls back now and at every change of any of these parameters, once for several that change together.
function follow(model, names, callback) {
  let waiting = false;
  const soon = () => {
    if (waiting) return;
    waiting = true;
    queueMicrotask(() => {
      waiting = false;
      callback();
    });
  };
  for (const name of names) model.on(name, soon);
  callback();
}
