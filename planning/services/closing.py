"""Public holidays as closures of the whole mill: seen first, then written in one act."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import get_language

from mill import changes
from mill.models import Mill
from mill.public_days import PublicDay, public_days
from mill.refusal import N_, Refusal
from planning.models import Closure
from planning.services import looms
from planning.services.retelling import Kept

# Next year's holidays are asked for from here on. Common practice, no source.
ASKED_FROM_MONTH = 10


@dataclass(frozen=True)
class DayOff:
    """A public holiday, and the closure of the whole mill that covers it already."""

    day: date
    name: str
    closed_by: Closure | None


def midnight(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day, time()))


def days_off(place: str, year: int) -> list[DayOff]:
    """The public holidays of a place, each with the closure that covers it. Raises Refusal for what no table has.

    They are named in the language of whoever asks, where the tables have it.
    """
    days = public_days(place, year, spoken=(get_language() or "en").partition("-")[0])
    closures = list(
        Closure.objects.filter(
            loom=None, starts_at__lt=midnight(date(year + 1, 1, 1)), stops_at__gt=midnight(date(year, 1, 1))
        )
    )
    return [DayOff(one.day, one.name, _covering(one, closures)) for one in days]


def _covering(one: PublicDay, closures: list[Closure]) -> Closure | None:
    begins, ends = midnight(one.day), midnight(one.day + timedelta(days=1))
    return next((row for row in closures if row.starts_at <= begins and row.stops_at >= ends), None)


@transaction.atomic
def close_on(place: str, year: int, *, days: Collection[date], by: Any) -> list[Closure]:
    """Write a closure of the whole mill for each of these public holidays that none covers yet; twice is once.

    Raises Refusal for a day that is no public holiday of the place in that year.
    """
    Mill.objects.get_or_create(pk=1)
    Mill.objects.select_for_update().get(pk=1)
    offered = {one.day: one for one in days_off(place, year)}
    if strange := sorted(set(days) - offered.keys()):
        raise Refusal(
            N_("%(day)s is no public holiday of %(place)s in the tables. Write that closure by hand."),
            day=Kept(f"{strange[0]:%d %B %Y}", "whole"),
            place=place,
        )
    changes.update(Mill.objects.filter(pk=1), by=by, holidays_of=place.upper())
    return [
        looms.write_down(
            Closure(name=offered[day].name[:80], starts_at=midnight(day), stops_at=midnight(day + timedelta(days=1))),
            by=by,
        )
        for day in sorted(set(days))
        if offered[day].closed_by is None
    ]


def year_to_write(today: date) -> int | None:
    """The year whose public holidays are wanted and of which none is a closure yet; None when there is none."""
    place = Mill.the_one().holidays_of
    if not place:
        return None
    years = [today.year, *([today.year + 1] if today.month >= ASKED_FROM_MONTH else [])]
    return next((year for year in years if not any(one.closed_by for one in days_off(place, year))), None)
