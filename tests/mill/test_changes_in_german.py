"""What every list, form and account of the book says round its records, in German."""

from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction
from django.test import Client

from mill import changes, labels, language, people
from mill.management.commands import gather_words
from mill.meanwhile import Meanwhile, unmoved
from planning.forms.measures import FaultsField, ReedField, WholeField
from planning.models import Loom
from planning.services import looms
from tests.german import forgotten
from tests.make import make_loom

pytestmark = pytest.mark.django_db


@pytest.fixture
def german(desk, planner) -> Client:
    people.speak(planner, language="de", by=planner)
    return desk


def test_every_kind_of_record_and_every_column_that_is_told_has_a_german_name():
    german = gather_words.read("de", "django")
    for kind, model in changes.kept().items():
        assert german.get(changes.kind_said(kind)), kind
        for field in changes._fields(changes._history(model)):
            label = changes._label(field)
            assert field.name in labels.WORDS or german.get(label.partition(" (")[0]), label


def test_what_became_of_a_loom_is_told_in_german_and_its_csv_as_ever(german, planner):
    loom = make_loom(code="R2", reed_space_cm="190")
    changes.update(Loom.objects.filter(pk=loom.pk), by=planner, why="From a CSV file.", reed_space_cm=Decimal("187.5"))
    looms.hold_loom(loom, reason="Frame cracked", by=planner)
    page = german.get(f"/mill/changes/planning.loom/{loom.pk}/").content.decode()
    assert "<h1>Änderungen: Webstuhl R2</h1>" in page
    assert "<div>Blattbreite (cm): <del>190</del> <ins>187,5</ins></div>" in page
    assert "Aus einer CSV-Datei." in page
    assert "<div>Gesperrt: <del>nein</del> <ins>ja</ins></div>" in page
    assert "Frame cracked" in page
    table = german.get(f"/mill/changes/planning.loom/{loom.pk}/?csv=1").content.decode()
    assert "Reed space (cm): 190 to 187.5" in table
    assert "From a CSV file." in table


@pytest.mark.slow
def test_nothing_of_the_account_is_left_in_english(desk, planner):
    loom = make_loom(code="R2")
    looms.hold_loom(loom, reason="Shade of its own", by=planner)
    pages = ["/mill/changes/", f"/mill/changes/planning.loom/{loom.pk}/", "/mill/changes/?kind=planning.ruling"]
    own = rf"{planner.get_username()}|{planner.get_full_name()}|Name|Jacquard|Person|Two shifts|.*Shade.*"
    assert not forgotten(desk, planner, pages, own=own)


def test_a_kind_of_record_is_chosen_by_its_german_name(german):
    page = german.get("/mill/changes/?kind=planning.loom").content.decode()
    assert '<option value="planning.loom" selected>Webstuhl</option>' in page


@pytest.mark.parametrize(
    ("field", "typed", "no"),
    [
        (WholeField(), "7,5", "7,5 gibt es nicht: Schreiben Sie eine ganze Zahl."),
        (FaultsField(), "3", "„3“ ist kein Fehler. Schreiben Sie seine Stelle und seine Länge, etwa 3,2 m: 240 mm."),
        (FaultsField(), "1 m: 2 cm;" * 301, "Das sind 301 Fehler. Schreiben Sie höchstens 300."),
        (ReedField(), "401", "401 Rohre je 10 cm ist zu viel: Schreiben Sie 400 Rohre je 10 cm oder weniger."),
    ],
)
def test_what_a_weaver_s_field_refuses_is_said_with_the_figures_of_the_language(field, typed, no):
    with language.speaking("de"), pytest.raises(ValidationError) as refused:
        field.clean(typed)
    assert refused.value.messages == [no]


def test_a_reed_that_stands_in_a_german_field_is_read_as_it_stands():
    field = ReedField()
    with language.speaking("de"):
        shown = field.prepare_value(Decimal("63.5"))
        assert shown == "63,5 je 10 cm"
        assert field.clean(shown) == Decimal("63.5")
        faults = FaultsField().clean("3,2 m: 240 mm; 41 m: 2 in Loch")
        assert [(one.at_m, one.length_mm, one.is_hole) for one in faults] == [
            (Decimal("3.2"), Decimal(240), False),
            (Decimal(41), Decimal("50.8"), True),
        ]


def test_who_was_second_is_told_so_in_german_and_a_program_in_english():
    loom = make_loom(code="R2")
    with pytest.raises(Meanwhile) as refused, transaction.atomic():
        unmoved(loom, "1000")
    with language.speaking("de"):
        assert refused.value.message.startswith("R2 ist inzwischen geändert: Es gilt jetzt Fassung")
    assert str(refused.value).startswith("R2 was changed meanwhile: it is version")
