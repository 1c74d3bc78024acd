"""What a cell says, read as the forms read it: trade units, counts, reeds, within the bounds of its column."""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext as _

from inventory.yarn import Count, read_count
from mill import units
from mill.fields import within
from mill.refusal import N_, Refusal
from planning.csv_book import shown
from planning.sett import read_reed

Reader = Callable[[str], Any]


def column_of(model: type[models.Model], name: str) -> models.Field[Any, Any]:
    found = model._meta.get_field(name)
    assert isinstance(found, models.Field)
    return found


def text_of(model: type[models.Model], name: str) -> Reader:
    """A text that fits the model's column and passes its validators."""
    column = column_of(model, name)

    def read(text: str) -> str:
        if column.max_length and len(text) > column.max_length:
            raise Refusal(
                N_('"%(found)s" is %(n)s letters long, and %(most)s are taken. Shorten it.'),
                found=shown(text),
                n=len(text),
                most=column.max_length,
            )
        try:
            column.run_validators(text)
        except ValidationError as error:
            raise Refusal(" ".join(error.messages)) from error
        return text

    return read


def choice_of(model: type[models.Model], name: str) -> Reader:
    """One of the words that the model's column takes."""
    words = [value for value, _ in column_of(model, name).choices or ()]

    def read(text: str) -> str:
        if text.casefold() not in words:
            raise Refusal(
                N_('"%(found)s" is none of %(words)s. Write one of these.'), found=shown(text), words=", ".join(words)
            )
        return text.casefold()

    return read


def measure_of(
    model: type[models.Model],
    name: str,
    unit: str,
    *,
    above: int | None = None,
    below: int | None = None,
    most: int | None = None,
) -> Reader:
    """A measure in the unit of the model's column, rounded and bounded as that is; a bare number is in that unit.

    above, below    it must be more, or less, than these
    most            the bound of a column that has none of its own
    """
    column = column_of(model, name)
    places = column.decimal_places if isinstance(column, models.DecimalField) else 0
    digits = column.max_digits - places if isinstance(column, models.DecimalField) else 9
    least = max([v.limit_value for v in column.validators if isinstance(v, MinValueValidator)], default=Decimal(0))
    bounds = [] if most is None else [Decimal(most)]
    greatest = min(
        [
            *bounds,
            *(v.limit_value for v in column.validators if isinstance(v, MaxValueValidator)),
            10 ** Decimal(digits) - Decimal(1).scaleb(-places),
        ]
    )

    def read(text: str) -> Decimal | int:
        value = units.read(text, unit, signed=least < 0)
        kept = value.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)
        if places == 0 and kept != value:
            raise Refusal(
                N_('"%(found)s" is no whole number. Write one such as %(near)s.'),
                found=shown(text),
                near=units.plain(kept),
            )
        within(kept, units.MEASURES[unit].written, min_value=least, max_value=greatest, above=above, below=below)
        return int(kept) if places == 0 else kept

    return read


def whole_of(model: type[models.Model], name: str) -> Reader:
    """A whole number within the bounds of the model's column."""
    return measure_of(model, name, "number")


def percent_of(model: type[models.Model], name: str, *, below: int | None = None, most: int | None = None) -> Reader:
    return measure_of(model, name, "pct", below=below, most=most)


def read_yarn_count(text: str) -> Count:
    """A count as it is bought, which must be written shortly enough to be kept as it was."""
    count = read_count(text)
    if not 1 <= count.count_tex < 1_000_000:
        raise Refusal(
            N_('"%(found)s" comes to %(tex)s tex. A yarn has 1 tex or more.'),
            found=shown(text),
            tex=units.plain(count.count_tex),
        )
    return count


def read_dents(text: str) -> Decimal:
    """Dents in 10 cm: a number, a number with its unit, or what is stamped on the reed, Stockport 40."""
    try:
        dents = units.read(text, "dents_per_10cm")
    except Refusal:
        dents = read_reed(text)
    kept = dents.quantize(Decimal("0.001"), rounding=ROUND_HALF_UP)
    within(kept, _("dents per 10 cm"), min_value=1, below=1_000)
    return kept


def read_grams(text: str) -> int:
    """Kilograms, or a mass with its unit, in whole grams."""
    return int((units.read(text, "kg") * 1000).to_integral_value(rounding=ROUND_HALF_UP))


def read_shares(text: str) -> dict[str, Decimal]:
    """Shares of a yarn's mass by fibre: lambswool 80 + silk 20."""
    shares: dict[str, Decimal] = {}
    for part in re.split(r"\s*[+;]\s*", text):
        name, _, pct = part.rstrip("% ").rpartition(" ")
        if not name.strip():
            raise Refusal(
                N_('"%(found)s" can\'t be read. Write a fibre and its share, such as lambswool 80 + silk 20.'),
                found=shown(text),
            )
        if name.strip() in shares:
            raise Refusal(N_("%(name)s stands there twice. Write its whole share once."), name=name.strip())
        shares[name.strip()] = units.read(pct, "pct")
    return shares
