"""The cloths' pages in a real browser: figures that follow the typing, pictures, and no rule broken at any width."""

from decimal import Decimal

import pytest
from playwright.sync_api import expect

from planning.models import ClothSpec
from tests.make import make_cloth, make_colourway, make_loom, make_spec, make_ticket, make_warp, make_yarn

pytestmark = pytest.mark.browser


@pytest.fixture
def spec(live_server) -> ClothSpec:
    yarns = {"A": make_yarn(code="MOS", name="Moss"), "B": make_yarn(code="OAT", name="Oatmeal")}
    make_yarn(code="PEA", name="Peat")
    spec = make_spec(cloth=make_cloth(code="HER7", name="Harrow"), yarns=yarns, selvedge_ends=24)
    make_colourway(spec=spec, name="Slate")
    make_ticket(make_warp(spec=spec, pin_loom=make_loom()))
    return spec


@pytest.mark.parametrize("address", ["/cloths/", "/cloths/HER7/", "/cloths/HER7/revise/", "/cloths/new/"])
def test_the_pages_break_no_rule_at_any_width(page, axe, spec, address):
    page.goto(address)
    axe(page)
    assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth")


def test_the_figures_follow_the_typing(desk_page, spec):
    desk_page.goto("/cloths/HER7/revise/")
    picks = desk_page.locator("#sum-finished_picks_per_cm output")
    expect(picks).to_contain_text("9")
    desk_page.get_by_label("Picks per cm").fill("24 picks/in")
    # 24 / 2.54 = 9.449 in the loom, / 0.94 = 10.05 finished
    expect(picks).to_contain_text("10.05")
    expect(desk_page.get_by_text("Picks in the loom: 8.46 → 9.449 per cm")).to_be_visible()
    expect(desk_page.get_by_text("1 ticket would be overtaken")).to_be_visible()
    assert spec.cloth.specs.count() == 1


def test_a_figure_opens_to_its_working_by_the_keyboard(desk_page, spec):
    desk_page.goto("/cloths/HER7/")
    summary = desk_page.locator("#sum-reed_width_cm summary")
    summary.focus()
    desk_page.keyboard.press("Enter")
    expect(desk_page.locator("#sum-reed_width_cm .worked")).to_contain_text("÷ 42.3 × 10 cm")


def test_a_new_letter_brings_its_row_without_taking_the_pen_out_of_the_hand(desk_page, spec):
    desk_page.goto("/cloths/HER7/revise/")
    order = desk_page.get_by_label("Warp order")
    order.fill("A24 B2 ")
    order.press_sequentially("C1", delay=20)
    cell = desk_page.get_by_label("Yarn at C, colourway 1")
    expect(cell).to_be_visible()
    expect(order).to_be_focused()
    assert order.input_value() == "A24 B2 C1"
    cell.fill("PEA")
    expect(desk_page.locator("#id_colourway-0-C_wrong")).to_contain_text("Peat")
    # The other colourway has none yet.
    expect(desk_page.locator("#id_colourway-1-C_wrong")).to_contain_text("has no yarn at C")


def test_what_is_wrong_is_said_beside_its_field_while_typing_and_goes_when_it_is_right(desk_page, spec):
    desk_page.goto("/cloths/HER7/revise/")
    width = desk_page.get_by_label("Finished width")
    width.fill("5 kg")
    said = desk_page.locator("#id_finished_width_cm_wrong")
    expect(said).to_contain_text("is a mass, and a width is wanted")
    width.fill("59 in")
    expect(said).to_be_empty()
    expect(desk_page.locator("#sum-made_width_cm output")).to_contain_text("15")


def test_a_usual_weave_is_written_in_and_can_then_be_changed(desk_page, spec):
    desk_page.goto("/cloths/HER7/revise/")
    desk_page.get_by_label("Weave (if any)").select_option("plain")
    threading = desk_page.get_by_label("Threading", exact=True)
    expect(threading).to_have_value("1 2")
    expect(desk_page.locator("#sum-shafts output")).to_have_text("2 shafts")
    threading.fill("1 2 1")
    expect(desk_page.locator("#sum-draft_ends output")).to_contain_text("3")
    assert threading.input_value() == "1 2 1"


def test_a_revision_is_written_from_the_browser(desk_page, spec):
    desk_page.goto("/cloths/HER7/revise/")
    desk_page.get_by_label("Picks per cm").fill("9")
    desk_page.get_by_role("button", name="Write revision 2").click()
    desk_page.wait_for_url("**/cloths/HER7/")
    expect(desk_page.get_by_role("main").get_by_role("status").first).to_contain_text("is now revision 2")
    assert spec.cloth.specs.get(revision=2).loom_picks_per_cm == Decimal("9.000")


def test_the_drawing_shows_the_cloths_colours(desk_page, spec):
    desk_page.goto("/cloths/HER7/")
    picture = desk_page.locator("figure svg").first
    expect(picture).to_be_visible()
    box = picture.bounding_box()
    assert box is not None
    assert box["width"] > 200
    assert box["height"] > 200
    drawn = picture.evaluate(
        "svg => [...new Set([...svg.querySelectorAll('use,path')].map(e => e.getAttribute('stroke')))]"
    )
    colours = {entry.yarn.colour for entry in spec.colourway_yarns.filter(colourway__cloth=spec.cloth)[:2]}
    assert colours <= set(drawn)
