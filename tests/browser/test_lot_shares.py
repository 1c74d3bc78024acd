"""Lots shared out in a real browser: a short sheet at any width, a choice and what it means, holding, a double click."""

from datetime import date, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from inventory.services import reserve
from mill import jobs
from planning.models import WarpHold
from planning.services import warps
from planning.services.warps import Share
from tests.make import make_beam, make_delivery, make_line, make_lot, make_spec, make_yarn

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def mill():
    """Two warps of a yarn in two dye lots, of which only the older covers the larger; and a weft that is short."""
    spec = make_spec(
        yarns={"A": make_yarn(code="MOSS", name="Moss"), "B": make_yarn(code="CREAM", name="Cream")},
        warp_order="A4",
        weft_order="B4",
    )
    made = []
    for pieces, days in ((2, 60), (4, 70)):
        make_beam()
        line = make_line(spec=spec, pieces=pieces, due_on=timezone.localdate() + timedelta(days))
        made.append(warps.make_warp([Share(line, pieces)], by=None))
    jobs.settle()
    small, large = made
    moss, cream = (small.yarns.get(use=use).yarn for use in ("warp", "weft"))
    for warp, dye_lot, came in ((large, "881", date(2025, 1, 6)), (small, "904", date(2025, 6, 2))):
        grams = warp.yarns.get(use="warp").issue_g
        make_lot(yarn=moss, grams=grams, dye_lot=dye_lot, received_on=came)
    lot = make_lot(yarn=cream, grams=9000)
    reserve(lot=lot, grams=9000, for_what="A sample", by=None)
    make_delivery(yarn=cream, number="D77", ordered_g=90_000)
    return small, large


def test_the_sheet_breaks_no_rule_at_any_width(page, axe, mill):
    page.goto(reverse("lot_shares"))
    for summary in page.locator("main details > summary").all():
        summary.click()
    expect(page.get_by_text("Delivery D77").first).to_be_visible()
    axe(page)
    over = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
    assert over <= 0, f"the sheet is {over} px wider than the screen"


def test_a_planner_looks_at_another_choice_goes_back_and_holds_once(desk_page, mill):
    small, large = mill
    page = desk_page
    page.goto(reverse("yarn"))
    page.get_by_role("link", name="Share out").click()
    choice = page.get_by_label(f"Dye lot of warp yarn for {small}")
    choice.select_option("881")
    page.get_by_role("button", name="Show what the choices mean").first.click()
    expect(page.get_by_text("What was chosen means:")).to_be_visible()
    expect(page.get_by_text(f"{small} takes dye lot 881 instead of 904.")).to_be_visible()
    page.get_by_role("link", name="Back to the proposal").click()
    expect(page.get_by_text("What was chosen means:")).to_have_count(0)
    page.get_by_role("button", name="Hold what is ticked").dblclick()
    expect(page.get_by_role("checkbox")).to_have_count(0)
    assert {(hold.warp, hold.reservation.lot.dye_lot) for hold in WarpHold.objects.all()} == {
        (large, "881"),
        (small, "904"),
    }
    assert WarpHold.objects.count() == 2


def test_without_a_script_it_is_held_all_the_same(chromium, live_server, desk, mill):
    small, _ = mill
    context = chromium.new_context(base_url=live_server.url, java_script_enabled=False)
    context.add_cookies([{"name": name, "value": c.value, "url": live_server.url} for name, c in desk.cookies.items()])
    page = context.new_page()
    page.goto(reverse("lot_shares"))
    page.get_by_label(f"Hold warp yarn for {small}").uncheck()
    page.get_by_role("button", name="Hold what is ticked").click()
    expect(page.get_by_text("are held for 1 line.")).to_be_visible()
    context.close()
