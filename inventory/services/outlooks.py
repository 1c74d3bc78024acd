"""Outlooks: what each yarn will have day by day, worked out again whenever something of it changes."""

import hashlib
from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import asdict, dataclass
from datetime import date

from django.db.models import QuerySet
from django.utils import timezone

from inventory.drawdown import Dated, Drawdown, work_out_drawdown
from inventory.models import Delivery, OutlookMark, Yarn, YarnDemand, YarnLot, YarnOutlook
from inventory.services.verb import verb
from mill import jobs

REWORK_OUTLOOKS = "inventory.rework_outlooks"
# The planning side works out with it what planned work draws of each yarn; known here by its name only.
DEMANDS_REWORKED = "planning.rework_warps"
# A job holds the write lock of an SQLite book while it works: so much at once, then others may write.
YARNS_PER_JOB = 200
MARKS_PER_JOB = 5_000


@dataclass(frozen=True)
class Ahead:
    """Everything that a yarn's draw-down is worked from."""

    on_hand_g: int
    held_g: int
    demands: tuple[Dated, ...]
    deliveries: tuple[Dated, ...]
    lead_time_days: int | None
    min_order_g: int

    def work_out(self, today: date, *, late_by_days: int = 0) -> Drawdown:
        return work_out_drawdown(
            on_hand_g=self.on_hand_g,
            demands=self.demands,
            deliveries=self.deliveries,
            today=today,
            lead_time_days=self.lead_time_days,
            min_order_g=self.min_order_g,
            late_by_days=late_by_days,
        )

    def worked_from(self, today: date) -> str:
        """The day, and sixteen hexadecimal digits that differ when anything it is worked from differs."""
        return f"{today.isoformat()} {hashlib.sha256(repr(self).encode()).hexdigest()[:16]}"


def ahead_of(yarns: Collection[int]) -> dict[int, Ahead]:
    """What lies ahead of these yarns, by primary key; four queries whatever their number.

    On hand is what lots have that may be drawn: shade approved, not in quarantine.
    """
    on_hand: dict[int, int] = defaultdict(int)
    held: dict[int, int] = defaultdict(int)
    lots = YarnLot.objects.filter(yarn_id__in=yarns).free_to_use().with_balance().order_by()
    for yarn_id, on_hand_g, held_g in lots.values_list("yarn_id", "on_hand_g", "held_g"):
        on_hand[yarn_id] += on_hand_g
        held[yarn_id] += held_g
    deliveries: dict[int, list[Dated]] = defaultdict(list)
    open_deliveries = Delivery.objects.filter(yarn_id__in=yarns).open().order_by("expected_on", "pk")
    for yarn_id, on, grams, number in open_deliveries.values_list("yarn_id", "expected_on", "outstanding_g", "number"):
        deliveries[yarn_id].append((on, grams, number))
    demands: dict[int, list[Dated]] = defaultdict(list)
    rows = YarnDemand.objects.filter(yarn_id__in=yarns).order_by("on", "label", "use", "grams", "source")
    for yarn_id, on, grams, label in rows.values_list("yarn_id", "on", "grams", "label"):
        demands[yarn_id].append((on, grams, label))
    return {
        pk: Ahead(
            on_hand_g=on_hand[pk],
            held_g=held[pk],
            demands=tuple(demands[pk]),
            deliveries=tuple(deliveries[pk]),
            lead_time_days=lead_time_days,
            min_order_g=min_order_g,
        )
        for pk, lead_time_days, min_order_g in Yarn.objects.filter(pk__in=yarns).values_list(
            "pk", "supplier__lead_time_days", "min_order_g"
        )
    }


def yarns_changed(yarns: Iterable[int]) -> None:
    """What these yarns have, or what draws on them, changed: their outlooks are worked out again.

    In the caller's transaction. Each call only adds rows, and however many calls there are before the job is begun, it
    is one job: a burst of changes is worked once, and nobody waits for the rows of another.
    """
    ids = set(yarns)
    if not ids:
        return
    OutlookMark.objects.bulk_create([OutlookMark(yarn_id=pk) for pk in sorted(ids)])
    jobs.ask(REWORK_OUTLOOKS, {}, same_as=REWORK_OUTLOOKS)


@verb
def day_changed() -> int:
    """Outlooks worked on another day are worked out again: what is overdue or to be ordered by today has changed.

    Returns how many. For whoever notices that it is another day; doing it twice changes nothing.
    """
    yarns = list(_of_another_day().values_list("yarn_id", flat=True))
    yarns_changed(yarns)
    return len(yarns)


def notice_the_day() -> None:
    """For pages that show outlooks: the first look of a day asks for all to be worked for it; later ones only read."""
    if _of_another_day().exists() and not OutlookMark.objects.exists():
        day_changed()


def _of_another_day() -> QuerySet[YarnOutlook]:
    return YarnOutlook.objects.exclude(worked_from__startswith=timezone.localdate().isoformat())


def is_being_worked_out(yarn: Yarn) -> bool:
    """Whether the outlook of a yarn is still to be worked."""
    return OutlookMark.objects.filter(yarn=yarn).exists()


def being_worked_out() -> int:
    """Of how many yarns the outlook is still to be worked: how far the work has come."""
    return OutlookMark.objects.values("yarn").distinct().count()


@verb
def rework_marked_outlooks() -> dict[str, int]:
    """Work out the outlooks that are marked. What was marked meanwhile stays marked, with a job of its own."""
    marks = list(OutlookMark.objects.order_by("pk").values_list("pk", "yarn_id")[:MARKS_PER_JOB])
    yarns = sorted({yarn_id for _, yarn_id in marks})[:YARNS_PER_JOB]
    worked = rework_outlooks(yarns)
    OutlookMark.objects.filter(pk__in=[pk for pk, yarn_id in marks if yarn_id in set(yarns)]).delete()
    if OutlookMark.objects.exists():
        jobs.ask(REWORK_OUTLOOKS, {}, same_as=REWORK_OUTLOOKS)
    else:
        # The first change of a day brings the rest along.
        day_changed()
    return {"yarns": worked}


@verb
def rework_outlooks(yarns: Collection[int]) -> int:
    """Work out the outlooks of these yarns, by primary key, and write them. Returns how many.

    The number of queries doesn't grow with the number of yarns.
    """
    today = timezone.localdate()
    rows = [outlook_of(pk, ahead, today) for pk, ahead in sorted(ahead_of(yarns).items())]
    YarnOutlook.objects.bulk_create(
        rows,
        update_conflicts=True,
        unique_fields=["yarn"],
        update_fields=[*OUTLOOK_FIGURES, "worked_from", "worked_at"],
    )
    return len(rows)


OUTLOOK_FIGURES = (
    "on_hand_g",
    "held_g",
    "incoming_g",
    "demand_g",
    "short_on",
    "short_g",
    "short_for",
    "order_by",
    "order_g",
    "days",
)


def outlook_of(yarn_id: int, ahead: Ahead, today: date) -> YarnOutlook:
    worked = ahead.work_out(today)
    return YarnOutlook(
        yarn_id=yarn_id,
        on_hand_g=ahead.on_hand_g,
        held_g=ahead.held_g,
        incoming_g=sum(grams for _, grams, _ in ahead.deliveries),
        demand_g=sum(grams for _, grams, _ in ahead.demands),
        short_on=worked.short_on,
        short_g=worked.short_g,
        short_for=worked.short_for,
        order_by=worked.order_by,
        order_g=worked.order_g,
        days=[{**asdict(day), "day": day.day.isoformat(), "labels": list(day.labels)} for day in worked.days],
        worked_from=ahead.worked_from(today),
    )
