"""Today: each thing that is the matter stands there once, with the one thing to do about it."""

from datetime import date, timedelta

import pytest
from django.db import transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django.utils.html import escape

from inventory import services as inventory
from inventory.models import Delivery
from mill import jobs, roles, tokens
from planning.models import Loom, OrderLine, Piece, PlanRun, Slot, Warp
from planning.services import looms, plans, working_out
from planning.views.today import chapters
from planning.views.today.entry import SHOWN
from tests.make import make_line, make_loom, make_person, make_spec, make_ticket, make_warp, make_yarn

pytestmark = pytest.mark.django_db


def test_an_empty_mill_is_told_where_to_begin(desk):
    assert b"The book is being begun" in desk.get("/").content


def test_a_line_that_is_overdue_and_one_that_waits_stand_there(desk):
    today = timezone.localdate()
    overdue = make_line(due_on=today - timedelta(days=1))
    waiting = make_line(due_on=today + timedelta(days=5))
    far = make_line(due_on=today + timedelta(days=200))
    page = desk.get("/").content.decode()
    assert str(overdue) in page
    assert str(waiting) in page
    assert str(far) not in page


def test_of_a_line_with_pieces_on_a_warp_those_wait_that_are_on_none(desk):
    spec = make_spec()
    line = make_line(spec=spec, due_on=timezone.localdate() + timedelta(days=30))
    make_warp(spec=spec, lines=[line])
    # Ordered once the warp was made: 2 of the 5 pieces are on it.
    OrderLine.objects.filter(pk=line.pk).update(pieces=5)
    assert f"{line.cloth}, 3 pieces due" in desk.get("/").content.decode()


def test_a_late_warp_a_short_yarn_and_a_standing_loom_stand_there(desk, planner):
    yarn = make_yarn()
    spec = make_spec(yarns={"A": yarn, "B": yarn})
    make_loom(code="1")
    warp = make_warp(spec=spec, lines=[make_line(spec=spec, due_on=timezone.localdate())])
    with transaction.atomic():
        working_out.warps_changed([warp.pk])
    jobs.settle()
    plans.put_in_force(plans.make_plan(), by=planner)
    jobs.settle()
    page = desk.get("/").content.decode()
    slot = Slot.objects.open().get(run__state=PlanRun.IN_FORCE, warp=warp)
    assert f"{warp}</a> on loom {slot.loom} is finished {slot.days_late} day" in page
    assert f"{yarn}</a>" in page
    assert "kg short on" in page
    assert "Loom 1</a> stands" in page
    looms.hold_loom(Loom.objects.get(), reason="a broken shaft", by=planner)
    assert "Loom 1</a> is held (a broken shaft), and 1 warp is planned on it" in desk.get("/").content.decode()
    assert "1 warp is planned on it still" in desk.get("/looms/1/").content.decode()


def test_a_lot_in_quarantine_and_an_overdue_delivery_stand_there(desk, planner):
    yarn = make_yarn()
    lot = inventory.receive(yarn=yarn, grams=1000, label="L1", dye_lot="D", by=planner).lot
    inventory.quarantine(lot=lot, reason="webbing in a cone", by=planner)
    Delivery.objects.create(number="PO9", yarn=yarn, ordered_g=5, expected_on=date(2026, 1, 1))
    Delivery.objects.create(number="PO10", yarn=yarn, ordered_g=5, expected_on=timezone.localdate())
    page = desk.get("/").content.decode()
    assert "webbing in a cone" in page
    assert "PO9" in page
    # What is to come today is not late.
    assert page.count("was expected") == page.count("is expected today") == 1


def test_a_warp_that_cannot_be_woven_says_so(desk):
    spec = make_spec()
    warp = make_warp(spec=spec, lines=[make_line(spec=spec)])
    with transaction.atomic():
        working_out.warps_changed([warp.pk])
    jobs.settle()
    Warp.objects.filter(pk=warp.pk).update(loom=make_loom(reed_space_cm=50, code="N"))
    with transaction.atomic():
        working_out.warps_changed([warp.pk])
    jobs.settle()
    assert "Loom N can&#x27;t weave this" in desk.get("/").content.decode()


def test_it_takes_as_many_queries_for_many_as_for_few(desk, django_assert_max_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    today = timezone.localdate()
    make_line(due_on=today - timedelta(days=1))
    with CaptureQueriesContext(connection) as few:
        desk.get("/")
    for _ in range(9):
        make_line(due_on=today - timedelta(days=1))
    with django_assert_max_num_queries(len(few)):
        desk.get("/")


@pytest.fixture
def at_the_desk_as(db):
    def sit(*held):
        client = Client()
        client.force_login(make_person("merle " + " ".join(held), *held, first_name="Merle"))
        return client

    return sit


@pytest.fixture
def planned(planner):
    """A warp in a plan in force that winds it today."""
    yarn = make_yarn()
    inventory.receive(yarn=yarn, grams=9_000_000, label="S1", dye_lot="D1", by=planner)
    spec = make_spec(yarns={"A": yarn, "B": yarn})
    make_loom(code="1")
    warp = make_warp(spec=spec, lines=[make_line(spec=spec, due_on=timezone.localdate() + timedelta(days=90))])
    with transaction.atomic():
        working_out.warps_changed([warp.pk])
    jobs.settle()
    plans.put_in_force(plans.make_plan(), by=planner)
    Slot.objects.update(winding_on=timezone.localdate(), setup_starts_at=timezone.now() + timedelta(hours=2))
    return warp


def titles(warp):
    """The chapters in which a warp stands."""
    return {row.title for row in chapters() if any(entry.what == str(warp) for entry in row.entries)}


def test_a_warp_stands_with_whoever_has_the_next_step(planned):
    assert titles(planned) == {"Tickets to issue", "Yarn to draw"}
    make_ticket(planned)
    assert titles(planned) == {"Yarn to draw"}
    for state, chapter in [
        (Warp.YARN_DRAWN, {"To wind"}),
        (Warp.WOUND, {"To gait and begin"}),
        (Warp.GAITED, {"To gait and begin"}),
        (Warp.WEAVING, set()),
    ]:
        Warp.objects.filter(pk=planned.pk).update(state=state)
        assert titles(planned) == chapter, state
    # What goes into a loom in three days is not today's.
    Warp.objects.filter(pk=planned.pk).update(state=Warp.WOUND)
    Slot.objects.update(setup_starts_at=timezone.now() + timedelta(days=3))
    assert titles(planned) == set()


def test_each_role_sees_its_own_work_and_where_the_rest_is(planned, at_the_desk_as):
    make_line(due_on=timezone.localdate() - timedelta(days=1))
    Warp.objects.filter(pk=planned.pk).update(state=Warp.YARN_DRAWN)
    warper = at_the_desk_as(roles.WARPER).get("/").content.decode()
    assert "Wind it</a>" in warper
    assert "Tell the customer" not in warper
    assert ">Overdue</a>: 1" in warper
    planner = at_the_desk_as(roles.PLANNER).get("/").content.decode()
    assert "Tell the customer</a>" in planner
    assert "Wind it" not in planner
    assert ">To wind</a>: 1" in planner
    both = at_the_desk_as(roles.PLANNER, roles.WARPER).get("/").content.decode()
    assert "Tell the customer</a>" in both
    assert "Wind it</a>" in both
    # Whoever only reads, or keeps the book and does nothing else in it, sees all of it; who reads, without a way to act.
    for held, ends in ((roles.READER, "</span>"), (roles.OWNER, "</a>")):
        page = at_the_desk_as(held).get("/").content.decode()
        assert f"Tell the customer{ends}" in page
        assert f"Wind it{ends}" in page


def test_the_floor_is_one_press_away_and_only_a_planner_is_sent_to_plan(planned, at_the_desk_as):
    weaver = at_the_desk_as(roles.WEAVER).get("/").content.decode()
    assert f'href="{reverse("floor_looms")}">Floor</a>' in weaver
    assert "Plan the looms" not in weaver
    assert "Plan the looms" in at_the_desk_as(roles.PLANNER).get("/").content.decode()
    assert ">Floor</a>" not in at_the_desk_as(roles.READER).get("/").content.decode()


def test_every_chapter_is_somebodys_and_every_role_but_the_reader_has_one(db):
    rows = chapters()
    assert all(row.roles for row in rows)
    assert set().union(*(row.roles for row in rows)) == roles.EVERYBODY - {roles.READER}


def test_a_plan_waits_for_a_yes_until_it_is_given(planned, planner):
    offered = plans.make_plan()
    assert titles(offered) == {"Waiting for a decision"}
    plans.put_in_force(offered, by=planner)
    assert titles(offered) == set()
    assert PlanRun.objects.filter(state=PlanRun.OFFERED).count() == 0


def test_an_act_says_what_it_changes(desk, planner):
    yarn = make_yarn()
    spec = make_spec(yarns={"A": yarn, "B": yarn})
    make_loom(code="1")
    due_on = timezone.localdate() + timedelta(days=2)
    warps = [make_warp(spec=spec, lines=[make_line(spec=spec, due_on=due_on)]) for _ in range(2)]
    with transaction.atomic():
        working_out.warps_changed([warp.pk for warp in warps])
    jobs.settle()
    plans.put_in_force(plans.make_plan(), by=planner)
    jobs.settle()
    waits = make_line(due_on=due_on)
    make_line(due_on=due_on, spec=waits.cloth.specs.get(), colourway=waits.colourway)
    found = {row.title: row.entries for row in chapters()}
    assert found["Short of yarn"][0].effect == "2 warps from that day on wait for it"
    assert found["On no warp yet"][0].effect == "1 line of the same cloth and colours waits too"
    assert found["Looms that stand"][0].effect.endswith("by the clock until then")


def test_pieces_wait_at_their_step_and_go_to_their_customer(desk):
    line = make_line(due_on=timezone.localdate() - timedelta(days=1))
    spec = line.cloth.specs.get()
    for number in ("7-1", "7-2"):
        Piece.objects.create(
            number=number, spec=spec, line=line, woven_on=timezone.localdate(), grey_length_m=60, grey_width_cm=160
        )
    found = {row.title: row for row in chapters()}
    (entry,) = found["Waiting to be finished"].entries
    assert (entry.what, entry.effect) == ("The grey perch", "2 pieces due by today")
    assert entry.matter.startswith("2 pieces, 120 m, wait; first 7-1")
    Piece.objects.update(state=Piece.READY)
    found = {row.title: row for row in chapters()}
    assert found["Waiting to be finished"].n == 0
    (entry,) = found["Ready to send"].entries
    assert entry.effect == "2 pieces overdue"
    assert line.order.customer.code in entry.act_address


def test_the_owner_hears_of_a_book_without_a_backup(desk, settings, tmp_path):
    from mill.models import Change

    settings.BACKUPS_DIR = tmp_path
    own = [row for row in chapters() if row.title == "The book itself"]
    assert own[0].n == 0
    Change.objects.create(at=timezone.now() - timedelta(days=5), kind="mill.mill", row_pk=1, what="~", history_id=1)
    assert b"there is none in the folder of backups" in desk.get("/").content
    (tmp_path / f"shedbook-{timezone.localdate() - timedelta(days=4)}-020000.zip").write_text("")
    assert b"4 days of work would be lost" in desk.get("/").content
    (tmp_path / f"shedbook-{timezone.localdate()}-020000.zip").write_text("")
    assert b"would be lost" not in desk.get("/").content


def test_a_program_reads_the_day_book_of_whoever_it_asks_for(planned, at_the_desk_as):
    """The same chapters, counts and acts as on the page, for each role; each act's address opens to whoever has it."""
    overdue = make_line(due_on=timezone.localdate() - timedelta(days=1))
    Warp.objects.filter(pk=planned.pk).update(state=Warp.YARN_DRAWN)
    all_titles = {row.title for row in chapters()}
    for role in roles.ROLES:
        client = at_the_desk_as(role)
        page, told = client.get("/").content.decode(), client.get("/api/today/").json()
        own = {row["title"] for row in told["chapters"]}
        sees_all = role in {roles.OWNER, roles.READER}
        assert own == ({row.title for row in chapters() if row.roles & {role}} if not sees_all else all_titles)
        assert own.isdisjoint(row["title"] for row in told["elsewhere"])
        for row in told["chapters"]:
            assert row["n"] == len(row["entries"])
            assert (f"<li>{row['all_well']}</li>" in page) == (not row["n"])
            for entry in row["entries"]:
                way = f'<a class="act" href="{entry["act_address"]}">{entry["act"]}</a>'
                assert (way in page) == (role != roles.READER)
                assert entry["act"] in page
                assert client.get(entry["act_address"]).status_code == 200, entry
                assert escape(entry["effect"]) in page
        for row in told["elsewhere"]:
            assert f'href="{row["list_address"]}">{row["title"]}</a>: {row["n"]}' in page
    told = at_the_desk_as(roles.PLANNER, roles.WARPER).get("/api/today/").json()
    found = {row["title"]: row["entries"] for row in told["chapters"]}
    assert [(one["what"], one["act"]) for one in found["To wind"]] == [(str(planned), "Wind it")]
    assert found["To wind"][0]["effect"].startswith("loom 1 waits for it")
    assert [one["what"] for one in found["Overdue"]] == [str(overdue)]


def test_a_program_gets_more_than_the_page_shows_and_no_more_than_there_may_be(desk):
    today = timezone.localdate()
    for _ in range(SHOWN + 2):
        make_line(due_on=today - timedelta(days=1))
    (row,) = [row for row in desk.get("/api/today/").json()["chapters"] if row["title"] == "Overdue"]
    assert (row["n"], len(row["entries"])) == (SHOWN + 2, SHOWN + 2)
    assert "and 2 more</a>" in desk.get("/").content.decode()
    assert desk.get("/api/today/").json()["next"]["address"]


def test_a_token_narrowed_to_a_role_reads_that_role_s_day(planned, planner):
    Warp.objects.filter(pk=planned.pk).update(state=Warp.YARN_DRAWN)
    _, secret = tokens.make_token(name="The creel", may_write=False, held=[roles.WARPER], by=planner)
    told = Client().get("/api/today/", headers={"Authorization": f"Bearer {secret}"}).json()
    assert {row["title"] for row in told["chapters"]} == {"Yarn to draw", "To wind"}
    assert Client().get("/api/today/").status_code in {401, 403}
