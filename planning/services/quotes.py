"""Quotes: what a customer was told of price and day, kept as it was said, and turned into an order."""

from dataclasses import asdict, dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils import timezone

from mill import changes
from mill.refusal import N_, Refusal
from mill.working import Step
from planning.cost import Price, price_of
from planning.gaiting import SetUp
from planning.models import Colourway, Customer, Loom, Order, Quote
from planning.services import orders
from planning.services import promise as promises
from planning.services.cloths import latest_specs
from planning.services.costing import Alone, cost_alone, margin_pct, missing_told
from planning.services.orders import LineDraft
from planning.services.promise import Promise

# So long a quote stands where nobody says otherwise. Common practice, no source.
STANDS_DAYS = 30
MARGIN_NONE = Decimal(0)


@dataclass(frozen=True)
class Asked:
    """What a quote is asked for.

    set_up        that the loom stands for before it
    loom          that weaves it; None for the fastest that takes it
    margin_pct    of the price; None for the mill's own
    """

    colourway: Colourway
    pieces: int
    length_m: Decimal
    wished_on: date | None = None
    set_up: str = SetUp.GAIT_UP
    loom: Loom | None = None
    margin_pct: Decimal | None = None


@dataclass(frozen=True)
class Figured:
    """A quote worked out.

    price             None while a price or a rate is missing
    promise           None where no day can be promised; `no_promise` says why
    """

    asked: Asked
    alone: Alone
    margin_pct: Decimal
    price: Price | None
    promise: Promise | None
    no_promise: str

    @property
    def working(self) -> tuple[Step, ...]:
        return (*self.alone.cost.working, *(self.price.working if self.price else ()))


def figure(asked: Asked) -> Figured:
    """The cost, the price and the day, were it ordered now. Writes nothing.

    Raises Refusal where the cloth can't be costed at all.
    """
    alone = cost_alone(
        colourway=asked.colourway,
        pieces=asked.pieces,
        length_m=asked.length_m,
        set_up=asked.set_up,
        loom=asked.loom,
    )
    margin = asked.margin_pct if asked.margin_pct is not None else margin_pct() or MARGIN_NONE
    price = None if alone.cost.missing else price_of(alone.cost, margin_pct=margin)
    promise, no_promise = None, ""
    try:
        promise = promises.promise(
            colourway=asked.colourway,
            pieces=asked.pieces,
            length_m=asked.length_m,
            due_on=asked.wished_on,
            shares=alone.shares,
        )
    except Refusal as refusal:
        no_promise = refusal.message
    return Figured(asked, alone, margin, price, promise, no_promise)


def _plain(step: Step) -> dict[str, str]:
    return {name: str(value) for name, value in asdict(step).items()}


def _frozen(figured: Figured) -> dict[str, Any]:
    """The cost sheet as it was worked, in plain JSON: what the quote's page shows ever after."""
    cost, promise = figured.alone.cost, figured.promise
    assert promise is not None
    return {
        "lines": [{"name": line.name, "label": line.label, "amount": str(line.amount)} for line in cost.lines],
        "per_m": str(cost.per_m),
        "per_piece": str(cost.per_piece),
        "finished_m": str(cost.finished_m),
        "margin": str(figured.price.margin if figured.price else ""),
        "working": [_plain(step) for step in figured.working],
        "notes": list(figured.alone.notes),
        "warps": figured.alone.warps,
        "loom": figured.alone.loom.code,
        "set_up": figured.alone.set_up,
        "chain": list(promise.safe.chain),
        "cautions": list(promise.cautions),
    }


@dataclass(frozen=True)
class Said:
    """What is written on a quote beside what is worked out.

    seen_price    what whoever keeps it had before them: it is refused when it is another by now
    """

    customer: Customer | None = None
    valid_until: date | None = None
    note: str = ""
    seen_price: Decimal | None = None


def keep_quote(asked: Asked, said: Said = Said(), *, by: Any, key: str) -> Quote:
    """A quote as it is worked out now, with a number. The same key counts once."""
    try:
        with transaction.atomic():
            return _keep(asked, said, by=by, key=key)
    except IntegrityError as clash:
        raise Refusal(N_("Somebody else kept a quote at the same moment. Press the button once more.")) from clash


def _keep(asked: Asked, said: Said, *, by: Any, key: str) -> Quote:
    if before := Quote.objects.filter(key=key).first():
        return before
    figured = figure(asked)
    if figured.price is None:
        raise Refusal(
            N_("This can't be quoted yet. %(missing)s State it under Mill."),
            missing=" ".join(missing_told(figured.alone.cost.missing)),
        )
    if figured.promise is None:
        raise Refusal(N_("No day can be promised: %(why)s"), why=figured.no_promise)
    if said.seen_price is not None and said.seen_price != figured.price.total:
        raise Refusal(
            N_(
                "The price was %(seen)s %(currency)s when this was shown and is %(price)s now. Look at it again, then"
                " keep it."
            ),
            seen=said.seen_price,
            currency=figured.alone.cost.currency,
            price=figured.price.total,
        )
    today = timezone.localdate()
    valid_until = said.valid_until or today + timedelta(days=STANDS_DAYS)
    if valid_until < today:
        raise Refusal(
            N_("It would have run out on %(until)s, before today, %(today)s. Write a later day."),
            field="valid_until",
            until=f"{valid_until:%d.%m.%Y}",
            today=f"{today:%d.%m.%Y}",
        )
    cost = figured.alone.cost
    quote = Quote(
        number=(Quote.objects.aggregate(last=Max("number"))["last"] or 0) + 1,
        key=key,
        colourway=asked.colourway,
        spec=promises.spec_of(asked.colourway),
        customer=said.customer,
        pieces=asked.pieces,
        length_m=asked.length_m,
        wished_on=asked.wished_on,
        promised_on=figured.promise.safe_on,
        made_on=today,
        valid_until=valid_until,
        currency=cost.currency,
        cost=cost.total or MARGIN_NONE,
        margin_pct=figured.margin_pct,
        per_m=figured.price.per_m,
        price=figured.price.total,
        figures=_frozen(figured),
        note=said.note.strip()[:200],
        by=by,
    )
    changes.written_by(quote, by)
    quote.save(force_insert=True)
    return quote


def _lock(quote: Quote) -> Quote:
    rows = Quote.objects.select_for_update(of=("self",)).select_related("colourway__cloth", "customer", "order")
    return rows.get(pk=quote.pk)


@transaction.atomic
def place(
    quote: Quote,
    *,
    by: Any,
    customer: Customer | None = None,
    due_on: date | None = None,
    number: str = "",
    reference: str = "",
) -> Order:
    """The order that the customer makes of it. A second tap gives the order that the first one made.

    due_on    without one, the day that was promised
    """
    quote = _lock(quote)
    if quote.order is not None:
        return quote.order
    customer = customer or quote.customer
    if customer is None:
        raise Refusal(N_("%(quote)s is for nobody yet. Say which customer orders it."), field="customer", quote=quote)
    if quote.dropped_on:
        raise Refusal(
            N_("%(quote)s was dropped on %(on)s: %(why)s Make a new one."),
            quote=quote,
            on=f"{quote.dropped_on:%d.%m.%Y}",
            why=quote.dropped_why,
        )
    today = timezone.localdate()
    if quote.valid_until < today:
        raise Refusal(
            N_("%(quote)s ran out on %(until)s; today is %(today)s. Make a new one of the same."),
            quote=quote,
            until=f"{quote.valid_until:%d.%m.%Y}",
            today=f"{today:%d.%m.%Y}",
        )
    order = orders.place_order(
        customer=customer,
        placed_on=today,
        number=number,
        reference=reference,
        lines=[LineDraft(quote.colourway, quote.pieces, quote.length_m, due_on or max(quote.promised_on, today))],
        by=by,
    )
    other = Quote.objects.filter(order=order).first()
    if other is not None:
        raise Refusal(
            N_("Order %(order)s was made of %(quote)s already. Give this one another number."),
            field="number",
            order=order,
            quote=other,
        )
    quote.order, quote.customer = order, customer
    changes.written_by(quote, by)
    quote.save(update_fields=["order", "customer"])
    return order


@transaction.atomic
def drop(quote: Quote, *, why: str, by: Any) -> Quote:
    """The customer doesn't want it. A second tap finds it dropped."""
    quote = _lock(quote)
    if quote.order is not None:
        raise Refusal(
            N_("%(quote)s was ordered as %(order)s. Call its line off there instead."), quote=quote, order=quote.order
        )
    if quote.dropped_on:
        return quote
    if not why.strip():
        raise Refusal(
            N_("Say why %(quote)s is dropped: the next price for them is made by it."), field="why", quote=quote
        )
    quote.dropped_on, quote.dropped_why = timezone.localdate(), why.strip()[:200]
    changes.written_by(quote, by)
    quote.save(update_fields=["dropped_on", "dropped_why"])
    return quote


def revised_since(quote: Quote) -> int | None:
    """The revision that an order would be woven by, when it is a later one than was quoted."""
    latest = latest_specs().filter(cloth=quote.spec.cloth_id).first()
    return latest.revision if latest and latest.pk != quote.spec_id else None
