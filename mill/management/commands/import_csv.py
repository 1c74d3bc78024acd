"""Brings a CSV file in, of any kind from fibres to orders. All of it, or nothing."""

import argparse
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from mill.refusal import Refusal
from planning.csv_book import BYTES_MAX, KINDS, POINT, SIGNS, WRONG_MAX, template
from planning.services import importing
from planning.services.importing import NotBroughtIn


class Command(BaseCommand):
    help = "Bring a CSV file in, all of it or nothing; brought in twice, it changes nothing the second time."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.formatter_class = argparse.RawDescriptionHelpFormatter
        parser.epilog = "columns:\n" + "\n".join(
            f"  {name}: {', '.join(column.name for column in kind.columns)}" for name, kind in importing.KINDS.items()
        )
        parser.add_argument("kind", choices=KINDS, help="what its rows are")
        parser.add_argument("file", type=Path, nargs="?", help="in UTF-8; commas or semicolons, as its header has them")
        parser.add_argument("--check", action="store_true", help="look at all of it and write nothing")
        parser.add_argument(
            "--decimal", choices=list(SIGNS), default=POINT, help="how its decimals are written (point)"
        )
        parser.add_argument("--template", action="store_true", help="write an example file of this kind, and stop")

    def handle(self, *, kind: str, file: Path | None, check: bool, decimal: str, **options: Any) -> None:
        if options["template"]:
            self.stdout.write(template(importing.KINDS[kind].columns, decimal=decimal), ending="")
            return
        if file is None:
            raise CommandError(f"Name the file that the {kind} are in.")
        try:
            # One byte more than is taken, so that too long a file is told from one that just fits.
            with file.open("rb") as opened:
                data = opened.read(BYTES_MAX + 1)
        except OSError as error:
            raise CommandError(f"{file} can't be opened: {error.strerror}.") from error
        try:
            brought = importing.bring_in(kind, data, by=None, decimal=decimal, is_check=check)
        except NotBroughtIn as refusal:
            for wrong in refusal.wrong:
                self.stderr.write(str(wrong))
            if refusal.n_wrong > WRONG_MAX:
                self.stderr.write(f"And {refusal.n_wrong - WRONG_MAX} more.")
            raise CommandError(refusal.message) from refusal
        except Refusal as refusal:
            raise CommandError(refusal.message) from refusal
        self.stdout.write(str(brought))
        for sentence in brought.also:
            self.stdout.write(sentence)
