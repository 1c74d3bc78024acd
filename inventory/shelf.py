"""The shelf: the dye lots of one yarn, those who want of it, and what a way of serving them all costs."""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from itertools import accumulate, pairwise

from inventory.draw import Lot, Need, Shade, Take, is_useless, shades_of, take_from
from mill.refusal import N_

# Grams free of each dye lot.
Free = tuple[int, ...]
# The dye lot of each piece by its place on the shelf, or of the whole that isn't parted; empty when it stays short.
Gift = tuple[int, ...]
# What a way costs, in the order of `share_out.py`; the bits have one for each need that stays short, the first wanted
# highest. (weight short, bits short, changes, grams short, useless remainders, grams in them, lots, gram-days)
Cost = tuple[int, int, int, int, int, int, int, int]


@dataclass(frozen=True, slots=True)
class Want:
    """A need beside the others.

    name        what the others call it: "Warp 118", "the weft of Warp 118"
    wanted_on   the day on which its yarn is to be drawn
    weight      what it counts as long as it is short
    only        the one dye lot that it may take; "" for any. `only_why` says why: it was begun, a person chose it
    """

    need: Need
    name: str
    wanted_on: date
    weight: int = 1
    only: str = ""
    only_why: str = N_("it was asked for")


class Shelf:
    """Dye lots stand on it the oldest first, wants as they are wanted."""

    def __init__(self, yarn: int | str, wants: Sequence[Want], lots: Sequence[Lot], useful_g: int) -> None:
        self.yarn, self.lots, self.useful_g = yarn, lots, useful_g
        self.wants = sorted(wants, key=lambda want: (want.wanted_on, want.need.label))
        self.shades = sorted(
            shades_of(lot for lot in lots if not lot.why_not), key=lambda shade: (shade.oldest, shade.dye_lot)
        )
        self.number = {shade.dye_lot: i for i, shade in enumerate(self.shades)}
        self.free: Free = tuple(shade.free_g for shade in self.shades)
        # Where each lot of a dye lot ends, in grams from the first of it; how much younger than the oldest it is; and
        # grams times these days of all lots before it.
        self.ends = [list(accumulate(lot.free_g for lot in shade.lots)) for shade in self.shades]
        oldest = self.shades[0].oldest if self.shades else date.min
        self.ages = [[(lot.received_on - oldest).days for lot in shade.lots] for shade in self.shades]
        self.aged = [
            list(accumulate((lot.free_g * age for lot, age in zip(shade.lots, ages, strict=True)), initial=0))
            for shade, ages in zip(self.shades, self.ages, strict=True)
        ]
        every = range(len(self.shades))
        self.open = [tuple(i for i in every if want.only in ("", self.shades[i].dye_lot)) for want in self.wants]
        # The dye lot of its first piece: None when that is open, -1 when nothing of it is free.
        self.begun = [self.number.get(want.need.begun, -1) if want.need.begun else None for want in self.wants]
        self.bits = [1 << (len(self.wants) - 1 - n) for n in range(len(self.wants))]

    # What stays short whatever is done

    @cached_property
    def hopeless(self) -> list[bool]:
        """Needs that stay short even when nobody else is served."""
        found = []
        for n, want in enumerate(self.wants):
            free = [self.free[i] for i in self.open[n]]
            largest = max(free, default=0)
            if want.need.pieces_g:
                begun = self.begun[n]
                short = sum(free) < want.need.grams or largest < max(want.need.pieces_g)
                short |= begun is not None and (begun < 0 or self.free[begun] < want.need.pieces_g[0])
            else:
                short = largest < want.need.grams
            found.append(short)
        return found

    @cached_property
    def sure(self) -> list[tuple[int, int]]:
        """From each need on: the weight and the bits of the hopeless ones."""
        weight = bits = 0
        found = [(0, 0)]
        for n in reversed(range(len(self.wants))):
            if self.hopeless[n]:
                weight, bits = weight + self.wants[n].weight, bits | self.bits[n]
            found.append((weight, bits))
        return found[::-1]

    @cached_property
    def _lightest(self) -> list[tuple[list[int], list[int]]]:
        """From each need on, without the hopeless ones: grams and weights added up, the lightest by gram first."""
        found = []
        for n in range(len(self.wants) + 1):
            ahead = [w for w, hopeless in zip(self.wants[n:], self.hopeless[n:], strict=True) if not hopeless]
            ahead.sort(key=lambda want: want.weight / want.need.grams)
            grams = list(accumulate((want.need.grams for want in ahead), initial=0))
            found.append((grams, list(accumulate((want.weight for want in ahead), initial=0))))
        return found

    def short_ahead(self, n: int, free_g: int) -> int:
        """No less than this weight of the needs from `n` on stays short with so much free, even were it one dye lot."""
        grams, weights = self._lightest[n]
        over_g = grams[-1] - free_g
        if over_g <= 0:
            return self.sure[n][0]
        at = bisect_left(grams, over_g)
        share = (over_g - grams[at - 1]) * (weights[at] - weights[at - 1])
        return self.sure[n][0] + weights[at - 1] + -(-share // (grams[at] - grams[at - 1]))

    # What a way costs

    def cost(self, weight: int, bits: int, changes: int, lots: int, free: Free) -> Cost:
        """Of a way that leaves this free."""
        useless = [grams for grams in free if is_useless(grams, self.useful_g)]
        short_g = self.short_g(bits, free) if bits else 0
        return weight, bits, changes, short_g, len(useless), sum(useless), lots, self._gram_days(free)

    def short_g(self, bits: int, free: Free) -> int:
        """By how much each of these needs is short of what is left, as if it were the only one; together."""
        total = 0
        for n, bit in enumerate(self.bits):
            if bits & bit:
                left = [free[i] for i in self.open[n]]
                need = self.wants[n].need
                total += max(0, need.grams - (sum(left) if need.pieces_g else max(left, default=0)))
        return total

    def _gram_days(self, free: Free) -> int:
        total = 0
        for i, left_g in enumerate(free):
            taken_g = self.free[i] - left_g
            if taken_g:
                at = bisect_left(self.ends[i], taken_g)
                before_g = self.ends[i][at - 1] if at else 0
                total += self.aged[i][at] + (taken_g - before_g) * self.ages[i][at]
        return total

    def lots_drawn(self, i: int, before_g: int, after_g: int) -> int:
        """Lots of a dye lot that are drawn from while what is free of it goes from `before_g` down to `after_g`."""
        ends, whole_g = self.ends[i], self.free[i]
        return bisect_left(ends, whole_g - after_g) - bisect_right(ends, whole_g - before_g) + 1

    def lots_between(self, before: Free, after: Free) -> int:
        return sum(self.lots_drawn(i, b, a) for i, (b, a) in enumerate(zip(before, after, strict=True)) if a != b)

    def given(self, n: int, free: Free, gift: Gift) -> Free:
        """What stays free when a need gets its gift; below 0 where there was not so much."""
        if not gift:
            return free
        need, left = self.wants[n].need, list(free)
        for i, grams in zip(gift, need.pieces_g or (need.grams,), strict=True):
            left[i] -= grams
        return tuple(left)

    def left_by(self, gifts: Sequence[Gift]) -> Free:
        free = self.free
        for n, gift in enumerate(gifts):
            free = self.given(n, free, gift)
        return free

    def cost_of(self, gifts: Sequence[Gift]) -> Cost | None:
        """What these gifts cost; None when there is not so much."""
        if min(self.left_by(gifts), default=0) < 0:
            return None
        weight = bits = changed = lots = 0
        free = self.free
        for n, gift in enumerate(gifts):
            if gift:
                after = self.given(n, free, gift)
                changed, lots, free = changed + changes_of(gift), lots + self.lots_between(free, after), after
            else:
                weight, bits = weight + self.wants[n].weight, bits | self.bits[n]
        return self.cost(weight, bits, changed, lots, free)

    # Lots

    def takes(self, n: int, gift: Gift, before: Free) -> tuple[Take, ...]:
        """The lots of a gift, each dye lot's oldest first."""
        need = self.wants[n].need
        found: list[Take] = []
        for i in dict.fromkeys(gift):
            pieces = pieces_of(gift, i) if need.pieces_g else ()
            grams = sum(need.pieces_g[piece - 1] for piece in pieces) if pieces else need.grams
            found += take_from(self.shade(i, before[i]), grams, pieces)
        return tuple(found)

    def shade(self, i: int, left_g: int) -> Shade:
        """A dye lot with so much left of it, the oldest gone first."""
        gone_g = self.free[i] - left_g
        lots = []
        for lot in self.shades[i].lots:
            of_it = min(lot.free_g, gone_g)
            gone_g -= of_it
            if lot.free_g > of_it:
                lots.append(replace(lot, free_g=lot.free_g - of_it))
        return Shade(self.shades[i].dye_lot, tuple(lots))

    def lots_left(self, free: Free, n: int | None = None) -> list[Lot]:
        """The lots with what is left of them, and those that may not be drawn; with `n` what that need may take."""
        only = self.wants[n].only if n is not None else ""
        left = [lot for i, left_g in enumerate(free) if left_g for lot in self.shade(i, left_g).lots]
        return [lot for lot in (*left, *(lot for lot in self.lots if lot.why_not)) if only in ("", lot.dye_lot)]


def changes_of(gift: Gift) -> int:
    """
    >>> changes_of((0, 0, 2, 0))
    2
    """
    return sum(a != b for a, b in pairwise(gift))


def pieces_of(gift: Gift, i: int) -> tuple[int, ...]:
    """The pieces that are woven of a dye lot, from 1.

    >>> pieces_of((0, 0, 2, 0), 0)
    (1, 2, 4)
    """
    return tuple(at for at, given in enumerate(gift, start=1) if given == i)
