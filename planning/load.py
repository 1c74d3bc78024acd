"""Load: the minutes that planned warps take of each loom's working minutes, week by week. Knows no plan or clock."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from mill.refusal import N_
from mill.working import Step
from planning.rows import share_pct
from planning.worktime import Calendar, Span

SET_UP, WEAVING = "set-up", "weaving"


@dataclass(frozen=True, slots=True)
class Taken:
    """A loom is taken for a warp, from one minute to another, for set-up or weaving."""

    loom: str
    warp: str
    what: str
    starts: int
    stops: int


@dataclass(frozen=True, slots=True)
class Load:
    """Working minutes of a loom, or of several, that are open, and those that are taken."""

    open_min: int = 0
    weaving_min: int = 0
    setup_min: int = 0

    def __add__(self, other: "Load") -> "Load":
        return Load(
            self.open_min + other.open_min, self.weaving_min + other.weaving_min, self.setup_min + other.setup_min
        )

    @property
    def taken_min(self) -> int:
        return self.weaving_min + self.setup_min

    @property
    def free_min(self) -> int:
        return self.open_min - self.taken_min

    def share_pct(self, minutes: int) -> Decimal | None:
        return share_pct(minutes, self.open_min)

    @property
    def load_pct(self) -> Decimal | None:
        """Taken of open, to a tenth; None where nothing is open.

        >>> Load(open_min=4800, weaving_min=2400, setup_min=480).load_pct
        Decimal('60.0')

        Source: capacity required over capacity available by work centre and period is common practice, no source.
        """
        return self.share_pct(self.taken_min)


def by_loom(
    taken: Iterable[Taken], calendars: Mapping[str, Calendar], weeks: Sequence[Span]
) -> dict[str, tuple[Load, ...]]:
    """Each loom's load in each of the weeks; looms without a warp too.

    calendars   of every loom, and only their working minutes count: a set-up that lies over a night takes none of it
    weeks       spans of real minutes, one after the other
    """
    opened = {loom: [hours.worked_between(*week) for week in weeks] for loom, hours in calendars.items()}
    counted = _counted(taken, calendars, weeks, key=lambda one: one.loom)
    return {
        loom: tuple(
            Load(opened[loom][n], counted[loom, WEAVING][n], counted[loom, SET_UP][n]) for n in range(len(weeks))
        )
        for loom in calendars
    }


def by_warp(
    taken: Iterable[Taken], calendars: Mapping[str, Calendar], weeks: Sequence[Span]
) -> dict[str, tuple[Load, ...]]:
    """The same minutes from the other side: what each warp takes in each week. Nothing is open to a warp."""
    rows = list(taken)
    counted = _counted(rows, calendars, weeks, key=lambda one: one.warp)
    return {
        warp: tuple(Load(0, counted[warp, WEAVING][n], counted[warp, SET_UP][n]) for n in range(len(weeks)))
        for warp in dict.fromkeys(row.warp for row in rows)
    }


def together(loads: Iterable[Load]) -> Load:
    return sum(loads, start=Load())


def week_by_week(rows: Mapping[str, Sequence[Load]], n_weeks: int) -> list[Load]:
    """All rows of a week together."""
    return [together(own[n] for own in rows.values()) for n in range(n_weeks)]


def working(whole: Load) -> tuple[Step, ...]:
    if whole.load_pct is None:
        return ()
    return (
        Step(
            "taken_min",
            N_("Taken"),
            N_("weaving + set-up"),
            f"{whole.weaving_min} + {whole.setup_min}",
            whole.taken_min,
            "min",
        ),
        Step(
            "load_pct",
            N_("Load"),
            N_("working minutes that planned warps take ÷ working minutes that are open"),
            f"{whole.taken_min} ÷ {whole.open_min}",
            whole.load_pct,
            "%",
            N_("common practice, no source"),
        ),
    )


def _counted(
    taken: Iterable[Taken], calendars: Mapping[str, Calendar], weeks: Sequence[Span], *, key: Callable[[Taken], str]
) -> dict[tuple[str, str], list[int]]:
    found: dict[tuple[str, str], list[int]] = defaultdict(lambda: [0] * len(weeks))
    for one in taken:
        assert one.what in (SET_UP, WEAVING)
        row, hours = found[key(one), one.what], calendars[one.loom]
        for n, (first, last) in enumerate(weeks):
            a, b = max(one.starts, first), min(one.stops, last)
            if a < b:
                row[n] += hours.worked_between(a, b)
    return found
