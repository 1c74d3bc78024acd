"""An empty book written down in the order in which a mill would; and the example mill laid aside for it."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from inventory.yarn import ASTM_D1909, EU_1007
from mill import laying_aside
from mill.desk import room
from mill.models import Mill
from mill.refusal import Refusal
from planning.services import beginning as services


@require_GET
@room("mill")
def beginning(request: HttpRequest) -> HttpResponse:
    steps = services.steps()
    return render(
        request,
        "planning/beginning.html",
        {
            "title": _("Beginning the book"),
            "steps": steps,
            "next": services.next_step(steps),
            "n_done": sum(step.is_done for step in steps),
            "tables": [by] if (by := Mill.the_one().regain_authority) else [EU_1007, ASTM_D1909],
            "is_example": laying_aside.is_the_example(),
            "can_lay_aside": laying_aside.can_be_asked(),
        },
    )


@require_POST
@room("mill")
def lay_aside(request: HttpRequest) -> HttpResponse:
    try:
        laying_aside.ask()
    except Refusal as refusal:
        messages.error(request, refusal.message)
        return redirect("beginning")
    # The server closes now and opens again with another book: this page waits for that, and needs nothing of it.
    answer = render(
        request, "planning/laid_aside.html", {"title": _("Laying the example aside"), "name": Mill.the_one()}
    )
    answer["Refresh"] = "15; url=/"
    return answer


urlpatterns = [
    path("mill/beginning/", beginning, name="beginning"),
    path("mill/beginning/lay-aside/", lay_aside, name="lay_example_aside"),
]
