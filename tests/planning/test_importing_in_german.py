"""CSV in, in German: every kind's page is whole, what is wrong is said in German, and a file says the same as ever."""

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from mill import language, people
from planning.csv_book import COMMA, KINDS
from planning.models import Order
from planning.services import importing
from tests.german import forgotten, words_of
from tests.planning.test_importing import bring, said, text_of

pytestmark = pytest.mark.django_db
# What stands in files stays as it is: names of columns, and what their cells may say.
OF_FILES = {text for kind in importing.KINDS.values() for one in kind.columns for text in (one.name, one.example)}


@pytest.fixture
def german(desk, planner) -> Client:
    people.speak(planner, language="de", by=planner)
    return desk


@pytest.fixture
def book():
    """The mill of tests/data, brought in kind by kind while the page is German."""
    with language.speaking("de"):
        return {kind: bring(kind) for kind in KINDS}


def send(desk, kind: str, text: str, **words):
    file = SimpleUploadedFile(f"{kind}.csv", text.encode(), content_type="text/csv")
    return desk.post(f"/import/{kind}/", {"file": file, "decimal": "point", **words})


@pytest.mark.slow
def test_every_kind_of_file_is_told_in_german(desk, planner):
    own = "|".join(re.escape(text) for text in OF_FILES if text)
    assert not forgotten(desk, planner, ["/import/", *(f"/import/{kind}/" for kind in KINDS)], own=own)


def test_a_file_says_the_same_in_either_language(book):
    """12.5 of a file is 12.5, and never a hundred times as much: the page's own signs read nothing of it."""
    for kind in KINDS:
        again = bring(kind)
        assert (again.new, again.changed) == (0, 0), kind
        assert book[kind].new == again.same, kind
    assert str(book["yarns"]).startswith("Yarns: ")
    with language.speaking("de"):
        assert str(book["orders"]).startswith("Aufträge: ")


def test_what_is_wrong_is_said_in_german_and_to_programs_in_english(german, book):
    text = text_of("orders").replace(";", ",")
    head, first, *_ = text.splitlines()
    columns = head.split(",")
    cells = dict(zip(columns, first.split(","), strict=True)) | {
        "order": "N-1",
        "due_on": "03/04/2026",
        "pieces": "2.5",
    }
    wrong = f"{head}\n{','.join(cells[name] for name in columns)}\n"
    answer = send(german, "orders", wrong)
    assert answer.status_code == 422
    page = words_of(answer)
    assert "Aufträge: 2 Dinge sind falsch, also wird nichts davon eingelesen." in page
    assert any(one.startswith("„2.5“ ist keine ganze Zahl.") for one in page)
    assert any(one.startswith("„03/04/2026“ kann zwei Tage heißen") for one in page)
    assert not Order.objects.filter(number="N-1").exists()
    assert any(one.startswith('Row 2, due_on: "03/04/2026" can mean two days') for one in said("orders", wrong))


def test_a_header_that_is_wrong_is_one_german_sentence(german):
    page = send(german, "suppliers", "code,nam\nA,B\n").content.decode()
    assert (
        "Zeile 1, die die Spalten nennt: Es gibt keine Spalte „nam“. Meinten Sie name? Die Spalte name fehlt." in page
    )


def test_what_was_brought_in_is_said_in_german(german, book):
    page = send(german, "suppliers", text_of("suppliers"), is_check="on").content.decode()
    assert "Zeilen können eingelesen werden: 0 neu, 0 geändert," in page
    answer = send(german, "suppliers", "code,name\nNEU,Neue Spinnerei\n")
    assert answer.status_code == 302
    assert "Lieferanten: 1 neu, 0 geändert, 0 gleich." in german.get(answer["Location"]).content.decode()


def test_a_german_spreadsheet_s_own_file_is_read(german):
    text = "name;regain_pct;regain_authority\nWolle;18,25;EU 1007/2011 annex IX\n"
    answer = send(german, "fibres", text, decimal="comma")
    assert answer.status_code == 302
    with language.speaking("de"):
        assert bring("fibres", text, decimal=COMMA).same == 1
