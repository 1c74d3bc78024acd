"""What every verb of the store is: one transaction, counted once by its key, and nothing nonsensical written."""

import logging
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from functools import wraps
from typing import Any, ParamSpec, TypeVar
from uuid import uuid4

from django.core.exceptions import ValidationError
from django.db import IntegrityError, OperationalError, connection, models, transaction

from mill import changes
from mill.refusal import N_, Refusal

log = logging.getLogger("mill.inventory")

TRIES = 3
# Room is left for the second line of a verb that writes two.
KEY_MAX = 56

WRITTEN_BEFORE = N_("This has been written down already, as %(before)s. Load the page again and write it afresh.")

P = ParamSpec("P")
R = TypeVar("R")


def verb(write: Callable[P, R]) -> Callable[P, R]:
    """One transaction, begun afresh when another hand was quicker at the same row."""

    @wraps(write)
    def wholly(*args: P.args, **kwargs: P.kwargs) -> R:
        # Inside somebody else's transaction a deadlock has ended theirs: only they can begin again.
        may_begin_again = not connection.in_atomic_block
        for attempt in range(1, TRIES + 1):
            try:
                with transaction.atomic():
                    return write(*args, **kwargs)
            except IntegrityError as clash:
                log.warning("%s, attempt %d: %s", write.__name__, attempt, _in_short(clash))
            except OperationalError as clash:
                if not (may_begin_again and _is_deadlock(clash)):
                    raise
                log.warning("%s, attempt %d: %s", write.__name__, attempt, _in_short(clash))
        raise Refusal(
            N_(
                "Somebody else wrote in the same place each of the %(n)s times this was tried. Look at the page again,"
                " then write it once more."
            ),
            n=TRIES,
        )

    return wholly


def _in_short(error: Exception) -> str:
    """Which rule; what follows in further lines are the row's own values."""
    return str(error).partition("\n")[0]


def _is_deadlock(error: OperationalError) -> bool:
    return getattr(error.__cause__, "sqlstate", "") in {"40P01", "40001"}


def own_key(key: str) -> str:
    if len(key) > KEY_MAX:
        raise Refusal(
            N_("The key has %(n)s characters; write %(most)s at most."), n=len(key), most=KEY_MAX, field="key"
        )
    return key or uuid4().hex


def written_before(row: Any, key: str) -> Any:
    """The record that this key wrote, when it says the same as this new row; None when the key is new.

    Sets the key on a row that it is to write. Raises Refusal for a key that wrote something else.
    """
    row.key = own_key(key)
    before = type(row).objects.filter(key=row.key).first()
    if before is None or _columns(before) == _columns(row):
        return before
    raise Refusal(WRITTEN_BEFORE, before=before, field="key")


def _columns(row: models.Model) -> dict[str, Any]:
    return {
        column.attname: getattr(row, column.attname)
        for column in row._meta.concrete_fields
        if not column.primary_key and not getattr(column, "auto_now_add", False)
    }


def insert(row: models.Model, *, by: Any) -> None:
    """A new row of the ledger's side, whose relations are rows that the verb has in hand."""
    with said_as_a_refusal():
        row.clean_fields(exclude={column.name for column in row._meta.concrete_fields if column.is_relation})
    changes.written_by(row, by)
    row.save(force_insert=True)


def save(row: models.Model, changed: Iterable[str], *, by: Any) -> None:
    """A record that people edit: a new row whole, a changed one by name."""
    with said_as_a_refusal():
        row.full_clean()
    changes.written_by(row, by)
    if row.pk is None:
        row.save(force_insert=True)
        return
    columns = {column.name for column in row._meta.concrete_fields} & set(changed)
    if columns:
        row.save(update_fields=sorted(columns))


@contextmanager
def said_as_a_refusal() -> Iterator[None]:
    """What a form would say of the row, as a refusal: verbs are called by others than forms."""
    try:
        yield
    except ValidationError as wrong:
        field, said = next(iter(wrong.message_dict.items()))
        if field == "__all__":
            raise Refusal(" ".join(said)) from wrong
        raise Refusal(f"{field.replace('_', ' ').capitalize()}: {' '.join(said)}", field=field) from wrong
