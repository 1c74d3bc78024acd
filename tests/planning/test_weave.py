"""Threading and lifting: what a person writes, and what follows from it."""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from mill.refusal import Refusal
from planning import weave
from planning.weave import Weave, lifting_text, read_lifting, read_threading, threading_text

# --- reading and writing -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "threading"),
    [
        ("1 2 3 4", (1, 2, 3, 4)),
        ("1,2, 3,4", (1, 2, 3, 4)),
        ("1-4", (1, 2, 3, 4)),
        ("4-1", (4, 3, 2, 1)),
        ("3-3", (3,)),
        ("(1 2)x3 1", (1, 2, 1, 2, 1, 2, 1)),
        ("( 1-3 ) x 2", (1, 2, 3, 1, 2, 3)),
        ("((1 2)x2 3)×2", (1, 2, 1, 2, 3, 1, 2, 1, 2, 3)),
        ("24 1\n2", (24, 1, 2)),
    ],
)
def test_a_threading_is_read_as_people_write_it(text, threading):
    assert read_threading(text) == threading


@pytest.mark.parametrize(
    ("text", "lifting"),
    [
        ("1+2 2+3 3+4 1+4", ((1, 2), (2, 3), (3, 4), (1, 4))),
        ("1+2/2+3 / 3+4,4+1", ((1, 2), (2, 3), (3, 4), (1, 4))),
        ("1 0 2", ((1,), (), (2,))),
        ("(1+3 2)x2 12+24", ((1, 3), (2,), (1, 3), (2,), (12, 24))),
    ],
)
def test_a_lifting_is_read_as_people_write_it(text, lifting):
    assert read_lifting(text) == lifting


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "Threading: there is nothing. Write shafts and spaces"),
        ("  ", "Threading: there is nothing"),
        ("1 2 a 4", 'Threading, place 5: "a" can\'t be read'),
        ("1 25", "Threading, place 3: there is no shaft 25. Shafts run from 1 to 24."),
        ("1 0", "Threading, place 3: there is no shaft 0"),
        ("1 2+3", "Threading, place 3: 2+3 puts one end on several shafts. An end has one: write 2."),
        ("12+3", "Threading, place 1: 12+3 puts one end on several shafts. An end has one: write 12."),
        ("1 1-4-1", "Threading, place 3: 1-4-1 has more than two ends to its run"),
        ("(1 2", "Threading, place 1: a repeat begins that never ends"),
        ("1 2)x3", "Threading, place 4: a repeat ends that never began"),
        ("(1 2) 3", "Threading, place 5: a repeat does not say how often"),
        ("()x3", "Threading, place 2: a repeat of nothing"),
        ("(1 2)x0", "Threading, place 5: a repeat of nothing"),
        ("(1 2)x10001", "Threading, place 5: 2 times 10001 is more than 20000 ends"),
        ("(((1)x9999)x9999)x9999", "more than 20000 ends"),
        ("(1)x999999999999999999999999", "more than 20000 ends"),
        ("１ ２", "can't be read"),
    ],
)
def test_a_threading_that_makes_no_sense_is_refused_at_its_place(text, said):
    with pytest.raises(Refusal) as refusal:
        read_threading(text)
    assert said in refusal.value.message
    assert refusal.value.field == "threading"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "Lifting: there is nothing. Write the shafts of each pick joined by +"),
        ("12 23 34 41", "Lifting, place 7: there is no shaft 34. .*as in 3.4"),
        ("1+2 2+2", "Lifting, place 5: 2.2 lifts shaft 2 twice"),
        ("1-3", "Lifting, place 1: 1-3 is a run. Join the shafts of one pick by"),
        ("1+ 2", 'Lifting, place 2: "." can\'t be read'),
        ("1 0+2", "Lifting, place 3: there is no shaft 0"),
    ],
)
def test_a_lifting_that_makes_no_sense_is_refused_at_its_place(text, said):
    with pytest.raises(Refusal, match=said) as refusal:
        read_lifting(text)
    assert refusal.value.field == "lifting"


def test_a_lifting_with_its_joins_forgotten_is_read_as_shafts_above_nine():
    # 12 is shaft 12, never shafts 1 and 2: a weave of four shafts then refuses it with the pick's number.
    with pytest.raises(Refusal, match=r"Pick 1 lifts shaft 12, which carries no end: the threading uses 1, 2, 3, 4"):
        Weave.read(threading="1-4", lifting="12 23")


shafts = st.integers(1, 24)


@given(st.lists(shafts, min_size=1, max_size=60))
def test_a_threading_reads_back_from_its_own_text(threading):
    assert read_threading(threading_text(threading)) == tuple(threading)


@given(st.lists(st.frozensets(shafts, max_size=24), min_size=1, max_size=30))
def test_a_lifting_reads_back_from_its_own_text(lifting):
    assert read_lifting(lifting_text(lifting)) == tuple(tuple(sorted(pick)) for pick in lifting)


@given(st.text(alphabet="0123456789 ()x+-/,a", max_size=30))
def test_whatever_is_typed_is_read_or_refused(text):
    for read in (read_threading, read_lifting):
        try:
            items = read(text)
        except Refusal:
            continue
        assert items


def test_a_thousand_ends_on_24_shafts_are_carried():
    threading = read_threading("(1-24 23-2)x21 1-24 24-13 1-24 1-8")
    assert len(threading) == 21 * 46 + 68
    drafted = Weave(threading, tuple(frozenset({n, n % 24 + 1}) for n in range(1, 25)))
    assert drafted.shafts == 24
    assert drafted.repeat_ends == 1034
    assert read_threading(threading_text(threading)) == threading


@given(st.lists(st.integers(1, 3), min_size=1, max_size=12), st.integers(1, 4))
def test_the_smallest_repeat_makes_the_whole(part, times):
    whole = part * times
    n = weave.smallest_repeat(whole)
    assert whole == whole[:n] * (len(whole) // n)
    assert not any(
        whole == whole[:shorter] * (len(whole) // shorter) for shorter in range(1, n) if len(whole) % shorter == 0
    )


# --- the weave -----------------------------------------------------------------------------------------------------


def slow_floats(rows: list[list[bool]]) -> int:
    """The longest run in a ring, counted the long way round."""
    longest = 0
    for row in rows:
        if len(set(row)) == 1:
            return len(row)
        for start in range(len(row)):
            run = 1
            while row[(start + run) % len(row)] == row[start]:
                run += 1
            longest = max(longest, run)
    return longest


weaves = st.integers(1, 6).flatmap(
    lambda n: st.builds(
        lambda threading, lifting: Weave.of((*range(1, n + 1), *threading), lifting),
        st.lists(st.integers(1, n), max_size=8),
        st.lists(st.frozensets(st.integers(1, n)), min_size=1, max_size=10),
    )
)


@given(weaves)
def test_an_end_lies_over_a_pick_when_its_shaft_is_lifted(drafted):
    crossings = drafted.interlacing()
    assert crossings.shape == (drafted.repeat_picks, drafted.repeat_ends)
    for pick in range(drafted.repeat_picks):
        for end in range(drafted.repeat_ends):
            assert crossings[pick, end] == (drafted.threading[end] in drafted.lifting[pick])


@given(weaves)
def test_floats_and_intersections_are_those_counted_by_hand(drafted):
    crossings = drafted.interlacing()
    rows, columns = crossings.tolist(), crossings.T.tolist()
    assert drafted.longest_weft_float == slow_floats(rows)
    assert drafted.longest_warp_float == slow_floats(columns)
    changes = [sum(row[i] != row[i - 1] for i in range(len(row))) for row in rows]
    assert drafted.weft_intersections == Decimal(sum(changes)) / len(rows)
    changes = [sum(column[i] != column[i - 1] for i in range(len(column))) for column in columns]
    assert drafted.warp_intersections == Decimal(sum(changes)) / len(columns)


@given(weaves)
def test_a_thread_is_warned_of_exactly_when_it_never_interlaces(drafted):
    crossings = drafted.interlacing()
    loose = any(len(set(line)) == 1 for line in [*crossings.tolist(), *crossings.T.tolist()])
    assert bool(drafted.warnings) is loose


@given(weaves, st.integers(0, 3000))
def test_every_end_has_a_heald(drafted, ends):
    assert sum(drafted.healds_per_shaft(ends)) == ends
    assert sum(drafted.ends_per_shaft) == drafted.repeat_ends


@given(weaves, st.integers(1, 3))
def test_a_draft_written_out_several_times_is_the_same_weave(drafted, times):
    longer = Weave(drafted.threading * times, drafted.lifting * times)
    assert np.array_equal(longer.interlacing(), drafted.interlacing())
    assert longer.weft_intersections == drafted.weft_intersections
    assert longer.warnings == drafted.warnings


# name, shafts, ends and picks of a repeat, intersections per pick and per end, longest warp and weft float, balanced
BY_HAND = [
    ("plain", 2, 2, 2, 2, 2, 1, 1, True),
    ("2/1 twill", 3, 3, 3, 2, 2, 2, 2, False),
    ("1/2 twill", 3, 3, 3, 2, 2, 2, 2, False),
    ("2/2 twill", 4, 4, 4, 2, 2, 2, 2, True),
    ("3/1 twill", 4, 4, 4, 2, 2, 3, 3, False),
    ("3/3 twill", 6, 6, 6, 2, 2, 3, 3, True),
    # Picks 1 and 3 have their pairs cut by no edge, xx..xx..xx..xx.. has 8 changes; picks 2 and 4 are cut at both,
    # .xx..xx.x..xx..x has 10: 9 in the mean.
    ("2/2 herringbone, 8 and 8", 4, 16, 4, 9, 2, 2, 2, True),
    ("2/2 hopsack", 2, 4, 4, 2, 2, 2, 2, True),
    ("5-end satin", 5, 5, 5, 2, 2, 4, 4, False),
    ("8-end satin", 8, 8, 8, 2, 2, 7, 7, False),
]


@pytest.mark.parametrize("row", BY_HAND, ids=lambda row: row[0])
def test_the_mills_usual_weaves_worked_by_hand(row):
    name, n_shafts, ends, picks, per_pick, per_end, warp_float, weft_float, balanced = row
    known = weave.PRESETS[name]
    assert (known.shafts, known.repeat_ends, known.repeat_picks) == (n_shafts, ends, picks)
    assert known.weft_intersections == per_pick
    assert known.warp_intersections == per_end
    assert (known.longest_warp_float, known.longest_weft_float) == (warp_float, weft_float)
    assert known.is_balanced is balanced
    assert known.warnings == ()


def test_every_usual_weave_is_worked_by_hand():
    assert {row[0] for row in BY_HAND} == set(weave.PRESETS)


def test_a_2_2_twill_drawn_out():
    # One row a pick, from the first; x where the end is up.
    rows = ["".join("x" if up else "." for up in row) for row in weave.twill(2, 2).interlacing().tolist()]
    assert rows == ["xx..", ".xx.", "..xx", "x..x"]


def test_a_broken_draft_has_its_healds_counted():
    # 1 2 3 4 3 2 is six ends: 1 on shaft 1, 2 on 2, 2 on 3, 1 on 4. 1000 = 166 x 6 + 4: 166+1, 332+1, 332+1, 166+1.
    drafted = Weave.read(threading="1-4 3 2", lifting="1+2 2+3 3+4 1+4")
    assert drafted.ends_per_shaft == (1, 2, 2, 1)
    assert drafted.healds_per_shaft(1000) == (167, 333, 333, 167)


def test_an_empty_shaft_is_counted_and_has_no_healds():
    drafted = Weave.read(threading="1 2 4", lifting="1 2 4")
    assert drafted.shafts == 4
    assert drafted.healds_per_shaft(6) == (2, 2, 0, 2)


@pytest.mark.parametrize(
    ("threading", "lifting", "warnings"),
    [
        ("1 2 3", "1+3 2+3", ("End 3 never interlaces: it lies over every pick of the repeat.",)),
        ("1 2 3", "1 2", ("End 3 never interlaces: it lies under every pick of the repeat.",)),
        ("1 2", "1 2 1+2", ("Pick 3 never interlaces: it lies under every end of the repeat.",)),
        ("1 2", "1 2 0", ("Pick 3 never interlaces: it lies over every end of the repeat.",)),
        ("1 2 3 3 3 3 3", "1 2", ("5 ends never interlace: 3, 4, 5, 6 and more.",)),
    ],
)
def test_a_loose_thread_is_warned_of(threading, lifting, warnings):
    assert Weave.read(threading=threading, lifting=lifting).warnings == warnings


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: Weave((), (frozenset({1}),)), "needs a threading and a lifting"),
        (lambda: Weave((1,), ()), "needs a threading and a lifting"),
        (lambda: Weave((1, 25), (frozenset({1}),)), "There is no shaft 25"),
        (lambda: Weave.of((1, 2), ((1,), (3,))), "Pick 2 lifts shaft 3, which carries no end"),
        (lambda: weave.plain().healds_per_shaft(-1), "A warp of -1 ends"),
        (lambda: weave.twill(2), "over and under in turn"),
        (lambda: weave.twill(2, 0), "over and under in turn"),
        (lambda: weave.twill(13, 12), "A twill of 13/12 needs 25 shafts; there are at most 24"),
        (lambda: weave.herringbone(2, 1, ends_each_way=6), "made of an even twill, 2/2 or 3/3; this is 2/1"),
        (lambda: weave.herringbone(2, 2, ends_each_way=10), "whole repeats of 4 ends, not 10"),
        (lambda: weave.hopsack(0), "1 or more threads together, not 0"),
        (lambda: weave.satin(5, step=4), "A satin of 5 ends can't step by 4. Take 2 or 3."),
        (lambda: weave.satin(8, step=2), "A satin of 8 ends can't step by 2. Take 3 or 5."),
        (lambda: weave.satin(6, step=2), "There is no satin of so many"),
        (lambda: weave.satin(25, step=2), "A satin of 25 ends needs 25 shafts"),
    ],
)
def test_what_no_loom_weaves_is_refused(make, said):
    with pytest.raises(Refusal, match=said):
        make()


@given(st.sampled_from([(2, 2), (3, 3), (5, 5)]), st.integers(1, 6))
def test_a_herringbone_cuts_clean(steps, repeats):
    ends_each_way = sum(steps) * repeats
    crossings = weave.herringbone(*steps, ends_each_way=ends_each_way).interlacing()
    for edge in (ends_each_way - 1, 2 * ends_each_way - 1):
        beside = (edge + 1) % crossings.shape[1]
        assert (crossings[:, edge] != crossings[:, beside]).all()


def test_a_long_threading_is_written_short():
    assert threading_text(read_threading("(1-4)x250 1 2")) == "(1-4)x250 1 2"
    assert threading_text((1, 2) * 300 + (3,)) == "(1 2)x299 1-3"
