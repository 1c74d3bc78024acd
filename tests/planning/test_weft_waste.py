"""Weft yarn that never became cloth: by hand, by properties, in the book, on the page and over the API."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from inventory import services as store
from inventory.models import Movement
from planning.period import Period
from planning.services import warp_steps, working_out
from planning.services import weft_waste as reading
from planning.weft_waste import WeftUsed, among_lots, by_lot, by_month, by_yarn, waste, working, woven_g
from tests.planning.floor_walk import cut, weaving_warp

DAY = date(2026, 11, 2)


def used(warp: int, lot: str, *, drawn_g: int, back_g: int, woven: int, planned: int, days: int = 0, yarn="MOS"):
    return WeftUsed(warp, "HER", DAY + timedelta(days), yarn, lot, drawn_g, back_g, woven, planned)


# Warp 118: 24 kg of weft on 120 m planned, 5 % waste of what is issued: 25 264 g; 118.5 m are woven.
# In the cloth 24 000 × 118.5 ÷ 120 = 23 700 g; allowed 1264 × 118.5 ÷ 120 = 1248.2: 1248 g.
# A12 gave 20 000 g, of which 800 came back; B7 gave 6000 g: 19 200 and 6000 of 25 200 used.
# A12 has 23 700 × 19 200 ÷ 25 200 = 18 057.1: 18 057 g of the cloth, B7 the other 5643 g.
# Waste: A12 1143 g, B7 357 g; together 1500 of 25 200, 6.0 %; planned 1248 of 24 948, 5.0 %.
SHEET = [
    used(118, "A12", drawn_g=20_000, back_g=800, woven=18_057, planned=951),
    used(118, "B7", drawn_g=6_000, back_g=0, woven=5_643, planned=297, days=0),
    used(119, "A12", drawn_g=10_000, back_g=500, woven=9_100, planned=479, days=30),
]


def test_a_warp_of_two_lots_by_hand():
    length = {"planned_m": Decimal(120), "woven_m": Decimal("118.5")}
    assert (woven_g(net_g=24_000, **length), woven_g(net_g=1_264, **length)) == (23_700, 1_248)
    assert among_lots(23_700, [19_200, 6_000]) == [18_057, 5_643]
    assert among_lots(1_248, [19_200, 6_000]) == [951, 297]
    own = waste(SHEET[:2])
    assert (own.drawn_g, own.back_g, own.woven_g, own.waste_g, own.over_g) == (26_000, 800, 23_700, 1_500, 252)
    assert (own.waste_pct, own.planned_pct, own.warps, own.lots) == (Decimal("6.0"), Decimal("5.0"), 1, 2)
    assert [(row.lot, each.waste_g) for row, each in by_lot(SHEET[:2])] == [("A12", 1_143), ("B7", 357)]
    assert [step.sum for step in working(own)] == [
        "26000 g − 800 g − 23700 g",
        "1500 g ÷ 25200 g",
        "1248 g ÷ (1248 g + 23700 g)",
        "1500 g − 1248 g",
    ]
    months = by_month(SHEET, Period(DAY, DAY + timedelta(70)))
    assert [each.waste_g for _, each in months] == [1_500, 400, 0]


rows_of = st.lists(
    st.builds(
        used,
        st.integers(1, 9),
        st.sampled_from(["A12", "B7", "C1"]),
        drawn_g=st.integers(500, 40_000),
        back_g=st.integers(0, 500),
        woven=st.integers(0, 40_000),
        planned=st.integers(0, 900),
        days=st.integers(0, 80),
        yarn=st.sampled_from(["MOS", "CRE"]),
    ),
    max_size=12,
)


@given(rows_of)
def test_what_is_drawn_came_back_is_in_the_cloth_or_is_waste(rows):
    whole = waste(rows)
    assert whole.back_g + whole.woven_g + whole.waste_g == whole.drawn_g
    for groups in (by_month(rows, Period(DAY, DAY + timedelta(80))), by_yarn(rows), by_lot(rows)):
        for name in ("drawn_g", "back_g", "woven_g", "waste_g", "planned_waste_g"):
            assert sum(getattr(own, name) for _, own in groups) == getattr(whole, name)


@given(st.integers(0, 90_000), st.lists(st.integers(0, 50_000), min_size=1, max_size=6))
def test_shares_of_lots_add_up_to_the_gram(grams, lots):
    assert sum(among_lots(grams, lots)) == grams
    assert min(among_lots(grams, lots)) >= 0


# In the book

pytestmark = pytest.mark.django_db
TODAY = timezone.localdate()
PERIOD = Period(TODAY - timedelta(30), TODAY)


@pytest.fixture
def woven(planner):
    """A warp walked through the shed: two pieces cut short of plan, and half a kilogram of weft brought back."""
    warp = weaving_warp(planner)
    for length_m in ("63.00", "62.50"):
        cut(warp, planner, length_m=length_m)
    hold = warp.holds.filter(use="weft").first()
    store.return_to_stock(reservation=hold.reservation, lot=hold.reservation.lot, grams=500, by=planner)
    return warp_steps.weave_out(warp, by=planner)


def test_the_book_is_read_as_the_pencil_has_it(woven):
    rows = {row.lot: row for row in reading.used(PERIOD).rows}
    (run,) = woven.worked.figures["runs"]
    planned_m = Decimal(str(run["grey_length_m"])) * run["pieces"]
    holds = list(woven.holds.filter(use="weft"))
    assert len(rows) == len(holds) == 2
    assert sum(row.back_g for row in rows.values()) == 500
    for hold in holds:
        row = rows[hold.reservation.lot.label]
        lines = Movement.objects.filter(reservation=hold.reservation)
        assert row.drawn_g == -sum(line.change_g for line in lines if line.kind == "draw")
        need = woven.yarns.get(use="weft", yarn=hold.yarn)
        assert row.woven_g == round(need.net_g * Decimal("125.50") / planned_m)
        assert row.planned_waste_g == round((need.issue_g - need.net_g) * Decimal("125.50") / planned_m)
        # The ledger and the report agree: what is out for the weft is in the cloth, or is waste.
        assert row.woven_g + row.waste_g == -sum(line.change_g for line in lines)
    back = Movement.objects.get(kind="return")
    store.reverse(movement=back, reason="it was another lot", by=None)
    assert {row.lot: (row.drawn_g, row.back_g) for row in reading.used(PERIOD).rows} == {
        lot: (row.drawn_g, 0) for lot, row in rows.items()
    }, "what came back and was taken back is no second draw"
    assert [said for said in working_out.audit_differences() if "drawn" in said] == []
    assert reading.used(Period(TODAY - timedelta(30), TODAY - timedelta(1))).rows == []


def test_the_page_the_csv_and_the_api_say_the_same(woven, desk):
    weft = desk.get("/api/reports/thrums/").json()["weft"]
    whole = weft["all"]
    assert whole["back_g"] + whole["woven_g"] + whole["waste_g"] == whole["drawn_g"] > 0
    assert (weft["lots"][0]["warp"], weft["left_out"]) == (woven.number, [])
    page = desk.get("/reports/thrums/").content.decode()
    assert f"{whole['drawn_g']} g − 500 g − {whole['woven_g']} g" in page
    csv = desk.get("/reports/thrums/", {"csv": "weft-lots"}).content.decode("utf-8-sig").splitlines()
    assert csv[0].startswith("Lot,Yarn,Warp,Cloth,Woven out,Drawn (g),Came back (g),In the cloth (g),Waste (g)")
    columns = zip(*(line.split(",")[5:9] for line in csv[1:]), strict=True)
    assert [sum(map(int, column)) for column in columns] == [
        whole[name] for name in ("drawn_g", "back_g", "woven_g", "waste_g")
    ]


def test_a_warp_without_a_piece_is_left_out_and_named(planner, desk):
    warp = warp_steps.weave_out(weaving_warp(planner), by=planner)
    assert reading.used(PERIOD).left_out == [warp.number]
