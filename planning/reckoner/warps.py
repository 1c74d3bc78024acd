"""The reckoner's sums of warp and weft: crimp, length, mass, sections, beam. Knows no order."""

from decimal import Decimal

from inventory.yarn import Count
from mill.refusal import N_, Refusal
from mill.working import W_
from planning import beam as beams
from planning import cloth as cloths
from planning import finishing, warp, weft
from planning.reckoner.common import (
    CONE,
    ENDS,
    GREY_LENGTH,
    MOST_ENDS,
    PICKS,
    WARP_LENGTH,
    as_tex,
    count_input,
    issue,
    lay_picks,
    pct_input,
)
from planning.reckoner.sheet import Input, Sheet, enter, fine, left, num, rounded, whole_near, whole_up


@enter(
    "crimp",
    N_("Crimp of a drawn yarn"),
    N_("Warp and weft"),
    N_(
        "A yarn drawn from a marked length of cloth and straightened. Crimp is a share of the cloth's length, take-up"
        " of the yarn's: one loss, two numbers."
    ),
    Input("yarn_cm", N_("Yarn, straightened"), "number", "cm", "21.2", above=0, most=10_000),
    Input("cloth_cm", N_("Cloth it came from"), "number", "cm", "20", above=0, most=10_000),
)
def _crimp(sheet: Sheet, *, yarn_cm: Decimal, cloth_cm: Decimal) -> None:
    if yarn_cm < cloth_cm:
        raise Refusal(
            N_(
                "%(yarn)s cm of yarn from %(cloth)s cm of cloth: a straightened yarn is never the shorter. Measure"
                " again."
            ),
            field="yarn_cm",
            yarn=Decimal(num(yarn_cm)),
            cloth=Decimal(num(cloth_cm)),
        )
    crimp_pct = cloths.crimp_pct(yarn_m=yarn_cm / 100, cloth_m=cloth_cm / 100)
    sheet.ask("crimp_pct", crimp_pct, f"({num(yarn_cm)} − {num(cloth_cm)}) ÷ {num(cloth_cm)}")
    _take_up(sheet, crimp_pct)


def _take_up(sheet: Sheet, crimp_pct: Decimal) -> None:
    said = num(crimp_pct)
    sheet.ask("take_up_pct", cloths.take_up_pct_from_crimp(crimp_pct), f"{said} % ÷ (1 + {said} %)")


@enter(
    "take-up",
    N_("Take-up into crimp"),
    N_("Warp and weft"),
    N_(
        "A loss measured on the yarn's length, put on the cloth's, as every sum here takes it: 7 % of the yarn are 7.53"
        " % of the cloth."
    ),
    pct_input("take_up_pct", N_("Take-up"), "7", N_("Of yarn length.")),
)
def _crimp_of_take_up(sheet: Sheet, *, take_up_pct: Decimal) -> None:
    said = num(take_up_pct)
    crimp_pct = cloths.crimp_pct_from_take_up(take_up_pct)
    sheet.ask("crimp_pct", crimp_pct, f"{said} % ÷ (1 − {said} %)", rule="crimp_of_take_up_pct")


@enter(
    "warp-length",
    N_("Warp length"),
    N_("Warp and weft"),
    N_("From finished pieces to the length to wind: shrinkage and crimp for each piece, a header each, thrums once."),
    Input("finished_length_m", N_("Finished length of a piece"), "number", "m", "60", above=0, most=100_000),
    Input("pieces", N_("Pieces"), "whole", "pieces", "2", least=1, most=10_000),
    pct_input("length_shrink_pct", N_("Shrinkage in length"), "6", N_("In finishing, of the grey length.")),
    pct_input("warp_crimp_pct", N_("Warp crimp"), "7", N_("Of cloth length; 4 to 12 %, from memory.")),
    Input("header_m", N_("Header"), "number", "m", "0.5", N_("Header and cut mark, each piece."), least=0, most=1000),
    Input("thrums_m", N_("Thrums"), "number", "m", "3", N_("Tie-on and thrums, once a warp."), least=0, most=1000),
)
def _warp_length(
    sheet: Sheet,
    *,
    finished_length_m: Decimal,
    pieces: int,
    length_shrink_pct: Decimal,
    warp_crimp_pct: Decimal,
    header_m: Decimal,
    thrums_m: Decimal,
) -> None:
    grey_m = finishing.grey_from_finished(finished_length_m, loss_pct=length_shrink_pct)
    sheet.ask("grey_length_m", grey_m, f"{num(finished_length_m)}{left('÷', (length_shrink_pct,))}")
    piece_m = warp.warp_length_per_piece_m(grey_length_m=grey_m, warp_crimp_pct=warp_crimp_pct)
    sheet.ask("warp_length_per_piece_m", piece_m, f"{num(grey_m)} × (1 + {num(warp_crimp_pct)} %)")
    sheet.put("headers_m", pieces * header_m, f"{pieces} × {num(header_m)}")
    sheet.ask(
        "warp_length_m",
        warp.warp_to_wind_m(pieces_m=[piece_m] * pieces, header_m=header_m, thrums_m=thrums_m),
        f"{pieces} × {num(piece_m)} + {num(pieces * header_m)} + {num(thrums_m)}",
    )


@enter(
    "warp-mass",
    N_("Warp mass"),
    N_("Warp and weft"),
    N_(
        "The yarn of a warp: what it weighs, what to issue with waste, and sized. Waste is a share of the issue, so the"
        " net is divided by what is left."
    ),
    ENDS,
    WARP_LENGTH,
    count_input("count", "Count", "8 nm"),
    pct_input("warp_waste_pct", N_("Waste"), "2", N_("Of the yarn issued; 2 %, from memory.")),
    pct_input("size_add_on_pct", N_("Size add-on"), "0", N_("Of the unsized warp.")),
    CONE,
)
def _warp_mass(
    sheet: Sheet,
    *,
    ends: int,
    warp_length_m: Decimal,
    count: Count,
    warp_waste_pct: Decimal,
    size_add_on_pct: Decimal,
    cone_g: Decimal,
) -> None:
    tex = as_tex(sheet, "count_tex", count)
    length_m = warp.yarn_m(ends=ends, length_m=warp_length_m)
    sheet.ask("warp_yarn_m", length_m, f"{ends} × {num(warp_length_m)}")
    net_g = issue(sheet, length_m, tex, waste_pct=warp_waste_pct, cone_g=cone_g)
    sheet.ask(
        "sized_g",
        whole_up(warp.sized_g(unsized_g=net_g, size_add_on_pct=size_add_on_pct)),
        f"{net_g} × (1 + {num(size_add_on_pct)} %)",
    )


@enter(
    "weft-mass",
    N_("Weft mass"),
    N_("Warp and weft"),
    N_(
        "The weft of a length of cloth. It is laid at the width in the reed, not at that of the cloth, and a"
        " shuttleless loom cuts tails from every pick."
    ),
    GREY_LENGTH,
    PICKS,
    Input("reed_width_cm", N_("Width in the reed"), "number", "cm", "177.4", N_("With selvedges."), above=0, most=2000),
    Input(
        "tail_cm",
        N_("Cut tails"),
        "number",
        "cm",
        "8",
        N_("Of a pick, both sides; 0 for a shuttle."),
        least=0,
        most=200,
    ),
    count_input("count", "Count", "8 nm"),
    pct_input("weft_waste_pct", N_("Waste"), "5", N_("Of the yarn issued; 5 %, from memory.")),
    CONE,
)
def _weft_mass(
    sheet: Sheet,
    *,
    grey_length_m: Decimal,
    picks_per_cm: Decimal,
    reed_width_cm: Decimal,
    tail_cm: Decimal,
    count: Count,
    weft_waste_pct: Decimal,
    cone_g: Decimal,
) -> None:
    tex = as_tex(sheet, "count_tex", count)
    picks = lay_picks(sheet, grey_length_m, picks_per_cm)
    length_m = weft.weft_length_m(picks=picks, reed_width_cm=reed_width_cm, tail_cm=tail_cm)
    sheet.ask("weft_yarn_m", length_m, f"{picks} × ({num(reed_width_cm)} + {num(tail_cm)}) cm ÷ 100")
    issue(sheet, length_m, tex, waste_pct=weft_waste_pct, cone_g=cone_g)


@enter(
    "warping",
    N_("Sections and warping time"),
    N_("Warp and weft"),
    N_(
        "How the ends go on the drum in sections, what the creel needs for them, and the minutes from an empty creel to"
        " a full beam. Creel and section changes matter, the drum's speed hardly."
    ),
    ENDS,
    Input(
        "selvedge_ends",
        N_("Selvedge ends"),
        "whole",
        "ends",
        "0",
        N_("Of these, both sides together."),
        least=0,
        most=400,
    ),
    Input("repeat_ends", N_("Colour repeat"), "whole", "ends", "1", least=1, most=MOST_ENDS),
    Input("ends_per_section", N_("Places in the creel"), "whole", "packages", "300", least=1, most=MOST_ENDS),
    WARP_LENGTH,
    Input("lost_per_section_m", N_("Cut away at each section"), "number", "m", "0", least=0, most=100),
    Input("creel_load_min", N_("Loading the creel"), "number", "min", "75", N_("From memory."), least=0, most=10_000),
    Input("section_change_min", N_("Section change"), "number", "min", "8", N_("From memory."), least=0, most=1000),
    Input("drum_m_per_min", N_("Drum"), "number", "m_per_min", "250", N_("From memory."), above=0, most=5000),
    Input("beaming_m_per_min", N_("Beaming"), "number", "m_per_min", "40", N_("From memory."), above=0, most=5000),
    Input("doff_min", N_("Doffing"), "number", "min", "15", N_("From memory."), least=0, most=1000),
)
def _warping(
    sheet: Sheet,
    *,
    ends: int,
    selvedge_ends: int,
    repeat_ends: int,
    ends_per_section: int,
    warp_length_m: Decimal,
    lost_per_section_m: Decimal,
    creel_load_min: Decimal,
    section_change_min: Decimal,
    drum_m_per_min: Decimal,
    beaming_m_per_min: Decimal,
    doff_min: Decimal,
) -> None:
    if selvedge_ends >= ends or selvedge_ends % 2:
        raise Refusal(
            N_("%(selvedges)s of %(ends)s ends can't be selvedges. Write an even number below %(ends)s."),
            field="selvedge_ends",
            selvedges=selvedge_ends,
            ends=ends,
        )
    sizes = warp.sections(
        ground_ends=ends - selvedge_ends,
        selvedge_ends=selvedge_ends,
        repeat_ends=repeat_ends,
        ends_per_section=ends_per_section,
    )
    sheet.ask("sections", len(sizes), " + ".join(_runs(sizes)))
    creel = warp.packages(
        section_ends=[{"": size} for size in sizes], length_m=warp_length_m, lost_per_section_m=lost_per_section_m
    )[""]
    sheet.ask("creel_packages", creel.packages, LARGEST % {"sections": ", ".join(_runs(sizes))})
    sheet.ask("run_off_m", creel.length_m, f"{len(sizes)} × ({num(warp_length_m)} + {num(lost_per_section_m)})")
    sheet.ask(
        "warping_min",
        warp.warping_min(
            sections=len(sizes),
            length_m=warp_length_m,
            creel_load_min=creel_load_min,
            section_change_min=section_change_min,
            drum_m_per_min=drum_m_per_min,
            beaming_m_per_min=beaming_m_per_min,
            doff_min=doff_min,
        ),
        f"{num(creel_load_min)} + {len(sizes)} × ({num(warp_length_m)} ÷ {num(drum_m_per_min)} + "
        f"{num(section_change_min)}) + {num(warp_length_m)} ÷ {num(beaming_m_per_min)} + {num(doff_min)}",
    )


def _runs(sizes: tuple[int, ...]) -> list[str]:
    """Equal neighbours drawn together: 4 × 260, 200."""
    runs: list[list[int]] = []
    for size in sizes:
        if runs and runs[-1][1] == size:
            runs[-1][0] += 1
        else:
            runs.append([1, size])
    return [f"{n} × {size}" if n > 1 else str(size) for n, size in runs]


LARGEST = W_("the largest of %(sections)s")
TOO_HEAVY = W_("The warp is %(n)s kg, the beam holds %(n_most)s kg: choose another beam, or split the warp.")
_BEAM = (
    Input("beam_width_cm", N_("Beam between its flanges"), "number", "cm", "178", above=0, most=2000),
    Input("barrel_mm", N_("Barrel"), "number", "mm", "180", N_("Diameter, to the mm."), above=0, most=5000),
    Input("flange_mm", N_("Flanges"), "number", "mm", "760", N_("Diameter, to the mm."), above=0, most=5000),
    Input("tare_kg", N_("Empty beam"), "number", "kg", "95", least=0, most=10_000),
    Input(
        "beam_density_kg_per_m3",
        N_("Yarn on the beam"),
        "number",
        "kg_per_m3",
        "400",
        N_("Woollen 350–450, worsted 400–500, linen 500–600, from memory: weigh one."),
        above=0,
        most=3000,
    ),
)


@enter(
    "beam",
    N_("Beam load"),
    N_("Warp and weft"),
    N_("What a beam holds to its flanges, how thick a warp stands on it, and what the hoist lifts."),
    *_BEAM,
    ENDS,
    count_input("count", "Count", "8 nm", N_("Sized, where the warp is sized.")),
    WARP_LENGTH,
)
def _beam_load(
    sheet: Sheet,
    *,
    beam_width_cm: Decimal,
    barrel_mm: Decimal,
    flange_mm: Decimal,
    tare_kg: Decimal,
    beam_density_kg_per_m3: Decimal,
    ends: int,
    count: Count,
    warp_length_m: Decimal,
) -> None:
    barrel, flange = whole_near(barrel_mm), whole_near(flange_mm)
    if not 0 < barrel < flange:
        raise Refusal(
            N_(
                "A barrel of %(barrel)s mm in flanges of %(flange)s mm holds nothing. Write the larger one for the"
                " flanges."
            ),
            field="flange_mm",
            barrel=barrel,
            flange=flange,
        )
    facts = beams.BeamFacts("", beam_width_cm, barrel, flange, tare_kg)
    barrel_m, flange_m = num(Decimal(barrel) / 1000), num(Decimal(flange) / 1000)
    density = beam_density_kg_per_m3
    tex = as_tex(sheet, "count_tex", count)
    metre_g = beams.warp_kg(length_m=Decimal(1), ends=ends, count_tex=tex) * 1000
    capacity_kg = beams.capacity_kg(facts, density_kg_per_m3=density)
    sheet.ask(
        "capacity_kg",
        capacity_kg,
        f"π ÷ 4 × ({flange_m}² − {barrel_m}²) × {num(beam_width_cm / 100)} × {num(density)}",
    )
    sheet.put("g_per_m", metre_g, f"{ends} × {fine(tex)} ÷ 1000")
    sheet.ask(
        "capacity_m",
        beams.capacity_m(facts, density_kg_per_m3=density, g_per_m=metre_g),
        f"{num(capacity_kg)} × 1000 ÷ {num(metre_g)}",
    )
    yarn_kg = beams.warp_kg(length_m=warp_length_m, ends=ends, count_tex=tex)
    sheet.ask("warp_kg", yarn_kg, f"{num(warp_length_m)} × {num(metre_g)} ÷ 1000")
    sheet.ask(
        "beam_diameter_mm",
        whole_up(beams.diameter_mm(facts, yarn_kg=yarn_kg, density_kg_per_m3=density)),
        f"√({barrel_m}² + 4 ÷ π × {num(yarn_kg)} ÷ ({num(density)} × {num(beam_width_cm / 100)})) × 1000",
    )
    sheet.ask("beam_gross_kg", beams.gross_kg(facts, yarn_kg=yarn_kg), f"{num(tare_kg)} + {num(yarn_kg)}")
    if yarn_kg > capacity_kg:
        sheet.remarks.append(
            TOO_HEAVY % {"n": num(rounded(yarn_kg, "warp_kg")), "n_most": num(rounded(capacity_kg, "capacity_kg"))}
        )


@enter(
    "beam-length",
    N_("Warp on a weighed beam"),
    N_("Warp and weft"),
    N_("How much warp is left on a beam, from what it weighs."),
    Input("gross_kg", N_("Full"), "number", "kg", "369 lb", above=0, most=20_000),
    Input("tare_kg", N_("Empty beam"), "number", "kg", "69 lb", least=0, most=10_000),
    Input("ends", N_("Ends"), "whole", "ends", "420", least=1, most=MOST_ENDS),
    count_input("count", "Count", "20 ne", N_("Sized, where the warp is sized.")),
)
def _beam_length(sheet: Sheet, *, gross_kg: Decimal, tare_kg: Decimal, ends: int, count: Count) -> None:
    tex = as_tex(sheet, "count_tex", count)
    yarn_kg = beams.net_kg(gross_kg=gross_kg, tare_kg=tare_kg)
    sheet.ask("beam_net_kg", yarn_kg, f"{num(gross_kg)} − {num(tare_kg)}")
    sheet.ask(
        "beam_m",
        beams.length_m(yarn_kg=yarn_kg, ends=ends, count_tex=tex),
        f"{num(yarn_kg)} × 1 000 000 ÷ ({ends} × {fine(tex)})",
    )
