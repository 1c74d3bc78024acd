"""Moving warps by hand: tried on a copy, timed exactly, offered. Nothing follows until the copy is put in force."""

import time
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction

from mill.refusal import N_, Refusal, Word
from planning import board as board_room
from planning.models import Loom, PlanRun, Slot, Warp
from planning.services import assuming, clock, plans, retelling
from planning.services.assuming import Assumed
from planning.services.explaining import cost_parts, hours_said, work_said
from planning.services.retelling import Kept, Listed, listed
from planning.services.standing import Standing, standing
from planning.shed_plan import Plan, time_plan

BY_HAND = "by hand"


def assumed(run: PlanRun) -> Assumed:
    """What the plan only thinks of, if it does."""
    return assuming.read(run.explained.get("assumes"))


def turn_for(run: PlanRun, loom: Loom, at: datetime, *, but: Warp) -> int:
    """The turn on a loom of a plan that a moment stands for, counted from what is still to be woven out."""
    epoch = run.starts_at
    spans = [
        (clock.to_minute(slot.setup_starts_at, epoch=epoch), clock.to_minute(slot.weaving_stops_at, epoch=epoch))
        for slot in run.slots.open().filter(loom=loom).exclude(warp=but).order_by("position")
    ]
    return board_room.turn_at(spans, clock.to_minute(at, epoch=epoch))


def move(
    run: PlanRun,
    warp: Warp,
    *,
    loom: Loom,
    turn: int | None = None,
    at: datetime | None = None,
    pin: bool = False,
    by: Any = None,
    now: datetime | None = None,
) -> PlanRun:
    """A warp to a turn on a loom, or to where a moment falls, in a copy of the plan; the copy is offered.

    turn    0 for the first that the loom weaves from now on; the last when it is None and no moment is said
    pin     keep it on that loom once the copy is put in force

    Raises Refusal with the reason when the warp can't go there.
    """
    began = time.monotonic()
    in_force = PlanRun.objects.filter(state=PlanRun.IN_FORCE).first()
    if in_force and run.state in (PlanRun.OFFERED, PlanRun.OVERTAKEN):
        plans.refuse_overtaken(run, in_force, what=N_("Open the board of plan %(plan)s, and move the warp there."))
    if run.state not in (PlanRun.OFFERED, PlanRun.IN_FORCE):
        raise Refusal(
            N_("Plan %(plan)s is %(state)s. Open the board of the plan in force, and move the warp there."),
            plan=run.pk,
            state=Word(run.state),
        )
    there = standing(now=now, by_hand=True, assumed=assumed(run)).as_planned_in(run)
    orders = plans.orders_again(run, there)
    if at is not None:
        turn = turn_for(run, loom, at, but=warp)
    code = str(warp.number)
    moved = _moved(there, orders, code, loom, turn)
    before = time_plan(there.shed, orders)
    plan = time_plan(there.shed, moved)
    if plan.cost.broken_beams > before.cost.broken_beams:
        raise _without_beam(there, plan)
    pins = dict(run.explained.get("pins", {}))
    if pin:
        pins[code] = loom.code
    more: dict[str, Any] = {
        "said": said_of(warp, loom, before, plan),
        "pins": pins,
        "follows": run.pk,
        "steps": [*run.explained.get("steps", []), *([run.pk] if run.state == PlanRun.OFFERED else [])],
    }
    if run.explained.get("assumes"):
        more["assumes"] = run.explained["assumes"]
    others = {retelling.THAT_CARRIED_ON % {"plan": run.pk}: before}
    rule = f"{BY_HAND}: warp {code} to loom {loom.code}"
    return plans.record_plan(there, plan, rule=rule, began=began, by=by, beside=others, more=more, tried=0)


def _moved(
    there: Standing, orders: Mapping[str, Sequence[str]], code: str, loom: Loom, turn: int | None
) -> dict[str, list[str]]:
    """The orders with the warp in its new turn. Raises Refusal when it can't go there."""
    if code not in there.warps:
        why = there.left_out.get(int(code), retelling.NOT_WAITING)
        raise Refusal(N_("Warp %(warp)s can't be planned: %(why)s"), warp=code, why=Kept(why))
    row, warp = there.shed.warp[code], there.warps[code]
    if row.in_progress is not None:
        raise Refusal(
            N_("Warp %(warp)s is %(state)s in loom %(loom)s; it does not move any more."),
            warp=code,
            state=Word(warp.state),
            loom=row.in_progress,
        )
    if loom.is_held:
        raise Refusal(
            N_("Loom %(loom)s is held: %(why)s. Let it go first, then move warp %(warp)s there."),
            loom=loom.code,
            why=loom.held_reason,
            warp=code,
        )
    if warp.pin_loom is not None and warp.pin_loom != loom:
        raise Refusal(
            N_("Warp %(warp)s is pinned to loom %(loom)s. Take the pin out first, then move it."),
            warp=code,
            loom=warp.pin_loom,
        )
    misfit = there.shed.misfit(there.shed.loom[loom.code], row)
    if misfit:
        raise Refusal(
            N_("Loom %(loom)s can't take warp %(warp)s: %(misfit)s."),
            loom=loom.code,
            warp=code,
            misfit=Kept(misfit, "misfit"),
        )
    moved = {one: [other for other in order if other != code] for one, order in orders.items()}
    queue = moved[loom.code]
    turn = len(queue) if turn is None else min(turn, len(queue))
    hangs = there.shed.in_progress.get(loom.code)
    if hangs and turn == 0:
        raise Refusal(
            N_("Warp %(hangs)s hangs in loom %(loom)s; nothing can go before it. Put warp %(warp)s down behind it."),
            hangs=hangs,
            loom=loom.code,
            warp=code,
        )
    queue.insert(turn, code)
    if queue == list(orders[loom.code]):
        raise Refusal(
            N_(
                "Warp %(warp)s has that turn on loom %(loom)s already. "
                "To make it wait for a moment, pin it to the moment on its page."
            ),
            warp=code,
            loom=loom.code,
        )
    return moved


def _without_beam(there: Standing, plan: Plan) -> Refusal:
    """Which warp would wait for ever, and what its beams are on."""
    stuck = next(p for p in plan.placements.values() if p.winding and not p.beam and there.shed.warp[p.warp].beams)
    kinds = there.shed.beams_for(stuck.loom, there.shed.warp[stuck.warp])
    full = [p.warp for p in plan.placements.values() if p.beam in kinds and there.shed.warp[p.warp].wind_min is None]
    return Refusal(
        N_(
            "Warp %(warp)s could never be wound so: every beam that takes it (%(beams)s) has a warp on it that waits "
            "behind (%(warps)s). Put one of those before it."
        ),
        warp=stuck.warp,
        beams=Listed(list(kinds)),
        warps=Listed(full, most=5),
    )


def said_of(warp: Warp, loom: Loom, before: Plan, plan: Plan) -> str:
    """What a move does to the plan, in a sentence or two."""
    code = str(warp.number)
    was, now = cost_parts(before.cost), cost_parts(plan.cost)
    late, setup = now["weighted_tardy_min"] - was["weighted_tardy_min"], now["setup_min"] - was["setup_min"]
    more = [
        other
        for other, placed in plan.placements.items()
        if placed.weighted_tardy_min > before.placements[other].weighted_tardy_min and other != code
    ]
    said = retelling.BY_HAND % {
        "warp": code,
        "loom": loom.code,
        "more_late": _more_or_less(retelling.LATENESS, late),
        "more_setup": _more_or_less(retelling.SET_UP, setup),
    }
    if more:
        later = f"warp{'' if len(more) == 1 else 's'} {listed(more, most=5)}"
        said += f" {retelling.LATER_THEN % {'warps': later}}"
    return said


def _more_or_less(what: str, minutes: int) -> str:
    as_before, more, less = retelling.CHANGES_IN[what]
    if not minutes:
        return as_before
    say = work_said if what == retelling.SET_UP else hours_said
    return (more if minutes > 0 else less) % {"time": say(abs(minutes))}


@transaction.atomic
def take_back(run: PlanRun, *, by: Any) -> PlanRun:
    """Undo the last move by hand: its copy is put aside, and the plan it was made from is the one to look at."""
    if run.state != PlanRun.OFFERED or "follows" not in run.explained:
        raise Refusal(N_("Plan %(plan)s holds no move by hand to take back."), plan=run.pk)
    plans.refuse_plan(run, by=by)
    return PlanRun.objects.get(pk=run.explained["follows"])


def what_is_different(run: PlanRun, base: PlanRun | None) -> dict[int, Slot]:
    """By warp: its slot in the other plan, where loom or turn differ."""
    if base is None or base.pk == run.pk:
        return {}
    had = {slot.warp_id: (slot, turn) for slot, turn in turns_of(base.slots.open().select_related("loom"))}
    return {
        slot.warp_id: had[slot.warp_id][0]
        for slot, turn in turns_of(run.slots.open())
        if slot.warp_id in had and (had[slot.warp_id][0].loom_id, had[slot.warp_id][1]) != (slot.loom_id, turn)
    }


def turns_of(slots: Iterable[Slot]) -> Iterator[tuple[Slot, int]]:
    """Slots of a plan with their turns on their looms: 0 for the first of those that are given."""
    waits: Counter[int] = Counter()
    for slot in sorted(slots, key=lambda one: one.position):
        yield slot, waits[slot.loom_id]
        waits[slot.loom_id] += 1
