"""A yarn's draw-down by dye lot on a mill's own records: holds first, then the lots shared out; page and API."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory import services as inventory
from inventory.models import Yarn, YarnLot
from mill import jobs
from planning.services import dye_lots, warp_yarn, warps
from planning.services.warps import Share
from tests.make import make_beam, make_delivery, make_line, make_lot, make_spec, make_supplier, make_yarn

pytestmark = pytest.mark.django_db


@pytest.fixture
def tweed(db):
    yarns = {"A": make_yarn(code="MOSS", name="Moss"), "B": make_yarn(code="CREAM", name="Cream")}
    return make_spec(yarns=yarns, warp_order="A4", weft_order="B4")


def put_on(spec, *, pieces=2, days=60):
    make_beam()
    line = make_line(spec=spec, pieces=pieces, due_on=timezone.localdate() + timedelta(days))
    warp = warps.make_warp([Share(line, pieces)], by=None)
    jobs.settle()
    return warp


def needs_g(warp, use="warp"):
    return warp.yarns.get(use=use).issue_g


def yarn(code):
    return Yarn.objects.get(code=code)


def by_name(code, **asked):
    return {one.name: one for one in dye_lots.of_yarn(yarn(code), **asked)}


def the_same_as_the_yarn(code):
    """The dye lots together end with what the yarn ends with."""
    (ahead,) = inventory.ahead_of([yarn(code).pk]).values()
    whole = ahead.work_out(timezone.localdate())
    assert sum(one.left_g for one in dye_lots.of_yarn(yarn(code))) == whole.days[-1].balance_g


def test_what_is_held_goes_out_of_the_dye_lot_that_holds_it(tweed, planner):
    warp = put_on(tweed)
    grams = needs_g(warp)
    make_lot(yarn=yarn("MOSS"), grams=grams + 5_000, dye_lot="OLD")
    lot = make_lot(yarn=yarn("MOSS"), grams=grams + 9_000, dye_lot="NEW")
    warp_yarn.hold_grams(warp, warp.yarns.get(use="warp"), YarnLot.objects.get(pk=lot.pk), grams, by=planner)
    jobs.settle()
    found = by_name("MOSS")
    assert (found["NEW"].held_g, found["NEW"].left_g) == (grams, 9_000)
    assert found["OLD"].left_g == grams + 5_000
    the_same_as_the_yarn("MOSS")


def test_what_is_not_held_yet_goes_as_the_lots_are_shared_out(tweed):
    first, second = put_on(tweed, days=40), put_on(tweed, days=90)
    grams = needs_g(first)
    make_lot(yarn=yarn("MOSS"), grams=grams + 100, dye_lot="F1")
    make_lot(yarn=yarn("MOSS"), grams=grams + 200, dye_lot="F2")
    found = by_name("MOSS")
    assert sorted(one.left_g for one in found.values()) == [100, 200]
    assert {label for one in found.values() for day in one.worked.days for label in day.labels} == {
        f"Warp {first.number}, not on a loom yet",
        f"Warp {second.number}, not on a loom yet",
    }
    the_same_as_the_yarn("MOSS")


def test_a_need_that_no_dye_lot_serves_runs_the_nearest_short(tweed):
    warp = put_on(tweed)
    grams = needs_g(warp)
    make_lot(yarn=yarn("MOSS"), grams=grams - 3_000, dye_lot="F1")
    make_lot(yarn=yarn("MOSS"), grams=grams - 9_000, dye_lot="F2")
    found = by_name("MOSS")
    assert (found["F1"].worked.short_g, found["F1"].worked.short_for) == (
        3_000,
        f"Warp {warp.number}, not on a loom yet",
    )
    assert found["F2"].worked.short_on is None
    the_same_as_the_yarn("MOSS")


def test_what_comes_of_a_dye_lot_that_is_named_adds_to_it_and_the_rest_stands_apart(tweed):
    warp = put_on(tweed)
    today, supplier = timezone.localdate(), make_supplier()
    facts = {"yarn": yarn("MOSS"), "supplier": supplier}
    make_lot(yarn=yarn("MOSS"), grams=1_000, dye_lot="F1")
    make_delivery(**facts, ordered_g=200_000, dye_lot="F1", expected_on=today + timedelta(2))
    make_delivery(**facts, ordered_g=7_000, expected_on=today + timedelta(3))
    jobs.settle()
    found = by_name("MOSS")
    assert found["F1"].worked.short_on is None
    assert found["F1"].left_g == 201_000 - needs_g(warp)
    assert found[""].left_g == 7_000
    late = by_name("MOSS", late_by_days=365)["F1"]
    assert late.worked.short_for == f"Warp {warp.number}, not on a loom yet"
    the_same_as_the_yarn("MOSS")


def test_the_page_and_the_api_tell_the_same_in_a_fixed_number_of_queries(tweed, desk):
    def asked():
        with CaptureQueriesContext(connection) as queries:
            page = desk.get("/yarns/MOSS/dye-lots/").content.decode()
        return page, len(queries)

    warp = put_on(tweed)
    make_lot(yarn=yarn("MOSS"), grams=needs_g(warp) - 3_000, dye_lot="F1")
    page, few = asked()
    assert "Dye lot</a> F1" in page
    assert "by 3.0 kg" in page
    assert "<svg" in page
    row = desk.get("/api/dye-lots/?yarn=MOSS").json()[0]
    assert (row["dye_lot"], row["worked"]["short_g"], row["left_g"]) == ("F1", 3_000, -3_000)
    assert row["days"][-1]["balance_g"] == -3_000
    for n in range(4):
        put_on(tweed, days=50 + n)
        make_lot(yarn=yarn("MOSS"), grams=50_000, dye_lot=f"G{n}")
    page, many = asked()
    assert page.count("<svg") >= 4
    assert many <= few + 1


def test_what_can_not_be_asked_is_said(tweed, desk):
    assert desk.get("/api/dye-lots/?yarn=NONE").status_code == 404
    answer = desk.get("/api/dye-lots/?yarn=MOSS&late_by_days=-1")
    assert answer.status_code == 400
    assert "late_by_days" in answer.json()["errors"]
    assert desk.get("/yarns/NONE/dye-lots/").status_code == 404
    page = desk.get("/yarns/MOSS/dye-lots/?late_by_days=x").content.decode()
    assert "Enter a whole number." in page
    assert 'value="x"' in page


def test_a_yarn_without_anything_says_so(desk):
    make_yarn(code="BARE", name="Bare")
    assert "none of it on hand" in desk.get("/yarns/BARE/dye-lots/").content.decode()
