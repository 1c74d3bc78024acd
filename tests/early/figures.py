"""The figures that people work by, read from the book that is open; by the code of the first day and by this."""

import json
from datetime import UTC
from typing import Any

from inventory import models as store
from planning import models as planning

WEIGHTS = ("on_hand_g", "held_g", "incoming_g", "demand_g", "short_g", "order_g")
WORKED = ("warp_length_m", "reed_width_cm", "ends", "picks", "warp_g", "weft_g", "warping_min", "figures__loom_hours")
PRINTED = ("ends", "picks", "warp_length_m", "warp_issue_g", "weft_issue_g", "loom_hours")
TIMES = ("setup_min", "setup_starts_at", "setup_stops_at", "weaving_starts_at", "weaving_stops_at", "late_min")
SIZES = ("grey_length_m", "grey_width_cm", "finished_length_m", "finished_width_cm", "mass_g", "points")


def said(figure: Any) -> str:
    """As text, the same from either database."""
    if isinstance(figure, dict):
        return json.dumps(figure, sort_keys=True)
    return figure.astimezone(UTC).isoformat() if hasattr(figure, "tzinfo") else str(figure)


def rows(query: Any, *columns: str) -> list[list[str]]:
    return sorted([said(figure) for figure in row] for row in query.values_list(*columns))


def lures() -> list[list[str]]:
    """A lure hung in its place on the first day; today in a trap there."""
    if hasattr(store, "Trap"):
        return rows(store.Trap.objects, "place__code", "lure_renewed_on")
    return rows(store.Place.objects.exclude(lure_renewed_on=None), "code", "lure_renewed_on")


def figures() -> dict[str, list[list[str]]]:
    in_force = planning.Slot.objects.filter(run__state="in force")
    printed = [f"figures__{name}" for name in PRINTED]
    return {
        "order lines": rows(
            planning.OrderLine.objects, "order__number", "position", "pieces", "length_m", "due_on", "weight", "state"
        ),
        "warps": rows(planning.WarpFigures.objects, "warp__number", "warp__state", *WORKED),
        "yarn of warps": rows(
            planning.WarpYarn.objects, "warp__number", "use", "yarn__code", "length_m", "net_g", "issue_g"
        ),
        "lots": rows(store.YarnLot.objects.with_balance(), "label", "place__code", "on_hand_g", "held_g"),
        "holds": rows(store.Reservation.objects.with_remaining(), "lot__label", "for_what", "remaining_g"),
        "outlooks": rows(store.YarnOutlook.objects, "yarn__code", *WEIGHTS),
        "deliveries": rows(store.Delivery.objects, "pk", "yarn__code", "ordered_g"),
        "inspections": rows(store.Inspection.objects, "place__code", "on", "moths", "larvae", "beetles"),
        "lures": lures(),
        "plan in force": rows(in_force, "warp__number", "loom__code", *TIMES),
        "tickets": rows(planning.JobTicket.objects, "number", "warp__number", *printed),
        "pieces": rows(planning.Piece.objects, "number", "state", *SIZES),
        "tellings": rows(planning.FloorEvent.objects, "warp__number", "kind", "facts"),
    }


def written() -> str:
    kinds = ",\n".join(f"{json.dumps(kind)}: {json.dumps(found)}" for kind, found in figures().items())
    return "{" + kinds + "}\n"
