"""What a change would do to a yarn: its draw-down as it stands beside what it would be. Knows no order or delivery."""

from dataclasses import dataclass

from inventory.drawdown import Drawdown
from mill.refusal import N_

RUNS_SHORT, SHORTER, AS_SHORT = N_("runs short"), N_("shorter than now"), N_("as short as now")
LESS_SHORT, MENDED, LASTS = N_("less short than now"), N_("no longer short"), N_("lasts")
# Those that the change makes worse.
WORSE = (RUNS_SHORT, SHORTER)


@dataclass(frozen=True, slots=True)
class Foresight:
    """Two draw-downs of one yarn, worked from the same day on: as it stands `now`, and as it would be `then`."""

    now: Drawdown
    then: Drawdown

    @property
    def draws_now_g(self) -> int:
        return sum(day.out_g for day in self.now.days)

    @property
    def draws_then_g(self) -> int:
        return sum(day.out_g for day in self.then.days)

    @property
    def comes_now_g(self) -> int:
        return sum(day.in_g for day in self.now.days)

    @property
    def comes_then_g(self) -> int:
        return sum(day.in_g for day in self.then.days)

    @property
    def verdict(self) -> str:
        """What becomes of the yarn, in words.

        Of two shortages the one that begins sooner, or is deeper at its lowest, is the worse.
        """
        now, then = self.now, self.then
        if now.short_on is None:
            return LASTS if then.short_on is None else RUNS_SHORT
        if then.short_on is None:
            return MENDED
        if (then.short_on, then.lowest_g, then.short_g) == (now.short_on, now.lowest_g, now.short_g):
            return AS_SHORT
        is_same_but_first = (then.short_on, then.lowest_g) == (now.short_on, now.lowest_g)
        if then.short_on < now.short_on or then.lowest_g < now.lowest_g:
            return SHORTER
        return SHORTER if is_same_but_first and then.short_g > now.short_g else LESS_SHORT

    @property
    def is_worse(self) -> bool:
        return self.verdict in WORSE
