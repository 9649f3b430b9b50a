// What was set for the learner, and a form to set lessons for others. The link is read and written in Python (links.py).

function day(iso) {
  return new Date(iso).toLocaleDateString(document.documentElement.lang, { dateStyle: "medium" });
}

// The address of the page without what a link fixes.
const bareAddress = () => `${location.origin}${location.pathname}`;

function assignedSection(words, send) {
  const title = h("h3", { tabindex: -1 });
  const about = h("p", { class: "about" });
  const list = h("ol", { class: "assigned-lessons" });
  const drop = button(words.drop, () => send("drop"), { class: "quiet", "data-do": "assignment_drop" });
  const element = h("section", { class: "assigned", "aria-label": words.assigned }, title, about, list, drop);
  let key = "";
  const entry = (one, place) => h("li", {}, h("button", {
    type: "button", class: `lesson-choice ${one.state}`, "data-task": place, "data-state": one.state, "aria-current": one.chosen ? "true" : null,
    onclick: () => {
      send("choose", place);
      document.getElementById("lesson").focus();
    },
  }, h("span", { class: "choice-title" }, one.title), h("span", { class: "choice-about" }, one.about),
  h("span", { class: "choice-state" }, one.at ? fill(one.text, { date: day(one.at) }) : one.text)));
  const show = (shown) => {
    element.hidden = !shown.on || shown.title === "";
    const next = JSON.stringify(shown);
    if (next === key) return;
    key = next;
    if (!shown.title) return;
    setText(title, fill(words.title, { title: shown.title }));
    setText(about, [shown.due, shown.count].filter(Boolean).join(" "));
    const focused = list.contains(list.getRootNode().activeElement) ? list.getRootNode().activeElement.dataset.task : null;
    list.replaceChildren(...shown.tasks.map(entry));
    if (focused !== null) list.querySelector(`[data-task="${focused}"]`)?.focus();
  };
  return { element, show };
}

// The form: lessons are put on a list one after the other; after each change Python says what link that is.
function makerSection(model, words, send) {
  const rows = [];
  const lesson = choice("set-lesson", words.lesson, () => make());
  const field = (id, label, attributes) => {
    const input = h("input", { id, type: "text", autocomplete: "off", oninput: () => make(), ...attributes });
    return { input, element: h("span", { class: "field" }, h("label", { for: id }, label), input) };
  };
  const seed = field("set-seed", words.seed_label, { inputmode: "numeric", maxlength: 16 });
  const title = field("set-title", words.title_label, { maxlength: model.limits.title });
  const due = field("set-due", words.due_label, { maxlength: model.limits.title });
  const hints = choice("set-hints", words.hints_label, () => make());
  const boxes = model.helps.filter(([word]) => !word.startsWith("hints-")).map(([word, text]) => {
    const box = h("input", { type: "checkbox", id: `set-${word}`, value: word, checked: "", onchange: () => make() });
    return { box, element: h("label", { class: "option", for: `set-${word}` }, box, ` ${text}`) };
  });
  const levels = model.helps.filter(([word]) => word.startsWith("hints-"));
  const add = button(words.add, () => {
    rows.push(current());
    seed.input.value = "";
    draw();
    make();
  }, { "data-do": "set_add" });
  const list = h("ol", { class: "set-list" });
  const problem = h("p", { class: "note", role: "alert" });
  const made = h("p", { class: "about" });
  const link = h("input", { id: "set-link", type: "text", readonly: "", onfocus: () => link.select() });
  const told = h("p", { role: "status" });
  const copy = button(words.copy, async () => {
    try {
      await navigator.clipboard.writeText(link.value);
      setText(told, words.copied);
    } catch {
      // Not allowed here, as where the page did not come by a safe way.
      link.focus();
      link.select();
      setText(told, words.copy_by_hand);
    }
  }, { class: "main", "data-do": "set_copy" });
  let file = "";
  const save = button(words.save, () => saveFile("bandbench-assignment.toml", new Blob([file], { type: "application/toml" })), { "data-do": "set_save" });
  const outcome = h("div", { class: "asked", role: "group", "aria-label": words.made_title }, made,
    h("span", { class: "field" }, h("label", { for: "set-link" }, words.link_label), link), h("div", { class: "row" }, copy, save), told);

  const current = () => ({
    lesson: lesson.select.value, seed: seed.input.value,
    help: [...(hints.select.value ? [hints.select.value] : []), ...boxes.filter(({ box }) => box.checked).map(({ box }) => box.value)],
  });
  const nameOf = (id) => model.lessons.find(([name]) => name === id)?.[1] ?? id;
  const helpOf = (kinds) => model.helps.filter(([word]) => kinds.includes(word)).map(([, text]) => text).join(", ") || words.no_help;
  function draw() {
    list.hidden = rows.length === 0;
    list.replaceChildren(...rows.map((row, place) => h("li", {}, h("span", {}, fill(row.seed ? words.row_seed : words.row, { title: nameOf(row.lesson), seed: row.seed, help: helpOf(row.help) })), " ",
      button(words.remove, () => {
        rows.splice(place, 1);
        draw();
        make();
        add.focus();
      }, { class: "quiet", "data-do": "set_remove", "aria-label": fill(words.remove_of, { title: nameOf(row.lesson) }) }))));
    setAttribute(add, "aria-disabled", rows.length >= model.limits.lessons ? "true" : null);
  }
  // With an empty list the form's own lesson is what the link is about.
  function make() {
    setText(told, "");
    send("make", { title: title.input.value, due: due.input.value, lessons: rows.length ? rows : [current()] });
  }
  const element = h("details", { class: "maker" }, h("summary", {}, words.maker), h("p", { class: "about" }, words.maker_about),
    h("div", { class: "column" }, lesson.element, seed.element,
      h("fieldset", { class: "options" }, h("legend", {}, words.help_label), hints.element, boxes.map((one) => one.element)),
      add, list, title.element, due.element), problem, outcome);
  lesson.show(model.lessons[0]?.[0] ?? "", model.lessons);
  hints.show(levels.at(-1)?.[0] ?? "", [["", words.no_hints], ...levels]);
  draw();
  element.addEventListener("toggle", () => { if (element.open) make(); });
  follow(model, ["made"], () => {
    const now = JSON.parse(model.made);
    setText(problem, now.problem ?? "");
    outcome.hidden = !now.query;
    setText(made, now.text ?? "");
    link.value = now.query ? `${bareAddress()}?${now.query}` : "";
    file = now.file ?? "";
  });
  return { element };
}

export function render({ model, el }) {
  const { words } = model;
  const send = (what, value = null) => model.send_msg({ do: what, value });
  const notice = h("p", { role: "alert" });
  const away = button(words.put_away, () => {
    refuse("");
    document.getElementById("lesson").focus();
  }, { class: "quiet", "data-do": "notice_away" });
  // Above the whole bench, where nobody overlooks it.
  const box = document.getElementById("link-notice");
  box.append(notice, away);
  model.on("lifecycle:remove", () => box.replaceChildren());
  const assigned = assignedSection(words, send);
  const input = h("input", { id: "assignment-file", type: "file", accept: ".toml,.json,application/toml,application/json", onchange: () => {
    take(input.files[0]);
    // The same file can be chosen again, when it has been corrected.
    input.value = "";
  } });
  const maker = makerSection(model, words, send);
  const details = h("details", { class: "assignment-details" }, h("summary", {}, words.details), h("p", { class: "about" }, words.file_about),
    h("div", { class: "column" }, h("label", { for: "assignment-file" }, words.file), input), maker.element);
  const part = h("div", { class: "part assignment" }, assigned.element, details);
  el.append(part);

  const refuse = (text) => {
    setText(notice, text);
    box.hidden = text === "";
  };
  async function take(file) {
    if (!file) return;
    // Four bytes for a character at most.
    if (file.size > 4 * model.limits.file) {
      refuse(fill(words.too_large, { name: file.name, largest: model.limits.file / 1000 }));
      return;
    }
    try {
      const text = new TextDecoder("utf-8", { fatal: true }).decode(await file.arrayBuffer());
      refuse("");
      fromFile = true;
      model.send_msg({ do: "file", name: file.name, text });
    } catch (error) {
      refuse(fill(error instanceof TypeError ? words.not_utf8 : words.not_read, { name: file.name }));
    }
  }
  // A file dropped here is an assignment; elsewhere in the lesson's place it is a lesson or records.
  part.addEventListener("dragover", (event) => event.preventDefault());
  part.addEventListener("drop", (event) => {
    event.preventDefault();
    event.stopPropagation();
    take(event.dataTransfer.files[0]);
  });

  let kept = "";
  let fromFile = false;
  follow(model, ["shown"], () => {
    const shown = JSON.parse(model.shown);
    details.hidden = !shown.on;
    assigned.show(shown);
    // With the assignment in its address the page can be marked and comes back with it.
    if (shown.link && shown.link !== kept) {
      kept = shown.link;
      try { history.replaceState(null, "", `?${kept}`); } catch { /* Not allowed in this frame. */ }
      // A file that asks for another language: the page begins anew with it, from the link.
      const asked = new URLSearchParams(kept).get("language");
      if (fromFile && asked && !document.documentElement.lang.startsWith(asked)) location.reload();
    }
    if (!shown.title && kept) {
      kept = "";
      try { history.replaceState(null, "", location.pathname); } catch { /* Not allowed in this frame. */ }
    }
  });
  follow(model, ["notice"], () => refuse(model.notice));
  if (location.search) send("link", location.search);
}
