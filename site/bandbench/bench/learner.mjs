// The learner: who it is, what is kept, what was left, notes; export and import.

function moment(iso) {
  return new Date(iso).toLocaleString(document.documentElement.lang, { dateStyle: "medium", timeStyle: "short" });
}

function day(iso) {
  return new Date(iso).toLocaleDateString(document.documentElement.lang, { dateStyle: "medium" });
}

function goOnWith(left) {
  try {
    const id = sessionStorage.getItem("bandbench-go-on-with");
    if (!left.some((one) => one.id === id && !one.problem)) return "";
    sessionStorage.removeItem("bandbench-go-on-with");
    return id;
  } catch {
    // The browser refuses the page its storage.
    return "";
  }
}

// Attempts that were left: each with what was done, to go on with it or to put it away.
function leftSection(words, send) {
  const element = h("div", { class: "left-attempts" });
  let key = "";
  const show = ({ left }) => {
    if (JSON.stringify(left) === key) return;
    key = JSON.stringify(left);
    // Where the page began anew for another language, the attempt that was going on goes on by itself.
    const going = goOnWith(left);
    if (going) send("resume", going);
    element.replaceChildren(...left.map((one) => h("section", { class: "left-attempt", "aria-label": one.title },
      h("h3", {}, one.title),
      h("p", { class: "about" }, fill(words.left_about, { ...one, date: moment(one.at) })),
      one.problem ? h("p", {}, one.problem) : null,
      h("div", { class: "row" },
        one.problem ? null : button(words.resume, () => send("resume", one.id), { class: "main", "data-do": "resume" }),
        one.fixed ? null : button(words.set_aside, () => send("set_aside", one.id), { "data-do": "set_aside" })))));
  };
  return { element, show };
}

function noteSection(words, send) {
  const title = h("summary");
  const entries = h("ul", { class: "own-notes" });
  const text = h("textarea", { id: "learner-note", rows: 3, maxlength: 4000 });
  const keep = button(words.note_keep, () => {
    if (text.value.trim() === "") {
      text.focus();
      return;
    }
    send("note", text.value);
    text.value = "";
    text.focus();
  }, { "data-do": "note" });
  const element = h("details", { class: "notes" }, title,
    h("div", { class: "column" }, h("label", { for: "learner-note" }, words.note), text, keep), entries);
  let key = "";
  const show = ({ note_on: lesson, notes }) => {
    element.hidden = lesson === "";
    setText(title, fill(words.notes, { count: notes.length }));
    const next = JSON.stringify(notes);
    if (next === key) return;
    key = next;
    entries.replaceChildren(...notes.map(([at, own]) => h("li", {}, h("p", { class: "about" }, moment(at)), h("p", { class: "note-text" }, own))));
  };
  return { element, show };
}

// Who is at the bench: chosen from a list, made, renamed, deleted in two steps.
function profileSection(words, send, exportNow) {
  let now = { profiles: [], profile: "", name: "", counts: [0, 0] };
  const chooser = choice("learner-profile", words.chooser, (id) => send("choose", id));
  const field = h("input", { id: "learner-name", type: "text", maxlength: 60, autocomplete: "off" });
  const done = button("", () => finish(), { class: "main", "data-do": "name_done" });
  const cancel = button(words.cancel, () => close(make), { "data-do": "cancel" });
  const form = h("div", { class: "asked", hidden: true },
    h("span", { class: "field" }, h("label", { for: "learner-name" }, words.name), field), h("div", { class: "row" }, done, cancel));
  field.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    // The focus goes to a button, which the same Enter would press.
    event.preventDefault();
    finish();
  });
  let naming = "create";
  let opener = null;
  const close = (next) => {
    form.hidden = true;
    confirm.hidden = true;
    next.focus();
  };
  const finish = () => {
    const name = field.value;
    close(opener ?? make);
    send(naming, name);
  };
  const ask = (what, label, value, from) => {
    naming = what;
    opener = from;
    confirm.hidden = true;
    form.hidden = false;
    setText(done, label);
    field.value = value;
    field.focus();
    field.select();
  };
  const make = button(words.new, () => ask("create", words.create, "", make), { "data-do": "new" });
  const rename = button(words.rename, () => ask("rename", words.rename_done, now.name, rename), { "data-do": "rename" });
  const remove = button(words.delete, () => {
    form.hidden = true;
    setText(question, fill(words.delete_ask, { name: now.name, attempts: now.counts[0], notes: now.counts[1] }));
    confirm.hidden = false;
    question.focus();
  }, { "data-do": "delete" });
  const question = h("p", { tabindex: -1 });
  const confirm = h("div", { class: "asked", role: "group", hidden: true }, question, h("div", { class: "row" },
    button(words.export, exportNow, { "data-do": "export_first" }),
    button(words.delete_done, () => {
      close(make);
      send("delete", null);
    }, { class: "grave", "data-do": "delete_done" }),
    button(words.cancel, () => close(remove), { "data-do": "keep" })));
  const element = h("div", {}, chooser.element, h("p", { class: "about" }, words.choose_hint),
    h("div", { class: "row" }, make, rename, remove), form, confirm);
  const show = (shown) => {
    now = shown;
    const twice = new Set(shown.profiles.map(([, name]) => name).filter((name, place, names) => names.indexOf(name) !== place));
    const options = shown.profiles.map(([id, name, made]) => [id, twice.has(name) ? fill(words.made_on, { name, date: day(made) }) : name]);
    chooser.show(shown.profile, options.length > 0 ? options : [["", words.nobody]], shown.loaded && options.length > 1);
    for (const one of [rename, remove]) one.hidden = shown.profile === "";
  };
  return { element, show };
}

// A file that was chosen: what it would add, before anything is added.
function importSection(words, send) {
  const input = h("input", { id: "learner-file", type: "file", accept: ".json,application/json", onchange: () => {
    offer(input.files[0]);
    // The same file can be chosen again.
    input.value = "";
  } });
  const offer = (file) => {
    if (file) document.dispatchEvent(new CustomEvent("bandbench:records-file", { detail: { file } }));
  };
  const title = h("h4", { tabindex: -1 });
  const body = h("div");
  const accept = button(words.accept, () => send("accept", null), { class: "main", "data-do": "accept" });
  const decline = button(words.decline, () => send("decline", null), { "data-do": "decline" });
  const plan = h("div", { class: "asked", role: "group", hidden: true }, title, body, h("div", { class: "row" }, accept, decline));
  const element = h("div", { class: "records-file" }, h("span", { class: "field" }, h("label", { for: "learner-file" }, words.import), input), plan);
  let key = "null";
  const show = ({ plan: planned }) => {
    const next = JSON.stringify(planned);
    if (next === key) return;
    key = next;
    const focused = plan.contains(plan.getRootNode().activeElement);
    plan.hidden = planned === null;
    if (planned === null) {
      // Whoever pressed a button that is now gone goes on at the file.
      if (focused) input.focus();
      return;
    }
    setText(title, planned.title);
    accept.hidden = !planned.adds;
    body.replaceChildren(...planned.lines.map((line) => h("p", {}, line)),
      ...(planned.refused.length > 0 ? [h("h5", {}, words.plan_refused), h("ul", {}, planned.refused.map((line) => h("li", {}, line)))] : []));
    title.focus();
  };
  return { element, show, offer };
}

function attemptSection(words, send) {
  const entries = h("ol", { class: "attempts", reversed: true });
  const none = h("p", { class: "about" }, words.no_attempts);
  const more = h("p", { class: "about" });
  const spoilt = h("div");
  const element = h("div", {}, h("h4", {}, words.attempts), none, more, entries, spoilt);
  let key = "";
  const show = ({ attempts, all, unreadable }) => {
    none.hidden = all > 0;
    more.hidden = all <= attempts.length;
    setText(more, fill(words.more_attempts, { shown: attempts.length, count: all }));
    entries.hidden = all === 0;
    entries.setAttribute("start", all);
    const next = JSON.stringify(attempts);
    if (next !== key) {
      key = next;
      entries.replaceChildren(...attempts.map(({ id, at, text, whole, problem }) => h("li", { "data-attempt": id }, text,
        h("span", { class: "about" }, ` ${moment(at)}`),
        problem ? h("p", { class: "about" }, problem) : h("div", { class: "row" },
          Object.entries({ replay: words.kept_replay, debrief: words.kept_debrief, print: words.kept_print })
            .map(([what, label]) => button(label, () => send(what, id), { "data-do": `kept_${what}`, "aria-label": `${label}: ${text}` })),
            whole ? paperButton(words.alignment_record, "alignment", id, { "aria-label": fill(words.alignment_of, { text, date: moment(at) }) }) : null))));
    }
    spoilt.replaceChildren(...(unreadable.length === 0 ? [] : [h("h4", {}, words.unreadable), h("p", { class: "about" }, words.unreadable_about),
      h("ul", { class: "unreadable" }, unreadable.map((line) => h("li", {}, line)))]));
  };
  return { element, show };
}

export function render({ model, el }) {
  const { words } = model;
  const send = (what, value) => model.send_msg({ do: what, value });
  const exportNow = () => document.dispatchEvent(new CustomEvent("bandbench:export-records"));
  const left = leftSection(words, send);
  const notes = noteSection(words, send);
  const profile = profileSection(words, send, exportNow);
  const file = importSection(words, send);
  const attempts = attemptSection(words, send);
  const lost = h("p");
  const lostBox = h("div", { class: "lost", role: "alert", hidden: true }, lost);
  const exportLost = h("p", { hidden: true }, button(words.export, exportNow, { "data-do": "export_now" }));
  const title = h("summary");
  const storage = h("p", { class: "about storage" });
  const told = h("p", { class: "sentence", role: "status" });
  const notice = h("p", { class: "sentence", role: "status" });
  const details = h("details", { class: "records" }, title, storage, profile.element,
    h("div", { class: "row" }, button(words.export, exportNow, { "data-do": "export" }), paperButton(words.practice_record, "practice")), file.element, attempts.element);
  details.addEventListener("toggle", () => send("open", details.open));
  const part = h("div", { class: "part learner" }, lostBox, exportLost, left.element, notes.element, details, told, notice);
  el.append(part);

  // A file may be dropped anywhere on the part.
  part.addEventListener("dragover", (event) => event.preventDefault());
  part.addEventListener("drop", (event) => {
    event.preventDefault();
    // A lesson file is for the preview above (authoring.mjs).
    if (event.dataTransfer.files[0]?.name.toLowerCase().endsWith(".toml")) return;
    details.open = true;
    file.offer(event.dataTransfer.files[0]);
  });
  listenTo(model, document, "bandbench:records-told", ({ detail }) => setText(told, detail.word ? fill(words[detail.word], detail.values ?? {}) : ""));
  follow(model, ["shown"], () => {
    const shown = JSON.parse(model.shown);
    setText(title, fill(words.title, { name: shown.name || words.nobody }));
    part.dataset.storage = shown.lost ? "memory" : shown.loaded ? "kept" : "opening";
    lostBox.hidden = exportLost.hidden = !shown.lost;
    setText(lost, shown.lost ? shown.storage : "");
    storage.hidden = shown.lost;
    setText(storage, shown.storage);
    for (const section of [left, notes, profile, file, attempts]) section.show(shown);
  });
  follow(model, ["notice"], () => setText(notice, model.notice));
}
