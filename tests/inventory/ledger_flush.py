"""Lets tests that commit empty the book behind them, though the database lets nobody take a line away."""

from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module

from django.db import connection
from django.test import TransactionTestCase

from mill import changes

migration = import_module("inventory.migrations.0002_ledger_is_only_added_to")
floor_migration = import_module("planning.migrations.0002_floor_events_are_only_added_to")


@contextmanager
def ledger_unguarded() -> Iterator[None]:
    """Without the triggers of the ledger, the floor and the account of changes, by the migrations' own hands; they stand again whatever
    happens inside."""
    with connection.schema_editor() as editor:
        migration.drop(None, editor)
        floor_migration.drop(None, editor)
    changes.unguard()
    try:
        yield
    finally:
        with connection.schema_editor() as editor:
            migration.create(None, editor)
            floor_migration.create(None, editor)
        changes.guard()


def let_tests_flush_the_ledger() -> None:
    """For every test that commits, and for the live server's: they end with a flush, once, for the whole run.

    Only SQLite deletes row by row; PostgreSQL empties whole tables, which no trigger of a row sees.
    """
    flush = TransactionTestCase._fixture_teardown

    def flush_unguarded(self: TransactionTestCase) -> None:
        if connection.vendor != "sqlite":
            flush(self)
            return
        with ledger_unguarded():
            flush(self)

    TransactionTestCase._fixture_teardown = flush_unguarded
