"""Seconds: pieces that did not pass, by the fault that made them so, and their share of all that were judged."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from mill.refusal import N_
from mill.working import Step
from planning.period import Period, month_of
from planning.piece import Fault, fault_points
from planning.rows import grouped, share_pct

NOT_WRITTEN = N_("no fault written")


@dataclass(frozen=True, slots=True)
class Judged:
    """A finished piece that was passed or found a second, with its faults as the percher wrote them."""

    piece: str
    cloth: str
    finished_on: date
    length_m: Decimal
    is_second: bool
    faults: tuple[Fault, ...] = ()

    @property
    def cause(self) -> str:
        """The fault with the most points of four-point grading, in small letters; of two alike the first by name.

        Common practice, no source: a piece is a second for all its faults, and is put down to the one that weighs most.

        >>> mostly = (Fault(Decimal(1), Decimal(300), False, "Bar"), Fault(Decimal(2), Decimal(50), False, "slub"))
        >>> Judged("1-1", "HER", date(2026, 11, 2), Decimal(60), True, mostly).cause
        'bar'
        """
        points: Counter[str] = Counter()
        for fault in self.faults:
            points[_tidy(fault.name)] += fault_points(fault)
        return min(points, key=lambda name: (-points[name], name)) if points else NOT_WRITTEN


@dataclass(frozen=True, slots=True)
class Share:
    """Judged pieces taken together, and the seconds among them. `seconds_pct` is of the metres."""

    pieces: int
    length_m: Decimal
    second_pieces: int
    second_m: Decimal
    seconds_pct: Decimal | None


@dataclass(frozen=True, slots=True)
class Cause:
    """Seconds of one cause. `so_far_pct` is the share of this and of all causes above it."""

    name: str
    pieces: int
    length_m: Decimal
    share_pct: Decimal
    so_far_pct: Decimal


def share(rows: Iterable[Judged]) -> Share:
    """Metres found seconds ÷ metres judged. Common practice, no source."""
    judged = list(rows)
    seconds = [row for row in judged if row.is_second]
    length_m, second_m = _metres(judged), _metres(seconds)
    return Share(len(judged), length_m, len(seconds), second_m, share_pct(second_m, length_m))


def by_cause(rows: Iterable[Judged]) -> list[Cause]:
    """The causes of seconds, most metres first, each with its share of all seconds' metres.

    The few first ones make most of it: Juran, Quality Control Handbook, 1951, after Pareto; from memory.
    """
    groups = grouped([row for row in rows if row.is_second], lambda row: row.cause)
    ordered = sorted(groups.items(), key=lambda row: (-_metres(row[1]), row[0]))
    whole, so_far, found = _metres(row for own in groups.values() for row in own), Decimal(0), []
    for name, own in ordered:
        length_m = _metres(own)
        so_far += length_m
        found.append(
            Cause(
                name,
                len(own),
                length_m,
                share_pct(length_m, whole) or Decimal(0),
                share_pct(so_far, whole) or Decimal(0),
            )
        )
    return found


def by_month(rows: Iterable[Judged], period: Period) -> list[tuple[date, Share]]:
    groups = grouped(rows, lambda row: month_of(row.finished_on))
    return [(month, share(groups.get(month, ()))) for month in period.months()]


def by_cloth(rows: Iterable[Judged]) -> list[tuple[str, Share]]:
    """Each cloth, most metres of seconds first."""
    found = [(name, share(own)) for name, own in grouped(rows, lambda row: row.cloth).items()]
    return sorted(found, key=lambda row: (-row[1].second_m, row[0]))


def working(whole: Share) -> tuple[Step, ...]:
    if whole.seconds_pct is None:
        return ()
    return (
        Step(
            "seconds_pct",
            N_("Seconds"),
            N_("finished metres found seconds ÷ finished metres judged"),
            f"{whole.second_m} m ÷ {whole.length_m} m",
            whole.seconds_pct,
            "%",
            N_("common practice, no source"),
        ),
    )


def _tidy(name: str) -> str:
    return " ".join(name.casefold().split()) or NOT_WRITTEN


def _metres(rows: Iterable[Judged]) -> Decimal:
    return sum((row.length_m for row in rows), start=Decimal(0))
