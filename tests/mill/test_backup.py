"""Backups: what is in the file, what is refused, which are kept. Real commands on real files; PostgreSQL in slow/."""

import json
import subprocess
import sys
import zipfile
from datetime import date, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from mill import backup, jobs, people
from mill.models import Job
from mill.refusal import Refusal
from tests.books import candlebeck, elsewhere, example, file, rewritten
from tests.started import CLEAN_ENV, ROOT

__all__ = ["candlebeck", "elsewhere", "example", "file"]

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


# A book in files of its own: the example mill, built and asked by programs of their own, is half a minute's work

of_a_book = pytest.mark.slow


def plainly(row):
    """A row whose JSON has its keys in the order of their names: PostgreSQL keeps no other."""
    return [json.loads(v) if isinstance(v, str) and v[:1] in ("{", "[") else v for v in row]


@of_a_book
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
    assert list(elsewhere.folder.glob("*restoring*")) == list(elsewhere.folder.glob("*-before-*")) == []


@of_a_book
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


@of_a_book
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


@of_a_book
def test_a_backup_is_never_written_over(candlebeck, file):
    before = file.read_bytes()
    assert "is there already" in candlebeck.run("backup", str(file), must=1)
    assert file.read_bytes() == before
    assert "is whole" in candlebeck.run("backup", str(file), "--check")


@of_a_book
def test_only_the_owner_of_the_file_may_read_it_and_nobody_else_is_in_it(file):
    assert file.stat().st_mode & 0o077 == 0
    with zipfile.ZipFile(file) as archive:
        assert not [name for name in archive.namelist() if "session" in name or "axes" in name]
        key = (file.parent / "secret_key").read_bytes()
        assert all(key not in archive.read(name) for name in archive.namelist())


@of_a_book
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


@of_a_book
def test_the_book_is_not_replaced_while_it_is_open(candlebeck, file):
    from mill.latch import Latch

    with Latch(candlebeck.folder / "open", note="http://127.0.0.1:8000/", wait=False):
        assert "The book is open, at http://127.0.0.1:8000/" in candlebeck.run("restore", str(file), must=1)


# Every night


@pytest.fixture
def backups_folder(settings, tmp_path):
    settings.BACKUPS_DIR = tmp_path / "backups"
    return settings.BACKUPS_DIR


def test_the_night_asks_once_and_what_is_old_is_taken_away(db, planner, backups_folder):
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


@pytest.mark.django_db(transaction=True)
def test_the_owner_asks_for_one_on_a_page_and_over_the_api_outside_any_transaction(desk):
    """As a server of its own runs a view: what asks for the work opens the transaction itself."""
    assert desk.post(reverse("backups")).status_code == 302
    assert desk.post("/api/backups/").json()["is_pending"]
    assert Job.objects.get().task == backup.TASK


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


@pytest.mark.django_db(transaction=True)
def test_one_is_asked_for_outside_of_any_transaction(desk, backups_folder):
    """As the web server does; a test's own transaction once hid that it failed."""
    assert desk.post(reverse("backups")).status_code == 302
    assert desk.post(reverse("api_backups")).status_code == 202
    assert Job.objects.filter(task=backup.TASK).count() == 1


def test_a_backup_given_up_says_why_on_the_page(desk, planner, backups_folder):
    backups_folder.write_text("a file where the folder should be")
    backup.ask()
    jobs.work(jobs.claim(jobs.worker_name()))
    page = desk.get(reverse("backups")).content.decode()
    why = f"The backup could not be written in {backups_folder} (File exists)."
    assert f"The last one was given up: {why}" in page
    people.speak(planner, language="de", by=planner)
    assert "Die Sicherung konnte nicht in" in desk.get(reverse("backups")).content.decode()


# The doctor


@of_a_book
def test_the_doctor_finds_a_sound_book_sound(candlebeck):
    said = candlebeck.run("collectstatic", "--noinput", "-v0") + candlebeck.run("doctor")
    assert "the file of the book is whole" in said
    assert "Nothing is wrong." in said
    assert "There is no backup." in said
