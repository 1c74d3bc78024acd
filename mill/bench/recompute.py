"""How long it takes from a revision that touches fifty open warps to new figures and a new draw-down."""

import time
from collections.abc import Callable
from statistics import median
from typing import Any

from django.db import transaction

from inventory.models import Movement, YarnLot
from mill import jobs
from mill.bench.history import add_history
from mill.bench.scratch import in_the_book, scratch_book
from planning.models import Warp, WarpFigures
from planning.services import working_out

# In an example mill of this size so many warps follow their cloths' revisions.
SIZE, WARPS = 8, 50
TIMES_HISTORY, ROUNDS = 10, 5


def seconds(ids: list[int]) -> float:
    """From the change to the last figure, looms and draw-down included; the median of the rounds."""
    taken: list[float] = []
    for _ in range(ROUNDS):
        # Another fingerprint: nothing may be skipped because it is as it was.
        WarpFigures.objects.filter(warp_id__in=ids).update(worked_from="")
        began = time.perf_counter()
        with transaction.atomic():
            working_out.warps_changed(ids)
        jobs.settle()
        taken.append(time.perf_counter() - began)
    return median(taken)


def work_inside() -> str:
    """The same fifty warps in the same book, before and after it carries ten times the lots and movements."""
    following = Warp.objects.follows_revisions().order_by("number").values_list("pk", flat=True)
    ids = list(following[:WARPS])
    lots, movements = YarnLot.objects.count(), Movement.objects.count()
    before = seconds(ids)
    add_history(lots=lots * (TIMES_HISTORY - 1), movements=movements * (TIMES_HISTORY - 1))
    after = seconds(ids)
    return (
        f"{len(ids)} warps: {before:.2f} s with {lots} lots and {movements} movements, {after:.2f} s with "
        f"{YarnLot.objects.count()} and {Movement.objects.count()}; ratio {after / before:.2f}"
    )


def run(write: Callable[[str], Any], *, inside: bool) -> None:
    """A larger example mill, and then the same one with a longer past."""
    if inside:
        write(work_inside())
        return
    with scratch_book(size=SIZE) as env:
        write(in_the_book(env, "recompute"))
