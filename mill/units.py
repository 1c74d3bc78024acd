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

from mill.refusal import Refusal

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
    "m": Measure("m", "metre", "a length", ("60 m", "65.5 yd", "5000 cm"), Decimal(1_000_000_000)),
    "cm": Measure("cm", "centimetre", "a width", ("150 cm", "59 in", "1.5 m"), Decimal(100_000)),
    "mm": Measure("mm", "millimetre", "a size", ("760 mm", "76 cm", "30 in"), Decimal(1_000_000)),
    "g": Measure("g", "gram", "a mass", ("500 g", "5 kg", "3 lb 7 oz"), Decimal(1_000_000_000)),
    "kg": Measure("kg", "kilogram", "a mass", ("25 kg", "55 lb", "500 g"), Decimal(1_000_000)),
    "per_cm": Measure(
        "per cm", "thread / centimetre", "a sett", ("11 per cm", "28 ends/in", "24 picks/in"), Decimal(1_000)
    ),
    "dents_per_10cm": Measure(
        "dents per 10 cm", "dent / 10 centimetre", "a reed", ("63 dents per 10 cm", "16 dents/in"), Decimal(1_000)
    ),
    "g_per_m2": Measure("g/m²", "gram / metre2", "a mass of cloth", ("407 g/m2", "12 oz/yd2"), Decimal(100_000)),
    "g_per_m": Measure("g/m", "gram / metre", "a running mass", ("560 g/m", "18 oz/yd"), Decimal(1_000_000)),
    "kg_per_m3": Measure("kg/m³", "kilogram / metre3", "a density", ("400 kg/m3", "0.4 g/cm3"), Decimal(100_000)),
    "m_per_min": Measure("m/min", "metre / minute", "a speed", ("250 m/min", "270 yd/min"), Decimal(100_000)),
    "picks_per_min": Measure("picks/min", "thread / minute", "a loom's speed", ("220", "220 ppm"), Decimal(100_000)),
    "min": Measure("min", "minute", "a time", ("45 min", "2 h 30 min", "1.5 h"), Decimal(10_000_000)),
    "h": Measure("h", "hour", "a time", ("8 h", "7 h 30 min", "450 min"), Decimal(100_000)),
    "number": Measure("", "thread", "a number", ("12", "7.5", "1 500"), Decimal(1_000_000_000_000)),
    "pct": Measure("%", "percent", "a percentage", ("7", "7 %", "7.5 %"), Decimal(1_000)),
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
    Exact to the 12th decimal.

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
    if len(text) > MOST_LETTERS:
        raise Refusal(f'"{shown}" is longer than any {measure.what.split(maxsplit=1)[1]}. {_way_out(measure)}')
    if not shown:
        raise Refusal(f"There is nothing written. {_way_out(measure)}")
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
            raise Refusal(f'"{shown}" is below 0, and {measure.what} can\'t be. {_way_out(measure)}')
        value = -value
    if abs(value) > measure.most:
        raise Refusal(
            f'"{shown}" comes to more than {tidy(measure.most)} {measure.written}'.rstrip()
            + f", the most that {measure.what} can be. Check the number and its unit."
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


def tidy(value: Decimal) -> Decimal:
    """The same number without idle noughts and without an exponent.

    >>> tidy(Decimal("150.000")), tidy(Decimal("1E+3"))
    (Decimal('150'), Decimal('1000'))
    """
    return Decimal(plain(value))


def plain(value: Decimal | int) -> str:
    """A number as a person writes it.

    >>> plain(Decimal("7.500")), plain(Decimal("-0.00"))
    ('7.5', '0')
    """
    number = Decimal(value)
    if not number:
        return "0"
    text = f"{number:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _way_out(measure: Measure) -> str:
    *first, last = measure.examples
    such = f"{', '.join(first)} or {last}" if first else last
    return f"Write it in {measure.written}, such as {such}." if measure.written else f"Write {such}."


def _plain_text(text: str) -> str:
    """Small letters, one way of writing minus, inches, percent, squares and fractions."""
    rest = text.strip().lower().replace("−", "-").replace("–", "-")
    rest = re.sub(r"per\s*cent\b", "percent", rest)
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
            raise Refusal(f'"{shown}" can\'t be read as {measure.what}. {_way_out(measure)}')
        at = number.end()
        if unit := _UNIT.match(rest, at):
            at = unit.end()
        words = unit[0].strip() if unit else ""
        at += len(rest[at:]) - len(rest[at:].lstrip())
        if not words and last:
            # 2h30 leaves the minutes unsaid; nothing else may.
            if last not in {"h", "hr", "hour", "hours"} or at < len(rest):
                raise Refusal(f'"{shown}": {number[0].strip()} has no unit. {_way_out(measure)}')
            words = "minute"
        elif not words and at < len(rest):
            raise Refusal(f'"{shown}" can\'t be read as {measure.what}. {_way_out(measure)}')
        last = words
        yield _number(number, shown=shown), words


def _number(found: re.Match[str], *, shown: str) -> Decimal:
    if sum(sign.isdigit() for sign in found[0]) > MOST_DIGITS:
        raise Refusal(f'"{shown}" has more than {MOST_DIGITS} figures. Round it.')
    over, under = found["over"] or found["share_over"], found["under"] or found["share_under"]
    if over is not None:
        if int(under) == 0:
            raise Refusal(f'"{shown}": nothing can be shared by 0. Write the number as a decimal.')
        return Decimal(found["whole"] or 0) + Decimal(over) / Decimal(under)
    if found["thousands"]:
        return Decimal(found["thousands"].replace(",", ""))
    if found["thousand_points"]:
        return Decimal(found["thousand_points"].replace(".", "").replace(",", "."))
    written = re.sub(rf"[ {_SPACES}]", "", found["grouped"] or found["plain"])
    whole, comma, decimals = written.partition(",")
    if comma and len(decimals) == 3 and whole.strip("0") and not found["grouped"]:
        raise Refusal(
            f'"{shown}": {written} can mean {whole}{decimals} or {whole}.{decimals}. Write the one you mean with a'
            " point or without a comma."
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
        raise Refusal(f'"{shown}" has a unit we don\'t know, "{words}". {_way_out(measure)}') from None
    if found == "":
        raise Refusal(f'"{shown}" is not {measure.what}. {_way_out(measure)}')
    if isinstance(found, str):
        raise Refusal(f'"{shown}" is {found}, and {measure.what} is wanted here. {_way_out(measure)}')
    return found
