"""Actuals: what was woven, in what hours, why looms stood; when each beam runs out, and what is late by that."""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Prefetch
from django.utils import timezone

from mill.refusal import Refusal
from planning import run_out
from planning.models import Closure, FloorEvent, Loom, PlanRun, Slot, Stop, Warp, WarpPart
from planning.run_out import Spell, Tally
from planning.services import clock, working_out
from planning.services.looms import write_down
from planning.services.standing import due_minute
from planning.worktime import WEEK_MIN, Calendar, Span


class Shed:
    """Calendars of looms from a moment on, each made once for all looms that keep the same hours."""

    def __init__(self, since: datetime) -> None:
        self.epoch = clock.monday_before(since)
        self.closures = list(Closure.objects.all())
        self.calendars: dict[tuple[str, tuple[Span, ...]], Calendar] = {}

    def of(self, loom: Loom) -> Calendar:
        closed = clock.loom_closed(loom, self.closures, epoch=self.epoch)
        key = loom.shift_pattern.hours, closed
        if key not in self.calendars:
            hours = clock.mill_hours(loom.shift_pattern.hours, self.closures, epoch=self.epoch)
            horizon = clock.HORIZON_WEEKS * 2 * WEEK_MIN
            self.calendars[key] = Calendar(hours.weekly, (*hours.closed, *closed), horizon)
        return self.calendars[key]

    def minute(self, moment: datetime) -> int:
        return max(0, clock.to_minute(moment, epoch=self.epoch))

    def worked_min(self, loom: Loom, starts_at: datetime, stops_at: datetime) -> int:
        return self.of(loom).worked_between(self.minute(starts_at), max(self.minute(starts_at), self.minute(stops_at)))


@dataclass(frozen=True)
class Woven:
    """A spell with what it is counted under."""

    spell: Spell
    loom: str
    cloth: str
    weaver: str
    stood: Counter[str]
    at: datetime


def spells(*, since: datetime, until: datetime | None = None) -> list[Woven]:
    """Pieces taken off between two moments, each with the working minutes from the piece before, or from the start.

    A piece that nobody told the start of is left out: its minutes are not known.
    """
    until = until or timezone.now()
    told = (
        FloorEvent.objects.filter(refused="", undone_by__isnull=True)
        .filter(kind__in=[FloorEvent.STARTED, FloorEvent.PIECE_OFF])
        .select_related("worker", "piece__spec__cloth")
        .order_by("happened_at", "pk")
    )
    warps = (
        Warp.objects.filter(events__kind=FloorEvent.PIECE_OFF, events__happened_at__gte=since, loom__isnull=False)
        .distinct()
        .select_related("loom__shift_pattern")
        .prefetch_related(Prefetch("events", told, to_attr="told"), "stops")
    )
    shed = Shed(since - timedelta(days=60))
    found = []
    for warp in warps:
        assert warp.loom is not None
        began: datetime | None = None
        for event in warp.told:
            if event.kind == FloorEvent.STARTED:
                began = event.happened_at
                continue
            piece = event.piece
            if began is not None and piece is not None and since <= event.happened_at < until:
                found.append(_woven(shed, warp, warp.loom, event, began))
            began = event.happened_at
    return found


def _woven(shed: Shed, warp: Warp, loom: Loom, event: FloorEvent, began: datetime) -> Woven:
    stood: Counter[str] = Counter()
    for stop in warp.stops.all():
        starts_at, stops_at = max(stop.starts_at, began), min(stop.stops_at or event.happened_at, event.happened_at)
        if starts_at < stops_at:
            stood[stop.reason] += shed.worked_min(loom, starts_at, stops_at)
    minutes = shed.worked_min(loom, began, event.happened_at)
    waited = min(minutes, sum(stood[reason] for reason in Stop.WAITS))
    piece = event.piece
    assert piece is not None
    return Woven(
        spell=Spell(
            picks=piece.picks or 0,
            length_m=piece.grey_length_m,
            minutes=minutes,
            ppm=loom.ppm,
            waited_min=waited,
            stood_min=min(minutes - waited, sum(stood.values()) - waited),
        ),
        loom=loom.code,
        cloth=str(piece.spec.cloth),
        weaver=event.worker.name,
        stood=stood,
        at=event.happened_at,
    )


@dataclass(frozen=True)
class Group:
    """What one loom, cloth or weaver wove."""

    name: str
    tally: Tally
    stood: tuple[tuple[str, int], ...]


def grouped(rows: Iterable[Woven], by: Callable[[Woven], str]) -> list[Group]:
    """The spells by loom, cloth or weaver, with the reasons they stood, longest first."""
    groups: dict[str, list[Woven]] = defaultdict(list)
    for row in rows:
        groups[by(row)].append(row)
    found = []
    for name, own in sorted(groups.items()):
        stood: Counter[str] = Counter()
        for row in own:
            stood.update(row.stood)
        found.append(Group(name, run_out.tally(row.spell for row in own), tuple(stood.most_common())))
    return found


# Run-out and late warnings


@dataclass(frozen=True)
class Late:
    """A line whose last piece on a warp comes off after the day that still serves its due date."""

    line: Any
    off_at: datetime
    last_day: datetime
    late_min: int


@dataclass(frozen=True)
class RunOut:
    """A warp in a loom: what is left, and when it is out by what was really woven.

    planned_at       by the plan in force; None without one
    is_woven_pct     the efficiency is the loom's own of late, not that of its record
    """

    warp: Warp
    loom: Loom
    picks_left: int
    efficiency_pct: Decimal
    is_woven_pct: bool
    out_at: datetime
    planned_at: datetime | None
    later_min: int
    stop: Stop | None
    late: tuple[Late, ...]


def run_outs(*, now: datetime | None = None, days: int = 28) -> list[RunOut]:
    """Every warp that weaves, soonest out first; efficiencies from the pieces of so many days."""
    now = now or timezone.now()
    woven = {
        group.name: group.tally for group in grouped(spells(since=now - timedelta(days=days)), lambda row: row.loom)
    }
    warps = (
        Warp.objects.filter(state=Warp.WEAVING, loom__isnull=False)
        .select_related("loom__shift_pattern", "worked")
        .prefetch_related(
            "stops",
            Prefetch("parts", WarpPart.objects.select_related("line__order__customer", "spec")),
            Prefetch("slots", Slot.objects.filter(run__state=PlanRun.IN_FORCE), to_attr="slots_in_force"),
        )
    )
    shed = Shed(now)
    found = [_run_out(warp, shed, woven, now) for warp in warps]
    return sorted(found, key=lambda row: row.out_at)


def _run_out(warp: Warp, shed: Shed, woven: dict[str, Tally], now: datetime) -> RunOut:
    loom = warp.loom
    assert loom is not None
    nothing = run_out.tally(())
    efficiency_pct, is_woven = run_out.efficiency_to_go_by(
        record_pct=loom.efficiency_pct, woven=woven.get(loom.code, nothing)
    )
    calendar, now_min = shed.of(loom), shed.minute(now)

    def off(picks: int) -> datetime:
        minutes = run_out.left_min(picks_left=picks, ppm=loom.ppm, efficiency_pct=efficiency_pct)
        return clock.to_moment(calendar.add_minutes(now_min, minutes)[1], epoch=shed.epoch)

    picks_left = max(0, warp.worked.picks - warp.picks_woven)
    out_at = off(picks_left)
    slot = working_out.slot_in_force(warp)
    planned_at = slot.weaving_stops_at if slot else None
    late = []
    ahead = -warp.picks_woven
    for part, run in zip(warp.parts.all(), (warp.worked.figures or {}).get("runs", ()), strict=False):
        ahead += run["picks"]
        if ahead <= 0:
            continue
        at = off(ahead)
        latest = due_minute(part.line, part.spec.finishing_days, epoch=shed.epoch)
        if shed.minute(at) > latest:
            last_day = clock.to_moment(latest, epoch=shed.epoch)
            late.append(Late(part.line, at, last_day, shed.minute(at) - latest))
    return RunOut(
        warp=warp,
        loom=loom,
        picks_left=picks_left,
        efficiency_pct=efficiency_pct,
        is_woven_pct=is_woven,
        out_at=out_at,
        planned_at=planned_at,
        later_min=int((out_at - planned_at).total_seconds() // 60) if planned_at else 0,
        stop=next((stop for stop in warp.stops.all() if stop.stops_at is None), None),
        late=tuple(late),
    )


# What the looms' records could learn


@dataclass(frozen=True)
class Offer:
    """The efficiency that a loom showed, beside the one in its record."""

    loom: Loom
    woven_pct: Decimal
    tally: Tally


def offers(groups: Sequence[Group]) -> list[Offer]:
    """Looms that ran otherwise than their record says by 2 points or more, on enough picks to say so."""
    looms = Loom.objects.in_bulk([group.name for group in groups], field_name="code")
    found = []
    for group in groups:
        loom = looms[group.name]
        pct, is_woven = run_out.efficiency_to_go_by(record_pct=loom.efficiency_pct, woven=group.tally)
        if is_woven and abs(pct - loom.efficiency_pct) >= 2:
            found.append(Offer(loom, pct, group.tally))
    return found


@transaction.atomic
def take_efficiency(loom: Loom, *, efficiency_pct: Decimal, by: Any) -> Loom:
    """Write the woven efficiency into the loom's record; warps and demand on it are worked out again."""
    loom = Loom.objects.select_for_update(of=("self",)).select_related("shift_pattern").get(pk=loom.pk)
    if not 5 <= efficiency_pct <= 100:
        raise Refusal(f"An efficiency of {efficiency_pct} % can't be: write from 5 to 100.", field="efficiency_pct")
    loom.efficiency_pct = efficiency_pct
    loom._history_user = by  # type: ignore[attr-defined]
    loom._change_reason = "as it was woven"  # type: ignore[attr-defined]
    write_down(loom)
    return loom
