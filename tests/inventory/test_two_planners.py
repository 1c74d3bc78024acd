"""Two people at once, each with a connection of his own: one is told no, in a sentence."""

import threading
from datetime import timedelta

import pytest
from django.db import connection, transaction
from django.utils import timezone

from inventory import services
from inventory.models import Movement, OutlookMark, Reservation, YarnLot
from mill import jobs
from mill.models import Job
from mill.refusal import Refusal
from tests.make import make_delivery, make_lot, make_yarn

pytestmark = pytest.mark.django_db(transaction=True)


def at_once(*writes):
    """Run each in a thread with its own connection, all let go at the same moment; what each returned or refused."""
    gate = threading.Barrier(len(writes))
    outcomes = [None] * len(writes)

    def run(n, write):
        try:
            gate.wait(timeout=10)
            outcomes[n] = write()
        except Exception as exc:
            outcomes[n] = exc
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(n, write)) for n, write in enumerate(writes)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
        assert not thread.is_alive()
    return outcomes


def test_two_planners_want_the_same_grams_and_one_is_told_no():
    lot = make_lot(label="A12", grams=9000)
    outcomes = at_once(
        lambda: services.reserve(lot=lot, grams=6000, for_what="Warp 118", by=None),
        lambda: services.reserve(lot=lot, grams=6000, for_what="Warp 119", by=None),
    )
    (no,) = [outcome for outcome in outcomes if isinstance(outcome, Refusal)]
    (yes,) = [outcome for outcome in outcomes if isinstance(outcome, Reservation)]
    assert no.message.startswith("Lot A12 has 3000 g free; Warp 11")
    assert "needs 6000 g" in no.message
    assert services.remaining_g(yes) == 6000
    assert YarnLot.objects.with_balance().get().available_g == 3000


def test_many_hands_draw_a_lot_dry_and_never_below():
    lot = make_lot(label="A12", grams=1000)
    outcomes = at_once(
        *(lambda: services.draw_free(lot=lot, grams=300, for_what="a sample", by=None) for _ in range(6))
    )
    assert sum(isinstance(outcome, Movement) for outcome in outcomes) == 3
    assert all(isinstance(outcome, Movement | Refusal) for outcome in outcomes), outcomes
    assert YarnLot.objects.with_balance().get().on_hand_g == 100
    assert list(lot.movements.order_by("seq").values_list("seq", flat=True)) == list(range(1, 8))


def test_a_double_tap_at_the_same_moment_counts_once():
    lot = make_lot(label="A12", grams=1000)
    taps = at_once(
        *(lambda: services.record_waste(lot=lot, grams=300, reason="oil", by=None, key="one tap") for _ in range(4))
    )
    assert len({tap.pk for tap in taps}) == 1
    assert YarnLot.objects.with_balance().get().on_hand_g == 700


def test_a_double_tap_on_a_new_lot_makes_one():
    yarn = make_yarn()
    taps = at_once(
        *(
            lambda: services.receive(yarn=yarn, grams=300, label="A12", dye_lot="1", by=None, key="one tap")
            for _ in range(4)
        )
    )
    assert len({tap.pk for tap in taps}) == 1, taps
    assert YarnLot.objects.count() == 1


def test_two_new_lots_of_one_number_are_told_apart():
    yarn = make_yarn()
    outcomes = at_once(
        *(lambda: services.receive(yarn=yarn, grams=300, label="A12", dye_lot="1", by=None) for _ in range(3))
    )
    assert sum(isinstance(outcome, Movement) for outcome in outcomes) == 1
    assert {outcome.field for outcome in outcomes if isinstance(outcome, Refusal)} == {"label"}


def test_two_who_take_the_same_lots_in_another_order_both_get_through():
    yarn = make_yarn()
    one, other = make_lot(yarn=yarn, grams=1000), make_lot(yarn=yarn, grams=1000)

    def both(lots, key):
        with transaction.atomic():
            services.lock_lots([lot.pk for lot in lots])
            for lot in lots:
                services.reserve(lot=lot, grams=100, for_what="Warp 1", by=None, key=f"{key}.{lot.pk}")
        return "through"

    for n in range(5):
        outcomes = at_once(
            lambda n=n: both([one, other], f"a{n}"),
            lambda n=n: both([other, one], f"b{n}"),
        )
        assert outcomes == ["through", "through"]
    assert [lot.available_g for lot in YarnLot.objects.with_balance()] == [0, 0]


def test_a_change_during_the_working_is_worked_too():
    yarn = make_yarn()
    lot = make_lot(yarn=yarn, grams=1000)
    outcomes = at_once(
        jobs.settle,
        *(lambda: services.record_waste(lot=lot, grams=1, reason="oil", by=None) for _ in range(5)),
    )
    assert not [outcome for outcome in outcomes if isinstance(outcome, Exception)]
    jobs.settle()
    assert not OutlookMark.objects.exists()
    yarn.refresh_from_db()
    assert yarn.outlook.on_hand_g == 995
    assert list(services.audit_differences()) == []


def test_a_burst_of_changes_from_many_hands_is_one_job():
    yarn = make_yarn()
    delivery = make_delivery(yarn=yarn)

    def save(n):
        delivery.expected_on = timezone.localdate() + timedelta(n)
        services.write_delivery(by=None, delivery=delivery, changed=["expected_on"])

    at_once(*(lambda n=n: save(n) for n in range(1, 9)))
    assert Job.objects.filter(task=services.REWORK_OUTLOOKS).count() == 1
    assert jobs.settle() == 1
