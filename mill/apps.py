from django.apps import AppConfig
from django.db.models.signals import post_migrate


class MillConfig(AppConfig):
    name = "mill"
    verbose_name = "The mill"

    def ready(self) -> None:
        from django.utils.translation import gettext

        from mill.changes import guard
        from mill.refusal import Refusal

        Refusal.in_words = staticmethod(gettext)

        post_migrate.connect(guard, sender=self)
