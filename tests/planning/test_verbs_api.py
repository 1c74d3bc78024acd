"""What pages do, programs do: the acts that came to the API last, what follows from each and what it refuses."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from inventory.models import Movement
from mill import jobs
from mill.models import Change, Job
from planning.models import Closure, Dispatch, FinishingBatch, JobTicket, Loom, Piece, PlanRun, Warp
from planning.services import plans, warp_yarn
from planning.services.warps import Share, make_warp
from tests.make import make_beam, make_delivery, make_line, make_loom, make_lot, make_place, make_spec, make_yarn
from tests.planning.busy_mill import make_busy_mill
from tests.planning.floor_walk import cut, weaving_warp

pytestmark = pytest.mark.django_db


def send(desk, address, said=None, *, method="post", status=200):
    answer = getattr(desk, method)(f"/api/{address}/", said or {}, content_type="application/json")
    assert answer.status_code == status, answer.content
    return answer.json() if answer.content else None


def refused(desk, address, said=None, *, method="post"):
    return send(desk, address, said, method=method, status=400)["detail"]


# Orders and cloths


def test_what_an_order_says_beside_its_lines_is_changed_and_the_rest_stays(desk):
    line = make_line()
    order = line.order
    told = send(desk, f"orders/{order}", {"reference": "PO 77"}, method="patch")
    assert (told["reference"], told["customer"], len(told["lines"])) == ("PO 77", order.customer.code, 1)
    assert "due" in refused(desk, f"orders/{order}", {"placed_on": "2030-01-01"}, method="patch")


def test_a_cloth_is_renamed_and_put_away_only_when_nothing_of_it_is_open(desk, planner):
    line = make_line()
    at = f"cloths/{line.cloth.code}"
    assert send(desk, at, {"name": "Fell tweed"}, method="patch")["name"] == "Fell tweed"
    assert Change.objects.filter(kind="planning.cloth", by=planner).exists()
    assert "1 open order line" in refused(desk, at, {"is_in_use": False}, method="patch")


def test_colourways_are_added_and_renamed_without_a_revision(desk):
    spec = make_spec()
    at = f"cloths/{spec.cloth.code}/colourways"
    [first] = desk.get(f"/api/{at}/").json()
    slate = make_yarn(code="SLATE")
    added = send(desk, at, {"name": "Slate", "yarns": {"a": slate.code, "B": slate.code}}, status=201)
    assert send(desk, f"{at}/{first['id']}", {"name": "Peat"}, method="patch")["name"] == "Peat"
    assert "called slate" in refused(desk, f"{at}/{first['id']}", {"name": "slate"}, method="patch")
    assert [row["name"] for row in desk.get(f"/api/{at}/").json()] == ["Peat", "Slate"]
    assert (spec.cloth.specs.count(), added["id"]) == (1, spec.cloth.colourways.get(name="Slate").pk)


def test_a_revision_is_corrected_while_nothing_stands_on_it(desk):
    spec = make_spec()
    at = f"cloths/{spec.cloth.code}/revisions/1"
    said = desk.get(f"/api/{at}/").json()
    sent = {**{name: said[name] for name in said if name in SPEC}, "finishing_days": 21, "note": "Misread."}
    told = send(desk, at, sent, method="put")
    assert (told["revision"], told["finishing_days"], told["note"]) == (1, 21, "Misread.")
    make_beam()
    make_warp([Share(make_line(spec=spec), 1)], by=None)
    assert "is in use: 1 warp" in refused(desk, at, sent, method="put")


SPEC = {
    *("finished_width_cm", "reed_dents_per_10cm", "ends_per_dent", "selvedge_ends", "selvedge_letter"),
    *("whole_repeats", "loom_picks_per_cm", "warp_crimp_pct", "weaving_contraction_pct", "warp_waste_pct"),
    *("weft_waste_pct", "size_add_on_pct", "warp_order", "weft_order", "threading", "lifting", "route", "colourways"),
}


# Warps


@pytest.fixture
def warp(db):
    """A planned warp with pieces of two lines on it, and lots for all of its yarn."""
    yarns = {"A": make_yarn(code="MOSS"), "B": make_yarn(code="CREAM")}
    spec = make_spec(yarns=yarns, warp_order="A4", weft_order="B4")
    make_loom(code="7")
    for _ in range(3):
        make_beam()
    warp = make_warp([Share(make_line(spec=spec), 2), Share(make_line(spec=spec), 2)], by=None)
    jobs.settle()
    for yarn in yarns.values():
        make_lot(yarn=yarn, grams=200_000, label=f"{yarn.code}-1", dye_lot="880")
    return warp


def test_parts_change_places_and_who_looked_before_that_is_refused(desk, warp):
    at = f"warps/{warp.number}"
    seen = desk.get(f"/api/{at}/").json()
    first, second = (part["id"] for part in seen["parts"])
    told = send(desk, f"{at}/move", {"part": first, "where": "later", "seen": seen["seen"]})
    assert [part["id"] for part in told["parts"]] == [second, first]
    assert "has been changed since" in refused(desk, f"{at}/take-off", {"part": first, "seen": seen["seen"]})
    left = send(desk, f"{at}/take-off", {"part": first, "seen": told["seen"]})
    assert [part["id"] for part in left["parts"]] == [second]
    send(desk, f"{at}/take-off", {"part": second}, status=204)
    assert not Warp.objects.exists()


def test_pieces_are_put_on_and_a_locked_warp_is_left_as_it_is(desk, warp):
    line = make_line(spec=warp.parts.first().spec, pieces=3)
    told = send(desk, f"warps/{warp.number}/put-on", {"line": line.pk, "pieces": 2})
    assert [part["pieces"] for part in told["parts"]] == [2, 2, 2]
    assert send(desk, f"warps/{warp.number}/lock", {"is_locked": True})["is_locked"] is True
    assert "is locked" in refused(desk, f"warps/{warp.number}/put-on", {"line": line.pk, "pieces": 1})
    assert send(desk, f"warps/{warp.number}/note", {"note": "Slowly."})["note"] == "Slowly."


def test_a_warp_is_pinned_and_let_loose(desk, warp, planner):
    send(desk, f"warps/{warp.number}/pin", {"loom": "7"})
    warp.refresh_from_db()
    assert warp.pin_loom.code == "7"
    assert warp.history.first().history_user == planner
    gone_by = {"loom": "7", "starts_at": "2026-01-05T08:00:00Z"}
    assert "has gone by" in refused(desk, f"warps/{warp.number}/pin", gone_by)
    send(desk, f"warps/{warp.number}/pin", {"loom": None})
    warp.refresh_from_db()
    assert warp.pin_loom is None


def test_one_lot_is_held_and_one_use_let_go(desk, warp):
    at = f"warps/{warp.number}"
    send(desk, f"{at}/hold-lot", {"use": "warp", "lot": "MOSS-1", "grams": "2 kg"})
    told = send(desk, f"{at}/hold-lot", {"use": "weft", "lot": "CREAM-1", "grams": 1000})
    assert {row["use"]: row["held_g"] for row in told["yarns"]} == {"warp": 2000, "weft": 1000}
    assert "takes no" in refused(desk, f"{at}/hold-lot", {"use": "weft", "lot": "MOSS-1", "grams": 1})
    told = send(desk, f"{at}/let-go", {"use": "weft"})
    assert {row["use"]: row["held_g"] for row in told["yarns"]} == {"warp": 2000, "weft": 0}
    send(desk, f"{at}/let-go")
    assert sum(row.held_g for row in warp_yarn.states(warp)) == 0


# Looms and plans


@pytest.fixture
def shed(planner):
    make_busy_mill(looms=3, warps=6, cloths=2, starts=timezone.localdate(), planner=planner)
    return plans.put_in_force(plans.make_plan(), by=planner)


def test_a_loom_that_stands_is_written_down_or_only_tried(desk, shed, planner):
    until = (timezone.now() + timedelta(days=2)).isoformat()
    said = {"until": until, "why": "The batten broke."}
    tried = send(desk, "looms/2/stands", {**said, "only_try": True}, status=202)
    assert not Closure.objects.exists()
    assert Job.objects.get(pk=tried["id"]).payload["assumes"]["loom"] == "2"
    send(desk, "looms/2/stands", said, status=202)
    assert Closure.objects.get().loom.code == "2"
    assert Change.objects.get(kind="planning.closure").by == planner
    assert "has gone by" in refused(desk, "looms/2/stands", {**said, "until": "2026-01-05T08:00:00Z"})


def test_late_yarn_is_written_down_or_only_tried(desk, shed):
    delivery = make_delivery(number="D1")
    later = delivery.expected_on + timedelta(days=5)
    said = {"delivery": "D1", "expected_on": later.isoformat()}
    send(desk, "plan-searches/late-yarn", {**said, "only_try": True}, status=202)
    delivery.refresh_from_db()
    assert delivery.expected_on < later
    send(desk, "plan-searches/late-yarn", said, status=202)
    delivery.refresh_from_db()
    assert delivery.expected_on == later
    assert "is no later" in refused(desk, "plan-searches/late-yarn", said)


def test_the_efficiency_of_a_loom_is_taken(desk):
    make_loom(code="7")
    assert send(desk, "looms/7/efficiency", {"efficiency_pct": "81.5"})["efficiency_pct"] == "81.50"
    assert "5 % or more" in str(send(desk, "looms/7/efficiency", {"efficiency_pct": 4}, status=400)["errors"])


def test_a_warp_is_moved_to_a_moment_and_the_move_taken_back(desk, shed, planner):
    slot = shed.slots.exclude(warp__state__in=plans.IN_LOOM).order_by("-position").first()
    other = next(loom for loom in Loom.objects.order_by("code") if loom.pk != slot.loom_id)
    last = shed.slots.filter(loom=other).order_by("position").last()
    said = {"warp": slot.warp.number, "loom": other.code, "at": (last.weaving_stops_at + timedelta(1)).isoformat()}
    assert "not both" in str(send(desk, f"plans/{shed.pk}/move", {**said, "turn": 1}, status=400)["errors"])
    copy = send(desk, f"plans/{shed.pk}/move", said, status=201)
    [moved] = [row for row in copy["slots"] if row["warp"] == slot.warp.number]
    assert (moved["loom"], moved["position"]) == (other.code, last.position + 1)
    assert send(desk, f"plans/{copy['id']}/take-back")["id"] == shed.pk
    assert PlanRun.objects.get(pk=copy["id"]).state == PlanRun.REFUSED
    offered = plans.make_plan()
    told = send(desk, f"plans/{offered.pk}/put-aside")
    assert (told["state"], told["decided_by"]) == ("refused", planner.username)
    assert "only one that is offered" in refused(desk, f"plans/{offered.pk}/put-aside")


# Tickets, and a piece's whole way


def test_tickets_of_a_day_are_issued_and_one_withdrawn(desk, shed, planner):
    slot = shed.slots.filter(warp__state=Warp.WEAVING).first() or shed.slots.order_by("setup_starts_at").first()
    first = slot.winding_on or timezone.localdate(slot.setup_starts_at)
    told = send(desk, "tickets/of-day", {"day": first.isoformat()}, status=201)
    assert told["tickets"] or told["refused"]
    ticket = JobTicket.objects.create(number=77, token="a", warp=slot.warp, figures={}, worked_from="", day=first)
    at = f"tickets/{ticket.number}/withdraw"
    assert send(desk, at, {"why": " "}, status=400)["errors"]["why"]
    told = send(desk, at, {"why": "Wrong customer."})
    assert (told["withdrawn_why"], told["withdrawn_by"]) == ("Wrong customer.", planner.username)


def test_a_piece_goes_from_the_loom_to_dispatch_and_back_by_programs_alone(desk, planner):
    warp = weaving_warp(planner)
    piece = cut(warp, planner)
    at = f"pieces/{piece.number}"
    send(desk, f"{at}/correct-length", {"grey_length_m": "63.5", "why": "Read upside down."})
    told = send(desk, f"{at}/perch", {"length_m": "63.4", "width_cm": "165", "mending_min": 30})
    assert told["stands"] == "to the menders"
    assert "30 min to mend" in refused(desk, "batches", {"key": "b", "step": "scour", "pieces": [piece.number]})
    for _ in range(2):
        told = send(desk, f"{at}/mend", {"key": "m1", "minutes": 20, "is_mended": True})
    assert (told["stands"], told["mending_min"]) == ("to scour", 20)

    batch = send(desk, "batches", {"key": "b1", "step": "scour", "pieces": [piece.number]}, status=201)
    send(desk, f"batches/{batch['number']}/undo", {"why": "The tub was full."}, status=204)
    assert not FinishingBatch.objects.exists()
    for step in ("scour", "press"):
        said = {"key": f"b {step}", "step": step, "pieces": [piece.number]}
        batch = send(desk, "batches", said, status=201)
        number = batch["number"]
        assert "not one of the 1 pieces" in refused(desk, f"batches/{number}/out", {"sizes": [{"piece": "9-9"}]})
        out = send(desk, f"batches/{number}/out", {"sizes": [{"piece": piece.number, "width_cm": "151"}]})
        assert (out["pieces"][0]["width_cm"], bool(out["out_at"])) == ("151.0", True)

    fault = {"at_m": "3.2", "length_mm": "80", "name": "float"}
    size = {"length_m": "60.1", "width_cm": "150", "mass_g": "25 kg"}
    assert "beyond the piece" in refused(desk, f"{at}/faults", {"faults": [{**fault, "at_m": 70}]})
    # 80 mm is 2 points of four-point grading: over 3 in, up to 6 in (ASTM D5430, from memory).
    assert send(desk, f"{at}/faults", {"faults": [fault]})["points"] == 2
    told = send(desk, f"{at}/final-perch", {**size, "faults": [fault]})
    assert (told["state"], told["verdict"], told["points"]) == ("ready", "pass", 2)
    told = send(desk, f"{at}/judge", {"verdict": "second", "why": "A bar across."})
    assert (told["verdict"], told["line"]) == ("second", None)
    line = warp.parts.get().line
    assert send(desk, f"{at}/allocate", {"line": line.pk, "why": "The customer takes it."})["line"] == str(line)

    sent_on = timezone.localdate().isoformat()
    said = {"key": "d1", "customer": line.order.customer.code, "pieces": [piece.number], "sent_on": sent_on}
    sent = send(desk, "dispatches", said, status=201)
    assert send(desk, "dispatches", said, status=201) == sent
    assert "was sent" in refused(desk, f"{at}/judge", {"verdict": "pass"})
    back = send(desk, f"dispatches/{sent['number']}/take-back", {"why": "The van broke down."})
    assert back["taken_back_why"] == "The van broke down."
    assert (Piece.objects.get().state, Dispatch.objects.count()) == (Piece.READY, 1)
    assert {change.by for change in Change.objects.filter(kind="planning.piece")} == {planner}


# The store


def test_a_lot_is_barred_freed_and_counted_each_once_by_its_key(desk):
    lot = make_lot(label="A12", grams=9000)
    at = f"lots/{lot.pk}"
    for _ in range(2):
        told = send(desk, f"{at}/quarantine", {"key": "k1", "reason": "Larvae"}, status=201)
    assert told["reason"] == "Into quarantine: Larvae"
    assert "is in quarantine (Larvae)" in refused(desk, f"{at}/hold", {"key": "k2", "grams": 1, "for_what": "x"})
    send(desk, f"{at}/release", {"key": "k3", "reason": "Looked over."}, status=201)
    send(desk, f"{at}/reject", {"key": "k4", "reason": "Too red."}, status=201)
    assert desk.get(f"/api/{at}/").json()["is_shade_approved"] is False
    send(desk, f"{at}/approve", {"key": "k5"}, status=201)
    counted = send(desk, f"{at}/count", {"key": "k6", "weighed_g": "8.9 kg"}, status=201)
    assert (counted["kind"], counted["change_g"], counted["on_hand_after_g"]) == ("count", -100, 8900)
    assert Movement.objects.filter(lot=lot).count() == 6


def test_a_place_is_counted_whole_or_not_at_all(desk):
    bay, other = make_place(code="BAY-1"), make_place(code="BAY-2")
    one, two = make_lot(label="A1", place=bay, grams=9000), make_lot(label="A2", place=bay, grams=9000)
    make_lot(label="B1", place=other, grams=9000)
    at = f"places/{bay.pk}/count"
    weighed = [{"lot": "A1", "weighed_g": 8800}, {"lot": "A2", "weighed_g": 9100}]
    assert "doesn't lie in BAY-1" in refused(
        desk, at, {"key": "c0", "weighed": [*weighed, {"lot": "B1", "weighed_g": 1}]}
    )
    assert not Movement.objects.filter(kind=Movement.COUNT).exists()
    assert "stands here 2 times" in str(send(desk, at, {"key": "c0", "weighed": [*weighed, weighed[0]]}, status=400))
    for _ in range(2):
        lines = send(desk, at, {"key": "c1", "weighed": weighed}, status=201)
    assert [line["on_hand_after_g"] for line in lines] == [8800, 9100]
    assert Movement.objects.filter(kind=Movement.COUNT).count() == 2
    assert one.movements.count() == two.movements.count() == 2


def test_shrinkage_that_pieces_showed_is_taken_into_a_revision(desk):
    spec = make_spec()
    assert "nothing to take over" in refused(desk, f"cloths/{spec.cloth.code}/shrinkage")
    for n in range(6):
        Piece.objects.create(
            number=f"F-{n}",
            spec=spec,
            state=Piece.READY,
            woven_on=date(2026, 3, 1),
            grey_length_m=Decimal(100),
            grey_width_cm=Decimal(200),
            finished_on=date(2026, 3, 20),
            finished_length_m=Decimal("91.9") + Decimal(n) / 10,
            finished_width_cm=Decimal(180),
        )
    told = send(desk, f"cloths/{spec.cloth.code}/shrinkage", status=201)
    # 100 m grey, 91.9 to 92.4 m finished: 7.85 % on average, against 6 % of the route.
    assert told["revision"] == 2
    assert "length 6 to 7.85 %" in told["note"]
