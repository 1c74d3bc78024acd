"""What a plan only thinks of: a loom that stands, a delivery that comes later, warps that are woven otherwise."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from inventory import services as store
from inventory.models import Delivery
from planning.models import Closure, Loom, WarpFigures
from planning.services import retelling
from planning.services.looms import write_down


@dataclass(frozen=True)
class PartThen:
    """A part of a warp as it would be."""

    pieces: int
    due_on: date
    finishing_days: int
    reed_dents_per_10cm: Decimal


@dataclass(frozen=True)
class TakenFor:
    """A warp as it would be woven. Without figures, or without parts, it would not be there.

    parts    by primary key; those that are not named would not be on it
    """

    worked: WarpFigures | None
    parts: Mapping[int, PartThen]
    runs: Any = None
    sized_warp_g: int = 0


@dataclass(frozen=True)
class Assumed:
    """What is taken to be so.

    closed      closures that are not written down
    expected    by delivery, the day on which it is taken to come
    warps       by primary key, warps as they would be woven
    """

    closed: tuple[Closure, ...] = ()
    expected: Mapping[int, date] = field(default_factory=dict)
    warps: Mapping[int, TakenFor] = field(default_factory=dict)


NOTHING = Assumed()


def loom_stands(loom: Loom, *, why: str, starts_at: datetime, stops_at: datetime) -> dict[str, Any]:
    """As it is kept with a search and its plan."""
    return {
        "loom": loom.code,
        "pk": loom.pk,
        "name": why,
        "starts_at": starts_at.isoformat(),
        "stops_at": stops_at.isoformat(),
        "said": retelling.LOOM_STANDS % {"loom": loom.code, "why": why},
    }


def yarn_is_late(delivery: Delivery, *, expected_on: date) -> dict[str, Any]:
    day = f"{expected_on:%a} {expected_on.day} {expected_on:%b}"
    said = retelling.YARN_IS_LATE % {"delivery": delivery, "yarn": delivery.yarn, "day": day}
    return {"delivery": delivery.pk, "expected_on": expected_on.isoformat(), "said": said}


def read(kept: Mapping[str, Any] | None) -> Assumed:
    if not kept:
        return NOTHING
    if "delivery" in kept:
        return Assumed(expected={kept["delivery"]: date.fromisoformat(kept["expected_on"])})
    return Assumed(
        closed=(
            Closure(
                name=kept["name"],
                # A loom may be given another code while the plan waits; plans made earlier have the code alone.
                loom=Loom.objects.get(pk=kept["pk"]) if "pk" in kept else Loom.objects.get(code=kept["loom"]),
                starts_at=datetime.fromisoformat(kept["starts_at"]),
                stops_at=datetime.fromisoformat(kept["stops_at"]),
            ),
        )
    )


def write_down_what_was(kept: Mapping[str, Any] | None, *, by: Any) -> None:
    """The plan is put in force: what it thought of is so. A delivery that has come meanwhile stays as it is."""
    assumed = read(kept)
    for closure in assumed.closed:
        write_down(closure, by=by)
    for pk, expected_on in assumed.expected.items():
        delivery = Delivery.objects.filter(pk=pk, is_closed=False).first()
        if delivery:
            delivery.expected_on = expected_on
            store.write_delivery(delivery=delivery, changed=["expected_on"], by=by)
