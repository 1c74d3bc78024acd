"""Orders: placed, changed, called off. A change of a line reaches the warps it is on, and their tickets."""

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction
from django.db.models import F, Max

from mill import meanwhile
from mill.models import Mill
from mill.refusal import N_, Refusal, Several, Word
from planning.models import (
    LINE_CHANGES,
    Cloth,
    ClothSpec,
    Colourway,
    Customer,
    JobTicket,
    Order,
    OrderLine,
    Warp,
    WarpPart,
    mill_facts,
)
from planning.services import warp_yarn, working_out
from planning.services import warps as warp_verbs
from planning.services.cloths import latest_specs
from planning.services.line_states import IN_LOOM, lines_follow, parts_there
from planning.ticket import work_out

NUMBER = re.compile(r"[\w.+-]{1,30}")
CODE = re.compile(r"[\w.+-]{1,20}")
LEAST_WEIGHT, MOST_WEIGHT = 1, 9
MOST_PIECES = 10_000


@dataclass(frozen=True)
class LineDraft:
    """An order line as it is said, before it is written."""

    colourway: Colourway
    pieces: int
    length_m: Decimal
    due_on: date
    tolerance_pct: Decimal = Decimal(0)
    weight: int = 1
    note: str = ""

    @property
    def cloth(self) -> Cloth:
        return self.colourway.cloth


# What a line says of itself, by column.
SAID = tuple(LINE_CHANGES)
# What the figures of a warp follow from.
FIGURED = {"colourway", "pieces", "length_m"}
# What a warp's ticket prints of its lines beside the figures.
PRINTED = {"due_on", "tolerance_pct", "note"}


def _said(name: str, value: Any) -> str:
    match name:
        case "colourway":
            return f"{value.cloth.code} {value.name}"
        case "length_m" | "tolerance_pct":
            return f"{value.normalize():f}"
        case "due_on":
            return f"{value:%d.%m.%Y}"
        case _:
            return str(value) or "none"


def _figure(name: str, one: LineDraft | OrderLine) -> str | Decimal:
    """The same for a refusal, which writes a number with the page's decimal sign."""
    said = _said(name, getattr(one, name))
    return Decimal(said) if name == "length_m" else said


def _difference(name: str, before: LineDraft, draft: LineDraft) -> str:
    was, now = (_said(name, getattr(one, name)) for one in (before, draft))
    return LINE_CHANGES[name] % {"was": was, "now": now}


# Customers


@transaction.atomic
def write_customer(
    customer: Customer, *, by: Any, seen: str | None = None, changed: Iterable[str] | None = None
) -> Customer:
    """A new customer, or a changed one, as the form has it.

    seen       the version that was changed; refused when another stands
    changed    names of the columns to write, when others than these may be stale; all without it
    """
    meanwhile.unmoved(customer, seen)
    customer.code, customer.name = customer.code.strip(), customer.name.strip()
    if not CODE.fullmatch(customer.code):
        raise Refusal(
            N_("%(code)s can't be a customer's code. Write letters, figures, full stops and hyphens: HOL1."),
            field="code",
            code=repr(customer.code),
        )
    _full_clean(customer)
    customer._history_user = by  # type: ignore[attr-defined]
    if customer.pk:
        columns = {"code", "name", "points_limit_per_100_yd2", "notes"}
        customer.save(update_fields=sorted(columns if changed is None else columns & set(changed)))
        # Tickets and figures name the customer.
        working_out.warps_changed(Warp.objects.follows_revisions().filter(parts__line__order__customer=customer))
    else:
        customer.save(force_insert=True)
    return customer


def _full_clean(row: models.Model) -> None:
    try:
        row.full_clean()
    except ValidationError as error:
        name, said = next(iter(error.message_dict.items()))
        raise Refusal(" ".join(said), field=name if name != "__all__" else None) from error


# Orders


def next_number() -> str:
    """A number that no order has: what the form offers. Counts on from the last that ends in figures."""
    last = Order.objects.order_by("-pk").values_list("number", flat=True).first() or "1000"
    found = re.fullmatch(r"(.*?)(\d+)", last)
    stem, n = (found[1], int(found[2])) if found else (f"{last}-", 0)
    width = len(found[2]) if found else 1
    while True:
        n += 1
        number = f"{stem}{n:0{width}d}"
        if not Order.objects.filter(number=number).exists():
            return number


def place_order(
    *,
    customer: Customer,
    placed_on: date,
    lines: Sequence[LineDraft],
    by: Any,
    number: str = "",
    reference: str = "",
    note: str = "",
) -> Order:
    """An order with its lines: all of it, or nothing.

    number    the mill's own; without one the next is given

    Told the same twice, it gives the order that it made the first time. A refusal about line n, counted from 0, has
    the field `lines.n.pieces`.
    """
    try:
        with transaction.atomic():
            return _place(customer, placed_on, list(lines), by, number.strip(), reference.strip(), note.strip())
    except IntegrityError as clash:
        order = Order.objects.filter(number=number.strip()).first()
        if order is None:
            raise Refusal(
                N_("Somebody else placed an order at the same moment. Press the button once more.")
            ) from clash
        return _placed_before(order, customer, placed_on, list(lines), reference.strip())


def _place(
    customer: Customer, placed_on: date, lines: list[LineDraft], by: Any, number: str, reference: str, note: str
) -> Order:
    number = number or next_number()
    if not NUMBER.fullmatch(number):
        raise Refusal(
            N_("%(number)s can't be an order's number. Write letters, figures, full stops and hyphens: 2026-114."),
            field="number",
            number=repr(number),
        )
    if before := Order.objects.filter(number=number).first():
        return _placed_before(before, customer, placed_on, lines, reference)
    if not lines:
        raise Refusal(
            N_("Order %(order)s has no line yet. Write at least one: a cloth, pieces and a length."), order=number
        )
    specs = warp_verbs.current_specs(draft.cloth.pk for draft in lines)
    for n, draft in enumerate(lines):
        check_draft(draft, specs, placed_on=placed_on, prefix=f"lines.{n}.")
    order = Order(number=number, customer=customer, placed_on=placed_on, reference=reference, note=note)
    _full_clean(order)
    order._history_user = by  # type: ignore[attr-defined]
    order.save(force_insert=True)
    for position, draft in enumerate(lines, start=1):
        _insert(order, position, draft, by=by)
    return order


def _placed_before(order: Order, customer: Customer, placed_on: date, lines: list[LineDraft], reference: str) -> Order:
    """The order of that number, when it is the same one told twice."""
    written = [draft_of(line) for line in order.lines.select_related("colourway__cloth").order_by("position")]
    is_same = (order.customer_id, order.placed_on, order.reference) == (customer.pk, placed_on, reference)
    if is_same and written == lines:
        return order
    raise Refusal(
        N_("There is an order %(order)s already, of %(customer)s. Give this one another number, such as %(next)s."),
        field="number",
        order=order.number,
        customer=order.customer,
        next=next_number(),
    )


def draft_of(line: OrderLine) -> LineDraft:
    return LineDraft(**{name: getattr(line, name) for name in SAID})


def _insert(order: Order, position: int, draft: LineDraft, *, by: Any) -> OrderLine:
    line = OrderLine(order=order, position=position, cloth=draft.cloth)
    for name in SAID:
        setattr(line, name, getattr(draft, name))
    _full_clean(line)
    line._history_user = by  # type: ignore[attr-defined]
    line.save(force_insert=True)
    return line


def check_draft(draft: LineDraft, specs: dict[int, ClothSpec], *, placed_on: date, prefix: str = "") -> None:
    """Refuse a line that could never be woven, beside the field it belongs to."""
    cloth = draft.cloth
    spec = specs.get(cloth.pk)
    if not cloth.is_in_use:
        raise Refusal(
            N_("%(cloth)s is put away. Take it into use again, or order another cloth."),
            field=f"{prefix}colourway",
            cloth=cloth,
        )
    if spec is None:
        raise Refusal(
            N_("%(cloth)s has never been specified. Write its first revision, then order it."),
            field=f"{prefix}colourway",
            cloth=cloth,
        )
    if not any(entry.colourway_id == draft.colourway.pk for entry in spec.colourway_yarns.all()):
        raise Refusal(
            N_("Revision %(n)s of %(cloth)s has no yarns in %(colourway)s. Put them in, or choose another colourway."),
            field=f"{prefix}colourway",
            n=spec.revision,
            cloth=cloth,
            colourway=draft.colourway,
        )
    if not 1 <= draft.pieces <= MOST_PIECES:
        raise Refusal(
            N_("%(pieces)s pieces can't be ordered. Write 1 to %(most)s."),
            field=f"{prefix}pieces",
            pieces=draft.pieces,
            most=MOST_PIECES,
        )
    if draft.length_m <= 0:
        raise Refusal(
            N_("A piece of %(length)s m can't be woven. Write its finished length."),
            field=f"{prefix}length_m",
            length=draft.length_m,
        )
    if not LEAST_WEIGHT <= draft.weight <= MOST_WEIGHT:
        raise Refusal(
            N_("A weight of %(weight)s says nothing: write %(least)s, when a day late hardly matters, to %(most)s."),
            field=f"{prefix}weight",
            weight=draft.weight,
            least=LEAST_WEIGHT,
            most=MOST_WEIGHT,
        )
    if draft.due_on < placed_on:
        raise Refusal(
            N_("It is due on %(due)s, before it was placed on %(placed)s. Write a later day."),
            field=f"{prefix}due_on",
            due=f"{draft.due_on:%d.%m.%Y}",
            placed=f"{placed_on:%d.%m.%Y}",
        )


@transaction.atomic
def change_order(
    order: Order, *, customer: Customer, placed_on: date, reference: str, note: str, by: Any, seen: str | None = None
) -> Order:
    """Its head: customer, day, reference, note. Lines are changed one by one.

    seen    the version that was changed; refused when another stands
    """
    meanwhile.unmoved(order, seen)
    order = Order.objects.select_for_update(of=("self",), no_key=True).get(pk=order.pk)
    first_due = order.lines.exclude(state=OrderLine.CALLED_OFF).order_by("due_on").first()
    if first_due and first_due.due_on < placed_on:
        raise Refusal(
            N_(
                "Line %(line)s is due on %(due)s; the order can't be placed after that, on %(placed)s. Write an"
                " earlier day."
            ),
            field="placed_on",
            line=first_due,
            due=f"{first_due.due_on:%d.%m.%Y}",
            placed=f"{placed_on:%d.%m.%Y}",
        )
    is_other_customer = order.customer_id != customer.pk
    is_other_reference = order.reference != reference.strip()
    order.customer, order.placed_on = customer, placed_on
    order.reference, order.note = reference.strip(), note.strip()
    _full_clean(order)
    order._history_user = by  # type: ignore[attr-defined]
    order.save(update_fields=["customer", "placed_on", "reference", "note"])
    if is_other_customer or is_other_reference:
        on = list(Warp.objects.open().filter(parts__line__order=order).distinct().values_list("pk", flat=True))
        what = f"is for {customer} now" if is_other_customer else f"has the reference {order.reference or 'none'} now"
        # Of the forms in OVERTAKEN_BY.
        warp_verbs.overtake_tickets(on, f"Order {order} {what}.")
        working_out.warps_changed(on)
    return order


# Lines


@transaction.atomic
def add_line(order: Order, draft: LineDraft, *, by: Any, seen: int | None = None) -> OrderLine:
    """One more line.

    seen   how many lines the order had when the form was opened: a second tap adds nothing twice
    """
    order = Order.objects.select_for_update(of=("self",), no_key=True).get(pk=order.pk)
    last = order.lines.order_by("-position").select_related("colourway__cloth").first()
    if seen is not None and order.lines.count() != seen:
        if last and draft_of(last) == draft:
            return last
        raise Refusal(
            N_(
                "Order %(order)s had %(seen)s lines when this page was opened and has %(now)s now. Look at it again,"
                " then add yours."
            ),
            order=order,
            seen=seen,
            now=order.lines.count(),
        )
    check_draft(draft, warp_verbs.current_specs([draft.cloth.pk]), placed_on=order.placed_on)
    return _insert(order, (last.position if last else 0) + 1, draft, by=by)


@dataclass(frozen=True)
class LineChange:
    """A line after a change, and what the change reached.

    differences    in English, as they are kept: each of a form of LINE_CHANGED
    tickets        of warps not woven out yet, that it overtook
    """

    line: OrderLine
    differences: tuple[str, ...]
    warps: tuple[Warp, ...]
    tickets: int


def _lock_line(line: OrderLine) -> tuple[OrderLine, list[WarpPart]]:
    """The line and the warps that it is on, locked; its parts that stand, in the order of their warps."""
    on = list(WarpPart.objects.filter(line=line).values_list("warp", flat=True))
    warp_verbs.lock_warps(*sorted(on), lines=[line.pk])
    locked = OrderLine.objects.select_related("order__customer", "cloth", "colourway__cloth").get(pk=line.pk)
    return locked, list(parts_there([line.pk]).select_related("warp").order_by("warp__number", "position"))


@transaction.atomic
def change_line(line: OrderLine, draft: LineDraft, *, by: Any, seen: str | None = None) -> LineChange:
    """What a line says is changed. Warps that follow revisions are worked out again; tickets are overtaken that would
    be worked out, or print the line, otherwise.

    Pieces that become fewer come off the warps that no yarn is drawn for, the last first; when all pieces of the line
    were on one such warp, more pieces go on it too. Raises Refusal where cloth, pieces or length no longer can be
    changed because yarn is drawn, wound or woven by them.

    seen    the version of the line that was changed; refused when another stands
    """
    line, parts = _lock_line(line)
    meanwhile.unmoved(line, seen)
    if line.state in (OrderLine.SENT, OrderLine.CALLED_OFF):
        raise Refusal(
            N_("Line %(line)s is %(state)s; nothing of it is changed any more. Write a new line."),
            line=line,
            state=Word(line.state),
        )
    before = draft_of(line)
    changed = {name for name in SAID if getattr(before, name) != getattr(draft, name)}
    if not changed:
        return LineChange(line, (), (), 0)
    check_draft(draft, warp_verbs.current_specs([draft.cloth.pk]), placed_on=line.order.placed_on)
    if changed & FIGURED:
        _check_changeable(line, parts, draft, changed)
    differences = tuple(_difference(name, before, draft) for name in SAID if name in changed)
    in_use = set(_tickets_in_use(part.warp_id for part in parts))
    for name in changed:
        setattr(line, name, getattr(draft, name))
    line.cloth = draft.cloth
    _full_clean(line)
    line._history_user = by  # type: ignore[attr-defined]
    line.save(update_fields=sorted({*changed, "cloth"} if "colourway" in changed else changed))
    if changed & FIGURED:
        _pieces_follow(line, parts, was=before.pieces, by=by)
        _warps_follow(line, by=by, is_other_cloth="colourway" in changed)
    on = list(Warp.objects.open().filter(parts__line=line).distinct().order_by("number"))
    touched = {part.warp_id for part in parts} if changed & PRINTED else _woven_otherwise(line, parts, changed)
    warp_verbs.overtake_tickets(touched, f"Order line {line} was changed: {'; '.join(differences)}.")
    working_out.warps_changed(warp.pk for warp in on)
    lines_follow([line.pk])
    line.refresh_from_db()
    overtaken = in_use - set(_tickets_in_use(part.warp_id for part in parts))
    return LineChange(line, differences, tuple(on), len(overtaken))


def _tickets_in_use(warps: Iterable[int]) -> Iterable[int]:
    tickets = JobTicket.objects.filter(warp__in=set(warps), overtaken_at=None, withdrawn_at=None)
    return tickets.exclude(warp__state=Warp.WOVEN_OUT).values_list("pk", flat=True)


def _woven_otherwise(line: OrderLine, parts: Sequence[WarpPart], changed: set[str]) -> set[int]:
    """Warps that weave the line otherwise than before, when these were its parts."""
    was = {(part.warp_id, part.pieces) for part in parts}
    now = set(line.parts.values_list("warp", "pieces"))
    if changed & {"colourway", "length_m"}:
        return {pk for pk, _ in was | now}
    return {pk for pk, _ in was ^ now}


def _check_changeable(line: OrderLine, parts: Sequence[WarpPart], draft: LineDraft, changed: set[str]) -> None:
    drawn = [part for part in parts if part.warp.state not in warp_verbs.FOLLOWING]
    if drawn and changed & {"colourway", "length_m"}:
        warp, is_cloth = drawn[0].warp, "colourway" in changed
        of_cloth = N_(
            "%(warp)s is %(state)s for %(pieces)s pieces of line %(line)s in %(now)s; they can't become %(then)s. Write"
            " a new line, or take %(warp)s back to planned first."
        )
        of_length = N_(
            "%(warp)s is %(state)s for %(pieces)s pieces of line %(line)s in %(now)s m; they can't become %(then)s m."
            " Write a new line, or take %(warp)s back to planned first."
        )
        name = "colourway" if is_cloth else "length_m"
        raise Refusal(
            of_cloth if is_cloth else of_length,
            field=name,
            warp=warp,
            state=Word(warp.state),
            pieces=drawn[0].pieces,
            line=line,
            now=_figure(name, line),
            then=_figure(name, draft),
        )
    fixed = _fixed_pieces(line, drawn)
    if draft.pieces < fixed:
        raise Refusal(
            N_(
                "%(fixed)s pieces of line %(line)s are on %(where)s already; it can't come down to %(pieces)s. Write"
                " %(fixed)s or more."
            ),
            field="pieces",
            fixed=fixed,
            line=line,
            where=Several(part.warp for part in drawn) if drawn else Word(N_("the perch")),
            pieces=draft.pieces,
        )
    if "colourway" in changed or "pieces" in changed:
        for part in parts:
            if "colourway" in changed and part.warp.state in warp_verbs.FOLLOWING and warp_yarn.holds_of(part.warp):
                raise Refusal(
                    N_("Yarn is held for %(warp)s in %(colourway)s. Let it go first, then change the cloth."),
                    field="colourway",
                    warp=part.warp,
                    colourway=line.colourway,
                )


def _fixed_pieces(line: OrderLine, drawn: Iterable[WarpPart]) -> int:
    """Pieces that it can't do without any more: on warps whose yarn is drawn, or woven.

    Of a warp that is woven out those that came, once they are recorded.
    """
    came = Counter(line.woven_pieces.values_list("warp", flat=True))
    on: Counter[Warp] = Counter()
    for part in drawn:
        on[part.warp] += part.pieces
    fixed = sum(came[warp.pk] if came[warp.pk] and warp.state == Warp.WOVEN_OUT else n for warp, n in on.items())
    return fixed + sum(n for pk, n in came.items() if pk not in {warp.pk for warp in on})


def _pieces_follow(line: OrderLine, parts: Sequence[WarpPart], *, was: int, by: Any) -> None:
    following = [part for part in parts if part.warp.state in warp_verbs.FOLLOWING]
    over = sum(part.pieces for part in parts) - line.pieces
    if len(parts) == 1 and following and parts[0].pieces == was:
        WarpPart.objects.filter(pk=parts[0].pk).update(pieces=line.pieces)
        return
    for part in reversed(following):
        if over <= 0:
            return
        if part.pieces > over:
            WarpPart.objects.filter(pk=part.pk).update(pieces=F("pieces") - over)
            return
        over -= part.pieces
        warp_verbs.drop_parts(part.warp, [part], by=by)


def _warps_follow(line: OrderLine, *, by: Any, is_other_cloth: bool) -> None:
    """Parts stand on the new cloth's revision, warps are still one warp, and on a beam that takes them."""
    parts = WarpPart.objects.filter(line=line, warp__state__in=warp_verbs.FOLLOWING)
    if is_other_cloth:
        spec = warp_verbs.spec_for(line, warp_verbs.current_specs([line.cloth_id]))
        parts.update(spec=spec)
    mill = mill_facts(Mill.the_one())
    for warp in Warp.objects.filter(pk__in=parts.values("warp")).order_by("pk"):
        try:
            work_out(warp_verbs.runs_on(warp), mill=mill)
        except Refusal as refusal:
            raise Refusal(
                N_("%(why)s Take line %(line)s off %(warp)s first, then change it."),
                field=refusal.field,
                why=refusal,
                line=line,
                warp=warp,
            ) from refusal
        warp_verbs.fit_beam(warp, by=by)


@transaction.atomic
def call_off_line(line: OrderLine, *, by: Any, reason: str = "") -> OrderLine:
    """The customer doesn't want it any more. It comes off the warps that no yarn is drawn for.

    Raises Refusal when any of it is drawn, wound, in the loom or woven, with where it is.
    """
    line, parts = _lock_line(line)
    if line.state == OrderLine.CALLED_OFF:
        return line
    if line.state == OrderLine.SENT:
        raise Refusal(N_("Line %(line)s is sent; it can't be called off any more."), line=line)
    if woven := line.woven_pieces.count():
        raise _woven_of(line, woven, [part for part in parts if part.warp.state not in warp_verbs.FOLLOWING])
    for part in parts:
        warp = part.warp
        if warp.state in IN_LOOM or warp.state == Warp.WOVEN_OUT:
            on_a_loom = N_(
                "%(pieces)s pieces of line %(line)s are on %(warp)s, which is %(state)s in loom %(loom)s. Weave them"
                " out and keep them for another customer."
            )
            on_none = N_(
                "%(pieces)s pieces of line %(line)s are on %(warp)s, which is %(state)s. Weave them out and keep them"
                " for another customer."
            )
            raise Refusal(
                on_a_loom if warp.loom else on_none,
                pieces=part.pieces,
                line=line,
                warp=warp,
                state=Word(warp.state),
                loom=warp.loom,
            )
        if warp.state not in warp_verbs.FOLLOWING:
            raise Refusal(
                N_(
                    "%(pieces)s pieces of line %(line)s are on %(warp)s, which is %(state)s. Take %(warp)s back to"
                    " planned first, or weave them out and keep them for another customer."
                ),
                pieces=part.pieces,
                line=line,
                warp=warp,
                state=Word(warp.state),
            )
        if warp_yarn.holds_of(warp):
            raise Refusal(
                N_("Yarn is held for %(warp)s. Let it go first, then call line %(line)s off."), warp=warp, line=line
            )
    for part in parts:
        warp_verbs.drop_parts(part.warp, [part], by=by)
    line.state = OrderLine.CALLED_OFF
    line._history_user = by  # type: ignore[attr-defined]
    line._change_reason = reason.strip()[:100] or None  # type: ignore[attr-defined]
    line.save(update_fields=["state"])
    return line


def _woven_of(line: OrderLine, woven: int, drawn: Sequence[WarpPart]) -> Refusal:
    """Why a line isn't called off of which pieces are woven, with the way out that there is."""
    fixed = _fixed_pieces(line, drawn)
    said: dict[str, Any] = {"woven": woven, "pieces": line.pieces, "fixed": fixed, "line": line}
    said["warps"] = Several(part.warp for part in drawn if part.warp.state != Warp.WOVEN_OUT)
    if fixed <= woven < line.pieces:
        form = N_(
            "%(woven)s of the %(pieces)s pieces of line %(line)s are woven. Change its pieces to %(woven)s instead."
        )
    elif fixed < line.pieces:
        form = N_(
            "%(woven)s of the %(pieces)s pieces of line %(line)s are woven, and more of them are on %(warps)s. Change"
            " its pieces to %(fixed)s instead."
        )
    elif woven < line.pieces and said["warps"]:
        form = N_(
            "%(woven)s of the %(pieces)s pieces of line %(line)s are woven, and the others are on %(warps)s. Weave them"
            " out and put the pieces to another line, or to none; then it can be called off."
        )
    else:
        form = N_(
            "The pieces of line %(line)s are woven. Put them to another line, or to none; then it can be called off."
        )
    return Refusal(form, **said)


@transaction.atomic
def take_up_line(line: OrderLine, *, by: Any) -> OrderLine:
    """A line that was called off is wanted after all."""
    line, _ = _lock_line(line)
    if line.state != OrderLine.CALLED_OFF:
        return line
    line.state = OrderLine.ENTERED
    line._history_user = by  # type: ignore[attr-defined]
    line.save(update_fields=["state"])
    lines_follow([line.pk])
    return line


def last_position(order: Order) -> int:
    return order.lines.aggregate(last=Max("position"))["last"] or 0


def orderable_colourways(also: Iterable[int] = ()) -> models.QuerySet[Colourway]:
    """Colourways that the latest revision of a cloth in use is made in, and these: what a line may be of."""
    made = latest_specs().filter(cloth__is_in_use=True).values("colourway_yarns__colourway")
    return (
        Colourway.objects.filter(models.Q(pk__in=made) | models.Q(pk__in=list(also)))
        .select_related("cloth")
        .order_by("cloth__code", "name")
    )
