"""What became of a book: how much of it is new, changed and the same, and what is wrong with it."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from mill.refusal import N_, Refusal
from planning.csv_book import Column, Row, Wrong, shown

NEW, CHANGED, SAME = "new", "changed", "same"


@dataclass
class Tally:
    """Counts by row.

    by       who brings the book in
    also     what was written beside the rows themselves: places that lots lie in, by what they are called
    wrong    all that is wrong so far
    """

    by: Any
    counts: dict[str, int] = field(default_factory=lambda: dict.fromkeys((NEW, CHANGED, SAME), 0))
    also: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    wrong: list[Wrong] = field(default_factory=list)

    def count(self, what: str, n: int = 1) -> None:
        self.counts[what] += n

    @contextmanager
    def of(self, row: Row, columns: Mapping[str, str] | None = None) -> Iterator[None]:
        """A refusal inside stands in the tally, beside the column that its field belongs to.

        columns    by field, where they are called otherwise
        """
        with beside([row], self, columns):
            yield


@dataclass(frozen=True)
class Kind:
    """A kind of book.

    one, many    what its rows are called
    says         what a row is, and what follows from bringing one in again
    key          columns by which a row is known again
    write        writes the rows, in the caller's transaction
    """

    one: str
    many: str
    says: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    write: Callable[..., None]
    empty: str = N_("A column that is left out leaves what is written; an empty cell says what is usual in its column.")


def one_said(rows: Sequence[Row], column: str, *, of: str) -> Any:
    """The one thing that rows about the same say in a column; None where none of them says anything.

    of    what they are about: cloth HER7

    Raises Refusal, with the field `row.7.column`, where two say different things.
    """
    first: Row | None = None
    for row in rows:
        value = row.cells.get(column)
        if value is None or value == "":
            continue
        if first is not None and value != first.cells[column]:
            raise Refusal(
                N_(
                    '"%(here)s" is written here, and "%(there)s" for %(of)s in row %(row)s. Write the right one, or'
                    " leave it to one row."
                ),
                here=shown(row.written[column]),
                there=shown(first.written[column]),
                of=of,
                row=first.number,
                field=f"row.{row.number}.{column}",
            )
        first = first or row
    return first.cells[column] if first else None


@contextmanager
def beside(rows: Sequence[Row], tally: Tally, columns: Mapping[str, str] | None = None) -> Iterator[None]:
    """A refusal about what several rows say together stands beside the one that it is about.

    Its field is a column, then it is the first row that fills it; or `row.7.column`.
    """
    try:
        yield
    except Refusal as refusal:
        field_name, row = refusal.field or "", rows[0]
        if field_name.startswith("row."):
            number, _, field_name = field_name.removeprefix("row.").partition(".")
            row = next(row for row in rows if row.number == int(number))
        else:
            row = next((row for row in rows if row.written.get(field_name)), row)
        column = (columns or {}).get(field_name, field_name)
        tally.wrong.append(row.wrong(column, refusal.message))


def differing(row: Any, facts: Mapping[str, Any]) -> list[str]:
    """Names of the facts that a record says otherwise; of a new one, all."""
    return [*facts] if row._state.adding else [name for name, value in facts.items() if getattr(row, name) != value]
