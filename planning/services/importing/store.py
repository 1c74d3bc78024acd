"""What the store is written down with, out of a CSV book: fibres, suppliers, places and expected deliveries."""

from collections.abc import Callable, Mapping
from typing import Any

from inventory import services as store
from inventory.ledger import written
from inventory.models import Delivery, Fibre, Place, Supplier, Yarn
from mill.refusal import N_, Refusal
from planning.csv_book import ByName, Column, Row, Sheet, read_day, read_yes
from planning.services.importing.cells import percent_of, read_grams, text_of, whole_of
from planning.services.importing.tally import CHANGED, NEW, SAME, Kind, Tally, differing


def _write(
    sheet: Sheet,
    tally: Tally,
    *,
    model: type[Fibre] | type[Supplier] | type[Place],
    name: str,
    columns: Mapping[str, str],
) -> None:
    """A record for each row, known again by its code or name.

    columns    by field, where they are called otherwise
    """
    fields = {column: field for field, column in columns.items()}
    by_name: ByName[Any] = ByName(
        model.__name__.lower(), {getattr(row, name): row for row in model._default_manager.all()}
    )
    for row in sheet.good:
        with tally.of(row, columns):
            facts = {fields.get(column, column): value for column, value in row.cells.items()}
            found = by_name.get(facts.pop(name))
            record: Any = found or model(**{name: row.cells[name]})
            changed = differing(record, facts)
            if found and not changed:
                tally.count(SAME)
                continue
            for field in changed:
                setattr(record, field, facts[field])
            store.write_record(row=record, changed=changed, by=tally.by)
            tally.count(CHANGED if found else NEW)


def _writer(model: type[Fibre] | type[Supplier] | type[Place], name: str, **columns: str) -> Callable[..., None]:
    return lambda sheet, tally, by: _write(sheet, tally, model=model, name=name, columns=columns)


FIBRES = Kind(
    one="fibre",
    many="fibres",
    says=N_("What yarns are made of, with the regain that each is bought at and the table that it stands in."),
    key=("name",),
    columns=(
        Column("name", N_("As the yarns have it."), "lambswool", text_of(Fibre, "name"), is_needed=True),
        Column("protein", N_("yes where moth larvae eat it: wool, hair, silk."), "yes", read_yes, otherwise=False),
        Column(
            "regain_pct",
            N_("Commercial regain, on the oven-dry mass."),
            "17",
            percent_of(Fibre, "regain_pct", most=100),
            is_needed=True,
            is_number=True,
        ),
        Column(
            "regain_authority",
            N_("The table that the regain stands in."),
            "EU 1007/2011 annex IX",
            text_of(Fibre, "regain_authority"),
            is_needed=True,
        ),
    ),
    write=_writer(Fibre, "name", is_protein="protein"),
)

SUPPLIERS = Kind(
    one="supplier",
    many="suppliers",
    says=N_("Whoever yarn is bought from, and how long it takes to come."),
    key=("code",),
    columns=(
        Column("code", N_("What the mill calls it."), "KELD", text_of(Supplier, "code"), is_needed=True),
        Column("name", N_("In full."), "Keldside Spinners", text_of(Supplier, "name"), is_needed=True),
        Column(
            "lead_time_days",
            N_("From ordering to having it, calendar days."),
            "28",
            whole_of(Supplier, "lead_time_days"),
            otherwise=28,
        ),
        Column("notes", N_("For the store."), "", str),
    ),
    write=_writer(Supplier, "code"),
)

PLACES = Kind(
    one="place",
    many="places",
    says=N_("Where yarn lies: a bay, a shelf, a cage."),
    key=("code",),
    columns=(
        Column("code", N_("As it stands on the rack."), "BAY-2", text_of(Place, "code"), is_needed=True),
        Column("name", N_("In full."), "Second bay", text_of(Place, "name"), is_needed=True),
        Column("dark", N_("yes where it is dark and seldom disturbed."), "no", read_yes, otherwise=False),
    ),
    write=_writer(Place, "code", is_dark="dark"),
)


# Deliveries


def write_deliveries(sheet: Sheet, tally: Tally, *, by: Any) -> None:
    yarns = ByName(N_("yarn"), {yarn.code: yarn for yarn in Yarn.objects.all()})
    suppliers = ByName(N_("supplier"), {supplier.code: supplier for supplier in Supplier.objects.all()})
    deliveries = ByName(
        N_("delivery"), {row.number: row for row in Delivery.objects.select_related("yarn", "supplier").with_received()}
    )
    for row in sheet.good:
        with tally.of(row, {"ordered_g": "mass_kg", "is_closed": "closed"}):
            facts = _delivery_facts(row, yarns, suppliers)
            found = deliveries.get(row.cells["delivery"])
            record = found or Delivery(number=row.cells["delivery"])
            changed = differing(record, facts)
            if found and not changed:
                tally.count(SAME)
                continue
            for field in changed:
                setattr(record, field, facts[field])
            store.write_delivery(delivery=record, changed=changed, by=by)
            tally.count(CHANGED if found else NEW)


def _delivery_facts(row: Row, yarns: ByName[Yarn], suppliers: ByName[Supplier]) -> dict[str, Any]:
    said = dict(row.cells)
    del said["delivery"]
    if said["mass_kg"] <= 0:
        raise Refusal(
            N_("A delivery of %(mass)s brings nothing. Write what was ordered."),
            mass=written(said["mass_kg"]),
            field="mass_kg",
        )
    yarn = said["yarn"] = known(yarns, said["yarn"], column="yarn")
    if "supplier" in said:
        said["supplier"] = known(suppliers, said["supplier"], column="supplier") if said["supplier"] else yarn.supplier
    by_column = {"mass_kg": "ordered_g", "closed": "is_closed"}
    return {by_column.get(name, name): value for name, value in said.items()}


def known(book: ByName[Any], name: str, *, column: str) -> Any:
    try:
        return book[name]
    except Refusal as refusal:
        raise Refusal(refusal.message, field=column) from refusal


DELIVERIES = Kind(
    one="delivery",
    many="deliveries",
    says=N_("Yarn that a supplier has promised. What has come of it is not written here: it is received as lots."),
    key=("delivery",),
    columns=(
        Column("delivery", N_("Its number."), "PO 7", text_of(Delivery, "number"), is_needed=True),
        Column("yarn", N_("Its code."), "FELL-03", is_needed=True),
        Column("mass_kg", N_("Ordered, at the yarn's own regain."), "60", read_grams, is_needed=True, is_number=True),
        Column("expected_on", N_("When it is to come."), "2026-03-04", read_day, is_needed=True),
        Column("supplier", N_("Its code; empty for the yarn's own."), "KELD", text_of(Supplier, "code")),
        Column("ordered_on", N_("When it was ordered."), "2026-02-04", read_day, otherwise=None),
        Column("dye_lot", N_("When the supplier has named it."), "", text_of(Delivery, "dye_lot")),
        Column("closed", N_("yes when nothing more of it is to come."), "no", read_yes, otherwise=False),
    ),
    write=write_deliveries,
)
