from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mill.refusal import Refusal
from planning import loom
from planning.loom import LoomFacts, LoomNeeds

D = Decimal
RAPIER = LoomFacts("R2", 250, D(70), D(190), 16, False, 8, 800, tail_cm=D(9))
NEEDS = LoomNeeds(reed_width_cm=D(190), shafts=16, weft_colours=8, flange_mm=800)


def test_a_cloth_that_fills_the_loom_fits_it():
    assert loom.reasons_against(NEEDS, RAPIER) == []
    loom.check_loom(NEEDS, RAPIER)


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"reed_width_cm": D("190.1")}, "the reed space is 190 cm, the warp is 190.1 cm wide in the reed"),
        ({"shafts": 17}, "it has 16 shafts, the draft needs 17"),
        ({"weft_colours": 9}, "it takes 8 weft colours, the cloth has 9"),
        ({"flange_mm": 801}, "it takes flanges up to 800 mm, the beam's are 801 mm"),
    ],
)
def test_each_reason_has_both_numbers(changes, reason):
    assert loom.reasons_against(replace(NEEDS, **changes), RAPIER) == [reason]


def test_all_reasons_are_given_at_once():
    needs = LoomNeeds(reed_width_cm=D(250), shafts=20, weft_colours=12)
    with pytest.raises(Refusal) as refused:
        loom.check_loom(needs, RAPIER)
    assert refused.value.message.count(";") == 2
    assert refused.value.field == "loom"


def test_a_jacquard_lifts_what_shafts_would():
    needs = replace(NEEDS, shafts=40)
    assert loom.reasons_against(needs, replace(RAPIER, shafts=0, jacquard=True)) == []


def test_no_beam_named_is_no_reason():
    assert loom.reasons_against(replace(NEEDS, flange_mm=None), replace(RAPIER, max_flange_mm=1)) == []


def test_minutes_that_come_out_even_are_not_rounded_up():
    # 180 x 0.7 = 126 a minute; in floats 63 000 picks would take 501.
    assert loom.weaving_min(picks=63_000, ppm=180, efficiency_pct=D(70)) == 500
    assert loom.weaving_min(picks=63_001, ppm=180, efficiency_pct=D(70)) == 501


@given(st.integers(1, 10**7), st.integers(1, 800), st.decimals(1, 100, places=2))
def test_a_minute_less_would_not_do(picks, ppm, efficiency_pct):
    minutes = loom.weaving_min(picks=picks, ppm=ppm, efficiency_pct=efficiency_pct)
    a_minute = ppm * Fraction(efficiency_pct) / 100
    assert (minutes - 1) * a_minute < picks <= minutes * a_minute


@given(st.integers(1, 10**6), st.integers(1, 10**6))
def test_more_picks_never_take_less_time(a, b):
    few, many = sorted((a, b))
    assert loom.weaving_min(picks=few, ppm=220, efficiency_pct=D(70)) <= loom.weaving_min(
        picks=many, ppm=220, efficiency_pct=D(70)
    )


@given(st.integers(60, 600), st.decimals(1, 5000, places=1), st.decimals(40, 100, places=1))
def test_a_looms_own_output_gives_back_its_efficiency(ppm, minutes, efficiency_pct):
    woven_m = loom.woven_m(ppm=ppm, minutes=minutes, loom_picks_per_cm=D(12), efficiency_pct=efficiency_pct)
    back_pct = loom.running_efficiency_pct(picks=woven_m * 1200, ppm=ppm, minutes=minutes)
    assert round(back_pct, 9) == efficiency_pct


def test_a_loom_that_never_ran_has_no_efficiency():
    with pytest.raises(Refusal, match="ran 0 minutes"):
        loom.running_efficiency_pct(picks=D(0), ppm=200, minutes=D(0))


def test_a_loom_that_never_stops_is_at_a_hundred():
    assert loom.efficiency_pct_from_stops(ppm=180, lost_min_per_100k_picks=D(0)) == 100


@pytest.mark.parametrize(("looms", "pct"), [(1, "90.9"), (4, "88.3"), (8, "82.7")])
def test_looms_wait_for_a_busy_weaver(looms, pct):
    assert round(loom.interference_efficiency_pct(looms=looms, service_ratio=D("0.10")), 1) == D(pct)


@given(st.integers(1, 30), st.decimals(D("0.01"), 1, places=2))
def test_one_loom_more_never_makes_the_others_wait_less(looms, ratio):
    fewer, more = (loom.interference_efficiency_pct(looms=n, service_ratio=ratio) for n in (looms, looms + 1))
    assert 0 < more <= fewer <= 100


@pytest.mark.parametrize(("looms", "ratio"), [(0, D("0.1")), (4, D(0)), (4, D(-1))])
def test_interference_of_nothing_is_refused(looms, ratio):
    with pytest.raises(Refusal):
        loom.interference_efficiency_pct(looms=looms, service_ratio=ratio)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"ppm": 0}, "ppm"),
        ({"efficiency_pct": D(0)}, "efficiency_pct"),
        ({"efficiency_pct": D("100.1")}, "efficiency_pct"),
        ({"reed_space_cm": D(0)}, "reed_space_cm"),
        ({"tail_cm": D(-1)}, "tail_cm"),
    ],
)
def test_a_loom_that_cannot_be_is_refused(changes, field):
    with pytest.raises(Refusal) as refused:
        replace(RAPIER, **changes)
    assert refused.value.field == field
