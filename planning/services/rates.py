"""Prices and rates as they were in force on a day: what the cost room reckons with. Reads, and writes nothing."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from inventory.models import YarnLot
from mill.models import Mill
from mill.working import W_
from planning.cost import PER_DAY, Rates, Stated, StepRate
from planning.models import Loom, Machine, Rate, YarnPrice

# Where a price or a rate comes from, among the figures of a sum.
IN_FORCE = W_("in force from %(day)s")
LOTS_OWN = W_("the lot's own")
INVOICED = W_("as delivery %(delivery)s was invoiced")
THE_YARNS = W_("the yarn's")


def _said(rate: Rate | YarnPrice, of: str = "") -> str:
    in_force = IN_FORCE % {"day": f"{rate.from_on:%d.%m.%Y}"}
    return f"{of}, {in_force}" if of else in_force


@dataclass(frozen=True)
class RateBook:
    """Every rate in force on a day, by kind and by what it is of; the latest that had begun by then."""

    on: date
    currency: str
    rates: Mapping[tuple[str, str], Rate]
    machines: Mapping[str, Decimal]

    def _stated(self, kind: str, of: str = "") -> Stated | None:
        rate = self.rates.get((kind, of.casefold()))
        return Stated(rate.amount, _said(rate, rate.of)) if rate else None

    def amount(self, kind: str) -> Decimal | None:
        stated = self._stated(kind)
        return stated.amount if stated else None

    def of_loom(self, loom: Loom | None) -> Stated | None:
        """Of the loom itself, else of its kind, else of every loom."""
        names = (loom.code, loom.kind, "") if loom else ("",)
        return next((found for name in names if (found := self._stated(Rate.LOOM, name))), None)

    @property
    def priced_steps(self) -> frozenset[str]:
        return frozenset(rate.of for (kind, _), rate in self.rates.items() if kind == Rate.STEP)

    def facts(self, *, loom: Loom | None, steps: Iterable[str]) -> Rates:
        """For the cost room.

        steps    of the routes: a rate counts for a step whatever its capitals
        """
        by_step = {}
        for step in steps:
            rate = self.rates.get((Rate.STEP, step.casefold()))
            if rate is not None:
                per_day = self.machines.get(step.casefold()) if rate.basis == PER_DAY else None
                by_step[step] = StepRate(rate.basis, Stated(rate.amount, _said(rate)), per_day)
        return Rates(
            currency=self.currency,
            warping_per_h=self._stated(Rate.WARPING),
            set_up_per_h=self._stated(Rate.SET_UP),
            loom_per_h=self.of_loom(loom),
            mending_per_h=self._stated(Rate.MENDING),
            steps=by_step,
            seconds_pct=self._stated(Rate.SECONDS),
            worth_pct=self._stated(Rate.WORTH),
            overhead_pct=self._stated(Rate.OVERHEAD),
        )


def rates_on(day: date) -> RateBook:
    """Two queries, and the mill's own."""
    rates: dict[tuple[str, str], Rate] = {}
    for rate in Rate.objects.filter(from_on__lte=day).order_by("from_on", "pk"):
        rates[rate.kind, rate.of.casefold()] = rate
    machines: dict[str, Decimal] = {}
    for machine in Machine.objects.order_by("name"):
        machines.setdefault(machine.step.casefold(), machine.m_per_day)
    return RateBook(day, Mill.the_one().currency, rates, machines)


def prices_on(day: date, codes: Iterable[str]) -> dict[str, Stated]:
    """Of yarns by code, as they stand in the list on a day; what has none is left out."""
    found: dict[str, Stated] = {}
    rows = YarnPrice.objects.filter(yarn__code__in=set(codes), delivery=None, lot=None, from_on__lte=day)
    for price in rows.select_related("yarn").order_by("from_on", "pk"):
        found[price.yarn.code] = Stated(price.per_kg, _said(price))
    return found


def prices_of_lots(lots: Iterable[YarnLot], *, day: date) -> dict[int, Stated]:
    """By primary key: a lot's own price, else its delivery's, else the yarn's when it was received, else on `day`."""
    rows = list(lots)
    own = {price.lot_id: price for price in YarnPrice.objects.filter(lot__in=rows)}
    of_deliveries = {
        price.delivery_id: price
        for price in YarnPrice.objects.filter(
            delivery__in=[lot.delivery_id for lot in rows if lot.delivery_id]
        ).select_related("delivery")
    }
    listed: dict[int, list[YarnPrice]] = {}
    for price in YarnPrice.objects.filter(
        yarn__in={lot.yarn_id for lot in rows}, delivery=None, lot=None, from_on__lte=day
    ).order_by("from_on", "pk"):
        listed.setdefault(price.yarn_id, []).append(price)
    found = {}
    for lot in rows:
        if lot.pk in own:
            found[lot.pk] = Stated(own[lot.pk].per_kg, LOTS_OWN)
        elif lot.delivery_id in of_deliveries:
            price = of_deliveries[lot.delivery_id]
            found[lot.pk] = Stated(price.per_kg, INVOICED % {"delivery": price.delivery})
        elif of_yarn := listed.get(lot.yarn_id):
            then = [price for price in of_yarn if price.from_on <= lot.received_on]
            price = then[-1] if then else of_yarn[-1]
            found[lot.pk] = Stated(price.per_kg, f"{THE_YARNS}, {_said(price)}")
    return found
