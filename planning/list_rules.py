"""Paper rules that put warps on looms one after another: due date, set-ups, urgency. Knows no cost of a plan."""

from bisect import insort
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from planning.shed import LoomState, Shed, Warp

Sequences = dict[str, tuple[str, ...]]
Floats = NDArray[np.float64]

RULES = ("earliest_due_date", "setups_first", "urgency", "keep")

# Scales of the urgency rule: how far ahead a due date is felt, how much a set-up is shunned, both against the mean.
DUE_SCALES = (0.3, 0.7, 1.5, 3.0, 8.0)
SETUP_SCALES = (0.1, 0.3, 1.0, 3.0)


def orders(shed: Shed, rule: str) -> Iterator[Sequences]:
    """Every order of warps that a rule proposes; "best" proposes those of all rules."""
    if not shed.warps:
        yield {loom.id: () for loom in shed.looms}
        return
    floor = _Floor(shed)
    if rule in ("earliest_due_date", "best"):
        yield earliest_due_date(floor)
    if rule in ("setups_first", "best"):
        yield setups_first(floor)
    if rule in ("urgency", "best"):
        for due_scale in DUE_SCALES:
            for setup_scale in SETUP_SCALES:
                yield urgency(floor, due_scale=due_scale, setup_scale=setup_scale)
    if rule == "keep" or (rule == "best" and shed.previous):
        yield keep(floor)


class _Pieces:
    """The pieces of all warps in arrays; loom times stretched to real minutes by each loom's share of open hours.

    warp, first     the warp of each piece, the first piece of each warp
    last_start      by loom: when the warp must start to weave for the piece to be off when due
    weave_min       by loom: minutes to weave each warp
    """

    def __init__(self, floor: "_Floor") -> None:
        shed, fits = floor.shed, floor.fits
        pieces = [piece for warp in shed.warps for piece in warp.pieces]
        self.weight = np.array([piece.weight for piece in pieces], dtype=np.float64)
        due = np.array([piece.due for piece in pieces], dtype=np.float64)
        self.warp = np.repeat(np.arange(len(shed.warps)), [len(warp.pieces) for warp in shed.warps])
        self.first = np.flatnonzero(np.diff(self.warp, prepend=-1))
        self.last_start, self.weave_min = [], []
        for m, loom in enumerate(shed.looms):
            stretch = shed.horizon / max(1, floor.hours[m].total)
            nowhere = [(1,) * len(warp.pieces) for warp in shed.warps]
            marks = [shed.marks(loom.id, w.id) if fits[m, j] else nowhere[j] for j, w in enumerate(shed.warps)]
            self.last_start.append(due - stretch * np.array([mark for row in marks for mark in row]))
            self.weave_min.append(stretch * np.array([row[-1] for row in marks]))
        used = [m for m in range(len(shed.looms)) if fits[m].any()]
        self.mean_weave_min = float(np.mean([self.weave_min[m][fits[m]].mean() for m in used]))
        self.mean_setup_min = max(1.0, float(np.mean([self._mean_setup(floor, m) for m in used])))

    @staticmethod
    def _mean_setup(floor: "_Floor", m: int) -> float:
        pairs = floor.shed.pair_times
        if pairs is None:
            return float(floor.setup_min_after(floor.looms[m].state).mean())
        return float(np.mean([pairs.setup_min[floor.looms[m].id, None, warp.id] for warp in floor.warps]))


class _Floor:
    """The shed in arrays, and the looms filling up. Tuners here serve in the order of planning."""

    def __init__(self, shed: Shed) -> None:
        self.shed = shed
        self.warps, self.looms = shed.warps, shed.looms
        self.number = {warp.id: j for j, warp in enumerate(shed.warps)}
        self.hours = [shed.hours(loom.id) for loom in shed.looms]
        self.fits = np.array(
            [[shed.fits(loom.id, warp.id) for warp in shed.warps] for loom in shed.looms], dtype=np.bool_
        ).reshape(len(shed.looms), len(shed.warps))
        self.release = np.array([shed.soonest[warp.id] for warp in shed.warps], dtype=np.float64)
        self.first_due = np.array([min(piece.due for piece in warp.pieces) for warp in shed.warps], dtype=np.float64)
        self.loose = np.array([warp.pin_start is None and warp.in_progress is None for warp in shed.warps])
        self.pinned = [
            sorted(
                (w for w in shed.warps if w.pin_start is not None and w.pin_loom == loom.id and w.in_progress is None),
                key=lambda w: w.pin_start or 0,
            )
            for loom in shed.looms
        ]
        self.known_setups: dict[LoomState, Floats] = {}
        self.clear()

    @cached_property
    def pieces(self) -> _Pieces:
        return _Pieces(self)

    def clear(self) -> None:
        """Empty looms but for the warps in progress, and everything else still to plan."""
        self.sequences: list[list[str]] = [[] for _ in self.looms]
        self.free = [loom.free_at for loom in self.looms]
        self.tuner_free = [0] * self.shed.tuners.capacity
        self.open = self.loose.copy()
        self.pins_left = [list(pinned) for pinned in self.pinned]
        for m, loom in enumerate(self.looms):
            if loom.id in self.shed.in_progress:
                self.put(m, self.shed.in_progress[loom.id])

    def last(self, m: int) -> str | None:
        return self.sequences[m][-1] if self.sequences[m] else None

    def setup_min(self, m: int) -> Floats:
        """Minutes of set-up of each warp, were it next on loom m."""
        shed, loom, last = self.shed, self.looms[m], self.last(m)
        if shed.pair_times is not None:
            minutes = shed.pair_times.setup_min
            return np.array([minutes.get((loom.id, last, warp.id), 0) for warp in self.warps], dtype=np.float64)
        return self.setup_min_after(loom.state if last is None else shed.warp[last].state_after)

    def setup_min_after(self, before: LoomState) -> Floats:
        if before not in self.known_setups:
            minutes = [self.shed.setup_before(before, warp).minutes for warp in self.warps]
            self.known_setups[before] = np.array(minutes, dtype=np.float64)
        return self.known_setups[before]

    def times(self, m: int, warp_id: str) -> tuple[int, int]:
        """When the set-up and when the weaving of a warp would be done, were it next on loom m."""
        shed, hours = self.shed, self.hours[m]
        loom, warp = self.looms[m], shed.warp[warp_id]
        setup = shed.setup_of(loom.id, self.last(m), warp_id)
        ready = self.free[m] if shed.pair_times is not None else max(self.free[m], shed.soonest[warp_id])
        if setup.needs_tuner and setup.minutes:
            _, ready = shed.tuner_hours.add_minutes(max(ready, self.tuner_free[0]), setup.minutes)
            tuner_until = ready
        else:
            _, ready = hours.add_minutes(ready, setup.minutes)
            tuner_until = 0
        x = hours.worked(max(ready, shed.soonest[warp_id], warp.pin_start or 0))
        return tuner_until, hours.completes(x + shed.weave_min(loom.id, warp_id))

    def put(self, m: int, warp_id: str) -> None:
        """Plan a warp next on loom m; a warp pinned to a minute goes first if this one would run into it."""
        tuner_until, end = self.times(m, warp_id)
        pins = self.pins_left[m] if self.shed.warp[warp_id].in_progress is None else []
        while pins and self._runs_into(m, warp_id, end, pins[0]):
            self.put(m, pins.pop(0).id)
            tuner_until, end = self.times(m, warp_id)
        if tuner_until:
            self.tuner_free.pop(0)
            insort(self.tuner_free, tuner_until)
        self.free[m] = end
        self.sequences[m].append(warp_id)
        self.open[self.number[warp_id]] = False

    def _runs_into(self, m: int, warp_id: str, end: int, pinned: Warp) -> bool:
        """Whether a warp pinned to a minute, set up after this one is off, would come too late for it."""
        shed, loom = self.shed, self.looms[m]
        if end > (pinned.pin_start or 0) or shed.pair_times is not None:
            return end > (pinned.pin_start or 0)
        setup = shed.setup_of(loom.id, warp_id, pinned.id)
        needs_tuner = setup.needs_tuner and setup.minutes
        begins = max(end, shed.soonest[pinned.id], self.tuner_free[0] if needs_tuner else 0)
        _, ready = (shed.tuner_hours if needs_tuner else self.hours[m]).add_minutes(begins, setup.minutes)
        return ready > (pinned.pin_start or 0)

    def filled(self) -> Sequences:
        """The orders once all is planned; pinned warps that nothing ran into come last."""
        for m, pins in enumerate(self.pins_left):
            while pins:
                self.put(m, pins.pop(0).id)
        return {loom.id: tuple(sequence) for loom, sequence in zip(self.looms, self.sequences, strict=True)}


def earliest_due_date(floor: _Floor) -> Sequences:
    """Each warp, the soonest due first, on the loom that would have it off first."""
    floor.clear()
    for j in np.argsort(floor.first_due, kind="stable"):
        if floor.open[j]:
            warp_id = floor.warps[j].id
            fitting = [m for m in range(len(floor.looms)) if floor.fits[m, j]]
            floor.put(min(fitting, key=lambda m: floor.times(m, warp_id)[1]), warp_id)
    return floor.filled()


def setups_first(floor: _Floor) -> Sequences:
    """The loom that comes free first takes the warp with the least set-up, of those the soonest due."""
    late = float(max(floor.first_due.max(), floor.release.max(), 1.0)) + 1.0

    def wish(m: int, t: int, setup_min: Floats) -> Floats:
        absent = np.maximum(floor.release - t, 0.0)
        return -(absent * late * late + setup_min * late + floor.first_due)

    return _loom_by_loom(floor, wish)


def urgency(floor: _Floor, *, due_scale: float, setup_scale: float) -> Sequences:
    """The loom that comes free first takes the warp that is most urgent for its set-up.

    Urgency falls off exponentially with the minutes to spare before each due
    date, with the set-up and with the wait for the warp, each against a scale.

    Source: apparent tardiness cost with set-ups (ATCS) of Lee, Bhaskaran and
    Pinedo (1997), summed over the pieces of a warp; the term for the wait for
    a release is ours.
    """
    pieces = floor.pieces
    due_ahead = 1.0 / (due_scale * pieces.mean_weave_min)
    setup_shunned = 1.0 / (setup_scale * pieces.mean_setup_min)
    absence_shunned = 1.0 / (0.3 * pieces.mean_weave_min)

    def wish(m: int, t: int, setup_min: Floats) -> Floats:
        absent = np.maximum(floor.release - t, 0.0)
        begins = t + absent + setup_min
        spare = np.maximum(pieces.last_start[m] - begins[pieces.warp], 0.0)
        felt = pieces.weight * np.exp(spare * -due_ahead)
        urgent = np.add.reduceat(felt, pieces.first) / pieces.weave_min[m]
        return np.log(urgent + 1e-300) - setup_min * setup_shunned - absent * absence_shunned

    return _loom_by_loom(floor, wish)


def keep(floor: _Floor) -> Sequences:
    """The order of the plan in force, with warps that are new to it, or can't stay, fitted in where they do least harm.

    Harm is judged loom by loom, as if a tuner were always there.
    """
    shed = floor.shed
    floor.clear()
    rows = [list(sequence) for sequence in floor.sequences]
    number = {loom.id: m for m, loom in enumerate(shed.looms)}
    stays = [
        (previous.start, warp_id, number[previous.loom])
        for warp_id, previous in shed.previous.items()
        if warp_id in shed.warp and shed.warp[warp_id].in_progress is None
        and previous.loom in number and shed.fits(previous.loom, warp_id)
    ]  # fmt: skip
    for _, warp_id, m in sorted(stays):
        rows[m].append(warp_id)
    kept = {warp_id for row in rows for warp_id in row}
    harms = [_lone_harms(shed, loom.id, row) for loom, row in zip(shed.looms, rows, strict=True)]
    for j in np.argsort(floor.first_due, kind="stable"):
        warp = shed.warps[j]
        if warp.id in kept:
            continue
        best: tuple[int, int, int] | None = None
        looms = [(number[loom_id], loom_id) for loom_id in shed.looms_for[warp.id]]
        # No place that does more harm than the end of some loom need be looked at to its end.
        least = min(_lone_next(shed, loom_id, harms[m][-1], warp.id).harm - harms[m][-1].harm for m, loom_id in looms)
        for m, loom_id in looms:
            whole = harms[m][-1].harm
            for place in range(1 if loom_id in shed.in_progress else 0, len(rows[m]) + 1):
                at = harms[m][place]
                for code in (warp.id, *rows[m][place:]):
                    at = _lone_next(shed, loom_id, at, code)
                    if at.harm - whole > least:
                        break
                else:
                    best, least = (at.harm - whole, m, place), at.harm - whole - 1
        assert best is not None, "first_plan has refused warps without a loom"
        rows[best[1]].insert(best[2], warp.id)
        harms[best[1]] = _lone_harms(shed, shed.looms[best[1]].id, rows[best[1]])
    return {loom.id: tuple(row) for loom, row in zip(shed.looms, rows, strict=True)}


def _loom_by_loom(floor: _Floor, wish: Callable[[int, int, Floats], Floats]) -> Sequences:
    """Fill the shed: whichever loom comes free first takes the warp it wishes for most."""
    floor.clear()
    busy = [m for m in range(len(floor.looms)) if floor.fits[m].any()]
    while floor.open.any():
        m = min(busy, key=lambda loom: (floor.free[loom], loom))
        fit = np.flatnonzero(floor.open & floor.fits[m])
        if not len(fit):
            busy.remove(m)
            continue
        wishes = wish(m, floor.free[m], floor.setup_min(m))
        floor.put(m, floor.warps[fit[np.argmax(wishes[fit])]].id)
    return floor.filled()


@dataclass(frozen=True, slots=True)
class _Lone:
    """A loom with a tuner always there: when it is free and after which warp, and what its order costs by then."""

    free_at: int
    before: str | None
    harm: int


def _lone_harms(shed: Shed, loom_id: str, row: Sequence[str]) -> list[_Lone]:
    """Before each place of a loom's order, and after the last."""
    found = [_Lone(shed.loom[loom_id].free_at, None, 0)]
    for warp_id in row:
        found.append(_lone_next(shed, loom_id, found[-1], warp_id))
    return found


def _lone_next(shed: Shed, loom_id: str, at: _Lone, warp_id: str) -> _Lone:
    hours, warp = shed.hours(loom_id), shed.warp[warp_id]
    setup = shed.setup_of(loom_id, at.before, warp_id)
    _, ready = (shed.tuner_hours if setup.needs_tuner else hours).add_minutes(
        max(at.free_at, shed.soonest[warp_id]), setup.minutes
    )
    x = hours.worked(max(ready, warp.pin_start or 0))
    ends = [hours.completes(x + mark) for mark in shed.marks(loom_id, warp_id)]
    late = sum(p.weight * max(0, end - p.due) for p, end in zip(warp.pieces, ends, strict=True))
    harm = at.harm + shed.objective.tardiness * late + shed.objective.setup * setup.minutes
    return _Lone(ends[-1], warp_id, harm)
