"""Pieces: cut off the loom, perched, mended, measured, judged, put to an order line. `finishing.py` has the batches.

Locks are taken lines first, then warps, then pieces; each kind by primary key.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from django.db import transaction
from django.db.models import Max, Sum
from django.utils import timezone
from django.utils.translation import gettext as _

from mill import changes
from mill.models import Mill
from mill.refusal import N_, Refusal, Word
from mill.working import Step
from planning.finishing import route_shrink_pct
from planning.models import (
    JUDGED_NO_MORE,
    Customer,
    DispatchPiece,
    FloorEvent,
    OrderLine,
    Piece,
    PieceEntry,
    PieceFault,
    PieceMend,
    Warp,
    WarpPart,
    Worker,
)
from planning.piece import (
    Comparison,
    Delivery,
    Fault,
    Grade,
    Measured,
    Planned,
    against_order,
    beyond,
    compare,
    grade_points,
    grade_working,
    limit_per_100_m2,
    mass_g_per_m2,
    piece_points,
)
from planning.piece import working as piece_working
from planning.services import retiming
from planning.services.line_states import lines_follow
from planning.services.warps import lock_lines, lock_warps, write_columns
from planning.ticket import Figures, from_json, work_out_cloth

# Locking and the account


def lock_pieces(piece_ids: Iterable[int]) -> list[Piece]:
    """The pieces, locked, by primary key; their lines must have been locked before where those follow."""
    return list(
        Piece.objects.select_for_update(of=("self",))
        .select_related("spec__cloth", "line__order__customer", "warp")
        .filter(pk__in=set(piece_ids))
        .order_by("pk")
    )


def lock_piece(piece: Piece, *, lines: Iterable[int] = ()) -> Piece:
    """The piece as it is now, locked with its line and with these."""
    lock_lines({*lines, *([piece.line_id] if piece.line_id else [])})
    return lock_pieces([piece.pk])[0]


def enter(piece: Piece, said: str, *, by: Any, worker: Worker | None = None, key: str = "") -> PieceEntry:
    """A line of the piece's account."""
    return PieceEntry.objects.create(piece=piece, said=said[:300], by=by, worker=worker, key=key or None)


def entered_before(key: str) -> Piece | None:
    """The piece that this key was spent on already."""
    entry = PieceEntry.objects.select_related("piece").filter(key=key).first() if key else None
    return entry.piece if entry else None


def change(piece: Piece, *, by: Any, **columns: Any) -> Piece:
    for name, value in columns.items():
        setattr(piece, name, value)
    changes.written_by(piece, by)
    piece.save(update_fields=sorted(columns))
    return piece


def not_sent(piece: Piece, what: str) -> None:
    if piece.state == Piece.SENT:
        raise Refusal(
            N_("Piece %(piece)s was sent; it can't be %(what)s any more. Take the dispatch back first."),
            piece=piece,
            what=Word(what),
        )


def as_woven(piece: str = "") -> tuple[str, ...]:
    """Pieces in the order in which they came off, for order_by(): 118-9 before 118-10, 99-1 before both.

    piece    the way to the piece, where others are ordered by theirs
    """
    return tuple(f"{piece}{name}" for name in ("warp__number", "cut", "number"))


# Off the loom


def part_of_cut(warp: Warp, cut: int) -> WarpPart | None:
    """Whose the nth piece of the warp is, by the order of weaving; None beyond what is on it."""
    left = cut
    for part in warp.parts.select_related("line__order", "spec__cloth").order_by("position"):
        if left <= part.pieces:
            return part
        left -= part.pieces
    return None


def figures_of(warp: Warp) -> Figures:
    """As it was worked out last; a warp on a beam always has been."""
    assert warp.worked.figures is not None
    return from_json(warp.worked.figures)


def picks_of(length_m: Decimal, picks_per_cm: Decimal) -> int:
    """Picks in a length off the loom, to the nearest."""
    return int((length_m * 100 * picks_per_cm).to_integral_value(ROUND_HALF_UP))


@transaction.atomic
def cut_piece(
    warp: Warp,
    *,
    length_m: Decimal,
    by: Any,
    width_cm: Decimal | None = None,
    worker: Worker | None = None,
    on: date | None = None,
    key: str = "",
    note: str = "",
) -> Piece:
    """The next piece off the loom, numbered from its warp and put to the line whose turn it is.

    A piece beyond those on the warp belongs to no line until it is put to one. The same key cuts once.
    """
    (warp,) = lock_warps(warp.pk)
    if before := entered_before(key):
        return before
    if warp.state == Warp.WOVEN_OUT:
        raise Refusal(
            N_("%(warp)s is woven out; no piece is cut off it any more. Take back that it is out, then cut the piece."),
            warp=warp,
        )
    if warp.state != Warp.WEAVING:
        raise Refusal(
            N_("%(warp)s is %(state)s; a piece is cut off a warp that is weaving. Start it first."),
            warp=warp,
            state=Word(warp.state),
        )
    if length_m <= 0:
        raise Refusal(N_("A piece of %(length)s m can't be: write more than 0."), field="length_m", length=length_m)
    on = on or timezone.localdate()
    if on > timezone.localdate():
        raise Refusal(N_("The piece can't be cut on %(on)s, which is after today."), field="on", on=f"{on:%d.%m.%Y}")
    cut = (warp.woven_pieces.aggregate(last=Max("cut"))["last"] or 0) + 1
    part = part_of_cut(warp, cut)
    last = part or warp.parts.select_related("spec__cloth").order_by("-position").first()
    assert last is not None, "a warp that weaves has parts"
    figures = figures_of(warp)
    piece = Piece(
        number=f"{warp.number}-{cut}",
        spec=last.spec,
        warp=warp,
        line=part.line if part else None,
        woven_on=on,
        woven_by=worker,
        cut=cut,
        grey_length_m=length_m,
        grey_width_cm=width_cm or figures.cloth.grey_width_cm,
        picks=picks_of(length_m, last.spec.loom_picks_per_cm),
        note=note[:200],
    )
    _is_on_the_warp(piece, field="length_m")
    changes.written_by(piece, by)
    piece.save(force_insert=True)
    where = f"for {part.line}" if part else "beyond what is on the warp, for no line yet"
    enter(piece, f"Cut off {warp}, {length_m} m, {where}.", by=by, worker=worker, key=key)
    reckon_picks(warp, by=by)
    if part:
        lines_follow([part.line_id])
    return piece


def _is_on_the_warp(piece: Piece, *, field: str) -> None:
    """Refuses a length that its warp can't have had beside the other pieces: a point left out makes 605 m of 60.5."""
    warp = piece.warp
    if warp is None or getattr(warp, "worked", None) is None or not warp.worked.picks:
        return
    others = warp.woven_pieces.exclude(pk=piece.pk).aggregate(picks=Sum("picks"))["picks"] or 0
    # Thrums woven too, and a counter that runs ahead, come to less than half as much again. No source.
    if others + (piece.picks or 0) > warp.worked.picks * 3 // 2:
        raise Refusal(
            N_(
                "%(length)s m are %(picks)s picks; with the other pieces that is more than %(warp)s has, %(in_all)s."
                " Read the length again."
            ),
            field=field,
            length=piece.grey_length_m,
            picks=piece.picks,
            warp=warp,
            in_all=warp.worked.picks,
        )


def picks_told(warp: Warp) -> int:
    """Picks of the warp's pieces, or more where the loom's counter, as it was read last, says so."""
    cut = warp.woven_pieces.aggregate(picks=Sum("picks"))["picks"] or 0
    readings = warp.events.filter(kind=FloorEvent.PICKS, refused="", undone_by__isnull=True)
    last = readings.order_by("happened_at", "pk").last()
    return max(cut, int(last.facts["picks"]) if last else 0)


def reckon_picks(warp: Warp, *, by: Any) -> None:
    """Write down the picks that were told; a warp that is woven out keeps all of its."""
    if warp.state == Warp.WOVEN_OUT:
        return
    write_columns(warp, by=by, picks_woven=picks_told(warp))
    retiming.ask()


@transaction.atomic
def take_back_cut(piece: Piece, *, why: str, by: Any, worker: Worker | None = None) -> None:
    """A piece that was never cut is struck out: only the last of its warp, and while nothing has been done with it."""
    assert piece.warp_id is not None
    (warp,) = lock_warps(piece.warp_id)
    piece = lock_piece(piece)
    later = warp.woven_pieces.filter(cut__gt=piece.cut or 0).order_by("cut").first()
    if later:
        raise Refusal(
            N_("Piece %(later)s was cut after %(piece)s. Take that back first, or correct the length of %(piece)s."),
            later=later,
            piece=piece,
        )
    if piece.state != Piece.GREY or piece.perched_on or piece.steps.exists() or piece.mends.exists():
        raise Refusal(
            N_("Piece %(piece)s has been perched or finished already. Correct its figures instead."), piece=piece
        )
    line_id = piece.line_id
    PieceEntry.objects.filter(piece=piece).delete()
    changes.written_by(piece, by, why=why)
    piece.delete()
    reckon_picks(warp, by=by)
    if line_id:
        lines_follow([line_id])


@transaction.atomic
def correct_length(piece: Piece, *, grey_length_m: Decimal, why: str, by: Any, worker: Worker | None = None) -> Piece:
    """Another length off the loom than was written; both stay in the account."""
    if piece.warp_id:
        lock_warps(piece.warp_id)
    piece = lock_piece(piece)
    not_sent(piece, N_("corrected"))
    if not why.strip():
        raise Refusal(
            N_("Say why the length of %(piece)s is corrected: others have worked by it."), field="why", piece=piece
        )
    if grey_length_m <= 0:
        raise Refusal(
            N_("A piece of %(length)s m can't be: write more than 0."), field="grey_length_m", length=grey_length_m
        )
    was = piece.grey_length_m
    piece.grey_length_m = grey_length_m
    piece.picks = picks_of(grey_length_m, piece.spec.loom_picks_per_cm)
    _is_on_the_warp(piece, field="grey_length_m")
    change(piece, by=by, grey_length_m=grey_length_m, picks=piece.picks)
    enter(piece, f"Grey length corrected from {was} m to {grey_length_m} m: {why.strip()}", by=by, worker=worker)
    if piece.warp:
        reckon_picks(piece.warp, by=by)
    return piece


# Grey perch and mending


def _above_nought(*, length_m: Decimal, width_cm: Decimal) -> None:
    for name, value, unit in (("length_m", length_m, "m"), ("width_cm", width_cm, "cm")):
        if value <= 0:
            raise Refusal(
                N_("The piece can't measure %(value)s %(unit)s: write more than 0."), field=name, value=value, unit=unit
            )


@transaction.atomic
def perch_grey(
    piece: Piece,
    *,
    length_m: Decimal,
    width_cm: Decimal,
    mending_min: int,
    by: Any,
    worker: Worker | None = None,
    note: str = "",
) -> Piece:
    """Measured relaxed at the grey perch, and so many minutes asked of the menders. Done again it counts anew."""
    piece = lock_piece(piece)
    if piece.state != Piece.GREY:
        raise Refusal(
            N_("Piece %(piece)s is %(state)s; the grey perch comes before finishing."),
            piece=piece,
            state=Word(piece.state),
        )
    _above_nought(length_m=length_m, width_cm=width_cm)
    change(
        piece,
        by=by,
        grey_length_m=length_m,
        grey_width_cm=width_cm,
        mending_min=mending_min,
        perched_on=timezone.localdate(),
        note=note.strip()[:200] or piece.note,
    )
    asked = f"{mending_min} min to mend" if mending_min else "nothing to mend"
    enter(piece, f"Grey perch: {length_m} m x {width_cm} cm relaxed, {asked}.", by=by, worker=worker)
    return piece


def mended_min(piece: Piece) -> int:
    """Reads mends through all(), so that a prefetch serves many."""
    return sum(mend.minutes for mend in piece.mends.all())


def mending_left_min(piece: Piece) -> int:
    return max(0, piece.mending_min - mended_min(piece))


@transaction.atomic
def mend(
    piece: Piece, *, minutes: int, by: Any, key: str, worker: Worker | None = None, is_mended: bool = False
) -> Piece:
    """Minutes that a mender spent; with `is_mended` nothing is left. The same key counts once."""
    piece = lock_piece(piece)
    if PieceMend.objects.filter(key=key).exists():
        return piece
    not_sent(piece, N_("mended"))
    if minutes < 1:
        raise Refusal(N_("%(minutes)s minutes of mending can't be: write 1 or more."), field="minutes", minutes=minutes)
    PieceMend.objects.create(piece=piece, minutes=minutes, on=timezone.localdate(), worker=worker, key=key)
    if is_mended or mended_min(piece) > piece.mending_min:
        change(piece, by=by, mending_min=mended_min(piece))
    enter(piece, f"Mended {minutes} min, {mending_left_min(piece)} min left.", by=by, worker=worker)
    return piece


# Measured, graded, judged


def faults_of(piece: Piece) -> list[Fault]:
    return [Fault(row.at_m, row.length_mm, row.is_hole, row.name) for row in piece.faults.all()]


@transaction.atomic
def write_faults(piece: Piece, faults: Sequence[Fault], *, by: Any, worker: Worker | None = None) -> Piece:
    """All faults of the piece as the percher found them, in place of those written before; its points follow."""
    piece = lock_piece(piece)
    not_sent(piece, N_("graded"))
    length_m = piece.finished_length_m or piece.grey_length_m
    for fault in faults:
        if fault.at_m > length_m:
            raise beyond(fault, length_m=length_m, field="faults")
    was = _grade_now(piece)
    piece.faults.all().delete()
    PieceFault.objects.bulk_create(
        PieceFault(piece=piece, at_m=f.at_m, length_mm=f.length_mm, is_hole=f.is_hole, name=f.name[:60]) for f in faults
    )
    points = piece_points(faults)
    change(piece, by=by, points=points)
    enter(piece, f"{len(faults)} faults, {points} points.", by=by, worker=worker)
    _passes_still(piece, was, by=by, worker=worker)
    if piece.line_id:
        lines_follow([piece.line_id])
    return piece


@transaction.atomic
def measure(
    piece: Piece,
    *,
    length_m: Decimal,
    width_cm: Decimal,
    mass_g: int | None,
    by: Any,
    worker: Worker | None = None,
    on: date | None = None,
) -> Piece:
    """Measured finished and relaxed, and weighed."""
    piece = lock_piece(piece)
    not_sent(piece, N_("measured"))
    _above_nought(length_m=length_m, width_cm=width_cm)
    in_batch = piece.steps.filter(is_out=False).select_related("batch").first()
    if in_batch:
        raise Refusal(
            N_("Piece %(piece)s is still in %(batch)s. Take the batch out first."), piece=piece, batch=in_batch.batch
        )
    was = _grade_now(piece)
    change(
        piece,
        by=by,
        finished_length_m=length_m,
        finished_width_cm=width_cm,
        mass_g=mass_g,
        finished_on=on or timezone.localdate(),
        state=Piece.FINISHING if piece.state == Piece.GREY else piece.state,
    )
    weighed = f", {mass_g} g" if mass_g else ", not weighed"
    enter(piece, f"Measured {length_m} m x {width_cm} cm relaxed{weighed}.", by=by, worker=worker)
    _passes_still(piece, was, by=by, worker=worker)
    if piece.line_id:
        lines_follow([piece.line_id])
    return piece


@transaction.atomic
def judge(
    piece: Piece,
    *,
    verdict: str,
    by: Any,
    worker: Worker | None = None,
    why: str = "",
    mending_min: int = 0,
    from_step: int = 1,
) -> Piece:
    """The final perch's word: pass, a second, mend again, or finish again from a step of the route.

    A second leaves its order line: whoever sells it puts it to one again. A piece with more points than its customer
    takes passes only with a reason.
    """
    piece = lock_piece(piece)
    not_sent(piece, N_("judged"))
    line_id = piece.line_id
    if not piece.finished_length_m or not piece.finished_width_cm:
        raise Refusal(
            N_("Piece %(piece)s has not been measured finished. Measure it relaxed, then judge it."), piece=piece
        )
    if piece.steps.filter(is_out=False).exists():
        raise Refusal(N_("Piece %(piece)s is in a finishing batch. Take it out first."), piece=piece)
    if verdict != Piece.PASS and not why.strip():
        raise Refusal(N_("Say why piece %(piece)s does not pass."), field="why", piece=piece)
    if verdict in (Piece.PASS, Piece.SECOND):
        left = mending_left_min(piece)
        if left:
            raise Refusal(
                N_("Piece %(piece)s has %(left)s min to mend yet. Mend it, or write that it is mended."),
                piece=piece,
                left=left,
            )
        if verdict == Piece.PASS and not why.strip():
            _within_limit(piece)
        change(piece, by=by, verdict=verdict, state=Piece.READY, line_id=line_id if verdict == Piece.PASS else None)
    elif verdict == Piece.MEND_AGAIN:
        if mending_min < 1:
            raise Refusal(N_("Say how many minutes of mending it takes: 1 or more."), field="mending_min")
        change(piece, by=by, verdict=verdict, state=Piece.FINISHING, mending_min=mended_min(piece) + mending_min)
    elif verdict == Piece.RE_FINISH:
        if not piece.spec.route_steps.filter(position__gte=from_step).exists():
            raise Refusal(
                N_("The route of %(spec)s has no step %(step)s. Choose one that it has."),
                field="from_step",
                spec=piece.spec,
                step=from_step,
            )
        change(piece, by=by, verdict=verdict, state=Piece.FINISHING, round=piece.round + 1, round_from=from_step)
    else:
        raise Refusal(
            N_("%(verdict)s is no verdict. Say pass, second, mend again or re-finish."),
            field="verdict",
            verdict=repr(verdict),
        )
    said = {Piece.RE_FINISH: f" from step {from_step}", Piece.MEND_AGAIN: f", {mending_min} min"}.get(verdict, "")
    enter(piece, f"Judged: {verdict}{said}. {why}".strip(), by=by, worker=worker)
    if line_id:
        lines_follow([line_id])
    return piece


@transaction.atomic
def final_perch(
    piece: Piece,
    *,
    length_m: Decimal,
    width_cm: Decimal,
    mass_g: int | None,
    faults: Sequence[Fault],
    verdict: str,
    by: Any,
    worker: Worker | None = None,
    why: str = "",
) -> Piece:
    """Measured, graded and judged in one go, as the percher has it before them; all of it or nothing."""
    measure(piece, length_m=length_m, width_cm=width_cm, mass_g=mass_g, by=by, worker=worker)
    write_faults(piece, faults, by=by, worker=worker)
    return judge(piece, verdict=verdict, why=why, by=by, worker=worker)


# Order lines


@transaction.atomic
def allocate(piece: Piece, line: OrderLine | None, *, by: Any, why: str = "") -> Piece:
    """Put the piece to an order line of its cloth and colourway, or with None to none."""
    piece = lock_piece(piece, lines=[line.pk] if line else [])
    not_sent(piece, N_("put to another line"))
    was, was_graded = piece.line, _grade_now(piece)
    if (line.pk if line else None) == piece.line_id:
        return piece
    if line is not None:
        if line.cloth_id != piece.spec.cloth_id:
            raise Refusal(
                N_("Line %(line)s asks for %(asked)s; piece %(piece)s is %(cloth)s. Choose another line."),
                field="line",
                line=line,
                asked=line.cloth.code,
                piece=piece,
                cloth=piece.spec.cloth.code,
            )
        colourway = colourway_of(piece)
        if colourway is not None and colourway.pk != line.colourway_id:
            raise Refusal(
                N_("Line %(line)s asks for %(asked)s; piece %(piece)s was woven in %(woven)s. Choose another line."),
                field="line",
                line=line,
                asked=line.colourway,
                piece=piece,
                woven=colourway,
            )
        if line.state in (OrderLine.CALLED_OFF, OrderLine.SENT):
            raise Refusal(
                N_("Line %(line)s is %(state)s. Choose a line that is open."),
                field="line",
                line=line,
                state=Word(line.state),
            )
    change(piece, by=by, line=line)
    enter(piece, f"Put to {line or 'no line'} instead of {was or 'none'}. {why}".strip(), by=by)
    _passes_still(piece, was_graded, by=by)
    lines_follow([row.pk for row in (was, line) if row])
    return piece


def colourway_of(piece: Piece) -> Any:
    """In which colourway it was woven: of its warp's line at its cut, else of its line."""
    part = part_of_cut(piece.warp, piece.cut) if piece.warp and piece.cut else None
    if part is not None:
        return part.line.colourway
    if piece.warp:
        last = piece.warp.parts.select_related("line__colourway").order_by("-position").first()
        return last.line.colourway if last else None
    return piece.line.colourway if piece.line else None


def lines_for(piece: Piece) -> list[OrderLine]:
    """Open lines that the piece could go to, earliest due first."""
    rows = OrderLine.objects.open().filter(cloth=piece.spec.cloth_id).select_related("order__customer", "colourway")
    colourway = colourway_of(piece)
    return list(rows.filter(colourway=colourway) if colourway else rows)


def delivery_of(line: OrderLine) -> Delivery:
    """What is there of the line, sent or not, against what was ordered: finished length, else what is expected."""
    lengths = [
        row.finished_length_m if row.finished_length_m is not None else expected_length_m(row)
        for row in line.woven_pieces.select_related("spec").prefetch_related("spec__route_steps")
    ]
    return against_order(lengths, ordered_m=line.pieces * line.length_m, tolerance_pct=line.tolerance_pct)


def is_woven(line: OrderLine) -> bool:
    """Nothing of it is still to come off a loom; before that, what is there is not short of anything."""
    return line.state not in (OrderLine.ENTERED, OrderLine.ON_A_WARP, OrderLine.IN_LOOM)


def expected_length_m(piece: Piece) -> Decimal:
    """Finished metres that the route leaves of the grey piece."""
    shrink_pct = route_shrink_pct(step.length_shrink_pct for step in piece.spec.route_steps.all())
    return (piece.grey_length_m * (1 - shrink_pct / 100)).quantize(Decimal("0.01"), ROUND_HALF_UP)


# Points against the limit


@dataclass(frozen=True)
class Limit:
    """So many points of four-point grading a piece may have, and who says so."""

    per_100_yd2: Decimal
    agreed_with: Customer | None = None

    @property
    def said_by(self) -> str:
        """In the language of the page."""
        if self.agreed_with is None:
            return _("the mill’s own limit")
        return _("agreed with %(customer)s") % {"customer": self.agreed_with}


def limit_of(customer: Customer | None, *, mill: Mill | None = None) -> Limit:
    """What is agreed with the customer, else the mill's own. ASTM D5430 leaves the limit to the parties.

    mill    read once by whoever asks for many
    """
    if customer is not None and customer.points_limit_per_100_yd2 is not None:
        return Limit(customer.points_limit_per_100_yd2, customer)
    return Limit((mill or Mill.the_one()).points_limit_per_100_yd2)


def limit_for(piece: Piece, *, mill: Mill | None = None) -> Limit:
    """The limit of whoever the piece is for."""
    return limit_of(piece.line.order.customer if piece.line else None, mill=mill)


def grade_of(piece: Piece, *, limit_per_100_yd2: Decimal) -> Grade | None:
    """The piece graded; None until it is measured finished and its points are counted."""
    if piece.points is None or not piece.finished_length_m or not piece.finished_width_cm:
        return None
    return grade_points(
        piece.points,
        length_m=piece.finished_length_m,
        width_cm=piece.finished_width_cm,
        limit_per_100_m2=limit_per_100_m2(limit_per_100_yd2),
    )


def _grade_now(piece: Piece) -> Grade | None:
    return grade_of(piece, limit_per_100_yd2=limit_for(piece).per_100_yd2)


def _passes_still(piece: Piece, was: Grade | None, *, by: Any, worker: Worker | None = None) -> None:
    """A piece that passed waits for a verdict again once it has come to more points, or to a limit that takes fewer.

    What passed over its limit did so for a reason, and keeps to it as long as it is no worse.
    """
    now = _grade_now(piece)
    if piece.verdict != Piece.PASS or now is None or now.passes:
        return
    if was is not None and now.points_per_100_m2 * was.limit_per_100_m2 <= was.points_per_100_m2 * now.limit_per_100_m2:
        return
    change(piece, by=by, verdict="", state=Piece.FINISHING)
    enter(piece, JUDGED_NO_MORE, by=by, worker=worker)


def _within_limit(piece: Piece) -> None:
    limit = limit_for(piece)
    grade = grade_of(piece, limit_per_100_yd2=limit.per_100_yd2)
    if grade is not None and not grade.passes:
        raise Refusal(
            N_("Piece %(piece)s: %(grade)s (%(limit)s). Say why it passes all the same, or judge it otherwise."),
            field="why",
            piece=piece,
            grade=grade.said.removesuffix("."),
            limit=limit.said_by,
        )


@dataclass(frozen=True)
class MeasuredPiece:
    """A finished piece beside its plan; each part is None until it has been measured, the comparison grey too."""

    comparison: Comparison | None
    grade: Grade | None
    g_per_m2: Decimal | None
    working: tuple[Step, ...] = ()
    grade_working: tuple[Step, ...] = ()


def measured(piece: Piece) -> MeasuredPiece:
    """The piece as it came off the final perch, against its revision's route and its order line."""
    if not piece.finished_length_m or not piece.finished_width_cm or not piece.grey_length_m or not piece.grey_width_cm:
        return MeasuredPiece(None, None, None)
    steps = list(piece.spec.route_steps.all())
    colourway = piece.line.colourway if piece.line else colourway_of(piece)
    if colourway is None and (entry := piece.spec.colourway_yarns.select_related("colourway").first()):
        colourway = entry.colourway
    if colourway is None:
        return MeasuredPiece(None, None, None)
    figures = work_out_cloth(piece.spec.as_cloth(colourway))
    planned = Planned(
        finished_length_m=piece.line.length_m if piece.line else piece.finished_length_m,
        # A piece is measured from edge to edge, as its ticket has it, and not between the selvedges.
        finished_width_cm=figures.overall_width_cm,
        length_shrink_pct=route_shrink_pct(step.length_shrink_pct for step in steps),
        width_shrink_pct=route_shrink_pct(step.width_shrink_pct for step in steps),
        g_per_m2=figures.finished_g_per_m2,
    )
    came = Measured(
        grey_length_m=piece.grey_length_m,
        grey_width_cm=piece.grey_width_cm,
        finished_length_m=piece.finished_length_m,
        finished_width_cm=piece.finished_width_cm,
        mass_g=piece.mass_g,
    )
    size = {"length_m": piece.finished_length_m, "width_cm": piece.finished_width_cm}
    g_per_m2 = mass_g_per_m2(piece.mass_g, **size) if piece.mass_g else None
    per_100_yd2 = limit_for(piece).per_100_yd2
    graded = grade_of(piece, limit_per_100_yd2=per_100_yd2)
    how = grade_working(graded, **size, limit_per_100_yd2=per_100_yd2) if graded else ()
    if not piece.is_measured_grey:
        return MeasuredPiece(None, graded, g_per_m2, grade_working=how)
    return MeasuredPiece(compare(came, planned), graded, g_per_m2, piece_working(came, planned), how)


def sent_on(piece: Piece) -> DispatchPiece | None:
    """The dispatch it left with, when that was not taken back."""
    return piece.dispatches.filter(dispatch__taken_back_at__isnull=True).select_related("dispatch__customer").first()
