"""Who may do what: the table names every address, the pages and the API keep to it, and people are looked after."""

import os
import re
import secrets
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.contrib.auth import get_user_model
from django.db import connection, transaction
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver
from django.utils.html import escape

from mill import people, roles
from mill.models import Mill
from mill.refusal import Refusal
from tests.inventory.test_pages import text_of
from tests.make import make_line, make_loom, make_lot, make_order, make_person, make_warp, make_yarn

PASSWORD = "four cones of fell wool"


def addresses(resolver: URLResolver, before: str = "") -> Iterator[tuple[str, URLPattern]]:
    for pattern in resolver.url_patterns:
        if isinstance(pattern, URLPattern):
            yield before + str(pattern.pattern), pattern
        elif str(pattern.pattern) != "desk/":
            yield from addresses(pattern, before + str(pattern.pattern))


@pytest.fixture
def person(db):
    def make(*held: str, name: str = "Merle"):
        return make_person(name.lower(), *held, password=PASSWORD, first_name=name)

    return make


@pytest.fixture
def signed_in(person):
    def make(*held: str) -> Client:
        client = Client()
        client.force_login(person(*held))
        return client

    return make


def test_every_address_is_in_the_table_and_no_other():
    found = {pattern.name for _, pattern in addresses(get_resolver())}
    assert None not in found, "an address without a name"
    assert found - roles.TABLE.keys() == set(), "addresses that the table of roles doesn't know"
    assert roles.TABLE.keys() - found == set(), "the table of roles names addresses that are gone"


def test_who_acts_reads_and_the_owner_does_everything():
    for part in roles.PARTS:
        assert part.actors <= part.readers
        # A reader who could fill in a form would learn at its end that it was in vain.
        for name in roles.FORMS.intersection(part.names):
            assert roles.who_may(name, "GET") == roles.who_may(name, "POST")
        assert roles.OWNER in part.readers
        assert roles.OWNER in part.actors or part.actors == roles.NOBODY
    reader = {n for n in roles.TABLE if roles.may({roles.READER}, n, "POST")}
    sums = {n for part in roles.PARTS if part.what == "sums that write nothing" for n in part.names}
    own = {"own_password", "sit_as", "tokens", "token_withdraw", "keys"}
    own |= {"token-list", "token-detail", "token-withdraw", "feeds", "feed_withdraw"}
    own |= {"feedlink-list", "feedlink-detail", "feedlink-withdraw"}
    at_the_door = {n for part in roles.PARTS if part.is_open for n in part.names}
    assert reader - sums - at_the_door == own


# An argument for every kind of address; what it names need not be there.
ARGUMENTS = {
    "number": "1",
    "pk": "1",
    "code": "X",
    "token": "x",
    "what": "orders",
    "label": "X",
    "name": "x",
    "kind": "yarns",
    "slug": "place-an-order",
    "decimal": "point",
    "position": "1",
    "revision": "1",
    "colourway": "1",
    "on": "2026-11-25",
    "papers": "weaver",
    "key": "x",
}
# All addresses as one role take seven seconds: the fast suite asks as whoever may everything, and as whoever may nothing.
OFTEN = {(), (roles.OWNER,)}
HOLDERS = [
    pytest.param(held, marks=[] if held in OFTEN else pytest.mark.slow, id=", ".join(held) or "no role")
    for held in [(), *[(role,) for role in roles.ROLES]]
]


def address_of(route: str, pattern: URLPattern) -> str:
    from django.urls import reverse

    if pattern.name == "lot_write":
        return reverse("lot_write", kwargs={"label": "X", "name": "waste"})
    given = {name: ARGUMENTS[name] for name in pattern.pattern.regex.groupindex if name != "format"}
    if pattern.name == "changes_of":
        given["kind"] = "planning.loom"
    return reverse(pattern.name, kwargs=given)


@pytest.mark.django_db
@pytest.mark.parametrize("held", HOLDERS)
def test_every_address_answers_each_role_as_the_table_says(signed_in, held):
    client = signed_in(*held)
    client.raise_request_exception = False
    mine = frozenset(held)
    for route, pattern in addresses(get_resolver()):
        address = address_of(route, pattern)
        if pattern.name in {"sign_in", "sign_out", "first_owner"}:
            continue  # these change who sits there
        for method in ("GET", "POST"):
            answer = client.generic(method, address, content_type="application/json" if "/api/" in address else "")
            may = roles.may(mine, pattern.name, method)
            assert answer.status_code < 500, f"{method} {address}: {answer.status_code}"
            assert (answer.status_code == 403) == (not may), f"{method} {address}: {answer.status_code}, may: {may}"


@pytest.mark.django_db
def test_somebody_without_a_role_signs_out(signed_in):
    client = signed_in()
    assert client.get("/").status_code == 403
    assert client.post("/sign-out/").status_code == 302
    assert client.get("/")["Location"].startswith("/sign-in/")


def test_the_table_of_the_documents_is_the_program_s():
    """mill/roles.md, line by line; what differs is shown, to be written there."""
    rows = [["part of the book", *roles.ROLES], ["---"] * (len(roles.ROLES) + 1)]
    rows += [
        [part.what, *("whoever" if part.is_open else roles.can(part, role) for role in roles.ROLES)]
        for part in roles.PARTS
    ]
    table = "".join(f"| {' | '.join(row)} |\n" for row in rows)
    written = (Path(roles.__file__).parent / "roles.md").read_text()
    assert written[written.index("| part") :] == table


@pytest.mark.django_db
def test_nobody_gets_further_than_the_door_without_a_sign_in():
    client = Client()
    at_the_door = {name for part in roles.PARTS if part.is_open for name in part.names}
    assert at_the_door == {
        *("sign_in", "sign_out", "first_owner", "shed_feed", "loom_feed", "csv_feed"),
        *("floor_worker", "paper_worker", "floor_empty", "healthz", "readyz", "own_language"),
    }
    for route, pattern in addresses(get_resolver()):
        address = address_of(route, pattern)
        if pattern.name in at_the_door:
            continue
        for method in ("GET", "POST"):
            answer = client.generic(method, address)
            if address.startswith("/api/"):
                assert answer.status_code in {401, 403}, f"{method} {address}: {answer.status_code}"
            else:
                assert answer.status_code == 302, f"{method} {address}: {answer.status_code}"
                assert answer["Location"].startswith("/sign-in/"), f"{method} {address}"


# At the desk


def test_a_refusal_says_whose_it_is_and_changes_nothing(signed_in, person):
    person(roles.PLANNER, name="Hazel")
    warp = make_warp(pin_loom=make_loom())
    page = signed_in(roles.READER).post(f"/warps/{warp.number}/take-apart/")
    assert page.status_code == 403
    text = page.content.decode()
    assert "owner, planner" in text
    assert "Ask Hazel" in text
    warp.refresh_from_db()


def test_several_roles_are_held_together(signed_in):
    both = signed_in(roles.WARPER, roles.FINISHER)
    assert both.get("/pieces/").status_code == 200
    assert both.post("/warps/9999/wind/").status_code == 404
    assert both.post("/pieces/9999/").status_code == 404
    assert both.post("/warps/9999/split/").status_code == 403


def test_a_stock_keeper_writes_in_the_ledger_over_the_api_and_a_reader_does_not(signed_in):
    lot = make_lot(yarn=make_yarn(), grams=10_000)
    answer = signed_in(roles.READER).post(
        f"/api/lots/{lot.pk}/waste/", {"grams": 100, "key": "k1", "reason": "wet"}, content_type="application/json"
    )
    assert answer.status_code == 403


# People


@pytest.mark.parametrize("address", ["warp-proposals", "lot-shares"])
def test_who_may_look_at_proposals_may_not_make_warps_or_hold_lots_of_them(signed_in, address):
    reader = signed_in(roles.READER)
    assert reader.get(f"/api/{address}/").status_code == 200
    assert reader.post(f"/api/{address}/", {}, content_type="application/json").status_code == 403


def test_an_owner_takes_somebody_in_who_then_signs_in(signed_in):
    desk = signed_in(roles.OWNER)
    page = desk.post(
        "/mill/people/new/",
        {"name": "Rowan Pike", "sign_in": "rowan", "held": ["warper"], "password": PASSWORD, "again": PASSWORD},
        follow=True,
    )
    assert "Rowan Pike is taken in." in page.content.decode()
    client = Client()
    answer = client.post("/sign-in/", {"username": "rowan", "password": PASSWORD})
    assert answer.status_code == 302
    assert client.get("/mill/people/").status_code == 403
    assert "Rowan Pike" in client.get("/").content.decode()


@pytest.mark.parametrize(
    ("password", "wrong"),
    [("short cone", "too short"), ("rowanpike1234", "too similar"), ("1q2w3e4r5t6y", "too common")],
)
def test_a_weak_password_is_refused_and_what_was_typed_stays(signed_in, password, wrong):
    page = signed_in(roles.OWNER).post(
        "/mill/people/new/",
        {"name": "rowanpike", "sign_in": "rowanpike", "held": ["warper"], "password": password, "again": password},
    )
    text = page.content.decode()
    assert wrong in text
    assert 'value="rowanpike"' in text
    assert password not in text
    assert not get_user_model().objects.filter(username="rowanpike").exists()


def test_two_passwords_that_differ_are_refused(signed_in):
    page = signed_in(roles.OWNER).post(
        "/mill/people/new/",
        {"name": "R", "sign_in": "r", "held": [], "password": PASSWORD, "again": PASSWORD + "s"},
    )
    assert "not the same" in page.content.decode()


def test_a_person_laid_aside_is_signed_out_at_once(signed_in, person):
    desk = signed_in(roles.OWNER)
    rowan = person(roles.READER, name="Rowan")
    client = Client()
    client.force_login(rowan)
    assert client.get("/orders/").status_code == 200
    desk.post(f"/mill/people/{rowan.pk}/", {"name": "Rowan", "held": ["reader"]})
    assert client.get("/orders/").status_code == 302


def test_a_new_password_signs_the_old_one_out_everywhere(signed_in, person):
    desk = signed_in(roles.OWNER)
    rowan = person(roles.READER, name="Rowan")
    client = Client()
    client.force_login(rowan)
    other = "nine dry cones of fell wool"
    desk.post(f"/mill/people/{rowan.pk}/password/", {"password": other, "again": other})
    assert client.get("/orders/").status_code == 302
    assert Client().post("/sign-in/", {"username": "rowan", "password": PASSWORD}).status_code == 200
    assert Client().post("/sign-in/", {"username": "rowan", "password": other}).status_code == 302


def test_the_last_owner_stays_one(person):
    owner = person(roles.OWNER)
    with pytest.raises(Refusal, match="last owner"):
        people.change(owner, name="Merle", held=[roles.PLANNER], is_active=True, by=owner)
    with pytest.raises(Refusal, match="last owner"):
        people.change(owner, name="Merle", held=[roles.OWNER], is_active=False, by=owner)
    person(roles.OWNER, name="Hazel")
    people.change(owner, name="Merle", held=[roles.PLANNER], is_active=True, by=owner)
    owner = get_user_model().objects.get(pk=owner.pk)
    assert roles.roles_of(owner) == {roles.PLANNER}


def test_the_last_owner_who_can_sign_in_stays_one(person, settings):
    owner, other = person(roles.OWNER), person(roles.OWNER, name="Hazel")
    other.set_unusable_password()
    other.save()
    with pytest.raises(Refusal, match="the last owner with a password"):
        people.change(owner, name="Merle", held=[roles.OWNER], is_active=False, by=owner)
    # Whoever sits at an open book needs none.
    settings.OPEN_BOOK = True
    people.change(owner, name="Merle", held=[roles.OWNER], is_active=False, by=owner)
    assert list(people.owners()) == [other]


@pytest.mark.skipif(connection.vendor == "sqlite", reason="SQLite has one writer at a time anyway")
@pytest.mark.django_db(transaction=True)
def test_two_owners_who_lay_each_other_aside_at_once_leave_one():
    ada, bea = (make_person(name, roles.OWNER, password=PASSWORD) for name in ("ada", "bea"))
    refused = []

    def lay_bea_aside():
        try:
            people.change(bea, name="Bea", held=[roles.OWNER], is_active=False, by=ada)
        except Refusal as refusal:
            refused.append(refusal)
        finally:
            connection.close()

    meanwhile = threading.Thread(target=lay_bea_aside)
    with transaction.atomic():
        people.change(ada, name="Ada", held=[roles.OWNER], is_active=False, by=bea)
        meanwhile.start()
        meanwhile.join(1)
    meanwhile.join()
    assert len(refused) == 1
    assert list(people.owners()) == [bea]


@pytest.mark.skipif(connection.vendor == "sqlite", reason="SQLite has one writer at a time anyway")
@pytest.mark.django_db(transaction=True)
def test_of_two_owners_who_take_in_one_name_at_once_one_is_told_that_it_is_taken():
    ada = make_person("ada", roles.OWNER, password=PASSWORD)
    said = {"name": "Rowan", "sign_in": "rowan", "password": "", "held": [roles.READER], "by": ada}
    refused = []

    def take_rowan_in():
        try:
            people.take_in(**said)
        except Refusal as refusal:
            refused.append(refusal.field)
        finally:
            connection.close()

    meanwhile = threading.Thread(target=take_rowan_in)
    with transaction.atomic():
        people.take_in(**said)
        meanwhile.start()
        meanwhile.join(1)
    meanwhile.join()
    assert refused == ["sign_in"]


def test_everybody_changes_the_own_password(signed_in):
    client = signed_in(roles.READER)
    other = "nine dry cones of fell wool"
    page = client.post(
        "/password/", {"old_password": PASSWORD, "new_password1": other, "new_password2": other}, follow=True
    )
    assert "Your password is a new one" in page.content.decode()
    assert client.get("/orders/").status_code == 200


# A book that lies open


@pytest.fixture
def open_book(settings, db):
    settings.OPEN_BOOK = True
    return Client(headers={"Accept": "text/html"})


def test_a_book_that_is_nobodys_asks_whose_it_is(open_book):
    # However it is asked for: by a person, or by the program that waits until the book is open.
    for client in (open_book, Client()):
        assert client.get("/orders/", follow=True).redirect_chain[-1][0] == "/whose-book/"
    assert Client().get("/api/looms/").status_code == 401
    assert open_book.get("/healthz").status_code == 200
    assert not get_user_model().objects.exists()
    said = {"name": "Ada Birk", "sign_in": "ada", "password": PASSWORD, "again": PASSWORD, "lies_open": "on"}
    page = open_book.post("/whose-book/", said, follow=True)
    assert "The book is yours, Ada Birk." in page.content.decode()
    ada = get_user_model().objects.get()
    assert roles.roles_of(ada) == {roles.OWNER}
    # Another at the same machine: open, and hers.
    assert Client(headers={"Accept": "text/html"}).get("/orders/").status_code == 200
    assert open_book.get("/whose-book/")["Location"] == "/"


def test_a_closed_book_asks_everybody_to_sign_in(open_book):
    said = {"name": "Ada Birk", "sign_in": "ada", "password": PASSWORD, "again": PASSWORD}
    open_book.post("/whose-book/", said)
    assert not Mill.the_one().lies_open
    assert Client(headers={"Accept": "text/html"}).get("/orders/")["Location"].startswith("/sign-in/")


def test_nobody_elsewhere_makes_the_first_owner(settings, db):
    settings.OPEN_BOOK = True
    away = Client(REMOTE_ADDR="192.0.2.7", headers={"Accept": "text/html"})
    assert away.get("/orders/")["Location"].startswith("/sign-in/")
    said = {"name": "Mallory", "sign_in": "m", "password": PASSWORD, "again": PASSWORD}
    assert away.post("/whose-book/", said).status_code == 403
    for header in ("X-Forwarded-For", "Forwarded", "X-Forwarded-Host", "X-Forwarded-Proto", "X-Real-IP", "Via"):
        proxied = Client(headers={"Accept": "text/html", header: "192.0.2.7"})
        assert proxied.post("/whose-book/", said).status_code == 403, header
    assert not get_user_model().objects.exists()
    # And is told how it is done.
    assert "manage.py createsuperuser" in away.get("/sign-in/").content.decode()


def test_the_book_is_not_closed_while_no_owner_could_get_in(open_book, planner):
    planner.set_unusable_password()
    planner.save()
    page = open_book.post("/mill/people/open/", {}, follow=True)
    assert "nobody would get in" in page.content.decode()
    assert Mill.the_one().lies_open


def test_an_open_book_is_looked_at_as_another_role(open_book, planner):
    order = make_order()
    make_line(order=order)
    open_book.post("/mill/sit-as/", {"role": "weaver or tuner"})
    page = open_book.get("/orders/")
    assert "You see the book as weaver or tuner." in page.content.decode()
    assert open_book.post("/orders/new/", {}).status_code == 403
    open_book.post("/mill/sit-as/", {"role": ""})
    assert open_book.post("/orders/new/", {}).status_code == 200


def test_nobody_who_signed_in_sits_as_somebody_else(signed_in):
    client = signed_in(roles.READER)
    client.post("/mill/sit-as/", {"role": "owner"})
    assert client.post("/orders/new/", {}).status_code == 403


def test_the_page_of_roles_shows_the_table(signed_in):
    page = signed_in(roles.READER).get("/mill/roles/")
    for part in roles.PARTS:
        assert escape(part.what) in text_of(page)
    for role in roles.ROLES:
        assert f'<th scope="col">{role}</th>' in page.content.decode()


# At the door


@pytest.mark.django_db
def test_whoever_guesses_is_shut_out_for_a_while(person):
    person(roles.READER, name="Rowan")
    client = Client()
    for _ in range(8):
        answer = client.post("/sign-in/", {"username": "rowan", "password": "a guess"})
    assert answer.status_code == 429
    assert "wrong 8 times" in answer.content.decode()
    assert client.post("/sign-in/", {"username": "rowan", "password": PASSWORD}).status_code == 429


def test_the_settings_of_a_grown_mill_pass_the_frameworks_own_check(tmp_path):
    env = {
        **os.environ,
        "SHEDBOOK_HTTPS": "yes",
        "SHEDBOOK_HOSTS": "book.mill.example",
        "SHEDBOOK_SECRET_KEY": secrets.token_urlsafe(50),
        "SHEDBOOK_DATA": str(tmp_path),
    }
    command = [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"]
    said = subprocess.run(command, env=env, capture_output=True, text=True, timeout=120)
    assert said.returncode == 0, said.stderr


def test_no_page_carries_a_script_or_style_of_its_own(signed_in):
    page = signed_in(roles.OWNER).get("/mill/people/")
    assert "default-src 'self'" in page.headers["Content-Security-Policy"]
    for path in (Path(__file__).parents[2] / "templates").rglob("*.html"):
        text = path.read_text()
        assert not re.search(r"<style\b|\sstyle=\"|\son(click|load|change|submit|input)=", text), path
        assert not re.search(r"<script\b(?![^>]*\bsrc=)", text), path


@pytest.mark.django_db
def test_a_sign_in_leads_to_no_other_house(person):
    person(roles.READER, name="Rowan")
    said = {"username": "rowan", "password": PASSWORD, "next": "https://elsewhere.example/"}
    assert Client().post("/sign-in/", said)["Location"] == "/"


@pytest.mark.django_db
def test_another_hosts_name_is_refused():
    assert Client(SERVER_NAME="elsewhere.example").get("/sign-in/").status_code == 400


def test_the_tests_that_the_page_on_attackers_names_are_there():
    tests = "\n".join(path.read_text() for path in Path(__file__).parents[1].rglob("test_*.py"))
    said = (Path(__file__).parents[2] / "mill" / "security.md").read_text()
    named = re.findall(r"`(test_\w+)`", said)
    assert len(named) > 10
    assert [name for name in named if f"def {name}(" not in tests] == []
