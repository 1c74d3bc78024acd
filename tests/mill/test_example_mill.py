"""The example mill, written once for all of these, and taken out of the book again."""

from collections import Counter
from collections.abc import Iterator
from datetime import date, datetime
from decimal import Decimal
from io import StringIO
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.contrib.auth import get_user_model
from django.core.management import CommandError, call_command
from django.db import transaction
from django.db.models import F, Max, Min, Sum
from django.test import Client
from django.urls import reverse

from inventory import services as store
from inventory.models import (
    Claim,
    Delivery,
    Fibre,
    Inspection,
    Movement,
    Place,
    Supplier,
    Trap,
    Treatment,
    Yarn,
    YarnLot,
    YarnOutlook,
)
from mill.candlebeck import names
from mill.desk import ROOMS
from mill.models import Job, Mill
from planning.finishing import is_at_the_perch
from planning.loom import reasons_against
from planning.models import (
    Beam,
    Closure,
    Cloth,
    ClothSpec,
    Colourway,
    Customer,
    Dispatch,
    DispatchPiece,
    FloorEvent,
    JobTicket,
    Loom,
    Machine,
    Order,
    OrderLine,
    Piece,
    PlanRun,
    Rate,
    Reed,
    RouteStep,
    ShiftPattern,
    Warp,
    WarpFigures,
    WarpPart,
    Worker,
    YarnPrice,
    mill_facts,
)
from planning.piece import piece_points
from planning.services import actuals, costing
from planning.services.cloths import figures_of
from planning.services.line_figures import run_of_draft
from planning.services.orders import LineDraft
from planning.services.pieces import faults_of
from planning.ticket import loom_needs, work_out
from planning.worktime import read_week

pytestmark = pytest.mark.django_db

ON = date(2026, 11, 25)


@pytest.fixture(scope="module")
def written(django_db_setup, django_db_blocker) -> Iterator[str]:
    """What the command says; the mill stands while the tests of this file look at it."""
    out = StringIO()
    with django_db_blocker.unblock(), transaction.atomic():
        call_command("example_mill", on=ON, stdout=out)
        yield out.getvalue()
        transaction.set_rollback(True)


@pytest.fixture(autouse=True)
def on_that_day(written: str) -> Iterator[None]:
    with time_machine.travel(datetime(2026, 11, 25, 9, tzinfo=ZoneInfo("Europe/London"))):
        yield


def test_the_command_says_what_it_wrote(written):
    assert written.startswith("Candlebeck stands: 12 looms, 14 cloths, 300 lots, ")


def test_it_is_the_mill_that_is_described():
    assert Mill.objects.get().name == "Candlebeck"
    assert Loom.objects.count() == 12
    assert Loom.objects.values("kind").distinct().count() == 4
    assert Beam.objects.count() == 40
    assert Cloth.objects.count() == 14
    assert Yarn.objects.count() == 60
    assert YarnLot.objects.count() == 300
    assert OrderLine.objects.open().count() == 90
    assert 390 <= Piece.objects.count() <= 450
    assert Customer.objects.count() >= 18
    assert len(read_week(Mill.objects.get().tuner_hours)) == 6, "early and late are one span on five days, and Saturday"


def test_looms_are_wide_and_narrow_with_reeds_and_beams_for_all_of_them():
    assert Loom.objects.filter(kind="wide power shuttle", reed_space_cm__gte=340).count() == 3
    assert Loom.objects.filter(is_jacquard=True).exists()
    assert Beam.objects.values("width_cm").distinct().count() >= 4
    assert 13 <= Reed.objects.count() <= 15
    woven_in = set(ClothSpec.objects.values_list("reed_dents_per_10cm", flat=True))
    assert woven_in == set(Reed.objects.values_list("dents_per_10cm", flat=True))
    assert Closure.objects.filter(loom=None).exists()
    assert Closure.objects.exclude(loom=None).exists()
    assert ShiftPattern.objects.filter(looms=None).count() <= 1


def test_every_cloth_can_be_woven_on_a_loom_of_the_mill():
    looms = [loom.as_facts() for loom in Loom.objects.all()]
    for colourway in Colourway.objects.select_related("cloth"):
        for spec in colourway.cloth.specs.all():
            cloth = spec.as_cloth(colourway)
            figures = figures_of(cloth)
            assert figures.tightness_pct < 95, f"{spec}: {figures.warnings}"
            draft = LineDraft(colourway, 1, Decimal(40), ON)
            needs = loom_needs(work_out([run_of_draft(draft, spec)], mill=mill_facts(Mill.objects.get())))
            fitting = [loom.code for loom in looms if not reasons_against(needs, loom)]
            assert fitting, f"no loom takes {spec}"


def test_the_cloths_go_from_a_light_plaid_to_a_coating_that_loses_half_its_width():
    plaid, coating = (
        figures_of(cloth.current_spec.as_cloth(cloth.colourways.first()))
        for cloth in (Cloth.objects.get(code="FLI"), Cloth.objects.get(code="FUL"))
    )
    assert plaid.finished_g_per_m2 < 200
    assert coating.width_shrink_pct > 50
    assert coating.length_shrink_pct > 40
    assert coating.reed_width_cm > 320
    assert coating.finished_g_per_m2 > 550
    n_colourways = Counter(Colourway.objects.values_list("cloth__code", flat=True))
    assert set(n_colourways.values()) <= {1, 2, 3, 4}
    revisions = Counter(ClothSpec.objects.values_list("cloth__code", flat=True))
    assert sorted(n for n in revisions.values() if n > 1) == [2, 2, 2, 3]


def test_yarns_are_counted_in_every_way_and_each_fibre_has_its_authority():
    assert {system.count.split()[-1] for system in names.RANGES} >= {"ysw", "cut", "nw", "nm", "lea", "silk"}
    for fibre in Fibre.objects.all():
        assert fibre.regain_authority.startswith(("EU 1007/2011", "ASTM D1909"))
    assert Supplier.objects.count() == 5
    used = set(Yarn.objects.filter(colourway_yarns__isnull=False).values_list("code", flat=True))
    assert used == set(Yarn.objects.values_list("code", flat=True))


def test_open_lines_are_due_from_ten_days_ago_to_four_months_ahead():
    due = OrderLine.objects.open().aggregate(first=Min("due_on"), last=Max("due_on"))
    assert 8 <= (ON - due["first"]).days <= 11
    assert 115 <= (due["last"] - ON).days <= 122
    assert set(OrderLine.objects.values_list("weight", flat=True)) > {1, 2, 9}
    assert not Order.objects.filter(placed_on__gte=ON).exists()


def test_about_sixty_lines_are_on_some_thirty_warps_in_every_state():
    warps = Warp.objects.open()
    assert 25 <= warps.count() <= 32
    lines = WarpPart.objects.filter(warp__in=warps).values("line").distinct().count()
    assert 55 <= lines <= 65
    states = Counter(warps.values_list("state", flat=True))
    assert states[Warp.WEAVING] >= 7
    assert {Warp.PLANNED, Warp.YARN_DRAWN, Warp.WOUND, Warp.GAITED} <= states.keys()
    in_loom = warps.filter(state__in=[Warp.GAITED, Warp.WEAVING])
    assert len(set(in_loom.values_list("loom", flat=True))) == in_loom.count(), "one warp to a loom"
    assert not WarpFigures.objects.exclude(trouble="").exists()
    beams = [pk for pk in warps.values_list("beam", flat=True) if pk]
    assert len(beams) == len(set(beams))
    for warp in in_loom.select_related("loom", "worked"):
        assert warp.loom.gaited_family == warp.worked.family_key
        assert 0 <= warp.picks_woven < warp.worked.picks
    assert warps.filter(state=Warp.PLANNED, holds__isnull=False).exists(), "yarn is held for what comes next"
    assert OrderLine.objects.filter(state=OrderLine.ENTERED).count() >= 15


def test_the_floor_told_its_last_days_and_the_looms_show_how_they_ran():
    assert {worker.trade for worker in Worker.objects.all()} == {trade for trade, _ in Worker.TRADES}
    told = FloorEvent.objects.all()
    assert not told.exclude(refused="").exists()
    assert told.count() > 60
    assert {"wound", "gaited", "started", "stopped", "running", "piece off", "picks"} <= set(
        told.values_list("kind", flat=True)
    )
    assert told.aggregate(last=Max("happened_at"))["last"].date() < ON
    groups = actuals.groups_of(days=28)
    assert len(groups["loom"]) >= 4
    assert {"06:00–14:00", "14:00–22:00"} <= {group.name for group in groups["shift"]}
    for group in groups["loom"]:
        assert 50 < group.tally.efficiency_pct < 85
    assert actuals.offers(groups["loom"]), "a loom ran otherwise than its record says"
    for piece in Piece.objects.filter(events__kind="piece off"):
        assert piece.number == f"{piece.warp.number}-{piece.cut}"
        assert piece.line.cloth_id == piece.spec.cloth_id
    steps = {name.strip() for name in RouteStep.objects.values_list("name", flat=True)}
    assert set(Machine.objects.values_list("step", flat=True)) <= steps


def test_half_a_year_of_pieces_scatters_round_the_specification():
    woven = Piece.objects.aggregate(first=Min("woven_on"), last=Max("woven_on"))
    assert 170 <= (ON - woven["first"]).days <= 200
    assert (ON - woven["last"]).days <= 5
    shrunk: dict[str, list[tuple[date, float]]] = {}
    for piece in Piece.objects.exclude(finished_length_m=None).select_related("spec__cloth"):
        own = float(100 * (1 - piece.finished_length_m / piece.grey_length_m))
        steps = [1 - step.length_shrink_pct / 100 for step in piece.spec.route_steps.all()]
        said = 100.0
        for kept in steps:
            said *= float(kept)
        shrunk.setdefault(piece.spec.cloth.code, []).append((piece.woven_on, own - (100 - said)))
        assert piece.mass_g
        assert piece.points is not None
    off = [one for rows in shrunk.values() for _, one in rows]
    assert len(off) > 300
    assert abs(sum(off) / len(off)) < 1
    assert max(abs(one) for one in off) > 2, "some pieces go their own way"
    hill = sorted(shrunk["HIL"])
    half = len(hill) // 2
    drift = sum(one for _, one in hill[half:]) / (len(hill) - half) - sum(one for _, one in hill[:half]) / half
    assert drift > 0.3, "the hill tweed has come to shrink more"
    states = Counter(Piece.objects.values_list("state", flat=True))
    assert states[Piece.SENT] > 300
    assert {Piece.GREY, Piece.FINISHING, Piece.READY} <= states.keys()


def test_what_was_sent_left_with_a_note_and_a_second_shows_why():
    sent = Piece.objects.filter(state=Piece.SENT)
    assert DispatchPiece.objects.count() == sent.count()
    assert not sent.exclude(verdict=Piece.PASS).exists()
    assert all(note.sent_on.weekday() < 5 for note in Dispatch.objects.all())
    assert not DispatchPiece.objects.exclude(dispatch__customer=F("line__order__customer")).exists()
    seconds = Piece.objects.filter(verdict=Piece.SECOND)
    assert 5 <= seconds.count() <= 30
    for piece in seconds:
        assert piece.line is None
        assert piece.points == piece_points(faults_of(piece))


def test_the_ledger_is_whole_and_lived_through():
    store.check_invariants()
    kinds = Counter(Movement.objects.values_list("kind", flat=True))
    assert kinds["receive"] == 300
    for kind in ("hold", "draw", "return", "move", "correct", "count", "note"):
        assert kinds[kind], kind
    at = Movement.objects.aggregate(first=Min("at"), last=Max("at"))
    assert (ON - at["first"].date()).days > 180
    assert at["last"].date() < ON
    assert YarnLot.objects.filter(is_quarantined=True).count() == 2
    assert YarnLot.objects.filter(is_shade_approved=False).count() == 1
    assert Place.objects.count() == Inspection.objects.values("place").distinct().count()


def test_no_lot_has_fewer_cones_than_none_and_none_with_yarn_is_without():
    for lot in YarnLot.objects.with_balance().annotate(cones=Sum("movements__packages_change")):
        assert lot.cones >= (1 if lot.on_hand_g else 0), lot


def test_the_store_is_cared_for():
    assert Trap.objects.count() == 12
    asked = {one.what for one in store.due_in_the_store(Mill.the_one())}
    assert asked == {"inspection", "lure", "probe", "release"}
    met = [row.verdict and row.verdict.is_met for row in Treatment.objects.order_by("pk")]
    assert met == [None, False, True]
    assert Inspection.objects.filter(webbing_moths__gt=0).exists()


def test_short_weight_is_claimed():
    first, second = Claim.objects.order_by("number")
    assert (first.state, second.state) == (Claim.ALLOWED, Claim.SENT)
    assert 0 < first.allowed_g < first.short_g


def test_a_few_yarns_run_short_and_most_do_not():
    short = YarnOutlook.objects.exclude(short_on=None)
    assert 4 <= short.count() <= 6
    assert YarnOutlook.objects.count() == 60
    expected = Delivery.objects.filter(is_closed=False)
    assert expected.count() == 12
    assert expected.filter(expected_on__lt=ON).count() == 3
    assert Delivery.objects.with_received().filter(is_closed=False, received_g__gt=0).exists(), "one came in part"


def test_a_plan_is_in_force_and_a_ticket_is_overtaken():
    run = PlanRun.objects.get(state=PlanRun.IN_FORCE)
    assert run.slots.count() == Warp.objects.open().count() - len(run.left_out)
    assert run.left_out == []
    late = run.slots.filter(late_min__gt=0).count()
    assert 1 <= late <= run.slots.count() / 2
    assert JobTicket.objects.count() == 8
    overtaken = JobTicket.objects.exclude(overtaken_at=None)
    assert overtaken.exists()
    assert "is now revision 2" in overtaken.first().overtaken_why


def test_what_things_cost_is_stated_and_what_was_woven_differs_from_its_plan():
    costed = [costing.cost_of_warp(warp) for warp in Warp.objects.order_by("number")[::12]]
    assert all(sheet.missing == () for sheet in costed)
    off = [sheet.actual.total - sheet.planned.total for sheet in costed if sheet.woven]
    assert min(off) < 0 < max(off)
    per_m = sorted(sheet.planned.per_m for sheet in costed)
    assert 4 < per_m[0] < per_m[-1] < 120, per_m
    colourway = Colourway.objects.earliest("pk")
    assert costing.cost_alone(colourway=colourway, pieces=4, length_m=Decimal(60)).cost.missing == ()
    # Every step of every route has its rate, every yarn its price.
    steps = {step.name for step in RouteStep.objects.all() if not is_at_the_perch(step.name)}
    assert steps == set(Rate.objects.filter(kind=Rate.STEP).values_list("of", flat=True))
    listed = YarnPrice.objects.filter(delivery=None, lot=None).values_list("yarn__code", flat=True)
    assert sorted(listed) == sorted(Yarn.objects.values_list("code", flat=True))


def test_everything_is_worked_out_and_an_audit_finds_no_difference(capsys):
    assert set(Job.objects.values_list("state", flat=True)) == {Job.DONE}
    call_command("audit")
    assert capsys.readouterr().out.startswith("Nothing differs")


def test_a_book_that_is_begun_is_left_as_it_is():
    n = Movement.objects.count()
    with pytest.raises(CommandError, match=r"The book is not empty: it has 20 customers\. .* an empty book only"):
        call_command("example_mill", stdout=StringIO())
    assert Movement.objects.count() == n


@pytest.mark.parametrize("size", [0, -3, 41])
def test_a_size_that_no_mill_has_is_refused(size):
    with pytest.raises(CommandError, match=f"size {size} can't be written"):
        call_command("example_mill", size=size, stdout=StringIO())


def test_the_rooms_open_on_it():
    desk = Client()
    desk.force_login(get_user_model().objects.get(username="planner"))
    for room, _ in ROOMS:
        assert desk.get(reverse(room)).status_code == 200, room
