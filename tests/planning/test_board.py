"""The loom board: what it shows, and warps moved on it by hand."""

import re
import sqlite3
from datetime import date, datetime, timedelta
from decimal import Decimal
from itertools import chain
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from mill import jobs
from mill.refusal import Refusal
from planning import board as board_room
from planning.board import Bar
from planning.models import Loom, PlanRun, Slot, Warp
from planning.services import board, feeds, plans
from planning.services.standing import standing
from planning.shed_plan import time_plan
from tests.make import make_loom
from tests.planning.busy_mill import make_busy_mill

pytestmark = pytest.mark.django_db
LONDON = ZoneInfo("Europe/London")
NOW = datetime(2026, 3, 2, 6, tzinfo=LONDON)  # a Monday


@pytest.fixture
def mill(planner):
    """Three looms, nine warps, one of them in loom 1, and a plan of them in force."""
    make_busy_mill(looms=3, warps=9, cloths=2, starts=timezone.localdate(), planner=planner)
    return plans.put_in_force(plans.make_plan(), by=planner)


def orders(run):
    return {
        loom.code: list(run.slots.filter(loom=loom).order_by("position").values_list("warp__number", flat=True))
        for loom in Loom.objects.all()
    }


def last_of(run, loom):
    return run.slots.filter(loom__code=loom).latest("position").warp


def loose(run):
    """A warp that is in no loom, and a loom it does not stand on."""
    slot = run.slots.exclude(warp__state__in=plans.IN_LOOM).order_by("-position", "loom__code").first()
    other = Loom.objects.exclude(pk=slot.loom_id).order_by("code").first()
    return slot.warp, other


def test_a_move_is_a_copy_timed_exactly_and_changes_nothing_else(mill, planner):
    warp, loom = loose(mill)
    before = orders(mill)
    turn = 1 if loom.code == "1" else 0
    copy = board.move(mill, warp, loom=loom, turn=turn, by=planner)
    assert copy.state == PlanRun.OFFERED
    assert orders(mill) == before
    moved = orders(copy)
    assert moved[loom.code][turn] == warp.number
    assert sorted(chain(*moved.values())) == sorted(chain(*before.values()))
    there = standing(by_hand=True).wound_in(mill.explained["winding"])
    exact = time_plan(there.shed, {code: [str(number) for number in order] for code, order in moved.items()})
    for slot in copy.slots.select_related("warp"):
        placed = exact.placements[str(slot.warp.number)]
        assert slot.loom.code == placed.loom
        # Asked for again a moment later, it may begin a minute later.
        assert abs((slot.weaving_stops_at - there.day_of(placed.end)).total_seconds()) <= 120
    assert f"Warp {warp.number} on loom {loom.code}" in copy.explained["said"]


def test_a_moment_falls_between_the_warps_whose_middle_it_passes(mill):
    warp, loom = loose(mill)
    slots = list(mill.slots.filter(loom=loom).order_by("position"))
    after_all = slots[-1].weaving_stops_at + timedelta(days=1)
    assert board.turn_for(mill, loom, after_all, but=warp) == len(slots)
    first = slots[0]
    assert board.turn_for(mill, loom, first.setup_starts_at, but=warp) == 0
    assert board.turn_for(mill, loom, first.weaving_stops_at, but=warp) == 1
    copy = board.move(mill, warp, loom=loom, at=after_all)
    assert orders(copy)[loom.code][-1] == warp.number


def test_what_is_woven_out_has_no_turn_any_more_and_makes_no_loom_stand(desk, mill):
    out = mill.slots.get(warp__state=Warp.WEAVING)
    Warp.objects.filter(pk=out.warp_id).update(state=Warp.WOVEN_OUT)
    Slot.objects.filter(pk=out.pk).update(late_min=90)
    first = mill.slots.filter(loom=out.loom).exclude(pk=out.pk).earliest("position")
    other = last_of(mill, "2")
    Warp.objects.filter(pk=first.warp_id).update(state=Warp.WEAVING, loom=out.loom)
    table = desk.get("/looms/board/?view=table").content.decode()
    turns = dict(re.findall(r'id="row-(\d+)".*?<td class="number">(\d+|–)</td>', table, re.DOTALL))
    assert turns[str(out.warp.number)] == "–"
    assert turns[str(first.warp.number)] == "1"
    leaf = desk.get("/looms/board/?span=quarter").content.decode()
    behind = mill.slots.filter(loom=out.loom).count() - 1
    assert f"{out.loom.kind}: {behind} warps" in leaf
    assert "late in part" not in leaf
    looms = desk.get("/looms/").content.decode()
    assert "nothing late" in looms
    assert f"Warp {first.warp.number}, weaving" in looms
    # Dropped right behind what hangs now, it is woven next.
    copy = board.move(mill, other, loom=out.loom, at=first.weaving_stops_at)
    assert orders(copy)[out.loom.code][:2] == [first.warp.number, other.number]
    elsewhere = board.what_is_different(copy, mill)
    assert first.warp_id not in elsewhere
    assert other.pk in elsewhere


def test_a_loom_that_can_t_take_it_says_why_with_both_numbers(mill):
    narrow = make_loom(code="9", reed_space_cm=Decimal(100))
    warp, _ = loose(mill)
    with pytest.raises(Refusal, match=rf"Loom 9 can't take warp {warp.number}: it needs \d+\.\d cm .* has 100\.0 cm"):
        board.move(mill, warp, loom=narrow)


def test_a_held_loom_takes_nothing_and_says_what_holds_it(mill):
    warp, loom = loose(mill)
    Loom.objects.filter(pk=loom.pk).update(is_held=True, held_reason="broken picking stick")
    with pytest.raises(Refusal, match="broken picking stick"):
        board.move(mill, warp, loom=Loom.objects.get(pk=loom.pk))
    # What stands on it may be moved away, or stay.
    away = last_of(mill, loom.code)
    third = Loom.objects.exclude(pk=loom.pk).get(pk__in=Loom.objects.filter(is_held=False).exclude(code="1"))
    copy = board.move(mill, away, loom=third)
    assert copy.slots.get(warp=away).loom == third
    plans.refuse_plan(copy, by=None)


def test_what_is_to_start_soon_stays_but_on_a_held_loom(desk, mill):
    first = mill.slots.filter(loom__code="2").earliest("position").warp
    stays = rf'aria-label="Warp {first.number},[^"]*starts soon: stays"'
    assert re.search(stays, desk.get("/looms/board/?span=quarter").content.decode())
    Loom.objects.filter(code="2").update(is_held=True, held_reason="broken picking stick")
    assert not re.search(stays, desk.get("/looms/board/?span=quarter").content.decode())


def test_what_hangs_in_a_loom_moves_no_more_and_nothing_goes_before_it(mill):
    hangs = Warp.objects.get(state=Warp.WEAVING)
    warp, _ = loose(mill)
    two = Loom.objects.get(code="2")
    with pytest.raises(Refusal, match="is weaving in loom 1; it does not move"):
        board.move(mill, hangs, loom=two)
    with pytest.raises(Refusal, match=f"Warp {hangs.number} hangs in loom 1; nothing can go before it"):
        board.move(mill, warp, loom=Loom.objects.get(code="1"), turn=0)


def test_a_move_to_where_it_stands_is_said_to_be_none(mill):
    warp = last_of(mill, "2")
    with pytest.raises(Refusal, match="has that turn on loom 2 already"):
        board.move(mill, warp, loom=Loom.objects.get(code="2"))


def test_a_pinned_warp_asks_for_its_pin_to_be_taken_out(mill):
    warp, loom = loose(mill)
    here = mill.slots.get(warp=warp).loom
    plans.pin_warp(warp, by=None, loom=here)
    with pytest.raises(Refusal, match=f"is pinned to loom {here.code}"):
        board.move(mill, Warp.objects.get(pk=warp.pk), loom=loom)


def test_a_pin_comes_with_the_copy_and_not_before(mill, planner):
    warp, loom = loose(mill)
    copy = board.move(mill, warp, loom=loom, pin=True)
    assert Warp.objects.get(pk=warp.pk).pin_loom is None
    plans.put_in_force(copy, by=planner)
    assert Warp.objects.get(pk=warp.pk).pin_loom == loom


def test_moves_add_up_and_are_taken_back_one_by_one(mill, planner):
    warp, loom = loose(mill)
    first = board.move(mill, warp, loom=loom)
    other = next(
        slot.warp
        for slot in first.slots.exclude(loom=loom).exclude(warp__state=Warp.WEAVING).select_related("warp")
        if slot.warp != warp
    )
    second = board.move(first, other, loom=loom)
    assert orders(second)[loom.code][-2:] == [warp.number, other.number]
    assert board.take_back(second, by=None) == first
    assert board.take_back(first, by=None) == mill
    assert {run.state for run in PlanRun.objects.exclude(pk=mill.pk)} == {PlanRun.REFUSED}
    with pytest.raises(Refusal, match="no move by hand"):
        board.take_back(mill, by=None)


def test_the_steps_that_led_to_a_plan_in_force_wait_no_longer(mill, planner):
    warp, loom = loose(mill)
    first = board.move(mill, warp, loom=loom)
    hangs = int(loom.code == "1")
    second = board.move(first, warp, loom=loom, turn=hangs) if orders(first)[loom.code][hangs] != warp.number else first
    plans.put_in_force(second, by=planner)
    assert not PlanRun.objects.filter(state=PlanRun.OFFERED).exists()


# On the page


def test_the_board_shows_every_warp_in_words_as_leaf_and_as_table(desk, mill):
    leaf = desk.get("/looms/board/?span=quarter").content.decode()
    table = desk.get("/looms/board/?view=table").content.decode()
    for slot in mill.slots.select_related("warp", "loom"):
        assert f'data-warp="{slot.warp.number}"' in leaf
        assert f'id="row-{slot.warp.number}"' in table
    assert "weaving now" in leaf
    assert 'aria-current="true"' in leaf


def test_the_sieve_leaves_the_warps_of_a_cloth_and_fades_the_others(desk, mill):
    cloth = mill.slots.first().warp.parts.get().spec.cloth
    meant = mill.slots.filter(warp__parts__spec__cloth=cloth).count()
    table = desk.get(f"/looms/board/?view=table&cloth={cloth.code}").content.decode()
    assert table.count('id="row-') == meant
    leaf = desk.get(f"/looms/board/?span=quarter&cloth={cloth.code}").content.decode()
    assert leaf.count('class="bar faint') + leaf.count("inloom faint") == mill.slots.count() - meant
    yarn = mill.slots.first().warp.yarns.first().yarn
    assert (
        f'id="row-{mill.slots.first().warp.number}"'
        in desk.get(f"/looms/board/?view=table&yarn={yarn.code}").content.decode()
    )
    customer = mill.slots.first().warp.parts.get().line.order.customer
    assert (
        f'id="row-{mill.slots.first().warp.number}"'
        in desk.get(f"/looms/board/?view=table&customer={customer.code}").content.decode()
    )


def test_a_warp_is_moved_by_the_form_without_a_script(desk, mill):
    warp, loom = loose(mill)
    words = {"view": "table", "warp": warp.number, "loom": loom.code, "turn": ""}
    answer = desk.post("/looms/board/move/", words, follow=True)
    copy = PlanRun.objects.get(state=PlanRun.OFFERED)
    assert f"plan={copy.pk}" in answer.redirect_chain[0][0]
    assert "Nothing is changed until it is put in force" in answer.content.decode()
    refused = desk.post("/looms/board/move/", words | {"loom": "77"}, follow=True).content.decode()
    assert "There is no loom “77”" in refused
    back = desk.post(f"/looms/board/{copy.pk}/take-back/", {}, follow=True).content.decode()
    assert "The move is taken back" in back


def test_the_script_gets_the_leaf_or_the_reason(desk, mill):
    warp, loom = loose(mill)
    said = {"X-Board": "leaf"}
    answer = desk.post("/looms/board/move/", {"warp": warp.number, "loom": loom.code, "minute": "99999"}, headers=said)
    assert answer.status_code == 200
    assert answer.content.decode().lstrip().startswith('<section id="board"')
    assert "plan=" in answer["X-Board-Address"]
    for nonsense in ("noon", "9" * 20):
        answer = desk.post("/looms/board/move/", {"warp": warp.number, "loom": "2", "minute": nonsense}, headers=said)
        assert "is no minute of this leaf" in answer.json()["refusal"]
    hangs = Warp.objects.get(state=Warp.WEAVING)
    answer = desk.post("/looms/board/move/", {"warp": hangs.number, "loom": "2", "turn": "1"}, headers=said)
    assert answer.status_code == 400
    assert "does not move any more" in answer.json()["refusal"]


def test_the_board_takes_as_many_queries_for_thirty_warps_as_for_nine(desk, mill):
    with CaptureQueriesContext(connection) as few:
        desk.get("/looms/board/?span=quarter")
    Slot.objects.filter(run=mill).delete()
    Warp.objects.all().delete()
    make_busy_mill_again()
    plans.put_in_force(plans.make_plan(), by=None)
    with CaptureQueriesContext(connection) as many:
        desk.get("/looms/board/?span=quarter")
    assert len(many) <= len(few)


def make_busy_mill_again():
    Loom.objects.all().delete()
    make_busy_mill(looms=6, warps=30, cloths=2, starts=timezone.localdate())


def test_without_a_plan_the_board_sends_to_the_looms(desk):
    answer = desk.get("/looms/board/", follow=True)
    assert answer.redirect_chain[0][0] == "/looms/"


def test_an_address_that_is_nonsense_still_shows_a_leaf(desk, mill):
    assert desk.get("/looms/board/?span=decade&from=yesterday").status_code == 200
    for day in ("9999-12-31", "0001-01-01"):
        assert desk.get(f"/looms/board/?from={day}").status_code == 200
    assert desk.get("/looms/board/?plan=²").status_code == 404
    assert desk.get("/looms/board/?plan=4711").status_code == 404
    assert desk.get("/looms/board/?plan=x").status_code == 404


# Drawn


def test_late_is_said_in_words_and_drawn_as_a_line_beside_the_ink():
    bar = Bar("7", 0, 0, 60, 60, 600, "7 Fell", "Warp 7, late 3 d", "/warps/7/", late="late 3 d")
    svg = board_room.row_svg([bar], label="Loom 1", closed=[], marks=[], minutes=600, now=None)
    assert "late 3 d" in svg
    assert "zigzag" in svg
    assert "zigzag" not in board_room.row_svg(
        [Bar("7", 0, 0, 60, 60, 600, "7", "Warp 7", "/w/")], label="", closed=[], marks=[], minutes=600, now=None
    )


def test_what_people_typed_is_escaped_in_the_drawing():
    bar = Bar("7", 0, 0, 0, 0, 600, '<b>"x"', '<i>"y"', "/warps/7/", pin="pinned")
    svg = board_room.row_svg([bar], label='<u>"', closed=[], marks=[], minutes=600, now=None)
    assert "<b>" not in svg
    assert "<i>" not in svg
    assert "<u>" not in svg


def test_a_bar_that_lies_partly_beside_the_leaf_is_cut_to_it():
    bar = Bar("7", 0, -500, -400, -400, 300, "7", "Warp 7", "/w/")
    svg = board_room.row_svg([bar], label="", closed=[(-100, 50)], marks=[], minutes=600, now=700)
    assert 'x="0%" width="50.0%"' in svg
    assert 'd="M0 0h50v' in svg
    assert "now" not in svg


def test_the_board_of_a_day_in_spring_begins_on_its_monday(desk, mill):
    page = desk.get("/looms/board/?span=week&from=2026-04-01").content.decode()
    assert "Mon 30 Mar" in page
    assert date(2026, 3, 30).weekday() == 0


# A warp's place


def test_a_warp_is_pinned_moved_and_let_go_on_its_page(desk, mill):
    warp, loom = loose(mill)
    address = f"/warps/{warp.number}/place/"
    assert b"takes it" in desk.get(address).content
    moment = (timezone.localtime() + timedelta(days=21)).replace(hour=10, minute=0)
    moment -= timedelta(days=max(moment.weekday() - 4, 0))
    said = {"loom": loom.pk, "starts_at": f"{moment:%Y-%m-%dT%H:%M}", "act": "pin"}
    assert b"is pinned to loom" in desk.post(address, said, follow=True).content
    slot = plans.make_plan().slots.get(warp=warp)
    assert (slot.loom, slot.weaving_starts_at) == (loom, moment.replace(second=0, microsecond=0))
    assert b"The pin of" in desk.post(address, {"act": "unpin"}, follow=True).content
    answer = desk.post(address, {"loom": loom.pk, "act": "move"}, follow=True)
    assert b"Nothing is changed until it is put in force" in answer.content


def test_a_pin_to_a_moment_in_which_the_loom_is_closed_says_when_it_opens(desk, mill):
    warp, loom = loose(mill)
    day = timezone.localdate() + timedelta(days=14)
    sunday = day + timedelta(days=6 - day.weekday())
    said = {"loom": loom.pk, "starts_at": f"{sunday}T10:00", "act": "pin"}
    page = desk.post(f"/warps/{warp.number}/place/", said).content.decode()
    assert f"Loom {loom.code} is closed on Sun" in page
    assert "It opens Mon" in page
    page = desk.post(f"/warps/{warp.number}/place/", {"act": "pin"}).content.decode()
    assert "Choose the loom to pin it to" in page


def test_a_warp_in_a_loom_has_no_place_to_choose(desk, mill):
    hangs = Warp.objects.get(state=Warp.WEAVING)
    page = desk.get(f"/warps/{hangs.number}/place/").content.decode()
    assert "does not move any more" in page
    assert "Pin it there" not in page


@pytest.mark.skipif("connection.vendor != 'sqlite'", reason="the limit is SQLite's")
def test_a_plan_with_more_lines_than_sqlite_takes_by_their_keys_is_shown(desk, planner):
    make_busy_mill(looms=3, warps=70, cloths=2, starts=timezone.localdate(), planner=planner)
    run = plans.put_in_force(plans.make_plan(), by=planner)
    jobs.settle()
    # A thousand, as it comes; with sixty there need not be a thousand warps.
    before = connection.connection.setlimit(sqlite3.SQLITE_LIMIT_EXPR_DEPTH, 60)
    try:
        for address in (
            "/looms/board/",
            "/looms/board/?view=table",
            f"/looms/plans/{run.pk}/",
            "/looms/",
            "/looms/1/",
            reverse("shed_feed", args=[feeds.make_link(what="shed", label="Shed", by=planner)[1]]),
        ):
            assert desk.get(address).status_code == 200
        slot = run.slots.order_by("-position").first()
        board.move(run, slot.warp, loom=Loom.objects.exclude(pk=slot.loom_id).first())
        assert standing().warps
    finally:
        connection.connection.setlimit(sqlite3.SQLITE_LIMIT_EXPR_DEPTH, before)


def test_a_number_as_long_as_a_book_is_no_number_of_anything(desk, mill):
    """What pages write into addresses and forms themselves; a program that counts to 4,300 digits gives up there."""
    long = "9" * 5_000
    assert desk.get("/looms/board/", {"plan": long}).status_code == 404
    assert desk.get("/yarn/share-out/", {"page": long}).status_code == 200
    assert desk.get("/tickets/print/", {"ticket": long}).status_code == 200
    assert desk.post("/finishing/", {"step": "scour", "pieces": long}).status_code == 422
    assert desk.post("/tickets/next/", {"warp": long}, follow=True).status_code == 200
    assert desk.post("/orders/figures/", {"of": f"1/{long}"}).status_code == 200
    warp = Warp.objects.latest("number")
    moved = desk.post(reverse("warp_move", args=[warp.number]), {"part": long}, follow=True)
    assert "No part is chosen." in moved.content.decode()
