"""How-to's and the words of the trade in German: whole, in the words of German pages, and led to from heads."""

import re

import pytest
from django.template import Context, Template
from django.urls import reverse

from mill import language, people
from mill.glossing import Terms, marked
from mill.how_to import TASKS, on_the_page, told
from mill.words import WORDS, found_in, words_of
from tests.german import forgotten
from tests.mill.test_glossing import Read

GERMAN = words_of("de")
SAID = [words for task in TASKS for words in (task.title, task.so, *(step.say for step in task.steps))]


def test_every_word_of_the_trade_has_its_german_one_in_the_order_of_german():
    assert sorted(one.anchor for one in GERMAN) == sorted(one.anchor for one in WORDS)
    unlauted = [one.word.lower().translate(str.maketrans("äöüß", "aous")) for one in GERMAN]
    assert unlauted == sorted(unlauted)
    by_anchor = {one.anchor: one for one in WORDS}
    for one in GERMAN:
        english = by_anchor[one.anchor]
        assert (bool(one.unit), one.source) == (bool(english.unit), english.source), one.word
        assert one.means not in {english.means, ""}


def test_each_form_of_a_german_word_is_one_word_s():
    said = [form for word in GERMAN for form in word.forms]
    assert {form for form in said if said.count(form) > 1} == set()
    assert all(form == form.lower() for form in said)


@pytest.mark.parametrize(
    ("text", "anchors"),
    [
        ("Rohlänge", ["grey"]),
        ("Färbepartien der Kette", ["dye-lot", "warp"]),
        ("Schuss", ["weft"]),
        ("Schüsse je cm", ["pick"]),
        ("Kettfäden je Rohr", ["end", "dent"]),
        # No part of another word, and no everyday word.
        ("Rohrzucker, Kettensäge, Einkauf", []),
    ],
)
def test_german_words_are_found_in_their_forms(text, anchors):
    assert [word.anchor for _, word in found_in(text, "de") if word] == anchors


def test_a_german_head_links_its_word_and_a_label_s_is_told_at_the_end():
    source = marked(
        "<h2>{% translate 'Warps' %}</h2><label>{{ field.label }}</label>{% term 'sett' %} {% terms_left %}"
    )
    with language.speaking("de"):
        page = Template(source).render(Context({"terms": Terms(), "field": {"label": "Rohbreite"}}))
    assert re.findall(r"#([\w-]+)\">([^<]+)", page) == [("warp", "Ketten"), ("sett", "Einstellung"), ("grey", "Roh")]


def test_what_a_how_to_has_between_its_marks_is_said_as_german_pages_say_it():
    with language.speaking("de"):
        assert told("Open “Orders”.") == "Öffnen Sie „Aufträge“."
        assert on_the_page("Sew together, into scour") == "Zusammennähen, in scour"
        assert told("Press the customer, here “Send to Pellitory House”.").endswith("„An Pellitory House versenden“.")
    assert told("Open “Orders”.") == "Open “Orders”."


def test_german_names_the_same_words_of_pages_as_english_does():
    """So that none is lost, and none stands in the catalogue in German, which would not follow the page."""
    from django.utils.translation import gettext

    with language.speaking("de"):
        german = [gettext(words) for words in SAID]
    for english, other in zip(SAID, german, strict=True):
        assert sorted(re.findall("„([^“]+)“", other)) == sorted(re.findall("“([^”]+)”", english)), english


@pytest.mark.slow
@pytest.mark.django_db
def test_how_to_s_and_words_are_whole_in_german(desk, planner):
    addresses = [reverse("how_tos"), reverse("words"), *(reverse("how_to", args=[task.slug]) for task in TASKS)]
    own = r"Revision|Denier|Tex|Name|.*“(Name|LOFT|D1)”.*|(ISO|EU|ASTM) [\w/, -]+\.|In tex\."
    assert not forgotten(desk, planner, addresses, own=own)
    page = desk.get(addresses[-1]).content.decode()
    assert "how-to/de/" in page
    assert set(Read(desk.get(reverse("words")).content.decode()).ids) >= {one.anchor for one in WORDS}
    # The frame offers a page's tasks in the language of whoever looks.
    assert "Stücke durch die Ausrüstung bringen" in desk.get(reverse("pieces")).content.decode()
    people.speak(planner, language="en-gb", by=planner)
    assert "how-to/en-gb/" in desk.get(addresses[-1]).content.decode()
