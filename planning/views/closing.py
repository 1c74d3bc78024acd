"""Public holidays: looked up for a place and a year, ticked, and written as closures."""

from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from mill.desk import room
from mill.models import Mill
from mill.refusal import Refusal
from planning.forms.closing import DaysOffForm, PlaceOfHolidaysForm
from planning.services import closing


@require_http_methods(["GET", "POST"])
@room("mill")
def public_days(request: HttpRequest) -> HttpResponse:
    place = Mill.the_one().holidays_of
    is_sent = request.method == "POST"
    form: PlaceOfHolidaysForm
    if is_sent:
        form = DaysOffForm(request.POST, place=place)
    else:
        form = PlaceOfHolidaysForm(request.GET if "country" in request.GET else None, place=place)
    days: list[closing.DayOff] = []
    if form.is_bound:
        form.is_valid()
        said = form.cleaned_data
        if said.get("place") and said.get("year") and "part" not in form.errors:
            days = closing.days_off(said["place"], said["year"])
    if is_sent and form.is_valid():
        said = form.cleaned_data
        try:
            written = closing.close_on(said["place"], said["year"], days=said["days"], by=request.user)
        except Refusal as refusal:
            form.add_error(None, refusal.message)
        else:
            n = len(written)
            messages.success(
                request,
                ngettext(
                    "%(n)s closure written down. Plans made from now on leave it out.",
                    "%(n)s closures written down. Plans made from now on leave them out.",
                    n,
                )
                % {"n": n}
                if n
                else _("The mill was closed on those days already."),
            )
            return redirect(f"{reverse('closures')}?{urlencode({'sort': 'starts_at'})}")
    ticked = {f"{day}" for day in form.cleaned_data.get("days", [])} if form.is_bound else set()
    return render(
        request,
        "planning/public_days.html",
        {
            "title": _("Public holidays"),
            "form": form,
            "days": [(day, f"{day.day}" in ticked if is_sent else True) for day in days],
        },
        status=422 if is_sent else 200,
    )


urlpatterns = [path("mill/public-holidays/", public_days, name="public_days")]
