"""The floor's page on a phone: gloves, a lost connection, doubled taps."""

import pytest
from playwright.sync_api import expect

from planning.models import FloorEvent
from planning.services import tickets
from tests.conftest import opened
from tests.make import make_loom
from tests.planning.floor_walk import make_worker, wound_warp

pytestmark = pytest.mark.browser

SENT = "[data-unsent]"
DONE = "[data-wrong] .success"


@pytest.fixture
def una(live_server):
    return make_worker(code="UNA", name="Una Bell")


@pytest.fixture
def ticket(live_server, planner, una):
    warp = wound_warp(planner, loom=make_loom(code="7"), number=118)
    return tickets.issue_ticket(warp, by=planner)


def press(page, name: str) -> None:
    """A button by its words, wherever it is; folded ones are opened first."""
    button = page.get_by_role("button", name=name, exact=True)
    if not button.is_visible():
        page.locator("details.others > summary").click()
    button.click()
    # Nobody is at the next button sooner: what lands within that time is the same finger.
    page.wait_for_timeout(450)


def test_a_finger_that_lands_twice_is_not_taken_for_the_next_button(phone_page, ticket, una):
    """The second landing is on whatever stands there by then: here, what came up in place of the first button."""
    page = phone_page
    page.goto(f"/floor/{ticket.token}/")
    page.get_by_label("Your short code").fill("UNA")
    page.context.set_offline(True)
    box = page.get_by_role("button", name="Gaited in loom 7").bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2, click_count=2, delay=30)
    page.locator("[data-likely] button").first.click()
    expect(page.locator(SENT)).to_contain_text("1 not sent yet, kept in this phone: gaited.")


def test_every_target_is_large_enough_for_gloves_and_no_rule_is_broken(phone_page, axe, ticket, desk):
    phone_page.goto(f"/floor/{ticket.token}/")
    phone_page.locator("details.others > summary").click()
    axe(phone_page)
    assert not phone_page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
    small = phone_page.evaluate(
        """() => [...document.querySelectorAll('.floor button, .floor input:not([type=hidden]), .floor summary')]
        .filter(e => e.offsetParent && e.getBoundingClientRect().height < 56).map(e => e.textContent || e.name)"""
    )
    assert small == []
    for address in ("/floor/", "/floor/told/"):
        phone_page.goto(address)
        axe(phone_page)


def test_a_doubled_tap_counts_once_and_the_next_button_is_there(phone_page, ticket, una):
    phone_page.goto(f"/floor/{ticket.token}/")
    phone_page.get_by_label("Your short code").fill("UNA")
    phone_page.get_by_role("button", name="Gaited in loom 7").dblclick()
    expect(phone_page.locator(DONE)).to_contain_text("gaited")
    expect(phone_page.locator("[data-likely] button")).to_have_text("Started, first picks checked")
    assert FloorEvent.objects.count() == 1


def test_taps_without_a_connection_wait_in_the_phone_over_a_reload_and_are_sent_once(phone_page, ticket, una):
    page = phone_page
    page.goto(f"/floor/{ticket.token}/")
    page.get_by_label("Your short code").fill("UNA")
    page.context.set_offline(True)
    for name in ("Gaited in loom 7", "Started, first picks checked"):
        press(page, name)
    expect(page.locator(SENT)).to_contain_text("2 not sent yet, kept in this phone: gaited; started")
    expect(page.locator("[data-state-said]")).to_have_text("Running, not sent yet")
    assert not FloorEvent.objects.exists()
    # The answer to the first sending is lost on the way: the phone sends the same again.
    lost = []
    page.route(
        "**/api/floor/taps/",
        lambda route: (lost.append(route.fetch()), route.abort()) if not lost else route.continue_(),
    )
    page.context.set_offline(False)
    expect(page.locator(SENT)).to_be_hidden()
    assert lost
    assert FloorEvent.objects.count() == 2
    page.reload()
    expect(page.locator("[data-state-said]")).to_have_text("Running")


def test_what_became_of_a_tap_is_in_sight_wherever_its_button_is(phone_page, ticket, una):
    page = phone_page
    page.goto(f"/floor/{ticket.token}/")
    page.get_by_label("Your short code").fill("UNA")
    page.locator("details.others > summary").click()
    page.get_by_label("Picks of this warp on the counter").fill("12")
    press(page, "Counter read")
    expect(page.locator("[data-wrong] .error")).to_contain_text("not weaving")
    expect(page.locator("[data-wrong] .error")).to_be_in_viewport()
    page.get_by_label("Your short code").fill("UMA")
    press(page, "Warp out, nothing left on the beam")
    expect(page.get_by_role("button", name="Send it with the code above")).to_be_in_viewport()


def test_what_was_told_without_a_connection_is_taken_back_without_one(phone_page, ticket, una):
    page = phone_page
    page.goto(f"/floor/{ticket.token}/")
    page.get_by_label("Your short code").fill("UNA")
    page.context.set_offline(True)
    press(page, "Gaited in loom 7")
    expect(page.locator("[data-state-said]")).to_have_text("Gaited, not sent yet")
    press(page, "Take back: gaited")
    expect(page.locator("[data-state-said]")).to_have_text("Wound")
    expect(page.locator("[data-likely] button")).to_have_text("Gaited in loom 7")
    expect(page.locator(SENT)).to_contain_text("gaited; undone")
    page.context.set_offline(False)
    expect(page.locator(SENT)).to_be_hidden()
    gaited, undone = FloorEvent.objects.order_by("pk")
    assert (undone.undoes, undone.refused) == (gaited, "")
    page.reload()
    expect(page.locator("[data-state-said]")).to_have_text("Wound")


def test_a_wrong_code_keeps_the_tap_in_the_phone_until_it_is_put_right(phone_page, ticket, una):
    page = phone_page
    page.goto(f"/floor/{ticket.token}/")
    page.get_by_label("Your short code").fill("UMA")
    press(page, "Gaited in loom 7")
    expect(page.locator("[data-problems]")).to_contain_text("Nobody of the floor has the code UMA")
    assert not FloorEvent.objects.exists()
    page.get_by_label("Your short code").fill("UNA")
    page.get_by_role("button", name="Send it with the code above").click()
    expect(page.locator(DONE)).to_contain_text("gaited")
    assert FloorEvent.objects.get().worker == una


def test_the_page_works_without_a_script(chromium, live_server, desk, ticket, una):
    with opened(chromium, "phone", at=live_server.url, client=desk, java_script_enabled=False) as page:
        page.goto(f"/t/{ticket.token}/")
        expect(page.get_by_text("This ticket holds.")).to_be_visible()
        page.get_by_role("link", name="Tell what was done at the machine").click()
        page.get_by_label("Your short code").fill("UNA")
        page.get_by_role("button", name="Gaited in loom 7").click()
        expect(page.get_by_text("Written down: gaited")).to_be_visible()
    assert FloorEvent.objects.get().kind == "gaited"
