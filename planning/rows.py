"""Rows taken together: by what they have in common, in percent, and an amount shared out among them."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from decimal import ROUND_HALF_UP, Decimal
from typing import TypeVar

K = TypeVar("K")
R = TypeVar("R")


def grouped(rows: Iterable[R], key: Callable[[R], K]) -> dict[K, list[R]]:
    """Rows by their key, in the order in which each is met."""
    found: dict[K, list[R]] = defaultdict(list)
    for row in rows:
        found[key(row)].append(row)
    return found


def share_pct(part: int | Decimal, whole: int | Decimal) -> Decimal | None:
    """So much of it in percent, to a tenth; None of nothing.

    >>> share_pct(1500, 25_200), share_pct(1, 16), share_pct(1, 0)
    (Decimal('6.0'), Decimal('6.3'), None)
    """
    return (Decimal(part) * 100 / whole).quantize(Decimal("0.1"), ROUND_HALF_UP) if whole else None


def shared_out(amount: Decimal, weights: Sequence[Decimal | int], *, places: int) -> tuple[Decimal, ...]:
    """An amount divided as the weights are, each share at so many places, that add up to it.

    >>> shared_out(Decimal("10.00"), [1, 1, 1], places=2)
    (Decimal('3.33'), Decimal('3.34'), Decimal('3.33'))

    Each takes what the weights up to it come to, less what was taken before. Where all weights are 0 they count alike.
    """
    weights = weights if any(weights) else [1] * len(weights)
    step = Decimal(1).scaleb(-places)
    whole, so_far, taken = sum(weights, start=Decimal(0)), Decimal(0), Decimal(0).quantize(step)
    shares = []
    for weight in weights:
        so_far += weight
        up_to = (amount * so_far / whole).quantize(step, ROUND_HALF_UP)
        shares.append(up_to - taken)
        taken = up_to
    return tuple(shares)
