"""How to do what people come to the book for, step by step; and the words of the trade that pages use."""

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from mill.how_to import BY_SLUG, TASKS, told
from mill.pictures import alt_of, name_of, pictures
from mill.roles import ROLES
from mill.words import words_of


@require_GET
def how_tos(request: HttpRequest) -> HttpResponse:
    by_role = sorted(TASKS, key=lambda task: list(ROLES).index(task.who))
    return render(request, "planning/how_tos.html", {"title": _("How to"), "tasks": by_role})


@require_GET
def how_to(request: HttpRequest, slug: str) -> HttpResponse:
    task = BY_SLUG.get(slug)
    if task is None:
        raise Http404(slug)
    there = pictures(get_language() or settings.LANGUAGE_CODE)
    steps = [(step, there.get(name_of(task, n)), alt_of(step)) for n, step in enumerate(task.steps, start=1)]
    return render(request, "planning/how_to.html", {"title": told(task.title), "task": task, "steps": steps})


@require_GET
def glossary(request: HttpRequest) -> HttpResponse:
    return render(request, "planning/words.html", {"title": _("Words"), "words": words_of(get_language() or "")})


urlpatterns = [
    path("how-to/", how_tos, name="how_tos"),
    path("how-to/words/", glossary, name="words"),
    path("how-to/<slug:slug>/", how_to, name="how_to"),
]
