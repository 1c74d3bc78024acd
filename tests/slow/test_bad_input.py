"""Whatever a person types into any field of any form: a page with words comes back, never a fault, and nothing is lost."""

import re
from html import unescape
from html.parser import HTMLParser
from io import StringIO
from itertools import count
from urllib.parse import urljoin, urlsplit

import pytest
from django.core.cache import cache
from django.core.management import call_command
from django.db import connection, transaction
from django.urls import resolve

pytestmark = [pytest.mark.slow, pytest.mark.django_db]

BAD = [
    "",
    "-1",
    "NaN",
    "1e400",
    "99999999999999999999",
    "7 furlongs",
    "2026-02-31",
    "9999-12-31",
    "a\x00b",
    "ſẞ😀" * 200,
]
LONG = 15
# One page of each kind is enough: what is typed goes through the same form.
PAGES_OF_A_KIND = 2
# Lists are read by the same code on every page; their fields are tried, their orders of columns are not.
WITHOUT = {"sort", "page", "csv", "csrfmiddlewaretoken"}


class Forms(HTMLParser):
    """The forms of a page with the values that they would send, and its links."""

    def __init__(self) -> None:
        super().__init__()
        self.forms: list[dict] = []
        self.links: list[str] = []
        self.form: dict | None = None
        self.select: str | None = None
        self.textarea: str | None = None

    def handle_starttag(self, tag, attrs):
        said = dict(attrs)
        if tag == "a" and said.get("href"):
            self.links.append(said["href"])
        if tag == "form":
            self.form = {"action": said.get("action") or "", "method": said.get("method", "get"), "fields": {}}
            self.form["unseen"] = set()
            self.forms.append(self.form)
        if self.form is None or (not said.get("name") and tag != "option"):
            return
        if tag == "input" and said.get("type") not in {"file", "submit", "button"}:
            if said.get("type") not in {"checkbox", "radio"} or "checked" in said:
                self.form["fields"][said["name"]] = said.get("value") or ""
                if said.get("type") == "hidden":
                    self.form["unseen"].add(said["name"])
        elif tag == "select":
            self.select = said["name"]
            self.form["fields"].setdefault(self.select, "")
        elif tag == "option" and self.select and "selected" in said:
            self.form["fields"][self.select] = said.get("value", "")
        elif tag == "textarea":
            self.textarea = said["name"]
            self.form["fields"][self.textarea] = ""
        elif tag == "button" and said.get("value"):
            self.form["fields"].setdefault(said["name"], said["value"])

    def handle_endtag(self, tag):
        if tag == "form":
            self.form = None
        elif tag == "select":
            self.select = None
        elif tag == "textarea":
            self.textarea = None

    def handle_data(self, data):
        if self.form is not None and self.textarea:
            self.form["fields"][self.textarea] += data.lstrip("\n")


def whole(answer) -> bytes:
    """What is sent, to its end: a file stands open until then."""
    return b"".join(answer.streaming_content) if answer.streaming else answer.content


def pages(client):
    """Every kind of page that can be reached from Today by links, with its forms."""
    seen: dict[str, int] = {}
    waiting, met = ["/"], {"/"}
    while waiting:
        address = waiting.pop(0)
        kind = resolve(urlsplit(address).path).url_name or address
        seen[kind] = seen.get(kind, 0) + 1
        if seen[kind] > PAGES_OF_A_KIND:
            continue
        answer = client.get(address)
        assert answer.status_code in {200, 301, 302, 404}, f"{address} answers {answer.status_code}"
        if not answer.get("Content-Type", "").startswith("text/html") or answer.status_code != 200:
            whole(answer)
            continue
        page = Forms()
        page.feed(answer.content.decode())
        yield address, page.forms
        for link in page.links:
            to = urljoin(address, unescape(link)).split("#")[0]
            if to.startswith("/") and not to.startswith(("/api/", "/static/", "/admin/")) and to not in met:
                met.add(to)
                waiting.append(to)


def tried(client, address, form, fields):
    """Send a form as filled in, and take back what it did."""
    act = client.get if form["method"].lower() == "get" else client.post
    to = urljoin(address, form["action"]) or address
    cache.clear()  # how much was asked in how short a time is another matter: tests/mill/test_limits.py
    with transaction.atomic():
        answer = act(to, fields)
        body = whole(answer)  # while its rows are still there
        transaction.set_rollback(True)
    return answer, body


@pytest.fixture
def candlebeck(db):
    call_command("example_mill", stdout=StringIO())


def fields_of(form):
    """The fields to be tried. Of rows of the same fields the first: line-0-pieces stands for line-1-pieces."""
    return {re.sub(r"\d+", "0", name): name for name in reversed(form["fields"]) if name not in WITHOUT}


class Words:
    """What is typed: all bad words where a field of a name is first met, and a quarter of them in turn elsewhere."""

    def __init__(self) -> None:
        self.met, self.turns = set(), count()

    def to_type(self, kind: str, *, is_long: bool) -> list[str]:
        # A long form has each bad word in many of its fields, a short one in all of them.
        if is_long or kind in self.met:
            return BAD[next(self.turns) % 4 :: 4]
        self.met.add(kind)
        return BAD


def faults(client, address, form, words):
    """What goes wrong with this form, a field at a time, in sentences."""
    tries = fields_of(form)
    for kind, name in tries.items():
        for bad in words.to_type(kind, is_long=len(tries) > LONG):
            fields = {**form["fields"], name: bad}
            said = f"{form['method']} {address} to {form['action']} with {name}={bad[:40]!r}"
            try:
                answer, body = tried(client, address, form, fields)
            except Exception as fault:
                yield f"{said}: {fault!r}"
                continue
            if answer.status_code not in {200, 302, 400, 404, 409, 422}:
                yield f"{said}: answers {answer.status_code}"
            # What a person has typed must be kept; a field that nobody sees, or that it is bad, is the leaf's own.
            if name in form["unseen"] or form["method"] != "post" or answer.status_code != 200:
                continue
            if b"<form" in body:
                text = unescape(body.decode())
                for other, value in form["fields"].items():
                    if other not in {name, *form["unseen"], *WITHOUT} and len(value) >= 8 and value not in text:
                        yield f"{said}: what was in {other} is lost, {value!r}"


def test_whatever_is_typed_into_any_field_comes_back_as_a_page(desk, candlebeck):
    forms = {}
    for address, found in pages(desk):
        kind = resolve(urlsplit(address).path).url_name
        for form in found:
            to = resolve(urlsplit(urljoin(address, form["action"])).path).url_name
            at = to if form["action"] else kind
            forms.setdefault((at, form["method"], *sorted(fields_of(form))), (address, form))
    assert len(forms) > 60
    words = Words()
    wrong = [fault for address, form in forms.values() for fault in faults(desk, address, form, words)]
    assert words.met > {"length_m", "note", "code"}
    assert not wrong, f"{len(wrong)} of {len(forms)} forms:\n" + "\n".join(wrong)
    assert connection.is_usable()
