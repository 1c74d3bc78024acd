"""What a revision would do to days, hours and tickets, before it is written. Writes nothing."""

from mill.models import Mill
from mill.refusal import Refusal
from planning.models import Cloth, Warp, WarpPart
from planning.services import effects, working_out
from planning.services.assuming import Assumed, PartThen
from planning.services.cloths import SpecDraft, as_cloths, latest_specs, run_then
from planning.services.effects import Effects
from planning.ticket import Run


def effects_of_revision(cloth: Cloth, draft: SpecDraft) -> Effects | None:
    """What the draft would do were it the next revision, the looms' orders as they are; None without a plan in force.

    Yarn is taken to let the warps go when it does now: what becomes of it is `cloths.what_it_changes`. Raises Refusal,
    as `cloths.revise` would, for a draft that can't be woven.
    """
    last = latest_specs().filter(cloth=cloth).first()
    made = as_cloths(draft, cloth=cloth, revision=last.revision + 1 if last else 1)
    by_colourway = {colourway.colourway_id: made[colourway.name] for colourway in draft.made}
    of_cloth = Warp.objects.open().filter(pk__in=WarpPart.objects.filter(spec__cloth=cloth).values("warp"))
    mill = Mill.the_one()
    runs: dict[int, list[Run]] = {}
    taken = {}
    for warp in working_out.for_working_out(of_cloth.follows_revisions()):
        try:
            runs[warp.pk] = [run_then(part, cloth, by_colourway) for part in warp.parts.all()]
        except Refusal:
            # Why it can't be woven so stands beside the warp.
            runs[warp.pk] = []
        parts = {part.pk: _part_then(part, cloth, draft) for part in warp.parts.all()}
        taken[warp.pk] = effects.as_woven(warp, runs[warp.pk], parts, mill=mill)
    return effects.of(Assumed(warps=taken), runs=runs)


def _part_then(part: WarpPart, cloth: Cloth, draft: SpecDraft) -> PartThen:
    if part.spec.cloth_id != cloth.pk:
        return PartThen(part.pieces, part.line.due_on, part.spec.finishing_days, part.spec.reed_dents_per_10cm)
    columns = draft.columns
    return PartThen(part.pieces, part.line.due_on, columns["finishing_days"], columns["reed_dents_per_10cm"])
