"""What was drawn as weft for warps that are woven out, what came back and what became cloth, for `weft_waste`."""

from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db.models import F, Q, Sum

from inventory.models import draws
from planning.models import Piece, Warp, WarpHold, WarpPart, WarpYarn
from planning.period import Period
from planning.weft_waste import WeftUsed, among_lots, woven_g


@dataclass(frozen=True)
class Found:
    """Lots that can be reckoned, and the numbers of warps that can't: no weft drawn in the ledger, or no piece."""

    rows: list[WeftUsed]
    left_out: list[int]


def used(period: Period) -> Found:
    """Every lot drawn as weft for a warp woven out within the period, by warp, yarn and lot; five questions."""
    of_warp = Q(warp__state=Warp.WOVEN_OUT, warp__woven_out_on__range=(period.first, period.last))
    warps: Any = (
        Warp.objects.filter(
            state=Warp.WOVEN_OUT,
            woven_out_on__range=(period.first, period.last),
            worked__figures__isnull=False,
        )
        .annotate(runs=F("worked__figures__runs"))
        .order_by("number")
        .values("pk", "number", "woven_out_on", "runs")
    )
    woven_m = {
        row["warp"]: row["m"].quantize(Decimal("0.01"))
        for row in Piece.objects.filter(of_warp).order_by().values("warp").annotate(m=Sum("grey_length_m"))
    }
    needs: dict[int, dict[int, WarpYarn]] = defaultdict(dict)
    for need in WarpYarn.objects.filter(of_warp, use=WarpYarn.WEFT):
        needs[need.warp_id][need.yarn_id] = need
    cloths = {
        part["warp"]: f"{part['spec__cloth__code']} {part['spec__cloth__name']}"
        for part in WarpPart.objects.filter(of_warp)
        .order_by("-position")
        .values("warp", "spec__cloth__code", "spec__cloth__name")
    }
    drawn = _drawn(of_warp)
    found = Found([], [])
    for warp in warps:
        planned_m = sum((Decimal(str(run["grey_length_m"])) * run["pieces"] for run in warp["runs"]), start=Decimal(0))
        if not drawn.get(warp["pk"]) or not woven_m.get(warp["pk"]) or not planned_m:
            found.left_out.append(warp["number"])
            continue
        for yarn_id, lots in drawn[warp["pk"]].items():
            wanted = needs[warp["pk"]].get(yarn_id)
            net_g, allowed_g = (wanted.net_g, wanted.issue_g - wanted.net_g) if wanted else (0, 0)
            length = {"planned_m": planned_m, "woven_m": woven_m[warp["pk"]]}
            own_g = [lot["drawn_g"] - lot["back_g"] for lot in lots]
            in_cloth_g = among_lots(woven_g(net_g=net_g, **length), own_g)
            planned_g = among_lots(woven_g(net_g=allowed_g, **length), own_g)
            found.rows.extend(
                WeftUsed(
                    warp=warp["number"],
                    cloth=cloths[warp["pk"]],
                    out_on=warp["woven_out_on"],
                    woven_g=in_g,
                    planned_waste_g=plan_g,
                    **lot,
                )
                for lot, in_g, plan_g in zip(lots, in_cloth_g, planned_g, strict=True)
            )
    return found


def _drawn(of_warp: Q) -> dict[int, dict[int, list[dict[str, Any]]]]:
    """By warp and yarn: the lots that were drawn from as its weft."""
    rows = (
        WarpHold.objects.filter(of_warp, use=WarpYarn.WEFT)
        .order_by("warp__number", "yarn__code", "reservation__lot__label")
        .values("warp", "yarn", "yarn__code", "yarn__name", "reservation__lot__label")
        .annotate(
            drawn=Sum("reservation__movements__change_g", filter=draws("reservation__movements__")),
            out=Sum("reservation__movements__change_g"),
        )
    )
    found: dict[int, dict[int, list[dict[str, Any]]]] = defaultdict(lambda: defaultdict(list))
    for row in rows:
        drawn_g, out_g = -(row["drawn"] or 0), -(row["out"] or 0)
        if drawn_g > 0:
            found[row["warp"]][row["yarn"]].append(
                {
                    "yarn": f"{row['yarn__code']} {row['yarn__name']}",
                    "lot": row["reservation__lot__label"],
                    "drawn_g": drawn_g,
                    "back_g": drawn_g - out_g,
                }
            )
    return found
