"""Treatments of yarn for moth and beetle: what is in print, and whether what the probe read meets it. Cures nothing.

EN 16790:2016 is the standard of integrated pest management for collections; it could not be read. A freezer's dial is
not the core of a bale: what counts is a probe in the middle of what is treated.
"""

import math
from dataclasses import dataclass
from decimal import Decimal

from mill.refusal import N_, Refusal, Word
from mill.signs import written_now

FREEZING, HEAT, LICENSED = "freezing", "heat", "licensed"
# What a verdict is made from: it is kept in English, and said again in the language of the page.
VERDICTS = (
    N_("no published figure is kept for it: the firm's certificate counts"),
    N_("the core was not measured: it can't be said to meet the published figure"),
    N_("core %(core)s °C for %(held)s h: meets above %(target)s °C for %(wanted)s h"),
    N_("core %(core)s °C for %(held)s h: does not meet above %(target)s °C for %(wanted)s h"),
    N_("core %(core)s °C for %(held)s h: meets %(target)s °C for %(wanted)s h"),
    N_("core %(core)s °C for %(held)s h: does not meet %(target)s °C for %(wanted)s h"),
)


@dataclass(frozen=True, slots=True)
class Way:
    """A way of treating yarn.

    core_c, held_h    what its core must reach, and hold for so long; None where no figure is kept here
    is_cold           the core must be at core_c or colder; else above it
    says              the figure as it is printed
    source            where it is from; says so when from memory
    cautions          what can go wrong, for whoever does it
    """

    key: str
    name: str
    core_c: Decimal | None
    held_h: Decimal | None
    is_cold: bool
    says: str
    source: str
    cautions: tuple[str, ...]


# Why a lot is in quarantine while it is treated; kept in English too.
WHY_BARRED = {
    FREEZING: N_("Treatment %(number)s: freezing, core to %(core)s °C for %(held)s h"),
    HEAT: N_("Treatment %(number)s: heat, core to %(core)s °C for %(held)s h"),
    LICENSED: N_("Treatment %(number)s: by a licensed firm"),
}

ASK_FIRST = N_(
    "Ask a licensed pest controller near you first, and keep to local law, the maker's instructions and the mill's own"
    " risk assessment."
)

WAYS = {
    way.key: way
    for way in (
        Way(
            FREEZING,
            N_("freezing"),
            Decimal(-20),
            Decimal(144),
            is_cold=True,
            says=N_("−20 °C or colder at the core, for 6 to 10 days"),
            source="Strang, in US National Park Service, Conserve O Gram 3/6",
            cautions=(
                N_(
                    "Seal it in bags before it goes in, and leave them sealed until it is at room temperature again:"
                    " water condenses on cold yarn."
                ),
                N_(
                    "The days count from when the core is cold, not from when the door is shut. Nobody works alone in a"
                    " cold room, and it opens from within."
                ),
            ),
        ),
        Way(
            HEAT,
            N_("heat"),
            Decimal(55),
            Decimal(1),
            is_cold=False,
            says=N_("above 55 °C at the core; for how long was not found in print: 1 hour, from memory"),
            source=N_("55 °C: in print, source not kept; the hour from memory. EN 16790:2016 could not be read"),
            cautions=(
                N_("Heat can felt, shrink and yellow wool, and shades can turn: try a cone of the lot first."),
                N_("Fire: no open flame, no oven that isn't made for it, never unattended; the oil in the yarn burns."),
            ),
        ),
        Way(
            LICENSED,
            N_("by a licensed firm"),
            None,
            None,
            is_cold=False,
            says=N_("no figure is kept here: the firm's certificate counts"),
            source=N_("the certificate of the licensed firm"),
            cautions=(
                N_(
                    "Pesticides and fumigants are for licensed persons only. Nobody goes in until the firm has said in"
                    " writing that it is safe."
                ),
            ),
        ),
    )
}


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether what was measured meets the figure in print; None where there is none. `said` is a short phrase."""

    is_met: bool | None
    said: str


def judge(way: str, *, core_c: Decimal | None, held_h: Decimal | None) -> Verdict:
    """What was measured, held against the figure in print.

    core_c    the worst that the core had all the while: the warmest of a freezing, the coldest of a heating
    held_h    hours that it stayed so

    >>> judge("freezing", core_c=Decimal("-22.5"), held_h=Decimal(168)).said
    'core −22.5 °C for 168 h: meets −20 °C for 144 h'
    >>> judge("freezing", core_c=Decimal(-18), held_h=Decimal(240)).said
    'core −18 °C for 240 h: does not meet −20 °C for 144 h'
    >>> judge("heat", core_c=Decimal(55), held_h=Decimal(2)).is_met
    False

    Source: WAYS.
    """
    figure = WAYS[way]
    if figure.core_c is None or figure.held_h is None:
        return Verdict(None, VERDICTS[0])
    if core_c is None or held_h is None:
        return Verdict(False, VERDICTS[1])
    is_met = (core_c <= figure.core_c if figure.is_cold else core_c > figure.core_c) and held_h >= figure.held_h
    _none, _not_measured, met_above, not_met_above, met, not_met = VERDICTS
    form = (met if is_met else not_met) if figure.is_cold else (met_above if is_met else not_met_above)
    said = {
        "core": signed(core_c),
        "held": _plain(held_h),
        "target": signed(figure.core_c),
        "wanted": _plain(figure.held_h),
    }
    return Verdict(is_met, form % said)


def check_target(way: str, *, core_c: Decimal | None, held_h: Decimal | None) -> None:
    """Refuse a target that no treatment of this way has: a freezing above nought, a heat that burns, no time at all.

    The bounds of a heat are from memory: they are there for slips of the pen.
    """
    if WAYS[way].core_c is None:
        return
    figure = Word(WAYS[way].says)
    if core_c is None:
        raise Refusal(N_("Say what the core is to reach: %(figure)s."), figure=figure, field="target_core_c")
    if held_h is None or held_h <= 0:
        raise Refusal(N_("Say for how long the core is to hold it: %(figure)s."), figure=figure, field="target_h")
    if way == FREEZING and core_c > 0:
        raise Refusal(
            N_("A core of %(core)s is not frozen: %(figure)s. Write a temperature below 0 °C, with its minus."),
            core=Degrees(core_c),
            figure=figure,
            field="target_core_c",
        )
    if way == HEAT and not 40 <= core_c <= 80:
        raise Refusal(
            N_("A core of %(core)s is no heat to moth: %(figure)s. Write 40 to 80 °C.")
            if core_c < 40
            else N_("A core of %(core)s is too hot for wool: %(figure)s. Write 40 to 80 °C."),
            core=Degrees(core_c),
            figure=figure,
            field="target_core_c",
        )


def days_to_read(held_h: Decimal | None) -> int:
    """Whole days from the beginning until the core can have held so long; a day where no time is said.

    >>> days_to_read(Decimal(144)), days_to_read(Decimal(1)), days_to_read(None)
    (6, 1, 1)
    """
    return max(1, math.ceil((held_h or 0) / 24))


def degrees(core_c: Decimal) -> str:
    """
    >>> degrees(Decimal("-22.50"))
    '−22.5 °C'
    """
    return f"{signed(core_c)} °C"


@dataclass(frozen=True, slots=True)
class Degrees:
    """A temperature in a sentence that is put into words later: its decimal sign is then the page's.

    >>> str(Degrees(Decimal("-22.50")))
    '−22.5 °C'
    """

    core_c: Decimal

    def __str__(self) -> str:
        return degrees(self.core_c)

    @property
    def called(self) -> str:
        return degrees(self.core_c).replace(".", written_now().decimal)


def signed(core_c: Decimal) -> str:
    return _plain(core_c).replace("-", "−")


def _plain(number: Decimal) -> str:
    return f"{number.normalize():f}"
