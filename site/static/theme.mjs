// Light or dark: as the system has it, or as chosen at the top of the page; at once, in every window, and kept.

import { say } from "./words.mjs";

const KEY = "bandbench-colours";
const CHOICES = new Map([["system", say("theme.system")], ["light", say("theme.light")], ["dark", say("theme.dark")]]);

// A browser that keeps nothing, or a frame that may not: the choice then lasts as long as the page.
function kept() {
  try {
    const choice = localStorage.getItem(KEY);
    return CHOICES.has(choice) ? choice : "system";
  } catch {
    return "system";
  }
}

function keep(choice) {
  try {
    if (choice === "system") localStorage.removeItem(KEY);
    else localStorage.setItem(KEY, choice);
  } catch (error) {
    console.info(`The choice of colours is not kept: ${error}`);
  }
}

function apply(choice) {
  if (choice === "system") delete document.documentElement.dataset.theme;
  else document.documentElement.dataset.theme = choice;
  select.value = choice;
  document.dispatchEvent(new Event("bandbench:colours"));
}

const select = document.createElement("select");
select.id = "theme";
for (const [choice, title] of CHOICES) select.append(new Option(title, choice));
select.addEventListener("change", () => {
  apply(select.value);
  keep(select.value);
});
const label = document.createElement("label");
label.className = "theme";
label.append(say("theme.label"), select);
document.querySelector(".top").append(label);
apply(kept());
// The class's window and the console look alike.
addEventListener("storage", ({ key }) => {
  if (key === KEY || key === null) apply(kept());
});
