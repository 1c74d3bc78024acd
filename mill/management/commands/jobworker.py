"""Works the job table off in this process: the queue of one PC, with no broker."""

import importlib
import os
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from mill import by_the_clock, jobs
from mill.readying import keep_compiled_code, make_ready_ahead
from mill.tether import leave_in_good_order, tie_to

NICE = 5


class Command(BaseCommand):
    help = "Work off the jobs that wait, one after another, until it is stopped."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--parent", type=int, metavar="PID", help="end when this process does")
        parser.add_argument("--quick", action="store_true", help="leave long work to another worker")
        parser.add_argument("--include", action="append", default=[], metavar="MODULE", help="has tasks as well")

    def handle(self, *, parent: int | None, quick: bool, include: list[str], **options: Any) -> None:
        keep_compiled_code()
        # What is at work then is put back, and begun afresh by the next worker.
        leave_in_good_order()
        if parent:
            tie_to(parent)
        if hasattr(os, "nice"):
            # On one PC whoever waits for a page goes before work that nobody waits for.
            os.nice(NICE)
        for module in include:
            importlib.import_module(module)
        if not quick:
            make_ready_ahead()
        worker = jobs.worker_name()
        but_not = jobs.long_tasks() if quick else set()

        def turn() -> bool:
            job = jobs.claim(worker, but_not=but_not)
            if job:
                jobs.work(job)
            return job is not None

        jobs.attend(turn, sweep=lambda: by_the_clock.look(idle=worker), sweep_s=15)
