"""Backups: what is in the file, what is refused, which are kept. Real commands on real files; PostgreSQL in slow/."""

import hashlib
import json
import os
import sqlite3
import subprocess
import sys
import zipfile
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from mill import backup, jobs
from mill.models import Change, Job
from mill.refusal import Refusal
from tests.started import CLEAN_ENV, ROOT

# Which are kept


@given(st.sets(st.integers(0, 500)))
def test_what_is_kept_covers_a_fortnight_eight_weeks_and_a_year(ages):
    today = date(2026, 11, 28)
    day = {age: today - timedelta(days=age) for age in ages}
    names = {f"shedbook-{day[age]}-020000.zip": age for age in ages}
    kept = {names[name] for name in backup.kept(names, today=today)}
    assert {age for age in ages if age < 14} <= kept
    assert not ages or min(ages) in kept
    weeks, months = ({age: f"{day[age]:%G-%V}" for age in ages}, {age: f"{day[age]:%Y-%m}" for age in ages})
    assert {weeks[age] for age in ages if age < 56} <= {weeks[age] for age in kept}
    assert {months[age] for age in ages if age < 366} <= {months[age] for age in kept}
    assert len(kept) <= 14 + 9 + 13 + 1


def test_a_file_of_another_name_is_never_judged():
    assert backup.kept(["notes.zip", "shedbook-2020-13-45-000000.zip"], today=date(2026, 11, 28)) == set()


# A book in files of its own


class Book:
    """A folder with a book in SQLite, and manage.py's commands on it."""

    def __init__(self, folder):
        self.folder = folder
        self.file = folder / "shedbook.sqlite3"

    def run(self, *command, must=0):
        done = subprocess.run(
            [sys.executable, "manage.py", *command],
            cwd=ROOT,
            env={**CLEAN_ENV, "SHEDBOOK_DATA": str(self.folder)},
            capture_output=True,
            text=True,
        )
        assert done.returncode == must, done.stdout + done.stderr
        return done.stdout + done.stderr

    def asked(self, sql):
        with sqlite3.connect(self.file) as there:
            return there.execute(sql).fetchall()


@pytest.fixture(scope="module")
def candlebeck(tmp_path_factory):
    book = Book(tmp_path_factory.mktemp("candlebeck"))
    book.run("migrate", "-v0")
    book.run("example_mill")
    return book


@pytest.fixture(scope="module")
def file(candlebeck):
    path = candlebeck.folder / "book.zip"
    candlebeck.run("backup", str(path))
    return path


@pytest.fixture
def elsewhere(tmp_path):
    return Book(tmp_path / "elsewhere")


def plainly(row):
    """A row whose JSON has its keys in the order of their names: PostgreSQL keeps no other."""
    return [json.loads(v) if isinstance(v, str) and v[:1] in ("{", "[") else v for v in row]


def test_a_restored_book_is_the_same_row_for_row(candlebeck, file, elsewhere):
    assert "Nothing differs" in elsewhere.run("restore", str(file))
    tables = [name for (name,) in candlebeck.asked("SELECT name FROM sqlite_master WHERE type = 'table'")]
    assert len(tables) > 80
    for table in tables:
        if table not in {"django_migrations", "sqlite_sequence", "sqlite_stat1", "sqlite_stat4"}:
            mine, theirs = (book.asked(f"SELECT * FROM {table} ORDER BY 1") for book in (candlebeck, elsewhere))
            assert [plainly(row) for row in mine] == [plainly(row) for row in theirs], table
    triggers = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' ORDER BY name"
    assert candlebeck.asked(triggers) == elsewhere.asked(triggers)
    # What can be written twice can be written a third time.
    again = elsewhere.folder / "again.zip"
    elsewhere.run("backup", str(again))
    with backup.opened(file) as (_, one), backup.opened(again) as (_, other):
        assert one.tables == other.tables
    assert list(elsewhere.folder.glob("*restoring*")) == list(elsewhere.folder.glob("*-before-*")) == []


def test_a_book_that_is_there_stays_unless_it_is_to_be_replaced_and_is_kept_then(file, elsewhere):
    elsewhere.run("restore", str(file))
    with sqlite3.connect(elsewhere.file) as there:
        there.execute("UPDATE planning_customer SET name = 'Somebody new' WHERE id = 1")
    assert "--replace" in elsewhere.run("restore", str(file), must=1)
    named = "SELECT count(*) FROM planning_customer WHERE name = 'Somebody new'"
    assert elsewhere.asked(named) == [(1,)]
    assert "is kept as" in elsewhere.run("restore", str(file), "--replace")
    assert elsewhere.asked(named) == [(0,)]
    (kept,) = elsewhere.folder.glob("shedbook-before-*.sqlite3")
    elsewhere.file = kept
    assert elsewhere.asked(named) == [(1,)]


def test_a_number_that_was_given_to_a_struck_out_row_is_not_given_again(elsewhere, file, tmp_path):
    elsewhere.run("restore", str(file))
    with sqlite3.connect(elsewhere.file) as there:
        there.execute("INSERT INTO django_content_type (id, app_label, model) VALUES (9999, 'x', 'x')")
        there.execute("DELETE FROM django_content_type WHERE id = 9999")
    again = tmp_path / "again.zip"
    elsewhere.run("backup", str(again))
    elsewhere.run("restore", str(again), "--replace")
    assert elsewhere.asked("SELECT seq FROM sqlite_sequence WHERE name = 'django_content_type'") == [(9999,)]


def rewritten(file, to, *, manifest=None, without=None, change=None):
    """The backup again, with something else in it; its manifest's digest fits, as that of a strange program would."""
    with zipfile.ZipFile(file) as old, zipfile.ZipFile(to, "w") as new:
        said = json.loads(old.read("manifest.json"))
        said.update(manifest or {})
        text = json.dumps(said).encode()
        for name in old.namelist():
            if name == without or name.startswith("manifest."):
                continue
            data = old.read(name)
            new.writestr(name, change(data) if change and name == "tables/inventory.movement.jsonl" else data)
        new.writestr("manifest.json", text)
        new.writestr("manifest.sha256", hashlib.sha256(text).hexdigest())
    return to


@pytest.mark.parametrize(
    ("what", "said"),
    [
        ({"manifest": {"format": backup.FORMAT + 1}}, "later Shedbook"),
        ({"without": "tables/inventory.movement.jsonl"}, "inventory.movement can't be read"),
        ({"change": lambda data: data[: len(data) // 2]}, "inventory.movement"),
        ({"change": lambda data: data.replace(b"7", b"8", 1)}, "inventory.movement is not as it was written"),
    ],
)
def test_a_backup_with_anything_else_in_it_is_refused(file, tmp_path, what, said):
    with pytest.raises(Refusal, match=said):
        backup.check(rewritten(file, tmp_path / "other.zip", **what))


@given(data=st.data())
def test_a_backup_damaged_at_any_place_is_refused_or_says_the_same(file, data):
    whole = file.read_bytes()
    at = data.draw(st.integers(0, len(whole) - 1))
    damaged = file.with_name("damaged.zip")
    damaged.write_bytes(
        data.draw(
            st.sampled_from(
                [
                    whole[:at],
                    whole[:at] + bytes([whole[at] ^ data.draw(st.integers(1, 255))]) + whole[at + 1 :],
                    whole[:at] + b"\0" * 600 + whole[at + 600 :],
                ]
            )
        )
    )
    try:
        manifest = backup.check(damaged)
    except Refusal:
        return
    # Some bytes of a zip say nothing: times, rights. Whatever is read is as it was written.
    assert manifest == backup.check(file)


def test_what_is_damaged_or_of_a_later_program_leaves_the_book_alone(candlebeck, file, tmp_path):
    before = candlebeck.asked("SELECT count(*), max(id) FROM mill_change")
    damaged = tmp_path / "damaged.zip"
    damaged.write_bytes(file.read_bytes()[:-2000])
    assert "no backup, or is cut short" in candlebeck.run("restore", str(damaged), "--replace", must=1)
    with backup.opened(file) as (_, manifest):
        known = [list(name) for name in manifest.migrations]
    later = rewritten(
        file, tmp_path / "later.zip", manifest={"migrations": [*known, ["planning", "9999_of_next_year"]]}
    )
    assert "Bring the program up to date first" in candlebeck.run("restore", str(later), "--replace", must=1)
    wrong = rewritten(file, tmp_path / "wrong.zip", change=lambda data: data.replace(b"7", b"8", 1))
    assert "is damaged" in candlebeck.run("restore", str(wrong), "--replace", must=1)
    assert candlebeck.asked("SELECT count(*), max(id) FROM mill_change") == before
    assert not list(candlebeck.folder.glob("*restoring*"))


def test_a_book_that_does_not_stand_up_to_the_audit_is_not_put_in_place(candlebeck, file, elsewhere, tmp_path):
    """Every row as it was written, and a stored figure that nothing leads to."""

    with zipfile.ZipFile(file) as archive:
        said = json.loads(archive.read("manifest.json"))
        lines = archive.read("tables/planning.warpfigures.jsonl").splitlines(keepends=True)
    at = json.loads(lines[0]).index("warp_length_m")
    for n, line in enumerate(lines[1:], start=1):
        row = json.loads(line)
        row[at] = str(Decimal(row[at]) + 1)
        lines[n] = json.dumps(row, ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode() + b"\n"
    said["tables"]["planning.warpfigures"]["sha256"] = hashlib.sha256(b"".join(lines)).hexdigest()
    untrue = tmp_path / "untrue.zip"
    with zipfile.ZipFile(file) as old, zipfile.ZipFile(untrue, "w") as new:
        text = json.dumps(said).encode()
        for name in old.namelist():
            if not name.startswith("manifest."):
                new.writestr(name, b"".join(lines) if name == "tables/planning.warpfigures.jsonl" else old.read(name))
        new.writestr("manifest.json", text)
        new.writestr("manifest.sha256", hashlib.sha256(text).hexdigest())
    assert "does not stand up to the audit" in elsewhere.run("restore", str(untrue), must=1)
    assert not [path for path in elsewhere.folder.iterdir() if "sqlite3" in path.name and path.stat().st_size > 4096]


def test_a_backup_is_never_written_over(candlebeck, file):
    before = file.read_bytes()
    assert "is there already" in candlebeck.run("backup", str(file), must=1)
    assert file.read_bytes() == before
    assert "is whole" in candlebeck.run("backup", str(file), "--check")


def test_only_the_owner_of_the_file_may_read_it_and_nobody_else_is_in_it(file):
    assert file.stat().st_mode & 0o077 == 0
    with zipfile.ZipFile(file) as archive:
        assert not [name for name in archive.namelist() if "session" in name or "axes" in name]
        key = (file.parent / "secret_key").read_bytes()
        assert all(key not in archive.read(name) for name in archive.namelist())


def test_a_backup_sees_the_book_of_one_moment_and_keeps_nobody_waiting(candlebeck, tmp_path):
    """Somebody writes while the backup is read: the write is not kept waiting, and is not in the file."""
    code = (
        "import django, sqlite3; django.setup()\n"
        "from pathlib import Path\n"
        "from mill import backup\n"
        "real = backup.lines\n"
        "def lines(label, model):\n"
        "    if label == 'planning.loom':\n"
        "        with sqlite3.connect(backup.settings.DATABASES['default']['NAME'], timeout=1) as other:\n"
        "            other.execute(\"UPDATE planning_warp SET note = 'written meanwhile'\")\n"
        "    return real(label, model)\n"
        "backup.lines = lines\n"
        f"backup.write(Path({str(tmp_path / 'moment.zip')!r}))\n"
    )
    env = {**CLEAN_ENV, "SHEDBOOK_DATA": str(candlebeck.folder), "DJANGO_SETTINGS_MODULE": "mill.settings"}
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=env, check=True)
    assert candlebeck.asked("SELECT count(*) FROM planning_warp WHERE note = 'written meanwhile'") != [(0,)]
    with zipfile.ZipFile(tmp_path / "moment.zip") as archive:
        assert b"written meanwhile" not in archive.read("tables/planning.warp.jsonl")


def test_the_book_is_not_replaced_while_it_is_open(candlebeck, file):
    from mill.latch import Latch

    with Latch(candlebeck.folder / "open", note="http://127.0.0.1:8000/", wait=False):
        assert "The book is open, at http://127.0.0.1:8000/" in candlebeck.run("restore", str(file), must=1)


def test_moving_to_another_file_takes_everything_along(candlebeck, file, tmp_path):
    other = Book(tmp_path)
    assert "Moved" in candlebeck.run("move", f"sqlite:{other.file}")
    counts = "SELECT count(*), max(id) FROM inventory_movement"
    assert other.asked(counts) == candlebeck.asked(counts)
    assert "own file" in candlebeck.run("move", f"sqlite:{candlebeck.file}", must=1)


# Every night


@pytest.fixture
def backups_folder(settings, tmp_path):
    settings.BACKUPS_DIR = tmp_path / "backups"
    return settings.BACKUPS_DIR


def test_the_night_asks_once_and_what_is_old_is_taken_away(db, planner, backups_folder):
    assert not backup.is_due()  # nothing was in the book last night
    backups_folder.mkdir()
    old = f"shedbook-{timezone.localdate() - timedelta(days=400)}-020000.zip"
    (backups_folder / old).write_text("")
    job = backup.ask(by=planner)
    assert backup.ask().pk == job.pk
    assert jobs.settle() == 1
    job.refresh_from_db()
    assert job.state == Job.DONE
    assert job.result["taken_away"] == [old]
    (only,) = backup.all_kept()
    assert only.name == job.result["file"]
    assert backup.check(only).rows == job.result["rows"]


def test_a_backup_is_due_when_none_was_asked_for_since_last_night(db, settings):
    two_days_ago = timezone.now() - timedelta(days=2)
    Change.objects.create(at=two_days_ago, kind="mill.mill", row_pk=1, what="~", history_id=1)
    assert backup.is_due()
    assert jobs.sweep()["asked"] == 1
    assert not backup.is_due()
    assert jobs.sweep()["asked"] == 0
    Job.objects.update(asked_at=two_days_ago)
    assert backup.is_due()


# Pages and the API


def test_the_owner_sees_writes_and_takes_backups_away(desk, backups_folder):
    assert b"There is none yet" in desk.get(reverse("backups")).content
    page = desk.post(reverse("backups"), follow=True).content.decode()
    assert "A backup is being written" in page
    jobs.settle()
    (kept,) = backup.all_kept()
    assert kept.name in desk.get(reverse("backups")).content.decode()
    taken = desk.get(reverse("backup_file", args=[kept.name]))
    assert b"".join(taken.streaming_content) == kept.read_bytes()
    assert taken["Content-Disposition"] == f'attachment; filename="{kept.name}"'
    assert desk.get(reverse("backup_file", args=["..secret_key"])).status_code == 404
    listed = desk.get(reverse("api_backups")).json()
    assert [row["file"] for row in listed["backups"]] == [kept.name]
    assert desk.post(reverse("api_backups")).status_code == 202
    assert desk.get(reverse("api_backups")).json()["is_pending"]


def test_a_backup_given_up_says_why_on_the_page(desk, backups_folder):
    backups_folder.write_text("a file where the folder should be")
    backup.ask()
    for _ in range(jobs.ATTEMPTS_MAX):
        jobs.work(jobs.claim(jobs.worker_name()))
    page = desk.get(reverse("backups")).content.decode()
    assert "The last one was given up" in page


# The doctor


def test_the_doctor_finds_a_sound_book_sound(candlebeck):
    said = candlebeck.run("collectstatic", "--noinput", "-v0") + candlebeck.run("doctor")
    assert "the file of the book is whole" in said
    assert "Nothing is wrong." in said
    assert "There is no backup." in said


def test_the_doctor_says_what_is_wrong_and_what_to_do(candlebeck, elsewhere, file):
    assert "Run manage.py migrate" in elsewhere.run("doctor", must=1)
    elsewhere.run("restore", str(file))
    (elsewhere.folder / "secret_key").chmod(0o644)
    with sqlite3.connect(elsewhere.file) as there:
        there.execute("DROP TRIGGER told_planning_historicalloom")
        later = (datetime.now(UTC) + timedelta(days=3)).strftime("%Y-%m-%d %H:%M:%S")
        there.execute(
            "INSERT INTO mill_change (at, kind, row_pk, what, history_id, transaction_id)"
            " VALUES (?, 'mill.mill', 1, '~', 1, 0)",
            [later],
        )
        there.execute(
            "INSERT INTO mill_job (task, payload, same_as, state, attempts, deaths, worker, progress_pct,"
            " progress_note, is_asked_to_stop, error, asked_at, request_id)"
            " VALUES ('x', '{}', '', 'queued', 0, 0, '', 0, '', 0, '', '2020-01-01', '')"
        )
    said = elsewhere.run("doctor", must=1)
    for wrong in (
        "Others on this machine can read the signing key.",
        "does not keep the account of loom",
        "which is still to come",
        "1 jobs have lain",
        "not laid out",
    ):
        assert wrong in said
    with elsewhere.file.open("r+b") as there:
        there.seek(8192)
        there.write(os.urandom(200_000))
    assert "The file of the book is damaged" in elsewhere.run("doctor", must=1)
