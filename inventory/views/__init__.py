"""The store's pages, a file per noun. Each ends with its own `urlpatterns`."""

from collections.abc import Callable, Iterable
from typing import Any

from django.contrib import messages
from django.forms import BaseForm
from django.http import HttpRequest
from django.utils.translation import gettext as _

from inventory.models import Reservation, YarnLot
from mill.refusal import Refusal


def is_written(form: BaseForm, write: Callable[[], Any]) -> bool:
    """Whether the verb did it; its no stands beside the field that it is about, and nothing typed is lost.

    Of a field that nobody sees, a key, it stands above the form.
    """
    try:
        write()
    except Refusal as refusal:
        is_seen = refusal.field in form.fields and not form.fields[refusal.field].widget.is_hidden
        form.add_error(refusal.field if is_seen else None, refusal.message)
        return False
    return True


def warn_of_holds(request: HttpRequest, lots: Iterable[YarnLot]) -> None:
    """Lots that went into quarantine may be held for something, which then waits."""
    held_for = list(dict.fromkeys(row.what.called for row in Reservation.objects.open().filter(lot__in=lots)))
    if held_for:
        messages.warning(
            request,
            _("It is still held for %(what)s. Let it go on the lot's page, then hold another lot for it.")
            % {"what": ", ".join(held_for)},
        )
