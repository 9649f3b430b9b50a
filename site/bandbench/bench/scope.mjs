// The waveform monitor: what stands under its screen.

const POSITION_EVERY_MS = 80;

// All canvases under an element, also inside shadow roots, in the order they are drawn in.
function canvasesOf(element) {
  const found = [];
  const visit = (node) => {
    if (node instanceof HTMLCanvasElement) found.push(node);
    if (node.shadowRoot) for (const child of node.shadowRoot.children) visit(child);
    for (const child of node.children) visit(child);
  };
  visit(element);
  return found.filter((canvas) => canvas.width > 0 && canvas.height > 0);
}

// What is on the screen as one picture, on the screen's own ground.
async function screenBlob(screen) {
  const canvases = canvasesOf(screen);
  const { width, height } = canvases[0];
  const context = new OffscreenCanvas(width, height).getContext("2d");
  context.fillStyle = getComputedStyle(screen).backgroundColor;
  context.fillRect(0, 0, width, height);
  for (const canvas of canvases) context.drawImage(canvas, 0, 0, width, height);
  return context.canvas.convertToBlob({ type: "image/png" });
}

export function render({ model, el }) {
  const { words } = model;
  const set = (settings) => model.send_msg({ set: settings });
  const point = choice("scope-point", words.point, (value) => set({ test_point: value }));
  const rate = choice("scope-rate", words.rate, (value) => set({ rate: value }));
  const magnify = choice("scope-magnify", words.magnify, (value) => set({ magnify: Number(value) }));
  const slider = slideBar({ id: "scope-position", min: 0, max: 1, step: 0.01 });
  const position = h("span", { class: "field" }, h("label", { for: "scope-position" }, words.position), slider);
  const one = toggle(words.line, (pressed) => set({ line: pressed ? Number(number.value) || 1 : 0 }));
  const number = h("input", { type: "number", id: "scope-line", min: 1, max: model.lines, step: 1, value: 100 });
  const lineField = h("span", { class: "field" }, h("label", { for: "scope-line" }, words.line_number), number);
  const vectors = toggle(words.vectors, (pressed) => set({ display: pressed ? "vectors" : "waveform" }));
  const spectrum = toggle(words.spectrum, (pressed) => set({ display: pressed ? "spectrum" : "waveform" }));
  const describe = button(words.describe, () => model.send_msg({ describe: true }));
  const saves = [["png", words.save_screen], ["csv", words.save_table]]
    .map(([kind, label]) => button(label, () => model.send_msg({ save: kind })));
  const rateNames = {
    line: words.line_rate, field: words.field_rate, wheel: words.wheel_rate, pass: words.pass_rate,
  };
  const sentence = h("p", { class: "sentence", role: "status" });
  const notice = h("p", { class: "note", role: "alert" });
  el.append(h("div", { class: "part scope" },
    h("div", { class: "fields settings" }, point.element, rate.element, magnify.element, position),
    h("div", { class: "row" }, one.element, lineField, vectors.element, spectrum.element, describe, ...saves),
    sentence, notice));

  // A drag gives more positions than can be drawn: the latest goes out every now and then.
  let wanted = null;
  slider.addEventListener("input", () => {
    if (wanted === null) {
      setTimeout(() => {
        set({ position: wanted });
        wanted = null;
      }, POSITION_EVERY_MS);
    }
    wanted = Number(slider.value);
  });
  number.addEventListener("change", () => {
    const line = Number(number.value);
    const known = Number.isInteger(line) && line >= 1 && line <= model.lines;
    setText(notice, known ? "" : fill(words.bad_line, { lines: model.lines }));
    setAttribute(number, "aria-invalid", known ? null : "true");
    if (known && model.scope.line > 0) set({ line });
  });

  // At a refusal too: what was chosen goes back to what is set.
  follow(model, ["scope", "notice"], () => {
    const scope = model.scope;
    if (model.notice !== "") for (const list of [point, rate, magnify]) list.settle();
    point.show(scope.test_point, model.points.map(([name, label, inner]) => (
      inner ? [name, label, words.on_cards, scope.reached.includes(name)] : [name, label])));
    const waveform = scope.display === "waveform";
    if (scope.servo) rate.show("servo", [["servo", words.servo_rate]], false);
    else rate.show(scope.rate, model.rates.map((name) => [name, rateNames[name]]), scope.line === 0 && waveform);
    magnify.show(String(scope.magnify), model.magnifications.map((times) => [String(times), `×${times}`]));
    slider.max = 1 - 1 / scope.magnify;
    if (wanted === null && el.getRootNode().activeElement !== slider) slider.value = scope.position;
    // There is nothing to move along a screen that shows all.
    position.hidden = scope.magnify === 1 || scope.display === "vectors";
    vectors.show(scope.display === "vectors");
    spectrum.show(scope.display === "spectrum");
    one.show(scope.line > 0);
    lineField.hidden = scope.line === 0;
  });
  follow(model, ["sentence"], () => setText(sentence, model.sentence));
  follow(model, ["notice"], () => setText(notice, model.notice));
  follow(model, ["snapshot"], async () => {
    const { name, text } = model.snapshot;
    if (name === undefined) return;
    const blob = text ? new Blob([text], { type: "text/csv" })
      : await screenBlob(document.getElementById("waveform-screen"));
    saveFile(name, blob);
  });

  // A monitor out of sight is not drawn.
  listenTo(model, document, "bandbench:frame", () => {
    new IntersectionObserver((entries) => model.send_msg({ visible: entries.at(-1).isIntersecting }))
      .observe(document.getElementById("waveform-screen"));
  }, { once: true });
}
