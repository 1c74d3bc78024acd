"""Woven: what the floor told of picks, pieces and stops, in a loom's working minutes."""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Prefetch
from django.utils import timezone

from planning import run_out
from planning.models import Closure, FloorEvent, Loom, Stop, Warp
from planning.run_out import Spell, Tally
from planning.services import clock
from planning.worktime import WEEK_MIN, Calendar, Span


class Shed:
    """Calendars of looms from a moment on, each made once for all looms that keep the same hours."""

    def __init__(self, since: datetime) -> None:
        self.epoch = clock.monday_before(since)
        self.closures = list(Closure.objects.all())
        self.calendars: dict[tuple[str, tuple[Span, ...]], Calendar] = {}

    def of(self, loom: Loom) -> Calendar:
        closed = clock.loom_closed(loom, self.closures, epoch=self.epoch)
        key = loom.shift_pattern.hours, closed
        if key not in self.calendars:
            hours = clock.mill_hours(loom.shift_pattern.hours, self.closures, epoch=self.epoch)
            horizon = clock.HORIZON_WEEKS * 2 * WEEK_MIN
            self.calendars[key] = Calendar(hours.weekly, (*hours.closed, *closed), horizon)
        return self.calendars[key]

    def minute(self, moment: datetime) -> int:
        return max(0, clock.to_minute(moment, epoch=self.epoch))

    def worked_min(self, loom: Loom, starts_at: datetime, stops_at: datetime) -> int:
        return self.of(loom).worked_between(self.minute(starts_at), max(self.minute(starts_at), self.minute(stops_at)))


@dataclass(frozen=True)
class Woven:
    """A spell with what it is counted under."""

    spell: Spell
    loom: str
    cloth: str
    weaver: str
    stood: Counter[str]
    at: datetime


def spells(*, since: datetime, until: datetime | None = None) -> list[Woven]:
    """Pieces taken off between two moments, each with the working minutes from the piece before, or from the start.

    A piece that nobody told the start of is left out: its minutes are not known.
    """
    until = until or timezone.now()
    told = (
        FloorEvent.objects.filter(refused="", undone_by__isnull=True)
        .filter(kind__in=[FloorEvent.STARTED, FloorEvent.PIECE_OFF])
        .select_related("worker", "piece__spec__cloth")
        .order_by("happened_at", "pk")
    )
    warps = (
        Warp.objects.filter(events__kind=FloorEvent.PIECE_OFF, events__happened_at__gte=since, loom__isnull=False)
        .distinct()
        .select_related("loom__shift_pattern")
        .prefetch_related(Prefetch("events", told, to_attr="told"), "stops")
    )
    shed = Shed(since - timedelta(days=60))
    found = []
    for warp in warps:
        assert warp.loom is not None
        began: datetime | None = None
        for event in warp.told:
            if event.kind == FloorEvent.STARTED:
                began = event.happened_at
                continue
            piece = event.piece
            if began is not None and piece is not None and since <= event.happened_at < until:
                found.append(_woven(shed, warp, warp.loom, event, began))
            began = event.happened_at
    return found


def _woven(shed: Shed, warp: Warp, loom: Loom, event: FloorEvent, began: datetime) -> Woven:
    stood: Counter[str] = Counter()
    for stop in warp.stops.all():
        starts_at, stops_at = max(stop.starts_at, began), min(stop.stops_at or event.happened_at, event.happened_at)
        if starts_at < stops_at:
            stood[stop.reason] += shed.worked_min(loom, starts_at, stops_at)
    minutes = shed.worked_min(loom, began, event.happened_at)
    waited = min(minutes, sum(stood[reason] for reason in Stop.WAITS))
    piece = event.piece
    assert piece is not None
    return Woven(
        spell=Spell(
            picks=piece.picks or 0,
            length_m=piece.grey_length_m,
            minutes=minutes,
            ppm=loom.ppm,
            waited_min=waited,
            stood_min=min(minutes - waited, sum(stood.values()) - waited),
        ),
        loom=loom.code,
        cloth=str(piece.spec.cloth),
        weaver=event.worker.name,
        stood=stood,
        at=event.happened_at,
    )


@dataclass(frozen=True)
class Group:
    """What one loom, cloth or weaver wove."""

    name: str
    tally: Tally
    stood: tuple[tuple[str, int], ...]


def grouped(rows: Iterable[Woven], by: Callable[[Woven], str]) -> list[Group]:
    """The spells by loom, cloth or weaver, with the reasons they stood, longest first."""
    groups: dict[str, list[Woven]] = defaultdict(list)
    for row in rows:
        groups[by(row)].append(row)
    found = []
    for name, own in sorted(groups.items()):
        stood: Counter[str] = Counter()
        for row in own:
            stood.update(row.stood)
        found.append(Group(name, run_out.tally(row.spell for row in own), tuple(stood.most_common())))
    return found
