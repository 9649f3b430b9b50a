// The lesson card, and the other uses of the bench.

const HINTS = 3;

function list(tag, texts) {
  return h(tag, {}, texts.map((text) => {
    const item = h("li");
    item.append(...prose(text).firstChild.childNodes);
    return item;
  }));
}

function mode(words, name, send) {
  return h("button", { type: "button", class: "mode", "data-mode": name, onclick: () => send("mode", name) },
    h("span", { class: "mode-name" }, words[name]), h("span", { class: "mode-text" }, words[`${name}_text`]));
}

function choosePage(words, send) {
  const title = h("h3", { tabindex: -1 }, words.choose);
  return { title, element: h("div", {}, title, h("p", { class: "about" }, words.choose_text),
    h("div", { class: "modes" }, ["learn", "practise", "demonstrate"].map((name) => mode(words, name, send)))) };
}

// What help is permitted, where somebody has set that.
function setForYou(model, classes) {
  const text = h("p", { class: classes });
  follow(model, ["permitted"], () => {
    setText(text, model.permitted.text ?? "");
    text.hidden = text.textContent === "";
  });
  return text;
}

function briefingPage(model, words, send) {
  const title = h("h3", { tabindex: -1 });
  const none = h("p", {}, words.none);
  const minutes = h("p", { class: "about" });
  const objectives = h("details", {}, h("summary", {}, words.objectives), list("ul", []));
  const cautions = h("details", { "data-part": "cautions" }, h("summary", {}, words.cautions), list("ul", []));
  const briefing = h("div");
  // Only what is told of a lesson is made anew: what is pressed stays where it is while the finger is on it.
  const body = h("div", {}, minutes, setForYou(model, "set-for-you"), briefing,
    h("p", {}, button(words.begin, () => send("begin"), { class: "main", "data-do": "begin" })),
    // Folded, so that the course below is in sight.
    objectives, cautions, h("p", {}, paperButton(words.job_sheet, "job")));
  follow(model, ["lesson"], () => {
    const { lesson } = model;
    none.hidden = Boolean(lesson.title);
    body.hidden = !lesson.title;
    setText(title, lesson.title || words.learn);
    if (!lesson.title) return;
    setText(minutes, fill(words.minutes, { minutes: lesson.minutes }));
    briefing.replaceChildren(prose(lesson.briefing));
    for (const [folded, items] of [[objectives, lesson.objectives], [cautions, lesson.cautions]]) {
      folded.lastChild.replaceWith(list("ul", items));
      folded.open = false;
    }
  });
  return { title, element: h("div", { class: "briefing" }, title, none, body, h("p", {}, button(words.change, () => send("mode", null), { class: "quiet", "data-do": "leave" }))) };
}

function stepSection(model, words, send) {
  const title = h("h4", { class: "step-title" });
  const place = h("p", { class: "about" });
  const body = h("div");
  const watch = h("dl", { class: "watch" });
  const back = button(words.back, () => send("step", model.step.number - 1), { "data-do": "back" });
  const next = button(words.next, () => send("step", model.step.number + 1), { class: "main", "data-do": "next" });
  const spoken = h("p", { class: "hidden-words", role: "status" });
  const worked = h("div", { class: "worked" });
  follow(model, ["step"], () => {
    const { step } = model;
    worked.hidden = !step.worked;
    if (!step.worked) return;
    worked.replaceChildren(h("p", { class: "about" }, words.worked), ...step.reasons.map(prose));
    worked.append(button(words.do_step, () => send("worked"), { "data-do": "worked" }));
  });
  follow(model, ["step"], () => {
    const { step } = model;
    if (!step.title) return;
    const count = fill(words.step, step);
    setText(place, count);
    setText(title, step.title);
    setText(spoken, `${count}: ${step.title}. ${step.text}`);
    setAttribute(back, "aria-disabled", step.number <= 1 ? "true" : null);
    setAttribute(next, "aria-disabled", step.number >= step.total ? "true" : null);
    body.replaceChildren(prose(step.text), h("p", { class: "expect" }, h("b", {}, `${words.expect}: `), ...prose(step.expect).firstChild.childNodes));
  });
  follow(model, ["watch"], () => {
    if (watch.childElementCount !== model.watch.length || model.watch.some(({ label }, index) => watch.children[index].firstChild.textContent !== label)) {
      watch.replaceChildren(...model.watch.map(({ name, label }) => h("div", {}, h("dt", {}, label), h("dd", { "data-watch": name }))));
    }
    model.watch.forEach(({ text }, index) => setText(watch.children[index].lastChild, text));
  });
  return h("section", { class: "step" }, place, title, body, worked, watch, h("div", { class: "row" }, back, next), spoken);
}

// One question: what can be answered, or what was. It is built anew only when it has been answered, so that what is
// being chosen stays.
function questionField(one, words, send) {
  const id = `question-${one.name}`;
  const legend = h("legend", {}, one.title);
  if (one.given) {
    const verdict = one.passed ? words.right_answer : fill(words.wrong_answer, { text: one.right });
    return h("fieldset", { class: `question ${one.told ? (one.passed ? "passed" : "missed") : ""}`, "data-question": one.name, tabindex: -1 },
      legend, prose(one.text), h("p", {}, fill(words.given, { text: one.given })),
      ...(one.told ? [h("p", { class: "check-verdict" }, verdict), prose(one.explain)] : [h("p", { class: "about" }, words.kept)]));
  }
  const input = (value, label, index) => {
    const box = h("input", { type: one.many ? "checkbox" : "radio", name: id, id: `${id}-${index}`, value });
    return h("label", { class: "option", for: `${id}-${index}` }, box, ` ${label}`);
  };
  const number = one.kind === "numeric" ? h("input", { type: "text", inputmode: "decimal", id: `${id}-number`, autocomplete: "off" }) : null;
  const fields = number
    ? [h("span", { class: "field" }, h("label", { for: `${id}-number` }, fill(words.number, { unit: one.unit })), number)]
    : one.options.map(([value, label], index) => input(value, label, index));
  const field = h("fieldset", { class: "question", "data-question": one.name }, legend, prose(one.text),
    ...(one.many ? [h("p", { class: "about" }, words.choose_all)] : []), h("div", { class: "options" }, fields));
  const answer = () => {
    const chosen = number ? number.value : [...field.querySelectorAll("input:checked")].map((box) => box.value).join("+");
    if (chosen !== "") send("answer", { question: one.name, answer: chosen });
  };
  number?.addEventListener("keydown", (event) => { if (event.key === "Enter") answer(); });
  field.append(button(words.answer, answer, { "data-do": `answer-${one.name}`, "aria-label": fill(words.answer_of, { title: one.title }) }));
  return field;
}

// Chromium keeps the radio buttons of a shadow tree in the group of their name when they are taken away, and with them all
// that stood around: before, they have to leave the group.
function leaveGroups(element) {
  for (const box of element.querySelectorAll("input[type=radio]")) box.removeAttribute("name");
}

function questionSection(model, words, send) {
  const fields = h("div", { class: "questions", role: "group", "aria-label": words.questions });
  const section = h("section", { class: "question-section" }, h("h4", {}, words.questions), h("p", { class: "about" }, words.questions_text), fields);
  let shown = [];
  follow(model, ["questions", "seed"], () => {
    section.hidden = model.questions.length === 0;
    const now = model.questions.map((one) => JSON.stringify([model.seed, one]));
    const anew = now.length !== shown.length;
    if (anew) {
      leaveGroups(fields);
      fields.replaceChildren();
    }
    model.questions.forEach((one, index) => {
      if (!anew && now[index] === shown[index]) return;
      const field = questionField(one, words, send);
      const old = fields.children[index];
      const inside = old?.contains(document.activeElement);
      if (old) {
        leaveGroups(old);
        old.replaceWith(field);
      } else fields.append(field);
      // Whoever pressed the button that is now gone goes on reading at what came of it.
      if (inside) field.focus();
    });
    shown = now;
  });
  return section;
}

function checkSection(model, words, send) {
  const check = button(words.check, () => send("check"), { class: "main", "data-do": "check" });
  const about = h("p", { class: "about" });
  follow(model, ["lesson"], () => {
    const asks = ["diagnosis", "assessment"].includes(model.lesson.mode) || model.lesson.checks === 0;
    setText(check, asks ? words.submit : words.check);
    setText(about, asks ? words.submit_text : words.check_text);
  });
  const results = h("div", { role: "status", class: "checks" });
  const result = button(words.result, () => send("result"), { "data-do": "result" });
  const again = button(words.restart, () => send("restart"), { "data-do": "restart" });
  follow(model, ["checks", "finished"], () => {
    check.hidden = model.finished;
    result.hidden = model.checks.length === 0 && !model.finished;
    results.replaceChildren(
      ...(model.finished ? [h("p", { class: "verdict" }, words.finished)] : []),
      ...model.checks.map((one) => h("div", { class: `check ${one.passed ? "passed" : "missed"}`, "data-check": one.name },
        h("p", { class: "check-head" }, h("b", {}, one.title), " ", h("span", { class: `check-value ${whole(one.value) ?? ""}` }, one.value)),
        h("p", { class: "check-verdict" }, one.passed ? `✓ ${words.in_tolerance}` : `✗ ${words.out_of_tolerance}`),
        h("p", { class: "about" }, `${words.target}: ${one.target}`),
        h("p", { class: "about" }, `${words.source}: ${one.source}`))));
  });
  return h("section", { class: "check-section" }, h("h4", {}, words.check_title),
    about, check, results, h("div", { class: "row" }, result, again));
}

function hintSection(model, words, send) {
  const opened = h("div");
  const open = button("", () => send("hint", model.hints.length + 1), { "data-do": "hint" });
  const limit = h("p", { class: "about" });
  follow(model, ["hints", "permitted"], () => {
    const level = model.hints.length;
    while (opened.childElementCount > level) opened.lastChild.remove();
    while (opened.childElementCount < level) {
      const number = opened.childElementCount + 1;
      opened.append(h("div", { class: "hint", role: "status" }, h("h5", {}, words[`hint_${number}`]), prose(model.hints[number - 1])));
    }
    open.hidden = level >= Math.min(HINTS, model.permitted.hints ?? HINTS);
    setText(limit, model.permitted.limit ?? "");
    limit.hidden = limit.textContent === "";
    setText(open, fill(words.open_hint, { level: Math.min(level + 1, HINTS) }));
  });
  return h("section", { class: "hints" }, h("h4", {}, words.hints), opened, open, limit);
}

function stepsPage(model, words, send) {
  const title = h("h3", { tabindex: -1 });
  const seed = h("p", { class: "about seed" });
  const stage = h("p", { class: "about lesson-stage" });
  follow(model, ["stage"], () => setText(stage, model.stage));
  const briefing = h("div");
  follow(model, ["lesson", "seed"], () => {
    setText(title, model.lesson.title ?? "");
    setText(seed, fill(words.seed, { seed: model.seed }));
    briefing.replaceChildren(...(model.lesson.briefing ? [prose(model.lesson.briefing), h("h4", {}, words.cautions), list("ul", model.lesson.cautions)] : []));
  });
  return { title, element: h("div", { class: "steps" }, title, seed, setForYou(model, "about set-for-you"), stage,
    stepSection(model, words, send), questionSection(model, words, send), checkSection(model, words, send), hintSection(model, words, send),
    h("details", {}, h("summary", {}, words.briefing), briefing),
    h("p", {}, paperButton(words.job_sheet, "job")),
    h("p", {}, button(words.leave, () => send("mode", null), { class: "quiet", "data-do": "leave" }))) };
}

function practisePage(model, words, send) {
  const title = h("h3", { tabindex: -1 }, words.practise);
  const state = h("p", { role: "status" });
  const hide = button(words.hide, () => send("hide_fault"), { class: "main" });
  const reveal = button(words.reveal, () => send("show_fault"));
  const right = button(words.right, () => send("clear_fault"));
  follow(model, ["fault"], () => {
    setText(state, model.fault.text);
    setText(hide, model.fault.state === "none" ? words.hide : words.hide_again);
    reveal.hidden = model.fault.state !== "hidden";
    right.hidden = ["none", "instructed"].includes(model.fault.state);
  });
  return { title, element: h("div", {}, title, h("p", { class: "about" }, words.practise_text), state,
    h("div", { class: "column" }, hide, reveal, right), h("p", {}, button(words.change, () => send("mode", null), { class: "quiet", "data-do": "leave" }))) };
}

function demonstratePage(model, words, send) {
  const title = h("h3", { tabindex: -1 }, words.demonstrate);
  const state = h("p", { role: "status" });
  const fault = choice("fault-name", words.fault, () => {});
  const severity = slideBar({ id: "fault-severity", min: 0.05, max: 1, step: 0.05, value: 0.5 });
  const amount = h("span", { class: "about" });
  const say = () => {
    const percent = `${Math.round(100 * severity.value)} %`;
    setText(amount, percent);
    severity.setAttribute("aria-valuetext", percent);
  };
  severity.addEventListener("input", say);
  say();
  const plant = button(words.plant, () => send("plant_fault", { name: fault.select.value, severity: Number(severity.value) }), { class: "main" });
  const right = button(words.right, () => send("clear_fault"));
  const caption = h("section", { class: "step", role: "status" });
  const form = h("div", { class: "column" }, fault.element,
    h("span", { class: "field amount" }, h("label", { for: "fault-severity" }, words.severity), severity, amount), plant, right);
  follow(model, ["fault", "faults", "caption"], () => {
    setText(state, model.fault.text);
    const instructed = model.fault.state === "instructed";
    form.hidden = instructed;
    if (model.faults.length > 0) fault.show(fault.select.value || model.faults[0][0], model.faults);
    else fault.show("", []);
    right.hidden = model.fault.state === "none";
    const { demonstration, count, title: heading, text } = model.caption;
    caption.hidden = heading === undefined;
    if (caption.hidden) caption.replaceChildren();
    else caption.replaceChildren(h("p", { class: "about" }, `${demonstration}. ${count}`), h("h4", { class: "step-title" }, heading), prose(text));
  });
  // The page opens the console: only it knows what this window is called.
  const refused = h("p", { class: "note", role: "alert" });
  const open = button(words.console, () => {
    const asked = new CustomEvent("bandbench:open-console", { detail: {} });
    document.dispatchEvent(asked);
    setText(refused, asked.detail.refused ? words.console_blocked : "");
  }, { "data-do": "console", "aria-keyshortcuts": "Alt+Shift+K" });
  listenTo(model, document, "keydown", (event) => {
    if (model.page !== "demonstrate" || !event.altKey || !event.shiftKey || event.code !== "KeyK") return;
    event.preventDefault();
    open.click();
  });
  // Before a class, nothing is said of what an instructor can do.
  const about = h("p", { class: "about" }, words.console_text);
  const free = h("p", { class: "about" }, words.demonstrate_text);
  const name = h("p", { class: "about" }, fill(words.console_window, { name: document.documentElement.dataset.window ?? "" }));
  follow(model, ["fault"], () => { about.hidden = free.hidden = model.fault.state === "instructed"; });
  return { title, element: h("div", {}, title, caption, free, state, form,
    h("p", {}, open), about, name, refused,
    h("p", {}, button(words.change, () => send("mode", null), { class: "quiet", "data-do": "leave" }))) };
}

// Whether the focus has gone on, from what was pressed last, to something outside this card.
function busyElsewhere(el, pressed) {
  let focused = document.activeElement;
  while (focused?.shadowRoot?.activeElement) focused = focused.shadowRoot.activeElement;
  const around = [el, el.getRootNode().host, pressed].filter(Boolean);
  return Boolean(focused) && focused !== document.body && focused.checkVisibility() && !el.contains(focused)
    && !around.some((one) => focused.contains(one));
}

export function render({ model, el }) {
  const { words } = model;
  let asked = false;
  let pressed = null;
  listenTo(model, document, "click", (event) => { pressed = event.composedPath()[0]; });
  const send = (what, value = null) => {
    asked = true;
    model.send_msg({ do: what, value });
  };
  const pages = {
    choose: choosePage(words, send),
    briefing: briefingPage(model, words, send),
    steps: stepsPage(model, words, send),
    practise: practisePage(model, words, send),
    demonstrate: demonstratePage(model, words, send),
  };
  const notice = h("p", { class: "note", role: "alert" });
  el.append(h("div", { class: "part lesson-card" }, Object.values(pages).map((page) => page.element), notice));
  let shown = "";
  follow(model, ["page"], () => {
    if (model.page === shown) return;
    shown = model.page;
    for (const [name, page] of Object.entries(pages)) page.element.hidden = name !== shown;
    // Whoever pressed a button that is now gone goes on reading at the new page's title; whoever has gone on elsewhere
    // meanwhile is left there.
    if (asked && !busyElsewhere(el, pressed)) pages[shown].title.focus();
  });
  follow(model, ["notice"], () => setText(notice, model.notice));
}
