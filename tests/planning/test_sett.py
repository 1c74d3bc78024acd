"""How tight a cloth may be, and reeds by any name."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.models import Yarn
from inventory.yarn import read_count
from mill.refusal import Refusal
from planning import sett
from planning.sett import REED_SYSTEMS, SETTING_RULES

D = Decimal

ASHENHURST = SETTING_RULES["ashenhurst"]

setts = st.integers(1, 100_000).map(lambda thousandths: D(thousandths) / 1000)
counts_tex = st.integers(1, 2_000_000).map(lambda thousandths: D(thousandths) / 1000)


# --- diameters and the greatest sett -------------------------------------------------------------------------------


def test_a_twofold_48_worsted_set_by_hand():
    # 2/48 worsted is 24s whole: 24 x 560 = 13 440 yd/lb, root 115.93; x 0.9 = 104.34 an inch, / 2.54 = 41.08 a cm.
    # 2/2 twill: 4 ends, 2 intersections: 41.08 x 4/6 = 27.39; three quarters of it 20.54.
    diameters = sett.diameters_per_cm(read_count("2/48 nw").count_tex, rule=ASHENHURST)
    most = sett.max_sett_per_cm(diameters, threads=4, intersections=2)
    assert diameters.quantize(D("0.01")) == D("41.08")
    assert most.quantize(D("0.01")) == D("27.39")
    assert sett.working_sett_per_cm(most).quantize(D("0.01")) == D("20.54")


def test_woollen_is_set_more_openly_than_worsted_of_the_same_count():
    # 0.84 / 0.90 = 14/15
    woollen = sett.diameters_per_cm(D(120), rule=sett.RULE_OF_SPINNING["woollen"])
    worsted = sett.diameters_per_cm(D(120), rule=sett.RULE_OF_SPINNING["worsted"])
    assert (woollen * 15 / 14).quantize(D("1e-20")) == worsted.quantize(D("1e-20"))


def test_every_spinning_of_a_yarn_has_a_rule():
    assert set(sett.RULE_OF_SPINNING) == {key for key, _ in Yarn.SPINNINGS}


def test_a_thick_weft_opens_the_ends():
    # Plain, ends of 20 diameters a cm and picks of 10: 2 ends take 2/20, 2 passing picks 2/10 cm: 2/0.3 = 6.67.
    assert sett.max_sett_per_cm(D(20), threads=2, intersections=2, crossing_diameters_per_cm=D(10)).quantize(
        D("0.01")
    ) == D("6.67")


@given(setts, st.integers(2, 24), st.integers(0, 24))
def test_the_same_yarn_both_ways_is_the_plain_rule(diameters, threads, intersections):
    one = sett.max_sett_per_cm(diameters, threads=threads, intersections=intersections)
    other = sett.max_sett_per_cm(
        diameters, threads=threads, intersections=intersections, crossing_diameters_per_cm=diameters
    )
    assert abs(one - other) <= one * D("1e-24")
    assert one <= diameters


@given(counts_tex, counts_tex)
def test_a_finer_yarn_can_be_set_closer(one, other):
    fine, coarse = sorted((one, other))
    assert sett.diameters_per_cm(fine, rule=ASHENHURST) >= sett.diameters_per_cm(coarse, rule=ASHENHURST)


@given(setts, counts_tex, counts_tex)
def test_another_yarn_as_firm_has_the_same_share_of_its_most(sett_per_cm, tex, other_tex):
    as_firm = sett.same_firmness_in_yarn_per_cm(sett_per_cm, from_tex=tex, to_tex=other_tex)
    before = sett_per_cm / sett.diameters_per_cm(tex, rule=ASHENHURST)
    after = as_firm / sett.diameters_per_cm(other_tex, rule=ASHENHURST)
    assert abs(after - before) <= before * D("1e-20")


@given(setts, st.integers(2, 24), st.integers(1, 12), st.integers(2, 24), st.integers(1, 12))
def test_another_weave_as_firm_has_the_same_share_of_its_most(sett_per_cm, e1, i1, e2, i2):
    as_firm = sett.same_firmness_in_weave_per_cm(
        sett_per_cm, from_threads=e1, from_intersections=i1, to_threads=e2, to_intersections=i2
    )
    before = sett_per_cm / sett.max_sett_per_cm(D(40), threads=e1, intersections=i1)
    after = as_firm / sett.max_sett_per_cm(D(40), threads=e2, intersections=i2)
    assert abs(after - before) <= before * D("1e-20")


# --- tightness warns and refuses nothing ---------------------------------------------------------------------------


def share(ends: str, picks: str) -> sett.Tightness:
    return sett.tightness(ends_per_cm=D(ends), picks_per_cm=D(picks), max_ends_per_cm=D(20), max_picks_per_cm=D(20))


def test_a_cloth_at_the_working_sett_has_no_warning():
    assert share("15", "15").warnings == ()


def test_a_cloth_above_the_working_sett_is_told_both_numbers():
    assert share("16", "12").warnings == (
        "16 ends/cm are 80 % of the 20 that this weave takes; 15 (75 %) are commonly woven.",
    )


def test_a_cloth_beyond_the_weave_is_warned_and_not_refused():
    jammed = share("14", "24")
    assert jammed.picks_pct == 120
    assert jammed.mean_pct == 95
    assert jammed.warnings == (
        "24 picks/cm are 120 % of the 20 that this weave takes: the threads lie on each other. Open the sett or take"
        " a finer yarn.",
    )


# --- cover ---------------------------------------------------------------------------------------------------------


def test_a_full_cover_is_28_by_peirce():
    # Threads that just touch: 10 / diameter in mm to the cm.
    tex = D(30)
    touching = 10 / sett.peirce_diameter_mm(tex)
    assert sett.peirce_cover_factor(touching, count_tex=tex).quantize(D("1e-20")) == 28
    assert sett.thread_cover(touching, diameter_mm=sett.peirce_diameter_mm(tex)).quantize(D("1e-20")) == 1


@given(setts, counts_tex)
def test_the_metric_cover_factor_is_0957_of_peirces(threads, tex):
    ratio = sett.si_cover_factor(threads, count_tex=tex) / sett.peirce_cover_factor(threads, count_tex=tex)
    assert ratio.quantize(D("0.0001")) == D("0.9567")


@given(st.integers(0, 100), st.integers(0, 100))
def test_two_sets_cover_at_least_what_one_does_and_never_more_than_all(a, b):
    together = sett.cloth_cover(warp_cover=D(a) / 100, weft_cover=D(b) / 100)
    assert max(D(a), D(b)) / 100 <= together <= 1


def test_threads_that_overlap_cover_all():
    assert sett.thread_cover(D(50), diameter_mm=D("0.3")) == 1


# --- a pattern in another sett -------------------------------------------------------------------------------------


@given(st.lists(st.integers(1, 80), min_size=1, max_size=20), st.integers(50, 400))
def test_a_pattern_scaled_keeps_its_stripes_and_its_size(stripes, hundredths):
    times = D(hundredths) / 100
    try:
        scaled = sett.scaled_stripes(stripes, times=times)
    except Refusal:
        assert min(stripes) * times < D("1.5")
        return
    assert len(scaled) == len(stripes)
    assert min(scaled) >= 1
    assert abs(sum(scaled) - sum(stripes) * times) <= D("0.5")
    for ends, made in zip(stripes, scaled, strict=True):
        assert abs(made - ends * times) <= 1


def test_a_stripe_that_would_be_lost_is_refused():
    with pytest.raises(Refusal, match=r"A stripe of 1 ends times 0\.2 is thinner than one end"):
        sett.scaled_stripes([10, 1, 10], times=D("0.2"))


# --- reeds ---------------------------------------------------------------------------------------------------------

# Systems in print: so many dents of number 1 in so many inches.
REEDS_IN_PRINT = [
    ("stockport", 1, "2", "C. P. Brooks, Cotton Manufacturing"),
    ("manchester", 1, "2", "in print"),
    ("huddersfield", 1, "1", "in print"),
    ("radcliffe", 1, "1", "in print"),
    ("bolton", 20, "24.25", "J. T. Taylor; C. P. Brooks; copies that say 24.5 are wrong"),
    ("bradford", 20, "36", "J. T. Taylor, beers of 40 ends at two to the dent"),
    ("blackburn", 20, "45", "in print"),
    ("leeds", 19, "9", "in print, 38 ends at two to the dent"),
    ("irish linen", 100, "40", "in print"),
    ("macclesfield", 100, "36", "in print"),
    ("scotch", 1, "37", "J. T. Taylor; C. P. Brooks"),
    ("jute porter", 20, "37", "Spon's Encyclopaedia, 40 threads"),
    ("linen porter", 20, "37", "Spon's Encyclopaedia, 40 threads"),
]


@pytest.mark.parametrize(("name", "dents", "inches", "source"), REEDS_IN_PRINT)
def test_a_reed_system_is_that_in_print(name, dents, inches, source):
    # number 12: 12 x dents in so many inches, so 12 x dents / (inches x 2.54) x 10 in 10 cm
    by_hand = 12 * dents * 10 / (D(inches) * D("2.54"))
    assert abs(sett.dents_per_10cm(12, system=name) - by_hand) < D("1e-20"), source
    assert abs(sett.reed_number(by_hand, system=name) - 12) < D("1e-20"), source


def test_every_reed_system_is_checked_against_print():
    assert {sett.reed_system_called(row[0]).key for row in REEDS_IN_PRINT} | {"metric"} == set(REED_SYSTEMS)


@given(st.sampled_from(sorted(REED_SYSTEMS)), st.sampled_from(sorted(REED_SYSTEMS)), setts)
def test_a_reed_renumbered_there_and_back_is_the_same_reed(one, other, number):
    there = sett.convert_reed(number, from_system=one, to_system=other)
    assert abs(sett.convert_reed(there, from_system=other, to_system=one) - number) <= number * D("1e-26")


@pytest.mark.parametrize("system", REED_SYSTEMS.values(), ids=lambda system: system.key)
def test_every_name_of_a_reed_is_read(system):
    for name in system.written:
        assert sett.read_reed(f"30 {name}") == sett.dents_per_10cm(30, system=system.key)


@pytest.mark.parametrize(
    ("text", "dents"),
    [
        # 40 in 2 in: 40 / 5.08 x 10 = 78.740
        ("Stockport 40", "78.740"),
        ("40 stockport", "78.740"),
        ("63 per 10 cm", "63.000"),
        ("31,5 per 10 cm", "31.500"),
        ("16/in", "62.992"),
        # 11 000 / (37 x 2.54) = 11 000 / 93.98
        ("Scotch 1100", "117.046"),
    ],
)
def test_a_reed_is_read_as_it_is_stamped(text, dents):
    assert sett.read_reed(text).quantize(D("0.001")) == D(dents)


@pytest.mark.parametrize(
    ("ask", "said"),
    [
        (lambda: sett.read_reed("40"), '"40" can\'t be read as a reed'),
        (lambda: sett.read_reed(""), "can't be read as a reed"),
        (lambda: sett.read_reed("stockport"), "can't be read as a reed"),
        (lambda: sett.read_reed("0 stockport"), "0 dents can't be"),
        (lambda: sett.read_reed("40 moon"), '"moon" is no reed system we know. We know metric, stockport'),
        (lambda: sett.dents_per_10cm(D(-4), system="bolton"), "-4 dents can't be"),
        (lambda: sett.dents_in_width(D(80), width_cm=D(0)), "0 cm can't be"),
        (lambda: sett.reed_sett_per_cm(D(80), ends_per_dent=0), "0 ends in a dent can't be"),
        (lambda: sett.diameters_per_cm(D(0), rule=ASHENHURST), "A yarn of 0 tex can't be"),
        (lambda: sett.diameters_from_wraps_per_cm(D(10), wrapped_pct=D(101)), "Wraps can't be 101 %"),
        (lambda: sett.diameters_from_wraps_per_cm(D(0)), "0 wraps per cm can't be"),
        (lambda: sett.max_sett_per_cm(D(20), threads=0, intersections=2), "0 threads in the repeat can't be"),
        (lambda: sett.max_sett_per_cm(D(20), threads=2, intersections=-1), "-1 intersections"),
        (lambda: sett.working_sett_per_cm(D(20), share_pct=D(0)), "A working share of 0 % can't be"),
        (lambda: sett.cloth_cover(warp_cover=D("1.2"), weft_cover=D(0)), "A cover of 1.2 can't be"),
        (lambda: sett.scaled_stripes([], times=2), "no pattern to scale"),
        (lambda: sett.scaled_stripes([0], times=2), "A stripe of 0 ends can't be"),
        (lambda: sett.scaled_stripes([2], times=0), "made 0 times as large"),
        (lambda: share("0", "3"), "0 ends per cm can't be"),
        (
            lambda: sett.same_firmness_in_weave_per_cm(
                D(10), from_threads=2, from_intersections=2, to_threads=4, to_intersections=-2
            ),
            "-2 intersections",
        ),
    ],
)
def test_what_no_cloth_or_reed_can_be_is_refused(ask, said):
    with pytest.raises(Refusal, match=said):
        ask()
