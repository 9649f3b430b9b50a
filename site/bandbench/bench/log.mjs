// The log of moves.

export function render({ model, el }) {
  const { words } = model;
  const list = h("ol", { class: "moves", reversed: true });
  const undo = button(words.undo, () => model.send_msg({ do: "undo" }));
  const none = h("p", { class: "about" }, words.none);
  const notice = h("p", { class: "hidden-words", role: "status" });
  el.append(h("div", { class: "part log" }, undo, none, list, notice));
  follow(model, ["moves", "count"], () => {
    none.hidden = model.count > 0;
    list.hidden = model.count === 0;
    list.setAttribute("start", model.count);
    setAttribute(undo, "aria-disabled", model.count === 0 ? "true" : null);
    list.replaceChildren(...JSON.parse(model.moves).map((text) => h("li", {}, text)));
  });
  follow(model, ["notice"], () => setText(notice, model.notice));
}
