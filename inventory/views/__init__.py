"""The store's pages, a file per noun. Each ends with its own `urlpatterns`."""

from collections.abc import Callable
from typing import Any

from django.forms import BaseForm

from mill.refusal import Refusal


def is_written(form: BaseForm, write: Callable[[], Any]) -> bool:
    """Whether the verb did it; its no stands beside the field that it is about, and nothing typed is lost."""
    try:
        write()
    except Refusal as refusal:
        form.add_error(refusal.field if refusal.field in form.fields else None, refusal.message)
        return False
    return True
