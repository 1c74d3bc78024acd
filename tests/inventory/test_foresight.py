"""Before it is saved: what a delivery would do to its yarn. The sheet is worked by hand.

40 kg lie there; warps draw 30 kg on the 2nd day, 20 kg on the 7th, 18 kg on the 10th; D7 brings 25 kg on the 7th and D8
50 kg on the 15th. As it stands: 40 - 30 = 10; + 25 - 20 = 15; - 18 = -3 on the 10th; + 50 = 47.
With D7 ten days later, on the 17th: 10 - 20 = -10 on the 7th; - 18 = -28 on the 10th; + 50 = 22; + 25 = 47.
Without D7: -10, -28, 22. With 12 kg more on the 9th: 15 + 12 - 18 = 9.
"""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from inventory import services
from inventory.drawdown import work_out_drawdown
from inventory.foresight import AS_SHORT, LASTS, LESS_SHORT, MENDED, RUNS_SHORT, SHORTER, Foresight
from inventory.models import Delivery, Yarn, YarnOutlook
from inventory.services import OfYarn, Otherwise
from mill import jobs
from tests.inventory.test_pages import delivery_said, in_days, opened, short_yarn, text_of, written
from tests.make import make_delivery, make_demand, make_lot, make_yarn

MONDAY = date(2026, 11, 23)


def sheet(on_hand_g=10_000, *demands, deliveries=()):
    return work_out_drawdown(
        on_hand_g=on_hand_g,
        demands=[(MONDAY + timedelta(day), grams, f"Warp {n}") for n, (day, grams) in enumerate(demands, start=1)],
        deliveries=[(MONDAY + timedelta(day), grams, "D1") for day, grams in deliveries],
        today=MONDAY,
        lead_time_days=10,
    )


LASTING, SHORT = sheet(10_000, (3, 9_000)), sheet(10_000, (3, 12_000))


@pytest.mark.parametrize(
    ("now", "then", "verdict"),
    [
        (LASTING, LASTING, LASTS),
        (LASTING, SHORT, RUNS_SHORT),
        (SHORT, LASTING, MENDED),
        (SHORT, SHORT, AS_SHORT),
        (SHORT, sheet(10_000, (2, 12_000)), SHORTER),
        (SHORT, sheet(10_000, (4, 12_000)), LESS_SHORT),
        (SHORT, sheet(10_000, (3, 11_000)), LESS_SHORT),
        (SHORT, sheet(10_000, (3, 13_000)), SHORTER),
        # As deep at its lowest, and deeper on the first day already.
        (sheet(10_000, (3, 11_000), (4, 1_000)), sheet(10_000, (3, 12_000)), SHORTER),
        # Short as before, and deeper later on.
        (SHORT, sheet(10_000, (3, 12_000), (9, 5_000)), SHORTER),
    ],
)
def test_what_becomes_of_a_yarn_is_said_in_words(now, then, verdict):
    assert Foresight(now, then).verdict == verdict
    assert Foresight(now, then).is_worse == (verdict in (RUNS_SHORT, SHORTER))


days_and_grams = st.lists(st.tuples(st.integers(0, 20), st.integers(0, 20_000)), max_size=5)


@given(days_and_grams, days_and_grams, st.integers(0, 20), st.integers(1, 20_000))
def test_drawing_more_never_makes_a_yarn_last_better(demands, deliveries, day, grams):
    now = sheet(10_000, *demands, deliveries=deliveries)
    then = sheet(10_000, *demands, (day, grams), deliveries=deliveries)
    assert Foresight(now, then).verdict in (LASTS, RUNS_SHORT, SHORTER, AS_SHORT)
    assert Foresight(then, now).verdict in (LASTS, MENDED, LESS_SHORT, AS_SHORT)


# The service


@pytest.fixture
def yarn(db):
    found = short_yarn()
    jobs.settle()
    return found


def seen(foreseen):
    (one,) = foreseen.yarns
    then = one.sight.then
    return (
        one.sight.verdict,
        (then.short_on - in_days(0)).days if then.short_on else None,
        then.short_g,
        then.short_for,
    )


def delivery(number, **changes):
    found = Delivery.objects.get(number=number)
    for name, value in changes.items():
        setattr(found, name, value)
    return found


def test_a_delivery_that_moves_is_worked_to_the_sheet(yarn):
    found = services.foresee_delivery(delivery("D7", expected_on=in_days(17)))
    assert seen(found) == (SHORTER, 7, 10_000, "Warp 119")
    assert found.yarns[0].sight.then.lowest_g == -28_000
    assert found.yarns[0].sight.now.short_g == 3_000


def test_a_delivery_that_does_not_come_is_worked_to_the_sheet(yarn):
    assert seen(services.foresee_delivery(delivery("D7", is_closed=True))) == (SHORTER, 7, 10_000, "Warp 119")
    (one,) = services.foresee_delivery(delivery("D7", is_closed=True)).yarns
    assert (one.sight.comes_now_g, one.sight.comes_then_g) == (75_000, 50_000)


def test_a_new_delivery_mends_the_shortage(yarn):
    new = Delivery(number="D9", yarn=yarn, ordered_g=12_000, expected_on=in_days(9))
    assert seen(services.foresee_delivery(new)) == (MENDED, None, 0, "")


def test_what_has_come_of_a_delivery_is_not_to_come_again(yarn):
    make_lot(yarn=yarn, grams=20_000, delivery=delivery("D7"))
    (one,) = services.foresee_delivery(delivery("D7", expected_on=in_days(12))).yarns
    assert one.sight.comes_then_g == one.sight.comes_now_g == 55_000
    assert services.foresee_delivery(delivery("D7", ordered_g=20_000)).yarns[0].sight.comes_then_g == 50_000
    assert services.foresee_delivery(delivery("D7")).yarns == (), "nothing is otherwise"


def test_another_yarn_touches_both(yarn):
    other = make_yarn(code="A0")
    found = services.foresee_delivery(delivery("D7", yarn=other))
    assert [(one.yarn.code, one.sight.verdict) for one in found.yarns] == [("P1", SHORTER), ("A0", LASTS)]


def test_what_a_change_draws_takes_the_place_of_what_stands(yarn):
    row = yarn.demands.get(label="Warp 119")
    later = OfYarn(yarn.pk, in_days(16), 20_000, "Warp 119")
    found = services.foresee(Otherwise(without_sources=[row.source], demands=(later,)))
    # 10; + 25 = 35 on the 7th; - 18 = 17; + 50 = 67; - 20 = 47.
    assert seen(found) == (MENDED, None, 0, "")
    assert services.foresee(Otherwise(without_sources=[row.source], demands=(
        OfYarn(yarn.pk, row.on, row.grams, row.label),
    ))).yarns == ()  # fmt: skip


def test_of_one_day_what_comes_new_is_served_last(yarn):
    more = OfYarn(yarn.pk, in_days(2), 15_000, "A new order")
    assert seen(services.foresee(Otherwise(demands=(more,)))) == (SHORTER, 2, 5_000, "A new order")


def test_it_writes_nothing_and_asks_as_often_for_thirty_yarns_as_for_three(db):
    def demands(n):
        return tuple(OfYarn(make_yarn().pk, in_days(1), 10, "Warp 1") for _ in range(n))

    def asked(rows):
        with CaptureQueriesContext(connection) as captured:
            assert len(services.foresee(Otherwise(demands=rows)).yarns) == len(rows)
        assert not [q for q in captured if not q["sql"].startswith("SELECT")]
        return len(captured)

    assert asked(demands(3)) == asked(demands(30))
    assert not YarnOutlook.objects.exists()


# The page


def test_the_form_of_a_delivery_shows_what_it_does_before_it_is_saved(desk, yarn):
    found = Delivery.objects.get(number="D7")
    said = delivery_said(number="D7", yarn=yarn.pk, ordered_g="25", expected_on=in_days(17).isoformat())
    for page in (
        text_of(desk.post(reverse("delivery_foresight", args=[found.pk]), said)),
        text_of(written(desk, "delivery", found.pk, said={**said, "act": "look"})),
    ):
        assert "25.0 kg of P1" in page
        assert " move from " in page
        assert "is then shorter than it is now : by 10.0 kg on" in page.replace("now:", "now :")
        assert "for Warp 119." in page
        assert "28.0 kg are wanting" in page
        assert "No reservation is lost" in page
    found.refresh_from_db()
    assert found.expected_on == in_days(7), "nothing was written"


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"ordered_g": "10"}, "10.0 kg of P1 Shade are still to come, instead of 25.0 kg."),
        ({"is_closed": "on"}, "do not come any more."),
        ({}, "Nothing differs from what is written."),
        ({"ordered_g": "some"}, "Still to be written: Ordered"),
    ],
)
def test_each_change_of_a_delivery_is_said(desk, yarn, changes, says):
    found = Delivery.objects.get(number="D7")
    said = delivery_said(number="D7", yarn=yarn.pk, ordered_g="25", expected_on=in_days(7).isoformat())
    page = text_of(desk.post(reverse("delivery_foresight", args=[found.pk]), {**said, **changes}))
    assert says in page.replace(yarn.name, "Shade")


def test_a_new_delivery_is_foreseen_while_it_is_typed(desk, yarn):
    address = reverse("delivery_new_foresight")
    assert "Still to be written: Ordered , Expected on" in text_of(
        desk.post(address, delivery_said(yarn=yarn.pk, ordered_g="", expected_on=""))
    )
    page = text_of(desk.post(address, delivery_said(yarn=yarn.pk, ordered_g="12", expected_on=in_days(9).isoformat())))
    assert "12.0 kg of P1" in page
    assert "no longer short" in page
    assert "Still to be written" not in text_of(opened(desk, "delivery_new")), "nothing is wanting before one begins"
    page = text_of(written(desk, "delivery_new", said=delivery_said(yarn=yarn.pk, ordered_g="", act="look")))
    assert "This field is required" in page
    assert not Delivery.objects.filter(number="PO 7").exists()


def test_a_delivery_of_what_is_not_drawn_is_no_shortage(desk, db):
    make_demand(yarn=make_yarn(), on=in_days(1), grams=10)
    page = text_of(desk.post(reverse("delivery_new_foresight"), delivery_said()))
    assert "No yarn runs short by it." in page
    assert make_delivery().number not in page


def test_of_many_yarns_those_that_last_are_folded_away(db):
    rows = [OfYarn(make_yarn(code=f"A{n}").pk, in_days(1), 10, "Warp 1") for n in range(9)]
    for row in rows[1:]:
        make_lot(yarn=Yarn.objects.get(pk=row.yarn))
    few, many = (services.foresee(Otherwise(demands=tuple(rows[:n]))) for n in (8, 9))
    assert (len(few.shown), len(few.lasting)) == (8, 0)
    assert ([one.yarn.code for one in many.shown], len(many.lasting)) == (["A0"], 8)
