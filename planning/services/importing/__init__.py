"""CSV in: a whole book of one kind at a time, all of it or nothing of it.

`planning/csv_book.py` reads rows and columns; here the cells become records.

cells.py     what a cell says, read as the forms read it
tally.py     how much of a book is new, changed, the same, and what is wrong with it
store.py     fibres, suppliers, places and deliveries
money.py     what yarn costs
stock.py     yarns and lots
shed.py      reeds, beams and looms
cloths.py    cloths, a row for each colourway
orders.py    customers and orders
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import transaction

from mill import changes
from mill.refusal import Refusal
from planning import csv_book
from planning.csv_book import POINT, WRONG_MAX, Wrong
from planning.services.importing.cloths import CLOTHS
from planning.services.importing.money import PRICES
from planning.services.importing.orders import CUSTOMERS, ORDERS
from planning.services.importing.shed import BEAMS, LOOMS, REEDS
from planning.services.importing.stock import LOTS, YARNS
from planning.services.importing.store import DELIVERIES, FIBRES, PLACES, SUPPLIERS
from planning.services.importing.tally import CHANGED, NEW, SAME, Kind, Tally

_KINDS = (FIBRES, SUPPLIERS, PLACES, YARNS, PRICES, DELIVERIES, LOTS, REEDS, BEAMS, LOOMS, CLOTHS, CUSTOMERS, ORDERS)
KINDS: Mapping[str, Kind] = {kind.many: kind for kind in _KINDS}
assert tuple(KINDS) == csv_book.KINDS

__all__ = ["KINDS", "Brought", "Kind", "NotBroughtIn", "bring_in"]


class NotBroughtIn(Refusal):
    """A book with something wrong in it: nothing of it is written.

    wrong     the first of what is wrong, in the order of the rows; never more than WRONG_MAX
    n_wrong   how much there is in all
    """

    def __init__(self, kind: Kind, wrong: Sequence[Wrong]) -> None:
        ordered = sorted(wrong, key=lambda one: one.row or 0)
        self.wrong, self.n_wrong = tuple(ordered[:WRONG_MAX]), len(ordered)
        things = "One thing is" if self.n_wrong == 1 else f"{self.n_wrong} things are"
        super().__init__(f"{things} wrong with these {kind.many}, so nothing of them is brought in.")


@dataclass(frozen=True)
class Brought:
    """What came of a book.

    also        what was written beside its rows, in sentences
    names       what its rows are of, each once: numbers of orders, codes of cloths
    is_check    nothing was written: this is what would have been
    """

    kind: Kind
    n_rows: int
    new: int
    changed: int
    same: int
    also: tuple[str, ...]
    names: tuple[str, ...]
    is_check: bool

    def __str__(self) -> str:
        counts = f"{self.new} new, {self.changed} changed, {self.same} the same"
        if self.is_check:
            rows = "The one row" if self.n_rows == 1 else f"All {self.n_rows} rows"
            return f"{rows} of these {self.kind.many} can be brought in: {counts}. Nothing is written."
        return f"{self.kind.many.capitalize()}: {counts}."


def bring_in(kind: str, data: bytes, *, by: Any, decimal: str = POINT, is_check: bool = False) -> Brought:
    """Bring a book in: every row of it, or none.

    kind       one of KINDS
    data       the file as it is
    decimal    how its decimals are written, POINT or COMMA
    is_check   look at all of it as if it were brought in, and write nothing

    Brought in twice, it changes nothing the second time. Raises NotBroughtIn with all that is wrong by row and column,
    or another Refusal where the file is no such book at all.
    """
    if kind not in KINDS:
        raise Refusal(f"There are no {kind!r} to bring in. Choose one of {', '.join(KINDS)}.", field="kind")
    book = KINDS[kind]
    sheet = csv_book.read_sheet(data, book.columns, key=book.key, decimal=decimal)
    tally = Tally(by)
    with changes.by(by), transaction.atomic():
        book.write(sheet, tally, by=by)
        wrong = [*sheet.wrong, *tally.wrong]
        if wrong:
            raise NotBroughtIn(book, wrong)
        if is_check:
            transaction.set_rollback(True)
    return Brought(
        kind=book,
        n_rows=sheet.n_rows,
        new=tally.counts[NEW],
        changed=tally.counts[CHANGED],
        same=tally.counts[SAME],
        also=tuple(_also(what, names) for what, names in tally.also.items()),
        names=tuple(dict.fromkeys(str(row.cells[book.key[0]]) for row in sheet.good)),
        is_check=is_check,
    )


def _also(what: str, names: Sequence[str]) -> str:
    """New beside the rows: 2 new places: BAY-1, BAY-2."""
    shown = ", ".join(names[:12]) + (f" and {len(names) - 12} more" if len(names) > 12 else "")
    return f"{len(names)} new {what}{'' if len(names) == 1 else 's'}: {shown}."
