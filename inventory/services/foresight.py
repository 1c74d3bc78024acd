"""What a change would do to yarn before it is written: draw-downs as they would be. Writes nothing."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from datetime import date

from django.utils import timezone

from inventory.drawdown import Dated
from inventory.foresight import WORSE, Foresight
from inventory.models import Delivery, Yarn, YarnDemand
from inventory.services.outlooks import Ahead, ahead_of

# So many yarns are shown all; of more only those that are in trouble.
FEW = 8


@dataclass(frozen=True)
class OfYarn:
    """Grams of a yarn that would be drawn, or would come, on a day. `label` is what a person calls it."""

    yarn: int
    on: date
    grams: int
    label: str


@dataclass(frozen=True)
class Otherwise:
    """What would be otherwise than it stands.

    without_sources      demand that would not be any more, or would be said anew in `demands`: warp:118
    without_deliveries   deliveries, by primary key, that would not come, or are said anew in `deliveries`
    """

    without_sources: Collection[str] = ()
    demands: tuple[OfYarn, ...] = ()
    without_deliveries: Collection[int] = ()
    deliveries: tuple[OfYarn, ...] = ()


AS_IT_STANDS = Otherwise()


@dataclass(frozen=True)
class HoldLost:
    """Yarn that is held and would be held for nothing."""

    for_what: str
    yarn: str
    lots: tuple[str, ...]
    held_g: int
    lost_g: int


@dataclass(frozen=True)
class YarnForeseen:
    yarn: Yarn
    sight: Foresight


@dataclass(frozen=True)
class Foreseen:
    """What a change would do: to each yarn that it touches, those that it makes worse first; and what is held."""

    yarns: tuple[YarnForeseen, ...] = ()
    lost: tuple[HoldLost, ...] = ()

    @property
    def worse(self) -> tuple[YarnForeseen, ...]:
        return tuple(one for one in self.yarns if one.sight.is_worse)

    @property
    def shown(self) -> tuple[YarnForeseen, ...]:
        """All of a few; of many those that are short now or then."""
        return tuple(
            one
            for one in self.yarns
            if len(self.yarns) <= FEW or one.sight.now.short_on is not None or one.sight.then.short_on is not None
        )

    @property
    def lasting(self) -> tuple[YarnForeseen, ...]:
        """The rest, which last before and after."""
        shown = {one.yarn.pk for one in self.shown}
        return tuple(one for one in self.yarns if one.yarn.pk not in shown)

    @property
    def lost_g(self) -> int:
        return sum(hold.lost_g for hold in self.lost)


def foresee(
    then: Otherwise, *, now: Otherwise = AS_IT_STANDS, lost: Iterable[HoldLost] = (), today: date | None = None
) -> Foreseen:
    """The draw-downs of the yarns that `then` touches, beside what they are.

    now    what they are beside what stands written: pieces that no warp has yet, and that want yarn all the same

    A constant number of queries, whatever the number of yarns.
    """
    today = today or timezone.localdate()
    touched = _touched(then) | _touched(now)
    stands = ahead_of(touched)
    numbers = dict(
        Delivery.objects.filter(pk__in={*then.without_deliveries, *now.without_deliveries}).values_list("pk", "number")
    )
    sources = {*then.without_sources, *now.without_sources}
    rows = YarnDemand.objects.filter(source__in=sources).order_by("on", "label", "use", "grams", "source")
    demands = list(rows.values_list("source", "yarn_id", "on", "grams", "label"))
    found = []
    for yarn in Yarn.objects.filter(pk__in=touched):
        of_yarn = [(source, (on, grams, label)) for source, pk, on, grams, label in demands if pk == yarn.pk]
        before, after = (_otherwise(stands[yarn.pk], yarn.pk, otherwise, of_yarn, numbers) for otherwise in (now, then))
        if any(sorted(was) != sorted(is_now) for was, is_now in _pairs(before, after)):
            found.append(YarnForeseen(yarn, Foresight(before.work_out(today), after.work_out(today))))
    found.sort(key=lambda one: (_rank(one.sight.verdict), one.yarn.code))
    return Foreseen(tuple(found), tuple(lost))


def _pairs(before: Ahead, after: Ahead) -> tuple[tuple[tuple[Dated, ...], tuple[Dated, ...]], ...]:
    return (before.demands, after.demands), (before.deliveries, after.deliveries)


def _rank(verdict: str) -> int:
    return WORSE.index(verdict) if verdict in WORSE else len(WORSE)


def _touched(otherwise: Otherwise) -> set[int]:
    """Primary keys of the yarns that are drawn or come otherwise."""
    found = {row.yarn for row in (*otherwise.demands, *otherwise.deliveries)}
    if otherwise.without_sources:
        found |= set(YarnDemand.objects.filter(source__in=otherwise.without_sources).values_list("yarn_id", flat=True))
    if otherwise.without_deliveries:
        found |= set(Delivery.objects.filter(pk__in=otherwise.without_deliveries).values_list("yarn_id", flat=True))
    return found


def _otherwise(
    ahead: Ahead,
    yarn: int,
    otherwise: Otherwise,
    demands: Collection[tuple[str, Dated]],
    numbers: dict[int, str],
) -> Ahead:
    """What lies ahead of a yarn, with what would be otherwise put in its place."""
    gone = [row for source, row in demands if source in otherwise.without_sources]
    without = {numbers[pk] for pk in otherwise.without_deliveries if pk in numbers}
    return replace(
        ahead,
        demands=_in_order(_left(ahead.demands, gone), _dated(otherwise.demands, yarn)),
        deliveries=_in_order(
            (row for row in ahead.deliveries if row[2] not in without), _dated(otherwise.deliveries, yarn)
        ),
    )


def _left(rows: Iterable[Dated], gone: Iterable[Dated]) -> list[Dated]:
    left = list(rows)
    for row in gone:
        left.remove(row)
    return left


def _dated(rows: Iterable[OfYarn], yarn: int) -> list[Dated]:
    return [(row.on, row.grams, row.label) for row in rows if row.yarn == yarn and row.grams]


def _in_order(rows: Iterable[Dated], more: Iterable[Dated]) -> tuple[Dated, ...]:
    """By day; of a day what stands already is served before what comes new to it."""
    return tuple(sorted([*rows, *more], key=lambda row: row[0]))


# A delivery before it is written


def foresee_delivery(delivery: Delivery) -> Foreseen:
    """What the delivery would do as it is filled in, beside what it does as it stands. It need not be valid in all."""
    came_g = 0
    if delivery.pk is not None:
        came_g = Delivery.objects.with_received().values_list("received_g", flat=True).get(pk=delivery.pk)
    left_g = 0 if delivery.is_closed else max(0, delivery.ordered_g - came_g)
    coming = OfYarn(delivery.yarn_id, delivery.expected_on, left_g, delivery.number)
    without = () if delivery.pk is None else (delivery.pk,)
    return foresee(Otherwise(without_deliveries=without, deliveries=(coming,)))
