"""The weaving shed as it stands: looms, tuners, hours, and the warps that wait. Knows no plan.

Every time is a whole minute counted from a Monday 00:00, every interval half-open.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from functools import cached_property
from typing import Any, Literal

from mill.refusal import N_, Refusal
from planning.worktime import DAY_MIN, Calendar, Hours, Span, calendar_of

FORMAT = "loom-sched-1"
# Common practice, no source: two days in hand.
WOUND_AHEAD_MIN = 2 * DAY_MIN

SetupClass = Literal["in loom", "weft change", "tie-in", "draw-in", "gait-up"]
Number = int | Decimal

# Why a warp can't go on a loom.
IN_ANOTHER = N_("it is in loom %(loom)s")
PINNED = N_("it is pinned to loom %(loom)s")
KEPT_TO = N_("it is kept to looms %(looms)s")
TOO_WIDE = N_("it needs %(needs)s cm in the reed; the loom has %(has)s cm")
NEEDS_JACQUARD = N_("it needs a jacquard")
TOO_FEW_SHAFTS = N_("it needs %(needs)s shafts; the loom has %(has)s")
TOO_FEW_COLOURS = N_("it needs %(needs)s weft colours; the loom has %(has)s")
TOO_LARGE_A_FLANGE = N_("its beam has flanges of %(has)s mm; the loom takes %(takes)s mm")
MISFITS = (
    *(IN_ANOTHER, PINNED, KEPT_TO, TOO_WIDE, NEEDS_JACQUARD),
    *(TOO_FEW_SHAFTS, TOO_FEW_COLOURS, TOO_LARGE_A_FLANGE),
)


@dataclass(frozen=True, slots=True)
class Setup:
    """What stands between one warp and the next on a loom."""

    kind: SetupClass
    minutes: int
    needs_tuner: bool


@dataclass(frozen=True, slots=True)
class LoomState:
    """What was last in a loom; a bare loom knows neither family nor reed.

    family          warps of one family have ends, draft, reed and denting in common
    warp_group      set when the next warp may be the same warp going on
    """

    family: str | None = None
    reed: str | None = None
    warp_group: str | None = None


@dataclass(frozen=True, slots=True)
class Loom:
    """width_cm is reed space; efficiency is a share of running time, 0.79 for 79 %.

    closed          spans in which this loom stands though its calendar is open: repairs, a breakdown
    free_at         the first minute at which it may be set up: now, when planning from the middle of a week
    """

    id: str
    width_cm: Number
    shafts: int
    jacquard: bool
    feeders: int
    max_flange_mm: Number
    ppm: Number
    efficiency: Decimal
    calendar: str
    closed: tuple[Span, ...] = ()
    state: LoomState = LoomState()
    free_at: int = 0

    def __post_init__(self) -> None:
        if self.ppm <= 0:
            raise Refusal(f"Loom {self.id} weaves {self.ppm} picks a minute. Give it a speed above 0.")
        if not 0 < self.efficiency <= 1:
            raise Refusal(f"Loom {self.id} has an efficiency of {self.efficiency}; it lies above 0 and up to 1.")
        if self.free_at < 0:
            raise Refusal(f"Loom {self.id} is free from minute {self.free_at}; the plan begins at minute 0.")

    @property
    def picks_per_min(self) -> Fraction:
        return Fraction(self.ppm) * Fraction(self.efficiency)


@dataclass(frozen=True, slots=True)
class PieceDue:
    """A piece on a warp, in the order of weaving. weight is how much a minute late matters, 0 or more."""

    picks: int
    due: int
    weight: int

    def __post_init__(self) -> None:
        if self.picks <= 0:
            raise Refusal(f"A piece of {self.picks} picks can't be woven. Give it a length.")
        if self.weight < 0:
            raise Refusal(f"A piece has the weight {self.weight}; the least is 0, for a piece that may be late.")


@dataclass(frozen=True, slots=True)
class Warp:
    """One warp and what it asks of a loom.

    release         the first minute at which its yarn is here and it is wound
    tie_min, gait_min   minutes to tie it to its own family, to gait it up after another
    draw_in_min     minutes when only the reed of the warp before can stay; None: as a gait-up
    weft_change_min minutes after a warp of the same warp_group, which is the same warp going on
    in_progress     the loom it is in, where it stays first
    setup_left_min  minutes still to do when it is in_progress and its set-up is under way
    pin_loom, pin_start the planner's word: on this loom; and weaving from this very minute
    only_looms      the planner's word: on one of these looms; None for any that fits
    wind_min        minutes on a warping mill that it still wants; None when it is wound
    wind_from       when it is not wound: the first minute at which its warp yarn is here; release is then its weft's
    beams           kinds of beam that take it; of one that is wound, the kind that it is on
    """

    id: str
    family: str
    reed: str
    width_cm: Number
    shafts: int
    jacquard: bool
    feeders: int
    flange_mm: Number
    pieces: tuple[PieceDue, ...]
    release: int
    tie_min: int
    gait_min: int
    draw_in_min: int | None = None
    weft_change_min: int = 0
    warp_group: str | None = None
    in_progress: str | None = None
    setup_left_min: int = 0
    pin_loom: str | None = None
    pin_start: int | None = None
    only_looms: frozenset[str] | None = None
    wind_min: int | None = None
    wind_from: int = 0
    beams: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.pieces:
            raise Refusal(f"Warp {self.id} has no pieces to weave. Put a piece on it, or take it off the plan.")
        for name in ("release", "tie_min", "gait_min", "weft_change_min", "setup_left_min", "wind_from"):
            if getattr(self, name) < 0:
                raise Refusal(f"Warp {self.id} has {getattr(self, name)} for {name}; the least is 0.")
        if self.wind_min is not None and self.wind_min < 1:
            raise Refusal(
                f"Warp {self.id} is wound in {self.wind_min} min; the least is 1. Leave it out when it is wound."
            )
        if self.wind_min is not None and self.in_progress is not None:
            raise Refusal(f"Warp {self.id} is in loom {self.in_progress} and still to be wound. It can't be both.")
        if self.wind_min is None and len(self.beams) > 1:
            raise Refusal(f"Warp {self.id} is wound and on {len(self.beams)} kinds of beam. Say the one it is on.")
        if self.setup_left_min and self.in_progress is None:
            raise Refusal(f"Warp {self.id} has {self.setup_left_min} min of set-up left but is in no loom.")
        if self.pin_start is not None and (self.pin_loom or self.in_progress) is None:
            raise Refusal(f"Warp {self.id} is pinned to minute {self.pin_start} but to no loom. Pin it to a loom too.")

    @property
    def picks(self) -> int:
        return sum(piece.picks for piece in self.pieces)

    @property
    def state_after(self) -> LoomState:
        """What it leaves in the loom for the next warp."""
        return LoomState(self.family, self.reed, self.warp_group)


@dataclass(frozen=True, slots=True)
class SetupTimes:
    reed_change_min: int = 0
    tie_needs_tuner: bool = False
    gait_needs_tuner: bool = True


@dataclass(frozen=True, slots=True)
class Tuners:
    """capacity tuners who keep one calendar; each does one set-up at a time."""

    capacity: int
    calendar: str

    def __post_init__(self) -> None:
        if self.capacity < 1:
            raise Refusal(f"There are {self.capacity} tuners. Looms can't be gaited without one; enter at least 1.")


@dataclass(frozen=True, slots=True)
class Beams:
    """The beams of one kind: how many the mill has, full or empty, and their flanges."""

    kind: str
    count: int
    flange_mm: Number = 0

    def __post_init__(self) -> None:
        if self.count < 1:
            raise Refusal(f"There are {self.count} beams of kind {self.kind}; a kind that is there has at least 1.")


@dataclass(frozen=True, slots=True)
class Winding:
    """How warps come on to beams here, as far as a plan has to respect it.

    A loom's next warp asks for a beam and a warping mill so long before the loom comes free for it that it is wound
    `ahead_min` before that, but not while the warp before it is not weaving yet. Of those that ask, the first is
    served first. The beam is its own from then on until it is woven out.

    mills       warps that are wound at the same time, in the hours of the calendar
    beams       by kind, in the order in which they are taken: the smallest first
    """

    mills: int
    calendar: str
    beams: tuple[Beams, ...] = ()
    ahead_min: int = WOUND_AHEAD_MIN

    def __post_init__(self) -> None:
        if self.mills < 1:
            raise Refusal(f"There are {self.mills} warping mills. Nothing can be wound without one; enter at least 1.")
        if self.ahead_min < 0:
            raise Refusal(f"Warps are wound {self.ahead_min} min ahead; the least is 0.")
        _refuse_twice("Beam kind", (beams.kind for beams in self.beams))


@dataclass(frozen=True, slots=True)
class Objective:
    """What a minute costs: of weighted lateness, of set-up, and of the whole plan's length."""

    tardiness: int = 20
    setup: int = 5
    makespan: int = 1


@dataclass(frozen=True, slots=True)
class Previous:
    """Where the plan in force has a warp, and when it starts to weave."""

    loom: str
    start: int


@dataclass(frozen=True, slots=True)
class Stability:
    """What it costs to move a warp of the plan in force.

    tolerance       minutes by which a start may shift and still be the same plan
    freeze_until    warps that were to start before this minute cost move_cost, later ones move_cost_late
    """

    tolerance: int = 0
    freeze_until: int = 0
    move_cost: int = 0
    move_cost_late: int = 0


@dataclass(frozen=True, slots=True)
class PairTimes:
    """Times given outright for each loom and each pair of warps, as published problems come.

    weave_min       by loom and warp
    setup_min       by loom, warp before (None at the start) and warp
    The set-up is then done before the warp is there, and needs no tuner.
    """

    weave_min: Mapping[tuple[str, str], int]
    setup_min: Mapping[tuple[str, str | None, str], int]


@dataclass(frozen=True)
class Shed:
    """All that a plan has to respect. `horizon` is the last minute its calendars know."""

    name: str
    horizon: int
    calendars: Mapping[str, Hours]
    looms: tuple[Loom, ...]
    warps: tuple[Warp, ...]
    tuners: Tuners
    setup: SetupTimes = SetupTimes()
    objective: Objective = Objective()
    previous: Mapping[str, Previous] = field(default_factory=dict)
    stability: Stability = Stability()
    pair_times: PairTimes | None = None
    winding: Winding | None = None

    def __post_init__(self) -> None:
        if not self.looms:
            raise Refusal("There is no loom to plan. Enter the mill's looms first.")
        _refuse_twice("Loom", (loom.id for loom in self.looms))
        _refuse_twice("Warp", (warp.id for warp in self.warps))
        for who, calendar in [
            ("the tuners", self.tuners.calendar),
            *((f"loom {m.id}", m.calendar) for m in self.looms),
        ]:
            if calendar not in self.calendars:
                raise Refusal(f"The calendar {calendar} of {who} is not in the mill's book. Enter its hours.")
        self._check_winding()
        in_loom: dict[str, str] = {}
        for warp in self.warps:
            for loom_id in (warp.in_progress, warp.pin_loom):
                if loom_id is not None and loom_id not in self.loom:
                    raise Refusal(f"Warp {warp.id} is to be on loom {loom_id}, which is not in the shed.")
            if warp.in_progress in in_loom:
                other = in_loom[warp.in_progress]
                raise Refusal(f"Warps {other} and {warp.id} are both in loom {warp.in_progress}. Only one can be.")
            if warp.in_progress is not None:
                in_loom[warp.in_progress] = warp.id
                if warp.pin_loom not in (None, warp.in_progress):
                    raise Refusal(f"Warp {warp.id} is in loom {warp.in_progress} but pinned to loom {warp.pin_loom}.")
            home = warp.pin_loom or warp.in_progress
            if warp.pin_start is not None and home is not None and not self.hours(home).is_open(warp.pin_start):
                raise Refusal(
                    f"Warp {warp.id} is pinned to start at minute {warp.pin_start}, when loom {home} is closed. "
                    f"Pin it to an open minute."
                )

    def _check_winding(self) -> None:
        winding = self.winding
        if winding is None:
            for warp in self.warps:
                if warp.wind_min is not None or warp.beams:
                    raise Refusal(f"Warp {warp.id} wants winding or a beam, and the shed has neither mills nor beams.")
            return
        if winding.calendar not in self.calendars:
            raise Refusal(f"The calendar {winding.calendar} of warping is not in the mill's book. Enter its hours.")
        held = self.beams_held
        for warp in self.warps:
            for kind in warp.beams:
                if kind not in held:
                    raise Refusal(f"Warp {warp.id} wants a beam of kind {kind}, which the mill does not have.")
        for beams in winding.beams:
            if held[beams.kind] > beams.count:
                raise Refusal(
                    f"{held[beams.kind]} warps are on beams of kind {beams.kind}, and the mill has {beams.count}. "
                    "Enter the beams that are there."
                )

    @cached_property
    def winds(self) -> bool:
        """Whether a warp is still to be wound, so that beams and warping mills matter to the plan."""
        return any(warp.wind_min is not None for warp in self.warps)

    @cached_property
    def beams_held(self) -> dict[str, int]:
        """By kind: how many beams have a warp on them at minute 0."""
        held = {beams.kind: 0 for beams in self.winding.beams} if self.winding else {}
        for warp in self.warps:
            if warp.wind_min is None and warp.beams and warp.beams[0] in held:
                held[warp.beams[0]] += 1
        return held

    @cached_property
    def flange_mm(self) -> dict[str, Number]:
        """By kind of beam."""
        return {beams.kind: beams.flange_mm for beams in self.winding.beams} if self.winding else {}

    @cached_property
    def winding_hours(self) -> Calendar:
        assert self.winding is not None
        return self._calendar(self.winding.calendar, ())

    @cached_property
    def soonest(self) -> dict[str, int]:
        """By warp: the first minute at which it could be on a loom, were a beam and a warping mill always there."""
        found = {}
        for warp in self.warps:
            wound = 0
            if warp.wind_min is not None:
                _, wound = self.winding_hours.add_minutes(warp.wind_from, warp.wind_min)
            found[warp.id] = max(warp.release, wound)
        return found

    def beams_for(self, loom_id: str, warp: Warp) -> tuple[str, ...]:
        """Kinds of beam that take the warp and go into the loom, in the order in which they are taken."""
        most = self.loom[loom_id].max_flange_mm
        return tuple(kind for kind, flange_mm in self.flange_mm.items() if kind in warp.beams and flange_mm <= most)

    @cached_property
    def loom(self) -> dict[str, Loom]:
        return {loom.id: loom for loom in self.looms}

    @cached_property
    def warp(self) -> dict[str, Warp]:
        return {warp.id: warp for warp in self.warps}

    @cached_property
    def in_progress(self) -> dict[str, str]:
        """The warp in each loom that has one."""
        return {warp.in_progress: warp.id for warp in self.warps if warp.in_progress is not None}

    @cached_property
    def tuner_hours(self) -> Calendar:
        return self._calendar(self.tuners.calendar, ())

    def hours(self, loom_id: str) -> Calendar:
        """The calendar of one loom, less the spans in which it stands."""
        loom = self.loom[loom_id]
        return self._calendar(loom.calendar, loom.closed)

    def misfit(self, loom: Loom, warp: Warp) -> str | None:
        """Why the warp can't go on the loom, in words; None when it can."""
        if warp.in_progress is not None:
            return None if warp.in_progress == loom.id else IN_ANOTHER % {"loom": warp.in_progress}
        if warp.pin_loom is not None and warp.pin_loom != loom.id:
            return PINNED % {"loom": warp.pin_loom}
        if warp.only_looms is not None and loom.id not in warp.only_looms:
            return KEPT_TO % {"looms": ", ".join(sorted(warp.only_looms))}
        if warp.width_cm > loom.width_cm:
            return TOO_WIDE % {"needs": warp.width_cm, "has": loom.width_cm}
        if warp.jacquard and not loom.jacquard:
            return NEEDS_JACQUARD
        if not loom.jacquard and warp.shafts > loom.shafts:
            return TOO_FEW_SHAFTS % {"needs": warp.shafts, "has": loom.shafts}
        if warp.feeders > loom.feeders:
            return TOO_FEW_COLOURS % {"needs": warp.feeders, "has": loom.feeders}
        flange_mm = max(warp.flange_mm, min((self.flange_mm[kind] for kind in warp.beams), default=0))
        if flange_mm > loom.max_flange_mm:
            return TOO_LARGE_A_FLANGE % {"has": flange_mm, "takes": loom.max_flange_mm}
        return None

    def fits(self, loom_id: str, warp_id: str) -> bool:
        return loom_id in self.looms_for[warp_id]

    @cached_property
    def looms_for(self) -> dict[str, tuple[str, ...]]:
        """The looms each warp can go on."""
        # Hundreds of warps ask for a few dozen different things.
        by_wish: dict[tuple[Any, ...], tuple[str, ...]] = {}
        found: dict[str, tuple[str, ...]] = {}
        for warp in self.warps:
            wish = (
                *(warp.in_progress, warp.pin_loom, warp.only_looms, warp.width_cm, warp.shafts, warp.jacquard),
                *(warp.feeders, warp.flange_mm, warp.beams),
            )
            if wish not in by_wish:
                by_wish[wish] = tuple(loom.id for loom in self.looms if self.misfit(loom, warp) is None)
            found[warp.id] = by_wish[wish]
        return found

    def without_loom(self) -> dict[str, str]:
        """Warps that no loom takes, each with the reason that comes nearest to a fit."""
        return {
            warp.id: "; ".join(f"loom {loom.id}: {self.misfit(loom, warp)}" for loom in self.looms)
            for warp in self.warps
            if not self.looms_for[warp.id]
        }

    def setup_before(self, before: LoomState, warp: Warp) -> Setup:
        """The set-up of a warp that follows what was in the loom before.

        Source: tie-in only with the same ends, draft, reed and denting; draw-in
        keeps the reed; all else is gaited up. Common practice, no source.
        """
        times = self.setup
        if before.warp_group is not None and before.warp_group == warp.warp_group:
            return Setup("weft change", warp.weft_change_min, needs_tuner=False)
        if before.family == warp.family:
            return Setup("tie-in", warp.tie_min, times.tie_needs_tuner)
        if before.reed != warp.reed:
            return Setup("gait-up", warp.gait_min + times.reed_change_min, times.gait_needs_tuner)
        if warp.draw_in_min is not None:
            return Setup("draw-in", warp.draw_in_min, times.gait_needs_tuner)
        return Setup("gait-up", warp.gait_min, times.gait_needs_tuner)

    def setup_of(self, loom_id: str, before_id: str | None, warp_id: str) -> Setup:
        """The set-up of one warp after another, or after what the loom holds now."""
        warp, loom = self.warp[warp_id], self.loom[loom_id]
        if self.pair_times is not None:
            return Setup("gait-up", self.pair_times.setup_min[loom_id, before_id, warp_id], needs_tuner=False)
        setup = self.setup_before(loom.state if before_id is None else self.warp[before_id].state_after, warp)
        if warp.in_progress is None:
            return setup
        if warp.setup_left_min:
            return Setup(setup.kind, warp.setup_left_min, setup.needs_tuner)
        return Setup("in loom", 0, needs_tuner=False)

    def marks(self, loom_id: str, warp_id: str) -> tuple[int, ...]:
        """Working minutes from the start of weaving until each piece is off, rounded up at each piece."""
        if self.pair_times is not None:
            return (self.pair_times.weave_min[loom_id, warp_id],)
        key = (loom_id, warp_id)
        if key not in self._marks:
            rate = self._rates[loom_id]
            picks, marks = 0, []
            for piece in self.warp[warp_id].pieces:
                picks += piece.picks
                marks.append(-(-picks * rate.denominator // rate.numerator))
            self._marks[key] = tuple(marks)
        return self._marks[key]

    def weave_min(self, loom_id: str, warp_id: str) -> int:
        return self.marks(loom_id, warp_id)[-1]

    @cached_property
    def _rates(self) -> dict[str, Fraction]:
        return {loom.id: loom.picks_per_min for loom in self.looms}

    @cached_property
    def _marks(self) -> dict[tuple[str, str], tuple[int, ...]]:
        return {}

    @cached_property
    def _calendars(self) -> dict[tuple[str, tuple[Span, ...]], Calendar]:
        return {}

    def _calendar(self, name: str, closed: tuple[Span, ...]) -> Calendar:
        if (name, closed) not in self._calendars:
            hours = self.calendars[name]
            self._calendars[name, closed] = calendar_of(hours.weekly, (*hours.closed, *closed), self.horizon)
        return self._calendars[name, closed]


def from_json(book: Mapping[str, Any]) -> Shed:
    """A shed from the benchmark's format, read with json.load(..., parse_float=Decimal) or without.

    Beside the format there may be `winding` {mills, calendar, ahead_min, beams [{kind, count, flange_mm}]}, and of a
    warp wind_min, wind_from and beams; and what _LOOM_EXTRAS and _WARP_EXTRAS name.
    """
    if book.get("format") != FORMAT:
        raise Refusal(f"The file is in the format {book.get('format')}; the planner reads {FORMAT}.")
    stability = book.get("stability")
    return Shed(
        name=book.get("name", ""),
        horizon=book["horizon"],
        calendars={
            name: Hours(_spans(hours["weekly"]), _spans(hours["closed"])) for name, hours in book["calendars"].items()
        },
        looms=tuple(_loom(row) for row in book["looms"]),
        warps=tuple(_warp(row) for row in book["warps"]),
        tuners=Tuners(**book["tuner"]),
        setup=SetupTimes(**book["setup"]),
        objective=Objective(**book["objective"]),
        previous={warp: Previous(row["loom"], row["start"]) for warp, row in (book.get("previous") or {}).items()},
        stability=Stability(**{name: stability[name] for name in Stability.__slots__}) if stability else Stability(),
        winding=_winding(book.get("winding")),
    )


def _winding(row: Mapping[str, Any] | None) -> Winding | None:
    if row is None:
        return None
    beams = tuple(Beams(one["kind"], one["count"], _number(one["flange_mm"])) for one in row["beams"])
    return Winding(row["mills"], row["calendar"], beams, row["ahead_min"])


def to_json(shed: Shed) -> dict[str, Any]:
    """The shed in the benchmark's format; what the format can't say is written only where it is used."""
    assert shed.pair_times is None, "the format works times out and has no room for times by pair"
    book: dict[str, Any] = {
        "format": FORMAT,
        "name": shed.name,
        "horizon": shed.horizon,
        "calendars": {
            name: {"weekly": _lists(hours.weekly), "closed": _lists(hours.closed)}
            for name, hours in shed.calendars.items()
        },
        "looms": [_loom_row(loom) for loom in shed.looms],
        "setup": _row(shed.setup),
        "tuner": _row(shed.tuners),
        "warps": [_warp_row(warp) for warp in shed.warps],
        "objective": _row(shed.objective),
    }
    if shed.previous:
        book["previous"] = {warp: _row(previous) for warp, previous in shed.previous.items()}
    if shed.previous or shed.stability != Stability():
        book["stability"] = _row(shed.stability)
    if shed.winding is not None:
        book["winding"] = {**_row(shed.winding), "beams": [_row(beams) for beams in shed.winding.beams]}
    return book


_LOOM_EXTRAS = {"free_at": 0}
_WARP_EXTRAS: dict[str, Any] = {
    "draw_in_min": None,
    "weft_change_min": 0,
    "warp_group": None,
    "setup_left_min": 0,
    "wind_min": None,
    "wind_from": 0,
}


def _loom(row: Mapping[str, Any]) -> Loom:
    state = row["state"]
    return Loom(
        id=row["id"],
        width_cm=_number(row["width_cm"]),
        shafts=row["shafts"],
        jacquard=row["jacquard"],
        feeders=row["feeders"],
        max_flange_mm=_number(row["max_flange_mm"]),
        ppm=_number(row["ppm"]),
        efficiency=Decimal(str(row["efficiency"])),
        calendar=row["calendar"],
        closed=_spans(row["closed"]),
        state=LoomState(state["family"], state["reed"], state.get("warp_group")),
        **{name: row.get(name, plain) for name, plain in _LOOM_EXTRAS.items()},
    )


def _warp(row: Mapping[str, Any]) -> Warp:
    pieces = tuple(PieceDue(piece["picks"], piece["due"], piece["weight"]) for piece in row["pieces"])
    picks = sum(piece.picks for piece in pieces)
    if picks != row["picks"]:
        raise Refusal(f"Warp {row['id']} has {row['picks']} picks, but its pieces add up to {picks}.")
    only = row.get("only_looms")
    return Warp(
        id=row["id"],
        family=row["family"],
        reed=row["reed"],
        width_cm=_number(row["width_cm"]),
        shafts=row["shafts"],
        jacquard=row["jacquard"],
        feeders=row["feeders"],
        flange_mm=_number(row["flange_mm"]),
        pieces=pieces,
        release=row["release"],
        tie_min=row["tie_min"],
        gait_min=row["gait_min"],
        in_progress=row["in_progress"],
        pin_loom=row["pin_loom"],
        pin_start=row["pin_start"],
        only_looms=None if only is None else frozenset(only),
        beams=tuple(row.get("beams", ())),
        **{name: row.get(name, plain) for name, plain in _WARP_EXTRAS.items()},
    )


def _loom_row(loom: Loom) -> dict[str, Any]:
    state = {"family": loom.state.family, "reed": loom.state.reed}
    if loom.state.warp_group is not None:
        state["warp_group"] = loom.state.warp_group
    row = {**_row(loom), "closed": _lists(loom.closed), "state": state}
    return {name: value for name, value in row.items() if name not in _LOOM_EXTRAS or value != _LOOM_EXTRAS[name]}


def _warp_row(warp: Warp) -> dict[str, Any]:
    row = {**_row(warp), "picks": warp.picks, "pieces": [_row(piece) for piece in warp.pieces]}
    if row.pop("only_looms") is not None:
        row["only_looms"] = sorted(warp.only_looms or ())
    if row.pop("beams"):
        row["beams"] = list(warp.beams)
    return {name: value for name, value in row.items() if name not in _WARP_EXTRAS or value != _WARP_EXTRAS[name]}


def _row(thing: Any) -> dict[str, Any]:
    row = {name: getattr(thing, name) for name in thing.__slots__}
    return {name: float(value) if isinstance(value, Decimal) else value for name, value in row.items()}


def _number(value: int | float | Decimal) -> Number:
    return value if isinstance(value, int) else Decimal(str(value))


def _spans(rows: Iterable[Sequence[int]]) -> tuple[Span, ...]:
    return tuple((start, stop) for start, stop in rows)


def _lists(spans: Iterable[Span]) -> list[list[int]]:
    return [list(span) for span in spans]


def _refuse_twice(what: str, names: Iterable[str]) -> None:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise Refusal(f"{what} {name} is in the shed twice. Give each its own name.")
        seen.add(name)
