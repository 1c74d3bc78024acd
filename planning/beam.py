"""The beam: what it holds, how thick and how heavy it is full. Knows no cloth, loom or order."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from mill.refusal import Refusal

PI = Decimal("3.14159265358979323846264338")


@dataclass(frozen=True, slots=True)
class BeamFacts:
    """An empty beam: width between the flanges, barrel and flange diameters, and what it weighs."""

    code: str
    width_cm: Decimal
    barrel_mm: int
    flange_mm: int
    tare_kg: Decimal

    def __post_init__(self) -> None:
        if self.width_cm <= 0:
            raise Refusal(f"Beam {self.code} is {self.width_cm} cm wide; it must be above 0.", field="width_cm")
        if not 0 < self.barrel_mm < self.flange_mm:
            raise Refusal(
                f"Beam {self.code} has a barrel of {self.barrel_mm} mm in flanges of {self.flange_mm} mm. "
                "The flange must be the larger.",
                field="flange_mm",
            )
        if self.tare_kg < 0:
            raise Refusal(f"Beam {self.code} weighs {self.tare_kg} kg empty; weigh it again.", field="tare_kg")


def capacity_kg(beam: BeamFacts, *, density_kg_per_m3: Decimal) -> Decimal:
    """Yarn that fills a beam to its flanges: a ring of yarn, pi/4 (D² - d²) x width x density.

    >>> wide = BeamFacts("W1", Decimal(178), barrel_mm=180, flange_mm=760, tare_kg=Decimal(95))
    >>> round(capacity_kg(wide, density_kg_per_m3=Decimal(350)))
    267

    The density is the mill's own to measure. From memory: woollen 350-450, worsted 400-500, linen 500-600 kg/m³.
    """
    return _ring_m2(Decimal(beam.flange_mm), beam) * beam.width_cm / 100 * density_kg_per_m3


def capacity_m(beam: BeamFacts, *, density_kg_per_m3: Decimal, g_per_m: Decimal) -> Decimal:
    """Warp that fills a beam; g_per_m is the mass of a metre of all ends, sized if it is."""
    return capacity_kg(beam, density_kg_per_m3=density_kg_per_m3) * 1000 / g_per_m


def diameter_mm(beam: BeamFacts, *, yarn_kg: Decimal, density_kg_per_m3: Decimal) -> Decimal:
    """Diameter over the yarn, from what was wound."""
    ring_m2 = yarn_kg / (density_kg_per_m3 * beam.width_cm / 100)
    barrel_m2 = (Decimal(beam.barrel_mm) / 1000) ** 2
    return (barrel_m2 + 4 * ring_m2 / PI).sqrt() * 1000


def yarn_kg(beam: BeamFacts, *, diameter_mm: Decimal, density_kg_per_m3: Decimal) -> Decimal:
    """Yarn on a beam, from the diameter over it: `diameter_mm` the other way round."""
    return _ring_m2(diameter_mm, beam) * beam.width_cm / 100 * density_kg_per_m3


def length_m(*, yarn_kg: Decimal, ends: int, count_tex: Decimal) -> Decimal:
    """Warp on a beam, from the mass of its yarn.

    >>> round(length_m(yarn_kg=Decimal("266.8"), ends=1500, count_tex=Decimal(125)))
    1423
    """
    return yarn_kg * 1_000_000 / (ends * count_tex)


def warp_kg(*, length_m: Decimal, ends: int, count_tex: Decimal) -> Decimal:
    """Yarn of a warp: `length_m` the other way round."""
    return length_m * ends * count_tex / 1_000_000


def count_tex(*, yarn_kg: Decimal, ends: int, length_m: Decimal) -> Decimal:
    """Count of the yarn on a beam, sized if it was, from what it weighs.

    >>> count_tex(yarn_kg=Decimal(200), ends=400, length_m=Decimal(20000))
    Decimal('25')
    """
    return yarn_kg * 1_000_000 / (ends * length_m)


def net_kg(*, gross_kg: Decimal, tare_kg: Decimal) -> Decimal:
    """Yarn on a beam that was weighed full."""
    if gross_kg < tare_kg:
        raise Refusal(f"The beam weighs {gross_kg} kg full and {tare_kg} kg empty. Weigh it again.", field="gross_kg")
    return gross_kg - tare_kg


def gross_kg(beam: BeamFacts, *, yarn_kg: Decimal) -> Decimal:
    """What the hoist lifts."""
    return beam.tare_kg + yarn_kg


def kg_per_beam(*, total_kg: Decimal, beams: int) -> Decimal:
    """A warp's yarn shared evenly by several beams."""
    return total_kg / beams


def misfit(beam: BeamFacts, *, yarn_kg: Decimal, density_kg_per_m3: Decimal, warp_width_cm: Decimal) -> str:
    """Why a warp doesn't fit a beam, with both numbers; empty when it does.

    warp_width_cm   width in the reed: the beam is at least as wide, or its outer ends would climb the flanges
    """
    if warp_width_cm > beam.width_cm:
        return f"the warp is {warp_width_cm} cm wide in the reed, the beam {beam.width_cm} cm between its flanges"
    holds_kg = capacity_kg(beam, density_kg_per_m3=density_kg_per_m3)
    if yarn_kg > holds_kg:
        return f"the warp is {yarn_kg} kg of yarn, the beam holds {holds_kg:.1f} kg at {density_kg_per_m3} kg/m³"
    return ""


def check_beam(beam: BeamFacts, *, yarn_kg: Decimal, density_kg_per_m3: Decimal, warp_width_cm: Decimal) -> None:
    """Raises Refusal when the warp doesn't fit."""
    why = misfit(beam, yarn_kg=yarn_kg, density_kg_per_m3=density_kg_per_m3, warp_width_cm=warp_width_cm)
    if why:
        raise Refusal(f"Beam {beam.code}: {why}. Choose another beam, or split the warp.", field="beam")


def smallest_beam(
    beams: Iterable[BeamFacts],
    *,
    yarn_kg: Decimal,
    density_kg_per_m3: Decimal,
    warp_width_cm: Decimal,
    max_flange_mm: int | None = None,
) -> BeamFacts:
    """The beam that holds the warp and wastes least room: the narrowest, then the smallest flange, then by code.

    max_flange_mm   that the loom's bearings clear; None when no loom is named
    """
    all_beams = list(beams)
    fitting = [
        beam
        for beam in all_beams
        if (max_flange_mm is None or beam.flange_mm <= max_flange_mm)
        and not misfit(beam, yarn_kg=yarn_kg, density_kg_per_m3=density_kg_per_m3, warp_width_cm=warp_width_cm)
    ]
    if not fitting:
        flange = "" if max_flange_mm is None else f" with flanges up to {max_flange_mm} mm"
        raise Refusal(
            f"None of the {len(all_beams)} beams{flange} takes {yarn_kg} kg of yarn, {warp_width_cm} cm wide. "
            "Split the warp, or free a larger beam.",
            field="beam",
        )
    return min(fitting, key=lambda beam: (beam.width_cm, beam.flange_mm, beam.code))


def _ring_m2(diameter_mm: Decimal, beam: BeamFacts) -> Decimal:
    """The end view of the yarn between a diameter and the barrel."""
    return PI / 4 * ((diameter_mm / 1000) ** 2 - (Decimal(beam.barrel_mm) / 1000) ** 2)
