"""A sum as it is asked, worked and answered; figures as they are rounded and written. Knows no trade."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_HALF_UP, Context, Decimal
from typing import Any, Literal, TypeVar

from mill.working import Step, Value, Working
from planning.reckoner.words import PLACES, PLACES_OF, SIX_FIGURES, words_of

Kind = Literal["number", "whole", "choice", "text", "count", "counts", "numbers", "reed", "faults"]
V = TypeVar("V", Decimal, int, str)


@dataclass(frozen=True, slots=True)
class Input:
    """What a sum asks for.

    name       ends in its unit where it has one; a mill's starting value of the same name takes the default's place
    kind       number: Decimal in `unit`. whole: int. choice: a key of `choices`. text: str. count: yarn.Count.
               counts, numbers: tuples of those. reed: dents in 10 cm, Decimal. faults: a tuple of piece.Fault
    unit       canonical, as mill.units has it, or what is counted: "ends"; empty where there is none
    default    as a person would type it; empty for nothing
    choices    key and label
    least, most, above, below    bounds in `unit`: the first two allowed, the others not
    """

    name: str
    label: str
    kind: Kind = "number"
    unit: str = ""
    default: str = ""
    help: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    required: bool = True
    least: Decimal | int | None = None
    most: Decimal | int | None = None
    above: Decimal | int | None = None
    below: Decimal | int | None = None


@dataclass(frozen=True, slots=True)
class Figure:
    """What a sum came to; `name` is also that of the step that worked it out."""

    name: str
    label: str
    value: Value
    unit: str


@dataclass(frozen=True, slots=True)
class Answer:
    """The figures asked for, every step to them, and sentences that a person should know."""

    figures: tuple[Figure, ...]
    steps: tuple[Step, ...]
    remarks: tuple[str, ...] = ()


@dataclass(slots=True)
class Sheet:
    """A sum being worked: its steps, which of them were asked for, and remarks.

    A figure is rounded where it is written down, and only there: lengths, widths and percentages are carried on
    unrounded. What is counted (ends, dents, picks, grams, minutes, cones) is whole, upwards, and carried on so.
    """

    working: Working
    asked: list[str]
    remarks: list[str]

    def put(
        self, name: str, value: V, sum: str, *, rule: str = "", of: str = "", source: str = "", unit: str = ""
    ) -> V:
        """Write a figure down as its words say it is rounded, and hand it on as it came.

        rule    the words, where they are not called as the figure is
        """
        words = words_of(rule or name)
        shown: Value = rounded(value, rule or name) if isinstance(value, Decimal) else value
        label = words.label % {"of": of}
        step = Step(name, label, words.formula, sum, shown, unit or words.unit, source or words.source)
        self.working.steps.append(step)
        return value

    def ask(self, name: str, value: V, sum: str, **more: Any) -> V:
        """As `put`, and the figure is one of the answers."""
        self.asked.append(name)
        return self.put(name, value, sum, **more)


@dataclass(frozen=True, slots=True)
class Sum:
    """One sum of the trade.

    name     in addresses
    group    where it stands in the list of sums
    about    what it is for, and what is easily got wrong
    """

    name: str
    title: str
    group: str
    about: str
    inputs: tuple[Input, ...]
    work: Callable[..., None]

    def reckon(self, values: Mapping[str, Any]) -> Answer:
        """The answer for values as their kinds say, one for each input; None where an input may be left out.

        Raises Refusal, with the input's name as its field where it is one input's fault.
        """
        assert set(values) == {given.name for given in self.inputs}, sorted(values)
        sheet = Sheet(Working(), [], [])
        self.work(sheet, **values)
        assert all(step.formula and step.source for step in sheet.working.steps), self.name
        steps = {step.name: step for step in sheet.working.steps}
        assert len(steps) == len(sheet.working.steps), self.name
        return Answer(
            tuple(Figure(name, steps[name].label, steps[name].value, steps[name].unit) for name in sheet.asked),
            tuple(sheet.working.steps),
            tuple(sheet.remarks),
        )


# In the order in which the trade does its sums.
REGISTRY: dict[str, Sum] = {}


def enter(name: str, title: str, group: str, about: str, *inputs: Input) -> Callable[..., Callable[..., None]]:
    def write_in(work: Callable[..., None]) -> Callable[..., None]:
        REGISTRY[name] = Sum(name, title, group, about, inputs, work)
        return work

    return write_in


# How figures are rounded and written.

_WIDE = Context(prec=60)


def rounded(value: Decimal, name: str) -> Decimal:
    """A figure as it is shown: PLACES says how, by its name or its unit."""
    step = PLACES_OF.get(name) or PLACES[words_of(name).unit]
    if step == SIX_FIGURES:
        return six(value)
    if step.startswith("^"):
        # What a division leaves behind after its 28th digit is not rounded up: 64 m / 0.9375 is 60 m.
        value = value.quantize(Decimal("1e-12"), context=_WIDE)
        return tidy(value.quantize(Decimal(step[1:]), rounding=ROUND_CEILING, context=_WIDE))
    return tidy(value.quantize(Decimal(step), rounding=ROUND_HALF_UP, context=_WIDE))


def six(value: Decimal) -> Decimal:
    """Six figures, and every figure before the point."""
    places = min(value.adjusted() - 5, 0)
    return tidy(value.quantize(Decimal(1).scaleb(places), rounding=ROUND_HALF_UP, context=_WIDE))


def fine(value: Decimal) -> str:
    """A count in the working: nine figures, so that its sum gives six."""
    places = min(value.adjusted() - 8, 0)
    return f"{tidy(value.quantize(Decimal(1).scaleb(places), rounding=ROUND_HALF_UP, context=_WIDE)):f}"


def tidy(value: Decimal) -> Decimal:
    return Decimal(f"{value.normalize(_WIDE):f}")


def num(value: Decimal | int) -> str:
    """A number in the working: six places at most, as a field keeps them; six figures where it is small."""
    if isinstance(value, int):
        return str(value)
    if abs(value) >= 1:
        value = value.quantize(Decimal("0.000001"), rounding=ROUND_HALF_UP, context=_WIDE)
    elif value:
        value = six(value)
    return f"{value.normalize(_WIDE):f}"


def whole_up(value: Decimal) -> int:
    tidied = value.quantize(Decimal("1e-9"), context=_WIDE)
    return int(tidied.to_integral_value(rounding=ROUND_CEILING))


def whole_near(value: Decimal) -> int:
    return int(value.to_integral_value(rounding=ROUND_HALF_UP))


def left(sign: str, losses_pct: tuple[Decimal, ...]) -> str:
    """What losses leave, to follow a number: " ÷ (1 − 8 %)"; nothing when nothing is lost."""
    return "".join(f" {sign} (1 − {num(pct)} %)" for pct in losses_pct if pct)
