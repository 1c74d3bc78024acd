"""The search that makes a plan better, by small changes kept or taken back. Knows what a plan costs, not what it means.

Simulated annealing of the order of warps on looms. A change that costs more is kept with a chance that
shrinks as the search cools; most changes are turned down by a guess of two looms alone, the rest are timed
exactly. Runs as long as one cooling takes, then crosses the best plans so far and cools again from there.

The inner loop is in improve_kernel.py. It is compiled the first time it is wanted, 10 to 20 s once and under
a second from the compiler's cache; have it done in a worker. Without a compiler the same source runs as it
is, a thousand times slower: a first plan still comes, and is improved a little.

Source: Kirkpatrick, Gelatt and Vecchi (1983) for annealing; the shares, temperatures and lengths here were
found by trying on the sheds kept beside the tests.
"""

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, field
from functools import cache
from importlib.util import find_spec
from itertools import pairwise
from types import FunctionType
from typing import Any

import numpy as np

from planning import improve_kernel as k
from planning.improve_book import Book, write_book
from planning.list_rules import Sequences
from planning.shed import Shed
from planning.shed_plan import Cost, Plan, first_plan, time_plan

# Temperatures, as shares of the best plan's cost for each warp. A plan in force is warmed so little that it stays put.
HOT, COOL = 2.0, 0.2
CROSSED, NEAR = 0.6, 0.3
WARM = 0.6
# Of the warps that may change loom, no more than this share, or these few, do when a plan in force is mended; those
# whose loom is gone come on top. No source.
AWAY_SHARE, AWAY_FEW = 0.1, 6
# The last of each cooling goes into the best plan it came by, all but cold.
POLISH_FROM, COLD = 0.75, 0.01
# Changes to try for each warp in one cooling, after which another cooling gains more than a longer one.
CHANGES_PER_WARP = 45_000
# Plans kept to be crossed.
KEPT_PLANS = 6
# Up to so many warps that may be moved, the best plan is proven if there is time.
PROVEN_WARPS = 11
SLICE_S = 0.005
MOST_CHANGES = 20_000
SLICE_CHANGES = 2_000
# The proof looks at so many branches where the search would be allowed one change.
BRANCHES_PER_CHANGE = 10
WATCH_S = 0.1


@dataclass(frozen=True, slots=True)
class Progress:
    """How far the search is, for whoever waits. share_done is of the time or the changes it was given."""

    elapsed_s: float
    share_done: float
    changes: int
    cost: Cost


@dataclass(frozen=True, slots=True)
class Improved:
    """What the search found.

    is_optimal  proven: no plan at all costs less, the tuners serving in any order. Said of few
                warps only, and never with a plan in force, whose warps may be better off waiting
    changes     how many were tried
    stopped     it was told to stop before its time
    compiled    False when there was no compiler and the search went slowly
    """

    plan: Plan
    first: Plan
    is_optimal: bool
    changes: int
    stopped: bool
    compiled: bool


@dataclass(frozen=True, slots=True)
class Limit:
    """How long to search: seconds by a clock, or, the same on every machine, a number of changes."""

    seconds: float | None = None
    changes: int | None = None
    clock: Callable[[], float] | None = None

    @property
    def seconds_given(self) -> float:
        assert self.seconds is not None
        return self.seconds

    def now(self) -> float:
        return self.clock() if self.clock is not None else 0.0

    def __post_init__(self) -> None:
        assert (self.seconds is None) != (self.changes is None), "seconds or changes, one of them"
        assert self.changes is not None or self.clock is not None, "seconds need a clock"


def improve(
    shed: Shed,
    *,
    seed: int,
    limit: Limit,
    threads: int = 2,
    start: Plan | None = None,
    near: bool = False,
    stop: Callable[[], bool] | None = None,
    progress: Callable[[Progress], None] | None = None,
) -> Improved:
    """A plan for the shed that costs as little as can be found within the limit.

    limit       begins when the first plan stands and the inner loop is ready
    seed        the same seed, limit in changes and number of threads give the same plan
    start       the plan to begin with; None for the best paper rule, or, when the shed has
                a plan in force, for that with new warps fitted in
    near        look near the start, where little has changed since it was found
    stop        asked ten times a second; when it says True the best plan so far is the answer
    progress    told ten times a second

    A shed with a plan in force is searched near that plan, so that little moves.
    Raises Refusal when a warp fits no loom.
    """
    first = start or first_plan(shed, "keep" if shed.previous else "best")
    search = _Search(
        shed, first, seed=seed, limit=limit, threads=max(1, threads), near=near, stop=stop, progress=progress
    )
    search.run()
    return Improved(search.best, first, search.is_optimal, search.changes, search.halt.is_set(), search.kernel.compiled)


@dataclass(frozen=True)
class Kernel:
    """The inner loop, compiled or as it is; the two take the same steps."""

    compiled: bool
    rows: Callable[[Sequence[int], str], Any]
    stand: Callable[..., int]
    anneal: Callable[..., int]
    fit_in: Callable[..., int]
    keep_best: Callable[..., int]
    begin_proof: Callable[..., int]
    prove: Callable[..., int]


PLAIN = Kernel(
    compiled=False,
    rows=lambda values, _: list(values),
    stand=k.stand,
    anneal=k.anneal,
    fit_in=k.fit_in,
    keep_best=k.keep_best,
    begin_proof=k.begin_proof,
    prove=k.prove,
)

_compiling = threading.Lock()


def kernel() -> Kernel:
    """The compiled inner loop; as it is, on a machine without the compiler. Takes 10 to 20 s the first time of all."""
    if find_spec("numba") is None:
        return PLAIN
    with _compiling:
        return _compiled()


def is_ready() -> bool:
    """Whether this process can search at once, as well as it ever will."""
    return find_spec("numba") is None or _compiled.cache_info().currsize > 0


@cache
def _compiled() -> Kernel:
    import numba
    from numba import types

    number: dict[str, Any] = {
        "R": types.CPointer(types.int32),
        "T": types.CPointer(types.int64),
        "i": types.int64,
        "f": types.float64,
    }
    arrays: list[Any] = [
        types.Array(types.int32, 1, "C"),
        types.Array(types.int32, 1, "C"),
        types.Array(types.int64, 1, "C"),
    ]
    # The functions call each other by name, so the compiled ones live in a copy of their module's names.
    names = dict(vars(k))
    for marked in k.MARKED:
        plain = marked.plain
        assert isinstance(plain, FunctionType)
        own = FunctionType(plain.__code__, names, plain.__name__)
        own.__module__, own.__qualname__ = plain.__module__, plain.__qualname__
        kind, _, fields = marked.signature.rpartition("(")
        arguments = [number[one] for one in fields.rstrip(")").split(",") if one]
        options: dict[str, Any] = {"nogil": True, "cache": True, "error_model": "numpy"}
        if kind.startswith("door"):
            arguments = [*arrays, *arguments]
        else:
            options |= {"no_cpython_wrapper": True, "no_cfunc_wrapper": True, "forceinline": marked.inlined}
        names[plain.__name__] = numba.njit(types.int64(*arguments), **options)(own)
    return Kernel(
        compiled=True,
        rows=lambda values, kind: np.array(values, dtype=kind),
        stand=names["stand_door"],
        anneal=names["anneal_door"],
        fit_in=names["fit_in_door"],
        keep_best=names["keep_best_door"],
        begin_proof=names["begin_proof_door"],
        prove=names["prove_door"],
    )


@dataclass(frozen=True, slots=True, order=True)
class _Kept:
    """A plan that was found. Ordered by cost, so that the best of several is the least."""

    cost: int
    sequences: Sequences = field(compare=False)


class _Hand:
    """One thread's own floor and tally, and what it can do with them."""

    def __init__(self, book: Book, inner: Kernel, seed: int) -> None:
        self.book, self.inner = book, inner
        self.rows = inner.rows(book.rows, "int32")
        self.floor = inner.rows(book.fresh_floor(), "int32")
        self.tally = inner.rows(book.fresh_tally(), "int64")
        # Never 0, which would stay 0; neighbouring seeds have neighbouring first numbers, which are thrown away.
        self.tally[k.CHANCE] = (seed & k.CHANCE_LOW) + (12_345 << 32)
        for _ in range(16):
            self.below(2)

    @property
    def best_cost(self) -> int:
        return int(self.tally[k.BEST_COST])

    @property
    def changes(self) -> int:
        return int(self.tally[k.PROPOSED])

    def below(self, n: int) -> int:
        """A random number below n, from the same row of numbers as the inner loop's."""
        tally = [0] * k.TALLY_FIELDS
        tally[k.CHANCE] = int(self.tally[k.CHANCE])
        number = k.below(tally, n)
        self.tally[k.CHANCE] = tally[k.CHANCE]
        return number

    def begin(self, sequences: Sequences) -> None:
        """Take a whole plan, and let it be the best so far."""
        self.book.put(self.floor, sequences)
        self.inner.stand(self.rows, self.floor, self.tally)
        self.inner.keep_best(self.rows, self.floor, self.tally)

    def cool(self, temperature: float, changes: int) -> None:
        """Try changes at one temperature, then time the whole plan afresh: the two costs must be one."""
        self.tally[k.SLACK] = int(temperature)
        self.inner.anneal(self.rows, self.floor, self.tally, temperature, changes)
        cost = int(self.tally[k.COST])
        assert self.inner.stand(self.rows, self.floor, self.tally) == cost, "the resumed timing went astray"

    def cross(self, one: Sequences, other: Sequences) -> None:
        """Half the looms as in one plan, the rest as in the other; warps that then lack a loom are fitted in."""
        shed = self.book.shed
        taken = {loom.id: one[loom.id] for loom in shed.looms if self.below(2)}
        have = {warp_id for row in taken.values() for warp_id in row}
        for loom in shed.looms:
            if loom.id not in taken:
                taken[loom.id] = tuple(warp_id for warp_id in other[loom.id] if warp_id not in have)
                have.update(taken[loom.id])
        self.book.put(self.floor, taken)
        self.inner.stand(self.rows, self.floor, self.tally)
        missing = [(min(piece.due for piece in w.pieces), j) for j, w in enumerate(shed.warps) if w.id not in have]
        for _, j in sorted(missing):
            self.inner.fit_in(self.rows, self.floor, self.tally, j)
        self.inner.stand(self.rows, self.floor, self.tally)
        self.inner.keep_best(self.rows, self.floor, self.tally)

    def kept(self) -> _Kept:
        return _Kept(self.best_cost, self.book.best(self.floor))


@dataclass(frozen=True, slots=True)
class _Part:
    """A stretch of the search, from one share of the limit to another, cooling from one temperature to another."""

    begins: float
    stops: float
    hot: float
    cool: float

    def warmth(self, share: float) -> float:
        """The temperature, as a share of the cost for each warp, when so much of the part is done."""
        if share < POLISH_FROM:
            return self.hot * (self.cool / self.hot) ** (share / POLISH_FROM)
        return self.cool * COLD ** ((share - POLISH_FROM) / (1 - POLISH_FROM))


def _away(plan: Plan, shed: Shed) -> int:
    """How many warps of the plan in force stand on another loom."""
    return sum(plan.placements[warp].loom != was.loom for warp, was in shed.previous.items())


class _Search:
    """The whole of one call: parts one after another, in each of which every thread cools one plan."""

    def __init__(
        self,
        shed: Shed,
        first: Plan,
        *,
        seed: int,
        limit: Limit,
        threads: int,
        near: bool,
        stop: Callable[[], bool] | None,
        progress: Callable[[Progress], None] | None,
    ) -> None:
        self.shed, self.first, self.limit = shed, first, limit
        self.near, self.stop, self.progress = near, stop, progress
        self.best, self.is_optimal = first, False
        self.halt = threading.Event()
        self.kernel = kernel()
        self.began = limit.now()
        book = write_book(shed)
        self.loose = book.rows[k.LOOSE_COUNT]
        if shed.previous:
            free = sum(len(shed.looms_for[warp]) > 1 for warp in shed.previous)
            book.rows[k.AWAY_MOST] = _away(first, shed) + max(AWAY_FEW, int(AWAY_SHARE * free))
        threads = threads if self.kernel.compiled else 1
        self.hands = [_Hand(book, self.kernel, seed * 1_000_003 + thread) for thread in range(threads)]
        self.seen = [_Kept(first.cost.total, first.sequences)] * threads

    def run(self) -> None:
        if self.loose == 0:
            self.is_optimal = True
            return
        if self._can_be_proven():
            self._prove()
        if not self.is_optimal:
            self._anneal()

    # Annealing

    def _anneal(self) -> None:
        kept: list[_Kept] = []
        with ThreadPoolExecutor(len(self.hands)) as pool:
            for part in self._parts():
                if self.halt.is_set():
                    return
                begins = [self._beginning(hand, part, kept) for hand in self.hands]
                tasks = [pool.submit(self._cool, thread, part, begin) for thread, begin in enumerate(begins)]
                self._watch(tasks)
                for found in [task.result() for task in tasks]:
                    self._offer(found)
                    if found.cost not in {plan.cost for plan in kept}:
                        kept.append(found)
                kept = sorted(kept)[:KEPT_PLANS]

    def _parts(self) -> list[_Part]:
        """What is left of the limit, in coolings of about the length that gains most."""
        done = self._share_done()
        coolings = max(1, round(self._changes_expected() * (1 - done) / (CHANGES_PER_WARP * self.loose)))
        edges = [done + (1 - done) * i / coolings for i in range(coolings)] + [1.0]
        if self.shed.previous:
            return [_Part(begins, stops, WARM, WARM * COOL / HOT) for begins, stops in pairwise(edges)]
        afresh = -(-KEPT_PLANS // len(self.hands))
        first = NEAR if self.near else HOT
        return [
            _Part(begins, stops, first if number < afresh else CROSSED, COOL)
            for number, (begins, stops) in enumerate(pairwise(edges))
        ]

    def _changes_expected(self) -> float:
        """How many changes each thread will try, by what it does in a short while when half cooled."""
        if self.limit.changes is not None:
            return self.limit.changes / len(self.hands)
        seconds, hand = self.limit.seconds_given, self.hands[0]
        hand.begin(self.first.sequences)
        before, began, spent = hand.changes, self.limit.now(), 0.0
        while spent < min(0.05, seconds / 20):
            hand.cool(self._temperature(hand, CROSSED), 20)
            spent = self.limit.now() - began
        # Cooler, and from a better plan, it goes about twice as fast.
        return 2 * seconds * (hand.changes - before) / max(spent, 1e-9)

    def _beginning(self, hand: _Hand, part: _Part, kept: list[_Kept]) -> Callable[[], None]:
        """How a thread gets the plan that it is to cool."""
        if part.hot in (HOT, NEAR):
            return lambda: hand.begin(self.first.sequences)
        if part.hot == WARM or len(kept) < 2:
            return lambda: hand.begin(self.best.sequences)
        one = hand.below(len(kept))
        other = (one + 1 + hand.below(len(kept) - 1)) % len(kept)
        return lambda: hand.cross(kept[one].sequences, kept[other].sequences)

    def _temperature(self, hand: _Hand, share: float) -> float:
        """A share of what the best plan costs for each warp, pins apart."""
        return share * max(1, hand.best_cost % k.BROKEN_PIN_COST) / self.loose

    def _cool(self, thread: int, part: _Part, begin: Callable[[], None]) -> _Kept:
        hand = self.hands[thread]
        begin()
        slice_changes, tried, share, polishes = 100, 0, 0.0, False
        while share < 1.0 and not self.halt.is_set():
            if share >= POLISH_FROM and not polishes:
                polishes = True
                hand.begin(hand.kept().sequences)
            temperature = self._temperature(hand, part.warmth(share))
            if self.limit.changes is not None:
                given = max(1, round(self.limit.changes / len(self.hands) * (part.stops - part.begins)))
                hand.cool(temperature, min(SLICE_CHANGES, given - tried))
                tried += min(SLICE_CHANGES, given - tried)
                share = tried / given
            else:
                before = self.limit.now()
                hand.cool(temperature, slice_changes)
                now = self.limit.now()
                slice_changes = min(
                    MOST_CHANGES, max(1, int(slice_changes * SLICE_S / max(now - before, SLICE_S / 20)))
                )
                share = (self._share_at(now) - part.begins) / max(part.stops - part.begins, 1e-9)
            if hand.best_cost < self.seen[thread].cost:
                self.seen[thread] = hand.kept()
        return hand.kept()

    # Proof

    def _can_be_proven(self) -> bool:
        """With a plan in force, or warps to wind, one may be better off waiting, and the proof lets none wait."""
        under_way = any(warp.setup_left_min for warp in self.shed.warps)
        return self.loose <= PROVEN_WARPS and not self.shed.previous and not under_way and not self.shed.winds

    def _prove(self) -> None:
        """A short cooling for a plan that is hard to beat, then every way to beat it, in at most half the limit."""
        hand = self.hands[0]
        hand.begin(self.first.sequences)
        steps, changes = 40, (2_000 if self.kernel.compiled else 20) * self.loose
        for step in range(steps):
            hand.cool(self._temperature(hand, HOT * (COOL / HOT) ** (step / steps)), changes // steps)
        self._offer(hand.kept())
        self._look_at_branches(hand)

    def _look_at_branches(self, hand: _Hand) -> None:
        kernel, looked_at = self.kernel, 0
        at_once = 50_000 if kernel.compiled else 200
        kernel.begin_proof(hand.rows, hand.floor, hand.tally)
        while not self.is_optimal and not self._tell_and_ask():
            if self.limit.changes is not None and looked_at >= BRANCHES_PER_CHANGE * self.limit.changes:
                break
            if self.limit.changes is None and self._share_done() > 0.5:
                break
            self.is_optimal = bool(kernel.prove(hand.rows, hand.floor, hand.tally, at_once))
            looked_at += at_once
        if hand.tally[k.FOUND]:
            crew = hand.book.crew(hand.floor)
            self.best = time_plan(self.shed, hand.book.best(hand.floor), crew_order=crew)
            assert self.best.cost.total == hand.best_cost, "the proof's plan costs another sum when timed"

    # Those who wait

    @property
    def changes(self) -> int:
        return sum(hand.changes for hand in self.hands)

    def _share_at(self, now: float) -> float:
        return (now - self.began) / max(1e-9, self.limit.seconds_given)

    def _share_done(self) -> float:
        if self.limit.changes is not None:
            return min(1.0, self.changes / max(1, self.limit.changes))
        return min(1.0, self._share_at(self.limit.now()))

    def _offer(self, found: _Kept) -> None:
        if found.cost < self.best.cost.total:
            plan = time_plan(self.shed, found.sequences)
            assert plan.cost.total == found.cost, "the inner loop and the timing of plans disagree"
            self.best = plan

    def _tell_and_ask(self) -> bool:
        """Tell how far the search is; whether it is to stop."""
        if self.progress is not None:
            self._offer(min(self.seen))
            self.progress(Progress(self.limit.now() - self.began, self._share_done(), self.changes, self.best.cost))
        if self.stop is not None and self.stop():
            self.halt.set()
        return self.halt.is_set()

    def _watch(self, tasks: "list[Future[_Kept]]") -> None:
        """Wait for the threads; should whoever is told fail, they are called back first."""
        try:
            while wait(tasks, timeout=WATCH_S).not_done:
                self._tell_and_ask()
        except BaseException:
            self.halt.set()
            raise
