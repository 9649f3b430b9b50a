// The signal path: a button for each stage with its curve and its state, in a row for each side of the machine.

const WIDTH = 96;
const HEIGHT = 30;

function curve(bytes, gap) {
  let path = "";
  let pen = "M";
  for (let i = 0; i < bytes.length; i += 1) {
    if (bytes[i] === gap) {
      pen = "M";
      continue;
    }
    path += `${pen}${((i / (bytes.length - 1)) * WIDTH).toFixed(1)} ${(HEIGHT - 1.5 - (bytes[i] / 254) * (HEIGHT - 3)).toFixed(1)}`;
    pen = "L";
  }
  return path;
}

function barRow() {
  const bars = [1, 2, 3, 4].map((head) => s("rect", { class: `bar head-${head}`, x: (head - 1) * 25 + 3, width: 15, y: 0, height: 0 }));
  return { nodes: bars, show: (bytes) => bars.forEach((bar, index) => {
    const height = Math.max(1, (bytes[index] / 254) * HEIGHT);
    bar.setAttribute("y", (HEIGHT - height).toFixed(1));
    bar.setAttribute("height", height.toFixed(1));
  }) };
}

function line(gap) {
  const path = s("path", { class: "trace", d: "" });
  return { nodes: [path], show: (bytes) => path.setAttribute("d", curve(bytes, gap)) };
}

export function render({ model, el }) {
  const stages = model.stages.map((stage) => {
    const drawing = stage.bars ? barRow() : line(model.gap);
    const picture = s("svg", { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, preserveAspectRatio: "none", "aria-hidden": "true", focusable: "false" },
      s("path", { class: "graticule", d: `M0 ${HEIGHT / 2}H${WIDTH}` }), ...drawing.nodes);
    const state = h("span", { class: "state", id: `state-${stage.name}` });
    const title = h("span", { class: "title", id: `title-${stage.name}` }, stage.title);
    const press = h("button", {
      type: "button", class: "stage-button", "data-stage": stage.name,
      "aria-labelledby": `title-${stage.name}`, "aria-describedby": `state-${stage.name}`,
      onclick: () => model.send_msg({ stage: stage.name }),
    }, title, picture, state);
    return { ...stage, drawing, state, press, item: h("li", {}, press) };
  });
  // Each side in its own row: from tape to output, and the other way from input to tape.
  const { words } = model;
  const sides = [["play", words.play], ["record", words.record], ["sound", words.sound_side]].map(([side, title]) =>
    h("div", { class: `path-side path-${side}` }, h("h3", { class: "side-title", id: `side-${side}` }, title),
      h("ol", { class: "path", "aria-labelledby": `side-${side}` }, stages.filter((stage) => stage.side === side).map((stage) => stage.item))));
  el.append(h("div", { class: "part path-sides" }, sides));

  follow(model, ["chosen", "needed"], () => {
    for (const { name, press } of stages) {
      setAttribute(press, "aria-current", name === model.chosen ? "true" : null);
      const needed = model.needed.includes(name);
      press.classList.toggle("dimmed", !needed);
      setAttribute(press, "title", needed ? null : model.words.closed);
    }
  });
  follow(model, ["states", "traces"], () => {
    const states = JSON.parse(model.states);
    const traces = new Uint8Array(model.traces);
    stages.forEach(({ name, drawing, state }, index) => {
      setText(state, states[name] ?? "");
      const own = traces.subarray(index * model.points, (index + 1) * model.points);
      if (own.length > 0) drawing.show(own);
    });
  });
}
