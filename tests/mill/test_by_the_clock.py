"""What is due every night is asked for once a night, whatever becomes of the clock. The times are handed in."""

from datetime import UTC, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from axes.models import AccessAttempt, AccessLog
from celery.schedules import schedule
from django.contrib.sessions.models import Session
from django.utils import timezone

from inventory.models import OutlookMark
from mill import by_the_clock, doctor, jobs
from mill.by_the_clock import NIGHTLY, OFTEN, Nightly, ask_for_what_is_due, last_due
from mill.celery import Every, app
from mill.models import Change, Job, KeptAnswer
from tests.make import make_delivery, make_yarn

BERLIN, LONDON = ZoneInfo("Europe/Berlin"), ZoneInfo("Europe/London")
# The clocks of 2026, from the zones' own data: Berlin leaps from 02:00 to 03:00 on 29 March at 01:00 UTC, and shows
# 02:00 to 03:00 twice on 25 October, the second time from 01:00 UTC on; London an hour earlier by its own clock.
LEAP = datetime(2026, 3, 29, 1, tzinfo=UTC)
TWICE = datetime(2026, 10, 25, 1, tzinfo=UTC)
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)


@pytest.mark.parametrize("zone", [BERLIN, LONDON], ids=str)
@pytest.mark.parametrize("turn", [LEAP, TWICE], ids=["leap", "twice"])
@pytest.mark.parametrize("at", [time(0), time(1), time(1, 30), time(2), time(2, 30), time(3)], ids=str)
def test_every_night_is_one_moment_also_when_the_clocks_are_turned(zone, turn, at):
    moments = {last_due(at, turn + n * 5 * MINUTE, zone) for n in range(-36 * 12, 36 * 12)}
    within = sorted(moment for moment in moments if turn - 36 * HOUR <= moment)
    assert len({moment.astimezone(zone).date() for moment in within}) == len(within) == 3
    assert all(22 * HOUR < later - earlier < 26 * HOUR for earlier, later in pairwise(within))
    for moment in within:
        shown = moment.astimezone(zone)
        leapt_over = shown.utcoffset() != (moment - HOUR).astimezone(zone).utcoffset()
        assert shown.time() == at or leapt_over


def test_the_moment_is_never_after_now():
    for n in range(0, 60 * 24 * 3, 7):
        now = TWICE - 36 * HOUR + n * MINUTE
        assert now - 25 * HOUR - MINUTE < last_due(time(2, 30), now, BERLIN) <= now


@pytest.fixture
def book(db, settings, monkeypatch):
    """A book that has something in it, in a zone whose clocks are turned at two; and how the nights go by in it."""
    settings.TIME_ZONE = "Europe/Berlin"
    timezone.get_default_timezone.cache_clear()
    Change.objects.create(at=LEAP - timedelta(days=90), kind="mill.mill", row_pk=1, what="~", history_id=1)

    def live(moments) -> dict[str, list[datetime]]:
        """What was asked for and worked when the clock showed these moments, one after the other."""
        asked: dict[str, list[datetime]] = {one.task: [] for one in NIGHTLY}
        for now in moments:
            ask_for_what_is_due(now)
            # The table's own column is the machine's clock, which here is the one handed in.
            new = Job.objects.filter(state=Job.QUEUED)
            for task in new.values_list("task", flat=True):
                asked[task].append(now)
            new.update(asked_at=now, state=Job.DONE)
        return asked

    yield live
    settings.TIME_ZONE = "Europe/London"
    timezone.get_default_timezone.cache_clear()


def minutes(start: datetime, stop: datetime, *, step: int = 10):
    now = start
    while now < stop:
        yield now
        now += timedelta(minutes=step)


def settled(start: datetime) -> list[datetime]:
    """The moments before it, in which what was due in a book just opened is asked for."""
    return [start - 26 * HOUR, start - 13 * HOUR, start - 10 * MINUTE]


@pytest.mark.parametrize("turn", [LEAP, TWICE], ids=["leap", "twice"])
def test_three_nights_in_which_the_clocks_are_turned_are_three(book, turn):
    start = turn - 37 * HOUR  # noon of the day before the day before, in Berlin
    book(settled(start))
    asked = book(minutes(start, start + timedelta(days=3)))
    assert {task: len(times) for task, times in asked.items()} == {one.task: 3 for one in NIGHTLY}


@pytest.mark.parametrize("by_h", [-1, 1])
@pytest.mark.parametrize("set_at", [22, 23, 24, 25, 26, 27, 28])
def test_a_clock_set_an_hour_back_or_forward_does_nothing_twice_and_leaves_nothing_out(book, by_h, set_at):
    """Set at any hour of the night, while the machine goes on: 24 h later each has been asked for once."""
    noon = datetime(2026, 2, 10, 11, tzinfo=UTC)
    book(settled(noon))
    turned = noon + (set_at - 12) * HOUR + 5 * MINUTE
    before = list(minutes(noon, turned))
    after = list(minutes(turned + by_h * HOUR, noon + 24 * HOUR))
    asked = book([*before, *after])
    assert {task: len(times) for task, times in asked.items()} == {one.task: 1 for one in NIGHTLY}


def test_a_machine_that_was_off_at_night_does_it_when_it_is_on_again(book):
    noon = datetime(2026, 2, 10, 11, tzinfo=UTC)
    book(settled(noon))
    asked = book([noon, noon + timedelta(days=3), noon + timedelta(days=3, minutes=10)])
    assert {tuple(times) for times in asked.values()} == {(noon + timedelta(days=3),)}


def test_a_clock_that_was_a_year_ahead_does_not_keep_the_nights_away(book):
    noon = datetime(2026, 2, 10, 11, tzinfo=UTC)
    book(settled(noon))
    book([noon + timedelta(days=365)])
    asked = book(minutes(noon, noon + timedelta(days=2)))
    assert {len(times) for times in asked.values()} == {2}


def test_a_book_with_nothing_in_it_last_night_owes_nothing(db):
    assert ask_for_what_is_due() == 0


def test_what_is_forgotten_is_what_nobody_needs(db, planner):
    now = timezone.now()
    for key, days in (("old", 3), ("new", 1)):
        KeptAnswer.objects.create(user=planner, key=key, fingerprint="x")
        KeptAnswer.objects.filter(key=key).update(at=now - timedelta(days=days))
        Session.objects.create(session_key=key, expire_date=now + timedelta(days=2 - days, hours=1))
    Job.objects.create(task="x", payload={}, state=Job.DONE, completed_at=now - jobs.KEPT - HOUR)
    Session.objects.filter(session_key="old").update(expire_date=now - HOUR)
    for rows, more in ((AccessLog, {}), (AccessAttempt, {"failures_since_start": 1})):
        for who, days in (("old", 91), ("new", 89)):
            made = rows.objects.create(username=who, ip_address="192.0.2.7", user_agent="a browser", **more)
            rows.objects.filter(pk=made.pk).update(attempt_time=now - timedelta(days=days))
    assert by_the_clock.forget() == {"jobs": 1, "answers": 1, "sessions": 1, "at_the_door": 2}
    assert [row.username for row in (*AccessLog.objects.all(), *AccessAttempt.objects.all())] == ["new", "new"]
    assert [row.key for row in KeptAnswer.objects.all()] == ["new"]
    assert [row.session_key for row in Session.objects.all()] == ["new"]


def test_everything_on_the_list_is_a_task_that_a_worker_finds_and_can_work(db):
    app.loader.import_default_modules()
    assert {one.task for one in [*NIGHTLY, *OFTEN]} <= set(app.tasks)
    Change.objects.create(at=timezone.now() - timedelta(days=2), kind="mill.mill", row_pk=1, what="~", history_id=1)
    assert ask_for_what_is_due() == len(NIGHTLY)
    assert ask_for_what_is_due() == 0
    assert jobs.settle() == len(NIGHTLY)
    for one in OFTEN:
        app.tasks[one.task].apply(throw=True)


def test_a_new_day_has_the_outlooks_of_yesterday_worked_out_again(db):
    yarn = make_yarn()
    make_delivery(yarn=yarn)
    from inventory.services import yarns_changed

    yarns_changed([yarn.pk])
    jobs.settle()
    yarn.outlook.__class__.objects.update(worked_from="2026-01-01 of another day")
    app.loader.import_default_modules()
    assert app.tasks["inventory.new_day"].apply(args=[{}], throw=True).result == {"yarns": 1}
    assert OutlookMark.objects.get().yarn == yarn


def test_beat_has_the_list_for_its_schedule():
    app.finalize()  # as beat does before it looks
    scheduled = app.conf.beat_schedule
    assert {entry["task"]: entry["schedule"].seconds for entry in scheduled.values()} == {
        one.task: one.every_s for one in OFTEN
    }


def test_beat_goes_on_at_once_when_the_clock_was_put_back():
    now = datetime(2026, 2, 10, 3, tzinfo=UTC)
    ours = Every(60, nowfun=lambda: now, app=app)
    assert ours.is_due(now - timedelta(seconds=61)).is_due
    assert not ours.is_due(now - timedelta(seconds=30)).is_due
    assert ours.is_due(now + HOUR).is_due
    plain = schedule(timedelta(seconds=60), nowfun=lambda: now, app=app)
    assert not plain.is_due(now + HOUR).is_due, "Celery's own would wait for the hour to pass: ours is still needed"


def test_the_doctor_of_a_grown_mill_says_when_nobody_looks_at_the_clock(db, settings):
    Change.objects.create(at=timezone.now() - timedelta(days=3), kind="mill.mill", row_pk=1, what="~", history_id=1)
    assert list(doctor.clockwork()) == [], "on one PC the book was closed at night"
    settings.CELERY_BROKER_URL = "redis://127.0.0.1:1/0"
    (said,) = doctor.clockwork()
    assert "the whole book is written into one file" in said.what
    assert said.do == "Start beat, the service that looks at the clock."
    ask_for_what_is_due()
    assert list(doctor.clockwork()) == []


@pytest.mark.parametrize("one", NIGHTLY, ids=lambda one: one.task)
def test_the_list_says_what_each_is_in_words(one):
    assert isinstance(one, Nightly)
    assert len(one.what.split()) > 4
