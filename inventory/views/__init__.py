"""The store's pages, a file per noun. Each ends with its own `urlpatterns`."""

from collections.abc import Callable
from typing import Any

import django_filters
from django.forms import BaseForm, Select

from mill.refusal import Refusal


def yes_or_no(label: str, **kwargs: Any) -> django_filters.BooleanFilter:
    """A filter of a list that is either so, or not, or left alone."""
    choices = [("", "any"), ("true", "yes"), ("false", "no")]
    return django_filters.BooleanFilter(label=label, widget=Select(choices=choices), **kwargs)


def is_written(form: BaseForm, write: Callable[[], Any]) -> bool:
    """Whether the verb did it; its no stands beside the field that it is about, and nothing typed is lost."""
    try:
        write()
    except Refusal as refusal:
        form.add_error(refusal.field if refusal.field in form.fields else None, refusal.message)
        return False
    return True
