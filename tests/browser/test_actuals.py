"""The page of what was woven, at every width."""

from datetime import timedelta
from decimal import Decimal

import pytest

from planning.services import floor
from tests.make import make_loom
from tests.planning.floor_walk import make_worker, wound_warp

pytestmark = pytest.mark.browser


@pytest.fixture
def woven(live_server, planner):
    warp = wound_warp(planner, loom=make_loom(code="7"))
    una = make_worker(name="Una Bell")
    for n, kind in enumerate(("gaited", "started", "piece off")):
        age = timedelta(hours=60 - 20 * n)
        floor.tell(warp, kind=kind, worker=una, key=str(n), by=planner, facts={"length_m": Decimal(60)}, age=age)
    return warp


def test_the_page_breaks_no_rule_at_any_width(page, axe, woven):
    page.goto("/woven/")
    axe(page)
    assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
