"""What a change touches is worked out again, once, and nothing else is."""

from datetime import date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from inventory.models import YarnDemand
from mill import jobs
from mill.models import Job, Mill
from planning.models import Closure, PlanRun, Slot, Warp, WarpFigures, WarpYarn, mill_facts
from planning.services import looms, working_out
from planning.ticket import from_json, work_out
from tests.make import make_beam, make_line, make_loom, make_spec, make_warp

pytestmark = pytest.mark.django_db
LONDON = ZoneInfo("Europe/London")


def work_off(*warps: Warp) -> None:
    with transaction.atomic():
        working_out.warps_changed([warp.pk for warp in warps])
    jobs.settle()


def test_a_warp_is_worked_out_as_the_rooms_say():
    warp = make_warp()
    work_off(warp)
    warp = working_out.for_working_out(Warp.objects.filter(pk=warp.pk)).get()
    expected = work_out(working_out.runs_of(warp), mill=mill_facts(Mill.the_one()))
    assert from_json(warp.worked.figures) == expected
    assert not warp.worked.is_stale
    assert warp.worked.trouble == ""
    assert warp.worked.warp_length_m == expected.warp_length_m
    assert sum(n.issue_g for n in WarpYarn.objects.filter(warp=warp, use="warp")) == expected.warp_issue_g
    assert sum(n.issue_g for n in WarpYarn.objects.filter(warp=warp, use="weft")) == expected.weft_issue_g


def test_a_burst_of_fifty_changes_is_worked_as_one_job():
    warps = [make_warp() for _ in range(3)]
    with transaction.atomic():
        for _ in range(50):
            for warp in warps:
                working_out.warps_changed([warp.pk])
    assert Job.objects.filter(task=working_out.TASK, state=Job.QUEUED).count() == 1
    jobs.settle()
    assert not WarpFigures.objects.filter(is_stale=True).exists()


def test_only_what_is_stale_is_worked_out():
    one, other = make_warp(), make_warp()
    work_off(one, other)
    WarpFigures.objects.filter(warp=other).update(ends=1)
    work_off(one)
    assert WarpFigures.objects.get(warp=other).ends == 1


def test_a_beam_that_is_too_small_is_a_trouble_with_both_numbers_and_figures_without_it():
    warp = make_warp(beam=make_beam(barrel_mm=180, flange_mm=190))
    work_off(warp)
    worked = WarpFigures.objects.get(warp=warp)
    assert worked.trouble
    assert warp.beam.code in worked.trouble
    assert from_json(worked.figures).beam_code == ""


def test_the_mills_thrums_reach_every_warp_that_is_not_drawn():
    planned, drawn = make_warp(), make_warp(state=Warp.YARN_DRAWN)
    work_off(planned, drawn)
    before = {w.pk: WarpFigures.objects.get(warp=w).warp_length_m for w in (planned, drawn)}
    mill = Mill.the_one()
    mill.thrums_m += 5
    looms.write_down(mill, by=None)
    jobs.settle()
    assert WarpFigures.objects.get(warp=planned).warp_length_m == before[planned.pk] + 5
    assert WarpFigures.objects.get(warp=drawn).warp_length_m == before[drawn.pk]


def make_slot(warp: Warp, **changes: object) -> Slot:
    run = PlanRun.objects.filter(state=PlanRun.IN_FORCE).first() or PlanRun.objects.create(
        rule="by hand", state=PlanRun.IN_FORCE, starts_at=datetime(2026, 3, 2, tzinfo=LONDON), fingerprint="x"
    )
    facts: dict[str, object] = {
        "loom": changes.get("loom") or make_loom(),
        "position": 0,
        "setup": "tie-in",
        "winding_on": date(2026, 3, 3),
        "setup_starts_at": datetime(2026, 3, 4, 6, tzinfo=LONDON),
        "setup_stops_at": datetime(2026, 3, 4, 8, tzinfo=LONDON),
        "weaving_starts_at": datetime(2026, 3, 4, 8, tzinfo=LONDON),
        "weaving_stops_at": datetime(2026, 3, 6, 12, tzinfo=LONDON),
    }
    return Slot.objects.create(run=run, warp=warp, **(facts | changes))


def test_warp_yarn_leaves_on_the_winding_day_and_weft_over_the_weaving_days():
    warp = make_warp()
    loom = make_loom()
    loom.shift_pattern.hours = "Mon-Fri 06:00-14:00"
    loom.shift_pattern.save()
    make_slot(warp, loom=loom)
    work_off(warp)
    demand = YarnDemand.objects.filter(source=f"warp:{warp.pk}")
    warp_rows, weft_rows = demand.filter(use="warp"), demand.filter(use="weft")
    assert {row.on for row in warp_rows} == {date(2026, 3, 3)}
    assert sum(row.grams for row in warp_rows) == sum(n.issue_g for n in warp.yarns.filter(use="warp"))
    assert sum(row.grams for row in weft_rows) == sum(n.issue_g for n in warp.yarns.filter(use="weft"))
    # Wed 08:00-14:00, Thu 06:00-14:00, Fri 06:00-12:00: 6, 8 and 6 hours of 20.
    one_yarn = weft_rows.filter(yarn=weft_rows[0].yarn).order_by("on")
    total_g = sum(row.grams for row in one_yarn)
    assert [row.on for row in one_yarn] == [date(2026, 3, 4), date(2026, 3, 5), date(2026, 3, 6)]
    for row, share in zip(one_yarn, (Decimal("0.3"), Decimal("0.4"), Decimal("0.3")), strict=True):
        assert abs(row.grams - total_g * share) <= 1


def test_a_day_on_which_the_mill_stands_takes_no_weft():
    warp = make_warp()
    loom = make_loom()
    loom.shift_pattern.hours = "Mon-Fri 06:00-14:00"
    loom.shift_pattern.save()
    make_slot(warp, loom=loom)
    closure = Closure(
        name="Fair day",
        starts_at=datetime(2026, 3, 5, tzinfo=LONDON),
        stops_at=datetime(2026, 3, 6, tzinfo=LONDON),
    )
    looms.write_down(closure, by=None)
    jobs.settle()
    days = set(YarnDemand.objects.filter(source=f"warp:{warp.pk}", use="weft").values_list("on", flat=True))
    assert days == {date(2026, 3, 4), date(2026, 3, 6)}


def test_whole_grams_by_day_add_up():
    shares = {date(2026, 3, day): day for day in range(1, 8)}
    for grams in (0, 1, 27, 28, 29, 12_345):
        by_day = working_out._in_whole_grams(grams, shares)
        assert sum(by_day.values()) == grams
        assert all(g >= 0 for g in by_day.values())


def test_the_audit_minds_figures_and_not_how_their_working_is_put():
    warp = make_warp()
    work_off(warp)
    row = WarpFigures.objects.get(warp=warp)
    row.figures["working"][0] |= {"formula": "as an earlier book put it", "sum": "3 headers"}
    row.save()
    assert list(working_out.audit_differences()) == []
    row.figures["working"][0]["value"] = "7.7"
    row.save()
    assert ["figures is stored" in said for said in working_out.audit_differences()] == [True]


def test_the_audit_finds_a_figure_that_was_tampered_with():
    warp = make_warp()
    work_off(warp)
    assert list(working_out.audit_differences()) == []
    WarpFigures.objects.filter(warp=warp).update(ends=7)
    assert any("ends is stored as 7" in said for said in working_out.audit_differences())
    work_row = WarpYarn.objects.filter(warp=warp).first()
    WarpFigures.objects.filter(warp=warp).update(ends=from_json(WarpFigures.objects.get(warp=warp).figures).ends)
    WarpYarn.objects.filter(pk=work_row.pk).update(issue_g=1)
    assert any("yarn needs" in said for said in working_out.audit_differences())


def test_working_out_takes_as_many_queries_for_ten_warps_as_for_two():
    spec = make_spec()

    def queries(n: int) -> int:
        warps = [make_warp(spec=spec, lines=[make_line(spec=spec)]) for _ in range(n)]
        with transaction.atomic():
            working_out.warps_changed([w.pk for w in warps])
        with CaptureQueriesContext(connection) as context:
            working_out.rework_warps()
        return len(context)

    # The first asks for the jobs that the later ones join.
    queries(1)
    assert queries(10) <= queries(2) + 2
