"""Which promised delivery ends a shortage, and what to order when none does."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.cure import Promised, cures, to_order
from inventory.draw import Choice, Lot, Need, choose
from inventory.shelf import Want

MONDAY = date(2026, 11, 23)
YARN = 7


def lot(label, dye_lot, free_g):
    return Lot(label, YARN, dye_lot, free_g, MONDAY)


def warp(name, grams, *, on=0, **changes):
    return Want(Need(YARN, grams, "warp", f"Warp {name}"), f"Warp {name}", MONDAY + timedelta(on), **changes)


def weft(name, *pieces_g, on=0, **changes):
    need = Need(YARN, sum(pieces_g), "weft", f"Warp {name}, weft", pieces_g)
    return Want(need, f"the weft of Warp {name}", MONDAY + timedelta(on), **changes)


def promised(number, grams, *, on, dye_lot="", yarn=YARN):
    return Promised(number, yarn, grams, MONDAY + timedelta(on), dye_lot)


def cured(wants, left, coming, *, useful_g=3000):
    found = cures(wants, left, coming, useful_g=useful_g, today=MONDAY)
    return {want.name: ([one.number for one in cure.deliveries], cure.late_days) for want, cure in found.items()}


def test_a_warp_waits_for_the_first_delivery_that_holds_all_of_it():
    coming = [promised("E3", 30_000, on=9), promised("E1", 8000, on=2), promised("E2", 12_000, on=4)]
    assert cured([warp(119, 10_000, on=6)], [lot("A12", "881", 4000)], coming) == {"Warp 119": (["E2"], 0)}


def test_a_delivery_of_a_dye_lot_that_is_there_already_adds_to_it():
    left, coming = [lot("A12", "881", 4000)], [promised("E1", 6000, on=3, dye_lot="881")]
    assert cured([warp(119, 10_000)], left, coming) == {"Warp 119": (["E1"], 3)}
    assert cured([warp(119, 10_001)], left, coming) == {}


def test_a_warp_that_is_begun_is_cured_by_its_own_dye_lot_alone():
    left = [lot("A12", "881", 4000)]
    want = warp(119, 10_000, only="881")
    assert cured([want], left, [promised("E1", 90_000, on=3)]) == {}
    assert cured([want], left, [promised("E1", 90_000, on=3, dye_lot="881")]) == {"Warp 119": (["E1"], 3)}


def test_what_should_have_come_comes_today_at_the_soonest():
    """Wanted on Friday and promised for the Wednesday before, it is not in time on Monday."""
    assert cured([warp(119, 10_000, on=-3)], [], [promised("E1", 20_000, on=-5)]) == {"Warp 119": (["E1"], 3)}
    assert cured([warp(119, 10_000, on=2)], [], [promised("E1", 20_000, on=-5)]) == {"Warp 119": (["E1"], 0)}


def test_what_a_delivery_brings_is_promised_once_and_to_the_first_wanted():
    wants = [warp(121, 9000, on=2), warp(119, 9000, on=1)]
    assert cured(wants, [], [promised("E1", 10_000, on=1)]) == {"Warp 119": (["E1"], 0)}
    assert cured(wants, [], [promised("E1", 18_000, on=1)]) == {"Warp 119": (["E1"], 0), "Warp 121": (["E1"], 0)}


def test_a_weft_may_wait_for_two_deliveries_and_is_late_with_the_last():
    coming = [promised("E1", 2500, on=2), promised("E2", 2500, on=5), promised("E9", 2500, on=1, yarn=8)]
    assert cured([weft(119, 2000, 2000, 2000, on=3)], [lot("A12", "881", 2100)], coming) == {
        "the weft of Warp 119": (["E1", "E2"], 2)
    }


@given(
    st.lists(st.integers(1, 12), min_size=1, max_size=3),
    st.lists(st.integers(1, 12), max_size=3),
    st.lists(st.tuples(st.integers(1, 15), st.integers(0, 9)), max_size=4),
)
def test_a_cure_is_the_earliest_and_without_it_the_need_stays_short(pieces_g, stock, deliveries):
    want = weft(1, *pieces_g)
    left = [lot(f"L{n}", f"D{n}", grams) for n, grams in enumerate(stock)]
    coming = [promised(f"E{n}", grams, on=on) for n, (grams, on) in enumerate(deliveries)]
    found = cures([want], left, coming, useful_g=0, today=MONDAY).get(want)

    def is_met(by):
        return choose(want.need, [*left, *(one.as_lot for one in coming if one.on < by)], useful_g=0).is_met

    if is_met(MONDAY):
        assert found is None, "it was not short"
    elif found is None:
        assert not is_met(date.max)
    else:
        assert is_met(found.on + timedelta(1))
        assert not is_met(found.on)
        assert found.late_days == (found.on - MONDAY).days


def test_what_to_order_is_a_whole_dye_lot_for_a_warp_and_the_rest_for_a_weft():
    facts = {"today": MONDAY, "lead_time_days": 28, "min_order_g": 0}
    short = Choice(warp(1, 10_000).need, (), "", short_g=2000)
    ordered = to_order(warp(1, 10_000, on=30), short, **facts)
    assert (ordered.grams, ordered.is_one_dye_lot, ordered.late_days) == (10_000, True, 0)
    assert ordered.comes_on == MONDAY + timedelta(28)
    ordered = to_order(weft(1, 5000, 5000, on=7), replace(short, need=weft(1, 5000, 5000).need), **facts)
    assert (ordered.grams, ordered.is_one_dye_lot, ordered.late_days) == (2000, False, 21)
    assert to_order(warp(1, 10_000), short, **(facts | {"min_order_g": 25_000})).grams == 25_000
    assert to_order(warp(1, 10_000), short, **(facts | {"lead_time_days": None})).late_days is None
    assert to_order(warp(1, 10_000, only="881"), short, **facts) is None, "a new dye lot is no cure"


@pytest.mark.parametrize("grams", [0, 5])
def test_what_has_come_in_full_cures_nothing(grams):
    assert cured([warp(1, 6)], [], [promised("E1", grams, on=0)]) == {}
