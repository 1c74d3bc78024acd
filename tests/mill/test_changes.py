"""The account of changes: nothing left out, nothing taken away, and read in words."""

import csv
import time
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from io import StringIO
from threading import Event, Thread

import pytest
from django.db import Error, connection, transaction
from django.test import Client
from django.utils import timezone

from inventory import services as store
from inventory.models import Place, Supplier, YarnLot
from mill import changes, jobs, people, roles
from mill.models import Change, Job, Mill, Person
from planning.models import Beam, Closure, Customer, Loom, PlanRun, ShiftPattern
from planning.services import cloths, feeds, importing, improving, looms, pieces, plans, rulings, tickets
from tests.make import (
    make_customer,
    make_delivery,
    make_line,
    make_loom,
    make_lot,
    make_spec,
    make_ticket,
    make_warp,
    make_yarn,
)
from tests.planning.floor_walk import cut, weaving_warp


def account(record, **only):
    rows = Change.objects.filter(kind=record._meta.label_lower, row_pk=record.pk, **only)
    return list(changes.told(rows.order_by("pk")))


def said(change):
    return [(one.label, one.before, one.after) for one in change.altered]


def test_a_changed_figure_is_told_with_its_unit_and_who_changed_it(planner):
    beam = Beam(code="B1", width_cm=180, barrel_mm=150, flange_mm=700, tare_kg=80)
    looms.write_down(beam, by=planner)
    beam.width_cm = Decimal("190.5")
    looms.write_down(beam, by=planner)
    made, changed = account(beam)
    assert (made.what, made.by, made.record) == (Change.MADE, planner, "B1")
    assert (changed.what, changed.by) == (Change.CHANGED, planner)
    assert said(changed) == [("Width (cm)", "180", "190.5")]
    looms.strike_out(beam, by=planner)
    ended = changes.told(Change.objects.filter(kind="planning.beam", what=Change.ENDED)).get()
    assert (ended.record, ended.by) == ("B1", planner)


def test_what_points_at_another_record_is_told_by_its_name(planner):
    loom = make_loom()
    pattern = ShiftPattern(name="Nights", hours="Mon-Fri 22:00-06:00")
    looms.write_down(pattern, by=planner)
    before, loom.shift_pattern = str(loom.shift_pattern), pattern
    looms.write_down(loom, by=planner)
    assert said(account(loom)[-1]) == [("Shift pattern", before, "Nights")]


def test_changes_in_bulk_are_told_row_by_row_with_the_reason(planner):
    ours = [make_loom(code="P1"), make_loom(code="P2")]
    n = changes.update(Loom.objects.all(), by=planner, why="The batten broke.", is_held=True, held_reason="Batten")
    assert n == 2
    for loom in ours:
        last = account(loom)[-1]
        assert (last.by, last.why) == (planner, "The batten broke.")
        assert said(last) == [("Held", "no", "yes"), ("Held reason", "nothing", "Batten")]


def held(planner):
    loom = make_loom()
    looms.hold_loom(loom, reason="Batten", by=planner)
    return loom


def let_go(planner):
    loom = held(planner)
    looms.let_go(loom, by=planner)
    return loom


def moved(planner):
    lot = make_lot()
    to = Place.objects.create(code="BAY-9", name="Bay 9", key="bay 9")
    store.move(lot=lot, place=to, by=planner)
    return lot


def quarantined(planner):
    lot = make_lot()
    store.quarantine(lot=lot, reason="Larvae", by=planner)
    return lot


def closed(planner):
    now = timezone.now()
    return looms.write_down(Closure(name="Fair", starts_at=now, stops_at=now + timedelta(days=1)), by=planner)


def mill_valued(planner):
    mill = Mill.the_one()
    mill.tuners = 7
    return looms.write_down(mill, by=planner)


def supplier_written(planner):
    return store.write_record(row=Supplier(code="LOAN", name="Loanhead"), changed=[], by=planner)


def yarn_written(planner):
    yarn = make_yarn()
    yarn.name = "Sedge"
    return store.write_yarn(yarn=yarn, changed=["name"], shares={}, by=planner)


def delivery_written(planner):
    delivery = make_delivery()
    delivery.is_closed = True
    return store.write_delivery(delivery=delivery, changed=["is_closed"], by=planner)


def triggers_written(planner):
    mill = Mill.the_one()
    mill.save()
    mill.store_inspect_days = 9
    store.write_triggers(mill=mill, changed=["store_inspect_days"], by=planner)
    return mill


def claim_dropped(planner):
    delivery = make_delivery()
    lot = make_lot(yarn=delivery.yarn, grams=9000, delivery=delivery)
    weighed = {lot.pk: (9000, Decimal(17))}
    claim = store.make_claim(delivery=delivery, invoiced_g=10_000, weighed=weighed, by=None)
    return store.drop_claim(claim=claim, answer="Too little.", by=planner)


def cloth_put_away(planner):
    cloth = make_spec().cloth
    return cloths.change_cloth(cloth, code=cloth.code, name="Another name", is_in_use=False, by=planner)


def colourway_added(planner):
    spec = make_spec()
    yarns = {entry.letter: make_yarn() for entry in spec.colourway_yarns.all()}
    return cloths.add_colourway(spec.cloth, name="Slate", yarns=yarns, by=planner)


def colourway_renamed(planner):
    return cloths.rename_colourway(make_spec().cloth.colourways.get(), name="Slate", by=planner)


def pinned(planner):
    warp = make_warp()
    plans.pin_warp(warp, loom=make_loom(), by=planner)
    return warp


def feed_withdrawn(planner):
    link, _ = feeds.make_link(what="shed", label="The office", by=planner)
    feeds.withdraw_link(link, by=planner)
    return link


def ruled(planner):
    return rulings.refuse([(make_line().pk, 1), (make_line().pk, 1)], by=planner)


def ruling_taken_back(planner):
    ruling = ruled(None)
    rulings.take_back(ruling.pk, by=planner)
    return ruling


def piece_perched(planner):
    piece = cut(weaving_warp(None), None)
    size = {"length_m": Decimal(64), "width_cm": Decimal(160)}
    return pieces.perch_grey(piece, **size, mending_min=0, by=planner)


VERBS = [held, let_go, moved, quarantined, closed, mill_valued, supplier_written, yarn_written, delivery_written]
VERBS += [triggers_written, claim_dropped, cloth_put_away, colourway_added, colourway_renamed, pinned]
VERBS += [feed_withdrawn, ruled, ruling_taken_back, piece_perched]


@pytest.mark.parametrize("verb", VERBS)
def test_a_verb_leaves_a_line_with_its_person(planner, verb):
    last = account(verb(planner))[-1]
    assert last.by == planner


def test_what_is_decided_of_a_ticket_a_plan_and_a_job_names_its_person(planner):
    ticket = tickets.withdraw_ticket(make_ticket(make_warp()), why="wrong customer", by=planner)
    assert ticket.withdrawn_by == planner
    run = PlanRun.objects.create(rule="by hand", starts_at=timezone.now(), fingerprint="as it stood")
    plans.refuse_plan(run, by=planner)
    run.refresh_from_db()
    assert (run.by, run.decided_by, run.state) == (None, planner, PlanRun.REFUSED)
    job = improving.ask(seconds=20)
    jobs.stop(job, by=planner)
    job.refresh_from_db()
    assert (job.asked_by, job.stopped_by, job.state) == (None, planner, Job.FAILED)


def test_every_kind_of_record_that_pages_write_is_kept():
    kinds = set(changes.kept())
    from planning.views.mill import BOOKS

    assert {book.form._meta.model._meta.label_lower for book in BOOKS} <= kinds
    assert {model._meta.label_lower for model in (Customer, Loom, Supplier, Place, YarnLot, Mill)} <= kinds


def test_an_import_tells_whose_it_is(planner):
    importing.bring_in("suppliers", b"code,name,lead_time_days\nACRE,Acre Spinners,20\n", by=planner)
    assert [change.by for change in account(Supplier.objects.get())] == [planner]


@pytest.mark.parametrize("kind", ["planning.customer", "inventory.yarnlot", "mill.mill"])
def test_nobody_can_change_the_account_or_take_a_line_away(db, kind):
    make_customer(), make_lot(), Mill.objects.create(pk=1)
    versions = changes.kept()[kind].history.model._meta.db_table
    for statement in (
        f"UPDATE {versions} SET history_type = '-'",
        f"DELETE FROM {versions}",
        "UPDATE mill_change SET what = '-'",
        "DELETE FROM mill_change",
    ):
        with pytest.raises(Error, match="only added to"), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement)


def test_all_versions_of_all_kinds_are_guarded(db):
    standing = set(changes._standing())
    tables = {model.history.model._meta.db_table for model in changes.kept().values()}
    assert {f"told_{table}" for table in tables} | {f"kept_{table}" for table in tables} <= standing


# People

PASSWORDS = "four cones of fell wool", "nine dry cones of fell wool"


def test_what_becomes_of_a_person_is_told_and_never_the_password(planner):
    rowan = people.take_in(name="Rowan Pike", sign_in="rowan", password="", held=[roles.WARPER], by=planner)
    people.change(rowan, name="Rowan Pike", held=[roles.WARPER, roles.FINISHER], is_active=True, by=planner)
    people.set_password(rowan, password=PASSWORDS[0], by=planner)
    people.change(rowan, name="Rowan Pike", held=[roles.WARPER, roles.FINISHER], is_active=False, by=planner)
    # Written again as it was: nothing to tell.
    people.change(rowan, name="Rowan Pike", held=[roles.WARPER, roles.FINISHER], is_active=False, by=planner)
    made, roles_given, password_set, laid_aside = account(rowan.told_as)
    assert (made.what, made.record) == (Change.MADE, "Rowan Pike")
    assert {change.by for change in (made, roles_given, password_set, laid_aside)} == {planner}
    assert said(roles_given) == [("Roles", "warper", "warper, finisher")]
    ((label, before, _),) = said(password_set)
    assert (label, before) == ("Password set at", "nothing")
    assert said(laid_aside) == [("Works here", "yes", "no")]
    kept = str(list(Person.history.values())) + str(list(Person.objects.values()))
    assert not any(password in kept or rowan.password in kept for password in PASSWORDS)


def test_the_account_of_somebody_made_by_hand_begins_with_how_they_stood(planner):
    people.change(planner, name="Planner", held=[roles.OWNER, roles.WARPER], is_active=True, by=planner)
    first, changed = account(planner.told_as)
    assert (first.what, first.by) == (Change.MADE, None)
    assert said(changed) == [("Roles", "owner", "owner, warper")]


def test_what_is_told_of_people_is_read_by_who_may_read_their_page(desk, planner):
    rowan = people.take_in(name="Rowan Pike", sign_in="rowan", password="", held=[roles.READER], by=planner)
    address = f"/mill/changes/mill.person/{rowan.told_as.pk}/"
    assert address in desk.get(f"/mill/people/{rowan.pk}/").content.decode()
    assert "Rowan Pike" in desk.get(address).content.decode()
    assert "mill.person" in str(ask(desk)) or connection.vendor == "postgresql"
    reader = Client()
    reader.force_login(rowan)
    assert reader.get(address).status_code == 404
    assert "mill.person" not in reader.get("/mill/changes/").content.decode().replace('value="mill.person"', "")
    assert "mill.person" not in str(ask(reader))


# Cloths


def test_a_cloth_tells_of_its_route_and_its_yarns_too_and_only_of_what_differs(desk, planner):
    spec = make_spec()
    draft = cloths.draft_of(spec)
    moss = make_yarn(code="MOSS")
    begins = Change.objects.count()
    scour, press = draft.route
    (colourway,) = draft.colourways
    altered = replace(
        draft,
        route=[replace(scour, width_shrink_pct=scour.width_shrink_pct + 1), press],
        colourways=[replace(colourway, yarns={**colourway.yarns, "B": moss})],
    )
    cloths.edit_spec(spec, altered, by=planner)
    told = changes.told(Change.objects.filter(pk__gt=Change.objects.order_by("pk")[begins - 1].pk).order_by("pk"))
    told = [change for change in told if change.kind in ("planning.routestep", "planning.colourwayyarn")]
    assert [(change.kind, change.what, change.by) for change in told] == [
        ("planning.routestep", Change.CHANGED, planner),
        ("planning.colourwayyarn", Change.CHANGED, planner),
    ]
    assert told[0].record == "scour"
    assert told[1].record == f"{colourway.name}, letter B"
    assert said(told[1])[0][2] == str(moss)
    page = desk.get(f"/mill/changes/planning.cloth/{spec.cloth_id}/").content.decode()
    assert "route step" in page
    assert "MOSS" in page
    other = make_spec()
    assert "MOSS" not in desk.get(f"/mill/changes/planning.cloth/{other.cloth_id}/").content.decode()


def test_a_step_and_a_colourway_left_out_are_told_as_struck_out(planner):
    spec = make_spec()
    draft = cloths.draft_of(spec)
    cloths.edit_spec(spec, replace(draft, route=draft.route[:1]), by=planner)
    assert [step.name for step in spec.route_steps.all()] == ["scour"]
    ended = changes.told(Change.objects.filter(kind="planning.routestep", what=Change.ENDED)).get()
    assert (ended.record, ended.by) == ("press", planner)


# The page


def test_the_page_shows_filters_and_leaves_as_csv(desk, planner):
    loom = held(planner)
    words = desk.get("/mill/changes/").content.decode()
    assert "Held reason" in words
    assert "Planner" in words
    filtered = desk.get("/mill/changes/", {"kind": "planning.shiftpattern"}).content.decode()
    assert "Held reason" not in filtered
    rows = list(csv.reader(StringIO(desk.get("/mill/changes/", {"csv": 1}).content.decode("utf-8-sig"))))
    assert rows[0] == ["When", "Who", "Of", "Record", "Change", "Why"]
    assert rows[1][1:] == [
        "Planner",
        "loom",
        loom.code,
        "Held: no to yes; Held reason: nothing to Batten",
        "Batten",
    ]
    own = desk.get(f"/mill/changes/planning.loom/{loom.pk}/")
    assert f"Changes of loom {loom.code}" in own.content.decode()
    assert f"/mill/changes/planning.loom/{loom.pk}/" in desk.get(f"/looms/{loom.code}/").content.decode()


@pytest.mark.parametrize("address", ["planning.loom/999999/", "planning.nothing/1/", f"planning.loom/{10**30}/"])
def test_what_is_not_in_the_account_is_not_found(desk, address):
    assert desk.get(f"/mill/changes/{address}").status_code == 404


def test_the_page_asks_the_same_number_of_queries_for_many_changes(desk, planner, django_assert_max_num_queries):
    def n_queries():
        with django_assert_max_num_queries(60) as asked:
            assert desk.get("/mill/changes/").status_code == 200
        return len(asked)

    loom = make_loom(code="P1")
    changes.update(Loom.objects.all(), by=planner, ppm=100)
    few = n_queries()
    for n in range(30):
        changes.update(Loom.objects.filter(pk=loom.pk), by=planner, ppm=101 + n)
    assert n_queries() == few


# The feed


def ask(desk, **query):
    answer = desk.get("/api/changes/", query)
    assert answer.status_code == 200, answer.content
    return answer.json()


def older_transactions_end():
    """PostgreSQL numbers the transactions of all its databases in one row; other tests have theirs open beside us."""
    if connection.vendor != "postgresql":
        return
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_snapshot_xmax(pg_current_snapshot())::text::bigint")
        (now,) = cursor.fetchone()
        for _ in range(600):
            cursor.execute("SELECT pg_snapshot_xmin(pg_current_snapshot())::text::bigint")
            if cursor.fetchone()[0] >= now:
                return
            time.sleep(0.1)
    pytest.fail("another transaction is open for a minute")


@pytest.mark.django_db(transaction=True)
def test_the_feed_tells_each_change_once_and_goes_on_from_its_cursor(desk, planner):
    loom = held(planner)
    older_transactions_end()
    cursor, seen = "0-0", []
    while True:
        leaf = ask(desk, since=cursor, limit=1)
        seen += leaf["changes"]
        cursor = leaf["next"]
        if not leaf["has_more"]:
            break
    assert len({change["cursor"] for change in seen}) == len(seen) == Change.objects.count()
    assert (seen[-1]["kind"], seen[-1]["record"], seen[-1]["what"]) == ("planning.loom", loom.code, "changed")
    assert seen[-1]["who"] == "planner"
    assert desk.get(seen[-1]["address"]).status_code == 200
    assert ask(desk, since=cursor)["changes"] == []
    looms.let_go(loom, by=planner)
    older_transactions_end()
    assert [change["what"] for change in ask(desk, since=cursor)["changes"]] == ["changed"]


@pytest.mark.parametrize(
    "query", [{"since": "soon"}, {"since": "1-"}, {"since": "²-1"}, {"limit": "0"}, {"limit": "x"}]
)
def test_the_feed_refuses_what_it_cannot_read(desk, query):
    assert desk.get("/api/changes/", query).status_code == 400


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif("connection.vendor != 'postgresql'", reason="SQLite writes one transaction at a time.")
def test_the_feed_waits_for_a_transaction_that_began_earlier():
    """The earlier one writes first and is confirmed last; what came meanwhile is shown after it, not instead of it."""
    begun, may_end = Event(), Event()

    def earlier():
        try:
            with transaction.atomic():
                make_customer(code="EARLY")
                begun.set()
                assert may_end.wait(60)
        finally:
            connection.close()

    thread = Thread(target=earlier)
    thread.start()
    assert begun.wait(60)
    make_customer(code="LATER")
    meanwhile, cursor = changes.since("0-0", at_most=100)
    may_end.set()
    thread.join(60)
    older_transactions_end()
    rest, _ = changes.since(cursor, at_most=100)
    assert "LATER" not in [change.record for change in meanwhile]
    assert [change.record for change in (*meanwhile, *rest)] == ["EARLY", "LATER"]
