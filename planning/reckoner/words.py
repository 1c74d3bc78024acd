"""The reckoner's words: what its figures are called, their rule, unit, source and rounding. Works nothing out."""

from planning.formulae import (
    ASHENHURST,
    CONSERVED,
    DEFINED,
    FORMULAE,
    ISO_CRIMP,
    PRACTICE,
    SHARE_OF_ISSUE,
    STEPS_COMPOUND,
    TAYLOR_WEFT,
    Formula,
)

TEX = "tex is grams of 1000 m (ISO 1144)"
RELAXED = "measured relaxed, ISO 22198; on the size before finishing"
D5430 = "ASTM D5430: up to 3 in 1 point, to 6 in 2, to 9 in 3, over 9 in 4"
ISLAM = "M. Islam, Calculation of Weaving Loom Efficiency (2015)"
DIAMETERS = "diameters of a yarn go as the root of its length in a pound"
BEAM_RING = "a ring of yarn; the density is the mill's own to measure"


# Words that the ticket has no figure for, or works otherwise.
WORDS: dict[str, Formula] = {
    "count_tex": Formula("Count in tex, the whole yarn", "see the sum", "tex", TEX),
    "yd_per_lb": Formula("Yards in a pound", "grams of a pound ÷ (metres of a yard × tex) × 1000", "yd/lb", DEFINED),
    "m_per_kg": Formula("Metres in a kilogram", "1 000 000 ÷ tex", "m/kg", DEFINED),
    "number": Formula("In the system asked for", "tex of its number 1, and the count in tex", "", DEFINED),
    "single_number": Formula("The whole yarn as one thread", "tex of its number 1, and the count in tex", "", DEFINED),
    "singles_tex": Formula("The singles together", "tex of each, added", "tex", "counts in tex add"),
    "folded_tex": Formula(
        "Folded yarn", "singles together ÷ (1 − take-up in twisting)", "tex", "the take-up is a share of the singles"
    ),
    "singles_m": Formula(
        "Of each single for 1000 m folded",
        "1000 m ÷ (1 − take-up in twisting)",
        "m",
        "the take-up is a share of the singles",
    ),
    "missing_count": Formula(
        "The single to fold with it",
        "known × resultant ÷ (known − resultant)",
        "",
        "W. Davis, Hosiery Manufacture, example 38",
    ),
    "package_length_m": Formula("Yarn on it", "mass × 1000 ÷ tex", "m", TEX),
    "warp_diameters_per_cm": Formula(
        "Diameters of the warp side by side", "constant × √(yards in a pound) ÷ 2.54", "per cm", ASHENHURST
    ),
    "weft_diameters_per_cm": Formula(
        "Diameters of the weft side by side", "constant × √(yards in a pound) ÷ 2.54", "per cm", ASHENHURST
    ),
    "max_ends_per_cm": Formula(
        "Most ends the weave takes",
        FORMULAE["max_ends_per_cm"].formula,
        "per cm",
        f"{ASHENHURST}; the other yarn's diameter at the intersections: {PRACTICE}",
    ),
    "max_picks_per_cm": Formula(
        "Most picks the weave takes",
        FORMULAE["max_picks_per_cm"].formula,
        "per cm",
        f"{ASHENHURST}; the other yarn's diameter at the intersections: {PRACTICE}",
    ),
    "working_picks_per_cm": Formula(
        "Picks per cm commonly woven", "a share of the most the weave takes", "per cm", ASHENHURST
    ),
    "ends_tightness_pct": Formula("Ends, of the most", "ends ÷ most ends", "%", ASHENHURST),
    "picks_tightness_pct": Formula("Picks, of the most", "picks ÷ most picks", "%", ASHENHURST),
    "tightness_pct": Formula("Tightness", "mean of both", "%", ASHENHURST),
    "warp_cover_peirce": Formula(
        "Cover factor of the warp, Peirce's",
        "ends per inch ÷ √cotton count",
        "",
        "F. T. Peirce, as quoted by Balasubramanian; 28 is a full cover of round threads",
    ),
    "weft_cover_peirce": Formula(
        "Cover factor of the weft, Peirce's",
        "picks per inch ÷ √cotton count",
        "",
        "F. T. Peirce, as quoted by Balasubramanian; 28 is a full cover of round threads",
    ),
    "warp_cover_metric": Formula(
        "Cover factor of the warp, metric",
        "ends per cm × √tex ÷ 10",
        "",
        "Balasubramanian, Useful Conversion Factors; 0.957 of Peirce's",
    ),
    "weft_cover_metric": Formula(
        "Cover factor of the weft, metric",
        "picks per cm × √tex ÷ 10",
        "",
        "Balasubramanian, Useful Conversion Factors; 0.957 of Peirce's",
    ),
    "warp_diameter_mm": Formula(
        "Diameter of the warp", "25.4 ÷ (28 × √cotton count)", "mm", "F. T. Peirce, as quoted in GATE TF 2007"
    ),
    "weft_diameter_mm": Formula(
        "Diameter of the weft", "25.4 ÷ (28 × √cotton count)", "mm", "F. T. Peirce, as quoted in GATE TF 2007"
    ),
    "cover_pct": Formula(
        "Of the cloth covered",
        "warp + weft − warp × weft, each ends or picks per cm × diameter",
        "%",
        "F. T. Peirce, as quoted in GATE TF 2007",
    ),
    "weave_sett_per_cm": Formula(
        "As firm in the other weave",
        "sett × (threads + intersections) ÷ threads of the old, × threads ÷ (threads + intersections) of the new",
        "per cm",
        "J. T. Taylor, Cotton Weaving and Designing, 6th ed.",
    ),
    "yarn_sett_per_cm": Formula("As firm in the other yarn too", "sett × √(old tex ÷ new tex)", "per cm", DIAMETERS),
    "scaled_order": Formula(
        "The order, scaled",
        "each stripe × the factor, the edges kept within half an end of where they belong",
        "",
        "proportion; elliotclan.com scales a thread count so",
    ),
    "repeat_was": Formula("Repeat as it was", "stripes, added", "ends", DEFINED),
    "repeat_is": Formula("Repeat as scaled", "stripes, added", "ends", DEFINED),
    "reed_dents_per_10cm": Formula("Dents in 10 cm", "number × dents of 1 ÷ cm of 1 × 10", "dents per 10 cm", DEFINED),
    "reed_number": Formula("In the system asked for", "dents in 10 cm × cm of 1 ÷ dents of 1 ÷ 10", "", DEFINED),
    "reed_sett_per_cm": Formula("Ends per cm in the reed", "dents in 10 cm × ends a dent ÷ 10", "per cm", DEFINED),
    "wanted_grey_width_cm": Formula(
        "Grey width asked for", "finished width ÷ (1 − shrinkage in width)", "cm", STEPS_COMPOUND
    ),
    "wanted_reed_width_cm": Formula(
        "Width in the reed asked for",
        "grey width ÷ (1 − weaving contraction)",
        "cm",
        "contraction is a share of the reed width",
    ),
    "ground_dents": Formula(
        "Dents of the ground",
        "width × dents in 10 cm ÷ 10, upwards",
        "dents",
        "Brooks, Cotton Manufacturing (1892): 1129.7 splits are taken as 1130",
    ),
    "ground_ends": Formula("Ends of the ground", "dents × ends a dent", "ends", DEFINED),
    "dents": Formula("Dents in use", "of the ground + of the selvedges", "dents", DEFINED),
    "made_width_cm": Formula(
        "Finished width it makes",
        "dents of the ground ÷ dents in 10 cm × 10 × what weaving and finishing leave",
        "cm",
        CONSERVED,
    ),
    "crimp_pct": Formula("Crimp, of cloth length", "(yarn − cloth) ÷ cloth", "%", ISO_CRIMP),
    "crimp_of_take_up_pct": Formula("Crimp, of cloth length", "take-up ÷ (1 − take-up)", "%", ISO_CRIMP),
    "take_up_pct": Formula("Take-up, of yarn length", "crimp ÷ (1 + crimp)", "%", ISO_CRIMP),
    "grey_length_m": FORMULAE["grey_length_m"],
    "warp_yarn_m": Formula("Yarn in the warp", "ends × warp", "m", DEFINED),
    "weft_yarn_m": Formula("Yarn laid in", "picks × (width in the reed + cut tails)", "m", TAYLOR_WEFT),
    "net_g": Formula("Without waste", "length × tex ÷ 1000, upwards", "g", TEX),
    "issue_g": Formula("To issue", "net ÷ (1 − waste), upwards", "g", SHARE_OF_ISSUE),
    "sized_g": Formula("Sized", "net × (1 + size add-on), upwards", "g", "size is a share of the unsized warp"),
    "cones": Formula("Cones to ask for", "to issue ÷ a full cone, upwards", "cones", DEFINED),
    "creel_packages": Formula(
        "Packages for the creel", "as many as the largest section has ends", "packages", PRACTICE
    ),
    "run_off_m": Formula(
        "Run off the busiest package",
        "sections × (warp + what is cut away at each)",
        "m",
        "T. Vogl (2001), on sectional warping",
    ),
    "capacity_kg": Formula("Yarn it holds", "π ÷ 4 × (flange² − barrel²) × width × density", "kg", BEAM_RING),
    "g_per_m": Formula("A metre of all ends", "ends × tex ÷ 1000", "g/m", TEX),
    "capacity_m": Formula("Warp it holds", "yarn it holds ÷ a metre of all ends", "m", DEFINED),
    "warp_kg": Formula("The warp", "warp × a metre of all ends ÷ 1000", "kg", DEFINED),
    "beam_net_kg": Formula("Yarn on it", "full − empty", "kg", DEFINED),
    "beam_m": Formula("Warp on it", "yarn × 1 000 000 ÷ (ends × tex)", "m", TEX),
    "picks": Formula("Picks", "grey length × picks per cm × 100, upwards", "picks", CONSERVED),
    "woven_m_per_h": Formula(
        "Woven in an hour", "picks a minute × 60 × efficiency ÷ (picks per cm × 100)", "m/h", DEFINED
    ),
    "lost_min": Formula("Minutes lost in 100 000 picks", "stops × minutes of each kind, added", "min", ISLAM),
    "running_min": Formula("Minutes running for them", "100 000 ÷ picks a minute", "min", DEFINED),
    "efficiency_pct": Formula("Running efficiency", "running ÷ (running + lost)", "%", ISLAM),
    "shared_efficiency_pct": Formula(
        "With so many looms to the weaver",
        "(1 − 1 ÷ Σ N!/(N−k)! × ρᵏ) ÷ (N × ρ), ρ = lost ÷ running",
        "%",
        "from memory: the machine-repair model; no source at hand",
    ),
    "woven_picks": Formula("Picks woven", "woven length × picks per cm × 100", "picks", DEFINED),
    "measured_efficiency_pct": Formula(
        "Running efficiency", "picks woven ÷ (picks a minute × minutes it was to run)", "%", ISLAM
    ),
    "route_width_pct": Formula(
        "Shrinkage in width, whole route", FORMULAE["width_shrink_pct"].formula, "%", STEPS_COMPOUND
    ),
    "route_length_pct": Formula(
        "Shrinkage in length, whole route", FORMULAE["length_shrink_pct"].formula, "%", STEPS_COMPOUND
    ),
    "route_loss_pct": Formula("Loss of mass, whole route", FORMULAE["mass_loss_pct"].formula, "%", STEPS_COMPOUND),
    "grey_width_cm": Formula("Grey width", "finished width ÷ (1 − shrinkage)", "cm", STEPS_COMPOUND),
    "grey_m": Formula("Grey length", "finished length ÷ (1 − shrinkage)", "m", STEPS_COMPOUND),
    "grey_g_per_m2": Formula(
        "Grey mass",
        "finished mass × (1 − shrinkage in width) × (1 − shrinkage in length) ÷ (1 − loss)",
        "g/m²",
        "what was lost of the mass, on the area there was",
    ),
    "finished_width_cm": Formula("Finished width", "grey width × (1 − shrinkage)", "cm", STEPS_COMPOUND),
    "finished_m": Formula("Finished length", "grey length × (1 − shrinkage)", "m", STEPS_COMPOUND),
    "finished_g_per_m2": FORMULAE["finished_g_per_m2"],
    "shrunk_width_pct": Formula("Shrinkage in width", "(grey − finished) ÷ grey", "%", RELAXED),
    "shrunk_length_pct": Formula("Shrinkage in length", "(grey − finished) ÷ grey", "%", RELAXED),
    "added_pct": Formula(
        "To be added to the finished length",
        "shrinkage ÷ (1 − shrinkage): more than the shrinkage itself",
        "%",
        "Conference of Northern California Handweavers, note on shrinkage",
    ),
    "regain_pct": Formula(
        "Moisture on the dry mass", "content ÷ (1 − content)", "%", "regain is water ÷ dry, content water ÷ whole"
    ),
    "content_pct": Formula(
        "Moisture in the whole", "regain ÷ (1 + regain)", "%", "regain is water ÷ dry, content water ÷ whole"
    ),
    "dry_g": Formula("Oven-dry", "net ÷ (1 + regain measured)", "g", "regain is a share of the dry mass"),
    "invoice_g": Formula("At the agreed regain", "oven-dry × (1 + regain agreed)", "g", ""),
    "weft_crimp_pct": Formula(
        "Crimp of the weft", "contraction ÷ (1 − contraction)", "%", "the weft was laid at the width in the reed"
    ),
    "loom_g_per_m2": Formula(
        "Loom-state mass",
        "(ends per cm × tex × (1 + crimp) + picks per cm × tex × (1 + crimp)) ÷ 10",
        "g/m²",
        f"{ISO_CRIMP}; GATE TF 2009 has the same sum",
    ),
    "finished_g_per_m": Formula("Finished mass of a metre", "g/m² × finished width ÷ 100", "g/m", DEFINED),
    "square_sett_per_cm": Formula(
        "Ends and picks per cm alike", "mass × 10 ÷ (2 × tex × (1 + crimp))", "per cm", "GATE TF 2007 has the same sum"
    ),
    "points": Formula("Points", "of each fault, at most 4 on a metre (yard)", "points", D5430),
    "points_per_100_m2": Formula("In 100 m²", "points × 10 000 ÷ (metres × cm)", "points", "ASTM D5430"),
    "points_per_100_yd2": Formula("In 100 yd²", "points × 3600 ÷ (yards × inches)", "points", "ASTM D5430"),
    "limit_per_100_m2": Formula(
        "Limit in 100 m²", "limit in 100 yd² ÷ 0.9144²", "points", "agreed with the customer; 40 is common practice"
    ),
    "verdict": Formula("Grade", "at or under the limit it passes", "", "agreed with the customer"),
}

# Places after the point; a leading ^ rounds upwards: what must suffice.
PLACES = {
    "cm": "0.01",
    "m": "^0.01",
    "mm": "0.001",
    "g": "0.1",
    "kg": "0.1",
    "per cm": "0.01",
    "%": "0.01",
    "g/m²": "0.1",
    "g/m": "0.1",
    "min": "0.01",
    "h": "^0.01",
    "m/h": "0.01",
    "dents per 10 cm": "0.01",
    "points": "0.01",
    "": "0.01",
}
# Figures that are not rounded as others of their unit: lengths that are found, not asked for, go to the nearest, and
# a yarn is named, not measured, by its six figures.
SIX_FIGURES = "six figures"
PLACES_OF = {
    "capacity_m": "0.1",
    "beam_m": "0.1",
    "package_length_m": "0.1",
    "finished_m": "0.01",
    "warp_yarn_m": "^0.1",
    "weft_yarn_m": "^0.1",
    "singles_m": "^0.1",
    "beam_gross_kg": "^0.1",
    "points_per_100_m2": "^0.01",
    "points_per_100_yd2": "^0.01",
    "woven_picks": "1",
    "reed_number": "0.001",
    "reed_width_cm": "^0.01",
    **dict.fromkeys(("count_tex", "singles_tex", "folded_tex", "single_number", "missing_count"), SIX_FIGURES),
    **dict.fromkeys(("yd_per_lb", "m_per_kg"), SIX_FIGURES),
}


def words_of(name: str) -> Formula:
    """The words of a figure: the reckoner's own, or those that stand on the ticket."""
    return WORDS.get(name) or FORMULAE[name]
