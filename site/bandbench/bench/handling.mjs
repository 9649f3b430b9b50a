// Reel, threading, covers, power, care and cards. An act with a caution is done at a second, deliberate press.

export function render({ model, el }) {
  const { words } = model;
  const refusal = h("p", { class: "note refusal", id: "handling-refusal", role: "status" });
  const good = h("p", { class: "sentence", role: "status", "data-now": "done" });
  const buttons = new Map();
  const slots = new Map();
  const states = new Map();

  const title = h("h4", { id: "caution-title", tabindex: -1 });
  const text = h("p", { id: "caution-text" });
  const answer = (confirmed) => {
    const { act } = JSON.parse(model.asked);
    model.send_msg({ confirm: confirmed });
    buttons.get(act)?.focus();
  };
  const doIt = button(words.confirm, () => answer(true), { "data-do": "confirm", "aria-describedby": "caution-text" });
  const leave = button(words.leave, () => answer(false), { "data-do": "leave-act" });
  const caution = h("div", { class: "caution", role: "group", "aria-labelledby": "caution-title", hidden: true }, title, text, h("div", { class: "row" }, doIt, leave));
  caution.addEventListener("keydown", (event) => { if (event.key === "Escape") answer(false); });

  const stage = choice("card-stage", words.card_of, (name) => stage.show(name, model.stages));
  stage.show(model.stages[0][0], model.stages);
  const reel = choice("reel", words.reel, (name) => reel.show(name, JSON.parse(model.reels)));
  const press = (name, label, message) => {
    const one = button(label, () => model.send_msg(message()), { "data-act": name });
    buttons.set(name, one);
    return one;
  };
  const machine = choice("machine", words.machine, (name) => model.send_msg({ machine: name }));
  const about = h("p", { class: "about" });
  const log = h("ul", { class: "reel-log" });
  const sheet = h("details", {}, h("summary", {}, words.log), log);
  const shelf = h("div", {},
    h("div", { class: "row" }, reel.element,
      press("take", words.take, () => ({ take: reel.select.value })), press("put_on", words.put_on, () => ({ put_on: reel.select.value }))),
    about, sheet,
    h("div", { class: "row" }, machine.element, press("copy", words.copy, () => ({ copy: true }))));

  const groups = model.groups.map((group) => {
    const state = h("p", { class: "group-state", "data-state-of": group.name });
    states.set(group.name, state);
    const slot = h("div");
    slots.set(group.name, slot);
    const acts = group.acts.map(({ name, title: label, description, staged }) => {
      const one = press(name, label, () => ({ act: name, stage: staged ? stage.select.value : "" }));
      one.setAttribute("aria-describedby", `about-${name}`);
      return h("li", {}, staged ? h("div", { class: "row" }, stage.element) : null, one, h("span", { class: "about", id: `about-${name}` }, description));
    });
    return h("section", { class: "hand-group", "aria-labelledby": `group-${group.name}` },
      h("h3", { id: `group-${group.name}` }, group.title), state, group.name === "reel" ? shelf : null, h("ul", { class: "acts" }, acts), slot);
  });
  const incidents = h("ul", { class: "incidents" });
  const none = h("p", { class: "about" }, words.no_incidents);
  const noted = h("section", { "aria-labelledby": "incidents-title" }, h("h3", { id: "incidents-title" }, words.incidents), none, incidents);
  el.append(h("details", { class: "part handling", "data-do": "handling" },
    h("summary", {}, words.summary), refusal, good, h("div", { class: "hand-groups" }, groups), noted));

  let chosen = null;
  follow(model, ["now", "reels"], () => {
    const now = JSON.parse(model.now);
    // What somebody is choosing stays; what is on the machine is shown when that changes.
    const keep = chosen === now.reel ? reel.select.value || now.reel : now.reel;
    chosen = now.reel;
    reel.show(keep, JSON.parse(model.reels));
    machine.show(now.machine, model.machines);
    for (const [name, state] of states) setText(state, now.states[name]);
    setText(about, now.about);
    about.hidden = now.about === "";
    sheet.hidden = now.log.length === 0;
    if (log.dataset.shown !== JSON.stringify(now.log)) {
      log.dataset.shown = JSON.stringify(now.log);
      log.replaceChildren(...now.log.map((entry) => h("li", {}, entry)));
    }
    none.hidden = now.incidents.length > 0;
    if (incidents.childElementCount !== now.incidents.length) incidents.replaceChildren(...now.incidents.map((one) => h("li", {}, one)));
  });
  follow(model, ["asked"], () => {
    const asked = JSON.parse(model.asked);
    caution.hidden = asked.act === "";
    if (asked.act === "") return;
    // What was refused before is not refused now.
    refusal.textContent = "";
    setText(title, asked.title);
    setText(text, asked.caution);
    slots.get(asked.group).append(caution);
    title.focus();
  });
  follow(model, ["answer"], () => {
    const { act, sentence, done } = JSON.parse(model.answer);
    refusal.textContent = "";
    good.textContent = "";
    setText(done ? good : refusal, sentence ?? "");
    machine.settle();
    // Beside the act, wherever it is on the page.
    const group = model.groups.find(({ acts }) => acts.some(({ name }) => name === act))?.name ?? "reel";
    if (act) slots.get(group).prepend(refusal, good);
    for (const [name, one] of buttons) {
      const own = one.parentElement?.querySelector(`#about-${name}`) ? `about-${name}` : null;
      setAttribute(one, "aria-describedby", name === act && sentence && !done ? [own, "handling-refusal"].filter(Boolean).join(" ") : own);
    }
  });
}
