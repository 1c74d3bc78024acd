"""Job sheets worked by hand, the working shown, from the order to the loom.

Each sheet is tested as `work_out` gives it; the same numbers stand on the ticket and on the page. A pencil works from
the top down: every line takes the line above as it was rounded.
"""

from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any

from planning.cloth import Cloth, RouteStep, YarnUse, crimp_pct_from_take_up, read_order
from planning.cost import Rates, Stated, StepRate
from planning.ticket import BeamFacts, Figures, LoomFacts, MillFacts, Run

D = Decimal
NONE = Decimal(0)

MILL = MillFacts(
    thrums_m=D("3.0"),
    header_m=D("0.5"),
    ends_per_section=300,
    creel_load_min=D(75),
    section_change_min=D(8),
    drum_m_per_min=D(250),
    beaming_m_per_min=D(40),
    doff_min=D(15),
    cone_g=1000,
    beam_density_kg_per_m3=D(350),
)
SHUTTLE_LOOM = LoomFacts("S1", 220, D(70), D(200), 8, False, 4, 800, tail_cm=D(0))
RAPIER_LOOM = LoomFacts("R1", 250, D(75), D(190), 16, False, 8, 800, tail_cm=D(9))
BROAD_LOOM = LoomFacts("B1", 90, D(65), D(340), 8, False, 2, 900, tail_cm=D(0))
BEAM = BeamFacts("W1", D(178), barrel_mm=180, flange_mm=760, tare_kg=D(95))

TWILL = ((1, 2), (2, 3), (3, 4), (1, 4))
MOSS = YarnUse("W1", "moss", "#5b6b4e", D(125), "woollen")
STRAW = YarnUse("W2", "straw", "#e0c9a0", D(125), "woollen")


def route(*steps: tuple[str, str, str, str]) -> tuple[RouteStep, ...]:
    """Name, shrinkage in width, in length, loss of mass."""
    return tuple(RouteStep(name, D(width), D(length), D(mass)) for name, width, length, mass in steps)


TWEED = Cloth(
    name="Hill tweed",
    revision=1,
    finished_width_cm=D(150),
    reed_dents_per_10cm=D("42.3"),
    ends_per_dent=2,
    selvedge_ends=0,
    whole_repeats=False,
    loom_picks_per_cm=D("8.46"),
    warp_crimp_pct=D("7.5"),
    weaving_contraction_pct=D(6),
    warp_waste_pct=D(2),
    weft_waste_pct=D(5),
    size_add_on_pct=D(0),
    route=route(("scour", "10", "6", "8")),
    warp_order=read_order("A1"),
    weft_order=read_order("A1"),
    yarns={"A": MOSS, "B": STRAW},
    threading=(1, 2, 3, 4),
    lifting=TWILL,
)


def tweed(**changes: Any) -> Cloth:
    """The tweed of the sheets with the one fact changed that a test is about."""
    return replace(TWEED, **changes)


@dataclass(frozen=True)
class Sheet:
    """figures: path in Figures -> what the pencil found."""

    runs: tuple[Run, ...]
    loom: LoomFacts
    beam: BeamFacts | None
    figures: dict[str, Any]


def figure(figures: Figures, path: str) -> Any:
    """`runs.0.grey_length_m` of the figures, as a template would read it."""
    value: Any = figures
    for name in path.split("."):
        value = value[int(name)] if name.isdigit() else getattr(value, name)
    return value


# One piece of 120 m, 150 cm wide; 10 ends and 9 picks per cm finished.
#   width      150 / 0.90 = 166.7 grey / 0.94 = 177.3 in the reed; x 4.23 dents = 750 dents, 1500 ends
#              back from the dents: 750 / 4.23 = 177.305, up: 177.4 reed; x 0.94 = 166.667, near: 166.7; x 0.9 = 150.0
#   grey       120 / 0.94 = 127.659, up: 127.7 m
#   warp       take-up 7 % of the yarn: 127.7 / 0.93 = 137.312, up: 137.4; + 0.5 header + 3.0 thrums = 140.9 m
#              (worked without a rounding on the way it is 140.8)
#   picks      127.7 x 846 = 108 034.2, up: 108 035 (120 m x 900 would be 108 000: the 0.04 m more that are woven)
#   loom       108 035 / (220 x 0.70) = 701.5, up: 702 min, 11.7 h
#   warp yarn  1500 x 140.9 = 211 350 m x 0.125 = 26 418.75, up: 26 419 g; / 0.98 = 26 958.2, up: 26 959 g; 27 cones
#   weft yarn  108 035 x 1.774 = 191 654.09, up: 191 654.1 m x 0.125 = 23 956.8, up: 23 957 g; / 0.95 = 25 217.9, up
#   lost       1500 x 3.5 x 0.125 = 656.25, up: 657 g
#   sections   1500 / 300 = 5; the creel has 300 packages of 5 x 140.9 / 0.98 = 718.88, up: 718.9 m
#   warping    75 + 5 x (140.9 / 250 + 8) + 140.9 / 40 + 15 = 136.3, up: 137 min
#   beam       0.18^2 + 4 / pi x 26.419 / (350 x 1.78) = 0.0864 = 0.29393^2, up: 294 mm; 95 + 26.419, up: 121.5 kg
#   mass       (9.00 x 125 x 1.075269 + 8.46 x 125 / 0.94) / 10 = 120.97 + 112.5 = 233.5 g/m2;
#              x 0.92 / (0.9 x 0.94) = 253.9 finished; 233.5 x 1.667 = 389.2 g/m grey, 253.9 x 1.5 = 380.9 finished
#   piece      127.7 x 389.2 = 49 701 g grey; 120 x 380.9 = 45 708 g finished
CHAIN_120M = Sheet(
    runs=(Run("101/1", "Fernside", tweed(warp_crimp_pct=crimp_pct_from_take_up(D(7))), 1, D(120)),),
    loom=SHUTTLE_LOOM,
    beam=BEAM,
    figures={
        "ends": 1500,
        "cloth.dents": 750,
        "cloth.reed_width_cm": D("177.4"),
        "cloth.grey_width_cm": D("166.7"),
        "cloth.overall_width_cm": D("150.0"),
        "cloth.made_width_cm": D("150.0"),
        "cloth.width_gain_cm": D("0.0"),
        "cloth.reed_ends_per_cm": D("8.46"),
        "cloth.grey_ends_per_cm": D("9.00"),
        "cloth.finished_ends_per_cm": D("10.00"),
        "cloth.finished_picks_per_cm": D("9.00"),
        "cloth.warp_take_up_pct": D("7.00"),
        "cloth.loom_g_per_m2": D("233.5"),
        "cloth.finished_g_per_m2": D("253.9"),
        "cloth.loom_g_per_m": D("389.2"),
        "cloth.finished_g_per_m": D("380.9"),
        "cloth.healds": (375, 375, 375, 375),
        "runs.0.grey_length_m": D("127.7"),
        "runs.0.warp_length_per_piece_m": D("137.4"),
        "runs.0.picks_per_piece": 108_035,
        "runs.0.cut_marks_m": (D("137.9"),),
        "runs.0.weaving_min": 702,
        "runs.0.grey_piece_g": 49_701,
        "runs.0.finished_piece_g": 45_708,
        "warp_length_m": D("140.9"),
        "picks": 108_035,
        "weaving_min": 702,
        "loom_hours": D("11.7"),
        "warp_yarns.0.length_m": D("211350.0"),
        "warp_g": 26_419,
        "warp_issue_g": 26_959,
        "warp_yarns.0.cones": 27,
        "weft_yarns.0.length_m": D("191654.1"),
        "weft_g": 23_957,
        "weft_issue_g": 25_218,
        "sized_warp_g": 26_419,
        "thrums_g": 657,
        "packages": 300,
        "package_length_m": D("718.9"),
        "warping_min": 137,
        "beam_diameter_mm": 294,
        "beam_gross_kg": D("121.5"),
    },
)

# A plaid: whole repeats of A24 B2 C6 B2, 34 ends, with 12 ends of B at each side; three pieces of 60 m.
#   width      scour 6 %: 140 / 0.94 / 0.95 x 12 ends per cm = 1881.3 ends = 55.3 repeats, up: 56 x 34 = 1904
#              952 dents + 2 x 6 = 964; 964 / 6 = 160.667, up: 160.7 reed; x 0.95 = 152.633, near: 152.6; x 0.94 = 143.5
#              between the selvedges 1904 / 12 x 0.95 x 0.94 = 141.689: 141.7, and 1.7 wider than asked
#   ends       A 24 x 56 = 1344; B 4 x 56 + 24 = 248; C 6 x 56 = 336; together 1928
#   grey       scour 4 %, press 1 %: 60 / 0.96 / 0.99 = 63.131, up: 63.2 m; x 1.08 = 68.256, up: 68.3 m of warp
#   warp       3 x 68.3 + 3 x 0.5 + 3.0 = 209.4 m; marks at 68.8, 137.6, 206.4
#   picks      63.2 x 1100 = 69 520 = 2044 repeats and 24: A 49 080, B 8176, C 12 264; three times that
#   weft       each pick 160.7 + 9 = 169.7 cm: A 147 240 x 1.697 = 249 866.28, up: 249 866.3 m
#              x 0.0625 = 15 616.6, up: 15 617 g; / 0.95 = 16 438.9, up: 16 439
#              B 24 528 x 1.697 = 41 624.1 m, 2602 g, 2739 g; C 36 792 x 1.697 = 62 436.1 m x 0.05 = 3122 g, 3287 g
#   warp yarn  A 1344 x 209.4 = 281 433.6 m, 17 590 g, 17 949 g; B 248 x 209.4 = 51 931.2 m, 3246 g, 3313 g;
#              C 336 x 209.4 = 70 358.4 m x 0.05 = 3518 g, 3590 g
#   sections   1928 / 300 needs 7; 56 repeats / 7 = 8 each: 272, and 12 more at each side
#   creel      A 8 x 24 = 192; B 8 x 4 + 12 = 44; C 48: 284 packages of 7 x 209.4 / 0.98 = 1495.7, up: 1495.8 m
#   warping    75 + 7 x (209.4 / 250 + 8) + 209.4 / 40 + 15 = 157.1, up: 158 min
#   loom       208 560 / (250 x 0.75) = 1112.3, up: 1113 min; 18.55, up: 18.6 h
PLAID = Cloth(
    name="Sheep-fold plaid",
    revision=3,
    finished_width_cm=D(140),
    reed_dents_per_10cm=D(60),
    ends_per_dent=2,
    selvedge_ends=24,
    whole_repeats=True,
    loom_picks_per_cm=D(11),
    warp_crimp_pct=D(8),
    weaving_contraction_pct=D(5),
    warp_waste_pct=D(2),
    weft_waste_pct=D(5),
    size_add_on_pct=D(0),
    route=route(("scour", "6", "4", "6"), ("press", "0", "1", "0")),
    warp_order=read_order("A24 B2 C6 B2"),
    weft_order=read_order("A24 B2 C6 B2"),
    yarns={
        "A": YarnUse("F1", "slate", "#47525e", D("62.5"), "worsted"),
        "B": YarnUse("F2", "bone", "#e8e0cd", D("62.5"), "worsted"),
        "C": YarnUse("F3", "rowan", "#a5402d", D(50), "worsted"),
    },
    threading=(1, 2, 3, 4),
    lifting=TWILL,
    selvedge_letter="B",
)
PLAID_3_PIECES = Sheet(
    runs=(Run("102/1", "Ostler", PLAID, 3, D(60)),),
    loom=RAPIER_LOOM,
    beam=None,
    figures={
        "ends": 1928,
        "cloth.ground_ends": 1904,
        "cloth.repeats": 56,
        "cloth.part_repeat_ends": 0,
        "cloth.dents": 964,
        "cloth.reed_width_cm": D("160.7"),
        "cloth.grey_width_cm": D("152.6"),
        "cloth.overall_width_cm": D("143.5"),
        "cloth.made_width_cm": D("141.7"),
        "cloth.width_gain_cm": D("1.7"),
        "cloth.length_shrink_pct": D("4.96"),
        "runs.0.grey_length_m": D("63.2"),
        "runs.0.warp_length_per_piece_m": D("68.3"),
        "warp_length_m": D("209.4"),
        "runs.0.cut_marks_m": (D("68.8"), D("137.6"), D("206.4")),
        "runs.0.picks_per_piece": 69_520,
        "picks": 208_560,
        "weft_yarns.0.threads": 147_240,
        "weft_yarns.1.threads": 24_528,
        "weft_yarns.2.threads": 36_792,
        "weft_yarns.0.length_m": D("249866.3"),
        "weft_yarns.1.length_m": D("41624.1"),
        "weft_yarns.2.length_m": D("62436.1"),
        "weft_yarns.0.net_g": 15_617,
        "weft_yarns.0.issue_g": 16_439,
        "weft_yarns.1.net_g": 2602,
        "weft_yarns.1.issue_g": 2739,
        "weft_yarns.2.net_g": 3122,
        "weft_yarns.2.issue_g": 3287,
        "warp_yarns.0.threads": 1344,
        "warp_yarns.1.threads": 248,
        "warp_yarns.2.threads": 336,
        "warp_yarns.0.net_g": 17_590,
        "warp_yarns.0.issue_g": 17_949,
        "warp_yarns.1.net_g": 3246,
        "warp_yarns.1.issue_g": 3313,
        "warp_yarns.2.net_g": 3518,
        "warp_yarns.2.issue_g": 3590,
        "warp_g": 24_354,
        "warp_issue_g": 24_852,
        "sections.0.ends": 284,
        "sections.1.ends": 272,
        "sections.6.ends": 284,
        "sections.0.colours": "B12 (A24 B2 C6 B2)x8",
        "sections.1.colours": "(A24 B2 C6 B2)x8",
        "sections.6.colours": "(A24 B2 C6 B2)x7 A24 B2 C6 B14",
        "creel.0.packages": 44,
        "creel.1.packages": 192,
        "creel.2.packages": 48,
        "packages": 284,
        "package_length_m": D("1495.8"),
        "warping_min": 158,
        "weaving_min": 1113,
        "loom_hours": D("18.6"),
    },
)

# A heavily fulled coating: half the width goes and nearly half the length; two pieces of 54 m, 150 cm wide.
#   width      scour 20 %, mill 37.5 %: 150 / 0.8 / 0.625 = 300 grey; / 0.9375 = 320 in the reed; x 6 = 1920 ends
#   grey       scour 10 %, mill 40 %: 54 / 0.9 / 0.6 = 100 m; x 1.06 = 106 m; 2 x 106.5 + 3 = 216 m of warp
#   picks      100 x 550 = 55 000 each; 110 000 / (90 x 0.65) = 1880.3, up: 1881 min, 31.35, up: 31.4 h
#   setts      6.00 reed, 6.40 grey, 12.80 finished; picks 5.5 / 0.54 = 10.19 finished
#   mass       (6.4 x 250 x 1.06 + 5.5 x 250 / 0.9375) / 10 = 169.6 + 146.667 = 316.3 g/m2
#              loss: 0.92 x 0.98 = 0.9016, 9.84 %; 316.3 x 0.9016 / (0.5 x 0.54) = 1056.2 g/m2
#   warp yarn  1920 x 216 = 414 720 m x 0.25 = 103 680 g; / 0.98 = 105 795.9, up: 105 796 g
#   weft yarn  110 000 x 3.20 = 352 000 m x 0.25 = 88 000 g; / 0.95 = 92 631.6, up: 92 632 g
COATING = Cloth(
    name="Ferry coating",
    revision=2,
    finished_width_cm=D(150),
    reed_dents_per_10cm=D(30),
    ends_per_dent=2,
    selvedge_ends=0,
    whole_repeats=False,
    loom_picks_per_cm=D("5.5"),
    warp_crimp_pct=D(6),
    weaving_contraction_pct=D("6.25"),
    warp_waste_pct=D(2),
    weft_waste_pct=D(5),
    size_add_on_pct=D(0),
    route=route(("scour", "20", "10", "8"), ("mill", "37.5", "40", "0"), ("crop", "0", "0", "2")),
    warp_order=read_order("A1"),
    weft_order=read_order("A1"),
    yarns={"A": YarnUse("C1", "peat", "#3b2f26", D(250), "woollen")},
    threading=(1, 2, 3, 4),
    lifting=TWILL,
)
FULLED_COATING = Sheet(
    runs=(Run("103/1", "Lockhouse", COATING, 2, D(54)),),
    loom=BROAD_LOOM,
    beam=None,
    figures={
        "ends": 1920,
        "cloth.width_shrink_pct": D("50.00"),
        "cloth.length_shrink_pct": D("46.00"),
        "cloth.mass_loss_pct": D("9.84"),
        "cloth.reed_width_cm": D("320.0"),
        "cloth.grey_width_cm": D("300.0"),
        "cloth.made_width_cm": D("150.0"),
        "cloth.reed_ends_per_cm": D("6.00"),
        "cloth.grey_ends_per_cm": D("6.40"),
        "cloth.finished_ends_per_cm": D("12.80"),
        "cloth.finished_picks_per_cm": D("10.19"),
        "cloth.loom_g_per_m2": D("316.3"),
        "cloth.finished_g_per_m2": D("1056.2"),
        "runs.0.grey_length_m": D("100.0"),
        "runs.0.warp_length_per_piece_m": D("106.0"),
        "runs.0.targets.0.width_cm": D("240.0"),
        "runs.0.targets.0.length_m": D("90.0"),
        "runs.0.targets.1.width_cm": D("150.0"),
        "runs.0.targets.1.length_m": D("54.0"),
        "runs.0.targets.2.width_cm": D("150.0"),
        "warp_length_m": D("216.0"),
        "picks": 110_000,
        "weaving_min": 1881,
        "loom_hours": D("31.4"),
        "warp_g": 103_680,
        "warp_issue_g": 105_796,
        "weft_g": 88_000,
        "weft_issue_g": 92_632,
    },
)

# Two orders on one warp: 2 pieces of 60 m wefted in moss, then one of 47 m with straw in the weft and closer.
#   first      scour 6.25 %: 60 / 0.9375 = 64.0 m grey; x 1.075 = 68.8 m; 64 x 846 = 54 144 picks; two: 108 288
#   second     scour 6 %: 47 / 0.94 = 50.0 m; x 1.075 = 53.75, up: 53.8 m; 50 x 920 = 46 000 picks, half of them straw
#   warp       2 x 68.8 + 53.8 + 3 x 0.5 + 3.0 = 195.9 m; marks at 69.3, 138.6 and 138.6 + 54.3 = 192.9
#   warp yarn  1500 x 195.9 = 293 850 m x 0.125 = 36 731.25, up: 36 732 g; / 0.98 = 37 481.6, up: 37 482 g
#   weft       first: 108 288 x 1.774 = 192 102.9, up: 192 103.0 m, 24 013 g; / 0.95 = 25 276.8, up: 25 277 g
#              second, each colour: 23 000 x 1.774 = 40 802 m x 0.125 = 5100.25, up: 5101 g; / 0.95 = 5369.5, up: 5370 g
#              moss: 24 013 + 5101 = 29 114 g, 25 277 + 5370 = 30 647 g
#   loom       154 288 picks / 154 = 1001.9, up: 1002 min, 16.7 h; alone 704 (703.2) and 299 (298.7)
TWO_ORDERS = Sheet(
    runs=(
        Run("104/1", "Fernside", tweed(route=route(("scour", "10", "6.25", "8"))), 2, D(60)),
        Run(
            "105/2",
            "Ostler",
            tweed(name="Hill check", loom_picks_per_cm=D("9.2"), weft_order=read_order("B2 A2")),
            1,
            D(47),
        ),
    ),
    loom=SHUTTLE_LOOM,
    beam=BEAM,
    figures={
        "ends": 1500,
        "pieces": 3,
        "runs.0.grey_length_m": D("64.0"),
        "runs.0.warp_length_per_piece_m": D("68.8"),
        "runs.0.picks": 108_288,
        "runs.0.cut_marks_m": (D("69.3"), D("138.6")),
        "runs.0.weaving_min": 704,
        "runs.1.grey_length_m": D("50.0"),
        "runs.1.warp_length_per_piece_m": D("53.8"),
        "runs.1.picks": 46_000,
        "runs.1.cut_marks_m": (D("192.9"),),
        "runs.1.weaving_min": 299,
        "runs.1.weft_order": "B2 A2",
        "runs.1.weft.0.code": "W1",
        "runs.1.weft.0.threads": 23_000,
        "runs.1.weft.1.code": "W2",
        "runs.1.weft.1.issue_g": 5370,
        "warp_length_m": D("195.9"),
        "headers_m": D("1.5"),
        "warp_g": 36_732,
        "warp_issue_g": 37_482,
        "weft_yarns.0.threads": 131_288,
        "weft_yarns.0.net_g": 29_114,
        "weft_yarns.0.issue_g": 30_647,
        "weft_yarns.1.net_g": 5101,
        "weft_yarns.1.issue_g": 5370,
        "weft_g": 34_215,
        "weft_issue_g": 36_017,
        "picks": 154_288,
        "weaving_min": 1002,
        "loom_hours": D("16.7"),
    },
)

SHEETS = {
    "chain of 120 m": CHAIN_120M,
    "plaid": PLAID_3_PIECES,
    "fulled coating": FULLED_COATING,
    "two orders": TWO_ORDERS,
}


@dataclass(frozen=True)
class CostSheet:
    """lines, shares: by line, what the pencil found for the warp and for each of its pieces."""

    of: Sheet
    prices: dict[str, Stated]
    rates: Rates
    set_up: str
    set_up_min: int
    lines: dict[str, Decimal]
    total: Decimal
    per_m: Decimal
    shares: dict[str, tuple[Decimal, ...]] = field(default_factory=dict)
    mending_min_per_100_m: Decimal = NONE


def stated(amount: str) -> Stated:
    return Stated(D(amount), "in force from 1.1.2026")


HOURS = {"warping_per_h": stated("30"), "set_up_per_h": stated("24"), "loom_per_h": stated("18")}

# The chain of 120 m, gaited up for its own sake (585 min, the doctest of `gaiting.set_up_min`). Rates are made up.
#   warp yarn  26.959 kg x 9.50 = 256.1105, near: 256.11; of it thrums 256.11 x 3.0 / 140.9 = 5.453, near: 5.45
#              256.11 - 5.45 = 250.66 in the cloth
#   weft yarn  25.218 x 9.50 = 239.571, near: 239.57
#   warping    137 min / 60 x 30 = 68.50;  set-up 585 / 60 x 24 = 234.00;  weaving 702 / 60 x 18 = 210.60
#   finishing  scour, 127.7 m x 0.85 = 108.545, near: 108.55
#   mending    127.7 x 30 / 100 = 38.31 min / 60 x 21 = 13.4085, near: 13.41
#              250.66 + 239.57 + 68.50 + 5.45 + 234.00 + 210.60 + 108.55 + 13.41 = 1130.74
#   seconds    4 in 100, each fetching 60 % of its cost: 1130.74 x 0.04 x 0.40 / 0.96 = 18.846, near: 18.85; 1149.59
#   overhead   12 %: 137.9508, near: 137.95; 1287.54 in all; / 120 = 10.7295, near: 10.73 a finished metre
COST_OF_A_CHAIN = CostSheet(
    of=CHAIN_120M,
    prices={"W1": stated("9.50")},
    rates=Rates(
        "GBP",
        **HOURS,
        mending_per_h=stated("21"),
        steps={"scour": StepRate("m", stated("0.85"))},
        seconds_pct=stated("4"),
        worth_pct=stated("60"),
        overhead_pct=stated("12"),
    ),
    set_up="gait-up",
    set_up_min=585,
    mending_min_per_100_m=D(30),
    lines={
        "warp_yarn": D("250.66"),
        "weft_yarn": D("239.57"),
        "warping": D("68.50"),
        "thrums": D("5.45"),
        "set_up": D("234.00"),
        "weaving": D("210.60"),
        "finishing": D("108.55"),
        "mending": D("13.41"),
        "seconds": D("18.85"),
        "overhead": D("137.95"),
    },
    total=D("1287.54"),
    per_m=D("10.73"),
)

# Two pieces of 64 m and one of 50 m off the loom, 178 m; tied in (127 min). A share is what the lengths up to it come
# to, less what was taken before: 64 / 178, 128 / 178, the rest.
#   warp yarn  37.482 x 9.50 = 356.079, near: 356.08; thrums x 3.0 / 195.9 = 5.453, near: 5.45; 350.63 in the cloth:
#              126.069, 252.138, 350.63: 126.07 + 126.07 + 98.49
#   weft yarn  moss 30.647 x 9.50 = 291.1465, near: 291.15, by grams 12 638.5 + 12 638.5 + 5370 of 30 647: 120.067,
#              240.135, 291.15: 120.07 + 120.06 + 51.02; straw 5.370 x 11.20 = 60.144, near: 60.14, all for the third
#   warping    75 + 5 x (195.9 / 250 + 8) + 195.9 / 40 + 15 = 138.8, up: 139 min / 60 x 30 = 69.50: 24.989, 49.978
#   thrums     5.45: 1.960, 3.919: 1.96 + 1.96 + 1.53
#   set-up     127 / 60 x 24 = 50.80: 18.265, 36.530: 18.27 + 18.26 + 14.27
#   weaving    1002 / 60 x 18 = 300.60, by picks 54 144 + 54 144 + 46 000 of 154 288: 105.489, 210.978
#   finishing  scour by the kilogram: 64.0 x 389.1 = 24 902 g twice; 50.0 x 405.6 = 20 280 g; 70.084 kg x 1.40 = 98.118,
#              near: 98.12: 34.864, 69.727: 34.86 + 34.87 + 28.39
#   in all     350.63 + 351.29 + 69.50 + 5.45 + 50.80 + 300.60 + 98.12 = 1226.39; / (120 + 47) m = 7.344, near: 7.34
#   third      98.49 + 111.16 + 19.52 + 1.53 + 14.27 + 89.62 + 28.39 = 362.98
COST_OF_TWO_ORDERS = CostSheet(
    of=TWO_ORDERS,
    prices={"W1": stated("9.50"), "W2": stated("11.20")},
    rates=Rates("GBP", **HOURS, steps={"scour": StepRate("kg", stated("1.40"))}),
    set_up="tie-in",
    set_up_min=127,
    lines={
        "warp_yarn": D("350.63"),
        "weft_yarn": D("351.29"),
        "warping": D("69.50"),
        "thrums": D("5.45"),
        "set_up": D("50.80"),
        "weaving": D("300.60"),
        "finishing": D("98.12"),
    },
    shares={
        "warp_yarn": (D("126.07"), D("126.07"), D("98.49")),
        "weft_yarn": (D("120.07"), D("120.06"), D("111.16")),
        "warping": (D("24.99"), D("24.99"), D("19.52")),
        "thrums": (D("1.96"), D("1.96"), D("1.53")),
        "set_up": (D("18.27"), D("18.26"), D("14.27")),
        "weaving": (D("105.49"), D("105.49"), D("89.62")),
        "finishing": (D("34.86"), D("34.87"), D("28.39")),
    },
    total=D("1226.39"),
    per_m=D("7.34"),
)
