"""Two people at one record: whether it is still as it was when somebody opened it, asked under its lock.

Each version of a record that people edit has a number, the `history_id` of its line in the account of changes. A form
carries the number it was opened at, a program sends it back in `If-Match`; a verb asks `unmoved` before it writes.
"""

from typing import Any

from django.db import connection, models
from django.utils.translation import gettext as _

from mill.refusal import N_, Refusal

UNKNOWN = "0"


class Meanwhile(Refusal):
    """Somebody else wrote the record after it was opened here: nothing of this is written.

    row        the record, by its type and primary key
    version    the number of what stands now
    """

    def __init__(self, row: models.Model, *, version: str, message: str, **said: Any) -> None:
        super().__init__(message, **said)
        self.row, self.version = row, version


def version_of(row: models.Model) -> str:
    """The number of the version that stands, as text; 0 of a record that nobody wrote yet."""
    if row.pk is None:
        return UNKNOWN
    last = type(row).history.filter(id=row.pk).order_by("-history_id")  # type: ignore[attr-defined]
    return str(last.values_list("history_id", flat=True).first() or UNKNOWN)


def unmoved(row: models.Model, seen: str | None) -> None:
    """Lock the record to the end of the transaction, and refuse when it is not the version that was seen.

    seen    the number of that version; with None it is locked only, and need only be there

    A verb that calls this before it writes may write the row as it was read when it was opened: nobody has been at it.
    """
    assert connection.in_atomic_block, "What is asked outside the transaction that writes may be untrue by then."
    if row.pk is None or row._state.adding:
        return
    model = type(row)
    locked = model._base_manager.select_for_update(of=("self",), no_key=True).filter(pk=row.pk)
    if not list(locked.values_list("pk", flat=True)):
        if who := _by_whom(row):
            gone = N_("%(row)s has been struck out meanwhile by %(who)s. Write it down as a new one.")
            raise Refusal(gone, row=row, who=who)
        raise Refusal(N_("%(row)s has been struck out meanwhile. Write it down as a new one."), row=row)
    version = version_of(row)
    if seen is not None and seen != version:
        who = _by_whom(row)
        by_somebody = N_(
            "%(what)s was changed meanwhile by %(who)s: it is version %(now)s now, and this was written from version"
            " %(seen)s. Read it again, then send what is still to be changed."
        )
        by_nobody = N_(
            "%(what)s was changed meanwhile: it is version %(now)s now, and this was written from version %(seen)s."
            " Read it again, then send what is still to be changed."
        )
        message = by_somebody if who else by_nobody
        raise Meanwhile(row, version=version, message=message, what=row, who=who, now=version, seen=seen)


def name_of(user: Any) -> str:
    """How a person is called in a sentence."""
    return user.get_full_name() or user.get_username() if user else _("nobody named")


def _by_whom(row: models.Model) -> str:
    last = type(row).history.filter(id=row.pk).order_by("-history_id")  # type: ignore[attr-defined]
    line = last.select_related("history_user").first()
    return name_of(line.history_user) if line and line.history_user else ""


# What a program says of the version it has: RFC 9110, sections 8.8.3 and 13.1.1.


def seen_by(header: str, version: str) -> str | None:
    """What an `If-Match` allows: the version that stands when it is among those named, else one that can't stand.

    None for `*`: whatever stands.

    >>> seen_by('"16", "17"', "17"), seen_by(" * ", "17"), seen_by('W/"17"', "17")
    ('17', None, 'W/"17" (If-Match)')
    """
    if header.strip() == "*":
        return None
    # A weak tag never matches here (section 13.1.1): W/"17" is not "17".
    is_named = f'"{version}"' in [part.strip() for part in header.split(",")]
    return version if is_named else f"{header.strip()[:80]} (If-Match)"
