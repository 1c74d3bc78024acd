"""Combining: every answer against all there could be, and what must hold of any."""

import random
from collections import Counter
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from itertools import product
from math import ceil

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mill.refusal import Refusal
from planning import combining, filling
from planning.combining import Combination, Line, Part, Proposal, Rules, combine, propose


def make_rules(**changes) -> Rules:
    return Rules(
        **{
            "max_warp_m": Decimal(300),
            "min_warp_m": Decimal(20),
            "thrums_m": Decimal(3),
            "header_m": Decimal("0.5"),
            "warp_g_per_m": Decimal(190),
            "due_spread_days": 21,
            "starts": 0,
            "woven_m_per_day": Decimal(60),
            "setup_min": 250,
            **changes,
        }
    )


def make_line(key: int = 1, pieces: int = 1, piece_m: str | int = 70, due: int = 30, **changes) -> Line:
    return Line(key, pieces, Decimal(piece_m), due, **changes)


# The same, by trying everything. Written from the meaning of the rules alone, sharing no code with the room.


def loss(
    pieces: dict[int, int], lines: dict[int, Line], rules: Rules, apart: tuple[frozenset[int], ...] = ()
) -> int | None:
    """Thousandths of a minute lost on one warp; None when the rules or the planner forbid it."""
    if any(one != other and one in bar and other in bar for bar in apart for one in pieces for other in pieces):
        return None
    parts = sorted(
        ((lines[key], n) for key, n in pieces.items()),
        key=lambda p: (p[0].due, -p[0].weight, p[0].piece_m, p[0].pieces, p[0].may_split, p[0].key),
    )
    woven_m, late = Fraction(0), 0
    for line, n in parts:
        for _ in range(n):
            woven_m += Fraction(line.piece_m) + Fraction(rules.header_m)
            day = rules.starts + ceil(woven_m / Fraction(rules.woven_m_per_day)) - 1
            late += line.weight * max(0, day - line.due)
    length_m = woven_m + Fraction(rules.thrums_m)
    dues = [line.due for line, _ in parts]
    if length_m > rules.max_warp_m or max(dues) - min(dues) > rules.due_spread_days:
        return None
    short_m = max(Fraction(0), Fraction(rules.min_warp_m) - length_m)
    grams = ceil(Fraction(rules.thrums_m) * Fraction(rules.warp_g_per_m)) + ceil(short_m * Fraction(rules.warp_g_per_m))
    splits = sum(n < line.pieces for line, n in parts)
    minutes = rules.setup_min + splits * rules.split_min + late * rules.min_per_late_day
    return 1000 * minutes + grams * rules.min_per_kg


def least_loss(lines: list[Line], rules: Rules, apart: tuple[frozenset[int], ...] = ()) -> Decimal:
    by_key = {line.key: line for line in lines}

    @lru_cache(None)
    def least(left: tuple[int, ...]) -> int | None:
        if not any(left):
            return 0
        first = next(i for i, n in enumerate(left) if n)
        shares = []
        for i, (line, n) in enumerate(zip(lines, left, strict=True)):
            some = range(1, n + 1) if line.may_split else [n]
            shares.append([0] if not n else list(some) if i == first else [0, *some])
        found = []
        for share in product(*shares):
            cost = loss({line.key: n for line, n in zip(lines, share, strict=True) if n}, by_key, rules, apart)
            rest = None if cost is None else least(tuple(a - b for a, b in zip(left, share, strict=True)))
            if rest is not None:
                found.append(cost + rest)
        return min(found, default=None)

    return Decimal(least(tuple(line.pieces for line in lines))) / 1000


def small_case(rng: random.Random) -> tuple[list[Line], Rules]:
    rules = make_rules(
        max_warp_m=Decimal(rng.choice([150, 200, 260, 320])),
        min_warp_m=Decimal(rng.choice([0, 20, 80])),
        thrums_m=Decimal(rng.choice(["0", "3", "3.5"])),
        header_m=Decimal(rng.choice(["0", "0.5"])),
        warp_g_per_m=Decimal(rng.choice(["150", "187.5"])),
        due_spread_days=rng.choice([5, 14, 40]),
        woven_m_per_day=Decimal(rng.choice([15, 40])),
        setup_min=rng.choice([0, 60, 250]),
        min_per_late_day=rng.choice([0, 20, 120]),
        split_min=rng.choice([0, 15]),
    )
    lines = []
    for key in range(rng.randint(2, 6)):
        piece_m, pieces = Decimal(rng.choice(["23.4", "40", "61.7", "70", "33.35"])), rng.randint(1, 4)
        is_long = pieces * (piece_m + rules.header_m) + rules.thrums_m > rules.max_warp_m
        lines.append(
            Line(
                key,
                pieces,
                piece_m,
                due=rng.randint(0, 25),
                weight=rng.randint(1, 5),
                may_split=is_long or rng.random() < 0.3,
            )
        )
    return lines, rules


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(200))
def test_nothing_costs_less_than_what_is_proposed(seed):
    lines, rules = small_case(random.Random(seed))
    found = combine(lines, rules)
    assert found.cost_min == least_loss(lines, rules)
    assert found.is_proven
    assert found.at_least_min == found.cost_min


def kept_apart(rng: random.Random, lines: list[Line]) -> tuple[frozenset[int], ...]:
    """What a planner has refused: one to three sets of two lines or more."""
    keys = [line.key for line in lines]
    return tuple(frozenset(rng.sample(keys, rng.randint(2, len(keys)))) for _ in range(rng.randint(1, 3)))


@pytest.mark.parametrize("seed", range(200, 280))
def test_nothing_that_keeps_refused_lines_apart_costs_less(seed):
    rng = random.Random(seed)
    lines, rules = small_case(rng)
    apart = kept_apart(rng, lines)
    found = combine(lines, rules, apart=apart)
    assert found.cost_min == least_loss(lines, rules, apart)
    assert found.is_proven
    for proposal in found.proposals:
        assert all(len(bar & {part.key for part in proposal.parts}) <= 1 for bar in apart)


@pytest.mark.slow
@pytest.mark.parametrize("bars", [2, 5, 12])
def test_forty_lines_of_which_many_are_kept_apart_share_no_warp_that_was_refused(bars):
    lines, rules = forty_lines(2)
    free = combine(lines, rules, steps=20_000)
    # The planner refuses the fullest warps proposed, and some pairs.
    fullest = sorted(free.proposals, key=lambda proposal: -len(proposal.parts))
    apart = [frozenset(part.key for part in proposal.parts) for proposal in fullest[:bars]]
    apart += [frozenset(random.Random(n).sample(range(40), 2)) for n in range(bars - len(apart))]
    found = combine(lines, rules, apart=apart, steps=20_000)
    check(found, lines, rules)
    for proposal in found.proposals:
        assert all(len(bar & {part.key for part in proposal.parts}) <= 1 for bar in apart)
    assert found.cost_min >= free.at_least_min
    assert found.at_least_min <= combine(lines, rules, apart=apart, steps=0).cost_min


# What must hold of any answer.


@st.composite
def cases(draw) -> tuple[list[Line], Rules]:
    rules = make_rules(
        max_warp_m=Decimal(draw(st.integers(1000, 6000))) / 10,
        thrums_m=Decimal(draw(st.integers(0, 50))) / 10,
        due_spread_days=draw(st.integers(0, 60)),
        woven_m_per_day=Decimal(draw(st.integers(10, 200))),
        starts=draw(st.integers(-20, 40)),
    )
    lines = []
    for key in range(draw(st.integers(1, 14))):
        piece_m = Decimal(draw(st.integers(100, 940))) / 10
        pieces = draw(st.integers(1, 8))
        is_long = pieces * (piece_m + rules.header_m) + rules.thrums_m > rules.max_warp_m
        lines.append(
            Line(
                key, pieces, piece_m, draw(st.integers(0, 60)), draw(st.integers(1, 9)), is_long or draw(st.booleans())
            )
        )
    return lines, rules


def check(found: Combination, lines: list[Line], rules: Rules) -> None:
    by_key = {line.key: line for line in lines}
    wound = Counter()
    for proposal in found.proposals:
        assert len({part.key for part in proposal.parts}) == len(proposal.parts)
        wound.update({part.key: part.pieces for part in proposal.parts})
        assert proposal.warp_m <= rules.max_warp_m
        dues = [by_key[part.key].due for part in proposal.parts]
        assert max(dues) - min(dues) <= rules.due_spread_days
        assert dues == sorted(dues)
    assert wound == {line.key: line.pieces for line in lines}
    for line in lines:
        on = [proposal for proposal in found.proposals if line.key in {part.key for part in proposal.parts}]
        assert line.may_split or len(on) == 1
    assert found.at_least_min <= found.cost_min <= found.apart_cost_min
    assert found.saves.cost_min == found.apart_cost_min - found.cost_min
    assert found.cost_min == sum(proposal.cost_min for proposal in found.proposals)


@pytest.mark.slow
@settings(max_examples=60, deadline=None)
@given(cases())
def test_no_piece_is_lost_none_doubled_and_every_limit_kept(case):
    lines, rules = case
    check(combine(lines, rules, steps=20_000), lines, rules)
    check(combine(lines, rules, steps=0), lines, rules)


@settings(max_examples=20, deadline=None)
@given(cases(), st.randoms())
def test_the_order_in_which_lines_are_written_changes_nothing(case, rng):
    lines, rules = case
    mixed = list(lines)
    rng.shuffle(mixed)
    assert combine(mixed, rules, steps=20_000).proposals == combine(lines, rules, steps=20_000).proposals


def forty_lines(seed: int) -> tuple[list[Line], Rules]:
    rng = random.Random(seed)
    rules = make_rules(max_warp_m=Decimal(600), starts=5, woven_m_per_day=Decimal(45), setup_min=300)
    lines = [
        make_line(
            key,
            rng.randint(1, 6),
            str(Decimal(rng.randint(400, 900)) / 10),
            due=rng.randint(0, 70),
            weight=rng.choice([1, 1, 1, 2, 3, 5]),
        )
        for key in range(40)
    ]
    return lines, rules


@pytest.mark.parametrize("seed", range(3))
def test_forty_lines_are_proven_and_much_better_than_the_quick_rules(seed):
    lines, rules = forty_lines(seed)
    found = combine(lines, rules)
    check(found, lines, rules)
    assert found.is_proven
    assert found.cost_min < Decimal("0.95") * combine(lines, rules, steps=0).cost_min


def test_more_lines_than_are_weighed_at_once_are_still_all_wound_and_called_unproven(monkeypatch):
    lines, rules = forty_lines(1)
    whole = combine(lines, rules)
    monkeypatch.setattr(combining, "AT_ONCE", 12)
    found = combine(lines, rules)
    check(found, lines, rules)
    assert not found.is_proven
    assert whole.cost_min <= found.cost_min <= found.apart_cost_min


def test_when_the_steps_run_out_the_best_so_far_stands():
    rng = random.Random(1)
    rules = make_rules(max_warp_m=Decimal(600), starts=25, woven_m_per_day=Decimal(45), setup_min=300)
    lines = [make_line(n, rng.randint(1, 6), str(rng.randint(400, 900) / 10), rng.randint(0, 70)) for n in range(40)]
    few, more = combine(lines, rules, steps=200), combine(lines, rules, steps=20_000)
    check(few, lines, rules)
    assert more.cost_min <= few.cost_min
    assert max(few.at_least_min, more.at_least_min) <= more.cost_min


# Single facts, worked by hand.


def test_two_lines_that_fit_one_beam_share_it_and_save_one_set_of_thrums():
    found = combine([make_line(1, 2, 70, 20), make_line(2, 1, 70, 24)], make_rules())
    (warp,) = found.proposals
    # 3 x (70 + 0.5) + 3; thrums 3 m of 190 g.
    assert warp.warp_m == Decimal("214.5")
    assert (warp.headers_m, warp.thrums_g) == (Decimal("1.5"), 570)
    assert (found.saves.warps, found.saves.thrums_m, found.saves.thrums_g) == (1, 3, 570)
    # A set-up of 250 minutes, and 570 g at 40 minutes the kilogram.
    assert found.saves.cost_min == Decimal("272.8")
    assert warp.saves == found.saves


def test_lines_due_too_far_apart_keep_to_themselves():
    assert len(combine([make_line(1, due=10), make_line(2, due=31)], make_rules()).proposals) == 1
    assert len(combine([make_line(1, due=10), make_line(2, due=32)], make_rules()).proposals) == 2


def test_a_line_that_would_wait_too_long_behind_another_gets_its_own_warp():
    # 4 x 70.5 m at 30 m a day: the fourth piece is off on day 9 and two days late; alone it is off on day 2.
    lines = [make_line(1, 3, 70, due=7), make_line(2, 1, 70, due=7, weight=1)]
    together = combine(lines, make_rules(woven_m_per_day=Decimal(30), min_per_late_day=120))
    assert [proposal.late_days for proposal in together.proposals] == [2]
    apart = combine(lines, make_rules(woven_m_per_day=Decimal(30), min_per_late_day=150))
    assert [proposal.late_days for proposal in apart.proposals] == [0, 0]


def test_a_long_line_is_split_at_a_piece_and_its_rest_is_joined_by_others():
    lines = [make_line(1, 6, 70, may_split=True), make_line(2, 2, 70)]
    found = combine(lines, make_rules())
    assert sorted(sorted((p.key, p.pieces) for p in w.parts) for w in found.proposals) == [
        [(1, 2), (2, 2)],
        [(1, 4)],
    ]


def test_a_warp_shorter_than_the_least_counts_what_is_missing_as_lost():
    (warp,) = combine([make_line(1, 1, 10)], make_rules()).proposals
    assert (warp.warp_m, warp.short_m, warp.short_g) == (Decimal("13.5"), Decimal("6.5"), 1235)


def test_lines_that_are_all_alike_are_told_apart():
    found = combine([make_line(key, 2, 70) for key in range(5)], make_rules())
    assert sorted(part.key for warp in found.proposals for part in warp.parts) == [0, 1, 2, 3, 4]
    assert [warp.pieces for warp in found.proposals] == [4, 4, 2]


def test_nothing_to_combine_is_an_empty_answer():
    found = combine([], make_rules())
    assert (found.proposals, found.cost_min, found.is_proven) == ((), 0, True)


# Refusals: the thing, both numbers, the way out.


@pytest.mark.parametrize(
    ("line", "sentence"),
    [
        (make_line(1, 1, 300), r"One piece takes 303.5 m of warp .* a warp is at most 300 m. Choose a larger beam"),
        (make_line(1, 5, 70), r"5 pieces take 355.5 m of warp, and a warp is at most 300 m. Let the line be split"),
    ],
)
def test_what_no_beam_holds_is_refused(line, sentence):
    with pytest.raises(Refusal, match=sentence):
        combine([line], make_rules())


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"max_warp_m": Decimal(3)}, "The beam holds 3 m and the thrums alone are 3 m"),
        ({"min_warp_m": Decimal(400)}, "The shortest warp worth winding is 400 m, the longest 300 m"),
        ({"woven_m_per_day": Decimal(0)}, "never woven"),
    ],
)
def test_rules_that_no_warp_can_keep_are_refused(changes, sentence):
    with pytest.raises(Refusal, match=sentence):
        make_rules(**changes)


@pytest.mark.parametrize(("pieces", "piece_m"), [(0, 70), (2, 0), (2, -5)])
def test_a_line_with_nothing_to_weave_is_refused(pieces, piece_m):
    with pytest.raises(Refusal, match="has nothing to weave"):
        make_line(1, pieces, piece_m)


def test_a_warp_put_together_by_hand_is_worked_out_like_a_proposed_one():
    lines = [make_line(1, 2, 70, 20), make_line(2, 1, 70, 24)]
    by_hand = propose([Part(2, 1), Part(1, 2)], lines, make_rules())
    assert isinstance(by_hand, Proposal)
    assert by_hand == combine(lines, make_rules()).proposals[0]


@pytest.mark.parametrize(
    ("parts", "sentence"),
    [
        ([Part(1, 3)], "3 pieces are asked for, and the line has 2 left. Write 1 to 2"),
        ([Part(1, 2), Part(2, 3)], "Together these take 355.5 m of warp, and a warp is at most 300 m"),
        ([Part(1, 2), Part(3, 1)], "due 22 days apart; lines that share a warp are at most 21"),
    ],
)
def test_a_warp_by_hand_that_breaks_a_rule_is_refused(parts, sentence):
    lines = [make_line(1, 2, 70, 20), make_line(2, 3, 70, 24), make_line(3, 1, 70, 42)]
    with pytest.raises(Refusal, match=sentence):
        propose(parts, lines, make_rules())


@pytest.mark.parametrize("turns", [1, 3])
def test_a_bound_that_was_not_followed_to_its_end_is_still_below_what_is_found(monkeypatch, turns):
    monkeypatch.setattr(filling, "TURNS", turns)
    for seed in range(2):
        lines, rules = forty_lines(seed)
        found = combine(lines, rules, steps=200)
        check(found, lines, rules)
        assert found.at_least_min <= found.cost_min
