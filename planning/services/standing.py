"""The shed as it stands at a moment: looms, hours, and the warps that wait, with when yarn and warping let them go."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from functools import cached_property
from math import ceil
from typing import Any

from django.utils import timezone

from mill.models import Mill
from mill.refusal import N_, Refusal
from planning import finishing
from planning import shed as shed_room
from planning.gaiting import SetUp, set_up_min
from planning.models import (
    Closure,
    Loom,
    OrderLine,
    PlanRun,
    Warp,
    WarpPart,
    WarpYarn,
    set_up_rates,
)
from planning.services import clock, retelling, working_out
from planning.services.assuming import NOTHING, Assumed, TakenFor
from planning.services.beams import BeamKinds, kind_of
from planning.services.shed_records import ShedRecords, as_planned
from planning.services.woven import InLoom
from planning.shed import LoomState, Objective, PieceDue, Previous, SetupTimes, Shed, Stability, Tuners, Winding
from planning.shed_plan import Placement, Plan
from planning.worktime import DAY_MIN, WEEK_MIN, Calendar, Hours, Span, calendar_of

TUNERS, WARPING = "tuners", "warping"
IN_LOOM = (Warp.GAITED, Warp.WEAVING)
ON_BEAM = (Warp.WOUND, *IN_LOOM)
# No beam named yet: any that the loom takes.
NO_FLANGE = 0
# A start that shifts by less is the same plan to the people on the floor. Common practice, no source.
SAME_START_MIN = 240
# Inside the freeze a shift costs so many times what it costs outside; the loom does not change there at all.
FROZEN_TIMES = 20
# Work that begins later is left out of plans, whose calendars end a year after that.
REACH_MIN = clock.HORIZON_WEEKS // 2 * WEEK_MIN
# A yarn without a supplier is taken to come after four weeks. From memory.
LEAD_DAYS = 28


# What yarn and warping let go


@dataclass(frozen=True, slots=True)
class YarnNeed:
    """Grams of a yarn that a warp has still to draw. lead_at: the minute at which an order placed now would be here."""

    yarn: int
    code: str
    use: str
    grams: int
    lead_at: int


@dataclass(frozen=True, slots=True)
class Waiting:
    """A warp on its way to the loom. warping_min is None when it needs no winding any more."""

    code: str
    needs: tuple[YarnNeed, ...]
    warping_min: int | None


@dataclass(frozen=True)
class Releases:
    """By warp: the first minute at which it can go to a loom, and what made it so.

    winding     begin and end on the warping mill
    warp_yarn   when the yarn of the warp is here
    weft_yarn   when that of its weft is
    waits_for   the yarn that comes last, when it is not on hand
    """

    at: Mapping[str, int]
    winding: Mapping[str, Span]
    warp_yarn: Mapping[str, int]
    weft_yarn: Mapping[str, int]
    waits_for: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class LateLine:
    """An order line of which so many pieces of a warp come off the loom too late to be finished when it is due."""

    line: OrderLine
    pieces: int
    ready_on: date
    finishing_days: int

    @property
    def days(self) -> int:
        return (self.ready_on - self.line.due_on).days


@dataclass(frozen=True)
class Upstream:
    """Yarn and warping as they stand: read once, asked for many orders of winding."""

    waiting: Mapping[str, Waiting]
    supply: Mapping[int, tuple[tuple[int, int], ...]]
    hours: Calendar
    warping_mills: int
    now_min: int

    @property
    def reach(self) -> int:
        """The first minute that no plan reaches any more."""
        return self.now_min + REACH_MIN

    def releases(self, order: Sequence[str], *, more: Sequence[Waiting] = ()) -> Releases:
        """Yarn is served and warps are wound in this order; a warp whose yarn is not here lets the next one go first.

        Yarn on hand goes first, then deliveries as they are expected; what nothing covers comes by an order placed
        now, after the supplier's lead time.
        """
        by_code = {**self.waiting, **{one.code: one for one in more}}
        supply = {yarn: [list(part) for part in parts] for yarn, parts in self.supply.items()}
        warp_yarn: dict[str, int] = {}
        weft_yarn: dict[str, int] = {}
        waits_for: dict[str, str] = {}
        for code in order:
            here = {WarpYarn.WARP: self.now_min, WarpYarn.WEFT: self.now_min}
            for need in by_code[code].needs:
                comes = _take(supply.get(need.yarn, []), need.grams, otherwise=need.lead_at)
                if comes > max(here.values()):
                    waits_for[code] = f"{need.use} yarn {need.code}"
                here[need.use] = max(here[need.use], comes)
            warp_yarn[code], weft_yarn[code] = here[WarpYarn.WARP], here[WarpYarn.WEFT]
        all_here = {code: max(warp_yarn[code], weft_yarn[code]) for code in order}
        wound = [code for code in order if by_code[code].warping_min is not None and all_here[code] < self.reach]
        winding = self._wind(wound, by_code, warp_yarn)
        at = {code: max(winding[code][1], all_here[code]) if code in winding else all_here[code] for code in order}
        return Releases(at, winding, warp_yarn, weft_yarn, waits_for)

    def _wind(self, order: list[str], by_code: Mapping[str, Waiting], here: Mapping[str, int]) -> dict[str, Span]:
        free_at = [self.now_min] * self.warping_mills
        winding: dict[str, Span] = {}
        while order:
            mill = min(range(len(free_at)), key=free_at.__getitem__)
            code = next((one for one in order if here[one] <= free_at[mill]), None) or min(order, key=here.__getitem__)
            minutes = by_code[code].warping_min
            assert minutes is not None
            winding[code] = self.hours.add_minutes(max(free_at[mill], here[code]), minutes)
            free_at[mill] = winding[code][1]
            order.remove(code)
        return winding


def _take(supply: list[list[int]], grams: int, *, otherwise: int) -> int:
    """Take grams off the front of a supply; the minute at which the last of them is there."""
    at = 0
    while grams > 0 and supply:
        at = max(at, supply[0][0])
        taken = min(grams, supply[0][1])
        supply[0][1] -= taken
        grams -= taken
        if not supply[0][1]:
            supply.pop(0)
    return max(at, otherwise) if grams > 0 else at


def let_go(row: shed_room.Warp, released: Releases) -> shed_room.Warp:
    """A warp with the minutes at which its yarn lets it go to the warping mill and to a loom."""
    if row.wind_min is None:
        return replace(row, release=released.weft_yarn[row.id])
    return replace(row, release=released.weft_yarn[row.id], wind_from=released.warp_yarn[row.id])


# The shed


@dataclass(frozen=True)
class Standing:
    """The shed as it stands, with what the planner's numbers mean in the book.

    left_out    warps that can't be planned, with the reason in a sentence
    order       the order in which yarn is served and warps are wound
    frozen      warps that stay on the loom of the plan in force, because they are to start within the freeze
    previous    where the plan in force has each warp
    base        the plan in force
    kinds       the mill's beams by kind
    """

    shed: Shed
    epoch: datetime
    now_min: int
    warps: Mapping[str, Warp]
    looms: Mapping[str, Loom]
    left_out: Mapping[int, str]
    upstream: Upstream
    order: tuple[str, ...]
    released: Releases
    frozen: frozenset[str]
    previous: Mapping[str, Previous]
    base: PlanRun | None
    kinds: BeamKinds
    facts: Mapping[str, str] = field(default_factory=dict)

    @property
    def winding(self) -> Mapping[str, Span]:
        return self.released.winding

    @property
    def waits_for(self) -> Mapping[str, str]:
        return self.released.waits_for

    @cached_property
    def fingerprint(self) -> str:
        """Of everything a plan is worked from but the clock."""
        return working_out.fingerprint(sorted(self.facts.items()))

    def as_planned_in(self, run: PlanRun) -> "Standing":
        """The same shed, yarn served in the order of a plan made earlier and warps wound as far ahead as in that."""
        there = self.wound_in(run.explained.get("winding", []))
        ahead_min, winding = run.explained.get("wound_ahead_min"), there.shed.winding
        if ahead_min is None or winding is None:
            return there
        return replace(there, shed=replace(there.shed, winding=replace(winding, ahead_min=ahead_min)))

    def wound_in(self, order: Sequence[str]) -> "Standing":
        """The same shed, its warps wound in another order; warps that the order leaves out come last."""
        named = set(order)
        whole = (*(c for c in order if c in self.warps), *(c for c in self.order if c not in named))
        released = self.upstream.releases(whole)
        rows = tuple(let_go(warp, released) for warp in self.shed.warps)
        return replace(self, shed=replace(self.shed, warps=rows), order=whole, released=released)

    def wound_as_planned(self, plan: Plan) -> "Standing":
        """The same shed with each warp wound when the plan has it wound, not as soon as its yarn is here."""
        winding = {code: (w.starts_at, w.stops_at) for code, p in plan.placements.items() if (w := p.winding)}
        at = {code: max(self.released.weft_yarn[code], stop) for code, (_, stop) in winding.items()}
        return replace(self, released=replace(self.released, winding=winding, at={**self.released.at, **at}))

    @cached_property
    def taking_new(self) -> frozenset[str]:
        """Looms on which something new can be planned: none that is held, and none that does not work."""
        free = (code for code, loom in self.looms.items() if not loom.is_held)
        return frozenset(code for code in free if works(self.shed.hours(code), self.now_min))

    @cached_property
    def by_due_date(self) -> tuple[str, ...]:
        due = {warp.id: min(piece.due for piece in warp.pieces) for warp in self.shed.warps}
        return tuple(sorted(self.warps, key=lambda code: (due[code], int(code))))

    def frozen_first(self, orders: Mapping[str, Sequence[str]]) -> dict[str, tuple[str, ...]]:
        """The same orders, but what hangs in a loom, and then what is to start within the freeze, keeps its turn."""

        def turn(code: str) -> tuple[int, int]:
            if self.shed.warp[code].in_progress is not None:
                return 0, 0
            return (1, self.previous[code].start) if code in self.frozen else (2, 0)

        return {loom: tuple(sorted(order, key=turn)) for loom, order in orders.items()}

    def started_as(self, starts: Mapping[str, int]) -> Shed:
        """The shed for a search: frozen warps are pinned to these starts, so that no other warp comes before them
        and no other loom's set-up takes their tuner."""
        rows = (replace(row, pin_start=starts[row.id]) if row.id in self.frozen else row for row in self.shed.warps)
        return replace(self.shed, warps=tuple(rows)) if self.frozen else self.shed

    @cached_property
    def first_day(self) -> date:
        return timezone.localtime(self.epoch).date()

    def date_of(self, minute: int) -> date:
        """Minutes are counted on the mill's own clock, so that days are all of one length."""
        return self.first_day + timedelta(days=minute // DAY_MIN)

    def ready(self, placed: Placement) -> list[tuple[WarpPart, date]]:
        """Each piece that a plan has of a warp, in the order of weaving: its part, and the day it is finished."""
        # Of a warp that weaves the plan knows what is left.
        parts = [part for part in self.warps[placed.warp].parts.all() for _ in range(part.pieces)]
        return [
            # Midnight belongs to the day before.
            (part, finishing.ready_on(self.date_of(end - 1), part.spec.finishing_days))
            for part, end in zip(parts[-len(placed.piece_ends) :], placed.piece_ends, strict=True)
        ]

    def late_lines(self, placed: Placement) -> list[LateLine]:
        """The lines of a warp of which pieces come off too late, as a plan has it."""
        pieces = self.shed.warp[placed.warp].pieces
        late: dict[int, LateLine] = {}
        for (part, ready_on), piece, end in zip(self.ready(placed), pieces, placed.piece_ends, strict=True):
            if end > piece.due:
                pieces_late = late[part.pk].pieces + 1 if part.pk in late else 1
                late[part.pk] = LateLine(part.line, pieces_late, ready_on, part.spec.finishing_days)
        return list(late.values())

    def days_late(self, placed: Placement) -> int:
        """Days after it is due on which the latest of a warp's lines is finished; 0 where all are in time."""
        return max((late.days for late in self.late_lines(placed)), default=0)

    def day_of(self, minute: int) -> datetime:
        return timezone.localtime(clock.to_moment(minute, epoch=self.epoch))


def standing(
    *,
    now: datetime | None = None,
    few_moves: bool = False,
    by_hand: bool = False,
    assumed: Assumed = NOTHING,
    records: ShedRecords | None = None,
) -> Standing:
    """Looms, tuners, hours and the warps that wait, as they are at this moment.

    few_moves   every warp that leaves its place in the plan in force costs the mill's price of a move
    by_hand     nothing is frozen, and what is planned on a held loom may stay: the planner says what moves
    assumed     what is only thought of
    records     read already, for more than one standing of the same moment
    """
    records = records or ShedRecords(now)
    now, mill, looms = records.now, records.mill, records.looms
    epoch = clock.monday_before(now)
    now_min = clock.to_minute(now, epoch=epoch)
    closures = [*records.closures, *assumed.closed]
    if not looms:
        raise Refusal(N_("There is no loom to plan. Enter the mill's looms first."))
    calendars: dict[str, Hours] = {
        f"pattern {pk}": hours for pk, hours in clock.hours_by_pattern(closures, epoch=epoch).items()
    }
    calendars[TUNERS] = clock.mill_hours(mill.tuner_hours, closures, epoch=epoch)
    calendars[WARPING] = clock.mill_hours(mill.warping_hours, closures, epoch=epoch)
    horizon = clock.HORIZON_WEEKS * WEEK_MIN
    left_out: dict[int, str] = {}
    warps = _plannable(records, left_out, assumed.warps)
    upstream = Upstream(
        waiting=_waiting(records, warps, now_min=now_min),
        supply=_supply(records, epoch=epoch, now_min=now_min, expected=assumed.expected),
        hours=calendar_of(calendars[WARPING].weekly, calendars[WARPING].closed, horizon),
        warping_mills=max(mill.warping_mills, 1),
        now_min=now_min,
    )
    order = _winding_order(records, warps)
    released = upstream.releases(order)
    idle = frozenset(loom.code for loom in looms if not _has_hours(loom, calendars, closures, epoch=epoch, now=now_min))
    free_looms = frozenset(loom.code for loom in looms if by_hand or not loom.is_held) - idle
    rates = set_up_rates(mill)
    in_loom = records.in_loom
    kinds = BeamKinds(mill, held=[warp.beam for warp in warps if warp.beam and warp.state in ON_BEAM])
    freeze_until = now_min + mill.freeze_days * DAY_MIN if mill.freeze_days else 0
    shed = Shed(
        name=mill.name,
        horizon=horizon,
        calendars=calendars,
        looms=tuple(shed_loom(loom, closures, epoch=epoch, now_min=now_min) for loom in looms),
        warps=tuple(
            let_go(
                shed_warp(
                    warp,
                    release=0,
                    rates=rates,
                    free_looms=free_looms,
                    epoch=epoch,
                    at=in_loom.get(warp.pk),
                    kinds=kinds,
                    warping_min=upstream.waiting[str(warp.number)].warping_min,
                ),
                released,
            )
            for warp in warps
        ),
        tuners=Tuners(max(mill.tuners, 1), TUNERS),
        setup=SetupTimes(reed_change_min=0, tie_needs_tuner=False, gait_needs_tuner=True),
        objective=Objective(mill.dearness_of_lateness, mill.dearness_of_setup, 1),
        winding=Winding(max(mill.warping_mills, 1), WARPING, kinds.beams, _wound_ahead_min(records)),
    )
    for code, reason in shed.without_loom().items():
        left_out[int(code)] = retelling.NO_LOOM % {"looms": reason}
    for code in released.waits_for:
        here = max(released.warp_yarn[code], released.weft_yarn[code])
        if here >= upstream.reach:
            on = timezone.localtime(clock.to_moment(here, epoch=epoch))
            comes = {"material": released.waits_for[code], "day": f"{on:%a} {on.day} {on:%b}", "year": on.year}
            left_out[int(code)] = retelling.COMES_TOO_LATE % comes
    for row in shed.warps:
        if (home := row.in_progress or row.pin_loom) in idle:
            left_out[int(row.id)] = retelling.NO_HOURS % {"loom": home}
    previous = {
        str(warp.number): Previous(slot.loom.code, max(clock.to_minute(slot.weaving_starts_at, epoch=epoch), 0))
        for warp in warps
        if warp.number not in left_out and (slot := working_out.slot_in_force(warp))
    }
    frozen = frozenset() if by_hand else _frozen(shed, previous, free_looms=free_looms, until=freeze_until)
    # What was woven since somebody told it moves with the clock; a plan is worked from what was told.
    told = {str(warp.number): _pieces(warp, epoch=epoch) for warp in warps if warp.pk in in_loom}
    facts = _facts(shed, upstream, mill=mill, looms=looms, closures=closures, epoch=epoch, told=told)
    pins = {str(warp.number): clock.to_minute(warp.pin_starts_at, epoch=epoch) for warp in warps if warp.pin_starts_at}

    def placed(row: shed_room.Warp) -> shed_room.Warp:
        """With its pin: the planner's, or the freeze's. A moment that has gone by holds nothing any more."""
        if row.id in frozen:
            return replace(row, pin_loom=previous[row.id].loom, only_looms=None)
        if row.pin_loom is not None and pins.get(row.id, -1) >= now_min:
            return replace(row, pin_start=shed.hours(row.pin_loom).next_open(pins[row.id]))
        return row

    kept = {row.id for row in shed.warps if int(row.id) not in left_out}
    shed = replace(shed, warps=tuple(placed(row) for row in shed.warps if row.id in kept))
    if few_moves:
        shed = replace(
            shed,
            previous=previous,
            stability=Stability(
                tolerance=SAME_START_MIN,
                freeze_until=freeze_until,
                move_cost=mill.dearness_of_move * FROZEN_TIMES,
                move_cost_late=mill.dearness_of_move,
            ),
        )
    return Standing(
        shed=shed,
        epoch=epoch,
        now_min=now_min,
        warps={str(warp.number): warp for warp in warps if str(warp.number) in kept},
        looms={loom.code: loom for loom in looms},
        left_out=left_out,
        upstream=upstream,
        order=tuple(code for code in order if code in kept),
        released=upstream.releases([code for code in order if code in kept]) if len(kept) < len(warps) else released,
        frozen=frozen & kept,
        previous=previous,
        base=records.in_force,
        kinds=kinds,
        facts=facts,
    )


def _has_hours(
    loom: Loom, calendars: Mapping[str, Hours], closures: list[Closure], *, epoch: datetime, now: int
) -> bool:
    hours = calendars[f"pattern {loom.shift_pattern_id}"]
    closed = (*hours.closed, *clock.loom_closed(loom, closures, epoch=epoch))
    return works(calendar_of(hours.weekly, closed, clock.HORIZON_WEEKS * WEEK_MIN), now)


def works(hours: Calendar, now: int) -> bool:
    """Whether a loom works at all in the year to come: half of what a plan reaches, so that there is room for work."""
    return hours.worked_between(now, now + REACH_MIN) > 0


def _frozen(shed: Shed, previous: Mapping[str, Previous], *, free_looms: frozenset[str], until: int) -> frozenset[str]:
    """Warps to start within the freeze, not yet in a loom, whose loom still takes them."""
    return frozenset(
        code
        for code, place in previous.items()
        if place.start < until
        and place.loom in free_looms
        and shed.warp[code].in_progress is None
        and shed.warp[code].pin_loom is None
        and shed.fits(place.loom, code)
    )


def _plannable(records: ShedRecords, left_out: dict[int, str], then: Mapping[int, TakenFor]) -> list[Warp]:
    """Open warps with figures, earliest due first; the others go to `left_out` with the reason."""
    found: list[tuple[Any, Warp]] = []
    for read in records.warps:
        warp = _taken_for(read, then[read.pk]) if read.pk in then else read
        worked = getattr(warp, "worked", None)
        parts = list(warp.parts.all())
        if worked is None or warp.runs is None or not parts:
            left_out[warp.number] = (worked and worked.trouble) or retelling.NOT_WORKED_OUT
            continue
        found.append((min(part.line.due_on for part in parts), warp))
    return [warp for _, warp in sorted(found, key=lambda row: (row[0], row[1].number))]


def _taken_for(read: Any, then: TakenFor) -> Any:
    """The warp as it would be woven; the one that was read stays as it is."""
    parts = []
    for was in read.parts.all():
        if said := then.parts.get(was.pk):
            part = copy(was)
            # Specifications are shared by the parts that were read together.
            part.line, part.spec = copy(was.line), copy(was.spec)
            part.pieces, part.line.due_on = said.pieces, said.due_on
            part.spec.finishing_days = said.finishing_days
            part.spec.reed_dents_per_10cm = said.reed_dents_per_10cm
            parts.append(part)
    warp = copy(read)
    warp._prefetched_objects_cache = {**read._prefetched_objects_cache, "parts": parts}
    warp.worked, warp.runs, warp.sized_warp_g = then.worked, then.runs, then.sized_warp_g
    return warp


def _winding_order(records: ShedRecords, warps: list[Warp]) -> list[str]:
    """As the plan in force has it, warps that are new to it behind; without one, earliest due date first."""
    place = {code: n for n, code in enumerate(records.winding_in_force)}
    return sorted((str(warp.number) for warp in warps), key=lambda code: place.get(code, len(place)))


def _wound_ahead_min(records: ShedRecords) -> int:
    """As the plan in force has it; without one, the room's own measure."""
    said = records.wound_ahead_in_force_min
    return shed_room.WOUND_AHEAD_MIN if said is None else said


def _facts(
    shed: Shed,
    upstream: Upstream,
    *,
    mill: Mill,
    looms: Iterable[Loom],
    closures: Iterable[Closure],
    epoch: datetime,
    told: Mapping[str, tuple[PieceDue, ...]],
) -> dict[str, str]:
    """Fingerprints of what the plan is worked from, by what it is, so that a plan can say what has changed since."""
    mark = working_out.fingerprint
    began = timezone.localtime(epoch).date()
    facts: dict[str, str] = {}
    for row in shed.warps:
        plain = replace(row, release=0, wind_from=0, only_looms=None, pieces=(PieceDue(1, 0, 0),))
        pieces = [
            (piece.picks, began + timedelta(days=piece.due // DAY_MIN), piece.weight)
            for piece in told.get(row.id, row.pieces)
        ]
        facts[f"warp {row.id}"] = mark(plain, pieces)
    for loom in looms:
        facts[f"loom {loom.code}"] = mark(
            loom.as_facts(), loom.shift_pattern.hours, loom.is_held, loom.gaited_family, loom.gaited_reed
        )
    facts["the beams"] = mark(shed.winding and shed.winding.beams)
    facts["the closures"] = mark(sorted((c.loom_id or 0, c.starts_at, c.stops_at) for c in closures))
    facts["the mill's figures"] = mark(
        shed.tuners, shed.objective, mill.tuner_hours, mill.warping_hours, mill.warping_mills, set_up_rates(mill)
    )
    facts["the yarn"] = mark(
        [
            (yarn, [(at > upstream.now_min and clock.to_moment(at, epoch=epoch), grams) for at, grams in parts])
            for yarn, parts in sorted(upstream.supply.items())
        ]
    )
    return facts


def one_as_planned(warp: Warp) -> Warp:
    """A warp with what shed_warp reads of it."""
    return as_planned(Warp.objects.filter(pk=warp.pk)).get()


def shed_loom(loom: Loom, closures: Sequence[Closure], *, epoch: datetime, now_min: int) -> shed_room.Loom:
    return shed_room.Loom(
        id=loom.code,
        width_cm=loom.reed_space_cm,
        shafts=loom.shafts,
        jacquard=loom.is_jacquard,
        feeders=loom.weft_colours,
        max_flange_mm=loom.max_flange_mm,
        ppm=loom.ppm,
        efficiency=loom.efficiency_pct / 100,
        calendar=f"pattern {loom.shift_pattern_id}",
        closed=clock.loom_closed(loom, list(closures), epoch=epoch),
        state=LoomState(loom.gaited_family or None, loom.gaited_reed or None),
        free_at=now_min,
    )


def reed_key(warp: Warp) -> str:
    """The reed as a loom keeps it from one warp to the next: dents per 10 cm."""
    return f"{warp.parts.all()[0].spec.reed_dents_per_10cm.normalize():f}"


def due_minute(line: OrderLine, finishing_days: int, *, epoch: datetime) -> int:
    """Minute by which the line's pieces must be off the loom: the end of the last day that leaves days to finish."""
    return clock.day_start(finishing.off_by(line.due_on, finishing_days), epoch=epoch) + DAY_MIN


def _pieces(warp: Warp, *, epoch: datetime, at: InLoom | None = None) -> tuple[PieceDue, ...]:
    """What is left to weave, piece by piece, in the order of weaving.

    at    how far a warp that weaves is by now: its picks then count as so many that the loom, at the efficiency of
          its record, takes as long for them as at the one that it showed
    """
    woven = at.picks if at else warp.picks_woven
    pace = warp.loom.efficiency_pct / at.efficiency_pct if at and warp.loom else 1
    pieces: list[PieceDue] = []
    for part, run in zip(warp.parts.all(), warp.runs, strict=True):  # type: ignore[attr-defined]
        due = due_minute(part.line, part.spec.finishing_days, epoch=epoch)
        for _ in range(part.pieces):
            picks = run["picks_per_piece"] - min(woven, run["picks_per_piece"])
            woven -= min(woven, run["picks_per_piece"])
            if picks:
                pieces.append(PieceDue(ceil(picks * pace), due, part.line.weight))
    # The last picks are reported woven before anybody says that the warp is out.
    return tuple(pieces) or (PieceDue(1, clock.HORIZON_WEEKS * WEEK_MIN, 0),)


def shed_warp(
    warp: Warp,
    *,
    release: int,
    rates: Any,
    free_looms: frozenset[str],
    epoch: datetime,
    at: InLoom | None = None,
    kinds: BeamKinds | None = None,
    warping_min: int | None = None,
) -> shed_room.Warp:
    """A warp as the room has it.

    at          how far it is woven
    kinds       the mill's beams, where a plan reckons with them
    warping_min of one that is still to be wound
    """
    worked = warp.worked
    beams: tuple[str, ...] = ()
    if kinds is not None and warp.beam is not None:
        beams = (kind_of(warp.beam),)
    elif kinds is not None and warping_min is not None:
        beams = kinds.that_take(
            sized_warp_g=warp.sized_warp_g,  # type: ignore[attr-defined]
            reed_width_cm=worked.reed_width_cm,
        )
    hangs_on = warp.loom.code if warp.loom and warp.state in IN_LOOM else None
    pin = warp.pin_loom.code if warp.pin_loom and not hangs_on else None
    return shed_room.Warp(
        id=str(warp.number),
        family=worked.family_key,
        reed=reed_key(warp),
        width_cm=worked.reed_width_cm,
        shafts=worked.shafts,
        jacquard=False,
        feeders=worked.weft_colours,
        flange_mm=warp.beam.flange_mm if warp.beam else NO_FLANGE,
        pieces=_pieces(warp, epoch=epoch, at=at),
        release=max(release, 0),
        tie_min=set_up_min(SetUp.TIE_IN, ends=worked.ends, rates=rates),
        gait_min=set_up_min(SetUp.GAIT_UP, ends=worked.ends, rates=rates),
        draw_in_min=set_up_min(SetUp.DRAW_IN, ends=worked.ends, rates=rates),
        weft_change_min=set_up_min(SetUp.WEFT_CHANGE, ends=worked.ends, rates=rates),
        in_progress=hangs_on,
        pin_loom=pin,
        only_looms=None if hangs_on or pin else free_looms,
        wind_min=None if warping_min is None else max(warping_min, 1),
        beams=beams,
    )


def _waiting(records: ShedRecords, warps: list[Warp], *, now_min: int) -> dict[str, Waiting]:
    needs: dict[int, list[YarnNeed]] = defaultdict(list)
    drawn: dict[tuple[int, int, str], int] = defaultdict(int)
    state = {warp.pk: warp.state for warp in warps}
    for warp in warps:
        for hold in warp.holds.all():
            drawn[warp.pk, hold.yarn_id, hold.use] += hold.drawn_g
    for warp_id, use, issue_g, yarn, code, days in records.yarn_wanted:
        if warp_id not in state:
            continue
        if state[warp_id] in IN_LOOM or (use == WarpYarn.WARP and state[warp_id] != Warp.PLANNED):
            continue
        left_g = issue_g - drawn[warp_id, yarn, use]
        if left_g > 0:
            lead_at = now_min + (LEAD_DAYS if days is None else days) * DAY_MIN
            needs[warp_id].append(YarnNeed(yarn, code, use, left_g, lead_at))
    return {
        str(warp.number): Waiting(
            str(warp.number),
            tuple(needs[warp.pk]),
            warp.worked.warping_min if warp.state in (Warp.PLANNED, Warp.YARN_DRAWN) else None,
        )
        for warp in warps
    }


def _supply(
    records: ShedRecords, *, epoch: datetime, now_min: int, expected: Mapping[int, date]
) -> dict[int, tuple[tuple[int, int], ...]]:
    """By yarn: minute and grams of what is on hand and to come, in order.

    expected    deliveries that are taken to come on another day
    """
    supply: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for yarn_id, on_hand_g in records.on_hand:
        supply[yarn_id].append((now_min, on_hand_g))
    to_come = [(expected.get(one.pk, one.expected_on), one.pk, one, grams) for one, grams in records.to_come]
    for expected_on, _, delivery, grams in sorted(to_come, key=lambda row: row[:2]):
        # Counted on from the morning after the day it is expected.
        minute = clock.day_start(expected_on, epoch=epoch) + DAY_MIN
        supply[delivery.yarn_id].append((max(minute, now_min), grams))
    return {yarn: tuple(parts) for yarn, parts in supply.items()}
