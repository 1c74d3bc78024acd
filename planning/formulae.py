"""The formulae in the trade's words: what a figure is called, its rule, unit and source. Works nothing out."""

from dataclasses import dataclass

PRACTICE = "common practice, no source"
DEFINED = "by definition"
ISO_CRIMP = "ISO 7211-3: crimp is a share of the cloth's length"
TAYLOR_WEFT = "Taylor, Cotton Weaving and Designing (1909): weft is laid at the width in the reed"
ASHENHURST = "Ashenhurst's diameters, as restated"
STEPS_COMPOUND = "each step's loss is a share of what enters it, so steps compound"
CONSERVED = "no end and no pick is lost in weaving or finishing"
SHARE_OF_ISSUE = "waste is a share of the yarn issued"


@dataclass(frozen=True, slots=True)
class Formula:
    """`label` may hold {of}: the yarn that the figure is of."""

    label: str
    formula: str
    unit: str
    source: str


# By the figure's own name; where two figures of one name are worked differently, by the name of the rule.
FORMULAE: dict[str, Formula] = {
    # The cloth.
    "width_shrink_pct": Formula(
        "Shrinkage in width", "1 less the product of what each step leaves", "%", STEPS_COMPOUND
    ),
    "length_shrink_pct": Formula(
        "Shrinkage in length", "1 less the product of what each step leaves", "%", STEPS_COMPOUND
    ),
    "mass_loss_pct": Formula(
        "Loss of mass in finishing", "1 less the product of what each step leaves", "%", STEPS_COMPOUND
    ),
    "ground_ends": Formula(
        "Ends of the ground",
        "finished width ÷ what finishing leaves ÷ what weaving leaves × reed × ends a dent, in whole dents, upwards",
        "ends",
        CONSERVED,
    ),
    "ground_ends_in_repeats": Formula(
        "Ends of the ground",
        "finished width ÷ what finishing leaves ÷ what weaving leaves × reed × ends a dent, made up to whole repeats",
        "ends",
        CONSERVED,
    ),
    "ends": Formula("Ends", "ground + selvedges, both sides", "ends", DEFINED),
    "dents": Formula("Dents in use", "of the ground + of the two selvedges", "dents", DEFINED),
    "reed_width_cm": Formula("Width in the reed, with selvedges", "dents in use ÷ dents per 10 cm", "cm", DEFINED),
    "grey_width_cm": Formula(
        "Grey width, with selvedges",
        "width in the reed × (1 − weaving contraction)",
        "cm",
        "contraction is a share of the reed width",
    ),
    "overall_width_cm": Formula(
        "Finished width, with selvedges", "grey width × what finishing leaves", "cm", STEPS_COMPOUND
    ),
    "made_width_cm": Formula(
        "Finished width between the selvedges",
        "ground ends ÷ ends per cm in the reed × what weaving and finishing leave",
        "cm",
        CONSERVED,
    ),
    "width_gain_cm": Formula(
        "Wider than asked", "finished width as made − as asked: what whole dents and repeats add", "cm", DEFINED
    ),
    "reed_ends_per_cm": Formula("Ends per cm in the reed", "dents per 10 cm × ends a dent ÷ 10", "per cm", DEFINED),
    "grey_ends_per_cm": Formula(
        "Ends per cm in the grey", "ends per cm in the reed ÷ what weaving leaves of the width", "per cm", CONSERVED
    ),
    "finished_ends_per_cm": Formula(
        "Ends per cm finished", "ends per cm in the grey ÷ what finishing leaves of the width", "per cm", CONSERVED
    ),
    "finished_picks_per_cm": Formula(
        "Picks per cm finished", "picks per cm in the grey ÷ what finishing leaves of the length", "per cm", CONSERVED
    ),
    "warp_take_up_pct": Formula("Warp take-up, of yarn length", "crimp ÷ (1 + crimp)", "%", ISO_CRIMP),
    "warp_tex": Formula("Mean count of the warp", "ends × tex of each yarn, ÷ all ends", "tex", "counts in tex add"),
    "weft_tex": Formula(
        "Mean count of the weft",
        "picks × tex of each yarn in a repeat, ÷ picks of the repeat",
        "tex",
        "counts in tex add",
    ),
    "loom_g_per_m2": Formula(
        "Loom-state mass",
        "(ends per cm × tex × (1 + size) × (1 + crimp) + picks per cm × tex ÷ what weaving leaves) ÷ 10",
        "g/m²",
        ISO_CRIMP,
    ),
    "finished_g_per_m2": Formula(
        "Finished mass",
        "loom-state mass × (1 − loss) ÷ ((1 − shrinkage in width) × (1 − shrinkage in length))",
        "g/m²",
        "what is left of the mass, on what is left of the area",
    ),
    "loom_g_per_m": Formula("Loom-state mass of a metre", "g/m² × grey width", "g/m", DEFINED),
    "finished_g_per_m": Formula("Finished mass of a metre", "g/m² × finished width with selvedges", "g/m", DEFINED),
    "max_ends_per_cm": Formula(
        "Most ends per cm the weave takes, in the grey",
        "ends of the repeat ÷ (ends ÷ diameters of the warp + intersections ÷ diameters of the weft)",
        "per cm",
        ASHENHURST,
    ),
    "max_picks_per_cm": Formula(
        "Most picks per cm the weave takes, in the grey",
        "picks of the repeat ÷ (picks ÷ diameters of the weft + intersections ÷ diameters of the warp)",
        "per cm",
        ASHENHURST,
    ),
    "working_ends_per_cm": Formula(
        "Ends per cm commonly woven",
        "a share of the most the weave takes",
        "per cm",
        "about three quarters or a little more, Ashenhurst as restated",
    ),
    "tightness_pct": Formula(
        "Tightness in the grey", "mean of ends ÷ most ends and picks ÷ most picks", "%", ASHENHURST
    ),
    # One order line on a warp.
    "grey_length_m": Formula(
        "Grey length of a piece", "finished length ÷ what finishing leaves of the length", "m", STEPS_COMPOUND
    ),
    "warp_length_per_piece_m": Formula("Warp for a piece", "grey length × (1 + warp crimp)", "m", ISO_CRIMP),
    "picks_per_piece": Formula("Picks in a piece", "grey length × picks per cm in the grey", "picks", CONSERVED),
    "picks": Formula("Picks", "picks in a piece × pieces", "picks", DEFINED),
    "weaving_min": Formula(
        "Weaving",
        "picks ÷ (picks a minute × running efficiency)",
        "min",
        "running efficiency; set-ups and waits stand apart",
    ),
    "grey_piece_g": Formula("Grey mass of a piece", "grey length × loom-state mass of a metre", "g", DEFINED),
    "finished_piece_g": Formula("Finished mass of a piece", "finished length × finished mass of a metre", "g", DEFINED),
    # Yarn.
    "weft_threads": Formula(
        "Picks of {of}", "whole repeats and the part repeat of a piece, × pieces", "picks", DEFINED
    ),
    "warp_threads": Formula(
        "Ends of {of}", "whole repeats and the part repeat of the ground, and selvedges", "ends", DEFINED
    ),
    "weft_length_m": Formula("Weft of {of}", "picks × (width in the reed + cut tails)", "m", TAYLOR_WEFT),
    "warp_yarn_m": Formula("Warp of {of}", "ends × warp to wind", "m", DEFINED),
    "net_g": Formula("{of} without waste", "length × tex ÷ 1000", "g", "tex is grams of 1000 m"),
    "issue_g": Formula("{of} to issue", "net ÷ (1 − waste)", "g", SHARE_OF_ISSUE),
    "cones": Formula("Cones of {of}", "to issue ÷ a full cone, upwards", "cones", DEFINED),
    # The warp.
    "headers_m": Formula("Headers and cut marks", "pieces × header", "m", PRACTICE),
    "warp_length_m": Formula("Warp to wind", "warp of all pieces + headers + thrums, once", "m", PRACTICE),
    "picks_of_warp": Formula("Picks", "of all pieces", "picks", DEFINED),
    "warp_g": Formula("Warp yarn without waste", "all warp yarns", "g", DEFINED),
    "warp_issue_g": Formula("Warp yarn to issue", "all warp yarns", "g", SHARE_OF_ISSUE),
    "weft_g": Formula("Weft yarn without waste", "all weft yarns", "g", DEFINED),
    "weft_issue_g": Formula("Weft yarn to issue", "all weft yarns", "g", SHARE_OF_ISSUE),
    "sized_warp_g": Formula(
        "Warp on the beam", "warp yarn × (1 + size add-on)", "g", "size is a share of the unsized warp"
    ),
    "thrums_g": Formula(
        "Warp yarn lost to thrums and headers",
        "ends × (thrums + headers) × tex ÷ 1000, all warp yarns",
        "g",
        "tex is grams of 1000 m",
    ),
    "sections": Formula(
        "Sections", "as few as the creel allows, of whole colour repeats where they fit", "sections", PRACTICE
    ),
    "packages": Formula(
        "Packages for the creel",
        "of each yarn as many as the section with most ends of it",
        "packages",
        "packages are counted by ends, not by mass",
    ),
    "package_length_m": Formula(
        "Yarn on the busiest package", "warp to wind × sections it runs in ÷ (1 − waste)", "m", SHARE_OF_ISSUE
    ),
    "warping_min": Formula(
        "Warping",
        "creel + sections × (length ÷ drum speed + change) + length ÷ beaming speed + doff",
        "min",
        PRACTICE,
    ),
    "beam_diameter_mm": Formula(
        "Diameter over the yarn",
        "√(barrel² + 4 ÷ π × yarn ÷ (density × width))",
        "mm",
        "a ring of yarn; the density is the mill's own to measure",
    ),
    "beam_gross_kg": Formula("Gross mass of the full beam", "empty beam + warp on it", "kg", DEFINED),
    "loom_hours": Formula("Loom-hours", "minutes of weaving ÷ 60", "h", DEFINED),
}

# Money, on a cost sheet. Its unit is the mill's currency, so that none stands here.
ABSORBED = "absorption costing, as textbooks of costing have it; from memory"
STATED = "the mill's own rate"
COSTS: dict[str, Formula] = {
    "yarn": Formula("Yarn, {of}", "kilograms with waste × price of a kilogram", "", ABSORBED),
    "warp_yarn": Formula("Warp yarn in the cloth", "all warp yarn − its thrums", "", ABSORBED),
    "weft_yarn": Formula("Weft yarn", "all weft yarn", "", ABSORBED),
    "warping": Formula("Warping", "hours of warping × rate of an hour", "", STATED),
    "thrums": Formula(
        "Thrums, of the set-up", "warp yarn × thrums ÷ warp to wind: yarn that no piece gets", "", PRACTICE
    ),
    "set_up": Formula("Set-up of the loom", "hours that the loom stands for it × rate of an hour", "", STATED),
    "weaving": Formula("Weaving", "loom-hours × rate of the loom", "", STATED),
    "finishing": Formula("Finishing", "all steps of the route", "", ABSORBED),
    "finishing_m": Formula("Finishing, {of}", "grey metres through the step × rate of a metre", "", STATED),
    "finishing_kg": Formula("Finishing, {of}", "grey kilograms through the step × rate of a kilogram", "", STATED),
    "finishing_day": Formula(
        "Finishing, {of}",
        "grey metres through the step ÷ metres its machine does in a day × rate of the day",
        "",
        STATED,
    ),
    "mending": Formula("Mending", "hours of mending × rate of an hour", "", STATED),
    "seconds": Formula(
        "Allowance for seconds",
        "costs before it × s × (1 − what a second fetches of its cost) ÷ (1 − s), s the share of seconds",
        "",
        "spoilage that is usual, less what it fetches, is borne by the good: textbooks of costing, from memory",
    ),
    "overhead": Formula("Overhead", "all costs before it × overhead", "", ABSORBED),
    "total": Formula("Cost", "all lines", "", ABSORBED),
    "per_m": Formula("Cost of a finished metre", "cost ÷ finished metres", "", DEFINED),
    "per_kg": Formula("Cost of a finished kilogram", "cost ÷ finished kilograms", "", DEFINED),
    "share": Formula("Share of {of} in {what}", "a part of the line, in whole coins that add up", "", ABSORBED),
    "price_per_m": Formula(
        "Price of a finished metre",
        "cost of a finished metre ÷ (1 − margin), upwards",
        "",
        "margin is a share of the price",
    ),
    "price": Formula("Price", "price of a finished metre × finished metres", "", DEFINED),
    "margin": Formula("Margin", "price − cost", "", DEFINED),
}
