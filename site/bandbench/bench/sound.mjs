// Sound: sources, meters, phase display, listening, notes from the microphone.

const NOTE_LIMIT_S = 20;

export function render({ model, el }) {
  const { words, tracks, labels, abouts } = model;
  const tell = (name, detail) => document.dispatchEvent(new CustomEvent(`bandbench:${name}`, { detail }));
  const shown = [];
  const value = (name, own) => {
    const element = h("span", { class: "value", "data-reading": name });
    shown.push({ name, element, bar: own });
    return element;
  };

  // Each track: its source, its level and what its tone says.
  const sources = new Map();
  const columns = tracks.map(([track, title]) => {
    const own = choice(`sound-source-${track}`, words.source, (name) => model.send_msg({ do: "source", track, value: name }));
    sources.set(track, own);
    const level = bar("level", model.zero);
    const row = (key, extra = null) => h("div", { class: "reading", "data-name": `${track}_${key}`, title: abouts[`${track}_${key}`] },
      h("dt", {}, words[key]), h("dd", {}, value(`${track}_${key}`, extra), extra?.element));
    return h("section", { class: "sound-track", "data-track": track, "aria-label": title },
      h("h3", {}, title), own.element,
      h("dl", { class: "readings" }, row("level_db", level), row("peak_db"), row("frequency_hz"), row("third_harmonic_pct"), row("flutter_pct")));
  });

  // The phase display draws one signal across and the other up.
  const line = s("polyline", { class: "trace", points: "" });
  const figure = s("svg", { class: "phase-figure", viewBox: "-110 -110 220 220", "aria-hidden": "true" },
    s("line", { class: "axis", x1: -105, y1: 0, x2: 105, y2: 0 }), s("line", { class: "axis", x1: 0, y1: -105, x2: 0, y2: 105 }), line);
  const figures = choice("sound-figure", words.figure, (name) => model.send_msg({ do: "figure", value: name }));
  const phase = h("dl", { class: "readings" }, ["halves_phase_deg", "cue_phase_deg"].map((name) =>
    h("div", { class: "reading", "data-name": name, title: abouts[name] }, h("dt", {}, labels[name]), h("dd", {}, value(name, null)))));
  columns.push(h("section", { class: "sound-phase", "aria-label": words.phase }, h("h3", {}, words.phase), figures.element, figure, phase));

  // Listening begins with a press: browsers keep a page silent until then.
  let heard = tracks[0][0];
  let listening = false;
  let volume = 0.5;
  const listenSays = h("span", { class: "about", role: "status" });
  const listen = toggle(words.listen, (pressed) => tell("listen", { on: pressed, volume }));
  const track = choice("sound-heard", words.listen_to, (name) => {
    heard = name;
    track.show(heard, tracks);
    if (listening) model.send_msg({ do: "listen", value: heard });
  });
  track.show(heard, tracks);
  const loud = slideBar({ id: "sound-volume", min: 0, max: 100, step: 1, value: 50, oninput: () => {
    volume = Number(loud.value) / 100;
    tell("volume", { volume });
  } });
  // What a learner has told the learning system that launched the page: no sound, or sound from the first press on, for
  // browsers let a page sound no sooner.
  listenTo(model, document, "bandbench:sound-preferred", ({ detail }) => {
    if (detail.on === false) {
      volume = 0;
      loud.value = 0;
      tell("volume", { volume });
      setText(listenSays, words.preferred_off);
    } else if (detail.on) {
      document.addEventListener("click", (event) => {
        if (!listening && !event.composedPath().includes(part)) tell("listen", { on: true, volume });
      }, { once: true });
    }
  });
  const winding = toggle(words.winding, (pressed) => model.send_msg({ do: "winding", value: pressed }));
  const describe = button(words.describe, () => model.send_msg({ do: "describe" }));
  listenTo(model, document, "bandbench:listening", ({ detail }) => {
    listening = detail.on;
    listen.show(listening);
    setText(listenSays, detail.why ? words[detail.why] : listening ? words.listening : "");
    model.send_msg({ do: "listen", value: listening ? heard : "" });
  });

  // A note: asking for the microphone, recording with the seconds counting, then what became of it.
  const noteSays = h("p", { class: "sentence", role: "status" });
  let counting = null;
  const stopCounting = () => {
    clearInterval(counting);
    counting = null;
    setText(note, words.note);
  };
  const note = button(words.note, () => tell(counting === null ? "record-note" : "stop-note"));
  listenTo(model, document, "bandbench:note", ({ detail }) => {
    stopCounting();
    switch (detail.state) {
      case "asking": setText(noteSays, words.note_asking); break;
      case "recording": {
        const begun = performance.now();
        model.send_msg({ do: "note_begins" });
        const count = () => setText(note, fill(words.note_stop, { seconds: Math.floor((performance.now() - begun) / 1000), limit: NOTE_LIMIT_S }));
        counting = setInterval(count, 500);
        count();
        setText(noteSays, words.note_recording);
        break;
      }
      case "sent": setText(noteSays, words.note_sent); break;
      case "dropped": setText(noteSays, ""); break;
      case "refused": setText(noteSays, words[`no_note_${detail.why}`]); break;
    }
  });

  const sentence = h("p", { class: "sentence", role: "status" });
  const notice = h("p", { class: "note", role: "alert" });
  const silent = h("p", { class: "about" });
  const part = h("div", { class: "part sound" }, silent,
    h("div", { class: "sound-columns" }, columns),
    h("div", { class: "row" }, listen.element, track.element,
      h("span", { class: "field" }, h("label", { for: "sound-volume" }, words.volume), loud),
      winding.element, listenSays),
    h("div", { class: "row" }, note, describe),
    h("p", { class: "about" }, words.note_about), h("p", { class: "about" }, model.distance), noteSays, sentence, notice);
  el.append(part);

  follow(model, ["sources", "chosen", "fixed"], () => {
    for (const [name, own] of sources) own.show(model.chosen[name], model.sources, !model.fixed);
  });
  follow(model, ["readings", "revision"], () => {
    part.dataset.revision = model.revision;
    const readings = JSON.parse(model.readings);
    for (const { name, element, bar: own } of shown) {
      const now = readings[name];
      setText(element, now?.text ?? words.none);
      element.classList.toggle("none", !now?.text || now.away === true);
      own?.show(now?.share ?? null);
    }
  });
  follow(model, ["trace", "figure"], () => {
    figures.show(model.figure, model.figures);
    const flat = JSON.parse(model.trace);
    const points = [];
    for (let i = 0; i < flat.length; i += 2) points.push(`${flat[i]},${-flat[i + 1]}`);
    line.setAttribute("points", points.join(" "));
  });
  follow(model, ["silent"], () => {
    setText(silent, model.silent);
    silent.hidden = !model.silent;
  });
  follow(model, ["winding"], () => winding.show(model.winding));
  follow(model, ["sentence"], () => setText(sentence, model.sentence));
  follow(model, ["notice"], () => setText(notice, model.notice));
  follow(model, ["note"], () => {
    if (model.note) setText(noteSays, model.note);
  });
}
