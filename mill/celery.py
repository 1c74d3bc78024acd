"""Celery's end of the job table: it finds the tasks of both apps. `jobs.py` says what a task is."""

import logging.config
import os
from datetime import datetime
from typing import Any

from celery import Celery
from celery.schedules import schedstate, schedule
from celery.signals import setup_logging, worker_ready

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "mill.settings")


class Every(schedule):
    """Every so many seconds, also when the clock was put back: what was last done in the future is done again now."""

    def is_due(self, last_run_at: datetime) -> Any:
        if self.maybe_make_aware(last_run_at) > self.now():
            return schedstate(is_due=True, next=self.run_every.total_seconds())
        return super().is_due(last_run_at)


app = Celery("mill")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["mill", "inventory", "planning"])


@app.on_after_finalize.connect
def schedule_by_the_clock(sender: Celery, **_: Any) -> None:
    from mill import by_the_clock

    sender.conf.beat_schedule = by_the_clock.schedule()


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
