"""How long the loom board takes with 30 looms and 600 warps, and what a planner asks of it: a move, a date, a plan."""

import json
import time
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from statistics import median
from typing import Any

from django.db import transaction
from django.test import Client
from django.utils import timezone

from mill.bench.history import bench_user
from mill.bench.scratch import in_the_book, scratch_book
from planning.models import Colourway, Loom, OrderLine, PlanRun, Warp, WarpFigures, WarpPart, WarpYarn
from planning.services import plans, working_out
from planning.services.promise import promise

# An example mill of this size has thirty looms.
SIZE, WARPS = 3, 600
TIMES = 5


@transaction.atomic
def fill_shed(count: int) -> None:
    """As many open warps as that: copies of those planned, wound, and due about as fast as thirty looms weave them."""
    patterns = list(Warp.objects.filter(state=Warp.PLANNED, worked__figures__isnull=False, worked__trouble=""))
    parts = {warp.pk: list(warp.parts.select_related("line", "spec")) for warp in patterns}
    figures = {row.warp_id: row for row in WarpFigures.objects.filter(warp__in=patterns)}
    yarns = {warp.pk: list(warp.yarns.all()) for warp in patterns}
    number = Warp.objects.latest("number").number
    made: list[tuple[Warp, Warp]] = []
    for n in range(count - Warp.objects.open().count()):
        made.append((Warp(number=number + 1 + n, state=Warp.WOUND), patterns[n % len(patterns)]))
    Warp.objects.bulk_create([warp for warp, _ in made], batch_size=500)
    due = timezone.localdate() + timedelta(28)
    lines: list[OrderLine] = []
    positions: dict[int, int] = {}
    for n, (_, pattern) in enumerate(made):
        for part in parts[pattern.pk]:
            line, last = part.line, positions.get(part.line.order_id, 100)
            positions[line.order_id] = last + 1
            lines.append(
                OrderLine(
                    order_id=line.order_id,
                    position=last + 1,
                    cloth_id=line.cloth_id,
                    colourway_id=line.colourway_id,
                    pieces=part.pieces,
                    length_m=line.length_m,
                    due_on=due + timedelta(n * 11 // 20),
                    weight=line.weight,
                    state=OrderLine.ON_A_WARP,
                )
            )
    OrderLine.objects.bulk_create(lines, batch_size=500)
    new = iter(lines)
    WarpPart.objects.bulk_create(
        [
            WarpPart(warp=warp, position=part.position, line=next(new), spec=part.spec, pieces=part.pieces)
            for warp, pattern in made
            for part in parts[pattern.pk]
        ],
        batch_size=500,
    )
    columns = working_out.FIGURE_COLUMNS
    WarpFigures.objects.bulk_create(
        [
            WarpFigures(warp=warp, **{name: getattr(figures[pattern.pk], name) for name in columns})
            for warp, pattern in made
        ],
        batch_size=200,
    )
    WarpYarn.objects.bulk_create(
        [
            WarpYarn(
                warp=warp,
                yarn_id=need.yarn_id,
                use=need.use,
                length_m=need.length_m,
                net_g=need.net_g,
                issue_g=need.issue_g,
            )
            for warp, pattern in made
            for need in yarns[pattern.pk]
        ],
        batch_size=500,
    )


def _taken(act: Callable[[], Any]) -> float:
    """Milliseconds of the processor, the median of five: what else the machine is at is left out."""
    rounds: list[float] = []
    for _ in range(TIMES + 1):
        began = time.process_time()
        act()
        rounds.append(time.process_time() - began)
    return median(rounds[1:]) * 1000


def work_inside() -> str:
    planner = bench_user()
    client = Client(SERVER_NAME="localhost")
    client.force_login(planner)
    fill_shed(WARPS)
    began = time.process_time()
    run = plans.put_in_force(plans.make_plan(rule="earliest_due_date", by=planner), by=planner)
    taken = {"the looms planned by due date, with reasons": (time.process_time() - began) * 1000}
    sizes = {}
    for name, words in (
        ("a week", "span=week"),
        ("a fortnight", "span=fortnight"),
        ("a quarter", "span=quarter"),
        ("the table", "view=table"),
    ):
        address = f"/looms/board/?{words}"
        answer = client.get(address)
        assert answer.status_code == 200
        sizes[f"board, {name}"] = len(answer.content)
        taken[f"board, {name}"] = _taken(lambda address=address: client.get(address))  # type: ignore[misc]
    slot = run.slots.filter(warp__state=Warp.WOUND).order_by("-position").first()
    assert slot is not None
    moved = {"warp": slot.warp.number, "loom": slot.loom.code, "turn": slot.position, "span": "quarter"}

    def move() -> None:
        answer = client.post("/looms/board/move/", moved, headers={"X-Board": "leaf"})
        assert answer.status_code == 200, answer.content
        PlanRun.objects.filter(state=PlanRun.OFFERED).delete()

    taken["a warp moved, and the board again"] = _taken(move)
    colourway = Colourway.objects.filter(cloth__specs__isnull=False).earliest("pk")
    taken["a date told"] = _taken(lambda: promise(colourway=colourway, pieces=2, length_m=Decimal(60)))
    return json.dumps({"looms": Loom.objects.count(), "warps": run.slots.count(), "taken": taken, "sizes": sizes})


def run(write: Callable[[str], Any], *, inside: bool) -> None:
    if inside:
        write(work_inside())
        return
    with scratch_book(size=SIZE) as env:
        told = json.loads(in_the_book(env, "board"))
    write(f"{told['looms']} looms, {told['warps']} warps in the plan; milliseconds of the processor")
    for name, ms in told["taken"].items():
        size = f"  {told['sizes'][name] / 1024:6.0f} KiB" if name in told["sizes"] else ""
        write(f"{name:45} {ms:8.0f}{size}")
