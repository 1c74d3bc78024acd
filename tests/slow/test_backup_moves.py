"""Backups between databases, taken from a book at work: SQLite to PostgreSQL and back, nothing lost on the way."""

import json
import shutil
import sqlite3
import sys
import threading
import time
from urllib.parse import urlsplit

import psycopg
import pytest

from mill import backup
from tests.books import example
from tests.slow.conftest import Book, wait_until

__all__ = ["example"]
pytestmark = pytest.mark.slow


def database_of(url, name):
    """A database of its own on the server."""
    with psycopg.connect(url, autocommit=True) as there:
        there.execute(f'CREATE DATABASE "{name}"')
    return urlsplit(url)._replace(path=f"/{name}").geturl()


def candlebeck_at(folder, example):
    """The example mill, in a folder of its own."""
    return Book(shutil.copytree(example, folder), f"sqlite:{folder / 'shedbook.sqlite3'}")


TOTALS = """
import json
from django.db.models import Count, Sum
from inventory.models import Movement
from mill.models import Change
from planning.models import Order, OrderLine, Piece, WarpFigures
print(json.dumps({
    "grams": Movement.objects.aggregate(n=Count("pk"), g=Sum("change_g")),
    "orders": Order.objects.count(),
    "ordered_m": f"{OrderLine.objects.aggregate(m=Sum('length_m'))['m']:.2f}",
    "pieces": Piece.objects.count(),
    "warp_m": f"{WarpFigures.objects.aggregate(m=Sum('warp_length_m'))['m']:.2f}",
    "changes": Change.objects.count(),
    "cursor": Change.objects.order_by("transaction_id", "pk").last().cursor,
}))
"""

WRITE = """
from pathlib import Path
from django.contrib.auth import get_user_model
from django.db import transaction
from mill import changes
from planning.models import Customer
by = get_user_model().objects.first()
n = 0
with changes.by(by):
    while not Path({until!r}).exists():
        n += 1
        with transaction.atomic():
            Customer.objects.create(code=f"W{{n:05d}}", name=f"Written {{n}}")
print(n)
"""


def totals(book):
    return json.loads(book.python(TOTALS))


def test_a_book_at_work_goes_to_postgresql_and_back_with_equal_totals(tmp_path, postgresql_url, example):
    one_pc = candlebeck_at(tmp_path / "one_pc", example)
    ((n_before,),) = one_pc.rows("SELECT count(*) FROM planning_customer")
    written, kept, is_enough = [], tmp_path / "kept.zip", tmp_path / "enough"
    writer = threading.Thread(target=lambda: written.append(int(one_pc.python(WRITE.format(until=str(is_enough))))))
    writer.start()
    n_written = "SELECT count(*) FROM planning_customer WHERE name LIKE 'Written %'"
    try:
        wait_until(lambda: one_pc.rows(n_written) > [(10,)], within_s=60, what="somebody writes")
        one_pc.run("backup", str(kept))
    finally:
        is_enough.touch()
        writer.join()
    # Some of what was written is in it, whole or not at all.
    with backup.opened(kept) as (_, manifest):
        rows = manifest.tables
    assert rows["planning.historicalcustomer"].rows == rows["planning.customer"].rows
    assert [(written[0],)] == one_pc.rows(n_written)
    assert 10 < rows["planning.customer"].rows - n_before < written[0]

    grown = Book(tmp_path / "grown", database_of(postgresql_url, "grown"))
    grown.folder.mkdir()
    assert "Nothing differs" in grown.run("restore", str(kept)).stdout
    with backup.opened(kept) as (_, manifest):
        assert totals(grown)["changes"] == manifest.tables["mill.change"].rows
        assert totals(grown)["grams"]["n"] == manifest.tables["inventory.movement"].rows

    # The book as it stands now, by the one command.
    moved = Book(tmp_path / "moved", database_of(postgresql_url, "moved"))
    moved.folder.mkdir()
    assert "Moved" in one_pc.run("move", moved.database).stdout
    assert totals(moved) == totals(one_pc)

    # Numbers go on where they stood, and a cursor given before still means the same place.
    cursor = totals(moved)["cursor"]
    moved.python(
        "from planning.models import Customer\nCustomer.objects.create(code='NEW', name='Written on PostgreSQL')"
    )
    said = "from mill import changes\nprint([change.record for change in changes.since({!r}, at_most=9)[0]])"
    assert moved.python(said.format(cursor)).strip() == "['NEW']"
    later = totals(moved)["cursor"]

    # Back again, over a book that is there.
    home = tmp_path / "home.zip"
    moved.run("backup", str(home))
    one_pc.run("restore", str(home), "--replace")
    assert totals(one_pc) == totals(moved)
    one_pc.python("from planning.models import Customer\nCustomer.objects.create(code='OLD', name='Written at home')")
    assert one_pc.python(said.format(later)).strip() == "['OLD']"
    assert "Nothing differs" in one_pc.run("audit").stdout

    # And again to PostgreSQL over a book that is there: the old one is kept in a schema of its own.
    one_pc.run("backup", str(tmp_path / "last.zip"))
    assert "kept as schema before_" in moved.run("restore", str(tmp_path / "last.zip"), "--replace").stdout
    assert totals(moved) == totals(one_pc)
    last = totals(moved)["cursor"]
    moved.python("from planning.models import Customer\nCustomer.objects.create(code='ANEW', name='Once more')")
    assert moved.python(said.format(last)).strip() == "['ANEW']"
    with psycopg.connect(moved.database) as there:
        schemas = {name for (name,) in there.execute("SELECT nspname FROM pg_namespace").fetchall()}
    assert "restoring" not in schemas


def test_nothing_is_restored_while_others_are_at_the_database(tmp_path, postgresql_url, make_book):
    one_pc = make_book("sqlite")
    one_pc.run("backup", str(tmp_path / "book.zip"))
    grown = Book(tmp_path / "grown", database_of(postgresql_url, "in_use"))
    grown.folder.mkdir()
    with psycopg.connect(grown.database):
        said = grown.run("restore", str(tmp_path / "book.zip"), check=False)
        assert said.returncode == 1
        assert "1 others are at the database" in said.stderr
    grown.run("restore", str(tmp_path / "book.zip"))


def test_a_restore_that_is_killed_leaves_the_book_as_it_was(tmp_path, example):
    one_pc = candlebeck_at(tmp_path / "one_pc", example)
    one_pc.run("backup", str(tmp_path / "book.zip"))
    before = totals(one_pc)
    for after_s in (0.5, 1.5, 3.0):
        restore = one_pc.spawn(sys.executable, "manage.py", "restore", str(tmp_path / "book.zip"), "--replace")
        time.sleep(after_s)
        if restore.poll() is None:
            restore.kill()
            restore.wait()
        assert totals(one_pc) == before
    one_pc.run("restore", str(tmp_path / "book.zip"), "--replace")
    assert totals(one_pc) == before
    assert not list(one_pc.folder.glob("*restoring*"))
    with sqlite3.connect(one_pc.folder / "shedbook.sqlite3") as there:
        assert there.execute("PRAGMA integrity_check").fetchone() == ("ok",)
