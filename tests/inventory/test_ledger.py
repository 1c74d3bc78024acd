"""The ledger's rules without a database, and a machine that plays the store against a plain dictionary."""

from contextlib import suppress

import pytest
from django.db import IntegrityError, connection, transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test

from inventory import ledger, services
from inventory.ledger import Balance, Change, Line
from inventory.models import Movement
from mill.refusal import Refusal
from tests.make import make_lot, make_place, make_yarn

SOUND = [
    Line("A12", 1, "receive", 9000, 9000, 0, key="a"),
    Line("A12", 2, "hold", 0, 9000, 4000, held_change_g=4000, reservation=1, key="b"),
    Line("A12", 3, "draw", -3000, 6000, 1000, held_change_g=-3000, reservation=1, key="c"),
    Line("A12", 4, "return", 500, 6500, 1000, reservation=1, key="d"),
    Line("A12", 5, "release", 0, 6500, 0, held_change_g=-1000, reservation=1, key="e"),
    Line("A12", 6, "waste", -200, 6300, 0, key="f"),
    Line("A12", 7, "reverse", 200, 6500, 0, key="g", reverses="f"),
    Line("A12", 8, "count", 0, 6500, 0, key="h"),
    Line("A12", 9, "note", 0, 6500, 0, key="i"),
]


def changed(n, **changes):
    facts = {name: getattr(SOUND[n], name) for name in Line.__dataclass_fields__}
    return [*SOUND[:n], Line(**{**facts, **changes}), *SOUND[n + 1 :]]


def test_the_kinds_of_line_are_those_of_the_database():
    assert [kind for kind, _ in Movement.KINDS] == list(ledger.KINDS)


def test_a_sound_ledger_breaks_nothing():
    assert list(ledger.breaches(SOUND)) == []
    assert ledger.replay(SOUND) == {"A12": Balance(9, 6500, 0)}
    assert ledger.held_by(SOUND) == {1: 0}


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        (changed(0, kind="correct"), "a lot begins by being received, once"),
        (SOUND[1:], "it follows line 0"),
        (SOUND[:2] + SOUND[3:], "it follows line 2"),
        (changed(1, kind="borrow"), "no line is of the kind borrow"),
        (changed(5, on_hand_after_g=6000), "6500 g and -200 g make 6300 g on hand; 6000 g is written"),
        (changed(1, held_after_g=3000), "0 g and 4000 g make 4000 g held; 3000 g is written"),
        (changed(5, change_g=200, on_hand_after_g=6700), "a waste can't change 200 g"),
        (changed(2, held_change_g=-2000), "3000 g are drawn and 2000 g of them were held"),
        (changed(1, held_change_g=9500, held_after_g=9500), "9500 g are held of 9000 g on hand"),
        (changed(1, reservation=None), "4000 g are held for nothing"),
        (changed(3, change_g=3500, on_hand_after_g=9500), "500 g more came back than were drawn"),
        (changed(4, held_change_g=-1500), "500 g more left its hold than were held"),
        (changed(5, key="c"), "its key stands on another line too"),
        (changed(6, reverses=None), "only a line that takes back says which"),
        (changed(6, reverses="zz"), "what it takes back has not been written"),
        (changed(6, reverses="a"), "it is not line 1 the other way round"),
        ([*SOUND, Line("A12", 10, "reverse", 200, 6700, 0, reverses="f")], "has been taken back already"),
        (
            [*SOUND, Line("B1", 1, "receive", 50, 50, 0), Line("B1", 2, "hold", 0, 50, 9, 9, 1)],
            "its hold is on lot A12",
        ),
        (changed(1, reservation=None), "Lot A12: its holds come to -4000 g; 0 g is written"),
    ],
)
def test_every_broken_rule_is_said(lines, says):
    assert any(says in breach for breach in ledger.breaches(lines)), list(ledger.breaches(lines))
    with pytest.raises(AssertionError):
        ledger.check_invariants(lines)


@given(st.integers(0, 200), st.integers(0, 200), st.integers(0, 300))
def test_nothing_that_a_rule_allows_breaks_a_balance(on_hand_g, held_g, grams):
    before = Balance(3, on_hand_g, min(on_hand_g, held_g))
    rules = [
        lambda: ledger.hold(before, grams, lot="A12", for_what="Warp 1"),
        lambda: ledger.waste(before, grams, lot="A12"),
        lambda: ledger.correct(before, to_g=grams, lot="A12"),
        lambda: ledger.correct(before, to_g=grams, lot="A12", kind="count"),
        lambda: ledger.draw(before, grams, remaining_g=before.held_g, lot="A12", for_what="Warp 1"),
    ]
    for allow in rules:
        with suppress(Refusal):
            ledger.follow(before, allow())


def test_a_change_that_no_rule_allowed_is_a_bug():
    with pytest.raises(AssertionError):
        ledger.follow(Balance(1, 100, 0), Change("waste", change_g=-101))
    with pytest.raises(AssertionError):
        ledger.follow(Balance(1, 100, 50), Change("draw", change_g=-60, held_change_g=-5))


class StoreMachine(RuleBasedStateMachine):
    """Everything that people do to two lots, in any order, against two dictionaries of grams."""

    def __init__(self):
        super().__init__()
        yarn = make_yarn()
        self.places = [make_place(), make_place()]
        self.lots = [make_lot(yarn=yarn, grams=100, place=self.places[0]), make_lot(yarn=yarn, grams=60)]
        self.on_hand = {lot.pk: grams for lot, grams in zip(self.lots, (100, 60), strict=True)}
        self.holds = {}  # by reservation: what is held, what is out
        self.key = 0

    def lot(self, n):
        return self.lots[n % len(self.lots)]

    def free(self, lot):
        held = sum(h["held"] for h in self.holds.values() if h["lot"] == lot.pk)
        return self.on_hand[lot.pk] - held

    def tried(self, is_allowed, write):
        """The verb does what the dictionary says it may, and refuses the rest; the key counts once."""
        self.key += 1
        key = f"k{self.key}-{id(self)}"
        if not is_allowed:
            with pytest.raises(Refusal):
                write(key)
            return None
        first = write(key)
        n = Movement.objects.count()
        assert write(key) == first
        assert Movement.objects.count() == n
        return first

    @rule(n=st.integers(0, 1), grams=st.integers(0, 130))
    def hold(self, n, grams):
        lot = self.lot(n)
        made = self.tried(
            0 < grams <= self.free(lot),
            lambda key: services.reserve(lot=lot, grams=grams, for_what="Warp 1", by=None, key=key),
        )
        if made:
            self.holds[made] = {"lot": lot.pk, "held": grams, "out": 0}

    @precondition(lambda self: self.holds)
    @rule(n=st.integers(0, 9), grams=st.integers(0, 130))
    def draw(self, n, grams):
        reservation = list(self.holds)[n % len(self.holds)]
        hold = self.holds[reservation]
        if self.tried(
            0 < grams <= hold["held"],
            lambda key: services.draw_down(reservation=reservation, grams=grams, by=None, key=key),
        ):
            hold["held"] -= grams
            hold["out"] += grams
            self.on_hand[hold["lot"]] -= grams

    @precondition(lambda self: self.holds)
    @rule(n=st.integers(0, 9))
    def let_go(self, n):
        reservation = list(self.holds)[n % len(self.holds)]
        hold = self.holds[reservation]
        if self.tried(hold["held"] > 0, lambda key: services.release(reservation=reservation, by=None, key=key)):
            hold["held"] = 0

    @precondition(lambda self: self.holds)
    @rule(n=st.integers(0, 9), grams=st.integers(0, 130))
    def bring_back(self, n, grams):
        reservation = list(self.holds)[n % len(self.holds)]
        hold = self.holds[reservation]
        if self.tried(
            0 < grams <= hold["out"],
            lambda key: services.return_to_stock(
                lot=reservation.lot, reservation=reservation, grams=grams, by=None, key=key
            ),
        ):
            hold["out"] -= grams
            self.on_hand[hold["lot"]] += grams

    @rule(n=st.integers(0, 1), grams=st.integers(0, 130))
    def throw_away(self, n, grams):
        lot = self.lot(n)
        if self.tried(
            0 < grams <= self.free(lot),
            lambda key: services.record_waste(lot=lot, grams=grams, reason="spoilt", by=None, key=key),
        ):
            self.on_hand[lot.pk] -= grams

    @rule(n=st.integers(0, 1), to_g=st.integers(-5, 150))
    def correct(self, n, to_g):
        lot = self.lot(n)
        held = self.on_hand[lot.pk] - self.free(lot)
        if self.tried(
            held <= to_g != self.on_hand[lot.pk],
            lambda key: services.correct(lot=lot, to_g=to_g, reason="scales", by=None, key=key),
        ):
            self.on_hand[lot.pk] = to_g

    @rule(n=st.integers(0, 1), weighed_g=st.integers(0, 150))
    def count(self, n, weighed_g):
        lot = self.lot(n)
        held = self.on_hand[lot.pk] - self.free(lot)
        if self.tried(held <= weighed_g, lambda key: services.count(lot=lot, weighed_g=weighed_g, by=None, key=key)):
            self.on_hand[lot.pk] = weighed_g

    @rule(n=st.integers(0, 1), where=st.integers(0, 1))
    def move(self, n, where):
        lot, place = self.lot(n), self.places[where]
        lot.refresh_from_db()
        self.tried(lot.place_id != place.pk, lambda key: services.move(lot=lot, place=place, by=None, key=key))

    @rule(n=st.integers(0, 30))
    def take_back(self, n):
        lines = list(Movement.objects.select_related("lot", "reservation").order_by("lot_id", "seq"))
        line = lines[n % len(lines)]
        hold = self.holds.get(line.reservation)
        change_g, held_change_g = -line.change_g, -line.held_change_g
        is_allowed = (
            line.kind not in ("reverse", "note", "move")
            and (line.change_g or line.held_change_g)
            and not Movement.objects.filter(reverses=line).exists()
            and self.free(line.lot) + change_g - held_change_g >= 0
            and (hold is None or hold["held"] + held_change_g >= 0)
            and (hold is None or line.kind != "draw" or hold["out"] >= change_g)
        )
        if line.kind == "move":
            return
        if self.tried(is_allowed, lambda key: services.reverse(movement=line, reason="slip", by=None, key=key)):
            self.on_hand[line.lot_id] += change_g
            if hold is not None:
                hold["held"] += held_change_g
                hold["out"] -= change_g

    @invariant()
    def the_book_agrees(self):
        for lot in services.lots.YarnLot.objects.with_balance():
            assert (lot.on_hand_g, lot.available_g) == (self.on_hand[lot.pk], self.free(lot))
        for reservation, hold in self.holds.items():
            assert services.remaining_g(reservation) == hold["held"]
            assert services.out_g(reservation) == hold["out"]

    def teardown(self):
        services.check_invariants()


@pytest.mark.django_db
def test_the_store_does_what_a_dictionary_would_do():
    class OneStore(StoreMachine):
        def __init__(self):
            self.savepoint = transaction.atomic()
            self.savepoint.__enter__()
            super().__init__()

        def teardown(self):
            super().teardown()
            transaction.set_rollback(True)
            self.savepoint.__exit__(None, None, None)

    run_state_machine_as_test(
        OneStore,
        settings=settings(
            max_examples=12,
            stateful_step_count=25,
            deadline=None,
            suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
        ),
    )


# What the database itself refuses


def refused_by_the_database(sql, *values, says):
    with pytest.raises(IntegrityError, match=says), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql, values)


INSERT = """INSERT INTO inventory_movement (lot_id, seq, kind, change_g, held_change_g, on_hand_after_g, held_after_g,
    key, at, document, reason, packages_change) VALUES (%s, %s, 'waste', %s, %s, %s, %s, 'x', '2026-11-24', '', '', 0)"""


@pytest.mark.django_db
def test_no_line_is_changed_or_taken_away_by_any_means():
    lot = make_lot()
    never = "A movement is never"
    refused_by_the_database("UPDATE inventory_movement SET change_g = 1 WHERE lot_id = %s", lot.pk, says=never)
    refused_by_the_database("UPDATE inventory_movement SET reason = 'nicer' WHERE lot_id = %s", lot.pk, says=never)
    refused_by_the_database("DELETE FROM inventory_movement WHERE lot_id = %s", lot.pk, says=never)
    assert Movement.objects.get(lot=lot).change_g == 9000


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("seq", "change_g", "held_change_g", "on_hand_after_g", "held_after_g"),
    [
        pytest.param(3, -100, 0, 8900, 0, id="a number is left out"),
        pytest.param(1, -100, 0, 8900, 0, id="the number is taken"),
        pytest.param(2, -100, 0, 9000, 0, id="the balance doesn't follow"),
        pytest.param(2, 0, 100, 9000, 200, id="the hold doesn't follow"),
    ],
)
def test_no_line_is_added_out_of_order(seq, change_g, held_change_g, on_hand_after_g, held_after_g):
    lot = make_lot()
    refused_by_the_database(
        INSERT, lot.pk, seq, change_g, held_change_g, on_hand_after_g, held_after_g, says="must follow from the line"
    )


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("change_g", "held_change_g"), [(-9001, 0), (0, 9001), (0, -1)], ids=["below nothing", "held beyond", "unheld"]
)
def test_no_balance_goes_below_zero_or_below_what_is_held(change_g, held_change_g):
    lot = make_lot()
    with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(INSERT, [lot.pk, 2, change_g, held_change_g, 9000 + change_g, held_change_g])
