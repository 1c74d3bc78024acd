"""Work that follows from a change in the store. It reads how things are now, so it may run twice or late."""

from typing import Any

from celery import shared_task

from inventory import services


@shared_task(name=services.REWORK_OUTLOOKS)
def rework_outlooks(payload: dict[str, Any]) -> dict[str, int]:
    return services.rework_marked_outlooks()


@shared_task(name="inventory.new_day")
def new_day(payload: dict[str, Any]) -> dict[str, int]:
    """Every night: what is overdue, or to be ordered by today, is another day's."""
    return {"yarns": services.day_changed()}
