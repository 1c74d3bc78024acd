from django.db import migrations, models

ROLES = ["owner", "planner", "stock keeper", "warper", "weaver or tuner", "finisher", "reader"]


def make_groups(apps, schema_editor):
    for name in ROLES:
        apps.get_model("auth", "Group").objects.get_or_create(name=name)


class Migration(migrations.Migration):
    dependencies = [("mill", "0006_answers_kept_by_key"), ("auth", "0012_alter_user_first_name_max_length")]
    operations = [
        migrations.AddField(
            "mill",
            "lies_open",
            models.BooleanField(
                default=True,
                help_text="Who sits at the machine that keeps the book reads and writes in it without signing in.",
            ),
        ),
        migrations.AddField(
            "historicalmill",
            "lies_open",
            models.BooleanField(
                default=True,
                help_text="Who sits at the machine that keeps the book reads and writes in it without signing in.",
            ),
        ),
        migrations.RunPython(make_groups, migrations.RunPython.noop),
    ]
