// Spoils what the page's scripts read, for [seconds, seed]; what comes of it is counted. scripts.py runs it.
async ([seconds, seed]) => {
  const { problemOf, sealed } = await import("/consoleprotocol.mjs");
  const { LaunchFailure, launchOf, openLaunch } = await import("/cmi5.mjs");
  let state = seed >>> 0;
  const chance = () => { state = (Math.imul(state, 1664525) + 1013904223) >>> 0; return state / 4294967296; };
  const one = (list) => list[Math.floor(chance() * list.length)];
  const cyclic = []; cyclic.push(cyclic);
  const AWKWARD = [undefined, null, true, 0, -1, NaN, Infinity, 1e308, 2 ** 53, 10n, "", " ", "x".repeat(5000), "\ud800",
    "<script>alert(1)</script>", "__proto__", "constructor", [], [[]], {}, { toString: 1, valueOf: 1 }, cyclic, new Map([[1, 2]]),
    new Date(NaN), new Uint8Array(3), /x/, new Error("x"), Object.create({ mark: "bandbench-console" }), [, 1]];
  const places = (value, found = [], seen = new Set()) => {
    if (typeof value !== "object" || value === null || ArrayBuffer.isView(value) || seen.has(value)) return found;
    seen.add(value);
    for (const key of Object.keys(value)) { found.push([value, key]); places(value[key], found, seen); }
    return found;
  };
  const spoil = (value, json) => {
    const copy = structuredClone(value);
    for (let n = one([1, 1, 1, 2, 5]); n > 0; n -= 1) {
      const all = places(copy);
      const usable = json ? AWKWARD.filter((one) => { try { return JSON.stringify(one) !== undefined; } catch { return false; } }) : AWKWARD;
      if (all.length === 0 || chance() < 0.03) return one(usable);
      const [holder, key] = one(all);
      if (chance() < 0.15) { if (Array.isArray(holder)) holder.splice(Number(key), 1); else delete holder[key]; }
      else if (chance() < 0.1) Object.defineProperty(holder, one(["x", "__proto__", "", "toJSON"]), { value: one(usable), enumerable: true, configurable: true, writable: true });
      else holder[key] = one(usable);
    }
    return copy;
  };
  const A = "ACDE";
  const messages = [
    ["class", sealed("class", A, "here", { opened: 5 })], ["class", sealed("class", A, "answer", { number: 1, problem: "" })],
    ["console", sealed("console", A, "do", { to: A, number: 1, action: "plant", value: { fault: "noise", severity: 0.5 } })],
    ["console", sealed("console", A, "who", {})],
    ["class", sealed("class", A, "lists", { modes: [["a", "b"]], faults: [["a", "b", "c", 0, 1, "d"]], hidden: [["a", "b", "c", 0, 1, 2, 0]], demonstrations: [["a", "b", 3, ["c"]]] })],
  ];
  const actor = { objectType: "Agent", account: { homePage: "https://lms.example", name: "s" } };
  const answers = { token: { "auth-token": "abc" }, data: { contextTemplate: { extensions: {} }, launchMode: "Normal", returnURL: "https://lms.example/" },
    preferences: { languagePreference: "en" }, said: { statements: [] } };
  const query = () => new URLSearchParams({ endpoint: "https://lms.example/xapi", fetch: "https://lms.example/token", actor: JSON.stringify(actor), registration: "r", activityId: "https://lms.example/1" });
  const counts = { cases: 0, taken: 0, refused: 0, findings: [] };
  const find = (what, error, input) => {
    let told = "";
    try { told = JSON.stringify(input).slice(0, 400); } catch { told = "cannot be shown"; }
    if (counts.findings.length < 20) counts.findings.push([`${what} ${String(error?.name)}: ${String(error?.message).slice(0, 80)}`, `${error?.stack ?? error}\n${told}`]);
  };
  const end = performance.now() + 1000 * seconds;
  while (performance.now() < end && counts.findings.length < 20) {
    for (let n = 0; n < 40; n += 1) {
      counts.cases += 1;
      const [side, valid] = one(messages);
      const message = spoil(valid, false);
      try {
        const wrong = problemOf(message, side);
        if (wrong === null) counts.taken += 1; else counts.refused += 1;
        if (wrong !== null && (typeof wrong !== "string" || wrong.length < 5)) find("console", new Error(`says ${wrong}`), message);
      } catch (error) { find("console", error, message); }
    }
    counts.cases += 1;
    const given = query();
    for (const key of [...given.keys()]) if (chance() < 0.2) given.set(key, one(["", "null", "[]", "javascript:alert(1)", "https://", "{", "x".repeat(3000), "https://a@b:99999"]));
    let launch = null;
    try { launch = launchOf(`?${given}`); } catch (error) { if (!(error instanceof LaunchFailure)) find("launch", error, String(given)); }
    sessionStorage.clear();
    globalThis.fetch = async (address) => {
      if (chance() < 0.05) throw new TypeError("failed");
      const path = String(address);
      const valid = path.includes("token") ? answers.token : path.includes("state") ? answers.data : path.includes("profile") ? answers.preferences : answers.said;
      const body = chance() < 0.1 ? one(["", "<html>", "nul", "{"]) : JSON.stringify(chance() < 0.5 ? spoil(valid, true) : valid);
      return new Response(body, { status: one([200, 200, 200, 200, 200, 200, 400, 401, 404, 500]) });
    };
    try {
      const opened = await openLaunch(launch ?? launchOf(`?${query()}`));
      JSON.stringify(opened.message);
      if (typeof opened.message.launch_data !== "object" || !/^(https?:.*)?$/.test(opened.returnAddress)) find("launch", new Error("opened with no launch"), opened.message);
      counts.taken += 1;
    } catch (error) {
      if (error instanceof LaunchFailure && typeof error.detail === "string") counts.refused += 1;
      else find("launch", error, null);
    }
  }
  return counts;
}
