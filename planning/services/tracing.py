"""Tracing: from a piece back to lots, warp, loom and people; from a lot forward to every piece and customer."""

import re
from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from inventory.models import YarnLot
from mill.refusal import N_
from mill.retold import retold
from planning.models import Customer, FloorEvent, Piece, Warp, WarpHold

# The words of an entry before its figures: "Measured 60.2 m ..." is measured. One that begins with a figure grades.
ACT = re.compile(r"[^\W\d][^\d:,.]*")
# Every act that is found so, or stands here in its own words; a step of a route is the mill's.
ACTS = (
    *(N_("wound"), N_("gaited"), N_("started"), N_("weft changed"), N_("cut off"), N_("mended"), N_("measured")),
    *(N_("graded"), N_("judged"), N_("grey perch"), N_("grey length corrected from")),
    *(N_("into %(step)s"), N_("not put into %(step)s after all"), N_("sent to %(customer)s")),
    *(N_("put to no line instead of %(line)s"), N_("put to %(line)s"), N_("dispatch")),
)
OF_THE_WARP = (FloorEvent.WOUND, FloorEvent.GAITED, FloorEvent.STARTED, FloorEvent.WEFT_CHANGED)


@dataclass(frozen=True)
class LotUsed:
    """A lot that went into the piece's warp; `grams` drawn for the whole warp."""

    lot: YarnLot
    use: str
    grams: int


@dataclass(frozen=True)
class Origin:
    """Where a piece came from. `people` is who did what, as the book has it."""

    lots: tuple[LotUsed, ...]
    people: tuple[tuple[str, str], ...]

    @property
    def by_person(self) -> dict[str, list[str]]:
        found: dict[str, list[str]] = defaultdict(list)
        for what, who in self.people:
            found[who].append(what)
        return dict(found)

    @property
    def told_by_person(self) -> dict[str, list[str]]:
        """The same in the language of the page; it is kept in English."""
        return {who: [retold(act, ACTS) for act in acts] for who, acts in self.by_person.items()}


def origin_of(piece: Piece) -> Origin:
    """The lots drawn for its warp and everybody who had it in hand.

    In the weft a warp may take several dye lots, changed at a cut mark: all of them are named.
    """
    holds = (
        WarpHold.objects.filter(warp=piece.warp_id, drawn_g__gt=0)
        .select_related("reservation__lot__yarn")
        .order_by("use", "yarn__code", "pk")
        if piece.warp_id
        else WarpHold.objects.none()
    )
    lots = tuple(LotUsed(hold.reservation.lot, hold.use, hold.drawn_g) for hold in holds)
    people: dict[tuple[str, str], None] = {}
    if piece.warp:
        # What was told of the warp before any piece, and of this one; the stops between are in the floor's own list.
        told = piece.warp.events.select_related("worker").filter(
            refused="", undone_by__isnull=True, kind__in=OF_THE_WARP
        )
        for event in told:
            people[event.kind, event.worker.name] = None
    if piece.woven_by:
        people["cut off", piece.woven_by.name] = None
    for mend in piece.mends.select_related("worker"):
        if mend.worker:
            people["mended", mend.worker.name] = None
    for step in piece.steps.select_related("batch__worker"):
        if step.batch.worker:
            people[step.batch.step, step.batch.worker.name] = None
    for entry in piece.entries.select_related("worker", "by"):
        who: Any = entry.worker.name if entry.worker else entry.by and (entry.by.get_full_name() or entry.by.username)
        what = ACT.match(entry.said)
        if who and what and not entry.said.startswith(("Cut off", "Out of")):
            people[what[0].strip().lower(), who] = None
        elif who and what is None:
            people["graded", who] = None
    return Origin(lots, tuple(people))


@dataclass(frozen=True)
class WarpOfLot:
    """A warp that a lot was drawn for, with what it became."""

    warp: Warp
    uses: tuple[str, ...]
    grams: int
    pieces: tuple[Piece, ...]


@dataclass(frozen=True)
class Whereabouts:
    """Where a lot went: every warp, every piece, every customer."""

    warps: tuple[WarpOfLot, ...]
    customers: tuple[Customer, ...]


def whereabouts_of(lot: YarnLot) -> Whereabouts:
    """Every piece that may hold the lot, whatever has become of it; a constant number of queries."""
    holds = (
        WarpHold.objects.filter(reservation__lot=lot, drawn_g__gt=0)
        .select_related("warp__loom")
        .order_by("warp__number", "use")
    )
    by_warp: dict[int, list[WarpHold]] = defaultdict(list)
    for hold in holds:
        by_warp[hold.warp_id].append(hold)
    pieces: dict[int, list[Piece]] = defaultdict(list)
    for piece in (
        Piece.objects.filter(warp__in=by_warp)
        .select_related("line__order__customer", "spec__cloth")
        .order_by("warp__number", "cut", "number")
    ):
        assert piece.warp_id is not None
        pieces[piece.warp_id].append(piece)
    customers = {
        piece.line.order.customer.pk: piece.line.order.customer
        for rows in pieces.values()
        for piece in rows
        if piece.line
    }
    return Whereabouts(
        warps=tuple(
            WarpOfLot(
                rows[0].warp,
                tuple(dict.fromkeys(hold.use for hold in rows)),
                sum(hold.drawn_g for hold in rows),
                tuple(pieces[pk]),
            )
            for pk, rows in by_warp.items()
        ),
        customers=tuple(sorted(customers.values(), key=lambda customer: customer.name)),
    )
