"""Counts, folds, regain: what a person types, what it is in tex, and back."""

from decimal import Decimal

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory import yarn
from inventory.yarn import SYSTEMS, read_count
from mill.refusal import Refusal

D = Decimal

SIX_PLACES = D("0.000001")


# --- the systems ---------------------------------------------------------------------------------------------------

# Tables of count systems in print: yards per lb of number 1, tex times count, where it was seen.
INDIRECT_IN_PRINT = [
    ("ne", 840, "590.541", "ASTM D2260-03(2013) table 1"),
    ("silk", 840, "590.541", "ASTM D2260-03(2013) table 1"),
    ("nw", 560, "885.812", "ASTM D2260-03(2013) table 1"),
    ("lea", 300, "1653.515", "ASTM D2260-03(2013) table 1"),
    ("ysw", 256, "1937.713", "1536 yd per 6 lb, textilecalculations.com"),
    ("gala", 200, "2480.273", "300 yd per 24 oz, A. E. Blanco, Piece Goods Manual"),
    ("us-cut", 300, "1653.515", "ASTM D2260-03(2013) table 1"),
    ("run", 1600, "310.034", "ASTM D2260-03(2013) table 1"),
    ("woe", 320, "1550.171", "in print"),
    ("hawick", "184.6154", "2686.963", "factor in print, 300 yd per 26 oz from memory"),
    ("alloa-480", 480, "1033.447", "factor in print, 11 520 yd per 24 lb from memory"),
    ("alloa-240", 240, "2066.894", "W. Davis, Hosiery Manufacture"),
    ("dewsbury", 16, "31003.415", "from memory"),
    ("nm", "496.0546", "1000", "ASTM D2260-03(2013) table 1"),
    ("nf", "992.1093", "500", "C. P. Brooks, Cotton Manufacturing, 3rd ed. 1892"),
]
DIRECT_IN_PRINT = [
    ("tex", "1", "ISO 1144"),
    ("den", "0.1111111111111111", "ASTM D2260-03(2013) table 1"),
    ("dtex", "0.1", "ISO 1144"),
    ("jute", "34.44823943448041", "ASTM D2260-03(2013) table 1"),
    ("dram", "1.9377134681895232", "J. T. Taylor, Cotton Weaving and Designing, 6th ed."),
    ("grain-20yd", "3.543247484689414", "factor in print, basis inferred"),
    ("grain-120yd", "0.5905412474482358", "J. T. Taylor, Cotton Weaving and Designing, 6th ed."),
    ("old-denier", "0.11179116162631864", "J. T. Taylor, Cotton Weaving and Designing, 6th ed."),
]


@pytest.mark.parametrize(("key", "yd_per_lb", "tex_times_count", "source"), INDIRECT_IN_PRINT)
def test_an_indirect_system_has_its_printed_factor(key, yd_per_lb, tex_times_count, source):
    system = SYSTEMS[key]
    assert system.kind == "indirect"
    assert abs(system.yd_per_lb - D(yd_per_lb)) <= D("0.00005"), source
    assert abs(system.tex_of_one - D(tex_times_count)) <= D("0.0005"), source


@pytest.mark.parametrize(("key", "tex_per_unit", "source"), DIRECT_IN_PRINT)
def test_a_direct_system_has_its_printed_factor(key, tex_per_unit, source):
    system = SYSTEMS[key]
    assert system.kind == "direct"
    assert system.folding == "resultant"
    assert abs(system.tex_of_one - D(tex_per_unit)) <= D("1e-14"), source


def test_no_system_is_without_a_factor_in_print():
    assert set(SYSTEMS) == {row[0] for row in INDIRECT_IN_PRINT} | {row[0] for row in DIRECT_IN_PRINT}


def test_the_constant_between_tex_and_yards_per_pound():
    # 453.59237 g / 0.9144 m x 1000 m = 496 054.647 856 517 9...
    assert yarn.TEX_TIMES_YD_PER_LB.quantize(D("1e-10")) == D("496054.6478565179")


def test_every_name_of_a_system_means_one_system():
    names = [name for system in SYSTEMS.values() for name in {system.key, *system.written}]
    assert len(names) == len(set(names))
    assert not set(names) & set(yarn.AMBIGUOUS)


@pytest.mark.parametrize("system", SYSTEMS.values(), ids=lambda system: system.key)
def test_every_example_of_a_system_is_read_as_that_system(system):
    for example in system.examples:
        assert read_count(example).system == system
    for name in system.written:
        assert read_count(f"7.5 {name}").system == system


# --- against the unit library's own textile units ------------------------------------------------------------------


@pytest.fixture(scope="module")
def registry():
    return pint.UnitRegistry()


@pytest.mark.parametrize(
    ("key", "unit"), [("tex", "tex"), ("dtex", "dtex"), ("den", "denier"), ("jute", "jute"), ("jute", "aberdeen")]
)
def test_direct_systems_agree_with_pint(registry, key, unit):
    theirs = registry.Quantity(7, unit).to("tex").magnitude
    assert float(yarn.convert(D(7), from_system=key, to_system="tex")) == pytest.approx(theirs, rel=1e-12)


@pytest.mark.parametrize(("key", "unit"), [("ne", "number_english"), ("nm", "number_meter")])
def test_indirect_systems_agree_with_pint(registry, key, unit):
    # pint holds them as length over mass.
    theirs = (1 / registry.Quantity(20, unit)).to("tex").magnitude
    assert float(yarn.convert(D(20), from_system=key, to_system="tex")) == pytest.approx(theirs, rel=1e-12)


# --- reading -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "notation", "tex"),
    [
        # 496 054.648 / (256 x 16) = 121.107
        ("16 ysw", "16 ysw", "121.107"),
        ("16s YSW", "16 ysw", "121.107"),
        # 2 x 885.812 / 48 = 36.909
        ("2/48 nw", "2/48 nw", "36.909"),
        ("48/2 nw", "2/48 nw", "36.909"),
        ("2/48s worsted", "2/48 nw", "36.909"),
        ("48 nw x 2", "2/48 nw", "36.909"),
        ("2 x 48 nw", "2/48 nw", "36.909"),
        # The whole yarn is 24s worsted.
        ("R 24/2 nw", "2/48 nw", "36.909"),
        # 2 x 1000 / 28 = 71.429
        ("Nm 2/28", "2/28 nm", "71.429"),
        ("2/28 nm", "2/28 nm", "71.429"),
        ("28/2 nm", "2/28 nm", "71.429"),
        ("nm28/2", "2/28 nm", "71.429"),
        ("2/8,5 Nm", "2/8.5 nm", "235.294"),
        ("1.5/2 nm", "2/1.5 nm", "1333.333"),
        ("30 tex", "30 tex", "30"),
        ("R 60/2 tex", "R 60/2 tex", "60"),
        ("R60 tex/2", "R 60/2 tex", "60"),
        ("30 tex x 2", "R 60/2 tex", "60"),
        ("2×30tex", "R 60/2 tex", "60"),
        ("150 den", "150 den", "16.667"),
        ("167 dtex", "167 dtex", "16.7"),
        ("20 ne", "20 ne", "29.527"),
        ("Ne 20", "20 ne", "29.527"),
        ("3/2 cotton", "2/3 ne", "393.694"),
        # Spun silk names the whole: 590.541 / 60, not 2 x 590.541 / 60.
        ("60/2 silk", "60/2 silk", "9.842"),
        ("2/60 spun silk", "60/2 silk", "9.842"),
        ("120 silk x 2", "60/2 silk", "9.842"),
        ("18 gala cut", "18 gala cut", "137.793"),
        ("20 American cut", "20 us cut", "82.676"),
        ("3 run", "3 run", "103.345"),
        ("4½ run", "4.5 run", "68.896"),
        ("½ run", "0.5 run", "620.068"),
        ("40 lea", "40 lea", "41.338"),
        ("6 lb jute", "6 lb jute", "206.689"),
        ("6 lb/spyndle", "6 lb jute", "206.689"),
        ("4 dram", "4 dram", "7.751"),
        ("2,5 nm", "2.5 nm", "400"),
        ("0,125 nm", "0.125 nm", "8000"),
        ("  30   TEX ", "30 tex", "30"),
        ("8 ne x 16", "8 ne x 16", "1181.082"),
        ("8/8 ne", "8/8 ne", "590.541"),
        ("10 alloa-240", "10 alloa-240", "206.689"),
    ],
)
def test_a_count_is_read_as_people_write_it(text, notation, tex):
    count = read_count(text)
    assert count.notation == notation
    assert count.count_tex.quantize(D("0.001")) == D(tex)
    assert count.text == text


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "There is no count. Write one, such as 16 ysw"),
        ("   ", "There is no count"),
        ("16", '"16" names no count system. Write one, such as 16 ysw'),
        ("2/48s", '"2/48s" names no count system'),
        ("0 ne", '"0 ne": a count is above 0'),
        ("2/0 nw", '"2/0 nw": a count is above 0'),
        ("-20 ne", '"-20 ne" is below 0'),
        ("ne −20", '"ne −20" is below 0'),
        ("20 furlongs", '"furlongs" is no count system we know. We know tex, dtex, den'),
        ("10 alloa", "Write 10 alloa-480 for Alloa, 11 520 yd per 24 lb; or 10 alloa-240 for Alloa, hanks of 240"),
        ("10 alloa 480", "Write 10 alloa-480"),
        ("70 grain", "Write 70 grain-20yd for .* per 20 yd; or 25 grain-120yd for .* per 120 yd"),
        ("18 cut", "Write 18 gala cut for Galashiels .*; or 20 us cut for American .*; or 20 hawick"),
        ("40 linen", "Write 40 lea .*; or 6 lb jute"),
        ("6 lb", '"lb" alone is a mass. Write 6 lb jute'),
        ("14 woollen", '"woollen" has more than one meaning. Write 16 ysw'),
        ("60/2 tex", "Write R 60/2 tex for the whole, 60 tex x 2 for 2 singles of 60"),
        ("2/150 den", "Write R 150/2 den for the whole"),
        ("8/16 ne", "does not say which of 8 and 16 is the folds. Write the single first: 8 ne x 16, or 16 ne x 8"),
        ("2/1 nm", "does not say which of 2 and 1 is the folds"),
        ("2.5/28.5 nm", "does not say which of 2.5 and 28.5 is the folds"),
        ("48 nw x 2.5", "2.5 is no number of folds"),
        ("R 60/200 tex", "200 is no number of folds"),
        ("R 2x30 tex", "says both R, the whole yarn, and x, its singles"),
        ("1,000 den", "1,000 can mean 1000 or 1.000"),
        ("2/48/3 nw", "can't be read as a count"),
        ("167f48 dtex", "can't be read as a count"),
        ("20 ne!", 'can\'t be read as a count at "!"'),
        ("1234567890123 ne", "A count has at most 12 figures"),
        ("silk", "can't be read as a count"),
    ],
)
def test_a_count_that_is_not_clear_is_refused_with_the_way_out(text, said):
    with pytest.raises(Refusal, match=said.replace("(", r"\(").replace("+", r"\+")):
        read_count(text)


sizes = st.integers(min_value=1, max_value=999_999).flatmap(
    lambda digits: st.sampled_from([D(digits).scaleb(-places) for places in range(5)])
)
systems = st.sampled_from(sorted(SYSTEMS))
folds = st.integers(min_value=1, max_value=24)


@given(systems, sizes, folds)
def test_a_count_reads_back_from_its_own_notation(key, size, folds):
    count = yarn.Count(SYSTEMS[key], size, folds)
    assert read_count(count.notation) == count
    assert read_count(count.notation).notation == count.notation


@given(systems, sizes, folds)
def test_a_count_comes_back_from_tex(key, size, folds):
    count = yarn.Count(SYSTEMS[key], size, folds)
    assert yarn.count_of_tex(count.count_tex, system=key, folds=folds).notation == count.notation


@given(st.text(max_size=40))
def test_whatever_is_typed_is_read_or_refused(text):
    try:
        count = read_count(text)
    except Refusal:
        return
    assert count.count_tex > 0
    assert read_count(count.notation) == count


@given(systems, systems, sizes)
def test_a_conversion_there_and_back_changes_nothing(one, other, size):
    there = yarn.convert(size, from_system=one, to_system=other)
    back = yarn.convert(there, from_system=other, to_system=one)
    assert abs(back - size) <= size * D("1e-26")


@given(systems, sizes)
def test_a_count_and_its_yards_per_pound_agree(key, size):
    count = yarn.Count(SYSTEMS[key], size)
    one = SYSTEMS[key].yd_per_lb
    expected = one / size if SYSTEMS[key].kind == "direct" else one * size
    assert abs(yarn.yd_per_lb(count.count_tex) - expected) <= expected * D("1e-26")


def test_a_conversion_that_is_exact_stays_exact():
    assert yarn.convert(D(10), from_system="ne", to_system="nw") == 15
    assert yarn.convert(D(1), from_system="nw", to_system="ysw") == D("2.1875")
    assert yarn.convert(D(20), from_system="grain-120yd", to_system="ne") == 50


@pytest.mark.parametrize("number", [D(0), D(-3), D("NaN"), D("Infinity")])
def test_a_count_of_nothing_is_refused(number):
    with pytest.raises(Refusal, match="above 0"):
        yarn.convert(number, from_system="ne", to_system="nw")
    with pytest.raises(Refusal, match="above 0"):
        yarn.Count(SYSTEMS["ne"], number)
    with pytest.raises(Refusal, match="above 0"):
        yarn.length_m(mass_g=1, count_tex=number)


# --- folding -------------------------------------------------------------------------------------------------------


def test_folded_tex_divides_by_what_twisting_leaves():
    # 48 + 48 = 96 tex; 4 % of the singles' length is taken up, so 96 / 0.96 = 100 tex (96 x 1.04 would be 99.84).
    assert yarn.folded_tex([D(48), D(48)], take_up_pct=D(4)) == 100
    # 1000 m of it took 1000 / 0.96 = 1041.67 m of each single: 1041.67 x 96 / 1000 = 100 g.
    singles_m = yarn.singles_length_m(folded_length_m=1000, take_up_pct=D(4))
    assert yarn.mass_g(length_m=singles_m, count_tex=D(96)).quantize(SIX_PLACES) == 100


@given(st.lists(sizes, min_size=2, max_size=5))
def test_folding_in_counts_is_adding_in_tex(counts):
    tex = [yarn.convert(count, from_system="nw", to_system="tex") for count in counts]
    folded = yarn.convert(yarn.folded_tex(tex, take_up_pct=D(0)), from_system="tex", to_system="nw")
    assert abs(yarn.folded_count(counts) - folded) <= folded * D("1e-24")


@given(sizes, sizes)
def test_the_missing_ply_folds_to_the_resultant(known, share):
    resultant = known * share / (share + 1)
    missing = yarn.missing_ply(known_count=known, resultant_count=resultant)
    assert abs(yarn.folded_count([known, missing]) - resultant) <= resultant * D("1e-18")


@given(st.lists(st.tuples(st.integers(1, 10**6), sizes), min_size=1, max_size=6))
def test_a_mean_count_by_mass_keeps_the_length(shares):
    mean = yarn.mean_tex_of_masses(shares)
    apart = sum(yarn.length_m(mass_g=mass, count_tex=tex) for mass, tex in shares)
    together = yarn.length_m(mass_g=sum(mass for mass, _ in shares), count_tex=mean)
    assert abs(apart - together) <= apart * D("1e-24")
    assert min(tex for _, tex in shares) <= mean.quantize(D("1e-20")) <= max(tex for _, tex in shares)


@pytest.mark.parametrize(
    ("sum_of", "said"),
    [
        (lambda: yarn.folded_tex([], take_up_pct=D(0)), "at least one single"),
        (lambda: yarn.folded_tex([D(30)], take_up_pct=D(100)), "take-up of 100 % can't be"),
        (lambda: yarn.folded_tex([D(30)], take_up_pct=D(-1)), "take-up of -1 % can't be"),
        (lambda: yarn.folded_count([]), "at least one count"),
        (lambda: yarn.folded_count([D(0)]), "one of these is 0"),
        (
            lambda: yarn.missing_ply(known_count=D(20), resultant_count=D(20)),
            "A yarn of count 20 can't hold a single of 20",
        ),
        (lambda: yarn.missing_ply(known_count=D(0), resultant_count=D(20)), "Counts are above 0"),
        (lambda: yarn.mean_tex_of_masses([]), "at least one yarn"),
        (lambda: yarn.mean_tex_of_masses([(0, D(20))]), "A share of 0 is no mass"),
        (lambda: yarn.length_m(mass_g=-1, count_tex=D(20)), "A mass of -1 g can't be"),
        (lambda: yarn.mass_g(length_m=-1, count_tex=D(20)), "A length of -1 m can't be"),
        (lambda: yarn.count_tex(mass_g=0, length_m=1), "here are 1 m and 0 g"),
        (lambda: yarn.Count(SYSTEMS["ne"], D(20), 0), "this one has 0"),
    ],
)
def test_what_no_yarn_can_be_is_refused(sum_of, said):
    with pytest.raises(Refusal, match=said):
        sum_of()


# --- regain --------------------------------------------------------------------------------------------------------

regains = st.integers(0, 3000).map(lambda hundredths: D(hundredths) / 100)
grams = st.integers(0, 10**8)


def test_a_store_weighed_in_dry_air_reads_light():
    # 1170 kg at the agreed 17 % is 1000 kg dry. At 13 % it weighs 1130 kg: 3.4 % light, nothing missing.
    assert yarn.dry_mass_g(mass_g=1_130_000, regain_pct=D(13)) == 1_000_000
    assert yarn.invoice_mass_g(net_mass_g=1_130_000, measured_regain_pct=D(13), agreed_regain_pct=D(17)) == 1_170_000


def test_the_two_authorities_differ_on_wool_by_four_kilos_in_a_hundred():
    # 100 kg dry: 117.00 kg by the one, 113.60 kg by the other.
    eu, astm = yarn.regain_called("eu-wool-carded"), yarn.regain_called("astm-wool")
    assert [eu.authority, astm.authority] == ["EU 1007/2011 annex IX", "ASTM D1909"]
    masses = [
        yarn.invoice_mass_g(net_mass_g=100_000, measured_regain_pct=D(0), agreed_regain_pct=entry.regain_pct)
        for entry in (eu, astm)
    ]
    assert masses == [117_000, 113_600]


@given(grams, regains, regains)
def test_dry_mass_and_invoice_mass_go_there_and_back(net, measured, agreed):
    invoice = yarn.invoice_mass_g(net_mass_g=net, measured_regain_pct=measured, agreed_regain_pct=agreed)
    back = yarn.invoice_mass_g(net_mass_g=invoice, measured_regain_pct=agreed, agreed_regain_pct=measured)
    assert abs(back - net) <= D("1e-15")
    assert (invoice > net) is (agreed > measured and net > 0)


@given(regains)
def test_content_and_regain_go_there_and_back(regain):
    content = yarn.moisture_content_pct(regain)
    assert content <= regain
    assert abs(yarn.regain_from_content_pct(content) - regain) <= D("1e-24")


@given(st.lists(st.integers(0, 100), max_size=4), st.lists(regains, min_size=5, max_size=5))
def test_a_blend_lies_between_its_fibres(cuts, pct):
    edges = [0, *sorted(cuts), 100]
    shares = [(D(after - before), regain) for before, after, regain in zip(edges, edges[1:], pct, strict=False)]
    assert min(r for _, r in shares) <= yarn.blend_regain_pct(shares) <= max(r for _, r in shares)


@pytest.mark.parametrize(
    ("sum_of", "said"),
    [
        (lambda: yarn.blend_regain_pct([(D(70), D(17)), (D(20), D(11))]), "these make 90 %"),
        (lambda: yarn.blend_regain_pct([(D(120), D(17)), (D(-20), D(11))]), "add up to 100 %"),
        (lambda: yarn.dry_mass_g(mass_g=100, regain_pct=D(-1)), "A regain of -1 % can't be"),
        (lambda: yarn.dry_mass_g(mass_g=-100, regain_pct=D(1)), "A mass of -100 g can't be"),
        (lambda: yarn.regain_from_content_pct(D(51)), "A moisture content of 51 % can't be"),
        (lambda: yarn.moisture_content_pct(D(101)), "A regain of 101 % can't be"),
        (lambda: yarn.regain_called("wool"), "say the authority and the fibre. We know eu-wool-combed, .*astm-wool"),
        (lambda: yarn.regain_called("eu-straw"), '"eu-straw" is no regain we know'),
    ],
)
def test_moisture_that_no_yarn_holds_is_refused(sum_of, said):
    with pytest.raises(Refusal, match=said):
        sum_of()


REGAINS_IN_PRINT = {
    "EU 1007/2011 annex IX": {
        "wool & animal hair, combed": "18.25",
        "wool & animal hair, carded": "17",
        "horsehair combed": "16",
        "horsehair carded": "15",
        "silk": "11",
        "cotton": "8.5",
        "cotton mercerised": "10.5",
        "flax": "12",
        "hemp": "12",
        "jute": "17",
        "ramie (bleached)": "8.5",
        "acetate": "9",
        "triacetate": "7",
        "cupro": "13",
        "modal": "13",
        "viscose": "13",
        "lyocell": "13",
        "acrylic": "2",
        "polyamide staple": "6.25",
        "polyamide filament": "5.75",
        "polyester": "1.5",
        "polypropylene": "2",
        "polylactide": "1.5",
        "elastane": "1.5",
        "protein": "17",
    },
    "ASTM D1909": {"wool": "13.6", "cotton": "8.5", "flax": "12", "hemp": "12", "jute": "13.75", "silk": "11"},
    "ASTM D1909 [memory]": {"viscose/rayon": "11", "nylon": "4.5", "polyester": "0.4", "acrylic": "1.5"},
}


def test_the_regains_are_those_of_their_authorities():
    ours: dict[str, dict[str, Decimal]] = {}
    for entry in yarn.REGAINS.values():
        ours.setdefault(entry.authority, {})[entry.fibre] = entry.regain_pct
        assert entry.is_from_memory is ("[memory]" in entry.authority)
    assert ours == {
        authority: {fibre: D(pct) for fibre, pct in table.items()} for authority, table in REGAINS_IN_PRINT.items()
    }
