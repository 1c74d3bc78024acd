"""Celery's end of the job table: it finds the tasks of both apps. `jobs.py` says what a task is."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "mill.settings")

app = Celery("mill")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["mill", "inventory", "planning"])
