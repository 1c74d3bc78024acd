"""The working: how a figure came about, step by step. Knows no trade."""

from dataclasses import dataclass, field
from decimal import Decimal
from typing import TypeVar

Value = Decimal | int | str
V = TypeVar("V", Decimal, int, str)


@dataclass(frozen=True, slots=True)
class Step:
    """One line of the working.

    name      the figure's own name in the code, `warp_length_m`
    label     what the trade calls it, "Warp to wind"
    formula   the rule in the trade's words
    sum       the rule with this job's numbers in it
    value     what came out, rounded as it is shown
    unit      "m", "ends", "" for a bare number
    source    where the rule comes from; "common practice, no source" when nowhere
    """

    name: str
    label: str
    formula: str
    sum: str
    value: Value
    unit: str = ""
    source: str = ""


@dataclass(slots=True)
class Working:
    """Steps in the order in which they were worked."""

    steps: list[Step] = field(default_factory=list)

    def add(self, value: V, *, name: str, label: str, formula: str, sum: str, unit: str = "", source: str = "") -> V:
        """Write a step down and hand its value on, so that a sum and its working are one line."""
        self.steps.append(Step(name, label, formula, sum, value, unit, source))
        return value

    def of(self, name: str) -> Step:
        """The step that worked out `name`. Raises KeyError when it was never worked."""
        for step in self.steps:
            if step.name == name:
                return step
        raise KeyError(name)
