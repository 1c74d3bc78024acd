"""The pages and the API of orders: what is shown, typed, refused; without JavaScript; queries that don't grow."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from mill import jobs
from planning.models import Customer, Order, OrderLine, Piece, Warp
from planning.services import orders, plans, warps
from planning.services.warps import Share
from tests.make import (
    make_beam,
    make_colourway,
    make_customer,
    make_line,
    make_loom,
    make_lot,
    make_order,
    make_spec,
    make_ticket,
    make_yarn,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def tweed(db):
    spec = make_spec(yarns={"A": make_yarn(code="MOSS", name="Moss"), "B": make_yarn(code="CREAM", name="Cream")})
    make_beam(code="B1")
    make_loom(code="L1")
    return spec


def soon(days=90):
    return timezone.localdate() + timedelta(days=days)


def said(spec, *, lines=1, **changes):
    """A new order as the form sends it; `lines-0-pieces` and the like in `changes` say otherwise."""
    colourway = spec.cloth.colourways.earliest("pk")
    data = {
        "number": "2026-114",
        "customer": make_customer().pk,
        "reference": "PO 7",
        "placed_on": str(timezone.localdate()),
        "note": "",
        "lines-TOTAL_FORMS": "3",
        "lines-INITIAL_FORMS": "0",
    }
    for n in range(3):
        whole = n < lines
        data |= {
            f"lines-{n}-colourway": colourway.pk if whole else "",
            f"lines-{n}-pieces": "2" if whole else "",
            f"lines-{n}-length_m": "60" if whole else "",
            f"lines-{n}-due_on": str(soon()) if whole else "",
            f"lines-{n}-tolerance_pct": "0",
            f"lines-{n}-weight": "1",
            f"lines-{n}-note": "",
        }
    return data | changes


def plainly(response):
    return response.content.decode().replace("\u202f", " ").replace("\u00a0", " ")


# The form


def test_an_empty_book_says_what_is_to_be_written_before_an_order(desk):
    page = plainly(desk.get(reverse("order_new")))
    assert f'href="{reverse("customer_new")}">New customer' in page
    assert f'href="{reverse("cloth_new")}">New cloth' in page


def test_an_order_of_two_lines_is_placed_and_the_blank_one_is_no_line(desk, tweed):
    response = desk.post(reverse("order_new"), said(tweed, lines=2, **{"lines-1-length_m": "65.5 yd"}))
    assert response.url == reverse("order", args=["2026-114"])
    assert [(line.pieces, line.length_m) for line in Order.objects.get().lines.order_by("position")] == [
        (2, Decimal("60.00")),
        (2, Decimal("59.89")),
    ]


def test_a_second_tap_places_nothing_twice(desk, tweed):
    data = said(tweed)
    assert desk.post(reverse("order_new"), data).url == desk.post(reverse("order_new"), data).url
    assert Order.objects.count() == 1
    assert OrderLine.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"lines-0-pieces": "0"}, "greater than or equal to 1"),
        ({"lines-0-pieces": "-3"}, "greater than or equal to 1"),
        ({"lines-0-length_m": "60 kg"}, "kg"),
        ({"lines-0-length_m": "0"}, "0 m is too little: write more than 0 m."),
        ({"lines-0-length_m": "999999"}, "is too much"),
        ({"lines-0-tolerance_pct": "80"}, "is too much"),
        ({"lines-0-weight": "12"}, "less than or equal to 9"),
        ({"lines-0-due_on": "soon"}, "Enter a valid date"),
        ({"lines-0-due_on": "2020-01-01"}, "before it was placed on"),
        ({"lines-0-colourway": "999"}, "can’t be ordered any more"),
        ({"lines-0-colourway": ""}, "Choose the cloth and its colourway"),
        ({"number": "a/b"}, "can&#x27;t be an order&#x27;s number"),
        ({"customer": ""}, "This field is required"),
    ],
)
def test_what_is_wrong_stands_beside_its_field_and_nothing_typed_is_lost(desk, tweed, changes, sentence):
    response = desk.post(reverse("order_new"), said(tweed, note="by hand", **{"lines-0-note": "red label"}, **changes))
    page = plainly(response)
    assert response.status_code == 200
    assert sentence in page
    assert "by hand" in page
    assert 'value="red label"' in page
    assert not Order.objects.exists()


def test_an_order_without_a_line_says_so(desk, tweed):
    assert "Write at least one line" in plainly(desk.post(reverse("order_new"), said(tweed, lines=0)))


def test_one_more_line_and_the_figures_come_without_javascript(desk, tweed):
    more = desk.post(reverse("order_new"), said(tweed, more="yes"))
    assert 'name="lines-3-pieces"' in more.content.decode()
    shown = plainly(desk.post(reverse("order_new"), said(tweed, show="yes")))
    assert "127.8" in shown, "two pieces of 63.9 m off the loom"
    assert "on 1 loom: L1" in shown
    assert not Order.objects.exists()


def test_the_figures_while_typing_are_one_request_and_leave_unfinished_lines_out(desk, tweed):
    data = said(tweed, lines=1) | {"lines-1-pieces": "4"}
    page = plainly(desk.post(reverse("order_figures"), data))
    assert "<html" not in page
    assert "Line 1: 2 × 60 m" in page
    assert "Still to be written" in page
    assert page.count("short") >= 4, "nothing is in the store"


def test_yarn_that_suffices_says_so(desk, tweed):
    for entry in tweed.colourway_yarns.all():
        make_lot(yarn=entry.yarn, grams=200_000)
    assert plainly(desk.post(reverse("order_figures"), said(tweed))).count("suffices") == 4


def test_nonsense_to_the_figures_is_no_crash(desk, tweed):
    for data in ({}, {"lines-TOTAL_FORMS": "x"}, said(tweed, **{"lines-TOTAL_FORMS": "99999"})):
        assert desk.post(reverse("order_figures"), data).status_code == 200


def test_only_colourways_that_can_be_woven_are_offered(desk, tweed):
    make_colourway(cloth=tweed.cloth, name="Bare heather")
    page = plainly(desk.get(reverse("order_new")))
    assert "Bare heather" not in page
    assert tweed.cloth.name in page


# An order


def test_an_orders_page_shows_where_each_line_is_and_when_it_will_be_ready(desk, tweed, planner):
    line = make_line(spec=tweed, due_on=soon(200))
    warp = warps.make_warp([Share(line, 2)], by=planner)
    make_ticket(warp)
    make_line(order=line.order, spec=tweed, pieces=5)
    for entry in tweed.colourway_yarns.all():
        make_lot(yarn=entry.yarn, grams=200_000)
    jobs.settle()
    plans.put_in_force(plans.make_plan(by=planner), by=planner)
    jobs.settle()
    Piece.objects.create(
        number="P77", spec=tweed, line=line, woven_on=date(2026, 3, 1), grey_length_m=64, grey_width_cm=166
    )
    page = plainly(desk.get(reverse("order", args=[line.order.number])))
    assert str(warp) in page
    assert "L1" in page
    assert ">in time<" in page
    assert "P77" in page
    assert "5 pieces are on no warp yet" in page
    assert "Ticket" in page
    # Ordered since: the plan knows when three of the four are ready, and not whether the line is in time.
    OrderLine.objects.filter(pk=line.pk).update(pieces=4)
    page = plainly(desk.get(reverse("order", args=[line.order.number])))
    assert "not all its pieces" in page
    assert ">in time<" not in page


def test_the_pieces_of_each_line_are_off_the_loom_when_they_are_woven(tweed, planner):
    from planning.services.line_plans import plans_of

    first, second = make_line(spec=tweed, due_on=soon(200)), make_line(spec=tweed, due_on=soon(200))
    warp = warps.make_warp([Share(first, 2), Share(second, 2)], by=planner)
    for entry in tweed.colourway_yarns.all():
        make_lot(yarn=entry.yarn, grams=400_000)
    jobs.settle()
    run = plans.put_in_force(plans.make_plan(by=planner), by=planner)
    jobs.settle()
    (one,), (two,) = (plans_of([line.pk])[line.pk] for line in (first, second))
    slot = run.slots.get(warp=warp)
    assert two.off_at == slot.weaving_stops_at
    assert slot.weaving_starts_at < one.off_at < two.off_at
    # 108 117 picks a line at 220 and 70 %: 703 minutes, within one day of two shifts or over the night.
    assert one.ready_on <= two.ready_on
    assert one.late_days == 0


def test_a_line_is_changed_on_its_page_and_the_planner_is_told_what_follows(desk, tweed, planner):
    line = make_line(spec=tweed, due_on=soon())
    warp = warps.make_warp([Share(line, 2)], by=planner)
    make_ticket(warp)
    address = reverse("line_edit", args=[line.order.number, line.position])
    page = plainly(desk.get(address))
    assert str(warp) in page
    assert 'value="60"' in page
    data = {
        "colourway": line.colourway_id,
        "pieces": "3",
        "length_m": "60",
        "due_on": str(soon()),
        "tolerance_pct": "0",
        "weight": "1",
        "note": "",
    }
    response = desk.post(address, data, follow=True)
    told = plainly(response)
    assert "pieces 2, now 3" in told
    assert "being worked out again" in told
    assert "1 ticket is overtaken" in told
    refused = plainly(desk.post(address, data | {"pieces": "900"}))
    assert "No beam takes this warp" in refused
    assert 'value="900"' in refused


def test_a_line_is_added_and_called_off_and_taken_up(desk, tweed):
    order = make_line(spec=tweed).order
    data = {
        "colourway": tweed.cloth.colourways.earliest("pk").pk,
        "pieces": "1",
        "length_m": "30 m",
        "due_on": str(soon()),
        "tolerance_pct": "2.5",
        "weight": "3",
        "note": "",
        "seen": "1",
    }
    for _ in range(2):
        desk.post(reverse("line_new", args=[order.number]), data)
    assert order.lines.count() == 2
    desk.post(reverse("line_call_off", args=[order.number, 2]), {"reason": "too dear"})
    assert order.lines.get(position=2).state == OrderLine.CALLED_OFF
    assert "Take it up again" in plainly(desk.get(reverse("order", args=[order.number])))
    desk.post(reverse("line_take_up", args=[order.number, 2]))
    assert order.lines.get(position=2).state == OrderLine.ENTERED


def test_a_line_in_the_loom_is_not_called_off_and_says_where_it_is(desk, tweed, planner):
    line = make_line(spec=tweed)
    warp = warps.make_warp([Share(line, 2)], by=planner)
    from planning.models import Loom

    Warp.objects.filter(pk=warp.pk).update(state=Warp.WEAVING, loom=Loom.objects.get())
    told = plainly(desk.post(reverse("line_call_off", args=[line.order.number, 1]), follow=True))
    assert "which is weaving in loom L1" in told


def test_the_head_of_an_order_is_changed_but_not_its_number(desk, tweed):
    order = make_line(spec=tweed, due_on=soon()).order
    address = reverse("order_edit", args=[order.number])
    assert 'name="number"' not in desk.get(address).content.decode()
    desk.post(address, {"customer": make_customer(name="Braddle").pk, "placed_on": "2026-01-07", "reference": "X9"})
    order.refresh_from_db()
    assert (order.customer.name, order.reference, order.placed_on) == ("Braddle", "X9", date(2026, 1, 7))


# The list


def test_the_list_shows_what_is_open_and_narrows(desk, tweed):
    late = make_line(spec=tweed, due_on=timezone.localdate() - timedelta(days=3), note="red label")
    early = make_line(spec=tweed, due_on=soon(10), order=make_order(customer=make_customer(name="Osterfield")))
    gone = make_line(spec=tweed, state=OrderLine.SENT)
    address = reverse("orders")

    def shown(**words):
        page = plainly(desk.get(address, words))
        return {line for line in (late, early, gone) if f">{line}<" in page}

    assert shown() == {late, early}
    assert shown(state="all") == {late, early, gone}
    assert shown(state="sent") == {gone}
    assert shown(late="on") == {late}
    assert shown(text="red") == {late}
    assert shown(text=str(late)) == {late}, "as the list itself writes it"
    assert shown(text=f"{late.order.number}/2") == set()
    assert shown(customer=early.order.customer.pk) == {early}
    assert shown(due_before=str(soon(5))) == {late}
    assert shown(cloth=make_spec().cloth.pk) == set()
    assert "3 days overdue" in plainly(desk.get(address))


def test_a_line_on_a_warp_that_the_plan_has_late_counts_as_late(desk, tweed, planner):
    line = make_line(spec=tweed, due_on=timezone.localdate() + timedelta(days=1))
    warp = warps.make_warp([Share(line, 2)], by=planner)
    jobs.settle()
    plans.put_in_force(plans.make_plan(by=planner), by=planner)
    page = plainly(desk.get(reverse("orders"), {"late": "on"}))
    assert f">{line}<" in page
    assert "warp late" in page
    # Woven out since: the day on which it was, and no more late by the plan.
    Warp.objects.filter(pk=warp.pk).update(state=Warp.WOVEN_OUT, woven_out_on=date(2026, 3, 2))
    assert f">{line}<" not in plainly(desk.get(reverse("orders"), {"late": "on"}))
    assert "Mon 2 Mar" in plainly(desk.get(reverse("orders")))


def test_the_list_leaves_as_csv(desk, tweed):
    line = make_line(spec=tweed, note="=1+1", order=make_order(reference="=1+1"))
    rows = b"".join(desk.get(reverse("orders"), {"csv": "1"})).decode().splitlines()
    assert rows[0].startswith("\ufeffLine,Customer,Their number,Cloth")
    assert f"{line}" in rows[1]
    assert "'=1+1" in rows[1], "no text starts a formula"


@pytest.mark.parametrize("sort", ["line", "-due", "customer", "cloth", "pieces", "-weight", "state"])
def test_the_list_sorts(desk, tweed, sort):
    make_line(spec=tweed), make_line(spec=tweed)
    assert desk.get(reverse("orders"), {"sort": sort}).status_code == 200


def filled(spec, planner, n):
    for _ in range(n):
        line = make_line(spec=spec, due_on=soon(200))
        make_beam()
        warps.make_warp([Share(line, 2)], by=planner)
    jobs.settle()
    plans.put_in_force(plans.make_plan(by=planner), by=planner)
    jobs.settle()


def test_ten_times_the_rows_take_no_more_queries(desk, tweed, planner, django_assert_max_num_queries):
    filled(tweed, planner, 2)
    desk.get(reverse("orders"))
    with django_assert_max_num_queries(30) as few:
        desk.get(reverse("orders"))
    filled(tweed, planner, 20)
    with django_assert_max_num_queries(len(few)):
        desk.get(reverse("orders"))


def test_an_order_of_many_lines_takes_no_more_queries(desk, tweed, planner, django_assert_max_num_queries):
    order = make_order()

    def line_on_a_warp():
        make_beam()
        warps.make_warp([Share(make_line(spec=tweed, order=order), 2)], by=planner)

    line_on_a_warp()
    jobs.settle()
    desk.get(reverse("order", args=[order.number]))
    with django_assert_max_num_queries(40) as few:
        desk.get(reverse("order", args=[order.number]))
    for _ in range(10):
        line_on_a_warp()
    jobs.settle()
    with django_assert_max_num_queries(len(few)):
        desk.get(reverse("order", args=[order.number]))


# Customers


def test_a_customer_is_written_down_found_and_shown_with_what_is_on_order(desk, tweed):
    response = desk.post(reverse("customer_new"), {"code": "HOL1", "name": "Hollin & Daughter", "notes": ""})
    assert response.url == reverse("customer", args=["HOL1"])
    again = plainly(desk.post(reverse("customer_new"), {"code": "HOL1", "name": "Another", "notes": "kept"}))
    assert "already exists" in again
    assert "kept" in again
    line = make_line(spec=tweed, order=make_order(customer=Customer.objects.get(code="HOL1")))
    assert str(line) in plainly(desk.get(reverse("customer", args=["HOL1"])))
    found = plainly(desk.get(reverse("customers"), {"text": "hollin"}))
    assert "HOL1" in found
    assert desk.post(reverse("customer_edit", args=["HOL1"]), {"code": "HOL2", "name": "Hollin"}).status_code == 302
    assert Customer.objects.get().code == "HOL2"


# The API


def sent(spec, **changes):
    colourway = spec.cloth.colourways.earliest("pk")
    return {
        "cloth": spec.cloth.code,
        "colourway": colourway.name,
        "pieces": 2,
        "length_m": "65.5 yd",
        "due_on": str(soon()),
        **changes,
    }


def test_an_order_is_placed_and_read_through_the_api(desk, tweed):
    customer = make_customer()
    body = {"customer": customer.code, "placed_on": "2026-01-05", "lines": [sent(tweed)], "number": "A7"}
    placed = desk.post("/api/orders/", body, content_type="application/json")
    assert placed.status_code == 201
    assert placed.json()["lines"][0]["length_m"] == "59.89"
    assert desk.post("/api/orders/", body, content_type="application/json").json() == placed.json()
    assert desk.get("/api/orders/A7/").json() == placed.json()
    assert Order.objects.count() == 1


def test_the_api_refuses_in_the_same_sentences(desk, tweed):
    body = {"customer": make_customer().code, "placed_on": "2030-01-05", "lines": [sent(tweed)]}
    refused = desk.post("/api/orders/", body, content_type="application/json")
    assert refused.status_code == 400
    assert list(refused.json()["errors"]) == ["lines.0.due_on"]
    assert "before it was placed on" in refused.json()["detail"]
    body["lines"] = [sent(tweed, colourway="None such")]
    wrong = desk.post("/api/orders/", body, content_type="application/json")
    assert wrong.status_code == 400
    assert not Order.objects.exists()


def test_a_line_is_changed_called_off_and_listed_through_the_api(desk, tweed, planner):
    line = make_line(spec=tweed, due_on=soon())
    warp = warps.make_warp([Share(line, 2)], by=planner)
    changed = desk.patch(f"/api/order-lines/{line.pk}/", {"pieces": 3}, content_type="application/json").json()
    assert (changed["differences"], changed["warps"]) == (["pieces 2, now 3"], [warp.number])
    assert changed["line"]["parts"] == [{"warp": warp.number, "pieces": 3, "state": "planned"}]
    assert [row["line"] for row in desk.get("/api/order-lines/").json()["results"]] == [str(line)]
    off = desk.post(f"/api/order-lines/{line.pk}/call-off/", {"reason": "?"}, content_type="application/json").json()
    assert off["state"] == "called off"
    assert desk.get("/api/order-lines/").json()["results"] == []
    up = desk.post(f"/api/order-lines/{line.pk}/take-up/", content_type="application/json").json()
    assert up["state"] == "entered"


def test_what_lines_take_is_told_before_they_are_ordered(desk, tweed):
    found = desk.post("/api/order-line-figures/", [sent(tweed, length_m=60)], content_type="application/json").json()
    assert (found[0]["grey_length_m"], found[0]["warp_length_m"]) == ("63.9", "141.4")
    assert [time["weaving_min"] for time in found[0]["looms"]] == [703]
    assert {yarn["suffices"] for yarn in found[0]["yarns"]} == {False}


def test_customers_through_the_api(desk):
    made = desk.post("/api/customers/", {"code": "HOL1", "name": "Hollin"}, content_type="application/json")
    assert made.status_code == 201
    refused = desk.post("/api/customers/", {"code": "HOL1", "name": "Other"}, content_type="application/json")
    assert refused.status_code == 400
    assert list(refused.json()["errors"]) == ["code"]
    changed = desk.patch("/api/customers/HOL1/", {"name": "Hollin & Daughter"}, content_type="application/json")
    assert changed.json()["name"] == "Hollin & Daughter"


def test_the_verbs_are_where_orders_are_placed(planner, tweed):
    assert orders.next_number() == "1001"
