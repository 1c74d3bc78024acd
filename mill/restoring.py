"""Bringing a backup back: built beside the book in use, proven there, and only then put in its place.

The new book gets the tables that the backup was made from, its rows, then whatever migrations came since. Each
table is read out again and compared with the backup, and the audit derives every figure anew. Nothing of the book
in use is touched before all that has gone well; it is then kept beside, under the moment's name.
"""

import base64
import hashlib
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any
from zipfile import ZipFile

from django.conf import settings
from django.core.management import call_command
from django.db import connection, models, transaction
from django.db.migrations.executor import MigrationExecutor
from django.utils import timezone

from mill import backup
from mill.backup import Manifest
from mill.refusal import Refusal

BESIDE = "restoring"


def restore(path: Path) -> tuple[Manifest, str]:
    """Put a backup in the place of the book that the settings name; what it says of itself, and where the old one is.

    Nobody may be at the book meanwhile. Raises Refusal when the backup is damaged or of a later Shedbook, when the
    rows don't come out as they went in, or the audit finds a figure that differs; the book in use then stays.
    """
    with backup.opened(path) as (archive, manifest):
        _refuse_a_later_one(manifest)
        alone()
        is_first = not connection.introspection.table_names()
        place = _Schema() if connection.vendor == "postgresql" else FileBeside()
        try:
            with place.turned_to():
                _build(archive, manifest)
        except BaseException:
            place.drop()
            raise
        return manifest, place.put_in_place(is_first=is_first)


def _refuse_a_later_one(manifest: Manifest) -> None:
    known = MigrationExecutor(connection).loader.disk_migrations
    if unknown := [name for name in manifest.migrations if name not in known]:
        app, name = unknown[0]
        raise Refusal(
            f"The backup was written by a later Shedbook ({manifest.version}): this one doesn't know the change "
            f"“{name}” of {app}. Bring the program up to date first."
        )


def alone() -> None:
    """Refuse while other processes are at the database. On one PC the latch of `start` says so."""
    if connection.vendor != "postgresql":
        return
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_stat_activity"
            " WHERE datname = current_database() AND pid <> pg_backend_pid() AND backend_type = 'client backend'"
        )
        n = cursor.fetchone()[0]
    if n:
        raise Refusal(f"{n} others are at the database. Stop web, relay and workers first, then restore.")


def setting_now(name: str) -> str:
    return settings.TIME_ZONE if name == "SHEDBOOK_ZONE" else os.environ.get(name, "")


# Building


def _build(archive: ZipFile, manifest: Manifest) -> None:
    executor = MigrationExecutor(connection)
    applied, nodes = set(manifest.migrations), executor.loader.graph.node_map
    last = [name for name in manifest.migrations if not applied & {child.key for child in nodes[name].children}]
    executor.migrate(last)
    models_then = backup.tables(executor.loader.project_state(last).apps)
    if strange := sorted(manifest.tables.keys() - models_then.keys()):
        raise Refusal(f"The backup is damaged: it has a table {strange[0]} that its own migrations don't make.")
    with transaction.atomic():
        for model in models_then.values():
            if model._base_manager.exists():  # what a migration wrote
                model._base_manager.all().delete()
        for label in manifest.tables:
            _load(archive, manifest, label, models_then[label])
        _count_on(manifest, models_then)
    for label, table in manifest.tables.items():
        digest = hashlib.sha256()
        for line in backup.lines(label, models_then[label]):
            digest.update(line)
        if digest.hexdigest() != table.sha256:
            raise Refusal(f"The rows of {label} did not come out as they went in. Nothing was changed.")
    call_command("migrate", verbosity=0, interactive=False)
    try:
        call_command("audit")
    except SystemExit:
        raise Refusal("The restored book does not stand up to the audit, see above. Nothing was changed.") from None


def _load(archive: ZipFile, manifest: Manifest, label: str, model: Any) -> None:
    rows = backup.read(archive, manifest, label)
    columns = {field.attname: field for field in model._meta.concrete_fields}
    head = next(rows, None)
    if head is None or not set(head) == columns.keys():
        raise Refusal(f"The backup is damaged: {label} has other columns than its migrations make.")
    fields = [columns[name] for name in head]
    quoted = connection.ops.quote_name
    names = ", ".join(quoted(field.column) for field in fields)
    marks = ", ".join(["%s"] * len(fields))
    insert = f"INSERT INTO {quoted(model._meta.db_table)} ({names}) VALUES ({marks})"  # noqa: S608 - names of our own models
    with connection.cursor() as cursor:
        batch: list[list[Any]] = []
        for row in rows:
            batch.append([_stored(field, value) for field, value in zip(fields, row, strict=True)])
            if len(batch) == backup.AT_ONCE:
                cursor.executemany(insert, batch)
                batch = []
        if batch:
            cursor.executemany(insert, batch)


def _stored(field: Any, value: Any) -> Any:
    if value is None:
        return None
    if isinstance(field, models.BinaryField):
        value = base64.b64decode(value)
    elif isinstance(field, models.DurationField):
        value = timedelta(microseconds=value)
    elif not isinstance(field, models.JSONField):
        value = field.to_python(value)
    return field.get_db_prep_save(value, connection)


def _count_on(manifest: Manifest, models_then: dict[str, Any]) -> None:
    """Have each table's numbering go on where it stood: the number of a row that was struck out is not given again."""
    with connection.cursor() as cursor:
        for label, table in manifest.tables.items():
            name, key = models_then[label]._meta.db_table, models_then[label]._meta.pk
            if not table.counter or not isinstance(key, models.AutoField | models.BigAutoField):
                continue
            if connection.vendor == "postgresql":
                cursor.execute("SELECT setval(pg_get_serial_sequence(%s, %s), %s)", [name, key.column, table.counter])
            else:
                cursor.execute("DELETE FROM sqlite_sequence WHERE name = %s", [name])
                cursor.execute("INSERT INTO sqlite_sequence (name, seq) VALUES (%s, %s)", [name, table.counter])


# Where it is built


@contextmanager
def _turned_to(**elsewhere: Any) -> Iterator[None]:
    """Have the book's one connection mean another place for a while."""
    as_it_was = dict(connection.settings_dict)
    connection.close()
    connection.settings_dict.update(elsewhere)
    try:
        yield
    finally:
        connection.close()
        connection.settings_dict.clear()
        connection.settings_dict.update(as_it_was)


class FileBeside:
    """SQLite: a file beside the book's own."""

    def __init__(self) -> None:
        self.book = Path(connection.settings_dict["NAME"])
        self.beside = self.book.with_name(f"{self.book.name}.{BESIDE}")

    @contextmanager
    def turned_to(self) -> Iterator[None]:
        self.drop()
        self.book.parent.mkdir(parents=True, exist_ok=True)
        with _turned_to(NAME=str(self.beside)):
            yield
            with connection.cursor() as cursor:
                cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    def drop(self) -> None:
        for ending in ("", "-wal", "-shm"):
            Path(f"{self.beside}{ending}").unlink(missing_ok=True)

    def put_in_place(self, *, is_first: bool) -> str:
        """The old book gets another name, with what it has not yet taken out of its log; the new one takes its own.

        There is a book by that name at every moment: where there was none, the next start would begin an empty one.
        """
        connection.close()
        old = self.book.with_name(f"{self.book.stem}-before-{_now()}{self.book.suffix}")
        for ending in ("-wal", "-shm"):
            path = Path(f"{self.book}{ending}")
            if is_first:
                path.unlink(missing_ok=True)
            elif path.exists():
                path.replace(f"{old}{ending}")
        if not is_first:
            _also_call(self.book, old)
        self.beside.replace(self.book)
        if sys.platform != "win32":
            descriptor = os.open(self.book.parent, os.O_RDONLY)
            try:
                os.fsync(descriptor)
            finally:
                os.close(descriptor)
        return "" if is_first else str(old)


def _also_call(path: Path, name: Path) -> None:
    """Give a file a second name; where the disk knows no such thing, that name instead of its own."""
    try:
        name.hardlink_to(path)
    except OSError:
        path.replace(name)


class _Schema:
    """PostgreSQL: a schema beside the book's own, in the same database."""

    def __init__(self) -> None:
        with connection.cursor() as cursor:
            cursor.execute("SELECT current_schema()")
            self.book = cursor.fetchone()[0] or "public"

    @contextmanager
    def turned_to(self) -> Iterator[None]:
        self.drop()
        self._run(f'CREATE SCHEMA "{BESIDE}"')
        options = {**connection.settings_dict["OPTIONS"], "options": f"-c search_path={BESIDE}"}
        with _turned_to(OPTIONS=options):
            yield

    def drop(self) -> None:
        self._run(f'DROP SCHEMA IF EXISTS "{BESIDE}" CASCADE')

    def put_in_place(self, *, is_first: bool) -> str:
        old = f"before_{_now().replace('-', '_')}"
        with transaction.atomic():
            self._run(f'ALTER SCHEMA "{self.book}" RENAME TO "{old}"')
            self._run(f'ALTER SCHEMA "{BESIDE}" RENAME TO "{self.book}"')
            if is_first:
                self._run(f'DROP SCHEMA "{old}" CASCADE')
        return "" if is_first else f"schema {old}"

    @staticmethod
    def _run(statement: str) -> None:
        with connection.cursor() as cursor:
            cursor.execute(statement)


def _now() -> str:
    return f"{timezone.localtime():%Y-%m-%d-%H%M%S}"
