"""Why a plan is as it is: chains behind late warps, what would mend them, the weekly load, moves and what changed."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from django.db import transaction

from inventory import services as inventory
from mill import jobs
from mill.models import Mill
from planning.bars import Load, bars_svg
from planning.models import Closure, Loom, PlanRun, Warp
from planning.services import assuming, explaining, plans, working_out
from planning.services.standing import standing
from planning.shed_plan import time_plan, why_late
from tests.make import make_delivery, make_line, make_loom, make_spec, make_warp, make_yarn

pytestmark = pytest.mark.django_db
LONDON = ZoneInfo("Europe/London")
NOW = datetime(2026, 3, 2, 6, tzinfo=LONDON)  # a Monday


def worked(*warps):
    with transaction.atomic():
        working_out.warps_changed([warp.pk for warp in warps])
    jobs.settle()


@pytest.fixture
def yarn(planner):
    yarn = make_yarn()
    inventory.receive(yarn=yarn, grams=9_000_000, label="S1", dye_lot="D1", received_on=date(2026, 1, 5), by=planner)
    return yarn


def warp_of(spec, due_on, **changes):
    return make_warp(spec=spec, lines=[make_line(spec=spec, due_on=due_on)], **changes)


def chain_of(run, warp):
    (row,) = [row for row in run.explained["late"] if row["warp"] == str(warp.number)]
    return {link["kind"]: link["said"] for link in row["chain"]}, row


def test_a_warp_late_for_its_yarn_names_the_yarn_its_day_and_the_days_it_costs():
    make_loom(code="1")
    yarn = make_yarn()
    spec = make_spec(yarns={"A": yarn, "B": yarn})
    make_delivery(yarn=yarn, ordered_g=900_000, expected_on=date(2026, 3, 18))
    warp = warp_of(spec, date(2026, 4, 1))
    worked(warp)
    chain, row = chain_of(plans.make_plan(now=NOW), warp)
    assert f"warp yarn {yarn.code} for it comes Thu 19 Mar" in chain["yarn"]
    assert "It is wound Thu 19 Mar" in chain["warping"]
    assert "10 finishing days after the loom; promised Wed 1 Apr" in chain["finishing"]
    assert any("With its yarn here and the warp wound at once" in mend for mend in row["mend"])


def test_weft_that_is_here_before_the_warp_is_wound_comes_on_its_own_day(planner):
    """Wound on Mondays alone: of Thursday's weft it is said that it comes on Thursday, and not with the beam."""
    make_loom(code="1")
    warp_yarn, weft_yarn = make_yarn(), make_yarn()
    inventory.receive(yarn=warp_yarn, grams=900_000, label="S1", dye_lot="D1", by=planner)
    spec = make_spec(yarns={"A": warp_yarn, "B": weft_yarn}, warp_order="A4", weft_order="B4")
    make_delivery(yarn=weft_yarn, ordered_g=900_000, expected_on=date(2026, 3, 4))
    Mill.objects.update_or_create(pk=1, defaults={"warping_hours": "Mon 06:00-08:00"})
    warp = warp_of(spec, date(2026, 3, 20))
    worked(warp)
    assert {need.yarn for need in warp.yarns.filter(use="weft")} == {weft_yarn}
    chain, _row = chain_of(plans.make_plan(now=NOW), warp)
    assert f"weft yarn {weft_yarn.code} for it comes Thu 5 Mar" in chain["yarn"]
    assert "It is wound Mon 2 Mar" in chain["warping"]
    assert "to Mon 9 Mar" in chain["warping"]


def test_a_warp_behind_another_names_it_and_the_loom(yarn):
    make_loom(code="1")
    spec = make_spec(yarns={"A": yarn, "B": yarn})
    first, second = warp_of(spec, date(2026, 3, 16)), warp_of(spec, date(2026, 3, 17))
    worked(first, second)
    run = plans.make_plan(now=NOW)
    chain, row = chain_of(run, second)
    assert f"Loom 1 is busy with warp {first.number} until" in chain["loom"]
    assert any(mend.startswith("Put first on loom 1") and f"warp {first.number}" in mend for mend in row["mend"])


def test_a_warp_that_weaves_over_a_weekend_would_gain_by_a_saturday(yarn):
    make_loom(code="1")
    spec = make_spec(yarns={"A": yarn, "B": yarn})
    long = make_warp(spec=spec, lines=[make_line(spec=spec, pieces=20, due_on=date(2026, 3, 24))])
    worked(long)
    _, row = chain_of(plans.make_plan(now=NOW), long)
    assert any(mend.startswith("With a Saturday shift on loom 1") for mend in row["mend"])


def test_a_wait_for_a_tuner_says_where_the_tuners_are_and_one_more_would_mend_it(yarn):
    Mill.objects.create(tuners=1)
    for code in ("1", "2"):
        make_loom(code=code)
    one = make_spec(yarns={"A": yarn, "B": yarn})
    other = make_spec(yarns={"A": yarn, "B": yarn}, reed_dents_per_10cm=Decimal("50.000"))
    warps = [warp_of(spec, date(2026, 3, 17), state=Warp.WOUND) for spec in (one, other)]
    worked(*warps)
    run = plans.make_plan(now=NOW)
    waits = max(run.slots.all(), key=lambda slot: slot.setup_starts_at).warp
    served = next(warp for warp in warps if warp != waits)
    chain, row = chain_of(run, waits)
    assert f"for a tuner, who is at warp {served.number}" in chain["tuner"]
    assert any("With one tuner more" in mend for mend in row["mend"])


def test_every_mend_is_what_an_exact_timing_says(yarn):
    make_loom(code="1")
    spec = make_spec(yarns={"A": yarn, "B": yarn})
    warps = [warp_of(spec, date(2026, 3, 14) + timedelta(n)) for n in range(3)]
    worked(*warps)
    there = standing(now=NOW)
    plan = plans.carried_on(there)
    last = plan.sequences["1"][-1]
    (row,) = [row for row in explaining.late_warps(there, plan) if row["warp"] == last]
    said = next(mend for mend in row["mend"] if mend.startswith("Put first"))
    order = (last, *(code for code in plan.sequences["1"] if code != last))
    end = there.day_of(time_plan(there.shed, {"1": order}).placements[last].end)
    assert f"{explaining.day_name(end.date())} {end:%H:%M}" in said


def test_the_chain_s_minutes_cover_what_the_timing_says_it_waits(yarn):
    make_loom(code="1")
    spec = make_spec(yarns={"A": yarn, "B": yarn})
    warps = [warp_of(spec, date(2026, 3, 17)) for _ in range(3)]
    worked(*warps)
    there = standing(now=NOW)
    plan = plans.carried_on(there)
    last = plan.sequences["1"][-1]
    links = why_late(there.shed, plan, last)
    (row,) = [row for row in explaining.late_warps(there, plan) if row["warp"] == last]
    before = [link for link in links if link.warp != last and link.kind != "release"]
    said = {link["kind"]: link["minutes"] for link in row["chain"]}
    assert said["loom"] == max(link.stops_at for link in before) - min(link.starts_at for link in before)


# The weekly load


def test_the_load_of_all_weeks_is_the_minutes_of_the_plan(yarn):
    for code in ("1", "2"):
        make_loom(code=code)
    spec = make_spec(yarns={"A": yarn, "B": yarn})
    warps = [warp_of(spec, date(2026, 6, 1)) for _ in range(5)]
    worked(*warps)
    there = standing(now=NOW)
    plan = plans.carried_on(there)
    load = explaining.weekly_load(there, plan)
    placed = plan.placements.values()
    assert sum(row["looms_weaving"] for row in load) == sum(there.shed.weave_min(p.loom, p.warp) for p in placed)
    assert sum(row["tuners_taken"] for row in load) == sum(p.setup.minutes for p in placed if p.setup.needs_tuner)
    assert sum(row["warping_taken"] for row in load) == sum(warp.worked.warping_min for warp in there.warps.values())
    # Two looms, five days of 16 hours from a Monday at six.
    assert load[0]["looms_open"] == 2 * 5 * 16 * 60


def row_of(looms, tuners, warping):
    opened = {"looms_open": 1000, "tuners_open": 1000, "warping_open": 1000}
    return {"week": "2026-03-02", "looms_weaving": looms, "looms_setup": 0, **opened} | {
        "tuners_taken": tuners,
        "warping_taken": warping,
    }


def test_the_bottleneck_is_named_with_its_share_and_the_others():
    told = explaining.bottleneck([row_of(710, 400, 970)] * 4, [])
    assert told["said"].startswith("Warping is the bottleneck: over the next 4 weeks 97 %")
    assert "looms 71 %, tuners 40 %" in told["said"]
    told = explaining.bottleneck([row_of(300, 200, 100)], [])
    assert told["said"].startswith("No hours are short: this week looms are the fullest with 30 %")


def test_what_late_warps_wait_for_is_named_and_whether_the_looms_can_help():
    late = [{"chain": [{"kind": "yarn", "minutes": 9000, "said": ""}, {"kind": "loom", "minutes": 100, "said": ""}]}]
    told = explaining.bottleneck([row_of(900, 0, 0)], late)
    assert "wait longest for yarn. A better order on the looms can't mend that." in told["said"]


def test_a_week_without_hours_is_drawn_as_closed():
    svg = bars_svg(
        [Load("Mon 2 Mar", 0, (("weaving", 0),)), Load("Mon 9 Mar", 100, (("weaving", 150),))], label="Looms"
    )
    assert "closed" in svg
    assert "150 %" in svg


# Side by side, and moves


def test_the_plan_stands_beside_the_plan_in_force_and_the_paper_rule(desk, yarn, planner):
    make_loom(code="1")
    spec = make_spec(yarns={"A": yarn, "B": yarn})
    worked(warp_of(spec, date(2026, 6, 1)))
    first = plans.make_plan(rule="best")
    assert [row["name"] for row in first.explained["beside"]] == [plans.PAPER_RULE]
    plans.put_in_force(first, by=planner)
    second = plans.make_plan(rule="best")
    assert [row["name"] for row in second.explained["beside"]] == [plans.CARRIED_ON, plans.PAPER_RULE]
    page = desk.get(f"/looms/plans/{second.pk}/").content.decode()
    assert "The plan in force, carried on" in page
    assert "All together" in page
    assert "What it asks of the mill, week by week" in page


def test_only_what_changes_loom_or_turn_is_a_move_and_its_gain_is_exact(yarn):
    for code in ("1", "2"):
        make_loom(code=code)
    spec = make_spec(yarns={"A": yarn, "B": yarn})
    worked(*[warp_of(spec, date(2026, 3, 18) + timedelta(n), state=Warp.WOUND) for n in range(4)])
    there = standing(now=NOW)
    codes = sorted(there.warps, key=int)
    old = time_plan(there.shed, {"1": codes})
    new = time_plan(there.shed, {"1": [codes[0], codes[2]], "2": [codes[3], codes[1]]})
    moves = explaining.moves(there, old, new, weighed=9)
    assert sorted(move["warp"] for move in moves) == sorted([codes[1], codes[3]])
    back = time_plan(there.shed, {"1": [codes[0], codes[1], codes[2]], "2": [codes[3]]})
    (move,) = [move for move in moves if move["warp"] == codes[1]]
    assert move["gain"]["weighted_tardy_min"] == back.cost.weighted_tardy_min - new.cost.weighted_tardy_min
    assert (move["from_loom"], move["to_loom"]) == ("1", "2")
    unweighed = explaining.moves(there, old, new, weighed=0)
    assert all(move["gain"] is None and not move["must"] for move in unweighed)


def test_a_warp_on_a_held_loom_is_moved_from_there(yarn, planner):
    for code in ("1", "2"):
        make_loom(code=code)
    spec = make_spec(yarns={"A": yarn, "B": yarn})
    worked(*[warp_of(spec, date(2026, 6, day)) for day in range(1, 5)])
    run = plans.put_in_force(plans.make_plan(now=NOW), by=planner)
    on_it = {str(slot.warp.number) for slot in run.slots.filter(loom__code="1").select_related("warp")}
    Loom.objects.filter(code="1").update(is_held=True, held_reason="a broken shaft")
    there = standing(now=NOW, few_moves=True)
    new = plans.by_rule(there, "earliest_due_date")
    moves = explaining.moves(there, plans.left_as_it_is(there), new, weighed=9)
    gone = {move["warp"]: (move["from_loom"], move["to_loom"], move["must"]) for move in moves if move["warp"] in on_it}
    assert gone == dict.fromkeys(on_it, ("1", "2", True))


def test_a_swap_on_one_loom_is_one_move_not_two(yarn):
    make_loom(code="1")
    spec = make_spec(yarns={"A": yarn, "B": yarn})
    worked(*[warp_of(spec, date(2026, 6, 1)) for _ in range(3)])
    there = standing(now=NOW)
    a, b, c = sorted(there.warps, key=int)
    old, new = time_plan(there.shed, {"1": [a, b, c]}), time_plan(there.shed, {"1": [b, c, a]})
    assert explaining.moved_warps(old, new) == [a]


# What has changed since, and two planners


def test_a_plan_says_what_it_does_not_know_of(desk, yarn):
    make_loom(code="1")
    spec = make_spec(yarns={"A": yarn, "B": yarn})
    first, second = warp_of(spec, date(2026, 6, 1)), warp_of(spec, date(2026, 6, 8))
    worked(first, second)
    run = plans.make_plan(now=NOW)
    assert explaining.changes_since(run, standing(now=NOW + timedelta(minutes=20))) == []
    assert standing(now=NOW).fingerprint == standing(now=NOW + timedelta(days=8)).fingerprint == run.fingerprint
    third = warp_of(spec, date(2026, 6, 15))
    worked(third)
    line = first.parts.get().line
    line.due_on = date(2026, 5, 1)
    line.save()
    Warp.objects.filter(pk=second.pk).update(state=Warp.WOVEN_OUT)
    Loom.objects.update(ppm=100)
    Closure.objects.create(name="Fair", starts_at=NOW, stops_at=NOW + timedelta(days=1))
    assert explaining.changes_since(run, standing(now=NOW)) == sorted(
        [
            f"warp {third.number} is new",
            f"warp {second.number} is gone",
            f"warp {first.number} has changed",
            "loom 1 has changed",
            "the closures have changed",
        ]
    )
    page = desk.get(f"/looms/plans/{run.pk}/").content.decode()
    assert f"warp {third.number} is new" in page


def test_what_a_plan_only_thinks_of_is_nothing_that_it_does_not_know_of(desk, yarn):
    loom = make_loom(code="1")
    spec = make_spec(yarns={"A": yarn, "B": yarn})
    worked(warp_of(spec, date(2026, 6, 1)))
    kept = assuming.loom_stands(loom, why="a broken shaft", starts_at=NOW, stops_at=NOW + timedelta(days=2))
    there = standing(now=NOW, assumed=assuming.read(kept))
    plan = plans.by_rule(there, "earliest_due_date")
    run = plans.record_plan(there, plan, rule="improved", began=0.0, more={"assumes": kept})
    page = desk.get(f"/looms/plans/{run.pk}/").content.decode()
    assert "It takes loom 1 to stand (a broken shaft)" in page
    assert "Since it was made" not in page
    Loom.objects.filter(pk=loom.pk).update(code="1A")
    Closure.objects.create(name="Fair", starts_at=NOW, stops_at=NOW + timedelta(days=1))
    assert "the closures have changed" in desk.get(f"/looms/plans/{run.pk}/").content.decode()


def test_the_second_planner_is_told_which_warps_the_first_has_moved(yarn, planner):
    from mill.refusal import Refusal

    for code in ("1", "2"):
        make_loom(code=code)
    spec = make_spec(yarns={"A": yarn, "B": yarn})
    warp = warp_of(spec, date(2026, 6, 1))
    worked(warp)
    plans.pin_warp(warp, by=None, loom=Loom.objects.get(code="1"))
    plans.put_in_force(plans.make_plan(now=NOW), by=planner)
    mine = plans.make_plan(now=NOW)
    plans.pin_warp(warp, by=None, loom=Loom.objects.get(code="2"))
    plans.put_in_force(plans.make_plan(now=NOW), by=planner)
    with pytest.raises(Refusal, match=f"by Planner. There Warp {warp.number} went from loom 1 to loom 2"):
        plans.put_in_force(mine, by=planner)
    assert PlanRun.objects.get(pk=mine.pk).state == PlanRun.OFFERED


def test_the_share_of_released_yarn_never_delays_a_warp_that_has_its_own(yarn):
    make_loom(code="1")
    late_yarn = make_yarn()
    make_delivery(yarn=late_yarn, ordered_g=900_000, expected_on=date(2026, 3, 18))
    waits = warp_of(make_spec(yarns={"A": late_yarn, "B": late_yarn}), date(2026, 4, 1))
    ready = warp_of(make_spec(yarns={"A": yarn, "B": yarn}), date(2026, 6, 1))
    worked(waits, ready)
    there = standing(now=NOW)
    # Wound first though it is due later: the warping mill does not stand idle for the other's yarn.
    assert there.winding[str(ready.number)][0] == there.now_min
    assert there.winding[str(waits.number)][0] > there.winding[str(ready.number)][1]
    again = replace(there, order=()).wound_in(there.order)
    assert again.shed == there.shed
