"""Rulings that were in the book before their changes were kept: their account begins with how they stand now."""

from django.db import migrations
from django.utils import timezone

WHY = "In the book before changes were kept."


def begin(apps, schema_editor):
    now = timezone.now()
    record, version = apps.get_model("planning", "Ruling"), apps.get_model("planning", "HistoricalRuling")
    version.objects.bulk_create(
        [
            version(
                history_date=now,
                history_type="+",
                history_change_reason=WHY,
                **{column.attname: getattr(row, column.attname) for column in record._meta.concrete_fields},
            )
            for row in record.objects.order_by("pk")
        ],
        batch_size=500,
    )


class Migration(migrations.Migration):
    dependencies = [("planning", "0008_who_decided")]
    operations = [migrations.RunPython(begin, migrations.RunPython.noop)]
