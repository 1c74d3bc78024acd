"""The CSV book: rows, columns and what is wrong with them. Knows no database.

A book is a text with a header and a row for each thing. Its cells are separated by commas or by semicolons, whichever
the header uses; its decimals are written with a point or with a comma, as whoever brings it in declares once. Nothing
of a book is believed before all of it has been read: everything that is wrong is gathered, with its row and column.
"""

import csv
import io
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from difflib import get_close_matches
from typing import Any, Generic, TypeVar

from mill.refusal import N_, Refusal, Word
from mill.signs import written_as
from planning.cloth import LETTERS, RouteStep

# In the order in which an empty book is filled: each kind names only things of those before it.
KINDS = (
    *(N_("fibres"), N_("suppliers"), N_("places"), N_("yarns"), N_("prices"), N_("deliveries"), N_("lots")),
    *(N_("reeds"), N_("beams"), N_("looms"), N_("cloths"), N_("customers"), N_("orders")),
)
POINT, COMMA = "point", "comma"
SIGNS = {POINT: ".", COMMA: ","}
SEPARATORS = {",": "a comma", ";": "a semicolon"}

BYTES_MAX = 5_000_000
ROWS_MAX = 20_000
# No more than these are shown at once: what is wrong a hundred times is wrong for one reason.
WRONG_MAX = 100
CELL_MAX = 10_000
HEADER_ROW = 1
LONGEST_SHOWN = 60

T = TypeVar("T")


@dataclass(frozen=True)
class Column:
    """One column of a kind of book.

    name         as it stands in the header
    says         what it holds, for whoever fills it
    example      a cell
    read         what a cell that isn't empty says; raises Refusal
    is_needed    every row fills it
    is_asked     the header names it, though a row may leave it empty
    is_number    its decimals are written with the declared sign
    otherwise    what an empty cell says; of a column that is left out nothing is said
    """

    name: str
    says: str
    example: str
    read: Callable[[str], Any] = field(default=str)
    is_needed: bool = False
    is_asked: bool = False
    is_number: bool = False
    otherwise: Any = ""


@dataclass(frozen=True, slots=True)
class Wrong:
    """What is wrong, and where. `column` is empty where it is the row, `row` is None where it is the whole book."""

    row: int | None
    column: str
    found: str
    said: str

    def __str__(self) -> str:
        where = ", ".join([*([f"row {self.row}"] if self.row else []), *([self.column] if self.column else [])])
        return f"{where[:1].upper()}{where[1:]}: {self.said}" if where else self.said


@dataclass(frozen=True, slots=True)
class Row:
    """A row as it was read.

    number     as a spreadsheet counts: the header is row 1
    cells      what each cell says, by column; one that can't be read is left out
    written    what was found in it
    """

    number: int
    cells: Mapping[str, Any]
    written: Mapping[str, str]

    def wrong(self, column: str, said: str) -> Wrong:
        return Wrong(self.number, column if column in self.written else "", shown(self.written.get(column, "")), said)


@dataclass(frozen=True)
class Sheet:
    """A whole book as it was read, with all that is wrong so far.

    columns     that are in it
    good        rows every cell of which can be read
    poor        the others, as far as they can be read: what they name is still looked for
    """

    columns: tuple[str, ...]
    good: tuple[Row, ...]
    poor: tuple[Row, ...]
    n_rows: int
    wrong: tuple[Wrong, ...]


def read_sheet(data: bytes, columns: Sequence[Column], *, key: Sequence[str], decimal: str = POINT) -> Sheet:
    """The rows of a book, each cell read.

    key        columns that no two rows may fill alike
    decimal    POINT or COMMA

    Raises Refusal for what is no such book at all: another encoding, no rows, a header that names other columns.

    >>> whole = Column("pieces", "How many.", "2", int, is_needed=True)
    >>> sheet = read_sheet(b"code;pieces\\nA;2\\nB;\\n", [Column("code", "Which.", "A"), whole], key=["code"])
    >>> [(row.number, row.cells) for row in sheet.good]
    [(2, {'code': 'A', 'pieces': 2})]
    >>> [str(wrong) for wrong in sheet.wrong]
    ['Row 3, pieces: Nothing is written here. Every row needs it, such as 2.']
    """
    assert decimal in SIGNS
    lines = _lines(decoded(data), columns)
    header = _header(next(lines)[1], columns)
    by_name = {column.name: column for column in columns}
    good: list[Row] = []
    poor: list[Row] = []
    wrong: list[Wrong] = []
    seen: dict[tuple[str, ...], int] = {}
    n_rows = 0
    for number, cells in lines:
        n_rows += 1
        if n_rows > ROWS_MAX:
            raise Refusal(N_("The file has more than %(most)s rows. Bring it in in parts."), most=ROWS_MAX)
        if len(cells) != len(header):
            wrong.append(
                Wrong(
                    number,
                    "",
                    shown(" | ".join(cells)),
                    Refusal(
                        N_(
                            "It has %(cells)s cells, and the header has %(header)s. Look for a separator too many or"
                            " too few; a cell that holds one stands between quotation marks."
                        ),
                        cells=len(cells),
                        header=len(header),
                    ).message,
                )
            )
            continue
        row, misread = _row(number, dict(zip(header, cells, strict=True)), by_name, decimal)
        wrong += misread
        own_key = tuple(row.written[name].casefold() for name in key)
        if all(own_key) and (first := seen.setdefault(own_key, number)) != number:
            named = ", ".join(f"{name} {shown(row.written[name])}" for name in key)
            twice = Refusal(N_("There is %(named)s in row %(row)s already. Write it once."), named=named, row=first)
            wrong.append(row.wrong(key[-1], twice.message))
            poor.append(row)
        else:
            (poor if misread else good).append(row)
    if not n_rows:
        raise Refusal(N_("There is a header and no row under it. Write a row for each thing to bring in."))
    return Sheet(header, tuple(good), tuple(poor), n_rows, tuple(wrong))


def decoded(data: bytes) -> str:
    """The text of a file in UTF-8, with its mark or without.

    >>> decoded("Grün".encode("utf-8-sig"))
    'Grün'
    >>> decoded("Grün".encode("cp1252"))
    Traceback (most recent call last):
    mill.refusal.Refusal: The file is not written in UTF-8: byte 3 is 0xfc. Save it once more as "CSV UTF-8".
    """
    if len(data) > BYTES_MAX:
        raise too_large(len(data))
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise Refusal(N_('The file is written in UTF-16, not in UTF-8. Save it once more as "CSV UTF-8".'))
    if data.startswith(b"PK\x03\x04"):
        raise Refusal(N_('The file is a workbook, not a CSV file. Open it and save the sheet as "CSV UTF-8".'))
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise Refusal(
            N_('The file is not written in UTF-8: byte %(at)s is %(byte)s. Save it once more as "CSV UTF-8".'),
            at=error.start + 1,
            byte=f"0x{data[error.start]:02x}",
        ) from error
    if "\0" in text:
        raise Refusal(N_("The file is no text: it has bytes of 0 in it. Save the sheet once more as a CSV file."))
    return text


def too_large(n_bytes: int) -> Refusal:
    return Refusal(
        N_("The file has %(mb)s MB, and %(most)s MB are taken at once. Bring it in in parts."),
        mb=Decimal(f"{n_bytes / 1e6:.1f}"),
        most=f"{BYTES_MAX / 1e6:.0f}",
    )


def _lines(text: str, columns: Sequence[Column]) -> Iterator[tuple[int, list[str]]]:
    """Number and cells of every row that isn't empty, the header first."""
    rows = enumerate(csv.reader(io.StringIO(text, newline=""), delimiter=separator(text, columns), strict=True), 1)
    number, is_first = 0, True
    while True:
        try:
            number, cells = next(rows)
        except StopIteration:
            break
        except csv.Error as error:
            raise Refusal(
                N_("Row %(row)s can't be read as CSV: %(why)s. Look for a quotation mark without its fellow there."),
                row=number + 1,
                why=error,
            ) from error
        cells = [_plain_cell(cell) for cell in cells]
        if any(cells):
            is_first = False
            yield number, cells
    if is_first:
        raise Refusal(N_("The file is empty. Its first row names the columns: %(columns)s."), columns=_names(columns))


def _plain_cell(cell: str) -> str:
    """A cell without idle spaces, and without the sign that keeps a spreadsheet from taking it for a formula."""
    text = " ".join(cell.split())
    return text[1:] if re.match(r"'[=+@-]", text) else text


def separator(text: str, columns: Sequence[Column]) -> str:
    """The sign that parts the cells: the one by which the header names more columns.

    >>> separator("code; pieces\\n", [Column("code", "", ""), Column("pieces", "", "")])
    ';'
    """
    header = text.lstrip().split("\n", 1)[0]
    known = {column.name for column in columns}

    def named(sign: str) -> tuple[int, int]:
        words = [_as_name(word) for word in header.split(sign)]
        return len(known.intersection(words)), len(words)

    return max(SEPARATORS, key=named)


def _as_name(written: str) -> str:
    """A heading as a column's name: "Finished width cm" is finished_width_cm."""
    return re.sub(r"[^\w]+", "_", written.strip().strip('"').lower()).strip("_")


def _names(columns: Sequence[Column]) -> str:
    return ", ".join(column.name for column in columns)


def _header(cells: Sequence[str], columns: Sequence[Column]) -> tuple[str, ...]:
    """The columns that a header names. Refuses with all that is wrong with it at once."""
    header = tuple(_as_name(cell) for cell in cells)
    known = [column.name for column in columns]
    said: list[Refusal] = []
    for position, (name, written) in enumerate(zip(header, cells, strict=True), start=1):
        if not name:
            said.append(Refusal(N_("Column %(at)s has no name."), at=position))
        elif name not in known:
            if near := did_you_mean(name, known):
                no = N_('There is no column "%(name)s". Did you mean %(near)s?')
                said.append(Refusal(no, name=shown(written), near=near))
            else:
                said.append(Refusal(N_('There is no column "%(name)s".'), name=shown(written)))
        elif name in header[: position - 1]:
            said.append(Refusal(N_("The column %(name)s stands there twice."), name=name))
    if missing := [
        column.name for column in columns if (column.is_needed or column.is_asked) and column.name not in header
    ]:
        if len(missing) == 1:
            said.append(Refusal(N_("The column %(name)s is missing."), name=missing[0]))
        else:
            names = {"names": ", ".join(missing[:-1]), "last": missing[-1]}
            said.append(Refusal(N_("The columns %(names)s and %(last)s are missing."), **names))
    if said:
        raise Refusal(
            N_("Row %(row)s, which names the columns: %(wrong)s The columns are %(columns)s."),
            row=HEADER_ROW,
            wrong=Sentences(said),
            columns=_names(columns),
        )
    return header


class Sentences(tuple[Refusal, ...]):
    """What is wrong with a header, for one refusal that says all of it."""

    def __str__(self) -> str:
        return " ".join(map(str, self))

    @property
    def called(self) -> str:
        return " ".join(one.message for one in self)


def _row(number: int, written: dict[str, str], by_name: Mapping[str, Column], decimal: str) -> tuple[Row, list[Wrong]]:
    cells: dict[str, Any] = {}
    row = Row(number, cells, written)
    wrong: list[Wrong] = []
    for name, text in written.items():
        column = by_name[name]
        if not text:
            if column.is_needed:
                no = Refusal(
                    N_("Nothing is written here. Every row needs it, such as %(example)s."), example=column.example
                )
                wrong.append(row.wrong(name, no.message))
            else:
                cells[name] = column.otherwise
            continue
        if len(text) > CELL_MAX:
            no = Refusal(
                N_("It is %(n)s letters long, and %(most)s are taken. Shorten it."), n=len(text), most=CELL_MAX
            )
            wrong.append(row.wrong(name, no.message))
            continue
        try:
            plain = in_points(text, decimal) if column.is_number else text
            # From here on its numbers have points, whatever the language of the page writes.
            with written_as("en-gb"):
                cells[name] = column.read(plain)
        except Refusal as refusal:
            wrong.append(row.wrong(name, refusal.message))
    return row, wrong


def shown(text: str) -> str:
    """As much of a cell as fits a line."""
    return text if len(text) <= LONGEST_SHOWN else f"{text[: LONGEST_SHOWN - 1]}…"


def did_you_mean(name: str, known: Sequence[str]) -> str:
    """The nearest of the known names; "" when none is near.

    >>> did_you_mean("FEL-03", ["FELL-03", "BURN-11"])
    'FELL-03'
    """
    folded = {one.casefold(): one for one in known}
    near = get_close_matches(name.casefold()[:LONGEST_SHOWN], folded, n=1, cutoff=0.75)
    return folded[near[0]] if near else ""


class ByName(Generic[T]):
    """Things by the name they have in the book. Capitals are looked at only where two differ in nothing else.

    >>> yarns = ByName("yarn", {"FELL-03": 1})
    >>> yarns["fell-03"]
    1
    >>> yarns["FELL-30"]
    Traceback (most recent call last):
    mill.refusal.Refusal: There is no yarn FELL-30 in the book. Did you mean FELL-03?
    """

    # Looking for what was meant takes longer than not finding it.
    GUESSES_MAX = WRONG_MAX

    def __init__(self, what: str, things: Mapping[str, T]) -> None:
        self.what = what
        self._things = dict(things)
        self._folded = {name.casefold(): thing for name, thing in things.items()}
        self._guesses = 0

    def get(self, name: str) -> T | None:
        return self._things.get(name) or self._folded.get(name.casefold())

    def add(self, name: str, thing: T) -> None:
        self._things[name] = self._folded[name.casefold()] = thing

    def __getitem__(self, name: str) -> T:
        found = self.get(name)
        if found is None:
            self._guesses += 1
            near = did_you_mean(name, list(self._things)) if self._guesses <= self.GUESSES_MAX else ""
            said = {"what": Word(self.what), "name": shown(name)}
            if near:
                raise Refusal(
                    N_("There is no %(what)s %(name)s in the book. Did you mean %(near)s?"), near=near, **said
                )
            raise Refusal(N_("There is no %(what)s %(name)s in the book. Write it down first."), **said)
        return found


# What a cell says

# Of a number with the sign that was not declared: where it could be several numbers, and where it is one.
TO_POINT = (
    N_(
        '"%(number)s" has a comma in it, and this file\'s decimals were declared to be written with a point. Write one'
        " number, or declare the comma."
    ),
    N_(
        '"%(number)s" has a comma in it, and this file\'s decimals were declared to be written with a point. Write'
        " %(meant)s, or declare the comma."
    ),
)
TO_COMMA = (
    N_(
        '"%(number)s" has a point in it, and this file\'s decimals were declared to be written with a comma. Write one'
        " number, or declare the point."
    ),
    N_(
        '"%(number)s" has a point in it, and this file\'s decimals were declared to be written with a comma. Write'
        " %(meant)s, or declare the point."
    ),
)
_DIGITS = re.compile(r"\d[\d.,]*\d|\d")


def in_points(text: str, decimal: str) -> str:
    """The same text with every number in it written with a decimal point and no sign between thousands.

    decimal    the sign that the book's decimals are written with, POINT or COMMA

    >>> in_points("12,5 kg", COMMA), in_points("1.234,5 m", COMMA), in_points("1,234.5", POINT)
    ('12.5 kg', '1234.5 m', '1234.5')
    >>> in_points("12,5", POINT)
    Traceback (most recent call last):
    mill.refusal.Refusal: "12,5" has a comma in it, and this file's decimals were declared to be written with a point.
    Write 12.5, or declare the comma.

    Raises Refusal for the other sign, wherever it could be the decimal sign.
    """
    sign = SIGNS[decimal]
    other = SIGNS[COMMA if decimal == POINT else POINT]
    grouped = re.compile(rf"\d{{1,3}}(?:{re.escape(other)}\d{{3}})+(?:{re.escape(sign)}\d+)?")

    def plain(found: re.Match[str]) -> str:
        number = found[0]
        if other in number:
            is_certain = number.count(other) > 1 or sign in number
            if not (grouped.fullmatch(number) and is_certain):
                is_one = other not in number.replace(other, "", 1)
                said = {"number": shown(number), "meant": number.replace(other, sign)}
                raise Refusal((TO_POINT if decimal == POINT else TO_COMMA)[is_one], **said)
            number = number.replace(other, "")
        return number.replace(sign, ".")

    return _DIGITS.sub(plain, text)


def read_yes(text: str) -> bool:
    """Whether a cell says yes.

    >>> read_yes("Yes"), read_yes("n")
    (True, False)
    """
    said = text.casefold()
    if said in {"yes", "y", "true", "1", "x"}:
        return True
    if said in {"no", "n", "false", "0"}:
        return False
    raise Refusal(N_('"%(found)s" is neither yes nor no. Write one of the two.'), found=shown(text))


_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_ISO = re.compile(r"(?P<year>\d{4})-(?P<month>\d{1,2})-(?P<day>\d{1,2})(?:[ T]00:00(?::00)?)?")
_POINTS = re.compile(r"(?P<day>\d{1,2})\. ?(?P<month>\d{1,2})\. ?(?P<year>\d{4})")
_WORDS = re.compile(r"(?P<day>\d{1,2})[ -](?P<month>[A-Za-z]{3,9})\.?[ -](?P<year>\d{4})")


def read_day(text: str) -> date:
    """A day as it is written: 2026-03-04, 4.3.2026 or 4 Mar 2026.

    >>> read_day("2026-03-04") == read_day("4.3.2026") == read_day("4 March 2026")
    True
    >>> read_day("03/04/2026")
    Traceback (most recent call last):
    mill.refusal.Refusal: "03/04/2026" can mean two days: the month may stand first or second. Write 2026-03-04, or
    4 Mar 2026.

    Raises Refusal for what is no day, and for strokes, since they are read in two ways.
    """
    found = _ISO.fullmatch(text) or _POINTS.fullmatch(text) or _WORDS.fullmatch(text)
    if found is None:
        if re.fullmatch(r"\d{1,2}/\d{1,2}/\d{2,4}", text):
            raise Refusal(
                N_(
                    '"%(found)s" can mean two days: the month may stand first or second. Write 2026-03-04, or 4 Mar'
                    " 2026."
                ),
                found=text,
            )
        raise Refusal(N_('"%(found)s" is no day. Write 2026-03-04, or 4 Mar 2026.'), found=shown(text))
    month = found["month"]
    if not month.isdecimal() and month[:3].lower() not in _MONTHS:
        raise Refusal(
            N_('"%(found)s": %(month)s is no month. Write 2026-03-04, or 4 Mar 2026.'), found=shown(text), month=month
        )
    number = int(month) if month.isdecimal() else _MONTHS.index(month[:3].lower()) + 1
    try:
        return date(int(found["year"]), number, int(found["day"]))
    except ValueError as error:
        raise Refusal(
            N_('There is no day "%(found)s" in the calendar. Write one that there is.'), found=text
        ) from error


# Our own plain notation for a finishing route: scour w10 l6 m8 / mill w20 l15 m2 (to 152 cm) / press

_STEP = re.compile(
    r"(?P<name>[^()]*?)(?P<losses>(?:\s+[wlm]\s*[-−]?\d+(?:\.\d+)?\s*%?)*)\s*(?:\((?P<note>[^()]*)\))?",
    re.IGNORECASE | re.ASCII,
)
_LOSS = re.compile(r"([wlm])\s*([-−]?\d+(?:\.\d+)?)", re.IGNORECASE | re.ASCII)
# What looks like a loss and is none.
_LOOSE = re.compile(r"\b[wlm]\s*[-−]?\d|\b[wlm]$|\d$", re.IGNORECASE | re.ASCII)
ROUTE_HOW = N_("Write the steps in order, such as scour w10 l6 m8 / mill w20 l15 m2 (to 152 cm) / press")
STEPS_MAX = 40
ROUTE_MAX = 3_000


def read_route(text: str) -> tuple[RouteStep, ...]:
    """The steps of a finishing route. A step is a name, then what it takes, then a note in brackets if there is one.

    w10 takes 10 % of the width that enters the step, l6 takes 6 % of the length, m8 takes 8 % of the mass; what is
    left out is 0, what stretches is less than 0. Steps are parted by strokes or semicolons; no text, no steps.

    >>> [(step.name, step.width_shrink_pct) for step in read_route("scour w10 l6 m8 / tenter and dry w-2")]
    [('scour', Decimal('10')), ('tenter and dry', Decimal('-2'))]
    >>> read_route("scour w10 w12")
    Traceback (most recent call last):
    mill.refusal.Refusal: Step 1, "scour w10 w12": w stands there twice. Write it once.

    Raises Refusal that names the step.
    """
    if len(text) > ROUTE_MAX:
        raise Refusal(
            N_("The route is %(n)s letters long, and %(most)s are taken. Shorten its notes."),
            n=len(text),
            most=ROUTE_MAX,
        )
    steps: list[RouteStep] = []
    for number, part in enumerate(filter(None, (part.strip() for part in re.split(r"[/;]", text))), start=1):
        found = _STEP.fullmatch(part)
        name = found["name"].strip() if found else ""
        if found is None or not name or _LOOSE.search(name):
            raise Refusal(
                N_('Step %(at)s, "%(step)s", can\'t be read. %(how)s.'),
                at=number,
                step=shown(part),
                how=Word(ROUTE_HOW),
            )
        losses: dict[str, Decimal] = {}
        for letter, pct in _LOSS.findall(found["losses"]):
            if letter.lower() in losses:
                raise Refusal(
                    N_('Step %(at)s, "%(step)s": %(letter)s stands there twice. Write it once.'),
                    at=number,
                    step=shown(part),
                    letter=letter,
                )
            losses[letter.lower()] = Decimal(pct.replace("−", "-"))
        nothing = Decimal(0)
        steps.append(
            RouteStep(
                name,
                losses.get("w", nothing),
                losses.get("l", nothing),
                losses.get("m", nothing),
                (found["note"] or "").strip(),
            )
        )
    if len(steps) > STEPS_MAX:
        raise Refusal(
            N_("The route has %(n)s steps, and %(most)s are taken at most. Draw some together."),
            n=len(steps),
            most=STEPS_MAX,
        )
    return tuple(steps)


def write_route(steps: Sequence[RouteStep]) -> str:
    """A route as `read_route` reads it.

    >>> write_route(read_route("Scour w10.0 l6 m8;press (hot)"))
    'Scour w10 l6 m8 / press (hot)'
    """
    written = []
    for step in steps:
        losses = (("w", step.width_shrink_pct), ("l", step.length_shrink_pct), ("m", step.mass_loss_pct))
        words = [step.name, *(f"{letter}{pct.normalize():f}" for letter, pct in losses if pct)]
        written.append(" ".join([*words, *([f"({step.note})"] if step.note else [])]))
    return " / ".join(written)


_ENTRY = re.compile(r"(?P<letter>[A-Za-z])\s*=\s*(?P<code>[^\s=,;]+)[\s,;]*")


def read_letters(text: str) -> dict[str, str]:
    """Codes of yarns by the letter they stand at in the orders: A=FELL-03 B=FELL-11.

    >>> read_letters("A=FELL-03 b = FELL-11")
    {'A': 'FELL-03', 'B': 'FELL-11'}

    Raises Refusal for what is none, and for a letter that stands there twice.
    """
    codes: dict[str, str] = {}
    at = 0
    while at < len(text):
        found = _ENTRY.match(text, at)
        if found is None:
            raise Refusal(
                N_('"%(found)s" can\'t be read. Write the yarn at each letter, such as A=FELL-03 B=FELL-11.'),
                found=shown(text[at:]),
            )
        letter = found["letter"].upper()
        assert letter in LETTERS
        if letter in codes:
            raise Refusal(
                N_("%(letter)s stands there twice: for %(one)s and for %(other)s. Leave one out."),
                letter=letter,
                one=codes[letter],
                other=found["code"],
            )
        codes[letter] = found["code"]
        at = found.end()
    return codes


def write_letters(codes: Mapping[str, str]) -> str:
    """Yarns as `read_letters` reads them.

    >>> write_letters({"B": "FELL-11", "A": "FELL-03"})
    'A=FELL-03 B=FELL-11'
    """
    return " ".join(f"{letter}={code}" for letter, code in sorted(codes.items()))


# Writing: the template that people fill


def template(columns: Sequence[Column], *, decimal: str = POINT) -> str:
    """A book with its header and the examples in one row: semicolons go with the decimal comma.

    >>> length = Column("length_m", "", "60.5", is_number=True)
    >>> template([Column("order", "", "K-101"), length], decimal=COMMA)
    'order;length_m\\r\\nK-101;60,5\\r\\n'
    """
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=";" if decimal == COMMA else ",")
    writer.writerow([column.name for column in columns])
    writer.writerow([in_sign(column.example, decimal) if column.is_number else column.example for column in columns])
    return text.getvalue()


def in_sign(text: str, decimal: str) -> str:
    """A text with its numbers written with a point, written with the sign instead.

    >>> in_sign("scour w10.5 l6", COMMA)
    'scour w10,5 l6'
    """
    return re.sub(r"(?<=\d)\.(?=\d)", SIGNS[decimal], text)
