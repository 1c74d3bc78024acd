"""Celery's end of the job table: it finds the tasks of both apps. `jobs.py` says what a task is."""

import logging.config
import os
from typing import Any

from celery import Celery
from celery.signals import setup_logging, worker_ready

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "mill.settings")

app = Celery("mill")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["mill", "inventory", "planning"])


@setup_logging.connect
def log_like_the_rest(**_: Any) -> None:
    """One log for all processes; without this Celery would make one of its own."""
    from django.conf import settings

    logging.config.dictConfig(settings.LOGGING)


@worker_ready.connect
def compile_the_search_ahead(**_: Any) -> None:
    from mill.readying import keep_compiled_code, make_ready_ahead

    keep_compiled_code()
    make_ready_ahead()
