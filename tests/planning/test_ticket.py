import json
from dataclasses import fields, replace
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mill.refusal import Refusal
from planning import cloth as cloths
from planning import finishing, gaiting, loom, warp
from planning.cloth import RouteStep, Stripe, YarnUse, read_order
from planning.formulae import FORMULAE
from planning.ticket import (
    BeamFacts,
    ClothFigures,
    Run,
    from_json,
    gaiting_facts,
    loom_needs,
    to_json,
    work_out,
    work_out_cloth,
)
from tests.sheets import (
    BEAM,
    CHAIN_120M,
    COATING,
    MILL,
    PLAID,
    PLAID_3_PIECES,
    RAPIER_LOOM,
    SHEETS,
    SHUTTLE_LOOM,
    TWO_ORDERS,
    figure,
    tweed,
)

D = Decimal


LENGTH_M = D(60)
MOSS = tweed().yarns["A"]


def run(cloth, *, pieces=1, length_m=LENGTH_M, line="1/1"):
    return Run(line, "Fernside", cloth, pieces, length_m)


def worked(sheet):
    return work_out(sheet.runs, mill=MILL, loom=sheet.loom, beam=sheet.beam)


def decimals(low, high, places=1):
    return st.decimals(D(low), D(high), places=places)


@st.composite
def routes(draw):
    step = st.builds(
        RouteStep,
        name=st.sampled_from(["scour", "mill", "tenter", "press"]),
        width_shrink_pct=decimals(-5, 60, 2),
        length_shrink_pct=decimals(-5, 60, 2),
        mass_loss_pct=decimals(-3, 20, 2),
    )
    return tuple(draw(st.lists(step, max_size=4)))


orders = st.lists(st.builds(Stripe, letter=st.sampled_from("ABC"), n=st.integers(1, 40)), min_size=1, max_size=8).map(
    tuple
)
yarns = st.builds(
    lambda a, b, c: {
        "A": YarnUse("W1", "moss", "#5b6b4e", a),
        "B": YarnUse("W2", "straw", "#e0c9a0", b),
        "C": YarnUse("W3", "rowan", "#a5402d", c),
    },
    *[decimals(20, 400)] * 3,
)


@st.composite
def some_cloths(draw):
    return tweed(
        finished_width_cm=draw(decimals(20, 200)),
        reed_dents_per_10cm=draw(decimals(20, 120)),
        ends_per_dent=draw(st.integers(1, 4)),
        selvedge_ends=2 * draw(st.integers(0, 20)),
        whole_repeats=draw(st.booleans()),
        loom_picks_per_cm=draw(decimals(2, 30, 2)),
        warp_crimp_pct=draw(decimals(0, 30, 2)),
        weaving_contraction_pct=draw(decimals(0, 30, 2)),
        warp_waste_pct=draw(decimals(0, 20)),
        weft_waste_pct=draw(decimals(0, 20)),
        size_add_on_pct=draw(decimals(0, 20)),
        route=draw(routes()),
        warp_order=draw(orders),
        weft_order=draw(orders),
        yarns=draw(yarns),
        selvedge_letter=draw(st.sampled_from("ABC")),
    )


lengths_m = decimals(1, 300)


# The sheets.


@pytest.mark.parametrize(
    ("sheet", "path"),
    [(sheet, path) for sheet in SHEETS for path in SHEETS[sheet].figures],
)
def test_the_ticket_says_what_the_pencil_says(sheet, path):
    assert figure(worked(SHEETS[sheet]), path) == SHEETS[sheet].figures[path]


def test_the_chain_unrounded_is_the_one_worked_without_a_ticket():
    # 120 m x 150 cm, 10 ends and 9 picks per cm, 10 % and 6 %, contraction 6 %, take-up 7 %, 3.0 m + 0.5 m.
    grey_cm = cloths.grey_width_cm(finished_width_cm=D(150), width_shrink_pct=D(10))
    grey_m = finishing.grey_from_finished(D(120), loss_pct=D(6))
    reed_cm = cloths.reed_width_cm(grey_width_cm=grey_cm, weaving_contraction_pct=D(6))
    piece_m = warp.warp_length_per_piece_m(grey_length_m=grey_m, warp_crimp_pct=cloths.crimp_pct_from_take_up(D(7)))
    wound_m = warp.warp_to_wind_m(pieces_m=[piece_m], header_m=D("0.5"), thrums_m=D(3))
    picks = grey_m * 100 * cloths.sett_before(threads_per_cm=D(9), shrink_pct=D(6))
    assert [round(value, 1) for value in (grey_cm, grey_m, reed_cm, wound_m)] == [
        D("166.7"),
        D("127.7"),
        D("177.3"),
        D("140.8"),
    ]
    assert round(picks) == 108_000
    assert round(loom.loom_hours(loom.weaving_min(picks=108_000, ppm=220, efficiency_pct=D(70))), 1) == D("11.7")
    assert round(1500 / reed_cm, 9) == D("8.46")


# What must hold for every cloth.


@given(some_cloths())
def test_no_end_is_lost_from_the_reed_to_the_finished_cloth(cloth):
    figures = work_out_cloth(cloth)
    width_shrink_pct = finishing.route_shrink_pct(step.width_shrink_pct for step in cloth.route)
    reed_sett = cloths.reed_ends_per_cm(
        reed_dents_per_10cm=cloth.reed_dents_per_10cm, ends_per_dent=cloth.ends_per_dent
    )
    grey_sett = cloths.sett_after(threads_per_cm=reed_sett, shrink_pct=cloth.weaving_contraction_pct)
    finished_sett = cloths.sett_after(threads_per_cm=grey_sett, shrink_pct=width_shrink_pct)
    reed_cm = figures.ground_ends / reed_sett
    grey_cm = finishing.finished_from_grey(reed_cm, loss_pct=cloth.weaving_contraction_pct)
    finished_cm = finishing.finished_from_grey(grey_cm, loss_pct=width_shrink_pct)
    for sett_per_cm, width_cm in ((grey_sett, grey_cm), (finished_sett, finished_cm)):
        assert round(sett_per_cm * width_cm, 9) == figures.ground_ends
    assert figures.made_width_cm == round(finished_cm, 1) or abs(figures.made_width_cm - finished_cm) <= D("0.05")


@given(some_cloths())
def test_a_cloth_is_never_made_narrower_than_asked(cloth):
    figures = work_out_cloth(cloth)
    assert figures.width_gain_cm >= 0
    assert figures.ends == figures.ground_ends + figures.selvedge_ends
    assert sum(figures.healds) == figures.ground_ends
    if cloth.whole_repeats:
        assert figures.part_repeat_ends == 0


@given(some_cloths(), lengths_m)
def test_loom_hours_agree_from_the_finished_and_from_the_loom_side(cloth, length_m):
    length_shrink_pct = finishing.route_shrink_pct(step.length_shrink_pct for step in cloth.route)
    finished_picks_per_cm = cloths.sett_after(threads_per_cm=cloth.loom_picks_per_cm, shrink_pct=length_shrink_pct)
    grey_m = finishing.grey_from_finished(length_m, loss_pct=length_shrink_pct)
    from_loom = grey_m * 100 * cloth.loom_picks_per_cm
    from_finished = length_m * 100 * finished_picks_per_cm
    assert round(from_loom, 9) == round(from_finished, 9)

    figures = work_out([run(cloth, length_m=length_m)], mill=MILL)
    # The ticket weaves the grey length rounded up to the next 0.1 m, and a whole pick.
    assert 0 <= figures.picks - round(from_loom, 9) < 10 * cloth.loom_picks_per_cm + 1


@given(some_cloths(), lengths_m, st.integers(1, 5))
def test_colours_add_up_to_all_ends_and_all_picks(cloth, length_m, pieces):
    figures = work_out([run(cloth, length_m=length_m, pieces=pieces)], mill=MILL)
    assert sum(need.threads for need in figures.warp_yarns) == figures.ends
    assert sum(need.threads for need in figures.weft_yarns) == figures.picks
    assert sum(section.ends for section in figures.sections) == figures.ends
    in_sections = [stripe for section in figures.sections for stripe in read_order(section.colours)]
    for need in figures.warp_yarns:
        assert need.threads == sum(stripe.n for stripe in in_sections if stripe.letter in need.letters)


@given(some_cloths(), lengths_m, lengths_m, st.integers(1, 5), st.integers(1, 5))
def test_more_cloth_never_takes_less(cloth, a, b, m, n):
    less, more = (
        work_out([run(cloth, length_m=length_m, pieces=pieces)], mill=MILL, loom=None)
        for length_m, pieces in zip(sorted((a, b)), sorted((m, n)), strict=True)
    )
    for name in ("warp_length_m", "picks", "warp_issue_g", "weft_issue_g", "sized_warp_g", "warping_min"):
        assert getattr(less, name) <= getattr(more, name)
    for few, many in zip(less.warp_yarns, more.warp_yarns, strict=True):
        assert few.issue_g <= many.issue_g


@given(some_cloths(), st.lists(lengths_m, min_size=1, max_size=3))
def test_frozen_figures_are_read_back_equal(cloth, all_lengths_m):
    runs = [run(cloth, length_m=length_m, line=f"{n}/1") for n, length_m in enumerate(all_lengths_m)]
    figures = work_out(runs, mill=MILL)
    assert from_json(json.loads(json.dumps(to_json(figures)))) == figures


def test_frozen_figures_hold_nothing_but_plain_json():
    frozen = to_json(worked(PLAID_3_PIECES))
    assert json.loads(json.dumps(frozen, allow_nan=False)) == frozen
    assert frozen["warp_length_m"] == "209.4"
    assert frozen["runs"][0]["picks"] == 208_560


@given(some_cloths(), lengths_m)
def test_what_is_issued_leaves_the_net_after_waste_and_not_a_kilogram_more(cloth, length_m):
    figures = work_out([run(cloth, length_m=length_m)], mill=MILL)
    for need in figures.warp_yarns:
        left_g = need.issue_g * (1 - Fraction(cloth.warp_waste_pct) / 100)
        assert need.net_g <= left_g < need.net_g + 1
        assert (need.cones - 1) * MILL.cone_g < need.issue_g <= need.cones * MILL.cone_g


# Rounding.


def test_a_division_that_never_ends_adds_no_tenth():
    # 120.038 / 0.94 is 127.7 exactly; a Decimal leaves it a hair above or below.
    figures = work_out([run(tweed(), length_m=D("120.038"))], mill=MILL)
    assert figures.runs[0].grey_length_m == D("127.7")


def test_ends_are_counted_from_the_width_before_it_is_rounded():
    # From 177.4 cm, as the reed width is printed, it would be 751 dents and 1502 ends.
    assert work_out_cloth(tweed()).ends == 1500


def test_thrums_are_wound_once_however_many_orders_share_the_warp():
    one = worked(TWO_ORDERS)
    apart = [work_out([each], mill=MILL) for each in TWO_ORDERS.runs]
    assert sum(figures.warp_length_m for figures in apart) - one.warp_length_m == MILL.thrums_m


def test_the_runs_weft_adds_up_to_the_warps():
    figures = worked(TWO_ORDERS)
    for need in figures.weft_yarns:
        of_runs = [each for run in figures.runs for each in run.weft if each.code == need.code]
        assert need.issue_g == sum(each.issue_g for each in of_runs)
        assert need.length_m == sum(each.length_m for each in of_runs)


def test_every_piece_begins_the_weft_order_anew():
    # 60 m and 8.46 picks: 54 060 picks to a piece, 4158 repeats of 13 and 6 more, all six of A.
    cloth = tweed(weft_order=read_order("A8 B5"), route=())
    needs = work_out([run(cloth, pieces=2, length_m=D("63.9"))], mill=MILL).weft_yarns
    assert [need.threads for need in needs] == [2 * (8 * 4158 + 6), 2 * 5 * 4158]


def test_a_cut_tail_is_laid_at_every_pick():
    shuttle = work_out([run(tweed())], mill=MILL, loom=SHUTTLE_LOOM)
    rapier = work_out([run(tweed())], mill=MILL, loom=RAPIER_LOOM)
    assert rapier.weft_yarns[0].length_m - shuttle.weft_yarns[0].length_m == pytest.approx(
        rapier.picks * D("0.09"), abs=D("0.1")
    )


def test_one_yarn_at_two_letters_is_one_need():
    figures = work_out([run(tweed(warp_order=read_order("A4 B4"), yarns={"A": MOSS, "B": MOSS}))], mill=MILL)
    (need,) = figures.warp_yarns
    assert (need.letters, need.threads, figures.creel[0].packages) == ("A, B", 1500, 256)


def test_the_size_lies_on_the_beam_and_not_in_the_store():
    plain, sized = (work_out([run(tweed(size_add_on_pct=pct))], mill=MILL, beam=BEAM) for pct in (D(0), D(10)))
    assert sized.warp_issue_g == plain.warp_issue_g
    assert sized.sized_warp_g == -(-plain.warp_g * 11 // 10)
    assert sized.beam_gross_kg > plain.beam_gross_kg


def test_the_largest_warp_waste_of_the_runs_counts():
    careful, careless = tweed(), tweed(warp_waste_pct=D(4))
    figures = work_out([run(careful), run(careless, line="2/1")], mill=MILL)
    assert figures.warp_issue_g == work_out([run(careless), run(careful, line="2/1")], mill=MILL).warp_issue_g
    assert figures.warp_issue_g > work_out([run(careful), run(careful, line="2/1")], mill=MILL).warp_issue_g


def test_targets_end_at_the_finished_piece():
    figures = worked(CHAIN_120M)
    last = figures.runs[0].targets[-1]
    assert (last.width_cm, last.length_m) == (figures.cloth.overall_width_cm, D("120.0"))


def test_a_cloth_sold_in_the_grey_has_no_targets_and_loses_nothing():
    figures = work_out([run(tweed(route=()))], mill=MILL)
    assert figures.runs[0].targets == ()
    assert figures.runs[0].grey_length_m == D("60.0")
    assert figures.cloth.finished_g_per_m2 == figures.cloth.loom_g_per_m2


# The working.


def test_every_worked_figure_opens_to_its_working():
    figures = worked(PLAID_3_PIECES)
    for record in (figures, figures.cloth, figures.runs[0]):
        for step in record.working:
            if step.name != "sections":
                assert figure(record, step.name) == step.value, step.name
            assert step.label
            assert step.formula
            assert step.sum
            assert step.source
            assert step.unit
            assert "{" not in step.label


def test_every_formula_is_used():
    figures = [worked(sheet) for sheet in SHEETS.values()]
    used = {step.formula for each in figures for record in (each, each.cloth, *each.runs) for step in record.working}
    assert used == {words.formula for words in FORMULAE.values()}


def test_derived_figures_of_a_cloth_all_have_a_step():
    figures = work_out_cloth(PLAID)
    typed = {field.name for field in fields(cloths.Cloth)}
    counted = {
        "repeat_ends", "repeats", "part_repeat_ends", "repeat_picks", "shafts", "healds", "draft_ends",
        "lifting_picks", "warp_intersections", "weft_intersections", "longest_warp_float", "longest_weft_float",
    }  # fmt: skip
    stepped = {step.name for step in figures.working}
    for field in fields(ClothFigures):
        assert field.name in typed | counted | stepped | {"warnings", "working"}, field.name


# Warnings warn.


def test_repeats_that_widen_the_cloth_much_are_said():
    # 1881.3 ends in repeats of 950 are two, 1900, 1.4 cm too wide; of 1300 two again, 2600: 2600 / 12 x 0.893 cm.
    near = replace(PLAID, warp_order=read_order("A900 B50"))
    far = replace(PLAID, warp_order=read_order("A900 B400"))
    assert not any("Whole repeats" in warning for warning in work_out_cloth(near).warnings)
    (said,) = [warning for warning in work_out_cloth(far).warnings if "Whole repeats" in warning]
    assert "53.5 cm wider than asked: 2 repeats are 193.5 cm, 1 would be 96.7 cm" in said


def test_a_repeat_wider_than_the_cloth_is_said():
    assert any(
        "never comes round" in warning for warning in work_out_cloth(tweed(warp_order=(Stripe("A", 2000),))).warnings
    )


def test_a_part_filled_dent_is_said():
    cloth = tweed(whole_repeats=True, warp_order=read_order("A24 B3"), ends_per_dent=2)
    figures = work_out_cloth(cloth)
    assert figures.ground_ends == 56 * 27
    assert not any("last dent" in warning for warning in figures.warnings)
    odd = work_out_cloth(replace(cloth, warp_order=read_order("A24 B2 A1"), finished_width_cm=D(148)))
    assert odd.ground_ends == 55 * 27
    assert any("The last dent of the ground holds 1 of 2 ends." in warning for warning in odd.warnings)


def test_a_crimp_beyond_what_plain_cloth_can_hold_is_said():
    assert any("warp crimp of 25 %" in warning for warning in work_out_cloth(tweed(warp_crimp_pct=D(25))).warnings)


def test_a_sett_tighter_than_the_weave_takes_is_warned_of_and_not_refused():
    figures = work_out_cloth(tweed(reed_dents_per_10cm=D(90)))
    assert figures.grey_ends_per_cm > figures.max_ends_per_cm
    assert any("the threads lie on each other" in warning for warning in figures.warnings)


def test_woollen_is_set_more_openly_than_worsted():
    woollen, worsted = (
        work_out_cloth(tweed(yarns={"A": replace(MOSS, spinning=spinning)})) for spinning in ("woollen", "worsted")
    )
    assert woollen.max_ends_per_cm < worsted.max_ends_per_cm


def test_a_spinning_that_no_rule_knows_is_refused():
    with pytest.raises(Refusal, match="W1 is spun 'felted'; setting knows woollen"):
        work_out_cloth(tweed(yarns={"A": replace(MOSS, spinning="felted")}))


# Refusals.


def test_a_warp_of_nothing_is_refused():
    with pytest.raises(Refusal, match="no order line on this warp"):
        work_out([], mill=MILL)


@pytest.mark.parametrize(
    ("changes", "differs"),
    [
        ({"reed_dents_per_10cm": D("42.4")}, "ends 1500 and 1504"),
        ({"warp_crimp_pct": D(8)}, "warp crimp, %, 7.5 and 8"),
        ({"threading": (1, 2, 3, 4, 3, 2)}, "draft 1 2 3 4 and 1 2 3 4 3 2"),
        ({"warp_order": (Stripe("B", 1),)}, "end 1 W1 and W2"),
        ({"warp_order": read_order("A20 B1")}, "from end 1, ends of W1: 1500 and 20"),
        ({"selvedge_ends": 20}, "ends 1500 and 1520"),
        ({"size_add_on_pct": D(5)}, "size add-on, %, 0 and 5"),
    ],
)
def test_orders_of_two_warps_are_refused_with_what_differs(changes, differs):
    with pytest.raises(Refusal) as refused:
        work_out([run(tweed()), run(tweed(name="Other tweed", **changes), line="2/1")], mill=MILL)
    assert "Hill tweed (order 1/1) and Other tweed (order 2/1) can't share a warp" in refused.value.message
    assert differs in refused.value.message


@pytest.mark.parametrize(("pieces", "length_m", "field"), [(0, D(60), "pieces"), (1, D(0), "length_m")])
def test_a_run_of_nothing_is_refused(pieces, length_m, field):
    with pytest.raises(Refusal) as refused:
        run(tweed(), pieces=pieces, length_m=length_m)
    assert refused.value.field == field


def test_a_loom_that_is_too_narrow_is_refused_with_both_numbers():
    with pytest.raises(Refusal, match=r"reed space is 190 cm, the warp is 320\.0 cm wide"):
        work_out([run(COATING)], mill=MILL, loom=RAPIER_LOOM)


def test_a_beam_that_is_too_small_is_refused_with_both_numbers():
    slim = BeamFacts("S1", D(178), barrel_mm=180, flange_mm=250, tare_kg=D(60))
    with pytest.raises(Refusal, match=r"Beam S1: the warp is 26\.\d+ kg of yarn, the beam holds 14\.7 kg"):
        work_out(CHAIN_120M.runs, mill=MILL, beam=slim)


def test_a_beam_whose_flange_the_loom_does_not_clear_is_refused():
    low = replace(SHUTTLE_LOOM, max_flange_mm=700)
    with pytest.raises(Refusal, match="takes flanges up to 700 mm, the beam's are 760 mm"):
        work_out(CHAIN_120M.runs, mill=MILL, loom=low, beam=BEAM)


def test_a_mill_without_a_speed_is_refused():
    with pytest.raises(Refusal) as refused:
        replace(MILL, drum_m_per_min=D(0))
    assert refused.value.field == "drum_m_per_min"
    assert replace(MILL, header_m=D(0)).header_m == 0


# What the planning of looms takes from the ticket.


def test_a_warp_asks_of_a_loom_what_its_widest_need_is():
    needs = loom_needs(worked(TWO_ORDERS), flange_mm=760)
    assert (needs.reed_width_cm, needs.shafts, needs.weft_colours, needs.flange_mm) == (D("177.4"), 4, 2, 760)
    assert loom.reasons_against(needs, SHUTTLE_LOOM) == []


def test_cloths_of_one_family_are_tied_in_and_of_two_drawn_in():
    tweed_in, check_in = (
        gaiting_facts(cloth, warp=name)
        for name, cloth in (("1", tweed()), ("2", tweed(warp_order=read_order("A2 B2"))))
    )
    herringbone = gaiting_facts(tweed(threading=(1, 2, 3, 4, 3, 2)), warp="3")
    assert gaiting.set_up(tweed_in, check_in) is gaiting.SetUp.TIE_IN
    assert gaiting.set_up(tweed_in, herringbone) is gaiting.SetUp.DRAW_IN
    assert gaiting.set_up(tweed_in, gaiting_facts(PLAID, warp="4")) is gaiting.SetUp.GAIT_UP
