"""Places, traps, suppliers and fibres: lists, and a form for each."""

from datetime import date, timedelta
from typing import Any

from django.contrib import messages
from django.db.models import Count, OuterRef, Q, QuerySet, Subquery
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop, ngettext, pgettext
from django.views.decorators.http import require_GET, require_POST

from inventory import services
from inventory.forms import FibreForm, OnceForm, PlaceForm, SupplierForm, TrapForm
from inventory.models import Claim, Delivery, Fibre, Inspection, Place, Supplier, Trap
from mill.desk import room
from mill.edits import Edit
from mill.listing import Column, listing
from mill.models import Mill
from mill.refusal import N_, Refusal
from mill.templatetags.mill import day, said


@require_GET
@room("store")
def places(request: HttpRequest) -> HttpResponse:
    last = Inspection.objects.filter(place=OuterRef("pk")).order_by("-on", "-pk")
    return listing(
        request,
        Place.objects.annotate(
            inspected_on=Subquery(last.values("on")[:1]), n_traps=Count("traps", filter=Q(traps__is_hung=True))
        ),
        columns=[
            Column(gettext_lazy("Place"), lambda r: r.code, "code", link=lambda r: reverse("place", args=[r.pk])),
            Column(gettext_lazy("Name"), lambda r: r.name, "name"),
            Column(
                gettext_lazy("Dark"),
                lambda r: "yes" if r.is_dark else "no",
                "is_dark",
                shown=lambda r: _("yes") if r.is_dark else _("no"),
            ),
            Column(
                gettext_lazy("Looked over"),
                lambda r: r.inspected_on,
                "inspected_on",
                shown=lambda r: day(r.inspected_on) if r.inspected_on else _("never"),
            ),
            Column(gettext_lazy("Traps"), lambda r: r.n_traps, "n_traps", is_number=True),
        ],
        template="inventory/records.html",
        name="places",
        title=_("Places"),
        extra={"store_tab": "places", "new": "place_new", "new_label": _("New place")},
    )


@require_GET
@room("store")
def traps(request: HttpRequest) -> HttpResponse:
    lasts = timedelta(days=Mill.the_one().store_lure_days)
    today = timezone.localdate()

    def due_on(trap: Trap) -> date | None:
        return trap.lure_renewed_on + lasts if trap.is_hung else None

    def is_spent(trap: Trap) -> bool:
        on = due_on(trap)
        return on is not None and on <= today

    def state_of(trap: Trap) -> str:
        if is_spent(trap):
            return gettext_noop("spent")
        return "" if trap.is_hung else gettext_noop("taken down")

    return listing(
        request,
        Trap.objects.select_related("place"),
        columns=[
            Column(gettext_lazy("Trap"), lambda r: r.code, "code", link=lambda r: reverse("trap", args=[r.pk])),
            Column(
                gettext_lazy("Hangs in"),
                lambda r: r.place.code,
                "place__code",
                link=lambda r: reverse("place", args=[r.place_id]),
            ),
            Column(
                gettext_lazy("Lure of"),
                lambda r: r.get_catches_display(),
                "catches",
                shown=lambda r: _(r.get_catches_display()),
            ),
            Column(
                gettext_lazy("Renewed"),
                lambda r: r.lure_renewed_on,
                "lure_renewed_on",
                shown=lambda r: day(r.lure_renewed_on),
            ),
            Column(gettext_lazy("New lure due"), due_on, "lure_renewed_on", shown=lambda r: day(due_on(r))),
            Column(gettext_lazy("State"), state_of, shown=lambda r: said(state_of(r))),
        ],
        template="inventory/records.html",
        name="traps",
        title=_("Traps"),
        extra={
            "store_tab": "traps",
            "new": "trap_new",
            "new_label": _("New trap"),
            "when_empty": _("No trap has been written down."),
        },
        row_class=lambda r: "late" if is_spent(r) else "",
    )


def _open_deliveries(supplier: Supplier) -> str:
    return f"{reverse('deliveries')}?supplier={supplier.pk}"


@require_GET
@room("yarn")
def suppliers(request: HttpRequest) -> HttpResponse:
    # One that has come whole is not open, though nobody has closed it.
    is_open, today = Q(deliveries__in=Delivery.objects.open().values("pk")), timezone.localdate()
    is_claimed = Q(deliveries__claims__state__in=[Claim.WRITTEN, Claim.SENT])
    return listing(
        request,
        Supplier.objects.annotate(
            n_open=Count("deliveries", filter=is_open, distinct=True),
            n_overdue=Count("deliveries", filter=is_open & Q(deliveries__expected_on__lt=today), distinct=True),
            n_claims=Count("deliveries__claims", filter=is_claimed, distinct=True),
        ),
        columns=[
            Column(_("Supplier"), lambda r: r.code, "code", link=lambda r: reverse("supplier", args=[r.pk])),
            Column(_("Name"), lambda r: r.name, "name"),
            Column(_("Lead time"), lambda r: r.lead_time_days, "lead_time_days", _("days"), is_number=True),
            Column(_("Deliveries open"), lambda r: r.n_open, "n_open", is_number=True, link=_open_deliveries),
            Column(_("Overdue"), lambda r: r.n_overdue, "n_overdue", is_number=True),
            Column(_("Claims open"), lambda r: r.n_claims, "n_claims", is_number=True),
        ],
        template="inventory/records.html",
        name="suppliers",
        title=_("Suppliers"),
        extra={"tab": "suppliers", "new": "supplier_new", "new_label": _("New supplier")},
    )


@require_GET
@room("yarn")
def fibres(request: HttpRequest) -> HttpResponse:
    return listing(
        request,
        Fibre.objects.all(),
        columns=[
            Column(_("Fibre"), lambda r: r.called, "name", link=lambda r: reverse("fibre", args=[r.pk])),
            Column(_("Moths eat it"), lambda r: _("yes") if r.is_protein else _("no"), "is_protein"),
            Column(_("Regain"), lambda r: r.regain_pct, "regain_pct", "%", is_number=True),
            Column(pgettext("regain", "By"), lambda r: r.regain_authority, "regain_authority"),
        ],
        template="inventory/records.html",
        name="fibres",
        title=_("Fibres"),
        extra={"tab": "fibres", "new": "fibre_new", "new_label": _("New fibre")},
    )


def _edit(
    request: HttpRequest, form_of: type[OnceForm], rows: QuerySet[Any], pk: int | None, *, new: str, of: str, back: str
) -> HttpResponse:
    found = get_object_or_404(rows, pk=pk) if pk else None
    edit = Edit(request, found, lambda data, row: form_of(data, instance=row))

    def write(form: OnceForm, seen: str | None) -> Any:
        return services.write_record(
            row=form.instance, changed=form.changed_data, by=request.user, key=form.said_key, seen=seen
        )

    if edit.is_valid() and edit.is_written(write):
        kept = edit.form.instance
        messages.success(request, _("%(record)s is written down.") % {"record": getattr(kept, "called", kept)})
        return redirect(back)
    title = _(of) % {"record": getattr(found, "called", found)} if found else _(new)
    return render(request, "mill/form.html", {"title": title, "edit": edit, "form": edit.form, "back": reverse(back)})


@room("store")
def place_edit(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    return _edit(
        request, PlaceForm, Place.objects.all(), pk, new=N_("A new place"), of=N_("Place %(record)s"), back="places"
    )


@room("store")
def trap_edit(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    return _edit(
        request, TrapForm, Trap.objects.all(), pk, new=N_("A new trap"), of=N_("Trap %(record)s"), back="traps"
    )


@room("yarn")
def supplier(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    return _edit(
        request,
        SupplierForm,
        Supplier.objects.all(),
        pk,
        new=N_("A new supplier"),
        of=N_("Supplier %(record)s"),
        back="suppliers",
    )


@room("yarn")
def fibre(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    return _edit(
        request, FibreForm, Fibre.objects.all(), pk, new=N_("A new fibre"), of=N_("Fibre %(record)s"), back="fibres"
    )


@require_POST
@room("yarn")
def fibres_of_table(request: HttpRequest) -> HttpResponse:
    """All fibres of a table of regains in one act."""
    try:
        written = services.write_fibres_of(authority=request.POST.get("authority", ""), by=request.user)
    except Refusal as refusal:
        messages.error(request, refusal.message)
    else:
        n = len(written)
        messages.success(
            request,
            ngettext("%(n)s fibre written down.", "%(n)s fibres written down.", n) % {"n": n}
            if n
            else _("The book has all of them already."),
        )
    return redirect("fibres")


urlpatterns = [
    path("store/places/", places, name="places"),
    path("store/places/new/", place_edit, name="place_new"),
    path("store/places/<int:pk>/edit/", place_edit, name="place_edit"),
    path("store/traps/", traps, name="traps"),
    path("store/traps/new/", trap_edit, name="trap_new"),
    path("store/traps/<int:pk>/", trap_edit, name="trap"),
    path("yarn/suppliers/", suppliers, name="suppliers"),
    path("yarn/suppliers/new/", supplier, name="supplier_new"),
    path("yarn/suppliers/<int:pk>/", supplier, name="supplier"),
    path("yarn/fibres/", fibres, name="fibres"),
    path("yarn/fibres/new/", fibre, name="fibre_new"),
    path("yarn/fibres/of-table/", fibres_of_table, name="fibres_of_table"),
    path("yarn/fibres/<int:pk>/", fibre, name="fibre"),
]
