from typing import Any
from uuid import uuid4

import django_filters
from django import forms
from django.contrib import messages
from django.db.models import Prefetch, Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_http_methods

from inventory.models import YarnLot
from mill.desk import room
from mill.fields import DayInput
from mill.listing import Column, listing
from mill.qr import qr_svg, scanned_address
from mill.refusal import Refusal
from mill.templatetags.mill import day, num, one_line, said
from planning.forms.pieces import (
    HOLE,
    AllocateForm,
    CorrectLengthForm,
    FaultsForm,
    FinalPerchForm,
    JudgeForm,
    MeasureForm,
    MendForm,
    PerchForm,
)
from planning.models import BatchPiece, Piece
from planning.services import finishing, pieces, tracing
from planning.services.pieces import measured


class PieceFilter(django_filters.FilterSet):
    text = django_filters.CharFilter(label=gettext_lazy("Piece, cloth or order"), method="by_text")
    state = django_filters.ChoiceFilter(
        choices=[(s, gettext_lazy(s)) for s, _said in Piece.STATES],
        label=gettext_lazy("State"),
        empty_label=gettext_lazy("any"),
    )
    verdict = django_filters.ChoiceFilter(
        choices=[(v, gettext_lazy(v)) for v, _said in Piece.VERDICTS],
        label=gettext_lazy("Judged"),
        empty_label=gettext_lazy("any"),
    )
    woven_from = django_filters.DateFilter(
        field_name="woven_on", lookup_expr="gte", label=gettext_lazy("Woven from"), widget=DayInput()
    )
    woven_to = django_filters.DateFilter(
        field_name="woven_on", lookup_expr="lte", label=gettext_lazy("Woven until"), widget=DayInput()
    )

    class Meta:
        model = Piece
        fields: list[str] = []

    def by_text(self, rows: QuerySet[Piece], _name: str, value: str) -> QuerySet[Piece]:
        return rows.filter(
            Q(number__icontains=value)
            | Q(spec__cloth__code__icontains=value)
            | Q(spec__cloth__name__icontains=value)
            | Q(line__order__number__icontains=value)
        )


def _measure(label: Any, name: str, unit: str) -> Column:
    return Column(
        label, lambda p: getattr(p, name), name, unit, shown=lambda p: num(getattr(p, name), 1), is_number=True
    )


COLUMNS = [
    Column(gettext_lazy("Piece"), lambda p: p.number, "number", link=lambda p: reverse("piece", args=[p.number])),
    Column(gettext_lazy("Cloth"), lambda p: str(p.spec), "spec__cloth__code", shown=lambda p: one_line(p.spec.called)),
    Column(gettext_lazy("Order"), lambda p: str(p.line) if p.line else "", "line__order__number"),
    Column(gettext_lazy("State"), lambda p: p.state, "state", shown=lambda p: said(p.state)),
    Column(
        gettext_lazy("Stands"),
        lambda p: finishing.standing(p).where,
        shown=lambda p: finishing.standing(p).called,
    ),
    Column(gettext_lazy("Judged"), lambda p: p.verdict, "verdict", shown=lambda p: said(p.verdict)),
    Column(gettext_lazy("Woven"), lambda p: p.woven_on, "woven_on", shown=lambda p: day(p.woven_on)),
    _measure(gettext_lazy("Grey length"), "grey_length_m", "m"),
    _measure(gettext_lazy("Grey width"), "grey_width_cm", "cm"),
    _measure(gettext_lazy("Finished length"), "finished_length_m", "m"),
    _measure(gettext_lazy("Finished width"), "finished_width_cm", "cm"),
    Column(gettext_lazy("Mass"), lambda p: p.mass_g, "mass_g", "g", shown=lambda p: num(p.mass_g), is_number=True),
    Column(gettext_lazy("Points"), lambda p: p.points, "points", is_number=True),
]


@require_GET
@room("pieces")
def pieces_list(request: HttpRequest) -> HttpResponse:
    rows = Piece.objects.select_related("spec__cloth", "line__order").prefetch_related(
        "spec__route_steps", "steps__batch", "mends"
    )
    return listing(
        request,
        rows,
        columns=COLUMNS,
        filterset=PieceFilter,
        name="pieces",
        title=_("Pieces"),
        template="planning/pieces.html",
    )


def _piece(number: str) -> Piece:
    return get_object_or_404(
        Piece.objects.select_related(
            "spec__cloth", "line__order__customer", "line__colourway", "warp__loom", "woven_by"
        ).prefetch_related(
            "spec__route_steps",
            # As it went through them; the batches' own order has the last first.
            Prefetch("steps", BatchPiece.objects.select_related("batch").order_by("round", "step_position")),
            "mends__worker",
            "faults",
            "entries__worker",
            "entries__by",
        ),
        number=number,
    )


def _forms(piece: Piece, act: str = "", data: Any = None) -> dict[str, forms.Form]:
    """Every form of the page; the one that was sent holds what was typed."""

    def given(name: str) -> Any:
        return data if act == name else None

    faults = "\n".join(
        f"{num(f.at_m)} m {f'{_(HOLE)} ' if f.is_hole else ''}{num(f.length_mm)} mm {f.name}".strip()
        for f in piece.faults.all()
    )
    built: dict[str, forms.Form] = {
        "perch": PerchForm(
            given("perch"),
            prefix="perch",
            initial={
                "length_m": piece.grey_length_m,
                "width_cm": piece.grey_width_cm,
                "mending_min": piece.mending_min,
            },
        ),
        "mend": MendForm(given("mend"), prefix="mend", initial={"key": uuid4().hex}),
        "final": FinalPerchForm(given("final"), prefix="final", initial={"faults": faults}),
        "faults": FaultsForm(given("faults"), prefix="faults", initial={"faults": faults}),
        "measure": MeasureForm(given("measure"), prefix="measure"),
        "judge": JudgeForm(given("judge"), prefix="judge", piece=piece),
        "allocate": AllocateForm(
            given("allocate"), prefix="allocate", lines=pieces.lines_for(piece), initial={"line": piece.line_id}
        ),
        "correct": CorrectLengthForm(given("correct"), prefix="correct"),
    }
    return built


def _act(piece: Piece, act: str, told: dict[str, Any], by: Any) -> str:
    """Do what a form asks; the sentence that says it is done."""
    match act:
        case "perch":
            pieces.perch_grey(piece, by=by, **told)
            return _("Piece %(piece)s has been over the grey perch.") % {"piece": piece}
        case "mend":
            pieces.mend(piece, by=by, **told)
            return _("%(minutes)s minutes of mending are written down.") % {"minutes": told["minutes"]}
        case "final":
            judged = pieces.final_perch(piece, by=by, **told)
            facts = {"piece": piece, "verdict": said(judged.verdict), "points": judged.points}
            return _("Piece %(piece)s: %(verdict)s, %(points)s points.") % facts
        case "faults":
            done = pieces.write_faults(piece, told["faults"], by=by, worker=told["worker"])
            return _("%(faults)s faults, %(points)s points.") % {"faults": len(told["faults"]), "points": done.points}
        case "measure":
            pieces.measure(piece, by=by, **told)
            return _("Piece %(piece)s is measured.") % {"piece": piece}
        case "judge":
            step = told.pop("from_step")
            told["mending_min"] = told["mending_min"] or 0
            pieces.judge(piece, by=by, from_step=step.position if step else 1, **told)
            return _("Piece %(piece)s: %(verdict)s.") % {"piece": piece, "verdict": said(told["verdict"])}
        case "allocate":
            pieces.allocate(piece, told["line"], why=told["why"], by=by)
            if told["line"] is None:
                return _("Piece %(piece)s is put to no line.") % {"piece": piece}
            return _("Piece %(piece)s is put to %(line)s.") % {"piece": piece, "line": told["line"]}
        case _:
            pieces.correct_length(piece, by=by, **told)
            facts = {"piece": piece, "length": num(told["grey_length_m"], 2)}
            return _("Piece %(piece)s is %(length)s m off the loom.") % facts


# What is done at each station, and where a piece that was seen to there leaves the next one waiting.
ACT_AT = {
    f"to {finishing.GREY_PERCH}": "perch",
    f"to {finishing.MENDERS}": "mend",
    f"to {finishing.FINAL_PERCH}": "final",
}
STATION_OF = {
    "perch": finishing.GREY_PERCH,
    "mend": finishing.MENDERS,
    "final": finishing.FINAL_PERCH,
    "judge": finishing.FINAL_PERCH,
}


@require_http_methods(["GET", "POST"])
@room("pieces")
def piece(request: HttpRequest, number: str) -> HttpResponse:
    found = _piece(number)
    act = request.POST.get("act", "") if request.method == "POST" else ""
    built = _forms(found, act, request.POST)
    if act in built:
        form = built[act]
        if form.is_valid():
            try:
                messages.success(request, _act(found, act, dict(form.cleaned_data), request.user))
                return redirect(f"{reverse('piece', args=[number])}?after={act}")
            except Refusal as refusal:
                form.add_error(refusal.field if refusal.field in form.fields else None, refusal.message)
    standing = finishing.standing(found)
    station = STATION_OF.get(request.GET.get("after", ""), "")
    return render(
        request,
        "planning/piece.html",
        {
            "title": _("Piece %(number)s") % {"number": found.number},
            "piece": found,
            "measured": measured(found),
            "limit": pieces.limit_for(found),
            "standing": standing,
            "next_act": ACT_AT.get(standing.where, ""),
            "station": station,
            "next_piece": finishing.first_waiting(station) if station else None,
            "mended_min": pieces.mended_min(found),
            "left_min": pieces.mending_left_min(found),
            "delivery": pieces.delivery_of(found.line) if found.line else None,
            "is_woven": pieces.is_woven(found.line) if found.line else False,
            "sent": pieces.sent_on(found),
            "forms": built,
            "opened": act,
        },
        status=422 if act else 200,
    )


def label_address(piece: Piece, request: HttpRequest) -> str:
    return scanned_address(reverse("piece", args=[piece.number]), request)


@require_GET
@room("pieces")
def labels(request: HttpRequest) -> HttpResponse:
    """Labels of the pieces asked for (?piece=118-1&piece=118-2), else of all that are grey and not yet perched."""
    rows = Piece.objects.select_related("spec__cloth", "line__order__customer", "line__colourway")
    numbers = request.GET.getlist("piece")
    rows = rows.filter(number__in=numbers) if numbers else rows.filter(state=Piece.GREY, perched_on=None)
    found = list(rows.order_by(*pieces.as_woven())[:200])
    return render(
        request,
        "planning/piece_labels.html",
        {
            "title": _("Piece labels"),
            "labels": [
                {
                    "piece": one,
                    "qr": qr_svg(label_address(one, request), label=_("QR code of piece %(piece)s") % {"piece": one}),
                }
                for one in found
            ],
        },
    )


@require_GET
@room("pieces")
def piece_trace(request: HttpRequest, number: str) -> HttpResponse:
    """Back from a piece to its lots, warp, loom and people; each lot leads on to all that it went into."""
    found = _piece(number)
    return render(
        request,
        "planning/piece_trace.html",
        {
            "title": _("Where piece %(piece)s came from") % {"piece": found},
            "piece": found,
            "origin": tracing.origin_of(found),
            "sent": pieces.sent_on(found),
        },
    )


@require_GET
@room("yarn")
def lot_trace(request: HttpRequest, label: str) -> HttpResponse:
    """Forward from a lot to every piece and customer."""
    lot = get_object_or_404(YarnLot.objects.select_related("yarn"), label=label)
    return render(
        request,
        "planning/piece_lot_trace.html",
        {
            "title": _("Where lot %(lot)s went") % {"lot": lot},
            "lot": lot,
            "went": tracing.whereabouts_of(lot),
        },
    )


urlpatterns = [
    path("pieces/", pieces_list, name="pieces"),
    path("pieces/labels/", labels, name="piece_labels"),
    path("pieces/<str:number>/", piece, name="piece"),
    path("pieces/<str:number>/origin/", piece_trace, name="piece_trace"),
    path("pieces/of-lot/<path:label>/", lot_trace, name="lot_trace"),
]
