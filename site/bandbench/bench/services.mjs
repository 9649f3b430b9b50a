// Services and locks: a label, a number with its unit and a verdict in words.

function table(rows, label) {
  const shown = new Map();
  const element = h("dl", { class: "services", "aria-label": label });
  const show = (now) => {
    for (const { name, label: title, value, verdict, ok, about } of now) {
      if (!shown.has(name)) {
        const own = { value: h("span", { class: "value", "data-service": name }), verdict: h("span", { class: "verdict-word", "data-verdict": name }) };
        own.row = h("div", {}, h("dt", {}, title), h("dd", {}, own.value, own.verdict));
        shown.set(name, own);
        element.append(own.row);
      }
      const own = shown.get(name);
      setText(own.value, value ?? "");
      setText(own.verdict, verdict);
      setAttribute(own.row, "data-ok", ok === null ? null : String(ok));
      setAttribute(own.row, "title", about);
    }
  };
  show(rows);
  return { element, show };
}

export function render({ model, el }) {
  const { words } = model;
  const rows = table(JSON.parse(model.rows), words.title);
  const locks = table(JSON.parse(model.locks), words.locks);
  const sentence = h("p", { class: "about", "data-now": "servos" });
  el.append(h("div", { class: "part" }, rows.element, locks.element, sentence));
  follow(model, ["rows"], () => rows.show(JSON.parse(model.rows)));
  follow(model, ["locks"], () => locks.show(JSON.parse(model.locks)));
  follow(model, ["sentence"], () => setText(sentence, model.sentence));
}
