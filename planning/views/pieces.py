from typing import Any

import django_filters
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse
from django.views.decorators.http import require_GET

from mill.desk import room
from mill.listing import Column, listing
from mill.templatetags.mill import day, num
from planning.models import Piece
from planning.services.pieces import measured


class PieceFilter(django_filters.FilterSet):
    text = django_filters.CharFilter(label="Piece, cloth or order", method="by_text")
    state = django_filters.ChoiceFilter(choices=Piece.STATES, label="State")
    woven_from = django_filters.DateFilter(field_name="woven_on", lookup_expr="gte", label="Woven from")
    woven_to = django_filters.DateFilter(field_name="woven_on", lookup_expr="lte", label="Woven until")

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


def _places(name: str, places: int) -> Any:
    return lambda piece: num(getattr(piece, name), places)


@require_GET
@room("pieces")
def pieces_list(request: HttpRequest) -> HttpResponse:
    columns = [
        Column("Piece", lambda p: p.number, "number", link=lambda p: reverse("piece", args=[p.number])),
        Column("Cloth", lambda p: str(p.spec), "spec__cloth__code"),
        Column("Order", lambda p: str(p.line) if p.line else "", "line__order__number"),
        Column("State", lambda p: p.state, "state"),
        Column("Woven", lambda p: p.woven_on, "woven_on", shown=lambda p: day(p.woven_on)),
        Column(
            "Grey length",
            lambda p: p.grey_length_m,
            "grey_length_m",
            "m",
            shown=_places("grey_length_m", 1),
            is_number=True,
        ),
        Column(
            "Grey width",
            lambda p: p.grey_width_cm,
            "grey_width_cm",
            "cm",
            shown=_places("grey_width_cm", 1),
            is_number=True,
        ),
        Column(
            "Finished length",
            lambda p: p.finished_length_m,
            "finished_length_m",
            "m",
            shown=_places("finished_length_m", 1),
            is_number=True,
        ),
        Column(
            "Finished width",
            lambda p: p.finished_width_cm,
            "finished_width_cm",
            "cm",
            shown=_places("finished_width_cm", 1),
            is_number=True,
        ),
        Column("Mass", lambda p: p.mass_g, "mass_g", "g", is_number=True),
        Column("Points", lambda p: p.points, "points", is_number=True),
    ]
    rows = Piece.objects.select_related("spec__cloth", "line__order")
    return listing(request, rows, columns=columns, filterset=PieceFilter, name="pieces", title="Pieces")


@require_GET
@room("pieces")
def piece(request: HttpRequest, number: str) -> HttpResponse:
    found = get_object_or_404(
        Piece.objects.select_related("spec__cloth", "line__order__customer", "line__colourway", "warp"), number=number
    )
    return render(
        request,
        "planning/piece.html",
        {"title": f"Piece {found.number}", "piece": found, "measured": measured(found)},
    )


urlpatterns = [
    path("pieces/", pieces_list, name="pieces"),
    path("pieces/<str:number>/", piece, name="piece"),
]
