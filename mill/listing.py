"""Lists that filter, sort, page and leave as CSV: one table, said once as columns."""

import csv
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from typing import Any

import django_filters
from django.conf import settings
from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.forms import Select
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone, translation
from django.utils.translation import gettext_lazy
from django_filters import FilterSet

from mill.fields import in_words

PER_PAGE = 50


@dataclass(frozen=True)
class Column:
    """One column of a list.

    label     its heading; `unit` stands beside it, `unit_in_csv` only where a page's cells say their own
    value     the cell, from the row: what stands in the CSV and, shown, on the page
    order     the queryset's field to sort by; without it the column doesn't sort
    link      the address that the cell leads to
    shown     how the value is written on the page, when not as it is
    is_number right-aligned
    key       the word in the address that sorts by it
    is_paper  False for what is there to be pressed, and no cell of the CSV
    """

    label: Any
    value: Callable[[Any], Any]
    order: str | None = None
    unit: Any = ""
    link: Callable[[Any], str | None] | None = None
    shown: Callable[[Any], Any] | None = None
    is_number: bool = False
    is_paper: bool = True
    unit_in_csv: Any = ""

    @cached_property
    def key(self) -> str:
        # The same address in every language.
        with translation.override(settings.LANGUAGE_CODE):
            return str(self.label).lower().replace(" ", "-")

    @property
    def head_unit(self) -> Any:
        """What stands beside the heading on the page: minutes are shown as “5 h 20 min”, which says its own."""
        return "" if self.unit == "min" and self.shown else self.unit

    def cell(self, row: Any) -> dict[str, Any]:
        value = self.value(row)
        shown = self.shown(row) if self.shown else value
        link = self.link(row) if self.link else None
        return {"shown": shown, "link": link, "column": self, "is_day": isinstance(value, date)}


def _plain(value: Any) -> Any:
    """A cell as a spreadsheet reads it: no text of ours may start a formula there."""
    if isinstance(value, datetime):
        return timezone.localtime(value).isoformat(timespec="minutes")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, str) and value.startswith(tuple("=+-@\t\r")):
        return f"'{value}"
    return "" if value is None else value


def as_csv(rows: Iterable[Any], columns: Sequence[Column], name: str) -> HttpResponse:
    """The table as a file for a spreadsheet, its name with today's day."""
    answer = HttpResponse(
        "\ufeff",
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}-{timezone.localdate()}.csv"'},
    )
    columns = [column for column in columns if column.is_paper]
    writer = csv.writer(answer)
    writer.writerow([f"{c.label} ({unit})" if (unit := c.unit or c.unit_in_csv) else c.label for c in columns])
    for row in rows:
        writer.writerow([_plain(column.value(row)) for column in columns])
    return answer


def yes_or_no(label: Any, **kwargs: Any) -> django_filters.BooleanFilter:
    """A filter of a list that is either so, or not, or left alone."""
    choices = [("", gettext_lazy("any")), ("true", gettext_lazy("yes")), ("false", gettext_lazy("no"))]
    return django_filters.BooleanFilter(label=label, widget=Select(choices=choices), **kwargs)


def listing(
    request: HttpRequest,
    rows: QuerySet[Any],
    *,
    columns: Sequence[Column],
    filterset: type[FilterSet] | None = None,
    template: str = "mill/list.html",
    name: str,
    title: str,
    extra: dict[str, Any] | None = None,
    row_class: Callable[[Any], str] | None = None,
) -> HttpResponse:
    """A list page, or its CSV with ?csv=1. `rows` must carry what the columns read (select_related, annotations)."""
    chosen = filterset(request.GET, queryset=rows, request=request) if filterset else None
    found = chosen.qs if chosen else rows
    for field in chosen.form if chosen else ():
        in_words(field)
    sort = request.GET.get("sort", "")
    by_key = {c.key: c for c in columns if c.order}
    if sort.lstrip("-") in by_key:
        field = str(by_key[sort.lstrip("-")].order)
        # By primary key last, so that pages of equal rows neither repeat nor skip one.
        found = found.order_by(f"-{field}" if sort.startswith("-") else field, "pk")
    elif not found.ordered:
        found = found.order_by("pk")
    if request.GET.get("csv"):
        return as_csv(found.iterator(chunk_size=500), columns, name)
    page = Paginator(found, PER_PAGE).get_page(request.GET.get("page"))
    return render(
        request,
        template,
        {
            "title": title,
            "columns": [
                {
                    "column": c,
                    "sort": (f"-{c.key}" if sort == c.key else c.key) if c.order else None,
                    "sorted": "ascending" if sort == c.key else "descending" if sort == f"-{c.key}" else None,
                }
                for c in columns
            ],
            "lines": [
                {"cells": [c.cell(row) for c in columns], "row": row, "class": row_class(row) if row_class else ""}
                for row in page.object_list
            ],
            "page": page,
            "filter": chosen,
            "is_filtered": any(v for k, v in request.GET.items() if k not in {"sort", "page"}),
            **(extra or {}),
        },
    )
