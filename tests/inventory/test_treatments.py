"""Treatments: held against the figures in print, lots barred meanwhile, released with what was measured.

In print: −20 °C or colder at the core for 6 to 10 days (Strang, in US National Park Service, Conserve O Gram 3/6); above
55 °C at the core. The hour of a heating is from memory.
"""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from inventory import services, treatment
from inventory.models import Movement, Treatment
from mill.refusal import Refusal
from tests.inventory.test_pages import in_days, opened, rows_of_csv, text_of, written
from tests.make import make_lot, make_place

pytestmark = pytest.mark.django_db
D = Decimal


@pytest.mark.parametrize(
    ("way", "core_c", "held_h", "is_met"),
    [
        ("freezing", "-20", "144", True),
        ("freezing", "-29.5", "240", True),
        ("freezing", "-19.9", "240", False),
        ("freezing", "-20", "143.9", False),
        ("heat", "55.1", "1", True),
        ("heat", "55", "24", False),
        ("heat", "60", "0.9", False),
        ("freezing", None, "144", False),
        ("heat", "60", None, False),
        ("licensed", None, None, None),
    ],
)
def test_what_was_measured_is_held_against_what_is_in_print(way, core_c, held_h, is_met):
    verdict = treatment.judge(way, core_c=core_c and D(core_c), held_h=held_h and D(held_h))
    assert verdict.is_met is is_met


def test_the_figures_say_where_they_are_from():
    freezing, heat = treatment.WAYS["freezing"], treatment.WAYS["heat"]
    assert (freezing.core_c, freezing.held_h) == (-20, 6 * 24)
    assert "Conserve O Gram 3/6" in freezing.source
    assert (heat.core_c, heat.held_h) == (55, 1)
    assert "from memory" in heat.says
    assert "from memory" in heat.source
    assert "licensed persons only" in " ".join(treatment.WAYS["licensed"].cautions)
    assert "condenses" in " ".join(freezing.cautions)
    assert "Fire" in " ".join(heat.cautions)


@pytest.mark.parametrize(
    ("way", "core_c", "held_h", "field"),
    [
        ("freezing", "20", "144", "target_core_c"),
        ("freezing", None, "144", "target_core_c"),
        ("freezing", "-20", None, "target_h"),
        ("freezing", "-20", "0", "target_h"),
        ("heat", "30", "1", "target_core_c"),
        ("heat", "180", "1", "target_core_c"),
    ],
)
def test_a_target_that_no_treatment_has_is_refused(way, core_c, held_h, field):
    with pytest.raises(Refusal) as refused:
        treatment.check_target(way, core_c=core_c and D(core_c), held_h=held_h and D(held_h))
    assert refused.value.field == field


# The verbs


def frozen(**changes):
    facts = {"way": "freezing", "target_core_c": D(-20), "target_h": D(144), "began_on": in_days(-8), "by": None}
    return services.begin_treatment(**{**facts, **changes})


def last_line(lot):
    return lot.movements.order_by("-seq").first()


def test_what_goes_into_the_freezer_can_not_be_drawn(planner):
    barred, free = make_lot(label="Q1"), make_lot(label="Q2")
    services.quarantine(lot=barred, reason="larvae", by=planner)
    row = frozen(lots=[barred, free], by=planner, key="k")
    assert last_line(free).reason == f"Into quarantine: {row}: freezing, core to −20 °C for 144 h"
    assert last_line(barred).reason == f"{row} began: freezing, core to −20 °C for 144 h"
    with pytest.raises(Refusal, match="is in quarantine"):
        services.draw_free(lot=free, grams=10, for_what="a sample", by=planner)
    lines = Movement.objects.count()
    assert frozen(lots=[barred, free], by=planner, key="k") == row
    assert (Treatment.objects.count(), Movement.objects.count()) == (1, lines)
    with pytest.raises(Refusal, match="written down already"):
        frozen(lots=[barred], key="k")


def test_all_of_a_place_is_what_lies_there(planner):
    place = make_place(code="B2")
    lots = [make_lot(place=place) for _ in range(2)]
    services.record_waste(lot=make_lot(place=place, grams=10), grams=10, reason="oil", by=None)
    row = frozen(place=place)
    assert set(row.lots.all()) == set(lots)
    with pytest.raises(Refusal, match="No yarn lies in"):
        frozen(place=make_place())
    with pytest.raises(Refusal, match="No lot is named"):
        frozen()


def test_a_treatment_that_meets_the_figure_is_released_with_it(planner):
    lot = make_lot()
    row = frozen(lots=[lot])
    with pytest.raises(Refusal, match="is under way since"):
        services.release_from_quarantine(lot=lot, reason="done", treatment=row, by=planner)
    row = services.end_treatment(
        treatment=row, ended_on=in_days(0), core_c=D("-22.5"), held_h=D(168), measured_how="probe in a cone", by=planner
    )
    assert row.verdict.is_met
    assert last_line(lot).reason == f"{row} over, freezing: core −22.5 °C for 168 h: meets −20 °C for 144 h"
    services.release_from_quarantine(lot=lot, reason="Looked over, clean.", treatment=row, by=planner)
    assert last_line(lot).reason == (
        f"Out of quarantine after treatment {row.pk}, freezing, core −22.5 °C for 168 h: meets −20 °C for 144 h. Looked over, clean."
    )
    lot.refresh_from_db()
    assert not lot.is_quarantined


def test_one_that_does_not_is_said_in_the_lots_life(planner):
    lot = make_lot()
    row = services.end_treatment(
        treatment=frozen(lots=[lot]), ended_on=in_days(0), core_c=D(-18), held_h=D(48), by=None
    )
    services.release_from_quarantine(lot=lot, reason="The mill's own judgement.", treatment=row, by=planner)
    assert "does not meet −20 °C for 144 h" in last_line(lot).reason


def test_a_treatment_of_another_lot_is_none_of_this_one(planner):
    lot, other = make_lot(), make_lot()
    row = services.end_treatment(
        treatment=frozen(lots=[other]), ended_on=in_days(0), core_c=D(-25), held_h=D(200), by=None
    )
    services.quarantine(lot=lot, reason="larvae", by=None)
    with pytest.raises(Refusal, match="was not of lot"):
        services.release_from_quarantine(lot=lot, reason="done", treatment=row, by=planner)
    with pytest.raises(Refusal, match="characters more than a line"):
        services.release_from_quarantine(lot=lot, reason="x" * 180, by=planner)


def test_it_ends_once_and_not_before_it_began(planner):
    row = frozen(lots=[make_lot()])
    with pytest.raises(Refusal, match="which is after today") as refused:
        services.end_treatment(treatment=row, ended_on=in_days(1), by=None)
    assert refused.value.field == "ended_on"
    with pytest.raises(Refusal, match="can't have ended on"):
        services.end_treatment(treatment=row, ended_on=in_days(-9), by=None)
    said = {"treatment": row, "ended_on": in_days(0), "core_c": D(-25), "held_h": D(150), "by": None}
    first = services.end_treatment(**said)
    lines = Movement.objects.count()
    assert services.end_treatment(**said) == first
    assert Movement.objects.count() == lines
    with pytest.raises(Refusal, match="Treat the lots again"):
        services.end_treatment(**{**said, "core_c": D(-26)})
    with pytest.raises(Refusal, match="which is after today"):
        frozen(lots=[make_lot()], began_on=in_days(1))


def test_all_its_lots_are_released_at_once_and_once(planner):
    lots = [make_lot() for _ in range(3)]
    row = services.end_treatment(
        treatment=frozen(lots=lots), ended_on=in_days(0), core_c=D(-25), held_h=D(150), by=None
    )
    assert services.release_treated(treatment=row, reason="clean", by=planner, key="tap") == 3
    assert services.release_treated(treatment=row, reason="clean", by=planner, key="tap") == 0
    assert not services.courses()


def test_a_lot_that_is_treated_again_is_the_later_treatments_to_let_out(planner):
    """Frozen, thawed and frozen again: the first treatment does not free what lies in the freezer."""
    once, twice = make_lot(label="Q1"), make_lot(label="Q2")
    first = services.end_treatment(treatment=frozen(lots=[once, twice]), ended_on=in_days(-2), by=None)
    again = frozen(lots=[twice], began_on=in_days(-1))
    assert [(row.pk, row.n_barred) for row in Treatment.objects.with_barred().order_by("pk")] == [
        (first.pk, 1),
        (again.pk, 1),
    ]
    with pytest.raises(Refusal, match=f"Treatment {again.pk} is under way since .* then release lot Q2"):
        services.release_from_quarantine(lot=twice, reason="clean", treatment=first, by=planner)
    with pytest.raises(Refusal, match="is under way since"):
        services.release_from_quarantine(lot=twice, reason="clean", by=planner)
    assert services.release_treated(treatment=first, reason="clean", by=planner, key="tap") == 1
    twice.refresh_from_db()
    assert twice.is_quarantined
    assert [course.pk for course in services.courses()] == [again.pk], "nothing more is asked of the first"
    services.end_treatment(treatment=again, ended_on=in_days(0), core_c=D(-25), held_h=D(20), by=None)
    assert services.release_treated(treatment=again, reason="clean", by=planner, key="tap 2") == 1


def test_a_core_holds_no_longer_than_the_treatment_was(planner):
    """Both its days are four and twenty hours: 6 days of a freezing are not over within two."""
    row = frozen(lots=[make_lot()], began_on=date(2026, 11, 3))
    said = {"treatment": row, "ended_on": date(2026, 11, 4), "core_c": D(-22), "by": None}
    with pytest.raises(Refusal, match="which is 48 h at most: its core can't have held for 144 h") as refused:
        services.end_treatment(**said, held_h=D(144))
    assert refused.value.field == "held_h"
    assert services.end_treatment(**said, held_h=D(48)).verdict.is_met is False


def test_a_night_on_which_the_clock_goes_back_has_an_hour_more(planner):
    row = frozen(lots=[make_lot()], began_on=date(2025, 10, 26))
    assert services.end_treatment(treatment=row, ended_on=date(2025, 10, 26), held_h=D(25), by=None).held_h == 25


def test_what_a_treatment_asks_for_is_due_on_its_day(planner):
    row = frozen(lots=[make_lot(label="Q1")], began_on=in_days(-6))
    (course,) = services.courses()
    assert (course.label, course.what, course.read_on) == (str(row), "freezing of lot Q1", in_days(0))
    services.end_treatment(treatment=row, ended_on=in_days(0), by=None)
    assert services.courses()[0].done_on == in_days(0)


# The pages


def test_a_lot_is_treated_from_its_page_to_its_release(desk):
    lot = make_lot(label="Q1", grams=9000)
    services.reserve(lot=lot, grams=500, for_what="Warp 118", by=None)
    services.quarantine(lot=lot, reason="larvae in two cones", by=None)
    assert 'href="/store/treatments/new/?lot=Q1"' in opened(desk, "lot", "Q1").content.decode()
    form = opened(desk, "treatment_new", lot="Q1")
    page = text_of(form)
    assert "ask a licensed pest controller near you" in page
    assert "Strang, in US National Park Service, Conserve O Gram 3/6" in page
    assert form.context["form"]["lots"].value() == [lot.pk]
    assert form.context["form"]["target_core_c"].value() == "-20"
    said = {"key": "tap", "lots": [lot.pk], "way": "freezing", "began_on": in_days(-7).isoformat(),
            "target_core_c": "−20", "target_h": "144", "done_by": "Hill Pest Control"}  # fmt: skip
    for _ in range(2):
        page = text_of(written(desk, "treatment_new", said=said))
        assert "lot Q1 can" in page
        assert "It is still held for Warp 118" in page
    row = Treatment.objects.get()
    assert (row.target_core_c, row.target_h, row.done_by) == (-20, 144, "Hill Pest Control")
    address = reverse("treatment", args=[row.pk])
    assert "Read the core of the freezing of lot Q1" in text_of(opened(desk, "store_due"))
    assert "Read the core of the freezing of lot Q1" in text_of(opened(desk, "today"))
    bad = {"act": "probe", "ended_on": in_days(-8).isoformat(), "core_c": "-22", "held_h": "150"}
    assert "can&#x27;t have ended on" in desk.post(address, bad).content.decode()
    page = text_of(written(desk, "treatment", row.pk, said={**bad, "ended_on": in_days(0).isoformat()}))
    assert "Core −22 °C for 150 h: meets −20 °C for 144 h." in page
    assert "Release 1 lot" in page
    page = text_of(opened(desk, "lot", "Q1"))
    assert f"{row}, freezing: core −22 °C for 150 h: meets −20 °C for 144 h" in page, "offered at the release"
    written(desk, "treatment", row.pk, said={"act": "release", "key": "r", "reason": "clean"})
    page = text_of(opened(desk, "lot", "Q1"))
    assert "meets −20 °C for 144 h. clean" in page
    assert f"Treated: {row}" in page
    (listed,) = rows_of_csv(opened(desk, "treatments", csv=1))
    assert (listed["Of"], listed["Against the published figure"], listed["State"]) == ("lot Q1", "meets it", "over")


def test_a_place_is_treated_as_a_whole_from_its_page(desk):
    place = make_place(code="B2")
    make_lot(label="A1", place=place)
    assert f"/store/treatments/new/?place={place.pk}" in opened(desk, "place", place.pk).content.decode()
    assert "A1" in text_of(opened(desk, "treatment_new", place=place.pk))
    said = {"key": "tap", "way": "heat", "began_on": in_days(0).isoformat(), "target_core_c": "58", "target_h": "2"}
    page = text_of(desk.post(f"{reverse('treatment_new')}?place={place.pk}", said, follow=True))
    assert "all of B2 can" in page
    assert "Treated as a whole" in text_of(opened(desk, "place", place.pk))


def test_a_wrong_treatment_is_told_why(desk):
    lot = make_lot(label="Q1")
    services.quarantine(lot=lot, reason="larvae", by=None)
    said = {"key": "k", "lots": [lot.pk], "way": "freezing", "began_on": in_days(0).isoformat(),
            "target_core_c": "20", "target_h": "144"}  # fmt: skip
    assert "A core of 20 °C is not frozen" in text_of(written(desk, "treatment_new", said=said))
    assert "This field is required" in text_of(written(desk, "treatment_new", said={**said, "lots": []}))
    assert not Treatment.objects.exists()
    assert desk.get(reverse("treatment_new"), {"place": "999"}).status_code == 404


def test_the_round_on_paper_says_what_to_turn_over(desk):
    place = make_place(code="B2", is_dark=True)
    make_lot(label="A12", place=place, received_on=timezone.localdate() - timedelta(days=120))
    page = text_of(opened(desk, "store_due"))
    assert "Turn over: A12." in page
    assert "Write down what was found in B2" in page
    assert "Pesticides are for licensed persons only." in page
