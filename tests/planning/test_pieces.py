"""Pieces from the cut to ready: numbered in the order of the warp, measured, mended, graded, judged, put to lines."""

from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from mill.refusal import Refusal
from planning.forms.pieces import read_fault
from planning.models import JUDGED_NO_MORE, Customer, OrderLine, Piece, PieceEntry, Warp
from planning.piece import Fault
from planning.services import finishing, pieces, tracing, warp_steps
from tests.make import make_cloth, make_colourway, make_line, make_spec
from tests.planning.floor_walk import cut, finished, make_worker, weaving_warp, wound_warp
from tests.published import ROWS

pytestmark = pytest.mark.django_db


@pytest.fixture
def warp(planner) -> Warp:
    """Two lines of two pieces each, of one cloth."""
    spec = make_spec(cloth=make_cloth(code="T1"))
    return weaving_warp(planner, spec=spec, lines=[make_line(spec=spec), make_line(spec=spec)])


def line_states(warp: Warp) -> list[str]:
    return [part.line.state for part in warp.parts.select_related("line").order_by("position")]


def test_pieces_are_numbered_and_go_to_the_lines_in_the_order_of_weaving(warp, planner):
    cuts = [cut(warp, planner) for _ in range(5)]
    first, second = [part.line for part in warp.parts.order_by("position")]
    assert [piece.number for piece in cuts] == [f"{warp.number}-{n}" for n in range(1, 6)]
    assert [piece.line for piece in cuts] == [first, first, second, second, None]
    # 64 m at 8.46 picks a cm are 54 144 picks.
    assert [piece.picks for piece in cuts] == [54_144] * 5
    warp.refresh_from_db()
    assert warp.picks_woven == 5 * 54_144


def test_a_line_follows_the_hindmost_of_its_pieces(warp, planner):
    one, two = cut(warp, planner), cut(warp, planner)
    assert line_states(warp) == ["grey", "in loom"]
    finished(one, planner)
    assert line_states(warp) == ["grey", "in loom"]
    pieces.measure(two, length_m=Decimal(60), width_cm=Decimal(150), mass_g=None, by=planner)
    assert line_states(warp) == ["finishing", "in loom"]
    pieces.judge(two, verdict=Piece.PASS, by=planner)
    assert line_states(warp) == ["ready", "in loom"]


def test_a_cut_counts_once_by_its_key(warp, planner):
    assert cut(warp, planner, key="tap") == cut(warp, planner, key="tap")
    assert warp.woven_pieces.count() == 1


def test_nothing_is_cut_off_a_warp_that_does_not_weave(planner):
    warp = wound_warp(planner)
    with pytest.raises(Refusal, match="is wound; a piece is cut off a warp that is weaving"):
        cut(warp, planner)
    assert not Piece.objects.exists()


def test_no_piece_is_longer_than_what_is_left_of_its_warp(warp, planner):
    cut(warp, planner)
    # 640 m at 846 picks a metre; four pieces of 54 060 were worked out.
    with pytest.raises(Refusal, match=r"640.00 m are 541440 picks; .* more than Warp \d+ has, 216240. Read the"):
        cut(warp, planner, length_m="640.00")
    piece = cut(warp, planner, length_m="24.00")
    with pytest.raises(Refusal, match="Read the length again"):
        pieces.correct_length(piece, grey_length_m=Decimal(640), why="cut short", by=planner)
    assert Piece.objects.get(pk=piece.pk).grey_length_m == 24


def test_a_piece_told_after_its_warp_is_out_says_what_to_do(warp, planner):
    warp_steps.weave_out(warp, by=planner)
    with pytest.raises(Refusal, match="no piece is cut off it any more"):
        cut(warp, planner)


def test_a_corrected_length_changes_the_picks_and_leaves_a_trace(warp, planner):
    piece = cut(warp, planner)
    with pytest.raises(Refusal, match="Say why"):
        pieces.correct_length(piece, grey_length_m=Decimal(46), why=" ", by=planner)
    pieces.correct_length(piece, grey_length_m=Decimal(46), why="read upside down", by=planner)
    warp.refresh_from_db()
    assert warp.picks_woven == 38_916  # 46 m x 846 picks a metre
    assert "from 64.00 m to 46 m: read upside down" in piece.entries.last().said


def test_only_the_last_cut_is_struck_out_and_only_while_nothing_is_done_with_it(warp, planner):
    one, two = cut(warp, planner), cut(warp, planner)
    with pytest.raises(Refusal, match=f"Piece {two} was cut after"):
        pieces.take_back_cut(one, why="", by=planner)
    pieces.take_back_cut(two, why="", by=planner)
    warp.refresh_from_db()
    assert warp.picks_woven == 54_144
    assert cut(warp, planner).number == two.number
    pieces.perch_grey(one, length_m=Decimal(64), width_cm=Decimal(165), mending_min=0, by=planner)


def test_a_warp_not_woven_out_after_all_has_the_picks_of_its_pieces_woven(warp, planner):
    cut(warp, planner)
    warp_steps.weave_out(warp, by=planner)
    assert warp_steps.step_back(warp, reason="three pieces to go", by=planner).picks_woven == 54_144


def test_mending_is_counted_down_and_done_when_the_mender_says_so(warp, planner):
    mender = make_worker(trade="mender")
    piece = cut(warp, planner)
    pieces.perch_grey(piece, length_m=Decimal(63), width_cm=Decimal(165), mending_min=120, by=planner)
    pieces.mend(piece, minutes=45, worker=mender, by=planner, key="one")
    pieces.mend(piece, minutes=45, worker=mender, by=planner, key="one")
    piece.refresh_from_db()
    assert pieces.mending_left_min(piece) == 75
    pieces.mend(piece, minutes=30, worker=mender, by=planner, key="two", is_mended=True)
    piece.refresh_from_db()
    assert (pieces.mended_min(piece), pieces.mending_left_min(piece)) == (75, 0)


def test_a_piece_is_not_passed_before_it_is_measured_nor_while_it_waits_for_the_menders(warp, planner):
    piece = cut(warp, planner)
    with pytest.raises(Refusal, match="has not been measured finished"):
        pieces.judge(piece, verdict=Piece.PASS, by=planner)
    pieces.perch_grey(piece, length_m=Decimal(64), width_cm=Decimal(165), mending_min=30, by=planner)
    pieces.measure(piece, length_m=Decimal(60), width_cm=Decimal(150), mass_g=25_000, by=planner)
    with pytest.raises(Refusal, match="has 30 min to mend yet"):
        pieces.judge(piece, verdict=Piece.PASS, by=planner)


def test_shrinkage_is_not_said_of_a_piece_that_nobody_measured_grey(warp, planner, desk):
    piece = cut(warp, planner)
    pieces.measure(piece, length_m=Decimal(60), width_cm=Decimal(150), mass_g=25_000, by=planner)
    page = desk.get(f"/pieces/{piece}/").content.decode()
    assert "was not measured at the grey perch" in page
    assert "Shrank in width" not in page
    # 25 000 g on 60 m x 1.5 m are 278 g/m² all the same.
    assert "278 <span" in page


def test_a_piece_of_the_width_on_its_ticket_is_no_wider_than_the_cloth(planner):
    # 24 selvedge ends in 12 dents: 762 ÷ 42.3 × 10 = 180.142 cm in the reed; × 0.94 × 0.9 = 152.4 cm from edge to edge.
    warp = weaving_warp(planner, spec=make_spec(selvedge_ends=24))
    piece = finished(cut(warp, planner), planner, width_cm="152.4")
    assert pieces.measured(piece).comparison.width_off_cm == 0


def test_a_second_is_compared_with_the_colourway_that_it_was_woven_in(planner):
    warp = weaving_warp(planner, spec=make_spec())
    piece = finished(cut(warp, planner), planner)
    pieces.judge(piece, verdict=Piece.SECOND, why="a bar across", by=planner)
    # One that came later has no yarns in the revision that the piece was woven by.
    make_colourway(cloth=warp.parts.get().spec.cloth, name="Aaron")
    assert pieces.measured(Piece.objects.get(pk=piece.pk)).comparison.width_off_cm == 0


def test_a_second_leaves_its_line_and_can_be_put_to_one_again(warp, planner):
    piece = finished(cut(warp, planner), planner)
    line = piece.line
    with pytest.raises(Refusal, match="Say why"):
        pieces.judge(piece, verdict=Piece.SECOND, by=planner)
    piece = pieces.judge(piece, verdict=Piece.SECOND, why="a bar across", by=planner)
    assert (piece.state, piece.line) == (Piece.READY, None)
    assert pieces.allocate(piece, line, by=planner, why="the customer takes it").line == line


def test_a_piece_goes_round_again_from_the_step_that_is_named(warp, planner):
    piece = finished(cut(warp, planner), planner)
    with pytest.raises(Refusal, match="has no step 3"):
        pieces.judge(piece, verdict=Piece.RE_FINISH, why="greasy", from_step=3, by=planner)
    piece = pieces.judge(piece, verdict=Piece.RE_FINISH, why="creased", from_step=2, by=planner)
    assert (piece.state, piece.round, piece.round_from) == (Piece.FINISHING, 2, 2)
    piece = pieces.judge(piece, verdict=Piece.MEND_AGAIN, why="a float", mending_min=20, by=planner)
    assert pieces.mending_left_min(piece) == 20


def test_a_piece_goes_to_no_line_of_another_cloth_or_colourway(warp, planner):
    piece = cut(warp, planner)
    with pytest.raises(Refusal, match="Choose another line"):
        pieces.allocate(piece, make_line(), by=planner)
    called_off = make_line(spec=piece.spec, colourway=piece.line.colourway, state=OrderLine.CALLED_OFF)
    with pytest.raises(Refusal, match="is called off"):
        pieces.allocate(piece, called_off, by=planner)
    assert pieces.allocate(piece, None, by=planner).line is None


def test_short_and_over_are_said_with_what_the_route_leaves_of_grey_pieces(warp, planner):
    line = cut(warp, planner).line
    # 64 m less 6 % are 60.16 m; one of two pieces of 60 m.
    assert pieces.delivery_of(line).said == ("60.16 m for 120 m ordered: 59.84 m short, beyond the tolerance of 0 %.")


def test_a_line_is_called_short_once_all_of_it_is_off_the_loom(warp, planner, desk):
    piece = cut(warp, planner)
    page = desk.get(f"/pieces/{piece.number}/").content.decode()
    assert "60.16 m of 120 m ordered are off the loom; the rest is still to be woven." in page
    assert "short, beyond" not in page
    cut(warp, planner, length_m="60")
    # 60.16 m and 60 m less 6 %, 56.4 m.
    assert "116.56 m for 120 m ordered: 3.44 m short" in desk.get(f"/pieces/{piece.number}/").content.decode()


def test_a_piece_has_the_grade_that_is_in_print(warp, planner):
    row = ROWS["F-I02"]
    length_m = round(Decimal(row.inputs["yd"]) * Decimal("0.9144"), 2)
    width_cm = round(Decimal(row.inputs["inches"]) * Decimal("2.54"), 1)
    piece = cut(warp, planner, length_m=str(length_m))
    pieces.measure(piece, length_m=length_m, width_cm=width_cm, mass_g=None, by=planner)
    faults = [Fault(Decimal(n), Decimal(50)) for n in range(row.inputs["points"])]
    piece = pieces.write_faults(piece, faults, by=planner)
    assert float(pieces.measured(piece).grade.points_per_100_yd2) == pytest.approx(row.expected, abs=row.tolerance)


def graded_in_print(warp, by) -> Piece:
    """24 points on 120 yd x 46 in: 24 x 3600 / (120 x 46) = 15.65 in 100 square yards (onlineclothingstudy.com)."""
    piece = cut(warp, by, length_m="109.73")
    pieces.measure(piece, length_m=Decimal("109.73"), width_cm=Decimal("116.8"), mass_g=None, by=by)
    faults = [Fault(Decimal(n), Decimal(50)) for n in range(24)]
    pieces.write_faults(piece, faults, by=by)
    return Piece.objects.select_related("spec__cloth", "line__order__customer").get(pk=piece.pk)


@pytest.mark.parametrize(
    ("agreed", "passes", "said_by"),
    [("15.6", False, "agreed with Hazel"), ("15.7", True, "agreed with Hazel"), (None, True, "the mill’s own limit")],
)
def test_each_customer_has_a_limit_of_points_else_the_mills_holds(warp, planner, desk, agreed, passes, said_by):
    piece = graded_in_print(warp, planner)
    Customer.objects.filter(pk=piece.line.order.customer_id).update(
        name="Hazel", points_limit_per_100_yd2=agreed and Decimal(agreed)
    )
    piece = Piece.objects.get(pk=piece.pk)
    assert pieces.measured(piece).grade.passes is passes
    text = desk.get(f"/pieces/{piece.number}/").content.decode()
    assert said_by in text
    assert f"The limit is {agreed or '40'} in 100 yd²" in text
    # How: 240 000 ÷ 12 816.464 = 18.7259, upwards; the mill's limit is 40 ÷ 0.83612736 = 47.8396.
    assert "24 × 10 000 ÷ (109.73 × 116.8)" in text
    assert "<output>18.73 points</output>" in text
    assert f"<output>{ {'15.6': '18.66', '15.7': '18.78', None: '47.84'}[agreed] } points</output>" in text
    # 15.65 in 100 square yards are 18.7 in 100 square metres.
    shown = desk.get(f"/api/pieces/{piece.number}/").json()
    assert shown["points_per_100_m2"] == "18.73"
    assert shown["points_limit_per_100_m2"] == {"15.6": "18.66", "15.7": "18.78", None: "47.84"}[agreed]


def test_a_piece_over_its_customers_limit_passes_only_with_a_reason(warp, planner):
    piece = graded_in_print(warp, planner)
    Customer.objects.filter(pk=piece.line.order.customer_id).update(name="Hazel", points_limit_per_100_yd2=Decimal(12))
    with pytest.raises(Refusal, match=r"24 points are 18.73 in 100 m².*14.35.*agreed with Hazel.*Say why it passes"):
        pieces.judge(piece, verdict=Piece.PASS, by=planner)
    judged = pieces.judge(piece, verdict=Piece.PASS, why="they took it by telephone", by=planner)
    assert judged.state == Piece.READY
    assert "they took it by telephone" in judged.entries.last().said


def test_a_piece_that_comes_to_more_points_after_it_passed_waits_for_a_verdict_again(planner, desk):
    spec = make_spec(cloth=make_cloth(code="T1"))
    warp = weaving_warp(planner, spec=spec, lines=[make_line(spec=spec, pieces=1, length_m=100)])
    piece = graded_in_print(warp, planner)
    Customer.objects.filter(pk=piece.line.order.customer_id).update(points_limit_per_100_yd2=Decimal(16))
    pieces.judge(piece, verdict=Piece.PASS, by=planner)
    # 25 x 3600 / (120 x 46) = 16.30 in 100 square yards.
    faults = [Fault(Decimal(n), Decimal(50)) for n in range(25)]
    judged = pieces.write_faults(piece, faults[:24], by=planner)
    assert (judged.verdict, judged.state, line_states(warp)) == (Piece.PASS, Piece.READY, ["ready"])
    again = pieces.write_faults(piece, faults, by=planner)
    assert (again.verdict, again.state, line_states(warp)) == ("", Piece.FINISHING, ["finishing"])
    assert again.entries.last().said == JUDGED_NO_MORE
    assert str(finishing.standing(again)) == "to the final perch"
    assert JUDGED_NO_MORE in desk.get(f"/pieces/{piece.number}/").content.decode()
    # Taken all the same, for a reason: that holds until it is worse still.
    pieces.judge(piece, verdict=Piece.PASS, why="they took it by telephone", by=planner)
    assert pieces.write_faults(piece, faults, by=planner).verdict == Piece.PASS
    shorter = pieces.measure(piece, length_m=Decimal(100), width_cm=Decimal("116.8"), mass_g=None, by=planner)
    assert shorter.verdict == ""


def test_a_piece_that_goes_to_a_customer_who_takes_fewer_points_waits_for_a_verdict_again(warp, planner):
    piece = graded_in_print(warp, planner)
    pieces.judge(piece, verdict=Piece.PASS, by=planner)
    spec = piece.spec
    there = make_line(spec=spec, cloth=spec.cloth, colourway=piece.line.colourway)
    Customer.objects.filter(pk=there.order.customer_id).update(points_limit_per_100_yd2=Decimal(12))
    moved = pieces.allocate(piece, OrderLine.objects.get(pk=there.pk), by=planner)
    assert (moved.verdict, moved.state) == ("", Piece.FINISHING)
    assert [entry.said for entry in moved.entries.all()][-1] == JUDGED_NO_MORE


@pytest.mark.parametrize(("row", "counts"), [("F-I03", (4, 3, 2, 1, 1)), ("F-I04", (6, 5, 2, 1, 1))])
def test_faults_of_each_length_come_to_the_points_in_print(warp, planner, row, counts):
    """So many faults of up to 3, 6, 9 in, over 9 in, and a hole over 1 in, a metre apart."""
    piece = cut(warp, planner)
    kinds = [(50, False), (120, False), (200, False), (300, False), (40, True)]
    sizes = [kind for n, kind in zip(counts, kinds, strict=True) for _ in range(n)]
    faults = [Fault(Decimal(2 * n), Decimal(mm), is_hole) for n, (mm, is_hole) in enumerate(sizes)]
    assert pieces.write_faults(piece, faults, by=planner).points == ROWS[row].expected


def test_a_fault_beyond_the_piece_is_refused(warp, planner):
    piece = cut(warp, planner)
    with pytest.raises(Refusal, match="lies beyond the piece"):
        pieces.write_faults(piece, [Fault(Decimal(65), Decimal(30))], by=planner)


@pytest.mark.parametrize(
    ("line", "fault"),
    [
        ("3.2 m 80 mm float", Fault(Decimal("3.2"), Decimal(80), False, "float")),
        ("hole 12 2 cm", Fault(Decimal(12), Decimal(20), True, "hole")),
        ("1 yd 3 in broken pick", Fault(Decimal("0.9144"), Decimal("76.2"), False, "broken pick")),
    ],
)
def test_a_fault_is_read_as_the_percher_writes_it(line, fault):
    assert read_fault(line) == fault


def test_a_fault_without_its_size_is_refused_in_a_sentence():
    with pytest.raises(Refusal, match="has no place and size"):
        read_fault("a float somewhere")


def test_a_piece_leads_back_to_its_lots_and_a_lot_forward_to_every_piece_and_customer(warp, planner, desk):
    weaver = make_worker(name="Una Bell")
    one, two = cut(warp, planner, worker=weaver), cut(warp, planner)
    cut(weaving_warp(planner), planner)
    origin = pieces_origin = tracing.origin_of(one)
    drawn = {hold.reservation.lot.label for hold in warp.holds.select_related("reservation__lot")}
    assert {row.lot.label for row in origin.lots} == drawn
    assert ("cut off", "Una Bell") in pieces_origin.people
    for row in origin.lots:
        went = tracing.whereabouts_of(row.lot)
        assert [piece.number for used in went.warps for piece in used.pieces] == [one.number, two.number]
        assert went.customers == (one.line.order.customer,)
    page = desk.get(f"/pieces/{one.number}/origin/").content.decode()
    label = origin.lots[0].lot.label
    assert f"/pieces/of-lot/{label}/" in page
    assert one.line.order.customer.name in desk.get(f"/pieces/of-lot/{label}/").content.decode()


# Pages


def test_the_page_does_each_thing_and_keeps_what_was_typed_when_it_is_refused(warp, planner, desk):
    piece = cut(warp, planner)
    address = f"/pieces/{piece.number}/"
    sent = {"act": "perch", "perch-length_m": "70 yd", "perch-width_cm": "65 in", "perch-mending_min": "1 h"}
    assert desk.post(address, sent).status_code == 302
    piece.refresh_from_db()
    assert (piece.grey_length_m, piece.grey_width_cm, piece.mending_min) == (Decimal("64.01"), Decimal("165.1"), 60)
    refused = desk.post(address, {"act": "judge", "judge-verdict": "second", "judge-why": "torn at the list"})
    assert refused.status_code == 422
    assert "has not been measured finished" in refused.content.decode()
    assert 'value="torn at the list"' in refused.content.decode()
    faults = desk.post(address, {"act": "faults", "faults-faults": "3 m 80 mm float\nsomewhere"})
    assert "Line 2:" in faults.content.decode()
    assert desk.post(address, {"act": "faults", "faults-faults": "3 m 80 mm float"}).status_code == 302
    mended = {"act": "mend", "mend-key": "k1", "mend-minutes": "40", "mend-is_mended": "on"}
    assert desk.post(address, mended).status_code == 302
    assert desk.post(address, mended).status_code == 302
    measures = {"act": "measure", "measure-length_m": "60.2", "measure-width_cm": "150", "measure-mass_g": "25 kg"}
    assert desk.post(address, measures).status_code == 302
    assert desk.post(address, {"act": "judge", "judge-verdict": "pass"}).status_code == 302
    piece.refresh_from_db()
    assert (piece.state, piece.points, piece.mass_g, pieces.mended_min(piece)) == ("ready", 2, 25_000, 40)
    text = desk.get(address).content.decode()
    assert "Judged: pass" in text
    assert "2 points are" in text


def test_the_next_thing_is_open_and_the_next_piece_of_the_station_is_named(warp, planner, desk):
    one, two = cut(warp, planner), cut(warp, planner)
    page = desk.get(f"/pieces/{one.number}/").content.decode()
    assert page.index("<details open>") < page.index("Grey perch") < page.index("What else is done with it")
    perched = {"act": "perch", "perch-length_m": "64", "perch-width_cm": "165", "perch-mending_min": "30"}
    page = desk.post(f"/pieces/{one.number}/", perched, follow=True).content.decode()
    assert f'Next for the grey perch: <a href="/pieces/{two.number}/">' in page
    assert page.index("<details open>") < page.index("Write the minutes down")
    mended = {"act": "mend", "mend-key": "k", "mend-minutes": "30"}
    page = desk.post(f"/pieces/{one.number}/", mended, follow=True).content.decode()
    assert "No other piece waits for the menders." in page
    assert "<details open>" not in page, "the scour is next, which is no act of this page"


def test_the_final_perch_is_one_form_all_of_it_or_nothing(warp, planner, desk):
    piece = cut(warp, planner)
    pieces.perch_grey(piece, length_m=Decimal(64), width_cm=Decimal(165), mending_min=20, by=planner)
    sent = {
        "act": "final",
        "final-length_m": "60.2",
        "final-width_cm": "150",
        "final-mass_g": "25 kg",
        "final-faults": "3 m 80 mm float\n9 m hole 10 mm",
        "final-verdict": "pass",
    }
    refused = desk.post(f"/pieces/{piece.number}/", sent)
    assert "20 min to mend yet" in refused.content.decode()
    piece.refresh_from_db()
    assert (piece.finished_length_m, piece.points, piece.faults.count()) == (None, None, 0)
    pieces.mend(piece, minutes=20, by=planner, key="m")
    page = desk.post(f"/pieces/{piece.number}/", sent, follow=True).content.decode()
    assert f"Piece {piece}: pass, 4 points." in page
    piece.refresh_from_db()
    assert (piece.state, piece.finished_length_m, piece.mass_g, piece.points) == ("ready", Decimal("60.20"), 25_000, 4)


def test_labels_are_printed_for_the_new_pieces_or_those_asked_for(warp, planner, desk):
    one, two = cut(warp, planner), cut(warp, planner)
    text = desk.get("/pieces/labels/").content.decode()
    assert text.count('class="label"') == 2
    assert desk.get("/pieces/labels/", {"piece": two.number}).content.decode().count('class="label"') == 1
    pieces.perch_grey(one, length_m=Decimal(64), width_cm=Decimal(165), mending_min=0, by=planner)
    assert desk.get("/pieces/labels/").content.decode().count('class="label"') == 1


def test_the_list_takes_as_many_queries_for_ten_pieces_as_for_one(warp, planner, desk):
    cut(warp, planner)
    with CaptureQueriesContext(connection) as one:
        desk.get("/pieces/")
    for _ in range(9):
        cut(warp, planner, length_m="9.00")
    with CaptureQueriesContext(connection) as ten:
        assert desk.get("/pieces/").content.count(b"to the grey perch") == 10
    assert len(ten) <= len(one)


def test_the_account_of_a_piece_outlives_its_warp_weaving_out(warp, planner):
    piece = cut(warp, planner)
    warp_steps.weave_out(warp, by=planner)
    assert PieceEntry.objects.filter(piece=piece).count() == 1


# The API


def test_the_api_shows_a_piece_and_takes_its_measures(warp, planner, desk):
    piece = cut(warp, planner)
    shown = desk.get(f"/api/pieces/{piece.number}/").json()
    assert (shown["stands"], shown["picks"], shown["warp"]) == ("to the grey perch", 54_144, warp.number)
    measures = {"length_m": "66 yd", "width_cm": 150, "mass_g": {"value": "25", "unit": "kg"}}
    answer = desk.post(f"/api/pieces/{piece.number}/measure/", measures, content_type="application/json")
    assert answer.json()["finished_length_m"] == "60.35"
    assert answer.json()["mass_g"] == 25_000
    wrong = desk.post(f"/api/pieces/{piece.number}/measure/", {"length_m": "5 kg"}, content_type="application/json")
    assert wrong.status_code == 400
    assert desk.get("/api/pieces/", {"state": "finishing"}).json()["count"] == 1
