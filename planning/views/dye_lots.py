from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from inventory import services as inventory
from inventory.curve import draw_curve
from inventory.forms import LatenessForm
from inventory.models import Yarn
from mill import jobs
from mill.desk import room
from planning.services import dye_lots


@require_GET
@room("yarn")
def yarn_dye_lots(request: HttpRequest, code: str) -> HttpResponse:
    """The draw-down of a yarn by dye lot, as it stands or with deliveries late by what is asked."""
    yarn = get_object_or_404(Yarn.objects.select_related("supplier"), code=code)
    form = LatenessForm(request.GET if "late_by_days" in request.GET else None)
    late_by_days = form.asked_days
    rows = [
        {"dye_lot": one, "curve": draw_curve(one.worked.days)}
        for one in dye_lots.of_yarn(yarn, late_by_days=late_by_days)
    ]
    return render(
        request,
        "planning/dye_lots.html",
        {
            "title": _("%(yarn)s by dye lot") % {"yarn": yarn},
            "yarn": yarn,
            "rows": rows,
            "lateness": form,
            "late_by_days": late_by_days,
            "is_pending": inventory.is_being_worked_out(yarn)
            or jobs.is_pending(inventory.YARN_CHANGED, inventory.DEMANDS_REWORKED),
        },
    )


urlpatterns = [path("yarns/<path:code>/dye-lots/", yarn_dye_lots, name="yarn_dye_lots")]
