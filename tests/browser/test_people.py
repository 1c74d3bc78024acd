"""People, roles and tokens in a real browser: no rule broken at any width."""

import pytest

pytestmark = pytest.mark.browser


@pytest.mark.parametrize(
    "address", ["/mill/people/", "/mill/people/new/", "/mill/roles/", "/mill/tokens/", "/mill/changes/", "/password/"]
)
def test_the_pages_break_no_rule_at_any_width(page, axe, address):
    page.goto(address)
    axe(page)
    assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
