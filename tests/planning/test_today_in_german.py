"""Today, what is found, and what can be promised, in German: nothing is left in English, with German figures."""

import re
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.utils import timezone

from inventory import services as inventory
from mill import jobs, language, people, roles, signs
from mill.models import Change
from mill.refusal import Refusal
from planning.models import Piece, Slot, Warp
from planning.services import finding, plans, working_out
from planning.services.promise import cautions_told, links_told, promise
from planning.views.today import chapters
from tests.german import forgotten
from tests.make import (
    make_beam,
    make_delivery,
    make_line,
    make_loom,
    make_lot,
    make_place,
    make_spec,
    make_supplier,
    make_ticket,
    make_warp,
    make_yarn,
)

pytestmark = pytest.mark.django_db

# What a mill writes itself, signs and units.
OWN = r"Spinner \d+|Planner|.* (h|min|m|kg|cm)|[A-Z0-9/-]+\d+.*|Dobby rapier|Plan \d+"


@pytest.fixture
def german(desk, planner) -> Client:
    people.speak(planner, language="de", by=planner)
    return desk


def worked(*warps: Warp) -> None:
    with transaction.atomic():
        working_out.warps_changed([warp.pk for warp in warps])
    jobs.settle()


@pytest.fixture
def bad_morning(planner, settings, tmp_path) -> Warp:
    """An entry in nearly every chapter; the warp that the plan has late."""
    settings.BACKUPS_DIR = tmp_path
    Change.objects.create(at=timezone.now() - timedelta(days=5), kind="mill.mill", row_pk=1, what="~", history_id=1)
    today = timezone.localdate()
    yarn = make_yarn(supplier=make_supplier(lead_time_days=3))
    spec = make_spec(yarns={"A": yarn, "B": yarn})
    make_loom(code="L1")
    make_loom(code="L2")
    lines = [make_line(spec=spec, due_on=today + timedelta(days=n)) for n in (0, 1, 100)]
    late, wound, narrow = (make_warp(spec=spec, lines=[line]) for line in lines)
    worked(late, wound, narrow)
    plans.put_in_force(plans.make_plan(), by=planner)
    make_ticket(
        late, by=planner, overtaken_at=timezone.now() + timedelta(minutes=1), overtaken_why="Ticket 12 takes its place."
    )
    Warp.objects.filter(pk=wound.pk).update(state=Warp.WOUND)
    Slot.objects.filter(warp=wound).update(setup_starts_at=timezone.now() + timedelta(hours=2))
    Slot.objects.filter(warp__in=(late, narrow)).update(winding_on=today)
    plans.make_plan()
    make_line(due_on=today - timedelta(days=1))
    make_line(due_on=today + timedelta(days=5), spec=spec)
    make_delivery(number="PO9", yarn=yarn, ordered_g=1000, expected_on=today - timedelta(days=1))
    long_ago = today - timedelta(days=200)
    dark = make_place(is_dark=True)
    make_lot(label="P1", grams=12_340, is_shade_approved=False, place=dark, received_on=long_ago)
    inventory.quarantine(lot=make_lot(label="P2", grams=4_560), reason="Shade", by=planner)
    for number, state in (("P7-1", Piece.GREY), ("P7-2", Piece.GREY), ("P7-3", Piece.READY)):
        Piece.objects.create(
            number=number,
            spec=spec,
            line=lines[0],
            state=state,
            woven_on=today,
            grey_length_m=Decimal("61.5"),
            grey_width_cm=160,
        )
    return late


def said(title: str) -> list[tuple[str, ...]]:
    """The entries of a chapter as they are read in German."""
    with language.speaking("de"):
        (found,) = [row.entries for row in chapters() if row.title == title]
    return [(one.what, one.matter, one.act, one.effect) for one in found]


@pytest.mark.slow
def test_a_bad_morning_is_told_in_german_from_end_to_end_and_to_a_program_in_english(bad_morning, desk, planner):
    assert not forgotten(desk, planner, ["/"], own=OWN)
    day = signs.GERMAN.day_said(timezone.localdate() - timedelta(days=1), with_year=False)
    ((what, matter, act, _effect),) = said("Garn erwartet")
    assert (what, act) == ("PO9", "Einbuchen oder ohne sie umplanen")
    assert matter.endswith(f"sollte am {day} kommen")
    ((_what, matter, _act, effect),) = said("In Quarantäne")
    assert matter.endswith(" ist in Quarantäne: Shade")
    assert effect == "4,6 kg können nicht entnommen werden, bis sie freigegeben ist"
    ((_what, matter, _act, effect),) = said("Farbtöne zu vergleichen")
    assert ", 12,3 kg, eingegangen am " in matter
    late = [row for row in said("Verspätet nach dem Plan") if row[0] == f"Kette {bad_morning.number}"]
    assert re.match(r"auf Webstuhl L\d wird \d+ Tage verspätet fertig; abgewebt am .., ", late[0][1])
    ((what, matter, act, effect),) = said("Wartet auf die Ausrüstung")
    assert what == "Die Rohwarenschau"
    assert matter.startswith("2 Stück, 123 m, warten; zuerst P7-1, fällig am ")
    ((_what, matter, _act, _effect),) = said("Überholte Laufkarten")
    assert matter == f"von Kette {bad_morning.number}: Laufkarte 12 tritt an ihre Stelle."
    assert len(said("Fällig im Lager")) == 1
    told = desk.get("/api/today/").json()["chapters"]
    assert "Late by the plan" in {row["title"] for row in told}
    assert "Tell the customer" in {entry["act"] for row in told for entry in row["entries"]}


def test_a_book_that_is_begun_says_in_german_what_comes_next(german):
    page = german.get("/").content.decode()
    assert "Das Buch wird begonnen. Als Nächstes: <b>Name und Zahlen der Weberei</b>." in page


# What can be promised


def test_a_promise_is_told_in_german_and_kept_in_english(planner):
    make_loom(code="L1")
    make_beam(code="B1")
    yarn = make_yarn(code="GARN", supplier=make_supplier(lead_time_days=40))
    spec = make_spec(yarns={"A": yarn, "B": yarn})
    facts: dict[str, Any] = {"colourway": spec.cloth.colourways.get(), "pieces": 2, "length_m": Decimal(60)}
    told = promise(**facts)
    assert told.safe.chain[0].startswith(("The warp yarn GARN comes ", "The weft yarn GARN comes "))
    assert links_told(told.safe.chain) == list(told.safe.chain)
    with language.speaking("de"):
        assert re.fullmatch(r"Am .., .* kommt das (Kett|Schuss)garn GARN\.", told.safe.told[0])
        assert not set(told.safe.told) & set(told.safe.chain)
        assert told.cautions_told == [
            "Es gilt kein Plan: Der Tag ist gerechnet, als kämen die Ketten nach ihrem Liefertag dran."
        ]
        assert links_told(["Warp 1 of 2: wound by Tue 1 Dec, in its turn."]) == [
            "Kette 1 von 2: Geschärt bis Di, 1. Dez, der Reihe nach."
        ]
        assert cautions_told(["Not reckoned with, since no loom can be planned for it: warp 5, 6 and 7."]) == [
            "Nicht mitgerechnet, weil sich kein Webstuhl dafür planen lässt: Kette 5, 6 und 7."
        ]
    with pytest.raises(Refusal) as refused:
        promise(**facts | {"length_m": Decimal("9999.5")})
    with language.speaking("de"):
        assert refused.value.message.startswith("Ein Stück von 9999,5 m braucht ")


@pytest.mark.slow
def test_what_is_found_and_promised_is_german_and_a_thing_is_asked_for_in_either_language(bad_morning, desk, planner):
    colourway = bad_morning.parts.get().line.colourway_id
    words = f"colourway={colourway}&pieces=1&length_m=61,5"
    pages = ["/promise/", f"/promise/?{words}&due_on={timezone.localdate()}"]
    pages += [f"/promise/?{words}&due_on={date(2199, 1, 1)}", f"/promise/?colourway={colourway}&pieces=7&length_m=9999"]
    pages += ["/find/", "/find/?q=P", "/find/?q=Nirgends", "/find/?q=2", "/find/?q=L"]
    assert not forgotten(desk, planner, pages, own=OWN)
    with language.speaking("de"):
        for asked in (f"Kette {bad_morning.number}", f"warp {bad_morning.number}"):
            hit = finding.the_one(finding.find(asked, held=[roles.OWNER]))
            assert hit is not None
            assert (hit.title, hit.said) == (f"Kette {bad_morning.number}", "geplant")
