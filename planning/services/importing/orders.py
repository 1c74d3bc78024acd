"""Customers and orders out of a CSV book. New lines are written all at once: an order book has thousands."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import groupby
from typing import Any, TypeVar

from django.utils.translation import gettext as _
from simple_history.utils import bulk_create_with_history

from mill.refusal import N_, Refusal
from planning.csv_book import ByName, Column, Row, Sheet, read_day, shown
from planning.models import ClothSpec, Colourway, Customer, Order, OrderLine, Piece, WarpPart
from planning.services import orders
from planning.services.importing.cells import measure_of, percent_of, text_of, whole_of
from planning.services.importing.tally import CHANGED, NEW, SAME, Kind, Tally, beside, differing, one_said
from planning.services.orders import LineDraft
from planning.services.warps import current_specs

REASON = "From a CSV file."
AT_ONCE = 500
T = TypeVar("T")
LINE_COLUMNS = ("pieces", "length_m", "due_on", "tolerance_pct", "weight", "note")


# Customers


def write_customers(sheet: Sheet, tally: Tally, *, by: Any) -> None:
    by_code = ByName(N_("customer"), {customer.code: customer for customer in Customer.objects.all()})
    for row in sheet.good:
        with tally.of(row):
            found = by_code.get(row.cells["code"])
            customer = found or Customer(code=row.cells["code"])
            facts = {name: value for name, value in row.cells.items() if name != "code"}
            changed = differing(customer, facts)
            if found and not changed:
                tally.count(SAME)
                continue
            for name in changed:
                setattr(customer, name, facts[name])
            orders.write_customer(customer, by=by)
            tally.count(CHANGED if found else NEW)


CUSTOMERS = Kind(
    one="customer",
    many="customers",
    says=N_("A customer."),
    key=("code",),
    columns=(
        Column("code", N_("What the mill calls them."), "ARDEN", text_of(Customer, "code"), is_needed=True),
        Column(
            "name", N_("As it stands on papers."), "Arden & Voss, tailors", text_of(Customer, "name"), is_needed=True
        ),
        Column(
            "points_limit_per_100_yd2",
            N_("Four-point grading, as agreed with them; empty for the mill's own limit."),
            "28",
            measure_of(Customer, "points_limit_per_100_yd2", "number"),
            is_number=True,
            otherwise=None,
        ),
        Column("notes", N_("For whoever packs and writes."), "Rolls on tubes.", str),
    ),
    write=write_customers,
)


# Orders


@dataclass
class _Waiting:
    """Rows that are written all at once when every row has been looked at."""

    orders: list[Order] = field(default_factory=list)
    lines: list[OrderLine] = field(default_factory=list)
    loose: list[OrderLine] = field(default_factory=list)


@dataclass(frozen=True)
class _Book:
    """What the rows name, read once."""

    customers: ByName[Customer]
    cloths: ByName[dict[str, Colourway]]
    specs: dict[int, ClothSpec]
    orders: ByName[Order]
    lines: Mapping[tuple[int, int], OrderLine]
    begun: frozenset[int]

    @classmethod
    def read(cls, sheet: Sheet) -> "_Book":
        numbers = sorted({str(row.cells["order"]) for row in sheet.good})
        found = [
            order
            for some in _in_parts(numbers)
            for order in Order.objects.select_related("customer").filter(number__in=some)
        ]
        line_ids = [
            pk
            for some in _in_parts([order.pk for order in found])
            for pk in OrderLine.objects.filter(order__in=some).values_list("pk", flat=True)
        ]
        # Locked, so that what nothing hangs on now has nothing hanging on it when it is written.
        lines = {
            (line.order_id, line.position): line
            for some in _in_parts(sorted(line_ids))
            for line in OrderLine.objects.select_for_update(of=("self",), no_key=True)
            .select_related("order__customer", "cloth", "colourway__cloth")
            .filter(pk__in=some)
            .order_by("pk")
        }
        cloths: dict[str, dict[str, Colourway]] = {}
        for colourway in Colourway.objects.select_related("cloth"):
            cloths.setdefault(colourway.cloth.code, {})[colourway.name] = colourway
        # Lines that something hangs on: they are changed one by one.
        begun = set(WarpPart.objects.values_list("line", flat=True).distinct())
        begun |= set(Piece.objects.exclude(line=None).values_list("line__pk", flat=True).distinct())
        return cls(
            customers=ByName(N_("customer"), {customer.code: customer for customer in Customer.objects.all()}),
            cloths=ByName(N_("cloth"), cloths),
            specs=current_specs(colourway.cloth_id for names in cloths.values() for colourway in names.values()),
            orders=ByName(N_("order"), {order.number: order for order in found}),
            lines=lines,
            begun=frozenset(begun),
        )


def _in_parts(values: Sequence[T]) -> Iterator[Sequence[T]]:
    """A database takes only so many values in one question."""
    return (values[at : at + AT_ONCE] for at in range(0, len(values), AT_ONCE))


def write_orders(sheet: Sheet, tally: Tally, *, by: Any) -> None:
    book = _Book.read(sheet)
    waiting = _Waiting()
    poor = {row.number for row in sheet.poor}
    for number, rows in _by_order([*sheet.good, *sheet.poor]):
        if poor.intersection(row.number for row in rows):
            _look_up(rows, book, tally)
            continue
        with beside(rows, tally):
            order = _head(number, rows, book, waiting, by)
            for row in rows:
                with tally.of(row):
                    tally.count(_line(row, order, book, waiting, by))
    if tally.wrong or sheet.wrong:
        return
    bulk_create_with_history(waiting.orders, Order, batch_size=AT_ONCE, default_user=by, default_change_reason=REASON)
    bulk_create_with_history(
        waiting.lines, OrderLine, batch_size=AT_ONCE, default_user=by, default_change_reason=REASON
    )
    if waiting.loose:
        # As rows that are there already: six times as fast as an update of so many.
        OrderLine.objects.bulk_create(
            waiting.loose,
            batch_size=AT_ONCE,
            update_conflicts=True,
            unique_fields=["id"],
            update_fields=[*LINE_COLUMNS, "cloth", "colourway"],
        )
        OrderLine.history.bulk_history_create(
            waiting.loose, batch_size=AT_ONCE, update=True, default_user=by, default_change_reason=REASON
        )


def _look_up(rows: Iterable[Row], book: _Book, tally: Tally) -> None:
    """Whether there is what the rows name: said beside whatever else is wrong with them."""
    for row in rows:
        with tally.of(row):
            if row.cells.get("customer"):
                _named(book.customers, row.cells["customer"], "customer")
        with tally.of(row):
            if {"cloth", "colourway"} <= row.cells.keys():
                _colourway(row, book)


def _by_order(rows: Iterable[Row]) -> Iterable[tuple[str, list[Row]]]:
    def number(row: Row) -> str:
        return str(row.cells.get("order", ""))

    for found, group in groupby(sorted(rows, key=number), key=number):
        yield found, sorted(group, key=lambda row: row.number)


def _head(number: str, rows: list[Row], book: _Book, waiting: _Waiting, by: Any) -> Order:
    """The order itself, written or waiting to be."""
    of = _("order %(number)s") % {"number": number}
    said = {name: one_said(rows, name, of=of) for name in ("customer", "placed_on", "reference", "order_note")}
    customer = _named(book.customers, said["customer"], "customer") if said["customer"] else None
    found = book.orders.get(number)
    if found is None:
        for name, value in (("customer", customer), ("placed_on", said["placed_on"])):
            if value is None:
                raise Refusal(
                    N_("Order %(order)s needs it in one of its rows: nothing is written in any."),
                    order=number,
                    field=f"row.{rows[0].number}.{name}",
                )
        if not orders.NUMBER.fullmatch(number):
            raise Refusal(
                N_("%(number)s can't be an order's number. Write letters, figures, full stops and hyphens: 2026-114."),
                number=shown(number),
                field=f"row.{rows[0].number}.order",
            )
        order = Order(
            number=number,
            customer=customer,
            placed_on=said["placed_on"],
            reference=said["reference"] or "",
            note=said["order_note"] or "",
        )
        waiting.orders.append(order)
        return order
    head: dict[str, Any] = {
        "customer": customer or found.customer,
        "placed_on": said["placed_on"] or found.placed_on,
        "reference": found.reference if said["reference"] is None else said["reference"],
        "note": found.note if said["order_note"] is None else said["order_note"],
    }
    return orders.change_order(found, by=by, **head) if differing(found, head) else found


def _named(book: ByName[Any], name: str, column: str) -> Any:
    try:
        return book[name]
    except Refusal as refusal:
        raise Refusal(refusal.message, field=column) from refusal


def _line(row: Row, order: Order, book: _Book, waiting: _Waiting, by: Any) -> str:
    position = row.cells["line"]
    found = book.lines.get((order.pk, position)) if order.pk else None
    columns = {name: row.cells[name] for name in LINE_COLUMNS if name in row.cells}
    if found:
        columns = {name: columns.get(name, getattr(found, name)) for name in LINE_COLUMNS}
    draft = LineDraft(_colourway(row, book), **columns)
    if found and not _differs(found, draft):
        return SAME
    if found and (found.pk in book.begun or found.state != OrderLine.ENTERED):
        orders.change_line(found, draft, by=by)
        return CHANGED
    orders.check_draft(draft, book.specs, placed_on=order.placed_on)
    line = found or OrderLine(order=order, position=position)
    line.cloth, line.colourway = draft.cloth, draft.colourway
    for name in LINE_COLUMNS:
        setattr(line, name, getattr(draft, name))
    (waiting.loose if found else waiting.lines).append(line)
    return CHANGED if found else NEW


def _differs(line: OrderLine, draft: LineDraft) -> bool:
    return line.colourway_id != draft.colourway.pk or any(
        getattr(line, name) != getattr(draft, name) for name in LINE_COLUMNS
    )


def _colourway(row: Row, book: _Book) -> Colourway:
    code = row.cells["cloth"]
    made = _named(book.cloths, code, "cloth")
    found: Colourway = _named(
        ByName(_("colourway of %(cloth)s called") % {"cloth": code}, made), row.cells["colourway"], "colourway"
    )
    return found


ORDERS = Kind(
    one="order line",
    many="orders",
    says=N_(
        "A line of an order. What is the same for the whole order may be left to one of its rows. A line that is in the"
        " book and says something else is changed, as far as its warps still allow."
    ),
    key=("order", "line"),
    columns=(
        Column("order", N_("The mill's own number."), "K-1041", text_of(Order, "number"), is_needed=True),
        Column("customer", N_("Their code."), "ARDEN", text_of(Customer, "code"), is_asked=True),
        Column("placed_on", N_("The day."), "2026-03-04", read_day, is_asked=True, otherwise=None),
        Column("reference", N_("The customer's own number."), "AV 77-3", text_of(Order, "reference"), otherwise=None),
        Column(
            "line",
            N_("Its number within the order, from 1."),
            "1",
            measure_of(OrderLine, "position", "number", above=0),
            is_needed=True,
        ),
        Column("cloth", N_("Its code."), "HER7", is_needed=True),
        Column("colourway", N_("Its name."), "moss", text_of(Colourway, "name"), is_needed=True),
        Column("pieces", N_("How many."), "2", whole_of(OrderLine, "pieces"), is_needed=True),
        Column(
            "length_m",
            N_("Finished, each piece."),
            "60",
            measure_of(OrderLine, "length_m", "m", above=0),
            is_needed=True,
            is_number=True,
        ),
        Column("due_on", N_("The day."), "2026-06-01", read_day, is_needed=True),
        Column(
            "tolerance_pct",
            N_("More or less than ordered."),
            "2.5",
            percent_of(OrderLine, "tolerance_pct"),
            is_number=True,
            otherwise=Decimal(0),
        ),
        Column("weight", N_("How much a day late matters, 1 to 9."), "1", whole_of(OrderLine, "weight"), otherwise=1),
        Column("note", N_("For the weaver."), "Selvedge in pale grey.", text_of(OrderLine, "note")),
        Column("order_note", N_("Of the whole order."), "", str, otherwise=None),
    ),
    write=write_orders,
)
