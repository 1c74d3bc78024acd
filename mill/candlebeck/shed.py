"""Candlebeck's shed: looms, reeds, beams, hours and closures."""

from datetime import date, datetime, time, timedelta
from decimal import Decimal
from itertools import count

from django.utils import timezone
from simple_history.utils import bulk_create_with_history

from mill.candlebeck import names
from mill.candlebeck.story import Story
from mill.models import Mill
from planning.models import Beam, Closure, Loom, Reed, ShiftPattern

LOOMS_MAX = 30
BEAMS_TIMES_MAX = 3


def build(story: Story) -> None:
    mill = Mill(
        pk=1,
        name=names.NAME,
        warping_mills=2 if story.size == 1 else 4,
        warping_hours=names.WARPING_HOURS,
        tuners=2 if story.size == 1 else 4,
        tuner_hours=names.TUNER_HOURS,
    )
    bulk_create_with_history([mill], Mill, default_user=story.by)
    patterns = {
        name: pattern
        for (name, _), pattern in zip(
            names.PATTERNS,
            bulk_create_with_history(
                [ShiftPattern(name=name, hours=hours) for name, hours in names.PATTERNS],
                ShiftPattern,
                default_user=story.by,
            ),
            strict=True,
        )
    }
    bulk_create_with_history(_looms(story, patterns), Loom, default_user=story.by)
    reeds = [
        Reed(
            code=code,
            as_bought=stamped,
            dents_per_10cm=Decimal(dents),
            width_cm=Decimal(width),
            quantity=quantity,
        )
        for code, stamped, dents, width, quantity in names.REEDS
    ]
    bulk_create_with_history(reeds, Reed, default_user=story.by)
    bulk_create_with_history(list(_beams(story)), Beam, default_user=story.by)
    bulk_create_with_history(list(_closures(story)), Closure, default_user=story.by)


def _looms(story: Story, patterns: dict[str, ShiftPattern]) -> list[Loom]:
    """The twelve, and of a larger mill as many again of each kind as make thirty at most."""
    n_looms = min(LOOMS_MAX, story.size * sum(len(kind.ppms) for kind in names.LOOMS))
    looms: list[Loom] = []
    for turn in range(story.size):
        for kind in names.LOOMS:
            for n, ppm in enumerate(kind.ppms):
                if len(looms) == n_looms:
                    return looms
                looms.append(
                    Loom(
                        code=f"{kind.letter}{turn * len(kind.ppms) + n + 1}",
                        kind=kind.kind,
                        reed_space_cm=Decimal(kind.reed_spaces_cm[n]),
                        shafts=kind.shafts,
                        is_jacquard=kind.is_jacquard,
                        weft_colours=kind.weft_colours,
                        max_flange_mm=kind.max_flange_mm,
                        ppm=ppm,
                        efficiency_pct=Decimal(kind.efficiencies_pct[n]),
                        tail_cm=Decimal(kind.tail_cm),
                        shift_pattern=patterns[kind.pattern],
                    )
                )
    return looms


def _beams(story: Story) -> list[Beam]:
    numbers = count(1)
    return [
        Beam(
            code=f"B{next(numbers):02d}",
            width_cm=Decimal(width),
            barrel_mm=barrel,
            flange_mm=flange,
            tare_kg=Decimal(tare) + Decimal(n % 5) / 2,
        )
        for times, width, barrel, flange, tare in names.BEAMS
        for n in range(times * min(story.size, BEAMS_TIMES_MAX))
    ]


def _closures(story: Story) -> list[Closure]:
    """Midwinter and the summer fortnight of these years; tomorrow's stock-taking, a loom that is overhauled."""
    closures = []
    for year in (story.on.year, story.on.year + 1):
        closures += [
            _closure("Midwinter", date(year, 12, 24), days=10),
            _closure("Summer fortnight", _monday(date(year, 7, 27)), days=14),
            _closure("Candlebeck fair", _monday(date(year, 5, 20)), days=1),
        ]
    stock_taking = story.on + timedelta(days=9)
    closures.append(_closure("Stock-taking", _monday(stock_taking), days=1, starts=time(14), stops=time(22)))
    loom = Loom.objects.get(code="W2")
    closures.append(_closure("New picking straps", _monday(story.on + timedelta(days=5)), days=2, loom=loom))
    return closures


def _monday(day: date) -> date:
    """The first Monday from then on."""
    return day + timedelta(days=-day.weekday() % 7)


def _closure(
    name: str, first: date, *, days: int, starts: time = time(), stops: time = time(), loom: Loom | None = None
) -> Closure:
    last = first + timedelta(days=days if stops == time() else days - 1)
    return Closure(
        name=name,
        starts_at=timezone.make_aware(datetime.combine(first, starts)),
        stops_at=timezone.make_aware(datetime.combine(last, stops)),
        loom=loom,
    )
