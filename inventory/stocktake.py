"""The stock-take: what the scales had against the book, and how much of it moisture explains. Knows no lot or place."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal

from inventory.yarn import invoice_mass_g


@dataclass(frozen=True, slots=True)
class Difference:
    """A lot as it was weighed, against the book.

    reckoned_g      what it would weigh at the regain that the book reckons it at; as weighed where nobody measured
    explained_g     of the difference, what is water alone: more than 0 where the yarn was drier than the book takes it
    left_g          what is left, and is written into the book; less than 0 where yarn is missing
    """

    label: str
    weighed_g: int
    reckoned_g: int
    book_g: int

    @property
    def off_g(self) -> int:
        return self.weighed_g - self.book_g

    @property
    def explained_g(self) -> int:
        return self.weighed_g - self.reckoned_g

    @property
    def left_g(self) -> int:
        return self.reckoned_g - self.book_g


def compare(
    label: str,
    *,
    weighed_g: int,
    book_g: int,
    measured_regain_pct: Decimal | None,
    agreed_regain_pct: Decimal,
) -> Difference:
    """A lot's difference, parted into what water explains and what it doesn't.

    >>> one = compare("A12", weighed_g=9_700, book_g=10_000, measured_regain_pct=Decimal(13),
    ...               agreed_regain_pct=Decimal(17))
    >>> one.off_g, one.explained_g, one.left_g
    (-300, -343, 43)

    Rounded down, as yarn that comes in is.
    Source: correct invoice mass = dry mass x (1 + R), at the regain and by the authority stored with the yarn.
    """
    return Difference(
        label,
        weighed_g,
        reckoned_g(weighed_g, measured_regain_pct=measured_regain_pct, agreed_regain_pct=agreed_regain_pct),
        book_g,
    )


def reckoned_g(weighed_g: int, *, measured_regain_pct: Decimal | None, agreed_regain_pct: Decimal) -> int:
    """Grams that the book takes for yarn as weighed: at the yarn's own regain, when its moisture was measured.

    Rounded down, so that no gram is promised that isn't there.

    >>> reckoned_g(9_700, measured_regain_pct=Decimal(13), agreed_regain_pct=Decimal(17))
    10043
    """
    if measured_regain_pct is None:
        return weighed_g
    reckoned = invoice_mass_g(
        net_mass_g=weighed_g, measured_regain_pct=measured_regain_pct, agreed_regain_pct=agreed_regain_pct
    )
    return int(reckoned.to_integral_value(rounding=ROUND_FLOOR))


@dataclass(frozen=True, slots=True)
class Together:
    """The differences of a whole sheet, added up."""

    weighed_g: int
    reckoned_g: int
    book_g: int
    off_g: int
    explained_g: int
    left_g: int


def together(differences: Iterable[Difference]) -> Together:
    rows = list(differences)
    return Together(
        *(
            sum(getattr(row, name) for row in rows)
            for name in ("weighed_g", "reckoned_g", "book_g", "off_g", "explained_g", "left_g")
        )
    )
