"""Money on its pages and over the API: written down by owners and planners, seen by nobody else."""

from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client

from mill import roles
from mill.models import Change, Mill
from planning.models import Rate, YarnPrice
from tests.make import make_delivery, make_loom, make_lot, make_person, make_yarn

pytestmark = pytest.mark.django_db

D = Decimal


@pytest.fixture
def others(db):
    """Everybody who is neither owner nor planner, in one person."""
    client = Client()
    client.force_login(make_person("merle", *roles.EVERYBODY - {roles.OWNER, roles.PLANNER}))
    return client


def test_a_rate_and_a_price_are_written_down_listed_and_struck_out(desk):
    make_loom(code="7", kind="Pedal")
    answer = desk.post("/mill/rates/new/", {"kind": "loom", "of": "Pedal", "amount": "18.50", "from_on": "2026-01-01"})
    assert answer.status_code == 302, answer.content.decode()
    rate = Rate.objects.get()
    assert (rate.amount, rate.basis) == (D("18.50"), "")
    listed = desk.get("/mill/rates/?kind=loom").content.decode()
    assert "weaving, a loom-hour" in listed
    assert "18.5" in listed
    lot = make_lot(yarn=make_yarn(code="FELL-03"), label="L77")
    answer = desk.post("/mill/prices/new/", {"lot": "L77", "per_kg": "11.25", "from_on": "2026-01-01"})
    assert answer.status_code == 302, answer.content.decode()
    price = YarnPrice.objects.get()
    assert (price.yarn, price.lot, price.per_kg) == (lot.yarn, lot, D("11.25"))
    assert 'value="L77"' in desk.get(f"/mill/prices/{price.pk}/").content.decode()
    assert "11.25" in desk.get("/mill/prices/?text=FELL").content.decode()
    assert "11.25" not in desk.get("/mill/prices/?text=BURN").content.decode()
    desk.post(f"/mill/prices/{price.pk}/", {"act": "strike"})
    assert not YarnPrice.objects.exists()


@pytest.mark.parametrize(
    ("page", "said", "why"),
    [
        ("rates", {"kind": "step", "of": "", "basis": "m"}, "Say which finishing step"),
        ("rates", {"kind": "loom", "of": "77"}, "No loom is numbered “77”"),
        ("prices", {"lot": "L99"}, "There is no “L99”"),
        ("prices", {}, "Say of which yarn, or of which delivery or lot."),
    ],
)
def test_what_is_wrong_is_said_beside_its_field(desk, page, said, why):
    answer = desk.post(f"/mill/{page}/new/", {"amount": "1", "per_kg": "1", "from_on": "2026-01-01", **said})
    assert why in answer.content.decode()
    assert not Rate.objects.exists()
    assert not YarnPrice.objects.exists()


def test_another_currency_is_refused_on_the_mill_s_page(desk):
    Rate.objects.create(kind=Rate.WARPING, amount=30, from_on="2026-01-01")
    form = desk.get("/mill/").context["form"]
    said = {name: form[name].value() for name in form.fields if form[name].value() is not None}
    answer = desk.post("/mill/", {**said, "currency": "EUR"})
    assert "stand in GBP" in str(answer.context["form"].errors)
    assert "three capitals" in desk.post("/mill/", {**said, "currency": "eur"}).content.decode()
    assert Mill.the_one().currency == "GBP"


def test_a_program_writes_rates_and_prices(desk):
    def send(address, said, method="post"):
        return getattr(desk, method)(f"/api/{address}", said, content_type="application/json")

    made = send("rates/", {"kind": "warping", "amount": "30", "from_on": "2026-01-01"})
    assert made.status_code == 201, made.content
    again = send("rates/", {"kind": "warping", "of": "", "amount": "31", "from_on": "2026-01-01"})
    assert again.status_code == 400, again.content
    assert send(f"rates/{made.json()['id']}/", {"amount": "32"}, "patch").json()["amount"] == "32.0000"
    wrong = send("rates/", {"kind": "step", "amount": "1", "from_on": "2026-01-01", "basis": "m"})
    assert "Say which finishing step" in wrong.json()["errors"]["of"][0]
    delivery = make_delivery(yarn=make_yarn(code="FELL-03"))
    said = {"yarn": "FELL-03", "delivery": delivery.number, "per_kg": "9.90", "from_on": "2026-01-01"}
    price = send("yarn-prices/", said)
    assert price.status_code == 201, price.content
    assert price.json() == {"id": price.json()["id"], "lot": None, **said, "per_kg": "9.9000"}
    assert desk.get("/api/yarn-prices/?yarn__code=FELL-03").json()["count"] == 1
    assert desk.delete(f"/api/yarn-prices/{price.json()['id']}/").status_code == 204


def test_what_became_of_money_is_told_to_owners_and_planners_alone(desk, others, planner):
    desk.post("/mill/rates/new/", {"kind": "warping", "amount": "37.25", "from_on": "2026-01-01"})
    desk.patch(f"/api/rates/{Rate.objects.get().pk}/", {"amount": "38.75"}, content_type="application/json")
    make_loom()
    assert Change.objects.filter(kind="planning.rate").count() == 2
    of_it = f"/mill/changes/planning.rate/{Rate.objects.get().pk}/"
    for client, sees in ((desk, True), (others, False)):
        page, feed = client.get("/mill/changes/").content.decode(), client.get("/api/changes/").json()
        assert ("38.75" in page) == sees
        if connection.vendor != "postgresql":  # whose feed ends before what is still open, as a test's own writing is
            assert ("planning.rate" in {change["kind"] for change in feed["changes"]}) == sees
            assert "planning.loom" in {change["kind"] for change in feed["changes"]}
        assert client.get(of_it).status_code == (200 if sees else 404)
        assert ("/mill/rates/" in client.get("/mill/").content.decode()) == sees


def test_nobody_else_comes_near_money(others):
    make_loom()
    for name in roles.TABLE:
        part = roles.TABLE[name]
        if part.what.startswith("money"):
            assert part.readers == part.actors == frozenset({roles.OWNER, roles.PLANNER})
    for address in ("/mill/rates/", "/mill/rates/new/", "/mill/prices/", "/api/rates/", "/api/yarn-prices/"):
        assert others.get(address).status_code == 403, address
