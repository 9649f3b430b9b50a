// Presses, chooses or types something on the page, as the seed has it; browsing.py runs it.
(seed) => {
  let state = seed >>> 0;
  const chance = () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = Math.imul(state ^ (state >>> 15), 1 | state);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
  const one = (list) => list[Math.floor(chance() * list.length)];
  const found = [];
  const roots = [document];
  for (const root of roots) {
    for (const element of root.querySelectorAll("*")) {
      if (element.shadowRoot) roots.push(element.shadowRoot);
      if (!element.matches("button, select, summary, textarea, input:not([type=file])")) continue;
      if (element.disabled || element.closest("#trouble, #language-field") || !element.checkVisibility()) continue;
      found.push(element);
    }
  }
  if (found.length === 0) return "nothing to press";
  const element = one(found);
  const name = element.id || element.dataset.do || element.dataset.act || element.textContent.trim().slice(0, 40);
  const tell = (kind) => element.dispatchEvent(new Event(kind, { bubbles: true }));
  if (element.matches("select")) {
    const options = [...element.options].filter((option) => !option.disabled);
    if (options.length > 0) element.value = one(options).value;
    tell("change");
  } else if (element.matches("input[type=range]")) {
    element.value = Number(element.min || 0) + chance() * (Number(element.max || 100) - Number(element.min || 0));
    tell("input");
    tell("change");
  } else if (element.matches("textarea, input[type=text], input[type=search], input:not([type])")) {
    element.value = one(["", "12", "-3,5", "\u22127", "1e400", "much", "<b>x</b>", "9".repeat(400)]);
    tell("input");
    tell("change");
    element.dispatchEvent(new KeyboardEvent("keydown", { key: "Enter", bubbles: true }));
  } else element.click();
  return `${element.localName} ${name}`;
}
