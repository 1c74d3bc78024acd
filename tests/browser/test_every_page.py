"""Every kind of page of the example mill in a real browser: nothing moves, nothing is cut, no rule is broken.

Each is opened twice, on a phone and at a desk, and looked at in turn: what moved while it came, with every part that
opens opened, by the rules of WCAG 2.2 AA, with letters twice as large, and 320 px wide, which is 400 % at a desk.
"""

from io import StringIO

import pytest
from django.core.management import call_command
from django.urls import get_resolver

from mill.bench.every_page import NO_PAGE, ONLY_POST, PAPERS, PARTS, every_page, write_the_rest
from mill.roles import TABLE
from tests.conftest import opened
from tests.mill.test_roles import address_of, addresses

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

# What may move in all, in parts of the window; a rounding.
MOVES_AT_MOST = 0.001
# A busy machine may show a page before all of it is read, and moves what it has shown; what the page itself moves, it
# moves each time.
TRIES = 3

WATCH = """
let moved = [];
const keep = (entries) => {
  for (const entry of entries)
    moved.push([entry.value, entry.sources.map(({ node }) => (node?.outerHTML || node?.data || "").slice(0, 90))]);
};
const watch = new PerformanceObserver((list) => keep(list.getEntries()));
watch.observe({ type: "layout-shift", buffered: true });
window.takeMoved = () => {
  keep(watch.takeRecords());
  return moved.splice(0);
};
"""
# Two frames and a moment of leisure: whatever the page's script does of itself is done.
SETTLE = (
    "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => requestIdleCallback(done))))"
)
OPEN_ALL = "() => document.querySelectorAll('main details').forEach((one) => { one.open = true; })"

# What is lost when the letters grow or the window is narrow.
LOST = r"""
() => {
  const lost = [];
  const said = (node) => `${node.tagName.toLowerCase()}.${node.className.baseVal ?? node.className} “${(node.innerText || node.value || node.ariaLabel || "").trim().slice(0, 40)}”`;
  const page = document.documentElement;
  if (page.scrollWidth > window.innerWidth + 1) {
    const far = [...document.querySelectorAll("body *")].filter((node) => node.getBoundingClientRect().right > window.innerWidth + 1 && !boxed(node));
    lost.push(`the page is ${page.scrollWidth} px wide in ${window.innerWidth}: ${far.slice(0, 3).map(said).join(", ")}`);
  }
  function boxed(node) {
    for (let box = node.parentElement; box; box = box.parentElement) if (getComputedStyle(box).overflowX !== "visible") return true;
    return false;
  }
  for (const node of document.querySelectorAll("body *")) {
    const style = getComputedStyle(node);
    if (!/hidden|clip/.test(style.overflowX + style.overflowY) || node.closest(".out-of-sight, svg, [hidden]") || !node.innerText?.trim()) continue;
    if (node.scrollWidth > node.clientWidth + 1 || node.scrollHeight > node.clientHeight + 1)
      lost.push(`cut: ${said(node)} ${node.scrollWidth}×${node.scrollHeight} in ${node.clientWidth}×${node.clientHeight}`);
  }
  // Text of a box with a height of its own that runs over its edge.
  const controls = [];
  for (const node of document.querySelectorAll("a[href], button, input:not([type=hidden]), select, textarea, summary")) {
    if (node.closest("svg") || !node.checkVisibility({ visibilityProperty: true }) || node.closest(".out-of-sight, .skip")) continue;
    for (const rect of node.getClientRects()) {
      let { left, top, right, bottom } = rect;
      for (let box = node.parentElement; box; box = box.parentElement) {
        if (getComputedStyle(box).overflowX === "visible") continue;
        const edge = box.getBoundingClientRect();
        [left, top, right, bottom] = [Math.max(left, edge.left), Math.max(top, edge.top), Math.min(right, edge.right), Math.min(bottom, edge.bottom)];
      }
      if (right - left > 1 && bottom - top > 1) controls.push({ node, left, top, right, bottom });
    }
  }
  controls.sort((a, b) => a.top - b.top);
  controls.forEach((a, n) => {
    for (let m = n + 1; m < controls.length && controls[m].top < a.bottom - 3; m++) {
      const b = controls[m];
      if (a.node === b.node || a.node.contains(b.node) || b.node.contains(a.node)) continue;
      if (Math.min(a.right, b.right) - Math.max(a.left, b.left) > 3 && Math.min(a.bottom, b.bottom) - b.top > 3)
        lost.push(`one on the other: ${said(a.node)} and ${said(b.node)}`);
    }
  });
  return lost.slice(0, 6);
}
"""


def open_at(page, address):
    answer = page.goto(address)
    assert answer.status == 200, f"{address} answered {answer.status}"
    if page.locator("[hx-trigger*=load]").count():
        page.wait_for_load_state("networkidle")
    page.evaluate(SETTLE)


def what_moved(page):
    """While it came, and after whatever opens was opened: that itself may push down what is below it, at once."""
    moved = page.evaluate("takeMoved()")
    page.evaluate(OPEN_ALL)
    page.evaluate(SETTLE)
    page.evaluate("takeMoved()")
    page.evaluate(SETTLE)
    moved += page.evaluate("takeMoved()")
    return [f"moved: {moved}"] if sum(value for value, _ in moved) > MOVES_AT_MOST else []


def what_is_lost(page, how):
    return [f"{how}: {lost}" for lost in page.evaluate(LOST)]


def broken_rules(page, axe):
    try:
        axe(page)
    except AssertionError as broken:
        return [str(broken)[:600]]
    return []


def moved_each_time(page, address):
    """Open it, again while something moves; what moved the last time."""
    for _ in range(TRIES):
        open_at(page, address)
        if not (faults := what_moved(page)):
            break
    return faults


@pytest.fixture
def pages(db, planner):
    call_command("example_mill", stdout=StringIO())
    write_the_rest(planner)
    return {name: addresses for name, addresses in every_page().items() if name not in PARTS}


def test_what_answers_no_get_is_no_page(desk):
    patterns = [pattern for _, pattern in addresses(get_resolver()) if pattern.name in TABLE]
    asked = {pattern.name: address_of("", pattern) for pattern in patterns if pattern.name != "sign_out"}
    pages = {name: address for name, address in asked.items() if not address.startswith("/api/")}
    silent = {name for name, address in pages.items() if desk.get(address).status_code == 405}
    assert silent == ONLY_POST - {"sign_out"}
    assert not NO_PAGE & silent


def test_no_page_moves_or_loses_anything_or_breaks_a_rule(pages, chromium, live_server, desk, axe):
    wrong = {}
    with opened(chromium, "phone", at=live_server.url, client=desk) as page:
        page.add_init_script(WATCH)
        for address, *_ in pages.values():
            if faults := moved_each_time(page, address):
                wrong[f"{address} on a phone"] = faults
    with opened(chromium, "desk", at=live_server.url, client=desk) as page:
        page.add_init_script(WATCH)
        for name, there in pages.items():
            for address in there[:2] if name == "reckoner_sum" else there:
                faults = [*moved_each_time(page, address), *broken_rules(page, axe)]
                if name not in PAPERS:
                    page.evaluate("document.documentElement.style.fontSize = '200%'")
                    faults += what_is_lost(page, "letters twice as large")
                    page.evaluate("document.documentElement.style.fontSize = ''")
                    page.set_viewport_size({"width": 320, "height": 900})
                    faults += what_is_lost(page, "320 px wide")
                    page.set_viewport_size({"width": 1280, "height": 900})
                if faults:
                    wrong[address] = faults
    assert wrong == {}, "\n".join(f"{address}\n   " + "\n   ".join(faults) for address, faults in wrong.items())
