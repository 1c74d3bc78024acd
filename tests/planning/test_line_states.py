"""What a line has of its warps and pieces: none that came to nothing, none twice; and how it is let go."""

from dataclasses import replace

import pytest

from mill.refusal import Refusal
from planning.models import OrderLine, Piece
from planning.services import combine, costing, line_foresight, orders, pieces, warp_steps
from planning.services.line_states import free_pieces
from tests.make import make_cloth, make_line, make_spec
from tests.planning.floor_walk import cut, finished, weaving_warp

pytestmark = pytest.mark.django_db


@pytest.fixture
def woven(planner):
    """A line of one piece and a line of two on a warp that weaves, each piece off the loom but the last."""
    spec = make_spec(cloth=make_cloth(code="T1"))
    lines = [make_line(spec=spec, pieces=n) for n in (1, 2)]
    warp = weaving_warp(planner, spec=spec, lines=lines)
    return warp, *lines, [cut(warp, planner) for _ in range(2)]


def state_of(line):
    line.refresh_from_db()
    return line.state


def test_a_line_whose_only_piece_became_a_second_waits_for_a_warp_again(woven, planner):
    warp, single, _double, (piece, _other) = woven
    warp_steps.weave_out(warp, by=planner)
    pieces.judge(finished(piece, planner), verdict=Piece.SECOND, why="a bar across", by=planner)
    assert state_of(single) == OrderLine.ENTERED
    assert free_pieces([single]) == {single.pk: 1}
    assert single in {one.line for group in combine.propose() for one in group.lines}
    # It bears the cost of its second, and of the piece that is still to be woven.
    assert costing.cost_of_line(single).pieces == 2
    assert orders.call_off_line(single, by=planner).state == OrderLine.CALLED_OFF
    assert warp.parts.count() == 2, "what was on the warp stands in the book"


def test_a_piece_woven_for_another_line_is_not_woven_once_more(woven, planner):
    warp, single, _double, (piece, _other) = woven
    spare = make_line(spec=piece.spec, colourway=single.colourway, pieces=1)
    warp_steps.weave_out(warp, by=planner)
    pieces.allocate(piece, spare, by=planner)
    assert state_of(single) == OrderLine.ENTERED
    assert state_of(spare) == OrderLine.GREY
    assert free_pieces([spare]) == {spare.pk: 0}
    with pytest.raises(Refusal, match=r"The pieces of line .* are woven. Put them to another line, or to none"):
        orders.call_off_line(spare, by=planner)
    sheet = costing.cost_of_line(single)
    assert (sheet.pieces, sheet.woven) == (1, 0), "its piece is to be woven yet, and the other is not its cost"
    draft = replace(orders.draft_of(spare), pieces=2)
    assert line_foresight.foresee_line(spare, draft).yarns, "one more piece, on no warp yet, draws yarn"


def test_a_line_half_woven_is_let_go_the_way_that_the_book_says(woven, planner):
    warp, _single, double, (_other, piece) = woven
    with pytest.raises(Refusal, match=rf"1 of the 2 pieces of line {double} are woven, and the others are on {warp}"):
        orders.call_off_line(double, by=planner)
    warp_steps.weave_out(warp, by=planner)
    # The second piece never came. Either the line is content with one …
    with pytest.raises(Refusal, match=r"Change its pieces to 1 instead"):
        orders.call_off_line(double, by=planner)
    orders.change_line(double, replace(orders.draft_of(double), pieces=1), by=planner)
    # … or it has none.
    pieces.allocate(piece, None, by=planner)
    assert orders.call_off_line(double, by=planner).state == OrderLine.CALLED_OFF
