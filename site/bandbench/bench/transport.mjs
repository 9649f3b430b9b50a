// The transport, always in reach: what the tape does, buttons of its motion, timer, and why an act was refused.

export function render({ model, el }) {
  const { words } = model;
  const send = (name) => model.send_msg({ act: name });
  const mode = h("p", { class: "mode-now", role: "status", "data-now": "mode" });
  const because = h("p", { class: "note", role: "status" });
  const refusal = h("p", { class: "note refusal", id: "transport-refusal", role: "status" });
  const buttons = new Map(model.acts.map(({ name, title, description }) => [name, button(title, () => send(name), {
    "data-act": name, title: description,
  })]));
  const motions = h("div", { class: "motions", role: "group", "aria-label": words.motions }, [...buttons.values()]);
  const timer = h("output", { class: "timer", "data-now": "timer" });
  const reset = button(words.reset_timer, () => send("reset_timer"), { class: "small", "data-act": "reset_timer" });
  buttons.set("reset_timer", reset);
  const part = h("div", { class: "part transport" },
    motions, h("div", { class: "timing" }, h("span", { class: "about" }, words.timer), timer, reset),
    h("div", { class: "transport-says" }, mode, because, refusal));
  el.append(part);

  follow(model, ["now"], () => {
    const now = JSON.parse(model.now);
    part.dataset.mode = now.mode;
    part.dataset.held = String(now.held);
    setText(mode, now.text);
    setText(because, now.because);
    setText(timer, now.timer);
    for (const [name, one] of buttons) setAttribute(one, "aria-current", name === now.mode && !now.held ? "true" : null);
  });
  follow(model, ["answer"], () => {
    const { act, sentence: refused } = JSON.parse(model.answer);
    // Emptied first, so that the same sentence is told again.
    refusal.textContent = "";
    setText(refusal, refused ?? "");
    for (const [name, one] of buttons) setAttribute(one, "aria-describedby", refused && name === act ? "transport-refusal" : null);
  });
}
