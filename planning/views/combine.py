from collections.abc import Sequence
from dataclasses import dataclass

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_http_methods

from mill.desk import room
from mill.refusal import Refusal
from planning.combining import Part, Proposal, Saving
from planning.forms.warps import CombineSheet, Row, WishesForm
from planning.services import combine, rulings
from planning.services.combine import Group, Locked, Waiting, Wishes

GROUPS_ON_A_LEAF = 12


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
    def saves(self) -> Saving:
        """Against one warp a line, as long as the sheet is the proposal; else against winding each part apart."""
        if not self.is_own and self.group.saves:
            return self.group.saves
        return combine.together(warp.proposal.saves for warp in self.warps if warp.proposal)


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


def _page(
    request: HttpRequest, form: WishesForm, groups: Sequence[Group], sheet: CombineSheet | None = None
) -> HttpResponse:
    seen = [_seen(group, sheet if sheet and sheet.key == group.warp_key else None) for group in groups]
    workable = [one for one in seen if one.group.combination]
    return render(
        request,
        "planning/combine.html",
        {
            "title": "Order lines into warps",
            "form": form,
            "page": Paginator(workable, GROUPS_ON_A_LEAF).get_page(request.GET.get("page")),
            "troubled": [one.group for one in seen if not one.group.combination],
            "refused": [entry for one in workable for entry in one.group.refused],
            "n_lines": sum(len(group.lines) for group in groups),
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
    if request.method == "GET":
        return _page(request, form, groups)
    group = next((one for one in groups if one.warp_key == request.POST.get("group")), None)
    if group is None or group.combination is None:
        messages.info(request, "Nothing of this warp waits any more. Look at what does.")
        return redirect(request.get_full_path())
    sheet = CombineSheet.read(request.POST, {pk: waiting.pieces for pk, waiting in group.by_pk.items()})
    answer = None
    if "accept_warps" in request.POST:
        answer = _accept(request, _seen(group, sheet), wishes)
    elif any(name in request.POST for name in ("lock", "refuse", "take_back")):
        answer = _rule(request, _seen(group, sheet), wishes)
    if answer:
        return answer
    if (n := request.POST.get("split", "")).isdecimal():
        sheet.split(int(n))
    return _page(request, form, groups, sheet)


def _accept(request: HttpRequest, seen: SeenGroup, wishes: Wishes) -> HttpResponse | None:
    """Make the ticked warps. None when one of them can't be: the sheet stays as it was put together."""
    ticked = [warp for warp in seen.warps if warp.is_ticked]
    wrong = [warp for warp in ticked if warp.proposal is None]
    if wrong:
        messages.error(request, f"Warp {wrong[0].number} of the sheet: {wrong[0].wrong}")
        return None
    wanted = [[(part.key, part.pieces) for part in warp.proposal.parts] for warp in ticked if warp.proposal]
    try:
        made = combine.accept(wanted, by=request.user, includes_planned=wishes.includes_planned)
    except Refusal as refusal:
        messages.error(request, refusal.message)
        return None
    names = ", ".join(str(warp.number) for warp in made)
    messages.success(request, f"Warp{'s' if len(made) > 1 else ''} {names} planned.")
    bare = [str(warp) for warp in made if warp.beam is None]
    if bare:
        messages.warning(request, f"No free beam takes {', '.join(bare)} yet. Choose one once a beam is free.")
    return redirect(request.get_full_path())


def _rule(request: HttpRequest, seen: SeenGroup, wishes: Wishes) -> HttpResponse | None:
    """Lock or refuse one warp of the sheet, or take such a word back. None when that can't be: the sheet stays."""
    try:
        if (pk := request.POST.get("take_back", "")).isdecimal():
            rulings.take_back(int(pk), by=request.user)
            messages.success(request, "Taken back: what it held is proposed anew.")
            return redirect(request.get_full_path())
        kind = "lock" if "lock" in request.POST else "refuse"
        warp = next((one for one in seen.warps if str(one.number) == request.POST.get(kind)), None)
        if warp is None or not warp.rows:
            raise Refusal("There is no such warp on the sheet. Look at the proposals as they are now.")
        if warp.proposal is None:
            raise Refusal(f"Warp {warp.number} of the sheet: {warp.wrong}")
        parts = [(part.key, part.pieces) for part in warp.proposal.parts]
        if kind == "lock":
            rulings.lock(parts, by=request.user, includes_planned=wishes.includes_planned)
            messages.success(request, "Locked: this warp is proposed as it is until it is made, or unlocked.")
        else:
            rulings.refuse(parts, by=request.user)
            messages.success(request, "Refused: these lines are not proposed together again until you ask for it.")
    except Refusal as refusal:
        messages.error(request, refusal.message)
        return None
    return redirect(request.get_full_path())


urlpatterns = [path("warps/combine/", combine_page, name="combine")]
