"""Plans a shed that is written in a file, without the mill's book."""

import json
import time
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from mill.readying import keep_compiled_code
from mill.refusal import Refusal
from planning.improve import Improved, Limit, improve
from planning.shed_plan import Shed, from_json, plan_file


class Command(BaseCommand):
    help = "Plan the shed in a file, and write the plan into another. Needs no database."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("instance", type=Path, help="the shed, as JSON")
        parser.add_argument("plan", type=Path, help="where the plan is written, as JSON")
        parser.add_argument("--seconds", type=float, default=20)
        parser.add_argument("--seed", type=int, default=1)
        parser.add_argument("--threads", type=int, default=2)

    def handle(self, *, instance: Path, plan: Path, seconds: float, seed: int, threads: int, **options: Any) -> None:
        keep_compiled_code()
        try:
            shed = read_shed(instance)
            limit = Limit(seconds=seconds, clock=time.monotonic)
            found = improve(shed, seed=seed, limit=limit, threads=threads)
        except Refusal as exc:
            raise CommandError(exc.message) from exc
        plan.write_text(json.dumps(plan_file(found.plan), indent=1) + "\n")
        self.stdout.write(said(found))


def read_shed(path: Path) -> Shed:
    try:
        return from_json(json.loads(path.read_text(), parse_float=Decimal))
    except (OSError, json.JSONDecodeError, AttributeError, KeyError, TypeError) as exc:
        raise CommandError(f"{path} holds no shed that can be read: {exc!r}.") from exc


def said(found: Improved) -> str:
    """The plan's cost in a few lines, and whether a better one can exist."""
    cost, first = found.plan.cost, found.first.cost
    return "\n".join(
        (
            f"cost {cost.total} = lateness {cost.tardiness} + set-ups {cost.setup} + length {cost.makespan}"
            f" + moves {cost.moves} + broken pins {cost.pins}",
            f"{cost.tardy_pieces} pieces late; best paper rule {first.total}; {found.changes} changes tried",
            "proven: no plan costs less" if found.is_optimal else "not proven best",
        )
    )
