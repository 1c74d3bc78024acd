from itertools import groupby
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from mill.models import Mill
from mill.said_working import sum_said, unit_said, words_said
from mill.templatetags.mill import num
from mill.units import MEASURES, show
from mill.working import W_
from planning.forms.reckoner import SumForm
from planning.reckoner import REGISTRY, Figure

# What else a figure is said in. Shown beside it, never carried on.
LIKED: dict[str, tuple[str, ...]] = {
    "cm": ("in",),
    "m": ("yd",),
    "mm": ("in",),
    "g": ("kg", "lb oz"),
    "kg": ("lb",),
    "per_cm": ("per in",),
    "dents_per_10cm": ("dents/in",),
    "g_per_m2": ("oz/yd2",),
    "g_per_m": ("oz/yd",),
    "min": ("h min",),
}
# Of those the units that are words.
PER_IN = W_("%(n)s per in")
DENTS_PER_IN = W_("%(n)s dents/in")
_BY_WRITTEN = {MEASURES[unit].written: unit for unit in LIKED}


def shown(figure: Figure) -> str:
    return sum_said(figure.value) if isinstance(figure.value, str) else num(figure.value)


def also_said(figure: Figure) -> list[str]:
    """The same figure in the units of the other half of the trade."""
    unit = _BY_WRITTEN.get(figure.unit)
    if unit is None or isinstance(figure.value, str):
        return []
    return [sum_said(show(figure.value, unit, liked)) for liked in LIKED[unit]]


@require_safe
def reckoner(request: HttpRequest) -> HttpResponse:
    groups = groupby(REGISTRY.values(), key=lambda asked: asked.group)
    return render(request, "planning/reckoner.html", {"groups": [(name, list(sums)) for name, sums in groups]})


@require_safe
def reckoner_sum(request: HttpRequest, name: str) -> HttpResponse:
    """One sum. What is written stands in the address, so that an answer can be kept and sent."""
    if name not in REGISTRY:
        raise Http404(_("There is no sum called %(name)s.") % {"name": name})
    asked = REGISTRY[name]
    form = SumForm(asked, request.GET, mill=Mill.the_one())
    answer = form.reckon()
    context: dict[str, Any] = {"asked": asked, "form": form, "answer": answer, "title": words_said(asked.title)}
    if answer is not None:
        context["figures"] = [
            (figure.name, words_said(figure.label), shown(figure), unit_said(figure.unit), also_said(figure))
            for figure in answer.figures
        ]
        context["remarks"] = [words_said(remark) for remark in answer.remarks]
    is_live = request.htmx and not request.htmx.boosted  # type: ignore[attr-defined]
    return render(request, "planning/_reckoner_live.html" if is_live else "planning/reckoner_sum.html", context)


urlpatterns = [
    path("reckoner/", reckoner, name="reckoner"),
    path("reckoner/<slug:name>/", reckoner_sum, name="reckoner_sum"),
]
