"""The reckoner while somebody types."""

import pytest

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("address", ["/reckoner/", "/reckoner/sett/", "/reckoner/warping/?ends=-3&warp_length_m=5+kg"])
def test_a_page_breaks_no_rule_at_any_width(page, axe, address):
    page.goto(address)
    axe(page)
    assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth")


def test_the_answer_follows_the_typing_and_the_address_keeps_it(desk_page):
    desk_page.goto("/reckoner/take-up/")
    desk_page.get_by_label("Take-up").fill("8,5 %")
    desk_page.locator("#answer dd", has_text="9.29").wait_for()
    assert desk_page.url.endswith("/reckoner/take-up/?take_up_pct=8%2C5%20%25")
    assert desk_page.get_by_label("Take-up").input_value() == "8,5 %"
    desk_page.reload()
    assert "9.29" in desk_page.inner_text("#answer dl")


def test_a_wrong_input_is_marked_while_it_is_typed_and_cleared_when_it_is_right(desk_page):
    desk_page.goto("/reckoner/take-up/")
    field = desk_page.get_by_label("Take-up")
    field.fill("100 %")
    desk_page.locator("#id_take_up_pct_error", has_text="write less than 100 %").wait_for()
    assert "There is no answer yet" in desk_page.inner_text("#answer")
    assert field.input_value() == "100 %"
    field.fill("10 %")
    desk_page.locator("#answer dd", has_text="11.11").wait_for()
    assert desk_page.inner_text("#id_take_up_pct_error") == ""


def test_leaving_a_sum_asks_nothing_since_nothing_is_lost(desk_page):
    desk_page.on("dialog", lambda dialog: pytest.fail(dialog.message))
    desk_page.goto("/reckoner/take-up/")
    desk_page.get_by_label("Take-up").fill("9")
    desk_page.locator("#answer dd", has_text="9.89").wait_for()
    desk_page.get_by_role("main").get_by_role("link", name="Reckoner").click()
    desk_page.wait_for_url("**/reckoner/")
