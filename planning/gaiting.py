"""Gaiting: what a loom needs from one warp to the next, and the minutes. Knows no calendar, tuner's name or order."""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from math import ceil

from mill.refusal import N_, Refusal


class SetUp(StrEnum):
    """What is done at the loom, the lightest first. A gait-up is a full one: reed, healds and draft."""

    WEFT_CHANGE = N_("weft change")
    TIE_IN = N_("tie-in")
    DRAW_IN = N_("draw-in")
    GAIT_UP = N_("gait-up")

    @property
    def needs_tuner(self) -> bool:
        """A weft change and a tie-in are weaver's and knotter's work; a new draft or reed is a tuner's."""
        return self in (SetUp.DRAW_IN, SetUp.GAIT_UP)


@dataclass(frozen=True, slots=True)
class WarpFacts:
    """A warp as the loom meets it.

    warp           which warp it is: two cloths on one warp have the same
    ground_ends    without selvedges
    threading      one repeat of the draft, written as short as it goes
    """

    warp: str
    ground_ends: int
    selvedge_ends: int
    threading: tuple[int, ...]
    reed_dents_per_10cm: Decimal
    ends_per_dent: int

    @property
    def ends(self) -> int:
        return self.ground_ends + self.selvedge_ends


@dataclass(frozen=True, slots=True)
class SetUpRates:
    """What the mill has timed at its own looms.

    weft_change_min      new weft, new picks per cm, new lifting on the warp that is in
    tie_in_min           beam out, beam in, ends combed and brushed, knots drawn through
    draw_in_ends_per_h   through healds and reed, all hands at it together
    reed_change_min      reed out, reed in, width set
    gait_up_min          all of gaiting up but the drawing-in and the reed
    knots_per_min        of the tying machine, or of the hands; 240 was printed of a machine in 1920
    """

    weft_change_min: int
    tie_in_min: int
    draw_in_ends_per_h: int
    reed_change_min: int
    gait_up_min: int
    knots_per_min: int = 240

    def __post_init__(self) -> None:
        for what, rate in (("knots a minute", self.knots_per_min), ("ends drawn an hour", self.draw_in_ends_per_h)):
            if rate < 1:
                raise Refusal(f"{rate} {what} never come to an end. Write what the mill has timed, 1 or more.")


def set_up(leaving: WarpFacts | None, coming: WarpFacts, *, thrums_in_loom: bool = True) -> SetUp:
    """The lightest set-up from one warp to the next.

    leaving          None for an empty loom
    thrums_in_loom   the old ends still hang in healds and reed, so that there is something to tie to

    A beam is tied in when ground ends, draft, reed and denting are the same; colours and side ends may differ.
    Common practice, no source.
    """
    if leaving is not None and leaving.warp == coming.warp:
        return SetUp.WEFT_CHANGE
    if leaving is None or leaving.reed_dents_per_10cm != coming.reed_dents_per_10cm:
        return SetUp.GAIT_UP
    alike = (leaving.ground_ends, leaving.threading, leaving.ends_per_dent) == (
        coming.ground_ends,
        coming.threading,
        coming.ends_per_dent,
    )
    return SetUp.TIE_IN if alike and thrums_in_loom else SetUp.DRAW_IN


def set_up_min(kind: SetUp, *, ends: int, rates: SetUpRates) -> int:
    """Whole minutes that a loom stands for a set-up, of a warp of so many ends.

    >>> rates = SetUpRates(
    ...     weft_change_min=20, tie_in_min=120, draw_in_ends_per_h=300, reed_change_min=45, gait_up_min=240
    ... )
    >>> [set_up_min(kind, ends=1500, rates=rates) for kind in SetUp]
    [20, 127, 540, 585]

    Common practice, no source. Published are 0.5-2 h for a tie-in's stop and 4-8 h for a style change (Seyam and
    Oxenham, 2017); warps drawn in beside the loom bring the last two down to that.
    """
    gait_up_min = rates.gait_up_min + Fraction(ends * 60, rates.draw_in_ends_per_h)
    match kind:
        case SetUp.WEFT_CHANGE:
            return rates.weft_change_min
        case SetUp.TIE_IN:
            return ceil(rates.tie_in_min + Fraction(ends, rates.knots_per_min))
        case SetUp.DRAW_IN:
            return ceil(gait_up_min)
        case SetUp.GAIT_UP:
            return ceil(gait_up_min + rates.reed_change_min)
