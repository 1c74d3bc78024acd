"""The rooms of the chain against worked examples in print: shrinkage, mass, warp, beam, crimp, looms, sections.

Each check turns the row's own units into ours, asks the room, and turns the answer back.
"""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest

from inventory.yarn import G_PER_LB, G_PER_OZ, M_PER_YD, SYSTEMS, TEX_TIMES_YD_PER_LB
from planning import beam, cloth, finishing, loom, warp, weft
from tests.published import ROWS, Row

TOPICS = {
    "finishing shrinkage",
    "cloth weight",
    "warp length",
    "beam",
    "crimp & take-up",
    "loom production",
    "loom output",
    "preparation",
    "sections",
}
# Of "reed & ends" only the ends counted from a width; reeds by other names and drafts are in test_published.py.
ENDS_FROM_WIDTH = {"K-R12", "K-R13", "K-R17", "K-R18"}
# K-B14 is a run-in of two guide bars on a warp-knitting machine: no room of a weaving mill has that sum.
NOT_OF_A_WEAVING_MILL = {"K-B14"}

CM_PER_IN = Decimal("2.54")
M_PER_IN = CM_PER_IN / 100
IN_PER_YD = 36
# Two pages take this many inches to the metre.
ROUND_IN_PER_M = Decimal("39.37")
YD_PER_HANK = 840


def d(value: Any) -> Decimal:
    return Decimal(str(value))


def ne_tex(count: Any) -> Decimal:
    return SYSTEMS["ne"].tex_of_one / d(count)


def per_cm(per_inch: Any) -> Decimal:
    return d(per_inch) / CM_PER_IN


def yards(metres: Decimal) -> Decimal:
    return metres / M_PER_YD


def pounds(grams: Decimal) -> Decimal:
    return grams / G_PER_LB


def warp_lb(*, ends: int, yd: Any, tex: Decimal) -> Decimal:
    return pounds(warp.mass_g(length_m=warp.yarn_m(ends=ends, length_m=d(yd) * M_PER_YD), count_tex=tex))


def warp_hanks(*, ends: int, yd: Any) -> Decimal:
    return yards(warp.yarn_m(ends=ends, length_m=d(yd) * M_PER_YD)) / YD_PER_HANK


def weft_yd(*, picks: Any, inches: Any) -> Decimal:
    length_m = weft.weft_length_m(picks=int(picks), reed_width_cm=d(inches) * CM_PER_IN, tail_cm=Decimal(0))
    return yards(length_m)


def weft_lb(*, picks: Any, inches: Any, ne: Any) -> Decimal:
    length_m = weft_yd(picks=picks, inches=inches) * M_PER_YD
    return pounds(weft.mass_g(length_m=length_m, count_tex=ne_tex(ne)))


def woven_yd(*, ppm: int, ppi: Any, hours: Any, efficiency: Any = 1) -> Decimal:
    return yards(
        loom.woven_m(ppm=ppm, minutes=d(hours) * 60, loom_picks_per_cm=per_cm(ppi), efficiency_pct=d(efficiency) * 100)
    )


def running_efficiency(*, yd: Any, ppi: Any, ppm: int, hours: Any) -> Decimal:
    return loom.running_efficiency_pct(picks=d(yd) * IN_PER_YD * d(ppi), ppm=ppm, minutes=d(hours) * 60)


def wound_yd_per_h(speed_yd_per_min: Any, efficiency: Any) -> Decimal:
    metres = warp.wound_m(
        speed_m_per_min=d(speed_yd_per_min) * M_PER_YD, minutes=Decimal(60), efficiency_pct=d(efficiency) * 100
    )
    return yards(metres)


def clock_yd(*, wraps: int, teeth: int) -> Decimal:
    return yards(warp.clock_length_m(roller_m=M_PER_YD / 2, wheels=(54, 132), wraps=wraps, teeth=teeth))


def ends_in(*, inches: Any, dents_per_in: Decimal, ends_per_dent: int) -> int:
    dents = cloth.dents_for_width(
        reed_width_cm=d(inches) * CM_PER_IN, reed_dents_per_10cm=dents_per_in / CM_PER_IN * 10
    )
    return dents * ends_per_dent


def spool_yd(row: Row) -> Decimal:
    """Every section alike, so the spools of one stand for all."""
    i = row.inputs
    sections = i["w"] // i["i"]
    needs = warp.packages(
        section_ends=[{"spool": i["e"] * i["i"]}] * sections,
        length_m=d(i["k"]) * M_PER_YD,
        lost_per_section_m=d(i["c"]) * M_PER_YD,
    )
    assert needs["spool"].packages == i["e"] * i["i"]
    return yards(needs["spool"].length_m)


def brooks_piece_lb() -> Decimal:
    """Warp and size of K-W04 and the weft of F-P23, in the ounces to which Brooks rounds them."""
    sized_oz = warp.sized_g(unsized_g=d(ROWS["K-W04"].inputs["oz"]), size_add_on_pct=d(ROWS["K-W04"].inputs["pct"]))
    return pounds((sized_oz + d(ROWS["F-P23"].inputs["weft"])) * G_PER_OZ)


def size_lb(row: Row) -> Decimal:
    unsized_g, weighed_g = d(row.inputs["unsized"]) * G_PER_LB, d(row.inputs["sized"]) * G_PER_LB
    add_on_pct = warp.size_add_on_pct(unsized_g=unsized_g, sized_g=weighed_g)
    return pounds(warp.sized_g(unsized_g=unsized_g, size_add_on_pct=add_on_pct) - unsized_g)


def piece_oz(row: Row) -> Decimal:
    warp_g, size_g = d(row.inputs["warp"]) * G_PER_OZ, d(row.inputs["size"]) * G_PER_OZ
    add_on_pct = warp.size_add_on_pct(unsized_g=warp_g, sized_g=warp_g + size_g)
    return warp.sized_g(unsized_g=warp_g, size_add_on_pct=add_on_pct) / G_PER_OZ + d(row.inputs["weft"])


def warp_in(*, pieces: list[Decimal], waste: Any) -> Decimal:
    """Pieces and waste in inches."""
    metres = warp.warp_to_wind_m(
        pieces_m=[inches * M_PER_IN for inches in pieces], header_m=Decimal(0), thrums_m=d(waste) * M_PER_IN
    )
    return metres / M_PER_IN


def with_take_up_in(inches: Any, allowance: Any) -> Decimal:
    metres = warp.warp_length_per_piece_m(grey_length_m=d(inches) * M_PER_IN, warp_crimp_pct=d(allowance) * 100)
    return metres / M_PER_IN


def all_pieces_yd(row: Row) -> Decimal:
    pieces_m = [d(row.inputs["yd"]) * M_PER_YD] * row.inputs["pieces"]
    return yards(warp.warp_to_wind_m(pieces_m=pieces_m, header_m=Decimal(0), thrums_m=Decimal(0)))


def beam_yd(row: Row) -> Decimal:
    i = row.inputs
    net_kg = beam.net_kg(gross_kg=d(i["gross"]) * G_PER_LB / 1000, tare_kg=d(i["tare"]) * G_PER_LB / 1000)
    return yards(beam.length_m(yarn_kg=net_kg, ends=i["ends"], count_tex=ne_tex(i["Ne"])))


def beam_lb(row: Row) -> Decimal:
    i = row.inputs
    return pounds(beam.warp_kg(length_m=d(i["yd"]) * M_PER_YD, ends=i["ends"], count_tex=ne_tex(i["Ne"])) * 1000)


def warping_h(row: Row) -> Decimal:
    i = row.inputs
    m_per_h = wound_yd_per_h(i["ypm"], i["eff"]) * M_PER_YD
    return warp.winding_h(length_m=d(i["yd"]) * M_PER_YD * i["beams"], machines=i["m"], m_per_h=m_per_h)


def sized_ne(row: Row) -> Decimal:
    i = row.inputs
    tex = beam.count_tex(yarn_kg=d(i["sized"]) * G_PER_LB / 1000, ends=i["ends"], length_m=d(i["yd"]) * M_PER_YD)
    return SYSTEMS["ne"].tex_of_one / tex


def taylor_pct(row: Row, *, intersections_per_pick: Any = 1) -> Decimal:
    i = row.inputs
    return cloth.estimated_crimp_pct(
        intersections_per_in=d(i["ppi"]) * d(intersections_per_pick), weft_ne=d(i["weft"]), fineness=i["k"]
    )


CHECKS: dict[str, Callable[[Row], Decimal | int]] = {
    "F-F01": lambda r: finishing.loss_pct(before=d(r.inputs["loom"]), after=d(r.inputs["finished"])),
    "F-F03": lambda r: 100 - finishing.loss_pct(before=d(r.inputs["loom_yd"]), after=d(r.inputs["finished_yd"])),
    # Looms.
    "F-L01": lambda r: loom.woven_m(
        ppm=r.inputs["ppm"],
        looms=r.inputs["looms"],
        minutes=d(r.inputs["minutes"]),
        efficiency_pct=d(r.inputs["eff"]) * 100,
        loom_picks_per_cm=r.inputs["ppi"] * ROUND_IN_PER_M / 100,
    ),
    "F-L02": lambda r: woven_yd(ppm=r.inputs["ppm"], ppi=r.inputs["ppi"], hours=1),
    "F-L03": lambda r: woven_yd(ppm=r.inputs["ppm"], ppi=r.inputs["ppi"], hours=1, efficiency=r.inputs["eff"]),
    "F-L04": lambda r: loom.minutes_lost_per_100k_picks(
        (d(r.inputs[kind]), d(r.inputs[f"{kind}_min"])) for kind in ("warp", "weft", "other")
    ),
    "F-L05": lambda r: loom.efficiency_pct_from_stops(
        ppm=r.inputs["ppm"], lost_min_per_100k_picks=d(r.inputs["stopped_min"])
    ),
    "F-L06": lambda r: running_efficiency(
        yd=r.inputs["yards"],
        ppi=r.inputs["ppi"],
        ppm=r.inputs["ppm"],
        hours=r.inputs["hours"] - r.inputs["cleaning_h"],
    ),
    "F-L08": lambda r: loom.woven_m(
        ppm=r.inputs["ppm"],
        minutes=Decimal(60 * 24 * 30 * 12),
        efficiency_pct=d(r.inputs["eff"]) * 100,
        loom_picks_per_cm=r.inputs["ppi"] * ROUND_IN_PER_M / 100,
    ),
    "K-P01": lambda r: woven_yd(ppm=r.inputs["ppm"], ppi=r.inputs["ppi"], hours=1, efficiency=r.inputs["eff"]),
    "K-P02": lambda r: woven_yd(
        ppm=r.inputs["ppm"], ppi=r.inputs["ppi"], hours=r.inputs["h"], efficiency=r.inputs["eff"]
    ),
    "K-P03": lambda r: running_efficiency(
        yd=r.inputs["yd"], ppi=r.inputs["ppi"], ppm=r.inputs["ppm"], hours=r.inputs["h"]
    ),
    "K-P04": lambda r: woven_yd(
        ppm=r.inputs["ppm"], ppi=r.inputs["ppi"], hours=r.inputs["h"], efficiency=r.inputs["eff"]
    ),
    # Preparation.
    "F-P01": lambda r: wound_yd_per_h(r.inputs["speed_yd_min"], r.inputs["eff"]),
    "F-P05": lambda r: wound_yd_per_h(r.inputs["speed"], r.inputs["eff"]),
    "F-P07": lambda r: beam.kg_per_beam(total_kg=d(r.inputs["total"]) * G_PER_LB, beams=r.inputs["beams"]) / G_PER_LB,
    "F-P09": lambda r: clock_yd(wraps=r.inputs["wraps"], teeth=r.inputs["teeth"]),
    "F-P10": lambda r: cloth.order_threads(cloth.read_order(f"(A{r.inputs['per_bout']})x{r.inputs['bouts']}")),
    "F-P11": lambda r: (
        cloth.width_of_dents_cm(dents=r.inputs["ends"] // 2, reed_dents_per_10cm=per_cm(r.inputs["epi"]) * 5)
        / CM_PER_IN
    ),
    "F-P12": lambda r: cloth.width_of_dents_cm(
        dents=r.inputs["ends"] // 2, reed_dents_per_10cm=per_cm(r.inputs["epi"]) * 5
    ),
    "F-P13": lambda r: warp_lb(ends=r.inputs["ends"], yd=r.inputs["yd"], tex=ne_tex(r.inputs["count_ne"])),
    "F-P14": size_lb,
    "F-P16": sized_ne,
    "F-P20": lambda r: warp_hanks(ends=r.inputs["ends"], yd=r.inputs["yd"]),
    "F-P21": lambda r: 16 * warp_lb(ends=1, yd=d(r.inputs["hanks"]) * YD_PER_HANK, tex=ne_tex(r.inputs["count"])),
    "F-P23": piece_oz,
    "F-P25": lambda r: ends_in(inches=r.inputs["inches"], dents_per_in=Decimal(r.inputs["reed"]) / 37, ends_per_dent=1),
    "F-P27": lambda r: weft_lb(
        picks=r.inputs["picks_yd"] * r.inputs["piece_yd"], inches=r.inputs["inches"], ne=r.inputs["count"]
    ),
    "F-P28": all_pieces_yd,
    # Beams.
    "K-B01": beam_yd,
    "K-B02": lambda r: (
        yards(warp.package_length_m(mass_g=r.inputs["lb"] * G_PER_LB, count_tex=ne_tex(r.inputs["Ne"]))) / YD_PER_HANK
    ),
    "K-B03": lambda r: beam.count_tex(yarn_kg=d(r.inputs["kg"]), ends=r.inputs["ends"], length_m=d(r.inputs["m"])),
    "K-B06": beam_lb,
    "K-B07": lambda r: wound_yd_per_h(r.inputs["ypm"], r.inputs["eff"]),
    "K-B08": warping_h,
    "K-B09": lambda r: warp.package_length_m(mass_g=d(r.inputs["lb"]) * G_PER_LB, count_tex=ne_tex(r.inputs["Ne"])),
    "K-B12": lambda r: warp.full_packages(r.inputs["ends"], r.inputs["per_bag"]),
    # Length of warp.
    "K-L01": lambda r: warp_in(pieces=[with_take_up_in(r.inputs["piece"], r.inputs["allow"])], waste=r.inputs["waste"]),
    "K-L02": lambda r: warp_in(pieces=[d(r.inputs["each"])] * r.inputs["n"], waste=r.inputs["waste"]),
    "K-L03": lambda r: yards(warp.yarn_m(ends=r.inputs["ends"], length_m=d(r.inputs["yd"]) * M_PER_YD)),
    "K-L05": all_pieces_yd,
    "K-L06": lambda r: yards(
        warp.clock_length_m(
            roller_m=d(r.inputs["circ"]) * M_PER_YD, wheels=(r.inputs["a"], r.inputs["b"]), wraps=1, teeth=0
        )
    ),
    "K-L07": lambda r: clock_yd(wraps=r.inputs["wraps"], teeth=r.inputs["teeth"]),
    # Sections.
    "K-S01": spool_yd,
    "K-S02": spool_yd,
    # Crimp.
    "K-T01": lambda r: cloth.crimp_pct(yarn_m=d(r.inputs["L"]), cloth_m=d(r.inputs["S"])),
    "K-T04": lambda r: cloth.cloth_length_m(yarn_m=d(r.inputs["L"]), crimp_pct=d(r.inputs["c"]) * 100),
    "K-T05": lambda r: cloth.crimp_pct(yarn_m=d(r.inputs["L"]), cloth_m=d(r.inputs["S"])),
    "K-T06": lambda r: cloth.yarn_length_m(cloth_m=d(r.inputs["cloth"]), crimp_pct=d(r.inputs["regain"])),
    "K-T07": lambda r: taylor_pct(r, intersections_per_pick=Decimal(2) / 5),
    "K-T09": taylor_pct,
    "K-T10": taylor_pct,
    "K-T11": lambda r: cloth.jammed_crimp_pct(),
    "K-T13": lambda r: cloth.yarn_per_crossing_cm(threads_per_cm=d(r.inputs["ppcm"]), crimp_pct=d(r.inputs["c"]) * 100),
    # Mass.
    "K-W02": lambda r: warp_lb(ends=r.inputs["ends"], yd=r.inputs["yd"], tex=ne_tex(r.inputs["Ne"])),
    "K-W03": lambda r: weft_lb(
        picks=r.inputs["ppi"] * IN_PER_YD * r.inputs["yd"], inches=r.inputs["width"], ne=r.inputs["Ne"]
    ),
    "K-W04": lambda r: (
        warp.sized_g(unsized_g=d(r.inputs["oz"]), size_add_on_pct=d(r.inputs["pct"])) - d(r.inputs["oz"])
    ),
    "K-W05": lambda r: brooks_piece_lb(),
    "K-W08": lambda r: warp_lb(ends=r.inputs["ends"], yd=r.inputs["yd"], tex=ne_tex(r.inputs["Ne"])),
    "K-W09": lambda r: weft_lb(
        picks=r.inputs["picks_per_yd"] * r.inputs["yd"], inches=r.inputs["width"], ne=r.inputs["Ne"]
    ),
    "K-W11": lambda r: warp_hanks(ends=r.inputs["ends"], yd=r.inputs["yd"]),
    "K-W12": lambda r: weft_yd(picks=r.inputs["ppi"] * IN_PER_YD * r.inputs["yd"], inches=r.inputs["width"]),
    "K-W13": lambda r: cloth.mass_g_per_m2(
        ends_per_cm=d(r.inputs["epcm"]),
        warp_tex=d(r.inputs["tex"][0]),
        warp_crimp_pct=d(r.inputs["c"][0]) * 100,
        picks_per_cm=d(r.inputs["ppcm"]),
        weft_tex=d(r.inputs["tex"][1]),
        weft_crimp_pct=d(r.inputs["c"][1]) * 100,
    ),
    "K-W14": lambda r: cloth.square_sett_per_cm(
        g_per_m2=d(r.inputs["gsm"]), count_tex=ne_tex(r.inputs["Ne"]), crimp_pct=d(r.inputs["c"]) * 100
    ),
    # One end an inch of count 1 and nothing else.
    "K-W16": lambda r: cloth.mass_g_per_m2(
        ends_per_cm=per_cm(1),
        warp_tex=ne_tex(1),
        warp_crimp_pct=Decimal(0),
        picks_per_cm=Decimal(0),
        weft_tex=ne_tex(1),
        weft_crimp_pct=Decimal(0),
    ),
    "K-W17": lambda r: warp_lb(ends=r.inputs["ends"], yd=r.inputs["yd"], tex=TEX_TIMES_YD_PER_LB / r.inputs["ypp"]),
    # Ends from a width.
    "K-R12": lambda r: ends_in(inches=r.inputs["width_in"], dents_per_in=d(r.inputs["S"]) / 2, ends_per_dent=2),
    "K-R13": lambda r: ends_in(inches=r.inputs["width"], dents_per_in=d(r.inputs["reed"]) / 37, ends_per_dent=2),
    "K-R17": lambda r: cloth.dents_for_width(
        reed_width_cm=cloth.reed_width_cm(
            grey_width_cm=d(r.inputs["width"]),
            weaving_contraction_pct=finishing.loss_pct_from_allowance(d(r.inputs["shr"]) * 100),
        ),
        reed_dents_per_10cm=d(r.inputs["epcm"]) * 10,
    ),
    "K-R18": lambda r: ends_in(inches=r.inputs["width"], dents_per_in=d(r.inputs["epi"]), ends_per_dent=1),
}


@pytest.mark.parametrize("row_id", CHECKS)
def test_the_rooms_agree_with_print(row_id):
    row = ROWS[row_id]
    answer = float(CHECKS[row_id](row))
    # A printed tolerance of nothing still allows what 28 digits leave behind when units are turned and turned back.
    allowed = max(row.tolerance, 1e-9 * abs(row.expected))
    assert abs(answer - row.expected) <= allowed, (
        f"{row_id}: {row.formula} is {row.expected} {row.units} in print, {answer} here. {row.source}. {row.note}"
    )


def test_every_row_of_the_chain_is_checked():
    rows = {row.id for row in ROWS.values() if row.topic in TOPICS} | ENDS_FROM_WIDTH
    assert set(CHECKS) == rows - NOT_OF_A_WEAVING_MILL
