"""Reports in German: whole pages, with something in each and with nothing, drawn with a decimal comma; CSV as ever."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone

from mill import language, people
from planning.forms.reports import PeriodForm
from planning.graph import FULL, Bar, columns_svg
from planning.models import Piece
from planning.period import Period
from planning.services import floor, plans
from planning.views.reports.deliveries import days
from planning.views.reports.page import pct
from tests.german import forgotten
from tests.make import make_cloth, make_customer, make_line, make_loom, make_order, make_spec
from tests.planning.floor_walk import make_worker, wound_warp
from tests.planning.test_punctuality import ready_pieces, send
from tests.planning.test_seconds import fault, perched
from tests.planning.test_thrums import woven_out

pytestmark = pytest.mark.django_db
PAGES = ("", "deliveries/", "load/", "efficiency/", "turnover/", "thrums/", "seconds/")
# The mill's own names, and what is written alike.
OWN = r"Ann|HER Herringbone|weft bar|min|.*\d (h|min)|\w+ 20\d\d|(Jan|Feb|Apr|Jun|Jul|Aug|Sep|Nov) \d\d.*"


@pytest.fixture
def german(desk, planner) -> Client:
    people.speak(planner, language="de", by=planner)
    return desk


@pytest.fixture
def a_mill(planner):
    """Lines sent late and early, a warp woven out, another in the loom as the floor told, seconds, and a plan in force."""
    today = timezone.localdate()
    spec = make_spec(cloth=make_cloth(code="HER", name="Herringbone"))
    for due, sent in ((9, 3), (2, 4)):
        row = make_line(spec=spec, order=make_order(customer=make_customer(name="Ann")), pieces=1, length_m=60)
        type(row).objects.filter(pk=row.pk).update(due_on=today - timedelta(due))
        row.refresh_from_db()
        send(row, ready_pieces(row, 1), days_ago=sent, by=planner)
    woven_out(planner, "63.00", spec=spec, loom=make_loom(code="6"))
    warp = wound_warp(planner, spec=spec, loom=make_loom(code="7"))
    una = make_worker(name="Una Bell")
    taps = (
        ("gaited", {}),
        ("started", {}),
        ("stopped", {"reason": "weft break"}),
        ("running", {}),
        ("piece off", {"length_m": Decimal(60)}),
    )
    for n, (kind, facts) in enumerate(taps):
        age = timedelta(hours=120 - 20 * n)
        assert floor.tell(warp, kind=kind, worker=una, key=str(n), by=planner, facts=facts, age=age).refused == ""
    perched(spec, planner, "99-1", verdict=Piece.SECOND, faults=[fault("weft bar", mm=300)])
    perched(spec, planner, "99-2", verdict=Piece.SECOND)
    plans.put_in_force(plans.make_plan(by=planner), by=planner)


@pytest.mark.slow
def test_every_report_is_whole_in_german(desk, planner, a_mill):
    assert not forgotten(desk, planner, [f"/reports/{name}" for name in PAGES], own=OWN)


@pytest.mark.slow
def test_a_report_of_nothing_is_whole_in_german(desk, planner):
    asked = "?from_day=2020-02-01&to_day=2020-03-01"
    pages = [f"/reports/{name}{asked if name else ''}" for name in PAGES]
    assert not forgotten(desk, planner, pages, own=OWN)


def test_a_report_is_written_with_a_comma_and_leaves_as_english_csv(german, a_mill):
    page = german.get("/reports/deliveries/").content.decode()
    assert "50,0\u00a0%" in page
    assert "6 Tage verspätet" in page
    assert "2 Tage zu früh" in page
    csv = german.get("/reports/deliveries/", {"csv": "how-late"}).content.decode("utf-8-sig").splitlines()
    assert csv[0] == "Sent,Lines,Share (%)"
    assert csv[4] == "up to a week late,1,50.0"


def test_a_picture_counts_in_the_language_of_its_page():
    bars = [Bar("Nov", ((FULL, Decimal("0.3")),))]
    with language.speaking("de"):
        drawn = columns_svg(bars, name="a", title="T", told="Told.", unit="%")
        assert (pct(Decimal("82.5")), days(Decimal("-1.5")), days(1)) == (
            "82,5\u00a0%",
            "1,5 Tage zu früh",
            "1 Tag verspätet",
        )
    assert ">0,1</text>" in drawn
    assert "<title>Nov: 0,3</title>" in drawn
    assert ">0.1</text>" in columns_svg(bars, name="a", title="T", told="Told.", unit="%")


def test_a_period_that_can_t_be_is_refused_in_german(german):
    answer = german.get("/reports/load/", {"from_day": "2026-11-25", "to_day": "2026-11-24"})
    assert answer.status_code == 422
    assert "Der Zeitraum beginnt am 25.11.2026 und endet am 24.11.2026." in answer.content.decode()
    day = timezone.localdate()
    with language.speaking("de"):
        form = PeriodForm({"from_day": "1066-10-14", "to_day": str(day)}, proposed=Period(day, day))
        assert form.errors["from_day"] == ["Das Jahr 1066 steht nicht im Buch: Schreiben Sie eines von 1900 bis 2199."]
