"""Every worked example and constant in print, worked again by our rooms.

CHECKS has yarn, setting, weave and piece; test_published_chain has the way from finished cloth to loom and beam.
A check hands the printed inputs to the rooms and gives back what they say. It may change units and it may put two
rooms' figures together, as a ticket does; it never works a rule out itself.
"""

from collections.abc import Callable
from decimal import Decimal

import pytest

from inventory import yarn
from planning import piece, sett, weave
from tests.published import ROWS, Row
from tests.test_published_chain import CHECKS as CHAIN_CHECKS

YD = yarn.M_PER_YD
LB = yarn.G_PER_LB
OZ = yarn.G_PER_OZ
IN = sett.CM_PER_IN

Check = Callable[[Row], Decimal]

OUT_OF_SCOPE = {
    "F-H01": "a lifting equation for people's backs: the ticket prints the gross mass and says to use a hoist",
    "F-H02": "as F-H01",
    "K-B14": "run-in of a warp knitting machine: nothing here is knitted",
}


def d(row: Row, name: str) -> Decimal:
    return Decimal(str(row.inputs[name]))


def ds(row: Row, name: str) -> list[Decimal]:
    return [Decimal(str(value)) for value in row.inputs[name]]


def tex_of(number: Decimal, system: str) -> Decimal:
    return yarn.convert(number, from_system=system, to_system="tex")


def ypp_of(text: str) -> Decimal:
    """Yards per pound of a count as it is typed."""
    return yarn.yd_per_lb(yarn.read_count(text).count_tex)


def tex_of_one(row: Row, system: str) -> Decimal:
    """Tex of number 1 of a system whose yards per pound are those that the row prints."""
    assert yarn.SYSTEMS[system].yd_per_lb == d(row, "yd_per_lb")
    return yarn.SYSTEMS[system].tex_of_one


def converted(name: str, from_system: str, to_system: str) -> Check:
    return lambda row: yarn.convert(d(row, name), from_system=from_system, to_system=to_system)


def cotton_to_worsted(row: Row) -> Decimal:
    assert yarn.SYSTEMS["ne"].yd_per_lb == d(row, "L_cotton")
    assert yarn.SYSTEMS["nw"].yd_per_lb == d(row, "L_worsted")
    return yarn.convert(d(row, "Ne_cotton"), from_system="ne", to_system="nw")


def run_of_a_length(row: Row) -> Decimal:
    mass_g = d(row, "oz") * OZ if "oz" in row.inputs else d(row, "lb") * LB
    count_tex = yarn.count_tex(mass_g=mass_g, length_m=d(row, "yd") * YD)
    return yarn.convert(count_tex, from_system="tex", to_system="run")


def galashiels_cut(row: Row) -> Decimal:
    gala = yarn.SYSTEMS["gala"]
    assert (gala.length_m, gala.mass_g) == (d(row, "yd") * YD, d(row, "oz") * OZ)
    return gala.yd_per_lb


def mean_denier(row: Row) -> Decimal:
    counts = [tex_of(den, "den") for den in ds(row, "den")]
    mean = yarn.mean_tex_of_masses(zip(ds(row, "w"), counts, strict=True))
    return yarn.convert(mean, from_system="tex", to_system="den")


def plated_count(row: Row) -> Decimal:
    # Lengths are in hanks, of any length: a worsted one here.
    hank_m = yarn.SYSTEMS["nw"].length_m
    mass_g = yarn.mass_g(length_m=d(row, "a") * hank_m, count_tex=tex_of(d(row, "Na"), "nw")) + yarn.mass_g(
        length_m=d(row, "b") * hank_m, count_tex=tex_of(d(row, "Nb"), "nw")
    )
    together_tex = yarn.count_tex(mass_g=mass_g, length_m=d(row, "hanks") * hank_m)
    return yarn.convert(together_tex, from_system="tex", to_system="nw")


def untwisted_km(row: Row) -> Decimal:
    # Printed as untwisted over twisted length; a take-up is what is lost of the untwisted.
    take_up_pct = 100 - 100 / d(row, "factor")
    folded_m = yarn.length_m(mass_g=d(row, "t") * 1_000_000, count_tex=d(row, "tex"))
    return yarn.singles_length_m(folded_length_m=folded_m, take_up_pct=take_up_pct) / 1000


def invoice_kg(row: Row) -> Decimal:
    """The row prints moisture content and regain as fractions."""
    return (
        yarn.invoice_mass_g(
            net_mass_g=d(row, "M") * 1000,
            measured_regain_pct=yarn.regain_from_content_pct(d(row, "content") * 100),
            agreed_regain_pct=d(row, "R") * 100,
        )
        / 1000
    )


def invoice_kg_of_dry(row: Row) -> Decimal:
    net_mass_g = d(row, "dry") * 1000
    grams = yarn.invoice_mass_g(
        net_mass_g=net_mass_g, measured_regain_pct=Decimal(0), agreed_regain_pct=d(row, "R") * 100
    )
    return grams / 1000


def blend_regain(row: Row) -> Decimal:
    shares = [(share * 100, regain) for share, regain in zip(ds(row, "w"), ds(row, "R"), strict=True)]
    return yarn.blend_regain_pct(shares)


def content_of_regain(row: Row) -> Decimal:
    return yarn.moisture_content_pct(d(row, "R"))


def cover_of_a_square_cloth(row: Row) -> Decimal:
    diameter_mm = sett.peirce_diameter_mm(tex_of(d(row, "Ne"), "ne"))
    cover = sett.thread_cover(d(row, "n"), diameter_mm=diameter_mm)
    return 100 * sett.cloth_cover(warp_cover=cover, weft_cover=cover)


def si_over_peirce(row: Row) -> Decimal:
    threads_per_cm, count_tex = Decimal(20), Decimal(50)
    si = sett.si_cover_factor(threads_per_cm, count_tex=count_tex)
    return si / sett.peirce_cover_factor(threads_per_cm, count_tex=count_tex)


def diameters_per_in(row: Row) -> Decimal:
    count_tex = yarn.convert(d(row, "ypp") / yarn.SYSTEMS["nw"].yd_per_lb, from_system="nw", to_system="tex")
    return sett.diameters_per_cm(count_tex, rule=sett.SETTING_RULES["ashenhurst"]) * IN


def taylor_table(row: Row) -> Decimal:
    # Taylor's table prints whole diameters; he takes those of 15s as half of those of 60s, four times as fine.
    rule = sett.SETTING_RULES["taylor-cotton"]
    per_in = sett.diameters_per_cm(tex_of(4 * d(row, "Ne"), "ne"), rule=rule) * IN
    return per_in.quantize(Decimal(1)) / 2


def same_firmness(row: Row) -> Decimal:
    (e1, i1), (e2, i2) = (map(int, row.inputs[name].split("+")) for name in ("a", "b"))
    # The repeats as printed are those of our own weaves: plain over four ends has four intersections, twill has two.
    plain, twill = weave.plain(), weave.twill(2, 2)
    assert (2 * plain.repeat_ends, 2 * plain.weft_intersections) == (e1, i1)
    assert (twill.repeat_ends, twill.weft_intersections) == (e2, i2)
    return sett.same_firmness_in_weave_per_cm(
        d(row, "n1"),
        from_threads=plain.repeat_ends,
        from_intersections=plain.weft_intersections,
        to_threads=twill.repeat_ends,
        to_intersections=twill.weft_intersections,
    )


def plain_sett(diameters: Decimal) -> Decimal:
    plain = weave.plain()
    return sett.max_sett_per_cm(diameters, threads=plain.repeat_ends, intersections=plain.weft_intersections)


def faults(*n_by_points: int) -> list[piece.Fault]:
    """So many faults of 1, 2, 3 and 4 points, each on its own yard."""
    lengths_in = [2, 5, 8, 11]
    found = [length for length, n in zip(lengths_in, n_by_points, strict=True) for _ in range(n)]
    return [piece.Fault(at_yd * YD, length * piece.MM_PER_IN) for at_yd, length in enumerate(found)]


def points_of(*n_by_points: int) -> Decimal:
    # The last of the row's five terms is a hole above an inch: four points too.
    hole = piece.Fault(50 * YD, 2 * piece.MM_PER_IN, is_hole=True)
    return Decimal(piece.piece_points([*faults(*n_by_points), hole], bands=piece.INCH_BANDS))


def irregular_draft(row: Row) -> Decimal:
    ends_of_shaft = row.inputs["draft"]
    threading = [shaft for shaft, ends in enumerate(ends_of_shaft, start=1) for _ in range(ends)]
    drafted = weave.Weave.of(threading, [range(1, len(ends_of_shaft) + 1)])
    healds = drafted.healds_per_shaft(drafted.repeat_ends * row.inputs["patterns"])
    assert healds == (5, 10, 15, 20, 10)  # printed beside it
    return Decimal(sum(healds))


CHECKS: dict[str, Check] = {
    # count conversion
    "K-C01": cotton_to_worsted,
    "K-C02": converted("tex", "tex", "ne"),
    "K-C04": lambda row: tex_of_one(row, "nw"),
    "K-C09": converted("Ne", "ne", "run"),
    "K-C12": converted("Ne", "ne", "lea"),
    "K-C13": converted("Ne", "ne", "nf"),
    "K-C14": converted("grains", "grain-120yd", "ne"),
    "K-C15": converted("Ne", "ne", "grain-120yd"),
    "K-C16": lambda row: yarn.mass_g(length_m=d(row, "yd") * YD, count_tex=tex_of(d(row, "Ne"), "ne")) / LB,
    "K-C18": lambda row: yarn.mass_g(length_m=d(row, "yd") * YD, count_tex=tex_of(d(row, "run"), "run")) / OZ,
    "K-C19": run_of_a_length,
    "K-C20": run_of_a_length,
    "K-C21": converted("Nw", "nw", "ysw"),
    "K-C22": converted("YSW", "ysw", "nw"),
    "K-C24": galashiels_cut,
    "K-C27": lambda row: ypp_of(f"{row.inputs['Nw']} nw"),
    "K-C29": lambda row: ypp_of(f"{row.inputs['plies']}/{row.inputs['Nw']} nw"),
    "K-C30": lambda row: ypp_of(f"{row.inputs['Ne']}/{row.inputs['plies']} cotton"),
    "K-C31": lambda row: ypp_of(f"{row.inputs['plies']}/{row.inputs['Nw']} worsted"),
    "K-C33": converted("denier", "den", "tex"),
    "K-C36": lambda row: tex_of_one(row, "ysw"),
    "K-C37": lambda row: tex_of_one(row, "alloa-480"),
    "K-C39": lambda row: tex_of(d(row, "dram"), "dram"),
    "K-C41": converted("tex", "tex", "ne"),
    "K-C43": lambda row: ypp_of(f"{row.inputs['denier']} old denier") / 16,
    "K-C44": lambda row: ypp_of(f"{row.inputs['drams']} dram") / 16,
    "K-C45": lambda row: yarn.length_m(mass_g=d(row, "g"), count_tex=d(row, "tex")),
    "K-C47": lambda row: (
        yarn.length_m(mass_g=d(row, "kg") * 1000, count_tex=yarn.read_count(f"{row.inputs['dtex']} dtex").count_tex)
        / 1000
    ),
    "K-C49": mean_denier,
    "K-C50": converted("Ne", "ne", "grain-120yd"),
    "K-C51": lambda row: tex_of(d(row, "Ne"), "ne"),
    "K-C52": lambda row: tex_of(d(row, "jute"), "jute"),
    "K-C54": lambda row: yarn.mean_tex_of_masses(zip(ds(row, "kg"), ds(row, "tex"), strict=True)),
    # folded yarn
    "K-F01": lambda row: yarn.folded_count(ds(row, "N")),
    "K-F02": lambda row: yarn.folded_count(ds(row, "N")),
    "K-F03": lambda row: yarn.folded_count(ds(row, "N")),
    "K-F05": lambda row: yarn.folded_count(ds(row, "N")),
    "K-F06": lambda row: yarn.mean_count_of_lengths(ds(row, "N")),
    "K-F07": lambda row: yarn.missing_ply(known_count=d(row, "A"), resultant_count=d(row, "R")),
    "K-F08": lambda row: yarn.folded_count(ds(row, "N")),
    "K-F12": untwisted_km,
    "K-F13": plated_count,
    # moisture regain, yarn stock and regain
    "K-G02": content_of_regain,
    "K-G03": invoice_kg,
    "K-G05": content_of_regain,
    "K-G07": blend_regain,
    "K-G08": blend_regain,
    "K-G09": invoice_kg,
    "K-G11": content_of_regain,
    "K-G12": content_of_regain,
    "F-S02": content_of_regain,
    "F-S04": invoice_kg_of_dry,
    # cover factor
    "K-K02": si_over_peirce,
    "K-K03": cover_of_a_square_cloth,
    "K-K04": lambda row: sett.peirce_diameter_mm(tex_of(d(row, "Ne"), "ne")) / sett.MM_PER_IN,
    "K-K05": lambda row: 100 * sett.yarn_diameter_mm(d(row, "tex"), fibre_density_g_per_cm3=d(row, "rho")),
    # maximum sett
    "K-M01": diameters_per_in,
    "K-M02": lambda row: plain_sett(d(row, "D")),
    "K-M06": taylor_table,
    "K-M07": same_firmness,
    "K-M08": lambda row: plain_sett(d(row, "wraps_cm")),
    "K-M09": lambda row: plain_sett(sett.diameters_from_wraps_per_cm(d(row, "wraps"))),
    # piece inspection
    "F-I02": lambda row: piece.points_per_100_yd2(
        row.inputs["points"], length_m=d(row, "yd") * YD, width_cm=d(row, "inches") * IN
    ),
    "F-I03": lambda row: points_of(4, 3, 2, 1),
    "F-I04": lambda row: points_of(6, 5, 2, 1),
    "F-I05": lambda row: piece.length_m_of_mass(
        d(row, "kg") * 1000, g_per_m2=d(row, "gsm"), width_cm=d(row, "inches") * IN
    ),
    # reed & ends: what follows from the reed's number alone
    "K-R03": lambda row: (
        sett.dents_in_width(sett.dents_per_10cm(d(row, "reed"), system="scotch"), width_cm=37 * IN) * 2
    ),
    "K-R04": lambda row: sett.dents_in_width(
        sett.dents_per_10cm(d(row, "S"), system="stockport"), width_cm=Decimal("24.25") * IN
    ),
    "K-R05": lambda row: sett.convert_reed(1, from_system="stockport", to_system="bolton"),
    "K-R06": lambda row: sett.convert_reed(1, from_system="bolton", to_system="stockport"),
    "K-R09": lambda row: sett.convert_reed(d(row, "radcliffe"), from_system="radcliffe", to_system="stockport"),
    "K-R11": lambda row: (
        sett.reed_sett_per_cm(
            sett.read_reed(f"Stockport {row.inputs['S']}"),
            ends_per_dent=row.inputs["epd"],
        )
        * IN
    ),
    "K-R15": irregular_draft,
    # colour pattern: the fourth stripe is the one printed as the answer
    "K-Q01": lambda row: Decimal(sett.scaled_stripes(row.inputs["counts"], times=row.inputs["k"])[3]),
}


@pytest.mark.parametrize("row", [ROWS[id] for id in CHECKS], ids=lambda row: row.id)
def test_the_rooms_work_out_what_is_in_print(row):
    computed = float(CHECKS[row.id](row))
    assert abs(computed - row.expected) <= row.tolerance, (
        f"{row.id} {row.topic}: {row.formula} with {row.inputs} gives {computed} {row.units} here, "
        f"{row.expected} (± {row.tolerance}) in {row.source}. {row.note}"
    )


def test_every_row_in_print_is_checked_once_or_left_out_for_a_reason():
    parts = [set(CHECKS), set(CHAIN_CHECKS), set(OUT_OF_SCOPE)]
    checked_twice = (parts[0] & parts[1]) | (parts[0] & parts[2]) | (parts[1] & parts[2])
    assert not checked_twice
    assert set.union(*parts) == set(ROWS)
    assert all(OUT_OF_SCOPE.values())
