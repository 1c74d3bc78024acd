"""Warps on looms: the shed as it stands, a plan of it, and the act of putting a plan in force."""

import time
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone

from inventory.models import Delivery, YarnLot
from mill.models import Mill
from mill.refusal import Refusal
from planning import shed as shed_room
from planning.gaiting import SetUp, set_up_min
from planning.models import Closure, Loom, OrderLine, PlanRun, Slot, Warp, WarpYarn, set_up_rates
from planning.services import clock, working_out
from planning.shed import LoomState, Objective, PieceDue, SetupTimes, Shed, Tuners
from planning.shed_plan import Plan, first_plan, why_late
from planning.ticket import from_json
from planning.worktime import DAY_MIN, WEEK_MIN, Calendar, Hours

TUNERS, WARPING = "tuners", "warping"
RULES = {"earliest_due_date": "earliest due date", "setups_first": "set-ups first", "best": "best paper rule"}
IN_LOOM = (Warp.GAITED, Warp.WEAVING)
# No beam named yet: any that the loom takes.
NO_FLANGE = 0


@dataclass
class Standing:
    """The shed as it stands, with what the planner's numbers mean in the book.

    left_out    warps that can't be planned, with the reason in a sentence
    winding     minute at which each warp not yet wound would be wound, first and last
    """

    shed: Shed
    epoch: datetime
    now_min: int
    warps: dict[str, Warp]
    looms: dict[str, Loom]
    winding: dict[str, tuple[int, int]]
    left_out: dict[int, str]
    waits_for: dict[str, str] = field(default_factory=dict)

    @property
    def fingerprint(self) -> str:
        return working_out.fingerprint(self.shed)


def standing(*, now: datetime | None = None) -> Standing:
    """Looms, tuners, hours and the warps that wait, as they are at this moment."""
    now = now or timezone.now()
    mill = Mill.the_one()
    epoch = clock.monday_before(now)
    now_min = clock.to_minute(now, epoch=epoch)
    closures = list(Closure.objects.all())
    looms = list(Loom.objects.select_related("shift_pattern").order_by("code"))
    if not looms:
        raise Refusal("There is no loom to plan. Enter the mill's looms first.")
    calendars: dict[str, Hours] = {
        f"pattern {pk}": hours for pk, hours in clock.hours_by_pattern(closures, epoch=epoch).items()
    }
    calendars[TUNERS] = clock.mill_hours(mill.tuner_hours, closures, epoch=epoch)
    calendars[WARPING] = clock.mill_hours(mill.warping_hours, closures, epoch=epoch)
    horizon = clock.HORIZON_WEEKS * WEEK_MIN
    left_out: dict[int, str] = {}
    warps = _plannable(left_out)
    release, winding, waits_for = _releases(
        warps,
        mill=mill,
        hours=Calendar(calendars[WARPING].weekly, calendars[WARPING].closed, horizon),
        epoch=epoch,
        now_min=now_min,
    )
    held = {loom.pk for loom in looms if loom.is_held}
    free_looms = frozenset(loom.code for loom in looms if loom.pk not in held)
    rates = set_up_rates(mill)
    rows = [
        _shed_warp(warp, release=release.get(warp.pk, now_min), rates=rates, free_looms=free_looms, epoch=epoch)
        for warp in warps
    ]
    shed = Shed(
        name=mill.name,
        horizon=horizon,
        calendars=calendars,
        looms=tuple(_shed_loom(loom, closures, epoch=epoch, now_min=now_min) for loom in looms),
        warps=tuple(rows),
        tuners=Tuners(max(mill.tuners, 1), TUNERS),
        setup=SetupTimes(reed_change_min=0, tie_needs_tuner=False, gait_needs_tuner=True),
        objective=Objective(mill.dearness_of_lateness, mill.dearness_of_setup, 1),
    )
    for code, reason in shed.without_loom().items():
        left_out[int(code)] = f"No loom takes it: {reason}."
    shed = _without(shed, left_out)
    return Standing(
        shed=shed,
        epoch=epoch,
        now_min=now_min,
        warps={str(warp.number): warp for warp in warps if warp.number not in left_out},
        looms={loom.code: loom for loom in looms},
        winding={code: span for code, span in winding.items() if int(code) not in left_out},
        left_out=left_out,
        waits_for=waits_for,
    )


def _without(shed: Shed, left_out: dict[int, str]) -> Shed:
    kept = tuple(warp for warp in shed.warps if int(warp.id) not in left_out)
    names = ("name", "horizon", "calendars", "looms", "tuners", "setup", "objective")
    return Shed(warps=kept, **{name: getattr(shed, name) for name in names})


def _plannable(left_out: dict[int, str]) -> list[Warp]:
    """Open warps with figures, earliest due first; the others go to `left_out` with the reason."""
    found: list[tuple[Any, Warp]] = []
    for warp in working_out.for_working_out(Warp.objects.open().exclude(state=Warp.PROPOSED)):
        worked = getattr(warp, "worked", None)
        parts = list(warp.parts.all())
        if worked is None or worked.figures is None or not parts:
            left_out[warp.number] = (worked and worked.trouble) or "It has not been worked out yet."
            continue
        found.append((min(part.line.due_on for part in parts), warp))
    return [warp for _, warp in sorted(found, key=lambda row: (row[0], row[1].number))]


def _shed_loom(loom: Loom, closures: list[Closure], *, epoch: datetime, now_min: int) -> shed_room.Loom:
    return shed_room.Loom(
        id=loom.code,
        width_cm=loom.reed_space_cm,
        shafts=loom.shafts,
        jacquard=loom.is_jacquard,
        feeders=loom.weft_colours,
        max_flange_mm=loom.max_flange_mm,
        ppm=loom.ppm,
        efficiency=loom.efficiency_pct / 100,
        calendar=f"pattern {loom.shift_pattern_id}",
        closed=clock.loom_closed(loom, closures, epoch=epoch),
        state=LoomState(loom.gaited_family or None, loom.gaited_reed or None),
        free_at=now_min,
    )


def reed_key(warp: Warp) -> str:
    """The reed as a loom keeps it from one warp to the next: dents per 10 cm."""
    return f"{warp.parts.all()[0].spec.reed_dents_per_10cm.normalize():f}"


def due_minute(line: OrderLine, finishing_days: int, *, epoch: datetime) -> int:
    """Minute by which the line's pieces must be off the loom: the end of the day, its finishing days before due.

    Finishing days are Mondays to Fridays.
    """
    day = line.due_on
    left = finishing_days
    while left:
        day -= timedelta(days=1)
        if day.weekday() < 5:
            left -= 1
    return clock.day_start(day, epoch=epoch) + DAY_MIN


def _pieces(warp: Warp, *, epoch: datetime) -> tuple[PieceDue, ...]:
    """What is left to weave, piece by piece, in the order of weaving."""
    woven = warp.picks_woven
    pieces: list[PieceDue] = []
    assert warp.worked.figures is not None
    figures = from_json(warp.worked.figures)
    for part, run in zip(warp.parts.all(), figures.runs, strict=True):
        due = due_minute(part.line, part.spec.finishing_days, epoch=epoch)
        for _ in range(part.pieces):
            picks = run.picks_per_piece - min(woven, run.picks_per_piece)
            woven -= min(woven, run.picks_per_piece)
            if picks:
                pieces.append(PieceDue(picks, due, part.line.weight))
    # The last picks are reported woven before anybody says that the warp is out.
    return tuple(pieces) or (PieceDue(1, clock.HORIZON_WEEKS * WEEK_MIN, 0),)


def _shed_warp(warp: Warp, *, release: int, rates: Any, free_looms: frozenset[str], epoch: datetime) -> shed_room.Warp:
    worked = warp.worked
    hangs_on = warp.loom.code if warp.loom and warp.state in IN_LOOM else None
    pin = warp.pin_loom.code if warp.pin_loom and not hangs_on else None
    pin_start = clock.to_minute(warp.pin_starts_at, epoch=epoch) if warp.pin_starts_at and pin else None
    return shed_room.Warp(
        id=str(warp.number),
        family=worked.family_key,
        reed=reed_key(warp),
        width_cm=worked.reed_width_cm,
        shafts=worked.shafts,
        jacquard=False,
        feeders=worked.weft_colours,
        flange_mm=warp.beam.flange_mm if warp.beam else NO_FLANGE,
        pieces=_pieces(warp, epoch=epoch),
        release=max(release, 0),
        tie_min=set_up_min(SetUp.TIE_IN, ends=worked.ends, rates=rates),
        gait_min=set_up_min(SetUp.GAIT_UP, ends=worked.ends, rates=rates),
        draw_in_min=set_up_min(SetUp.DRAW_IN, ends=worked.ends, rates=rates),
        weft_change_min=set_up_min(SetUp.WEFT_CHANGE, ends=worked.ends, rates=rates),
        in_progress=hangs_on,
        pin_loom=pin,
        pin_start=pin_start if pin_start is not None and pin_start >= 0 else None,
        only_looms=None if hangs_on or pin else free_looms,
    )


# When yarn and warping let a warp go to the loom


def _releases(
    warps: Iterable[Warp], *, mill: Mill, hours: Calendar, epoch: datetime, now_min: int
) -> tuple[dict[int, int], dict[str, tuple[int, int]], dict[str, str]]:
    """Release minute by warp, winding spans, and what each late one waits for; earliest due date winds first."""
    yarn_at, waits_for = _yarn_days(list(warps), epoch=epoch, now_min=now_min)
    free_at = [now_min] * max(mill.warping_mills, 1)
    release: dict[int, int] = {}
    winding: dict[str, tuple[int, int]] = {}
    for warp in warps:
        if warp.state not in (Warp.PLANNED, Warp.YARN_DRAWN):
            release[warp.pk] = now_min if warp.state in IN_LOOM else yarn_at[warp.pk][1]
            continue
        warp_yarn_at, weft_yarn_at = yarn_at[warp.pk]
        mill_no = min(range(len(free_at)), key=free_at.__getitem__)
        start, stop = hours.add_minutes(max(free_at[mill_no], warp_yarn_at), warp.worked.warping_min)
        free_at[mill_no] = stop
        winding[str(warp.number)] = (start, stop)
        release[warp.pk] = max(stop, weft_yarn_at)
    return release, winding, waits_for


def _yarn_days(
    warps: list[Warp], *, epoch: datetime, now_min: int
) -> tuple[dict[int, tuple[int, int]], dict[str, str]]:
    """Minutes from which there is yarn for each warp and its weft, served in the order of `warps`.

    Yarn on hand goes first, then deliveries as they are expected; what nothing covers comes by an order placed
    today, after the supplier's lead time.
    """
    supply = _supply(epoch=epoch, now_min=now_min)
    needs: dict[int, list[WarpYarn]] = defaultdict(list)
    lead_min: dict[int, int] = {}
    for need in WarpYarn.objects.filter(warp__in=warps).select_related("yarn__supplier").order_by("use", "yarn__code"):
        needs[need.warp_id].append(need)
        days = need.yarn.supplier.lead_time_days if need.yarn.supplier else 28
        lead_min[need.yarn_id] = now_min + days * DAY_MIN
    found: dict[int, tuple[int, int]] = {}
    waits_for: dict[str, str] = {}
    for warp in warps:
        at = {WarpYarn.WARP: now_min, WarpYarn.WEFT: now_min}
        drawn: dict[tuple[int, str], int] = defaultdict(int)
        for hold in warp.holds.all():
            drawn[hold.yarn_id, hold.use] += hold.drawn_g
        for need in needs[warp.pk]:
            if need.use == WarpYarn.WARP and warp.state != Warp.PLANNED:
                continue
            left_g = max(need.issue_g - drawn[need.yarn_id, need.use], 0)
            comes = _take(supply[need.yarn_id], left_g, otherwise=lead_min[need.yarn_id])
            if comes > at[need.use]:
                at[need.use] = comes
                waits_for[str(warp.number)] = f"{need.use} yarn {need.yarn.code}"
        found[warp.pk] = (at[WarpYarn.WARP], at[WarpYarn.WEFT])
    return found, waits_for


def _supply(*, epoch: datetime, now_min: int) -> dict[int, list[list[int]]]:
    """By yarn: [minute, grams] of what is on hand and to come, in order."""
    supply: dict[int, list[list[int]]] = defaultdict(list)
    for lot in YarnLot.objects.free_to_use().with_balance().filter(on_hand_g__gt=0).order_by("received_on", "pk"):
        supply[lot.yarn_id].append([now_min, lot.on_hand_g])
    received: dict[int, int] = defaultdict(int)
    for delivery_id, grams in (
        YarnLot.objects.filter(delivery__is_closed=False, movements__kind="receive")
        .values_list("delivery_id", "movements__change_g")
        .order_by("pk")
    ):
        received[delivery_id or 0] += grams or 0
    for delivery in Delivery.objects.filter(is_closed=False).order_by("expected_on", "pk"):
        grams = delivery.ordered_g - received[delivery.pk]
        if grams > 0:
            # Counted on from the morning after the day it is expected.
            minute = clock.day_start(delivery.expected_on, epoch=epoch) + DAY_MIN
            supply[delivery.yarn_id].append([max(minute, now_min), grams])
    return supply


def _take(supply: list[list[int]], grams: int, *, otherwise: int) -> int:
    """Take grams off the front of a supply; the minute at which the last of them is there."""
    at = 0
    while grams > 0 and supply:
        at = max(at, supply[0][0])
        taken = min(grams, supply[0][1])
        supply[0][1] -= taken
        grams -= taken
        if not supply[0][1]:
            supply.pop(0)
    return max(at, otherwise) if grams > 0 else at


# A plan as a record


def make_plan(*, rule: str = "earliest_due_date", by: Any = None, now: datetime | None = None) -> PlanRun:
    """A plan by one of the mill's paper rules, offered: nothing follows from it until it is put in force."""
    began = time.monotonic()
    there = standing(now=now)
    plan = first_plan(there.shed, rule)
    return record_plan(there, plan, rule=RULES.get(rule, rule), began=began, by=by)


@transaction.atomic
def record_plan(
    there: Standing, plan: Plan, *, rule: str, began: float, by: Any = None, is_optimal: bool = False
) -> PlanRun:
    run = PlanRun.objects.create(
        rule=rule,
        by=by,
        starts_at=there.epoch,
        fingerprint=there.fingerprint,
        cost={**asdict(plan.cost), "total": plan.cost.total},
        is_optimal=is_optimal,
        duration_ms=int((time.monotonic() - began) * 1000),
        left_out=[{"warp": number, "why": why} for number, why in sorted(there.left_out.items())],
    )
    Slot.objects.bulk_create(_slots(run, there, plan))
    return run


def _slots(run: PlanRun, there: Standing, plan: Plan) -> list[Slot]:
    slots: list[Slot] = []
    for code, placed in plan.placements.items():
        pieces = there.shed.warp[code].pieces
        late_min = sum(max(end - piece.due, 0) for end, piece in zip(placed.piece_ends, pieces, strict=True))
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
                late_min=late_min,
                why=_why(there, plan, code) if late_min else "",
            )
        )
    return slots


def _why(there: Standing, plan: Plan, code: str) -> str:
    """What makes a warp late, the weightiest link first: yarn, warping, another warp, tuners, or the weaving itself."""
    links = sorted(why_late(there.shed, plan, code), key=lambda link: link.starts_at - link.stops_at)
    for link in links:
        if link.kind == "release":
            wound = there.winding.get(link.warp)
            waits = there.waits_for.get(link.warp)
            if waits:
                return f"Waits for {waits}."
            if wound and wound[1] >= there.shed.warp[link.warp].release:
                return "Waits to be wound."
        if link.kind == "tuner wait":
            return (
                f"Waits for a tuner, who is at {' and '.join(f'warp {w}' for w in link.others[:3]) or 'another loom'}."
            )
        if link.kind in {"weaving", "set-up"} and link.warp != code:
            return f"Loom {link.loom} is busy with warp {link.warp}."
        if link.kind == "closed":
            return f"Loom {link.loom} or the tuners are off shift."
        if link.kind == "weaving":
            return "The weaving itself takes longer than the due date leaves."
    return "It could not begin sooner."


@transaction.atomic
def put_in_force(run: PlanRun, *, by: Any = None) -> PlanRun:
    """Make an offered plan the one that counts. What it moves is worked out again: tails, days of demand, tickets."""
    in_force = list(PlanRun.objects.select_for_update().filter(state=PlanRun.IN_FORCE).order_by("pk"))
    run = PlanRun.objects.select_for_update().get(pk=run.pk)
    if run.state == PlanRun.IN_FORCE:
        return run
    if run.state != PlanRun.OFFERED:
        raise Refusal(f"Plan {run.pk} is {run.state}; only one that is offered can be put in force. Make a new plan.")
    if in_force and in_force[0].in_force_from and in_force[0].in_force_from > run.made_at:
        raise Refusal(
            f"Plan {run.pk} was made at {timezone.localtime(run.made_at):%H:%M}, and plan {in_force[0].pk} was put in "
            f"force after that. Make a new plan, so that nothing of the other is lost."
        )
    gone = [
        slot.warp_id
        for slot in Slot.objects.filter(run=run).select_related("warp")
        if slot.warp.state == Warp.WOVEN_OUT
    ]
    if gone:
        raise Refusal(f"Plan {run.pk} has {gone} warps that have been woven out since. Make a new plan.")
    before = {slot.warp_id: _place(slot) for old in in_force for slot in old.slots.all()}
    after = {slot.warp_id: _place(slot) for slot in run.slots.all()}
    PlanRun.objects.filter(pk__in=[old.pk for old in in_force]).update(state=PlanRun.OVERTAKEN)
    run.state = PlanRun.IN_FORCE
    run.in_force_from = timezone.now()
    run.by = run.by or by
    run.save(update_fields=["state", "in_force_from", "by"])
    moved = {pk for pk in before.keys() | after.keys() if before.get(pk) != after.get(pk)}
    working_out.plan_changed(warps=moved)
    return run


def _place(slot: Slot) -> tuple[object, ...]:
    return (slot.loom_id, slot.winding_on, slot.weaving_starts_at, slot.weaving_stops_at)


@transaction.atomic
def refuse_plan(run: PlanRun) -> None:
    """Put an offered plan aside; it stays in the book."""
    changed = PlanRun.objects.filter(pk=run.pk, state=PlanRun.OFFERED).update(state=PlanRun.REFUSED)
    if not changed:
        run.refresh_from_db()
        raise Refusal(f"Plan {run.pk} is {run.state}; only one that is offered can be put aside.")


@transaction.atomic
def pin_warp(warp: Warp, *, loom: Loom | None, starts_at: datetime | None = None) -> None:
    """The planner's word: on this loom, and from this moment if one is said; None takes the pin out."""
    warp = Warp.objects.select_for_update().get(pk=warp.pk)
    if warp.state in (*IN_LOOM, Warp.WOVEN_OUT):
        raise Refusal(f"{warp} is {warp.state}; it does not move any more.")
    if starts_at and not loom:
        raise Refusal("A moment needs a loom to go with it. Choose the loom too.", field="loom")
    if loom:
        worked = getattr(warp, "worked", None)
        if worked and worked.figures:
            misfit = _misfit(warp, loom)
            if misfit:
                raise Refusal(f"Loom {loom.code} can't take {warp}: {misfit}.", field="loom")
    warp.pin_loom, warp.pin_starts_at = loom, starts_at
    warp.save(update_fields=["pin_loom", "pin_starts_at"])


def _misfit(warp: Warp, loom: Loom) -> str | None:
    """Why the warp can't go on the loom, both numbers said; None when it can."""
    return _misfits(warp, [loom])[0]


def _misfits(warp: Warp, looms: list[Loom]) -> list[str | None]:
    epoch = clock.monday_before(timezone.now())
    row = working_out.for_working_out(Warp.objects.filter(pk=warp.pk)).get()
    row.pin_loom = None
    every = frozenset(loom.code for loom in looms)
    shed_warp = _shed_warp(row, release=0, rates=set_up_rates(Mill.the_one()), free_looms=every, epoch=epoch)
    shed_looms = tuple(_shed_loom(loom, [], epoch=epoch, now_min=0) for loom in looms)
    hours = {name: Hours(()) for name in (TUNERS, *(loom.calendar for loom in shed_looms))}
    shed = Shed("", WEEK_MIN, hours, shed_looms, (shed_warp,), Tuners(1, TUNERS))
    return [shed.misfit(loom, shed_warp) for loom in shed_looms]


def looms_that_fit(warp: Warp) -> list[tuple[Loom, str | None]]:
    """Every loom with the reason why the worked-out warp can't go on it, or None where it can."""
    looms = list(Loom.objects.select_related("shift_pattern").order_by("code"))
    return list(zip(looms, _misfits(warp, looms), strict=True)) if looms else []
