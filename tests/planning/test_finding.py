"""Finding: a thing by what stands on it, whoever asks and however much there is."""

from datetime import date
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import translation

from mill import roles
from mill.desk import ROOM_KEYS, ROOMS
from planning.models import Dispatch, FinishingBatch, Piece
from planning.services import finding, quotes
from planning.services.quotes import Asked, Said
from tests.make import (
    make_customer,
    make_delivery,
    make_line,
    make_loom,
    make_lot,
    make_order,
    make_spec,
    make_supplier,
    make_ticket,
    make_warp,
    make_yarn,
)
from tests.planning.test_quotes import cloth as cloth_to_quote
from tests.planning.test_today import at_the_desk_as

__all__ = ["at_the_desk_as", "cloth_to_quote"]

pytestmark = pytest.mark.django_db


@pytest.fixture
def quoted(planner, cloth_to_quote):
    return quotes.keep_quote(
        Asked(colourway=cloth_to_quote, pieces=2, length_m=Decimal(60)),
        Said(customer=make_customer(name="Quillfeather")),
        by=planner,
        key="one",
    )


def titles(asked):
    return [hit.title for group in finding.find(asked, held=[roles.OWNER]) for hit in group.hits]


def opens(desk, asked):
    """Where asking for it leads at once."""
    answer = desk.get("/find/", {"q": asked})
    return answer.headers.get("Location")


def test_a_number_that_one_thing_has_goes_straight_there(desk):
    lot = make_lot(label="A12", dye_lot="DL-77")
    make_lot(label="A123")
    assert opens(desk, "a12") == reverse("lot", args=["A12"])
    assert opens(desk, " DL-77 ") == reverse("lot", args=[lot.label])
    loom = make_loom(code="P9")
    assert opens(desk, "P9") == reverse("loom", args=[loom.code])


def test_a_line_is_asked_for_by_its_german_word():
    line = make_line(order=make_order(number="9041"), position=3)
    make_order(number="90413")
    with translation.override("de"):
        assert titles("Zeile 9041") == titles("line 9041") == [str(line)] == ["9041/3"]


def test_every_kind_of_thing_is_found_by_its_own_name(desk, planner):
    customer = make_customer(code="HARROW", name="Harrow Tailors")
    order = make_order(number="9041", customer=customer, reference="PO 5561")
    spec = make_spec()
    line = make_line(order=order, spec=spec, position=3)
    warp = make_warp(spec=spec, lines=[line], number=81234)
    ticket = make_ticket(warp, number=71234)
    piece = Piece.objects.create(
        number="P-5512", spec=spec, woven_on=date(2026, 11, 2), grey_length_m=60, grey_width_cm=160
    )
    batch = FinishingBatch.objects.create(number=61234, step="scour", in_at="2026-11-02T08:00Z", key="b")
    sent = Dispatch.objects.create(number=51234, customer=customer, sent_on=date(2026, 11, 2), key="d")
    delivery = make_delivery(number="DEL-88")
    supplier = make_supplier(code="SUP1", name="Ashen Spinners")
    yarn = make_yarn(code="Y-MOSS")
    for asked, name, args in [
        ("9041", "order", ["9041"]),
        ("po 5561", "order", ["9041"]),
        ("9041/3", "order", ["9041"]),
        ("81234", "warp", [warp.number]),
        ("71234", "ticket", [ticket.number]),
        (ticket.token, "ticket", [ticket.number]),
        ("p-5512", "piece", [piece.number]),
        ("61234", "batch", [batch.number]),
        ("51234", "dispatch", [sent.number]),
        ("DEL-88", "delivery", [delivery.pk]),
        ("harrow", "customer", [customer.code]),
        ("ashen spinners", "supplier", [supplier.pk]),
        ("Y-MOSS", "yarn_one", [yarn.code]),
        (spec.cloth.name, "cloth", [spec.cloth.code]),
    ]:
        assert opens(desk, asked) == reverse(name, args=args), asked


def test_a_scanned_address_opens_what_it_is_the_address_of(desk):
    lot = make_lot(label="A/12 b")
    warp = make_warp(spec=make_spec())
    ticket = make_ticket(warp)
    at = "http://mill.example"
    assert opens(desk, at + reverse("lot", args=[lot.label])) == reverse("lot", args=[lot.label])
    assert opens(desk, at + reverse("scan", args=[ticket.token])) == reverse("ticket", args=[ticket.number])
    assert b"Nothing answers to" in desk.get("/find/", {"q": "http://elsewhere.example//evil.example/"}).content
    assert b"Nothing answers to" in desk.get("/find/", {"q": at + "/lots/none-such/"}).content


def test_a_number_that_two_things_have_shows_both(desk):
    warp = make_warp(spec=make_spec(), number=118)
    ticket = make_ticket(warp, number=118)
    assert titles("118") == [str(warp), str(ticket)]
    page = desk.get("/find/", {"q": "118"})
    assert page.status_code == 200
    assert str(warp) in page.content.decode()
    assert opens(desk, "warp 118") == reverse("warp", args=[118])
    assert opens(desk, "Ticket 118") == reverse("ticket", args=[118])


def test_what_begins_so_stands_before_what_merely_has_it():
    for label in ("XMOSS", "MOSS-2", "MOSS"):
        make_lot(label=label)
    assert [title for title in titles("moss") if "MOSS" in title] == ["MOSS", "MOSS-2", "XMOSS"]


def test_two_words_may_stand_in_two_places():
    yarn = make_yarn(name="Bracken")
    lot = make_lot(label="L-900", yarn=yarn)
    make_lot(label="L-901")
    assert titles("bracken L-90") == [lot.label]


@pytest.mark.parametrize("asked", ["öhler", "ÖHLER & söhne", "Söhne öhler"])
def test_a_name_is_found_however_its_umlauts_are_written(asked):
    customer = make_customer(name="Öhler & Söhne")
    assert titles(asked) == [str(customer)]


def test_a_customer_s_name_finds_their_orders():
    order = make_order(customer=make_customer(name="Quillfeather"))
    assert str(order) in titles("quillf")


@pytest.mark.parametrize("asked", ["", "   ", "%", "_", "\0", "'\"\\", "x" * 5000, "9" * 200, "/", "http://[", "٣"])
def test_odd_words_are_answered_with_a_page(desk, asked):
    make_lot(label="A12")
    assert desk.get("/find/", {"q": asked}).status_code == 200
    assert titles(asked) == []


def test_more_than_are_shown_is_said(desk):
    for n in range(finding.SHOWN + 1):
        make_lot(label=f"ZZ{n}")
    (group,) = finding.find("zz", held=[roles.READER])
    assert (len(group.hits), group.has_more) == (finding.SHOWN, True)
    assert b"There are more" in desk.get("/find/", {"q": "zz"}).content


def test_the_number_of_queries_does_not_grow_with_what_is_found(desk):
    def queries():
        with CaptureQueriesContext(connection) as asked:
            desk.get("/find/", {"q": "zz"})
        return len(asked)

    make_lot(label="ZZ-A")
    make_lot(label="ZZ-B")
    few = queries()
    for n in range(7):
        make_lot(label=f"ZZ{n}", yarn=make_yarn(name=f"zz {n}"))
        make_order(customer=make_customer(name=f"zz {n}"))
    assert queries() == few


def test_while_typing_only_the_part_under_the_box_is_sent(desk):
    make_lot(label="A12")
    part = desk.get("/find/", {"q": "A12"}, headers={"HX-Request": "true"})
    assert part.status_code == 200
    assert "HX-Request" in part.headers["Vary"]
    assert b"<html" not in part.content
    assert b"A12" in part.content


def test_programs_find_the_same(desk):
    lot = make_lot(label="A12")
    found = desk.get("/api/find/", {"q": "a12"}).json()
    (group,) = found["groups"]
    assert (group["kind"], group["hits"][0]["title"], group["hits"][0]["is_exact"]) == ("lot", lot.label, True)
    assert group["hits"][0]["page"] == reverse("lot", args=[lot.label])
    nothing = desk.get("/api/find/")
    assert nothing.status_code == 400
    assert "nothing to look for" in nothing.content.decode()


def test_every_page_has_the_box_and_every_room_a_key(desk):
    page = desk.get("/lots/").content.decode()
    assert 'action="/find/"' in page
    assert set(ROOM_KEYS) == {name for name, _ in ROOMS}
    assert len(set(ROOM_KEYS.values())) == len(ROOMS)


def test_the_keys_are_turned_off_and_on_again(desk):
    assert "data-keys=" in desk.get("/").content.decode()
    assert desk.post("/keys/", {"keys": "off"}).headers["Location"] == "/keys/"
    assert "data-keys=" not in desk.get("/").content.decode()
    assert "Turn the keys on" in desk.get("/keys/").content.decode()
    desk.post("/keys/", {"keys": "on"})
    assert "data-keys=" in desk.get("/").content.decode()


def test_somebody_who_is_not_signed_in_finds_nothing(client, settings):
    settings.OPEN_BOOK = False
    make_lot(label="A12")
    assert "sign-in" in client.get("/find/", {"q": "A12"}).headers["Location"]
    assert client.get("/api/find/", {"q": "A12"}).status_code in {401, 403}


def test_a_quote_is_found_by_whoever_may_read_money_and_by_nobody_else(quoted, at_the_desk_as):
    number = quoted.number
    desks = {role: at_the_desk_as(role) for role in roles.ROLES}
    for asked in (f"quote {number}", f"Quotes {number}", "quillf", f"http://mill.example/quotes/{number}/"):
        for role, client in desks.items():
            may = role in {roles.OWNER, roles.PLANNER}
            found = client.get("/api/find/", {"q": asked}).json()["groups"]
            assert ("quote" in {group["kind"] for group in found}) == may, (asked, role)
            page = client.get("/find/", {"q": asked})
            led = page.headers.get("Location", "") == reverse("quote", args=[number])
            assert (led or f'href="{reverse("quote", args=[number])}"' in page.content.decode()) == may, (asked, role)
    (group,) = finding.find(f"quote {number}", held=[roles.PLANNER])
    assert group.hits[0].said == f"Quillfeather, {quoted.spec.cloth}, {quoted.colourway}, open"


def test_whatever_is_found_opens_to_whoever_found_it(quoted, at_the_desk_as):
    for role in roles.ROLES:
        client = at_the_desk_as(role)
        for group in client.get("/api/find/", {"q": "quillfeather"}).json()["groups"]:
            assert client.get(group["hits"][0]["page"]).status_code == 200, (role, group["kind"])
