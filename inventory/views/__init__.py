"""The store's pages, a file per noun. Each ends with its own `urlpatterns`."""

from collections.abc import Callable
from typing import Any

from django.forms import BaseForm

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
