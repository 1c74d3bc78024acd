"""The finisher's part of the day-book: what waits for perch, menders and machines, what is in, what can go."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from mill.language import called
from mill.templatetags.mill import day, num
from planning.models import Piece
from planning.services import finishing
from planning.views.today.entry import Entry


def waiting_pieces(to_finish: list[Piece]) -> list[Entry]:
    """An entry a step: how much waits for it, for how long there is work, and the piece that presses most."""
    today = timezone.localdate()
    entries = []
    for queue in finishing.queues(to_finish):
        effects = []
        if queue.days is not None:
            effects.append(_("%(days)s days of work") % {"days": num(queue.days, 1)})
        if late := len(finishing.late_pieces(queue.pieces, on=today)):
            effects.append(ngettext("%(n)s piece due by today", "%(n)s pieces due by today", late) % {"n": late})
        first = queue.pieces[0]
        is_station = queue.step in (finishing.GREY_PERCH, finishing.MENDERS, finishing.FINAL_PERCH)
        where = _(queue.step) if is_station else queue.step
        entries.append(
            Entry(
                where[:1].upper() + where[1:],
                reverse("finishing"),
                _waiting(queue.pieces, queue.length_m),
                _("Open %(piece)s") % {"piece": first.number} if is_station else _("Put them in"),
                reverse("piece", args=[first.number]) if is_station else reverse("finishing"),
                ", ".join(effects),
            )
        )
    return entries


def _waiting(pieces: Sequence[Piece], length_m: Decimal) -> str:
    n, first, due = len(pieces), pieces[0], finishing.due_on(pieces[0])
    said = {"n": n, "length": num(length_m, 0), "first": first.number}
    if due < date.max:
        form = ngettext(
            "%(n)s piece, %(length)s m, waits; first %(first)s, due %(day)s",
            "%(n)s pieces, %(length)s m, wait; first %(first)s, due %(day)s",
            n,
        )
        return form % {**said, "day": day(due)}
    form = ngettext(
        "%(n)s piece, %(length)s m, waits; first %(first)s", "%(n)s pieces, %(length)s m, wait; first %(first)s", n
    )
    return form % said


def batches_in() -> list[Entry]:
    now = timezone.now()
    entries = []
    for batch in finishing.open_batches():
        n = len(batch.pieces.all())
        form = ngettext("%(n)s piece in %(step)s for %(hours)s h", "%(n)s pieces in %(step)s for %(hours)s h", n)
        hours = finishing.hours_in(batch, until=now)
        address = reverse("batch", args=[batch.number])
        matter = form % {"n": n, "step": batch.step, "hours": hours}
        entries.append(Entry(called(batch), address, matter, _("Take it out"), address))
    return entries


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
        form = ngettext(
            "%(n)s piece ready, the first due %(day)s", "%(n)s pieces ready, the first due %(day)s", len(pieces)
        )
        overdue = ngettext("%(n)s piece overdue", "%(n)s pieces overdue", late)
        entries.append(
            Entry(
                name,
                reverse("customer", args=[code]),
                form % {"n": len(pieces), "day": day(min(map(finishing.due_on, pieces)))},
                pgettext("to a customer's page", "Send them"),
                reverse("dispatch_new", args=[code]),
                overdue % {"n": late} if late else "",
            )
        )
    return entries
