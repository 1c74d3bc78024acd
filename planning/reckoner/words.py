"""The reckoner's words: what its figures are called, their rule, unit, source and rounding. Works nothing out."""

from mill.refusal import N_
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

BOTH_YARNS = N_(
    "Ashenhurst's diameters, as restated; the other yarn's diameter at the intersections: common practice, no source"
)
TEX = N_("tex is grams of 1000 m (ISO 1144)")
RELAXED = N_("measured relaxed, ISO 22198; on the size before finishing")
D5430 = N_("ASTM D5430: up to 3 in 1 point, to 6 in 2, to 9 in 3, over 9 in 4")
ISLAM = "M. Islam, Calculation of Weaving Loom Efficiency (2015)"
ISLAM_SHED = "M. Islam, Calculation of Loom and Weaving Shed Efficiency (2015)"
DIAMETERS = N_("diameters of a yarn go as the root of its length in a pound")
BEAM_RING = N_("a ring of yarn; the density is the mill's own to measure")


# Words that the ticket has no figure for, or works otherwise.
WORDS: dict[str, Formula] = {
    "count_tex": Formula(N_("Count in tex, the whole yarn"), N_("see the sum"), "tex", TEX),
    "yd_per_lb": Formula(
        N_("Yards in a pound"), N_("grams of a pound ÷ (metres of a yard × tex) × 1000"), "yd/lb", DEFINED
    ),
    "m_per_kg": Formula(N_("Metres in a kilogram"), N_("1 000 000 ÷ tex"), "m/kg", DEFINED),
    "number": Formula(N_("In the system asked for"), N_("tex of its number 1, and the count in tex"), "", DEFINED),
    "single_number": Formula(
        N_("The whole yarn as one thread"), N_("tex of its number 1, and the count in tex"), "", DEFINED
    ),
    "singles_tex": Formula(N_("The singles together"), N_("tex of each, added"), "tex", N_("counts in tex add")),
    "folded_tex": Formula(
        N_("Folded yarn"),
        N_("singles together ÷ (1 − take-up in twisting)"),
        "tex",
        N_("the take-up is a share of the singles"),
    ),
    "singles_m": Formula(
        N_("Of each single for 1000 m folded"),
        N_("1000 m ÷ (1 − take-up in twisting)"),
        "m",
        N_("the take-up is a share of the singles"),
    ),
    "missing_count": Formula(
        N_("The single to fold with it"),
        N_("known × resultant ÷ (known − resultant)"),
        "",
        "W. Davis, Hosiery Manufacture, example 38",
    ),
    "package_length_m": Formula(N_("Yarn on it"), N_("mass × 1000 ÷ tex"), "m", TEX),
    "warp_diameters_per_cm": Formula(
        N_("Diameters of the warp side by side"), N_("constant × √(yards in a pound) ÷ 2.54"), "per cm", ASHENHURST
    ),
    "weft_diameters_per_cm": Formula(
        N_("Diameters of the weft side by side"), N_("constant × √(yards in a pound) ÷ 2.54"), "per cm", ASHENHURST
    ),
    "max_ends_per_cm": Formula(
        N_("Most ends the weave takes"),
        FORMULAE["max_ends_per_cm"].formula,
        "per cm",
        BOTH_YARNS,
    ),
    "max_picks_per_cm": Formula(
        N_("Most picks the weave takes"),
        FORMULAE["max_picks_per_cm"].formula,
        "per cm",
        BOTH_YARNS,
    ),
    "working_picks_per_cm": Formula(
        N_("Picks per cm commonly woven"), N_("a share of the most the weave takes"), "per cm", ASHENHURST
    ),
    "ends_tightness_pct": Formula(N_("Ends, of the most"), N_("ends ÷ most ends"), "%", ASHENHURST),
    "picks_tightness_pct": Formula(N_("Picks, of the most"), N_("picks ÷ most picks"), "%", ASHENHURST),
    "tightness_pct": Formula(N_("Tightness"), N_("mean of both"), "%", ASHENHURST),
    "warp_cover_peirce": Formula(
        N_("Cover factor of the warp, Peirce's"),
        N_("ends per inch ÷ √cotton count"),
        "",
        N_("F. T. Peirce, as quoted by Balasubramanian; 28 is a full cover of round threads"),
    ),
    "weft_cover_peirce": Formula(
        N_("Cover factor of the weft, Peirce's"),
        N_("picks per inch ÷ √cotton count"),
        "",
        N_("F. T. Peirce, as quoted by Balasubramanian; 28 is a full cover of round threads"),
    ),
    "warp_cover_metric": Formula(
        N_("Cover factor of the warp, metric"),
        N_("ends per cm × √tex ÷ 10"),
        "",
        N_("Balasubramanian, Useful Conversion Factors; 0.957 of Peirce's"),
    ),
    "weft_cover_metric": Formula(
        N_("Cover factor of the weft, metric"),
        N_("picks per cm × √tex ÷ 10"),
        "",
        N_("Balasubramanian, Useful Conversion Factors; 0.957 of Peirce's"),
    ),
    "warp_diameter_mm": Formula(
        N_("Diameter of the warp"),
        N_("25.4 ÷ (28 × √cotton count)"),
        "mm",
        N_("F. T. Peirce, as quoted in GATE TF 2007"),
    ),
    "weft_diameter_mm": Formula(
        N_("Diameter of the weft"),
        N_("25.4 ÷ (28 × √cotton count)"),
        "mm",
        N_("F. T. Peirce, as quoted in GATE TF 2007"),
    ),
    "cover_pct": Formula(
        N_("Of the cloth covered"),
        N_("warp + weft − warp × weft, each ends or picks per cm × diameter"),
        "%",
        N_("F. T. Peirce, as quoted in GATE TF 2007"),
    ),
    "weave_sett_per_cm": Formula(
        N_("As firm in the other weave"),
        N_("sett × (threads + intersections) ÷ threads of the old, × threads ÷ (threads + intersections) of the new"),
        "per cm",
        "J. T. Taylor, Cotton Weaving and Designing, 6th ed.",
    ),
    "yarn_sett_per_cm": Formula(
        N_("As firm in the other yarn too"), N_("sett × √(old tex ÷ new tex)"), "per cm", DIAMETERS
    ),
    "scaled_order": Formula(
        N_("The order, scaled"),
        N_("each stripe × the factor, the edges kept within half an end of where they belong"),
        "",
        N_("proportion; elliotclan.com scales a thread count so"),
    ),
    "repeat_was": Formula(N_("Repeat as it was"), N_("stripes, added"), "ends", DEFINED),
    "repeat_is": Formula(N_("Repeat as scaled"), N_("stripes, added"), "ends", DEFINED),
    "reed_dents_per_10cm": Formula(
        N_("Dents in 10 cm"), N_("number × dents of 1 ÷ cm of 1 × 10"), "dents per 10 cm", DEFINED
    ),
    "reed_number": Formula(
        N_("In the system asked for"), N_("dents in 10 cm × cm of 1 ÷ dents of 1 ÷ 10"), "", DEFINED
    ),
    "reed_sett_per_cm": Formula(
        N_("Ends per cm in the reed"), N_("dents in 10 cm × ends a dent ÷ 10"), "per cm", DEFINED
    ),
    "wanted_grey_width_cm": Formula(
        N_("Grey width asked for"), N_("finished width ÷ (1 − shrinkage in width)"), "cm", STEPS_COMPOUND
    ),
    "wanted_reed_width_cm": Formula(
        N_("Width in the reed asked for"),
        N_("grey width ÷ (1 − weaving contraction)"),
        "cm",
        N_("contraction is a share of the reed width"),
    ),
    "ground_dents": Formula(
        N_("Dents of the ground"),
        N_("width × dents in 10 cm ÷ 10, upwards"),
        "dents",
        N_("Brooks, Cotton Manufacturing (1892): 1129.7 splits are taken as 1130"),
    ),
    "ground_ends": Formula(N_("Ends of the ground"), N_("dents × ends a dent"), "ends", DEFINED),
    "dents": Formula(N_("Dents in use"), N_("of the ground + of the selvedges"), "dents", DEFINED),
    "made_width_cm": Formula(
        N_("Finished width it makes"),
        N_("dents of the ground ÷ dents in 10 cm × 10 × what weaving and finishing leave"),
        "cm",
        CONSERVED,
    ),
    "crimp_pct": Formula(N_("Crimp, of cloth length"), N_("(yarn − cloth) ÷ cloth"), "%", ISO_CRIMP),
    "crimp_of_take_up_pct": Formula(N_("Crimp, of cloth length"), N_("take-up ÷ (1 − take-up)"), "%", ISO_CRIMP),
    "take_up_pct": Formula(N_("Take-up, of yarn length"), N_("crimp ÷ (1 + crimp)"), "%", ISO_CRIMP),
    "grey_length_m": FORMULAE["grey_length_m"],
    "warp_yarn_m": Formula(N_("Yarn in the warp"), N_("ends × warp"), "m", DEFINED),
    "weft_yarn_m": Formula(N_("Yarn laid in"), N_("picks × (width in the reed + cut tails)"), "m", TAYLOR_WEFT),
    "net_g": Formula(N_("Without waste"), N_("length × tex ÷ 1000, upwards"), "g", TEX),
    "issue_g": Formula(N_("To issue"), N_("net ÷ (1 − waste), upwards"), "g", SHARE_OF_ISSUE),
    "sized_g": Formula(
        N_("Sized"), N_("net × (1 + size add-on), upwards"), "g", N_("size is a share of the unsized warp")
    ),
    "cones": Formula(N_("Cones to ask for"), N_("to issue ÷ a full cone, upwards"), "cones", DEFINED),
    "creel_packages": Formula(
        N_("Packages for the creel"), N_("as many as the largest section has ends"), "packages", PRACTICE
    ),
    "run_off_m": Formula(
        N_("Run off the busiest package"),
        N_("sections × (warp + what is cut away at each)"),
        "m",
        N_("T. Vogl (2001), on sectional warping"),
    ),
    "capacity_kg": Formula(N_("Yarn it holds"), N_("π ÷ 4 × (flange² − barrel²) × width × density"), "kg", BEAM_RING),
    "g_per_m": Formula(N_("A metre of all ends"), N_("ends × tex ÷ 1000"), "g/m", TEX),
    "capacity_m": Formula(N_("Warp it holds"), N_("yarn it holds ÷ a metre of all ends"), "m", DEFINED),
    "warp_kg": Formula(N_("The warp"), N_("warp × a metre of all ends ÷ 1000"), "kg", DEFINED),
    "beam_net_kg": Formula(N_("Yarn on it"), N_("full − empty"), "kg", DEFINED),
    "beam_m": Formula(N_("Warp on it"), N_("yarn × 1 000 000 ÷ (ends × tex)"), "m", TEX),
    "picks": Formula(N_("Picks"), N_("grey length × picks per cm × 100, upwards"), "picks", CONSERVED),
    "woven_m_per_h": Formula(
        N_("Woven in an hour"), N_("picks a minute × 60 × efficiency ÷ (picks per cm × 100)"), "m/h", DEFINED
    ),
    "lost_min": Formula(N_("Minutes lost in 100 000 picks"), N_("stops × minutes of each kind, added"), "min", ISLAM),
    "running_min": Formula(N_("Minutes running for them"), N_("100 000 ÷ picks a minute"), "min", DEFINED),
    "efficiency_pct": Formula(N_("Running efficiency"), N_("running ÷ (running + lost)"), "%", ISLAM),
    "shared_efficiency_pct": Formula(
        N_("With so many looms to the weaver"),
        N_("(1 − 1 ÷ Σ N!/(N−k)! × ρᵏ) ÷ (N × ρ), ρ = lost ÷ running"),
        "%",
        N_("from memory: the machine-repair model; no source at hand"),
    ),
    "woven_picks": Formula(N_("Picks woven"), N_("woven length × picks per cm × 100"), "picks", DEFINED),
    "measured_efficiency_pct": Formula(
        N_("Running efficiency"), N_("picks woven ÷ (picks a minute × minutes it was to run)"), "%", ISLAM_SHED
    ),
    "route_width_pct": Formula(
        N_("Shrinkage in width, whole route"), FORMULAE["width_shrink_pct"].formula, "%", STEPS_COMPOUND
    ),
    "route_length_pct": Formula(
        N_("Shrinkage in length, whole route"), FORMULAE["length_shrink_pct"].formula, "%", STEPS_COMPOUND
    ),
    "route_loss_pct": Formula(N_("Loss of mass, whole route"), FORMULAE["mass_loss_pct"].formula, "%", STEPS_COMPOUND),
    "grey_width_cm": Formula(N_("Grey width"), N_("finished width ÷ (1 − shrinkage)"), "cm", STEPS_COMPOUND),
    "grey_m": Formula(N_("Grey length"), N_("finished length ÷ (1 − shrinkage)"), "m", STEPS_COMPOUND),
    "grey_g_per_m2": Formula(
        N_("Grey mass"),
        N_("finished mass × (1 − shrinkage in width) × (1 − shrinkage in length) ÷ (1 − loss)"),
        "g/m²",
        N_("what was lost of the mass, on the area there was"),
    ),
    "finished_width_cm": Formula(N_("Finished width"), N_("grey width × (1 − shrinkage)"), "cm", STEPS_COMPOUND),
    "finished_m": Formula(N_("Finished length"), N_("grey length × (1 − shrinkage)"), "m", STEPS_COMPOUND),
    "finished_g_per_m2": FORMULAE["finished_g_per_m2"],
    "shrunk_width_pct": Formula(N_("Shrinkage in width"), N_("(grey − finished) ÷ grey"), "%", RELAXED),
    "shrunk_length_pct": Formula(N_("Shrinkage in length"), N_("(grey − finished) ÷ grey"), "%", RELAXED),
    "added_pct": Formula(
        N_("To be added to the finished length"),
        N_("shrinkage ÷ (1 − shrinkage): more than the shrinkage itself"),
        "%",
        "Conference of Northern California Handweavers, note on shrinkage",
    ),
    "regain_pct": Formula(
        N_("Moisture on the dry mass"),
        N_("content ÷ (1 − content)"),
        "%",
        N_("regain is water ÷ dry, content water ÷ whole"),
    ),
    "content_pct": Formula(
        N_("Moisture in the whole"),
        N_("regain ÷ (1 + regain)"),
        "%",
        N_("regain is water ÷ dry, content water ÷ whole"),
    ),
    "dry_g": Formula(N_("Oven-dry"), N_("net ÷ (1 + regain measured)"), "g", N_("regain is a share of the dry mass")),
    "invoice_g": Formula(N_("At the agreed regain"), N_("oven-dry × (1 + regain agreed)"), "g", ""),
    "weft_crimp_pct": Formula(
        N_("Crimp of the weft"),
        N_("contraction ÷ (1 − contraction)"),
        "%",
        N_("the weft was laid at the width in the reed"),
    ),
    "loom_g_per_m2": Formula(
        N_("Loom-state mass"),
        N_("(ends per cm × tex × (1 + crimp) + picks per cm × tex × (1 + crimp)) ÷ 10"),
        "g/m²",
        N_("ISO 7211-3: crimp is a share of the cloth's length; GATE TF 2009 has the same sum"),
    ),
    "finished_g_per_m": Formula(N_("Finished mass of a metre"), N_("g/m² × finished width ÷ 100"), "g/m", DEFINED),
    "square_sett_per_cm": Formula(
        N_("Ends and picks per cm alike"),
        N_("mass × 10 ÷ (2 × tex × (1 + crimp))"),
        "per cm",
        N_("GATE TF 2007 has the same sum"),
    ),
    "points": Formula(N_("Points"), N_("of each fault, at most 4 on a metre (yard)"), "points", D5430),
    "points_per_100_m2": Formula(N_("In 100 m²"), N_("points × 10 000 ÷ (metres × cm)"), "points", "ASTM D5430"),
    "points_per_100_yd2": Formula(N_("In 100 yd²"), N_("points × 3600 ÷ (yards × inches)"), "points", "ASTM D5430"),
    "limit_per_100_m2": Formula(
        N_("Limit in 100 m²"),
        N_("limit in 100 yd² ÷ 0.9144²"),
        "points",
        N_("agreed with the customer; 40 is common practice"),
    ),
    "verdict": Formula(N_("Grade"), N_("at or under the limit it passes"), "", N_("agreed with the customer")),
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
