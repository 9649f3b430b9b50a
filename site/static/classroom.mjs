// The class's window as an instructor's console sees it: it has a name, says that it is there, passes on what a console
// asks and tells what the bench answers. Nothing of it is written into the page, its address or the browser's log.

import { spoken } from "./language.mjs";
import { newName, openChannel, problemOf, sealed } from "./consoleprotocol.mjs";

const CONSOLE_PAGE = "console.html";
// Refusals a stranger can cause; more are not told.
const MOST_REFUSALS = 100;

const own = newName();
const opened = Date.now();
let channel = null;
let post = null;
let refusals = 0;

document.documentElement.dataset.window = own;

function say(kind, body = {}) {
  channel?.postMessage(sealed("class", own, kind, body));
}

function refuse(reason) {
  refusals += 1;
  if (refusals <= MOST_REFUSALS) say("refused", { reason });
}

function take({ data }) {
  const wrong = problemOf(data, "console");
  if (wrong !== null) {
    refuse(wrong);
    return;
  }
  // Other windows of the class speak on the same channel.
  if (data.side !== "console") return;
  if (data.kind === "who") {
    say("here", { opened });
    return;
  }
  if (data.to !== own) return;
  const { kind, number, action, value } = data;
  post({ type: "console", text: JSON.stringify(kind === "do" ? { kind, number, action, value } : { kind }) });
}

// From the worker: what consoles shall be told.
export function tellConsole({ text }) {
  for (const { kind, ...body } of JSON.parse(text)) say(kind, body);
}

// The worker was started anew, with nothing planted and no console it knows of: consoles begin again with it.
export function consoleAgain() {
  say("gone");
  say("here", { opened });
}

export function acceptConsole(send) {
  post = send;
  document.addEventListener("bandbench:open-console", ({ detail }) => {
    if (channel === null || open(`${CONSOLE_PAGE}?language=${spoken}#${own}`, `bandbench-console-${own}`, "popup,width=900,height=1000") === null) detail.refused = true;
  });
  if (typeof BroadcastChannel !== "function") return;
  channel = openChannel();
  channel.addEventListener("message", take);
  channel.addEventListener("messageerror", () => refuse("it cannot be read"));
  addEventListener("pagehide", () => say("gone"));
  addEventListener("pageshow", ({ persisted }) => { if (persisted) say("here", { opened }); });
  say("here", { opened });
}
