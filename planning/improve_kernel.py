"""The inner loop of the search, in plain whole numbers: one change after another, timed. Knows no names or dates.

Written so that the compiler can make it fast and a person can read it: every function takes the same three
rows of integers and picks out its fields by name. The same source runs without the compiler, on lists, in the
same steps.

book    what is given and never changes: looms, warps, hours (32 bits)
floor   what stands now: orders of warps, the timing of the plan, the change being tried (32 bits)
tally   costs and random numbers (64 bits)

`compiled` marks a function and its types; improve.py has it compiled when it is wanted, never on import.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import log
from typing import Any

from planning.shed_plan import BROKEN_PIN_COST

# What the book holds, in its first fields: numbers of things, then where each table begins.
LOOMS = 0
WARPS = 1
ROW = 2  # room for one loom's order of warps, in fields
TUNERS = 3
TUNER_HOURS = 4
LOOM_CARDS = 5
WARP_CARDS = 6
JOBS = 7  # by loom and warp: where the job card is, 0 when the warp doesn't fit
PAIRS = 8  # 0, or set-ups given by loom, warp before and warp
SETUP_RATE = 9
MAKESPAN_RATE = 10
TOLERANCE = 11
FAMILY_STARTS = 12  # by family: where its warps begin in FAMILY_WARPS
FAMILY_WARPS = 13
FITTING_STARTS = 14  # by warp: where its looms begin in FITTING_LOOMS
FITTING_LOOMS = 15
LOOSE = 16  # warps that may be moved
LOOSE_COUNT = 17
# Where the tables of the floor begin.
ORDER = 20  # by loom: its warps, in order
LENGTH = 21
LOOM_OF = 22
PLACE_OF = 23
BEST = 24  # as ORDER and LENGTH, of the best plan so far
BEST_LENGTH = 25
SEGMENTS = 26  # by loom and place: what follows when a tuner is done there
LAST_ASK = 27  # by loom and place: the last place before it that needs a tuner, or -1
CHECKS = 28  # by visit of a tuner: the state of the timing before it, from which it can be resumed
CHECK_ROW = 29
GUESS_X = 30  # by loom and place: working minute at which the loom is free for it, tuners taken on average
GUESS_T = 31  # the same in real time
ASK = 32  # the present state of the timing: ASK_KEY.. by loom, then the tuners, then the last end
TRIED = 33  # two orders with a change made, for MOVE_A and MOVE_B
TIMED_ROW = 34  # by loom: where the order that is being timed begins
TIMED_LENGTH = 35
TOUCHED = 36
PLANNED = 37  # by warp, while proving
FREE_XS = 38  # by loom, while proving
BRANCH = 39  # by depth, while proving
CREW = 40  # warps in the order in which they are set up, of the best plan the proof has found
# Where the tables of the tally begin.
SEGMENT_COST = 41
CHECK_COST = 42
GUESS_COST = 43
BRANCH_COST = 44
# Where warps are still to be wound; WIND_CARDS is 0 where none is, and no other of these is looked at then.
WIND_CARDS = 45  # by warp
MILLS = 46
MILL_HOURS = 47
AHEAD = 48  # minutes before a loom comes free by which its next warp is to be wound
KINDS = 49
KINDS_FREE = 50  # by kind: beams without a warp at the start
# In the floor: what stands at the minute that the timing has come to.
WIND_ROWS = 51  # by loom: a row of WIND_ROW fields
MILL_FREE = 52
KIND_LEFT = 53
QUEUE = 54  # looms that wait for a beam, the first first
AWAY_MOST = 55  # so many warps of the plan in force may stand on another loom; -1 when there is none to keep to
BOOK_FIELDS = 56

# A loom card; the first three fields are those of a warp card.
FAMILY = 0
REED = 1
GROUP = 2
HOURS = 3
FREE_AT = 4
FREE_X = 5
FIXED = 6  # places at the front that stay
TAKES = 7  # a bit for each kind of beam that goes into it
LOOM_CARD = 8

# A warp card. Set-ups are minutes x 2, plus 1 when they need a tuner.
WEFT_CHANGE = 3
TIE_IN = 4
DRAW_IN = 5
GAIT_UP = 6
OWN_SETUP = 7  # -1, or what is left of it for a warp in a loom
RELEASE = 8
PIN_X = 9  # working minute of its loom at which it must start, or -1
PREVIOUS_LOOM = 10
PREVIOUS_START = 11
MOVE_COST = 12
PIECES = 13
UNDER_WAY = 14
FAMILY_LIST = 15
LEAST_SETUP_MIN = 16
LEAST_LOOM_MIN = 17  # of it, what is in the loom's own time
WARP_CARD = 20

# A wind card: minutes of winding, or -1 when it is wound; when its yarn is here; a bit for each kind that takes it.
WIND_MIN = 0
WIND_FROM = 1
WANTS = 2
WIND_CARD = 4

# A row of a loom while warps are wound: what its next warp does next and when; the beam in it, and when that comes off.
NEXT_AT = 0
NEXT_IS = 1
OFF_AT = 2
OFF_KIND = 3
OWN_KIND = 4  # of the next warp, -1 when it wants none
AT_PLACE = 5
AT_X = 6
WIND_ROW = 8
ASKS = 1  # what is next: the warp asks for a beam
STARTS = 2  # it starts its set-up

# A job card, for a warp on a loom, in the loom's working minutes; then for each piece its own four fields.
RUN = 0
RELEASE_X = 1
CALM = 2  # started no later than this, no piece is late
FIRST_PIECE = 3
MARK = 0
DUE_X = 1
DUE = 2
LATE_RATE = 3
PIECE = 4

# A calendar: how wide its drawers are (as a shift), where they and its spans begin. Spans are pairs of start and sum.
BY_TIME = 0
BY_WORK = 1
SPANS = 2
LAST_DRAWER = 3
CALENDAR = 4
DRAWER = 10

# What a segment says: when the tuner is done, in tuners' minutes; the next asking, as in ASK; the loom's end if it is
# the last.
DONE_Y = 0
NEXT_KEY = 1
NEXT_Y = 2
NEXT_SETUP = 3
NEXT_PLACE = 4
LOOM_END = 5
VISIT = 6
SEGMENT = 8

# A branch of the proof: the warp planned last, when it started, and what to put back.
START_T = 0
START_LOOM = 1
LAST_END = 2
BRANCH_LOOM = 3
BRANCH_WARP = 4
X_WAS = 5
TUNER = 6
TUNER_WAS = 7
NEXT_CHOICE = 8
BRANCH_CARD = 10

# Fields of the floor that stand alone, before its tables.
MOVE_A = 0
MOVE_B = 1
FIRST_A = 2
FIRST_B = 3
WAIT = 4  # mean wait for a tuner, in tuners' minutes
VISITS = 5
DEPTH = 6
FLOOR_FIELDS = 8

# Fields of the tally that stand alone.
COST = 0
BEST_COST = 1
CHANCE = 2
PROPOSED = 3
TIMED = 4
ACCEPTED = 5
WAITED = 6
SLACK = 7  # how far the guess may be over and the change still be timed
FOUND = 8  # better plans found by the proof
AWAY = 9  # warps that stand on another loom than in the plan in force
TALLY_FIELDS = 10

FAR = 2**31 - 1
LOOM_BITS = 6
LOOM_MASK = 63
CHANCE_LOW = 2**32 - 1

Row = Any


@dataclass(frozen=True)
class Marked:
    plain: Callable[..., Any]
    signature: str
    inlined: bool


# In the order of their definition, in which they can be compiled.
MARKED: list[Marked] = []


def compiled(signature: str, *, inlined: bool = False) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Mark a function for the compiler: R is a row of 32-bit integers, T the tally, i and f one number."""

    def mark(plain: Callable[..., Any]) -> Callable[..., Any]:
        MARKED.append(Marked(plain, signature, inlined))
        return plain

    return mark


# Chance


@compiled("i(T)", inlined=True)
def draw(tally: Row) -> int:
    """A random number below 2**31: multiply with carry, as in Marsaglia's KISS (1999).

    No product here may pass 63 bits, since the compiler takes it that whole numbers never overflow.
    """
    tally[CHANCE] = 698769069 * (tally[CHANCE] & CHANCE_LOW) + (tally[CHANCE] >> 32)
    return (tally[CHANCE] & CHANCE_LOW) >> 1


@compiled("i(T,i)", inlined=True)
def below(tally: Row, n: int) -> int:
    return (draw(tally) * n) >> 31


# Hours


@compiled("i(R,i,i)", inlined=True)
def worked(book: Row, hours: int, t: int) -> int:
    """Working minutes in [0, t)."""
    at = book[hours + SPANS] + 2 * book[book[hours + BY_TIME] + min(t >> DRAWER, book[hours + LAST_DRAWER])]
    while book[at + 2] <= t:
        at += 2
    return min(book[at + 1] + t - book[at], book[at + 3])


@compiled("i(R,i,i)", inlined=True)
def completes(book: Row, hours: int, x: int) -> int:
    """The real minute by which x working minutes are done."""
    at = book[hours + SPANS] + 2 * book[book[hours + BY_WORK] + min(x >> DRAWER, book[hours + LAST_DRAWER])]
    while book[at + 3] < x:
        at += 2
    return book[at] + x - book[at + 1]


@compiled("i(R,i,i)", inlined=True)
def begins(book: Row, hours: int, x: int) -> int:
    """The real minute at which working minute x begins."""
    at = book[hours + SPANS] + 2 * book[book[hours + BY_WORK] + min(x >> DRAWER, book[hours + LAST_DRAWER])]
    while book[at + 3] <= x:
        at += 2
    return book[at] + x - book[at + 1]


# One warp on one loom


@compiled("i(R,i,i)", inlined=True)
def job_of(book: Row, loom: int, warp: int) -> int:
    """Where the job card is; 0 when the warp doesn't fit the loom."""
    return book[book[JOBS] + loom * book[WARPS] + warp]


@compiled("i(R,i,i,i)", inlined=True)
def setup_of(book: Row, loom: int, before: int, warp: int) -> int:
    """The set-up of a warp after another, or after what the loom holds when `before` is -1."""
    if book[PAIRS]:
        return book[book[PAIRS] + (loom * (book[WARPS] + 1) + before + 1) * book[WARPS] + warp]
    card = book[WARP_CARDS] + warp * WARP_CARD
    if book[card + OWN_SETUP] >= 0:
        return book[card + OWN_SETUP]
    held = book[LOOM_CARDS] + loom * LOOM_CARD if before < 0 else book[WARP_CARDS] + before * WARP_CARD
    if book[held + GROUP] == book[card + GROUP]:
        return book[card + WEFT_CHANGE]
    if book[held + FAMILY] == book[card + FAMILY]:
        return book[card + TIE_IN]
    if book[held + REED] == book[card + REED]:
        return book[card + DRAW_IN]
    return book[card + GAIT_UP]


@compiled("i(R,i,i,i,i)", inlined=True)
def harm_of(book: Row, loom: int, warp: int, job: int, x: int) -> int:
    """What lateness, a broken pin and a move cost when the warp starts at working minute x."""
    hours = book[book[LOOM_CARDS] + loom * LOOM_CARD + HOURS]
    harm = 0
    card = book[WARP_CARDS] + warp * WARP_CARD
    if x > book[job + CALM]:
        for i in range(book[card + PIECES]):
            piece = job + FIRST_PIECE + i * PIECE
            done = x + book[piece + MARK]
            if done > book[piece + DUE_X]:
                harm += (completes(book, hours, done) - book[piece + DUE]) * book[piece + LATE_RATE]
    if book[card + PIN_X] >= 0 and x > book[card + PIN_X]:
        harm += BROKEN_PIN_COST
    if book[card + PREVIOUS_LOOM] >= 0:
        shift = begins(book, hours, x) - book[card + PREVIOUS_START]
        if loom != book[card + PREVIOUS_LOOM] or shift > book[TOLERANCE] or -shift > book[TOLERANCE]:
            harm += book[card + MOVE_COST]
    return harm


@compiled("i(R,i,i,i,i)", inlined=True)
def start_of(book: Row, warp: int, job: int, x: int, setup_min: int) -> int:
    """Working minute at which the warp starts to weave when the loom is free from x and the set-up is in loom time."""
    if not book[PAIRS]:
        x = max(x, book[job + RELEASE_X])
    x = max(x + setup_min, book[job + RELEASE_X])
    return max(x, book[book[WARP_CARDS] + warp * WARP_CARD + PIN_X])


@compiled("i(R,i,i,i,i)", inlined=True)
def asks_at(book: Row, loom: int, place: int, warp: int, x: int) -> int:
    """The real minute at which loom and warp are both there."""
    card = book[LOOM_CARDS] + loom * LOOM_CARD
    free = completes(book, book[card + HOURS], x) if place else book[card + FREE_AT]
    return max(free, book[book[WARP_CARDS] + warp * WARP_CARD + RELEASE])


# The exact timing. Its state is the row ASK: for each loom the key of its asking (minute, then loom), the minute in
# tuners' time, the set-up and the place; for each tuner when free; the last end so far.


@compiled("i(R,R,i,i,i)")
def weave_on(book: Row, floor: Row, loom: int, place: int, x: int) -> int:
    """Weave from `place`, for which the loom is free at x, until a tuner is needed; what that costs."""
    looms, row, length = book[LOOMS], floor[book[TIMED_ROW] + loom], floor[book[TIMED_LENGTH] + loom]
    hours = book[book[LOOM_CARDS] + loom * LOOM_CARD + HOURS]
    ask = book[ASK] + loom
    harm = 0
    before = floor[row + place - 1] if place else -1
    while place < length:
        warp = floor[row + place]
        setup = setup_of(book, loom, before, warp)
        harm += (setup >> 1) * book[SETUP_RATE]
        if setup > 1 and setup & 1:
            t = asks_at(book, loom, place, warp, x)
            under_way = book[book[WARP_CARDS] + warp * WARP_CARD + UNDER_WAY]
            floor[ask] = loom if under_way else ((t + 1) << LOOM_BITS) + loom
            floor[ask + looms] = worked(book, book[TUNER_HOURS], t)
            floor[ask + 2 * looms] = setup >> 1
            floor[ask + 3 * looms] = place
            return harm
        job = job_of(book, loom, warp)
        x = start_of(book, warp, job, x, setup >> 1)
        harm += harm_of(book, loom, warp, job, x)
        x += book[job + RUN]
        before = warp
        place += 1
    floor[ask] = FAR
    floor[ask + 3 * looms] = length
    if length:
        last = ask - loom + 4 * looms + book[TUNERS]
        floor[last] = max(floor[last], completes(book, hours, x))
    return harm


@compiled("i(R,R,i,i,i)", inlined=True)
def weave_after(book: Row, floor: Row, loom: int, place: int, done_y: int) -> int:
    """Weave the warp at `place` once its tuner is done, and on; what that costs beside its set-up."""
    hours = book[book[LOOM_CARDS] + loom * LOOM_CARD + HOURS]
    warp = floor[floor[book[TIMED_ROW] + loom] + place]
    job = job_of(book, loom, warp)
    x = worked(book, hours, completes(book, book[TUNER_HOURS], done_y))
    x = max(x, book[book[WARP_CARDS] + warp * WARP_CARD + PIN_X])
    harm = harm_of(book, loom, warp, job, x)
    return harm + weave_on(book, floor, loom, place + 1, x + book[job + RUN])


@compiled("i(R,R,T,i,i,i,i)", inlined=True)
def weave_or_look_up(book: Row, floor: Row, tally: Row, loom: int, place: int, done_y: int, keeping: int) -> int:
    """Weave after the tuner's visit at `place`, or from the start when it is -1; what that costs.

    It is looked up when no change has touched the loom and the tuner is done
    at the same minute as before.
    """
    looms, ask = book[LOOMS], book[ASK]
    last = ask + 4 * looms + book[TUNERS]
    at = loom * (book[ROW] + 1) + place + 1
    segment = book[SEGMENTS] + at * SEGMENT
    if floor[segment + DONE_Y] == done_y and not floor[book[TOUCHED] + loom]:
        floor[ask + loom] = floor[segment + NEXT_KEY]
        floor[ask + looms + loom] = floor[segment + NEXT_Y]
        floor[ask + 2 * looms + loom] = floor[segment + NEXT_SETUP]
        floor[ask + 3 * looms + loom] = floor[segment + NEXT_PLACE]
        floor[last] = max(floor[last], floor[segment + LOOM_END])
        return tally[book[SEGMENT_COST] + at]
    end = floor[last]
    floor[last] = 0
    if place < 0:
        harm = weave_on(book, floor, loom, 0, book[book[LOOM_CARDS] + loom * LOOM_CARD + FREE_X])
    else:
        harm = weave_after(book, floor, loom, place, done_y)
    if keeping:
        floor[segment + DONE_Y] = done_y
        floor[segment + NEXT_KEY] = floor[ask + loom]
        floor[segment + NEXT_Y] = floor[ask + looms + loom]
        floor[segment + NEXT_SETUP] = floor[ask + 2 * looms + loom]
        floor[segment + NEXT_PLACE] = floor[ask + 3 * looms + loom]
        floor[segment + LOOM_END] = floor[last]
        tally[book[SEGMENT_COST] + at] = harm
    floor[last] = max(floor[last], end)
    return harm


@compiled("i(R,R,T,i,i,i,i)")
def time_on(book: Row, floor: Row, tally: Row, visit: int, cost: int, limit: int, keeping: int) -> int:
    """Carry the timing on from the state in ASK, before visit number `visit`; the cost, or any above the limit.

    cost    what it has cost so far
    keeping whether all of it is written down for the next change
    """
    looms, tuners, ask = book[LOOMS], book[TUNERS], book[ASK]
    check_row = book[CHECK_ROW]
    free, last = ask + 4 * looms, ask + 4 * looms + tuners
    while True:
        if keeping:
            at = book[CHECKS] + visit * check_row
            for i in range(check_row):
                floor[at + i] = floor[ask + i]
            tally[book[CHECK_COST] + visit] = cost
        key = FAR
        for i in range(ask, ask + looms):
            key = min(key, floor[i])
        if key == FAR or cost + book[MAKESPAN_RATE] * floor[last] > limit:
            break
        loom = key & LOOM_MASK
        tuner = free
        for i in range(free + 1, last):
            if floor[i] < floor[tuner]:
                tuner = i
        place = floor[ask + 3 * looms + loom]
        y = floor[ask + looms + loom]
        if floor[tuner] > y:
            tally[WAITED] += floor[tuner] - y
            y = floor[tuner]
        y += floor[ask + 2 * looms + loom]
        floor[tuner] = y
        cost += weave_or_look_up(book, floor, tally, loom, place, y, keeping)
        if keeping:
            floor[book[SEGMENTS] + (loom * (book[ROW] + 1) + place + 1) * SEGMENT + VISIT] = visit
        visit += 1
    floor[VISITS] = visit
    return cost + book[MAKESPAN_RATE] * floor[last]


# The timing where warps are still to be wound: beams, warping mills and tuners serve looms minute after minute, and it
# is done whole each time.


@compiled("i(i)", inlined=True)
def lowest_bit(bits: int) -> int:
    """Which bit is the lowest that is set; -1 when none is."""
    if not bits:
        return -1
    bit = 0
    while not (bits >> bit) & 1:
        bit += 1
    return bit


@compiled("i(R,R,i,i)", inlined=True)
def look_ahead(book: Row, floor: Row, loom: int, weaves_from: int) -> int:
    """When the loom's next warp asks for a beam, or starts; the one before it weaves from then on."""
    row = book[WIND_ROWS] + loom * WIND_ROW
    place, x = floor[row + AT_PLACE], floor[row + AT_X]
    floor[row + NEXT_AT], floor[row + NEXT_IS] = FAR, 0
    if place == floor[book[TIMED_LENGTH] + loom]:
        return 0
    warp = floor[floor[book[TIMED_ROW] + loom] + place]
    card, hours = book[WIND_CARDS] + warp * WIND_CARD, book[MILL_HOURS]
    if book[card + WIND_MIN] < 0:
        floor[row + OWN_KIND] = lowest_bit(book[card + WANTS])
        floor[row + NEXT_AT] = asks_at(book, loom, place, warp, x)
        floor[row + NEXT_IS] = STARTS
        if book[book[WARP_CARDS] + warp * WARP_CARD + UNDER_WAY]:
            floor[row + NEXT_AT] = -1
        return 0
    loom_card = book[LOOM_CARDS] + loom * LOOM_CARD
    free = completes(book, book[loom_card + HOURS], x) if place else book[loom_card + FREE_AT]
    y = worked(book, hours, max(free - book[AHEAD], 0)) - book[card + WIND_MIN]
    wanted = begins(book, hours, y) if y > 0 else 0
    floor[row + NEXT_AT] = max(book[card + WIND_FROM], weaves_from, wanted)
    floor[row + NEXT_IS] = ASKS
    return 0


@compiled("i(R,R,i)", inlined=True)
def kinds_for(book: Row, floor: Row, loom: int) -> int:
    """A bit for each kind of beam that takes the loom's next warp and goes into the loom."""
    warp = floor[floor[book[TIMED_ROW] + loom] + floor[book[WIND_ROWS] + loom * WIND_ROW + AT_PLACE]]
    return book[book[WIND_CARDS] + warp * WIND_CARD + WANTS] & book[book[LOOM_CARDS] + loom * LOOM_CARD + TAKES]


@compiled("i(R,R,i,i,i)")
def wind(book: Row, floor: Row, loom: int, kind: int, t: int) -> int:
    """The loom's next warp has a beam of the kind, or none when it is -1, and the first warping mill from t on."""
    row = book[WIND_ROWS] + loom * WIND_ROW
    warp = floor[floor[book[TIMED_ROW] + loom] + floor[row + AT_PLACE]]
    floor[row + OWN_KIND] = kind
    if kind >= 0:
        floor[book[KIND_LEFT] + kind] -= 1
    mill = book[MILL_FREE]
    for i in range(mill + 1, book[MILL_FREE] + book[MILLS]):
        if floor[i] < floor[mill]:
            mill = i
    y = max(worked(book, book[MILL_HOURS], t), floor[mill]) + book[book[WIND_CARDS] + warp * WIND_CARD + WIND_MIN]
    floor[mill] = y
    there = asks_at(book, loom, floor[row + AT_PLACE], warp, floor[row + AT_X])
    floor[row + NEXT_AT] = max(there, completes(book, book[MILL_HOURS], y))
    floor[row + NEXT_IS] = STARTS
    return 0


@compiled("i(R,R,T,i,i)")
def start_on(book: Row, floor: Row, tally: Row, loom: int, t: int) -> int:
    """Set the loom's next warp up from t on, and weave it; what that costs."""
    row = book[WIND_ROWS] + loom * WIND_ROW
    place = floor[row + AT_PLACE]
    at = floor[book[TIMED_ROW] + loom] + place
    warp = floor[at]
    hours, job = book[book[LOOM_CARDS] + loom * LOOM_CARD + HOURS], job_of(book, loom, warp)
    setup = setup_of(book, loom, floor[at - 1] if place else -1, warp)
    t = max(t, asks_at(book, loom, place, warp, floor[row + AT_X]))
    if setup > 1 and setup & 1:
        free = book[ASK] + 4 * book[LOOMS]
        tuner = free
        for i in range(free + 1, free + book[TUNERS]):
            if floor[i] < floor[tuner]:
                tuner = i
        y = worked(book, book[TUNER_HOURS], t)
        tally[WAITED] += max(floor[tuner] - y, 0)
        floor[VISITS] += 1
        y = max(y, floor[tuner]) + (setup >> 1)
        floor[tuner] = y
        x = worked(book, hours, completes(book, book[TUNER_HOURS], y))
    else:
        x = worked(book, hours, t) + (setup >> 1)
    x = max(x, book[book[WARP_CARDS] + warp * WARP_CARD + PIN_X])
    harm = (setup >> 1) * book[SETUP_RATE] + harm_of(book, loom, warp, job, x)
    starts = begins(book, hours, x)
    x += book[job + RUN]
    floor[row + AT_X] = x
    floor[row + AT_PLACE] = place + 1
    last = book[ASK] + 4 * book[LOOMS] + book[TUNERS]
    end = completes(book, hours, x)
    floor[last] = max(floor[last], end)
    if floor[row + OWN_KIND] >= 0:
        floor[row + OFF_AT] = end
        floor[row + OFF_KIND] = floor[row + OWN_KIND]
    look_ahead(book, floor, loom, starts)
    return harm


@compiled("i(R,R,i,i)")
def beam_off(book: Row, floor: Row, loom: int, waiting: int) -> int:
    """The loom's beam comes off at OFF_AT, for the first of those waiting whom it suits; how many still wait."""
    row = book[WIND_ROWS] + loom * WIND_ROW
    kind, t = floor[row + OFF_KIND], floor[row + OFF_AT]
    floor[row + OFF_AT] = FAR
    floor[book[KIND_LEFT] + kind] += 1
    for i in range(waiting):
        other = floor[book[QUEUE] + i]
        if (kinds_for(book, floor, other) >> kind) & 1:
            for q in range(i, waiting - 1):
                floor[book[QUEUE] + q] = floor[book[QUEUE] + q + 1]
            wind(book, floor, other, kind, t)
            return waiting - 1
    return waiting


@compiled("i(R,R,i,i,i)")
def ask_beam(book: Row, floor: Row, loom: int, t: int, waiting: int) -> int:
    """The loom's next warp asks for a beam at t, and waits when none is there; how many wait then."""
    row = book[WIND_ROWS] + loom * WIND_ROW
    warp = floor[floor[book[TIMED_ROW] + loom] + floor[row + AT_PLACE]]
    if not book[book[WIND_CARDS] + warp * WIND_CARD + WANTS]:
        wind(book, floor, loom, -1, t)
        return waiting
    kinds = kinds_for(book, floor, loom)
    for kind in range(book[KINDS]):
        if (kinds >> kind) & 1 and floor[book[KIND_LEFT] + kind] > 0:
            wind(book, floor, loom, kind, t)
            return waiting
    floor[row + NEXT_AT] = FAR
    floor[book[QUEUE] + waiting] = loom
    return waiting + 1


@compiled("i(R,R,T,i)")
def time_wound(book: Row, floor: Row, tally: Row, limit: int) -> int:
    """The cost, or any above the limit."""
    looms, rows = book[LOOMS], book[WIND_ROWS]
    last = book[ASK] + 4 * looms + book[TUNERS]
    for i in range(book[ASK] + 4 * looms, last + 1):
        floor[i] = 0
    for i in range(book[MILLS]):
        floor[book[MILL_FREE] + i] = 0
    for i in range(book[KINDS]):
        floor[book[KIND_LEFT] + i] = book[book[KINDS_FREE] + i]
    tally[WAITED] = 0
    floor[VISITS] = 0
    for loom in range(looms):
        row = rows + loom * WIND_ROW
        floor[row + AT_PLACE] = 0
        floor[row + AT_X] = book[book[LOOM_CARDS] + loom * LOOM_CARD + FREE_X]
        floor[row + OFF_AT] = FAR
        look_ahead(book, floor, loom, 0)
    cost, now, waiting = 0, 0, 0
    while cost + book[MAKESPAN_RATE] * floor[last] <= limit:
        # Of what happens in one minute: beams come free, then warps ask, then warps start; looms in the shed's order.
        key = FAR << (LOOM_BITS + 2)
        for loom in range(looms):
            row = rows + loom * WIND_ROW
            key = min(key, ((floor[row + OFF_AT] << 2) << LOOM_BITS) + loom)
            key = min(key, (((floor[row + NEXT_AT] << 2) + floor[row + NEXT_IS]) << LOOM_BITS) + loom)
        if key >= FAR << (LOOM_BITS + 2):
            if not waiting:
                break
            # Nobody gives a beam up any more, and nothing goes on.
            loom = floor[book[QUEUE]]
            waiting -= 1
            for q in range(waiting):
                floor[book[QUEUE] + q] = floor[book[QUEUE] + q + 1]
            cost += BROKEN_PIN_COST
            wind(book, floor, loom, -1, now)
            continue
        loom, what, t = key & LOOM_MASK, (key >> LOOM_BITS) & 3, key >> (LOOM_BITS + 2)
        now = max(t, 0)
        if what == STARTS:
            cost += start_on(book, floor, tally, loom, now)
        elif what == ASKS:
            waiting = ask_beam(book, floor, loom, now, waiting)
        else:
            waiting = beam_off(book, floor, loom, waiting)
    return cost + book[MAKESPAN_RATE] * floor[last]


@compiled("i(R,R,T,i,i)")
def time_all(book: Row, floor: Row, tally: Row, limit: int, keeping: int) -> int:
    """The timing from the first minute."""
    if book[WIND_CARDS]:
        return time_wound(book, floor, tally, limit)
    ask = book[ASK] + 4 * book[LOOMS]
    for i in range(ask, ask + book[TUNERS] + 1):
        floor[i] = 0
    cost = 0
    for loom in range(book[LOOMS]):
        cost += weave_or_look_up(book, floor, tally, loom, -1, 0, keeping)
    tally[WAITED] = 0
    return time_on(book, floor, tally, 0, cost, limit, keeping)


@compiled("i(R,R,T,i,i)")
def time_change(book: Row, floor: Row, tally: Row, limit: int, keeping: int) -> int:
    """The timing of the change in TRIED, resumed before the first visit that could differ.

    Strictly before: a loom's asking for the first changed place is already in
    the state at that place, so the state of the asking before it is taken.
    """
    if book[WIND_CARDS]:
        return time_wound(book, floor, tally, limit)
    row = book[ROW] + 1
    a, b = floor[MOVE_A] * row, floor[MOVE_B] * row
    ask_a = floor[book[LAST_ASK] + a + floor[FIRST_A]]
    ask_b = floor[book[LAST_ASK] + b + floor[FIRST_B]]
    if ask_a < 0 or ask_b < 0:
        return time_all(book, floor, tally, limit, keeping)
    visit_a = floor[book[SEGMENTS] + (a + ask_a + 1) * SEGMENT + VISIT]
    visit_b = floor[book[SEGMENTS] + (b + ask_b + 1) * SEGMENT + VISIT]
    visit = min(visit_a, visit_b)
    at = book[CHECKS] + visit * book[CHECK_ROW]
    for i in range(book[CHECK_ROW]):
        floor[book[ASK] + i] = floor[at + i]
    return time_on(book, floor, tally, visit, tally[book[CHECK_COST] + visit], limit, keeping)


# The guess: one loom alone, its tuners taken to keep it waiting as long as they do on average.


@compiled("i(R,R,T,i,i,i,i)")
def guess(book: Row, floor: Row, tally: Row, loom: int, place: int, limit: int, keeping: int) -> int:
    """What the loom's order costs, all before `place` being as written down; with `keeping` the rest is too."""
    row, length = floor[book[TIMED_ROW] + loom], floor[book[TIMED_LENGTH] + loom]
    hours, kept = book[book[LOOM_CARDS] + loom * LOOM_CARD + HOURS], loom * (book[ROW] + 1)
    x, harm = floor[book[GUESS_X] + kept + place], tally[book[GUESS_COST] + kept + place]
    before = floor[row + place - 1] if place else -1
    while place < length and harm <= limit:
        if keeping:
            floor[book[GUESS_X] + kept + place] = x
            tally[book[GUESS_COST] + kept + place] = harm
        warp = floor[row + place]
        job = job_of(book, loom, warp)
        setup = setup_of(book, loom, before, warp)
        harm += (setup >> 1) * book[SETUP_RATE]
        if setup > 1 and setup & 1:
            y = worked(book, book[TUNER_HOURS], asks_at(book, loom, place, warp, x)) + floor[WAIT] + (setup >> 1)
            x = worked(book, hours, completes(book, book[TUNER_HOURS], y))
            x = max(x, book[book[WARP_CARDS] + warp * WARP_CARD + PIN_X])
        else:
            x = start_of(book, warp, job, x, setup >> 1)
        if keeping:
            floor[book[GUESS_T] + kept + place] = completes(book, hours, x)
        harm += harm_of(book, loom, warp, job, x)
        x += book[job + RUN]
        before = warp
        place += 1
    if keeping:
        floor[book[GUESS_X] + kept + place] = x
        tally[book[GUESS_COST] + kept + place] = harm
        floor[book[GUESS_T] + kept + place] = completes(book, hours, x)
    return harm


# Changes to try. Each writes the new orders of looms a and b into TRIED and says whether there is one.


@compiled("i(R,R,i,i)", inlined=True)
def open_row(book: Row, floor: Row, slot: int, loom: int) -> int:
    """Make the tried order in `slot` the one that is timed on the loom, empty as yet; where it begins."""
    row = book[TRIED] + slot * book[ROW]
    floor[book[TIMED_ROW] + loom] = row
    floor[book[TOUCHED] + loom] = 1
    return row


@compiled("i(R,R)", inlined=True)
def put_back(book: Row, floor: Row) -> int:
    """Time the standing orders again on both looms of the change."""
    for i in range(2):
        loom = floor[MOVE_A + i]
        floor[book[TIMED_ROW] + loom] = book[ORDER] + loom * book[ROW]
        floor[book[TIMED_LENGTH] + loom] = floor[book[LENGTH] + loom]
        floor[book[TOUCHED] + loom] = 0
    return 0


@compiled("i(R,R,i,i,i)", inlined=True)
def fits_run(book: Row, floor: Row, start: int, count: int, loom: int) -> int:
    """Whether all warps of a run fit a loom."""
    for i in range(start, start + count):
        if not job_of(book, loom, floor[i]):
            return 0
    return 1


@compiled("i(R,R,i,i,i,i,i,i)")
def exchange(book: Row, floor: Row, a: int, i: int, m: int, b: int, j: int, n: int) -> int:
    """m warps of loom a from place i against n warps of another loom b from place j; either may be none."""
    row, order = book[ROW], book[ORDER]
    at_a, at_b = order + a * row, order + b * row
    if not (fits_run(book, floor, at_a + i, m, b) and fits_run(book, floor, at_b + j, n, a)):
        return 0
    length_a, length_b = floor[book[LENGTH] + a], floor[book[LENGTH] + b]
    floor[MOVE_A], floor[MOVE_B], floor[FIRST_A], floor[FIRST_B] = a, b, i, j
    to = open_row(book, floor, 0, a)
    for q in range(i):
        floor[to + q] = floor[at_a + q]
    for q in range(n):
        floor[to + i + q] = floor[at_b + j + q]
    for q in range(i + m, length_a):
        floor[to + q - m + n] = floor[at_a + q]
    floor[book[TIMED_LENGTH] + a] = length_a - m + n
    to = open_row(book, floor, 1, b)
    for q in range(j):
        floor[to + q] = floor[at_b + q]
    for q in range(m):
        floor[to + j + q] = floor[at_a + i + q]
    for q in range(j + n, length_b):
        floor[to + q - n + m] = floor[at_b + q]
    floor[book[TIMED_LENGTH] + b] = length_b - n + m
    return 1


@compiled("i(R,R,i,i,i,i)")
def turn(book: Row, floor: Row, a: int, i: int, m: int, n: int) -> int:
    """On one loom, m warps from place i against the n that follow them: a shift when one of them is long."""
    at, length = book[ORDER] + a * book[ROW], floor[book[LENGTH] + a]
    if m < 1 or n < 1 or i + m + n > length:
        return 0
    floor[MOVE_A], floor[MOVE_B], floor[FIRST_A], floor[FIRST_B] = a, a, i, i
    to = open_row(book, floor, 0, a)
    for q in range(length):
        floor[to + q] = floor[at + q]
    for q in range(n):
        floor[to + i + q] = floor[at + i + m + q]
    for q in range(m):
        floor[to + i + n + q] = floor[at + i + q]
    return 1


@compiled("i(R,R,i,i,i)")
def swap(book: Row, floor: Row, a: int, i: int, j: int) -> int:
    """On one loom, the warp at place i for the one at place j, i before j."""
    at, length = book[ORDER] + a * book[ROW], floor[book[LENGTH] + a]
    floor[MOVE_A], floor[MOVE_B], floor[FIRST_A], floor[FIRST_B] = a, a, i, i
    to = open_row(book, floor, 0, a)
    for q in range(length):
        floor[to + q] = floor[at + q]
    floor[to + i] = floor[at + j]
    floor[to + j] = floor[at + i]
    return 1


@compiled("i(R,R,i,i,i)", inlined=True)
def insert(book: Row, floor: Row, warp: int, b: int, j: int) -> int:
    """A warp that is on no loom yet, to before place j of loom b."""
    at, length = book[ORDER] + b * book[ROW], floor[book[LENGTH] + b]
    floor[MOVE_A], floor[MOVE_B], floor[FIRST_A], floor[FIRST_B] = b, b, j, j
    to = open_row(book, floor, 0, b)
    for q in range(j):
        floor[to + q] = floor[at + q]
    floor[to + j] = warp
    for q in range(j, length):
        floor[to + q + 1] = floor[at + q]
    floor[book[TIMED_LENGTH] + b] = length + 1
    return 1


@compiled("i(R,R,i,i,i,i,i)")
def relocate(book: Row, floor: Row, a: int, i: int, m: int, b: int, j: int) -> int:
    """m warps from place i of loom a to before place j of loom b."""
    if a != b:
        return exchange(book, floor, a, i, m, b, j, 0)
    if j < i:
        return turn(book, floor, a, j, i - j, m)
    return turn(book, floor, a, i, m, j - i - m)


# Where things are


@compiled("i(R,i)", inlined=True)
def first_place(book: Row, loom: int) -> int:
    return book[book[LOOM_CARDS] + loom * LOOM_CARD + FIXED]


@compiled("i(R,R,T,i,i)", inlined=True)
def place_near(book: Row, floor: Row, tally: Row, loom: int, t: int) -> int:
    """A place on the loom, from its first free one to its end, that is woven at about minute t."""
    first, end = first_place(book, loom), floor[book[LENGTH] + loom]
    low, high = first, end
    at = book[GUESS_T] + loom * (book[ROW] + 1)
    while low < high:
        middle = (low + high) >> 1
        if floor[at + middle] < t:
            low = middle + 1
        else:
            high = middle
    return max(first, min(end, low + below(tally, 5) - 2))


@compiled("i(R,R,i,i)", inlined=True)
def family_at(book: Row, floor: Row, a: int, i: int) -> int:
    warp = floor[book[ORDER] + a * book[ROW] + i]
    return book[book[WARP_CARDS] + warp * WARP_CARD + FAMILY]


@compiled("i(R,R,i,i)", inlined=True)
def family_run(book: Row, floor: Row, a: int, i: int) -> int:
    """How many warps from place i on are of one family."""
    length, family, n = floor[book[LENGTH] + a], family_at(book, floor, a, i), 1
    while i + n < length and family_at(book, floor, a, i + n) == family:
        n += 1
    return n


@compiled("i(R,R,i,i)", inlined=True)
def run_start(book: Row, floor: Row, a: int, i: int) -> int:
    """The first place, of those that may change, of the run of one family that place i belongs to."""
    if i >= floor[book[LENGTH] + a]:
        return i
    first, family = first_place(book, a), family_at(book, floor, a, i)
    while i > first and family_at(book, floor, a, i - 1) == family:
        i -= 1
    return i


# The kinds of change. Each is made for a warp at place i of loom a, which is woven at about minute t.


@compiled("i(R,R,T,i,i,i,i)")
def warp_to_another_time(book: Row, floor: Row, tally: Row, a: int, i: int, b: int, t: int) -> int:
    """The warp to about the same time on a loom it fits, or now and then to any time."""
    if below(tally, 3):
        return relocate(book, floor, a, i, 1, b, place_near(book, floor, tally, b, t))
    first = first_place(book, b)
    return relocate(book, floor, a, i, 1, b, first + below(tally, floor[book[LENGTH] + b] - first + 1))


@compiled("i(R,R,T,i,i,i,i,i)")
def warps_to_their_family(book: Row, floor: Row, tally: Row, warp: int, a: int, i: int, b: int, t: int) -> int:
    """The warp, or the run of its family or a part of that, to beside another of the family."""
    family = book[book[WARP_CARDS] + warp * WARP_CARD + FAMILY_LIST]
    start = book[book[FAMILY_STARTS] + family]
    mate = book[start + below(tally, book[book[FAMILY_STARTS] + family + 1] - start)]
    if mate == warp:
        return warp_to_another_time(book, floor, tally, a, i, b, t)
    how, m = below(tally, 4), 1
    if how == 0:
        i = run_start(book, floor, a, i)
    if how <= 1:
        m = family_run(book, floor, a, i)
    elif how == 2:
        m = 1 + below(tally, family_run(book, floor, a, i))
    b, j = floor[book[LOOM_OF] + mate], floor[book[PLACE_OF] + mate] + below(tally, 2)
    if j < first_place(book, b):
        return 0
    return relocate(book, floor, a, i, m, b, j)


@compiled("i(R,R,T,i,i,i,i)")
def warp_for_warp(book: Row, floor: Row, tally: Row, a: int, i: int, b: int, t: int) -> int:
    """Two warps, woven at about the same time, for each other."""
    j = place_near(book, floor, tally, b, t)
    if j >= floor[book[LENGTH] + b]:
        return 0
    if a != b:
        return exchange(book, floor, a, i, 1, b, j, 1)
    if i == j:
        return 0
    return swap(book, floor, a, min(i, j), max(i, j))


@compiled("i(R,R,T,i,i,i,i)")
def rest_for_rest(book: Row, floor: Row, tally: Row, a: int, i: int, b: int, t: int) -> int:
    """All that follows on one loom for all that follows on another."""
    if a == b:
        return 0
    j = place_near(book, floor, tally, b, t)
    return exchange(book, floor, a, i, floor[book[LENGTH] + a] - i, b, j, floor[book[LENGTH] + b] - j)


@compiled("i(R,R,T,i,i,i,i)")
def few_for_few(book: Row, floor: Row, tally: Row, a: int, i: int, b: int, t: int) -> int:
    """Up to three warps for up to three."""
    m = min(1 + below(tally, 3), floor[book[LENGTH] + a] - i)
    if a == b:
        return turn(book, floor, a, i, m, 1 + below(tally, 3))
    j = place_near(book, floor, tally, b, t)
    return exchange(book, floor, a, i, m, b, j, min(below(tally, 4), floor[book[LENGTH] + b] - j))


@compiled("i(R,R,i,i)")
def family_for_next(book: Row, floor: Row, a: int, i: int) -> int:
    """On one loom, a run of one family for the run after it."""
    m = family_run(book, floor, a, i)
    if i + m >= floor[book[LENGTH] + a]:
        return 0
    return turn(book, floor, a, i, m, family_run(book, floor, a, i + m))


@compiled("i(R,R,T,i,i,i,i)")
def family_to_another_loom(book: Row, floor: Row, tally: Row, a: int, i: int, b: int, t: int) -> int:
    """The whole run of a family to about the same time elsewhere, splitting no other run; or for the run there."""
    i = run_start(book, floor, a, i)
    m = family_run(book, floor, a, i)
    j = run_start(book, floor, b, place_near(book, floor, tally, b, t))
    if a == b or below(tally, 3) == 0 or j >= floor[book[LENGTH] + b]:
        return relocate(book, floor, a, i, m, b, j)
    return exchange(book, floor, a, i, m, b, j, family_run(book, floor, b, j))


@compiled("i(R,R,T)")
def propose(book: Row, floor: Row, tally: Row) -> int:
    """Write a change into TRIED; whether there is one.

    The shares of the kinds were found by trying; the plans hang little on them.
    """
    warp = book[book[LOOSE] + below(tally, book[LOOSE_COUNT])]
    a, i = floor[book[LOOM_OF] + warp], floor[book[PLACE_OF] + warp]
    fitting = book[book[FITTING_STARTS] + warp]
    b = book[fitting + below(tally, book[book[FITTING_STARTS] + warp + 1] - fitting)]
    t = floor[book[GUESS_T] + a * (book[ROW] + 1) + i]
    kind = below(tally, 100)
    if kind < 15:
        return warp_to_another_time(book, floor, tally, a, i, b, t)
    if kind < 50:
        return warps_to_their_family(book, floor, tally, warp, a, i, b, t)
    if kind < 58:
        return warp_for_warp(book, floor, tally, a, i, b, t)
    if kind < 70:
        return rest_for_rest(book, floor, tally, a, i, b, t)
    if kind < 76:
        return few_for_few(book, floor, tally, a, i, b, t)
    if kind < 81:
        return family_for_next(book, floor, a, i)
    return family_to_another_loom(book, floor, tally, a, i, b, t)


# The search


@compiled("i(R,R,i,i,i)", inlined=True)
def strangers(book: Row, floor: Row, loom: int, at: int, length: int) -> int:
    """How many warps of an order have another loom than this one in the plan in force."""
    n = 0
    for i in range(at, at + length):
        previous = book[book[WARP_CARDS] + floor[i] * WARP_CARD + PREVIOUS_LOOM]
        if previous >= 0 and previous != loom:
            n += 1
    return n


@compiled("i(R,R)", inlined=True)
def more_away(book: Row, floor: Row) -> int:
    """How many more warps would change their loom by the change in TRIED; fewer when below 0."""
    if book[AWAY_MOST] < 0 or floor[MOVE_A] == floor[MOVE_B]:
        return 0
    n = 0
    for i in range(2):
        loom = floor[MOVE_A + i]
        n += strangers(book, floor, loom, floor[book[TIMED_ROW] + loom], floor[book[TIMED_LENGTH] + loom])
        n -= strangers(book, floor, loom, book[ORDER] + loom * book[ROW], floor[book[LENGTH] + loom])
    return n


@compiled("i(R,R,T,i,i)", inlined=True)
def keep_row(book: Row, floor: Row, tally: Row, loom: int, first: int) -> int:
    """Make the tried order of a loom, changed from place `first` on, the standing one."""
    row = book[ROW]
    at, to = floor[book[TIMED_ROW] + loom], book[ORDER] + loom * row
    length = floor[book[TIMED_LENGTH] + loom]
    floor[book[LENGTH] + loom] = length
    last_ask = book[LAST_ASK] + loom * (row + 1)
    before = floor[to + first - 1] if first else -1
    for i in range(first, length):
        warp = floor[at + i]
        floor[to + i] = warp
        floor[book[LOOM_OF] + warp] = loom
        floor[book[PLACE_OF] + warp] = i
        setup = setup_of(book, loom, before, warp)
        floor[last_ask + i + 1] = i if setup > 1 and setup & 1 else floor[last_ask + i]
        before = warp
    return 0


@compiled("i(R,R,T)")
def keep_change(book: Row, floor: Row, tally: Row) -> int:
    """Make the change in TRIED the standing plan."""
    a, b, first_a, first_b = floor[MOVE_A], floor[MOVE_B], floor[FIRST_A], floor[FIRST_B]
    cost = time_change(book, floor, tally, 2**62, 1)
    tally[AWAY] += more_away(book, floor)
    keep_row(book, floor, tally, a, first_a)
    guess(book, floor, tally, a, first_a, 2**62, 1)
    if a != b:
        keep_row(book, floor, tally, b, first_b)
        guess(book, floor, tally, b, first_b, 2**62, 1)
    tally[COST] = cost
    return cost


@compiled("i(R,R,T)")
def keep_best(book: Row, floor: Row, tally: Row) -> int:
    row = book[ROW]
    for loom in range(book[LOOMS]):
        length = floor[book[LENGTH] + loom]
        floor[book[BEST_LENGTH] + loom] = length
        for i in range(length):
            floor[book[BEST] + loom * row + i] = floor[book[ORDER] + loom * row + i]
    tally[BEST_COST] = tally[COST]
    return 0


@compiled("i(R,R,T)")
def stand(book: Row, floor: Row, tally: Row) -> int:
    """Time the standing orders afresh and write down all that changes are tried against; the cost."""
    row = book[ROW]
    for loom in range(book[LOOMS]):
        floor[book[TIMED_ROW] + loom] = book[ORDER] + loom * row
        floor[book[TIMED_LENGTH] + loom] = floor[book[LENGTH] + loom]
        floor[book[TOUCHED] + loom] = 1
    cost = time_all(book, floor, tally, 2**62, 1)
    floor[WAIT] = int(tally[WAITED] / max(1, floor[VISITS]))
    tally[AWAY] = 0
    for loom in range(book[LOOMS]):
        tally[AWAY] += strangers(book, floor, loom, book[ORDER] + loom * row, floor[book[LENGTH] + loom])
        floor[book[TOUCHED] + loom] = 0
        floor[book[LAST_ASK] + loom * (row + 1)] = -1
        keep_row(book, floor, tally, loom, 0)
        floor[book[GUESS_X] + loom * (row + 1)] = book[book[LOOM_CARDS] + loom * LOOM_CARD + FREE_X]
        tally[book[GUESS_COST] + loom * (row + 1)] = 0
        guess(book, floor, tally, loom, 0, 2**62, 1)
    tally[COST] = cost
    return cost


@compiled("i(R,R,T,i)")
def guess_change(book: Row, floor: Row, tally: Row, limit: int) -> int:
    """What the change in TRIED would add to the cost, by the guess; anything above the limit once that is passed."""
    a, b, kept = floor[MOVE_A], floor[MOVE_B], book[GUESS_COST]
    row = book[ROW] + 1
    old = tally[kept + a * row + floor[book[LENGTH] + a]]
    if a == b:
        return guess(book, floor, tally, a, floor[FIRST_A], old + limit, 0) - old
    old += tally[kept + b * row + floor[book[LENGTH] + b]]
    before_b = tally[kept + b * row + floor[FIRST_B]]
    harm = guess(book, floor, tally, a, floor[FIRST_A], old + limit - before_b, 0)
    if harm + before_b > old + limit:
        return harm + before_b - old
    return harm + guess(book, floor, tally, b, floor[FIRST_B], old + limit - harm, 0) - old


@compiled("i(R,R,T,f,i)")
def anneal(book: Row, floor: Row, tally: Row, temperature: float, count: int) -> int:
    """Try `count` changes at one temperature; how many were kept."""
    kept = 0
    for _ in range(count):
        # What a change may add is drawn first, so that guess and timing can stop as soon as they are above it.
        if not propose(book, floor, tally):
            continue
        may_add = int(-temperature * log((draw(tally) + 1) / 2147483648.0))
        more = more_away(book, floor)
        if more > 0 and tally[AWAY] + more > book[AWAY_MOST]:
            put_back(book, floor)
            continue
        if guess_change(book, floor, tally, may_add + tally[SLACK]) <= may_add + tally[SLACK]:
            tally[TIMED] += 1
            limit = tally[COST] + may_add
            if time_change(book, floor, tally, limit, 0) <= limit:
                kept += 1
                keep_change(book, floor, tally)
                if tally[COST] < tally[BEST_COST]:
                    keep_best(book, floor, tally)
        put_back(book, floor)
    tally[PROPOSED] += count
    tally[ACCEPTED] += kept
    return kept


@compiled("i(R,R,T,i)")
def fit_in(book: Row, floor: Row, tally: Row, warp: int) -> int:
    """Put a warp that is on no loom yet where, by the guess, it adds least; on which loom."""
    least, loom, place = 2**62, 0, 0
    for at in range(book[book[FITTING_STARTS] + warp], book[book[FITTING_STARTS] + warp + 1]):
        b = book[at]
        for j in range(first_place(book, b), floor[book[LENGTH] + b] + 1):
            insert(book, floor, warp, b, j)
            adds = guess_change(book, floor, tally, least)
            if adds < least:
                least, loom, place = adds, b, j
            put_back(book, floor)
    insert(book, floor, warp, loom, place)
    keep_change(book, floor, tally)
    put_back(book, floor)
    return loom


# The proof: all plans of a few warps, built up by one warp after another in the order in which set-ups start. Any
# plan can be built so, tuners serving in any order, and no warp is worse off for starting as soon as it can. A branch
# is left when what is certain already costs as much as the best plan.


@compiled("i(R,R,i,i,i)", inlined=True)
def saved(book: Row, floor: Row, depth: int, field: int, value: int) -> int:
    floor[book[BRANCH] + depth * BRANCH_CARD + field] = value
    return value


@compiled("i(R,R,i,i)")
def least_more(book: Row, floor: Row, t: int, skip: int) -> int:
    """What warps still to be planned add at the least, when no set-up starts before t."""
    more = 0
    for warp in range(book[WARPS]):
        if floor[book[PLANNED] + warp] or warp == skip:
            continue
        least = 2**62
        card = book[WARP_CARDS] + warp * WARP_CARD
        for at in range(book[book[FITTING_STARTS] + warp], book[book[FITTING_STARTS] + warp + 1]):
            loom = book[at]
            x = max(floor[book[FREE_XS] + loom], worked(book, book[book[LOOM_CARDS] + loom * LOOM_CARD + HOURS], t))
            job = job_of(book, loom, warp)
            x = start_of(book, warp, job, x, book[card + LEAST_LOOM_MIN])
            least = min(least, harm_of(book, loom, warp, job, x))
        more += least + book[card + LEAST_SETUP_MIN] * book[SETUP_RATE]
    return more


@compiled("i(R,R,T,i,i,i)")
def branch(book: Row, floor: Row, tally: Row, depth: int, loom: int, warp: int) -> int:
    """Plan the warp next on the loom, unless that can't lead to a better plan; whether it was done."""
    job = job_of(book, loom, warp)
    length = floor[book[LENGTH] + loom]
    own = book[book[WARP_CARDS] + warp * WARP_CARD + OWN_SETUP] >= 0
    if floor[book[PLANNED] + warp] or not job or own != (length < first_place(book, loom)):
        return 0
    last = book[BRANCH] + depth * BRANCH_CARD
    x, row = floor[book[FREE_XS] + loom], book[ORDER] + loom * book[ROW]
    setup = setup_of(book, loom, floor[row + length - 1] if length else -1, warp)
    hours = book[book[LOOM_CARDS] + loom * LOOM_CARD + HOURS]
    t = asks_at(book, loom, length, warp, x)
    tuner, tuner_was = -1, 0
    if setup > 1 and setup & 1:
        free = book[ASK]
        tuner = free
        for i in range(free + 1, free + book[TUNERS]):
            if floor[i] < floor[tuner]:
                tuner = i
        tuner_was = floor[tuner]
        y = max(worked(book, book[TUNER_HOURS], t), tuner_was)
        t = max(t, begins(book, book[TUNER_HOURS], y))
        done_y = y + (setup >> 1)
        x = worked(book, hours, completes(book, book[TUNER_HOURS], done_y))
        x = max(x, book[book[WARP_CARDS] + warp * WARP_CARD + PIN_X])
    else:
        done_y = 0
        x = start_of(book, warp, job, x, setup >> 1)
    if t < floor[last + START_T] or (t == floor[last + START_T] and loom < floor[last + START_LOOM]):
        return 0
    cost = tally[book[BRANCH_COST] + depth] + (setup >> 1) * book[SETUP_RATE] + harm_of(book, loom, warp, job, x)
    end = max(floor[last + LAST_END], completes(book, hours, x + book[job + RUN]))
    x_was = floor[book[FREE_XS] + loom]
    floor[book[FREE_XS] + loom] = x + book[job + RUN]
    least = cost + book[MAKESPAN_RATE] * end + least_more(book, floor, t, warp)
    if least >= tally[BEST_COST]:
        floor[book[FREE_XS] + loom] = x_was
        return 0
    floor[row + length] = warp
    floor[book[LENGTH] + loom] = length + 1
    floor[book[PLANNED] + warp] = 1
    if tuner >= 0:
        floor[tuner] = done_y
    saved(book, floor, depth + 1, START_T, t)
    saved(book, floor, depth + 1, START_LOOM, loom)
    saved(book, floor, depth + 1, LAST_END, end)
    saved(book, floor, depth + 1, BRANCH_LOOM, loom)
    saved(book, floor, depth + 1, BRANCH_WARP, warp)
    saved(book, floor, depth + 1, X_WAS, x_was)
    saved(book, floor, depth + 1, TUNER, tuner)
    saved(book, floor, depth + 1, TUNER_WAS, tuner_was)
    saved(book, floor, depth + 1, NEXT_CHOICE, 0)
    tally[book[BRANCH_COST] + depth + 1] = cost
    return 1


@compiled("i(R,R,i)")
def unbranch(book: Row, floor: Row, depth: int) -> int:
    """Take back the warp planned last."""
    card = book[BRANCH] + depth * BRANCH_CARD
    loom = floor[card + BRANCH_LOOM]
    floor[book[LENGTH] + loom] -= 1
    floor[book[PLANNED] + floor[card + BRANCH_WARP]] = 0
    floor[book[FREE_XS] + loom] = floor[card + X_WAS]
    if floor[card + TUNER] >= 0:
        floor[floor[card + TUNER]] = floor[card + TUNER_WAS]
    return 0


@compiled("i(R,R,T)")
def begin_proof(book: Row, floor: Row, tally: Row) -> int:
    """Empty looms; tally[BEST_COST] is the cost to beat."""
    for loom in range(book[LOOMS]):
        floor[book[LENGTH] + loom] = 0
        floor[book[FREE_XS] + loom] = book[book[LOOM_CARDS] + loom * LOOM_CARD + FREE_X]
    for warp in range(book[WARPS]):
        floor[book[PLANNED] + warp] = 0
    for i in range(book[TUNERS]):
        floor[book[ASK] + i] = 0
    saved(book, floor, 0, START_T, 0)
    saved(book, floor, 0, START_LOOM, 0)
    saved(book, floor, 0, LAST_END, 0)
    saved(book, floor, 0, NEXT_CHOICE, 0)
    tally[book[BRANCH_COST]] = 0
    floor[DEPTH] = 0
    tally[FOUND] = 0
    return 0


@compiled("i(R,R,T,i)")
def prove(book: Row, floor: Row, tally: Row, count: int) -> int:
    """Look at `count` more branches; 1 when there are none left: the best plan is proven.

    A better plan is kept as it is found, with the order in which its warps were set up.
    """
    looms, warps = book[LOOMS], book[WARPS]
    for _ in range(count):
        depth = floor[DEPTH]
        choice = floor[book[BRANCH] + depth * BRANCH_CARD + NEXT_CHOICE]
        if choice == looms * warps:
            if depth == 0:
                return 1
            unbranch(book, floor, depth)
            floor[DEPTH] = depth - 1
            continue
        saved(book, floor, depth, NEXT_CHOICE, choice + 1)
        if not branch(book, floor, tally, depth, choice // warps, choice % warps):
            continue
        if depth + 1 < warps:
            floor[DEPTH] = depth + 1
            continue
        last = book[BRANCH] + warps * BRANCH_CARD
        tally[COST] = tally[book[BRANCH_COST] + warps] + book[MAKESPAN_RATE] * floor[last + LAST_END]
        keep_best(book, floor, tally)
        for i in range(warps):
            floor[book[CREW] + i] = floor[book[BRANCH] + (i + 1) * BRANCH_CARD + BRANCH_WARP]
        tally[FOUND] += 1
        unbranch(book, floor, depth + 1)
    return 0


# Doors for Python: they take arrays, which the compiler hands on as plain addresses.


@compiled("door i()")
def stand_door(book: Row, floor: Row, tally: Row) -> int:
    return stand(book.ctypes, floor.ctypes, tally.ctypes)


@compiled("door i(f,i)")
def anneal_door(book: Row, floor: Row, tally: Row, temperature: float, count: int) -> int:
    return anneal(book.ctypes, floor.ctypes, tally.ctypes, temperature, count)


@compiled("door i(i)")
def fit_in_door(book: Row, floor: Row, tally: Row, warp: int) -> int:
    return fit_in(book.ctypes, floor.ctypes, tally.ctypes, warp)


@compiled("door i()")
def keep_best_door(book: Row, floor: Row, tally: Row) -> int:
    return keep_best(book.ctypes, floor.ctypes, tally.ctypes)


@compiled("door i()")
def begin_proof_door(book: Row, floor: Row, tally: Row) -> int:
    return begin_proof(book.ctypes, floor.ctypes, tally.ctypes)


@compiled("door i(i)")
def prove_door(book: Row, floor: Row, tally: Row, count: int) -> int:
    return prove(book.ctypes, floor.ctypes, tally.ctypes, count)
