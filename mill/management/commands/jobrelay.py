"""Hands the job table's rows on to Celery: the queue of a mill that has grown."""

from datetime import timedelta
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from kombu.exceptions import OperationalError as BrokerError

from mill import jobs
from mill.celery import app
from mill.tether import leave_in_good_order

LEFT_LYING = timedelta(minutes=1)


class Command(BaseCommand):
    help = "Hand the jobs that wait on to the Celery workers (SHEDBOOK_REDIS), until it is stopped."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--check", action="store_true", help="only say whether a relay is doing this")

    def handle(self, *, check: bool, **options: Any) -> None:
        if check:
            if n_lying := jobs.left_lying(since=LEFT_LYING):
                raise CommandError(f"{n_lying} jobs have waited over a minute for a relay to hand them on.")
            return
        if not settings.CELERY_BROKER_URL:
            raise CommandError("There is no broker to hand jobs on to: set SHEDBOOK_REDIS, or run `jobworker` instead.")
        leave_in_good_order()
        relay = jobs.worker_name()

        def turn() -> bool:
            return jobs.hand_on(lambda job_id: app.send_task("mill.work_job", args=[job_id]), relay=relay) > 0

        # Celery's beat looks at the clock; a dead worker's job is put back by whoever is there first.
        jobs.attend(turn, sweep=jobs.recover, sweep_s=5, forgives=(BrokerError,))
