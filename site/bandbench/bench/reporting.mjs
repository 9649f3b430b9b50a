// What is reported: how many statements are kept, where they go, what was refused; and the end of a launched session.

// Where statements go, and as whom; only on a site that was built for an address.
function settingsSection(words, wish) {
  const endpoint = h("input", { id: "reporting-endpoint", type: "text", inputmode: "url", autocomplete: "off", spellcheck: "false" });
  const version = h("select", { id: "reporting-version" }, ["1.0.3", "2.0.0"].map((one) => h("option", { value: one }, one)));
  const user = h("input", { id: "reporting-user", type: "text", autocomplete: "off" });
  const secret = h("input", { id: "reporting-secret", type: "password", autocomplete: "off" });
  const use = () => {
    wish("use", { endpoint: endpoint.value, version: version.value, user: user.value, secret: secret.value });
    // It is not kept here, either.
    secret.value = "";
  };
  secret.addEventListener("keydown", (event) => { if (event.key === "Enter") use(); });
  const field = (label, input) => h("span", { class: "field" }, h("label", { for: input.id }, label), input);
  const stop = button(words.stop, () => wish("stop"), { "data-do": "reporting_stop" });
  const element = h("div", { class: "asked", role: "group", "aria-label": words.settings },
    field(words.endpoint, endpoint), field(words.version, version), field(words.user, user), field(words.secret, secret),
    h("p", { class: "about" }, words.secret_about),
    h("div", { class: "row" }, button(words.send, use, { class: "main", "data-do": "reporting_send" }), stop));
  let filled = false;
  const show = (now) => {
    element.hidden = !now.open;
    stop.hidden = !now.sending;
    if (filled || !now.open) return;
    filled = true;
    endpoint.value = now.endpoint;
    version.value = now.version;
  };
  return { element, show };
}

// How sending stands, as a word's key.
function standing(now) {
  if (now.launch.state === "opening" || now.launch.state === "failed") return now.launch.code || "launch_opening";
  if (now.ended) return now.waiting > 0 ? "left_waiting" : "left";
  if (!now.sending) return now.open ? "idle" : "closed";
  if (now.offline && now.waiting > 0) return "offline";
  if (now.trouble.code) return now.trouble.code;
  if (now.waiting === 0) return "all_sent";
  return now.busy ? "sending" : "waiting";
}

export function render({ model, el }) {
  const { words } = model;
  const wish = (what, more = {}) => document.dispatchEvent(new CustomEvent("bandbench:reporting-do", { detail: { do: what, ...more } }));
  // The launch stands at the top of the page: who is to report back needs no scrolling to find how.
  const bar = document.getElementById("launch");
  bar.setAttribute("aria-label", words.title_launch);
  const launched = h("p");
  const problem = h("p", { role: "alert" });
  const ending = h("p", { role: "status" });
  const leave = button(words.leave, () => model.send_msg({ do: "leave" }), { class: "main", "data-do": "reporting_leave" });
  const away = button(words.away, () => wish("away"), { "data-do": "reporting_away", hidden: true });
  bar.replaceChildren(launched, problem, ending, h("p", {}, leave, away));
  const title = h("summary");
  const status = h("p", { class: "sentence", role: "status" });
  const settings = settingsSection(words, wish);
  const refused = h("ul", { class: "unreadable" });
  const refusals = h("div", { hidden: true }, h("h4", {}, words.refused), h("p", { class: "about" }, words.refused_about), refused);
  const stranded = h("p", { class: "sentence", hidden: true });
  const told = h("p", { class: "sentence", role: "status" });
  const details = h("details", { class: "records" }, title, h("p", { class: "about" }, words.about),
    h("div", { class: "row" }, button(words.export, () => wish("export"), { "data-do": "reporting_export" })),
    settings.element, refusals, told);
  const part = h("div", { class: "part reporting" }, h("div", { class: "learner" }, details, status, stranded));
  el.append(part);

  let launchState = "";
  let preferred = null;
  const showBar = () => {
    const shown = JSON.parse(model.shown);
    setText(launched, shown.launched ?? "");
    setText(problem, shown.problem ?? "");
    problem.hidden = !shown.problem;
    bar.hidden = !shown.launched && !shown.problem;
    leave.hidden = launchState !== "open" || !shown.launched;
    const audio = shown.audio ?? null;
    if (audio === preferred) return;
    preferred = audio;
    document.dispatchEvent(new CustomEvent("bandbench:sound-preferred", { detail: { on: audio } }));
  };
  listenTo(model, document, "bandbench:reporting", ({ detail: now }) => {
    setText(title, fill(words.title, now));
    const key = standing(now);
    const detail = key.startsWith("launch_") ? now.launch.detail : now.trouble.detail;
    const sentence = fill(words[key], { ...now, detail, seconds: now.trouble.seconds });
    setText(status, sentence);
    setText(ending, now.ended ? sentence : "");
    away.hidden = !now.ended || now.waiting === 0 || !now.launch.returnAddress;
    setText(stranded, fill(words.stranded, now));
    stranded.hidden = now.stranded === 0;
    // That nothing can be sent is for those who look; all else is told where it is seen.
    const place = key === "closed" ? details : details.parentElement;
    if (status.parentElement !== place) place.append(status);
    part.dataset.reporting = key;
    settings.show(now);
    refusals.hidden = now.refused.length === 0;
    refused.replaceChildren(...now.refused.map((line) => h("li", {}, line)));
    launchState = now.ended ? "ended" : now.launch.state;
    showBar();
  });
  listenTo(model, document, "bandbench:reporting-told", ({ detail }) => setText(told, detail.word ? fill(words[detail.word], detail.values ?? {}) : ""));
  follow(model, ["shown"], showBar);
  wish("ask");
}
