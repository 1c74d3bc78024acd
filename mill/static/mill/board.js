// The loom board: warps dragged along their loom or to another, and moved with the arrow keys. What a move comes to is
// the mill's word, not the script's: it sends the warp, the loom and the place, and shows the leaf it is given.

const REACH = 5; // px: less is a click

// The page carries its language's words; English is the script's own.
const words = JSON.parse(document.getElementById("script-words")?.textContent ?? "{}");
const gettext = (english, said = {}) => (words[english] ?? english).replace(/%\((\w+)\)s/g, (_, name) => said[name]);

let held = null;
let busy = false;

const board = () => document.getElementById("board");
const lines = () => [...document.querySelectorAll(".leafline")];
const lineOf = (element) => element.closest(".leafline");

// A refusal stands above the leaf; what a move comes to is in the note already, and is read out.
function say(text, isRefusal = false) {
  document.getElementById("board-said").textContent = isRefusal ? text : "";
  document.getElementById("board-heard").textContent = isRefusal ? "" : text;
}

// One request for a move; on yes the board is the one that came back, on no it stays and says why.
async function move(warp, loom, where) {
  if (busy) return false;
  busy = true;
  board().setAttribute("aria-busy", "true");
  const sent = new FormData(document.querySelector("[data-board-words]"));
  sent.set("warp", warp);
  sent.set("loom", loom);
  for (const [name, value] of Object.entries(where)) sent.set(name, String(value));
  const pins = document.getElementById("pin-moved").checked;
  if (pins) sent.set("pin", "yes");
  try {
    const answer = await fetch(board().dataset.move, { method: "POST", body: sent, headers: { "X-Board": "leaf" } });
    if (answer.status === 400) {
      say((await answer.json()).refusal, true);
      return false;
    }
    if (!answer.ok) throw new Error(`${answer.status}`);
    const sheet = document.createElement("template");
    sheet.innerHTML = await answer.text();
    const { scrollLeft, scrollTop } = document.querySelector(".leafwrap");
    board().replaceWith(sheet.content);
    // What the move does to days, hours and tickets comes a moment later.
    htmx.process(board());
    history.pushState(null, "", answer.headers.get("X-Board-Address"));
    document.querySelector(".leafwrap").scrollTo(scrollLeft, scrollTop);
    document.getElementById("pin-moved").checked = pins;
    say(document.querySelector(".whatif p").textContent);
    document.getElementById(`warp-${warp}`)?.focus({ preventScroll: true });
    return true;
  } catch (error) {
    say(gettext("The book did not answer (%(why)s). Nothing was moved; try again.", { why: error.message }), true);
    return false;
  } finally {
    busy = false;
    board().removeAttribute("aria-busy");
  }
}

// Dragging

addEventListener("popstate", () => location.reload());

document.addEventListener("pointerdown", (event) => {
  const bar = event.target.closest?.(".leafline a[data-warp]");
  if (!bar || event.button !== 0 || busy) return;
  const box = bar.querySelector(".weaving").getBoundingClientRect();
  held = { bar, box, x: event.clientX, y: event.clientY, pointer: event.pointerId, ghost: null };
});

document.addEventListener("pointermove", (event) => {
  if (!held || event.pointerId !== held.pointer) return;
  const [dx, dy] = [event.clientX - held.x, event.clientY - held.y];
  if (!held.ghost) {
    if (Math.hypot(dx, dy) < REACH) return;
    held.ghost = lift(held.bar, held.box);
    held.rows = rowsNow();
  }
  held.ghost.style.transform = `translate(${dx}px, ${dy}px)`;
  const under = lineUnder(held.rows, event.clientY);
  if (under === held.under) return;
  held.under?.classList.remove("under");
  under?.classList.add("under");
  held.under = under;
});

// Where the lines are is asked once for a drag, and again when something scrolls: asking makes the browser lay all out.
addEventListener(
  "scroll",
  () => {
    if (held?.ghost) held.rows = rowsNow();
  },
  true,
);

// So it is when what a move does comes in above the leaf.
document.addEventListener("htmx:afterSettle", () => {
  if (held?.ghost) held.rows = rowsNow();
});

document.addEventListener("pointerup", async (event) => {
  if (!held || event.pointerId !== held.pointer) return;
  const { bar, box, x, ghost, rows, under } = held;
  held = null;
  if (!ghost) return;
  const line = lineUnder(rows, event.clientY);
  under?.classList.remove("under");
  let moved = false;
  if (line) {
    const leaf = line.getBoundingClientRect();
    const left = box.left + event.clientX - x - leaf.left;
    const minute = Math.round((left / leaf.width) * Number(board().dataset.minutes));
    moved = await move(bar.dataset.warp, line.dataset.loom, { minute });
  } else {
    say(gettext("That is beside the looms. Nothing was moved."), true);
  }
  if (moved) ghost.remove();
  else springBack(ghost, bar);
});

document.addEventListener("pointercancel", letGo);

function letGo() {
  held?.under?.classList.remove("under");
  if (held?.ghost) springBack(held.ghost, held.bar);
  held = null;
}

document.addEventListener("dragstart", (event) => {
  if (event.target.closest?.(".leafline")) event.preventDefault();
});

// A drag ends with a click on the link it began on: that one is not meant.
document.addEventListener(
  "click",
  (event) => {
    if (event.target.closest?.("a.lifted")) event.preventDefault();
  },
  true,
);

function lift(bar, box) {
  const ghost = document.createElement("div");
  ghost.className = "ghost";
  ghost.textContent = bar.querySelector("text")?.textContent ?? gettext("Warp %(number)s", { number: bar.dataset.warp });
  Object.assign(ghost.style, { left: `${box.left}px`, top: `${box.top}px`, width: `${box.width}px`, height: `${box.height}px` });
  document.body.append(ghost);
  bar.classList.add("lifted");
  return ghost;
}

function springBack(ghost, bar) {
  ghost.classList.add("back");
  ghost.style.transform = "none";
  const end = () => {
    ghost.remove();
    bar.classList.remove("lifted");
  };
  ghost.addEventListener("transitionend", end, { once: true });
  setTimeout(end, 400);
}

function rowsNow() {
  return lines().map((line) => ({ line, box: line.getBoundingClientRect() }));
}

function lineUnder(rows, y) {
  return rows.find(({ box }) => y >= box.top && y < box.bottom)?.line;
}

// Keys: left and right for the turn, up and down for the loom.

document.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && held?.ghost) {
    letGo();
    return;
  }
  const bar = event.target.closest?.(".leafline a[data-warp]");
  if (!bar || event.ctrlKey || event.metaKey || event.altKey || event.shiftKey) return;
  const turn = Number(bar.dataset.turn) + 1; // people count from 1
  const all = lines();
  const here = all.indexOf(lineOf(bar));
  const to = { ArrowLeft: [0, turn - 1], ArrowRight: [0, turn + 1], ArrowUp: [-1, null], ArrowDown: [1, null] }[event.key];
  if (!to) return;
  event.preventDefault();
  const line = all[here + to[0]];
  if (!line) say(gettext("There is no loom beyond this one."), true);
  else if (to[1] === 0) say(gettext("It is the first on its loom."), true);
  else if (to[1] !== null) move(bar.dataset.warp, line.dataset.loom, { turn: to[1] });
  else {
    const leaf = lineOf(bar).getBoundingClientRect();
    const left = bar.querySelector(".weaving").getBoundingClientRect().left - leaf.left;
    move(bar.dataset.warp, line.dataset.loom, { minute: Math.round((left / leaf.width) * Number(board().dataset.minutes)) });
  }
});
