"""People from before their changes were kept: their account begins with how they stand now."""

from django.db import migrations
from django.utils import timezone

ROLES = ["owner", "planner", "stock keeper", "warper", "weaver or tuner", "finisher", "reader"]
WHY = "In the book before changes were kept."


def begin(apps, schema_editor):
    person, version = apps.get_model("mill", "Person"), apps.get_model("mill", "HistoricalPerson")
    now = timezone.now()
    for user in apps.get_model("auth", "User").objects.order_by("pk"):
        held = {group.name for group in user.groups.all()} | ({"owner"} if user.is_superuser else set())
        stands = {
            "user": user,
            "name": f"{user.first_name} {user.last_name}".strip() or user.username,
            "signs_in_as": user.username,
            "roles": ", ".join(role for role in ROLES if role in held),
            "works_here": user.is_active,
        }
        row = person.objects.create(**stands)
        version.objects.create(
            id=row.pk, history_date=now, history_type="+", history_change_reason=WHY, **stands
        )


class Migration(migrations.Migration):
    dependencies = [("mill", "0015_people_told"), ("auth", "0012_alter_user_first_name_max_length")]
    operations = [migrations.RunPython(begin, migrations.RunPython.noop)]
