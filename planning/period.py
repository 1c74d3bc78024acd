"""A period that a report looks at: its days, its weeks from Monday on, its months. Knows no clock."""

from dataclasses import dataclass
from datetime import date, timedelta

from mill.refusal import N_, Refusal

# So many days at most: a picture of more weeks can't be read.
MOST_DAYS = 2 * 366
# No mill of ours wove before, or plans beyond; and calendars end somewhere.
YEARS = range(1900, 2200)


@dataclass(frozen=True, slots=True)
class Period:
    """From one day to another, both within it. Raises Refusal where it ends before it begins, or is too long.

    >>> Period(date(2026, 11, 25), date(2026, 11, 24))
    Traceback (most recent call last):
    mill.refusal.Refusal: The period begins on 25.11.2026 and ends on 24.11.2026. Write a last day ...
    """

    first: date
    last: date

    def __post_init__(self) -> None:
        for name, day in (("from_day", self.first), ("to_day", self.last)):
            if day.year not in YEARS:
                raise Refusal(
                    N_("The year %(year)s is not in the book: write one from %(first)s to %(last)s."),
                    year=day.year,
                    first=YEARS.start,
                    last=YEARS.stop - 1,
                    field=name,
                )
        if self.last < self.first:
            raise Refusal(
                N_("The period begins on %(first)s and ends on %(last)s. Write a last day that comes after the first."),
                first=f"{self.first:%d.%m.%Y}",
                last=f"{self.last:%d.%m.%Y}",
                field="to_day",
            )
        if self.days > MOST_DAYS:
            raise Refusal(
                N_("The period has %(days)s days; %(most)s can be looked at together. Write a later first day."),
                days=self.days,
                most=MOST_DAYS,
                field="from_day",
            )

    @property
    def days(self) -> int:
        """How many, the first and the last among them."""
        return (self.last - self.first).days + 1

    def __contains__(self, day: date) -> bool:
        return self.first <= day <= self.last

    def weeks(self) -> list[date]:
        """The Mondays of all weeks of which it has a day.

        >>> [week.day for week in Period(date(2026, 11, 25), date(2026, 12, 7)).weeks()]
        [23, 30, 7]
        """
        monday = week_of(self.first)
        return [monday + timedelta(weeks=n) for n in range((week_of(self.last) - monday).days // 7 + 1)]

    def months(self) -> list[date]:
        """The first days of all months of which it has a day.

        >>> [f"{month:%b %Y}" for month in Period(date(2026, 11, 25), date(2027, 1, 1)).months()]
        ['Nov 2026', 'Dec 2026', 'Jan 2027']
        """
        begins = self.first.year * 12 + self.first.month - 1
        ends = self.last.year * 12 + self.last.month - 1
        return [date(n // 12, n % 12 + 1, 1) for n in range(begins, ends + 1)]


def week_of(day: date) -> date:
    """The Monday of the day's week."""
    return day - timedelta(days=day.weekday())


def month_of(day: date) -> date:
    return day.replace(day=1)
