"""How many days late a warp of an older plan is finished: what that plan told of it when it was made."""

from django.db import migrations

AT_A_TIME = 500


def fill(apps, schema_editor):
    slots = apps.get_model("planning", "Slot").objects.filter(late_min__gt=0).select_related("warp")
    runs = apps.get_model("planning", "PlanRun").objects.filter(slots__in=slots).distinct()
    for run in runs.only("explained").iterator(chunk_size=AT_A_TIME):
        days = {row["warp"]: row["days"] for row in run.explained.get("late", [])}
        for slot in slots.filter(run=run):
            slot.days_late = days.get(str(slot.warp.number), 0)
            slot.save(update_fields=["days_late"])


class Migration(migrations.Migration):
    dependencies = [("planning", "0015_days_late")]
    operations = [migrations.RunPython(fill, migrations.RunPython.noop)]
