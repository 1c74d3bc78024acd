"""What the plan in force takes of each loom's hours in the weeks to come, read for the room `load`."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.utils import timezone

from planning.load import SET_UP, WEAVING, Load, Taken, by_loom, by_warp
from planning.models import Loom, PlanRun, Slot
from planning.period import Period
from planning.services import clock
from planning.services.woven import Shed
from planning.worktime import DAY_MIN, WEEK_MIN, Span


@dataclass(frozen=True)
class Ahead:
    """The weeks to come: each loom's load, and each warp's share in it.

    run      the plan in force; None without one
    weeks    their Mondays, of those that are not past; the present one from this minute on
    """

    run: PlanRun | None
    weeks: Sequence[date]
    looms: dict[str, tuple[Load, ...]]
    warps: dict[str, tuple[Load, ...]]
    held: frozenset[str]


def ahead(period: Period, *, now: datetime | None = None) -> Ahead:
    """The load of the weeks that the period has a day of, as far as they are to come; five questions at most."""
    now = now or timezone.now()
    run = PlanRun.objects.filter(state=PlanRun.IN_FORCE).first()
    looms = list(Loom.objects.select_related("shift_pattern"))
    shed = Shed(now)
    weeks = {
        monday: span for monday in period.weeks() if (span := _span(shed, monday, period, shed.minute(now))) is not None
    }
    calendars = {loom.code: shed.of(loom) for loom in looms}
    taken = [one for slot in _slots(run) for one in _taken(slot, shed)]
    spans = list(weeks.values())
    return Ahead(
        run=run,
        weeks=list(weeks),
        looms=by_loom(taken, calendars, spans),
        warps=by_warp(taken, calendars, spans),
        held=frozenset(loom.code for loom in looms if loom.is_held),
    )


def _span(shed: Shed, monday: date, period: Period, now_min: int) -> Span | None:
    """The part of a week that lies in the period and is to come; None where none does."""
    begins = clock.day_start(monday, epoch=shed.epoch)
    first = clock.day_start(period.first, epoch=shed.epoch)
    last = clock.day_start(period.last, epoch=shed.epoch) + DAY_MIN
    start, stop = max(begins, first, now_min), min(begins + WEEK_MIN, last)
    return (start, stop) if start < stop else None


def _slots(run: PlanRun | None) -> list[Slot]:
    return list(run.slots.open().select_related("loom", "warp").order_by("loom__code", "position")) if run else []


def _taken(slot: Slot, shed: Shed) -> list[Taken]:
    loom, warp = slot.loom.code, str(slot.warp.number)
    set_up = Taken(loom, warp, SET_UP, shed.minute(slot.setup_starts_at), shed.minute(slot.setup_stops_at))
    weaving = Taken(loom, warp, WEAVING, shed.minute(slot.weaving_starts_at), shed.minute(slot.weaving_stops_at))
    return [set_up, weaving]
