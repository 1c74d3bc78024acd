"""Re-timing: the plan in force follows what the floor tells. Its orders on the looms stay; only its times move.

What hangs is timed by what was woven and how its loom ran; what comes after it by the loom's record, until the woven
efficiency is taken over. Asked for in the transaction of what was told, and worked once for a burst of it.
"""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import F
from django.utils import timezone

from mill import jobs
from planning.models import FloorEvent, PlanRun, Slot, Warp
from planning.services import clock, explaining, working_out
from planning.services.standing import IN_LOOM, Standing, standing
from planning.shed_plan import Placement, Plan, late_by_piece, time_plan

TASK = "planning.retime_plan"
# The floor does not tell to the minute: a time that moves by less stands as it is. No source.
LEAST_MIN = 5
# A stop of so long moves the plan; shorter ones are in the running efficiency. No source.
LONG_STOP = timedelta(minutes=15)
# Where nobody tells anything the times are still looked at so often, when somebody opens Today.
LOOKED_AT_EVERY = timedelta(minutes=15)
# Above so many warps nobody waits for what would mend the late ones; the plan's own page has it from when it was made.
MENDED_WARPS = 80
# Beyond the places of any plan, to step aside while they are numbered anew.
ASIDE = 100_000

TIMES = ("setup_starts_at", "setup_stops_at", "weaving_starts_at", "weaving_stops_at")
LATE = ("late_min", "days_late")


def ask() -> None:
    """In the caller's transaction: what was told moves the plan in force."""
    jobs.ask(TASK, {}, same_as=TASK)


def look(run: PlanRun | None, *, now: datetime | None = None) -> None:
    """For pages that show what is late: hours that pass while a loom stands move the plan too."""
    now = now or timezone.now()
    seen = run and (run.retimed_at or run.in_force_from)
    if run is None or (seen and now - seen < LOOKED_AT_EVERY) or jobs.is_pending(TASK):
        return
    if FloorEvent.objects.filter(warp__state=Warp.WEAVING).exists():
        with transaction.atomic():
            ask()


def retime(*, now: datetime | None = None) -> dict[str, int]:
    """Time the plan in force afresh from what was woven; reads and reckons outside any transaction.

    Returns how many slots have other times now. Inside a job, that is done with what it writes.
    """
    now = now or timezone.now()
    run = PlanRun.objects.filter(state=PlanRun.IN_FORCE).first()
    if run is None:
        return {"moved": 0}
    there, plan = _as_it_stands(run, now)
    tried = explaining.TRIED if len(there.shed.warps) <= MENDED_WARPS else 0
    said = explaining.explain(there, plan, tried=tried)
    return _write(run, there, plan, said, now=now)


def _as_it_stands(run: PlanRun, now: datetime) -> tuple[Standing, Plan]:
    """The plan's own orders, timed from now: what hangs first, then its warps as they stand in it."""
    there = standing(now=now, by_hand=True).as_planned_in(run)
    rows: dict[str, list[str]] = {code: [] for code in there.looms}
    for loom, code in there.shed.in_progress.items():
        rows[loom].append(code)
    for slot in run.slots.select_related("warp", "loom").order_by("loom__code", "position"):
        code = str(slot.warp.number)
        waits = code in there.shed.warp and there.shed.warp[code].in_progress is None
        if waits and there.shed.fits(slot.loom.code, code):
            rows[slot.loom.code].append(code)
    placed = {code for order in rows.values() for code in order}
    shed = replace(there.shed, warps=tuple(row for row in there.shed.warps if row.id in placed))
    plan = time_plan(shed, rows)
    return replace(there, shed=shed).wound_as_planned(plan), plan


@transaction.atomic
def _write(run: PlanRun, there: Standing, plan: Plan, said: dict[str, Any], *, now: datetime) -> dict[str, int]:
    """The slots that moved. Nothing is written when another plan has come in force meanwhile: it is timed already."""
    run = PlanRun.objects.select_for_update().get(pk=run.pk)
    if run.state != PlanRun.IN_FORCE:
        return {"moved": 0}
    why = {row["warp"]: explaining.in_short(row) for row in said["late"]}
    slots = list(Slot.objects.select_for_update(of=("self",)).filter(run=run).select_related("warp", "loom"))
    told = _told(slots)
    moved = []
    for slot in slots:
        placed = plan.placements.get(str(slot.warp.number))
        if _move(slot, there, placed, told.get(slot.warp_id, {}), why, now=now):
            moved.append(slot)
    _hang(run, slots)
    Slot.objects.bulk_update(moved, [*TIMES, "first_starts_at", "first_stops_at", "winding_on", *LATE, "why"])
    facts = {**run.explained.get("facts", {})}
    for code in [name for name in facts if name.startswith("warp ")]:
        # What hangs is followed here, and what is woven out is done with; what else has changed is the planner's.
        row = there.shed.warp.get(code.removeprefix("warp "))
        if code not in there.facts:
            del facts[code]
        elif row is not None and row.in_progress:
            facts[code] = there.facts[code]
    run.explained = {**run.explained, **{part: said[part] for part in ("late", "load", "bottleneck")}, "facts": facts}
    run.retimed_at = now
    run.save(update_fields=["explained", "retimed_at"])
    working_out.plan_changed(warps=[slot.warp_id for slot in moved])
    result = {"moved": len(moved)}
    if (at_work := jobs.at_work()) is not None:
        at_work.finish(result)
    return result


Told = Mapping[str, datetime]


def _told(slots: list[Slot]) -> Mapping[int, Told]:
    """By warp: when it was gaited, started, and out, as the floor told it last."""
    found: dict[int, dict[str, datetime]] = {}
    rows = FloorEvent.objects.filter(
        warp__in=[slot.warp_id for slot in slots],
        kind__in=[FloorEvent.GAITED, FloorEvent.STARTED, FloorEvent.WARP_OUT],
        refused="",
        undone_by__isnull=True,
    )
    for warp_id, kind, at in rows.order_by("pk").values_list("warp_id", "kind", "happened_at"):
        found.setdefault(warp_id, {})[kind] = at
    return found


def _move(
    slot: Slot, there: Standing, placed: Placement | None, told: Told, why: Mapping[str, str], *, now: datetime
) -> bool:
    """Give the slot its times as they are now; whether that is worth writing."""
    times = {name: getattr(slot, name) for name in TIMES}
    late, winding_on = {name: getattr(slot, name) for name in LATE}, slot.winding_on
    if placed is not None:
        for name, minute in zip(TIMES, (placed.setup_start, placed.setup_end, placed.start, placed.end), strict=True):
            times[name] = clock.to_moment(minute, epoch=there.epoch)
        late = {"late_min": sum(late_by_piece(there.shed, placed)), "days_late": there.days_late(placed)}
        winding = there.winding.get(placed.warp)
        winding_on = clock.to_moment(winding[0], epoch=there.epoch).date() if winding else winding_on
    if slot.warp.state in (*IN_LOOM, Warp.WOVEN_OUT):
        _as_it_happened(slot, times, told, now=now)
    least = timedelta(minutes=LEAST_MIN)
    is_moved = (
        any(abs(times[name] - getattr(slot, name)) >= least for name in TIMES)
        or abs(late["late_min"] - slot.late_min) >= LEAST_MIN
        or late["days_late"] != slot.days_late
        or bool(late["late_min"]) != bool(slot.late_min)
        or winding_on != slot.winding_on
    )
    if not is_moved:
        return False
    slot.first_starts_at = slot.first_starts_at or slot.weaving_starts_at
    slot.first_stops_at = slot.first_stops_at or slot.weaving_stops_at
    for name, figure in {**times, **late}.items():
        setattr(slot, name, figure)
    slot.winding_on = winding_on
    slot.why = why.get(str(slot.warp.number), "") if slot.late_min else ""
    return True


def _as_it_happened(slot: Slot, times: dict[str, datetime], told: Told, *, now: datetime) -> None:
    """What lies behind stands as it was told; where nobody told it, as it was planned, if that has gone by."""
    started = told.get(FloorEvent.STARTED) or (slot.weaving_starts_at if slot.weaving_starts_at <= now else None)
    if started and slot.warp.state != Warp.GAITED:
        times["weaving_starts_at"] = started
    gaited = told.get(FloorEvent.GAITED) or (slot.setup_stops_at if slot.setup_stops_at <= now else now)
    times["setup_stops_at"] = min(gaited, times["weaving_starts_at"])
    times["setup_starts_at"] = min(slot.setup_starts_at, times["setup_stops_at"])
    if slot.warp.state == Warp.WOVEN_OUT:
        # The desk says no hour: out by now at the latest.
        out = told.get(FloorEvent.WARP_OUT, min(slot.weaving_stops_at, now))
        times["weaving_stops_at"] = max(out, times["weaving_starts_at"])


def _hang(run: PlanRun, slots: list[Slot]) -> None:
    """A warp that hangs in another loom than was planned stands there in the plan too, before what waits for it."""
    if all(slot.warp.loom_id in (None, slot.loom_id) or slot.warp.state not in IN_LOOM for slot in slots):
        return
    for slot in slots:
        if slot.warp.state in IN_LOOM and slot.warp.loom_id:
            slot.loom_id = slot.warp.loom_id
    before = [Warp.WOVEN_OUT, Warp.WEAVING, Warp.GAITED]
    slots.sort(
        key=lambda slot: (
            slot.loom_id,
            before.index(slot.warp.state) if slot.warp.state in before else len(before),
            slot.position,
        )
    )
    Slot.objects.filter(run=run).update(position=F("position") + ASIDE)
    places: dict[int, int] = {}
    for slot in slots:
        slot.position = places.get(slot.loom_id, 0)
        places[slot.loom_id] = slot.position + 1
    Slot.objects.bulk_update(slots, ["loom", "position"])
