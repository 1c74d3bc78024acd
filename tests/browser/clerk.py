"""A clerk with a pencil, who hears everything that the floor tells and keeps a book of his own.

Knows nothing of Shedbook's code: hours, picks, metres, grams and lateness are reckoned here in another way, minute by
minute, from what is written on the walls of the mill: hours, speeds and settings.
"""

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

WAITS = {"no weft", "no weaver", "cleaning"}


@dataclass
class LoomOnTheWall:
    """What hangs beside a loom: picks a minute, and in which minutes it is open."""

    ppm: int
    opened: list[bool]
    first: datetime

    def minutes(self, start: datetime, stop: datetime) -> int:
        return sum(self.opened[self._at(start) : max(self._at(start), self._at(stop))])

    def _at(self, moment: datetime) -> int:
        return max(0, int((moment - self.first).total_seconds()) // 60)


def open_minutes(
    first: datetime, days: int, hours: dict[int, list[tuple[int, int]]], closed: list[tuple]
) -> list[bool]:
    """Every minute of so many days: open by weekday and clock, unless closed from one moment to another."""
    found = []
    for n in range(days * 24 * 60):
        moment = first + timedelta(minutes=n)
        clock = moment.hour * 60 + moment.minute
        is_open = any(start <= clock < stop for start, stop in hours.get(moment.weekday(), []))
        found.append(is_open and not any(starts <= moment < stops for starts, stops in closed))
    return found


@dataclass
class Beam:
    """A warp as the clerk knows it."""

    loom: str
    picks_per_cm: list[Decimal]
    cut: int = 0
    started: datetime | None = None
    last: datetime | None = None
    stopped: datetime | None = None
    reason: str = ""
    stops: list[tuple[datetime, datetime, str]] = field(default_factory=list)
    counter: int = 0
    is_out: bool = False


@dataclass
class Clerk:
    looms: dict[str, LoomOnTheWall]
    beams: dict[int, Beam]
    since: datetime
    metres: dict[str, Decimal] = field(default_factory=dict)
    picks: dict[str, int] = field(default_factory=dict)
    lots_g: Counter = field(default_factory=Counter)
    held_g: dict[tuple[int, str], int] = field(default_factory=dict)
    # By loom: picks, minutes that the loom was meant to run, waited, and stood for other reasons.
    woven: dict[str, Counter] = field(default_factory=lambda: defaultdict(Counter))
    stood: dict[str, Counter] = field(default_factory=lambda: defaultdict(Counter))

    def hear(self, number: int, at: datetime, kind: str, **facts: Any) -> None:
        beam = self.beams[number]
        if beam.stopped and kind in ("running", "stopped", "warp out"):
            beam.stops.append((beam.stopped, at, beam.reason))
            beam.stopped = None
        match kind:
            case "started":
                beam.started = beam.last = at
            case "stopped":
                beam.stopped, beam.reason = at, facts["reason"]
            case "piece off":
                self._cut(number, beam, at, Decimal(facts["length_m"]))
            case "picks":
                beam.counter = int(facts["picks"])
            case "warp out":
                beam.is_out = True
            case "yarn returned":
                self.lots_g[facts["lot"]] += int(facts["grams"])
            case "weft changed":
                self.lots_g[facts["lot"]] -= self.held_g.pop((number, facts["lot"]), 0)

    def _cut(self, number: int, beam: Beam, at: datetime, length_m: Decimal) -> None:
        picks = int((length_m * 100 * beam.picks_per_cm[beam.cut]).to_integral_value(ROUND_HALF_UP))
        beam.cut += 1
        beam.counter = 0
        name = f"{number}-{beam.cut}"
        self.metres[name], self.picks[name] = length_m, picks
        assert beam.last is not None
        if at >= self.since:
            self._spell(beam, beam.last, at, picks)
        beam.last = at

    def _spell(self, beam: Beam, start: datetime, stop: datetime, picks: int) -> None:
        loom, tally = self.looms[beam.loom], self.woven[beam.loom]
        waited = stood = 0
        for starts, stops, reason in [*beam.stops, *([(beam.stopped, stop, beam.reason)] if beam.stopped else [])]:
            minutes = loom.minutes(max(starts, start), min(stops, stop))
            if minutes:
                self.stood[beam.loom][reason] += minutes
            waited += minutes * (reason in WAITS)
            stood += minutes * (reason not in WAITS)
        tally["picks"] += picks
        tally["meant"] += loom.minutes(start, stop) - waited
        tally["waited"] += waited
        tally["ran"] += loom.minutes(start, stop) - waited - stood

    def picks_of(self, number: int) -> int:
        cut = sum(picks for name, picks in self.picks.items() if name.startswith(f"{number}-"))
        return max(cut, self.beams[number].counter)

    def efficiency_pct(self, loom: str) -> Decimal:
        tally = self.woven[loom]
        could = self.looms[loom].ppm * tally["meant"]
        return (Decimal(tally["picks"]) * 100 / could).quantize(Decimal("0.1"))
