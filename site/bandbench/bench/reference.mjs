// The reference pages: a dialog with one field that finds in all of them.

export function render({ model, el }) {
  const { words } = model;
  const field = h("input", { type: "search", id: "reference-filter", autocomplete: "off", "aria-describedby": "reference-count" });
  const count = h("p", { class: "about", id: "reference-count", role: "status" });
  const body = h("div", { class: "reference-pages" });
  const title = h("h2", { id: "reference-title", tabindex: -1 }, words.title);
  const close = button(words.close, () => dialog.close(), { "data-do": "reference_close" });
  const paper = button(words.print, () => globalThis.print(), { "data-do": "reference_print" });
  const dialog = h("dialog", { class: "reference-dialog", "aria-labelledby": "reference-title" },
    h("div", { class: "reference-head" }, title,
      h("span", { class: "field" }, h("label", { for: "reference-filter" }, words.filter), field), paper, close, count), body);
  const open = button(words.open, () => {
    openDialog(model, dialog, "reference");
    title.focus();
    if (model.pages === "") setText(count, words.loading);
    model.send_msg({ do: "open" });
  }, { "data-do": "reference" });
  const closed = h("p", { class: "about" }, words.closed);
  const opening = h("p", { class: "reference-open" }, open, h("span", { class: "about" }, words.open_text));
  el.append(h("div", { class: "part reference" }, opening, closed, dialog));
  follow(model, ["closed"], () => {
    opening.hidden = model.closed;
    closed.hidden = !model.closed;
    if (model.closed) dialog.close();
  });

  // Every row with its text in small letters, for the field to look through.
  let rows = [];
  let parts = [];
  const table = (section) => {
    const own = section.rows.map((cells) => {
      const element = h("tr", { role: "row" }, h("th", { scope: "row", role: "rowheader" }, cells[0]),
        cells.slice(1).map((text, place) => h("td", { role: "cell", "data-label": section.columns[place + 1] }, text)));
      rows.push({ element, text: cells.join(" ").toLowerCase() });
      return element;
    });
    const element = h("section", { class: "reference-table" }, section.title ? h("h4", {}, section.title) : null,
      h("div", { class: "table" }, h("table", { role: "table" },
        h("thead", { role: "rowgroup" }, h("tr", { role: "row" }, section.columns.map((name) => h("th", { scope: "col", role: "columnheader" }, name)))),
        h("tbody", { role: "rowgroup" }, own))));
    return { element, own };
  };
  const page = (one) => {
    const tables = one.sections.map(table);
    const number = tables.reduce((sum, { own }) => sum + own.length, 0);
    const found = h("span", { class: "about" });
    const element = h("details", { "data-page": one.name },
      h("summary", {}, h("h3", {}, one.title), " ", found), h("p", { class: "about" }, one.text), tables.map((each) => each.element));
    parts.push({ element, tables, found, number });
    return element;
  };
  const find = () => {
    const wanted = field.value.trim().toLowerCase();
    let all = 0;
    for (const row of rows) row.element.hidden = !row.text.includes(wanted);
    for (const { element, tables, found } of parts) {
      let number = 0;
      for (const { element: section, own } of tables) {
        const left = own.filter((row) => !row.hidden).length;
        section.hidden = left === 0;
        number += left;
      }
      element.hidden = number === 0;
      if (wanted !== "") element.open = number > 0;
      setText(found, fill(words.count, { count: number }));
      all += number;
    }
    const text = field.value.trim();
    setText(count, rows.length === 0 ? "" : fill(wanted === "" ? words.count : all > 0 ? words.found : words.nothing, { count: all, text }));
  };
  field.addEventListener("input", find);
  follow(model, ["pages"], () => {
    if (model.pages === "") return;
    rows = [];
    parts = [];
    body.replaceChildren(...JSON.parse(model.pages).map(page));
    find();
  });
}
