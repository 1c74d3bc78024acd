"""The floor: what people tell the book at the machine, each thing once; and taking it back, with a trace.

An event is kept whatever comes of it: one that can't be done says why, so that nothing told is lost. The verbs that
follow from it are those of the desk.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory import services as store
from inventory.ledger import written
from inventory.models import Movement
from mill.language import ENGLISH, speaking
from mill.refusal import N_, Refusal, Word
from mill.signs import written_now
from mill.templatetags.mill import num
from planning.models import FloorEvent, JobTicket, Loom, Piece, Stop, Warp, WarpHold, WarpYarn, Worker
from planning.services import pieces, retiming, warp_steps, working_out
from planning.services.warps import lock_warps

# A tap may wait in a phone over the mill's holiday, and no longer. No source.
WAIT_MOST = timedelta(days=21)


@dataclass(frozen=True)
class Told:
    """What somebody said: read and checked, not yet done.

    facts   length_m, reason, lot, grams, picks: what belongs to the kind
    """

    key: str
    kind: str
    worker: Worker
    warp: Warp
    loom: Loom | None
    happened_at: datetime
    facts: Mapping[str, Any]
    by: Any


def worker_of(code: str) -> Worker:
    """Who has this short code. Raises Refusal for nobody."""
    code = code.strip().upper()
    if not code:
        raise Refusal(N_("Say who you are: type your short code."), field="worker")
    worker = Worker.objects.filter(code=code, is_in_use=True).first()
    if worker is None:
        raise Refusal(
            N_("Nobody of the floor has the code %(code)s. Type it again, or ask the planner."),
            field="worker",
            code=code,
        )
    return worker


def loom_for(warp: Warp, ticket: JobTicket | None) -> Loom | None:
    """Where it hangs; before that where the plan, or its ticket, has it."""
    if warp.loom:
        return warp.loom
    row = working_out.for_working_out(Warp.objects.filter(pk=warp.pk)).get()
    return working_out.loom_of(row) or (ticket.loom if ticket else None)


def tell(
    warp: Warp,
    *,
    kind: str,
    worker: Worker,
    key: str,
    by: Any,
    facts: Mapping[str, Any] | None = None,
    age: timedelta = timedelta(0),
    ticket: JobTicket | None = None,
    undoes: FloorEvent | None = None,
) -> FloorEvent:
    """Write down what somebody tells of a warp and do what follows. The same key counts once.

    age     how long ago it was, by the phone that kept it; so a phone's wrong clock does no harm

    What can't be done is kept with the reason in `refused`; nothing else follows from it then.
    """
    if kind not in DO:
        raise Refusal(
            N_("%(kind)s is nothing that the floor tells. Load the page again."), field="kind", kind=repr(kind)
        )
    if not key or len(key) > 60:
        raise Refusal(N_("This tap has no key of its own. Load the page again."), field="key")
    age = min(max(age, timedelta(0)), WAIT_MOST)
    with transaction.atomic():
        (warp,) = lock_warps(warp.pk)
        if before := FloorEvent.objects.filter(key=key).first():
            return before
        told = Told(
            key=key,
            kind=kind,
            worker=worker,
            warp=warp,
            loom=loom_for(warp, ticket),
            happened_at=timezone.now() - age,
            facts=dict(facts or {}),
            by=by,
        )
        piece: Piece | None = None
        refused, refusal = "", None
        try:
            with transaction.atomic():
                if kind == FloorEvent.UNDONE:
                    _undo(told, undoes)
                else:
                    piece = DO[kind](told)
        except Refusal as no:
            refusal = no
            # What is kept is English, whoever is told it.
            with speaking(ENGLISH):
                refused = no.message
        kept = {**told.facts, **({"piece": piece.number} if piece else {})}
        event = FloorEvent.objects.create(
            key=key,
            kind=kind,
            warp=warp,
            loom=told.loom,
            ticket=ticket,
            worker=worker,
            happened_at=told.happened_at,
            facts={name: str(value) for name, value in kept.items()},
            piece=piece,
            undoes=undoes if kind == FloorEvent.UNDONE and not refused else None,
            refused=refused[:500],
            by=by,
        )
        event.refusal = refusal
        if not refused:
            _follow(warp, (event.undoes or event).kind, by=by)
        return event


# What follows from each


def _follow(warp: Warp, kind: str, *, by: Any) -> None:
    """What is reckoned from all that stands of a kind, once it is written down or taken back."""
    if kind in OF_STOPS:
        _stops_follow(warp)
    elif kind == FloorEvent.PICKS:
        pieces.reckon_picks(warp, by=by)


def _wound(told: Told) -> None:
    warp_steps.wind(told.warp, by=told.by)


def _gaited(told: Told) -> None:
    if told.loom is None:
        raise Refusal(N_("%(warp)s has no loom yet. Ask the planner where it goes."), warp=told.warp)
    warp_steps.gait(told.warp, loom=told.loom, by=told.by)


def _started(told: Told) -> None:
    warp_steps.begin_weaving(told.warp, by=told.by)


def _weaves(told: Told, what: str) -> None:
    if told.warp.state == Warp.WOVEN_OUT:
        raise Refusal(
            N_("%(warp)s is woven out: %(what)s. If it is not out, take that back first."),
            warp=told.warp,
            what=Word(what),
        )
    if told.warp.state != Warp.WEAVING:
        raise Refusal(
            N_("%(warp)s is %(state)s, not weaving: %(what)s. Tell what came before it first."),
            warp=told.warp,
            state=Word(told.warp.state),
            what=Word(what),
        )


def _stopped(told: Told) -> None:
    _weaves(told, N_("its loom can't be stopped"))
    reason = str(told.facts.get("reason", ""))
    if reason not in {value for value, _ in Stop.REASONS}:
        raise Refusal(N_("Say why the loom stands: choose one of the reasons."), field="reason")
    assert told.loom is not None


def _running(told: Told) -> None:
    _weaves(told, N_("its loom can't run"))


# What begins a stop, or ends one.
OF_STOPS = (FloorEvent.STOPPED, FloorEvent.RUNNING, FloorEvent.WARP_OUT)


def _stops_follow(warp: Warp) -> None:
    """The warp's stops, from what was told of it and stands, in the order in which it happened: a phone that was out
    of reach tells later what came before."""
    told: list[tuple[FloorEvent, datetime | None]] = []
    for event in standing_events(warp).filter(kind__in=OF_STOPS).order_by("happened_at", "pk"):
        if told and told[-1][1] is None:
            told[-1] = told[-1][0], event.happened_at
        if event.kind == FloorEvent.STOPPED:
            told.append((event, None))
    gone = {(stop.starts_at, stop.reason): stop for stop in warp.stops.all()}
    changed: list[Stop] = []
    for event, stops_at in told:
        assert event.loom_id is not None
        stop = gone.pop((event.happened_at, event.facts["reason"]), None) or Stop(
            warp=warp,
            loom_id=event.loom_id,
            reason=event.facts["reason"],
            starts_at=event.happened_at,
            worker_id=event.worker_id,
        )
        if stop.pk is None or stop.stops_at != stops_at:
            stop.stops_at = stops_at
            changed.append(stop)
    Stop.objects.filter(pk__in=[stop.pk for stop in gone.values()]).delete()
    # What has ended first: a loom stands for one reason.
    for stop in sorted(changed, key=lambda one: one.stops_at is None):
        stop.save()
    # A break is in the running efficiency; a wait, and a long stop, move what comes after.
    if any(_moves_the_plan(stop) for stop in (*gone.values(), *changed)):
        retiming.ask()


def _moves_the_plan(stop: Stop) -> bool:
    if stop.stops_at is None:
        return False
    return stop.reason in Stop.WAITS or stop.stops_at - stop.starts_at >= retiming.LONG_STOP


def open_stop(warp: Warp) -> Stop | None:
    return warp.stops.filter(stops_at__isnull=True).first()


def _piece_off(told: Told) -> Piece:
    length_m = told.facts.get("length_m")
    if not isinstance(length_m, Decimal):
        raise Refusal(N_("Say how long the piece is: the metres on the loom's counter."), field="length_m")
    return pieces.cut_piece(
        told.warp,
        length_m=length_m,
        worker=told.worker,
        on=timezone.localdate(told.happened_at),
        by=told.by,
        key=f"f.{told.key}",
    )


def _warp_out(told: Told) -> None:
    if told.warp.state != Warp.WOVEN_OUT:
        _weaves(told, N_("it can't be out"))
    warp_steps.weave_out(told.warp, by=told.by, on=timezone.localdate(told.happened_at))


def _weft_hold(told: Told, lot_label: str, *, uses: tuple[str, ...]) -> WarpHold:
    if not lot_label:
        raise Refusal(N_("Say which lot: its label is in the cone."), field="lot")
    hold = (
        told.warp.holds.filter(use__in=uses, reservation__lot__label__iexact=lot_label)
        .select_related("reservation__lot")
        .order_by("-drawn_g", "pk")
        .first()
    )
    if hold is None:
        others = sorted({h.reservation.lot.label for h in told.warp.holds.select_related("reservation__lot")})
        raise Refusal(
            N_(
                "Lot %(lot)s is not one of %(warp)s; it has %(others)s. Look at the label in the cone, or ask the"
                " planner."
            ),
            field="lot",
            lot=lot_label,
            warp=told.warp,
            others=", ".join(others) or Word(N_("none")),
        )
    return hold


def _weft_changed(told: Told) -> None:
    """Another lot of weft from here on: one that is held is drawn now."""
    _weaves(told, N_("its weft can't be changed"))
    hold = _weft_hold(told, str(told.facts.get("lot", "")), uses=(WarpYarn.WEFT,))
    warp_steps.draw_weft(told.warp, by=told.by, holds=[hold.pk], key=_ledger_key(told.key))


def _yarn_returned(told: Told) -> None:
    grams = told.facts.get("grams")
    if not isinstance(grams, int) or grams < 1:
        raise Refusal(N_("Say how much comes back: grams without the cone."), field="grams")
    hold = _weft_hold(told, str(told.facts.get("lot", "")), uses=(WarpYarn.WARP, WarpYarn.WEFT))
    store.return_to_stock(
        lot=hold.reservation.lot,
        grams=grams,
        reservation=hold.reservation,
        document=str(told.warp),
        by=told.by,
        key=_ledger_key(told.key),
    )


def _ledger_key(key: str) -> str:
    # The ledger's keys are at most 56 long.
    return f"fl.{key}"[:56]


def _picks(told: Told) -> None:
    """What the loom's counter shows: picks woven of this warp so far."""
    _weaves(told, N_("its picks can't be read"))
    picks = told.facts.get("picks")
    if not isinstance(picks, int) or picks < 0:
        raise Refusal(N_("Say what the counter shows: a whole number."), field="picks")
    in_all = told.warp.worked.picks
    if picks > in_all * 11 // 10:
        raise Refusal(
            N_("%(picks)s picks are more than %(warp)s has, %(in_all)s. Read the counter again."),
            field="picks",
            picks=picks,
            warp=told.warp,
            in_all=in_all,
        )


DO: dict[str, Callable[[Told], Piece | None]] = {
    FloorEvent.WOUND: _wound,
    FloorEvent.GAITED: _gaited,
    FloorEvent.STARTED: _started,
    FloorEvent.STOPPED: _stopped,
    FloorEvent.RUNNING: _running,
    FloorEvent.PIECE_OFF: _piece_off,
    FloorEvent.WARP_OUT: _warp_out,
    FloorEvent.WEFT_CHANGED: _weft_changed,
    FloorEvent.YARN_RETURNED: _yarn_returned,
    FloorEvent.PICKS: _picks,
    FloorEvent.UNDONE: lambda told: None,
}


# Taking back

# The state that each of these brings its warp to.
LEADS_TO = {
    FloorEvent.WOUND: Warp.WOUND,
    FloorEvent.GAITED: Warp.GAITED,
    FloorEvent.STARTED: Warp.WEAVING,
    FloorEvent.WARP_OUT: Warp.WOVEN_OUT,
}


def _undo(told: Told, undoes: FloorEvent | None) -> None:
    """Take back the last thing told of the warp that still stands; both stay in the book."""
    if undoes is None:
        raise Refusal(N_("Nothing is named to be taken back. Load the page again."))
    last = last_standing(told.warp)
    if last is None or last.pk != undoes.pk:
        if last is None:
            raise Refusal(
                N_("Only the last thing told of %(warp)s can be taken back: that is nothing that stands."),
                warp=told.warp,
            )
        raise Refusal(
            N_("Only the last thing told of %(warp)s can be taken back: that is %(kind)s, told by %(who)s."),
            warp=told.warp,
            kind=Word(last.kind),
            who=last.worker.name,
        )
    why = str(told.facts.get("why", "")) or "pressed by mistake on the floor"
    match undoes.kind:
        case FloorEvent.STOPPED | FloorEvent.RUNNING:
            retiming.ask()
        case FloorEvent.PIECE_OFF:
            if undoes.piece is not None:
                pieces.take_back_cut(undoes.piece, why=why, by=told.by, worker=told.worker)
        case FloorEvent.YARN_RETURNED:
            movement = Movement.objects.filter(key=_ledger_key(undoes.key)).first()
            if movement is not None:
                store.reverse(movement=movement, reason=why, by=told.by, key=_ledger_key(told.key))
        case FloorEvent.PICKS:
            pass
        case FloorEvent.WEFT_CHANGED:
            # A lot that was drawn before is changed to without a line in the ledger.
            draw = Movement.objects.filter(key=_ledger_key(undoes.key)).first()
            if draw is not None:
                warp_steps.take_weft_back(told.warp, draw=draw, reason=why, by=told.by)
        case _:
            if standing_events(told.warp).filter(kind=undoes.kind).exclude(pk=undoes.pk).exists():
                return  # Somebody else has told it too, and that stands.
            if told.warp.state != LEADS_TO[undoes.kind]:
                raise Refusal(
                    N_("%(warp)s is %(state)s by now, and nobody told it here. Ask the planner to put it right."),
                    warp=told.warp,
                    state=Word(told.warp.state),
                )
            warp_steps.step_back(told.warp, reason=why, by=told.by)


def standing_events(warp: Warp) -> Any:
    """What was told of the warp, done, and not taken back since."""
    return warp.events.filter(refused="", undone_by__isnull=True).exclude(kind=FloorEvent.UNDONE)


def last_standing(warp: Warp) -> FloorEvent | None:
    found: FloorEvent | None = standing_events(warp).select_related("worker").order_by("-pk").first()
    return found


# What the page shows


STANDS, RUNS = "stands", "runs"
# What is likely to be told next, the likeliest first.
NEXT: dict[str, tuple[str, ...]] = {
    Warp.PROPOSED: (),
    Warp.PLANNED: (),
    Warp.YARN_DRAWN: (FloorEvent.WOUND,),
    Warp.WOUND: (FloorEvent.GAITED,),
    Warp.GAITED: (FloorEvent.STARTED,),
    RUNS: (FloorEvent.STOPPED, FloorEvent.PIECE_OFF),
    STANDS: (FloorEvent.RUNNING, FloorEvent.PIECE_OFF),
    Warp.WOVEN_OUT: (FloorEvent.YARN_RETURNED,),
}


@dataclass(frozen=True)
class Now:
    """A warp on the floor as it stands.

    state    the warp's own, or "runs" and "stands" while it weaves
    """

    warp: Warp
    state: str
    stop: Stop | None
    n_cut: int
    n_pieces: int
    next_length_m: Decimal | None
    next_line: str
    picks_left: int
    lots: tuple[str, ...]
    last: FloorEvent | None


def now_of(warp: Warp) -> Now:
    """How the warp stands. `warp` comes with its loom and worked."""
    stop = open_stop(warp) if warp.state == Warp.WEAVING else None
    state = (STANDS if stop else RUNS) if warp.state == Warp.WEAVING else warp.state
    n_cut = warp.woven_pieces.count()
    parts = list(warp.parts.select_related("line__order"))
    part = pieces.part_of_cut(warp, n_cut + 1)
    worked = getattr(warp, "worked", None)
    length_m = None
    if part is not None and worked is not None and worked.figures is not None:
        # Read straight off the stored figures: the whole of them would take as long as the rest of the page.
        at = [row.pk for row in parts].index(part.pk)
        length_m = Decimal(worked.figures["runs"][at]["grey_length_m"])
    lots = sorted({hold.reservation.lot.label for hold in warp.holds.select_related("reservation__lot")})
    return Now(
        warp=warp,
        state=state,
        stop=stop,
        n_cut=n_cut,
        n_pieces=sum(row.pieces for row in parts),
        next_length_m=length_m,
        next_line=str(part.line) if part else "",
        picks_left=max(0, (worked.picks if worked else 0) - warp.picks_woven),
        lots=tuple(lots),
        last=last_standing(warp),
    )


def said_of(event: FloorEvent) -> str:
    """An event in a sentence, for whoever told it."""
    facts = event.facts
    match event.kind:
        case FloorEvent.STOPPED:
            return _("stopped: %(reason)s") % {"reason": _(facts["reason"]) if facts.get("reason") else ""}
        case FloorEvent.PIECE_OFF:
            length_m = str(facts.get("length_m", "")).replace(".", written_now().decimal)
            return _("piece %(piece)s off, %(length)s m") % {"piece": facts.get("piece", ""), "length": length_m}
        case FloorEvent.WEFT_CHANGED:
            return _("weft changed to lot %(lot)s") % {"lot": facts.get("lot", "")}
        case FloorEvent.YARN_RETURNED:
            grams = written(int(facts.get("grams") or 0))
            return _("%(grams)s of lot %(lot)s returned") % {"grams": grams, "lot": facts.get("lot", "")}
        case FloorEvent.PICKS:
            return _("%(picks)s picks on the counter") % {"picks": num(int(facts.get("picks") or 0))}
        case FloorEvent.UNDONE:
            return _("taken back: %(what)s") % {"what": _(event.undoes.kind) if event.undoes else ""}
    return _(event.kind)
