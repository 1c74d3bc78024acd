"""What a change does to promised days, hours and tickets, before it is confirmed. Writes nothing.

The plan in force is carried on twice from this minute, its orders on the looms as they stand: once as things are, and
once with the change. What differs is the change's doing, and nothing else's.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cached_property
from typing import Any

from django.utils import timezone

from inventory.models import Delivery
from inventory.services import Foreseen
from mill.models import Mill
from mill.refusal import N_, Refusal
from mill.signs import written_now
from planning.models import JobTicket, Loom, OrderLine, PlanRun, Slot, Warp
from planning.services import assuming, plans, working_out
from planning.services.assuming import NOTHING, Assumed, TakenFor
from planning.services.foresight import foresee_slots
from planning.services.shed_records import ShedRecords
from planning.services.standing import Standing, standing
from planning.shed_plan import Plan, time_plan
from planning.ticket import Run


@dataclass(frozen=True)
class LineDay:
    """A line whose pieces on warps are finished on another day; None where they are in no plan."""

    line: OrderLine
    now: date | None
    then: date | None

    @property
    def days(self) -> int | None:
        """Later; less than 0 is sooner."""
        return (self.then - self.now).days if self.now and self.then else None

    @property
    def late_days(self) -> int:
        """After its due day, by then."""
        return max(0, (self.then - self.line.due_on).days) if self.then else 0

    @property
    def becomes_late(self) -> bool:
        return bool(self.late_days and (self.now is None or self.now <= self.line.due_on))


@dataclass(frozen=True)
class Hours:
    """Working minutes from now on, of all warps that the plan has."""

    setup_min: int
    weaving_min: int

    @property
    def together_min(self) -> int:
        return self.setup_min + self.weaving_min


@dataclass(frozen=True)
class Elsewhere:
    """A warp on another loom; None where it has none."""

    warp: Warp
    now: str | None
    then: str | None


@dataclass(frozen=True)
class Effects:
    """What differs, were it so.

    overtaken    tickets whose figures would hold no longer
    redated      tickets that hold, but whose day of winding or of set-up, as it is printed, would be another
    """

    lines: tuple[LineDay, ...] = ()
    n_lines: int = 0
    now: Hours = field(default_factory=lambda: Hours(0, 0))
    then: Hours = field(default_factory=lambda: Hours(0, 0))
    elsewhere: tuple[Elsewhere, ...] = ()
    overtaken: tuple[JobTicket, ...] = ()
    redated: tuple[JobTicket, ...] = ()

    @property
    def later(self) -> tuple[LineDay, ...]:
        return tuple(one for one in self.lines if one.days and one.days > 0)

    @property
    def becoming_late(self) -> tuple[LineDay, ...]:
        return tuple(one for one in self.lines if one.becomes_late)


class Shed:
    """The shed as it stands at a moment, and as it would with what is assumed; each worked out when it is asked for."""

    def __init__(self, assumed: Assumed = NOTHING, *, now: datetime | None = None) -> None:
        self.assumed = assumed
        self._records = ShedRecords(now)

    @cached_property
    def now(self) -> Standing:
        return standing(records=self._records, by_hand=True)

    @cached_property
    def then(self) -> Standing:
        if self.assumed == NOTHING:
            return self.now
        return standing(records=self._records, by_hand=True, assumed=self.assumed)


@dataclass(frozen=True)
class _Carried:
    there: Standing
    plan: Plan


def _carry_on(run: PlanRun, stands: Standing) -> _Carried:
    there = stands.as_planned_in(run)
    plan = time_plan(there.shed, plans.orders_again(run, there))
    return _Carried(there.wound_as_planned(plan), plan)


def shed_of(run: PlanRun) -> Shed:
    """The shed that a plan is for, with what that takes to be so."""
    return Shed(assuming.read(run.explained.get("assumes")))


def of_plan(run: PlanRun, shed: Shed | None = None) -> Effects:
    """What an offered plan would do were it put in force."""
    return _between(run, shed or shed_of(run), pins=run.explained.get("pins", {}))


def of_late_delivery(delivery: Delivery, *, expected_on: date, now: datetime | None = None) -> Effects | None:
    """What it does that a delivery comes on another day, the looms' orders as they are; None without a plan."""
    return of(Assumed(expected={delivery.pk: expected_on}), now=now)


def of_breakdown(loom: Loom, *, until: datetime, now: datetime | None = None) -> Effects | None:
    """What it does that a loom stands from now until a moment, the looms' orders as they are; None without a plan."""
    now = now or timezone.now()
    return of(_stands(loom, until=until, now=now), now=now)


def yarn_of_breakdown(loom: Loom, *, until: datetime, now: datetime | None = None) -> Foreseen:
    """What becomes of yarn while a loom stands: drawn on other days, as its warps begin later."""
    now = now or timezone.now()
    run = PlanRun.objects.filter(state=PlanRun.IN_FORCE).first()
    if run is None:
        return foresee_slots({})
    assumed = _stands(loom, until=until, now=now)
    will = _carry_on(run, Shed(assumed, now=now).then)
    slots = plans.slots_of(PlanRun(explained={"late": []}), will.there, will.plan)
    return foresee_slots({slot.warp_id: slot for slot in slots}, closed=assumed.closed)


def _stands(loom: Loom, *, until: datetime, now: datetime) -> Assumed:
    if until <= now:
        said = timezone.localtime(until)
        raise Refusal(
            N_("%(until)s has gone by. Say a moment to come until which loom %(loom)s stands."),
            until=f"{written_now().day_said(said.date(), with_year=False)} {said:%H:%M}",
            loom=loom.code,
        )
    from_minute = now.replace(second=0, microsecond=0)
    return assuming.read(assuming.loom_stands(loom, why="stands", starts_at=from_minute, stops_at=until))


def of(
    assumed: Assumed,
    *,
    runs: Mapping[int, Sequence[Run]] | None = None,
    reprinted: Collection[int] = (),
    now: datetime | None = None,
) -> Effects | None:
    """What something would do that is only thought of, the looms' orders as they are; None without a plan in force.

    runs         by warp, what would be woven on it, where that is other than what is
    reprinted    warps of which a ticket would print something else beside the figures
    """
    run = PlanRun.objects.filter(state=PlanRun.IN_FORCE).first()
    return _between(run, Shed(assumed, now=now), runs=runs, reprinted=reprinted) if run else None


def _between(
    run: PlanRun,
    shed: Shed,
    *,
    runs: Mapping[int, Sequence[Run]] | None = None,
    pins: Mapping[str, str] | None = None,
    reprinted: Collection[int] = (),
) -> Effects:
    in_force = PlanRun.objects.filter(state=PlanRun.IN_FORCE).first()
    was = _carry_on(in_force, shed.now) if in_force else None
    will = _carry_on(run, shed.then)
    days_now, days_then = (_ready_days(one) if one else {} for one in (was, will))
    moved = {pk for pk in days_now.keys() | days_then.keys() if days_now.get(pk) != days_then.get(pk)}
    lines = OrderLine.objects.filter(pk__in=moved).select_related("order__customer", "cloth", "colourway")
    places_now, places_then = (_places(one) if one else {} for one in (was, will))
    overtaken, redated = _tickets(
        places_now, places_then, assumed=shed.assumed, runs=runs or {}, pins=pins or {}, reprinted=reprinted
    )
    return Effects(
        lines=tuple(
            sorted(
                (LineDay(line, days_now.get(line.pk), days_then.get(line.pk)) for line in lines),
                key=lambda one: (-(one.days or 0), one.line.due_on, one.line.pk),
            )
        ),
        n_lines=len(days_then),
        now=_hours(was) if was else Hours(0, 0),
        then=_hours(will),
        elsewhere=_elsewhere(places_now, places_then),
        overtaken=overtaken,
        redated=redated,
    )


def _ready_days(carried: _Carried) -> dict[int, date]:
    """By line: the day on which the last of its pieces that are in the plan is finished."""
    ready: dict[int, date] = {}
    for placed in carried.plan.placements.values():
        for part, on in carried.there.ready(placed):
            ready[part.line_id] = max(on, ready.get(part.line_id, on))
    return ready


def _hours(carried: _Carried) -> Hours:
    setup_min = weaving_min = 0
    for code, placed in carried.plan.placements.items():
        shed = carried.there.shed
        weaving_min += shed.hours(placed.loom).worked_between(placed.start, placed.end)
        # The set-up of what hangs in its loom is done, or is being done whatever is decided.
        setup_min += 0 if shed.warp[code].in_progress else placed.setup.minutes
    return Hours(setup_min, weaving_min)


@dataclass(frozen=True)
class _Place:
    loom: str
    winding_on: date | None
    setup_on: date


def _places(carried: _Carried) -> dict[int, _Place]:
    """By warp: its loom, and the days that stand on its ticket."""
    there = carried.there
    return {
        int(code): _Place(
            placed.loom,
            there.date_of(placed.winding.starts_at) if placed.winding else None,
            there.date_of(placed.setup_start),
        )
        for code, placed in carried.plan.placements.items()
    }


def _elsewhere(now: Mapping[int, _Place], then: Mapping[int, _Place]) -> tuple[Elsewhere, ...]:
    looms = {
        number: (
            now[number].loom if number in now else None,
            then[number].loom if number in then else None,
        )
        for number in now.keys() | then.keys()
    }
    moved = {number: places for number, places in looms.items() if places[0] != places[1]}
    rows = Warp.objects.filter(number__in=moved).order_by("number")
    return tuple(Elsewhere(warp, *moved[warp.number]) for warp in rows)


def _tickets(
    now: Mapping[int, _Place],
    then: Mapping[int, _Place],
    *,
    assumed: Assumed,
    runs: Mapping[int, Sequence[Run]],
    pins: Mapping[str, str],
    reprinted: Collection[int],
) -> tuple[tuple[JobTicket, ...], tuple[JobTicket, ...]]:
    """Tickets in use that would be overtaken, and those whose printed days alone would move.

    A ticket is overtaken as soon as what its figures are worked from is another: the same fingerprint is taken here;
    or what it prints beside them.
    """
    tickets = list(
        JobTicket.objects.filter(overtaken_at__isnull=True, withdrawn_at__isnull=True)
        .exclude(warp__state=Warp.WOVEN_OUT)
        .select_related("warp")
        .defer("figures", "extras")
        .order_by("number")
    )
    touched = {
        ticket.warp.number
        for ticket in tickets
        if now.get(ticket.warp.number) != then.get(ticket.warp.number) or ticket.warp_id in assumed.warps
    }
    looms = Loom.objects.select_related("shift_pattern").in_bulk(field_name="code")
    mill = Mill.the_one()
    worked_from: dict[int, str | None] = {}
    for warp in working_out.for_working_out(Warp.objects.filter(number__in=touched)):
        place = then.get(warp.number)
        _put(warp, looms[place.loom] if place else None, pin=looms.get(pins.get(str(warp.number), "")))
        would = runs.get(warp.pk)
        if would is not None and not would:
            worked_from[warp.pk] = None
            continue
        worked = working_out.work_out_warp(warp, mill=mill, runs=would)
        worked_from[warp.pk] = worked.worked_from if worked else None
    overtaken, redated = [], []
    for ticket in tickets:
        if ticket.warp_id in reprinted:
            overtaken.append(ticket)
            continue
        if ticket.warp_id not in worked_from:
            continue
        if ticket.worked_from != worked_from[ticket.warp_id]:
            overtaken.append(ticket)
        elif now.get(ticket.warp.number) != then.get(ticket.warp.number):
            redated.append(ticket)
    return tuple(overtaken), tuple(redated)


def _put(warp: Any, loom: Loom | None, *, pin: Loom | None) -> None:
    """The warp in memory in its place by then."""
    warp.slots_in_force = [Slot(loom=loom)] if loom else []
    if pin is not None:
        warp.pin_loom = pin


def as_woven(warp: Warp, runs: Sequence[Run], parts: Mapping[int, assuming.PartThen], *, mill: Mill) -> TakenFor:
    """A warp taken to be woven otherwise. `warp` comes from working_out.for_working_out()."""
    worked = working_out.work_out_warp(warp, mill=mill, runs=runs) if runs else None
    if worked is None or worked.figures is None:
        return TakenFor(None, {})
    kept = working_out.row_of(warp, worked)
    assert kept.figures is not None
    return TakenFor(kept, parts, kept.figures["runs"], worked.figures.sized_warp_g)
