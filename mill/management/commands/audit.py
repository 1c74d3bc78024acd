"""Derives every stored figure again and says what differs: the answer must be nothing."""

from collections.abc import Callable, Generator, Iterator
from typing import Any

from django.core.management.base import BaseCommand

import inventory.services
import planning.services

# Each yields a sentence for each figure that differs, naming the thing, the stored
# figure and the derived one, and returns how many figures it has compared.
AUDITS: dict[str, Callable[[], Generator[str, None, int]]] = {
    "planning": planning.services.audit_differences,
    "inventory": inventory.services.audit_differences,
}


class Command(BaseCommand):
    help = "Derive every stored figure again and list what differs; exits with 1 when anything does."

    def handle(self, **options: Any) -> None:
        compared: dict[str, int] = {}
        n_different = 0
        for name, audit in AUDITS.items():
            for difference in counted(audit(), name, compared):
                n_different += 1
                print(f"{name}: {difference}")
        figures = ", ".join(f"{n:,} of {name}" for name, n in compared.items())
        if n_different:
            print(f"{n_different} of {sum(compared.values()):,} figures differ ({figures}).")
            raise SystemExit(1)
        print(f"Nothing differs: {sum(compared.values()):,} figures, {figures}.")


def counted(audit: Generator[str, None, int], name: str, compared: dict[str, int]) -> Iterator[str]:
    """Pass the sentences on, and write down how many figures were compared."""
    compared[name] = yield from audit
