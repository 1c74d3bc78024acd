"""Tickets: a warp's figures frozen for the floor. Issued, overtaken, withdrawn; never changed."""

import secrets
from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F, Max, Q, QuerySet
from django.utils import timezone

from mill import changes
from mill.refusal import N_, Refusal, Word
from planning.models import JobTicket, PlanRun, Slot, Warp, WarpHold, WarpYarn
from planning.services import working_out

ISSUED_FROM = (Warp.PLANNED, Warp.YARN_DRAWN, Warp.WOUND, Warp.GAITED, Warp.WEAVING)
TRIES = 5


def ready(warp: Warp) -> None:
    """Refuses, in a sentence, a warp that no ticket can be issued for yet. `warp` comes from for_working_out()."""
    worked = getattr(warp, "worked", None)
    if warp.state not in ISSUED_FROM:
        raise Refusal(
            N_("%(warp)s is %(state)s; a ticket is for a warp that is planned and not yet woven out."),
            warp=warp,
            state=Word(warp.state),
        )
    if worked is None or worked.is_stale:
        raise Refusal(N_("%(warp)s is still being worked out. Wait a moment and issue its ticket then."), warp=warp)
    if worked.figures is None or worked.trouble:
        raise Refusal(N_("%(warp)s can't be woven as it stands: %(why)s"), warp=warp, why=worked.told_trouble)
    if working_out.loom_of(warp) is None:
        raise Refusal(N_("%(warp)s has no loom yet. Plan the looms, or pin it to one."), warp=warp)
    if warp.beam is None and warp.state in (Warp.PLANNED, Warp.YARN_DRAWN):
        raise Refusal(
            N_("%(warp)s has no beam yet. Choose one, so that the ticket can say what the full beam weighs."), warp=warp
        )
    lots = lots_of(warp)
    for need in warp.yarns.select_related("yarn").filter(use=WarpYarn.WARP):
        held_g = sum(lot["grams"] for lot in lots if lot["yarn"] == need.yarn.code and lot["use"] == WarpYarn.WARP)
        if held_g < need.issue_g:
            raise Refusal(
                N_(
                    "%(warp)s takes %(need)s g of %(yarn)s; %(held)s g of a lot is held or drawn for it. Hold the yarn"
                    " first."
                ),
                warp=warp,
                need=need.issue_g,
                yarn=need.yarn,
                held=held_g,
            )


def lots_of(warp: Warp) -> list[dict[str, Any]]:
    """Lots held or drawn for the warp: label, dye lot, place, grams, by use and yarn."""
    holds = (
        WarpHold.objects.filter(warp=warp)
        .select_related("yarn", "reservation__lot__place")
        .prefetch_related("reservation__movements")
        .order_by("use", "yarn__code", "pk")
    )
    found: list[dict[str, Any]] = []
    for hold in holds:
        lot = hold.reservation.lot
        still_held_g = sum(line.held_change_g for line in hold.reservation.movements.all())
        grams = hold.drawn_g + still_held_g
        if grams > 0:
            found.append(
                {
                    "use": hold.use,
                    "yarn": hold.yarn.code,
                    "lot": lot.label,
                    "dye_lot": lot.dye_lot,
                    "place": lot.place.code if lot.place else "",
                    "grams": grams,
                }
            )
    return found


def extras_of(warp: Warp) -> dict[str, Any]:
    """What stands on the ticket beside the figures: lots, loom, set-up, days, names; JSON as it is frozen."""
    slot = working_out.slot_in_force(warp)
    loom = working_out.loom_of(warp)
    lots: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for lot in lots_of(warp):
        lots[lot["use"]].append(lot)
    return {
        "lots": dict(lots),
        "loom": {"code": loom.code, "kind": loom.kind, "ppm": loom.ppm} if loom else None,
        "setup": slot.setup if slot else "",
        "setup_min": slot.setup_min if slot else None,
        "setup_starts_at": _said(slot.setup_starts_at) if slot else None,
        "weaving_starts_at": _said(slot.weaving_starts_at) if slot else None,
        "weaving_stops_at": _said(slot.weaving_stops_at) if slot else None,
        "winding_on": slot.winding_on.isoformat() if slot and slot.winding_on else None,
        "lines": [
            {
                "line": str(part.line),
                "customer": part.line.order.customer.name,
                "reference": part.line.order.reference,
                "cloth": f"{part.spec.cloth.code} {part.spec.cloth.name}",
                "revision": part.spec.revision,
                "colourway": part.line.colourway.name,
                "due_on": part.line.due_on.isoformat(),
                "tolerance_pct": str(part.line.tolerance_pct),
                "note": part.line.note,
            }
            for part in warp.parts.all()
        ],
        "note": warp.note,
    }


def _said(moment: datetime) -> str:
    return timezone.localtime(moment).isoformat(timespec="minutes")


def day_of(warp: Warp) -> date:
    """The day a ticket is for: when work on the warp begins by the plan; today when that is past or not planned."""
    slot = working_out.slot_in_force(warp)
    first = slot and (slot.winding_on or timezone.localdate(slot.setup_starts_at))
    return max(first, timezone.localdate()) if first else timezone.localdate()


def issue_ticket(warp: Warp, *, by: Any) -> JobTicket:
    """Freeze the warp's figures on a numbered ticket; an older one of the same warp is overtaken by it.

    A second tap gives the ticket that the first one made: when nothing has changed since, nothing is issued.
    """
    for _ in range(TRIES):
        try:
            with transaction.atomic():
                return _issue(warp, by=by)
        except IntegrityError as error:
            # Somebody took the number in between. Anything else that is broken stays broken and is raised below.
            last = error
    raise last


def _issue(warp: Warp, *, by: Any) -> JobTicket:
    Warp.objects.select_for_update().get(pk=warp.pk)
    warp = working_out.for_working_out(Warp.objects.filter(pk=warp.pk)).get()
    ready(warp)
    extras = extras_of(warp)
    worked = warp.worked
    in_use = list(warp.tickets.filter(withdrawn_at__isnull=True, overtaken_at__isnull=True).order_by("pk"))
    for ticket in in_use:
        if ticket.worked_from == worked.worked_from and ticket.extras == extras:
            return ticket
    number = (JobTicket.objects.aggregate(last=Max("number"))["last"] or 0) + 1
    ticket = JobTicket.objects.create(
        number=number,
        token=secrets.token_urlsafe(9),
        warp=warp,
        loom=working_out.loom_of(warp),
        figures=worked.figures,
        extras=extras,
        worked_from=worked.worked_from,
        day=day_of(warp),
        by=by,
    )
    ticket.specs.set({part.spec for part in warp.parts.all()})
    JobTicket.objects.filter(pk__in=[old.pk for old in in_use]).update(
        overtaken_at=timezone.now(), overtaken_why=f"Ticket {number} takes its place."
    )
    return ticket


def without_ticket() -> QuerySet[Slot]:
    """Places in the plan in force of warps to be wound or woven that the floor has no ticket for."""
    in_use = JobTicket.objects.filter(withdrawn_at__isnull=True, overtaken_at__isnull=True)
    slots = Slot.objects.filter(run__state=PlanRun.IN_FORCE, warp__state__in=ISSUED_FROM)
    return slots.exclude(warp__in=in_use.values("warp"))


@dataclass(frozen=True)
class ToIssue:
    """A warp that has no ticket yet.

    begins_on   the day on which work on it begins by the plan: winding, or set-up where it is wound
    why         what keeps it from having one; empty when it can
    """

    warp: Warp
    slot: Slot
    begins_on: date
    why: str


def to_issue(*, until: date) -> list[ToIssue]:
    """Warps without a ticket whose work begins by a day, in the order in which it begins."""
    slots = without_ticket().filter(
        Q(winding_on__lte=until) | Q(winding_on__isnull=True, setup_starts_at__lt=_day_after(until))
    )
    by_pk = {slot.warp_id: slot for slot in slots.select_related("loom")}
    found = []
    for warp in working_out.for_working_out(Warp.objects.filter(pk__in=by_pk)):
        slot = by_pk[warp.pk]
        why = ""
        try:
            ready(warp)
        except Refusal as refusal:
            why = refusal.message
        found.append(ToIssue(warp, slot, _begins_on(slot), why))
    return sorted(found, key=lambda one: (one.begins_on, one.slot.setup_starts_at, one.warp.number))


def _begins_on(slot: Slot) -> date:
    """Winding, or set-up where the warp is wound."""
    return slot.winding_on or timezone.localdate(slot.setup_starts_at)


def _day_after(on: date) -> datetime:
    return timezone.make_aware(datetime.combine(on + timedelta(days=1), time.min))


@transaction.atomic
def issue_tickets(numbers: Collection[int], *, by: Any) -> tuple[list[JobTicket], list[str]]:
    """Tickets for these warps. Returns them, and a sentence for each warp that can't have one yet."""
    return _issue_each(Warp.objects.filter(number__in=numbers).order_by("number"), by=by)


def _issue_each(warps: Iterable[Warp], *, by: Any) -> tuple[list[JobTicket], list[str]]:
    issued: list[JobTicket] = []
    refused: list[str] = []
    for warp in warps:
        try:
            issued.append(issue_ticket(warp, by=by))
        except Refusal as refusal:
            refused.append(refusal.message)
    return issued, refused


@transaction.atomic
def issue_tickets_of(day: date, *, by: Any) -> tuple[list[JobTicket], list[str]]:
    """Tickets for every warp whose work begins on the day by the plan in force.

    Returns the tickets, and a sentence for each warp that can't have one yet.
    """
    slots = Slot.objects.filter(run__state=PlanRun.IN_FORCE, warp__state__in=ISSUED_FROM).select_related("warp")
    return _issue_each(
        (slot.warp for slot in slots.order_by("loom__code", "position") if _begins_on(slot) == day), by=by
    )


@transaction.atomic
def withdraw_ticket(ticket: JobTicket, *, why: str, by: Any) -> JobTicket:
    """Take a ticket out of use; it stays in the book and says so when it is opened."""
    ticket = JobTicket.objects.select_for_update().get(pk=ticket.pk)
    if not why.strip():
        raise Refusal(
            N_("Say why ticket %(number)s is withdrawn: somebody may still hold it."), field="why", number=ticket.number
        )
    if ticket.withdrawn_at is None:
        ticket.withdrawn_at, ticket.withdrawn_why = timezone.now(), why.strip()[:200]
        ticket.withdrawn_by = changes.person(by)
        ticket.save(update_fields=["withdrawn_at", "withdrawn_why", "withdrawn_by"])
    return ticket


def overtaken_first() -> Any:
    """Tickets that are on the floor though they no longer hold."""
    return JobTicket.objects.filter(
        overtaken_at__isnull=False, withdrawn_at__isnull=True, overtaken_at__gt=F("issued_at")
    ).exclude(warp__state=Warp.WOVEN_OUT)
