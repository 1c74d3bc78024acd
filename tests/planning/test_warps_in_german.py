"""Warps, their yarn and beams, and the lots shared out to all of them, in German: nothing left over, figures right."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from mill import jobs, language, people
from mill.retold import told_again
from planning.models import JobTicket, Loom, Warp, WarpFigures
from planning.services import warps
from planning.services.warps import Share
from tests.german import forgotten
from tests.make import make_beam, make_delivery, make_line, make_loom, make_lot, make_spec, make_ticket, make_yarn

pytestmark = pytest.mark.django_db

# What the mill wrote, words that are the same in both, and the parts of a page that others put into German.
OWN = r"(MOSS|CREAM|B1|L1|Moss|Cream)\b.*|Name|min|DL ?\d+|881.*|904.*|\d+ min|.* h( .* min)?"


@pytest.fixture
def tweed(db):
    spec = make_spec(yarns={"A": make_yarn(code="MOSS", name="Moss"), "B": make_yarn(code="CREAM", name="Cream")})
    make_beam(code="B1")
    make_loom(code="L1")
    return spec


def planned(spec, planner, *, pieces=2, lines=1) -> Warp:
    made = [make_line(spec=spec, pieces=pieces, due_on=timezone.localdate() + timedelta(days=60)) for _ in range(lines)]
    warp = warps.make_warp([Share(line, pieces) for line in made], by=planner)
    jobs.settle()
    return warp


def plainly(response) -> str:
    return response.content.decode().replace("\u202f", " ").replace("\u00a0", " ").replace("&quot;", '"')


@pytest.mark.slow
def test_the_pages_of_a_warp_leave_nothing_in_english(desk, planner, tweed):
    warp, other = planned(tweed, planner, lines=2), planned(tweed, planner)
    make_line(spec=tweed, pieces=3, due_on=timezone.localdate() + timedelta(days=30))
    ticket = make_ticket(warp, by=planner)
    moss, cream = (entry.yarn for entry in tweed.colourway_yarns.order_by("letter"))
    make_lot(yarn=moss, grams=50_000, dye_lot="881")
    make_lot(yarn=moss, grams=9000, dye_lot="904")
    make_lot(yarn=cream, grams=500, dye_lot="904")
    make_delivery(yarn=cream)
    warps.reorder(warp, list(warp.parts.order_by("-position").values_list("pk", flat=True)), by=planner)
    warps.split(warp, after=3, by=planner)
    jobs.settle()
    assert JobTicket.objects.get(pk=ticket.pk).overtaken_why
    WarpFigures.objects.filter(warp=other).update(
        trouble="Loom L1 can't weave this: the reed space is 150.0 cm, the warp is 158.8 cm wide in the reed."
        " Choose another loom."
    )
    pages = [reverse("warps"), reverse("lot_shares")]
    for one in (warp, other):
        pages += [reverse(name, args=[one.number]) for name in ("warp", "warp_yarn", "warp_beam", "warp_place")]
    assert not forgotten(desk, planner, pages, own=OWN)


def test_what_stands_against_a_warp_has_the_figures_of_the_language(desk, planner, tweed):
    warp = planned(tweed, planner)
    people.speak(planner, language="de", by=planner)
    Loom.objects.update(reed_space_cm=Decimal("150.0"))
    Warp.objects.filter(pk=warp.pk).update(pin_loom=Loom.objects.get())
    WarpFigures.objects.update(is_stale=True)
    from planning.services import working_out

    working_out.rework_warps()
    kept = WarpFigures.objects.get(warp=warp)
    assert kept.trouble.startswith("Loom L1 can't weave this: the reed space is 150.0 cm")
    said = "Webstuhl L1 kann das nicht weben: die Blattbreite ist höchstens 150,0 cm"
    assert said in plainly(desk.get(reverse("warp", args=[warp.number])))
    assert said in plainly(desk.get(reverse("warps")))
    assert "being worked out" not in plainly(desk.get(reverse("warps")))


def test_short_yarn_is_told_with_its_grams_and_held_in_german(desk, planner, tweed):
    warp = planned(tweed, planner)
    people.speak(planner, language="de", by=planner)
    told = plainly(desk.post(reverse("warp_hold", args=[warp.number]), follow=True))
    assert f"Kette {warp.number}, Kettgarn CREAM, braucht" in told
    assert "0 g sind frei" in told
    told = plainly(desk.post(reverse("warp_draw", args=[warp.number]), follow=True))
    assert f"Kette {warp.number} braucht" in told
    assert "Reservieren Sie zuerst den Rest" in told
    for entry in tweed.colourway_yarns.all():
        make_lot(yarn=entry.yarn, grams=200_000, dye_lot="881")
    told = plainly(desk.post(reverse("warp_hold", args=[warp.number]), follow=True))
    assert f"Alles Garn für Kette {warp.number} ist reserviert." in told
    # The ledger keeps English.
    hold = warp.holds.select_related("reservation").first()
    assert hold.reservation.for_what.startswith(f"Warp {warp.number}, ")
    told = plainly(desk.post(reverse("warp_hold_lot", args=[warp.number]), {"use": "warp", "lot": "x"}, follow=True))
    assert "Partie: " in told


def test_a_sentence_of_any_room_that_was_kept_is_told_again():
    kept = (
        "Beam B1: the warp is 158.8 cm wide in the reed, the beam 150 cm between its flanges. "
        "Choose another beam, or split the warp.\nThe tuner is ill."
    )
    assert told_again(kept) == kept
    with language.speaking("de"):
        beam, ours = told_again(kept).split("\n")
        assert beam.startswith("Kettbaum B1: Die Kette steht 158,8 cm breit im Blatt, der Baum hat 150 cm")
        assert ours == "The tuner is ill."
        assert told_again("Its pieces went on Warp 7.") == "Die Stücke kamen auf Kette 7."
