"""A warp from the database to its figures, yarn needs and demand; and what a change touches.

Derived rows carry the fingerprint of what they were worked from. Whoever changes something marks the rows
stale and asks for one job in the same transaction; the job works out what is stale and nothing else.
"""

import hashlib
from collections import defaultdict
from collections.abc import Generator, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Prefetch, Q, QuerySet, Sum
from django.utils import timezone

from inventory.models import Yarn, YarnDemand, draws
from inventory.services import yarns_changed
from mill import jobs
from mill.models import Mill
from mill.refusal import N_, Refusal
from planning.models import (
    Closure,
    Cloth,
    JobTicket,
    Loom,
    PlanRun,
    Slot,
    Warp,
    WarpFigures,
    WarpHold,
    WarpPart,
    WarpYarn,
    mill_facts,
)
from planning.services import clock
from planning.ticket import Figures, Run, to_json, without_words, work_out
from planning.worktime import DAY_MIN, WEEK_MIN, calendar_of

TASK = "planning.rework_warps"
# A job holds the write lock of an SQLite book while it works; a second's worth of warps, then others may write.
WARPS_PER_JOB = 60


# What a change touches


def warps_changed(warps: Iterable[int] | QuerySet[Warp]) -> None:
    """These warps' figures no longer hold: mark them and ask for the job, in the caller's transaction."""
    ids = set(warps.values_list("pk", flat=True)) if isinstance(warps, QuerySet) else set(warps)
    if not ids:
        return
    WarpFigures.objects.bulk_create([WarpFigures(warp_id=pk) for pk in sorted(ids)], ignore_conflicts=True)
    WarpFigures.objects.filter(warp_id__in=ids).update(is_stale=True)
    jobs.ask(TASK, {}, same_as=TASK)


def spec_changed(cloth: Cloth) -> None:
    """A new revision stands: every warp that follows it, and its order lines' figures, are worked out again."""
    warps_changed(Warp.objects.follows_revisions().filter(parts__spec__cloth=cloth))


def yarn_changed(yarn: Yarn) -> None:
    """A yarn's count or name changed: warps that use it, as long as no yarn has been drawn for them."""
    warps_changed(Warp.objects.follows_revisions().filter(parts__spec__colourway_yarns__yarn=yarn))
    yarns_changed([yarn.pk])


def mill_changed() -> None:
    """Thrums, sections, speeds …: every warp that is not drawn yet."""
    warps_changed(Warp.objects.follows_revisions())


def loom_changed(loom: Loom) -> None:
    """A loom's speed, tails or shifts: the warps that hang on it or are planned on it."""
    warps_changed(Warp.objects.open().filter(Q(loom=loom) | Q(slots__loom=loom, slots__run__state=PlanRun.IN_FORCE)))


def plan_changed(*, warps: Iterable[int]) -> None:
    """Another plan is in force: these warps changed loom or time, so tails and days of demand follow."""
    warps_changed(warps)


def is_being_worked_out(warps: QuerySet[Warp]) -> bool:
    return WarpFigures.objects.filter(is_stale=True, warp__in=warps).exists()


# One warp


def for_working_out(warps: QuerySet[Warp]) -> QuerySet[Warp]:
    """Warps with everything that their figures are worked from: a constant number of queries."""
    return warps.select_related("beam", "loom__shift_pattern", "pin_loom__shift_pattern", "worked").prefetch_related(
        Prefetch(
            "parts",
            WarpPart.objects.select_related("line__order__customer", "line__colourway", "spec__cloth").prefetch_related(
                "spec__route_steps", "spec__colourway_yarns__yarn"
            ),
        ),
        Prefetch(
            "slots",
            # Without what is said of the plan: it is long, and would be read again for every warp.
            Slot.objects.filter(run__state=PlanRun.IN_FORCE)
            .select_related("loom__shift_pattern", "run")
            .defer("run__explained", "run__cost", "run__left_out"),
            to_attr="slots_in_force",
        ),
        "holds",
    )


def slot_in_force(warp: Warp) -> Slot | None:
    """The warp's place in the plan in force. `warp` comes from for_working_out()."""
    return next(iter(warp.slots_in_force), None)  # type: ignore[attr-defined]


def loom_of(warp: Warp) -> Loom | None:
    """The loom it hangs on, else is planned on, else is pinned to."""
    slot = slot_in_force(warp)
    return warp.loom or (slot.loom if slot else None) or warp.pin_loom


def runs_of(warp: Warp) -> list[Run]:
    return [
        Run(
            line=str(part.line),
            customer=part.line.order.customer.name,
            cloth=part.spec.as_cloth(part.line.colourway),
            pieces=part.pieces,
            length_m=part.line.length_m,
        )
        for part in warp.parts.all()
    ]


def fingerprint(*facts: object) -> str:
    """Sixteen hexadecimal digits that differ when any of the facts differs."""
    return hashlib.sha256("\n".join(map(repr, facts)).encode()).hexdigest()[:16]


@dataclass(frozen=True)
class Worked:
    """A warp worked out, or why it can't be. `figures` may stand beside `trouble`: then without loom or beam."""

    figures: Figures | None
    trouble: str
    worked_from: str


def work_out_warp(
    warp: Warp, *, mill: Mill, unless: str | None = None, runs: Sequence[Run] | None = None
) -> Worked | None:
    """The warp's figures as things stand; None when its fingerprint is still `unless`.

    runs    what would be woven on it, instead of what is: for a revision that is not written yet

    A loom or beam that doesn't fit is a trouble, said in its sentence, and the figures are those without it.
    """
    facts = mill_facts(mill)
    loom = loom_of(warp)
    loom_facts = loom.as_facts() if loom else None
    beam_facts = warp.beam.as_facts() if warp.beam else None
    try:
        runs = runs_of(warp) if runs is None else list(runs)
    except Refusal as refusal:
        return Worked(None, str(refusal), fingerprint(warp.pk, str(refusal)))
    worked_from = fingerprint(runs, facts, loom_facts, beam_facts)
    if worked_from == unless:
        return None
    if not runs:
        nothing = N_("There is nothing on this warp. Put pieces of an order on it, or take it apart.")
        return Worked(None, nothing, worked_from)
    trouble: list[str] = []
    for _ in range(3):
        try:
            figures = work_out(runs, mill=facts, loom=loom_facts, beam=beam_facts)
        except Refusal as refusal:
            trouble.append(str(refusal))
            if refusal.field == "loom" and loom_facts:
                loom_facts = None
            elif refusal.field == "beam" and beam_facts:
                beam_facts = None
            else:
                return Worked(None, "\n".join(trouble), worked_from)
        else:
            return Worked(figures, "\n".join(trouble), worked_from)
    raise AssertionError("neither loom nor beam is left, and yet one is refused")


def row_of(warp: Warp, worked: Worked) -> WarpFigures:
    """The figures as they are kept, not written."""
    figures = worked.figures
    row = WarpFigures(warp=warp, trouble=worked.trouble, worked_from=worked.worked_from, is_stale=False)
    if figures is not None:
        row.figures = to_json(figures)
        row.warp_key = figures.warp_key
        row.family_key = figures.family_key
        row.reed_width_cm = figures.cloth.reed_width_cm
        row.shafts = figures.cloth.shafts
        row.weft_colours = weft_colours(figures)
        row.ends = figures.ends
        row.warp_length_m = figures.warp_length_m
        row.picks = figures.picks
        row.warp_g = figures.warp_issue_g
        row.weft_g = figures.weft_issue_g
        row.warping_min = figures.warping_min
    return row


def weft_colours(figures: Figures) -> int:
    """Weft yarns that the loom must be able to pick from: the most that any one run of the warp needs."""
    return max(len(run.weft) for run in figures.runs)


def needs_of(warp: Warp, figures: Figures, yarn_ids: dict[str, int]) -> list[WarpYarn]:
    """Rows of what the warp takes, not written.

    yarn_ids    primary keys by code
    """
    return [
        WarpYarn(
            warp=warp,
            yarn_id=yarn_ids[need.code],
            use=use,
            length_m=need.length_m.quantize(Decimal("0.1")),
            net_g=need.net_g,
            issue_g=need.issue_g,
        )
        for use, needs in (("warp", figures.warp_yarns), ("weft", figures.weft_yarns))
        for need in needs
    ]


FIGURE_COLUMNS = [
    field.attname for field in WarpFigures._meta.concrete_fields if field.attname not in {"id", "warp_id"}
]


@transaction.atomic
def rework_warps() -> dict[str, int]:
    """Work out what is stale: figures, yarn needs, demand by day; say which tickets are overtaken.

    Returns how many warps were looked at and how many had changed. Asks for itself again while more is stale.
    """
    # By primary key and locked, so that whoever marks one of these now waits and is then worked out again.
    stale = list(
        WarpFigures.objects.select_for_update(of=("self",))
        .filter(is_stale=True)
        .order_by("warp_id")
        .values_list("warp_id", flat=True)[: WARPS_PER_JOB + 1]
    )
    ids, more = stale[:WARPS_PER_JOB], len(stale) > WARPS_PER_JOB
    warps = list(for_working_out(Warp.objects.filter(pk__in=ids)))
    mill = Mill.the_one()
    rows: list[WarpFigures] = []
    needs: list[WarpYarn] = []
    yarn_ids = dict(Yarn.objects.filter(colourway_yarns__spec__parts__warp__in=ids).values_list("code", "pk"))
    for warp in warps:
        worked = work_out_warp(warp, mill=mill, unless=warp.worked.worked_from or None)
        if worked is None:
            continue
        rows.append(row_of(warp, worked))
        if worked.figures is not None:
            needs += needs_of(warp, worked.figures, yarn_ids)
    changed = [row.warp_id for row in rows]
    WarpFigures.objects.bulk_create(
        rows, update_conflicts=True, unique_fields=["warp"], update_fields=FIGURE_COLUMNS, batch_size=50
    )
    WarpFigures.objects.filter(warp_id__in=ids).update(is_stale=False)
    WarpYarn.objects.filter(warp_id__in=changed).delete()
    WarpYarn.objects.bulk_create(needs)
    _overtake({row.warp_id: row.worked_from for row in rows})
    _rework_demand(warps)
    if more:
        jobs.ask(TASK, {}, same_as=TASK)
    return {"warps": len(ids), "changed": len(changed)}


def _overtaken(worked_from: dict[int, str]) -> list[JobTicket]:
    """Tickets still in use whose figures are no longer their warp's."""
    tickets = JobTicket.objects.filter(
        warp_id__in=worked_from, overtaken_at__isnull=True, withdrawn_at__isnull=True
    ).order_by("pk")
    return [ticket for ticket in tickets if ticket.worked_from != worked_from[ticket.warp_id]]


def _overtake(worked_from: dict[int, str]) -> None:
    JobTicket.objects.filter(pk__in=[ticket.pk for ticket in _overtaken(worked_from)]).update(
        overtaken_at=timezone.now(),
        overtaken_why="The warp's figures have changed since this ticket was issued.",
    )


# Demand by day


def source_of(warp: Warp) -> str:
    """What a warp's rows of demand carry."""
    return f"warp:{warp.pk}"


def demand_in_force(warp: Warp, needs: Sequence[WarpYarn], *, closures: list[Closure]) -> list[YarnDemand]:
    return demand_of(warp, needs, closures=closures, slot=slot_in_force(warp))


def demand_of(
    warp: Warp,
    needs: Sequence[WarpYarn],
    *,
    closures: list[Closure],
    slot: Slot | None,
    begins_by: date | None = None,
) -> list[YarnDemand]:
    """Grams by yarn and day that the warp has still to draw, with its place in a plan.

    begins_by    without a place, when it should begin; None for as its parts stand

    Warp yarn leaves on the day of winding, weft over the days of weaving by the loom's working minutes. A warp
    that has no place in the plan asks for its yarn by the last day that still serves its earliest due date. Days
    that have gone by stay as they were planned: the draw-down counts them as today.
    """
    drawn: dict[tuple[int, str], int] = defaultdict(int)
    for hold in warp.holds.all():
        drawn[hold.yarn_id, hold.use] += hold.drawn_g
    label = f"Warp {warp.number}" + ("" if slot else ", not on a loom yet")
    worked_from = fingerprint(
        slot and (slot.pk, slot.winding_on, slot.weaving_starts_at, slot.weaving_stops_at),
        sorted(drawn.items()),
        [(need.yarn_id, need.use, need.issue_g) for need in needs],
    )
    unplanned_on = begins_by or _latest_start(warp)
    shares = _weaving_shares(slot, closures=closures) if slot else {unplanned_on: 1}
    rows: list[YarnDemand] = []
    for need in needs:
        left_g = need.issue_g - drawn[need.yarn_id, need.use]
        if need.use == WarpYarn.WARP:
            if warp.state not in (Warp.PROPOSED, Warp.PLANNED):
                continue
            winding_on = (slot.winding_on or timezone.localdate(slot.setup_starts_at)) if slot else unplanned_on
            by_day = {winding_on: left_g}
        else:
            if warp.state == Warp.WOVEN_OUT:
                continue
            by_day = _in_whole_grams(left_g, shares)
        rows += [
            YarnDemand(
                yarn_id=need.yarn_id,
                use=need.use,
                on=on,
                grams=grams,
                source=source_of(warp),
                label=label,
                worked_from=worked_from,
            )
            for on, grams in by_day.items()
            if grams > 0
        ]
    return rows


def _latest_start(warp: Warp) -> date:
    """The day on which weaving should begin for the earliest due date: finishing days and a week of weaving before."""
    parts = list(warp.parts.all())
    if not parts:
        return timezone.localdate()
    return min(latest_start(part.line.due_on, part.spec.finishing_days) for part in parts)


def latest_start(due_on: date, finishing_days: int) -> date:
    """The last day to begin: working days of finishing, as calendar days, and a week of weaving before it is due."""
    return due_on - timedelta(days=finishing_days * 7 // 5 + 7)


def _weaving_shares(slot: Slot, *, closures: list[Closure]) -> dict[date, int]:
    """Working minutes of the loom on each day on which the slot weaves."""
    epoch = clock.monday_before(slot.weaving_starts_at)
    start = clock.to_minute(slot.weaving_starts_at, epoch=epoch)
    stop = clock.to_minute(slot.weaving_stops_at, epoch=epoch)
    hours = clock.mill_hours(slot.loom.shift_pattern.hours, closures, epoch=epoch)
    closed = clock.loom_closed(slot.loom, closures, epoch=epoch)
    calendar = calendar_of(hours.weekly, (*hours.closed, *closed), -(-stop // WEEK_MIN) * WEEK_MIN)
    shares: dict[date, int] = defaultdict(int)
    first_day = timezone.localtime(epoch).date()
    for n in range(start // DAY_MIN, -(-stop // DAY_MIN)):
        minutes = calendar.worked_between(max(start, n * DAY_MIN), min(stop, (n + 1) * DAY_MIN))
        if minutes:
            shares[first_day + timedelta(days=n)] += minutes
    return shares or {first_day + timedelta(days=start // DAY_MIN): 1}


def _in_whole_grams(grams: int, shares: dict[date, int]) -> dict[date, int]:
    """Grams divided as the shares are, in whole grams that add up: each day takes its part of what is left."""
    left_g, left = grams, sum(shares.values())
    by_day: dict[date, int] = {}
    for on, share in sorted(shares.items()):
        by_day[on] = left_g * share // left
        left_g, left = left_g - by_day[on], left - share
    return by_day


def _rework_demand(warps: Sequence[Warp]) -> None:
    """Demand rows of these warps, written again where they differ; asks for the yarns' draw-down that follows."""
    sources = {source_of(warp): warp for warp in warps}
    needs: dict[int, list[WarpYarn]] = defaultdict(list)
    for need in WarpYarn.objects.filter(warp__in=warps).order_by("use", "yarn__code"):
        needs[need.warp_id].append(need)
    closures = list(Closure.objects.all())
    had: dict[str, list[YarnDemand]] = defaultdict(list)
    for row in YarnDemand.objects.filter(source__in=sources):
        had[row.source].append(row)
    fresh: list[YarnDemand] = []
    gone: list[str] = []
    touched: set[int] = set()
    for source, warp in sources.items():
        rows = demand_in_force(warp, needs[warp.pk], closures=closures)
        if _said(rows) != _said(had[source]):
            touched |= {row.yarn_id for row in (*rows, *had[source])}
            gone.append(source)
            fresh += rows
    YarnDemand.objects.filter(source__in=gone).delete()
    YarnDemand.objects.bulk_create(fresh)
    yarns_changed(touched)


def _said(rows: Iterable[YarnDemand]) -> set[tuple[object, ...]]:
    return {(row.yarn_id, row.use, row.on, row.grams, row.label, row.worked_from) for row in rows}


@transaction.atomic
def forget_demand(warp: Warp) -> None:
    """A warp is taken apart or woven out: nothing more is drawn for it."""
    rows = YarnDemand.objects.filter(source=source_of(warp))
    touched = set(rows.values_list("yarn_id", flat=True))
    rows.delete()
    yarns_changed(touched)


# Audit


def audit_differences() -> Generator[str, None, int]:
    """Every stored derived figure of the planning side that differs from a fresh working, in a sentence.

    Returns how many figures were compared.
    """
    compared = 0
    mill = Mill.the_one()
    closures = list(Closure.objects.all())
    needs: dict[int, list[WarpYarn]] = defaultdict(list)
    for need in WarpYarn.objects.filter(warp__in=Warp.objects.open()).order_by("use", "yarn__code"):
        needs[need.warp_id].append(need)
    demand: dict[str, list[YarnDemand]] = defaultdict(list)
    for row in YarnDemand.objects.all():
        demand[row.source].append(row)
    yarn_ids = dict(Yarn.objects.values_list("code", "pk"))
    drawn = dict(
        WarpHold.objects.values_list("pk").annotate(
            g=-Sum("reservation__movements__change_g", filter=draws("reservation__movements__"))
        )
    )
    for hold in WarpHold.objects.select_related("warp", "reservation__lot"):
        compared += 1
        if hold.drawn_g != (drawn[hold.pk] or 0):
            yield f"{hold} says {hold.drawn_g} g drawn; the ledger says {drawn[hold.pk] or 0} g."
    for warp in for_working_out(Warp.objects.open()).iterator(chunk_size=100):
        stored: Any = getattr(warp, "worked", None)
        if stored is None:
            yield f"{warp} has never been worked out."
            continue
        if stored.is_stale:
            continue
        compared += len(FIGURE_COLUMNS) + len(needs[warp.pk]) + len(demand[source_of(warp)])
        # What was drawn keeps the figures it was drawn by; only a warp that follows revisions must agree with today.
        worked = work_out_warp(warp, mill=mill)
        assert worked is not None
        fresh = row_of(warp, worked)
        if warp.state in (Warp.PROPOSED, Warp.PLANNED) or stored.worked_from == worked.worked_from:
            for name in FIGURE_COLUMNS:
                was, now = getattr(stored, name), getattr(fresh, name)
                if name == "figures":
                    was, now = without_words(was), without_words(now)
                if name not in {"worked_at", "is_stale"} and was != now:
                    yield f"{warp}: {name} is stored as {_short(was)}; worked out it is {_short(now)}."
            expected = needs_of(warp, worked.figures, yarn_ids) if worked.figures else []
            if {_need(n) for n in expected} != {_need(n) for n in needs[warp.pk]}:
                yield f"{warp}: its yarn needs are not what its figures say."
        if _said(demand_in_force(warp, needs[warp.pk], closures=closures)) != _said(demand[source_of(warp)]):
            yield f"{warp}: its demand for yarn by day is not what the plan says."
    for ticket in _overtaken(dict(WarpFigures.objects.filter(is_stale=False).values_list("warp_id", "worked_from"))):
        yield f"{ticket} has been overtaken and does not say so."
    return compared


def _need(need: WarpYarn) -> tuple[object, ...]:
    return (need.yarn_id, need.use, need.length_m, need.net_g, need.issue_g)


def _short(value: object) -> str:
    text = str(value)
    return text if len(text) <= 60 else f"{text[:57]}…"
