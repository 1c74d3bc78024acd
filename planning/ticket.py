"""The ticket: every room called once, every figure rounded once. Knows no database, page or paper."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal
from functools import cache
from types import NoneType, UnionType
from typing import Any, get_args, get_origin, get_type_hints

from mill.refusal import N_, Refusal
from mill.working import W_, Step, V, Working, written
from planning import beam as beams
from planning import cloth as cloths
from planning import finishing, gaiting, sett, warp, weft
from planning import loom as looms
from planning.beam import BeamFacts
from planning.cloth import Cloth, Stripe, YarnUse
from planning.formulae import FORMULAE
from planning.loom import LoomFacts
from planning.weave import Weave

__all__ = [
    "BeamFacts",
    "ClothFigures",
    "CreelRow",
    "Figures",
    "LoomFacts",
    "MillFacts",
    "RouteTarget",
    "Run",
    "RunFigures",
    "Section",
    "YarnNeed",
    "from_json",
    "gaiting_facts",
    "loom_needs",
    "to_json",
    "widths_after_steps_cm",
    "without_words",
    "work_out",
    "work_out_cloth",
]


@dataclass(frozen=True, slots=True)
class MillFacts:
    """What the mill has measured of itself.

    thrums_m                 warp that never becomes cloth: tie-on and the last ends; once a warp
    header_m                 woven between pieces for the cut mark; once a piece
    ends_per_section         places in the creel
    cone_g                   grams of yarn on a full cone
    beam_density_kg_per_m3   of the warp as it lies on the beam
    """

    thrums_m: Decimal
    header_m: Decimal
    ends_per_section: int
    creel_load_min: Decimal
    section_change_min: Decimal
    drum_m_per_min: Decimal
    beaming_m_per_min: Decimal
    doff_min: Decimal
    cone_g: int
    beam_density_kg_per_m3: Decimal

    def __post_init__(self) -> None:
        for field, what, value, least in (
            ("drum_m_per_min", "drum speed, m a minute", self.drum_m_per_min, 0),
            ("beaming_m_per_min", "beaming speed, m a minute", self.beaming_m_per_min, 0),
            ("cone_g", "cone, g", self.cone_g, 0),
            ("beam_density_kg_per_m3", "density on the beam, kg/m³", self.beam_density_kg_per_m3, 0),
            ("ends_per_section", "creel, packages", self.ends_per_section, 0),
            ("thrums_m", "thrums, m", self.thrums_m, -1),
            ("header_m", "header, m", self.header_m, -1),
        ):
            if value <= least and not (least < 0 and value == 0):
                raise Refusal(f"The mill's {what}: {value} can't be worked with.", field=field)


@dataclass(frozen=True, slots=True)
class Run:
    """One order line's share of a warp: `pieces` pieces of `length_m` finished each."""

    line: str
    customer: str
    cloth: Cloth
    pieces: int
    length_m: Decimal

    def __post_init__(self) -> None:
        if self.pieces < 1:
            raise Refusal(f"Order {self.line} has {self.pieces} pieces on this warp; put 1 or more.", field="pieces")
        if not self.length_m.is_finite() or self.length_m <= 0:
            raise Refusal(
                f"Order {self.line} has pieces of {self.length_m} m; a finished length is above 0.", field="length_m"
            )


@dataclass(frozen=True, slots=True)
class ClothFigures:
    """What follows from a cloth alone, before anybody orders it.

    Widths: `finished_width_cm` was asked for and `made_width_cm` is what whole dents and repeats make of it, both
    between the selvedges. Reed, grey and overall finished width are with selvedges.

    ends, ground_ends          all ends; without selvedges
    dents                      in use, selvedges included
    repeats, part_repeat_ends  whole repeats of the warp order in the ground, and the ends of the last part repeat
    width_gain_cm              made less asked; 0 or more
    *_g_per_m2                 loom-state with size, finished without what the route takes
    healds                     ground ends on each shaft, shaft 1 first
    max_ends_per_cm            the most this weave takes of this yarn in the grey cloth
    tightness_pct              ends and picks of the grey cloth as a share of the most the weave takes, mean of both
    warnings                   sentences: what the designer should know; nothing here refuses
    """

    name: str
    revision: int
    finished_width_cm: Decimal
    made_width_cm: Decimal
    width_gain_cm: Decimal
    overall_width_cm: Decimal
    grey_width_cm: Decimal
    reed_width_cm: Decimal
    width_shrink_pct: Decimal
    length_shrink_pct: Decimal
    mass_loss_pct: Decimal
    reed_dents_per_10cm: Decimal
    ends_per_dent: int
    dents: int
    ends: int
    ground_ends: int
    selvedge_ends: int
    repeat_ends: int
    repeats: int
    part_repeat_ends: int
    repeat_picks: int
    reed_ends_per_cm: Decimal
    grey_ends_per_cm: Decimal
    finished_ends_per_cm: Decimal
    loom_picks_per_cm: Decimal
    finished_picks_per_cm: Decimal
    warp_crimp_pct: Decimal
    warp_take_up_pct: Decimal
    loom_g_per_m2: Decimal
    finished_g_per_m2: Decimal
    loom_g_per_m: Decimal
    finished_g_per_m: Decimal
    warp_tex: Decimal
    weft_tex: Decimal
    shafts: int
    healds: tuple[int, ...]
    draft_ends: int
    lifting_picks: int
    warp_intersections: Decimal
    weft_intersections: Decimal
    longest_warp_float: int
    longest_weft_float: int
    max_ends_per_cm: Decimal
    max_picks_per_cm: Decimal
    working_ends_per_cm: Decimal
    tightness_pct: Decimal
    warnings: tuple[str, ...]
    working: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class YarnNeed:
    """One yarn of a warp or of its wefts.

    use        "warp" or "weft"
    letters    at which it stands in the order, "A" or "A, C"
    threads    ends, or picks, of this yarn
    length_m   of all of them together, without waste
    net_g      that length; whole grams
    issue_g    with waste, which is a share of the issue: net / (1 - waste)
    cones      full cones to ask the store for
    """

    use: str
    letters: str
    code: str
    name: str
    colour: str
    threads: int
    length_m: Decimal
    net_g: int
    issue_g: int
    cones: int


@dataclass(frozen=True, slots=True)
class RouteTarget:
    """What a piece should measure when it leaves a step of its finishing route; width with selvedges."""

    number: int
    name: str
    note: str
    width_cm: Decimal
    length_m: Decimal


@dataclass(frozen=True, slots=True)
class RunFigures:
    """One order line on the warp.

    finished_length_m          each piece, as ordered
    grey_length_m              each piece, off the loom
    warp_length_per_piece_m    with crimp, without the header
    picks_per_piece, picks     one piece; all of them
    cut_marks_m                metres of warp from its front to the mark at the tail of each piece
    weaving_min                None until a loom is named
    """

    line: str
    customer: str
    cloth_name: str
    revision: int
    pieces: int
    finished_length_m: Decimal
    grey_length_m: Decimal
    warp_length_per_piece_m: Decimal
    picks_per_piece: int
    picks: int
    cut_marks_m: tuple[Decimal, ...]
    weaving_min: int | None
    loom_picks_per_cm: Decimal
    weft_order: str
    lifting: tuple[tuple[int, ...], ...]
    weft: tuple[YarnNeed, ...]
    targets: tuple[RouteTarget, ...]
    grey_piece_g: int
    finished_piece_g: int
    working: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class Section:
    """One section of the warp on the drum, from the left selvedge; `colours` reads as a warp order does."""

    number: int
    ends: int
    width_cm: Decimal
    colours: str


@dataclass(frozen=True, slots=True)
class CreelRow:
    """Packages of one yarn that stand in the creel together, and how much runs off the busiest, with waste.

    sections   in which the yarn runs
    """

    code: str
    name: str
    packages: int
    sections: int
    length_m: Decimal


@dataclass(frozen=True, slots=True)
class Figures:
    """A warp worked out: what is printed on its tickets and frozen with them.

    cloth              of the first run; every run's cloth has this warp
    warp_length_m      to wind: all pieces, a header each, thrums once
    packages           in the creel, all yarns together
    package_length_m   that the busiest package must hold, with waste
    warp_g, weft_g     net, unsized: what the yarn needs add up to
    warp_issue_g, weft_issue_g   with waste
    sized_warp_g       the warp as it lies on the beam
    beam_*             "" and None until a beam is named
    weaving_min        all picks at the loom's running efficiency; None until a loom is named
    loom_hours         the same in hours
    thrums_g           warp yarn lost to thrums and headers
    threading          of one draft repeat, shafts counted from 1
    """

    cloth: ClothFigures
    runs: tuple[RunFigures, ...]
    ends: int
    warp_length_m: Decimal
    pieces: int
    picks: int
    warp_order: str
    sections: tuple[Section, ...]
    creel: tuple[CreelRow, ...]
    packages: int
    package_length_m: Decimal
    warp_yarns: tuple[YarnNeed, ...]
    weft_yarns: tuple[YarnNeed, ...]
    warp_g: int
    weft_g: int
    warp_issue_g: int
    weft_issue_g: int
    sized_warp_g: int
    thrums_m: Decimal
    headers_m: Decimal
    thrums_g: int
    warping_min: int
    loom_code: str
    weaving_min: int | None
    loom_hours: Decimal | None
    beam_code: str
    beam_diameter_mm: int | None
    beam_gross_kg: Decimal | None
    threading: tuple[int, ...]
    lifting: tuple[tuple[int, ...], ...]
    warp_key: str
    family_key: str
    working: tuple[Step, ...]


# Words among the figures of a sum.

REPEATS = W_("%(n)s repeats of %(n_ends)s")
DENTS = W_("%(n)s dents")
SECTIONS = W_("%(n)s ends, %(n_places)s places in the creel, repeats of %(n_repeat)s")
PACKAGES = W_("%(n)s of %(yarn)s")
AT_LETTER = W_("%(n)s at %(letter)s")
DIAMETERS = W_("Ashenhurst's diameters, as restated: %(n)s √(yd/lb) an inch for %(yarns)s")

# Rounding: here and nowhere else.


def _tidy(value: Decimal) -> Decimal:
    """Without what a division leaves behind after its 28th digit: 127.7 m must not be rounded up to 127.8."""
    return value.quantize(Decimal("1e-12"))


def _up(value: Decimal, step: str = "0.1") -> Decimal:
    return _tidy(value).quantize(Decimal(step), ROUND_CEILING)


def _near(value: Decimal, step: str = "0.1") -> Decimal:
    return value.quantize(Decimal(step), ROUND_HALF_UP)


def _whole_up(value: Decimal) -> int:
    return int(_tidy(value).to_integral_value(ROUND_CEILING))


# How numbers are written in the working.


def _left(sign: str, losses_pct: Iterable[Decimal]) -> str:
    """What losses leave, to follow a number: " ÷ (1 − 8 %) ÷ (1 − 2 %)"; nothing when nothing is lost."""
    return "".join(f" {sign} (1 − {written(pct)} %)" for pct in losses_pct if pct)


def _step(working: Working, name: str, value: V, sum: str, *, rule: str = "", of: str = "", source: str = "") -> V:
    """Write a figure down with its formula, and hand it on.

    name    the figure's own; with a path where there are several of the kind, "weft.0.issue_g"
    rule    which formula, when it isn't called as the figure is
    of      the yarn it is the figure of
    """
    words = FORMULAE[rule or name.rpartition(".")[2]]
    return working.add(
        value,
        name=name,
        label=words.label % {"of": of},
        formula=words.formula,
        sum=sum,
        unit=words.unit,
        source=source or words.source,
    )


# The cloth.


def work_out_cloth(cloth: Cloth) -> ClothFigures:
    """Everything that follows from a cloth alone: widths, setts, ends, mass, weave and setting.

    Widths follow from the ends, which are whole: each is worked from the dents and rounded for itself. The reed
    width is rounded upwards, since it must fit a loom and be filled with weft; what is expected of the cloth, and
    setts and masses, which are safe neither high nor low, to the nearest.
    """
    own = cloths.ends_of(cloth)
    weave = Weave.of(cloth.threading, cloth.lifting)
    working = Working()
    widths_pct = [step.width_shrink_pct for step in cloth.route]
    lengths_pct = [step.length_shrink_pct for step in cloth.route]
    masses_pct = [step.mass_loss_pct for step in cloth.route]
    contraction_pct = [cloth.weaving_contraction_pct]
    repeat_ends = cloths.order_threads(cloth.warp_order)

    width_shrink_pct = _step(
        working,
        "width_shrink_pct",
        _near(finishing.route_shrink_pct(widths_pct), "0.01"),
        f"1 − 1{_left('×', widths_pct)}",
    )
    length_shrink_pct = _step(
        working,
        "length_shrink_pct",
        _near(finishing.route_shrink_pct(lengths_pct), "0.01"),
        f"1 − 1{_left('×', lengths_pct)}",
    )
    mass_loss_pct = _step(
        working,
        "mass_loss_pct",
        _near(finishing.route_shrink_pct(masses_pct), "0.01"),
        f"1 − 1{_left('×', masses_pct)}",
    )
    ground_ends = _step(
        working,
        "ground_ends",
        own.ground_ends,
        f"{written(cloth.finished_width_cm)} cm{_left('÷', widths_pct)}{_left('÷', contraction_pct)} × "
        f"{written(cloth.reed_dents_per_10cm)} ÷ 10 cm × {cloth.ends_per_dent}"
        + ", "
        + (
            REPEATS % {"n": own.repeats, "n_ends": repeat_ends}
            if cloth.whole_repeats
            else DENTS % {"n": own.ground_dents}
        ),
        rule="ground_ends_in_repeats" if cloth.whole_repeats else "ground_ends",
    )
    ends = _step(working, "ends", own.ends, f"{ground_ends} + {own.selvedge_ends}")
    side_dents = (own.dents - own.ground_dents) // 2
    dents = _step(working, "dents", own.dents, f"{own.ground_dents} + 2 × {side_dents}")
    in_reed_cm = cloths.width_of_dents_cm(dents=own.dents, reed_dents_per_10cm=cloth.reed_dents_per_10cm)
    in_reed = f"{dents} ÷ {written(cloth.reed_dents_per_10cm)} × 10 cm"
    reed_width_cm = _step(working, "reed_width_cm", _up(in_reed_cm), in_reed)
    off_loom_cm = finishing.finished_from_grey(in_reed_cm, loss_pct=cloth.weaving_contraction_pct)
    grey_width_cm = _step(working, "grey_width_cm", _near(off_loom_cm), in_reed + _left("×", contraction_pct))
    kept = 1 - finishing.route_shrink_pct(widths_pct) / 100
    overall_width_cm = _step(
        working,
        "overall_width_cm",
        _near(off_loom_cm * kept),
        in_reed + _left("×", contraction_pct) + _left("×", widths_pct),
    )
    reed_sett = cloths.reed_ends_per_cm(
        reed_dents_per_10cm=cloth.reed_dents_per_10cm, ends_per_dent=cloth.ends_per_dent
    )
    made_cm = finishing.finished_from_grey(own.ground_ends / reed_sett, loss_pct=cloth.weaving_contraction_pct) * kept
    made_width_cm = _step(
        working,
        "made_width_cm",
        _near(made_cm),
        f"{ground_ends} ÷ {written(reed_sett)}{_left('×', contraction_pct)}{_left('×', widths_pct)}",
    )
    width_gain_cm = _step(
        working,
        "width_gain_cm",
        _near(_tidy(made_cm - cloth.finished_width_cm)),
        f"{made_width_cm} − {written(cloth.finished_width_cm)}",
    )

    # Setts: the same ends and picks on three widths and two lengths.
    reed_ends_per_cm = _step(
        working,
        "reed_ends_per_cm",
        _near(reed_sett, "0.01"),
        f"{written(cloth.reed_dents_per_10cm)} × {cloth.ends_per_dent} ÷ 10",
    )
    grey_sett = cloths.sett_after(threads_per_cm=reed_sett, shrink_pct=cloth.weaving_contraction_pct)
    grey_ends_per_cm = _step(
        working, "grey_ends_per_cm", _near(grey_sett, "0.01"), f"{written(reed_sett)}{_left('÷', contraction_pct)}"
    )
    finished_ends_per_cm = _step(
        working,
        "finished_ends_per_cm",
        _near(grey_sett / kept, "0.01"),
        f"{written(reed_sett)}{_left('÷', contraction_pct)}{_left('÷', widths_pct)}",
    )
    finished_picks_per_cm = _step(
        working,
        "finished_picks_per_cm",
        _near(
            cloths.sett_after(
                threads_per_cm=cloth.loom_picks_per_cm, shrink_pct=finishing.route_shrink_pct(lengths_pct)
            ),
            "0.01",
        ),
        f"{written(cloth.loom_picks_per_cm)}{_left('÷', lengths_pct)}",
    )
    warp_take_up_pct = _step(
        working,
        "warp_take_up_pct",
        _near(cloths.take_up_pct_from_crimp(cloth.warp_crimp_pct), "0.01"),
        f"{written(cloth.warp_crimp_pct)} % ÷ (1 + {written(cloth.warp_crimp_pct)} %)",
    )

    # Mass.
    warp_tex = _step(
        working,
        "warp_tex",
        _near(_mean_tex(cloth, _ends_by_letter(cloth)), "0.01"),
        _tex_sum(cloth, _ends_by_letter(cloth)),
    )
    picks_by_letter = cloths.threads_by_letter(cloth.weft_order, cloths.order_threads(cloth.weft_order))
    weft_tex = _step(
        working, "weft_tex", _near(_mean_tex(cloth, picks_by_letter), "0.01"), _tex_sum(cloth, picks_by_letter)
    )
    weft_crimp_pct = cloths.weft_crimp_pct(weaving_contraction_pct=cloth.weaving_contraction_pct)
    loom_g_per_m2 = _step(
        working,
        "loom_g_per_m2",
        _near(
            cloths.mass_g_per_m2(
                ends_per_cm=grey_ends_per_cm,
                warp_tex=warp.sized_g(unsized_g=warp_tex, size_add_on_pct=cloth.size_add_on_pct),
                warp_crimp_pct=cloth.warp_crimp_pct,
                picks_per_cm=cloth.loom_picks_per_cm,
                weft_tex=weft_tex,
                weft_crimp_pct=weft_crimp_pct,
            )
        ),
        f"({grey_ends_per_cm} × {warp_tex} × (1 + {written(cloth.size_add_on_pct)} %) "
        f"× (1 + {written(cloth.warp_crimp_pct)} %) + "
        f"{written(cloth.loom_picks_per_cm)} × {weft_tex}{_left('÷', contraction_pct)}) ÷ 10",
    )
    finished_g_per_m2 = _step(
        working,
        "finished_g_per_m2",
        _near(
            cloths.finished_g_per_m2(
                loom_g_per_m2=loom_g_per_m2,
                mass_loss_pct=mass_loss_pct,
                width_shrink_pct=width_shrink_pct,
                length_shrink_pct=length_shrink_pct,
            )
        ),
        f"{loom_g_per_m2} × (1 − {mass_loss_pct} %) ÷ ((1 − {width_shrink_pct} %) × (1 − {length_shrink_pct} %))",
    )
    loom_g_per_m = _step(
        working,
        "loom_g_per_m",
        _near(cloths.mass_g_per_m(g_per_m2=loom_g_per_m2, width_cm=grey_width_cm)),
        f"{loom_g_per_m2} × {grey_width_cm} cm ÷ 100",
    )
    finished_g_per_m = _step(
        working,
        "finished_g_per_m",
        _near(cloths.mass_g_per_m(g_per_m2=finished_g_per_m2, width_cm=overall_width_cm)),
        f"{finished_g_per_m2} × {overall_width_cm} cm ÷ 100",
    )

    # Weave and setting.
    warp_rule, weft_rule = _setting_rule(cloth, cloth.warp_order), _setting_rule(cloth, cloth.weft_order)
    warp_per_cm = sett.diameters_per_cm(warp_tex, rule=warp_rule)
    weft_per_cm = sett.diameters_per_cm(weft_tex, rule=weft_rule)
    max_ends_per_cm = _step(
        working,
        "max_ends_per_cm",
        _near(
            sett.max_sett_per_cm(
                warp_per_cm,
                threads=weave.repeat_ends,
                intersections=weave.weft_intersections,
                crossing_diameters_per_cm=weft_per_cm,
            ),
            "0.01",
        ),
        f"{weave.repeat_ends} ÷ ({weave.repeat_ends} ÷ {written(warp_per_cm)} + "
        f"{written(weave.weft_intersections)} ÷ {written(weft_per_cm)})",
        source=DIAMETERS % {"n": warp_rule.constant, "yarns": warp_rule.yarns},
    )
    max_picks_per_cm = _step(
        working,
        "max_picks_per_cm",
        _near(
            sett.max_sett_per_cm(
                weft_per_cm,
                threads=weave.repeat_picks,
                intersections=weave.warp_intersections,
                crossing_diameters_per_cm=warp_per_cm,
            ),
            "0.01",
        ),
        f"{weave.repeat_picks} ÷ ({weave.repeat_picks} ÷ {written(weft_per_cm)} + "
        f"{written(weave.warp_intersections)} ÷ {written(warp_per_cm)})",
        source=DIAMETERS % {"n": weft_rule.constant, "yarns": weft_rule.yarns},
    )
    working_ends_per_cm = _step(
        working,
        "working_ends_per_cm",
        _near(sett.working_sett_per_cm(max_ends_per_cm), "0.01"),
        f"{max_ends_per_cm} × {sett.WORKING_SHARE_PCT} %",
    )
    tightness = sett.tightness(
        ends_per_cm=grey_ends_per_cm,
        picks_per_cm=cloth.loom_picks_per_cm,
        max_ends_per_cm=max_ends_per_cm,
        max_picks_per_cm=max_picks_per_cm,
    )
    tightness_pct = _step(
        working,
        "tightness_pct",
        _near(tightness.mean_pct),
        f"({grey_ends_per_cm} ÷ {max_ends_per_cm} + {written(cloth.loom_picks_per_cm)} ÷ {max_picks_per_cm}) ÷ 2",
    )
    return ClothFigures(
        name=cloth.name,
        revision=cloth.revision,
        finished_width_cm=cloth.finished_width_cm,
        made_width_cm=made_width_cm,
        width_gain_cm=width_gain_cm,
        overall_width_cm=overall_width_cm,
        grey_width_cm=grey_width_cm,
        reed_width_cm=reed_width_cm,
        width_shrink_pct=width_shrink_pct,
        length_shrink_pct=length_shrink_pct,
        mass_loss_pct=mass_loss_pct,
        reed_dents_per_10cm=cloth.reed_dents_per_10cm,
        ends_per_dent=cloth.ends_per_dent,
        dents=dents,
        ends=ends,
        ground_ends=ground_ends,
        selvedge_ends=own.selvedge_ends,
        repeat_ends=repeat_ends,
        repeats=own.repeats,
        part_repeat_ends=own.part_repeat_ends,
        repeat_picks=cloths.order_threads(cloth.weft_order),
        reed_ends_per_cm=reed_ends_per_cm,
        grey_ends_per_cm=grey_ends_per_cm,
        finished_ends_per_cm=finished_ends_per_cm,
        loom_picks_per_cm=cloth.loom_picks_per_cm,
        finished_picks_per_cm=finished_picks_per_cm,
        warp_crimp_pct=cloth.warp_crimp_pct,
        warp_take_up_pct=warp_take_up_pct,
        loom_g_per_m2=loom_g_per_m2,
        finished_g_per_m2=finished_g_per_m2,
        loom_g_per_m=loom_g_per_m,
        finished_g_per_m=finished_g_per_m,
        warp_tex=warp_tex,
        weft_tex=weft_tex,
        shafts=weave.shafts,
        healds=weave.healds_per_shaft(ground_ends),
        draft_ends=weave.repeat_ends,
        lifting_picks=weave.repeat_picks,
        warp_intersections=weave.warp_intersections,
        weft_intersections=weave.weft_intersections,
        longest_warp_float=weave.longest_warp_float,
        longest_weft_float=weave.longest_weft_float,
        max_ends_per_cm=max_ends_per_cm,
        max_picks_per_cm=max_picks_per_cm,
        working_ends_per_cm=working_ends_per_cm,
        tightness_pct=tightness_pct,
        warnings=(
            *_rounding_warnings(cloth, own, made_cm=made_cm),
            *_crimp_warnings(cloth),
            *weave.warnings,
            *tightness.warnings,
        ),
        working=tuple(working.steps),
    )


def _ends_by_letter(cloth: Cloth) -> dict[str, int]:
    own = cloths.ends_of(cloth)
    return warp.ends_by_letter(
        ground=cloths.threads_by_letter(cloth.warp_order, own.ground_ends),
        selvedge_letter=cloth.selvedge_letter,
        selvedge_ends=own.selvedge_ends,
    )


def _mean_tex(cloth: Cloth, threads: Mapping[str, int]) -> Decimal:
    return cloths.mean_tex((n, cloth.yarns[letter].count_tex) for letter, n in threads.items())


def _tex_sum(cloth: Cloth, threads: Mapping[str, int]) -> str:
    parts = " + ".join(f"{n} × {written(cloth.yarns[letter].count_tex)}" for letter, n in threads.items())
    return f"({parts}) ÷ {sum(threads.values())}"


def _setting_rule(cloth: Cloth, order: Sequence[Stripe]) -> sett.SettingRule:
    """The rule of the yarn that most of the threads are of."""
    threads = cloths.threads_by_letter(order, cloths.order_threads(order))
    yarn = cloth.yarns[max(threads, key=lambda letter: threads[letter])]
    if yarn.spinning not in sett.RULE_OF_SPINNING:
        known = ", ".join(sett.RULE_OF_SPINNING)
        raise Refusal(f"Yarn {yarn.code} is spun {yarn.spinning!r}; setting knows {known}.", field="yarns")
    return sett.RULE_OF_SPINNING[yarn.spinning]


def _rounding_warnings(cloth: Cloth, own: cloths.Ends, *, made_cm: Decimal) -> Iterable[str]:
    repeat = cloths.order_threads(cloth.warp_order)
    if own.repeats == 0:
        form = N_("One repeat has %(repeat)s ends, the cloth %(ends)s: the order never comes round.")
        yield form % {"repeat": repeat, "ends": own.ground_ends}
    elif cloth.whole_repeats and own.ground_ends - own.wanted > repeat / 2:
        form = N_(
            "Whole repeats make the cloth %(more)s cm wider than asked: %(n)s repeats are %(made)s cm, %(fewer)s would"
            " be %(less)s cm."
        )
        yield form % {
            "more": _near(made_cm - cloth.finished_width_cm),
            "n": own.repeats,
            "made": _near(made_cm),
            "fewer": own.repeats - 1,
            "less": _near(made_cm * (own.repeats - 1) / own.repeats),
        }
    in_last_dent = own.ground_ends % cloth.ends_per_dent
    if in_last_dent:
        form = N_("The last dent of the ground holds %(n)s of %(ends)s ends.")
        yield form % {"n": in_last_dent, "ends": cloth.ends_per_dent}


def _crimp_warnings(cloth: Cloth) -> Iterable[str]:
    if cloth.warp_crimp_pct > cloths.jammed_crimp_pct():
        form = N_(
            "A warp crimp of %(crimp)s %% of cloth length is more than a square plain cloth can hold (%(most)s %%). Is"
            " the warp so much closer than the weft?"
        )
        yield form % {"crimp": written(cloth.warp_crimp_pct), "most": cloths.jammed_crimp_pct()}


# The runs.


def _work_run(run: Run, *, own: ClothFigures, front_m: Decimal, mill: MillFacts, loom: LoomFacts | None) -> RunFigures:
    """One order line; front_m is the warp that is woven before it."""
    cloth = run.cloth
    working = Working()
    lengths_pct = [step.length_shrink_pct for step in cloth.route]

    grey_length_m = _step(
        working,
        "grey_length_m",
        _up(finishing.grey_from_finished(run.length_m, loss_pct=finishing.route_shrink_pct(lengths_pct))),
        f"{written(run.length_m)} m{_left('÷', lengths_pct)}",
    )
    warp_length_per_piece_m = _step(
        working,
        "warp_length_per_piece_m",
        _up(warp.warp_length_per_piece_m(grey_length_m=grey_length_m, warp_crimp_pct=cloth.warp_crimp_pct)),
        f"{grey_length_m} m × (1 + {written(cloth.warp_crimp_pct)} %)",
    )
    picks_per_piece = _step(
        working,
        "picks_per_piece",
        weft.picks_per_piece(grey_length_m=grey_length_m, loom_picks_per_cm=cloth.loom_picks_per_cm),
        f"{grey_length_m} m × 100 × {written(cloth.loom_picks_per_cm)}",
    )
    picks = _step(working, "picks", picks_per_piece * run.pieces, f"{picks_per_piece} × {run.pieces}")
    weaving_min = None
    if loom is not None:
        weaving_min = _step(
            working,
            "weaving_min",
            looms.weaving_min(picks=picks, ppm=loom.ppm, efficiency_pct=loom.efficiency_pct),
            f"{picks} ÷ ({loom.ppm} × {written(loom.efficiency_pct)} %)",
        )
    grey_piece_g = _step(
        working,
        "grey_piece_g",
        int(_near(grey_length_m * own.loom_g_per_m, "1")),
        f"{grey_length_m} m × {own.loom_g_per_m} g/m",
    )
    finished_piece_g = _step(
        working,
        "finished_piece_g",
        int(_near(run.length_m * own.finished_g_per_m, "1")),
        f"{written(run.length_m)} m × {own.finished_g_per_m} g/m",
    )
    marks_m = warp.cut_marks_m(pieces_m=[warp_length_per_piece_m] * run.pieces, header_m=mill.header_m)
    return RunFigures(
        line=run.line,
        customer=run.customer,
        cloth_name=cloth.name,
        revision=cloth.revision,
        pieces=run.pieces,
        finished_length_m=run.length_m,
        grey_length_m=grey_length_m,
        warp_length_per_piece_m=warp_length_per_piece_m,
        picks_per_piece=picks_per_piece,
        picks=picks,
        cut_marks_m=tuple(_near(front_m + mark_m) for mark_m in marks_m),
        weaving_min=weaving_min,
        loom_picks_per_cm=cloth.loom_picks_per_cm,
        weft_order=cloths.write_order(cloth.weft_order),
        lifting=cloth.lifting,
        weft=_weft_needs(run, picks_per_piece, own=own, mill=mill, loom=loom, working=working),
        targets=_targets(cloth, own=own, grey_length_m=grey_length_m),
        grey_piece_g=grey_piece_g,
        finished_piece_g=finished_piece_g,
        working=tuple(working.steps),
    )


def _weft_needs(
    run: Run, picks_per_piece: int, *, own: ClothFigures, mill: MillFacts, loom: LoomFacts | None, working: Working
) -> tuple[YarnNeed, ...]:
    cloth = run.cloth
    tail_cm = loom.tail_cm if loom else Decimal(0)
    per_piece = cloths.threads_by_letter(cloth.weft_order, picks_per_piece)
    picks = weft.picks_by_letter(per_piece=per_piece, pieces=run.pieces)
    needs = []
    for number, (yarn, letters) in enumerate(_letters_by_yarn(cloth, picks).items()):
        of_yarn = _step(
            working,
            f"weft.{number}.threads",
            sum(picks[letter] for letter in letters),
            f"{sum(per_piece[letter] for letter in letters)} × {run.pieces}",
            rule="weft_threads",
            of=yarn.code,
        )
        length_m = _step(
            working,
            f"weft.{number}.length_m",
            _up(weft.weft_length_m(picks=of_yarn, reed_width_cm=own.reed_width_cm, tail_cm=tail_cm)),
            f"{of_yarn} × ({own.reed_width_cm} + {written(tail_cm)}) cm ÷ 100",
            rule="weft_length_m",
            of=yarn.code,
        )
        needs.append(
            _yarn_need(
                yarn,
                use="weft",
                path=f"weft.{number}",
                letters=letters,
                threads=of_yarn,
                length_m=length_m,
                net=weft.mass_g(length_m=length_m, count_tex=yarn.count_tex),
                waste_pct=cloth.weft_waste_pct,
                mill=mill,
                working=working,
            )
        )
    return tuple(needs)


def _letters_by_yarn(cloth: Cloth, threads: Mapping[str, int]) -> dict[YarnUse, list[str]]:
    """Yarns in the order of their first letter; one yarn may stand at several."""
    letters_of: dict[YarnUse, list[str]] = {}
    for letter in sorted(threads):
        same = next((yarn for yarn in letters_of if yarn.code == cloth.yarns[letter].code), cloth.yarns[letter])
        letters_of.setdefault(same, []).append(letter)
    return letters_of


def _yarn_need(
    yarn: YarnUse,
    *,
    use: str,
    path: str,
    letters: Sequence[str],
    threads: int,
    length_m: Decimal,
    net: Decimal,
    waste_pct: Decimal,
    mill: MillFacts,
    working: Working,
) -> YarnNeed:
    net_g = _step(
        working, f"{path}.net_g", _whole_up(net), f"{length_m} m × {written(yarn.count_tex)} tex ÷ 1000", of=yarn.code
    )
    issue_g = _step(
        working,
        f"{path}.issue_g",
        _whole_up(warp.issue_g(net_g=net_g, waste_pct=waste_pct)),
        f"{net_g} g ÷ (1 − {written(waste_pct)} %)",
        of=yarn.code,
    )
    cones = _step(
        working,
        f"{path}.cones",
        warp.full_packages(issue_g, mill.cone_g),
        f"{issue_g} g ÷ {mill.cone_g} g",
        of=yarn.code,
    )
    return YarnNeed(
        use=use,
        letters=", ".join(letters),
        code=yarn.code,
        name=yarn.name,
        colour=yarn.colour,
        threads=threads,
        length_m=length_m,
        net_g=net_g,
        issue_g=issue_g,
        cones=cones,
    )


def _targets(cloth: Cloth, *, own: ClothFigures, grey_length_m: Decimal) -> tuple[RouteTarget, ...]:
    """Width and length after each step, from the grey piece as it is woven."""
    widths_cm = widths_after_steps_cm(cloth, dents=own.dents)
    lengths_m = finishing.measures_after_steps(grey_length_m, [step.length_shrink_pct for step in cloth.route])
    return tuple(
        RouteTarget(number, step.name, step.note, width_cm=width_cm, length_m=_near(length_m))
        for number, (step, width_cm, length_m) in enumerate(zip(cloth.route, widths_cm, lengths_m, strict=True), 1)
    )


def widths_after_steps_cm(cloth: Cloth, *, dents: int) -> tuple[Decimal, ...]:
    """Width with selvedges when the cloth leaves each step of its route, from the dents in use; the last is the
    finished width."""
    in_reed_cm = cloths.width_of_dents_cm(dents=dents, reed_dents_per_10cm=cloth.reed_dents_per_10cm)
    off_loom_cm = finishing.finished_from_grey(in_reed_cm, loss_pct=cloth.weaving_contraction_pct)
    widths_cm = finishing.measures_after_steps(off_loom_cm, [step.width_shrink_pct for step in cloth.route])
    return tuple(_near(width_cm) for width_cm in widths_cm)


# The warp.


def work_out(
    runs: Sequence[Run], *, mill: MillFacts, loom: LoomFacts | None = None, beam: BeamFacts | None = None
) -> Figures:
    """A whole warp, from the order lines on it to the grams, metres and minutes.

    runs    in the order in which they are woven; all of one `warp_key`
    loom    with it: tails of weft, minutes of weaving, and a refusal when the cloth does not fit
    beam    with it: diameter and gross mass, and a refusal when the warp does not fit

    Figures are rounded once, on the line that names them, and the next line works on from the rounded figure.
    What must suffice (lengths, grams, minutes, the width in the reed) is rounded upwards; what is expected, or is
    safe neither high nor low (other widths, setts, grams per square metre, shares), to the nearest.

    Where the cloths of a warp differ in warp waste, the largest counts.

    Raises Refusal for no runs, a run of nothing, runs of different warps, a loom or a beam that does not fit.
    """
    _check_one_warp(runs)
    cloth = runs[0].cloth
    cloth_figures = {each: work_out_cloth(each) for each in dict.fromkeys(run.cloth for run in runs)}
    own = cloth_figures[cloth]
    working = Working()

    run_figures: list[RunFigures] = []
    front_m = Decimal(0)
    for run in runs:
        worked = _work_run(run, own=cloth_figures[run.cloth], front_m=front_m, mill=mill, loom=loom)
        front_m += run.pieces * (worked.warp_length_per_piece_m + mill.header_m)
        run_figures.append(worked)
    pieces = sum(run.pieces for run in runs)
    pieces_m = [worked.warp_length_per_piece_m for worked in run_figures for _ in range(worked.pieces)]

    headers_m = _step(working, "headers_m", pieces * mill.header_m, f"{pieces} × {written(mill.header_m)} m")
    warp_length_m = _step(
        working,
        "warp_length_m",
        _up(warp.warp_to_wind_m(pieces_m=pieces_m, header_m=mill.header_m, thrums_m=mill.thrums_m)),
        " + ".join(f"{worked.pieces} × {worked.warp_length_per_piece_m}" for worked in run_figures)
        + f" + {written(headers_m)} + {written(mill.thrums_m)} m",
    )
    picks = _step(
        working,
        "picks",
        sum(worked.picks for worked in run_figures),
        " + ".join(str(worked.picks) for worked in run_figures),
        rule="picks_of_warp",
    )

    # Yarn.
    warp_waste_pct = max(run.cloth.warp_waste_pct for run in runs)
    warp_yarns = _warp_needs(cloth, warp_length_m, waste_pct=warp_waste_pct, mill=mill, working=working)
    weft_yarns = _add_up(need for worked in run_figures for need in worked.weft)
    warp_g = _step(
        working, "warp_g", sum(need.net_g for need in warp_yarns), " + ".join(str(need.net_g) for need in warp_yarns)
    )
    warp_issue_g = _step(
        working,
        "warp_issue_g",
        sum(need.issue_g for need in warp_yarns),
        " + ".join(str(need.issue_g) for need in warp_yarns),
    )
    weft_g = _step(
        working, "weft_g", sum(need.net_g for need in weft_yarns), " + ".join(str(need.net_g) for need in weft_yarns)
    )
    weft_issue_g = _step(
        working,
        "weft_issue_g",
        sum(need.issue_g for need in weft_yarns),
        " + ".join(str(need.issue_g) for need in weft_yarns),
    )
    sized_warp_g = _step(
        working,
        "sized_warp_g",
        _whole_up(warp.sized_g(unsized_g=warp_g, size_add_on_pct=cloth.size_add_on_pct)),
        f"{warp_g} g × (1 + {written(cloth.size_add_on_pct)} %)",
    )
    lost_m = mill.thrums_m + headers_m
    thrums_g = _step(
        working,
        "thrums_g",
        _whole_up(
            sum(
                (
                    warp.mass_g(length_m=need.threads * lost_m, count_tex=_yarn_of(cloth, need).count_tex)
                    for need in warp_yarns
                ),
                start=Decimal(0),
            )
        ),
        " + ".join(
            f"{need.threads} × {written(lost_m)} m × {written(_yarn_of(cloth, need).count_tex)} ÷ 1000"
            for need in warp_yarns
        ),
    )

    # Sections and the creel.
    section_ends = warp.sections(
        ground_ends=own.ground_ends,
        selvedge_ends=own.selvedge_ends,
        repeat_ends=own.repeat_ends,
        ends_per_section=mill.ends_per_section,
    )
    _step(
        working,
        "sections",
        len(section_ends),
        SECTIONS % {"n": own.ends, "n_places": mill.ends_per_section, "n_repeat": own.repeat_ends},
    )
    beamed_width_cm = beam.width_cm if beam else own.reed_width_cm
    stripes = _cut_into(section_ends, _stripes_of(cloth))
    sections = tuple(
        Section(
            number=number,
            ends=n,
            width_cm=_near(beamed_width_cm * n / own.ends),
            colours=cloths.write_order(colours),
        )
        for number, (n, colours) in enumerate(zip(section_ends, stripes, strict=True), start=1)
    )
    creel = _creel(cloth, stripes, warp_length_m, waste_pct=warp_waste_pct)
    packages = _step(
        working,
        "packages",
        sum(row.packages for row in creel),
        " + ".join(PACKAGES % {"n": row.packages, "yarn": row.code} for row in creel),
    )
    package_length_m = _step(
        working,
        "package_length_m",
        max(row.length_m for row in creel),
        f"{warp_length_m} m × {max(row.sections for row in creel)} ÷ (1 − {written(warp_waste_pct)} %)",
    )
    warping_min = _step(
        working,
        "warping_min",
        warp.warping_min(
            sections=len(sections),
            length_m=warp_length_m,
            creel_load_min=mill.creel_load_min,
            section_change_min=mill.section_change_min,
            drum_m_per_min=mill.drum_m_per_min,
            beaming_m_per_min=mill.beaming_m_per_min,
            doff_min=mill.doff_min,
        ),
        f"{written(mill.creel_load_min)} + {len(sections)} × ({warp_length_m} ÷ {written(mill.drum_m_per_min)} + "
        f"{written(mill.section_change_min)}) + {warp_length_m} ÷ {written(mill.beaming_m_per_min)} + "
        f"{written(mill.doff_min)}",
    )

    # The beam.
    yarn_kg = Decimal(sized_warp_g) / 1000
    beam_diameter_mm = beam_gross_kg = None
    if beam is not None:
        beams.check_beam(
            beam,
            yarn_kg=yarn_kg,
            density_kg_per_m3=mill.beam_density_kg_per_m3,
            warp_width_cm=own.reed_width_cm,
        )
        beam_diameter_mm = _step(
            working,
            "beam_diameter_mm",
            _whole_up(beams.diameter_mm(beam, yarn_kg=yarn_kg, density_kg_per_m3=mill.beam_density_kg_per_m3)),
            f"√({written(Decimal(beam.barrel_mm) / 1000)}² m² + 4 ÷ π × {written(yarn_kg)} kg ÷ "
            f"({written(mill.beam_density_kg_per_m3)} kg/m³ × {written(beam.width_cm / 100)} m))",
        )
        beam_gross_kg = _step(
            working,
            "beam_gross_kg",
            _up(beams.gross_kg(beam, yarn_kg=yarn_kg)),
            f"{written(beam.tare_kg)} kg + {written(yarn_kg)} kg",
        )

    # The loom.
    weaving_min = loom_hours = None
    if loom is not None:
        needs = _loom_needs(own, run_figures, flange_mm=beam.flange_mm if beam else None)
        looms.check_loom(needs, loom)
        weaving_min = _step(
            working,
            "weaving_min",
            looms.weaving_min(picks=picks, ppm=loom.ppm, efficiency_pct=loom.efficiency_pct),
            f"{picks} ÷ ({loom.ppm} × {written(loom.efficiency_pct)} %)",
        )
        loom_hours = _step(working, "loom_hours", _up(looms.loom_hours(weaving_min)), f"{weaving_min} ÷ 60")
    return Figures(
        cloth=own,
        runs=tuple(run_figures),
        ends=own.ends,
        warp_length_m=warp_length_m,
        pieces=pieces,
        picks=picks,
        warp_order=cloths.write_order(cloth.warp_order),
        sections=sections,
        creel=creel,
        packages=packages,
        package_length_m=package_length_m,
        warp_yarns=warp_yarns,
        weft_yarns=weft_yarns,
        warp_g=warp_g,
        weft_g=weft_g,
        warp_issue_g=warp_issue_g,
        weft_issue_g=weft_issue_g,
        sized_warp_g=sized_warp_g,
        thrums_m=mill.thrums_m,
        headers_m=headers_m,
        thrums_g=thrums_g,
        warping_min=warping_min,
        loom_code=loom.code if loom else "",
        weaving_min=weaving_min,
        loom_hours=loom_hours,
        beam_code=beam.code if beam else "",
        beam_diameter_mm=beam_diameter_mm,
        beam_gross_kg=beam_gross_kg,
        threading=cloth.threading,
        lifting=cloth.lifting,
        warp_key=cloths.warp_key(cloth),
        family_key=cloths.family_key(cloth),
        working=tuple(working.steps),
    )


def _check_one_warp(runs: Sequence[Run]) -> None:
    if not runs:
        raise Refusal(N_("There is no order line on this warp. Put one on it first."))
    # A warp may carry many orders of one cloth.
    run_of: dict[Cloth, Run] = {}
    for run in runs:
        run_of.setdefault(run.cloth, run)
    first, *others = run_of.values()
    for run in others:
        differs = cloths.warp_difference(first.cloth, run.cloth)
        if differs:
            raise Refusal(
                N_(
                    "%(first)s (order %(first_line)s) and %(other)s (order %(other_line)s) can't share a warp: %(why)s."
                    " Wind them apart."
                ),
                field="runs",
                first=first.cloth.name,
                first_line=first.line,
                other=run.cloth.name,
                other_line=run.line,
                why=differs,
            )


def _warp_needs(
    cloth: Cloth, warp_length_m: Decimal, *, waste_pct: Decimal, mill: MillFacts, working: Working
) -> tuple[YarnNeed, ...]:
    ends = _ends_by_letter(cloth)
    needs = []
    for number, (yarn, letters) in enumerate(_letters_by_yarn(cloth, ends).items()):
        of_yarn = _step(
            working,
            f"warp_yarns.{number}.threads",
            sum(ends[letter] for letter in letters),
            " + ".join(AT_LETTER % {"n": ends[letter], "letter": letter} for letter in letters),
            rule="warp_threads",
            of=yarn.code,
        )
        length_m = _step(
            working,
            f"warp_yarns.{number}.length_m",
            _up(warp.yarn_m(ends=of_yarn, length_m=warp_length_m)),
            f"{of_yarn} × {warp_length_m} m",
            rule="warp_yarn_m",
            of=yarn.code,
        )
        needs.append(
            _yarn_need(
                yarn,
                use="warp",
                path=f"warp_yarns.{number}",
                letters=letters,
                threads=of_yarn,
                length_m=length_m,
                net=warp.mass_g(length_m=length_m, count_tex=yarn.count_tex),
                waste_pct=waste_pct,
                mill=mill,
                working=working,
            )
        )
    return tuple(needs)


def _yarn_of(cloth: Cloth, need: YarnNeed) -> YarnUse:
    return next(yarn for yarn in cloth.yarns.values() if yarn.code == need.code)


def _add_up(needs: Iterable[YarnNeed]) -> tuple[YarnNeed, ...]:
    """The runs' weft by yarn; grams are added as they were rounded, so that the runs add up on paper."""
    by_code: dict[str, YarnNeed] = {}
    for need in needs:
        so_far = by_code.get(need.code)
        if so_far is None:
            by_code[need.code] = need
            continue
        letters = sorted({*so_far.letters.split(", "), *need.letters.split(", ")})
        by_code[need.code] = YarnNeed(
            use=need.use,
            letters=", ".join(letters),
            code=need.code,
            name=need.name,
            colour=need.colour,
            threads=so_far.threads + need.threads,
            length_m=so_far.length_m + need.length_m,
            net_g=so_far.net_g + need.net_g,
            issue_g=so_far.issue_g + need.issue_g,
            cones=so_far.cones + need.cones,
        )
    return tuple(by_code.values())


def _stripes_of(cloth: Cloth) -> list[Stripe]:
    """The whole warp from left to right, selvedges too."""
    own = cloths.ends_of(cloth)
    side = [Stripe(cloth.selvedge_letter, own.selvedge_ends // 2)] if own.selvedge_ends else []
    return [*side, *cloths.cut_order(cloth.warp_order, start=0, threads=own.ground_ends), *side]


def _cut_into(section_ends: Sequence[int], stripes: Sequence[Stripe]) -> list[tuple[Stripe, ...]]:
    """The stripes of each section."""
    cuts = []
    start = 0
    for ends in section_ends:
        cuts.append(cloths.cut_order(stripes, start=start, threads=ends))
        start += ends
    return cuts


def _creel(
    cloth: Cloth, sections: Sequence[Sequence[Stripe]], warp_length_m: Decimal, *, waste_pct: Decimal
) -> tuple[CreelRow, ...]:
    by_code = []
    for stripes in sections:
        ends: dict[str, int] = {}
        for stripe in stripes:
            code = cloth.yarns[stripe.letter].code
            ends[code] = ends.get(code, 0) + stripe.n
        by_code.append(ends)
    names = {yarn.code: yarn.name for yarn in cloth.yarns.values()}
    return tuple(
        CreelRow(
            code=code,
            name=names[code],
            packages=need.packages,
            sections=need.sections,
            length_m=_up(need.length_m / (1 - waste_pct / 100)),
        )
        for code, need in warp.packages(section_ends=by_code, length_m=warp_length_m).items()
    )


# What the planning of looms asks of a warp.


def loom_needs(figures: Figures, *, flange_mm: int | None = None) -> looms.LoomNeeds:
    """What a loom must have to weave this warp; for `loom.reasons_against`."""
    return _loom_needs(figures.cloth, figures.runs, flange_mm=flange_mm)


def _loom_needs(own: ClothFigures, runs: Sequence[RunFigures], *, flange_mm: int | None) -> looms.LoomNeeds:
    return looms.LoomNeeds(
        reed_width_cm=own.reed_width_cm,
        shafts=own.shafts,
        weft_colours=max(len(run.weft) for run in runs),
        flange_mm=flange_mm,
    )


def gaiting_facts(cloth: Cloth, *, warp: str) -> gaiting.WarpFacts:
    """What decides a set-up; `warp` says which warp it is. For `gaiting.set_up`."""
    own = cloths.ends_of(cloth)
    return gaiting.WarpFacts(
        warp=warp,
        ground_ends=own.ground_ends,
        selvedge_ends=own.selvedge_ends,
        threading=cloths.shortest_repeat(cloth.threading),
        reed_dents_per_10cm=cloth.reed_dents_per_10cm,
        ends_per_dent=cloth.ends_per_dent,
    )


# Frozen figures.


def to_json(figures: Figures) -> dict[str, Any]:
    """The figures as plain JSON: Decimals as text, tuples as lists. `from_json` reads them back, equal."""
    plain: dict[str, Any] = _plain(figures)
    return plain


def without_words(frozen: Any) -> Any:
    """Frozen figures, and of their working the names and values alone: it may be put better while no figure changes."""
    if isinstance(frozen, Mapping):
        names = ("name", "value") if "formula" in frozen else frozen.keys()
        return {name: without_words(frozen[name]) for name in names}
    return [without_words(item) for item in frozen] if isinstance(frozen, list) else frozen


def from_json(frozen: Mapping[str, Any]) -> Figures:
    """Figures frozen by `to_json`."""
    figures: Figures = _read(Figures, frozen)
    return figures


def _plain(value: Any) -> Any:
    if isinstance(value, Step):
        # A step's value may be of three kinds, and two of them are text in JSON.
        record = {field.name: getattr(value, field.name) for field in fields(value)}
        return record | {"value": str(value.value), "kind": type(value.value).__name__}
    if is_dataclass(value):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    return str(value) if isinstance(value, Decimal) else value


KINDS = {"Decimal": Decimal, "int": int, "str": str}


@cache
def _hints(record: type) -> dict[str, Any]:
    return get_type_hints(record)


def _read(hint: Any, value: Any) -> Any:
    if hint is Step:
        return Step(**{name: value[name] for name in _hints(Step)} | {"value": KINDS[value["kind"]](value["value"])})
    if isinstance(hint, type) and is_dataclass(hint):
        return hint(**{name: _read(kind, value[name]) for name, kind in _hints(hint).items()})
    if get_origin(hint) is UnionType:
        (hint,) = (kind for kind in get_args(hint) if kind is not NoneType)
        return None if value is None else _read(hint, value)
    if get_origin(hint) is tuple:
        return tuple(_read(get_args(hint)[0], item) for item in value)
    return Decimal(value) if hint is Decimal else value
