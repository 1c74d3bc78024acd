"""Addresses of calendars that were worked out from one key of the mill: each becomes a feed, withdrawn by itself."""

import hashlib
import hmac

from django.db import migrations
from django.utils import timezone

SHED = "shed"
WHY = "Its address was given out before feeds were kept."


def keep(apps, schema_editor):
    mill = apps.get_model("mill", "Mill").objects.filter(pk=1).first()
    if mill is None or not mill.calendar_key:
        return
    feed, version = apps.get_model("planning", "FeedLink"), apps.get_model("planning", "HistoricalFeedLink")
    now = timezone.now()

    def add(of, **columns):
        secret = hmac.new(mill.calendar_key.encode(), of.encode(), "sha256").hexdigest()[:32]
        row = feed.objects.create(digest=hashlib.sha256(secret.encode()).hexdigest(), **columns)
        version.objects.create(
            id=row.pk, made_at=row.made_at, history_date=now, history_type="+", history_change_reason=WHY, **columns
        )

    add(SHED, what="shed", label="Whoever had the shed's calendar")
    for loom in apps.get_model("planning", "Loom").objects.order_by("pk"):
        add(loom.code, what="loom", loom=loom, label=f"Whoever had loom {loom.code}'s calendar")


class Migration(migrations.Migration):
    dependencies = [("planning", "0011_feed_links"), ("mill", "0013_token_roles")]
    operations = [migrations.RunPython(keep, migrations.RunPython.noop)]
