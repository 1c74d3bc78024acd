"""Calendar feeds: what any calendar program reads of the plan in force."""

from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone
from icalendar import Calendar

from mill.models import Mill
from planning.models import Closure, Loom, Slot
from planning.services import feeds, plans
from tests.planning.busy_mill import make_busy_mill

pytestmark = pytest.mark.django_db


@pytest.fixture
def mill(planner):
    make_busy_mill(looms=2, warps=6, cloths=2, starts=timezone.localdate(), planner=planner)
    return plans.put_in_force(plans.make_plan(), by=planner)


def read(address):
    answer = Client().get(address)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    return Calendar.from_ical(answer.content)


def address_of(what):
    return f"/calendar/{feeds.token(what)}/" + ("shed.ics" if what == "shed" else f"loom/{what}.ics")


def test_the_shed_s_feed_has_every_set_up_and_every_warp_in_utc(mill):
    events = {str(event["uid"]): event for event in read(address_of("shed")).walk("VEVENT")}
    for slot in mill.slots.select_related("warp"):
        event = events[f"warp-{slot.warp.number}-weaving@shedbook"]
        assert event.decoded("dtstart") == slot.weaving_starts_at.replace(microsecond=0)
        assert event["dtstart"].to_ical().endswith(b"Z")
        assert event.decoded("dtend") == slot.weaving_stops_at.replace(microsecond=0)
        assert (f"warp-{slot.warp.number}-set-up@shedbook" in events) == bool(slot.setup_min)
    assert len(events) == mill.slots.count() + mill.slots.filter(setup_min__gt=0).count()


def test_a_loom_s_feed_has_its_own_warps_and_the_times_it_stands(mill):
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


def test_what_people_typed_is_escaped_and_comes_back_whole(mill):
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


def test_a_warp_keeps_its_name_from_plan_to_plan_and_its_number_rises(mill, planner):
    before = {str(event["uid"]): int(event["sequence"]) for event in read(address_of("shed")).walk("VEVENT")}
    plans.put_in_force(plans.make_plan(rule="best"), by=planner)
    after = {str(event["uid"]): int(event["sequence"]) for event in read(address_of("shed")).walk("VEVENT")}
    weaving = {uid for uid in before if uid.endswith("weaving@shedbook")}
    assert weaving <= set(after)
    assert all(after[uid] > before[uid] for uid in weaving)


def test_a_wrong_token_or_another_loom_s_opens_nothing(mill):
    assert Client().get("/calendar/guessed/shed.ics").status_code == 404
    assert Client().get(f"/calendar/{feeds.token('1')}/loom/2.ics").status_code == 404
    assert Client().get(f"/calendar/{feeds.token('1')}/shed.ics").status_code == 404


def test_new_addresses_shut_the_old_ones_out(desk, mill):
    old = address_of("shed")
    desk.post("/looms/calendars/renew/")
    assert Client().get(old).status_code == 404
    assert Client().get(address_of("shed")).status_code == 200


def test_the_key_is_made_once_and_stands_on_the_loom_s_page(desk, mill):
    said = desk.get("/looms/1/").content.decode()
    assert address_of("1") in said
    key = Mill.objects.get().calendar_key
    assert len(key) == 32
    desk.get("/looms/")
    assert Mill.objects.get().calendar_key == key


def test_without_a_plan_a_feed_is_empty_and_whole(planner):
    assert read(address_of("shed")).walk("VEVENT") == []
