"""What a cloth's measured pieces taught of its shrinkage, drawn and said; how long to weave; a revision offered."""

from decimal import Decimal

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from mill.desk import room
from mill.refusal import Refusal
from mill.retold import retold
from mill.templatetags.mill import num
from planning.forms.shrinkage import WeaveForForm
from planning.models import Cloth
from planning.services import shrinkage as learning
from planning.services.shrinkage import RouteLearned
from planning.shrinkage import weave_for

WIDE, HIGH, LEFT, TOP = 640, 260, 52, 14


def scatter_svg(route: RouteLearned, name: str) -> SafeString:
    """Each piece's shrinkage in the order of finishing, crossed where it lies apart; mean and specification."""
    dimension = next(row for row in route.dimensions if row.name == name)
    values = [float(getattr(piece, f"{name}_pct")) for piece in route.pieces]
    mean, specified = float(dimension.learned.mean_pct), float(dimension.evidence.specified_pct)
    lowest, highest = min(*values, mean, specified), max(*values, mean, specified)
    room_pct = max(highest - lowest, 1.0) * 0.12
    lowest, highest = lowest - room_pct, highest + room_pct

    def x(n: int) -> float:
        return round(LEFT + (WIDE - LEFT - 16) * (n + 0.5) / len(values), 1)

    def y(pct: float) -> float:
        return round(TOP + (HIGH - TOP - 34) * (highest - pct) / (highest - lowest), 1)

    def level(pct: float, word: str, kind: str) -> SafeString:
        return format_html(
            '<line x1="{}" x2="{}" y1="{}" y2="{}" class="{}"/>'
            '<text x="{}" y="{}" class="word" text-anchor="{}">{} {} %</text>',
            LEFT, WIDE - 16, y(pct), y(pct), kind, WIDE - 20 if kind == "specified" else LEFT + 4, y(pct) - 4,
            "end" if kind == "specified" else "start", word, num(pct, 2),
        )  # fmt: skip

    rungs = format_html_join(
        "",
        '<line x1="{}" x2="{}" y1="{}" y2="{}" class="ruled"/>'
        '<text x="{}" y="{}" class="word" text-anchor="end">{}</text>',
        (
            (LEFT, WIDE - 16, y(pct), y(pct), LEFT - 6, y(pct) + 4, num(pct, 1))
            for pct in (lowest + (highest - lowest) * n / 4 for n in range(5))
        ),
    )
    points = format_html_join(
        "",
        '<g class="{}"><title>{}: {} %</title><circle cx="{}" cy="{}" r="5"/>{}</g>',
        (
            (
                "apart" if n in dimension.learned.outliers else "point",
                piece.number,
                num(value, 2),
                x(n),
                y(value),
                format_html('<path d="M{} {}l14 14m0 -14l-14 14"/>', x(n) - 7, y(value) - 7)
                if n in dimension.learned.outliers
                else "",
            )
            for n, (piece, value) in enumerate(zip(route.pieces, values, strict=True))
        ),
    )
    in_length, in_width = _("Shrinkage in length, piece by piece"), _("Shrinkage in width, piece by piece")
    title = in_length if name == learning.LENGTH else in_width
    return format_html(
        '<svg viewBox="0 0 {} {}" role="img" class="scatter"><title>{}</title>{}{}{}{}'
        '<text x="{}" y="{}" class="word" text-anchor="middle">{}</text>'
        "</svg>",
        WIDE, HIGH, title, rungs, level(specified, _("specified"), "specified"), level(mean, _("mean"), "mean"), points,
        (LEFT + WIDE) // 2, HIGH - 8, _("pieces in the order in which they were finished"),
    )  # fmt: skip


@require_GET
@room("cloths")
def cloth_shrinkage(request: HttpRequest, code: str) -> HttpResponse:
    cloth = get_object_or_404(Cloth, code=code)
    routes = learning.learned_of(cloth)
    form = WeaveForForm(request.GET if "length_m" in request.GET else None)
    current = next((route for route in routes if route.is_current), None)
    advice, refusal = None, ""
    if form.is_bound and form.is_valid() and current:
        try:
            advice = weave_for([piece.length_pct for piece in current.pieces], **form.cleaned_data)
        except Refusal as wrong:
            refusal = wrong.message
    return render(
        request,
        "planning/shrinkage.html",
        {
            "title": _("Shrinkage of %(cloth)s") % {"cloth": cloth},
            "cloth": cloth,
            "routes": [
                {"route": route, "pictures": [(row, scatter_svg(route, row.name)) for row in route.dimensions]}
                for route in routes
            ],
            "current": current,
            "form": form,
            "advice": advice,
            "refusal": refusal,
            "least": Decimal(5),
        },
    )


@require_POST
@room("cloths")
def shrinkage_take(request: HttpRequest, code: str) -> HttpResponse:
    cloth = get_object_or_404(Cloth, code=code)
    try:
        spec = learning.take_over(cloth, by=request.user)
    except Refusal as refusal:
        messages.error(request, refusal.message)
        return redirect("cloth_shrinkage", code=code)
    now = _("%(cloth)s is now revision %(n)s.") % {"cloth": cloth.code, "n": spec.revision}
    messages.success(request, f"{retold(spec.note, learning.NOTES)} {now}")
    return redirect("cloth", code=code)


urlpatterns = [
    path("cloths/<str:code>/shrinkage/", cloth_shrinkage, name="cloth_shrinkage"),
    path("cloths/<str:code>/shrinkage/take/", shrinkage_take, name="shrinkage_take"),
]
