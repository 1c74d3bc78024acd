"""Outlooks follow every change, in one job a burst, and the audit finds nothing."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory import services
from inventory.models import OutlookMark, YarnDemand, YarnOutlook
from mill import jobs
from mill.models import Job
from mill.refusal import Refusal
from tests.make import make_delivery, make_demand, make_fibre, make_lot, make_place, make_supplier, make_yarn

pytestmark = pytest.mark.django_db


def in_days(n):
    return timezone.localdate() + timedelta(n)


def outlook(yarn):
    jobs.settle()
    return YarnOutlook.objects.get(yarn=yarn)


def differences():
    return list(services.audit_differences())


def test_an_outlook_is_the_sheet_worked_by_hand():
    # As test_drawdown: 40 kg on hand, -30, +25 -20, -18: 3 kg wanting on the tenth day; 28 days to get 10 kg at least.
    yarn = make_yarn(supplier=make_supplier(lead_time_days=28), min_order_g=10_000)
    make_lot(yarn=yarn, grams=40_000)
    for day, grams, label in ((2, 30_000, "Warp 118"), (7, 20_000, "Warp 119"), (10, 18_000, "Warp 120")):
        make_demand(yarn=yarn, on=in_days(day), grams=grams, label=label)
    make_delivery(yarn=yarn, ordered_g=25_000, expected_on=in_days(7), number="D7")
    services.write_delivery(
        by=None, delivery=make_delivery(yarn=yarn, ordered_g=50_000, expected_on=in_days(15), number="D8"), changed=[]
    )
    worked = outlook(yarn)
    assert (worked.on_hand_g, worked.held_g, worked.incoming_g, worked.demand_g) == (40_000, 0, 75_000, 68_000)
    assert (worked.short_on, worked.short_g, worked.short_for) == (in_days(10), 3_000, "Warp 120")
    assert (worked.order_by, worked.order_g) == (in_days(-18), 10_000)
    assert [(day["day"], day["balance_g"]) for day in worked.days] == [
        (in_days(0).isoformat(), 40_000),
        (in_days(2).isoformat(), 10_000),
        (in_days(7).isoformat(), 15_000),
        (in_days(10).isoformat(), -3_000),
        (in_days(15).isoformat(), 47_000),
    ]
    assert differences() == []


def test_what_may_not_be_drawn_is_not_counted_on():
    yarn = make_yarn()
    lot = make_lot(yarn=yarn, grams=5000)
    make_lot(yarn=yarn, grams=700, is_shade_approved=False)
    services.reserve(lot=lot, grams=1200, for_what="Warp 1", by=None)
    assert (outlook(yarn).on_hand_g, outlook(yarn).held_g) == (5000, 1200)
    services.quarantine(lot=lot, reason="moth", by=None)
    assert (outlook(yarn).on_hand_g, outlook(yarn).held_g) == (0, 0)


def test_what_has_come_of_a_delivery_is_not_expected_again():
    yarn = make_yarn()
    delivery = make_delivery(yarn=yarn, ordered_g=20_000)
    lot = make_lot(yarn=yarn, grams=8_000, delivery=delivery)
    assert outlook(yarn).incoming_g == 12_000
    make_lot(yarn=yarn, grams=15_000, delivery=delivery)
    assert outlook(yarn).incoming_g == 0, "more came than was ordered"
    services.reverse(movement=lot.movements.get(), reason="not ours", by=None)
    assert outlook(yarn).incoming_g == 5_000
    delivery.is_closed = True
    services.write_delivery(by=None, delivery=delivery, changed=["is_closed"])
    assert outlook(yarn).incoming_g == 0


def test_a_burst_of_fifty_saves_is_worked_as_one():
    yarn = make_yarn()
    lot = make_lot(yarn=yarn, grams=5000)
    for _ in range(49):
        services.record_waste(lot=lot, grams=1, reason="oil", by=None)
    assert Job.objects.filter(task=services.REWORK_OUTLOOKS).count() == 1
    assert services.is_being_worked_out(yarn)
    assert jobs.settle() == 1
    assert not services.is_being_worked_out(yarn)
    assert YarnOutlook.objects.get(yarn=yarn).on_hand_g == 4951


def test_only_the_touched_yarns_are_worked():
    touched, other = make_yarn(), make_yarn()
    make_lot(yarn=touched)
    make_lot(yarn=other)
    jobs.settle()
    YarnOutlook.objects.update(short_g=777)
    with transaction.atomic():
        services.yarns_changed([touched.pk])
    jobs.settle()
    assert dict(YarnOutlook.objects.values_list("yarn", "short_g")) == {touched.pk: 0, other.pk: 777}


def test_more_yarns_than_one_job_takes_are_worked_by_the_next(monkeypatch):
    monkeypatch.setattr("inventory.services.outlooks.YARNS_PER_JOB", 2)
    yarns = [make_yarn() for _ in range(5)]
    for yarn in yarns:
        make_lot(yarn=yarn)
    assert jobs.settle() == 3
    assert YarnOutlook.objects.count() == 5
    assert not OutlookMark.objects.exists()


def test_the_working_takes_as_many_queries_for_fifty_yarns_as_for_five():
    def queries(n):
        yarns = [make_yarn() for _ in range(n)]
        for yarn in yarns:
            make_lot(yarn=yarn)
            make_demand(yarn=yarn, on=in_days(3), grams=50)
            make_delivery(yarn=yarn)
        with CaptureQueriesContext(
            connection,
        ) as asked:
            services.rework_outlooks([yarn.pk for yarn in yarns])
        return len(asked)

    assert queries(5) == queries(50)


def test_another_day_is_noticed_once(monkeypatch):
    yarn = make_yarn()
    make_lot(yarn=yarn)
    jobs.settle()
    assert services.day_changed() == 0
    monkeypatch.setattr("inventory.services.outlooks.timezone.localdate", lambda: in_days_of_real(1))
    assert services.day_changed() == 1
    jobs.settle()
    assert services.day_changed() == 0
    assert YarnOutlook.objects.get(yarn=yarn).days[0]["day"] == in_days_of_real(1).isoformat()
    assert differences() == [], "an outlook is right for the day on which it was worked"


def test_the_first_change_or_look_of_a_day_brings_every_outlook_to_it(monkeypatch, desk):
    yarns = [make_yarn(), make_yarn()]
    lots = [make_lot(yarn=yarn) for yarn in yarns]
    jobs.settle()

    def worked_for():
        return {row.worked_from[:10] for row in YarnOutlook.objects.all()}

    monkeypatch.setattr("inventory.services.outlooks.timezone.localdate", lambda: in_days_of_real(1))
    services.record_waste(lot=lots[0], grams=1, reason="oil", by=None)
    jobs.settle()
    assert worked_for() == {in_days_of_real(1).isoformat()}
    monkeypatch.setattr("inventory.services.outlooks.timezone.localdate", lambda: in_days_of_real(2))
    for _ in range(2):
        assert desk.get("/yarn/").status_code == 200
    assert OutlookMark.objects.count() == 2, "asked once"
    jobs.settle()
    assert worked_for() == {in_days_of_real(2).isoformat()}
    assert jobs.settle() == 0


_TODAY = timezone.localdate


def in_days_of_real(n):
    return _TODAY() + timedelta(n)


def test_the_audit_finds_what_was_tampered_with():
    yarn = make_yarn(code="P1")
    place, other = make_place(), make_place()
    lot = make_lot(yarn=yarn, label="A12", place=place)
    assert differences() == []
    assert services.being_worked_out()
    jobs.settle()
    assert differences() == []
    YarnOutlook.objects.update(on_hand_g=9001)
    assert differences() == ["Yarn P1: on_hand_g is 9001; worked afresh it is 9000."]
    services.rework_outlooks([yarn.pk])
    type(lot).objects.update(place=other)
    assert differences() == [f"Lot A12 lies in place {other.pk}; its lines put it in place {place.pk}."]
    type(lot).objects.update(place=place)
    YarnDemand.objects.create(
        yarn=yarn, use="warp", on=in_days(1), grams=5, source="warp:1", label="Warp 1", worked_from="x"
    )
    assert any("demand_g is 0; worked afresh it is 5" in said for said in differences())
    YarnDemand.objects.all().delete()
    YarnOutlook.objects.all().delete()
    assert differences() == ["Yarn P1 has no outlook, though it has 9000 g on hand or something ahead."]
    OutlookMark.objects.create(yarn=yarn)
    assert differences() == ["1 yarns wait for their outlook to be worked out, and no job is asked for it."]


def test_the_audit_says_how_much_it_compared():
    make_lot()
    audit = services.audit_differences()
    with pytest.raises(StopIteration) as done:
        next(audit)
    assert done.value.value == 3, "a line, a lot, a yarn"


# Records


def test_a_yarns_fibres_come_to_the_whole():
    wool, nylon = make_fibre(name="wool"), make_fibre(name="nylon", is_protein=False)
    yarn = make_yarn(code="P1", name="Peat")
    with pytest.raises(Refusal, match=r"^The fibres of P1 Peat come to 95 %, not to 100 %\. Change a share"):
        services.write_yarn(yarn=yarn, by=None, changed=[], shares={wool: Decimal(80), nylon: Decimal(15)})
    services.write_yarn(yarn=yarn, by=None, changed=[], shares={wool: Decimal(80), nylon: Decimal(20)})
    services.write_yarn(yarn=yarn, by=None, changed=[], shares={wool: Decimal(100)})
    assert list(yarn.shares.values_list("fibre__name", "share_pct")) == [("wool", Decimal(100))]


def test_a_changed_count_asks_for_the_warps_that_use_it_and_a_changed_supplier_does_not():
    yarn = make_yarn()
    yarn.supplier = make_supplier()
    services.write_yarn(yarn=yarn, by=None, changed=["supplier"], shares={})
    assert not Job.objects.filter(task=services.YARN_CHANGED).exists()
    yarn.count_tex = Decimal(200)
    services.write_yarn(yarn=yarn, by=None, changed=["count_tex"], shares={})
    assert Job.objects.get(task=services.YARN_CHANGED).payload == {"yarn": yarn.pk}


def test_only_what_was_changed_is_written():
    yarn = make_yarn(name="Peat")
    stale = type(yarn).objects.get(pk=yarn.pk)
    yarn.name = "Moss"
    services.write_yarn(yarn=yarn, by=None, changed=["name"], shares={})
    stale.min_order_g = 500
    services.write_yarn(yarn=stale, by=None, changed=["min_order_g"], shares={})
    yarn.refresh_from_db()
    assert (yarn.name, yarn.min_order_g) == ("Moss", 500)
    assert yarn.history.count() == 3


def test_a_suppliers_lead_time_moves_the_day_to_order():
    supplier = make_supplier(lead_time_days=10)
    yarn = make_yarn(supplier=supplier)
    make_demand(yarn=yarn, on=in_days(30), grams=500)
    assert outlook(yarn).order_by == in_days(20)
    supplier.lead_time_days = 25
    services.write_record(row=supplier, by=None, changed=["lead_time_days"])
    assert outlook(yarn).order_by == in_days(5)


def test_a_delivery_that_has_begun_to_come_keeps_its_yarn():
    delivery = make_delivery(number="D7", yarn=make_yarn(code="P1", name="Peat"))
    make_lot(yarn=delivery.yarn, delivery=delivery)
    delivery.yarn = make_yarn(code="M2", name="Moss")
    with pytest.raises(
        Refusal,
        match=r"^Delivery D7 has brought 1 lot of P1 Peat: it can't be of M2 Moss\. Write another delivery\.$",
    ):
        services.write_delivery(by=None, delivery=delivery, changed=["yarn"])


def test_a_number_given_twice_is_refused_in_words():
    make_delivery(number="D7")
    twice = make_delivery(number="D8")
    twice.number = "D7"
    with pytest.raises(Refusal, match=r"^Number: Delivery with this Number already exists\.$"):
        services.write_delivery(by=None, delivery=twice, changed=["number"])
