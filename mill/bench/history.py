"""More history for a book to carry: lots that came and were drawn long ago, with all their lines in the ledger."""

from collections.abc import Iterator
from datetime import timedelta
from itertools import cycle, islice
from random import Random
from typing import Any

from django.contrib.auth import get_user_model
from django.db import connection
from django.utils import timezone

from inventory import ledger
from inventory.ledger import Balance, Change
from inventory.models import Movement, Place, Yarn, YarnLot

BATCH = 5_000
# One lot in so many still has yarn; the rest have been used up.
STILL_THERE = 5


def bench_user() -> Any:
    return get_user_model().objects.get_or_create(username="bench", defaults={"is_superuser": True})[0]


def add_history(*, lots: int, movements: int, seed: int = 1) -> None:
    """So many more lots, over all yarns in turn, and so many lines between them, all lots alike long.

    movements   at least three for each lot, and of them each lot's share is whole: the rest is left over
    """
    dice = Random(seed)  # noqa: S311
    by = bench_user()
    places, yarns = list(Place.objects.all()), list(Yarn.objects.all())
    today, have = timezone.localdate(), YarnLot.objects.count()
    lines_each = movements // lots
    assert lines_each >= 3, "a lot is received, used, and used up"
    rows = [
        YarnLot(
            label=f"H{have + n:06}",
            yarn=yarn,
            dye_lot=f"H{have + n}",
            place=places[n % len(places)],
            received_on=today - timedelta(days=dice.randrange(60, 3_000)),
            packages=20,
        )
        for n, yarn in enumerate(islice(cycle(yarns), lots))
    ]
    lines: list[Movement] = []
    for n, lot in enumerate(YarnLot.objects.bulk_create(rows, batch_size=BATCH)):
        for change, balance in _life(lot.label, lines_each, dice, keeps=n % STILL_THERE == 0):
            lines.append(
                Movement(
                    lot=lot,
                    seq=balance.seq,
                    kind=change.kind,
                    change_g=change.change_g,
                    held_change_g=change.held_change_g,
                    on_hand_after_g=balance.on_hand_g,
                    held_after_g=balance.held_g,
                    key=f"history {lot.label} {balance.seq}",
                    by=by,
                )
            )
        if len(lines) >= BATCH:
            Movement.objects.bulk_create(lines, batch_size=500)
            lines = []
    Movement.objects.bulk_create(lines, batch_size=500)
    if connection.vendor == "sqlite":
        # Years of it don't lie in the log that is written ahead, as what was put in at one go does.
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def _life(label: str, lines: int, dice: Random, *, keeps: bool) -> Iterator[tuple[Change, Balance]]:
    """Received, then wasted and put right by turns, and at last used up or not; each line with what follows it."""
    full_g = 1_000 * dice.randrange(20, 60)
    change, balance = ledger.receive(Balance(), full_g, lot=label), Balance()
    for n in range(1, lines + 1):
        balance = ledger.follow(balance, change)
        yield change, balance
        if n == lines - 1 and not keeps:
            change = ledger.waste(balance, balance.on_hand_g, lot=label)
        elif balance.on_hand_g == full_g:
            change = ledger.waste(balance, dice.randrange(1, full_g), lot=label)
        else:
            change = ledger.correct(balance, to_g=full_g, lot=label)
