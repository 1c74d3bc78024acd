"""Cloths, their revisions and colourways in German: nothing left over, figures read and written with a comma."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from mill import people
from planning.models import ClothSpec, Loom, Reed
from planning.services import cloths
from tests.german import forgotten
from tests.make import make_line, make_loom, make_spec, make_ticket, make_warp, make_yarn

pytestmark = pytest.mark.django_db

# What the mill wrote, and words that are the same in both.
OWN = (
    r"(MOSS|CREAM|HILL|L1|Moss|Cream|Tweed|Sand)\b.*|Code|Name|Revision( \d)?|Rest|tex|(\d )?(scour|press|mill)"
    r"|[A-Z]\d+ .*|\(.*|DL.*|.* h( .* min)?"
)


@pytest.fixture
def tweed(db) -> ClothSpec:
    make_loom(code="L1")
    return make_spec(
        yarns={"A": make_yarn(code="MOSS", name="Moss"), "B": make_yarn(code="CREAM", name="Cream")},
        route=[("scour", "4", "5", "6"), ("press", "1", "1", "0")],
    )


def german(desk, person, address: str, data: dict[str, str] | None = None) -> str:
    people.speak(person, language="de", by=person)
    answer = desk.get(address) if data is None else desk.post(address, data, follow=True)
    return answer.content.decode().replace("\u202f", " ").replace("\u00a0", " ").replace("&quot;", '"')


@pytest.mark.slow
def test_the_pages_of_a_cloth_leave_nothing_in_english(desk, planner, tweed):
    cloth = tweed.cloth
    line = make_line(spec=tweed, due_on=timezone.localdate() + timedelta(days=60))
    make_line(spec=tweed, due_on=timezone.localdate() + timedelta(days=70))
    warp = make_warp(spec=tweed, lines=[line])
    make_ticket(warp, by=planner)
    draft = cloths.draft_of(cloths.latest_of(cloth))
    columns = {**draft.columns, "ends_per_dent": 5, "loom_picks_per_cm": Decimal("12.5"), "selvedge_ends": 40}
    cloths.revise(cloth, cloths.SpecDraft(columns, draft.route[:1], draft.colourways), by=planner, note="")
    Reed.objects.create(code="R1", dents_per_10cm=Decimal("63.5"), width_cm=Decimal("200"))
    make_loom(code="L2", reed_space_cm=Decimal("90.0"))
    colourway = line.colourway
    pages = [
        reverse("cloths"),
        reverse("cloth", args=[cloth.code]),
        f"{reverse('cloth', args=[cloth.code])}?revision=1",
    ]
    pages += [reverse(name, args=[cloth.code]) for name in ("cloth_edit", "colourway_new", "cloth_revise")]
    pages += [reverse("colourway_rename", args=[cloth.code, colourway.pk]), reverse("cloth_new")]
    pages.append(f"{reverse('cloth_new')}?like={cloth.code}")
    assert not forgotten(desk, planner, pages, own=OWN)


def test_what_a_revision_says_otherwise_has_the_figures_of_the_language(desk, planner, tweed):
    cloth = tweed.cloth
    draft = cloths.draft_of(cloths.latest_of(cloth))
    columns = {**draft.columns, "loom_picks_per_cm": Decimal("9.75"), "whole_repeats": True}
    cloths.revise(cloth, cloths.SpecDraft(columns, draft.route[:1], draft.colourways), by=planner, note="")
    page = german(desk, planner, reverse("cloth", args=[cloth.code]))
    assert "→ 9,75 je cm" in page
    assert "Ganze Rapporte: nein → ja" in page
    assert "Ausrüstung: scour, press → scour" in page
    assert "Press" not in page or "Masse" in page
    # What programs read stays English.
    said = desk.get(f"/api/cloths/{cloth.code}/", headers={"Accept-Language": "de"})
    assert "je cm" not in said.content.decode()


def test_a_loom_s_reason_and_a_caution_are_told_with_a_comma(desk, planner, tweed):
    Loom.objects.update(reed_space_cm=Decimal("90.5"))
    Reed.objects.create(code="R1", dents_per_10cm=Decimal("63.5"), width_cm=Decimal("200"))
    page = german(desk, planner, reverse("cloth", args=[tweed.cloth.code]))
    assert "die Blattbreite ist höchstens 90,5 cm, die Kette steht" in page
    assert "R1 (63,5 je 10 cm) kommt am nächsten" in page


def test_a_refused_code_and_an_order_that_cannot_be_read_are_answered_in_german(desk, planner, tweed):
    own = tweed.cloth
    told = german(desk, planner, reverse("cloth_new"), {"code": "X 1", "name": "Tweed", "warp_order": "A4 ("})
    assert '"(", an Stelle 4 der Folge: diese Klammer wird nicht geschlossen.' in told.replace("„", '"').replace(
        "“", '"'
    )
    address = reverse("cloth_edit", args=[own.code])
    make_line(spec=tweed)
    opened = desk.get(address).content.decode().split('name="opened" value="')[1].split('"')[0]
    told = german(desk, planner, address, {"code": own.code, "name": own.name, "opened": opened})
    assert "1 offene Auftragszeile" in told
