"""Thirty looms and six hundred warps: the board opens, a warp is moved and a date is told while somebody waits."""

import time
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from planning.models import Colourway, Loom, Warp
from planning.services import board, plans
from planning.services.promise import promise
from tests.planning.busy_mill import make_busy_mill

pytestmark = [pytest.mark.slow, pytest.mark.django_db]


def best_of(times, act):
    """Seconds of the quickest of several runs: what the work takes, and not what else the machine is at."""
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        act()
        taken.append(time.perf_counter() - began)
    return min(taken)


# Far above what it takes, so that a busy machine is no failure and a wait without end is.
PATIENCE_S = 20


def said(what, seconds):
    print(f"\n{what}: {seconds:.2f} s with 30 looms and 600 warps")
    assert seconds < PATIENCE_S


@pytest.fixture
def mill(planner):
    make_busy_mill(looms=30, warps=600, starts=timezone.localdate(), planner=planner, days_between=0.25)
    return plans.put_in_force(plans.make_plan(), by=planner)


def test_the_full_board_opens_by_few_queries(desk, mill):
    with CaptureQueriesContext(connection) as queries:
        page = desk.get("/looms/board/?span=quarter").content.decode()
    assert page.count("data-warp=") == 600
    assert len(queries) < 40
    said("board", best_of(3, lambda: desk.get("/looms/board/?span=quarter")))
    said("table", best_of(3, lambda: desk.get("/looms/board/?view=table")))


def test_a_move_on_the_full_board_answers_while_the_hand_is_still_on_it(desk, mill):
    slot = mill.slots.exclude(warp__state=Warp.WEAVING).order_by("-position").first()
    loom = Loom.objects.exclude(pk=slot.loom_id).order_by("pk").first()
    said("move", best_of(2, lambda: board.move(mill, slot.warp, loom=loom)))


def test_a_date_is_told_while_it_is_typed_in_a_mill_five_times_the_example(mill):
    colourway = Colourway.objects.first()
    asked = {"colourway": colourway, "pieces": 2, "length_m": Decimal(60)}
    said("promise", best_of(2, lambda: promise(**asked)))
