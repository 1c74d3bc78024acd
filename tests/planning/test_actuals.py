"""What was woven and how long it took, by hand; run-out, late warnings, and efficiency offered to the record."""

import re
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from mill import jobs
from planning import run_out
from planning.models import FloorEvent, Loom, OrderLine, ShiftPattern, Stop
from planning.run_out import Spell, tally
from planning.services import actuals, floor, pieces
from planning.services import woven as weaving
from tests.make import make_line, make_loom, make_spec
from tests.planning.floor_walk import make_worker, wound_warp

# The room


def test_looms_of_two_speeds_are_tallied_each_by_its_own():
    # 60 000 of 200 x 400 and 30 000 of 100 x 500: 90 000 of 130 000.
    both = tally([Spell(60_000, Decimal(70), 400, 200), Spell(30_000, Decimal(35), 500, 100)])
    assert both.efficiency_pct == Decimal("69.2")
    assert (both.picks, both.length_m, both.meant_min) == (90_000, Decimal(105), 900)


def test_nothing_woven_has_no_efficiency():
    assert tally([]).efficiency_pct is None


@pytest.mark.parametrize(
    ("minutes", "goes_by"), [(500, Decimal(70)), (100, Decimal(70)), (50_000, Decimal(70)), (330, Decimal("91.8"))]
)
def test_an_efficiency_that_can_t_be_is_not_gone_by(minutes, goes_by):
    picks = 40_000 if minutes == 500 else 66_660
    woven = tally([Spell(picks, Decimal(70), minutes, 220)])
    assert run_out.efficiency_to_go_by(record_pct=Decimal(70), woven=woven)[0] == goes_by


# The book

pytestmark = pytest.mark.django_db
# A Monday 08:00 in a past week; looms run 06:00 to 22:00 from Monday to Friday.
MONDAY = (timezone.localtime() - timedelta(days=14 + timezone.localtime().weekday())).replace(
    hour=8, minute=0, second=0, microsecond=0
)


@pytest.fixture
def warp(planner):
    spec = make_spec()
    line = make_line(spec=spec, pieces=4, due_on=MONDAY.date() + timedelta(days=100))
    return wound_warp(planner, spec=spec, lines=[line], loom=make_loom(code="7"))


@pytest.fixture
def tell(planner, warp):
    una = make_worker(name="Una Bell")

    def say(kind: str, at: datetime, **facts) -> FloorEvent:
        event = floor.tell(
            warp, kind=kind, worker=una, key=f"{kind} {at}", by=planner, facts=facts, age=timezone.now() - at
        )
        assert event.refused == ""
        return event

    return say


@pytest.fixture
def woven(tell, warp):
    """Monday 8:00 started; 9:00 to 9:30 a weft break, 10:00 to 11:00 no weft; 17:00 a piece of 100 m off. The night
    is closed: Tuesday 9:00 the second, of 60 m."""
    tell("gaited", MONDAY - timedelta(hours=1))
    tell("started", MONDAY)
    tell("stopped", MONDAY + timedelta(hours=1), reason="weft break")
    tell("running", MONDAY + timedelta(hours=1.5))
    tell("stopped", MONDAY + timedelta(hours=2), reason="no weft")
    tell("running", MONDAY + timedelta(hours=3))
    tell("piece off", MONDAY + timedelta(hours=9), length_m=Decimal(100))
    tell("piece off", MONDAY + timedelta(hours=25), length_m=Decimal(60))
    warp.refresh_from_db()
    return warp


def test_minutes_stops_and_efficiency_agree_with_the_pencil(woven):
    rows = weaving.spells(since=MONDAY - timedelta(days=1))
    first, second = sorted(rows, key=lambda row: row.at)
    # 9 h less the hour without weft: 480 min; 100 m at 8.46 a cm are 84 600 picks of 220 x 480 = 105 600.
    assert (first.spell.minutes, first.spell.waited_min, first.spell.stood_min) == (540, 60, 30)
    assert dict(first.stood) == {"weft break": 30, "no weft": 60}
    assert tally([first.spell]).efficiency_pct == Decimal("80.1")
    # 17:00 to 22:00 and 6:00 to 9:00.
    assert second.spell.minutes == 480
    (loom,) = weaving.grouped(rows, lambda row: row.loom)
    assert (loom.name, loom.tally.picks) == ("7", 84_600 + 50_760)
    assert {row.weaver for row in rows} == {"Una Bell"}


def test_ten_pieces_more_are_read_by_no_more_queries(tell, woven):
    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            actuals.groups_of(days=60)
            assert actuals.run_outs()
        return len(queries)

    few = asked()
    for n in range(1, 11):
        tell("piece off", MONDAY + timedelta(hours=25, minutes=n), length_m=Decimal("0.5"))
    assert asked() == few


# By the weaver's shift


@pytest.fixture
def two_shifts(warp):
    """Loom 7 is woven on by two shifts, 06:00 to 14:00 and 14:00 to 22:00."""
    ShiftPattern.objects.filter(looms__code="7").update(hours="Mon-Fri 06:00-14:00, 14:00-22:00")


@pytest.fixture
def over_the_change(two_shifts, tell):
    """Monday 8:00 started; 9:00 to 9:30 a weft break, 10:00 to 11:00 no weft, 15:00 to 15:40 the tuner; at 17:00 a
    piece of 100 m, 84 600 picks, is off.

        06:00-14:00    360 min, 60 waited, 30 stood: meant 300, ran 270
        14:00-22:00    180 min, 40 stood:            meant 180, ran 140
        84 600 x 270 / 410 = 55 712.2, the rest 28 888; 55 712 / (220 x 300) = 84.4 %, 28 888 / (220 x 180) = 72.9 %
    """
    tell("gaited", MONDAY - timedelta(hours=1))
    tell("started", MONDAY)
    for reason, starts_h, stops_h in (("weft break", 1, 1.5), ("no weft", 2, 3), ("tuner", 7, 7 + 2 / 3)):
        tell("stopped", MONDAY + timedelta(hours=starts_h), reason=reason)
        tell("running", MONDAY + timedelta(hours=stops_h))


def by_shift(now=None):
    return {group.name: group for group in actuals.groups_of(days=28, now=now)["shift"]}


def test_a_piece_that_two_shifts_wove_is_divided_as_they_ran(over_the_change, tell):
    tell("piece off", MONDAY + timedelta(hours=9), length_m=Decimal(100))
    groups = by_shift()
    morning, evening = groups["06:00–14:00"], groups["14:00–22:00"]
    assert (morning.tally.picks, morning.tally.meant_min, morning.tally.ran_min) == (55_712, 300, 270)
    assert (evening.tally.picks, evening.tally.meant_min, evening.tally.ran_min) == (28_888, 180, 140)
    assert (morning.tally.efficiency_pct, evening.tally.efficiency_pct) == (Decimal("84.4"), Decimal("72.9"))
    # 55 712 picks at 8.46 per cm are 65.85 m, and 28 888 are 34.15 m.
    assert (morning.tally.length_m, evening.tally.length_m) == (Decimal("65.85"), Decimal("34.15"))
    assert (morning.pieces, evening.pieces) == (0, 1)
    assert morning.stood == (("no weft", 60), ("weft break", 30))
    assert evening.stood == (("tuner", 40),)


def test_a_counter_read_at_the_change_gives_each_shift_what_it_wove(over_the_change, tell):
    tell("picks", MONDAY + timedelta(hours=6), picks=54_000)
    tell("piece off", MONDAY + timedelta(hours=9), length_m=Decimal(100))
    groups = by_shift()
    # 54 000 / 66 000 and 30 600 / 39 600.
    assert groups["06:00–14:00"].tally.efficiency_pct == Decimal("81.8")
    assert groups["14:00–22:00"].tally.efficiency_pct == Decimal("77.3")
    # The loom by itself is not changed by a reading: 84 600 / (220 x 480).
    (loom,) = actuals.groups_of(days=28)["loom"]
    assert (loom.tally.efficiency_pct, loom.pieces) == (Decimal("80.1"), 1)


def test_shifts_that_are_written_as_one_are_one(woven):
    (only,) = actuals.groups_of(days=28)["shift"]
    (loom,) = actuals.groups_of(days=28)["loom"]
    assert only.name == "06:00–22:00"
    assert (only.tally, only.stood, only.pieces) == (
        replace(loom.tally, spells=only.tally.spells),
        loom.stood,
        loom.pieces,
    )


def test_the_page_and_the_api_show_the_shifts(over_the_change, tell, desk):
    tell("piece off", MONDAY + timedelta(hours=9), length_m=Decimal(100))
    page = desk.get("/woven/").content.decode()
    assert page.index("By shift") < page.index("06:00–14:00") < page.index("84.4")
    rows = desk.get("/api/floor/woven/").json()
    (morning,) = [row for row in rows if row["name"] == "06:00–14:00"]
    assert (morning["by"], morning["picks"], morning["efficiency_pct"]) == ("shift", 55_712, "84.4")
    assert morning["stood"][0] == {"reason": "no weft", "minutes": 60}
    assert {row["by"] for row in rows} == {"loom", "cloth", "weaver", "shift"}
    assert desk.get("/api/floor/woven/", {"days": "0"}).status_code == 400


def test_a_piece_whose_start_was_not_told_counts_for_no_efficiency(warp, planner):
    from planning.services import warp_steps

    warp_steps.gait(warp, loom=warp.pin_loom, by=planner)
    warp_steps.begin_weaving(warp, by=planner)
    pieces.cut_piece(warp, length_m=Decimal(60), by=planner)
    assert weaving.spells(since=MONDAY) == []


def test_a_beam_runs_out_by_what_was_really_woven(woven):
    now = MONDAY + timedelta(hours=26)
    (row,) = actuals.run_outs(now=now)
    # 135 360 picks of 220 x (480 + 480): 64.1 %.
    assert (row.efficiency_pct, row.is_woven_pct) == (Decimal("64.1"), True)
    assert row.picks_left == woven.worked.picks - 135_360
    # An hour since the last piece: 220 x 60 x 64.1 % are 8 461 picks more.
    assert row.picks_left_now == row.picks_left - 8_461
    minutes = -(-row.picks_left_now * 1000 // (220 * 641))
    # From Tuesday 10:00: 12 hours to the evening, then 16 a day.
    opening, days = now, 0
    while minutes > 12 * 60 if opening == now else minutes > 16 * 60:
        minutes -= 12 * 60 if opening == now else 16 * 60
        days += 1
        opening = MONDAY.replace(hour=6) + timedelta(days=1 + days)
    assert row.out_at == opening + timedelta(minutes=minutes)


def test_a_line_that_comes_off_too_late_is_warned_of_the_same_minute(woven):
    now = MONDAY + timedelta(hours=26)
    assert actuals.run_outs(now=now)[0].late == ()
    OrderLine.objects.update(due_on=MONDAY.date() + timedelta(days=10))
    (row,) = actuals.run_outs(now=now)
    assert [late.line for late in row.late] == [OrderLine.objects.get()]
    # Off on the Tuesday, ten Mondays to Fridays of finishing: Tuesday two weeks later, due the Thursday before.
    assert (row.late[0].ready_on, row.late[0].days_late) == (MONDAY.date() + timedelta(days=15), 5)


def test_days_late_are_those_that_the_customer_waits_and_not_those_at_the_loom(woven, desk):
    # It had to be off on Sunday, and is on Tuesday; finished on a Tuesday for the Saturday before.
    OrderLine.objects.update(due_on=MONDAY.date() + timedelta(days=12))
    (late,) = actuals.run_outs(now=MONDAY + timedelta(hours=26))[0].late
    assert (late.last_on, late.days_late) == (MONDAY.date() - timedelta(days=1), 3)
    with time_machine.travel(MONDAY + timedelta(hours=26), tick=False):
        (told,) = desk.get("/api/floor/run-outs/").json()[0]["late"]
    assert (told["ready_on"], told["days_late"]) == (f"{MONDAY.date() + timedelta(days=15)}", 3)


def test_the_efficiency_is_offered_to_the_record_and_taken_by_a_button(woven, desk):
    page = desk.get("/woven/", {"days": 28}).content.decode()
    assert "Loom 7 ran at 64.1 %" in page
    # 135 360 picks in 960 minutes; on the loom's own page as well.
    assert "over 135\u202f360 picks in 16 h" in page
    assert "Reckon with 64.1 % from now on" in desk.get("/looms/7/").content.decode()
    desk.post("/woven/7/efficiency/", {"efficiency_pct": "64.1"})
    assert Loom.objects.get().efficiency_pct == Decimal("64.10")
    assert Loom.objects.get().history.first().history_change_reason == "as it was woven"
    jobs.settle()
    assert "ran at" not in desk.get("/woven/").content.decode()
    assert "too little" in desk.post("/woven/7/efficiency/", {"efficiency_pct": "2"}, follow=True).content.decode()


def test_a_piece_that_nobody_takes_off_is_woven_to_its_end_and_no_further(woven):
    """Four pieces of 54 060 picks were planned; 135 360 are off, and by Friday the third is long full."""
    (row,) = actuals.run_outs(now=MONDAY + timedelta(days=4))
    assert row.picks_left - row.picks_left_now == woven.worked.figures["runs"][0]["picks_per_piece"]


def test_a_wait_puts_the_run_out_off_and_a_loom_that_stands_weaves_nothing(woven, tell):
    before = actuals.run_outs(now=MONDAY + timedelta(hours=26))[0]
    tell("stopped", MONDAY + timedelta(hours=25), reason="no weft")
    (row,) = actuals.run_outs(now=MONDAY + timedelta(hours=26))
    assert row.picks_left_now == row.picks_left
    # The hour's 8 461 picks are still to come: 60 minutes at 64.1 %.
    assert row.out_at - before.out_at == timedelta(hours=1)


def test_the_picks_woven_are_the_plans(woven):
    """They count as many as the loom, at the 70 % of its record, takes as long for as at the 64.1 % that it showed."""
    from planning.services.standing import standing

    now = MONDAY + timedelta(hours=26)
    there = standing(now=now)
    row = there.shed.warp[str(woven.number)]
    left = woven.worked.picks - 135_360 - 8_461
    assert sum(piece.picks for piece in row.pieces) == pytest.approx(left * 70 / 64.1, abs=4)
    # Both say when it is out, to the minute of rounding each piece up.
    out_at = actuals.run_outs(now=now)[0].out_at
    end = there.shed.hours("7").add_minutes(there.now_min, there.shed.weave_min("7", row.id))[1]
    assert abs(out_at - there.day_of(end)) <= timedelta(minutes=2)


def test_a_plan_is_worked_from_what_was_told_whatever_the_clock_says(woven):
    from planning.services.standing import standing

    one, other = (standing(now=MONDAY + timedelta(hours=hours)) for hours in (26, 30))
    assert one.shed.warp[str(woven.number)].pieces != other.shed.warp[str(woven.number)].pieces
    assert one.facts[f"warp {woven.number}"] == other.facts[f"warp {woven.number}"]


def test_what_was_taken_back_counts_for_nothing(woven, planner):
    last = floor.last_standing(woven)
    floor.tell(woven, kind="undone", worker=last.worker, key="u", by=planner, undoes=last, facts={"why": "not cut"})
    rows = weaving.spells(since=MONDAY - timedelta(days=1))
    assert [row.spell.picks for row in rows] == [84_600]
    assert Stop.objects.count() == 2


def test_today_warns_of_what_stands_and_of_what_comes_off_too_late(woven, tell, desk):
    OrderLine.objects.update(due_on=MONDAY.date())
    tell("stopped", timezone.now(), reason="tuner")
    text = desk.get("/").content.decode()
    assert "stands on loom 7: tuner" in text
    assert "comes off loom 7" in text
    assert re.search(r"finished \w+ \d+ \w+( \d+)?, \d+ days late, if nothing changes", text)


def test_the_api_gives_the_run_outs(woven, desk):
    (row,) = desk.get("/api/floor/run-outs/").json()
    assert (row["warp"], row["loom"], row["picks_left"]) == (woven.number, "7", woven.worked.picks - 135_360)
    assert row["stands_for"] is None
