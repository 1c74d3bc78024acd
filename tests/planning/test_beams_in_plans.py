"""A mill has so many beams: a warp is wound when one that takes it is free, and keeps it until it is woven out."""

from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from django.db import transaction
from django.utils import timezone

from inventory import services as inventory
from mill import jobs
from mill.models import Mill
from mill.refusal import Refusal
from planning.models import Beam, Loom, PlanRun, Warp
from planning.services import board, explaining, improving, plans, working_out
from planning.services.beams import BeamKinds, kind_of
from planning.services.promise import promise
from planning.services.standing import standing
from tests.make import make_beam, make_line, make_loom, make_spec, make_warp, make_yarn

pytestmark = pytest.mark.django_db
LONDON = ZoneInfo("Europe/London")
NOW = datetime(2026, 3, 2, 6, tzinfo=LONDON)  # a Monday


@pytest.fixture
def tweed(planner):
    yarn = make_yarn()
    inventory.receive(yarn=yarn, grams=9_000_000, label="S1", dye_lot="D1", received_on=date(2026, 1, 5), by=planner)
    make_loom(code="1")
    make_loom(code="2")
    return make_spec(yarns={"A": yarn, "B": yarn})


def planned(spec, *days, **changes):
    """A planned warp due on each day, worked out."""
    made = [make_warp(spec=spec, lines=[make_line(spec=spec, due_on=day)], **changes) for day in days]
    with transaction.atomic():
        working_out.warps_changed([warp.pk for warp in made])
    jobs.settle()
    return made


def test_with_one_beam_the_second_warp_is_wound_when_the_first_is_woven_out(tweed):
    make_beam()
    first, second = planned(tweed, date(2026, 3, 20), date(2026, 3, 21))
    there = standing(now=NOW)
    plan = plans.by_rule(there, "earliest_due_date")
    one, two = plan.placements[str(first.number)], plan.placements[str(second.number)]
    assert one.loom != two.loom
    assert two.winding.given_at == one.end
    assert two.setup_start >= two.winding.stops_at > two.winding.starts_at >= one.end
    # With a second beam nobody waits.
    make_beam()
    there = standing(now=NOW)
    plan = plans.by_rule(there, "earliest_due_date")
    assert all(placed.winding.given_at == placed.winding.asked_at for placed in plan.placements.values())


def test_the_plan_says_that_a_warp_waits_for_a_beam_whose_it_is_and_what_one_more_would_do(tweed):
    beam = make_beam()
    first, second = planned(tweed, date(2026, 3, 16), date(2026, 3, 17))
    run = plans.make_plan(now=NOW)
    (row,) = [row for row in run.explained["late"] if row["warp"] == str(second.number)]
    said = {link["kind"]: link["said"] for link in row["chain"]}
    assert "for a beam that takes it" in said["beam"]
    assert f"({kind_of(beam)}), until warp {first.number} is woven out" in said["beam"]
    assert any(mend.startswith("With one beam more of each kind") for mend in row["mend"])
    assert "Late warps wait longest for a beam" in run.explained["bottleneck"]["said"]
    assert run.slots.get(warp=second).winding_on > timezone.localdate(run.slots.get(warp=first).weaving_starts_at)


def test_a_warp_on_a_beam_already_keeps_it_from_the_others(tweed):
    beam = make_beam()
    wound, waits = planned(tweed, date(2026, 5, 1), date(2026, 3, 20))
    Warp.objects.filter(pk=wound.pk).update(state=Warp.WOUND, beam=beam)
    there = standing(now=NOW)
    plan = plans.by_rule(there, "earliest_due_date")
    # Due later, and woven first all the same: it has the only beam.
    assert plan.cost.broken_beams == 0
    one, two = plan.placements[str(wound.number)], plan.placements[str(waits.number)]
    assert (one.beam, two.winding.given_at) == (kind_of(beam), one.end)


def test_no_move_by_hand_leaves_a_warp_without_a_beam_for_ever(tweed, planner):
    beam = make_beam()
    wound, waits = planned(tweed, date(2026, 5, 1), date(2026, 3, 20))
    Warp.objects.filter(pk=wound.pk).update(state=Warp.WOUND, beam=beam)
    run = plans.put_in_force(plans.make_plan(rule="best"), by=planner)
    loom = run.slots.get(warp=wound).loom
    with pytest.raises(Refusal, match=rf"Warp {waits.number} could never be wound so: every beam that takes it .*"):
        board.move(run, waits, loom=loom, turn=0, by=planner)


def test_a_searched_plan_has_a_beam_for_every_warp(tweed):
    make_beam()
    planned(tweed, *(date(2026, 3, 16) + timedelta(n) for n in range(8)))
    there = standing(now=NOW)
    found = improving.look(there, seconds=1, changes=4_000)
    assert found.plan.cost.broken_beams == 0
    assert found.plan.cost.total <= plans.by_rule(there, "best").cost.total
    assert "some are still to be wound, and one may be better off waiting for a beam" in found.proof


def test_a_warp_with_a_beam_of_its_own_waits_for_that_kind_and_others_for_any_that_takes_them(tweed):
    small, large = make_beam(flange_mm=600), make_beam(flange_mm=800)
    narrow = make_beam(width_cm=Decimal(100))
    own, free = planned(tweed, date(2026, 3, 20), date(2026, 3, 21))
    Warp.objects.filter(pk=own.pk).update(beam=large)
    rows = standing(now=NOW).shed.warp
    assert rows[str(own.number)].beams == (kind_of(large),)
    assert rows[str(free.number)].beams == (kind_of(small), kind_of(large))
    assert kind_of(narrow) not in rows[str(free.number)].beams


def test_beams_that_are_alike_are_counted_together_and_those_put_away_only_while_they_are_full(tweed):
    for _ in range(3):
        make_beam()
    old = make_beam(flange_mm=700, is_in_use=False)
    kinds = BeamKinds(Mill.the_one(), held=[])
    assert [(one.kind, one.count) for one in kinds.beams] == [(kind_of(Beam.objects.first()), 3)]
    kinds = BeamKinds(Mill.the_one(), held=[old])
    assert next((one.kind, one.count) for one in kinds.beams) == (kind_of(old), 1)


def test_a_promise_waits_for_a_beam(tweed, planner):
    beam = make_beam()
    (wound,) = planned(tweed, timezone.localdate() + timedelta(90))
    Warp.objects.filter(pk=wound.pk).update(state=Warp.WEAVING, beam=beam, loom=Loom.objects.get(code="1"))
    colourway = tweed.cloth.colourways.get()
    told = promise(colourway=colourway, pieces=2, length_m=Decimal(60))
    assert any("a beam that takes it is free" in link.lower() for link in told.safe.chain)
    make_beam()
    sooner = promise(colourway=colourway, pieces=2, length_m=Decimal(60))
    assert sooner.safe_on <= told.safe_on
    assert not any("a beam that takes it" in link.lower() for link in sooner.safe.chain)


def test_a_mill_that_has_entered_no_beam_is_planned_as_if_one_were_always_there(tweed):
    planned(tweed, date(2026, 3, 20), date(2026, 3, 21))
    plan = plans.by_rule(standing(now=NOW), "earliest_due_date")
    assert all(placed.winding and placed.beam is None for placed in plan.placements.values())
    assert plan.cost.broken_beams == 0


def test_a_new_beam_is_something_that_has_changed_since_a_plan_was_made(tweed):
    make_beam()
    planned(tweed, date(2026, 3, 20))
    run = plans.make_plan()
    make_beam(flange_mm=650)
    assert "the beams have changed" in explaining.changes_since(run, standing())


def test_warps_are_wound_as_far_ahead_as_in_the_plan_that_is_gone_on_from(tweed, planner):
    make_beam()
    make_beam()
    planned(tweed, *(timezone.localdate() + timedelta(20 + n) for n in range(4)))
    run = plans.make_plan()
    week = 7 * 24 * 60
    PlanRun.objects.filter(pk=run.pk).update(explained=run.explained | {"wound_ahead_min": week})
    run.refresh_from_db()
    plans.put_in_force(run, by=planner)
    assert standing().shed.winding.ahead_min == week
    slot = run.slots.order_by("-position").first()
    other = Loom.objects.exclude(pk=slot.loom_id).get()
    moved = board.move(run, slot.warp, loom=other, by=planner)
    assert moved.explained["wound_ahead_min"] == week
