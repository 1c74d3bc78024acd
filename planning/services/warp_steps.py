"""The steps of a warp, from planned to woven out: each only from the state before it, and counted once.

A second tap on the same step finds it taken and gives the warp as it is. Locks as in `warps.py`.
"""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.db import transaction
from django.utils import timezone

from inventory.models import Movement
from mill.refusal import N_, Refusal, Word
from planning.models import Loom, Warp, WarpHold, WarpPart
from planning.services import plans, retelling, retiming, warp_yarn, working_out
from planning.services.line_states import lines_follow
from planning.services.pieces import picks_told
from planning.services.warps import FOLLOWING, current_specs, lines_of, lock_warps, signed, write_columns

ON_A_BEAM = (Warp.WOUND, Warp.GAITED, Warp.WEAVING)
ORDER_OF_STATES = [state for state, _ in Warp.STATES]


def _expect(warp: Warp, state: str, step: str) -> None:
    """The step is taken from this state alone; any other gets a sentence that says what comes first."""
    if warp.state == state:
        return
    if ORDER_OF_STATES.index(warp.state) > ORDER_OF_STATES.index(state):
        raise Refusal(
            N_("%(warp)s is %(state)s; it was %(step)s before. Look at it as it is now."),
            warp=warp,
            state=Word(warp.state),
            step=Word(step),
        )
    raise Refusal(
        N_("%(warp)s is %(state)s; it must be %(first)s before it is %(step)s."),
        warp=warp,
        state=Word(warp.state),
        first=Word(state),
        step=Word(step),
    )


@transaction.atomic
def draw_yarn(warp: Warp, *, by: Any) -> Warp:
    """The warp's own yarn leaves the store out of its holds. From now on the warp follows no revision."""
    (warp,) = lock_warps(warp.pk)
    if warp.state == Warp.YARN_DRAWN:
        return warp
    _expect(warp, Warp.PLANNED, N_("drawn for"))
    warp_yarn.draw_warp_yarn(warp, by=by)
    warp = _to(warp, Warp.YARN_DRAWN, by=by)
    # What is drawn is demanded no more.
    working_out.warps_changed([warp.pk])
    return warp


@transaction.atomic
def draw_weft(warp: Warp, *, by: Any, holds: Iterable[int] | None = None, key: str = "") -> int:
    """The weft that is held leaves the store, all or these holds; grams drawn, 0 when nothing is held any more."""
    (warp,) = lock_warps(warp.pk)
    if warp.state in (*FOLLOWING, Warp.WOVEN_OUT):
        raise Refusal(
            N_("%(warp)s is %(state)s; weft is drawn once its warp yarn is, and until it is woven out."),
            warp=warp,
            state=Word(warp.state),
        )
    drawn_g = warp_yarn.draw_weft(warp, by=by, holds=holds, key=key)
    if drawn_g:
        working_out.warps_changed([warp.pk])
    return drawn_g


@transaction.atomic
def follow_store(reservation: int) -> None:
    """What a hold of a warp says is drawn follows the ledger, where the store itself drew out of it or took that back.

    reservation   primary key; what is held for no warp changes nothing
    """
    found = WarpHold.objects.filter(reservation=reservation).select_related("warp").first()
    if found is None:
        return
    lock_warps(found.warp_id)
    hold = WarpHold.objects.get(pk=found.pk)
    drawn_g = warp_yarn.drawn_by_ledger([hold.pk])[hold.pk]
    if hold.drawn_g != drawn_g:
        WarpHold.objects.filter(pk=hold.pk).update(drawn_g=drawn_g, is_drawn=drawn_g > 0)
        working_out.warps_changed([hold.warp_id])


@transaction.atomic
def take_weft_back(warp: Warp, *, draw: Movement, reason: str, by: Any) -> None:
    """Weft that was not drawn after all is held again."""
    (warp,) = lock_warps(warp.pk)
    warp_yarn.take_draw_back(draw, by=by, reason=reason)
    working_out.warps_changed([warp.pk])


@transaction.atomic
def wind(warp: Warp, *, by: Any) -> Warp:
    """It is on its beam."""
    (warp,) = lock_warps(warp.pk)
    if warp.state == Warp.WOUND:
        return warp
    _expect(warp, Warp.YARN_DRAWN, "wound")
    if warp.beam is None:
        raise Refusal(N_("%(warp)s has no beam yet. Choose the beam that it is wound on."), field="beam", warp=warp)
    full = Warp.objects.filter(beam=warp.beam_id, state__in=ON_A_BEAM).exclude(pk=warp.pk).first()
    if full:
        raise Refusal(
            N_("Beam %(beam)s holds %(full)s, which is %(state)s. Choose another beam for %(warp)s."),
            field="beam",
            beam=warp.beam,
            full=full,
            state=Word(full.state),
            warp=warp,
        )
    warp = _to(warp, Warp.WOUND, by=by)
    retiming.ask()
    return warp


@transaction.atomic
def gait(warp: Warp, *, loom: Loom, by: Any) -> Warp:
    """It hangs in the loom, drawn or tied in: the loom is gaited for its like from now on."""
    (warp,) = lock_warps(warp.pk)
    if warp.state == Warp.GAITED and warp.loom_id == loom.pk:
        return warp
    _expect(warp, Warp.WOUND, "gaited")
    loom = Loom.objects.select_for_update(of=("self",), no_key=True).select_related("shift_pattern").get(pk=loom.pk)
    hangs = Warp.objects.filter(loom=loom, state__in=plans.IN_LOOM).select_related("worked").first()
    if hangs:
        left = max(0, hangs.worked.picks - hangs.picks_woven)
        raise Refusal(
            N_(
                "%(hangs)s hangs in loom %(loom)s and is %(state)s, with %(left)s picks to go. Weave it out first, or"
                " choose another loom."
            ),
            field="loom",
            hangs=hangs,
            loom=loom,
            state=Word(hangs.state),
            left=left,
        )
    if loom.is_held:
        raise Refusal(
            N_("Loom %(loom)s is held: %(why)s. Let it go first, or choose another loom."),
            field="loom",
            loom=loom,
            why=loom.held_reason,
        )
    row = working_out.for_working_out(Warp.objects.filter(pk=warp.pk)).get()
    if row.worked.figures is None:
        raise Refusal(
            N_("%(warp)s can't be woven as it stands: %(why)s"),
            warp=warp,
            why=row.worked.told_trouble if row.worked.trouble else Word(N_("it is being worked out.")),
        )
    misfit = next(why for one, why in plans.looms_that_fit(warp) if one.pk == loom.pk)
    if misfit:
        raise Refusal(
            N_("Loom %(loom)s can't take %(warp)s: %(why)s. Choose another loom."),
            field="loom",
            loom=loom,
            warp=warp,
            why=retelling.Kept(misfit, "misfit"),
        )
    _gait_loom(loom, family=row.worked.family_key, reed=plans.reed_key(row), by=by)
    warp = _to(warp, Warp.GAITED, by=by, loom=loom)
    retiming.ask()
    working_out.warps_changed([warp.pk])
    return warp


def _gait_loom(loom: Loom, *, family: str, reed: str, by: Any) -> None:
    if (loom.gaited_family, loom.gaited_reed) == (family, reed):
        return
    loom.gaited_family, loom.gaited_reed = family, reed
    signed(loom, by=by)
    loom.save(update_fields=["gaited_family", "gaited_reed"])


@transaction.atomic
def begin_weaving(warp: Warp, *, by: Any) -> Warp:
    (warp,) = lock_warps(warp.pk)
    if warp.state == Warp.WEAVING:
        return warp
    _expect(warp, Warp.GAITED, "weaving")
    warp = _to(warp, Warp.WEAVING, by=by)
    retiming.ask()
    return warp


@transaction.atomic
def weave_out(warp: Warp, *, by: Any, on: date | None = None) -> Warp:
    """The last pick is woven: the beam is free, yarn still held is let go, nothing more is drawn for it."""
    (warp,) = lock_warps(warp.pk)
    if warp.state == Warp.WOVEN_OUT:
        return warp
    _expect(warp, Warp.WEAVING, "woven out")
    on = on or timezone.localdate()
    if on > timezone.localdate():
        raise Refusal(
            N_("%(warp)s can't be woven out on %(on)s, which is after today, %(today)s."),
            field="on",
            warp=warp,
            on=f"{on:%d.%m.%Y}",
            today=f"{timezone.localdate():%d.%m.%Y}",
        )
    warp_yarn.let_go(warp, by=by, reason=f"{warp} is woven out.")
    warp = _to(warp, Warp.WOVEN_OUT, by=by, woven_out_on=on, picks_woven=warp.worked.picks)
    working_out.forget_demand(warp)
    retiming.ask()
    return warp


def _to(warp: Warp, state: str, *, by: Any, reason: str = "", **columns: Any) -> Warp:
    write_columns(warp, by=by, reason=reason, state=state, **columns)
    lines_follow(lines_of(warp))
    return warp


STEP_BEFORE = {
    Warp.YARN_DRAWN: Warp.PLANNED,
    Warp.WOUND: Warp.YARN_DRAWN,
    Warp.GAITED: Warp.WOUND,
    Warp.WEAVING: Warp.GAITED,
    Warp.WOVEN_OUT: Warp.WEAVING,
}


@transaction.atomic
def step_back(warp: Warp, *, reason: str, by: Any, seen_state: str | None = None) -> Warp:
    """Take back a step that was not taken after all; only where nothing has been built on it.

    seen_state   the state that whoever asks had before them: a second tap takes nothing back twice
    """
    (warp,) = lock_warps(warp.pk)
    if seen_state is not None and warp.state == STEP_BEFORE.get(seen_state):
        return warp
    if warp.state not in STEP_BEFORE:
        raise Refusal(N_("%(warp)s is %(state)s: there is no step to take back."), warp=warp, state=Word(warp.state))
    if not reason.strip():
        raise Refusal(
            N_("Say why %(warp)s is not %(state)s after all: others have worked by it."),
            field="reason",
            warp=warp,
            state=Word(warp.state),
        )
    was, state = warp.state, STEP_BEFORE[warp.state]
    if was == Warp.YARN_DRAWN:
        warp_yarn.take_draws_back(warp, by=by, reason=reason)
        _follow_revisions_again(warp)
        warp = _to(warp, state, by=by, reason=reason)
    elif was == Warp.GAITED:
        loom = Loom.objects.select_for_update(of=("self",), no_key=True).get(pk=warp.loom_id or 0)
        _gait_loom(loom, **_gaited_before(loom, warp), by=by)
        warp = _to(warp, state, by=by, reason=reason, loom=None)
    elif was in (Warp.WEAVING, Warp.WOVEN_OUT):
        _check_nothing_built_on(warp)
        columns = {"woven_out_on": None, "picks_woven": picks_told(warp)} if was == Warp.WOVEN_OUT else {}
        warp = _to(warp, state, by=by, reason=reason, **columns)
    else:
        warp = _to(warp, state, by=by, reason=reason)
    retiming.ask()
    working_out.warps_changed([warp.pk])
    return warp


def _follow_revisions_again(warp: Warp) -> None:
    """A planned warp stands on the latest revisions, also when they were made while its yarn was out."""
    parts = list(warp.parts.select_related("spec"))
    specs = current_specs(part.spec.cloth_id for part in parts)
    for part in parts:
        WarpPart.objects.filter(pk=part.pk).update(spec=specs[part.spec.cloth_id])


def _gaited_before(loom: Loom, warp: Warp) -> dict[str, str]:
    """What was drawn in before: of the warp last woven out there. Not known counts as a bare loom."""
    last = loom.warps.filter(state=Warp.WOVEN_OUT).exclude(pk=warp.pk).order_by("-woven_out_on", "-number").first()
    if last is None:
        return {"family": "", "reed": ""}
    row = working_out.for_working_out(Warp.objects.filter(pk=last.pk)).get()
    return {"family": row.worked.family_key, "reed": plans.reed_key(row)}


def _check_nothing_built_on(warp: Warp) -> None:
    pieces = warp.woven_pieces.count()
    if warp.state == Warp.WEAVING and (warp.picks_woven or pieces):
        raise Refusal(
            N_(
                "%(warp)s has %(picks)s picks woven and %(pieces)s pieces off the loom. It can't be taken back to"
                " gaited."
            ),
            warp=warp,
            picks=warp.picks_woven,
            pieces=pieces,
        )
    if warp.state == Warp.WOVEN_OUT:
        hangs = Warp.objects.filter(loom=warp.loom_id, state__in=plans.IN_LOOM).first()
        if hangs:
            raise Refusal(
                N_("%(hangs)s hangs in loom %(loom)s by now. %(warp)s can't go back into it."),
                hangs=hangs,
                loom=warp.loom,
                warp=warp,
            )
        full = Warp.objects.filter(beam=warp.beam_id, state__in=ON_A_BEAM).first()
        if full:
            raise Refusal(
                N_("Beam %(beam)s holds %(full)s by now. %(warp)s can't be on it any more."),
                beam=warp.beam,
                full=full,
                warp=warp,
            )
