"""Public holidays: which days a country, or a part of it, keeps. Knows no mill.

The only file that names the holidays package, whose tables say what is law or custom; a mill closes when it says so.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache

from mill.refusal import N_, Refusal, Word

YEARS = range(2000, 2101)


@dataclass(frozen=True, slots=True)
class PublicDay:
    day: date
    name: str


@cache
def countries() -> dict[str, str]:
    """Countries by their ISO 3166-1 code, in the order of their names.

    >>> countries()["GB"], countries()["IE"]
    ('United Kingdom', 'Ireland')
    """
    from holidays.registry import COUNTRIES

    spaced = {row[1]: re.sub(r"(?<=[a-z])(?=[A-Z])", " ", row[0]) for row in COUNTRIES.values()}
    return dict(sorted(spaced.items(), key=lambda item: item[1]))


@cache
def parts_of(country: str) -> tuple[str, ...]:
    """Parts of a country with days of their own, by their ISO 3166-2 code without the country's.

    >>> parts_of("GB")
    ('ENG', 'NIR', 'SCT', 'WLS')
    """
    import holidays

    return tuple(holidays.list_supported_countries(include_aliases=False).get(country, ()))


def read_place(written: str) -> tuple[str, str]:
    """Country and part, from how both are written together.

    >>> read_place("GB-SCT"), read_place("IE")
    (('GB', 'SCT'), ('IE', ''))

    Raises Refusal for a country or a part that is not in the tables.
    """
    country, _, part = written.strip().upper().partition("-")
    if country not in countries():
        raise Refusal(
            N_("“%(written)s” names no country that the tables have. Write its code, such as GB or GB-SCT."),
            written=written[:20],
        )
    if part and part not in parts_of(country):
        raise Refusal(
            N_("%(country)s has no part “%(part)s” in the tables; they have %(known)s."),
            country=Word(countries()[country]),
            part=part[:10],
            known=", ".join(parts_of(country)) or Word(N_("none")),
        )
    return country, part


def public_days(place: str, year: int, *, spoken: str = "en") -> Sequence[PublicDay]:
    """The holidays of a place in a year, by day; names in the language, else in English, where the tables have them.

    place    GB, GB-SCT
    year     2000 to 2100
    spoken   "de"

    Raises Refusal for a place or year that is not in the tables.
    """
    import holidays

    country, part = read_place(place)
    if year not in YEARS:
        raise Refusal(
            N_("The tables go from %(first)s to %(last)s; %(year)s is not in them."),
            first=YEARS[0],
            last=YEARS[-1],
            year=year,
        )
    of_country = holidays.country_holidays(country)
    known = of_country.supported_languages
    own = [name for name in known if spoken != "en" and name.partition("_")[0] == spoken]
    named = [*own, *(name for name in ("en_GB", "en_US") if name in known), of_country.default_language]
    found = holidays.country_holidays(country, subdiv=part or None, years=year, language=named[0])
    return [PublicDay(day, name) for day, name in sorted(found.items())]
