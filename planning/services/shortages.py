"""What would end a shortage of yarn: who holds it, which delivery comes, what to order. Looks and writes nothing."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace

from django.utils import timezone

from inventory import services as store
from inventory.cure import Cure, Promised, ToOrder, cures, to_order
from inventory.draw import Choice, Lot, choose
from inventory.models import Delivery, Yarn
from inventory.shelf import Want
from mill.models import Mill
from mill.retold import told_again
from planning.models import Warp, WarpHold, WarpPart

# Holds that are weighed for one shortage, the largest; and those of them that are named.
WEIGHED, NAMED = 12, 4


@dataclass(frozen=True)
class Holder:
    """Yarn of a dye lot that is held for something else.

    warp, parts   None and empty when no warp holds it
    would_do      were it let go, the shortage would be over
    """

    for_what: str
    dye_lot: str
    grams: int
    lots: tuple[Lot, ...]
    warp: Warp | None
    parts: tuple[WarpPart, ...]
    would_do: bool = False

    @property
    def called(self) -> str:
        """What it is held for, in the language of the page."""
        return told_again(self.for_what)

    @property
    def lines(self) -> list[str]:
        return [str(part.line) for part in self.parts]


@dataclass(frozen=True)
class Shortage:
    """A need that nothing free covers.

    holders    those whose yarn would do first; `more_holders` are not named
    cure       the promised delivery that ends it
    order      what to order where none does; None when only a dye lot that is begun would do
    """

    want: Want
    choice: Choice
    holders: tuple[Holder, ...]
    more_holders: int
    cure: Cure | None
    order: ToOrder | None
    is_overdue: bool

    @property
    def short_g(self) -> int:
        return self.choice.short_g


def shortages(
    short: Sequence[tuple[Want, Choice]], left: Iterable[Lot], *, own: dict[Want, int] | None = None
) -> dict[Want, Shortage]:
    """Of each need that is short, what would end it; a constant number of queries, and none when nothing is short.

    left    what of the yarns is free, and goes to nobody
    own     the warp, by primary key, whose need it is: what it holds itself is no other's
    """
    if not short:
        return {}
    today, useful_g = timezone.localdate(), Mill.the_one().useful_remainder_g
    yarns = {int(want.need.yarn) for want, _ in short}
    lots = list(left)
    cured = cures([want for want, _ in short], lots, promised(yarns), useful_g=useful_g, today=today)
    held = _holders(yarns)
    terms = {
        pk: (lead_time_days, min_order_g)
        for pk, lead_time_days, min_order_g in Yarn.objects.filter(pk__in=yarns).values_list(
            "pk", "supplier__lead_time_days", "min_order_g"
        )
    }
    found = {}
    for want, choice in short:
        others = [one for one in held[int(want.need.yarn)] if not (one.warp and one.warp.pk == (own or {}).get(want))]
        weighed = [_weighed(one, want, lots, useful_g) for one in others[:WEIGHED]]
        named = sorted(weighed, key=lambda one: not one.would_do)[:NAMED]
        cure = cured.get(want)
        lead_time_days, min_order_g = terms[int(want.need.yarn)]
        found[want] = Shortage(
            want=want,
            choice=choice,
            holders=tuple(named),
            more_holders=len(others) - len(named),
            cure=cure,
            order=None
            if cure
            else to_order(want, choice, today=today, lead_time_days=lead_time_days, min_order_g=min_order_g),
            is_overdue=cure is not None and any(one.on < today for one in cure.deliveries),
        )
    return found


def promised(yarns: Collection[int]) -> list[Promised]:
    """What is still to come of these yarns."""
    rows = Delivery.objects.filter(yarn_id__in=yarns).open().order_by("expected_on", "pk")
    return [
        Promised(row.number, row.yarn_id, row.outstanding_g, row.expected_on, row.dye_lot, pk=row.pk) for row in rows
    ]


def _holders(yarns: Collection[int]) -> dict[int, list[Holder]]:
    """What is held of each yarn, by what it is held for and dye lot; the most first."""
    rows = store.open_holds(yarns)
    holds = {
        hold.reservation_id: hold
        for hold in WarpHold.objects.filter(reservation__in=[row.pk for row in rows]).select_related("warp")
    }
    parts = parts_of(hold.warp_id for hold in holds.values())
    groups: dict[tuple[int, str, str], list[tuple[Lot, Warp | None]]] = defaultdict(list)
    for row in rows:
        hold = holds.get(row.pk)
        lot = Lot(
            label=row.lot.label,
            yarn=row.lot.yarn_id,
            dye_lot=row.lot.dye_lot,
            free_g=row.remaining_g,
            received_on=row.lot.received_on,
            is_quarantined=row.lot.is_quarantined,
            is_shade_approved=row.lot.is_shade_approved,
            pk=row.lot_id,
        )
        groups[row.lot.yarn_id, row.for_what, row.lot.dye_lot].append((lot, hold.warp if hold else None))
    found: dict[int, list[Holder]] = defaultdict(list)
    for (yarn, for_what, dye_lot), of_it in groups.items():
        warp = of_it[0][1]
        held = tuple(lot for lot, _ in of_it)
        grams = sum(lot.free_g for lot in held)
        found[yarn].append(Holder(for_what, dye_lot, grams, held, warp, tuple(parts[warp.pk]) if warp else ()))
    for holders in found.values():
        holders.sort(key=lambda one: (-one.grams, one.for_what, one.dye_lot))
    return found


def parts_of(warps: Iterable[int]) -> dict[int, list[WarpPart]]:
    """The parts of each warp, with order and customer; one query."""
    rows = WarpPart.objects.filter(warp__in=set(warps)).select_related("line__order__customer")
    found: dict[int, list[WarpPart]] = defaultdict(list)
    for part in rows.order_by("warp", "position"):
        found[part.warp_id].append(part)
    return found


def _weighed(holder: Holder, want: Want, left: Sequence[Lot], useful_g: int) -> Holder:
    """Whether the need would be met, were this let go."""
    free = {lot.label: lot for lot in left if lot.yarn == want.need.yarn}
    for lot in holder.lots:
        had = free.get(lot.label)
        free[lot.label] = replace(lot, free_g=lot.free_g + (had.free_g if had else 0))
    offered = [lot for lot in free.values() if want.only in ("", lot.dye_lot)]
    return replace(holder, would_do=choose(want.need, offered, useful_g=useful_g).is_met)
