"""A page laid beside itself in the other language: what stands in both was forgotten, or is the mill's own."""

import re
from collections.abc import Iterable
from html.parser import HTMLParser
from typing import Any

from django.test import Client

from mill import people

# What the mill itself wrote: names and codes of the builders in `tests/make.py`; and minutes, which are so in both.
NAMES = r"\d+ min|Our mill|(Customer|Colourway|Shade|Tweed|Loom|[A-Z]+\d+|\d+/\d+)\b.*|.*Shade \d+"


class Nodes(HTMLParser):
    """The words of a page's main part: text, and what is read out or stands in an empty field."""

    def __init__(self) -> None:
        super().__init__()
        self.found: set[str] = set()
        self.is_inside = False
        self.n_skipped = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        facts = dict(attrs)
        self.is_inside |= tag == "main"
        # What only a program reads, and what is marked as English.
        if self.n_skipped or facts.get("lang") == "en-GB":
            self.n_skipped += tag == "div"
        elif self.is_inside:
            self.found |= {said for name in ("aria-label", "placeholder", "title") if (said := facts.get(name))}

    def handle_endtag(self, tag: str) -> None:
        self.is_inside &= tag != "main"
        self.n_skipped -= self.n_skipped > 0 and tag == "div"

    def handle_data(self, data: str) -> None:
        if self.is_inside and not self.n_skipped and self.lasttag != "script" and re.search(r"[A-Za-z]{3}", data):
            self.found.add(" ".join(data.split()))


def words_of(answer: Any) -> set[str]:
    reader = Nodes()
    reader.feed(answer.content.decode())
    return reader.found


def forgotten(desk: Client, person: Any, addresses: Iterable[str], *, own: str) -> dict[str, set[str]]:
    """By address what a page says to this person in English and in German alike; `own` is what may."""
    may = re.compile(f"{NAMES}|{own}")
    found = {}
    for address in addresses:
        said = []
        for code in ("en-gb", "de"):
            people.speak(person, language=code, by=person)
            answer = desk.get(address)
            assert answer.status_code == 200, f"{address} answers {answer.status_code}"
            said.append(words_of(answer))
        english, german = said
        assert german, f"{address} says nothing"
        found[address] = {words for words in english & german if not may.fullmatch(words)}
    return {address: words for address, words in found.items() if words}
