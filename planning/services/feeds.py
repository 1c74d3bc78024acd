"""Addresses of the calendar feeds: whoever knows one may read it, and a new key shuts all the old ones out."""

import hmac
import secrets
from typing import Any

from django.db import transaction

from mill import changes
from mill.models import Mill

SHED = "shed"


def _key() -> str:
    """The mill's own key, made when it is first asked for."""
    found = Mill.the_one().calendar_key
    if found:
        return found
    with transaction.atomic():
        mill, _ = Mill.objects.select_for_update().get_or_create(pk=1)
        if not mill.calendar_key:
            mill.calendar_key = secrets.token_hex(16)
            mill.save(update_fields=["calendar_key"])
        return mill.calendar_key


def token(what: str) -> str:
    """What stands in the address of the feed of a loom, by its code, or of the shed."""
    return hmac.new(_key().encode(), what.encode(), "sha256").hexdigest()[:32]


def opens(what: str, said: str) -> bool:
    return hmac.compare_digest(token(what).encode(), said.encode())


@transaction.atomic
def change_key(*, by: Any) -> None:
    """From now on every feed has a new address, and the old ones answer nobody."""
    Mill.objects.get_or_create(pk=1)
    changes.update(
        Mill.objects.filter(pk=1), by=by, why="New addresses of the calendars.", calendar_key=secrets.token_hex(16)
    )
