"""Django's migrate, with each migration and the line that says it was applied in one transaction: both, or neither.

The framework writes that line after the transaction of a migration that leaves keys or indexes to its end. Killed in
between, the tables are there and the next run refuses to make them again.
"""

from typing import Any

from django.core.management.commands import migrate
from django.db import transaction
from django.db.migrations.executor import MigrationExecutor


class WholeExecutor(MigrationExecutor):
    def apply_migration(self, state: Any, migration: Any, fake: bool = False, fake_initial: bool = False) -> Any:
        return self._whole(super().apply_migration, state, migration, fake=fake, fake_initial=fake_initial)

    def unapply_migration(self, state: Any, migration: Any, fake: bool = False) -> Any:
        return self._whole(super().unapply_migration, state, migration, fake=fake)

    def _whole(self, step: Any, state: Any, migration: Any, **options: Any) -> Any:
        if not (migration.atomic and self.connection.features.can_rollback_ddl):
            return step(state, migration, **options)
        # SQLite lets go of its foreign keys only outside a transaction; the step looks over them at its own end.
        is_let_go = self.connection.disable_constraint_checking()
        try:
            with transaction.atomic(using=self.connection.alias):
                return step(state, migration, **options)
        finally:
            if is_let_go:
                self.connection.enable_constraint_checking()


class Command(migrate.Command):
    def handle(self, *args: Any, **options: Any) -> Any:
        # The framework's command makes its own executor, by this name.
        vars(migrate)["MigrationExecutor"] = WholeExecutor
        return super().handle(*args, **options)
