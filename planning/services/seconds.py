"""Pieces that were passed or found seconds, read for the room `seconds`."""

from collections import defaultdict
from typing import Any

from planning.models import Piece, PieceFault
from planning.period import Period
from planning.piece import Fault
from planning.seconds import Judged


def judged(period: Period) -> list[Judged]:
    """Every piece finished within the period and judged since, with the faults of the seconds; two questions.

    The day is that of the last measuring, which the verdict follows.
    """
    pieces: Any = (
        Piece.objects.filter(
            verdict__in=[Piece.PASS, Piece.SECOND],
            finished_on__range=(period.first, period.last),
            finished_length_m__isnull=False,
        )
        .order_by("finished_on", "number")
        .values_list(
            "pk", "number", "spec__cloth__code", "spec__cloth__name", "finished_on", "finished_length_m", "verdict"
        )
    )
    faults: dict[int, list[Fault]] = defaultdict(list)
    for piece, at_m, length_mm, is_hole, name in (
        PieceFault.objects.filter(piece__verdict=Piece.SECOND, piece__finished_on__range=(period.first, period.last))
        .order_by("piece", "at_m", "pk")
        .values_list("piece", "at_m", "length_mm", "is_hole", "name")
    ):
        faults[piece].append(Fault(at_m, length_mm, is_hole, name))
    return [
        Judged(number, f"{code} {name}", finished_on, length_m, verdict == Piece.SECOND, tuple(faults[pk]))
        for pk, number, code, name, finished_on, length_m, verdict in pieces
        if finished_on is not None
    ]
