"""Builders: plain functions that take the one fact a test is about."""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from decimal import Decimal
from itertools import count
from typing import Any

from django.contrib.auth import get_user_model
from django.contrib.auth.models import Group
from django.db import transaction
from django.utils import timezone

from inventory import services as store
from inventory.models import Delivery, Fibre, Place, Supplier, Trap, Yarn, YarnDemand, YarnLot
from planning.models import (
    Beam,
    Cloth,
    ClothSpec,
    Colourway,
    ColourwayYarn,
    Customer,
    JobTicket,
    Loom,
    Order,
    OrderLine,
    RouteStep,
    ShiftPattern,
    Warp,
    WarpPart,
)

_numbers = count(1)

# A small tweed: 150 cm finished, 2/2 twill, 1500 ends (the chain of 120 m worked by hand in sheets.py has its setts).
TWEED = {
    "finished_width_cm": Decimal("150.0"),
    "reed_dents_per_10cm": Decimal("42.300"),
    "ends_per_dent": 2,
    "selvedge_ends": 0,
    "selvedge_letter": "",
    "whole_repeats": False,
    "loom_picks_per_cm": Decimal("8.460"),
    "warp_crimp_pct": Decimal("7.50"),
    "weaving_contraction_pct": Decimal("6.00"),
    "warp_waste_pct": Decimal("2.00"),
    "weft_waste_pct": Decimal("5.00"),
    "size_add_on_pct": Decimal("0.00"),
    "warp_order": "A24 B2",
    "weft_order": "A24 B2",
    "threading": "1 2 3 4",
    "lifting": "1+2 2+3 3+4 1+4",
    "finishing_days": 10,
}
# name, width shrinkage, length shrinkage, mass loss: together 10 %, 6 % and 8 %.
TWEED_ROUTE = (("scour", "10", "6", "8"), ("press", "0", "0", "0"))
COLOURS = ("#5b6b4e", "#e0c9a0", "#7a2f2a", "#2f4a63")


def make_role(name: str) -> Group:
    """A role's group: a test that empties the tables takes those of the first migration with it."""
    return Group.objects.get_or_create(name=name)[0]


def make_person(name: str, *held: str, **changes: Any) -> Any:
    """Somebody with these roles."""
    user = get_user_model().objects.create_user(name, **{"password": "only for tests"} | changes)
    user.groups.set(make_role(role) for role in held)
    return user


def make_yarn(**changes: Any) -> Yarn:
    n = next(_numbers)
    facts = {
        "code": f"Y{n}",
        "name": f"Shade {n}",
        "colour": COLOURS[n % len(COLOURS)],
        "count_as_bought": "125 tex",
        "count_tex": Decimal("125.0000"),
        "regain_pct": Decimal("17.00"),
        "regain_authority": "EU 1007/2011 Annex IX",
    }
    return Yarn.objects.create(**facts | changes)


def make_cloth(**changes: Any) -> Cloth:
    n = next(_numbers)
    return Cloth.objects.create(**{"code": f"T{n}", "name": f"Tweed {n}"} | changes)


def make_colourway(
    *, spec: ClothSpec | None = None, yarns: Mapping[str, Yarn] | None = None, **changes: Any
) -> Colourway:
    """A colourway of `spec`, or of `cloth=`; with a spec every letter of its orders has a yarn, new ones unless given."""
    n = next(_numbers)
    cloth = spec.cloth if spec else changes.pop("cloth", None) or make_cloth()
    changes.pop("cloth", None)
    colourway = Colourway.objects.create(**{"cloth": cloth, "name": f"Colourway {n}"} | changes)
    if spec:
        put_yarns(spec, colourway, yarns or {})
    return colourway


def put_yarns(spec: ClothSpec, colourway: Colourway, yarns: Mapping[str, Yarn]) -> None:
    """A yarn at every letter that the spec's orders use: the given ones, new ones where none is given."""
    used = {c for c in f"{spec.warp_order} {spec.weft_order} {spec.selvedge_letter}" if c.isalpha() and c.isupper()}
    for letter in sorted(used | set(yarns)):
        yarn = yarns.get(letter) or make_yarn()
        ColourwayYarn.objects.create(spec=spec, colourway=colourway, letter=letter, yarn=yarn)


def make_spec(
    *,
    cloth: Cloth | None = None,
    colourways: Sequence[Colourway] | None = None,
    yarns: Mapping[str, Yarn] | None = None,
    route: Sequence[tuple[str, str, str, str]] = TWEED_ROUTE,
    **changes: Any,
) -> ClothSpec:
    """The next revision of a cloth, a small tweed, with yarns in all its colourways; one is made when it has none."""
    cloth = cloth or make_cloth()
    last = cloth.specs.order_by("-revision").first()
    spec = ClothSpec.objects.create(**TWEED | {"cloth": cloth, "revision": last.revision + 1 if last else 1} | changes)
    for position, (name, width, length, mass) in enumerate(route, start=1):
        RouteStep.objects.create(
            spec=spec,
            position=position,
            name=name,
            width_shrink_pct=Decimal(width),
            length_shrink_pct=Decimal(length),
            mass_loss_pct=Decimal(mass),
        )
    if colourways is None:
        colourways = list(cloth.colourways.all()) or [make_colourway(cloth=cloth)]
    for colourway in colourways:
        before = {y.letter: y.yarn for y in last.colourway_yarns.filter(colourway=colourway)} if last else {}
        put_yarns(spec, colourway, before | dict(yarns or {}))
    return spec


def make_customer(**changes: Any) -> Customer:
    n = next(_numbers)
    return Customer.objects.create(**{"code": f"C{n}", "name": f"Customer {n}"} | changes)


def make_order(**changes: Any) -> Order:
    n = next(_numbers)
    customer = changes.pop("customer", None) or make_customer()
    facts = {"number": f"O{n}", "customer": customer, "placed_on": date(2026, 1, 5)}
    return Order.objects.create(**facts | changes)


def make_line(*, spec: ClothSpec | None = None, colourway: Colourway | None = None, **changes: Any) -> OrderLine:
    """Two pieces of 60 m of a cloth, in the colourway given or its first; `spec` says which cloth."""
    spec = spec or make_spec()
    colourway = colourway or Colourway.objects.filter(cloth=spec.cloth).earliest("pk")
    order = changes.pop("order", None) or make_order()
    facts = {
        "order": order,
        "position": order.lines.count() + 1,
        "cloth": spec.cloth,
        "colourway": colourway,
        "pieces": 2,
        "length_m": Decimal("60.00"),
        "due_on": date(2026, 6, 1),
    }
    return OrderLine.objects.create(**facts | changes)


def make_beam(**changes: Any) -> Beam:
    n = next(_numbers)
    facts = {
        "code": f"B{n}",
        "width_cm": Decimal("200.0"),
        "barrel_mm": 180,
        "flange_mm": 760,
        "tare_kg": Decimal("95.0"),
    }
    return Beam.objects.create(**facts | changes)


def make_shift(**changes: Any) -> ShiftPattern:
    n = next(_numbers)
    return ShiftPattern.objects.create(**{"name": f"Shifts {n}", "hours": "Mon-Fri 06:00-22:00"} | changes)


def make_loom(**changes: Any) -> Loom:
    n = next(_numbers)
    pattern = (
        changes.pop("shift_pattern", None)
        or ShiftPattern.objects.get_or_create(name="Two shifts", defaults={"hours": "Mon-Fri 06:00-22:00"})[0]
    )
    facts = {
        "code": f"L{n}",
        "kind": "Dobby rapier",
        "reed_space_cm": Decimal("200.0"),
        "shafts": 16,
        "weft_colours": 4,
        "max_flange_mm": 800,
        "ppm": 220,
        "efficiency_pct": Decimal("70.00"),
        "shift_pattern": pattern,
    }
    return Loom.objects.create(**facts | changes)


def make_warp(*, spec: ClothSpec | None = None, lines: Sequence[OrderLine] = (), **changes: Any) -> Warp:
    """A planned warp with all pieces of the lines on it; of one new line of `spec` when none are given."""
    spec = spec or make_spec()
    warp = Warp.objects.create(**{"number": next(_numbers), "state": Warp.PLANNED} | changes)
    for position, line in enumerate(lines or [make_line(spec=spec, state=OrderLine.ON_A_WARP)], start=1):
        WarpPart.objects.create(warp=warp, position=position, line=line, spec=spec, pieces=line.pieces)
    return warp


def make_ticket(warp: Warp, **changes: Any) -> JobTicket:
    """A ticket as it was issued for the warp, with nothing printed on it; issue_ticket() makes one with figures."""
    n = next(_numbers)
    facts = {
        "number": n,
        "token": f"token{n}",
        "warp": warp,
        "figures": {},
        "worked_from": "as it stood",
        "day": date(2026, 2, 2),
    }
    ticket = JobTicket.objects.create(**facts | changes)
    ticket.specs.set({part.spec for part in warp.parts.all()})
    return ticket


def make_supplier(**changes: Any) -> Supplier:
    n = next(_numbers)
    return Supplier.objects.create(**{"code": f"S{n}", "name": f"Spinner {n}", "lead_time_days": 28} | changes)


def make_place(**changes: Any) -> Place:
    n = next(_numbers)
    return Place.objects.create(**{"code": f"B{n}", "name": f"Bay {n}"} | changes)


def make_trap(**changes: Any) -> Trap:
    n = next(_numbers)
    place = changes.pop("place", None) or make_place()
    return Trap.objects.create(**{"code": f"T{n}", "place": place, "lure_renewed_on": timezone.localdate()} | changes)


def make_fibre(**changes: Any) -> Fibre:
    n = next(_numbers)
    facts = {
        "name": f"wool {n}",
        "is_protein": True,
        "regain_pct": Decimal("17.00"),
        "regain_authority": "EU 1007/2011 Annex IX",
    }
    return Fibre.objects.create(**facts | changes)


def make_delivery(*, yarn: Yarn | None = None, **changes: Any) -> Delivery:
    """20 kg of a yarn, promised for ten days from now."""
    n = next(_numbers)
    facts = {
        "number": f"D{n}",
        "yarn": yarn or make_yarn(),
        "ordered_g": 20_000,
        "expected_on": timezone.localdate() + timedelta(10),
    }
    return Delivery.objects.create(**facts | changes)


def make_lot(*, grams: int = 9000, yarn: Yarn | None = None, **changes: Any) -> YarnLot:
    """A lot as it is received; what `store.receive` takes may be changed."""
    n = next(_numbers)
    facts = {"label": f"L{n}", "dye_lot": f"{880 + n}", "by": None}
    return store.receive(yarn=yarn or make_yarn(), grams=grams, **facts | changes).lot


def make_demand(*, yarn: Yarn, on: date, grams: int, **changes: Any) -> YarnDemand:
    """What planned work will draw, as the planning side writes it."""
    n = next(_numbers)
    facts = {"use": YarnDemand.WARP, "source": f"warp:{n}", "label": f"Warp {n}", "worked_from": "made for a test"}
    demand = YarnDemand.objects.create(yarn=yarn, on=on, grams=grams, **facts | changes)
    with transaction.atomic():
        store.yarns_changed([yarn.pk])
    return demand
