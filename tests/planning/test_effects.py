"""Before it is confirmed: the days, hours and tickets that a change is shown to move are those that it moves."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from math import ceil
from zoneinfo import ZoneInfo

import pytest
from django.urls import reverse
from django.utils import timezone

from inventory import services as store
from inventory.models import Yarn
from mill import jobs
from planning import finishing
from planning.models import Beam, Closure, JobTicket, Loom, OrderLine, PlanRun, Slot, Warp
from planning.services import board, cloths, effects, line_plans, orders, plans, retiming, tickets, warp_yarn
from planning.services.cloths import draft_of as draft_of_spec
from planning.services.line_foresight import effects_of_line
from planning.services.looms import write_down
from planning.services.revision_foresight import effects_of_revision
from planning.ticket import from_json
from tests.inventory.test_pages import text_of
from tests.make import make_beam, make_delivery, make_loom, make_lot, make_spec, make_yarn
from tests.planning.test_foresight import in_days, on_warp

pytestmark = pytest.mark.django_db


@pytest.fixture
def shed(planner):
    """Three warps of 120 m on two looms of unlike tails, in a plan in force; the first has its ticket."""
    yarns = {"A": make_yarn(code="MOSS"), "B": make_yarn(code="CREAM")}
    spec = make_spec(yarns=yarns)
    for yarn in yarns.values():
        make_lot(yarn=yarn, grams=400_000, label=f"L-{yarn.code}")
    make_beam(), make_beam(), make_beam()
    make_loom(code="1", tail_cm=Decimal(0))
    make_loom(code="2", tail_cm=Decimal(12))
    for due in (60, 80, 100):
        on_warp(spec, planner, due_on=in_days(due))
    plans.put_in_force(plans.make_plan(), by=planner)
    jobs.settle()
    return spec


def ticketed(warp, planner):
    Warp.objects.filter(pk=warp.pk).update(beam=Beam.objects.first())
    warp_yarn.hold_yarn(warp, by=planner)
    jobs.settle()
    return tickets.issue_ticket(Warp.objects.get(pk=warp.pk), by=planner)


def ready_days():
    """By line: the day on which the plan in force, timed again, has it finished."""
    retiming.retime()
    jobs.settle()
    lines = list(OrderLine.objects.filter(parts__isnull=False).values_list("pk", flat=True).distinct())
    found = line_plans.plans_of(lines)
    return {pk: max(part.ready_on for part in parts) for pk, parts in found.items() if parts and parts[0].ready_on}


def check(foreseen, do):
    """Do it, and see that days and tickets came as foreseen, and no others moved."""
    before = ready_days()
    in_use = set(JobTicket.objects.filter(overtaken_at__isnull=True))
    do()
    jobs.settle()
    after = ready_days()
    moved = {pk: (before.get(pk), after.get(pk)) for pk in before | after if before.get(pk) != after.get(pk)}
    assert {one.line.pk: (one.now, one.then) for one in foreseen.lines} == moved
    assert set(foreseen.overtaken) == {t for t in in_use if JobTicket.objects.get(pk=t.pk).overtaken_at}


def test_nothing_thought_of_does_nothing(shed):
    foreseen = effects.of(effects.NOTHING)
    assert (foreseen.lines, foreseen.elsewhere, foreseen.overtaken, foreseen.redated) == ((), (), (), ())
    assert foreseen.now == foreseen.then
    assert foreseen.n_lines == 3


@pytest.fixture
def moved(shed, planner):
    """The first warp of the plan, with its ticket, moved behind the others on the other loom: a copy, offered."""
    run = plans.PlanRun.objects.get(state="in force")
    slot = run.slots.select_related("warp", "loom").order_by("weaving_starts_at", "loom__code")[0]
    ticketed(slot.warp, planner)
    retiming.retime()
    jobs.settle()
    other = Loom.objects.exclude(pk=slot.loom_id).get()
    return board.move(run, slot.warp, loom=other, by=planner)


def test_a_moved_warp_does_what_was_shown(moved, planner):
    foreseen = effects.of_plan(moved)
    assert foreseen.lines
    assert len(foreseen.elsewhere) == 1
    # The other loom's tail is another: the warp to wind is longer or shorter, and its ticket holds no longer.
    assert len(foreseen.overtaken) == 1
    check(foreseen, lambda: plans.put_in_force(moved, by=planner))
    assert effects.of_plan(moved).lines == ()


def test_late_yarn_does_what_was_shown(shed, planner):
    """The yarn of all three warps is sent back but 10 kg, and comes by a delivery: that it is late moves all of them."""
    yarn = Yarn.objects.get(code="MOSS")
    lot = yarn.lots.get()
    store.correct(lot=lot, change_g=-399_000, reason="miscounted", by=planner)
    delivery = make_delivery(yarn=yarn, ordered_g=400_000, expected_on=in_days(7))
    later = in_days(35)
    foreseen = effects.of_late_delivery(delivery, expected_on=later)
    assert len(foreseen.lines) == 3
    # The looms stand four weeks longer: every line is finished later, in the same hours of work.
    assert all(21 <= one.days <= 35 for one in foreseen.lines)
    assert foreseen.now == foreseen.then

    def do():
        delivery.expected_on = later
        store.write_delivery(delivery=delivery, changed=["expected_on"], by=planner)

    check(foreseen, do)
    with pytest.raises(AssertionError):
        check(foreseen, lambda: None)


def test_a_breakdown_does_what_was_shown(shed, planner):
    loom = Loom.objects.get(code="1")
    now = timezone.now()
    until = now + timedelta(days=28)
    foreseen = effects.of_breakdown(loom, until=until)
    assert foreseen.lines
    assert all(one.days > 0 for one in foreseen.lines)
    check(foreseen, lambda: write_down(Closure(name="stands", loom=loom, starts_at=now, stops_at=until), by=planner))


@pytest.mark.parametrize(
    ("changes", "is_overtaken"),
    [
        ({"pieces": 6}, True),
        ({"length_m": Decimal("40.00")}, True),
        ({"note": "red label"}, True),
        ({"due_on": in_days(200)}, True),
        # It stands on no ticket.
        ({"weight": 9}, False),
    ],
    ids=str,
)
def test_a_changed_line_does_what_was_shown(shed, planner, changes, is_overtaken):
    line = OrderLine.objects.order_by("due_on").first()
    ticket = ticketed(line.parts.get().warp, planner)
    draft = replace(orders.draft_of(line), **changes)
    foreseen = effects_of_line(line, draft)
    assert foreseen.overtaken == ((ticket,) if is_overtaken else ())
    check(foreseen, lambda: orders.change_line(line, draft, by=planner))


def test_a_line_called_off_does_what_was_shown(shed, planner):
    line = OrderLine.objects.order_by("due_on").first()
    foreseen = effects_of_line(line, replace(orders.draft_of(line), pieces=0))
    (own,) = [one for one in foreseen.lines if one.line == line]
    assert own.then is None
    assert foreseen.then.weaving_min < foreseen.now.weaving_min
    check(foreseen, lambda: orders.call_off_line(line, by=planner))


def test_a_revision_does_what_was_shown(shed, planner):
    draft = draft_of_spec(shed)
    draft = replace(draft, columns={**draft.columns, "loom_picks_per_cm": Decimal("20.000"), "finishing_days": 20})
    ticketed(Warp.objects.earliest("number"), planner)
    foreseen = effects_of_revision(shed.cloth, draft)
    assert len(foreseen.lines) == 3
    assert foreseen.then.weaving_min > foreseen.now.weaving_min
    assert foreseen.then.setup_min == foreseen.now.setup_min
    check(foreseen, lambda: cloths.revise(shed.cloth, draft, by=planner))


# The pages and the API


def days_said(told):
    return {one["line"]: (one["now"], one["then"]) for one in told["lines"]}


def as_said(foreseen):
    return {
        str(one.line): tuple(on.isoformat() if on else None for on in (one.now, one.then)) for one in foreseen.lines
    }


def test_the_board_shows_what_a_move_does_before_it_is_confirmed(moved, desk):
    foreseen = effects.of_plan(moved)
    board_page = desk.get(reverse("board"), {"plan": moved.pk}).content.decode()
    part = reverse("plan_effects", args=[moved.pk])
    assert f'hx-get="{part}" hx-trigger="load"' in board_page
    assert f"{reverse('plan', args=[moved.pk])}?effects=yes#plan-effects" in board_page, "without a script, a link away"
    for page in (text_of(desk.get(part)), text_of(desk.get(reverse("plan", args=[moved.pk])))):
        assert "What it moves, once in force" in page
        (ticket,) = foreseen.overtaken
        assert f"1 ticket would be overtaken: {ticket.number} ({ticket.warp})" in page
        for one in foreseen.lines:
            assert f"{one.line} {one.line.order.customer}" in page
    on_board = text_of(desk.get(part, headers={"HX-Current-URL": f"http://testserver{reverse('board')}?plan=9"}))
    assert "Draws kg" in on_board, "kilograms too"
    told = desk.get(f"/api/plans/{moved.pk}/effects/").json()
    assert days_said(told) == as_said(foreseen)
    assert told["overtaken"] == [ticket.number]
    assert told["elsewhere"] == [{"warp": foreseen.elsewhere[0].warp.number, "now": "1", "then": "2"}]
    plans.put_in_force(moved, by=None)
    assert desk.get(part).status_code == 404


def test_a_late_delivery_is_seen_before_it_is_written(shed, desk, planner):
    yarn = Yarn.objects.get(code="MOSS")
    store.correct(lot=yarn.lots.get(), change_g=-399_000, reason="miscounted", by=planner)
    delivery = make_delivery(number="PO 7", yarn=yarn, ordered_g=400_000, expected_on=in_days(7))
    said = {"expected_on": in_days(35).isoformat()}
    page = text_of(desk.post(reverse("plan_late_yarn", args=[delivery.pk]), {**said, "act": "look"}))
    assert "Finished on another day" in page
    assert "No ticket would be overtaken" in page
    assert "MOSS" in page
    told = desk.post("/api/plan-searches/late-yarn/effects/", {**said, "delivery": "PO 7"}, "application/json").json()
    assert days_said(told["effects"]) == as_said(effects.of_late_delivery(delivery, expected_on=in_days(35)))
    delivery.refresh_from_db()
    assert delivery.expected_on == in_days(7)
    sooner = {"expected_on": in_days(3).isoformat(), "delivery": "PO 7"}
    assert desk.post("/api/plan-searches/late-yarn/effects/", sooner, "application/json").status_code == 400


def test_a_breakdown_is_seen_before_it_is_written(shed, desk):
    until = timezone.localtime(timezone.now() + timedelta(days=28)).replace(second=0, microsecond=0)
    said = {"until": until.strftime("%Y-%m-%dT%H:%M"), "why": "The batten broke."}
    page = text_of(desk.post(reverse("loom_breaks_down", args=["1"]), {**said, "act": "look"}))
    assert "Finished on another day" in page
    assert "No yarn runs short by it." in page
    for one in effects.yarn_of_breakdown(Loom.objects.get(code="1"), until=until).yarns:
        # Later, and not a gram more.
        assert one.sight.draws_now_g == one.sight.draws_then_g
        assert one.sight.then.days[-1].day > one.sight.now.days[-1].day
    told = desk.post("/api/looms/1/stands/effects/", {"until": until.isoformat()}, "application/json").json()
    assert days_said(told["effects"]) == as_said(effects.of_breakdown(Loom.objects.get(code="1"), until=until))
    assert not Closure.objects.exists()


def test_a_line_and_a_revision_show_what_they_move(shed, desk, planner):
    line = OrderLine.objects.order_by("due_on").first()
    ticket = ticketed(line.parts.get().warp, planner)
    assert "What it moves" in text_of(desk.get(reverse("line_call_off", args=[line.order.number, line.position])))
    draft = replace(orders.draft_of(line), pieces=6)
    said = {
        "cloth": line.cloth.code,
        "colourway": line.colourway.name,
        "pieces": 6,
        "length_m": "60",
        "due_on": line.due_on.isoformat(),
    }
    told = desk.post(f"/api/order-lines/{line.pk}/effects/", said, "application/json").json()
    assert days_said(told["effects"]) == as_said(effects_of_line(line, draft))
    assert told["effects"]["overtaken"] == [ticket.number]
    draft = desk.get(f"/api/cloths/{shed.cloth.code}/revisions/1/").json() | {"loom_picks_per_cm": "20"}
    told = desk.post(f"/api/cloths/{shed.cloth.code}/preview/", draft, "application/json").json()
    assert told["effects"]["then"]["weaving_min"] > told["effects"]["now"]["weaving_min"]
    assert told["effects"]["overtaken"] == told["consequences"]["tickets"] == [ticket.number]


def test_the_times_of_a_warp_open_to_how_they_follow(shed, desk):
    """The plan's minutes on the loom are those that the warp's own figures have: picks ÷ picks a minute ÷ efficiency."""
    warp = Warp.objects.earliest("number")
    slot = Slot.objects.get(run__state=PlanRun.IN_FORCE, warp=warp)
    set_up, begins, out = line_plans.times_of(slot)
    assert set_up.sum.endswith(f"+ {slot.setup_min} min of {slot.setup}")
    assert begins.sum == set_up.value
    picks = from_json(warp.worked.figures).picks
    minutes = ceil(Decimal(picks) / slot.loom.ppm / slot.loom.efficiency_pct * 100)
    assert out.sum == f"{begins.value} + {minutes} min of loom {slot.loom.code}"
    assert out.value == f"{timezone.localtime(slot.weaving_stops_at):%d.%m.%Y %H:%M}"
    page = text_of(desk.get(reverse("warp", args=[warp.number])))
    assert "How its times follow" in page
    assert out.sum in page


def test_the_days_of_a_line_open_to_how_they_came_about(shed, desk):
    """Two pieces, the last of their warp: off the loom when it is out, and ten Mondays to Fridays of finishing later."""
    line = OrderLine.objects.order_by("due_on").first()
    (plan,) = line_plans.plans_of([line.pk])[line.pk]
    off, ready, late = plan.working
    assert ready.sum.endswith(f"+ {plan.part.spec.finishing_days} days")
    assert (ready.value, late.value) == (f"{plan.ready_on:%d.%m.%Y}", plan.late_days)
    assert off.sum.endswith("− 0 min of loom " + plan.slot.loom.code)
    page = text_of(desk.get(reverse("order", args=[line.order.number])))
    assert f"How the days on {plan.warp} came about" in page
    assert ready.sum in page
    # What is closed since the plan was made is not in its times yet.
    out_at = plan.slot.weaving_stops_at
    Closure.objects.create(name="Flood", starts_at=out_at - timedelta(hours=2), stops_at=out_at + timedelta(days=2))
    (again,) = line_plans.plans_of([line.pk])[line.pk]
    assert again.off_at == plan.off_at == out_at


def test_a_warp_a_yarn_a_ticket_and_a_report_print_their_working(shed, desk, planner):
    warp = Warp.objects.earliest("number")
    ticket = ticketed(warp, planner)
    for address, said in (
        (reverse("warp", args=[warp.number]), "Warp to wind"),
        (reverse("ticket", args=[ticket.number]), "Warp to wind"),
        (reverse("yarn_one", args=["MOSS"]), "At its lowest, on"),
        (reverse("report_load"), "Load"),
    ):
        sheet = text_of(desk.get(address, {"sheet": "worked"}))
        assert "With its numbers" in sheet
        assert said in sheet
        assert "sheet=worked" in desk.get(address).content.decode()


def test_a_piece_that_is_off_with_the_shift_at_midnight_is_off_on_that_day():
    """As the plan has it: a day of finishing after Friday's last minute is Monday, not Tuesday."""
    friday_night = datetime(2026, 3, 7, 0, 0, tzinfo=ZoneInfo("Europe/London"))
    assert finishing.ready_on(line_plans.off_day(friday_night), 1) == date(2026, 3, 9)
    assert line_plans.off_day(friday_night) == date(2026, 3, 6)
