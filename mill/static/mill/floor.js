// The floor's page on a phone whose connection comes and goes. Each tap is written into the phone first, with a key of
// its own, and leaves it only when the book has said that it has it: sent twice, it counts once. Without this script the
// same buttons post the same form.

const QUEUE = "shedbook-floor-taps";
const WHO = "shedbook-floor-who";
const TAP_AGAIN_MS = 1500;
const LANDS_TWICE_MS = 400;
const TRY_AGAIN_MS = 4000;
const MOST_AT_ONCE = 20;
// What a warp does after a thing was told, so that the next buttons are there while nothing can be sent.
const AFTER = {
  wound: "wound", gaited: "gaited", started: "runs", running: "runs", stopped: "stands", "warp out": "woven out",
};

// The page carries what this script says in its language; in English it carries nothing.
const words = JSON.parse(document.getElementById("script-words")?.textContent ?? "{}");
const gettext = (english, said = {}) => (words[english] ?? english).replace(/%\((\w+)\)s/g, (_, name) => said[name]);

const SAID = {
  runs: gettext("Running"), stands: gettext("Stands"), wound: gettext("Wound"), gaited: gettext("Gaited"),
  "woven out": gettext("Woven out"),
};
const KINDS = {
  wound: gettext("wound"), gaited: gettext("gaited"), started: gettext("started"), running: gettext("running"),
  stopped: gettext("stopped"), "piece off": gettext("piece off"), "weft changed": gettext("weft changed"),
  picks: gettext("picks"), "warp out": gettext("warp out"), "yarn returned": gettext("yarn returned"),
  undone: gettext("undone"), "warp break": gettext("warp break"), "weft break": gettext("weft break"),
  "fault taken out": gettext("fault taken out"), tuner: gettext("tuner"), "no weft": gettext("no weft"),
  "no weaver": gettext("no weaver"), cleaning: gettext("cleaning"), other: gettext("other"),
};
const kindSaid = (kind) => kind.split(":").map((word) => KINDS[word] ?? word).join(", ");

const LOOK_AGAIN_MS = 60000;
const MOST_KEPT = 60;

const floor = document.querySelector(".floor");
const form = floor.querySelector("form");
const next = form && JSON.parse(document.getElementById("next-acts").textContent);

const read = () => JSON.parse(localStorage.getItem(QUEUE) ?? "[]");
const write = (taps) => localStorage.setItem(QUEUE, JSON.stringify(taps));
const newKey = () => [...crypto.getRandomValues(new Uint8Array(16))].map((n) => n.toString(16).padStart(2, "0")).join("");

// The buttons

// A field that is moved or drawn anew would be left by whoever types in it.
function typingOn(change) {
  const at = document.activeElement;
  change();
  if (at?.matches("input") && document.activeElement !== at) form.elements[at.name]?.focus({ preventScroll: true });
}

function arrange(state) {
  const now = floor.querySelector("[data-now]");
  if (now.dataset.state === state) return;
  const likely = form.querySelector("[data-likely]");
  const others = form.querySelector("[data-others]");
  now.dataset.state = state;
  const sections = [...likely.children, ...others.children];
  const first = next[state] ?? [];
  typingOn(() => {
    for (const act of first) {
      const section = sections.find((one) => one.dataset.act === act);
      if (section) likely.append(section);
    }
    for (const section of sections) if (!first.includes(section.dataset.act)) others.append(section);
  });
}

// What is shown was true at the moment that the page was drawn; while the mill does not answer, it says so.
function sayFromWhen(isCutOff) {
  const asOf = floor.querySelector("[data-as-of]");
  if (asOf) asOf.hidden = !isCutOff;
}

function waiting() {
  return read().filter((tap) => tap.token === floor.dataset.token && !tap.problem);
}

// Those that no later one takes back.
function standing() {
  const taps = waiting();
  const undone = taps.map((tap) => tap.undoes_key);
  return taps.filter((tap) => tap.kind !== "undone" && !undone.includes(tap.key));
}

// What is said of the warp, and of the last thing told, is the book's until this phone knows something later.
function sayInstead(place, later) {
  place.dataset.told ??= place.textContent;
  place.textContent = later ?? place.dataset.told;
}

function show() {
  const taps = read();
  const unsent = floor.querySelector("[data-unsent]");
  unsent.hidden = taps.length === 0;
  unsent.textContent = taps.length
    ? gettext("%(n)s not sent yet, kept in this phone: %(what)s.", {
      n: taps.length, what: taps.map((tap) => kindSaid(tap.kind)).join("; "),
    })
    : "";
  if (!form) return;
  const problems = floor.querySelector("[data-problems]");
  problems.replaceChildren(...taps.filter((tap) => tap.problem).map(problem));
  problems.hidden = !problems.children.length;
  const kept = standing();
  const last = kept.map((tap) => AFTER[tap.kind.split(":")[0]]).filter(Boolean).at(-1);
  const now = floor.querySelector("[data-now]");
  now.dataset.told ??= now.dataset.state;
  arrange(last ?? now.dataset.told);
  sayInstead(floor.querySelector("[data-state-said]"), last && gettext("%(state)s, not sent yet", { state: SAID[last] }));
  const undo = form.querySelector("[data-act=undone]");
  undo.hidden = !kept.length && !form.elements.undoes.value;
  sayInstead(
    undo.querySelector("button"),
    kept.length ? gettext("Take back: %(what)s", { what: kindSaid(kept.at(-1).kind) }) : undefined,
  );
}

// A tap that the book could not take as it is: with another code it may, or whoever made it throws it away.
function problem(tap) {
  const line = document.createElement("li");
  line.className = "error";
  line.append(gettext("%(what)s was not taken: %(why)s", { what: kindSaid(tap.kind), why: tap.problem }));
  const again = document.createElement("button");
  again.type = "button";
  again.textContent = gettext("Send it with the code above");
  again.addEventListener("click", () => {
    const worker = form.elements.worker.value;
    write(read().map((one) => (one.key === tap.key ? { ...one, worker, problem: undefined } : one)));
    send();
  });
  const away = document.createElement("button");
  away.type = "button";
  away.className = "grave";
  away.textContent = gettext("Throw it away");
  away.addEventListener("click", () => {
    write(read().filter((one) => one.key !== tap.key));
    show();
  });
  line.append(again, away);
  return line;
}

function complain(sentence, isDone = false) {
  const list = floor.querySelector("[data-wrong]");
  if (!list) return;
  list.hidden = false;
  const line = document.createElement("li");
  line.className = isDone ? "success" : "error";
  line.textContent = sentence;
  list.replaceChildren(line);
}

// Taps

// By the browser's own stopwatch, which no clock that is put right can disturb.
let lastTap = { kind: "", at: -Infinity };

form?.addEventListener("submit", (event) => {
  event.preventDefault();
  // The book's own script would take the form for sent.
  event.stopImmediatePropagation();
  const button = event.submitter;
  const typed = new FormData(form, button);
  const tap = Object.fromEntries([...typed].filter(([name, value]) => value && name !== "csrfmiddlewaretoken"));
  delete tap.key;
  if (!tap.kind) return;
  // A glove lands twice, and the second time on whatever stands there by then.
  const since = event.timeStamp - lastTap.at;
  const section = button.closest("[data-act]");
  const inputs = [...section.querySelectorAll("input:not([type=hidden])")];
  // The same again with nothing written beside it is the same tap; another lot is another.
  const isAgain = tap.kind === lastTap.kind && inputs.every((input) => !input.value.trim());
  if (since < LANDS_TWICE_MS || (isAgain && since < TAP_AGAIN_MS)) return;
  if (tap.kind !== "undone") { delete tap.undoes; delete tap.why; }
  else if (standing().length) { delete tap.undoes; tap.undoes_key = standing().at(-1).key; }
  if (!tap.worker) {
    complain(gettext("Say who you are: type your short code."));
    form.elements.worker.focus();
    return;
  }
  const empty = inputs.find((input) => !input.value.trim());
  if (empty && tap.kind !== "undone") {
    complain(gettext("Write it in first: %(what)s.", { what: empty.labels[0].textContent }));
    empty.focus();
    return;
  }
  lastTap = { kind: tap.kind, at: event.timeStamp };
  localStorage.setItem(WHO, tap.worker);
  write([...read(), { ...tap, key: newKey(), token: floor.dataset.token, at: Date.now() }]);
  for (const input of inputs) input.value = "";
  show();
  send();
}, true);

// Sending

let sending = false;
// The mill may ask for patience; by the browser's own stopwatch nothing is sent before.
let notBefore = -Infinity;

function wait(answer) {
  const waitS = Number(answer.headers.get("Retry-After"));
  const waitMs = waitS > 0 ? waitS * 1000 : TRY_AGAIN_MS;
  notBefore = performance.now() + waitMs;
  setTimeout(send, waitMs);
}

// A page that the phone has kept holds the token of then; the cookie has the one of now.
function token() {
  const said = document.cookie.match(/(?:^|; )csrftoken=([^;]+)/);
  return said?.[1] ?? form?.elements.csrfmiddlewaretoken.value ?? "";
}

async function send() {
  if (sending || read().length === 0 || performance.now() < notBefore) return;
  sending = true;
  try {
    while (await sendSome());
  } catch (error) {
    // No connection, or the book is shut for a moment: the taps stay where they are and are tried again.
    console.info("Not sent yet:", error.message);
    sayFromWhen(true);
  } finally {
    sending = false;
    show();
  }
}

async function sendSome() {
  const taps = read().filter((tap) => !tap.problem).slice(0, MOST_AT_ONCE);
  if (taps.length === 0) return false;
  const now = Date.now();
  const events = taps.map(({ at, ...tap }) => ({ ...tap, age_s: Math.max(0, Math.round((now - at) / 1000)) }));
  const answer = await fetch(floor.dataset.api, {
    method: "POST",
    headers: { "Content-Type": "application/json", "X-CSRFToken": token() },
    body: JSON.stringify({ events }),
  });
  if (answer.status === 401 || answer.status === 403) {
    complain(gettext("This phone is signed out. Nothing is lost: sign in, and open this page again."));
    return false;
  }
  if (answer.status === 429) {
    wait(answer);
    complain(gettext("%(why)s Nothing is lost: this phone sends it by itself.", { why: (await answer.json()).detail }));
    return false;
  }
  if (!answer.ok) throw new Error(`the book answered ${answer.status}`);
  const told = await answer.json();
  const by = Object.fromEntries(told.map((one) => [one.key, one]));
  write(
    read()
      .filter((tap) => !by[tap.key]?.is_kept)
      .map((tap) => (by[tap.key] ? { ...tap, problem: by[tap.key].refused } : tap)),
  );
  const wrong = told.filter((one) => one.is_kept && one.refused);
  if (wrong.length) complain(gettext("Not done: %(why)s", { why: wrong.map((one) => one.refused).join(" ") }));
  else if (told.some((one) => one.is_kept)) {
    complain(gettext("Written down: %(what)s.", { what: told.filter((one) => one.is_kept).map((one) => one.said).join("; ") }), true);
  }
  await refresh();
  if (told.some((one) => !one.is_kept)) {
    show();
    floor.querySelector("[data-problems]")?.scrollIntoView({ block: "center" });
  }
  return true;
}

// The page as the book has it now, without losing what is being typed.
async function refresh() {
  if (!form) return;
  const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
  if (!answer.ok) return;
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const fresh = page.querySelector(".floor[data-token]");
  if (!fresh) return;
  const typed = Object.fromEntries([...new FormData(form)].filter(([name]) => !["key", "undoes", "csrfmiddlewaretoken"].includes(name)));
  typingOn(() => {
    for (const place of ["[data-as-of]", "[data-now]", "[data-likely]", ".others", ".holds"]) {
      const [old, young] = [floor.querySelector(place), fresh.querySelector(place)];
      if (place === ".others") young.open = old.open;
      old.replaceWith(young);
    }
    for (const [name, value] of Object.entries(typed)) if (form.elements[name] && value) form.elements[name].value = value;
  });
}

async function look() {
  if (document.visibilityState !== "visible") return;
  try {
    await refresh();
  } catch (error) {
    console.info("The mill does not answer:", error.message);
    sayFromWhen(true);
  }
  show();
}

// Each loom's page is kept in the phone before anybody is out of reach with it.
async function keepLooms() {
  const links = [...floor.querySelectorAll(".floor-looms a")].slice(0, MOST_KEPT);
  for (const link of links) await fetch(link.href, { headers: { Accept: "text/html" } });
}

// What is registered answers for its pages only once it is active.
function atWork({ active, installing, waiting }) {
  const coming = installing ?? waiting;
  if (active || !coming) return null;
  return new Promise((goOn) => {
    coming.addEventListener("statechange", () => {
      if (["activated", "redundant"].includes(coming.state)) goOn();
    });
  });
}

async function keepInPhone() {
  // Only where the address is HTTPS or this very machine; elsewhere the page works as long as it stays open.
  if (!navigator.serviceWorker || !floor.dataset.workers) return;
  const isFirst = !navigator.serviceWorker.controller;
  for (const address of floor.dataset.workers.split(" ")) await atWork(await navigator.serviceWorker.register(address));
  if (!navigator.serviceWorker.controller) {
    await new Promise((goOn) => navigator.serviceWorker.addEventListener("controllerchange", goOn, { once: true }));
  }
  // The first page of all was opened before there was anybody to keep it.
  if (isFirst) await fetch(location.href, { headers: { Accept: "text/html" } });
  await keepLooms();
  floor.dataset.kept = "yes";
}

if (form) form.elements.worker.value ||= localStorage.getItem(WHO) ?? "";
show();
if (floor.dataset.api) {
  send();
  addEventListener("online", send);
  addEventListener("visibilitychange", send);
  setInterval(send, TRY_AGAIN_MS);
  addEventListener("offline", () => sayFromWhen(true));
  addEventListener("online", look);
  addEventListener("visibilitychange", look);
  setInterval(look, LOOK_AGAIN_MS);
  // A page out of the phone is looked at again at once: the mill may answer by now.
  if (floor.querySelector("[data-as-of]:not([hidden])")) look();
  keepInPhone().catch((error) => console.info("This phone keeps no pages:", error.message));
}
