"""The finisher's part of the day-book: what waits for perch, menders and machines, what is in, what can go."""

from collections import defaultdict
from datetime import date

from django.urls import reverse
from django.utils import timezone

from mill.templatetags.mill import day, num
from planning.models import Piece
from planning.services import finishing
from planning.views.today.entry import Entry, counted


def _first(piece: Piece) -> str:
    due = finishing.due_on(piece)
    return f"first {piece.number}" + (f", due {day(due)}" if due < date.max else "")


def waiting_pieces(to_finish: list[Piece]) -> list[Entry]:
    """An entry a step: how much waits for it, for how long there is work, and the piece that presses most."""
    today = timezone.localdate()
    entries = []
    for queue in finishing.queues(to_finish):
        late = len(finishing.late_pieces(queue.pieces, on=today))
        effect = f"{num(queue.days, 1)} days of work" if queue.days is not None else ""
        if late:
            effect += (", " if effect else "") + f"{counted(late, 'piece')} due by today"
        first = queue.pieces[0]
        together = queue.step not in ("the grey perch", "the menders", "the final perch")
        entries.append(
            Entry(
                queue.step[:1].upper() + queue.step[1:],
                reverse("finishing"),
                f"{counted(len(queue.pieces), 'piece')}, {num(queue.length_m, 0)} m, "
                f"{'waits' if len(queue.pieces) == 1 else 'wait'}; {_first(first)}",
                "Put them in" if together else f"Open {first.number}",
                reverse("finishing") if together else reverse("piece", args=[first.number]),
                effect,
            )
        )
    return entries


def batches_in() -> list[Entry]:
    now = timezone.now()
    return [
        Entry(
            str(batch),
            reverse("batch", args=[batch.number]),
            f"{counted(len(batch.pieces.all()), 'piece')} in {batch.step} for {finishing.hours_in(batch, until=now)} h",
            "Take it out",
            reverse("batch", args=[batch.number]),
        )
        for batch in finishing.open_batches()
    ]


def ready_to_send() -> list[Entry]:
    """An entry a customer, the soonest due first."""
    rows = Piece.objects.filter(state=Piece.READY, line__isnull=False).select_related("line__order__customer")
    by_customer: dict[tuple[str, str], list[Piece]] = defaultdict(list)
    for piece in rows:
        assert piece.line is not None
        customer = piece.line.order.customer
        by_customer[customer.code, str(customer)].append(piece)
    today = timezone.localdate()
    entries = []
    for (code, name), pieces in sorted(by_customer.items(), key=lambda kv: min(map(finishing.due_on, kv[1]))):
        late = sum(finishing.due_on(piece) < today for piece in pieces)
        entries.append(
            Entry(
                name,
                reverse("customer", args=[code]),
                f"{counted(len(pieces), 'piece')} ready, the first due {day(min(map(finishing.due_on, pieces)))}",
                "Send them",
                reverse("dispatch_new", args=[code]),
                f"{counted(late, 'piece')} overdue" if late else "",
            )
        )
    return entries
