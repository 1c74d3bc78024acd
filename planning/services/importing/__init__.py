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
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from mill import changes
from mill.refusal import N_, Refusal, Word
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
        super().__init__(
            N_("One thing is wrong with these %(kinds)s, so nothing of them is brought in.")
            if self.n_wrong == 1
            else N_("%(n)s things are wrong with these %(kinds)s, so nothing of them is brought in."),
            n=self.n_wrong,
            kinds=Word(kind.many),
        )


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
        """What came of it, in the language of whoever asks."""
        counts = {"new": self.new, "changed": self.changed, "same": self.same}
        kinds = _(self.kind.many)
        told = _("%(new)s new, %(changed)s changed, %(same)s the same") % counts
        said = {"kinds": kinds, "n": self.n_rows, "counts": told}
        if self.is_check and self.n_rows == 1:
            return _("The one row of these %(kinds)s can be brought in: %(counts)s. Nothing is written.") % said
        if self.is_check:
            return _("All %(n)s rows of these %(kinds)s can be brought in: %(counts)s. Nothing is written.") % said
        return f"{kinds[:1].upper()}{kinds[1:]}: {told}."


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
        raise Refusal(
            N_("There are no %(kind)s to bring in. Choose one of %(kinds)s."),
            kind=repr(kind),
            kinds=", ".join(KINDS),
            field="kind",
        )
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
    n = len(names)
    counted = {
        "supplier": ngettext("%(n)s new supplier", "%(n)s new suppliers", n),
        "place": ngettext("%(n)s new place", "%(n)s new places", n),
        "shift pattern": ngettext("%(n)s new shift pattern", "%(n)s new shift patterns", n),
        "cloth": ngettext("%(n)s new cloth", "%(n)s new cloths", n),
        "revision": ngettext("%(n)s new revision", "%(n)s new revisions", n),
    }[what] % {"n": n}
    shown = ", ".join(names[:12])
    if n > 12:
        shown = _("%(names)s and %(n)s more") % {"names": shown, "n": n - 12}
    return f"{counted}: {shown}."
