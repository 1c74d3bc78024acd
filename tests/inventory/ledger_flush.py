"""Lets tests that commit empty the ledger behind them, though the database lets nobody take a line away."""

from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module

from django.db import connection
from django.test import TransactionTestCase

migration = import_module("inventory.migrations.0002_ledger_is_only_added_to")


@contextmanager
def ledger_unguarded() -> Iterator[None]:
    """Without the ledger's triggers, by the migration's own hands; they stand again whatever happens inside."""
    with connection.schema_editor() as editor:
        migration.drop(None, editor)
    try:
        yield
    finally:
        with connection.schema_editor() as editor:
            migration.create(None, editor)


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
