"""What the relay hands to Celery, the number of a row and never the work itself; and the book's own tasks."""

from typing import Any

from celery import shared_task

from mill import backup, by_the_clock, jobs


@shared_task(name="mill.work_job")
def work_job(job_id: int) -> None:
    """Work the row off, unless somebody has it already: messages may come twice, late or not at all."""
    job = jobs.claim(jobs.worker_name(), job_id=job_id)
    if job:
        jobs.work(job)


@shared_task(name=by_the_clock.PUT_BACK)
def put_back() -> int:
    """Sent by Celery's beat; no job of the table, since what puts jobs back can't be one."""
    return jobs.recover()


@shared_task(name=by_the_clock.ASK)
def ask_for_what_is_due() -> int:
    return by_the_clock.ask_for_what_is_due()


@shared_task(name=by_the_clock.FORGET)
def forget(payload: dict[str, Any]) -> dict[str, int]:
    return by_the_clock.forget()


@shared_task(name=backup.TASK, is_long=True)
def back_up(payload: dict[str, Any]) -> dict[str, Any]:
    """Write a backup, and take those away that need not be kept."""
    return backup.write_and_clear_out()
