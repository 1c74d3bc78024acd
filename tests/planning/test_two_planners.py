"""Two planners at once, each on a connection of their own: one is told no, and nothing is made twice."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.db import connection
from django.utils import timezone

from inventory.services import check_invariants
from mill import jobs
from mill.refusal import Refusal
from planning.models import Loom, OrderLine, PlanRun, Warp, WarpPart
from planning.services import board, combine, lot_shares, orders, plans, rulings, warp_steps, warp_yarn, warps
from planning.services.standing import standing
from planning.services.warps import Share
from tests.make import make_beam, make_line, make_lot, make_order, make_spec, make_yarn
from tests.planning.busy_mill import make_busy_mill

pytestmark = pytest.mark.django_db(transaction=True)


def at_once(*acts: Callable[[], object]) -> list[str]:
    """What came of each, begun in the same moment: what it gave, or the sentence of its refusal."""
    ready = Barrier(len(acts))

    def run(act: Callable[[], object]) -> str:
        try:
            ready.wait(timeout=10)
            return str(act())
        except Refusal as refusal:
            return refusal.message
        finally:
            connection.close()

    with ThreadPoolExecutor(len(acts)) as planners:
        return list(planners.map(run, acts))


@pytest.fixture
def tweed():
    spec = make_spec(yarns={"A": make_yarn(code="MOSS"), "B": make_yarn(code="CREAM")})
    for n in range(4):
        make_beam(code=f"B{n}")
    return spec


def test_the_same_pieces_are_accepted_by_one_and_given_to_both(tweed, planner):
    line = make_line(spec=tweed)
    said = at_once(*[lambda: combine.accept([[(line.pk, 2)]], by=planner)] * 2)
    assert Warp.objects.count() == 1
    assert said[0] == said[1], "asked for the same, both get the warp that was made"


def test_of_two_who_want_a_lines_last_pieces_one_is_told_where_they_are(tweed, planner):
    line = make_line(spec=tweed, pieces=3)
    said = at_once(
        lambda: combine.accept([[(line.pk, 2)]], by=planner), lambda: combine.accept([[(line.pk, 3)]], by=planner)
    )
    assert sum(part.pieces for part in WarpPart.objects.all()) in (2, 3)
    assert sum("of its 3 pieces left" in one or "are on Warp" in one for one in said) == 1


def test_different_lines_get_warps_of_different_numbers(tweed, planner):
    lines = [make_line(spec=tweed) for _ in range(4)]
    at_once(*[lambda line=line: warps.make_warp([Share(line, 2)], by=planner) for line in lines])
    assert sorted(Warp.objects.values_list("number", flat=True)) == [1, 2, 3, 4]
    assert OrderLine.objects.not_on_a_warp().count() == 0


def test_a_warp_refused_by_one_while_another_makes_it_is_one_or_the_other(tweed, planner):
    parts = [(make_line(spec=tweed).pk, 2) for _ in range(2)]
    said = at_once(lambda: rulings.refuse(parts, by=planner), lambda: combine.accept([parts], by=planner))
    assert Warp.objects.exists() != any("are kept apart" in one for one in said)


@pytest.fixture
def shed(planner):
    make_busy_mill(looms=3, warps=9, cloths=2, starts=timezone.localdate(), planner=planner)


@pytest.mark.parametrize("is_first", [True, False])
def test_of_two_plans_put_in_force_at_once_one_counts_and_the_other_is_told(shed, planner, is_first):
    if not is_first:
        plans.put_in_force(plans.make_plan(rule="setups_first"), by=planner)
    one, other = plans.make_plan(), plans.make_plan(rule="setups_first")
    said = at_once(lambda: plans.put_in_force(one, by=planner), lambda: plans.put_in_force(other, by=planner))
    in_force = PlanRun.objects.get(state=PlanRun.IN_FORCE)
    (told,) = [text for text in said if "was put in force after that" in text]
    assert f"plan {in_force.pk} was put in force after that by {planner.get_full_name()}. " in told
    assert "Make a new plan, so that nothing of the other is lost." in told


def test_a_search_begun_before_another_plan_came_in_force_does_not_undo_it(shed, planner):
    plans.put_in_force(plans.make_plan(), by=planner)
    there = standing()
    searched = plans.by_rule(there, "setups_first")
    second = plans.put_in_force(plans.make_plan(rule="setups_first"), by=planner)
    # Written down later than the other came in force, and worked from what was before.
    found = plans.record_plan(there, searched, rule="improved", began=0.0)
    assert found.made_at > second.in_force_from
    with pytest.raises(Refusal, match=rf"plan {second.pk} was put in force after that.*Make a new plan"):
        plans.put_in_force(found, by=planner)


def test_whoever_drags_on_a_board_that_another_has_overtaken_is_told_what_is_different(shed, planner):
    seen = plans.put_in_force(plans.make_plan(), by=planner)
    slot = seen.slots.filter(warp__state=Warp.WOUND).order_by("-position").first()
    looms = list(Loom.objects.exclude(pk=slot.loom_id))
    mine = board.move(seen, slot.warp, loom=looms[0], by=planner)
    theirs = plans.put_in_force(board.move(seen, slot.warp, loom=looms[1], by=planner), by=planner)
    told = rf"plan {theirs.pk} was put in force after that.*{slot.warp} went from loom {slot.loom} to loom {looms[1]}"
    # On the board as it was, and on the copy that was made from it.
    seen.refresh_from_db()
    for run in (seen, mine):
        with pytest.raises(Refusal, match=told):
            board.move(run, slot.warp, loom=looms[0], by=planner)
    with pytest.raises(Refusal, match=told):
        plans.put_in_force(mine, by=planner)
    # On the board as it is now nothing is in the way.
    assert board.move(theirs, slot.warp, loom=looms[0], by=planner).base == theirs


def test_two_who_hold_yarn_for_a_warp_hold_it_once(tweed, planner):
    for entry in tweed.colourway_yarns.all():
        make_lot(yarn=entry.yarn, grams=200_000)
    warp = warps.make_warp([Share(make_line(spec=tweed), 2)], by=planner)
    jobs.settle()
    at_once(*[lambda: warp_yarn.hold_yarn(warp, by=planner)] * 3)
    assert warp.holds.count() == 4
    at_once(*[lambda: warp_steps.draw_yarn(warp, by=planner)] * 3)
    assert sum(hold.drawn_g for hold in warp.holds.all()) == sum(y.issue_g for y in warp.yarns.filter(use="warp"))
    check_invariants()


def test_two_warps_that_want_one_lot_share_it_or_one_is_told_no(tweed, planner):
    pair = [warps.make_warp([Share(make_line(spec=tweed), 2)], by=planner) for _ in range(2)]
    jobs.settle()
    for entry in tweed.colourway_yarns.all():
        needs = pair[0].yarns.filter(yarn=entry.yarn)
        make_lot(yarn=entry.yarn, grams=sum(need.issue_g for need in needs))
    said = at_once(*[lambda warp=warp: warp_yarn.hold_yarn(warp, by=planner) for warp in pair])
    assert sorted(warp.holds.count() for warp in pair) == [0, 4]
    assert sum("short" in one for one in said) == 1
    check_invariants()


def test_a_line_is_not_called_off_while_its_yarn_is_being_drawn(tweed, planner):
    for entry in tweed.colourway_yarns.all():
        make_lot(yarn=entry.yarn, grams=200_000)
    line = make_line(spec=tweed)
    warp = warps.make_warp([Share(line, 2)], by=planner)
    jobs.settle()
    warp_yarn.hold_yarn(warp, by=planner)
    at_once(
        lambda: warp_steps.draw_yarn(warp, by=planner),
        lambda: orders.call_off_line(line, by=planner),
    )
    line.refresh_from_db()
    assert (line.state, line.parts.count()) == (OrderLine.ON_A_WARP, 1)


def test_one_order_told_by_two_is_one(tweed, planner):
    draft = orders.draft_of(make_line(spec=tweed))
    head = make_order()
    placing = {"customer": head.customer, "placed_on": head.placed_on, "number": "N7", "lines": [draft]}
    said = at_once(*[lambda: orders.place_order(by=planner, **placing)] * 2)
    assert said == ["N7", "N7"]
    assert OrderLine.objects.filter(order__number="N7").count() == 1


def test_shares_that_two_hold_at_once_are_held_once(tweed, planner):
    for entry in tweed.colourway_yarns.all():
        make_lot(yarn=entry.yarn, grams=200_000)
    made = [warps.make_warp([Share(make_line(spec=tweed), 2)], by=planner) for _ in range(2)]
    jobs.settle()
    shares = [
        lot_shares.Share(line.waiting.key, tuple((take.lot.pk, take.grams, take.pieces) for take in line.choice.takes))
        for of_yarn in lot_shares.propose()
        for line in of_yarn.lines
    ]
    said = at_once(
        *[lambda: lot_shares.hold_shares(shares, by=planner)] * 2,
        lambda: lot_shares.hold_shares(shares[::-1], by=planner),
    )
    assert sorted(one.split("grams")[0] for one in said) == ["Held(lines=0, "] * 2 + ["Held(lines=8, "]
    assert [warp.holds.count() for warp in made] == [4, 4]
    check_invariants()


def test_of_two_who_hold_a_lots_last_grams_for_different_warps_one_is_told(tweed, planner):
    one, two = (warps.make_warp([Share(make_line(spec=tweed), 2)], by=planner) for _ in range(2))
    jobs.settle()
    need = one.yarns.get(use="warp", yarn__code="MOSS")
    lot = make_lot(yarn=need.yarn, grams=need.issue_g + 100)
    said = at_once(
        *[
            lambda warp=warp: lot_shares.hold_shares(
                [lot_shares.Share((warp.number, "warp", need.yarn_id), ((lot.pk, need.issue_g, ()),))], by=planner
            )
            for warp in (one, two)
        ]
    )
    assert sum("has 100 g free now" in sentence for sentence in said) == 1
    assert one.holds.count() + two.holds.count() == 1
    check_invariants()
