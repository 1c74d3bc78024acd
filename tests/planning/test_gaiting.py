from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mill.refusal import Refusal
from planning.gaiting import SetUp, SetUpRates, WarpFacts, set_up, set_up_min

D = Decimal
TWEED = WarpFacts("1", 1500, 24, (1, 2, 3, 4), D("42.3"), 2)
NEXT = replace(TWEED, warp="2")
RATES = SetUpRates(weft_change_min=20, tie_in_min=120, draw_in_ends_per_h=300, reed_change_min=45, gait_up_min=240)


@pytest.mark.parametrize(
    ("changes", "kind"),
    [
        ({"warp": "1"}, SetUp.WEFT_CHANGE),
        ({}, SetUp.TIE_IN),
        ({"selvedge_ends": 40}, SetUp.TIE_IN),
        ({"ground_ends": 1502}, SetUp.DRAW_IN),
        ({"threading": (1, 2, 3, 4, 3, 2)}, SetUp.DRAW_IN),
        ({"ends_per_dent": 3}, SetUp.DRAW_IN),
        ({"reed_dents_per_10cm": D(45)}, SetUp.GAIT_UP),
        ({"reed_dents_per_10cm": D("42.300")}, SetUp.TIE_IN),
    ],
)
def test_the_lightest_set_up_is_found(changes, kind):
    assert set_up(TWEED, replace(NEXT, **changes)) is kind


def test_without_the_old_thrums_there_is_nothing_to_tie_to():
    assert set_up(TWEED, NEXT, thrums_in_loom=False) is SetUp.DRAW_IN


def test_an_empty_loom_is_gaited_up():
    assert set_up(None, TWEED) is SetUp.GAIT_UP


def test_only_a_new_draft_or_reed_needs_a_tuner():
    assert [kind for kind in SetUp if kind.needs_tuner] == [SetUp.DRAW_IN, SetUp.GAIT_UP]


def test_minutes_follow_the_ends():
    # 120 + 1524 / 240 = 126.35; 240 + 1524 / 300 x 60 = 544.8; and 45 for the reed.
    assert [set_up_min(kind, ends=TWEED.ends, rates=RATES) for kind in SetUp] == [20, 127, 545, 590]


def test_even_minutes_are_not_rounded_up():
    assert set_up_min(SetUp.TIE_IN, ends=240, rates=RATES) == 121
    assert set_up_min(SetUp.DRAW_IN, ends=300, rates=RATES) == 300


@given(st.sampled_from(SetUp), st.integers(1, 9000), st.integers(1, 9000))
def test_more_ends_never_take_less_time(kind, a, b):
    few, many = sorted((a, b))
    assert set_up_min(kind, ends=few, rates=RATES) <= set_up_min(kind, ends=many, rates=RATES)


@given(st.integers(1, 9000))
def test_a_tie_in_is_always_shorter_than_a_draw_in(ends):
    assert set_up_min(SetUp.TIE_IN, ends=ends, rates=RATES) < set_up_min(SetUp.DRAW_IN, ends=ends, rates=RATES)


@pytest.mark.parametrize("changes", [{"knots_per_min": 0}, {"draw_in_ends_per_h": 0}])
def test_a_rate_of_nothing_is_refused(changes):
    with pytest.raises(Refusal, match="never come to an end"):
        replace(RATES, **changes)
