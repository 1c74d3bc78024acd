"""Weft waste: weft yarn that was drawn, did not come back and never became cloth, lot by lot. Knows no warp yarn."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal

from mill.refusal import N_
from mill.working import Step
from planning.period import Period, month_of
from planning.rows import grouped, share_pct, shared_out


@dataclass(frozen=True, slots=True)
class WeftUsed:
    """A lot as the weft of one warp that is woven out.

    drawn_g            out of the store for it
    back_g             of that, what came back
    woven_g            of the warp's weft of this yarn, what became cloth of this lot
    planned_waste_g    that the revision allows for what was woven, of this lot
    """

    warp: int
    cloth: str
    out_on: date
    yarn: str
    lot: str
    drawn_g: int
    back_g: int
    woven_g: int
    planned_waste_g: int

    @property
    def used_g(self) -> int:
        return self.drawn_g - self.back_g

    @property
    def waste_g(self) -> int:
        """Less than 0 where more became cloth than was drawn: a length or a draw is written wrongly."""
        return self.used_g - self.woven_g


@dataclass(frozen=True, slots=True)
class WeftWaste:
    """Lots taken together: `back_g`, `woven_g` and `waste_g` add up to `drawn_g`."""

    warps: int
    lots: int
    drawn_g: int
    back_g: int
    woven_g: int
    waste_g: int
    planned_waste_g: int

    @property
    def used_g(self) -> int:
        return self.drawn_g - self.back_g

    @property
    def over_g(self) -> int:
        return self.waste_g - self.planned_waste_g

    @property
    def waste_pct(self) -> Decimal | None:
        """Of the yarn used: drawn, and not come back."""
        return share_pct(self.waste_g, self.used_g)

    @property
    def planned_pct(self) -> Decimal | None:
        """Of the yarn that should have been used for what was woven."""
        return share_pct(self.planned_waste_g, self.woven_g + self.planned_waste_g)


def woven_g(*, net_g: int, planned_m: Decimal, woven_m: Decimal) -> int:
    """Grams of weft in the cloth: by the metre it is what the figures say, whatever was drawn.

    net_g        in all pieces as planned, waste apart
    planned_m    grey length of all pieces as planned; above 0
    woven_m      grey length of the pieces as they were measured

    >>> woven_g(net_g=24_000, planned_m=Decimal(120), woven_m=Decimal("118.5"))
    23700

    Common practice, no source: picks to the centimetre and width in the reed are the revision's, so that a metre of
    grey cloth takes the same weft.
    """
    return int((net_g * woven_m / planned_m).to_integral_value(ROUND_HALF_UP))


def among_lots(grams: int, used: Sequence[int]) -> list[int]:
    """Grams divided as lots were used, in whole grams that add up.

    >>> among_lots(1000, [300, 600])
    [333, 667]

    The book doesn't say which pick came of which lot: a lot has its share of the cloth as it has of the yarn used.
    """
    return [int(share) for share in shared_out(Decimal(grams), used, places=0)]


def waste(rows: Iterable[WeftUsed]) -> WeftWaste:
    """Grams drawn, less what came back and what became cloth.

    >>> lot = WeftUsed(118, "HER", date(2026, 11, 2), "MOS", "A12", 26_000, 800, 23_700, 1_247)
    >>> waste([lot]).waste_g, waste([lot]).waste_pct, waste([lot]).over_g
    (1500, Decimal('6.0'), 253)

    26 000 g out and 800 g back are 25 200 g used; 23 700 g are in the cloth. Planned were 1 247 g.
    """
    lots = list(rows)
    return WeftWaste(
        warps=len({row.warp for row in lots}),
        lots=len({row.lot for row in lots}),
        drawn_g=sum(row.drawn_g for row in lots),
        back_g=sum(row.back_g for row in lots),
        woven_g=sum(row.woven_g for row in lots),
        waste_g=sum(row.waste_g for row in lots),
        planned_waste_g=sum(row.planned_waste_g for row in lots),
    )


def by_month(rows: Iterable[WeftUsed], period: Period) -> list[tuple[date, WeftWaste]]:
    """By the month in which each warp was woven out; those without one too."""
    groups = grouped(rows, lambda row: month_of(row.out_on))
    return [(month, waste(groups.get(month, ()))) for month in period.months()]


def by_yarn(rows: Iterable[WeftUsed]) -> list[tuple[str, WeftWaste]]:
    """Each yarn, the most waste beyond the planned one first."""
    found = [(name, waste(own)) for name, own in grouped(rows, lambda row: row.yarn).items()]
    return sorted(found, key=lambda row: (-row[1].over_g, row[0]))


def by_lot(rows: Iterable[WeftUsed]) -> list[tuple[WeftUsed, WeftWaste]]:
    """Each lot on each warp, the most waste beyond the planned one first."""
    found = [(row, waste([row])) for row in rows]
    return sorted(found, key=lambda row: (-row[1].over_g, row[0].warp, row[0].lot))


def working(whole: WeftWaste) -> tuple[Step, ...]:
    if whole.waste_pct is None or whole.planned_pct is None:
        return ()
    return (
        Step(
            "weft_waste_g",
            N_("Weft waste"),
            N_("weft yarn drawn − what came back − weft yarn in the pieces, by their grey length"),
            f"{whole.drawn_g} g − {whole.back_g} g − {whole.woven_g} g",
            whole.waste_g,
            "g",
            N_("the ledger, and the warps’ own figures; common practice, no source"),
        ),
        Step(
            "weft_waste_pct",
            N_("Share of the weft used"),
            N_("weft waste ÷ (weft yarn drawn − what came back)"),
            f"{whole.waste_g} g ÷ {whole.used_g} g",
            whole.waste_pct,
            "%",
            N_("common practice, no source"),
        ),
        Step(
            "weft_planned_pct",
            N_("Planned, weft"),
            N_("weft waste of the revision for what was woven ÷ (that + weft yarn in the pieces)"),
            f"{whole.planned_waste_g} g ÷ ({whole.planned_waste_g} g + {whole.woven_g} g)",
            whole.planned_pct,
            "%",
            N_("waste is a share of the yarn issued; the warps’ own figures"),
        ),
        Step(
            "weft_over_g",
            N_("More than planned, weft"),
            N_("weft waste − planned; less than 0 is less"),
            f"{whole.waste_g} g − {whole.planned_waste_g} g",
            whole.over_g,
            "g",
            N_("by definition"),
        ),
    )
