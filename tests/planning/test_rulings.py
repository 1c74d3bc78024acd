"""A planner's word on proposed warps: locked ones stay, refused ones are not proposed again, until it is taken back."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from mill.refusal import Refusal
from planning.models import OrderLine, Ruling, Warp
from planning.services import combine, orders, rulings, warps
from planning.services.combine import Wishes
from planning.services.warps import Share
from tests.make import make_beam, make_line, make_loom, make_spec, make_yarn

pytestmark = pytest.mark.django_db


@pytest.fixture
def tweed(db):
    spec = make_spec(yarns={"A": make_yarn(code="MOSS"), "B": make_yarn(code="CREAM")})
    for n in range(5):
        make_beam(code=f"B{n}")
    make_loom(code="L1")
    return spec


def line_of(spec, *, pieces=2, days=90, **changes):
    return make_line(spec=spec, pieces=pieces, due_on=timezone.localdate() + timedelta(days=days), **changes)


def proposed(**wishes):
    """By warp, in any order: the lines on it, with their pieces."""
    return sorted(
        sorted((part.key, part.pieces) for part in proposal.parts)
        for group in combine.propose(Wishes(**wishes))
        for proposal in group.proposals
    )


def test_refused_lines_are_not_proposed_together_until_it_is_taken_back(tweed, planner):
    one, two = line_of(tweed, days=90), line_of(tweed, days=95)
    assert proposed() == [[(one.pk, 2), (two.pk, 2)]]
    ruling = rulings.refuse([(one.pk, 2), (two.pk, 2)], by=planner)
    assert proposed() == [[(one.pk, 2)], [(two.pk, 2)]]
    # Nor in another warp with them on it.
    three = line_of(tweed, days=92)
    assert [(one.pk, 2), (two.pk, 2)] not in [[p for p in warp if p[0] != three.pk] for warp in proposed()]
    (group,) = combine.propose()
    assert group.combination.is_proven
    rulings.take_back(ruling.pk, by=None)
    assert proposed() == [[(one.pk, 2), (two.pk, 2), (three.pk, 2)]]


def test_of_a_refused_warp_no_two_lines_are_proposed_together(tweed, planner):
    lines = [line_of(tweed, pieces=1, days=90 + n) for n in range(4)]
    rulings.refuse([(line.pk, 1) for line in lines[:3]], by=planner)
    assert all(len({pk for pk, _ in warp} & {line.pk for line in lines[:3]}) == 1 for warp in proposed())
    # The line that nobody spoke of still saves a warp with one of them.
    assert len(proposed()) == 3


def test_a_locked_warp_stays_as_it_is_whatever_else_comes(tweed, planner):
    one, two = line_of(tweed, pieces=4, days=90), line_of(tweed, days=95)
    ruling = rulings.lock([(one.pk, 3), (two.pk, 1)], by=planner)
    three = line_of(tweed, days=92)
    (group,) = combine.propose()
    assert [(part.key, part.pieces) for part in group.proposals[0].parts] == [(one.pk, 3), (two.pk, 1)]
    assert group.locked[0].ruling == ruling
    assert planner.get_full_name() in group.locked[0].said
    # What is not locked is proposed beside it, and no piece is lost or doubled.
    wound = {}
    for warp in proposed():
        for pk, pieces in warp:
            wound[pk] = wound.get(pk, 0) + pieces
    assert wound == {one.pk: 4, two.pk: 2, three.pk: 2}
    assert group.saves.warps == group.combination.saves.warps + 1
    rulings.take_back(ruling.pk, by=None)
    assert proposed() == [[(one.pk, 4), (two.pk, 2), (three.pk, 2)]]


def test_a_line_locked_alone_is_proposed_alone(tweed, planner):
    one, two = line_of(tweed, days=90), line_of(tweed, days=95)
    rulings.lock([(one.pk, 2)], by=planner)
    assert proposed() == [[(one.pk, 2)], [(two.pk, 2)]]


def test_the_same_said_twice_is_one_ruling(tweed, planner):
    one, two = line_of(tweed), line_of(tweed)
    parts = [(one.pk, 2), (two.pk, 2)]
    assert rulings.refuse(parts, by=planner) == rulings.refuse(parts[::-1], by=None)
    Ruling.objects.all().delete()
    assert rulings.lock(parts, by=planner) == rulings.lock(parts, by=None)


def test_a_lock_and_a_refusal_of_the_same_lines_cannot_both_be(tweed, planner):
    one, two = line_of(tweed), line_of(tweed)
    parts = [(one.pk, 2), (two.pk, 2)]
    kept = rulings.lock(parts, by=planner)
    with pytest.raises(Refusal, match=rf"Lines {one} and {two} are locked on one warp \(by .*\)\. Unlock it first"):
        rulings.refuse(parts, by=planner)
    rulings.take_back(kept.pk, by=None)
    rulings.refuse(parts, by=planner)
    with pytest.raises(Refusal, match=rf"Lines {one} and {two} are kept apart \(by .*\)\. Let them be proposed"):
        rulings.lock(parts, by=planner)


def test_pieces_are_locked_once_and_only_those_that_wait(tweed, planner):
    one, two = line_of(tweed, pieces=3), line_of(tweed)
    rulings.lock([(one.pk, 2), (two.pk, 1)], by=planner)
    with pytest.raises(Refusal, match=rf"2 of the 3 pieces of line {one} that wait are on a warp that is locked"):
        rulings.lock([(one.pk, 2)], by=planner)
    rulings.lock([(one.pk, 1)], by=planner)
    three = line_of(tweed)
    with pytest.raises(Refusal, match=rf"5 pieces of line {three} are to be locked, and 2 wait"):
        rulings.lock([(three.pk, 5)], by=planner)
    with pytest.raises(Refusal, match=r"A warp of one line has nothing to be kept apart"):
        rulings.refuse([(one.pk, 3)], by=planner)
    with pytest.raises(Refusal, match=r"1 of these order lines are not in the book any more"):
        rulings.lock([(99, 1)], by=planner)
    with pytest.raises(Refusal, match=r"taken back already, or its warp has been made"):
        rulings.take_back(99, by=None)


def test_a_warp_that_goes_against_a_ruling_is_not_made_and_says_whose_it_is(tweed, planner):
    one, two, three = line_of(tweed), line_of(tweed), line_of(tweed)
    rulings.refuse([(one.pk, 2), (two.pk, 2)], by=planner)
    with pytest.raises(Refusal, match=rf"Lines {one} and {two} are kept apart \(by {planner.get_full_name()}, "):
        combine.accept([[(one.pk, 2), (two.pk, 2)]], by=planner)
    rulings.lock([(two.pk, 2), (three.pk, 2)], by=planner)
    with pytest.raises(Refusal, match=rf"2 of the 2 pieces of line {three} that wait are on a warp that is locked"):
        combine.accept([[(one.pk, 2), (three.pk, 2)]], by=planner)
    assert not Warp.objects.exists()


def test_a_locked_warp_that_is_made_needs_its_lock_no_more(tweed, planner):
    one, two = line_of(tweed), line_of(tweed)
    rulings.lock([(one.pk, 2), (two.pk, 2)], by=planner)
    (warp,) = combine.accept([[(one.pk, 2), (two.pk, 2)]], by=planner)
    assert not Ruling.objects.exists()
    warps.take_apart(warp, by=planner)
    assert proposed() == [[(one.pk, 2), (two.pk, 2)]]


def test_a_lock_whose_pieces_are_gone_says_so_and_binds_nothing(tweed, planner):
    one, two = line_of(tweed, pieces=3), line_of(tweed)
    rulings.lock([(one.pk, 3), (two.pk, 2)], by=planner)
    warps.make_warp([Share(one, 1)], by=planner)
    (group,) = combine.propose()
    assert group.locked[0].proposal is None
    assert f"{one} has not so many pieces any more" in group.locked[0].trouble
    assert proposed() == [[(one.pk, 2), (two.pk, 2)]]


def test_a_line_called_off_takes_its_part_of_a_refusal_along(tweed, planner):
    one, two, three = (line_of(tweed, days=90 + n) for n in range(3))
    rulings.refuse([(one.pk, 2), (two.pk, 2)], by=planner)
    orders.call_off_line(OrderLine.objects.get(pk=one.pk), by=planner)
    assert proposed() == [[(two.pk, 2), (three.pk, 2)]]
    assert combine.propose()[0].kept_apart == ()


def test_planned_warps_combined_afresh_may_be_locked_as_proposed(tweed, planner):
    one, two = line_of(tweed), line_of(tweed)
    for line in (one, two):
        warps.make_warp([Share(line, 2)], by=planner)
    with pytest.raises(Refusal, match=r"2 pieces of line .* are to be locked, and 0 wait"):
        rulings.lock([(one.pk, 2), (two.pk, 2)], by=planner)
    rulings.lock([(one.pk, 2), (two.pk, 2)], by=planner, includes_planned=True)
    assert proposed(includes_planned=True) == [[(one.pk, 2), (two.pk, 2)]]
    assert proposed() == []


def test_rulings_cost_no_query_each(tweed, planner, django_assert_max_num_queries):
    lines = [line_of(tweed, days=60 + n) for n in range(12)]
    rulings.refuse([(line.pk, 2) for line in lines[:2]], by=planner)
    with django_assert_max_num_queries(24) as few:
        combine.propose()
    for n in range(2, 10, 2):
        rulings.refuse([(line.pk, 2) for line in lines[n : n + 2]], by=planner)
    rulings.lock([(lines[10].pk, 2)], by=planner)
    with django_assert_max_num_queries(len(few)):
        combine.propose()


# The page


def sheet(group, **changes):
    data = {"group": group.warp_key, "line": [], "pieces": [], "warp": [], "accept": []}
    for number, proposal in enumerate(group.proposals, start=1):
        for part in proposal.parts:
            data["line"].append(part.key)
            data["pieces"].append(part.pieces)
            data["warp"].append(number)
        data["accept"].append(number)
    return data | changes


def plainly(answer):
    return answer.content.decode().replace("\u202f", " ").replace("&#x27;", "'")


def test_a_proposal_is_refused_and_asked_for_again_on_the_page(desk, tweed):
    one, two = line_of(tweed, days=90), line_of(tweed, days=95)
    (group,) = combine.propose()
    page = plainly(desk.post(reverse("combine"), sheet(group, refuse="1"), follow=True))
    assert "not proposed together again until you ask for it" in page
    assert f"Kept apart: {one}, {two}" in page
    assert "one line alone: saves nothing" in page
    assert "New warp 2" in page
    (group,) = combine.propose()
    again = plainly(desk.post(reverse("combine"), sheet(group, rework="yes", warp=["1", "1"])))
    assert f"Lines {one} and {two} are kept apart" in again
    page = plainly(desk.post(reverse("combine"), sheet(group, take_back=str(Ruling.objects.get().pk)), follow=True))
    assert "Taken back" in page
    assert "saves 3.0 m of thrums" in page
    assert "New warp 2" not in page


def test_a_warp_of_the_sheet_is_locked_and_made(desk, tweed):
    one, two = line_of(tweed, pieces=4, days=90), line_of(tweed, days=95)
    (group,) = combine.propose()
    split = {"line": [one.pk, one.pk, two.pk], "pieces": ["2", "2", "2"], "warp": ["1", "2", "2"]}
    page = plainly(desk.post(reverse("combine"), sheet(group, lock="2", **split), follow=True))
    assert "Locked: this warp is proposed as it is" in page
    assert "locked, by" in page
    (group,) = combine.propose()
    page = plainly(desk.post(reverse("combine"), sheet(group, accept_warps="yes"), follow=True))
    assert "planned." in page
    found = [[(part.line_id, part.pieces) for part in warp.parts.all()] for warp in Warp.objects.order_by("number")]
    assert sorted(found) == [[(one.pk, 2)], [(one.pk, 2), (two.pk, 2)]]


@pytest.mark.parametrize(
    ("said", "answer"),
    [
        ({"refuse": "77"}, "There is no such warp on the sheet"),
        ({"lock": "x"}, "There is no such warp on the sheet"),
        ({"take_back": "99"}, "taken back already"),
        ({"take_back": "x", "warp": ["0", "0"]}, "There is no such warp on the sheet"),
    ],
)
def test_nonsense_about_rulings_is_no_crash(desk, tweed, said, answer):
    line_of(tweed, days=90), line_of(tweed, days=95)
    (group,) = combine.propose()
    assert answer in plainly(desk.post(reverse("combine"), sheet(group, **said)))
    assert not Ruling.objects.exists()


def test_the_second_planner_is_told_what_the_first_has_ruled_meanwhile(desk, tweed, planner):
    one, two = line_of(tweed, days=90), line_of(tweed, days=95)
    (group,) = combine.propose()
    seen = sheet(group, accept_warps="yes")
    ruling = rulings.refuse([(one.pk, 2), (two.pk, 2)], by=planner)
    page = plainly(desk.post(reverse("combine"), seen))
    assert f"Lines {one} and {two} are kept apart (by {planner.get_full_name()}, " in page
    rulings.take_back(ruling.pk, by=None)
    rulings.lock([(one.pk, 1), (two.pk, 1)], by=planner)
    page = plainly(desk.post(reverse("combine"), seen))
    assert (
        f"1 of the 2 pieces of line {one} that wait are on a warp that is locked (by {planner.get_full_name()}, "
        in page
    )
    assert not Warp.objects.exists()


# The API


def test_rulings_are_made_read_and_taken_back_through_the_api(desk, tweed):
    one, two = line_of(tweed), line_of(tweed)
    parts = [{"line": one.pk, "pieces": 2}, {"line": two.pk, "pieces": 2}]
    said = {"kind": "apart", "parts": parts}
    made = desk.post("/api/warp-rulings/", said, content_type="application/json")
    assert made.status_code == 201
    assert made.json()["parts"] == parts
    assert desk.post("/api/warp-rulings/", said, content_type="application/json").json()["id"] == made.json()["id"]
    (group,) = desk.get("/api/warp-proposals/").json()
    assert [len(warp["parts"]) for warp in group["warps"]] == [1, 1]
    refused = desk.post("/api/warp-rulings/", {"kind": "together", "parts": parts}, content_type="application/json")
    assert "are kept apart" in refused.json()["detail"]
    assert desk.delete(f"/api/warp-rulings/{made.json()['id']}/").status_code == 204
    locked = desk.post("/api/warp-rulings/", {"kind": "together", "parts": parts}, content_type="application/json")
    assert locked.json()["by"]
    assert [row["kind"] for row in desk.get("/api/warp-rulings/").json()["results"]] == ["together"]
