"""Woven: what the floor told of picks, pieces and stops, in a loom's working minutes."""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from typing import Any

from django.db.models import F, Prefetch, QuerySet
from django.utils import timezone

from planning import run_out
from planning.models import Closure, ClothSpec, FloorEvent, Loom, Stop, Warp, WarpPart
from planning.run_out import Spell, Tally
from planning.services import clock
from planning.worktime import WEEK_MIN, Calendar, Span, calendar_of, read_shifts


class Shed:
    """Calendars of looms from a moment on, each made once for all looms that keep the same hours."""

    def __init__(self, since: datetime) -> None:
        self.epoch = clock.monday_before(since)
        self.closures = list(Closure.objects.all())
        self.calendars: dict[tuple[str, tuple[Span, ...]], Calendar] = {}
        self.shifts: dict[tuple[str, tuple[Span, ...]], list[tuple[str, Calendar]]] = {}

    def _closed(self, loom: Loom) -> tuple[Span, ...]:
        return clock.loom_closed(loom, self.closures, epoch=self.epoch)

    def of(self, loom: Loom) -> Calendar:
        key = loom.shift_pattern.hours, self._closed(loom)
        if key not in self.calendars:
            hours = clock.mill_hours(loom.shift_pattern.hours, self.closures, epoch=self.epoch)
            self.calendars[key] = self._calendar(loom, hours.weekly)
        return self.calendars[key]

    def shifts_of(self, loom: Loom) -> list[tuple[str, Calendar]]:
        """The loom's shifts, as its pattern writes them, earliest in the day first."""
        key = loom.shift_pattern.hours, self._closed(loom)
        if key not in self.shifts:
            self.shifts[key] = [
                (name, self._calendar(loom, weekly)) for name, weekly in read_shifts(loom.shift_pattern.hours).items()
            ]
        return self.shifts[key]

    def _calendar(self, loom: Loom, weekly: Sequence[Span]) -> Calendar:
        mill_closed = clock.closed_spans([c for c in self.closures if c.loom_id is None], epoch=self.epoch)
        return calendar_of(tuple(weekly), (*mill_closed, *self._closed(loom)), clock.HORIZON_WEEKS * 2 * WEEK_MIN)

    def minute(self, moment: datetime) -> int:
        return max(0, clock.to_minute(moment, epoch=self.epoch))

    def minutes_in(self, calendar: Calendar, starts_at: datetime, stops_at: datetime) -> int:
        start = self.minute(starts_at)
        return calendar.worked_between(start, max(start, self.minute(stops_at)))

    def worked_min(self, loom: Loom, starts_at: datetime, stops_at: datetime) -> int:
        return self.minutes_in(self.of(loom), starts_at, stops_at)


@dataclass(frozen=True)
class Woven:
    """A spell with what it is counted under; `pieces` were taken off in it, `piece` where it is of one alone."""

    spell: Spell
    loom: str
    cloth: str
    weaver: str
    shift: str
    stood: Counter[str]
    at: datetime
    pieces: int = 1
    piece: str = ""


# What was told of each warp

# What is read of a specification and of a piece here: the rest of a hundred of them takes longer than all the sums.
SPEC_FACTS = ("spec__loom_picks_per_cm", "spec__cloth__code", "spec__cloth__name")
PIECE_FACTS = ("piece__number", "piece__picks", "piece__grey_length_m", *(f"piece__{name}" for name in SPEC_FACTS))
COUNTED = (FloorEvent.STARTED, FloorEvent.PICKS, FloorEvent.PIECE_OFF)


def told_of(warps: QuerySet[Warp]) -> QuerySet[Warp]:
    """The warps with everything told of their picks, done and not taken back, in the order in which it happened."""
    told = (
        FloorEvent.objects.filter(refused="", undone_by__isnull=True, kind__in=COUNTED)
        .select_related("worker", "piece__spec__cloth")
        .only("warp", "kind", "happened_at", "facts", "worker__name", *PIECE_FACTS)
        .order_by("happened_at", "pk")
    )
    parts = WarpPart.objects.select_related("spec__cloth").only("warp", "position", "pieces", *SPEC_FACTS)
    return warps.select_related("loom__shift_pattern").prefetch_related(
        Prefetch("events", told, to_attr="told"), Prefetch("parts", parts.order_by("position")), "stops"
    )


def warps_since(since: datetime, *, loom: Loom | None = None) -> list[Warp]:
    """Warps of which a piece was taken off, or picks were read, since then; of one loom, if one is named."""
    warps = Warp.objects.filter(
        events__kind__in=COUNTED[1:], events__happened_at__gte=since, loom__isnull=False
    ).distinct()
    return list(told_of(warps.filter(loom=loom) if loom else warps))


def spells(*, since: datetime, until: datetime | None = None, warps: Sequence[Warp] | None = None) -> list[Woven]:
    """Pieces taken off between two moments, each with the working minutes from the piece before, or from the start.

    warps   from warps_since(), where they have been read already

    A piece that nobody told the start of is left out: its minutes are not known.
    """
    until = until or timezone.now()
    shed = _shed_of(since)
    found = []
    for warp in warps_since(since) if warps is None else warps:
        assert warp.loom is not None
        began: datetime | None = None
        for event in _told(warp):
            if event.kind == FloorEvent.PICKS:
                continue
            piece = event.piece
            if began is not None and piece is not None and since <= event.happened_at < until:
                spell, stood = _spell(
                    shed,
                    shed.of(warp.loom),
                    warp,
                    began,
                    event.happened_at,
                    picks=piece.picks or 0,
                    length_m=piece.grey_length_m,
                )
                found.append(
                    Woven(
                        spell=spell,
                        loom=warp.loom.code,
                        cloth=str(piece.spec.cloth),
                        weaver=event.worker.name,
                        shift="",
                        stood=stood,
                        at=event.happened_at,
                        piece=piece.number,
                    )
                )
            began = event.happened_at
    return found


def _shed_of(since: datetime) -> Shed:
    # A piece taken off in the first days may have been begun weeks before.
    return Shed(since - timedelta(days=60))


def _told(warp: Warp) -> list[FloorEvent]:
    told: list[FloorEvent] = warp.told  # type: ignore[attr-defined]
    return told


def _spell(
    shed: Shed, calendar: Calendar, warp: Warp, began: datetime, until: datetime, *, picks: int, length_m: Decimal
) -> tuple[Spell, Counter[str]]:
    """What was woven from one moment to another, with the minutes of the calendar and why it stood in them."""
    assert warp.loom is not None
    stood: Counter[str] = Counter()
    for stop in warp.stops.all():
        starts_at, stops_at = max(stop.starts_at, began), min(stop.stops_at or until, until)
        if starts_at < stops_at and (minutes := shed.minutes_in(calendar, starts_at, stops_at)):
            stood[stop.reason] += minutes
    minutes = shed.minutes_in(calendar, began, until)
    waited = min(minutes, sum(stood[reason] for reason in Stop.WAITS))
    spell = Spell(
        picks=picks,
        length_m=length_m,
        minutes=minutes,
        ppm=warp.loom.ppm,
        waited_min=waited,
        stood_min=min(minutes - waited, sum(stood.values()) - waited),
    )
    return spell, +stood


# By the weaver's shift


@dataclass(frozen=True)
class Count:
    """Picks woven of a warp in all, as they stood when somebody told it; `event` is what was told."""

    picks: int
    at: datetime
    event: FloorEvent


def counts_of(warp: Warp) -> list[Count]:
    """From the start on: what pieces came to, or the counter where it shows more.

    No counter goes back: one that shows less later was misread before.
    """
    counts: list[Count] = []
    off = 0
    for event in _told(warp):
        if event.kind == FloorEvent.STARTED:
            counts, off = [], 0
        elif event.kind == FloorEvent.PIECE_OFF:
            off += (event.piece.picks or 0) if event.piece else 0
        picks = max(off, int(event.facts.get("picks", 0)))
        if counts or event.kind == FloorEvent.STARTED:
            counts.append(Count(picks, event.happened_at, event))
    right: list[Count] = []
    for n, count in enumerate(counts):
        if count.event.kind == FloorEvent.PICKS and any(
            later.picks < count.picks for later in counts[n + 1 :] if later.event.kind == FloorEvent.PICKS
        ):
            continue
        right.append(replace(count, picks=max(count.picks, right[-1].picks if right else 0)))
    return right


def _spec_at(warp: Warp, at: datetime) -> ClothSpec:
    """What was woven up to a moment: the cloth of the piece that came off then or next, else of the last there is."""
    off = [event for event in _told(warp) if event.piece]
    event = next((one for one in off if one.happened_at >= at), off[-1] if off else None)
    return event.piece.spec if event and event.piece else warp.parts.all()[0].spec


def shift_spells(*, since: datetime, until: datetime | None = None, warps: Sequence[Warp] | None = None) -> list[Woven]:
    """Everything counted between two moments, divided over the shifts in which the loom ran.

    From one count to the next the picks are divided as the running minutes are: those of the shift less the stops told
    in it. A counter read at the change of shifts gives each what it wove.
    """
    until = until or timezone.now()
    shed = _shed_of(since)
    found: list[Woven] = []
    for warp in warps_since(since) if warps is None else warps:
        for before, after in pairwise(counts_of(warp)):
            if since <= after.at < until:
                found += _by_shift(shed, warp, before, after)
    return found


def week_spells(*, since: datetime, until: datetime) -> list[tuple[date, Woven]]:
    """The same divided over weeks as well, each part with its Monday: what was woven between two moments, at whatever
    moment it was counted."""
    shed = _shed_of(since)
    found: list[tuple[date, Woven]] = []
    for warp in warps_since(since):
        for before, after in pairwise(counts_of(warp)):
            if since < after.at and before.at < until:
                parts = _divided(shed, warp, before, after, _weeks_between(shed, before.at, after.at))
                found += [(timezone.localdate(monday), part) for monday, part in parts if since <= part.at < until]
    return found


Stretch = tuple[datetime, datetime]


def _weeks_between(shed: Shed, began: datetime, until: datetime) -> list[Stretch]:
    """Cut where a week ends."""
    edges, week = [began], shed.minute(began) // WEEK_MIN + 1
    while (monday := clock.to_moment(week * WEEK_MIN, epoch=shed.epoch)) < until:
        edges.append(monday)
        week += 1
    return list(pairwise([*edges, until]))


def _by_shift(shed: Shed, warp: Warp, before: Count, after: Count) -> Iterable[Woven]:
    for _, part in _divided(shed, warp, before, after, [(before.at, after.at)]):
        yield replace(part, at=after.at)


def _divided(
    shed: Shed, warp: Warp, before: Count, after: Count, stretches: Sequence[Stretch]
) -> Iterable[tuple[datetime, Woven]]:
    """From one count to the next, over these stretches and the loom's shifts in each; with the Monday before each.

    `at` is where the stretch begins.
    """
    loom, spec = warp.loom, _spec_at(warp, after.at)
    assert loom is not None
    nothing = Decimal(0)
    parts = [
        (starts_at, stops_at, name, *_spell(shed, calendar, warp, starts_at, stops_at, picks=0, length_m=nothing))
        for starts_at, stops_at in stretches
        for name, calendar in shed.shifts_of(loom)
    ]
    parts = [part for part in parts if part[3].minutes]
    running = [spell.minutes - spell.waited_min - spell.stood_min for *_, spell, _ in parts]
    picks = after.picks - before.picks
    # The cut falls to the shift that made it: the last whose minutes it lies in.
    cut_in = _shift_at(shed, loom, after.at)
    for (starts_at, stops_at, name, spell, stood), share in zip(parts, run_out.shared_out(picks, running), strict=True):
        length_m = (share / (100 * spec.loom_picks_per_cm)).quantize(Decimal("0.01"))
        yield (
            clock.monday_before(starts_at),
            Woven(
                spell=replace(spell, picks=share, length_m=length_m),
                loom=loom.code,
                cloth=str(spec.cloth),
                weaver=after.event.worker.name,
                shift=name,
                stood=stood,
                at=starts_at,
                pieces=int(after.event.kind == FloorEvent.PIECE_OFF and name == cut_in and stops_at == after.at),
            ),
        )


def _shift_at(shed: Shed, loom: Loom, moment: datetime) -> str:
    """The shift that a moment lies in: one told as a shift ends still belongs to it."""
    minute = shed.minute(moment)
    return next((name for name, calendar in shed.shifts_of(loom) if minute and calendar.is_open(minute - 1)), "")


# How far each warp is


@dataclass(frozen=True)
class InLoom:
    """A warp that weaves, at a moment.

    picks            told, and woven since as near as can be said
    efficiency_pct   what to reckon with from here on
    is_woven_pct     it is the loom's own of late, not that of its record
    """

    picks: int
    efficiency_pct: Decimal
    is_woven_pct: bool


# So many days back a loom's own efficiency is read from.
OF_LATE = timedelta(days=28)


def in_loom(*, now: datetime) -> dict[int, InLoom]:
    """By primary key: every warp that weaves and of which the floor has told when it was started."""
    warps = list(
        told_of(Warp.objects.filter(state=Warp.WEAVING, loom__isnull=False, events__kind=FloorEvent.STARTED).distinct())
        .select_related("worked")
        .defer("worked__figures")
        .annotate(runs=F("worked__figures__runs"))
    )
    if not warps:
        return {}
    of_late = spells(since=now - OF_LATE, until=now)
    looms = {group.name: group.tally for group in grouped(of_late, lambda row: row.loom)}
    shed = _shed_of(now)
    found = {}
    for warp in warps:
        counts = counts_of(warp)
        if counts and counts[-1].at <= now:
            found[warp.pk] = _in_loom(shed, warp, counts, looms, now)
    return found


def _in_loom(shed: Shed, warp: Warp, counts: Sequence[Count], looms: dict[str, Tally], now: datetime) -> InLoom:
    loom, last = warp.loom, counts[-1]
    assert loom is not None
    efficiency_pct, is_woven = run_out.efficiency_to_go_by(
        record_pct=loom.efficiency_pct, woven=looms.get(loom.code, run_out.tally(()))
    )
    since, _ = _spell(shed, shed.of(loom), warp, last.at, now, picks=0, length_m=Decimal(0))
    told = max(warp.picks_woven, last.picks)
    more = run_out.picks_since(
        minutes=since.minutes,
        waited_min=since.waited_min,
        stood_min=since.stood_min,
        ppm=loom.ppm,
        efficiency_pct=efficiency_pct,
        at_most=_left_of_piece(warp, counts, told=told),
    )
    return InLoom(told + more, efficiency_pct, is_woven)


def _left_of_piece(warp: Warp, counts: Sequence[Count], *, told: int) -> int:
    """Picks until the piece in the loom, as it was planned, would be off."""
    off = [count for count in counts if count.event.kind == FloorEvent.PIECE_OFF]
    runs: Any = warp.runs  # type: ignore[attr-defined]
    planned = [
        run["picks_per_piece"]
        for part, run in zip(warp.parts.all(), runs or (), strict=False)
        for _ in range(part.pieces)
    ]
    cut = sum(count.event.piece.picks or 0 for count in off if count.event.piece)
    return max(0, cut + sum(planned[len(off) : len(off) + 1]) - told)


# Taken together


@dataclass(frozen=True)
class Group:
    """What one loom, cloth, weaver or shift wove."""

    name: str
    tally: Tally
    stood: tuple[tuple[str, int], ...]
    pieces: int


def grouped(rows: Iterable[Woven], by: Callable[[Woven], Any]) -> list[Group]:
    """The spells by loom, cloth, weaver or shift, with the reasons they stood, longest first."""
    groups: dict[str, list[Woven]] = defaultdict(list)
    for row in rows:
        groups[str(by(row))].append(row)
    found = []
    for name, own in sorted(groups.items()):
        stood: Counter[str] = Counter()
        for row in own:
            stood.update(row.stood)
        pieces = sum(row.pieces for row in own)
        found.append(Group(name, run_out.tally(row.spell for row in own), tuple(stood.most_common()), pieces))
    return found
