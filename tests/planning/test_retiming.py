"""The plan in force follows the floor: its times, by what was woven; never its orders. One job for a burst of taps."""

from datetime import datetime, timedelta
from decimal import Decimal

import pytest
import time_machine
from django.db import transaction
from django.utils import timezone

from mill import jobs
from mill.models import Job
from planning.models import Loom, OrderLine, PlanRun, Slot, Warp
from planning.services import actuals, floor, plans, retiming, warp_steps, working_out
from tests.make import make_beam, make_line, make_loom, make_spec, make_warp
from tests.planning.floor_walk import make_worker, wound_warp

pytestmark = pytest.mark.django_db

# A Monday 06:00 in winter; the loom runs 06:00 to 22:00 from Monday to Friday.
MONDAY = timezone.make_aware(datetime(2026, 2, 2, 6))


@pytest.fixture
def mill(planner):
    """Two warps of two pieces of 60 m for loom 7, in force from Monday 06:00; 220 picks a minute at 70 %.

    Each takes 2 x 54 060 = 108 120 picks: 108 120 / 154 = 702.1, upwards 703 minutes of 960 in a day.
    """
    with time_machine.travel(MONDAY, tick=False):
        spec, loom = make_spec(finishing_days=1), make_loom(code="7")
        lines = [make_line(spec=spec, due_on=(MONDAY + timedelta(days=days)).date()) for days in (30, 60)]
        for number, line in zip((118, 119), lines, strict=True):
            wound_warp(planner, spec=spec, lines=[line], loom=loom, number=number)
        plans.put_in_force(plans.make_plan(by=planner), by=planner)
        jobs.settle()
    return planner


@pytest.fixture
def tell(mill):
    una = make_worker(code="UNA")

    def say(kind: str, hours: float, *, number: int = 118, settles: bool = True, **facts):
        with time_machine.travel(MONDAY + timedelta(hours=hours), tick=False):
            warp = Warp.objects.get(number=number)
            event = floor.tell(warp, kind=kind, worker=una, key=f"{kind} {hours} {number}", by=mill, facts=facts)
            assert event.refused == ""
            if settles:
                jobs.settle()
        return event

    return say


def slot(number: int) -> Slot:
    return Slot.objects.get(run__state=PlanRun.IN_FORCE, warp__number=number)


def orders() -> list[tuple[str, int, int]]:
    rows = Slot.objects.filter(run__state=PlanRun.IN_FORCE)
    return list(rows.order_by("loom__code", "position").values_list("loom__code", "position", "warp__number"))


def test_a_warp_that_is_started_late_moves_what_waits_behind_it_and_no_turn(tell):
    before, behind, turns = slot(118), slot(119), orders()
    tell("gaited", 26)
    tell("started", 28)
    after = slot(118)
    # Tuesday 10:00, and 703 minutes of weaving: to 21:43.
    assert after.weaving_starts_at == MONDAY + timedelta(hours=28)
    assert after.weaving_stops_at == MONDAY + timedelta(hours=28, minutes=703)
    assert after.first_stops_at == before.weaving_stops_at
    assert slot(119).weaving_starts_at > behind.weaving_starts_at
    assert orders() == turns
    assert PlanRun.objects.get(state=PlanRun.IN_FORCE).retimed_at == MONDAY + timedelta(hours=28)


def test_a_loom_that_runs_worse_than_its_record_is_out_later_and_its_warp_is_late_the_same_minute(tell, desk):
    tell("gaited", 0.5)
    tell("started", 1)
    line = OrderLine.objects.get(parts__warp__number=118)
    # By the record it is out on Monday at 18:43; Monday is the last day that serves Tuesday with a day of finishing.
    OrderLine.objects.filter(pk=line.pk).update(due_on=(MONDAY + timedelta(days=1)).date())
    # 54 060 picks in 10 hours are 54 060 / 132 000 = 41 %: the second piece takes till Tuesday.
    tell("piece off", 11, length_m=Decimal("63.90"))
    late = slot(118)
    assert late.weaving_stops_at.date() == (MONDAY + timedelta(days=1)).date()
    assert late.late_min > 0
    with time_machine.travel(MONDAY + timedelta(hours=11), tick=False):
        text = desk.get("/").content.decode()
        (out,) = actuals.run_outs()
    # Of its two pieces the second alone is late, by what Tuesday is old when it is off.
    off = timezone.localtime(late.weaving_stops_at)
    assert late.late_min == off.hour * 60 + off.minute
    # With a day of finishing it is finished on Wednesday, a day after it is due.
    assert "Warp 118</a> on loom 7 is finished 1 day late" in text
    # The plan and the beam's own run-out say the same, to the minutes in which each piece is rounded up.
    assert abs(out.out_at - late.weaving_stops_at) <= timedelta(minutes=2)


def test_a_warp_that_the_desk_says_is_out_is_out_by_then_and_is_late_no_more(tell, mill, desk):
    tell("gaited", 0.5)
    tell("started", 1)
    OrderLine.objects.filter(parts__warp__number=118).update(due_on=MONDAY.date())
    with time_machine.travel(MONDAY + timedelta(hours=6), tick=False):
        retiming.retime()
        page = desk.get("/warps/118/").content.decode()
        assert "days late" in page or "day late" in page
        warp_steps.weave_out(Warp.objects.get(number=118), by=mill)
        jobs.settle()
        assert slot(118).weaving_stops_at == MONDAY + timedelta(hours=6)
        assert "day late" not in desk.get("/warps/118/").content.decode()


@pytest.mark.parametrize("rule", ["earliest_due_date", "best"])
def test_a_plan_that_nothing_has_happened_to_since_stands_as_it_is(mill, rule):
    """Also a warp that is still to be wound, as far ahead of its loom as the plan has it wound."""
    with time_machine.travel(MONDAY, tick=False):
        spec = make_spec()
        for number in (120, 121, 122):
            make_warp(spec=spec, number=number, beam=make_beam())
        with transaction.atomic():
            working_out.warps_changed(Warp.objects.filter(number__gte=120))
        jobs.settle()
        run = plans.put_in_force(plans.make_plan(rule=rule), by=mill)
        assert run.slots.count() == 5
        assert run.slots.filter(winding_on__isnull=False).count() == 3
        assert retiming.retime(now=MONDAY) == {"moved": 0}


def test_what_moved_moves_the_days_of_its_yarn_and_the_audit_agrees(tell):
    tell("gaited", 26)
    tell("started", 28)
    tell("piece off", 34, length_m=Decimal("64.00"))
    assert [*working_out.audit_differences()] == []


def test_taps_in_a_burst_are_one_job_and_what_can_t_be_done_asks_for_none(tell, mill):
    done = Job.objects.filter(task=retiming.TASK).count()
    tell("gaited", 1, settles=False)
    tell("started", 2, settles=False)
    tell("piece off", 9, settles=False, length_m=Decimal(64))
    assert Job.objects.filter(task=retiming.TASK).count() == done + 1
    jobs.settle()
    refused = floor.tell(Warp.objects.get(number=119), kind="started", worker=floor.worker_of("UNA"), key="no", by=mill)
    assert refused.refused
    assert not jobs.is_pending(retiming.TASK)


@pytest.mark.parametrize(
    ("reason", "minutes", "asks"), [("weft break", 5, False), ("weft break", 20, True), ("no weft", 5, True)]
)
def test_a_wait_or_a_long_stop_moves_the_plan_and_a_break_does_not(tell, reason, minutes, asks):
    tell("gaited", 0.5)
    tell("started", 1)
    tell("stopped", 2, reason=reason)
    assert not jobs.is_pending(retiming.TASK)
    tell("running", 2 + minutes / 60, settles=False)
    assert jobs.is_pending(retiming.TASK) is asks


def test_a_warp_that_hangs_in_another_loom_stands_there_in_the_plan(tell, mill):
    other = make_loom(code="8")
    from planning.services import warp_steps

    with time_machine.travel(MONDAY + timedelta(hours=1), tick=False):
        warp_steps.gait(Warp.objects.get(number=119), loom=other, by=mill)
        jobs.settle()
    assert orders() == [("7", 0, 118), ("8", 0, 119)]


def test_nothing_is_timed_where_no_plan_is_in_force_and_another_plan_is_left_alone(mill):
    old = PlanRun.objects.get(state=PlanRun.IN_FORCE)
    PlanRun.objects.update(state=PlanRun.OVERTAKEN)
    assert retiming.retime(now=MONDAY + timedelta(days=3)) == {"moved": 0}
    assert PlanRun.objects.get(pk=old.pk).retimed_at is None


def test_hours_that_pass_without_a_word_move_the_plan_when_today_is_looked_at(tell, desk):
    tell("gaited", 0.5)
    tell("started", 1)
    tell("stopped", 2, reason="no weft")
    out = slot(118).weaving_stops_at
    with time_machine.travel(MONDAY + timedelta(hours=9), tick=False):
        desk.get("/")
        jobs.settle()
        assert not jobs.is_pending(retiming.TASK)
        desk.get("/")
        assert not jobs.is_pending(retiming.TASK)
    # An hour was woven, seven were stood: what is left begins at 15:00.
    assert slot(118).weaving_stops_at > out


def test_an_efficiency_that_is_taken_over_times_what_comes_after_by_it(tell, mill):
    tell("gaited", 0.5)
    tell("started", 1)
    tell("piece off", 11, length_m=Decimal("63.90"))
    behind = slot(119)
    with time_machine.travel(MONDAY + timedelta(hours=11), tick=False):
        actuals.take_efficiency(Loom.objects.get(code="7"), efficiency_pct=Decimal("41.0"), by=mill)
        jobs.settle()
    # 108 120 picks at 220 x 41 % are 1 199 minutes instead of 703.
    took = slot(119).weaving_stops_at - slot(119).weaving_starts_at
    assert took > behind.weaving_stops_at - behind.weaving_starts_at


def test_the_plans_page_says_that_its_times_follow_the_floor(tell, desk):
    tell("gaited", 26)
    tell("started", 28)
    run = PlanRun.objects.get(state=PlanRun.IN_FORCE)
    page = desk.get(f"/looms/plans/{run.pk}/").content.decode()
    assert "Its times follow what the floor tells" in page
    assert "planned " in page
    shown = desk.get(f"/api/plans/{run.pk}/").json()
    assert shown["retimed_at"]
    assert shown["slots"][0]["first_stops_at"] < shown["slots"][0]["weaving_stops_at"]
