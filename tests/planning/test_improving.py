"""A better plan looked for in the worker: told how far it is, stopped with the best, offered; and re-planning."""

import time
from contextlib import ExitStack
from datetime import datetime, timedelta
from itertools import permutations
from zoneinfo import ZoneInfo

import pytest
from django.db import transaction
from django.utils import timezone

from inventory.models import Delivery, YarnLot
from mill import jobs
from mill.models import Job
from mill.readying import compiling
from mill.refusal import Refusal
from planning.models import Closure, Loom, PlanRun, Warp
from planning.services import improving, plans
from planning.services.standing import standing
from planning.shed_plan import Cost, time_plan
from tests.inventory.test_pages import text_of
from tests.make import make_delivery
from tests.planning.busy_mill import make_busy_mill

pytestmark = pytest.mark.django_db
LONDON = ZoneInfo("Europe/London")


@pytest.fixture
def mill(planner):
    """Three looms and nine warps, late enough that their order matters; no plan yet."""
    make_busy_mill(looms=3, warps=9, cloths=2, starts=timezone.localdate() - timedelta(24), planner=planner)


def settled(job):
    jobs.settle()
    job.refresh_from_db()
    assert job.state == Job.DONE, job.error
    return PlanRun.objects.get(pk=job.result["run"])


def cost(total):
    zero = dict.fromkeys(
        ("setup", "makespan", "moves", "pins", "weighted_tardy_min", "setup_min", "last_end", "tardy_pieces"), 0
    )
    return Cost(tardiness=total, moved=0, moved_frozen=0, broken_pins=0, **zero)


# Asked for


@pytest.mark.slow
def test_the_button_asks_the_worker_and_the_page_leads_to_the_plan(desk, mill, planner):
    answer = desk.post("/looms/plans/improve/", {"seconds": "5"}, follow=True)
    job = Job.objects.get(task=improving.TASK)
    assert job.asked_by == planner
    assert b"It waits for the worker" in answer.content
    assert b"A better plan is being looked for" in desk.get("/looms/").content
    Job.objects.filter(pk=job.pk).update(payload=job.payload | {"seconds": 0.2})
    run = settled(job)
    assert (run.state, run.by) == (PlanRun.OFFERED, planner)
    answer = desk.get(f"/looms/plans/looking/{job.pk}/")
    assert answer["Location"] == f"/looms/plans/{run.pk}/"
    answer = desk.get(f"/looms/plans/looking/{job.pk}/", headers={"HX-Request": "true"})
    assert answer["HX-Redirect"] == f"/looms/plans/{run.pk}/"
    page = desk.get(f"/looms/plans/{run.pk}/").content.decode()
    assert run.explained["proof"] in page.replace("&#x27;", "'")
    assert "earliest due date, on paper" in page.lower()


def test_seconds_that_are_not_offered_are_not_taken(desk, mill):
    assert desk.post("/looms/plans/improve/", {"seconds": "86400"}).status_code == 404
    assert not Job.objects.filter(task=improving.TASK).exists()


def test_two_planners_who_ask_for_the_same_get_one_search(mill, planner):
    assert improving.ask(seconds=5, by=planner) == improving.ask(seconds=5, by=None)
    assert improving.ask(seconds=20) != improving.ask(seconds=5)


def test_a_search_that_nobody_has_begun_is_stopped(desk, mill):
    job = improving.ask(seconds=60)
    page = desk.post(f"/looms/plans/looking/{job.pk}/stop/", follow=True).content.decode()
    assert "Stopped before it was begun" in page
    assert jobs.settle() == 0


# Told


def test_the_page_shows_the_best_so_far_in_its_parts_and_what_has_elapsed(desk, mill):
    job = improving.ask(seconds=20)
    note = improving.note_of(cost(1_234_567), elapsed_s=8.2, seconds=20)
    Job.objects.filter(pk=job.pk).update(state=Job.RUNNING, progress_pct=41, progress_note=note)
    page = desk.get(f"/looms/plans/looking/{job.pk}/").content.decode()
    assert "8 of 20 s" in page
    assert "1\u202f234\u202f567" in page
    assert 'hx-trigger="every 1s"' in page
    assert "Stop and keep the best" in page
    part = desk.get(f"/looms/plans/looking/{job.pk}/", headers={"HX-Request": "true"}).content.decode()
    assert "<html" not in part
    told = dict(improving.so_far(Job.objects.get(pk=job.pk))["best"])
    assert set(told) == {"Late, weighted", "Pieces late", "Set-up", "All together"}


def test_a_search_that_was_given_up_says_why(desk, mill):
    job = improving.ask(seconds=5)
    Warp.objects.update(loom=None, state=Warp.WOUND)
    Loom.objects.all().delete()
    jobs_failed(job)
    page = desk.get(f"/looms/plans/looking/{job.pk}/").content.decode()
    assert "There is no loom to plan" in page


def jobs_failed(job):
    with pytest.raises(Refusal):
        jobs.settle()
    job.refresh_from_db()
    assert job.state == Job.FAILED


# Found


def test_the_plan_is_no_dearer_than_the_paper_rules(mill):
    there = standing()
    found = improving.look(there, seconds=0.2)
    for other in plans.others_beside(there).values():
        assert found.plan.cost.total <= other.cost.total
    assert found.proof.endswith(".")


def test_a_few_warps_are_proven_best_or_said_not_to_be(planner):
    make_busy_mill(looms=2, warps=5, cloths=2, starts=timezone.localdate() - timedelta(24), planner=planner)
    found = improving.look(standing(), seconds=5, changes=50_000)
    assert found.is_optimal
    assert found.proof.startswith("Proven best")
    # By hand: every order of the loose warps on the two looms.
    there = found.there
    hangs = there.shed.in_progress
    loose = [warp.id for warp in there.shed.warps if not warp.in_progress]
    best = None
    for order in permutations(loose):
        for cut in range(len(order) + 1):
            rows = {"1": list(order[:cut]), "2": list(order[cut:])}
            rows = {loom: [*([hangs[loom]] if loom in hangs else []), *row] for loom, row in rows.items()}
            total = time_plan(there.shed, rows).cost.total
            best = total if best is None else min(best, total)
    assert found.plan.cost.total <= best
    short = improving.look(standing(), seconds=5, changes=100)
    assert short.is_optimal or short.proof.startswith("Not proven best of its 5 warps")


def test_with_a_number_of_changes_the_plan_is_the_same_on_every_run(mill):
    there = standing()
    one, other = (improving.look(there, seconds=1, changes=5_000) for _ in range(2))
    assert one.plan.sequences == other.plan.sequences
    assert (
        one.plan.cost.total == time_plan(one.there.shed, one.plan.sequences, crew_order=one.plan.crew_order).cost.total
    )


def test_stopped_it_keeps_the_best_so_far_and_tells_its_cost(mill, transactional_db):
    job = improving.ask(seconds=60)

    class AtWork(jobs.AtWork):
        """Somebody presses the button as soon as the first figures are on the page."""

        def progress(self, pct, note=""):
            super().progress(pct, note)
            if "Elapsed" in note:
                jobs.stop(self.job, by=None)

    began = time.monotonic()
    claimed = jobs.claim(jobs.worker_name(), job_id=job.pk)
    at_work = AtWork(claimed)
    with jobs._being_at(at_work):
        improving.improve_plan(claimed.payload)
    assert time.monotonic() - began < 300
    job.refresh_from_db()
    assert job.state == Job.DONE
    run = PlanRun.objects.get(pk=job.result["run"])
    assert run.cost["total"] <= run.explained["beside"][-1]["cost"]["total"]


def test_warps_are_wound_in_the_order_in_which_the_looms_need_them(planner):
    make_busy_mill(looms=3, warps=9, cloths=2, starts=timezone.localdate() - timedelta(24), planner=planner)
    Warp.objects.filter(state=Warp.WOUND).update(state=Warp.YARN_DRAWN)
    there = standing()
    by_date = plans.by_rule(there, "best")
    wound, plan = plans.wind_as_needed(there, by_date)
    assert plan.cost.total <= by_date.cost.total
    assert sorted(wound.order) == sorted(there.order)
    for code in wound.winding:
        placed = plan.placements[code]
        assert placed.winding.stops_at <= max(placed.setup_start, placed.start)


def test_while_the_search_gets_ready_the_first_plan_is_there_to_be_looked_at(desk, mill, planner):
    from planning import improve

    # As in a worker that has just begun, while another process compiles.
    improve._compiled.cache_clear()
    seen = []

    class AtWork(jobs.AtWork):
        def progress(self, pct, note=""):
            super().progress(pct, note)
            if "Getting ready" in note and improving.first_offered(self.job):
                seen.append(desk.get(f"/looms/plans/looking/{self.job.pk}/").content.decode())
                held.close()

    job = improving.ask(seconds=5, by=planner)
    Job.objects.filter(pk=job.pk).update(payload=job.payload | {"seconds": 0.2})
    claimed = jobs.claim(jobs.worker_name(), job_id=job.pk)
    at_work = AtWork(claimed)
    with ExitStack() as held, jobs._being_at(at_work):
        held.enter_context(compiling())
        improving.improve_plan(claimed.payload)
    first = PlanRun.objects.get(rule=improving.FIRST)
    assert "the search is compiled on this machine, once" in seen[0]
    assert f"Look at plan {first.pk} meanwhile" in seen[0]
    assert "All together" in seen[0]
    assert first.slots.count() == 9
    job.refresh_from_db()
    found = PlanRun.objects.get(pk=job.result["run"])
    assert found.cost["total"] <= first.cost["total"]
    # The better plan takes its place.
    assert (first.state, found.state) == (PlanRun.REFUSED, PlanRun.OFFERED)


def test_stopped_before_the_search_is_ready_it_is_the_first_plan(mill, planner):
    from planning import improve

    improve._compiled.cache_clear()
    job = improving.ask(seconds=5, by=planner)
    claimed = jobs.claim(jobs.worker_name(), job_id=job.pk)
    jobs.stop(claimed, by=None)
    with compiling(), jobs._being_at(jobs.AtWork(claimed)):
        improving.improve_plan(claimed.payload)
    job.refresh_from_db()
    run = PlanRun.objects.get(pk=job.result["run"])
    assert "Stopped before the search was ready" in run.explained["proof"]


# Re-planning


@pytest.fixture
def in_force(mill, planner):
    return plans.put_in_force(plans.make_plan(rule="best"), by=planner)


def short(job):
    Job.objects.filter(pk=job.pk).update(payload=job.payload | {"seconds": 0.3})
    return job


def test_a_breakdown_is_written_down_and_re_planned_with_its_moves_told(desk, in_force):
    until = (timezone.localtime() + timedelta(days=4)).replace(second=0, microsecond=0)
    words = {"until": f"{until:%Y-%m-%dT%H:%M}", "why": "broken crank", "act": "write"}
    desk.post("/looms/2/stands/", words)
    # Pressed twice, or by two at once, it stands once.
    desk.post("/looms/2/stands/", words)
    assert Closure.objects.get().loom == Loom.objects.get(code="2")
    run = settled(short(Job.objects.get(task=improving.TASK)))
    assert run.rule == improving.REPLANNED
    assert "moves" in run.explained
    for slot in run.slots.filter(loom__code="2").exclude(warp__state__in=plans.IN_LOOM):
        assert slot.weaving_starts_at >= until
    page = text_of(desk.get(f"/looms/plans/{run.pk}/"))
    assert "What it moves" in page
    assert "Warps that move" in page or not run.cost["moved"]


def test_what_if_writes_nothing_until_the_plan_is_put_in_force(desk, in_force, planner):
    until = (timezone.localtime() + timedelta(days=4)).replace(second=0, microsecond=0)
    words = {"until": f"{until:%Y-%m-%dT%H:%M}", "why": "overhaul", "act": "try"}
    desk.post("/looms/2/stands/", words)
    assert not Closure.objects.exists()
    run = settled(short(Job.objects.get(task=improving.TASK)))
    assert not Closure.objects.exists()
    assert "It takes loom 2 to stand" in desk.get(f"/looms/plans/{run.pk}/").content.decode()
    assert desk.get(f"/looms/board/?plan={run.pk}").status_code == 200
    plans.put_in_force(run, by=planner)
    assert (Closure.objects.get().name, Closure.objects.get().stops_at) == ("overhaul", until)


def test_a_breakdown_that_is_over_already_or_without_a_reason_is_refused(desk, in_force):
    page = desk.post("/looms/2/stands/", {"until": "2020-01-01T10:00", "why": "x", "act": "write"}, follow=True)
    assert b"has gone by" in page.content
    page = desk.post("/looms/2/stands/", {"until": "", "why": "", "act": "write"}, follow=True)
    assert b"Say until when the loom stands" in page.content
    assert b"Say why the loom stands" in page.content
    assert not Closure.objects.exists()
    assert not Job.objects.filter(task=improving.TASK).exists()


@pytest.fixture
def waiting(in_force):
    """The weft of a cloth comes with a delivery next week, for it is in quarantine; one of its warps."""
    warp = in_force.slots.filter(loom__code="2").latest("position").warp
    yarn = warp.yarns.first().yarn
    YarnLot.objects.filter(yarn=yarn).update(is_quarantined=True)
    day = timezone.localdate() + timedelta(days=7)
    return warp, make_delivery(yarn=yarn, ordered_g=90_000_000, expected_on=day)


def test_late_yarn_is_written_down_and_re_planned_with_its_moves_told(desk, waiting):
    warp, delivery = waiting
    page = desk.get(f"/deliveries/{delivery.pk}/").content.decode()
    assert "It is late: re-plan with few moves" in page
    assert f'action="/looms/plans/late-yarn/{delivery.pk}/"' in page
    late = timezone.localdate() + timedelta(days=45)
    answer = desk.post(f"/looms/plans/late-yarn/{delivery.pk}/", {"expected_on": late.isoformat(), "act": "write"})
    delivery.refresh_from_db()
    assert delivery.expected_on == late
    job = Job.objects.get(task=improving.TASK)
    assert answer["Location"] == f"/looms/plans/looking/{job.pk}/"
    run = settled(short(job))
    assert (run.rule, run.state) == (improving.REPLANNED, PlanRun.OFFERED)
    slot = run.slots.get(warp=warp)
    assert timezone.localdate(slot.weaving_starts_at) > late
    assert all({"said", "gain", "must"} <= move.keys() for move in run.explained["moves"])
    assert "What it moves" in desk.get(f"/looms/plans/{run.pk}/").content.decode()


def test_late_yarn_only_tried_moves_no_day_until_the_plan_is_put_in_force(desk, waiting, planner):
    warp, delivery = waiting
    was, late = delivery.expected_on, timezone.localdate() + timedelta(days=45)
    desk.post(f"/looms/plans/late-yarn/{delivery.pk}/", {"expected_on": late.isoformat(), "act": "try"})
    run = settled(short(Job.objects.get(task=improving.TASK)))
    delivery.refresh_from_db()
    assert delivery.expected_on == was
    assert timezone.localdate(run.slots.get(warp=warp).weaving_starts_at) > late
    page = desk.get(f"/looms/plans/{run.pk}/").content.decode()
    assert f"It takes delivery {delivery} of {delivery.yarn} to come on" in page
    # A move by hand on the copy goes on thinking the same.
    from planning.services import board

    loom = Loom.objects.exclude(pk=run.slots.get(warp=warp).loom_id).exclude(code="1").first()
    moved = board.move(run, warp, loom=loom, by=planner)
    assert timezone.localdate(moved.slots.get(warp=warp).weaving_starts_at) > late
    plans.put_in_force(moved, by=planner)
    delivery.refresh_from_db()
    assert delivery.expected_on == late


@pytest.mark.parametrize(
    ("day", "says"),
    [
        (timedelta(days=-1), "has gone by. Say the day on which delivery"),
        (timedelta(days=5), "is no later. Say a later day"),
        (None, "Say the day on which the delivery is now expected"),
    ],
)
def test_a_delivery_that_is_not_late_is_not_re_planned(desk, waiting, day, says):
    _, delivery = waiting
    said = (timezone.localdate() + day).isoformat() if day else ""
    words = {"expected_on": said, "act": "write"}
    page = desk.post(f"/looms/plans/late-yarn/{delivery.pk}/", words, follow=True).content.decode()
    assert says in page
    assert not Job.objects.filter(task=improving.TASK).exists()
    Delivery.objects.filter(pk=delivery.pk).update(is_closed=True)
    words["expected_on"] = (timezone.localdate() + timedelta(days=60)).isoformat()
    page = desk.post(f"/looms/plans/late-yarn/{delivery.pk}/", words, follow=True).content.decode()
    assert "is closed: nothing more of it is to come" in page


def test_warps_that_start_within_the_freeze_stay_on_their_loom(in_force):
    there = standing()
    soon = timezone.now() + timedelta(days=3)
    slots = in_force.slots.filter(weaving_starts_at__lt=soon).exclude(warp__state__in=plans.IN_LOOM)
    assert there.frozen == {str(slot.warp.number) for slot in slots.select_related("warp")}
    assert there.frozen
    by_paper = plans.make_plan(rule="setups_first")
    searched = improving.look(there, seconds=1, changes=5_000)
    for slot in slots.select_related("warp", "loom"):
        code = str(slot.warp.number)
        again = by_paper.slots.get(warp=slot.warp)
        assert (again.loom, again.position) == (slot.loom, slot.position)
        placed = searched.plan.placements[code]
        assert placed.loom == slot.loom.code
        assert abs(there.day_of(placed.start) - slot.weaving_starts_at) <= timedelta(hours=4)


def test_nothing_is_frozen_on_a_loom_that_is_held(in_force):
    first = standing()
    code = next(iter(first.frozen))
    loom = first.shed.warp[code].pin_loom
    Loom.objects.filter(code=loom).update(is_held=True, held_reason="no tuner")
    assert code not in standing().frozen


# Undo


def test_undo_puts_the_plan_before_back_in_force_timed_afresh(desk, in_force, planner):
    warp = in_force.slots.filter(loom__code="2").latest("position").warp
    from planning.services import board

    moved = plans.put_in_force(board.move(in_force, warp, loom=Loom.objects.get(code="3")), by=planner)
    assert b"Undo: back to plan" in desk.get("/looms/").content
    page = desk.post(f"/looms/plans/{in_force.pk}/decide/", {"act": "bring back"}, follow=True).content.decode()
    assert "is back in force" in page
    again = PlanRun.objects.get(state=PlanRun.IN_FORCE)
    assert again.pk not in (in_force.pk, moved.pk)
    before = {slot.warp_id: (slot.loom_id, slot.position) for slot in in_force.slots.all()}
    assert {slot.warp_id: (slot.loom_id, slot.position) for slot in again.slots.all()} == before


def test_undo_says_what_no_longer_fits(in_force, planner):
    plans.put_in_force(plans.make_plan(rule="setups_first"), by=planner)
    in_force.refresh_from_db()
    slot = in_force.slots.exclude(warp__state__in=plans.IN_LOOM).filter(loom__code="2").first()
    Loom.objects.filter(code="2").update(reed_space_cm=90)
    with pytest.raises(Refusal, match=rf"Plan {in_force.pk} no longer fits: .*Warp {slot.warp.number}"):
        plans.bring_back(in_force, by=planner)
    Loom.objects.filter(code="2").update(reed_space_cm=200, is_held=True, held_reason="broken crank")
    with pytest.raises(Refusal, match=r"loom 2 is held \(broken crank\)"):
        plans.bring_back(in_force, by=planner)


def test_undo_carries_warps_that_came_since_and_drops_those_woven_out(in_force, planner):
    plans.put_in_force(plans.make_plan(rule="setups_first"), by=planner)
    in_force.refresh_from_db()
    gone = in_force.slots.exclude(warp__state__in=plans.IN_LOOM).first().warp
    Warp.objects.filter(pk=gone.pk).update(state=Warp.WOVEN_OUT)
    again = plans.bring_back(in_force, by=planner)
    assert not again.slots.filter(warp=gone).exists()
    assert again.slots.count() == in_force.slots.count() - 1


def test_a_plan_with_a_warp_that_hangs_elsewhere_by_now_is_refused(in_force, planner):
    run = plans.make_plan(rule="best")
    slot = run.slots.exclude(warp__state__in=plans.IN_LOOM).exclude(loom__code="3").first()
    Warp.objects.filter(pk=slot.warp_id).update(state=Warp.GAITED, loom=Loom.objects.get(code="3"))
    with pytest.raises(Refusal, match=f"{slot.warp} hangs in loom 3 now"):
        plans.put_in_force(run, by=planner)


def test_a_moment_that_has_gone_by_pins_nothing(in_force):
    slot = in_force.slots.exclude(warp__state__in=plans.IN_LOOM).latest("position")
    with pytest.raises(Refusal, match="has gone by"):
        plans.pin_warp(slot.warp, by=None, loom=slot.loom, starts_at=datetime(2020, 1, 1, 10, tzinfo=LONDON))
    Warp.objects.filter(pk=slot.warp_id).update(pin_loom=slot.loom, pin_starts_at=timezone.now() - timedelta(days=1))
    there = standing()
    assert there.shed.warp[str(slot.warp.number)].pin_start is None
    with transaction.atomic():
        assert plans.make_plan().cost["broken_pins"] == 0


# The API


def test_the_api_asks_for_a_search_moves_by_hand_and_brings_back(desk, in_force, planner):
    plain = {"content_type": "application/json"}
    asked = desk.post("/api/plan-searches/", {"seconds": 5}, **plain)
    assert asked.status_code == 202
    address = f"/api/plan-searches/{asked.json()['id']}/"
    assert desk.get(address).json()["state"] == "queued"
    short(Job.objects.get(task=improving.TASK))
    jobs.settle()
    done = desk.get(address).json()
    told = desk.get(f"/api/plans/{done['run']}/").json()["explained"]
    assert told["bottleneck"].endswith(".")
    assert {row["name"] for row in told["beside"]} == {plans.CARRIED_ON, plans.PAPER_RULE}
    warp = in_force.slots.filter(loom__code="2").latest("position").warp
    moved = desk.post(f"/api/plans/{in_force.pk}/move/", {"warp": warp.number, "loom": "3"}, **plain)
    assert moved.status_code == 201
    assert desk.post(f"/api/plans/{moved.json()['id']}/put-in-force/").status_code == 200
    assert desk.post(f"/api/plans/{in_force.pk}/bring-back/").json()["state"] == "in force"
    refused = desk.post(f"/api/plans/{in_force.pk}/move/", {"warp": warp.number, "loom": "2"}, **plain)
    assert refused.status_code == 400
    assert "overtaken" in refused.json()["detail"]


def test_a_search_is_stopped_through_the_api(desk, mill):
    pk = desk.post("/api/plan-searches/", {"seconds": 60}, content_type="application/json").json()["id"]
    assert desk.post(f"/api/plan-searches/{pk}/stop/").json()["state"] == "failed"
