// What the lesson reads beyond the instruments: a name, a value and, where there is none, why. The zone is shown while
// there is any.

export function render({ model, el }) {
  const { words, labels, abouts } = model;
  const zone = document.getElementById("readings");
  const list = h("dl", { class: "readings added" });
  el.append(h("div", { class: "part" }, list));
  let added = [];
  follow(model, ["names"], () => {
    added = model.names.map((name) => ({ name, value: h("span", { class: "value", "data-reading": name }), reason: h("span", { class: "reason" }) }));
    list.replaceChildren(...added.map(({ name, value, reason }) =>
      h("div", { class: "reading", "data-name": name, title: abouts[name] }, h("dt", {}, labels[name]), h("dd", {}, value, reason))));
    zone.hidden = added.length === 0;
  });
  follow(model, ["readings", "names"], () => {
    const readings = JSON.parse(model.readings);
    for (const { name, value, reason } of added) {
      const now = readings[name];
      if (now === undefined) continue;
      setText(value, now.text ?? words.none);
      value.classList.toggle("none", now.text === null);
      setText(reason, now.text === null ? now.reason ?? "" : "");
    }
  });
}
