"""What an example mill is, in one line: equal for two that are the same, whatever numbers their rows have."""

import hashlib
from typing import Any

from inventory.models import Delivery, Inspection, Movement, Yarn, YarnDemand, YarnLot, YarnOutlook
from planning.models import (
    Closure,
    ColourwayYarn,
    FloorEvent,
    JobTicket,
    Loom,
    Order,
    OrderLine,
    Piece,
    PlanRun,
    Rate,
    RouteStep,
    Slot,
    Warp,
    WarpFigures,
    WarpHold,
    WarpPart,
    WarpYarn,
    YarnPrice,
)

# By what people call things: primary keys, keys that count once and tokens are thrown afresh each time.
TABLES: list[tuple[Any, list[str]]] = [
    (Loom, ["code", "ppm", "gaited_family", "gaited_reed", "is_held", "shift_pattern__hours"]),
    (Closure, ["name", "starts_at", "stops_at", "loom__code"]),
    (Yarn, ["code", "count_tex", "regain_pct", "supplier__code"]),
    (YarnLot, ["label", "yarn__code", "dye_lot", "received_on", "place__code", "delivery__number", "is_quarantined"]),
    (
        Movement,
        [
            "lot__label",
            "seq",
            "kind",
            "change_g",
            "held_change_g",
            "on_hand_after_g",
            "held_after_g",
            "at",
            "reservation__for_what",
        ],
    ),
    (Delivery, ["number", "yarn__code", "ordered_g", "expected_on", "is_closed"]),
    (Inspection, ["place__code", "on", "moths", "larvae", "beetles"]),
    (RouteStep, ["spec__cloth__code", "spec__revision", "position", "name", "width_shrink_pct", "spec__made_at"]),
    (ColourwayYarn, ["spec__cloth__code", "spec__revision", "colourway__name", "letter", "yarn__code"]),
    (Order, ["number", "customer__code", "placed_on", "reference"]),
    (OrderLine, ["order__number", "position", "colourway__name", "pieces", "length_m", "due_on", "weight", "state"]),
    (Warp, ["number", "state", "beam__code", "loom__code", "picks_woven", "woven_out_on", "made_at"]),
    (WarpPart, ["warp__number", "position", "line__order__number", "line__position", "spec__revision", "pieces"]),
    (WarpFigures, ["warp__number", "warp_key", "ends", "warp_length_m", "picks", "warp_g", "weft_g", "trouble"]),
    (WarpYarn, ["warp__number", "yarn__code", "use", "issue_g"]),
    (WarpHold, ["warp__number", "reservation__lot__label", "use", "drawn_g"]),
    (Piece, ["number", "warp__number", "state", "woven_on", "grey_length_m", "finished_length_m", "mass_g", "points"]),
    (FloorEvent, ["warp__number", "kind", "worker__code", "happened_at", "facts"]),
    (Rate, ["kind", "of", "basis", "amount", "from_on"]),
    (YarnPrice, ["yarn__code", "delivery__number", "lot__label", "per_kg", "from_on"]),
    (PlanRun, ["rule", "state", "cost"]),
    (Slot, ["warp__number", "loom__code", "position", "setup", "weaving_starts_at", "weaving_stops_at", "late_min"]),
    (JobTicket, ["number", "warp__number", "day", "overtaken_why"]),
    (YarnDemand, ["yarn__code", "use", "on", "grams", "label"]),
    (YarnOutlook, ["yarn__code", "on_hand_g", "held_g", "demand_g", "incoming_g", "short_on", "short_g", "days"]),
]


def by_table() -> dict[str, list[str]]:
    """Every row in words, by table."""
    return {
        model.__name__: sorted(map(repr, model.objects.order_by().values_list(*columns))) for model, columns in TABLES
    }


def digest() -> str:
    return hashlib.sha256(repr(by_table()).encode()).hexdigest()
