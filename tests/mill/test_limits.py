"""Limits: what is too much or too often is refused, says for how long, and keeps nobody else waiting."""

from datetime import timedelta

import pytest
import time_machine
from django.contrib.auth import get_user_model
from django.test import Client
from django.utils import timezone

from mill import limits, roles, tokens
from mill.models import Guess, Mill
from planning.models import FloorEvent
from planning.services import feeds, tickets
from tests.make import make_person
from tests.planning.floor_walk import make_worker, wound_warp

LOOMS = "/api/looms/"
PASSWORD = "four cones of fell wool"
pytestmark = pytest.mark.django_db


def ask(secret, address=LOOMS, **extra):
    return Client().get(address, HTTP_AUTHORIZATION=f"Bearer {secret}", **extra)


@pytest.fixture
def noon():
    with time_machine.travel("2026-11-25 12:00:00+00:00", tick=False) as clock:
        yield clock


@pytest.fixture
def person():
    def make(name, *held):
        client = Client()
        client.force_login(make_person(name, *held, password=PASSWORD))
        return client

    return make


# Requests


def test_a_token_that_asks_too_much_waits_and_no_other_does(planner, settings, noon):
    settings.API_LIMIT = 5
    _, greedy = tokens.make_token(name="Greedy", may_write=False, by=planner)
    _, other = tokens.make_token(name="Other", may_write=False, by=planner)
    noon.shift(timedelta(seconds=20))
    assert [ask(greedy).status_code for _ in range(6)] == [200] * 5 + [429]
    said = ask(greedy)
    assert said.headers["Content-Type"] == "application/problem+json"
    # Counted by the minute of the clock: 40 s of it are left.
    assert said.headers["Retry-After"] == "40"
    assert "more than 5 requests of the API within a minute. Wait 40 seconds" in said.json()["detail"]
    assert ask(other).status_code == 200
    noon.shift(timedelta(seconds=40))
    assert ask(greedy).status_code == 200


def test_a_person_is_counted_as_well_and_0_is_no_limit(desk, settings, noon):
    settings.API_LIMIT = 2
    assert [desk.get(LOOMS).status_code for _ in range(3)] == [200, 200, 429]
    settings.API_LIMIT = 0
    assert desk.get(LOOMS).status_code == 200


def test_an_open_book_on_its_own_machine_has_no_limit(planner, settings, noon):
    settings.OPEN_BOOK, settings.API_LIMIT = True, 1
    here = Client()
    assert [here.get(LOOMS).status_code for _ in range(4)] == [200] * 4
    assert [here.post("/mill/backups/").status_code for _ in range(14)] == [302] * 14
    Mill.objects.update_or_create(pk=1, defaults={"lies_open": False})
    here.force_login(planner)
    assert [here.get(LOOMS).status_code for _ in range(2)] == [200, 429]


def test_two_web_processes_without_a_shared_counter_still_answer(planner, settings, monkeypatch, caplog, noon):
    """What is at the address is no Redis: the process counts by itself, and says so once."""
    settings.CACHES = {
        **settings.CACHES,
        "default": {
            "BACKEND": "django.core.cache.backends.redis.RedisCache",
            "LOCATION": "redis://127.0.0.1:1/0",
            "OPTIONS": {"socket_connect_timeout": 0.5},
        },
    }
    monkeypatch.setattr(limits, "_left_alone_until", 0.0)
    settings.API_LIMIT = 2
    _, secret = tokens.make_token(name="One", may_write=False, by=planner)
    with caplog.at_level("WARNING"):
        assert [ask(secret).status_code for _ in range(3)] == [200, 200, 429]
    assert [r.message.partition(" (")[0] for r in caplog.records if r.name == "mill.limits"] == [
        "The shared counter does not answer"
    ]


def test_imports_and_backups_are_limited_by_themselves(desk, monkeypatch, noon):
    monkeypatch.setattr(limits.ImportsThrottle, "limit", limits.Limit("files brought in", 1, 600))
    sent = {"csv": "code;name\nWO;wool", "is_check": True}
    first, second = (desk.post("/api/imports/fibres/", sent, content_type="application/json") for _ in range(2))
    assert first.status_code != 429
    assert second.status_code == 429
    assert "more than 1 files brought in within 10 minutes" in second.json()["detail"]
    assert desk.get("/api/imports/").status_code == 200
    answers = [desk.post("/mill/backups/") for _ in range(limits.BACKUPS.most + 1)]
    assert {answer.status_code for answer in answers[:-1]} == {302}
    assert answers[-1].status_code == 429
    assert int(answers[-1].headers["Retry-After"]) <= limits.BACKUPS.within_s
    assert "more than 12 backups asked for within 60 minutes" in answers[-1].content.decode()
    # By page or by program, it is the same person.
    assert desk.post("/api/backups/").status_code == 429
    assert desk.get("/mill/backups/").status_code == 200


def test_files_brought_in_on_the_page_are_limited_too(desk, noon):
    answers = [desk.post("/import/fibres/").status_code for _ in range(limits.IMPORTS.most + 1)]
    assert set(answers[:-1]) == {200}
    assert answers[-1] == 429


# Guesses


def test_whoever_guesses_the_old_password_at_an_open_desk_is_shut_out(person, noon):
    client = person("rowan", roles.READER)
    new = {"new_password1": "nine dry cones of wool", "new_password2": "nine dry cones of wool"}
    for n in range(limits.OLD_PASSWORD.most):
        assert client.post("/password/", {"old_password": f"a guess {n}", **new}).status_code == 200
    shut = client.post("/password/", {"old_password": PASSWORD, **new})
    assert shut.status_code == 429
    assert shut.headers["Retry-After"] == "900"
    assert get_user_model().objects.get(username="rowan").check_password(PASSWORD)
    assert person("hazel", roles.READER).post("/password/", {"old_password": PASSWORD, **new}).status_code == 302
    noon.shift(timedelta(minutes=15, seconds=1))
    client.force_login(get_user_model().objects.get(username="rowan"))
    assert client.post("/password/", {"old_password": PASSWORD, **new}).status_code == 302


@pytest.fixture
def floor(person, planner):
    """A page of the floor, and who stands before it."""
    make_worker(code="ADA")
    ticket = tickets.issue_ticket(wound_warp(planner), by=planner)
    client = person("floor", roles.WEAVER)

    def tell(code, key):
        return client.post(f"/floor/{ticket.token}/", {"key": key, "kind": "gaited", "worker": code})

    return client, ticket, tell


def test_whoever_guesses_short_codes_is_not_listened_to_for_a_while(floor, noon):
    client, ticket, tell = floor
    for n in range(limits.FLOOR_CODE.most):
        assert "Nobody of the floor has the code" in tell(f"Q{n}", f"k{n}").content.decode()
    shut = tell("ADA", "right")
    assert shut.status_code == 429
    assert "A wrong short code was said 8 times" in shut.content.decode()
    tap = {"key": "phone", "token": ticket.token, "kind": "gaited", "worker": "ADA"}
    kept = client.post("/api/floor/taps/", {"events": [tap]}, content_type="application/json")
    assert kept.status_code == 429
    assert not FloorEvent.objects.exists()
    noon.shift(timedelta(minutes=15, seconds=1))
    assert tell("ADA", "later").status_code == 302
    assert FloorEvent.objects.get().key == "later"


def test_the_same_slip_again_and_again_is_one_guess(floor):
    *_, tell = floor
    for n in range(20):
        assert tell("ASA", f"k{n}").status_code == 422
    assert tell("ADA", "right").status_code == 302


def test_guesses_sent_by_a_phone_in_one_go_end_where_others_do(floor):
    client, ticket, _ = floor
    taps = [{"key": f"k{n}", "token": ticket.token, "kind": "gaited", "worker": f"Q{n}"} for n in range(10)]
    taps.append({"key": "right", "token": ticket.token, "kind": "gaited", "worker": "ADA"})
    told = client.post("/api/floor/taps/", {"events": taps}, content_type="application/json").json()
    assert not any(one["is_kept"] for one in told)
    assert "Nobody of the floor has the code Q7" in told[7]["refused"]
    assert {one["refused"].partition(" was said")[0] for one in told[8:]} == {"A wrong short code"}


def test_whoever_tries_addresses_of_feeds_is_sent_away_and_nobody_else_is(planner):
    _, secret = feeds.make_link(what="shed", label="Shed", by=planner)
    right = f"/calendar/{secret}/shed.ics"
    stale = "/calendar/of-last-year/shed.ics"
    guesser = Client(REMOTE_ADDR="192.0.2.7")
    for n in range(limits.FEED.most):
        # A calendar program that asks at its old address all day guesses nothing.
        assert Client().get(stale).status_code == 404
        assert guesser.get(f"/calendar/{n:032x}/shed.ics").status_code == 404
    sent_away = guesser.get(right)
    assert sent_away.status_code == 429
    assert int(sent_away.headers["Retry-After"]) > 0
    assert Client().get(right).status_code == 200
    assert Client().get(stale).status_code == 404


def test_whoever_tries_tokens_is_sent_away(planner):
    answers = [ask(f"guess {n}", REMOTE_ADDR="192.0.2.7").status_code for n in range(limits.TOKEN.most + 1)]
    assert answers == [401] * limits.TOKEN.most + [429]
    assert ask("guess", REMOTE_ADDR="192.0.2.8").status_code == 401


def test_guesses_are_hashed_and_forgotten(planner):
    ask("a secret of somebody's")
    guess = Guess.objects.get()
    assert "secret" not in str(vars(guess))
    Guess.objects.update(at=timezone.now() - timedelta(hours=1))
    ask("another")
    assert Guess.objects.exclude(pk=guess.pk).count() == Guess.objects.count() == 1


@pytest.mark.parametrize(
    ("https", "forwarded", "said"),
    [
        (False, "198.51.100.9", "192.0.2.7"),
        (True, "203.0.113.5, 198.51.100.9", "198.51.100.9"),
        (True, "nobody's", "192.0.2.7"),
        (True, "", "192.0.2.7"),
    ],
)
def test_who_asks_is_whom_the_proxy_names_last_and_only_where_there_is_one(rf, settings, https, forwarded, said):
    settings.SECURE_COOKIES = https
    assert limits.address_of(rf.get("/", REMOTE_ADDR="192.0.2.7", HTTP_X_FORWARDED_FOR=forwarded)) == said
