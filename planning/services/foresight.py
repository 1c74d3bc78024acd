"""What warps would do to yarn if they, or their places in the plan, were otherwise. Writes nothing."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Sum

from inventory import services as store
from inventory.models import Yarn
from inventory.services import Foreseen, HoldLost, OfYarn, Otherwise
from mill.models import Mill
from planning.models import Closure, PlanRun, Slot, Warp, WarpHold, WarpYarn
from planning.services import working_out
from planning.ticket import Figures, YarnNeed

# (use, primary key of the yarn)
Key = tuple[str, int]


@dataclass(frozen=True)
class WarpThen:
    """A warp as it would be.

    figures     None where it would not be there, or can't be worked out
    slot        its place in the plan by then
    begins_by   when it should begin as long as it has no place; None for as its parts stand
    """

    warp: Warp
    figures: Figures | None
    slot: Slot | None
    begins_by: date | None = None


def foresee_warps(
    then: Iterable[WarpThen], *, besides: Sequence[OfYarn] = (), besides_now: Sequence[OfYarn] = ()
) -> Foreseen:
    """What these warps would draw instead of what they draw, and what of their yarn would be held for nothing.

    Warps come from `working_out.for_working_out()`.

    besides, besides_now    what is drawn then, and now, for pieces that no warp has
    """
    then = list(then)
    closures = list(Closure.objects.all())
    yarn_ids = yarn_ids_of(one.figures for one in then if one.figures)
    demands: list[OfYarn] = [*besides]
    wanted: dict[int, dict[Key, int]] = {}
    for one in then:
        needs = working_out.needs_of(one.warp, one.figures, yarn_ids) if one.figures else []
        rows = working_out.demand_of(one.warp, needs, closures=closures, slot=one.slot, begins_by=one.begins_by)
        demands += [OfYarn(row.yarn_id, row.on, row.grams, row.label) for row in rows]
        wanted[one.warp.pk] = {(need.use, need.yarn_id): need.issue_g for need in needs}
    sources = [working_out.source_of(one.warp) for one in then]
    return store.foresee(
        Otherwise(without_sources=sources, demands=tuple(demands)),
        now=Otherwise(demands=tuple(besides_now)),
        lost=_lost(wanted),
    )


def yarn_ids_of(figures: Iterable[Figures]) -> dict[str, int]:
    """Primary keys by code of all yarns that these take; one query."""
    codes = {need.code for one in figures for need in yarn_needs(one)}
    return dict(Yarn.objects.filter(code__in=codes).values_list("code", "pk"))


def yarn_needs(figures: Figures) -> tuple[YarnNeed, ...]:
    return (*figures.warp_yarns, *figures.weft_yarns)


def _lost(wanted: Mapping[int, Mapping[Key, int]]) -> list[HoldLost]:
    """Of what is held for these warps, what they would not want any more, beyond what they don't want by now."""
    holds: dict[tuple[int, Key], list[WarpHold]] = defaultdict(list)
    rows = (
        WarpHold.objects.filter(warp__in=wanted)
        .select_related("warp", "yarn", "reservation__lot")
        .annotate(left_g=Sum("reservation__movements__held_change_g"))
        .order_by("warp__number", "use", "yarn__code", "pk")
    )
    for hold in rows:
        holds[hold.warp_id, (hold.use, hold.yarn_id)].append(hold)
    now = {(need.warp_id, (need.use, need.yarn_id)): need.issue_g for need in WarpYarn.objects.filter(warp__in=wanted)}
    lost = []
    for (warp_id, key), of_yarn in holds.items():
        held_g = sum(hold.left_g for hold in of_yarn)  # type: ignore[attr-defined]
        drawn_g = sum(hold.drawn_g for hold in of_yarn)
        was_over_g = _over(held_g, drawn_g, now.get((warp_id, key), 0))
        over_g = _over(held_g, drawn_g, wanted[warp_id].get(key, 0))
        if over_g > was_over_g:
            lots = tuple(dict.fromkeys(str(hold.reservation.lot) for hold in of_yarn))
            first = of_yarn[0]
            lost.append(HoldLost(f"{first.warp}, {first.use} yarn", str(first.yarn), lots, held_g, over_g - was_over_g))
    return lost


def _over(held_g: int, drawn_g: int, wanted_g: int) -> int:
    """Of what is held, what goes beyond what is wanted."""
    return min(held_g, max(0, held_g + drawn_g - wanted_g))


# The plan


def foresee_plan(run: PlanRun) -> Foreseen:
    """What a plan would do were it put in force: warps that it winds or weaves on other days, or on other looms."""
    mill = Mill.the_one()
    slots = {slot.warp_id: slot for slot in run.slots.select_related("loom__shift_pattern")}
    then = []
    for warp in working_out.for_working_out(Warp.objects.open()):
        slot, now = slots.get(warp.pk), working_out.slot_in_force(warp)
        if _place(slot) == _place(now):
            continue
        worked = getattr(warp, "worked", None)
        if worked is None:
            continue
        warp.slots_in_force = [slot] if slot else []  # type: ignore[attr-defined]
        # The tails of another loom take more weft, or less.
        figures = working_out.work_out_warp(warp, mill=mill)
        then.append(WarpThen(warp, figures.figures if figures else None, slot))
    return foresee_warps(then)


def _place(slot: Slot | None) -> tuple[object, ...] | None:
    return (
        (slot.loom_id, slot.winding_on, slot.setup_starts_at, slot.weaving_starts_at, slot.weaving_stops_at)
        if slot
        else None
    )
