"""Looking for a better plan in the worker: asked for, told how far it is, ended early with the best, offered.

The looms are planned, the warps wound in the order in which that plan needs them, and the looms planned again from
there, so that warping and weaving settle on each other. Nothing is put in force.
"""

import os
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.contrib.auth import get_user_model
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext

from inventory import services as store
from inventory.models import Delivery
from mill import jobs
from mill.models import Job
from mill.readying import compiling
from mill.refusal import N_, Refusal
from planning.improve import PROVEN_WARPS, Limit, improve, is_ready, kernel
from planning.models import Closure, Loom, PlanRun
from planning.services import assuming, explaining, plans, retelling
from planning.services.explaining import cost_parts, hours_said, work_said
from planning.services.looms import write_down
from planning.services.retelling import Kept
from planning.services.standing import Standing, standing
from planning.shed_plan import Cost, Plan, time_plan

TASK = "planning.improve_plan"
SECONDS = (5, 20, 60)
REPLAN_S = 5
# Parts of the time for each round of looms, then warping, then looms again.
ROUNDS = (0.5, 0.3, 0.2)
# Above this many moves they are told without what each gains: each is a plan of its own to time.
WEIGHED_MOVES = 40
# Read from where it is kept, the search is ready sooner than this; else it is being compiled.
READY_WITHIN_S = 2.0
IS_COMPILED = N_("the search is compiled on this machine, once, for some twenty seconds")
GETTING_READY = f"Getting ready: {IS_COMPILED}"
TOLD_OF = (N_("Late, weighted"), N_("Pieces late"), N_("Set-up"), N_("All together"))
WRITTEN_DOWN = N_("Written down now.")
FIRST = "first plan, while the search gets ready"
# So often the job row is told, and asked whether to stop.
TOLD_EVERY_S = 0.7
# Less is not worth another round.
LEAST_S = 0.05
SEED = 1
THREADS = 2
IMPROVED, REPLANNED = "improved", "re-planned with few moves"


def ask(*, seconds: int, few_moves: bool = False, by: Any = None) -> Job:
    payload = {"seconds": seconds, "few_moves": few_moves, "by": by.pk if by else None}
    with transaction.atomic():
        return jobs.ask(TASK, payload, same_as=f"{TASK}:{seconds}:{few_moves}", by=by)


def ask_without(loom: Loom, *, until: datetime, why: str, only_try: bool = False, by: Any = None) -> Job:
    """A loom stands from now until a moment: re-plan with few moves.

    only_try    the closure is thought of, not written down, until the plan is put in force
    """
    now = timezone.now().replace(second=0, microsecond=0)
    if until <= now:
        raise Refusal(
            N_("%(moment)s has gone by. Say a moment to come until which loom %(loom)s stands."),
            moment=Kept(f"{timezone.localtime(until):%a %d %b %H:%M}", "at"),
            loom=loom.code,
        )
    payload: dict[str, Any] = {"seconds": REPLAN_S, "few_moves": True, "by": by.pk if by else None}
    with transaction.atomic():
        if only_try:
            payload["assumes"] = assuming.loom_stands(loom, why=why, starts_at=now, stops_at=until)
            return jobs.ask(TASK, payload, by=by)
        # Told twice, by one planner or by two at once, the loom stands once.
        Loom.objects.select_for_update().get(pk=loom.pk)
        if not Closure.objects.filter(loom=loom, starts_at__lte=now, stops_at__gte=until).exists():
            write_down(Closure(name=why, loom=loom, starts_at=now, stops_at=until), by=by)
        return jobs.ask(TASK, payload, same_as=f"{TASK}:{REPLAN_S}:True", by=by)


def ask_with_late_yarn(delivery: Delivery, *, expected_on: date, only_try: bool = False, by: Any = None) -> Job:
    """A delivery comes on a later day: re-plan with few moves.

    only_try    the day is thought of, not written down, until the plan is put in force
    """
    refuse_no_later(delivery, expected_on)
    payload: dict[str, Any] = {"seconds": REPLAN_S, "few_moves": True, "by": by.pk if by else None}
    with transaction.atomic():
        if only_try:
            payload["assumes"] = assuming.yarn_is_late(delivery, expected_on=expected_on)
            return jobs.ask(TASK, payload, by=by)
        delivery.expected_on = expected_on
        store.write_delivery(delivery=delivery, changed=["expected_on"], by=by)
        return jobs.ask(TASK, payload, same_as=f"{TASK}:{REPLAN_S}:True", by=by)


def refuse_no_later(delivery: Delivery, expected_on: date) -> None:
    """Raises Refusal where a delivery can't be late by coming on that day."""
    day = Kept(explaining.day_name(expected_on), "day")
    if delivery.is_closed:
        raise Refusal(
            N_("Delivery %(delivery)s is closed: nothing more of it is to come, so it can't be late."),
            delivery=delivery,
        )
    if expected_on < timezone.localdate():
        raise Refusal(
            N_("%(day)s has gone by. Say the day on which delivery %(delivery)s is now expected."),
            day=day,
            delivery=delivery,
        )
    if expected_on <= delivery.expected_on:
        raise Refusal(
            N_(
                "Delivery %(delivery)s is expected on %(was)s as it is, and %(day)s is no later. Say a later day, or "
                "write an earlier one down on its page."
            ),
            delivery=delivery,
            was=Kept(explaining.day_name(delivery.expected_on), "day"),
            day=day,
        )


def at_work() -> Job | None:
    """The search that runs or waits, if one does."""
    return Job.objects.filter(task=TASK, state__in=[Job.QUEUED, Job.RUNNING]).order_by("pk").first()


# Told while it runs


def note_of(cost: Cost, *, elapsed_s: float | None, seconds: float) -> str:
    """How good the best plan is so far, in its parts, in one line. elapsed_s is None while the search gets ready."""
    return "; ".join(
        (
            f"{TOLD_OF[0]}: {hours_said(cost.weighted_tardy_min)}",
            f"{TOLD_OF[1]}: {cost.tardy_pieces}",
            f"{TOLD_OF[2]}: {work_said(cost.setup_min)}",
            f"{TOLD_OF[3]}: {cost.total:,}".replace(",", "\u202f"),
            GETTING_READY
            if elapsed_s is None
            else f"Elapsed: {retelling.ELAPSED % {'n': f'{elapsed_s:.0f}', 'all': f'{seconds:.0f}'}}",
        )
    )


def so_far(job: Job) -> dict[str, Any]:
    """The line of `note_of` taken apart again, for the page."""
    parts = [part.split(": ", 1) for part in job.progress_note.split("; ")]
    told = dict(part for part in parts if len(part) == 2)
    elapsed, gets_ready = told.pop("Elapsed", ""), told.pop("Getting ready", "")
    return {
        "best": [(gettext(label), retelling.retold_place(value)) for label, value in told.items()],
        "elapsed": retelling.retold(elapsed),
        "gets_ready": gettext(gets_ready) if gets_ready else "",
        "note": gettext(job.progress_note) if job.progress_note else "",
        "first": first_offered(job) if gets_ready else None,
    }


def first_offered(job: Job) -> PlanRun | None:
    """The plan that can be looked at while the search gets ready."""
    return PlanRun.objects.filter(state=PlanRun.OFFERED, explained__search=job.pk).first()


# The search


class Watch:
    """Told by the search; tells the job row now and then, and hears there whether to stop."""

    def __init__(self, seconds: float, at_work: jobs.AtWork) -> None:
        self.seconds, self.at_work = seconds, at_work
        self.began = time.monotonic()
        self.told_at = 0.0
        self.is_stopped = False

    def first(self, cost: Cost) -> None:
        """The plan that the search begins with, told before the search is ready."""
        self.at_work.progress(0, note_of(cost, elapsed_s=None, seconds=self.seconds))
        self.is_stopped = self.is_stopped or self.at_work.is_asked_to_stop()

    def begin(self) -> None:
        self.began = time.monotonic()

    def tell(self, cost: Cost) -> None:
        now = time.monotonic()
        if now - self.told_at < TOLD_EVERY_S:
            return
        self.told_at, elapsed_s = now, now - self.began
        pct = min(int(100 * elapsed_s / self.seconds), 99)
        self.at_work.progress(pct, note_of(cost, elapsed_s=elapsed_s, seconds=self.seconds))
        self.is_stopped = self.is_stopped or self.at_work.is_asked_to_stop()


def improve_plan(payload: dict[str, Any]) -> dict[str, Any] | None:
    """The long task: looks for a plan, offers it, and is done in the transaction that writes it down."""
    at_work = jobs.current()
    began = time.monotonic()
    by = get_user_model().objects.filter(pk=payload["by"]).first() if payload["by"] else None
    few_moves, assumes = payload["few_moves"], payload.get("assumes")
    there = standing(few_moves=few_moves, assumed=assuming.read(assumes))
    first: list[PlanRun] = []

    def offer_first(there: Standing, plan: Plan) -> None:
        more = {"search": at_work.job.pk, **({"assumes": assumes} if assumes else {})}
        first.append(plans.record_plan(there, plan, rule=FIRST, began=began, by=by, more=more, tried=0))

    found = look(
        there,
        seconds=payload["seconds"],
        few_moves=few_moves,
        watch=Watch(payload["seconds"], at_work),
        meanwhile=offer_first,
    )
    more: dict[str, Any] = {"proof": found.proof}
    if assumes:
        more["assumes"] = assumes
    if few_moves:
        more["moves"] = explaining.moves(
            found.there, plans.left_as_it_is(found.there), found.plan, weighed=WEIGHED_MOVES
        )
    beside = plans.others_beside(found.there)
    at_work.progress(99, WRITTEN_DOWN)
    with transaction.atomic():
        run = plans.record_plan(
            found.there,
            found.plan,
            rule=REPLANNED if few_moves else IMPROVED,
            began=began,
            by=by,
            is_optimal=found.is_optimal,
            beside=beside,
            more=more,
        )
        PlanRun.objects.filter(pk__in=[one.pk for one in first], state=PlanRun.OFFERED).update(state=PlanRun.REFUSED)
        at_work.finish({"run": run.pk, "cost": cost_parts(found.plan.cost)})
    return None


@dataclass(frozen=True)
class Found:
    """proof says in a sentence whether a better plan can exist."""

    there: Standing
    plan: Plan
    is_optimal: bool
    proof: str


def get_ready(tell: Callable[[], bool], meanwhile: Callable[[], None]) -> bool:
    """Have the search compiled, or read from where it is kept; False when it is no longer wanted.

    tell        told every second while it is not there yet; says whether to leave off
    meanwhile   called once, when it takes its time
    """

    def make_ready() -> None:
        with compiling():
            kernel()

    if is_ready():
        return True
    maker = threading.Thread(target=make_ready, name="making the search ready", daemon=True)
    maker.start()
    maker.join(READY_WITHIN_S)
    if maker.is_alive():
        meanwhile()
    while maker.is_alive():
        if tell():
            return False
        maker.join(1.0)
    # What went wrong in the thread goes wrong here again, where it is heard.
    kernel()
    return True


def look(
    there: Standing,
    *,
    seconds: float,
    few_moves: bool = False,
    watch: Watch | None = None,
    changes: int | None = None,
    meanwhile: Callable[[Standing, Plan], None] | None = None,
) -> Found:
    """The best plan that can be found in so many seconds; with `changes` the same one on every machine.

    meanwhile   given the first plan, when the search takes its time to get ready
    """
    start = plans.carried_on(there)
    if not few_moves:
        start = min(start, plans.by_rule(there, "best"), key=lambda plan: plan.cost.total)
    there, plan = plans.wind_as_needed(there, start)
    if watch and meanwhile:
        watch.first(plan.cost)
        first_there, first_plan = there, plan

        def tell() -> bool:
            watch.first(first_plan.cost)
            return watch.is_stopped

        if not get_ready(tell, lambda: meanwhile(first_there, first_plan)):
            return Found(there, plan, is_optimal=False, proof=retelling.STOPPED)
    kernel()
    if watch:
        watch.begin()
    left_s = seconds
    # With nothing left to wind there is nothing to settle: all of the time goes to the looms.
    for share in ROUNDS if there.winding and not few_moves else (1.0,):
        part_s = left_s if share in (1.0, ROUNDS[-1]) else seconds * share
        began = time.monotonic()
        starts = {code: placed.start for code, placed in plans.carried_on(there).placements.items()}
        improved = improve(
            there.started_as(starts),
            seed=SEED,
            limit=Limit(changes=int(changes * share)) if changes else Limit(seconds=part_s, clock=time.monotonic),
            threads=min(THREADS, os.cpu_count() or 1),
            start=plan,
            stop=(lambda: watch.is_stopped) if watch else None,
            progress=(lambda so_far: watch.tell(so_far.cost)) if watch else None,
        )
        left_s -= time.monotonic() - began
        found = time_plan(there.shed, improved.plan.sequences, crew_order=improved.plan.crew_order)
        wound, plan = plans.wind_as_needed(there, min(found, plan, key=lambda one: one.cost.total))
        # Proven for the order of winding that it was searched with; wound in another order there may be a better one.
        is_optimal = improved.is_optimal and wound is there
        there = wound
        if improved.stopped or is_optimal or (not changes and left_s < LEAST_S):
            break
    return Found(there, plan, is_optimal, proof_of(there, is_optimal=is_optimal, compiled=improved.compiled))


def proof_of(there: Standing, *, is_optimal: bool, compiled: bool) -> str:
    """Whether a better plan can exist, in a sentence."""
    count = len(there.shed.warps)
    if is_optimal:
        said = retelling.PROVEN % {"n": count}
    elif count <= PROVEN_WARPS:
        form = retelling.TOO_SHORT
        if there.shed.previous:
            form = retelling.KEPT
        elif there.shed.winds:
            form = retelling.TO_BE_WOUND
        said = form % {"n": count}
    else:
        said = f"{retelling.TOO_MANY} {retelling.JUDGE_IT}"
    if not compiled:
        said += f" {retelling.NO_COMPILER}"
    return said
