"""Filling beams: which units go on which beam, so that all beams together cost least. Knows no line, date or yarn.

The units come in kinds, in the order in which they are woven. A warp costs a fixed sum, what its units cost by the
place where they begin, and what it costs to be short. Which kinds may share a warp is given by the last kind that
goes with each as the first, and by bars: of the kinds behind one bar a warp takes one at most.

1. Quick rules give a first answer: kinds in their order or the longest first, on the first or the fullest beam.
2. A price for every unit is sought, such that no warp that could be wound costs less than its units are worth. What all
   units are worth is then less than any set of warps costs: a bound. This is a linear program over all warps there
   could be (column generation); the warps it wants are found by a walk along the beam (a dynamic program).
3. Winding what the program would wind most of, and asking it again for the rest, gives a second answer. It mostly
   meets the bound, and then nothing is better.
4. Otherwise, for each number of warps that may still be better: warps that cost little more than their units are
   worth are put together until every unit is on one, the cheapest set first. The set found first is the best.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from heapq import heappop, heappush
from math import ceil, floor, inf

import numpy as np
from numpy.typing import NDArray

# Steps of the search: two or three seconds at most. A mill's usual lines take none or some thousands.
STEPS = 1_000_000
# Turns of the linear program: what a bound may take before it is used as it stands.
TURNS = 1_500
# Costs are whole numbers: a set that is better is better by 1 or more, and a bound is a broken number.
BETTER = 1 - 1e-3

# One warp: (kind, units) pairs in the order of weaving.
Pattern = tuple[tuple[int, int], ...]
Floats = NDArray[np.float64]
# By the bars that stand, being behind them with a kind taken before: a table of the beam.
Tables = dict[int, Floats]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Kind:
    """Units that are all alike.

    cells       of the beam that one unit takes; 1 or more
    most        units that a beam holds; 1 or more
    late        what 1, 2 ... `most` units cost more by the cell where they begin; empty when nothing
    in_pieces   the units are the pieces of one line: `part_cost` is that of each warp with some of them and not all
    bars        a bit for each bar that it is behind: with another kind behind the same bar it shares no warp
    """

    units: int
    cells: int
    most: int
    late: tuple[Ints, ...]
    in_pieces: bool = False
    part_cost: int = 0
    bars: int = 0


@dataclass(frozen=True)
class Beams:
    """What is to be wound, on beams that are all alike.

    room    cells of a beam
    fixed   cost of each warp
    short   what a warp costs more, by the cells it fills
    last    of each kind, the last that may share a warp with it when it is the first
    """

    room: int
    fixed: int
    short: Ints
    kinds: tuple[Kind, ...]
    last: tuple[int, ...]
    _costs: dict[Pattern, int] = field(default_factory=dict, repr=False)

    @property
    def units(self) -> tuple[int, ...]:
        return tuple(kind.units for kind in self.kinds)

    @cached_property
    def standing(self) -> tuple[int, ...]:
        """By kind, and behind the last one: the bars with kinds on both sides, before it and from it on."""
        before, behind, found = 0, 0, []
        for kind in reversed(self.kinds):
            behind |= kind.bars
            found.append(behind)
        found = [0, *found][::-1]
        for i, kind in enumerate(self.kinds):
            found[i] &= before
            before |= kind.bars
        return tuple(found)

    @cached_property
    def states(self) -> tuple[frozenset[int], ...]:
        """By kind, and behind the last one: which of the standing bars a warp may have a kind behind already."""
        found = [frozenset({0})]
        for i, kind in enumerate(self.kinds):
            stands = self.standing[i + 1]
            taken = {(state | kind.bars) & stands for state in found[i] if not state & kind.bars}
            found.append(frozenset(state & stands for state in found[i]) | taken | {0})
        return tuple(found)

    def pattern_cost(self, pattern: Pattern) -> int:
        known = self._costs.get(pattern)
        if known is None:
            at, known = 0, self.fixed
            for i, units in pattern:
                kind = self.kinds[i]
                known += int(kind.late[units - 1][at]) if kind.late else 0
                known += kind.part_cost if units < kind.units else 0
                at += units * kind.cells
            known += int(self.short[at])
            self._costs[pattern] = known
        return known

    def cost(self, warps: Iterable[Pattern]) -> int:
        return sum(self.pattern_cost(pattern) for pattern in warps)


@dataclass(frozen=True, slots=True)
class Filled:
    """A set of warps that takes up every unit; no set costs less than `at_least`."""

    warps: list[Pattern]
    is_proven: bool
    at_least: int


def fill(beams: Beams, *, steps: int = STEPS) -> Filled:
    """The set of warps that costs least, or the best that so many steps find; 0 for the quick rules alone."""
    best = min([apart(beams), *_quick(beams)], key=beams.cost)
    return _search(beams, best, steps) if steps > 0 else Filled(best, is_proven=False, at_least=0)


# First answers.


def apart(beams: Beams) -> list[Pattern]:
    """One warp a line; a line in pieces fills beams and leaves the rest on one more."""
    warps: list[Pattern] = []
    for i, kind in enumerate(beams.kinds):
        each = kind.most if kind.in_pieces else 1
        full, rest = divmod(kind.units, each)
        warps += [((i, each),)] * full + ([((i, rest),)] if rest else [])
    return warps


def _quick(beams: Beams) -> Iterator[list[Pattern]]:
    """Kinds in their order, or the longest first; each on the first warp that takes it, or on the fullest."""
    in_order = list(range(len(beams.kinds)))
    for order in (in_order, sorted(in_order, key=lambda i: -beams.kinds[i].cells)):
        for fullest in (False, True):
            yield _one_by_one(beams, order, fullest=fullest)


def _one_by_one(beams: Beams, order: Sequence[int], *, fullest: bool) -> list[Pattern]:
    loads: list[dict[int, int]] = []
    for i in order:
        kind, left = beams.kinds[i], beams.kinds[i].units
        while left:
            n = min(left, kind.most) if kind.in_pieces else 1
            fitting = [load for load in loads if _takes(beams, load, i, n)]
            # Of a line in pieces only the rest goes behind others, so that it isn't torn for nothing.
            if fitting and (n == left or not kind.in_pieces):
                load = max(fitting, key=lambda load: _filled(beams, load)) if fullest else fitting[0]
            else:
                loads.append(load := {})
            load[i] = load.get(i, 0) + n
            left -= n
    return [tuple(sorted(load.items())) for load in loads]


def _takes(beams: Beams, load: dict[int, int], i: int, n: int) -> bool:
    fits = _filled(beams, load) + n * beams.kinds[i].cells <= beams.room
    barred = any(beams.kinds[i].bars & beams.kinds[j].bars for j in load if j != i)
    return fits and not barred and max(*load, i) <= beams.last[min(*load, i)]


def _filled(beams: Beams, load: dict[int, int]) -> int:
    return sum(units * beams.kinds[i].cells for i, units in load.items())


# What pieces are worth, and the bound that follows.


@dataclass(slots=True)
class _Prices:
    """What a unit of each kind is worth, and a warp as such. Fair when no warp costs less than it is worth.

    tables   of each last kind that due dates allow: `table[j][state][cell]` is the most that kinds j to that one can
             still add to a warp whose beam is taken up to that cell, and that is behind those bars
    """

    unit: Floats
    warp: float
    tables: dict[int, list[Tables]] = field(default_factory=dict)

    def worth(self, units: Sequence[int], warps: int) -> float:
        return float(np.dot(self.unit, units)) + self.warp * warps


def _gains(beams: Beams, prices: _Prices, i: int, left: int) -> Iterator[tuple[int, int, Floats | float]]:
    """How many units of a kind a warp may take, the cells they fill, and what they add at each cell."""
    kind = beams.kinds[i]
    for units in range(1, min(left, kind.most) + 1):
        split = kind.part_cost if units < kind.units else 0
        gain: Floats | float = units * float(prices.unit[i]) - split
        if kind.late:
            gain = np.asarray(gain - kind.late[units - 1], dtype=np.float64)
        yield units, units * kind.cells, gain


def _walk(beams: Beams, prices: _Prices, left: Sequence[int]) -> list[tuple[float, Pattern]]:
    """Of each kind that is left, the warp begun with it that is worth most above its cost: by how much, and the warp.

    Fills `prices.tables` on the way, from the end of the beam to its front.
    """
    begins: dict[int, int] = {}
    for i, last in enumerate(beams.last):
        if left[i]:
            begins.setdefault(last, i)
    for last, first in begins.items():
        tables: list[Tables] = [{}] * (last + 2)
        tables[last + 1] = dict.fromkeys(beams.states[last + 1], -beams.short.astype(np.float64))
        for j in range(last, first, -1):
            bars, stands, tables[j] = beams.kinds[j].bars, beams.standing[j + 1], {}
            gains = list(_gains(beams, prices, j, left[j]))
            for state in beams.states[j]:
                table = tables[j + 1][state & stands].copy()
                behind = tables[j + 1].get((state | bars) & stands, table)
                for _, cells, gain in gains if not state & bars else []:
                    reach = len(table) - cells
                    then = behind[cells:] + (gain if isinstance(gain, float) else gain[:reach])
                    np.maximum(table[:reach], then, out=table[:reach])
                tables[j][state] = table
        prices.tables[last] = tables
    return [_best_begun_with(beams, prices, i, left) for i in range(len(beams.kinds)) if left[i]]


def _best_begun_with(beams: Beams, prices: _Prices, i: int, left: Sequence[int]) -> tuple[float, Pattern]:
    """Read the best warp off the tables, from its front."""
    tables = prices.tables[beams.last[i]]
    pattern: list[tuple[int, int]] = []
    at, total, state = 0, prices.warp - beams.fixed, 0
    for j in range(i, beams.last[i] + 1):
        bars, stands = beams.kinds[j].bars, beams.standing[j + 1]
        # The first kind must be on the warp, the others may.
        best, took = -inf if j == i else float(tables[j + 1][state & stands][at]), (0, 0, 0.0)
        for units, cells, gain in _gains(beams, prices, j, left[j]):
            if at + cells > beams.room or state & bars:
                break
            here = gain if isinstance(gain, float) else float(gain[at])
            then = here + float(tables[j + 1][(state | bars) & stands][at + cells])
            if then > best:
                best, took = then, (units, cells, here)
        units, cells, here = took
        if units:
            pattern.append((j, units))
            state |= bars
        at, total, state = at + cells, total + here, state & stands
    return total - float(beams.short[at]), tuple(pattern)


@dataclass(frozen=True, slots=True)
class _Bound:
    """What a set of warps costs at least, by fair prices; and how much of each warp the linear program would wind.

    is_highest   the program came to its end: no prices give a higher bound
    """

    at_least: float
    prices: _Prices
    shares: list[tuple[float, Pattern]] = field(default_factory=list)
    is_highest: bool = False


def _price(beams: Beams, left: Sequence[int], warps: int | None, pool: dict[Pattern, None], *, enough: float) -> _Bound:
    """The highest bound for taking up what is left on so many warps, or on as many as it takes (None).

    pool     warps found before; grows
    enough   a bound so high ends it: the sets that it is for are no better than what there is

    The simplex method on all warps that could be wound: `_walk` finds the next one wanted.
    """
    n = len(beams.kinds)
    rows = n + (warps is not None)
    # A shade more than there is, of each a different shade, keeps the method from turning in a circle.
    demand = np.array([*left, warps or 0][:rows]) + 1e-7 * np.arange(1, rows + 1)
    # To begin with nothing is taken up, which costs more than any warp could.
    basis, cost = np.eye(rows), np.full(rows, 10.0 * beams.cost(apart(beams)))
    wound: list[Pattern | None] = [None] * rows
    listed, shapes, costs = _shapes(beams, pool, left, rows)
    best = _Bound(-inf, _Prices(np.zeros(n), 0.0))
    little = 1e-9 * max(1, beams.fixed)
    is_highest = False
    for turn in range(TURNS):
        dual = np.linalg.solve(basis.T, cost)
        gains = dual @ shapes - costs
        if turn == TURNS - 1 or gains.max(initial=-inf) <= little:
            prices = _Prices(dual[:n], float(dual[n]) if rows > n else 0.0)
            found = _walk(beams, prices, left)
            fair = _made_fair(beams, prices, max(0.0, *(gain for gain, _ in found)), left, warps)
            best = max(best, fair, key=lambda bound: bound.at_least)
            fresh = [pattern for gain, pattern in found if gain > little and pattern not in pool]
            is_highest = not fresh
            if is_highest or best.at_least >= enough:
                break
            pool.update(dict.fromkeys(fresh))
            listed, shapes, costs = _shapes(beams, pool, left, rows)
            gains = dual @ shapes - costs
        enters = int(gains.argmax())
        column, level = np.linalg.solve(basis, np.stack([shapes[:, enters], demand], axis=1)).T
        ratios = np.full(rows, inf)
        np.divide(level, column, out=ratios, where=column > 1e-7)
        leaves = int(ratios.argmin())
        basis[:, leaves], cost[leaves], wound[leaves] = shapes[:, enters], costs[enters], listed[enters]
    level = np.linalg.solve(basis, demand)
    shares = [(float(share), pattern) for share, pattern in zip(level, wound, strict=True) if pattern and share > 1e-5]
    return _Bound(best.at_least, best.prices, shares, is_highest)


def _made_fair(beams: Beams, prices: _Prices, gain: float, left: Sequence[int], warps: int | None) -> _Bound:
    """Prices lowered so that no warp is worth more than it costs, and the bound they give.

    gain   the most that a warp is worth above its cost
    """
    if warps is not None:
        fair = _Prices(prices.unit, prices.warp - gain, prices.tables)
    else:
        # Every warp costs `fixed` or more, so that all prices shrunk by this much are fair too.
        fair = _Prices(prices.unit * (beams.fixed / max(1e-9, beams.fixed + gain)), 0.0)
    return _Bound(fair.worth(left, warps or 0), fair)


def _shapes(
    beams: Beams, pool: Iterable[Pattern], left: Sequence[int], rows: int
) -> tuple[list[Pattern], Floats, Floats]:
    """The warps of the pool that could still be wound; a column for each, its units of each kind; what each costs.

    A last row of ones counts warps where they are counted.
    """
    listed = [pattern for pattern in pool if all(units <= left[i] for i, units in pattern)]
    shapes = np.ones((rows, len(listed)))
    shapes[: len(beams.kinds)] = 0
    for column, pattern in enumerate(listed):
        for i, units in pattern:
            shapes[i, column] = units
    return listed, shapes, np.array([beams.pattern_cost(pattern) for pattern in listed], dtype=np.float64)


# Putting warps together.


@dataclass(slots=True)
class _Steps:
    """How many steps are left."""

    left: int

    def take(self) -> bool:
        self.left -= 1
        return self.left >= 0


def _search(beams: Beams, best: list[Pattern], steps: int) -> Filled:
    """The cheapest set of warps, from the best that is known."""
    pool = dict.fromkeys([*best, *apart(beams)])
    left = _Steps(steps)
    limit = beams.cost(best)
    free = _price(beams, beams.units, None, pool, enough=limit - BETTER)
    if free.at_least > limit - BETTER:
        return Filled(best, is_proven=True, at_least=limit)
    best = min(best, _dive(beams, free, None, pool), key=beams.cost)
    wanted = floor(sum(share for share, _ in free.shares))
    # The bound for so many warps rises to both sides of the number that the linear program would wind.
    is_proven, lowest = free.is_highest, inf
    for numbers in (range(wanted, 0, -1), range(wanted + 1, sum(beams.units) + 1)):
        for warps in numbers:
            limit = beams.cost(best)
            bound = _price(beams, beams.units, warps, pool, enough=limit - BETTER)
            if bound.at_least > limit - BETTER:
                break
            best = min(best, _dive(beams, bound, warps, pool), key=beams.cost)
            if bound.at_least > beams.cost(best) - BETTER:
                continue
            better, is_done = _put_together(beams, bound.prices, warps, beams.cost(best) - bound.at_least, left)
            best = better or best
            if not is_done:
                is_proven, lowest = False, min(lowest, bound.at_least)
    cost = beams.cost(best)
    if is_proven:
        return Filled(best, is_proven, at_least=cost)
    # Where the linear program was not solved to its end, the numbers it would wind say nothing beyond its own bound.
    at_least = max(free.at_least, lowest) if free.is_highest else free.at_least
    return Filled(best, is_proven, at_least=min(cost, ceil(at_least - 1e-3)))


def _dive(beams: Beams, bound: _Bound, warps: int | None, pool: dict[Pattern, None]) -> list[Pattern]:
    """A whole set from the linear program's broken one: wind what it would wind most of, and ask again for the rest."""
    left, wound = list(beams.units), list[Pattern]()
    while bound.shares:
        share, pattern = max(bound.shares, key=lambda shared: (round(shared[0], 4), len(shared[1])))
        for _ in range(max(1, floor(share + 1e-4))):
            wound.append(pattern)
            for i, units in pattern:
                left[i] -= units
        if not any(left):
            return wound
        # Where the count can't be kept any more, as many as it takes.
        more = None if warps is None or warps <= len(wound) else warps - len(wound)
        bound = _price(beams, left, more, pool, enough=inf)
    return apart(beams)


def _put_together(
    beams: Beams, prices: _Prices, warps: int, spare: float, left: _Steps
) -> tuple[list[Pattern] | None, bool]:
    """The cheapest set of so many warps that costs less than the bound and `spare`.

    Returns it, or None when there is none, and whether the search came to its end.
    """
    for share in (64, 8, 1):
        found, is_done = _within(beams, prices, warps, spare / share - (share == 1), left)
        if found or not is_done:
            return found, is_done
    return None, True


def _within(beams: Beams, prices: _Prices, warps: int, spare: float, left: _Steps) -> tuple[list[Pattern] | None, bool]:
    """The set of so many warps that costs least above the worth of its pieces, and `spare` above it at most.

    The nearest to worth first: a state is what is left to be taken up, reached as cheaply as can be.
    """
    room = [kind.cells for kind in beams.kinds]
    start = (0, beams.units)
    reached: dict[tuple[int, tuple[int, ...]], float] = {start: 0.0}
    came_by: dict[tuple[int, tuple[int, ...]], tuple[tuple[int, tuple[int, ...]], Pattern]] = {}
    heap: list[tuple[float, int, tuple[int, ...]]] = [(0.0, 0, beams.units)]
    while heap:
        above, minus_done, units = heappop(heap)
        state = (-minus_done, units)
        if above > reached[state]:
            continue
        if not any(units):
            found = []
            while state != start:
                state, pattern = came_by[state]
                found.append(pattern)
            return found, True
        done = -minus_done + 1
        for pattern, over in _warps_within(beams, prices, units, spare - above + 1e-3, left):
            rest = list(units)
            for i, n in pattern:
                rest[i] -= n
            # So many warps must take up all of it, and none may be left with nothing.
            cells = sum(n * each for n, each in zip(rest, room, strict=True))
            if not done + ceil(cells / beams.room) <= warps <= done + sum(rest):
                continue
            then = (done, tuple(rest))
            if above + over < reached.get(then, inf) - 1e-9:
                reached[then], came_by[then] = above + over, (state, pattern)
                heappush(heap, (above + over, -done, then[1]))
        if left.left < 0:
            return None, False
    return None, True


def _warps_within(
    beams: Beams, prices: _Prices, units: Sequence[int], spare: float, left: _Steps
) -> Iterator[tuple[Pattern, float]]:
    """Every warp with the first kind that is left on it, that costs at most `spare` above its worth; and how much."""
    first = next(i for i, n in enumerate(units) if n)
    last = beams.last[first]
    tables = prices.tables[last]
    # Depth first along the kinds: (next kind, cells taken, bars it is behind, cost above worth so far, pattern).
    stack: list[tuple[int, int, int, float, Pattern]] = [(first, 0, 0, beams.fixed - prices.warp, ())]
    while stack and left.take():
        j, at, state, above, pattern = stack.pop()
        if j > last:
            yield pattern, max(0.0, above + float(beams.short[at]))
            continue
        kind, stands = beams.kinds[j], beams.standing[j + 1]
        if j > first and above - tables[j + 1][state & stands][at] <= spare:
            stack.append((j + 1, at, state & stands, above, pattern))
        if state & kind.bars:
            continue
        behind = (state | kind.bars) & stands
        for n in range(1, min(units[j], kind.most, (beams.room - at) // kind.cells) + 1):
            over = above - n * float(prices.unit[j])
            over += int(kind.late[n - 1][at]) if kind.late else 0
            over += kind.part_cost if n < kind.units else 0
            if over - tables[j + 1][behind][at + n * kind.cells] <= spare:
                stack.append((j + 1, at + n * kind.cells, behind, over, (*pattern, (j, n))))
