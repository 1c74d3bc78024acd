import subprocess
import sys
import threading
from dataclasses import replace
from itertools import permutations, product

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from mill.refusal import Refusal
from planning import improve_kernel as k
from planning.improve import AWAY_FEW, PLAIN, Limit, improve, kernel
from planning.improve_book import write_book
from planning.shed_plan import Previous, Stability, first_plan, from_json, plan_file, time_plan
from tests.planning.mills import instance, modern_mills, orders_on_looms, small_mills, winding_mills
from tests.planning.plan_walker import accepted, walk
from tests.planning.public import unlike_machines, weighted_tardiness
from tests.planning.test_shed_plan import make_loom, make_shed, make_warp

unhurried = settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.too_slow])

NO_LIMIT = 2**62


class Floor:
    """The inner loop's three rows, run as plain Python."""

    def __init__(self, shed, sequences, *, seed=1):
        self.book = write_book(shed)
        self.rows = self.book.rows
        self.floor, self.tally = self.book.fresh_floor(), self.book.fresh_tally()
        self.tally[k.CHANCE] = seed
        self.book.put(self.floor, sequences)
        k.stand(self.rows, self.floor, self.tally)
        k.keep_best(self.rows, self.floor, self.tally)

    def __iter__(self):
        return iter((self.rows, self.floor, self.tally))

    def timed_afresh(self):
        """The cost of what is timed now, change and all, with nothing resumed or looked up."""
        floor, tally = list(self.floor), list(self.tally)
        for loom in range(self.rows[k.LOOMS]):
            floor[self.rows[k.TOUCHED] + loom] = 1
        return k.time_all(self.rows, floor, tally, NO_LIMIT, 0)


# The inner loop against the timing of plans


anything = st.one_of(modern_mills(), winding_mills())


@unhurried
@given(anything, st.data())
def test_the_inner_loop_and_the_timing_of_plans_agree_to_the_unit(mill, data):
    shed = from_json(mill)
    sequences = data.draw(orders_on_looms(shed))
    rows = {loom.id: tuple(sequences[loom.id]) for loom in shed.looms}
    floor = Floor(shed, rows)
    assert floor.tally[k.COST] == time_plan(shed, rows).cost.total
    assert floor.book.best(floor.floor) == rows


@unhurried
@given(anything, st.integers(1, 2**31))
def test_a_resumed_timing_costs_what_a_full_one_costs(mill, seed):
    shed = from_json(mill)
    floor = Floor(shed, first_plan(shed).sequences, seed=seed)
    if not floor.rows[k.LOOSE_COUNT]:
        return
    for n in range(60):
        if not k.propose(*floor):
            continue
        resumed = k.time_change(*floor, NO_LIMIT, 0)
        assert resumed == floor.timed_afresh()
        if n % 3 == 0:
            k.keep_change(*floor)
        k.put_back(floor.rows, floor.floor)
        assert floor.tally[k.COST] == floor.timed_afresh()


def test_a_timing_that_is_cut_short_is_above_the_limit():
    shed = from_json(instance("small-1"))
    floor = Floor(shed, first_plan(shed).sequences)
    for _ in range(300):
        if k.propose(*floor):
            cost = k.time_change(*floor, NO_LIMIT, 0)
            for limit in (cost - 1, cost, cost // 2):
                assert (k.time_change(*floor, limit, 0) <= limit) == (cost <= limit)
            k.put_back(floor.rows, floor.floor)


def test_a_warp_fitted_in_goes_where_no_place_is_guessed_to_be_cheaper():
    shed = from_json(instance("small-1"))
    first = first_plan(shed).sequences
    loose = next(w.id for w in shed.warps if w.in_progress is None and len(shed.looms_for[w.id]) > 1)
    floor = Floor(shed, {loom: tuple(w for w in row if w != loose) for loom, row in first.items()})
    k.fit_in(*floor, [warp.id for warp in shed.warps].index(loose))
    k.keep_best(*floor)
    rows = floor.book.best(floor.floor)
    assert sum(loose in row for row in rows.values()) == 1
    assert time_plan(shed, rows).cost.total == floor.tally[k.COST]


@pytest.mark.slow
@pytest.mark.parametrize("name", ["tiny-1", "small-1"])
def test_compiled_and_plain_take_the_same_steps(name):
    shed = from_json(instance(name))
    plain, first = Floor(shed, first_plan(shed).sequences), first_plan(shed)
    inner = kernel()
    assert inner.compiled
    rows, floor, tally = (
        inner.rows(values, kind) for values, kind in zip(plain, ("int32", "int32", "int64"), strict=True)
    )
    for step in range(12):
        temperature = first.cost.total / len(shed.warps) * 0.6**step
        for kern, own in ((PLAIN, tuple(plain)), (inner, (rows, floor, tally))):
            own[2][k.SLACK] = int(temperature)
            kern.anneal(*own, temperature, 150)
        assert floor.tolist() == plain.floor
        assert tally.tolist() == plain.tally
    assert tally[k.BEST_COST] < first.cost.total


# What the search finds


@unhurried
@given(anything, st.integers(0, 99))
def test_any_small_mill_gets_a_plan_that_walks_and_is_no_worse_than_the_first(mill, seed):
    shed = from_json(mill)
    found = improve(shed, seed=seed, limit=Limit(changes=3_000))
    accepted(mill, plan_file(found.plan), found.plan.cost)
    assert found.plan.cost.total <= found.first.cost.total
    assert found.plan.cost.broken_beams == 0


@unhurried
@given(small_mills(max_looms=2, max_warps=4, with_previous=False))
def test_no_order_of_warps_beats_a_plan_said_to_be_optimal(mill):
    shed = from_json(mill)
    found = improve(shed, seed=1, limit=Limit(changes=200_000))
    assert found.is_optimal
    ids = [warp.id for warp in shed.warps]
    for order in permutations(ids):
        for looms in product(*(shed.looms_for[warp_id] for warp_id in order)):
            rows = {loom.id: [w for w, on in zip(order, looms, strict=True) if on == loom.id] for loom in shed.looms}
            if any(shed.warp[w].in_progress and place for row in rows.values() for place, w in enumerate(row)):
                continue
            assert found.plan.cost.total <= time_plan(shed, rows).cost.total
            assert found.plan.cost.total <= time_plan(shed, rows, crew_order=order).cost.total


def test_a_proven_plan_may_serve_looms_out_of_turn():
    # Loom 1 asks first, but its piece has all the time in the world; loom 2's is due as soon as it can be off.
    looms = [make_loom("L1"), make_loom("L2")]
    calm = make_warp("calm", family="F2", only_looms=frozenset({"L1"}), due=60_000)
    urgent = make_warp("urgent", family="F2", only_looms=frozenset({"L2"}), due=0, weight=9, release=430)
    shed = make_shed(calm, urgent, looms=looms)
    in_turn = time_plan(shed, {"L1": ["calm"], "L2": ["urgent"]})
    found = improve(shed, seed=1, limit=Limit(changes=1_000))
    assert found.is_optimal
    assert found.plan.cost.total < in_turn.cost.total
    assert list(found.plan.crew_order) == ["urgent", "calm"]
    assert [p.warp for p in found.plan.tuner_visits] == ["urgent", "calm"]


def test_tiny_1_is_proven():
    # The same cost was proven by a constraint solver, another method altogether.
    mill = instance("tiny-1")
    found = improve(from_json(mill), seed=5, limit=Limit(changes=100_000))
    assert (found.plan.cost.total, found.is_optimal) == (1_235_314, True)
    assert walk(mill, plan_file(found.plan)).wrong == []


def test_a_dozen_loose_warps_or_more_are_never_said_to_be_optimal():
    found = improve(from_json(instance("small-1")), seed=1, limit=Limit(changes=400_000))
    assert not found.is_optimal
    assert found.plan.cost.total < 18_500_000 < found.first.cost.total


@pytest.mark.parametrize("number", [1, 2, 6, 22])
def test_published_optima_of_one_machine_are_found(number):
    shed, best = weighted_tardiness(number)
    assert improve(shed, seed=1, limit=Limit(changes=600_000)).plan.cost.total == best


def test_the_published_problem_of_unlike_machines_is_timed_by_its_own_rule():
    shed, best = unlike_machines()
    plan = improve(shed, seed=1, limit=Limit(changes=300_000)).plan
    minutes, late = shed.pair_times, 0
    for loom, row in plan.sequences.items():
        done, before = 0, None
        for job in row:
            done = (
                max(shed.warp[job].release, done + minutes.setup_min[loom, before, job]) + minutes.weave_min[loom, job]
            )
            late += shed.warp[job].pieces[0].weight * max(0, done - shed.warp[job].pieces[0].due)
            before = job
    assert plan.cost.total == late
    assert best < late < 1.25 * best


# The same again, and stopping


@pytest.mark.parametrize("threads", [1, 2])
def test_the_same_seed_and_changes_give_the_same_plan(threads):
    shed = from_json(instance("small-1"))
    one, other = (improve(shed, seed=7, limit=Limit(changes=60_000), threads=threads) for _ in range(2))
    assert one.plan.sequences == other.plan.sequences
    assert one.changes == other.changes
    assert 60_000 <= one.changes <= 60_000 + 2 * threads


def test_another_seed_takes_another_way():
    shed = from_json(instance("medium-1"))
    plans = [improve(shed, seed=seed, limit=Limit(changes=4_000)).plan.sequences for seed in (1, 2)]
    assert plans[0] != plans[1]


class Ticking:
    """A clock that goes on by a hundredth of a second each time it is looked at, from whatever thread."""

    def __init__(self):
        self.now, self.lock = 0.0, threading.Lock()

    def __call__(self):
        with self.lock:
            self.now += 0.01
            return self.now


def test_a_search_by_the_clock_ends_when_its_seconds_are_over():
    clock = Ticking()
    found = improve(from_json(instance("small-1")), seed=1, limit=Limit(seconds=5, clock=clock))
    assert 5 <= clock.now < 7
    assert found.plan.cost.total < found.first.cost.total
    assert not found.stopped


def test_a_search_told_to_stop_hands_over_its_best():
    shed = from_json(instance("medium-1"))
    told = []
    found = improve(shed, seed=1, limit=Limit(changes=10**10), progress=told.append, stop=lambda: len(told) >= 3)
    assert found.stopped
    assert found.changes < 10**9
    assert found.plan.cost.total <= told[-1].cost.total < found.first.cost.total
    assert [p.cost.total for p in told] == sorted((p.cost.total for p in told), reverse=True)
    assert all(0 <= p.share_done < 1 for p in told)


def test_whoever_is_told_may_fail_and_the_threads_are_called_back():
    def fails(progress):
        raise RuntimeError("no one listens")

    with pytest.raises(RuntimeError, match="no one listens"):
        improve(from_json(instance("medium-1")), seed=1, limit=Limit(changes=10**10), progress=fails)


def test_without_the_compiler_the_search_still_finds_a_better_plan(monkeypatch):
    monkeypatch.setitem(sys.modules, "numba", None)
    found = improve(from_json(instance("small-1")), seed=1, limit=Limit(changes=2_000))
    assert not found.compiled
    assert found.plan.cost.total < found.first.cost.total


def test_nothing_is_compiled_when_the_room_is_entered():
    code = "import planning.improve, sys; assert 'numba' not in sys.modules"
    subprocess.run([sys.executable, "-c", code], check=True)


def test_near_a_good_plan_most_warps_stay_on_their_loom():
    shed = from_json(instance("medium-1"))
    good = improve(shed, seed=1, limit=Limit(changes=400_000)).plan
    found = improve(shed, seed=2, limit=Limit(changes=1_500_000), start=good, near=True).plan
    assert found.cost.total < good.cost.total
    stay = sum(found.placements[warp.id].loom == good.placements[warp.id].loom for warp in shed.warps)
    assert stay > len(shed.warps) * 2 / 3


# A plan in force


def planned_again(seed=1, **changes):
    """small-1 with its improved plan in force, and what is different today."""
    shed = from_json(instance("small-1"))
    before = improve(shed, seed=seed, limit=Limit(changes=200_000)).plan
    return before, replace(
        shed,
        previous={p.warp: Previous(p.loom, p.start) for p in before.placements.values()},
        stability=Stability(tolerance=480, freeze_until=5_000, move_cost=200_000, move_cost_late=2_000),
        **changes,
    )


def test_a_plan_in_force_with_nothing_changed_stays_as_it_is():
    before, shed = planned_again()
    found = improve(shed, seed=1, limit=Limit(changes=100_000))
    assert found.first.sequences == before.sequences
    assert found.plan.cost.moved_frozen == 0
    assert found.plan.cost.total <= before.cost.total
    assert not found.is_optimal


def test_a_broken_loom_is_planned_around_with_few_moves():
    before, shed = planned_again()
    busiest = max(shed.looms, key=lambda loom: len(before.sequences[loom.id]))
    looms = [replace(m, closed=(*m.closed, (3_000, 9_000))) if m is busiest else m for m in shed.looms]
    broken = replace(shed, looms=tuple(looms))
    found = improve(broken, seed=1, limit=Limit(changes=200_000))
    shifted = first_plan(broken, "keep").cost
    assert found.first.sequences == before.sequences
    assert found.plan.cost.total < shifted.total
    frozen = [w for w, p in shed.previous.items() if p.start < 5_000 and p.loom != busiest.id]
    assert all(found.plan.placements[w].loom == shed.previous[w].loom for w in frozen)


def test_no_more_warps_change_loom_than_may_however_much_it_would_gain():
    shed = from_json(instance("small-1"))
    poor = first_plan(shed, "earliest_due_date")
    in_force = replace(shed, previous={p.warp: Previous(p.loom, p.start) for p in poor.placements.values()})

    def changed(plan):
        return sum(plan.placements[w].loom != was.loom for w, was in in_force.previous.items())

    assert changed(improve(in_force, seed=1, limit=Limit(changes=100_000), start=poor).plan) == AWAY_FEW
    assert changed(improve(shed, seed=1, limit=Limit(changes=100_000), start=poor).plan) > AWAY_FEW


# What can't be searched


def test_a_shed_with_nothing_to_move_is_optimal_as_it_is():
    found = improve(make_shed(make_warp(in_progress="L1")), seed=1, limit=Limit(changes=10))
    assert found.is_optimal
    assert improve(make_shed(), seed=1, limit=Limit(changes=10)).plan.placements == {}


def test_a_pin_that_cannot_hold_bends_the_search_no_more_than_it_must():
    shed = make_shed(
        make_warp("W1", minutes=3000, in_progress="L1"),
        make_warp("W2", pin_loom="L1", pin_start=2000),
        *(make_warp(f"W{j}", minutes=700 + j, due=100 * j) for j in range(3, 18)),
    )
    found = improve(shed, seed=1, limit=Limit(changes=20_000))
    assert found.plan.cost.broken_pins == 1
    assert found.plan.cost.tardiness < found.first.cost.tardiness


def test_more_looms_or_minutes_than_the_rows_can_count_are_refused():
    with pytest.raises(Refusal, match="plans up to 63 looms; this shed has 64"):
        improve(make_shed(make_warp(), looms=[make_loom(f"L{m}") for m in range(64)]), seed=1, limit=Limit(changes=1))
    with pytest.raises(Refusal, match="counts up to 33554430 minutes; this shed could need 40"):
        write_book(make_shed(make_warp(minutes=40_000_000)))
    with pytest.raises(Refusal, match="counts up to 2147483647; this shed holds the number 20000000000"):
        write_book(make_shed(make_warp(weight=10**9)))
