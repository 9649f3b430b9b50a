// A launch by a learning system (cmi5): what the address says, and what the system says when it is asked.

const NAMES = ["endpoint", "fetch", "actor", "registration", "activityId"];
// The page does not wait longer than this to know which language to begin in.
const LONGEST_WAIT_MS = 5000;
const VERSIONS = ["1.0.3", "2.0.0"];

// A launch that failed, as a code that the part has words for.
export class LaunchFailure extends Error {
  constructor(code, detail) {
    super(`${code}: ${detail}`);
    this.code = code;
    this.detail = detail;
  }
}

function webAddress(text) {
  try {
    const url = new URL(text);
    return /^https?:$/.test(url.protocol) ? url : null;
  } catch {
    return null;
  }
}

// The launch in the page's address, or null if there is none.
export function launchOf(search) {
  const given = new URLSearchParams(search);
  if (!NAMES.some((name) => given.has(name))) return null;
  const missing = NAMES.filter((name) => !given.get(name));
  for (const name of ["endpoint", "fetch"]) if (!missing.includes(name) && webAddress(given.get(name)) === null) missing.push(name);
  let actor = null;
  try {
    actor = JSON.parse(given.get("actor"));
  } catch {
    missing.push("actor");
  }
  if (missing.length > 0) throw new LaunchFailure("launch_short", [...new Set(missing)].join(", "));
  return {
    endpoint: given.get("endpoint").replace(/\/?$/, "/"),
    fetch: given.get("fetch"),
    actor,
    registration: given.get("registration"),
    activityId: given.get("activityId"),
    lesson: given.get("lesson") ?? "",
  };
}

// The token is given once. It stays in memory; that it was asked for is noted, so that a page that is loaded again
// does not ask a second time.
async function tokenOf(launch) {
  const note = `bandbench-launch:${launch.fetch}`;
  try {
    if (sessionStorage.getItem(note) !== null) throw new LaunchFailure("launch_used", "");
    sessionStorage.setItem(note, "asked");
  } catch (error) {
    if (error instanceof LaunchFailure) throw error;
    // Without storage the learning system itself says that it has given the token.
  }
  const said = await answered(fetch(launch.fetch, { method: "POST", cache: "no-store", referrerPolicy: "no-referrer" }));
  if (plain(said["error-code"]) === "1") throw new LaunchFailure("launch_used", "");
  if (typeof said["auth-token"] !== "string") throw new LaunchFailure("launch_refused", plain(said["error-text"]) || "auth-token");
  return said["auth-token"];
}

// Not every object that JSON can hold has a text to it.
const plain = (value) => (typeof value === "object" ? "" : String(value ?? ""));

async function answered(asked) {
  let response;
  try {
    response = await asked;
  } catch (error) {
    throw new LaunchFailure("launch_failed", error.message);
  }
  if (!response.ok) throw new LaunchFailure("launch_refused", `${response.status} ${response.statusText}`.trim());
  try {
    const said = await response.json();
    // Everything that is asked for is a table; what else may be JSON is no answer.
    if (typeof said !== "object" || said === null || Array.isArray(said)) throw new TypeError("no table");
    return said;
  } catch {
    throw new LaunchFailure("launch_refused", "JSON");
  }
}

// The launch in the page's address is taken once, by whoever asks first: the language of the page is one of the things
// that it decides. Null where there is none.
let opening = null;
export function takenLaunch(allowed) {
  if (!allowed) return null;
  try {
    const launch = launchOf(location.search);
    if (launch !== null) opening ??= openLaunch(launch).then((opened) => ({ ...opened, endpoint: launch.endpoint }));
  } catch (error) {
    opening ??= Promise.reject(error);
  }
  // Told where the launch is dealt with.
  opening?.catch(() => {});
  return opening;
}

// The learner's languages as the learning system knows them, the one liked best first; none where it does not say.
export async function launchedLanguages(allowed) {
  const slow = new Promise((resolve) => { setTimeout(resolve, LONGEST_WAIT_MS, null); });
  const opened = await Promise.race([takenLaunch(allowed), slow]).catch(() => null);
  const said = opened?.preferences?.languagePreference;
  return typeof said === "string" ? said.split(",").map((tag) => tag.trim()).filter(Boolean) : [];
}

// What the learning system says about a launch: the authorisation, and what Python's read_launch wants to know.
export async function openLaunch(launch) {
  const authorisation = `Basic ${await tokenOf(launch)}`;
  const agent = JSON.stringify(launch.actor);
  const ask = (path, values, version) => fetch(`${launch.endpoint}${path}?${new URLSearchParams(values)}`, {
    headers: { Authorization: authorisation, "X-Experience-API-Version": version },
    cache: "no-store",
    referrerPolicy: "no-referrer",
  });
  const state = { activityId: launch.activityId, agent, registration: launch.registration, stateId: "LMS.LaunchData" };
  let version = VERSIONS[0];
  let asked = ask("activities/state", state, version);
  // A store of the newer version may refuse the older one's requests.
  if ((await asked.catch(() => null))?.status === 400) {
    version = VERSIONS[1];
    asked = ask("activities/state", state, version);
  }
  const data = await answered(asked);
  const optional = async (path, values, otherwise) => {
    try {
      return await answered(ask(path, values, version));
    } catch (error) {
      console.info(`${path}: ${error.message}`);
      return otherwise;
    }
  };
  const preferences = await optional("agents/profile", { agent, profileId: "cmi5LearnerPreferences" }, {});
  const said = async (verb) => {
    const values = { agent, verb: `http://adlnet.gov/expapi/verbs/${verb}`, activity: launch.activityId, registration: launch.registration, limit: 1 };
    return (await optional("statements", values, {})).statements?.length > 0;
  };
  return {
    authorisation,
    version,
    preferences,
    returnAddress: webAddress(data.returnURL)?.href ?? "",
    message: {
      actor: launch.actor,
      registration: launch.registration,
      activity_id: launch.activityId,
      lesson: launch.lesson,
      launch_data: data,
      preferences,
      passed: await said("passed"),
      completed: await said("completed"),
    },
  };
}
