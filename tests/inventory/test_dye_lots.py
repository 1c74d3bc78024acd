"""The draw-down by dye lot: a sheet worked by hand, and together what the yarn has on every day."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.drawdown import work_out_drawdown
from inventory.dye_lots import UNNAMED, Draw, draw_down_by_dye_lot
from mill.refusal import Refusal

MONDAY = date(2026, 11, 23)


def day(n):
    return MONDAY + timedelta(n)


# Dye lot F41 has 30 kg, F42 has 12. Warp 118 takes 20 of F41 on Wed 25, which leaves 10. The weft of warp 119 takes 6
# a day on Mon 30, Tue 1, Wed 2: F42 serves two of its pieces, 12, and is used up; the third is of F41: 10 - 6 = 4.
# Warp 120 wants 9 on Thu 3 Dec, of one dye lot; none has it, F41 is nearest: 4 - 9 = -5, short by 5. D7 brings 25 on
# Mon 7 Dec of a dye lot nobody has named.
def test_the_sheet_worked_by_hand():
    found = draw_down_by_dye_lot(
        on_hand_g={"F41": 30_000, "F42": 12_000},
        draws=[
            Draw(days=((day(2), 20_000, "Warp 118"),), of=(("F41", 20_000),)),
            Draw(days=tuple((day(n), 6_000, "Warp 119") for n in (7, 8, 9)), of=(("F42", 12_000), ("F41", 6_000))),
            Draw(days=((day(10), 9_000, "Warp 120"),), rest="F41"),
        ],
        deliveries=[(UNNAMED, (day(14), 25_000, "D7"))],
        today=MONDAY,
    )
    assert list(found) == ["F41", "F42", UNNAMED]
    f41, f42, unnamed = found.values()
    assert [(one.day, one.balance_g) for one in f41.days] == [
        (MONDAY, 30_000),
        (day(2), 10_000),
        (day(9), 4_000),
        (day(10), -5_000),
    ]
    assert (f41.short_on, f41.short_g, f41.short_for) == (day(10), 5_000, "Warp 120")
    assert [(one.day, one.balance_g) for one in f42.days] == [(MONDAY, 12_000), (day(7), 6_000), (day(8), 0)]
    assert f42.short_on is None
    assert [(one.day, one.in_g, one.balance_g) for one in unnamed.days] == [(MONDAY, 0, 0), (day(14), 25_000, 25_000)]


def test_a_delivery_of_a_named_dye_lot_adds_to_it_and_may_come_late():
    asked = {
        "on_hand_g": {"F41": 5_000},
        "draws": [Draw(days=((day(3), 8_000, "Warp 118"),), rest="F41")],
        "deliveries": [("F41", (day(2), 4_000, "D7"))],
        "today": MONDAY,
    }
    assert draw_down_by_dye_lot(**asked)["F41"].short_on is None
    late = draw_down_by_dye_lot(**asked, late_by_days=10)["F41"]
    assert (late.short_on, late.short_g) == (day(3), 3_000)
    assert [(one.label, one.late_days) for one in late.too_late] == [("D7", 9)]


def test_grams_below_nought_are_refused():
    with pytest.raises(Refusal, match="-1 g of dye lot F41"):
        draw_down_by_dye_lot(on_hand_g={}, draws=[Draw(days=(), of=(("F41", -1),))], deliveries=[], today=MONDAY)


NAMES = st.sampled_from(["F41", "F42", "F43"])
GRAMS = st.integers(0, 50_000)


@st.composite
def draws(draw):
    days = sorted(draw(st.lists(st.integers(-3, 40), max_size=5)))
    return Draw(
        days=tuple((day(n), draw(GRAMS), "Warp") for n in days),
        of=tuple(draw(st.lists(st.tuples(NAMES, GRAMS), max_size=3))),
        rest=draw(st.one_of(NAMES, st.just(UNNAMED))),
    )


@given(
    on_hand=st.dictionaries(NAMES, GRAMS),
    needs=st.lists(draws(), max_size=6),
    deliveries=st.lists(
        st.tuples(st.one_of(NAMES, st.just(UNNAMED)), st.tuples(st.integers(-3, 40).map(day), GRAMS, st.just("D"))),
        max_size=4,
    ),
    late=st.integers(0, 30),
)
def test_the_dye_lots_together_are_the_yarn_on_every_day(on_hand, needs, deliveries, late):
    whole = work_out_drawdown(
        on_hand_g=sum(on_hand.values()),
        demands=[dated for need in needs for dated in need.days],
        deliveries=[dated for _, dated in deliveries],
        today=MONDAY,
        lead_time_days=None,
        late_by_days=late,
    )
    found = draw_down_by_dye_lot(on_hand_g=on_hand, draws=needs, deliveries=deliveries, today=MONDAY, late_by_days=late)

    def balance(sheet, on):
        return next((one.balance_g for one in reversed(sheet.days) if one.day <= on), 0)

    for one in whole.days:
        assert sum(balance(sheet, one.day) for sheet in found.values()) == one.balance_g
    assert sum(one.out_g for sheet in found.values() for one in sheet.days) == sum(one.out_g for one in whole.days)
