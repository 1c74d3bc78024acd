"""What planned warps take of the looms' hours: by hand, from both sides, and as the plan itself has it."""

from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from planning.load import SET_UP, WEAVING, Load, Taken, by_loom, by_warp, together, week_by_week, working
from planning.models import Closure, PlanRun
from planning.period import Period
from planning.services import load, plans
from planning.worktime import WEEK_MIN, Calendar, read_week
from tests.make import make_loom
from tests.planning.mills import weeks as hours_of_a_week
from tests.planning.test_plans import shed  # noqa: F401 - a fixture

DAY = 1440
WEEKS = [(n * WEEK_MIN, (n + 1) * WEEK_MIN) for n in range(3)]


def test_a_loom_of_two_warps_by_hand():
    # Monday to Friday 06:00 to 14:00: 5 x 480 = 2400 min a week.
    hours = {"7": Calendar(read_week("Mon-Fri 06:00-14:00"), (), 4 * WEEK_MIN)}
    taken = [
        # Monday 10:00 to Tuesday 08:00: 240 + 120 working minutes, the night apart.
        Taken("7", "118", SET_UP, 600, DAY + 480),
        # Tuesday 08:00 to Friday 14:00: 360 + 3 x 480 = 1800.
        Taken("7", "118", WEAVING, DAY + 480, 4 * DAY + 840),
        # From Friday 14:00 over the weekend to Wednesday 06:00 of the second week: 2 x 480 = 960.
        Taken("7", "119", WEAVING, 4 * DAY + 840, WEEK_MIN + 2 * DAY + 360),
    ]
    (first, second, third) = by_loom(taken, hours, WEEKS)["7"]
    assert first == Load(2400, 1800, 360)
    assert second == Load(2400, 960, 0)
    assert third == Load(2400, 0, 0)
    # 2160 / 2400 and 960 / 2400; together 3120 / 7200 = 43.3 %.
    assert [first.load_pct, second.load_pct] == [Decimal("90.0"), Decimal("40.0")]
    whole = together([first, second, third])
    assert (whole.load_pct, whole.free_min) == (Decimal("43.3"), 4080)
    assert working(whole)[1].sum == "3120 ÷ 7200"


def test_a_loom_that_is_shut_has_no_load_and_no_sum():
    (only,) = by_loom([], {"7": Calendar((), (), WEEK_MIN)}, WEEKS[:1])["7"]
    assert only.load_pct is None
    assert working(only) == ()


spans = st.lists(
    st.tuples(
        st.sampled_from("AB"),
        st.sampled_from("12345"),
        st.sampled_from([SET_UP, WEAVING]),
        st.integers(0, 29_000),
        st.integers(0, 9_000),
    ),
    max_size=12,
)


@given(spans, hours_of_a_week(), hours_of_a_week())
def test_the_looms_side_and_the_warps_side_agree(rows, one, other):
    hours = {"A": Calendar(map(tuple, one), (), 5 * WEEK_MIN), "B": Calendar(map(tuple, other), (), 5 * WEEK_MIN)}
    taken = [Taken(loom, warp, what, start, start + lasts) for loom, warp, what, start, lasts in rows]
    looms, warps = by_loom(taken, hours, WEEKS), by_warp(taken, hours, WEEKS)
    for here, there in zip(week_by_week(looms, 3), week_by_week(warps, 3), strict=True):
        assert (here.weaving_min, here.setup_min) == (there.weaving_min, there.setup_min)
    assert together(week_by_week(looms, 3)).open_min == sum(row.worked(3 * WEEK_MIN) for row in hours.values())
    whole = sum(hours[one.loom].worked_between(one.starts, min(one.stops, 3 * WEEK_MIN)) for one in taken)
    assert together(week_by_week(warps, 3)).taken_min == whole


# In the book

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 3, 4, 11, 17, tzinfo=ZoneInfo("Europe/London"))  # a Wednesday
AHEAD = Period(date(2026, 3, 2), date(2026, 5, 31))


@pytest.fixture
def planned(shed, planner):  # noqa: F811
    with time_machine.travel(NOW, tick=False):
        Closure.objects.create(
            name="Easter", starts_at=NOW + timedelta(days=5), stops_at=NOW + timedelta(days=6, hours=7)
        )
        run = plans.make_plan(now=NOW)
        plans.put_in_force(run, by=planner)
        yield PlanRun.objects.get(pk=run.pk)


def test_it_is_the_load_that_the_plan_was_explained_with(planned):
    there = load.ahead(AHEAD, now=NOW)
    weeks = dict(zip(there.weeks, week_by_week(there.looms, len(there.weeks)), strict=True))
    rows = planned.explained["load"]
    assert rows
    for row in rows:
        own = weeks[date.fromisoformat(row["week"])]
        assert (own.open_min, own.weaving_min, own.setup_min) == (
            row["looms_open"],
            row["looms_weaving"],
            row["looms_setup"],
        )
    taken = together(weeks.values()).taken_min
    assert taken == sum(row["looms_weaving"] + row["looms_setup"] for row in rows) > 0
    assert taken == together(week_by_week(there.warps, len(there.weeks))).taken_min


def test_the_present_week_counts_from_now_on_and_the_period_ends_where_it_ends(planned):
    # Wednesday 11:17 to 22:00 are 643 min, Thursday 960: two looms.
    there = load.ahead(Period(date(2026, 3, 2), date(2026, 3, 5)), now=NOW)
    assert [own[0].open_min for own in there.looms.values()] == [1603, 1603]
    assert load.ahead(Period(date(2026, 2, 1), date(2026, 3, 1)), now=NOW).weeks == []


def test_the_page_the_csv_and_the_api_say_the_same(planned, desk):
    asked = {"from_day": "2026-03-02", "to_day": "2026-03-29"}
    page = desk.get("/reports/load/", asked).content.decode()
    told = desk.get("/api/reports/load/", asked).json()
    assert told["plan"] == planned.pk
    assert [row["loom"] for row in told["looms"]] == ["1", "2"]
    assert f"{told['all']['load_pct']}\u00a0%" in page
    # 40 h are not said to be minutes.
    assert '<span class="unit">min</span>' not in page
    csv = desk.get("/reports/load/", {**asked, "csv": "each"}).content.decode("utf-8-sig").splitlines()
    assert csv[0] == "Loom,Week from,Open (min),Weaving (min),Set-up (min),Free (min),Load (%)"
    assert len(csv) == 1 + 2 * 4
    first = told["looms"][0]["weeks"][0]
    assert (
        csv[1]
        == f"1,2026-03-02,{first['open_min']},{first['weaving_min']},{first['setup_min']},{first['free_min']},{first['load_pct']}"
    )
    assert sum(row["weaving_min"] for row in told["warps"]) == told["all"]["weaving_min"]


def test_a_mill_without_looms_or_without_a_plan_is_told_how_to_come_by_them(desk, db):
    assert "There is no loom in the book yet" in desk.get("/reports/load/").content.decode()
    make_loom()
    page = desk.get("/reports/load/").content.decode()
    assert "No plan is in force" in page
    # No week and no loom is the fullest of those that are empty.
    assert "<dt>The fullest week</dt><dd>–</dd>" in page
    assert desk.get("/api/reports/load/").json()["plan"] is None


def test_a_plan_of_the_past_says_so(planned, desk):
    asked = {"from_day": "2026-01-05", "to_day": "2026-02-01"}
    assert "This period is past" in desk.get("/reports/load/", asked).content.decode()


def test_more_looms_and_warps_ask_no_more_of_the_database(planned, desk, django_assert_max_num_queries):
    with django_assert_max_num_queries(20) as asked:
        desk.get("/reports/load/")
    for n in range(10, 22):
        make_loom(code=str(n))
    with django_assert_max_num_queries(len(asked)):
        assert ">21<" in desk.get("/reports/load/").content.decode()
    assert timezone.now() == NOW
