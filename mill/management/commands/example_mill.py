"""Writes Candlebeck, the example mill, into an empty book: by seed, size and day the same everywhere."""

from datetime import date
from typing import Any

from django.contrib.auth import get_user_model
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction
from django.db.models import Model
from django.utils import timezone

from inventory.models import Movement, Yarn, YarnLot
from mill import changes
from mill.candlebeck import cloths, floor, money, orders, past, shed, store, told
from mill.candlebeck.story import Story
from planning.models import Cloth, Customer, Loom, Order, OrderLine, Piece, Warp

SIZE_MAX = 40


class Command(BaseCommand):
    help = "Write the example mill Candlebeck into an empty book: half a year of it, and the order book as it stands."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--seed", type=int, default=7, help="another number makes another order book (7)")
        parser.add_argument("--size", type=int, default=1, help="so many times the orders, lots and pieces (1)")
        parser.add_argument(
            "--on", type=date.fromisoformat, metavar="YYYY-MM-DD", help="the day on which it stands (today)"
        )

    def handle(self, *, seed: int, size: int, on: date | None, **options: Any) -> None:
        if not 1 <= size <= SIZE_MAX:
            raise CommandError(f"A mill of size {size} can't be written: 1 is the mill described, {SIZE_MAX} the most.")
        with transaction.atomic():
            refuse_a_begun_book()
            build(seed=seed, size=size, on=on or timezone.localdate())
        self.stdout.write(said())


# Whatever of these somebody has written is not to be mixed with what is made up.
OF_A_BOOK: tuple[type[Model], ...] = (Customer, Order, Cloth, Loom, Yarn)


def is_begun() -> bool:
    return any(model._default_manager.exists() for model in OF_A_BOOK)


def refuse_a_begun_book() -> None:
    for model in OF_A_BOOK:
        if n := model._default_manager.count():
            name = model._meta.verbose_name if n == 1 else model._meta.verbose_name_plural
            raise CommandError(
                f"The book is not empty: it has {n} {name}. The example mill is written into an empty book only; "
                "open another with --data DIR, or set SHEDBOOK_DATA."
            )


def build(*, seed: int, size: int, on: date) -> None:
    story = Story(on=on, seed=seed, size=size, by=planner())
    with changes.by(story.by):
        _build(story)


def _build(story: Story) -> None:
    shed.build(story)
    told.write_people(story)
    money.write_rates(story)
    cloths.write_yarns(story)
    cloths.write_cloths(story)
    weaves = cloths.weaves()
    orders.write_customers(story)
    next_number, woven = past.live_through(story, weaves)
    n_lines = (orders.OPEN_LINES - orders.LATELY_PLACED) * story.size - OrderLine.objects.open().count()
    next_number = orders.write_open_orders(story, weaves, n_lines=n_lines, first_number=next_number)
    floor.set_up_looms(story)
    ahead, goes_to = floor.in_order_of_need(floor.combine_lines(story))
    orders.write_late_comers(story, weaves, first_number=next_number)
    dye_lots = store.build(story, woven, ahead, floor.must_have_yarn(ahead, goes_to))
    money.write_prices(story)
    floor.work(story, ahead, goes_to, dye_lots)
    floor.mark_lots(story)
    floor.plan(story)
    floor.issue_tickets(story, ahead)
    floor.next_morning(story)


def planner() -> Any:
    """Whoever sits at the desk of a book that lies open; nobody signs in by this name without a password."""
    users = get_user_model().objects
    return users.filter(username="planner").first() or users.create_user(
        "planner", first_name="Planner", is_staff=True, is_superuser=True
    )


def said() -> str:
    counts: list[tuple[type[Model], str]] = [
        (Loom, "looms"),
        (Cloth, "cloths"),
        (YarnLot, "lots"),
        (Movement, "movements"),
        (OrderLine, "order lines"),
        (Warp, "warps"),
        (Piece, "pieces"),
    ]
    figures = ", ".join(f"{model._default_manager.count()} {name}" for model, name in counts)
    return f"Candlebeck stands: {figures}."
