"""Warps: put together, split, joined, on beams, with yarn, and step by step to woven out."""

from datetime import date
from decimal import Decimal

import pytest
from django.db.models import Sum

from inventory.models import Movement, Yarn, YarnDemand, YarnLot
from inventory.services import check_invariants, draw_down, quarantine, release, return_to_stock, reverse
from mill import jobs
from mill.refusal import Refusal
from planning.models import Beam, JobTicket, Loom, OrderLine, Piece, Warp, WarpHold, WarpPart
from planning.services import cloths, line_states, lot_shares, warp_steps, warp_yarn, warps, working_out
from planning.services.warps import Share
from tests.make import (
    make_beam,
    make_line,
    make_loom,
    make_lot,
    make_spec,
    make_ticket,
    make_yarn,
)
from tests.make import make_warp as put_warp

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def the_ledger_holds():
    yield
    check_invariants()


@pytest.fixture
def tweed(db):
    """A tweed of two yarns in the warp and the weft, a beam, a loom."""
    yarns = {"A": make_yarn(code="MOSS", name="Moss"), "B": make_yarn(code="CREAM", name="Cream")}
    spec = make_spec(yarns=yarns)
    make_beam(code="B1")
    make_loom(code="L1")
    return spec


def make_warp(*lines, by, **pieces):
    warp = warps.make_warp([Share(line, line.pieces) for line in lines], by=by)
    jobs.settle()
    warp.refresh_from_db()
    return warp


def stock(*, grams=100_000, dye_lot="881"):
    """Enough of both yarns of the tweed, in one dye lot each."""
    return [
        make_lot(yarn=yarn, grams=grams, dye_lot=dye_lot) for yarn in Yarn.objects.filter(code__in=["MOSS", "CREAM"])
    ]


def drawn(warp, *, by):
    stock()
    warp_yarn.hold_yarn(warp, by=by)
    warp = warp_steps.draw_yarn(warp, by=by)
    jobs.settle()
    return warp


def state_of(line):
    line.refresh_from_db()
    return line.state


# Putting together


def test_a_warp_of_two_lines_gets_the_next_number_a_beam_and_its_lines_are_on_it(tweed, planner):
    put_warp(spec=make_spec(), number=7)
    one, two = make_line(spec=tweed, pieces=2), make_line(spec=tweed, pieces=1)
    warp = make_warp(one, two, by=planner)
    assert (warp.number, warp.state, warp.beam.code) == (8, Warp.PLANNED, "B1")
    assert [(part.line, part.pieces, part.spec) for part in warp.parts.all()] == [(one, 2, tweed), (two, 1, tweed)]
    assert {state_of(one), state_of(two)} == {OrderLine.ON_A_WARP}
    # 3 x (68.7 + 0.5) + 3 of the tweed's 60 m pieces.
    assert warp.worked.warp_length_m == 3 * (Decimal("68.7") + Decimal("0.5")) + 3
    assert warp.history.get().history_user == planner


def test_half_a_line_on_a_warp_leaves_the_line_entered(tweed, planner):
    line = make_line(spec=tweed, pieces=4)
    warps.make_warp([Share(line, 3)], by=planner)
    assert state_of(line) == OrderLine.ENTERED
    assert line_states.free_pieces([line]) == {line.pk: 1}
    warps.make_warp([Share(line, 1)], by=planner)
    assert state_of(line) == OrderLine.ON_A_WARP


def test_more_pieces_than_are_left_are_refused_and_nothing_is_made(tweed, planner):
    line = make_line(spec=tweed, pieces=4)
    warp = warps.make_warp([Share(line, 3)], by=planner)
    with pytest.raises(
        Refusal, match=rf"has 1 of its 4 pieces left; the others are on {warp}; 2 are asked for. Write 1"
    ):
        warps.make_warp([Share(line, 2)], by=planner)
    with pytest.raises(Refusal, match=r"There is nothing to put on a warp"):
        warps.make_warp([], by=planner)
    assert Warp.objects.count() == 1


def test_lines_of_two_warps_are_refused_with_what_keeps_them_apart(tweed, planner):
    other = make_spec(finished_width_cm=Decimal("120.0"))
    with pytest.raises(Refusal, match=r"can't share a warp: ends 1500 and 1200. Wind them apart"):
        warps.make_warp([Share(make_line(spec=tweed), 2), Share(make_line(spec=other), 2)], by=planner)


def test_one_warp_may_carry_two_cloths_that_only_the_weft_tells_apart(tweed, planner):
    yarns = {entry.letter: entry.yarn for entry in tweed.colourway_yarns.all()}
    checked = make_spec(yarns=yarns, weft_order="A4 B4")
    warp = make_warp(make_line(spec=tweed), make_line(spec=checked), by=planner)
    assert warp.worked.trouble == ""
    assert warp.worked.ends == 1500


def test_a_called_off_line_goes_on_no_warp(tweed, planner):
    line = make_line(spec=tweed, state=OrderLine.CALLED_OFF)
    with pytest.raises(Refusal, match=r"was called off"):
        warps.make_warp([Share(line, 1)], by=planner)


# Beams


def test_the_smallest_beam_that_is_free_and_takes_the_warp_is_chosen(tweed, planner):
    make_beam(code="NARROW", width_cm=Decimal("170.0"))
    small = make_beam(code="SMALL", width_cm=Decimal("180.0"))
    one = make_warp(make_line(spec=tweed), by=planner)
    two = make_warp(make_line(spec=tweed), by=planner)
    assert [one.beam, two.beam.code] == [small, "B1"]


def test_when_every_beam_that_fits_is_kept_the_warp_waits_for_one(tweed, planner):
    make_warp(make_line(spec=tweed), by=planner)
    second = make_warp(make_line(spec=tweed), by=planner)
    assert second.beam is None


def test_no_beam_large_enough_is_refused_with_both_numbers(tweed, planner):
    line = make_line(spec=tweed, pieces=60)
    with pytest.raises(
        Refusal,
        match=r"the nearest is B1: the warp is 779.063 kg of yarn, the beam holds .* kg at 400.0 kg/m³. Split the warp",
    ):
        warps.make_warp([Share(line, 60)], by=planner)
    assert state_of(line) == OrderLine.ENTERED


def test_a_beam_whose_flanges_no_loom_clears_is_not_chosen(tweed, planner):
    Loom.objects.update(max_flange_mm=500)
    Beam.objects.update(flange_mm=760)
    low = make_beam(code="LOW", flange_mm=480)
    assert make_warp(make_line(spec=tweed), by=planner).beam == low


def test_choosing_a_beam_says_why_it_cant_be(tweed, planner):
    warp = make_warp(make_line(spec=tweed), by=planner)
    narrow = make_beam(code="NARROW", width_cm=Decimal("150.0"))
    with pytest.raises(Refusal, match=r"Beam NARROW: the warp is 177.4 cm wide in the reed, the beam 150.0 cm"):
        warps.choose_beam(warp, narrow, by=planner)
    other = make_warp(make_line(spec=tweed), by=planner)
    with pytest.raises(Refusal, match=f"Beam B1 is kept for {warp}, which is planned"):
        warps.choose_beam(other, warp.beam, by=planner)
    wide = make_beam(code="WIDE", width_cm=Decimal("220.0"))
    assert warps.choose_beam(other, wide, by=planner).beam == wide
    away = make_beam(code="AWAY", is_in_use=False)
    with pytest.raises(Refusal, match=r"Beam AWAY is not in use"):
        warps.choose_beam(warp, away, by=planner)


def test_the_list_of_beams_shows_the_free_ones_that_fit_first(tweed, planner):
    warp = make_warp(make_line(spec=tweed), by=planner)
    make_beam(code="NARROW", width_cm=Decimal("150.0"))
    make_beam(code="FREE", width_cm=Decimal("210.0"))
    choices = warps.beam_choices(warp)
    assert [choice.beam.code for choice in choices] == ["B1", "FREE", "NARROW"]
    assert choices[0].taken_by is None
    assert choices[2].why_not
    assert choices[0].gross_kg > choices[0].beam.tare_kg
    assert choices[0].holds_m > warp.worked.warp_length_m


# Parts


def test_parts_change_places_and_a_second_tap_changes_nothing_twice(tweed, planner):
    one, two, three = (make_line(spec=tweed, pieces=1) for _ in range(3))
    warp = make_warp(one, two, three, by=planner)
    ids = list(warp.parts.values_list("pk", flat=True))
    seen = warps.parts_seen(warp)
    warps.move_part(warp, ids[2], earlier=True, by=planner, seen=seen)
    assert [part.line for part in warp.parts.all()] == [one, three, two]
    with pytest.raises(Refusal, match=r"has been changed since this page was opened"):
        warps.move_part(warp, ids[2], earlier=True, by=planner, seen=seen)
    warps.move_part(warp, ids[0], earlier=True, by=planner)
    assert [part.line for part in warp.parts.all()] == [one, three, two]


def test_a_split_leaves_so_many_pieces_and_winds_the_others_apart(tweed, planner):
    make_beam(code="B2")
    one, two = make_line(spec=tweed, pieces=2), make_line(spec=tweed, pieces=3)
    warp = make_warp(one, two, by=planner)
    make_ticket(warp)
    warp, other = warps.split(warp, after=3, by=planner)
    jobs.settle()
    assert [(part.line, part.pieces) for part in warp.parts.all()] == [(one, 2), (two, 1)]
    assert [(part.line, part.pieces) for part in other.parts.all()] == [(two, 2)]
    other.refresh_from_db()
    assert (warp.beam.code, other.beam.code) == ("B1", "B2")
    assert other.worked.warp_length_m == 2 * (Decimal("68.7") + Decimal("0.5")) + 3
    assert JobTicket.objects.get().overtaken_why == f"2 of its 5 pieces went on {other}."
    assert {state_of(one), state_of(two)} == {OrderLine.ON_A_WARP}


@pytest.mark.parametrize("after", [0, 5, 7])
def test_a_split_needs_a_piece_on_both_sides(tweed, planner, after):
    warp = make_warp(make_line(spec=tweed, pieces=5), by=planner)
    with pytest.raises(Refusal, match=f"has 5 pieces; {after} can't stay on it when it is split. Write 1 to 4"):
        warps.split(warp, after=after, by=planner)
    assert Warp.objects.count() == 1


def test_two_warps_are_joined_and_woven_in_the_order_of_their_due_dates(tweed, planner):
    late, soon = make_line(spec=tweed, due_on=date(2026, 7, 1)), make_line(spec=tweed, due_on=date(2026, 6, 1))
    warp, other = make_warp(late, by=planner), make_warp(soon, by=planner)
    warps.join(warp, other, by=planner)
    jobs.settle()
    assert [part.line for part in warp.parts.all()] == [soon, late]
    assert not Warp.objects.filter(pk=other.pk).exists()
    assert list(working_out.audit_differences()) == []
    warp.refresh_from_db()
    assert warp.worked.warp_length_m == 4 * (Decimal("68.7") + Decimal("0.5")) + 3


def test_two_parts_of_one_line_become_one_when_their_warps_are_joined(tweed, planner):
    line = make_line(spec=tweed, pieces=4)
    one, two = warps.make_warp([Share(line, 1)], by=planner), warps.make_warp([Share(line, 3)], by=planner)
    warps.join(one, two, by=planner)
    assert [(part.line, part.pieces) for part in one.parts.all()] == [(line, 4)]


def test_warps_of_different_cloths_are_not_joined(tweed, planner):
    warp = make_warp(make_line(spec=tweed), by=planner)
    other = make_warp(make_line(spec=make_spec(finished_width_cm=Decimal("120.0"))), by=planner)
    with pytest.raises(Refusal, match=r"can't share a warp"):
        warps.join(warp, other, by=planner)
    with pytest.raises(Refusal, match=r"can't be joined with itself"):
        warps.join(warp, warp, by=planner)
    assert Warp.objects.count() == 2


def test_joined_warps_that_no_beam_takes_stay_as_they_were(tweed, planner):
    make_beam(code="B2")
    warp, other = (make_warp(make_line(spec=tweed, pieces=14), by=planner) for _ in range(2))
    with pytest.raises(Refusal, match=r"No beam takes this warp; the nearest is B[12]: "):
        warps.join(warp, other, by=planner)
    assert [w.parts.get().pieces for w in Warp.objects.all()] == [14, 14]


def test_what_comes_off_waits_for_a_warp_again_and_an_empty_warp_leaves_the_book(tweed, planner):
    one, two = make_line(spec=tweed), make_line(spec=tweed)
    warp = make_warp(one, two, by=planner)
    first, second = warp.parts.all()
    warps.take_off(warp, first.pk, by=planner)
    assert (state_of(one), state_of(two)) == (OrderLine.ENTERED, OrderLine.ON_A_WARP)
    assert warps.take_off(warp, first.pk, by=planner) == warp, "a second tap finds it off"
    assert warps.take_off(warp, second.pk, by=planner) is None
    assert not Warp.objects.exists()
    assert state_of(two) == OrderLine.ENTERED


def test_an_empty_warp_with_a_ticket_stays_since_the_ticket_names_it(tweed, planner):
    warp = make_warp(make_line(spec=tweed), by=planner)
    ticket = make_ticket(warp)
    warps.take_apart(warp, by=planner)
    warp.refresh_from_db()
    ticket.refresh_from_db()
    assert (warp.state, warp.beam, warp.parts.count()) == (Warp.PROPOSED, None, 0)
    assert ticket.overtaken_why == "Taken apart."
    warps.put_on(warp, make_line(spec=tweed), pieces=1, by=planner)
    warp.refresh_from_db()
    assert (warp.state, warp.beam.code) == (Warp.PLANNED, "B1")


def test_a_locked_warp_is_left_as_it_is(tweed, planner):
    warp = make_warp(make_line(spec=tweed, pieces=4), by=planner)
    other = make_warp(make_line(spec=tweed), by=planner)
    warps.lock_warp(warp, is_locked=True, by=planner)
    acts = [
        lambda: warps.split(warp, after=1, by=planner),
        lambda: warps.join(other, warp, by=planner),
        lambda: warps.take_off(warp, warp.parts.get().pk, by=planner),
        lambda: warps.take_apart(warp, by=planner),
        lambda: warps.put_on(warp, make_line(spec=tweed), pieces=1, by=planner),
    ]
    for act in acts:
        with pytest.raises(Refusal, match=r"is locked. Unlock it"):
            act()
    warps.lock_warp(warp, is_locked=False, by=planner)
    warps.take_apart(warp, by=planner)


def test_pieces_put_on_a_warp_join_the_part_of_their_line(tweed, planner):
    line = make_line(spec=tweed, pieces=4)
    warp = warps.make_warp([Share(line, 1)], by=planner)
    warps.put_on(warp, line, pieces=2, by=planner)
    assert warp.parts.get().pieces == 3
    with pytest.raises(Refusal, match=r"has 1 of its 4 pieces left"):
        warps.put_on(warp, line, pieces=2, by=planner)


# Yarn


def test_yarn_is_held_by_lot_with_one_dye_lot_a_colour_and_a_second_tap_holds_nothing(tweed, planner):
    warp = make_warp(make_line(spec=tweed), by=planner)
    stock()
    assert warp_yarn.hold_yarn(warp, by=planner) == []
    held = {(hold.use, hold.yarn.code): warp_yarn.remaining_g(hold) for hold in warp.holds.all()}
    needs = {(need.use, need.yarn.code): need.issue_g for need in warp.yarns.all()}
    assert held == needs
    assert set(held) == {("warp", "MOSS"), ("warp", "CREAM"), ("weft", "MOSS"), ("weft", "CREAM")}
    before = Movement.objects.count()
    assert warp_yarn.hold_yarn(warp, by=planner) == []
    assert Movement.objects.count() == before


def test_what_is_short_is_said_and_the_rest_is_held(tweed, planner):
    warp = make_warp(make_line(spec=tweed), by=planner)
    make_lot(yarn=Yarn.objects.get(code="MOSS"), grams=100_000)
    short = warp_yarn.hold_yarn(warp, by=planner)
    assert len(short) == 2
    assert all("CREAM" in sentence and "short" in sentence for sentence in short)
    assert {hold.yarn.code for hold in warp.holds.all()} == {"MOSS"}


def test_nothing_to_hold_at_all_is_a_refusal(tweed, planner):
    warp = make_warp(make_line(spec=tweed), by=planner)
    with pytest.raises(Refusal, match=r"0 g are free"):
        warp_yarn.hold_yarn(warp, by=planner)


def test_a_chosen_dye_lot_is_held_instead_of_the_one_proposed(tweed, planner):
    warp = make_warp(make_line(spec=tweed), by=planner)
    stock(dye_lot="881")
    moss = Yarn.objects.get(code="MOSS")
    newer = make_lot(yarn=moss, grams=50_000, dye_lot="904", received_on=date(2026, 2, 1))
    warp_yarn.hold_yarn(warp, by=planner, chosen={("warp", moss.pk): "904"})
    assert warp.holds.get(use="warp", yarn=moss).reservation.lot == newer
    assert warp.holds.get(use="weft", yarn=moss).reservation.lot.dye_lot == "881"


def test_the_consequence_of_each_dye_lot_is_said(tweed, planner):
    warp = make_warp(make_line(spec=tweed), by=planner)
    moss = Yarn.objects.get(code="MOSS")
    need_g = warp.yarns.get(use="warp", yarn=moss).issue_g
    make_lot(yarn=moss, grams=need_g + 500, dye_lot="LITTLE", received_on=date(2025, 1, 1))
    make_lot(yarn=moss, grams=need_g + 9000, dye_lot="MUCH", received_on=date(2025, 6, 1))
    make_lot(yarn=moss, grams=1000, dye_lot="SHORT", received_on=date(2024, 1, 1))
    state = next(s for s in warp_yarn.states(warp) if (s.need.use, s.need.yarn) == ("warp", moss))
    said = {one.dye_lot: one.consequence.replace("\u202f", " ") for one in state.dye_lots}
    assert state.choice.dye_lots == ("MUCH",)
    assert "leaves 500 g, less than the 3000 g that are of use" in said["LITTLE"]
    assert "leaves 9000 g" in said["MUCH"]
    assert "short: a warp takes one dye lot" in said["SHORT"]
    assert [one.is_chosen for one in state.dye_lots] == [True, False, False]


def test_two_dye_lots_of_a_colour_never_meet_in_a_warp(tweed, planner):
    warp = make_warp(make_line(spec=tweed), by=planner)
    moss = Yarn.objects.get(code="MOSS")
    one, two = (make_lot(yarn=moss, grams=20_000, dye_lot=dye_lot) for dye_lot in ("881", "904"))
    warp_yarn.hold_lot(warp, lot=one, use="warp", grams=5000, by=planner)
    with pytest.raises(Refusal, match=f"of dye lot 881 .lot {one}.; lot {two} is of dye lot 904. A warp takes one"):
        warp_yarn.hold_lot(warp, lot=two, use="warp", grams=5000, by=planner)
    # The weft may change its dye lot.
    warp_yarn.hold_lot(warp, lot=two, use="weft", grams=5000, by=planner)
    # What is held further keeps to the dye lot that was begun.
    warp_yarn.hold_yarn(warp, by=planner)
    assert {hold.reservation.lot.dye_lot for hold in warp.holds.filter(use="warp", yarn=moss)} == {"881"}


def test_two_dye_lots_never_meet_in_a_piece_of_the_weft(tweed, planner):
    warp = make_warp(make_line(spec=tweed), by=planner)
    moss = Yarn.objects.get(code="MOSS")
    one, two = (make_lot(yarn=moss, grams=20_000, dye_lot=dye_lot) for dye_lot in ("881", "904"))
    piece_g = warp.yarns.get(use="weft", yarn=moss).issue_g // 2
    warp_yarn.hold_lot(warp, lot=one, use="weft", grams=piece_g - 300, by=planner)
    with pytest.raises(Refusal, match=rf"held in part of dye lot 881, takes 30. g more of it; lot {two} is of dye lot"):
        warp_yarn.hold_lot(warp, lot=two, use="weft", grams=5000, by=planner)
    # What is held further ends the piece of its own dye lot, whatever is older.
    warp_yarn.hold_yarn(warp, by=planner, chosen={("weft", moss.pk): ""})
    state = next(s for s in warp_yarn.states(warp) if (s.need.use, s.need.yarn) == ("weft", moss))
    assert state.left_g == 0
    assert state.holds[1].reservation.lot == one


def test_a_lot_beyond_the_need_or_of_another_yarn_is_refused(tweed, planner):
    warp = make_warp(make_line(spec=tweed), by=planner)
    lots = stock()
    need_g = warp.yarns.get(use="warp", yarn=lots[0].yarn).issue_g
    with pytest.raises(Refusal, match=r"still needs"):
        warp_yarn.hold_lot(warp, lot=lots[0], use="warp", grams=need_g + 1, by=planner)
    with pytest.raises(Refusal, match=r"takes no .* in the warp"):
        warp_yarn.hold_lot(warp, lot=make_lot(), use="warp", grams=1, by=planner)


def test_yarn_let_go_is_free_again_and_the_warp_can_change(tweed, planner):
    warp = make_warp(make_line(spec=tweed, pieces=3), by=planner)
    stock()
    warp_yarn.hold_yarn(warp, by=planner)
    with pytest.raises(Refusal, match=r"Yarn is held for .* Let it go first, then the warp can be split"):
        warps.split(warp, after=1, by=planner)
    grams = warp_yarn.release_holds(warp, by=planner)
    assert grams == sum(need.issue_g for need in warp.yarns.all())
    assert warp_yarn.release_holds(warp, by=planner) == 0
    assert not WarpHold.objects.exists()
    assert {lot.available_g for lot in YarnLot.objects.with_balance()} == {100_000}
    warps.split(warp, after=1, by=planner)


def test_what_the_store_draws_out_of_a_warps_hold_is_drawn_for_the_warp(tweed, planner):
    warp = make_warp(make_line(spec=tweed, pieces=3), by=planner)
    stock()
    warp_yarn.hold_yarn(warp, by=planner)
    hold = warp.holds.filter(use="warp", yarn__code="MOSS").get()
    held_g = warp_yarn.remaining_g(hold)
    draw = draw_down(reservation=hold.reservation, grams=4_000, by=planner)
    jobs.settle()
    state = next(state for state in warp_yarn.states(warp) if state.key == f"warp-{hold.yarn_id}")
    assert (state.held_g, state.drawn_g, state.left_g) == (held_g - 4_000, 4_000, 0), "nothing is asked for twice"
    wanted = YarnDemand.objects.filter(yarn=hold.yarn, use="warp").aggregate(g=Sum("grams"))["g"]
    assert wanted == held_g - 4_000, "and planned work draws what is left"
    assert list(working_out.audit_differences()) == []
    with pytest.raises(Refusal, match=r"Yarn is drawn for .* Take the draw back on the lot's page first"):
        warps.split(warp, after=1, by=planner)
    reverse(movement=draw, reason="the wrong shelf", by=planner)
    jobs.settle()
    hold.refresh_from_db()
    assert (hold.drawn_g, hold.is_drawn, warp_yarn.remaining_g(hold)) == (0, False, held_g)
    assert list(working_out.audit_differences()) == []


def test_a_warp_that_yarn_was_drawn_for_stays_when_it_is_taken_apart(tweed, planner):
    warp = make_warp(make_line(spec=tweed), by=planner)
    lots = stock()
    warp_yarn.hold_yarn(warp, by=planner)
    hold = warp.holds.filter(use="warp", yarn=lots[0].yarn).get()
    draw_down(reservation=hold.reservation, grams=1_000, by=planner)
    jobs.settle()
    warps.take_apart(warp, by=planner)
    jobs.settle()
    assert (Warp.objects.get().parts.count(), WarpHold.objects.get().drawn_g) == (0, 1_000), "the ledger names it"


def test_what_was_let_go_on_the_lots_page_binds_the_warp_to_no_dye_lot(tweed, planner):
    warp = make_warp(make_line(spec=tweed, pieces=3), by=planner)
    stock()
    warp_yarn.hold_yarn(warp, by=planner)
    stock(dye_lot="904")
    for hold in warp.holds.filter(yarn__code="MOSS"):
        quarantine_once(hold.reservation.lot, by=planner)
        release(reservation=hold.reservation, by=planner)
    state = next(
        state for state in warp_yarn.states(warp) if (state.need.use, state.need.yarn.code) == ("warp", "MOSS")
    )
    assert (state.holds, state.choice.dye_lots) == ((), ("904",))
    (shares,) = lot_shares.propose(yarns=[state.need.yarn_id])
    assert {line.choice.dye_lots for line in shares.lines} == {("904",)}
    for hold in warp.holds.filter(yarn__code="CREAM"):
        release(reservation=hold.reservation, by=planner)
    warps.split(warp, after=1, by=planner)


def quarantine_once(lot, *, by):
    lot.refresh_from_db()
    if not lot.is_quarantined:
        quarantine(lot=lot, reason="moth", by=by)


def test_yarn_is_not_drawn_before_all_of_the_warp_is_held(tweed, planner):
    warp = make_warp(make_line(spec=tweed), by=planner)
    with pytest.raises(Refusal, match=r"takes .* g of .*; 0 g are held. Hold the rest first"):
        warp_steps.draw_yarn(warp, by=planner)


def test_drawing_takes_the_warp_yarn_and_leaves_the_weft_held(tweed, planner):
    line = make_line(spec=tweed)
    warp = make_warp(line, by=planner)
    warp = drawn(warp, by=planner)
    assert warp.state == Warp.YARN_DRAWN
    for hold in warp.holds.all():
        need = warp.yarns.get(use=hold.use, yarn=hold.yarn)
        expected = (need.issue_g, 0) if hold.use == "warp" else (0, need.issue_g)
        assert (hold.drawn_g, warp_yarn.remaining_g(hold)) == expected
    assert list(working_out.audit_differences()) == []
    before = Movement.objects.count()
    assert warp_steps.draw_yarn(warp, by=planner).state == Warp.YARN_DRAWN
    assert Movement.objects.count() == before, "a second tap draws nothing"


def test_weft_is_drawn_once_the_warp_is(tweed, planner):
    warp = make_warp(make_line(spec=tweed), by=planner)
    with pytest.raises(Refusal, match=r"weft is drawn once its warp yarn is"):
        warp_steps.draw_weft(warp, by=planner)
    warp = drawn(warp, by=planner)
    grams = warp_steps.draw_weft(warp, by=planner)
    assert grams == sum(need.issue_g for need in warp.yarns.filter(use="weft"))
    assert warp_steps.draw_weft(warp, by=planner) == 0


def test_a_lot_in_quarantine_is_neither_chosen_nor_drawn(tweed, planner):
    warp = make_warp(make_line(spec=tweed), by=planner)
    for lot in stock():
        quarantine(lot=lot, reason="moth", by=planner)
    with pytest.raises(Refusal, match=r"it is in quarantine"):
        warp_yarn.hold_yarn(warp, by=planner)


# Steps


def at_loom(warp, *, by):
    warp = drawn(warp, by=by)
    warp = warp_steps.wind(warp, by=by)
    warp = warp_steps.gait(warp, loom=Loom.objects.get(code="L1"), by=by)
    jobs.settle()
    return warp


def test_a_warp_goes_its_way_and_line_beam_and_loom_go_with_it(tweed, planner):
    line = make_line(spec=tweed)
    warp = make_warp(line, by=planner)
    warp = drawn(warp, by=planner)
    assert state_of(line) == OrderLine.ON_A_WARP
    warp = warp_steps.wind(warp, by=planner)
    loom = Loom.objects.get(code="L1")
    warp = warp_steps.gait(warp, loom=loom, by=planner)
    loom.refresh_from_db()
    assert (loom.gaited_family, loom.gaited_reed) == (warp.worked.family_key, "42.3")
    assert state_of(line) == OrderLine.IN_LOOM
    warp = warp_steps.begin_weaving(warp, by=planner)
    warp_steps.draw_weft(warp, by=planner)
    warp = warp_steps.weave_out(warp, by=planner)
    assert (warp.state, warp.picks_woven) == (Warp.WOVEN_OUT, warp.worked.picks)
    assert state_of(line) == OrderLine.GREY
    assert make_warp(make_line(spec=tweed), by=planner).beam == warp.beam, "the beam is free again"
    assert not working_out.YarnDemand.objects.filter(source=f"warp:{warp.pk}").exists()
    told = list(warp.history.values_list("state", "history_user__username").order_by("history_id"))
    assert [state for state, _ in told] == [
        Warp.PLANNED,
        Warp.YARN_DRAWN,
        Warp.WOUND,
        Warp.GAITED,
        Warp.WEAVING,
        Warp.WOVEN_OUT,
    ]
    assert {name for _, name in told} == {"planner"}


def test_every_step_is_taken_once_however_often_it_is_tapped(tweed, planner):
    warp = at_loom(make_warp(make_line(spec=tweed), by=planner), by=planner)
    loom = Loom.objects.get(code="L1")
    steps = warp.history.count()
    assert warp_steps.gait(warp, loom=loom, by=planner).state == Warp.GAITED
    assert warp.history.count() == steps
    for step in (warp_steps.begin_weaving, warp_steps.weave_out):
        step(warp, by=planner)
        step(warp, by=planner)
    assert warp.history.count() == steps + 2


@pytest.mark.parametrize(
    ("step", "sentence"),
    [
        (lambda warp, by: warp_steps.wind(warp, by=by), "is planned; it must be yarn drawn before it is wound"),
        (
            lambda warp, by: warp_steps.gait(warp, loom=make_loom(), by=by),
            "is planned; it must be wound before it is gaited",
        ),
        (lambda warp, by: warp_steps.begin_weaving(warp, by=by), "is planned; it must be gaited before it is weaving"),
        (lambda warp, by: warp_steps.weave_out(warp, by=by), "is planned; it must be weaving before it is woven out"),
    ],
)
def test_no_step_is_left_out(tweed, planner, step, sentence):
    warp = make_warp(make_line(spec=tweed), by=planner)
    with pytest.raises(Refusal, match=sentence):
        step(warp, planner)
    warp.refresh_from_db()
    assert warp.state == Warp.PLANNED


def test_a_step_behind_is_refused(tweed, planner):
    warp = at_loom(make_warp(make_line(spec=tweed), by=planner), by=planner)
    with pytest.raises(Refusal, match=r"is gaited; it was wound before"):
        warp_steps.wind(warp, by=planner)


def test_a_warp_is_not_wound_on_no_beam_or_on_a_full_one(tweed, planner):
    warp = drawn(make_warp(make_line(spec=tweed), by=planner), by=planner)
    beam = warp.beam
    Warp.objects.filter(pk=warp.pk).update(beam=None)
    with pytest.raises(Refusal, match=r"has no beam yet"):
        warp_steps.wind(warp, by=planner)
    Warp.objects.filter(pk=warp.pk).update(beam=beam)
    full = put_warp(spec=tweed, state=Warp.WOUND, beam=beam)
    with pytest.raises(Refusal, match=f"Beam B1 holds {full}, which is wound"):
        warp_steps.wind(warp, by=planner)


def test_a_loom_takes_one_warp_at_a_time_and_only_one_that_fits(tweed, planner):
    warp = drawn(make_warp(make_line(spec=tweed), by=planner), by=planner)
    warp_steps.wind(warp, by=planner)
    loom = Loom.objects.get(code="L1")
    other = put_warp(spec=tweed, state=Warp.WEAVING, loom=loom)
    working_out.warps_changed([other.pk])
    jobs.settle()
    with pytest.raises(Refusal, match=rf"{other} hangs in loom L1 and is weaving, with \d+ picks to go"):
        warp_steps.gait(warp, loom=loom, by=planner)
    narrow = make_loom(code="N1", reed_space_cm=Decimal("150.0"))
    with pytest.raises(Refusal, match=r"Loom N1 can't take"):
        warp_steps.gait(warp, loom=narrow, by=planner)
    held = make_loom(code="H1", is_held=True, held_reason="broken picking stick")
    with pytest.raises(Refusal, match=r"Loom H1 is held: broken picking stick"):
        warp_steps.gait(warp, loom=held, by=planner)


def test_a_drawn_warp_is_no_longer_split_and_its_beam_not_changed_once_wound(tweed, planner):
    warp = drawn(make_warp(make_line(spec=tweed, pieces=3), by=planner), by=planner)
    with pytest.raises(Refusal, match=r"is yarn drawn: it can't be split any more"):
        warps.split(warp, after=1, by=planner)
    other = make_beam(code="B9")
    assert warps.choose_beam(warp, other, by=planner).beam == other
    warp_steps.wind(warp, by=planner)
    with pytest.raises(Refusal, match=r"is wound on beam B9"):
        warps.choose_beam(warp, None, by=planner)


# Back


def test_a_step_back_asks_why_and_is_taken_once(tweed, planner):
    warp = drawn(make_warp(make_line(spec=tweed), by=planner), by=planner)
    warp_steps.wind(warp, by=planner)
    with pytest.raises(Refusal, match=r"Say why"):
        warp_steps.step_back(warp, reason=" ", by=planner)
    for _ in range(2):
        warp = warp_steps.step_back(warp, reason="it was warp 9", by=planner, seen_state=Warp.WOUND)
    assert warp.state == Warp.YARN_DRAWN
    assert warp.history.first().history_change_reason == "it was warp 9"


def test_going_back_to_planned_puts_the_yarn_back_held_and_follows_revisions_again(tweed, planner):
    warp = drawn(make_warp(make_line(spec=tweed), by=planner), by=planner)
    draft = cloths.draft_of(tweed)
    revised = cloths.revise(
        tweed.cloth,
        cloths.SpecDraft({**draft.columns, "loom_picks_per_cm": Decimal("9.000")}, draft.route, draft.colourways),
        by=planner,
    )
    assert warp.parts.get().spec == tweed, "what is drawn keeps its revision"
    warp = warp_steps.step_back(warp, reason="wrong warp", by=planner)
    jobs.settle()
    assert warp.state == Warp.PLANNED
    assert warp.parts.get().spec == revised
    assert {lot.on_hand_g for lot in YarnLot.objects.with_balance()} == {100_000}
    assert set(warp.holds.values_list("drawn_g", flat=True)) == {0}
    assert list(working_out.audit_differences()) == []
    warp_yarn.hold_yarn(warp, by=planner)
    assert warp_steps.draw_yarn(warp, by=planner).state == Warp.YARN_DRAWN, "and it can be drawn again"


def test_yarn_that_has_come_back_keeps_its_draw_from_being_taken_back(tweed, planner):
    warp = drawn(make_warp(make_line(spec=tweed), by=planner), by=planner)
    hold = warp.holds.filter(use="warp").first()
    return_to_stock(lot=hold.reservation.lot, reservation=hold.reservation, grams=100, by=planner)
    with pytest.raises(Refusal, match=r"Take back what was returned first"):
        warp_steps.step_back(warp, reason="wrong warp", by=planner)
    warp.refresh_from_db()
    assert warp.state == Warp.YARN_DRAWN


def test_a_warp_taken_out_of_the_loom_leaves_it_as_it_was_before(tweed, planner):
    first = at_loom(make_warp(make_line(spec=tweed), by=planner), by=planner)
    for step in (warp_steps.begin_weaving, warp_steps.weave_out):
        step(first, by=planner)
    family = Loom.objects.get(code="L1").gaited_family
    wide = make_spec(reed_dents_per_10cm=Decimal("40.000"))
    second = make_warp(make_line(spec=wide), by=planner)
    for entry in wide.colourway_yarns.all():
        make_lot(yarn=entry.yarn, grams=50_000)
    warp_yarn.hold_yarn(second, by=planner)
    second = at_loom_again(second, by=planner)
    assert Loom.objects.get(code="L1").gaited_reed == "40"
    second = warp_steps.step_back(second, reason="wrong loom", by=planner)
    loom = Loom.objects.get(code="L1")
    assert (second.state, second.loom) == (Warp.WOUND, None)
    assert (loom.gaited_family, loom.gaited_reed) == (family, "42.3")


def at_loom_again(warp, *, by):
    warp = warp_steps.draw_yarn(warp, by=by)
    jobs.settle()
    warp = warp_steps.wind(warp, by=by)
    warp = warp_steps.gait(warp, loom=Loom.objects.get(code="L1"), by=by)
    jobs.settle()
    return warp


def test_weaving_is_not_taken_back_once_there_is_cloth(tweed, planner):
    line = make_line(spec=tweed)
    warp = at_loom(make_warp(line, by=planner), by=planner)
    warp = warp_steps.begin_weaving(warp, by=planner)
    Warp.objects.filter(pk=warp.pk).update(picks_woven=500)
    with pytest.raises(Refusal, match=r"has 500 picks woven and 0 pieces off the loom"):
        warp_steps.step_back(warp, reason="by mistake", by=planner)
    Warp.objects.filter(pk=warp.pk).update(picks_woven=0)
    assert warp_steps.step_back(warp, reason="by mistake", by=planner).state == Warp.GAITED


def test_a_woven_out_warp_is_not_put_back_into_a_loom_that_has_another(tweed, planner):
    warp = at_loom(make_warp(make_line(spec=tweed), by=planner), by=planner)
    for step in (warp_steps.begin_weaving, warp_steps.weave_out):
        step(warp, by=planner)
    other = put_warp(spec=tweed, state=Warp.GAITED, loom=warp.loom)
    with pytest.raises(Refusal, match=f"{other} hangs in loom L1 by now"):
        warp_steps.step_back(warp, reason="not quite out", by=planner)
    Warp.objects.filter(pk=other.pk).update(state=Warp.WOUND, loom=None)
    assert warp_steps.step_back(warp, reason="not quite out", by=planner).state == Warp.WEAVING


def test_there_is_no_step_back_from_planned(tweed, planner):
    with pytest.raises(Refusal, match=r"is planned: there is no step to take back"):
        warp_steps.step_back(make_warp(make_line(spec=tweed), by=planner), reason="?", by=planner)


# Lines follow


def test_a_line_stands_where_its_hindmost_piece_does(tweed):
    line = make_line(spec=tweed, pieces=4)
    warp = put_warp(spec=tweed, lines=[], state=Warp.WEAVING)
    WarpPart.objects.all().delete()
    WarpPart.objects.create(warp=warp, position=1, line=line, spec=tweed, pieces=3)
    loose = {"spec": tweed, "line": line, "woven_on": date(2026, 3, 1), "grey_length_m": 64, "grey_width_cm": 166}
    line_states.lines_follow([line.pk])
    assert state_of(line) == OrderLine.ENTERED
    Piece.objects.create(number="P0", state=Piece.READY, **loose)
    line_states.lines_follow([line.pk])
    assert state_of(line) == OrderLine.IN_LOOM
    for n in (1, 2, 3):
        Piece.objects.create(number=f"P{n}", warp=warp, state=Piece.FINISHING, **loose)
    line_states.lines_follow([line.pk])
    assert state_of(line) == OrderLine.FINISHING
    Piece.objects.filter(warp=warp).update(state=Piece.SENT)
    line_states.lines_follow([line.pk])
    assert state_of(line) == OrderLine.READY


def test_a_piece_that_never_came_off_a_woven_out_warp_keeps_nobody_waiting(tweed):
    line = make_line(spec=tweed, pieces=2)
    warp = put_warp(spec=tweed, lines=[line], state=Warp.WOVEN_OUT)
    line_states.lines_follow([line.pk])
    assert state_of(line) == OrderLine.GREY
    Piece.objects.create(
        number="P1",
        spec=tweed,
        line=line,
        warp=warp,
        state=Piece.READY,
        woven_on=date(2026, 3, 1),
        grey_length_m=64,
        grey_width_cm=166,
    )
    line_states.lines_follow([line.pk])
    assert state_of(line) == OrderLine.READY


def test_a_called_off_line_stays_called_off(tweed):
    line = make_line(spec=tweed, state=OrderLine.CALLED_OFF)
    line_states.lines_follow([line.pk])
    assert state_of(line) == OrderLine.CALLED_OFF


def test_a_warp_that_cant_be_worked_out_holds_no_yarn(tweed, planner):
    line = make_line(spec=tweed)
    warp = warps.make_warp([Share(line, 2)], by=planner)
    with pytest.raises(Refusal, match=r"still being worked out"):
        warp_yarn.hold_yarn(warp, by=planner)
