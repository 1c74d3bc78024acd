"""Every report with something in it, at every width: no rule broken, nothing that pushes the page sideways."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from planning.models import Piece
from planning.services import floor, plans
from tests.make import make_cloth, make_customer, make_line, make_loom, make_order, make_spec
from tests.planning.floor_walk import make_worker, wound_warp
from tests.planning.test_punctuality import ready_pieces, send
from tests.planning.test_seconds import fault, perched
from tests.planning.test_thrums import woven_out

pytestmark = pytest.mark.browser
PAGES = ("", "deliveries/", "load/", "efficiency/", "turnover/", "thrums/", "seconds/")
TODAY = timezone.localdate()


@pytest.fixture
def a_mill(live_server, planner):
    """A line sent late, a warp woven out, another in the loom as the floor told, a second, and a plan in force."""
    spec = make_spec(cloth=make_cloth(code="HER", name="Herringbone"))
    order = make_order(customer=make_customer(name="A customer with a rather long name, of a rather long street"))
    row = make_line(spec=spec, order=order, pieces=1, length_m=60, due_on=TODAY - timedelta(9))
    send(row, ready_pieces(row, 1), days_ago=3, by=planner)
    woven_out(planner, "63.00", spec=spec, loom=make_loom(code="6"))
    warp = wound_warp(planner, spec=spec, loom=make_loom(code="7"))
    una = make_worker(name="Una Bell")
    for n, (kind, facts) in enumerate(
        (
            ("gaited", {}),
            ("started", {}),
            ("stopped", {"reason": "weft break"}),
            ("running", {}),
            ("piece off", {"length_m": Decimal(60)}),
        )
    ):
        age = timedelta(hours=120 - 20 * n)
        told = floor.tell(warp, kind=kind, worker=una, key=str(n), by=planner, facts=facts, age=age)
        assert told.refused == ""
    perched(spec, planner, "99-1", verdict=Piece.SECOND, faults=[fault("weft bar", mm=300)])
    plans.put_in_force(plans.make_plan(by=planner), by=planner)


def test_no_report_breaks_a_rule_at_any_width(page, axe, a_mill):
    for name in PAGES:
        page.goto(f"/reports/{name}")
        assert page.locator("svg.graph").count() > 0, name
        assert page.locator(".note").count() == 0, "nothing is missing here"
        for fold in page.locator("details").all():
            fold.evaluate("fold => fold.open = true")
        axe(page)
        assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth"), name
    # A period that can't be is said beside its field.
    page.goto("/reports/thrums/?from_day=2026-11-02&to_day=2026-11-01")
    assert "comes after the first" in page.locator(".errors").inner_text()
    axe(page)


def test_a_period_is_kept_in_the_address_and_in_the_table_that_is_taken_away(desk_page, a_mill):
    desk_page.goto("/reports/deliveries/")
    first = (TODAY - timedelta(5)).isoformat()
    desk_page.get_by_label("From").fill(first)
    desk_page.get_by_role("button", name="Look at this period").click()
    assert f"from_day={first}" in desk_page.url
    with desk_page.expect_download() as taken:
        desk_page.get_by_role("link", name="Take away as CSV").first.click()
    lines = taken.value.path().read_text("utf-8-sig").splitlines()
    assert lines[0].startswith("Week from,Lines,On time,Late")
    # Of weeks that the period has a day of there are one or two.
    assert 2 <= len(lines) <= 3
    desk_page.get_by_role("link", name="As it is proposed").click()
    assert "from_day" not in desk_page.url


def test_an_empty_mill_s_reports_break_no_rule(page, axe, db, live_server):
    for name in PAGES:
        page.goto(f"/reports/{name}")
        assert page.locator("main").inner_text()
        axe(page)
        assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth"), name
