"""The draw-down: day by day what there will be of one yarn, and when to order. Knows no lot or supplier."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from mill.refusal import N_, Refusal
from mill.working import W_, Step, Working

PRACTICE = N_("common practice, no source")
SUM_OF_BOTH = N_("common practice, no source; it is a sum of what comes and goes")
LOWEST_ON = W_("At its lowest, on %(day)s")
SHORT_ON = W_("Short on %(day)s")
LARGER_OF = W_("the larger of %(n)s g and %(n_least)s g")
DAYS = W_("%(n)s days")
# Day, grams, and what a person calls it.
Dated = tuple[date, int, str]


@dataclass(frozen=True, slots=True)
class Day:
    """A day on which something comes or goes. `balance_g` is what there is at its end; below 0 it is wanting."""

    day: date
    in_g: int
    out_g: int
    balance_g: int
    labels: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LateDelivery:
    """A delivery that comes after the yarn has run short."""

    label: str
    grams: int
    comes_on: date
    needed_on: date

    @property
    def late_days(self) -> int:
        return (self.comes_on - self.needed_on).days


@dataclass(frozen=True, slots=True)
class Drawdown:
    """What becomes of a yarn.

    days            today, then every day on which something comes or goes
    lowest_on/g     the lowest point; below 0 grams when the yarn runs short
    short_on        the first day that ends below 0; None when none does
    short_g         what is wanting at the end of that day
    short_for       the first thing that day that can't be served whole
    order_by        the last day to order so that it comes by `short_on`; None without shortage or lead time
    order_g         what to order so that it is never short, the smallest order kept; 0 without shortage
    overdue         deliveries that should have come before today
    too_late        deliveries that come while it is short
    """

    days: tuple[Day, ...]
    lowest_on: date
    lowest_g: int
    short_on: date | None
    short_g: int
    short_for: str
    order_by: date | None
    order_g: int
    overdue: tuple[str, ...]
    too_late: tuple[LateDelivery, ...]

    @property
    def lowest_wanting_g(self) -> int:
        """What is wanting at the lowest point; 0 when nothing ever is."""
        return max(0, -self.lowest_g)


def work_out_drawdown(
    *,
    on_hand_g: int,
    demands: Sequence[Dated],
    deliveries: Sequence[Dated],
    today: date,
    lead_time_days: int | None,
    min_order_g: int = 0,
    late_by_days: int = 0,
) -> Drawdown:
    """What becomes of a yarn from today on.

    on_hand_g       in lots that may be drawn, held or not: what is held is held for these demands
    demands         what planned work draws; what should have been drawn before today is still to be drawn today
    deliveries      what is still to come of each; what should have come before today is counted as coming today
    lead_time_days  from ordering to having, calendar days; None when nobody knows
    min_order_g     the supplier's smallest order
    late_by_days    what if: every delivery comes so many days later than is said now

    What comes on a day is there for what is drawn that day. Among the demands of a day the order given is kept.

    >>> monday = date(2026, 11, 23)
    >>> sheet = work_out_drawdown(
    ...     on_hand_g=9000, demands=[(monday + timedelta(2), 10080, "Warp 118")],
    ...     deliveries=[(monday + timedelta(7), 20000, "D7")], today=monday, lead_time_days=10, min_order_g=5000)
    >>> sheet.short_g, sheet.short_for, sheet.order_g, f"{sheet.short_on:%a %d}", f"{sheet.order_by:%a %d}"
    (1080, 'Warp 118', 5000, 'Wed 25', 'Sun 15')
    >>> sheet.too_late[0].late_days, sheet.days[-1].balance_g
    (5, 18920)

    Raises Refusal for grams or days below 0.
    Source: common practice, no source; it is a sum of what comes and goes.
    """
    _refuse_below_nought(on_hand_g, [*demands, *deliveries], late_by_days)
    outs: dict[date, list[tuple[int, str]]] = defaultdict(list)
    ins: dict[date, list[tuple[int, str]]] = defaultdict(list)
    for day, grams, label in demands:
        outs[max(day, today)].append((grams, label))
    for day, grams, label in deliveries:
        ins[max(day, today) + timedelta(late_by_days)].append((grams, label))

    days: list[Day] = []
    too_late: list[LateDelivery] = []
    balance_g, short_on, short_g, short_for = on_hand_g, None, 0, ""
    short_since: date | None = None
    for day in sorted({today, *outs, *ins}):
        for grams, label in ins[day]:
            if short_since is not None:
                too_late.append(LateDelivery(label, grams, day, short_since))
        in_g = sum(grams for grams, _ in ins[day])
        balance_g += in_g
        first_short = ""
        for grams, label in outs[day]:
            balance_g -= grams
            if balance_g < 0 and grams and not first_short:
                first_short = label
        if balance_g < 0 and short_on is None:
            short_on, short_g, short_for = day, -balance_g, first_short
        short_since = (short_since or day) if balance_g < 0 else None
        out_g = sum(grams for grams, _ in outs[day])
        labels = tuple(dict.fromkeys(label for _, label in (*ins[day], *outs[day])))
        days.append(Day(day, in_g, out_g, balance_g, labels))

    lowest = min(days, key=lambda day: day.balance_g)
    return Drawdown(
        days=tuple(days),
        lowest_on=lowest.day,
        lowest_g=lowest.balance_g,
        short_on=short_on,
        short_g=short_g,
        short_for=short_for,
        order_by=short_on - timedelta(lead_time_days) if short_on and lead_time_days is not None else None,
        order_g=max(min_order_g, -lowest.balance_g) if short_on else 0,
        overdue=tuple(label for day, _, label in deliveries if day < today),
        too_late=tuple(too_late),
    )


def working(
    sheet: Drawdown, *, on_hand_g: int, held_g: int, lead_time_days: int | None, min_order_g: int
) -> tuple[Step, ...]:
    """How the figures of a draw-down came about, from what it was worked from."""
    steps = Working()
    steps.add(
        on_hand_g - held_g,
        name="free_g",
        label=N_("Free"),
        formula=N_("on hand in lots that may be drawn − what of them is held"),
        sum=f"{on_hand_g} g − {held_g} g",
        unit="g",
        source=N_("the ledger"),
    )
    until = [day for day in sheet.days if day.day <= sheet.lowest_on]
    steps.add(
        sheet.lowest_g,
        name="lowest_g",
        label=LOWEST_ON % {"day": f"{sheet.lowest_on:%d.%m.%Y}"},
        formula=N_("on hand + what comes by that day − what planned work draws by that day; below 0 it is wanting"),
        sum=f"{on_hand_g} g + {sum(day.in_g for day in until)} g − {sum(day.out_g for day in until)} g",
        unit="g",
        source=SUM_OF_BOTH,
    )
    if sheet.short_on is None:
        return tuple(steps.steps)
    until = [day for day in sheet.days if day.day <= sheet.short_on]
    steps.add(
        sheet.short_g,
        name="short_g",
        label=SHORT_ON % {"day": f"{sheet.short_on:%d.%m.%Y}"},
        formula=N_("what planned work draws by the first day that ends below 0 − on hand − what comes by it"),
        sum=f"{sum(day.out_g for day in until)} g − {on_hand_g} g − {sum(day.in_g for day in until)} g",
        unit="g",
        source=SUM_OF_BOTH,
    )
    steps.add(
        sheet.order_g,
        name="order_g",
        label=N_("To order"),
        formula=N_("what is wanting at the lowest point, and no less than the supplier’s smallest order"),
        sum=LARGER_OF % {"n": sheet.lowest_wanting_g, "n_least": min_order_g},
        unit="g",
        source=PRACTICE,
    )
    if sheet.order_by is not None:
        steps.add(
            f"{sheet.order_by:%d.%m.%Y}",
            name="order_by",
            label=N_("To order by"),
            formula=N_("the day on which it runs short − the supplier’s days from order to delivery"),
            sum=f"{sheet.short_on:%d.%m.%Y} − {DAYS % {'n': lead_time_days}}",
            source=PRACTICE,
        )
    return tuple(steps.steps)


def _refuse_below_nought(on_hand_g: int, dated: Sequence[Dated], late_by_days: int) -> None:
    if on_hand_g < 0:
        raise Refusal(N_("There can't be %(grams)s g on hand: it is 0 g or more."), grams=on_hand_g)
    for _, grams, label in dated:
        if grams < 0:
            raise Refusal(N_("%(label)s can't be %(grams)s g: it is 0 g or more."), label=label, grams=grams)
    if late_by_days < 0:
        raise Refusal(
            N_("A delivery can't be %(days)s days late: write 0 days or more."),
            field="late_by_days",
            days=late_by_days,
        )
