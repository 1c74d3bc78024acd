"""Warps: put together, split, joined and taken apart, and their beams. `warp_steps.py` takes them to woven out.

Locks are taken lines first, then warps, then looms, then lots; each kind by primary key.
"""

import hashlib
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F, Max, QuerySet
from django.utils import timezone

from mill import meanwhile
from mill.models import Mill
from mill.refusal import N_, Refusal, Word
from planning.models import (
    Beam,
    ClothSpec,
    JobTicket,
    Loom,
    OrderLine,
    Warp,
    WarpPart,
    mill_facts,
)
from planning.services import plans, warp_yarn, working_out
from planning.services.beams import BeamStand
from planning.services.cloths import latest_specs
from planning.services.line_states import free_pieces, lines_follow
from planning.ticket import Figures, Run, work_out

FOLLOWING = (Warp.PROPOSED, Warp.PLANNED)
BEFORE_WINDING = (Warp.PROPOSED, Warp.PLANNED, Warp.YARN_DRAWN)
TRIES = 5
# Parts are numbered afresh from here while they change places, since two may not stand at one.
ASIDE = 1_000_000


@dataclass(frozen=True)
class Share:
    """So many pieces of an order line, for a warp."""

    line: OrderLine
    pieces: int


# What a page had before it when somebody pressed a button


def parts_seen(warp: Warp) -> str:
    """A few digits that differ when the warp's parts do: a form carries them, so that nobody changes what they
    have not seen, and a second tap changes nothing twice."""
    said = [(part.pk, part.position, part.pieces) for part in warp.parts.order_by("position")]
    return hashlib.sha256(repr(said).encode()).hexdigest()[:12]


def _check_seen(warp: Warp, seen: str | None) -> None:
    if seen is not None and seen != parts_seen(warp):
        raise Refusal(
            N_("%(warp)s has been changed since this page was opened. Look at it as it is now, then do it again."),
            warp=warp,
        )


# Locking and writing


def lock_warps(*warp_ids: int, lines: Iterable[int] = ()) -> list[Warp]:
    """The warps, locked with the lines on them."""
    on_them = WarpPart.objects.filter(warp__in=warp_ids).values_list("line", flat=True)
    lock_lines({*on_them, *lines})
    # Without the key: the job that works a warp out adds rows that point to it, and must not wait for us.
    locked = {
        warp.pk: warp
        for warp in Warp.objects.select_for_update(of=("self",), no_key=True).filter(pk__in=warp_ids).order_by("pk")
    }
    for pk in warp_ids:
        if pk not in locked:
            raise Refusal(warp_yarn.APART)
    return [locked[pk] for pk in warp_ids]


def lock_lines(line_ids: Iterable[int]) -> list[OrderLine]:
    return list(
        OrderLine.objects.select_for_update(of=("self",), no_key=True)
        .select_related("order__customer", "cloth", "colourway")
        .filter(pk__in=set(line_ids))
        .order_by("pk")
    )


def write_columns(warp: Warp, *, by: Any, reason: str = "", **columns: Any) -> Warp:
    for name, value in columns.items():
        setattr(warp, name, value)
    signed(warp, by=by, reason=reason)
    warp.save(update_fields=sorted(columns))
    return warp


def signed(row: Warp | Loom, *, by: Any, reason: str = "") -> None:
    """Who changes the row, and why: its history keeps both."""
    row._history_user = by  # type: ignore[union-attr]
    row._change_reason = reason[:100] or None  # type: ignore[union-attr]


def lines_of(warp: Warp) -> set[int]:
    return set(warp.parts.values_list("line", flat=True))


def overtake_tickets(warps: Iterable[int], why: str) -> int:
    """Tickets in use of these warps no longer hold, for this reason; how many."""
    return JobTicket.objects.filter(warp__in=set(warps), overtaken_at__isnull=True, withdrawn_at__isnull=True).update(
        overtaken_at=timezone.now(), overtaken_why=why[:300]
    )


# Working out before anything is written


def current_specs(cloths: Iterable[int]) -> dict[int, ClothSpec]:
    """The latest revision of each cloth, with all that `as_cloth` reads."""
    specs = latest_specs().filter(cloth__in=set(cloths)).select_related("cloth")
    return {spec.cloth_id: spec for spec in specs.prefetch_related("route_steps", "colourway_yarns__yarn")}


def is_being_worked_out(warp_ids: Iterable[int]) -> bool:
    return working_out.is_being_worked_out(Warp.objects.filter(pk__in=set(warp_ids)))


def spec_for(line: OrderLine, specs: dict[int, ClothSpec]) -> ClothSpec:
    spec = specs.get(line.cloth_id)
    if spec is None:
        raise Refusal(
            N_("%(cloth)s has never been specified. Write its first revision, then order it."), cloth=line.cloth.code
        )
    return spec


def run_of(line: OrderLine, spec: ClothSpec, pieces: int) -> Run:
    return Run(
        line=str(line),
        customer=line.order.customer.name,
        cloth=spec.as_cloth(line.colourway),
        pieces=pieces,
        length_m=line.length_m,
    )


def runs_on(warp: Warp) -> list[Run]:
    return working_out.runs_of(working_out.for_working_out(Warp.objects.filter(pk=warp.pk)).get())


def loose_warps() -> QuerySet[Warp]:
    """Warps that could be combined afresh: only planned, not locked or pinned, no yarn held, no ticket ever issued."""
    return Warp.objects.filter(
        state__in=FOLLOWING,
        is_locked=False,
        pin_loom=None,
        holds=None,
        tickets=None,
    )


# Putting warps together


def make_warp(shares: Sequence[Share], *, by: Any, stand: BeamStand | None = None) -> Warp:
    """A planned warp of these shares, in this order of weaving, on the smallest free beam that takes it.

    Its beam stays open when those that would take it are all kept for other warps. Raises Refusal when the shares
    can't be on one warp, when a line has fewer pieces left, when no beam of the mill takes the warp.
    """
    for _ in range(TRIES):
        try:
            with transaction.atomic():
                return _make(shares, by=by, stand=stand or BeamStand())
        except IntegrityError as clash:
            # Somebody took the number in between. Anything else that is broken stays broken and is raised below.
            last = clash
    raise last


def _make(shares: Sequence[Share], *, by: Any, stand: BeamStand) -> Warp:
    lines = {line.pk: line for line in lock_lines(share.line.pk for share in shares)}
    shares = [Share(lines[share.line.pk], share.pieces) for share in shares]
    _check_free(shares)
    specs = current_specs(line.cloth_id for line in lines.values())
    figures = work_out(
        [run_of(share.line, spec_for(share.line, specs), share.pieces) for share in shares],
        mill=mill_facts(stand.mill),
    )
    beam = stand.smallest(figures)
    warp = new_warp(beam, by=by)
    WarpPart.objects.bulk_create(
        WarpPart(
            warp=warp,
            position=position,
            line=share.line,
            spec=spec_for(share.line, specs),
            pieces=share.pieces,
        )
        for position, share in enumerate(shares, start=1)
    )
    stand.keep(beam, warp)
    lines_follow(lines)
    working_out.warps_changed([warp.pk])
    return warp


def new_warp(beam: Beam | None, *, by: Any) -> Warp:
    """The next number, planned, with nothing on it yet."""
    number = (Warp.objects.aggregate(last=Max("number"))["last"] or 0) + 1
    warp = Warp(number=number, state=Warp.PLANNED, beam=beam)
    signed(warp, by=by)
    warp.save(force_insert=True)
    return warp


def _check_free(shares: Sequence[Share]) -> None:
    if not shares:
        raise Refusal(N_("There is nothing to put on a warp. Choose pieces of an order line first."))
    free = free_pieces({share.line for share in shares})
    asked: Counter[int] = Counter()
    for share in shares:
        line = share.line
        if line.state == OrderLine.CALLED_OFF:
            raise Refusal(N_("Line %(line)s was called off; it can't go on a warp."), line=line)
        asked[line.pk] += share.pieces
        if share.pieces < 1 or asked[line.pk] > free[line.pk]:
            said: dict[str, Any] = {"line": line, "pieces": line.pieces, "left": free[line.pk], "asked": asked[line.pk]}
            on = ", ".join(part.warp.called for part in line.parts.select_related("warp"))
            if free[line.pk] and on:
                form = N_(
                    "Line %(line)s has %(left)s of its %(pieces)s pieces left; the others are on %(on)s; %(asked)s are"
                    " asked for. Write %(left)s or fewer."
                )
                raise Refusal(form, on=on, **said)
            if free[line.pk]:
                form = N_(
                    "Line %(line)s has %(left)s of its %(pieces)s pieces left; %(asked)s are asked for. Write %(left)s"
                    " or fewer."
                )
                raise Refusal(form, **said)
            if on:
                raise Refusal(N_("All %(pieces)s pieces of line %(line)s are on %(on)s already."), on=on, **said)
            raise Refusal(N_("All %(pieces)s pieces of line %(line)s are on no warp, but woven already."), **said)


def _check_open(warp: Warp, what: str) -> None:
    """A warp changes its parts only while it is planned, is not locked, and holds no yarn."""
    if warp.state not in FOLLOWING:
        raise Refusal(
            N_(
                "%(warp)s is %(state)s: it can't be %(what)s any more. Go back to planned first, or "
                "leave it as it is drawn."
            ),
            warp=warp,
            state=Word(warp.state),
            what=Word(what),
        )
    if warp.is_locked:
        raise Refusal(N_("%(warp)s is locked. Unlock it, then it can be %(what)s."), warp=warp, what=Word(what))
    held = warp_yarn.holds_of(warp)
    drawn = sorted({hold.reservation.lot.label for hold in held if hold.drawn_g})
    if drawn:
        raise Refusal(
            N_(
                "Yarn is drawn for %(warp)s (lot %(lots)s). Take the draw back on the lot's page first, then the warp"
                " can be %(what)s."
            ),
            warp=warp,
            lots=", ".join(drawn),
            what=Word(what),
        )
    if held:
        lots = ", ".join(sorted({hold.reservation.lot.label for hold in held}))
        raise Refusal(
            N_("Yarn is held for %(warp)s (lot %(lots)s). Let it go first, then the warp can be %(what)s."),
            warp=warp,
            lots=lots,
            what=Word(what),
        )


def _renumber(warp: Warp, part_ids: Sequence[int]) -> None:
    warp.parts.update(position=F("position") + ASIDE)
    for position, pk in enumerate(part_ids, start=1):
        WarpPart.objects.filter(pk=pk).update(position=position)


def fit_beam(warp: Warp, *, by: Any, free: Iterable[int] = ()) -> Warp:
    """Keep the warp's beam when it still takes the warp; else the smallest free one, or none while none is free."""
    figures = work_out(runs_on(warp), mill=mill_facts(Mill.the_one()))
    stand = BeamStand()
    choices = {choice.beam.pk: choice for choice in stand.choices(figures, loom=warp.pin_loom, warp=warp)}
    kept = choices.get(warp.beam_id or 0)
    if kept is not None and kept.is_free:
        return warp
    return write_columns(warp, by=by, beam=stand.smallest(figures, loom=warp.pin_loom, free=free))


@transaction.atomic
def put_on(warp: Warp, line: OrderLine, *, pieces: int, by: Any, seen: str | None = None) -> Warp:
    """More pieces on a planned warp, behind what is on it."""
    (warp,) = lock_warps(warp.pk, lines=[line.pk])
    line = OrderLine.objects.select_related("order__customer", "cloth", "colourway").get(pk=line.pk)
    _check_seen(warp, seen)
    _check_open(warp, N_("added to"))
    _check_free([Share(line, pieces)])
    spec = spec_for(line, current_specs([line.cloth_id]))
    same = warp.parts.filter(line=line).first()
    if same:
        WarpPart.objects.filter(pk=same.pk).update(pieces=same.pieces + pieces)
    else:
        last = warp.parts.aggregate(last=Max("position"))["last"] or 0
        WarpPart.objects.create(warp=warp, position=last + 1, line=line, spec=spec, pieces=pieces)
    fit_beam(warp, by=by)
    return _parts_changed(warp, {line.pk}, f"{pieces} pieces of {line} were put on {warp}.", by=by)


def _parts_changed(warp: Warp, lines: set[int], why: str, *, by: Any) -> Warp:
    if warp.state == Warp.PROPOSED:
        # A warp that was emptied, or only thought of, counts again once somebody puts pieces on it.
        write_columns(warp, by=by, state=Warp.PLANNED)
    overtake_tickets([warp.pk], why)
    lines_follow(lines)
    working_out.warps_changed([warp.pk])
    return warp


@transaction.atomic
def reorder(warp: Warp, part_ids: Sequence[int], *, by: Any, seen: str | None = None) -> Warp:
    """Weave the parts in this order."""
    (warp,) = lock_warps(warp.pk)
    _check_seen(warp, seen)
    now = list(warp.parts.values_list("pk", flat=True))
    if sorted(now) != sorted(part_ids):
        raise Refusal(
            N_("%(warp)s has been changed since this page was opened. Look at it as it is now, then do it again."),
            warp=warp,
        )
    if list(part_ids) == now:
        return warp
    if warp.state in (*plans.IN_LOOM, Warp.WOVEN_OUT):
        raise Refusal(
            N_("%(warp)s is %(state)s: what is woven first can't be changed any more."),
            warp=warp,
            state=Word(warp.state),
        )
    if warp.is_locked:
        raise Refusal(N_("%(warp)s is locked. Unlock it, then its parts can change places."), warp=warp)
    _renumber(warp, part_ids)
    overtake_tickets([warp.pk], f"The parts of {warp} are woven in another order.")
    working_out.warps_changed([warp.pk])
    return warp


@transaction.atomic
def move_part(warp: Warp, part_id: int, *, earlier: bool, by: Any, seen: str | None = None) -> Warp:
    """One place earlier or later in the weaving; at either end it stays where it is."""
    order = list(warp.parts.order_by("position").values_list("pk", flat=True))
    if part_id not in order:
        raise Refusal(
            N_("%(warp)s has been changed since this page was opened. Look at it as it is now, then do it again."),
            warp=warp,
        )
    at = order.index(part_id)
    to = at - 1 if earlier else at + 1
    if 0 <= to < len(order):
        order[at], order[to] = order[to], order[at]
    return reorder(warp, order, by=by, seen=seen)


@transaction.atomic
def split(warp: Warp, *, after: int, by: Any, seen: str | None = None) -> tuple[Warp, Warp]:
    """Two warps of one: so many pieces stay, in the order of weaving, the others go on a new warp."""
    (warp,) = lock_warps(warp.pk)
    _check_seen(warp, seen)
    _check_open(warp, N_("split"))
    parts = list(warp.parts.select_related("line"))
    pieces = sum(part.pieces for part in parts)
    if not 1 <= after < pieces:
        if pieces < 2:
            raise Refusal(N_("%(warp)s has one piece; there is nothing to split."), field="after", warp=warp)
        raise Refusal(
            N_("%(warp)s has %(pieces)s pieces; %(after)s can't stay on it when it is split. Write 1 to %(most)s."),
            field="after",
            warp=warp,
            pieces=pieces,
            after=after,
            most=pieces - 1,
        )
    other = new_warp(None, by=by)
    stay = after
    moved: list[WarpPart] = []
    for part in parts:
        keeps = min(stay, part.pieces)
        stay -= keeps
        if keeps == part.pieces:
            continue
        moved.append(
            WarpPart(
                warp=other, position=len(moved) + 1, line=part.line, spec_id=part.spec_id, pieces=part.pieces - keeps
            )
        )
        if keeps:
            WarpPart.objects.filter(pk=part.pk).update(pieces=keeps)
        else:
            part.delete()
    WarpPart.objects.bulk_create(moved)
    fit_beam(warp, by=by)
    fit_beam(other, by=by)
    overtake_tickets([warp.pk], f"{pieces - after} of its {pieces} pieces went on {other}.")
    working_out.warps_changed([warp.pk, other.pk])
    return warp, other


@transaction.atomic
def join(warp: Warp, other: Warp, *, by: Any, seen: str | None = None) -> Warp:
    """One warp of two: the other's pieces come behind, and then all are woven in the order of their due dates."""
    if warp.pk == other.pk:
        raise Refusal(N_("%(warp)s can't be joined with itself. Choose another warp."), field="other", warp=warp)
    warp, other = lock_warps(warp.pk, other.pk)
    _check_seen(warp, seen)
    for one in (warp, other):
        _check_open(one, N_("joined"))
    # Raises when they are not one warp, with what keeps them apart.
    work_out([*runs_on(warp), *runs_on(other)], mill=mill_facts(Mill.the_one()))
    beams = [pk for pk in (other.beam_id,) if pk]
    by_line = {part.line_id: part for part in warp.parts.all()}
    last = warp.parts.aggregate(last=Max("position"))["last"] or 0
    for position, part in enumerate(other.parts.order_by("position"), start=last + 1):
        if part.line_id in by_line:
            WarpPart.objects.filter(pk=by_line[part.line_id].pk).update(pieces=F("pieces") + part.pieces)
            part.delete()
        else:
            WarpPart.objects.filter(pk=part.pk).update(warp=warp, position=position)
    _renumber(warp, list(warp.parts.order_by("line__due_on", "-line__weight", "position").values_list("pk", flat=True)))
    fit_beam(warp, by=by, free=beams)
    _strike(other, why=f"Its pieces went on {warp}.", by=by)
    return _parts_changed(warp, lines_of(warp), f"The pieces of {other} were joined to it.", by=by)


@transaction.atomic
def take_off(warp: Warp, part_id: int, *, by: Any, seen: str | None = None) -> Warp | None:
    """Take a part off a planned warp; its line waits for a warp again. None when nothing is left of the warp."""
    (warp,) = lock_warps(warp.pk)
    part = warp.parts.select_related("line__order").filter(pk=part_id).first()
    if part is None:
        return warp
    _check_seen(warp, seen)
    _check_open(warp, N_("changed"))
    return drop_parts(warp, [part], by=by)


def drop_parts(warp: Warp, parts: Sequence[WarpPart], *, by: Any) -> Warp | None:
    """Take these parts off, under the warp's lock; None when nothing is left of it."""
    lines = {part.line_id for part in parts}
    said = ", ".join(str(part) for part in parts)
    WarpPart.objects.filter(pk__in=[part.pk for part in parts]).delete()
    left = list(warp.parts.values_list("pk", flat=True))
    lines_follow(lines)
    if not left:
        warp_yarn.let_go(warp, by=by, reason=f"Nothing is left on {warp}.")
        _strike(warp, why=f"{said} taken off.", by=by)
        return None
    _renumber(warp, left)
    fit_beam(warp, by=by)
    return _parts_changed(warp, set(), f"{said} taken off {warp}.", by=by)


@transaction.atomic
def take_apart(warp: Warp, *, by: Any) -> None:
    """Take everything off a planned warp; its lines wait for a warp again, its yarn is let go."""
    (warp,) = lock_warps(warp.pk)
    if warp.state not in FOLLOWING:
        raise Refusal(N_("%(warp)s is %(state)s: it can't be taken apart any more."), warp=warp, state=Word(warp.state))
    if warp.is_locked:
        raise Refusal(N_("%(warp)s is locked. Unlock it, then it can be taken apart."), warp=warp)
    warp_yarn.let_go(warp, by=by, reason=f"{warp} is taken apart.")
    lines = lines_of(warp)
    warp.parts.all().delete()
    lines_follow(lines)
    _strike(warp, why="Taken apart.", by=by)


def _strike(warp: Warp, *, why: str, by: Any) -> None:
    """An empty warp leaves the book. One that tickets were issued for, or yarn drawn, stays, empty: they name it."""
    working_out.forget_demand(warp)
    warp.holds.filter(drawn_g=0).delete()
    if warp.tickets.exists() or warp.holds.exists():
        overtake_tickets([warp.pk], why)
        write_columns(warp, by=by, reason=why, state=Warp.PROPOSED, beam=None, pin_loom=None, pin_starts_at=None)
        working_out.warps_changed([warp.pk])
        return
    signed(warp, by=by, reason=why)
    warp.delete()


@transaction.atomic
def lock_warp(warp: Warp, *, is_locked: bool, by: Any) -> Warp:
    """Combining, splitting and joining leave a locked warp as it is."""
    (warp,) = lock_warps(warp.pk)
    return warp if warp.is_locked == is_locked else write_columns(warp, by=by, is_locked=is_locked)


@transaction.atomic
def write_note(warp: Warp, *, note: str, by: Any, seen: str | None = None) -> Warp:
    (warp,) = lock_warps(warp.pk)
    meanwhile.unmoved(warp, seen)
    return warp if warp.note == note.strip() else write_columns(warp, by=by, note=note.strip()[:200])


# The beam


def beam_choices(warp: Warp) -> list[Any]:
    """Every beam in use beside this warp. Raises Refusal while the warp can't be worked out."""
    row = working_out.for_working_out(Warp.objects.filter(pk=warp.pk)).get()
    return BeamStand().choices(_figures_now(row), loom=working_out.loom_of(row), warp=row)


def _figures_now(row: Warp) -> Figures:
    runs = working_out.runs_of(row)
    if not runs:
        raise Refusal(N_("There is nothing on %(warp)s. Put pieces of an order on it, or take it apart."), warp=row)
    return work_out(runs, mill=mill_facts(Mill.the_one()))


@transaction.atomic
def choose_beam(warp: Warp, beam: Beam | None, *, by: Any) -> Warp:
    """Keep a beam for the warp, or with None give it back. Not once it is wound."""
    (warp,) = lock_warps(warp.pk)
    if warp.beam_id == (beam.pk if beam else None):
        return warp
    if warp.state not in BEFORE_WINDING:
        raise Refusal(
            N_("%(warp)s is %(state)s on beam %(beam)s. Go back to before it was wound, then choose another beam."),
            field="beam",
            warp=warp,
            state=Word(warp.state),
            beam=warp.beam,
        )
    if beam is not None:
        choice = next((one for one in beam_choices(warp) if one.beam.pk == beam.pk), None)
        if choice is None:
            raise Refusal(
                N_("Beam %(beam)s is not in use. Choose another beam, or put it in use."), field="beam", beam=beam
            )
        if choice.why_not:
            raise Refusal(
                N_("Beam %(beam)s: %(why)s. Choose another beam, or split the warp."),
                field="beam",
                beam=beam,
                why=choice.why_not,
            )
        if choice.taken_by:
            raise Refusal(
                N_(
                    "Beam %(beam)s is kept for %(taken_by)s, which is %(state)s. Choose another beam, or "
                    "give %(taken_by)s another one first."
                ),
                field="beam",
                beam=beam,
                taken_by=choice.taken_by,
                state=Word(choice.taken_by.state),
            )
    write_columns(warp, by=by, beam=beam)
    working_out.warps_changed([warp.pk])
    return warp
