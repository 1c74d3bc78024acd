"""The store over the API: reads, and the four verbs that others send."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory import services
from inventory.models import Movement, YarnLot
from mill import jobs
from tests.make import make_delivery, make_demand, make_fibre, make_lot, make_place, make_supplier, make_yarn

pytestmark = pytest.mark.django_db


def got(desk, address, **words):
    response = desk.get(f"/api/{address}", words)
    assert response.status_code == 200, response.content
    return response.json()


def sent(desk, address, *, status, **said):
    response = desk.post(f"/api/{address}", said, content_type="application/json")
    assert response.status_code == status, response.content
    return response.json()


def test_the_api_is_closed_to_who_has_not_signed_in(client):
    lot = make_lot()
    for address in ("yarns/", "lots/", "movements/"):
        assert client.get(f"/api/{address}").status_code in (302, 401, 403)
    answer = client.post(f"/api/lots/{lot.pk}/correct/", {"key": "k", "to_g": 1, "reason": "x"}, "application/json")
    assert answer.status_code in (302, 401, 403)
    assert Movement.objects.count() == 1


def test_a_yarn_is_read_with_its_fibres(desk):
    yarn = make_yarn(code="P1", supplier=make_supplier(code="ALD"))
    services.write_yarn(yarn=yarn, by=None, changed=[], shares={make_fibre(name="wool"): 100})
    make_yarn(code="M2", is_in_use=False)
    (row,) = got(desk, "yarns/", code="P1")["results"]
    assert (row["code"], row["supplier"], row["count_tex"]) == ("P1", "ALD", "125.0000")
    assert row["fibres"] == [{"fibre": "wool", "share_pct": "100.00"}]
    assert [row["code"] for row in got(desk, "yarns/", is_in_use="false")["results"]] == ["M2"]


def test_an_outlook_is_read_day_by_day(desk):
    yarn = make_yarn(code="P1")
    assert desk.get(f"/api/yarns/{yarn.pk}/outlook/").status_code == 404
    make_lot(yarn=yarn, grams=9000)
    day = timezone.localdate() + timedelta(3)
    make_demand(yarn=yarn, on=day, grams=10_080, label="Warp 118")
    services.rework_outlooks([yarn.pk])
    outlook = got(desk, f"yarns/{yarn.pk}/outlook/")
    assert (outlook["short_on"], outlook["short_g"], outlook["short_for"]) == (day.isoformat(), 1080, "Warp 118")
    assert outlook["days"][1] == {
        "day": day.isoformat(), "in_g": 0, "out_g": 10_080, "balance_g": -1080, "labels": ["Warp 118"]
    }  # fmt: skip
    assert outlook["is_being_worked_out"] is True
    jobs.settle()
    assert got(desk, f"yarns/{yarn.pk}/outlook/")["is_being_worked_out"] is False
    assert [row["code"] for row in got(desk, "yarns/", short="true")["results"]] == ["P1"]
    assert got(desk, "yarns/", short="false")["results"] == []


def test_lots_are_read_with_their_balances_and_narrowed(desk):
    place = make_place(code="A1")
    lot = make_lot(label="A12", grams=9000, yarn=make_yarn(code="P1"), place=place, dye_lot="881")
    services.reserve(lot=lot, grams=9000, for_what="Warp 1", by=None)
    services.quarantine(lot=make_lot(label="Q2", dye_lot="904"), reason="moth", by=None)
    (row,) = got(desk, "lots/", label="A12")["results"]
    assert (row["on_hand_g"], row["held_g"], row["available_g"], row["place"]) == (9000, 9000, 0, "A1")
    for words, labels in (
        ({"yarn": "P1"}, ["A12"]),
        ({"place": "A1"}, ["A12"]),
        ({"dye_lot": "904"}, ["Q2"]),
        ({"is_quarantined": "true"}, ["Q2"]),
        ({"free": "true"}, ["Q2"]),
        ({"free": "false"}, ["A12"]),
    ):
        assert [row["label"] for row in got(desk, "lots/", **words)["results"]] == labels, words


def test_movements_are_read_in_the_order_they_were_written(desk):
    lot = make_lot(label="A12")
    services.record_waste(lot=lot, grams=5, reason="oil", by=None, key="mine")
    make_lot(label="B7")
    kinds = [row["kind"] for row in got(desk, "movements/", lot="A12")["results"]]
    assert kinds == ["receive", "waste"]
    assert [row["lot"] for row in got(desk, "movements/", kind="receive")["results"]] == ["A12", "B7"]
    (row,) = got(desk, "movements/", key="mine")["results"]
    assert (row["change_g"], row["on_hand_after_g"], row["reason"]) == (-5, 8995, "oil")
    later = (timezone.now() + timedelta(hours=1)).isoformat()
    assert got(desk, "movements/", since=later)["results"] == []
    assert len(got(desk, "movements/", until=later)["results"]) == 3


@pytest.mark.parametrize("address", ["yarns/", "lots/", "movements/"])
def test_a_list_takes_as_many_queries_for_thirty_rows_as_for_three(desk, address, planner):
    def queries():
        with CaptureQueriesContext(connection) as asked:
            got(desk, address)
        return len(asked)

    def add(n):
        for _ in range(n):
            lot = make_lot(yarn=make_yarn(supplier=make_supplier()), place=make_place(), by=planner)
            services.reserve(lot=lot, grams=10, for_what="Warp 1", by=planner)

    add(3)
    few = queries()
    add(27)
    assert queries() == few


def received(**changes):
    return {"key": "k1", "yarn": "P1", "grams": "20 kg", "label": "A12", "dye_lot": "881", **changes}


def test_yarn_is_received_once_by_its_key(desk, planner):
    delivery = make_delivery(number="D7", yarn=make_yarn(code="P1"))
    make_place(code="A1")
    said = received(delivery="D7", place="A1", packages=20)
    first = sent(desk, "lots/receive/", status=201, **said)
    assert (first["lot"], first["change_g"], first["by"], first["place_to"]) == ("A12", 20_000, "planner", "A1")
    assert sent(desk, "lots/receive/", status=201, **said) == first
    assert YarnLot.objects.get().delivery == delivery
    other = sent(desk, "lots/receive/", status=400, **{**said, "grams": 5})
    assert list(other["errors"]) == ["key"]


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"yarn": "X9"}, "yarn"),
        ({"grams": 0}, "grams"),
        ({"grams": "plenty"}, "grams"),
        ({"grams": 5_000_000_000}, "grams"),
        ({"label": ""}, "label"),
        ({"dye_lot": "d" * 41}, "dye_lot"),
        ({"measured_regain_pct": "101"}, "measured_regain_pct"),
        ({"received_on": "yesterday"}, "received_on"),
        ({"key": ""}, "key"),
        ({"packages": -1}, "packages"),
    ],
)
def test_what_can_not_be_read_is_said_by_field(desk, changes, field):
    make_yarn(code="P1")
    answer = sent(desk, "lots/receive/", status=400, **received(**changes))
    assert list(answer["errors"]) == [field]
    assert not YarnLot.objects.exists()


def test_yarn_is_drawn_out_of_its_hold_or_out_of_what_is_free(desk):
    lot = make_lot(label="A12", grams=9000)
    hold = services.reserve(lot=lot, grams=4000, for_what="Warp 118", by=None)
    drawn = sent(desk, f"lots/{lot.pk}/draw/", status=201, key="k1", grams=3000, reservation=hold.pk, packages=3)
    assert (drawn["change_g"], drawn["held_after_g"], drawn["for_what"]) == (-3000, 1000, "Warp 118")
    free = sent(desk, f"lots/{lot.pk}/draw/", status=201, key="k2", grams="1 kg", for_what="a sample")
    assert (free["change_g"], free["on_hand_after_g"]) == (-1000, 5000)
    no = sent(desk, f"lots/{lot.pk}/draw/", status=400, key="k3", grams=2000, reservation=hold.pk)
    assert no["detail"].startswith("1000 g of lot A12 are held for Warp 118; drawing 2000 g needs 1000 g more.")
    assert list(no["errors"]) == ["grams"]
    other = make_lot(label="B7")
    no = sent(desk, f"lots/{other.pk}/draw/", status=400, key="k4", grams=10, reservation=hold.pk)
    assert no["detail"] == f"Hold {hold.pk} is of lot A12, not of lot B7. Draw it there."


def test_part_cones_come_back_and_a_lot_is_corrected(desk):
    lot = make_lot(label="A12", grams=9000)
    hold = services.reserve(lot=lot, grams=4000, for_what="Warp 118", by=None)
    services.draw_down(reservation=hold, grams=4000, by=None)
    back = sent(desk, f"lots/{lot.pk}/return/", status=201, key="k1", grams=350, reservation=hold.pk, packages=1)
    assert (back["kind"], back["on_hand_after_g"]) == ("return", 5350)
    no = sent(desk, f"lots/{lot.pk}/return/", status=400, key="k2", grams=3651, reservation=hold.pk)
    assert "3651 g can't come back" in no["detail"]
    corrected = sent(desk, f"lots/{lot.pk}/correct/", status=201, key="k3", to_g=5000, reason="scales")
    assert (corrected["change_g"], corrected["reason"]) == (-350, "scales")
    assert list(sent(desk, f"lots/{lot.pk}/correct/", status=400, key="k4", to_g=5000, reason="scales")["errors"]) == [
        "grams"
    ]
    assert list(sent(desk, f"lots/{lot.pk}/correct/", status=400, key="k5", to_g=4000)["errors"]) == ["reason"]
    sent(desk, "lots/999999/correct/", status=404, key="k6", to_g=1, reason="x")


def test_a_hold_is_made_and_let_go_once_however_often_it_is_sent(desk):
    lot = make_lot(label="A12", grams=9000)
    said = {"key": "k1", "grams": "4 kg", "for_what": "Warp 118"}
    held = sent(desk, f"lots/{lot.pk}/hold/", status=201, **said)
    assert (held["kind"], held["held_change_g"], held["for_what"]) == ("hold", 4000, "Warp 118")
    assert sent(desk, f"lots/{lot.pk}/hold/", status=201, **said) == held
    no = sent(desk, f"lots/{lot.pk}/hold/", status=400, key="k2", grams=5001, for_what="Warp 119")
    assert "5000 g free" in no["detail"]
    other = make_lot(label="B7")
    no = sent(desk, f"lots/{other.pk}/let-go/", status=400, key="k3", reservation=held["reservation"])
    assert no["detail"] == f"Hold {held['reservation']} is of lot A12, not of lot B7. Let it go there."
    gone = sent(desk, f"lots/{lot.pk}/let-go/", status=201, key="k4", reservation=held["reservation"])
    assert (gone["held_change_g"], gone["held_after_g"]) == (-4000, 0)
    assert sent(desk, f"lots/{lot.pk}/let-go/", status=201, key="k4", reservation=held["reservation"]) == gone


def test_yarn_is_wasted_moved_and_a_line_taken_back(desk):
    lot, place = make_lot(label="A12", grams=9000), make_place(code="B2")
    wasted = sent(desk, f"lots/{lot.pk}/waste/", status=201, key="k1", grams=200, reason="oil")
    assert (wasted["change_g"], wasted["on_hand_after_g"]) == (-200, 8800)
    moved = sent(desk, f"lots/{lot.pk}/move/", status=201, key="k2", place="B2")
    assert (moved["place_to"], moved["change_g"]) == (place.code, 0)
    back = sent(desk, f"movements/{wasted['id']}/reverse/", status=201, key="k3", reason="it was another lot")
    assert (back["change_g"], back["reverses"], back["on_hand_after_g"]) == (200, wasted["id"], 9000)
    no = sent(desk, f"movements/{wasted['id']}/reverse/", status=400, key="k4", reason="again")
    assert "taken back" in no["detail"]
    assert list(sent(desk, f"lots/{lot.pk}/waste/", status=400, key="k5", grams=1)["errors"]) == ["reason"]
