from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, cast

import django_filters
from django import forms
from django.contrib import messages
from django.db.models import Count, Exists, OuterRef, Prefetch, Q, QuerySet
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from mill.desk import room
from mill.edits import Edit
from mill.fields import DayInput, whole
from mill.listing import Column, listing
from mill.refusal import Refusal
from mill.retold import retold
from mill.templatetags.mill import day, num, one_line
from planning.forms.orders import (
    BaseLineFormSet,
    CustomerForm,
    LineForm,
    LineFormSet,
    OrderForm,
    one_more_line,
)
from planning.models import (
    LINE_CHANGED,
    Cloth,
    Colourway,
    Customer,
    JobTicket,
    Order,
    OrderLine,
    PlanRun,
    Slot,
    Warp,
    WarpPart,
)
from planning.services import line_figures, line_foresight, line_plans, orders, warps
from planning.services.line_states import free_pieces
from planning.services.orders import LineDraft

LINES_SHOWN = 40

# The list: one row a line, since cloth, due date and state are the line's own


def in_force() -> QuerySet[Slot]:
    """Of warps that are still to be woven out: of the others a plan has no more to say."""
    return Slot.objects.filter(run__state=PlanRun.IN_FORCE).exclude(warp__state=Warp.WOVEN_OUT)


def with_plan(rows: QuerySet[OrderLine]) -> QuerySet[OrderLine]:
    """Lines with their warps, the warps' slots in the plan in force, and whether one of these is late."""
    late = in_force().filter(warp__parts__line=OuterRef("pk"), late_min__gt=0)
    slots = Prefetch("warp__slots", in_force().select_related("loom"), to_attr="slots_in_force")
    parts = WarpPart.objects.select_related("warp__loom").prefetch_related(slots).order_by("warp__number")
    return (
        rows.select_related("order__customer", "cloth", "colourway")
        .annotate(is_on_a_late_warp=Exists(late))
        .prefetch_related(Prefetch("parts", parts))
    )


def of_lines(text: str, line: str = "") -> Q:
    """Lines of the orders with this in their number; of "1041/2" that line alone, as lists write it.

    line    the way to the line from what is filtered: line__
    """
    number, _stroke, position = text.strip().rpartition("/")
    if number and position.isascii() and position.isdecimal() and len(position) < 9:
        return Q(**{f"{line}order__number__iexact": number, f"{line}position": int(position)})
    return Q(**{f"{line}order__number__icontains": text})


class LineFilter(django_filters.FilterSet):
    """Without a state chosen it shows what is open."""

    text = django_filters.CharFilter(label=gettext_lazy("Order, customer or note"), method="by_text")
    customer = django_filters.ModelChoiceFilter(
        field_name="order__customer",
        queryset=Customer.objects.all(),
        label=gettext_lazy("Customer"),
        empty_label=gettext_lazy("any"),
    )
    cloth = django_filters.ModelChoiceFilter(
        queryset=Cloth.objects.all(), label=gettext_lazy("Cloth"), empty_label=gettext_lazy("any")
    )
    state = django_filters.ChoiceFilter(
        label=gettext_lazy("State"),
        choices=[("all", gettext_lazy("all")), *((state, gettext_lazy(state)) for state, _said in OrderLine.STATES)],
        empty_label=gettext_lazy("open"),
        method="by_state",
    )
    due_before = django_filters.DateFilter(
        field_name="due_on", lookup_expr="lte", label=gettext_lazy("Due by"), widget=DayInput()
    )
    late = django_filters.BooleanFilter(label=gettext_lazy("Late"), method="by_late", widget=forms.CheckboxInput)

    class Meta:
        model = OrderLine
        fields: list[str] = []

    def filter_queryset(self, queryset: QuerySet[OrderLine]) -> QuerySet[OrderLine]:
        found = super().filter_queryset(queryset)
        return found if self.form.cleaned_data.get("state") else found.filter(pk__in=OrderLine.objects.open())

    def by_text(self, rows: QuerySet[OrderLine], _name: str, value: str) -> QuerySet[OrderLine]:
        return rows.filter(
            of_lines(value)
            | Q(order__reference__icontains=value)
            | Q(order__customer__name__icontains=value)
            | Q(note__icontains=value)
        )

    def by_state(self, rows: QuerySet[OrderLine], _name: str, value: str) -> QuerySet[OrderLine]:
        return rows if value == "all" else rows.filter(state=value)

    def by_late(self, rows: QuerySet[OrderLine], _name: str, value: bool) -> QuerySet[OrderLine]:
        return rows.filter(pk__in=OrderLine.objects.open()).filter(is_late()) if value else rows


def is_late() -> Q:
    """Overdue and not ready, or on a warp that the plan in force has late. Of rows from with_plan()."""
    overdue = Q(due_on__lt=timezone.localdate()) & ~Q(state=OrderLine.READY)
    return overdue | Q(is_on_a_late_warp=True)


def late_said(line: OrderLine) -> str:
    """Why a line of the list counts as late; "" when it doesn't."""
    if line.state in (OrderLine.SENT, OrderLine.CALLED_OFF):
        return ""
    days = (timezone.localdate() - line.due_on).days
    if days > 0 and line.state != OrderLine.READY:
        return ngettext("%(n)s day overdue", "%(n)s days overdue", days) % {"n": days}
    return _("warp late") if line.is_on_a_late_warp else ""  # type: ignore[attr-defined]


def _warps_of(line: OrderLine) -> str:
    return ", ".join(str(part.warp.number) for part in line.parts.all())


def _loom_of(line: OrderLine) -> str:
    codes = [
        part.warp.loom.code if part.warp.loom else slot.loom.code
        for part in line.parts.all()
        for slot in (part.warp.slots_in_force[:1] or [None])  # type: ignore[attr-defined]
        if part.warp.loom or slot
    ]
    return ", ".join(dict.fromkeys(codes))


def _out_on(line: OrderLine) -> Any:
    stops = [slot.weaving_stops_at for part in line.parts.all() for slot in part.warp.slots_in_force]  # type: ignore[attr-defined]
    return max(stops, default=None) or max(
        (part.warp.woven_out_on for part in line.parts.all() if part.warp.woven_out_on), default=None
    )


LINE_COLUMNS = [
    Column(gettext_lazy("Line"), str, "order__number", link=lambda n: order_address(n)),
    Column(gettext_lazy("Customer"), lambda n: n.order.customer.name, "order__customer__name"),
    Column(gettext_lazy("Their number"), lambda n: n.order.reference),
    Column(
        gettext_lazy("Cloth"),
        lambda n: str(n.cloth),
        "cloth__code",
        shown=lambda n: n.cloth.code,
        link=lambda n: reverse("cloth", args=[n.cloth.code]),
    ),
    Column(gettext_lazy("Colourway"), lambda n: n.colourway.name, "colourway__name"),
    Column(gettext_lazy("Pieces"), lambda n: n.pieces, "pieces", is_number=True),
    Column(
        gettext_lazy("Length"), lambda n: n.length_m, "length_m", "m", shown=lambda n: num(n.length_m), is_number=True
    ),
    Column(gettext_lazy("Due"), lambda n: n.due_on, "due_on", shown=lambda n: day(n.due_on)),
    Column(gettext_lazy("Weight"), lambda n: n.weight, "weight", is_number=True),
    Column(gettext_lazy("State"), lambda n: n.state, "state", shown=lambda n: one_line(_(n.state))),
    Column(gettext_lazy("Warp"), _warps_of),
    Column(gettext_lazy("Loom"), _loom_of, shown=lambda n: _loom_of(n) or None),
    Column(gettext_lazy("Warp out"), _out_on, shown=lambda n: day(_out_on(n))),
    Column(gettext_lazy("Late"), late_said, shown=lambda n: one_line(late_said(n))),
]


def order_address(line: OrderLine) -> str:
    return f"{reverse('order', args=[line.order.number])}#line-{line.position}"


@require_GET
@room("orders")
def orders_list(request: HttpRequest) -> HttpResponse:
    return listing(
        request,
        with_plan(OrderLine.objects.order_by("due_on", "pk")),
        columns=LINE_COLUMNS,
        filterset=LineFilter,
        template="planning/orders.html",
        name="order-lines",
        title=_("Orders"),
        extra={"when_empty": _("Nothing is on order. Place an order, or bring the order book in as CSV.")},
        row_class=lambda n: "late" if late_said(n) else "",
    )


# An order


@require_GET
@room("orders")
def order(request: HttpRequest, number: str) -> HttpResponse:
    found = get_object_or_404(Order.objects.select_related("customer"), number=number)
    lines = list(
        found.lines.select_related("cloth", "colourway")
        .prefetch_related("woven_pieces__spec", "woven_pieces__warp")
        .order_by("position")
    )
    plans = line_plans.plans_of(line.pk for line in lines)
    free = free_pieces(lines)
    on = {plan.warp.pk for parts in plans.values() for plan in parts}
    tickets = JobTicket.objects.filter(warp__in=on).select_related("warp").defer("figures", "extras")
    return render(
        request,
        "planning/order.html",
        {
            "title": _("Order %(order)s") % {"order": found},
            "order": found,
            "lines": [_line_seen(line, plans[line.pk], free[line.pk]) for line in lines],
            "tickets": tickets.order_by("-number"),
            "is_being_worked_out": warps.is_being_worked_out(on),
        },
    )


def _line_seen(line: OrderLine, parts: Sequence[line_plans.PartPlan], free: int) -> dict[str, Any]:
    ready = [plan.ready_on for plan in parts if plan.ready_on]
    is_open = line.state not in (OrderLine.SENT, OrderLine.CALLED_OFF)
    overdue = (timezone.localdate() - line.due_on).days if is_open and line.state != OrderLine.READY else 0
    return {
        "line": line,
        "parts": parts,
        "free": free if is_open else 0,
        "ready_on": max(ready, default=None),
        # Of what is woven out the plan says nothing any more.
        "is_planned": not free and all(plan.ready_on or plan.warp.state == Warp.WOVEN_OUT for plan in parts),
        "late_days": max((plan.late_days for plan in parts), default=0),
        "overdue_days": max(0, overdue),
        "is_open": is_open,
        "pieces": sorted(line.woven_pieces.all(), key=lambda piece: piece.number),
    }


@room("orders")
@require_http_methods(["GET", "POST"])
def order_new(request: HttpRequest) -> HttpResponse:
    colourways = list(orders.orderable_colourways())
    if request.method == "GET":
        customer = Customer.objects.filter(code=request.GET.get("customer", "")).first()
        start = {"number": orders.next_number(), "placed_on": timezone.localdate(), "customer": customer}
        return _order_form(request, OrderForm(initial=start), _lines(None, colourways))
    if "more" in request.POST:
        data = one_more_line(request.POST)
        return _order_form(request, OrderForm(data), _lines(data, colourways), asks=True)
    form, lines = OrderForm(request.POST), _lines(request.POST, colourways)
    if "show" in request.POST:
        return _order_form(request, form, lines, asks=True)
    if form.is_valid() and lines.is_valid():
        said = form.cleaned_data
        try:
            placed = orders.place_order(
                customer=said["customer"],
                placed_on=said["placed_on"],
                number=said["number"],
                reference=said["reference"],
                note=said["note"],
                lines=[LineDraft(**one.cleaned_data) for one in lines.said],
                by=request.user,
            )
        except Refusal as refusal:
            _beside(refusal, form, lines.said)
        else:
            messages.success(request, _("Order %(order)s is placed.") % {"order": placed})
            return redirect("order", number=placed.number)
    return _order_form(request, form, lines)


def _lines(data: QueryDict | None, colourways: list[Colourway]) -> BaseLineFormSet:
    return cast(BaseLineFormSet, LineFormSet(data, form_kwargs={"colourways": colourways}, prefix="lines"))


def _order_form(request: HttpRequest, form: OrderForm, lines: BaseLineFormSet, *, asks: bool = False) -> HttpResponse:
    """The form of a new order with the figures of what is written so far. `asks`: only unfinished, not wrong."""
    return render(
        request,
        "planning/order_form.html",
        {
            "title": _("A new order"),
            "form": form,
            "lines": lines,
            "asks": asks,
            "has_customers": Customer.objects.exists(),
            "has_cloths": bool(lines.form_kwargs["colourways"]),
            **_foreseen(_figures_of(lines.forms) if lines.is_bound else []),
        },
    )


def _beside(refusal: Refusal, form: forms.BaseForm, lines: Sequence[LineForm] = ()) -> None:
    """A refusal stands beside the field it is about: of the form, or with `lines.2.pieces` of a line."""
    field = refusal.field or ""
    if field.startswith("lines."):
        _stem, n, name = field.split(".")
        lines[int(n)].add_error(name, refusal.message)
    else:
        form.add_error(field if field in form.fields else None, refusal.message)


# Figures while typing


def _figures_of(lines: Sequence[LineForm]) -> list[dict[str, Any]]:
    """What each line takes that is whole; lines in which nothing is written are left out."""
    begun = [(n, form) for n, form in enumerate(lines, start=1) if form.has_changed()]
    drafts = [LineDraft(**form.cleaned_data) if form.is_valid() else None for _n, form in begun]
    found = line_figures.what_lines_take(drafts)
    return [
        {
            "n": n,
            "form": form,
            "draft": draft,
            "takes": takes,
            "uses": line_figures.by_use(takes.yarns) if takes else {},
        }
        for (n, form), draft, takes in zip(begun, drafts, found, strict=True)
    ]


def _foreseen(seen: list[dict[str, Any]], line: OrderLine | None = None) -> dict[str, Any]:
    """What is seen of the lines, and what they would do to yarn: new ones, or `line` as it would be."""
    whole = [one for one in seen if one["draft"] and one["takes"]]
    if not whole:
        return {"seen": seen}
    if line is not None:
        draft = whole[0]["draft"]
        foreseen = line_foresight.foresee_line(line, draft)
        return {"seen": seen, "foreseen": foreseen, "changes": line, **_effects(line, draft)}
    named = [(_("line %(n)s of this order") % {"n": one["n"]}, one["draft"], one["takes"]) for one in whole]
    return {"seen": seen, "foreseen": line_foresight.foresee_lines(named)}


def _effects(line: OrderLine, draft: LineDraft) -> dict[str, Any]:
    """What a changed line does to days, hours and tickets, or why that can't be told."""
    try:
        return {"effects": line_foresight.effects_of_line(line, draft)}
    except Refusal as refusal:
        return {"effects_refused": refusal.message}


@require_POST
@room("orders")
def order_figures(request: HttpRequest) -> HttpResponse:
    """What the lines typed so far take: the same part of the page, alone. Writes nothing."""
    colourways = list(orders.orderable_colourways())
    if "lines-TOTAL_FORMS" in request.POST:
        lines = _lines(request.POST, colourways)
        forms_: Sequence[LineForm] = lines.forms if lines.management_form.is_valid() else []
    else:
        forms_ = [LineForm(request.POST, colourways=colourways)]
    number, _slash, position = request.POST.get("of", "").rpartition("/")
    line = _line(number, at) if (at := whole(position)) is not None else None
    return render(request, "planning/_order_figures.html", _foreseen(_figures_of(forms_), line))


@room("orders")
@require_http_methods(["GET", "POST"])
def order_edit(request: HttpRequest, number: str) -> HttpResponse:
    found = get_object_or_404(Order, number=number)
    edit = Edit(request, found, lambda data, row: OrderForm(data, instance=row))

    def write(form: OrderForm, seen: str | None) -> Order:
        said = {name: form.cleaned_data[name] for name in ("customer", "placed_on", "reference", "note")}
        return orders.change_order(found, by=request.user, seen=seen, **said)

    if edit.is_valid() and edit.is_written(write):
        messages.success(request, _("Order %(order)s is written down.") % {"order": number})
        return redirect("order", number=number)
    title = _("Order %(order)s") % {"order": number}
    context = {"title": title, "edit": edit, "form": edit.form, "back": reverse("order", args=[number])}
    return render(request, "mill/form.html", context)


# Lines


def _line_page(
    request: HttpRequest, order: Order, form: LineForm, line: OrderLine | None, edit: Edit | None = None
) -> HttpResponse:
    return render(
        request,
        "planning/order_line.html",
        {
            "title": _("Line %(n)s") % {"n": line} if line else _("Another line of order %(order)s") % {"order": order},
            "order": order,
            "line": line,
            "edit": edit,
            "form": form,
            **_foreseen(_figures_of([form]) if form.is_bound else _figures_of_written(line), line),
            "n_lines": order.lines.count(),
            "parts": line.parts.select_related("warp").order_by("warp__number") if line else [],
            "asks": request.method == "POST" and "show" in request.POST,
        },
    )


def _figures_of_written(line: OrderLine | None) -> list[dict[str, Any]]:
    if line is None:
        return []
    draft = orders.draft_of(line)
    (takes,) = line_figures.what_lines_take([draft])
    uses = line_figures.by_use(takes.yarns) if takes else {}
    return [{"n": line.position, "form": None, "draft": draft, "takes": takes, "uses": uses}]


@room("orders")
@require_http_methods(["GET", "POST"])
def line_new(request: HttpRequest, number: str) -> HttpResponse:
    found = get_object_or_404(Order.objects.select_related("customer"), number=number)
    form = LineForm(request.POST or None, colourways=list(orders.orderable_colourways()))
    if request.method == "POST" and "show" not in request.POST and form.is_valid():
        try:
            line = orders.add_line(
                found,
                LineDraft(**form.cleaned_data),
                by=request.user,
                seen=whole(request.POST.get("seen")),
            )
        except Refusal as refusal:
            _beside(refusal, form)
        else:
            messages.success(request, _("Line %(line)s is written down.") % {"line": line})
            return redirect("order", number=number)
    return _line_page(request, found, form, None)


def _line(number: str, position: int) -> OrderLine:
    rows = OrderLine.objects.select_related("order__customer", "cloth", "colourway__cloth")
    return get_object_or_404(rows, order__number=number, position=position)


@room("orders")
@require_http_methods(["GET", "POST"])
def line_edit(request: HttpRequest, number: str, position: int) -> HttpResponse:
    line = _line(number, position)
    colourways: list[Colourway] = list(orders.orderable_colourways(also=[line.colourway_id]))

    def form_of(data: QueryDict | None, row: OrderLine) -> LineForm:
        return LineForm(data, colourways=colourways) if data else LineForm.of(row, colourways=colourways)

    def write(form: LineForm, seen: str | None) -> orders.LineChange:
        return orders.change_line(line, LineDraft(**form.cleaned_data), by=request.user, seen=seen)

    edit = Edit(request, line, form_of, is_write="show" not in request.POST)
    if edit.is_valid() and edit.is_written(write):
        _tell(request, edit.written)
        return redirect("order", number=number)
    return _line_page(request, line.order, edit.form, line, edit)


def _tell(request: HttpRequest, change: orders.LineChange) -> None:
    if not change.differences:
        messages.info(request, _("Line %(line)s is as it was.") % {"line": change.line})
        return
    said = {"line": change.line, "what": "; ".join(retold(one, LINE_CHANGED) for one in change.differences)}
    messages.success(request, _("Line %(line)s is changed: %(what)s.") % said)
    following = [warp for warp in change.warps if warp.state in warps.FOLLOWING]
    if following:
        names = ", ".join(warp.called for warp in following)
        messages.info(request, _("%(warps)s: being worked out again.") % {"warps": names})
    if change.tickets:
        overtaken = ngettext(
            "%(n)s ticket is overtaken. Issue new ones.",
            "%(n)s tickets are overtaken. Issue new ones.",
            change.tickets,
        )
        messages.warning(request, overtaken % {"n": change.tickets})


@room("orders")
@require_http_methods(["GET", "POST"])
def line_call_off(request: HttpRequest, number: str, position: int) -> HttpResponse:
    """What calling a line off does to the store; and the deed."""
    line = _line(number, position)
    if request.method == "GET":
        nothing = replace(orders.draft_of(line), pieces=0)
        return render(
            request,
            "planning/line_call_off.html",
            {
                "title": _("Call %(line)s off") % {"line": line},
                "line": line,
                "foreseen": line_foresight.foresee_line(line, nothing),
                **_effects(line, nothing),
                "parts": line.parts.select_related("warp").order_by("warp__number"),
            },
        )
    reason = request.POST.get("reason", "")
    done = _("Line %(line)s is called off.") % {"line": line}
    return _line_verb(request, line, lambda: orders.call_off_line(line, by=request.user, reason=reason), done)


@require_POST
@room("orders")
def line_take_up(request: HttpRequest, number: str, position: int) -> HttpResponse:
    line = _line(number, position)
    done = _("Line %(line)s is taken up again.") % {"line": line}
    return _line_verb(request, line, lambda: orders.take_up_line(line, by=request.user), done)


def _line_verb(request: HttpRequest, line: OrderLine, verb: Callable[[], object], done: str) -> HttpResponse:
    try:
        verb()
        messages.success(request, done)
    except Refusal as refusal:
        messages.error(request, refusal.message)
    return redirect(order_address(line))


# Customers


class CustomerFilter(django_filters.FilterSet):
    text = django_filters.CharFilter(label=gettext_lazy("Code or name"), method="by_text")

    class Meta:
        model = Customer
        fields: list[str] = []

    def by_text(self, rows: QuerySet[Customer], _name: str, value: str) -> QuerySet[Customer]:
        return rows.filter(Q(code__icontains=value) | Q(name__icontains=value))


CUSTOMER_COLUMNS = [
    Column(gettext_lazy("Code"), lambda c: c.code, "code", link=lambda c: reverse("customer", args=[c.code])),
    Column(gettext_lazy("Name"), lambda c: c.name, "name"),
    Column(gettext_lazy("Open lines"), lambda c: c.open_lines, "open_lines", is_number=True),
    Column(gettext_lazy("Orders"), lambda c: c.n_orders, "n_orders", is_number=True),
]


@require_GET
@room("orders")
def customers_list(request: HttpRequest) -> HttpResponse:
    is_open = Q(orders__lines__in=OrderLine.objects.open())
    rows = Customer.objects.annotate(
        open_lines=Count("orders__lines", filter=is_open, distinct=True), n_orders=Count("orders", distinct=True)
    )
    return listing(
        request,
        rows.order_by("name", "pk"),
        columns=CUSTOMER_COLUMNS,
        filterset=CustomerFilter,
        template="planning/customers.html",
        name="customers",
        title=_("Customers"),
    )


@require_GET
@room("orders")
def customer(request: HttpRequest, code: str) -> HttpResponse:
    found = get_object_or_404(Customer, code=code)
    lines = with_plan(OrderLine.objects.open().filter(order__customer=found)).order_by("due_on", "pk")
    past = found.orders.exclude(lines__in=OrderLine.objects.open()).annotate(n_lines=Count("lines")).distinct()
    return render(
        request,
        "planning/customer.html",
        {
            "title": found.name,
            "customer": found,
            "rows": [{"line": line, "late": late_said(line), "out_on": _out_on(line)} for line in lines[:LINES_SHOWN]],
            "n_lines": lines.count(),
            "past": past.order_by("-placed_on", "-pk")[:LINES_SHOWN],
            "n_past": past.count(),
        },
    )


@room("orders")
@require_http_methods(["GET", "POST"])
def customer_edit(request: HttpRequest, code: str | None = None) -> HttpResponse:
    found = get_object_or_404(Customer, code=code) if code else None
    edit = Edit(request, found, lambda data, row: CustomerForm(data, instance=row))
    if edit.is_valid() and edit.is_written(
        lambda form, seen: orders.write_customer(form.instance, by=request.user, seen=seen)
    ):
        messages.success(request, _("%(name)s is written down.") % {"name": edit.written})
        return redirect("customer", code=edit.written.code)
    back = reverse("customer", args=[code]) if code else reverse("customers")
    title = found.name if found and not edit.form.errors else _("Customer") if code else _("A new customer")
    return render(request, "mill/form.html", {"title": title, "edit": edit, "form": edit.form, "back": back})


urlpatterns = [
    path("orders/", orders_list, name="orders"),
    path("orders/new/", order_new, name="order_new"),
    path("orders/figures/", order_figures, name="order_figures"),
    path("order/<str:number>/", order, name="order"),
    path("order/<str:number>/edit/", order_edit, name="order_edit"),
    path("order/<str:number>/line/", line_new, name="line_new"),
    path("order/<str:number>/line/<int:position>/", line_edit, name="line_edit"),
    path("order/<str:number>/line/<int:position>/call-off/", line_call_off, name="line_call_off"),
    path("order/<str:number>/line/<int:position>/take-up/", line_take_up, name="line_take_up"),
    path("customers/", customers_list, name="customers"),
    path("customers/new/", customer_edit, name="customer_new"),
    path("customer/<str:code>/", customer, name="customer"),
    path("customer/<str:code>/edit/", customer_edit, name="customer_edit"),
]
