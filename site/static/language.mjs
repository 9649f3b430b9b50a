// The language of the page: which one, its texts, and the switch. What stands in the page itself is English as it comes;
// for another language the texts are fetched first and put in its place.

import { launchedLanguages } from "./cmi5.mjs";

const KEPT_AS = "bandbench-language";
const GO_ON_WITH = "bandbench-go-on-with";
const { english, names, addresses } = JSON.parse(document.getElementById("site-words").textContent);

// The browser may refuse the page its storage.
function kept() {
  try {
    return localStorage.getItem(KEPT_AS);
  } catch {
    return null;
  }
}

// The first that is there: a link's, the learner's own as a learning system knows it that launched the page, the one
// chosen here before, the browser's own.
async function chosen() {
  // The instructor's console has no parts and is never launched.
  const parts = document.getElementById("site-parts");
  const { statements } = parts === null ? {} : JSON.parse(parts.textContent);
  const launched = Object.keys(names).length > 1 ? await launchedLanguages(statements?.cmi5) : [];
  const asked = [new URLSearchParams(location.search).get("language"), ...launched, kept(), ...(navigator.languages ?? [])];
  for (const one of asked) {
    const name = one?.toLowerCase().split("-")[0];
    if (name in names) return name;
  }
  return "en";
}

let language = await chosen();
let words = english;
if (language in addresses) {
  try {
    const response = await fetch(addresses[language]);
    if (!response.ok) throw new Error(`the server answered ${response.status}`);
    ({ words } = await response.json());
    translatePage();
  } catch {
    // Without its texts the page speaks English; that the connection fails is told by whatever needs it next.
    language = "en";
  }
}

// The language that is spoken, and where its texts for Python are: null for English, which comes with the program.
export const spoken = language;
export const textsAddress = addresses[language] ?? null;

function text(key, values) {
  return words[key].replace(/\{(\w+)\}/g, (_, name) => String(values[name]));
}

// A function that gives the texts whose keys begin with this.
export function sayer(prefix) {
  return (key, values = {}) => text(`${prefix}.${key}`, values);
}

// What build_page.py filled in, once more.
function translatePage() {
  document.documentElement.lang = language;
  for (const element of document.querySelectorAll("[data-word]")) element.textContent = text(element.dataset.word, element.dataset);
  for (const [mark, attribute] of [["wordLabel", "aria-label"], ["wordContent", "content"]]) {
    const selector = `[data-${mark.replace(/[A-Z]/g, (letter) => `-${letter.toLowerCase()}`)}]`;
    for (const element of document.querySelectorAll(selector)) element.setAttribute(attribute, text(element.dataset[mark], element.dataset));
  }
  // Of the links into the guide, those that have the language in their address.
  for (const link of document.querySelectorAll('a[href^="guide/en/"]')) link.setAttribute("href", link.getAttribute("href").replace("/en/", `/${language}/`));
  // What no script has put in another language yet.
  for (const element of document.querySelectorAll("[data-english]")) element.lang = "en";
}

// The list to choose from, where there is more than one language. The choice is kept, and the page begins anew with it;
// the attempt that is going on (its id, from `goingOn`) is gone on with there (see learner.mjs).
export function offerLanguages(field, list, goingOn) {
  if (Object.keys(names).length < 2) return;
  list.replaceChildren(...Object.entries(names).map(([name, title]) => {
    const option = new Option(title, name, name === language, name === language);
    option.lang = name;
    return option;
  }));
  list.addEventListener("change", () => {
    const address = new URL(location.href);
    address.searchParams.delete("language");
    try {
      localStorage.setItem(KEPT_AS, list.value);
    } catch {
      // Then the address says so.
      address.searchParams.set("language", list.value);
    }
    try {
      sessionStorage.setItem(GO_ON_WITH, goingOn());
    } catch {
      // Then it waits among those that were left.
    }
    history.replaceState(null, "", address);
    location.reload();
  });
  field.hidden = false;
}
