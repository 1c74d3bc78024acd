"""The working: how a figure came about, step by step. Knows no trade.

A step is written, and kept, in English. Label, formula, unit and source are whole sentences or words, marked with `N_`
where they stand; what has places in it is marked with `W_`, so that a step read from the book is known again and can be
said in another language. `mill.said_working` does that.
"""

from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal
from typing import TypeVar

Value = Decimal | int | str
V = TypeVar("V", Decimal, int, str)

# What the workings of all rooms have in words with places, in the order in which they were marked.
FORMS: dict[str, None] = {}


def W_(form: str) -> str:
    """Words that stand in a step with places in them, or among the figures of its sum: marked to be translated.

    A place called `n`, or `n_` and more, holds a figure. What `label` holds is a label itself, and `what` one in
    small letters. Any other holds a name, or figures with words of their own.

    >>> W_("%(n)s repeats of %(n_ends)s") % {"n": 34, "n_ends": 56}
    '34 repeats of 56'
    """
    FORMS[form] = None
    return form


def written(value: Decimal | int) -> str:
    """A number as it stands in a sum; four places at most, as a crimp turned from a take-up never ends.

    >>> written(Decimal("12.50")), written(Decimal("1.2E+3")), written(Decimal(2) / 3), written(7)
    ('12.5', '1200', '0.6667', '7')
    """
    if isinstance(value, int):
        return str(value)
    places = Decimal("0.0001")
    shown = value.quantize(places, ROUND_HALF_UP) if value != value.quantize(places) else value
    return f"{shown.normalize():f}"


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
