"""Puts a backup in the place of the book that the settings name."""

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder

from mill import restoring
from mill.latch import Held, Latch
from mill.management.commands.backup import said
from mill.management.commands.example_mill import is_begun
from mill.refusal import Refusal


class Command(BaseCommand):
    help = "Put a backup in the place of the book; the book that is there is kept beside it."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--replace", action="store_true", help="though there is a book already; it is kept beside")

    def handle(self, *, file: Path, replace: bool, **options: Any) -> None:
        try:
            with Latch(settings.DATA_DIR / "open", note="a restore", wait=False):
                if not replace:
                    refuse_a_begun_book()
                manifest, old = restoring.restore(file)
        except Held as held:
            raise CommandError(f"The book is open, at {held.by}. Close it with Ctrl-C first.") from None
        except Refusal as refusal:
            raise CommandError(refusal.message) from None
        self.stdout.write(f"Restored: {said(manifest)}")
        if old:
            self.stdout.write(f"The book that was there is kept as {old}; take it away once all is well.")
        for name, value in sorted(manifest.settings.items()):
            now = restoring.setting_now(name)
            if value != now:
                self.stdout.write(f"{name} was “{value}” where the backup was made; here it is “{now}”.")


def refuse_a_begun_book() -> None:
    if "planning" not in {app for app, _ in MigrationRecorder(connection).applied_migrations()}:
        return
    if is_begun():
        raise CommandError("There is a book here already. --replace puts the backup in its place and keeps it beside.")
