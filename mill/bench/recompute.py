"""How long it takes from a revision that touches fifty open warps to new figures and a new draw-down."""

import time
from collections.abc import Callable
from statistics import median
from typing import Any

from django.db import transaction

from mill import jobs
from mill.bench.scratch import in_the_book, scratch_book
from planning.models import Warp, WarpFigures
from planning.services import working_out

WARPS, ROUNDS = 50, 5


def work_inside() -> str:
    """Seconds, median of the rounds, for the fifty open warps first by number, looms and draw-down included."""
    following = Warp.objects.follows_revisions().order_by("number").values_list("pk", flat=True)
    ids = list(following[:WARPS])
    taken: list[float] = []
    for _ in range(ROUNDS):
        # Another fingerprint: nothing may be skipped because it is as it was.
        WarpFigures.objects.filter(warp_id__in=ids).update(worked_from="")
        began = time.perf_counter()
        with transaction.atomic():
            working_out.warps_changed(ids)
        jobs.settle()
        taken.append(time.perf_counter() - began)
    return f"{len(ids)} {median(taken):.4f}"


def run(write: Callable[[str], Any], *, inside: bool) -> None:
    """The same work in a book with ten times the lots, movements, orders and pieces."""
    if inside:
        write(work_inside())
        return
    seconds: dict[int, float] = {}
    for size in (1, 10):
        with scratch_book(size=size) as env:
            warps, taken = in_the_book(env, "recompute").split()
        seconds[size] = float(taken) * WARPS / int(warps)
        write(f"size {size:2}: {warps} warps touched; {float(taken):.2f} s, {seconds[size]:.2f} s for {WARPS}")
    write(f"ratio {seconds[10] / seconds[1]:.2f}")
