"""What order lines would do to yarn, days, hours and tickets, before they are written. Writes nothing."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from django.utils.translation import gettext

from inventory import services as store
from inventory.services import Foreseen, OfYarn, Otherwise
from mill.models import Mill
from mill.refusal import Refusal
from planning.models import ClothSpec, OrderLine, Warp, mill_facts
from planning.services import effects, working_out
from planning.services.assuming import Assumed, PartThen
from planning.services.effects import Effects
from planning.services.foresight import WarpThen, foresee_warps, yarn_ids_of, yarn_needs
from planning.services.line_figures import LineFigures, alone, run_of_draft
from planning.services.line_states import parts_there, pieces_elsewhere
from planning.services.orders import PRINTED, LineDraft, draft_of
from planning.services.warps import FOLLOWING, current_specs
from planning.ticket import Figures, Run


def foresee_lines(lines: Iterable[tuple[str, LineDraft, LineFigures | None]]) -> Foreseen:
    """What new lines would do, each alone on a warp that draws its yarn by the last day that serves its due date.

    lines    each with what it is called, and its figures where it can be worked out
    """
    worked = [(label, draft, takes.figures) for label, draft, takes in lines if takes and takes.figures]
    specs = current_specs({draft.cloth.pk for _, draft, _ in worked})
    yarn_ids = yarn_ids_of(figures for _, _, figures in worked)
    rows = [
        row
        for label, draft, figures in worked
        for row in _drawn(label, draft, figures, specs[draft.cloth.pk], yarn_ids)
    ]
    return store.foresee(Otherwise(demands=tuple(rows)))


def _drawn(
    label: str, draft: LineDraft, figures: Figures, spec: ClothSpec, yarn_ids: Mapping[str, int]
) -> list[OfYarn]:
    on = working_out.latest_start(draft.due_on, spec.finishing_days)
    return [OfYarn(yarn_ids[need.code], on, need.issue_g, label) for need in yarn_needs(figures)]


def foresee_line(line: OrderLine, draft: LineDraft) -> Foreseen:
    """What a changed line would do: to the warps that it is on and that follow it, and for its pieces on no warp."""
    specs = current_specs({draft.cloth.pk, line.cloth_id})
    mill = Mill.the_one()
    before = draft_of(line)
    warps = _warps_of(line)
    on_now = {warp.pk: sum(part.pieces for part in warp.parts.all() if part.line_id == line.pk) for warp in warps}
    on_then = _pieces_then(warps, on_now, draft.pieces, was=before.pieces)
    then = []
    for warp in warps:
        if warp.state not in FOLLOWING:
            continue
        parts = _parts_then(warp, line, draft, on_then[warp.pk], specs)
        if not parts:
            then.append(WarpThen(warp, None, None))
            continue
        worked = working_out.work_out_warp(warp, mill=mill, runs=[run for _, run, _ in parts])
        begins_by = min(working_out.latest_start(said.due_on, said.finishing_days) for _, _, said in parts)
        figures = worked.figures if worked else None
        then.append(WarpThen(warp, figures, working_out.slot_in_force(warp), begins_by))
    woven = pieces_elsewhere([line.pk])[line.pk]
    return foresee_warps(
        then,
        besides=_on_no_warp(line, draft, draft.pieces - sum(on_then.values()) - woven, specs, mill),
        besides_now=_on_no_warp(line, before, before.pieces - sum(on_now.values()) - woven, specs, mill),
    )


def _warps_of(line: OrderLine) -> list[Warp]:
    of_line = Warp.objects.filter(parts__in=parts_there([line.pk])).distinct().order_by("number")
    return list(working_out.for_working_out(of_line))


def _pieces_then(warps: Sequence[Warp], on_now: Mapping[int, int], pieces: int, *, was: int) -> dict[int, int]:
    """Pieces of a line on each warp once it has so many, as `orders.change_line` has them follow."""
    following = [warp for warp in warps if warp.state in FOLLOWING]
    on = dict(on_now)
    if len(warps) == 1 and following and on[warps[0].pk] == was:
        return {warps[0].pk: pieces}
    over = sum(on.values()) - pieces
    for warp in reversed(following):
        off = min(max(over, 0), on[warp.pk])
        on[warp.pk] -= off
        over -= off
    return on


def effects_of_line(line: OrderLine, draft: LineDraft) -> Effects | None:
    """What a changed line would do to days, hours and tickets, the looms' orders as they are.

    None without a plan in force. Yarn is taken to let the warps go when it does now: what becomes of it is
    `foresee_line`.
    """
    specs = current_specs({draft.cloth.pk, line.cloth_id})
    mill = Mill.the_one()
    warps = _warps_of(line)
    on_now = {warp.pk: sum(part.pieces for part in warp.parts.all() if part.line_id == line.pk) for warp in warps}
    on_then = _pieces_then(warps, on_now, draft.pieces, was=line.pieces)
    runs: dict[int, list[Run]] = {}
    taken = {}
    for warp in warps:
        if warp.state in FOLLOWING:
            parts = _parts_then(warp, line, draft, on_then[warp.pk], specs)
            runs[warp.pk] = [run for _, run, _ in parts]
            taken[warp.pk] = effects.as_woven(warp, runs[warp.pk], {pk: said for pk, _, said in parts}, mill=mill)
    before = draft_of(line)
    is_reprinted = any(getattr(before, name) != getattr(draft, name) for name in PRINTED)
    reprinted = {warp.pk for warp in warps if is_reprinted}
    return effects.of(Assumed(warps=taken), runs=runs, reprinted=reprinted)


def _parts_then(
    warp: Warp, line: OrderLine, draft: LineDraft, pieces: int, specs: Mapping[int, ClothSpec]
) -> list[tuple[int, Run, PartThen]]:
    """What would be woven on the warp, each part by its primary key."""
    found = []
    for part in warp.parts.all():
        spec, said, count = part.spec, draft_of(part.line), part.pieces
        if part.line_id == line.pk:
            said, count, pieces = draft, pieces, 0
            spec = part.spec if draft.colourway.pk == part.line.colourway_id else specs[draft.cloth.pk]
        if count:
            made = spec.as_cloth(said.colourway)
            run = Run(str(part.line), part.line.order.customer.name, made, count, said.length_m)
            then = PartThen(count, said.due_on, spec.finishing_days, spec.reed_dents_per_10cm)
            found.append((part.pk, run, then))
    return found


def _on_no_warp(
    line: OrderLine, draft: LineDraft, pieces: int, specs: Mapping[int, ClothSpec], mill: Mill
) -> list[OfYarn]:
    """What the pieces of a line that no warp has draw, as if they were a line of their own."""
    spec = specs.get(draft.cloth.pk)
    if pieces <= 0 or spec is None:
        return []
    try:
        figures = alone(run_of_draft(replace(draft, pieces=pieces), spec), mill_facts(mill))
    except Refusal:
        # Why it can't be worked out stands beside its figures.
        return []
    return _drawn(
        gettext("Order %(line)s, on no warp yet") % {"line": line}, draft, figures, spec, yarn_ids_of([figures])
    )
