"""The mill's own pages in German: its figures, the small records of the shed, and what the floor has told."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from mill import by_the_clock, language, people
from mill.celery import app
from mill.labels import TASKS
from mill.laying_aside import EXAMPLE
from mill.models import Mill
from mill.refusal import Refusal
from planning.models import Closure, FloorEvent, Machine, Rate, Reed, ShiftPattern, Worker
from planning.services import floor
from planning.worktime import read_week
from tests.german import forgotten
from tests.make import make_beam, make_customer, make_loom
from tests.planning.floor_walk import make_worker, weaving_warp

pytestmark = pytest.mark.django_db

TASK_MODULES = {"inventory.tasks", "mill.tasks", "planning.tasks"}

# A word that is the same in both, what the mill wrote itself, and the name of a table.
OWN = (
    r"Name|English|Deutsch|Status|Stockport \d+|Person \d+|(ANN )?Anna|ANN|Paddle|scour|Mon-Fri .*|Two shifts|Candlebeck"
    r"|EU 1007/2011 annex IX|ASTM D1909|manage\.py start|.*Trade Fair|API"
)


def make_reed(**changes) -> Reed:
    return Reed.objects.create(**{"code": "R1", "dents_per_10cm": "42.3", "width_cm": "200"} | changes)


@pytest.fixture
def german(desk, planner):
    people.speak(planner, language="de", by=planner)
    return desk


@pytest.mark.slow
def test_the_figures_and_the_small_records_are_whole_in_german(desk, planner):
    loom = make_loom(code="7")
    now = timezone.now()
    rows = [
        make_reed(as_bought="Stockport 32"),
        make_beam(),
        loom.shift_pattern,
        Closure.objects.create(name="Trade Fair", starts_at=now, stops_at=now + timedelta(days=1)),
        Machine.objects.create(name="Paddle", step="scour", m_per_day="400"),
        Worker.objects.create(code="ANN", name="Anna", trade="mender"),
    ]
    make_worker(trade="warper", is_in_use=False)
    Closure.objects.create(name="Trade Fair", starts_at=now, stops_at=now + timedelta(days=1), loom=loom)
    pages = ["/mill/"]
    for many, row in zip(["reeds", "beams", "shift_patterns", "closures", "machines", "workers"], rows, strict=True):
        pages += [f"/mill/{many}/", f"/mill/{many}/new/", f"/mill/{many}/{row.pk}/"]
    assert not forgotten(desk, planner, pages, own=OWN)


@pytest.mark.slow
def test_the_beginning_of_a_book_is_whole_in_german(german, planner):
    Mill.objects.update_or_create(pk=1, defaults={"name": EXAMPLE})
    assert not forgotten(german, planner, ["/mill/beginning/"], own=OWN)
    Mill.objects.filter(pk=1).update(name="Weberei Tal")
    make_customer()
    page = german.get("/mill/beginning/").content.decode()
    assert "2 von 17 sind begonnen" in page
    assert "Alle aus ASTM D1909" in page
    no = german.post("/mill/beginning/lay-aside/", follow=True).content.decode()
    assert "Das ist das Buch von Weberei Tal, nicht das der Beispielweberei" in no


@pytest.mark.slow
def test_what_the_floor_told_is_whole_in_german(desk, planner):
    warp = weaving_warp(planner, loom=make_loom(code="7"))
    anna = make_worker(name="Anna")
    said: list[tuple[str, dict[str, Any]]] = [
        (FloorEvent.STOPPED, {"reason": "weft break"}),
        (FloorEvent.RUNNING, {}),
        (FloorEvent.PICKS, {"picks": 900}),
        (FloorEvent.PICKS, {"picks": 9_000_000}),
    ]
    told = [
        floor.tell(warp, kind=kind, worker=anna, key=f"k{n}", by=planner, facts=facts)
        for n, (kind, facts) in enumerate(said)
    ]
    assert [bool(one.refused) for one in told] == [False, False, False, True]
    floor.tell(warp, kind=FloorEvent.UNDONE, worker=anna, key="back", by=planner, undoes=told[2])
    assert not forgotten(desk, planner, ["/floor/told/"], own=OWN)
    page = desk.get("/floor/told/").content.decode()
    assert "steht: Schussbruch" in page
    assert ">zurückgenommen</td>" in page
    assert f"9000000 Schüsse sind mehr, als Kette {warp.number} hat" in page
    head, *lines = desk.get("/floor/told/?csv=1").content.decode().lstrip("\ufeff").splitlines()
    assert head == "When,Warp,Loom,Told,Who,Not done because,Taken back,Came"
    assert any(told[3].refused in line for line in lines)


def test_what_the_mill_can_not_write_down_is_said_in_german(german):
    answer = german.post(
        "/mill/beams/new/",
        {"code": "B7", "width_cm": "212,5", "barrel_mm": "300", "flange_mm": "250", "tare_kg": "45.5"},
    ).content.decode()
    assert "Eine Baumscheibe von 250 mm kann nicht über einem Baumrohr von 300 mm stehen." in answer
    reed = make_reed()
    answer = german.post(
        "/mill/reeds/new/", {"code": reed.code, "dents_per_10cm": "40", "width_cm": "200", "quantity": "1"}
    ).content.decode()
    assert "Ein Webblatt mit diesem Kürzel gibt es schon." in answer
    assert ">42,3<" in german.get("/mill/reeds/").content.decode()
    loom = make_loom(code="7")
    answer = german.post(
        f"/mill/shift_patterns/{loom.shift_pattern_id}/", {"act": "strike"}, follow=True
    ).content.decode()
    assert "kann nicht gestrichen werden: 7 hängt davon ab." in answer
    answer = german.post(
        "/mill/closures/new/", {"name": "Messe", "starts_at": "2027-12-03T06:00", "stops_at": "2027-12-02T06:00"}
    ).content.decode()
    assert "Sie beginnt am 03. Dez 06:00; lassen Sie sie danach enden." in answer


def test_hours_are_read_and_refused_in_german(german):
    answer = german.post("/mill/shift_patterns/new/", {"name": "Früh", "hours": "Mo-Fr 06:00-14:00"}, follow=True)
    assert "Früh ist eingetragen." in answer.content.decode()
    assert read_week(ShiftPattern.objects.get(name="Früh").hours) == read_week("Mon-Fri 06:00-14:00")
    wrong = {"name": "Spät", "hours": "Mo-Fr 14:00-22:00; Mi 13:00-15:00"}
    page = german.post("/mill/shift_patterns/new/", wrong).content.decode()
    assert "„Mi 13:00-15:00“ und „Mo-Fr 14:00-22:00“ überschneiden sich am Mi um 14:00." in page
    with pytest.raises(Refusal) as no:
        read_week("Frytag 06:00-14:00")
    with language.speaking("de"):
        assert no.value.message.endswith("Die Tage sind Mo, Di, Mi, Do, Fr, Sa, So.")
    assert str(no.value).endswith("The days are Mon, Tue, Wed, Thu, Fri, Sat, Sun.")


def test_another_currency_than_that_of_the_rates_is_refused_in_german(german, planner):
    Mill.objects.get_or_create(pk=1)
    form = german.get("/mill/").context["form"]
    figures = {name: "" if form[name].value() is None else form[name].value() for name in form.fields}
    page = german.post("/mill/", {**figures, "header_m": "0,75", "tuner_hours": "Mo-Fr"}).content.decode()
    assert "„Mo-Fr“ nennt keine Uhrzeiten." in page
    assert german.post("/mill/", {**figures, "header_m": "0,75"}).status_code == 302
    assert Mill.the_one().header_m == Decimal("0.75")
    Rate.objects.create(kind=Rate.MENDING, amount="30", from_on="2026-01-01")
    page = german.post("/mill/", {**figures, "currency": "EUR"}).content.decode()
    assert "1 Preis oder Satz steht in GBP; in EUR wäre er etwas anderes." in page
    assert "Schreiben Sie drei Großbuchstaben" in german.post("/mill/", {**figures, "currency": "eur"}).content.decode()


def test_every_work_in_the_background_has_its_name():
    """But those that are no row of the table: the one that works rows off, and the two that the clock alone sends."""
    app.loader.import_default_modules()
    ours = {name for name, task in app.tasks.items() if task.__module__ in TASK_MODULES}
    assert ours - {"mill.work_job", by_the_clock.PUT_BACK, by_the_clock.ASK} == set(TASKS)
