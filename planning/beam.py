"""The beam: what it holds, how thick and how heavy it is full. Knows no cloth, loom or order."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from mill.refusal import N_, Refusal, in_words

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
            raise Refusal(
                N_("Beam %(code)s is %(width)s cm wide; it must be above 0."),
                field="width_cm",
                code=self.code,
                width=self.width_cm,
            )
        if not 0 < self.barrel_mm < self.flange_mm:
            raise Refusal(
                N_(
                    "Beam %(code)s has a barrel of %(barrel)s mm in flanges of %(flange)s mm. The flange "
                    "must be the larger."
                ),
                field="flange_mm",
                code=self.code,
                barrel=self.barrel_mm,
                flange=self.flange_mm,
            )
        if self.tare_kg < 0:
            raise Refusal(
                N_("Beam %(code)s weighs %(tare)s kg empty; weigh it again."),
                field="tare_kg",
                code=self.code,
                tare=self.tare_kg,
            )


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
        raise Refusal(
            N_("The beam weighs %(gross)s kg full and %(tare)s kg empty. Weigh it again."),
            field="gross_kg",
            gross=gross_kg,
            tare=tare_kg,
        )
    return gross_kg - tare_kg


def gross_kg(beam: BeamFacts, *, yarn_kg: Decimal) -> Decimal:
    """What the hoist lifts."""
    return beam.tare_kg + yarn_kg


def kg_per_beam(*, total_kg: Decimal, beams: int) -> Decimal:
    """A warp's yarn shared evenly by several beams."""
    return total_kg / beams


def misfit(beam: BeamFacts, *, yarn_kg: Decimal, density_kg_per_m3: Decimal, warp_width_cm: Decimal) -> str:
    """Why a warp doesn't fit a beam, with both numbers, in the language of the page; empty when it does.

    warp_width_cm   width in the reed: the beam is at least as wide, or its outer ends would climb the flanges
    """
    if warp_width_cm > beam.width_cm:
        return in_words(
            N_("the warp is %(warp)s cm wide in the reed, the beam %(between)s cm between its flanges"),
            warp=warp_width_cm,
            between=beam.width_cm,
        )
    holds_kg = capacity_kg(beam, density_kg_per_m3=density_kg_per_m3)
    if yarn_kg > holds_kg:
        return in_words(
            N_("the warp is %(warp)s kg of yarn, the beam holds %(holds)s kg at %(density)s kg/m³"),
            warp=yarn_kg,
            holds=round(holds_kg, 1),
            density=density_kg_per_m3,
        )
    return ""


def check_beam(beam: BeamFacts, *, yarn_kg: Decimal, density_kg_per_m3: Decimal, warp_width_cm: Decimal) -> None:
    """Raises Refusal when the warp doesn't fit."""
    if warp_width_cm > beam.width_cm:
        raise Refusal(
            N_(
                "Beam %(beam)s: the warp is %(warp)s cm wide in the reed, the beam %(between)s cm between its flanges."
                " Choose another beam, or split the warp."
            ),
            field="beam",
            beam=beam.code,
            warp=warp_width_cm,
            between=beam.width_cm,
        )
    holds_kg = capacity_kg(beam, density_kg_per_m3=density_kg_per_m3)
    if yarn_kg > holds_kg:
        raise Refusal(
            N_(
                "Beam %(beam)s: the warp is %(warp)s kg of yarn, the beam holds %(holds)s kg at %(density)s kg/m³."
                " Choose another beam, or split the warp."
            ),
            field="beam",
            beam=beam.code,
            warp=yarn_kg,
            holds=round(holds_kg, 1),
            density=density_kg_per_m3,
        )


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
        said = {"n": len(all_beams), "yarn": yarn_kg, "width": warp_width_cm}
        if max_flange_mm is None:
            form = N_(
                "None of the %(n)s beams takes %(yarn)s kg of yarn, %(width)s cm wide. Split the warp, or free a larger"
                " beam."
            )
            raise Refusal(form, field="beam", **said)
        raise Refusal(
            N_(
                "None of the %(n)s beams with flanges up to %(flange)s mm takes %(yarn)s kg of yarn, %(width)s cm wide."
                " Split the warp, or free a larger beam."
            ),
            field="beam",
            flange=max_flange_mm,
            **said,
        )
    return min(fitting, key=lambda beam: (beam.width_cm, beam.flange_mm, beam.code))


def _ring_m2(diameter_mm: Decimal, beam: BeamFacts) -> Decimal:
    """The end view of the yarn between a diameter and the barrel."""
    return PI / 4 * ((diameter_mm / 1000) ** 2 - (Decimal(beam.barrel_mm) / 1000) ** 2)
