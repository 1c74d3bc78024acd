"""Orders, customers and what a change moves, in German: every word, and the figures in its sentences."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from mill import jobs, people
from planning.models import JobTicket, OrderLine, Piece, Warp
from planning.services import plans, warps
from planning.services.warps import Share
from tests.german import forgotten
from tests.make import (
    make_beam,
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
# The mill's own words, and those that are the same in both languages.
OWN = r"Name|Our mill|.* h .* min|.* (min|kg|m)|.*Customer \d+.*|O\d+.*|Moss|Cream|Shade.*|, Colourway \d+"
# Said by what every room shares: how days came about, a record's changes, the form.
SHARED = r"Changes of it, by whom and when|Write it down|Leave it"
WORKING = r"Off the loom, .*|the warp is woven out, by .*|.* \(plan 1\) .*|minutes are those in .*|Finished|off the loom \+ .*"
WORKING += r"|.* days|the cloth’s specification|Late|finished − due; .*|by definition"


def in_days(n):
    return timezone.localdate() + timedelta(n)


@pytest.fixture
def order(planner):
    """An order whose first line is half on a warp in a plan in force, with a ticket and pieces; late, and off."""
    spec = make_spec(yarns={"A": make_yarn(code="MOSS"), "B": make_yarn(code="CREAM")})
    make_lot(yarn=spec.colourway_yarns.get(letter="A").yarn, grams=40_000)
    make_beam(), make_loom(code="1", tail_cm=Decimal(0)), make_loom(code="2", tail_cm=Decimal(12))
    customer = make_customer(code="HOL1", points_limit_per_100_yd2=20)
    order = make_order(customer=customer, reference="PO 7")
    facts = {"spec": spec, "order": order, "state": OrderLine.ENTERED}
    line = make_line(**facts, due_on=in_days(20), pieces=4, tolerance_pct=Decimal("2.5"), length_m=Decimal("62.5"))
    make_line(**facts | {"state": OrderLine.CALLED_OFF}, due_on=in_days(60))
    make_line(**facts, due_on=in_days(-2))
    warp = warps.make_warp([Share(line, 2)], by=planner)
    jobs.settle()
    plans.put_in_force(plans.make_plan(), by=planner)
    jobs.settle()
    for n, cut in enumerate(("61.5", None)):
        Piece.objects.create(
            number=f"P{n}",
            spec=spec,
            warp=warp,
            line=line,
            woven_on=in_days(-3),
            grey_length_m=Decimal("66.6"),
            grey_width_cm=170,
            finished_length_m=cut,
        )
    make_ticket(warp)
    make_ticket(warp, overtaken_at=timezone.now(), overtaken_why=f"Order line {line} was changed: pieces 2, now 4.")
    make_order(customer=customer)
    return order


def test_every_page_of_orders_is_whole_in_german(desk, planner, order):
    pages = [
        *("/orders/?late=on", "/orders/?sort=-due&state=all", "/orders/new/", f"/order/{order.number}/"),
        *(f"/order/{order.number}/edit/", f"/order/{order.number}/line/", f"/order/{order.number}/line/1/"),
        *(f"/order/{order.number}/line/1/call-off/", f"/order/{order.number}/line/3/call-off/"),
        *("/customers/", "/customers/new/", "/customer/HOL1/", "/customer/HOL1/edit/"),
    ]
    assert not forgotten(desk, planner, pages, own=f"{OWN}|{SHARED}|{WORKING}")


def plainly(answer):
    return answer.content.decode().replace("\u202f", " ").replace("\u00a0", " ")


def test_what_is_told_and_refused_has_a_decimal_comma_and_is_kept_in_english(desk, planner, order):
    """A line of 62,5 m: what 80,5 m would do, changed to 64,25 m, and then wound, so that 70,25 m are refused."""
    people.speak(planner, language="de", by=planner)
    line, address = order.lines.get(position=1), f"/order/{order.number}/line/1/"
    said = {"colourway": line.colourway_id, "pieces": 4, "due_on": str(line.due_on), "weight": 1}
    said |= {"tolerance_pct": "2,5", "note": "dringend"}

    part = plainly(desk.post("/orders/figures/", said | {"of": str(line), "pieces": 9, "length_m": "80,5"}))
    assert "9 × 80,5 m" in part
    assert "Was es verschiebt" in part
    assert 'CREAM Cream</a> <span class="state bad">knapper als jetzt</span>' in part

    page = plainly(desk.post(address, said | {"length_m": "64,25"}, follow=True))
    what = "Länge 62,5 m, jetzt 64,25 m; Notiz keine, jetzt dringend."
    assert f"Zeile {line} ist geändert: {what}" in page
    assert f"Auftragszeile {line} wurde geändert: {what}" in page
    kept = JobTicket.objects.earliest("pk").overtaken_why
    assert kept == f"Order line {line} was changed: length 62.5 m, now 64.25 m; note none, now dringend."

    Warp.objects.update(state=Warp.WOUND)
    page = plainly(desk.post(address, said | {"length_m": "70,25"}))
    refused = f"ist geschärt, für 2 Stücke der Zeile {line} von 64,25 m; daraus können nicht 70,25 m werden."
    assert f"Kette {Warp.objects.get().number} {refused}" in page
    page = plainly(desk.post(f"{address}call-off/", follow=True))
    assert f"2 der 4 Stücke der Zeile {line} sind gewebt. Ändern Sie stattdessen die Stücke auf 2." in page
