"""Sentences that the book keeps in English, said again in the language of a page: known by the forms they have.

A form has named places. Who keeps a sentence knows its forms and passes them to `retold`; `told_again` looks among all
that the catalogue has, for what may be any room's refusal.
"""

import re
from collections.abc import Collection, Iterable, Mapping
from functools import cache
from gettext import translation as catalogue_of
from types import MappingProxyType
from typing import Any

from django.conf import settings
from django.utils import translation

from mill import signs

ENGLISH = settings.LANGUAGE_CODE


def retold(kept: str, forms: Iterable[str], within: Mapping[str, Collection[str]] = MappingProxyType({})) -> str:
    """A sentence that was kept in English, said in the language of the page.

    forms     what such sentences are made from, with named places; one of another form stays as it is
    within    places that hold words of ours, by name, parted by "; ": what those are made from, which are said too

    >>> retold("Ticket 12 takes its place.", ["Ticket %(number)s takes its place."])
    'Ticket 12 takes its place.'
    """
    for form in forms:
        if found := re.fullmatch(_pattern(form, within), kept):
            said = {name: _put(text, within.get(name, ())) for name, text in found.groupdict().items()}
            return translation.gettext(form) % said
    return kept


def _put(text: str, forms: Collection[str]) -> str:
    return "; ".join(retold(one, forms) for one in text.split("; ")) if forms else figure_said(text)


_PLACE = r"%\\\((\w+)\\\)s"


def _pattern(form: str, within: Mapping[str, Collection[str]]) -> str:
    """How a sentence of this form looks: each of its places a group of that name, which says the same each time."""
    seen: set[str] = set()

    def place(found: re.Match[str]) -> str:
        name = found[1]
        if name in seen:
            return f"(?P={name})"
        seen.add(name)
        of = "|".join(re.sub(_PLACE, ".+", _plain(one)) for one in within.get(name, ()))
        return f"(?P<{name}>(?:{of})(?:; (?:{of}))*)" if of else f"(?P<{name}>.+)"

    return re.sub(_PLACE, place, _plain(form))


def _plain(form: str) -> str:
    return re.escape(form.replace("%%", "%"))


def figure_said(text: str) -> str:
    """A number with the page's decimal sign; anything else as it is."""
    return text.replace(".", signs.written_now().decimal) if re.fullmatch(r"−?\d+\.\d+", text) else text


# Places of a kept sentence in which other words of ours stand: a state, a reason, a use of yarn.
OF_OURS = re.compile(r"(.*_)?(state|use|why|reasons|trouble|step|what|way|verdict|treated)")
# A form with fewer letters of its own would be found in what people wrote.
LETTERS_LEAST = 9


def told_again(kept: str) -> str:
    """Whatever sentence of ours was kept in English, of whatever form, in the language of the page.

    For what may be any of the rooms' refusals, line by line; what people wrote is found in no form and stays.

    >>> told_again("Warp 12 is planned.")
    'Warp 12 is planned.'
    """
    code = translation.get_language() or ENGLISH
    if code == ENGLISH or not kept:
        return kept
    return "\n".join(_told_again(line, code) for line in kept.split("\n"))


def _told_again(line: str, code: str) -> str:
    whole, forms = _forms(code)
    if line in whole:
        return translation.gettext(line)
    for words, form in forms:
        if words in line and (found := _compiled(form).fullmatch(line)):
            said = {name: _told_place(name, text, code) for name, text in found.groupdict().items()}
            return translation.gettext(form) % said
    return line


def _told_place(name: str, text: str, code: str) -> str:
    if number := re.fullmatch(r"Warp (\d+)", text):
        return translation.gettext("Warp %(number)s") % {"number": number[1]}
    if OF_OURS.fullmatch(name):
        return "; ".join(_told_again(one, code) for one in text.split("; "))
    return figure_said(text)


@cache
def _forms(code: str) -> tuple[frozenset[str], list[tuple[str, str]]]:
    """What the catalogue of a language has: sentences without places, and those with them.

    Of the latter the longest first, each with the longest words of its own: a line without those is not of its form.
    """
    catalogue: dict[Any, str] = getattr(
        catalogue_of("django", settings.LOCALE_PATHS[0], languages=[code], fallback=True), "_catalog", {}
    )
    said = [one for one in catalogue if isinstance(one, str) and "\x04" not in one]
    found = []
    for one in said:
        own = re.split(r"%\(\w+\)s", one.replace("%%", "%"))
        n_letters = sum(sign.isalpha() for words in own for sign in words)
        if len(own) > 1 and n_letters >= LETTERS_LEAST:
            found.append((sum(map(len, own)), max(own, key=len), one))
    return frozenset(said), [(words, form) for _, words, form in sorted(found, reverse=True)]


@cache
def _compiled(form: str) -> re.Pattern[str]:
    return re.compile(_pattern(form, {}))


class Retold:
    """Sentences kept in English and parted by "; ", for a refusal that is put into words later."""

    def __init__(self, kept: str, forms: Iterable[str]) -> None:
        self.kept, self.forms = kept, tuple(forms)

    def __str__(self) -> str:
        return self.kept

    @property
    def called(self) -> str:
        return "; ".join(retold(one, self.forms) for one in self.kept.split("; "))


class Told:
    """The same for a sentence of any form, line by line."""

    def __init__(self, kept: str) -> None:
        self.kept = kept

    def __str__(self) -> str:
        return self.kept

    @property
    def called(self) -> str:
        return told_again(self.kept)
