"""Between the calendar's moments and the planner's whole minutes.

Minutes are counted on the mill's own clock from a Monday 00:00: shifts are said in that clock. In the one
night a year when the clock goes back, or forward, a loom that runs through it gains or loses an hour of plan.
"""

from datetime import date, datetime, time, timedelta, tzinfo
from functools import lru_cache

from django.utils import timezone

from planning.models import Closure, Loom, ShiftPattern
from planning.worktime import DAY_MIN, Hours, Span, read_week

HORIZON_WEEKS = 104


def monday_before(moment: datetime) -> datetime:
    """The Monday 00:00, on the mill's clock, of the week that holds the moment."""
    local = timezone.localtime(moment)
    monday = local.date() - timedelta(days=local.weekday())
    return timezone.make_aware(datetime.combine(monday, time()))


def to_minute(moment: datetime, *, epoch: datetime) -> int:
    """Whole minutes of the mill's clock from the epoch, rounded up."""
    zone = timezone.get_current_timezone()
    passed = _on_the_clock(moment, zone) - _on_the_clock(epoch, zone)
    return -(-int(passed.total_seconds()) // 60)


@lru_cache(maxsize=4096)
def _on_the_clock(moment: datetime, zone: tzinfo) -> datetime:
    """A plan counts the same closures from the same Monday for every warp."""
    return timezone.make_naive(moment, zone)


def to_moment(minute: int, *, epoch: datetime) -> datetime:
    return timezone.make_aware(timezone.make_naive(epoch) + timedelta(minutes=minute))


def day_start(day: date, *, epoch: datetime) -> int:
    """Minute at which a day begins; its end is DAY_MIN later."""
    return (day - _first_day(epoch)).days * DAY_MIN


@lru_cache(maxsize=16)
def _first_day(epoch: datetime) -> date:
    """A plan asks for some thousand days counted from one epoch, and the mill's zone is one and the same."""
    return timezone.localtime(epoch).date()


def closed_spans(closures: list[Closure], *, epoch: datetime) -> tuple[Span, ...]:
    """A closure of less than a minute, or within the hour that comes twice, closes nothing: the clock hides it."""
    spans = ((max(to_minute(c.starts_at, epoch=epoch), 0), to_minute(c.stops_at, epoch=epoch)) for c in closures)
    return tuple((start, stop) for start, stop in spans if start < stop)


def mill_hours(week: str, closures: list[Closure], *, epoch: datetime) -> Hours:
    """Hours of a pattern, less the closures of the whole mill."""
    return Hours(read_week(week), closed_spans([c for c in closures if c.loom_id is None], epoch=epoch))


def hours_by_pattern(closures: list[Closure], *, epoch: datetime) -> dict[int, Hours]:
    return {
        pattern.pk: mill_hours(pattern.hours, closures, epoch=epoch) for pattern in ShiftPattern.objects.order_by("pk")
    }


def loom_closed(loom: Loom, closures: list[Closure], *, epoch: datetime) -> tuple[Span, ...]:
    """Spans in which this loom alone stands."""
    return closed_spans([c for c in closures if c.loom_id == loom.pk], epoch=epoch)
