"""The trade's units: read what a person typed, show what they like. Knows no field, page or stored figure.

The only file that names pint. It is imported when the first unit is met, since it takes a fifth of a second; its own
definitions are left out, since they read "ppi" as pixels and "dpi" as a dry pint.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal, localcontext
from functools import cache
from pathlib import Path
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from mill.refusal import Refusal
from mill.signs import GERMAN, written_now

DEFINITIONS = Path(__file__).with_name("units.txt")

# Enough for 28 ends/in to come back as 28, and for 3 lb 7 oz to stand exactly.
PLACES = 12
MOST_DIGITS = 15
MOST_LETTERS = 100


@dataclass(frozen=True, slots=True)
class Measure:
    """A canonical unit: what is stored, and what a bare number means.

    written    as it stands beside a number
    says       the unit in the words of units.txt
    what       what it measures, with its article
    examples   what a person may type
    most       more than this is a slip of the pen; the form may allow less
    """

    written: str
    says: str
    what: str
    examples: tuple[str, ...]
    most: Decimal


MEASURES: dict[str, Measure] = {
    "m": Measure("m", "metre", N_("a length"), ("60 m", "65.5 yd", "5000 cm"), Decimal(1_000_000_000)),
    "cm": Measure("cm", "centimetre", N_("a width"), ("150 cm", "59 in", "1.5 m"), Decimal(100_000)),
    "mm": Measure("mm", "millimetre", N_("a size"), ("760 mm", "76 cm", "30 in"), Decimal(1_000_000)),
    "g": Measure("g", "gram", N_("a mass"), ("500 g", "5 kg", "3 lb 7 oz"), Decimal(1_000_000_000)),
    "kg": Measure("kg", "kilogram", N_("a mass"), ("25 kg", "55 lb", "500 g"), Decimal(1_000_000)),
    "per_cm": Measure(
        N_("per cm"),
        "thread / centimetre",
        N_("a sett"),
        (N_("11 per cm"), N_("28 ends/in"), N_("24 picks/in")),
        Decimal(1_000),
    ),
    "dents_per_10cm": Measure(
        N_("dents per 10 cm"),
        "dent / 10 centimetre",
        N_("a reed"),
        (N_("63 dents per 10 cm"), N_("16 dents/in")),
        Decimal(1_000),
    ),
    "g_per_m2": Measure("g/m²", "gram / metre2", N_("a mass of cloth"), ("407 g/m2", "12 oz/yd2"), Decimal(100_000)),
    "g_per_m": Measure("g/m", "gram / metre", N_("a running mass"), ("560 g/m", "18 oz/yd"), Decimal(1_000_000)),
    "kg_per_m3": Measure("kg/m³", "kilogram / metre3", N_("a density"), ("400 kg/m3", "0.4 g/cm3"), Decimal(100_000)),
    "m_per_min": Measure("m/min", "metre / minute", N_("a speed"), ("250 m/min", "270 yd/min"), Decimal(100_000)),
    "picks_per_min": Measure(
        N_("picks/min"), "thread / minute", N_("a loom's speed"), ("220", "220 ppm"), Decimal(100_000)
    ),
    "min": Measure("min", "minute", N_("a time"), ("45 min", "2 h 30 min", "1.5 h"), Decimal(10_000_000)),
    "h": Measure("h", "hour", N_("a time"), ("8 h", "7 h 30 min", "450 min"), Decimal(100_000)),
    "number": Measure("", "thread", N_("a number"), ("12", "7.5", "1 500"), Decimal(1_000_000_000_000)),
    "pct": Measure("%", "percent", N_("a percentage"), ("7", "7 %", "7.5 %"), Decimal(1_000)),
}

# What a mill that measures in yards, inches and pounds likes instead of a canonical unit.
YARDS = {
    "m": "yd",
    "cm": "in",
    "mm": "in",
    "kg": "lb",
    "g": "oz",
    "per_cm": "per in",
    "dents_per_10cm": "dents/in",
    "g_per_m2": "oz/yd2",
    "g_per_m": "oz/yd",
    "m_per_min": "yd/min",
}

# One word for a whole unit: what the trade writes where a quotient is meant.
_SHORT = {
    "epi": "end / inch",
    "ppi": "pick / inch",
    "tpi": "thread / inch",
    "epc": "end / centimetre",
    "ppc": "pick / centimetre",
    "dpi": "dent / inch",
    "ppm": "pick / minute",
    "gsm": "gram / metre2",
    "ypm": "yard / minute",
}
_UMLAUTS = {"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss"}
_SIGNS = {'"': " in ", "″": " in ", "”": " in ", "'": " ft ", "′": " ft ", "’": " ft ", "%": " percent "}
_FRACTIONS = {
    "½": "1/2",
    "¼": "1/4",
    "¾": "3/4",
    "⅓": "1/3",
    "⅔": "2/3",
    "⅛": "1/8",
    "⅜": "3/8",
    "⅝": "5/8",
    "⅞": "7/8",
}

_SPACES = "\u00a0\u2009\u202f"
_NUMBER = re.compile(
    rf"""(?:
        (?P<whole>\d+)\s+(?P<over>\d+)/(?P<under>\d+)               # 7 1/2
      | (?P<share_over>\d+)/(?!10\s*[a-z])(?P<share_under>\d+)    # 1/2, but 63/10 cm is 63 per 10 cm
      | (?P<grouped>\d{{1,3}}(?:[ {_SPACES}]\d{{3}})+(?:[.,]\d+)?)  # 12 500.5
      | (?P<thousands>\d{{1,3}}(?:,\d{{3}})+\.\d+|\d{{1,3}}(?:,\d{{3}}){{2,}})
      | (?P<thousand_points>\d{{1,3}}(?:\.\d{{3}})+,\d+|\d{{1,3}}(?:\.\d{{3}}){{2,}})
      | (?P<plain>\d+(?:[.,]\d*)?|[.,]\d+)
    )""",
    re.VERBOSE | re.ASCII,
)
# A unit ends where the next number of "3 lb 7 oz" begins; the 2 of "m2" and the 10 of "per 10 cm" belong to it.
_WORD = r"(?!per\b)[a-z]+(?:\^?[23](?![\da-z]))?"
_UNIT = re.compile(rf"\s*(?P<top>{_WORD})?(?:\s*(?:/|\bper\b)\s*(?P<ten>10)?\s*(?P<under>{_WORD}))?", re.ASCII)


def read(text: str, unit: str, *, signed: bool = False) -> Decimal:
    """What a person typed, in the canonical unit: 60 yd in "m" is 54.864.

    unit     one of MEASURES; a bare number is in that unit
    signed   a number below 0 can be meant, such as the shrinkage of a step that stretches

    A decimal comma is as good as a point; 7 1/2 in, 7½ in, 3 lb 7 oz, 2 h 30 min and 2:30 are read as they are said.
    What could set thousands apart in the language of the page is asked about and never guessed: 1,234 in English, 1.234
    in German. Exact to the 12th decimal.

    >>> read("60 yd", "m"), read("1,5 m", "cm"), read("28 ends/in", "per_cm")
    (Decimal('54.864'), Decimal('150'), Decimal('11.023622047244'))
    >>> read("2 h 30 min", "min"), read("12 oz/yd2", "g_per_m2").quantize(Decimal("0.1"))
    (Decimal('150'), Decimal('406.9'))
    >>> read("5 kg", "m")
    Traceback (most recent call last):
    mill.refusal.Refusal: "5 kg" is a mass, and a length is wanted here. Write it in m, such as 60 m, 65.5 yd or
    5000 cm.

    Raises Refusal for no number, an unknown unit, a unit that measures something else, a number below 0 or too large.
    """
    measure = MEASURES[unit]
    shown = " ".join(text.split())
    shown = shown if len(shown) <= 60 else f"{shown[:57]}…"

    def said(**others: str) -> dict[str, str]:
        return {"shown": shown, "what": _(measure.what), **others}

    if len(text) > MOST_LETTERS:
        thing = _(measure.what).removeprefix("a ")
        raise Refusal(_('"%(shown)s" is longer than any %(thing)s.') % said(thing=thing) + f" {_way_out(measure)}")
    if not shown:
        raise Refusal(_("There is nothing written.") + f" {_way_out(measure)}")
    rest = _plain_text(text)
    is_below_nought = rest.startswith("-")
    rest = rest[1:].strip() if rest.startswith(("+", "-")) else rest
    total = Decimal(0)
    with localcontext() as context:
        context.prec = 50
        for number, words in _pairs(rest, measure=measure, shown=shown):
            total += number * (_factor(words, unit, shown) if words else 1)
        value = tidy(total.quantize(Decimal(1).scaleb(-PLACES), rounding=ROUND_HALF_UP))
    if is_below_nought and value:
        if not signed:
            raise Refusal(_('"%(shown)s" is below 0, and %(what)s can\'t be.') % said() + f" {_way_out(measure)}")
        value = -value
    if abs(value) > measure.most:
        most = f"{tidy(measure.most)} {_(measure.written) if measure.written else ''}".rstrip()
        raise Refusal(
            _('"%(shown)s" comes to more than %(most)s, the most that %(what)s can be. Check the number and its unit.')
            % said(most=most)
        )
    return value


def show(value: Decimal | int, unit: str, as_unit: str, *, places: int = 2) -> str:
    """A canonical value in the unit a person likes, with that unit: `read` reads it back.

    as_unit   any unit that measures the same: "yd", "ends/in", "oz/yd2"; two such as "lb oz" and "h min" share it out
    places    after the point; idle noughts are left out

    >>> show(Decimal("54.864"), "m", "yd"), show(Decimal("9.449"), "per_cm", "picks/in")
    ('60 yd', '24 picks/in')
    >>> show(150, "min", "h min"), show(Decimal("1559.22"), "g", "lb oz")
    ('2 h 30 min', '3 lb 7 oz')
    """
    with localcontext() as context:
        context.prec = 50
        step = Decimal(1).scaleb(-places)
        large, _, small = (
            as_unit.partition(" ") if re.fullmatch(r"(?!per )[a-z]+ [a-z]+", as_unit) else (as_unit, "", "")
        )
        if not small:
            converted = Decimal(value) / _factor(_plain_text(as_unit), unit, as_unit)
            return f"{plain(converted.quantize(step, rounding=ROUND_HALF_UP))} {as_unit}"
        of_small = _factor(small, unit, small)
        in_one = (_factor(large, unit, large) / of_small).quantize(Decimal(1).scaleb(-PLACES))
        all_small = (abs(Decimal(value)) / of_small).quantize(step, rounding=ROUND_HALF_UP)
        whole, part = divmod(all_small, in_one)
        said = [f"{plain(n)} {word}" for n, word in ((whole, large), (part, small)) if n]
        sign = "-" if value < 0 and said else ""
        return sign + (" ".join(said) or f"0 {small}")


def typed_in(value: Decimal, unit: str, as_unit: str, *, places: int) -> str:
    """The shortest number that, read in as_unit, is the value again at its places: what a field shows to be changed.

    places   of the value, as it is kept

    >>> typed_in(Decimal("54.86"), "m", "yd", places=2), typed_in(Decimal("8.46"), "per_cm", "per in", places=2)
    ('60', '21.5')
    """
    step = Decimal(1).scaleb(-places)
    with localcontext() as context:
        context.prec = 50
        in_one = _factor(_plain_text(as_unit), unit, as_unit)
        for n in range(PLACES):
            number = (value / in_one).quantize(Decimal(1).scaleb(-n), rounding=ROUND_HALF_UP)
            if (number * in_one).quantize(step, rounding=ROUND_HALF_UP) == value.quantize(step):
                break
    return typed(number)


def tidy(value: Decimal) -> Decimal:
    """The same number without idle noughts and without an exponent.

    >>> tidy(Decimal("150.000")), tidy(Decimal("1E+3"))
    (Decimal('150'), Decimal('1000'))
    """
    return Decimal(plain(value))


def typed(value: Decimal | int) -> str:
    """A number as it stands in a field, in the language of the page: `read` reads it back."""
    return plain(value).replace(".", written_now().decimal)


def plain(value: Decimal | int) -> str:
    """A number as a program, or a person who speaks English, writes it.

    >>> plain(Decimal("7.500")), plain(Decimal("-0.00"))
    ('7.5', '0')
    """
    number = Decimal(value)
    if not number:
        return "0"
    text = f"{number:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _way_out(measure: Measure) -> str:
    *first, last = map(_example, measure.examples)
    such = _("%(first)s or %(last)s") % {"first": ", ".join(first), "last": last} if first else last
    if not measure.written:
        return _("Write %(such)s.") % {"such": such}
    return _("Write it in %(unit)s, such as %(such)s.") % {"unit": _(measure.written), "such": such}


def _example(written: str) -> str:
    """As it is typed in the language of the page: 65,5 yd."""
    return _(written).replace(".", written_now().decimal)


def _unreadable(shown: str, measure: Measure) -> Refusal:
    wrong = _('"%(shown)s" can\'t be read as %(what)s.') % {"shown": shown, "what": _(measure.what)}
    return Refusal(f"{wrong} {_way_out(measure)}")


def _plain_text(text: str) -> str:
    """Small letters, one way of writing minus, inches, percent, squares and fractions."""
    rest = text.strip().lower().replace("−", "-").replace("–", "-")
    rest = re.sub(r"per\s*cent\b", "percent", rest)
    for sign, letters in _UMLAUTS.items():
        rest = rest.replace(sign, letters)
    rest = re.sub(r"\b(?:je|pro)\b", "per", rest)  # Fäden je cm
    for sign, word in _SIGNS.items():
        rest = rest.replace(sign, word)
    for sign, share in _FRACTIONS.items():
        rest = rest.replace(sign, f" {share}")
    rest = rest.replace("²", "2").replace("³", "3").replace("**", "^")
    rest = re.sub(r"\b(?:sq(?:uare)?)\.?\s*([a-z]+)", r"\g<1>2", rest)
    rest = re.sub(r"\b(?:cu(?:bic)?)\.?\s*([a-z]+)", r"\g<1>3", rest)
    rest = re.sub(r"(?<=[a-z])\.(?!\d)", "", rest)  # in., yds.
    return rest.strip()


def _pairs(rest: str, *, measure: Measure, shown: str) -> Iterator[tuple[Decimal, str]]:
    """The numbers of a text, each with the words of its unit; no words where it has none."""
    if clock := re.fullmatch(r"(\d{1,5}):([0-5]\d)", rest, re.ASCII):
        yield Decimal(clock[1]), "hour"
        yield Decimal(clock[2]), "minute"
        return
    last = ""
    at = 0
    while at < len(rest):
        number = _NUMBER.match(rest, at)
        if number is None:
            raise _unreadable(shown, measure)
        at = number.end()
        if unit := _UNIT.match(rest, at):
            at = unit.end()
        words = unit[0].strip() if unit else ""
        at += len(rest[at:]) - len(rest[at:].lstrip())
        if not words and last:
            # 2h30 leaves the minutes unsaid; nothing else may.
            if last not in {"h", "hr", "hour", "hours", "std", "stunde", "stunden"} or at < len(rest):
                no_unit = _('"%(shown)s": %(number)s has no unit.') % {"shown": shown, "number": number[0].strip()}
                raise Refusal(f"{no_unit} {_way_out(measure)}")
            words = "minute"
        elif not words and at < len(rest):
            raise _unreadable(shown, measure)
        last = words
        yield _number(number, shown=shown), words


def _number(found: re.Match[str], *, shown: str) -> Decimal:
    if sum(sign.isdigit() for sign in found[0]) > MOST_DIGITS:
        raise Refusal(_('"%(shown)s" has more than %(n)s figures. Round it.') % {"shown": shown, "n": MOST_DIGITS})
    over, under = found["over"] or found["share_over"], found["under"] or found["share_under"]
    if over is not None:
        if int(under) == 0:
            raise Refusal(
                _('"%(shown)s": nothing can be shared by 0. Write the number as a decimal.') % {"shown": shown}
            )
        return Decimal(found["whole"] or 0) + Decimal(over) / Decimal(under)
    if found["thousands"]:
        return Decimal(found["thousands"].replace(",", ""))
    if found["thousand_points"]:
        return Decimal(found["thousand_points"].replace(".", "").replace(",", "."))
    written = re.sub(rf"[ {_SPACES}]", "", found["grouped"] or found["plain"])
    other = "." if written_now() is GERMAN else ","
    whole, apart, decimals = written.partition(other)
    if apart and len(decimals) == 3 and whole.strip("0") and not found["grouped"]:
        whole_said, part_said = f"{whole}{decimals}", f"{whole}{written_now().decimal}{decimals}"
        raise Refusal(
            _(
                '"%(shown)s": %(written)s can mean %(whole)s or %(part)s. Write the one you mean with a point or'
                " without a comma."
            )
            % {"shown": shown, "written": written, "whole": whole_said, "part": part_said}
        )
    return Decimal(written.replace(",", ".").rstrip(".") or "0")


@cache
def _registry() -> Any:
    from pint import UnitRegistry

    return UnitRegistry(str(DEFINITIONS), non_int_type=Decimal, cache_folder=None)


def _quantity(registry: Any, words: str) -> Any:
    """One of the unit that words stand for. Raises pint's UndefinedUnitError for a word that is not in units.txt."""
    found = _UNIT.fullmatch(_SHORT.get(words, words))
    assert found is not None, words
    quantity = registry.Quantity(Decimal(1))
    for place in ("top", "under"):
        if not (word := found[place]):
            continue
        name, power = (word[:-1].rstrip("^"), int(word[-1])) if word[-1] in "23" else (word, 1)
        factor = registry.Quantity(Decimal(1), name) ** power
        quantity = quantity * factor if place == "top" else quantity / factor
    return quantity / 10 if found["ten"] else quantity


@cache
def _known_factor(words: str, unit: str) -> Decimal | str:
    """How many canonical units one such unit is; or, where it measures something else, what that is."""
    registry = _registry()
    with localcontext() as context:
        context.prec = 50
        target = _quantity(registry, MEASURES[unit].says)
        given = _quantity(registry, words)
        # "28 per in" leaves the ends, picks or dents unsaid: they are what this measure counts.
        counted = "dent" if "dent" in MEASURES[unit].says else "thread"
        counting = given * registry.Quantity(Decimal(1), counted)
        for candidate in (given, counting):
            if candidate.dimensionality == target.dimensionality:
                return Decimal((candidate / target).to_base_units().magnitude)
        for measure in MEASURES.values():
            if _quantity(registry, measure.says).dimensionality == given.dimensionality:
                return measure.what
    return ""


def _factor(words: str, unit: str, shown: str) -> Decimal:
    from pint.errors import UndefinedUnitError

    measure = MEASURES[unit]
    try:
        found = _known_factor(words, unit)
    except UndefinedUnitError:
        strange = _('"%(shown)s" has a unit we don\'t know, "%(words)s".') % {"shown": shown, "words": words}
        raise Refusal(f"{strange} {_way_out(measure)}") from None
    if found == "":
        wrong = _('"%(shown)s" is not %(what)s.') % {"shown": shown, "what": _(measure.what)}
        raise Refusal(f"{wrong} {_way_out(measure)}")
    if isinstance(found, str):
        other = _('"%(shown)s" is %(found)s, and %(what)s is wanted here.') % {
            "shown": shown,
            "found": _(found),
            "what": _(measure.what),
        }
        raise Refusal(f"{other} {_way_out(measure)}")
    return found
