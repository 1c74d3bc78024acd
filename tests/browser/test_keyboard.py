"""The keyboard alone does it: a planner's and a finisher's work, and on every kind of page each control is reached by
Tab, shows where the focus is, and lets it go again."""

import re

import pytest
from django.test import Client
from django.urls import resolve
from playwright.sync_api import expect

from mill import jobs, roles
from planning.models import JobTicket, Piece, Warp
from tests.browser.test_days import NEW_ORDERS, copy_of_mill, mill
from tests.conftest import opened
from tests.mill.test_roles import person
from tests.slow.test_bad_input import pages

__all__ = ["copy_of_mill", "mill", "person"]
pytestmark = pytest.mark.browser

TABS_MAX = 400
NAME = """() => { const e = document.activeElement;
    return (e.getAttribute('aria-label') || e.labels?.[0]?.innerText || e.innerText || '').trim() }"""


class Keys:
    """Somebody without a mouse."""

    def __init__(self, page):
        self.page = page

    def press(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)

    def go(self, letter: str) -> None:
        """The book's own keys: g, and the letter of a room."""
        with self.page.expect_navigation():
            self.press("g", letter)

    def to(self, name: str) -> None:
        """Tab, until the focus is on what begins with these words; from the top past what all pages have."""
        if self.page.evaluate("document.activeElement === document.body"):
            self.press("Tab", "Enter")
        for _ in range(TABS_MAX):
            self.press("Tab")
            if self.page.evaluate(NAME).startswith(name):
                return
        raise AssertionError(f"{name} is not reached by Tab at {self.page.url}")

    def act(self, name: str) -> None:
        """On to a button or a link, and Enter."""
        self.to(name)
        with self.page.expect_navigation():
            self.press("Enter")
        jobs.settle()

    def write(self, name: str, text: str) -> None:
        self.to(name)
        self.press("Control+a")
        self.page.keyboard.type(text)

    def says(self, words: str) -> None:
        expect(self.page.locator("body")).to_contain_text(words)


@pytest.fixture
def keys(chromium, live_server, mill, person):
    contexts = []

    def begin(role: str) -> Keys:
        client = Client()
        client.force_login(person(role, name="Merle"))
        contexts.append(opened(chromium, "desk", at=live_server.url, client=client))
        page = contexts[-1].__enter__()
        page.goto("/")
        return Keys(page)

    yield begin
    for context in contexts:
        context.__exit__(None, None, None)


def test_a_planner_goes_from_orders_to_tickets_by_the_keyboard_alone(keys, tmp_path):
    file = tmp_path / "orders.csv"
    file.write_text(NEW_ORDERS)
    at = keys(roles.PLANNER)
    last = Warp.objects.latest("number").number
    at.go("o")
    at.act("Bring orders in")
    # A file is asked of us only once the browser knows that somebody listens: a key pressed at once came before that.
    at.page.on("filechooser", lambda _: None)
    at.to("File")
    with at.page.expect_file_chooser() as chooser:
        at.press("Enter")
    chooser.value.set_files(file)
    at.act("Bring the orders in")
    at.act("Make warps of them")
    at.act("Make all")
    assert Warp.objects.filter(number__gt=last).count() > 1
    at.act("Look for a plan with")
    at.page.wait_for_url(re.compile("/looms/plans/\\d+/"), timeout=120_000)
    at.act("Put it in force")
    at.act("Share out the lots")
    at.act("Hold what is ticked")
    before = JobTicket.objects.count()
    at.act("Tickets of the next warps")
    at.act("Issue the ticked, and print")
    assert JobTicket.objects.count() > before
    at.to("Print")
    at.act("Back")
    # The box on every page, and the rows of a list.
    at.press("/")
    at.page.keyboard.type(str(last))
    with at.page.expect_navigation():
        at.press("Enter")
    at.says(f"Warp {last}")
    at.go("w")
    at.press("j", "j")
    with at.page.expect_navigation():
        at.press("Enter")
    assert re.search(r"/warps/\d+/$", at.page.url)


def test_a_finisher_takes_a_piece_to_the_customer_by_the_keyboard_alone(keys):
    at = keys(roles.FINISHER)
    at.act("Open 75-1")
    at.write("Grey length", "57.4")
    at.write("Grey width", "166")
    at.act("It has been perched")
    for step in ("scour", "crop", "decatise", "press"):
        at.go("p")
        at.act("Finishing")
        at.to("Put in 75-1")
        at.press("Space")
        at.act(f"Sew together, into {step}")
        at.act("It is out")
    at.act("75-1")
    at.write("Finished length", "54.1")
    at.write("Finished width", "150.2")
    at.write("Mass", "24.1 kg")
    # One of the two verdicts, by its arrows, and back.
    at.to("pass")
    at.press("ArrowDown", "ArrowUp")
    at.act("Write it all down")
    piece = Piece.objects.get(number="75-1")
    assert (piece.state, piece.verdict) == (Piece.READY, Piece.PASS)
    at.go("p")
    at.act("Dispatch")
    at.act("Send to Fernside & Daughter")
    at.act("Send them")
    piece.refresh_from_db()
    assert piece.state == "sent"


# Every kind of page

CONTROLS = """() => [...document.querySelectorAll(
    'a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex="0"]')]
    .filter(e => !e.disabled && !e.closest('[aria-hidden=true]')
        && e.checkVisibility({visibilityProperty: true, contentVisibilityAuto: true}) && e.getClientRects().length)"""
# A field for a day has a stop for each of its parts, and its calendar.
STOPS = f"""() => ({CONTROLS})().reduce((n, e) => n + ({{date: 4, 'datetime-local': 7}}[e.type] || 1), 0)"""
LISTEN = """() => { window.reached = new Map();
    document.addEventListener('focusin', event => {
        const style = getComputedStyle(event.target);
        const ring = style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2;
        window.reached.set(event.target, ring); }) }"""
# One of a group of radio buttons is reached by Tab, the others from it by the arrows.
MISSED = f"""() => {{ const controls = ({CONTROLS})();
    const group = e => e.type === 'radio' && [...window.reached.keys()].some(
        r => r.type === 'radio' && r.name === e.name && r.form === e.form);
    return controls.filter(e => !window.reached.has(e) && !group(e)).map(e => e.outerHTML.slice(0, 160)) }}"""
RINGLESS = """() => [...window.reached].filter(([e, ring]) => !ring && e !== document.body)
    .map(([e]) => e.outerHTML.slice(0, 160))"""


# So many steps back from the last control show that it lets the focus go.
BACK = 8


def test_on_every_kind_of_page_each_control_is_reached_by_tab_and_shows_it(
    chromium, live_server, mill, django_user_model
):
    desk = Client()
    desk.force_login(django_user_model.objects.get(username="planner"))  # of the example mill
    kinds: dict[str, str] = {}
    for address, _ in pages(desk):
        kinds.setdefault(resolve(address.split("?")[0]).url_name or address, address)
    assert len(kinds) > 90
    wrong = []
    with opened(chromium, "desk", at=live_server.url, client=desk) as page:
        keyboard = page.context.new_cdp_session(page)

        def tab(*, shift: bool = False) -> None:
            # One message a key: a page has up to three hundred controls.
            key = {"key": "Tab", "code": "Tab", "windowsVirtualKeyCode": 9, "modifiers": 8 if shift else 0}
            keyboard.send("Input.dispatchKeyEvent", {"type": "rawKeyDown", **key})

        for address in kinds.values():
            page.goto(address)
            page.evaluate(LISTEN)
            n_controls = page.evaluate(f"({CONTROLS})().length")
            for _ in range(page.evaluate(STOPS) + 2):
                tab()
            wrong += [f"{address} is not reached: {html}" for html in page.evaluate(MISSED)]
            wrong += [f"{address} shows no focus: {html}" for html in page.evaluate(RINGLESS)]
            # And back again: nothing holds the focus.
            page.evaluate(LISTEN)
            for _ in range(BACK):
                tab(shift=True)
            # Round the beginning of the page some steps are the browser's own.
            if (n := page.evaluate("window.reached.size")) < min(BACK // 2, n_controls):
                wrong.append(f"{address} holds the focus: {n} controls on the way back")
    assert wrong == []
