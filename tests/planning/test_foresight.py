"""Before it is saved: what is foreseen of a change is what comes of it, to the gram and the day, once it is done."""

from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory.foresight import MENDED, RUNS_SHORT, SHORTER
from inventory.models import Yarn, YarnLot, YarnOutlook
from mill import jobs
from planning.models import OrderLine, PlanRun, Warp
from planning.services import cloths, line_figures, orders, plans, warp_yarn, warps, working_out
from planning.services.cloths import draft_of as draft_of_spec
from planning.services.foresight import foresee_plan
from planning.services.line_foresight import foresee_line, foresee_lines
from planning.services.orders import LineDraft
from planning.services.warps import Share
from tests.inventory.test_pages import text_of
from tests.make import make_beam, make_customer, make_line, make_loom, make_lot, make_spec, make_yarn

pytestmark = pytest.mark.django_db
LONDON = ZoneInfo("Europe/London")


def in_days(n):
    return timezone.localdate() + timedelta(n)


@pytest.fixture
def tweed(db):
    """A tweed of two yarns, 40 kg of each in the store, a beam, two looms of unlike tails."""
    yarns = {"A": make_yarn(code="MOSS"), "B": make_yarn(code="CREAM")}
    spec = make_spec(yarns=yarns)
    for yarn in yarns.values():
        make_lot(yarn=yarn, grams=40_000, label=f"L-{yarn.code}")
    make_beam()
    make_loom(code="1", tail_cm=Decimal(0))
    make_loom(code="2", tail_cm=Decimal(12))
    return spec


def on_warp(spec, planner, *, pieces=None, **line):
    row = make_line(spec=spec, **{"due_on": in_days(90), "state": OrderLine.ENTERED, **line})
    warp = warps.make_warp([Share(row, pieces or row.pieces)], by=planner)
    jobs.settle()
    return row, warp


def then_of(foreseen):
    """What is foreseen of each yarn, as its outlook has it."""
    return {
        one.yarn.code: (one.sight.then.short_on, one.sight.then.short_g, one.sight.draws_then_g, one.sight.comes_then_g)
        for one in foreseen.yarns
    }


def comes_of_it(*codes):
    jobs.settle()
    assert list(working_out.audit_differences()) == []
    rows = YarnOutlook.objects.filter(yarn__code__in=codes)
    return {row.yarn.code: (row.short_on, row.short_g, row.demand_g, row.incoming_g) for row in rows}


def check(foreseen, do):
    """Do it, and see that it came as foreseen."""
    expected = then_of(foreseen)
    assert expected
    do()
    assert comes_of_it(*expected) == expected


# Lines


@pytest.mark.parametrize(
    "changes",
    [
        {"pieces": 5},
        {"pieces": 1},
        {"length_m": Decimal("95.00")},
        {"due_on": in_days(50)},
        {"pieces": 6, "due_on": in_days(120), "length_m": Decimal("40.00")},
    ],
    ids=str,
)
def test_a_changed_line_does_to_the_yarn_what_was_foreseen(tweed, planner, changes):
    line, _ = on_warp(tweed, planner)
    draft = replace(orders.draft_of(line), **changes)
    check(foresee_line(line, draft), lambda: orders.change_line(line, draft, by=planner))


def test_a_line_of_two_warps_shrinks_on_the_last_as_foreseen(tweed, planner):
    line, first = on_warp(tweed, planner, pieces=2)
    OrderLine.objects.filter(pk=line.pk).update(pieces=5)
    line.refresh_from_db()
    second = warps.make_warp([Share(line, 3)], by=planner)
    jobs.settle()
    draft = replace(orders.draft_of(line), pieces=3)
    check(foresee_line(line, draft), lambda: orders.change_line(line, draft, by=planner))
    assert (first.parts.get().pieces, second.parts.get().pieces) == (2, 1)


def test_another_colourway_is_foreseen_in_both_yarns(tweed, planner):
    from tests.make import make_colourway

    other = make_colourway(spec=tweed, yarns={"A": make_yarn(code="RUST"), "B": Yarn.objects.get(code="CREAM")})
    line, _ = on_warp(tweed, planner)
    draft = replace(orders.draft_of(line), colourway=other)
    foreseen = foresee_line(line, draft)
    assert {one.yarn.code: one.sight.verdict for one in foreseen.yarns}["RUST"] == RUNS_SHORT
    # CREAM is drawn as before: nothing is said of it.
    assert set(then_of(foreseen)) == {"MOSS", "RUST"}
    check(foreseen, lambda: orders.change_line(line, draft, by=planner))


def test_a_line_that_stays_as_it_is_does_nothing(tweed, planner):
    line, _ = on_warp(tweed, planner, pieces=1)
    assert foresee_line(line, orders.draft_of(line)).yarns == ()


def test_pieces_on_no_warp_are_weighed_before_and_after(tweed, planner):
    line, _ = on_warp(tweed, planner, pieces=1)
    more = foresee_line(line, replace(orders.draft_of(line), pieces=3))
    alone = line_figures.what_lines_take([replace(orders.draft_of(line), pieces=1)])[0].figures
    two = line_figures.what_lines_take([replace(orders.draft_of(line), pieces=2)])[0].figures
    moss = next(one for one in more.yarns if one.yarn.code == "MOSS")
    takes = [sum(n.issue_g for n in (*f.warp_yarns, *f.weft_yarns) if n.code == "MOSS") for f in (alone, two)]
    assert moss.sight.draws_then_g - moss.sight.draws_now_g == takes[1] - takes[0]


def test_what_is_held_and_then_for_nothing_is_said(tweed, planner):
    line, warp = on_warp(tweed, planner)
    warp_yarn.hold_yarn(warp, by=planner)
    foreseen = foresee_line(line, replace(orders.draft_of(line), pieces=1))
    (moss,) = (hold for hold in foreseen.lost if hold.yarn.startswith("MOSS") and "warp yarn" in hold.for_what)
    assert moss.for_what == f"{warp}, warp yarn"
    assert moss.lots == ("L-MOSS",)
    orders.change_line(line, replace(orders.draft_of(line), pieces=1), by=planner)
    jobs.settle()
    over = {state.need.yarn.code: state.over_g for state in warp_yarn.states(warp) if state.need.use == "warp"}
    assert over["MOSS"] == moss.lost_g
    assert foresee_line(line, replace(orders.draft_of(line), pieces=4)).lost == ()


def test_a_line_that_leaves_its_warp_lets_its_yarn_go(tweed, planner):
    """A warp that becomes empty is taken apart: what was held for it is free again."""
    line, first = on_warp(tweed, planner, pieces=2)
    OrderLine.objects.filter(pk=line.pk).update(pieces=3)
    line.refresh_from_db()
    second = warps.make_warp([Share(line, 1)], by=planner)
    jobs.settle()
    warp_yarn.hold_yarn(second, by=planner)
    draft = replace(orders.draft_of(line), pieces=2)
    foreseen = foresee_line(line, draft)
    assert {hold.for_what for hold in foreseen.lost} == {f"{second}, warp yarn", f"{second}, weft yarn"}
    assert all(hold.lost_g == hold.held_g for hold in foreseen.lost)
    check(foreseen, lambda: orders.change_line(line, draft, by=planner))
    assert not Warp.objects.filter(pk=second.pk).exists()
    assert set(YarnLot.objects.with_balance().values_list("held_g", flat=True)) == {0}
    assert first.parts.get().pieces == 2


def test_a_line_called_off_is_seen_before_it_is(desk, tweed, planner):
    line, warp = on_warp(tweed, planner, length_m=Decimal("70.00"))
    address = reverse("line_call_off", args=[line.order.number, line.position])
    assert address in desk.get(reverse("order", args=[line.order.number])).content.decode()
    page = text_of(desk.get(address))
    assert str(warp) in page
    assert "no longer short" in page
    foreseen = foresee_line(line, replace(orders.draft_of(line), pieces=0))
    check(foreseen, lambda: desk.post(address))
    line.refresh_from_db()
    assert line.state == OrderLine.CALLED_OFF


def draft_of_line(spec, **changes):
    facts = {"pieces": 2, "length_m": Decimal("60.00"), "due_on": in_days(60)}
    return LineDraft(colourway=spec.cloth.colourways.earliest("pk"), **{**facts, **changes})


def test_new_lines_draw_by_the_last_day_that_serves_them(tweed):
    draft = draft_of_line(tweed)
    (takes,) = line_figures.what_lines_take([draft])
    foreseen = foresee_lines([("line 1 of this order", draft, takes)])
    moss = next(one for one in foreseen.yarns if one.yarn.code == "MOSS")
    # Ten working days of finishing are fourteen days, and a week of weaving.
    assert [day.day for day in moss.sight.then.days] == [in_days(0), in_days(60 - 14 - 7)]
    assert moss.sight.draws_now_g == 0
    assert moss.sight.draws_then_g == sum(
        need.issue_g for need in (*takes.figures.warp_yarns, *takes.figures.weft_yarns) if need.code == "MOSS"
    )


def test_a_new_order_that_makes_a_planned_warp_short_names_the_warp(tweed, planner):
    make_lot(yarn=Yarn.objects.get(code="MOSS"), grams=15_000)
    _, warp = on_warp(tweed, planner, due_on=in_days(120))
    draft = draft_of_line(tweed)
    foreseen = foresee_lines([("this order", draft, line_figures.what_lines_take([draft])[0])])
    moss = next(one for one in foreseen.yarns if one.yarn.code == "MOSS")
    assert moss.sight.verdict == RUNS_SHORT
    assert moss.sight.then.short_for == f"{warp}, not on a loom yet"
    assert foreseen.lost == ()


def test_ten_lines_ask_no_more_than_two(tweed, planner):
    def asked(n):
        lines = [(f"line {k}", draft_of_line(tweed, pieces=k), None) for k in range(1, n + 1)]
        takes = line_figures.what_lines_take([draft for _, draft, _ in lines])
        with CaptureQueriesContext(connection) as captured:
            foresee_lines([(label, draft, one) for (label, draft, _), one in zip(lines, takes, strict=True)])
        assert not [q for q in captured if not q["sql"].startswith("SELECT")]
        return len(captured)

    assert asked(2) == asked(10)


# A revision


def test_a_revision_does_to_the_yarn_what_was_foreseen(tweed, planner):
    on_warp(tweed, planner)
    on_warp(tweed, planner, pieces=1)
    draft = draft_of_spec(tweed)
    columns = {**draft.columns, "loom_picks_per_cm": Decimal("16.000"), "finishing_days": 20}
    draft = replace(draft, columns=columns)
    foreseen = cloths.what_it_changes(tweed.cloth, draft).foreseen
    assert {one.sight.verdict for one in foreseen.yarns} <= {RUNS_SHORT, SHORTER, "lasts"}
    check(foreseen, lambda: cloths.revise(tweed.cloth, draft, by=planner))


def test_a_revision_in_another_yarn_says_what_is_held_for_nothing(tweed, planner):
    _, warp = on_warp(tweed, planner)
    warp_yarn.hold_yarn(warp, by=planner)
    draft = draft_of_spec(tweed)
    other = make_yarn(code="RUST")
    made = [replace(one, yarns={**one.yarns, "A": other}) for one in draft.colourways]
    draft = replace(draft, colourways=tuple(made))
    foreseen = cloths.what_it_changes(tweed.cloth, draft).foreseen
    assert {hold.yarn.split()[0] for hold in foreseen.lost} == {"MOSS"}
    assert {one.yarn.code: one.sight.verdict for one in foreseen.yarns}["RUST"] == RUNS_SHORT
    check(foreseen, lambda: cloths.revise(tweed.cloth, draft, by=planner))


# The plan


@pytest.fixture
def shed(tweed, planner):
    """Three warps on two looms, planned and in force since Monday of next week."""
    now = datetime.combine(in_days(7 - timezone.localdate().weekday()), datetime.min.time(), LONDON)
    for due in (80, 60, 100):
        on_warp(tweed, planner, due_on=in_days(due))
    plans.put_in_force(plans.make_plan(now=now), by=planner)
    jobs.settle()
    return now


def test_a_plan_in_force_does_to_the_yarn_what_was_foreseen(shed, planner):
    make_lot(yarn=Yarn.objects.get(code="CREAM"), grams=200_000)
    jobs.settle()
    on = Warp.objects.order_by("-number").first()
    plans.pin_warp(
        on, by=None, loom=next(loom for loom, why in plans.looms_that_fit(on) if loom.code == "2" and why is None)
    )
    run = plans.make_plan(rule="setups_first", now=shed + timedelta(days=14))
    foreseen = foresee_plan(run)
    check(foreseen, lambda: plans.put_in_force(run, by=planner))
    assert foresee_plan(run).yarns == (), "what is in force is nothing else"


def test_the_plans_page_says_what_it_does_before_it_is_put_in_force(shed, desk):
    run = plans.make_plan(rule="setups_first", now=shed + timedelta(days=14))
    page = text_of(desk.get(reverse("plan", args=[run.pk])))
    assert "What it does to the store, once in force" in page
    assert "No reservation is lost" in page
    assert run.state == PlanRun.OFFERED
    alone = text_of(desk.get(reverse("plan_foresight", args=[run.pk])))
    assert "No reservation is lost" in alone
    assert "What it does to the store" in text_of(desk.get(reverse("board"), {"plan": run.pk}))
    plans.put_in_force(run, by=None)
    assert "once in force" not in text_of(desk.get(reverse("plan", args=[run.pk])))


def test_a_full_sheds_plan_is_weighed_a_moment_later(shed, desk, monkeypatch):
    run = plans.make_plan(rule="setups_first", now=shed + timedelta(days=14))
    monkeypatch.setattr("planning.views.looms.WEIGHED_AT_ONCE", 1)
    address = reverse("plan", args=[run.pk])
    page = desk.get(address).content.decode()
    assert f'hx-get="{reverse("plan_foresight", args=[run.pk])}" hx-trigger="load"' in page
    assert "No reservation is lost" not in page
    assert "No reservation is lost" in text_of(desk.get(address, {"store": "yes"})), (
        "without a script it is a link away"
    )


# The pages of orders


def order_said(spec, **changes):
    said = {"colourway": spec.cloth.colourways.earliest("pk").pk, "pieces": "2", "length_m": "60",
            "due_on": in_days(60).isoformat(), "tolerance_pct": "0", "weight": "1", "note": "", **changes}  # fmt: skip
    return {
        "customer": make_customer().pk,
        "placed_on": in_days(0).isoformat(),
        "number": "77",
        "lines-TOTAL_FORMS": "1",
        "lines-INITIAL_FORMS": "0",
        **{f"lines-0-{name}": value for name, value in said.items()},
    }


def test_a_new_order_shows_what_it_does_live_and_without_a_script(desk, tweed, planner):
    make_lot(yarn=Yarn.objects.get(code="MOSS"), grams=15_000)
    _, warp = on_warp(tweed, planner, due_on=in_days(120))
    said = order_said(tweed)
    for page in (
        text_of(desk.post(reverse("order_figures"), said)),
        text_of(desk.post(reverse("order_new"), {**said, "show": "yes"})),
    ):
        assert "What it does to the store" in page
        assert "then runs short: by" in page
        assert f"for {warp}, not on a loom yet." in page
    assert OrderLine.objects.count() == 1


def test_a_changed_line_shows_what_it_does_live_and_without_a_script(desk, tweed, planner):
    line, warp = on_warp(tweed, planner)
    warp_yarn.hold_yarn(warp, by=planner)
    address = reverse("line_edit", args=[line.order.number, line.position])
    assert "Nothing of the yarn differs from what is written." in text_of(desk.get(address))
    said = {"colourway": line.colourway_id, "pieces": "1", "length_m": "60", "due_on": line.due_on.isoformat(),
            "tolerance_pct": "0", "weight": "1", "note": ""}  # fmt: skip
    for page in (
        text_of(desk.post(reverse("order_figures"), {**said, "of": str(line)})),
        text_of(desk.post(address, {**said, "show": "yes"})),
    ):
        assert f"{warp}, warp yarn:" in page
        assert "that are held (lot L-MOSS)" in page
    line.refresh_from_db()
    assert line.pieces == 2


def test_a_shorter_line_mends_a_shortage(tweed, planner):
    line, _ = on_warp(tweed, planner, length_m=Decimal("70.00"))
    foreseen = foresee_line(line, replace(orders.draft_of(line), pieces=1))
    assert {one.yarn.code: one.sight.verdict for one in foreseen.yarns}["MOSS"] == MENDED


def test_the_same_is_asked_over_the_api(desk, shed, tweed, planner):
    line = OrderLine.objects.select_related("colourway__cloth").earliest("pk")
    new = {
        "cloth": line.cloth.code,
        "colourway": line.colourway.name,
        "pieces": 2,
        "length_m": "60",
        "due_on": in_days(60).isoformat(),
    }
    answer = desk.post("/api/order-line-foresight/", [new], content_type="application/json")
    assert answer.status_code == 200, answer.content
    assert {row["yarn"]: row["is_worse"] for row in answer.json()["yarns"]}["MOSS"] is True
    changed = desk.post(f"/api/order-lines/{line.pk}/foresee/", {**new, "pieces": 1}, content_type="application/json")
    assert changed.status_code == 200, changed.content
    assert {row["verdict"] for row in changed.json()["yarns"]} & {"less short than now", "no longer short"}
    run = plans.make_plan(rule="setups_first", now=shed + timedelta(days=14))
    told = desk.get(f"/api/plans/{run.pk}/foresight/").json()
    assert {row["yarn"] for row in told["yarns"]} == {one.yarn.code for one in foresee_plan(run).yarns}
    line.refresh_from_db()
    assert line.pieces == 2
