"""The job table: ask for work in the same transaction, claim it, finish it once.

Whoever changes something that other figures depend on asks, in the same
transaction, for the work that follows from it:

    with transaction.atomic():
        ...
        jobs.ask("planning.rework_warps", {"revision": revision.pk}, same_as=f"planning.rework_warps:{revision.pk}")

Either both are kept or neither. A row stands until its work is done, so a lost
broker or a power cut loses nothing. On one PC `manage.py jobworker` works the
rows off; in a grown mill `manage.py jobrelay` hands them to Celery on Redis.
Both run the same code: `claim`, then `work`.

What a task is:

    @shared_task(name="planning.rework_warps")
    def rework_warps(payload: dict) -> dict:

- It takes the payload and returns a result, both plain JSON. The payload says
  which thing, never what changed: the first of several equal requests stands
  for all of them, so the task reads how things are now.
- It may be run twice, or late: running it again must change nothing.
- It runs inside one transaction, and the row is marked done in that same
  transaction: all of its writes are kept and it is done, or neither.
- A Refusal is given up at once; anything else raised is tried again, three
  times in all. The rows given up keep their reason in `error`.
- On SQLite the transaction keeps every other writer waiting. A task that may
  take longer than a second or two is long:

    @shared_task(name="planning.plan_looms", is_long=True)
    def plan_looms(payload: dict) -> dict:
        at_work = jobs.current()
        for ...:
            at_work.progress(40, "12 of 30 rounds")   # at least once a minute
            if at_work.is_asked_to_stop():
                break
        with transaction.atomic():
            PlanRun.objects.filter(...).update(...)
            at_work.finish({"run": run.pk})           # kept together, or not at all

  It runs outside any transaction, opens short ones of its own, and marks itself
  done inside the one that writes its outcome. `progress` raises Lost when the
  row has meanwhile been given to another worker; leave it to end the task.
- A task with is_apart=True does the same but takes a second or two: it reads and
  reckons while others write, and the worker of short work takes it too.

Several requests in one transaction are asked for in the alphabetical order of
`same_as`, so that two planners saving at once wait instead of deadlocking.
"""

import contextvars
import logging
import os
import socket
import sys
import time
import traceback
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.db import IntegrityError, InterfaceError, OperationalError, connection, transaction
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils import timezone

from mill import changes, logs, trouble
from mill.models import Job
from mill.refusal import N_, Refusal, Word

log = logging.getLogger("mill.jobs")

ATTEMPTS_MAX = 3
# A worker's death says little against the work, but work that kills every worker must stop somewhere.
DEATHS_MAX = 10
LEASE = timedelta(minutes=5)
# How long a message handed to Celery may take to be begun before it counts as lost.
HANDED_ON = timedelta(seconds=20)
# So many at a time, or a long queue would fill the broker with messages sent again.
IN_HAND_MAX = 100
KEPT = timedelta(days=90)
CHANNEL = "shedbook_jobs"


class Lost(Exception):
    """The row was given to another worker while this one was at it; whatever this one has not committed is dropped."""


# Asking


def ask(task: str, payload: dict[str, Any], *, same_as: str = "", by: Any = None) -> Job:
    """Ask for work, in the transaction that makes it necessary.

    same_as   requests of one kind that nobody has begun are one job; "" never joins
    by        the person who asked, if one did

    Returns the row, which may be one that was waiting already.
    """
    assert connection.in_atomic_block, "Ask for work in the transaction that makes it necessary."
    if not same_as:
        job = Job.objects.create(task=task, payload=payload, asked_by=by, request_id=logs.request_id())
        ring()
        return job
    while True:
        if waiting := _waiting(same_as):
            return waiting
        # Ignores the row when another transaction was quicker, and leaves ours whole.
        wanted = Job(task=task, payload=payload, same_as=same_as, asked_by=by, request_id=logs.request_id())
        Job.objects.bulk_create([wanted], ignore_conflicts=True)
        ring()


def _waiting(same_as: str) -> Job | None:
    """The queued row of this kind, kept from being begun until our transaction is over.

    A worker that began it now would not see what we have not committed yet. On
    SQLite our transaction keeps it waiting as it is; on PostgreSQL a shared
    lock does, which other requests may hold beside us and `claim` steps over.
    """
    rows = Job.objects.filter(same_as=same_as, state=Job.QUEUED)
    if connection.vendor != "postgresql":
        return rows.first()
    query, values = rows.order_by("id").query.sql_with_params()
    return next(iter(Job.objects.raw(f"{query} FOR SHARE", values)), None)


def ring() -> None:
    """Wake whoever waits for work, once this transaction is over. On SQLite they watch the file."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute(f"NOTIFY {CHANNEL}")


def is_pending(*prefixes: str) -> bool:
    """Whether a page must say "being worked out": work waits or runs whose `same_as` begins so.

    With no prefix: any work at all.
    """
    return _begins(prefixes).filter(state__in=[Job.QUEUED, Job.RUNNING]).exists()


def given_up(*prefixes: str) -> QuerySet[Job]:
    """Work of these kinds that was given up and has not been done since: its figures are not to be trusted."""
    return _begins(prefixes).filter(~Q(same_as="") & ~Exists(_done_since()), state=Job.FAILED)


def to_be_looked_at() -> QuerySet[Job]:
    """Work of any kind that was given up, by no person's word, and has not been done since."""
    return Job.objects.filter(Q(same_as="") | ~Exists(_done_since()), state=Job.FAILED, stopped_by=None)


def _done_since() -> QuerySet[Job]:
    return Job.objects.filter(same_as=OuterRef("same_as"), pk__gt=OuterRef("pk"), state=Job.DONE)


def _begins(prefixes: tuple[str, ...]) -> QuerySet[Job]:
    begins = Q()
    for prefix in prefixes:
        begins |= Q(same_as__startswith=prefix)
    return Job.objects.filter(begins)


def stop(job: Job, *, by: Any) -> None:
    """Ask a long job to end with what it has; one that nobody has begun is not begun any more."""
    who = changes.person(by)
    not_begun = Job.objects.filter(pk=job.pk, state=Job.QUEUED)
    if not not_begun.update(
        state=Job.FAILED, error=N_("Stopped before it was begun."), completed_at=timezone.now(), stopped_by=who
    ):
        Job.objects.filter(pk=job.pk, state=Job.RUNNING).update(is_asked_to_stop=True, stopped_by=who)


def try_again(job: Job, *, by: Any) -> Job:
    """Have work that was given up begun anew, with all its tries; its like that waits already does for both.

    Returns the row that will be worked. Raises Refusal for work that was not given up.
    """
    while True:
        try:
            with transaction.atomic():
                if Job.objects.filter(pk=job.pk, state=Job.FAILED).update(
                    state=Job.QUEUED,
                    attempts=0,
                    deaths=0,
                    error="",
                    worker="",
                    heartbeat_at=None,
                    completed_at=None,
                    is_asked_to_stop=False,
                    stopped_by=None,
                    asked_by=changes.person(by),
                ):
                    ring()
                    return Job.objects.get(pk=job.pk)
        except IntegrityError:
            if waiting := Job.objects.filter(same_as=job.same_as, state=Job.QUEUED).first():
                return waiting
        else:
            job.refresh_from_db()
            raise Refusal(
                N_("Job %(n)s was not given up: it is %(state)s."), n=job.pk, state=Word(job.get_state_display())
            )


# Who works


def worker_name() -> str:
    """This process, so that others on this machine can tell whether it still lives: machine, process, its start."""
    return f"{_machine()} {os.getpid()} {_started(os.getpid()) or 0}"


def _machine() -> str:
    # Two containers may share a host's name while their process numbers mean different processes.
    namespace = Path("/proc/self/ns/pid")
    return f"{socket.gethostname()[:40]}/{namespace.readlink().name if namespace.exists() else '-'}"


def _started(pid: int) -> str | None:
    """When the process began, in the kernel's ticks; None when there is none, or the system doesn't say."""
    try:
        stat = Path(f"/proc/{pid}/stat").read_text()
    except OSError:
        return None
    # The command's own name may hold spaces and brackets; a zombie lives no more.
    state, *rest = stat.rpartition(")")[2].split()
    return None if state in "ZX" else rest[18]


def lives(worker: str) -> bool | None:
    """Whether this worker still lives; None when that can't be known from here."""
    machine, _, process = worker.partition(" ")
    if machine != _machine() or not sys.platform.startswith("linux"):
        return None
    pid, started = process.split()
    return _started(int(pid)) == started


def claim(worker: str, *, job_id: int | None = None, but_not: Collection[str] = ()) -> Job | None:
    """Take the next row, or that one, if it may be begun and its task is none of those."""
    with transaction.atomic():
        rows = _may_begin().select_for_update(skip_locked=True)
        if job_id is not None:
            rows = rows.filter(pk=job_id)
        if but_not:
            rows = rows.exclude(task__in=but_not)
        job = rows.order_by("attempts", "id").first()
        if job is None:
            return None
        now = timezone.now()
        job.state, job.worker, job.heartbeat_at, job.started_at = Job.RUNNING, worker, now, now
        job.progress_pct, job.progress_note, job.is_asked_to_stop = 0, "", False
        job.save(
            update_fields=[
                *("state", "worker", "heartbeat_at", "started_at"),
                *("progress_pct", "progress_note", "is_asked_to_stop"),
            ]
        )
        return job


def _may_begin() -> QuerySet[Job]:
    """Queued rows, but none whose like is at work: the older could end last and write what it read first."""
    like = Job.objects.filter(same_as=OuterRef("same_as"), state=Job.RUNNING)
    return Job.objects.filter(Q(same_as="") | ~Exists(like), state=Job.QUEUED)


# At work


class AtWork:
    """The job this process is at, for the task that does it."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self.is_finished = False

    def _ours(self) -> QuerySet[Job]:
        return Job.objects.filter(pk=self.job.pk, state=Job.RUNNING, worker=self.job.worker)

    def progress(self, pct: int, note: str = "") -> None:
        """Say how far it is, and that this worker lives: at least once a minute."""
        if not self._ours().update(progress_pct=pct, progress_note=note[:300], heartbeat_at=timezone.now()):
            raise Lost(f"{self.job} was given to another worker.")

    def heartbeat(self) -> None:
        """Say that this worker lives, when there is nothing new to tell."""
        if not self._ours().update(heartbeat_at=timezone.now()):
            raise Lost(f"{self.job} was given to another worker.")

    def is_asked_to_stop(self) -> bool:
        return self._ours().filter(is_asked_to_stop=True).exists()

    def finish(self, result: dict[str, Any] | None) -> None:
        """Mark the row done, in the transaction that holds its outcome."""
        assert connection.in_atomic_block, "Done and its outcome are written in one transaction."
        now = timezone.now()
        if not self._ours().update(
            state=Job.DONE, result=result, error="", progress_pct=100, completed_at=now, heartbeat_at=now
        ):
            raise Lost(f"{self.job} was given to another worker.")
        self.is_finished = True
        ring()


_at_work: contextvars.ContextVar[AtWork] = contextvars.ContextVar("at_work")


def current() -> AtWork:
    """The job at work. Raises LookupError outside one: a task is run by asking for it and `settle()`."""
    return _at_work.get()


def at_work() -> AtWork | None:
    """The job at work, if this is one: for what can be done at the desk as well."""
    return _at_work.get(None)


@contextmanager
def _being_at(at_work: AtWork) -> Iterator[None]:
    token = _at_work.set(at_work)
    try:
        yield
    finally:
        _at_work.reset(token)


def work(job: Job, *, throw: bool = False) -> None:
    """Run a claimed job's task here and write its outcome.

    With throw=True what the task raised is raised again once it is written down.
    """
    with logs.belonging_to(job.request_id):
        began = time.perf_counter()
        _work(job, throw=throw)
        facts = {"job": job.pk, "task": job.task, "ms": round((time.perf_counter() - began) * 1000, 1)}
        log.info("%s is %s", job, job.get_state_display(), extra={"facts": facts})


def _work(job: Job, *, throw: bool) -> None:
    at_work = AtWork(job)
    try:
        with _being_at(at_work):
            task = _task(job.task)
            if getattr(task, "is_long", False) or getattr(task, "is_apart", False):
                result = _run(task, job)
                if not at_work.is_finished:
                    with transaction.atomic():
                        at_work.finish(result)
            else:
                with transaction.atomic():
                    at_work.finish(_run(task, job))
    except Lost:
        log.warning("%s: another worker has it; dropped here", job)
    except Exception as exc:
        _fail(job, exc)
        if throw:
            raise
    except BaseException:
        # The process is being closed: somebody else begins it afresh.
        _put_back(job)
        raise
    job.refresh_from_db()


def long_tasks() -> set[str]:
    from mill.celery import app

    app.loader.import_default_modules()
    return {name for name, task in app.tasks.items() if getattr(task, "is_long", False)}


def _task(name: str) -> Any:
    from mill.celery import app

    if name not in app.tasks:
        # A process that has imported no tasks yet would find none.
        app.loader.import_default_modules()
    if name not in app.tasks:
        raise Refusal(
            N_("No task is called “%(name)s”; this worker may be of another version than who asked."), name=name
        )
    return app.tasks[name]


def _run(task: Any, job: Job) -> dict[str, Any] | None:
    # What the work changes is told as a change of whoever asked for it.
    with changes.by(job.asked_by):
        return task.apply(args=[job.payload], throw=True).result


def _fail(job: Job, exc: Exception) -> None:
    """Write down why, and queue it again unless that is no use."""
    error = f"{_in_a_sentence(exc)}\n\n{''.join(traceback.format_exception(exc))}"
    attempts = job.attempts + 1
    # Its words stay in the row, with those who may read it: a refusal carries names.
    log.error("%s, attempt %d: %s", job, attempts, type(exc).__name__, exc_info=exc)
    if isinstance(exc, Refusal) or attempts >= ATTEMPTS_MAX:
        _ours(job).update(state=Job.FAILED, attempts=attempts, error=error, completed_at=timezone.now())
    else:
        _put_back(job, attempts=attempts, error=error)


FAULT = N_("A fault of the program stopped it: %(fault)s")


def _in_a_sentence(exc: Exception) -> str:
    """Why it was given up, as it is kept: in English, by words that `retold.py` finds again."""
    if isinstance(exc, Refusal):
        return str(exc)
    stands_in_the_way = trouble.of(exc)
    if stands_in_the_way is not trouble.OURS:
        return stands_in_the_way.title
    return FAULT % {"fault": " ".join(f"{type(exc).__name__}: {exc}".split())}


def _ours(job: Job) -> QuerySet[Job]:
    return Job.objects.filter(pk=job.pk, state=Job.RUNNING, worker=job.worker)


def _put_back(job: Job, **changes: Any) -> bool:
    """Queue a running row again; if its like waits already, that one does for both."""
    while True:
        try:
            with transaction.atomic():
                put_back = _ours(job).update(state=Job.QUEUED, worker="", heartbeat_at=None, **changes)
                ring()
                return bool(put_back)
        except IntegrityError:
            waiting = Job.objects.filter(same_as=job.same_as, state=Job.QUEUED).first()
            if waiting and _ours(job).update(
                state=Job.DONE, result={"worked_by_job": waiting.pk}, completed_at=timezone.now(), **changes
            ):
                return True


def recover(*, idle: str = "") -> int:
    """Put back what dead workers were at: at once where the death can be seen, else when the lease runs out.

    idle      the name of a worker that is at nothing, whatever the rows say

    Returns how many. A worker that only seemed dead can't finish the row any more.
    """
    recovered = 0
    for job in Job.objects.filter(state=Job.RUNNING):
        alive = lives(job.worker) and job.worker != idle
        if alive and connection.vendor == "sqlite":
            continue  # A short task holds the write lock, so its worker can't say that it lives.
        now = timezone.now()
        expired = job.heartbeat_at is None or job.heartbeat_at < now - LEASE
        # Marked in what is now the future, by a clock that was set back since: how long ago is not known.
        is_unknown = job.heartbeat_at is not None and job.heartbeat_at > now + LEASE and not alive
        if not (expired or is_unknown) and (alive or lives(job.worker) is None):
            continue
        deaths = job.deaths + 1
        log.warning("%s: its worker %s is gone, death %d", job, job.worker, deaths)
        if deaths < DEATHS_MAX:
            recovered += _put_back(job, deaths=deaths)
        else:
            error = N_("Given up: the process that worked it died %(times)s times.") % {"times": deaths}
            _ours(job).update(state=Job.FAILED, deaths=deaths, error=error, completed_at=timezone.now())
    return recovered


def forget() -> int:
    """Drop what was done long ago. What was given up stays."""
    return Job.objects.filter(state=Job.DONE, completed_at__lt=timezone.now() - KEPT).delete()[0]


def settle() -> int:
    """Work off everything that waits, here and now: for tests, and for commands that build a whole mill.

    Returns how many jobs were worked. What a task raises is raised here.
    """
    worker, worked = worker_name(), 0
    while job := claim(worker):
        work(job, throw=True)
        worked += 1
        assert worked < 100_000, f"Work makes work without end: {job}."
    return worked


# Handing on to Celery


def hand_on(send: Callable[[int], object], *, relay: str) -> int:
    """Send the numbers of the rows that may be begun, each once unless its message seems lost.

    The row stays queued and joins with its like until somebody begins it; it
    bears the relay's name, so that a relay that died between marking and
    sending is noticed. A message too many does no harm: `claim` lets one win.
    """
    now = timezone.now()
    sent = 0
    for job in _may_begin().order_by("attempts", "id")[:IN_HAND_MAX]:
        # Marked in what is now the future, by a clock that was set back since: how long ago is not known.
        is_marked = job.heartbeat_at is not None and now - HANDED_ON <= job.heartbeat_at <= now + HANDED_ON
        is_new = job.worker == "" or not is_marked
        if not is_new and lives(job.worker) is not False:
            continue
        mine = Job.objects.filter(pk=job.pk, state=Job.QUEUED)
        if mine.update(worker=relay, heartbeat_at=now):
            try:
                send(job.pk)
            except BaseException:
                mine.filter(worker=relay).update(worker="", heartbeat_at=None)
                raise
            sent += 1
    return sent


def left_lying(*, since: timedelta) -> int:
    """How many rows could have been begun, or handed on, all that time and were not: is anybody there?"""
    return _may_begin().filter(worker="", asked_at__lt=timezone.now() - since).count()


# Waiting for work


class Bell:
    """Rings when there may be work. Listen, then claim, then wait: what came meanwhile is not missed."""

    def __init__(self, *, poll_s: float = 0.25) -> None:
        self.poll_s = poll_s
        self.heard: int | None = None

    def listen(self) -> None:
        with connection.cursor() as cursor:
            if connection.vendor == "postgresql":
                cursor.execute(f"LISTEN {CHANNEL}")
            else:
                self.heard = self._version()

    def wait(self, *, at_most_s: float) -> None:
        if connection.vendor == "postgresql":
            # A session that went through a restart of the server listens again after this.
            # The driver's own errors become the framework's, which `attend` forgives.
            with connection.wrap_database_errors:
                list(connection.connection.notifies(timeout=min(at_most_s, 2.0), stop_after=1))
            return
        stops_at = time.monotonic() + at_most_s
        while self._version() == self.heard and time.monotonic() < stops_at:
            time.sleep(self.poll_s)

    def _version(self) -> int:
        """Changes when another connection has committed to the file."""
        with connection.cursor() as cursor:
            return int(cursor.execute("PRAGMA data_version").fetchone()[0])


def attend(
    turn: Callable[[], bool],
    *,
    sweep: Callable[[], object],
    sweep_s: int,
    forgives: tuple[type[Exception], ...] = (),
) -> None:
    """Take turns for ever; wait for the bell after one that found nothing to do, and `sweep()` now and then.

    A database that does not answer, or whatever else it forgives, is asked again
    a little later: the rows are still there.
    """
    no_answer: tuple[type[Exception], ...] = (OperationalError, InterfaceError, *forgives)
    bell, pause_s, sweep_at = Bell(), 1, 0.0
    while True:
        try:
            bell.listen()
            if time.monotonic() >= sweep_at:
                sweep()
                sweep_at = time.monotonic() + sweep_s
            if not turn():
                bell.wait(at_most_s=max(0.0, sweep_at - time.monotonic()))
            pause_s = 1
        except no_answer as exc:
            log.warning("No answer (%s: %s); asking again in %d s", type(exc).__name__, exc, pause_s)
            connection.close()
            time.sleep(pause_s)
            # The row we were at may bear our name still: the sweep puts it back.
            pause_s, sweep_at = min(30, pause_s * 2), 0.0
