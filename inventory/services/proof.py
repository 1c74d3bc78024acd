"""Proof: every stored figure of the store derived again."""

from collections import defaultdict
from collections.abc import Generator, Iterator
from datetime import date

from django.db.models import Count, OuterRef, Q, Subquery, Sum

from inventory import ledger
from inventory.claim import Weighed, work_out_claim
from inventory.models import Claim, Movement, OutlookMark, Reservation, Yarn, YarnLot, YarnOutlook
from inventory.services.outlooks import OUTLOOK_FIGURES, REWORK_OUTLOOKS, ahead_of, outlook_of
from mill import jobs
from mill.refusal import Refusal


def all_lines() -> Iterator[ledger.Line]:
    """The whole ledger, lot after lot, each in order."""
    rows = Movement.objects.order_by("lot_id", "seq").values_list(
        # As the fields of a Line stand.
        "lot__label",
        "seq",
        "kind",
        "change_g",
        "on_hand_after_g",
        "held_after_g",
        "held_change_g",
        "reservation_id",
        "key",
        "reverses__key",
    )
    for row in rows.iterator(chunk_size=2_000):
        yield ledger.Line(*row)


def check_invariants() -> None:
    """Raise AssertionError with every rule that the ledger in the database breaks."""
    ledger.check_invariants(all_lines())


def audit_differences() -> Generator[str, None, int]:
    """Derive every stored figure again: a sentence for each that differs. Returns how many were compared."""
    n_lines = 0

    def counted() -> Iterator[ledger.Line]:
        nonlocal n_lines
        for line in all_lines():
            n_lines += 1
            yield line

    yield from ledger.breaches(counted())
    n_lots = yield from _audit_lots()
    n_outlooks = yield from _audit_outlooks()
    n_claims = yield from _audit_claims()
    return n_lines + n_lots + n_outlooks + n_claims


def _audit_lots() -> Generator[str, None, int]:
    """Balances as the database reads and adds them, holds against their lots, and where each lot lies."""
    sums = {
        lot_id: (n, on_hand_g, held_g)
        for lot_id, n, on_hand_g, held_g in Movement.objects.order_by()
        .values("lot_id")
        .values_list("lot_id", Count("pk"), Sum("change_g"), Sum("held_change_g"))
    }
    held_for: dict[int, int] = defaultdict(int)
    for lot_id, grams in Reservation.objects.with_remaining().order_by().values_list("lot_id", "remaining_g"):
        held_for[lot_id] += grams
    went = (
        Movement.objects.filter(lot=OuterRef("pk"))
        .filter(Q(kind__in=[Movement.RECEIVE, Movement.MOVE]) | Q(reverses__kind=Movement.MOVE))
        .order_by("-seq")
    )
    n = 0
    lots = YarnLot.objects.with_balance().annotate(went_to=Subquery(went.values("place_to")[:1])).order_by("pk")
    for pk, label, on_hand_g, held_g, place_id, went_to in lots.values_list(
        "pk", "label", "on_hand_g", "held_g", "place_id", "went_to"
    ).iterator(chunk_size=2_000):
        n += 1
        if pk not in sums:
            yield f"Lot {label} has no line: it was never received."
            continue
        _, sum_on_hand_g, sum_held_g = sums[pk]
        if on_hand_g != sum_on_hand_g:
            yield f"Lot {label} has {on_hand_g} g on hand; its {sums[pk][0]} lines add up to {sum_on_hand_g} g."
        if held_g != sum_held_g:
            yield f"Lot {label} has {held_g} g held; its {sums[pk][0]} lines add up to {sum_held_g} g."
        if held_g != held_for[pk]:
            yield f"Lot {label} has {held_g} g held; its holds come to {held_for[pk]} g."
        if place_id != went_to:
            yield f"Lot {label} lies in place {place_id}; its lines put it in place {went_to}."
    return n


def _audit_outlooks() -> Generator[str, None, int]:
    """Outlooks against a fresh working for the day they were worked on; those that are marked are known to differ."""
    marked = set(OutlookMark.objects.values_list("yarn_id", flat=True))
    if marked and not jobs.is_pending(REWORK_OUTLOOKS):
        yield f"{len(marked)} yarns wait for their outlook to be worked out, and no job is asked for it."
    yarns = dict(Yarn.objects.values_list("pk", "code"))
    stored = {row.yarn_id: row for row in YarnOutlook.objects.all()}
    ahead = ahead_of(list(yarns))
    for pk, code in yarns.items():
        if pk in marked:
            continue
        row = stored.get(pk)
        if row is None:
            if ahead[pk].on_hand_g or ahead[pk].demands or ahead[pk].deliveries:
                yield f"Yarn {code} has no outlook, though it has {ahead[pk].on_hand_g} g on hand or something ahead."
            continue
        fresh = outlook_of(pk, ahead[pk], date.fromisoformat(row.worked_from[:10]))
        for name in (*OUTLOOK_FIGURES, "worked_from"):
            if getattr(row, name) != getattr(fresh, name):
                yield f"Yarn {code}: {name} is {getattr(row, name)}; worked afresh it is {getattr(fresh, name)}."
    return len(yarns)


def _audit_claims() -> Generator[str, None, int]:
    """Claims against a fresh working from what was weighed, at the regain that was agreed when they were made."""
    n = 0
    for claim in Claim.objects.prefetch_related("lots__lot").order_by("number"):
        n += 1
        try:
            figures, _ = work_out_claim(
                invoiced_g=claim.invoiced_g,
                weighed=[Weighed(row.lot.label, row.weighed_g, row.measured_regain_pct) for row in claim.lots.all()],
                agreed_regain_pct=claim.agreed_regain_pct,
                agreed_by=claim.agreed_by,
            )
        except Refusal as refusal:
            yield f"{claim} can't be worked afresh: {refusal.message}"
            continue
        if (claim.due_g, claim.short_g) != (figures.due_g, figures.short_g):
            yield (
                f"{claim} says {claim.due_g} g came and {claim.short_g} g are short; worked afresh it is"
                f" {figures.due_g} and {figures.short_g} g."
            )
    return n
