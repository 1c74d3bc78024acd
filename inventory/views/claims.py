from collections.abc import Callable
from typing import Any

import django_filters
from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext
from django.views.decorators.http import require_GET, require_POST

from inventory import services
from inventory.claim import at_agreed
from inventory.forms import AnswerForm, ClaimForm, DropForm, SentForm, said
from inventory.models import Claim, Delivery
from inventory.views import is_written
from inventory.views.yarns import mass
from mill import said_working
from mill.desk import room
from mill.listing import Column, listing
from mill.refusal import Refusal
from mill.templatetags.mill import day, kg


class ClaimFilter(django_filters.FilterSet):
    state = django_filters.ChoiceFilter(
        label=gettext_lazy("State"), choices=said(Claim.STATES), empty_label=gettext_lazy("any")
    )

    class Meta:
        model = Claim
        fields: list[str] = []


def _supplier(claim: Claim) -> str:
    return str(claim.delivery.supplier or claim.delivery.yarn.supplier or "")


@require_GET
@room("yarn")
def claims(request: HttpRequest) -> HttpResponse:
    columns = [
        Column(_("Claim"), lambda r: r.number, "number", link=lambda r: reverse("claim", args=[r.number])),
        Column(
            _("Delivery"),
            lambda r: r.delivery.number,
            "delivery__number",
            link=lambda r: reverse("delivery", args=[r.delivery_id]),
        ),
        Column(_("Yarn"), lambda r: str(r.delivery.yarn), "delivery__yarn__code"),
        Column(_("Supplier"), _supplier, "delivery__supplier__name"),
        mass(_("Invoiced"), "invoiced_g", places=3),
        mass(_("Came"), "due_g", places=3),
        mass(pgettext("mass", "Short"), "short_g", places=3),
        Column(pgettext("claim", "Made"), lambda r: r.made_on, "made_on", shown=lambda r: day(r.made_on)),
        Column(_("State"), lambda r: r.said, "state"),
    ]
    rows = Claim.objects.select_related("delivery__yarn__supplier", "delivery__supplier")
    return listing(
        request,
        rows.order_by("-number"),
        columns=columns,
        filterset=ClaimFilter,
        template="inventory/claims.html",
        name="claims",
        title=_("Claims"),
        extra={"when_empty": _("Nothing has been claimed. A claim begins on the page of a delivery.")},
    )


def _delivery(pk: int) -> Any:
    return get_object_or_404(Delivery.objects.select_related("yarn__supplier", "supplier").with_received(), pk=pk)


def _form(request: HttpRequest, delivery: Any) -> ClaimForm:
    lots = delivery.lots.that_came().with_receipt().order_by("received_on", "label")
    return ClaimForm(request.POST or None, lots=lots, initial={"invoiced_g": delivery.ordered_g})


def sum_facts(form: ClaimForm, delivery: Delivery) -> dict[str, Any]:
    """The claim as it is filled in, worked; or why there is none."""
    if not form.is_bound:
        return {}
    form.is_valid()
    if not form.cleaned_data.get("invoiced_g"):
        return {}
    try:
        figures, working = services.weigh_claim(
            delivery, invoiced_g=form.cleaned_data["invoiced_g"], weighed=form.weighed
        )
    except Refusal as refusal:
        return {"refusal": refusal.message}
    return {"figures": figures, "steps": working.steps}


@require_POST
@room("yarn")
def claim_sum(request: HttpRequest, pk: int) -> HttpResponse:
    delivery = _delivery(pk)
    return render(request, "inventory/_claim_sum.html", sum_facts(_form(request, delivery), delivery))


@room("yarn")
def claim_new(request: HttpRequest, pk: int) -> HttpResponse:
    delivery = _delivery(pk)
    form = _form(request, delivery)
    is_look = request.POST.get("act") == "look"
    if form.is_bound and not is_look and form.is_valid():
        told, rows = form.cleaned_data, []

        def write() -> None:
            rows.append(
                services.make_claim(
                    delivery=delivery,
                    invoiced_g=told["invoiced_g"],
                    weighed=form.weighed,
                    invoice=told["invoice"],
                    note=told["note"],
                    by=request.user,
                    key=told["key"],
                )
            )

        if is_written(form, write):
            facts = {"claim": rows[0].called, "mass": kg(rows[0].short_g, 3), "delivery": delivery}
            messages.success(request, _("%(claim)s: %(mass)s kg short of delivery %(delivery)s.") % facts)
            return redirect("claim", number=rows[0].number)
    return render(
        request,
        "inventory/claim_form.html",
        {
            "title": _("Short weight of delivery %(delivery)s") % {"delivery": delivery},
            "delivery": delivery,
            "form": form,
            "is_look": is_look,
            "before": delivery.claims.all(),
            **sum_facts(form, delivery),
        },
    )


def _claim(number: int) -> Claim:
    rows = Claim.objects.select_related("delivery__yarn__supplier", "delivery__supplier", "by")
    return get_object_or_404(rows, number=number)


def _acts(claim: Claim) -> dict[str, tuple[str, str, type[forms.Form], Callable[..., Claim]]]:
    """What can be said of a claim as it stands: heading, button, form, verb."""
    sent = (_("It has gone to the supplier"), _("It is sent"), SentForm, services.send_claim)
    answered = (_("The supplier answers"), _("Write the answer"), AnswerForm, services.answer_claim)
    dropped = (_("Drop it"), _("Drop the claim"), DropForm, services.drop_claim)
    if claim.state == Claim.WRITTEN:
        return {"sent": sent, "answered": answered, "dropped": dropped}
    return {"answered": answered, "dropped": dropped} if claim.state == Claim.SENT else {}


@room("yarn")
def claim(request: HttpRequest, number: int) -> HttpResponse:
    found = _claim(number)
    acts, asked = _acts(found), request.POST.get("act", "")
    built = {
        name: form_of(request.POST if name == asked else None, auto_id=f"{name}_%s")
        for name, (_title, _button, form_of, _verb) in acts.items()
    }
    if asked in built and built[asked].is_valid():
        verb, told = acts[asked][3], built[asked].cleaned_data
        if is_written(built[asked], lambda: verb(claim=found, by=request.user, **told)):
            facts = {"claim": found.called, "state": _claim(number).said}
            messages.success(request, _("%(claim)s is %(state)s.") % facts)
            return redirect("claim", number=number)
    return render(
        request,
        "inventory/claim.html",
        {
            "title": found.called,
            "claim": found,
            "supplier": _supplier(found),
            "lots": found.lots.select_related("lot"),
            "acts": [
                {"name": name, "title": title, "button": button, "form": built[name], "is_open": name == asked}
                for name, (title, button, _form, _verb) in acts.items()
            ],
        },
    )


@require_GET
@room("yarn")
def claim_print(request: HttpRequest, number: int) -> HttpResponse:
    """The claim on one A4, for the supplier."""
    found = _claim(number)
    step_of = {step["label"]: step for step in found.steps}
    return render(
        request,
        "inventory/claim_print.html",
        {
            "title": found.called,
            "claim": found,
            "supplier": _supplier(found),
            # Each lot's sum beside it, each rule once: a claim of a dozen lots stays on one sheet.
            "lots": [
                (row, said_working.said(step_of[at_agreed(row.lot.label)])) for row in found.lots.select_related("lot")
            ],
            "together": found.steps[-2:],
            "rules": dict.fromkeys(
                (step.formula, step.source) for step in map(said_working.said, found.steps) if "dry" not in step.name
            ),
        },
    )


urlpatterns = [
    path("claims/", claims, name="claims"),
    path("deliveries/<int:pk>/claim/", claim_new, name="claim_new"),
    path("deliveries/<int:pk>/claim/sum/", claim_sum, name="claim_sum"),
    path("claims/<int:number>/", claim, name="claim"),
    path("claims/<int:number>/print/", claim_print, name="claim_print"),
]
