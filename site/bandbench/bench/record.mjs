// Recording: its own box, apart from the buttons of motion, in two deliberate steps.

export function render({ model, el }) {
  const { words } = model;
  const send = (name) => model.send_msg({ act: name });
  const state = h("p", { class: "record-state", role: "status", "data-now": "state" });
  const lasting = h("p", { class: "about", "data-now": "lasting" });
  const confirm = h("p", { class: "record-confirm", id: "record-confirm" });
  const refusal = h("p", { class: "note refusal", id: "record-refusal", role: "status" });
  const outcome = h("div", { class: "sentence outcome", role: "status", "data-now": "outcome" });
  let told = "";
  const buttons = new Map(model.acts.map(({ name, title, description }) => [name, button(title, () => send(name), { "data-act": name, title: description })]));
  const caution = h("p", { class: "about" });

  const boxes = model.tracks.map(([name, title]) => {
    const box = h("input", { type: "checkbox", id: `track-${name}`, onchange: () => model.send_msg({ tracks: boxes.filter((one) => one.box.checked).map((one) => one.name) }) });
    return { name, box, element: h("label", { class: "check-field", for: `track-${name}` }, box, title) };
  });
  const kind = choice("edit-mode", words.kind, (name) => model.send_msg({ edit_mode: name }));
  const length = h("input", { type: "text", inputmode: "decimal", id: "edit-length", class: "figure", autocomplete: "off", onchange: () => model.send_msg({ length: length.value }) });
  const lengthField = h("span", { class: "field" }, h("label", { for: "edit-length" }, words.length), h("span", {}, length, " s"));
  const switches = ["colour_framed", "by_frame_pulse", "delayed_erase"].map((name) => {
    const label = { colour_framed: words.colour_framed, by_frame_pulse: words.by_frame_pulse, delayed_erase: words.delayed_erase }[name];
    const box = h("input", { type: "checkbox", id: `edit-${name}`, onchange: () => model.send_msg({ edit: { [name]: box.checked } }) });
    return { name, box, element: h("label", { class: "check-field", for: `edit-${name}` }, box, label) };
  });
  const edit = h("fieldset", { class: "choices" }, h("legend", {}, words.edit), lengthField, switches.map((one) => one.element));
  const erase = h("dl", { class: "erasing" });
  const part = h("section", { class: "part record-box", "aria-labelledby": "record-title" },
    h("h3", { id: "record-title" }, words.title),
    state, lasting,
    h("fieldset", { class: "choices" }, h("legend", {}, words.tracks), boxes.map((one) => one.element)),
    h("div", { class: "row" }, kind.element), edit,
    caution,
    h("div", { class: "row", role: "group", "aria-label": words.steps }, [...buttons.values()]),
    confirm, refusal, outcome,
    erase);
  el.append(part);

  const show = () => {
    const now = JSON.parse(model.now);
    part.dataset.state = now.state;
    setText(state, now.text);
    setText(lasting, now.lasting);
    lasting.hidden = now.lasting === "";
    setText(confirm, now.confirm);
    confirm.hidden = now.confirm === "";
    setText(caution, now.caution);
    if (told !== JSON.stringify(now.outcome)) {
      told = JSON.stringify(now.outcome);
      outcome.replaceChildren(...now.outcome.map((one) => h("p", {}, one)));
    }
    const chosen = new Set(now.tracks);
    for (const { name, box } of boxes) box.checked = chosen.has(name);
    kind.show(now.edit_mode, model.edit_modes);
    edit.hidden = now.edit_mode === "off";
    lengthField.hidden = now.edit_mode !== "insert";
    if (length.getRootNode().activeElement !== length) length.value = now.edit.length_s;
    for (const { name, box } of switches) box.checked = now.edit[name];
    const { record, disarm } = Object.fromEntries(buttons);
    setAttribute(record, "aria-disabled", now.state === "armed" ? null : "true");
    setAttribute(disarm, "aria-disabled", now.state === "off" ? "true" : null);
    setAttribute(record, "aria-describedby", now.confirm ? "record-confirm" : null);
    erase.replaceChildren(...now.erase.map(([label, on]) => h("div", {}, h("dt", {}, label), h("dd", { class: "value" }, on ? words.on : words.off_word))));
  };
  follow(model, ["now"], show);
  follow(model, ["answer"], () => {
    const { act, sentence } = JSON.parse(model.answer);
    refusal.textContent = "";
    setText(refusal, sentence ?? "");
    show();
    kind.settle();
    if (!sentence) return;
    if (buttons.has(act)) setAttribute(buttons.get(act), "aria-describedby", "record-refusal");
    if (act === "length") length.value = JSON.parse(model.now).edit.length_s;
  });
}
