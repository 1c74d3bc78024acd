"""A pencil: works out a step's sum from what is printed in it, and knows nothing else of it."""

import math
import re
from decimal import Decimal
from typing import Any

from mill.working import Step

# Units stand beside numbers for the reader; a sum is worked in those that are printed.
UNITS = r"(?:g/m²?|kg/m³|m²|cm|mm|tex|min|kg|g|m|h|GBP)(?![\w/²³])"


def worked(sum: str) -> float:
    """What the sum comes to. Raises ValueError where words stand in it that are no unit.

    >>> worked("120 m ÷ (1 − 6 %)") == 120 / 0.94, worked("2 × 4 m × 12.5 tex ÷ 1000"), worked("√9 + 0.2² m²")
    (True, 0.1, 3.04)
    """
    sum, _, share = sum.partition("; ")[0].partition(", s = ")
    sum = re.sub(r", \d+ (?:repeats of \d+|dents)$", "", sum)
    sum = re.sub(r"\([^()]*[a-z]{2} [^()]*\)", "", sum)  # where a number comes from
    sum = re.sub(r"(?<=\d) (?=\d{3}\b)", "", sum)
    sum = re.sub(rf"(?<=[\d²)]) ?{UNITS}", "", sum)
    sum = re.sub(r"(\d+(?:\.\d+)?) %", r"(\1 / 100)", sum)
    sum = re.sub(r"√(\d+(?:\.\d+)?)", r"√(\1)", sum)
    for sign, python in (("−", "-"), ("×", "*"), ("÷", "/"), ("²", "**2"), ("√", "math.sqrt"), ("π", "math.pi")):
        sum = sum.replace(sign, python)
    if not re.fullmatch(r"(?:math\.sqrt|math\.pi|\bs\b|[\d\s.+\-*/()])*", sum):
        raise ValueError(sum)
    return float(eval(sum, {"math": math, "s": worked(share) if share else None}))


def comes_to(step: Step) -> bool:
    """Whether the sum gives the value, to the nearest or upwards in its last place; in percent or mm where it is so."""
    value = Decimal(step.value)
    exponent: Any = value.as_tuple().exponent
    last = 10.0 ** min(exponent, 0)
    times = {"%": 100, "mm": 1000}
    found = worked(step.sum)
    off = [(float(value) - found * each) / last for each in {1, times.get(step.unit, 1)}]
    return any(-0.5001 < each < 1.0001 for each in off)
