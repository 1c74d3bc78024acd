"""Money: what a warp, a piece and an order line cost, planned beside actual; quotes."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from mill import worked_sheet
from mill.desk import room
from mill.listing import Column, listing
from mill.refusal import Refusal
from mill.templatetags.mill import day, num
from mill.working import Step
from planning.cost import places_of, steps_of
from planning.forms.money import DropQuoteForm, KeepQuoteForm, PlaceQuoteForm, QuoteFilter, QuoteForm
from planning.models import OrderLine, Piece, Quote, Warp
from planning.services import costing, quotes
from planning.services import promise as promises
from planning.services.costing import CostSheet
from planning.services.quotes import Asked, Figured, Said
from planning.ticket import work_out_cloth
from planning.views.promise import colourways_to_promise


def _cost(
    request: HttpRequest, called: str, title: str, work_out: Callable[[], CostSheet], *, back: str
) -> HttpResponse:
    """A cost sheet, or why there is none; or its working, to print."""
    context = {"title": title, "called": called, "back": back}
    try:
        sheet = work_out()
    except Refusal as refusal:
        return render(request, "planning/cost.html", {**context, "refusal": refusal.message})
    if worked_sheet.is_asked(request):
        parts = [
            worked_sheet.Part(_("As planned"), sheet.planned.working),
            worked_sheet.Part(
                _("As it went, %(n)s of %(all)s woven") % {"n": sheet.woven, "all": sheet.pieces}, sheet.actual.working
            ),
        ]
        notes = costing.notes_told(sheet.notes)
        return worked_sheet.sheet(request, title=title, back=request.path, parts=parts, notes=notes)
    told = {"missing": costing.missing_told(sheet.missing), "notes": costing.notes_told(sheet.notes)}
    return render(request, "planning/cost.html", {**context, **told, "sheet": sheet, "places": sheet.planned.places})


@require_GET
@room("warps")
def warp_cost(request: HttpRequest, number: int) -> HttpResponse:
    found = get_object_or_404(Warp, number=number)
    title = _("What warp %(number)s costs") % {"number": number}
    back = reverse("warp", args=[number])
    return _cost(request, found.called, title, lambda: costing.cost_of_warp(found), back=back)


@require_GET
@room("pieces")
def piece_cost(request: HttpRequest, number: str) -> HttpResponse:
    found = get_object_or_404(Piece.objects.select_related("warp"), number=number)
    back = reverse("piece", args=[number])
    called = _("Piece %(number)s") % {"number": found}
    title = _("What piece %(number)s costs") % {"number": found}
    return _cost(request, called, title, lambda: costing.cost_of_piece(found), back=back)


@require_GET
@room("orders")
def line_cost(request: HttpRequest, number: str, position: int) -> HttpResponse:
    rows = OrderLine.objects.select_related("order", "colourway__cloth")
    found = get_object_or_404(rows, order__number=number, position=position)
    back = f"{reverse('order', args=[number])}#line-{position}"
    called = _("Line %(n)s") % {"n": found}
    title = _("What line %(line)s costs") % {"line": found}
    return _cost(request, called, title, lambda: costing.cost_of_line(found), back=back)


# Quotes


def _money(value: Any, currency: str) -> str:
    return num(value, places_of(currency))


QUOTE_COLUMNS = [
    Column(
        gettext_lazy("Quote"),
        lambda q: q.number,
        "number",
        link=lambda q: reverse("quote", args=[q.number]),
        is_number=True,
    ),
    Column(gettext_lazy("For"), lambda q: q.customer.name if q.customer else "", "customer__name"),
    Column(gettext_lazy("Cloth"), lambda q: f"{q.colourway.cloth}, {q.colourway}", "colourway__cloth__code"),
    Column(gettext_lazy("Pieces"), lambda q: q.pieces, "pieces", is_number=True),
    Column(
        gettext_lazy("Length"), lambda q: q.length_m, "length_m", "m", shown=lambda q: num(q.length_m), is_number=True
    ),
    Column(
        gettext_lazy("A metre"), lambda q: q.per_m, "per_m", shown=lambda q: _money(q.per_m, q.currency), is_number=True
    ),
    Column(
        gettext_lazy("Price"), lambda q: q.price, "price", shown=lambda q: _money(q.price, q.currency), is_number=True
    ),
    Column(gettext_lazy("Currency"), lambda q: q.currency, "currency"),
    Column(gettext_lazy("Promised"), lambda q: q.promised_on, "promised_on", shown=lambda q: day(q.promised_on)),
    Column(gettext_lazy("Stands until"), lambda q: q.valid_until, "valid_until", shown=lambda q: day(q.valid_until)),
    Column(gettext_lazy("Stands"), lambda q: q.stands, shown=lambda q: _(q.stands)),
]


@require_GET
@room("orders")
def quotes_list(request: HttpRequest) -> HttpResponse:
    return listing(
        request,
        Quote.objects.select_related("customer", "colourway__cloth", "order").order_by("-number"),
        columns=QUOTE_COLUMNS,
        filterset=QuoteFilter,
        template="planning/quotes.html",
        name="quotes",
        title=_("Quotes"),
        extra={"when_empty": _("Nothing has been quoted yet.")},
    )


def _figured(form: QuoteForm) -> dict[str, Any]:
    """The quote that the form asks for, or why there is none."""
    if not form.is_bound or not form.is_valid():
        return {}
    try:
        figured = quotes.figure(Asked(**form.cleaned_data))
    except Refusal as refusal:
        return {"refusal": refusal.message}
    return {"figured": figured, **_of_figured(figured)}


@dataclass(frozen=True)
class Amount:
    """An amount of a quote; None while something of it has no price."""

    name: str
    label: str
    amount: Decimal | None


# What stands below the lines of a quote, each with its own step.
QUOTE_SUMS = ("total", "per_m", "per_kg", "price_per_m", "price", "margin")


def _worked_lines(lines: Iterable[Amount], working: Sequence[Step]) -> list[tuple[Amount, tuple[Step, ...]]]:
    """Each amount of a quote with the steps that led to it."""
    rows = [(line, steps_of(working, line.name)) for line in lines]
    for name in QUOTE_SUMS:
        if steps := steps_of(working, name):
            rows.append((Amount(name, steps[-1].label, Decimal(str(steps[-1].value))), steps))
    return rows


def _of_figured(figured: Figured) -> dict[str, Any]:
    lines = [Amount(line.name, line.label, line.amount) for line in figured.alone.cost.lines]
    return {
        "lines": _worked_lines(lines, figured.working),
        "sums": QUOTE_SUMS,
        "cost": figured.alone.cost,
        "missing": costing.missing_told(figured.alone.cost.missing),
        "notes": costing.notes_told(figured.alone.notes),
        "places": figured.alone.cost.places,
        "promise": figured.promise,
        "no_promise": figured.no_promise,
    }


def _keep_form(figured: Figured | None) -> KeepQuoteForm | None:
    """None while it can't be quoted."""
    if figured is None or figured.price is None or figured.promise is None:
        return None
    start = {
        "valid_until": timezone.localdate() + timedelta(days=quotes.STANDS_DAYS),
        "seen_price": figured.price.total,
        "key": uuid4().hex,
    }
    return KeepQuoteForm(initial=start)


@require_http_methods(["GET", "POST"])
@room("orders")
def quote_new(request: HttpRequest) -> HttpResponse:
    """GET works out what is asked in the address; POST to the same address keeps it."""
    form = QuoteForm(request.GET if "colourway" in request.GET else None, colourways=colourways_to_promise())
    told = _figured(form)
    keep: forms.Form | None = _keep_form(told.get("figured"))
    if request.method == "POST" and form.is_bound and form.is_valid():
        keep = KeepQuoteForm(request.POST)
        if keep.is_valid():
            said = dict(keep.cleaned_data)
            key = said.pop("key")
            try:
                kept = quotes.keep_quote(Asked(**form.cleaned_data), Said(**said), by=request.user, key=key)
            except Refusal as refusal:
                keep.add_error(refusal.field if refusal.field in keep.fields else None, refusal.message)
            else:
                messages.success(request, _("%(quote)s is kept.") % {"quote": kept.called})
                return redirect("quote", number=kept.number)
    context = {"title": _("A quote"), "form": form, "keep": keep, "asked_in": request.GET.urlencode(), **told}
    template = "planning/_quote.html" if request.headers.get("HX-Request") else "planning/quote_new.html"
    return render(request, template, context)


def _quote(number: int) -> Quote:
    rows = Quote.objects.select_related("customer", "colourway__cloth", "spec__cloth", "order", "by")
    return get_object_or_404(rows, number=number)


def _quote_context(found: Quote) -> dict[str, Any]:
    cost, pieces = found.figures, found.pieces
    lines = [Amount(line["name"], line["label"], Decimal(line["amount"])) for line in cost["lines"]]
    return {
        "lines": _worked_lines(lines, _working(found)),
        "sums": QUOTE_SUMS,
        "title": found.called,
        "quote": found,
        "sheet": cost,
        "notes": costing.notes_told(cost["notes"]),
        "chain": promises.links_told(cost["chain"]),
        "cautions": promises.cautions_told(cost["cautions"]),
        "places": places_of(found.currency),
        "finished_m": pieces * found.length_m,
        "revised": quotes.revised_since(found),
    }


def _working(found: Quote) -> list[Step]:
    """As it was when the quote was kept."""
    return [Step(**step) for step in found.figures["working"]]


@require_GET
@room("orders")
def quote(request: HttpRequest, number: int) -> HttpResponse:
    found = _quote(number)
    if worked_sheet.is_asked(request):
        parts = [worked_sheet.Part(_("Cost and price"), _working(found))]
        notes = costing.notes_told(found.figures["notes"])
        return worked_sheet.sheet(request, title=found.called, back=request.path, parts=parts, notes=notes)
    return _quote_page(request, found)


def _quote_page(request: HttpRequest, found: Quote, **wrong: forms.Form) -> HttpResponse:
    start = {"customer": found.customer, "due_on": max(found.promised_on, timezone.localdate())}
    context = {
        **_quote_context(found),
        "place_form": PlaceQuoteForm(initial=start),
        "drop_form": DropQuoteForm(),
        **wrong,
    }
    return render(request, "planning/quote.html", context, status=422 if wrong else 200)


@require_GET
@room("orders")
def quote_print(request: HttpRequest, number: int) -> HttpResponse:
    """The sheet that goes to the customer: no word of what it costs the mill."""
    found = _quote(number)
    figures = work_out_cloth(found.spec.as_cloth(found.colourway))
    return render(request, "planning/quote_print.html", {**_quote_context(found), "cloth": figures})


@require_POST
@room("orders")
def quote_place(request: HttpRequest, number: int) -> HttpResponse:
    found = _quote(number)
    form = PlaceQuoteForm(request.POST)
    if not form.is_valid():
        return _quote_page(request, found, place_form=form)
    try:
        order = quotes.place(found, by=request.user, **form.cleaned_data)
    except Refusal as refusal:
        form.add_error(refusal.field if refusal.field in form.fields else None, refusal.message)
        return _quote_page(request, found, place_form=form)
    messages.success(request, _("%(quote)s is ordered as %(order)s.") % {"quote": found.called, "order": order})
    return redirect("order", number=order.number)


@require_POST
@room("orders")
def quote_drop(request: HttpRequest, number: int) -> HttpResponse:
    found = _quote(number)
    form = DropQuoteForm(request.POST)
    if not form.is_valid():
        return _quote_page(request, found, drop_form=form)
    try:
        quotes.drop(found, by=request.user, **form.cleaned_data)
        messages.success(request, _("%(quote)s is dropped.") % {"quote": found.called})
    except Refusal as refusal:
        messages.error(request, refusal.message)
    return redirect("quote", number=number)


urlpatterns = [
    path("quotes/", quotes_list, name="quotes"),
    path("quotes/new/", quote_new, name="quote_new"),
    path("quotes/<int:number>/", quote, name="quote"),
    path("quotes/<int:number>/print/", quote_print, name="quote_print"),
    path("quotes/<int:number>/order/", quote_place, name="quote_place"),
    path("quotes/<int:number>/drop/", quote_drop, name="quote_drop"),
    path("warps/<int:number>/cost/", warp_cost, name="warp_cost"),
    path("pieces/<str:number>/cost/", piece_cost, name="piece_cost"),
    path("order/<str:number>/line/<int:position>/cost/", line_cost, name="line_cost"),
]
