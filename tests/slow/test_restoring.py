"""Bringing backups of the example mill back, and the doctor at a book gone wrong: real commands on real files."""

import hashlib
import json
import os
import sqlite3
import zipfile
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from mill import backup
from tests.books import Book, candlebeck, elsewhere, example, file, rewritten

__all__ = ["candlebeck", "elsewhere", "example", "file"]
pytestmark = pytest.mark.slow


def test_a_book_that_is_there_stays_unless_it_is_to_be_replaced_and_is_kept_then(file, elsewhere):
    elsewhere.run("restore", str(file))
    # What can be written twice can be written a third time.
    again = elsewhere.folder / "again.zip"
    elsewhere.run("backup", str(again))
    with backup.opened(file) as (_, one), backup.opened(again) as (_, other):
        assert one.tables == other.tables
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


def test_moving_to_another_file_takes_everything_along(candlebeck, file, tmp_path):
    other = Book(tmp_path)
    assert "Moved" in candlebeck.run("move", f"sqlite:{other.file}")
    counts = "SELECT count(*), max(id) FROM inventory_movement"
    assert other.asked(counts) == candlebeck.asked(counts)
    assert "own file" in candlebeck.run("move", f"sqlite:{candlebeck.file}", must=1)


def test_the_doctor_says_what_is_wrong_and_what_to_do(candlebeck, elsewhere, example, file):
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
