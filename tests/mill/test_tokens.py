"""Tokens: what opens, what doesn't, and what is kept of them."""

from datetime import timedelta

import pytest
from django.contrib.auth.models import Group
from django.test import Client
from django.utils import timezone

from mill import changes, tokens
from mill.models import ApiToken, Change
from mill.refusal import Refusal
from tests.make import make_lot, make_place

LOOMS = "/api/looms/"


def call(secret, method="get", address=LOOMS, **data):
    client = Client(enforce_csrf_checks=True)
    return getattr(client, method)(
        address, data or None, content_type="application/json", HTTP_AUTHORIZATION=f"Bearer {secret}"
    )


def test_a_token_opens_the_api_and_only_its_hash_is_kept(planner):
    token, secret = tokens.make_token(name="Spreadsheet", may_write=False, by=planner)
    assert call(secret).status_code == 200
    token.refresh_from_db()
    assert token.last_used_at
    assert len(secret) == 43
    assert secret not in str(vars(token))


def test_who_sends_no_token_or_a_wrong_one_is_asked_for_one(db):
    for answer in (Client().get(LOOMS), call("wrong"), call("")):
        assert answer.status_code == 401
        assert answer.headers["WWW-Authenticate"] == "Bearer"
        assert answer.headers["Content-Type"] == "application/problem+json"


def test_a_withdrawn_token_and_one_that_is_over_open_nothing(planner):
    token, secret = tokens.make_token(name="One", may_write=False, by=planner)
    tokens.withdraw_token(token, by=planner)
    assert call(secret).status_code == 401
    token, secret = tokens.make_token(name="Two", may_write=False, by=planner, ends_on=timezone.localdate())
    assert call(secret).status_code == 200
    ApiToken.objects.filter(pk=token.pk).update(ends_on=timezone.localdate() - timedelta(days=1))
    assert call(secret).status_code == 401


def test_a_token_of_somebody_who_left_opens_nothing(planner):
    _, secret = tokens.make_token(name="One", may_write=False, by=planner)
    planner.is_active = False
    planner.save()
    assert call(secret).status_code == 401


def test_a_token_that_reads_only_writes_nothing(planner):
    lot, place = make_lot(), make_place(code="BAY-9")
    _, reads = tokens.make_token(name="Reads", may_write=False, by=planner)
    _, writes = tokens.make_token(name="Writes", may_write=True, by=planner)
    said = {"key": "k", "place": "BAY-9"}
    assert call(reads, "post", f"/api/lots/{lot.pk}/move/", **said).status_code == 403
    lot.refresh_from_db()
    assert lot.place != place
    assert call(writes, "post", f"/api/lots/{lot.pk}/move/", **said).status_code == 201
    last = Change.objects.filter(kind="inventory.yarnlot").first()
    assert last.by == planner


def test_a_token_is_named_once_and_its_making_is_told(planner):
    token, _ = tokens.make_token(name="One", may_write=False, by=planner)
    with pytest.raises(Refusal, match="called One already"):
        tokens.make_token(name="One", may_write=True, by=planner)
    tokens.withdraw_token(token, by=planner)
    tokens.make_token(name="One", may_write=True, by=planner)
    told = changes.told(Change.objects.filter(kind="mill.apitoken", row_pk=token.pk).order_by("pk"))
    assert [(change.what, change.by) for change in told] == [("+", planner), ("~", planner)]


def test_the_page_shows_the_secret_once(desk):
    made = desk.post("/mill/tokens/", {"name": "Sheet", "may_write": "on"})
    secret = made.context["secret"]
    assert secret in made.content.decode()
    assert made.headers["Cache-Control"] == "no-store"
    again = desk.get("/mill/tokens/").content.decode()
    assert secret not in again
    assert "Sheet" in again
    assert call(secret).status_code == 200
    desk.post(f"/mill/tokens/{ApiToken.objects.get().pk}/withdraw/")
    assert call(secret).status_code == 401


@pytest.mark.parametrize("said", [{"name": ""}, {"name": "Sheet", "ends_on": "2020-01-01"}])
def test_what_is_wrong_is_said_and_what_was_typed_stays(desk, said):
    answer = desk.post("/mill/tokens/", said)
    assert answer.context["form"].errors
    assert not ApiToken.objects.exists()
    assert said.get("ends_on", "") in answer.content.decode()


def test_nobody_withdraws_somebody_elses_token(desk, django_user_model):
    other = django_user_model.objects.create_user("other", password="only for tests")
    token, _ = tokens.make_token(name="One", may_write=False, by=other)
    stranger = Client()
    reader = django_user_model.objects.create_user("stranger", password="only for tests")
    reader.groups.add(Group.objects.get_or_create(name="reader")[0])
    stranger.force_login(reader)
    assert stranger.post(f"/mill/tokens/{token.pk}/withdraw/").status_code == 404
    assert "One" not in stranger.get("/mill/tokens/").content.decode()


def test_the_description_says_how_a_token_is_sent(desk):
    schema = desk.get("/api/schema/", HTTP_ACCEPT="application/vnd.oai.openapi+json").json()
    scheme = schema["components"]["securitySchemes"]["token"]
    assert (scheme["type"], scheme["scheme"]) == ("http", "bearer")
    assert {"token": []} in schema["paths"][LOOMS]["get"]["security"]
