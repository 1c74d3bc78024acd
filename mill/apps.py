from django.apps import AppConfig


class MillConfig(AppConfig):
    name = "mill"
    verbose_name = "The mill"
