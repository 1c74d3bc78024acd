"""Writes the whole book into one file, while people go on working in it."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from mill import backup
from mill.refusal import Refusal


class Command(BaseCommand):
    help = "Write the whole book into one file, while people go on working in it."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", nargs="?", type=Path, help="where to (the folder of backups, by day and time)")
        parser.add_argument("--check", action="store_true", help="read an existing backup through instead")

    def handle(self, *, file: Path | None, check: bool, **options: Any) -> None:
        path = file or backup.folder() / backup.name_now()
        try:
            if check:
                manifest = backup.check(path)
                self.stdout.write(f"{path} is whole: {said(manifest)}")
                return
            if path.exists():
                raise CommandError(f"{path} is there already. Choose another name: a backup is never written over.")
            manifest = backup.write(path)
        except Refusal as refusal:
            raise CommandError(refusal.message) from None
        self.stdout.write(f"{path}, {path.stat().st_size / 1e6:.1f} MB: {said(manifest)}")


def said(manifest: backup.Manifest) -> str:
    return f"{manifest.rows:,} rows of {len(manifest.tables)} tables, from {manifest.database}, {manifest.made_at}."
