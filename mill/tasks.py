"""What the relay hands to Celery, the number of a row and never the work itself; and the book's own tasks."""

from typing import Any

from celery import shared_task

from mill import backup, jobs


@shared_task(name="mill.work_job")
def work_job(job_id: int) -> None:
    """Work the row off, unless somebody has it already: messages may come twice, late or not at all."""
    job = jobs.claim(jobs.worker_name(), job_id=job_id)
    if job:
        jobs.work(job)


@shared_task(name="mill.sweep")
def sweep() -> dict[str, int]:
    """Put the jobs of dead workers back. The relay and the job worker do so unasked; this is for the operator."""
    return jobs.sweep()


@shared_task(name=backup.TASK, is_long=True)
def back_up(payload: dict[str, Any]) -> dict[str, Any]:
    """Write a backup, and take those away that need not be kept."""
    return backup.write_and_clear_out()
