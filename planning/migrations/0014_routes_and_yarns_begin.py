"""Steps of routes, and yarns of colourways, from before their changes were kept: the account begins as they stand now."""

from django.db import migrations
from django.utils import timezone

KINDS = ["RouteStep", "ColourwayYarn"]
WHY = "In the book before changes were kept."


def begin(apps, schema_editor):
    now = timezone.now()
    for kind in KINDS:
        record, version = apps.get_model("planning", kind), apps.get_model("planning", f"Historical{kind}")
        columns = [field.attname for field in record._meta.concrete_fields]
        version.objects.bulk_create(
            [
                version(
                    history_date=now,
                    history_type="+",
                    history_change_reason=WHY,
                    **{column: getattr(row, column) for column in columns},
                )
                for row in record.objects.order_by("pk")
            ],
            batch_size=500,
        )


class Migration(migrations.Migration):
    dependencies = [("planning", "0013_changes_of_routes_and_yarns")]
    operations = [migrations.RunPython(begin, migrations.RunPython.noop)]
