"""Work that follows from a change. Each reads how things are now, so it may run twice or late."""

from typing import Any

from celery import shared_task

from inventory.models import Yarn
from inventory.services import HOLD_DRAWN, YARN_CHANGED
from planning.services import improving, retiming, warp_steps, working_out


@shared_task(name=working_out.TASK)
def rework_warps(payload: dict[str, Any]) -> dict[str, int]:
    return working_out.rework_warps()


@shared_task(name=YARN_CHANGED)
def yarn_changed(payload: dict[str, Any]) -> dict[str, int]:
    """The store changed a yarn's count or name; the warps that use it follow."""
    yarn = Yarn.objects.filter(pk=payload["yarn"]).first()
    if yarn:
        working_out.yarn_changed(yarn)
    return {"yarn": payload["yarn"]}


@shared_task(name=HOLD_DRAWN)
def hold_drawn(payload: dict[str, Any]) -> dict[str, int]:
    """The store drew out of a hold, or took that back; the warp that it is for follows."""
    warp_steps.follow_store(payload["reservation"])
    return {"reservation": payload["reservation"]}


@shared_task(name=retiming.TASK, is_apart=True)
def retime_plan(payload: dict[str, Any]) -> dict[str, int]:
    return retiming.retime()


@shared_task(name=improving.TASK, is_long=True)
def improve_plan(payload: dict[str, Any]) -> dict[str, Any] | None:
    return improving.improve_plan(payload)
