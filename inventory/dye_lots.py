"""The draw-down by dye lot: out of which dye lot each day's yarn comes. Knows no warp, order or ledger."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from inventory.drawdown import Dated, Drawdown, work_out_drawdown
from mill.refusal import N_, Refusal

# What nobody has named a dye lot for yet: deliveries that are still to come, and needs that nothing on hand is near.
UNNAMED = ""


@dataclass(frozen=True, slots=True)
class Draw:
    """A need that is drawn over some days, and the dye lots that it is drawn from.

    days    what it draws and when, in order
    of      dye lots with grams of each, in the order in which they are used
    rest    where it draws what these do not cover: the dye lot that is nearest, or UNNAMED
    """

    days: tuple[Dated, ...]
    of: tuple[tuple[str, int], ...] = ()
    rest: str = UNNAMED

    def dealt(self) -> Iterable[tuple[str, Dated]]:
        """Each day's grams, parted by dye lot.

        >>> monday = date(2026, 11, 23)
        >>> need = Draw(days=((monday, 500, "Warp 118"), (date(2026, 11, 24), 500, "Warp 118")), of=(("F41", 700),))
        >>> [(dye_lot, day.day, grams) for dye_lot, (day, grams, _) in need.dealt()]
        [('F41', 23, 500), ('F41', 24, 200), ('', 24, 300)]
        """
        of = iter([(dye_lot, grams) for dye_lot, grams in self.of if grams > 0])
        dye_lot, left_g = next(of, (self.rest, None))
        for day, grams, label in self.days:
            while grams:
                taken_g = grams if left_g is None else min(grams, left_g)
                yield dye_lot, (day, taken_g, label)
                grams -= taken_g
                if left_g is not None and not (left_g := left_g - taken_g):
                    dye_lot, left_g = next(of, (self.rest, None))


def draw_down_by_dye_lot(
    *,
    on_hand_g: Mapping[str, int],
    draws: Sequence[Draw],
    deliveries: Sequence[tuple[str, Dated]],
    today: date,
    late_by_days: int = 0,
) -> dict[str, Drawdown]:
    """What becomes of each dye lot of one yarn, by its name; UNNAMED last, where there is anything of it.

    on_hand_g     in lots that may be drawn, by dye lot, oldest first; that order is kept
    deliveries    what is still to come, each with the dye lot that the supplier has named, or UNNAMED
    late_by_days  what if: every delivery comes so many days later

    On every day the dye lots together have what the yarn has: nothing is drawn twice and nothing left out. A dye lot
    that runs below 0 is the nearest to a need which no dye lot can serve whole.

    Raises Refusal for grams or days below 0.
    Source: common practice, no source.
    """
    for draw in draws:
        for dye_lot, grams in draw.of:
            if grams < 0:
                raise Refusal(
                    N_("There can't be %(grams)s g of dye lot %(dye_lot)s for a need: it is 0 g or more."),
                    grams=grams,
                    dye_lot=dye_lot,
                )
    outs: dict[str, list[Dated]] = defaultdict(list)
    for draw in draws:
        for dye_lot, dated in draw.dealt():
            outs[dye_lot].append(dated)
    ins: dict[str, list[Dated]] = defaultdict(list)
    for dye_lot, dated in deliveries:
        ins[dye_lot].append(dated)
    named = [dye_lot for dye_lot in dict.fromkeys((*on_hand_g, *outs, *ins)) if dye_lot != UNNAMED]
    if outs[UNNAMED] or ins[UNNAMED]:
        named.append(UNNAMED)
    return {
        dye_lot: work_out_drawdown(
            on_hand_g=on_hand_g.get(dye_lot, 0),
            demands=outs[dye_lot],
            deliveries=ins[dye_lot],
            today=today,
            lead_time_days=None,
            late_by_days=late_by_days,
        )
        for dye_lot in named
    }
