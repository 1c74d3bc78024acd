"""CSV in: what each kind of file looks like, and what came of one."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from mill import roles
from mill.desk import room
from mill.limits import IMPORTS, limited
from mill.refusal import Refusal
from planning import csv_book
from planning.csv_book import COMMA, KINDS, POINT, SIGNS
from planning.forms.importing import ImportForm
from planning.models import OrderLine
from planning.services import importing
from planning.services.importing import Brought, NotBroughtIn

# The list that shows what was brought in.
LISTS = {"yarns": "yarn"}
ORDERS = "orders"
# An address names so many orders at most; of a longer file all that waits is offered together.
NAMED_MAX = 60


@require_http_methods(["GET", "HEAD", "POST"])
@room("mill")
@limited(IMPORTS)
def import_csv(request: HttpRequest, kind: str = KINDS[0]) -> HttpResponse:
    held = roles.roles_of(request.user)
    if kind not in KINDS or not roles.may_bring_in(held, kind):
        raise Http404(kind)
    form = ImportForm(request.POST or None, request.FILES or None)
    brought: Brought | None = None
    refused: NotBroughtIn | None = None
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            brought = importing.bring_in(
                kind,
                said["file"].read(),
                by=request.user,
                decimal=said["decimal"],
                is_check=said["is_check"],
            )
        except NotBroughtIn as refusal:
            refused = refusal
        except Refusal as refusal:
            form.add_error("file", refusal.message)
        if brought and not brought.is_check:
            messages.success(request, " ".join([str(brought), *brought.also]))
            there = reverse("import_csv_kind", args=[kind])
            return redirect(f"{there}?{urlencode({'orders': _named(brought)})}" if kind == ORDERS else there)
    return render(
        request,
        "planning/import.html",
        {
            "title": _("Bring in %(kinds)s") % {"kinds": _(kind)},
            "kind": importing.KINDS[kind],
            "kinds": [
                (name, reverse("import_csv_kind", args=[name])) for name in KINDS if roles.may_bring_in(held, name)
            ],
            "list": LISTS.get(kind, kind),
            "form": form,
            "brought": brought,
            "refused": refused,
            "to_warp": _to_warp(request) if kind == ORDERS else None,
            "n_more": refused.n_wrong - len(refused.wrong) if refused else 0,
            "templates": [(_ending(decimal), decimal) for decimal in SIGNS],
        },
        status=422 if refused or form.errors else 200,
    )


def _named(brought: Brought) -> str:
    return ",".join(brought.names) if len(brought.names) <= NAMED_MAX else ""


def _to_warp(request: HttpRequest) -> dict[str, Any] | None:
    """The orders that were just brought in, as far as lines of them wait for a warp; None when none does."""
    said = request.GET.get("orders")
    if said is None:
        return None
    lines = OrderLine.objects.not_on_a_warp()
    numbers = said.split(",")[:NAMED_MAX] if said else []
    n_lines = (lines.filter(order__number__in=numbers) if numbers else lines).count()
    return {"orders": ",".join(numbers), "n_lines": n_lines} if n_lines else None


def _ending(decimal: str) -> str:
    return _("semicolons and decimal commas") if decimal == COMMA else _("commas and decimal points")


@require_GET
@room("mill")
def import_template(request: HttpRequest, kind: str, decimal: str = POINT) -> HttpResponse:
    """An example file: the header, and one row of examples."""
    if kind not in KINDS or decimal not in SIGNS or not roles.may_bring_in(roles.roles_of(request.user), kind):
        raise Http404(kind)
    # With the mark, by which a spreadsheet knows the text for UTF-8.
    text = "\ufeff" + csv_book.template(importing.KINDS[kind].columns, decimal=decimal)
    return HttpResponse(
        text,
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{kind}.csv"'},
    )


urlpatterns = [
    path("import/", import_csv, name="import_csv"),
    path("import/<str:kind>/", import_csv, name="import_csv_kind"),
    path("import/<str:kind>/template-<str:decimal>.csv", import_template, name="import_template"),
]
