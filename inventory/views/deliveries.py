from typing import Any

import django_filters
from django.contrib import messages
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_POST

from inventory import ledger, services
from inventory.forms import DeliveryForm
from inventory.models import Delivery, Movement, Supplier, Yarn
from inventory.views.yarns import mass
from mill.desk import room
from mill.edits import Edit
from mill.listing import Column, listing, yes_or_no
from mill.signs import written_now
from mill.templatetags.mill import day, kg
from mill.working import Step


class DeliveryFilter(django_filters.FilterSet):
    text = django_filters.CharFilter(label=gettext_lazy("Delivery or yarn"), method="by_text")
    supplier = django_filters.ModelChoiceFilter(
        label=gettext_lazy("Supplier"), queryset=Supplier.objects.all(), empty_label=gettext_lazy("any")
    )
    overdue = yes_or_no(gettext_lazy("Overdue"), method="by_overdue")
    come = django_filters.ChoiceFilter(
        label=gettext_lazy("Show"),
        choices=[("all", gettext_lazy("those that have come too"))],
        empty_label=gettext_lazy("still to come"),
        method="by_come",
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
        Column(_("Delivery"), lambda r: r.number, "number", link=lambda r: reverse("delivery", args=[r.pk])),
        Column(_("Yarn"), lambda r: str(r.yarn), "yarn__code", link=lambda r: reverse("yarn_one", args=[r.yarn.code])),
        Column(_("Supplier"), lambda r: r.supplier.name if r.supplier else None, "supplier__name"),
        mass(_("Ordered"), "ordered_g"),
        mass(_("Come"), "received_g"),
        mass(_("To come"), "outstanding_g"),
        Column(_("Dye lot"), lambda r: r.dye_lot, "dye_lot"),
        Column(_("Expected"), lambda r: r.expected_on, "expected_on", shown=lambda r: day(r.expected_on)),
        Column(_("State"), lambda r: _("closed") if r.is_closed else _("overdue") if is_overdue(r) else ""),
        Column(
            _("Receive"),
            lambda r: _("receive") if r.outstanding_g else "",
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
        title=_("Deliveries"),
        extra={"when_empty": _("Nothing is expected.")},
        row_class=lambda r: "late" if is_overdue(r) else "",
    )


# What the sums of a delivery hang on.
WEIGHTY = ("yarn", "ordered_g", "expected_on", "is_closed")


def foresight_facts(form: DeliveryForm, found: Any) -> dict[str, Any]:
    """What the delivery would do as it is filled in; its sentences, and the draw-down that follows. Writes nothing."""
    if not form.is_bound:
        return {"said": [], "found": found}
    form.is_valid()
    wanting = [form[name] for name in WEIGHTY if name in form.errors or form.cleaned_data.get(name) in (None, "")]
    if wanting:
        return {"said": [], "wanting": wanting, "found": found}
    filled = form.instance
    for name in WEIGHTY:
        setattr(filled, name, form.cleaned_data[name])
    filled.number = filled.number or _("this delivery")
    said = moves(found, filled)
    return {"said": said, "found": found, "foreseen": services.foresee_delivery(filled) if said else None}


def moves(was: Any, now: Delivery) -> list[str]:
    """What becomes of the yarn that is expected, in sentences; none when nothing of it changes."""
    left_g = 0 if now.is_closed else max(0, now.ordered_g - (was.received_g if was else 0))
    new = _("%(mass)s kg of %(yarn)s come on %(day)s.") % {
        "mass": kg(left_g, 1),
        "yarn": now.yarn,
        "day": day(now.expected_on),
    }
    if was is None:
        return [new] if left_g else [_("It is closed: nothing of it is to come.")]
    if not was.outstanding_g:
        return [new] if left_g else []
    gone = _("%(mass)s kg of %(yarn)s on %(day)s do not come any more.") % {
        "mass": kg(was.outstanding_g, 1),
        "yarn": was.yarn,
        "day": day(was.expected_on),
    }
    if was.yarn_id != now.yarn_id:
        return [gone, new] if left_g else [gone]
    if not left_g:
        return [gone]
    left, said = {"mass": kg(left_g, 1), "yarn": now.yarn}, []
    if left_g != was.outstanding_g:
        before = {"was": kg(was.outstanding_g, 1)}
        said.append(_("%(mass)s kg of %(yarn)s are still to come, instead of %(was)s kg.") % {**left, **before})
    if was.expected_on != now.expected_on:
        days = {"was": day(was.expected_on), "day": day(now.expected_on)}
        said.append(_("%(mass)s kg of %(yarn)s move from %(was)s to %(day)s.") % {**left, **days})
    return said


def _found(pk: int | None) -> Any:
    rows = Delivery.objects.select_related("yarn").with_received()
    return get_object_or_404(rows, pk=pk) if pk else None


@require_POST
@room("yarn")
def delivery_foresight(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    """What the delivery would do, alone, while it is typed."""
    form = DeliveryForm(request.POST, instance=_found(pk))
    return render(request, "inventory/_delivery_foresight.html", foresight_facts(form, _found(pk)))


@room("yarn")
def delivery(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    found = _found(pk)
    is_look = request.POST.get("act") == "look"
    offered = _offered(request)
    edit = Edit(
        request,
        _found(pk),
        lambda data, row: DeliveryForm(data, instance=row, initial=offered),
        is_write=not is_look,
    )

    def write(form: DeliveryForm, seen: str | None) -> Delivery:
        return services.write_delivery(
            delivery=form.instance, changed=form.changed_data, by=request.user, key=form.said_key, seen=seen
        )

    if edit.is_valid() and edit.is_written(write):
        kept = edit.form.instance
        messages.success(
            request,
            _("Delivery %(number)s is written down, for %(day)s.")
            % {"number": kept.number, "day": day(kept.expected_on)},
        )
        return redirect("deliveries")
    form = edit.form
    return render(
        request,
        "inventory/delivery.html",
        {
            "title": _("Delivery %(number)s") % {"number": found.number} if found else _("A new delivery"),
            "edit": edit,
            "form": form,
            "is_look": is_look,
            "foresight": reverse("delivery_foresight", args=[pk]) if pk else reverse("delivery_new_foresight"),
            **foresight_facts(form, found),
            "receive": to_receive(found) if found and found.outstanding_g else "",
            "lots": [(lot, off_count(lot, found.yarn)) for lot in _came(found)] if found else [],
            "working": _working(found) if found else (),
            "back": reverse("deliveries"),
        },
    )


def _working(found: Any) -> tuple[Step, ...]:
    """What is still to come of it; a lot whose first line was taken back has not come."""
    first = Movement.objects.filter(lot__delivery=found, seq=1, reversed_by__isnull=True).order_by("lot_id")
    return ledger.delivery_working(
        ordered_g=found.ordered_g,
        received_g=list(first.values_list("change_g", flat=True)),
        outstanding_g=found.outstanding_g,
    )


def _came(delivery: Delivery) -> Any:
    rows: Any = delivery.lots.that_came().with_balance()
    return rows.with_receipt().order_by("received_on", "pk")


def off_count(lot: Any, yarn: Yarn) -> str:
    """How far the count as measured lies from the count as bought: +1.5, with its sign."""
    if not lot.measured_tex:
        return ""
    return f"{100 * (lot.measured_tex / yarn.count_tex - 1):+.1f}".replace(".", written_now().decimal)


def _offered(request: HttpRequest) -> dict[str, Any]:
    """A new delivery begins with the yarn whose page one came from, and its supplier."""
    yarn = Yarn.objects.filter(code=request.GET.get("yarn", "")).first()
    return {"yarn": yarn.pk, "supplier": yarn.supplier_id} if yarn else {}


urlpatterns = [
    path("deliveries/", deliveries, name="deliveries"),
    path("deliveries/new/", delivery, name="delivery_new"),
    path("deliveries/new/foresight/", delivery_foresight, name="delivery_new_foresight"),
    path("deliveries/<int:pk>/", delivery, name="delivery"),
    path("deliveries/<int:pk>/foresight/", delivery_foresight, name="delivery_foresight"),
]
