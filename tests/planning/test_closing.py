"""Public holidays out of published tables, ticked and written as closures of the whole mill."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

import pytest
from django.urls import reverse

from mill.models import Mill
from mill.public_days import public_days
from mill.refusal import Refusal
from planning.models import Closure
from planning.services import closing
from planning.services.clock import mill_hours
from planning.worktime import Calendar

LONDON = ZoneInfo("Europe/London")

# The bank holidays of England and Wales, and of Scotland, in 2025, as the government of the United Kingdom lists
# them (bank holidays and British Summer Time); from memory.
ENGLAND_2025 = ["01-01", "04-18", "04-21", "05-05", "05-26", "08-25", "12-25", "12-26"]
SCOTLAND_2025 = ["01-01", "01-02", "04-18", "05-05", "05-26", "08-04", "12-01", "12-25", "12-26"]


@pytest.mark.parametrize(("place", "days"), [("GB-ENG", ENGLAND_2025), ("gb-sct", SCOTLAND_2025)])
def test_the_days_are_those_that_the_government_lists(place, days):
    # The tables also name the Sunday for which a Monday is given.
    assert [f"{one.day:%m-%d}" for one in public_days(place, 2025) if one.day.weekday() < 5] == days


@pytest.mark.parametrize(
    ("place", "year", "said"),
    [("Elsewhere", 2025, "names no country"), ("GB-XX", 2025, "they have ENG, NIR"), ("GB", 1999, "from 2000 to 2100")],
)
def test_what_no_table_has_is_refused(place, year, said):
    with pytest.raises(Refusal, match=said):
        public_days(place, year)


@pytest.mark.django_db
def test_a_holiday_is_a_day_on_which_nothing_is_woven(planner):
    (written,) = closing.close_on("GB-ENG", 2025, days=[date(2025, 12, 25)], by=planner)
    assert written.starts_at == datetime(2025, 12, 25, tzinfo=LONDON)
    assert written.stops_at == datetime(2025, 12, 26, tzinfo=LONDON)
    monday = datetime(2025, 12, 22, tzinfo=LONDON)
    hours = mill_hours("Mon-Fri 06:00-14:00", [written], epoch=monday)
    # Four days of eight hours: by the calendar of the loom and by hand.
    assert Calendar(hours.weekly, hours.closed, 7 * 24 * 60).worked(7 * 24 * 60) == 4 * 8 * 60


@pytest.mark.django_db
def test_a_day_is_closed_once_and_no_other_than_was_offered(planner):
    by_hand = Closure.objects.create(
        name="Shut from Christmas to New Year",
        starts_at=datetime(2025, 12, 24, 14, tzinfo=LONDON),
        stops_at=datetime(2026, 1, 2, 6, tzinfo=LONDON),
    )
    days = {one.day: one.closed_by for one in closing.days_off("GB-ENG", 2025)}
    assert days[date(2025, 12, 25)] == by_hand
    assert days[date(2025, 8, 25)] is None
    assert len(closing.close_on("GB-ENG", 2025, days=days, by=planner)) == 6
    assert closing.close_on("GB-ENG", 2025, days=days, by=planner) == []
    with pytest.raises(Refusal, match="25 July 2025 is no public holiday"):
        closing.close_on("GB-ENG", 2025, days=[date(2025, 7, 25)], by=planner)
    assert Mill.the_one().holidays_of == "GB-ENG"


@pytest.mark.django_db
def test_next_year_is_asked_for_from_october_where_a_place_was_said(planner):
    assert closing.year_to_write(date(2025, 11, 3)) is None
    closing.close_on("GB-SCT", 2025, days=[date(2025, 12, 1)], by=planner)
    assert closing.year_to_write(date(2025, 9, 30)) is None
    assert closing.year_to_write(date(2025, 10, 1)) == 2026
    closing.close_on("GB-SCT", 2026, days=[date(2026, 1, 2)], by=planner)
    assert closing.year_to_write(date(2025, 10, 1)) is None


@pytest.mark.django_db
def test_on_the_page_days_are_looked_up_then_ticked(desk):
    address = reverse("public_days")
    assert b"Look them up" in desk.get(address).content
    page = desk.get(address, {"country": "GB", "part": "ENG", "year": 2025}).content.decode()
    assert page.count('name="day"') == 8
    assert "names no" not in page
    asked = {"country": "GB", "part": "ENG", "year": 2025}
    assert "No day is ticked" in desk.post(address, asked).content.decode()
    assert "has no part" in desk.get(address, {**asked, "part": "??"}).content.decode()
    answer = desk.post(address, {**asked, "day": ["2025-05-05", "2025-08-25"]}, follow=True).content.decode()
    assert "2 closures written down" in answer
    assert Closure.objects.count() == 2
    assert desk.get(address, asked).content.decode().count('name="day"') == 6


@pytest.mark.django_db
def test_the_api_closes_on_all_of_them_or_on_those_named(desk):
    address = reverse("closure-public-days")
    sent = {"place": "GB-ENG", "year": 2025, "days": ["2025-05-05"]}
    assert len(desk.post(address, sent, content_type="application/json").json()) == 1
    assert len(desk.post(address, {"place": "GB-ENG", "year": 2025}, content_type="application/json").json()) == 7
    refused = desk.post(address, {"place": "Nowhere", "year": 2025}, content_type="application/json")
    assert refused.status_code == 400
    assert "names no country" in refused.json()["detail"]
