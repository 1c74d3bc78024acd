from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("planning", "0014_routes_and_yarns_begin")]

    operations = [
        migrations.AddField(
            model_name="slot",
            name="days_late",
            field=models.PositiveIntegerField(
                default=0, help_text="Days after it is due on which the latest of its lines is finished."
            ),
        ),
    ]
