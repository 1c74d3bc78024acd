"""Looms, reeds, beams, hours, closures and the mill's own figures: written down, and what follows from it."""

from collections.abc import Iterable
from typing import Any, TypeVar

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import models, transaction

from mill import changes, meanwhile
from mill.models import Mill
from mill.refusal import N_, Refusal, Several
from planning.models import (
    Beam,
    Closure,
    Loom,
    Machine,
    Rate,
    Reed,
    ShiftPattern,
    Warp,
    WarpFigures,
    Worker,
    YarnPrice,
)
from planning.services import working_out

Record = TypeVar(
    "Record", bound=Loom | Reed | Beam | ShiftPattern | Closure | Worker | Machine | Rate | YarnPrice | Mill
)


@transaction.atomic
def write_down(record: Record, *, by: Any, seen: str | None = None, changed: Iterable[str] | None = None) -> Record:
    """Save a new or changed record of the shed, and ask for the figures that follow from it.

    seen       the version that was changed; refused when another stands
    changed    names of the columns to write, when others than these may be stale; all without it
    """
    meanwhile.unmoved(record, seen)
    try:
        record.full_clean()
    except ValidationError as error:
        field = next(iter(error.message_dict))
        raise Refusal(" ".join(error.messages), field=None if field == NON_FIELD_ERRORS else field) from error
    if isinstance(record, Mill):
        _check_currency(record)
    changes.written_by(record, by)
    record.save(update_fields=None if changed is None or record._state.adding else sorted(changed))
    match record:
        case Mill():
            working_out.mill_changed()
        case Loom():
            working_out.loom_changed(record)
        case Beam():
            working_out.warps_changed(Warp.objects.open().filter(beam=record))
        case ShiftPattern():
            for loom in record.looms.order_by("pk"):
                working_out.loom_changed(loom)
        case Closure():
            _closure_changed(record)
    return record


def _check_currency(mill: Mill) -> None:
    """Prices and rates are written in the mill's currency: once there are any, another would make them untrue."""
    was = Mill.the_one().currency
    stated = Rate.objects.count() + YarnPrice.objects.count()
    if mill.currency != was and stated:
        form = (
            N_(
                "%(n)s prices and rates stand in %(was)s; in %(other)s they would be something else. Strike them out"
                " first, or keep %(was)s."
            )
            if stated > 1
            else N_(
                "%(n)s price and rates stand in %(was)s; in %(other)s they would be something else. Strike them out"
                " first, or keep %(was)s."
            )
        )
        raise Refusal(form, field="currency", n=stated, was=was, other=mill.currency)


def _closure_changed(closure: Closure) -> None:
    """Weft leaves over the days of weaving; a day on which nothing is woven takes none."""
    warps = Warp.objects.open().filter(slots__run__state="in force")
    working_out.warps_changed(warps.filter(slots__loom=closure.loom) if closure.loom else warps)


@transaction.atomic
def strike_out(
    record: Reed | Beam | ShiftPattern | Closure | Worker | Machine | Rate | YarnPrice | Loom,
    *,
    by: Any,
    seen: str | None = None,
) -> None:
    """Take a record out of the book, when nothing stands on it."""
    meanwhile.unmoved(record, seen)
    if isinstance(record, Closure):
        _closure_changed(record)
    changes.written_by(record, by)
    try:
        record.delete()
    except models.ProtectedError as error:
        users = [user for _name, user in sorted({str(user): user for user in error.protected_objects}.items())]
        if len(users) > 3:
            form = N_("%(name)s can't be struck out: %(users)s and others stand on it.")
        elif len(users) > 1:
            form = N_("%(name)s can't be struck out: %(users)s stand on it.")
        else:
            form = N_("%(name)s can't be struck out: %(users)s stands on it.")
        raise Refusal(form, name=record, users=Several(users[:3])) from error


@transaction.atomic
def hold_loom(loom: Loom, *, reason: str, by: Any) -> None:
    """Nothing new is planned on it until it is let go; what hangs on it stays."""
    if not reason.strip():
        raise Refusal(
            N_("Say why loom %(loom)s is held, so that the next shift knows."), field="reason", loom=loom.code
        )
    reason = reason.strip()[:120]
    changes.update(Loom.objects.filter(pk=loom.pk), by=by, why=reason, is_held=True, held_reason=reason)


@transaction.atomic
def let_go(loom: Loom, *, by: Any) -> None:
    changes.update(Loom.objects.filter(pk=loom.pk), by=by, is_held=False, held_reason="")


def waiting_figures(**warps: Any) -> int:
    """How many warps are still being worked out."""
    return WarpFigures.objects.filter(is_stale=True, **warps).count()
