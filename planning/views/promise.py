"""When it could be ready: a page of its own, and a few lines beside an order that is being typed."""

from collections.abc import Mapping
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from mill.desk import room
from mill.refusal import Refusal
from planning.forms.promise import PromiseForm
from planning.models import Colourway
from planning.services import promise as promises


def colourways_to_promise() -> list[Colourway]:
    return list(
        Colourway.objects.filter(cloth__is_in_use=True).select_related("cloth").order_by("cloth__code", "name", "pk")
    )


def answered(form: PromiseForm) -> dict[str, Any]:
    """The promise that the form asks for, or why there is none."""
    if not form.is_bound or not form.is_valid():
        return {"promise": None, "refusal": "", "is_asked": False}
    try:
        return {"promise": promises.promise(**form.cleaned_data), "refusal": "", "is_asked": True}
    except Refusal as refusal:
        return {"promise": None, "refusal": refusal.message, "is_asked": True}


@require_GET
@room("orders")
def promise(request: HttpRequest) -> HttpResponse:
    """With `line`, the prefix of a line's fields on an order form, the answer alone: it stands beside that line."""
    line = request.GET.get("line", "")
    words: Mapping[str, str] | None = request.GET if line or "colourway" in request.GET else None
    form = PromiseForm(words, prefix=line or None, colourways=colourways_to_promise())
    told = answered(form)
    if line or (request.headers.get("HX-Request") and words is not None):
        return render(request, "planning/_promise.html", told)
    return render(request, "planning/promise.html", {"title": _("When could it be ready?"), "form": form, **told})


urlpatterns = [path("promise/", promise, name="promise")]
