"""A line of the ledger takes as long to write after ten thousand as after a thousand."""

from statistics import median
from time import perf_counter

import pytest

from inventory import services
from inventory.models import Movement
from tests.make import make_lot, make_place, make_yarn

# Ten times the history may cost a third more; the rest of the bound is for a machine that does other things as well.
RATIO_MAX = 1.6
ROUNDS = 120


def with_history(lot, lines):
    """Lines of 1 g thrown away one after another, put in as the services would have written them."""
    on_hand_g = 5_000_000
    Movement.objects.bulk_create(
        [
            Movement(
                lot=lot,
                seq=seq,
                kind=Movement.WASTE,
                change_g=-1,
                on_hand_after_g=on_hand_g - seq + 1,
                held_after_g=0,
                key=f"{lot.pk}.{seq}",
                reason="for the clock",
            )
            for seq in range(2, lines + 2)
        ],
        batch_size=500,
    )
    return lot


def a_days_work(lot, place, other):
    reservation = services.reserve(lot=lot, grams=50, for_what="Warp 1", by=None)
    services.draw_down(reservation=reservation, grams=40, by=None)
    services.release(reservation=reservation, by=None)
    services.return_to_stock(lot=lot, reservation=reservation, grams=5, by=None)
    services.record_waste(lot=lot, grams=1, reason="oil", by=None)
    services.move(lot=lot, place=other, by=None)
    services.move(lot=lot, place=place, by=None)
    services.correct(lot=lot, change_g=1, reason="scales", by=None)


@pytest.mark.slow
@pytest.mark.alone
@pytest.mark.django_db
def test_a_change_takes_as_long_after_ten_times_the_history():
    yarn, place, other = make_yarn(), make_place(), make_place()
    lots = {lines: with_history(make_lot(yarn=yarn, grams=5_000_000, place=place), lines) for lines in (1_000, 10_000)}
    taken_s = {lines: [] for lines in lots}
    for n in range(ROUNDS):
        # In turn and the other way round, so that whatever else the machine does falls on both.
        for lines in sorted(lots, reverse=bool(n % 2)):
            began = perf_counter()
            a_days_work(lots[lines], place, other)
            taken_s[lines].append(perf_counter() - began)
    short_s, long_s = (median(taken_s[lines][ROUNDS // 6 :]) for lines in sorted(lots))
    print(f"\neight changes: {short_s * 1000:.2f} ms after 1 000 lines, {long_s * 1000:.2f} ms after 10 000")
    assert long_s / short_s < RATIO_MAX
    services.check_invariants()
