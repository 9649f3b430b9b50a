// Puts `keyboardWalk` into the page: what can be operated in a place, and a step after each press of the key.
(selector) => {
  const parent = (element) => element.parentElement ?? element.getRootNode().host ?? null;
  const chain = function* (element) { for (let one = element; one; one = parent(one)) yield one; };
  const within = (element, outer) => [...chain(element)].includes(outer);
  const every = (root, found = []) => {
    for (const element of root.querySelectorAll("*")) {
      found.push(element);
      if (element.shadowRoot) every(element.shadowRoot, found);
    }
    return found;
  };
  const all = every(document);
  const modal = all.findLast((element) => element.matches("dialog:modal"));
  const outer = selector ? document.querySelector(selector) : modal ?? document.body;
  const inside = all.filter((element) => element !== outer && within(element, outer));
  const shown = (element) => element.checkVisibility({ visibilityProperty: true });
  const inert = (element) => [...chain(element)].some((one) => one.inert);
  const usable = (element) => shown(element) && !element.disabled && !inert(element);
  const MADE_TO_BE_USED = "a[href], button, select, textarea, summary, input:not([type=hidden])";
  const made = (element) => element.matches(MADE_TO_BE_USED);
  const named = (element) => {
    const text = (element.getAttribute("aria-label") || element.innerText || element.value || "").trim();
    const data = Object.entries(element.dataset).map(([key, value]) => `[${key}=${value}]`).join("");
    const id = element.id ? `#${element.id}` : data || `.${element.getAttribute("class") ?? ""}`;
    return `${element.tagName.toLowerCase()}${id} “${text.replace(/\s+/g, " ").slice(0, 40)}”`;
  };
  // One stop for all options of a question.
  const group = (element) => (element.type === "radio" && element.name ? `radio ${element.name}` : element);
  const stops = inside.filter((element) => (made(element) || element.hasAttribute("tabindex")) && usable(element));
  const wanted = stops.filter((element) => element.tabIndex >= 0);
  const found = [];
  for (const element of stops) {
    if (element.tabIndex < 0 && made(element)) found.push(["unreached", `${named(element)} has no stop`]);
  }
  // What looks as if it could be pressed, and can be with a mouse alone.
  const points = (element) => getComputedStyle(element).cursor === "pointer";
  for (const element of inside) {
    if (element.matches("option") || !usable(element) || !points(element)) continue;
    if (parent(element) && points(parent(element))) continue;
    const held = [...chain(element)].some((one) => made(one) || one.tagName === "LABEL" || one.tabIndex >= 0);
    if (!held) found.push(["unreached", `${named(element)} is for a mouse alone`]);
  }

  const focused = () => {
    let element = document.activeElement;
    while (element?.shadowRoot?.activeElement) element = element.shadowRoot.activeElement;
    return element === document.body || element === document.documentElement ? null : element;
  };
  const look = (element) => {
    const style = getComputedStyle(element);
    const outline = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) > 0;
    const around = outline ? `${style.outlineWidth} ${style.outlineColor}` : "";
    return [around, style.boxShadow, style.borderColor, style.backgroundColor].join("|");
  };
  const at = (x, y) => {
    let hit = document.elementFromPoint(x, y);
    while (hit?.shadowRoot) {
      const deeper = hit.shadowRoot.elementFromPoint(x, y);
      if (deeper === null || deeper === hit) break;
      hit = deeper;
    }
    return hit;
  };
  // How much of what is in the window can be seen, and what lies over the rest.
  const covered = (element) => {
    const box = element.getBoundingClientRect();
    const left = Math.max(box.left, 0);
    const right = Math.min(box.right, innerWidth);
    const top = Math.max(box.top, 0);
    const bottom = Math.min(box.bottom, innerHeight);
    if (right - left < 1 || bottom - top < 1) return "is out of the window";
    let seen = 0;
    let over = null;
    const across = [0.05, 0.25, 0.5, 0.75, 0.95];
    for (const x of across) {
      for (const y of across) {
        const hit = at(left + x * (right - left), top + y * (bottom - top));
        if (hit === null || within(hit, element) || within(element, hit)) seen += 1;
        else over = hit;
      }
    }
    return seen < 13 ? `is covered by ${named(over)}` : "";
  };
  // An outline that a box around it cuts off on most sides is not seen.
  const cut = (element) => {
    const style = getComputedStyle(element);
    const out = parseFloat(style.outlineOffset) + parseFloat(style.outlineWidth);
    if (style.outlineStyle === "none" || !(out > 0)) return "";
    const box = element.getBoundingClientRect();
    for (const one of chain(parent(element))) {
      if (one === document.body || one === document.documentElement) break;
      if (getComputedStyle(one).overflowX === "visible") continue;
      const room = one.getBoundingClientRect();
      const sides = [
        box.left - out < room.left, box.right + out > room.right,
        box.top - out < room.top, box.bottom + out > room.bottom,
      ];
      if (sides.filter(Boolean).length > 2) return `has its outline cut off by ${named(one)}`;
    }
    return "";
  };

  let seen = new Set();
  const reached = new Set();
  let last = null;
  let entered = false;
  globalThis.keyboardWalk = {
    found,
    begin() {
      const had = outer.getAttribute("tabindex");
      outer.setAttribute("tabindex", "-1");
      outer.focus();
      if (had === null) outer.removeAttribute("tabindex");
      else outer.setAttribute("tabindex", had);
    },
    turn() {
      seen = new Set();
      last = null;
      entered = false;
    },
    // "" while the walk goes on, else how it ended.
    step() {
      const element = focused();
      if (last !== null && last.element !== element && last.element.isConnected && look(last.element) === last.look) {
        found.push(["unseen", `${named(last.element)} looks the same with the focus`]);
      }
      if (element === null) return entered ? "end" : "outside";
      if (last !== null && last.element === element) {
        found.push(["trap", `${named(element)} keeps the focus`]);
        return "trap";
      }
      if (!within(element, outer) || element === outer) return entered ? "left" : "outside";
      if (seen.has(element)) return "round";
      entered = true;
      seen.add(element);
      reached.add(group(element));
      last = { element, look: look(element) };
      for (const problem of [covered(element), cut(element)]) {
        if (problem) found.push(["hidden", `${named(element)} ${problem}`]);
      }
      return "";
    },
    finish() {
      for (const element of wanted) {
        if (!element.isConnected || !usable(element) || reached.has(group(element))) continue;
        found.push(["unreached", named(element)]);
      }
      delete globalThis.keyboardWalk;
      return { stops: reached.size, found };
    },
  };
}
