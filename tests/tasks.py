"""Tasks for the proofs of the job table, small enough to count: each run leaves a row with a name of its own.

Only tests import them; a worker takes them with `--include tests.tasks`.
"""

import time
import uuid

from celery import shared_task
from django.contrib.auth.models import Group
from django.db import transaction

from mill import jobs
from mill.refusal import Refusal


def leave(mark):
    Group.objects.create(name=f"{mark} {uuid.uuid4()}")


def left(mark):
    """How often a task has left this mark and kept it."""
    return Group.objects.filter(name__startswith=f"{mark} ").count()


@shared_task(name="tests.leave_mark")
def leave_mark(payload):
    leave(payload["mark"])
    return {"left": payload["mark"]}


@shared_task(name="tests.leave_two_marks")
def leave_two_marks(payload):
    """Leaves one mark, takes its time, leaves the other: a death in between must leave neither."""
    leave(payload["mark"])
    time.sleep(payload["takes_s"])
    leave(payload["mark"])
    return {"left": payload["mark"]}


@shared_task(name="tests.take_long", is_long=True)
def take_long(payload):
    """Goes on in small steps outside a transaction, then leaves its mark and is done in one."""
    at_work = jobs.current()
    steps = 0
    while steps < payload["steps"] and not at_work.is_asked_to_stop():
        time.sleep(payload.get("step_s", 0))
        steps += 1
        at_work.progress(100 * steps // payload["steps"], f"step {steps}")
    with transaction.atomic():
        leave(payload["mark"])
        at_work.finish({"steps": steps})


@shared_task(name="tests.ask_again")
def ask_again(payload):
    """Work that makes work: asks for itself one less."""
    if payload["times"]:
        jobs.ask("tests.ask_again", {"times": payload["times"] - 1})


@shared_task(name="tests.break_down")
def break_down(payload):
    leave(payload["mark"])
    raise ValueError("the reed is bent")


@shared_task(name="tests.refuse")
def refuse(payload):
    leave(payload["mark"])
    raise Refusal("Lot A12 has 9000 g free; this job needs 10080 g. Choose another lot.")


@shared_task(name="tests.be_closed")
def be_closed(payload):
    leave(payload["mark"])
    raise SystemExit(0)
