"""Pieces found seconds, by cause: by hand, by properties, in the book, on the page and over the API."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from planning.models import Piece
from planning.period import Period
from planning.piece import Fault
from planning.seconds import NOT_WRITTEN, Judged, by_cause, by_cloth, by_month, share, working
from planning.services import pieces, seconds
from tests.make import make_cloth, make_spec

DAY = date(2026, 11, 2)


def fault(name: str, *, mm: int = 40) -> Fault:
    return Fault(Decimal(1), Decimal(mm), False, name)


def judged(length_m: int, *faults: Fault, cloth: str = "HER", days: int = 0, is_second: bool = True) -> Judged:
    return Judged("1-1", cloth, DAY + timedelta(days), Decimal(length_m), is_second, faults)


# 40 + 60 + 20 m are seconds of 40 + 60 + 20 + 80 + 200 = 400: 30 %. Of the first piece one bar over 230 mm has four
# points (ASTM D5430: up to 75 mm one, to 150 two, to 230 three, above four) and three slubs have three: a bar.
SHEET = [
    judged(40, fault("Bar", mm=300), *[fault("slub")] * 3),
    judged(60, fault("broken  end"), fault("Broken end"), fault("slub"), cloth="BLA"),
    judged(20),
    judged(80, is_second=False),
    judged(200, cloth="BLA", days=30, is_second=False),
]


def test_three_seconds_by_hand():
    whole = share(SHEET)
    assert (whole.pieces, whole.second_pieces, whole.second_m, whole.seconds_pct) == (5, 3, 120, Decimal("30.0"))
    # 60, 40 and 20 of 120.
    assert [(one.name, one.pieces, one.share_pct, one.so_far_pct) for one in by_cause(SHEET)] == [
        ("broken end", 1, Decimal("50.0"), Decimal("50.0")),
        ("bar", 1, Decimal("33.3"), Decimal("83.3")),
        (NOT_WRITTEN, 1, Decimal("16.7"), Decimal("100.0")),
    ]
    months = by_month(SHEET, Period(DAY, DAY + timedelta(70)))
    # 120 of 200 in November, 0 of 200 in December, and nothing in January.
    assert [own.seconds_pct for _, own in months] == [Decimal("60.0"), Decimal("0.0"), None]
    # 60 of 260 and 60 of 140: as many metres, so by name.
    assert [(name, own.seconds_pct) for name, own in by_cloth(SHEET)] == [
        ("BLA", Decimal("23.1")),
        ("HER", Decimal("42.9")),
    ]
    assert working(whole)[0].sum == "120 m ÷ 400 m"


names = st.sampled_from(["bar", "Bar ", "slub", "stain", ""])
rows_of = st.lists(
    st.builds(
        judged,
        st.integers(1, 90),
        cloth=st.sampled_from(["HER", "BLA"]),
        days=st.integers(0, 80),
        is_second=st.booleans(),
    ).flatmap(
        lambda row: st.lists(st.builds(fault, names, mm=st.integers(1, 400)), max_size=4).map(
            lambda own: Judged(row.piece, row.cloth, row.finished_on, row.length_m, row.is_second, tuple(own))
        )
    ),
    max_size=20,
)


@given(rows_of)
def test_the_causes_make_all_of_the_seconds(rows):
    whole, causes = share(rows), by_cause(rows)
    assert sum(one.length_m for one in causes) == whole.second_m
    assert sum(one.pieces for one in causes) == whole.second_pieces
    metres = [one.length_m for one in causes]
    assert metres == sorted(metres, reverse=True)
    if causes:
        assert causes[-1].so_far_pct == 100
        assert abs(sum(one.share_pct for one in causes) - 100) <= Decimal("0.3")
    for groups in (by_month(rows, Period(DAY, DAY + timedelta(80))), by_cloth(rows)):
        assert sum(own.second_m for _, own in groups) == whole.second_m
        assert sum(own.pieces for _, own in groups) == whole.pieces


# In the book

pytestmark = pytest.mark.django_db
TODAY = timezone.localdate()
PERIOD = Period(TODAY - timedelta(30), TODAY)


@pytest.fixture
def spec(db):
    return make_spec(cloth=make_cloth(code="HER", name="Herringbone"))


def perched(spec, planner, number: str, *, verdict: str, faults=()) -> Piece:
    """Measured 60 m finished today, its faults written, and judged."""
    piece = Piece.objects.create(
        number=number, spec=spec, woven_on=TODAY - timedelta(20), grey_length_m=64, grey_width_cm=160
    )
    return pieces.final_perch(
        piece,
        length_m=Decimal(60),
        width_cm=Decimal(150),
        mass_g=None,
        faults=faults,
        verdict=verdict,
        why="as agreed",
        by=planner,
    )


def test_the_perch_is_read_as_it_judged(spec, planner):
    perched(spec, planner, "118-1", verdict=Piece.SECOND, faults=[fault("Oil stain", mm=200)])
    perched(spec, planner, "118-2", verdict=Piece.PASS, faults=[fault("slub")])
    Piece.objects.create(number="118-3", spec=spec, woven_on=TODAY, grey_length_m=64, grey_width_cm=160)
    rows = seconds.judged(PERIOD)
    assert [(row.piece, row.is_second, row.length_m) for row in rows] == [("118-1", True, 60), ("118-2", False, 60)]
    assert (rows[0].cause, rows[0].cloth) == ("oil stain", "HER Herringbone")
    assert seconds.judged(Period(TODAY - timedelta(30), TODAY - timedelta(1))) == []


def test_the_page_the_csv_and_the_api_say_the_same(spec, planner, desk):
    perched(spec, planner, "118-1", verdict=Piece.SECOND, faults=[fault("=stain")])
    perched(spec, planner, "118-2", verdict=Piece.PASS)
    page = desk.get("/reports/seconds/").content.decode()
    assert "50.0\u00a0%" in page
    csv = desk.get("/reports/seconds/", {"csv": "causes"}).content.decode("utf-8-sig").splitlines()
    # A fault's name starts no formula in a spreadsheet.
    assert csv == ["Cause,Pieces,Metres (m),Share (%),So far (%)", "'=stain,1,60.00,100.0,100.0"]
    told = desk.get("/api/reports/seconds/").json()
    assert told["all"]["seconds_pct"] == "50.0"
    assert told["causes"][0]["name"] == "=stain"
    assert [row["piece"] for row in told["pieces"]] == ["118-1"]
    assert told["cloths"][0]["cloth"] == "HER Herringbone"


def test_an_empty_perch_is_told_where_to_judge(desk):
    page = desk.get("/reports/seconds/").content.decode()
    assert "No piece was judged at the final perch" in page
    assert f'href="{reverse("pieces")}"' in page


def test_more_pieces_ask_no_more_of_the_database(spec, planner, desk, django_assert_max_num_queries):
    perched(spec, planner, "118-1", verdict=Piece.SECOND, faults=[fault("stain")])
    with django_assert_max_num_queries(16) as asked:
        desk.get("/reports/seconds/")
    for n in range(2, 9):
        perched(spec, planner, f"118-{n}", verdict=Piece.SECOND, faults=[fault(f"stain {n}")] * 3)
    with django_assert_max_num_queries(len(asked)):
        assert "stain 8" in desk.get("/reports/seconds/").content.decode()
