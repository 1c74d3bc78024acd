"""An example of every request that writes, for the API's description; the tests send each of them.

All are of one small mill, whose records have numbers of their own here: 401 is an order line, 301 a lot. A program
takes such numbers from the lists. Days are told from today on, so that an example can be sent on the day it is read.
"""

from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from django.utils import timezone


@dataclass(frozen=True)
class Example:
    """A request: what is sent, and what stands in its address."""

    said: Any = None
    at: dict[str, Any] = field(default_factory=dict)


def day(n: int) -> str:
    return (timezone.localdate() + timedelta(days=n)).isoformat()


def hour(n: int) -> str:
    """Ten in the morning, so many days from today."""
    return f"{day(n)}T10:00:00Z"


COLUMNS = {
    "finished_width_cm": "150",
    "reed_dents_per_10cm": "42.3",
    "ends_per_dent": 2,
    "loom_picks_per_cm": "8.46",
    "warp_crimp_pct": "7.5",
    "weaving_contraction_pct": "6",
    "warp_waste_pct": "2",
    "weft_waste_pct": "5",
    "warp_order": "A4",
    "weft_order": "B4",
    "threading": "1 2 3 4",
    "lifting": "1+2 2+3 3+4 1+4",
    "finishing_days": 10,
}
ROUTE = [
    {"name": "scour", "width_shrink_pct": "10", "length_shrink_pct": "6", "mass_loss_pct": "8"},
    {"name": "press"},
]


def draft(colourway: dict[str, Any], **said: Any) -> dict[str, Any]:
    return {**COLUMNS, "route": ROUTE, "colourways": [{**colourway, "yarns": {"A": "MOS", "B": "CRE"}}], **said}


def line(**said: Any) -> dict[str, Any]:
    return {"cloth": "HER7", "colourway": "Moss", "pieces": 2, "length_m": "60", "due_on": day(60), **said}


def examples() -> dict[tuple[str, str], Example]:
    """By method and address, as the description has them."""
    return {
        **_orders(),
        **_cloths(),
        **_warps(),
        **_looms(),
        **_pieces(),
        **_yarn(),
        **_store(),
        **_records(),
        **_money(),
        **_secrets(),
    }


def _orders() -> dict[tuple[str, str], Example]:
    return {
        ("post", "/api/customers/"): Example({"code": "WOLD", "name": "Wold Tailors"}),
        ("patch", "/api/customers/{code}/"): Example({"points_limit_per_100_yd2": "24"}, {"code": "KELD"}),
        ("post", "/api/orders/"): Example(
            {"customer": "KELD", "reference": "PO 77", "placed_on": day(0), "lines": [line(), line(length_m="65.5 yd")]}
        ),
        ("patch", "/api/orders/{number}/"): Example({"reference": "PO 77 b"}, {"number": "2611"}),
        ("post", "/api/orders/{number}/lines/"): Example(line(), {"number": "2611"}),
        ("patch", "/api/order-lines/{id}/"): Example({"due_on": day(75)}, {"id": 401}),
        ("post", "/api/order-lines/{id}/foresee/"): Example({"pieces": 3}, {"id": 401}),
        ("post", "/api/order-lines/{id}/effects/"): Example({"pieces": 3}, {"id": 401}),
        ("post", "/api/order-lines/{id}/call-off/"): Example({"reason": "Bought elsewhere."}, {"id": 402}),
        ("post", "/api/order-lines/{id}/take-up/"): Example(None, {"id": 403}),
        ("post", "/api/order-line-figures/"): Example([line()]),
        ("post", "/api/order-line-foresight/"): Example([line()]),
        ("post", "/api/promise/"): Example({"colourway": 451, "pieces": 2, "length_m": "60", "due_on": day(60)}),
    }


def _cloths() -> dict[tuple[str, str], Example]:
    return {
        ("post", "/api/cloths/"): Example(draft({"name": "Moss"}, code="TWL3", name="Twill of the fell")),
        ("post", "/api/cloth-preview/"): Example(draft({"name": "Moss"}, code="TWL3", name="Twill of the fell")),
        ("patch", "/api/cloths/{code}/"): Example({"name": "Herringbone, light"}, {"code": "HER7"}),
        ("post", "/api/cloths/{code}/revisions/"): Example(
            draft({"id": 451, "name": "Moss"}, finishing_days=12, note="The press is slower.", based_on=1),
            {"code": "HER7"},
        ),
        ("post", "/api/cloths/{code}/preview/"): Example(
            draft({"id": 451, "name": "Moss"}, finishing_days=12), {"code": "HER7"}
        ),
        ("put", "/api/cloths/{code}/revisions/{revision}/"): Example(
            draft({"id": 452, "name": "Moss"}, finishing_days=8, note="Misread."), {"code": "NEW1", "revision": 1}
        ),
        ("post", "/api/cloths/{code}/colourways/"): Example(
            {"name": "Cream", "yarns": {"A": "CRE", "B": "CRE"}}, {"code": "HER7"}
        ),
        ("patch", "/api/cloths/{code}/colourways/{colourway}/"): Example(
            {"name": "Deep moss"}, {"code": "HER7", "colourway": 451}
        ),
        ("post", "/api/cloths/{code}/shrinkage/"): Example(None, {"code": "FUL2"}),
    }


def _warps() -> dict[tuple[str, str], Example]:
    at = {"number": 118}
    parts = [{"line": 401, "pieces": 2}, {"line": 402, "pieces": 2}]
    return {
        ("post", "/api/warp-proposals/"): Example({"warps": [parts]}),
        ("post", "/api/warp-rulings/"): Example({"kind": "apart", "parts": parts}),
        ("delete", "/api/warp-rulings/{id}/"): Example(None, {"id": 471}),
        ("post", "/api/warps/{number}/move/"): Example({"part": 461, "where": "later"}, at),
        ("post", "/api/warps/{number}/take-off/"): Example({"part": 461}, at),
        ("post", "/api/warps/{number}/put-on/"): Example({"line": 401, "pieces": 1}, at),
        ("post", "/api/warps/{number}/split/"): Example({"after": 2}, at),
        ("post", "/api/warps/{number}/join/"): Example({"other": 119}, at),
        ("post", "/api/warps/{number}/lock/"): Example({"is_locked": True}, at),
        ("post", "/api/warps/{number}/note/"): Example({"note": "Wind it slowly."}, at),
        ("post", "/api/warps/{number}/pin/"): Example({"loom": "2"}, at),
        ("post", "/api/warps/{number}/take-apart/"): Example(None, at),
        ("post", "/api/warps/{number}/beam/"): Example({"beam": "B5"}, at),
        ("post", "/api/warps/{number}/hold-yarn/"): Example(
            {"chosen": [{"use": "warp", "yarn": "MOS", "dye_lot": "880"}]}, at
        ),
        ("post", "/api/warps/{number}/hold-lot/"): Example({"use": "warp", "lot": "A12", "grams": "5 kg"}, at),
        ("post", "/api/warps/{number}/let-go/"): Example({"use": "weft"}, {"number": 120}),
        ("post", "/api/warps/{number}/step/"): Example({"step": "draw yarn"}, {"number": 120}),
        ("post", "/api/lot-shares/"): Example(
            {"shares": [{"warp": 118, "use": "warp", "yarn": "MOS", "takes": [{"lot": "A12", "grams": 53_534}]}]}
        ),
        ("post", "/api/lot-shares/what-if/"): Example(
            {"chosen": [{"warp": 118, "use": "warp", "yarn": "MOS", "dye_lot": "880"}]}
        ),
        ("post", "/api/tickets/"): Example({"warp": 120}),
        ("post", "/api/tickets/of-day/"): Example({"day": day(0)}),
        ("post", "/api/tickets/{number}/withdraw/"): Example({"why": "Wrong customer."}, {"number": 1}),
        ("post", "/api/floor/taps/"): Example(
            {
                "events": [
                    {"key": "tap 1", "token": "k3XbQ9s0aZ1m", "kind": "piece off", "worker": "RO", "length_m": "64"}
                ]
            }
        ),
    }


def _looms() -> dict[tuple[str, str], Example]:
    return {
        ("post", "/api/looms/"): Example(
            {
                "code": "9",
                "kind": "dobby rapier",
                "reed_space_cm": "75 in",
                "shafts": 16,
                "max_flange_mm": 800,
                "ppm": 120,
                "efficiency_pct": "82.5",
                "shift_pattern": "Two shifts",
            }
        ),
        ("patch", "/api/looms/{code}/"): Example({"ppm": 130}, {"code": "2"}),
        ("post", "/api/looms/{code}/hold/"): Example({"reason": "New heald frames."}, {"code": "2"}),
        ("post", "/api/looms/{code}/let-go/"): Example(None, {"code": "3"}),
        ("post", "/api/looms/{code}/stands/"): Example({"until": hour(2), "why": "The batten broke."}, {"code": "2"}),
        ("post", "/api/looms/{code}/efficiency/"): Example({"efficiency_pct": "78.5"}, {"code": "2"}),
        ("post", "/api/plans/"): Example({"rule": "setups_first"}),
        ("post", "/api/plans/{id}/put-in-force/"): Example(None, {"id": 482}),
        ("post", "/api/plans/{id}/put-aside/"): Example(None, {"id": 482}),
        ("post", "/api/plans/{id}/bring-back/"): Example(None, {"id": 480}),
        ("post", "/api/plans/{id}/move/"): Example({"warp": 118, "loom": "2", "turn": 1}, {"id": 481}),
        ("post", "/api/plans/{id}/take-back/"): Example(None, {"id": 483}),
        ("post", "/api/plan-searches/"): Example({"seconds": 20}),
        ("post", "/api/looms/{code}/stands/effects/"): Example({"until": hour(2)}, {"code": "2"}),
        ("post", "/api/plan-searches/late-yarn/effects/"): Example({"delivery": "D1", "expected_on": day(20)}),
        ("post", "/api/plan-searches/late-yarn/"): Example({"delivery": "D1", "expected_on": day(20)}),
        ("post", "/api/plan-searches/{id}/stop/"): Example(None, {"id": 491}),
        ("post", "/api/jobs/{id}/stop/"): Example(None, {"id": 491}),
        ("post", "/api/jobs/{id}/try-again/"): Example(None, {"id": 492}),
    }


def _pieces() -> dict[tuple[str, str], Example]:
    finished = {"length_m": "60.2", "width_cm": "150.5", "mass_g": "25.1 kg"}
    fault = {"at_m": "3.2", "length_mm": "80", "name": "float"}
    return {
        ("post", "/api/pieces/{number}/perch/"): Example(
            {"length_m": "63.8", "width_cm": "165", "mending_min": 20, "worker": "ME"}, {"number": "121-1"}
        ),
        ("post", "/api/pieces/{number}/correct-length/"): Example(
            {"grey_length_m": "62", "why": "Read upside down."}, {"number": "121-1"}
        ),
        ("post", "/api/pieces/{number}/allocate/"): Example(
            {"line": None, "why": "Kept back as a sample."}, {"number": "121-1"}
        ),
        ("post", "/api/pieces/{number}/mend/"): Example(
            {"key": "mended 1", "minutes": 15, "worker": "ME"}, {"number": "121-2"}
        ),
        ("post", "/api/pieces/{number}/measure/"): Example(finished, {"number": "121-5"}),
        ("post", "/api/pieces/{number}/faults/"): Example({"faults": [fault]}, {"number": "121-5"}),
        ("post", "/api/pieces/{number}/final-perch/"): Example(
            {**finished, "faults": [fault], "verdict": "pass"}, {"number": "121-5"}
        ),
        ("post", "/api/pieces/{number}/judge/"): Example(
            {"verdict": "re-finish", "why": "Creased.", "from_step": 2}, {"number": "121-6"}
        ),
        ("post", "/api/batches/"): Example({"key": "batch 7", "step": "scour", "pieces": ["121-3"], "worker": "FI"}),
        ("post", "/api/batches/{number}/out/"): Example(
            {"sizes": [{"piece": "121-4", "width_cm": "151"}]}, {"number": 1}
        ),
        ("post", "/api/batches/{number}/undo/"): Example({"why": "The tub was full."}, {"number": 1}),
        ("post", "/api/dispatches/"): Example(
            {"key": "sent 7", "customer": "KELD", "pieces": ["121-7"], "sent_on": day(0)}
        ),
        ("post", "/api/dispatches/{number}/take-back/"): Example({"why": "The van broke down."}, {"number": 1}),
    }


def _yarn() -> dict[tuple[str, str], Example]:
    lot = {"id": 301}
    return {
        ("post", "/api/yarns/"): Example(
            {
                "code": "SED",
                "name": "Sedge",
                "colour": "#5b6b4e",
                "count_as_bought": "Nm 2/16",
                "fibres": [{"fibre": "wool", "share_pct": "100"}],
                "regain_pct": "17",
                "regain_authority": "EU 1007/2011 annex IX",
                "supplier": "LOAN",
            }
        ),
        ("patch", "/api/yarns/{id}/"): Example({"min_order_g": 20_000}, {"id": 311}),
        ("post", "/api/lots/receive/"): Example(
            {"key": "in 7", "yarn": "MOS", "grams": "48.2 kg", "label": "A13", "dye_lot": "881", "place": "BAY-1"}
        ),
        ("post", "/api/lots/{id}/hold/"): Example({"key": "hold 7", "grams": 2000, "for_what": "a sample"}, lot),
        ("post", "/api/lots/{id}/let-go/"): Example({"key": "let go 7", "reservation": 321}, lot),
        ("post", "/api/lots/{id}/draw/"): Example({"key": "draw 7", "grams": 500, "reservation": 321}, lot),
        ("post", "/api/lots/{id}/return/"): Example({"key": "back 7", "grams": 300, "reservation": 322}, lot),
        ("post", "/api/lots/{id}/count/"): Example({"key": "count 7", "weighed_g": "895 kg"}, lot),
        ("post", "/api/lots/{id}/correct/"): Example(
            {"key": "correct 7", "to_g": 890_000, "reason": "Two cones were miscounted."}, lot
        ),
        ("post", "/api/lots/{id}/waste/"): Example({"key": "waste 7", "grams": 400, "reason": "Oil on a cone."}, lot),
        ("post", "/api/lots/{id}/move/"): Example({"key": "move 7", "place": "BAY-2"}, lot),
        ("post", "/api/lots/{id}/quarantine/"): Example({"key": "bar 7", "reason": "Larvae in two cones."}, lot),
        ("post", "/api/lots/{id}/reject/"): Example({"key": "reject 7", "reason": "Redder than the card."}, lot),
        ("post", "/api/lots/{id}/release/"): Example({"key": "free 7", "reason": "Looked over again."}, {"id": 302}),
        ("post", "/api/lots/{id}/approve/"): Example({"key": "right 7"}, {"id": 303}),
        ("post", "/api/movements/{id}/reverse/"): Example(
            {"key": "undo 7", "reason": "It was another lot."}, {"id": 331}
        ),
    }


def _store() -> dict[tuple[str, str], Example]:
    delivery = {"number": "D9", "yarn": "MOS", "supplier": "LOAN", "ordered_g": "40 kg", "expected_on": day(20)}
    return {
        ("post", "/api/deliveries/"): Example({"key": "delivery 7", **delivery}),
        ("post", "/api/deliveries/foresee/"): Example(delivery),
        ("patch", "/api/deliveries/{id}/"): Example({"expected_on": day(14)}, {"id": 341}),
        ("post", "/api/deliveries/{id}/foresee/"): Example({"expected_on": day(30)}, {"id": 341}),
        ("post", "/api/claims/"): Example(
            {
                "key": "claim 7",
                "delivery": "D2",
                "invoice": "R 118",
                "invoiced_g": "20 kg",
                "weighed": [{"lot": "D2-1", "weighed_g": "18.6 kg", "measured_regain_pct": "17"}],
            }
        ),
        ("post", "/api/claims/{id}/send/"): Example({"sent_on": day(0)}, {"id": 351}),
        ("post", "/api/claims/{id}/answer/"): Example({"answered_on": day(0), "allowed_g": "1 kg"}, {"id": 351}),
        ("post", "/api/claims/{id}/drop/"): Example({"answer": "Too little to follow up."}, {"id": 351}),
        ("post", "/api/suppliers/"): Example({"code": "HOPE", "name": "Hopesyke Spinners", "lead_time_days": 35}),
        ("patch", "/api/suppliers/{id}/"): Example({"lead_time_days": 42}, {"id": 352}),
        ("post", "/api/fibres/of-table/"): Example({"authority": "EU 1007/2011 annex IX"}),
        ("post", "/api/fibres/"): Example(
            {"name": "ramie", "regain_pct": "8.5", "regain_authority": "EU 1007/2011 annex IX"}
        ),
        ("patch", "/api/fibres/{id}/"): Example({"is_protein": True}, {"id": 353}),
        ("post", "/api/places/"): Example({"code": "BAY-7", "name": "North wall", "is_dark": True}),
        ("patch", "/api/places/{id}/"): Example({"is_dark": True}, {"id": 361}),
        ("post", "/api/places/{id}/count/"): Example(
            {"key": "stock-take 7", "weighed": [{"lot": "A12", "weighed_g": "896 kg", "measured_regain_pct": "16"}]},
            {"id": 361},
        ),
        ("post", "/api/places/{id}/count/look/"): Example(
            {"weighed": [{"lot": "A12", "weighed_g": "896 kg", "measured_regain_pct": "16"}]}, {"id": 361}
        ),
        ("post", "/api/traps/"): Example({"code": "T9", "place": "BAY-1", "lure_renewed_on": day(0)}),
        ("patch", "/api/traps/{id}/"): Example({"is_hung": False}, {"id": 362}),
        ("patch", "/api/store/triggers/"): Example({"store_inspect_days": 10}),
        ("post", "/api/inspections/"): Example(
            {"key": "round 7", "place": "BAY-1", "on": day(0), "found": {"webbing_moths": 1}, "renewed": ["T1"]}
        ),
        ("post", "/api/treatments/"): Example(
            {
                "key": "frozen 7",
                "way": "freezing",
                "lots": ["A12"],
                "began_on": day(0),
                "target_core_c": "-30",
                "target_h": "72",
            }
        ),
        ("post", "/api/treatments/{id}/end/"): Example(
            {"ended_on": day(0), "core_c": "-31", "held_h": "74", "measured_how": "A probe in the bale."}, {"id": 371}
        ),
        ("post", "/api/treatments/{id}/release/"): Example(
            {"key": "thawed 7", "reason": "Frozen through."}, {"id": 372}
        ),
    }


def _records() -> dict[tuple[str, str], Example]:
    return {
        ("post", "/api/reeds/"): Example({"code": "R63", "dents_per_10cm": "63", "width_cm": "71 in", "quantity": 2}),
        ("patch", "/api/reeds/{id}/"): Example({"quantity": 3}, {"id": 381}),
        ("delete", "/api/reeds/{id}/"): Example(None, {"id": 381}),
        ("post", "/api/beams/"): Example(
            {"code": "B9", "width_cm": 180, "barrel_mm": 150, "flange_mm": 600, "tare_kg": 90}
        ),
        ("patch", "/api/beams/{id}/"): Example({"is_in_use": False}, {"id": 382}),
        ("delete", "/api/beams/{id}/"): Example(None, {"id": 382}),
        ("post", "/api/shift-patterns/"): Example({"name": "Long", "hours": "Mon-Fri 06:00-22:00; Sat 06:00-12:00"}),
        ("patch", "/api/shift-patterns/{id}/"): Example({"hours": "Mon-Thu 22:00-06:00"}, {"id": 383}),
        ("delete", "/api/shift-patterns/{id}/"): Example(None, {"id": 383}),
        ("post", "/api/closures/"): Example({"name": "Fair", "starts_at": hour(30), "stops_at": hour(32)}),
        ("patch", "/api/closures/{id}/"): Example({"name": "Fair and holiday"}, {"id": 384}),
        ("delete", "/api/closures/{id}/"): Example(None, {"id": 384}),
        ("post", "/api/closures/public-days/"): Example({"place": "GB-SCT", "year": timezone.localdate().year}),
        ("post", "/api/workers/"): Example({"code": "TA", "name": "Tamsin Hay", "trade": "weaver"}),
        ("patch", "/api/workers/{id}/"): Example({"is_in_use": False}, {"id": 385}),
        ("delete", "/api/workers/{id}/"): Example(None, {"id": 385}),
        ("post", "/api/machines/"): Example({"name": "Second tub", "step": "scour", "m_per_day": "400 yd"}),
        ("patch", "/api/machines/{id}/"): Example({"m_per_day": 350}, {"id": 386}),
        ("delete", "/api/machines/{id}/"): Example(None, {"id": 386}),
        ("patch", "/api/mill/"): Example({"thrums_m": "1.4"}),
        ("post", "/api/imports/{kind}/"): Example(
            {"csv": "code,name,lead_time_days\nHOPE,Hopesyke Spinners,35\n"}, {"kind": "suppliers"}
        ),
        ("post", "/api/backups/"): Example(),
    }


def _money() -> dict[tuple[str, str], Example]:
    asked = {"colourway": 451, "pieces": 2, "length_m": "60", "loom": "2"}
    return {
        ("post", "/api/rates/"): Example(
            {"kind": "step", "of": "scour", "basis": "kg", "amount": "0.42", "from_on": day(0)}
        ),
        ("patch", "/api/rates/{id}/"): Example({"amount": "19.50"}, {"id": 501}),
        ("delete", "/api/rates/{id}/"): Example(None, {"id": 501}),
        ("post", "/api/yarn-prices/"): Example({"yarn": "MOS", "per_kg": "14.20", "from_on": day(0)}),
        ("patch", "/api/yarn-prices/{id}/"): Example({"per_kg": "13.80"}, {"id": 502}),
        ("delete", "/api/yarn-prices/{id}/"): Example(None, {"id": 502}),
        ("post", "/api/quote-figures/"): Example(asked),
        ("post", "/api/quotes/"): Example({"key": "quote 7", **asked, "customer": "KELD", "margin_pct": "30"}),
        ("post", "/api/quotes/{number}/place/"): Example({"reference": "PO 78"}, {"number": 1}),
        ("post", "/api/quotes/{number}/drop/"): Example({"why": "Too dear."}, {"number": 1}),
    }


def _secrets() -> dict[tuple[str, str], Example]:
    return {
        ("post", "/api/tokens/"): Example({"name": "The stock sheet", "roles": ["stock keeper"]}),
        ("post", "/api/tokens/{id}/withdraw/"): Example(None, {"id": 511}),
        ("post", "/api/feeds/"): Example({"what": "shed", "label": "The office calendar"}),
        ("post", "/api/feeds/{id}/withdraw/"): Example(None, {"id": 512}),
    }


def document(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:
    """The API's description with an example of each request that writes, where the operation has none of its own."""
    for (method, path), example in examples().items():
        operation = result["paths"].get(path, {}).get(method)
        if operation is None:
            continue
        for parameter in operation.get("parameters", []):
            if parameter["in"] == "path" and parameter["name"] in example.at:
                parameter["example"] = example.at[parameter["name"]]
        if example.said is not None:
            for content in operation["requestBody"]["content"].values():
                content["example"] = example.said
    return result
