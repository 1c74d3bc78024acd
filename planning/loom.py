"""The loom: does a cloth fit it, and how long it weaves. Knows no calendar, warp or order."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import ceil, perm

from mill.refusal import N_, Refusal


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

    def __post_init__(self) -> None:
        if self.ppm < 1:
            raise Refusal(
                N_("Loom %(code)s runs at %(ppm)s picks a minute; write 1 or more."),
                field="ppm",
                code=self.code,
                ppm=self.ppm,
            )
        if not 0 < self.efficiency_pct <= 100:
            raise Refusal(
                N_("Loom %(code)s has an efficiency of %(efficiency)s %%; it is above 0 and at most 100 %%."),
                field="efficiency_pct",
                code=self.code,
                efficiency=self.efficiency_pct,
            )
        if self.reed_space_cm <= 0:
            raise Refusal(
                N_("Loom %(code)s has a reed space of %(reed_space)s cm; it must be above 0."),
                field="reed_space_cm",
                code=self.code,
                reed_space=self.reed_space_cm,
            )
        if self.tail_cm < 0:
            raise Refusal(
                N_("Loom %(code)s cuts tails of %(tail)s cm; write 0 or more."),
                field="tail_cm",
                code=self.code,
                tail=self.tail_cm,
            )


@dataclass(frozen=True, slots=True)
class LoomNeeds:
    """What a warp and its wefts ask of a loom; flange_mm is None until a beam is named."""

    reed_width_cm: Decimal
    shafts: int
    weft_colours: int
    flange_mm: int | None = None


TOO_WIDE = N_("the reed space is %(space)s cm, the warp is %(width)s cm wide in the reed")
TOO_FEW_SHAFTS = N_("it has %(has)s shafts, the draft needs %(needs)s")
TOO_FEW_COLOURS = N_("it takes %(takes)s weft colours, the cloth has %(has)s")
TOO_LARGE_A_FLANGE = N_("it takes flanges up to %(most)s mm, the beam's are %(has)s mm")
AGAINST = (TOO_WIDE, TOO_FEW_SHAFTS, TOO_FEW_COLOURS, TOO_LARGE_A_FLANGE)


def reasons_against(needs: LoomNeeds, loom: LoomFacts) -> list[str]:
    """Why a cloth can't be woven on a loom, each with both numbers; empty when it can.

    >>> rapier = LoomFacts("R2", 250, Decimal(70), Decimal(190), 16, False, 8, 800, Decimal(9))
    >>> reasons_against(LoomNeeds(Decimal("212.4"), shafts=20, weft_colours=4), rapier)
    ['the reed space is 190 cm, the warp is 212.4 cm wide in the reed', 'it has 16 shafts, the draft needs 20']
    """
    reasons = []
    if needs.reed_width_cm > loom.reed_space_cm:
        reasons.append(TOO_WIDE % {"space": loom.reed_space_cm, "width": needs.reed_width_cm})
    if not loom.jacquard and needs.shafts > loom.shafts:
        reasons.append(TOO_FEW_SHAFTS % {"has": loom.shafts, "needs": needs.shafts})
    if needs.weft_colours > loom.weft_colours:
        reasons.append(TOO_FEW_COLOURS % {"takes": loom.weft_colours, "has": needs.weft_colours})
    if needs.flange_mm is not None and needs.flange_mm > loom.max_flange_mm:
        reasons.append(TOO_LARGE_A_FLANGE % {"most": loom.max_flange_mm, "has": needs.flange_mm})
    return reasons


def check_loom(needs: LoomNeeds, loom: LoomFacts) -> None:
    """Raises Refusal when the cloth doesn't fit, with every reason, so that nobody finds them one by one."""
    reasons = reasons_against(needs, loom)
    if reasons:
        raise Refusal(
            N_("Loom %(loom)s can't weave this: %(reasons)s. Choose another loom."),
            field="loom",
            loom=loom.code,
            reasons="; ".join(reasons),
        )


# Picks and minutes.


def weaving_min(*, picks: int, ppm: int, efficiency_pct: Decimal) -> int:
    """Whole minutes that a loom weaves at so many picks, set-ups apart.

    >>> weaving_min(picks=108_000, ppm=220, efficiency_pct=Decimal(70))
    702

    Exact: 63 000 picks at 180 and 70 % are 500 minutes; in floats they would be 501.
    """
    return ceil(picks / (ppm * Fraction(efficiency_pct) / 100))


def loom_hours(weaving_min: int) -> Decimal:
    """Minutes as hours."""
    return Decimal(weaving_min) / 60


def woven_m(
    *, ppm: int, minutes: Decimal, loom_picks_per_cm: Decimal, efficiency_pct: Decimal = Decimal(100), looms: int = 1
) -> Decimal:
    """Grey cloth that looms weave in so many minutes.

    >>> woven_m(ppm=200, minutes=Decimal(60), loom_picks_per_cm=Decimal(10), efficiency_pct=Decimal(75))
    Decimal('9')
    """
    return ppm * minutes * looms * efficiency_pct / 100 / (loom_picks_per_cm * 100)


def running_efficiency_pct(*, picks: Decimal, ppm: int, minutes: Decimal) -> Decimal:
    """Picks woven, as a share of what the loom would have woven without a stop.

    minutes   in which it was meant to run: cleaning, waits and gaiting left out

    >>> running_efficiency_pct(picks=Decimal(8400), ppm=200, minutes=Decimal(60))
    Decimal('70.0')
    """
    if minutes <= 0:
        raise Refusal(N_("A loom that ran %(minutes)s minutes has no efficiency yet."), minutes=minutes)
    return picks / (ppm * minutes) * 100


def minutes_lost_per_100k_picks(stops: Iterable[tuple[Decimal, Decimal]]) -> Decimal:
    """Minutes stood in 100 000 picks: (how many stops, minutes each) of each kind.

    >>> minutes_lost_per_100k_picks(
    ...     [(Decimal(20), Decimal("0.85")), (Decimal(15), Decimal("0.30")), (Decimal(6), Decimal("0.12"))]
    ... )
    Decimal('22.22')

    Source: M. Islam, Calculation of Weaving Loom Efficiency (2015).
    """
    return sum((n * each_min for n, each_min in stops), start=Decimal(0))


def efficiency_pct_from_stops(*, ppm: int, lost_min_per_100k_picks: Decimal) -> Decimal:
    """Running efficiency that so many minutes lost leave.

    >>> round(efficiency_pct_from_stops(ppm=180, lost_min_per_100k_picks=Decimal("22.22")), 2)
    Decimal('96.15')

    Source: M. Islam, Calculation of Weaving Loom Efficiency (2015).
    """
    running_min = Decimal(100_000) / ppm
    return running_min / (running_min + lost_min_per_100k_picks) * 100


def interference_efficiency_pct(*, looms: int, service_ratio: Decimal) -> Decimal:
    """What several looms to one weaver leave of the efficiency, when a stopped loom waits for a busy weaver.

    looms           that one weaver minds; 1 or more
    service_ratio   minutes of mending stops per minute of running, of one loom; above 0

    >>> [round(interference_efficiency_pct(looms=n, service_ratio=Decimal("0.10")), 1) for n in (1, 4, 8)]
    [Decimal('90.9'), Decimal('88.3'), Decimal('82.7')]

    From memory: the machine-repair model with one mender and exponential times; no source at hand.
    """
    if looms < 1 or service_ratio <= 0:
        raise Refusal(
            N_("%(looms)s looms at %(service_ratio)s minutes of stops a minute: both must be above 0."),
            looms=looms,
            service_ratio=service_ratio,
        )
    states = sum((perm(looms, k) * service_ratio**k for k in range(looms + 1)), start=Decimal(0))
    return (1 - 1 / states) / (looms * service_ratio) * 100
