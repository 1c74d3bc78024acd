"""Finding a thing by what stands on it: its number, name, reference, or the address in its QR code."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any
from urllib.parse import unquote

from django.db.models import Case, CharField, IntegerField, Q, QuerySet, Value, When
from django.db.models.functions import Cast, Concat
from django.utils.translation import gettext as _

from inventory.ledger import written
from inventory.models import Claim, Delivery, Supplier, Yarn, YarnLot
from mill import language, roles
from mill.refusal import N_
from planning.models import (
    Cloth,
    Customer,
    Dispatch,
    FinishingBatch,
    JobTicket,
    Loom,
    Order,
    OrderLine,
    Piece,
    Quote,
    Warp,
)

SHOWN = 8
LONGEST = 100
EXACT, BEGINS, HAS, BESIDE = range(4)


@dataclass(frozen=True)
class Kind:
    """A kind of thing that can be found.

    key     what a person may write before a number: "warp 118"
    label   the heading over those that were found
    rows    where to look
    names   fields that name it: one that is the whole of what was asked is that very thing
    beside  fields in which a word may stand as well
    codes   fields that are only ever scanned, never read in part
    page    the name of its page's address
    paths   how the addresses in its QR codes begin

    Whoever may not read its page does not find it.
    """

    key: str
    label: str
    rows: Callable[[], QuerySet[Any]]
    names: tuple[str, ...]
    page: str
    args: Callable[[Any], list[Any]]
    said: Callable[[Any], str]
    beside: tuple[str, ...] = ()
    codes: tuple[str, ...] = ()
    paths: tuple[str, ...] = ()

    @property
    def words(self) -> set[str]:
        """What may stand before a number, in English or in the language of the page."""
        return {word.lower() for said in (self.key, self.label) for word in (said, _(said))}


@dataclass(frozen=True)
class Hit:
    title: str
    said: str
    page: str
    args: list[Any]
    is_exact: bool


@dataclass(frozen=True)
class Group:
    kind: str
    label: str
    hits: list[Hit]
    has_more: bool

    @property
    def best(self) -> int:
        return 0 if any(hit.is_exact for hit in self.hits) else 1


def _lines() -> QuerySet[Any]:
    whole = Concat("order__number", Value("/"), Cast("position", CharField()), output_field=CharField())
    return OrderLine.objects.select_related("order__customer", "cloth", "colourway").annotate(whole=whole)


def _number(row: Any) -> list[Any]:
    return [row.number]


def _code(row: Any) -> list[Any]:
    return [row.code]


def _pk(row: Any) -> list[Any]:
    return [row.pk]


def _no_longer(ticket: JobTicket) -> list[str]:
    """Whether a ticket still holds, in a word where it does not."""
    if ticket.withdrawn_at:
        return [_("withdrawn")]
    return [_("overtaken")] if ticket.overtaken_at else []


KINDS = [
    Kind(
        N_("order"),
        N_("Orders"),
        lambda: Order.objects.select_related("customer"),
        ("number", "reference"),
        "order",
        _number,
        lambda row: f"{row.customer}, {row.reference}" if row.reference else str(row.customer),
        beside=("customer__name",),
        paths=("/order/",),
    ),
    Kind(
        N_("quote"),
        N_("Quotes"),
        lambda: Quote.objects.select_related("customer", "spec__cloth", "colourway").defer("figures"),
        ("number",),
        "quote",
        _number,
        lambda row: ", ".join(
            [*([str(row.customer)] if row.customer else []), f"{row.spec.cloth}, {row.colourway}", _(row.stands)]
        ),
        beside=("customer__name", "spec__cloth__code", "spec__cloth__name", "note"),
        paths=("/quotes/",),
    ),
    Kind(
        N_("line"),
        N_("Order lines"),
        _lines,
        ("whole",),
        "order",
        lambda row: [row.order.number],
        lambda row: f"{row.order.customer}, {row.cloth}, {row.colourway}, {_(row.state)}",
        beside=("note",),
    ),
    Kind(
        N_("piece"),
        N_("Pieces"),
        lambda: Piece.objects.select_related("spec__cloth"),
        ("number",),
        "piece",
        _number,
        lambda row: f"{row.spec.cloth}, {_(row.state)}",
        paths=("/pieces/",),
    ),
    Kind(
        N_("lot"),
        N_("Lots"),
        lambda: YarnLot.objects.select_related("yarn"),
        ("label", "dye_lot"),
        "lot",
        lambda row: [row.label],
        lambda row: _("%(yarn)s, dye lot %(dye_lot)s") % {"yarn": row.yarn, "dye_lot": row.dye_lot},
        beside=("yarn__code", "yarn__name"),
        paths=("/lots/",),
    ),
    Kind(
        N_("warp"),
        N_("Warps"),
        lambda: Warp.objects.all(),
        ("number",),
        "warp",
        _number,
        lambda row: _(row.state),
        beside=("note",),
        paths=("/warps/",),
    ),
    Kind(
        N_("ticket"),
        N_("Tickets"),
        lambda: JobTicket.objects.select_related("warp").defer("figures", "extras"),
        ("number",),
        "ticket",
        _number,
        lambda row: ", ".join([language.called(row.warp), *_no_longer(row)]),
        codes=("token",),
        paths=("/t/", "/floor/", "/tickets/"),
    ),
    Kind(N_("cloth"), N_("Cloths"), lambda: Cloth.objects.all(), ("code", "name"), "cloth", _code, lambda row: ""),
    Kind(
        N_("customer"),
        N_("Customers"),
        lambda: Customer.objects.all(),
        ("code", "name"),
        "customer",
        _code,
        lambda row: str(row.code),
    ),
    Kind(
        N_("yarn"),
        N_("Yarns"),
        lambda: Yarn.objects.all(),
        ("code", "name"),
        "yarn_one",
        _code,
        lambda row: row.count_as_bought,
        paths=("/yarns/",),
    ),
    Kind(
        N_("delivery"),
        N_("Deliveries"),
        lambda: Delivery.objects.select_related("yarn", "supplier"),
        ("number", "dye_lot"),
        "delivery",
        _pk,
        lambda row: f"{row.yarn}, {written(row.ordered_g)}",
        beside=("yarn__code", "yarn__name", "supplier__name"),
    ),
    Kind(
        N_("loom"),
        N_("Looms"),
        lambda: Loom.objects.all(),
        ("code",),
        "loom",
        _code,
        lambda row: row.kind,
        beside=("kind",),
    ),
    Kind(
        N_("batch"),
        N_("Finishing batches"),
        lambda: FinishingBatch.objects.all(),
        ("number",),
        "batch",
        _number,
        lambda row: row.step,
    ),
    Kind(
        N_("dispatch"),
        N_("Dispatches"),
        lambda: Dispatch.objects.select_related("customer"),
        ("number",),
        "dispatch",
        _number,
        lambda row: str(row.customer),
        beside=("customer__name",),
    ),
    Kind(
        N_("claim"),
        N_("Claims"),
        lambda: Claim.objects.select_related("delivery"),
        ("number", "invoice"),
        "claim",
        _number,
        lambda row: _("delivery %(delivery)s, %(state)s") % {"delivery": row.delivery, "state": row.said},
        beside=("delivery__number", "delivery__supplier__name"),
    ),
    Kind(
        N_("supplier"),
        N_("Suppliers"),
        lambda: Supplier.objects.all(),
        ("code", "name"),
        "supplier",
        _pk,
        lambda row: str(row.code),
    ),
]


def find(asked: str, *, held: Iterable[str]) -> list[Group]:
    """What answers to the words that were asked, by kind: what is named just so first.

    held    the roles of whoever asks

    One query a kind, however much there is. "warp 118" looks among warps alone;
    where nothing is found there, everywhere.
    """
    asked = tidy(asked)
    if not asked:
        return []
    readable = [kind for kind in KINDS if roles.may(held, kind.page)]
    for kinds, words in _readings(asked, readable):
        groups = sorted((group for kind in kinds if (group := _look(kind, words))), key=lambda group: group.best)
        if groups:
            return groups
    return []


def the_one(groups: list[Group]) -> Hit | None:
    """The only thing named just so, when there is one and no other."""
    exact = [hit for group in groups for hit in group.hits if hit.is_exact]
    return exact[0] if len(exact) == 1 else None


def tidy(asked: str) -> str:
    return " ".join(asked.replace("\0", " ").split())[:LONGEST]


def _readings(asked: str, among: list[Kind]) -> Iterator[tuple[list[Kind], str]]:
    path = _path(asked)
    if path:
        for kind in among:
            for begins in kind.paths:
                if path.startswith(begins) and (name := unquote(path.removeprefix(begins)).strip("/")):
                    yield [kind], name
    first, _space, rest = asked.partition(" ")
    if rest and (named := [kind for kind in among if first.lower() in kind.words]):
        yield named, rest
    yield among, asked


def _path(asked: str) -> str:
    """The path of an address, on whatever machine it was printed; "" when it is none."""
    if "://" in asked:
        asked = "/" + asked.partition("://")[2].partition("/")[2]
    return asked.partition("?")[0].partition("#")[0] if asked.startswith("/") else ""


def _look(kind: Kind, asked: str) -> Group | None:
    exact, begins, has = (
        _any(fields, how, asked)
        for fields, how in (
            ((*kind.names, *kind.codes), "iexact"),
            (kind.names, "istartswith"),
            (kind.names, "icontains"),
        )
    )
    every_word = Q()
    for word in asked.split():
        every_word &= _any((*kind.names, *kind.beside), "icontains", word)
    nearness = Case(
        When(exact, then=EXACT),
        When(begins, then=BEGINS),
        When(has, then=HAS),
        default=BESIDE,
        output_field=IntegerField(),
    )
    rows = kind.rows().filter(exact | every_word).annotate(nearness=nearness).order_by("nearness", "-pk")
    found = list(rows[: SHOWN + 1])
    if not found:
        return None
    hits = [
        Hit(
            getattr(row, "whole", None) or language.called(row),
            kind.said(row),
            kind.page,
            kind.args(row),
            row.nearness == EXACT,
        )
        for row in found[:SHOWN]
    ]
    return Group(kind.key, _(kind.label), hits, has_more=len(found) > SHOWN)


def _any(fields: tuple[str, ...], how: str, text: str) -> Q:
    found = Q()
    for field in fields:
        for written_so in _large_and_small(text):
            found |= Q(**{f"{field}__{how}": written_so})
    return found


def _large_and_small(text: str) -> set[str]:
    """SQLite takes a for A and tells ö from Ö: beyond a to z each is asked for.

    >>> sorted(_large_and_small("öhler")), _large_and_small("moss")
    (['ÖHLER', 'Öhler', 'öhler'], {'moss'})
    """
    return {text} if text.isascii() else {text, text.lower(), text.upper(), text.title()}
