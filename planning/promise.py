"""The promise: the earliest safe place for a warp that is not planned yet. Knows no date, customer or yarn.

Two questions, each answered with the exact timing of the whole shed: where can the warp go without making
anything later than it is promised, and where would it be off soonest if it jumped the queue, and what would that
push. Places are first judged loom by loom, as if a tuner were always there, and tried exactly in that order.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from mill.refusal import Refusal
from planning.shed import Shed, Warp
from planning.shed_plan import Plan, time_plan

# So many places are timed exactly before the end of a queue is taken.
TRIED = 10
# A jump is tried on so many looms, the soonest first.
JUMPED = 4


@dataclass(frozen=True, slots=True)
class Pushed:
    """A warp that would be off later, and late by more, in weighted minutes over its pieces."""

    warp: str
    end: int
    later_end: int
    more_weighted_tardy_min: int


@dataclass(frozen=True)
class Place:
    """Where the warp would go; `plan` is the whole shed with it."""

    loom: str
    turn: int
    start: int
    end: int
    plan: Plan
    pushed: tuple[Pushed, ...]

    @property
    def lacks_a_beam(self) -> bool:
        """Whether some warp then waits for a beam that nobody gives up."""
        return self.plan.cost.broken_beams > 0


def safe_place(shed: Shed, plan: Plan, wanted: Warp) -> Place:
    """The place in which the warp is off soonest without making anything later than promised, or later still.

    shed    without the warp; `plan` is a plan of it
    wanted  released when yarn and warping let it go

    Where every place pushes something, the one that pushes least. Raises Refusal when no loom takes the warp.
    """
    more = _with(shed, wanted)
    tried: list[Place] = []
    ends = {loom: len(plan.sequences[loom]) for loom in more.looms_for[wanted.id]}
    guesses = sorted(_guesses(more, plan, wanted))
    likely = [
        (loom, turn) for _, loom, turn in guesses if turn == ends[loom] or _fits_in(more, plan, wanted, loom, turn)
    ]
    last = [(loom, turn) for loom, turn in likely if turn == ends[loom]]
    for loom, turn in (*likely[:TRIED], *last[:2]):
        place = _placed(more, plan, wanted, loom, turn)
        if not place.pushed and not place.lacks_a_beam:
            return place
        tried.append(place)
    return min(
        tried, key=lambda place: (place.lacks_a_beam, sum(p.more_weighted_tardy_min for p in place.pushed), place.end)
    )


def first_place(shed: Shed, plan: Plan, wanted: Warp) -> Place:
    """The place in which the warp is off soonest whatever it pushes; `pushed` says what."""
    more = _with(shed, wanted)
    soonest: dict[str, tuple[int, int]] = {}
    for end, loom, turn in _guesses(more, plan, wanted):
        soonest[loom] = min(soonest.get(loom, (end, turn)), (end, turn))
    looms = sorted(soonest, key=lambda loom: soonest[loom])[:JUMPED]
    places = [_placed(more, plan, wanted, loom, soonest[loom][1]) for loom in looms]
    return min(places, key=lambda place: (place.lacks_a_beam, place.end, len(place.pushed)))


def _with(shed: Shed, wanted: Warp) -> Shed:
    more = replace(shed, warps=(*shed.warps, wanted))
    if not more.looms_for[wanted.id]:
        raise Refusal(f"No loom takes it: {more.without_loom()[wanted.id]}.", field="cloth")
    return more


def _guesses(shed: Shed, plan: Plan, wanted: Warp) -> Iterator[tuple[int, str, int]]:
    """When the warp would be off, on which loom and in which turn: every place that it could have."""
    for loom in shed.looms_for[wanted.id]:
        queue = plan.sequences[loom]
        hangs = int(loom in shed.in_progress)
        for turn in range(hangs, len(queue) + 1):
            before = queue[turn - 1] if turn else None
            free = plan.placements[before].end if before is not None else shed.loom[loom].free_at
            yield _end(shed, loom, before, wanted, free), loom, turn


def _end(shed: Shed, loom: str, before: str | None, warp: Warp, free: int) -> int:
    """When a warp would be off after another, were a tuner there at once."""
    hours = shed.hours(loom)
    setup = shed.setup_of(loom, before, warp.id)
    who = shed.tuner_hours if setup.needs_tuner else hours
    _, ready = who.add_minutes(max(free, shed.soonest[warp.id]), setup.minutes)
    x = hours.worked(max(ready, shed.soonest[warp.id], warp.pin_start or 0))
    return hours.completes(x + shed.weave_min(loom, warp.id))


def _fits_in(shed: Shed, plan: Plan, wanted: Warp, loom: str, turn: int) -> bool:
    """Whether all that is woven after it on its loom would still be no later than promised, or than it is now."""
    queue = plan.sequences[loom]
    before = queue[turn - 1] if turn else None
    free = plan.placements[before].end if before is not None else shed.loom[loom].free_at
    free, last = _end(shed, loom, before, wanted, free), wanted.id
    hours = shed.hours(loom)
    for code in queue[turn:]:
        placed, warp = plan.placements[code], shed.warp[code]
        end = _end(shed, loom, last, warp, free)
        if end <= placed.end:
            return True
        marks = shed.marks(loom, code)
        x = hours.worked(end) - marks[-1]
        late = sum(
            piece.weight * max(0, hours.completes(x + mark) - piece.due)
            for piece, mark in zip(warp.pieces, marks, strict=True)
        )
        if late > placed.weighted_tardy_min:
            return False
        free, last = end, code
    return True


def _placed(shed: Shed, plan: Plan, wanted: Warp, loom: str, turn: int) -> Place:
    queue = plan.sequences[loom]
    timed = time_plan(shed, {**plan.sequences, loom: (*queue[:turn], wanted.id, *queue[turn:])})
    placed = timed.placements[wanted.id]
    return Place(loom, turn, placed.start, placed.end, timed, pushed_by(plan, timed))


def pushed_by(before: Plan, after: Plan) -> tuple[Pushed, ...]:
    """Warps that are late by more in the second plan, the worst first."""
    found = [
        Pushed(code, was.end, now.end, now.weighted_tardy_min - was.weighted_tardy_min)
        for code, was in before.placements.items()
        if (now := after.placements[code]).weighted_tardy_min > was.weighted_tardy_min
    ]
    return tuple(sorted(found, key=lambda one: (-one.more_weighted_tardy_min, one.warp)))


def safe_places(shed: Shed, plan: Plan, wanted: Sequence[Warp]) -> list[Place]:
    """A place for each of several warps, one after the other, each as `safe_place`."""
    places: list[Place] = []
    for warp in wanted:
        places.append(safe_place(shed, plan, warp))
        shed, plan = _with(shed, warp), places[-1].plan
    return places


def first_places(shed: Shed, plan: Plan, wanted: Sequence[Warp]) -> list[Place]:
    """The same, each jumping the queue."""
    places: list[Place] = []
    for warp in wanted:
        places.append(first_place(shed, plan, warp))
        shed, plan = _with(shed, warp), places[-1].plan
    return places
