"""The working of figures as a sheet to print: each with its rule, the numbers in it, and where they come from."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

# In the address of a page whose figures have a working: ?sheet=worked
ASKED = ("sheet", "worked")


@dataclass(frozen=True)
class Part:
    """Some of the steps of a sheet, under a heading; each a `mill.working.Step`, or a dict with its names."""

    title: str
    steps: Sequence[Any]


def is_asked(request: HttpRequest) -> bool:
    """Whether the page is asked for as a sheet of its working."""
    name, value = ASKED
    return request.GET.get(name) == value


def sheet(
    request: HttpRequest, *, title: str, back: str, parts: Iterable[Part], notes: Iterable[str] = ()
) -> HttpResponse:
    """One sheet, ready to print. Parts without a step are left out."""
    told = {"title": title, "back": back, "parts": [part for part in parts if part.steps], "notes": list(notes)}
    return render(request, "mill/worked_sheet.html", told)
