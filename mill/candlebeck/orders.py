"""Candlebeck's customers, and its order book as it stands."""

from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal
from random import Random

from simple_history.utils import bulk_create_with_history

from mill.candlebeck import names
from mill.candlebeck.cloths import Weave
from mill.candlebeck.story import FLOOR_FROM, Story
from planning.models import Customer, Order, OrderLine

OPEN_LINES = 90
LINES_MAX = 5
# When a line that waits is due, beside the time that its finishing takes: earliest, latest and most often, in days.
DUE_IN = (-6, 98, 20)
# Those that everybody knows of, and the last of all.
OVERDUE, DUE_LAST = (-10, -3), 120
# Lines of the last days, which nobody has put on a warp yet, and when they are due.
LATELY_PLACED, LATELY_DUE_IN = 4, (24, 45)
# What is asked for is asked for again within weeks.
ASKED_AGAIN, ASKED_OF = 0.42, 9
WEIGHTS = (1, 1, 1, 1, 1, 2, 2, 2, 3, 3, 5, 9)
TOLERANCES_PCT = ("2.5", "2.5", "2.5", "5", "0")
NOTES = (
    "Selvedge label in black.",
    "Match the shade of the last piece.",
    "A cutting before the piece.",
    "Piece lengths as even as they come.",
)


def write_customers(story: Story) -> list[Customer]:
    rows = [
        Customer(
            code=code,
            name=name,
            notes=notes,
            points_limit_per_100_yd2=Decimal(names.POINTS_LIMITS[code]) if code in names.POINTS_LIMITS else None,
        )
        for code, name, notes in names.CUSTOMERS
    ]
    return bulk_create_with_history(rows, Customer, default_user=story.by)


def thrown(dice: Random, weaves: Sequence[Weave]) -> Weave:
    """A colourway, those that are wanted more often than others."""
    n_of: dict[str, int] = {}
    for weave in weaves:
        n_of[weave.recipe.code] = n_of.get(weave.recipe.code, 0) + 1
    return dice.choices(weaves, [weave.recipe.wanted / n_of[weave.recipe.code] for weave in weaves])[0]


def a_line(dice: Random, weave: Weave, *, due_on: date, state: str = OrderLine.ENTERED) -> OrderLine:
    """A line of this colourway, not of an order yet."""
    return OrderLine(
        cloth=weave.colourway.cloth,
        colourway=weave.colourway,
        pieces=dice.randint(1, weave.recipe.pieces),
        length_m=Decimal(dice.choice(weave.recipe.piece_m)),
        due_on=due_on,
        tolerance_pct=Decimal(dice.choice(TOLERANCES_PCT)),
        weight=dice.choice(WEIGHTS),
        state=state,
        note=dice.choice(NOTES) if dice.random() < 0.12 else "",
    )


def write_orders(
    story: Story,
    dice: Random,
    lines: Sequence[OrderLine],
    *,
    first_number: int,
    placed_ago: tuple[int, int] | None = None,
) -> int:
    """Orders for these lines, neighbours together. Returns the next number.

    placed_ago    placed so many days ago, first and last; else some months before they are due
    """
    customers = list(Customer.objects.order_by("pk"))
    number, orders, n_lines = first_number - 1, [], 0
    for line in lines:
        if not n_lines or n_lines >= LINES_MAX or dice.random() < 0.45:
            number, n_lines = number + 1, 0
            before_due = line.due_on - timedelta(days=dice.randint(50, 100))
            placed_on = story.ago(dice.randint(*placed_ago)) if placed_ago else before_due
            placed_on = min(placed_on, story.ago(1 if placed_ago else FLOOR_FROM + 2))
            orders.append(
                Order(
                    number=f"{number}",
                    customer=dice.choice(customers),
                    placed_on=placed_on,
                    reference=f"{dice.choice('ABCDEFGH')}{dice.randint(100, 999)}" if dice.random() < 0.6 else "",
                )
            )
        n_lines += 1
        line.order, line.position = orders[-1], n_lines
    bulk_create_with_history(orders, Order, batch_size=500, default_user=story.by)
    bulk_create_with_history(list(lines), OrderLine, batch_size=500, default_user=story.by)
    return number + 1


def write_late_comers(story: Story, weaves: Sequence[Weave], *, first_number: int) -> None:
    """Lines placed in the last days: they wait for somebody to combine them."""
    dice = story.dice("late comers")
    lines = [
        a_line(dice, thrown(dice, weaves), due_on=_weekday(story.on + timedelta(days=dice.randint(*LATELY_DUE_IN))))
        for _ in range(LATELY_PLACED * story.size)
    ]
    write_orders(story, dice, lines, first_number=first_number, placed_ago=(1, FLOOR_FROM - 2))


def write_open_orders(story: Story, weaves: Sequence[Weave], *, n_lines: int, first_number: int) -> int:
    """Lines that wait for their warps: the nearer the due date, the more of them. Returns the next order number."""
    dice = story.dice("open orders")
    revised = next(weave for weave in weaves if any(ago == names.YESTERDAY for ago, _, _ in weave.recipe.before))
    lately: list[Weave] = []
    lines = []
    for n, ahead in enumerate(sorted(dice.triangular(*DUE_IN) for _ in range(n_lines))):
        weave = dice.choice(lately) if lately and dice.random() < ASKED_AGAIN else thrown(dice, weaves)
        if n == n_lines // 6:
            # Somebody is to hold a ticket of it when it is revised.
            weave = revised
        lately = [*lately, weave][-ASKED_OF * story.size :]
        days = min(DUE_LAST, round(ahead) + lately[-1].revisions[-1][1].finishing_days * 7 // 5)
        if n < len(OVERDUE):
            days = OVERDUE[n]
        elif n == n_lines - 1:
            days = DUE_LAST
        lines.append(a_line(dice, weave, due_on=_weekday(story.on + timedelta(days=days))))
    lines.sort(key=lambda line: line.due_on)
    return write_orders(story, dice, lines, first_number=first_number)


def _weekday(day: date) -> date:
    return day + timedelta(days=(7 - day.weekday()) % 7 if day.weekday() > 4 else 0)
