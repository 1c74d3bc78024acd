import json
from dataclasses import replace
from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from mill.refusal import Refusal
from planning.shed_plan import (
    BROKEN_PIN_COST,
    RULES,
    Beams,
    Hours,
    Loom,
    LoomState,
    PieceDue,
    Previous,
    SetupTimes,
    Shed,
    Stability,
    Tuners,
    Warp,
    Winding,
    Wound,
    first_plan,
    from_json,
    plan_file,
    time_plan,
    to_json,
    weekly_load,
    why_late,
    wound_first,
)
from planning.worktime import WEEK_MIN, read_week
from tests.planning.mills import instance, modern_mills, orders_on_looms, small_mills, winding_mills
from tests.planning.plan_walker import accepted, walk

unhurried = settings(deadline=None, max_examples=25, suppress_health_check=[HealthCheck.too_slow])

DAY_SHIFT = read_week("Mon-Fri 06:00-22:00")
TUNERS = read_week("Mon-Fri 07:00-12:00, 12:30-15:30")


def make_loom(name="L1", **changes):
    plain = {
        "width_cm": 200,
        "shafts": 16,
        "jacquard": False,
        "feeders": 4,
        "max_flange_mm": 800,
        "ppm": 100,
        "efficiency": Decimal("0.8"),
        "calendar": "day",
        "state": LoomState("F1", "R1"),
    }
    return Loom(id=name, **{**plain, **changes})


def make_warp(name="W1", *, minutes=100, due=10_000, weight=1, **changes):
    """A warp of one piece that takes `minutes` on a loom of 80 picks a minute."""
    plain = {
        "family": "F1",
        "reed": "R1",
        "width_cm": 180,
        "shafts": 8,
        "jacquard": False,
        "feeders": 2,
        "flange_mm": 700,
        "pieces": (PieceDue(80 * minutes, due, weight),),
        "release": 0,
        "tie_min": 60,
        "gait_min": 240,
    }
    return Warp(id=name, **{**plain, **changes})


def make_shed(*warps, looms=None, **changes):
    looms = [make_loom()] if looms is None else looms
    plain = {
        "name": "test shed",
        "horizon": 8 * WEEK_MIN,
        "calendars": {"day": Hours(DAY_SHIFT), "tuners": Hours(TUNERS)},
        "tuners": Tuners(1, "tuners"),
        "setup": SetupTimes(reed_change_min=30),
    }
    return Shed(looms=tuple(looms), warps=warps, **{**plain, **changes})


@unhurried
@given(modern_mills(), st.data())
def test_any_order_on_looms_is_timed_as_the_minutes_walk(mill, data):
    shed = from_json(mill)
    plan = time_plan(shed, data.draw(orders_on_looms(shed)))
    accepted(mill, plan_file(plan), plan.cost)


@unhurried
@given(winding_mills(), st.data())
def test_winding_and_beams_are_timed_as_the_minutes_walk(mill, data):
    shed = from_json(mill)
    plan = time_plan(shed, data.draw(orders_on_looms(shed)))
    accepted(mill, plan_file(plan), plan.cost)
    assert plan.cost.pins == BROKEN_PIN_COST * (plan.cost.broken_pins + plan.cost.broken_beams)


@unhurried
@given(winding_mills(), st.data())
def test_with_what_is_wound_at_the_front_every_warp_gets_a_beam(mill, data):
    shed = from_json(mill)
    plan = time_plan(shed, wound_first(shed, data.draw(orders_on_looms(shed))))
    assert plan.cost.broken_beams == 0
    accepted(mill, plan_file(plan), plan.cost)
    assert first_plan(shed).cost.broken_beams == 0


@unhurried
@given(modern_mills(), st.data())
def test_a_shed_with_nothing_to_wind_is_timed_to_the_unit_as_one_that_knows_of_no_winding(mill, data):
    shed = from_json(mill)
    rows = data.draw(orders_on_looms(shed))
    plan = time_plan(shed, rows)
    same = time_plan(replace(shed, winding=Winding(1, "day")), rows)
    assert same.placements == plan.placements
    assert same.cost == plan.cost


@unhurried
@given(winding_mills(), st.data())
def test_a_winding_tampered_with_is_found_out(mill, data):
    first = first_plan(from_json(mill))
    plan = plan_file(first)
    before = accepted(mill, plan, first.cost).wrong
    rows = [row for row in plan["warps"].values() if "wound_start" in row]
    if not rows:
        return
    row = data.draw(st.sampled_from(rows))
    how = data.draw(st.sampled_from(["earlier", "later", "end", "beam"]))
    if how == "beam":
        if "beam" not in row:
            return
        row["beam"] = "no such kind"
    elif how == "end":
        row["wound_end"] += data.draw(st.sampled_from([-1, 1]))
    else:
        row["wound_start"] += 1 if how == "later" else -1
    assert walk(mill, plan).wrong != before


def test_the_walk_counts_beams_and_warping_mills():
    # Two warps wound at once on two beams and two mills, 07:00 to 08:00; with one of either that can't be.
    looms = [make_loom("L1"), make_loom("L2")]
    winding = Winding(2, "tuners", (Beams("A", 2),), ahead_min=0)
    warps = [make_warp(f"W{n}", wind_min=60, beams=("A",), flange_mm=0) for n in (1, 2)]
    shed = make_shed(*warps, looms=looms, winding=winding)
    plan = plan_file(time_plan(shed, {"L1": ["W1"], "L2": ["W2"]}))
    assert [(row["wound_start"], row["wound_end"], row["beam"]) for row in plan["warps"].values()] == [
        (420, 480, "A")
    ] * 2
    assert walk(to_json(shed), plan).wrong == []
    few_beams = replace(shed, winding=replace(winding, beams=(Beams("A", 1),)))
    assert walk(to_json(few_beams), plan).wrong == ["2 beams of kind A are taken at once"]
    assert walk(to_json(replace(shed, winding=replace(winding, mills=1))), plan).wrong == ["2 warps are wound at once"]
    # With one beam the second waits until the first is woven out; the tie-in is 60 min, the weaving 100.
    plan = time_plan(few_beams, {"L1": ["W1"], "L2": ["W2"]})
    one, two = plan.placements["W1"], plan.placements["W2"]
    assert (one.winding, one.setup_start, one.end) == (Wound(0, 0, 420, 480), 480, 640)
    assert (two.winding, two.start) == (Wound(0, 640, 640, 700), 760)
    assert walk(to_json(few_beams), plan_file(plan)).wrong == []


def test_the_next_warp_is_wound_so_long_before_the_loom_is_free_and_not_before_the_one_before_it_weaves():
    winding = Winding(1, "tuners", (Beams("A", 3),), ahead_min=60)
    first = make_warp("W1", minutes=300, beams=("A",), flange_mm=0)
    second = make_warp("W2", wind_min=90, beams=("A",), flange_mm=0)
    rows = {"L1": ["W1", "W2"]}
    # W1 weaves 07:00 to 12:00. Wound by 11:00, 90 min before: 09:30.
    placed = time_plan(make_shed(first, second, winding=winding), rows).placements
    assert (placed["W1"].start, placed["W1"].end, placed["W2"].winding) == (420, 720, Wound(570, 570, 570, 660))
    early = make_shed(first, second, winding=replace(winding, ahead_min=9000))
    assert time_plan(early, rows).placements["W2"].winding == Wound(420, 420, 420, 510)


def test_a_warp_that_waits_for_a_beam_that_is_wound_behind_it_lacks_one_and_is_mended_by_the_first_plan():
    winding = Winding(1, "tuners", (Beams("A", 1),), ahead_min=0)
    wound = make_warp("W1", beams=("A",), flange_mm=0, due=60_000)
    waits = make_warp("W2", wind_min=60, beams=("A",), flange_mm=0, due=0)
    shed = make_shed(wound, waits, winding=winding)
    stuck = time_plan(shed, {"L1": ["W2", "W1"]})
    assert (stuck.cost.broken_beams, stuck.placements["W2"].beam) == (1, None)
    assert first_plan(shed).sequences["L1"] == ("W1", "W2")
    assert first_plan(shed).cost.broken_beams == 0


@unhurried
@given(small_mills(), st.data())
def test_a_plan_tampered_with_by_a_minute_is_found_out(mill, data):
    first = first_plan(from_json(mill))
    plan = plan_file(first)
    before = accepted(mill, plan, first.cost).wrong
    row = plan["warps"][data.draw(st.sampled_from(sorted(plan["warps"])))]
    row[data.draw(st.sampled_from(["setup_end", "start", "end"]))] += data.draw(st.sampled_from([-1, 1]))
    assert walk(mill, plan).wrong != before


@unhurried
@given(st.one_of(modern_mills(), winding_mills()), st.data())
def test_a_plan_of_other_warps_or_looms_or_of_a_mill_with_less_is_found_out(mill, data):
    first = first_plan(from_json(mill))
    plan = plan_file(first)
    before = accepted(mill, plan, first.cost).wrong
    name = data.draw(st.sampled_from(sorted(plan["warps"])))
    how = data.draw(
        st.sampled_from(["lost", "stranger", "no such loom", "later release", "all sooner", "shorter hours"])
    )
    if how == "lost":
        del plan["warps"][name]
    elif how == "stranger":
        plan["warps"]["W99"] = dict(plan["warps"][name])
    elif how == "no such loom":
        plan["warps"][name]["loom"] = "L99"
    elif how == "later release":
        next(warp for warp in mill["warps"] if warp["id"] == name)["release"] = plan["warps"][name]["setup_start"] + 1
    elif how == "all sooner":
        mill["warps"] = [
            {**warp, "pieces": [{**p, "picks": p["picks"] + 500} for p in warp["pieces"]]} for warp in mill["warps"]
        ]
    else:
        row = plan["warps"][name]
        mill["looms"] = [
            {**loom, "closed": [*loom["closed"], [row["start"], row["start"] + 1]]}
            if loom["id"] == row["loom"]
            else loom
            for loom in mill["looms"]
        ]
    assert walk(mill, plan).wrong != before


@unhurried
@given(small_mills())
def test_every_rule_gives_a_plan_and_best_is_the_best(mill):
    shed = from_json(mill)
    best = first_plan(shed).cost.total
    for rule in RULES:
        plan = first_plan(shed, rule)
        accepted(mill, plan_file(plan), plan.cost)
        if rule != "keep" or shed.previous:
            assert best <= plan.cost.total


@unhurried
@given(st.one_of(modern_mills(), winding_mills()))
def test_a_shed_goes_to_json_and_back(mill):
    shed = from_json(mill)
    assert from_json(json.loads(json.dumps(to_json(shed)))) == shed


@pytest.mark.parametrize("name", ["tiny-1", "tiny-2", "small-1", "medium-1"])
def test_the_kept_sheds_plan_and_write_back_the_same(name):
    shed = from_json(instance(name))
    assert from_json(to_json(shed)) == shed
    plan = first_plan(shed)
    assert accepted(instance(name), plan_file(plan), plan.cost).wrong == []


def test_a_tie_in_runs_in_the_looms_hours_and_a_gait_up_in_the_tuners():
    # Loom from 06:00, tuners from 07:00 and 12:30. 60 min tie-in, then 100 min weaving: 06:00 07:00 08:40.
    # Gait-up asked for at 08:40, 240 + 30 min: 200 to 12:00, 70 from 12:30 to 13:40; 100 min weaving to 15:20.
    shed = make_shed(make_warp("W1"), make_warp("W2", family="F2", reed="R2"))
    plan = time_plan(shed, {"L1": ["W1", "W2"]})
    one, two = plan.placements["W1"], plan.placements["W2"]
    assert (one.setup.kind, one.setup_start, one.start, one.end) == ("tie-in", 360, 420, 520)
    assert (two.setup.kind, two.setup_start, two.setup_end, two.end) == ("gait-up", 520, 820, 920)


def test_the_set_up_follows_from_what_was_in_the_loom():
    warp = make_warp(draw_in_min=180, weft_change_min=10, warp_group="G")
    shed = make_shed(warp)
    setups = [
        shed.setup_before(before, warp)
        for before in (
            LoomState("F1", "R1", "G"),
            LoomState("F1", "R1", "H"),
            LoomState("F9", "R1", None),
            LoomState("F9", "R9", None),
            LoomState(),
        )
    ]
    assert [(s.kind, s.minutes, s.needs_tuner) for s in setups] == [
        ("weft change", 10, False),
        ("tie-in", 60, False),
        ("draw-in", 180, True),
        ("gait-up", 270, True),
        ("gait-up", 270, True),
    ]


def test_one_tuner_serves_first_who_asked_first():
    # Both looms want a gait-up at once; L1 stands before L2 in the shed, so L2 waits 240 min: 07:00 11:00 15:30.
    looms = [make_loom("L1"), make_loom("L2")]
    shed = make_shed(make_warp("W1", family="F2"), make_warp("W2", family="F2"), looms=looms)
    plan = time_plan(shed, {"L1": ["W1"], "L2": ["W2"]})
    assert [(p.warp, p.setup_start, p.setup_end) for p in plan.tuner_visits] == [("W1", 420, 660), ("W2", 660, 930)]
    turned = time_plan(shed, {"L1": ["W1"], "L2": ["W2"]}, crew_order=["W2", "W1"])
    assert [(p.warp, p.setup_start) for p in turned.tuner_visits] == [("W2", 420), ("W1", 660)]
    two = time_plan(replace(shed, tuners=Tuners(2, "tuners")), {"L1": ["W1"], "L2": ["W2"]})
    assert [p.setup_start for p in two.tuner_visits] == [420, 420]


def test_a_set_up_under_way_goes_on_first_and_keeps_its_tuner():
    looms = [make_loom("L1"), make_loom("L2", free_at=500)]
    under_way = make_warp("W2", family="F2", in_progress="L2", setup_left_min=100)
    shed = make_shed(make_warp("W1", family="F2", release=400), under_way, looms=looms)
    plan = time_plan(shed, {"L1": ["W1"], "L2": ["W2"]})
    assert [(p.warp, p.setup_start, p.setup.minutes) for p in plan.tuner_visits] == [("W2", 500, 100), ("W1", 600, 240)]


def test_a_warp_in_progress_weaves_on_from_now():
    shed = make_shed(make_warp(in_progress="L1", family="F2"), looms=[make_loom(free_at=1000)])
    placed = time_plan(shed, {"L1": ["W1"]}).placements["W1"]
    assert (placed.setup.kind, placed.setup_start, placed.start, placed.end) == ("in loom", 1000, 1000, 1100)


def test_a_pin_holds_the_start_and_a_pin_that_cannot_hold_costs_more_than_any_lateness():
    pinned = make_warp("W2", pin_loom="L1", pin_start=2000)
    shed = make_shed(make_warp("W1"), pinned)
    held = time_plan(shed, {"L1": ["W1", "W2"]})
    assert held.placements["W2"].start == 2000
    assert held.cost.broken_pins == 0
    late = time_plan(make_shed(make_warp("W1", minutes=3000), pinned), {"L1": ["W1", "W2"]})
    assert late.cost.broken_pins == 1
    assert late.cost.total > 10**9
    assert list(first_plan(shed).sequences["L1"]) == ["W1", "W2"]
    assert list(first_plan(make_shed(make_warp("W1", minutes=3000), pinned)).sequences["L1"]) == ["W2", "W1"]


def test_moving_a_warp_of_the_plan_in_force_costs_more_inside_the_freeze():
    shed = make_shed(
        make_warp("W1"),
        make_warp("W2"),
        previous={"W1": Previous("L1", 420), "W2": Previous("L1", 3000), "gone": Previous("L1", 0)},
        stability=Stability(tolerance=60, freeze_until=1000, move_cost=7000, move_cost_late=50),
    )
    plan = time_plan(shed, {"L1": ["W1", "W2"]})
    assert (plan.cost.moved, plan.cost.moved_frozen, plan.cost.moves) == (1, 0, 50)
    turned = time_plan(shed, {"L1": ["W2", "W1"]})
    assert (turned.cost.moved, turned.cost.moved_frozen, turned.cost.moves) == (2, 1, 7050)


def test_keep_leaves_the_plan_in_force_and_fits_the_new_warp_in():
    looms = [make_loom("L1"), make_loom("L2")]
    warps = [make_warp(f"W{j}", family="F2", due=20_000) for j in range(4)]
    before = {"W0": Previous("L1", 900), "W1": Previous("L1", 700), "W2": Previous("L2", 700)}
    shed = make_shed(*warps, looms=looms, previous=before)
    rows = first_plan(shed, "keep").sequences
    assert [w for w in rows["L1"] if w != "W3"] == ["W1", "W0"]
    assert [w for w in rows["L2"] if w != "W3"] == ["W2"]
    assert "W3" in rows["L1"] + rows["L2"]


def test_why_a_warp_is_late_goes_back_to_the_minute_that_mattered():
    looms = [make_loom("L1"), make_loom("L2")]
    warps = [
        make_warp("W1", family="F2", release=480),
        make_warp("W2", family="F2"),
        make_warp("W3", family="F2", due=600),
    ]
    shed = make_shed(*warps, looms=looms)
    # W2 has the tuner 07:00-11:00; W1, there since 08:00, waits, is gaited 11:00-15:30, weaves to 17:10; W3 is tied.
    plan = time_plan(shed, {"L1": ["W1", "W3"], "L2": ["W2"]})
    chain = why_late(shed, plan, "W3")
    assert [(c.kind, c.warp, c.starts_at, c.stops_at) for c in chain] == [
        ("weaving", "W3", 1090, 1190),
        ("set-up", "W3", 1030, 1090),
        ("weaving", "W1", 930, 1030),
        ("set-up", "W1", 660, 930),
        ("tuner wait", "W1", 480, 660),
        ("release", "W1", 0, 480),
    ]
    assert chain[4].others == ("W2",)


@unhurried
@given(st.one_of(modern_mills(), winding_mills()), st.data())
def test_the_chain_of_causes_leaves_no_minute_out(mill, data):
    shed = from_json(mill)
    plan = time_plan(shed, data.draw(orders_on_looms(shed)))
    warp = data.draw(st.sampled_from(shed.warps)).id
    chain = why_late(shed, plan, warp)
    assert chain[0].stops_at == plan.placements[warp].end
    for later, earlier in pairwise(chain):
        assert earlier.stops_at == later.starts_at
    placed = plan.placements[chain[-1].warp]
    assert chain[-1].kind == "release" or chain[-1].starts_at in (placed.asked_at, placed.setup_start, placed.start)


@unhurried
@given(st.one_of(modern_mills(), winding_mills()))
def test_the_load_of_the_weeks_adds_up_to_the_plan(mill):
    shed = from_json(mill)
    plan = first_plan(shed)
    loads = weekly_load(shed, plan)
    weaving = sum(shed.weave_min(p.loom, p.warp) for p in plan.placements.values())
    assert sum(sum(load.loom_weaving_min.values()) for load in loads) == weaving
    assert sum(sum(load.loom_setup_min.values()) for load in loads) == plan.cost.setup_min
    assert sum(load.tuner_used_min for load in loads) == sum(p.setup.minutes for p in plan.tuner_visits)
    for load in loads:
        assert load.tuner_used_min <= load.tuner_open_min
        for loom in shed.looms:
            used = load.loom_weaving_min[loom.id]
            assert used <= load.loom_open_min[loom.id]


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ({"L1": ["W1"]}, "1 warp of 2 has no loom: W2"),
        ({"L1": ["W1", "W2", "W1"]}, "Warp W1 is planned twice"),
        ({"L1": ["W1", "W2"], "L9": []}, "uses loom L9, which is not in the shed"),
        ({"L1": ["W1", "W2", "W7"]}, "has warp W7 on loom L1, which is not in the book"),
        ({"L1": ["W2"], "L2": ["W1"]}, "W1 can't go on loom L2: it needs 180 cm in the reed; the loom has 150 cm"),
        ({"L1": ["W1", "W2"]}, "Warp W2 is in loom L1; nothing can be planned before it there"),
    ],
)
def test_a_plan_that_cannot_be_woven_is_refused(rows, says):
    second = make_warp("W2", in_progress="L1" if "before it" in says else None)
    shed = make_shed(make_warp("W1"), second, looms=[make_loom("L1"), make_loom("L2", width_cm=150)])
    with pytest.raises(Refusal) as refused:
        time_plan(shed, rows)
    assert says in refused.value.message


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"width_cm": 210}, "it needs 210 cm in the reed; the loom has 200 cm"),
        ({"shafts": 20}, "it needs 20 shafts; the loom has 16"),
        ({"jacquard": True}, "it needs a jacquard"),
        ({"feeders": 6}, "it needs 6 weft colours; the loom has 4"),
        ({"flange_mm": 900}, "flanges of 900 mm; the loom takes 800 mm"),
        ({"only_looms": frozenset({"L8"})}, "it is kept to looms L8"),
    ],
)
def test_a_warp_that_fits_no_loom_is_refused_with_the_reason(change, says):
    shed = make_shed(make_warp("W1", **change))
    with pytest.raises(Refusal) as refused:
        first_plan(shed)
    assert "Warp W1 fits no loom: loom L1: " in refused.value.message
    assert says in refused.value.message
    assert list(shed.without_loom()) == ["W1"]


def test_a_jacquard_takes_any_number_of_shafts():
    shed = make_shed(make_warp(shafts=24), looms=[make_loom(shafts=0, jacquard=True)])
    assert shed.looms_for["W1"] == ("L1",)


@pytest.mark.parametrize(
    ("build", "says"),
    [
        (lambda: make_shed(make_warp(), make_warp()), "Warp W1 is in the shed twice"),
        (lambda: make_shed(looms=[]), "There is no loom to plan"),
        (lambda: make_shed(looms=[make_loom(calendar="night")]), "The calendar night of loom L1 is not"),
        (lambda: make_shed(tuners=Tuners(1, "moon")), "The calendar moon of the tuners is not"),
        (lambda: Tuners(0, "tuners"), "There are 0 tuners"),
        (lambda: make_shed(make_warp(pin_loom="L7")), "to be on loom L7, which is not in the shed"),
        (lambda: make_warp(pin_start=400), "pinned to minute 400 but to no loom"),
        (lambda: make_shed(make_warp(pin_loom="L1", pin_start=100)), "pinned to start at minute 100, when loom L1"),
        (
            lambda: make_shed(make_warp("W1", in_progress="L1"), make_warp("W2", in_progress="L1")),
            "Warps W1 and W2 are both in loom L1",
        ),
        (lambda: make_warp(pieces=()), "Warp W1 has no pieces"),
        (lambda: make_warp(minutes=0), "A piece of 0 picks"),
        (lambda: make_warp(setup_left_min=5), "has 5 min of set-up left but is in no loom"),
        (lambda: make_loom(efficiency=Decimal("1.2")), "an efficiency of 1.2"),
        (lambda: make_loom(ppm=0), "weaves 0 picks a minute"),
        (lambda: make_shed(make_warp(wind_min=60)), "wants winding or a beam, and the shed has neither"),
        (
            lambda: make_shed(make_warp(beams=("B",)), winding=Winding(1, "day")),
            "a beam of kind B, which the mill does not",
        ),
        (lambda: make_shed(winding=Winding(1, "moon")), "The calendar moon of warping is not"),
        (lambda: Winding(0, "day"), "There are 0 warping mills"),
        (lambda: Winding(1, "day", ahead_min=-1), "wound -1 min ahead"),
        (lambda: Winding(1, "day", (Beams("A", 1), Beams("A", 2))), "Beam kind A is in the shed twice"),
        (lambda: Beams("A", 0), "There are 0 beams of kind A"),
        (lambda: make_warp(wind_min=0), "is wound in 0 min; the least is 1"),
        (lambda: make_warp(wind_min=5, in_progress="L1"), "is in loom L1 and still to be wound"),
        (lambda: make_warp(beams=("A", "B")), "is wound and on 2 kinds of beam"),
        (
            lambda: make_shed(
                make_warp("W1", beams=("A",)),
                make_warp("W2", beams=("A",)),
                winding=Winding(1, "day", (Beams("A", 1),)),
            ),
            "2 warps are on beams of kind A, and the mill has 1",
        ),
        (lambda: from_json({"format": "other"}), "in the format other"),
        (lambda: first_plan(make_shed(make_warp()), "wish"), "There is no rule wish"),
    ],
)
def test_nonsense_is_refused(build, says):
    with pytest.raises(Refusal) as refused:
        build()
    assert says in refused.value.message


def test_an_empty_shed_has_an_empty_plan_that_costs_nothing():
    plan = first_plan(make_shed())
    assert plan.cost.total == 0
    assert plan.placements == {}
    assert weekly_load(make_shed(), plan) == []
