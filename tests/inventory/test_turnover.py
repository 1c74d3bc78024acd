"""How often yarn is used up and how long it lasts: by hand, against the ledger read day by day, on the page, by API."""

from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
import time_machine
from hypothesis import given
from hypothesis import strategies as st

from inventory import services as store
from inventory.models import Movement
from inventory.turnover import Day, Turnover, together, turnover, working
from tests.make import make_yarn

FIRST = date(2026, 11, 1)
LAST = FIRST + timedelta(29)


def test_thirty_days_by_hand():
    # 12 000 g for 10 days, 9 000 for 10, 21 000 less 3 000 is 18 000 for 10: 390 000 gram-days, 13 000 in the mean.
    # 6 000 drawn in 30 days are 200 a day: 65 days; 6 000 x 365 / 390 000 = 5.615 turns a year.
    changes = [Day(FIRST + timedelta(10), -3000, 3000), Day(FIRST + timedelta(20), 9000, 3000)]
    found = turnover(began_g=12_000, changes=changes, first=FIRST, last=LAST)
    assert (found.mean_g, found.drawn_g, found.on_hand_g) == (13_000, 6000, 18_000)
    assert (found.supply_days, round(found.turns, 3)) == (65, Decimal("5.615"))
    assert [step.value for step in working(found)] == [13_000, Decimal("5.62"), Decimal("65.0")]
    assert [step.sum for step in working(found)] == [
        "390000 ÷ 30",
        "6000 × 365 ÷ 30 ÷ 13000",
        "13000 ÷ (6000 ÷ 30)",
    ]


def test_of_little_stock_the_part_of_a_gram_is_in_the_sum():
    # 3 g for 20 days and 2 g for 10 are 80 ÷ 30 = 2.6667 in the mean; 1 x 365 ÷ 30 ÷ 2.6667 = 4.56, and 4.06 of 3 g.
    found = turnover(began_g=3, changes=[Day(FIRST + timedelta(20), -1, 1)], first=FIRST, last=LAST)
    assert [step.value for step in working(found)] == [3, Decimal("4.56"), Decimal("80.0")]
    assert [step.sum for step in working(found)][1:] == ["1 × 365 ÷ 30 ÷ 2.6667", "2.6667 ÷ (1 ÷ 30)"]


def test_what_nobody_draws_lasts_for_ever_and_nothing_turns_over_nothing():
    idle = turnover(began_g=500, changes=[], first=FIRST, last=LAST)
    assert (idle.turns, idle.supply_days) == (0, None)
    nothing = turnover(began_g=0, changes=[], first=FIRST, last=LAST)
    assert (nothing.turns, nothing.supply_days) == (None, None)
    assert working(idle) == ()


lives = st.lists(st.tuples(st.integers(-900, 900), st.integers(0, 900)), min_size=30, max_size=30)


def of_life(life) -> Turnover:
    days = [Day(FIRST + timedelta(n), change_g, drawn_g) for n, (change_g, drawn_g) in enumerate(life)]
    return turnover(
        began_g=30_000, changes=[one for one in days if one.change_g or one.drawn_g], first=FIRST, last=LAST
    )


@given(lives)
def test_the_mean_is_that_of_the_balances_day_by_day(life):
    balance, balances = 30_000, []
    for change_g, _ in life:
        balance += change_g
        balances.append(balance)
    found = of_life(life)
    assert found.mean_g == Decimal(sum(balances)) / 30
    assert found.on_hand_g == balances[-1]


@given(lives)
def test_days_supply_times_daily_use_is_the_mean_stock(life):
    found = of_life(life)
    if found.supply_days is not None:
        assert abs(found.supply_days * found.drawn_g_per_day - found.mean_g) < Decimal("0.001")
        assert abs(found.turns * found.supply_days - 365) < Decimal("0.001")


@given(lives, lives)
def test_yarns_taken_together_add_up(one, other):
    both = together([of_life(one), of_life(other)], days=30)
    assert both.stock_g_days == of_life(one).stock_g_days + of_life(other).stock_g_days
    assert both.drawn_g == of_life(one).drawn_g + of_life(other).drawn_g


# In the book

pytestmark = pytest.mark.django_db


def on(day: int):
    """Noon of a day of November 2026."""
    return time_machine.travel(datetime(2026, 11, day, 12, tzinfo=ZoneInfo("Europe/London")), tick=False)


@pytest.fixture
def a_month(planner):
    """12 kg come in on the 1st; on the 11th 4 kg are drawn, on the 13th 1 kg comes back; a draw of 2 kg on the 16th is
    taken back on the 17th; on the 21st 12 kg come in and 500 g are swept up.

        12 000 x 10, 8 000 x 2, 9 000 x 3, 7 000 x 1, 9 000 x 4, 20 500 x 10 = 411 000 gram-days of 30: 13 700
        drawn 4 000 - 1 000 + 2 000 - 2 000 = 3 000: 411 / 3 = 137 days
    """
    yarn = make_yarn(code="WOO-1", name="peat")
    with on(1):
        lot = store.receive(yarn=yarn, grams=12_000, label="A1", dye_lot="1", by=planner).lot
    with on(11):
        hold = store.reserve(lot=lot, grams=4000, for_what="Warp 118", by=planner)
        store.draw_down(reservation=hold, grams=4000, by=planner)
    with on(13):
        store.return_to_stock(reservation=hold, lot=lot, grams=1000, by=planner)
    with on(16):
        again = store.reserve(lot=lot, grams=2000, for_what="Warp 119", by=planner)
        drawn = store.draw_down(reservation=again, grams=2000, by=planner)
    with on(17):
        store.reverse(movement=drawn, reason="The wrong lot.", by=planner)
    with on(21):
        store.receive(yarn=yarn, grams=12_000, label="A2", dye_lot="2", by=planner)
        store.record_waste(lot=lot, grams=500, reason="Swept up.", by=planner)
    return yarn


@pytest.fixture
def month_s_end(a_month):
    with on(30):
        yield


def test_the_ledger_is_read_as_the_pencil_has_it(a_month, month_s_end):
    (row,) = store.turnovers(FIRST, LAST).rows
    assert row.code == "WOO-1"
    assert (row.turnover.stock_g_days, row.turnover.drawn_g) == (411_000, 3000)
    assert (row.turnover.on_hand_g, row.turnover.supply_days) == (20_500, 137)


def test_days_to_come_are_not_counted_or_yarn_would_seem_to_last_longer(a_month, desk):
    # On the 21st: 163 000 + 7 000 + 36 000 + 20 500 gram-days; with 3 000 drawn 226.5 / 3 = 75.5 days, and not 137.
    with on(21):
        found = store.turnovers(FIRST, LAST)
        page = desk.get("/reports/turnover/", {"from_day": "2026-11-01", "to_day": "2026-11-30"}).content.decode()
        later = desk.get("/reports/turnover/", {"from_day": "2026-11-22", "to_day": "2026-11-30"}).content.decode()
        told = desk.get("/api/reports/turnover/", {"from_day": "2026-11-22", "to_day": "2026-11-30"}).json()
    assert (found.last, found.rows[0].turnover.supply_days) == (FIRST + timedelta(20), Decimal("75.5"))
    assert "Days that are still to come are not counted." in page
    assert "This period is still to come." in later
    assert told["yarns"] == []


def test_days_before_the_ledger_begins_are_not_counted_and_later_periods_begin_with_what_there_was(
    a_month, month_s_end
):
    assert store.turnovers(date(2026, 1, 1), LAST).first == FIRST
    found = store.turnovers(date(2026, 11, 12), date(2026, 11, 13))
    # 8 000 on the 12th, 9 000 on the 13th, and 1 000 more came back than was drawn.
    assert (found.rows[0].turnover.stock_g_days, found.rows[0].turnover.drawn_g) == (17_000, -1000)
    assert found.rows[0].turnover.supply_days is None
    assert store.turnovers(date(2025, 1, 1), date(2025, 12, 31)).rows == []


def test_the_page_the_csv_and_the_api_say_the_same(a_month, month_s_end, desk):
    asked = {"from_day": "2026-11-01", "to_day": "2026-11-30"}
    page = desk.get("/reports/turnover/", asked).content.decode()
    assert "137" in page
    # 3 000 x 365 / 411 000 = 2.66.
    csv = desk.get("/reports/turnover/", {**asked, "csv": "yarns"}).content.decode("utf-8-sig").splitlines()
    assert csv[1] == "WOO-1,peat,3000,13700,20500,2.66,137.0"
    told = desk.get("/api/reports/turnover/", asked).json()
    assert told["yarns"] == [{"yarn": "WOO-1", "name": "peat", **told["all"]}]
    assert told["all"] == {
        "days": 30,
        "drawn_g": 3000,
        "mean_g": 13_700,
        "on_hand_g": 20_500,
        "turns": "2.66",
        "supply_days": "137.0",
    }


def test_an_empty_store_is_told_where_yarn_comes_in(desk):
    page = desk.get("/reports/turnover/").content.decode()
    assert "No yarn has come in or gone out" in page
    assert desk.get("/api/reports/turnover/").json()["all"]["turns"] is None


def test_more_lots_and_lines_ask_no_more_of_the_database(a_month, planner, desk, django_assert_max_num_queries):
    asked = {"from_day": "2026-11-01", "to_day": "2026-11-30"}
    with django_assert_max_num_queries(16) as before:
        desk.get("/reports/turnover/", asked)
    with on(22):
        for n in range(10):
            yarn = make_yarn(code=f"LIN-{n}")
            lot = store.receive(yarn=yarn, grams=9000, label=f"B{n}", dye_lot="1", by=planner).lot
            store.record_waste(lot=lot, grams=100, reason="Swept up.", by=planner)
    with django_assert_max_num_queries(len(before)):
        assert "LIN-9" in desk.get("/reports/turnover/", asked).content.decode()
    assert Movement.objects.count() > 25
