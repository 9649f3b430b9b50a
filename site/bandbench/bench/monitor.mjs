// The picture monitor: what stands under the picture, and the head numbers over it.

const PAN_STEP = 0.1;
const MAGNIFICATIONS = [1, 2, 4];
const SPLIT_EVERY_MS = 80;

// The picture as it was made (nothing in it held back), in the shape it is shown in: its elements are not square.
async function pictureBlob(canvas) {
  const context = new OffscreenCanvas(canvas.width, Math.round(canvas.width * 3 / 4)).getContext("2d");
  context.drawImage(canvas.asMade(), 0, 0, context.canvas.width, context.canvas.height);
  return context.canvas.convertToBlob({ type: "image/png" });
}

export function render({ model, el }) {
  const { words } = model;
  const screen = document.getElementById("picture-screen");
  const canvas = screen.querySelector("canvas");
  const overlay = h("div", { class: "bands", "aria-hidden": "true", hidden: true });
  // Where the two pictures of a comparison meet, and what each of them is.
  const seam = h("div", { class: "seam", "aria-hidden": "true", hidden: true },
    h("span", { class: "seam-name left" }), h("span", { class: "seam-name right" }));
  screen.append(overlay, seam);
  const view = { magnify: 1, x: 0, y: 0, heads: false };

  // Magnification shows a window of the picture: x and y are its left and top, in shares of the picture.
  const place = () => {
    const room = 1 - 1 / view.magnify;
    view.x = Math.min(room, Math.max(0, view.x));
    view.y = Math.min(room, Math.max(0, view.y));
    canvas.style.transform = view.magnify === 1 ? "" : `scale(${view.magnify}) translate(${-100 * view.x}%, ${-100 * view.y}%)`;
    canvas.dataset.magnified = `${view.magnify} ${view.x} ${view.y}`;
    pan.hidden = view.magnify === 1;
    screen.classList.toggle("magnified", view.magnify > 1);
    setAttribute(screen, "tabindex", view.magnify > 1 ? "0" : null);
    setAttribute(screen, "role", view.magnify > 1 ? "group" : null);
    setAttribute(screen, "aria-label", view.magnify > 1 ? words.magnified : null);
    drawBands();
    drawSeam();
  };
  const shift = (x, y) => {
    view.x += x;
    view.y += y;
    place();
  };

  // The bands of one field stand at the left edge, those of the other at the right.
  const drawBands = () => {
    overlay.hidden = !view.heads;
    if (overlay.hidden) return;
    const tags = [];
    JSON.parse(model.bands).forEach((bands, field) => {
      for (const [top, bottom, head] of bands) {
        const from = (top - view.y) * view.magnify;
        const to = (bottom - view.y) * view.magnify;
        if (to <= 0.01 || from >= 0.99) continue;
        const tag = h("span", { class: `band head-${head} field-${field}` }, h("b", {}, head === 0 ? "–" : String(head)));
        tag.style.top = `${100 * Math.max(0, from)}%`;
        tag.style.height = `${100 * (Math.min(1, to) - Math.max(0, from))}%`;
        tags.push(tag);
      }
    });
    overlay.replaceChildren(...tags);
  };

  const names = () => new Map([["", words.nothing], ["kept", words.kept], ...model.points]);
  const drawSeam = () => {
    const { compare, split, point, whole } = model.monitor;
    seam.hidden = compare === "";
    if (seam.hidden) return;
    const at = whole ? 1 : split;
    const place = Math.min(1, Math.max(0, (at - view.x) * view.magnify));
    seam.style.left = `${100 * place}%`;
    seam.classList.toggle("alone", whole);
    const [left, right] = seam.children;
    setText(left, names().get(compare));
    setText(right, names().get(point));
    left.hidden = place < 0.15;
    right.hidden = place > 0.85;
  };

  const play = button("", () => model.send_msg({ do: "play", value: !model.playing }));
  const magnify = choice("picture-magnify", words.magnify, (value) => {
    const centre = { x: view.x + 0.5 / view.magnify, y: view.y + 0.5 / view.magnify };
    view.magnify = Number(value);
    view.x = centre.x - 0.5 / view.magnify;
    view.y = centre.y - 0.5 / view.magnify;
    place();
    // Nobody but this list sets it: else the list went back to what it was before.
    magnify.show(value, MAGNIFICATIONS.map((times) => [String(times), `×${times}`]));
  });
  magnify.show("1", MAGNIFICATIONS.map((times) => [String(times), `×${times}`]));
  const heads = toggle(words.heads, (pressed) => {
    view.heads = pressed;
    heads.show(pressed);
    drawBands();
  });
  const describe = button(words.describe, () => model.send_msg({ do: "describe" }));
  const pan = h("span", { class: "pan", role: "group", "aria-label": words.pan, hidden: true },
    button("←", () => shift(-PAN_STEP, 0), { "aria-label": words.left }),
    button("→", () => shift(PAN_STEP, 0), { "aria-label": words.right }),
    button("↑", () => shift(0, -PAN_STEP), { "aria-label": words.up }),
    button("↓", () => shift(0, PAN_STEP), { "aria-label": words.down }));
  const set = (value) => model.send_msg({ do: "set", value });
  const source = choice("picture-source", words.source, (value) => set({ point: value }));
  const compare = choice("picture-compare", words.compare, (value) => set({ compare: value }));
  const split = slideBar({ id: "picture-split", min: 0, max: 1, step: 0.01 });
  const splitField = h("span", { class: "field split" }, h("label", { for: "picture-split" }, words.split), split);
  const whole = toggle(words.whole, (pressed) => set({ whole: pressed }));
  const keep = button(words.keep, () => model.send_msg({ do: "keep" }), { "aria-label": words.keep_name });
  const save = button(words.save, () => model.send_msg({ do: "save" }));
  const sentence = h("p", { class: "sentence", role: "status" });
  const notice = h("p", { class: "note", role: "alert" });
  el.append(h("div", { class: "part monitor" },
    h("div", { class: "fields settings" }, source.element, compare.element, magnify.element),
    h("div", { class: "row" }, play, heads.element, keep, whole.element, splitField, describe, save, pan),
    sentence, notice));

  // A drag gives more places than can be drawn: the latest goes out every now and then.
  let wanted = null;
  split.addEventListener("input", () => {
    if (wanted === null) {
      setTimeout(() => {
        set({ split: wanted });
        wanted = null;
      }, SPLIT_EVERY_MS);
    }
    wanted = Number(split.value);
  });
  listenTo(model, screen, "keydown", (event) => {
    const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    if (view.magnify === 1 || !(event.key in moves)) return;
    event.preventDefault();
    shift(PAN_STEP * moves[event.key][0], PAN_STEP * moves[event.key][1]);
  });
  // Only the pointer that began goes on moving the picture. With a second finger the page is zoomed: the browser then takes
  // both, and says so by pointercancel.
  let grip = null;
  listenTo(model, screen, "pointerdown", (event) => {
    if (view.magnify === 1 || grip !== null || event.button !== 0) return;
    grip = { pointer: event.pointerId, x: event.clientX, y: event.clientY };
    screen.setPointerCapture(event.pointerId);
  });
  listenTo(model, screen, "pointermove", (event) => {
    if (grip?.pointer !== event.pointerId) return;
    const box = screen.getBoundingClientRect();
    shift((grip.x - event.clientX) / box.width / view.magnify, (grip.y - event.clientY) / box.height / view.magnify);
    grip.x = event.clientX;
    grip.y = event.clientY;
  });
  for (const end of ["pointerup", "pointercancel", "lostpointercapture"]) {
    listenTo(model, screen, end, (event) => { if (grip?.pointer === event.pointerId) grip = null; });
  }

  // What stands outside the part goes with it.
  model.on("lifecycle:remove", () => {
    view.magnify = 1;
    place();
    overlay.remove();
    seam.remove();
  });

  follow(model, ["playing"], () => {
    setText(play, model.playing ? words.pause : words.play);
    setAttribute(play, "aria-label", model.playing ? words.pause_name : words.play_name);
    if (model.playing && sentence.textContent === words.paused) setText(sentence, "");
  });
  follow(model, ["bands"], drawBands);
  // At a refusal too: what was chosen goes back to what is set.
  follow(model, ["monitor", "kept", "notice"], () => {
    const { monitor } = model;
    if (model.notice !== "") for (const list of [source, compare]) list.settle();
    source.show(monitor.point, model.points);
    compare.show(monitor.compare, [...names()]);
    const compared = monitor.compare !== "";
    if (wanted === null && el.getRootNode().activeElement !== split) split.value = monitor.split;
    splitField.hidden = !compared || monitor.whole;
    whole.element.hidden = !compared;
    whole.show(monitor.whole);
    drawSeam();
  });
  follow(model, ["snapshot"], async () => {
    const { name } = model.snapshot;
    if (name !== undefined) saveFile(name, await pictureBlob(canvas));
  });
  follow(model, ["sentence"], () => setText(sentence, model.sentence));
  follow(model, ["notice"], () => setText(notice, model.notice));

  // The picture moves from the start only for people who do not mind. Before the first frame nobody listens.
  listenTo(model, document, "bandbench:frame", () => {
    if (matchMedia("(prefers-reduced-motion: reduce)").matches) setText(sentence, words.paused);
    else model.send_msg({ do: "play", value: true });
  }, { once: true });
}
