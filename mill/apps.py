from django.apps import AppConfig
from django.db.models.signals import post_migrate


class MillConfig(AppConfig):
    name = "mill"
    verbose_name = "The mill"

    def ready(self) -> None:
        from mill.changes import guard

        post_migrate.connect(guard, sender=self)
