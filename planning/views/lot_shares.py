from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from mill.desk import room
from mill.fields import whole
from mill.refusal import Refusal
from mill.templatetags.mill import kg
from planning.forms.lot_shares import LookForm, Sheet, write_takes
from planning.services import lot_shares
from planning.services.lot_shares import Line, Share, Waiting, YarnShares

# A leaf ends with the yarn that brings it to so many lines: a yarn is never parted, since it is decided together.
LINES_PER_LEAF = 40


@dataclass(frozen=True)
class SeenLine:
    """A line with its lots as a hidden field carries them."""

    line: Line
    takes: str
    is_ticked: bool


@dataclass(frozen=True)
class SeenYarn:
    shares: YarnShares
    lines: list[SeenLine]


@room("yarn")
@require_http_methods(["GET", "POST"])
def share_out_page(request: HttpRequest) -> HttpResponse:
    """Which lots go to which warp, decided for all of them together; another choice and what it means; holding them."""
    form = LookForm(request.GET)
    look = form.cleaned_data if form.is_valid() else {}
    found, stale = lot_shares.waiting()
    if request.method == "GET":
        return _page(request, form, looked_at(found, look), Sheet({}, False, {}, ()), stale)
    try:
        sheet = Sheet.read(request.POST)
        if "hold_ticked" in request.POST and not sheet.is_changed:
            _hold(request, sheet)
            return redirect(request.get_full_path())
    except Refusal as refusal:
        messages.error(request, refusal.message)
        return redirect(request.get_full_path())
    if "hold_ticked" in request.POST:
        messages.warning(request, _("Nothing is held yet: a dye lot was chosen. See what it means, then hold it."))
    return _page(request, form, looked_at(found, look), sheet, stale)


def _hold(request: HttpRequest, sheet: Sheet) -> None:
    held = lot_shares.hold_shares([Share(key, takes) for key, takes in sheet.ticked.items()], by=request.user)
    if held.lines:
        said = ngettext("%(mass)s kg are held for %(n)s line.", "%(mass)s kg are held for %(n)s lines.", held.lines)
        messages.success(request, said % {"mass": kg(held.grams, 2), "n": held.lines})
    else:
        messages.info(request, _("All that was ticked is held already."))


def _takes(line: Line) -> str:
    return write_takes(line.choice.takes) if line.choice else ""


def looked_at(found: Sequence[Waiting], look: Mapping[str, Any]) -> list[list[Waiting]]:
    """What waits, by yarn, as far as it is looked at; the yarn that is wanted first before."""
    by_yarn: dict[int, list[Waiting]] = {}
    for one in found:
        by_yarn.setdefault(one.need.yarn_id, []).append(one)
    text, number = str(look.get("yarn") or "").strip().lower(), look.get("warp")
    seen = [
        ones
        for ones in by_yarn.values()
        if text in str(ones[0].need.yarn).lower() and (not number or any(one.key[0] == number for one in ones))
    ]
    if look.get("show") != "short":
        return seen
    # What is short is known once all is decided.
    every = lot_shares.decide([one for ones in seen for one in ones])
    short = {one.shared.yarn for one in every if one.shared.outcome.short}
    return [ones for ones in seen if ones[0].need.yarn_id in short]


def _leaf(of_yarns: Sequence[Sequence[Waiting]], page: int) -> tuple[list[Sequence[Waiting]], int]:
    """The yarns of a leaf, and how many leaves there are."""
    leaves: list[list[Sequence[Waiting]]] = [[]]
    for ones in of_yarns:
        if sum(map(len, leaves[-1])) >= LINES_PER_LEAF:
            leaves.append([])
        leaves[-1].append(ones)
    return leaves[min(max(page, 1), len(leaves)) - 1], len(leaves)


def _page(
    request: HttpRequest,
    form: LookForm,
    of_yarns: Sequence[Sequence[Waiting]],
    sheet: Sheet,
    stale: Sequence[Any],
) -> HttpResponse:
    page = whole(request.GET.get("page")) or 1
    on_leaf, leaves = _leaf(of_yarns, page)
    shares = [
        SeenYarn(
            of_yarn,
            [SeenLine(line, _takes(line), line.is_met and sheet.is_ticked(line.waiting.key)) for line in of_yarn.lines],
        )
        for of_yarn in lot_shares.told([one for ones in on_leaf for one in ones], sheet.chosen)
    ]
    return render(
        request,
        "planning/lot_shares.html",
        {
            "title": _("Share out the lots"),
            "form": form,
            "shares": shares,
            "stale": stale,
            "is_chosen": bool(sheet.chosen),
            "n_lines": sum(map(len, of_yarns)),
            "n_yarns": len(of_yarns),
            "left_g": sum(one.left_g for ones in of_yarns for one in ones),
            "short": sum(one.shares.short for one in shares),
            "leaf": min(max(page, 1), leaves),
            "leaves": leaves,
            "nothing": lot_shares.NOTHING,
            "is_narrowed": any(form.cleaned_data.values()) if form.is_valid() else False,
        },
    )


urlpatterns = [path("yarn/share-out/", share_out_page, name="lot_shares")]
