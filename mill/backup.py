"""A backup: the whole book in one file, that reads the same from SQLite and PostgreSQL. `restoring.py` brings it back.

The file is a zip. `tables/<app>.<model>.jsonl` has a line with the columns, then a line for each row; `manifest.json`
says what made it, which migrations its tables had, how many rows each has with the SHA-256 of its lines, where each
table's numbering stands, and the settings it was made under. `manifest.sha256` is the manifest's own.

It is read in one transaction that sees the book as it was when it began, while people go on writing. Who is signed
in at the moment and who is locked out is not part of it, nor is the signing key: the next machine makes its own.
"""

import base64
import errno
import hashlib
import json
import os
import re
import struct
import zipfile
import zlib
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.apps import apps
from django.conf import settings
from django.db import connection, transaction
from django.db.migrations.recorder import MigrationRecorder
from django.utils import timezone

from mill import jobs
from mill.models import Job
from mill.refusal import N_, Refusal

FORMAT = 1
# All that reading a zip which is none, or no longer one, has been seen to raise.
DAMAGED = (
    *(zipfile.BadZipFile, zlib.error, struct.error, EOFError, LookupError, NotImplementedError, OSError),
    *(OverflowError, RuntimeError, ValueError),
)
AT_ONCE = 2000
LEFT_OUT = {"sessions.session", "axes.accessattempt", "axes.accessattemptexpiration", "axes.accesslog"} | {
    *("axes.accessfailurelog", "mill.guess")
}
# The ledger takes a lot's lines in their order only.
ORDER = {"inventory.movement": ("lot_id", "seq")}
SETTINGS = ("SHEDBOOK_ZONE", "SHEDBOOK_HOSTS", "SHEDBOOK_ORIGINS", "SHEDBOOK_ADDRESS", "SHEDBOOK_HTTPS")
NAMED = re.compile(r"shedbook-(\d{4})-(\d\d)-(\d\d)-(\d{6})\.zip")


@dataclass(frozen=True)
class Table:
    rows: int
    sha256: str
    # The number that its last row was ever given, struck out or not.
    counter: int


@dataclass(frozen=True)
class Manifest:
    """What a backup says of itself."""

    format: int
    version: str
    made_at: str
    database: str
    migrations: list[tuple[str, str]]
    settings: dict[str, str]
    tables: dict[str, Table] = field(default_factory=dict)

    @property
    def rows(self) -> int:
        return sum(table.rows for table in self.tables.values())


def folder() -> Path:
    """Where backups are kept that nobody named a place for."""
    return Path(settings.BACKUPS_DIR)


def name_now() -> str:
    return f"shedbook-{timezone.localtime():%Y-%m-%d-%H%M%S}.zip"


# Writing


def write(path: Path) -> Manifest:
    """Write the book as it is now; the file is there when it is whole, and not before. Only its owner may read it.

    Raises Refusal when its folder takes no file.
    """
    try:
        return _write(path)
    except OSError as wrong:
        if wrong.errno in {errno.ENOSPC, errno.EDQUOT}:
            raise Refusal(
                N_(
                    "The backup could not be written: the disk of %(folder)s is full. Make room there, or name a folder"
                    " on another disk in SHEDBOOK_BACKUPS."
                ),
                folder=path.parent,
            ) from wrong
        raise Refusal(
            N_(
                "The backup could not be written in %(folder)s (%(wrong)s). Give the folder to whoever runs Shedbook,"
                " or name another in SHEDBOOK_BACKUPS."
            ),
            folder=path.parent,
            wrong=wrong.strerror,
        ) from wrong


def _write(path: Path) -> Manifest:
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_name(f"{path.name}.{os.getpid()}.unfinished")
    try:
        descriptor = os.open(unfinished, os.O_RDWR | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(descriptor, "w+b") as file:
            with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as archive:
                manifest = _write_tables(archive)
            file.flush()
            os.fsync(file.fileno())
        check(unfinished)
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)
    return manifest


def _write_tables(archive: zipfile.ZipFile) -> Manifest:
    with as_of_one_moment():
        manifest = Manifest(
            format=FORMAT,
            version=str(settings.SPECTACULAR_SETTINGS["VERSION"]),
            made_at=timezone.now().isoformat(timespec="seconds"),
            database=connection.vendor,
            migrations=sorted(MigrationRecorder(connection).applied_migrations()),
            settings={name: os.environ[name] for name in SETTINGS if name in os.environ}
            | {"SHEDBOOK_ZONE": settings.TIME_ZONE},
        )
        counters = _counters()
        for label, model in tables(apps).items():
            digest, n_lines = hashlib.sha256(), 0
            with archive.open(f"tables/{label}.jsonl", "w", force_zip64=True) as file:
                for line in lines(label, model):
                    file.write(line)
                    digest.update(line)
                    n_lines += 1
            manifest.tables[label] = Table(n_lines - 1, digest.hexdigest(), counters.get(model._meta.db_table, 0))
    said = json.dumps(asdict(manifest), indent=1, sort_keys=True).encode()
    archive.writestr("manifest.json", said)
    archive.writestr("manifest.sha256", hashlib.sha256(said).hexdigest())
    return manifest


@contextmanager
def as_of_one_moment() -> Iterator[None]:
    """A transaction that only reads, sees nothing of what is written meanwhile, and keeps nobody waiting."""
    if connection.in_atomic_block:
        # Whoever opened it says what is seen: a test.
        yield
    elif connection.vendor == "postgresql":
        with transaction.atomic():
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            yield
    else:
        with connection.cursor() as cursor:
            cursor.execute("BEGIN DEFERRED")
            try:
                yield
            finally:
                cursor.execute("ROLLBACK")


def tables(registry: Any) -> dict[str, Any]:
    """Every table of the book, by its model's label: mill.job."""
    found = {
        model._meta.label_lower: model
        for model in registry.get_models(include_auto_created=True)
        if model._meta.managed and not model._meta.proxy
    }
    return {label: model for label, model in sorted(found.items()) if label not in LEFT_OUT}


def lines(label: str, model: Any) -> Iterator[bytes]:
    """The columns, then each row, as the lines of a backup. The same rows give the same lines in any database."""
    columns = sorted(column.attname for column in model._meta.concrete_fields)
    yield _line(columns)
    rows = model._base_manager.order_by(*ORDER.get(label, ("pk",))).values_list(*columns)
    for row in rows.iterator(chunk_size=AT_ONCE):
        yield _line([_plain(value) for value in row])


def _line(values: Sequence[Any]) -> bytes:
    return json.dumps(values, ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode() + b"\n"


def _plain(value: Any) -> Any:
    match value:
        case Decimal():
            return str(value)
        case datetime():
            return value.astimezone(UTC).isoformat()
        case date() | time():
            return value.isoformat()
        case timedelta():
            return value // timedelta(microseconds=1)
        case bytes() | memoryview():
            return base64.b64encode(value).decode()
    return value


def _counters() -> dict[str, int]:
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT c.relname, COALESCE(s.last_value, 0) FROM pg_class c"
                " JOIN pg_depend d ON d.refobjid = c.oid AND d.deptype IN ('a', 'i')"
                " JOIN pg_class q ON q.oid = d.objid AND q.relkind = 'S'"
                " JOIN pg_namespace n ON n.oid = q.relnamespace"
                " JOIN pg_sequences s ON s.schemaname = n.nspname AND s.sequencename = q.relname"
                " WHERE c.relnamespace = current_schema()::regnamespace"
            )
        else:
            cursor.execute("SELECT name, seq FROM sqlite_sequence")
        return dict(cursor.fetchall())


# Reading


def check(path: Path) -> Manifest:
    """Read every byte of a backup. Raises Refusal when it is damaged, no backup, or of a later form than this one."""
    with opened(path) as (archive, manifest):
        for label in manifest.tables:
            for _ in read(archive, manifest, label):
                pass
        return manifest


@contextmanager
def opened(path: Path) -> Iterator[tuple[zipfile.ZipFile, Manifest]]:
    """A backup and its manifest, which has been compared with its own digest."""
    try:
        archive = zipfile.ZipFile(path)
    except FileNotFoundError:
        raise Refusal(N_("There is no file %(path)s."), path=path) from None
    except DAMAGED as wrong:
        raise Refusal(N_("%(path)s is no backup, or is cut short: %(wrong)s."), path=path, wrong=wrong) from None
    with archive:
        yield archive, _manifest(archive, path)


def _manifest(archive: zipfile.ZipFile, path: Path) -> Manifest:
    try:
        said, digest = archive.read("manifest.json"), archive.read("manifest.sha256").decode()
    except DAMAGED as wrong:
        raise Refusal(N_("%(path)s is no backup, or is damaged: %(wrong)s."), path=path, wrong=wrong) from None
    if hashlib.sha256(said).hexdigest() != digest:
        raise Refusal(N_("%(path)s is damaged: its manifest is not as it was written."), path=path)
    book = json.loads(said)
    if book["format"] > FORMAT:
        raise Refusal(
            N_(
                "%(path)s was written by a later Shedbook (%(version)s, form %(form)s); this one reads up to form"
                " %(most)s. Bring the program up to date first."
            ),
            path=path,
            version=book["version"],
            form=book["format"],
            most=FORMAT,
        )
    book["tables"] = {label: Table(**table) for label, table in book["tables"].items()}
    book["migrations"] = [(app, name) for app, name in book["migrations"]]
    return Manifest(**book)


def read(archive: zipfile.ZipFile, manifest: Manifest, label: str) -> Iterator[list[Any]]:
    """A table's columns, then its rows. Raises Refusal at the end when they are not what was written."""
    told, digest, n_lines = manifest.tables[label], hashlib.sha256(), 0
    try:
        with archive.open(f"tables/{label}.jsonl") as file:
            for line in file:
                digest.update(line)
                n_lines += 1
                yield json.loads(line)
    except DAMAGED as wrong:
        raise Refusal(
            N_("The backup is damaged: %(table)s can't be read (%(wrong)s)."), table=label, wrong=wrong
        ) from None
    if (n_lines - 1, digest.hexdigest()) != (told.rows, told.sha256):
        raise Refusal(N_("The backup is damaged: %(table)s is not as it was written."), table=label)


# In the background; every night, see `by_the_clock.py`

TASK = "mill.back_up"


@transaction.atomic
def ask(*, by: Any = None) -> Job:
    """Have a backup written in the background."""
    return jobs.ask(TASK, {}, same_as=TASK, by=by)


def write_and_clear_out() -> dict[str, Any]:
    """A backup in the folder of backups, and those that need not be kept taken away."""
    path = folder() / name_now()
    manifest = write(path)
    return {"file": path.name, "rows": manifest.rows, "bytes": path.stat().st_size, "taken_away": clear_out()}


# Keeping


def kept(names: Iterable[str], *, today: date) -> set[str]:
    """Which of the backups to keep: all of the last 14 days, a week's first for 8 weeks, a month's first for a year.

    The latest is always kept. What is not named as a backup is not ours to judge.
    """
    dated = sorted((day, name) for name in names if (day := day_of(name)))
    keep = {name for day, name in dated if (today - day).days < 14} | {name for _, name in dated[-1:]}
    first_of_week: dict[tuple[int, int], str] = {}
    first_of_month: dict[tuple[int, int], str] = {}
    for day, name in dated:
        if (today - day).days < 8 * 7:
            first_of_week.setdefault(day.isocalendar()[:2], name)
        if (today - day).days < 366:
            first_of_month.setdefault((day.year, day.month), name)
    return keep | {*first_of_week.values(), *first_of_month.values()}


def day_of(name: str) -> date | None:
    """The day in a backup's name."""
    found = NAMED.fullmatch(name)
    try:
        return date(*map(int, found.groups()[:3])) if found else None
    except ValueError:
        return None


def moment_of(path: Path) -> datetime:
    """When a backup was begun, from its name: a copy has another time of its own."""
    local = datetime.strptime(path.name, "shedbook-%Y-%m-%d-%H%M%S.zip")  # noqa: DTZ007 - by the mill's own clock
    return timezone.make_aware(local)


def all_kept() -> list[Path]:
    """The backups in the folder, the latest first."""
    here = folder()
    return sorted((path for path in here.glob("shedbook-*.zip") if day_of(path.name)), reverse=True)


def clear_out() -> list[str]:
    """Take away those that need not be kept; their names."""
    paths = {path.name: path for path in all_kept()}
    gone = sorted(paths.keys() - kept(paths, today=timezone.localdate()))
    for name in gone:
        paths[name].unlink(missing_ok=True)
    return gone
