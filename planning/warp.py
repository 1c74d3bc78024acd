"""The warp: how long, how many ends of what, in which sections. Knows no loom, stock or order."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import accumulate
from math import ceil

from mill.refusal import N_, Refusal


def warp_length_per_piece_m(*, grey_length_m: Decimal, warp_crimp_pct: Decimal) -> Decimal:
    """Warp that weaves one piece, without its header.

    grey_length_m     the piece as it leaves the loom, before finishing; above 0
    warp_crimp_pct    percent of cloth length, not of yarn length; 0 to under 100

    >>> warp_length_per_piece_m(grey_length_m=Decimal("64"), warp_crimp_pct=Decimal("7.5"))
    Decimal('68.800')

    Source: ISO 7211-3 takes crimp on the cloth's length; a figure taken on the yarn's length is converted before.
    """
    if grey_length_m <= 0:
        raise Refusal(
            N_("There is nothing to weave: the grey length is %(grey_length)s m."),
            field="length_m",
            grey_length=grey_length_m,
        )
    return grey_length_m * (1 + warp_crimp_pct / 100)


def warp_to_wind_m(*, pieces_m: Sequence[Decimal], header_m: Decimal, thrums_m: Decimal) -> Decimal:
    """Length to wind: every piece with its header or cut mark, and the thrums once a warp.

    >>> warp_to_wind_m(pieces_m=[Decimal("68.8")] * 2, header_m=Decimal("0.5"), thrums_m=Decimal("3"))
    Decimal('141.6')
    """
    if not pieces_m:
        raise Refusal(N_("There is nothing to wind: the warp has no piece. Put an order line on it first."))
    assert header_m >= 0
    assert thrums_m >= 0
    return sum(pieces_m, start=Decimal(0)) + len(pieces_m) * header_m + thrums_m


def cut_marks_m(*, pieces_m: Sequence[Decimal], header_m: Decimal) -> tuple[Decimal, ...]:
    """Metres of warp from its front to the mark behind each piece and its header; the thrums follow the last.

    >>> cut_marks_m(pieces_m=[Decimal(60), Decimal(40)], header_m=Decimal("0.5"))
    (Decimal('60.5'), Decimal('101.0'))
    """
    return tuple(accumulate(piece + header_m for piece in pieces_m))


def ends_by_letter(*, ground: Mapping[str, int], selvedge_letter: str, selvedge_ends: int) -> dict[str, int]:
    """All ends by letter: the ground's, which were counted in repeats and a part repeat, and the selvedges'.

    >>> ends_by_letter(ground={"A": 57, "B": 4}, selvedge_letter="B", selvedge_ends=24)
    {'A': 57, 'B': 28}
    """
    ends = dict(ground)
    if selvedge_ends:
        ends[selvedge_letter] = ends.get(selvedge_letter, 0) + selvedge_ends
    return ends


# Yarn: ends times length, and its mass.


def yarn_m(*, ends: int, length_m: Decimal) -> Decimal:
    """Yarn in so many ends of a warp."""
    return ends * length_m


def mass_g(*, length_m: Decimal, count_tex: Decimal) -> Decimal:
    """Mass of a length of yarn: tex is grams of 1000 m."""
    return length_m * count_tex / 1000


def issue_g(*, net_g: int | Decimal, waste_pct: Decimal) -> Decimal:
    """Yarn to take from the store so that net_g is left after the waste, which is a share of the issue.

    >>> issue_g(net_g=9506, waste_pct=Decimal(2)) == 9700
    True
    """
    assert waste_pct < 100
    return net_g / (1 - waste_pct / 100)


def sized_g(*, unsized_g: int | Decimal, size_add_on_pct: Decimal) -> Decimal:
    """Mass of a warp after sizing; the add-on is a share of the unsized warp."""
    return unsized_g * (1 + size_add_on_pct / 100)


def size_add_on_pct(*, unsized_g: Decimal, sized_g: Decimal) -> Decimal:
    """What sizing added, from a warp weighed before and after."""
    if unsized_g <= 0 or sized_g < unsized_g:
        raise Refusal(
            N_("A warp of %(unsized)s g can't weigh %(sized)s g sized. Weigh both again."),
            unsized=unsized_g,
            sized=sized_g,
        )
    return (sized_g - unsized_g) / unsized_g * 100


# Sections and the creel.


def sections(*, ground_ends: int, selvedge_ends: int, repeat_ends: int, ends_per_section: int) -> tuple[int, ...]:
    """Ends of each section, from the left selvedge.

    As few sections as the creel allows, and those as even as whole colour repeats let them be; the last takes
    what is left. The first and the last hold a selvedge each. When a repeat is too wide for the creel, sections
    are cut through it.

    >>> sections(ground_ends=1500, selvedge_ends=0, repeat_ends=26, ends_per_section=300)
    (260, 260, 260, 260, 260, 200)
    >>> sections(ground_ends=1500, selvedge_ends=24, repeat_ends=1, ends_per_section=300)
    (262, 250, 250, 250, 250, 262)
    >>> sections(ground_ends=840, selvedge_ends=24, repeat_ends=280, ends_per_section=300)
    (292, 280, 292)
    """
    side = selvedge_ends // 2
    if ends_per_section < max(1, selvedge_ends + 1):
        raise Refusal(
            N_(
                "The creel holds %(ends_per_section)s packages; with %(selvedge_ends)s selvedge ends "
                "it must hold more. Give the mill's creel more places, or the cloth fewer selvedge "
                "ends."
            ),
            field="ends_per_section",
            ends_per_section=ends_per_section,
            selvedge_ends=selvedge_ends,
        )
    assert ground_ends > 0
    assert selvedge_ends % 2 == 0
    fewest = ceil(Fraction(ground_ends + selvedge_ends, ends_per_section))
    for unit in (repeat_ends, 1):
        units = ceil(Fraction(ground_ends, unit))
        for n in range(min(fewest, units), units + 1):
            size = unit * ceil(Fraction(units, n))
            grounds = [size] * (ground_ends // size) + ([ground_ends % size] if ground_ends % size else [])
            grounds[0] += side
            grounds[-1] += side
            if max(grounds) <= ends_per_section:
                return tuple(grounds)
    raise AssertionError("one ground end beside the selvedges fits, as was asked above")


@dataclass(frozen=True, slots=True)
class Packages:
    """Packages of one yarn that stand in the creel together, and the metres that run off the busiest.

    sections   in which the yarn runs, and so the busiest package
    """

    packages: int
    sections: int
    length_m: Decimal


def packages(
    *, section_ends: Sequence[Mapping[str, int]], length_m: Decimal, lost_per_section_m: Decimal = Decimal(0)
) -> dict[str, Packages]:
    """What the creel needs of each yarn: as many packages as the section with most ends of it.

    section_ends         of each section: yarn -> ends
    length_m             of the warp
    lost_per_section_m   run off at the start of every section and cut away

    A package is counted by ends, not by mass: the busiest one runs in every section that has its yarn.

    >>> needs = packages(section_ends=[{"A": 24, "B": 2}, {"A": 26}], length_m=Decimal(100))
    >>> needs["A"], needs["B"]
    (Packages(packages=26, sections=2, length_m=Decimal('200')),
     Packages(packages=2, sections=1, length_m=Decimal('100')))

    Source: T. Vogl (2001) on sectional warping: 20 sections of 25 yd with 0.5 yd to cut take 510 yd a spool.
    """
    needs: dict[str, Packages] = {}
    for yarn in dict.fromkeys(yarn for section in section_ends for yarn in section):
        of_yarn = [section[yarn] for section in section_ends if yarn in section]
        needs[yarn] = Packages(max(of_yarn), len(of_yarn), len(of_yarn) * (length_m + lost_per_section_m))
    return needs


def full_packages(amount: int, each: int) -> int:
    """Cones, bags or cases to ask for: a part of one is one.

    >>> full_packages(618, 16)
    39
    """
    return ceil(Fraction(amount, each))


def package_length_m(*, mass_g: Decimal, count_tex: Decimal) -> Decimal:
    """Yarn on a package, from what it weighs without its cone."""
    return mass_g * 1000 / count_tex


# Minutes and machines.


def warping_min(
    *,
    sections: int,
    length_m: Decimal,
    creel_load_min: Decimal,
    section_change_min: Decimal,
    drum_m_per_min: Decimal,
    beaming_m_per_min: Decimal,
    doff_min: Decimal,
) -> int:
    """Whole minutes from an empty creel to a full beam.

    >>> warping_min(sections=5, length_m=Decimal(141), creel_load_min=Decimal(75), section_change_min=Decimal(8),
    ...             drum_m_per_min=Decimal(250), beaming_m_per_min=Decimal(40), doff_min=Decimal(15))
    137

    Common practice, no source. The five runs on the drum are 2.8 minutes of the 137: creel and sections matter.
    """
    drum = Fraction(length_m) / Fraction(drum_m_per_min)
    beaming = Fraction(length_m) / Fraction(beaming_m_per_min)
    section = drum + Fraction(section_change_min)
    return ceil(Fraction(creel_load_min) + sections * section + beaming + Fraction(doff_min))


def wound_m(*, speed_m_per_min: Decimal, minutes: Decimal, efficiency_pct: Decimal = Decimal(100)) -> Decimal:
    """Length that a winding or warping machine runs in so many minutes."""
    return speed_m_per_min * minutes * efficiency_pct / 100


def winding_h(*, length_m: Decimal, machines: int, m_per_h: Decimal) -> Decimal:
    """Hours for a length, shared by machines that each run m_per_h."""
    return length_m / (machines * m_per_h)


def clock_length_m(*, roller_m: Decimal, wheels: tuple[int, int], wraps: int, teeth: int) -> Decimal:
    """Length that a warping clock shows.

    roller_m   circumference of the measuring roller
    wheels     teeth of the wheel it turns once in so many turns, and of the wheel behind that rings the wrap
    teeth      that the second wheel has gone since the last wrap

    >>> clock_length_m(roller_m=Decimal("0.5"), wheels=(54, 132), wraps=4, teeth=7)
    Decimal('14445.0')

    Source: Brooks, Cotton Manufacturing (1892): rollers of half a yard, so 3564 yd a wrap and 27 yd a tooth.
    """
    first, second = wheels
    return roller_m * first * (wraps * second + teeth)
