"""The page of what pieces taught, at every width."""

import pytest

from tests.make import make_cloth, make_spec
from tests.planning.test_shrinkage import measured_pieces

pytestmark = pytest.mark.browser


@pytest.fixture
def learned(live_server, db):
    measured_pieces(make_spec(cloth=make_cloth(code="HER")), (8.1, 8.4, 7.9, 8.3, 8.0, 8.3, 8.2, 3.0, 8.1, 8.3))


def test_the_page_breaks_no_rule_at_any_width(page, axe, learned):
    page.goto("/cloths/HER/shrinkage/?pieces=2&length_m=60&chance_pct=95")
    axe(page)
    assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
