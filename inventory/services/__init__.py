"""The verbs of the store, a file per noun. They alone write; each is one transaction and counts once by its `key`.

verb.py       what every verb is: one transaction, a key, and nothing nonsensical written
lots.py       yarn comes in, is held, drawn, returned, counted, moved: the ledger
records.py    yarns, deliveries, suppliers, places, fibres
outlooks.py   what each yarn will have, worked out again when something of it changes
foresight.py  what a change would do to yarn, before it is written
care.py       inspections, and what lies where for how long
proof.py      every stored figure derived again
"""

from inventory.services.care import inspect, shelves, triggers, write_triggers
from inventory.services.foresight import Foreseen, HoldLost, OfYarn, Otherwise, foresee, foresee_delivery
from inventory.services.lots import (
    approve_shade,
    correct,
    count,
    count_place,
    draw_down,
    draw_free,
    lock_lots,
    lots_to_draw,
    move,
    next_label,
    out_g,
    quarantine,
    receive,
    reckoned_g,
    record_waste,
    reject_shade,
    release,
    release_from_quarantine,
    remaining_g,
    reserve,
    return_to_stock,
    reverse,
)
from inventory.services.outlooks import (
    DEMANDS_REWORKED,
    REWORK_OUTLOOKS,
    Ahead,
    ahead_of,
    day_changed,
    is_being_worked_out,
    notice_the_day,
    rework_marked_outlooks,
    rework_outlooks,
    yarns_changed,
)
from inventory.services.proof import audit_differences, check_invariants
from inventory.services.records import YARN_CHANGED, write_delivery, write_record, write_yarn

__all__ = [
    "DEMANDS_REWORKED",
    "REWORK_OUTLOOKS",
    "YARN_CHANGED",
    "Ahead",
    "Foreseen",
    "HoldLost",
    "OfYarn",
    "Otherwise",
    "ahead_of",
    "approve_shade",
    "audit_differences",
    "check_invariants",
    "correct",
    "count",
    "count_place",
    "day_changed",
    "draw_down",
    "draw_free",
    "foresee",
    "foresee_delivery",
    "inspect",
    "is_being_worked_out",
    "lock_lots",
    "lots_to_draw",
    "move",
    "next_label",
    "notice_the_day",
    "out_g",
    "quarantine",
    "receive",
    "reckoned_g",
    "record_waste",
    "reject_shade",
    "release",
    "release_from_quarantine",
    "remaining_g",
    "reserve",
    "return_to_stock",
    "reverse",
    "rework_marked_outlooks",
    "rework_outlooks",
    "shelves",
    "triggers",
    "write_delivery",
    "write_record",
    "write_triggers",
    "write_yarn",
    "yarns_changed",
]
