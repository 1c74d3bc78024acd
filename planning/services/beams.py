"""Beams: which there are for a warp, which of them are free, and the smallest that takes it."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from functools import cached_property

from mill.models import Mill
from mill.refusal import N_, Refusal, in_words
from planning import beam as beam_room
from planning.loom import reasons_against
from planning.models import Beam, Loom, Warp
from planning.shed import Beams
from planning.ticket import Figures, LoomFacts, loom_needs

# A warp's grams are rounded up yarn by yarn; so much of a metre covers it.
ROUNDING_M = Decimal("0.1")


@dataclass(frozen=True)
class BeamChoice:
    """A beam beside a warp: whether it takes it, and what it would look like full.

    why_not      after "Beam B3: ", in the language of the page; empty when the warp fits
    taken_by     another open warp that the beam is kept for
    """

    beam: Beam
    why_not: str
    taken_by: Warp | None
    holds_m: Decimal
    diameter_mm: int
    gross_kg: Decimal

    @property
    def is_free(self) -> bool:
        return not self.why_not and self.taken_by is None


def kind_of(beam: Beam) -> str:
    """Beams that are alike to a plan, and to whoever chooses one, are of one kind."""
    return f"{beam.width_cm.normalize():f} cm, flanges {beam.flange_mm} mm, barrel {beam.barrel_mm} mm"


class BeamKinds:
    """The mill's beams by kind, the smallest first: how many there are, and which kinds take a warp."""

    def __init__(self, mill: Mill, *, held: Iterable[Beam]) -> None:
        """held    beams with a warp on them, some of which may not be in use any more"""
        self.density = mill.beam_density_kg_per_m3
        in_use, taken = list(Beam.objects.filter(is_in_use=True)), list(held)
        counts, warps_on = Counter(map(kind_of, in_use)), Counter(map(kind_of, taken))
        by_kind = {kind_of(beam): beam for beam in [*taken, *in_use]}
        smallest_first = sorted(by_kind.items(), key=lambda row: (row[1].width_cm, row[1].flange_mm, row[0]))
        self.facts = {kind: beam.as_facts() for kind, beam in smallest_first}
        # A beam on which the book has two warps counts as two: the plan is not the place to quarrel about it.
        self.beams = tuple(
            Beams(kind, max(counts[kind], warps_on[kind]), beam.flange_mm) for kind, beam in smallest_first
        )
        self._known: dict[tuple[int, Decimal], tuple[str, ...]] = {}

    def that_take(self, *, sized_warp_g: int, reed_width_cm: Decimal) -> tuple[str, ...]:
        key = (sized_warp_g, reed_width_cm)
        if key not in self._known:
            self._known[key] = tuple(
                kind
                for kind, facts in self.facts.items()
                if not beam_room.misfit(
                    facts,
                    yarn_kg=Decimal(sized_warp_g) / 1000,
                    density_kg_per_m3=self.density,
                    warp_width_cm=reed_width_cm,
                )
            )
        return self._known[key]


class BeamStand:
    """The beams as they stand: read once, asked for many warps."""

    def __init__(self) -> None:
        self.mill = Mill.the_one()
        self.beams = list(Beam.objects.filter(is_in_use=True))
        self.taken = {warp.beam_id: warp for warp in Warp.objects.open().exclude(beam=None).order_by("-number")}

    @cached_property
    def looms(self) -> list[LoomFacts]:
        return [loom.as_facts() for loom in Loom.objects.order_by("code")]

    def max_flange_mm(self, figures: Figures, loom: Loom | None) -> int | None:
        """The largest flange that the warp's loom clears, or any loom that could weave it; None when none could."""
        if loom is not None:
            return loom.max_flange_mm
        needs = loom_needs(figures)
        return max((one.max_flange_mm for one in self.looms if not reasons_against(needs, one)), default=None)

    def choices(self, figures: Figures, *, loom: Loom | None, warp: Warp | None) -> list[BeamChoice]:
        """Every beam in use, those that take the warp first and of these the smallest."""
        flange_mm = self.max_flange_mm(figures, loom)
        found = [self._choice(beam, figures, flange_mm=flange_mm, warp=warp) for beam in self.beams]
        return sorted(
            found,
            key=lambda c: (bool(c.why_not), c.taken_by is not None, c.beam.width_cm, c.beam.flange_mm, c.beam.code),
        )

    def _choice(self, beam: Beam, figures: Figures, *, flange_mm: int | None, warp: Warp | None) -> BeamChoice:
        facts, yarn_kg = beam.as_facts(), Decimal(figures.sized_warp_g) / 1000
        density = self.mill.beam_density_kg_per_m3
        taken_by = self.taken.get(beam.pk)
        return BeamChoice(
            beam=beam,
            why_not=self._why_not(beam, figures, flange_mm=flange_mm),
            taken_by=None if taken_by == warp else taken_by,
            holds_m=self.holds_m(beam, figures),
            diameter_mm=int(
                beam_room.diameter_mm(facts, yarn_kg=yarn_kg, density_kg_per_m3=density).to_integral_value(
                    ROUND_CEILING
                )
            ),
            gross_kg=beam_room.gross_kg(facts, yarn_kg=yarn_kg).quantize(Decimal("0.1"), ROUND_CEILING),
        )

    def _why_not(self, beam: Beam, figures: Figures, *, flange_mm: int | None) -> str:
        if flange_mm is not None and beam.flange_mm > flange_mm:
            return in_words(
                N_("its flanges are %(flange)s mm, and the loom takes %(most)s mm at most"),
                flange=beam.flange_mm,
                most=flange_mm,
            )
        return beam_room.misfit(
            beam.as_facts(),
            yarn_kg=Decimal(figures.sized_warp_g) / 1000,
            density_kg_per_m3=self.mill.beam_density_kg_per_m3,
            warp_width_cm=figures.cloth.reed_width_cm,
        )

    def smallest(self, figures: Figures, *, loom: Loom | None = None, free: Iterable[int] = ()) -> Beam | None:
        """The smallest free beam that takes the warp; None when those that would are all kept for other warps.

        free    beams that count as free whoever they are kept for

        Raises Refusal, with both numbers, when none of the mill's beams takes it.
        """
        if not self.beams:
            raise Refusal(N_("The mill has no beam in use. Enter its beams first."), field="beam")
        yarn_kg, width_cm = Decimal(figures.sized_warp_g) / 1000, figures.cloth.reed_width_cm
        flange_mm = self.max_flange_mm(figures, loom)
        by_code = {beam.code: beam for beam in self.beams}
        free = set(free)
        fitting = [beam for beam in self.beams if not self._why_not(beam, figures, flange_mm=flange_mm)]
        if not fitting:
            nearest = max(
                self.beams,
                key=lambda b: (
                    b.width_cm >= width_cm and b.flange_mm <= (flange_mm or b.flange_mm),
                    self.holds_m(b, figures),
                ),
            )
            raise Refusal(
                N_(
                    "No beam takes this warp; the nearest is %(nearest)s: %(why)s. Split the warp, "
                    "or enter a larger beam."
                ),
                field="beam",
                nearest=nearest,
                why=self._why_not(nearest, figures, flange_mm=flange_mm),
            )
        able = [beam for beam in fitting if beam.pk not in self.taken or beam.pk in free]
        if not able:
            return None
        chosen = beam_room.smallest_beam(
            [beam.as_facts() for beam in able],
            yarn_kg=yarn_kg,
            density_kg_per_m3=self.mill.beam_density_kg_per_m3,
            warp_width_cm=width_cm,
            max_flange_mm=flange_mm,
        )
        return by_code[chosen.code]

    def keep(self, beam: Beam | None, warp: Warp) -> None:
        """The beam is this warp's from now on, for whoever is asked for next."""
        if beam is not None:
            self.taken[beam.pk] = warp

    def holds_m(self, beam: Beam, figures: Figures) -> Decimal:
        """Length of this warp that fills the beam, safely within its flanges."""
        g_per_m = Decimal(figures.sized_warp_g) / figures.warp_length_m
        full_m = beam_room.capacity_m(
            beam.as_facts(), density_kg_per_m3=self.mill.beam_density_kg_per_m3, g_per_m=g_per_m
        )
        return max(Decimal(0), full_m.quantize(Decimal("0.1"), ROUND_FLOOR) - ROUNDING_M)

    def longest_m(self, figures: Figures) -> Decimal:
        """The longest warp like this one that any beam takes, free or not. Raises Refusal when none is wide enough."""
        flange_mm = self.max_flange_mm(figures, None)
        width_cm = figures.cloth.reed_width_cm
        wide = [beam for beam in self.beams if beam.width_cm >= width_cm and beam.flange_mm <= (flange_mm or 10**6)]
        if not wide:
            widest = max((beam.width_cm for beam in self.beams), default=Decimal(0))
            said = {"width": width_cm, "widest": widest}
            if not flange_mm:
                form = N_(
                    "The warp is %(width)s cm wide in the reed, and no beam is as wide; the widest of all has"
                    " %(widest)s cm between its flanges. Enter a wider beam, or make the cloth narrower."
                )
                raise Refusal(form, field="beam", **said)
            raise Refusal(
                N_(
                    "The warp is %(width)s cm wide in the reed, and no beam with flanges up to %(flange)s mm is as"
                    " wide; the widest of all has %(widest)s cm between its flanges. Enter a wider beam, or make the"
                    " cloth narrower."
                ),
                field="beam",
                flange=flange_mm,
                **said,
            )
        return max(self.holds_m(beam, figures) for beam in wide)
