"""Orders, money and warps to be made, in German: every word, and the figures in its sentences."""

import re
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from mill import jobs, language, people
from mill.refusal import Refusal
from planning.models import JobTicket, OrderLine, Piece, Rate, Warp
from planning.services import plans, quotes, rulings, warps
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
from tests.planning.test_costing import price, state

pytestmark = pytest.mark.django_db
# The mill's own words, and those that are the same in both languages.
OWN = r"Name|GBP|Our mill|.* h .* min|.* (min|kg|m)|.*Customer \d+.*|O\d+.*|Moss|Cream|Shade.*|, Colourway \d+"


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


@pytest.mark.slow
def test_every_page_of_orders_is_whole_in_german(desk, planner, order):
    pages = [
        *("/orders/?late=on", "/orders/?sort=-due&state=all", "/orders/new/", f"/order/{order.number}/"),
        *(f"/order/{order.number}/edit/", f"/order/{order.number}/line/", f"/order/{order.number}/line/1/"),
        *(f"/order/{order.number}/line/1/call-off/", f"/order/{order.number}/line/3/call-off/"),
        *("/customers/", "/customers/new/", "/customer/HOL1/", "/customer/HOL1/edit/"),
    ]
    assert not forgotten(desk, planner, pages, own=OWN)


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
    assert re.search(r'CREAM [^<]*</a> <span class="state bad">(wird knapp|knapper als jetzt)</span>', part)

    page = plainly(desk.post(address, said | {"length_m": "64,25"}, follow=True))
    what = "Länge 62,5 m, jetzt 64,25 m; Notiz keine, jetzt dringend."
    assert f"Zeile {line} ist geändert: {what}" in page
    assert f"Auftragszeile {line} wurde geändert: {what}" in page
    kept = JobTicket.objects.earliest("pk").overtaken_why
    assert kept == f"Order line {line} was changed: length 62.5 m, now 64.25 m; note none, now dringend."

    Warp.objects.update(state=Warp.WOUND)
    page = plainly(desk.post(address, said | {"length_m": "70,25"}))
    refused = f"ist geschärt, für 2 Stück der Zeile {line} von 64,25 m; daraus können nicht 70,25 m werden."
    assert f"Kette {Warp.objects.get().number} {refused}" in page
    page = plainly(desk.post(f"{address}call-off/", follow=True))
    assert f"2 der 4 Stücke der Zeile {line} sind gewebt. Ändern Sie stattdessen die Stücke auf 2." in page


# Money, and what waits for a warp


@pytest.fixture
def tweed(planner):
    """A tweed of one yarn with a price and rates, but for mending; one loom and a beam; two lines that wait."""
    make_loom(code="7"), make_beam()
    for kind, amount in {Rate.WARPING: "30", Rate.SET_UP: "24", Rate.LOOM: "18", Rate.MARGIN: "25"}.items():
        state(kind, amount)
    state(Rate.STEP, "0.85", of="scour", basis="m")
    state(Rate.STEP, "0.40", of="press", basis="kg")
    yarn = make_yarn(code="FELL")
    price(yarn, "9.50")
    make_lot(yarn=yarn, grams=900_000)
    spec = make_spec(yarns={"A": yarn, "B": yarn})
    for days in (90, 95):
        make_line(spec=spec, order=make_order(customer=make_customer()), due_on=in_days(days), pieces=3)
    return spec


@pytest.mark.slow
def test_what_it_costs_and_what_is_quoted_is_whole_in_german(desk, planner, tweed):
    colourway = tweed.cloth.colourways.get()
    asked = quotes.Asked(colourway=colourway, pieces=2, length_m=Decimal("62.5"), wished_on=in_days(1))
    said = quotes.Said(customer=make_customer(code="HOL1"))
    kept = quotes.keep_quote(asked, said, by=planner, key="one")
    line = OrderLine.objects.first()
    pages = ["/quotes/", f"/quotes/{kept.number}/print/", f"/order/{line.order.number}/line/{line.position}/cost/"]
    rate = Rate.objects.get(kind=Rate.STEP, of="scour")
    money = ["/mill/rates/", "/mill/rates/new/", f"/mill/rates/{rate.pk}/", "/mill/prices/", "/mill/prices/new/"]
    sheets = [f"/quotes/{kept.number}/?sheet=worked", f"{pages[-1]}?sheet=worked"]
    assert not forgotten(desk, planner, [*pages, *sheets, *money], own=OWN)

    people.speak(planner, language="de", by=planner)
    page = plainly(desk.get(pages[-1]))
    assert "Noch auf keiner Kette: Auf einer eigenen Kette, nach Vorrichten, auf Webstuhl 7." in page
    page = plainly(desk.get(f"/quotes/{kept.number}/print/"))
    assert "2 × 62,5 m, zusammen 125 m" in page
    amount = f"{kept.price:,.2f}".replace(",", " ").replace(".", ",")
    assert f"<strong>{amount} GBP</strong>" in page
    with pytest.raises(Refusal) as refused:
        quotes.keep_quote(asked, replace(said, seen_price=Decimal("1.50")), by=planner, key="two")
    assert str(refused.value).startswith("The price was 1.50 GBP when this was shown and is ")
    with language.speaking("de"):
        assert refused.value.message.startswith("Der Preis war 1,50 GBP, als dies gezeigt wurde, und ist jetzt ")


@pytest.mark.slow
def test_order_lines_are_put_on_warps_in_german(desk, planner, tweed):
    first, second = OrderLine.objects.order_by("pk")
    rulings.refuse([(first.pk, 3), (second.pk, 3)], by=planner)
    assert not forgotten(desk, planner, ["/warps/combine/", "/warps/combine/?max_warp_m=70"], own=OWN)
    people.speak(planner, language="de", by=planner)
    page = plainly(desk.get("/warps/combine/?max_warp_m=70"))
    assert "m Kette, und eine Kette ist höchstens 70,0 m lang. Wählen Sie einen größeren Kettbaum" in page
    sheet = {"group": "", "accept_warps": "yes"}
    assert "Von dieser Kette wartet nichts mehr." in plainly(desk.post("/warps/combine/", sheet, follow=True))
    with language.speaking("de"), pytest.raises(Refusal) as refused:
        rulings.check([[(first.pk, 3), (second.pk, 3)]], {one.pk: one for one in (first, second)})
    with language.speaking("de"):
        assert f"Die Zeilen {first} und {second} werden getrennt gehalten (von" in refused.value.message
