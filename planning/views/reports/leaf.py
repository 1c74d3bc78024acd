"""The leaf of all reports: each as a small picture with its first figures."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from mill.desk import room
from planning.views.reports import deliveries, efficiency, load, seconds, thrums, turnover

REPORTS = (deliveries, load, efficiency, turnover, thrums, seconds)


@require_GET
@room("mill")
def reports(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate()
    made = []
    for one in REPORTS:
        period = one.propose(today)
        made.append({"address": reverse(one.NAME), "report": one.report(period, today), "period": period})
    return render(request, "planning/reports.html", {"title": _("Reports"), "reports": made})


urlpatterns = [path("reports/", reports, name="reports")]
