"""Yarn prices out of a CSV book: what a kilogram of each costs from a day on."""

from typing import Any

from inventory.models import Yarn
from mill.refusal import N_
from planning.csv_book import ByName, Column, Sheet, read_day
from planning.models import YarnPrice
from planning.services import looms
from planning.services.importing.cells import measure_of
from planning.services.importing.store import known
from planning.services.importing.tally import CHANGED, NEW, SAME, Kind, Tally


def write_prices(sheet: Sheet, tally: Tally, *, by: Any) -> None:
    yarns = ByName(N_("yarn"), {yarn.code: yarn for yarn in Yarn.objects.all()})
    listed = {(price.yarn_id, price.from_on): price for price in YarnPrice.objects.filter(delivery=None, lot=None)}
    for row in sheet.good:
        with tally.of(row):
            yarn = known(yarns, row.cells["yarn"], column="yarn")
            key = (yarn.pk, row.cells["from_on"])
            found = listed.get(key)
            if found and found.per_kg == row.cells["per_kg"]:
                tally.count(SAME)
                continue
            price = found or YarnPrice(yarn=yarn, from_on=row.cells["from_on"])
            price.per_kg = row.cells["per_kg"]
            listed[key] = looms.write_down(price, by=by)
            tally.count(CHANGED if found else NEW)


PRICES = Kind(
    one="price",
    many="prices",
    says=N_(
        "What a kilogram of a yarn costs from a day on, in the mill's currency. An older price keeps its own days."
    ),
    key=("yarn", "from_on"),
    columns=(
        Column("yarn", N_("Its code."), "FELL-03", is_needed=True),
        Column(
            "per_kg",
            N_("Of a kilogram, in the mill's currency."),
            "9.40",
            measure_of(YarnPrice, "per_kg", "number"),
            is_needed=True,
            is_number=True,
        ),
        Column("from_on", N_("The day from which it counts."), "2026-01-01", read_day, is_needed=True),
    ),
    write=write_prices,
)
