from uuid import uuid4

from django.contrib import messages
from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from mill.desk import room
from mill.listing import Column, listing
from mill.refusal import Refusal
from mill.templatetags.mill import day
from planning.forms.pieces import DispatchForm
from planning.models import Customer, Dispatch, Piece
from planning.services import dispatch as services
from planning.services.pieces import delivery_of, grade_of, is_woven, limit_of

COLUMNS = [
    Column(
        gettext_lazy("Dispatch"),
        lambda d: d.number,
        "number",
        link=lambda d: reverse("dispatch", args=[d.number]),
        is_number=True,
    ),
    Column(gettext_lazy("Customer"), lambda d: d.customer.name, "customer__name"),
    Column(gettext_lazy("Sent"), lambda d: d.sent_on, "sent_on", shown=lambda d: day(d.sent_on)),
    Column(gettext_lazy("Pieces"), lambda d: d.n_pieces, "n_pieces", is_number=True),
    Column(gettext_lazy("Taken back"), lambda d: d.taken_back_why),
]


@require_GET
@room("pieces")
def dispatches(request: HttpRequest) -> HttpResponse:
    rows = Dispatch.objects.select_related("customer").annotate(n_pieces=Count("pieces")).order_by("-number")
    ready = Customer.objects.annotate(
        n_ready=Count(
            "orders__lines__woven_pieces", filter=Q(orders__lines__woven_pieces__state=Piece.READY), distinct=True
        )
    ).filter(n_ready__gt=0)
    return listing(
        request,
        rows,
        columns=COLUMNS,
        name="dispatches",
        title=_("Dispatch"),
        template="planning/dispatches.html",
        extra={"ready": ready, "when_empty": _("Nothing has been sent yet.")},
    )


@require_http_methods(["GET", "POST"])
@room("pieces")
def dispatch_new(request: HttpRequest, code: str) -> HttpResponse:
    customer = get_object_or_404(Customer, code=code)
    rows = services.ready_for(customer)
    form = DispatchForm(
        request.POST or None,
        initial={"key": uuid4().hex, "pieces": [piece.pk for piece in rows]},
    )
    if request.method == "POST" and form.is_valid():
        try:
            sent = services.send(
                customer,
                list(form.cleaned_data["pieces"]),
                sent_on=form.cleaned_data["sent_on"],
                note=form.cleaned_data["note"],
                key=form.cleaned_data["key"],
                by=request.user,
            )
        except Refusal as refusal:
            form.add_error(refusal.field if refusal.field in form.fields else None, refusal.message)
        else:
            n = sent.pieces.count()
            form_of_it = ngettext(
                "%(dispatch)s: %(n)s piece for %(customer)s.", "%(dispatch)s: %(n)s pieces for %(customer)s.", n
            )
            messages.success(request, form_of_it % {"dispatch": sent.called, "n": n, "customer": customer})
            return redirect("dispatch", number=sent.number)
    chosen = {str(pk) for pk in form["pieces"].value() or []}
    lines = {piece.line_id: piece.line for piece in rows if piece.line}
    limit = limit_of(customer)
    return render(
        request,
        "planning/dispatch_new.html",
        {
            "title": _("Send to %(customer)s") % {"customer": customer},
            "customer": customer,
            "form": form,
            "rows": [
                {
                    "piece": piece,
                    "is_chosen": str(piece.pk) in chosen,
                    "grade": grade_of(piece, limit_per_100_yd2=limit.per_100_yd2),
                }
                for piece in rows
            ],
            "limit": limit,
            "lines": [
                {"line": line, "delivery": delivery_of(line), "is_woven": is_woven(line)} for line in lines.values()
            ],
        },
        status=422 if request.method == "POST" else 200,
    )


def _dispatch(number: int) -> Dispatch:
    return get_object_or_404(Dispatch.objects.select_related("customer", "by"), number=number)


def _page(request: HttpRequest, number: int, template: str) -> HttpResponse:
    found = _dispatch(number)
    lines = services.lines_on(found)
    rows = [going.row for line in lines for going in line.pieces]
    grade = next((going.grade for line in lines for going in line.pieces if going.grade), None)
    return render(
        request,
        template,
        {
            "title": found.called,
            "dispatch": found,
            "lines": lines,
            "n_pieces": len(rows),
            "length_m": sum(row.length_m for row in rows),
            "mass_g": sum(row.mass_g or 0 for row in rows),
            "is_weighed": all(row.mass_g for row in rows),
            "limit_per_100_m2": grade.limit_per_100_m2 if grade else None,
        },
    )


@require_GET
@room("pieces")
def dispatch(request: HttpRequest, number: int) -> HttpResponse:
    return _page(request, number, "planning/dispatch.html")


@require_GET
@room("pieces")
def dispatch_print(request: HttpRequest, number: int) -> HttpResponse:
    return _page(request, number, "planning/dispatch_print.html")


@require_POST
@room("pieces")
def dispatch_back(request: HttpRequest, number: int) -> HttpResponse:
    found = _dispatch(number)
    try:
        services.take_back(found, why=request.POST.get("why", ""), by=request.user)
        said = _("%(dispatch)s is taken back; its pieces are ready again.") % {"dispatch": found.called}
        messages.success(request, said)
    except Refusal as refusal:
        messages.error(request, refusal.message)
    return redirect("dispatch", number=number)


urlpatterns = [
    path("dispatch/", dispatches, name="dispatches"),
    path("dispatch/new/<str:code>/", dispatch_new, name="dispatch_new"),
    path("dispatch/<int:number>/", dispatch, name="dispatch"),
    path("dispatch/<int:number>/print/", dispatch_print, name="dispatch_print"),
    path("dispatch/<int:number>/back/", dispatch_back, name="dispatch_back"),
]
