// The bar of a replay: play, speed, seek, from event to event, and back.

const SPEEDS = [1, 4, 16];
const SEEK_SETTLES_MS = 600;

export function render({ model, el }) {
  const { words } = model;
  const zone = document.getElementById("replay");
  const send = (what, value = null) => model.send_msg({ do: what, value });
  const title = h("h3", { tabindex: -1, class: "replay-title" }, h("span", { class: "replay-mark" }, words.title), " ");
  const of = h("span");
  title.append(of);
  const play = button("", () => send("play", play.dataset.next === "play"), { class: "main", "data-do": "replay_play" });
  const back = button(words.event_before, () => send("event", -1), { "data-do": "replay_before" });
  const next = button(words.event_next, () => send("event", 1), { "data-do": "replay_next" });
  const speed = choice("replay-speed", words.speed, (value) => send("speed", Number(value)));
  const leave = button(words.leave, () => send("leave"), { "data-do": "replay_leave" });
  const place = slideBar({ id: "replay-place", min: 0, step: 0.1, value: 0 });
  const time = h("span", { class: "replay-time" });
  const step = h("p", { class: "about" });
  const events = h("ol", { class: "replay-events" });
  const notice = h("p", { class: "note", role: "alert" });
  let held = 0;
  place.addEventListener("input", () => {
    held = performance.now();
    send("seek", Number(place.value));
  });
  el.append(h("div", { class: "part replay" }, title, h("p", { class: "about" }, words.about),
    h("div", { class: "row" }, play, back, next, speed.element, leave),
    h("div", { class: "replay-line" }, h("label", { for: "replay-place" }, words.place), place, time, step), events, notice));
  let open = false;
  let listed = "";
  follow(model, ["shown"], () => {
    const on = model.shown !== "";
    zone.hidden = !on;
    if (on) {
      const shown = JSON.parse(model.shown);
      setText(of, shown.title);
      play.dataset.next = shown.playing ? "pause" : "play";
      setText(play, shown.playing ? words.pause : shown.over ? words.again : words.play);
      speed.show(String(shown.speed), SPEEDS.map((one) => [String(one), fill(words.times, { speed: one })]));
      setAttribute(place, "max", shown.end);
      // The hand that holds the slider goes first.
      if (performance.now() - held > SEEK_SETTLES_MS) place.value = shown.at;
      setAttribute(place, "aria-valuetext", shown.time);
      setText(time, shown.time);
      setText(step, shown.step);
      // While the time runs, nothing is read out.
      setAttribute(events, "aria-live", shown.playing ? "off" : "polite");
      const key = JSON.stringify(shown.events);
      if (key !== listed) {
        listed = key;
        events.replaceChildren(...shown.events.map(([at, text]) => h("li", {}, h("b", {}, at), ` ${text}`)));
      }
      if (!open) {
        title.focus();
        zone.scrollIntoView({ block: "start" });
      }
    }
    open = on;
  });
  follow(model, ["notice"], () => setText(notice, model.notice));
}
