"""The box that finds things, and the keys, as hands use them."""

import pytest
from playwright.sync_api import expect

from tests.make import make_lot

pytestmark = pytest.mark.browser


def test_the_box_the_list_and_the_keys_break_no_rule_at_any_width(page, axe):
    for n in range(3):
        make_lot(label=f"MOSS-{n}", dye_lot="D1")
    for address in ("/find/?q=moss", "/find/?q=nothing-such", "/keys/"):
        page.goto(address)
        axe(page)
        assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
    page.locator("#find").fill("moss")
    expect(page.locator("#found a")).to_have_count(3)
    expect(page.locator("#found-said")).to_have_text("3 found")
    axe(page)
    page.keyboard.press("Escape")
    expect(page.locator("#found a")).to_have_count(0)


def test_keys_lead_to_rooms_box_and_rows_but_never_out_of_a_field(desk_page):
    for n in range(3):
        make_lot(label=f"MOSS-{n}")
    page = desk_page
    page.goto("/")
    page.keyboard.press("g")
    page.keyboard.press("w")
    page.wait_for_url("**/warps/")
    page.keyboard.press("/")
    expect(page.locator("#find")).to_be_focused()
    page.keyboard.type("gjn?/")
    expect(page.locator("#find")).to_have_value("gjn?/")
    assert page.url.endswith("/warps/")
    page.locator("#find").fill("moss")
    page.keyboard.press("Enter")
    page.wait_for_url("**/find/?q=moss")
    page.keyboard.press("j")
    page.keyboard.press("j")
    second = page.locator(".hits a").nth(1)
    expect(second).to_be_focused()
    page.keyboard.press("k")
    expect(page.locator(".hits a").first).to_be_focused()
    page.keyboard.press("Enter")
    page.wait_for_url("**/lots/MOSS-*/")
    page.keyboard.press("?")
    page.wait_for_url("**/keys/")
    page.get_by_role("button", name="Turn the keys off").click()
    expect(page.get_by_text("The keys are off in this browser.").first).to_be_visible()
    page.keyboard.press("n")
    page.keyboard.press("/")
    expect(page.locator("#find")).not_to_be_focused()
    assert page.url.endswith("/keys/")
