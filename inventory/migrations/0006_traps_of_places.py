"""The trap that a place was said to have becomes a trap of its own, called after the place."""

from django.db import migrations
from django.db.models import Max


def hang(apps, schema_editor):
    place, trap = apps.get_model("inventory", "Place"), apps.get_model("inventory", "Trap")
    trap.objects.bulk_create(
        trap(
            code=f"T-{row.code}" if len(row.code) <= 18 else f"T{row.pk}",
            place=row,
            lure_renewed_on=row.lure_renewed_on,
        )
        for row in place.objects.filter(lure_renewed_on__isnull=False)
    )


def take_down(apps, schema_editor):
    place, trap = apps.get_model("inventory", "Place"), apps.get_model("inventory", "Trap")
    for row in trap.objects.values("place").annotate(latest=Max("lure_renewed_on")).order_by():
        place.objects.filter(pk=row["place"]).update(lure_renewed_on=row["latest"])


class Migration(migrations.Migration):
    dependencies = [("inventory", "0005_traps_and_treatments")]

    operations = [migrations.RunPython(hang, take_down)]
