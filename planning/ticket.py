"""The ticket: every room called once, every figure rounded once. Knows no database, page or paper."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from mill.working import Step
from planning.cloth import Cloth


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


@dataclass(frozen=True, slots=True)
class LoomFacts:
    """A loom as a cloth meets it.

    efficiency_pct    running efficiency: stops while weaving, no waits and no set-ups
    reed_space_cm     widest warp the reed can take
    shafts            that the loom has; not looked at on a jacquard
    weft_colours      that it can pick and pick from
    max_flange_mm     largest flange its beam bearings clear
    tail_cm           weft cut off at the selvedges, both sides together, each pick; 0 for a shuttle
    """

    code: str
    ppm: int
    efficiency_pct: Decimal
    reed_space_cm: Decimal
    shafts: int
    jacquard: bool
    weft_colours: int
    max_flange_mm: int
    tail_cm: Decimal


@dataclass(frozen=True, slots=True)
class BeamFacts:
    """An empty beam: width between the flanges, barrel and flange diameters, and what it weighs."""

    code: str
    width_cm: Decimal
    barrel_mm: int
    flange_mm: int
    tare_kg: Decimal


@dataclass(frozen=True, slots=True)
class Run:
    """One order line's share of a warp: `pieces` pieces of `length_m` finished each."""

    line: str
    customer: str
    cloth: Cloth
    pieces: int
    length_m: Decimal


@dataclass(frozen=True, slots=True)
class ClothFigures:
    """What follows from a cloth alone, before anybody orders it.

    Widths: `finished_width_cm` was asked for and `made_width_cm` is what whole dents and repeats make of it, both
    between the selvedges. Reed, grey and overall finished width are with selvedges.

    ends, ground_ends          all ends; without selvedges
    dents                      in use, selvedges included
    repeats, part_repeat_ends  whole repeats of the warp order in the ground, and the ends of the last part repeat
    width_gain_cm              made less asked; 0 or more
    tightness_pct              finished sett as a share of the most the weave takes
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
    shafts: int
    draft_ends: int
    lifting_picks: int
    warp_intersections: int
    weft_intersections: int
    longest_warp_float: int
    longest_weft_float: int
    max_ends_per_cm: Decimal
    working_ends_per_cm: Decimal
    tightness_pct: Decimal
    warnings: tuple[str, ...]
    working: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class YarnNeed:
    """One yarn of a warp or of its wefts.

    use        "warp" or "weft"
    threads    ends, or picks, of this yarn
    length_m   of all of them together, without waste
    net_g      that length; whole grams
    issue_g    with waste, which is a share of the issue: net / (1 - waste)
    cones      full cones to ask the store for
    """

    use: str
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
    """Packages of one yarn that stand in the creel together, and how much runs off the busiest, with waste."""

    code: str
    name: str
    packages: int
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


def work_out_cloth(cloth: Cloth) -> ClothFigures:
    """Everything that follows from a cloth alone: widths, setts, ends, mass, weave and setting."""
    raise NotImplementedError


def work_out(
    runs: Sequence[Run], *, mill: MillFacts, loom: LoomFacts | None = None, beam: BeamFacts | None = None
) -> Figures:
    """A whole warp, from the order lines on it to the grams, metres and minutes.

    runs    in the order in which they are woven; all of one `warp_key`
    loom    with it: tails of weft, minutes of weaving, and a refusal when the cloth does not fit
    beam    with it: diameter and gross mass, and a refusal when the warp does not fit

    Figures are rounded once, on the line that names them, and the next line works on from the rounded figure.
    What must suffice (lengths, widths, grams, minutes) is rounded upwards; what is neither safe high nor safe low
    (setts, grams per square metre, shares) to the nearest.

    Raises Refusal for no runs, a run of nothing, runs of different warps, a loom or a beam that does not fit.
    """
    raise NotImplementedError


def to_json(figures: Figures) -> dict[str, Any]:
    """The figures as plain JSON: Decimals as text, tuples as lists. `from_json` reads them back, equal."""
    raise NotImplementedError


def from_json(frozen: dict[str, Any]) -> Figures:
    """Figures frozen by `to_json`."""
    raise NotImplementedError
