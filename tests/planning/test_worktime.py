import pytest
from hypothesis import given
from hypothesis import strategies as st

from mill.refusal import Refusal
from planning.worktime import WEEK_MIN, Calendar, read_shifts, read_week, write_week

HORIZON = 3 * WEEK_MIN
SHIFT = 16 * 60


@st.composite
def flagged_weeks(draw):
    """A week as one flag a minute, and the same week as spans."""
    flags = [False] * WEEK_MIN
    for _ in range(draw(st.integers(0, 8))):
        start = draw(st.integers(0, WEEK_MIN - 1))
        for minute in range(start, min(WEEK_MIN, start + draw(st.integers(1, 2500)))):
            flags[minute] = not flags[minute]
    spans, start = [], None
    for minute in range(WEEK_MIN + 1):
        is_open = minute < WEEK_MIN and flags[minute]
        if is_open and start is None:
            start = minute
        if not is_open and start is not None:
            spans.append((start, minute))
            start = None
    return flags, tuple(spans)


@st.composite
def calendars(draw):
    """A calendar, and its open minutes walked one by one."""
    flags, weekly = draw(flagged_weeks())
    closed = [
        (start, start + length)
        for start, length in draw(
            st.lists(st.tuples(st.integers(-2000, HORIZON), st.integers(1, 6000)), min_size=0, max_size=4)
        )
    ]
    shut = bytearray(HORIZON)
    for start, stop in closed:
        for minute in range(max(0, start), min(stop, HORIZON)):
            shut[minute] = 1
    walked = [minute for minute in range(HORIZON) if flags[minute % WEEK_MIN] and not shut[minute]]
    return Calendar(weekly, closed, HORIZON), walked


@given(calendars(), st.data())
def test_a_calendar_agrees_with_walking_its_minutes(pair, data):
    calendar, walked = pair
    assert calendar.total == len(walked)
    t = data.draw(st.integers(0, HORIZON))
    assert calendar.worked(t) == sum(1 for minute in walked if minute < t)
    assert calendar.is_open(t) == (t in walked)
    if walked:
        x = data.draw(st.integers(0, len(walked) - 1))
        assert calendar.begins(x) == walked[x]
        assert calendar.completes(x + 1) == walked[x] + 1
        later = [minute for minute in walked if minute >= t]
        need = data.draw(st.integers(1, 5000))
        if len(later) >= need:
            assert calendar.next_open(t) == later[0]
            assert calendar.add_minutes(t, need) == (later[0], later[need - 1] + 1)


@given(calendars(), st.integers(0, HORIZON), st.integers(0, HORIZON))
def test_hours_between_two_minutes_add_up(pair, a, b):
    calendar, _ = pair
    a, b = sorted((a, b))
    assert calendar.worked(a) + calendar.worked_between(a, b) == calendar.worked(b)


@given(flagged_weeks())
def test_a_week_written_down_reads_back_the_same(pair):
    _, weekly = pair
    assert read_week(write_week(weekly)) == weekly


def test_a_piece_that_ends_with_the_shift_is_off_that_day_and_the_next_begins_with_the_next_shift():
    weekly = read_week("Mon-Fri 06:00-22:00")
    calendar = Calendar(weekly, (), HORIZON)
    friday_22, monday_6 = 4 * 1440 + 22 * 60, WEEK_MIN + 6 * 60
    assert calendar.add_minutes(4 * 1440 + 6 * 60, SHIFT) == (4 * 1440 + 6 * 60, friday_22)
    assert calendar.next_open(friday_22) == monday_6
    assert calendar.add_minutes(friday_22, 1) == (monday_6, monday_6 + 1)
    assert calendar.next_open(friday_22 - 1) == friday_22 - 1


def test_a_closure_takes_its_own_minutes_and_no_more():
    calendar = Calendar(read_week("Mon-Fri 06:00-22:00"), [(600, 660)], HORIZON)
    assert calendar.add_minutes(599, 2) == (599, 661)
    assert calendar.add_minutes(600, 1) == (660, 661)
    assert calendar.worked(22 * 60) == SHIFT - 60


def test_closures_may_overlap_each_other_and_the_edges():
    calendar = Calendar(((0, 100),), [(90, 200), (-10, 5), (50, 60), (55, 95)], WEEK_MIN)
    assert calendar.spans == [(5, 50)]


def test_no_minutes_are_done_where_they_stand():
    calendar = Calendar(read_week("Tue 06:00-07:00"), (), WEEK_MIN)
    assert calendar.add_minutes(17, 0) == (17, 17)
    assert calendar.completes(0) == 0


def test_work_beyond_the_horizon_is_refused_with_both_numbers():
    calendar = Calendar(read_week("Mon 06:00-07:00"), (), 2 * WEEK_MIN)
    assert calendar.add_minutes(0, 120)[1] == WEEK_MIN + 420
    with pytest.raises(Refusal, match=r"holds 120 working minutes .* minute 121 of work"):
        calendar.add_minutes(0, 121)
    with pytest.raises(Refusal, match="holds 120 working minutes"):
        calendar.next_open(2 * WEEK_MIN)


@pytest.mark.parametrize(
    ("text", "spans"),
    [
        ("Mon-Fri 06:00-22:00", ((360, 1320), (1800, 2760), (3240, 4200), (4680, 5640), (6120, 7080))),
        ("mon 6:00 - 7:00", ((360, 420),)),
        ("Monday 06:00–07:00", ((360, 420),)),
        ("Mon 00:00-24:00; Tue 00:00-24:00", ((0, 2880),)),
        ("Fri 22:00-06:00", ((7080, 7560),)),
        ("Sat-Mon 10:00-11:00", ((600, 660), (7800, 7860), (9240, 9300))),
        ("Mon, Wed 06:00-07:00", ((360, 420), (3240, 3300))),
        ("Mon 06:00-07:00,07:00-08:00", ((360, 480),)),
        ("Mon-Sun 00:00-24:00", ((0, WEEK_MIN),)),
        ("closed", ()),
    ],
)
def test_weeks_are_read_as_people_write_them(text, spans):
    assert read_week(text) == spans


@pytest.mark.parametrize(
    ("spans", "text"),
    [
        (((360, 7560),), "Mon 06:00-24:00; Tue-Fri 00:00-24:00; Sat 00:00-06:00"),
        (((0, WEEK_MIN),), "Mon-Sun 00:00-24:00"),
        (((360, 720), (750, 960)), "Mon 06:00-12:00, 12:30-16:00"),
        (((1320, 1800), (2760, 3240)), "Mon-Tue 22:00-06:00"),
    ],
)
def test_weeks_are_written_as_people_read_them(spans, text):
    assert write_week(spans) == text


@pytest.mark.parametrize(
    ("german", "english"),
    [
        ("Mo-Fr 06:00-14:00, 14:00-22:00; Sa 06:00-12:00", "Mon-Fri 06:00-14:00, 14:00-22:00; Sat 06:00-12:00"),
        ("Di, Mi, Do 08:00-16:00", "Tue-Thu 08:00-16:00"),
        ("Samstag-Montag 22:00-06:00", "Sat-Mon 22:00-06:00"),
        ("So 00:00-24:00", "Sun 00:00-24:00"),
        ("Geschlossen", "closed"),
    ],
)
def test_the_days_may_be_written_in_german(german, english):
    assert read_week(german) == read_week(english)
    assert read_shifts(german) == read_shifts(english)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no working hours"),
        ("Mon-Fri", "names no hours"),
        ("06:00-22:00", "names no day"),
        ("Mon 6-22", 'the time "6" is not hours and minutes'),
        ("Mon 06:00-25:00", "the time 25:00 is past the end of a day"),
        ("Mon 06:60-07:00", "the time 06:60 is past"),
        ("Mon 06:00-06:00", "start and stop at once"),
        ("Mon 24:00-06:00", "start at 24:00"),
        ("Mon 06:00", "need a start and a stop"),
        ("Mox 06:00-22:00", 'the day "Mox" is not known'),
        ("M 06:00-22:00", 'the day "M" is not known'),
        ("Th 06:00-22:00", 'the day "Th" is not known'),
        ("Mon-Wed-Fri 06:00-22:00", "more than two ends"),
        ("Mon 06:00-14:00 Tue", "the day Tue comes after hours"),
        ("Mon-Fri 06:00-14:00; Wed 13:00-15:00", '"Mon-Fri 06:00-14:00" and "Wed 13:00-15:00" overlap on Wed 13:00'),
        ("Mon 06:00-10:00, 09:00-12:00", "overlaps itself on Mon 09:00"),
    ],
)
def test_a_week_that_cannot_be_read_is_refused_at_its_place(text, says):
    with pytest.raises(Refusal) as refused:
        read_week(text)
    assert says in refused.value.message


def test_hours_outside_the_week_and_closures_that_never_end_are_refused():
    with pytest.raises(Refusal, match="10070 to 10090 is not such a span"):
        Calendar([(10070, 10090)], (), WEEK_MIN)
    with pytest.raises(Refusal, match="from minute 500 to 400 never ends"):
        Calendar([(0, 100)], [(500, 400)], WEEK_MIN)
