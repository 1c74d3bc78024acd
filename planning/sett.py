"""How tight a cloth may be: diameters, intersections, cover, and the reed that sets it. Knows no order or stock."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from inventory.yarn import SYSTEMS, yd_per_lb
from mill.refusal import N_, Refusal
from mill.working import W_

CM_PER_IN = Decimal("2.54")
MM_PER_IN = Decimal("25.4")

# Share of the most a weave takes that is commonly woven: "about 3/4 of that or a little more".
WORKING_SHARE_PCT = Decimal(75)


@dataclass(frozen=True, slots=True)
class SettingRule:
    """How many diameters of a yarn lie side by side: constant x sqrt(yards per lb), in an inch.

    yarns    what the constant was found for
    """

    key: str
    constant: Decimal
    yarns: str
    authority: str


SETTING_RULES: dict[str, SettingRule] = {
    rule.key: rule
    for rule in (
        SettingRule(
            "ashenhurst", Decimal("0.90"), W_("worsted and cotton"), "Ashenhurst, as restated at medievaltextiles"
        ),
        SettingRule(
            "ashenhurst-woollen", Decimal("0.84"), W_("woollen"), "Ashenhurst, as restated at medievaltextiles"
        ),
        SettingRule(
            "taylor-cotton", Decimal("0.95"), W_("cotton"), "J. T. Taylor, Cotton Weaving and Designing, 6th ed."
        ),
    )
}

# Linen, silk and the rest are set as worsted: common practice, no source.
RULE_OF_SPINNING: dict[str, SettingRule] = {
    "woollen": SETTING_RULES["ashenhurst-woollen"],
    "worsted": SETTING_RULES["ashenhurst"],
    "cotton": SETTING_RULES["ashenhurst"],
    "linen": SETTING_RULES["ashenhurst"],
    "silk": SETTING_RULES["ashenhurst"],
    "other": SETTING_RULES["ashenhurst"],
}


def diameters_per_cm(count_tex: Decimal, *, rule: SettingRule) -> Decimal:
    """How many of these yarns lie side by side, touching, in a centimetre.

    count_tex    of the whole yarn; above 0
    rule         of SETTING_RULES

    >>> diameters_per_cm(Decimal("147.635"), rule=SETTING_RULES["ashenhurst"]).quantize(Decimal("0.01"))
    Decimal('20.54')

    Raises Refusal for a tex of 0 or less.
    Source: Ashenhurst, D = 0.9 sqrt(yd/lb) an inch for worsted and cotton, 0.84 for woollen; Taylor 0.95 for cotton.
    """
    return rule.constant * yd_per_lb(count_tex).sqrt() / CM_PER_IN


def diameters_from_wraps_per_cm(wraps_per_cm: Decimal, *, wrapped_pct: Decimal = Decimal(70)) -> Decimal:
    """Diameters of a yarn of no known count, from how many turns of it fill a centimetre of a rule.

    wraps_per_cm    turns that touch but are not pressed; above 0
    wrapped_pct     wraps as a percent of true diameters, since hand-wound turns lie loosely; above 0 to 100

    >>> diameters_from_wraps_per_cm(Decimal(14))
    Decimal('20')

    Source: the 70 % is Osterkamp's comparison of wrapping with Ashenhurst's rule.
    """
    _above_nought(wraps_per_cm, "wraps per cm")
    if not 0 < wrapped_pct <= 100:
        raise Refusal(f"Wraps can't be {wrapped_pct} % of the diameters: write more than 0 and at most 100 %.")
    return wraps_per_cm * 100 / wrapped_pct


def max_sett_per_cm(
    diameters_per_cm: Decimal,
    *,
    threads: Decimal | int,
    intersections: Decimal | int,
    crossing_diameters_per_cm: Decimal | None = None,
) -> Decimal:
    """The most ends, or picks, a centimetre can hold in a weave before they lie on each other.

    diameters_per_cm             of the threads that are set; above 0
    threads                      in one repeat: its ends for a sett of ends
    intersections                crossing threads that pass between them in that repeat, mean over the crossing
                                 threads: 2 in plain weave and in 2/2 twill
    crossing_diameters_per_cm    of the other set, when it is another yarn

    A warning, never a limit: beat, tension and wool's give decide.

    >>> max_sett_per_cm(Decimal(52), threads=4, intersections=2).quantize(Decimal("0.01"))
    Decimal('34.67')

    Raises Refusal for a repeat of no threads.
    Source: Ashenhurst, D e / (e + i). With two yarns the intersections take the other's diameter: common practice,
    no source.
    """
    _above_nought(diameters_per_cm, "diameters per cm")
    _above_nought(Decimal(threads), "threads in the repeat")
    if intersections < 0:
        raise Refusal(f"A repeat can't have {intersections} intersections: write 0 or more.")
    if crossing_diameters_per_cm is None:
        return diameters_per_cm * threads / (threads + Decimal(intersections))
    _above_nought(crossing_diameters_per_cm, "diameters per cm of the crossing yarn")
    return threads / (threads / diameters_per_cm + intersections / crossing_diameters_per_cm)


def working_sett_per_cm(max_per_cm: Decimal, *, share_pct: Decimal = WORKING_SHARE_PCT) -> Decimal:
    """The sett that is commonly woven, a share of the most the weave takes.

    share_pct    above 0 to 100

    >>> working_sett_per_cm(Decimal(16))
    Decimal('12')

    Source: about 3/4 of the maximum or a little more, Ashenhurst as restated at medievaltextiles.
    """
    _above_nought(max_per_cm, "threads per cm")
    if not 0 < share_pct <= 100:
        raise Refusal(f"A working share of {share_pct} % can't be: write more than 0 and at most 100 %.")
    return max_per_cm * share_pct / 100


@dataclass(frozen=True, slots=True)
class Tightness:
    """Given ends and picks as shares of the most the weave takes of each, and what to say about it.

    mean_pct    of both: what an open warp gives, a close weft may take
    warnings    sentences for the designer, who decides; empty below the working sett
    """

    ends_pct: Decimal
    picks_pct: Decimal
    mean_pct: Decimal
    warnings: tuple[str, ...]


# Closer than the weave takes, and closer than is commonly woven.
ENDS_ARE = (
    W_(
        "%(given)s ends/cm are %(share)s %% of the %(most)s that this weave takes: the threads lie on each other. Open"
        " the sett or take a finer yarn."
    ),
    W_(
        "%(given)s ends/cm are %(share)s %% of the %(most)s that this weave takes; %(working)s (%(usual)s %%) are"
        " commonly woven."
    ),
)
PICKS_ARE = (
    W_(
        "%(given)s picks/cm are %(share)s %% of the %(most)s that this weave takes: the threads lie on each other. Open"
        " the sett or take a finer yarn."
    ),
    W_(
        "%(given)s picks/cm are %(share)s %% of the %(most)s that this weave takes; %(working)s (%(usual)s %%) are"
        " commonly woven."
    ),
)


def tightness(
    *,
    ends_per_cm: Decimal,
    picks_per_cm: Decimal,
    max_ends_per_cm: Decimal,
    max_picks_per_cm: Decimal,
    working_share_pct: Decimal = WORKING_SHARE_PCT,
) -> Tightness:
    """How near a cloth comes to the most its weave takes. It warns and refuses nothing.

    All above 0; given and greatest sett in the same state, loom or finished.

    >>> shares = tightness(
    ...     ends_per_cm=Decimal(12),
    ...     picks_per_cm=Decimal(9),
    ...     max_ends_per_cm=Decimal(15),
    ...     max_picks_per_cm=Decimal(15),
    ... )
    >>> shares.ends_pct, shares.picks_pct, shares.mean_pct
    (Decimal('80'), Decimal('60'), Decimal('70'))
    >>> shares.warnings
    ('12 ends/cm are 80 % of the 15 that this weave takes; 11.2 (75 %) are commonly woven.',)

    Source: the working share is Ashenhurst's, as restated; the warning above it is common practice.
    """
    warnings = []
    shares = []
    for name, (too_close, close), given, most in (
        ("ends", ENDS_ARE, ends_per_cm, max_ends_per_cm),
        ("picks", PICKS_ARE, picks_per_cm, max_picks_per_cm),
    ):
        _above_nought(given, f"{name} per cm")
        working = working_sett_per_cm(most, share_pct=working_share_pct)
        share = given * 100 / most
        shares.append(share)
        said = {"given": _shown(given), "share": _shown(share, places=0), "most": _shown(most)}
        if share > 100:
            warnings.append(too_close % said)
        elif share > working_share_pct:
            usual = _shown(working_share_pct, places=0)
            warnings.append(close % {**said, "working": _shown(working), "usual": usual})
    return Tightness(shares[0], shares[1], (shares[0] + shares[1]) / 2, tuple(warnings))


def same_firmness_in_weave_per_cm(
    sett_per_cm: Decimal,
    *,
    from_threads: Decimal | int,
    from_intersections: Decimal | int,
    to_threads: Decimal | int,
    to_intersections: Decimal | int,
) -> Decimal:
    """The sett that is as firm in another weave, of the same yarn.

    Threads and intersections as in `max_sett_per_cm`, of either weave.

    >>> same_firmness_in_weave_per_cm(
    ...     Decimal(12), from_threads=2, from_intersections=2, to_threads=4, to_intersections=2
    ... )
    Decimal('16')

    Source: J. T. Taylor, Cotton Weaving and Designing, 6th ed.: as the threads and intersections of the repeats.
    """
    _above_nought(sett_per_cm, "threads per cm")
    for threads, intersections in ((from_threads, from_intersections), (to_threads, to_intersections)):
        _above_nought(Decimal(threads), "threads in the repeat")
        if intersections < 0:
            raise Refusal(f"A repeat can't have {intersections} intersections: write 0 or more.")
    was = from_threads + Decimal(from_intersections)
    becomes = to_threads + Decimal(to_intersections)
    return sett_per_cm * was * to_threads / (from_threads * becomes)


def same_firmness_in_yarn_per_cm(sett_per_cm: Decimal, *, from_tex: Decimal, to_tex: Decimal) -> Decimal:
    """The sett that is as firm in another yarn, of the same weave and spinning.

    >>> same_firmness_in_yarn_per_cm(Decimal(12), from_tex=Decimal(100), to_tex=Decimal(64))
    Decimal('15.00')

    Source: diameters go as the root of the count (Ashenhurst).
    """
    _above_nought(sett_per_cm, "threads per cm")
    _above_nought(from_tex, "tex")
    _above_nought(to_tex, "tex")
    return sett_per_cm * (from_tex / to_tex).sqrt()


def peirce_cover_factor(threads_per_cm: Decimal, *, count_tex: Decimal) -> Decimal:
    """Peirce's cover factor: threads per inch over the root of the cotton count. Say which when you print it.

    >>> peirce_cover_factor(Decimal(24), count_tex=Decimal(25)).quantize(Decimal("0.01"))
    Decimal('12.54')

    Source: F. T. Peirce, as quoted by Balasubramanian; 28 is a full cover of round threads.
    """
    _above_nought(threads_per_cm, "threads per cm")
    _above_nought(count_tex, "tex")
    return threads_per_cm * CM_PER_IN * (count_tex / SYSTEMS["ne"].tex_of_one).sqrt()


def si_cover_factor(threads_per_cm: Decimal, *, count_tex: Decimal) -> Decimal:
    """The cover factor in metric: threads per cm x root of tex / 10. It is 0.957 of Peirce's, so label it.

    >>> si_cover_factor(Decimal(24), count_tex=Decimal(25))
    Decimal('12')

    Source: Balasubramanian, Useful Conversion Factors.
    """
    _above_nought(threads_per_cm, "threads per cm")
    _above_nought(count_tex, "tex")
    return threads_per_cm * count_tex.sqrt() / 10


def peirce_diameter_mm(count_tex: Decimal) -> Decimal:
    """Diameter of a round cotton yarn, 1 / (28 sqrt Ne) inch.

    >>> peirce_diameter_mm(Decimal("16.4039235402")).quantize(Decimal("0.0001"))
    Decimal('0.1512')

    Source: F. T. Peirce, as quoted in GATE TF 2007 Q85.
    """
    _above_nought(count_tex, "tex")
    return MM_PER_IN * (count_tex / SYSTEMS["ne"].tex_of_one).sqrt() / 28


def yarn_diameter_mm(count_tex: Decimal, *, fibre_density_g_per_cm3: Decimal) -> Decimal:
    """Diameter of a yarn of a fibre of this density: 0.0444 x root of tex over density.

    fibre_density_g_per_cm3    of the solid fibre: wool 1.31, cotton 1.54, flax 1.50 [memory]; above 0

    The constant holds for yarn of which about 65 % is fibre.

    >>> yarn_diameter_mm(Decimal(30), fibre_density_g_per_cm3=Decimal("1.54")).quantize(Decimal("0.001"))
    Decimal('0.196')

    Source: GATE TF 2008 Q71.
    """
    _above_nought(count_tex, "tex")
    _above_nought(fibre_density_g_per_cm3, "g/cm3")
    return Decimal("0.0444") * (count_tex / fibre_density_g_per_cm3).sqrt()


def thread_cover(threads_per_cm: Decimal, *, diameter_mm: Decimal) -> Decimal:
    """Share of the cloth, 0 to 1, that one set of threads covers. Threads that overlap cover all of it.

    >>> thread_cover(Decimal(28), diameter_mm=Decimal("0.15"))
    Decimal('0.42')

    Source: threads x diameter, F. T. Peirce.
    """
    _above_nought(threads_per_cm, "threads per cm")
    _above_nought(diameter_mm, "mm")
    return min(threads_per_cm * diameter_mm / 10, Decimal(1))


def cloth_cover(*, warp_cover: Decimal, weft_cover: Decimal) -> Decimal:
    """Share of the cloth, 0 to 1, that both sets cover together: c1 + c2 - c1 c2.

    >>> cloth_cover(warp_cover=Decimal("0.5"), weft_cover=Decimal("0.4"))
    Decimal('0.70')

    Source: F. T. Peirce, as quoted in GATE TF 2007 Q85.
    """
    for cover in (warp_cover, weft_cover):
        if not 0 <= cover <= 1:
            raise Refusal(f"A cover of {cover} can't be: it is a share from 0 to 1.")
    return warp_cover + weft_cover - warp_cover * weft_cover


def scaled_stripes(stripes: Sequence[int], *, times: Decimal | int) -> tuple[int, ...]:
    """The same pattern in another sett or size: every stripe times as many ends.

    stripes    ends of each stripe of one repeat, in order; 1 or more each
    times      new sett over old, or new size over old; above 0

    Where the product is no whole number of ends, stripes are rounded so that the edges between them stay within half
    an end of where they belong, and no stripe is lost.

    >>> scaled_stripes([2, 6, 8, 32, 8, 6], times=4)
    (8, 24, 32, 128, 32, 24)
    >>> scaled_stripes([24, 2, 4], times=Decimal("1.2"))
    (29, 2, 5)

    Raises Refusal for no stripes, a stripe of no ends, or stripes that would be thinner than one end.
    Source: proportion; elliotclan.com scales a thread count so.
    """
    if not stripes:
        raise Refusal("There is no pattern to scale: write one stripe at least.")
    if times <= 0:
        raise Refusal(f"A pattern can't be made {times} times as large: write a number above 0.")
    scaled = []
    edge, edge_made = Decimal(0), 0
    for stripe in stripes:
        if stripe < 1:
            raise Refusal(f"A stripe of {stripe} ends can't be: write 1 or more.")
        edge += stripe * Decimal(times)
        made = int((edge + Decimal("0.5")).to_integral_value(rounding="ROUND_FLOOR")) - edge_made
        if made < 1:
            raise Refusal(
                f"A stripe of {stripe} ends times {times} is thinner than one end. Scale the pattern less, or widen"
                " the stripe first."
            )
        edge_made += made
        scaled.append(made)
    return tuple(scaled)


@dataclass(frozen=True, slots=True)
class ReedSystem:
    """A way of numbering reeds: a reed of number n has n x `dents` dents in `width_cm` centimetres.

    written    what is stamped on reeds or said of them, in small letters; the first is the one we write back
    note       what else the trade says of it
    """

    key: str
    name: str
    dents: int
    width_cm: Decimal
    written: tuple[str, ...]
    authority: str
    note: str = ""


def _inches(number: str) -> Decimal:
    return Decimal(number) * CM_PER_IN


_TAYLOR = "J. T. Taylor, Cotton Weaving and Designing, 6th ed."

REED_SYSTEMS: dict[str, ReedSystem] = {
    system.key: system
    for system in (
        ReedSystem(
            "metric",
            N_("Metric, dents in 10 cm"),
            1,
            Decimal(10),
            ("metric", "per 10 cm", "/10 cm", "dents per 10 cm"),
            "",
        ),
        ReedSystem(
            "stockport",
            N_("Stockport or Manchester, dents in 2 in"),
            1,
            _inches("2"),
            ("stockport", "manchester"),
            "C. P. Brooks, Cotton Manufacturing, 3rd ed. 1892",
        ),
        ReedSystem(
            "huddersfield",
            N_("Huddersfield or Radcliffe, dents in an inch"),
            1,
            _inches("1"),
            ("huddersfield", "radcliffe", "per in", "/in", "dents per in", "dents per inch"),
            W_("in print"),
        ),
        ReedSystem(
            "bolton",
            N_("Bolton, beers of 20 dents in 24 1/4 in"),
            20,
            _inches("24.25"),
            ("bolton",),
            f"{_TAYLOR}; C. P. Brooks",
            W_("Copies that say 24 1/2 in are wrong."),
        ),
        ReedSystem(
            "bradford",
            N_("Bradford, beers of 20 dents in 36 in"),
            20,
            _inches("36"),
            ("bradford",),
            _TAYLOR,
            W_("Taylor's beer is 40 ends, two in a dent."),
        ),
        ReedSystem(
            "blackburn", N_("Blackburn, beers of 20 dents in 45 in"), 20, _inches("45"), ("blackburn",), W_("in print")
        ),
        ReedSystem(
            "leeds",
            N_("Leeds, porties of 19 dents in 9 in"),
            19,
            _inches("9"),
            ("leeds",),
            W_("in print"),
            W_("A portie is 38 ends, two in a dent."),
        ),
        ReedSystem(
            "irish",
            N_("Irish linen, hundreds of dents in 40 in"),
            100,
            _inches("40"),
            ("irish", "irish linen"),
            W_("in print"),
        ),
        ReedSystem(
            "macclesfield",
            N_("Macclesfield, hundreds of dents in 36 in"),
            100,
            _inches("36"),
            ("macclesfield",),
            W_("in print"),
        ),
        ReedSystem(
            "scotch",
            N_("Scotch, dents in 37 in"),
            1,
            _inches("37"),
            ("scotch",),
            f"{_TAYLOR}; C. P. Brooks",
            W_("Its dents are called splits."),
        ),
        ReedSystem(
            "porter",
            N_("Jute and linen porters of 20 dents in 37 in"),
            20,
            _inches("37"),
            ("porter", "porters", "jute porter", "linen porter"),
            "Spon's Encyclopaedia",
            W_("A porter is 40 threads, two in a dent."),
        ),
    )
}

_REED_BY_NAME = {name: system for system in REED_SYSTEMS.values() for name in (system.key, *system.written)}


def reed_system_called(name: str) -> ReedSystem:
    """The reed system a person means by `name`, or by its key.

    >>> reed_system_called("Radcliffe").key
    'huddersfield'

    Raises Refusal, with those that are known, for a name that is not.
    Source: common practice; each system has its authority.
    """
    said = " ".join(name.lower().split())
    if said not in _REED_BY_NAME:
        known = ", ".join(system.written[0] for system in REED_SYSTEMS.values())
        raise Refusal(
            N_('"%(name)s" is no reed system we know. We know %(known)s; or count the dents in 10 cm.'),
            name=name[:40],
            known=known,
        )
    return _REED_BY_NAME[said]


def dents_per_10cm(number: Decimal | int, *, system: str) -> Decimal:
    """Dents in 10 cm of a reed of this number; unrounded.

    number    above 0

    >>> dents_per_10cm(60, system="stockport").quantize(Decimal("0.1"))
    Decimal('118.1')

    Raises Refusal for a number of 0 or less and for a system not known.
    Source: the definitions in REED_SYSTEMS.
    """
    return convert_reed(number, from_system=system, to_system="metric")


def reed_number(dents_per_10cm: Decimal | int, *, system: str) -> Decimal:
    """The number in a reed system of a reed with so many dents in 10 cm, above 0; unrounded.

    >>> reed_number(100, system="huddersfield")
    Decimal('25.40')

    Source: the definitions in REED_SYSTEMS.
    """
    return convert_reed(dents_per_10cm, from_system="metric", to_system=system)


def convert_reed(number: Decimal | int, *, from_system: str, to_system: str) -> Decimal:
    """The number in one reed system of a reed numbered in another; unrounded, with a single division.

    number    above 0

    >>> convert_reed(40, from_system="radcliffe", to_system="stockport")
    Decimal('80')

    Source: the definitions in REED_SYSTEMS.
    """
    _above_nought(Decimal(number), "dents")
    have, want = reed_system_called(from_system), reed_system_called(to_system)
    return number * have.dents * want.width_cm / (have.width_cm * want.dents)


def dents_in_width(dents_per_10cm: Decimal, *, width_cm: Decimal) -> Decimal:
    """Dents of a reed in a width, both above 0; unrounded: whole dents are the cloth's to choose.

    >>> dents_in_width(Decimal(80), width_cm=Decimal(175))
    Decimal('1400')
    """
    _above_nought(dents_per_10cm, "dents")
    _above_nought(width_cm, "cm")
    return dents_per_10cm * width_cm / 10


def reed_sett_per_cm(dents_per_10cm: Decimal, *, ends_per_dent: Decimal | int) -> Decimal:
    """Ends per cm in the reed; the mean where dents hold different numbers of ends. Both above 0.

    >>> reed_sett_per_cm(Decimal(80), ends_per_dent=2)
    Decimal('16')
    """
    _above_nought(dents_per_10cm, "dents")
    _above_nought(Decimal(ends_per_dent), "ends in a dent")
    return dents_per_10cm * ends_per_dent / 10


def read_reed(text: str) -> Decimal:
    """Dents in 10 cm of a reed as it is stamped or said: a number and a system, in either order.

    >>> read_reed("63 per 10 cm"), read_reed("Stockport 40").quantize(Decimal("0.01"))
    (Decimal('63'), Decimal('78.74'))

    Raises Refusal, saying what was found, when there is no number, no system or one not known.
    Source: common practice, no source.
    """
    shown = " ".join(text.split())[:60]
    known = re.fullmatch(
        r"(?P<number>\d+(?:[.,]\d+)?)\s*(?P<name>\D.*)|(?P<name_first>[^\d]+?)\s*(?P<number_last>\d+(?:[.,]\d+)?)",
        shown,
        re.ASCII,
    )
    if known is None:
        raise Refusal(
            N_('"%(shown)s" can\'t be read as a reed. Write a number and its system: Stockport 40, 63 per 10 cm.'),
            shown=shown,
        )
    number = (known["number"] or known["number_last"]).replace(",", ".")
    name = known["name"] or known["name_first"]
    return dents_per_10cm(Decimal(number), system=name)


def _above_nought(value: Decimal, unit: str) -> None:
    if not value.is_finite() or value <= 0:
        raise Refusal(f"{value} {unit} can't be: write more than 0.")


def _shown(value: Decimal, *, places: int = 1) -> str:
    rounded = value.quantize(Decimal(1).scaleb(-places))
    return f"{rounded.normalize():f}"
