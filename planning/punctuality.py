"""Punctuality: lines that left whole, each beside the day it was due, and the share of them that came in time."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from statistics import median

from mill.refusal import N_
from mill.working import Step
from planning.period import Period, week_of
from planning.piece import against_order
from planning.rows import grouped, share_pct

# How early or late, in days: label, from, to.
BANDS: tuple[tuple[str, int | None, int | None], ...] = (
    (N_("more than a week early"), None, -8),
    (N_("up to a week early"), -7, -1),
    (N_("on the day"), 0, 0),
    (N_("up to a week late"), 1, 7),
    (N_("more than a week late"), 8, None),
)


@dataclass(frozen=True, slots=True)
class SentLine:
    """An order line that has been sent whole.

    sent_on     when the last of it left
    sent_m      finished metres, of `ordered_m`
    """

    line: str
    customer: str
    due_on: date
    sent_on: date
    ordered_m: Decimal
    sent_m: Decimal
    tolerance_pct: Decimal

    @property
    def days_late(self) -> int:
        """Calendar days after the due day; less than 0 where it left before."""
        return (self.sent_on - self.due_on).days

    @property
    def is_on_time(self) -> bool:
        return self.days_late <= 0

    @property
    def is_short(self) -> bool:
        """Fewer metres than ordered, beyond the tolerance, and nothing more of it is to come."""
        sent = against_order([self.sent_m], ordered_m=self.ordered_m, tolerance_pct=self.tolerance_pct)
        return sent.sent_m < sent.least_m


@dataclass(frozen=True, slots=True)
class Punctuality:
    """Lines taken together.

    on_time, late   they add up to `lines`
    on_time_pct     None without a line
    median_days     late, in the middle of them all; less than 0 is early
    worst_days      of the latest
    short           left whole, and yet with fewer metres than the tolerance allows
    """

    lines: int
    on_time: int
    late: int
    short: int
    on_time_pct: Decimal | None
    median_days: Decimal | None
    worst_days: int | None


def punctuality(rows: Iterable[SentLine]) -> Punctuality:
    """Share of lines whose last piece left on the due day or before it.

    A line counts once, in the week in which the last of it left, however many pieces it has. Common practice, no
    source: what counts as in time is between the mill and its customer.

    >>> line = SentLine("O1/1", "Ann", date(2026, 11, 20), date(2026, 11, 20), Decimal(60), Decimal(60), Decimal(0))
    >>> punctuality([line]).on_time_pct
    Decimal('100.0')
    """
    sent = list(rows)
    on_time = sum(row.is_on_time for row in sent)
    days = [row.days_late for row in sent]
    return Punctuality(
        lines=len(sent),
        on_time=on_time,
        late=len(sent) - on_time,
        short=sum(row.is_short for row in sent),
        on_time_pct=share_pct(on_time, len(sent)),
        median_days=Decimal(str(median(days))).quantize(Decimal("0.1")) if days else None,
        worst_days=max(days, default=None),
    )


def by_week(rows: Sequence[SentLine], period: Period) -> list[tuple[date, Punctuality]]:
    """A row for each week of the period, those without a line too; by the week in which the last of a line left."""
    found = grouped(rows, lambda row: week_of(row.sent_on))
    return [(monday, punctuality(found.get(monday, ()))) for monday in period.weeks()]


def by_customer(rows: Sequence[SentLine]) -> list[tuple[str, Punctuality]]:
    """Each customer that was sent a line, most late lines first."""
    found = [(name, punctuality(own)) for name, own in grouped(rows, lambda row: row.customer).items()]
    return sorted(found, key=lambda row: (-row[1].late, -row[1].lines, row[0]))


def by_band(rows: Sequence[SentLine]) -> list[tuple[str, int, Decimal | None]]:
    """How many lines were so early or so late, and the share of all: label, lines, percent."""
    counted = []
    for label, least, most in BANDS:
        n = sum((least is None or row.days_late >= least) and (most is None or row.days_late <= most) for row in rows)
        counted.append((label, n, share_pct(n, len(rows))))
    return counted


def working(found: Punctuality) -> tuple[Step, ...]:
    """The share with its numbers in it."""
    if found.on_time_pct is None:
        return ()
    return (
        Step(
            "on_time_pct",
            N_("On time"),
            N_("lines whose last piece left by their due day ÷ lines sent whole"),
            f"{found.on_time} ÷ {found.lines}",
            found.on_time_pct,
            "%",
            N_("common practice, no source"),
        ),
    )
