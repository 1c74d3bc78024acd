"""The share-out, against every way there is on small stores, and against the rules of the trade on larger ones."""

from collections import defaultdict
from dataclasses import replace
from datetime import date, timedelta
from itertools import product
from random import Random

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from inventory import dealing
from inventory.draw import Lot, Need, choose
from inventory.share_out import Outcome, Want, differences, share_out, weight_of

MONDAY = date(2026, 11, 23)
MOSS, CREAM = 7, 8


def lot(label, dye_lot, free_g, *, came=0, **changes):
    return Lot(label, changes.pop("yarn", MOSS), dye_lot, free_g, MONDAY - timedelta(came), **changes)


def warp(name, grams, *, on=0, weight=1, yarn=MOSS, **changes):
    return Want(Need(yarn, grams, "warp", f"Warp {name}"), f"Warp {name}", MONDAY + timedelta(on), weight, **changes)


def weft(name, *pieces_g, on=0, weight=1, yarn=MOSS, begun="", **changes):
    need = Need(yarn, sum(pieces_g), "weft", f"Warp {name}, weft", pieces_g, begun)
    return Want(need, f"the weft of Warp {name}", MONDAY + timedelta(on), weight, **changes)


def plainly(text):
    return text.replace("\u202f", " ")


def shared_of(wants, lots, *, useful_g=3000):
    (shared,) = share_out(wants, lots, useful_g=useful_g)
    return shared


def taken(shared):
    """By the name of each need, the dye lot of each of its pieces; None when it is short."""
    found = {}
    for want, choice in zip(shared.wants, shared.choices, strict=True):
        if not choice.is_met:
            found[want.name] = None
        elif want.need.pieces_g:
            by_piece = {piece: take.lot.dye_lot for take in choice.takes for piece in take.pieces}
            found[want.name] = tuple(by_piece[piece] for piece in sorted(by_piece))
        else:
            found[want.name] = choice.dye_lots
    return found


# Random stores


def random_store(dice, *, needs, dye_lots, lots, pieces, most_g=12, yarns=(MOSS,)):
    """So many at most of each; grams of a size that collide, remainders that are of use or not."""
    stock, wants = [], []
    for yarn in yarns:
        for d in range(dice.randint(1, dye_lots)):
            for n in range(dice.randint(1, lots)):
                is_quarantined, is_shade_approved = dice.random() < 0.06, dice.random() > 0.06
                stock.append(
                    lot(
                        f"L{yarn}.{d}.{n}",
                        f"D{d}",
                        dice.randint(1, most_g),
                        came=dice.randint(0, 60),
                        yarn=yarn,
                        is_quarantined=is_quarantined,
                        is_shade_approved=is_shade_approved,
                    )
                )
    for n in range(dice.randint(1, needs)):
        facts = {"on": dice.randint(-2, 40), "weight": dice.choice((1, 1, 2, 4)), "yarn": dice.choice(yarns)}
        if dice.random() < 0.55:
            wants.append(warp(n, dice.randint(1, most_g), only=dice.choice(("", "", "", "D0")), **facts))
        else:
            pieces_g = [dice.randint(1, most_g // 2) for _ in range(dice.randint(1, pieces))]
            wants.append(weft(n, *pieces_g, begun=dice.choice(("", "", "", "D0")), **facts))
    return wants, stock


def worth(wants, stock, way, useful_g):
    """What a way of serving costs, told without the room: weights short, who, changes, grams short, useless remainders,
    grams in them, lots, gram-days.

    way    by want: the dye lot of each of its pieces, or None. None is returned when there is not so much.
    """
    bags = defaultdict(list)
    for one in stock:
        if not one.is_quarantined and one.is_shade_approved:
            bags[one.yarn, one.dye_lot].append([one.received_on, one.label, one.free_g])
    first = {}
    for (yarn, _), of_it in bags.items():
        of_it.sort()
        first[yarn] = min(first.get(yarn, of_it[0][0]), of_it[0][0])
    weight = changes = lots = gram_days = 0
    short = []
    for n in sorted(range(len(wants)), key=lambda n: (wants[n].wanted_on, wants[n].need.label)):
        want, dye_lots = wants[n], way[n]
        short.append(dye_lots is None)
        if dye_lots is None:
            weight += want.weight
            continue
        if (want.only and set(dye_lots) != {want.only}) or want.need.begun not in ("", dye_lots[0]):
            return None
        changes += sum(dye_lots[k] != dye_lots[k - 1] for k in range(1, len(dye_lots)))
        parts = want.need.pieces_g or (want.need.grams,)
        for dye_lot in set(dye_lots):
            wanting = sum(part for part, of_it in zip(parts, dye_lots, strict=True) if of_it == dye_lot)
            for bag in bags[want.need.yarn, dye_lot]:
                out = min(bag[2], wanting)
                if out:
                    lots += 1
                    gram_days += out * (bag[0] - first[want.need.yarn]).days
                    bag[2] -= out
                    wanting -= out
            if wanting:
                return None
    rests = {key: sum(bag[2] for bag in of_it) for key, of_it in bags.items()}
    little = [rest for rest in rests.values() if 0 < rest < useful_g]
    short_g = 0
    for want, dye_lots in zip(wants, way, strict=True):
        if dye_lots is None:
            mine = [g for (yarn, d), g in rests.items() if yarn == want.need.yarn and want.only in ("", d)]
            short_g += max(0, want.need.grams - (sum(mine) if want.need.pieces_g else max(mine, default=0)))
    return weight, short, changes, short_g, len(little), sum(little), lots, gram_days


def best_of_all_ways(wants, stock, useful_g):
    ways = []
    for want in wants:
        dye_lots = sorted({one.dye_lot for one in stock if one.yarn == want.need.yarn})
        ways.append([None, *product(dye_lots, repeat=len(want.need.pieces_g) or 1)])
    found = (worth(wants, stock, way, useful_g) for way in product(*ways))
    return min(cost for cost in found if cost is not None)


def way_of(wants, shares):
    found = {}
    for shared in shares:
        found |= taken(shared)
    return [found[want.name] for want in wants]


@pytest.mark.parametrize("twenty", range(15))
def test_it_is_the_best_of_all_ways_on_small_random_stores(twenty):
    for seed in range(twenty * 20, twenty * 20 + 20):
        dice = Random(seed)
        yarns = (MOSS, CREAM) if seed % 5 == 0 else (MOSS,)
        wants, stock = random_store(dice, needs=4, dye_lots=3, lots=2, pieces=3, yarns=yarns)
        useful_g = dice.choice((0, 3, 5))
        shares = share_out(wants, stock, useful_g=useful_g)
        assert all(shared.is_proven for shared in shares)
        # Remainders of a yarn that nobody asks for are the same either way.
        asked = [one for one in stock if one.yarn in {want.need.yarn for want in wants}]
        best = best_of_all_ways(wants, asked, useful_g)
        assert worth(wants, asked, way_of(wants, shares), useful_g) == best, f"seed {seed}"
        outcome = sum((shared.outcome for shared in shares), Outcome())
        assert outcome == Outcome(best[0], sum(best[1]), *best[2:]), f"seed {seed}"


def assert_nothing_is_mixed(shared, stock):
    """One dye lot in a warp and in a piece; no lot gives more than it has, and none that may not be drawn."""
    given = defaultdict(int)
    for want, choice in zip(shared.wants, shared.choices, strict=True):
        if not choice.is_met:
            assert choice.why
            assert choice.short_g > 0
            continue
        assert sum(take.grams for take in choice.takes) == want.need.grams
        for take in choice.takes:
            assert take.grams > 0
            assert take.lot.yarn == want.need.yarn
            assert not take.lot.why_not
            assert want.only in ("", take.lot.dye_lot)
            given[take.lot.label] += take.grams
        if not want.need.pieces_g:
            assert len(choice.dye_lots) == 1
            continue
        of_piece, by_dye_lot = defaultdict(set), defaultdict(int)
        for take in choice.takes:
            by_dye_lot[take.lot.dye_lot] += take.grams
            for piece in take.pieces:
                of_piece[piece].add(take.lot.dye_lot)
        assert sorted(of_piece) == list(range(1, len(want.need.pieces_g) + 1))
        assert all(len(dye_lots) == 1 for dye_lots in of_piece.values())
        assert want.need.begun in ("", *of_piece[1])
        for dye_lot, grams in by_dye_lot.items():
            mine = [n for n, dye_lots in of_piece.items() if dye_lots == {dye_lot}]
            assert grams == sum(want.need.pieces_g[n - 1] for n in mine)
    free = {one.label: one.free_g for one in stock}
    assert all(grams <= free[label] for label, grams in given.items())
    left = {one.label: one.free_g for one in shared.left}
    assert all(left.get(label, 0) == free[label] - grams for label, grams in given.items())


def one_after_the_other(wants, stock, useful_g):
    lots = {one.label: one for one in stock}
    way = [None] * len(wants)
    for n in sorted(range(len(wants)), key=lambda n: (wants[n].wanted_on, wants[n].need.label)):
        want = wants[n]
        choice = choose(want.need, [one for one in lots.values() if want.only in ("", one.dye_lot)], useful_g=useful_g)
        for take in choice.takes:
            lots[take.lot.label] = replace(lots[take.lot.label], free_g=lots[take.lot.label].free_g - take.grams)
        if choice.is_met:
            by_piece = {piece: take.lot.dye_lot for take in choice.takes for piece in take.pieces or (1,)}
            way[n] = tuple(by_piece[piece] for piece in sorted(by_piece))
    return worth(wants, stock, way, useful_g)


@pytest.mark.slow
@pytest.mark.parametrize("hundred", range(20))
def test_dye_lots_are_never_mixed_in_larger_random_stores(hundred):
    for seed in range(hundred * 100, hundred * 100 + 100):
        dice = Random(seed)
        wants, stock = random_store(dice, needs=16, dye_lots=7, lots=3, pieces=6, most_g=40)
        useful_g = dice.choice((0, 6, 15))
        shared = shared_of(wants, stock, useful_g=useful_g)
        assert_nothing_is_mixed(shared, stock)
        found = worth(wants, stock, way_of(wants, [shared]), useful_g)
        assert found <= one_after_the_other(wants, stock, useful_g), f"seed {seed}"


def test_many_needs_of_one_yarn_are_served_no_worse_than_one_after_the_other():
    dice = Random(5)
    wants, stock = random_store(dice, needs=1, dye_lots=1, lots=1, pieces=1)
    while len(wants) < 60:
        more, bags = random_store(dice, needs=20, dye_lots=14, lots=4, pieces=8, most_g=60)
        wants = [*wants, *(replace(want, name=f"{want.name}.{len(wants)}", only="") for want in more)]
        stock = [*stock, *(replace(one, label=f"{one.label}.{len(wants)}") for one in bags)]
    shared = shared_of(wants, stock, useful_g=10)
    assert not shared.is_proven
    assert_nothing_is_mixed(shared, stock)
    assert worth(wants, stock, way_of(wants, [shared]), 10) < one_after_the_other(wants, stock, 10)


small_stores = st.integers(0, 10_000).map(
    lambda seed: random_store(Random(seed), needs=5, dye_lots=4, lots=2, pieces=3)
)


@given(small_stores, st.integers(0, 5), st.randoms(use_true_random=False))
def test_the_order_in_which_needs_and_lots_are_named_changes_nothing(store, useful_g, dice):
    wants, stock = store
    shared = shared_of(wants, stock, useful_g=useful_g)
    other_wants, other_stock = list(wants), list(stock)
    dice.shuffle(other_wants)
    dice.shuffle(other_stock)
    other = shared_of(other_wants, other_stock, useful_g=useful_g)
    assert (other.wants, other.choices, other.rests, other.outcome) == (
        shared.wants,
        shared.choices,
        shared.rests,
        shared.outcome,
    )


@given(small_stores, st.integers(0, 5), st.integers(1, 12), st.sampled_from(["D0", "D1", "NEW"]))
def test_more_stock_never_leaves_more_short(store, useful_g, grams, dye_lot):
    wants, stock = store
    shared = shared_of(wants, stock, useful_g=useful_g)
    more = shared_of(wants, [*stock, lot("MORE", dye_lot, grams)], useful_g=useful_g)
    # Beyond the steps that are looked at, the best that was found stands, and says so.
    assume(more.is_fewest_short)
    assert more.outcome.short_weight <= shared.outcome.short_weight


@given(small_stores, st.integers(0, 5))
def test_what_is_said_to_be_the_fewest_short_is(store, useful_g):
    wants, stock = store
    shared = shared_of(wants, stock, useful_g=useful_g)
    if shared.is_fewest_short:
        assert shared.outcome.short_weight == best_short(wants, stock, useful_g)


def best_short(wants, stock, useful_g):
    """Exact by the room itself when its steps are not limited."""
    shelf = dealing.Shelf(MOSS, wants, stock, useful_g)
    search = dealing.Search(shelf, kept=None, steps_max=10**9)
    cost = shelf.cost_of([()] * len(wants))
    found = search.better_than(cost)
    return (found[1] if found else cost)[0]


# By hand


# Moss: dye lot 881, 12 kg in two lots of 7 and 5, came first; 904, 6.5 kg; 917, 9 kg, came last. 3 kg are of use.
# Warp 118 on Monday 6 kg, Warp 119 on Tuesday 12 kg, the weft of Warp 118 on Wednesday 3 pieces of 2 kg.
# One after the other: 118 takes 881 (6 left, of use, and older than 904); 119 finds 6, 6.5 and 9: short by 3 kg;
# the weft takes the 6 that are left of 881. One short.
# Together: 119 can only have 881, all 12. 118 has 904 (0.5 left, of no use) or 917 (3 left, of use); the weft the other:
# of 917 6 kg leave 3, of 904 0.5. So 0.5 is left of 904 and 3 of 917 either way, unless the two share 917 (9 < 12, no)
# or 904 (no). Nobody is short, one remainder of 0.5 kg is of no use. Lots: 119 two, 118 one, weft one: 4.
# 904 came 20 days after 881, 917 40 days: of each 6 kg go, so that the age is the same too. Of two ways that are equal
# in everything the one that is found first stays; 118 on 904 is the one that we have seen.
BY_HAND = [
    lot("A12", "881", 7000, came=60),
    lot("A13", "881", 5000, came=60),
    lot("A14", "904", 6500, came=40),
    lot("A15", "917", 9000, came=20),
]
ASKED_BY_HAND = [warp(118, 6000), warp(119, 12_000, on=1), weft(118, 2000, 2000, 2000, on=2)]


def test_the_sheet_worked_by_hand():
    shared = shared_of(ASKED_BY_HAND, BY_HAND)
    assert taken(shared) == {
        "Warp 118": ("904",),
        "Warp 119": ("881",),
        "the weft of Warp 118": ("917", "917", "917"),
    }
    # 6 kg x 20 days + 6 kg x 40 days.
    assert shared.outcome == Outcome(0, 0, 0, 0, 1, 500, 4, 360_000)
    assert shared.is_proven
    assert [(rest.dye_lot, rest.free_g, rest.left_g, rest.is_useless) for rest in shared.rests] == [
        ("881", 12_000, 0, False),
        ("904", 6500, 500, True),
        ("917", 9000, 3000, False),
    ]
    assert [(take.lot.label, take.grams) for take in shared.choices[1].takes] == [("A12", 7000), ("A13", 5000)]
    assert one_after_the_other(ASKED_BY_HAND, BY_HAND, 3000)[0] == 1


def test_each_line_says_why():
    shared = shared_of(ASKED_BY_HAND, BY_HAND)
    assert [plainly(choice.why) for choice in shared.choices] == [
        "Dye lot 904 has 6500 g free, 500 g stay, less than the 3000 g that are of use;"
        " dye lot 881 is older, but goes to Warp 119.",
        "Dye lot 881 has 12 000 g free and is used up; no other covers it.",
        "Dye lot 917 has 9000 g free, 3000 g stay; dye lot 881 is older, but goes to Warp 119.",
    ]


def test_what_is_short_says_who_has_what_would_have_covered_it():
    shared = shared_of([warp(118, 6000), warp(119, 7000, on=1), warp(120, 7000, on=2)], [lot("A12", "881", 13_000)])
    assert plainly(shared.choices[2].why) == (
        "Warp 120 needs 7000 g of one dye lot; 0 g are free: 7000 g short."
        " Dye lot 881 has 13 000 g and would cover it, but goes to Warp 118 and Warp 119."
    )


def test_the_need_that_counts_for_more_is_served_and_of_equals_the_first_wanted():
    lots = [lot("A12", "881", 10_000)]
    assert taken(shared_of([warp(1, 8000), warp(2, 8000, on=1)], lots)) == {"Warp 1": ("881",), "Warp 2": None}
    assert taken(shared_of([warp(1, 8000), warp(2, 8000, on=1, weight=2)], lots)) == {
        "Warp 1": None,
        "Warp 2": ("881",),
    }


def test_what_is_short_is_short_by_as_little_as_can_be():
    # 119 can't be served either way; were 118 to take the older dye lot, 119 would be 4 kg short instead of 1.
    lots = [lot("A", "881", 9000, came=9), lot("B", "904", 6000)]
    shared = shared_of([warp(118, 6000), warp(119, 10_000, on=1)], lots)
    assert taken(shared) == {"Warp 118": ("904",), "Warp 119": None}
    assert shared.choices[1].short_g == 1000
    assert plainly(shared.choices[0].why) == (
        "Dye lot 904 has 6000 g free and is used up; dye lot 881 is older, but is left for Warp 119, which would be"
        " short by 3000 g more."
    )


def test_two_small_needs_are_served_before_one_large_one_that_counts_as_much_as_each():
    lots = [lot("A12", "881", 10_000)]
    wants = [warp(1, 8000), warp(2, 5000, on=1), warp(3, 5000, on=2)]
    assert taken(shared_of(wants, lots)) == {"Warp 1": None, "Warp 2": ("881",), "Warp 3": ("881",)}


def test_warp_and_weft_of_a_yarn_share_its_lots():
    shared = shared_of([warp(1, 6000), weft(1, 3000, 3000, on=1)], [lot("A", "881", 9000), lot("B", "904", 6000)])
    # Either way 3 kg of 881 stay and 904 is used up; only with the weft on one dye lot nothing changes inside it.
    assert shared.outcome.changes == 0
    assert {dye_lot for dye_lots in taken(shared).values() for dye_lot in dye_lots} == {"881", "904"}


def test_a_weft_changes_dye_lot_so_that_a_warp_can_have_the_only_one_that_covers_it():
    lots = [lot("A", "881", 9000, came=9), lot("B", "904", 4000), lot("C", "917", 4500)]
    shared = shared_of([weft(1, 2000, 2000, 2000, 2000), warp(2, 9000, on=1)], lots)
    assert taken(shared) == {"the weft of Warp 1": ("904", "904", "917", "917"), "Warp 2": ("881",)}
    assert plainly(shared.choices[0].why) == (
        "Dye lot 881 has 9000 g free, but goes to Warp 2; the weft changes where a piece ends:"
        " dye lot 904 for pieces 1 to 2, dye lot 917 for pieces 3 to 4."
    )


def test_the_rest_of_a_piece_that_was_begun_is_of_its_dye_lot():
    lots = [lot("A", "881", 900), lot("B", "904", 9000, came=9)]
    shared = shared_of([weft(1, 800, 2000, 2000, begun="881")], lots)
    assert taken(shared) == {"the weft of Warp 1": ("881", "904", "904")}
    assert plainly(shared.choices[0].why) == (
        "A piece of it is begun of dye lot 881, which has 900 g free, too little for all of it; the weft changes where"
        " a piece ends: dye lot 881 for piece 1, dye lot 904 for pieces 2 to 3."
    )
    shared = shared_of([weft(1, 1000, 2000, begun="881")], lots)
    assert (shared.choices[0].is_met, shared.choices[0].short_g) == (False, 100)
    assert plainly(shared.choices[0].why).startswith(
        "Warp 1, weft needs 3000 g, and of that 1000 g for a piece that is begun of dye lot 881, which has 900 g free:"
        " 100 g short."
    )


def test_a_dye_lot_that_a_person_chose_is_kept_to_and_what_that_means_is_said():
    before = shared_of(ASKED_BY_HAND, BY_HAND)
    after = shared_of([replace(ASKED_BY_HAND[0], only="881"), *ASKED_BY_HAND[1:]], BY_HAND)
    assert [plainly(said) for said in differences(before, after)] == [
        "Warp 118 takes dye lot 881 instead of 904.",
        "Warp 119 is 3000 g short.",
        "The weft of Warp 118 takes dye lot 881 instead of 917.",
        "Dye lot 904 leaves 6500 g instead of 500 g.",
        "Dye lot 917 leaves 9000 g instead of 3000 g.",
    ]
    assert after.choices[0].why.endswith("; it was asked for.")


def test_yarns_are_decided_each_by_itself_in_the_order_in_which_they_are_named():
    shares = share_out([warp(1, 5, yarn=CREAM), warp(2, 5)], [lot("A", "881", 9)], useful_g=0)
    assert [shared.yarn for shared in shares] == [CREAM, MOSS]
    assert [shared.outcome.short for shared in shares] == [1, 0]


def test_without_stock_everything_is_short_and_said():
    shared = shared_of([warp(1, 5000), weft(1, 1000, 1000)], [lot("Q", "881", 9000, is_quarantined=True)])
    assert shared.outcome == Outcome(2, 2, short_g=7000)
    assert shared.is_proven
    assert all("it is in quarantine" in choice.why for choice in shared.choices)


@pytest.mark.parametrize(("days", "weight"), [(-30, 4), (7, 4), (8, 2), (28, 2), (29, 1), (300, 1)])
def test_what_is_wanted_sooner_counts_for_more(days, weight):
    assert weight_of(days) == weight
    assert weight_of(days, 3) == 3 * weight
