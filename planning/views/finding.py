from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET
from django.views.decorators.vary import vary_on_headers

from mill import roles
from planning.services import finding


@require_GET
@vary_on_headers("HX-Request")
def find(request: HttpRequest) -> HttpResponse:
    """What answers to the words asked; what alone is named just so opens at once.

    While somebody types, only the part under the box.
    """
    asked = finding.tidy(request.GET.get("q", ""))
    groups = finding.find(asked, held=roles.roles_of(request.user))
    context = {"title": _("Find"), "find_asked": asked, "groups": groups, "n": sum(len(group.hits) for group in groups)}
    if request.htmx:  # type: ignore[attr-defined]
        # Under the box each link is a thing found.
        return render(request, "planning/_found.html", {**context, "terms": None})
    if hit := finding.the_one(groups):
        return redirect(hit.page, *hit.args)
    return render(request, "planning/find.html", context)


urlpatterns = [path("find/", find, name="find")]
