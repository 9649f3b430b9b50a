// The instruments: numbers with units, each with a bar.

export function render({ model, el }) {
  const { words, labels, abouts } = model;
  const shown = [];
  const reading = (name, kind, zero) => {
    const value = h("span", { class: "value", "data-reading": name });
    const [scale, parts] = model.scales[name];
    const own = bar(kind, zero, parts);
    shown.push({ name, value, bar: own, scale });
    return { value, bar: own.element };
  };
  const rows = [1, 2, 3, 4].map((head) => {
    const rf = reading(`rf_level_db_${head}`, "level", 30 / 33);
    const position = reading(`head_position_ns_${head}`, "centred", 0.5);
    return h("tr", { "data-head": head },
      h("th", { scope: "row" }, h("span", { class: `head-chip head-${head}` }, String(head))),
      h("td", {}, rf.value, rf.bar), h("td", {}, position.value, position.bar));
  });
  const heads = h("table", { class: "heads" },
    h("caption", { class: "hidden-words" }, words.heads),
    h("thead", {}, h("tr", {}, h("th", { scope: "col" }, words.head), h("th", { scope: "col" }, words.rf), h("th", { scope: "col" }, words.position))),
    h("tbody", {}, rows));
  const single = (name, label, about, kind, zero) => {
    const own = reading(name, kind, zero);
    return h("div", { class: "reading", "data-name": name, title: `${about} ${model.scales[name][0]}` }, h("dt", {}, label), h("dd", {}, own.value, own.bar));
  };
  const list = h("dl", { class: "readings" },
    single("tracking", words.tracking, words.tracking_of, "level", 100 / 110),
    single("rf_level_db", labels.rf_level_db, abouts.rf_level_db, "level", 30 / 33),
    single("skew_us", labels.skew_us, abouts.skew_us, "centred", 0.5),
    single("scallop_us", labels.scallop_us, abouts.scallop_us, "centred", 0.5),
    single("noise_db", labels.noise_db, abouts.noise_db, "level", 1));
  const closed = h("p", { class: "about" }, words.closed);
  const part = h("div", { class: "part meters" }, list, heads, closed);
  el.append(part);

  follow(model, ["readings", "revision"], () => {
    part.dataset.revision = model.revision;
    const readings = JSON.parse(model.readings);
    for (const { name, value, bar: own } of shown) {
      const now = readings[name];
      if (now === undefined) continue;
      setText(value, now.text ?? words.none);
      value.classList.toggle("none", now.text === null);
      setAttribute(value, "title", now.reason);
      own.show(now.share);
    }
  });
  follow(model, ["zones"], () => {
    for (const { name, bar: own, scale } of shown) {
      const ends = model.zones[name] ?? null;
      own.aim(ends);
      setAttribute(own.element, "title", ends === null ? scale : fill(words.scale_zone, { scale }));
    }
  });
  follow(model, ["needed"], () => {
    const needed = new Set(model.needed);
    let dimmed = false;
    for (const { name, value } of shown) {
      const off = !needed.has(name);
      dimmed ||= off;
      value.closest("td, .reading").classList.toggle("dimmed", off);
    }
    closed.hidden = !dimmed;
  });
}
