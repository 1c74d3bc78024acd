"""How looms ran, read from what the floor told for the room `running`."""

from datetime import datetime, time, timedelta

from django.utils import timezone

from planning.models import Stop
from planning.period import Period
from planning.running import Part
from planning.services import woven

WAITS = Stop.WAITS


def parts(period: Period) -> list[Part]:
    """Everything woven within the period, by loom, week and shift, in a bounded number of questions."""
    since, until = (
        timezone.make_aware(datetime.combine(day, time())) for day in (period.first, period.last + timedelta(days=1))
    )
    return [
        Part(week, row.loom, row.shift, row.spell, row.stood)
        for week, row in woven.week_spells(since=since, until=until)
    ]
