// A lesson of one's own: the file goes to Python as text, and Python says what is wrong with it.

export function render({ model, el }) {
  const { words } = model;
  const send = (what, value = null) => model.send_msg({ do: what, value });
  const input = h("input", { id: "lesson-file", type: "file", accept: ".toml,application/toml,text/plain", onchange: () => {
    take(input.files[0]);
    // The same file can be chosen again, when it has been corrected.
    input.value = "";
  } });
  const refused = h("p", { class: "note", role: "alert" });
  const title = h("h4", { tabindex: -1 });
  const verdict = h("p");
  const problems = h("ul", { class: "problems" });
  const begin = button(words.choose, () => {
    send("choose");
    document.getElementById("lesson").focus();
  }, { class: "main", "data-do": "preview" });
  const seeds = choice("lesson-seeds", words.seeds, () => {});
  const prove = button(words.prove, () => send("prove", Number(seeds.select.value)), { "data-do": "prove" });
  const cancel = button(words.cancel, () => send("cancel"), { "data-do": "prove_cancel" });
  const drop = button(words.drop, () => {
    send("drop");
    input.focus();
  }, { class: "quiet", "data-do": "preview_drop" });
  const bar = h("progress", { max: 1, value: 0, "aria-label": words.progress });
  const proof = h("p", { role: "status" });
  const found = h("ul", { class: "problems" });
  const file = h("div", { class: "asked", role: "group", hidden: true }, title, verdict, problems,
    h("div", { class: "row" }, begin), h("div", { class: "row" }, seeds.element, prove, cancel), bar, proof, found, drop);
  const details = h("details", { class: "authoring-details" }, h("summary", {}, words.title), h("p", { class: "about" }, words.about),
    h("div", { class: "column" }, h("label", { for: "lesson-file" }, words.file), input), refused, file);
  const notice = h("p", { class: "note", role: "alert" });
  const part = h("div", { class: "part authoring" }, details, notice);
  el.append(part);

  let largest = 0;
  async function take(chosen) {
    if (!chosen) return;
    setText(refused, "");
    // Four bytes for a character at most.
    if (chosen.size > 4 * largest) {
      setText(refused, fill(words.too_large, { name: chosen.name, size: Math.round(chosen.size / 1000), largest: largest / 1000 }));
      return;
    }
    let text;
    try {
      text = new TextDecoder("utf-8", { fatal: true }).decode(await chosen.arrayBuffer());
    } catch (error) {
      setText(refused, fill(error instanceof TypeError ? words.not_utf8 : words.unreadable, { name: chosen.name }));
      return;
    }
    model.send_msg({ do: "file", name: chosen.name, text });
  }
  // A lesson file may be dropped anywhere on the lesson's place of the page; other files are others' business.
  const zone = document.getElementById("lesson");
  const isLesson = (transfer) => transfer?.files[0]?.name.toLowerCase().endsWith(".toml");
  listenTo(model, zone, "dragover", (event) => event.preventDefault());
  listenTo(model, zone, "drop", (event) => {
    event.preventDefault();
    if (part.hidden || !isLesson(event.dataTransfer)) return;
    details.open = true;
    take(event.dataTransfer.files[0]);
  });

  const lines = (list, entries) => list.replaceChildren(...entries.map(([key, reason, remedy]) => h("li", {}, h("b", {}, key), `: ${reason}. `, remedy)));
  let told = "";
  follow(model, ["shown"], () => {
    const shown = JSON.parse(model.shown);
    part.hidden = !shown.on;
    largest = shown.largest ?? 0;
    file.hidden = !shown.source;
    if (!shown.source) {
      told = "";
      return;
    }
    setText(title, shown.usable ? fill(words.preview, { title: shown.title }) : shown.source);
    setText(verdict, shown.usable ? words.good : fill(words.bad, { count: shown.problems.length }));
    lines(problems, shown.problems);
    begin.hidden = prove.hidden = seeds.element.hidden = !shown.usable;
    seeds.show(String(seeds.select.value || 1), Array.from({ length: shown.most }, (_, place) => [String(place + 1), String(place + 1)]));
    const running = shown.proof !== null && !shown.proof.over;
    setAttribute(prove, "aria-disabled", running ? "true" : null);
    cancel.hidden = !running;
    bar.hidden = !running;
    if (shown.proof) {
      bar.max = shown.proof.total;
      bar.value = shown.proof.done;
      setText(proof, running ? fill(words.proving, shown.proof) : shown.proof.problems.length ? fill(words.not_proved, { count: shown.proof.problems.length }) : fill(words.proved, shown.proof));
      lines(found, shown.proof.problems);
    } else {
      setText(proof, "");
      found.replaceChildren();
    }
    const key = JSON.stringify([shown.source, shown.title, shown.problems]);
    if (key !== told) {
      told = key;
      details.open = true;
      title.focus();
    }
  });
  follow(model, ["notice"], () => setText(notice, model.notice));
}
