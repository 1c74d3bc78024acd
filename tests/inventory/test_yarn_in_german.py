"""Yarn, lots and deliveries in German: whole pages, figures with a decimal comma, and a ledger that keeps English."""

from datetime import timedelta
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from inventory import services
from inventory.models import Movement, Reservation, YarnFibre, YarnLot
from inventory.yarn import read_count
from mill import jobs, language, people
from mill.refusal import Refusal
from planning.services import dye_lots
from tests.german import forgotten
from tests.make import make_delivery, make_demand, make_fibre, make_lot, make_place, make_supplier, make_yarn

pytestmark = pytest.mark.django_db
D = Decimal


@pytest.fixture
def german(desk, planner) -> Client:
    people.speak(planner, language="de", by=planner)
    return desk


def a_yarn_room_with_something_of_all(by: Any) -> SimpleNamespace:
    """A yarn that runs short; a lot with every kind of line, one in quarantine and one not approved; a claim."""
    today = timezone.localdate()
    yarn = make_yarn(supplier=make_supplier(), min_order_g=25_000)
    YarnFibre.objects.create(yarn=yarn, fibre=make_fibre(name="wool"), share_pct=100)
    came = make_delivery(yarn=yarn, supplier=yarn.supplier, ordered_g=31_000)
    make_delivery(yarn=yarn, supplier=yarn.supplier, expected_on=today - timedelta(3), dye_lot="F41")
    make_delivery(yarn=yarn, expected_on=today + timedelta(20))
    place = make_place()
    lot = make_lot(
        yarn=yarn, grams=20_000, delivery=came, packages=12, gross_g=22_000, measured_regain_pct=D("19.5"), place=place
    )
    said: dict[str, Any] = {"lot": lot, "by": by}
    hold = services.reserve(grams=9_000, for_what="Warp 7, warp yarn", **said)
    services.draw_down(reservation=hold, grams=4_000, by=by, packages=3, document="Warp 7")
    services.return_to_stock(grams=500, reservation=hold, packages=1, **said)
    services.record_waste(grams=100, reason="moth", **said)
    services.move(place=make_place(), **said)
    services.count(weighed_g=15_500, measured_regain_pct=D("12.5"), **said)
    line = services.correct(to_g=15_000, reason="miscounted", **said)
    services.reverse(movement=line, reason="miscounted", by=by)
    hers = make_lot(yarn=yarn, delivery=came)
    services.quarantine(lot=hers, reason="moth", by=by)
    make_lot(yarn=yarn, is_shade_approved=False)
    treated = services.begin_treatment(
        way="freezing", began_on=today - timedelta(7), by=by, lots=[hers], target_core_c=D("-22.5"), target_h=D(144)
    )
    services.end_treatment(treatment=treated, ended_on=today, by=by, core_c=D("-22.5"), held_h=D(150))
    services.release_from_quarantine(lot=hers, treatment=treated, reason="moth", by=by)
    services.quarantine(lot=hers, reason="moth", by=by)
    weighed: dict[int, tuple[int, Decimal | None]] = {lot.pk: (20_000, D("19.5")), hers.pk: (9_000, D(17))}
    claim = services.make_claim(delivery=came, invoiced_g=31_000, weighed=weighed, by=by, invoice="R 4711")
    make_demand(yarn=yarn, on=today + timedelta(5), grams=60_000)
    make_demand(yarn=yarn, on=today + timedelta(9), grams=20_000)
    jobs.settle()
    back = Movement.objects.get(kind=Movement.RETURN)
    return SimpleNamespace(yarn=yarn, lot=lot, hers=hers, hold=hold, came=came, claim=claim, back=back)


@pytest.mark.slow
def test_the_yarn_room_s_pages_are_whole_in_german(desk, planner):
    room = a_yarn_room_with_something_of_all(planner)
    yarn, lot, claim = f"/yarns/{room.yarn.code}/", f"/lots/{room.lot.label}/", f"/claims/{room.claim.number}/"
    delivery = f"/deliveries/{room.came.pk}/"
    pages = [
        "/yarn/",
        "/yarn/new/",
        yarn,
        f"{yarn}?late_by_days=3",
        f"{yarn}?sheet=worked",
        f"{yarn}edit/",
        f"{yarn}dye-lots/",
    ]
    pages += ["/lots/", lot, f"/lots/{room.hers.label}/", f"{lot}?cones={room.back.key}"]
    pages += [f"/yarn/receive/?delivery={room.came.number}", f"/lines/{room.back.pk}/take-back/"]
    pages += ["/yarn/labels/?copies=2", f"/lines/{room.back.pk}/labels/"]
    pages += ["/deliveries/", "/deliveries/new/", delivery, f"{delivery}claim/", "/claims/", claim, f"{claim}print/"]
    pages += ["/yarn/suppliers/", "/yarn/suppliers/new/", f"/yarn/suppliers/{room.yarn.supplier_id}/"]
    pages += ["/yarn/fibres/", "/yarn/fibres/new/", f"/yarn/fibres/{YarnFibre.objects.get().fibre_id}/"]
    own = r"Planner|Name|Bay \d+|Spinner \d+|moth\.?|miscounted|125 tex|[Tt]ex|(17 %, )?EU 1007/2011 .*|ISO 1144"
    own += r"|1 000 000 ÷ tex|: Y\d+ Shade \d+, 125 tex\."
    assert not forgotten(desk, planner, pages, own=own)


def test_the_ledger_is_kept_in_english_and_said_in_german(german, planner):
    room = a_yarn_room_with_something_of_all(planner)
    page = german.get(f"/lots/{room.lot.label}/").content.decode()
    assert "Kette 7, Kettgarn. " in page
    assert "Gewogen 15\u202f500 g bei 12,5 % Feuchtezuschlag, umgerechnet auf 17 %." in page
    kept = room.lot.movements.get(kind=Movement.COUNT)
    assert kept.reason == "Weighed 15\u202f500 g at 12.5 % regain, reckoned at 17 %."
    assert Reservation.objects.get(pk=room.hold.pk).for_what == "Warp 7, warp yarn"
    page = german.get(f"/lots/{room.hers.label}/").content.decode()
    number = room.hers.treatments.get().pk
    for said in (
        f"Behandlung {number} begonnen: Tiefkühlung, Kern auf −22,5 °C, 144 h lang",
        f"Behandlung {number} zu Ende, Tiefkühlung: Kern −22,5 °C, 150 h lang: erfüllt −20 °C, 144 h lang",
        f"Aus der Quarantäne nach Behandlung {number}, Tiefkühlung, Kern −22,5 °C, 150 h lang: erfüllt",
    ):
        assert said in page
    shown = german.get(f"/api/lots/{room.lot.label}/").json()
    assert "Kette" not in str(shown)


def test_a_form_takes_a_decimal_comma_and_refuses_in_german(german, planner):
    lot = make_lot(grams=9_000)
    said = {"key": "k1", "for_what": "Muster", "grams": "12,5"}
    page = german.post(f"/lots/{lot.label}/write/hold/", said).content.decode()
    no = f"Partie {lot.label} hat 9000 g frei; Muster braucht 12\u202f500 g. Wählen Sie eine andere Partie oder"
    assert no in page
    answer = german.post(f"/lots/{lot.label}/write/hold/", said | {"grams": "2,5"}, follow=True)
    assert f"Partie {lot.label}, Garn reserviert: 9,000 kg Bestand, 6,500 kg frei." in answer.content.decode()
    assert YarnLot.objects.with_balance().get(pk=lot.pk).held_g == 2_500


def test_what_a_delivery_does_and_what_is_short_is_said_in_german(german, planner):
    yarn = make_yarn()
    make_demand(yarn=yarn, on=timezone.localdate() + timedelta(3), grams=12_500)
    delivery = make_delivery(yarn=yarn, expected_on=timezone.localdate() + timedelta(2))
    typed = {"number": delivery.number, "yarn": yarn.pk, "ordered_g": "7,25", "expected_on": delivery.expected_on}
    page = german.post(f"/deliveries/{delivery.pk}/foresight/", typed).content.decode()
    assert f"7,3 kg {yarn} kommen noch, statt 20,0 kg." in page
    assert f"{yarn} wird dann knapp: Es fehlen 5,3 kg am " in page
    assert ", für Kette " in page
    assert (
        "<strong>36,9 tex</strong>, so gerechnet"
        in german.post("/yarn/count/", {"count_as_bought": "2/48 nw"}).content.decode()
    )


def test_a_picture_of_the_draw_down_has_its_points_as_every_browser_reads_them(german, planner):
    """A coordinate with a decimal comma would be two; what is said beneath has one."""
    room = a_yarn_room_with_something_of_all(planner)
    page = german.get(f"/yarns/{room.yarn.code}/").content.decode()
    picture = page[page.index("<svg viewBox") : page.index("</svg>", page.index("<svg viewBox"))]
    assert 'x1="64"' in picture
    assert not [word for word in picture.split('"')[1::2] if "," in word and word.replace(",", "").isdigit()]
    assert dye_lots.of_yarn(room.yarn)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("1.234 nw", "„1.234 nw“: 1.234 kann 1234 oder 1,234 heißen."),
        (
            "10 alloa",
            "„alloa“ hat mehrere Bedeutungen. Schreiben Sie 10 alloa-480 für Alloa, 11 520 yd per 24 lb; oder",
        ),
        ("0,5/0,5 nw", "„0,5/0,5 nw“ sagt nicht, ob 0,5 oder 0,5 die Fachung ist."),
    ],
)
def test_a_count_that_is_not_clear_is_refused_in_german(text, says):
    with language.speaking("de"), pytest.raises(Refusal) as no:
        read_count(text)
    with language.speaking("de"):
        assert no.value.message.startswith(says)
