"""The day on which the example mill stands, the dice it is thrown with, and the clock that is held meanwhile."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from random import Random
from typing import Any

from django.utils import timezone

DAYS_OF_PAST = 182
# Until then the past is written all at once; from then on the floor is worked through its services.
FLOOR_FROM = 8


@dataclass(frozen=True)
class Story:
    """One example mill: everything in it follows from these.

    on      the day on which it stands, before the first shift
    size    1 is the mill that is described; 10 has ten times its orders, lots and pieces
    by      whoever has done all of it
    """

    on: date
    seed: int
    size: int
    by: Any

    def dice(self, what: str) -> Random:
        """Dice of its own for each part, so that one part more doesn't throw the others otherwise."""
        return Random(f"{self.seed} {self.size} {what}")  # noqa: S311

    def ago(self, days: int) -> date:
        return self.on - timedelta(days=days)

    def workday(self, days_ago: int) -> date:
        """The last Monday to Friday so many days ago or before."""
        day = self.ago(days_ago)
        return day - timedelta(days=max(0, day.weekday() - 4))


@contextmanager
def clock_at(day: date, hour: int = 12, minute: int = 0) -> Iterator[datetime]:
    """Hold the clock: whatever is written meanwhile is written at this moment.

    The services ask the clock what day it is and when a line was written. A past that has not happened can't be told
    to them otherwise.
    """
    moment = timezone.make_aware(datetime.combine(day, time(hour, minute)))
    real = timezone.now
    timezone.now = lambda: moment
    try:
        yield moment
    finally:
        timezone.now = real
