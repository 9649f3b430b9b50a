// Keeps a copy of the site in the browser, so that it starts without a network. Filled in by the build: the files of
// this version with their hashes. A classic script at the site's root, for that is what decides how far it reaches.
//
// Each version has a store of its own. A new one is fetched beside the old one, and takes over when no page of the old
// one is open any more, or when its user says so. A store goes when no open page holds its version's lock.

const { build, page, pages, files } = {{precache}};

const SCOPE = new URL("./", self.location).pathname;
const STORES = `bandbench ${SCOPE} `;
const OWN = STORES + build;
const LOCK = `bandbench-version ${SCOPE} `;
const NETWORK_WITHIN_MS = 4000;

const address = (path) => new URL(path || "./", self.location).href;

// What may be handed out for a page: a response that followed a redirection may not.
function plain(response) {
  if (!response.redirected) return response;
  const { status, statusText, headers } = response;
  return new Response(response.body, { status, statusText, headers });
}

async function ourStores() {
  return (await caches.keys()).filter((name) => name.startsWith(STORES));
}

// What is kept already, of another version or from an attempt that was cut short, is not fetched again.
async function keepFile(store, path, hash) {
  const url = address(path);
  if (await store.match(url) !== undefined) return;
  const kept = await caches.match(url);
  if (kept !== undefined) {
    await store.put(url, kept);
    return;
  }
  const response = await fetch(url, { integrity: `sha256-${hash}` });
  if (!response.ok) throw new Error(`${path}: the server answered ${response.status}`);
  await store.put(url, response);
}

// Pages keep their names from version to version: only one that belongs to these files is kept.
async function keepPage(store, path) {
  const response = plain(await fetch(address(path), { cache: "no-cache" }));
  if (!response.ok) throw new Error(`${path || "the page"}: the server answered ${response.status}`);
  const text = await response.clone().text();
  if (!text.includes(page)) throw new Error(`${path || "the page"} is of another version`);
  await store.put(address(path), response);
}

async function keep() {
  const store = await caches.open(OWN);
  // One after the other: whoever uses the bench meanwhile goes first. A failure leaves what is there for the next time.
  for (const path of pages) await keepPage(store, path);
  for (const [path, hash] of files) await keepFile(store, path, hash);
}

async function dropOld() {
  const { held = [] } = await self.navigator.locks?.query() ?? {};
  const used = new Set(held.map(({ name }) => name));
  const waiting = self.registration.waiting !== null || self.registration.installing !== null;
  for (const name of await ourStores()) {
    if (name === OWN || waiting || used.has(LOCK + name.slice(STORES.length))) continue;
    await caches.delete(name);
  }
}

// The page itself comes from the network where there is one, and else as it was kept.
async function pageFor(path, preloaded) {
  const kept = () => caches.open(OWN).then((store) => store.match(address(path)));
  const network = (async () => plain(await preloaded ?? await fetch(address(path), { cache: "no-cache" })))();
  network.catch(() => {});
  const late = new Promise((resolve) => { setTimeout(resolve, NETWORK_WITHIN_MS); });
  try {
    const answer = await Promise.race([network, late]);
    // A server in trouble is as good as none.
    if (answer !== undefined && answer.status < 500) return answer;
  } catch {
    // There is no network.
  }
  return await kept() ?? network;
}

self.addEventListener("install", (event) => { event.waitUntil(keep()); });

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    await self.registration.navigationPreload?.enable();
    await self.clients.claim();
    await dropOld();
  })());
});

self.addEventListener("message", (event) => {
  if (event.data === "take over") event.waitUntil(self.skipWaiting());
  if (event.data === "tidy") event.waitUntil(dropOld());
  if (event.data === "build") event.ports[0].postMessage(build);
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin || !url.pathname.startsWith(SCOPE)) return;
  const path = url.pathname.slice(SCOPE.length);
  if (request.mode === "navigate") {
    const asked = path === "index.html" ? "" : path;
    if (pages.includes(asked)) event.respondWith(pageFor(asked, event.preloadResponse));
    return;
  }
  if (!path.startsWith("assets/")) return;
  // Named by their content: whichever version's store has one, it is the same.
  event.respondWith((async () => await caches.match(request.url) ?? fetch(request))());
});
