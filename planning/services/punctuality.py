"""Lines that left whole, read from the dispatch notes for the room `punctuality`."""

from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Count, Max, Min, Q, Sum

from planning.models import DispatchPiece, OrderLine
from planning.period import Period
from planning.punctuality import SentLine


def sent_lines(period: Period) -> list[SentLine]:
    """Every line of which the last left within the period, in the order in which they left; two questions at most.

    A dispatch that was taken back has not been. A line that is open yet is no line sent, however much of it has left.
    """
    left_then = DispatchPiece.objects.filter(
        dispatch__taken_back_at__isnull=True, dispatch__sent_on__range=(period.first, period.last)
    )
    rows: Any = (
        DispatchPiece.objects.filter(
            line__state=OrderLine.SENT, dispatch__taken_back_at__isnull=True, line__in=left_then.values("line")
        )
        .order_by()
        .values(
            "line__order__number",
            "line__position",
            "line__order__customer__name",
            "line__due_on",
            "line__pieces",
            "line__length_m",
            "line__tolerance_pct",
        )
        .annotate(sent_on=Max("dispatch__sent_on"), sent_m=Sum("length_m"))
    )
    found = [
        SentLine(
            line=f"{row['line__order__number']}/{row['line__position']}",
            customer=row["line__order__customer__name"],
            due_on=row["line__due_on"],
            sent_on=row["sent_on"],
            ordered_m=row["line__pieces"] * row["line__length_m"],
            # SQLite adds up as floats.
            sent_m=row["sent_m"].quantize(Decimal("0.01")),
            tolerance_pct=row["line__tolerance_pct"],
        )
        for row in rows
        if row["sent_on"] in period
    ]
    return sorted(found, key=lambda line: (line.sent_on, line.line))


def overdue(on: date) -> dict[str, Any]:
    """Lines due before a day that are still open: how many, and the day the oldest was due."""
    return OrderLine.objects.open().filter(due_on__lt=on).aggregate(lines=Count("pk"), oldest=Min("due_on"))


def not_told(period: Period) -> int:
    """Lines due within the period that are sent without a note of when: of a book brought in, say."""
    return OrderLine.objects.filter(
        Q(state=OrderLine.SENT), due_on__range=(period.first, period.last), dispatched__isnull=True
    ).count()
