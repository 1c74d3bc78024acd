"""Quotes: price beside the day, kept as they were told, turned into an order once."""

from datetime import timedelta
from decimal import Decimal
from urllib.parse import urlencode

import pytest
from django.utils import timezone, translation

from mill.refusal import Refusal
from planning.cost import price_of
from planning.forms.money import QuoteFilter
from planning.models import Order, Quote, Rate
from planning.services import costing, quotes
from planning.services.promise import promise
from planning.services.quotes import Asked, Said
from tests.make import make_customer, make_loom, make_lot, make_spec, make_yarn
from tests.planning.test_costing import price, state

pytestmark = pytest.mark.django_db

D = Decimal


@pytest.fixture
def cloth(planner):
    """A tweed with everything stated that it takes, ample yarn, and one loom."""
    make_loom(code="7")
    for kind, amount in {Rate.WARPING: "30", Rate.SET_UP: "24", Rate.LOOM: "18"}.items():
        state(kind, amount)
    state(Rate.STEP, "0.85", of="scour", basis="m")
    state(Rate.STEP, "0.40", of="press", basis="kg")
    state(Rate.MARGIN, "25")
    yarn = make_yarn(code="FELL-03")
    price(yarn, "9.50")
    make_lot(yarn=yarn, grams=900_000)
    return make_spec(yarns={"A": yarn, "B": yarn}).cloth.colourways.get()


def asked(cloth, **changes) -> Asked:
    return Asked(**{"colourway": cloth, "pieces": 2, "length_m": D(60)} | changes)


def test_a_quote_is_the_cost_the_margin_and_the_promise_of_the_same_pieces(cloth):
    figured = quotes.figure(asked(cloth, wished_on=timezone.localdate()))
    alone = costing.cost_alone(colourway=cloth, pieces=2, length_m=D(60))
    assert figured.alone.cost.total == alone.cost.total
    assert figured.price == price_of(alone.cost, margin_pct=D(25))
    assert figured.promise.safe_on == promise(colourway=cloth, pieces=2, length_m=D(60)).safe_on
    assert figured.promise.days_over > 0
    assert quotes.figure(asked(cloth, margin_pct=D(0))).price.total >= alone.cost.total


def test_more_pieces_share_the_set_up_and_a_metre_is_cheaper(cloth):
    few, many = (quotes.figure(asked(cloth, pieces=pieces)).price.per_m for pieces in (1, 6))
    assert many < few


def test_a_kept_quote_stays_as_it_was_told_and_is_kept_once(cloth, planner):
    said = Said(customer=make_customer(), note="With the label sewn in.")
    kept = quotes.keep_quote(asked(cloth), said, by=planner, key="one")
    assert quotes.keep_quote(asked(cloth, pieces=9), by=planner, key="one").pk == kept.pk
    state(Rate.LOOM, "99", of="7")
    kept.refresh_from_db()
    assert kept.figures["lines"][0]["label"] == "Warp yarn in the cloth"
    assert sum(D(line["amount"]) for line in kept.figures["lines"]) == kept.cost
    assert kept.valid_until == timezone.localdate() + timedelta(days=quotes.STANDS_DAYS)
    dearer = quotes.figure(asked(cloth))
    assert dearer.price.total > kept.price
    with pytest.raises(
        Refusal, match=rf"The price was {kept.price:.2f} GBP when this was shown and is {dearer.price.total} now"
    ):
        quotes.keep_quote(asked(cloth), Said(seen_price=kept.price.quantize(D("0.01"))), by=planner, key="two")


def test_what_has_no_price_is_not_quoted(cloth, planner):
    Rate.objects.filter(kind=Rate.WARPING).delete()
    assert quotes.figure(asked(cloth)).price is None
    with pytest.raises(Refusal, match=r"can't be quoted yet\. What an hour of warping costs is not stated"):
        quotes.keep_quote(asked(cloth), by=planner, key="one")
    assert not Quote.objects.exists()


def test_a_quote_becomes_one_order_of_what_was_quoted(cloth, planner):
    kept = quotes.keep_quote(asked(cloth), by=planner, key="one")
    with pytest.raises(Refusal, match="Quote 1 is for nobody yet"):
        quotes.place(kept, by=planner)
    customer = make_customer()
    order = quotes.place(kept, by=planner, customer=customer, reference="PO 9")
    assert quotes.place(kept, by=planner).pk == order.pk
    line = Order.objects.get().lines.get()
    assert (line.colourway, line.pieces, line.length_m, line.due_on) == (cloth, 2, 60, kept.promised_on)
    assert "GBP" not in order.note, "everybody reads an order"
    kept.refresh_from_db()
    assert (kept.stands, kept.order, kept.customer) == ("ordered", order, customer)
    with pytest.raises(Refusal, match=rf"Quote 1 was ordered as {order}"):
        quotes.drop(kept, why="Too dear.", by=planner)
    other = quotes.keep_quote(asked(cloth), by=planner, key="two")
    with pytest.raises(Refusal, match=rf"Order {order} was made of Quote 1 already"):
        quotes.place(other, by=planner, customer=customer, number=order.number, reference="PO 9")


def test_a_quote_that_ran_out_or_was_dropped_is_not_ordered(cloth, planner):
    kept = quotes.keep_quote(asked(cloth), Said(customer=make_customer()), by=planner, key="one")
    with pytest.raises(Refusal, match="Say why Quote 1 is dropped"):
        quotes.drop(kept, why=" ", by=planner)
    Quote.objects.update(valid_until=timezone.localdate() - timedelta(days=1))
    with pytest.raises(Refusal, match="Quote 1 ran out on"):
        quotes.place(kept, by=planner)
    quotes.drop(kept, why="They bought elsewhere.", by=planner)
    with pytest.raises(Refusal, match=r"was dropped on .*: They bought elsewhere\. Make a new one"):
        quotes.place(kept, by=planner)
    assert not Order.objects.exists()
    with pytest.raises(Refusal, match="before today"):
        quotes.keep_quote(
            asked(cloth), Said(valid_until=timezone.localdate() - timedelta(days=1)), by=planner, key="two"
        )


def test_a_revision_since_the_quote_is_said(cloth, planner):
    kept = quotes.keep_quote(asked(cloth), by=planner, key="one")
    assert quotes.revised_since(kept) is None
    make_spec(cloth=cloth.cloth)
    assert quotes.revised_since(kept) == 2


def test_a_quote_is_made_kept_printed_and_ordered_on_its_pages(desk, cloth):
    customer = make_customer(name="Ostler & Fell")
    words = {"colourway": cloth.pk, "pieces": 2, "length_m": "60", "set_up": "tie-in"}
    address = f"/quotes/new/?{urlencode(words)}"
    shown = desk.get(address)
    figured, keep = shown.context["figured"], shown.context["keep"]
    page = shown.content.decode()
    assert str(figured.price.per_m) in page
    assert "Safe from" in page
    part = desk.get(address, headers={"HX-Request": "true"}).content.decode()
    assert "<html" not in part
    assert str(figured.price.per_m) in part
    said = {name: keep[name].value() for name in keep.fields if keep[name].value() is not None}
    kept = desk.post(address, {**said, "customer": customer.pk, "note": "Label sewn in."})
    assert kept.status_code == 302, kept.content.decode()
    quote = Quote.objects.get()
    assert (quote.price, quote.figures["set_up"]) == (figured.price.total, "tie-in")
    own = desk.get(f"/quotes/{quote.number}/").content.decode()
    assert str(figured.alone.cost.per_m) in own
    printed = desk.get(f"/quotes/{quote.number}/print/").content.decode()
    assert str(figured.price.per_m) in printed
    assert str(figured.alone.cost.per_m) not in printed
    assert str(figured.price.margin) not in printed
    assert "Ostler &amp; Fell" in desk.get("/quotes/?stands=open").content.decode()
    with translation.override("de"):
        assert QuoteFilter({"text": f"Angebot {quote.number}"}, Quote.objects.all()).qs.get() == quote
    assert "Ostler &amp; Fell" not in desk.get("/quotes/?stands=ordered").content.decode()
    wrong = desk.post(f"/quotes/{quote.number}/order/", {"customer": customer.pk, "due_on": ""})
    assert wrong.status_code == 422
    placed = desk.post(f"/quotes/{quote.number}/order/", {"customer": customer.pk, "due_on": f"{quote.promised_on}"})
    order = Order.objects.get()
    assert placed["Location"] == f"/order/{order.number}/"
    assert f"/quotes/{quote.number}/" in desk.get(f"/order/{order.number}/").content.decode()


def test_a_program_quotes_keeps_and_orders(desk, cloth):
    customer = make_customer(code="OST")

    def send(address, said):
        return desk.post(f"/api/{address}", said, content_type="application/json")

    words = {"colourway": cloth.pk, "pieces": 2, "length_m": "60 m", "margin_pct": "30"}
    shown = send("quote-figures/", words).json()
    assert (shown["currency"], shown["missing"], shown["set_up"], shown["loom"]) == ("GBP", [], "gait-up", "7")
    assert D(shown["price"]) * D("0.70") >= D(shown["cost"])
    kept = send("quotes/", {**words, "key": "k1", "customer": "OST", "seen_price": shown["price"]})
    assert kept.status_code == 201, kept.content
    assert send("quotes/", {**words, "key": "k1"}).json()["number"] == kept.json()["number"] == 1
    placed = send("quotes/1/place/", {"reference": "PO 9"})
    assert placed.json()["stands"] == "ordered"
    assert placed.json()["order"] == Order.objects.get(customer=customer).number
    refused = send("quotes/1/drop/", {"why": "No."})
    assert (refused.status_code, "Call its line off" in refused.json()["detail"]) == (400, True), refused.content
    line = Order.objects.get().lines.get()
    sheet = desk.get(f"/api/costs/order-lines/{line.pk}/").json()
    assert sheet["of"] == f"Line {line}"
    assert {row["name"] for row in sheet["lines"]} >= {"warp_yarn", "set_up", "total", "per_m"}
    assert desk.get("/api/quotes/?customer__code=OST").json()["count"] == 1
    assert desk.get("/api/costs/warps/99999999999/").status_code == 404


def test_every_amount_of_a_quote_opens_to_its_working_and_prints_as_a_sheet(desk, cloth, planner):
    kept = quotes.keep_quote(asked(cloth), by=planner, key="one")
    where = urlencode({"colourway": cloth.pk, "pieces": 2, "length_m": "60", "set_up": "gait-up"})
    for page in (desk.get("/quotes/1/"), desk.get(f"/quotes/new/?{where}")):
        rows = page.context["lines"]
        assert {row.name for row, _ in rows} >= {"warp_yarn", "set_up", "weaving", "total", "price_per_m", "price"}
        for row, steps in rows:
            # The last step gives the amount that is shown, and the page has it under the amount.
            assert D(str(steps[-1].value)) == row.amount, row.name
            assert f'id="sum-{row.name}"' in page.content.decode()
            assert f'id="quote-{row.name}-step-{steps[-1].name}"' in page.content.decode()
    sheet = desk.get("/quotes/1/?sheet=worked").content.decode()
    for step in kept.figures["working"]:
        assert step["label"] in sheet
    # Where each number comes from: the warp's figures, the rate in force and from which day.
    assert "min (figures of the warp, loom 7) ÷ 60 × 18 GBP (in force from" in sheet
    assert "ends by the mill’s own minutes of a set-up, gait-up) ÷ 60 × 24 GBP" in sheet
    assert "data-print" in sheet
