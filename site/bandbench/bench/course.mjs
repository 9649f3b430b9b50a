// The course: lessons by group, each with how it stands; a press chooses one, and its briefing stands above.

function day(iso) {
  return new Date(iso).toLocaleDateString(document.documentElement.lang, { dateStyle: "medium" });
}

export function render({ model, el }) {
  const { words } = model;
  const following = h("p", { class: "next-lesson" });
  const count = h("p", { class: "about" });
  const groups = h("div", { class: "course-groups" });
  const notice = h("p", { class: "note", role: "alert" });
  const told = h("p", { class: "hidden-words", role: "status" });
  const part = h("div", { class: "part course", hidden: true },
    h("h3", {}, words.title), following, count, groups, notice, told);
  el.append(part);

  const choose = (id) => model.send_msg({ do: "choose", value: id });
  let asked = "";
  // What was opened or closed by hand stays so.
  const opened = new Map();
  const entry = (one) => {
    const state = one.at ? fill(one.text, { date: day(one.at) }) : one.text;
    return h("li", {}, h("button", {
      type: "button", class: `lesson-choice ${one.state}`, "data-lesson": one.id, "data-state": one.state,
      "aria-disabled": one.locked ? "true" : null,
      onclick: () => {
        asked = one.locked ? "" : one.id;
        choose(one.id);
      },
    }, h("span", { class: "choice-title" }, one.title),
    h("span", { class: "choice-about" }, one.about),
    h("span", { class: "choice-state" }, one.next ? h("b", {}, `${words.next_mark} `) : null, state)));
  };
  const group = (one) => {
    const element = h("details", { "data-group": one.name, open: opened.get(one.name) ?? one.open },
      h("summary", {}, h("span", { class: "group-title" }, one.title), " ", h("span", { class: "about" }, one.count)),
      h("p", { class: "about" }, one.text), h("ol", { class: "lesson-list" }, one.lessons.map(entry)));
    element.querySelector("summary").addEventListener("click", () => opened.set(one.name, !element.open));
    return element;
  };
  let key = "";
  follow(model, ["shown"], () => {
    part.hidden = model.shown === "";
    if (part.hidden) return;
    const shown = JSON.parse(model.shown);
    const next = JSON.stringify(shown.groups);
    if (next !== key) {
      key = next;
      const focused = el.getRootNode().activeElement?.dataset.lesson;
      groups.replaceChildren(...shown.groups.map(group));
      if (focused) groups.querySelector(`[data-lesson="${focused}"]`)?.focus();
    }
    setText(count, shown.count);
    const button_ = shown.next && shown.next !== shown.chosen
      ? [button(shown.next_text, () => {
        asked = shown.next;
        choose(shown.next);
      }, { "data-do": "next_lesson" })]
      : [shown.next_text];
    if (following.textContent !== shown.next_text || (following.firstElementChild === null) !== (typeof button_[0] === "string")) following.replaceChildren(...button_);
    for (const choice_ of groups.querySelectorAll("[data-lesson]")) {
      setAttribute(choice_, "aria-current", choice_.dataset.lesson === shown.chosen ? "true" : null);
    }
    if (asked && asked === shown.chosen) {
      // The briefing stands above: whoever chose goes on reading there.
      asked = "";
      setText(told, words.chosen);
      document.getElementById("lesson").focus();
      document.getElementById("lesson").scrollIntoView({ block: "nearest" });
    }
  });
  follow(model, ["notice"], () => setText(notice, model.notice));
}
