// The picture monitor: what stands under the picture, and the head numbers over it.

const PAN_STEP = 0.1;

export function render({ model, el }) {
  const { words } = model;
  const screen = document.getElementById("picture-screen");
  const canvas = screen.querySelector("canvas");
  const overlay = h("div", { class: "bands", "aria-hidden": "true", hidden: true });
  screen.append(overlay);
  const view = { magnify: 1, x: 0, y: 0, heads: false };

  // Magnification shows a window of the picture: x and y are its left and top, in shares of the picture.
  const place = () => {
    const room = 1 - 1 / view.magnify;
    view.x = Math.min(room, Math.max(0, view.x));
    view.y = Math.min(room, Math.max(0, view.y));
    canvas.style.transform = view.magnify === 1 ? "" : `scale(${view.magnify}) translate(${-100 * view.x}%, ${-100 * view.y}%)`;
    pan.hidden = view.magnify === 1;
    screen.classList.toggle("magnified", view.magnify > 1);
    setAttribute(screen, "tabindex", view.magnify > 1 ? "0" : null);
    setAttribute(screen, "role", view.magnify > 1 ? "group" : null);
    setAttribute(screen, "aria-label", view.magnify > 1 ? words.magnified : null);
    drawBands();
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

  const play = button("", () => model.send_msg({ do: "play", value: !model.playing }));
  const magnify = toggle(words.magnify, (pressed) => {
    view.magnify = pressed ? 2 : 1;
    view.x = view.y = pressed ? 0.25 : 0;
    magnify.show(pressed);
    place();
  });
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
  const source = choice("picture-source", words.source, (value) => model.send_msg({ do: "point", value }));
  const sentence = h("p", { class: "sentence", role: "status" });
  const notice = h("p", { class: "note", role: "alert" });
  el.append(h("div", { class: "part monitor" },
    h("div", { class: "fields settings" }, source.element),
    h("div", { class: "row" }, play, magnify.element, heads.element, describe, pan),
    sentence, notice));

  screen.addEventListener("keydown", (event) => {
    const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    if (view.magnify === 1 || !(event.key in moves)) return;
    event.preventDefault();
    shift(PAN_STEP * moves[event.key][0], PAN_STEP * moves[event.key][1]);
  });
  let grip = null;
  screen.addEventListener("pointerdown", (event) => {
    if (view.magnify === 1) return;
    grip = { x: event.clientX, y: event.clientY };
    screen.setPointerCapture(event.pointerId);
  });
  screen.addEventListener("pointermove", (event) => {
    if (grip === null) return;
    const box = screen.getBoundingClientRect();
    shift((grip.x - event.clientX) / box.width / view.magnify, (grip.y - event.clientY) / box.height / view.magnify);
    grip = { x: event.clientX, y: event.clientY };
  });
  for (const end of ["pointerup", "pointercancel"]) screen.addEventListener(end, () => { grip = null; });

  follow(model, ["playing"], () => setText(play, model.playing ? words.pause : words.play));
  follow(model, ["bands"], drawBands);
  follow(model, ["processed"], () => {
    source.show(model.processed ? "processed" : "demodulated", [["processed", words.processed], ["demodulated", words.demodulated]]);
  });
  follow(model, ["sentence"], () => setText(sentence, model.sentence));
  follow(model, ["notice"], () => setText(notice, model.notice));

  // The picture moves from the start only for people who do not mind. Before the first frame nobody listens.
  document.addEventListener("bandbench:frame", () => {
    if (matchMedia("(prefers-reduced-motion: reduce)").matches) setText(notice, words.paused);
    else model.send_msg({ do: "play", value: true });
  }, { once: true });
}
