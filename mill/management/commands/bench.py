"""Measures the program on work of a known size, each kind of work by its name."""

import json
import time
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from statistics import median
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandParser

from mill.bench import board, combining, floor, load, lots, pages, recompute, store
from mill.readying import keep_compiled_code
from planning.improve import Limit, improve, kernel
from planning.shed_plan import first_plan, from_json

SHEDS = Path("tests/planning/instances")
SEEDS = (1, 2, 3)


@dataclass(frozen=True)
class Bench:
    """One kind of work: what it is, its own arguments, and the measuring, which is given them and a place to write."""

    what: str
    arguments: Callable[[CommandParser], None]
    run: Callable[..., None]


def plan_arguments(parser: CommandParser) -> None:
    parser.add_argument("--seconds", type=float, default=20, help="for each search (20)")
    parser.add_argument("--threads", type=int, default=2)
    parser.add_argument("--only", nargs="+", metavar="NAME", help="sheds by name, like medium-1 (all)")


def bench_plan(write: Callable[[str], Any], *, seconds: float, threads: int, only: list[str] | None) -> None:
    """Plan the sheds kept beside the tests: the middle cost of three seeds, against paper rules and the best known."""
    sheds = Path(settings.BASE_DIR) / SHEDS
    recorded = json.loads((sheds / "best.json").read_text())
    began = time.monotonic()
    compiled = "compiled" if kernel().compiled else "not compiled"
    write(f"search {compiled}, ready in {time.monotonic() - began:.1f} s; {seconds:g} s on {threads} threads")
    heads = ("median", "least", "most", "/ due date", "/ set-ups", "/ best", "changes/s")
    write(" " * 10 + "".join(f"{head:>12}" for head in heads))
    for name in only or recorded:
        shed = from_json(json.loads((sheds / f"{name}.json").read_text(), parse_float=Decimal))
        by_date, by_setup = (first_plan(shed, rule).cost.total for rule in ("earliest_due_date", "setups_first"))
        costs, rates, proven = [], [], False
        for seed in SEEDS:
            began = time.monotonic()
            found = improve(shed, seed=seed, limit=Limit(seconds=seconds, clock=time.monotonic), threads=threads)
            costs.append(found.plan.cost.total)
            rates.append(found.changes / (time.monotonic() - began))
            proven = proven or found.is_optimal
        middle = median(costs)
        write(
            f"{name:10}{middle:12}{min(costs):12}{max(costs):12}{middle / by_date:12.3f}{middle / by_setup:12.3f}"
            f"{middle / recorded[name]:12.3f}{median(rates):12.0f}{' proven' if proven else ''}"
        )


def book_arguments(parser: CommandParser) -> None:
    parser.add_argument("--inside", action="store_true", help="measure in the book that is open, and print it bare")


def sized_book_arguments(parser: CommandParser) -> None:
    book_arguments(parser)
    parser.add_argument("--size", type=int, default=1, help="of the example mill (1)")


BENCHES: dict[str, Bench] = {
    "plan": Bench("looms: the search for a plan of the shed", plan_arguments, bench_plan),
    "board": Bench("the loom board with 30 looms and 600 warps", book_arguments, board.run),
    "combining": Bench(
        "order lines into warps: thrums and set-up against one warp a line, in the example mill",
        sized_book_arguments,
        combining.run,
    ),
    "lots": Bench(
        "lots for 600 planned warps decided together, against one warp after the other", lots.arguments, lots.run
    ),
    "recompute": Bench(
        "warps worked out again, and the same with ten times the lots and movements", book_arguments, recompute.run
    ),
    "store": Bench("a store with a million movements behind it", book_arguments, store.run),
    "pages": Bench("every page, in the example mill and in ten times it", book_arguments, pages.run),
    "load": Bench("the people of a whole mill at once, with time to think", load.arguments, load.run),
    "floor": Bench("the floor's page on a real server, with forty phones at it at once", floor.arguments, floor.run),
}


class Command(BaseCommand):
    help = "Measure the program on work of a known size."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        kinds = parser.add_subparsers(dest="bench", required=True)
        for name, bench in BENCHES.items():
            bench.arguments(kinds.add_parser(name, help=bench.what))

    def handle(self, *, bench: str, **options: Any) -> None:
        keep_compiled_code()
        own = CommandParser()
        BENCHES[bench].arguments(own)
        names = {action.dest for action in own._actions} - {"help"}
        BENCHES[bench].run(self.stdout.write, **{name: options[name] for name in names})
