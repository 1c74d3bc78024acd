import contextlib
from dataclasses import replace
from decimal import Decimal
from itertools import groupby

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mill.refusal import Refusal
from planning import cloth as cloths
from planning.cloth import Stripe, YarnBook, YarnUse, ends_of, family_key, read_order, warp_key, write_order
from tests.sheets import COATING, PLAID, TWEED, route, tweed

D = Decimal
MOSS, STRAW = TWEED.yarns["A"], TWEED.yarns["B"]

stripes = st.builds(Stripe, letter=st.sampled_from("ABCX"), n=st.integers(1, 99))


def merged(order):
    """Stripes of one letter that lie together made one."""
    runs = (
        (letter, sum(stripe.n for stripe in run)) for letter, run in groupby(order, key=lambda stripe: stripe.letter)
    )
    return tuple(Stripe(letter, n) for letter, n in runs)


# Colour orders as they are written.


@pytest.mark.parametrize(
    ("written", "short"),
    [
        ("A24 B2 A4", "A24 B2 A4"),
        ("a24b2a4", "A24 B2 A4"),
        ("A24, B2, A4", "A24 B2 A4"),
        ("A B", "A1 B1"),
        ("(A4 B4)x6 A4", "(A4 B4)x6 A4"),
        ("[A4 B4]×2", "(A4 B4)x2"),
        ("(A4 B4) x 3", "(A4 B4)x3"),
        ("((A2 B2)x2 C1)x3", "(A2 B2 A2 B2 C1)x3"),
        ("A4 A4", "A8"),
        ("(A2 B1 A2)x2", "A2 B1 A4 B1 A2"),
        ("(A2)x3 X6", "A6 X6"),
        ("A2 x6", "A2 X6"),
    ],
)
def test_an_order_is_read_and_written_short(written, short):
    assert write_order(read_order(written)) == short
    assert read_order(short) == read_order(written)


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("", "order is empty"),
        ("   ", "order is empty"),
        ("A24 B0", '"B0", at place 5'),
        ("A4 ? B2", '"? B2", at place 4'),
        ("24A", '"24A", at place 1'),
        ("A4 -2", '"-2", at place 4'),
        ("A4)", '")", at place 3 of the order: no bracket is open'),
        ("A2 (B4 A2", '"(", at place 4 of the order: this bracket is never closed'),
        ("A2 ()x3", '")x3", at place 5 of the order: there is nothing to repeat'),
        ("(A2 B2)x0", '")x0", at place 7'),
        ("A100001", "at most 2000 stripes and 100000 threads"),
        ("A60000 A60000", '"A60000", at place 8'),
        ("(A1 B1)x1001", '")x1001", at place 7'),
        ("A9" + "9" * 400, "at most 2000 stripes"),
        ("((((A9)x999)x999)x999)x999", '")x999", at place 12'),
    ],
)
def test_nonsense_is_refused_with_its_place(written, says):
    with pytest.raises(Refusal) as refused:
        read_order(written, field="warp_order")
    assert says in refused.value.message
    assert refused.value.field == "warp_order"


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused(text):
    with contextlib.suppress(Refusal):
        order = read_order(text)
        assert read_order(write_order(order)) == order


@given(st.lists(stripes, min_size=1, max_size=12), st.integers(1, 5))
def test_what_is_written_is_read_back(order, times):
    order = merged(order * times)
    assert read_order(write_order(order)) == order


@given(st.lists(stripes, min_size=1, max_size=8), st.integers(0, 5000), st.integers(0, 5000))
def test_cuts_of_an_order_lie_end_to_end(order, first, second):
    order = merged(order)
    whole = cloths.cut_order(order, start=0, threads=first + second)
    left = cloths.cut_order(order, start=0, threads=first)
    right = cloths.cut_order(order, start=first, threads=second)
    assert merged([*left, *right]) == whole
    assert cloths.order_threads(whole) == first + second


@given(st.lists(stripes, min_size=1, max_size=8), st.integers(1, 5000))
def test_threads_by_letter_are_those_of_the_cut(order, threads):
    order = merged(order)
    counted = {}
    for stripe in cloths.cut_order(order, start=0, threads=threads):
        counted[stripe.letter] = counted.get(stripe.letter, 0) + stripe.n
    assert cloths.threads_by_letter(order, threads) == counted


# Ends and dents.


def test_whole_dents_never_make_the_cloth_narrower():
    own = ends_of(tweed(finished_width_cm=D("150.1")))
    assert (own.ground_dents, own.ground_ends) == (751, 1502)


def test_a_width_that_is_whole_dents_gets_not_one_more():
    # 150 / 0.9 / 0.94 x 4.23 = 750 exactly, though none of the steps comes out even.
    assert ends_of(tweed()).dents == 750


def test_selvedges_take_dents_of_their_own_on_each_side():
    # 10 ends a side at 4 to the dent: 3 dents a side.
    own = ends_of(tweed(ends_per_dent=4, selvedge_ends=20))
    assert own.dents - own.ground_dents == 6
    assert own.ends - own.ground_ends == 20


def test_whole_repeats_are_made_up_and_may_leave_a_dent_part_filled():
    # 1500 ends in repeats of 27: 55.6, so 56 x 27 = 1512; 1512 / 2 = 756 dents.
    own = ends_of(tweed(whole_repeats=True, warp_order=read_order("A25 B2")))
    assert (own.ground_ends, own.repeats, own.part_repeat_ends, own.ground_dents) == (1512, 56, 0, 756)
    odd = ends_of(tweed(whole_repeats=True, warp_order=read_order("A25 B2"), finished_width_cm=D(148)))
    assert (odd.ground_ends, odd.ground_dents) == (1485, 743)


def test_a_part_repeat_is_counted():
    own = ends_of(tweed(warp_order=read_order("A24 B2")))
    assert (own.repeats, own.part_repeat_ends) == (57, 18)


# Percentages.


def test_a_shrinkage_is_divided_by_what_is_left():
    # The guild's warning: 10 in + 20 % = 12 in, which finishes at 9.6 in.
    assert cloths.grey_width_cm(finished_width_cm=D(10), width_shrink_pct=D(20)) == D("12.5")


def test_take_up_and_crimp_are_one_loss_on_two_bases():
    # 9 % of crimp in print is 8.26 % of take-up.
    assert round(cloths.take_up_pct_from_crimp(D(9)), 2) == D("8.26")


@given(st.decimals(0, 99, places=2))
def test_take_up_and_crimp_turn_into_each_other(pct):
    assert round(cloths.take_up_pct_from_crimp(cloths.crimp_pct_from_take_up(pct)), 12) == pct


def test_a_yarn_shorter_than_its_cloth_is_refused():
    with pytest.raises(Refusal, match="never shorter than its cloth"):
        cloths.crimp_pct(yarn_m=D(19), cloth_m=D(20))


@pytest.mark.parametrize("pct", [D(100), D(-1), D(130)])
def test_a_take_up_of_all_the_yarn_is_refused(pct):
    with pytest.raises(Refusal):
        cloths.crimp_pct_from_take_up(pct)


# Mass.


def test_a_finished_cloth_is_heavier_by_area_for_what_it_shrank():
    heavier = cloths.finished_g_per_m2(
        loom_g_per_m2=D(300), mass_loss_pct=D(10), width_shrink_pct=D(50), length_shrink_pct=D(40)
    )
    assert heavier == 300 * D("0.9") / D("0.3")


def test_a_square_cloth_of_the_wanted_mass_has_it():
    sett_per_cm = cloths.square_sett_per_cm(g_per_m2=D(240), count_tex=D(80), crimp_pct=D(8))
    mass = cloths.mass_g_per_m2(
        ends_per_cm=sett_per_cm,
        warp_tex=D(80),
        warp_crimp_pct=D(8),
        picks_per_cm=sett_per_cm,
        weft_tex=D(80),
        weft_crimp_pct=D(8),
    )
    assert round(mass, 9) == 240


def test_setts_go_back_the_way_they_came():
    finished = cloths.sett_after(threads_per_cm=D("8.46"), shrink_pct=D(46))
    assert round(cloths.sett_before(threads_per_cm=finished, shrink_pct=D(46)), 12) == D("8.46")


# Which warps are alike.


def test_letters_make_no_warp():
    swapped = tweed(
        warp_order=read_order("B24 A2"), yarns={"B": MOSS, "A": STRAW}, weft_order=read_order("B1"), selvedge_letter="B"
    )
    assert warp_key(swapped) == warp_key(tweed(warp_order=read_order("A24 B2")))


@pytest.mark.parametrize(
    "changes",
    [
        {"weft_order": read_order("B1")},
        {"loom_picks_per_cm": D(12)},
        {"lifting": ((1, 3), (2, 4))},
        {"weft_waste_pct": D(9)},
        {"route": route(("scour", "10", "9", "4"))},
        {"name": "Other", "revision": 7},
        {"reed_dents_per_10cm": D("42.30")},
        {"threading": (1, 2, 3, 4, 1, 2, 3, 4)},
        {"warp_order": read_order("A700")},
    ],
)
def test_weft_and_finish_leave_the_warp_the_same(changes):
    assert warp_key(tweed(**changes)) == warp_key(tweed())
    assert cloths.warp_difference(tweed(**changes), tweed()) == ""


@pytest.mark.parametrize(
    ("changes", "family_stays"),
    [
        ({"finished_width_cm": D(140)}, False),
        ({"ends_per_dent": 3}, False),
        ({"threading": (1, 2, 3, 4, 3, 2)}, False),
        ({"selvedge_ends": 20}, True),
        ({"warp_order": read_order("A24 B2")}, True),
        ({"yarns": {"A": STRAW}}, True),
        ({"warp_crimp_pct": D(9)}, True),
        ({"size_add_on_pct": D(4)}, True),
    ],
)
def test_what_makes_another_warp_and_what_another_family(changes, family_stays):
    changed = tweed(**changes)
    assert warp_key(changed) != warp_key(tweed())
    assert cloths.warp_difference(tweed(), changed)
    assert (family_key(changed) == family_key(tweed())) is family_stays


def test_selvedges_of_another_yarn_make_another_warp():
    one, other = (tweed(selvedge_ends=24, selvedge_letter=letter) for letter in "AB")
    assert warp_key(one) != warp_key(other)
    assert cloths.warp_difference(one, other) == "end 1 W1 and W2"
    assert family_key(one) == family_key(other)


def test_keys_stay_the_same_from_one_day_to_the_next():
    assert warp_key(PLAID) == warp_key(replace(PLAID))
    assert len({warp_key(cloth) for cloth in (TWEED, PLAID, COATING)}) == 3
    # Stored with every warp: when this changes, all warps must be worked out again.
    assert (warp_key(TWEED), family_key(TWEED)) == ("2524827ec6f2a0c5", "9d788f29a8c27c2f")


@given(st.lists(st.integers(1, 4), min_size=1, max_size=6), st.integers(1, 4))
def test_a_draft_written_out_several_times_is_one_draft(draft, times):
    draft = (1, *draft)
    assert cloths.shortest_repeat(draft * times) == cloths.shortest_repeat(draft)


# The specification refuses what can't be woven.


@pytest.mark.parametrize(
    ("changes", "field", "says"),
    [
        ({"finished_width_cm": D(0)}, "finished_width_cm", "is 0 cm; it must be above 0"),
        ({"finished_width_cm": D("NaN")}, "finished_width_cm", "must be above 0"),
        ({"finished_width_cm": D(10**6)}, "finished_width_cm", "more than 100000 ends"),
        ({"reed_dents_per_10cm": D(-3)}, "reed_dents_per_10cm", "is -3 dents per 10 cm"),
        ({"ends_per_dent": 0}, "ends_per_dent", "0 ends in a dent"),
        ({"selvedge_ends": 25}, "selvedge_ends", "25 selvedge ends can't be halved"),
        ({"selvedge_ends": -2}, "selvedge_ends", "-2 selvedge ends"),
        ({"loom_picks_per_cm": D(0)}, "loom_picks_per_cm", "is 0 picks per cm"),
        ({"warp_crimp_pct": D(100)}, "warp_crimp_pct", "share of the cloth's length"),
        ({"weaving_contraction_pct": D(100)}, "weaving_contraction_pct", "share of the width in the reed"),
        ({"warp_waste_pct": D(-1)}, "warp_waste_pct", "share of the yarn issued"),
        ({"weft_waste_pct": D(100)}, "weft_waste_pct", "share of the yarn issued"),
        ({"size_add_on_pct": D(120)}, "size_add_on_pct", "share of the unsized warp"),
        ({"warp_order": ()}, "warp_order", "has no warp order"),
        ({"weft_order": ()}, "weft_order", "has no weft order"),
        ({"warp_order": read_order("A2 Q4")}, "warp_order", "asks for Q, but no yarn stands there. Put one there, or"),
        ({"yarns": {}}, "warp_order", "This colourway has no yarns yet"),
        ({"selvedge_letter": "Q"}, "selvedge_letter", "the selvedges are of Q"),
        ({"threading": ()}, "threading", "has no draft"),
        ({"threading": (0, 1)}, "threading", "names shaft 0; shafts are counted from 1"),
        ({"lifting": ()}, "lifting", "has no lifting"),
        ({"lifting": ((1, 2), (3, 9))}, "lifting", "pick 2 lifts shaft 9, but the draft uses shafts 1 to 4"),
    ],
)
def test_a_cloth_that_cannot_be_woven_is_refused(changes, field, says):
    with pytest.raises(Refusal) as refused:
        tweed(**changes)
    assert refused.value.field == field
    assert says in refused.value.message


@pytest.mark.parametrize("pct", ["100", "140", "-101"])
def test_a_finish_that_leaves_no_cloth_is_refused(pct):
    for step in ((pct, "0", "0"), ("0", pct, "0"), ("0", "0", pct)):
        with pytest.raises(Refusal, match=f"mill: a .* of {pct} %") as refused:
            route(("mill", *step))
        assert refused.value.field == "route"


def test_a_finish_that_leaves_a_hundredth_is_not():
    cloth = tweed(finished_width_cm=D("1.5"), route=route(("mill", "99", "99", "99")))
    assert ends_of(cloth).ground_ends == 1350


@pytest.mark.parametrize(
    "changes", [{"colour": "green"}, {"colour": "#12345"}, {"count_tex": D(0)}, {"count_tex": D(-4)}, {"code": ""}]
)
def test_a_yarn_that_cannot_be_is_refused(changes):
    with pytest.raises(Refusal) as refused:
        replace(MOSS, **changes)
    assert refused.value.field == "yarns"


@pytest.mark.parametrize(("letter", "n"), [("AB", 1), ("a", 1), ("1", 1), ("", 1), ("A", 0), ("A", -2)])
def test_a_stripe_that_cannot_be_is_refused(letter, n):
    with pytest.raises(Refusal):
        Stripe(letter, n)


def test_a_float_among_the_figures_is_a_bug_and_not_a_refusal():
    with pytest.raises(AssertionError, match="not a Decimal"):
        tweed(warp_crimp_pct=7.5)


def test_a_cloth_can_be_a_key_and_its_yarns_do_not_change():
    yarns = {"A": MOSS, "B": STRAW}
    cloth = tweed(yarns=yarns)
    yarns["A"] = STRAW
    assert cloth.yarns["A"] is MOSS
    assert {cloth: 1}[tweed(yarns=YarnBook({"B": STRAW, "A": MOSS}))] == 1
    assert cloth == tweed(yarns={"B": STRAW, "A": MOSS})
    with pytest.raises(KeyError):
        cloth.yarns["Z"]


def test_selvedges_are_of_the_first_yarn_until_said_otherwise():
    assert tweed(selvedge_letter="", warp_order=read_order("B2 A2")).selvedge_letter == "B"


def test_a_yarn_use_needs_no_spinning():
    assert YarnUse("W9", "plain", "#000000", D(100)).spinning == "other"
