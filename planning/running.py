"""Running: the minutes in which looms wove, stood and waited, by loom, week and shift, and why they stood."""

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from typing import TypeVar

from mill.refusal import N_
from mill.working import W_, Step
from planning.rows import grouped as by_key
from planning.rows import share_pct
from planning.run_out import Spell, Tally, tally

K = TypeVar("K")
# Words among the figures of a sum.
PICKS = W_("%(n)s picks")
# Too short to be told, or told by nobody.
UNTOLD = N_("short, or not told")


@dataclass(frozen=True, slots=True)
class Part:
    """What a loom wove in one shift of one week, from one count of its picks to the next.

    stood   minutes by reason, the waits among them
    """

    week: date
    loom: str
    shift: str
    spell: Spell
    stood: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Running:
    """Parts taken together. Running, told, untold and waited minutes add up to `minutes`.

    running_min   that the picks take at the loom's speed: it can't have stood in them
    told          stops that were told, by reason, longest first
    untold_min    the rest of the time that was meant for running: short stops, and whatever nobody told
    waits         no weft, no weaver, cleaning: scheduled time, not the loom's own
    over_min      that the picks would have taken beyond the time there was: the start was not told, or a count is wrong
    """

    tally: Tally
    running_min: int
    told: tuple[tuple[str, int], ...]
    untold_min: int
    waits: tuple[tuple[str, int], ...]
    over_min: int

    @property
    def minutes(self) -> int:
        return self.tally.meant_min + self.tally.waited_min

    @property
    def told_min(self) -> int:
        return sum(minutes for _, minutes in self.told)

    @property
    def waited_min(self) -> int:
        return sum(minutes for _, minutes in self.waits)

    @property
    def stopped_min(self) -> int:
        return self.told_min + self.untold_min

    @property
    def efficiency_pct(self) -> Decimal | None:
        return self.tally.efficiency_pct

    def share_pct(self, minutes: int) -> Decimal | None:
        return share_pct(minutes, self.minutes)


def running(parts: Iterable[Part], *, waits: Collection[str]) -> Running:
    """Where the minutes went. Efficiency is running ÷ (running + stopped), which of one loom is also the picks woven ÷
    the picks possible; looms of several speeds are taken together by picks, as they are everywhere in the book.

    >>> monday, spell = date(2026, 11, 2), Spell(52_800, Decimal(60), minutes=480, ppm=220, waited_min=80, stood_min=50)
    >>> whole = running([Part(monday, "7", "", spell, {"weft break": 50, "cleaning": 80})], waits=["cleaning"])
    >>> whole.running_min, whole.told_min, whole.untold_min, whole.waited_min, whole.efficiency_pct
    (240, 50, 110, 80, Decimal('60.0'))

    52 800 picks at 220 a minute are 240 of the 400 min meant to run. Source: loom efficiency as actual over possible
    picks is in print everywhere; that waits are left out of it is common practice, no source.
    """
    rows = list(parts)
    reasons: Counter[str] = Counter()
    for row in rows:
        reasons.update(row.stood)
    together = tally(row.spell for row in rows)
    told, waited = _within(reasons, waits, together)
    exact = sum((Decimal(row.spell.picks) / row.spell.ppm for row in rows), start=Decimal(0))
    ran = int(exact.to_integral_value(ROUND_HALF_UP))
    left = together.meant_min - sum(minutes for _, minutes in told)
    return Running(
        tally=together,
        running_min=min(ran, left),
        told=told,
        untold_min=max(0, left - ran),
        waits=waited,
        over_min=max(0, ran - left),
    )


def _within(
    reasons: Counter[str], waits: Collection[str], whole: Tally
) -> tuple[tuple[tuple[str, int], ...], tuple[tuple[str, int], ...]]:
    """Reasons in order, cut off at the minutes that were counted: two stops told of the same time are one."""

    def cut(own: list[tuple[str, int]], most: int) -> tuple[tuple[str, int], ...]:
        kept = []
        for reason, minutes in own:
            if given := min(minutes, most):
                kept.append((reason, given))
                most -= given
        return tuple(kept)

    ordered = sorted(reasons.items(), key=lambda row: (-row[1], row[0]))
    return (
        cut([row for row in ordered if row[0] not in waits], whole.stood_min),
        cut([row for row in ordered if row[0] in waits], whole.waited_min),
    )


def grouped(parts: Iterable[Part], key: Callable[[Part], K], *, waits: Collection[str]) -> dict[K, Running]:
    """Each loom, week, shift, or pair of them."""
    found = by_key(parts, key)
    return {name: running(own, waits=waits) for name, own in sorted(found.items(), key=lambda row: str(row[0]))}


def why_stood(whole: Running) -> list[tuple[str, int, Decimal | None, bool]]:
    """Every reason, longest first, what nobody told among them: reason, minutes, percent of all stops and waits, and
    whether it is a wait."""
    rows = [(reason, minutes, False) for reason, minutes in whole.told]
    rows += [(reason, minutes, True) for reason, minutes in whole.waits]
    if whole.untold_min:
        rows.append((UNTOLD, whole.untold_min, False))
    stood = sum(minutes for _, minutes, _ in rows)
    ordered = sorted(rows, key=lambda row: (-row[1], row[0]))
    return [(reason, minutes, share_pct(minutes, stood), is_wait) for reason, minutes, is_wait in ordered]


def working(whole: Running) -> tuple[Step, ...]:
    if whole.efficiency_pct is None:
        return ()
    steps = [
        Step(
            "meant_min",
            N_("Meant to run"),
            N_("working minutes from one count of the picks to the next − waits"),
            f"{whole.minutes} − {whole.tally.waited_min}",
            whole.tally.meant_min,
            "min",
            N_("common practice, no source"),
        ),
        Step(
            "running_min",
            N_("Ran"),
            N_("picks ÷ picks a minute, loom by loom"),
            PICKS % {"n": whole.tally.picks},
            whole.running_min,
            "min",
        ),
        Step(
            "efficiency_pct",
            N_("Efficiency"),
            N_("picks woven ÷ picks that the minutes meant to run allow, each loom at its own speed"),
            f"{PICKS % {'n': whole.tally.picks}} ÷ {PICKS % {'n': whole.tally.possible}}",
            whole.efficiency_pct,
            "%",
            N_("running efficiency leaves out set-ups and waits, as the mill’s plan does"),
        ),
    ]
    return tuple(steps)
