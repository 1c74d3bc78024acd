"""Lines sent whole, in time or late: by hand, by properties, in the book, on the page and over the API."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from mill.refusal import Refusal
from planning.models import OrderLine, Piece
from planning.period import MOST_DAYS, Period
from planning.punctuality import SentLine, by_band, by_customer, by_week, punctuality, working
from planning.services import dispatch
from planning.services.punctuality import not_told, overdue, sent_lines
from tests.make import make_customer, make_line, make_order, make_spec

MONDAY = date(2026, 11, 2)


def sent_line(*, due: int, sent: int, customer: str = "Ann", sent_m: int = 60) -> SentLine:
    """60 m with a tolerance of 2 %, due and sent so many days after that Monday."""
    due_on, sent_on = MONDAY + timedelta(due), MONDAY + timedelta(sent)
    return SentLine("O1/1", customer, due_on, sent_on, Decimal(60), Decimal(sent_m), Decimal(2))


# Worked by hand. First week: on the day; 2 days late; 2 early, and at 58 m under the 58.8 m that the tolerance allows.
# Second week: 9 days late. In time 2 of 4, 50 %. Days late -2, 0, 2, 9: in the middle (0 + 2) / 2 = 1.
SHEET = [
    sent_line(due=0, sent=0),
    sent_line(due=2, sent=4, customer="Bea"),
    sent_line(due=4, sent=2, sent_m=58),
    sent_line(due=0, sent=9, customer="Bea"),
]


def test_four_lines_by_hand():
    whole = punctuality(SHEET)
    assert (whole.lines, whole.on_time, whole.late, whole.short) == (4, 2, 2, 1)
    assert (whole.on_time_pct, whole.median_days, whole.worst_days) == (Decimal("50.0"), Decimal(1), 9)
    weeks = by_week(SHEET, Period(MONDAY, MONDAY + timedelta(20)))
    # 2 of 3 are 66.7 %; the third week has no line and is there all the same.
    assert [(week.lines, week.on_time_pct) for _, week in weeks] == [
        (3, Decimal("66.7")),
        (1, Decimal("0.0")),
        (0, None),
    ]
    assert [(name, own.late) for name, own in by_customer(SHEET)] == [("Bea", 2), ("Ann", 0)]
    assert [n for _, n, _ in by_band(SHEET)] == [0, 1, 1, 1, 1]
    assert working(whole)[0].sum == "2 ÷ 4"


def test_ten_days_late_are_10_in_a_spreadsheet_and_not_1e_1():
    ten = punctuality([sent_line(due=0, sent=10)] * 2)
    assert str(ten.median_days) == "10.0"


def test_no_line_has_no_share_and_shows_no_sum():
    nothing = punctuality([])
    assert (nothing.on_time_pct, nothing.median_days, nothing.worst_days) == (None, None, None)
    assert working(nothing) == ()


lines = st.lists(
    st.builds(sent_line, due=st.integers(-40, 40), sent=st.integers(0, 27), customer=st.sampled_from("ABC")),
    max_size=40,
)


@given(lines)
def test_on_time_and_late_are_all_however_they_are_taken_together(rows):
    whole = punctuality(rows)
    assert whole.on_time + whole.late == whole.lines == len(rows)
    for groups in (by_week(rows, Period(MONDAY, MONDAY + timedelta(27))), by_customer(rows)):
        assert sum(own.lines for _, own in groups) == whole.lines
        assert sum(own.on_time for _, own in groups) == whole.on_time
    bands = by_band(rows)
    assert sum(n for _, n, _ in bands) == whole.lines
    if rows:
        # Five shares, each to the nearest tenth.
        assert abs(sum(share for _, _, share in bands) - 100) <= Decimal("0.25")


def test_a_period_that_can_t_be_is_refused_with_both_numbers():
    with pytest.raises(Refusal, match=r"begins on 02\.11\.2026 and ends on 01\.11\.2026"):
        Period(MONDAY, MONDAY - timedelta(1))
    for day in (date.min, date.max):
        with pytest.raises(Refusal, match=f"The year {day.year} is not in the book"):
            Period(day, day)
    with pytest.raises(Refusal, match=f"has {MOST_DAYS + 1} days; {MOST_DAYS} can be"):
        Period(MONDAY, MONDAY + timedelta(MOST_DAYS))


# In the book

pytestmark = pytest.mark.django_db
TODAY = timezone.localdate()


def ready_pieces(row: OrderLine, n: int) -> list[Piece]:
    return [
        Piece.objects.create(
            number=f"{row}-{i}",
            spec=row.cloth.specs.get(),
            line=row,
            state=Piece.READY,
            woven_on=TODAY - timedelta(60),
            grey_length_m=64,
            grey_width_cm=160,
            finished_length_m=60,
            finished_width_cm=150,
        )
        for i in range(n)
    ]


def send(row: OrderLine, pieces, *, days_ago: int, by):
    return dispatch.send(
        row.order.customer, pieces, sent_on=TODAY - timedelta(days_ago), by=by, key=f"{row} {pieces[0]} {days_ago}"
    )


@pytest.fixture
def of_two_pieces(planner):
    """A line of two pieces, due 10 days ago: one left 12 days ago, the other 8 days ago."""
    order = make_order(customer=make_customer(name="Ann"))
    row = make_line(spec=make_spec(), order=order, pieces=2, length_m=60, due_on=TODAY - timedelta(10))
    first, second = ready_pieces(row, 2)
    send(row, [first], days_ago=12, by=planner)
    return row, second


PERIOD = Period(TODAY - timedelta(30), TODAY)


def test_a_line_counts_once_on_the_day_its_last_piece_left(of_two_pieces, planner):
    row, second = of_two_pieces
    assert sent_lines(PERIOD) == []
    assert overdue(TODAY)["lines"] == 1
    last = send(row, [second], days_ago=8, by=planner)
    (only,) = sent_lines(PERIOD)
    assert (only.sent_on, only.days_late, only.sent_m) == (TODAY - timedelta(8), 2, Decimal(120))
    assert (only.is_on_time, only.is_short) == (False, False)
    assert sent_lines(Period(TODAY - timedelta(30), TODAY - timedelta(9))) == []
    assert sent_lines(Period(TODAY - timedelta(9), TODAY)) == [only]
    assert overdue(TODAY)["lines"] == 0
    dispatch.take_back(last, why="It came back.", by=planner)
    assert sent_lines(PERIOD) == []


def test_what_was_sent_without_a_note_is_left_out_and_counted(db):
    make_line(spec=make_spec(), state=OrderLine.SENT, due_on=TODAY - timedelta(3))
    assert sent_lines(PERIOD) == []
    assert not_told(PERIOD) == 1


def test_the_page_the_csv_and_the_api_say_the_same(of_two_pieces, planner, desk):
    row, second = of_two_pieces
    send(row, [second], days_ago=8, by=planner)
    page = desk.get("/reports/deliveries/").content.decode()
    assert "0.0\u00a0%" in page
    assert "2 days late" in page
    asked = {"from_day": (TODAY - timedelta(30)).isoformat(), "to_day": TODAY.isoformat()}
    csv = desk.get("/reports/deliveries/", {**asked, "csv": "lines"}).content.decode("utf-8-sig").splitlines()
    assert csv[0] == "Line,Customer,Due,The last left,Late (days),Ordered (m),Sent (m),Short"
    assert csv[1].split(",")[:2] == [str(row), "Ann"]
    assert csv[1].split(",")[4] == "2"
    told = desk.get("/api/reports/deliveries/", asked).json()
    assert (told["all"]["lines"], told["all"]["late"], told["all"]["on_time_pct"]) == (1, 1, "0.0")
    assert [one["customer"] for one in told["customers"]] == ["Ann"]
    assert told["lines"][0]["days_late"] == 2


def test_a_customer_s_name_starts_no_formula_in_a_spreadsheet(of_two_pieces, planner, desk):
    row, second = of_two_pieces
    row.order.customer.name = "=1+1"
    row.order.customer.save()
    send(row, [second], days_ago=8, by=planner)
    csv = desk.get("/reports/deliveries/", {"csv": "customers"}).content.decode("utf-8-sig")
    assert "'=1+1" in csv


def test_an_empty_mill_is_told_what_is_missing(desk):
    page = desk.get("/reports/deliveries/").content.decode()
    assert "No line was sent whole in this period" in page
    assert f'href="{reverse("dispatches")}"' in page
    assert desk.get("/api/reports/deliveries/").json()["all"]["on_time_pct"] is None


def test_a_wrong_period_is_said_beside_its_field_and_to_programs(desk):
    asked = {"from_day": "2026-11-02", "to_day": "2026-11-01"}
    answer = desk.get("/reports/deliveries/", asked)
    assert answer.status_code == 422
    assert "Write a last day that comes after the first" in answer.content.decode()
    told = desk.get("/api/reports/deliveries/", asked)
    assert told.status_code == 400
    assert "to_day" in told.json()["errors"]
    assert desk.get("/reports/deliveries/", {"csv": "no such table"}).status_code == 404


def test_more_lines_ask_no_more_of_the_database(planner, desk, django_assert_max_num_queries):
    def one_more(n: int) -> None:
        order = make_order(number=f"Q{n}", customer=make_customer(name=f"Customer {n}", code=f"Q{n}"))
        row = make_line(spec=make_spec(), order=order, pieces=1, length_m=60, due_on=TODAY - timedelta(n))
        send(row, ready_pieces(row, 1), days_ago=1, by=planner)

    one_more(1)
    with django_assert_max_num_queries(20) as asked:
        desk.get("/reports/deliveries/")
    for n in range(2, 12):
        one_more(n)
    with django_assert_max_num_queries(len(asked)):
        assert "Customer 11" in desk.get("/reports/deliveries/").content.decode()


@pytest.mark.parametrize("name", ["deliveries", "load", "efficiency", "turnover", "thrums", "seconds"])
@pytest.mark.parametrize("day", ["0001-01-01", "1900-01-01", "2199-12-31", "9999-12-31"])
def test_no_day_is_too_far_off_for_a_report(desk, name, day):
    asked = {"from_day": day, "to_day": day}
    assert desk.get(f"/reports/{name}/", asked).status_code in {200, 422}
    assert desk.get(f"/api/reports/{name}/", asked).status_code in {200, 400}
