"""Lots: yarn comes in, is held, drawn, returned, counted, moved. Each verb adds lines to the ledger.

A lot is locked before its balance is read, and the lots of one transaction by primary key in order. Whoever calls
several of these verbs for different lots in one transaction of his own locks them all first, with `lock_lots`.
"""

import re
from collections.abc import Collection, Iterable, Mapping
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import NAMESPACE_OID, uuid5

from django.db import connection
from django.db.models import Sum
from django.utils import timezone

from inventory import draw, ledger, stocktake
from inventory.models import Delivery, Movement, Place, Reservation, Treatment, Yarn, YarnLot
from inventory.services.outlooks import yarns_changed
from inventory.services.verb import insert, own_key, verb
from mill import changes, jobs
from mill.refusal import N_, Refusal, Word
from mill.retold import Retold

# The planning side keeps beside each of its holds what was drawn of it. It is known here by the name of its task only.
HOLD_DRAWN = "planning.hold_drawn"


def lock_lots(lots: Iterable[int]) -> list[YarnLot]:
    """Lock these lots until the transaction is over. By primary key, so that two planners wait instead of deadlocking.

    lots    primary keys, in any order
    """
    assert connection.in_atomic_block
    return list(
        YarnLot.objects.select_for_update(of=("self",))
        .select_related("yarn", "place")
        .filter(pk__in=set(lots))
        # The model's own order would lock by the yarn's code.
        .order_by("pk")
    )


def _lock(lot: YarnLot) -> YarnLot:
    return lock_lots([lot.pk])[0]


def lots_to_draw(yarns: Iterable[int]) -> list[draw.Lot]:
    """Every lot of these yarns that has something free, as `draw.choose` takes them; one query.

    yarns    primary keys
    """
    rows = YarnLot.objects.filter(yarn_id__in=set(yarns)).with_balance().filter(available_g__gt=0).order_by("pk")
    return [row.as_lot() for row in rows]


def open_holds(yarns: Iterable[int]) -> list[Any]:
    """Reservations of these yarns of which something is neither drawn nor let go, with their lots and remaining_g.

    yarns    primary keys
    """
    lots = YarnLot.objects.filter(yarn_id__in=set(yarns)).with_balance().filter(held_g__gt=0).values("pk")
    return list(Reservation.objects.filter(lot__in=lots).open().select_related("lot").order_by("pk"))


# Before a line is written


def _written_before(key: str, *, kind: str, lot: YarnLot | None = None, **facts: Any) -> Movement | None:
    """The line that this key wrote, if it did. Refuses a key that wrote something else.

    Read under the lot's lock, so that of two equal requests at once the second finds the first.
    """
    line = Movement.objects.select_related("lot", "reservation").filter(key=key).first()
    if line is None:
        return None
    is_same = line.kind == kind and (lot is None or line.lot_id == lot.pk)
    if is_same and all(_fact(line, name) == value for name, value in facts.items()):
        return line
    raise Refusal(
        N_(
            "This has been written down already as something else: line %(line)s of lot %(lot)s, %(kind)s %(grams)s."
            " Load the page again and write it afresh."
        ),
        field="key",
        line=line.seq,
        lot=line.lot,
        kind=Word(line.get_kind_display()),
        grams=ledger.written(abs(line.change_g or line.held_change_g)),
    )


def _fact(line: Movement, name: str) -> Any:
    for part in name.split("__"):
        line = getattr(line, part)
    return line


def _last(lot: YarnLot) -> ledger.Balance:
    last = (
        Movement.objects.filter(lot=lot).order_by("-seq").values_list("seq", "on_hand_after_g", "held_after_g").first()
    )
    return ledger.Balance(*last) if last else ledger.Balance()


def _write(lot: YarnLot, before: ledger.Balance, change: ledger.Change, *, key: str, by: Any, **facts: Any) -> Movement:
    """The next line of a locked lot. What its yarn will have is worked out again."""
    after = ledger.follow(before, change)
    line = Movement.objects.create(
        lot=lot,
        seq=after.seq,
        kind=change.kind,
        change_g=change.change_g,
        held_change_g=change.held_change_g,
        on_hand_after_g=after.on_hand_g,
        held_after_g=after.held_g,
        key=key,
        by=by,
        **facts,
    )
    if change.change_g or change.held_change_g:
        yarns_changed([lot.yarn_id])
    return line


def _reason(reason: str, what: str) -> str:
    if not reason.strip():
        raise Refusal(
            N_("Say why %(what)s: a line of the ledger without a reason tells nobody anything."),
            field="reason",
            what=Word(what),
        )
    return reason.strip()


def _may_be_drawn(lot: YarnLot) -> None:
    if lot.is_quarantined:
        raise Refusal(
            N_(
                "Lot %(lot)s is in quarantine (%(why)s): nothing of it can be held or drawn. Choose another lot, or"
                " release it once it is treated."
            ),
            lot=lot,
            why=lot.barred_for,
        )
    if not lot.is_shade_approved:
        raise Refusal(
            N_(
                "The shade of lot %(lot)s is not approved: nothing of it can be held or drawn. Choose another lot, or"
                " approve the shade."
            ),
            lot=lot,
        )


def remaining_g(reservation: Reservation) -> int:
    """What of a hold has neither been drawn nor let go."""
    return Movement.objects.filter(reservation=reservation).aggregate(grams=Sum("held_change_g"))["grams"] or 0


def out_g(reservation: Reservation) -> int:
    """What was drawn out of a hold and has not come back."""
    return -(Movement.objects.filter(reservation=reservation).aggregate(grams=Sum("change_g"))["grams"] or 0)


def reckoned_g(yarn: Yarn, weighed_g: int, measured_regain_pct: Decimal | None) -> int:
    """Grams that the ledger takes for yarn as weighed: at the yarn's own regain, when its moisture was measured."""
    return stocktake.reckoned_g(weighed_g, measured_regain_pct=measured_regain_pct, agreed_regain_pct=yarn.regain_pct)


# In, out and back


def next_label() -> str:
    """A number for the next bag that no lot has: what the form offers. Counts on from the last that was given one."""
    latest = YarnLot.objects.filter(label__startswith="L").order_by("-pk").values_list("label", flat=True)[:20]
    n = next((int(label[1:]) for label in latest if re.fullmatch(r"L[0-9]{1,18}", label)), 0) + 1
    while YarnLot.objects.filter(label=f"L{n}").exists():
        n += 1
    return f"L{n}"


@verb
def receive(
    *,
    yarn: Yarn,
    grams: int,
    label: str,
    dye_lot: str,
    by: Any,
    key: str = "",
    delivery: Delivery | None = None,
    place: Place | None = None,
    received_on: date | None = None,
    packages: int = 0,
    gross_g: int | None = None,
    measured_tex: Decimal | None = None,
    measured_regain_pct: Decimal | None = None,
    is_shade_approved: bool = True,
    document: str = "",
    note: str = "",
) -> Movement:
    """Yarn of one dye lot comes in and becomes a lot: its first line.

    grams                 net; as weighed when `measured_regain_pct` is given, which is reckoned to the yarn's own
    gross_g               with cones and bags, when that was weighed too
    measured_regain_pct   percent of the oven-dry mass
    """
    key, label = own_key(key), label.strip()
    reckoned = reckoned_g(yarn, grams, measured_regain_pct)
    if before := _written_before(key, kind=Movement.RECEIVE, change_g=reckoned, lot__yarn_id=yarn.pk, lot__label=label):
        return before
    change = ledger.receive(ledger.Balance(), reckoned, lot=label)
    if YarnLot.objects.filter(label=label).exists():
        raise Refusal(
            N_("There is a lot %(lot)s already. Give this one another number, such as %(next)s."),
            field="label",
            lot=label,
            next=next_label(),
        )
    if gross_g is not None and gross_g < grams:
        raise Refusal(
            N_("Lot %(lot)s can't weigh %(gross)s with its cones and %(net)s without. Look which is which."),
            field="gross_g",
            lot=label,
            gross=ledger.written(gross_g),
            net=ledger.written(grams),
        )
    if delivery is not None:
        _fits(delivery, yarn)
    received_on = received_on or timezone.localdate()
    if received_on > timezone.localdate():
        raise Refusal(
            N_(
                "Lot %(lot)s can't have come on %(day)s, which is after today, %(today)s. Write the day on which it"
                " came."
            ),
            field="received_on",
            lot=label,
            day=f"{received_on:%d.%m.%Y}",
            today=f"{timezone.localdate():%d.%m.%Y}",
        )
    lot = YarnLot(
        label=label,
        yarn=yarn,
        dye_lot=dye_lot.strip(),
        place=place,
        received_on=received_on,
        delivery=delivery,
        packages=packages,
        gross_g=gross_g,
        weighed_g=grams,
        measured_tex=measured_tex,
        measured_regain_pct=measured_regain_pct,
        is_shade_approved=is_shade_approved,
        note=note,
    )
    insert(lot, by=by)
    return _write(
        lot,
        ledger.Balance(),
        change,
        key=key,
        by=by,
        document=document,
        packages_change=packages,
        place_to=place,
    )


def _fits(delivery: Delivery, yarn: Yarn) -> None:
    if delivery.yarn_id != yarn.pk:
        raise Refusal(
            N_(
                "Delivery %(delivery)s is of %(its)s, this is %(yarn)s. Choose the delivery that it belongs to, or"
                " receive it without one."
            ),
            field="delivery",
            delivery=delivery,
            its=delivery.yarn,
            yarn=yarn,
        )
    if delivery.is_closed:
        raise Refusal(
            N_(
                "Delivery %(delivery)s is closed: nothing more of it was to come. Open it again, or receive the yarn"
                " without it."
            ),
            field="delivery",
            delivery=delivery,
        )


@verb
def reserve(*, lot: YarnLot, grams: int, for_what: str, by: Any, key: str = "") -> Reservation:
    """Hold grams of a lot for something."""
    key, lot = own_key(key), _lock(lot)
    before = _written_before(
        key, kind=Movement.HOLD, lot=lot, held_change_g=grams, reservation__for_what=for_what.strip()
    )
    if before:
        assert before.reservation is not None
        return before.reservation
    return _hold(lot, grams, for_what, by=by, key=key)


def _hold(lot: YarnLot, grams: int, for_what: str, *, by: Any, key: str) -> Reservation:
    _may_be_drawn(lot)
    balance = _last(lot)
    reservation = Reservation(lot=lot, for_what=for_what.strip(), by=by)
    change = ledger.hold(balance, grams, lot=lot.label, for_what=reservation.for_what and reservation.what)
    insert(reservation, by=by)
    _write(lot, balance, change, key=key, by=by, reservation=reservation)
    return reservation


@verb
def release(*, reservation: Reservation, by: Any, key: str = "", reason: str = "") -> Movement:
    """Let go of what of a hold has not been drawn. Refuses when that is nothing."""
    key, lot = own_key(key), _lock(reservation.lot)
    if before := _written_before(key, kind=Movement.RELEASE, lot=lot, reservation_id=reservation.pk):
        return before
    balance = _last(lot)
    change = ledger.release(balance, remaining_g=remaining_g(reservation), lot=lot.label, for_what=reservation.what)
    return _write(lot, balance, change, key=key, by=by, reservation=reservation, reason=reason)


@verb
def draw_down(
    *, reservation: Reservation, grams: int, by: Any, key: str = "", packages: int = 0, document: str = ""
) -> Movement:
    """Yarn leaves the store out of its hold. What of the hold is left stays held, to be drawn or let go."""
    key, lot = own_key(key), _lock(reservation.lot)
    return _draw(lot, reservation, grams, by=by, key=key, packages=packages, document=document)


def _draw(
    lot: YarnLot, reservation: Reservation, grams: int, *, by: Any, key: str, packages: int, document: str
) -> Movement:
    if before := _written_before(key, kind=Movement.DRAW, lot=lot, change_g=-grams, reservation_id=reservation.pk):
        return before
    _may_be_drawn(lot)
    balance = _last(lot)
    change = ledger.draw(
        balance,
        grams,
        remaining_g=remaining_g(reservation),
        lot=lot.label,
        for_what=reservation.what,
    )
    line = _write(
        lot,
        balance,
        change,
        key=key,
        by=by,
        reservation=reservation,
        packages_change=-packages,
        document=document,
    )
    _told_of_draw(reservation, by=by)
    return line


def _told_of_draw(reservation: Reservation, *, by: Any) -> None:
    jobs.ask(HOLD_DRAWN, {"reservation": reservation.pk}, same_as=f"{HOLD_DRAWN}:{reservation.pk}", by=by)


@verb
def draw_free(
    *, lot: YarnLot, grams: int, for_what: str, by: Any, key: str = "", packages: int = 0, document: str = ""
) -> Movement:
    """Hold and draw at once: for what nobody planned, such as a sample."""
    key, lot = own_key(key), _lock(lot)
    before = _written_before(key, kind=Movement.DRAW, lot=lot, change_g=-grams, reservation__for_what=for_what.strip())
    if before:
        return before
    if not for_what.strip():
        raise Refusal(N_("Say what the yarn is drawn for: a warp, a sample, a mend."), field="for_what")
    reservation = _hold(lot, grams, for_what, by=by, key=f"{key}.hold")
    return _draw(lot, reservation, grams, by=by, key=key, packages=packages, document=document)


@verb
def return_to_stock(
    *,
    lot: YarnLot,
    grams: int,
    by: Any,
    key: str = "",
    reservation: Reservation | None = None,
    packages: int = 0,
    measured_regain_pct: Decimal | None = None,
    document: str = "",
    reason: str = "",
) -> Movement:
    """Part cones come back, weighed without the cones; never more than had gone.

    reservation   what they had been drawn for; without one the lot can't grow beyond what it came with
    grams         as `receive` takes them
    """
    key, lot = own_key(key), _lock(lot)
    reckoned = reckoned_g(lot.yarn, grams, measured_regain_pct)
    reservation_id = reservation.pk if reservation else None
    if before := _written_before(key, kind=Movement.RETURN, lot=lot, change_g=reckoned, reservation_id=reservation_id):
        return before
    balance = _last(lot)
    out_of: Retold | Word
    if reservation is not None:
        _is_of(reservation, lot)
        at_most_g, out_of = out_g(reservation), reservation.what
    else:
        came_g = Movement.objects.values_list("change_g", flat=True).get(lot=lot, seq=1)
        at_most_g, out_of = max(0, came_g - balance.on_hand_g), Word(N_("the shed"))
    change = ledger.come_back(balance, reckoned, at_most_g=at_most_g, lot=lot.label, out_of=out_of)
    return _write(
        lot,
        balance,
        change,
        key=key,
        by=by,
        reservation=reservation,
        packages_change=packages,
        document=document,
        reason=reason,
    )


def _is_of(reservation: Reservation, lot: YarnLot) -> None:
    if reservation.lot_id != lot.pk:
        raise Refusal(
            N_("%(what)s holds lot %(held)s, these cones are of lot %(lot)s. Look at the label in the cone."),
            what=reservation.what,
            held=reservation.lot,
            lot=lot,
        )


@verb
def record_waste(*, lot: YarnLot, grams: int, reason: str, by: Any, key: str = "", packages: int = 0) -> Movement:
    """Free yarn is written off."""
    key, lot = own_key(key), _lock(lot)
    if before := _written_before(key, kind=Movement.WASTE, lot=lot, change_g=-grams):
        return before
    reason = _reason(reason, N_("the yarn is written off"))
    balance = _last(lot)
    change = ledger.waste(balance, grams, lot=lot.label)
    return _write(lot, balance, change, key=key, by=by, reason=reason, packages_change=-packages)


@verb
def move(*, lot: YarnLot, place: Place, by: Any, key: str = "", reason: str = "") -> Movement:
    """The lot lies somewhere else now."""
    key, lot = own_key(key), _lock(lot)
    if before := _written_before(key, kind=Movement.MOVE, lot=lot, place_to_id=place.pk):
        return before
    if lot.place_id == place.pk:
        raise Refusal(
            N_("Lot %(lot)s lies in %(place)s already. Choose where it goes, or leave it."),
            field="place",
            lot=lot,
            place=place.code,
        )
    was = lot.place
    changes.update(YarnLot.objects.filter(pk=lot.pk), by=by, why=reason, place=place)
    return _write(
        lot,
        _last(lot),
        ledger.Change(Movement.MOVE),
        key=key,
        by=by,
        place_from=was,
        place_to=place,
        reason=reason,
    )


@verb
def correct(
    *,
    lot: YarnLot,
    reason: str,
    by: Any,
    key: str = "",
    to_g: int | None = None,
    change_g: int | None = None,
) -> Movement:
    """Set the book to what is there, `to_g`, or change it by `change_g`: one of the two, and why."""
    assert (to_g is None) != (change_g is None)
    key, lot = own_key(key), _lock(lot)
    facts = {"on_hand_after_g": to_g} if to_g is not None else {"change_g": change_g}
    if before := _written_before(key, kind=Movement.CORRECT, lot=lot, **facts):
        return before
    reason = _reason(reason, N_("the lot is corrected"))
    balance = _last(lot)
    change = ledger.correct(
        balance, to_g=to_g if to_g is not None else balance.on_hand_g + (change_g or 0), lot=lot.label
    )
    return _write(lot, balance, change, key=key, by=by, reason=reason)


@verb
def count(
    *,
    lot: YarnLot,
    weighed_g: int,
    by: Any,
    key: str = "",
    measured_regain_pct: Decimal | None = None,
    reason: str = "",
) -> Movement:
    """The lot was weighed, without cones: the book is set to that. A count that agrees is written down as well.

    A store weighed in dry winter air reads light with no yarn missing: with `measured_regain_pct` the ledger takes what
    it would weigh at the yarn's own regain.
    """
    key, lot = own_key(key), _lock(lot)
    reckoned = reckoned_g(lot.yarn, weighed_g, measured_regain_pct)
    if before := _written_before(key, kind=Movement.COUNT, lot=lot, on_hand_after_g=reckoned):
        return before
    balance = _last(lot)
    change = ledger.correct(balance, to_g=reckoned, lot=lot.label, kind=Movement.COUNT)
    weighed = f"Weighed {ledger.written(weighed_g)}"
    if measured_regain_pct is not None:
        weighed += (
            f" at {measured_regain_pct.normalize():f} % regain, reckoned at {lot.yarn.regain_pct.normalize():f} %"
        )
    return _write(lot, balance, change, key=key, by=by, reason=f"{weighed}. {reason}".strip())


@verb
def reverse(*, movement: Movement, reason: str, by: Any, key: str = "") -> Movement:
    """Take a line back with another, to the gram."""
    key, lot = own_key(key), _lock(movement.lot)
    if before := _written_before(key, kind=Movement.REVERSE, lot=lot, reverses_id=movement.pk):
        return before
    reason = _reason(reason, N_("the line is taken back"))
    # Afresh, under the lock.
    line = Movement.objects.select_related("reservation", "place_from", "place_to", "reversed_by").get(pk=movement.pk)
    if hasattr(line, "reversed_by"):
        raise Refusal(
            N_("Line %(line)s of lot %(lot)s was taken back already, by line %(by)s. Leave it as it is."),
            line=line.seq,
            lot=lot,
            by=line.reversed_by.seq,
        )
    balance = _last(lot)
    reservation = line.reservation
    change = ledger.reverse(
        balance,
        _as_line(line),
        remaining_g=remaining_g(reservation) if reservation else 0,
        drawn_g=out_g(reservation) if reservation else 0,
        lot=lot.label,
        for_what=reservation.what if reservation else "",
    )
    if line.kind == Movement.MOVE:
        if lot.place_id != line.place_to_id:
            raise Refusal(
                N_(
                    "Lot %(lot)s has been moved again since line %(line)s: it lies in %(place)s, not in %(to)s. Move it"
                    " to where it is."
                ),
                lot=lot,
                line=line.seq,
                place=lot.place,
                to=line.place_to,
            )
        changes.update(YarnLot.objects.filter(pk=lot.pk), by=by, why=reason, place=line.place_from)
    written = _write(
        lot,
        balance,
        change,
        key=key,
        by=by,
        reason=reason,
        reservation=reservation,
        reverses=line,
        packages_change=-line.packages_change,
        place_from=line.place_to if line.kind == Movement.MOVE else None,
        place_to=line.place_from if line.kind == Movement.MOVE else None,
    )
    if line.kind == Movement.DRAW and reservation:
        _told_of_draw(reservation, by=by)
    return written


def _as_line(line: Movement) -> ledger.Line:
    return ledger.Line(
        lot=line.lot_id,
        seq=line.seq,
        kind=line.kind,
        change_g=line.change_g,
        held_change_g=line.held_change_g,
        on_hand_after_g=line.on_hand_after_g,
        held_after_g=line.held_after_g,
        reservation=line.reservation_id,
        key=line.key,
    )


def note_of_lot(lot: YarnLot, said: str, *, by: Any, key: str) -> Movement:
    """A line that moves nothing and says something of a locked lot. Counts once by its key."""
    if before := _written_before(key, kind=Movement.NOTE, lot=lot, reason=said[:200]):
        return before
    return _note(lot, said, by=by, key=key)


def _note(lot: YarnLot, reason: str, *, by: Any, key: str, **columns: Any) -> Movement:
    """A line that moves no yarn and says what became of the lot, with its columns set."""
    if columns:
        changes.update(YarnLot.objects.filter(pk=lot.pk), by=by, why=reason, **columns)
        yarns_changed([lot.yarn_id])
    return _write(lot, _last(lot), ledger.Change(Movement.NOTE), key=key, by=by, reason=reason[:200])


@verb
def quarantine(*, lot: YarnLot, reason: str, by: Any, key: str = "") -> Movement:
    """Nothing of the lot can be held or drawn until it is released. What is held stays held."""
    key, lot = own_key(key), _lock(lot)
    reason = _reason(reason, N_("the lot goes into quarantine"))
    said = f"Into quarantine: {reason}"
    if before := _written_before(key, kind=Movement.NOTE, lot=lot, reason=said[:200]):
        return before
    if lot.is_quarantined:
        raise Refusal(
            N_("Lot %(lot)s is in quarantine already (%(why)s). Leave it as it is."), lot=lot, why=lot.barred_for
        )
    return _note(lot, said, by=by, key=key, is_quarantined=True, quarantine_reason=reason[:200])


@verb
def release_from_quarantine(
    *, lot: YarnLot, reason: str, by: Any, key: str = "", treatment: Treatment | None = None
) -> Movement:
    """The lot may be used again.

    treatment    what was done to it; the line says whether that met the figure in print
    """
    key, lot = own_key(key), _lock(lot)
    reason = _reason(reason, N_("the lot may leave quarantine, and what was done to it"))
    said = f"Out of quarantine{_treated(lot, treatment)} {reason}"
    if (over := len(said) - 200) > 0:
        raise Refusal(
            N_("That is %(over)s characters more than a line of the ledger takes. Say it shorter."),
            field="reason",
            over=over,
        )
    if before := _written_before(key, kind=Movement.NOTE, lot=lot, reason=said[:200]):
        return before
    if not lot.is_quarantined:
        raise Refusal(N_("Lot %(lot)s is not in quarantine: there is nothing to release. Leave it as it is."), lot=lot)
    if under_way := lot.treatments.filter(ended_on__isnull=True).order_by("pk").first():
        raise _under_way(under_way, lot)
    return _note(lot, said, by=by, key=key, is_quarantined=False, quarantine_reason="")


def _treated(lot: YarnLot, treatment: Treatment | None) -> str:
    """What of a treatment stands in the line that lets a lot out of quarantine."""
    if treatment is None:
        return ", no treatment named:"
    treatment.refresh_from_db()
    if not treatment.lots.filter(pk=lot.pk).exists():
        raise Refusal(
            N_("%(treatment)s was not of lot %(lot)s. Choose one that was, or none."),
            field="treatment",
            treatment=treatment,
            lot=lot,
        )
    if treatment.verdict is None:
        raise _under_way(treatment, lot)
    return f" after treatment {treatment.pk}, {treatment.get_way_display()}, {treatment.verdict.said}."


def _under_way(treatment: Treatment, lot: YarnLot) -> Refusal:
    return Refusal(
        N_("%(treatment)s is under way since %(day)s. Write down what the probe read, then release lot %(lot)s."),
        field="treatment",
        treatment=treatment,
        day=f"{treatment.began_on:%d.%m.%Y}",
        lot=lot,
    )


@verb
def approve_shade(*, lot: YarnLot, by: Any, key: str = "") -> Movement:
    """The dye lot's shade was compared and is right."""
    key, lot = own_key(key), _lock(lot)
    said = "Shade approved"
    if before := _written_before(key, kind=Movement.NOTE, lot=lot, reason=said):
        return before
    if lot.is_shade_approved:
        raise Refusal(N_("The shade of lot %(lot)s is approved already. Leave it as it is."), lot=lot)
    return _note(lot, said, by=by, key=key, is_shade_approved=True)


@verb
def reject_shade(*, lot: YarnLot, reason: str, by: Any, key: str = "") -> Movement:
    """The shade is not right: nothing of the lot can be held or drawn until it is approved."""
    key, lot = own_key(key), _lock(lot)
    reason = _reason(reason, N_("the shade is not approved"))
    said = f"Shade not approved: {reason}"
    if before := _written_before(key, kind=Movement.NOTE, lot=lot, reason=said[:200]):
        return before
    if not lot.is_shade_approved:
        raise Refusal(N_("The shade of lot %(lot)s is not approved as it is. Leave it, or approve it."), lot=lot)
    return _note(lot, said, by=by, key=key, is_shade_approved=False)


# Lots as they were weighed: grams without cones and the regain measured, None where nobody did, by primary key.
AsWeighed = Mapping[int, tuple[int, Decimal | None]]


def differences(place: Place, weighed: AsWeighed) -> list[stocktake.Difference]:
    """What a stock-take of a place would write, lot by lot, beside the book as it stands. Writes nothing.

    Raises Refusal for nothing weighed, and for a lot that lies elsewhere, as the stock-take itself does.
    """
    rows = YarnLot.objects.filter(pk__in=weighed).with_balance().select_related("yarn", "place")
    lots = list(rows.order_by("yarn__code", "label"))
    _lie_in(place, lots)
    return [
        stocktake.compare(
            lot.label,
            weighed_g=weighed[lot.pk][0],
            book_g=lot.on_hand_g,
            measured_regain_pct=weighed[lot.pk][1],
            agreed_regain_pct=lot.yarn.regain_pct,
        )
        for lot in lots
    ]


def _lie_in(place: Place, lots: Collection[YarnLot]) -> None:
    if not lots:
        raise Refusal(
            N_("Nothing of what lies in %(place)s was weighed: 0 lots. Write the grams beside one at least."),
            place=place.code,
        )
    for lot in lots:
        if lot.place_id != place.pk:
            raise Refusal(
                N_("Lot %(lot)s doesn't lie in %(here)s any more but in %(there)s. Count it there."),
                lot=lot,
                here=place.code,
                there=lot.place,
            )


def _as_shown(lots: Iterable[YarnLot], shown_g: Mapping[int, int]) -> None:
    """Yarn that left between the scales and the button would stand in the book again."""
    for lot in lots:
        now_g = _last(lot).on_hand_g
        if shown_g.get(lot.pk, now_g) != now_g:
            raise Refusal(
                N_(
                    "Lot %(lot)s had %(was)s in the book when its difference was shown, and has %(now)s now. Weigh it"
                    " again if some of it went or came since it was on the scales, and look at the differences afresh."
                ),
                lot=lot,
                was=ledger.written(shown_g[lot.pk]),
                now=ledger.written(now_g),
            )


@verb
def count_place(
    *, place: Place, weighed: AsWeighed, by: Any, key: str, shown_g: Mapping[int, int] | None = None
) -> list[Movement]:
    """A stock-take of what lies in a place: every lot that was weighed is set to that, or none of them.

    shown_g    what the book had of a lot when its difference was looked at, by primary key; refused when it has other
    """
    key, lots = own_key(key), {lot.pk: lot for lot in lock_lots(weighed)}
    _lie_in(place, lots.values())
    keys = {pk: uuid5(NAMESPACE_OID, f"{key}.{pk}").hex for pk in lots}
    if shown_g and not Movement.objects.filter(key__in=keys.values()).exists():
        _as_shown(lots.values(), shown_g)
    return [
        count(
            lot=lots[pk],
            weighed_g=weighed[pk][0],
            by=by,
            key=keys[pk],
            measured_regain_pct=weighed[pk][1],
            reason="Stock-take.",
        )
        for pk in sorted(lots)
    ]
