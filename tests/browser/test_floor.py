"""The floor's page on a phone: gloves, a lost connection, doubled taps; then the book against an independent replay."""

import json
from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import ROUND_HALF_UP, Decimal

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from inventory.services import check_invariants
from planning.models import DispatchPiece, FloorEvent, OrderLine, Piece, Stop, Warp
from planning.services import dispatch, tickets
from tests.conftest import opened
from tests.make import make_customer, make_line, make_loom, make_order, make_spec
from tests.planning.floor_walk import finished, make_worker, wound_warp

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


# A fortnight


@dataclass
class Replay:
    """What a clerk with a pencil makes of the same taps. Knows nothing of the book's own code."""

    metres: dict[str, Decimal] = field(default_factory=dict)
    stood: Counter = field(default_factory=Counter)
    returned_g: Counter = field(default_factory=Counter)
    stopped_at: datetime | None = None
    reason: str = ""

    def tap(self, warp: Warp, at: datetime, kind: str, **facts: str) -> None:
        if self.stopped_at and kind in ("running", "stopped", "warp out"):
            self.stood[self.reason] += round((at - self.stopped_at).total_seconds() / 60)
            self.stopped_at = None
        if kind == "stopped":
            self.stopped_at, self.reason = at, facts["reason"]
        if kind == "piece off":
            number = sum(name.startswith(f"{warp.number}-") for name in self.metres) + 1
            self.metres[f"{warp.number}-{number}"] = Decimal(facts["length_m"])
        if kind == "yarn returned":
            self.returned_g[facts["lot"]] += int(facts["grams"])


NAMES = {
    "gaited": "Gaited in loom 7",
    "started": "Started, first picks checked",
    "running": "It runs again",
    "piece off": "Piece off",
    "warp out": "Warp out, nothing left on the beam",
    "yarn returned": "Yarn returned",
}
FIELDS = {"length_m": "#length_m", "lot": "#back_lot", "grams": "#grams"}


def test_a_fortnight_on_the_phone_agrees_with_an_independent_replay(chromium, live_server, desk, planner, una):
    """Two warps after one another on loom 7, 16 stops, 8 pieces; the phone is without a connection for days."""
    spec = make_spec()
    customer = make_customer(code="HAZ")
    loom = make_loom(code="7")
    warps = []
    for number in (118, 119):
        line = make_line(spec=spec, order=make_order(customer=customer), pieces=4)
        warps.append(wound_warp(planner, spec=spec, lines=[line], loom=loom, number=number))
    papers = {warp.pk: tickets.issue_ticket(warp, by=planner) for warp in warps}
    lots = {warp.pk: warp.holds.filter(use="weft").first().reservation.lot for warp in warps}
    began = {lot.label: lot.movements.order_by("-seq").first().on_hand_after_g for lot in lots.values()}
    replay = Replay()
    now = timezone.now()
    at = now - timedelta(days=14)
    is_offline = False
    with opened(chromium, "phone", at=live_server.url, client=desk) as page:

        def tap(warp: Warp, kind: str, minutes: int, *, twice: bool, **facts: str) -> None:
            nonlocal at
            at += timedelta(minutes=minutes)
            replay.tap(warp, at, kind, **facts)
            page.clock.set_fixed_time(at if is_offline else now)
            if kind == "stopped":
                name = facts["reason"].capitalize()
            else:
                name = NAMES[kind]
                for fact, place in FIELDS.items():
                    if fact in facts:
                        if not page.locator(place).is_visible():
                            page.locator("details.others > summary").click()
                        page.fill(place, facts[fact])
            press(page, name)
            if twice and kind != "stopped":
                page.evaluate(
                    "name => [...document.querySelectorAll('button')].find(b => b.textContent === name)?.click()", name
                )

        for warp in warps:
            page.context.set_offline(False)
            page.clock.set_fixed_time(now)
            is_offline = False
            page.goto(f"/floor/{papers[warp.pk].token}/")
            page.get_by_label("Your short code").fill("UNA")
            # Everything of these days is told while the phone has no connection, so that the moments are the phone's.
            page.context.set_offline(True)
            is_offline = True
            tap(warp, "gaited", 60, twice=True)
            tap(warp, "started", 240, twice=True)
            for n in range(4):
                for reason, minutes in (("weft break", 7 + n), ("tuner", 31 + n)):
                    tap(warp, "stopped", 300, twice=False, reason=reason)
                    tap(warp, "running", minutes, twice=n % 2 == 0)
                tap(warp, "piece off", 400, twice=True, length_m=f"{63 + n}.{n}5")
            tap(warp, "warp out", 30, twice=True)
            tap(warp, "yarn returned", 20, twice=True, lot=lots[warp.pk].label, grams=str(400 + warp.number))
            kept = json.loads(page.evaluate("localStorage.getItem('shedbook-floor-taps')"))
            assert len(kept) == 2 + 4 * 5 + 2
            page.clock.set_fixed_time(now)
            page.context.set_offline(False)
            expect(page.locator(SENT)).to_be_hidden(timeout=60_000)

    assert [event.refused for event in FloorEvent.objects.exclude(refused="")] == []
    assert {piece.number: piece.grey_length_m for piece in Piece.objects.all()} == replay.metres
    assert {piece.number: piece.picks for piece in Piece.objects.all()} == {
        number: int((length * 846).to_integral_value(ROUND_HALF_UP)) for number, length in replay.metres.items()
    }
    stood = Counter()
    for stop in Stop.objects.all():
        assert stop.stops_at is not None
        stood[stop.reason] += round((stop.stops_at - stop.starts_at).total_seconds() / 60)
    assert stood == replay.stood
    for lot in lots.values():
        assert lot.movements.order_by("-seq").first().on_hand_after_g == began[lot.label] + replay.returned_g[lot.label]
    check_invariants()
    assert {warp.state for warp in Warp.objects.all()} == {Warp.WOVEN_OUT}
    for piece in Piece.objects.all():
        finished(piece, planner, length_m=str(piece.grey_length_m - 4))
    dispatch.send(customer, dispatch.ready_for(customer), sent_on=timezone.localdate(), by=planner, key="van")
    assert {row.piece.number: row.length_m for row in DispatchPiece.objects.select_related("piece")} == {
        number: length - 4 for number, length in replay.metres.items()
    }
    assert {line.state for line in OrderLine.objects.all()} == {OrderLine.SENT}
