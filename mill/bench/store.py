"""The yarn store with a long past: its pages, a change of one lot, and the draw-down of one yarn and of all."""

import json
import time
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from random import Random
from statistics import median
from typing import Any

from django.db import transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inventory import services
from inventory.models import Movement, Yarn, YarnDemand, YarnLot
from mill import jobs
from mill.bench.history import add_history, bench_user
from mill.bench.scratch import in_the_book, scratch_book

# A tenth of the past first, then all of it.
LOTS, MOVEMENTS, TIMES_HISTORY = 1_000, 100_000, 10
PLANNED_WARPS, DAYS_OF_WEAVING, ROUNDS = 600, 8, 15


def add_demand(*, warps: int, seed: int = 1) -> None:
    """What so many planned warps draw: two yarns for the warp on one day, two for the weft over days of weaving."""
    dice = Random(seed)  # noqa: S311
    yarns, today = list(Yarn.objects.all()), timezone.localdate()
    rows = []
    for n in range(warps):
        winding_on = today + timedelta(days=dice.randrange(120))
        for use, days in ((YarnDemand.WARP, 1), (YarnDemand.WEFT, DAYS_OF_WEAVING)):
            for yarn in dice.sample(yarns, 2):
                rows += [
                    YarnDemand(
                        yarn=yarn,
                        use=use,
                        on=winding_on + timedelta(days=day + (use == YarnDemand.WEFT)),
                        grams=dice.randrange(500, 9_000),
                        source=f"bench:{n}",
                        label=f"Warp B{n}",
                        worked_from="bench",
                    )
                    for day in range(days)
                ]
    YarnDemand.objects.bulk_create(rows, batch_size=500)


def ms(act: Callable[[], object]) -> float:
    """Milliseconds, the median of the rounds after a first that is not counted."""
    act()
    taken = []
    for _ in range(ROUNDS):
        began = time.perf_counter()
        act()
        taken.append(time.perf_counter() - began)
    return round(median(taken) * 1000, 1)


def measured() -> dict[str, float]:
    by = bench_user()
    client = Client(SERVER_NAME="localhost")
    client.force_login(by)

    def page(address: str) -> Callable[[], None]:
        def look() -> None:
            answer = client.get(address)
            assert answer.status_code == 200, f"{address} answered {answer.status_code}"

        return look

    lot = YarnLot.objects.with_balance().filter(label__startswith="H", on_hand_g__gt=1_000).latest("pk")

    def change() -> None:
        services.correct(lot=lot, change_g=1, reason="bench", by=by)

    def one_yarn() -> None:
        change()
        jobs.settle()

    def every_yarn() -> None:
        with transaction.atomic():
            services.yarns_changed(Yarn.objects.values_list("pk", flat=True))
        jobs.settle()

    jobs.settle()
    return {
        "the list of lots": ms(page(reverse("lots"))),
        "the list of yarns": ms(page(reverse("yarn"))),
        "one lot's page": ms(page(reverse("lot", args=[lot.label]))),
        "one yarn's page": ms(page(reverse("yarn_one", args=[lot.yarn.code]))),
        "a change of one lot": ms(change),
        "a change, and its yarn's draw-down": ms(one_yarn),
        f"the draw-down of all {Yarn.objects.count()} yarns": ms(every_yarn),
    }


def work_inside() -> str:
    add_demand(warps=PLANNED_WARPS)
    add_history(lots=LOTS, movements=MOVEMENTS)
    told = [(YarnLot.objects.count(), Movement.objects.count(), measured())]
    add_history(lots=LOTS * (TIMES_HISTORY - 1), movements=MOVEMENTS * (TIMES_HISTORY - 1))
    told.append((YarnLot.objects.count(), Movement.objects.count(), measured()))
    return json.dumps(told)


def run(write: Callable[[str], Any], *, inside: bool) -> None:
    """The example mill with so much yarn asked for, before and after its store has ten times the past."""
    if inside:
        write(work_inside())
        return
    with scratch_book(size=1) as env:
        (lots, lines, short), (more_lots, more_lines, long) = json.loads(in_the_book(env, "store"))
    write(f"{PLANNED_WARPS} planned warps; {lots} lots with {lines} movements, then {more_lots} with {more_lines}")
    for what, small in short.items():
        write(f"{what:40} {small:8.1f} ms {long[what]:8.1f} ms  ratio {Decimal(long[what] / small):.2f}")
