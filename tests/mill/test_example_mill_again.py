"""The example mill written twice: the same both times."""

from datetime import date, datetime
from io import StringIO
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.core.management import CommandError, call_command
from django.db import transaction

from mill.management.commands.example_mill import is_begun
from tests import make
from tests.mill.candlebeck_digest import by_table

ON = date(2026, 11, 29)


def tables_of_the_mill(written_at: datetime, **options) -> dict[str, list[str]]:
    with transaction.atomic(), time_machine.travel(written_at):
        call_command("example_mill", **{"on": ON, "stdout": StringIO(), **options})
        tables = by_table()
        transaction.set_rollback(True)
    return tables


@pytest.mark.slow
def test_the_same_seed_and_day_make_the_same_mill_whenever_it_is_written(db):
    zone = ZoneInfo("Europe/London")
    first = tables_of_the_mill(datetime(2026, 11, 29, 9, tzinfo=zone))
    second = tables_of_the_mill(datetime(2027, 6, 3, 22, tzinfo=zone))
    for table, rows in first.items():
        assert rows, f"{table} is empty"
        assert rows == second[table], f"{table} differs"


def test_one_loom_makes_a_book_that_is_begun(db):
    assert not is_begun()
    make.make_loom()
    assert is_begun()
    with pytest.raises(CommandError, match=r"The book is not empty: it has 1 loom\. The example mill"):
        call_command("example_mill", stdout=StringIO())
