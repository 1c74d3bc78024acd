"""Finishing: what a route takes from width, length and mass, and in days, both ways. Knows no cloth and no piece."""

import re
from collections.abc import Iterable
from datetime import date, timedelta
from decimal import Decimal

from mill.refusal import N_, Refusal

# Steps of a route that people do at the perch and the mending table: no batch is sewn together for them.
AT_THE_PERCH = frozenset(("grey perch", "perch", "burl", "mend", "mending", "final perch", "measure", "roll"))


def is_at_the_perch(step: str) -> bool:
    """Whether a step of a route is one of looking, mending or measuring, by the trade's names for them.

    >>> is_at_the_perch("Grey perch, burl and mend"), is_at_the_perch("tenter and dry")
    (True, False)
    """
    return all(part.strip() in AT_THE_PERCH for part in re.split(r",| and ", step.lower()))


def ready_on(off_on: date, days: int) -> date:
    """The day on which what comes off the loom is finished: so many Mondays to Fridays later.

    off_on    the day on which it comes off
    days      of finishing, each a whole working day that begins after it is off

    >>> ready_on(date(2026, 11, 26), 2), ready_on(date(2026, 11, 28), 1), ready_on(date(2026, 11, 28), 0)
    (datetime.date(2026, 11, 30), datetime.date(2026, 11, 30), datetime.date(2026, 11, 28))

    Closures don't count here: common practice, no source.
    """
    while days:
        off_on += timedelta(days=1)
        days -= off_on.weekday() < 5
    return off_on


def off_by(due_on: date, days: int) -> date:
    """The last day on which it may come off the loom and be ready on a day; what follows is the first day of finishing.

    >>> off_by(date(2026, 11, 30), 2), off_by(date(2026, 12, 1), 2)
    (datetime.date(2026, 11, 26), datetime.date(2026, 11, 29))
    """
    while days:
        days -= due_on.weekday() < 5
        due_on -= timedelta(days=1)
    return due_on


def route_shrink_pct(steps_pct: Iterable[Decimal]) -> Decimal:
    """Shrinkage of a whole route from that of its steps, in width or in length; loss of mass compounds alike.

    steps_pct   each a share of what enters its step, under 100; negative where a step stretches or loads

    >>> route_shrink_pct([Decimal(10), Decimal(5), Decimal(-2)])
    Decimal('12.79000')

    A step works on what the step before has left, so the losses compound and don't add up to 13 %.
    """
    kept = Decimal(1)
    for pct in steps_pct:
        _check(pct)
        kept *= 1 - pct / 100
    return (1 - kept) * 100


def loss_pct(*, before: Decimal, after: Decimal) -> Decimal:
    """What measured pieces lost, percent of the measure before.

    >>> loss_pct(before=Decimal(10), after=Decimal(8))
    Decimal('20.0')

    Source: Conference of Northern California Handweavers, note on shrinkage.
    """
    if before <= 0 or after <= 0:
        raise Refusal(
            N_("From %(before)s to %(after)s can't be a loss in finishing: both must be above 0."),
            before=before,
            after=after,
        )
    return (before - after) / before * 100


def loss_pct_from_allowance(allowance_pct: Decimal) -> Decimal:
    """Loss, percent of the grey measure, of an allowance that was added to the finished one.

    >>> loss_pct_from_allowance(Decimal(25))
    Decimal('20.0')
    """
    if allowance_pct < 0:
        raise Refusal(N_("An allowance of %(pct)s %% takes away; write 0 %% or more."), pct=allowance_pct)
    return allowance_pct / (100 + allowance_pct) * 100


def grey_from_finished(finished: Decimal, *, loss_pct: Decimal) -> Decimal:
    """Grey length, width or mass that finishes at `finished`: divided by what is kept, not multiplied by the loss.

    >>> grey_from_finished(Decimal(10), loss_pct=Decimal(20))
    Decimal('12.5')
    """
    _check(loss_pct)
    return finished / (1 - loss_pct / 100)


def finished_from_grey(grey: Decimal, *, loss_pct: Decimal) -> Decimal:
    """Finished length, width or mass of a grey one.

    >>> finished_from_grey(Decimal(300), loss_pct=Decimal(50))
    Decimal('150.0')
    """
    _check(loss_pct)
    return grey * (1 - loss_pct / 100)


def measures_after_steps(grey: Decimal, steps_pct: Iterable[Decimal]) -> tuple[Decimal, ...]:
    """The measure when it leaves each step: the targets that a finishing ticket states.

    >>> measures_after_steps(Decimal(300), [Decimal(40), Decimal(0), Decimal(10)])
    (Decimal('180.0'), Decimal('180.0'), Decimal('162.00'))
    """
    measures = []
    for pct in steps_pct:
        grey = finished_from_grey(grey, loss_pct=pct)
        measures.append(grey)
    return tuple(measures)


def _check(pct: Decimal) -> None:
    if pct >= 100:
        raise Refusal(
            N_(
                "A loss of %(pct)s %% in finishing leaves no cloth. It is a share of what was there before,"
                " under 100 %%."
            ),
            field="route",
            pct=pct,
        )
