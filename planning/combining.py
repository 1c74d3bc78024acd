"""Combining: which order lines share a warp. Knows no calendar date, loom, beam or stock.

Lines whose cloths have the same warp may be wound together: each warp saved is a tie-on, its thrums and a set-up
saved. Against that stand the beam, which holds only so much, due dates, which must sit together, and the pieces at
the back of a long warp, which wait for those at its front.

`combine` finds the set of warps that costs least, and says whether that is proven; `filling.py` has the search. The
search is counted, not timed, so that it gives the same answer everywhere. When the count runs out, the best set found
so far stands and `is_proven` says no. More lines than `AT_ONCE` are dealt with in runs, in order of due date, each as
above, and the whole is not proven. In no case is the answer dearer than one warp a line.

Lines that a planner would not have together are kept apart: of each such set a warp holds one line at most.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import ceil, floor, gcd, lcm

import numpy as np

from mill.refusal import N_, Refusal
from mill.working import W_, Step, written
from planning import filling
from planning.formulae import DEFINED, PRACTICE

# Lines of one warp specification that are weighed against each other all at once.
AT_ONCE = 48
# So many sets of lines that are kept apart are told apart; more are taken together, which keeps more apart than asked.
BARS_AT_ONCE = 6
# What losses weigh, in minutes of set-up: see Rules. From memory.
MIN_PER_KG, MIN_PER_LATE_DAY, SPLIT_MIN = 40, 120, 15


@dataclass(frozen=True, slots=True)
class Line:
    """An order line that waits for a warp.

    key         whatever the caller knows it by
    pieces      that are not on a warp yet
    piece_m     warp of one piece, crimp included and header not
    due         the last day on which it may leave the loom, counted from any day zero
    weight      how much a day late matters
    may_split   its pieces may lie on several warps; a line longer than a beam must be allowed to
    """

    key: int
    pieces: int
    piece_m: Decimal
    due: int
    weight: int = 1
    may_split: bool = False

    def __post_init__(self) -> None:
        if self.pieces < 1 or self.piece_m <= 0:
            raise Refusal(
                N_(
                    "A line of %(pieces)s pieces with %(metres)s m of warp each has nothing to weave. Give it pieces"
                    " and a length."
                ),
                field="pieces",
                pieces=self.pieces,
                metres=self.piece_m,
            )
        assert self.weight >= 0


@dataclass(frozen=True, slots=True)
class Rules:
    """What a warp may be, and what its losses weigh against each other.

    max_warp_m        that the beam holds
    min_warp_m        no shorter warp is worth winding: what is missing counts as yarn lost
    thrums_m          once a warp, never cloth
    header_m          once a piece, never cloth
    warp_g_per_m      of all ends together
    due_spread_days   lines further apart don't share a warp
    starts            the first day on which a warp could be woven, counted as `Line.due`
    woven_m_per_day   warp that a loom weaves in a day, weekends spread over the week
    setup_min         that one more warp takes: creel, sections and doffing, and the loom's set-up

    All losses are weighed in minutes of set-up. The starting values are from memory; the mill's own are better.
    min_per_kg        a kilogram of yarn lost is worth so many minutes
    min_per_late_day  a piece is one day late, times the weight of its line
    split_min         each part of a line that lies on several warps: it is matched and kept together by hand
    """

    max_warp_m: Decimal
    min_warp_m: Decimal
    thrums_m: Decimal
    header_m: Decimal
    warp_g_per_m: Decimal
    due_spread_days: int
    starts: int
    woven_m_per_day: Decimal
    setup_min: int
    min_per_kg: int = MIN_PER_KG
    min_per_late_day: int = MIN_PER_LATE_DAY
    split_min: int = SPLIT_MIN

    def __post_init__(self) -> None:
        if self.max_warp_m <= self.thrums_m:
            raise Refusal(
                N_("The beam holds %(most)s m and the thrums alone are %(thrums)s m. Choose a larger beam."),
                field="max_warp_m",
                most=self.max_warp_m,
                thrums=self.thrums_m,
            )
        if self.min_warp_m > self.max_warp_m:
            raise Refusal(
                N_(
                    "The shortest warp worth winding is %(least)s m, the longest %(most)s m. Write a smaller least"
                    " length."
                ),
                field="min_warp_m",
                least=self.min_warp_m,
                most=self.max_warp_m,
            )
        if self.woven_m_per_day <= 0 or self.warp_g_per_m <= 0:
            raise Refusal(N_("A warp that weighs nothing, or is never woven, can't be combined. Check the cloth."))
        for what in ("min_warp_m", "thrums_m", "header_m", "due_spread_days", "setup_min"):
            assert getattr(self, what) >= 0, what
        for what in ("min_per_kg", "min_per_late_day", "split_min"):
            assert getattr(self, what) >= 0, what


@dataclass(frozen=True, slots=True)
class Part:
    """So many pieces of a line on one warp."""

    key: int
    pieces: int


@dataclass(frozen=True, slots=True)
class Proposal:
    """One warp, its parts in the order of weaving, and what is lost on it.

    warp_m       to wind: pieces, headers and thrums
    thrums_g     of the thrums alone
    short_m      missing to the shortest warp worth winding
    late_days    piece-days late, times the weight of the line, when it is woven from the first possible day on
    cost_min     all that is lost on it, weighed in minutes
    saves        against winding each part apart
    """

    parts: tuple[Part, ...]
    pieces: int
    warp_m: Decimal
    thrums_m: Decimal
    thrums_g: int
    headers_m: Decimal
    short_m: Decimal
    short_g: int
    late_days: int
    setup_min: int
    cost_min: Decimal
    saves: "Saving"


@dataclass(frozen=True, slots=True)
class Saving:
    """What is spared: warps, and with each its thrums and its set-up; and what all losses together come down by."""

    warps: int
    thrums_m: Decimal
    thrums_g: int
    setup_min: int
    cost_min: Decimal


@dataclass(frozen=True, slots=True)
class Combination:
    """A set of warps that takes up every piece.

    saves            against one warp a line; a line longer than a beam takes as many as it must
    is_proven        no other set costs less
    at_least_min     what any set costs at least
    """

    proposals: tuple[Proposal, ...]
    cost_min: Decimal
    apart_cost_min: Decimal
    saves: Saving
    is_proven: bool
    at_least_min: Decimal

    @property
    def room_left_pct(self) -> Decimal:
        """By how much of its cost it could at most be bettered; 0 when it is proven."""
        return (self.cost_min - self.at_least_min) / self.cost_min * 100 if self.cost_min else Decimal(0)


def combine(
    lines: Sequence[Line], rules: Rules, *, apart: Iterable[frozenset[int]] = (), steps: int = filling.STEPS
) -> Combination:
    """The set of warps that costs least.

    apart   sets of lines, by their keys, no two of which may be on one warp
    steps   how far to search; 0 for the quick rules alone

    Raises Refusal for a piece too long for the beam, and for a line that is too long and may not be split.

    >>> rules = Rules(
    ...     max_warp_m=Decimal(300), min_warp_m=Decimal(20), thrums_m=Decimal(3), header_m=Decimal("0.5"),
    ...     warp_g_per_m=Decimal(190), due_spread_days=21, starts=0, woven_m_per_day=Decimal(60), setup_min=250,
    ... )
    >>> found = combine([Line(1, 2, Decimal(70), due=20), Line(2, 1, Decimal(70), due=24)], rules)
    >>> [part.key for part in found.proposals[0].parts], found.saves.thrums_m, found.saves.thrums_g
    ([1, 2], Decimal('3'), 570)
    """
    assert len({line.key for line in lines}) == len(lines), "a line stands once among those to combine"
    for line in lines:
        check_line(line, rules)
    if not lines:
        return _combination([], [], {}, rules, at_least=0, is_proven=True)
    runs = [lines] if len(lines) <= AT_ONCE else _in_runs(lines)
    barred = [_bars(run, apart) for run in runs]
    found = [_fill(run, rules, _few(bars), steps) for run, bars in zip(runs, barred, strict=True)]
    warps = [warp for warps, _, _ in found for warp in warps]
    # The bounds of several runs together say nothing about lines of one with lines of another.
    is_whole = len(runs) == 1 and len(barred[0]) <= BARS_AT_ONCE
    return _combination(
        warps,
        _apart(lines, rules),
        {line.key: line for line in lines},
        rules,
        at_least=found[0][2] if is_whole else 0,
        is_proven=is_whole and found[0][1],
    )


def _bars(lines: Iterable[Line], apart: Iterable[frozenset[int]]) -> list[frozenset[int]]:
    """The sets to be kept apart that have two of these lines or more, none within another, the largest first."""
    keys = {line.key for line in lines}
    bars: list[frozenset[int]] = []
    for bar in sorted({bar & keys for bar in apart}, key=lambda bar: (-len(bar), sorted(bar))):
        if len(bar) > 1 and not any(bar <= other for other in bars):
            bars.append(bar)
    return bars


def _few(bars: list[frozenset[int]]) -> list[frozenset[int]]:
    if len(bars) <= BARS_AT_ONCE:
        return bars
    return [*bars[: BARS_AT_ONCE - 1], frozenset[int]().union(*bars[BARS_AT_ONCE - 1 :])]


def check_line(line: Line, rules: Rules) -> None:
    """Raises Refusal when no warp can hold a piece of the line, or all of a line that may not be split."""
    piece_m = line.piece_m + rules.header_m
    if piece_m + rules.thrums_m > rules.max_warp_m:
        raise Refusal(
            N_(
                "One piece takes %(metres)s m of warp with header and thrums, and a warp is at most %(most)s m. Choose"
                " a larger beam, or order shorter pieces."
            ),
            field="length_m",
            metres=piece_m + rules.thrums_m,
            most=rules.max_warp_m,
        )
    whole_m = line.pieces * piece_m + rules.thrums_m
    if not line.may_split and whole_m > rules.max_warp_m:
        raise Refusal(
            N_(
                "%(pieces)s pieces take %(metres)s m of warp, and a warp is at most %(most)s m. Let the line be split,"
                " or choose a larger beam."
            ),
            field="pieces",
            pieces=line.pieces,
            metres=whole_m,
            most=rules.max_warp_m,
        )


def propose(parts: Sequence[Part], lines: Iterable[Line], rules: Rules) -> Proposal:
    """One warp of just these parts, worked out: for what a planner puts together by hand.

    The lines are those that the parts are of. Raises Refusal when the warp is too long, or its dates too far apart.
    """
    by_key = {line.key: line for line in lines}
    assert parts, "a warp has a part"
    for part in parts:
        line = by_key[part.key]
        if not 1 <= part.pieces <= line.pieces:
            raise Refusal(
                N_("%(pieces)s pieces are asked for, and the line has %(left)s left. Write 1 to %(left)s."),
                field="pieces",
                pieces=part.pieces,
                left=line.pieces,
            )
    dues = [by_key[part.key].due for part in parts]
    if max(dues) - min(dues) > rules.due_spread_days:
        raise Refusal(
            N_(
                "The first and the last of these are due %(days)s days apart; lines that share a warp are at most"
                " %(most)s. Take one off, or allow a wider spread."
            ),
            field="due_spread_days",
            days=max(dues) - min(dues),
            most=rules.due_spread_days,
        )
    warp_m = _warp_m(parts, by_key, rules)
    if warp_m > rules.max_warp_m:
        raise Refusal(
            N_(
                "Together these take %(metres)s m of warp, and a warp is at most %(most)s m. Take a piece off, or"
                " choose a larger beam."
            ),
            field="max_warp_m",
            metres=warp_m,
            most=rules.max_warp_m,
        )
    return _worked(parts, by_key, rules)


# The working.

NEW_WARP = W_("New warp %(n)s")


@dataclass(frozen=True, slots=True)
class SetUpMinutes:
    """Minutes that a warp takes however long it is: creel, changes of section, doffing, and the loom's set-up."""

    creel: int
    sections: int
    section_change: int
    doff: int
    loom: int

    @property
    def together(self) -> int:
        return self.creel + self.sections * self.section_change + self.doff + self.loom


def working(
    proposals: Sequence[Proposal], lines: Iterable[Line], rules: Rules, *, set_up: SetUpMinutes, saves: Saving
) -> tuple[Step, ...]:
    """How the lengths of proposed warps came about, and what they save together."""
    by_key = {line.key: line for line in lines}
    return (
        *(_length_worked(n, proposal, by_key, rules) for n, proposal in enumerate(proposals, start=1)),
        Step(
            "thrums_g",
            N_("Thrums of a warp"),
            N_("thrums × warp yarn in a metre, upwards"),
            f"{written(rules.thrums_m)} × {written(rules.warp_g_per_m)}",
            _grams(rules.thrums_m, rules),
            "g",
            PRACTICE,
        ),
        Step(
            "setup_min",
            N_("Set-up of a warp"),
            N_("creel + sections × change + doff + set-up of the loom, by tying in"),
            f"{set_up.creel} + {set_up.sections} × {set_up.section_change} + {set_up.doff} + {set_up.loom}",
            set_up.together,
            "min",
            N_("the mill’s own minutes of a set-up"),
        ),
        *(_saved(saves.warps, rules) if saves.warps else ()),
    )


def _saved(warps: int, rules: Rules) -> tuple[Step, ...]:
    def step(name: str, label: str, formula: str, each: Decimal | int, unit: str) -> Step:
        sum = f"{warps} × {written(each)}"
        return Step(name, label, formula, sum, Decimal(written(warps * each)), unit, DEFINED)

    return (
        step("saved_thrums_m", N_("Thrums saved"), N_("warps saved × thrums"), rules.thrums_m, "m"),
        step(
            "saved_thrums_g",
            N_("Thrums saved"),
            N_("warps saved × thrums of a warp"),
            _grams(rules.thrums_m, rules),
            "g",
        ),
        step("saved_setup_min", N_("Set-up saved"), N_("warps saved × set-up of a warp"), rules.setup_min, "min"),
    )


def _length_worked(n: int, proposal: Proposal, by_key: dict[int, Line], rules: Rules) -> Step:
    header = written(rules.header_m)
    parts = (f"{part.pieces} × ({written(by_key[part.key].piece_m)} + {header})" for part in proposal.parts)
    return Step(
        f"warp_{n}_m",
        NEW_WARP % {"n": n},
        N_("pieces × (warp for a piece + header) + thrums"),
        " + ".join([*parts, written(rules.thrums_m)]),
        Decimal(written(proposal.warp_m)),
        "m",
        PRACTICE,
    )


# Figures of one warp, exact.


def _in_order(parts: Iterable[Part], by_key: dict[int, Line]) -> tuple[Part, ...]:
    return tuple(sorted(parts, key=lambda part: _order(by_key[part.key])))


def _order(line: Line) -> tuple[int, int, Decimal, int, bool, int]:
    """Woven in order of due date; of one day the more important first, then the shorter."""
    return (line.due, -line.weight, line.piece_m, line.pieces, line.may_split, line.key)


def _warp_m(parts: Iterable[Part], by_key: dict[int, Line], rules: Rules) -> Decimal:
    woven = sum((part.pieces * (by_key[part.key].piece_m + rules.header_m) for part in parts), start=Decimal(0))
    return woven + rules.thrums_m


def _late_days(parts: Iterable[Part], by_key: dict[int, Line], rules: Rules) -> int:
    """Weighted piece-days late, when the parts are woven one after another from `rules.starts` on."""
    late, woven_m = 0, Decimal(0)
    for part in parts:
        line = by_key[part.key]
        for _ in range(part.pieces):
            woven_m += line.piece_m + rules.header_m
            off_on = rules.starts + ceil(Fraction(woven_m) / Fraction(rules.woven_m_per_day)) - 1
            late += line.weight * max(0, off_on - line.due)
    return late


def _grams(length_m: Decimal, rules: Rules) -> int:
    return ceil(Fraction(length_m) * Fraction(rules.warp_g_per_m))


def _worked(parts: Iterable[Part], by_key: dict[int, Line], rules: Rules) -> Proposal:
    ordered = _in_order(parts, by_key)
    warp_m = _warp_m(ordered, by_key, rules)
    pieces = sum(part.pieces for part in ordered)
    short_m = max(Decimal(0), rules.min_warp_m - warp_m)
    cost = _cost(ordered, by_key, rules)
    apart = sum(_cost([part], by_key, rules) for part in ordered)
    thrums_g = _grams(rules.thrums_m, rules)
    fewer = len(ordered) - 1
    return Proposal(
        parts=ordered,
        pieces=pieces,
        warp_m=warp_m,
        thrums_m=rules.thrums_m,
        thrums_g=thrums_g,
        headers_m=pieces * rules.header_m,
        short_m=short_m,
        short_g=_grams(short_m, rules),
        late_days=_late_days(ordered, by_key, rules),
        setup_min=rules.setup_min,
        cost_min=_minutes(cost),
        saves=Saving(
            warps=fewer,
            thrums_m=fewer * rules.thrums_m,
            thrums_g=fewer * thrums_g,
            setup_min=fewer * rules.setup_min,
            cost_min=_minutes(apart - cost),
        ),
    )


def _cost(parts: Sequence[Part], by_key: dict[int, Line], rules: Rules) -> int:
    """What is lost on one warp, in thousandths of a minute: grams times minutes per kilogram come out whole.

    Headers are left out: each piece has its own on whatever warp it lies.
    """
    short_m = max(Decimal(0), rules.min_warp_m - _warp_m(parts, by_key, rules))
    lost_g = _grams(rules.thrums_m, rules) + _grams(short_m, rules)
    splits = sum(part.pieces < by_key[part.key].pieces for part in parts)
    minutes = rules.setup_min + splits * rules.split_min
    minutes += _late_days(parts, by_key, rules) * rules.min_per_late_day
    return minutes * 1000 + lost_g * rules.min_per_kg


def _minutes(cost: int) -> Decimal:
    return Decimal(cost) / 1000


def _combination(
    warps: Sequence[Sequence[Part]],
    apart: Sequence[Sequence[Part]],
    by_key: dict[int, Line],
    rules: Rules,
    *,
    at_least: int,
    is_proven: bool,
) -> Combination:
    proposals = [_worked(parts, by_key, rules) for parts in warps]
    proposals.sort(key=lambda proposal: [_order(by_key[part.key]) for part in proposal.parts])
    cost = sum(_cost(proposal.parts, by_key, rules) for proposal in proposals)
    apart_cost = sum(_cost(parts, by_key, rules) for parts in apart)
    assert cost <= apart_cost, "never worse than one warp a line"
    fewer = len(apart) - len(proposals)
    return Combination(
        proposals=tuple(proposals),
        cost_min=_minutes(cost),
        apart_cost_min=_minutes(apart_cost),
        saves=Saving(
            warps=fewer,
            thrums_m=fewer * rules.thrums_m,
            thrums_g=fewer * _grams(rules.thrums_m, rules),
            setup_min=fewer * rules.setup_min,
            cost_min=_minutes(apart_cost - cost),
        ),
        is_proven=is_proven,
        at_least_min=_minutes(min(cost, at_least)),
    )


def _apart(lines: Iterable[Line], rules: Rules) -> list[list[Part]]:
    """One warp a line; a line longer than the beam fills beams and leaves the rest on one more."""
    warps = []
    for line in lines:
        each = line.pieces
        if line.may_split:
            each = min(each, floor((rules.max_warp_m - rules.thrums_m) / (line.piece_m + rules.header_m)))
        full, rest = divmod(line.pieces, each)
        warps += [[Part(line.key, each)]] * full + ([[Part(line.key, rest)]] if rest else [])
    return warps


def _in_runs(lines: Sequence[Line]) -> list[list[Line]]:
    ordered = sorted(lines, key=_order)
    return [ordered[at : at + AT_ONCE] for at in range(0, len(ordered), AT_ONCE)]


# Lines as units that fill beams.


def _fill(
    lines: Sequence[Line], rules: Rules, bars: Sequence[frozenset[int]], steps: int
) -> tuple[list[list[Part]], bool, int]:
    """The warps, whether they are proven to cost least, and what any warps cost at least."""
    alike: dict[tuple[object, ...], list[Line]] = {}
    barred: frozenset[int] = frozenset().union(*bars)
    for line in sorted(lines, key=_order):
        own = line.may_split or line.key in barred
        same = (line.due, line.weight, line.piece_m, line.pieces, (line.key,) if own else ())
        alike.setdefault(same, []).append(line)
    groups = list(alike.values())
    found = filling.fill(_store(groups, rules, bars), steps=steps)
    waiting = [list(group) for group in groups]
    warps = []
    for pattern in found.warps:
        parts = []
        for i, units in pattern:
            if groups[i][0].may_split:
                parts.append(Part(groups[i][0].key, units))
            else:
                parts += [Part(line.key, line.pieces) for line in waiting[i][:units]]
                del waiting[i][:units]
        warps.append(parts)
    return warps, found.is_proven, found.at_least


def _store(groups: Sequence[Sequence[Line]], rules: Rules, bars: Sequence[frozenset[int]]) -> filling.Beams:
    """Lines in whole numbers. A unit is a piece of a line that may be split, else a whole line of those all alike."""
    firsts = [group[0] for group in groups]
    lengths = [Fraction(line.piece_m + rules.header_m) for line in firsts]
    # What all lengths have in common is one cell of the beam.
    scale = lcm(*(length.denominator for length in lengths))
    cell_m = Fraction(gcd(*(int(length * scale) for length in lengths)), scale)
    # No warp is longer than all lines together.
    all_m = sum(len(group) * group[0].pieces * length for group, length in zip(groups, lengths, strict=True))
    room = floor(min(Fraction(rules.max_warp_m - rules.thrums_m), all_m) / cell_m)
    cells_per_day = Fraction(rules.woven_m_per_day) / cell_m
    off_on = np.array([ceil(at / cells_per_day) for at in range(room + 1)], dtype=np.int64) + (rules.starts - 1)
    kinds = []
    for group, length in zip(groups, lengths, strict=True):
        line = group[0]
        units, pieces = (line.pieces, 1) if line.may_split else (len(group), line.pieces)
        cells = int(length / cell_m)
        weight = line.weight * rules.min_per_late_day * 1000
        kinds.append(
            filling.Kind(
                units=units,
                cells=cells * pieces,
                most=min(units, room // (cells * pieces)),
                late=_late(
                    weight * np.maximum(0, off_on - line.due), cells, pieces, min(units, room // (cells * pieces))
                ),
                in_pieces=line.may_split,
                part_cost=1000 * rules.split_min,
                bars=sum(1 << n for n, bar in enumerate(bars) if line.key in bar),
            )
        )
    dues = [line.due for line in firsts]
    return filling.Beams(
        room=room,
        fixed=1000 * rules.setup_min + _grams(rules.thrums_m, rules) * rules.min_per_kg,
        short=_short(room, cell_m, rules),
        kinds=tuple(kinds),
        last=tuple(
            max(j for j in range(i, len(dues)) if dues[j] - due <= rules.due_spread_days) for i, due in enumerate(dues)
        ),
    )


def _late(piece: filling.Ints, cells: int, pieces: int, most: int) -> tuple[filling.Ints, ...]:
    """What the lateness of 1, 2 ... units costs by the cell they begin at; `piece` is that of a piece by its last."""
    if not piece.any():
        return ()
    rows, so_far = [], np.zeros_like(piece)
    for n in range(1, most * pieces + 1):
        so_far[: len(so_far) - n * cells] += piece[n * cells :]
        if n % pieces == 0:
            rows.append(so_far.copy())
    return tuple(rows)


def _short(room: int, cell_m: Fraction, rules: Rules) -> filling.Ints:
    """What it costs that a warp with so many cells woven is too short to be worth winding."""
    least_m = Fraction(rules.min_warp_m - rules.thrums_m)
    cost = np.zeros(room + 1, dtype=np.int64)
    for at in range(min(room, floor(max(Fraction(0), least_m) / cell_m)) + 1):
        missing_m = max(Fraction(0), least_m - at * cell_m)
        cost[at] = ceil(missing_m * Fraction(rules.warp_g_per_m)) * rules.min_per_kg
    return cost
