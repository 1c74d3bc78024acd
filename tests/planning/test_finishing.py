from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mill.refusal import Refusal
from planning import finishing

D = Decimal
shares_pct = st.decimals(-50, D("99.99"), places=2)


def test_steps_compound_and_do_not_add():
    # 90 in to 56 in wide is a broadcloth in print: 37.8 %. 20 % and then 22.2 % get there; 42.2 % never.
    assert round(finishing.route_shrink_pct([D(20), D("22.22")]), 1) == D("37.8")


@given(st.dates(date(2026, 1, 1), date(2027, 12, 31)), st.integers(0, 60))
def test_the_last_day_off_the_loom_and_the_day_ready_are_each_other_s_inverse(due_on, days):
    last = finishing.off_by(due_on, days)
    assert finishing.ready_on(last, days) <= due_on < finishing.ready_on(last + timedelta(days=1), days)


def test_ten_working_days_of_finishing_end_on_a_friday():
    """Counted on a calendar of March 2026, whose 1st is a Sunday."""
    assert finishing.ready_on(date(2026, 3, 6), 10) == date(2026, 3, 20)
    # Off on the Sunday it goes to the first step on Monday the 9th, as what came off on Friday does.
    assert finishing.off_by(date(2026, 3, 20), 10) == date(2026, 3, 8)


def test_no_steps_lose_nothing():
    assert finishing.route_shrink_pct([]) == 0


@given(st.lists(shares_pct, max_size=6))
def test_the_order_of_the_steps_changes_nothing(steps_pct):
    forwards, backwards = (finishing.route_shrink_pct(steps) for steps in (steps_pct, reversed(steps_pct)))
    assert round(forwards, 9) == round(backwards, 9)


@given(st.decimals(D("0.1"), 1000, places=1), st.lists(shares_pct, max_size=6))
def test_grey_and_finished_turn_into_each_other(grey, steps_pct):
    loss_pct = finishing.route_shrink_pct(steps_pct)
    finished = finishing.finished_from_grey(grey, loss_pct=loss_pct)
    assert finished > 0
    assert float(finishing.grey_from_finished(finished, loss_pct=loss_pct)) == pytest.approx(float(grey))
    *_, last = (grey, *finishing.measures_after_steps(grey, steps_pct))
    assert float(last) == pytest.approx(float(finished))


def test_half_the_width_gone_needs_twice_the_width():
    assert finishing.grey_from_finished(D(150), loss_pct=D(50)) == 300


@pytest.mark.parametrize("pct", [D(100), D("100.01"), D(250)])
def test_a_route_that_leaves_nothing_is_refused(pct):
    for worked in (
        lambda: finishing.route_shrink_pct([D(5), pct]),
        lambda: finishing.grey_from_finished(D(10), loss_pct=pct),
        lambda: finishing.finished_from_grey(D(10), loss_pct=pct),
        lambda: finishing.measures_after_steps(D(10), [pct]),
    ):
        with pytest.raises(Refusal, match=f"A loss of {pct} % in finishing leaves no cloth") as refused:
            worked()
        assert refused.value.field == "route"


def test_ninety_nine_and_more_in_the_hundred_is_not_refused():
    assert finishing.grey_from_finished(D(1), loss_pct=D("99.99")) == 10_000


@pytest.mark.parametrize(("before", "after"), [(D(0), D(1)), (D(10), D(0)), (D(-1), D(2))])
def test_a_piece_of_no_size_is_refused(before, after):
    with pytest.raises(Refusal, match=f"From {before} to {after}"):
        finishing.loss_pct(before=before, after=after)


def test_a_piece_that_grew_lost_less_than_nothing():
    assert finishing.loss_pct(before=D(100), after=D(102)) == -2


@given(st.decimals(0, 500, places=1))
def test_an_allowance_on_the_finished_measure_is_a_smaller_share_of_the_grey(allowance_pct):
    loss_pct = finishing.loss_pct_from_allowance(allowance_pct)
    assert loss_pct <= allowance_pct
    assert round(finishing.grey_from_finished(D(10), loss_pct=loss_pct), 9) == 10 + allowance_pct / 10


def test_an_allowance_that_takes_away_is_refused():
    with pytest.raises(Refusal, match="-5 % takes away"):
        finishing.loss_pct_from_allowance(D(-5))
