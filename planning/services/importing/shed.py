"""Looms, reeds and beams out of a CSV book."""

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from mill.refusal import N_, Refusal
from mill.units import plain
from planning.csv_book import ByName, Column, Row, Sheet, read_yes
from planning.models import Beam, Loom, Reed, ShiftPattern
from planning.services import looms
from planning.services.importing.cells import measure_of, percent_of, read_dents, text_of, whole_of
from planning.services.importing.tally import CHANGED, NEW, SAME, Kind, Tally, differing
from planning.sett import read_reed
from planning.worktime import read_week

# What is stamped on a reed is a round number: so far may the dents that were counted lie from it.
STAMP_OFF_PCT = Decimal("0.5")


def _write(
    sheet: Sheet,
    tally: Tally,
    *,
    model: type[Loom] | type[Reed] | type[Beam],
    facts_of: Callable[[Row], Mapping[str, Any]],
    columns: Mapping[str, str],
) -> None:
    """A record for each row, known again by its code.

    columns    by field, where they are called otherwise
    """
    by_code = ByName(model.__name__.lower(), {row.code: row for row in model._default_manager.select_related()})
    for row in sheet.good:
        with tally.of(row, columns):
            facts = facts_of(row)
            found = by_code.get(row.cells["code"])
            record = found or model(code=row.cells["code"])
            changed = differing(record, facts)
            if found and not changed:
                tally.count(SAME)
                continue
            for name in changed:
                setattr(record, name, facts[name])
            looms.write_down(record, by=tally.by)
            tally.count(CHANGED if found else NEW)


# Reeds


def write_reeds(sheet: Sheet, tally: Tally, *, by: Any) -> None:
    _write(sheet, tally, model=Reed, facts_of=_reed_facts, columns={"as_bought": "stamped"})


def _reed_facts(row: Row) -> Mapping[str, Any]:
    said = dict(row.cells)
    counted, stamped = said.pop("dents_per_10cm", None), said.pop("stamped", "")
    by_stamp = read_dents(stamped) if stamped and _is_reed(stamped) else None
    if counted is None and by_stamp is None:
        raise Refusal(
            N_(
                "Reed %(reed)s: neither the dents nor the stamp say how many dents it has. Write one of the two, such"
                " as 63, or Stockport 32."
            ),
            reed=row.cells["code"],
            field="dents_per_10cm",
        )
    if counted is not None and by_stamp is not None and abs(counted - by_stamp) * 100 > by_stamp * STAMP_OFF_PCT:
        raise Refusal(
            N_("%(stamp)s has %(by_stamp)s dents in 10 cm; this row says %(counted)s. Leave the wrong one out."),
            stamp=stamped,
            by_stamp=plain(by_stamp),
            counted=plain(counted),
            field="dents_per_10cm",
        )
    facts = {name: value for name, value in said.items() if name != "code"}
    if "stamped" in row.cells:
        facts["as_bought"] = stamped
    return {**facts, "dents_per_10cm": by_stamp if counted is None else counted}


def _is_reed(stamped: str) -> bool:
    """Whether the stamp says how many dents there are; many are stamped with a maker's number alone."""
    try:
        read_reed(stamped)
    except Refusal:
        return False
    return True


REEDS = Kind(
    one="reed",
    many="reeds",
    says=N_("A reed, or several that are alike. Its dents are counted, or follow from what is stamped on it."),
    key=("code",),
    columns=(
        Column("code", N_("What the mill calls it."), "R63", text_of(Reed, "code"), is_needed=True),
        Column("stamped", N_("As it was bought."), "Stockport 32", text_of(Reed, "as_bought"), is_number=True),
        Column(
            "dents_per_10cm",
            N_("As counted; may be left empty where the stamp says it."),
            "63",
            read_dents,
            is_number=True,
            otherwise=None,
        ),
        Column(
            "width_cm",
            N_("From end to end."),
            "200",
            measure_of(Reed, "width_cm", "cm"),
            is_needed=True,
            is_number=True,
        ),
        Column("quantity", N_("How many are alike."), "1", whole_of(Reed, "quantity"), otherwise=1),
    ),
    write=write_reeds,
)


# Beams


def write_beams(sheet: Sheet, tally: Tally, *, by: Any) -> None:
    def facts_of(row: Row) -> Mapping[str, Any]:
        facts = {("is_in_use" if name == "in_use" else name): value for name, value in row.cells.items()}
        if facts["flange_mm"] <= facts["barrel_mm"]:
            raise Refusal(
                N_(
                    "A flange of %(flange)s mm can't stand over a barrel of %(barrel)s mm. Write the larger one as the"
                    " flange."
                ),
                flange=facts["flange_mm"],
                barrel=facts["barrel_mm"],
                field="flange_mm",
            )
        return {name: value for name, value in facts.items() if name != "code"}

    _write(sheet, tally, model=Beam, facts_of=facts_of, columns={"is_in_use": "in_use"})


BEAMS = Kind(
    one="beam",
    many="beams",
    says=N_("A beam, empty."),
    key=("code",),
    columns=(
        Column("code", N_("What is painted on it."), "B12", text_of(Beam, "code"), is_needed=True),
        Column(
            "width_cm",
            N_("Between the flanges."),
            "178",
            measure_of(Beam, "width_cm", "cm"),
            is_needed=True,
            is_number=True,
        ),
        Column("barrel_mm", N_("Across."), "180", measure_of(Beam, "barrel_mm", "mm"), is_needed=True, is_number=True),
        Column("flange_mm", N_("Across."), "760", measure_of(Beam, "flange_mm", "mm"), is_needed=True, is_number=True),
        Column(
            "tare_kg",
            N_("Empty, with its gudgeons."),
            "95",
            measure_of(Beam, "tare_kg", "kg"),
            is_needed=True,
            is_number=True,
        ),
        Column("in_use", N_("yes or no."), "yes", read_yes, otherwise=True),
    ),
    write=write_beams,
)


# Looms


def write_looms(sheet: Sheet, tally: Tally, *, by: Any) -> None:
    patterns = {pattern.name.casefold(): pattern for pattern in ShiftPattern.objects.all()}
    by_hours = {read_week(pattern.hours): pattern for pattern in patterns.values()}

    def facts_of(row: Row) -> Mapping[str, Any]:
        facts = {name: value for name, value in row.cells.items() if name not in {"code", "hours", "jacquard"}}
        if "jacquard" in row.cells:
            facts["is_jacquard"] = row.cells["jacquard"]
        if not facts.get("is_jacquard") and not facts.get("shafts"):
            raise Refusal(
                N_("A loom without a jacquard lifts by shafts: write how many it has, or yes under jacquard."),
                field="shafts",
            )
        return {**facts, "shift_pattern": _pattern(row.cells["hours"], patterns, by_hours, tally)}

    _write(
        sheet,
        tally,
        model=Loom,
        facts_of=facts_of,
        columns={"is_jacquard": "jacquard", "shift_pattern": "hours"},
    )


def _pattern(
    hours: str, patterns: dict[str, ShiftPattern], by_hours: dict[Any, ShiftPattern], tally: Tally
) -> ShiftPattern:
    """The shift pattern of this name, or with these hours; a new one where no loom has run so before."""
    if found := patterns.get(hours.casefold()):
        return found
    try:
        week = read_week(hours)
    except Refusal as refusal:
        if not patterns:
            raise Refusal(refusal.message, field="hours") from refusal
        names = ", ".join(pattern.name for pattern in patterns.values())
        known = Refusal(N_("The patterns in the book are %(names)s."), names=names)
        raise Refusal(f"{refusal.message} {known.message}", field="hours") from refusal
    if week not in by_hours:
        pattern = ShiftPattern(name=hours[:40], hours=hours)
        looms.write_down(pattern, by=tally.by)
        by_hours[week] = patterns[pattern.name.casefold()] = pattern
        tally.also["shift pattern"].append(hours)
    return by_hours[week]


LOOMS = Kind(
    one="loom",
    many="looms",
    says=N_(
        "A loom. Its hours are a shift pattern of the book, or hours as they are written in one: hours that no pattern"
        " has are written down as a new one."
    ),
    key=("code",),
    columns=(
        Column("code", N_("What stands on it."), "L7", text_of(Loom, "code"), is_needed=True),
        Column("kind", N_("In words."), "dobby rapier", text_of(Loom, "kind"), is_needed=True),
        Column(
            "reed_space_cm",
            N_("The widest warp."),
            "200",
            measure_of(Loom, "reed_space_cm", "cm"),
            is_needed=True,
            is_number=True,
        ),
        Column("shafts", N_("0 for a jacquard."), "16", whole_of(Loom, "shafts"), otherwise=0),
        Column("jacquard", N_("yes or no."), "no", read_yes, otherwise=False),
        Column("weft_colours", N_("How many it picks from."), "4", whole_of(Loom, "weft_colours"), otherwise=1),
        Column(
            "max_flange_mm",
            N_("The largest beam flange that it clears."),
            "800",
            measure_of(Loom, "max_flange_mm", "mm"),
            is_needed=True,
            is_number=True,
        ),
        Column("ppm", N_("Picks a minute, running."), "220", measure_of(Loom, "ppm", "picks_per_min"), is_needed=True),
        Column(
            "efficiency_pct",
            N_("Running efficiency: set-ups and waits apart."),
            "72",
            percent_of(Loom, "efficiency_pct"),
            is_needed=True,
            is_number=True,
        ),
        Column(
            "tail_cm",
            N_("Weft cut off at each pick on a shuttleless loom."),
            "8",
            measure_of(Loom, "tail_cm", "cm"),
            is_number=True,
            otherwise=Decimal(0),
        ),
        Column("hours", N_("When it runs."), "Mon-Fri 06:00-22:00", is_needed=True),
    ),
    write=write_looms,
)
