"""Turnover: how often a yarn's stock is used up in a year, and how long it lasts. Knows no lot, order or clock."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal

from mill.refusal import N_
from mill.working import Step

YEAR_DAYS = 365


@dataclass(frozen=True, slots=True)
class Day:
    """What came and went of a yarn on a day.

    change_g   of the stock, for whatever reason
    drawn_g    for work, less what came back; a draw that was taken back is none
    """

    on: date
    change_g: int
    drawn_g: int


@dataclass(frozen=True, slots=True)
class Turnover:
    """A yarn, or several together, over so many days.

    stock_g_days   the stock at the end of each day, all days added up
    """

    days: int
    on_hand_g: int
    drawn_g: int
    stock_g_days: int

    @property
    def mean_g(self) -> Decimal:
        return Decimal(self.stock_g_days) / self.days

    @property
    def drawn_g_per_day(self) -> Decimal:
        return Decimal(self.drawn_g) / self.days

    @property
    def turns(self) -> Decimal | None:
        """So many times a year: grams drawn in a year ÷ mean grams on hand; None without stock."""
        if not self.stock_g_days:
            return None
        return Decimal(self.drawn_g) * YEAR_DAYS / self.stock_g_days

    @property
    def supply_days(self) -> Decimal | None:
        """Mean grams on hand ÷ grams drawn a day; None where nothing was drawn."""
        if self.drawn_g <= 0:
            return None
        return Decimal(self.stock_g_days) / self.drawn_g

    def __add__(self, other: "Turnover") -> "Turnover":
        assert self.days == other.days
        return Turnover(
            self.days,
            self.on_hand_g + other.on_hand_g,
            self.drawn_g + other.drawn_g,
            self.stock_g_days + other.stock_g_days,
        )


def turnover(*, began_g: int, changes: Iterable[Day], first: date, last: date) -> Turnover:
    """The turnover from one day to another, both within it.

    began_g   on hand before the first day
    changes   days of the period, each at most once, in any order

    >>> turns = turnover(began_g=1000, changes=[Day(date(2026, 11, 3), -400, 400)], first=date(2026, 11, 1),
    ...     last=date(2026, 11, 4))
    >>> turns.mean_g, turns.supply_days, turns.turns
    (Decimal('800'), Decimal('8'), Decimal('45.625'))

    1000, 1000, 600 and 600 g at the end of the days, 800 in the mean; 100 g drawn a day last 8 days, and 365 / 8 are
    45.6 turns a year. Source: inventory turnover as usage over mean inventory, here in grams, since the book knows no
    prices; common practice, no source.
    """
    assert first <= last
    days = (last - first).days + 1
    stock_g_days, on_hand_g, drawn_g = began_g * days, began_g, 0
    for change in changes:
        assert first <= change.on <= last
        stock_g_days += change.change_g * ((last - change.on).days + 1)
        on_hand_g += change.change_g
        drawn_g += change.drawn_g
    return Turnover(days, on_hand_g, drawn_g, stock_g_days)


def together(rows: Iterable[Turnover], *, days: int) -> Turnover:
    return sum(rows, start=Turnover(days, 0, 0, 0))


def working(whole: Turnover) -> tuple[Step, ...]:
    """Mean stock, turns a year and days' supply with their numbers, rounded as they are shown."""
    if whole.turns is None or whole.supply_days is None:
        return ()
    # Of little stock the part of a gram counts in what follows.
    mean = f"{_near(whole.mean_g, '0.0001').normalize():f}"
    return (
        Step(
            "mean_g",
            N_("Mean stock"),
            N_("grams on hand at the end of each day, added up ÷ days"),
            f"{whole.stock_g_days} ÷ {whole.days}",
            round(whole.mean_g),
            "g",
            N_("common practice, no source"),
        ),
        Step(
            "turns",
            N_("Turnover"),
            N_("grams drawn for work × 365 ÷ days ÷ mean grams on hand"),
            f"{whole.drawn_g} × {YEAR_DAYS} ÷ {whole.days} ÷ {mean}",
            _near(whole.turns, "0.01"),
            "a year",
            N_("common practice, no source"),
        ),
        Step(
            "supply_days",
            N_("Lasts"),
            N_("mean grams on hand ÷ grams drawn a day"),
            f"{mean} ÷ ({whole.drawn_g} ÷ {whole.days})",
            _near(whole.supply_days, "0.1"),
            "days",
            N_("common practice, no source"),
        ),
    )


def _near(value: Decimal, step: str) -> Decimal:
    return value.quantize(Decimal(step), ROUND_HALF_UP)
