// Keeps the floor's pages in the phone, so that one can be opened afresh while there is no connection. Served with two
// lines before it: VERSION, of this file and of what the pages are drawn with, and EMPTY, the page for what was never
// opened. Pages come from the mill first and from the phone only when the mill does not answer; then they say from when
// they are. Taps are not its business: the page itself keeps them until the mill has them.

const KEPT = "shedbook-floor-";
const DRAWN_WITH = `${KEPT}${VERSION}`;
const PAGES = `${KEPT}pages`;
const MOST_PAGES = 80;
const WAIT_MS = 6000;
const IS_PAGE = /^\/floor\/(?!told\/|no-connection\/)([\w-]+\/)?$/;
const IS_PAPER = /^\/t\/([\w-]+)\/$/;

self.addEventListener("install", (event) => event.waitUntil(keepWhatPagesAreDrawnWith().then(() => self.skipWaiting())));

async function keepWhatPagesAreDrawnWith() {
  const cache = await caches.open(DRAWN_WITH);
  const answer = await fetch(EMPTY, { cache: "reload" });
  if (!answer.ok) throw new Error(`${EMPTY} answered ${answer.status}`);
  await cache.put(EMPTY, answer.clone());
  const page = await answer.text();
  const own = [...page.matchAll(/(?:href|src)="(\/[^"]+\.(?:css|js|svg))"/g)].map(([, address]) => address);
  await cache.addAll([...new Set(own)]);
}

self.addEventListener("activate", (event) => event.waitUntil(takeOver()));

// Pages kept by an earlier version are drawn with files that are gone: they are fetched anew where that can be done.
async function takeOver() {
  for (const name of await caches.keys()) {
    if (name.startsWith(KEPT) && name !== DRAWN_WITH && name !== PAGES) {
      await caches.delete(name);
      const pages = await caches.open(PAGES);
      for (const request of await pages.keys()) await ask(request).catch(() => pages.delete(request));
    }
  }
  await self.clients.claim();
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== self.location.origin) return;
  if (IS_PAGE.test(address.pathname)) {
    event.respondWith(request.mode === "navigate" ? page(request) : ask(request));
  } else if (IS_PAPER.test(address.pathname) && request.mode === "navigate") {
    event.respondWith(paper(request, address));
  } else {
    event.respondWith(drawnWith(request));
  }
});

// Ask the mill, and keep the page that it gives.
async function ask(request) {
  const answer = await fetch(request);
  if (answer.redirected || answer.type === "opaqueredirect") {
    // Signed out: whoever has the phone now is not shown what was kept for somebody else.
    await caches.delete(PAGES);
  } else if (answer.ok && (answer.headers.get("Content-Type") ?? "").startsWith("text/html")) {
    await keep(request, answer.clone());
  }
  return answer;
}

async function keep(request, answer) {
  const pages = await caches.open(PAGES);
  const { pathname } = new URL(request.url);
  // The last kept is the last in the list.
  await pages.delete(pathname);
  await pages.put(pathname, answer);
  const all = await pages.keys();
  for (const old of all.slice(0, Math.max(0, all.length - MOST_PAGES))) await pages.delete(old);
}

async function page(request) {
  try {
    return await inTime(ask(request));
  } catch {
    const { pathname } = new URL(request.url);
    const kept = await (await caches.open(PAGES)).match(pathname);
    if (!kept) return (await (await caches.open(DRAWN_WITH)).match(EMPTY)) ?? Response.error();
    // The page has the sentence that says from when it is; here it is unfolded.
    const text = (await kept.text()).replace("data-as-of hidden", "data-as-of");
    return new Response(text, { status: 200, headers: kept.headers });
  }
}

// The code on a paper leads to what it says now; without a connection, to the floor's page of the same paper.
async function paper(request, address) {
  try {
    return await inTime(fetch(request));
  } catch {
    return Response.redirect(address.pathname.replace(IS_PAPER, "/floor/$1/"));
  }
}

function inTime(answer) {
  return Promise.race([
    answer,
    new Promise((_, refuse) => setTimeout(() => refuse(new Error("no answer in time")), WAIT_MS)),
  ]);
}

async function drawnWith(request) {
  return (await (await caches.open(DRAWN_WITH)).match(request)) ?? fetch(request);
}
