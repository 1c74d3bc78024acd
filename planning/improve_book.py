"""A shed written as rows of integers for the inner loop of the search, and back. Knows no search."""

from collections.abc import Iterable, MutableSequence, Sequence
from dataclasses import dataclass

from mill.refusal import Refusal
from planning import improve_kernel as k
from planning.list_rules import Sequences
from planning.shed import Setup, Shed, Warp, Winding
from planning.worktime import Calendar

# Start of a span that no work reaches; well inside 32 bits, with room for one warp more.
NEVER = 2**30
MOST_MIN = 2 ** (31 - k.LOOM_BITS) - 2
# A bit each, below the sign.
MOST_KINDS = 30


@dataclass(frozen=True)
class Book:
    """What is given, and how much room the search needs."""

    shed: Shed
    rows: list[int]
    floor_fields: int
    tally_fields: int

    def fresh_floor(self) -> list[int]:
        return [-2] * self.floor_fields

    def fresh_tally(self) -> list[int]:
        return [0] * self.tally_fields

    def put(self, floor: MutableSequence[int], sequences: Sequences) -> None:
        """Write orders of warps into the floor."""
        rows, number = self.rows, {warp.id: j for j, warp in enumerate(self.shed.warps)}
        for m, loom in enumerate(self.shed.looms):
            order = [number[warp_id] for warp_id in sequences[loom.id]]
            at = rows[k.ORDER] + m * rows[k.ROW]
            floor[at : at + len(order)] = order
            floor[rows[k.LENGTH] + m] = len(order)

    def best(self, floor: Sequence[int]) -> Sequences:
        """The orders of the best plan that the floor holds."""
        rows, sequences = self.rows, {}
        for m, loom in enumerate(self.shed.looms):
            at = rows[k.BEST] + m * rows[k.ROW]
            order = floor[at : at + floor[rows[k.BEST_LENGTH] + m]]
            sequences[loom.id] = tuple(self.shed.warps[j].id for j in order)
        return sequences

    def crew(self, floor: Sequence[int]) -> list[str]:
        """The order in which the proof's plan sets its warps up."""
        at = self.rows[k.CREW]
        return [self.shed.warps[j].id for j in floor[at : at + len(self.shed.warps)]]


def write_book(shed: Shed) -> Book:
    """The shed as the inner loop reads it.

    Raises Refusal when the shed is beyond what the rows can count.
    """
    if len(shed.looms) > k.LOOM_MASK:
        raise Refusal(f"The search plans up to {k.LOOM_MASK} looms; this shed has {len(shed.looms)}. Plan it in halls.")
    longest = _longest_min(shed)
    if longest > MOST_MIN:
        raise Refusal(f"The search counts up to {MOST_MIN} minutes; this shed could need {longest}. Plan fewer warps.")
    if shed.winding is not None and len(shed.winding.beams) > MOST_KINDS:
        raise Refusal(
            f"The search tells {MOST_KINDS} kinds of beam apart; this shed has {len(shed.winding.beams)}. "
            "Count beams that are nearly alike as one kind."
        )
    writer = _Writer(shed)
    writer.write()
    if max(writer.rows) > k.FAR:
        raise Refusal(f"The search counts up to {k.FAR}; this shed holds the number {max(writer.rows)}. Weigh it less.")
    return Book(shed, writer.rows, writer.floor, writer.tally)


def _longest_min(shed: Shed) -> int:
    """A minute that no plan goes beyond: all that is waited for, then all work one after another."""
    waited = [shed.horizon, *shed.soonest.values(), *(loom.free_at for loom in shed.looms)]
    work = 0
    for warp in shed.warps:
        looms = shed.looms_for[warp.id]
        setups = (warp.gait_min + shed.setup.reed_change_min, warp.tie_min, warp.draw_in_min or 0, warp.weft_change_min)
        work += max(setups) + max((shed.weave_min(loom_id, warp.id) for loom_id in looms), default=0)
        work += warp.wind_min or 0
    if shed.pair_times is not None:
        work += sum(shed.pair_times.setup_min.values())
    return max(waited) + work


class _Writer:
    def __init__(self, shed: Shed) -> None:
        self.shed = shed
        self.rows = [0] * k.BOOK_FIELDS
        self.floor = k.FLOOR_FIELDS
        self.tally = k.TALLY_FIELDS
        self.calendars: dict[int, int] = {}
        self.names: dict[tuple[str, str], int] = {}

    def write(self) -> None:
        shed, rows = self.shed, self.rows
        looms, warps = len(shed.looms), len(shed.warps)
        rows[k.LOOMS], rows[k.WARPS], rows[k.ROW] = looms, warps, warps
        rows[k.TUNERS] = shed.tuners.capacity
        rows[k.TUNER_HOURS] = self._calendar(shed.tuner_hours)
        rows[k.SETUP_RATE], rows[k.MAKESPAN_RATE] = shed.objective.setup, shed.objective.makespan
        rows[k.TOLERANCE], rows[k.AWAY_MOST] = shed.stability.tolerance, -1
        self._looms()
        self._warps()
        self._jobs()
        self._pairs()
        self._lists()
        for field, size in (
            (k.ORDER, looms * warps),
            (k.LENGTH, looms),
            (k.LOOM_OF, warps),
            (k.PLACE_OF, warps),
            (k.BEST, looms * warps),
            (k.BEST_LENGTH, looms),
            (k.SEGMENTS, looms * (warps + 1) * k.SEGMENT),
            (k.LAST_ASK, looms * (warps + 1)),
            (k.GUESS_X, looms * (warps + 1)),
            (k.GUESS_T, looms * (warps + 1)),
            (k.TRIED, 2 * warps),
            (k.TIMED_ROW, looms),
            (k.TIMED_LENGTH, looms),
            (k.TOUCHED, looms),
            (k.ASK, 4 * looms + shed.tuners.capacity + 1),
            (k.PLANNED, warps),
            (k.FREE_XS, looms),
            (k.BRANCH, (warps + 1) * k.BRANCH_CARD),
            (k.CREW, warps),
        ):
            rows[field] = self.floor
            self.floor += size
        if shed.winds and shed.winding is not None:
            self._winding(shed.winding)
        rows[k.CHECK_ROW] = 4 * looms + shed.tuners.capacity + 1
        rows[k.CHECKS] = self.floor
        self.floor += (warps + 1) * rows[k.CHECK_ROW]
        for field, size in (
            (k.SEGMENT_COST, looms * (warps + 1)),
            (k.CHECK_COST, warps + 1),
            (k.GUESS_COST, looms * (warps + 1)),
            (k.BRANCH_COST, warps + 1),
        ):
            rows[field] = self.tally
            self.tally += size

    def _table(self, values: Iterable[int]) -> int:
        at = len(self.rows)
        self.rows += values
        return at

    def _name(self, kind: str, name: str | None) -> int:
        """A number for a name; each nameless thing has one of its own, below 0, and is like no other."""
        if name is None:
            return -1 - self.names.setdefault((kind, f"nameless {len(self.names)}"), len(self.names))
        return self.names.setdefault((kind, name), len(self.names))

    def _calendar(self, calendar: Calendar) -> int:
        """Spans with a nought before them and endless work after them, and drawers that say where to begin."""
        if id(calendar) in self.calendars:
            return self.calendars[id(calendar)]
        starts = [0, *calendar.starts, calendar.horizon, NEVER]
        sums = [0, *calendar.sums, NEVER]
        spans = self._table(edge for span in zip(starts, sums, strict=True) for edge in span)
        drawers = max(starts[-2], sums[-2]) // 2**k.DRAWER + 1
        by_time = self._table(_drawers(starts, drawers, last_below=True))
        by_work = self._table(_drawers(sums, drawers, last_below=False))
        card = [0] * k.CALENDAR
        card[k.BY_TIME], card[k.BY_WORK], card[k.SPANS], card[k.LAST_DRAWER] = by_time, by_work, spans, drawers - 1
        self.calendars[id(calendar)] = self._table(card)
        return self.calendars[id(calendar)]

    def _looms(self) -> None:
        cards = []
        for loom in self.shed.looms:
            calendar = self.shed.hours(loom.id)
            card = [0] * k.LOOM_CARD
            card[k.FAMILY] = self._name("family", loom.state.family)
            card[k.REED] = self._name("reed", loom.state.reed)
            card[k.GROUP] = self._name("group", loom.state.warp_group)
            card[k.HOURS] = self._calendar(calendar)
            card[k.FREE_AT], card[k.FREE_X] = loom.free_at, calendar.worked(loom.free_at)
            card[k.FIXED] = int(loom.id in self.shed.in_progress)
            takes = enumerate(self.shed.flange_mm.values())
            card[k.TAKES] = sum(1 << n for n, flange_mm in takes if flange_mm <= loom.max_flange_mm)
            cards += card
        self.rows[k.LOOM_CARDS] = self._table(cards)

    def _warps(self) -> None:
        shed, stability = self.shed, self.shed.stability
        number = {loom.id: m for m, loom in enumerate(shed.looms)}
        times, cards = shed.setup, []
        for warp in shed.warps:
            gait = Setup("gait-up", warp.gait_min, times.gait_needs_tuner)
            draw_in = gait if warp.draw_in_min is None else Setup("draw-in", warp.draw_in_min, times.gait_needs_tuner)
            full = Setup("gait-up", warp.gait_min + times.reed_change_min, times.gait_needs_tuner)
            card = [0] * k.WARP_CARD
            card[k.FAMILY] = self._name("family", warp.family)
            card[k.REED] = self._name("reed", warp.reed)
            card[k.GROUP] = self._name("group", warp.warp_group)
            card[k.WEFT_CHANGE] = _setup_field(Setup("weft change", warp.weft_change_min, needs_tuner=False))
            card[k.TIE_IN] = _setup_field(Setup("tie-in", warp.tie_min, times.tie_needs_tuner))
            card[k.DRAW_IN], card[k.GAIT_UP] = _setup_field(draw_in), _setup_field(full)
            card[k.OWN_SETUP] = -1
            if warp.in_progress is not None:
                card[k.OWN_SETUP] = _setup_field(shed.setup_of(warp.in_progress, None, warp.id))
                card[k.UNDER_WAY] = int(warp.setup_left_min > 0)
            card[k.RELEASE], card[k.PIECES] = shed.soonest[warp.id], len(warp.pieces)
            card[k.LEAST_SETUP_MIN], card[k.LEAST_LOOM_MIN] = self._least_setup(warp)
            home = warp.pin_loom or warp.in_progress
            card[k.PIN_X] = -1
            if warp.pin_start is not None and home is not None:
                card[k.PIN_X] = shed.hours(home).worked(warp.pin_start)
            previous = shed.previous.get(warp.id)
            card[k.PREVIOUS_LOOM] = -1
            if previous is not None:
                # A loom that has left the shed is a loom no warp can be kept on.
                card[k.PREVIOUS_LOOM] = number.get(previous.loom, len(number))
                card[k.PREVIOUS_START] = previous.start
                frozen = previous.start < stability.freeze_until
                card[k.MOVE_COST] = stability.move_cost if frozen else stability.move_cost_late
            cards += card
        self.rows[k.WARP_CARDS] = self._table(cards)

    def _winding(self, winding: Winding) -> None:
        shed, rows = self.shed, self.rows
        number = {beams.kind: n for n, beams in enumerate(winding.beams)}
        rows[k.MILLS], rows[k.AHEAD], rows[k.KINDS] = winding.mills, min(winding.ahead_min, NEVER), len(number)
        rows[k.MILL_HOURS] = self._calendar(shed.winding_hours)
        rows[k.KINDS_FREE] = self._table(beams.count - shed.beams_held[beams.kind] for beams in winding.beams)
        cards = []
        for warp in shed.warps:
            card = [0] * k.WIND_CARD
            card[k.WIND_MIN] = -1 if warp.wind_min is None else warp.wind_min
            card[k.WIND_FROM] = warp.wind_from
            card[k.WANTS] = sum(1 << number[kind] for kind in warp.beams)
            cards += card
        rows[k.WIND_CARDS] = self._table(cards)
        for field, size in (
            (k.WIND_ROWS, len(shed.looms) * k.WIND_ROW),
            (k.MILL_FREE, winding.mills),
            (k.KIND_LEFT, len(number)),
            (k.QUEUE, len(shed.looms) + 1),
        ):
            rows[field] = self.floor
            self.floor += size

    def _least_setup(self, warp: Warp) -> tuple[int, int]:
        """The fewest minutes any set-up of the warp takes, and the fewest of the loom's own working minutes."""
        shed = self.shed
        looms = shed.looms_for[warp.id]
        if shed.pair_times is not None:
            befores = [None, *(other.id for other in shed.warps if other is not warp)]
            setups = [shed.setup_of(loom_id, before, warp.id) for loom_id in looms for before in befores]
        elif warp.in_progress is not None:
            setups = [shed.setup_of(warp.in_progress, None, warp.id)]
        else:
            states = {shed.loom[loom_id].state for loom_id in looms}
            states |= {other.state_after for other in shed.warps if other is not warp}
            setups = [shed.setup_before(state, warp) for state in states]
        return (
            min((setup.minutes for setup in setups), default=0),
            min((0 if setup.needs_tuner else setup.minutes for setup in setups), default=0),
        )

    def _jobs(self) -> None:
        shed, rate = self.shed, self.shed.objective.tardiness
        where: list[int] = []
        cards: list[int] = []
        first = len(self.rows) + len(shed.looms) * len(shed.warps)
        for loom in shed.looms:
            hours = shed.hours(loom.id)
            for warp in shed.warps:
                if not shed.fits(loom.id, warp.id):
                    where.append(0)
                    continue
                where.append(first + len(cards))
                marks = shed.marks(loom.id, warp.id)
                dues = [min(piece.due, NEVER) for piece in warp.pieces]
                due_x = [_worked_ever(hours, due) for due in dues]
                card = [0] * k.FIRST_PIECE
                card[k.RUN], card[k.RELEASE_X] = marks[-1], _worked_ever(hours, shed.soonest[warp.id])
                card[k.CALM] = min(due - mark for due, mark in zip(due_x, marks, strict=True))
                for piece, mark, due, x in zip(warp.pieces, marks, dues, due_x, strict=True):
                    fields = [0] * k.PIECE
                    fields[k.MARK], fields[k.DUE_X], fields[k.DUE] = mark, x, due
                    fields[k.LATE_RATE] = piece.weight * rate
                    card += fields
                cards += card
        self.rows[k.JOBS] = self._table(where)
        assert len(self.rows) == first
        self._table(cards)

    def _pairs(self) -> None:
        pairs = self.shed.pair_times
        if pairs is not None:
            befores = [None, *(warp.id for warp in self.shed.warps)]
            self.rows[k.PAIRS] = self._table(
                pairs.setup_min.get((loom.id, before, warp.id), 0) * 2
                for loom in self.shed.looms
                for before in befores
                for warp in self.shed.warps
            )

    def _lists(self) -> None:
        shed, rows = self.shed, self.rows
        number = {loom.id: m for m, loom in enumerate(shed.looms)}
        families: dict[str, list[int]] = {}
        for j, warp in enumerate(shed.warps):
            families.setdefault(warp.family, []).append(j)
        for m, family in enumerate(families):
            for j in families[family]:
                rows[rows[k.WARP_CARDS] + j * k.WARP_CARD + k.FAMILY_LIST] = m
        rows[k.FAMILY_WARPS] = self._table(j for members in families.values() for j in members)
        rows[k.FAMILY_STARTS] = self._starts([len(members) for members in families.values()], rows[k.FAMILY_WARPS])
        fitting = [shed.looms_for[warp.id] for warp in shed.warps]
        rows[k.FITTING_LOOMS] = self._table(number[loom_id] for looms in fitting for loom_id in looms)
        rows[k.FITTING_STARTS] = self._starts([len(looms) for looms in fitting], rows[k.FITTING_LOOMS])
        loose = [j for j, warp in enumerate(shed.warps) if warp.in_progress is None]
        rows[k.LOOSE], rows[k.LOOSE_COUNT] = self._table(loose), len(loose)

    def _starts(self, sizes: list[int], at: int) -> int:
        starts = [at]
        for size in sizes:
            starts.append(starts[-1] + size)
        return self._table(starts)


def _setup_field(setup: Setup) -> int:
    return setup.minutes * 2 + setup.needs_tuner


def _worked_ever(calendar: Calendar, t: int) -> int:
    """Working minutes in [0, t), all minutes after the horizon being worked."""
    return calendar.worked(t) if t < calendar.horizon else calendar.total + t - calendar.horizon


def _drawers(edges: list[int], count: int, *, last_below: bool) -> list[int]:
    """For each stretch of 2**DRAWER minutes a span from which to look onwards.

    last_below  the last span that starts by then; without it the last whose sum lies below
    """
    drawers, at = [], 0
    for drawer in range(count):
        t = drawer << k.DRAWER
        while edges[at + 1] <= t if last_below else edges[at + 1] < t:
            at += 1
        drawers.append(at)
    return drawers
