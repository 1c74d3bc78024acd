"""The store and its care in German: whole pages, refusals with a decimal comma, and a book that keeps English."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone

from inventory import services, treatment
from inventory.models import Fibre, Movement, Place, Treatment, YarnFibre
from mill import language, people
from mill.models import Mill
from mill.refusal import Refusal
from mill.retold import retold
from tests.german import forgotten
from tests.make import make_fibre, make_lot, make_place, make_trap

pytestmark = pytest.mark.django_db
D = Decimal


@pytest.fixture
def german(desk, planner) -> Client:
    people.speak(planner, language="de", by=planner)
    return desk


def a_store_with_something_of_all(by) -> tuple[Place, Treatment, Treatment]:
    """A dark place with a spent trap, a find, and a lot long untouched; a treatment under way and one to be released."""
    today = timezone.localdate()
    place = make_place(is_dark=True)
    make_trap(place=place, lure_renewed_on=today - timedelta(days=90))
    other = make_place()
    for where in (place, other):
        lot = make_lot(place=where, received_on=today - timedelta(days=200))
        YarnFibre.objects.create(yarn=lot.yarn, fibre=make_fibre(is_protein=True), share_pct=100)
    services.inspect(place=place, on=today, by=by, found={"webbing_moths": 2})
    make_lot(place=None)
    before = today - timedelta(days=8)
    treated = [make_lot(place=place), make_lot(place=place)]
    under_way, done = (
        services.begin_treatment(
            way="freezing", began_on=before, by=by, lots=[lot], target_core_c=D("-22.5"), target_h=D(144)
        )
        for lot in treated
    )
    services.end_treatment(treatment=done, ended_on=today, by=by, core_c=D("-22.5"), held_h=D("150.5"))
    services.begin_treatment(way="licensed", began_on=before, by=by, place=other)
    return place, under_way, done


@pytest.mark.slow
def test_the_store_s_pages_are_whole_in_german(desk, planner):
    place, under_way, done = a_store_with_something_of_all(planner)
    trap = place.traps.get()
    at = f"/store/places/{place.pk}"
    pages = ["/store/", "/store/due/", "/store/triggers/", "/store/places/", "/store/places/new/", f"{at}/"]
    pages += [f"{at}/edit/", f"{at}/count/", f"{at}/count/sheet/", f"{at}/inspect/", "/store/traps/"]
    pages += ["/store/traps/new/", f"/store/traps/{trap.pk}/", "/store/treatments/", "/store/treatments/new/"]
    pages += [f"/store/treatments/new/?place={place.pk}", *(f"/store/treatments/{t.pk}/" for t in (under_way, done))]
    pages.append(f"/store/places/{Treatment.objects.get(way='licensed').place_id}/")
    own = r"Planner|Name|Bay \d+|\w+ 20\d\d|Tineola bisselliella|Tinea pellionella|Anthrenus|Strang, in US .*"
    own += r"|shade"
    assert not forgotten(desk, planner, pages, own=own)


def test_a_treatment_is_judged_in_german_and_the_book_keeps_english(german, planner):
    """The figure of the freezing is Strang's, −20 °C for 6 days, as in test_treatments."""
    _, under_way, done = a_store_with_something_of_all(planner)
    page = german.get(f"/store/treatments/{done.pk}/").content.decode()
    assert "Kern −22,5 °C, 150,5 h lang: erfüllt −20 °C, 144 h lang." in page
    said = {"act": "probe", "ended_on": f"{timezone.localdate()}", "core_c": "-18,5", "held_h": "210"}
    assert german.post(f"/store/treatments/{under_way.pk}/", said).status_code == 302
    page = german.get(f"/store/treatments/{under_way.pk}/").content.decode()
    assert "Kern −18,5 °C, 210 h lang: erfüllt nicht −20 °C, 144 h lang." in page
    line = Movement.objects.filter(lot__in=under_way.lots.all()).latest("seq")
    assert line.reason == (
        f"Treatment {under_way.pk} over, freezing: core −18.5 °C for 210 h: does not meet −20 °C for 144 h"
    )
    page = german.get("/store/").content.decode()
    assert f"Behandlung {done.pk}: Tiefkühlung, Kern auf −22,5 °C, 144 h lang" in page
    assert f"Treatment {done.pk}: freezing, core to −22.5 °C for 144 h" in str(
        done.lots.values_list("quarantine_reason", flat=True)
    )


@pytest.mark.parametrize("core_c", ["-20", "55.1"])
def test_every_verdict_that_is_kept_is_said_again_in_german(core_c):
    way = "freezing" if core_c.startswith("-") else "heat"
    for held_h in (D("0.5"), D(200)):
        verdict = treatment.judge(way, core_c=D(core_c), held_h=held_h)
        with language.speaking("de"):
            said = retold(verdict.said, treatment.VERDICTS)
        assert said.startswith(f"Kern {core_c.replace('-', '−').replace('.', ',')} °C")
        assert ("erfüllt nicht" in said) is not verdict.is_met
        assert ("über 55 °C, 1 h lang" in said) is (way == "heat")


def test_a_refusal_has_a_decimal_comma_and_a_minus(db):
    with pytest.raises(Refusal) as no:
        treatment.check_target("heat", core_c=D("-5.5"), held_h=D(1))
    assert str(no.value).startswith("A core of −5.5 °C is no heat to moth: above 55 °C at the core")
    with language.speaking("de"):
        assert no.value.message.startswith("Ein Kern von −5,5 °C ist für Motten keine Hitze: über 55 °C im Kern")


def test_why_a_lot_is_barred_is_said_in_german_where_it_is_refused(planner):
    _, _, done = a_store_with_something_of_all(planner)
    for verb, said in ((services.reserve, {"grams": 1, "for_what": "x"}), (services.quarantine, {"reason": "x"})):
        with pytest.raises(Refusal) as no:
            verb(lot=done.lots.get(), by=planner, **said)
        assert f"(Treatment {done.pk}: freezing, core to −22.5 °C for 144 h)" in str(no.value)
        with language.speaking("de"):
            assert f"(Behandlung {done.pk}: Tiefkühlung, Kern auf −22,5 °C, 144 h lang)" in no.value.message


def test_a_count_in_german_shows_its_differences_with_a_comma(german, planner):
    place = make_place()
    lot = make_lot(place=place, grams=10_000)
    page = german.post(
        f"/store/places/{place.pk}/count/", {"key": "k", "act": "look", f"weighed_{lot.pk}": "9,75"}
    ).content.decode()
    assert "−0,250" in page or "-0,250" in page
    german.post(f"/store/places/{place.pk}/count/", {"key": "k", "act": "post", f"weighed_{lot.pk}": "9,75"})
    assert "1 Partie aus" in german.get(f"/store/places/{place.pk}/").content.decode()


def test_why_a_place_is_due_is_said_in_german(german, planner):
    a_store_with_something_of_all(planner)
    today = timezone.localdate()
    page = german.get("/store/due/").content.decode()
    with language.speaking("de"):
        [found] = [one.why for one in services.due_in_the_store(Mill.the_one()) if one.is_urgent]
    assert found in page
    assert found.startswith(f"2 gefunden am {today.day}. ")
    assert found.endswith("handeln, dann noch einmal nachsehen.")
    assert Fibre.objects.exists()
