"""Five days, one for each role, pressed from page to page: no dead end, and no more clicks than stand in the table.

Nobody types an address: after signing in, every page is reached from the one before, but for a code that is scanned
from paper. A click is a press of a button, a link, a tick, a summary, a choice of a file, or Enter in a field; what is
typed or chosen with the keys is none. The way home to Today, or back from paper, is counted to the task that begins
with it. The fewest is what no page could spare: to look at what is decided on, and to say so.
"""

import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from html import unescape
from io import StringIO

import pytest
from django.contrib.contenttypes.models import ContentType
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.utils import timezone
from playwright.sync_api import expect

from mill import jobs, roles
from planning.models import JobTicket, Warp
from planning.services import tickets, warp_steps
from tests.conftest import opened
from tests.mill.test_roles import person

__all__ = ["person"]
pytestmark = pytest.mark.browser

MONDAY = date(2026, 11, 9)


# What is pressed leads to a page: a link, or a button that sends a form; on the floor's page a script sends it.
LEADS = "e => e.matches('a[href], button:not([type=button], [data-print])') && !e.matches('.floor form button')"


@dataclass(frozen=True)
class Task:
    """Clicks that a task takes, at the desk and on the phone alike; the fewest possible, and why so many."""

    clicks: int
    fewest: int
    why: str


PLANNER = {
    "a ticket that a revision has overtaken is issued anew": Task(2, 2, "its page with the new figures, and the yes"),
    "new orders are brought in from a file": Task(4, 4, "the room, the form, the file, the yes"),
    "warps are made of them": Task(2, 2, "the proposals to look at, and the yes to all"),
    "a plan is looked for and taken": Task(2, 2, "it is asked for, and taken once it has been read"),
    "the lots are shared out": Task(2, 2, "the sheet to look at, and the yes to all"),
    "tickets of the next warps are printed": Task(
        4, 3, "the list, the yes, the printer; the fourth looks further than a fortnight"
    ),
    "a loom breaks down, and the re-plan is taken": Task(
        5, 5, "back from paper, the room, the loom, the word, the yes"
    ),
}
# From the file to paper, without the import itself.
WEEK = [
    "warps are made of them",
    "a plan is looked for and taken",
    "the lots are shared out",
    "tickets of the next warps are printed",
]
WEEK_CLICKS_MAX = 12
STOCK_KEEPER = {
    "a delivery comes in and is weighed": Task(
        3, 2, "the form, the yes; the third opens the delivery, where it is said as well that it comes later"
    ),
    "its label is printed": Task(3, 3, "the label, the printer, back from paper"),
    "a shade is compared and approved": Task(3, 3, "home, the lot, the yes"),
    "yarn is set aside for a warp": Task(3, 3, "the room, the sheet to look at, the yes to all"),
    "the yarn of a warp goes to the creel": Task(3, 3, "home, the warp with its lots, the yes"),
    "cones come back from the floor, with their label": Task(
        6, 5, "the lot by its number, the yes, the label, the printer, back; the sixth unfolds the form"
    ),
    "a moth trap is read and its lure renewed": Task(4, 4, "home, the trap, that its lure is new, the yes"),
}
WARPER = {
    "sees what is next to wind, and draws its yarn": Task(2, 2, "the warp with its lots, the yes"),
    "opens the sheet of the warp": Task(3, 3, "the ticket, the warper's paper of it, back from paper"),
    "says it is wound": Task(3, 3, "home, the warp, the yes"),
    "asks for yarn that is wanting": Task(3, 3, "home, the warp, the yes to what was written"),
}
WEAVER = {
    "sees the floor, and tells the picks of a loom": Task(
        4, 3, "the floor, the loom, the word; the third of four unfolds what is told less often"
    ),
    "a stop with its cause, and on again": Task(2, 2, "a button for the cause, a button for on again"),
    "cuts a piece off": Task(1, 1, "a button beside the metres"),
    "cuts the last piece of a warp, and it is out": Task(
        5, 4, "the floor, the loom, two words; the fifth unfolds what is told less often"
    ),
    "ties in a warp, by the code on its ticket": Task(2, 2, "that the paper holds is read first, then the word"),
    "begins a warp that hangs gaited": Task(3, 3, "home, the warp, the yes"),
}
FINISHER = {
    "takes two pieces in over the grey perch": Task(4, 4, "each piece, and the yes to its measures"),
    "mends one": Task(4, 4, "the queue, the piece, that nothing is left, the yes"),
    "sends all that wait into the scour together, and takes them out": Task(4, 4, "the queue, which, in, out"),
    "takes them through the three other steps of their route": Task(9, 9, "for each step: which, in, out"),
    "measures, and passes one": Task(2, 2, "the piece, and the yes to its measures"),
    "makes the next a second": Task(3, 3, "the piece, the verdict, and the yes to its measures"),
    "sends what is ready, with its packing list": Task(
        6, 6, "home, the customer, the yes, the list, the printer, back from paper"
    ),
}


class Day:
    """Somebody at work: presses what stands on the page, counts, and looks for the way on."""

    def __init__(self, page):
        self.page, self.n, self.counted = page, 0, {}
        self.is_phone = page.viewport_size["width"] < 600

    @contextmanager
    def task(self, what: str) -> Iterator[None]:
        self.n = 0
        try:
            yield
        except Exception as wrong:
            said = self.page.locator("body").inner_text()[:1500]
            raise AssertionError(f"{what}, at {self.page.url}, after {self.n}: {wrong}\n{said}") from wrong
        self.counted[what] = self.n
        self.leads_on(what)

    def leads_on(self, what: str) -> None:
        """The page offers something to go on with, and the way home; paper has its way back."""
        assert self.page.locator("ul.errors, li.error").count() == 0, self.page.inner_text("body")
        # Of what stands past the edge nobody on a phone knows; a phone's own width is its screen's.
        assert self.page.evaluate("document.documentElement.scrollWidth <= screen.width"), self.page.url
        if self.page.locator("nav.rooms").count():
            expect(self.page.get_by_role("link", name="Today", exact=True)).to_be_visible()
            on = self.page.locator("main").locator("a:visible, button:visible")
        else:
            on = self.page.get_by_role("link", name="Back", exact=True)
        assert on.count(), f"{what} ends at {self.page.url}, which leads nowhere"

    def click(self, one) -> None:
        self.n += 1
        touch = one.tap if self.is_phone else one.click
        if one.evaluate(LEADS):
            with self.page.expect_navigation():
                touch()
        else:
            touch()
        jobs.settle()

    def press(self, name: str, *, of: str = "") -> None:
        """A button, link or summary by its words; `of` names the row that it stands in."""
        body = self.page.locator("body")
        where = body.locator("li, tr, form.of-step", has_text=re.compile(re.escape(of))).last if of else body
        for words in (name, re.compile(rf"^\s*{re.escape(name)}")):
            there = where.get_by_role("button", name=words, exact=True).or_(
                where.get_by_role("link", name=words, exact=True)
            )
            there = there.or_(where.locator("summary", has_text=words))
            if there.count():
                break
        self.click(there.filter(visible=True).first)

    def write(self, label: str, value: str) -> None:
        fields = self.page.locator("main").get_by_label(re.compile(rf"^\s*{re.escape(label)}"))
        fields.filter(visible=True).first.fill(value)

    def tick(self, label: str) -> None:
        self.click(self.page.locator("main").get_by_label(label).filter(visible=True).first)

    def find(self, words: str) -> None:
        """By the box on every page: Enter is a click."""
        self.page.locator("#find").fill(words)
        self.n += 1
        with self.page.expect_navigation():
            self.page.locator("#find").press("Enter")

    def was(self, table: dict[str, Task]) -> None:
        """The day as it was counted is the day of the table, and nothing of it takes fewer than can be."""
        assert self.counted == {what: task.clicks for what, task in table.items()}
        assert all(task.fewest <= task.clicks for task in table.values())

    def says(self, words: str) -> None:
        expect(self.page.locator("body")).to_contain_text(words)


@pytest.fixture(scope="session")
def copy_of_mill(tmp_path_factory):
    """Where the mill is kept once it has been written: to take it from there is a hundred times as quick."""
    return tmp_path_factory.mktemp("mill") / "monday.sqlite3"


@pytest.fixture
def mill(live_server, monkeypatch, copy_of_mill):
    """The example mill, on a Monday at six."""
    monkeypatch.setattr(timezone, "now", lambda: timezone.make_aware(datetime(2026, 11, 9, 6)))
    has_copy = copy_of_mill.exists()
    if not has_copy:
        call_command("example_mill", on=MONDAY, stdout=StringIO())
        jobs.settle()
    if connection.vendor == "sqlite":
        connection.ensure_connection()
        with closing(sqlite3.connect(copy_of_mill)) as copy:
            ends = (copy, connection.connection) if has_copy else (connection.connection, copy)
            ends[0].backup(ends[1])
        ContentType.objects.clear_cache()


@pytest.fixture(params=["desk", "phone"])
def day(request, chromium, live_server, mill, person):
    contexts = []

    def begin(role: str) -> Day:
        client = Client()
        client.force_login(person(role, name="Merle"))
        context = opened(chromium, request.param, at=live_server.url, client=client)
        contexts.append(context)
        page = context.__enter__()
        page.goto("/")
        return Day(page)

    yield begin
    for context in contexts:
        context.__exit__(None, None, None)


NEW_ORDERS = """order,customer,placed_on,line,cloth,colourway,pieces,length_m,due_on,weight
2201,NETH,2026-11-09,1,HIL,slate,2,60,2026-12-11,5
2201,,,2,HIL,moss,1,60,2026-12-11,5
2202,EVER,2026-11-09,1,SUI,midnight,2,50,2026-12-14,5
2203,PELL,2026-11-09,1,SHA,steel,2,40,2026-12-16,5
2203,,,2,FLI,denim,2,55,2026-12-16,5
"""


def test_the_day_of_a_planner(day, tmp_path):
    last = Warp.objects.latest("number").number
    file = tmp_path / "orders.csv"
    file.write_text(NEW_ORDERS)
    at = day(roles.PLANNER)
    with at.task("a ticket that a revision has overtaken is issued anew"):
        at.press("Issue a new one")
        at.press("Issue a new one")
        at.says("This ticket holds")
    with at.task("new orders are brought in from a file"):
        at.press("Orders")
        at.press("Bring orders in")
        at.n += 1
        at.page.set_input_files("input[type=file]", file)
        at.press("Bring the orders in")
        at.says("5 new")
    with at.task("warps are made of them"):
        at.press("Make warps of them")
        at.press("Make all")
        at.says("not in the plan")
    with at.task("a plan is looked for and taken"):
        at.press("Look for a plan with")
        at.page.wait_for_url(re.compile("/looms/plans/\\d+/"), timeout=120_000)
        at.press("Put it in force")
        at.says("is in force")
    with at.task("the lots are shared out"):
        at.press("Share out the lots")
        at.press("Hold what is ticked")
        at.says("kg are held")
    with at.task("tickets of the next warps are printed"):
        at.press("Tickets of the next warps")
        at.page.locator("#until").fill("2026-12-31")
        at.press("Show these")
        at.press("Issue the ticked, and print")
        at.press("Print")
        # Of the new warps those for which there is yarn are among them.
        assert JobTicket.objects.filter(warp__number__gt=last).exists()
    with at.task("a loom breaks down, and the re-plan is taken"):
        at.press("Back")
        at.press("Looms")
        at.press("D1")
        at.write("It stands until", "2026-11-11T06:00")
        at.write("Why", "gear of the dobby")
        at.press("It stands: re-plan with few moves")
        at.page.wait_for_url(re.compile("/looms/plans/\\d+/"), timeout=60_000)
        at.press("Put it in force")
    at.was(PLANNER)
    assert sum(at.counted[what] for what in WEEK) <= WEEK_CLICKS_MAX


def test_the_day_of_a_stock_keeper(day):
    at = day(roles.STOCK_KEEPER)
    with at.task("a delivery comes in and is weighed"):
        at.press("Receive it, or re-plan without it", of="E103")
        at.press("Receive it")
        at.write("Dye lot", "S771")
        at.write("Net mass", "40.2 kg")
        at.press("Receive it")
        at.says("is received")
    with at.task("its label is printed"):
        at.press("Label")
        at.press("Print")
        at.press("Back")
        at.says("Its life")
    with at.task("a shade is compared and approved"):
        at.press("Today")
        at.press("Compare its shade", of="L1005")
        at.press("The shade is right")
        at.says("shade approved")
    with at.task("yarn is set aside for a warp"):
        at.press("Yarn")
        at.press("Share out")
        at.press("Hold what is ticked")
        at.says("kg are held")
    with at.task("the yarn of a warp goes to the creel"):
        at.press("Today")
        at.press("Draw its yarn", of="Warp 81")
        at.press("Warp yarn is drawn")
        at.says("is drawn")
    with at.task("cones come back from the floor, with their label"):
        at.find("L1005")
        at.press("Part cones come back")
        at.write("How much", "1.2 kg")
        at.press("Take them back in")
        at.press("Print the label that goes in the cone")
        at.press("Print")
        at.press("Back")
    with at.task("a moth trap is read and its lure renewed"):
        at.press("Today")
        at.press("Renew the lure", of="SHED")
        at.write("Webbing clothes moth", "2")
        at.tick("T12")
        at.press("Write it down")
        at.says("was looked over")
    at.was(STOCK_KEEPER)


def test_the_day_of_a_warper(day):
    at = day(roles.WARPER)
    with at.task("sees what is next to wind, and draws its yarn"):
        at.press("Draw its yarn", of="Warp 81")
        at.press("Warp yarn is drawn")
        at.says("is drawn")
    with at.task("opens the sheet of the warp"):
        at.press("Ticket 1")
        at.press("Warper's ticket")
        at.press("Back")
    with at.task("says it is wound"):
        at.press("Today")
        at.press("Wind it", of="Warp 81")
        at.press("It is wound")
        at.says("is wound on beam")
    with at.task("asks for yarn that is wanting"):
        at.press("Today")
        at.press("Wind it", of="Warp 84")
        at.write("It stands on the ticket", "two cones short of cream at the creel")
        at.press("Write it down")
        at.says("The note is written down")
    at.was(WARPER)


def test_the_day_of_a_weaver(day, django_user_model):
    planner = django_user_model.objects.get(username="planner")
    warp = Warp.objects.get(number=81)
    warp_steps.draw_yarn(warp, by=planner)
    jobs.settle()
    warp_steps.wind(Warp.objects.get(number=81), by=planner)
    jobs.settle()
    token = tickets.issue_ticket(warp, by=planner).token
    jobs.settle()
    at = day(roles.WEAVER)

    def sent():
        expect(at.page.locator("[data-unsent]")).to_be_hidden()
        jobs.settle()
        at.page.wait_for_timeout(500)

    with at.task("sees the floor, and tells the picks of a loom"):
        at.press("Floor")
        at.press("Loom D1")
        at.write("Your short code", "UNA")
        at.press("Something else")
        at.write("Picks of this warp on the counter", "90000")
        at.press("Counter read")
        sent()
    with at.task("a stop with its cause, and on again"):
        at.press("Warp break")
        sent()
        at.press("It runs again")
        sent()
    with at.task("cuts a piece off"):
        at.write("Piece", "64.2")
        at.press("Piece off")
        sent()
    with at.task("cuts the last piece of a warp, and it is out"):
        at.press("All looms")
        at.press("Loom D3")
        at.write("Piece", "63.9")
        at.press("Piece off")
        sent()
        at.press("Something else")
        at.press("Warp out")
        sent()
    with at.task("ties in a warp, by the code on its ticket"):
        at.page.goto(f"/t/{token}/")
        at.press("Tell what was done at the machine")
        at.press("Gaited in loom")
        sent()
    with at.task("begins a warp that hangs gaited"):
        at.press("Today")
        at.press("Begin weaving")
        at.press("Weaving has begun")
        at.says("is weaving")
    at.was(WEAVER)


def test_the_day_of_a_finisher(day):
    at = day(roles.FINISHER)
    with at.task("takes two pieces in over the grey perch"):
        at.press("Open 75-1")
        for mending in ("20", "0"):
            at.write("Grey length, relaxed", "57.4")
            at.write("Grey width, relaxed", "166")
            at.write("To mend", mending)
            at.press("It has been perched")
            at.says("has been over the grey perch")
            if mending == "20":
                at.press("piece 75-2")
    with at.task("mends one"):
        at.press("Finishing")
        at.press("75-1")
        at.write("Minutes spent", "20")
        at.tick("Nothing is left to mend")
        at.press("Write the minutes down")
    with at.task("sends all that wait into the scour together, and takes them out"):
        at.press("Finishing")
        at.press("all")
        at.press("Sew together, into scour")
        at.press("It is out")
    with at.task("takes them through the three other steps of their route"):
        for step in ("crop", "decatise", "press"):
            at.press("all", of=f"into {step}")
            at.press(f"Sew together, into {step}")
            at.press("It is out")
    with at.task("measures, and passes one"):
        at.press("75-1")
        at.write("Finished length, relaxed", "54.1")
        at.write("Finished width, relaxed", "150.2")
        at.write("Mass", "24.1 kg")
        at.press("Write it all down")
        at.says("pass, 0 points")
    with at.task("makes the next a second"):
        at.press("piece 75-2")
        at.write("Finished length, relaxed", "53.8")
        at.write("Finished width, relaxed", "149.9")
        at.write("Mass", "24.0 kg")
        at.tick("second")
        at.write("Why", "a bar across the cloth")
        at.press("Write it all down")
        at.says("second, 0 points")
    with at.task("sends what is ready, with its packing list"):
        at.press("Today")
        at.press("Send them")
        at.press("Send them")
        at.press("Note and packing list")
        at.press("Print")
        at.press("Back")
    at.was(FINISHER)


def test_whatever_today_asks_of_a_role_that_role_may_open(mill, person):
    for role in (roles.PLANNER, roles.STOCK_KEEPER, roles.WARPER, roles.WEAVER, roles.FINISHER):
        client = Client()
        client.force_login(person(role, name=f"Merle the {role}"))
        page = client.get("/").content.decode()
        addresses = set(re.findall(r'href="([^"]+)"', page[page.index("<main") : page.index("</main")]))
        assert len(addresses) > 5, role
        closed = [address for address in addresses if client.get(unescape(address)).status_code != 200]
        assert closed == [], role
