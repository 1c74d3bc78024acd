"""Candlebeck's looms, yarns, cloths and customers. All of it is made up: there is no such mill and no such cloth.

The figures are ones that a mill of its kind could have. Speeds, efficiencies, crimps and waste are from memory;
shrinkages lie where fulled and washed woollens lie in print, the heaviest by common practice, no source.
"""

from dataclasses import dataclass

NAME = "Candlebeck"


# The store

# Code, name, lead time in days.
SUPPLIERS = (
    ("KELD", "Keldgate Spinners", 42),
    ("OSK", "Oskwith Worsted", 56),
    ("THRUM", "Thrumley & Bay", 28),
    ("LINN", "Linnhope Flax", 35),
    ("SILV", "Silverthwaite Throwers", 70),
)
# Code, name, dark and seldom disturbed.
PLACES = (
    ("BAY-1", "North bay, upper racks", False),
    ("BAY-2", "North bay, lower racks", False),
    ("BAY-3", "South bay, upper racks", False),
    ("BAY-4", "South bay, lower racks", False),
    ("BAY-5", "Worsted racks", False),
    ("BAY-6", "Worsted racks, back", True),
    ("LOFT", "Loft over the warping", True),
    ("CAGE", "Cage by the hoist", False),
    ("DYE", "Shelf for shade matching", False),
    ("SHED", "Shed store, part cones", False),
)
# Name, whether larvae eat it, key of `inventory.yarn.REGAINS`.
FIBRES = (
    ("wool, carded", True, "eu-wool-carded"),
    ("wool, combed", True, "eu-wool-combed"),
    ("lambswool", True, "astm-wool"),
    ("flax", False, "eu-flax"),
    ("cotton", False, "eu-cotton"),
    ("silk", True, "eu-silk"),
)


@dataclass(frozen=True)
class Range:
    """Yarns of one count in several shades: (number, shade, colour)."""

    code: str
    count: str
    spinning: str
    fibre: str
    supplier: str
    min_order_kg: int
    place: str
    shades: tuple[tuple[str, str, str], ...]


RANGES = (
    Range(
        "FELL",
        "16 ysw",
        "woollen",
        "wool, carded",
        "KELD",
        50,
        "BAY-1",
        (
            ("01", "chalk", "#d9d3c4"),
            ("02", "oat", "#c4b393"),
            ("03", "moss", "#5b6b4e"),
            ("04", "bracken", "#8a4f2b"),
            ("05", "straw", "#cfb57a"),
            ("06", "peat", "#40332a"),
            ("07", "rain", "#7a8893"),
            ("08", "slate", "#4a535c"),
            ("09", "sloe", "#3a3350"),
            ("10", "rowan", "#94362c"),
            ("11", "bramble", "#5c2e45"),
            ("12", "spruce", "#2f4a3f"),
        ),
    ),
    Range(
        "BURN",
        "20 gala cut",
        "woollen",
        "wool, carded",
        "THRUM",
        40,
        "BAY-2",
        (
            ("01", "fleece", "#dcd5c3"),
            ("02", "lichen", "#a3a487"),
            ("03", "fox", "#9a5530"),
            ("04", "heather", "#7d6179"),
            ("05", "loam", "#4b3a2c"),
            ("06", "beck", "#3e5a6e"),
            ("07", "gorse", "#c29a2e"),
            ("08", "ember", "#a23e22"),
        ),
    ),
    Range(
        "GARTH",
        "9 ysw",
        "woollen",
        "wool, carded",
        "KELD",
        100,
        "CAGE",
        (
            ("01", "natural", "#cfc4ac"),
            ("02", "mist", "#9aa09f"),
            ("03", "charcoal", "#3b3c3e"),
            ("04", "tobacco", "#6f4e30"),
            ("05", "juniper", "#3b4d43"),
            ("06", "russet", "#7f3b24"),
        ),
    ),
    Range(
        "HAGG",
        "11 ysw",
        "woollen",
        "wool, carded",
        "KELD",
        100,
        "CAGE",
        (
            ("01", "bog oak", "#2c2523"),
            ("02", "navy", "#232f47"),
            ("03", "bottle", "#22382f"),
            ("04", "dun", "#b58a58"),
        ),
    ),
    Range(
        "MERE",
        "2/28 nm",
        "woollen",
        "lambswool",
        "THRUM",
        30,
        "BAY-3",
        (
            ("01", "cream", "#e6dcc6"),
            ("02", "dove", "#b7b3ab"),
            ("03", "duck egg", "#9db5b0"),
            ("04", "plum", "#5b3348"),
            ("05", "denim", "#516a86"),
            ("06", "sage", "#8b9a7c"),
            ("07", "coral", "#c0664f"),
            ("08", "ink", "#2d3344"),
            ("09", "honey", "#c99a4b"),
        ),
    ),
    Range(
        "TARN",
        "2/48 nw",
        "worsted",
        "wool, combed",
        "OSK",
        25,
        "BAY-5",
        (
            ("01", "graphite", "#3f4347"),
            ("02", "silver", "#a9adb0"),
            ("03", "midnight", "#1f2838"),
            ("04", "fawn", "#b39c7d"),
            ("05", "claret", "#571f2b"),
            ("06", "steel", "#667585"),
            ("07", "walnut", "#52402f"),
            ("08", "ivory", "#e3dac8"),
        ),
    ),
    Range(
        "CRAG",
        "2/32 nw",
        "worsted",
        "wool, combed",
        "OSK",
        25,
        "BAY-6",
        (
            ("01", "ecru", "#d6cbb4"),
            ("02", "pewter", "#777b7e"),
            ("03", "teal", "#2c5358"),
            ("04", "madder", "#8d3a33"),
            ("05", "olive", "#5f5f3a"),
        ),
    ),
    Range(
        "RETT",
        "14 lea",
        "linen",
        "flax",
        "LINN",
        50,
        "BAY-4",
        (("01", "unbleached", "#b3a88f"), ("02", "half white", "#d8cfbb")),
    ),
    Range(
        "RETF",
        "25 lea",
        "linen",
        "flax",
        "LINN",
        40,
        "BAY-4",
        (("01", "flax", "#b8ab8e"), ("02", "bleached", "#e5dfd0")),
    ),
    Range(
        "COOM",
        "2/16 ne",
        "cotton",
        "cotton",
        "LINN",
        40,
        "BAY-4",
        (("01", "white", "#e9e5da"), ("02", "stone", "#b9ae9d")),
    ),
    Range(
        "SILL",
        "20/2 silk",
        "silk",
        "silk",
        "SILV",
        5,
        "DYE",
        (("01", "pearl", "#e8e2d4"), ("02", "gilt", "#c8a24a")),
    ),
)


# The shed

# Name, hours.
PATTERNS = (
    ("One shift", "Mon-Fri 06:00-14:00"),
    ("Two shifts", "Mon-Fri 06:00-14:00, 14:00-22:00"),
    ("Two shifts and Saturday", "Mon-Fri 06:00-14:00, 14:00-22:00; Sat 06:00-12:00"),
    ("Day work", "Mon-Thu 07:30-16:30; Fri 07:30-13:00"),
)
# Early, late and Saturday: three tuners' shifts.
TUNER_HOURS = "Mon-Fri 06:00-14:00, 14:00-22:00; Sat 06:00-12:00"
WARPING_HOURS = "Mon-Fri 06:00-14:00, 14:00-22:00"


# Short code, name and trade.
WORKERS = (
    ("UNA", "Una Bellwether", "weaver"),
    ("TOM", "Tom Ashlar", "weaver"),
    ("IDA", "Ida Flintoff", "weaver"),
    ("KIT", "Kit Merrow", "weaver"),
    ("ROB", "Rob Thornaby", "tuner"),
    ("ELS", "Elsa Pikestaff", "tuner"),
    ("WIN", "Winnie Copeland", "warper"),
    ("MAY", "May Dunnock", "mender"),
    ("JOE", "Joe Larkspur", "mender"),
    ("FIN", "Finlay Moorcock", "finisher"),
    ("NAN", "Nan Reedling", "finisher"),
    ("SAM", "Sam Holloway", "store"),
)
# Who signs in to the book: by which name, and with which roles. Nobody has a password until the owner gives one.
PEOPLE = (
    ("hester", "Hester Alderslade", ("planner",)),
    ("sam", "Sam Holloway", ("stock keeper",)),
    ("winnie", "Winnie Copeland", ("warper",)),
    ("rob", "Rob Thornaby", ("weaver or tuner",)),
    ("finlay", "Finlay Moorcock", ("finisher",)),
    ("bertil", "Bertil Oxnam", ("reader",)),
)
# Name, the step that it does, metres in a working day. From memory.
MACHINES = (
    ("Dolly 1", "scour", "600"),
    ("Dolly 2", "scour", "450"),
    ("Milling machine", "mill", "240"),
    ("Washing-off dolly", "wash off", "500"),
    ("Tenter", "tenter and dry", "900"),
    ("Raising gig", "raise", "500"),
    ("Cropping machine", "crop", "1200"),
    ("Rotary press", "press", "1100"),
    ("Decatiser", "decatise", "700"),
)

# Money, in pounds: all of it made up.
# By the letters of a yarn's code, a kilogram.
PRICES_PER_KG = {
    "FELL": "9.40",
    "BURN": "9.90",
    "GARTH": "8.10",
    "HAGG": "8.40",
    "MERE": "24.50",
    "TARN": "21.80",
    "CRAG": "19.60",
    "RETT": "14.20",
    "RETF": "17.30",
    "COOM": "7.60",
    "SILL": "68.00",
}
# Kind, of, basis, amount.
RATES = (
    ("warping", "", "", "31.00"),
    ("set-up", "", "", "27.50"),
    ("loom", "", "", "16.00"),
    ("loom", "pedal loom", "", "19.00"),
    ("loom", "jacquard rapier", "", "21.50"),
    ("mending", "", "", "18.20"),
    ("mending allowed", "", "", "35"),
    ("step", "scour", "m", "0.42"),
    ("step", "mill", "kg", "1.15"),
    ("step", "wash off", "m", "0.30"),
    ("step", "tenter and dry", "m", "0.38"),
    ("step", "raise", "day", "310.00"),
    ("step", "crop", "day", "265.00"),
    ("step", "press", "m", "0.22"),
    ("step", "decatise", "m", "0.35"),
    ("seconds", "", "", "3"),
    ("worth", "", "", "55"),
    ("overhead", "", "", "14"),
    ("margin", "", "", "28"),
)
RAISED_RATES = (("warping", "", "", "32.50"), ("loom", "", "", "16.80"), ("mending", "", "", "19.10"))


@dataclass(frozen=True)
class LoomOf:
    """A kind of loom; `reed_spaces_cm` and `ppms` are those of each, in turn."""

    letter: str
    kind: str
    reed_spaces_cm: tuple[str, ...]
    ppms: tuple[int, ...]
    efficiencies_pct: tuple[str, ...]
    shafts: int
    weft_colours: int
    max_flange_mm: int
    tail_cm: str
    pattern: str
    is_jacquard: bool = False


LOOMS = (
    LoomOf("P", "pedal loom", ("160", "160", "130"), (64, 60, 58), ("62", "60", "64"), 8, 6, 500, "0", "Day work"),
    LoomOf(
        "W",
        "wide power shuttle",
        ("360", "350", "345"),
        (96, 100, 92),
        ("68", "66", "70"),
        8,
        4,
        900,
        "0",
        "Two shifts",
    ),
    LoomOf(
        "D",
        "dobby rapier",
        ("220", "200", "200", "190"),
        (250, 240, 260, 230),
        ("72", "70", "74", "69"),
        16,
        8,
        800,
        "9",
        "Two shifts",
    ),
    LoomOf(
        "J",
        "jacquard rapier",
        ("200", "190"),
        (220, 210),
        ("70", "68"),
        0,
        8,
        800,
        "8",
        "One shift",
        is_jacquard=True,
    ),
)
# So many, width between the flanges, barrel, flange, empty.
BEAMS = (
    (7, "160", 120, 480, "42"),
    (13, "200", 180, 760, "96"),
    (8, "220", 180, 800, "108"),
    (4, "280", 200, 800, "150"),
    (8, "350", 216, 900, "192"),
)
# Code, stamped, dents in 10 cm, width, how many.
REEDS = (
    ("R24", "24 per 10 cm", "24", "350", 2),
    ("R26", "26 per 10 cm", "26", "360", 2),
    ("R30", "30 per 10 cm", "30", "300", 2),
    ("R32", "32 per 10 cm", "32", "200", 2),
    ("R40", "40 per 10 cm", "40", "200", 2),
    ("R42", "42.3 per 10 cm", "42.3", "210", 3),
    ("R42B", "42.3 per 10 cm", "42.3", "350", 1),
    ("R44", "44 per 10 cm", "44", "200", 2),
    ("R47", "Huddersfield 12", "47.244", "200", 1),
    ("R53", "53 per 10 cm", "53", "200", 3),
    ("R60", "60 per 10 cm", "60", "190", 2),
    ("R63", "Stockport 32", "62.992", "200", 2),
    ("R79", "Stockport 40", "78.74", "200", 1),
    ("R100", "100 per 10 cm", "100", "190", 2),
)


# The cloths


@dataclass(frozen=True)
class Recipe:
    """A cloth as it is specified now. Names are those of ClothSpec; notations those of a CSV file of cloths.

    piece_m      how long its pieces are ordered
    pieces       how many of them a line has, at most
    wanted       how often it is ordered, beside the others
    before       what its earlier revisions said otherwise, the first first: days ago that the next was made, its note,
                 columns
    """

    code: str
    name: str
    finished_width_cm: str
    reed_dents_per_10cm: str
    ends_per_dent: int
    loom_picks_per_cm: str
    warp_order: str
    weft_order: str
    threading: str
    lifting: str
    route: str
    colourways: tuple[tuple[str, str], ...]
    piece_m: tuple[int, ...]
    pieces: int
    wanted: int
    warp_crimp_pct: str = "7"
    weaving_contraction_pct: str = "6"
    warp_waste_pct: str = "2"
    weft_waste_pct: str = "5"
    size_add_on_pct: str = "0"
    selvedge_ends: int = 32
    selvedge_letter: str = ""
    whole_repeats: bool = False
    finishing_days: int = 10
    before: tuple[tuple[int, str, dict[str, str]], ...] = ()


# A revision that was made when the tickets of its warps were on the floor already.
YESTERDAY = 1
PLAIN, TWILL = "1 2", "1+2 2+3 3+4 1+4"
RECIPES = (
    Recipe(
        "FLI",
        "Flinder plaid",
        "147",
        "53",
        2,
        "10.4",
        "A24 B4 A4 B4 A24 C12 B2 C12",
        "A24 B4 A4 B4 A24 C12 B2 C12",
        "1-4",
        TWILL,
        "scour w9 l5 m6 / tenter and dry w-1 / press (cold)",
        (
            ("cream and plum", "A=MERE-01 B=MERE-04 C=MERE-02"),
            ("denim", "A=MERE-05 B=MERE-01 C=MERE-08"),
            ("sage and coral", "A=MERE-06 B=MERE-07 C=MERE-03"),
            ("honey", "A=MERE-09 B=MERE-08 C=MERE-02"),
        ),
        (50, 55),
        6,
        10,
        whole_repeats=True,
        finishing_days=8,
        before=(
            (230, "Closer picks: the first pieces slipped.", {"loom_picks_per_cm": "9.6"}),
            (
                75,
                "Shrinks less since the new scouring agent.",
                {"route": "scour w11 l7 m6 / tenter and dry w-1 / press (cold)"},
            ),
        ),
    ),
    Recipe(
        "HIL",
        "Hallin hill tweed",
        "150",
        "42.3",
        2,
        "8.46",
        "A1",
        "A1",
        "1-4",
        TWILL,
        "scour w10 l6 m8 / tenter and dry / crop m1 / press",
        (("moss", "A=FELL-03"), ("slate", "A=FELL-08"), ("bracken", "A=FELL-04")),
        (60,),
        8,
        10,
        warp_crimp_pct="7.5",
    ),
    Recipe(
        "HER",
        "Sallow herringbone",
        "150",
        "44",
        2,
        "8.8",
        "A1",
        "B1",
        "1-4 1-4 2 1 4-1 4 3",
        TWILL,
        "scour w10 l6 m8 / tenter and dry / crop m1 / press",
        (
            ("peat and oat", "A=FELL-06 B=FELL-02"),
            ("sloe and rain", "A=FELL-09 B=FELL-07"),
            ("spruce and straw", "A=FELL-12 B=FELL-05"),
        ),
        (60, 62),
        6,
        9,
        before=((YESTERDAY, "Firmer: the customer found it loose in the seams.", {"loom_picks_per_cm": "8.5"}),),
    ),
    Recipe(
        "OVC",
        "Ravel overcheck",
        "150",
        "40",
        2,
        "8",
        "A28 B2 A28 C2",
        "A28 B2 A28 C2",
        "1-4",
        TWILL,
        "scour w11 l7 m8 / tenter and dry / press",
        (
            ("lichen", "A=BURN-02 B=BURN-08 C=BURN-06"),
            ("loam", "A=BURN-05 B=BURN-07 C=BURN-03"),
            ("heather", "A=BURN-04 B=BURN-01 C=BURN-05"),
        ),
        (60,),
        6,
        8,
        whole_repeats=True,
        before=((140, "Opened by a dent in ten: it handled like board.", {"reed_dents_per_10cm": "44"}),),
    ),
    Recipe(
        "HOU",
        "Quern houndstooth",
        "148",
        "42.3",
        2,
        "8.4",
        "A4 B4",
        "A4 B4",
        "1-4",
        TWILL,
        "scour w10 l6 m8 / tenter and dry / crop m1 / press",
        (("chalk and peat", "A=FELL-01 B=FELL-06"), ("oat and rowan", "A=FELL-02 B=FELL-10")),
        (60,),
        5,
        6,
        whole_repeats=True,
    ),
    Recipe(
        "SUI",
        "Ostler suiting",
        "150",
        "100",
        2,
        "18",
        "A1",
        "A1",
        "1-4",
        TWILL,
        "scour w4 l3 m3 / crop m1 / decatise l1 / press",
        (("graphite", "A=TARN-01"), ("midnight", "A=TARN-03"), ("fawn", "A=TARN-04")),
        (55, 60),
        6,
        8,
        warp_crimp_pct="6",
        weaving_contraction_pct="5",
        weft_waste_pct="4",
        selvedge_ends=48,
        finishing_days=7,
    ),
    Recipe(
        "STR",
        "Ostler stripe",
        "150",
        "100",
        2,
        "17.6",
        "A46 B2",
        "A1",
        "1-4",
        TWILL,
        "scour w4 l3 m3 / crop m1 / decatise l1 / press",
        (("midnight and pearl", "A=TARN-03 B=SILL-01"), ("walnut and gilt", "A=TARN-07 B=SILL-02")),
        (55,),
        4,
        5,
        warp_crimp_pct="6",
        weaving_contraction_pct="5",
        weft_waste_pct="4",
        selvedge_ends=48,
        finishing_days=7,
    ),
    Recipe(
        "SHA",
        "Gossamer shawl cloth",
        "110",
        "62.992",
        2,
        "11.8",
        "A1",
        "A1",
        PLAIN,
        "1 2",
        "scour w7 l5 m3 / tenter and dry",
        (("ivory", "A=TARN-08"), ("claret", "A=TARN-05"), ("steel", "A=TARN-06"), ("silver", "A=TARN-02")),
        (40, 45),
        4,
        6,
        warp_crimp_pct="5",
        selvedge_ends=40,
        finishing_days=6,
    ),
    Recipe(
        "HOP",
        "Byre throw",
        "120",
        "32",
        2,
        "6.4",
        "A20 B20",
        "A20 B20",
        "1 1 2 2",
        "1 1 2 2",
        "scour w10 l7 m8 / mill w4 l3 m1 / raise w1 m2 / press",
        (("fleece and fox", "A=BURN-01 B=BURN-03"), ("beck and lichen", "A=BURN-06 B=BURN-02")),
        (45, 50),
        5,
        6,
        whole_repeats=True,
        finishing_days=12,
    ),
    Recipe(
        "LOZ",
        "Marl lozenge",
        "145",
        "78.74",
        2,
        "14.6",
        "A1",
        "B1",
        "1-16 15-2",
        "1+2+5+6+9+10+11+14 2+3+6+7+10+11+12+15 3+4+7+8+11+12+13+16 1+4+5+8+9+12+13+14"
        " 2+5+6+9+10+13+14+15 3+6+7+10+11+14+15+16 1+4+7+8+11+12+15+16 1+2+5+8+9+12+13+16"
        " 1+2+3+6+9+10+13+14 2+3+4+7+10+11+14+15 3+4+5+8+11+12+15+16 1+4+5+6+9+12+13+16"
        " 1+2+5+6+7+10+13+14 2+3+6+7+8+11+14+15 3+4+7+8+9+12+15+16 1+4+5+8+9+10+13+16",
        "scour w5 l4 m3 / crop m1 / decatise l1 / press",
        (
            ("ecru and teal", "A=CRAG-01 B=CRAG-03"),
            ("pewter and madder", "A=CRAG-02 B=CRAG-04"),
            ("olive", "A=CRAG-05 B=CRAG-01"),
        ),
        (50,),
        5,
        6,
        warp_crimp_pct="6",
        weaving_contraction_pct="5",
        selvedge_ends=48,
        finishing_days=8,
    ),
    Recipe(
        "FIG",
        "Withy figured linen union",
        "142",
        "47.244",
        2,
        "9.2",
        "A1",
        "B1",
        "1-20 19-2",
        "1+2+3+6+7+9+11+12+16+17 2+3+4+7+8+10+12+13+17+18 3+4+5+8+9+11+13+14+18+19 4+5+6+9+10+12+14+15+19+20"
        " 1+5+6+7+10+11+13+15+16+20 1+2+6+7+8+11+12+14+16+17 2+3+7+8+9+12+13+15+17+18 3+4+8+9+10+13+14+16+18+19"
        " 4+5+9+10+11+14+15+17+19+20 1+5+6+10+11+12+15+16+18+20 1+2+6+7+11+12+13+16+17+19 2+3+7+8+12+13+14+17+18+20"
        " 1+3+4+8+9+13+14+15+18+19 2+4+5+9+10+14+15+16+19+20 1+3+5+6+10+11+15+16+17+20 1+2+4+6+7+11+12+16+17+18"
        " 2+3+5+7+8+12+13+17+18+19 3+4+6+8+9+13+14+18+19+20 1+4+5+7+9+10+14+15+19+20 1+2+5+6+8+10+11+15+16+20",
        "scour w5 l4 m4 / tenter and dry / press",
        (("unbleached and spruce", "A=RETT-01 B=FELL-12"), ("half white and bramble", "A=RETT-02 B=FELL-11")),
        (50,),
        4,
        5,
        warp_crimp_pct="8",
        weaving_contraction_pct="5",
        size_add_on_pct="6",
        finishing_days=8,
    ),
    Recipe(
        "LIN",
        "Hythe linen stripe",
        "145",
        "60",
        2,
        "11.2",
        "A12 B4 A2 B4",
        "C1",
        PLAIN,
        "1 2",
        "wash off w5 l5 m4 / tenter and dry w-1 / press",
        (
            ("white and stone", "A=COOM-01 B=COOM-02 C=RETF-02"),
            ("stone and flax", "A=COOM-02 B=COOM-01 C=RETF-01"),
        ),
        (50,),
        4,
        5,
        warp_crimp_pct="8",
        weaving_contraction_pct="5",
        selvedge_ends=24,
        finishing_days=5,
    ),
    Recipe(
        "BLA",
        "Drover blanket",
        "200",
        "30",
        2,
        "5.6",
        "A60 B8 A60 C8",
        "A60 B8 A60 C8",
        "1-4",
        TWILL,
        "scour w10 l8 m8 / mill w14 l10 m2 / tenter and dry w-2 / raise w2 m3 / press",
        (
            ("natural and russet", "A=GARTH-01 B=GARTH-06 C=GARTH-04"),
            ("mist", "A=GARTH-02 B=GARTH-03 C=GARTH-01"),
            ("juniper", "A=GARTH-05 B=GARTH-01 C=GARTH-03"),
        ),
        (40,),
        5,
        6,
        warp_crimp_pct="8",
        selvedge_ends=24,
        finishing_days=15,
    ),
    Recipe(
        "FUL",
        "Scarth fulled coating",
        "150",
        "26",
        2,
        "5",
        "A1",
        "A1",
        "1-4",
        TWILL,
        "grey perch / scour w8 l6 m9 / mill w45 l39 m4 (to 153 cm) / wash off m1 / tenter and dry w-1 / raise w2 m2"
        " / crop m1 / raise w1 m1 / crop m1 / press / decatise l1",
        (("navy", "A=HAGG-02"), ("bottle", "A=HAGG-03"), ("dun", "A=HAGG-04"), ("bog oak", "A=HAGG-01")),
        (35, 40),
        4,
        7,
        warp_crimp_pct="8",
        selvedge_ends=24,
        finishing_days=20,
        before=(
            (
                120,
                "Milled further and set wider: it must stand like felt.",
                {"reed_dents_per_10cm": "24", "route": "scour w8 l6 m9 / mill w40 l34 m4 / press"},
            ),
        ),
    ),
)

# Code, name, what is to be known of them.
# Customers with whom a stricter limit of points in 100 square yards is agreed than the mill's own.
POINTS_LIMITS = {"ARDEN": "28", "CORM": "24"}
CUSTOMERS = (
    ("ARDEN", "Arden, Voss and Lull", "Rolls on tubes, never on boards."),
    ("BEAU", "Beaulow Outfitting", ""),
    ("CORM", "Cormorant Lane Tailors", "Telephones on Mondays."),
    ("DAUN", "Dauncey & Thrale", ""),
    ("EVER", "Everingham Coats", "Takes 5 % over, nothing under."),
    ("FERN", "Fernside & Daughter", ""),
    ("GILL", "Gillyflower Interiors", "Wants a cutting of each piece beforehand."),
    ("HOLT", "Holtwick School Outfitters", "Due dates are term dates."),
    ("IVES", "Ives Quarrell", ""),
    ("JESS", "Jessop Hay Millinery", ""),
    ("KITT", "Kittiwake Rooms", ""),
    ("LARK", "Larkham and Prue", "Collects."),
    ("MOSS", "Mossgate Sewing Rooms", ""),
    ("NETH", "Netherby Orchard Blankets", "Labels on the inside."),
    ("ORRE", "Orrell Pike Menswear", ""),
    ("PELL", "Pellitory House", ""),
    ("QUIN", "Quince & Marrow", ""),
    ("ROOK", "Rookhope Theatre Wardrobe", "Short notice."),
    ("SEAT", "Seaton Brow Upholsterers", "Fire-tests every dye lot."),
    ("TWEL", "Twelve Acre Cloth Shop", "Small pieces welcome."),
)
