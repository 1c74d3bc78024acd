from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from inventory.curve import HEIGHT, LEFT, RIGHT, WIDTH, draw_curve
from inventory.drawdown import work_out_drawdown

MONDAY = date(2026, 11, 23)
dated = st.lists(
    st.tuples(st.dates(MONDAY, MONDAY + timedelta(400)), st.integers(0, 3_000_000), st.just("W")), max_size=9
)


@given(st.integers(0, 9_000_000), dated, dated)
def test_every_draw_down_has_a_picture_within_its_frame(on_hand_g, demands, deliveries):
    worked = work_out_drawdown(
        on_hand_g=on_hand_g, demands=demands, deliveries=deliveries, today=MONDAY, lead_time_days=None
    )
    curve = draw_curve(worked.days)
    assert (curve.short != "") == (worked.short_on is not None) == (curve.short_mark is not None)
    ys = [mark.at for mark in curve.kg_marks]
    assert ys == sorted(ys, reverse=True)
    assert 2 <= len(curve.kg_marks) <= 9
    assert len({mark.label for mark in curve.kg_marks}) == len(curve.kg_marks)
    assert curve.zero_y in ys
    assert all(0 < y < HEIGHT for y in ys)
    assert all(LEFT <= mark.at <= WIDTH - RIGHT for mark in curve.day_marks)
    assert 1 <= len(curve.day_marks) <= 8


def test_a_day_is_as_wide_as_any_other():
    worked = work_out_drawdown(
        on_hand_g=4000, demands=[(MONDAY + timedelta(27), 6000, "W")], deliveries=[], today=MONDAY, lead_time_days=None
    )
    curve = draw_curve(worked.days)
    # 28 days over 640: the shortage begins with the 28th.
    assert curve.short_mark.x == round(LEFT + (WIDTH - LEFT - RIGHT) * 27 / 28, 1)
    assert [mark.label for mark in curve.day_marks] == ["23 Nov", "30 Nov", "7 Dec", "14 Dec"]
    assert [mark.label for mark in curve.kg_marks] == ["−2", "0", "2", "4"]
