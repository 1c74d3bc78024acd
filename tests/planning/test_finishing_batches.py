"""Finishing: batches of several orders' pieces in and out of steps, what waits and for how long; then dispatch."""

import re
from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone

from mill import roles
from mill.refusal import Refusal
from planning.models import Customer, Dispatch, FinishingBatch, Machine, OrderLine, Piece
from planning.piece import Fault
from planning.services import dispatch, finishing, pieces
from tests.make import make_customer, make_line, make_order, make_person, make_spec
from tests.planning.floor_walk import cut, finished, weaving_warp

pytestmark = pytest.mark.django_db


@pytest.fixture
def three(planner) -> list[Piece]:
    """Three perched pieces: two of one order, one of another's; nothing to mend. Their route: scour, press."""
    spec = make_spec()
    lines = [make_line(spec=spec), make_line(spec=spec, pieces=1)]
    warp = weaving_warp(planner, spec=spec, lines=lines)
    found = [cut(warp, planner) for _ in range(3)]
    for piece in found:
        pieces.perch_grey(piece, length_m=Decimal(64), width_cm=Decimal(165), mending_min=0, by=planner)
    return [Piece.objects.get(pk=piece.pk) for piece in found]


def where(piece: Piece) -> str:
    return finishing.standing(Piece.objects.get(pk=piece.pk)).where


def test_pieces_of_two_orders_go_through_a_step_sewn_end_to_end(three, planner):
    assert [where(piece) for piece in three] == ["to scour"] * 3
    batch = finishing.put_in(three[::-1], step="scour", by=planner, key="k")
    assert finishing.put_in(three, step="scour", by=planner, key="k") == batch
    assert [row.piece_id for row in batch.pieces.order_by("position")] == [piece.pk for piece in three[::-1]]
    assert [where(piece) for piece in three] == ["in scour"] * 3
    assert {line.state for line in OrderLine.objects.all()} == {"finishing"}
    sizes = {three[0].pk: (Decimal("149.5"), Decimal("60.20"))}
    finishing.take_out(batch, by=planner, sizes=sizes)
    finishing.take_out(batch, by=planner)
    assert [where(piece) for piece in three] == ["to press"] * 3
    assert three[0].steps.get().width_cm == Decimal("149.5")
    finishing.take_out(finishing.put_in(three, step="press", by=planner, key="k2"), by=planner)
    assert [where(piece) for piece in three] == ["to the final perch"] * 3


def test_a_piece_that_is_not_due_for_the_step_keeps_the_batch_out(three, planner):
    for step, said in (("press", "goes to scour next"), ("mill", "goes to scour next")):
        with pytest.raises(Refusal, match=said):
            finishing.put_in(three, step=step, by=planner, key=step)
    finishing.put_in(three[:1], step="scour", by=planner, key="a")
    with pytest.raises(Refusal, match="is in Batch"):
        finishing.put_in(three, step="scour", by=planner, key="b")
    assert FinishingBatch.objects.count() == 1


def test_a_piece_with_mending_left_or_not_perched_is_kept_out(three, planner):
    fresh = cut(three[0].warp, planner)
    with pytest.raises(Refusal, match="has not been over the grey perch"):
        finishing.put_in([fresh], step="scour", by=planner, key="a")
    pieces.perch_grey(three[0], length_m=Decimal(64), width_cm=Decimal(165), mending_min=90, by=planner)
    with pytest.raises(Refusal, match="90 min to mend"):
        finishing.put_in(three, step="scour", by=planner, key="b")


def test_a_re_finished_piece_takes_its_steps_a_second_time(three, planner):
    piece = three[0]
    for step in ("scour", "press"):
        finishing.take_out(finishing.put_in([piece], step=step, by=planner, key=step), by=planner)
    pieces.measure(piece, length_m=Decimal(60), width_cm=Decimal(150), mass_g=25_000, by=planner)
    pieces.judge(piece, verdict=Piece.RE_FINISH, why="creased", from_step=2, by=planner)
    assert where(piece) == "to press"
    finishing.take_out(
        finishing.put_in([Piece.objects.get(pk=piece.pk)], step="press", by=planner, key="2"), by=planner
    )
    assert where(piece) == "to the final perch"
    assert piece.steps.count() == 3


def test_perching_and_mending_in_a_route_are_no_steps_to_be_sewn_together_for(planner):
    route = [(name, "0", "0", "0") for name in ("grey perch", "burl and mend", "scour", "final perch")]
    warp = weaving_warp(planner, spec=make_spec(route=route))
    piece = cut(warp, planner)
    assert where(piece) == "to the grey perch"
    pieces.perch_grey(piece, length_m=Decimal(64), width_cm=Decimal(165), mending_min=0, by=planner)
    assert where(piece) == "to scour"
    piece = Piece.objects.get(pk=piece.pk)
    finishing.take_out(finishing.put_in([piece], step="scour", by=planner, key="k"), by=planner)
    assert where(piece) == "to the final perch"


def test_a_batch_that_was_not_put_in_leaves_its_pieces_where_they_stood(three, planner):
    batch = finishing.put_in(three, step="scour", by=planner, key="k")
    with pytest.raises(Refusal, match="Say why"):
        finishing.undo_batch(batch, why="", by=planner)
    finishing.undo_batch(batch, why="the machine is down", by=planner)
    assert [where(piece) for piece in three] == ["to scour"] * 3
    assert {piece.state for piece in Piece.objects.all()} == {"grey"}
    assert "the machine is down" in three[0].entries.last().said


def test_queues_say_how_many_days_of_work_they_are(three, planner):
    Machine.objects.create(name="Dolly", step="scour", m_per_day=Decimal(128))
    (queue,) = finishing.queues()
    assert (queue.step, len(queue.pieces), queue.length_m, queue.days) == ("scour", 3, Decimal(192), Decimal("1.5"))


def test_the_menders_queue_is_by_due_date_and_says_the_day(three, planner):
    for piece, minutes in zip(three, (600, 300, 700), strict=True):
        pieces.perch_grey(piece, length_m=Decimal(64), width_cm=Decimal(165), mending_min=minutes, by=planner)
    OrderLine.objects.filter(pk=three[2].line_id).update(due_on="2026-01-01")
    rows = finishing.mending_queue()
    assert [row.piece.pk for row in rows] == [three[2].pk, three[0].pk, three[1].pk]
    # 840 minutes a day: 700, then 1300, then 1600.
    assert [row.on_day for row in rows] == [1, 2, 2]


def test_the_page_puts_pieces_in_and_takes_them_out(three, desk):
    page = desk.get("/finishing/").content.decode()
    assert "To scour" in page
    chosen = [three[0].pk, three[2].pk]
    answer = desk.post("/finishing/", {"key": "web", "step": "scour", "pieces": chosen})
    batch = FinishingBatch.objects.get()
    assert answer.headers["Location"] == f"/finishing/batches/{batch.number}/"
    assert desk.get(f"/finishing/batches/{batch.number}/").status_code == 200
    typed = {f"width_{three[0].pk}": "wide", f"width_{three[2].pk}": "149,5"}
    bad = desk.post(f"/finishing/batches/{batch.number}/out/", typed)
    assert (bad.status_code, batch.pieces.filter(is_out=True).count()) == (422, 0)
    assert "can&#x27;t be read" in bad.content.decode()
    assert 'value="149,5"' in bad.content.decode()
    nothing = desk.post(f"/finishing/batches/{batch.number}/out/", {f"width_{three[0].pk}": "0"})
    assert "more than 0" in nothing.content.decode()
    desk.post(f"/finishing/batches/{batch.number}/out/", {f"width_{three[0].pk}": "59 in"})
    assert three[0].steps.get().width_cm == Decimal("149.9")
    refused = desk.post("/finishing/", {"key": "web2", "step": "press", "pieces": [three[1].pk]})
    assert refused.status_code == 422
    assert f"Piece {three[1]} goes to scour next, not to press" in refused.content.decode()


def test_whoever_only_reads_sees_a_batch_s_pieces_and_no_field(three, planner):
    batch = finishing.put_in(three, step="scour", by=planner, key="k")
    reader = Client()
    reader.force_login(make_person("reads", roles.READER))
    page = reader.get(f"/finishing/batches/{batch.number}/").content.decode()
    assert all(f'href="/pieces/{piece.number}/">{piece.number}</a>' in page for piece in three)
    assert "width_" not in page
    assert "It is out" not in page


def test_sent_twice_the_last_pieces_of_a_step_are_one_batch_and_another_finds_them_gone(three, desk):
    sent = {"key": "web", "step": "scour", "pieces": [piece.pk for piece in three]}
    first, again = desk.post("/finishing/", sent), desk.post("/finishing/", sent)
    assert first.headers["Location"] == again.headers["Location"]
    late = desk.post("/finishing/", sent | {"key": "another"})
    assert f"Piece {three[0]} is in Batch {FinishingBatch.objects.get().number} (scour)" in late.content.decode()
    assert "There is no piece to put in" in desk.post("/finishing/", sent | {"pieces": []}).content.decode()


def test_queues_take_as_many_queries_for_ten_pieces_as_for_three(three, planner, desk, django_assert_max_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as few:
        desk.get("/finishing/")
    for _ in range(7):
        piece = cut(three[0].warp, planner, length_m="9.00")
        pieces.perch_grey(piece, length_m=Decimal(64), width_cm=Decimal(165), mending_min=0, by=planner)
    with django_assert_max_num_queries(len(few)):
        desk.get("/finishing/")


# Dispatch


@pytest.fixture
def sent_to(planner):
    """A customer with a line of two pieces, both ready."""
    spec = make_spec()
    customer = make_customer(code="HAZ", name="Hazel and Sons")
    line = make_line(spec=spec, order=make_order(customer=customer), tolerance_pct=Decimal("2.5"))
    warp = weaving_warp(planner, spec=spec, lines=[line])
    for length in ("58.50", "59.10"):
        finished(cut(warp, planner), planner, length_m=length)
    return customer


def test_pieces_leave_on_a_note_that_says_what_is_short(sent_to, planner):
    rows = dispatch.ready_for(sent_to)
    sent = dispatch.send(sent_to, rows, sent_on=timezone.localdate(), by=planner, key="k")
    assert dispatch.send(sent_to, rows, sent_on=timezone.localdate(), by=planner, key="k") == sent
    (line,) = dispatch.lines_on(sent)
    assert line.delivery.said == "117.6 m for 120 m ordered: 2.4 m short, within the tolerance of 2.5 %."
    assert line.line.state == OrderLine.SENT
    assert {piece.state for piece in Piece.objects.all()} == {Piece.SENT}
    with pytest.raises(Refusal, match="was sent; it can't be measured"):
        pieces.measure(rows[0], length_m=Decimal(60), width_cm=Decimal(150), mass_g=None, by=planner)


def test_a_part_delivery_leaves_the_line_open_and_the_second_note_counts_both(sent_to, planner, desk):
    one, two = dispatch.ready_for(sent_to)
    first = dispatch.send(sent_to, [one], sent_on=timezone.localdate(), by=planner, key="1")
    assert (
        "Sent so far:</strong> 58.5 m of 120 m ordered; the rest follows" in desk.get("/dispatch/1/").content.decode()
    )
    assert one.line.__class__.objects.get(pk=one.line_id).state == OrderLine.READY
    second = dispatch.send(sent_to, [two], sent_on=timezone.localdate(), by=planner, key="2")
    assert dispatch.lines_on(first)[0].delivery.sent_m == Decimal("58.50")
    assert dispatch.lines_on(second)[0].delivery.sent_m == Decimal("117.60")
    # The first note, printed again, still says that the rest follows.
    assert [dispatch.lines_on(sent)[0].is_last for sent in (first, second)] == [False, True]


def test_pieces_are_packed_and_labelled_in_the_order_in_which_they_came_off(sent_to, planner, desk):
    nine, ten = (piece.pk for piece in dispatch.ready_for(sent_to))
    Piece.objects.filter(pk=nine).update(number="118-9", cut=9)
    Piece.objects.filter(pk=ten).update(number="118-10", cut=10)
    rows = dispatch.ready_for(sent_to)
    assert [piece.number for piece in rows] == ["118-9", "118-10"]
    labels = desk.get("/pieces/labels/", {"piece": ["118-10", "118-9"]}).content.decode()
    assert labels.index("<strong>118-9<") < labels.index("<strong>118-10<")
    sent = dispatch.send(sent_to, rows, sent_on=timezone.localdate(), by=planner, key="k")
    assert [going.row.piece.number for going in dispatch.lines_on(sent)[0].pieces] == ["118-9", "118-10"]


def test_what_is_not_ready_or_not_theirs_is_not_sent(sent_to, planner):
    stranger = make_customer()
    with pytest.raises(Refusal, match="is for Hazel and Sons"):
        dispatch.send(stranger, dispatch.ready_for(sent_to), sent_on=timezone.localdate(), by=planner, key="a")
    piece = dispatch.ready_for(sent_to)[0]
    pieces.judge(piece, verdict=Piece.MEND_AGAIN, why="a float", mending_min=5, by=planner)
    with pytest.raises(Refusal, match="only what has passed is sent"):
        dispatch.send(sent_to, [piece], sent_on=timezone.localdate(), by=planner, key="b")


def test_a_dispatch_taken_back_makes_its_pieces_ready_again(sent_to, planner):
    sent = dispatch.send(sent_to, dispatch.ready_for(sent_to), sent_on=timezone.localdate(), by=planner, key="k")
    dispatch.take_back(sent, why="the van did not come", by=planner)
    dispatch.take_back(sent, why="the van did not come", by=planner)
    assert len(dispatch.ready_for(sent_to)) == 2
    assert OrderLine.objects.get(order__customer=sent_to).state == OrderLine.READY


def test_the_note_grades_each_piece_by_the_limit_that_was_agreed_when_it_left(sent_to, planner, desk):
    one = dispatch.ready_for(sent_to)[0]
    pieces.write_faults(one, [Fault(Decimal(3), Decimal(300))], by=planner)
    Customer.objects.update(points_limit_per_100_yd2=Decimal(3))
    page = desk.get("/dispatch/new/HAZ/").content.decode()
    # 4 points on 58.5 m x 1.5 m are 4.56 in 100 m²; 3 in 100 yd² are 3.59 in 100 m².
    assert "over their 3.6" in page
    assert "3 points in 100 yd², agreed with Hazel and Sons" in page
    customer = Customer.objects.get()
    sent = dispatch.send(customer, dispatch.ready_for(customer), sent_on=timezone.localdate(), by=planner, key="k")
    Customer.objects.update(points_limit_per_100_yd2=Decimal(9))
    (line,) = dispatch.lines_on(Dispatch.objects.get(pk=sent.pk))
    assert [going.grade and going.grade.passes for going in line.pieces] == [False, None]
    paper = desk.get("/dispatch/1/print/").content.decode()
    assert "4.6</td>" in paper
    assert "the limit is 3.6 points in 100 m²" in paper


def test_the_dispatch_of_today_stands_first(sent_to, planner, desk):
    for n, piece in enumerate(dispatch.ready_for(sent_to)):
        dispatch.send(sent_to, [piece], sent_on=timezone.localdate(), by=planner, key=str(n))
    page = desk.get("/dispatch/").content.decode()
    assert re.findall(r'href="/dispatch/(\d+)/"', page) == ["2", "1"]


def test_the_pages_send_and_print(sent_to, desk):
    assert "Hazel and Sons: 2 pieces" in desk.get("/dispatch/").content.decode()
    page = desk.get("/dispatch/new/HAZ/").content.decode()
    assert page.count(" checked") == 2
    # As browsers read a day; any other way of writing it leaves the field empty, and nothing is sent.
    assert f'value="{timezone.localdate():%Y-%m-%d}"' in page
    sent = {"key": "k", "sent_on": "2999-01-01", "pieces": [p.pk for p in dispatch.ready_for(sent_to)]}
    assert "Nothing is sent on 01.01.2999 yet" in desk.post("/dispatch/new/HAZ/", sent).content.decode()
    none = {**sent, "pieces": ["99999999999999999999"]}
    assert "is not one of the available choices" in desk.post("/dispatch/new/HAZ/", none).content.decode()
    sent |= {"sent_on": timezone.localdate().isoformat()}
    answer, again = desk.post("/dispatch/new/HAZ/", sent), desk.post("/dispatch/new/HAZ/", sent)
    assert answer.headers["Location"] == again.headers["Location"] == "/dispatch/1/"
    # From a page that was opened before they left.
    late = desk.post("/dispatch/new/HAZ/", sent | {"key": "another"}).content.decode()
    assert f"Piece {Piece.objects.order_by('number')[0]} was sent; it can&#x27;t be sent any more" in late
    assert (
        "Choose the pieces first" in desk.post("/dispatch/new/HAZ/", sent | {"key": "b", "pieces": []}).content.decode()
    )
    paper = desk.get("/dispatch/1/print/").content.decode()
    assert "117.60 m" in paper
    assert "50.0 kg net" in paper
    # A note is kept for years.
    assert f"sent {timezone.localdate():%-d %B %Y}" in paper
    assert "2.4 m short, within" in paper
    desk.post("/dispatch/1/back/", {"why": "wrong day"})
    assert "NOT SENT" in desk.get("/dispatch/1/print/").content.decode()
