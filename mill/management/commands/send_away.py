"""Before a grown web server is closed: whoever looks after it is told to send people to another one first."""

from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from mill import health


class Command(BaseCommand):
    help = "Have /readyz of the web server in this container say that people are to be sent elsewhere."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--back", action="store_true", help="people may be sent here again")

    def handle(self, *, back: bool, **options: Any) -> None:
        if back:
            health.LEAVING.unlink(missing_ok=True)
            self.stdout.write("People may be sent here again.")
        else:
            health.LEAVING.touch()
            self.stdout.write("People are sent elsewhere from now on; whoever is here is answered to the end.")
