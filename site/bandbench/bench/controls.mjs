// The controls of the chosen stage: for each a slider, a number field and a way back to its default.

const MINUS = "\u2212";
const SOURCE_STAGE = "tape";

function numberText(spec, value) {
  return value.toFixed(spec.decimals).replace("-", MINUS);
}

function withUnit(spec, value) {
  return `${numberText(spec, value)}${spec.unit === "°" ? "" : "\u00a0"}${spec.unit}`;
}

// A number as people type it: decimal comma or point, hyphen or minus.
function parsed(text) {
  const plain = text.trim().replace(MINUS, "-").replace(",", ".");
  return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : NaN;
}

function numberControl(spec, words, onmove) {
  const id = spec.name;
  const slider = slideBar({
    id, min: spec.minimum, max: spec.maximum, step: spec.fine_step, "aria-describedby": `${id}-about`,
  });
  const field = h("input", {
    type: "text", inputmode: "decimal", autocomplete: "off", class: "figure", id: `${id}-field`,
    "aria-label": fill(words.number, { label: spec.label, unit: spec.unit }), "aria-describedby": `${id}-note`,
  });
  const reset = button(words.reset, () => move(spec.default), {
    class: "small reset",
    "aria-label": fill(words.reset_name, { label: spec.label, value: withUnit(spec, spec.default) }),
  });
  const note = h("p", { class: "note", id: `${id}-note`, role: "alert" });
  const name = h("label", { for: id, class: "name" }, spec.label);
  const track = h("div", { class: "track" }, slider, h("span", { class: "mark" }));
  const share = (value) => (value - spec.minimum) / (spec.maximum - spec.minimum);
  track.style.setProperty("--default", share(spec.default));
  const element = h("div", { class: "control", "data-control": spec.name },
    name,
    h("span", { class: "amount" }, field, h("span", { class: "unit", "aria-hidden": "true" }, spec.unit)),
    track, reset,
    h("p", { class: spec.head ? "hidden-words" : "about", id: `${id}-about` }, spec.description),
    note);

  let value = spec.default;
  let held = false;
  const complain = (text) => {
    setText(note, text);
    setAttribute(field, "aria-invalid", text ? "true" : null);
  };
  const show = (next) => {
    value = next;
    slider.value = next;
    track.style.setProperty("--value", share(next));
    slider.setAttribute("aria-valuetext", withUnit(spec, next));
    if (field.getRootNode().activeElement !== field || field.dataset.typed === undefined) field.value = numberText(spec, next);
  };
  const move = (wanted) => {
    const limited = Math.min(spec.maximum, Math.max(spec.minimum, wanted));
    const next = Number(limited.toFixed(spec.decimals));
    complain("");
    delete field.dataset.typed;
    if (next === value) {
      show(value);
      return;
    }
    show(next);
    onmove(spec.name, next);
  };
  const steps = (event) => {
    const step = event.shiftKey ? spec.fine_step : spec.step;
    switch (event.key) {
      case "ArrowUp": return step;
      case "ArrowDown": return -step;
      case "PageUp": return spec.coarse_step;
      case "PageDown": return -spec.coarse_step;
      case "ArrowRight": return event.target === slider ? step : 0;
      case "ArrowLeft": return event.target === slider ? -step : 0;
    }
    return 0;
  };
  const onkey = (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    if (event.key === "Home" && event.target === slider) {
      event.preventDefault();
      move(spec.default);
      return;
    }
    const step = steps(event);
    if (step === 0) return;
    event.preventDefault();
    move(value + step);
  };
  slider.addEventListener("keydown", onkey);
  field.addEventListener("keydown", onkey);
  slider.addEventListener("input", () => move(Number(slider.value)));
  slider.addEventListener("pointerdown", () => { held = true; });
  for (const end of ["pointerup", "pointercancel", "change"]) slider.addEventListener(end, () => { held = false; });
  field.addEventListener("input", () => { field.dataset.typed = ""; });
  field.addEventListener("change", () => {
    const text = field.value.trim();
    delete field.dataset.typed;
    const typed = parsed(text);
    const kept = withUnit(spec, value);
    if (Number.isNaN(typed)) {
      complain(fill(words.not_a_number, { text, kept }));
    } else if (typed < spec.minimum || typed > spec.maximum) {
      complain(fill(words.outside, {
        value: text, unit: spec.unit, minimum: numberText(spec, spec.minimum), maximum: numberText(spec, spec.maximum), kept,
      }));
    } else {
      move(typed);
      return;
    }
    field.value = numberText(spec, value);
  });
  show(value);
  return {
    spec, element, complain,
    // In a group that bears the head's number the label need not repeat it, except to those who hear it.
    shorten: () => {
      slider.setAttribute("aria-label", spec.label);
      setText(name, spec.short_label);
    },
    show: (next) => { if (!held && next !== value) show(next); },
    enable: (enabled) => { for (const part of [slider, field, reset]) part.disabled = !enabled; },
  };
}

function switchControl(spec, words, onmove) {
  let value = spec.default;
  const word = h("span", { class: "switch-word", "aria-hidden": "true" });
  const note = h("p", { class: "note", role: "alert" });
  const control = h("button", {
    type: "button", role: "switch", class: "switch", "aria-label": spec.label, "aria-describedby": `${spec.name}-about`,
    onclick: () => {
      show(value ? 0 : 1);
      onmove(spec.name, value);
    },
  }, h("span", { class: "switch-track" }), word);
  const element = h("div", { class: "control switch-control", "data-control": spec.name },
    h("span", { class: "name", "aria-hidden": "true" }, spec.label), control,
    h("p", { class: "hidden-words", id: `${spec.name}-about` }, spec.description), note);
  const show = (next) => {
    value = next;
    control.setAttribute("aria-checked", next ? "true" : "false");
    setText(word, next ? words.on : words.off);
  };
  show(value);
  return { spec, element, show, complain: (text) => setText(note, text), enable: (enabled) => { control.disabled = !enabled; } };
}

function choiceControl(spec, words, onmove) {
  const own = choice(spec.name, spec.label, (value) => {
    complain("");
    onmove(spec.name, Number(value));
  });
  const options = spec.choices.map((text, index) => [String(index), text]);
  const note = h("p", { class: "note", role: "alert" });
  const complain = (text) => setText(note, text);
  own.select.setAttribute("aria-describedby", `${spec.name}-about`);
  const show = (value) => own.show(String(value), options, !own.select.disabled);
  show(spec.default);
  const element = h("div", { class: "control choice-control", "data-control": spec.name },
    own.element, h("p", { class: "about", id: `${spec.name}-about` }, spec.description), note);
  return { spec, element, show, complain, enable: (enabled) => { own.select.disabled = !enabled; } };
}

const MAKERS = { number: numberControl, switch: switchControl, choice: choiceControl };

// Controls of one head belong together; heads that have only one control share a group.
function groups(controls, words) {
  const general = controls.filter((control) => control.spec.head === 0);
  const heads = [1, 2, 3, 4].map((head) => controls.filter((control) => control.spec.head === head));
  const made = general.length ? [h("div", { class: "group" }, general.map((control) => control.element))] : [];
  if (heads.every((own) => own.length === 0)) return made;
  if (heads.every((own) => own.length <= 1)) {
    made.push(h("fieldset", { class: "group heads-row" }, h("legend", {}, words.heads), heads.flat().map((control) => {
      control.element.dataset.head = control.spec.head;
      return control.element;
    })));
    return made;
  }
  for (const [index, own] of heads.entries()) {
    for (const control of own) control.shorten?.();
    const ordered = [...own.filter((c) => c.spec.kind === "switch"), ...own.filter((c) => c.spec.kind !== "switch")];
    made.push(h("fieldset", { class: "group head-group", "data-head": index + 1 },
      h("legend", {}, fill(words.head, { head: index + 1 })), ordered.map((control) => control.element)));
  }
  return made;
}

// What is on the tape. The page reads the file; it has the field for it.
function source(model, words) {
  const file = document.getElementById("picture-file");
  const tape = choice("tape", words.tape, (value) => model.send_msg({ tape: value }));
  const programme = choice("programme", words.programme, (value) => model.send_msg({ programme: value }));
  const own = button(words.own_button, () => file.click());
  const fixed = h("p", { class: "about" }, words.fixed);
  const notice = h("p", { class: "note", role: "alert" });
  follow(model, ["tape", "tapes", "programme", "programmes", "fixed"], () => {
    tape.show(model.tape, model.tapes, !model.fixed);
    programme.show(model.programme, model.programmes, !model.fixed);
    fixed.hidden = !model.fixed;
    own.disabled = model.fixed;
  });
  follow(model, ["notice"], () => setText(notice, model.notice));
  return h("div", { class: "source" }, h("div", { class: "fields" }, tape.element, programme.element, own), fixed, notice);
}

export function render({ model, el }) {
  const words = model.words;
  // Moves go out one message at a time; while one is on its way, the latest value of each control waits.
  let waiting = new Map();
  let number = 0;
  // The message in which a control was last moved here: until the values that come back show it, they are too old.
  const moved = new Map();
  const flush = () => {
    if (model.applied < number || waiting.size === 0) return;
    number += 1;
    for (const name of waiting.keys()) moved.set(name, number);
    model.send_msg({ number, moves: Object.fromEntries(waiting) });
    waiting = new Map();
  };
  const onmove = (name, value) => {
    waiting.set(name, value);
    flush();
  };
  const controls = new Map(model.specs.map((spec) => [
    spec.name, MAKERS[spec.kind](spec, words, onmove),
  ]));
  const panels = new Map(model.stages.map((stage) => {
    const own = [...controls.values()].filter((control) => control.spec.stage === stage.name);
    return [stage.name, h("section", { class: `stage stage-${stage.name}`, "data-stage": stage.name, hidden: true, "aria-labelledby": `title-${stage.name}` },
      h("h3", { id: `title-${stage.name}` }, stage.title),
      h("p", { class: "about" }, stage.description),
      stage.name === SOURCE_STAGE ? source(model, words) : null,
      own.length ? h("div", { class: "groups" }, groups(own, words)) : h("p", {}, words.none))];
  }));
  const keys = h("p", { class: "keys" }, words.keys);
  el.append(h("div", { class: "part" }, ...panels.values(), keys));

  follow(model, ["stage"], () => {
    for (const [name, panel] of panels) panel.hidden = name !== model.stage;
    keys.hidden = !model.specs.some(({ stage, kind }) => stage === model.stage && kind === "number");
  });
  follow(model, ["offered"], () => {
    const offered = new Set(model.offered);
    for (const [name, control] of controls) {
      control.enable(offered.has(name));
      control.element.classList.toggle("closed", !offered.has(name));
    }
  });
  follow(model, ["applied"], flush);
  follow(model, ["values"], () => {
    const { applied, values } = JSON.parse(model.values);
    for (const [name, control] of controls) {
      if (name in values && !waiting.has(name) && (moved.get(name) ?? 0) <= applied) control.show(values[name]);
    }
  });
  follow(model, ["notes"], () => {
    for (const [name, control] of controls) {
      if (name in model.notes) control.complain(model.notes[name]);
    }
  });
}
