"""Cloths out of a CSV book: a row for each colourway, and what they say of the cloth becomes a revision."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import groupby
from typing import Any

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from inventory.models import Yarn
from mill.models import Mill
from mill.refusal import N_, Refusal
from planning.cloth import RouteStep as Step
from planning.cloth import read_order
from planning.csv_book import ByName, Column, Row, Sheet, read_letters, read_route, read_yes, shown
from planning.models import Cloth, ClothSpec, Colourway, RouteStep
from planning.services import cloths
from planning.services.cloths import ColourwayDraft, SpecDraft
from planning.services.importing.cells import column_of, measure_of, percent_of, read_dents, text_of, whole_of
from planning.services.importing.tally import CHANGED, NEW, SAME, Kind, Tally, beside, one_said
from planning.weave import read_lifting, read_threading

NOTE = "From a CSV file."


def write_cloths(sheet: Sheet, tally: Tally, *, by: Any) -> None:
    yarns = ByName(N_("yarn"), {yarn.code: yarn for yarn in Yarn.objects.all()})
    written = ByName(N_("cloth"), {cloth.code: cloth for cloth in Cloth.objects.all()})
    current = {spec.cloth_id: spec for spec in cloths.with_yarns(cloths.latest_specs())}
    colourways: dict[int, list[Colourway]] = {}
    for colourway in Colourway.objects.order_by("pk"):
        colourways.setdefault(colourway.cloth_id, []).append(colourway)
    mill = Mill.the_one()
    poor = {row.number for row in sheet.poor}
    for code, rows in _by_cloth([*sheet.good, *sheet.poor]):
        if poor.intersection(row.number for row in rows):
            # Its yarns are looked for all the same, so that all that is wrong is said at once.
            for row in rows:
                with tally.of(row):
                    _yarns_of(row, yarns)
            continue
        cloth = written.get(code)
        spec = current.get(cloth.pk) if cloth else None
        with beside(rows, tally):
            said = _ClothRows(rows, yarns)
            before = cloths.draft_of(spec) if spec else None
            draft = said.draft(before, mill, colourways.get(cloth.pk, []) if cloth else [])
            try:
                _write_cloth(cloth, before, draft, said, tally, by)
            except Refusal as refusal:
                raise _in_its_row(refusal, rows) from refusal


def _by_cloth(rows: Iterable[Row]) -> Iterable[tuple[str, list[Row]]]:
    def code(row: Row) -> str:
        return str(row.cells.get("cloth", "")).casefold()

    # In the order of the file within each cloth, wherever its rows stand.
    for _code, group in groupby(sorted(rows, key=code), key=code):
        found = sorted(group, key=lambda row: row.number)
        yield found[0].written["cloth"], found


def _in_its_row(refusal: Refusal, rows: Sequence[Row]) -> Refusal:
    """A refusal that names a colourway by its place, `colourways.2.B`, names the row that it came from instead."""
    column, _, place = (refusal.field or "").partition(".")
    if column != "colourways":
        return refusal
    number = place.partition(".")[0]
    at = int(number) if number.isdecimal() and int(number) < len(rows) else 0
    return Refusal(refusal.message, field=f"row.{rows[at].number}.yarns")


def _yarns_of(row: Row, yarns: ByName[Yarn]) -> dict[str, Yarn]:
    found = {}
    for letter, code in row.cells.get("yarns", {}).items():
        try:
            found[letter] = yarns[code]
        except Refusal as refusal:
            raise Refusal(f"{letter}: {refusal.message}", field=f"row.{row.number}.yarns") from refusal
    return found


class _ClothRows:
    """What the rows of one cloth say together."""

    def __init__(self, rows: list[Row], yarns: ByName[Yarn]) -> None:
        self.rows = rows
        self.code = rows[0].cells["cloth"]
        self.name = self._one("name")
        self.note = self._one("note") or NOTE
        self.yarns = [_yarns_of(row, yarns) for row in rows]

    def _one(self, column: str) -> Any:
        return one_said(self.rows, column, of=_("cloth %(code)s") % {"code": self.code})

    def draft(self, before: SpecDraft | None, mill: Mill, colourways: Iterable[Colourway]) -> SpecDraft:
        """The revision that the rows ask for; what the file leaves out stays as the last revision has it."""
        columns = {name: self._column(name, before, mill) for name in cloths.COLUMNS}
        route = self._one("route")
        if route is None:
            route = before.route if before else ()
        known = {colourway.name.casefold(): colourway for colourway in colourways}
        made = []
        for row, yarns in zip(self.rows, self.yarns, strict=True):
            colourway = known.pop(row.cells["colourway"].casefold(), None)
            made.append(ColourwayDraft(row.cells["colourway"], yarns, colourway.pk if colourway else None))
        kept = {colourway.colourway_id: colourway for colourway in before.made} if before else {}
        # A colourway that the file doesn't name stays as it is; one that no revision has been made in for long, too.
        made += [kept[colourway.pk] for colourway in known.values() if colourway.pk in kept]
        draft = SpecDraft(columns, list(route), made)
        for row, colourway_draft in zip(self.rows, made, strict=False):
            if idle := sorted(set(colourway_draft.yarns) - set(draft.letters)):
                raise Refusal(
                    N_(
                        "%(letter)s stands for %(yarn)s, and the orders use %(letters)s. Leave it out, or put it in an"
                        " order."
                    ),
                    letter=idle[0],
                    yarn=colourway_draft.yarns[idle[0]].code,
                    letters=", ".join(draft.letters),
                    field=f"row.{row.number}.yarns",
                )
        return draft

    def _column(self, name: str, before: SpecDraft | None, mill: Mill) -> Any:
        value = self._one(name)
        if value is not None:
            return value
        if before is not None:
            return before.columns[name]
        if name in ("warp_waste_pct", "weft_waste_pct"):
            return getattr(mill, name)
        if name == "selvedge_letter":
            return ""
        column = column_of(ClothSpec, name)
        if not column.has_default():
            raise Refusal(
                N_("%(cloth)s is a new cloth, and none of its rows says this. Write it in one of them."),
                cloth=self.code,
                field=f"row.{self.rows[0].number}.{name}",
            )
        return column.to_python(column.get_default())


def _write_cloth(
    cloth: Cloth | None,
    before: SpecDraft | None,
    draft: SpecDraft,
    said: _ClothRows,
    tally: Tally,
    by: Any,
) -> None:
    _check_steps(draft.route)
    if cloth is None:
        cloths.new_cloth(code=said.code, name=said.name or said.code, draft=draft, by=by, note=said.note)
        tally.count(NEW, len(said.rows))
        tally.also["cloth"].append(said.code)
        return
    if before is None:
        raise Refusal(
            N_("%(cloth)s has never been specified. Write its first revision on its page."),
            cloth=cloth.code,
            field="cloth",
        )
    is_renamed = bool(said.name) and said.name != cloth.name
    if is_renamed:
        cloths.change_cloth(cloth, code=cloth.code, name=said.name, is_in_use=cloth.is_in_use, by=by)
    fresh = [colourway for colourway in draft.colourways if colourway.colourway_id is None]
    known = replace(draft, colourways=[colourway for colourway in draft.colourways if colourway.colourway_id])
    if cloths.differences(before, known):
        revision = cloths.revise(cloth, draft, by=by, note=said.note).revision
        tally.also["revision"].append(f"{cloth.code} rev {revision}")
        tally.count(NEW, len(fresh))
        tally.count(CHANGED, len(said.rows) - len(fresh))
        return
    for colourway in fresh:
        cloths.add_colourway(cloth, name=colourway.name, yarns=colourway.yarns, by=by)
    tally.count(NEW, len(fresh))
    tally.count(CHANGED if is_renamed else SAME, len(said.rows) - len(fresh))


def _check_steps(route: Iterable[Step]) -> None:
    """Steps within the bounds of their columns, since they are written all at once."""
    for position, step in enumerate(route, start=1):
        row = RouteStep(
            position=position,
            name=step.name,
            width_shrink_pct=step.width_shrink_pct,
            length_shrink_pct=step.length_shrink_pct,
            mass_loss_pct=step.mass_loss_pct,
            note=step.note,
        )
        try:
            row.clean_fields(exclude={"spec"})
        except ValidationError as error:
            name, messages = next(iter(error.message_dict.items()))
            raise Refusal(
                N_("Step %(at)s, %(step)s, %(column)s: %(wrong)s"),
                at=position,
                step=shown(step.name),
                column=name.replace("_", " "),
                wrong=" ".join(messages),
                field="route",
            ) from error


def _as_read(read: Any) -> Any:
    """A reader that hands on the text itself, once it has been read: for what is kept as it was written."""

    def checked(text: str) -> str:
        read(text)
        return text

    return checked


def _letter(text: str) -> str:
    if len(text) != 1 or not text.isascii() or not text.isalpha():
        raise Refusal(
            N_('"%(found)s" is no letter of the orders. Write one, such as A, or leave it empty.'), found=shown(text)
        )
    return text.upper()


def _route(text: str) -> tuple[Step, ...]:
    return () if text.casefold() == "none" else read_route(text)


def _of_spec(name: str, says: str, example: str, read: Any, **facts: Any) -> Column:
    """A column that says what a column of ClothSpec does. Filled in one row of a cloth, it counts for all of them."""
    return Column(name, says, example, read, otherwise=None, **facts)


CLOTHS = Kind(
    one="colourway",
    many="cloths",
    says=N_(
        "A cloth in one colourway. What is the same for the whole cloth may be left to one of its rows. A cloth that"
        " says something else than its latest revision gets a new one, and what hangs on it follows; one that only has"
        " a colourway more keeps its revision. Colourways that the file doesn't name stay as they are."
    ),
    key=("cloth", "colourway"),
    empty=N_(
        "What all rows of a cloth leave out or leave empty stays as its latest revision says it; of a new cloth it is"
        " the usual."
    ),
    columns=(
        Column("cloth", N_("Its code."), "HER7", text_of(Cloth, "code"), is_needed=True),
        Column("name", N_("Beside the code."), "Hallin herringbone", text_of(Cloth, "name"), is_asked=True),
        Column("colourway", N_("Its name."), "moss", text_of(Colourway, "name"), is_needed=True),
        Column(
            "yarns", N_("The yarn at each letter of the orders."), "A=FELL-03 B=FELL-11", read_letters, is_needed=True
        ),
        _of_spec(
            "finished_width_cm",
            N_("Between the selvedges, finished."),
            "150",
            measure_of(ClothSpec, "finished_width_cm", "cm"),
            is_asked=True,
            is_number=True,
        ),
        _of_spec(
            "reed_dents_per_10cm",
            N_("Counted, with a unit, or as stamped: 16 dents/in, Stockport 32."),
            "42.3",
            read_dents,
            is_asked=True,
            is_number=True,
        ),
        _of_spec("ends_per_dent", N_("Left out: 2."), "2", whole_of(ClothSpec, "ends_per_dent")),
        _of_spec("selvedge_ends", N_("Both sides together."), "32", whole_of(ClothSpec, "selvedge_ends")),
        _of_spec("selvedge_letter", N_("The letter of their yarn; left out: the warp's first."), "A", _letter),
        _of_spec("whole_repeats", N_("Whether the warp's colours end with a whole repeat: yes or no."), "no", read_yes),
        _of_spec(
            "loom_picks_per_cm",
            N_("As the tuner sets it in the loom."),
            "8.46",
            measure_of(ClothSpec, "loom_picks_per_cm", "per_cm", above=0),
            is_asked=True,
            is_number=True,
        ),
        _of_spec(
            "warp_crimp_pct",
            N_("Of cloth length."),
            "7.5",
            percent_of(ClothSpec, "warp_crimp_pct", below=100),
            is_asked=True,
            is_number=True,
        ),
        _of_spec(
            "weaving_contraction_pct",
            N_("Of reed width."),
            "6",
            percent_of(ClothSpec, "weaving_contraction_pct"),
            is_asked=True,
            is_number=True,
        ),
        _of_spec(
            "warp_waste_pct",
            N_("Of yarn issued; left out: the mill's own."),
            "2",
            percent_of(ClothSpec, "warp_waste_pct"),
            is_number=True,
        ),
        _of_spec(
            "weft_waste_pct",
            N_("Of yarn issued; left out: the mill's own."),
            "5",
            percent_of(ClothSpec, "weft_waste_pct"),
            is_number=True,
        ),
        _of_spec(
            "size_add_on_pct",
            N_("Of unsized yarn."),
            "0",
            percent_of(ClothSpec, "size_add_on_pct", below=100),
            is_number=True,
        ),
        _of_spec("warp_order", N_("Colours of the ends, one repeat."), "A24 B2", _as_read(read_order), is_asked=True),
        _of_spec("weft_order", N_("Colours of the picks, one repeat."), "A24 B2", _as_read(read_order), is_asked=True),
        _of_spec(
            "threading", N_("The shaft of each end, one repeat."), "1 2 3 4", _as_read(read_threading), is_asked=True
        ),
        _of_spec(
            "lifting",
            N_("The shafts lifted on each pick, one repeat."),
            "1+2 2+3 3+4 1+4",
            _as_read(read_lifting),
            is_asked=True,
        ),
        _of_spec(
            "route",
            N_(
                "The finishing steps in order, parted by strokes: what each takes of the width (w), length (l) and mass"
                " (m) that enter it, in percent, and a note in brackets. none: sold in the grey."
            ),
            "scour w10 l6 m8 / tenter and dry w-2 / press (cold)",
            _route,
            is_asked=True,
            is_number=True,
        ),
        _of_spec(
            "finishing_days", N_("Working days from the loom to ready."), "10", whole_of(ClothSpec, "finishing_days")
        ),
        Column("note", N_("What changed, and why."), "", text_of(ClothSpec, "note")),
    ),
    write=write_cloths,
)
