from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import django_filters
from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Q, QuerySet, Sum
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils.html import format_html
from django.utils.http import urlencode
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext, pgettext_lazy
from django.views.decorators.http import require_GET, require_POST

from inventory import ledger, services
from inventory.count_sheet import as_stored
from inventory.forms import (
    CorrectForm,
    CountForm,
    DrawForm,
    HoldForm,
    KeyedForm,
    LotForm,
    MoveForm,
    ReceiveForm,
    ReleaseForm,
    ReturnForm,
    WasteForm,
    WhyForm,
)
from inventory.models import Claim, Delivery, Movement, Place, Reservation, Yarn, YarnLot
from inventory.views import is_written, warn_of_holds
from inventory.views.yarns import mass, named_swatch
from mill.desk import room
from mill.listing import Column, listing, yes_or_no
from mill.refusal import Refusal
from mill.templatetags.mill import day, kg, num

LINES_PER_LEAF = 50


class LotFilter(django_filters.FilterSet):
    text = django_filters.CharFilter(label=gettext_lazy("Lot or dye lot"), method="by_text")
    yarn = django_filters.ModelChoiceFilter(
        label=gettext_lazy("Yarn"), queryset=Yarn.objects.all(), empty_label=gettext_lazy("any")
    )
    place = django_filters.ModelChoiceFilter(
        label=gettext_lazy("Place"), queryset=Place.objects.all(), empty_label=gettext_lazy("any")
    )
    free = yes_or_no(gettext_lazy("Something free"), field_name="available_g", method="by_some")
    quarantined = yes_or_no(gettext_lazy("In quarantine"), field_name="is_quarantined")
    shade = yes_or_no(gettext_lazy("Shade approved"), field_name="is_shade_approved")
    left = django_filters.ChoiceFilter(
        label=gettext_lazy("Show"),
        choices=[("all", gettext_lazy("used up too"))],
        empty_label=gettext_lazy("with yarn left"),
        method="by_left",
    )

    class Meta:
        model = YarnLot
        fields: list[str] = []

    def filter_queryset(self, queryset: QuerySet[YarnLot]) -> QuerySet[YarnLot]:
        rows = super().filter_queryset(queryset)
        return rows if self.form.cleaned_data.get("left") else rows.filter(on_hand_g__gt=0)

    def by_text(self, rows: QuerySet[YarnLot], _name: str, value: str) -> QuerySet[YarnLot]:
        return rows.filter(Q(label__icontains=value) | Q(dye_lot__icontains=value) | Q(note__icontains=value))

    def by_some(self, rows: QuerySet[YarnLot], name: str, value: bool) -> QuerySet[YarnLot]:
        return rows.filter(**{f"{name}__gt" if value else f"{name}__lte": 0})

    def by_left(self, rows: QuerySet[YarnLot], _name: str, value: str) -> QuerySet[YarnLot]:
        return rows


def label_box(lot: YarnLot) -> SafeString:
    """A tick for the form beneath the list's head, which asks for labels."""
    called = _("Label of %(lot)s") % {"lot": lot}
    return format_html('<input type="checkbox" name="lot" value="{}" form="labels" aria-label="{}">', lot, called)


def state_of(lot: YarnLot) -> str:
    """What bars a lot from being drawn."""
    if lot.is_quarantined:
        return _("in quarantine")
    return "" if lot.is_shade_approved else _("shade not approved")


LOT_COLUMNS = [
    Column(gettext_lazy("Lot"), lambda r: r.label, "label", link=lambda r: reverse("lot", args=[r.label])),
    Column(
        gettext_lazy("Yarn"),
        lambda r: r.yarn.code,
        "yarn__code",
        link=lambda r: reverse("yarn_one", args=[r.yarn.code]),
    ),
    Column(gettext_lazy("Colour"), lambda r: r.yarn.name, "yarn__name", shown=lambda r: named_swatch(r.yarn)),
    Column(gettext_lazy("Dye lot"), lambda r: r.dye_lot, "dye_lot"),
    mass(gettext_lazy("On hand"), "on_hand_g", places=3),
    mass(pgettext_lazy("yarn", "Held"), "held_g", places=3),
    mass(gettext_lazy("Free"), "available_g", places=3),
    Column(gettext_lazy("Place"), lambda r: r.place.code if r.place else None, "place__code"),
    Column(gettext_lazy("Came on"), lambda r: r.received_on, "received_on", shown=lambda r: day(r.received_on)),
    Column(gettext_lazy("State"), state_of),
    Column(gettext_lazy("Label"), lambda r: r.label, shown=label_box, is_paper=False),
]


def shown_lots() -> QuerySet[Any]:
    """Lots with what these columns read."""
    return YarnLot.objects.select_related("yarn", "place").with_balance().order_by("yarn__code", "received_on", "pk")


@require_GET
@room("yarn")
def lots(request: HttpRequest) -> HttpResponse:
    return listing(
        request,
        shown_lots(),
        columns=LOT_COLUMNS,
        filterset=LotFilter,
        template="inventory/lots.html",
        name="lots",
        title=_("Lots"),
        extra={"when_empty": _("No lot has yarn left.")},
        row_class=lambda r: "barred" if state_of(r) else "",
    )


@room("yarn")
def lot_receive(request: HttpRequest) -> HttpResponse:
    form = ReceiveForm(request.POST or None, initial=_offered(request))
    if form.is_bound and form.is_valid():
        said, lines = form.cleaned_data, []

        def write() -> None:
            lines.append(
                services.receive(
                    **{name: said[name] for name in RECEIVED},
                    packages=said["packages"] or 0,
                    measured_tex=as_stored(said["measured_count"].count_tex) if said["measured_count"] else None,
                    measured_regain_pct=form.measured_regain_pct(),
                    by=request.user,
                )
            )

        if is_written(form, write):
            lot = lines[0].lot
            messages.success(request, f"{_received(lot, lines[0].change_g)} {_beside(lot)}")
            return redirect("lot", label=lot.label)
    back = reverse("yarn")
    return render(
        request,
        "mill/form.html",
        {"title": _("Yarn comes in"), "form": form, "back": back, "act": _("Receive it")},
    )


RECEIVED = (
    *("yarn", "grams", "gross_g", "label", "dye_lot", "key", "delivery", "place", "received_on"),
    *("document", "note", "is_shade_approved"),
)


def _offered(request: HttpRequest) -> dict[str, Any]:
    """What the form begins with: the delivery or yarn whose page one came from, and the next number."""
    offered: dict[str, Any] = {"label": services.next_label()} if request.method == "GET" else {}
    number = request.GET.get("delivery", "")
    delivery = Delivery.objects.filter(is_closed=False, number=number).with_received().first()
    if delivery:
        offered |= {
            "delivery": delivery.pk,
            "yarn": delivery.yarn_id,
            "dye_lot": delivery.dye_lot,
            "grams": delivery.outstanding_g,
        }
    elif yarn := Yarn.objects.filter(code=request.GET.get("yarn", "")).first():
        offered["yarn"] = yarn.pk
    return offered


def _received(lot: YarnLot, grams: int) -> str:
    """With what a lot was received, and how the mass that was weighed became the one that is in the book."""
    said = {"lot": lot, "mass": kg(grams, 3)}
    if lot.measured_regain_pct is None:
        return _("Lot %(lot)s is received with %(mass)s kg.") % said
    return _(
        "Lot %(lot)s is received with %(mass)s kg: %(weighed)s kg weighed at %(measured)s %% regain, reckoned at"
        " %(agreed)s %% by %(authority)s."
    ) % {
        **said,
        "weighed": kg(lot.weighed_g, 3),
        "measured": num(lot.measured_regain_pct),
        "agreed": num(lot.yarn.regain_pct),
        "authority": lot.yarn.regain_authority,
    }


def _beside(lot: YarnLot) -> str:
    """What the planner should know of a lot that came: a dye lot other than was promised, one that is there already."""
    promised = lot.delivery.dye_lot if lot.delivery else ""
    if promised and promised != lot.dye_lot:
        said = {"came": lot.dye_lot, "promised": promised}
        return _("It is dye lot %(came)s; %(promised)s had been promised.") % said
    others = YarnLot.objects.filter(yarn=lot.yarn_id, dye_lot=lot.dye_lot).exclude(pk=lot.pk).count()
    if not others:
        return ""
    form = ngettext("Its dye lot is in %(n)s other lot too.", "Its dye lot is in %(n)s other lots too.", others)
    return form % {"n": others}


# A lot's page: its life, and what may be done to it


@dataclass(frozen=True)
class Act:
    """Something that may be written about a lot.

    title    the heading of its form; `button` what its button says
    write    calls the verb with what was said
    said     what was done, as the page says it after the lot's name
    """

    title: Any
    button: Any
    form: type[LotForm]
    write: Callable[[YarnLot, Any, Any], Movement | Reservation]
    said: Any


def _draw(lot: YarnLot, form: Any, by: Any) -> Movement:
    said = form.cleaned_data
    common = {
        "grams": said["grams"],
        "by": by,
        "key": said["key"],
        "packages": said["packages"] or 0,
        "document": said["document"],
    }
    if said["reservation"]:
        return services.draw_down(reservation=said["reservation"], **common)
    return services.draw_free(lot=lot, for_what=said["for_what"], **common)


def _return(lot: YarnLot, form: Any, by: Any) -> Movement:
    said = form.cleaned_data
    return services.return_to_stock(
        lot=lot,
        reservation=said["reservation"],
        grams=said["grams"],
        packages=said["packages"] or 0,
        measured_regain_pct=form.measured_regain_pct(),
        reason=said["reason"],
        by=by,
        key=said["key"],
    )


def _count(lot: YarnLot, form: Any, by: Any) -> Movement:
    said = form.cleaned_data
    return services.count(
        lot=lot,
        weighed_g=said["grams"],
        measured_regain_pct=form.measured_regain_pct(),
        reason=said["reason"],
        by=by,
        key=said["key"],
    )


def _waste(lot: YarnLot, form: Any, by: Any) -> Movement:
    said = form.cleaned_data
    return services.record_waste(
        lot=lot, grams=said["grams"], packages=said["packages"] or 0, reason=said["reason"], by=by, key=said["key"]
    )


def _correct(lot: YarnLot, form: Any, by: Any) -> Movement:
    said = form.cleaned_data
    return services.correct(lot=lot, to_g=said["grams"], reason=said["reason"], by=by, key=said["key"])


def _said(verb: Callable[..., Movement | Reservation]) -> Callable[[YarnLot, Any, Any], Movement | Reservation]:
    """A verb that takes the form's fields under their own names."""
    return lambda lot, form, by: verb(lot=lot, by=by, **form.cleaned_data)


ACTS = {
    "draw": Act(gettext_lazy("Draw yarn"), gettext_lazy("Draw it"), DrawForm, _draw, gettext_lazy("yarn drawn")),
    "return": Act(
        gettext_lazy("Part cones come back"),
        gettext_lazy("Take them back in"),
        ReturnForm,
        _return,
        gettext_lazy("part cones back"),
    ),
    "hold": Act(
        gettext_lazy("Hold yarn"), gettext_lazy("Hold it"), HoldForm, _said(services.reserve), gettext_lazy("yarn held")
    ),
    "count": Act(
        gettext_lazy("Count by the scales"), gettext_lazy("Write the count"), CountForm, _count, gettext_lazy("counted")
    ),
    "move": Act(
        gettext_lazy("Move the lot"), gettext_lazy("Move it"), MoveForm, _said(services.move), gettext_lazy("moved")
    ),
    "waste": Act(
        gettext_lazy("Write off"), gettext_lazy("Write it off"), WasteForm, _waste, gettext_lazy("yarn written off")
    ),
    "correct": Act(
        gettext_lazy("Correct the book"), gettext_lazy("Correct it"), CorrectForm, _correct, gettext_lazy("corrected")
    ),
    "quarantine": Act(
        gettext_lazy("Into quarantine"),
        gettext_lazy("Put it in quarantine"),
        WhyForm,
        _said(services.quarantine),
        gettext_lazy("in quarantine"),
    ),
    "release": Act(
        gettext_lazy("Out of quarantine"),
        gettext_lazy("Release it"),
        ReleaseForm,
        _said(services.release_from_quarantine),
        gettext_lazy("out of quarantine"),
    ),
    "approve": Act(
        gettext_lazy("Approve the shade"),
        gettext_lazy("The shade is right"),
        LotForm,
        _said(services.approve_shade),
        gettext_lazy("shade approved"),
    ),
    "reject": Act(
        gettext_lazy("Shade not right"),
        gettext_lazy("Bar it from use"),
        WhyForm,
        _said(services.reject_shade),
        gettext_lazy("barred for its shade"),
    ),
}


def acts_for(lot: Any) -> list[str]:
    """What can be done to the lot as it stands. `lot` comes from with_balance()."""
    may_be_drawn = not lot.is_quarantined and lot.is_shade_approved
    return [
        *(("draw", "hold") if may_be_drawn and lot.on_hand_g else ()),
        *("return", "count", "move"),
        *(("waste",) if lot.available_g else ()),
        "correct",
        "release" if lot.is_quarantined else "quarantine",
        "reject" if lot.is_shade_approved else "approve",
    ]


def _lot(label: str) -> Any:
    balances: Any = YarnLot.objects.select_related("yarn", "place", "delivery").with_balance()
    rows = balances.with_receipt()
    return get_object_or_404(rows.annotate(cones=Sum("movements__packages_change")), label=label)


def show_lot(request: HttpRequest, lot: Any, tried: dict[str, LotForm] | None = None) -> HttpResponse:
    """The lot's page; `tried` has the forms that were filled in and refused, which stand open, as one that is asked for
    does (?act=approve)."""
    tried = tried or {}
    lines = lot.movements.select_related(
        "by", "reservation", "place_from", "place_to", "reversed_by", "reverses"
    ).order_by("-seq")
    return render(
        request,
        "inventory/lot.html",
        {
            "title": _("Lot %(lot)s") % {"lot": lot},
            "lot": lot,
            "state": state_of(lot),
            "holds": [(hold, KeyedForm(auto_id=f"hold_{hold.pk}_%s")) for hold in lot.reservations.open().with_out()],
            "acts": [
                {
                    "name": name,
                    "act": ACTS[name],
                    "form": tried.get(name) or ACTS[name].form(lot=lot, auto_id=f"{name}_%s"),
                    "is_open": name in tried or (not tried and name == request.GET.get("act")),
                }
                for name in dict.fromkeys([*acts_for(lot), *(name for name in tried if name in ACTS)])
            ],
            "page": Paginator(lines, LINES_PER_LEAF).get_page(request.GET.get("page")),
            "working": ledger.working(_changes_by_kind(lot)),
            "cones": _just_back(request, lot),
            "treatments": lot.treatments.order_by("-began_on", "-pk"),
            "claims": Claim.objects.filter(lots__lot=lot).order_by("-number"),
            "irreversible": {Movement.REVERSE, Movement.NOTE},
        },
    )


def _changes_by_kind(lot: Any) -> dict[str, tuple[int, int]]:
    """What all its lines of one kind changed together, on hand and held; in grams."""
    rows = lot.movements.order_by().values_list("kind").annotate(Sum("change_g"), Sum("held_change_g"))
    return {kind: (change_g, held_g) for kind, change_g, held_g in rows}


def _just_back(request: HttpRequest, lot: Any) -> Movement | None:
    """The part cones that came back by the form that led here."""
    key = request.GET.get("cones", "")
    return lot.movements.filter(kind=Movement.RETURN, key=key).first() if key else None


@require_GET
@room("yarn")
def lot(request: HttpRequest, label: str) -> HttpResponse:
    return show_lot(request, _lot(label))


@require_POST
@room("yarn")
def lot_write(request: HttpRequest, label: str, name: str) -> HttpResponse:
    if name not in ACTS:
        raise Http404(f"Nothing called {name} is done to a lot.")
    lot, act = _lot(label), ACTS[name]
    form = act.form(request.POST, lot=lot, auto_id=f"{name}_%s")
    if form.is_valid() and is_written(form, lambda: act.write(lot, form, request.user)):
        messages.success(request, _done(lot, act))
        if name == "quarantine":
            warn_of_holds(request, [lot])
        if name == "return":
            # The page offers the label of what has just come back.
            return redirect(f"{reverse('lot', args=[label])}?{urlencode({'cones': form.cleaned_data['key']})}")
        return redirect("lot", label=label)
    return show_lot(request, lot, {name: form})


def _done(lot: YarnLot, act: Act) -> str:
    now = _lot(lot.label)
    return _("Lot %(lot)s, %(done)s: %(on_hand)s kg on hand, %(free)s kg free.") % {
        "lot": lot,
        "done": act.said,
        "on_hand": kg(now.on_hand_g, 3),
        "free": kg(now.available_g, 3),
    }


@require_POST
@room("yarn")
def hold_release(request: HttpRequest, pk: int) -> HttpResponse:
    reservation = get_object_or_404(Reservation.objects.select_related("lot"), pk=pk)
    form = KeyedForm(request.POST)
    try:
        key = form.cleaned_data["key"] if form.is_valid() else ""
        line = services.release(reservation=reservation, by=request.user, key=key)
    except Refusal as refusal:
        messages.error(request, refusal.message)
    else:
        said = {"mass": kg(-line.held_change_g, 3), "what": reservation.what.called}
        messages.success(request, _("%(mass)s kg held for %(what)s are let go.") % said)
    return redirect("lot", label=reservation.lot.label)


@room("yarn")
def line_reverse(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask why before a line is taken back."""
    rows = Movement.objects.select_related("lot__yarn", "reservation", "by", "place_from", "place_to", "reversed_by")
    line = get_object_or_404(rows, pk=pk)
    form = WhyForm(request.POST or None, lot=line.lot)
    if form.is_bound and form.is_valid():
        said = form.cleaned_data

        def write() -> None:
            services.reverse(movement=line, reason=said["reason"], by=request.user, key=said["key"])

        if is_written(form, write):
            said_of = {"line": line.seq, "lot": line.lot}
            messages.success(request, _("Line %(line)s of lot %(lot)s is taken back.") % said_of)
            return redirect("lot", label=line.lot.label)
    return render(
        request,
        "inventory/line_reverse.html",
        {
            "title": _("Take back line %(line)s of lot %(lot)s") % {"line": line.seq, "lot": line.lot},
            "line": line,
            "form": form,
        },
    )


urlpatterns = [
    path("lots/", lots, name="lots"),
    path("yarn/receive/", lot_receive, name="lot_receive"),
    path("holds/<int:pk>/release/", hold_release, name="hold_release"),
    path("lines/<int:pk>/take-back/", line_reverse, name="line_reverse"),
    path("lots/<path:label>/write/<slug:name>/", lot_write, name="lot_write"),
    path("lots/<path:label>/", lot, name="lot"),
]
