// The result of a lesson, in words; the plots stand under it.

export function render({ model, el }) {
  const { words } = model;
  const zone = document.getElementById("result");
  const title = h("h3", { tabindex: -1 });
  const body = h("div");
  el.append(h("div", { class: "part result" }, title, body));
  const row = (one) => h("tr", { class: one.passed ? "passed" : "missed", "data-check": one.name },
    h("th", { scope: "row" }, one.title), h("td", {}, one.value), h("td", {}, one.target),
    h("td", {}, one.passed ? `✓ ${words.in_tolerance}` : `✗ ${words.out_of_tolerance}`), h("td", { class: "about" }, one.source));
  follow(model, ["result"], () => {
    const { result } = model;
    const open = Boolean(result.title);
    const wasOpen = !zone.hidden;
    zone.hidden = !open;
    if (!open) {
      body.replaceChildren();
      if (wasOpen) document.getElementById("lesson").focus();
      return;
    }
    setText(title, result.title);
    title.className = result.passed ? "outcome passed" : "outcome missed";
    body.replaceChildren(
      h("p", { class: "about" }, result.lesson),
      h("p", { class: "reason" }, result.reason),
      h("div", { class: "table" }, h("table", {},
        h("thead", {}, h("tr", {}, [words.check, words.value, words.target, words.verdict, words.source].map((text) => h("th", { scope: "col" }, text)))),
        h("tbody", {}, result.checks.map(row)))),
      h("p", {}, result.summary),
      ...result.forbidden.map((text) => h("p", { class: "note" }, text)),
      h("div", { class: "debrief" }, ["what", "why", "next"].map((key) => h("section", {}, h("h4", {}, words[key]), prose(result[key])))),
      h("div", { class: "row" },
        button(words.again, () => model.send_msg({ do: "again" }), { class: "main", "data-do": "again" }),
        button(words.close, () => model.send_msg({ do: "close" }), { "data-do": "close" })),
      h("h4", {}, words.over_time));
    title.focus();
    zone.scrollIntoView({ block: "start" });
  });
}
