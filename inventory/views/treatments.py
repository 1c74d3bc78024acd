from typing import Any

from django.contrib import messages
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_GET

from inventory import services
from inventory.forms import ProbeForm, ReleaseTreatedForm, TreatmentForm
from inventory.models import Place, Treatment, YarnLot
from inventory.services import what_is_treated
from inventory.store_care import CAUTION
from inventory.treatment import ASK_FIRST, WAYS, degrees
from inventory.views import is_written, warn_of_holds
from mill.desk import room
from mill.listing import Column, listing
from mill.templatetags.mill import day, num


def _rows() -> QuerySet[Any]:
    rows = Treatment.objects.with_barred()
    return rows.select_related("place", "by").prefetch_related("lots__yarn", "lots__place")


def state_of(row: Any) -> str:
    """What is to come of it. `row` comes from with_barred()."""
    if row.verdict is None:
        return "under way"
    return "to be released" if row.n_barred else "over"


def _core(value: Any) -> str:
    return "–" if value is None else degrees(value)


@require_GET
@room("store")
def treatments(request: HttpRequest) -> HttpResponse:
    columns = [
        Column("Treatment", lambda r: r.pk, "pk", link=lambda r: reverse("treatment", args=[r.pk])),
        Column("How", lambda r: r.get_way_display(), "way"),
        Column("Of", what_is_treated),
        Column("Begun", lambda r: r.began_on, "began_on", shown=lambda r: day(r.began_on)),
        Column("Over", lambda r: r.ended_on, "ended_on", shown=lambda r: day(r.ended_on)),
        Column("Core", lambda r: r.core_c, "core_c", "°C", shown=lambda r: _core(r.core_c), is_number=True),
        Column("Held", lambda r: r.held_h, "held_h", "h", shown=lambda r: num(r.held_h), is_number=True),
        Column("Against the published figure", lambda r: met(r)),
        Column("State", state_of),
    ]
    return listing(
        request,
        _rows().order_by("-began_on", "-pk"),
        columns=columns,
        template="inventory/treatments.html",
        name="treatments",
        title="Treatments",
        extra={"when_empty": "Nothing has been treated."},
        row_class=lambda r: "short" if r.verdict and r.verdict.is_met is False else "",
    )


def met(row: Treatment) -> str:
    if row.verdict is None:
        return ""
    return {True: "meets it", False: "does not meet it", None: "none is kept"}[row.verdict.is_met]


def _offered(request: HttpRequest, place: Place | None) -> list[YarnLot]:
    """Lots that may be treated: those in quarantine, and those that are asked for by name."""
    if place:
        return []
    rows = YarnLot.objects.with_balance().filter(on_hand_g__gt=0)
    return list(rows.filter(Q(is_quarantined=True) | Q(label__in=request.GET.getlist("lot"))))


@room("store")
def treatment_new(request: HttpRequest) -> HttpResponse:
    words = request.GET
    place = get_object_or_404(Place, pk=words["place"]) if words.get("place", "").isdecimal() else None
    offered = _offered(request, place)
    initial = {"lots": [lot.pk for lot in offered if lot.label in words.getlist("lot")]}
    form = TreatmentForm(request.POST or None, lots=offered, place=place, initial=initial)
    if form.is_bound and form.is_valid():
        said, rows = dict(form.cleaned_data), []

        def write() -> None:
            rows.append(services.begin_treatment(place=place, lots=said.pop("lots", ()), by=request.user, **said))

        if is_written(form, write):
            messages.success(request, f"{rows[0]} is begun: {what_is_treated(rows[0])} can't be drawn meanwhile.")
            warn_of_holds(request, rows[0].lots.all())
            return redirect("treatment", pk=rows[0].pk)
    return render(
        request,
        "inventory/treatment_form.html",
        {
            "title": f"Treat all of {place}" if place else "A new treatment",
            "form": form,
            "place": place,
            "here": place.lots.select_related("yarn").with_balance().filter(on_hand_g__gt=0) if place else None,
            "nothing": not place and not offered,
            "ways": WAYS.values(),
            "caution": CAUTION,
            "back": reverse("place", args=[place.pk]) if place else reverse("treatments"),
        },
    )


@room("store")
def treatment(request: HttpRequest, pk: int) -> HttpResponse:
    """A treatment: what was aimed at, what is in print, what was measured; and what comes next."""
    row = get_object_or_404(_rows(), pk=pk)
    act = request.POST.get("act", "")
    probe = ProbeForm(request.POST if act == "probe" else None)
    release = ReleaseTreatedForm(request.POST if act == "release" else None)
    if probe.is_bound and probe.is_valid():
        said = probe.cleaned_data
        if is_written(probe, lambda: services.end_treatment(treatment=row, by=request.user, **said)):
            messages.success(request, f"{row} is over.")
            return redirect("treatment", pk=pk)
    if release.is_bound and release.is_valid():
        said = release.cleaned_data
        if is_written(release, lambda: services.release_treated(treatment=row, by=request.user, **said)):
            messages.success(request, f"What {row} treated may be used again.")
            return redirect("treatment", pk=pk)
    return render(
        request,
        "inventory/treatment.html",
        {
            "title": f"{row}: {row.get_way_display()}",
            "row": row,
            "of": what_is_treated(row),
            "state": state_of(row),
            "target": _core(row.target_core_c),
            "core": _core(row.core_c),
            "lots": sorted(row.lots.all(), key=lambda lot: lot.label),
            "probe": probe,
            "release": release,
            "ask_first": ASK_FIRST,
        },
    )


urlpatterns = [
    path("store/treatments/", treatments, name="treatments"),
    path("store/treatments/new/", treatment_new, name="treatment_new"),
    path("store/treatments/<int:pk>/", treatment, name="treatment"),
]
