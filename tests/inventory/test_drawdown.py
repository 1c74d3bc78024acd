"""Draw-down sheets worked by hand, and what must hold of every one."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.drawdown import Day, LateDelivery, work_out_drawdown, working
from mill.refusal import Refusal

MONDAY = date(2026, 11, 23)


def day(n):
    return MONDAY + timedelta(n)


def sheet(on_hand_g=0, demands=(), deliveries=(), **changes):
    facts = {"today": MONDAY, "lead_time_days": 28, "min_order_g": 0, **changes}
    return work_out_drawdown(
        on_hand_g=on_hand_g,
        demands=[(day(n), grams, label) for n, grams, label in demands],
        deliveries=[(day(n), grams, label) for n, grams, label in deliveries],
        **facts,
    )


# 40 kg on hand. Wed 25: warp 118 takes 30, leaves 10. Mon 30: D7 brings 25, makes 35; warp 119 takes 20, leaves 15.
# Thu 3 Dec: warp 120 takes 18, wants 3: short from then. Ordered with 28 days to come by 3 Dec: by Thu 5 Nov. Tue 8
# Dec: D8 brings 50, makes 47: five days too late. Lowest -3, so 3 kg must be ordered, 10 being the smallest order.
BY_HAND = {
    "on_hand_g": 40_000,
    "demands": [(2, 30_000, "Warp 118"), (7, 20_000, "Warp 119"), (10, 18_000, "Warp 120")],
    "deliveries": [(7, 25_000, "D7"), (15, 50_000, "D8")],
    "min_order_g": 10_000,
}


def test_the_sheet_worked_by_hand():
    worked = sheet(**BY_HAND)
    assert worked.days == (
        Day(day(0), 0, 0, 40_000, ()),
        Day(day(2), 0, 30_000, 10_000, ("Warp 118",)),
        Day(day(7), 25_000, 20_000, 15_000, ("D7", "Warp 119")),
        Day(day(10), 0, 18_000, -3_000, ("Warp 120",)),
        Day(day(15), 50_000, 0, 47_000, ("D8",)),
    )
    assert (worked.short_on, worked.short_g, worked.short_for) == (date(2026, 12, 3), 3_000, "Warp 120")
    assert (worked.order_by, worked.order_g) == (date(2026, 11, 5), 10_000)
    assert (worked.lowest_on, worked.lowest_g) == (day(10), -3_000)
    assert worked.too_late == (LateDelivery("D8", 50_000, day(15), day(10)),)
    assert worked.too_late[0].late_days == 5
    assert worked.overdue == ()


def test_the_same_sheet_with_deliveries_four_days_later():
    # D7 now comes on Fri 4 Dec: warp 119 finds 10 of its 20 on Mon 30, and warp 120 wants 18 more: 28 wanting.
    worked = sheet(**BY_HAND, late_by_days=4)
    assert (worked.short_on, worked.short_g, worked.short_for) == (day(7), 10_000, "Warp 119")
    assert (worked.lowest_on, worked.lowest_g, worked.order_g) == (day(10), -28_000, 28_000)
    assert worked.order_by == date(2026, 11, 2)
    assert [late.late_days for late in worked.too_late] == [4, 12], "D7 leaves 3 wanting, so D8 is late as well"


def test_a_yarn_that_nobody_asks_for_is_what_it_is():
    worked = sheet(5_000)
    assert worked.days == (Day(MONDAY, 0, 0, 5_000, ()),)
    assert (worked.short_on, worked.short_g, worked.short_for, worked.order_by, worked.order_g) == (
        None,
        0,
        "",
        None,
        0,
    )
    assert (worked.lowest_on, worked.lowest_g) == (MONDAY, 5_000)


def test_what_comes_on_a_day_serves_that_day():
    assert sheet(0, [(3, 500, "Warp 1")], [(3, 500, "D1")]).short_on is None


def test_what_should_have_come_is_counted_today_and_said():
    worked = sheet(0, [(0, 500, "Warp 1")], [(-6, 500, "D1")])
    assert worked.short_on is None
    assert worked.overdue == ("D1",)
    assert worked.days == (Day(MONDAY, 500, 500, 0, ("D1", "Warp 1")),)


def test_what_should_have_been_drawn_is_still_to_be_drawn():
    worked = sheet(400, [(-3, 500, "Warp 1")])
    assert (worked.short_on, worked.short_g, worked.short_for) == (MONDAY, 100, "Warp 1")


def test_the_first_that_goes_short_is_named_not_the_largest():
    worked = sheet(1_000, [(1, 900, "Warp 1"), (1, 200, "Warp 2"), (1, 5_000, "Warp 3")])
    assert (worked.short_for, worked.short_g) == ("Warp 2", 5_100)


def test_without_a_lead_time_nobody_can_say_when_to_order():
    worked = sheet(0, [(3, 500, "Warp 1")], lead_time_days=None)
    assert worked.short_on == day(3)
    assert worked.order_by is None
    assert worked.order_g == 500


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"on_hand_g": -1}, "There can't be -1 g on hand"),
        ({"demands": [(1, -5, "Warp 9")]}, "Warp 9 can't be -5 g"),
        ({"deliveries": [(1, -5, "D9")]}, "D9 can't be -5 g"),
        ({"late_by_days": -2}, "A delivery can't be -2 days late"),
    ],
)
def test_nonsense_is_refused(changes, says):
    with pytest.raises(Refusal, match=says):
        sheet(**changes)


dated = st.lists(st.tuples(st.integers(-3, 20), st.integers(0, 50), st.sampled_from("ABC")), max_size=6)


@given(st.integers(0, 100), dated, dated, st.integers(0, 9))
def test_the_balance_is_what_came_less_what_went(on_hand_g, demands, deliveries, late_by_days):
    worked = sheet(on_hand_g, demands, deliveries, late_by_days=late_by_days)
    came, went = sum(g for _, g, _ in deliveries), sum(g for _, g, _ in demands)
    assert worked.days[-1].balance_g == on_hand_g + came - went
    assert [d.day for d in worked.days] == sorted({d.day for d in worked.days})
    balance_g = on_hand_g
    for one in worked.days:
        balance_g += one.in_g - one.out_g
        assert one.balance_g == balance_g
    assert (worked.short_on is None) == (worked.lowest_g >= 0)
    if worked.short_on:
        assert worked.short_for
        assert worked.short_g == -next(d for d in worked.days if d.day == worked.short_on).balance_g
        assert worked.order_by == worked.short_on - timedelta(28)


@given(st.integers(0, 100), dated, dated)
def test_ordering_what_is_said_by_the_day_it_is_wanted_ends_the_shortage(on_hand_g, demands, deliveries):
    worked = sheet(on_hand_g, demands, deliveries)
    if worked.short_on:
        ordered = ((worked.short_on - MONDAY).days, worked.order_g, "the order")
        assert sheet(on_hand_g, demands, [*deliveries, ordered]).short_on is None
        less = ((worked.short_on - MONDAY).days, worked.order_g - 1, "the order")
        assert sheet(on_hand_g, demands, [*deliveries, less]).short_on is not None


@given(st.integers(0, 100), dated, dated, st.integers(0, 9), st.integers(0, 9))
def test_later_deliveries_never_help(on_hand_g, demands, deliveries, a, b):
    sooner, later = (sheet(on_hand_g, demands, deliveries, late_by_days=n) for n in sorted((a, b)))
    assert later.lowest_g <= sooner.lowest_g
    if sooner.short_on:
        assert later.short_on <= sooner.short_on


def test_the_working_of_a_draw_down_ends_in_its_figures():
    """By hand, as in the room's own example, of 9 kg with 2 kg held: 7 free; 9 + 0 − 10.08 = −1.08 on the 25th; order
    5, the smallest order, by the 15th."""
    monday = date(2026, 11, 23)
    lead = {"lead_time_days": 10, "min_order_g": 5000}
    sheet = work_out_drawdown(
        on_hand_g=9000,
        demands=[(monday + timedelta(2), 10080, "Warp 118")],
        deliveries=[(monday + timedelta(7), 20000, "D7")],
        today=monday,
        **lead,
    )
    steps = {step.name: step for step in working(sheet, on_hand_g=9000, held_g=2000, **lead)}
    assert {name: (step.sum, step.value) for name, step in steps.items()} == {
        "free_g": ("9000 g − 2000 g", 7000),
        "lowest_g": ("9000 g + 0 g − 10080 g", -1080),
        "short_g": ("10080 g − 9000 g − 0 g", 1080),
        "order_g": ("the larger of 1080 g and 5000 g", 5000),
        "order_by": ("25.11.2026 − 10 days", "15.11.2026"),
    }
    assert all(step.source and step.formula for step in steps.values())
    lasts = work_out_drawdown(on_hand_g=9000, demands=[], deliveries=[], today=monday, **lead)
    assert [step.name for step in working(lasts, on_hand_g=9000, held_g=0, **lead)] == ["free_g", "lowest_g"]
