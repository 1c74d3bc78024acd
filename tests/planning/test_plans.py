"""Warps on looms: what the shed is told, what a plan says, and the act of putting it in force."""

import csv
from datetime import UTC, date, datetime, timedelta
from importlib import import_module
from zoneinfo import ZoneInfo

import pytest
from django.apps import apps
from django.db import transaction
from django.utils import timezone
from numpy import busday_offset

from inventory import services as inventory
from inventory.models import Delivery, YarnDemand
from mill import jobs
from mill.models import Mill
from mill.refusal import Refusal
from mill.templatetags.mill import moment
from planning.gaiting import SetUp, set_up_min
from planning.models import Closure, Loom, PlanRun, ShiftPattern, Slot, Warp, WarpFigures, set_up_rates
from planning.services import plans, working_out
from planning.shed_plan import time_plan
from tests.make import make_beam, make_delivery, make_line, make_loom, make_spec, make_warp, make_yarn

pytestmark = pytest.mark.django_db
LONDON = ZoneInfo("Europe/London")
NOW = datetime(2026, 3, 2, 6, tzinfo=LONDON)  # a Monday


def worked(*warps: Warp) -> None:
    with transaction.atomic():
        working_out.warps_changed([warp.pk for warp in warps])
    jobs.settle()


def stock(warp: Warp, planner, *, grams: int = 900_000) -> None:
    """Plenty of every yarn of the warp on hand."""
    for yarn in {need.yarn for need in warp.yarns.select_related("yarn")}:
        inventory.receive(
            yarn=yarn, grams=grams, label=f"S{yarn.pk}", dye_lot="D1", received_on=date(2026, 1, 5), by=planner
        )


@pytest.fixture
def shed(planner):
    """Two looms of one kind and two warps of one cloth, worked out, with yarn for both."""
    spec = make_spec()
    looms = [make_loom(code=code) for code in ("1", "2")]
    warps = [
        make_warp(spec=spec, lines=[make_line(spec=spec, due_on=due)], beam=make_beam())
        for due in (date(2026, 5, 1), date(2026, 4, 1))
    ]
    worked(*warps)
    stock(warps[0], planner)
    return looms, warps


def test_the_earliest_due_date_goes_first_and_the_second_is_tied_in(shed):
    looms, (later, sooner) = shed
    Loom.objects.filter(pk=looms[1].pk).update(is_held=True)
    run = plans.make_plan(now=NOW)
    first, second = run.slots.order_by("position")
    assert [first.warp, second.warp] == [sooner, later]
    assert {first.loom.code, second.loom.code} == {"1"}
    assert first.setup == "gait-up"
    assert second.setup == "tie-in"
    assert second.setup_starts_at >= first.weaving_stops_at


def test_set_up_minutes_are_the_gaiting_rooms(shed):
    run = plans.make_plan(now=NOW)
    rates = set_up_rates(Mill.the_one())
    kinds = {str(kind): kind for kind in SetUp}
    for slot in run.slots.select_related("warp__worked"):
        assert slot.setup_min == set_up_min(kinds[slot.setup], ends=slot.warp.worked.ends, rates=rates)


def test_weaving_takes_the_working_minutes_that_picks_and_speed_ask_for(shed):
    run = plans.make_plan(now=NOW)
    slot = run.slots.select_related("warp__worked", "loom").first()
    # ceil(picks / (ppm x efficiency)) minutes of 06:00-22:00 days: counted off by hand, minute by minute.
    need = -(-slot.warp.worked.picks * 100 // (slot.loom.ppm * int(slot.loom.efficiency_pct)))
    minute, done = slot.weaving_starts_at.astimezone(LONDON), 0
    while done < need:
        if minute.weekday() < 5 and 6 <= minute.hour < 22:
            done += 1
        minute += timedelta(minutes=1)
    assert slot.weaving_stops_at == minute


def test_nothing_follows_from_a_plan_until_it_is_in_force(shed, planner):
    run = plans.make_plan(now=NOW)
    assert not YarnDemand.objects.exclude(label__endswith="not on a loom yet").exists()
    plans.put_in_force(run, by=planner)
    jobs.settle()
    assert YarnDemand.objects.filter(use="warp").exists()
    assert not YarnDemand.objects.filter(label__endswith="not on a loom yet").exists()
    assert list(working_out.audit_differences()) == []


def test_a_second_plan_overtakes_the_first(shed, planner):
    first = plans.put_in_force(plans.make_plan(now=NOW), by=planner)
    second = plans.put_in_force(plans.make_plan(rule="setups_first", now=NOW), by=planner)
    first.refresh_from_db()
    assert (first.state, second.state) == (PlanRun.OVERTAKEN, PlanRun.IN_FORCE)


def test_a_plan_made_before_the_one_in_force_is_refused(shed, planner):
    old = plans.make_plan(now=NOW)
    plans.put_in_force(plans.make_plan(now=NOW), by=planner)
    with pytest.raises(Refusal, match="Make a new plan"):
        plans.put_in_force(old, by=planner)


def test_putting_in_force_twice_is_once(shed, planner):
    run = plans.make_plan(now=NOW)
    assert plans.put_in_force(run, by=planner) == plans.put_in_force(run, by=planner)
    assert PlanRun.objects.filter(state=PlanRun.IN_FORCE).count() == 1


def test_a_loom_that_is_closed_weaves_nothing_then(shed):
    looms, _ = shed
    Closure.objects.create(name="Fair week", starts_at=NOW, stops_at=NOW + timedelta(days=60), loom=looms[0])
    run = plans.make_plan(now=NOW)
    for slot in run.slots.filter(loom=looms[0]):
        assert slot.weaving_starts_at >= NOW + timedelta(days=60)


def test_a_warp_too_wide_for_every_loom_is_left_out_with_both_numbers(shed):
    spec = make_spec(finished_width_cm=300)
    wide = make_warp(spec=spec, lines=[make_line(spec=spec)])
    worked(wide)
    run = plans.make_plan(now=NOW)
    (row,) = run.left_out
    assert row["warp"] == wide.number
    assert "200" in row["why"]
    assert str(WarpFigures.objects.get(warp=wide).reed_width_cm) in row["why"]
    assert not run.slots.filter(warp=wide).exists()


def test_a_warp_waits_for_a_delivery_of_its_yarn():
    yarn = make_yarn()
    spec = make_spec(yarns={"A": yarn, "B": yarn})
    make_loom(code="1")
    warp = make_warp(spec=spec, lines=[make_line(spec=spec)])
    worked(warp)
    Delivery.objects.create(number="D1", yarn=yarn, ordered_g=900_000, expected_on=date(2026, 3, 18))
    (slot,) = plans.make_plan(now=NOW).slots.all()
    assert slot.winding_on == date(2026, 3, 19)


def test_a_warp_in_the_loom_stays_first_and_only_what_is_left_is_woven(shed):
    looms, (warp, _) = shed
    picks = WarpFigures.objects.get(warp=warp).picks
    Warp.objects.filter(pk=warp.pk).update(state=Warp.WEAVING, loom=looms[1], picks_woven=picks - 1540)
    slot = plans.make_plan(now=NOW).slots.get(warp=warp)
    assert slot.loom == looms[1]
    assert slot.position == 0
    assert slot.setup_min == 0
    # 1540 picks at 220 a minute and 70 % take ten minutes.
    assert slot.weaving_stops_at - slot.weaving_starts_at == timedelta(minutes=10)


def test_a_pin_is_kept_and_an_impossible_one_is_refused(shed):
    looms, (warp, _) = shed
    plans.pin_warp(warp, by=None, loom=looms[1])
    assert plans.make_plan(now=NOW).slots.get(warp=warp).loom == looms[1]
    narrow = make_loom(code="3", reed_space_cm=100)
    with pytest.raises(Refusal, match=r"177\.\d.*100"):
        plans.pin_warp(warp, by=None, loom=narrow)


def test_nothing_is_pinned_to_a_held_loom(shed):
    looms, (warp, _) = shed
    plans.pin_warp(warp, by=None, loom=looms[1])
    held = Loom.objects.get(pk=looms[0].pk)
    held.is_held, held.held_reason = True, "a broken shaft"
    with pytest.raises(Refusal, match="Loom 1 is held: a broken shaft"):
        plans.pin_warp(warp, by=None, loom=held)


def test_a_warp_that_is_new_goes_on_no_held_loom_when_a_plan_is_carried_on_or_brought_back(shed, planner):
    looms, (warp, _) = shed
    Loom.objects.filter(pk=looms[1].pk).update(is_held=True, held_reason="a broken shaft")
    first = plans.put_in_force(plans.make_plan(now=NOW), by=planner)
    plans.put_in_force(plans.make_plan(now=NOW), by=planner)
    new = make_warp(spec=warp.parts.get().spec, lines=[make_line(spec=warp.parts.get().spec)], beam=make_beam())
    worked(new)
    # Loom 2 has nothing on it, and would be the soonest.
    again = plans.bring_back(PlanRun.objects.get(pk=first.pk), by=planner, now=NOW)
    assert set(again.slots.values_list("loom__code", flat=True)) == {"1"}
    assert again.slots.filter(warp=new).exists()


@pytest.mark.parametrize(
    ("starts_at", "stops_at"),
    [
        (datetime(2026, 3, 3, 10, 0, 10, tzinfo=LONDON), datetime(2026, 3, 3, 10, 0, 50, tzinfo=LONDON)),
        # Three quarters of an hour, from 01:30 in summer to 01:15 in winter.
        (datetime(2026, 10, 25, 0, 30, tzinfo=UTC), datetime(2026, 10, 25, 1, 15, tzinfo=UTC)),
    ],
)
def test_a_closure_that_the_clock_does_not_show_stops_no_plan(shed, starts_at, stops_at):
    Closure.objects.create(name="Power cut", starts_at=starts_at, stops_at=stops_at)
    assert plans.make_plan(now=NOW).slots.count() == 2


@pytest.mark.parametrize("rule", [*plans.RULES])
def test_a_loom_without_hours_takes_nothing_and_stops_no_plan(shed, rule):
    looms, (pinned, free) = shed
    if rule == "best":
        years = timedelta(weeks=100)
        Closure.objects.create(name="Laid up", loom=looms[0], starts_at=NOW - timedelta(1), stops_at=NOW + years)
    else:
        laid_up = ShiftPattern.objects.create(name="Laid up", hours="closed")
        Loom.objects.filter(pk=looms[0].pk).update(shift_pattern=laid_up)
    Warp.objects.filter(pk=pinned.pk).update(pin_loom=looms[0])
    run = plans.make_plan(rule=rule, now=NOW)
    assert [(slot.warp, slot.loom) for slot in run.slots.all()] == [(free, looms[1])]
    (left_out,) = run.left_out
    assert left_out["warp"] == pinned.number
    assert left_out["why"].startswith("Loom 1, which it is kept to, has no working hours")


def test_a_delivery_of_another_decade_keeps_one_warp_out_of_the_plan_and_not_all(shed, planner):
    looms, (warp, _) = shed
    yarn = make_yarn()
    spec = make_spec(yarns={"A": yarn, "B": yarn})
    far = make_warp(spec=spec, lines=[make_line(spec=spec)], beam=make_beam())
    worked(far)
    make_delivery(yarn=yarn, ordered_g=9_000_000, expected_on=date(2062, 3, 18))
    run = plans.make_plan(rule="best", now=NOW)
    assert run.slots.count() == 2
    (left_out,) = run.left_out
    assert left_out["warp"] == far.number
    assert f"warp yarn {yarn.code} for it comes Sun 19 Mar 2062" in left_out["why"]
    day = timezone.now() + timedelta(days=500)
    with pytest.raises(Refusal, match="is more than a year away"):
        plans.pin_warp(warp, by=None, loom=looms[0], starts_at=day)


def test_weft_of_a_week_that_is_closed_altogether_is_wanted_when_the_plan_begins_it(shed, planner):
    run = plans.put_in_force(plans.make_plan(now=NOW), by=planner)
    slot = run.slots.select_related("loom__shift_pattern").latest("weaving_starts_at")
    begins = slot.weaving_starts_at
    shut = Closure(name="Flood", starts_at=begins - timedelta(days=9), stops_at=begins + timedelta(days=9))
    (weft,) = [need for need in slot.warp.yarns.all() if need.use == "weft"][:1]
    warp = working_out.for_working_out(Warp.objects.filter(pk=slot.warp_id)).get()
    rows = working_out.demand_of(warp, [weft], closures=[shut], slot=slot)
    assert {row.on for row in rows} == {timezone.localdate(begins)}


def test_a_late_warp_says_why(planner):
    spec = make_spec()
    make_loom(code="1")
    late = make_warp(spec=spec, lines=[make_line(spec=spec, due_on=date(2026, 3, 6))])
    worked(late)
    stock(late, planner)
    run = plans.make_plan(now=NOW)
    slot = run.slots.get(warp=late)
    assert slot.why.endswith(".")
    # Finished ten Mondays to Fridays after the day on which the last piece is off, as numpy counts them.
    assert late.parts.get().spec.finishing_days == 10
    ready_on = busday_offset(timezone.localdate(slot.weaving_stops_at), 10, roll="backward").item()
    assert slot.days_late == (ready_on - date(2026, 3, 6)).days > 0
    # Finishing takes the ten from 23 February to Friday 6 March: it had to be off before the first.
    too_late = slot.weaving_stops_at - datetime(2026, 2, 23, tzinfo=LONDON)
    latest_min = too_late // timedelta(minutes=1)
    assert latest_min < slot.late_min <= latest_min * late.parts.get().pieces
    (row,) = run.explained["late"]
    assert (row["late_min"], row["days"]) == (slot.late_min, slot.days_late)


def test_a_plan_made_before_that_was_kept_learns_how_many_days_late_its_warps_are(planner):
    spec = make_spec()
    make_loom(code="1")
    late, in_time = (
        make_warp(spec=spec, lines=[make_line(spec=spec, due_on=due)]) for due in (date(2026, 3, 6), date(2026, 9, 4))
    )
    worked(late, in_time)
    stock(late, planner)
    slots = plans.make_plan(now=NOW).slots
    said = dict(slots.values_list("warp", "days_late"))
    slots.update(days_late=0)
    import_module("planning.migrations.0016_days_late_of_older_plans").fill(apps, None)
    assert dict(slots.values_list("warp", "days_late")) == said
    assert said[late.pk] > said[in_time.pk] == 0


def test_an_empty_shed_is_refused_in_a_sentence():
    with pytest.raises(Refusal, match="no loom to plan"):
        plans.make_plan(now=NOW)


def test_what_the_book_says_is_what_the_planner_timed(shed):
    there = plans.standing(now=NOW)
    run = plans.make_plan(now=NOW)
    order = {
        code: [str(slot.warp.number) for slot in Slot.objects.filter(run=run, loom=loom).order_by("position")]
        for code, loom in there.looms.items()
    }
    again = time_plan(there.shed, order)
    assert run.cost["total"] == again.cost.total


def test_pages_of_the_looms_room(desk, shed, planner):
    assert shed
    assert b"No plan is in force" in desk.get("/looms/").content
    answer = desk.post("/looms/plans/new/", {"rule": "best"}, follow=True)
    run = PlanRun.objects.get()
    assert f"Plan {run.pk}".encode() in answer.content
    desk.post(f"/looms/plans/{run.pk}/decide/", {"act": "accept"})
    assert b"in force since" in desk.get("/looms/").content
    assert desk.get("/looms/1/").status_code == 200
    listed = desk.get("/looms/plans/").content.decode()
    # “5 h 20 min” says its own unit, and a day stays whole; a spreadsheet is told of the minutes.
    assert "Late, weighted" in listed
    assert '<span class="unit">min</span>' not in listed
    assert f'<td class="nowrap">{moment(PlanRun.objects.get().made_at)}</td>' in listed
    assert "Late, weighted (min)" in desk.get("/looms/plans/?csv=1").content.decode()
    assert b"There is no rule" in desk.post("/looms/plans/new/", {"rule": "magic"}, follow=True).content


def test_the_warp_that_weaves_is_not_one_to_come(desk, shed, planner):
    run = plans.put_in_force(plans.make_plan(now=NOW), by=planner)
    first = run.slots.filter(loom__code="1").order_by("position")[0]
    n = run.slots.filter(loom__code="1").count()
    Warp.objects.filter(pk=first.warp_id).update(state=Warp.WEAVING, loom=first.loom)
    rows = list(csv.DictReader(desk.get("/looms/?csv=1").content.decode("utf-8-sig").splitlines()))
    row = next(row for row in rows if row["Loom"] == "1")
    assert (row["Now"], row["Warps to come"]) == (f"{first.warp}, weaving", str(n - 1))


def test_the_looms_page_takes_as_many_queries_for_ten_looms_as_for_two(desk, shed, django_assert_max_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    plans.put_in_force(plans.make_plan(now=NOW), by=None)
    with CaptureQueriesContext(connection) as few:
        desk.get("/looms/")
    for _ in range(8):
        make_loom()
    with django_assert_max_num_queries(len(few)):
        desk.get("/looms/")


def test_a_loom_is_held_with_a_reason_and_let_go(desk, shed):
    assert b"Say why loom 1 is held" in desk.post("/looms/1/hold/", {"reason": " "}, follow=True).content
    desk.post("/looms/1/hold/", {"reason": "broken picking stick"})
    assert b"broken picking stick" in desk.get("/looms/").content
    desk.post("/looms/1/hold/")
    assert not Loom.objects.get(code="1").is_held


def test_records_of_the_mill_room_say_what_is_wrong_beside_the_field(desk):
    answer = desk.post("/mill/shift_patterns/new/", {"name": "Nights", "hours": "Mon-Fri late"})
    assert b"names no hours" in answer.content or b"not known" in answer.content
    assert b"Mon-Fri late" in answer.content
    answer = desk.post(
        "/mill/beams/new/", {"code": "B1", "width_cm": "180", "barrel_mm": 500, "flange_mm": 400, "tare_kg": 80}
    )
    assert "A flange of 400 mm can’t".replace("’", "&#x27;").encode() in answer.content


def test_the_plan_api_makes_and_puts_in_force(desk, shed):
    made = desk.post("/api/plans/", {"rule": "best"}, content_type="application/json")
    assert made.status_code == 201
    pk = made.json()["id"]
    assert desk.post(f"/api/plans/{pk}/put-in-force/").json()["state"] == "in force"
    loom = desk.get("/api/looms/1/").json()
    assert loom["queue"] or desk.get("/api/looms/2/").json()["queue"]


def test_the_looms_list_narrows_to_those_that_are_held(desk, shed):
    Loom.objects.filter(code="1").update(is_held=True, held_reason="worn reed cap")
    held, running = (desk.get("/looms/", {"held": word}).content.decode() for word in ("true", "false"))
    assert 'href="/looms/1/"' in held
    assert 'href="/looms/2/"' not in held
    assert 'href="/looms/2/"' in running
    assert 'href="/looms/1/"' not in running
