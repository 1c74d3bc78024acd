"""Actuals: when each beam runs out by what was really woven, what is late by that, what a loom's record could learn."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import F, Prefetch
from django.utils import timezone

from mill.refusal import N_, Refusal
from planning import finishing, run_out
from planning.models import Loom, PlanRun, Slot, Stop, Warp, WarpPart
from planning.run_out import Tally
from planning.services import clock, retiming, working_out, woven
from planning.services.looms import write_down
from planning.services.standing import due_minute
from planning.services.woven import Group, InLoom, Shed, grouped, shift_spells, spells, warps_since

# Run-out and late warnings


@dataclass(frozen=True)
class Late:
    """A line whose last piece on a warp comes off after the day that still serves its due date.

    ready_on   when it is finished then
    """

    line: Any
    off_at: datetime
    last_day: datetime
    ready_on: date

    @property
    def days_late(self) -> int:
        return (self.ready_on - self.line.due_on).days

    @property
    def last_on(self) -> date:
        """The day at whose end it had to be off."""
        return timezone.localdate(self.last_day - timedelta(minutes=1))


@dataclass(frozen=True)
class RunOut:
    """A warp in a loom: what is left, and when it is out by what was really woven.

    picks_left       of those that were told
    picks_left_now   less what was woven since, as near as can be said
    planned_at       by the plan as it was put in force; None without one
    is_woven_pct     the efficiency is the loom's own of late, not that of its record
    """

    warp: Warp
    loom: Loom
    picks_left: int
    picks_left_now: int
    efficiency_pct: Decimal
    is_woven_pct: bool
    out_at: datetime
    planned_at: datetime | None
    later_min: int
    stop: Stop | None
    late: tuple[Late, ...]


def run_outs(*, now: datetime | None = None) -> list[RunOut]:
    """Every warp that weaves, soonest out first, by how its loom ran of late."""
    now = now or timezone.now()
    warps = (
        Warp.objects.filter(state=Warp.WEAVING, loom__isnull=False)
        .select_related("loom__shift_pattern", "worked")
        .defer("worked__figures")
        .annotate(runs=F("worked__figures__runs"))
        .prefetch_related(
            "stops",
            Prefetch("parts", WarpPart.objects.select_related("line__order__customer", "spec")),
            Prefetch("slots", Slot.objects.filter(run__state=PlanRun.IN_FORCE), to_attr="slots_in_force"),
        )
    )
    shed = Shed(now)
    in_loom = woven.in_loom(now=now)
    found = [_run_out(warp, in_loom.get(warp.pk), shed, now) for warp in warps]
    return sorted(found, key=lambda row: row.out_at)


def _run_out(warp: Warp, at: InLoom | None, shed: Shed, now: datetime) -> RunOut:
    loom = warp.loom
    assert loom is not None
    at = at or InLoom(warp.picks_woven, loom.efficiency_pct, is_woven_pct=False)
    calendar, now_min = shed.of(loom), shed.minute(now)

    def off(picks: int) -> datetime:
        minutes = run_out.left_min(picks_left=picks, ppm=loom.ppm, efficiency_pct=at.efficiency_pct)
        return clock.to_moment(calendar.add_minutes(now_min, minutes)[1], epoch=shed.epoch)

    picks_left_now = max(0, warp.worked.picks - at.picks)
    out_at = off(picks_left_now)
    slot = working_out.slot_in_force(warp)
    planned_at = (slot.first_stops_at or slot.weaving_stops_at) if slot else None
    late = []
    ahead = -at.picks
    runs: Any = warp.runs  # type: ignore[attr-defined]
    for part, run in zip(warp.parts.all(), runs or (), strict=False):
        ahead += run["picks"]
        if ahead <= 0:
            continue
        off_at = off(ahead)
        latest = due_minute(part.line, part.spec.finishing_days, epoch=shed.epoch)
        if shed.minute(off_at) > latest:
            last_day = clock.to_moment(latest, epoch=shed.epoch)
            # Off at midnight is off on the day that ends.
            off_on = timezone.localdate(off_at - timedelta(minutes=1))
            late.append(Late(part.line, off_at, last_day, finishing.ready_on(off_on, part.spec.finishing_days)))
    return RunOut(
        warp=warp,
        loom=loom,
        picks_left=max(0, warp.worked.picks - warp.picks_woven),
        picks_left_now=picks_left_now,
        efficiency_pct=at.efficiency_pct,
        is_woven_pct=at.is_woven_pct,
        out_at=out_at,
        planned_at=planned_at,
        later_min=int((out_at - planned_at).total_seconds() // 60) if planned_at else 0,
        stop=next((stop for stop in warp.stops.all() if stop.stops_at is None), None),
        late=tuple(late),
    )


# What was woven, by whom, on what, when


def groups_of(*, days: int, now: datetime | None = None) -> dict[str, list[Group]]:
    """What was woven in so many days, by loom, cloth, weaver and shift."""
    since, until = (now or timezone.now()) - timedelta(days=days), now
    warps = warps_since(since)
    rows = spells(since=since, until=until, warps=warps)
    return {
        "loom": grouped(rows, lambda row: row.loom),
        "cloth": grouped(rows, lambda row: row.cloth),
        "weaver": grouped(rows, lambda row: row.weaver),
        "shift": grouped(shift_spells(since=since, until=until, warps=warps), lambda row: row.shift),
    }


# What the looms' records could learn


@dataclass(frozen=True)
class Offer:
    """The efficiency that a loom showed, beside the one in its record."""

    loom: Loom
    woven_pct: Decimal
    tally: Tally


def offers(groups: Sequence[Group]) -> list[Offer]:
    """Looms that ran otherwise than their record says by 2 points or more, on enough picks to say so."""
    looms = Loom.objects.in_bulk([group.name for group in groups], field_name="code")
    found = []
    for group in groups:
        loom = looms[group.name]
        pct, is_woven = run_out.efficiency_to_go_by(record_pct=loom.efficiency_pct, woven=group.tally)
        if is_woven and abs(pct - loom.efficiency_pct) >= 2:
            found.append(Offer(loom, pct, group.tally))
    return found


def offer_of(loom: Loom) -> Offer | None:
    """What the loom showed of late, where its record says otherwise."""
    since = timezone.now() - woven.OF_LATE
    rows = spells(since=since, warps=warps_since(since, loom=loom))
    return next(iter(offers(grouped(rows, lambda row: row.loom))), None)


@transaction.atomic
def take_efficiency(loom: Loom, *, efficiency_pct: Decimal, by: Any) -> Loom:
    """Write the woven efficiency into the loom's record; warps and demand on it are worked out again."""
    loom = Loom.objects.select_for_update(of=("self",)).select_related("shift_pattern").get(pk=loom.pk)
    if not 5 <= efficiency_pct <= 100:
        raise Refusal(
            N_("An efficiency of %(pct)s %% can't be: write from 5 to 100."), field="efficiency_pct", pct=efficiency_pct
        )
    loom.efficiency_pct = efficiency_pct
    loom._history_user = by  # type: ignore[attr-defined]
    loom._change_reason = "as it was woven"  # type: ignore[attr-defined]
    retiming.ask()
    write_down(loom, by=by)
    return loom
