"""Working minutes of shifts and closures, to the calendar and back. Knows no loom or warp.

Minutes are whole numbers counted from a Monday 00:00. Every interval is half-open: the minute it
starts at is worked, the minute it stops at is not.
"""

import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate, pairwise

from mill.refusal import N_, Refusal, Several, Word

DAY_MIN = 24 * 60
WEEK_MIN = 7 * DAY_MIN
DAYS = (N_("Mon"), N_("Tue"), N_("Wed"), N_("Thu"), N_("Fri"), N_("Sat"), N_("Sun"))
CLOSED = N_("closed")

Span = tuple[int, int]

# Each language's, and how many letters of one are enough: hours are kept as they are written, in whichever of them.
_DAY_NAMES = (
    (3, ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")),
    (2, ("montag", "dienstag", "mittwoch", "donnerstag", "freitag", "samstag", "sonntag")),
)
_CLOSED = frozenset({CLOSED, "geschlossen"})
_DASH = re.compile(r"\s*[-–]\s*")
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})")


# A mill has a few patterns, and every loom is asked for its own again and again.
@lru_cache(maxsize=256)
def read_week(text: str) -> tuple[Span, ...]:
    """The working spans of one week, from the words a person writes.

    text            days then hours, parts divided by semicolons; several spans
                    of hours by commas; a span may run over midnight; "closed"
                    for a week without work; days in English or German

    Returns sorted spans within 0..10080 that neither touch nor overlap.
    Raises Refusal naming the part that can't be read.

    >>> read_week("Mon-Tue 06:00-14:00; Sat 06:00-12:00")
    ((360, 840), (1800, 2280), (7560, 7920))
    >>> read_week("Sun 22:00-06:00") == read_week("So 22:00-06:00")
    True
    >>> read_week("Sun 22:00-06:00")
    ((0, 360), (9960, 10080))
    >>> read_week("Fri 06:00-12:00, 12:30-16:00")
    ((6120, 6480), (6510, 6720))
    """
    if text.strip().lower() in _CLOSED:
        return ()
    parts = [part.strip() for part in text.split(";") if part.strip()]
    if not parts:
        raise Refusal(N_('There are no working hours here. Write them like "Mon-Fri 06:00-22:00", or write "closed".'))
    pieces: list[tuple[int, int, str]] = []
    for part in parts:
        days, hours = _read_part(part)
        for day in days:
            for start, stop in hours:
                pieces += [(a, b, part) for a, b in _within_week(day * DAY_MIN + start, day * DAY_MIN + stop)]
    pieces.sort()
    for (_, stop, one), (start, _, other) in pairwise(pieces):
        if start < stop:
            form = (
                N_('"%(one)s" and "%(other)s" overlap on %(day)s %(clock)s. Write each working minute once.')
                if one != other
                else N_('"%(one)s" overlaps itself on %(day)s %(clock)s. Write each working minute once.')
            )
            raise Refusal(form, one=one, other=other, day=Word(DAYS[start // DAY_MIN]), clock=_clock(start % DAY_MIN))
    return _joined((a, b) for a, b, _ in pieces)


def read_shifts(text: str) -> dict[str, tuple[Span, ...]]:
    """The week's shifts by their clock hours, earliest first: each span of hours as it is written is a shift.

    >>> read_shifts("Mon-Tue 06:00-14:00, 14:00-22:00; Sat 06:00-14:00")["06:00–14:00"]
    ((360, 840), (1800, 2280), (7560, 8040))
    >>> list(read_shifts("Mon-Fri 22:00-06:00, 06:00-14:00"))
    ['06:00–14:00', '22:00–06:00']

    Raises Refusal as read_week does.
    """
    read_week(text)
    spans: dict[Span, list[Span]] = {}
    for part in text.split(";"):
        if part.strip() and part.strip().lower() not in _CLOSED:
            days, hours = _read_part(part.strip())
            for start, stop in hours:
                for day in days:
                    spans.setdefault((start, stop), []).extend(
                        _within_week(day * DAY_MIN + start, day * DAY_MIN + stop)
                    )
    return {
        f"{_clock(start)}–{_clock_stop(stop)}": _joined(sorted(spans[start, stop])) for start, stop in sorted(spans)
    }


def write_week(weekly: Iterable[Span]) -> str:
    """The words for a week's working spans; read_week reads them back.

    >>> write_week(((360, 840), (1800, 2280), (7560, 7920)))
    'Mon-Tue 06:00-14:00; Sat 06:00-12:00'
    >>> write_week(((0, 360), (9960, 10080)))
    'Sun 22:00-06:00'
    >>> write_week(())
    'closed'
    """
    spans = list(_joined(sorted(weekly)))
    if not spans:
        return CLOSED
    assert spans[0][0] >= 0
    assert spans[-1][1] <= WEEK_MIN
    first, last = spans[0], spans[-1]
    over_sunday_night = first[0] == 0 and last[1] == WEEK_MIN and first != last
    if over_sunday_night and first[1] + WEEK_MIN - last[0] < DAY_MIN:
        spans = [*spans[1:-1], (last[0], WEEK_MIN + first[1])]
    by_day: dict[int, list[str]] = {}
    for start, stop in spans:
        for a, b in [(start, stop)] if stop - start < DAY_MIN else _cut_at_midnight(start, stop):
            day = a // DAY_MIN
            by_day.setdefault(day, []).append(f"{_clock(a - day * DAY_MIN)}-{_clock_stop(b - day * DAY_MIN)}")
    runs: list[tuple[list[int], str]] = []
    for day in sorted(by_day):
        hours = ", ".join(by_day[day])
        if runs and runs[-1][1] == hours and runs[-1][0][-1] == day - 1:
            runs[-1][0].append(day)
        else:
            runs.append(([day], hours))
    return "; ".join(f"{_day_range(days)} {hours}" for days, hours in runs)


class Calendar:
    """The minutes in which something works, from minute 0 to a horizon.

    weekly          spans within 0..10080, worked in every week
    closed          spans of real minutes taken out of it, in any order, free to overlap
    horizon         the first minute that is not known; a whole number of minutes

    Working minutes are numbered 0, 1, 2 ... as they come. `begins` and
    `completes` differ only at the edges of shifts, and there it matters: a
    piece whose last pick is woven as Friday's shift stops is off on Friday,
    while work that starts with the next working minute starts on Monday.

    >>> week = Calendar(read_week("Mon-Fri 06:00-22:00"), (), 2 * WEEK_MIN)
    >>> friday_22 = 4 * DAY_MIN + 22 * 60
    >>> week.worked(friday_22)
    4800
    >>> week.completes(4800) == friday_22, week.begins(4800) == WEEK_MIN + 6 * 60
    (True, True)
    """

    __slots__ = ("horizon", "starts", "stops", "sums")

    def __init__(self, weekly: Iterable[Span], closed: Iterable[Span], horizon: int) -> None:
        weekly = tuple(weekly)
        for start, stop in weekly:
            if not 0 <= start < stop <= WEEK_MIN:
                raise Refusal(
                    N_("A week's hours run from minute 0 to %(last)s; %(start)s to %(stop)s is not such a span."),
                    last=WEEK_MIN,
                    start=start,
                    stop=stop,
                )
        closed = sorted(closed)
        for start, stop in closed:
            if start >= stop:
                raise Refusal(
                    N_("A closure from minute %(start)s to %(stop)s never ends. Let it stop after it starts."),
                    start=start,
                    stop=stop,
                )
        assert horizon >= 0
        always = _joined(
            sorted(
                (week + start, min(week + stop, horizon))
                for week in range(0, horizon, WEEK_MIN)
                for start, stop in weekly
                if week + start < horizon
            )
        )
        spans = _without(always, _joined(closed))
        self.horizon = horizon
        self.starts = [start for start, _ in spans]
        self.stops = [stop for _, stop in spans]
        self.sums = list(accumulate((stop - start for start, stop in spans), initial=0))

    @property
    def total(self) -> int:
        """Working minutes up to the horizon."""
        return self.sums[-1]

    @property
    def spans(self) -> list[Span]:
        return list(zip(self.starts, self.stops, strict=True))

    def worked(self, t: int) -> int:
        """Working minutes in [0, t)."""
        i = bisect_right(self.starts, t) - 1
        if i < 0:
            return 0
        return self.sums[i] + min(t, self.stops[i]) - self.starts[i]

    def begins(self, x: int) -> int:
        """The real minute at which working minute x begins."""
        i = bisect_right(self.sums, x) - 1
        if i < 0 or i >= len(self.starts):
            self._refuse(x + 1)
        return self.starts[i] + x - self.sums[i]

    def completes(self, x: int) -> int:
        """The real minute by which x working minutes are done; 0 when none are asked for."""
        if x == 0:
            return 0
        i = bisect_left(self.sums, x) - 1
        if i < 0 or i >= len(self.starts):
            self._refuse(x)
        return self.starts[i] + x - self.sums[i]

    def is_open(self, t: int) -> bool:
        """Whether minute t is worked."""
        i = bisect_right(self.starts, t) - 1
        return i >= 0 and t < self.stops[i]

    def next_open(self, t: int) -> int:
        """The first worked minute at t or after it."""
        return self.begins(self.worked(t))

    def add_minutes(self, start: int, need: int) -> Span:
        """The first worked minute and the end of `need` working minutes that may begin at `start`.

        Work that needs no minutes is done where it stands, open or closed.
        """
        if need == 0:
            return start, start
        x = self.worked(start)
        return self.begins(x), self.completes(x + need)

    def worked_between(self, start: int, stop: int) -> int:
        """Working minutes in [start, stop)."""
        return self.worked(stop) - self.worked(start)

    def _refuse(self, x: int) -> None:
        raise Refusal(
            N_(
                "The calendar holds %(total)s working minutes in its %(horizon)s minutes; minute %(minute)s of work was"
                " asked for. Open more hours, or plan further ahead."
            ),
            total=self.total,
            horizon=self.horizon,
            minute=x,
        )


# A mill has a few, and every page that counts minutes asks for the same ones. Nothing changes one that is made.
@lru_cache(maxsize=64)
def calendar_of(weekly: tuple[Span, ...], closed: tuple[Span, ...], horizon: int) -> Calendar:
    """The calendar of these hours, made once.

    >>> calendar_of(read_week("Mon-Fri 06:00-22:00"), (), WEEK_MIN).total
    4800
    """
    return Calendar(weekly, closed, horizon)


@dataclass(frozen=True, slots=True)
class Hours:
    """A pattern of work: hours that come back every week, and spans of real minutes in which all is closed."""

    weekly: tuple[Span, ...]
    closed: tuple[Span, ...] = ()


def _read_part(part: str) -> tuple[list[int], list[Span]]:
    days: list[int] = []
    hours: list[Span] = []
    for token in re.split(r"[,\s]+", _DASH.sub("-", part)):
        if token[:1].isdecimal():
            hours.append(_read_span(token, part))
        elif hours:
            raise Refusal(
                N_('In "%(part)s" the day %(day)s comes after hours. Divide the parts with a semicolon.'),
                part=part,
                day=token,
            )
        elif token:
            days += _read_days(token, part)
    if not days:
        raise Refusal(N_('"%(part)s" names no day. Write it like "Mon-Fri 06:00-22:00".'), part=part)
    if not hours:
        raise Refusal(N_('"%(part)s" names no hours. Write it like "Mon-Fri 06:00-22:00".'), part=part)
    return days, hours


def _read_days(token: str, part: str) -> list[int]:
    names = token.split("-")
    if len(names) > 2:
        raise Refusal(
            N_('In "%(part)s" the days %(days)s have more than two ends. Write them like Mon-Fri.'),
            part=part,
            days=token,
        )
    first, last = _read_day(names[0], part), _read_day(names[-1], part)
    return [day % 7 for day in range(first, last + 1 if last >= first else last + 8)]


def _read_day(name: str, part: str) -> int:
    low = name.lower()
    found = [
        day
        for enough, names in _DAY_NAMES
        for day, full in enumerate(names)
        if len(low) >= enough and full.startswith(low)
    ]
    if not found:
        raise Refusal(
            N_('In "%(part)s" the day "%(day)s" is not known. The days are %(days)s.'),
            part=part,
            day=name,
            days=Several(Word(day) for day in DAYS),
        )
    return found[0]


def _read_span(token: str, part: str) -> Span:
    clocks = token.split("-")
    if len(clocks) != 2:
        raise Refusal(
            N_('In "%(part)s" the hours %(hours)s need a start and a stop, like 06:00-22:00.'), part=part, hours=token
        )
    start, stop = (_read_clock(clock, part) for clock in clocks)
    if start == stop:
        raise Refusal(
            N_('In "%(part)s" the hours %(hours)s start and stop at once. Write 00:00-24:00 for a whole day.'),
            part=part,
            hours=token,
        )
    if start == DAY_MIN:
        raise Refusal(
            N_('In "%(part)s" the hours %(hours)s start at 24:00. Start them at 00:00 of the next day.'),
            part=part,
            hours=token,
        )
    return start, stop if stop > start else stop + DAY_MIN


def _read_clock(clock: str, part: str) -> int:
    match = _CLOCK.fullmatch(clock)
    if match is None:
        raise Refusal(
            N_('In "%(part)s" the time "%(clock)s" is not hours and minutes, like 06:00.'), part=part, clock=clock
        )
    hour, minute = int(match[1]), int(match[2])
    if minute > 59 or hour * 60 + minute > DAY_MIN:
        raise Refusal(N_('In "%(part)s" the time %(clock)s is past the end of a day, 24:00.'), part=part, clock=clock)
    return hour * 60 + minute


def _within_week(start: int, stop: int) -> list[Span]:
    """A span that may run past Sunday midnight, as spans inside one week."""
    if stop <= WEEK_MIN:
        return [(start, stop)]
    return [(0, stop - WEEK_MIN), (start, WEEK_MIN)]


def _joined(spans: Iterable[Span]) -> tuple[Span, ...]:
    """Sorted spans with those that touch or overlap made one."""
    joined: list[Span] = []
    for start, stop in spans:
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(stop, joined[-1][1]))
        else:
            joined.append((start, stop))
    return tuple(joined)


def _without(spans: Sequence[Span], closed: Sequence[Span]) -> list[Span]:
    """Sorted spans less sorted closures."""
    left: list[Span] = []
    at = 0
    for start, stop in spans:
        while at < len(closed) and closed[at][1] <= start:
            at += 1
        i = at
        while i < len(closed) and closed[i][0] < stop:
            if start < closed[i][0]:
                left.append((start, closed[i][0]))
            start = max(start, closed[i][1])
            i += 1
        if start < stop:
            left.append((start, stop))
    return left


def _cut_at_midnight(start: int, stop: int) -> list[Span]:
    midnights = range(start // DAY_MIN * DAY_MIN + DAY_MIN, stop, DAY_MIN)
    edges = [start, *midnights, stop]
    return list(pairwise(edges))


def _day_range(days: list[int]) -> str:
    if len(days) == 1:
        return DAYS[days[0]]
    return f"{DAYS[days[0]]}-{DAYS[days[-1]]}"


def _clock(minute: int) -> str:
    return f"{minute // 60:02d}:{minute % 60:02d}"


def _clock_stop(minute: int) -> str:
    """A stop is 24:00 on its own day and plain clock time on the next."""
    return _clock(minute if minute <= DAY_MIN else minute - DAY_MIN)
