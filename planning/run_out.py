"""Run-out: what looms really wove and how long that took, and what is left of a beam. Knows no loom, clock or shift."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from mill.refusal import Refusal
from planning.loom import weaving_min

# Fewer picks than these say little of how a loom runs. Common practice, no source.
PICKS_LEAST = 50_000


@dataclass(frozen=True, slots=True)
class Spell:
    """A length woven on a loom, and the working minutes from the one before it.

    waited_min   stood for want of weft or weaver, or for cleaning: scheduled time, not the loom's own
    stood_min    other stops, by reason: they count against the running efficiency
    """

    picks: int
    length_m: Decimal
    minutes: int
    ppm: int
    waited_min: int = 0
    stood_min: int = 0


@dataclass(frozen=True, slots=True)
class Tally:
    """Spells taken together.

    meant_min        in which looms were meant to run: the minutes less the waits
    ran_min          in which they ran, as far as every stop was told
    possible         picks that running without a stop would have woven in those minutes, each loom at its own speed
    efficiency_pct   picks woven of those; None without minutes
    """

    spells: int
    picks: int
    possible: int
    length_m: Decimal
    meant_min: int
    waited_min: int
    stood_min: int
    efficiency_pct: Decimal | None

    @property
    def ran_min(self) -> int:
        return self.meant_min - self.stood_min


def tally(spells: Iterable[Spell]) -> Tally:
    """What the spells come to; of looms of different speeds each counts by its own.

    >>> tally([Spell(92_400, Decimal(110), minutes=660, ppm=220, waited_min=60)]).efficiency_pct
    Decimal('70.0')

    92 400 picks of 220 x 600. Source: running efficiency leaves out set-ups and waits, as the mill's plan does.
    """
    rows = list(spells)
    for row in rows:
        if row.waited_min > row.minutes:
            raise Refusal(f"A loom can't have waited {row.waited_min} of {row.minutes} working minutes.")
    possible = sum(row.ppm * (row.minutes - row.waited_min) for row in rows)
    picks = sum(row.picks for row in rows)
    return Tally(
        spells=len(rows),
        picks=picks,
        possible=possible,
        length_m=sum((row.length_m for row in rows), start=Decimal(0)),
        meant_min=sum(row.minutes - row.waited_min for row in rows),
        waited_min=sum(row.waited_min for row in rows),
        stood_min=sum(row.stood_min for row in rows),
        efficiency_pct=(Decimal(picks) * 100 / possible).quantize(Decimal("0.1"), ROUND_HALF_UP) if possible else None,
    )


def shared_out(picks: int, running_min: Sequence[int]) -> list[int]:
    """Picks divided over parts of a spell as the minutes are in which the loom ran; whole picks that add up.

    >>> shared_out(84_600, [270, 140])
    [55712, 28888]

    84 600 x 270 / 410 = 55 712.2. Where it ran in none of them all fall to the last, in which they were counted.
    """
    shares: list[int] = []
    left, left_min = picks, sum(running_min)
    for minutes in running_min:
        shares.append(left * minutes // left_min if left_min else 0)
        left, left_min = left - shares[-1], left_min - minutes
    if shares:
        shares[-1] += left
    return shares


def picks_since(
    *, minutes: int, waited_min: int, stood_min: int, ppm: int, efficiency_pct: Decimal, at_most: int
) -> int:
    """Picks woven since somebody last counted them, as near as can be said.

    minutes               working minutes since then
    waited_min, stood_min in which it waited, and in which it stood for other reasons, as was told
    at_most               more can't have been woven: the piece would be off

    >>> told = {"ppm": 220, "efficiency_pct": Decimal(70), "at_most": 54_000}
    >>> picks_since(minutes=120, waited_min=20, stood_min=0, **told)
    15400
    >>> picks_since(minutes=120, waited_min=20, stood_min=90, **told)
    2200
    >>> picks_since(minutes=900, waited_min=0, stood_min=0, **told)
    54000

    220 x 100 x 70 %; but where it stood for 90 of the 100 minutes no more than 220 x 10. The running efficiency holds
    the usual stops already, so that they are not taken off twice.
    """
    meant_min = minutes - waited_min
    usual = int(ppm * meant_min * efficiency_pct / 100)
    without_a_stop = ppm * (meant_min - stood_min)
    return max(0, min(usual, without_a_stop, at_most))


def efficiency_to_go_by(*, record_pct: Decimal, woven: Tally) -> tuple[Decimal, bool]:
    """The efficiency to reckon with, and whether it is the woven one: that needs PICKS_LEAST picks, and sense.

    More than 100 % means that somebody forgot to tell when it began.

    >>> few = tally([Spell(10_000, Decimal(12), minutes=100, ppm=220)])
    >>> efficiency_to_go_by(record_pct=Decimal(70), woven=few)
    (Decimal('70'), False)
    """
    found = woven.efficiency_pct
    if woven.picks < PICKS_LEAST or found is None or not 5 <= found <= 100:
        return record_pct, False
    return found, True


def left_min(*, picks_left: int, ppm: int, efficiency_pct: Decimal) -> int:
    """Working minutes until the beam runs out; 0 when nothing is left.

    >>> left_min(picks_left=108_000, ppm=220, efficiency_pct=Decimal(70))
    702
    """
    return weaving_min(picks=picks_left, ppm=ppm, efficiency_pct=efficiency_pct) if picks_left > 0 else 0
