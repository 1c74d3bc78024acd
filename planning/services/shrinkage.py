"""Shrinkage learned from a cloth's measured pieces, by route; a revision that takes it over; how long to weave."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from django.db import transaction

from mill.refusal import N_, Refusal
from planning import shrinkage
from planning.cloth import RouteStep
from planning.finishing import route_shrink_pct
from planning.models import Cloth, ClothSpec, Piece
from planning.piece import shrink_pct
from planning.services import cloths
from planning.shrinkage import Evidence, Learned

LENGTH, WIDTH = N_("length"), N_("width")

# The note of a revision that takes it over, as it is kept.
NOTES = (
    N_("Shrinkage as %(n)s pieces showed: length %(l_was)s to %(l_now)s %%, width %(w_was)s to %(w_now)s %%."),
    N_("Shrinkage as %(n)s pieces showed: length %(was)s to %(now)s %%."),
    N_("Shrinkage as %(n)s pieces showed: width %(was)s to %(now)s %%."),
)


@dataclass(frozen=True)
class Measured:
    """A piece that was measured before and after."""

    number: str
    finished_on: Any
    length_pct: Decimal
    width_pct: Decimal


@dataclass(frozen=True)
class Dimension:
    """Length or width: what the pieces say of it."""

    name: str
    learned: Learned
    evidence: Evidence
    outliers: tuple[str, ...]


@dataclass(frozen=True)
class RouteLearned:
    """Pieces of the cloth that went through one route. `is_current`: it is the route of the latest revision."""

    steps: tuple[str, ...]
    pieces: tuple[Measured, ...]
    dimensions: tuple[Dimension, ...]
    is_current: bool

    @property
    def is_against(self) -> bool:
        return any(dimension.evidence.is_against for dimension in self.dimensions)


def route_of(spec: ClothSpec) -> tuple[str, ...]:
    return tuple(step.name for step in spec.route_steps.all())


def learned_of(cloth: Cloth) -> list[RouteLearned]:
    """What the measured pieces of the cloth say, by the steps that they went through; the current route first.

    A piece that is to be finished again does not count until it has been measured anew, and one that never was over
    the grey perch not at all.
    """
    current = cloths.latest_of(cloth)
    if current is None:
        return []
    rows = (
        Piece.objects.filter(
            Piece.MEASURED_GREY,
            spec__cloth=cloth,
            grey_length_m__gt=0,
            grey_width_cm__gt=0,
            finished_length_m__gt=0,
            finished_width_cm__gt=0,
        )
        .exclude(verdict=Piece.RE_FINISH)
        .select_related("spec")
        .prefetch_related("spec__route_steps")
        .order_by("finished_on", "pk")
    )
    by_route: dict[tuple[str, ...], list[Measured]] = {}
    for piece in rows:
        assert piece.finished_length_m is not None
        assert piece.finished_width_cm is not None
        by_route.setdefault(route_of(piece.spec), []).append(
            Measured(
                piece.number,
                piece.finished_on,
                shrink_pct(grey=piece.grey_length_m, finished=piece.finished_length_m),
                shrink_pct(grey=piece.grey_width_cm, finished=piece.finished_width_cm),
            )
        )
    own = route_of(current)
    found = [_learned(steps, pieces, current, is_current=steps == own) for steps, pieces in by_route.items()]
    return sorted(found, key=lambda row: (not row.is_current, -len(row.pieces)))


def _learned(
    steps: tuple[str, ...], pieces: Sequence[Measured], current: ClothSpec, *, is_current: bool
) -> RouteLearned:
    route = list(current.route_steps.all())
    dimensions = []
    for name, specified_pct in (
        (LENGTH, route_shrink_pct(step.length_shrink_pct for step in route)),
        (WIDTH, route_shrink_pct(step.width_shrink_pct for step in route)),
    ):
        learned = shrinkage.learn([getattr(piece, f"{name}_pct") for piece in pieces])
        dimensions.append(
            Dimension(
                name,
                learned,
                shrinkage.against(learned, specified_pct=specified_pct.quantize(Decimal("0.01"), ROUND_HALF_UP)),
                tuple(pieces[n].number for n in learned.outliers),
            )
        )
    return RouteLearned(steps, tuple(pieces), tuple(dimensions), is_current)


def current_of(cloth: Cloth) -> RouteLearned | None:
    """What was learned of the route that the cloth has now."""
    return next((row for row in learned_of(cloth) if row.is_current), None)


def _with(step: RouteStep, column: str, pct: Decimal) -> RouteStep:
    changes: Any = {column: pct}
    return replace(step, **changes)


@transaction.atomic
def take_over(cloth: Cloth, *, by: Any) -> ClothSpec:
    """A revision whose route takes what the pieces showed, in the dimensions where they speak against the old one."""
    learned = current_of(cloth)
    current = cloths.latest_of(cloth)
    if learned is None or current is None or not learned.is_against:
        raise Refusal(
            N_(
                "The measured pieces of %(cloth)s don't speak against its specification: there is nothing to take over."
            ),
            cloth=cloth,
        )
    draft = cloths.draft_of(current)
    route = list(draft.route)
    said = []
    for dimension in learned.dimensions:
        if not dimension.evidence.is_against:
            continue
        column = f"{dimension.name}_shrink_pct"
        steps = shrinkage.scaled_route([getattr(step, column) for step in route], to_pct=dimension.learned.mean_pct)
        route = [_with(step, column, pct) for step, pct in zip(route, steps, strict=True)]
        was, now = dimension.evidence.specified_pct, dimension.learned.mean_pct
        said.append(f"{dimension.name} {was.normalize():f} to {now.normalize():f} %")
    note = f"Shrinkage as {len(learned.pieces)} pieces showed: {', '.join(said)}."
    return cloths.revise(cloth, replace(draft, route=route), by=by, note=note, based_on=current.revision)
