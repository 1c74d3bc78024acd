"""Who is spoken to in which language, and that all that is said is translated, with the figures in it."""

import gettext
import json
import re

import pytest
from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po
from django.conf import settings
from django.test import Client

from mill import language, people, tokens
from mill.management.commands import gather_words
from mill.models import Mill, Person
from mill.refusal import N_, Refusal
from mill.retold import Retold
from planning.loom import AGAINST
from planning.models import FloorEvent, JobTicket, Warp, Worker
from planning.services import tickets as services
from tests.german import forgotten
from tests.make import make_ticket, make_warp
from tests.planning.floor_walk import weaving_warp

IN_WORDS = re.compile(r"%\(\w+\)\w|%[sd]|\{\w*\}|<[^>]+>")


@pytest.mark.parametrize("domain", gather_words.DOMAINS)
@pytest.mark.parametrize("code", gather_words.codes())
class TestEveryWord:
    def test_what_is_said_has_its_translation(self, code, domain):
        words = gather_words.read(code, domain)
        missing = [said for said, context in gather_words.gathered(domain) if not _translated(words, said, context)]
        assert not missing, "not translated: run `manage.py gather_words`, then write it into the catalogue"

    def test_nothing_is_kept_that_nobody_says_any_more_or_nobody_has_looked_at(self, code, domain):
        with gather_words.catalogue(code, domain).open("rb") as file:
            words = read_po(file, locale=code)
        said = gather_words.gathered(domain)
        assert [one.id for one in words if one.id and (one.id, one.context) not in said] == []
        assert list(words.obsolete) == []
        assert [one.id for one in words if one.fuzzy] == []

    def test_a_translation_loses_no_figure_and_no_mark(self, code, domain):
        for one in gather_words.read(code, domain):
            if not one.id:
                continue
            ids = one.id if isinstance(one.id, tuple | list) else (one.id,)
            strings = one.string if isinstance(one.string, tuple | list) else (one.string,)
            for string in strings:
                # What several of a thing are must stand in both; "one piece" may say its number in words.
                assert sorted(IN_WORDS.findall(string)) == sorted(IN_WORDS.findall(ids[-1])), string

    def test_the_program_reads_what_stands_in_the_catalogue(self, code, domain):
        with gather_words.catalogue(code, domain).with_suffix(".mo").open("rb") as file:
            read = gettext.GNUTranslations(file)
        for one in gather_words.read(code, domain):
            if isinstance(one.id, tuple | list):
                assert (read.ngettext(*one.id, 1), read.ngettext(*one.id, 2)) == tuple(one.string)
            elif one.id:
                assert (read.pgettext(one.context, one.id) if one.context else read.gettext(one.id)) == one.string


def test_no_word_is_hidden_in_an_f_string_where_it_is_not_gathered():
    for path, how, content in gather_words._sources("django"):
        if how == "python" and path.suffix == ".py":
            hidden = re.findall(r"""\bf(?:"[^"\n]*\{_\('|'[^'\n]*\{_\(")""", content.decode())
            assert not hidden, path


def test_a_word_that_is_counted_from_now_on_lacks_the_form_for_several_and_is_not_cut_into_letters():
    old = Catalog(locale="de")
    old.add("line", "Zeile")
    old.add(("lot", "lots"), ("Partie", "Partien"))
    said = {("line", None): ["a.py"], (("line", "lines"), None): ["b.html"], ("lot", None): ["c.py"]}
    new = gather_words.merged(old, said)
    assert (new.get("line").string, new.get("lot").string) == (("Zeile", ""), "Partie")
    assert not _translated(new, ("line", "lines"), None)


def _translated(words, said, context) -> bool:
    found = words.get(said, context=context)
    if found is None:
        return False
    return all(found.string) if isinstance(found.string, tuple | list) else bool(found.string)


pytestmark = pytest.mark.django_db


@pytest.fixture
def door() -> Client:
    return Client(REMOTE_ADDR="10.0.0.7")


def lang(answer) -> list[str]:
    return re.findall(r'<(?:html|main)[^>]* lang="([^"]+)"', answer.content.decode())


def test_the_door_speaks_the_browser_s_language_where_the_book_knows_it(door):
    assert lang(door.get("/sign-in/")) == ["en-GB"]
    german = door.get("/sign-in/", headers={"Accept-Language": "fr, de-AT;q=0.8, en;q=0.5"})
    assert lang(german) == ["de"]
    assert "<h1>Anmelden</h1>" in german.content.decode()
    assert lang(door.get("/sign-in/", headers={"Accept-Language": "fr"})) == ["en-GB"]
    Mill(pk=1, language="de").save()
    assert lang(door.get("/sign-in/", headers={"Accept-Language": "fr"})) == ["de"]


def test_who_chooses_at_the_door_is_remembered_by_the_browser(door):
    answer = door.post("/language/", {"language": "de", "next": "/sign-in/?next=/looms/"})
    assert answer.headers["Location"] == "/sign-in/?next=/looms/"
    assert lang(door.get("/sign-in/", headers={"Accept-Language": "en"})) == ["de"]
    # To another house nobody is sent.
    assert (
        door.post("/language/", {"language": "de", "next": "//elsewhere.example/"}).headers["Location"] == "/language/"
    )
    assert door.post("/language/", {"language": "tlh"}).status_code == 200


def test_a_person_s_own_language_comes_before_the_mill_s(desk, planner):
    Mill(pk=1, language="de").save()
    assert lang(desk.get("/language/")) == ["de"]
    desk.post("/language/", {"language": "en-gb"})
    assert lang(desk.get("/language/")) == ["en-GB"]
    assert Person.objects.get(user=planner).language == "en-gb"
    people.speak(planner, language="", by=planner)
    assert lang(desk.get("/language/")) == ["de"]


def test_what_is_not_there_is_said_in_one_s_own_language(desk, planner):
    people.speak(planner, language="de", by=planner)
    answer = desk.get("/warps/4711/")
    assert (answer.status_code, lang(answer)) == (404, ["de"])
    assert "Diese Seite gibt es nicht" in answer.content.decode()
    assert "Diese Seite gibt es nicht" in desk.get("/nowhere/").content.decode()


def test_programs_are_spoken_to_in_english(desk, planner):
    people.speak(planner, language="de", by=planner)
    answer = desk.get("/api/warps/4711/", headers={"Accept-Language": "de"})
    assert (answer.status_code, answer.json()["title"]) == (404, "Not Found")


def test_every_address_that_is_said_to_be_a_program_s_is_there():
    from django.urls import get_resolver

    from tests.mill.test_roles import addresses

    names = {pattern.name for _, pattern in addresses(get_resolver())}
    assert names >= language.FOR_PROGRAMS | language.ASKED_BY_A_PAGE
    assert {code for code, _ in settings.LANGUAGES} == language.CODES


# The weaver's world


def on_the_floor(planner) -> tuple[JobTicket, Warp, Worker]:
    warp = make_warp(state=Warp.PLANNED)
    return make_ticket(warp, by=planner), warp, Worker.objects.create(code="UNA", name="Una", trade="weaver")


@pytest.fixture
def german(desk, planner) -> Client:
    people.speak(planner, language="de", by=planner)
    return desk


def test_a_german_weaver_tells_and_is_answered_in_german_and_the_book_keeps_english(german, planner):
    """12,5 m told off a loom, first refused and then done: what is kept and what programs read is English."""
    ticket, warp, worker = on_the_floor(planner)
    page = german.get(f"/floor/{ticket.token}/").content.decode()
    assert re.search(rf"<h1>(<a [^>]+>)?Kette(</a>)? {warp.number}", page)
    assert "Kettbruch" in page
    tap = {"key": "k1", "token": ticket.token, "kind": "piece off", "worker": worker.code, "length_m": "12,5"}
    answer = german.post("/api/floor/taps/", {"events": [tap]}, content_type="application/json").json()
    assert answer[0]["refused"].startswith(
        f"Kette {warp.number} ist geplant; ein Stück kommt von einer Kette, die webt."
    )
    kept = FloorEvent.objects.get(key="k1")
    assert kept.refused == f"Warp {warp.number} is planned; a piece is cut off a warp that is weaving. Start it first."
    assert kept.facts == {"length_m": "12.50"}
    assert german.get("/api/floor/events/k1/").json()["refused"] == kept.refused
    tap |= {"key": "k2", "length_m": "1.234"}
    answer = german.post("/api/floor/taps/", {"events": [tap]}, content_type="application/json").json()
    assert "1.234 kann 1234 oder 1,234 heißen" in answer[0]["refused"]


def test_a_program_at_the_floor_s_address_is_answered_in_english(german, planner):
    ticket, _warp, worker = on_the_floor(planner)
    _, secret = tokens.make_token(name="phone", may_write=True, ends_on=None, held=[], by=planner)
    tap = {"key": "k3", "token": ticket.token, "kind": "stopped", "worker": worker.code}
    answer = Client(REMOTE_ADDR="10.0.0.7").post(
        "/api/floor/taps/",
        {"events": [tap]},
        content_type="application/json",
        headers={"Authorization": f"Bearer {secret}", "Accept-Language": "de"},
    )
    assert "not weaving: its loom can't be stopped" in answer.json()[0]["refused"]


def test_the_list_of_tickets_is_german_and_its_csv_as_ever(german, planner):
    on_the_floor(planner)
    page = german.get("/tickets/?sort=-for-the-day").content.decode()
    assert "Ausgestellt" in page
    assert 'aria-sort="descending"' in page
    head = german.get("/tickets/?csv=1").content.decode().lstrip("\ufeff").splitlines()[0]
    assert head == "Ticket,Warp,Cloth,Loom,For the day,Issued,State,Why"


def test_why_a_ticket_is_overtaken_is_kept_in_english_and_said_in_german():
    kept = JobTicket(overtaken_why="Ticket 12 takes its place.")
    assert kept.why_overtaken == "Ticket 12 takes its place."
    with language.speaking("de"):
        assert kept.why_overtaken == "Laufkarte 12 tritt an ihre Stelle."
        assert JobTicket(overtaken_why="Wrong reed, sorry.").why_overtaken == "Wrong reed, sorry."


def test_why_a_loom_does_not_take_a_warp_is_said_with_the_figures_of_the_language():
    kept = "the reed space is 190 cm, the warp is 212.4 cm wide in the reed; it has 16 shafts, the draft needs 20"
    no = Refusal(
        N_("Loom %(loom)s can't take %(warp)s: %(why)s. Choose another loom."),
        loom="R2",
        warp="Warp 5",
        why=Retold(kept, AGAINST),
    )
    assert str(no) == no.message == f"Loom R2 can't take Warp 5: {kept}. Choose another loom."
    with language.speaking("de"):
        assert "die Kette steht 212,4 cm breit im Blatt; er hat 16 Schäfte, der Einzug braucht 20" in no.message
        assert str(no).startswith("Loom R2")


def test_the_page_carries_what_its_script_says(german, planner):
    ticket, _warp, _worker = on_the_floor(planner)
    page = german.get(f"/floor/{ticket.token}/").content.decode()
    words = re.search(r'<script id="script-words" type="application/json">(.*?)</script>', page)
    assert words is not None
    assert json.loads(words[1])["Throw it away"] == "Wegwerfen"
    assert "script-words" not in Client(REMOTE_ADDR="10.0.0.7").get("/sign-in/").content.decode()


@pytest.mark.slow
def test_what_is_one_s_own_the_floor_and_the_tickets_leave_nothing_in_english(desk, planner):
    """Each in both languages: text that stands in both of them is the mill's own, or was forgotten."""
    warp = weaving_warp(planner)
    ticket = services.issue_ticket(warp, by=planner)
    pages = ["/language/", "/keys/", "/password/", "/floor/", f"/floor/{ticket.token}/", "/floor/no-connection/"]
    pages += ["/tickets/", f"/tickets/{ticket.number}/", f"/tickets/{ticket.number}/print/all/", f"/t/{ticket.token}/"]
    # A word that is the same in both, and what the mill itself wrote.
    own = r"English|Deutsch|Name|Esc|scour|press|.* h .* min|Shade.*"
    assert not forgotten(desk, planner, pages, own=own)
