"""The floor's pages in a phone whose connection is really cut: opened afresh, told from, and sent once."""

import re
import time

import pytest
from playwright.sync_api import Error, expect

from mill import limits
from planning.models import FloorEvent
from planning.services import tickets
from tests.browser.line import Line
from tests.conftest import opened
from tests.make import make_loom
from tests.planning.floor_walk import make_worker, weaving_warp, wound_warp

pytestmark = pytest.mark.browser

AS_OF = "[data-as-of]"
SENT = "[data-unsent]"
KEPT = ".floor[data-kept]"


@pytest.fixture
def una(live_server):
    return make_worker(code="UNA", name="Una Bell")


@pytest.fixture
def ticket(live_server, planner, una):
    return tickets.issue_ticket(wound_warp(planner, loom=make_loom(code="7"), number=118), by=planner)


@pytest.fixture
def line(live_server):
    with Line(int(live_server.url.rpartition(":")[2])) as line:
        yield line


@pytest.fixture
def phone(chromium, line, desk):
    with opened(chromium, "phone", at=line.url, client=desk) as page:
        yield page


def opened_once(phone, address: str) -> None:
    """With a connection, until the phone has kept what it keeps."""
    phone.goto(address)
    expect(phone.locator(KEPT)).to_be_attached(timeout=20_000)


def test_a_page_is_opened_afresh_without_a_connection_and_says_from_when_it_is(phone, line, ticket, axe):
    opened_once(phone, f"/floor/{ticket.token}/")
    expect(phone.locator(AS_OF)).to_be_hidden()
    line.cut()
    phone.reload()
    expect(phone.locator("h1")).to_contain_text("Warp 118")
    expect(phone.locator(AS_OF)).to_be_visible()
    expect(phone.locator(AS_OF)).to_contain_text(re.compile(r"As of \d\d:\d\d, .*no connection since"))
    expect(phone.locator(AS_OF)).to_contain_text("Whether the paper still holds can’t be said until then.")
    axe(phone)
    # It is drawn as ever: the style and the script came out of the phone too.
    assert phone.locator("[data-likely] button").bounding_box()["height"] >= 56
    line.mend()
    phone.reload()
    expect(phone.locator(AS_OF)).to_be_hidden()


def test_doubled_taps_on_a_page_opened_without_a_connection_are_kept_over_reloads_and_counted_once(
    phone, line, ticket, una
):
    opened_once(phone, f"/floor/{ticket.token}/")
    line.cut()
    phone.reload()
    phone.get_by_label("Your short code").fill("UNA")
    phone.get_by_role("button", name="Gaited in loom 7").dblclick()
    expect(phone.locator(SENT)).to_contain_text("1 not sent yet, kept in this phone: gaited.")
    phone.reload()
    # The next button is there after the reload as well, and who it was is remembered.
    expect(phone.locator(SENT)).to_contain_text("gaited")
    phone.locator("[data-likely] button", has_text="Started, first picks checked").dblclick()
    expect(phone.locator(SENT)).to_contain_text("2 not sent yet, kept in this phone: gaited; started.")
    assert not FloorEvent.objects.exists()
    line.mend()
    expect(phone.locator(SENT)).to_be_hidden(timeout=20_000)
    expect(phone.locator("[data-state-said]")).to_have_text("Running")
    expect(phone.locator(AS_OF)).to_be_hidden()
    assert [event.kind for event in FloorEvent.objects.order_by("pk")] == ["gaited", "started"]
    # What was sent last is what the phone keeps now.
    line.cut()
    phone.reload()
    expect(phone.locator("[data-state-said]")).to_have_text("Running")
    expect(phone.locator(AS_OF)).to_be_visible()


def test_the_code_on_a_paper_leads_to_the_page_without_a_connection_too(phone, line, ticket):
    opened_once(phone, f"/floor/{ticket.token}/")
    line.cut()
    phone.goto(f"/t/{ticket.token}/")
    assert phone.url == f"{line.url}/floor/{ticket.token}/"
    expect(phone.locator("h1")).to_contain_text("Warp 118")
    expect(phone.locator(AS_OF)).to_be_visible()
    line.mend()
    phone.goto(f"/t/{ticket.token}/")
    expect(phone.get_by_text("This ticket holds.")).to_be_visible()


def test_the_list_of_looms_puts_every_looms_page_into_the_phone(phone, line, ticket, planner):
    other = tickets.issue_ticket(weaving_warp(planner, loom=make_loom(code="8"), number=119), by=planner)
    opened_once(phone, "/floor/")
    line.cut()
    phone.goto(f"/floor/{other.token}/")
    expect(phone.locator("h1")).to_contain_text("Warp 119")
    phone.get_by_role("link", name="All looms").click()
    expect(phone.locator(AS_OF)).to_be_visible()
    expect(phone.locator(".floor-looms a")).to_have_count(2)


def test_what_was_never_opened_says_so_and_other_rooms_are_not_kept(phone, line, ticket, axe):
    opened_once(phone, "/floor/")
    phone.goto("/pieces/")
    phone.goto("/floor/told/")
    line.cut()
    phone.goto("/floor/neverseen123/")
    expect(phone.locator("h1")).to_have_text("No connection")
    expect(phone.get_by_text("has never opened this page")).to_be_visible()
    axe(phone)
    for address in ("/pieces/", "/floor/told/"):
        with pytest.raises(Error, match="ERR_"):
            phone.goto(address)


def test_an_open_page_says_from_when_it_is_as_soon_as_the_mill_does_not_answer(phone, line, ticket):
    opened_once(phone, f"/floor/{ticket.token}/")
    phone.get_by_label("Your short code").fill("UNA")
    line.cut()
    phone.get_by_role("button", name="Gaited in loom 7").click()
    expect(phone.locator(AS_OF)).to_be_visible()
    line.mend()
    expect(phone.locator(AS_OF)).to_be_hidden(timeout=20_000)


def test_who_signs_out_leaves_no_page_in_the_phone_and_loses_no_tap(phone, line, ticket, settings):
    opened_once(phone, f"/floor/{ticket.token}/")
    line.cut()
    phone.reload()
    phone.get_by_label("Your short code").fill("UNA")
    phone.get_by_role("button", name="Gaited in loom 7").click()
    expect(phone.locator(SENT)).to_contain_text("1 not sent yet")
    phone.context.clear_cookies()
    line.mend()
    expect(phone.get_by_text("This phone is signed out. Nothing is lost")).to_be_visible(timeout=20_000)
    phone.goto(f"/floor/{ticket.token}/")
    expect(phone).to_have_url(re.compile("/sign-in/"))
    line.cut()
    phone.goto(f"/floor/{ticket.token}/")
    expect(phone.locator("h1")).to_have_text("No connection")
    expect(phone.locator(SENT)).to_contain_text("1 not sent yet")


def test_a_phone_that_is_told_to_wait_waits_so_long_and_loses_nothing(phone, line, ticket, desk, monkeypatch):
    opened_once(phone, f"/floor/{ticket.token}/")
    phone.get_by_label("Your short code").fill("UNA")
    said, asked = [], []
    phone.on("response", lambda one: said.append(one) if one.request.method == "POST" else None)
    phone.on("request", lambda one: asked.append(time.monotonic()) if one.method == "POST" else None)
    # One request of theirs in a stretch of twelve seconds, and a program of theirs has sent it.
    monkeypatch.setattr(limits, "api_limit", lambda: limits.Limit("requests of the API", 1, 12))
    while time.time() % 12 > 3:
        time.sleep(0.1)
    assert desk.get("/api/looms/").status_code == 200
    phone.get_by_role("button", name="Gaited in loom 7").click()
    expect(phone.get_by_text("Nothing is lost: this phone sends it by itself.")).to_be_visible()
    wait_s = int(said[0].headers["retry-after"])
    assert said[0].status == 429
    assert 6 < wait_s <= 12
    # What is told meanwhile waits with it, and neither the clock nor a phone that wakes up sends sooner.
    expect(phone.locator("[data-state-said]")).to_have_text("Gaited, not sent yet")
    phone.wait_for_timeout(500)
    phone.locator("[data-likely] button", has_text="Started, first picks checked").click()
    phone.evaluate("dispatchEvent(new Event('online'))")
    expect(phone.locator(SENT)).to_contain_text("2 not sent yet, kept in this phone: gaited; started.")
    assert not FloorEvent.objects.exists()
    expect(phone.locator(SENT)).to_be_hidden(timeout=20_000)
    expect(phone.locator("[data-state-said]")).to_have_text("Running")
    assert [event.kind for event in FloorEvent.objects.order_by("pk")] == ["gaited", "started"]
    assert [one.status for one in said] == [429, 200]
    assert asked[1] - asked[0] >= wait_s - 0.5


def test_the_script_that_keeps_pages_is_for_the_floors_folders_alone(client):
    answer = client.get("/floor/worker.js")
    assert answer.headers["Content-Type"].startswith("text/javascript")
    assert answer.headers["Cache-Control"] == "no-cache"
    # No header lets it out of the folder that it is served from.
    assert "Service-Worker-Allowed" not in answer.headers
    assert "default-src 'self'" in answer.headers["Content-Security-Policy"]
    assert client.get("/t/worker.js").content == answer.content
    assert b'const EMPTY = "/floor/no-connection/"' in answer.content
