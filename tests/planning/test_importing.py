import io
from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory import services as store
from inventory.models import Delivery, Fibre, Movement, Place, Supplier, Yarn, YarnLot
from mill import jobs, roles
from mill.models import Job
from mill.refusal import Refusal
from planning import csv_book
from planning.csv_book import COMMA, KINDS, WRONG_MAX
from planning.models import (
    Beam,
    Cloth,
    ClothSpec,
    Colourway,
    Customer,
    Loom,
    Order,
    OrderLine,
    Reed,
    ShiftPattern,
    YarnPrice,
)
from planning.services import importing, warps
from planning.services.importing import NotBroughtIn, bring_in
from planning.services.warps import Share
from tests import make
from tests.make import make_person

DATA = Path(__file__).resolve().parent.parent / "data"


def text_of(kind: str) -> str:
    return (DATA / f"{kind}.csv").read_text()


def bring(kind, text=None, **changes):
    data = (text if text is not None else text_of(kind)).encode()
    return bring_in(kind, data, **{"by": None, **changes})


def said(kind, text, **changes):
    with pytest.raises(NotBroughtIn) as refused:
        bring(kind, text, **changes)
    return [str(wrong) for wrong in refused.value.wrong]


@pytest.fixture
def book(db):
    """The mill of tests/data, brought in kind by kind."""
    return {kind: bring(kind) for kind in KINDS}


def count(kind: str) -> int:
    models = {
        "fibres": Fibre,
        "suppliers": Supplier,
        "places": Place,
        "yarns": Yarn,
        "prices": YarnPrice,
        "deliveries": Delivery,
        "lots": YarnLot,
        "reeds": Reed,
        "beams": Beam,
        "looms": Loom,
        "cloths": Colourway,
        "customers": Customer,
        "orders": OrderLine,
    }
    return models[kind].objects.count()


# A whole mill


def test_every_kind_is_brought_in_and_a_second_time_changes_nothing(book):
    rows = {kind: len(text_of(kind).splitlines()) - 1 for kind in KINDS}
    assert {kind: brought.new for kind, brought in book.items()} == rows
    assert {kind: count(kind) for kind in KINDS} == rows
    jobs.settle()
    n_lines = Movement.objects.count()
    for kind in KINDS:
        again = bring(kind)
        assert (again.new, again.changed, again.same) == (0, 0, rows[kind]), kind
        assert again.also == ()
    assert Movement.objects.count() == n_lines
    assert not Job.objects.filter(state=Job.QUEUED).exists(), "nothing has changed, so nothing is worked out again"


def test_what_a_file_says_is_what_the_book_has(book):
    assert Yarn.objects.get(code="FELL-03").count_tex == Decimal(125)
    assert Yarn.objects.get(code="FELL-03").supplier.code == "KELD"
    lot = YarnLot.objects.with_balance().get(label="L-2042")
    assert (lot.on_hand_g, lot.place.code, lot.received_on) == (42_500, "BAY-1", date(2026, 8, 3))
    # A hundredweight is 50.802 kg.
    assert YarnLot.objects.with_balance().get(label="L-2053").on_hand_g == 50_802
    assert Reed.objects.get(code="R79").dents_per_10cm == Decimal("78.740")
    assert Loom.objects.get(code="P1").shift_pattern.hours == "Mon-Fri 07:30-16:30"
    assert ShiftPattern.objects.count() == 3
    spec = ClothSpec.objects.get(cloth__code="CO9")
    assert [(step.name, step.width_shrink_pct, step.note) for step in spec.route_steps.all()] == [
        ("scour", Decimal(8), ""),
        ("mill", Decimal(42), "to 155 cm"),
        ("raise", Decimal(2), ""),
        ("crop", Decimal(0), ""),
        ("press", Decimal(0), ""),
    ]
    line = OrderLine.objects.get(order__number="K-1042", position=1)
    # 60 yd are 54.864 m, and a line has two decimals.
    assert (line.length_m, line.weight, line.order.customer.code) == (Decimal("54.86"), 3, "ARDEN")
    store.check_invariants()


def test_what_is_written_beside_the_rows_is_said(db):
    assert bring("yarns").also == ("2 new suppliers: KELD, OSK.",)
    assert bring("lots").also == ("5 new places: BAY-1, BAY-2, BAY-3, CAGE, BAY-4.",)
    assert bring("looms").also[0].startswith("3 new shift patterns: Mon-Fri 06:00-22:00, ")


@pytest.mark.parametrize("kind", KINDS)
def test_a_check_says_the_same_and_writes_nothing(db, kind):
    for before in KINDS[: KINDS.index(kind)]:
        bring(before)
    jobs.settle()
    n_jobs, n_lines = Job.objects.count(), Movement.objects.count()
    checked = bring(kind, is_check=True)
    assert (count(kind), Job.objects.count(), Movement.objects.count()) == (0, n_jobs, n_lines)
    brought = bring(kind)
    assert (checked.new, checked.changed, checked.same, checked.also) == (
        brought.new,
        brought.changed,
        brought.same,
        brought.also,
    )
    assert "Nothing is written" in str(checked)


@pytest.mark.parametrize("kind", KINDS)
def test_semicolons_and_decimal_commas_say_the_same_as_commas_and_points(book, kind):
    columns = importing.KINDS[kind].columns
    is_number = {column.name for column in columns if column.is_number}
    rows = list(csv_book.csv.reader(io.StringIO(text_of(kind))))
    header = rows[0]
    out = io.StringIO()
    writer = csv_book.csv.writer(out, delimiter=";")
    for row in rows:
        writer.writerow(
            [
                csv_book.in_sign(cell, COMMA) if name in is_number else cell
                for name, cell in zip(header, row, strict=True)
            ]
        )
    again = bring(kind, "\ufeff" + out.getvalue(), decimal=COMMA)
    assert (again.new, again.changed, again.same) == (0, 0, len(rows) - 1)


@pytest.mark.parametrize("kind", KINDS)
def test_the_template_of_a_kind_can_be_read(db, kind):
    columns = importing.KINDS[kind].columns
    for decimal in csv_book.SIGNS:
        text = csv_book.template(columns, decimal=decimal)
        sheet = csv_book.read_sheet(text.encode(), columns, key=importing.KINDS[kind].key, decimal=decimal)
        assert (sheet.wrong, sheet.n_rows) == ((), 1)
        assert sheet.columns == tuple(column.name for column in columns)


def test_the_store_is_written_down_before_its_yarns(book):
    assert Fibre.objects.get(name="flax").is_protein is False
    assert Supplier.objects.get(code="OSK").lead_time_days == 21
    assert Place.objects.get(code="CAGE").is_dark
    delivery = Delivery.objects.get(number="PO-72")
    assert (delivery.ordered_g, delivery.supplier.code, delivery.dye_lot) == (40_000, "KELD", "")
    assert Delivery.objects.get(number="PO-71").ordered_on == date(2026, 12, 8)


def test_a_delivery_that_moves_is_worked_out_again_and_keeps_its_yarn(book):
    brought = bring("deliveries", change("deliveries", "62.5,2027-01-12", "62.5,2027-02-02"))
    assert (brought.changed, brought.same) == (1, 1)
    jobs.settle()
    yarn = Yarn.objects.get(code="FELL-03")
    assert yarn.outlook.days[-1]["day"] == "2027-02-02"
    delivery = Delivery.objects.get(number="PO-71")
    make.make_lot(yarn=yarn, delivery=delivery)
    (wrong,) = said("deliveries", change("deliveries", "PO-71,FELL-03", "PO-71,FELL-05"))
    assert wrong.startswith("Row 2, yarn: Delivery PO-71 has brought 1 lot of FELL-03")
    (wrong,) = said("deliveries", change("deliveries", ",40,", ",0,"))
    assert wrong.startswith("Row 3, mass_kg: A delivery of 0 g brings nothing.")


# Changes


def change(kind: str, what: str, into: str) -> str:
    text = text_of(kind)
    assert text.count(what) == 1, text.count(what)
    return text.replace(what, into)


def test_a_changed_row_changes_its_record_alone(book):
    brought = bring("yarns", change("yarns", "FELL-05,straw", "FELL-05,barley"))
    assert (brought.new, brought.changed, brought.same) == (0, 1, 9)
    assert Yarn.objects.get(code="FELL-05").name == "barley"
    assert Yarn.objects.get(code="FELL-05").history.count() == 2
    brought = bring("looms", change("looms", "55,60,0,Mon-Fri 07:30-16:30", "55,60,0,Mon-Fri 06:00-22:00"))
    assert (brought.changed, brought.same, brought.also) == (1, 3, ())
    brought = bring("customers", "code,name,notes\nFERN,Fernside,\nNEW1,New one,\n")
    assert (brought.new, brought.changed) == (1, 1)
    bring("customers", "code,name,points_limit_per_100_yd2\nFERN,Fernside,28\nNEW1,New one,\n")
    assert [
        c.points_limit_per_100_yd2 for c in Customer.objects.filter(code__in=["FERN", "NEW1"]).order_by("code")
    ] == [
        28,
        None,
    ]


def test_a_column_that_is_left_out_leaves_what_is_written(book):
    bring("customers", "code,name\nARDEN,Arden and Voss\n")
    assert Customer.objects.get(code="ARDEN").notes == "Rolls on tubes."
    bring("customers", "code,name,notes\nARDEN,Arden and Voss,\n")
    assert Customer.objects.get(code="ARDEN").notes == ""


def test_a_yarn_of_another_count_is_worked_out_again(book):
    warps.make_warp([Share(OrderLine.objects.get(order__number="K-1041", position=1), 1)], by=None)
    jobs.settle()
    before = warps.Warp.objects.get().worked.warp_g
    bring("yarns", change("yarns", "FELL-03,moss,8 nm", "FELL-03,moss,7 nm"))
    jobs.settle()
    assert warps.Warp.objects.get().worked.warp_g > before


def test_a_lot_is_received_once_and_another_mass_is_refused(book):
    (wrong,) = said("lots", change("lots", "L-2042,FELL-03,8814,42.5", "L-2042,FELL-03,8814,41"))
    assert wrong == (
        "Row 3, mass_kg: Lot L-2042 is in the book with 42\u202f500 g received; this row says 41\u202f000 g. What was "
        "received stays written: count the lot in the store, and the ledger follows."
    )
    (wrong,) = said("lots", change("lots", "L-2043,FELL-03,8901", "L-2043,FELL-05,8901"))
    assert "Row 4, yarn: Lot L-2043 is in the book with FELL-03 moss" in wrong
    assert store.check_invariants() is None


def test_a_lot_that_has_moved_and_been_drawn_since_is_the_same_lot(book):
    lot = YarnLot.objects.get(label="L-2041")
    store.move(lot=lot, place=Place.objects.get(code="CAGE"), by=None)
    store.draw_free(lot=lot, grams=5_000, for_what="a sample", by=None)
    assert bring("lots").same == 13
    assert YarnLot.objects.with_balance().get(label="L-2041").on_hand_g == 55_000


def test_a_lot_from_tomorrow_is_a_delivery(book):
    tomorrow = timezone.localdate() + timedelta(1)
    (wrong,) = said("lots", f"lot,yarn,dye_lot,mass_kg,received_on\nL-1,FELL-03,1,5,{tomorrow}\n")
    assert "Row 2, received_on" in wrong
    assert "delivery that is expected" in wrong


def test_a_cloth_that_says_something_else_becomes_a_new_revision(book):
    text = change("cloths", "A=FELL-03,150,42.3", "A=FELL-03,148,42.3").replace("press,10,", "press,10,narrower")
    brought = bring("cloths", text)
    assert (brought.new, brought.changed, brought.same) == (0, 2, 4)
    assert brought.also == ("1 new revision: TW1 rev 2.",)
    spec = ClothSpec.objects.get(cloth__code="TW1", revision=2)
    assert (spec.finished_width_cm, spec.note) == (Decimal(148), "narrower")
    assert bring("cloths", text).same == 6
    # The colourway that only stands in the second row came along.
    assert {entry.colourway.name for entry in spec.colourway_yarns.all()} == {"moss", "bramble"}


def test_one_more_colourway_is_no_new_revision_and_leaves_the_others(book):
    header = text_of("cloths").splitlines()[0]
    brought = bring("cloths", f"{header}\nTW1,,straw,A=FELL-05{',' * (header.count(',') - 3)}\n")
    assert (brought.new, brought.changed, brought.also) == (1, 0, ())
    assert ClothSpec.objects.filter(cloth__code="TW1").count() == 1
    names = Colourway.objects.filter(cloth__code="TW1").values_list("name", flat=True)
    assert set(names) == {"moss", "bramble", "straw"}
    assert bring("cloths").same == 6


def test_a_revision_of_some_colourways_keeps_the_others(book):
    columns = "cloth,name,colourway,yarns,finished_width_cm,reed_dents_per_10cm,loom_picks_per_cm,warp_crimp_pct,"
    columns += "weaving_contraction_pct,warp_order,weft_order,threading,lifting,route"
    brought = bring("cloths", f"{columns}\nTW1,,moss,A=FELL-03,,,,,,,,,,none\nTW1,,rain,A=FELL-14,,,9,,,,,,,\n")
    assert (brought.new, brought.changed, brought.also) == (1, 1, ("1 new revision: TW1 rev 2.",))
    spec = ClothSpec.objects.get(cloth__code="TW1", revision=2)
    assert (spec.loom_picks_per_cm, spec.warp_crimp_pct, spec.route_steps.count()) == (9, Decimal("7.5"), 0)
    assert {entry.colourway.name for entry in spec.colourway_yarns.all()} == {"moss", "bramble", "rain"}


def test_a_new_cloth_must_say_what_has_no_usual_value(book):
    header = text_of("cloths").splitlines()[0]
    (wrong,) = said("cloths", f"{header}\nNEW,,straw,A=FELL-05{',' * (header.count(',') - 3)}\n")
    assert wrong.startswith("Row 2, finished_width_cm: NEW is a new cloth, and none of its rows says this")


def test_a_cloth_that_can_not_be_woven_is_refused_beside_its_column(book):
    shrunk = change("cloths", "mill w42 l34 m3", "mill w100 l34 m3")
    assert said("cloths", shrunk) == [
        "Row 7, route: mill: a width shrinkage of 100 % leaves no cloth. It is a share of what enters the step, under 100 %."
    ]
    (wrong,) = said("cloths", change("cloths", "rain and straw,A=FELL-14 B=FELL-05", "rain and straw,A=FELL-14"))
    assert wrong.startswith("Row 5, yarns: Colourway rain and straw has no yarn at B")
    (wrong,) = said("cloths", change("cloths", "bramble,A=FELL-11", "bramble,A=FELL-11 B=FELL-03"))
    assert wrong == "Row 3, yarns: B stands for FELL-03, and the orders use A. Leave it out, or put it in an order."
    (wrong,) = said("cloths", change("cloths", "peat,A=GARTH-01", "peat,A=GARTH-1"))
    assert wrong == "Row 7, yarns: A: There is no yarn GARTH-1 in the book. Did you mean GARTH-01?"
    (wrong,) = said("cloths", change("cloths", "1-4,1+2 2+3 3+4 1+4,scour w4", "1-4,1+2 2+3 3+5 1+4,scour w4"))
    assert wrong.startswith("Row 6, lifting:")


def test_two_rows_of_a_cloth_may_not_disagree(book):
    header = text_of("cloths").splitlines()[0]
    first, second = text_of("cloths").splitlines()[1:3]
    second = second.replace("A=FELL-11,,", "A=FELL-11,151,", 1)
    (wrong,) = said("cloths", "\n".join([header, first, second]))
    assert wrong == (
        'Row 3, finished_width_cm: "151" is written here, and "150" for cloth TW1 in row 2. Write the right one, or '
        "leave it to one row."
    )


# Orders


def test_an_order_line_that_nothing_hangs_on_is_changed_with_its_history(book, planner):
    brought = bring("orders", change("orders", "TW1,bramble,2,55", "TW1,bramble,3,50"), by=planner)
    assert (brought.new, brought.changed, brought.same) == (0, 1, 7)
    line = OrderLine.objects.get(order__number="K-1044", position=1)
    assert (line.pieces, line.length_m) == (3, Decimal(50))
    assert [(row.pieces, row.history_user) for row in line.history.order_by("history_date")] == [
        (2, None),
        (3, planner),
    ]


def test_a_line_on_a_warp_changes_as_far_as_the_warp_allows(book):
    line = OrderLine.objects.get(order__number="K-1041", position=2)
    warp = warps.make_warp([Share(line, 2)], by=None)
    jobs.settle()
    bring("orders", change("orders", "K-1041,,,,2,TW1,moss,2,60", "K-1041,,,,2,TW1,moss,2,70"))
    jobs.settle()
    warp.refresh_from_db()
    assert warp.worked.warp_length_m > 150
    warps.Warp.objects.update(state=warps.Warp.WOUND)
    (wrong,) = said("orders", change("orders", "K-1041,,,,2,TW1,moss,2,60", "K-1041,,,,2,TW1,moss,2,80"))
    assert wrong.startswith(f"Row 3, length_m: {warp} is wound for 2 pieces of line K-1041/2 in 70 m")


def test_lines_are_counted_from_1(db):
    row = "K-1041,FERN,2026-10-05,F/118,0,TW1,moss,1,120,2027-01-15,2.5,2,"
    found = said("orders", f"{text_of('orders').splitlines()[0]}\n{row}\n")
    assert any(one.startswith("Row 2, line: 0 is too little") for one in found)


def test_the_head_of_an_order_is_changed_too(book):
    brought = bring("orders", change("orders", "K-1043,QUILL,2026-10-19,77-A", "K-1043,MOSSG,2026-10-19,77-B"))
    assert brought.same == 8
    order = Order.objects.get(number="K-1043")
    assert (order.customer.code, order.reference) == ("MOSSG", "77-B")


def test_everything_wrong_is_said_by_row_and_column_and_nothing_is_written(book):
    n = OrderLine.objects.count()
    text = "\n".join(
        [
            text_of("orders").splitlines()[0],
            "K-2001,FERN,2026-10-05,,1,TW1,moss,1,120 kg,2027-01-15,2.5,2,",
            "K-2001,,,,2,TW11,moss,0,60,2027-01-22,2.5,1,",
            "K-2002,FERM,2026-10-05,,1,TW1,mos,1,60,2026-10-01,2.5,12,",
            "K-2003,FERN,04/03/2026,,1,TW1,moss,2.5,60,2027-01-22,2.5,1,",
            "K 2004,FERN,2026-03-04,,1,TW1,moss,2,60,2027-01-22,2.5,1,",
            "K-2005,FERN,2026-03-04,,1,TW1,moss,2,60,2026-01-22,2.5,11,",
            "K-2006,FERN,2026-10-05,,1,TW1,moss,1,60,2027-01-15,2.5,2,this one is good",
        ]
    )
    found = said("orders", text)
    assert [wrong.partition(":")[0] for wrong in found] == [
        "Row 2, length_m",
        "Row 3, pieces",
        "Row 3, cloth",
        "Row 4, customer",
        "Row 5, placed_on",
        "Row 5, pieces",
        "Row 6, order",
        "Row 7, weight",
    ]
    assert found[2] == "Row 3, cloth: There is no cloth TW11 in the book. Did you mean TW1?"
    assert found[3] == "Row 4, customer: There is no customer FERM in the book. Did you mean FERN?"
    assert OrderLine.objects.count() == n
    assert not Order.objects.filter(number__startswith="K-20").exists()


def test_the_rows_that_are_good_are_not_kept_when_a_later_one_is_not(db):
    text = text_of("yarns") + "FELL-99,no,8 furlongs,woollen,,17,EU,,,\n"
    (wrong,) = said("yarns", text)
    assert wrong.startswith("Row 12, count:")
    assert not Yarn.objects.exists()
    assert not Supplier.objects.exists()
    assert not Job.objects.exists()


def test_no_more_than_a_hundred_things_are_said(db):
    rows = "\n".join(f"C{n},,{n}" for n in range(250))
    with pytest.raises(NotBroughtIn, match="250 things are wrong with these customers") as refused:
        bring("customers", f"code,name,notes\n{rows}\n")
    assert len(refused.value.wrong) == WRONG_MAX
    assert [wrong.row for wrong in refused.value.wrong] == list(range(2, 102))


@pytest.mark.parametrize(
    ("kind", "row", "wrong"),
    [
        ("reeds", "R1,,,200,1", "Row 2, dents_per_10cm: Reed R1: neither the dents nor the stamp"),
        ("reeds", "R1,Stockport 40,60,200,1", "Row 2, dents_per_10cm: Stockport 40 has 78.74 dents in 10 cm"),
        ("reeds", "R1,,63,200 kg,1", 'Row 2, width_cm: "200 kg" is a mass'),
        ("beams", "B1,178,760,180,95,yes", "Row 2, flange_mm: A flange of 180 mm can't stand over a barrel of 760 mm"),
        ("beams", "B1,178,180,760,-95,yes", 'Row 2, tare_kg: "-95" is below 0'),
        ("beams", "B1,178,180,760,95,perhaps", 'Row 2, in_use: "perhaps" is neither yes nor no'),
        ("looms", "L1,dobby,190,0,no,4,800,250,75,0,Mon-Fri 06:00-22:00", "Row 2, shafts: A loom without a jacquard"),
        ("looms", "L1,dobby,190,8,no,4,800,250,175,0,Mon-Fri 06:00-22:00", "Row 2, efficiency_pct: 175 % is too much"),
        ("looms", "L1,dobby,190,8,no,4,800,250,75,0,Mon-Fri 06:00", "Row 2, hours:"),
        ("yarns", "Y1,one,2/24 nw,felt,#111111,18.25,EU,,0,yes", 'Row 2, spinning: "felt" is none of woollen, worsted'),
        ("yarns", "Y1,one,2/24 nw,worsted,red,18.25,EU,,0,yes", "Row 2, colour: Write the colour as #"),
        ("yarns", "Y1,one,2/24 nw,worsted,#111111,118,EU,,0,yes", "Row 2, regain_pct: 118 % is too much"),
        ("fibres", "wool,perhaps,17,EU", 'Row 2, protein: "perhaps" is neither yes nor no'),
        ("fibres", "wool,yes,117,EU", "Row 2, regain_pct: 117 % is too much"),
        ("suppliers", "KELDSIDE-SPINNERS-AND-SONS,Keld,28,", 'Row 2, code: "KELDSIDE-SPINNERS-AND-SONS" is 26 letters'),
        ("suppliers", "KELD,Keld,soon,", "Row 2, lead_time_days:"),
        ("places", "A1,Front bay,dim", 'Row 2, dark: "dim" is neither yes nor no'),
        ("deliveries", "PO 1,NONE,5,2027-01-12,,,,", "Row 2, yarn: There is no yarn NONE in the book"),
        ("lots", "L1,NONE,1,5,2026-01-01,1,,", "Row 2, yarn: There is no yarn NONE in the book"),
        ("customers", "A B,Somebody,", "Row 2, code: 'A B' can't be a customer's code"),
    ],
)
def test_a_value_that_can_not_be_is_refused_beside_its_column(db, kind, row, wrong):
    header = text_of(kind).splitlines()[0]
    found = said(kind, f"{header}\n{row}\n")
    assert len(found) == 1
    assert found[0].startswith(wrong)
    assert count(kind) == 0


def test_fibres_are_of_the_book_and_come_to_a_hundred(db):
    lambswool, silk = make.make_fibre(name="lambswool"), make.make_fibre(name="silk")
    header = "code,name,count,spinning,regain_pct,regain_authority,fibres"
    row = "Y1,one,2/24 nw,worsted,17,EU,"
    assert bring("yarns", f"{header}\n{row}lambswool 80 + silk 20\n").new == 1
    shares = {share.fibre: share.share_pct for share in Yarn.objects.get().shares.all()}
    assert shares == {lambswool: 80, silk: 20}
    assert bring("yarns", f"{header}\n{row}silk 20 + lambswool 80\n").same == 1
    assert said("yarns", f"{header}\n{row}lambswool 80\n") == ["Row 2, fibres: The shares come to 80 %, not to 100 %."]
    assert "There is no fibre nettle" in said("yarns", f"{header}\n{row}nettle 100\n")[0]


# Many rows


def orders_text(n_orders: int, lines: int = 3) -> str:
    rows = ["order,customer,placed_on,line,cloth,colourway,pieces,length_m,due_on"]
    for n in range(n_orders):
        rows += [f"M-{n},FERN,2026-10-05,{line},TW1,moss,1,{50 + line},2027-01-15" for line in range(1, lines + 1)]
    return "\n".join(rows)


def queries(do: Callable[[], object]) -> int:
    with CaptureQueriesContext(
        connection,
    ) as captured:
        do()
    return len(captured)


def test_the_number_of_queries_grows_with_batches_and_not_with_lines(book):
    few = queries(lambda: bring("orders", orders_text(5)))
    many = queries(lambda: bring("orders", orders_text(50).replace("M-", "N-")))
    same = queries(lambda: bring("orders", orders_text(50).replace("M-", "N-")))
    # A database takes so many values at a time: some seventy lines.
    assert many - few <= 135 / 40
    assert same < few


@pytest.mark.slow
def test_three_thousand_order_lines_come_in_once_and_are_changed_as_the_file_says(book):
    text = orders_text(1_000)
    for due_on, outcome in (("2027-01-15", "new"), ("2027-01-15", "same"), ("2027-01-16", "changed")):
        brought = bring("orders", text.replace("2027-01-15", due_on))
        assert getattr(brought, outcome) == 3_000
    assert OrderLine.history.count() == 6_000 + 8


# The command


def test_the_command_brings_in_checks_and_refuses(db, tmp_path):
    out = io.StringIO()
    call_command("import_csv", "yarns", str(DATA / "yarns.csv"), "--check", stdout=out)
    assert "All 10 rows of these yarns can be brought in: 10 new" in out.getvalue()
    assert not Yarn.objects.exists()
    call_command("import_csv", "yarns", str(DATA / "yarns.csv"), stdout=out)
    assert "Yarns: 10 new, 0 changed, 0 the same.\n2 new suppliers: KELD, OSK." in out.getvalue()
    bad, err = tmp_path / "bad.csv", io.StringIO()
    bad.write_text("code;width_cm;barrel_mm;flange_mm;tare_kg\nB1;178,5;180;760;95\nB2;x;180;760;95\n")
    with pytest.raises(CommandError, match="One thing is wrong with these beams"):
        call_command("import_csv", "beams", str(bad), "--decimal", "comma", stdout=out, stderr=err)
    assert err.getvalue().startswith('Row 3, width_cm: "x" can\'t be read as a width.')
    with pytest.raises(CommandError, match=r"no\.csv can't be opened: No such file"):
        call_command("import_csv", "beams", str(tmp_path / "no.csv"))
    bad.write_bytes("code,name\nA,Grün\n".encode("latin-1"))
    with pytest.raises(CommandError, match="not written in UTF-8"):
        call_command("import_csv", "customers", str(bad))


def test_the_command_writes_an_example_that_it_can_read(db, tmp_path):
    out, file = io.StringIO(), tmp_path / "beams.csv"
    call_command("import_csv", "beams", "--template", stdout=out)
    file.write_text(out.getvalue())
    call_command("import_csv", "beams", str(file), stdout=out)
    assert Beam.objects.get().code == "B12"


def test_an_unknown_kind_is_refused(db):
    with pytest.raises(
        Refusal, match="Choose one of fibres, suppliers, places, yarns, prices, deliveries, lots, reeds"
    ):
        bring("threads", "code\nA\n")


def test_prices_are_brought_in_each_from_its_day(book):
    prices = YarnPrice.objects.filter(yarn__code="FELL-03").order_by("from_on").values_list("per_kg", flat=True)
    assert list(prices) == [Decimal("9.40"), Decimal("9.85")]
    text = "yarn,per_kg,from_on\nFELL-03,9.90,2026-09-01\n"
    assert bring("prices", text).changed == 1
    assert YarnPrice.objects.get(yarn__code="FELL-03", from_on="2026-09-01").per_kg == Decimal("9.90")
    text = "yarn,per_kg,from_on\nFELL-30,-1,2026-09-01\n"
    assert [wrong.partition(":")[0] for wrong in said("prices", text)] == ["Row 2, per_kg"]
    assert said("prices", text.replace("-1", "1"))[0].startswith("Row 2, yarn: There is no yarn FELL-30")


def test_prices_are_no_stock_keeper_s_to_bring_in(db):
    client = Client()
    client.force_login(make_person("keeper", roles.STOCK_KEEPER))
    assert "/import/prices/" not in client.get("/import/").content.decode()
    assert client.get("/import/prices/").status_code == 404
    assert client.get("/import/prices/template-point.csv").status_code == 404
    sent = {"csv": text_of("prices"), "decimal": "point", "is_check": True}
    assert client.post("/api/imports/prices/", sent, content_type="application/json").status_code == 403
    assert (
        client.post("/api/imports/yarns/", {"csv": text_of("yarns")}, content_type="application/json").status_code
        == 200
    )


# The page


def upload(text: str | bytes, name: str = "a.csv") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, text.encode() if isinstance(text, str) else text, content_type="text/csv")


def test_the_page_shows_what_each_kind_of_file_holds(desk, db):
    for kind in KINDS:
        page = desk.get(reverse("import_csv_kind", args=[kind])).content.decode()
        for column in importing.KINDS[kind].columns:
            assert f'<td class="mono">{column.name}</td>' in page
        assert reverse("import_template", args=[kind, "point"]) in page
    assert desk.get(reverse("import_csv")).status_code == 200
    assert desk.get("/import/threads/").status_code == 404


def test_a_file_is_brought_in_and_the_page_says_so(desk, db):
    address = reverse("import_csv_kind", args=["yarns"])
    answer = desk.post(address, {"file": upload(text_of("yarns")), "decimal": "point"}, follow=True)
    assert answer.redirect_chain == [(address, 302)]
    assert "Yarns: 10 new, 0 changed, 0 the same. 2 new suppliers: KELD, OSK." in answer.content.decode()
    assert Yarn.objects.count() == 10


def test_a_check_on_the_page_writes_nothing_and_keeps_the_choices(desk, db):
    address = reverse("import_csv_kind", args=["beams"])
    text = "code;width_cm;barrel_mm;flange_mm;tare_kg\nB1;178,5;180;760;95\n"
    page = desk.post(address, {"file": upload(text), "decimal": "comma", "is_check": "on"})
    assert page.status_code == 200
    assert "The one row of these beams can be brought in: 1 new, 0 changed, 0 the same." in page.content.decode()
    assert page.context["form"]["decimal"].value() == "comma"
    assert page.context["form"]["is_check"].value() is True
    assert not Beam.objects.exists()


def test_what_is_wrong_stands_on_the_page_as_text(desk, db):
    text = "code,name\n,<b>bold</b>\nA B,<script>alert(1)</script>\n"
    page = desk.post(reverse("import_csv_kind", args=["customers"]), {"file": upload(text), "decimal": "comma"})
    assert page.status_code == 422
    shown = page.content.decode()
    assert "2 things are wrong with these customers, so nothing of them is brought in." in shown
    assert "Row 2" in shown
    assert "<script>alert" not in shown
    assert page.context["form"]["decimal"].value() == "comma"
    assert not Customer.objects.exists()


@pytest.mark.parametrize(
    ("file", "why"),
    [
        (None, "Choose the file"),
        (upload(b""), "The file is empty"),
        (upload("code,name\nA,Grün\n".encode("utf-16")), "UTF-16"),
        (upload(b"x" * 5_000_001), "5.0 MB, and 5 MB are taken at once"),
        (upload(b"\x89PNG\r\n\x1a\n\x00"), "not written in UTF-8"),
    ],
)
def test_a_file_that_is_none_gets_a_sentence_beside_the_field(desk, db, file, why):
    data = {"decimal": "point"} | ({"file": file} if file else {})
    page = desk.post(reverse("import_csv_kind", args=["customers"]), data)
    assert why in page.context["form"].errors["file"][0]
    assert why in page.content.decode()


def test_the_template_is_a_file_that_can_be_brought_in(desk, db):
    answer = desk.get(reverse("import_template", args=["beams", "comma"]))
    assert answer["Content-Disposition"] == 'attachment; filename="beams.csv"'
    assert bring_in("beams", answer.content, by=None, decimal=COMMA).new == 1
    assert desk.get("/import/beams/template-dot.csv").status_code == 404


def test_nobody_brings_anything_in_without_signing_in(client, db):
    answer = client.post(reverse("import_csv_kind", args=["beams"]), {"file": upload(text_of("beams"))})
    assert answer.status_code == 302
    assert "sign-in" in answer["Location"]
    assert not Beam.objects.exists()


def test_cloths_of_the_test_data_can_be_woven(book):
    for cloth in Cloth.objects.all():
        for colourway in cloth.colourways.all():
            spec = cloth.current_spec
            assert spec is not None
            assert spec.as_cloth(colourway).shafts == 4


def test_orders_that_came_in_lead_on_to_their_warps(book, desk):
    address = reverse("import_csv_kind", args=["orders"])
    answer = desk.post(address, {"file": upload(text_of("orders")), "decimal": "point"}, follow=True)
    page = answer.content.decode()
    assert "8 order lines of these orders wait for a warp" in page
    assert f"{reverse('combine')}?orders=K-1041%2CK-1042" in page
    assert "Make warps of them" not in desk.get(address).content.decode()
