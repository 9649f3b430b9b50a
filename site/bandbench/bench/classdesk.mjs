// The class report: files go to Python as text; what comes back is shown as text, never as markup.

// What logs were worth, in a database that holds nothing else: files never get here, only what Python has computed.
const KEPT = "bandbench-verdicts";
const MOST_KEPT = 50_000;

function verdicts(mode) {
  return new Promise((resolve, reject) => {
    const opening = indexedDB.open(KEPT, 1);
    opening.onupgradeneeded = () => opening.result.createObjectStore("verdicts").createIndex("used", "used");
    opening.onerror = () => reject(opening.error);
    opening.onsuccess = () => {
      const transaction = opening.result.transaction("verdicts", mode);
      transaction.oncomplete = transaction.onabort = () => opening.result.close();
      resolve(transaction.objectStore("verdicts"));
    };
  });
}
const answered = (request) => new Promise((resolve, reject) => {
  request.onsuccess = () => resolve(request.result);
  request.onerror = () => reject(request.error);
});

async function lookUp(keys) {
  const store = await verdicts("readonly");
  const rows = await Promise.all(keys.map((key) => answered(store.get(key))));
  return keys.flatMap((key, place) => (rows[place] ? [[key, rows[place].text]] : []));
}

async function keep(pairs) {
  const store = await verdicts("readwrite");
  const used = Date.now();
  for (const [key, text] of pairs) store.put({ text, used }, key);
  let surplus = await answered(store.count()) - MOST_KEPT;
  const oldest = store.index("used").openKeyCursor();
  oldest.onsuccess = () => {
    if (surplus <= 0 || !oldest.result) return;
    store.delete(oldest.result.primaryKey);
    surplus -= 1;
    oldest.result.continue();
  };
}

export function render({ model, el }) {
  const { words } = model;
  const send = (what, value = null) => model.send_msg({ do: what, value });
  const title = h("h2", { id: "report-title", tabindex: -1 }, words.title);
  const input = h("input", { id: "report-files", type: "file", multiple: true, accept: ".json,application/json", onchange: async () => {
    const files = [...input.files];
    await take(files);
    // The same files can be chosen again.
    input.value = "";
  } });
  const close = button(words.close, () => dialog.close(), { "data-do": "report_close" });
  const refused = h("ul", { class: "problems", role: "alert" });
  const bar = h("progress", { max: 1, value: 0, "aria-label": words.progress });
  const state = h("p", { role: "status", class: "report-state" });
  const stop = button(words.stop, () => {
    send("stop");
    go.hidden = false;
    go.focus();
  }, { "data-do": "report_stop" });
  const go = button(words.go_on, () => {
    send("go");
    stop.hidden = false;
    stop.focus();
  }, { "data-do": "report_go" });
  const clear = button(words.take_away, () => {
    send("clear");
    refused.replaceChildren();
    input.focus();
  }, { class: "quiet", "data-do": "report_clear" });
  const saved = h("p", { class: "about", role: "status" });
  const saves = h("div", { class: "row" }, [["page", words.save_page], ["skills", words.save_skills], ["items", words.save_items], ["flags", words.save_flags]]
    .map(([kind, label]) => button(label, () => send("save", kind), { "data-do": `report_${kind}` })));
  const counts = h("p", { class: "report-counts" });
  const flags = h("div");
  const matrix = h("div");
  const person = h("section", { class: "asked", "aria-labelledby": "report-person", hidden: true });
  const items = h("div");
  const result = h("div", { class: "report-result", hidden: true }, counts, h("p", { class: "about" }, words.trust), saves, saved,
    h("h3", {}, words.flags), flags, h("h3", {}, words.skills), matrix, person, h("h3", {}, words.items), items);
  const body = h("div", { class: "report-body" }, h("p", { class: "about" }, words.about),
    h("div", { class: "column" }, h("label", { for: "report-files" }, words.files), input), refused,
    state, bar, h("div", { class: "row" }, stop, go, clear), result);
  const dialog = h("dialog", { class: "reference-dialog report-dialog", "aria-labelledby": "report-title" },
    h("div", { class: "reference-head" }, title, close), body);
  const open = button(words.open_button, () => {
    openDialog(model, dialog, "report");
    title.focus();
  }, { "data-do": "report" });
  const part = h("div", { class: "part class-report" },
    h("p", { class: "reference-open" }, open, h("span", { class: "about" }, words.open_about)), dialog);
  el.append(part);

  let largest = 0;
  const refuse = (text, name) => refused.append(h("li", {}, fill(text, { name })));
  async function take(files) {
    refused.replaceChildren();
    for (const file of files) {
      if (file.size > largest) {
        refuse(words.too_large, file.name);
        continue;
      }
      try {
        const text = new TextDecoder("utf-8", { fatal: true }).decode(await file.arrayBuffer());
        model.send_msg({ do: "file", name: file.name, text });
      } catch (error) {
        refuse(error instanceof TypeError ? words.not_text : words.unreadable, file.name);
      }
    }
  }
  dialog.addEventListener("dragover", (event) => event.preventDefault());
  dialog.addEventListener("drop", (event) => {
    event.preventDefault();
    take([...event.dataTransfer.files]);
  });

  const wide = (label, table) => h("div", { class: "report-wide", role: "region", tabindex: 0, "aria-label": `${label}. ${words.scroll}` }, table);
  const heads = (names) => h("thead", {}, h("tr", {}, names.map((name) => h("th", { scope: "col" }, name))));
  const plainTable = (label, names, rows) => wide(label, h("table", {}, heads(names),
    h("tbody", {}, rows.map((cells) => h("tr", {}, cells.map((text) => h("td", {}, text)))))));

  function flagTable(rows) {
    if (rows.length === 0) return [h("p", {}, words.flags_none)];
    const names = [words.flag_kind, words.flag_who, words.flag_where, words.flag_lesson, words.flag_why, words.flag_held];
    return [h("p", { class: "about" }, words.flags_about), plainTable(words.flags, names, rows)];
  }
  function skillTable(columns, rows) {
    if (columns.length === 0) return [h("p", {}, words.skills_none)];
    const groups = [];
    for (const [, group] of columns) {
      if (groups.length > 0 && groups.at(-1)[0] === group) groups.at(-1)[1] += 1;
      else groups.push([group, 1]);
    }
    const head = h("thead", {},
      h("tr", {}, h("th", { scope: "col", rowspan: 2 }, words.person), h("th", { scope: "col", rowspan: 2 }, words.sum),
        groups.map(([group, count]) => h("th", { scope: "colgroup", colspan: count }, group))),
      h("tr", {}, columns.map(([name]) => h("th", { scope: "col", class: "skill" }, name))));
    const lines = rows.map((row, place) => h("tr", {},
      h("th", { scope: "row" }, button(row.name, () => send("person", place), { class: "quiet", "data-person": place })),
      h("td", {}, row.sum), row.cells.map(([kind, text]) => h("td", { class: `cell-${kind}` }, text))));
    return [h("p", { class: "about" }, words.press_name), wide(words.skills, h("table", { class: "report-matrix" }, head, h("tbody", {}, lines)))];
  }
  function itemTables(all) {
    if (all.length === 0) return [h("p", {}, words.items_none)];
    const names = [words.item, words.kind, words.step, words.missed, words.common];
    return [h("p", { class: "about" }, words.items_about), ...all.map(([heading, worst, rows]) => h("details", {}, h("summary", {}, heading),
      worst ? h("p", {}, worst) : null, plainTable(heading, names, rows)))];
  }

  follow(model, ["shown"], () => {
    const shown = JSON.parse(model.shown);
    part.hidden = !shown.on && !dialog.open;
    largest = shown.largest ?? 0;
    setText(state, shown.text ?? "");
    bar.hidden = !shown.total || !shown.going;
    bar.max = Math.max(shown.total ?? 1, 1);
    bar.value = shown.done ?? 0;
    stop.hidden = !shown.going;
    go.hidden = shown.going || shown.done === shown.total;
    clear.hidden = !shown.files;
    dialog.dataset.going = String(Boolean(shown.going));
    dialog.dataset.done = `${shown.done} of ${shown.total}`;
  });
  follow(model, ["tables"], () => {
    result.hidden = model.tables === "";
    if (result.hidden) return;
    const tables = JSON.parse(model.tables);
    setText(counts, tables.counts);
    flags.replaceChildren(...flagTable(tables.flags));
    matrix.replaceChildren(...skillTable(tables.columns, tables.rows));
    items.replaceChildren(...itemTables(tables.items));
  });
  follow(model, ["person"], () => {
    person.hidden = model.person === "";
    if (person.hidden) return;
    const { place, name, lines } = JSON.parse(model.person);
    const heading = h("h4", { id: "report-person", tabindex: -1 }, name);
    const back = button(words.person_close, () => {
      person.hidden = true;
      matrix.querySelector(`[data-person="${place}"]`)?.focus();
    }, { "data-do": "report_person_close" });
    person.replaceChildren(heading, lines.length === 0 ? h("p", {}, words.no_attempts)
      : h("dl", { class: "report-evidence" }, lines.map(([lesson, text]) => h("div", {}, h("dt", {}, lesson), h("dd", {}, text)))), back);
    heading.focus();
  });
  let asked = 0;
  follow(model, ["wanted"], async () => {
    if (!model.wanted.text || model.wanted.number === asked) return;
    asked = model.wanted.number;
    let found = [];
    try {
      found = await lookUp(JSON.parse(model.wanted.text));
    } catch (error) {
      console.info(`No verdicts are known: ${error?.name}: ${error?.message}`);
    }
    send("known", JSON.stringify(found));
  });
  let kept = 0;
  follow(model, ["fresh"], () => {
    if (!model.fresh.text || model.fresh.number === kept) return;
    kept = model.fresh.number;
    keep(JSON.parse(model.fresh.text)).catch((error) => console.info(`Verdicts are not kept: ${error?.name}: ${error?.message}`));
  });
  let number = 0;
  follow(model, ["file"], () => {
    if (!model.file.name || model.file.number === number) return;
    number = model.file.number;
    saveFile(model.file.name, new Blob([model.file.text], { type: model.file.type }));
    setText(saved, fill(words.saved, { file: model.file.name }));
  });
}
