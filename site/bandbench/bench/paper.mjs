// A sheet of paper: drawn from plain tables, every text as text; other parts ask for one by an event on the document,
// "bandbench:paper" with { kind, value }.

// Paragraphs as lessons write them; an empty text is an empty text.
function inline(text) {
  return text.trim() === "" ? [text] : [...prose(text).firstChild.childNodes];
}

const BLOCKS = {
  heading: ({ text }) => [h("h2", {}, ...inline(text))],
  prose: ({ text, quiet }) => [...prose(text).childNodes].map((one) => {
    if (quiet) one.className = "quiet";
    return one;
  }),
  items: ({ texts, numbered }) => [h(numbered ? "ol" : "ul", {}, texts.map((text) => h("li", {}, ...inline(text))))],
  facts: ({ pairs }) => [h("dl", { class: "facts" }, pairs.map(([name, text]) => h("div", {}, h("dt", {}, name), text === "" ? h("dd") : h("dd", {}, text))))],
  grid: ({ caption, columns, rows, tall }) => [h("div", { class: "grid", tabindex: 0, role: "group", "aria-label": caption },
    h("table", { class: tall ? "tall" : null }, h("caption", {}, caption),
      h("thead", {}, h("tr", {}, columns.map((name) => h("th", { scope: "col" }, name)))),
      h("tbody", {}, rows.map(([first, ...cells]) => h("tr", {}, h("th", { scope: "row" }, first), cells.map((cell) => h("td", {}, cell)))))))],
  lines: ({ label, count }) => [h("div", { class: "lines" }, h("p", {}, label), Array.from({ length: count }, () => h("div")))],
  signatures: ({ labels, date }) => [h("div", { class: "signatures" }, labels.map((label) => h("div", { class: "signature" }, h("p", {}, label), h("p", {}, date))))],
};

export function render({ model, el }) {
  const { words } = model;
  const zone = document.getElementById("paper");
  const notice = h("p", { class: "note", role: "alert" });
  const place = h("div");
  const bar = h("div", { class: "row no-print" },
    button(words.print, () => globalThis.print(), { class: "main", "data-do": "print_sheet" }),
    button(words.close, () => model.send_msg({ do: "close" }), { "data-do": "close_sheet" }));
  el.append(h("div", { class: "part paper" }, bar, notice, place));
  let opener = null;
  listenTo(model, document, "bandbench:paper", ({ detail }) => {
    opener = detail.opener ?? null;
    model.send_msg({ do: "show", kind: detail.kind, value: detail.value ?? "" });
  });
  let shown = "";
  const show = () => {
    const wasOpen = !zone.hidden;
    setText(notice, model.notice);
    notice.hidden = model.notice === "";
    zone.hidden = model.sheet === "" && model.notice === "";
    bar.firstChild.hidden = model.sheet === "";
    if (model.sheet !== shown) {
      shown = model.sheet;
      if (shown === "") place.replaceChildren();
      else {
        const sheet = JSON.parse(shown);
        const title = h("h1", { tabindex: -1 }, sheet.title);
        place.replaceChildren(h("article", { class: `sheet ${sheet.name}` }, title,
          sheet.parts.map((part) => h("section", { class: "part" }, part.flatMap((block) => BLOCKS[block.kind](block))))));
        title.focus();
        zone.scrollIntoView({ block: "start" });
      }
    } else if (!zone.hidden && !wasOpen) bar.lastChild.focus();
    if (zone.hidden && wasOpen) (opener?.isConnected ? opener : document.getElementById("lesson")).focus();
  };
  follow(model, ["sheet", "notice"], show);
}
