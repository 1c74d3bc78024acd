from typing import Any

from django.contrib import messages
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop, pgettext_lazy
from django.views.decorators.http import require_GET

from inventory import services
from inventory.forms import ProbeForm, ReleaseTreatedForm, TreatmentForm
from inventory.models import Place, Treatment, YarnLot
from inventory.services import what_is_treated
from inventory.store_care import CAUTION
from inventory.treatment import ASK_FIRST, WAYS, Degrees
from inventory.views import is_written, warn_of_holds
from mill.desk import room
from mill.listing import Column, listing
from mill.templatetags.mill import day, num, said


def _rows() -> QuerySet[Any]:
    rows = Treatment.objects.with_barred()
    return rows.select_related("place", "by").prefetch_related("lots__yarn", "lots__place")


def state_of(row: Any) -> str:
    """What is to come of it. `row` comes from with_barred()."""
    if row.verdict is None:
        return gettext_noop("under way")
    return gettext_noop("to be released") if row.n_barred else gettext_noop("over")


def _core(value: Any) -> str:
    return "–" if value is None else Degrees(value).called


@require_GET
@room("store")
def treatments(request: HttpRequest) -> HttpResponse:
    columns = [
        Column(gettext_lazy("Treatment"), lambda r: r.pk, "pk", link=lambda r: reverse("treatment", args=[r.pk])),
        Column(gettext_lazy("How"), lambda r: r.get_way_display(), "way", shown=lambda r: _(r.get_way_display())),
        Column(pgettext_lazy("treatment", "Of"), what_is_treated),
        Column(gettext_lazy("Begun"), lambda r: r.began_on, "began_on", shown=lambda r: day(r.began_on)),
        Column(pgettext_lazy("treatment", "Over"), lambda r: r.ended_on, "ended_on", shown=lambda r: day(r.ended_on)),
        Column(
            gettext_lazy("Core"), lambda r: r.core_c, "core_c", "°C", shown=lambda r: _core(r.core_c), is_number=True
        ),
        Column(
            pgettext_lazy("so long", "Held"),
            lambda r: r.held_h,
            "held_h",
            "h",
            shown=lambda r: num(r.held_h),
            is_number=True,
        ),
        Column(gettext_lazy("Against the published figure"), met, shown=lambda r: said(met(r))),
        Column(gettext_lazy("State"), state_of, shown=lambda r: _(state_of(r))),
    ]
    return listing(
        request,
        _rows().order_by("-began_on", "-pk"),
        columns=columns,
        template="inventory/treatments.html",
        name="treatments",
        title=_("Treatments"),
        extra={"when_empty": _("Nothing has been treated.")},
        row_class=lambda r: "short" if r.verdict and r.verdict.is_met is False else "",
    )


MET = {True: gettext_noop("meets it"), False: gettext_noop("does not meet it"), None: gettext_noop("none is kept")}


def met(row: Treatment) -> str:
    if row.verdict is None:
        return ""
    return MET[row.verdict.is_met]


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
        typed, rows = dict(form.cleaned_data), []

        def write() -> None:
            rows.append(services.begin_treatment(place=place, lots=typed.pop("lots", ()), by=request.user, **typed))

        if is_written(form, write):
            messages.success(
                request,
                _("%(treatment)s is begun: %(lots)s can't be drawn meanwhile.")
                % {"treatment": rows[0].called, "lots": what_is_treated(rows[0])},
            )
            warn_of_holds(request, rows[0].lots.all())
            return redirect("treatment", pk=rows[0].pk)
    return render(
        request,
        "inventory/treatment_form.html",
        {
            "title": _("Treat all of %(place)s") % {"place": place} if place else _("A new treatment"),
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
        read = probe.cleaned_data
        if is_written(probe, lambda: services.end_treatment(treatment=row, by=request.user, **read)):
            messages.success(request, _("%(treatment)s is over.") % {"treatment": row.called})
            return redirect("treatment", pk=pk)
    if release.is_bound and release.is_valid():
        typed = release.cleaned_data
        if is_written(release, lambda: services.release_treated(treatment=row, by=request.user, **typed)):
            messages.success(request, _("What %(treatment)s treated may be used again.") % {"treatment": row.called})
            return redirect("treatment", pk=pk)
    return render(
        request,
        "inventory/treatment.html",
        {
            "title": f"{row.called}: {_(row.get_way_display())}",
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
