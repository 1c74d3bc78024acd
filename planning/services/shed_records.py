"""The records that a shed's standing is worked from, read once however many standings are worked from them."""

from collections.abc import Sequence
from datetime import datetime
from functools import cached_property
from typing import Any

from django.db.models import F, Prefetch, QuerySet
from django.utils import timezone

from inventory.models import Delivery, YarnLot
from mill.models import Mill
from planning.models import Closure, ClothSpec, Customer, Loom, Order, PlanRun, Slot, Warp, WarpPart, WarpYarn
from planning.services import woven
from planning.services.woven import InLoom


class ShedRecords:
    """As they stand at a moment; each kind is read when it is first asked for.

    now    until when what the floor told counts; this moment unless it is said
    """

    def __init__(self, now: datetime | None = None) -> None:
        self.now = now or timezone.now()

    @cached_property
    def mill(self) -> Mill:
        return Mill.the_one()

    @cached_property
    def closures(self) -> list[Closure]:
        return list(Closure.objects.all())

    @cached_property
    def looms(self) -> list[Loom]:
        return list(Loom.objects.select_related("shift_pattern").order_by("code"))

    @cached_property
    def warps(self) -> list[Any]:
        """Open warps that stand in plans, with what a plan reads of them."""
        return list(as_planned(Warp.objects.open().exclude(state=Warp.PROPOSED)))

    @cached_property
    def in_loom(self) -> dict[int, InLoom]:
        return woven.in_loom(now=self.now)

    @cached_property
    def in_force(self) -> PlanRun | None:
        """The plan in force, without what it says of itself, which is large."""
        return PlanRun.objects.filter(state=PlanRun.IN_FORCE).defer("explained").first()

    @cached_property
    def _wound_in_force(self) -> tuple[Sequence[str] | None, Any]:
        if self.in_force is None:
            return None, None
        of_it = PlanRun.objects.values_list("explained__winding", "explained__wound_ahead_min")
        return of_it.get(pk=self.in_force.pk)

    @property
    def winding_in_force(self) -> Sequence[str]:
        """Numbers of warps in the order in which the plan in force winds them; none without one."""
        return self._wound_in_force[0] or ()

    @property
    def wound_ahead_in_force_min(self) -> int | None:
        said = self._wound_in_force[1]
        return None if said is None else int(said)

    @cached_property
    def yarn_wanted(self) -> list[tuple[int, str, int, int, str, int | None]]:
        """Of those warps: warp, use, grams to issue, yarn, its code, the days in which its supplier delivers."""
        return list(
            WarpYarn.objects.filter(warp__in=[warp.pk for warp in self.warps])
            .order_by("use", "yarn__code")
            .values_list("warp", "use", "issue_g", "yarn", "yarn__code", "yarn__supplier__lead_time_days")
        )

    @cached_property
    def on_hand(self) -> list[tuple[int, int]]:
        """Yarn and grams of each lot that is free to use, the oldest first."""
        lots = YarnLot.objects.free_to_use().with_balance().filter(on_hand_g__gt=0).order_by("received_on", "pk")
        return list(lots.values_list("yarn_id", "on_hand_g"))

    @cached_property
    def to_come(self) -> list[tuple[Delivery, int]]:
        """Deliveries with the grams that are still to come of them."""
        return [(one, one.outstanding_g) for one in Delivery.objects.open()]


def as_planned(warps: QuerySet[Warp]) -> QuerySet[Any]:
    """Warps with what a plan reads of them and no more: the figures of some hundred would take seconds to read."""
    slots = Slot.objects.filter(run__state=PlanRun.IN_FORCE).select_related("loom")
    # Lines are each their own; their orders, customers and specifications are few, and read once.
    orders = Order.objects.only("number", "customer").prefetch_related(
        Prefetch("customer", Customer.objects.only("name"))
    )
    specs = ClothSpec.objects.only("finishing_days", "reed_dents_per_10cm")
    parts = (
        WarpPart.objects.select_related("line")
        .only(*("warp", "position", "pieces", "spec", "line__due_on", "line__weight", "line__position", "line__order"))
        .prefetch_related(Prefetch("line__order", orders), Prefetch("spec", specs))
    )
    return (
        warps.select_related("beam", "loom", "pin_loom", "worked")
        .defer("worked__figures")
        .annotate(runs=F("worked__figures__runs"), sized_warp_g=F("worked__figures__sized_warp_g"))
        .prefetch_related(Prefetch("parts", parts), Prefetch("slots", slots, to_attr="slots_in_force"), "holds")
    )
