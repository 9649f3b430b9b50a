// The result of a lesson, in words; the plots stand under it.

// Prints once the plots are drawn, at the latest after `tries` looks.
function printDrawn(tries) {
  const drawn = (globalThis.Bokeh?.documents ?? []).every((one) => one.is_idle);
  setTimeout(() => (drawn && tries < 22) || tries === 0 ? globalThis.print() : printDrawn(tries - 1), 250);
}

export function render({ model, el }) {
  const { words } = model;
  const zone = document.getElementById("result");
  const title = h("h3", { tabindex: -1 });
  const body = h("div");
  el.append(h("div", { class: "part result" }, title, body));
  // On a narrow page the table is shown as a list (parts.css); the roles keep it a table for those who hear it.
  const cell = (label, text, attributes = {}) => h("td", { role: "cell", "data-label": label, ...attributes }, text);
  const row = (one) => h("tr", { role: "row", class: one.passed ? "passed" : "missed", "data-check": one.name },
    h("th", { scope: "row", role: "rowheader" }, one.title), cell(words.value, one.value, { class: whole(one.value) }), cell(words.target, one.target),
    cell(words.verdict, one.passed ? `✓ ${words.in_tolerance}` : `✗ ${words.out_of_tolerance}`),
    cell(words.source, one.source, { class: "about" }));
  const answered = (one) => h("tr", { role: "row", class: one.passed ? "passed" : "missed", "data-answer": one.name },
    h("th", { scope: "row", role: "rowheader" }, one.title), cell(words.given, one.given), cell(words.right, one.right),
    cell(words.verdict, one.told ? (one.passed ? `✓ ${words.right_verdict}` : `✗ ${words.wrong_verdict}`) : ""),
    cell(words.explain, one.explain, { class: "about" }));
  // From the fault to what it does, to what that shows on which instrument.
  const fault = (one) => h("div", { class: "fault-found" }, h("h5", {}, one.title),
    h("dl", {}, h("dt", {}, words.fault_does), h("dd", {}, one.does),
      h("dt", {}, words.fault_shows), one.shows.map(([view, text]) => h("dd", {}, h("b", {}, `${view}: `), text)),
      h("dt", {}, words.fault_proof), one.proof.map((text) => h("dd", {}, text)),
      h("dt", {}, words.fault_remedy), h("dd", {}, one.remedy)));
  // Python draws the figures in the page's colours. Those that are printed are drawn already.
  const prefersDark = matchMedia("(prefers-color-scheme: dark)");
  const paper = matchMedia("print");
  const tellScheme = () => {
    const scheme = document.documentElement.dataset.theme ?? (prefersDark.matches ? "dark" : "light");
    if (paper.matches || zone.dataset.scheme === scheme) return;
    zone.dataset.scheme = scheme;
    model.send_msg({ do: "scheme", value: scheme });
  };
  // Before the first frame nobody listens.
  listenTo(model, document, "bandbench:frame", tellScheme, { once: true });
  listenTo(model, document, "bandbench:colours", tellScheme);
  listenTo(model, prefersDark, "change", tellScheme);
  model.on("lifecycle:remove", () => { delete zone.dataset.scheme; });
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
      ...(result.permitted ? [h("p", { class: "about" }, result.permitted)] : []),
      h("ul", { class: "score-parts" }, result.parts.map(([name, good, sentences]) => h("li", { "data-part": name },
        h("b", {}, `${good ? "✓" : "✗"} ${name}: ${good ? words.part_good : words.part_missed}. `),
        // What stands above as the reason is not said twice.
        sentences.join(" ") === result.reason ? "" : sentences.join(" ")))),
      ...(result.answers.length ? [h("div", { class: "table" }, h("table", { role: "table" },
        h("thead", { role: "rowgroup" }, h("tr", { role: "row" }, [words.question, words.given, words.right, words.verdict, words.explain].map((text) => h("th", { scope: "col", role: "columnheader" }, text)))),
        h("tbody", { role: "rowgroup" }, result.answers.map(answered))))] : []),
      ...(result.checks.length === 0 ? [] : [h("div", { class: "table" }, h("table", { role: "table" },
        h("thead", { role: "rowgroup" }, h("tr", { role: "row" }, [words.check, words.value, words.target, words.verdict, words.source].map((text) => h("th", { scope: "col", role: "columnheader" }, text)))),
        h("tbody", { role: "rowgroup" }, result.checks.map(row))))]),
      h("p", {}, [result.summary, ...result.fluency].join(" ")),
      ...result.forbidden.map((text) => h("p", { class: "note" }, text)),
      h("div", { class: "debrief" }, result.debrief.map(([heading, text]) => h("section", {}, h("h4", {}, heading), prose(text)))),
      ...(result.chain.length ? [h("section", {}, h("h4", {}, words.chain), h("ol", {}, result.chain.map((link) => h("li", {}, link))))] : []),
      ...(result.faults.length ? [h("section", { class: "faults-found" }, h("h4", {}, words.faults), result.faults.map(fault))] : []),
      h("section", { class: "do-next" }, h("h4", {}, words.do_next), h("p", {}, result.advice.text),
        result.advice.again ? null : h("p", {}, button(words.do_go, () => model.send_msg({ do: "lesson", value: result.advice.lesson }), { "data-do": "go" }))),
      h("section", { class: "done-when" }, h("h4", {}, words.events),
        h("ol", { class: "event-list" }, result.events.map(([at, kind, text]) => h("li", { "data-kind": kind }, h("b", {}, at), ` ${text}`)))),
      h("div", { class: "row no-print" },
        button(words.again, () => model.send_msg({ do: "again" }), { class: "main", "data-do": "again" }),
        button(words.replay, () => model.send_msg({ do: "replay" }), { "data-do": "replay" }),
        button(words.print, () => globalThis.print(), { "data-do": "print" }),
        paperButton(words.alignment_record, "alignment"),
        button(words.close, () => model.send_msg({ do: "close" }), { "data-do": "close" })),
      h("h4", {}, words.over_time));
    title.focus();
    zone.scrollIntoView({ block: "start" });
    if (result.printed) printDrawn(24);
  });
}
