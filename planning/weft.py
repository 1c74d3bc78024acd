"""The weft: how many picks, how much of which yarn. Knows no warp, stock or order."""

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from math import ceil

from mill.refusal import Refusal


def picks_per_piece(*, grey_length_m: Decimal, loom_picks_per_cm: Decimal) -> int:
    """Whole picks in a grey piece.

    >>> picks_per_piece(grey_length_m=Decimal("127.7"), loom_picks_per_cm=Decimal("8.46"))
    108035
    """
    if grey_length_m <= 0:
        raise Refusal(f"There is nothing to weave: the grey length is {grey_length_m} m.", field="length_m")
    # The same count from the finished side: finishing moves the picks together and loses none.
    return ceil(Fraction(grey_length_m) * 100 * Fraction(loom_picks_per_cm))


def picks_by_letter(*, per_piece: Mapping[str, int], pieces: int) -> dict[str, int]:
    """All picks of each letter: every piece begins its colour order anew.

    >>> picks_by_letter(per_piece={"A": 57, "B": 4}, pieces=3)
    {'A': 171, 'B': 12}
    """
    return {letter: picks * pieces for letter, picks in per_piece.items()}


def weft_length_m(*, picks: int, reed_width_cm: Decimal, tail_cm: Decimal) -> Decimal:
    """Yarn laid in: each pick across the reed, and the tails that are cut off at the selvedges.

    tail_cm   of a pick, both sides together; 0 for a shuttle

    >>> weft_length_m(picks=1000, reed_width_cm=Decimal("177.4"), tail_cm=Decimal("8"))
    Decimal('1854.0')

    Source: the weft is laid at the width in the reed, not at that of the cloth (Taylor, Cotton Weaving and
    Designing, 1909).
    """
    assert tail_cm >= 0
    return picks * (reed_width_cm + tail_cm) / 100


def mass_g(*, length_m: Decimal, count_tex: Decimal) -> Decimal:
    """Mass of a length of weft: tex is grams of 1000 m."""
    return length_m * count_tex / 1000


def issue_g(*, net_g: int | Decimal, waste_pct: Decimal) -> Decimal:
    """Weft to take from the store so that net_g is left after the waste, which is a share of the issue."""
    assert waste_pct < 100
    return net_g / (1 - waste_pct / 100)
