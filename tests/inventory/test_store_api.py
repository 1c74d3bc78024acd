"""Deliveries, claims and the store's care over the API: what pages do, others' programs do too."""

from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory import services
from inventory.models import Claim, Delivery, Inspection, Movement, Treatment
from mill import jobs
from tests.inventory.test_api import got, sent
from tests.inventory.test_pages import in_days, short_yarn
from tests.make import make_delivery, make_lot, make_place, make_supplier, make_trap, make_yarn

pytestmark = pytest.mark.django_db
LISTS = ("deliveries", "traps", "inspections", "treatments", "claims")


def day(n):
    return in_days(n).isoformat()


def test_the_lists_are_closed_to_who_has_not_signed_in(client):
    for name in LISTS:
        assert client.get(f"/api/{name}/").status_code in (302, 401, 403)


@pytest.mark.parametrize("name", LISTS)
def test_a_list_takes_as_many_queries_for_thirty_rows_as_for_three(desk, planner, name):
    def queries():
        with CaptureQueriesContext(connection) as asked:
            got(desk, f"{name}/")
        return len(asked)

    def add(n):
        for _ in range(n):
            place = make_place()
            delivery = make_delivery(yarn=make_yarn(), supplier=make_supplier())
            lot = make_lot(yarn=delivery.yarn, delivery=delivery, place=place, grams=9_000)
            make_trap(place=place)
            services.inspect(place=place, on=in_days(0), by=planner)
            services.begin_treatment(way="licensed", lots=[lot], began_on=in_days(0), by=planner)
            services.make_claim(
                delivery=delivery, invoiced_g=20_000, weighed={lot.pk: (9_000, Decimal(17))}, by=planner
            )

    add(3)
    few = queries()
    add(27)
    assert queries() == few


def test_a_delivery_is_written_once_by_its_key_and_changed(desk):
    make_yarn(code="P1")
    make_supplier(code="ALD")
    said = {"key": "k", "number": "PO 7", "yarn": "P1", "supplier": "ALD", "ordered_g": "25 kg", "expected_on": day(20)}
    first = sent(desk, "deliveries/", status=201, **said)
    assert (first["ordered_g"], first["outstanding_g"], first["supplier"]) == ("25000", 25_000, "ALD")
    assert sent(desk, "deliveries/", status=201, **said) == first
    assert Delivery.objects.count() == 1
    assert list(sent(desk, "deliveries/", status=400, **{**said, "ordered_g": 5})["errors"]) == ["key"]
    assert "already exists" in sent(desk, "deliveries/", status=400, **{**said, "key": "k2"})["detail"]
    address = f"/api/deliveries/{first['id']}/"
    answer = desk.patch(address, {"expected_on": day(30), "id": 99}, content_type="application/json")
    assert (answer.status_code, answer.json()["expected_on"]) == (200, day(30))
    assert [row["number"] for row in got(desk, "deliveries/", open="true", yarn="P1")["results"]] == ["PO 7"]
    assert got(desk, "deliveries/", open="false")["results"] == []


def test_what_a_delivery_would_do_is_asked_and_nothing_is_written(desk):
    short_yarn()
    jobs.settle()
    delivery = Delivery.objects.get(number="D7")
    (row,) = sent(desk, f"deliveries/{delivery.pk}/foresee/", status=200, expected_on=day(17))["yarns"]
    assert (row["yarn"], row["verdict"], row["is_worse"]) == ("P1", "shorter than now", True)
    assert (row["then"]["short_on"], row["then"]["short_g"], row["then"]["short_for"]) == (day(7), 10_000, "Warp 119")
    assert row["now"]["short_g"] == 3_000
    new = {"number": "D9", "yarn": "P1", "ordered_g": 12_000, "expected_on": day(9)}
    answer = sent(desk, "deliveries/foresee/", status=200, **new)
    assert (answer["yarns"][0]["verdict"], answer["lost"]) == ("no longer short", [])
    delivery.refresh_from_db()
    assert delivery.expected_on == in_days(7)
    assert not Delivery.objects.filter(number="D9").exists()


def test_an_inspection_counts_by_species_and_renews_lures(desk):
    make_trap(code="T1", place=make_place(code="B2"), lure_renewed_on=in_days(-60))
    said = {"key": "k", "place": "B2", "on": day(0), "found": {"webbing_moths": 2}, "renewed": ["T1"]}
    row = sent(desk, "inspections/", status=201, **said)
    assert (row["webbing_moths"], row["larvae"], row["by"]) == (2, 0, "planner")
    assert sent(desk, "inspections/", status=201, **said) == row
    assert Inspection.objects.count() == 1
    assert got(desk, "traps/")["results"][0]["lure_renewed_on"] == day(0)
    assert list(sent(desk, "inspections/", status=400, **{**said, "key": "k2", "on": day(1)})["errors"]) == ["on"]
    assert list(sent(desk, "inspections/", status=400, **{**said, "place": "X"})["errors"]) == ["place"]


def test_a_treatment_is_begun_ended_and_released(desk):
    make_lot(label="Q1")
    said = {"key": "k", "way": "freezing", "lots": ["Q1"], "began_on": day(-7), "target_core_c": "-20", "target_h": 144}
    row = sent(desk, "treatments/", status=201, **said)
    assert (row["lots"], row["verdict"]) == (["Q1"], None)
    assert "Conserve O Gram 3/6" in row["published_source"]
    assert sent(desk, "treatments/", status=201, **said) == row
    assert got(desk, "lots/", label="Q1")["results"][0]["is_quarantined"] is True
    address = f"treatments/{row['id']}"
    assert "is under way" in sent(desk, f"{address}/release/", status=400, key="r", reason="clean")["detail"]
    over = sent(desk, f"{address}/end/", status=200, ended_on=day(0), core_c="-21.5", held_h="150")
    assert over["verdict"] == {"is_met": True, "said": "core −21.5 °C for 150 h: meets −20 °C for 144 h"}
    sent(desk, f"{address}/release/", status=200, key="r", reason="clean")
    assert got(desk, "lots/", label="Q1")["results"][0]["is_quarantined"] is False
    assert Treatment.objects.count() == 1
    no = sent(desk, "treatments/", status=400, **{**said, "key": "k2", "target_core_c": "20"})
    assert list(no["errors"]) == ["target_core_c"]


def test_a_claim_is_made_sent_and_answered(desk):
    delivery = make_delivery(number="PO 7")
    make_lot(label="A12", yarn=delivery.yarn, delivery=delivery, grams=20_000, measured_regain_pct=Decimal(20))
    weighed = [{"lot": "A12", "weighed_g": "20 kg", "measured_regain_pct": "20"}]
    said = {"key": "k", "delivery": "PO 7", "invoiced_g": "20 kg", "weighed": weighed}
    # 20 000 x 117 / 120 = 19 500.
    row = sent(desk, "claims/", status=201, **said)
    assert (row["number"], row["due_g"], row["short_g"], row["said"]) == (1, 19_500, 500, "not sent yet")
    assert row["lots"] == [{"lot": "A12", "weighed_g": 20_000, "measured_regain_pct": "20.00", "due_g": 19_500}]
    assert row["steps"][1]["sum"] == "20000 × (1 + 17 %) ÷ (1 + 20 %)"
    assert sent(desk, "claims/", status=201, **said)["id"] == row["id"]
    address = f"claims/{row['id']}"
    assert sent(desk, f"{address}/send/", status=200, sent_on=day(0))["state"] == "sent"
    assert list(sent(desk, f"{address}/answer/", status=400, answered_on=day(0), allowed_g=501)["errors"]) == [
        "allowed_g"
    ]
    answered = sent(desk, f"{address}/answer/", status=200, answered_on=day(0), allowed_g=500)
    assert answered["said"].startswith("allowed whole")
    assert "any more" in sent(desk, f"{address}/drop/", status=400, answer="enough")["detail"]
    assert [one["number"] for one in got(desk, "claims/", state="allowed")["results"]] == [1]
    assert list(sent(desk, "claims/", status=400, **{**said, "key": "k2", "invoiced_g": 19_000})["errors"]) == [
        "invoiced_g"
    ]
    assert Claim.objects.count() == 1


def test_a_program_sees_what_a_count_would_change_before_it_is_written(desk):
    """9.7 kg at 13 % are 10.043 kg at 17 %, rounded down: 9700 × 1.17 ÷ 1.13. Of 300 g missing water explains 343."""
    place = make_place(code="A1")
    yarn = make_yarn(regain_pct=17)
    make_lot(label="A12", place=place, grams=10_000, yarn=yarn)
    make_lot(label="B7", place=place, grams=5_000, yarn=yarn)
    make_lot(label="C1", place=place, grams=1_000, yarn=yarn)
    make_lot(label="Z9", place=make_place(code="B2"), grams=1_000)
    weighed = [
        {"lot": "A12", "weighed_g": "9.7 kg", "measured_regain_pct": "13"},
        {"lot": "B7", "weighed_g": "4.9 kg"},
    ]
    before = Movement.objects.count()
    seen = sent(desk, f"places/{place.pk}/count/look/", status=200, weighed=weighed)
    assert [[one[name] for name in ("lot", "off_g", "explained_g", "left_g")] for one in seen["lots"]] == [
        ["A12", -300, -343, 43],
        ["B7", -100, 0, -100],
    ]
    assert (seen["together"]["left_g"], seen["uncounted"]) == (-57, 1)
    assert Movement.objects.count() == before
    stale = [{**weighed[0], "book_g": 9_999}, weighed[1]]
    said = sent(desk, f"places/{place.pk}/count/", status=400, weighed=stale, key="k")
    assert "had 9999 g in the book when its difference was shown" in said["detail"]
    weighed[0]["book_g"] = 10_000
    lines = sent(desk, f"places/{place.pk}/count/", status=201, weighed=weighed, key="k")
    assert sorted(line["change_g"] for line in lines) == [-100, 43]
    said = sent(desk, f"places/{place.pk}/count/look/", status=400, weighed=[{"lot": "Z9", "weighed_g": 5}])
    assert "doesn't lie in A1" in str(said)
