"""Finishing: batches of pieces sewn end to end go into a step and come out; what waits, and for how long.

A piece goes through its own revision's route. Where it stands follows from the steps that it has come out of.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Max, Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from mill.models import Mill
from mill.refusal import N_, Refusal, Word
from planning.finishing import is_at_the_perch
from planning.models import BatchPiece, FinishingBatch, Machine, OrderLine, Piece, RouteStep, Worker
from planning.services.line_states import lines_follow
from planning.services.pieces import change, enter, lock_pieces, mending_left_min
from planning.services.warps import lock_lines

OPEN = (Piece.GREY, Piece.FINISHING)

GREY_PERCH, MENDERS, FINAL_PERCH = N_("the grey perch"), N_("the menders"), N_("the final perch")
TO_STATIONS = (N_("to the grey perch"), N_("to the menders"), N_("to the final perch"))


def to_finish() -> QuerySet[Piece]:
    """Pieces between the loom and ready, with all that says where they stand: a constant number of queries."""
    return (
        Piece.objects.filter(state__in=OPEN)
        .select_related("spec__cloth", "line__order__customer", "line__colourway", "warp")
        .prefetch_related("spec__route_steps", "steps__batch", "mends")
        .order_by("woven_on", "pk")
    )


def next_step(piece: Piece) -> RouteStep | None:
    """The step of its route that it has not been through in this round; None when it has been through all.

    A step that is done at the perch or the mending table is none to be put into: its own pages know of it.
    Reads route_steps and steps through all(), so that a prefetch serves many.
    """
    taken = {step.step_position for step in piece.steps.all() if step.round == piece.round}
    for step in piece.spec.route_steps.all():
        if step.position >= piece.round_from and step.position not in taken and not is_at_the_perch(step.name):
            return step
    return None


def batch_of(piece: Piece) -> FinishingBatch | None:
    """The batch that it is in now."""
    return next((step.batch for step in piece.steps.all() if not step.is_out), None)


@dataclass(frozen=True)
class Standing:
    """Where a piece stands, in a word, and what comes next for it."""

    where: str
    batch: FinishingBatch | None = None
    step: RouteStep | None = None

    def __str__(self) -> str:
        return self.where

    @property
    def is_next(self) -> bool:
        """It waits to go there."""
        return self.where.startswith("to ")

    @property
    def called(self) -> str:
        """Where, in the language of the page."""
        if self.where.startswith("in "):
            return _("in %(step)s") % {"step": self.where.removeprefix("in ")}
        if self.is_next and self.where not in TO_STATIONS:
            return _("to %(step)s") % {"step": self.where.removeprefix("to ")}
        return _(self.where)


def standing(piece: Piece) -> Standing:
    """Where the piece is between loom and dispatch."""
    if piece.state in (Piece.READY, Piece.SENT):
        return Standing(piece.state)
    if batch := batch_of(piece):
        return Standing(f"in {batch.step}", batch=batch)
    if piece.state == Piece.GREY and piece.perched_on is None:
        return Standing("to the grey perch", step=next_step(piece))
    if mending_left_min(piece):
        return Standing("to the menders", step=next_step(piece))
    # Of some no batch is ever told: what is measured finished has been through its route all the same.
    is_through = piece.finished_length_m and piece.round == 1 and not piece.steps.all()
    step = None if is_through else next_step(piece)
    return Standing(f"to {step.name}", step=step) if step else Standing("to the final perch")


def first_waiting(station: str) -> Piece | None:
    """The most urgent piece at the perch or the mending table."""
    return next((queue.pieces[0] for queue in queues() if queue.step == station), None)


# Batches


@transaction.atomic
def put_in(
    pieces: Sequence[Piece], *, step: str, by: Any, key: str, worker: Worker | None = None, note: str = ""
) -> FinishingBatch:
    """Sew the pieces end to end, in this order, and put them into a step that is the next one for each of them."""
    if not pieces:
        raise Refusal(N_("There is no piece to put in. Choose the pieces first."), field="pieces")
    lock_lines(piece.line_id for piece in pieces if piece.line_id)
    locked = {piece.pk: piece for piece in lock_pieces(piece.pk for piece in pieces)}
    if before := FinishingBatch.objects.filter(key=key).first():
        return before
    rows = []
    for position, piece in enumerate((locked[one.pk] for one in pieces), start=1):
        if piece.state not in OPEN:
            raise Refusal(
                N_("Piece %(piece)s is %(state)s; it goes into no batch. Leave it out."),
                field="pieces",
                piece=piece,
                state=Word(piece.state),
            )
        if batch := batch_of(piece):
            raise Refusal(
                N_("Piece %(piece)s is in %(batch)s (%(step)s). Take that out first."),
                field="pieces",
                piece=piece,
                batch=batch,
                step=batch.step,
            )
        if piece.state == Piece.GREY and piece.perched_on is None:
            raise Refusal(
                N_("Piece %(piece)s has not been over the grey perch. Perch it first, or leave it out."),
                field="pieces",
                piece=piece,
            )
        if left := mending_left_min(piece):
            raise Refusal(
                N_("Piece %(piece)s has %(left)s min to mend yet. Mend it first, or leave it out."),
                field="pieces",
                piece=piece,
                left=left,
            )
        next_one = next_step(piece)
        if next_one is None or next_one.name != step:
            raise Refusal(
                N_("Piece %(piece)s goes %(comes)s next, not to %(step)s. Leave it out."),
                field="pieces",
                piece=piece,
                comes=Standing(f"to {next_one.name if next_one else FINAL_PERCH}"),
                step=step,
            )
        rows.append(BatchPiece(piece=piece, position=position, round=piece.round, step_position=next_one.position))
    number = (FinishingBatch.objects.aggregate(last=Max("number"))["last"] or 0) + 1
    batch = FinishingBatch.objects.create(
        number=number, step=step, in_at=timezone.now(), worker=worker, by=by, key=key, note=note[:200]
    )
    for row in rows:
        row.batch = batch
        change(row.piece, by=by, state=Piece.FINISHING)
        enter(row.piece, f"Into {step}, {batch}.", by=by, worker=worker)
    BatchPiece.objects.bulk_create(rows)
    lines_follow(piece.line_id for piece in locked.values() if piece.line_id)
    return batch


@transaction.atomic
def take_out(
    batch: FinishingBatch,
    *,
    by: Any,
    sizes: Mapping[int, tuple[Decimal | None, Decimal | None]] | None = None,
    worker: Worker | None = None,
) -> FinishingBatch:
    """The batch is through its step. A second tap finds it out.

    sizes    by primary key of the piece: width in cm and length in m as it came out, where somebody measured them
    """
    batch = FinishingBatch.objects.select_for_update().get(pk=batch.pk)
    if batch.out_at is not None:
        return batch
    rows = list(batch.pieces.select_related("piece").order_by("position"))
    lock_pieces(row.piece_id for row in rows)
    for row in rows:
        row.width_cm, row.length_m = (sizes or {}).get(row.piece_id, (None, None))
        row.is_out = True
        row.save(update_fields=["is_out", "width_cm", "length_m"])
        came = " x ".join(
            f"{value} {unit}" for value, unit in ((row.width_cm, "cm"), (row.length_m, "m")) if value is not None
        )
        enter(row.piece, f"Out of {batch.step}, {batch}{f': {came}' if came else ''}.", by=by, worker=worker)
    batch.out_at = timezone.now()
    batch.save(update_fields=["out_at"])
    return batch


@transaction.atomic
def undo_batch(batch: FinishingBatch, *, why: str, by: Any) -> None:
    """A batch that was never put in: its pieces stand where they stood, and their account says so."""
    batch = FinishingBatch.objects.select_for_update().get(pk=batch.pk)
    if not why.strip():
        raise Refusal(N_("Say why %(batch)s was not put in after all."), field="why", batch=batch)
    if batch.out_at is not None:
        raise Refusal(
            N_("%(batch)s has come out already. Its pieces can be finished again, but not as if it had not been."),
            batch=batch,
        )
    rows = list(batch.pieces.select_related("piece"))
    lock_lines(row.piece.line_id for row in rows if row.piece.line_id)
    for piece in lock_pieces(row.piece_id for row in rows):
        enter(piece, f"Not put into {batch.step} after all, {batch}: {why.strip()}", by=by)
        if not piece.steps.exclude(batch=batch).exists():
            change(piece, by=by, state=Piece.GREY)
    lines = [row.piece.line_id for row in rows if row.piece.line_id]
    batch.delete()
    lines_follow(lines)


# What waits


@dataclass(frozen=True)
class Queue:
    """Pieces that wait for one step, the most urgent first.

    days    of work for the machines that do it; None where the mill has named none
    """

    step: str
    pieces: tuple[Piece, ...]
    length_m: Decimal
    m_per_day: Decimal
    days: Decimal | None

    @property
    def called(self) -> str:
        """To where, in the language of the page."""
        return Standing(f"to {self.step}").called


@dataclass(frozen=True)
class MendingRow:
    piece: Piece
    left_min: int
    from_now_min: int
    on_day: int


def due_on(piece: Piece) -> date:
    return piece.line.due_on if piece.line else date.max


def queues(pieces: Sequence[Piece] | None = None) -> list[Queue]:
    """What waits, by step."""
    waiting: dict[str, list[Piece]] = defaultdict(list)
    for piece in to_finish() if pieces is None else pieces:
        at = standing(piece)
        if at.batch is None and at.where.startswith("to "):
            waiting[at.where.removeprefix("to ")].append(piece)
    capacity: dict[str, Decimal] = defaultdict(Decimal)
    for machine in Machine.objects.all():
        capacity[machine.step] += machine.m_per_day
    found = []
    for step, rows in waiting.items():
        length_m = sum((piece.grey_length_m for piece in rows), start=Decimal(0))
        m_per_day = capacity[step]
        days = (length_m / m_per_day).quantize(Decimal("0.1")) if m_per_day else None
        ordered = tuple(sorted(rows, key=lambda piece: (due_on(piece), piece.pk)))
        found.append(Queue(step, ordered, length_m, m_per_day, days))
    order = {name: n for n, name in enumerate((GREY_PERCH, MENDERS))}
    return sorted(found, key=lambda queue: (order.get(queue.step, 2), queue.step == FINAL_PERCH, queue.step))


def mending_queue(pieces: Sequence[Piece] | None = None) -> list[MendingRow]:
    """What the menders have before them, the earliest due first, and on which working day each comes off."""
    per_day = Mill.the_one().mending_min_per_day
    rows, total = [], 0
    waiting = [
        piece for piece in (to_finish() if pieces is None else pieces) if standing(piece).where == "to the menders"
    ]
    for piece in sorted(waiting, key=lambda one: (due_on(one), one.pk)):
        left = mending_left_min(piece)
        total += left
        rows.append(MendingRow(piece, left, total, -(-total // per_day)))
    return rows


def open_batches() -> QuerySet[FinishingBatch]:
    return (
        FinishingBatch.objects.filter(out_at__isnull=True)
        .prefetch_related("pieces__piece__line__order")
        .order_by("in_at")
    )


def hours_in(batch: FinishingBatch, *, until: datetime) -> int:
    return int(((batch.out_at or until) - batch.in_at).total_seconds() // 3600)


def late_pieces(pieces: Sequence[Piece], *, on: date) -> list[Piece]:
    """Open pieces whose line is due and not ready."""
    return [piece for piece in pieces if piece.line and piece.line.due_on <= on]


def lines_in_finishing() -> QuerySet[OrderLine]:
    return OrderLine.objects.filter(Q(state=OrderLine.GREY) | Q(state=OrderLine.FINISHING))
