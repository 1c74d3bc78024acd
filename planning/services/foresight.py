"""What warps would do to yarn if they, or their places in the plan, were otherwise. Writes nothing."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Prefetch, Sum
from django.utils.translation import gettext

from inventory import services as store
from inventory.models import Yarn
from inventory.services import Foreseen, HoldLost, OfYarn, Otherwise
from mill.models import Mill
from planning.models import Closure, PlanRun, Slot, Warp, WarpHold, WarpPart, WarpYarn
from planning.services import working_out
from planning.ticket import Figures, YarnNeed

# (use, primary key of the yarn)
Key = tuple[str, int]


@dataclass(frozen=True)
class WarpThen:
    """A warp as it would be.

    figures     None where it would not be there, or can't be worked out, or takes what it takes now
    slot        its place in the plan by then
    begins_by   when it should begin as long as it has no place; None for as its parts stand
    needs       what it takes, where that is as it stands; None for what the figures say
    """

    warp: Warp
    figures: Figures | None
    slot: Slot | None
    begins_by: date | None = None
    needs: Sequence[WarpYarn] | None = None


def foresee_warps(
    then: Iterable[WarpThen],
    *,
    besides: Sequence[OfYarn] = (),
    besides_now: Sequence[OfYarn] = (),
    closed: Sequence[Closure] = (),
) -> Foreseen:
    """What these warps would draw instead of what they draw, and what of their yarn would be held for nothing.

    Warps come from `working_out.for_working_out()`.

    besides, besides_now    what is drawn then, and now, for pieces that no warp has
    closed                  closures that are not written down
    """
    then = list(then)
    closures = [*Closure.objects.all(), *closed]
    yarn_ids = yarn_ids_of(one.figures for one in then if one.figures)
    demands: list[OfYarn] = [*besides]
    wanted: dict[int, dict[Key, int]] = {}
    for one in then:
        needs = one.needs
        if needs is None:
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
            is_warp = first.use == WarpYarn.WARP
            said = gettext("Warp %(number)s, warp yarn") if is_warp else gettext("Warp %(number)s, weft yarn")
            for_what = said % {"number": first.warp.number}
            lost.append(HoldLost(for_what, str(first.yarn), lots, held_g, over_g - was_over_g))
    return lost


def _over(held_g: int, drawn_g: int, wanted_g: int) -> int:
    """Of what is held, what goes beyond what is wanted."""
    return min(held_g, max(0, held_g + drawn_g - wanted_g))


# The plan


def foresee_plan(run: PlanRun) -> Foreseen:
    """What a plan would do were it put in force: warps that it winds or weaves on other days, or on other looms."""
    return foresee_slots({slot.warp_id: slot for slot in run.slots.select_related("loom__shift_pattern")})


def foresee_slots(then_slots: Mapping[int, Slot], *, closed: Sequence[Closure] = ()) -> Foreseen:
    """What it would do that warps stand in these places, which need not be written; by warp.

    closed    closures that are not written down
    """
    in_force = Slot.objects.filter(run__state=PlanRun.IN_FORCE).select_related("loom")
    now_slots = {slot.warp_id: slot for slot in in_force}
    moved = {
        pk for pk in then_slots.keys() | now_slots.keys() if _place(then_slots.get(pk)) != _place(now_slots.get(pk))
    }
    # Of a loom only its tails bear on yarn: only where they are longer or shorter is a warp worked out again.
    other_tails = {pk for pk in moved if _tail_cm(then_slots.get(pk)) != _tail_cm(now_slots.get(pk))}
    needs: dict[int, list[WarpYarn]] = defaultdict(list)
    for need in WarpYarn.objects.filter(warp__in=moved - other_tails).order_by("use", "yarn__code"):
        needs[need.warp_id].append(need)
    as_they_are = (
        Warp.objects.open()
        .filter(pk__in=moved - other_tails)
        .prefetch_related("holds", Prefetch("parts", WarpPart.objects.select_related("line", "spec")))
    )
    then = [WarpThen(warp, None, then_slots.get(warp.pk), needs=needs[warp.pk]) for warp in as_they_are]
    mill = Mill.the_one()
    for warp in working_out.for_working_out(Warp.objects.open().filter(pk__in=other_tails)):
        slot = then_slots.get(warp.pk)
        warp.slots_in_force = [slot] if slot else []  # type: ignore[attr-defined]
        worked = working_out.work_out_warp(warp, mill=mill)
        then.append(WarpThen(warp, worked.figures if worked else None, slot))
    return foresee_warps(then, closed=closed)


def _place(slot: Slot | None) -> tuple[object, ...] | None:
    """What a warp's demand hangs on."""
    if slot is None:
        return None
    return (slot.loom_id, slot.winding_on, slot.setup_starts_at, slot.weaving_starts_at, slot.weaving_stops_at)


def _tail_cm(slot: Slot | None) -> Decimal:
    return slot.loom.tail_cm if slot else Decimal(0)
