"""What was drawn for warps that are woven out, and what became cloth, read for the room `thrums`."""

from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db.models import F, Q, Sum

from planning.models import Piece, Warp, WarpHold, WarpPart, WarpYarn
from planning.period import Period
from planning.thrums import WovenOut
from planning.warp import warp_length_per_piece_m


@dataclass(frozen=True)
class Found:
    """The warps that can be reckoned, and the numbers of those that can't: no draw in the ledger, or no piece."""

    rows: list[WovenOut]
    left_out: list[int]


def woven_out(period: Period) -> Found:
    """Every warp woven out within the period, in the order of their numbers; five questions."""
    within = Q(state=Warp.WOVEN_OUT, woven_out_on__range=(period.first, period.last))
    of_warp = Q(warp__state=Warp.WOVEN_OUT, warp__woven_out_on__range=(period.first, period.last))
    warps: Any = (
        Warp.objects.filter(within, worked__figures__isnull=False)
        .annotate(thrums_m=F("worked__figures__thrums_m"), headers_m=F("worked__figures__headers_m"))
        .order_by("number")
        .values("pk", "number", "woven_out_on", "worked__warp_length_m", "thrums_m", "headers_m")
    )
    needs = _summed(WarpYarn.objects.filter(of_warp, use=WarpYarn.WARP), net_g=Sum("net_g"), issue_g=Sum("issue_g"))
    out = _summed(WarpHold.objects.filter(of_warp, use=WarpYarn.WARP), change_g=Sum("reservation__movements__change_g"))
    in_cloth_m = _in_cloth_m(of_warp)
    cloths = {
        part["warp"]: f"{part['spec__cloth__code']} {part['spec__cloth__name']}"
        for part in WarpPart.objects.filter(of_warp)
        .order_by("-position")
        .values("warp", "spec__cloth__code", "spec__cloth__name")
    }
    found = Found([], [])
    for row in warps:
        pk, out_on = row["pk"], row["woven_out_on"]
        assert out_on is not None  # it lies within the period
        drawn_g = -(out.get(pk, {}).get("change_g") or 0)
        if pk not in needs or drawn_g <= 0 or not in_cloth_m.get(pk) or not row["worked__warp_length_m"]:
            found.left_out.append(row["number"])
            continue
        found.rows.append(
            WovenOut(
                warp=row["number"],
                cloth=cloths[pk],
                out_on=out_on,
                drawn_g=drawn_g,
                net_g=needs[pk]["net_g"],
                issue_g=needs[pk]["issue_g"],
                length_m=row["worked__warp_length_m"],
                # The databases read a number out of the figures each in their own kind.
                spare_m=Decimal(str(row["thrums_m"])) + Decimal(str(row["headers_m"])),
                in_cloth_m=in_cloth_m[pk],
            )
        )
    return found


def _summed(rows: Any, **sums: Sum) -> dict[int, dict[str, Any]]:
    return {row["warp"]: row for row in rows.order_by().values("warp").annotate(**sums)}


def _in_cloth_m(of_warp: Q) -> dict[int, Decimal]:
    """Warp that the pieces of each took, each by the crimp of the revision that it was woven by."""
    found: dict[int, Decimal] = defaultdict(Decimal)
    rows = (
        Piece.objects.filter(of_warp).order_by().values("warp", "spec__warp_crimp_pct").annotate(m=Sum("grey_length_m"))
    )
    for row in rows:
        # SQLite adds up as floats.
        if grey_length_m := row["m"].quantize(Decimal("0.01")):
            found[row["warp"]] += warp_length_per_piece_m(
                grey_length_m=grey_length_m, warp_crimp_pct=row["spec__warp_crimp_pct"]
            )
    return found
