"""Plans of the shed as records: made by a paper rule, put in force, put aside, brought back; and the planner's pins."""

import time
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from mill import changes
from mill.models import Mill
from mill.refusal import N_, Refusal, Word
from planning import shed as shed_room
from planning.list_rules import orders
from planning.models import Closure, Loom, PlanRun, Slot, Warp, set_up_rates
from planning.services import assuming, clock, explaining, working_out
from planning.services.retelling import CARRIED_ON, FITS_NOT, HANGS_ELSEWHERE, PAPER_RULE, Kept, Listed, Sentence
from planning.services.standing import (
    IN_LOOM,
    REACH_MIN,
    TUNERS,
    WARPING,
    Standing,
    due_minute,
    one_as_planned,
    reed_key,
    shed_loom,
    shed_warp,
    standing,
    works,
)
from planning.shed import Shed, Tuners
from planning.shed_plan import Plan, late_by_piece, time_plan, wound_first
from planning.worktime import DAY_MIN, WEEK_MIN, Calendar, Hours

__all__ = [
    "IN_LOOM",
    "RULES",
    "TUNERS",
    "WARPING",
    "Standing",
    "bring_back",
    "due_minute",
    "looms_that_fit",
    "make_plan",
    "orders_again",
    "pin_warp",
    "put_in_force",
    "record_plan",
    "reed_key",
    "refuse_plan",
    "standing",
]

RULES = {
    "earliest_due_date": N_("earliest due date"),
    "setups_first": N_("set-ups first"),
    "best": N_("best paper rule"),
}
# How long before a loom comes free its next warp may be wound. Early keeps the warping mills busy, late keeps beams
# free; which is dearer hangs on the mill.
WOUND_AHEAD_MIN = (1 * DAY_MIN, 2 * DAY_MIN, 4 * DAY_MIN, 7 * DAY_MIN, 14 * DAY_MIN)

# A plan as a record


def unplanned() -> QuerySet[Warp]:
    """Warps that are to be woven and have no place in the plan in force."""
    in_it = Slot.objects.filter(run__state=PlanRun.IN_FORCE).values("warp")
    return Warp.objects.open().exclude(state=Warp.PROPOSED).exclude(pk__in=in_it)


def make_plan(*, rule: str = "earliest_due_date", by: Any = None, now: datetime | None = None) -> PlanRun:
    """A plan by one of the mill's paper rules, offered: nothing follows from it until it is put in force."""
    began = time.monotonic()
    there = standing(now=now)
    beside = others_beside(there)
    if rule == "earliest_due_date":
        there = there.wound_in(there.by_due_date)
        plan = by_rule(there, rule)
    else:
        there, plan = wind_as_needed(there, by_rule(there, rule))
    return record_plan(there, plan, rule=RULES.get(rule, rule), began=began, by=by, beside=beside)


def by_rule(there: Standing, rule: str) -> Plan:
    """The best plan that a paper rule proposes, frozen warps left where they are."""
    proposed = (timed(there, there.frozen_first(one)) for one in orders(there.shed, rule))
    return min(proposed, key=lambda plan: plan.cost.total)


def timed(there: Standing, rows: Mapping[str, Sequence[str]]) -> Plan:
    """These orders on the looms; where a warp would wait for a beam that nobody gives up, what is wound goes first."""
    plan = time_plan(there.shed, rows)
    if not plan.cost.broken_beams:
        return plan
    mended = time_plan(there.shed, wound_first(there.shed, plan.sequences))
    return min(plan, mended, key=lambda one: one.cost.total)


def carried_on(there: Standing) -> Plan:
    """The plan in force as it would go on from here, warps that are new to it fitted in; without one, the paper rule.

    Warps pinned or frozen elsewhere go there.
    """
    if not there.previous:
        return by_rule(there, "earliest_due_date")
    (kept,) = orders(replace(there.shed, previous=there.previous), "keep")
    return timed(there, there.frozen_first(kept))


def left_as_it_is(there: Standing) -> Plan:
    """The same, but what stands on a held loom stays on it: where each warp is moved from."""
    held = {code for code, loom in there.looms.items() if loom.is_held and works(there.shed.hours(code), there.now_min)}

    def staying(row: shed_room.Warp) -> shed_room.Warp:
        place = there.previous.get(row.id)
        if place is None or row.only_looms is None or place.loom not in held:
            return row
        return replace(row, only_looms=row.only_looms | {place.loom})

    rows = tuple(staying(row) for row in there.shed.warps)
    return carried_on(replace(there, shed=replace(there.shed, warps=rows)))


def others_beside(there: Standing) -> dict[str, Plan]:
    """What a new plan is measured by: the plan in force and the paper rule, both timed from this minute on."""
    by_date = there.wound_in(there.by_due_date)
    beside = {PAPER_RULE: by_rule(by_date, "earliest_due_date")}
    return {CARRIED_ON: carried_on(there), **beside} if there.base else beside


def wind_as_needed(there: Standing, plan: Plan) -> tuple[Standing, Plan]:
    """The same orders on the looms, yarn served in the order in which the looms need it, where that costs less; and
    warps wound as far ahead of their looms as costs least.

    A loom needs a warp when it would begin its set-up if warping took no time.
    """
    released = there.released
    yarn_here = {code: max(released.warp_yarn[code], released.weft_yarn[code]) for code in there.warps}
    rows = tuple(replace(row, release=yarn_here[row.id], wind_min=None, beams=()) for row in there.shed.warps)
    unbound = replace(there.shed, warps=rows, winding=None)
    need = time_plan(unbound, plan.sequences, crew_order=plan.crew_order).placements
    for order in (
        sorted(need, key=lambda code: (need[code].setup_start, int(code))),
        sorted(plan.placements, key=lambda code: (plan.placements[code].asked_at, int(code))),
    ):
        other = there.wound_in(order)
        again = time_plan(other.shed, plan.sequences, crew_order=plan.crew_order)
        if again.cost.total < plan.cost.total:
            there, plan = other, again
    if not there.shed.winds or there.shed.winding is None:
        return there, plan
    for ahead_min in WOUND_AHEAD_MIN:
        winding = replace(there.shed.winding, ahead_min=ahead_min)
        shed = replace(there.shed, winding=winding)
        again = time_plan(shed, plan.sequences)
        if again.cost.total < plan.cost.total:
            there, plan = replace(there, shed=shed), again
    return there, plan


@transaction.atomic
def record_plan(
    there: Standing,
    plan: Plan,
    *,
    rule: str,
    began: float,
    by: Any = None,
    is_optimal: bool = False,
    beside: Mapping[str, Plan] | None = None,
    more: Mapping[str, Any] | None = None,
    tried: int = explaining.TRIED,
) -> PlanRun:
    """Write a plan down, offered, with all that is said of it.

    beside  plans to show it next to
    more    what else is kept with it: pins and closures that come with it, moves, what it follows
    tried   for so many of the worst late warps it is tried out what would mend them
    """
    there = there.wound_as_planned(plan)
    run = PlanRun.objects.create(
        rule=rule[:60],
        by=by,
        base=there.base,
        starts_at=there.epoch,
        fingerprint=there.fingerprint,
        cost=explaining.cost_parts(plan.cost),
        is_optimal=is_optimal,
        duration_ms=int((time.monotonic() - began) * 1000),
        left_out=[{"warp": number, "why": why} for number, why in sorted(there.left_out.items())],
        explained={**explaining.explain(there, plan, beside=beside, tried=tried), **(more or {})},
    )
    Slot.objects.bulk_create(slots_of(run, there, plan))
    return run


def slots_of(run: PlanRun, there: Standing, plan: Plan) -> list[Slot]:
    """The places of a plan, not written."""
    slots: list[Slot] = []
    why = {row["warp"]: explaining.in_short(row) for row in run.explained["late"]}
    for code, placed in plan.placements.items():
        late = late_by_piece(there.shed, placed)
        winding = there.winding.get(code)
        slots.append(
            Slot(
                run=run,
                warp=there.warps[code],
                loom=there.looms[placed.loom],
                position=placed.place,
                setup=placed.setup.kind,
                setup_min=placed.setup.minutes,
                winding_on=clock.to_moment(winding[0], epoch=there.epoch).date() if winding else None,
                setup_starts_at=clock.to_moment(placed.setup_start, epoch=there.epoch),
                setup_stops_at=clock.to_moment(placed.setup_end, epoch=there.epoch),
                weaving_starts_at=clock.to_moment(placed.start, epoch=there.epoch),
                weaving_stops_at=clock.to_moment(placed.end, epoch=there.epoch),
                late_min=sum(late),
                days_late=there.days_late(placed),
                why=why.get(code, ""),
            )
        )
    return slots


@transaction.atomic
def put_in_force(run: PlanRun, *, by: Any) -> PlanRun:
    """Make an offered plan the one that counts. What it moves is worked out again: tails, days of demand, tickets."""
    # All that are offered, not this one alone: the second of two planners waits here, then reads what the first did.
    waiting = PlanRun.objects.select_for_update().filter(state__in=[PlanRun.OFFERED, PlanRun.IN_FORCE])
    list(waiting.order_by("pk").values_list("pk"))
    in_force = list(PlanRun.objects.filter(state=PlanRun.IN_FORCE).order_by("pk"))
    run = PlanRun.objects.select_for_update().get(pk=run.pk)
    if run.state == PlanRun.IN_FORCE:
        return run
    if run.state != PlanRun.OFFERED:
        raise Refusal(
            N_("Plan %(plan)s is %(state)s; only one that is offered can be put in force. Make a new plan."),
            plan=run.pk,
            state=Word(run.state),
        )
    if in_force:
        refuse_overtaken(run, in_force[0], what=N_("Make a new plan, so that nothing of the other is lost."))
    slots = list(Slot.objects.filter(run=run).select_related("warp__loom", "loom"))
    gone = [slot.warp for slot in slots if slot.warp.state == Warp.WOVEN_OUT]
    if gone:
        one = N_("%(warps)s has been woven out since plan %(plan)s was made. Make a new plan.")
        several = N_("%(warps)s have been woven out since plan %(plan)s was made. Make a new plan.")
        raise Refusal(one if len(gone) == 1 else several, warps=Listed(gone), plan=run.pk)
    for slot in slots:
        hangs_on = slot.warp.loom if slot.warp.state in IN_LOOM else None
        if hangs_on and hangs_on.pk != slot.loom_id:
            raise Refusal(
                N_("%(warp)s hangs in loom %(hangs)s now; plan %(plan)s has it on loom %(loom)s. Make a new plan."),
                warp=slot.warp,
                hangs=hangs_on,
                plan=run.pk,
                loom=slot.loom,
            )
    _bring_along(run, by=by)
    before = {slot.warp_id: _place(slot) for old in in_force for slot in old.slots.all()}
    after = {slot.warp_id: _place(slot) for slot in run.slots.all()}
    PlanRun.objects.filter(pk__in=[old.pk for old in in_force]).update(state=PlanRun.OVERTAKEN)
    # The steps that led to a plan by hand are done with once it counts.
    steps = PlanRun.objects.filter(pk__in=run.explained.get("steps", []), state=PlanRun.OFFERED)
    steps.update(state=PlanRun.REFUSED, decided_by=changes.person(by), decided_at=timezone.now())
    run.state = PlanRun.IN_FORCE
    run.in_force_from = run.decided_at = timezone.now()
    run.decided_by = changes.person(by)
    run.save(update_fields=["state", "in_force_from", "decided_by", "decided_at"])
    moved = {pk for pk in before.keys() | after.keys() if before.get(pk) != after.get(pk)}
    working_out.plan_changed(warps=moved)
    return run


# By whether the plan is offered still, and whether it is known who put the other in force.
AFTER_IT = {
    (True, True): N_("Plan %(plan)s was made at %(time)s, and plan %(other)s was put in force after that by %(who)s."),
    (True, False): N_("Plan %(plan)s was made at %(time)s, and plan %(other)s was put in force after that."),
    (False, True): N_("Plan %(plan)s is %(state)s, and plan %(other)s was put in force after that by %(who)s."),
    (False, False): N_("Plan %(plan)s is %(state)s, and plan %(other)s was put in force after that."),
}


def refuse_overtaken(run: PlanRun, in_force: PlanRun, *, what: str) -> None:
    """Raises Refusal, with what is different by now, when a plan was not made from the one that is in force.

    what    the way out, in which the number of the plan in force may stand as %(plan)s
    """
    if run.pk == in_force.pk or run.base_id == in_force.pk:
        return
    is_offered = run.state == PlanRun.OFFERED
    differ = explaining.slots_that_differ(run.base if is_offered else run, in_force)
    after = Sentence(
        AFTER_IT[is_offered, bool(in_force.decided_by)],
        plan=run.pk,
        time=f"{timezone.localtime(run.made_at):%H:%M}",
        state=Word(run.state),
        other=in_force.pk,
        who=(in_force.decided_by.get_full_name() or in_force.decided_by.get_username()) if in_force.decided_by else "",
    )
    # The mill's own page of the plan is the way out, and its number stands in it.
    out = Sentence(what, plan=in_force.pk)
    if not differ:
        raise Refusal("%(after)s %(out)s", after=after, out=out)
    there = Sentence(N_("There %(differences)s."), differences=Listed([Kept(one) for one in differ], most=5))
    raise Refusal("%(after)s %(there)s %(out)s", after=after, there=there, out=out)


def _bring_along(run: PlanRun, *, by: Any) -> None:
    """What a plan only thought of becomes so with it: pins of moves by hand, a loom that stands, yarn that is late."""
    looms = Loom.objects.in_bulk(run.explained.get("pins", {}).values(), field_name="code")
    for number, code in run.explained.get("pins", {}).items():
        warp = Warp.objects.filter(number=number).first()
        if warp and warp.state not in (*IN_LOOM, Warp.WOVEN_OUT) and code in looms:
            pin_warp(warp, loom=looms[code], by=by)
    assuming.write_down_what_was(run.explained.get("assumes"), by=by)


@transaction.atomic
def bring_back(run: PlanRun, *, by: Any, now: datetime | None = None) -> PlanRun:
    """Put an overtaken plan back in force: its orders on the looms, timed afresh from this minute.

    Warps woven out since are done; warps that are new since come last on the loom that harms them least. Raises
    Refusal with what no longer fits.
    """
    began = time.monotonic()
    if run.state != PlanRun.OVERTAKEN:
        raise Refusal(
            N_("Plan %(plan)s is %(state)s; only one that was overtaken can be brought back."),
            plan=run.pk,
            state=Word(run.state),
        )
    there = standing(now=now, by_hand=True).as_planned_in(run)
    held = {code: loom.held_reason for code, loom in there.looms.items() if loom.is_held}
    rows = orders_again(run, there)
    for code in held:
        waits = [one for one in rows[code] if there.shed.warp[one].in_progress is None]
        if waits:
            raise Refusal(
                N_(
                    "Plan %(plan)s no longer fits: loom %(loom)s is held (%(why)s), and it has warp %(warps)s there. "
                    "Let the loom go, or make a new plan."
                ),
                plan=run.pk,
                loom=code,
                why=held[code],
                warps=Listed(waits),
            )
    plan = time_plan(there.shed, rows)
    again = record_plan(there, plan, rule=f"as plan {run.pk}", began=began, by=by)
    return put_in_force(again, by=by)


def orders_again(run: PlanRun, there: Standing) -> dict[str, list[str]]:
    """The orders of a plan made earlier, for the warps that are still to weave; new ones on no loom that is held."""
    rows: dict[str, list[str]] = {code: [] for code in there.looms}
    against: list[str] = []
    for loom, code in there.shed.in_progress.items():
        rows[loom].append(code)
    for slot in run.slots.select_related("warp", "loom").order_by("loom__code", "position"):
        code = str(slot.warp.number)
        if code not in there.shed.warp:
            continue
        row = there.shed.warp[code]
        if row.in_progress:
            if row.in_progress != slot.loom.code:
                told = {"warp": code, "hangs": row.in_progress, "loom": slot.loom}
                against.append(HANGS_ELSEWHERE % told)
        elif not there.shed.fits(slot.loom.code, code):
            misfit = there.shed.misfit(there.shed.loom[slot.loom.code], row)
            against.append(FITS_NOT % {"warp": code, "misfit": misfit})
        else:
            rows[slot.loom.code].append(code)
    if against:
        raise Refusal(
            N_("Plan %(plan)s no longer fits: %(against)s. Make a new plan."),
            plan=run.pk,
            against=Listed([Kept(one) for one in against], most=4),
        )
    placed = {code for order in rows.values() for code in order}
    for code in there.by_due_date:
        if code not in placed:
            takes = there.shed.looms_for[code]
            loom = min(
                [one for one in takes if one in there.taking_new] or takes,
                key=lambda one: sum(there.shed.weave_min(one, other) for other in rows[one]),
            )
            rows[loom].append(code)
    return rows


def _place(slot: Slot) -> tuple[object, ...]:
    return (slot.loom_id, slot.winding_on, slot.weaving_starts_at, slot.weaving_stops_at)


@transaction.atomic
def refuse_plan(run: PlanRun, *, by: Any) -> None:
    """Put an offered plan aside; it stays in the book."""
    changed = PlanRun.objects.filter(pk=run.pk, state=PlanRun.OFFERED).update(
        state=PlanRun.REFUSED, decided_by=changes.person(by), decided_at=timezone.now()
    )
    if not changed:
        run.refresh_from_db()
        raise Refusal(
            N_("Plan %(plan)s is %(state)s; only one that is offered can be put aside."),
            plan=run.pk,
            state=Word(run.state),
        )


@transaction.atomic
def pin_warp(warp: Warp, *, loom: Loom | None, by: Any, starts_at: datetime | None = None) -> None:
    """The planner's word: on this loom, and from this moment if one is said; None takes the pin out."""
    warp = Warp.objects.select_for_update(of=("self",), no_key=True).get(pk=warp.pk)
    if warp.state in (*IN_LOOM, Warp.WOVEN_OUT):
        raise Refusal(N_("%(warp)s is %(state)s; it does not move any more."), warp=warp, state=Word(warp.state))
    if starts_at and not loom:
        raise Refusal(N_("A moment needs a loom to go with it. Choose the loom too."), field="loom")
    if starts_at and starts_at < timezone.now():
        gone = Kept(f"{timezone.localtime(starts_at):%d %b %H:%M}", "date")
        raise Refusal(N_("%(moment)s has gone by. Choose a moment to come."), field="starts_at", moment=gone)
    if starts_at and starts_at > timezone.now() + timedelta(minutes=REACH_MIN):
        far = Kept(f"{timezone.localtime(starts_at):%d %B %Y}", "whole")
        too_far = N_("%(day)s is more than a year away, and no plan reaches so far. Choose an earlier day.")
        raise Refusal(too_far, field="starts_at", day=far)
    if loom:
        if loom.is_held and loom.pk != warp.pin_loom_id:
            raise Refusal(
                N_("Loom %(loom)s is held: %(why)s. Let it go first, or choose another loom."),
                field="loom",
                loom=loom.code,
                why=loom.held_reason,
            )
        worked = getattr(warp, "worked", None)
        if worked and worked.figures:
            misfit = _misfits(warp, [loom])[0]
            if misfit:
                raise Refusal(
                    N_("Loom %(loom)s can't take %(warp)s: %(misfit)s."),
                    field="loom",
                    loom=loom.code,
                    warp=warp,
                    misfit=Kept(misfit, "misfit"),
                )
        if starts_at:
            _check_open(loom, starts_at)
    warp.pin_loom, warp.pin_starts_at = loom, starts_at
    changes.written_by(warp, by)
    warp.save(update_fields=["pin_loom", "pin_starts_at"])


def _check_open(loom: Loom, moment: datetime) -> None:
    """A warp can't be pinned to begin while its loom stands."""
    epoch = clock.monday_before(moment)
    minute = clock.to_minute(moment, epoch=epoch)
    closures = list(Closure.objects.all())
    hours = clock.mill_hours(loom.shift_pattern.hours, closures, epoch=epoch)
    calendar = Calendar(
        hours.weekly, (*hours.closed, *clock.loom_closed(loom, closures, epoch=epoch)), clock.HORIZON_WEEKS * WEEK_MIN
    )
    if not calendar.is_open(minute):
        opens = timezone.localtime(clock.to_moment(calendar.next_open(minute), epoch=epoch))
        raise Refusal(
            N_("Loom %(loom)s is closed on %(day)s at %(time)s. It opens %(opens)s at %(hour)s."),
            field="starts_at",
            loom=loom.code,
            day=Kept(f"{timezone.localtime(moment):%a %d %b}", "day"),
            time=f"{timezone.localtime(moment):%H:%M}",
            opens=Kept(f"{opens:%a %d %b}", "day"),
            hour=f"{opens:%H:%M}",
        )


def _misfits(warp: Warp, looms: Sequence[Loom]) -> list[str | None]:
    """Why the warp can't go on each loom, both numbers said; None where it can."""
    epoch = clock.monday_before(timezone.now())
    row = one_as_planned(warp)
    row.pin_loom = None
    every = frozenset(loom.code for loom in looms)
    wanted = shed_warp(row, release=0, rates=set_up_rates(Mill.the_one()), free_looms=every, epoch=epoch)
    shed_looms = tuple(shed_loom(loom, [], epoch=epoch, now_min=0) for loom in looms)
    hours = {name: Hours(()) for name in (TUNERS, *(loom.calendar for loom in shed_looms))}
    shed = Shed("", WEEK_MIN, hours, shed_looms, (wanted,), Tuners(1, TUNERS))
    return [shed.misfit(loom, wanted) for loom in shed_looms]


def looms_that_fit(warp: Warp) -> list[tuple[Loom, str | None]]:
    """Every loom with the reason why the worked-out warp can't go on it, or None where it can."""
    looms = list(Loom.objects.select_related("shift_pattern").order_by("code"))
    return list(zip(looms, _misfits(warp, looms), strict=True)) if looms else []
