"""Whatever word of the trade a page says in its heads and labels, the page links to the glossary."""

import re
from html.parser import HTMLParser

import pytest
from django.template import Context, Template
from django.template.loader import get_template
from django.urls import Resolver404, resolve, reverse

from mill.glossing import PRESSED, Terms, marked
from mill.settings import BASE_DIR
from mill.words import WORDS, found_in
from tests.mill.made_mill import make_mill

HEADS = {"h1", "h2", "h3", "th", "dt", "caption", "legend", "label"}
TEMPLATES = sorted(str(path.relative_to(BASE_DIR / "templates")) for path in (BASE_DIR / "templates").rglob("*.html"))


class Read(HTMLParser):
    """The heads of a page as texts, the addresses its links go to, and links that stand where a click means something else."""

    def __init__(self, page):
        super().__init__()
        self.heads, self.links, self.ids, self.amiss, self.within = [], [], set(), [], []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        self.ids.add(attrs.get("id"))
        if tag == "a":
            self.links.append(attrs.get("href") or "")
            if attrs.get("class") == "term" and PRESSED.intersection(self.within):
                self.amiss.append(attrs["href"])
        if tag in HEADS:
            self.heads.append("")
        # A unit stands beside a word, and an order of letters behind a head that sorts.
        if tag in HEADS | PRESSED | {"span"}:
            self.within.append(tag)

    def handle_endtag(self, tag):
        if tag in self.within:
            del self.within[len(self.within) - 1 - self.within[::-1].index(tag) :]

    def handle_data(self, text):
        if HEADS.intersection(self.within) and "span" not in self.within:
            self.heads[-1] += text


def words_alone(read):
    """Words of the trade that are the whole of a head."""
    for head in read.heads:
        parts = list(found_in(" ".join(head.split())))
        if len(parts) == 1 and parts[0][1]:
            yield parts[0][1].anchor


@pytest.mark.django_db
def test_a_word_that_is_a_head_or_a_label_leads_to_the_glossary(desk, planner):
    make_mill(planner)
    glossary = reverse("words")
    there = Read(desk.get(glossary).content.decode()).ids
    waiting, walked = ["/", glossary, *(reverse(name) for name in ("yarn", "mill", "reckoner", "reports"))], {}
    unlinked = {}
    while waiting:
        address = waiting.pop(0)
        try:
            name = resolve(address.partition("?")[0]).url_name
        except Resolver404:
            continue
        if name in walked or "/api/" in address:
            continue
        answer = desk.get(address)
        walked[name] = address
        if answer.status_code != 200 or "text/html" not in answer.get("Content-Type", ""):
            b"".join(answer)  # a file that is sent stands open until it is read
            continue
        # On a ticket nothing is a link, on its page neither.
        read = Read(re.sub(r'<div class="paper">.*?<details>', "", answer.content.decode(), flags=re.DOTALL))
        waiting += [link for link in read.links if link.startswith("/")]
        to_words = {link.partition("#")[2] for link in read.links if link.startswith(f"{glossary}#")}
        assert to_words <= there, address
        assert read.amiss == [], f"{address}: a link where a click means something else"
        is_paper = b'class="printing"' in answer.content
        if name != "words" and not is_paper and (silent := set(words_alone(read)) - to_words):
            unlinked[address] = sorted(silent)
    assert unlinked == {}, "give the head {% term_in … %}"
    assert len(walked) > 80, sorted(walked)


@pytest.mark.parametrize("name", TEMPLATES)
def test_a_marked_template_still_reads(name):
    get_template(name)


def told(source, **context):
    return Template(marked(source)).render(Context({"terms": Terms(), **context}))


def test_a_word_is_linked_where_it_first_stands():
    page = told("<h2>Warps</h2><th>Warp</th><dt>Dye lot</dt>")
    assert re.findall(r"#([\w-]+)\">([^<]+)", page) == [("warp", "Warps"), ("dye-lot", "Dye lot")]


def test_what_somebody_wrote_is_left_alone():
    page = told("<h2>{{ yarn }}</h2><dt>{{ one.label }}</dt>", yarn="Silver grey", one={"label": "Crimp <i>"})
    assert re.findall(r"#([\w-]+)", page) == ["crimp"]
    assert "&lt;i&gt;" in page


@pytest.mark.parametrize(
    ("title", "linked"),
    [("Warps", ["warp"]), ("Beam B8", ["beam"]), ("Grey herringbone", []), ("Silver grey", [])],
)
def test_a_title_is_linked_where_nobody_s_name_stands_in_it(title, linked):
    assert re.findall(r"#([\w-]+)", told("<h1>{{ title }}</h1>", title=title)) == linked


def test_a_label_keeps_its_click_and_its_words_are_told_at_the_end():
    page = told('<label for="x">Ends a dent</label><th><a href="?sort=warp">Warp</a></th>{% terms_left %}')
    assert '<label for="x">Ends a dent</label><th><a href="?sort=warp">Warp</a></th>' in page
    assert re.findall(r"#([\w-]+)", page) == ["dent", "end", "warp"]


def test_nothing_is_linked_on_paper_and_before_a_sign_in():
    assert Template(marked("<h2>Warp</h2>{% term 'sett' 'setts' %}")).render(Context({})) == "<h2>Warp</h2>setts"


def test_a_word_that_is_not_in_the_glossary_is_a_fault():
    with pytest.raises(KeyError):
        told("{% term 'warpe' %}")


def test_each_form_of_a_word_is_one_word_s():
    said = [form for word in WORDS for form in word.forms]
    assert {form for form in said if said.count(form) > 1} == set()
