"""What is wrong with an installation, in plain words, each with what to do about it. It looks and changes nothing."""

import os
import shutil
import sqlite3
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from django.apps import apps
from django.conf import settings
from django.contrib.staticfiles.storage import staticfiles_storage
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.utils import timezone

from mill import backup, by_the_clock, changes, jobs, people
from mill.latch import Held, Latch
from mill.models import Change, Mill

ROOM_LEFT_MB = 500
LYING_LONG = timedelta(minutes=2)
OVERDUE = timedelta(hours=1)
BACKED_UP_WITHIN = timedelta(days=2)
# So much may the clocks of two machines differ.
AHEAD = timedelta(minutes=5)


@dataclass(frozen=True)
class Finding:
    """Something looked at: how it is, and, where it is not well, what to do."""

    what: str
    do: str = ""
    # Work goes on without it; the mill should know all the same.
    is_slight: bool = False

    @property
    def is_well(self) -> bool:
        return not self.do


def look() -> Iterator[Finding]:
    """All that can be looked at, in the order in which one thing needs another."""
    yield from folder()
    try:
        connection.ensure_connection()
    except DatabaseError as wrong:
        if connection.vendor == "sqlite" and Path(connection.settings_dict["NAME"]).exists():
            yield damaged(str(wrong))
            return
        yield Finding(
            f"The database does not answer: {str(wrong).strip()}.",
            "Start it, or mend SHEDBOOK_DATABASE; on one PC leave that out and the book is a file in its folder.",
        )
        return
    yield from database_whole()
    pending = MigrationExecutor(connection)
    if pending.migration_plan(pending.loader.graph.leaf_nodes()):
        yield Finding("The tables are not this program's.", "Run manage.py migrate; `start` does it by itself.")
        return
    yield Finding("The tables are up to date.")
    for part in PARTS:
        yield from part()


def folder() -> Iterator[Finding]:
    here = settings.DATA_DIR
    try:
        here.mkdir(parents=True, exist_ok=True)
        probe = here / f"doctor.{os.getpid()}"
        probe.write_text("")
        probe.unlink()
    except OSError as wrong:
        yield Finding(
            f"The folder of the book, {here}, can't be written in: {wrong}.",
            "Give it to whoever runs Shedbook, or name another in SHEDBOOK_DATA.",
        )
        return
    yield Finding(f"The folder of the book is {here}.")
    free_mb = shutil.disk_usage(here).free // 1_000_000
    if free_mb < ROOM_LEFT_MB:
        yield Finding(f"The disk of the book has {free_mb} MB left.", "Make room: a full disk takes no more entries.")
    key = here / "secret_key"
    if sys.platform != "win32" and key.exists() and key.stat().st_mode & 0o077:
        yield Finding(
            "Others on this machine can read the signing key.", f"Run chmod 600 {key}, and start the book again."
        )


def damaged(how: str) -> Finding:
    return Finding(
        f"The file of the book is damaged, or is none: {how}.",
        "Close the book, keep the file, and restore the last backup: manage.py restore FILE --replace.",
    )


def database_whole() -> Iterator[Finding]:
    if connection.vendor != "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("SHOW server_version")
            yield Finding(f"PostgreSQL {cursor.fetchone()[0]} answers.")
        return
    with connection.cursor() as cursor:
        try:
            said = [row[0] for row in cursor.execute("PRAGMA quick_check(3)").fetchall()]
        except DatabaseError as wrong:
            said = [str(wrong)]
        broken = cursor.execute("PRAGMA foreign_key_check").fetchmany(3) if said == ["ok"] else []
    if said != ["ok"]:
        yield damaged("; ".join(said))
    elif broken:
        yield Finding(
            f"Rows of {', '.join(sorted({row[0] for row in broken}))} point at rows that are gone.",
            "Restore the last backup, and tell whoever keeps the program.",
        )
    else:
        yield Finding(f"SQLite {sqlite3.sqlite_version}, and the file of the book is whole.")


def triggers() -> Iterator[Finding]:
    if missing := changes.missing():
        yield Finding(
            f"The database does not keep the account of {', '.join(missing)}.",
            "Run manage.py migrate: it sets what keeps the account again.",
        )
    else:
        yield Finding("The database keeps the ledger and the account of changes.")


def owner() -> Iterator[Finding]:
    if not people.owners().exists():
        yield Finding(
            "The book is nobody's.", "Open it on this machine and say whose it is, or run manage.py createsuperuser."
        )
    elif settings.OPEN_BOOK and settings.ADDRESS and Mill.is_open():
        yield Finding(
            "The book lies open to whoever sits at this machine, and the network is let in beside.",
            "Close it under Mill, People, if others sit here.",
            is_slight=True,
        )
    if settings.DEBUG:
        yield Finding("SHEDBOOK_DEBUG is on: pages show the program's insides.", "Leave it out.")
    if settings.ADDRESS.startswith("https:") and not settings.SECURE_COOKIES:
        yield Finding("The address is https, but cookies may travel without it.", "Set SHEDBOOK_HTTPS=yes.")


def work() -> Iterator[Finding]:
    if lying := jobs.left_lying(since=LYING_LONG):
        yield Finding(
            f"{lying} jobs have lain for over {LYING_LONG.seconds // 60} min and nobody works.",
            "Start the relay and the workers." if settings.CELERY_BROKER_URL else "Start the book: manage.py start.",
        )
    else:
        yield Finding("No work lies about.")
    if given_up := jobs.to_be_looked_at().count():
        yield Finding(
            f"{given_up} jobs were given up.",
            "Look at Mill, Work in the background: each says why, and can be tried again.",
            is_slight=True,
        )


def clockwork() -> Iterator[Finding]:
    if not settings.CELERY_BROKER_URL:
        return  # A book that was closed at night does it when it is opened.
    if overdue := by_the_clock.overdue(by=OVERDUE):
        yield Finding(
            f"Due for over an hour, and nobody has asked for it: {'; '.join(overdue)}.",
            "Start beat, the service that looks at the clock.",
        )


def broker() -> Iterator[Finding]:
    if not settings.CELERY_BROKER_URL:
        return
    from kombu.exceptions import OperationalError

    from mill.celery import app

    try:
        with app.connection_for_write() as there:
            there.ensure_connection(max_retries=1, timeout=5)
        yield Finding("Redis answers.")
    except (OperationalError, OSError) as wrong:
        yield Finding(
            f"Redis does not answer: {wrong}.", "Start it, or mend SHEDBOOK_REDIS. Jobs wait in their table meanwhile."
        )


def static() -> Iterator[Finding]:
    if settings.WHITENOISE_USE_FINDERS:
        return
    try:
        staticfiles_storage.url("mill/mill.css")
    except ValueError:
        yield Finding("The pages' style and script are not laid out.", "Run manage.py collectstatic --noinput.")


def search() -> Iterator[Finding]:
    from importlib.util import find_spec

    if find_spec("numba") is None:
        yield Finding(
            "There is no compiler for the planner's search on this machine: it is a thousand times slower.",
            "Plans come, but hardly improved. Run the book on a machine that has one, Linux or Windows x86-64.",
            is_slight=True,
        )


def backups() -> Iterator[Finding]:
    last = next(iter(backup.all_kept()), None)
    if last is None:
        if apps.get_model("planning", "OrderLine").objects.exists():
            yield Finding(
                "There is no backup.", "Run manage.py backup, and keep a copy on another disk.", is_slight=True
            )
        return
    age = timezone.now() - backup.moment_of(last)
    if age > BACKED_UP_WITHIN:
        yield Finding(
            f"The last backup is {age.days} days old.", "Run manage.py backup, and see why the nightly one doesn't run."
        )
    else:
        yield Finding(f"The last backup is {last.name}.")
    if last.stat().st_dev == settings.DATA_DIR.stat().st_dev:
        yield Finding(
            "The backups lie on the disk of the book: what breaks one breaks both.",
            "Name a folder on another disk in SHEDBOOK_BACKUPS, or copy them away.",
            is_slight=True,
        )


def clock() -> Iterator[Finding]:
    last = Change.objects.order_by("-pk").values_list("at", flat=True).first()
    if last and last > timezone.now() + AHEAD:
        yield Finding(
            f"The last change is of {timezone.localtime(last):%d.%m.%Y %H:%M}, which is still to come.",
            "Set this machine's clock right.",
        )
    yield Finding(f"The mill's clock says {timezone.localtime():%d.%m.%Y %H:%M} ({settings.TIME_ZONE}).")


def leftovers() -> Iterator[Finding]:
    if connection.vendor != "sqlite":
        return
    from mill.restoring import BESIDE

    left = sorted(Path(connection.settings_dict["NAME"]).parent.glob(f"*.{BESIDE}"))
    try:
        with Latch(settings.DATA_DIR / "open", note="the doctor", wait=False):
            pass
    except Held:
        return
    if left:
        yield Finding(
            f"A restore did not come to its end: {left[0]}.", "Give it again, or take the file away.", is_slight=True
        )


PARTS: list[Callable[[], Iterator[Finding]]] = [
    *(triggers, owner, work, clockwork, broker, static, search, backups, clock, leftovers),
]
