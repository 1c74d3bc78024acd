"""Which warp on which loom, in what order: the timing of a plan and its cost. Knows no search.

A plan is one order of warps for each loom. Each loom runs forward alone until its next warp needs
a tuner, and asks for one as soon as loom and warp are there. Of all open requests the earliest is
served by the first free tuner, in the tuners' hours; then the loom weaves and carries on. Where warps are still to be
wound, a loom's next warp asks for a beam and a warping mill before it asks for a tuner, and is served in the same way.

Source: Avgerinos, Mourtos, Vatikiotis and Zois (arXiv 2307.06671) describe the same shop: looms,
set-ups that depend on the order, a limited crew.
"""

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from heapq import heapify, heapreplace
from typing import Literal

from mill.refusal import Refusal
from planning.list_rules import RULES, Sequences, orders
from planning.shed import (
    Beams,
    Hours,
    Loom,
    LoomState,
    Objective,
    PairTimes,
    PieceDue,
    Previous,
    Setup,
    SetupTimes,
    Shed,
    Stability,
    Tuners,
    Warp,
    Winding,
    from_json,
    to_json,
)
from planning.worktime import WEEK_MIN, Calendar

__all__ = [
    "BROKEN_PIN_COST",
    "RULES",
    "Beams",
    "Cause",
    "Cost",
    "Hours",
    "Loom",
    "LoomState",
    "Objective",
    "PairTimes",
    "PieceDue",
    "Placement",
    "Plan",
    "Previous",
    "Sequences",
    "SetupTimes",
    "Shed",
    "Stability",
    "Tuners",
    "Warp",
    "WeekLoad",
    "Winding",
    "Wound",
    "first_plan",
    "from_json",
    "late_by_piece",
    "plan_file",
    "time_plan",
    "to_json",
    "weekly_load",
    "why_late",
    "wound_first",
]

# Above any lateness a plan can have, so that a search gives up every due date before a planner's pin.
BROKEN_PIN_COST = 10**13


@dataclass(frozen=True, slots=True)
class Placement:
    """One warp in its place.

    asked_at        when loom and warp are both there: the set-up could begin
    setup_start, setup_end, start, end   begin and end of set-up and of weaving; equal where there is none
    piece_ends      the minute at which each piece is off, in the order of weaving
    weighted_tardy_min  minutes late times weight, summed over its pieces
    beam            the kind of beam it is on; None where the plan knows of none, or has none to give
    winding         of a warp that was still to be wound
    """

    warp: str
    loom: str
    place: int
    setup: Setup
    asked_at: int
    setup_start: int
    setup_end: int
    start: int
    end: int
    piece_ends: tuple[int, ...]
    weighted_tardy_min: int
    beam: str | None = None
    winding: "Wound | None" = None


@dataclass(frozen=True, slots=True)
class Wound:
    """When a warp asks for a beam and a warping mill, when it is given the beam, and its winding."""

    asked_at: int
    given_at: int
    starts_at: int
    stops_at: int


@dataclass(frozen=True, slots=True)
class Cost:
    """What a plan costs, in parts, and what the parts were made of. Small is good.

    broken_pins     warps that can't start at the minute they are pinned to
    broken_beams    warps that wait for a beam that nobody gives up before: they are timed as if there were one more
    moved           warps of the plan in force that change loom or shift by more than the tolerance
    moved_frozen    those of them that were to start within the freeze
    """

    tardiness: int
    setup: int
    makespan: int
    moves: int
    pins: int
    weighted_tardy_min: int
    setup_min: int
    last_end: int
    tardy_pieces: int
    moved: int
    moved_frozen: int
    broken_pins: int
    broken_beams: int = 0

    @property
    def total(self) -> int:
        return self.tardiness + self.setup + self.makespan + self.moves + self.pins


@dataclass(frozen=True)
class Plan:
    """Timed orders of warps on looms. crew_order is None when tuners serve looms as they come free."""

    sequences: Sequences
    placements: Mapping[str, Placement]
    cost: Cost
    crew_order: tuple[str, ...] | None = None

    @cached_property
    def tuner_visits(self) -> list[Placement]:
        """Set-ups that hold a tuner, as they begin."""
        held = [p for p in self.placements.values() if p.setup.needs_tuner and p.setup.minutes]
        return sorted(held, key=_came_at)

    @cached_property
    def tuners_leave(self) -> list[Placement]:
        """The same, as they end."""
        return sorted(self.tuner_visits, key=_left_at)


def time_plan(shed: Shed, sequences: Mapping[str, Sequence[str]], *, crew_order: Sequence[str] | None = None) -> Plan:
    """The exact times of one order of warps for each loom, and their cost.

    sequences       loom to warps, first to last; looms without work may be left out
    crew_order      the order in which tuners serve warps; None: first come, first served

    Raises Refusal when a warp is left out, planned twice, on a loom that can't
    take it, or would be woven beyond the shed's horizon.
    """
    plain = {loom.id: tuple(sequences.get(loom.id, ())) for loom in shed.looms}
    _refuse_unweavable(shed, plain, set(sequences) - set(plain))
    runs = [_LoomRun(shed, number, loom, plain[loom.id]) for number, loom in enumerate(shed.looms)]
    if shed.winds:
        assert crew_order is None, "tuners serve in turn where warps are still to be wound"
        broken_beams = _Winders(shed, runs).work()
        placements = {placed.warp: placed for run in runs for placed in run.placed}
        return Plan(plain, placements, _cost(shed, placements, broken_beams))
    for run in runs:
        run.weave_until_tuner()
    waiting = [run for run in runs if run.asks]
    tuner_free = [0] * shed.tuners.capacity
    heapify(tuner_free)
    turn = {warp: number for number, warp in enumerate(crew_order or ())}
    while waiting:
        run = min(waiting, key=lambda r: turn[r.next_warp]) if crew_order else min(waiting, key=_LoomRun.comes)
        start, end = shed.tuner_hours.add_minutes(max(run.asked_at, tuner_free[0]), run.setup.minutes)
        heapreplace(tuner_free, end)
        run.weave_after(start, end)
        run.weave_until_tuner()
        if not run.asks:
            waiting.remove(run)
    placements = {placed.warp: placed for run in runs for placed in run.placed}
    return Plan(plain, placements, _cost(shed, placements), None if crew_order is None else tuple(crew_order))


class _LoomRun:
    """One loom on its way through its warps."""

    def __init__(self, shed: Shed, number: int, loom: Loom, sequence: Sequence[str]) -> None:
        self.shed, self.number, self.loom, self.sequence = shed, number, loom, sequence
        self.hours = shed.hours(loom.id)
        self.free = loom.free_at
        self.placed: list[Placement] = []
        self._look_ahead()

    @property
    def asks(self) -> bool:
        return len(self.placed) < len(self.sequence)

    @property
    def next_warp(self) -> str:
        return self.sequence[len(self.placed)]

    def comes(self) -> tuple[bool, int, int]:
        """Set-ups under way keep their tuner; then as they ask; looms in the shed's order."""
        under_way = self.shed.warp[self.next_warp].setup_left_min > 0
        return not under_way, self.asked_at, self.number

    def _look_ahead(self) -> None:
        if self.asks:
            warp = self.shed.warp[self.next_warp]
            self.beam = warp.beams[0] if warp.beams and warp.wind_min is None else None
            self.winding: Wound | None = None
            before = self.placed[-1].warp if self.placed else None
            self.setup = self.shed.setup_of(self.loom.id, before, self.next_warp)
            self.asked_at = self.free
            if self.shed.pair_times is None:
                self.asked_at = max(self.free, self.shed.warp[self.next_warp].release)

    def weave_until_tuner(self) -> None:
        while self.asks and not (self.setup.needs_tuner and self.setup.minutes):
            self.weave_after(*self.hours.add_minutes(self.asked_at, self.setup.minutes))

    def weave_after(self, setup_start: int, setup_end: int) -> None:
        warp = self.shed.warp[self.next_warp]
        marks = self.shed.marks(self.loom.id, warp.id)
        x = self.hours.worked(max(setup_end, warp.release, warp.pin_start or 0))
        start = self.hours.begins(x)
        if not self.setup.minutes:
            setup_start = setup_end = start
        ends = tuple(self.hours.completes(x + mark) for mark in marks)
        late = sum(piece.weight * max(0, end - piece.due) for piece, end in zip(warp.pieces, ends, strict=True))
        self.placed.append(
            Placement(
                warp=warp.id,
                loom=self.loom.id,
                place=len(self.placed),
                setup=self.setup,
                asked_at=self.asked_at,
                setup_start=setup_start,
                setup_end=setup_end,
                start=start,
                end=ends[-1],
                piece_ends=ends,
                weighted_tardy_min=late,
                beam=self.beam,
                winding=self.winding,
            )
        )
        self.free = ends[-1]
        self._look_ahead()


# What happens next on a loom; of what happens in the same minute, in this order.
_BEAM_FREE, _ASKS, _STARTS = 0, 1, 2


class _Winders:
    """Beams, warping mills and tuners, serving looms minute after minute, the first first."""

    def __init__(self, shed: Shed, runs: Sequence[_LoomRun]) -> None:
        winding = shed.winding
        assert winding is not None, "a warp to be wound is refused without warping mills"
        self.shed, self.winding, self.runs = shed, winding, runs
        self.free = {beams.kind: beams.count - shed.beams_held[beams.kind] for beams in winding.beams}
        self.mill_free = [0] * winding.mills
        self.tuner_free = [0] * shed.tuners.capacity
        # By loom: when the beam in it comes free, and of what kind; when its next warp asks or starts.
        self.off: dict[int, tuple[int, str]] = {}
        self.next: dict[int, tuple[int, int]] = {}
        self.queue: list[tuple[int, int]] = []
        self.now = self.broken = 0

    def work(self) -> int:
        """Time every warp; how many of them were given a beam that is not there."""
        for run in self.runs:
            self._look_ahead(run, 0)
        for run in self.runs:
            if run.asks and self.shed.warp[run.next_warp].setup_left_min:
                self._start(run, run.asked_at)
        while self.next or self.off or self.queue:
            events = [(at, _BEAM_FREE, number) for number, (at, _) in self.off.items()]
            events += [(at, what, number) for number, (at, what) in self.next.items()]
            if not events:
                # Nobody gives a beam up any more, and nothing goes on.
                asked_at, number = self.queue.pop(0)
                self.broken += 1
                self._wind(self.runs[number], asked_at, None)
                continue
            self.now, what, number = min(events)
            if what == _BEAM_FREE:
                _, kind = self.off.pop(number)
                self.free[kind] += 1
                self._hand_on(kind)
            elif what == _ASKS:
                del self.next[number]
                self._ask(self.runs[number])
            else:
                self._start(self.runs[number], self.now)
        return self.broken

    def _look_ahead(self, run: _LoomRun, weaves_from: int) -> None:
        """When the loom's next warp asks for a beam, or starts; the one before it weaves from then on."""
        self.next.pop(run.number, None)
        if not run.asks:
            return
        warp = self.shed.warp[run.next_warp]
        if warp.wind_min is None:
            self.next[run.number] = (run.asked_at, _STARTS)
            return
        hours = self.shed.winding_hours
        x = hours.worked(max(run.free - self.winding.ahead_min, 0)) - warp.wind_min
        wanted = hours.begins(x) if x > 0 else 0
        self.next[run.number] = (max(warp.wind_from, weaves_from, wanted), _ASKS)

    def _ask(self, run: _LoomRun) -> None:
        warp = self.shed.warp[run.next_warp]
        if not warp.beams:
            self._wind(run, self.now, None)
            return
        for kind in self.shed.beams_for(run.loom.id, warp):
            if self.free[kind]:
                self._wind(run, self.now, kind)
                return
        self.queue.append((self.now, run.number))

    def _hand_on(self, kind: str) -> None:
        """A beam has come free: to the first who waits for its like."""
        for asked_at, number in self.queue:
            run = self.runs[number]
            if kind in self.shed.beams_for(run.loom.id, self.shed.warp[run.next_warp]):
                self.queue.remove((asked_at, number))
                self._wind(run, asked_at, kind)
                return

    def _wind(self, run: _LoomRun, asked_at: int, kind: str | None) -> None:
        warp = self.shed.warp[run.next_warp]
        assert warp.wind_min is not None
        if kind is not None:
            self.free[kind] -= 1
        start, stop = self.shed.winding_hours.add_minutes(max(self.now, self.mill_free[0]), warp.wind_min)
        heapreplace(self.mill_free, stop)
        run.beam, run.winding = kind, Wound(asked_at, self.now, start, stop)
        run.asked_at = max(run.asked_at, stop)
        self.next[run.number] = (run.asked_at, _STARTS)

    def _start(self, run: _LoomRun, at: int) -> None:
        setup = run.setup
        if setup.needs_tuner and setup.minutes:
            start, end = self.shed.tuner_hours.add_minutes(max(at, self.tuner_free[0]), setup.minutes)
            heapreplace(self.tuner_free, end)
        else:
            start, end = run.hours.add_minutes(at, setup.minutes)
        beam = run.beam
        run.weave_after(start, end)
        if beam is not None:
            self.off[run.number] = (run.free, beam)
        self._look_ahead(run, run.placed[-1].start)


def late_by_piece(shed: Shed, placed: Placement) -> tuple[int, ...]:
    """Minutes by which each piece of a warp is off after it is due, in the order of weaving; 0 of one in time."""
    pieces = shed.warp[placed.warp].pieces
    return tuple(max(end - piece.due, 0) for piece, end in zip(pieces, placed.piece_ends, strict=True))


def _refuse_unweavable(shed: Shed, sequences: Sequences, strangers: set[str]) -> None:
    for loom_id in sorted(strangers):
        raise Refusal(f"The plan uses loom {loom_id}, which is not in the shed. Plan again.")
    seen: set[str] = set()
    for loom_id, sequence in sequences.items():
        for place, warp_id in enumerate(sequence):
            if warp_id not in shed.warp:
                raise Refusal(f"The plan has warp {warp_id} on loom {loom_id}, which is not in the book. Plan again.")
            if warp_id in seen:
                raise Refusal(f"Warp {warp_id} is planned twice. Take it off loom {loom_id}.")
            seen.add(warp_id)
            if not shed.fits(loom_id, warp_id):
                reason = shed.misfit(shed.loom[loom_id], shed.warp[warp_id])
                raise Refusal(f"Warp {warp_id} can't go on loom {loom_id}: {reason}.")
            if place and shed.warp[warp_id].in_progress is not None:
                raise Refusal(f"Warp {warp_id} is in loom {loom_id}; nothing can be planned before it there.")
    left_out = [warp.id for warp in shed.warps if warp.id not in seen]
    if left_out:
        raise Refusal(f"{_count(len(left_out), 'warp')} of {len(shed.warps)} has no loom: {', '.join(left_out[:5])}.")


def _cost(shed: Shed, placements: Mapping[str, Placement], broken_beams: int = 0) -> Cost:
    rates, stability = shed.objective, shed.stability
    placed = placements.values()
    weighted_tardy_min = sum(p.weighted_tardy_min for p in placed)
    setup_min = sum(p.setup.minutes for p in placed)
    last_end = max((p.end for p in placed), default=0)
    moved = [
        previous
        for warp_id, previous in shed.previous.items()
        if warp_id in placements
        and (
            placements[warp_id].loom != previous.loom
            or abs(placements[warp_id].start - previous.start) > stability.tolerance
        )
    ]
    frozen = sum(previous.start < stability.freeze_until for previous in moved)
    broken = [w for w in shed.warps if w.pin_start is not None and placements[w.id].start != w.pin_start]
    return Cost(
        tardiness=rates.tardiness * weighted_tardy_min,
        setup=rates.setup * setup_min,
        makespan=rates.makespan * last_end,
        moves=stability.move_cost * frozen + stability.move_cost_late * (len(moved) - frozen),
        pins=BROKEN_PIN_COST * (len(broken) + broken_beams),
        weighted_tardy_min=weighted_tardy_min,
        setup_min=setup_min,
        last_end=last_end,
        tardy_pieces=sum(
            end > piece.due for p in placed for piece, end in zip(shed.warp[p.warp].pieces, p.piece_ends, strict=True)
        ),
        moved=len(moved),
        moved_frozen=frozen,
        broken_pins=len(broken),
        broken_beams=broken_beams,
    )


def first_plan(shed: Shed, rule: str = "best") -> Plan:
    """A plan by one of the mill's paper rules, or by the best of them.

    rule    "earliest_due_date", "setups_first", "urgency" (its best setting),
            "keep" (the plan in force, with new warps fitted in), or "best"

    Raises Refusal when a warp fits no loom.
    """
    for warp_id, reasons in shed.without_loom().items():
        raise Refusal(f"Warp {warp_id} fits no loom: {reasons}. Change the cloth, or take it off the plan.")
    if rule != "best" and rule not in RULES:
        raise Refusal(f"There is no rule {rule}; the rules are {', '.join(RULES)} and best.")
    plans = [time_plan(shed, sequences) for sequences in orders(shed, rule)]
    best = min(plans, key=lambda plan: plan.cost.total)
    if best.cost.broken_beams:
        # With those that are wound at the front every beam comes free in the end.
        mended = [time_plan(shed, wound_first(shed, plan.sequences)) for plan in plans]
        best = min((best, *mended), key=lambda plan: plan.cost.total)
    return best


def wound_first(shed: Shed, sequences: Sequences) -> Sequences:
    """The same orders, but on each loom what hangs, then what is wound, before what is still to be wound."""

    def turn(warp_id: str) -> tuple[bool, bool]:
        return shed.warp[warp_id].in_progress is None, shed.warp[warp_id].wind_min is not None

    return {loom_id: tuple(sorted(order, key=turn)) for loom_id, order in sequences.items()}


@dataclass(frozen=True, slots=True)
class Cause:
    """One link of what makes a warp late, the last minute first.

    kind    "weaving" or "set-up" of `warp`; "tuner wait", with `others` the warps
            whose set-ups held the tuners; "closed", the loom or tuners off shift;
            "release", the wait for yarn or warping; "loom busy" with the warp before
    """

    kind: Literal["weaving", "set-up", "closed", "tuner wait", "loom busy", "release"]
    warp: str
    loom: str
    starts_at: int
    stops_at: int
    others: tuple[str, ...] = ()


def why_late(shed: Shed, plan: Plan, warp_id: str) -> list[Cause]:
    """What the end of a warp hangs on, from its last pick back to the first minute that mattered.

    The chain goes back through the warps before it on the loom for as long as
    the loom, and not the yarn, was what each of them waited for.
    """
    chain: list[Cause] = []

    def link(kind: str, placed: Placement, starts_at: int, stops_at: int, others: tuple[str, ...] = ()) -> None:
        if stops_at > starts_at:
            chain.append(Cause(kind, placed.warp, placed.loom, starts_at, stops_at, others))  # type: ignore[arg-type]

    placed = plan.placements[warp_id]
    while True:
        release = max(shed.warp[placed.warp].release, placed.winding.stops_at if placed.winding else 0)
        link("weaving", placed, placed.start, placed.end)
        link("closed", placed, placed.setup_end, placed.start)
        link("set-up", placed, placed.setup_start, placed.setup_end)
        holders = _tuners_held(plan, placed)
        link("tuner wait" if holders else "closed", placed, placed.asked_at, placed.setup_start, holders)
        before = plan.sequences[placed.loom][placed.place - 1] if placed.place else None
        loom_free = plan.placements[before].end if before is not None else shed.loom[placed.loom].free_at
        if release > loom_free or before is None:
            link("release", placed, loom_free, max(release, loom_free))
            return chain
        placed = plan.placements[before]


def _tuners_held(plan: Plan, placed: Placement) -> tuple[str, ...]:
    """The warps whose set-ups held tuners while this one waited for its own."""
    if not (placed.setup.needs_tuner and placed.setup.minutes):
        return ()
    ends = plan.tuners_leave
    first, last = (bisect_right(ends, at, key=_left_at) for at in (placed.asked_at, placed.setup_start))
    held = [one for one in ends[first:last] if one.warp != placed.warp and one.setup_start < placed.setup_start]
    return tuple(one.warp for one in sorted(held, key=_came_at))


def _left_at(placed: Placement) -> int:
    return placed.setup_end


def _came_at(placed: Placement) -> tuple[int, int, str]:
    return placed.setup_start, placed.asked_at, placed.loom


@dataclass(frozen=True, slots=True)
class WeekLoad:
    """Minutes open and minutes used in one week, by loom and for all tuners together. Week 0 holds minute 0."""

    week: int
    loom_open_min: Mapping[str, int]
    loom_weaving_min: Mapping[str, int]
    loom_setup_min: Mapping[str, int]
    tuner_open_min: int
    tuner_used_min: int


def weekly_load(shed: Shed, plan: Plan) -> list[WeekLoad]:
    """What each week asks of the looms and the tuners against what there is, to the end of the plan."""
    weeks = range(-(-plan.cost.last_end // WEEK_MIN))
    loads = []
    for week in weeks:
        a, b = week * WEEK_MIN, min((week + 1) * WEEK_MIN, shed.horizon)
        weaving = dict.fromkeys(shed.loom, 0)
        setting_up = dict.fromkeys(shed.loom, 0)
        tuner_used = 0
        for placed in plan.placements.values():
            hours = shed.hours(placed.loom)
            weaving[placed.loom] += _shared(hours, placed.start, placed.end, a, b)
            if placed.setup.needs_tuner:
                used = _shared(shed.tuner_hours, placed.setup_start, placed.setup_end, a, b)
                tuner_used += used
            else:
                used = _shared(hours, placed.setup_start, placed.setup_end, a, b)
            setting_up[placed.loom] += used
        loads.append(
            WeekLoad(
                week=week,
                loom_open_min={loom.id: shed.hours(loom.id).worked_between(a, b) for loom in shed.looms},
                loom_weaving_min=weaving,
                loom_setup_min=setting_up,
                tuner_open_min=shed.tuners.capacity * shed.tuner_hours.worked_between(a, b),
                tuner_used_min=tuner_used,
            )
        )
    return loads


def _shared(hours: Calendar, start: int, stop: int, a: int, b: int) -> int:
    """Working minutes that [start, stop) has in [a, b)."""
    return hours.worked_between(max(start, a), min(stop, b)) if start < b and stop > a else 0


def plan_file(plan: Plan) -> dict[str, dict[str, dict[str, str | int]]]:
    """The plan as the benchmark's checkers read it."""
    return {"warps": {placed.warp: _plan_row(placed) for placed in plan.placements.values()}}


def _plan_row(placed: Placement) -> dict[str, str | int]:
    row: dict[str, str | int] = {
        "loom": placed.loom,
        "setup_start": placed.setup_start,
        "setup_end": placed.setup_end,
        "start": placed.start,
        "end": placed.end,
    }
    if placed.winding is not None:
        row["wound_start"], row["wound_end"] = placed.winding.starts_at, placed.winding.stops_at
    if placed.beam is not None:
        row["beam"] = placed.beam
    return row


def _count(n: int, what: str) -> str:
    return f"{n} {what}" if n == 1 else f"{n} {what}s"
