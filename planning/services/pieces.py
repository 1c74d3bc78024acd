"""Pieces: measured against what was planned, and graded."""

from dataclasses import dataclass
from decimal import Decimal

from planning.finishing import route_shrink_pct
from planning.models import Piece
from planning.piece import Comparison, Grade, Measured, Planned, compare, grade_points, limit_per_100_m2, mass_g_per_m2
from planning.ticket import work_out_cloth

# Agreed with each customer; 40 points per 100 square yards is common (ASTM D5430 leaves it to the parties).
LIMIT_PER_100_YD2 = Decimal(40)


@dataclass(frozen=True)
class MeasuredPiece:
    """A finished piece beside its plan; each part is None until it has been measured."""

    comparison: Comparison | None
    grade: Grade | None
    g_per_m2: Decimal | None


def measured(piece: Piece) -> MeasuredPiece:
    """The piece as it came off the final perch, against its revision's route and its order line."""
    if not piece.finished_length_m or not piece.finished_width_cm or not piece.grey_length_m or not piece.grey_width_cm:
        return MeasuredPiece(None, None, None)
    steps = list(piece.spec.route_steps.all())
    colourway = piece.line.colourway if piece.line else piece.spec.cloth.colourways.first()
    if colourway is None:
        return MeasuredPiece(None, None, None)
    planned = Planned(
        finished_length_m=piece.line.length_m if piece.line else piece.finished_length_m,
        finished_width_cm=piece.spec.finished_width_cm,
        length_shrink_pct=route_shrink_pct(step.length_shrink_pct for step in steps),
        width_shrink_pct=route_shrink_pct(step.width_shrink_pct for step in steps),
        g_per_m2=work_out_cloth(piece.spec.as_cloth(colourway)).finished_g_per_m2,
    )
    came = Measured(
        grey_length_m=piece.grey_length_m,
        grey_width_cm=piece.grey_width_cm,
        finished_length_m=piece.finished_length_m,
        finished_width_cm=piece.finished_width_cm,
        mass_g=piece.mass_g,
    )
    size = {"length_m": piece.finished_length_m, "width_cm": piece.finished_width_cm}
    graded = (
        grade_points(piece.points, **size, limit_per_100_m2=limit_per_100_m2(LIMIT_PER_100_YD2))
        if piece.points is not None
        else None
    )
    return MeasuredPiece(compare(came, planned), graded, mass_g_per_m2(piece.mass_g, **size) if piece.mass_g else None)
