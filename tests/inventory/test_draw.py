"""The draw of lots, against every way there is on small stores."""

from datetime import date, timedelta
from itertools import permutations, product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.draw import CHOSEN, Lot, Need, choose, in_pieces
from mill.refusal import Refusal

MONDAY = date(2026, 11, 23)
YARN = 7


def lot(label, dye_lot, free_g, *, days_old=0, **changes):
    return Lot(label, changes.pop("yarn", YARN), dye_lot, free_g, MONDAY - timedelta(days_old), **changes)


def warp(grams):
    return Need(YARN, grams, "warp", "Warp 118")


def weft(*pieces_g):
    return Need(YARN, sum(pieces_g), "weft", "Warp 118, weft", pieces_g)


def plainly(text):
    return text.replace("\u202f", " ")


small_stores = st.lists(
    st.builds(
        lot,
        st.sampled_from([f"L{n}" for n in range(9)]),
        st.sampled_from(["881", "904", "917"]),
        st.integers(0, 12),
        days_old=st.integers(0, 4),
        yarn=st.sampled_from([YARN, YARN, YARN, 8]),
        is_quarantined=st.sampled_from([False, False, False, True]),
        is_shade_approved=st.sampled_from([True, True, True, False]),
    ),
    max_size=6,
    unique_by=lambda lot: lot.label,
)


def free_by_dye_lot(lots):
    free = {}
    for one in lots:
        if one.yarn == YARN and not one.is_quarantined and one.is_shade_approved and one.free_g:
            free[one.dye_lot] = free.get(one.dye_lot, 0) + one.free_g
    return free


def taken_by_lot(choice):
    taken = {}
    for take in choice.takes:
        taken[take.lot] = taken.get(take.lot, 0) + take.grams
    return taken


def assert_takes_are_fair(choice, lots):
    taken = taken_by_lot(choice)
    assert sum(taken.values()) == choice.need.grams
    for one, grams in taken.items():
        assert one in lots
        assert 0 < grams <= one.free_g
        assert one.yarn == choice.need.yarn
        assert not one.is_quarantined
        assert one.is_shade_approved


@given(small_stores, st.integers(1, 20), st.integers(0, 4))
def test_a_warp_never_mixes_dye_lots_and_takes_the_best_of_all_ways(lots, grams, useful_g):
    choice = choose(warp(grams), lots, useful_g=useful_g)
    free = free_by_dye_lot(lots)
    fits = [dye_lot for dye_lot, free_g in free.items() if free_g >= grams]
    assert choice.is_met == bool(fits)
    if not fits:
        assert choice.short_g == grams - max(free.values(), default=0)
        assert free.get(choice.nearest, 0) == max(free.values(), default=0)
        return
    assert_takes_are_fair(choice, lots)
    assert len(choice.dye_lots) == 1

    def is_useless(dye_lot):
        return 0 < free[dye_lot] - grams < useful_g

    def oldest(dye_lot):
        return min(one.received_on for one in lots if one.dye_lot == dye_lot and one in usable)

    usable = [one for one in lots if one.dye_lot in free and one.yarn == YARN and one.free_g and not one.why_not]
    best = min((is_useless(d), oldest(d), free[d] - grams) for d in fits)
    (chosen,) = choice.dye_lots
    assert (is_useless(chosen), oldest(chosen), free[chosen] - grams) == best
    # Oldest first within the dye lot: whatever is left of it is not older than anything taken.
    newest_taken = max(one.received_on for one in taken_by_lot(choice))
    left = [one for one in usable if one.dye_lot == chosen and taken_by_lot(choice).get(one, 0) < one.free_g]
    assert all(one.received_on >= newest_taken for one in left)


def fewest_runs(pieces_g, free):
    """By trying every order of dye lots: how many it takes in runs of pieces, or None."""
    for n in range(1, len(free) + 1):
        for order in permutations(free.values(), n):
            served = 0
            for free_g in order:
                while served < len(pieces_g) and pieces_g[served] <= free_g:
                    free_g -= pieces_g[served]
                    served += 1
            if served == len(pieces_g):
                return n
    return None


def can_be_given_singly(pieces_g, free):
    for given_to in product(free, repeat=len(pieces_g)):
        used = dict.fromkeys(free, 0)
        for dye_lot, grams in zip(given_to, pieces_g, strict=True):
            used[dye_lot] += grams
        if all(used[dye_lot] <= free[dye_lot] for dye_lot in free):
            return True
    return False


@given(small_stores, st.lists(st.integers(1, 8), min_size=1, max_size=5), st.integers(0, 4))
def test_a_weft_changes_dye_lot_only_where_a_piece_ends_and_as_seldom_as_can_be(lots, pieces_g, useful_g):
    choice = choose(weft(*pieces_g), lots, useful_g=useful_g)
    free = free_by_dye_lot(lots)
    assert choice.is_met == can_be_given_singly(pieces_g, free)
    if not choice.is_met:
        assert choice.short_g > 0
        return
    assert_takes_are_fair(choice, lots)
    of_dye_lot = {}
    for take in choice.takes:
        of_dye_lot.setdefault(take.lot.dye_lot, set()).update(take.pieces)
    pieces = sorted(piece for served in of_dye_lot.values() for piece in served)
    assert pieces == list(range(1, len(pieces_g) + 1)), "a piece has one dye lot"
    for dye_lot, served in of_dye_lot.items():
        taken_g = sum(take.grams for take in choice.takes if take.lot.dye_lot == dye_lot)
        assert taken_g == sum(pieces_g[piece - 1] for piece in served)
    fewest = fewest_runs(pieces_g, free)
    if fewest is not None:
        assert len(of_dye_lot) == fewest


@given(st.integers(1, 10_000), st.integers(1, 60))
def test_a_need_in_pieces_keeps_its_grams(grams, pieces):
    each = in_pieces(grams, pieces)
    assert sum(each) == grams
    assert max(each) - min(each) <= 1


def test_an_older_dye_lot_is_passed_over_when_it_would_leave_a_useless_remainder():
    lots = [lot("A12", "881", 10200, days_old=90), lot("A14", "904", 20000)]
    choice = choose(warp(10080), lots, useful_g=3000)
    assert choice.dye_lots == ("904",)
    assert plainly(choice.why) == (
        "Dye lot 904 has 20 000 g free, 9920 g stay; dye lot 881 is older, but would leave 120 g,"
        " less than the 3000 g that are of use."
    )


def test_a_dye_lot_that_is_used_up_leaves_nothing_useless():
    lots = [lot("A12", "881", 10080), lot("A14", "904", 20000, days_old=90)]
    assert choose(warp(10080), lots, useful_g=3000).dye_lots == ("904",), "both are fine, the older goes first"
    lots = [lot("A12", "881", 10080), lot("A14", "904", 10100, days_old=90)]
    choice = choose(warp(10080), lots, useful_g=3000)
    assert choice.dye_lots == ("881",)
    assert "it is used up" in choice.why


def test_two_lots_of_one_dye_lot_serve_one_warp_oldest_first():
    lots = [lot("A14", "881", 8000), lot("A12", "881", 4000, days_old=30)]
    choice = choose(warp(10080), lots, useful_g=0)
    assert [(take.lot.label, take.grams) for take in choice.takes] == [("A12", 4000), ("A14", 6080)]


def test_what_is_short_is_said_with_the_nearest_and_what_is_barred():
    lots = [lot("A12", "881", 9000), lot("A14", "904", 3000), lot("A15", "917", 30000, is_quarantined=True)]
    choice = choose(warp(10080), lots, useful_g=3000)
    assert (choice.is_met, choice.short_g, choice.nearest) == (False, 1080, "881")
    assert plainly(choice.why) == (
        "Warp 118 needs 10 080 g of one dye lot; the nearest is dye lot 881 with 9000 g free: 1080 g short."
        " All its dye lots together have 12 000 g, but a warp takes one."
        " Lot A15 has 30 000 g, but it is in quarantine."
    )


def test_an_empty_store_is_short_of_everything():
    choice = choose(warp(10080), [lot("A16", "881", 500, is_shade_approved=False)], useful_g=3000)
    assert choice.short_g == 10080
    assert plainly(choice.why) == (
        "Warp 118 needs 10 080 g of one dye lot; 0 g are free: 10 080 g short."
        " Lot A16 has 500 g, but it has no approved shade."
    )


def test_a_weft_over_two_dye_lots_says_which_pieces_take_which():
    lots = [lot("A12", "881", 5000, days_old=9), lot("A14", "904", 4500)]
    choice = choose(weft(2000, 2000, 2000, 2000), lots, useful_g=3000)
    assert choice.is_met
    assert sorted(choice.dye_lots) == ["881", "904"]
    assert "pieces 1 to 2" in choice.why
    assert "pieces 3 to 4" in choice.why
    assert "changes where a piece ends" in choice.why


def test_pieces_that_no_run_can_serve_are_given_singly():
    # 881 covers pieces 1 and 3, 904 only piece 2: no order of runs does it.
    choice = choose(weft(2000, 1000, 2000), [lot("A12", "881", 4000), lot("A14", "904", 1000)], useful_g=0)
    assert [(take.lot.dye_lot, take.pieces) for take in choice.takes] == [("881", (1, 3)), ("904", (2,))]


def test_a_weft_short_as_a_whole_says_by_how_much():
    choice = choose(weft(2000, 2000), [lot("A12", "881", 2500), lot("A14", "904", 900)], useful_g=0)
    assert choice.short_g == 600
    assert "all dye lots together have 3400 g free: 600 g short" in choice.why


def test_a_weft_whose_pieces_fit_nowhere_is_not_said_to_be_enough():
    choice = choose(weft(3000, 3000), [lot("A12", "881", 4000), lot("A14", "904", 2500)], useful_g=0)
    assert not choice.is_met
    assert choice.short_g == 2000
    assert "no way was found" in choice.why


def test_a_weft_of_one_piece_takes_one_dye_lot_and_says_so():
    choice = choose(weft(3000), [lot("A12", "881", 2000), lot("A14", "904", 1500)], useful_g=0)
    assert plainly(choice.why) == (
        "Warp 118, weft needs 3000 g of one dye lot; the nearest is dye lot 881 with 2000 g free: 1000 g short."
        " All its dye lots together have 3500 g, but it can't be parted."
    )


def test_there_is_nothing_to_choose_below_a_gram():
    with pytest.raises(Refusal, match="Warp 118 needs 0 g"):
        warp(0)


def test_many_dye_lots_are_chosen_among_quickly():
    lots = [lot(f"L{n}", f"D{n}", 1000 + n, days_old=n) for n in range(60)]
    choice = choose(weft(*[900] * 11), lots, useful_g=50)
    assert choice.is_met
    assert len(choice.dye_lots) == 11


def begun_weft(dye_lot, *pieces_g):
    return Need(YARN, sum(pieces_g), "weft", "Warp 118, weft", pieces_g, dye_lot)


def test_a_piece_that_was_begun_is_finished_of_its_dye_lot_and_then_the_weft_may_change():
    lots = [lot("A12", "881", 900), lot("A14", "904", 9000, days_old=9)]
    choice = choose(begun_weft("881", 800, 2000, 2000), lots, useful_g=0)
    assert [(take.lot.dye_lot, take.pieces) for take in choice.takes] == [("881", (1,)), ("904", (2, 3))]
    assert plainly(choice.why) == (
        "A piece of it is begun of dye lot 881, which has 900 g free, too little for all of it; the weft changes where"
        " a piece ends: dye lot 881 for piece 1, dye lot 904 for pieces 2 to 3."
    )
    # An older dye lot that covers all of it would change inside the piece.
    assert choose(weft(800, 2000, 2000), lots, useful_g=0).dye_lots == ("904",)


def test_a_begun_weft_of_one_dye_lot_does_not_say_that_no_other_covers_it():
    lots = [lot("A12", "881", 3000), lot("A14", "904", 9000, days_old=9)]
    choice = choose(begun_weft("881", 800, 2000), lots, useful_g=0)
    assert plainly(choice.why) == "Dye lot 881 has 3000 g free, 200 g stay; a piece of it is begun of this dye lot."


def test_a_begun_weft_is_given_singly_where_two_dye_lots_have_as_much():
    # Piece 1 must be of 881. Piece 2 tried on 881 leaves it 2 of 6 g, too little; the same on 904 leads on.
    choice = choose(begun_weft("881", 3, 4, 3), [lot("A12", "881", 6), lot("A14", "904", 6)], useful_g=0)
    assert [(take.lot.dye_lot, take.pieces) for take in choice.takes] == [("881", (1, 3)), ("904", (2,))]


def test_of_two_barred_lots_that_have_as_much_the_older_is_named():
    barred = [lot(f"Q{n}", "881", 500, days_old=n, is_quarantined=True) for n in (1, 2)]
    said = {choose(warp(10080), lots, useful_g=0).why for lots in (barred, barred[::-1])}
    assert len(said) == 1
    assert "Lot Q2 has 500 g" in said.pop()


def test_why_there_is_no_choice_is_said_by_whoever_knows():
    choice = choose(warp(500), [lot("A12", "881", 900)], useful_g=0, only_why=CHOSEN)
    assert plainly(choice.why) == "Dye lot 881 has 900 g free, 400 g stay; it was chosen."


def test_a_begun_piece_whose_dye_lot_is_gone_is_short_of_that():
    lots = [lot("A12", "881", 300), lot("A14", "904", 9000)]
    choice = choose(begun_weft("881", 800, 2000), lots, useful_g=0)
    assert (choice.is_met, choice.short_g) == (False, 500)
    assert plainly(choice.why) == (
        "Warp 118, weft needs 2800 g, and of that 800 g for a piece that is begun of dye lot 881, which has 300 g free:"
        " 500 g short."
    )


@given(small_stores, st.lists(st.integers(1, 8), min_size=1, max_size=5), st.integers(0, 4))
def test_a_begun_weft_is_met_whenever_there_is_a_way(lots, pieces_g, useful_g):
    choice = choose(begun_weft("881", *pieces_g), lots, useful_g=useful_g)
    free = free_by_dye_lot(lots)
    left = {**free, "881": free.get("881", 0) - pieces_g[0]}
    assert choice.is_met == (left["881"] >= 0 and can_be_given_singly(pieces_g[1:], left))
    if choice.is_met:
        assert_takes_are_fair(choice, lots)
        assert {take.lot.dye_lot for take in choice.takes if 1 in take.pieces} == {"881"}
    else:
        assert choice.short_g > 0
