"""What a warp, a piece and a line of the book cost: as planned, and as they went."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import transaction
from django.utils import timezone
from django.utils.html import escape

from inventory import services as store
from mill import jobs
from mill.models import Mill
from mill.refusal import Refusal
from planning.models import FloorEvent, Machine, Piece, Rate, Warp, WarpHold, YarnPrice
from planning.services import costing, finishing, floor, looms, pieces, warp_steps, working_out
from planning.services.rates import prices_of_lots, prices_on, rates_on
from tests.make import make_delivery, make_line, make_loom, make_lot, make_spec, make_warp, make_yarn
from tests.planning.floor_walk import cut, finished, make_worker, weaving_warp, wound_warp

pytestmark = pytest.mark.django_db

D = Decimal
BEGAN = date(2020, 1, 1)
HOURS = {Rate.WARPING: "30", Rate.SET_UP: "24", Rate.LOOM: "18", Rate.MENDING: "21"}


def state(kind: str, amount: str, **changes) -> Rate:
    return Rate.objects.create(**{"kind": kind, "amount": D(amount), "from_on": BEGAN} | changes)


def price(yarn, per_kg: str, **changes) -> YarnPrice:
    return YarnPrice.objects.create(**{"yarn": yarn, "per_kg": D(per_kg), "from_on": BEGAN} | changes)


@pytest.fixture
def rates(db):
    """Every hour and step that the tweed takes."""
    for kind, amount in HOURS.items():
        state(kind, amount)
    state(Rate.STEP, "0.85", of="scour", basis="m")
    state(Rate.STEP, "0.40", of="Press", basis="kg")
    state(Rate.MENDING_ALLOWED, "0")


@pytest.fixture
def yarn(db):
    yarn = make_yarn(code="FELL-03")
    price(yarn, "9.50")
    return yarn


@pytest.fixture
def spec(yarn):
    return make_spec(yarns={"A": yarn, "B": yarn})


def woven_out(planner, spec, *, pieces_m=("63.90", "63.90"), **changes):
    """A warp of two pieces, cut, finished, passed and out."""
    warp = weaving_warp(planner, spec=spec, **changes)
    for length_m in pieces_m:
        finished(cut(warp, planner, length_m=length_m), planner)
    warp_steps.weave_out(warp, by=planner)
    jobs.settle()
    warp.refresh_from_db()
    return warp


def amounts(cost) -> dict[str, Decimal]:
    return {line.name: line.amount for line in cost.lines}


def test_what_went_as_planned_cost_as_planned(planner, rates, spec):
    sheet = costing.cost_of_warp(woven_out(planner, spec))
    assert sheet.missing == ()
    assert {row.name: row.off for row in sheet.rows} == dict.fromkeys((row.name for row in sheet.rows), D(0))
    assert (sheet.woven, sheet.pieces, sheet.planned.finished_m) == (2, 2, D(120))


def test_a_warp_that_nobody_has_begun_costs_what_is_planned(rates, spec):
    make_loom()
    warp = make_warp(spec=spec)
    with pytest.raises(Refusal, match=r"has no figures to cost: it is being worked out\."):
        costing.cost_of_warp(warp)
    working(warp)
    sheet = costing.cost_of_warp(warp)
    assert sheet.planned.total == sheet.actual.total > 0
    assert any("the fastest that takes it" in note for note in sheet.notes)
    assert any("a full gait-up is reckoned with" in note for note in sheet.notes)


def working(warp):
    with transaction.atomic():
        working_out.warps_changed([warp.pk])
    jobs.settle()


def test_dearer_lots_and_yarn_left_over_are_the_price_and_usage_variances_of_the_books(planner, rates, spec, yarn):
    """Price variance: (actual - standard price) x actual quantity; usage: (actual - standard quantity) x standard price.

    Standard costing, as textbooks have it; from memory.
    """
    warp = weaving_warp(planner, spec=spec)
    hold = WarpHold.objects.get(warp=warp, use="weft")
    store.return_to_stock(lot=hold.reservation.lot, reservation=hold.reservation, grams=1_000, by=planner, key="back")
    for length_m in ("63.90", "63.90"):
        finished(cut(warp, planner, length_m=length_m), planner)
    warp_steps.weave_out(warp, by=planner)
    price(yarn, "11.25", lot=hold.reservation.lot)
    sheet = costing.cost_of_warp(warp)
    rows = {row.name: row for row in sheet.rows}
    standard_kg = D(hold.drawn_g) / 1000
    of_price = (D("11.25") - D("9.50")) * (standard_kg - 1)
    of_usage = (D(-1)) * D("9.50")
    assert abs(rows["weft_yarn"].off - (of_price + of_usage)) <= D("0.01")
    assert rows["total"].off == rows["weft_yarn"].off
    working_of = next(step for step in sheet.actual.working if step.name.startswith("yarn.") and "weft" in step.label)
    assert "the lot's own" in working_of.sum


def test_pieces_and_lines_bear_the_whole_warp(planner, rates, spec):
    lines = [make_line(spec=spec, pieces=2), make_line(spec=spec, pieces=1, length_m=D("41.50"))]
    warp = weaving_warp(planner, spec=spec, lines=lines)
    for length_m in ("63.90", "64.70", "44.20"):
        cut(warp, planner, length_m=length_m)
    whole = costing.cost_of_warp(warp)
    of_lines = [costing.cost_of_line(line) for line in lines]
    assert sum(sheet.planned.total for sheet in of_lines) == whole.planned.total
    assert sum(sheet.actual.total for sheet in of_lines) == whole.actual.total
    of_pieces = [costing.cost_of_piece(piece) for piece in Piece.objects.order_by("cut")]
    assert sum(sheet.actual.total for sheet in of_pieces) == whole.actual.total
    assert of_pieces[1].actual.total > of_pieces[0].actual.total


def test_what_is_to_come_stands_as_planned_beside_what_has_been(planner, rates, spec):
    warp = weaving_warp(planner, spec=spec)
    cut(warp, planner, length_m="70.00")
    sheet = costing.cost_of_warp(warp)
    assert (sheet.woven, sheet.pieces) == (1, 2)
    rows = {row.name: row for row in sheet.rows}
    assert rows["set_up"].off == rows["warp_yarn"].off == 0
    # 6.1 m more through the scour at 0.85: 5.185.
    assert D("5.18") <= rows["finishing"].off - D("0.40") * D("6.1") * D("0.389") <= D("5.20")
    assert any("1 of 2 pieces are not woven yet" in note for note in sheet.notes)


def test_a_line_on_no_warp_yet_is_reckoned_alone(rates, spec):
    loom = make_loom(code="7")
    line = make_line(spec=spec, pieces=3)
    sheet = costing.cost_of_line(line)
    alone = costing.cost_alone(colourway=line.colourway, pieces=3, length_m=line.length_m)
    assert sheet.planned.total == sheet.actual.total == alone.cost.total
    assert (alone.loom, alone.warps) == (loom, 1)


def test_a_tie_in_is_cheaper_than_a_gait_up_by_its_hours_alone(rates, spec):
    make_loom()
    colourway = spec.cloth.colourways.get()
    ways = [
        costing.cost_alone(colourway=colourway, pieces=2, length_m=D(60), set_up=kind).cost
        for kind in ("gait-up", "tie-in")
    ]
    off = {name: ways[0].amount_of(name) - ways[1].amount_of(name) for name in amounts(ways[0])}
    # Of 1500 ends: 570 min against 127; 443 / 60 x 24 = 177.20.
    assert off == dict.fromkeys(off, D(0)) | {"set_up": D("177.20")}


def test_loom_time_that_was_told_is_what_it_took(planner, rates, spec):
    loom = make_loom(code="7")
    warp = wound_warp(planner, spec=spec, loom=loom)
    una = make_worker(name="Una Bell")
    monday = (timezone.localtime() - timedelta(days=14 + timezone.localtime().weekday())).replace(
        hour=8, minute=0, second=0, microsecond=0
    )

    def tell(kind, at, **facts):
        told = floor.tell(warp, kind=kind, worker=una, key=f"{kind}", by=planner, facts=facts, age=timezone.now() - at)
        assert told.refused == ""

    Warp.objects.filter(pk=warp.pk).update(made_at=monday - timedelta(days=1))
    tell(FloorEvent.GAITED, monday - timedelta(hours=1))
    tell(FloorEvent.STARTED, monday)
    tell(FloorEvent.PIECE_OFF, monday + timedelta(hours=8), length_m=D("63.90"))
    sheet = costing.cost_of_warp(warp)
    rows = {row.name: row for row in sheet.rows}
    assert rows["weaving"].planned == (D(703) / 60 * 18).quantize(D("0.01"))
    # Planned 108 120 picks at 154 a minute: 702.1, up: 703. Eight hours on the first; of the second the plan's half,
    # 351.5, near: 352.
    assert rows["weaving"].actual == (D(480 + 352) / 60 * 18).quantize(D("0.01"))


def test_a_second_round_of_finishing_is_paid_twice(planner, rates, spec):
    warp = weaving_warp(planner, spec=spec)
    piece = cut(warp, planner, length_m="63.90")
    pieces.perch_grey(piece, length_m=D("63.90"), width_cm=D(167), mending_min=0, by=planner)
    for step in ("scour", "press"):
        piece.refresh_from_db()
        batch = finishing.put_in([piece], step=step, by=planner, key=step)
        finishing.take_out(batch, by=planner)
    before = costing.cost_of_warp(warp).actual.amount_of("finishing")
    pieces.measure(piece, length_m=D(60), width_cm=D(150), mass_g=24_000, by=planner)
    pieces.judge(piece, verdict=Piece.RE_FINISH, why="Greasy.", from_step=1, by=planner)
    after = costing.cost_of_warp(warp).actual.amount_of("finishing")
    # 63.9 m x 0.85 = 54.315, and 24.9 kg x 0.40 = 9.95, once more.
    assert D("64.2") < after - before < D("64.4")


def test_a_step_that_comes_twice_in_the_route_is_paid_twice_though_no_batch_was_told(planner, rates, yarn):
    state(Rate.STEP, "0.30", of="Press", basis="m", from_on=BEGAN + timedelta(days=1))
    press = ("press", "0", "0", "0")
    spec = make_spec(yarns={"A": yarn, "B": yarn}, route=[("scour", "10", "6", "8"), press, press])
    sheet = costing.cost_of_warp(woven_out(planner, spec))
    # Two pieces of 63.9 m: 127.8 m x 0.85 = 108.63; 2 x 127.8 m x 0.30 = 76.68.
    assert sheet.planned.amount_of("finishing") == sheet.actual.amount_of("finishing") == D("185.31")


def test_a_second_is_borne_by_the_good_ones(planner, rates, spec):
    state(Rate.WORTH, "50")
    warp = weaving_warp(planner, spec=spec)
    finished(cut(warp, planner, length_m="63.90"), planner)
    bad = cut(warp, planner, length_m="63.90")
    pieces.perch_grey(bad, length_m=D("63.90"), width_cm=D(167), mending_min=0, by=planner)
    pieces.measure(bad, length_m=D(60), width_cm=D(150), mass_g=25_000, by=planner)
    pieces.judge(bad, verdict=Piece.SECOND, why="Barred.", by=planner)
    sheet = costing.cost_of_warp(warp)
    # Half of it seconds at half their cost: 0.5 x 0.5 / 0.5, half the cost again.
    before = sum(amount for name, amount in amounts(sheet.actual).items() if name != "seconds")
    assert sheet.actual.amount_of("seconds") == (before / 2).quantize(D("0.01"), "ROUND_HALF_UP")
    assert sheet.planned.amount_of("seconds") == 0
    line = warp.parts.get().line
    # It has left its line, and its cost has not.
    assert costing.cost_of_line(line).actual.total == sheet.actual.total


def test_an_old_piece_keeps_its_old_rates(planner, rates, spec):
    warp = woven_out(planner, spec)
    before = costing.cost_of_warp(warp)
    state(Rate.LOOM, "99", from_on=timezone.localdate() + timedelta(days=1))
    price(spec.colourway_yarns.first().yarn, "99", from_on=timezone.localdate() + timedelta(days=1))
    assert costing.cost_of_warp(warp).planned.total == before.planned.total
    assert rates_on(timezone.localdate() + timedelta(days=1)).of_loom(None).amount == 99


def test_a_loom_s_own_rate_comes_before_its_kind_s_and_that_before_every_loom_s(rates):
    looms_of = [make_loom(code="7"), make_loom(code="8"), make_loom(code="9", kind="Pedal")]
    state(Rate.LOOM, "20", of="Dobby Rapier")
    state(Rate.LOOM, "22", of="7")
    book = rates_on(timezone.localdate())
    assert [book.of_loom(loom).amount for loom in looms_of] == [22, 20, 18]


def test_a_step_by_the_day_goes_by_its_machine(rates):
    state(Rate.STEP, "300", of="raise", basis="day", from_on=date(2020, 2, 1))
    assert rates_on(date(2026, 1, 1)).facts(loom=None, steps=["Raise"]).steps["Raise"].m_per_day is None
    Machine.objects.create(name="Gig", step="raise", m_per_day=D(400))
    found = rates_on(date(2026, 1, 1)).facts(loom=None, steps=["Raise", "scour", "dye"]).steps
    assert {name: (step.basis, step.m_per_day) for name, step in found.items()} == {
        "Raise": ("day", D(400)),
        "scour": ("m", None),
    }
    assert "Raise" not in rates_on(date(2020, 1, 31)).facts(loom=None, steps=["Raise"]).steps


def test_a_lot_s_price_is_its_own_else_its_delivery_s_else_the_yarn_s_of_its_day(yarn):
    price(yarn, "10.50", from_on=date(2026, 5, 1))
    delivery = make_delivery(yarn=yarn)
    price(yarn, "9.90", delivery=delivery)
    lots = [
        make_lot(yarn=yarn, delivery=delivery, label="A1", dye_lot="1"),
        make_lot(yarn=yarn, delivery=delivery, label="A2", dye_lot="1"),
        make_lot(yarn=yarn, label="A3", received_on=date(2026, 4, 30)),
        make_lot(yarn=yarn, label="A4", received_on=date(2026, 5, 1)),
    ]
    price(yarn, "8.80", lot=lots[1])
    other = make_lot(label="B1")
    found = prices_of_lots([*lots, other], day=timezone.localdate())
    assert [found[lot.pk].amount for lot in lots] == [D("9.90"), D("8.80"), D("9.50"), D("10.50")]
    assert other.pk not in found
    assert {code: one.amount for code, one in prices_on(date(2026, 4, 30), [yarn.code]).items()} == {
        yarn.code: D("9.50")
    }


@pytest.mark.parametrize(
    ("row", "field", "why"),
    [
        (Rate(kind=Rate.STEP, amount=1, basis="m"), "of", "Say which finishing step"),
        (Rate(kind=Rate.STEP, amount=1, of="scour"), "basis", "a metre, a kilogram, or a day"),
        (Rate(kind=Rate.WARPING, amount=1, basis="m"), "basis", "Only a finishing step has one"),
        (Rate(kind=Rate.WARPING, amount=1, of="7"), "of", "one rate of warping, an hour for the whole mill"),
        (Rate(kind=Rate.LOOM, amount=1, of="77"), "of", "No loom is numbered “77”"),
        (Rate(kind=Rate.MARGIN, amount=100), "amount", "100 % would be all of it"),
    ],
)
def test_a_rate_that_can_t_be_is_refused_beside_its_field(planner, row, field, why):
    row.from_on = BEGAN
    with pytest.raises(Refusal, match=why) as refused:
        looms.write_down(row, by=planner)
    assert refused.value.field == field


def test_a_price_of_another_yarn_s_lot_is_refused(planner, yarn):
    lot = make_lot(label="Z9")
    with pytest.raises(Refusal, match=rf"Z9 is yarn {lot.yarn.code}, not FELL-03"):
        looms.write_down(YarnPrice(yarn=yarn, lot=lot, per_kg=1, from_on=BEGAN), by=planner)
    with pytest.raises(Refusal, match="has a price from that day on"):
        looms.write_down(YarnPrice(yarn=yarn, per_kg=1, from_on=BEGAN), by=planner)


def test_another_currency_would_make_what_is_stated_untrue(planner, yarn):
    mill = Mill.the_one()
    mill.currency = "EUR"
    with pytest.raises(Refusal, match="stand in GBP; in EUR they would be something else"):
        looms.write_down(mill, by=planner)
    YarnPrice.objects.all().delete()
    assert looms.write_down(mill, by=planner).currency == "EUR"


def test_what_has_no_price_is_named_on_the_sheet(planner, spec):
    warp = woven_out(planner, spec)
    YarnPrice.objects.all().delete()
    sheet = costing.cost_of_warp(warp)
    lots = sorted(hold.reservation.lot.label for hold in WarpHold.objects.filter(warp=warp))
    assert "Yarn FELL-03 has no price." in sheet.planned.missing
    assert {f"Yarn FELL-03, lot {label} has no price." for label in lots} <= set(sheet.actual.missing)
    assert sheet.planned.total is None


def test_a_piece_of_no_warp_has_no_cost_here(spec):
    piece = Piece.objects.create(number="X1", spec=spec, woven_on=BEGAN, grey_length_m=D(60), grey_width_cm=D(160))
    with pytest.raises(Refusal, match="Piece X1 came off no warp of this book"):
        costing.cost_of_piece(piece)


def test_every_amount_of_a_warp_a_piece_and_a_line_opens_to_its_working(desk, planner, rates, spec):
    """Planned and actual, on each of their pages and on the sheet that is printed: the last step gives the amount."""
    warp = woven_out(planner, spec, pieces_m=("63.90", "62.10"))
    piece = warp.woven_pieces.first()
    line = warp.parts.get().line
    for address, sheet in (
        (f"/warps/{warp.number}/cost/", costing.cost_of_warp(warp)),
        (f"/pieces/{piece.number}/cost/", costing.cost_of_piece(piece)),
        (f"/order/{line.order.number}/line/{line.position}/cost/", costing.cost_of_line(line)),
    ):
        page, printed = (desk.get(address, asked).content.decode() for asked in ({}, {"sheet": "worked"}))
        for row, planned, actual in sheet.worked:
            assert (planned[-1].value, actual[-1].value) == (row.planned, row.actual), (address, row.name)
            assert f'id="planned-{row.name}-step-{planned[-1].name}"' in page
            assert f'id="actual-{row.name}-step-{actual[-1].name}"' in page
        for step in (*sheet.planned.working, *sheet.actual.working):
            assert escape(step.sum) in printed
        # Of which lot, of what day, and by whose word: the planned and the actual kilograms and hours.
        assert "lot " in printed
        assert "in force from" in printed
        assert f"figures of {warp}" in printed
        assert "drawn, less what came back" in printed
        assert "as measured" in printed
