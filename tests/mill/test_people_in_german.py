"""People, roles, tokens, feeds and backups in German: whole pages, and refusals; the book and programs keep English."""

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from mill import backup, language, people, roles, tokens
from mill.meanwhile import version_of
from mill.models import ApiToken, Job, Person
from mill.refusal import Refusal
from planning.models import FeedLink
from planning.services import feeds
from tests.german import forgotten
from tests.make import make_loom, make_person

pytestmark = pytest.mark.django_db
# People and what they called things, a file's name, and what is spelt the same in both.
OWN = r"[Pp]lanner|Anneke|weaver|left|Robot.*|Sheet|Name|API|Token|CSV|shedbook-.*\.zip"


@pytest.fixture
def german(desk, planner) -> Client:
    people.speak(planner, language="de", by=planner)
    return desk


@pytest.fixture
def anneke(planner):
    """A weaver and finisher without a password, as the account tells of her."""
    new = people.take_in(name="Anneke", sign_in="weaver", password="", held=[roles.WEAVER, roles.FINISHER], by=planner)
    return people.change(new, name="Anneke", held=[roles.WEAVER, roles.FINISHER], is_active=True, by=planner)


def tokens_of_each_kind(by) -> None:
    tomorrow = timezone.localdate() + timedelta(days=1)
    tokens.make_token(name="Robot one", may_write=True, held=[roles.WARPER, roles.PLANNER], ends_on=tomorrow, by=by)
    gone, _ = tokens.make_token(name="Robot two", may_write=False, by=by)
    tokens.withdraw_token(gone, by=by)
    over, _ = tokens.make_token(name="Robot three", may_write=False, ends_on=tomorrow, by=by)
    ApiToken.objects.filter(pk=over.pk).update(ends_on=tomorrow - timedelta(days=2))


def feeds_of_each_kind(by, somebody) -> None:
    for what in feeds.PAGES:
        feeds.make_link(what=what, label="Sheet", loom=make_loom() if what == FeedLink.LOOM else None, by=by)
    gone, _ = feeds.make_link(what=FeedLink.PLAN, label="Sheet", by=by)
    feeds.withdraw_link(gone, by=by)
    feeds.make_link(what=FeedLink.PLAN, label="Sheet", by=somebody)
    FeedLink.objects.create(what=FeedLink.SHED, label="Sheet", digest="as before feeds had makers")


@pytest.mark.slow
def test_people_roles_tokens_and_feeds_are_whole_in_german(desk, planner, anneke):
    tokens_of_each_kind(planner)
    feeds_of_each_kind(planner, make_person("left"))
    at = f"/mill/people/{anneke.pk}"
    pages = ["/mill/people/", "/mill/people/new/", f"{at}/", f"{at}/password/", "/mill/roles/", "/mill/tokens/"]
    assert not forgotten(desk, planner, [*pages, "/mill/feeds/"], own=OWN)


@pytest.mark.slow
def test_an_open_book_is_looked_at_as_a_role_in_german(settings, planner):
    settings.OPEN_BOOK = True
    there = Client(headers={"Accept": "text/html"})
    assert not forgotten(there, planner, ["/mill/roles/"], own=OWN)
    page = there.get("/mill/roles/").content.decode()
    assert '<button name="role" value="warper">Schärerei</button>' in page
    assert f'<a class="term" href="{reverse("words")}#warp">Ketten</a>, wie geplant' in page


@pytest.mark.slow
def test_backups_are_whole_in_german(desk, planner, settings, tmp_path):
    """Where there is none, and where one is kept, one given up and one being written."""
    settings.BACKUPS_DIR = tmp_path / "none"
    assert not forgotten(desk, planner, ["/mill/backups/"], own=OWN)
    settings.BACKUPS_DIR = tmp_path
    kept = tmp_path / "shedbook-2026-11-27-020000.zip"
    kept.write_bytes(b"0" * 2_700_000)
    with pytest.raises(Refusal) as no:
        backup.check(kept)
    backup.ask()
    Job.objects.update(state=Job.FAILED, error=str(no.value))
    backup.ask()
    assert not forgotten(desk, planner, ["/mill/backups/"], own=OWN)
    page = desk.get("/mill/backups/").content.decode()
    assert f"Die letzte wurde aufgegeben: {kept} ist keine Sicherung, oder sie ist abgeschnitten" in page
    assert "Eine Sicherung wird geschrieben." in page
    assert "2,6\xa0MB" in page


def test_roles_that_two_give_one_person_are_german_words(german, planner, anneke):
    opened = version_of(Person.objects.get(user=anneke))
    people.change(anneke, name="Anneke", held=[roles.WARPER, roles.WEAVER], is_active=True, by=planner)
    said = {"opened": opened, "name": "Anneke", "held": roles.READER, "is_active": "on"}
    page = " ".join(german.post(f"/mill/people/{anneke.pk}/", said).content.decode().split())
    for words in ("Weber oder Webmeister, Ausrüstung", "Schärerei, Weber oder Webmeister", "Leser"):
        assert words in page
    assert Person.objects.get(user=anneke).roles == "warper, weaver or tuner"


def test_what_is_refused_is_said_in_german_and_a_program_is_told_in_english(german, planner, anneke):
    with pytest.raises(Refusal) as no:
        tokens.make_token(name="Robot", may_write=True, held=[roles.OWNER, roles.WARPER], by=anneke)
    assert str(no.value) == (
        "You don't hold owner, warper, and no token of yours does. Choose of your own roles: weaver or tuner, finisher."
    )
    with language.speaking("de"):
        assert no.value.message == (
            "Das sind nicht Ihre Rollen, also auch nicht die eines Ihrer Token: Inhaber, Schärerei. "
            "Wählen Sie unter Ihren eigenen: Weber oder Webmeister, Ausrüstung."
        )
    tokens.make_token(name="Robot", may_write=False, by=planner)
    page = german.post("/mill/tokens/", {"name": "Robot", "ends_on": "2020-01-31"}).content.decode()
    assert "Ein Token kann nicht am 31.01.2020 enden" in page
    assert "Sie haben schon ein Token namens Robot." in german.post("/mill/tokens/", {"name": "Robot"}).content.decode()
    assert (
        "Sagen Sie, welcher Webstuhl." in german.post("/mill/feeds/", {"what": "loom", "label": "x"}).content.decode()
    )
    answer = german.post("/api/tokens/", {"name": "Robot", "may_write": False}, content_type="application/json")
    assert "called Robot already" in answer.content.decode()
    said = {"name": "Planner", "held": [roles.PLANNER], "is_active": "on"}
    page = german.post(f"/mill/people/{planner.pk}/", said).content.decode()
    assert "Planner ist der letzte Inhaber." in page


def test_what_was_done_is_told_in_german_and_the_list_leaves_in_english(german, anneke):
    address = f"/mill/people/{anneke.pk}/password/"
    secret = "wool and warp and weft"
    page = german.post(address, {"password": secret, "again": secret}, follow=True).content.decode()
    assert "Anneke hat ein neues Passwort" in page
    page = german.post("/mill/tokens/", {"name": "Robot"}).content.decode()
    assert "Robot ist erstellt. Nehmen Sie das Token jetzt mit" in page
    page = german.post(f"/mill/tokens/{ApiToken.objects.get().pk}/withdraw/", follow=True).content.decode()
    assert "Das Token Robot ist zurückgezogen" in page
    page = german.post("/mill/people/open/", {"lies_open": "on"}, follow=True).content.decode()
    assert "Das Buch liegt auf seinem eigenen Rechner offen." in page
    rows = german.get("/mill/people/?csv=1").content.decode().lstrip("\ufeff").splitlines()
    assert rows[0] == "Name,Signs in as,Roles,Password,Works here"
    assert 'Anneke,weaver,"weaver or tuner, finisher",yes,yes' in rows
