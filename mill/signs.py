"""How numbers and days are written in each language of the book. Knows no field, no page and no framework.

The names of days and months and the decimal sign are those of the Unicode CLDR, which the tests ask. Thousands are set
apart by a narrow space in every language (ISO 80000-1), never by a point or a comma: 1.234 on one page and 1,234 on
another could otherwise be the same number, or a thousand times it.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import date

NARROW_SPACE = "\u202f"


@dataclass(frozen=True, slots=True)
class Signs:
    """One language's.

    decimal     between a whole and its parts
    day         a day without its year; day_of_year with it: {weekday}, {day}, {month}, {year}
    weekdays    short, from Monday; months from January
    """

    decimal: str
    day: str
    day_of_year: str
    weekdays: tuple[str, ...]
    months: tuple[str, ...]

    def day_said(self, on: date, *, with_year: bool) -> str:
        """A day by its name.

        >>> ENGLISH.day_said(date(2026, 11, 24), with_year=False), GERMAN.day_said(date(2027, 3, 1), with_year=True)
        ('Tue 24 Nov', 'Mo, 1. Mär 2027')
        """
        form = self.day_of_year if with_year else self.day
        weekday, month = self.weekdays[on.weekday()], self.months[on.month - 1]
        return form.format(weekday=weekday, day=on.day, month=month, year=on.year)


ENGLISH = Signs(
    decimal=".",
    day="{weekday} {day} {month}",
    day_of_year="{weekday} {day} {month} {year}",
    weekdays=("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"),
    months=("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"),
)
GERMAN = Signs(
    decimal=",",
    day="{weekday}, {day}. {month}",
    day_of_year="{weekday}, {day}. {month} {year}",
    # Those that CLDR has for a name by itself, without a full stop: a day at a sentence's end would else have two.
    weekdays=("Mo", "Di", "Mi", "Do", "Fr", "Sa", "So"),
    months=("Jan", "Feb", "Mär", "Apr", "Mai", "Jun", "Jul", "Aug", "Sep", "Okt", "Nov", "Dez"),
)
OF: dict[str, Signs] = {"en-gb": ENGLISH, "de": GERMAN}

# Beside the framework's own language, since asking that takes longer than writing a number does.
_written: ContextVar[Signs] = ContextVar("signs", default=ENGLISH)
written_now = _written.get


def write_as(code: str) -> None:
    """From here on numbers and days are this language's."""
    _written.set(OF[code])


@contextmanager
def written_as(code: str) -> Iterator[None]:
    """The same, until the block ends."""
    before = _written.set(OF[code])
    try:
        yield
    finally:
        _written.reset(before)
