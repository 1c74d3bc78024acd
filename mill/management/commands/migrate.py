"""Django's migrate, with each migration and the line that says it was applied in one transaction: both, or neither.

The framework writes that line after the transaction of a migration that leaves keys or indexes to its end. Killed in
between, the tables are there and the next run refuses to make them again.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.core.management.commands import migrate
from django.db import transaction
from django.db.migrations import Migration
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.state import ProjectState


class WholeExecutor(MigrationExecutor):
    def apply_migration(
        self, state: ProjectState, migration: Migration, fake: bool = False, fake_initial: bool = False
    ) -> ProjectState:
        with self._whole(migration):
            return super().apply_migration(state, migration, fake=fake, fake_initial=fake_initial)

    def unapply_migration(self, state: ProjectState, migration: Migration, fake: bool = False) -> ProjectState:
        with self._whole(migration):
            return super().unapply_migration(state, migration, fake=fake)

    @contextmanager
    def _whole(self, migration: Migration) -> Iterator[None]:
        if not (migration.atomic and self.connection.features.can_rollback_ddl):
            yield
            return
        # SQLite lets go of its foreign keys only outside a transaction; the step looks over them at its own end.
        is_let_go = self.connection.disable_constraint_checking()
        try:
            with transaction.atomic(using=self.connection.alias):
                yield
        finally:
            if is_let_go:
                self.connection.enable_constraint_checking()


class Command(migrate.Command):
    def handle(self, *args: Any, **options: Any) -> Any:
        # The framework's command makes its own executor, by this name.
        vars(migrate)["MigrationExecutor"] = WholeExecutor
        return super().handle(*args, **options)
