"""The draw-down drawn: where its line, its shortage and its marks stand. Knows no yarn, and no colour of the page."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from inventory.drawdown import Day
from mill.signs import GERMAN, NARROW_SPACE, written_now

WIDTH, HEIGHT = 720, 300
LEFT, RIGHT, TOP, BOTTOM = 64, 16, 28, 40
LEAST_DAYS = 14
MARKS_MAX = 7


@dataclass(frozen=True, slots=True)
class Mark:
    """A line across the picture with a word beside it; `at` is x for a day and y for kilograms."""

    at: float
    label: str


@dataclass(frozen=True, slots=True)
class ShortMark:
    x: float
    y: float
    label_x: float
    anchor: str


@dataclass(frozen=True, slots=True)
class Curve:
    """Everything that the picture needs, in its own units.

    line        the balance as a path: level through a day, a step where something comes or goes
    stock       what there is, as a path down to the line of nothing
    short       what is wanting, as a path up to it; "" when nothing is
    short_mark  where it first runs short
    """

    width: int
    height: int
    left: int
    right: int
    top: int
    bottom: int
    kg_x: int
    day_y: int
    zero_y: float
    line: str
    stock: str
    short: str
    short_mark: ShortMark | None
    day_marks: tuple[Mark, ...]
    kg_marks: tuple[Mark, ...]


def draw_curve(days: Sequence[Day]) -> Curve:
    """The picture of a draw-down.

    days    as `work_out_drawdown` has them: in order, today first, one at least

    >>> monday = date(2026, 11, 23)
    >>> curve = draw_curve([Day(monday, 0, 0, 4000, ()), Day(monday + timedelta(7), 0, 6000, -2000, ("Warp 118",))])
    >>> curve.short != "", curve.short_mark.x == LEFT + (WIDTH - LEFT - RIGHT) / 2, [m.label for m in curve.kg_marks]
    (True, True, ['−2', '0', '2', '4'])
    """
    first = days[0].day
    n_days = max((days[-1].day - first).days + 1, LEAST_DAYS)
    step_g = _step_g(max(1, *(day.balance_g for day in days)) - min(0, *(day.balance_g for day in days), 0))
    top_g = _up(max(1, *(day.balance_g for day in days)), step_g)
    bottom_g = -_up(-min(0, *(day.balance_g for day in days), 0), step_g)

    def x(day: date) -> float:
        return round(LEFT + (WIDTH - LEFT - RIGHT) * (day - first).days / n_days, 1)

    def y(grams: int) -> float:
        return round(TOP + (HEIGHT - TOP - BOTTOM) * (top_g - grams) / (top_g - bottom_g), 1)

    stops = [*(day.day for day in days[1:]), first + timedelta(n_days)]
    spans = [(x(day.day), x(stop), day.balance_g) for day, stop in zip(days, stops, strict=True)]
    line = f"M{spans[0][0]} {y(spans[0][2])}" + "".join(f"V{y(grams)}H{until}" for _, until, grams in spans)
    return Curve(
        width=WIDTH,
        height=HEIGHT,
        left=LEFT,
        right=WIDTH - RIGHT,
        top=TOP,
        bottom=HEIGHT - BOTTOM,
        kg_x=LEFT - 8,
        day_y=HEIGHT - BOTTOM + 20,
        zero_y=y(0),
        line=line,
        stock="".join(_block(since, until, y(grams), y(0)) for since, until, grams in spans if grams > 0),
        short="".join(_block(since, until, y(grams), y(0)) for since, until, grams in spans if grams < 0),
        short_mark=_short_mark(spans, y(0)),
        day_marks=_day_marks(first, n_days, x),
        kg_marks=tuple(Mark(y(grams), _kg(grams)) for grams in range(bottom_g, top_g + 1, step_g)),
    )


def _block(since: float, until: float, y: float, zero_y: float) -> str:
    return f"M{since} {zero_y}V{y}H{until}V{zero_y}Z"


def _short_mark(spans: Sequence[tuple[float, float, int]], zero_y: float) -> ShortMark | None:
    for since, _, grams in spans:
        if grams < 0:
            is_far_right = since > WIDTH / 2
            return ShortMark(
                since, zero_y, since - 6 if is_far_right else since + 6, "end" if is_far_right else "start"
            )
    return None


def _day_marks(first: date, n_days: int, x: Callable[[date], float]) -> tuple[Mark, ...]:
    """Mondays, or every so many weeks, so that their words don't touch."""
    monday = first + timedelta(-first.weekday() % 7)
    every = 7 * max(1, -(-n_days // (7 * MARKS_MAX)))
    days = range((monday - first).days, n_days, every)
    mondays = [first + timedelta(day) for day in days]
    return tuple(Mark(x(day), _day_said(day)) for day in mondays)


def _day_said(day: date) -> str:
    """A day beneath the picture, without its weekday: every one is a Monday."""
    dot = "." if written_now() is GERMAN else ""
    return f"{day.day}{dot} {written_now().months[day.month - 1]}"


def _step_g(span_g: int) -> int:
    """A round number of grams between the lines: 1, 2 or 5 and noughts, for four to nine lines."""
    step_g = 1
    while True:
        for times in (1, 2, 5):
            if span_g <= 5 * step_g * times:
                return step_g * times
        step_g *= 10


def _up(grams: int, step_g: int) -> int:
    return -(-grams // step_g) * step_g


def _kg(grams: int) -> str:
    whole, rest = divmod(abs(grams), 1000)
    decimals = f"{rest:03d}".rstrip("0")
    thousands_apart = f"{whole:,}".replace(",", NARROW_SPACE)
    return f"{'−' if grams < 0 else ''}{thousands_apart}{written_now().decimal if decimals else ''}{decimals}"
