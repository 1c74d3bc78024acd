"""What came and went of each yarn, day by day, read from the ledger for the room `turnover`."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.db.models import Min, OuterRef, Q, Subquery, Sum
from django.db.models.functions import TruncDate
from django.utils import timezone

from inventory.models import Movement, Yarn, YarnLot
from inventory.turnover import Day, Turnover, turnover


@dataclass(frozen=True)
class TurnoverOfYarn:
    code: str
    name: str
    turnover: Turnover


@dataclass(frozen=True)
class Turnovers:
    """By yarn, in the order of their codes; those of which there was nothing at all are left out.

    first   the period's first day, or the day on which the ledger begins
    last    its last day, or today
    """

    first: date
    last: date
    rows: list[TurnoverOfYarn]


DRAWS = (Movement.DRAW, Movement.RETURN)


def turnovers(first: date, last: date) -> Turnovers:
    """Each yarn's turnover between two days; four questions, whatever the length of the ledger.

    Days before the ledger's first line are not counted: nobody knows what there was. Days to come are not either:
    nothing is drawn on them, and yarn would seem to last longer.
    """
    began_at = Movement.objects.aggregate(at=Min("at"))["at"]
    last = min(last, timezone.localdate())
    if first > last or began_at is None or (begins := timezone.localdate(began_at)) > last:
        return Turnovers(first, max(first, last), [])
    first = max(first, begins)
    starts, stops = _midnight(first), _midnight(last + timedelta(days=1))
    before = Movement.objects.filter(lot=OuterRef("pk"), at__lt=starts).order_by("-seq").values("on_hand_after_g")[:1]
    stock: dict[int, int] = defaultdict(int)
    for yarn, grams in YarnLot.objects.annotate(g=Subquery(before)).filter(g__gt=0).order_by().values_list("yarn", "g"):
        stock[yarn] += grams
    is_draw = Q(kind__in=DRAWS) | Q(kind=Movement.REVERSE, reverses__kind__in=DRAWS)
    changes: dict[int, list[Day]] = defaultdict(list)
    for yarn, on, change_g, drawn_g in (
        Movement.objects.filter(at__gte=starts, at__lt=stops)
        .exclude(change_g=0)
        .order_by()
        .annotate(on=TruncDate("at"))
        .values("lot__yarn", "on")
        .annotate(changed_g=Sum("change_g"), drawn_g=Sum("change_g", filter=is_draw, default=0))
        .values_list("lot__yarn", "on", "changed_g", "drawn_g")
    ):
        changes[yarn].append(Day(on, change_g, -drawn_g))
    names = Yarn.objects.order_by("code").values_list("pk", "code", "name")
    return Turnovers(
        first,
        last,
        [
            TurnoverOfYarn(code, name, turnover(began_g=stock[pk], changes=changes[pk], first=first, last=last))
            for pk, code, name in names
            if pk in stock or pk in changes
        ],
    )


def _midnight(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day, time()))
