"""The formulae in the trade's words: what a figure is called, its rule, unit and source. Works nothing out."""

from dataclasses import dataclass

from mill.refusal import N_
from mill.working import W_

PRACTICE = N_("common practice, no source")
DEFINED = N_("by definition")
ISO_CRIMP = N_("ISO 7211-3: crimp is a share of the cloth's length")
TAYLOR_WEFT = N_("Taylor, Cotton Weaving and Designing (1909): weft is laid at the width in the reed")
ASHENHURST = N_("Ashenhurst's diameters, as restated")
STEPS_COMPOUND = N_("each step's loss is a share of what enters it, so steps compound")
CONSERVED = N_("no end and no pick is lost in weaving or finishing")
SHARE_OF_ISSUE = N_("waste is a share of the yarn issued")
# For a sheet of them: why a length of 127.61 m is 127.7 m.
ROUNDED = N_(
    "What must suffice is rounded upwards: lengths, grams, minutes, the width in the reed. All else is rounded to the"
    " nearest."
)


@dataclass(frozen=True, slots=True)
class Formula:
    """`label` may hold %(of)s: the yarn that the figure is of."""

    label: str
    formula: str
    unit: str
    source: str


# By the figure's own name; where two figures of one name are worked differently, by the name of the rule.
FORMULAE: dict[str, Formula] = {
    # The cloth.
    "width_shrink_pct": Formula(
        N_("Shrinkage in width"), N_("1 less the product of what each step leaves"), "%", STEPS_COMPOUND
    ),
    "length_shrink_pct": Formula(
        N_("Shrinkage in length"), N_("1 less the product of what each step leaves"), "%", STEPS_COMPOUND
    ),
    "mass_loss_pct": Formula(
        N_("Loss of mass in finishing"), N_("1 less the product of what each step leaves"), "%", STEPS_COMPOUND
    ),
    "ground_ends": Formula(
        N_("Ends of the ground"),
        N_(
            "finished width ÷ what finishing leaves ÷ what weaving leaves × reed × ends a dent, in whole dents, upwards"
        ),
        "ends",
        CONSERVED,
    ),
    "ground_ends_in_repeats": Formula(
        N_("Ends of the ground"),
        N_(
            "finished width ÷ what finishing leaves ÷ what weaving leaves × reed × ends a dent, made up to whole"
            " repeats"
        ),
        "ends",
        CONSERVED,
    ),
    "ends": Formula(N_("Ends"), N_("ground + selvedges, both sides"), "ends", DEFINED),
    "dents": Formula(N_("Dents in use"), N_("of the ground + of the two selvedges"), "dents", DEFINED),
    "reed_width_cm": Formula(
        N_("Width in the reed, with selvedges"), N_("dents in use ÷ dents per 10 cm"), "cm", DEFINED
    ),
    "grey_width_cm": Formula(
        N_("Grey width, with selvedges"),
        N_("width in the reed × (1 − weaving contraction)"),
        "cm",
        N_("contraction is a share of the reed width"),
    ),
    "overall_width_cm": Formula(
        N_("Finished width, with selvedges"), N_("grey width × what finishing leaves"), "cm", STEPS_COMPOUND
    ),
    "made_width_cm": Formula(
        N_("Finished width between the selvedges"),
        N_("ground ends ÷ ends per cm in the reed × what weaving and finishing leave"),
        "cm",
        CONSERVED,
    ),
    "width_gain_cm": Formula(
        N_("Wider than asked"), N_("finished width as made − as asked: what whole dents and repeats add"), "cm", DEFINED
    ),
    "reed_ends_per_cm": Formula(
        N_("Ends per cm in the reed"), N_("dents per 10 cm × ends a dent ÷ 10"), "per cm", DEFINED
    ),
    "grey_ends_per_cm": Formula(
        N_("Ends per cm in the grey"),
        N_("ends per cm in the reed ÷ what weaving leaves of the width"),
        "per cm",
        CONSERVED,
    ),
    "finished_ends_per_cm": Formula(
        N_("Ends per cm finished"),
        N_("ends per cm in the grey ÷ what finishing leaves of the width"),
        "per cm",
        CONSERVED,
    ),
    "finished_picks_per_cm": Formula(
        N_("Picks per cm finished"),
        N_("picks per cm in the grey ÷ what finishing leaves of the length"),
        "per cm",
        CONSERVED,
    ),
    "warp_take_up_pct": Formula(N_("Warp take-up, of yarn length"), N_("crimp ÷ (1 + crimp)"), "%", ISO_CRIMP),
    "warp_tex": Formula(
        N_("Mean count of the warp"), N_("ends × tex of each yarn, ÷ all ends"), "tex", N_("counts in tex add")
    ),
    "weft_tex": Formula(
        N_("Mean count of the weft"),
        N_("picks × tex of each yarn in a repeat, ÷ picks of the repeat"),
        "tex",
        N_("counts in tex add"),
    ),
    "loom_g_per_m2": Formula(
        N_("Loom-state mass"),
        N_("(ends per cm × tex × (1 + size) × (1 + crimp) + picks per cm × tex ÷ what weaving leaves) ÷ 10"),
        "g/m²",
        ISO_CRIMP,
    ),
    "finished_g_per_m2": Formula(
        N_("Finished mass"),
        N_("loom-state mass × (1 − loss) ÷ ((1 − shrinkage in width) × (1 − shrinkage in length))"),
        "g/m²",
        N_("what is left of the mass, on what is left of the area"),
    ),
    "loom_g_per_m": Formula(N_("Loom-state mass of a metre"), N_("g/m² × grey width"), "g/m", DEFINED),
    "finished_g_per_m": Formula(
        N_("Finished mass of a metre"), N_("g/m² × finished width with selvedges"), "g/m", DEFINED
    ),
    "max_ends_per_cm": Formula(
        N_("Most ends per cm the weave takes, in the grey"),
        N_("ends of the repeat ÷ (ends ÷ diameters of the warp + intersections ÷ diameters of the weft)"),
        "per cm",
        ASHENHURST,
    ),
    "max_picks_per_cm": Formula(
        N_("Most picks per cm the weave takes, in the grey"),
        N_("picks of the repeat ÷ (picks ÷ diameters of the weft + intersections ÷ diameters of the warp)"),
        "per cm",
        ASHENHURST,
    ),
    "working_ends_per_cm": Formula(
        N_("Ends per cm commonly woven"),
        N_("a share of the most the weave takes"),
        "per cm",
        N_("about three quarters or a little more, Ashenhurst as restated"),
    ),
    "tightness_pct": Formula(
        N_("Tightness in the grey"), N_("mean of ends ÷ most ends and picks ÷ most picks"), "%", ASHENHURST
    ),
    # One order line on a warp.
    "grey_length_m": Formula(
        N_("Grey length of a piece"), N_("finished length ÷ what finishing leaves of the length"), "m", STEPS_COMPOUND
    ),
    "warp_length_per_piece_m": Formula(N_("Warp for a piece"), N_("grey length × (1 + warp crimp)"), "m", ISO_CRIMP),
    "picks_per_piece": Formula(
        N_("Picks in a piece"), N_("grey length × picks per cm in the grey"), "picks", CONSERVED
    ),
    "picks": Formula(N_("Picks"), N_("picks in a piece × pieces"), "picks", DEFINED),
    "weaving_min": Formula(
        N_("Weaving"),
        N_("picks ÷ (picks a minute × running efficiency)"),
        "min",
        N_("running efficiency; set-ups and waits stand apart"),
    ),
    "grey_piece_g": Formula(N_("Grey mass of a piece"), N_("grey length × loom-state mass of a metre"), "g", DEFINED),
    "finished_piece_g": Formula(
        N_("Finished mass of a piece"), N_("finished length × finished mass of a metre"), "g", DEFINED
    ),
    # Yarn.
    "weft_threads": Formula(
        W_("Picks of %(of)s"), N_("whole repeats and the part repeat of a piece, × pieces"), "picks", DEFINED
    ),
    "warp_threads": Formula(
        W_("Ends of %(of)s"), N_("whole repeats and the part repeat of the ground, and selvedges"), "ends", DEFINED
    ),
    "weft_length_m": Formula(W_("Weft of %(of)s"), N_("picks × (width in the reed + cut tails)"), "m", TAYLOR_WEFT),
    "warp_yarn_m": Formula(W_("Warp of %(of)s"), N_("ends × warp to wind"), "m", DEFINED),
    "net_g": Formula(W_("%(of)s without waste"), N_("length × tex ÷ 1000"), "g", N_("tex is grams of 1000 m")),
    "issue_g": Formula(W_("%(of)s to issue"), N_("net ÷ (1 − waste)"), "g", SHARE_OF_ISSUE),
    "cones": Formula(W_("Cones of %(of)s"), N_("to issue ÷ a full cone, upwards"), "cones", DEFINED),
    # The warp.
    "headers_m": Formula(N_("Headers and cut marks"), N_("pieces × header"), "m", PRACTICE),
    "warp_length_m": Formula(N_("Warp to wind"), N_("warp of all pieces + headers + thrums, once"), "m", PRACTICE),
    "picks_of_warp": Formula(N_("Picks"), N_("of all pieces"), "picks", DEFINED),
    "warp_g": Formula(N_("Warp yarn without waste"), N_("all warp yarns"), "g", DEFINED),
    "warp_issue_g": Formula(N_("Warp yarn to issue"), N_("all warp yarns"), "g", SHARE_OF_ISSUE),
    "weft_g": Formula(N_("Weft yarn without waste"), N_("all weft yarns"), "g", DEFINED),
    "weft_issue_g": Formula(N_("Weft yarn to issue"), N_("all weft yarns"), "g", SHARE_OF_ISSUE),
    "sized_warp_g": Formula(
        N_("Warp on the beam"), N_("warp yarn × (1 + size add-on)"), "g", N_("size is a share of the unsized warp")
    ),
    "thrums_g": Formula(
        N_("Warp yarn lost to thrums and headers"),
        N_("ends × (thrums + headers) × tex ÷ 1000, all warp yarns"),
        "g",
        N_("tex is grams of 1000 m"),
    ),
    "sections": Formula(
        N_("Sections"),
        N_("as few as the creel allows, of whole colour repeats where they fit"),
        "sections",
        PRACTICE,
    ),
    "packages": Formula(
        N_("Packages for the creel"),
        N_("of each yarn as many as the section with most ends of it"),
        "packages",
        N_("packages are counted by ends, not by mass"),
    ),
    "package_length_m": Formula(
        N_("Yarn on the busiest package"), N_("warp to wind × sections it runs in ÷ (1 − waste)"), "m", SHARE_OF_ISSUE
    ),
    "warping_min": Formula(
        N_("Warping"),
        N_("creel + sections × (length ÷ drum speed + change) + length ÷ beaming speed + doff"),
        "min",
        PRACTICE,
    ),
    "beam_diameter_mm": Formula(
        N_("Diameter over the yarn"),
        N_("√(barrel² + 4 ÷ π × yarn ÷ (density × width))"),
        "mm",
        N_("a ring of yarn; the density is the mill's own to measure"),
    ),
    "beam_gross_kg": Formula(N_("Gross mass of the full beam"), N_("empty beam + warp on it"), "kg", DEFINED),
    "loom_hours": Formula(N_("Loom-hours"), N_("minutes of weaving ÷ 60"), "h", DEFINED),
}

# Money, on a cost sheet. Its unit is the mill's currency, so that none stands here.
ABSORBED = N_("absorption costing, as textbooks of costing have it; from memory")
STATED = N_("the mill's own rate")
COSTS: dict[str, Formula] = {
    "yarn": Formula(W_("Yarn, %(of)s"), N_("kilograms with waste × price of a kilogram"), "", ABSORBED),
    "warp_yarn": Formula(N_("Warp yarn in the cloth"), N_("all warp yarn − its thrums"), "", ABSORBED),
    "weft_yarn": Formula(N_("Weft yarn"), N_("all weft yarn"), "", ABSORBED),
    "warping": Formula(N_("Warping"), N_("hours of warping × rate of an hour"), "", STATED),
    "thrums": Formula(
        N_("Thrums, of the set-up"), N_("warp yarn × thrums ÷ warp to wind: yarn that no piece gets"), "", PRACTICE
    ),
    "set_up": Formula(N_("Set-up of the loom"), N_("hours that the loom stands for it × rate of an hour"), "", STATED),
    "weaving": Formula(N_("Weaving"), N_("loom-hours × rate of the loom"), "", STATED),
    "finishing": Formula(N_("Finishing"), N_("all steps of the route"), "", ABSORBED),
    "finishing_m": Formula(W_("Finishing, %(of)s"), N_("grey metres through the step × rate of a metre"), "", STATED),
    "finishing_kg": Formula(
        W_("Finishing, %(of)s"), N_("grey kilograms through the step × rate of a kilogram"), "", STATED
    ),
    "finishing_day": Formula(
        W_("Finishing, %(of)s"),
        N_("grey metres through the step ÷ metres its machine does in a day × rate of the day"),
        "",
        STATED,
    ),
    "mending": Formula(N_("Mending"), N_("hours of mending × rate of an hour"), "", STATED),
    "seconds": Formula(
        N_("Allowance for seconds"),
        N_("costs before it × s × (1 − what a second fetches of its cost) ÷ (1 − s), s the share of seconds"),
        "",
        N_("spoilage that is usual, less what it fetches, is borne by the good: textbooks of costing, from memory"),
    ),
    "overhead": Formula(N_("Overhead"), N_("all costs before it × overhead"), "", ABSORBED),
    "total": Formula(N_("Cost"), N_("all lines"), "", ABSORBED),
    "per_m": Formula(N_("Cost of a finished metre"), N_("cost ÷ finished metres"), "", DEFINED),
    "per_kg": Formula(N_("Cost of a finished kilogram"), N_("cost ÷ finished kilograms"), "", DEFINED),
    "share": Formula(
        W_("Share of %(of)s in %(what)s"), N_("a part of the line, in whole coins that add up"), "", ABSORBED
    ),
    "price_per_m": Formula(
        N_("Price of a finished metre"),
        N_("cost of a finished metre ÷ (1 − margin), upwards"),
        "",
        N_("margin is a share of the price"),
    ),
    "price": Formula(N_("Price"), N_("price of a finished metre × finished metres"), "", DEFINED),
    "margin": Formula(N_("Margin"), N_("price − cost"), "", DEFINED),
}
