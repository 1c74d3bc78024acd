from typing import Any

import django_filters
from django.contrib import messages
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.views.decorators.http import require_GET

from inventory import services
from inventory.forms import DeliveryForm
from inventory.models import Delivery, Supplier, Yarn
from inventory.views import is_written
from inventory.views.yarns import mass
from mill.desk import room
from mill.listing import Column, listing, yes_or_no
from mill.templatetags.mill import day


class DeliveryFilter(django_filters.FilterSet):
    text = django_filters.CharFilter(label="Delivery or yarn", method="by_text")
    supplier = django_filters.ModelChoiceFilter(label="Supplier", queryset=Supplier.objects.all(), empty_label="any")
    overdue = yes_or_no("Overdue", method="by_overdue")
    come = django_filters.ChoiceFilter(
        label="Show", choices=[("all", "those that have come too")], empty_label="still to come", method="by_come"
    )

    class Meta:
        model = Delivery
        fields: list[str] = []

    def filter_queryset(self, queryset: QuerySet[Delivery]) -> QuerySet[Delivery]:
        rows = super().filter_queryset(queryset)
        return rows if self.form.cleaned_data.get("come") else rows.filter(outstanding_g__gt=0)

    def by_text(self, rows: QuerySet[Delivery], _name: str, value: str) -> QuerySet[Delivery]:
        return rows.filter(
            Q(number__icontains=value)
            | Q(yarn__code__icontains=value)
            | Q(yarn__name__icontains=value)
            | Q(dye_lot__icontains=value)
        )

    def by_overdue(self, rows: QuerySet[Delivery], _name: str, value: bool) -> QuerySet[Delivery]:
        today = timezone.localdate()
        return rows.filter(expected_on__lt=today) if value else rows.filter(expected_on__gte=today)

    def by_come(self, rows: QuerySet[Delivery], _name: str, value: str) -> QuerySet[Delivery]:
        return rows


def is_overdue(row: Any) -> bool:
    """Whether some of it should have come before today. `row` comes from with_received()."""
    return bool(row.outstanding_g and row.expected_on < timezone.localdate())


def to_receive(delivery: Delivery) -> str:
    return f"{reverse('lot_receive')}?{urlencode({'delivery': delivery.number})}"


@require_GET
@room("yarn")
def deliveries(request: HttpRequest) -> HttpResponse:
    columns = [
        Column("Delivery", lambda r: r.number, "number", link=lambda r: reverse("delivery", args=[r.pk])),
        Column("Yarn", lambda r: str(r.yarn), "yarn__code", link=lambda r: reverse("yarn_one", args=[r.yarn.code])),
        Column("Supplier", lambda r: r.supplier.name if r.supplier else None, "supplier__name"),
        mass("Ordered", "ordered_g"),
        mass("Come", "received_g"),
        mass("To come", "outstanding_g"),
        Column("Dye lot", lambda r: r.dye_lot, "dye_lot"),
        Column("Expected", lambda r: r.expected_on, "expected_on", shown=lambda r: day(r.expected_on)),
        Column("State", lambda r: "closed" if r.is_closed else "overdue" if is_overdue(r) else ""),
        Column(
            "Receive",
            lambda r: "receive" if r.outstanding_g else "",
            link=lambda r: to_receive(r) if r.outstanding_g else None,
        ),
    ]
    return listing(
        request,
        Delivery.objects.select_related("yarn", "supplier").with_received().order_by("expected_on", "pk"),
        columns=columns,
        filterset=DeliveryFilter,
        template="inventory/deliveries.html",
        name="deliveries",
        title="Deliveries",
        extra={"when_empty": "Nothing is expected."},
        row_class=lambda r: "late" if is_overdue(r) else "",
    )


@room("yarn")
def delivery(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    found = get_object_or_404(Delivery.objects.select_related("yarn").with_received(), pk=pk) if pk else None
    form = DeliveryForm(request.POST or None, instance=found, initial=_offered(request))
    if form.is_bound and form.is_valid():
        kept = form.instance

        def write() -> None:
            services.write_delivery(delivery=kept, changed=form.changed_data, key=form.said_key)

        if is_written(form, write):
            messages.success(request, f"Delivery {kept} is written down, for {day(kept.expected_on)}.")
            return redirect("deliveries")
    return render(
        request,
        "inventory/delivery.html",
        {
            "title": f"Delivery {found.number}" if found else "A new delivery",
            "form": form,
            "found": found,
            "receive": to_receive(found) if found and found.outstanding_g else "",
            "lots": found.lots.with_balance().order_by("received_on", "pk") if found else [],
            "back": reverse("deliveries"),
        },
    )


def _offered(request: HttpRequest) -> dict[str, Any]:
    """A new delivery begins with the yarn whose page one came from, and its supplier."""
    yarn = Yarn.objects.filter(code=request.GET.get("yarn", "")).first()
    return {"yarn": yarn.pk, "supplier": yarn.supplier_id} if yarn else {}


urlpatterns = [
    path("deliveries/", deliveries, name="deliveries"),
    path("deliveries/new/", delivery, name="delivery_new"),
    path("deliveries/<int:pk>/", delivery, name="delivery"),
]
