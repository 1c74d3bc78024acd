"""Yarns and lots out of a CSV book."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import NAMESPACE_OID, uuid5

from django.utils import timezone
from django.utils.translation import gettext as _

from inventory import services as store
from inventory.ledger import written
from inventory.models import Delivery, Fibre, Movement, Place, Supplier, Yarn, YarnLot
from inventory.yarn import Count
from mill.refusal import N_, Refusal
from planning.csv_book import ByName, Column, Row, Sheet, read_day, read_yes
from planning.services.importing.cells import (
    choice_of,
    measure_of,
    percent_of,
    read_grams,
    read_shares,
    read_yarn_count,
    text_of,
)
from planning.services.importing.tally import CHANGED, NEW, SAME, Kind, Tally, differing

TEX_PLACES = Decimal("0.0001")


# Yarns


def write_yarns(sheet: Sheet, tally: Tally, *, by: Any) -> None:
    yarns = ByName(N_("yarn"), {yarn.code: yarn for yarn in Yarn.objects.prefetch_related("shares__fibre")})
    suppliers = ByName(N_("supplier"), {supplier.code: supplier for supplier in Supplier.objects.all()})
    fibres = ByName(N_("fibre"), {fibre.name: fibre for fibre in Fibre.objects.all()})
    for row in sheet.good:
        with tally.of(row, {"count_tex": "count", "shares": "fibres"}):
            facts = _yarn_facts(row, suppliers, tally)
            found = yarns.get(row.cells["code"])
            yarn = found or Yarn(code=row.cells["code"])
            had = {share.fibre: share.share_pct for share in yarn.shares.all()} if found else {}
            shares = _shares(row, fibres) if "fibres" in row.cells else had
            changed = differing(yarn, facts)
            if found and not changed and shares == had:
                tally.count(SAME)
                continue
            for name in changed:
                setattr(yarn, name, facts[name])
            store.write_yarn(yarn=yarn, changed=changed, shares=shares, by=by)
            tally.count(CHANGED if found else NEW)


def _yarn_facts(row: Row, suppliers: ByName[Supplier], tally: Tally) -> dict[str, Any]:
    names = ("name", "colour", "spinning", "regain_pct", "regain_authority", "is_in_use", "min_order_g")
    by_column = {"in_use": "is_in_use", "min_order_kg": "min_order_g"}
    said = {by_column.get(name, name): value for name, value in row.cells.items()}
    count: Count = row.cells["count"]
    facts = {
        **{name: said[name] for name in names if name in said},
        "count_as_bought": count.text,
        "count_tex": count.count_tex.quantize(TEX_PLACES),
    }
    if "supplier" in said:
        facts["supplier"] = _supplier(said["supplier"], suppliers, tally) if said["supplier"] else None
    return facts


def _supplier(code: str, suppliers: ByName[Supplier], tally: Tally) -> Supplier:
    supplier = suppliers.get(code)
    if supplier is None:
        supplier = Supplier(code=code, name=code)
        store.write_record(row=supplier, changed=[], by=tally.by)
        suppliers.add(code, supplier)
        tally.also["supplier"].append(code)
    return supplier


def _shares(row: Row, fibres: ByName[Fibre]) -> Mapping[Fibre, Decimal]:
    found: dict[Fibre, Decimal] = {}
    for name, pct in row.cells["fibres"].items():
        try:
            found[fibres[name]] = pct
        except Refusal as refusal:
            raise Refusal(refusal.message, field="fibres") from refusal
    together = sum(found.values(), Decimal(0))
    if found and together != 100:
        raise Refusal(
            N_("The shares come to %(pct)s %%, not to 100 %%."),
            pct=Decimal(f"{together.normalize():f}"),
            field="fibres",
        )
    return found


YARNS = Kind(
    one="yarn",
    many="yarns",
    says=N_(
        "A yarn in one colour, as it is bought. A supplier that is not in the book yet is written down with its code;"
        " fibres must be there already."
    ),
    key=("code",),
    columns=(
        Column("code", N_("What the store calls it."), "FELL-03", text_of(Yarn, "code"), is_needed=True),
        Column("name", N_("The colour's name."), "moss", text_of(Yarn, "name"), is_needed=True),
        Column("count", N_("As the invoice has it."), "16 ysw", read_yarn_count, is_needed=True, is_number=True),
        Column(
            "spinning",
            N_("Which rule it is set by: woollen, worsted, cotton, linen, silk or other."),
            "woollen",
            choice_of(Yarn, "spinning"),
            is_needed=True,
        ),
        Column("colour", N_("As it is drawn."), "#5b6b4e", text_of(Yarn, "colour"), otherwise="#8a8378"),
        Column(
            "regain_pct",
            N_("Agreed with the supplier, on the oven-dry mass."),
            "17",
            percent_of(Yarn, "regain_pct", most=100),
            is_needed=True,
            is_number=True,
        ),
        Column(
            "regain_authority",
            N_("The table that the regain stands in."),
            "EU 1007/2011 annex IX",
            text_of(Yarn, "regain_authority"),
            is_needed=True,
        ),
        Column("supplier", N_("Its code."), "KELD", text_of(Supplier, "code")),
        Column("min_order_kg", N_("The least that the supplier spins."), "30", read_grams, is_number=True, otherwise=0),
        Column(
            "fibres",
            N_("Shares of the mass, together 100."),
            "lambswool 100",
            read_shares,
            is_number=True,
            otherwise={},
        ),
        Column("in_use", N_("yes or no."), "yes", read_yes, otherwise=True),
    ),
    write=write_yarns,
)


# Lots


def write_lots(sheet: Sheet, tally: Tally, *, by: Any) -> None:
    yarns = ByName(N_("yarn"), {yarn.code: yarn for yarn in Yarn.objects.all()})
    places = ByName(N_("place"), {place.code: place for place in Place.objects.all()})
    deliveries = ByName(N_("delivery"), {row.number: row for row in Delivery.objects.all()})
    lots = ByName(N_("lot"), {lot.label: lot for lot in YarnLot.objects.select_related("yarn")})
    for row in sheet.poor:
        with tally.of(row):
            if "yarn" in row.cells:
                _known(yarns, row.cells["yarn"], column="yarn")
    receipts = {line.lot_id: line for line in Movement.objects.filter(seq=1).select_related("place_to")}
    for row in sheet.good:
        with tally.of(row, {"grams": "mass_kg"}):
            said = dict(row.cells)
            for name, book in (("yarn", yarns), ("delivery", deliveries)):
                if said.get(name):
                    said[name] = _known(book, said[name], column=name)
            found = lots.get(said["lot"])
            if found:
                _check_received(found, receipts[found.pk], said)
                tally.count(SAME)
                continue
            _receive(said, places, tally, by)
            tally.count(NEW)


def _known(book: ByName[Any], name: str, *, column: str) -> Any:
    try:
        return book[name]
    except Refusal as refusal:
        raise Refusal(refusal.message, field=column) from refusal


def _receive(said: Mapping[str, Any], places: ByName[Place], tally: Tally, by: Any) -> None:
    label = said["lot"]
    if said["received_on"] > timezone.localdate():
        raise Refusal(
            N_(
                "Lot %(lot)s can't have come on %(on)s, which is after today, %(today)s. Write it down as a delivery"
                " that is expected."
            ),
            lot=label,
            on=said["received_on"],
            today=timezone.localdate(),
            field="received_on",
        )
    store.receive(
        yarn=said["yarn"],
        grams=said["mass_kg"],
        label=label,
        dye_lot=said["dye_lot"],
        received_on=said["received_on"],
        place=_place(said["place"], places, tally) if said.get("place") else None,
        packages=said.get("packages") or 0,
        delivery=said.get("delivery") or None,
        measured_regain_pct=said.get("measured_regain_pct"),
        measured_tex=said.get("measured_tex"),
        is_shade_approved=said.get("shade_approved", True),
        note=said.get("note") or "",
        by=by,
        # The same lot of another book is the same receipt.
        key=uuid5(NAMESPACE_OID, f"lot {label}").hex,
    )


def _place(code: str, places: ByName[Place], tally: Tally) -> Place:
    place = places.get(code)
    if place is None:
        place = Place(code=code, name=code)
        store.write_record(row=place, changed=[], by=tally.by)
        places.add(code, place)
        tally.also["place"].append(code)
    return place


def _check_received(lot: YarnLot, receipt: Movement, said: Mapping[str, Any]) -> None:
    """A lot is received once: a row about it says what was received, or it is refused.

    Where it lies now, what is left of it and whether its shade is approved have moved on since, and are not looked at.
    """
    grams = store.reckoned_g(lot.yarn, said["mass_kg"], said.get("measured_regain_pct"))
    if receipt.change_g != grams:
        raise Refusal(
            N_(
                "Lot %(lot)s is in the book with %(book)s received; this row says %(row)s. What was received stays"
                " written: count the lot in the store, and the ledger follows."
            ),
            lot=lot,
            book=written(receipt.change_g),
            row=written(grams),
            field="mass_kg",
        )
    facts: list[tuple[str, Any]] = [
        ("yarn", lot.yarn),
        ("dye_lot", lot.dye_lot),
        ("received_on", lot.received_on),
        ("packages", lot.packages),
    ]
    for name, has in facts:
        if name in said and said[name] != has:
            raise Refusal(
                N_(
                    "Lot %(lot)s is in the book with %(book)s; this row says %(row)s. What was received stays written:"
                    " give the lot of this row another number."
                ),
                lot=lot,
                book=_said(has),
                row=_said(said[name]),
                field=name,
            )


def _said(value: Any) -> str:
    if isinstance(value, date):
        return value.isoformat()
    return _("%(n)s packages") % {"n": value} if isinstance(value, int) else str(value)


LOTS = Kind(
    one="lot",
    many="lots",
    says=N_(
        "Yarn of one dye lot that was received together. It is received once: a lot that is in the book already is the"
        " same, or its row is refused. A place that is not in the book yet is written down with its code."
    ),
    key=("lot",),
    columns=(
        Column("lot", N_("The mill's own number on the bag."), "L-2041", text_of(YarnLot, "label"), is_needed=True),
        Column("yarn", N_("Its code."), "FELL-03", is_needed=True),
        Column("dye_lot", N_("As the dyer has it."), "8814", text_of(YarnLot, "dye_lot"), is_needed=True),
        Column("mass_kg", N_("Net, as received."), "24.5", read_grams, is_needed=True, is_number=True),
        Column("received_on", N_("The day on which it came."), "2026-03-04", read_day, is_needed=True),
        Column("packages", N_("Cones when it came."), "20", measure_of(YarnLot, "packages", "number"), otherwise=0),
        Column("place", N_("Where it was put."), "BAY-2", text_of(Place, "code")),
        Column("delivery", N_("The delivery's number, when it is in the book."), "", str),
        Column(
            "measured_tex",
            N_("When it was measured."),
            "",
            measure_of(YarnLot, "measured_tex", "number"),
            is_number=True,
            otherwise=None,
        ),
        Column(
            "measured_regain_pct",
            N_("When the moisture was measured: the mass is then reckoned at the yarn's own regain."),
            "",
            percent_of(YarnLot, "measured_regain_pct", most=100),
            is_number=True,
            otherwise=None,
        ),
        Column("shade_approved", N_("yes or no."), "yes", read_yes, otherwise=True),
        Column("note", N_("For the store."), "", text_of(YarnLot, "note")),
    ),
    write=write_lots,
)
