"""What Candlebeck's floor told in its last days: who works there, and every start, stop and piece off of the looms."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from random import Random
from typing import Any

from django.utils import timezone
from simple_history.utils import bulk_create_with_history

from mill import people
from mill.candlebeck import names
from mill.candlebeck.past import near, times
from mill.candlebeck.story import Story, clock_at
from planning.models import FloorEvent, Loom, Machine, Stop, Warp, Worker
from planning.services import clock, floor
from planning.services.pieces import picks_of
from planning.services.woven import Shed
from planning.ticket import from_json

# A stop that somebody told, every so many running minutes; shorter ones are in the efficiency.
STOP_EVERY_MIN = 420
STOPS = (
    (Stop.WARP_BREAK, 4, (6, 25)),
    (Stop.WEFT_BREAK, 3, (5, 12)),
    (Stop.TUNER, 2, (20, 70)),
    (Stop.MENDING, 1, (15, 40)),
    (Stop.NO_WEFT, 1, (20, 90)),
    (Stop.CLEANING, 1, (15, 30)),
)


def write_people(story: Story) -> None:
    workers = [Worker(code=code, name=name, trade=trade) for code, name, trade in names.WORKERS]
    machines = [Machine(name=name, step=step, m_per_day=Decimal(m_per_day)) for name, step, m_per_day in names.MACHINES]
    bulk_create_with_history(workers, Worker, default_user=story.by)
    bulk_create_with_history(machines, Machine, default_user=story.by)
    for sign_in, name, held in names.PEOPLE:
        people.take_in(name=name, sign_in=sign_in, password="", held=held, by=story.by)


def somebody(trade: str, *, turn: int = 0) -> Worker:
    rows = Worker.objects.filter(trade=trade).order_by("code")
    return rows[turn % rows.count()]


def tell(story: Story, warp: Warp, kind: str, *, worker: Worker, turn: int = 0, **facts: Any) -> FloorEvent:
    """At the moment at which the clock is held."""
    key = f"candlebeck.{warp.number}.{kind}.{turn}"
    event = floor.tell(warp, kind=kind, worker=worker, key=key, by=story.by, facts=facts)
    assert not event.refused, event.refused
    return event


@dataclass(frozen=True, order=True)
class Said:
    """Something that will be told of a warp at a moment."""

    at: datetime
    number: int
    turn: int
    kind: str = field(compare=False)
    warp: Warp = field(compare=False)
    worker: Worker = field(compare=False)
    facts: dict[str, Any] = field(compare=False)


def weave(story: Story, warps: Sequence[Warp]) -> None:
    """From the start of each warp, gaited by now, to yesterday's last shift; told in the order in which it happened."""
    dice = story.dice("told")
    midnight = timezone.make_aware(datetime.combine(story.on, datetime.min.time()))
    shed = Shed(midnight - timedelta(days=28))
    rows = Warp.objects.filter(pk__in=[warp.pk for warp in warps]).select_related("worked", "loom__shift_pattern")
    gaited = dict(FloorEvent.objects.filter(kind=FloorEvent.GAITED).values_list("warp_id", "happened_at"))
    weavers = list(Worker.objects.filter(trade="weaver").order_by("code"))
    said: list[Said] = []
    for n, warp in enumerate(rows.order_by("number")):
        said += _of_warp(dice, shed, warp, gaited[warp.pk], midnight, weavers[n % 2 :: 2])
    for one in sorted(said):
        local = timezone.localtime(one.at)
        with clock_at(local.date(), local.hour, local.minute):
            tell(story, one.warp, one.kind, worker=one.worker, turn=one.turn, **one.facts)


def _of_warp(
    dice: Random, shed: Shed, warp: Warp, gaited_at: datetime, until: datetime, weavers: Sequence[Worker]
) -> Iterator[Said]:
    """Its events, laid back from the end so that it is as far as it is to be when the last shift stops."""
    loom = warp.loom
    assert loom is not None
    calendar = shed.of(loom)
    ends = calendar.worked(shed.minute(until))
    room = ends - calendar.worked(shed.minute(gaited_at)) - 60
    acts = list(_acts(dice, loom, warp, room))
    starts = ends - acts[-1][0] - 1
    for turn, (after_min, kind, facts) in enumerate(acts):
        at = clock.to_moment(calendar.begins(starts + after_min), epoch=shed.epoch)
        # Early and late shift.
        worker = weavers[0 if timezone.localtime(at).hour < 14 else -1]
        yield Said(at, warp.number, turn, kind, warp, worker, facts)


def _acts(dice: Random, loom: Loom, warp: Warp, room: int) -> Iterator[tuple[int, str, dict[str, Any]]]:
    """Working minutes after the start, what is told then, and its facts; no later than there is room for."""
    figures = from_json(warp.worked.figures or {})
    # Looms run a little otherwise than their records say.
    pace = loom.ppm * float(loom.efficiency_pct) / 100 * dice.uniform(0.9, 1.04)
    wanted = figures.picks * min(0.93, 0.08 + 0.85 * dice.random())
    setting = [part.spec.loom_picks_per_cm for part in warp.parts.select_related("spec").order_by("position")]
    yield 0, FloorEvent.STARTED, {}
    woven, at = 0, 0
    for run, picks_per_cm in zip(figures.runs, setting, strict=True):
        for _ in range(run.pieces):
            length_m = near(run.grey_length_m * times(dice, 0.006), "0.01")
            picks = picks_of(length_m, picks_per_cm)
            for after_min, kind, facts in _stops(dice, round(picks / pace)):
                if at + after_min > room or woven + after_min * pace > wanted:
                    break
                yield at + after_min, kind, facts
            end = at + round(picks / pace)
            if end > room or woven + picks > wanted:
                left = min(room - at, int((wanted - woven) / pace))
                if left > 60:
                    yield at + left, FloorEvent.PICKS, {"picks": woven + int(left * pace)}
                return
            at, woven = end, woven + picks
            yield at, FloorEvent.PIECE_OFF, {"length_m": length_m}


def _stops(dice: Random, minutes: int) -> Iterator[tuple[int, str, dict[str, Any]]]:
    """Stops and what ends them, in the minutes that a piece takes."""
    at = dice.randint(30, STOP_EVERY_MIN)
    while True:
        reason, _, lasts = dice.choices(STOPS, [weight for _, weight, _ in STOPS])[0]
        lasts_min = dice.randint(*lasts)
        if at + lasts_min + 5 > minutes:
            return
        yield at, FloorEvent.STOPPED, {"reason": reason}
        yield at + lasts_min, FloorEvent.RUNNING, {}
        at += lasts_min + dice.randint(STOP_EVERY_MIN // 2, STOP_EVERY_MIN * 3 // 2)
