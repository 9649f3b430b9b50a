// Whether flashing pictures are held back: yes, unless it is chosen otherwise at the top of the page, after a caution; kept, as
// the colours are.

import { say } from "./words.mjs";

const KEY = "bandbench-flashing";
const CHOICES = new Map([["held", say("flashing.held")], ["made", say("flashing.made")]]);
// What is at work now and then is told without a break.
const TOLD_MS = 2000;

const note = document.getElementById("flashing-note");
const select = document.createElement("select");
select.id = "flashing";
for (const [choice, title] of CHOICES) select.append(new Option(title, choice));
const label = document.createElement("label");
label.className = "theme";
label.append(say("flashing.label"), select);
document.querySelector(".top").append(label);

// A browser that keeps nothing, or a frame that may not: the choice then lasts as long as the page.
function kept() {
  try {
    const choice = localStorage.getItem(KEY);
    return CHOICES.has(choice) ? choice : "held";
  } catch {
    return "held";
  }
}

function keep(choice) {
  try {
    if (choice === "held") localStorage.removeItem(KEY);
    else localStorage.setItem(KEY, choice);
  } catch (error) {
    console.info(`The choice about flashing is not kept: ${error}`);
  }
}

const follower = { changed: () => {} };

function apply(choice) {
  select.value = choice;
  follower.changed();
}

const caution = document.createElement("dialog");
caution.className = "caution-dialog";
caution.setAttribute("aria-labelledby", "flashing-caution-title");

function element(tag, text, properties = {}) {
  return Object.assign(document.createElement(tag), { textContent: text, ...properties });
}

// Each button closes it with what it says; whatever else closes it leaves the pictures held back.
const choose = (text, choice) => element("button", text, { value: choice, type: "submit" });
const form = element("form", "", { method: "dialog" });
form.append(
  element("h2", say("flashing.caution_title"), { id: "flashing-caution-title" }), element("p", say("flashing.caution")),
  choose(say("flashing.caution_hold"), "held"), choose(say("flashing.caution_show"), "made"));
caution.append(form);
document.body.append(caution);
caution.addEventListener("close", () => {
  const choice = caution.returnValue === "made" ? "made" : "held";
  keep(choice);
  apply(choice);
});

select.addEventListener("change", () => {
  if (select.value === "held") {
    keep("held");
    apply("held");
    return;
  }
  // Not before it has been read.
  select.value = "held";
  caution.returnValue = "";
  caution.showModal();
});
apply(kept());
addEventListener("storage", ({ key }) => {
  if (key === KEY || key === null) apply(kept());
});

export const isHeldBack = () => select.value === "held";

// Calls back when it is chosen otherwise.
export function followChoice(changed) {
  follower.changed = changed;
}

let until = 0;

// Says on the picture whether something is held back in it; returns whether it says so.
export function tellHeldBack(atWork, now) {
  if (atWork) until = now + TOLD_MS;
  const text = isHeldBack() && now < until ? say("flashing.note") : "";
  if (note.textContent !== text) note.textContent = text;
  return text !== "";
}
