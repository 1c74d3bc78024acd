"""Today: each thing that is the matter stands there once, with the one thing to do about it."""

from datetime import date, timedelta

import pytest
from django.db import transaction
from django.utils import timezone

from inventory import services as inventory
from inventory.models import Delivery
from mill import jobs
from planning.models import Warp
from planning.services import plans, working_out
from tests.make import make_line, make_loom, make_spec, make_warp, make_yarn

pytestmark = pytest.mark.django_db


def test_an_empty_mill_is_told_where_to_begin(desk):
    assert b"The book is empty" in desk.get("/").content


def test_a_line_that_is_overdue_and_one_that_waits_stand_there(desk):
    today = timezone.localdate()
    overdue = make_line(due_on=today - timedelta(days=1))
    waiting = make_line(due_on=today + timedelta(days=5))
    far = make_line(due_on=today + timedelta(days=200))
    page = desk.get("/").content.decode()
    assert str(overdue) in page
    assert str(waiting) in page
    assert str(far) not in page


def test_a_late_warp_a_short_yarn_and_a_standing_loom_stand_there(desk, planner):
    yarn = make_yarn()
    spec = make_spec(yarns={"A": yarn, "B": yarn})
    make_loom(code="1")
    warp = make_warp(spec=spec, lines=[make_line(spec=spec, due_on=timezone.localdate())])
    with transaction.atomic():
        working_out.warps_changed([warp.pk])
    jobs.settle()
    plans.put_in_force(plans.make_plan(), by=planner)
    jobs.settle()
    page = desk.get("/").content.decode()
    assert f"{warp}</a> late by" in page
    assert f"{yarn}</a>" in page
    assert "kg short on" in page
    assert "Loom 1</a> stands" in page


def test_a_lot_in_quarantine_and_an_overdue_delivery_stand_there(desk, planner):
    yarn = make_yarn()
    lot = inventory.receive(yarn=yarn, grams=1000, label="L1", dye_lot="D", by=planner).lot
    inventory.quarantine(lot=lot, reason="webbing in a cone", by=planner)
    Delivery.objects.create(number="PO9", yarn=yarn, ordered_g=5, expected_on=date(2026, 1, 1))
    page = desk.get("/").content.decode()
    assert "webbing in a cone" in page
    assert "PO9" in page


def test_a_warp_that_cannot_be_woven_says_so(desk):
    spec = make_spec()
    warp = make_warp(spec=spec, lines=[make_line(spec=spec)])
    with transaction.atomic():
        working_out.warps_changed([warp.pk])
    jobs.settle()
    Warp.objects.filter(pk=warp.pk).update(loom=make_loom(reed_space_cm=50, code="N"))
    with transaction.atomic():
        working_out.warps_changed([warp.pk])
    jobs.settle()
    assert "Loom N can&#x27;t weave this" in desk.get("/").content.decode()


def test_it_takes_as_many_queries_for_many_as_for_few(desk, django_assert_max_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    today = timezone.localdate()
    make_line(due_on=today - timedelta(days=1))
    with CaptureQueriesContext(connection) as few:
        desk.get("/")
    for _ in range(9):
        make_line(due_on=today - timedelta(days=1))
    with django_assert_max_num_queries(len(few)):
        desk.get("/")
