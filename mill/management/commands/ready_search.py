"""Compiles the loom planner's search, once for this machine; a worker asks for it ahead of need."""

import os
import time
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from mill.readying import compiling, keep_compiled_code
from mill.tether import leave_in_good_order, tie_to
from planning.improve import kernel


class Command(BaseCommand):
    help = "Compile the loom planner's search, so that the first plan does not wait for it."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--parent", type=int, metavar="PID", help="give way to all others, and end with this one")

        parser.add_argument("--after", type=float, default=0, metavar="S", help="begin so many seconds later (0)")

    def handle(self, *, parent: int | None, after: float, **options: Any) -> None:
        keep_compiled_code()
        leave_in_good_order()
        if parent:
            tie_to(parent)
            if hasattr(os, "nice"):
                os.nice(15)
        time.sleep(after)
        began = time.monotonic()
        with compiling():
            compiled = kernel().compiled
        if not parent:
            took = time.monotonic() - began
            self.stdout.write(f"ready in {took:.1f} s" if compiled else "no compiler (numba): the search goes slowly")
