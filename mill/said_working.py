"""A working, which is written and kept in English, said in the language of the page. Works nothing out."""

import re
from collections.abc import Mapping
from functools import cache
from typing import Any

from django.utils.translation import gettext, gettext_lazy, pgettext_lazy

from mill.signs import ENGLISH, written_now
from mill.working import FORMS, Step

# Units that are words. Beside a number they may be called otherwise than elsewhere on a page; others are said as they
# are written, in every language.
UNITS = {
    "ends": pgettext_lazy("unit", "ends"),
    "picks": pgettext_lazy("unit", "picks"),
    "dents": pgettext_lazy("unit", "dents"),
    "cones": pgettext_lazy("unit", "cones"),
    "packages": pgettext_lazy("unit", "packages"),
    "pieces": pgettext_lazy("unit", "pieces"),
    "looms": pgettext_lazy("unit", "looms"),
    "sections": pgettext_lazy("unit", "sections"),
    "repeats": pgettext_lazy("unit", "repeats"),
    "shafts": pgettext_lazy("unit", "shafts"),
    "points": pgettext_lazy("unit", "points"),
    "days": pgettext_lazy("unit", "days"),
    "a year": pgettext_lazy("unit", "a year"),
    "percentage points": pgettext_lazy("unit", "percentage points"),
    "metric": pgettext_lazy("unit", "metric"),
    "per cm": gettext_lazy("per cm"),
    "dents per 10 cm": gettext_lazy("dents per 10 cm"),
    "picks/min": gettext_lazy("picks/min"),
}
# Labels of a working, or of what is asked for one, that are another word elsewhere in the book.
OTHERWISE = {
    "Count": pgettext_lazy("yarn", "Count"),
    "Order": pgettext_lazy("colours", "Order"),
    "in": pgettext_lazy("weave", "in"),
}
# What parts a sum, the widest first: remarks, clauses, terms of a list, terms.
_LEVELS = tuple(re.compile(pattern) for pattern in (r"([()√])", r"(; )", r"(, )", r"( [×÷+−=] ?)"))
# A decimal, and no part of a day or of a name: 1.3.2026, D1.5.
_DECIMAL = re.compile(r"(?<![\w.])(\d+)\.(\d+)(?!\.?\d)")
_NAMES = ("name", "label", "formula", "sum", "value", "unit", "source")


def said(step: Step | Mapping[str, Any]) -> Step:
    """A step in the language of the page, its figures with that language's decimal sign.

    step    as a room wrote it, or as it was read from the book, with the same names
    """
    kept = step if isinstance(step, Step) else Step(**{name: step[name] for name in _NAMES if name in step})
    if written_now() is ENGLISH:
        return kept
    return Step(
        name=kept.name,
        label=words_said(kept.label),
        formula=words_said(kept.formula),
        sum=sum_said(kept.sum),
        value=sum_said(str(kept.value)),
        unit=unit_said(kept.unit),
        source=words_said(kept.source),
    )


def label_said(own: str, step: Step | None) -> str:
    """What a figure is called: by what the page calls it itself, else by its step."""
    return gettext(own) if own or step is None else words_said(step.label)


def unit_said(unit: str) -> str:
    """A unit as it stands beside a number."""
    return str(UNITS.get(unit, unit))


def words_said(kept: str) -> str:
    """A label, a formula or a source: as it stands in the catalogue, else as a sum is said."""
    if kept in OTHERWISE:
        return str(OTHERWISE[kept])
    if kept and (whole := gettext(kept)) != kept:
        return whole
    return sum_said(kept)


def sum_said(kept: str) -> str:
    """A sum: words known by their form are said, figures have the page's decimal sign, what else stands in it stays."""
    return _said_from(kept, 0) if written_now() is not ENGLISH else kept


def _said_from(kept: str, level: int) -> str:
    """Known as a whole, else part by part, from this level on."""
    bare = kept.strip()
    if not bare:
        return kept
    if (whole := _by_form(bare)) is not None:
        return kept.replace(bare, whole)
    if level == len(_LEVELS):
        return _DECIMAL.sub(rf"\1{written_now().decimal}\2", kept)
    parts = _LEVELS[level].split(kept)
    return "".join(part if n % 2 else _said_from(part, level + 1) for n, part in enumerate(parts))


def _by_form(kept: str) -> str | None:
    for form in _in_order(len(FORMS)):
        if found := _pattern(form).fullmatch(kept):
            places = {name: _place_said(name, text) for name, text in found.groupdict().items()}
            return gettext(form) % places if places else gettext(form)
    return None


def _place_said(name: str, text: str) -> str:
    match name:
        case "label":
            return words_said(text)
        case "what":
            return words_said(text[:1].upper() + text[1:])
        case _:
            return sum_said(text)


@cache
def _in_order(n_forms: int) -> tuple[str, ...]:
    """Those with most words of their own first: "%(n)s repeats of %(n_ends)s" before "%(n)s of %(yarn)s"."""
    assert n_forms == len(FORMS)
    return tuple(sorted(FORMS, key=lambda form: -len(re.sub(r"%\(\w+\)s", "", form))))


@cache
def _pattern(form: str) -> re.Pattern[str]:
    def place(found: re.Match[str]) -> str:
        name = found[1]
        if name == "n" or name.startswith("n_"):
            return rf"(?P<{name}>\d[\d.]*)"
        # A name has no comma: what stands behind one is another part of the sum.
        return rf"(?P<{name}>[^,;]+)" if name == "warp" else f"(?P<{name}>.+?)"

    return re.compile(re.sub(r"%\\\((\w+)\\\)s", place, re.escape(form)).replace("%%", "%"))
