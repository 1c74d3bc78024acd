"""Orders and warps in a real browser: what follows while typing, the way to woven out, no rule broken at any width."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from mill import jobs
from planning.models import OrderLine, Warp
from planning.services import warps
from planning.services.warps import Share
from tests.make import make_beam, make_customer, make_line, make_loom, make_lot, make_spec, make_yarn

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def mill():
    """A tweed with its yarn in the store, a loom, two beams, a line on a warp and two that wait."""
    spec = make_spec(yarns={"A": make_yarn(code="MOSS", name="Moss"), "B": make_yarn(code="CREAM", name="Cream")})
    for entry in spec.colourway_yarns.all():
        make_lot(yarn=entry.yarn, grams=300_000, dye_lot="881")
        make_lot(yarn=entry.yarn, grams=60_000, dye_lot="904")
    make_loom(code="L1")
    make_beam(code="B1")
    make_beam(code="B2")
    make_customer(name="Hollin & Daughter")
    lines = [make_line(spec=spec, due_on=timezone.localdate() + timedelta(days)) for days in (60, 70, 75)]
    warp = warps.make_warp([Share(lines[0], 2)], by=None)
    jobs.settle()
    return lines, warp


def test_no_page_of_orders_and_warps_breaks_a_rule_at_any_width(page, axe, mill):
    lines, warp = mill
    addresses = [
        reverse("orders"),
        reverse("order_new"),
        reverse("order", args=[lines[0].order.number]),
        reverse("line_edit", args=[lines[0].order.number, 1]),
        reverse("customers"),
        reverse("customer", args=[lines[0].order.customer.code]),
        reverse("warps"),
        reverse("warp", args=[warp.number]),
        reverse("warp_yarn", args=[warp.number]),
        reverse("warp_beam", args=[warp.number]),
        reverse("combine"),
        reverse("lot_shares"),
    ]
    for address in addresses:
        page.goto(address)
        for summary in page.locator("main details > summary").all():
            summary.click()
        axe(page)
        over = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        assert over <= 0, f"{address} is {over} px wider than the screen"


def test_figures_follow_while_an_order_is_typed_and_the_order_is_placed(desk_page, mill):
    page = desk_page
    page.goto(reverse("order_new"))
    page.select_option("#id_customer", label="Hollin & Daughter")
    page.select_option("#id_lines-0-colourway", index=1)
    page.fill("#id_lines-0-pieces", "2")
    page.fill("#id_lines-0-length_m", "60")
    page.fill("#id_lines-0-due_on", str(timezone.localdate() + timedelta(90)))
    page.get_by_text("127.8 m").wait_for()
    assert page.locator(".follows .state.good", has_text="suffices").count() == 4
    page.click("text=Place the order")
    page.get_by_text("is placed").wait_for()
    assert OrderLine.objects.latest("pk").length_m == 60


def test_a_proposal_is_refused_locked_and_asked_for_again(page, axe, mill):
    page.goto(reverse("combine"))
    page.get_by_role("button", name="Refuse new warp 1").click()
    page.get_by_text("Kept apart:").wait_for()
    axe(page)
    page.get_by_role("button", name="together again").click()
    page.get_by_text("Taken back").wait_for()
    page.get_by_role("button", name="Lock new warp 1").click()
    page.get_by_text("locked, ").wait_for()
    axe(page)
    assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
    # Enter in a field works the sheet out; it neither locks nor refuses.
    page.locator("input[name=pieces]").first.press("Enter")
    page.get_by_role("link", name="Back to the proposal").wait_for()
    page.get_by_role("button", name="Unlock new warp 1").click()
    page.get_by_role("button", name="Lock new warp 1").wait_for()


def test_a_planner_combines_holds_and_takes_a_warp_to_woven_out(desk_page, mill):
    page = desk_page
    page.goto(reverse("combine"))
    page.locator("strong").get_by_text("279.8 m").wait_for()
    page.click("text=Make the ticked warps")
    page.get_by_text("planned.").wait_for()
    warp = Warp.objects.latest("pk")
    page.goto(reverse("warp", args=[warp.number]))
    page.get_by_text("Its figures are being worked out").wait_for()
    jobs.settle()
    # The page asks again by itself.
    page.locator("#worked").get_by_text("279.8").first.wait_for()
    page.get_by_text("Its figures are being worked out").wait_for(state="detached")
    page.goto(reverse("warp_yarn", args=[warp.number]))
    page.click("text=Hold these lots")
    page.get_by_text("All yarn of").wait_for()
    for button in ("Warp yarn is drawn", "It is wound"):
        page.click(f"button:has-text('{button}')")
    page.select_option("#gait-loom", "L1")
    page.click("button:has-text('It is gaited')")
    page.click("button:has-text('Weaving has begun')")
    page.click("button:has-text('It is woven out')")
    page.get_by_text("woven out. Beam").wait_for()
    warp.refresh_from_db()
    assert (warp.state, warp.loom.code) == (Warp.WOVEN_OUT, "L1")
