from collections.abc import Mapping
from decimal import Decimal
from typing import Any

import django_filters
from django.contrib import messages
from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext
from django.views.decorators.http import require_GET, require_POST

from inventory import drawdown, services
from inventory.count_sheet import work_out_count
from inventory.curve import draw_curve
from inventory.forms import LatenessForm, YarnForm, said
from inventory.models import OutlookMark, Supplier, Yarn, YarnOutlook
from inventory.yarn import read_count
from mill import jobs, worked_sheet
from mill.desk import room
from mill.edits import Edit
from mill.listing import Column, listing, yes_or_no
from mill.refusal import Refusal
from mill.templatetags.mill import day, kg, num, swatch


class YarnFilter(django_filters.FilterSet):
    text = django_filters.CharFilter(label=gettext_lazy("Yarn or colour"), method="by_text")
    spinning = django_filters.ChoiceFilter(
        label=gettext_lazy("Spinning"), choices=said(Yarn.SPINNINGS), empty_label=gettext_lazy("any")
    )
    supplier = django_filters.ModelChoiceFilter(
        label=gettext_lazy("Supplier"), queryset=Supplier.objects.all(), empty_label=gettext_lazy("any")
    )
    short = yes_or_no(gettext_lazy("Runs short"), field_name="outlook__short_on", method="by_short")
    in_use = yes_or_no(gettext_lazy("In use"), field_name="is_in_use")

    class Meta:
        model = Yarn
        fields: list[str] = []

    def by_text(self, rows: QuerySet[Yarn], _name: str, value: str) -> QuerySet[Yarn]:
        return rows.filter(Q(code__icontains=value) | Q(name__icontains=value) | Q(count_as_bought__icontains=value))

    def by_short(self, rows: QuerySet[Yarn], name: str, value: bool) -> QuerySet[Yarn]:
        return rows.filter(**{f"{name}__isnull": not value})


def in_kg(grams: int | None) -> Decimal | None:
    """Grams as a list's CSV has them."""
    return None if grams is None else Decimal(grams) / 1000


def mass(label: Any, grams: str, *, order: str | None = None, places: int = 1) -> Column:
    """A column of kilograms, read from an attribute in grams."""

    def read(row: Any) -> int | None:
        for part in grams.split("."):
            row = getattr(row, part, None)
        return row

    return Column(
        label,
        lambda row: in_kg(read(row)),
        order or grams.replace(".", "__"),
        "kg",
        shown=lambda row: kg(read(row), places),
        is_number=True,
    )


def outlook_of(yarn: Yarn) -> YarnOutlook | None:
    return getattr(yarn, "outlook", None)


def short_on(yarn: Yarn) -> str:
    if yarn.is_marked:  # type: ignore[attr-defined]
        return _("being worked out")
    outlook = outlook_of(yarn)
    if outlook is None or outlook.short_on is None:
        return "–"
    # One line each: a list is read down its columns.
    return f"{day(outlook.short_on)}, {kg(outlook.short_g)} kg".replace(" ", "\u00a0")


def named_swatch(yarn: Yarn) -> SafeString:
    return format_html("{} {}", swatch(yarn.colour, yarn.name), yarn.name)


def yarn_columns() -> list[Column]:
    return [
        Column(_("Yarn"), lambda y: y.code, "code", link=lambda y: reverse("yarn_one", args=[y.code])),
        Column(_("Colour"), lambda y: y.name, "name", shown=named_swatch),
        Column(_("Count"), lambda y: y.count_as_bought),
        Column(_("Tex"), lambda y: y.count_tex, "count_tex", shown=lambda y: num(y.count_tex, 1), is_number=True),
        mass(_("On hand"), "outlook.on_hand_g"),
        mass(pgettext("yarn", "Held"), "outlook.held_g"),
        mass(_("Free"), "free_g"),
        mass(_("Incoming"), "outlook.incoming_g"),
        Column(
            _("Short on"), lambda y: o.short_on if (o := outlook_of(y)) else None, "outlook__short_on", shown=short_on
        ),
        Column(
            _("Order by"),
            lambda y: o.order_by if (o := outlook_of(y)) else None,
            "outlook__order_by",
            shown=lambda y: day(o.order_by).replace(" ", "\u00a0") if (o := outlook_of(y)) else "–",
        ),
        Column(_("Supplier"), lambda y: y.supplier.code if y.supplier else None, "supplier__code"),
    ]


@require_GET
@room("yarn")
def yarns(request: HttpRequest) -> HttpResponse:
    services.notice_the_day()
    rows = Yarn.objects.select_related("outlook", "supplier").annotate(
        free_g=F("outlook__on_hand_g") - F("outlook__held_g"),
        is_marked=Exists(OutlookMark.objects.filter(yarn=OuterRef("pk"))),
    )
    return listing(
        request,
        rows,
        columns=yarn_columns(),
        filterset=YarnFilter,
        template="inventory/yarns.html",
        name="yarns",
        title=_("Yarn"),
        extra={
            "n_short": YarnOutlook.objects.filter(short_on__isnull=False).count(),
            "n_pending": services.being_worked_out(),
            "n_yarns": Yarn.objects.count(),
            "when_empty": _("No yarn has been written down yet."),
        },
        row_class=lambda y: "short" if (o := outlook_of(y)) and o.short_on else "",
    )


def outlook_facts(yarn: Yarn, asked: Mapping[str, Any]) -> dict[str, Any]:
    """The draw-down of a yarn as it stands now, or with deliveries late by what is asked; written nowhere."""
    form = LatenessForm(asked if "late_by_days" in asked else None)
    late_by_days = form.asked_days
    ahead, today = services.ahead_of([yarn.pk])[yarn.pk], timezone.localdate()
    sheet = ahead.work_out(today, late_by_days=late_by_days)
    return {
        "yarn": yarn,
        "ahead": ahead,
        "incoming_g": sum(grams for _, grams, _ in ahead.deliveries),
        "free_g": ahead.on_hand_g - ahead.held_g,
        "worked": sheet,
        "steps": drawdown.working(
            sheet,
            on_hand_g=ahead.on_hand_g,
            held_g=ahead.held_g,
            lead_time_days=ahead.lead_time_days,
            min_order_g=ahead.min_order_g,
        ),
        "curve": draw_curve(sheet.days),
        "lateness": form,
        "late_by_days": late_by_days,
        "is_order_late": sheet.order_by is not None and sheet.order_by < today,
        "is_pending": services.is_being_worked_out(yarn)
        or jobs.is_pending(services.YARN_CHANGED, services.DEMANDS_REWORKED),
    }


@require_GET
@room("yarn")
def yarn_one(request: HttpRequest, code: str) -> HttpResponse:
    yarn = get_object_or_404(Yarn.objects.select_related("supplier"), code=code)
    if worked_sheet.is_asked(request):
        parts = [worked_sheet.Part(_("Draw-down"), outlook_facts(yarn, request.GET)["steps"])]
        return worked_sheet.sheet(request, title=str(yarn), back=request.path, parts=parts)
    lots = yarn.lots.with_balance().filter(on_hand_g__gt=0).select_related("place").order_by("received_on", "label")
    return render(
        request,
        "inventory/yarn.html",
        {
            "title": str(yarn),
            **outlook_facts(yarn, request.GET),
            "shares": yarn.shares.select_related("fibre").order_by("-share_pct", "fibre__name"),
            "lots": lots,
            "barred_g": sum(lot.on_hand_g for lot in lots if lot.is_quarantined or not lot.is_shade_approved),
            "used_up": yarn.lots.count() - len(lots),
            "deliveries": yarn.deliveries.open().select_related("supplier"),
            "demands": yarn.demands.all(),
        },
    )


@require_GET
def yarn_outlook(request: HttpRequest, code: str) -> HttpResponse:
    """The draw-down alone, for the page to put in its place."""
    yarn = get_object_or_404(Yarn.objects.select_related("supplier"), code=code)
    return render(request, "inventory/_outlook.html", outlook_facts(yarn, request.GET))


def count_facts(text: str) -> dict[str, Any]:
    """A count worked to tex as it is typed, or why it can't be."""
    if not text.strip():
        return {}
    try:
        count_tex, working = work_out_count(read_count(text))
    except Refusal as refusal:
        return {"refusal": refusal.message}
    return {"count_tex": count_tex, "steps": working.steps}


@require_POST
def yarn_count(request: HttpRequest) -> HttpResponse:
    return render(request, "inventory/_count.html", count_facts(request.POST.get("count_as_bought", "")))


@room("yarn")
def yarn_edit(request: HttpRequest, code: str | None = None) -> HttpResponse:
    yarn = get_object_or_404(Yarn, code=code) if code else None
    is_look = request.POST.get("act") == "look"
    edit = Edit(request, yarn, lambda data, row: YarnForm(data, instance=row), is_write=not is_look)

    def write(form: YarnForm, seen: str | None) -> Yarn:
        changed, shares = form.changed(), form.shares
        return services.write_yarn(
            yarn=form.instance, changed=changed, shares=shares, by=request.user, key=form.said_key, seen=seen
        )

    if edit.is_valid() and edit.is_written(write):
        messages.success(request, _("%(record)s is written down.") % {"record": edit.written})
        return redirect("yarn_one", code=edit.written.code)
    form = edit.form
    typed = form["count_as_bought"].value() or ""
    return render(
        request,
        "inventory/yarn_form.html",
        {
            "title": _("Yarn %(code)s") % {"code": code} if code else _("A new yarn"),
            "edit": edit,
            "form": form,
            "back": reverse("yarn_one", args=[code]) if code else reverse("yarn"),
            **count_facts(str(typed)),
        },
    )


urlpatterns = [
    path("yarn/", yarns, name="yarn"),
    path("yarn/new/", yarn_edit, name="yarn_new"),
    path("yarn/count/", yarn_count, name="yarn_count"),
    path("yarns/<path:code>/edit/", yarn_edit, name="yarn_edit"),
    path("yarns/<path:code>/outlook/", yarn_outlook, name="yarn_outlook"),
    path("yarns/<path:code>/", yarn_one, name="yarn_one"),
]
