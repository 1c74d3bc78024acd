"""Work that follows from a change. Each reads how things are now, so it may run twice or late."""

from typing import Any

from celery import shared_task

from planning.services import working_out


@shared_task(name=working_out.TASK)
def rework_warps(payload: dict[str, Any]) -> dict[str, int]:
    return working_out.rework_warps()
