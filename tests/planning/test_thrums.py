"""Warp yarn that never became cloth: by hand, by properties, in the book, on the page and over the API."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from inventory import services as store
from planning.models import Warp
from planning.period import Period
from planning.services import thrums as reading
from planning.services import warp_steps
from planning.thrums import WovenOut, by_cloth, by_month, by_warp, waste, working
from tests.planning.floor_walk import cut, weaving_warp

DAY = date(2026, 11, 2)


def warp_of(number: int, *, drawn_g: int, in_cloth_m: str, days: int = 0, cloth: str = "HER") -> WovenOut:
    """20 kg net on 200 m, of which 8 m are thrums and headers; 2 % of what is issued is winding waste."""
    return WovenOut(
        number, cloth, DAY + timedelta(days), drawn_g, 20_000, 20_409, Decimal(200), Decimal(8), Decimal(in_cloth_m)
    )


# Planned for each: 8 m are 800 g, and 409 g of winding, 1209 g of 20 409: 5.9 %.
# 118: 192 m in the cloth are 19 200 g of 20 400 drawn: 1200, 9 less than planned.
# 119: 190 m are 19 000 of 20 600: 1600, 391 more. Together 2800 of 41 000: 6.8 %.
SHEET = [
    warp_of(118, drawn_g=20_400, in_cloth_m="192"),
    warp_of(119, drawn_g=20_600, in_cloth_m="190", days=30, cloth="BLA"),
]


def test_two_warps_by_hand():
    whole = waste(SHEET)
    assert (whole.warps, whole.drawn_g, whole.in_cloth_g, whole.waste_g) == (2, 41_000, 38_200, 2800)
    assert (whole.planned_waste_g, whole.thrums_g, whole.over_g) == (2418, 1600, 382)
    assert (whole.waste_pct, whole.planned_pct) == (Decimal("6.8"), Decimal("5.9"))
    assert [(row.warp, own.over_g) for row, own in by_warp(SHEET)] == [(119, 391), (118, -9)]
    assert [(name, own.waste_g) for name, own in by_cloth(SHEET)] == [("BLA", 1600), ("HER", 1200)]
    months = by_month(SHEET, Period(DAY, DAY + timedelta(70)))
    assert [own.waste_pct for _, own in months] == [Decimal("5.9"), Decimal("7.8"), None]
    assert [step.sum for step in working(whole)] == [
        "41000 g − 38200 g",
        "2800 g ÷ 41000 g",
        "(1600 g + 818 g) ÷ 40818 g",
        "2800 g − 2418 g",
    ]


def test_more_in_the_cloth_than_was_drawn_is_not_hidden():
    assert waste([warp_of(118, drawn_g=19_000, in_cloth_m="192")]).waste_g == -200


rows_of = st.lists(
    st.builds(
        warp_of,
        st.integers(1, 99),
        drawn_g=st.integers(1, 40_000),
        in_cloth_m=st.integers(1, 200).map(str),
        days=st.integers(0, 80),
        cloth=st.sampled_from(["HER", "BLA"]),
    ),
    max_size=12,
)


@given(rows_of)
def test_cloth_and_waste_are_all_that_was_drawn_however_they_are_taken_together(rows):
    whole = waste(rows)
    assert whole.in_cloth_g + whole.waste_g == whole.drawn_g
    if rows:
        assert abs(whole.waste_pct + whole.in_cloth_pct - 100) <= Decimal("0.1")
    for groups in (by_month(rows, Period(DAY, DAY + timedelta(80))), by_cloth(rows), by_warp(rows)):
        assert sum(own.waste_g for _, own in groups) == whole.waste_g
        assert sum(own.planned_waste_g for _, own in groups) == whole.planned_waste_g
        assert sum(own.warps for _, own in groups) == whole.warps


# In the book

pytestmark = pytest.mark.django_db
TODAY = timezone.localdate()
PERIOD = Period(TODAY - timedelta(30), TODAY)


def woven_out(planner, *lengths_m: str, back_g: int = 0, **changes) -> Warp:
    """Walked through the shed by its verbs, from the draw to the last pick."""
    warp = weaving_warp(planner, **changes)
    for length_m in lengths_m:
        cut(warp, planner, length_m=length_m)
    if back_g:
        hold = warp.holds.filter(use="warp").first()
        store.return_to_stock(reservation=hold.reservation, lot=hold.reservation.lot, grams=back_g, by=planner)
    return warp_steps.weave_out(warp, by=planner)


def test_the_book_is_read_as_the_pencil_has_it(planner):
    warp = woven_out(planner, "63.00", "62.50", back_g=120)
    (row,) = reading.woven_out(PERIOD).rows
    needs = warp.yarns.filter(use="warp")
    issue_g, net_g = sum(need.issue_g for need in needs), sum(need.net_g for need in needs)
    assert (row.warp, row.drawn_g, row.issue_g, row.net_g) == (warp.number, issue_g - 120, issue_g, net_g)
    # Crimp on the cloth's length; thrums and headers of the mill's own figures: 3 m and two times 0.5 m.
    crimp = warp.parts.get().spec.warp_crimp_pct
    assert row.in_cloth_m == Decimal("125.50") * (1 + crimp / 100)
    assert row.spare_m == Decimal(4)
    assert row.length_m == warp.worked.warp_length_m
    # Two pieces as they were planned would leave the thrums, the headers, and what the roundings up come to.
    planned = warp.worked.figures["runs"][0]["warp_length_per_piece_m"]
    assert abs(row.length_m - row.spare_m - 2 * Decimal(str(planned))) <= Decimal("0.2")
    assert reading.woven_out(Period(TODAY - timedelta(30), TODAY - timedelta(1))).rows == []


def test_a_warp_without_a_piece_is_left_out_and_named(planner, desk):
    warp = woven_out(planner)
    assert reading.woven_out(PERIOD).left_out == [warp.number]
    page = desk.get("/reports/thrums/").content.decode()
    assert f"no draw or no piece of it: warp {warp.number}." in page


def test_the_page_the_csv_and_the_api_say_the_same(planner, desk):
    warp = woven_out(planner, "63.00", "62.50")
    told = desk.get("/api/reports/thrums/").json()
    whole = told["all"]
    assert whole["in_cloth_g"] + whole["waste_g"] == whole["drawn_g"] > 0
    assert told["warps"][0]["warp"] == warp.number
    page = desk.get("/reports/thrums/").content.decode()
    assert f"{whole['waste_pct']}\u00a0%" in page
    csv = desk.get("/reports/thrums/", {"csv": "warps"}).content.decode("utf-8-sig").splitlines()
    assert csv[0].startswith("Warp,Cloth,Woven out,Drawn (g),In the cloth (g),Thrums and waste (g)")
    assert csv[1].split(",")[3:6] == [str(whole[name]) for name in ("drawn_g", "in_cloth_g", "waste_g")]


def test_a_mill_that_has_woven_nothing_is_told_so(desk):
    page = desk.get("/reports/thrums/").content.decode()
    assert "No warp was woven out in this period" in page
    assert f'href="{reverse("warps")}"' in page


def test_more_warps_ask_no_more_of_the_database(planner, desk, django_assert_max_num_queries):
    woven_out(planner, "63.00")
    with django_assert_max_num_queries(20) as asked:
        desk.get("/reports/thrums/")
    for _ in range(3):
        last = woven_out(planner, "63.00", "64.00")
    with django_assert_max_num_queries(len(asked)):
        assert f"Warp {last.number}" in desk.get("/reports/thrums/").content.decode()
