"""The desk itself: whatever room is open, the frame round it works in a real browser."""

import pytest

pytestmark = pytest.mark.browser


def test_the_first_page_breaks_no_rule_at_any_width(page, axe):
    page.goto("/")
    axe(page)
    wider_than_the_screen = page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
    assert not wider_than_the_screen
