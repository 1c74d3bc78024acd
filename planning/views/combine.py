import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from mill.desk import room
from mill.fields import whole
from mill.refusal import N_, Refusal
from mill.working import Step
from planning.combining import Part, Proposal, Saving
from planning.forms.warps import CombineSheet, Row, WishesForm
from planning.models import Warp
from planning.services import combine, plans, rulings
from planning.services.combine import Group, Locked, Waiting, Wishes

GROUPS_ON_A_LEAF = 12
# From so many warps on a row's warp is written, not chosen: a choice of all in every row would be megabytes.
CHOSEN_FROM = 50


@dataclass(frozen=True)
class SeenRow:
    """A row of the sheet beside its line. `n` counts rows of the group from 0."""

    n: int
    row: Row
    waiting: Waiting


@dataclass(frozen=True)
class SeenWarp:
    """One warp of a group as it stands on the sheet: worked out, or what it breaks."""

    number: int
    rows: tuple[SeenRow, ...]
    proposal: Proposal | None
    wrong: str
    is_ticked: bool
    lock: Locked | None


@dataclass(frozen=True)
class SeenGroup:
    """A group with its sheet: the warps on it, the rows that are on none, and what the warps save together."""

    group: Group
    warps: tuple[SeenWarp, ...]
    left: tuple[SeenRow, ...]
    numbers: tuple[int, ...]
    is_own: bool

    @property
    def is_long(self) -> bool:
        return len(self.numbers) > CHOSEN_FROM

    @property
    def saves(self) -> Saving:
        """Against one warp a line, as long as the sheet is the proposal; else against winding each part apart."""
        if not self.is_own and self.group.saves:
            return self.group.saves
        return combine.together(warp.proposal.saves for warp in self.warps if warp.proposal)

    @property
    def working(self) -> tuple[Step, ...]:
        return self.group.worked([warp.proposal for warp in self.warps if warp.proposal], self.saves)


def _sheet_of(group: Group) -> CombineSheet:
    """The proposal as a sheet: every warp ticked, the locked ones first."""
    sheet = CombineSheet(group.warp_key)
    for number, proposal in enumerate(group.proposals, start=1):
        sheet.rows += [Row(part.key, part.pieces, number) for part in proposal.parts]
        sheet.ticked.add(number)
    return sheet


def _seen(group: Group, sheet: CombineSheet | None) -> SeenGroup:
    own = sheet or _sheet_of(group)
    rows = [SeenRow(n, row, group.by_pk[row.line]) for n, row in enumerate(own.rows) if row.line in group.by_pk]
    found = []
    for number in own.warps():
        of_it = tuple(row for row in rows if row.row.warp == number)
        proposal, wrong = _work_out(group, [row.row for row in of_it])
        lock = group.lock_on(proposal.parts) if proposal else None
        found.append(SeenWarp(number, of_it, proposal, wrong, number in own.ticked, lock))
    return SeenGroup(
        group=group,
        warps=tuple(found),
        left=tuple(row for row in rows if not row.row.warp),
        numbers=tuple(range(1, own.next_warp + 1)),
        is_own=sheet is not None,
    )


def _work_out(group: Group, rows: Sequence[Row]) -> tuple[Proposal | None, str]:
    wrong = next((row.wrong for row in rows if row.wrong), "")
    if wrong:
        return None, wrong
    try:
        return group.rework(_parts(rows)), ""
    except Refusal as refusal:
        return None, refusal.message


def _parts(rows: Sequence[Row]) -> list[Part]:
    """Rows of one line on one warp are one part."""
    pieces: dict[int, int] = {}
    for row in rows:
        pieces[row.line] = pieces.get(row.line, 0) + row.pieces
    return [Part(line, n) for line, n in pieces.items()]


def _wanted(seen: Iterable[SeenGroup]) -> list[list[tuple[int, int]]]:
    """All ticked warps of these groups, each as (order line, pieces)."""
    return [
        [(part.key, part.pieces) for part in warp.proposal.parts]
        for one in seen
        for warp in one.warps
        if warp.is_ticked and warp.proposal
    ]


def _mark(wanted: list[list[tuple[int, int]]]) -> str:
    """The same for the same warps: what is made of all groups at once is what was seen."""
    return hashlib.sha256(repr(wanted).encode()).hexdigest()[:20]


def _page(
    request: HttpRequest, form: WishesForm, groups: Sequence[Group], sheet: CombineSheet | None = None
) -> HttpResponse:
    seen = [_seen(group, sheet if sheet and sheet.key == group.warp_key else None) for group in groups]
    workable = [one for one in seen if one.group.combination]
    wanted = [] if sheet else _wanted(workable)
    return render(
        request,
        "planning/combine.html",
        {
            "title": _("Order lines into warps"),
            "form": form,
            "page": Paginator(workable, GROUPS_ON_A_LEAF).get_page(request.GET.get("page")),
            "troubled": [one.group for one in seen if not one.group.combination],
            "refused": [entry for one in workable for entry in one.group.refused],
            "n_lines": sum(len(group.lines) for group in groups),
            "of_orders": sorted(form.numbers()) if form.is_bound and form.is_valid() else [],
            "is_ruled": any(value for name, value in request.GET.items() if name not in {"orders", "page"}),
            "n_wanted": len(wanted) if len(workable) > 1 else 0,
            "mark": _mark(wanted),
            "unplanned": plans.unplanned().count(),
            "n_warps": sum(len(one.warps) for one in workable),
            "saves": combine.together(one.saves for one in workable),
        },
    )


@room("warps")
@require_http_methods(["GET", "POST"])
def combine_page(request: HttpRequest) -> HttpResponse:
    """Proposals by warp specification; a planner puts them together otherwise, and accepts all or some.

    What is set for the look stands in the address, so that it can be kept; what is put together is sent.
    """
    form = WishesForm(request.GET if request.GET.keys() & WishesForm.base_fields.keys() else None)
    wishes = Wishes(**form.said()) if form.is_bound and form.is_valid() else Wishes()
    groups = combine.propose(wishes)
    if form.is_bound and form.is_valid() and (numbers := form.numbers()):
        groups = [group for group in groups if _is_of(group, numbers)]
    if request.method == "GET":
        return _page(request, form, groups)
    if "accept_all" in request.POST:
        return _accept_all(request, groups, wishes)
    group = next((one for one in groups if one.warp_key == request.POST.get("group")), None)
    if group is None or group.combination is None:
        messages.info(request, _("Nothing of this warp waits any more. Look at what does."))
        return redirect(request.get_full_path())
    sheet = CombineSheet.read(request.POST, {pk: waiting.pieces for pk, waiting in group.by_pk.items()})
    answer = None
    if "accept_warps" in request.POST:
        answer = _accept(request, _seen(group, sheet), wishes)
    elif any(name in request.POST for name in ("lock", "refuse", "take_back")):
        answer = _rule(request, _seen(group, sheet), wishes)
    if answer:
        return answer
    if (n := whole(request.POST.get("split"))) is not None:
        sheet.split(n)
    return _page(request, form, groups, sheet)


def _is_of(group: Group, numbers: set[str]) -> bool:
    """Whether a line of one of these orders is in the group, or can be on no warp."""
    lines = [*(one.line for one in group.lines), *(line for line, _ in group.refused)]
    return any(line.order.number in numbers for line in lines)


def _accept_all(request: HttpRequest, groups: Sequence[Group], wishes: Wishes) -> HttpResponse:
    """Make every warp that is proposed, if that is still what was seen."""
    wanted = _wanted(_seen(group, None) for group in groups if group.combination)
    if _mark(wanted) != request.POST["accept_all"]:
        messages.warning(request, _("Nothing is made: since you looked, other warps are proposed. Look at them first."))
        return redirect(request.get_full_path())
    try:
        _say_made(request, combine.accept(wanted, by=request.user, includes_planned=wishes.includes_planned))
    except Refusal as refusal:
        messages.error(request, refusal.message)
    return redirect(request.get_full_path())


def _accept(request: HttpRequest, seen: SeenGroup, wishes: Wishes) -> HttpResponse | None:
    """Make the ticked warps. None when one of them can't be: the sheet stays as it was put together."""
    ticked = [warp for warp in seen.warps if warp.is_ticked]
    wrong = [warp for warp in ticked if warp.proposal is None]
    if wrong:
        said = {"n": wrong[0].number, "why": wrong[0].wrong}
        messages.error(request, _("Warp %(n)s of the sheet: %(why)s") % said)
        return None
    try:
        made = combine.accept(_wanted([seen]), by=request.user, includes_planned=wishes.includes_planned)
    except Refusal as refusal:
        messages.error(request, refusal.message)
        return None
    _say_made(request, made)
    return redirect(request.get_full_path())


def _say_made(request: HttpRequest, made: Sequence[Warp]) -> None:
    names = ", ".join(str(warp.number) for warp in made)
    planned = ngettext("Warp %(numbers)s planned.", "Warps %(numbers)s planned.", len(made))
    messages.success(request, planned % {"numbers": names})
    bare = ", ".join(warp.called for warp in made if warp.beam is None)
    if bare:
        no_beam = _("No free beam takes %(warps)s yet. Choose one once a beam is free.")
        messages.warning(request, no_beam % {"warps": bare})


def _rule(request: HttpRequest, seen: SeenGroup, wishes: Wishes) -> HttpResponse | None:
    """Lock or refuse one warp of the sheet, or take such a word back. None when that can't be: the sheet stays."""
    try:
        if (pk := whole(request.POST.get("take_back"))) is not None:
            rulings.take_back(pk, by=request.user)
            messages.success(request, _("Taken back: what it held is proposed anew."))
            return redirect(request.get_full_path())
        kind = "lock" if "lock" in request.POST else "refuse"
        warp = next((one for one in seen.warps if str(one.number) == request.POST.get(kind)), None)
        if warp is None or not warp.rows:
            raise Refusal(N_("There is no such warp on the sheet. Look at the proposals as they are now."))
        if warp.proposal is None:
            raise Refusal(N_("Warp %(n)s of the sheet: %(why)s"), n=warp.number, why=warp.wrong)
        parts = [(part.key, part.pieces) for part in warp.proposal.parts]
        if kind == "lock":
            rulings.lock(parts, by=request.user, includes_planned=wishes.includes_planned)
            locked = _("Locked: this warp is proposed as it is until it is made, or unlocked.")
            messages.success(request, locked)
        else:
            rulings.refuse(parts, by=request.user)
            refused = _("Refused: these lines are not proposed together again until you ask for it.")
            messages.success(request, refused)
    except Refusal as refusal:
        messages.error(request, refusal.message)
        return None
    return redirect(request.get_full_path())


urlpatterns = [path("warps/combine/", combine_page, name="combine")]
