"""The reckoner's sums of setting: sett, cover, reeds, ends, stripes. Knows no cloth of the mill's."""

from collections.abc import Mapping
from decimal import Decimal

from inventory import yarn
from inventory.yarn import Count
from mill.refusal import N_, Refusal
from mill.working import W_
from planning import cloth as cloths
from planning import finishing, sett, weave
from planning.formulae import DEFINED
from planning.reckoner.common import (
    MOST_ENDS,
    REEDS,
    RULES,
    WEAVES,
    as_tex,
    count_input,
    pct_input,
)
from planning.reckoner.sheet import Input, Sheet, enter, fine, left, num, whole_up

MOST_STRIPES = 60


@enter(
    "sett",
    N_("Sett and cover"),
    N_("Setting"),
    N_(
        "How close a cloth may be set, by diameters and intersections, and how much of it the threads cover. A warning,"
        " never a limit: beat, tension and the give of wool decide."
    ),
    count_input("warp_count", N_("Count of the warp"), "2/12 nw"),
    count_input(
        "weft_count", N_("Count of the weft"), "2/12 nw", N_("As the warp where it is left empty."), required=False
    ),
    Input("weave", N_("Weave"), "choice", default="2/2 twill", choices=WEAVES),
    Input("rule", N_("Diameters of"), "choice", default="ashenhurst", choices=RULES),
    Input("ends_per_cm", N_("Ends per cm"), "number", "per_cm", "10", above=0, most=500, required=False),
    Input("picks_per_cm", N_("Picks per cm"), "number", "per_cm", "9", above=0, most=500, required=False),
    pct_input(
        "working_share_pct",
        N_("Commonly woven"),
        "75",
        N_("Of the most: about three quarters or a little more."),
        least=None,
        above=0,
        below=None,
        most=100,
    ),
)
def _set(
    sheet: Sheet,
    *,
    warp_count: Count,
    weft_count: Count | None,
    weave: str,
    rule: str,
    ends_per_cm: Decimal | None,
    picks_per_cm: Decimal | None,
    working_share_pct: Decimal,
) -> None:
    by, bound = sett.SETTING_RULES[rule], _weave(weave)
    warp_tex = as_tex(sheet, "warp_tex", warp_count, of=N_("Count of the warp"))
    weft_tex = as_tex(sheet, "weft_tex", weft_count or warp_count, of=N_("Count of the weft"))
    warp_per_cm = _diameters(sheet, "warp_diameters_per_cm", warp_tex, by)
    weft_per_cm = _diameters(sheet, "weft_diameters_per_cm", weft_tex, by)
    most: dict[str, Decimal] = {}
    for name, threads, intersections, own, other in (
        ("ends", bound.repeat_ends, bound.weft_intersections, warp_per_cm, weft_per_cm),
        ("picks", bound.repeat_picks, bound.warp_intersections, weft_per_cm, warp_per_cm),
    ):
        most[name] = sett.max_sett_per_cm(
            own, threads=threads, intersections=intersections, crossing_diameters_per_cm=other
        )
        sheet.ask(
            f"max_{name}_per_cm",
            most[name],
            f"{threads} ÷ ({threads} ÷ {num(own)} + {num(intersections)} ÷ {num(other)})",
        )
        sheet.ask(
            f"working_{name}_per_cm",
            sett.working_sett_per_cm(most[name], share_pct=working_share_pct),
            f"{num(most[name])} × {num(working_share_pct)} %",
        )
    if ends_per_cm is not None and picks_per_cm is not None:
        _tightness(sheet, ends_per_cm, picks_per_cm, most, working_share_pct)
    covers = {}
    for name, given, tex in (("warp", ends_per_cm, warp_tex), ("weft", picks_per_cm, weft_tex)):
        if given is not None:
            covers[name] = _cover(sheet, name, given, tex)
    if len(covers) == 2:
        both = sett.cloth_cover(warp_cover=covers["warp"], weft_cover=covers["weft"])
        ends, picks = num(covers["warp"]), num(covers["weft"])
        sheet.ask("cover_pct", both * 100, f"{ends} + {picks} − {ends} × {picks}")


def _weave(name: str) -> weave.Weave:
    return weave.PRESETS[name]


OF_RULE = W_("%(authority)s: %(n)s for %(yarns)s")


def _diameters(sheet: Sheet, name: str, tex: Decimal, rule: sett.SettingRule) -> Decimal:
    return sheet.put(
        name,
        sett.diameters_per_cm(tex, rule=rule),
        f"{rule.constant} × √{num(yarn.yd_per_lb(tex))} ÷ 2.54",
        source=OF_RULE % {"authority": rule.authority, "n": rule.constant, "yarns": rule.yarns},
    )


def _tightness(sheet: Sheet, ends: Decimal, picks: Decimal, most: Mapping[str, Decimal], share_pct: Decimal) -> None:
    found = sett.tightness(
        ends_per_cm=ends,
        picks_per_cm=picks,
        max_ends_per_cm=most["ends"],
        max_picks_per_cm=most["picks"],
        working_share_pct=share_pct,
    )
    sheet.put("ends_tightness_pct", found.ends_pct, f"{num(ends)} ÷ {num(most['ends'])}")
    sheet.put("picks_tightness_pct", found.picks_pct, f"{num(picks)} ÷ {num(most['picks'])}")
    sheet.ask("tightness_pct", found.mean_pct, f"({num(found.ends_pct)} % + {num(found.picks_pct)} %) ÷ 2")
    sheet.remarks += found.warnings


def _cover(sheet: Sheet, name: str, threads_per_cm: Decimal, tex: Decimal) -> Decimal:
    given = num(threads_per_cm)
    cotton = fine(yarn.convert(tex, from_system="tex", to_system="ne"))
    sheet.ask(
        f"{name}_cover_peirce",
        sett.peirce_cover_factor(threads_per_cm, count_tex=tex),
        f"{given} × 2.54 ÷ √{cotton}",
    )
    sheet.ask(
        f"{name}_cover_metric",
        sett.si_cover_factor(threads_per_cm, count_tex=tex),
        f"{given} × √{fine(tex)} ÷ 10",
    )
    diameter_mm = sett.peirce_diameter_mm(tex)
    sheet.put(f"{name}_diameter_mm", diameter_mm, f"25.4 ÷ (28 × √{cotton})")
    return sett.thread_cover(threads_per_cm, diameter_mm=diameter_mm)


@enter(
    "firmness",
    N_("As firm in another weave or yarn"),
    N_("Setting"),
    N_(
        "The sett that is as firm when the weave changes, or the yarn, or both. Setts of ends by the weft's"
        " intersections."
    ),
    Input("sett_per_cm", N_("Sett"), "number", "per_cm", "10", above=0, most=500),
    Input("from_weave", "in", "choice", default="plain", choices=WEAVES),
    Input("to_weave", N_("Into"), "choice", default="2/2 twill", choices=WEAVES),
    count_input("from_count", "Count", "2/12 nw", N_("Only where the yarn changes too."), required=False),
    count_input("to_count", N_("Into count"), "", N_("Only where the yarn changes too."), required=False),
)
def _as_firm(
    sheet: Sheet,
    *,
    sett_per_cm: Decimal,
    from_weave: str,
    to_weave: str,
    from_count: Count | None,
    to_count: Count | None,
) -> None:
    old, new = _weave(from_weave), _weave(to_weave)
    per_cm = sett.same_firmness_in_weave_per_cm(
        sett_per_cm,
        from_threads=old.repeat_ends,
        from_intersections=old.weft_intersections,
        to_threads=new.repeat_ends,
        to_intersections=new.weft_intersections,
    )
    sheet.ask(
        "weave_sett_per_cm",
        per_cm,
        f"{num(sett_per_cm)} × ({old.repeat_ends} + {num(old.weft_intersections)}) ÷ {old.repeat_ends} × "
        f"{new.repeat_ends} ÷ ({new.repeat_ends} + {num(new.weft_intersections)})",
    )
    if to_count is None:
        return
    if from_count is None:
        raise Refusal(N_("Write the count it has now too, or leave both counts empty."), field="from_count")
    was = as_tex(sheet, "from_tex", from_count, of=N_("Count as it was"))
    becomes = as_tex(sheet, "to_tex", to_count, of=N_("Count as it will be"))
    sheet.ask(
        "yarn_sett_per_cm",
        sett.same_firmness_in_yarn_per_cm(per_cm, from_tex=was, to_tex=becomes),
        f"{num(per_cm)} × √({fine(was)} ÷ {fine(becomes)})",
    )


@enter(
    "stripes",
    N_("A colour order in another sett"),
    N_("Setting"),
    N_(
        "The same pattern as large as before in another sett, or larger and smaller in the same. Stripes become whole"
        " numbers of ends and none is lost."
    ),
    Input("order", "Order", "text", default="A24 B2 A4", help=N_("A24 B2 A4; (A4 B4)x6 repeats.")),
    Input("from_per_cm", N_("Sett as it was"), "number", "per_cm", "10", above=0, most=500),
    Input("to_per_cm", N_("Sett as it will be"), "number", "per_cm", "12", above=0, most=500),
    pct_input("size_pct", N_("Size"), "100", N_("Of the pattern as it was."), least=1, below=None, most=1000),
)
def _scale(sheet: Sheet, *, order: str, from_per_cm: Decimal, to_per_cm: Decimal, size_pct: Decimal) -> None:
    stripes = cloths.read_order(order, field="order")
    if len(stripes) > MOST_STRIPES:
        raise Refusal(
            N_("The order has %(stripes)s stripes; the reckoner scales %(most)s. Write one repeat."),
            field="order",
            stripes=len(stripes),
            most=MOST_STRIPES,
        )
    times = to_per_cm * size_pct / (from_per_cm * 100)
    try:
        scaled = sett.scaled_stripes([stripe.n for stripe in stripes], times=times)
        new = tuple(cloths.Stripe(stripe.letter, n) for stripe, n in zip(stripes, scaled, strict=True))
    except Refusal as refusal:
        raise Refusal(refusal.message, field="order") from refusal
    sheet.ask(
        "scaled_order",
        cloths.write_order(new),
        f"{cloths.write_order(stripes)} × {num(to_per_cm)} ÷ {num(from_per_cm)} × {num(size_pct)} %",
    )
    for name, whole in (("repeat_was", stripes), ("repeat_is", new)):
        sheet.ask(name, cloths.order_threads(whole), " + ".join(str(stripe.n) for stripe in whole))


@enter(
    "reed",
    N_("A reed by another name"),
    N_("Setting"),
    N_("The same reed in another way of counting dents."),
    Input("reed_number", N_("Number"), "number", "number", "40", above=0, most=10_000),
    Input("from_system", N_("counted by"), "choice", default="stockport", choices=REEDS),
    Input("to_system", N_("Into"), "choice", default="metric", choices=REEDS),
    Input("ends_per_dent", N_("Ends a dent"), "whole", "ends", "2", least=1, most=24),
)
def _reed(sheet: Sheet, *, reed_number: Decimal, from_system: str, to_system: str, ends_per_dent: int) -> None:
    have, want = sett.REED_SYSTEMS[from_system], sett.REED_SYSTEMS[to_system]
    metric = sett.convert_reed(reed_number, from_system=from_system, to_system="metric")
    sheet.ask(
        "reed_dents_per_10cm",
        metric,
        f"{num(reed_number)} × {have.dents} ÷ {num(have.width_cm)} × 10",
        source=have.authority or DEFINED,
    )
    sheet.ask(
        "reed_number",
        sett.convert_reed(reed_number, from_system=from_system, to_system=to_system),
        f"{num(metric)} × {num(want.width_cm)} ÷ {want.dents} ÷ 10",
        unit=want.written[0],
        source=want.authority or DEFINED,
    )
    sheet.ask(
        "reed_sett_per_cm",
        sett.reed_sett_per_cm(metric, ends_per_dent=ends_per_dent),
        f"{num(metric)} × {ends_per_dent} ÷ 10",
    )
    sheet.remarks += [system.note for system in dict.fromkeys((have, want)) if system.note]


@enter(
    "ends",
    N_("Reed and ends"),
    N_("Setting"),
    N_(
        "From the finished width back to the reed: how wide the warp stands there, how many dents it fills, how many"
        " ends that is, and what whole dents make of the width."
    ),
    Input(
        "finished_width_cm",
        N_("Finished width"),
        "number",
        "cm",
        "150",
        N_("Between the selvedges."),
        above=0,
        most=2000,
    ),
    pct_input("width_shrink_pct", N_("Shrinkage in width"), "10", N_("In finishing, of the grey width.")),
    pct_input(
        "weaving_contraction_pct",
        N_("Weaving contraction"),
        "6",
        N_("Of the width in the reed; 3 to 10 %, from memory."),
    ),
    Input(
        "reed", N_("Reed"), "reed", default=N_("42.3 per 10 cm"), help=N_("63 per 10 cm, Stockport 40, 16 dents/in.")
    ),
    Input("ends_per_dent", N_("Ends a dent"), "whole", "ends", "2", least=1, most=24),
    Input("selvedge_ends", N_("Selvedge ends"), "whole", "ends", "0", N_("Both sides together."), least=0, most=400),
)
def _reed_and_ends(
    sheet: Sheet,
    *,
    finished_width_cm: Decimal,
    width_shrink_pct: Decimal,
    weaving_contraction_pct: Decimal,
    reed: Decimal,
    ends_per_dent: int,
    selvedge_ends: int,
) -> None:
    if selvedge_ends % 2:
        raise Refusal(
            N_("%(ends)s selvedge ends can't be halved between the two sides. Write an even number."),
            field="selvedge_ends",
            ends=selvedge_ends,
        )
    grey_cm = cloths.grey_width_cm(finished_width_cm=finished_width_cm, width_shrink_pct=width_shrink_pct)
    sheet.ask("wanted_grey_width_cm", grey_cm, f"{num(finished_width_cm)}{left('÷', (width_shrink_pct,))}")
    reed_cm = cloths.reed_width_cm(grey_width_cm=grey_cm, weaving_contraction_pct=weaving_contraction_pct)
    sheet.ask("wanted_reed_width_cm", reed_cm, f"{num(grey_cm)}{left('÷', (weaving_contraction_pct,))}")
    ground = cloths.dents_for_width(reed_width_cm=reed_cm, reed_dents_per_10cm=reed)
    if ground * ends_per_dent > MOST_ENDS:
        raise Refusal(
            N_("That is %(ends)s ends, more than the %(most)s of any warp. Check width, reed and ends a dent."),
            field="reed",
            ends=ground * ends_per_dent,
            most=MOST_ENDS,
        )
    # From what was written: a width that was cut to be shown could ask for a dent more.
    sheet.put(
        "ground_dents",
        ground,
        f"{num(finished_width_cm)}{left('÷', (width_shrink_pct, weaving_contraction_pct))} × {num(reed)} ÷ 10",
    )
    sheet.put("ground_ends", ground * ends_per_dent, f"{ground} × {ends_per_dent}")
    sides = 2 * whole_up(Decimal(selvedge_ends) / 2 / ends_per_dent)
    sheet.ask("dents", ground + sides, f"{ground} + {sides}")
    sheet.ask("ends", ground * ends_per_dent + selvedge_ends, f"{ground * ends_per_dent} + {selvedge_ends}")
    in_reed_cm = cloths.width_of_dents_cm(dents=ground + sides, reed_dents_per_10cm=reed)
    sheet.ask("reed_width_cm", in_reed_cm, f"{ground + sides} ÷ {num(reed)} × 10")
    ground_cm = cloths.width_of_dents_cm(dents=ground, reed_dents_per_10cm=reed)
    woven_cm = finishing.finished_from_grey(ground_cm, loss_pct=weaving_contraction_pct)
    sheet.ask(
        "made_width_cm",
        finishing.finished_from_grey(woven_cm, loss_pct=width_shrink_pct),
        f"{ground} ÷ {num(reed)} × 10{left('×', (weaving_contraction_pct, width_shrink_pct))}",
    )
    reed_sett = sett.reed_sett_per_cm(reed, ends_per_dent=ends_per_dent)
    grey_sett = cloths.sett_after(threads_per_cm=reed_sett, shrink_pct=weaving_contraction_pct)
    sheet.ask("reed_ends_per_cm", reed_sett, f"{num(reed)} × {ends_per_dent} ÷ 10")
    sheet.ask("grey_ends_per_cm", grey_sett, f"{num(reed_sett)}{left('÷', (weaving_contraction_pct,))}")
    sheet.ask(
        "finished_ends_per_cm",
        cloths.sett_after(threads_per_cm=grey_sett, shrink_pct=width_shrink_pct),
        f"{num(grey_sett)}{left('÷', (width_shrink_pct,))}",
    )
