"""The yarn of a warp: which lots to hold for it and why, held, let go, drawn, and taken back.

Called by `warps.py` under the warp's lock, or by the page to look.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from django.db import transaction
from django.db.models import F, Min, Sum
from django.utils import timezone

from inventory import services as store
from inventory.draw import CHOSEN, HELD, Choice, Lot, Need, choose, in_pieces, left_over, listed
from inventory.ledger import written
from inventory.models import Movement, YarnDemand, YarnLot, draws
from inventory.shelf import Want
from mill.models import Mill
from mill.refusal import N_, Refusal, Word, in_words
from planning.models import Warp, WarpHold, WarpPart, WarpYarn
from planning.services.shortages import Shortage, shortages

WARP, WEFT = WarpYarn.WARP, WarpYarn.WEFT
APART = N_("This warp has been taken apart meanwhile. Look at the warps as they are now.")
# (use, primary key of the yarn)
Key = tuple[str, int]
# Primary key of the warp, use, primary key of the yarn.
NeedKey = tuple[int, str, int]


@dataclass(frozen=True)
class DyeLot:
    """A dye lot that could serve a need, and what taking it means, in a sentence."""

    dye_lot: str
    free_g: int
    lots: tuple[Lot, ...]
    serves: bool
    is_chosen: bool
    consequence: str


@dataclass(frozen=True)
class YarnState:
    """A yarn of a warp in one use: what it takes, what is held and drawn, and where the rest could come from.

    left_g      neither held nor drawn yet
    choice      which lots to take for it, and why; None when nothing is left to hold
    shortage    what would end it, where nothing free covers what is left
    """

    need: WarpYarn
    holds: tuple[WarpHold, ...]
    held_g: int
    drawn_g: int
    choice: Choice | None
    dye_lots: tuple[DyeLot, ...]
    shortage: Shortage | None = None

    @property
    def left_g(self) -> int:
        return max(0, self.need.issue_g - self.held_g - self.drawn_g)

    @property
    def over_g(self) -> int:
        """Held beyond what the warp takes by now."""
        return max(0, self.held_g + self.drawn_g - self.need.issue_g)

    @property
    def key(self) -> str:
        return f"{self.need.use}-{self.need.yarn_id}"


def states(warp: Warp, *, chosen: Mapping[Key, str] | None = None) -> list[YarnState]:
    """Every yarn of the warp, the warp's own first; lots that one need takes are not offered to the next.

    chosen   dye lots that a person has chosen for a need
    """
    chosen = chosen or {}
    needs = list(warp.yarns.select_related("yarn").order_by("use", "yarn__code"))
    needs.sort(key=lambda need: need.use != WARP)
    held: dict[Key, list[WarpHold]] = defaultdict(list)
    for hold in (
        warp.holds.select_related("yarn", "reservation__lot__place")
        .prefetch_related("reservation__movements")
        .order_by("pk")
    ):
        if not is_let_go(hold):
            held[hold.use, hold.yarn_id].append(hold)
    useful_g = Mill.the_one().useful_remainder_g
    lots = {lot.pk: lot for lot in store.lots_to_draw(need.yarn_id for need in needs)}
    pieces_g = pieces_of_many([warp.pk]).get(warp.pk, {})
    found = []
    for need in needs:
        holds = held[need.use, need.yarn_id]
        held_g, drawn_g = sum(map(remaining_g, holds)), sum(hold.drawn_g for hold in holds)
        state = YarnState(need, tuple(holds), held_g, drawn_g, None, ())
        if state.left_g and may_hold(warp, need.use):
            asked = asked_for(
                need, left_g=state.left_g, pieces_g=pieces_g.get(need.yarn.code, ()), dye_lots=_dye_lots_of(holds)
            )
            offered = list(lots.values())
            wanted, why = chosen.get((need.use, need.yarn_id), ""), CHOSEN
            if need.use == WARP and holds:
                # What is held or drawn decides: another dye lot of the colour never comes into the warp.
                wanted, why = _dye_lots_of(holds)[0], HELD
            choice = choose(asked, _only(offered, wanted), useful_g=useful_g, only_why=why if wanted else "")
            state = replace(state, choice=choice, dye_lots=_dye_lots(asked, offered, choice, useful_g))
            for take in choice.takes:
                lots[take.lot.pk] = replace(lots[take.lot.pk], free_g=lots[take.lot.pk].free_g - take.grams)
        found.append(state)
    return _with_shortages(warp, found, lots.values())


@dataclass(frozen=True)
class Unwanted:
    """A lot held for a warp that does not take its yarn any more, since a revision or a change of a line."""

    hold: WarpHold
    grams: int


def unwanted(warp: Warp, found: Iterable[YarnState]) -> list[Unwanted]:
    """What is held beside all that the warp takes; `found` is what it takes."""
    taken = {(state.need.use, state.need.yarn_id) for state in found}
    rows = warp.holds.select_related("yarn", "reservation__lot").prefetch_related("reservation__movements")
    held = [Unwanted(hold, remaining_g(hold)) for hold in rows.order_by("pk") if (hold.use, hold.yarn_id) not in taken]
    return [one for one in held if one.grams]


def _with_shortages(warp: Warp, found: Sequence[YarnState], left: Iterable[Lot]) -> list[YarnState]:
    short = {n: state.choice for n, state in enumerate(found) if state.choice and not state.choice.is_met}
    if not short:
        return list(found)
    days = days_wanted([warp.pk])
    wants = {
        n: Want(
            need=choice.need,
            name=name_of(found[n].need),
            wanted_on=days[warp.pk, found[n].need.use, found[n].need.yarn_id],
            only=_dye_lots_of(found[n].holds)[0] if found[n].need.use == WARP and found[n].holds else "",
        )
        for n, choice in short.items()
    }
    ends = shortages(
        [(wants[n], choice) for n, choice in short.items()], left, own=dict.fromkeys(wants.values(), warp.pk)
    )
    return [replace(state, shortage=ends[wants[n]]) if n in wants else state for n, state in enumerate(found)]


def remaining_g(hold: WarpHold) -> int:
    """What of a hold is neither drawn nor let go. Reads the movements through all(), so that a prefetch serves many."""
    return sum(line.held_change_g for line in hold.reservation.movements.all())


def is_let_go(hold: WarpHold) -> bool:
    """Nothing of it is held or drawn any more: it was let go on the lot's page, and binds the warp to nothing."""
    return not hold.drawn_g and not remaining_g(hold)


def holds_of(warp: Warp) -> list[WarpHold]:
    """Those of which something is held or drawn."""
    rows = warp.holds.select_related("reservation__lot").prefetch_related("reservation__movements")
    return [hold for hold in rows if not is_let_go(hold)]


def drawn_by_ledger(holds: Iterable[int]) -> dict[int, int]:
    """Grams drawn out of each hold, draws that were taken back not counted; by the hold's primary key."""
    of_draws = Sum("reservation__movements__change_g", filter=draws("reservation__movements__"), default=0)
    rows = WarpHold.objects.filter(pk__in=set(holds)).order_by().annotate(change_g=of_draws)
    return {pk: -change_g for pk, change_g in rows.values_list("pk", "change_g")}


def _dye_lots_of(holds: Iterable[WarpHold]) -> list[str]:
    return [hold.reservation.lot.dye_lot for hold in holds]


def asked_for(need: WarpYarn, *, left_g: int, pieces_g: Sequence[int], dye_lots: Sequence[str]) -> Need:
    """What a warp still asks of a yarn, as the draw sees it.

    pieces_g    of a weft: what each of its pieces takes, held or not
    dye_lots    of its holds, in the order in which they were made: they serve the pieces from the first on
    """
    taken_g = need.issue_g - left_g
    left = () if need.use == WARP else _left_of_pieces(pieces_g, taken_g)
    # A piece that is held in part is woven to its end of the same dye lot.
    is_begun = bool(left) and sum(left) != sum(pieces_g[len(pieces_g) - len(left) :])
    return Need(
        yarn=need.yarn_id,
        grams=left_g,
        use=need.use,  # type: ignore[arg-type]
        label=_label(need),
        pieces_g=left,
        begun=dye_lots[-1] if is_begun and dye_lots else "",
    )


def _label(need: WarpYarn) -> str:
    form = N_("%(warp)s, warp yarn %(yarn)s,") if need.use == WARP else N_("%(warp)s, weft yarn %(yarn)s,")
    return in_words(form, warp=need.warp, yarn=need.yarn.code)


def may_hold(warp: Warp, use: str) -> bool:
    """Whether yarn may still be held for this use of it."""
    if use == WARP:
        return warp.state in (Warp.PROPOSED, Warp.PLANNED)
    return warp.state != Warp.WOVEN_OUT


def pieces_of_many(warps: Collection[int]) -> dict[int, dict[str, tuple[int, ...]]]:
    """Grams of each weft yarn by piece, in the order of weaving, pieces without it left out; by warp and yarn's code.

    warps    primary keys; of their figures only the runs are read
    """
    rows = Warp.objects.filter(pk__in=warps).annotate(runs=F("worked__figures__runs")).values_list("pk", "runs")
    found: dict[int, dict[str, tuple[int, ...]]] = {}
    for pk, runs in rows:
        of_warp: dict[str, tuple[int, ...]] = defaultdict(tuple)
        for run in runs or []:
            for need in run["weft"]:
                of_warp[need["code"]] += in_pieces(need["issue_g"], run["pieces"])
        found[pk] = of_warp
    return found


def _left_of_pieces(pieces_g: Sequence[int], taken_g: int) -> tuple[int, ...]:
    """What the pieces still take when the first of them are served."""
    left = []
    for piece_g in pieces_g:
        served = min(taken_g, piece_g)
        taken_g -= served
        if piece_g - served:
            left.append(piece_g - served)
    return tuple(left)


def _only(lots: Iterable[Lot], dye_lot: str) -> list[Lot]:
    return [lot for lot in lots if not dye_lot or lot.dye_lot == dye_lot]


def _dye_lots(need: Need, lots: Iterable[Lot], choice: Choice, useful_g: int) -> tuple[DyeLot, ...]:
    by_dye_lot: dict[str, list[Lot]] = defaultdict(list)
    for lot in lots:
        if lot.yarn == need.yarn and lot.free_g > 0 and not lot.why_not and need.begun in ("", lot.dye_lot):
            by_dye_lot[lot.dye_lot].append(lot)
    found = []
    for dye_lot, of_it in by_dye_lot.items():
        free_g = sum(lot.free_g for lot in of_it)
        serves = free_g >= need.grams
        left_g = free_g - need.grams
        ordered = tuple(sorted(of_it, key=lambda lot: (lot.received_on, lot.label)))
        free, came = written(free_g), f"{ordered[0].received_on:%d.%m.%Y}"
        if serves:
            said = left_over(left_g, useful_g=useful_g, free=free, came=came)
        else:
            form = (
                N_("%(free)s free, %(short)s short: a warp takes one dye lot; came %(came)s")
                if need.use == WARP
                else N_("%(free)s free, %(short)s short; came %(came)s")
            )
            said = in_words(form, free=free, short=written(-left_g), came=came)
        found.append(DyeLot(dye_lot, free_g, ordered, serves, dye_lot in choice.dye_lots, said))
    return tuple(sorted(found, key=lambda one: (not one.is_chosen, not one.serves, one.lots[0].received_on)))


# When it is wanted, and what others call it


def days_wanted(warps: Collection[int]) -> Mapping[NeedKey, date]:
    """The day on which each yarn of these warps is first drawn, by the warp's primary key, use and yarn.

    As the draw-down has it; for a warp that the plan says nothing of, the day on which its first line is due.
    """
    due = {
        warp: due_on or timezone.localdate()
        for warp, due_on in WarpPart.objects.filter(warp__in=warps)
        .order_by()
        .values_list("warp")
        .annotate(due_on=Min("line__due_on"))
    }
    found: dict[NeedKey, date] = _ByWarp(due)
    rows = YarnDemand.objects.filter(source__in=[f"warp:{pk}" for pk in warps]).order_by()
    for source, use, yarn, on in rows.values_list("source", "use", "yarn").annotate(on=Min("on")):
        found[int(source.removeprefix("warp:")), use, yarn] = on
    return found


class _ByWarp(dict[NeedKey, date]):
    """Days by need, and where there is none the warp's own."""

    def __init__(self, of_warp: Mapping[int, date]) -> None:
        self.of_warp = of_warp

    def __missing__(self, key: NeedKey) -> date:
        return self.of_warp.get(key[0], timezone.localdate())


def name_of(need: WarpYarn) -> str:
    """What the others call it, in the language of the page."""
    return need.warp.called if need.use == WARP else in_words(N_("the weft of %(warp)s"), warp=need.warp)


# Holding


def check_worked(warp: Warp) -> None:
    """Raises Refusal where its needs are not known."""
    worked = getattr(warp, "worked", None)
    if worked is None or worked.is_stale:
        raise Refusal(N_("%(warp)s is still being worked out. Wait a moment, then hold its yarn."), warp=warp)
    if worked.figures is None:
        raise Refusal(N_("%(warp)s can't be worked out as it stands: %(why)s"), warp=warp, why=worked.told_trouble)


def _locked(warp: Warp) -> Warp:
    locked = Warp.objects.select_for_update(of=("self",), no_key=True).filter(pk=warp.pk).first()
    if locked is None:
        raise Refusal(APART)
    return locked


@transaction.atomic
def hold_yarn(warp: Warp, *, by: Any, chosen: Mapping[Key, str] | None = None) -> list[str]:
    """Hold lots for everything that the warp still needs; one dye lot a colour in the warp.

    chosen   dye lots that a person chose for a need, instead of the ones proposed

    Returns a sentence for each need that stays short. Raises Refusal when nothing at all can be held. A second tap
    finds that all is held, and holds nothing.
    """
    warp = _locked(warp)
    if warp.state == Warp.WOVEN_OUT:
        raise Refusal(N_("%(warp)s is woven out; nothing is held for it any more."), warp=warp)
    check_worked(warp)
    yarn_ids = set(warp.yarns.values_list("yarn", flat=True))
    rows = {
        lot.pk: lot for lot in store.lock_lots(YarnLot.objects.filter(yarn__in=yarn_ids).values_list("pk", flat=True))
    }
    short, held = [], 0
    for state in states(warp, chosen=chosen):
        if state.choice is None:
            continue
        if not state.choice.is_met:
            short.append(state.choice.why)
            continue
        for take in state.choice.takes:
            hold_grams(warp, state.need, rows[take.lot.pk], take.grams, by=by)
            held += 1
    if short and not held:
        raise Refusal(" ".join(short))
    return short


def hold_grams(warp: Warp, need: WarpYarn, lot: YarnLot, grams: int, *, by: Any) -> WarpHold:
    """So much of a lot, under the locks of warp and lot, once the rules have been looked at."""
    reservation = store.reserve(lot=lot, grams=grams, for_what=f"{warp}, {need.use} yarn", by=by)
    return WarpHold.objects.create(warp=warp, yarn=need.yarn, use=need.use, reservation=reservation)


@transaction.atomic
def hold_lot(warp: Warp, *, lot: YarnLot, use: str, grams: int, by: Any) -> WarpHold:
    """Hold so much of one lot that a person names. Refuses a second dye lot of a colour in the warp, or in a piece."""
    warp = _locked(warp)
    if not may_hold(warp, use):
        raise Refusal(
            N_("%(warp)s is %(state)s; %(use)s yarn is not held for it any more."),
            field="lot",
            warp=warp,
            state=Word(warp.state),
            use=Word(use),
        )
    check_worked(warp)
    (lot,) = store.lock_lots([lot.pk])
    state = next((s for s in states(warp) if (s.need.use, s.need.yarn_id) == (use, lot.yarn_id)), None)
    if state is None:
        raise Refusal(
            N_("%(warp)s takes no %(yarn)s in the %(use)s; lot %(lot)s is of that. Choose another lot."),
            field="lot",
            warp=warp,
            yarn=lot.yarn,
            use=Word(use),
            lot=lot,
        )
    if use == WARP:
        other = next((h.reservation.lot for h in state.holds if h.reservation.lot.dye_lot != lot.dye_lot), None)
        if other:
            raise Refusal(
                N_(
                    "%(warp)s has %(yarn)s of dye lot %(dye_lot)s (lot %(other)s); lot %(lot)s is of dye "
                    "lot %(lot_dye_lot)s. A warp takes one dye lot of a colour: choose a lot of "
                    "%(dye_lot)s, or let the yarn go and hold all of it afresh."
                ),
                field="lot",
                warp=warp,
                yarn=state.need.yarn,
                dye_lot=other.dye_lot,
                other=other,
                lot=lot,
                lot_dye_lot=lot.dye_lot,
            )
    asked = state.choice.need if state.choice else None
    if asked and asked.begun not in ("", lot.dye_lot):
        raise Refusal(
            N_(
                "A piece of %(warp)s is held in part of dye lot %(begun)s, takes %(more)s more of "
                "it; lot %(lot)s is of dye lot %(dye_lot)s. The weft changes where a piece ends: "
                "hold that much of %(begun)s first, or let the weft go and hold all of it afresh."
            ),
            field="lot",
            warp=warp,
            begun=asked.begun,
            more=written(asked.pieces_g[0]),
            lot=lot,
            dye_lot=lot.dye_lot,
        )
    if grams > state.left_g:
        raise Refusal(
            N_(
                "%(warp)s still needs %(left)s of %(yarn)s in the %(use)s; %(grams)s are asked for. "
                "Write %(left)s or less."
            ),
            field="grams",
            warp=warp,
            left=written(state.left_g),
            yarn=state.need.yarn,
            use=Word(use),
            grams=written(grams),
        )
    return hold_grams(warp, state.need, lot, grams, by=by)


@transaction.atomic
def release_holds(warp: Warp, *, by: Any, reason: str = "", use: str | None = None) -> int:
    """Let go of what is held and not drawn, in one use or in both; grams let go. A second tap lets go of nothing."""
    warp = _locked(warp)
    return let_go(warp, by=by, reason=reason or f"Let go by the planner of {warp}.", use=use)


def let_go(warp: Warp, *, by: Any, reason: str, use: str | None = None) -> int:
    """The same under the warp's lock."""
    holds = warp.holds.select_related("reservation__lot").prefetch_related("reservation__movements").order_by("pk")
    if use:
        holds = holds.filter(use=use)
    open_holds = [hold for hold in holds if remaining_g(hold)]
    store.lock_lots(hold.reservation.lot_id for hold in open_holds)
    grams = 0
    for hold in open_holds:
        grams += remaining_g(hold)
        store.release(reservation=hold.reservation, by=by, reason=reason[:200])
    # What nothing was drawn from leaves the warp; the ledger keeps it.
    WarpHold.objects.filter(pk__in=[hold.pk for hold in holds if not hold.drawn_g]).delete()
    return grams


# Drawing


def draw_warp_yarn(warp: Warp, *, by: Any) -> None:
    """All warp yarn out of its holds. Raises Refusal when less is held than the warp takes, or of two dye lots."""
    check_worked(warp)
    needs = [state for state in states(warp) if state.need.use == WARP]
    for state in needs:
        if state.left_g:
            raise Refusal(
                N_("%(warp)s takes %(need)s of %(yarn)s; %(held)s are held. Hold the rest first, or shorten the warp."),
                warp=warp,
                need=written(state.need.issue_g),
                yarn=state.need.yarn,
                held=written(state.held_g),
            )
        dye_lots = sorted({hold.reservation.lot.dye_lot for hold in state.holds})
        if len(dye_lots) > 1:
            raise Refusal(
                N_(
                    "%(warp)s holds %(yarn)s of dye lots %(dye_lots)s. A warp takes one: let the yarn go, and "
                    "hold it of one dye lot."
                ),
                warp=warp,
                yarn=state.need.yarn,
                dye_lots=listed(dye_lots, most=len(dye_lots)),
            )
    _draw([hold for state in needs for hold in state.holds], by=by, document=str(warp))


def draw_weft(warp: Warp, *, by: Any, holds: Iterable[int] | None = None, key: str = "") -> int:
    """Weft out of its holds, all or these; grams drawn. `key` is the ledger's, where there is one hold."""
    wanted = None if holds is None else set(holds)
    rows = warp.holds.filter(use=WEFT).select_related("reservation__lot").prefetch_related("reservation__movements")
    chosen = [h for h in rows.order_by("pk") if wanted is None or h.pk in wanted]
    return _draw(chosen, by=by, document=str(warp), key=key)


def _draw(holds: list[WarpHold], *, by: Any, document: str, key: str = "") -> int:
    assert not key or len(holds) == 1
    left = {hold.pk: remaining_g(hold) for hold in holds}
    store.lock_lots(hold.reservation.lot_id for hold in holds if left[hold.pk])
    for hold in holds:
        if left[hold.pk]:
            store.draw_down(reservation=hold.reservation, grams=left[hold.pk], by=by, document=document, key=key)
            WarpHold.objects.filter(pk=hold.pk).update(drawn_g=hold.drawn_g + left[hold.pk], is_drawn=True)
    return sum(left.values())


def take_draw_back(draw: Movement, *, by: Any, reason: str) -> None:
    """One draw of weft is taken back to the gram, and held again. The ledger refuses as below."""
    store.reverse(movement=draw, reason=reason, by=by)
    hold = WarpHold.objects.get(reservation=draw.reservation_id)
    drawn_g = hold.drawn_g + draw.change_g
    WarpHold.objects.filter(pk=hold.pk).update(drawn_g=drawn_g, is_drawn=drawn_g > 0)


def take_draws_back(warp: Warp, *, by: Any, reason: str) -> None:
    """Every draw for the warp is taken back to the gram, warp and weft; what was drawn is held again.

    The ledger refuses where yarn has come back, or was moved on, since.
    """
    holds = list(warp.holds.filter(drawn_g__gt=0).select_related("reservation__lot").order_by("pk"))
    store.lock_lots(hold.reservation.lot_id for hold in holds)
    draws = Movement.objects.filter(
        reservation__in=[hold.reservation_id for hold in holds], kind=Movement.DRAW, reversed_by__isnull=True
    )
    for draw in draws.order_by("-pk"):
        store.reverse(movement=draw, reason=reason, by=by)
    WarpHold.objects.filter(pk__in=[hold.pk for hold in holds]).update(drawn_g=0, is_drawn=False)
