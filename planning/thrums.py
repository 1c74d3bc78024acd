"""Thrums and waste: warp yarn that was drawn and never became cloth, warp by warp, against what was planned."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal

from mill.refusal import N_
from mill.working import Step
from planning.period import Period, month_of
from planning.rows import grouped, share_pct


@dataclass(frozen=True, slots=True)
class WovenOut:
    """A warp that is woven out: what it was worked out to take, what was drawn for it, and what became cloth.

    drawn_g       warp yarn out of the store for it, less what came back
    net_g         that the warp holds by its figures, waste apart, on `length_m`
    issue_g       that was to be drawn, waste included
    spare_m       of length_m: thrums and headers, which never become cloth
    in_cloth_m    of warp, that its pieces took: their grey length and the crimp on it
    """

    warp: int
    cloth: str
    out_on: date
    drawn_g: int
    net_g: int
    issue_g: int
    length_m: Decimal
    spare_m: Decimal
    in_cloth_m: Decimal

    @property
    def in_cloth_g(self) -> int:
        return _grams(self.net_g * self.in_cloth_m / self.length_m)

    @property
    def waste_g(self) -> int:
        """Less than 0 where more became cloth than was drawn: a length or a draw is written wrongly."""
        return self.drawn_g - self.in_cloth_g

    @property
    def thrums_g(self) -> int:
        """Of the planned waste: what thrums and headers take by the warp's own figures."""
        return _grams(self.net_g * self.spare_m / self.length_m)

    @property
    def planned_waste_g(self) -> int:
        """Thrums, headers, and the winding waste that the revision allows."""
        return self.issue_g - self.net_g + self.thrums_g


@dataclass(frozen=True, slots=True)
class Waste:
    """Warps taken together. `in_cloth_g` and `waste_g` add up to `drawn_g`; over_g is waste beyond the planned one."""

    warps: int
    drawn_g: int
    in_cloth_g: int
    waste_g: int
    planned_waste_g: int
    thrums_g: int
    issue_g: int

    @property
    def over_g(self) -> int:
        return self.waste_g - self.planned_waste_g

    @property
    def waste_pct(self) -> Decimal | None:
        """Of the yarn drawn."""
        return share_pct(self.waste_g, self.drawn_g)

    @property
    def in_cloth_pct(self) -> Decimal | None:
        return share_pct(self.in_cloth_g, self.drawn_g)

    @property
    def planned_pct(self) -> Decimal | None:
        """Of the yarn that was to be drawn."""
        return share_pct(self.planned_waste_g, self.issue_g)


def waste(rows: Iterable[WovenOut]) -> Waste:
    """Grams drawn less grams in the cloth.

    >>> warp = WovenOut(118, "HER", date(2026, 11, 2), 10_200, 10_000, 10_204, Decimal(100), Decimal(5), Decimal(94))
    >>> waste([warp]).waste_g, waste([warp]).planned_waste_g, waste([warp]).waste_pct, waste([warp]).planned_pct
    (800, 704, Decimal('7.8'), Decimal('6.9'))

    10 000 g on 100 m: 94 m in the cloth are 9 400 g of the 10 200 g drawn. Planned were 5 m of thrums and headers,
    500 g, and 204 g of winding waste. Common practice, no source; the crimp is taken on the cloth's length, ISO 7211-3.
    """
    warps = list(rows)
    return Waste(
        warps=len(warps),
        drawn_g=sum(row.drawn_g for row in warps),
        in_cloth_g=sum(row.in_cloth_g for row in warps),
        waste_g=sum(row.waste_g for row in warps),
        planned_waste_g=sum(row.planned_waste_g for row in warps),
        thrums_g=sum(row.thrums_g for row in warps),
        issue_g=sum(row.issue_g for row in warps),
    )


def by_month(rows: Iterable[WovenOut], period: Period) -> list[tuple[date, Waste]]:
    """By the month in which each warp was woven out; those without a warp too."""
    groups = grouped(rows, lambda row: month_of(row.out_on))
    return [(month, waste(groups.get(month, ()))) for month in period.months()]


def by_cloth(rows: Iterable[WovenOut]) -> list[tuple[str, Waste]]:
    """Each cloth, the most waste beyond the planned one first."""
    found = [(name, waste(own)) for name, own in grouped(rows, lambda row: row.cloth).items()]
    return sorted(found, key=lambda row: (-row[1].over_g, row[0]))


def by_warp(rows: Iterable[WovenOut]) -> list[tuple[WovenOut, Waste]]:
    """Each warp, the most waste beyond the planned one first."""
    return sorted(((row, waste([row])) for row in rows), key=lambda row: (-row[1].over_g, row[0].warp))


def working(whole: Waste) -> tuple[Step, ...]:
    if whole.waste_pct is None or whole.planned_pct is None:
        return ()
    return (
        Step(
            "waste_g",
            N_("Thrums and waste"),
            N_("warp yarn drawn, less what came back − warp yarn in the pieces, by their grey length and crimp"),
            f"{whole.drawn_g} g − {whole.in_cloth_g} g",
            whole.waste_g,
            "g",
            N_("crimp on the cloth’s length: ISO 7211-3"),
        ),
        Step(
            "waste_pct",
            N_("Share of the yarn drawn"),
            N_("thrums and waste ÷ warp yarn drawn"),
            f"{whole.waste_g} g ÷ {whole.drawn_g} g",
            whole.waste_pct,
            "%",
            N_("common practice, no source"),
        ),
        Step(
            "planned_pct",
            N_("Planned"),
            N_("(thrums and headers + winding waste of the revision) ÷ warp yarn that was to be drawn"),
            f"({whole.thrums_g} g + {whole.planned_waste_g - whole.thrums_g} g) ÷ {whole.issue_g} g",
            whole.planned_pct,
            "%",
            N_("the warps’ own figures"),
        ),
        Step(
            "over_g",
            N_("More than planned"),
            N_("thrums and waste − planned for thrums, headers and winding; less than 0 is less"),
            f"{whole.waste_g} g − {whole.planned_waste_g} g",
            whole.over_g,
            "g",
            N_("by definition"),
        ),
    )


def _grams(grams: Decimal) -> int:
    return int(grams.to_integral_value(ROUND_HALF_UP))
