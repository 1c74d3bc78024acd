"""Tokens: what opens, what doesn't, and what is kept of them."""

from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from mill import changes, roles, tokens
from mill.models import ApiToken, Change, KeptAnswer
from mill.refusal import Refusal
from tests.make import make_lot, make_person, make_place, make_role

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
    token, _ = tokens.make_token(name="The scales", may_write=False, by=other)
    stranger = Client()
    stranger.force_login(make_person("stranger", roles.READER))
    assert stranger.post(f"/mill/tokens/{token.pk}/withdraw/").status_code == 404
    assert "The scales" not in stranger.get("/mill/tokens/").content.decode()


def test_the_description_says_how_a_token_is_sent(desk):
    schema = desk.get("/api/schema/", HTTP_ACCEPT="application/vnd.oai.openapi+json").json()
    scheme = schema["components"]["securitySchemes"]["token"]
    assert (scheme["type"], scheme["scheme"]) == ("http", "bearer")
    assert {"token": []} in schema["paths"][LOOMS]["get"]["security"]


# Narrowed to some of their maker's roles


@pytest.mark.django_db
def test_a_token_does_what_its_roles_may_and_no_more():
    both = make_person("merle", roles.STOCK_KEEPER, roles.FINISHER)
    lot, _ = make_lot(), make_place(code="BAY-9")
    _, all_of_both = tokens.make_token(name="All", may_write=True, by=both)
    _, finishes = tokens.make_token(name="Finishes", may_write=True, by=both, held=[roles.FINISHER])
    move = f"/api/lots/{lot.pk}/move/"
    assert call(finishes, "post", move, key="k", place="BAY-9").status_code == 403
    # To measure a piece is a finisher's; that there is none of the number is another matter.
    assert call(finishes, "post", "/api/pieces/9/measure/").status_code == 404
    assert call(finishes).status_code == 200
    assert call(all_of_both, "post", move, key="k", place="BAY-9").status_code == 201


@pytest.mark.django_db
def test_an_owners_token_that_plans_does_not_see_backups(planner):
    _, plans = tokens.make_token(name="Plans", may_write=True, by=planner, held=[roles.PLANNER])
    _, owns = tokens.make_token(name="Owns", may_write=True, by=planner)
    assert call(plans, address="/api/backups/").status_code == 403
    assert call(owns, address="/api/backups/").status_code == 200
    assert call(plans, "post", "/api/customers/", code="KELD", name="Keld").status_code == 201


@pytest.mark.django_db
def test_a_token_never_does_more_than_its_maker_may_now():
    merle = make_person("merle", roles.FINISHER, roles.READER)
    _, secret = tokens.make_token(name="Finishes", may_write=True, by=merle, held=[roles.FINISHER])
    assert call(secret).status_code == 200
    merle.groups.set([make_role(roles.READER)])
    assert call(secret).status_code == 403
    _, whole = tokens.make_token(name="Whole", may_write=True, by=merle)
    assert call(whole, "post", "/api/pieces/9/measure/").status_code == 403
    merle.groups.add(make_role(roles.FINISHER))
    assert call(whole, "post", "/api/pieces/9/measure/").status_code == 404


@pytest.mark.django_db
def test_nobody_gives_a_token_a_role_of_others():
    merle = make_person("merle", roles.WARPER)
    with pytest.raises(Refusal, match=r"don't hold planner, .*Choose of your own roles: warper"):
        tokens.make_token(name="More", may_write=True, by=merle, held=[roles.WARPER, roles.PLANNER])
    client = Client()
    client.force_login(merle)
    page = client.post("/mill/tokens/", {"name": "More", "roles": ["planner"]})
    assert page.context["form"].errors["roles"]
    answer = client.post("/api/tokens/", {"name": "More", "roles": ["planner"]}, content_type="application/json")
    assert answer.status_code == 400
    assert "Choose of your own roles" in answer.json()["errors"]["roles"][0]
    assert not ApiToken.objects.exists()


def test_the_page_offers_roles_and_shows_which(desk):
    page = desk.get("/mill/tokens/").content.decode()
    assert all(f'value="{role}"' in page for role in roles.ROLES)
    page = desk.post("/mill/tokens/", {"name": "Sheet", "roles": ["finisher", "warper"]})
    token = ApiToken.objects.get()
    assert token.named_roles == {roles.WARPER, roles.FINISHER}
    assert "<td>warper, finisher</td>" in page.content.decode()
    assert call(page.context["secret"], address="/api/backups/").status_code == 403
    told = desk.get(f"/mill/changes/mill.apitoken/{token.pk}/").content.decode()
    assert "Sheet" in told


def test_a_token_is_made_seen_and_withdrawn_over_the_api(desk):
    said = {"name": "Sheet", "may_write": True, "roles": ["finisher"], "ends_on": None}
    answer = desk.post("/api/tokens/", said, content_type="application/json", headers={"Idempotency-Key": "k1"})
    assert answer.status_code == 201, answer.content
    assert answer.headers["Cache-Control"] == "no-store"
    made = answer.json()
    number, secret = made["token"]["id"], made["secret"]
    assert made["token"]["roles"] == ["finisher"]
    assert call(secret).status_code == 200
    again = desk.post("/api/tokens/", said, content_type="application/json", headers={"Idempotency-Key": "k1"})
    assert again.status_code == 422
    assert "said once" in again.json()["detail"]
    assert secret.encode() not in bytes(KeptAnswer.objects.get().body)
    listed = desk.get("/api/tokens/")
    assert secret not in listed.content.decode()
    assert [one["name"] for one in listed.json()["results"]] == ["Sheet"]
    assert desk.post(f"/api/tokens/{number}/withdraw/").json()["withdrawn_at"]
    assert call(secret).status_code == 401


@pytest.mark.django_db
def test_a_token_makes_no_other(planner):
    _, secret = tokens.make_token(name="One", may_write=True, by=planner)
    answer = call(secret, "post", "/api/tokens/", name="Two")
    assert answer.status_code == 403
    assert "A token makes no other" in answer.json()["detail"]
    assert call(secret, address="/api/tokens/").json()["count"] == 1
    # In wrong hands it can be shut by whoever holds it.
    assert call(secret, "post", f"/api/tokens/{ApiToken.objects.get().pk}/withdraw/").status_code == 200
    assert call(secret).status_code == 401


@pytest.mark.django_db
def test_others_tokens_are_not_seen_over_the_api():
    mine, other = make_person("merle", roles.READER), make_person("other", roles.READER)
    token, _ = tokens.make_token(name="One", may_write=False, by=other)
    client = Client()
    client.force_login(mine)
    assert client.get("/api/tokens/").json()["count"] == 0
    assert client.post(f"/api/tokens/{token.pk}/withdraw/").status_code == 404
