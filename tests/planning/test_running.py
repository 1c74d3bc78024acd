"""Where looms' minutes went: by hand, by properties, divided over weeks and shifts, on the page and over the API."""

from collections import Counter
from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planning.models import FloorEvent
from planning.period import Period
from planning.run_out import Spell
from planning.running import Part, grouped, running, why_stood, working
from planning.services import running as reading
from planning.services import woven as weaving
from tests.planning.test_actuals import MONDAY, over_the_change, tell, two_shifts, warp  # noqa: F401 - fixtures

WEEK = date(2026, 11, 2)
WAITS = ("no weft",)


def test_two_looms_by_hand():
    # Loom 7: 600 min, 60 waited; 75 600 picks at 210 are 360 min of 540: 66.7 %. Told 40 + 20, untold 540 - 360 - 60.
    # Loom 8: 500 min; 40 000 picks at 100 are 400 of 500: 80 %. Told 30, untold 70.
    one = Part(
        WEEK, "7", "early", Spell(75_600, Decimal(80), 600, 210, 60, 60), {"weft break": 40, "tuner": 20, "no weft": 60}
    )
    two = Part(WEEK, "8", "late", Spell(40_000, Decimal(50), 500, 100, 0, 30), {"weft break": 30})
    looms = grouped([one, two], lambda part: part.loom, waits=WAITS)
    assert [looms[code].efficiency_pct for code in "78"] == [Decimal("66.7"), Decimal("80.0")]
    assert [looms[code].untold_min for code in "78"] == [120, 70]
    assert looms["7"].told == (("weft break", 40), ("tuner", 20))
    assert looms["7"].waits == (("no weft", 60),)
    # 115 600 picks of 210 x 540 + 100 x 500 = 163 400.
    whole = running([one, two], waits=WAITS)
    assert whole.efficiency_pct == Decimal("70.7")
    # 190 untold, 70 weft breaks, 60 no weft, 20 tuner: 340 in all.
    assert why_stood(whole) == [
        ("short, or not told", 190, Decimal("55.9"), False),
        ("weft break", 70, Decimal("20.6"), False),
        ("no weft", 60, Decimal("17.6"), True),
        ("tuner", 20, Decimal("5.9"), False),
    ]
    assert [step.value for step in working(whole)] == [1040, 760, Decimal("70.7")]
    assert working(whole)[-1].sum == "115600 picks ÷ 163400 picks"


def test_more_picks_than_the_minutes_hold_are_said():
    whole = running([Part(WEEK, "7", "", Spell(30_000, Decimal(40), 100, 200), {})], waits=WAITS)
    assert (whole.running_min, whole.over_min, whole.untold_min) == (100, 50, 0)
    # 30 000 of 200 x 100 = 20 000, and not the 100 of 100 min that it can have run.
    assert [(step.sum, step.value) for step in working(whole)][-1] == ("30000 picks ÷ 20000 picks", Decimal("150.0"))


def test_nothing_told_has_no_efficiency_and_no_sum():
    whole = running([], waits=WAITS)
    assert whole.efficiency_pct is None
    assert working(whole) == ()


@st.composite
def parts(draw):
    minutes = draw(st.integers(1, 5000))
    waited = draw(st.integers(0, minutes))
    stood = draw(st.integers(0, minutes - waited))
    ppm = draw(st.sampled_from([100, 210, 600]))
    reasons = Counter({"weft break": stood, "no weft": waited})
    picks = draw(st.integers(0, ppm * minutes))
    spell = Spell(picks, Decimal(1), minutes, ppm, waited, stood)
    return Part(
        WEEK + timedelta(weeks=draw(st.integers(0, 3))),
        draw(st.sampled_from("78")),
        draw(st.sampled_from("el")),
        spell,
        +reasons,
    )


@given(st.lists(parts(), max_size=12))
def test_the_minutes_add_up_however_they_are_taken_together(rows):
    whole = running(rows, waits=WAITS)
    assert whole.running_min + whole.told_min + whole.untold_min + whole.waited_min == whole.minutes
    assert whole.minutes == sum(row.spell.minutes for row in rows)
    if whole.minutes:
        shares = [
            whole.share_pct(part) for part in (whole.running_min, whole.told_min, whole.untold_min, whole.waited_min)
        ]
        assert abs(sum(shares) - 100) <= Decimal("0.2")
    for key in (lambda part: part.loom, lambda part: part.week, lambda part: part.shift):
        groups = grouped(rows, key, waits=WAITS).values()
        assert sum(own.minutes for own in groups) == whole.minutes
        assert sum(own.tally.picks for own in groups) == whole.tally.picks
        assert sum(own.waited_min for own in groups) == whole.waited_min
    why = why_stood(whole)
    assert sum(minutes for _, minutes, _, _ in why) == whole.minutes - whole.running_min


@given(parts())
def test_of_one_loom_efficiency_is_running_of_running_and_stopped(part):
    whole = running([part], waits=WAITS)
    if whole.efficiency_pct is not None and not whole.over_min:
        exact = Decimal(whole.running_min) * 100 / (whole.running_min + whole.stopped_min)
        # Running minutes are whole ones: half a minute of all.
        assert abs(exact - whole.efficiency_pct) <= Decimal(50) / (whole.running_min + whole.stopped_min) + Decimal(
            "0.05"
        )


# In the book

pytestmark = pytest.mark.django_db
PERIOD = Period(MONDAY.date() - timedelta(days=14), MONDAY.date() + timedelta(days=13))


def test_a_piece_of_two_weeks_is_divided_as_the_loom_ran_in_each(two_shifts, tell, planner):  # noqa: F811
    """Thursday 8:00 started, Friday 10:00 to 12:00 the tuner; on Monday at 12:00 a piece of 100 m, 84 600 picks, is off.

    first week    Thursday 840 min, Friday 960 less 120: meant 1800, ran 1680
    second week   Monday 06:00 to 12:00: 360
    84 600 x 1680 / 2040 = 69 670.6; what is left, 14 930, falls to the second week
    """
    thursday, monday = MONDAY + timedelta(days=3), MONDAY + timedelta(days=7)
    tell("gaited", thursday - timedelta(hours=1))
    tell("started", thursday)
    tell("stopped", thursday + timedelta(hours=26), reason="tuner")
    tell("running", thursday + timedelta(hours=28))
    tell("piece off", monday + timedelta(hours=4), length_m=Decimal(100))
    weeks = grouped(reading.parts(PERIOD), lambda part: part.week, waits=reading.WAITS)
    first, second = weeks[MONDAY.date()], weeks[monday.date()]
    assert (first.minutes, first.told, second.minutes) == (1800, (("tuner", 120),), 360)
    assert first.tally.picks + second.tally.picks == 84_600
    # Divided over the shifts one after the other, each share is cut off to whole picks.
    assert abs(first.tally.picks - 69_670) <= 3
    # 69 670 / (220 x 1800) = 17.6 %, 14 930 / (220 x 360) = 18.9 %: as slow as this loom was in both.
    assert (first.efficiency_pct, second.efficiency_pct) == (Decimal("17.6"), Decimal("18.9"))
    # A period that ends with the first week has its part of the piece, though it was counted later.
    before = reading.parts(Period(PERIOD.first, monday.date() - timedelta(days=1)))
    assert sum(part.spell.picks for part in before) == first.tally.picks


def test_weeks_and_shifts_hold_what_the_shifts_hold(over_the_change, tell):  # noqa: F811
    tell("piece off", MONDAY + timedelta(hours=9), length_m=Decimal(100))
    shifts = grouped(reading.parts(PERIOD), lambda part: part.shift, waits=reading.WAITS)
    # As the sheet of the two shifts has it: 84.4 and 72.9 %.
    assert [own.efficiency_pct for own in shifts.values()] == [Decimal("84.4"), Decimal("72.9")]
    rows = weaving.shift_spells(since=MONDAY - timedelta(days=14))
    assert sum(row.spell.picks for row in rows) == sum(own.tally.picks for own in shifts.values())
    assert sum(row.spell.minutes for row in rows) == sum(own.minutes for own in shifts.values())


def test_the_page_the_csv_and_the_api_say_the_same(over_the_change, tell, desk):  # noqa: F811
    tell("piece off", MONDAY + timedelta(hours=9), length_m=Decimal(100))
    page = desk.get("/reports/efficiency/").content.decode()
    # 84 600 / (220 x 480).
    assert "80.1\u00a0%" in page
    assert "06:00–14:00" in page
    told = desk.get("/api/reports/efficiency/").json()
    assert (told["all"]["efficiency_pct"], told["all"]["picks"]) == ("80.1", 84_600)
    assert told["all"]["waits"] == [{"reason": "no weft", "minutes": 60}]
    (loom,) = [row for row in told["rows"] if row["by"] == "loom"]
    assert (loom["loom"], loom["week"], loom["running"]["picks"]) == ("7", None, 84_600)
    csv = desk.get("/reports/efficiency/", {"csv": "reasons"}).content.decode("utf-8-sig").splitlines()
    # 540 min less 60 of waits: 84 600 / 220 = 384.5 ran, 70 told, and 480 - 385 - 70 = 25 nobody told.
    assert csv[0] == "Reason,Stood (min),Share of all (%),Counts"
    assert csv[1:] == [
        "no weft,60,38.7,as a wait",
        "tuner,40,25.8,against the efficiency",
        "weft break,30,19.4,against the efficiency",
        '"short, or not told",25,16.1,against the efficiency',
    ]


def test_an_empty_floor_is_told_where_to_tell(desk):
    page = desk.get("/reports/efficiency/").content.decode()
    assert "Nothing was told of the looms in this period" in page
    assert 'href="/floor/"' in page
    assert desk.get("/api/reports/efficiency/").json()["rows"] == []


def test_more_pieces_ask_no_more_of_the_database(over_the_change, tell, desk, django_assert_max_num_queries):  # noqa: F811
    tell("piece off", MONDAY + timedelta(hours=9), length_m=Decimal(20))
    with django_assert_max_num_queries(24) as asked:
        desk.get("/reports/efficiency/")
    for n in range(10, 16):
        tell("piece off", MONDAY + timedelta(hours=n), length_m=Decimal(20))
    with django_assert_max_num_queries(len(asked)):
        desk.get("/reports/efficiency/")
    assert FloorEvent.objects.filter(kind=FloorEvent.PIECE_OFF).count() == 7
