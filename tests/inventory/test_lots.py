"""What is done to a lot, and every no with its sentence."""

from datetime import timedelta
from decimal import Decimal

import hypothesis
import pytest
from django.db import transaction
from django.utils import timezone
from hypothesis import strategies as st

from inventory import services
from inventory.models import Movement, OutlookMark, Place, Reservation, YarnLot
from mill.refusal import Refusal
from tests.make import make_delivery, make_lot, make_place, make_yarn

pytestmark = pytest.mark.django_db


def balance(lot):
    row = YarnLot.objects.with_balance().get(pk=lot.pk)
    return row.on_hand_g, row.held_g, row.available_g


def held(lot, grams=4000, for_what="Warp 118"):
    return services.reserve(lot=lot, grams=grams, for_what=for_what, by=None)


class Says:
    """The refusal's whole sentence, with the narrow spaces of its numbers as plain ones."""

    def __init__(self, sentence, *, field=None):
        self.sentence, self.field = sentence, field

    def __enter__(self):
        self.n = Movement.objects.count()
        self.raises = pytest.raises(Refusal)
        self.info = self.raises.__enter__()
        return self

    def __exit__(self, *exc):
        done = self.raises.__exit__(*exc)
        assert self.info.value.message.replace("\u202f", " ") == self.sentence
        assert self.info.value.field == self.field
        assert Movement.objects.count() == self.n, "a no leaves nothing behind"
        return done


def test_a_lot_goes_through_its_life_line_by_line(planner, desk):
    here, there = make_place(code="A1"), make_place(code="B2")
    lot = make_lot(label="A12", grams=20000, place=here, packages=20, by=planner)
    reservation = services.reserve(lot=lot, grams=10080, for_what="Warp 118", by=planner)
    assert balance(lot) == (20000, 10080, 9920)
    services.draw_down(reservation=reservation, grams=9000, by=planner, packages=9)
    services.release(reservation=reservation, by=planner)
    services.return_to_stock(lot=lot, reservation=reservation, grams=350, packages=1, by=planner)
    services.record_waste(lot=lot, grams=50, reason="oil", by=planner)
    services.move(lot=lot, place=there, by=planner)
    services.correct(lot=lot, change_g=-300, reason="mispacked", by=planner)
    services.count(lot=lot, weighed_g=11000, by=planner)
    lines = list(lot.movements.order_by("seq"))
    assert [(line.kind, line.change_g, line.on_hand_after_g, line.held_after_g) for line in lines] == [
        ("receive", 20000, 20000, 0),
        ("hold", 0, 20000, 10080),
        ("draw", -9000, 11000, 1080),
        ("release", 0, 11000, 0),
        ("return", 350, 11350, 0),
        ("waste", -50, 11300, 0),
        ("move", 0, 11300, 0),
        ("correct", -300, 11000, 0),
        ("count", 0, 11000, 0),
    ]
    assert [line.packages_change for line in lines[:5]] == [20, 0, -9, 0, 1]
    assert {line.by for line in lines} == {planner}
    lot.refresh_from_db()
    assert lot.place == there
    assert (lines[6].place_from, lines[6].place_to) == (here, there)
    # By hand: 20 000 − 9000 + 350 − 50 − 300 = 11 000 g, and 10 080 − 1080 − 9000 = 0 g held.
    page = desk.get("/lots/A12/").content.decode()
    assert "20000 g received − 9000 g drawn + 350 g came back − 50 g waste − 300 g corrected" in page
    assert "10080 g held − 1080 g let go − 9000 g drawn" in page
    assert "<output>11000 g</output>" in page


def test_a_short_lot_is_refused_and_no_hold_is_left():
    lot = make_lot(label="A12", grams=9000)
    with Says("Lot A12 has 9000 g free; Warp 118 needs 10 080 g. Choose another lot, or ask for less.", field="grams"):
        held(lot, 10080)
    assert not Reservation.objects.exists()
    held(lot, 8000)
    with Says(
        "Lot A12 has 1000 g free; Warp 119 needs 1001 g. Choose another lot, or let go of some of the 8000 g that are"
        " held, or ask for less.",
        field="grams",
    ):
        held(lot, 1001, "Warp 119")


def test_what_is_held_for_one_warp_is_not_drawn_for_another():
    lot = make_lot(label="A12", grams=9000)
    held(lot, 8000)
    with Says(
        "Lot A12 has 1000 g free; 2000 g can't be written off. Let go of some of the 8000 g that are held, or write"
        " less.",
        field="grams",
    ):
        services.record_waste(lot=lot, grams=2000, reason="oil", by=None)
    with Says(
        "Lot A12 has 1000 g free; a sample needs 2000 g. Choose another lot, or let go of some of the 8000 g that are"
        " held, or ask for less.",
        field="grams",
    ):
        services.draw_free(lot=lot, grams=2000, for_what="a sample", by=None)


def test_more_than_is_held_is_not_drawn():
    reservation = held(make_lot(label="A12", grams=20000), 9000)
    with Says(
        "9000 g of lot A12 are held for Warp 118; drawing 10 080 g needs 1080 g more. Hold more first, or draw 9000 g.",
        field="grams",
    ):
        services.draw_down(reservation=reservation, grams=10080, by=None)


def test_a_hold_is_let_go_once():
    reservation = held(make_lot(label="A12"))
    services.release(reservation=reservation, by=None)
    with Says("Nothing of lot A12 is held for Warp 118 any more: 0 g can be let go. Leave it as it is."):
        services.release(reservation=reservation, by=None)


def test_more_than_went_out_does_not_come_back():
    lot = make_lot(label="A12", grams=9000)
    reservation = held(lot)
    services.draw_down(reservation=reservation, grams=3000, by=None)
    with Says(
        "3000 g of lot A12 went to Warp 118 and have not come back; 3200 g can't come back. Weigh it again without the"
        " cones, or correct the lot.",
        field="grams",
    ):
        services.return_to_stock(lot=lot, reservation=reservation, grams=3200, by=None)
    with Says(
        "3000 g of lot A12 went to the shed and have not come back; 3001 g can't come back. Weigh it again without the"
        " cones, or correct the lot.",
        field="grams",
    ):
        services.return_to_stock(lot=lot, grams=3001, by=None)
    services.return_to_stock(lot=lot, grams=3000, by=None)
    assert balance(lot) == (9000, 1000, 8000)


def test_cones_go_back_to_their_own_lot():
    reservation = held(make_lot(label="A12"))
    services.draw_down(reservation=reservation, grams=100, by=None)
    other = make_lot(label="B7")
    with Says("Warp 118 holds lot A12, these cones are of lot B7. Look at the label in the cone."):
        services.return_to_stock(lot=other, reservation=reservation, grams=50, by=None)


def test_nothing_is_written_of_no_grams_or_of_more_than_a_store_holds():
    lot = make_lot(label="A12")
    with Says("There is nothing to hold: 0 g. Write 1 g or more.", field="grams"):
        held(lot, 0)
    with Says("There is nothing to write off: -5 g. Write 1 g or more.", field="grams"):
        services.record_waste(lot=lot, grams=-5, reason="oil", by=None)
    with Says(
        "2 000 000 000 g is more than any store holds; a lot takes 1 000 000 000 g at most. Look at the unit.",
        field="grams",
    ):
        make_lot(grams=2_000_000_000)
    with Says(
        "Lot A12 would have 1 000 000 001 g; a lot takes 1 000 000 000 g at most. Look at the unit.", field="grams"
    ):
        services.count(lot=lot, weighed_g=1_000_000_001, by=None)
    assert not YarnLot.objects.exclude(pk=lot.pk).exists()


def test_the_ledger_takes_whole_grams_only():
    with pytest.raises(AssertionError, match="whole grams"):
        held(make_lot(), Decimal("2.5"))


def test_a_correction_says_why_changes_something_and_leaves_what_is_held():
    lot = make_lot(label="A12", grams=9000)
    why = "Say why the lot is corrected: a line of the ledger without a reason tells nobody anything."
    with Says(why, field="reason"):
        services.correct(lot=lot, to_g=8000, reason="  ", by=None)
    with Says(
        "Lot A12 has 9000 g in the book and 9000 g is what you wrote: there is nothing to correct.", field="grams"
    ):
        services.correct(lot=lot, to_g=9000, reason="scales", by=None)
    with Says("Lot A12 can't have -100 g: write 0 g or more.", field="grams"):
        services.correct(lot=lot, change_g=-9100, reason="scales", by=None)
    held(lot, 5000)
    with Says("5000 g of lot A12 are held; 4000 g would be less. Let go of 1000 g first.", field="grams"):
        services.correct(lot=lot, to_g=4000, reason="scales", by=None)
    services.correct(lot=lot, to_g=5000, reason="scales", by=None)
    assert balance(lot) == (5000, 5000, 0)


def test_a_count_in_dry_air_is_reckoned_at_the_yarns_own_regain():
    # 10 kg dry weigh 11.3 kg at 13 %, and are 11.7 kg at the yarn's 17 %.
    lot = make_lot(label="A12", grams=11700)
    line = services.count(lot=lot, weighed_g=11300, measured_regain_pct=Decimal("13.00"), by=None)
    assert (line.change_g, line.on_hand_after_g) == (0, 11700)
    assert line.reason.replace("\u202f", " ") == "Weighed 11 300 g at 13 % regain, reckoned at 17 %."


def test_yarn_received_damp_is_reckoned_and_never_up():
    # 1000 g at 20 % are 833.33 g dry, and at 17 % 975.0 g; at 21 % 826.45 g dry, 966.94 g, of which 966 g are there.
    assert balance(make_lot(grams=1000, measured_regain_pct=Decimal(20))) == (975, 0, 975)
    assert balance(make_lot(grams=1000, measured_regain_pct=Decimal(21))) == (966, 0, 966)


def test_a_lot_number_is_given_once():
    make_lot(label="A12")
    with pytest.raises(Refusal, match=r"^There is a lot A12 already\. Give this one another number, such as L\d+\.$"):
        make_lot(label="A12")


def test_the_next_number_is_one_that_no_lot_has():
    make_lot(label="A1")
    assert services.next_label() == "L1"
    make_lot(label="L8")
    make_lot(label="L7")
    make_lot(label="Lot of Keld's")
    assert services.next_label() == "L9"


def test_the_next_number_is_found_at_once_however_many_lots_there_are(django_assert_max_num_queries):
    for n in range(30):
        make_lot(label=f"L{1000 + n}")
    with django_assert_max_num_queries(2):
        assert services.next_label() == "L1030"


def test_a_lot_does_not_come_tomorrow():
    tomorrow = timezone.localdate() + timedelta(1)
    with pytest.raises(Refusal, match=r"Lot A12 can't have come on .* which is after today, .*\. Write the day"):
        make_lot(label="A12", received_on=tomorrow)


def test_a_lot_belongs_to_an_open_delivery_of_its_own_yarn():
    yarn, other = make_yarn(code="P1", name="Peat"), make_yarn(code="M2", name="Moss")
    delivery = make_delivery(number="D7", yarn=yarn)
    with Says(
        "Delivery D7 is of P1 Peat, this is M2 Moss. Choose the delivery that it belongs to, or receive it without"
        " one.",
        field="delivery",
    ):
        make_lot(yarn=other, delivery=delivery)
    with Says(
        "Delivery D8 is closed: nothing more of it was to come. Open it again, or receive the yarn without it.",
        field="delivery",
    ):
        make_lot(yarn=yarn, delivery=make_delivery(number="D8", yarn=yarn, is_closed=True))
    assert make_lot(yarn=yarn, delivery=delivery).delivery == delivery


def test_a_lot_moves_to_where_it_is_not():
    here = make_place(code="A1")
    lot = make_lot(label="A12", place=here)
    with Says("Lot A12 lies in A1 already. Choose where it goes, or leave it.", field="place"):
        services.move(lot=lot, place=here, by=None)


# Quarantine and shade


def test_nothing_of_a_quarantined_lot_is_held_or_drawn_until_it_is_released():
    lot = make_lot(label="A12")
    reservation = held(lot)
    services.quarantine(lot=lot, reason="larvae", by=None)
    no = (
        "Lot A12 is in quarantine (larvae): nothing of it can be held or drawn. Choose another lot, or release it once"
        " it is treated."
    )
    with Says(no):
        held(lot, 10)
    with Says(no):
        services.draw_down(reservation=reservation, grams=10, by=None)
    with Says(no):
        services.draw_free(lot=lot, grams=10, for_what="a sample", by=None)
    with Says("Lot A12 is in quarantine already (larvae). Leave it as it is."):
        services.quarantine(lot=lot, reason="beetle", by=None)
    services.release_from_quarantine(lot=lot, reason="frozen eight days at -20 °C", by=None)
    with Says("Lot A12 is not in quarantine: there is nothing to release. Leave it as it is."):
        services.release_from_quarantine(lot=lot, reason="again", by=None)
    services.draw_down(reservation=reservation, grams=10, by=None)
    assert [line.reason for line in lot.movements.filter(kind="note")] == [
        "Into quarantine: larvae",
        "Out of quarantine, no treatment named: frozen eight days at -20 °C",
    ]


def test_nothing_is_drawn_of_a_shade_that_nobody_approved():
    lot = make_lot(label="A12", is_shade_approved=False)
    with Says(
        "The shade of lot A12 is not approved: nothing of it can be held or drawn. Choose another lot, or approve the"
        " shade."
    ):
        held(lot, 10)
    services.approve_shade(lot=lot, by=None)
    with Says("The shade of lot A12 is approved already. Leave it as it is."):
        services.approve_shade(lot=lot, by=None)
    held(lot, 10)
    services.reject_shade(lot=lot, reason="greener than 880", by=None)
    with Says("The shade of lot A12 is not approved as it is. Leave it, or approve it."):
        services.reject_shade(lot=lot, reason="greener", by=None)


def test_a_verb_that_needs_a_reason_says_so():
    lot = make_lot()
    for write, what in (
        (services.quarantine, "the lot goes into quarantine"),
        (services.release_from_quarantine, "the lot may leave quarantine, and what was done to it"),
        (services.reject_shade, "the shade is not approved"),
    ):
        with Says(f"Say why {what}: a line of the ledger without a reason tells nobody anything.", field="reason"):
            write(lot=lot, reason="", by=None)
    with Says("Say what the yarn is drawn for: a warp, a sample, a mend.", field="for_what"):
        services.draw_free(lot=lot, grams=5, for_what=" ", by=None)


# Taken back


def line(lot, kind):
    return lot.movements.filter(kind=kind).latest("seq")


def test_a_draw_taken_back_is_held_again():
    lot = make_lot(label="A12", grams=9000)
    reservation = held(lot)
    services.draw_down(reservation=reservation, grams=3000, by=None, packages=3)
    back = services.reverse(movement=line(lot, "draw"), reason="wrong bag", by=None)
    assert (back.change_g, back.held_change_g, back.packages_change) == (3000, 3000, 3)
    assert balance(lot) == (9000, 4000, 5000)
    assert services.remaining_g(reservation) == 4000
    with Says(f"Line 3 of lot A12 was taken back already, by line {back.seq}. Leave it as it is."):
        services.reverse(movement=line(lot, "draw"), reason="again", by=None)
    with Says(
        "Line 4 of lot A12 takes another line back; it can't be taken back itself. Write the line that you mean afresh."
    ):
        services.reverse(movement=back, reason="again", by=None)


def test_what_later_lines_need_is_not_taken_back():
    lot = make_lot(label="A12", grams=9000)
    reservation = held(lot)
    services.draw_down(reservation=reservation, grams=3000, by=None)
    with Says(
        "Lot A12 has 5000 g free; taking line 1 back needs 9000 g. Take the later lines back first, or correct the lot."
    ):
        services.reverse(movement=line(lot, "receive"), reason="slip", by=None)
    with Says(
        "1000 g of lot A12 are still held for Warp 118; taking line 2 back lets go of 4000 g. Take the draws after it"
        " back first."
    ):
        services.reverse(movement=line(lot, "hold"), reason="slip", by=None)
    services.return_to_stock(lot=lot, reservation=reservation, grams=500, by=None)
    with Says(
        "2500 g of lot A12 are still out for Warp 118; taking line 3 back needs 3000 g. Take back what was returned"
        " first."
    ):
        services.reverse(movement=line(lot, "draw"), reason="slip", by=None)
    services.reverse(movement=line(lot, "return"), reason="slip", by=None)
    services.reverse(movement=line(lot, "draw"), reason="slip", by=None)
    services.reverse(movement=line(lot, "hold"), reason="slip", by=None)
    services.reverse(movement=line(lot, "receive"), reason="slip", by=None)
    assert balance(lot) == (0, 0, 0)


def test_a_line_that_changed_nothing_is_not_taken_back():
    lot = make_lot(label="A12")
    services.count(lot=lot, weighed_g=9000, by=None)
    with Says("Line 2 of lot A12 changed 0 g: there is nothing to take back. Leave it as it is."):
        services.reverse(movement=line(lot, "count"), reason="slip", by=None)
    with Says(
        "Say why the line is taken back: a line of the ledger without a reason tells nobody anything.", field="reason"
    ):
        services.reverse(movement=line(lot, "receive"), reason="", by=None)


def test_a_move_taken_back_puts_the_lot_where_it_was_unless_it_has_gone_on():
    a, b, c = make_place(code="A1"), make_place(code="B2"), make_place(code="C3")
    lot = make_lot(label="A12", place=a)
    first = services.move(lot=lot, place=b, by=None)
    second = services.move(lot=lot, place=c, by=None)
    with Says(f"Lot A12 has been moved again since line 2: it lies in {c}, not in {b}. Move it to where it is."):
        services.reverse(movement=first, reason="slip", by=None)
    services.reverse(movement=second, reason="slip", by=None)
    lot.refresh_from_db()
    assert lot.place == b
    assert list(services.audit_differences()) == []


# The same key counts once


def each_verb(lot, reservation, out, place):
    """Every verb that adds a line, twice the same and once different under the same key."""
    yarn = lot.yarn
    return {
        "receive": (
            lambda key, grams=10: services.receive(yarn=yarn, grams=grams, label="N1", dye_lot="1", by=None, key=key)
        ),
        "reserve": lambda key, grams=10: services.reserve(lot=lot, grams=grams, for_what="Warp 9", by=None, key=key),
        "draw_down": lambda key, grams=10: services.draw_down(reservation=reservation, grams=grams, by=None, key=key),
        "draw_free": lambda key, grams=10: services.draw_free(
            lot=lot, grams=grams, for_what="a mend", by=None, key=key
        ),
        "return_to_stock": lambda key, grams=10: services.return_to_stock(
            lot=lot, reservation=out, grams=grams, by=None, key=key
        ),
        "record_waste": lambda key, grams=10: services.record_waste(
            lot=lot, grams=grams, reason="oil", by=None, key=key
        ),
        "correct": lambda key, grams=10: services.correct(lot=lot, change_g=grams, reason="slip", by=None, key=key),
        "count": lambda key, grams=10: services.count(lot=lot, weighed_g=8000 + grams, by=None, key=key),
        "move": lambda key, grams=10: services.move(
            lot=lot, place=place if grams == 10 else make_place(), by=None, key=key
        ),
        "quarantine": lambda key, grams=10: services.quarantine(lot=lot, reason=f"moth {grams}", by=None, key=key),
        "reject_shade": lambda key, grams=10: services.reject_shade(lot=lot, reason=f"green {grams}", by=None, key=key),
    }


@pytest.mark.parametrize(
    "name",
    [
        *("receive", "reserve", "draw_down", "draw_free", "return_to_stock", "record_waste"),
        *("correct", "count", "move", "quarantine", "reject_shade"),
    ],
)
def test_the_same_key_counts_once_and_is_refused_for_something_else(name):
    lot = make_lot(label="A12", grams=9000)
    reservation, out = held(lot, 500), held(lot, 500, "Warp 119")
    services.draw_down(reservation=out, grams=400, by=None)
    write = each_verb(lot, reservation, out, make_place())[name]
    first = write("tap-1")
    n = Movement.objects.count()
    before = balance(lot)
    assert write("tap-1") == first
    assert Movement.objects.count() == n
    assert balance(lot) == before
    with pytest.raises(Refusal, match=r"^This has been written down already as something else: line \d+ of lot "):
        write("tap-1", 11)
    assert balance(lot) == before


def test_a_release_and_a_reversal_count_once_too():
    lot = make_lot(label="A12")
    reservation = held(lot)
    assert services.release(reservation=reservation, by=None, key="r") == services.release(
        reservation=reservation, by=None, key="r"
    )
    receive = line(lot, "receive")
    assert services.reverse(movement=receive, reason="slip", by=None, key="b") == services.reverse(
        movement=receive, reason="slip", by=None, key="b"
    )


def test_a_key_used_for_another_lot_is_refused():
    one, other = make_lot(label="A12"), make_lot(label="B7")
    services.record_waste(lot=one, grams=10, reason="oil", by=None, key="k")
    with Says(
        "This has been written down already as something else: line 2 of lot A12, waste 10 g. Load the page again and"
        " write it afresh.",
        field="key",
    ):
        services.record_waste(lot=other, grams=10, reason="oil", by=None, key="k")


def test_a_key_has_its_length():
    lot = make_lot()
    with Says("The key has 57 characters; write 56 at most.", field="key"):
        services.count(lot=lot, weighed_g=5, by=None, key="k" * 57)


def test_words_too_long_for_the_book_are_refused_not_cut():
    with pytest.raises(Refusal, match="For what: Ensure this value has at most 120 characters"):
        held(make_lot(), 10, "W" * 121)
    with pytest.raises(Refusal, match="Label: Ensure this value has at most 30 characters"):
        make_lot(label="A" * 31)


# A place counted whole


def test_a_place_is_counted_whole_or_not_at_all():
    place = make_place(code="A1")
    one, other = make_lot(label="A12", place=place), make_lot(label="B7", place=place)
    held(other, 5000)
    with Says("5000 g of lot B7 are held; 4000 g would be less. Let go of 1000 g first.", field="grams"):
        services.count_place(place=place, weighed={one.pk: (8000, None), other.pk: (4000, None)}, by=None, key="c")
    assert balance(one) == (9000, 0, 9000)
    lines = services.count_place(place=place, weighed={one.pk: (8000, None), other.pk: (6000, None)}, by=None, key="c")
    assert [line.on_hand_after_g for line in lines] == [8000, 6000]
    again = services.count_place(place=place, weighed={one.pk: (8000, None), other.pk: (6000, None)}, by=None, key="c")
    assert again == lines


def test_a_count_does_not_bring_back_what_was_drawn_since_its_difference_was_shown():
    place = make_place(code="A1")
    lot = make_lot(label="A12", place=place, grams=9000)
    services.draw_free(lot=lot, grams=4000, for_what="A sample", by=None)
    told = {"place": place, "weighed": {lot.pk: (8900, None)}, "by": None, "key": "c"}
    with Says(
        "Lot A12 had 9000 g in the book when its difference was shown, and has 5000 g now. Weigh it again if some of it"
        " went or came since it was on the scales, and look at the differences afresh."
    ):
        services.count_place(**told, shown_g={lot.pk: 9000})
    assert balance(lot) == (5000, 0, 5000)
    told["weighed"] = {lot.pk: (4900, None)}
    lines = services.count_place(**told, shown_g={lot.pk: 5000})
    assert balance(lot) == (4900, 0, 4900)
    assert services.count_place(**told, shown_g={lot.pk: 5000}) == lines, "a second tap counts once"


def test_a_lot_is_counted_where_it_lies():
    place, elsewhere = make_place(code="A1"), make_place(code="B2", name="loft")
    lot = make_lot(label="A12", place=elsewhere)
    with Says("Lot A12 doesn't lie in A1 any more but in B2 loft. Count it there."):
        services.count_place(place=place, weighed={lot.pk: (1, None)}, by=None, key="c")
    with Says("Nothing of what lies in A1 was weighed: 0 lots. Write the grams beside one at least."):
        services.count_place(place=place, weighed={}, by=None, key="c")


def test_every_change_of_grams_marks_the_yarn_and_a_move_does_not():
    lot = make_lot(place=make_place())
    OutlookMark.objects.all().delete()
    services.move(lot=lot, place=make_place(), by=None)
    assert not OutlookMark.objects.exists()
    services.record_waste(lot=lot, grams=1, reason="oil", by=None)
    assert OutlookMark.objects.get().yarn == lot.yarn
    OutlookMark.objects.all().delete()
    services.quarantine(lot=lot, reason="moth", by=None)
    assert OutlookMark.objects.get().yarn == lot.yarn


@hypothesis.settings(max_examples=15, suppress_health_check=[hypothesis.HealthCheck.function_scoped_fixture])
@hypothesis.given(weighed_g=st.integers(0, 12_000), regain=st.none() | st.decimals(1, 30, places=2))
def test_what_a_count_would_change_is_what_it_changes(weighed_g, regain):
    """Whatever is looked at before stands in the ledger after: no more, no less, and nothing of it before."""
    with transaction.atomic():
        place = make_place(code=f"P{Place.objects.count()}")
        lot = make_lot(place=place)
        before = Movement.objects.count()
        (seen,) = services.differences(place, {lot.pk: (weighed_g, regain)})
        assert Movement.objects.count() == before
        assert seen.off_g == seen.explained_g + seen.left_g
        (line,) = services.count_place(place=place, weighed={lot.pk: (weighed_g, regain)}, by=None, key="")
        assert (line.change_g, line.on_hand_after_g) == (seen.left_g, seen.reckoned_g)
        transaction.set_rollback(True)
