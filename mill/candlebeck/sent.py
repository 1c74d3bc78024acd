"""What the final perch said of Candlebeck's past pieces, and the notes with which they left."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal
from random import Random

from mill.candlebeck.story import Story, clock_at
from mill.models import Mill
from planning.models import Dispatch, DispatchPiece, Piece, PieceFault
from planning.piece import Fault, piece_points

# One piece in so many is a second; of each fault that makes one so many in all.
SECOND_IN = 22
CAUSES = (("broken end", 6), ("weft bar", 4), ("mill rig", 3), ("oil stain", 2), ("reed mark", 1), ("slub", 1))
# Above the limit of 40 points per 100 yd² on the longest piece that is woven.
FAULTS = (24, 40)


def pass_or_second(story: Story, pieces: Sequence[Piece]) -> list[PieceFault]:
    """Judge whatever is measured, before it is written. Returns the faults of the seconds, for when that is done.

    A second leaves its line, which keeps another piece at least.
    """
    dice = story.dice("seconds")
    kept: dict[int, int] = defaultdict(int)
    for piece in pieces:
        kept[piece.line_id or 0] += 1
    faults: list[PieceFault] = []
    for piece in pieces:
        if piece.state not in (Piece.READY, Piece.SENT):
            continue
        piece.verdict = Piece.PASS
        if dice.randrange(SECOND_IN) == 0 and kept[piece.line_id or 0] > 1:
            kept[piece.line_id or 0] -= 1
            own = _faults(dice, piece.finished_length_m or Decimal(0))
            faults += [
                PieceFault(piece=piece, at_m=fault.at_m, length_mm=fault.length_mm, name=fault.name) for fault in own
            ]
            piece.points = piece_points(own)
            piece.verdict, piece.state, piece.line = Piece.SECOND, Piece.READY, None
    return faults


def _faults(dice: Random, length_m: Decimal) -> list[Fault]:
    """Mostly of one kind."""
    names, weights = zip(*CAUSES, strict=True)
    cause = dice.choices(names, weights)[0]
    return [
        Fault(
            at_m=Decimal(dice.randrange(int(length_m * 100))) / 100,
            length_mm=Decimal(dice.choice((40, 120, 200, 300))),
            name=cause if dice.random() < 0.75 else dice.choices(names, weights)[0],
        )
        for _ in range(dice.randint(*FAULTS))
    ]


def write_dispatches(story: Story, left: Sequence[tuple[Piece, date]]) -> None:
    """A note for each customer and day."""
    together: dict[tuple[date, int], list[Piece]] = defaultdict(list)
    for piece, sent_on in left:
        if piece.state == Piece.SENT and piece.line is not None:
            together[sent_on, piece.line.order.customer_id].append(piece)
    limit = Mill.the_one().points_limit_per_100_yd2
    notes: list[Dispatch] = []
    by_day: dict[date, list[Dispatch]] = defaultdict(list)
    for number, (sent_on, customer_id) in enumerate(sorted(together), start=1):
        note = Dispatch(
            number=number,
            customer_id=customer_id,
            sent_on=sent_on,
            by=story.by,
            key=f"candlebeck dispatch {number}",
            points_limit_per_100_yd2=limit,
        )
        by_day[sent_on].append(note)
        notes.append(note)
    for sent_on, own in by_day.items():
        with clock_at(sent_on, 15):
            Dispatch.objects.bulk_create(own)
    DispatchPiece.objects.bulk_create(
        [
            DispatchPiece(
                dispatch=note,
                piece=piece,
                line=piece.line,
                length_m=piece.finished_length_m,
                width_cm=piece.finished_width_cm,
                mass_g=piece.mass_g,
            )
            for note in notes
            for piece in together[note.sent_on, note.customer_id]
        ],
        batch_size=500,
    )


def on_a_workday(day: date, *, not_before: date) -> date:
    """The day; at a weekend, when nobody fetches cloth, the Friday before or else the Monday after."""
    friday = day - timedelta(days=max(0, day.weekday() - 4))
    return friday if friday >= not_before else friday + timedelta(days=3)
