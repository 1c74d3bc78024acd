"""Feeds by secret address: what any calendar program or spreadsheet reads, and who is let in."""

import csv
import hashlib
import io
from datetime import UTC, datetime, timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from icalendar import Calendar

from mill import changes, roles
from mill.models import Change, KeptAnswer
from mill.refusal import Refusal
from planning.models import Closure, FeedLink, Loom, PlanRun, Slot
from planning.services import feeds, plans
from tests.make import make_customer, make_line, make_loom, make_lot, make_order, make_person, make_role
from tests.planning.busy_mill import make_busy_mill

pytestmark = pytest.mark.django_db


@pytest.fixture
def mill(planner):
    make_busy_mill(looms=2, warps=6, cloths=2, starts=timezone.localdate(), planner=planner)
    return plans.put_in_force(plans.make_plan(), by=planner)


@pytest.fixture
def address_of(planner):
    """The address of a new feed: of the shed, of a loom by its code, or of a list."""

    def make(what, *, by=planner):
        loom = None if what in feeds.PAGES else Loom.objects.get(code=what)
        link, secret = feeds.make_link(what="loom" if loom else what, loom=loom, label=f"Who reads {what}", by=by)
        if loom:
            return f"/calendar/{secret}/loom/{what}.ics"
        return f"/calendar/{secret}/shed.ics" if link.what == FeedLink.SHED else f"/feeds/{secret}/{what}.csv"

    return make


def read(address):
    answer = Client().get(address)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    return Calendar.from_ical(answer.content)


def read_csv(address):
    answer = Client().get(address)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    return list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))


# The shed and its looms as calendars


def test_a_calendar_is_as_new_as_the_times_in_it(mill, address_of):
    retimed = datetime(2026, 3, 2, 6, 30, tzinfo=UTC)
    PlanRun.objects.filter(pk=mill.pk).update(retimed_at=retimed)
    assert {event.decoded("dtstamp") for event in read(address_of("1")).walk("VEVENT")} == {retimed}


def test_the_shed_s_feed_has_every_set_up_and_every_warp_in_utc(mill, address_of):
    events = {str(event["uid"]): event for event in read(address_of("shed")).walk("VEVENT")}
    for slot in mill.slots.select_related("warp"):
        event = events[f"warp-{slot.warp.number}-weaving@shedbook"]
        assert event.decoded("dtstart") == slot.weaving_starts_at.replace(microsecond=0)
        assert event["dtstart"].to_ical().endswith(b"Z")
        assert event.decoded("dtend") == slot.weaving_stops_at.replace(microsecond=0)
        assert (f"warp-{slot.warp.number}-set-up@shedbook" in events) == bool(slot.setup_min)
    assert len(events) == mill.slots.count() + mill.slots.filter(setup_min__gt=0).count()


def test_a_loom_s_feed_has_its_own_warps_and_the_times_it_stands(mill, address_of):
    loom = Loom.objects.get(code="2")
    now = timezone.now()
    Closure.objects.create(name="Annual check", loom=loom, starts_at=now, stops_at=now + timedelta(days=1))
    Closure.objects.create(
        name="Of the other", loom=Loom.objects.get(code="1"), starts_at=now, stops_at=now + timedelta(days=1)
    )
    said = [str(event["summary"]) for event in read(address_of("2")).walk("VEVENT")]
    assert "Loom 2 stands: Annual check" in said
    assert not [one for one in said if "Of the other" in one]
    assert len([one for one in said if ": Warp" in one]) == Slot.objects.filter(run=mill, loom=loom).count()


def test_what_people_typed_is_escaped_and_comes_back_whole(mill, address_of):
    slot = mill.slots.select_related("warp").first()
    cloth = slot.warp.parts.get().spec.cloth
    cloth.name = "Half; and, half\\wool\nsecond line"
    cloth.save()
    event = next(
        event
        for event in read(address_of("shed")).walk("VEVENT")
        if str(event["uid"]) == f"warp-{slot.warp.number}-weaving@shedbook"
    )
    assert "Half; and, half\\wool\nsecond line" in str(event["summary"])


def test_a_warp_keeps_its_name_from_plan_to_plan_and_its_number_rises(mill, planner, address_of):
    shed = address_of("shed")
    before = {str(event["uid"]): int(event["sequence"]) for event in read(shed).walk("VEVENT")}
    plans.put_in_force(plans.make_plan(rule="best"), by=planner)
    after = {str(event["uid"]): int(event["sequence"]) for event in read(shed).walk("VEVENT")}
    weaving = {uid for uid in before if uid.endswith("weaving@shedbook")}
    assert weaving <= set(after)
    assert all(after[uid] > before[uid] for uid in weaving)


def test_without_a_plan_a_feed_is_empty_and_whole(planner, address_of):
    assert read(address_of("shed")).walk("VEVENT") == []
    assert len(read_csv(address_of("plan"))) == 1


# Lists as CSV


def test_the_orders_feed_is_the_page_s_own_csv(desk, address_of):
    order = make_order(customer=make_customer(code="EVIL", name="=HYPERLINK(1)"))
    make_line(order=order)
    rows = read_csv(address_of("orders"))
    page = desk.get("/orders/?csv=1").content.decode("utf-8-sig")
    assert rows == list(csv.reader(io.StringIO(page)))
    # What could begin a formula is a text.
    assert rows[1][rows[0].index("Customer")] == "'=HYPERLINK(1)"


def test_the_lots_feed_is_the_page_s_own_csv(desk, address_of):
    make_lot(label="@SUM(A1)", grams=5_000)
    rows = read_csv(address_of("lots"))
    page = desk.get(reverse("lots") + "?csv=1").content.decode("utf-8-sig")
    assert rows == list(csv.reader(io.StringIO(page)))
    assert [row[0] for row in rows] == ["Lot", "'@SUM(A1)"]


def test_the_plan_s_feed_has_each_warp_where_it_stands(mill, address_of):
    head, *rows = read_csv(address_of("plan"))
    slots = list(mill.slots.select_related("warp", "loom"))
    assert [(row[head.index("Loom")], int(row[head.index("Warp")])) for row in rows] == [
        (slot.loom.code, slot.warp.number) for slot in slots
    ]
    assert [int(row[head.index("Late (days)")]) for row in rows] == [slot.days_late for slot in slots]
    begins = timezone.localtime(slots[0].weaving_starts_at).isoformat(timespec="minutes")
    assert rows[0][head.index("Weaving from")] == begins


# Who is let in


def test_a_wrong_address_or_another_feed_s_opens_nothing(mill, address_of):
    secret = address_of("1").split("/")[2]
    for address in (
        "/calendar/guessed/shed.ics",
        f"/calendar/{secret}/loom/2.ics",
        f"/calendar/{secret}/shed.ics",
        f"/feeds/{secret}/orders.csv",
        f"/feeds/{secret}/loom.csv",
    ):
        assert Client().get(address).status_code == 404, address
    assert Client().get(f"/calendar/{secret}/loom/1.ics").status_code == 200
    assert Client().head(f"/calendar/{secret}/loom/1.ics").status_code == 200


def test_each_feed_is_withdrawn_by_itself(desk, planner, address_of):
    first, second = address_of("orders"), address_of("orders")
    link = FeedLink.objects.order_by("pk").first()
    desk.post(f"/mill/feeds/{link.pk}/withdraw/")
    assert Client().get(first).status_code == 404
    assert Client().get(second).status_code == 200
    told = changes.told(Change.objects.filter(kind="planning.feedlink", row_pk=link.pk).order_by("pk"))
    assert [(change.what, change.by, change.record) for change in told] == [
        ("+", planner, "Who reads orders"),
        ("~", planner, "Who reads orders"),
    ]


def test_only_a_hash_of_the_secret_is_kept_and_when_it_was_read(address_of):
    address = address_of("lots")
    Client().get(address)
    link = FeedLink.objects.get()
    assert address.split("/")[2] not in str(vars(link))
    assert link.digest == hashlib.sha256(address.split("/")[2].encode()).hexdigest()
    assert timezone.now() - link.last_used_at < timedelta(minutes=1)


def test_a_feed_is_shut_while_its_maker_may_not_read_that(address_of):
    merle = make_person("merle", roles.READER)
    address = address_of("orders", by=merle)
    assert Client().get(address).status_code == 200
    merle.groups.clear()
    assert Client().get(address).status_code == 404
    merle.groups.set([make_role(roles.WARPER)])
    assert Client().get(address).status_code == 200
    merle.is_active = False
    merle.save()
    assert Client().get(address).status_code == 404


def test_nobody_sees_or_withdraws_somebody_elses(desk, address_of):
    address_of("orders", by=make_person("merle", roles.READER))
    link = FeedLink.objects.get()
    other = Client()
    other.force_login(make_person("other", roles.READER))
    assert "Who reads orders" not in other.get("/mill/feeds/").content.decode()
    assert other.post(f"/mill/feeds/{link.pk}/withdraw/").status_code == 404
    assert other.get("/api/feeds/").json()["count"] == 0
    assert other.post(f"/api/feeds/{link.pk}/withdraw/").status_code == 404
    assert "Who reads orders" in desk.get("/mill/feeds/").content.decode()


# Made and withdrawn


def test_the_page_shows_the_address_once(desk):
    loom = make_loom(code="7")
    assert 'value="loom" selected' in desk.get(f"/mill/feeds/?what=loom&loom={loom.pk}").content.decode()
    made = desk.post("/mill/feeds/", {"what": "loom", "loom": loom.pk, "label": "The tuner's phone"})
    assert made.headers["Cache-Control"] == "no-store"
    address = made.context["address"]
    assert address in made.content.decode()
    assert address.startswith("http://testserver/calendar/")
    assert Client().get(address.removeprefix("http://testserver")).status_code == 200
    again = desk.get("/mill/feeds/").content.decode()
    assert address not in again
    assert "The tuner&#x27;s phone" in again


@pytest.mark.parametrize(
    ("said", "field"),
    [({"what": "orders", "label": " "}, "label"), ({"what": "loom", "label": "x"}, "loom"), ({"label": "x"}, "what")],
)
def test_what_is_missing_is_said(desk, said, field):
    assert field in desk.post("/mill/feeds/", said).context["form"].errors
    answer = desk.post("/api/feeds/", said, content_type="application/json")
    assert answer.status_code == 400
    assert list(answer.json()["errors"]) == [field]
    assert not FeedLink.objects.exists()


def test_the_verb_refuses_what_no_form_lets_through(planner):
    with pytest.raises(Refusal, match="no feed of 'people'"):
        feeds.make_link(what="people", label="x", by=planner)


def test_a_feed_is_made_seen_and_withdrawn_over_the_api(desk):
    said, key = {"what": "orders", "label": "The office's spreadsheet"}, {"Idempotency-Key": "k"}
    made = desk.post("/api/feeds/", said, content_type="application/json", headers=key)
    assert made.status_code == 201, made.content
    assert made.headers["Cache-Control"] == "no-store"
    address = made.json()["address"].removeprefix("http://testserver")
    assert read_csv(address)[0][0] == "Line"
    assert desk.post("/api/feeds/", said, content_type="application/json", headers=key).status_code == 422
    assert FeedLink.objects.count() == 1
    assert not bytes(KeptAnswer.objects.get().body)
    (listed,) = desk.get("/api/feeds/").json()["results"]
    assert listed["label"] == "The office's spreadsheet"
    assert address not in str(listed)
    assert desk.post(f"/api/feeds/{listed['id']}/withdraw/").json()["withdrawn_at"]
    assert Client().get(address).status_code == 404
