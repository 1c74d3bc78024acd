"""Money in a real browser: no rule broken at any width, and a quote that follows the typing."""

from decimal import Decimal

import pytest

from planning.models import Quote, Rate
from tests.make import make_customer, make_line, make_loom, make_lot, make_spec, make_warp, make_yarn
from tests.planning.test_costing import price, state, working

pytestmark = pytest.mark.browser


@pytest.fixture
def mill(transactional_db):
    """A tweed with all that it takes stated, on a warp of two pieces."""
    make_loom(code="7")
    for kind, amount in {Rate.WARPING: "30", Rate.SET_UP: "24", Rate.LOOM: "18", Rate.MARGIN: "25"}.items():
        state(kind, amount)
    state(Rate.STEP, "0.85", of="scour", basis="m")
    yarn = make_yarn(code="FELL-03")
    price(yarn, "9.50")
    make_lot(yarn=yarn, grams=900_000)
    spec = make_spec(yarns={"A": yarn, "B": yarn})
    make_customer(name="Ostler")
    warp = make_warp(number=118, spec=spec, lines=[make_line(spec=spec)])
    working(warp)
    return spec


@pytest.mark.parametrize(
    "address",
    [
        *("/mill/rates/", "/mill/prices/new/", "/warps/118/cost/"),
        "/quotes/new/?colourway={colourway}&pieces=2&length_m=60&set_up=gait-up",
    ],
)
def test_the_pages_break_no_rule_at_any_width(mill, page, axe, address):
    page.goto(address.format(colourway=mill.cloth.colourways.get().pk))
    axe(page)
    for summary in page.locator("details > summary").all():
        summary.click()
    axe(page)
    assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth")


def test_a_quote_follows_the_typing_and_is_kept(mill, desk_page, axe):
    # The press has no rate yet: the page says so, and nothing can be kept.
    desk_page.goto("/quotes/new/")
    desk_page.select_option("#id_colourway", str(mill.cloth.colourways.get().pk))
    desk_page.fill("#id_length_m", "60 m")
    desk_page.locator("#quoted", has_text="What the finishing step “press” costs is not stated").wait_for()
    assert desk_page.get_by_role("button", name="Keep this quote").count() == 0
    state(Rate.STEP, "0.40", of="press", basis="kg")
    desk_page.fill("#id_pieces", "3")
    desk_page.locator("#quoted", has_text="180 m together").wait_for()
    asked = desk_page.inner_text("#quoted dd strong")
    desk_page.select_option("#id_customer", label="Ostler")
    desk_page.get_by_role("button", name="Keep this quote").click()
    desk_page.wait_for_url("**/quotes/1/")
    axe(desk_page)
    kept = Quote.objects.get()
    assert (kept.pieces, kept.customer.name, kept.per_m) == (3, "Ostler", Decimal(asked))
    desk_page.get_by_role("link", name="Print it").click()
    desk_page.wait_for_url("**/print/")
    axe(desk_page)
    assert asked in desk_page.inner_text("article")
