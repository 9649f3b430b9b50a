// What goes between an instructor's console and the class's windows: every message has one of these forms and no other.
// Both ends hold what they get to them; what is not of the form is refused and reported, and changes nothing.

export const PROTOCOL = 2;
const MARK = "bandbench-console";
const LONGEST_TEXT = 4000;
const LONGEST_LIST = 1000;
// All that a window holds, with every marked state, is some 25 000 letters.
const LONGEST_MEMORY = 200_000;

// Windows are called by four letters that cannot be taken for each other.
const LETTERS = "ACDEFHJKLMNPRTUVWXY";
export const NAME = new RegExp(`^[${LETTERS}]{4}$`);

export function newName() {
  return [...crypto.getRandomValues(new Uint8Array(4))].map((byte) => LETTERS[byte % LETTERS.length]).join("");
}

// One channel for each place the site stands at: copies of it beside each other do not meet.
export function openChannel() {
  return new BroadcastChannel(`${MARK} ${new URL(".", document.baseURI).pathname}`);
}

// The forms. A form is a function that returns what is wrong with a value, or null.
const text = (value) => (typeof value === "string" && value.length <= LONGEST_TEXT ? null : "is no text");
const memory = (value) => (typeof value === "string" && value.length <= LONGEST_MEMORY ? null : "is no memory of a window");
const name = (value) => (typeof value === "string" && NAME.test(value) ? null : "is no window's name");
const number = (value) => (typeof value === "number" && Number.isFinite(value) ? null : "is no number");
const whole = (value) => (Number.isSafeInteger(value) ? null : "is no whole number");
const flag = (value) => (typeof value === "boolean" ? null : "is neither true nor false");
const nothing = (value) => (value === null ? null : "is not empty");
const either = (...forms) => (value) => (forms.some((form) => form(value) === null) ? null : forms[0](value));
const oneOf = (...values) => (value) => (values.includes(value) ? null : `is not one of ${values.join(", ")}`);

function list(form) {
  return (value) => {
    if (!Array.isArray(value) || value.length > LONGEST_LIST) return "is no list";
    for (const [place, one] of value.entries()) {
      const wrong = form(one);
      if (wrong !== null) return `[${place}] ${wrong}`;
    }
    return null;
  };
}

function row(...forms) {
  return (value) => {
    if (!Array.isArray(value) || value.length !== forms.length) return `is no row of ${forms.length}`;
    for (const [place, form] of forms.entries()) {
      const wrong = form(value[place]);
      if (wrong !== null) return `[${place}] ${wrong}`;
    }
    return null;
  };
}

function table(forms) {
  const known = Object.keys(forms);
  return (value) => {
    if (typeof value !== "object" || value === null || Array.isArray(value)) return "is no table";
    for (const key of Object.keys(value)) if (!known.includes(key)) return `${key} is not known`;
    for (const key of known) {
      if (!Object.hasOwn(value, key)) return `${key} is missing`;
      const wrong = forms[key](value[key]);
      if (wrong !== null) return `${key} ${wrong}`;
    }
    return null;
  };
}

const share = (value) => (number(value) === null && value >= 0 && value <= 1 ? null : "is not from 0 to 1");

// What a console can ask for, and what it says with it.
const ACTIONS = {
  mode: { mode: oneOf("learn", "practise", "demonstrate") },
  plant: { fault: text, severity: share },
  hide_value: { name: text, to: number },
  clear: {},
  freeze: { frozen: flag },
  why: { choice: oneOf("auto", "shown", "hidden") },
  readings: { shown: flag },
  mark: {},
  put_back: { memory },
  rewind: { mark: whole },
  show: { demonstration: text, cue: whole },
  next: {},
  back: {},
  end: {},
};

const SHOWN = table({
  id: text, title: text, cue: whole, total: whole, cue_title: text, caption: text, notes: text,
  expect: list(row(text, text, text, text, either(flag, nothing), text)), next: text, act_in_s: whole,
});

const FROM_CONSOLE = {
  who: {},
  hello: { to: name },
  bye: { to: name },
  do: { to: name, number: whole, action: oneOf(...Object.keys(ACTIONS)), value: () => null },
};
const FROM_CLASS = {
  here: { opened: whole },
  gone: {},
  refused: { reason: text },
  answer: { number: whole, problem: text },
  lists: {
    modes: list(row(text, text)),
    faults: list(row(text, text, text, number, number, text)),
    hidden: list(row(text, text, text, number, number, number, number)),
    demonstrations: list(row(text, text, number, list(text))),
  },
  state: {
    mode: text, mode_title: text, lesson: text, attempt: text, frozen: flag, why: oneOf("auto", "shown", "hidden"), why_now: text,
    readings_shown: flag, machine: list(row(text, text)), controls: list(row(text, text)), readings: list(row(text, text, text)),
    faults: list(row(text, text, share)), values: list(row(text, text, text)), own: either(row(text, share), row()),
    demonstration: either(SHOWN, nothing), marks: list(row(whole, text)), no_mark: text, notice: text,
  },
  // What the console gives back to a window that was loaded again, and the same in words.
  memory: { text: memory, words: list(text) },
};

// Puts a message into its form; throws where this program itself is wrong.
export function sealed(side, from, kind, body = {}) {
  const message = { mark: MARK, protocol: PROTOCOL, side, from, kind, ...body };
  const wrong = problemOf(message, side);
  if (wrong !== null) throw new Error(`console message: ${wrong}`);
  return message;
}

// Not every object that another window can send has a text to it.
const shown = (value) => (typeof value === "object" ? "unknown" : String(value).slice(0, 20));

// What is wrong with a message from a side ("console" or "class"); null if nothing.
export function problemOf(message, side) {
  if (typeof message !== "object" || message === null || message.mark !== MARK) return "it is not one of this program's";
  if (message.protocol !== PROTOCOL) return `it is of protocol ${shown(message.protocol)}, and this is protocol ${PROTOCOL}: load both windows again`;
  if (message.side !== side) return null;
  const kinds = side === "console" ? FROM_CONSOLE : FROM_CLASS;
  if (typeof message.kind !== "string" || !Object.hasOwn(kinds, message.kind)) return `kind ${shown(message.kind)} is not known`;
  const envelope = { mark: () => null, protocol: () => null, side: () => null, from: name, kind: () => null };
  const wrong = table({ ...envelope, ...kinds[message.kind] })(message);
  if (wrong !== null || message.kind !== "do") return wrong;
  const value = table(ACTIONS[message.action])(message.value);
  return value === null ? null : `value ${value}`;
}
