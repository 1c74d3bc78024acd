"""The cure of a shortage: the promised delivery that ends it, else what to order. Knows no ledger or clock."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from inventory.draw import Choice, Lot, choose
from inventory.shelf import Want


@dataclass(frozen=True, slots=True)
class Promised:
    """Yarn that a supplier has promised and that has not come. `dye_lot` is "" until he has named it."""

    number: str
    yarn: int | str
    grams: int
    on: date
    dye_lot: str = ""
    pk: int = 0

    @property
    def as_lot(self) -> Lot:
        """As it will lie in the store, taken to be of one dye lot."""
        return Lot(self.number, self.yarn, self.dye_lot or f"of delivery {self.number}", self.grams, self.on)


@dataclass(frozen=True, slots=True)
class Cure:
    """The deliveries that end a shortage, in the order in which they come, and the days by which the last is late."""

    deliveries: tuple[Promised, ...]
    late_days: int

    @property
    def numbers(self) -> list[str]:
        return [one.number for one in self.deliveries]

    @property
    def on(self) -> date:
        return self.deliveries[-1].on


@dataclass(frozen=True, slots=True)
class ToOrder:
    """What would have to be ordered today.

    is_smallest            less would do, but the supplier sends no less
    comes_on, late_days    None when no lead time is known
    """

    grams: int
    is_smallest: bool
    is_one_dye_lot: bool
    comes_on: date | None
    late_days: int | None


def cures(
    wants: Iterable[Want], left: Iterable[Lot], promised: Iterable[Promised], *, useful_g: int, today: date
) -> dict[Want, Cure]:
    """What would end each shortage, the earliest that does; those wanted first have first call.

    wants       needs that are short; those that nothing promised would end are not in the answer
    left        what of their yarns is free and goes to nobody
    promised    each taken to come in one dye lot, its own unless it is named
    today       what should have come before comes today at the soonest

    >>> from inventory.draw import Need
    >>> want = Want(Need(7, 10_000, "warp", "Warp 119"), "Warp 119", date(2026, 11, 24))
    >>> promised = [Promised("E1", 7, 8000, date(2026, 11, 20)), Promised("E2", 7, 25_000, date(2026, 11, 27))]
    >>> cure = cures([want], [], promised, useful_g=3000, today=date(2026, 11, 19))[want]
    >>> cure.deliveries[-1].number, cure.late_days
    ('E2', 3)
    """
    lots = list(left)
    coming = sorted(promised, key=lambda one: (one.on, one.number))
    found: dict[Want, Cure] = {}
    for want in sorted(wants, key=lambda want: (want.wanted_on, want.need.label)):
        of_yarn = [one for one in coming if one.yarn == want.need.yarn and one.grams]
        for n in range(len(of_yarn) + 1):
            offered = [*lots, *(one.as_lot for one in of_yarn[:n])]
            choice = choose(want.need, _only(offered, want), useful_g=useful_g)
            if choice.is_met:
                taken_g = {(take.lot.label, take.lot.dye_lot): 0 for take in choice.takes}
                for take in choice.takes:
                    taken_g[take.lot.label, take.lot.dye_lot] += take.grams
                used = tuple(one for one in of_yarn[:n] if (one.number, one.as_lot.dye_lot) in taken_g)
                if used:
                    found[want] = Cure(used, max(0, (max(used[-1].on, today) - want.wanted_on).days))
                lots = [replace(lot, free_g=lot.free_g - taken_g.get((lot.label, lot.dye_lot), 0)) for lot in lots]
                coming = [
                    replace(one, grams=one.grams - taken_g.get((one.number, one.as_lot.dye_lot), 0)) for one in coming
                ]
                break
    return found


def _only(lots: Sequence[Lot], want: Want) -> list[Lot]:
    return [lot for lot in lots if want.only in ("", lot.dye_lot)]


def to_order(
    want: Want, choice: Choice, *, today: date, lead_time_days: int | None, min_order_g: int
) -> ToOrder | None:
    """What would end a shortage that nothing promised ends; None where only a dye lot that is begun would.

    What can't be parted comes whole in one dye lot, since a new one is another dye lot than what there is; for a weft
    in pieces what is short will do.

    >>> from inventory.draw import Need
    >>> want = Want(Need(7, 10_000, "warp", "Warp 119"), "Warp 119", date(2026, 11, 24))
    >>> choice = Choice(want.need, (), "", short_g=2000)
    >>> to_order(want, choice, today=date(2026, 11, 2), lead_time_days=28, min_order_g=0)
    ToOrder(grams=10000, is_smallest=False, is_one_dye_lot=True, comes_on=datetime.date(2026, 11, 30), late_days=6)

    Source: common practice, no source.
    """
    if want.only:
        return None
    is_one = not want.need.pieces_g
    wanting_g = want.need.grams if is_one else choice.short_g
    comes_on = None if lead_time_days is None else today + timedelta(lead_time_days)
    return ToOrder(
        grams=max(wanting_g, min_order_g),
        is_smallest=wanting_g < min_order_g,
        is_one_dye_lot=is_one,
        comes_on=comes_on,
        late_days=None if comes_on is None else max(0, (comes_on - want.wanted_on).days),
    )
