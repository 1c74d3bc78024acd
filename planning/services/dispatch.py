"""Dispatch: ready pieces leave for a customer, on a numbered note; what is short and what is over is said."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from mill.refusal import N_, Refusal, Word
from planning.models import Customer, Dispatch, DispatchPiece, OrderLine, Piece
from planning.piece import Delivery, Grade, against_order
from planning.services.line_states import lines_follow
from planning.services.pieces import as_woven, change, enter, grade_of, limit_of, lock_pieces, not_sent
from planning.services.warps import lock_lines


def ready_for(customer: Customer) -> list[Piece]:
    """Pieces of the customer's lines that can leave."""
    return list(
        Piece.objects.filter(state=Piece.READY, line__order__customer=customer)
        .select_related("line__order", "line__colourway", "spec__cloth")
        .order_by("line__due_on", *as_woven())
    )


@dataclass(frozen=True)
class PieceGoing:
    """A piece on a dispatch; its grade is None where its points were not counted."""

    row: DispatchPiece
    grade: Grade | None


@dataclass(frozen=True)
class LineGoing:
    """A line on a dispatch: the pieces that go now, and what was sent of it in all; more is to come unless is_last."""

    line: OrderLine
    pieces: tuple[PieceGoing, ...]
    delivery: Delivery
    is_last: bool


@transaction.atomic
def send(customer: Customer, pieces: Sequence[Piece], *, sent_on: date, by: Any, key: str, note: str = "") -> Dispatch:
    """The pieces leave together. The same key sends once.

    Raises Refusal for a piece that is not ready, not measured, or not this customer's.
    """
    if not pieces:
        raise Refusal(N_("There is nothing to send. Choose the pieces first."), field="pieces")
    lock_lines(piece.line_id for piece in pieces if piece.line_id)
    locked = lock_pieces(piece.pk for piece in pieces)
    if before := Dispatch.objects.filter(key=key).first():
        return before
    if sent_on > timezone.localdate():
        raise Refusal(
            N_("Nothing is sent on %(on)s yet: today is %(today)s."),
            field="sent_on",
            on=f"{sent_on:%d.%m.%Y}",
            today=f"{timezone.localdate():%d.%m.%Y}",
        )
    for piece in locked:
        not_sent(piece, Piece.SENT)
        if piece.line is None or piece.line.order.customer_id != customer.pk:
            raise Refusal(
                N_("Piece %(piece)s is for %(whose)s, not %(customer)s. Leave it out."),
                field="pieces",
                piece=piece,
                whose=piece.line.order.customer if piece.line else Word(N_("no customer")),
                customer=customer,
            )
        if piece.state != Piece.READY or not piece.finished_length_m or not piece.finished_width_cm:
            raise Refusal(
                N_("Piece %(piece)s is %(state)s; only what has passed is sent. Leave it out."),
                field="pieces",
                piece=piece,
                state=Word(piece.state),
            )
    number = (Dispatch.objects.aggregate(last=Max("number"))["last"] or 0) + 1
    dispatch = Dispatch.objects.create(
        number=number,
        customer=customer,
        sent_on=sent_on,
        by=by,
        key=key,
        note=note.strip()[:200],
        points_limit_per_100_yd2=limit_of(customer).per_100_yd2,
    )
    for piece in locked:
        assert piece.finished_length_m is not None
        assert piece.finished_width_cm is not None
        DispatchPiece.objects.create(
            dispatch=dispatch,
            piece=piece,
            line_id=piece.line_id or 0,
            length_m=piece.finished_length_m,
            width_cm=piece.finished_width_cm,
            mass_g=piece.mass_g,
        )
        change(piece, by=by, state=Piece.SENT)
        enter(piece, f"Sent to {customer}, {dispatch}.", by=by)
    lines_follow(piece.line_id for piece in locked if piece.line_id)
    return dispatch


@transaction.atomic
def take_back(dispatch: Dispatch, *, why: str, by: Any) -> Dispatch:
    """What was not sent after all is ready again; the note stays in the book and says so."""
    if not why.strip():
        raise Refusal(N_("Say why %(dispatch)s is taken back."), field="why", dispatch=dispatch)
    rows = list(dispatch.pieces.all())
    lock_lines(row.line_id for row in rows)
    pieces = lock_pieces(row.piece_id for row in rows)
    dispatch = Dispatch.objects.select_for_update().get(pk=dispatch.pk)
    if dispatch.taken_back_at is not None:
        return dispatch
    dispatch.taken_back_at, dispatch.taken_back_why = timezone.now(), why.strip()[:200]
    dispatch.save(update_fields=["taken_back_at", "taken_back_why"])
    for piece in pieces:
        change(piece, by=by, state=Piece.READY)
        enter(piece, f"{dispatch} is taken back: {why.strip()}", by=by)
    lines_follow(row.line_id for row in rows)
    return dispatch


def _grade_on(dispatch: Dispatch, piece: Piece) -> Grade | None:
    """As it was when it left: the limit may have been agreed anew since."""
    limit = dispatch.points_limit_per_100_yd2
    return grade_of(piece, limit_per_100_yd2=limit) if limit is not None else None


def lines_on(dispatch: Dispatch) -> list[LineGoing]:
    """The lines of a note with their pieces; each against what was ordered, with what had been sent before."""
    rows = list(
        dispatch.pieces.select_related(
            "piece__spec__cloth", "line__order__customer", "line__colourway", "line__cloth"
        ).order_by("line", *as_woven("piece__"))
    )
    found = []
    for line in {row.line_id: row.line for row in rows}.values():
        sent = DispatchPiece.objects.filter(
            line=line, dispatch__taken_back_at__isnull=True, dispatch__number__lte=dispatch.number
        )
        lengths = [row.length_m for row in sent]
        goes_on = DispatchPiece.objects.filter(
            line=line, dispatch__taken_back_at__isnull=True, dispatch__number__gt=dispatch.number
        ).exists()
        delivery = against_order(lengths, ordered_m=line.pieces * line.length_m, tolerance_pct=line.tolerance_pct)
        going = tuple(PieceGoing(row, _grade_on(dispatch, row.piece)) for row in rows if row.line_id == line.pk)
        found.append(LineGoing(line, going, delivery, line.state == OrderLine.SENT and not goes_on))
    return found
