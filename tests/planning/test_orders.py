"""Orders: placed, changed, called off; what a change reaches."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from mill import jobs
from mill.refusal import Refusal
from planning.models import ColourwayYarn, Customer, JobTicket, Order, OrderLine, Piece, Warp
from planning.services import line_figures, orders, warps, working_out
from planning.services.orders import LineDraft
from planning.services.warps import Share
from tests.make import (
    make_beam,
    make_colourway,
    make_customer,
    make_delivery,
    make_line,
    make_loom,
    make_lot,
    make_order,
    make_spec,
    make_ticket,
    make_yarn,
)

pytestmark = pytest.mark.django_db
PLACED = date(2026, 1, 5)
PIECE_M = Decimal("68.7") + Decimal("0.5")


@pytest.fixture
def tweed(db):
    spec = make_spec(yarns={"A": make_yarn(code="MOSS"), "B": make_yarn(code="CREAM")})
    make_beam(code="B1")
    make_loom(code="L1")
    return spec


def draft(spec, **changes):
    facts = {"pieces": 2, "length_m": Decimal("60.00"), "due_on": date(2026, 6, 1)}
    return LineDraft(
        colourway=changes.pop("colourway", None) or spec.cloth.colourways.earliest("pk"), **facts | changes
    )


def place(*drafts, by, **changes):
    facts = {"customer": changes.pop("customer", None) or make_customer(), "placed_on": PLACED}
    return orders.place_order(lines=drafts, by=by, **facts | changes)


def on_warp(line, *, by, pieces=None):
    warp = warps.make_warp([Share(line, pieces or line.pieces)], by=by)
    jobs.settle()
    return warp


def state_of(row):
    row.refresh_from_db()
    return row.state


# Placing


def test_an_order_is_placed_with_its_lines_in_order(tweed, planner):
    order = place(draft(tweed), draft(tweed, pieces=1, weight=9, note="for the fair"), number="2026-114", by=planner)
    lines = list(order.lines.order_by("position"))
    assert [(str(line), line.pieces, line.weight, line.note, line.state) for line in lines] == [
        ("2026-114/1", 2, 1, "", OrderLine.ENTERED),
        ("2026-114/2", 1, 9, "for the fair", OrderLine.ENTERED),
    ]
    assert {line.history.get().history_user for line in lines} == {planner}


def test_looms_done_in_the_same_minute_are_no_riddle(tweed):
    make_loom(code="L0")
    (takes,) = line_figures.what_lines_take([draft(tweed)])
    assert [time.loom.code for time in takes.looms] == ["L0", "L1"]
    assert takes.earliest_how.startswith("If loom L0 stood free")


def test_without_a_number_the_next_is_given(tweed, planner):
    make_order(number="C-0099")
    assert place(draft(tweed), by=planner).number == "C-0100"


def test_the_same_order_told_twice_is_one(tweed, planner):
    customer = make_customer()
    first = place(draft(tweed), customer=customer, number="7", by=planner)
    assert place(draft(tweed), customer=customer, number="7", by=planner) == first
    assert OrderLine.objects.count() == 1
    with pytest.raises(Refusal, match=r"There is an order 7 already, of .* such as 8"):
        place(draft(tweed, pieces=3), customer=customer, number="7", by=planner)


@pytest.mark.parametrize(
    ("changes", "sentence", "field"),
    [
        ({"pieces": 0}, r"0 pieces can't be ordered. Write 1 to", "lines.1.pieces"),
        ({"length_m": Decimal(0)}, r"A piece of 0 m can't be woven", "lines.1.length_m"),
        ({"weight": 10}, r"A weight of 10 says nothing: write 1.* to 9", "lines.1.weight"),
        (
            {"due_on": date(2026, 1, 4)},
            r"due on 04.01.2026, before it was placed on 05.01.2026. Write a later day",
            "lines.1.due_on",
        ),
    ],
)
def test_a_line_that_cant_be_is_refused_beside_its_field_and_nothing_is_placed(
    tweed, planner, changes, sentence, field
):
    with pytest.raises(Refusal, match=sentence) as refused:
        place(draft(tweed), draft(tweed, **changes), by=planner)
    assert refused.value.field == field
    assert not Order.objects.exists()


def test_a_colourway_without_yarns_in_the_revision_is_refused(tweed, planner):
    bare = make_colourway(cloth=tweed.cloth, name="Heather")
    with pytest.raises(Refusal, match=r"Revision 1 of .* has no yarns in Heather"):
        place(draft(tweed, colourway=bare), by=planner)


def test_a_cloth_that_is_put_away_or_never_specified_is_refused(tweed, planner):
    with pytest.raises(Refusal, match=r"has never been specified"):
        place(draft(tweed, colourway=make_colourway()), by=planner)
    tweed.cloth.is_in_use = False
    tweed.cloth.save()
    with pytest.raises(Refusal, match=r"is put away"):
        place(draft(tweed), by=planner)


@pytest.mark.parametrize("number", ["2026/114", "a b", "x" * 31])
def test_a_number_that_no_address_can_hold_is_refused(tweed, planner, number):
    with pytest.raises(Refusal, match=r"can't be an order's number"):
        place(draft(tweed), number=number, by=planner)


def test_an_order_without_a_line_is_refused(planner):
    with pytest.raises(Refusal, match=r"has no line yet"):
        place(by=planner)


def test_a_line_is_added_once_however_often_it_is_tapped(tweed, planner):
    order = place(draft(tweed), by=planner)
    lines = [orders.add_line(order, draft(tweed, pieces=5), by=planner, seen=1) for _ in range(2)]
    assert lines[0] == lines[1]
    assert order.lines.count() == 2
    with pytest.raises(Refusal, match=r"had 1 lines when this page was opened and has 2 now"):
        orders.add_line(order, draft(tweed, pieces=6), by=planner, seen=1)


# Changing


def change(line, *, by, **changes):
    line.refresh_from_db()
    said = LineDraft(
        **{
            "colourway": line.colourway,
            "pieces": line.pieces,
            "length_m": line.length_m,
            "due_on": line.due_on,
            "tolerance_pct": line.tolerance_pct,
            "weight": line.weight,
            "note": line.note,
            **changes,
        }
    )
    found = orders.change_line(line, said, by=by)
    jobs.settle()
    return found


def test_a_change_reaches_the_warp_and_overtakes_its_ticket_with_the_reason(tweed, planner):
    line = make_line(spec=tweed)
    warp = on_warp(line, by=planner)
    make_ticket(warp)
    changed = change(line, length_m=Decimal("50.00"), by=planner)
    assert changed.differences == ("length 60 m, now 50 m",)
    assert (changed.warps, changed.tickets) == ((warp,), 1)
    warp.worked.refresh_from_db()
    # 50 m finished: 53.2 m grey, 57.2 m of warp.
    assert warp.worked.warp_length_m == 2 * (Decimal("57.2") + Decimal("0.5")) + 3
    assert JobTicket.objects.get().overtaken_why == f"Order line {line} was changed: length 60 m, now 50 m."
    assert list(working_out.audit_differences()) == []


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"due_on": date(2026, 7, 1)}, "due 01.06.2026, now 01.07.2026"),
        ({"tolerance_pct": Decimal("2.5")}, "tolerance 0 %, now 2.5 %"),
        ({"note": "red label"}, "note none, now red label"),
    ],
)
def test_what_a_ticket_prints_overtakes_it_though_no_figure_changes(tweed, planner, changes, said):
    line = make_line(spec=tweed)
    warp = on_warp(line, by=planner)
    length_m = warp.worked.warp_length_m
    make_ticket(warp)
    change(line, by=planner, **changes)
    warp.worked.refresh_from_db()
    assert warp.worked.warp_length_m == length_m
    assert said in JobTicket.objects.get().overtaken_why


def test_a_ticket_that_prints_nothing_of_a_change_holds(tweed, planner):
    line = make_line(spec=tweed, pieces=5)
    one, two = on_warp(line, pieces=3, by=planner), on_warp(line, pieces=2, by=planner)
    first, second = make_ticket(one), make_ticket(two)
    assert change(line, weight=9, by=planner).tickets == 0
    # A piece more waits for a warp, and two fewer come off the second: what is woven on the first is as it was.
    assert change(line, pieces=6, by=planner).tickets == 0
    assert change(line, pieces=4, by=planner).tickets == 1
    assert [bool(JobTicket.objects.get(pk=one.pk).overtaken_at) for one in (first, second)] == [False, True]


def test_a_change_of_nothing_changes_nothing(tweed, planner):
    line = make_line(spec=tweed)
    warp = on_warp(line, by=planner)
    make_ticket(warp)
    history = line.history.count()
    assert change(line, by=planner).differences == ()
    assert line.history.count() == history
    assert JobTicket.objects.get().overtaken_at is None


def test_more_and_fewer_pieces_go_on_and_off_the_one_warp_that_has_them_all(tweed, planner):
    line = make_line(spec=tweed, pieces=2)
    warp = on_warp(line, by=planner)
    change(line, pieces=3, by=planner)
    warp.worked.refresh_from_db()
    assert (warp.parts.get().pieces, warp.worked.warp_length_m) == (3, 3 * PIECE_M + 3)
    change(line, pieces=1, by=planner)
    assert warp.parts.get().pieces == 1
    assert state_of(line) == OrderLine.ON_A_WARP


def test_fewer_pieces_come_off_the_last_planned_warp_first(tweed, planner):
    line = make_line(spec=tweed, pieces=5)
    one, two = on_warp(line, pieces=3, by=planner), on_warp(line, pieces=2, by=planner)
    change(line, pieces=4, by=planner)
    assert [(part.warp, part.pieces) for part in line.parts.order_by("warp")] == [(one, 3), (two, 1)]
    change(line, pieces=2, by=planner)
    assert [(part.warp, part.pieces) for part in line.parts.order_by("warp")] == [(one, 2)]
    assert not Warp.objects.filter(pk=two.pk).exists()


def test_more_pieces_of_a_line_on_two_warps_wait_for_a_warp(tweed, planner):
    line = make_line(spec=tweed, pieces=5)
    on_warp(line, pieces=3, by=planner)
    on_warp(line, pieces=2, by=planner)
    change(line, pieces=6, by=planner)
    assert sum(part.pieces for part in line.parts.all()) == 5
    assert state_of(line) == OrderLine.ENTERED


@pytest.mark.parametrize("state", [Warp.YARN_DRAWN, Warp.WOUND, Warp.WEAVING])
def test_what_is_drawn_wound_or_woven_is_not_changed_any_more(tweed, planner, state):
    line = make_line(spec=tweed)
    warp = on_warp(line, by=planner)
    Warp.objects.filter(pk=warp.pk).update(state=state)
    with pytest.raises(
        Refusal, match=rf"{warp} is {state} for 2 pieces of line {line} in 60 m; they can't become 50 m"
    ):
        change(line, length_m=Decimal(50), by=planner)
    with pytest.raises(Refusal, match=rf"2 pieces of line {line} are on {warp} already; it can't come down to 1"):
        change(line, pieces=1, by=planner)
    # The date may change as long as it isn't sent.
    assert change(line, due_on=date(2026, 8, 1), by=planner).line.due_on == date(2026, 8, 1)
    # And more can be ordered: the rest waits.
    change(line, pieces=3, by=planner)
    assert state_of(line) == OrderLine.ENTERED


def test_another_cloth_puts_the_part_on_its_revision(tweed, planner):
    line = make_line(spec=tweed)
    warp = on_warp(line, by=planner)
    other = make_spec(finished_width_cm=Decimal("120.0"))
    change(line, colourway=other.cloth.colourways.get(), by=planner)
    warp.worked.refresh_from_db()
    assert (warp.parts.get().spec, warp.worked.ends) == (other, 1200)


def test_a_line_that_shares_its_warp_must_come_off_before_it_becomes_another_warp(tweed, planner):
    one, two = make_line(spec=tweed), make_line(spec=tweed)
    warp = warps.make_warp([Share(one, 2), Share(two, 2)], by=planner)
    other = make_spec(finished_width_cm=Decimal("120.0"))
    with pytest.raises(Refusal, match=rf"can't share a warp: .* Take line {two} off {warp} first"):
        change(two, colourway=other.cloth.colourways.get(), by=planner)
    two.refresh_from_db()
    assert two.cloth == tweed.cloth


def test_held_yarn_keeps_the_cloth_of_a_line(tweed, planner):
    from planning.services import warp_yarn

    line = make_line(spec=tweed)
    warp = on_warp(line, by=planner)
    for entry in tweed.colourway_yarns.all():
        make_lot(yarn=entry.yarn, grams=200_000)
    warp_yarn.hold_yarn(warp, by=planner)
    with pytest.raises(Refusal, match=rf"Yarn is held for {warp}"):
        change(line, colourway=make_spec().cloth.colourways.get(), by=planner)


@pytest.mark.parametrize("state", [OrderLine.SENT, OrderLine.CALLED_OFF])
def test_a_line_that_is_sent_or_called_off_is_not_changed(tweed, planner, state):
    line = make_line(spec=tweed, state=state)
    with pytest.raises(Refusal, match=rf"is {state}; nothing of it is changed any more"):
        change(line, pieces=9, by=planner)


def test_pieces_that_no_beam_takes_are_refused_and_the_line_stays(tweed, planner):
    line = make_line(spec=tweed)
    on_warp(line, by=planner)
    with pytest.raises(Refusal, match=r"No beam takes this warp"):
        change(line, pieces=90, by=planner)
    line.refresh_from_db()
    assert (line.pieces, line.parts.get().pieces) == (2, 2)


# Calling off


def test_a_called_off_line_comes_off_its_planned_warp(tweed, planner):
    line = make_line(spec=tweed)
    on_warp(line, by=planner)
    orders.call_off_line(line, reason="shop closed", by=planner)
    assert state_of(line) == OrderLine.CALLED_OFF
    assert not Warp.objects.exists()
    assert line.history.first().history_change_reason == "shop closed"
    assert orders.call_off_line(line, by=planner).state == OrderLine.CALLED_OFF, "a second tap changes nothing"


@pytest.mark.parametrize(
    ("state", "sentence"),
    [
        (Warp.GAITED, r"2 pieces of line .* are on Warp \d+, which is gaited in loom L1. Weave them out"),
        (Warp.WEAVING, r"which is weaving in loom L1. Weave them out"),
        (Warp.WOVEN_OUT, r"which is woven out in loom L1"),
        (Warp.YARN_DRAWN, r"which is yarn drawn. Take Warp \d+ back to planned first"),
        (Warp.WOUND, r"which is wound. Take Warp \d+ back to planned first"),
    ],
)
def test_a_line_is_not_called_off_once_its_yarn_is_drawn(tweed, planner, state, sentence):
    line = make_line(spec=tweed)
    warp = on_warp(line, by=planner)
    hangs = state in (Warp.GAITED, Warp.WEAVING, Warp.WOVEN_OUT)
    from planning.models import Loom

    Warp.objects.filter(pk=warp.pk).update(state=state, loom=Loom.objects.get() if hangs else None)
    with pytest.raises(Refusal, match=sentence):
        orders.call_off_line(line, by=planner)
    assert state_of(line) == OrderLine.ON_A_WARP


def test_a_line_with_woven_pieces_or_sent_is_not_called_off(tweed, planner):
    line = make_line(spec=tweed)
    Piece.objects.create(number="P1", spec=tweed, line=line, woven_on=PLACED, grey_length_m=64, grey_width_cm=166)
    with pytest.raises(Refusal, match=r"1 of the 2 pieces of line .* are woven. Change its pieces to 1 instead"):
        orders.call_off_line(line, by=planner)
    with pytest.raises(Refusal, match=r"is sent; it can't be called off"):
        orders.call_off_line(make_line(spec=tweed, state=OrderLine.SENT), by=planner)


def test_a_called_off_line_can_be_taken_up_again(tweed, planner):
    line = make_line(spec=tweed)
    orders.call_off_line(line, by=planner)
    assert orders.take_up_line(line, by=planner).state == OrderLine.ENTERED


# Customers and the head of an order


def test_a_customers_code_is_said_once(planner):
    orders.write_customer(Customer(code="HOL1", name="Hollin & Daughter"), by=planner)
    with pytest.raises(Refusal) as refused:
        orders.write_customer(Customer(code="HOL1", name="Another"), by=planner)
    assert refused.value.field == "code"
    with pytest.raises(Refusal, match=r"can't be a customer's code"):
        orders.write_customer(Customer(code="a/b", name="Another"), by=planner)


def test_another_customer_overtakes_the_tickets_of_the_order(tweed, planner):
    line = make_line(spec=tweed)
    warp = on_warp(line, by=planner)
    make_ticket(warp)
    other = make_customer(name="Braddle Bros")
    orders.change_order(line.order, customer=other, placed_on=PLACED, reference="", note="", by=planner)
    assert "is for Braddle Bros now" in JobTicket.objects.get().overtaken_why
    with pytest.raises(Refusal, match=r"is due on 01.06.2026; the order can't be placed after that, on 02.06.2026"):
        orders.change_order(line.order, customer=other, placed_on=date(2026, 6, 2), reference="", note="", by=planner)


# What a line takes


def figures_of(*drafts):
    return line_figures.what_lines_take(drafts)


def test_a_line_says_its_metres_its_yarn_and_the_range_of_loom_hours(tweed):
    make_loom(code="SLOW", ppm=110)
    make_loom(code="NARROW", reed_space_cm=Decimal("150.0"))
    (line,) = figures_of(draft(tweed))
    run = line.figures.runs[0]
    assert (run.grey_length_m, run.warp_length_per_piece_m) == (Decimal("63.9"), Decimal("68.7"))
    assert [time.loom.code for time in line.looms] == ["L1", "SLOW"]
    # 2 x 63.9 m x 8.46 picks a cm at 220 and 110 a minute, 70 %.
    assert (line.least_min, line.most_min) == (703, 1405)
    assert {(supply.need.use, supply.need.code) for supply in line.yarns} == {
        ("warp", "MOSS"),
        ("warp", "CREAM"),
        ("weft", "MOSS"),
        ("weft", "CREAM"),
    }


def test_a_cloth_that_no_loom_takes_says_so_with_both_numbers(tweed):
    wide = make_spec(finished_width_cm=Decimal("250.0"))
    (line,) = figures_of(draft(wide))
    assert line.figures is not None
    assert "No loom of 1 takes it; the nearest is L1: the reed space is 200.0 cm" in line.trouble


def test_lines_share_what_is_in_the_store(tweed):
    from inventory.models import Yarn

    (alone,) = figures_of(draft(tweed))
    need = {(s.need.use, s.need.code): s.need.issue_g for s in alone.yarns}
    for code in ("MOSS", "CREAM"):
        make_lot(yarn=Yarn.objects.get(code=code), grams=need["warp", code] + need["weft", code], dye_lot="881")
    first, second = figures_of(draft(tweed), draft(tweed))
    assert all(supply.suffices for supply in first.yarns)
    assert not any(supply.suffices for supply in second.yarns)
    assert "short" in second.yarns[0].choice.why


def test_a_line_that_isnt_whole_yet_has_no_figures_and_one_that_cant_be_says_why(tweed):
    ColourwayYarn.objects.filter(letter="B").delete()
    nothing, wrong = figures_of(None, draft(tweed))
    assert nothing is None
    assert (wrong.figures, "no yarn stands there" in wrong.trouble) == (None, True)


def test_the_earliest_day_waits_for_the_yarn_that_is_promised(tweed):
    from inventory.models import Yarn

    (line,) = figures_of(draft(tweed))
    today = timezone.localdate()
    assert line.earliest_on > today + timedelta(days=28), "nothing is here and nothing promised: the lead time counts"
    for code in ("MOSS", "CREAM"):
        make_delivery(yarn=Yarn.objects.get(code=code), ordered_g=400_000, expected_on=today + timedelta(days=5))
    (promised,) = figures_of(draft(tweed))
    assert promised.earliest_on < line.earliest_on
    assert "yarn CREAM and MOSS comes" in promised.earliest_how
    for code in ("MOSS", "CREAM"):
        make_lot(yarn=Yarn.objects.get(code=code), grams=400_000)
    (here,) = figures_of(draft(tweed))
    assert here.earliest_on < promised.earliest_on
    assert "its yarn is here" in here.earliest_how


def test_figures_of_many_lines_take_no_more_queries_than_of_one(tweed, django_assert_max_num_queries):
    drafts = [replace(draft(tweed), pieces=1 + n) for n in range(20)]
    with django_assert_max_num_queries(16) as counted:
        figures_of(drafts[0])
    one = len(counted)
    with django_assert_max_num_queries(one):
        figures_of(*drafts)
