"""The reckoner's sums of cloth and piece: mass, sett for a mass, four-point grade. Knows no customer."""

from decimal import Decimal

from inventory.yarn import Count
from mill.refusal import N_, Refusal
from mill.working import W_
from planning import cloth as cloths
from planning import piece, sett
from planning.reckoner.common import (
    PICKS,
    as_tex,
    count_input,
    finished_mass,
    pct_input,
)
from planning.reckoner.sheet import Input, Sheet, enter, fine, num


@enter(
    "cloth-mass",
    N_("Cloth mass"),
    N_("Cloth and piece"),
    N_("Grams in a square metre off the loom and finished, from both yarn sets, and in a running metre."),
    Input("ends_per_cm", N_("Ends per cm"), "number", "per_cm", "9", N_("In the grey cloth."), above=0, most=500),
    count_input("warp_count", N_("Count of the warp"), "8 nm"),
    pct_input("warp_crimp_pct", N_("Warp crimp"), "7", N_("Of cloth length.")),
    PICKS,
    count_input("weft_count", N_("Count of the weft"), "8 nm"),
    pct_input(
        "weaving_contraction_pct", N_("Weaving contraction"), "6", N_("Of the width in the reed: the weft's crimp.")
    ),
    pct_input("mass_loss_pct", N_("Loss of mass"), "8", N_("In finishing, of the mass into it."), least=-100),
    pct_input("width_shrink_pct", N_("Shrinkage in width"), "10", N_("Of the grey width."), least=-100),
    pct_input("length_shrink_pct", N_("Shrinkage in length"), "6", N_("Of the grey length."), least=-100),
    Input("finished_width_cm", N_("Finished width"), "number", "cm", "150", N_("With selvedges."), above=0, most=2000),
)
def _cloth_mass(
    sheet: Sheet,
    *,
    ends_per_cm: Decimal,
    warp_count: Count,
    warp_crimp_pct: Decimal,
    picks_per_cm: Decimal,
    weft_count: Count,
    weaving_contraction_pct: Decimal,
    mass_loss_pct: Decimal,
    width_shrink_pct: Decimal,
    length_shrink_pct: Decimal,
    finished_width_cm: Decimal,
) -> None:
    warp_tex = as_tex(sheet, "warp_tex", warp_count, of=N_("Count of the warp"))
    weft_tex = as_tex(sheet, "weft_tex", weft_count, of=N_("Count of the weft"))
    said = num(weaving_contraction_pct)
    weft_crimp_pct = cloths.weft_crimp_pct(weaving_contraction_pct=weaving_contraction_pct)
    sheet.put("weft_crimp_pct", weft_crimp_pct, f"{said} % ÷ (1 − {said} %)")
    loom_g_per_m2 = cloths.mass_g_per_m2(
        ends_per_cm=ends_per_cm,
        warp_tex=warp_tex,
        warp_crimp_pct=warp_crimp_pct,
        picks_per_cm=picks_per_cm,
        weft_tex=weft_tex,
        weft_crimp_pct=weft_crimp_pct,
    )
    sheet.ask(
        "loom_g_per_m2",
        loom_g_per_m2,
        f"({num(ends_per_cm)} × {fine(warp_tex)} × (1 + {num(warp_crimp_pct)} %) + {num(picks_per_cm)} × "
        f"{fine(weft_tex)} × (1 + {num(weft_crimp_pct)} %)) ÷ 10",
    )
    finished = finished_mass(
        sheet, loom_g_per_m2, width_pct=width_shrink_pct, length_pct=length_shrink_pct, loss_pct=mass_loss_pct
    )
    sheet.ask(
        "finished_g_per_m",
        cloths.mass_g_per_m(g_per_m2=finished, width_cm=finished_width_cm),
        f"{num(finished)} × {num(finished_width_cm)} ÷ 100",
    )


@enter(
    "square-sett",
    N_("Sett for a wanted mass"),
    N_("Cloth and piece"),
    N_("How many threads to the cm, ends and picks alike, make a cloth of so many grams: where a design begins."),
    Input("g_per_m2", N_("Mass wanted"), "number", "g_per_m2", "300", N_("In the grey."), above=0, most=10_000),
    count_input("count", "Count", "8 nm", N_("Warp and weft alike.")),
    pct_input("crimp_pct", N_("Crimp"), "7", N_("Of cloth length, warp and weft alike.")),
)
def _square_sett(sheet: Sheet, *, g_per_m2: Decimal, count: Count, crimp_pct: Decimal) -> None:
    tex = as_tex(sheet, "count_tex", count)
    sheet.ask(
        "square_sett_per_cm",
        cloths.square_sett_per_cm(g_per_m2=g_per_m2, count_tex=tex, crimp_pct=crimp_pct),
        f"{num(g_per_m2)} × 10 ÷ (2 × {fine(tex)} × (1 + {num(crimp_pct)} %))",
    )


NO_FAULT = W_("no fault")
COUNTED = W_("%(n)s counted")
VERDICTS = {True: W_("passes"), False: W_("does not pass")}


@enter(
    "grade",
    N_("Four-point grade"),
    N_("Cloth and piece"),
    N_("Points of a piece in 100 square metres and square yards, from its faults or from points already counted."),
    Input("length_m", N_("Length"), "number", "m", "60", N_("Relaxed, free of tension."), above=0, most=100_000),
    Input("width_cm", N_("Width"), "number", "cm", "150", above=0, most=2000),
    Input(
        "faults",
        N_("Faults"),
        "faults",
        default=N_("3.2 m: 240 mm; 18 m: 40 mm; 41 m: 2 in hole"),
        help=N_("Place and length of each: 3.2 m: 240 mm; 41 m: 2 in hole."),
        required=False,
    ),
    Input("points", N_("or points counted"), "whole", "points", "", least=0, most=1_000_000, required=False),
    Input(
        "limit_per_100_yd2",
        N_("Limit in 100 yd²"),
        "number",
        "number",
        "40",
        N_("Agreed with the customer."),
        least=0,
        most=10_000,
    ),
)
def _grade(
    sheet: Sheet,
    *,
    length_m: Decimal,
    width_cm: Decimal,
    faults: tuple[piece.Fault, ...],
    points: int | None,
    limit_per_100_yd2: Decimal,
) -> None:
    for fault in faults:
        if fault.at_m > length_m:
            raise Refusal(
                N_("A fault at %(at)s m lies beyond the piece, which ends at %(end)s m. Measure again."),
                field="faults",
                at=Decimal(num(fault.at_m)),
                end=Decimal(num(length_m)),
            )
    if points is None:
        by_yard = piece.points_by_run(faults, bands=piece.INCH_BANDS).values()
        points = sum(by_yard)
        sheet.ask("points", points, " + ".join(str(each) for each in by_yard) or NO_FAULT)
    else:
        sheet.ask("points", points, COUNTED % {"n": points})
        if faults:
            sheet.remarks.append(N_("The points counted are taken; the faults are left aside."))
    limit = piece.limit_per_100_m2(limit_per_100_yd2)
    graded = piece.grade_points(points, length_m=length_m, width_cm=width_cm, limit_per_100_m2=limit)
    sheet.ask("points_per_100_m2", graded.points_per_100_m2, f"{points} × 10 000 ÷ ({num(length_m)} × {num(width_cm)})")
    yards, inches = num(length_m / piece.M_PER_YD), num(width_cm / sett.CM_PER_IN)
    sheet.ask("points_per_100_yd2", graded.points_per_100_yd2, f"{points} × 3600 ÷ ({yards} × {inches})")
    sheet.put("limit_per_100_m2", limit, f"{num(limit_per_100_yd2)} ÷ 0.9144²")
    sheet.ask("verdict", VERDICTS[graded.passes], graded.said)
