"""A warp walked to where a test wants it, by the verbs of the shed alone."""

from decimal import Decimal
from itertools import count
from typing import Any

from django.db import transaction

from inventory import services as store
from mill import jobs
from planning.models import Loom, Piece, Warp, Worker
from planning.services import pieces, warp_steps, warp_yarn, working_out
from tests.make import make_beam, make_line, make_loom, make_spec, make_warp

_numbers = count(1)


def make_worker(**changes: Any) -> Worker:
    n = next(_numbers)
    return Worker.objects.create(**{"code": f"P{n}", "name": f"Person {n}", "trade": "weaver"} | changes)


def wound_warp(by: Any, *, loom: Loom | None = None, lots: dict[str, str] | None = None, **changes: Any) -> Warp:
    """Wound, all yarn drawn, its loom pinned; lots named after their yarn."""
    loom = loom or make_loom()
    spec = changes.pop("spec", None) or make_spec()
    lines = changes.pop("lines", None) or [make_line(spec=spec)]
    warp = make_warp(spec=spec, lines=lines, beam=make_beam(), pin_loom=loom, **changes)
    with transaction.atomic():
        working_out.warps_changed([warp.pk])
    jobs.settle()
    for need in warp.yarns.select_related("yarn"):
        n = next(_numbers)
        store.receive(yarn=need.yarn, grams=need.issue_g + 5000, label=f"{need.yarn.code}-{n}", dye_lot=f"d{n}", by=by)
    warp_yarn.hold_yarn(warp, by=by)
    warp_steps.draw_yarn(warp, by=by)
    warp_steps.draw_weft(warp, by=by)
    warp_steps.wind(warp, by=by)
    jobs.settle()
    warp.refresh_from_db()
    return warp


def weaving_warp(by: Any, **changes: Any) -> Warp:
    warp = wound_warp(by, **changes)
    assert warp.pin_loom is not None
    warp_steps.gait(warp, loom=warp.pin_loom, by=by)
    warp_steps.begin_weaving(warp, by=by)
    jobs.settle()
    warp.refresh_from_db()
    return warp


def cut(warp: Warp, by: Any, *, length_m: str = "64.00", **changes: Any) -> Piece:
    return pieces.cut_piece(warp, length_m=Decimal(length_m), by=by, **changes)


def finished(piece: Piece, by: Any, *, length_m: str = "60.00", width_cm: str = "150.0", mass_g: int = 25_000) -> Piece:
    """Over the perch, through no batch, measured and passed."""
    pieces.perch_grey(piece, length_m=piece.grey_length_m, width_cm=piece.grey_width_cm, mending_min=0, by=by)
    pieces.measure(piece, length_m=Decimal(length_m), width_cm=Decimal(width_cm), mass_g=mass_g, by=by)
    return pieces.judge(piece, verdict=Piece.PASS, by=by)
