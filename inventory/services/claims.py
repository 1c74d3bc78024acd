"""Claims for short weight: worked out from a delivery, sent, answered. Their sums are frozen when they are made."""

from dataclasses import asdict
from datetime import date
from typing import Any

from django.db.models import Max
from django.utils import timezone

from inventory.claim import ClaimFigures, Weighed, work_out_claim
from inventory.ledger import written
from inventory.models import Claim, ClaimLot, Delivery, YarnLot
from inventory.services.lots import AsWeighed
from inventory.services.verb import WRITTEN_BEFORE, insert, own_key, said_as_a_refusal, verb
from mill import changes
from mill.refusal import N_, Refusal, Word
from mill.working import Working


def weigh_claim(delivery: Delivery, *, invoiced_g: int, weighed: AsWeighed) -> tuple[ClaimFigures, Working]:
    """What would be claimed of a delivery, and the working. Writes nothing."""
    labels = dict(YarnLot.objects.that_came().filter(pk__in=weighed, delivery=delivery).values_list("pk", "label"))
    if len(labels) != len(weighed):
        raise Refusal(
            N_("%(n)s of these lots did not come of delivery %(delivery)s. Leave them out."),
            n=len(weighed) - len(labels),
            delivery=delivery,
        )
    yarn = delivery.yarn
    return work_out_claim(
        invoiced_g=invoiced_g,
        weighed=[Weighed(labels[pk], grams, regain_pct) for pk, (grams, regain_pct) in weighed.items()],
        agreed_regain_pct=yarn.regain_pct,
        agreed_by=yarn.regain_authority,
    )


@verb
def make_claim(
    *,
    delivery: Delivery,
    invoiced_g: int,
    weighed: AsWeighed,
    by: Any,
    key: str = "",
    invoice: str = "",
    note: str = "",
) -> Claim:
    """Short weight of a delivery, with its sums as they stand now. Refuses when nothing is short."""
    key = own_key(key)
    if before := Claim.objects.filter(key=key).first():
        had = {row.lot_id: (row.weighed_g, row.measured_regain_pct) for row in before.lots.all()}
        if (before.delivery_id, before.invoiced_g, had) == (delivery.pk, invoiced_g, dict(weighed)):
            return before
        raise Refusal(WRITTEN_BEFORE, before=before)
    delivery = Delivery.objects.select_related("yarn").get(pk=delivery.pk)
    figures, working = weigh_claim(delivery, invoiced_g=invoiced_g, weighed=weighed)
    claim = Claim(
        number=(Claim.objects.aggregate(last=Max("number"))["last"] or 0) + 1,
        delivery=delivery,
        invoice=invoice.strip(),
        invoiced_g=invoiced_g,
        agreed_regain_pct=delivery.yarn.regain_pct,
        agreed_by=delivery.yarn.regain_authority,
        weighed_g=figures.weighed_g,
        due_g=figures.due_g,
        short_g=figures.short_g,
        steps=[{**asdict(step), "value": str(step.value)} for step in working.steps],
        note=note.strip(),
        made_on=timezone.localdate(),
        by=by,
        key=key,
    )
    insert(claim, by=by)
    ClaimLot.objects.bulk_create(
        ClaimLot(claim=claim, lot_id=pk, weighed_g=grams, measured_regain_pct=regain_pct, due_g=due_g)
        for (pk, (grams, regain_pct)), due_g in zip(weighed.items(), figures.lots_due_g, strict=True)
    )
    return claim


def _locked(claim: Claim, *states: str, what: str) -> Claim:
    claim = Claim.objects.select_for_update(of=("self",)).get(pk=claim.pk)
    if claim.state not in states:
        raise Refusal(
            N_("%(claim)s is %(state)s; it can't be %(what)s any more. Make another claim, if there is cause."),
            claim=claim,
            state=claim.said,
            what=Word(what),
        )
    return claim


def _write(claim: Claim, *, by: Any, **columns: Any) -> Claim:
    for name, value in columns.items():
        setattr(claim, name, value)
    with said_as_a_refusal():
        claim.full_clean(exclude=["by", "delivery"], validate_unique=False, validate_constraints=False)
    changes.written_by(claim, by)
    claim.save(update_fields=list(columns))
    return claim


@verb
def send_claim(*, claim: Claim, sent_on: date, by: Any) -> Claim:
    """It has gone to the supplier. Told twice, it has gone once."""
    claim = _locked(claim, Claim.WRITTEN, Claim.SENT, what=N_("sent"))
    if claim.state == Claim.SENT and claim.sent_on == sent_on:
        return claim
    _check_day(sent_on, claim.made_on, claim, N_("sent"), field="sent_on")
    return _write(claim, by=by, state=Claim.SENT, sent_on=sent_on)


@verb
def answer_claim(*, claim: Claim, answered_on: date, allowed_g: int, by: Any, answer: str = "") -> Claim:
    """What the supplier allows of it; 0 grams is a refusal."""
    claim = _locked(claim, Claim.SENT, Claim.WRITTEN, Claim.ALLOWED, Claim.REFUSED, what=N_("answered"))
    state = Claim.ALLOWED if allowed_g else Claim.REFUSED
    if (claim.state, claim.answered_on, claim.allowed_g) == (state, answered_on, allowed_g):
        return claim
    if claim.state in (Claim.ALLOWED, Claim.REFUSED):
        raise Refusal(
            N_("%(claim)s is %(state)s already. Make another claim, if there is cause."), claim=claim, state=claim.said
        )
    _check_day(answered_on, claim.sent_on or claim.made_on, claim, N_("answered"), field="answered_on")
    if allowed_g > claim.short_g:
        raise Refusal(
            N_("%(short)s were claimed; the supplier can't allow %(allowed)s. Write what of the claim is allowed."),
            field="allowed_g",
            short=written(claim.short_g),
            allowed=written(allowed_g),
        )
    return _write(claim, by=by, state=state, answered_on=answered_on, allowed_g=allowed_g, answer=answer.strip())


@verb
def drop_claim(*, claim: Claim, answer: str, by: Any) -> Claim:
    """The mill doesn't follow it up; `answer` says why."""
    claim = _locked(claim, Claim.WRITTEN, Claim.SENT, Claim.DROPPED, what=N_("dropped"))
    if not answer.strip():
        raise Refusal(N_("Say why %(claim)s is dropped: in a year nobody knows."), field="answer", claim=claim)
    return claim if claim.state == Claim.DROPPED else _write(claim, by=by, state=Claim.DROPPED, answer=answer.strip())


def _check_day(day: date, from_day: date, claim: Claim, what: str, *, field: str) -> None:
    today = timezone.localdate()
    if not from_day <= day <= today:
        raise Refusal(
            N_(
                "%(claim)s can't have been %(what)s on %(day)s: it is of %(from_day)s, and today is %(today)s. Write a"
                " day between them."
            ),
            field=field,
            claim=claim,
            what=Word(what),
            day=f"{day:%d.%m.%Y}",
            from_day=f"{from_day:%d.%m.%Y}",
            today=f"{today:%d.%m.%Y}",
        )
