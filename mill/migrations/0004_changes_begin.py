"""Records that were in the book before their changes were kept: their account begins with how they stand now."""

from django.db import migrations
from django.utils import timezone

KINDS = ["Mill"]
WHY = "In the book before changes were kept."


def begin(apps, schema_editor):
    now = timezone.now()
    for kind in KINDS:
        record, version = apps.get_model("mill", kind), apps.get_model("mill", f"Historical{kind}")
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
    dependencies = [("mill", "0003_account_of_changes")]
    operations = [migrations.RunPython(begin, migrations.RunPython.noop)]
