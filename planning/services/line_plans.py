"""When the plan in force has a warp, and an order line's pieces, off the loom, and ready. Writes nothing."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.utils import timezone

from mill.refusal import N_
from mill.working import W_, Step
from planning import finishing
from planning.loom import weaving_min
from planning.models import Closure, Slot, Warp, WarpPart
from planning.services import clock, working_out
from planning.ticket import from_json
from planning.worktime import WEEK_MIN, Calendar, calendar_of

OFF_THE_LOOM = W_("Off the loom, %(warp)s")
# Words among the figures of a sum.
OF_PLAN = W_("plan %(plan)s")
MIN_OF_LOOM = W_("%(n)s min of loom %(loom)s")
DAYS = W_("%(n)s days")
MIN_OF_SET_UP = W_("%(n)s min of %(setup)s")


@dataclass(frozen=True)
class PartPlan:
    """A part of a line on a warp, with its place in the plan in force.

    off_at      when its last piece is woven; None without a plan, and once it is woven out
    ready_on    the day on which it is finished
    behind_min  of the loom, for what is woven after it on the warp
    """

    part: WarpPart
    warp: Warp
    slot: Slot | None
    off_at: datetime | None
    ready_on: date | None
    behind_min: int = 0

    @property
    def working(self) -> tuple[Step, ...]:
        """How its days came about; empty without a plan."""
        if self.slot is None or self.off_at is None or self.ready_on is None:
            return ()
        off_on = off_day(self.off_at)
        days, due_on = self.part.spec.finishing_days, self.part.line.due_on
        return (
            Step(
                "off_at",
                OFF_THE_LOOM % {"warp": self.warp},
                N_("the warp is woven out, by the plan − the loom’s minutes for what is woven after these pieces"),
                f"{_at(self.slot.weaving_stops_at)} ({OF_PLAN % {'plan': self.slot.run_id}}) − "
                + MIN_OF_LOOM % {"n": self.behind_min, "loom": self.slot.loom},
                _at(self.off_at),
                source=N_("minutes are those in which the loom works"),
            ),
            Step(
                "ready_on",
                N_("Finished"),
                N_("off the loom + the revision’s days of finishing, Mondays to Fridays"),
                f"{off_on:%d.%m.%Y} + {DAYS % {'n': days}}",
                f"{self.ready_on:%d.%m.%Y}",
                source=N_("the cloth’s specification"),
            ),
            Step(
                "late_days",
                N_("Late"),
                N_("finished − due; 0 when it is in time"),
                f"{self.ready_on:%d.%m.%Y} − {due_on:%d.%m.%Y}",
                self.late_days,
                "days",
                N_("by definition"),
            ),
        )

    @property
    def late_days(self) -> int:
        """Days after its due date by the plan; 0 when it is in time or not planned."""
        return max(0, (self.ready_on - self.part.line.due_on).days) if self.ready_on else 0


def off_day(off_at: datetime) -> date:
    """The day on which something comes off the loom: what is off at midnight is off on the day before, as in a plan."""
    return timezone.localdate(off_at - timedelta(minutes=1))


def plans_of(line_ids: Iterable[int]) -> dict[int, list[PartPlan]]:
    """Of each line its parts, in the order of their warps; a constant number of queries."""
    found: dict[int, list[PartPlan]] = {pk: [] for pk in line_ids}
    on = WarpPart.objects.filter(line__in=found).values("warp")
    warps = working_out.for_working_out(Warp.objects.filter(pk__in=on).order_by("number"))
    closures = list(Closure.objects.all())
    for warp in warps:
        ends = _ends(warp, closures=closures)
        for part in warp.parts.all():
            if part.line_id in found:
                off_at, behind_min = ends.get(part.pk, (None, 0))
                days = part.spec.finishing_days
                ready_on = finishing.ready_on(off_day(off_at), days) if off_at else None
                slot = working_out.slot_in_force(warp)
                found[part.line_id].append(PartPlan(part, warp, slot, off_at, ready_on, behind_min))
    return found


def _ends(warp: Warp, *, closures: Sequence[Closure]) -> Mapping[int, tuple[datetime, int]]:
    """When each part is woven, by its primary key, and the loom's minutes for what is woven after it.

    Counted back from the end of the slot, since of a warp that is in the loom the plan knows only what is left.
    """
    slot = working_out.slot_in_force(warp)
    worked = getattr(warp, "worked", None)
    parts = list(warp.parts.all())
    if slot is None or worked is None or worked.figures is None or warp.state == Warp.WOVEN_OUT:
        return {}
    runs = from_json(worked.figures).runs
    if len(runs) != len(parts):
        # It is being worked out: its parts have changed since.
        return {}
    calendar, epoch = _calendar(slot, closures=closures)
    stop = calendar.worked(clock.to_minute(slot.weaving_stops_at, epoch=epoch))
    start = calendar.worked(clock.to_minute(slot.weaving_starts_at, epoch=epoch))
    found: dict[int, tuple[datetime, int]] = {}
    behind = 0
    for part, run in zip(reversed(parts), reversed(runs), strict=True):
        after_min = weaving_min(picks=behind, ppm=slot.loom.ppm, efficiency_pct=slot.loom.efficiency_pct)
        minute = max(start, stop - after_min)
        # The last is off when the warp is out by the plan, whatever was closed since it was made.
        off_at = clock.to_moment(calendar.completes(minute), epoch=epoch) if behind else slot.weaving_stops_at
        found[part.pk] = (off_at, stop - minute)
        behind += run.picks
    return found


def times_of(slot: Slot) -> tuple[Step, ...]:
    """How the times of a warp in a plan follow from one another; without a set-up where it hangs in its loom."""
    calendar, epoch = _calendar(slot, closures=list(Closure.objects.all()))
    starts, stops = (
        calendar.worked(clock.to_minute(at, epoch=epoch)) for at in (slot.weaving_starts_at, slot.weaving_stops_at)
    )
    steps = []
    if slot.setup_min:
        steps = [
            Step(
                "setup_stops_at",
                N_("Set up"),
                N_("set-up begins + its minutes, in hours in which the loom and a tuner work"),
                f"{_at(slot.setup_starts_at)} + {MIN_OF_SET_UP % {'n': slot.setup_min, 'setup': slot.setup}}",
                _at(slot.setup_stops_at),
                source=N_("the mill’s own minutes of a set-up"),
            ),
            Step(
                "weaving_starts_at",
                N_("Weaving begins"),
                N_("the set-up is over, and the loom works"),
                _at(slot.setup_stops_at),
                _at(slot.weaving_starts_at),
                source=N_("the loom’s shifts, less closures"),
            ),
        ]
    return (
        *steps,
        Step(
            "weaving_stops_at",
            N_("Woven out"),
            N_("weaving begins + the loom’s minutes for the picks that are left"),
            f"{_at(slot.weaving_starts_at)} + {MIN_OF_LOOM % {'n': stops - starts, 'loom': slot.loom}}",
            _at(slot.weaving_stops_at),
            source=N_("minutes are those in which the loom works"),
        ),
    )


def _at(moment: datetime) -> str:
    return f"{timezone.localtime(moment):%d.%m.%Y %H:%M}"


def _calendar(slot: Slot, *, closures: Sequence[Closure]) -> tuple[Calendar, datetime]:
    epoch = clock.monday_before(slot.weaving_starts_at)
    stop = clock.to_minute(slot.weaving_stops_at, epoch=epoch)
    hours = clock.mill_hours(slot.loom.shift_pattern.hours, list(closures), epoch=epoch)
    closed = clock.loom_closed(slot.loom, list(closures), epoch=epoch)
    return calendar_of(hours.weekly, (*hours.closed, *closed), -(-max(stop, 1) // WEEK_MIN) * WEEK_MIN), epoch
