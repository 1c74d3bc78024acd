"""Labels on paper: of lots, for their bags, and of part cones that came back. Their codes open the lot's page."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET

from inventory.models import Delivery, Movement, YarnLot
from inventory.views.lots import LotFilter
from mill.desk import room
from mill.qr import qr_svg, scanned_address

LABELS_MAX = 200
LATELY_DAYS = 7


class CopiesForm(forms.Form):
    """How many of each: a label for every bag, or every cone."""

    copies = forms.IntegerField(label=gettext_lazy("Of each"), min_value=1, max_value=99, initial=1, required=False)


@dataclass(frozen=True)
class Label:
    """A label as it is printed.

    grams, mass_is   net, and what it is of: when it came, when it came back
    of               "2 of 3" where several go out together
    """

    lot: YarnLot
    qr: SafeString
    grams: int
    mass_is: str
    on: date
    cones: int
    of: str = ""
    is_part_cone: bool = False


def _qr(lot: YarnLot, request: HttpRequest) -> SafeString:
    where = scanned_address(reverse("lot", args=[lot.label]), request)
    return qr_svg(where, label=_("QR code of lot %(lot)s") % {"lot": lot})


def _copies(request: HttpRequest) -> tuple[CopiesForm, int]:
    form = CopiesForm(request.GET if "copies" in request.GET else None)
    return form, (form.cleaned_data["copies"] or 1) if form.is_bound and form.is_valid() else 1


def _of(n: int, copies: int) -> str:
    return _("%(n)s of %(copies)s") % {"n": n, "copies": copies} if copies > 1 else ""


@require_GET
@room("yarn")
def lot_labels(request: HttpRequest) -> HttpResponse:
    """Labels of the lots asked for: by number, of a delivery, or by the words of the lots' list; else of the latest."""
    lots, about = _lots_meant(request)
    form, copies = _copies(request)
    n_lots = len(lots)
    shown = lots[: max(1, LABELS_MAX // copies)]
    came = dict(Movement.objects.filter(lot__in=shown, seq=1).values_list("lot_id", "change_g"))
    labels = [
        Label(
            lot=lot,
            qr=_qr(lot, request),
            grams=lot.weighed_g if lot.weighed_g is not None else came[lot.pk],
            mass_is=_("net"),
            on=lot.received_on,
            cones=lot.packages,
            of=_of(n, copies),
        )
        for lot in shown
        for n in range(1, copies + 1)
    ]
    return render(
        request,
        "inventory/labels.html",
        {
            "title": _("Lot labels"),
            "about": about,
            "labels": labels,
            "left_off": n_lots - len(shown),
            "copies": form,
            "asked": [(name, value) for name, values in request.GET.lists() for value in values if name != "copies"],
            "back": reverse("lot", args=[shown[0].label])
            if len(request.GET.getlist("lot")) == n_lots == 1
            else reverse("lots"),
            "lately_back": _lately_back(),
        },
    )


def _lots_meant(request: HttpRequest) -> tuple[list[YarnLot], str]:
    rows = YarnLot.objects.select_related("yarn", "place", "delivery").order_by("label")
    words = request.GET
    if "lot" in words:
        return list(rows.filter(label__in=words.getlist("lot"))), ""
    if "delivery" in words:
        delivery = get_object_or_404(Delivery, number=words["delivery"])
        return list(rows.that_came().filter(delivery=delivery)), _("Of delivery %(number)s.") % {"number": delivery}
    if any(words.get(name) for name in LotFilter.base_filters):
        balances = rows.with_balance()
        return list(LotFilter(words, queryset=balances, request=request).qs), _("Of the lots that the list found.")
    since = timezone.localdate() - timedelta(days=LATELY_DAYS)
    return list(rows.that_came().filter(received_on__gte=since)), _("Of the lots that came in the last %(n)s days.") % {
        "n": LATELY_DAYS
    }


def _lately_back() -> Iterable[Movement]:
    """Part cones that came back in the last days, by desk or by phone, whose labels may still be wanting."""
    since = timezone.now() - timedelta(days=LATELY_DAYS)
    rows = Movement.objects.filter(kind=Movement.RETURN, at__gte=since, reversed_by__isnull=True)
    return rows.select_related("lot__yarn").order_by("-at")[:20]


@require_GET
@room("yarn")
def cone_labels(request: HttpRequest, pk: int) -> HttpResponse:
    """Labels of part cones that came back in one line of the ledger: one for each cone."""
    rows = Movement.objects.filter(kind=Movement.RETURN).select_related("lot__yarn", "lot__place", "reservation")
    line = get_object_or_404(rows, pk=pk)
    form, asked = _copies(request)
    copies = asked if form.is_bound and form.is_valid() else max(1, min(line.packages_change, 99))
    label = Label(
        lot=line.lot,
        qr=_qr(line.lot, request),
        grams=line.change_g,
        mass_is=_("net together") if copies > 1 else _("net"),
        on=timezone.localtime(line.at).date(),
        cones=line.packages_change,
        is_part_cone=True,
    )
    context: dict[str, Any] = {
        "title": _("Part cones of lot %(lot)s") % {"lot": line.lot},
        "about": _("Back from %(what)s.") % {"what": line.reservation.what.called}
        if line.reservation
        else _("Back from the shed."),
        "labels": [replace(label, of=_of(n, copies)) for n in range(1, copies + 1)],
        "copies": CopiesForm(initial={"copies": copies}) if not form.is_bound else form,
        "asked": [],
        "back": reverse("lot", args=[line.lot.label]),
    }
    return render(request, "inventory/labels.html", context)


urlpatterns = [
    path("yarn/labels/", lot_labels, name="lot_labels"),
    path("lines/<int:pk>/labels/", cone_labels, name="cone_labels"),
]
