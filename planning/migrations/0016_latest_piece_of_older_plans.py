"""How late the latest piece is in plans that were made before that was kept: as late as the last one that is woven.

Of a warp whose pieces are due on one day that is so. Of another it may be more: the plan in force is timed again by
what the floor tells next, and of plans that count no more the minutes of the last piece are near enough.
"""

from datetime import datetime, time, timedelta

from django.db import migrations
from django.utils import timezone

AT_A_TIME = 500


def end_of_last_day(due_on, finishing_days):
    """The last minute, on the mill's clock, at which it may be off: Mondays to Fridays are counted back."""
    while finishing_days:
        finishing_days -= due_on.weekday() < 5
        due_on -= timedelta(days=1)
    return datetime.combine(due_on + timedelta(days=1), time())


def fill(apps, schema_editor):
    slots = apps.get_model("planning", "Slot").objects.filter(late_min__gt=0)
    parts = apps.get_model("planning", "WarpPart").objects.filter(warp__in=slots.values("warp"))
    pieces, last_day = {}, {}
    rows = parts.order_by("warp", "position").values_list(
        "warp", "pieces", "line__due_on", "spec__finishing_days"
    )
    for warp, count, due_on, days in rows:
        pieces[warp] = pieces.get(warp, 0) + count
        last_day[warp] = end_of_last_day(due_on, days)
    for slot in slots.only("warp", "late_min", "weaving_stops_at").iterator(chunk_size=AT_A_TIME):
        if slot.warp_id in pieces:
            late = timezone.make_naive(slot.weaving_stops_at) - last_day[slot.warp_id]
            # No less than the mean of all pieces, and no more than all of them together.
            least = -(-slot.late_min // pieces[slot.warp_id])
            slot.latest_min = min(max(int(late.total_seconds()) // 60, least), slot.late_min)
            slot.save(update_fields=["latest_min"])


class Migration(migrations.Migration):
    dependencies = [("planning", "0015_latest_piece")]
    operations = [migrations.RunPython(fill, migrations.RunPython.noop)]
