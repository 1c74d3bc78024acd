"""The pages and the API of warps and of combining: what is shown, done, refused; queries that don't grow."""

import re
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from inventory.models import Movement
from mill import jobs
from planning.models import Loom, OrderLine, Warp
from planning.services import cloths, combine, plans, warp_yarn, warps
from planning.services.warps import Share
from planning.ticket import to_json
from tests.make import make_beam, make_line, make_loom, make_lot, make_spec, make_ticket, make_yarn

pytestmark = pytest.mark.django_db
PIECE_M = Decimal("68.7") + Decimal("0.5")


@pytest.fixture
def tweed(db):
    spec = make_spec(yarns={"A": make_yarn(code="MOSS", name="Moss"), "B": make_yarn(code="CREAM", name="Cream")})
    make_beam(code="B1")
    make_loom(code="L1")
    return spec


def line_of(spec, *, pieces=2, days=90, **changes):
    return make_line(spec=spec, pieces=pieces, due_on=timezone.localdate() + timedelta(days=days), **changes)


def planned(spec, planner, *, pieces=2, lines=1):
    warp = warps.make_warp([Share(line_of(spec, pieces=pieces), pieces) for _ in range(lines)], by=planner)
    jobs.settle()
    return warp


def stock(spec, grams=200_000):
    for entry in spec.colourway_yarns.all():
        make_lot(yarn=entry.yarn, grams=grams, dye_lot="881")


def plainly(response):
    return response.content.decode().replace("\u202f", " ").replace("\u00a0", " ")


def act(desk, warp, name, **data):
    return desk.post(reverse(f"warp_{name}", args=[warp.number]), data, follow=True)


# The page


def test_a_warps_page_shows_its_figures_each_with_its_working(desk, tweed, planner):
    warp = planned(tweed, planner)
    page = plainly(desk.get(reverse("warp", args=[warp.number])))
    for shown in ("1 500", "141.4", "Warp to wind", "MOSS", "(A24 B2)x12", "2 × 68.7", "Gross mass", "<svg"):
        assert shown in page
    # Every figure that was worked has its step.
    assert page.count('class="sum"') > 15
    # By hand: 150 cm ÷ 0.9 ÷ 0.94 at 8.46 ends per cm are 1500 ends in whole dents, and no selvedge.
    assert "1500 + 0" in page
    assert "being worked out" not in page
    # Thrums and headers by hand, 1386 and 114 ends of 125 tex.
    assert "1386 × 4 m × 125 ÷ 1000 + 114 × 4 m × 125 ÷ 1000" in page
    sheet = plainly(desk.get(reverse("warp", args=[warp.number]), {"sheet": "worked"}))
    assert "What must suffice is rounded upwards: lengths, grams, minutes" in sheet


def test_the_page_says_that_it_is_being_worked_out_and_asks_again_until_it_is(desk, tweed, planner):
    warp = warps.make_warp([Share(line_of(tweed), 2)], by=planner)
    page = plainly(desk.get(reverse("warp", args=[warp.number])))
    assert "being worked out" in page
    assert f'hx-get="{reverse("warp_worked", args=[warp.number])}"' in page
    jobs.settle()
    part = plainly(desk.get(reverse("warp_worked", args=[warp.number])))
    assert "hx-get" not in part
    assert "141.4" in part


def test_a_warp_that_cant_be_woven_says_why(desk, tweed, planner):
    warp = planned(tweed, planner)
    Loom.objects.update(reed_space_cm=Decimal("150.0"))
    Warp.objects.filter(pk=warp.pk).update(pin_loom=Loom.objects.get())
    from django.db import transaction

    from planning.services import working_out

    with transaction.atomic():
        working_out.warps_changed([warp.pk])
    jobs.settle()
    assert "the reed space is 150.0 cm" in plainly(desk.get(reverse("warp", args=[warp.number])))
    assert "the reed space is 150.0 cm" in plainly(desk.get(reverse("warps"), {"trouble": "trouble"}))


def test_parts_are_moved_taken_off_split_joined_and_put_on_by_buttons(desk, tweed, planner):
    make_beam(code="B2")
    warp = planned(tweed, planner, lines=2)
    first, second = warp.parts.all()
    seen = warps.parts_seen(warp)
    act(desk, warp, "move", part=second.pk, where="earlier", seen=seen)
    assert [part.pk for part in warp.parts.all()] == [second.pk, first.pk]
    told = plainly(act(desk, warp, "move", part=second.pk, where="later", seen=seen))
    assert "has been changed since this page was opened" in told
    act(desk, warp, "split", after=3, seen=warps.parts_seen(warp))
    other = Warp.objects.latest("pk")
    assert [part.pieces for part in other.parts.all()] == [1]
    jobs.settle()
    assert f"{other}, 72.2 m" in plainly(desk.get(reverse("warp", args=[warp.number])))
    act(desk, warp, "join", other=other.pk, seen=warps.parts_seen(warp))
    assert sum(part.pieces for part in warp.parts.all()) == 4
    part = warp.parts.first()
    act(desk, warp, "take_off", part=part.pk, seen=warps.parts_seen(warp))
    assert OrderLine.objects.get(pk=part.line_id).state == OrderLine.ENTERED
    jobs.settle()
    act(desk, warp, "put_on", line=part.line_id, pieces=2, seen=warps.parts_seen(warp))
    assert sum(part.pieces for part in warp.parts.all()) == 4
    told = act(desk, warp, "take_apart")
    assert told.redirect_chain[-1][0] == reverse("warps")
    assert not Warp.objects.exists()
    again = act(desk, warp, "take_apart")
    assert again.redirect_chain[-1][0] == reverse("warps"), "a second tap lands where the first did"
    assert "has been taken apart meanwhile" in plainly(again)


@pytest.mark.parametrize(
    ("name", "data", "sentence"),
    [
        ("split", {"after": "9"}, "has 2 pieces; 9 can't stay on it"),
        ("split", {"after": "x"}, "Pieces that stay: Enter a whole number."),
        ("join", {"other": "999"}, "With: Select a valid choice"),
        ("move", {"part": "x"}, "No part is chosen"),
        ("put_on", {"line": "1", "pieces": "-1"}, "Pieces: Ensure this value is greater than or equal to 1"),
        ("gait", {"loom": "none"}, "Choose the loom"),
        ("back", {"reason": "?", "seen_state": "planned"}, "there is no step to take back"),
        ("hold_lot", {"use": "warp", "lot": "none", "grams": "5 kg"}, "Lot: Select a valid choice"),
        ("hold", {}, "0 g are free"),
        ("draw", {}, "0 g are held. Hold the rest first"),
    ],
)
def test_what_cant_be_done_is_said_and_the_warp_stays(desk, tweed, planner, name, data, sentence):
    warp = planned(tweed, planner)
    assert sentence in plainly(act(desk, warp, name, **data)).replace("&#x27;", "'")
    warp.refresh_from_db()
    assert (warp.state, warp.parts.get().pieces) == (Warp.PLANNED, 2)


def test_a_warp_goes_from_planned_to_woven_out_by_buttons_and_back_a_step(desk, tweed, planner):
    stock(tweed)
    warp = planned(tweed, planner)
    assert "Hold its yarn" in plainly(desk.get(reverse("warp", args=[warp.number])))
    assert "is held" in plainly(act(desk, warp, "hold"))
    assert "Warp yarn is drawn" in plainly(desk.get(reverse("warp", args=[warp.number])))
    for name, data, state in (
        ("draw", {}, Warp.YARN_DRAWN),
        ("draw", {}, Warp.YARN_DRAWN),
        ("wind", {}, Warp.WOUND),
        ("gait", {"loom": "L1"}, Warp.GAITED),
        ("back", {"reason": "wrong loom", "seen_state": Warp.GAITED}, Warp.WOUND),
        ("back", {"reason": "wrong loom", "seen_state": Warp.GAITED}, Warp.WOUND),
        ("gait", {"loom": "L1"}, Warp.GAITED),
        ("begin", {}, Warp.WEAVING),
        ("draw_weft", {}, Warp.WEAVING),
        ("out", {}, Warp.WOVEN_OUT),
    ):
        page = plainly(act(desk, warp, name, **data))
        jobs.settle()
        warp.refresh_from_db()
        assert warp.state == state, name
    assert "Beam B1 is free" in page
    assert "wrong loom" in page
    assert Movement.objects.filter(kind=Movement.DRAW).count() == 4, "two in the warp, two in the weft, each once"


def test_looms_that_cant_take_a_wound_warp_say_why_in_the_list(desk, tweed, planner):
    warp = planned(tweed, planner)
    Warp.objects.filter(pk=warp.pk).update(state=Warp.WOUND)
    make_loom(code="N1", reed_space_cm=Decimal("150.0"))
    page = plainly(desk.get(reverse("warp", args=[warp.number])))
    assert "N1: " in page
    assert "150.0 cm" in page


def test_a_locked_warp_has_no_tools_and_a_note_goes_to_its_ticket(desk, tweed, planner):
    warp = planned(tweed, planner)
    act(desk, warp, "lock", locked="yes")
    page = plainly(act(desk, warp, "note", note="lift the selvedge gently"))
    assert "Take it apart" not in page
    assert "lift the selvedge gently" in page
    act(desk, warp, "lock", locked="no")
    assert "Take it apart" in plainly(desk.get(reverse("warp", args=[warp.number])))


# Beam and yarn


def test_the_beams_are_listed_with_both_numbers_and_one_is_chosen(desk, tweed, planner):
    warp = planned(tweed, planner)
    make_beam(code="NARROW", width_cm=Decimal("150.0"))
    make_beam(code="WIDE", width_cm=Decimal("220.0"))
    address = reverse("warp_beam", args=[warp.number])
    page = plainly(desk.get(address))
    assert "no: the warp is 177.4 cm wide in the reed, the beam 150.0 cm" in page
    assert "this warp’s" in page
    assert "Choose WIDE" in page
    desk.post(address, {"beam": "WIDE"})
    warp.refresh_from_db()
    assert warp.beam.code == "WIDE"
    assert "Beam NARROW: the warp is" in plainly(desk.post(address, {"beam": "NARROW"}, follow=True))
    desk.post(address, {"beam": ""})
    warp.refresh_from_db()
    assert warp.beam is None


def test_the_lots_are_explained_and_another_dye_lot_can_be_chosen(desk, tweed, planner):
    stock(tweed)
    moss = tweed.colourway_yarns.get(letter="A").yarn
    make_lot(yarn=moss, grams=60_000, dye_lot="904", label="NEWER")
    warp = planned(tweed, planner)
    page = plainly(desk.get(reverse("warp_yarn", args=[warp.number])))
    assert "Dye lot 881 has" in page
    assert "904: 60 000 g free, leaves" in page
    act(desk, warp, "hold", **{f"dye-lot-warp-{moss.pk}": "904"})
    assert warp.holds.get(use="warp", yarn=moss).reservation.lot.label == "NEWER"
    assert "let go" in plainly(act(desk, warp, "let_go"))
    assert not warp.holds.exists()
    told = plainly(act(desk, warp, "hold_lot", use="warp", lot="NEWER", grams="3 kg"))
    assert "3 000 g of lot NEWER are held" in told or "3000 g of lot NEWER are held" in told


# The list


def test_yarn_that_is_held_and_not_taken_any_more_is_said(desk, tweed, planner):
    warp = planned(tweed, planner)
    stock(tweed)
    warp_yarn.hold_yarn(warp, by=planner)
    pages = [reverse("warp", args=[warp.number]), reverse("warp_yarn", args=[warp.number])]
    assert not any("any more" in plainly(desk.get(page)) for page in pages)
    # Another yarn at B: what is held of the first is for nothing, until it is let go.
    draft = cloths.draft_of(cloths.latest_of(tweed.cloth))
    (colourway,) = draft.colourways
    yarns = {**colourway.yarns, "B": make_yarn(code="FAWN")}
    cloths.revise(tweed.cloth, replace(draft, colourways=[replace(colourway, yarns=yarns)]), by=planner)
    jobs.settle()
    assert all("it does not take CREAM Cream any more" in plainly(desk.get(page)) for page in pages)
    act(desk, warp, "let_go")
    assert not any("any more" in plainly(desk.get(page)) for page in pages)


def test_the_list_of_warps_narrows_sorts_and_leaves_as_csv(desk, tweed, planner):
    warp = planned(tweed, planner)
    other = planned(make_spec(), planner)
    Warp.objects.filter(pk=other.pk).update(state=Warp.WOVEN_OUT)
    address = reverse("warps")

    def shown(**words):
        page = plainly(desk.get(address, words))
        return {one.number for one in (warp, other) if f'href="{reverse("warp", args=[one.number])}"' in page}

    assert shown() == {warp.number}
    assert shown(state="all") == {warp.number, other.number}
    assert shown(state="woven out") == {other.number}
    assert shown(text=f"Warp {warp.number}") == {warp.number}
    assert shown(text=warp.parts.get().line.order.customer.name) == {warp.number}
    assert shown(text=str(warp.parts.get().line)) == {warp.number}
    assert shown(cloth=tweed.cloth.pk, state="all") == {warp.number}
    assert shown(trouble="beam") == set()
    for sort in ("warp", "-length", "due", "yarn", "weaving-begins", "loom"):
        assert desk.get(address, {"sort": sort}).status_code == 200
    rows = b"".join(desk.get(address, {"csv": "1"})).decode().splitlines()
    assert "141.4" in rows[1]


def test_ten_times_the_warps_take_no_more_queries(desk, tweed, planner, django_assert_max_num_queries):
    def more(n):
        for _ in range(n):
            make_beam()
            planned(tweed, planner)

    more(2)
    plans.put_in_force(plans.make_plan(by=planner), by=planner)
    jobs.settle()
    desk.get(reverse("warps"))
    with django_assert_max_num_queries(30) as few:
        desk.get(reverse("warps"))
    more(20)
    with django_assert_max_num_queries(len(few)):
        desk.get(reverse("warps"))


def test_a_page_of_many_parts_takes_no_more_queries(desk, tweed, planner, django_assert_max_num_queries):
    stock(tweed, grams=900_000)
    small, large = planned(tweed, planner, pieces=1), planned(tweed, planner, pieces=1, lines=10)
    for warp in (small, large):
        warp_yarn.hold_yarn(warp, by=planner)
    desk.get(reverse("warp", args=[small.number]))
    with django_assert_max_num_queries(60) as few:
        desk.get(reverse("warp", args=[small.number]))
    with django_assert_max_num_queries(len(few)):
        desk.get(reverse("warp", args=[large.number]))


# Combining


def sheet(group, *, tick=None, **changes):
    """A group's form as the page sends it."""
    data = {"group": group.warp_key, "line": [], "pieces": [], "warp": [], "accept": []}
    for number, proposal in enumerate(group.combination.proposals, start=1):
        for part in proposal.parts:
            data["line"].append(part.key)
            data["pieces"].append(part.pieces)
            data["warp"].append(number)
        if tick is None or number in tick:
            data["accept"].append(number)
    return data | changes


def test_the_page_shows_proposals_with_what_they_save(desk, tweed):
    one, two = line_of(tweed, days=90), line_of(tweed, days=95)
    page = plainly(desk.get(reverse("combine")))
    assert str(one) in page
    assert str(two) in page
    assert "279.8 m" in page
    assert "Saves <strong>1 warp</strong>: 3.0 m of thrums, 0.56 kg, and 4 h 17 min of set-up" in page
    assert "No other way costs less" in page


def test_accepting_makes_the_ticked_warps_once(desk, tweed):
    line_of(tweed, days=30), line_of(tweed, days=90)
    (group,) = combine.propose()
    assert len(group.combination.proposals) == 2
    data = sheet(group, tick={1}, accept_warps="yes")
    assert "planned" in plainly(desk.post(reverse("combine"), data, follow=True))
    desk.post(reverse("combine"), data, follow=True)
    assert Warp.objects.count() == 1
    assert OrderLine.objects.not_on_a_warp().count() == 1


def test_a_planner_splits_and_joins_and_sees_the_figures_before_accepting(desk, tweed):
    one, two = line_of(tweed, pieces=4, days=90), line_of(tweed, days=95)
    (group,) = combine.propose()
    split = plainly(desk.post(reverse("combine"), sheet(group, split="0")))
    assert "New warp 2" in split
    assert not Warp.objects.exists()
    data = {
        "group": group.warp_key,
        "line": [one.pk, one.pk, two.pk],
        "pieces": ["2", "2", "2"],
        "warp": ["1", "2", "2"],
        "accept": ["1", "2"],
    }
    reworked = plainly(desk.post(reverse("combine"), data | {"rework": "yes"}))
    assert "141.4 m" in reworked
    assert "279.8 m" in reworked
    desk.post(reverse("combine"), data | {"accept_warps": "yes"})
    found = [[(part.line_id, part.pieces) for part in warp.parts.all()] for warp in Warp.objects.order_by("number")]
    assert found == [[(one.pk, 2)], [(one.pk, 2), (two.pk, 2)]]


def test_of_many_warps_a_row_s_is_written_and_not_chosen_from_all(desk, tweed):
    line_of(tweed, days=90)
    (group,) = combine.propose()
    few = plainly(desk.post(reverse("combine"), sheet(group, rework="yes", warp=["7"], accept=["7"])))
    assert '<select name="warp"' in few
    data = sheet(group, warp=["60"], accept=["60"])
    many = plainly(desk.post(reverse("combine"), data | {"rework": "yes"}))
    assert '<select name="warp"' not in many
    assert '<input name="warp" inputmode="numeric" size="3" value="60"' in many
    desk.post(reverse("combine"), data | {"accept_warps": "yes"})
    assert Warp.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"pieces": ["x", "2"]}, "“x” is no number of pieces. Write 1 to 2."),
        ({"pieces": ["3", "2"]}, "3 pieces are put on warps; 2 wait. Write fewer."),
        ({"pieces": ["0", "2"]}, "0 pieces are asked for, and the line has 2 left"),
    ],
)
def test_a_sheet_that_cant_be_is_refused_and_stays_as_it_was_typed(desk, tweed, changes, sentence):
    line_of(tweed, days=90), line_of(tweed, days=95)
    (group,) = combine.propose()
    page = plainly(desk.post(reverse("combine"), sheet(group, accept_warps="yes", **changes)))
    assert sentence in page
    assert f'value="{changes["pieces"][0]}"' in page or changes["pieces"][0] == "x"
    assert not Warp.objects.exists()


def test_lines_too_far_apart_joined_by_hand_say_so(desk, tweed):
    line_of(tweed, days=30), line_of(tweed, days=90)
    (group,) = combine.propose()
    page = plainly(desk.post(reverse("combine"), sheet(group, rework="yes", warp=["1", "1"])))
    # 60 days, less or more by a weekend before one of the two.
    assert re.search(r"due (59|6[0-2]) days apart; lines that share a warp are at most 21", page)
    wider = desk.post(reverse("combine") + "?due_spread_days=70", sheet(group, accept_warps="yes", warp=["1", "1"]))
    assert wider.status_code == 302
    assert Warp.objects.get().parts.count() == 2


def test_a_row_that_is_on_no_warp_stays_out(desk, tweed):
    one, two = line_of(tweed, days=90), line_of(tweed, days=95)
    (group,) = combine.propose()
    desk.post(reverse("combine"), sheet(group, accept_warps="yes", warp=["1", "0"]))
    assert Warp.objects.get().parts.get().line == one
    assert OrderLine.objects.get(pk=two.pk).state == OrderLine.ENTERED


def test_nonsense_to_the_sheet_is_no_crash(desk, tweed):
    line_of(tweed)
    (group,) = combine.propose()
    for data in (
        {},
        {"group": "none"},
        sheet(group, line=["999", "x"]),
        sheet(group, split="77"),
        sheet(group, warp=["x"]),
    ):
        assert desk.post(reverse("combine"), data).status_code in (200, 302)
    assert "Enter a whole number" in plainly(desk.get(reverse("combine"), {"due_spread_days": "soon"}))
    assert not Warp.objects.exists()


def test_the_page_of_many_lines_takes_no_more_queries(desk, tweed, django_assert_max_num_queries):
    line_of(tweed)
    desk.get(reverse("combine"))
    with django_assert_max_num_queries(30) as few:
        desk.get(reverse("combine"))
    for days in range(60, 80):
        line_of(tweed, days=days)
    with django_assert_max_num_queries(len(few)):
        desk.get(reverse("combine"))


# The API


def test_a_warp_comes_with_its_figures_and_their_working(desk, tweed, planner):
    warp = planned(tweed, planner)
    told = desk.get(f"/api/warps/{warp.number}/").json()
    figures = told["figures"]
    assert (figures["warp_length_m"], figures["ends"], figures["beam_code"]) == ("141.4", 1500, "B1")
    steps = {step["name"]: step for step in figures["working"]}
    assert steps["warp_length_m"]["value"] == "141.4"
    assert "2 × 68.7" in steps["warp_length_m"]["sum"]
    assert figures["runs"][0]["warp_length_per_piece_m"] == "68.7"
    assert {yarn["yarn"] for yarn in told["yarns"]} == {"MOSS", "CREAM"}
    from planning.ticket import from_json

    assert set(figures) == set(to_json(from_json(warp.worked.figures)))
    assert [row["number"] for row in desk.get("/api/warps/").json()["results"]] == [warp.number]


def test_proposals_are_read_and_accepted_through_the_api(desk, tweed):
    one, two = line_of(tweed, days=90), line_of(tweed, days=95)
    (group,) = desk.get("/api/warp-proposals/").json()
    assert group["saves"]["warps"] == 1
    assert group["warps"][0]["parts"] == [{"line": one.pk, "pieces": 2}, {"line": two.pk, "pieces": 2}]
    body = {"warps": [warp["parts"] for warp in group["warps"]]}
    made = desk.post("/api/warp-proposals/", body, content_type="application/json")
    assert made.status_code == 201
    again = desk.post("/api/warp-proposals/", body, content_type="application/json")
    assert [warp["number"] for warp in again.json()] == [warp["number"] for warp in made.json()]
    assert Warp.objects.count() == 1
    refused = desk.post(
        "/api/warp-proposals/", {"warps": [[{"line": one.pk, "pieces": 1}]]}, content_type="application/json"
    )
    assert refused.status_code == 400
    assert "are on Warp" in refused.json()["detail"]


def test_a_warp_is_taken_its_way_through_the_api(desk, tweed, planner):
    stock(tweed)
    warp = planned(tweed, planner, pieces=3)
    address = f"/api/warps/{warp.number}/"

    def post(name, **body):
        return desk.post(f"{address}{name}/", body, content_type="application/json")

    assert post("split", after=9).json()["detail"].startswith(f"{warp} has 3 pieces")
    both = post("split", after=2).json()
    assert [len(row["parts"]) for row in both] == [1, 1]
    jobs.settle()
    assert post("join", other=both[1]["number"]).status_code == 200
    jobs.settle()
    held = post("hold-yarn").json()
    assert held["short"] == []
    assert all(yarn["left_g"] == 0 for yarn in held["yarns"])
    assert post("step", step="gait", loom="L1").status_code == 400
    for step in ("draw yarn", "draw yarn", "wind"):
        assert post("step", step=step).status_code == 200
    jobs.settle()
    assert post("step", step="gait", loom="L1").json()["loom"] == "L1"
    jobs.settle()
    assert post("step", step="begin weaving").json()["state"] == "weaving"
    assert post("step", step="weave out").json()["state"] == "woven out"
    assert post("beam", beam=None).status_code == 400


def test_a_dye_lot_is_chosen_through_the_api_and_an_unknown_yarn_refused(desk, tweed, planner):
    stock(tweed)
    moss = tweed.colourway_yarns.get(letter="A").yarn
    make_lot(yarn=moss, grams=60_000, dye_lot="904", label="NEWER")
    warp = planned(tweed, planner)
    address = f"/api/warps/{warp.number}/hold-yarn/"
    wrong = {"chosen": [{"use": "warp", "yarn": "NONE", "dye_lot": "904"}]}
    assert "There is no yarn NONE" in desk.post(address, wrong, content_type="application/json").json()["detail"]
    right = {"chosen": [{"use": "warp", "yarn": "MOSS", "dye_lot": "904"}]}
    assert desk.post(address, right, content_type="application/json").status_code == 200
    assert warp.holds.get(use="warp", yarn=moss).reservation.lot.label == "NEWER"
    desk.post(f"/api/warps/{warp.number}/let-go/", content_type="application/json")
    assert not warp.holds.exists()
    make_ticket(warp)
    assert desk.post(f"/api/warps/{warp.number}/take-apart/", content_type="application/json").status_code == 204


def test_the_api_says_what_it_takes_and_gives(desk):
    described = desk.get("/api/schema/", HTTP_ACCEPT="application/json")
    paths = described.json()["paths"]
    for address in (
        "/api/orders/",
        "/api/orders/{number}/lines/",
        "/api/order-lines/{id}/",
        "/api/order-line-figures/",
        "/api/warps/{number}/",
        "/api/warps/{number}/step/",
        "/api/warp-proposals/",
    ):
        assert address in paths
    assert "400" in paths["/api/warp-proposals/"]["post"]["responses"]


# All that is proposed at once, and on from there


def test_all_warps_are_made_at_once_of_the_orders_that_are_looked_at(desk, tweed):
    other = make_spec(yarns={entry.letter: entry.yarn for entry in tweed.colourway_yarns.all()}, ends_per_dent=1)
    third = make_spec(
        yarns={entry.letter: entry.yarn for entry in tweed.colourway_yarns.all()}, finished_width_cm=Decimal("120.0")
    )
    one, two, three = line_of(tweed), line_of(other), line_of(third)
    address = f"{reverse('combine')}?orders={one.order.number}, {two.order.number}"
    page = plainly(desk.get(address))
    assert f"{three}" not in page
    mark = re.search(r'name="accept_all" value="(\w+)">Make all 2 warps', page)[1]
    assert Warp.objects.count() == 0
    after = plainly(desk.post(address, {"accept_all": mark}, follow=True))
    assert sorted(warp.parts.get().line_id for warp in Warp.objects.all()) == sorted([one.pk, two.pk])
    # The way on stands there: the two wait for a plan.
    assert "2 warps are not in the plan" in after
    assert "Look for a plan with them" in after


def test_what_was_not_seen_is_not_made(desk, tweed):
    other = make_spec(yarns={entry.letter: entry.yarn for entry in tweed.colourway_yarns.all()}, ends_per_dent=1)
    line_of(tweed), line_of(other)
    mark = re.search(r'name="accept_all" value="(\w+)"', plainly(desk.get(reverse("combine"))))[1]
    line_of(tweed, pieces=3)
    page = plainly(desk.post(reverse("combine"), {"accept_all": mark}, follow=True))
    assert "other warps are proposed" in page
    assert not Warp.objects.exists()
