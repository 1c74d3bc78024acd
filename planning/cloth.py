"""The cloth: its specification as numbers. Knows no order, loom or stock."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal

from mill.refusal import Refusal


@dataclass(frozen=True, slots=True)
class YarnUse:
    """A yarn as a cloth sees it.

    colour      "#rrggbb", as it is drawn
    count_tex   grams of 1000 m, unsized, at the regain it is reckoned at; above 0
    """

    code: str
    name: str
    colour: str
    count_tex: Decimal


@dataclass(frozen=True, slots=True)
class Stripe:
    """`n` ends, or picks, side by side of the yarn that stands at `letter`."""

    letter: str
    n: int


@dataclass(frozen=True, slots=True)
class RouteStep:
    """One step of the finishing route, in the finisher's words.

    Each percentage is a share of what enters the step: of its width, its length, its mass.
    A cloth that stretches in a step has a negative shrinkage there.
    """

    name: str
    width_shrink_pct: Decimal
    length_shrink_pct: Decimal
    mass_loss_pct: Decimal
    note: str = ""


class YarnBook(Mapping[str, YarnUse]):
    """Which yarn stands at which letter, for one colourway. Never changes, so that a Cloth can be a key."""

    __slots__ = ("_pairs",)

    def __init__(self, yarns: Mapping[str, YarnUse]) -> None:
        self._pairs = tuple(sorted(yarns.items()))

    def __getitem__(self, letter: str) -> YarnUse:
        for own, yarn in self._pairs:
            if own == letter:
                return yarn
        raise KeyError(letter)

    def __iter__(self) -> Iterator[str]:
        return (letter for letter, _ in self._pairs)

    def __len__(self) -> int:
        return len(self._pairs)

    def __hash__(self) -> int:
        return hash(self._pairs)

    def __repr__(self) -> str:
        return f"YarnBook({dict(self._pairs)!r})"


@dataclass(frozen=True, slots=True)
class Cloth:
    """A cloth as it is specified, in one colourway.

    finished_width_cm          between the selvedges, after finishing
    reed_dents_per_10cm        the reed
    ends_per_dent              of the ground; selvedges are dented alike
    selvedge_ends              both sides together, outside the finished width; even
    whole_repeats              the ground is made of whole repeats of `warp_order`
    loom_picks_per_cm          in the grey cloth, as it leaves the loom
    warp_crimp_pct             percent of cloth length (ISO 7211-3), not of yarn length
    weaving_contraction_pct    percent of reed width lost between reed and grey cloth
    warp_waste_pct             percent of the yarn issued
    weft_waste_pct             percent of the yarn issued
    size_add_on_pct            percent of the unsized warp; 0 for a warp that is not sized
    route                      finishing, in order; empty for a cloth sold in the grey
    warp_order, weft_order     one repeat of the colours, letters of `yarns`
    yarns                      letter -> yarn, any mapping; kept as a YarnBook
    threading                  the shaft of each end of one draft repeat, shafts counted from 1
    lifting                    the shafts lifted on each pick of one repeat, counted from 1
    selvedge_letter            the yarn of the selvedges; the first letter of the warp when empty

    Raises Refusal, with the field's name, for a cloth that can't be woven.
    """

    name: str
    revision: int
    finished_width_cm: Decimal
    reed_dents_per_10cm: Decimal
    ends_per_dent: int
    selvedge_ends: int
    whole_repeats: bool
    loom_picks_per_cm: Decimal
    warp_crimp_pct: Decimal
    weaving_contraction_pct: Decimal
    warp_waste_pct: Decimal
    weft_waste_pct: Decimal
    size_add_on_pct: Decimal
    route: tuple[RouteStep, ...]
    warp_order: tuple[Stripe, ...]
    weft_order: tuple[Stripe, ...]
    yarns: Mapping[str, YarnUse]
    threading: tuple[int, ...]
    lifting: tuple[tuple[int, ...], ...]
    selvedge_letter: str = ""

    def __post_init__(self) -> None:
        if not isinstance(self.yarns, YarnBook):
            object.__setattr__(self, "yarns", YarnBook(self.yarns))
        if not self.warp_order:
            raise Refusal(f"{self.name} has no warp order. Write one, such as A24 B2.", field="warp_order")
        if not self.selvedge_letter:
            object.__setattr__(self, "selvedge_letter", self.warp_order[0].letter)
