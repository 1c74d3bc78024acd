"""A working is kept in English and said in the language of the page: its rules, and the words among its figures."""

from datetime import date

import pytest
from django.utils.translation import gettext

from inventory import drawdown
from mill import language
from mill.said_working import UNITS, said, sum_said, words_said
from mill.working import FORMS, Step
from planning import formulae
from planning.models import JobTicket
from planning.reckoner import words
from planning.services import tickets
from planning.ticket import from_json
from tests.german import forgotten
from tests.planning.floor_walk import weaving_warp

# Units that are signs, said alike in both languages.
SIGNS = {"", "%", "cm", "m", "mm", "g", "kg", "g/m²", "g/m", "tex", "min", "h", "m/h", "yd/lb", "m/kg"}


@pytest.mark.parametrize(
    ("kept", "german"),
    [
        (
            "150 cm ÷ (1 − 8.5 %) × 63 ÷ 10 cm × 2, 34 repeats of 56",
            "150 cm ÷ (1 − 8,5 %) × 63 ÷ 10 cm × 2, 34 Rapporte zu 56",
        ),
        ("260 at A + 12 at B", "260 bei A + 12 bei B"),
        (
            "√(0.18² m² + 4 ÷ π × 33.4 kg ÷ (400 kg/m³ × 1.78 m))",
            "√(0,18² m² + 4 ÷ π × 33,4 kg ÷ (400 kg/m³ × 1,78 m))",
        ),
        (
            "26.959 kg (with waste, figures of Warp 118) × 9.5 GBP (in force from 1.3.2026)",
            "26,959 kg (mit Abfall, Werte von Kette 118) × 9,5 GBP (in Kraft ab 1.3.2026)",
        ),
        ("5.2 of 10.45, as 63.9 m of 127.8 m off the loom", "5,2 von 10,45, wie 63,9 m von 127,8 m vom Webstuhl"),
        (
            "64.5 kg (drawn, less what came back) × 9 GBP (the lot's own)",
            "64,5 kg (entnommen, weniger was zurückkam) × 9 GBP (der Partie eigener)",
        ),
        (
            "120 × s × (1 − 60 %) ÷ (1 − s), s = 4 %; a second fetches 60 % (in force from 1.3.2026) of its cost",
            "120 × s × (1 − 60 %) ÷ (1 − s), s = 4 %; zweite Wahl bringt 60 % (in Kraft ab 1.3.2026) ihrer Kosten",
        ),
        ("24.11.2026 13:00 (plan 3) − 120 min of loom D1.5", "24.11.2026 13:00 (Plan 3) − 120 min des Webstuhls D1.5"),
        ("MOS 2.25 × words that nobody marked", "MOS 2,25 × words that nobody marked"),
    ],
)
def test_a_kept_sum_has_its_words_and_its_decimal_sign_in_the_language_of_the_page(kept, german):
    assert sum_said(kept) == kept
    with language.speaking("de"):
        assert sum_said(kept) == german


@pytest.mark.parametrize(
    ("kept", "german"),
    [
        ("MOS without waste", "MOS ohne Abfall"),
        ("Yarn, weft MOS, lot A12", "Garn, Schuss MOS, Partie A12"),
        ("Share of line 2041/1 in weaving", "Anteil Zeile 2041/1 an: Weben"),
        ("Warp 118: Set-up of the loom", "Kette 118: Vorrichten des Webstuhls"),
        ("Count", "Feinheit"),
        (
            "ISO 7211-3: crimp is a share of the cloth's length",
            "ISO 7211-3: Die Einarbeitung ist ein Anteil der Stofflänge",
        ),
    ],
)
def test_a_label_is_known_by_its_form_and_a_name_in_it_stays(kept, german):
    with language.speaking("de"):
        assert words_said(kept) == german


def test_a_step_that_was_kept_as_plain_json_is_said_too():
    kept = {
        "name": "cones",
        "label": "Cones of MOS",
        "formula": "to issue ÷ a full cone, upwards",
        "sum": "5400 g ÷ 1000 g",
    }
    step = said(kept | {"value": "6", "kind": "int", "unit": "cones", "source": "by definition"})
    assert step == Step(**kept, value="6", unit="cones", source="by definition")
    with language.speaking("de"):
        step = said(step)
    assert (step.label, step.value, step.unit, step.source) == ("Konen von MOS", "6", "Konen", "per Definition")


def test_no_form_is_taken_for_another_one():
    """Every form, filled in, is known again as itself: what it says in German holds what was filled in."""
    with language.speaking("de"):
        for form in FORMS:
            places = [part.partition(")")[0] for part in form.split("%(")[1:]]
            filled = {name: str(7 + n) for n, name in enumerate(places)}
            said_so = (form % filled, gettext(form) % filled) if filled else (form, gettext(form))
            assert sum_said(said_so[0]) == said_so[1], form


def test_every_unit_is_a_sign_or_has_its_word():
    books = (*formulae.FORMULAE.values(), *formulae.COSTS.values(), *words.WORDS.values())
    assert {rule.unit for rule in books} - SIGNS <= set(UNITS)
    with language.speaking("de"):
        assert not [unit for unit in UNITS if str(UNITS[unit]) == unit]


def test_a_draw_down_is_reckoned_in_german():
    monday = date(2026, 11, 23)
    sheet = drawdown.work_out_drawdown(
        on_hand_g=9000,
        demands=[(date(2026, 11, 25), 10_080, "Warp 118")],
        deliveries=[],
        today=monday,
        lead_time_days=10,
        min_order_g=5000,
    )
    steps = drawdown.working(sheet, on_hand_g=9000, held_g=0, lead_time_days=10, min_order_g=5000)
    with language.speaking("de"):
        german = [said(step) for step in steps]
    assert [(step.label, step.sum) for step in german[2:]] == [
        ("Fehlt am 25.11.2026", "10080 g − 9000 g − 0 g"),
        ("Zu bestellen", "das Größere von 1080 g und 5000 g"),
        ("Zu bestellen bis", "25.11.2026 − 10 Tage"),
    ]


@pytest.mark.slow
def test_a_ticket_s_working_is_german_on_its_page_and_on_the_sheet_to_print(desk, planner):
    ticket = tickets.issue_ticket(weaving_warp(planner), by=planner)
    pages = [f"/tickets/{ticket.number}/", f"/tickets/{ticket.number}/?sheet=worked"]
    assert not forgotten(desk, planner, pages, own=r"Name|scour|press|.* h .* min|Shade.*")
    german = desk.get(pages[1]).content.decode()
    assert '<html lang="de"' in german
    assert "Zu schärende Länge" in german
    # By hand: 150 ÷ 0.9 ÷ 0.94 = 177.305 cm in the reed, × 4.23 dents to the cm = 750 dents of two ends.
    assert "150 cm ÷ (1 − 10 %) ÷ (1 − 6 %) × 42,3 ÷ 10 cm × 2, 750 Rohre" in german
    assert "1500 + 0" in desk.get(pages[0]).content.decode()
    figures = from_json(JobTicket.objects.get(number=ticket.number).figures)
    assert f"{figures.warp_length_m} m".replace(".", ",") in german
    assert "by definition" in {step.source for step in figures.working}, "the book keeps it in English"
