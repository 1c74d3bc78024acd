"""Says in plain words what is wrong with this installation, and what to do about it."""

from typing import Any

from django.core.management.base import BaseCommand

from mill import doctor


class Command(BaseCommand):
    help = "Say in plain words what is wrong with this installation; exits with 1 when something is."
    requires_system_checks = []
    requires_migrations_checks = False

    def handle(self, **options: Any) -> None:
        wrong = 0
        for finding in doctor.look():
            mark = "well " if finding.is_well else "note " if finding.is_slight else "WRONG"
            self.stdout.write(f"{mark}  {finding.what}")
            if not finding.is_well:
                self.stdout.write(f"       {finding.do}")
                wrong += not finding.is_slight
        self.stdout.write("Nothing is wrong." if not wrong else f"{wrong} to be mended.")
        if wrong:
            raise SystemExit(1)
