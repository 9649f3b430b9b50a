// Every sentence that the page's own scripts show, by key. {name} is filled in.

const WORDS = {
  "step.download": "Fetching the bench: {loaded} of {size} MB",
  "step.python": "Starting Python",
  "step.libraries": "Loading the instruments",
  "step.bench": "Setting up the recorder",
  "step.page": "Drawing the controls",
  "step.position": "Step {index} of {total}: {label}",
  "browser.title": "This browser cannot run the bench.",
  "browser.webassembly": "It lacks WebAssembly, or has it switched off.",
  "browser.workers": "It lacks module workers.",
  "browser.action": "Use a current version of Firefox, Chromium, Chrome, Edge or Safari.",
  "network.title": "A part of the bench could not be fetched.",
  "network.action": "Check the connection (or whether the server still runs), then load the page again. What was fetched before is not fetched twice.",
  "python.title": "The bench could not start.",
  "python.action": "Load the page again. If it happens again, send the details below to whoever runs this site.",
  "bench.title": "The bench has stopped: it met an error of its own.",
  "bench.action": "Load the page again to go on. Please send the details below to whoever runs this site.",
  "worker.title": "The part of the page that computes the picture has stopped.",
  "worker.action": "Load the page again. If it happens again, close other pages first: the browser may be short of memory.",
  "silent.title": "The bench has not answered for {seconds} seconds.",
  "silent.action": "If the machine is busy it may still go on, and this notice goes away. Otherwise load the page again.",
  "kept.nothing": "Nothing had been started, so nothing is lost.",
  "kept.attempt": "The settings of the bench are not kept; the picture on the screen is the last one it made.",
  "kept.records": "What was done in a lesson is kept in this browser, but for the last second: load the page again and resume it.",
  "kept.memory": "This browser keeps no records of the page: export them here before you load it again.",
  "file.reading": "Reading {name}",
  "file.playing": "Playing {name}",
  "file.unreadable": "{name} is not a picture that this browser can read. The programme stays as it was. Try a PNG or JPEG file.",
  "file.small": "{name} is smaller than 2 by 2 pixels. The programme stays as it was. Choose a larger picture.",
};

export function say(key, values = {}) {
  return WORDS[key].replace(/\{(\w+)\}/g, (_, name) => String(values[name]));
}
