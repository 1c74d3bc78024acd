"""The promise: a date that holds once the line is ordered, warped and planned; and what a jump would push."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from django.db import transaction
from hypothesis import given
from hypothesis import strategies as st

from inventory import services as inventory
from mill import jobs
from mill.refusal import Refusal
from planning import promise as promise_room
from planning.finishing import ready_on
from planning.models import OrderLine, PlanRun, Slot, Warp
from planning.services import plans, working_out
from planning.services.promise import promise
from planning.services.standing import due_minute, standing
from tests.make import make_beam, make_delivery, make_line, make_loom, make_spec, make_supplier, make_warp, make_yarn

LONDON = ZoneInfo("Europe/London")
NOW = datetime(2026, 3, 2, 6, tzinfo=LONDON)  # a Monday


def worked(*warps):
    with transaction.atomic():
        working_out.warps_changed([warp.pk for warp in warps])
    jobs.settle()


def stocked_spec(planner, **changes):
    """A cloth with ample yarn on hand."""
    yarn = make_yarn()
    inventory.receive(
        yarn=yarn, grams=9_000_000, label=f"S{yarn.pk}", dye_lot="D1", received_on=date(2026, 1, 5), by=planner
    )
    return make_spec(yarns={"A": yarn, "B": yarn}, **changes)


def asked(spec, **changes):
    facts = {"colourway": spec.cloth.colourways.get(), "pieces": 2, "length_m": Decimal("60"), "now": NOW}
    return promise(**facts | changes)


@given(st.dates(date(2026, 1, 1), date(2027, 12, 31)), st.integers(0, 30))
def test_what_is_off_by_the_due_minute_is_ready_on_the_day_and_what_is_off_later_is_not(due_on, days):
    epoch = datetime(2025, 12, 29, tzinfo=LONDON)
    off_on = date(2025, 12, 29) + timedelta(days=due_minute(OrderLine(due_on=due_on), days, epoch=epoch) // 1440 - 1)
    assert ready_on(off_on, days) <= due_on < ready_on(off_on + timedelta(days=1), days)


@pytest.mark.django_db
def test_an_idle_mill_is_ready_when_winding_gaiting_weaving_and_finishing_are_done(planner):
    make_loom(code="1")
    spec = stocked_spec(planner)
    told = asked(spec)
    ready = ready_on(told.safe.off_on, spec.finishing_days)
    assert told.safe_on.weekday() < 5
    assert 0 <= (told.safe_on - ready).days <= 2
    assert told.jump is None
    assert told.safe.looms == ("1",)
    # The same line ordered for that day, warped and planned, is in time; for the day before it is late.
    for due_on, is_late in ((told.safe_on, False), (ready - timedelta(1), True)):
        warp = make_warp(spec=spec, lines=[make_line(spec=spec, due_on=due_on)])
        worked(warp)
        slot = plans.make_plan(now=NOW).slots.get(warp=warp)
        assert bool(slot.late_min) == is_late, due_on
        Warp.objects.filter(pk=warp.pk).update(state=Warp.WOVEN_OUT)


@pytest.mark.django_db
def test_yarn_that_is_not_here_moves_the_date_and_is_named(planner):
    make_loom(code="1")
    yarn = make_yarn(supplier=make_supplier(lead_time_days=40))
    spec = make_spec(yarns={"A": yarn, "B": yarn})
    ordered_now = asked(spec)
    assert any(yarn.code in link for link in ordered_now.safe.chain)
    assert ordered_now.safe.starts_on >= NOW.date() + timedelta(40)
    make_delivery(yarn=yarn, ordered_g=900_000, expected_on=date(2026, 3, 10))
    assert asked(spec).safe_on < ordered_now.safe_on


@pytest.fixture
def busy_mill(planner):
    """One loom with three warps planned, each due as it comes off: there is no slack before the last."""
    make_loom(code="1")
    spec = stocked_spec(planner)
    warps = [make_warp(spec=spec, lines=[make_line(spec=spec, due_on=date(2026, 12, 1))]) for _ in range(3)]
    worked(*warps)
    first = plans.put_in_force(plans.make_plan(now=NOW), by=planner)
    for slot in first.slots.select_related("warp"):
        part = slot.warp.parts.get()
        off = (slot.weaving_stops_at - timedelta(minutes=1)).astimezone(LONDON).date()
        part.line.due_on = ready_on(off, spec.finishing_days)
        part.line.save()
    return spec, warps


@pytest.mark.django_db
def test_a_safe_date_pushes_nothing_and_a_jump_says_what_it_pushes(busy_mill):
    spec, warps = busy_mill
    told = asked(spec)
    last = Slot.objects.filter(run__state=PlanRun.IN_FORCE).latest("weaving_stops_at")
    assert told.safe.pushes == ()
    assert told.safe.starts_on >= last.weaving_stops_at.astimezone(LONDON).date()
    assert told.jump.ready_on < told.safe_on
    assert {push.warp for push in told.jump.pushes} <= {warp.number for warp in warps}
    assert told.jump.pushes


@pytest.mark.django_db
def test_nothing_is_written_by_asking(busy_mill):
    spec, _ = busy_mill
    before = (PlanRun.objects.count(), Slot.objects.count(), Warp.objects.count())
    asked(spec)
    assert (PlanRun.objects.count(), Slot.objects.count(), Warp.objects.count()) == before


@pytest.mark.django_db
def test_a_warp_with_time_to_spare_lets_a_short_line_in_before_it(planner):
    make_loom(code="1")
    spec = stocked_spec(planner)
    warp = make_warp(spec=spec, lines=[make_line(spec=spec, due_on=date(2026, 12, 1))])
    worked(warp)
    run = plans.put_in_force(plans.make_plan(now=NOW), by=planner)
    told = asked(spec, now=NOW - timedelta(days=3, hours=1))
    # The warp in the plan is frozen on its loom but not due for months: the new line may go before it.
    assert told.safe.pushes == ()
    assert told.safe.off_on <= run.slots.get().weaving_stops_at.astimezone(LONDON).date() + timedelta(21)


@pytest.mark.django_db
def test_the_exact_timing_agrees_with_the_place_that_is_told(busy_mill):
    there = standing(now=NOW)
    plan = plans.carried_on(there)
    some = there.shed.warps[0]
    wanted = replace(some, id="new", pieces=tuple(replace(piece, weight=0) for piece in some.pieces))
    place = promise_room.first_place(there.shed, plan, wanted)
    assert place.plan.placements["new"].end == place.end
    assert place.end == min(
        promise_room._placed(promise_room._with(there.shed, wanted), plan, wanted, "1", turn).end
        for turn in range(len(plan.sequences["1"]) + 1)
    )


@pytest.mark.django_db
def test_a_line_longer_than_the_largest_beam_goes_on_several_warps(planner):
    make_loom(code="1")
    make_beam(flange_mm=400)
    spec = stocked_spec(planner)
    one, many = asked(spec, pieces=1), asked(spec, pieces=60)
    assert one.warps == 1
    assert many.warps > 1
    assert many.safe_on > one.safe_on
    with pytest.raises(Refusal, match=r"largest beam holds .* m"):
        asked(spec, pieces=1, length_m=Decimal("9000"))


@pytest.mark.django_db
def test_a_cloth_too_wide_for_every_loom_is_refused_with_both_numbers(planner):
    make_loom(code="1")
    with pytest.raises(Refusal, match=r"No loom takes it.*200"):
        asked(stocked_spec(planner, finished_width_cm=300))


@pytest.mark.django_db
def test_lines_without_a_warp_are_said_not_to_be_reckoned_with(planner):
    make_loom(code="1")
    spec = stocked_spec(planner)
    make_line(spec=spec)
    assert any("1 order line is on no warp yet" in caution for caution in asked(spec).cautions)


@pytest.mark.django_db
def test_the_page_the_order_form_s_part_and_the_api_say_the_same_day(desk, planner):
    make_loom(code="1")
    spec = stocked_spec(planner)
    colourway = spec.cloth.colourways.get()
    words = {"colourway": colourway.pk, "pieces": "2", "length_m": "60 m", "due_on": "2026-01-05"}
    page = desk.get("/promise/", words).content.decode()
    part = desk.get("/promise/", {"line": "lines-0", **{f"lines-0-{name}": v for name, v in words.items()}})
    assert "Safe from" in page
    assert "after the date wished for" in page
    said = page.split("Safe from ")[1].split("<")[0]
    assert f"Safe from {said}" in part.content.decode()
    assert "<html" not in part.content.decode()
    told = desk.post("/api/promise/", {**words, "length_m": "60"}, content_type="application/json").json()
    assert f"{date.fromisoformat(told['safe_on']):%a} " in said
    assert told["days_over"] > 0
    assert desk.get("/promise/", {"line": "lines-0", "lines-0-pieces": "2"}).content.strip() == b""
