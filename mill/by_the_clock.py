"""What is due by the clock: one list, looked through by the worker of one PC and, in a grown mill, by Celery's beat.

What is due every night is asked for in the job table, once a night, and the rows that were asked for are the record of
it. So whoever looks may look as often as they like, several at once, late, or after a clock was put forward or back:
a night that has passed and was not asked for is asked for, one that was is not. A night is a moment: of an hour that
the clocks show twice it is the first, and of one that they leap over it is the moment of the leap.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta, tzinfo
from typing import Any

from axes.models import AccessAttempt, AccessLog
from django.contrib.sessions.models import Session
from django.db import connection, transaction
from django.utils import timezone

from mill import backup, jobs, once
from mill.models import Change, Job


@dataclass(frozen=True)
class Nightly:
    """Work of the job table, due every day at a time of the mill's clock."""

    task: str
    at: time
    what: str


@dataclass(frozen=True)
class Often:
    """What is done here and now, every so many seconds: no clock on the wall has a part in it."""

    task: str
    every_s: int
    what: str


FORGET = "mill.forget"
NIGHTLY = [
    Nightly("inventory.new_day", time(0), "what each yarn will have is worked out from the new day on"),
    Nightly(backup.TASK, time(2), "the whole book is written into one file"),
    Nightly(
        FORGET,
        time(2, 30),
        "jobs done long ago, answers kept by key, sign-ins that ran out and who was at the door are forgotten",
    ),
]
PUT_BACK, ASK = "mill.put_back", "mill.ask_for_what_is_due"
OFTEN = [
    Often(PUT_BACK, 15, "the jobs of dead workers are put back"),
    Often(ASK, 60, "the nights' work is asked for"),
]
# A row asked for further ahead than this was asked for by a clock that has been set right since: it says nothing.
AHEAD = timedelta(hours=2)
# Who signed in, or tried to, from which machine.
DOOR_KEPT = timedelta(days=90)
# Any number that nothing else in the book locks by.
LOCK = 20_260_212


def last_due(at: time, now: datetime, zone: tzinfo) -> datetime:
    """The last moment, not after now, at which the clocks of a zone showed this time of day for the first time.

    >>> from zoneinfo import ZoneInfo
    >>> berlin = ZoneInfo("Europe/Berlin")
    >>> str(last_due(time(2), datetime(2026, 10, 25, 1, 30, tzinfo=UTC), berlin))
    '2026-10-25 00:00:00+00:00'

    There 02:30 was shown twice that night, at 00:30 and 01:30 UTC; two o'clock is the first one.
    """
    day = now.astimezone(zone).date()
    while True:
        # Compared in UTC: of two moments of one zone Python compares what the clocks show.
        moment = datetime.combine(day, at, tzinfo=zone).astimezone(UTC)
        if moment <= now:
            return moment
        day -= timedelta(days=1)


def is_due(one: Nightly, now: datetime) -> bool:
    """Whether the last night's is still to be asked for. In a book that had nothing in it then, it is not."""
    night = last_due(one.at, now, timezone.get_default_timezone())
    if not Change.objects.filter(at__lt=night).exists():
        return False
    return not Job.objects.filter(task=one.task, asked_at__gte=night, asked_at__lte=now + AHEAD).exists()


def ask_for_what_is_due(now: datetime | None = None) -> int:
    """Ask for what a night made due and nobody has asked for yet; how many."""
    now = now or timezone.now()
    return sum(_ask(one, now) for one in NIGHTLY if is_due(one, now))


@transaction.atomic
def _ask(one: Nightly, now: datetime) -> bool:
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            # One after the other: who comes second finds the row of the first. SQLite has one writer at a time anyway.
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [LOCK])
    if not is_due(one, now):
        return False
    jobs.ask(one.task, {}, same_as=one.task)
    return True


def overdue(*, by: timedelta) -> list[str]:
    """What was due so long ago and has not been asked for: nobody looks at the clock."""
    now = timezone.now()
    return [one.what for one in NIGHTLY if is_due(one, now) and is_due(one, now - by)]


def look(*, idle: str = "") -> None:
    """All of it, here: for the worker of one PC."""
    jobs.recover(idle=idle)
    ask_for_what_is_due()


def forget() -> dict[str, int]:
    """Take away what nobody needs any more."""
    now = timezone.now()
    sessions, _ = Session.objects.filter(expire_date__lt=now).delete()
    at_the_door = [
        rows.objects.filter(attempt_time__lt=now - DOOR_KEPT).delete()[0] for rows in (AccessLog, AccessAttempt)
    ]
    return {"jobs": jobs.forget(), "answers": once.forget(), "sessions": sessions, "at_the_door": sum(at_the_door)}


def schedule() -> dict[str, Any]:
    """The list for Celery's beat: it sends the name of a task, and a worker looks."""
    from mill.celery import Every

    return {one.task: {"task": one.task, "schedule": Every(one.every_s)} for one in OFTEN}
