"""Pieces, their finishing and dispatch in German: nothing is left in English, and figures are written as German is."""

from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from inventory.models import YarnLot
from mill import language, people
from mill.refusal import Refusal
from planning.models import Machine, Piece, Warp
from planning.piece import Fault
from planning.services import dispatch, finishing, pieces
from planning.services.tracing import origin_of
from tests.german import forgotten, words_of
from tests.make import make_cloth, make_colourway, make_line, make_spec
from tests.planning.floor_walk import cut, finished, make_worker, weaving_warp
from tests.planning.test_shrinkage import SIX_OFF, measured_pieces

pytestmark = pytest.mark.django_db

# What a mill writes itself, signs and units; and what the frame of every page still says in English.
OWN = (
    r"(\d+: )?(scour|press)|creased|Wren|Dolly|Planner|min|cm|kg|g/m²|QR.*|[PT]\d+.*|Person .*|.* (h|min|m|kg|cm)|Name"
    r"|ASTM D5430"
)


@pytest.fixture
def warp(planner) -> Warp:
    """Of two lines: one of two pieces, one of a single one."""
    spec = make_spec()
    return weaving_warp(planner, spec=spec, lines=[make_line(spec=spec), make_line(spec=spec, pieces=1)])


def perched(piece: Piece, by, *, mending_min: int = 0) -> Piece:
    return pieces.perch_grey(
        piece, length_m=Decimal("64.25"), width_cm=Decimal(165), mending_min=mending_min, by=by, worker=make_worker()
    )


def walked(piece: Piece, by) -> Piece:
    """All that can become of a piece, once: every sentence of its account is there."""
    perched(piece, by, mending_min=90)
    pieces.correct_length(piece, grey_length_m=Decimal("64.5"), why="Wren", by=by)
    pieces.mend(piece, minutes=30, by=by, key="a", worker=make_worker(trade="mender"), is_mended=True)
    for step, size in (("scour", (Decimal("150.5"), Decimal("61.2"))), ("press", (None, None))):
        batch = finishing.put_in([piece], step=step, by=by, key=f"{step} wrong")
        finishing.undo_batch(batch, why="Wren", by=by)
        batch = finishing.put_in([piece], step=step, by=by, key=step, worker=make_worker(trade="finisher"))
        finishing.take_out(batch, by=by, sizes={piece.pk: size})
    size = {"length_m": Decimal("60.4"), "width_cm": Decimal("150.5")}
    pieces.measure(piece, **size, mass_g=None, by=by)
    pieces.judge(piece, verdict=Piece.MEND_AGAIN, mending_min=10, why="Wren", by=by)
    pieces.mend(piece, minutes=10, by=by, key="b")
    pieces.judge(piece, verdict=Piece.RE_FINISH, from_step=2, why="creased", by=by)
    finishing.take_out(
        finishing.put_in([piece], step="press", by=by, key="again"), by=by, sizes={piece.pk: size_of("150")}
    )
    line = Piece.objects.get(pk=piece.pk).line
    pieces.final_perch(
        piece,
        **size,
        mass_g=25_000,
        faults=[Fault(Decimal("3.2"), Decimal(80))],
        verdict=Piece.SECOND,
        why="Wren",
        by=by,
    )
    pieces.allocate(piece, line, why="Wren", by=by)
    pieces.allocate(piece, None, by=by)
    pieces.allocate(piece, line, by=by)
    return Piece.objects.get(pk=piece.pk)


def size_of(width: str) -> tuple[Decimal, None]:
    return Decimal(width), None


def send(some: list[Piece], by):
    customer = some[0].line.order.customer
    return dispatch.send(customer, some, sent_on=timezone.localdate(), by=by, key="sent", note="Wren")


@pytest.mark.slow
def test_every_page_of_pieces_finishing_and_dispatch_is_whole_in_german(desk, planner, warp):
    Machine.objects.create(name="Dolly", step="scour", m_per_day=Decimal(128))
    first, second, third, beyond = (cut(warp, planner, worker=make_worker()) for _ in range(4))
    full = walked(first, planner)
    addresses = [reverse("pieces"), reverse("piece_labels"), reverse("dispatches"), reverse("finishing")]
    addresses += [reverse("piece", args=[one]) for one in (full, second, third, beyond)]
    addresses += [f"{reverse('piece', args=[second])}?after=perch", f"{reverse('piece', args=[full])}?after=mend"]
    addresses += [reverse("piece_trace", args=[one]) for one in (full, beyond)]
    addresses += [reverse("dispatch_new", args=[full.line.order.customer.code])]
    addresses += [reverse("lot_trace", args=[lot.label]) for lot in YarnLot.objects.all()]
    assert not forgotten(desk, planner, addresses, own=OWN)
    perched(second, planner, mending_min=120)
    sewn = finishing.put_in([perched(third, planner)], step="scour", by=planner, key="third", worker=make_worker())
    perched(beyond, planner)
    sent = send([full], planner)
    addresses = [reverse("finishing"), reverse("dispatches"), reverse("piece", args=[full])]
    addresses += [reverse("piece", args=[one]) for one in (second, third)]
    addresses += [reverse("batch", args=[sewn.number]), reverse("batch", args=[sewn.number - 1])]
    addresses += [reverse("dispatch", args=[sent.number]), reverse("dispatch_print", args=[sent.number])]
    assert not forgotten(desk, planner, addresses, own=OWN)
    dispatch.take_back(sent, why="Wren", by=planner)
    addresses = [reverse("dispatch", args=[sent.number]), reverse("dispatch_print", args=[sent.number])]
    assert not forgotten(desk, planner, [*addresses, reverse("piece", args=[full])], own=OWN)


ASKED = "?pieces=2&length_m=60&chance_pct="


@pytest.mark.slow
def test_what_pieces_taught_of_their_shrinkage_is_whole_in_german(desk, planner):
    off, apart, few = (make_spec(cloth=make_cloth(code=code)) for code in ("OFF1", "APART1", "FEW1"))
    measured_pieces(off, SIX_OFF)
    measured_pieces(apart, (5.0, 5.5, 6.0, 6.5, 7.0, 7.5, 46.0))
    measured_pieces(few, (6.0, 6.1), width_pct=9.0)
    measured_pieces(make_spec(cloth=few.cloth, revision=2, route=(("press", "0", "20", "0"),)), (19.0,))
    none = make_cloth(code="NONE1")
    make_colourway(cloth=none)
    page = "/cloths/OFF1/shrinkage/"
    addresses = [
        page,
        f"{page}{ASKED}95",
        f"{page}{ASKED}99.99",
        "/cloths/APART1/shrinkage/",
        f"/cloths/FEW1/shrinkage/{ASKED}95",
    ]
    assert not forgotten(desk, planner, [*addresses, "/cloths/NONE1/shrinkage/"], own=OWN)
    german = desk.get(addresses[0]).content.decode()
    assert "6 Stücke sind im Mittel 8,17 % eingesprungen, mit 95 % Sicherheit 7,96 bis 8,37 %" in german
    assert "Das Mittel liegt, 95 %" in german
    answer = desk.post(f"{page}take/", follow=True).content.decode()
    assert "Einsprung, wie ihn 6 Stücke zeigten: Länge 6 auf 8,17 %. OFF1 hat jetzt Revision 2." in answer
    assert off.cloth.specs.get(revision=2).note == "Shrinkage as 6 pieces showed: length 6 to 8.17 %."


def test_a_german_finisher_writes_faults_and_is_answered_with_a_decimal_comma(desk, planner, warp):
    people.speak(planner, language="de", by=planner)
    piece = cut(warp, planner)
    address = reverse("piece", args=[piece])
    answer = desk.post(address, {"act": "faults", "faults-faults": "12,5 m Loch 20 mm\n90 m 80 mm Nissen"})
    assert "Ein Fehler bei 90 m liegt hinter dem Stück, das bei 64,00 m endet." in answer.content.decode()
    answer = desk.post(address, {"act": "faults", "faults-faults": "12,5 m Loch 20 mm\n30 m 80 mm Nissen"}, follow=True)
    assert "2 Fehler, 4 Punkte." in words_of(answer)
    assert [(row.at_m, row.is_hole, row.name) for row in piece.faults.all()] == [
        (Decimal("12.50"), True, "hole"),
        (Decimal("30.00"), False, "Nissen"),
    ]
    # What is kept is English, as programs read it.
    assert piece.entries.last().said == "2 faults, 4 points."


def test_a_grade_and_a_delivery_are_said_in_the_language_of_the_page(planner, warp):
    piece = finished(cut(warp, planner), planner, length_m="58.80")
    pieces.write_faults(piece, [Fault(Decimal(3), Decimal(240))], by=planner)
    graded = pieces.measured(Piece.objects.get(pk=piece.pk)).grade
    line = piece.line
    line.tolerance_pct = Decimal("2.5")
    delivery = pieces.delivery_of(line)
    # 4 points on 58.8 m x 1.5 m: 4.54 in 100 m2, upwards; 40 in 100 yd2 are 47.84.
    assert graded.said == "4 points are 4.54 in 100 m²; the limit is 47.84: it passes."
    assert delivery.said == "58.8 m for 120 m ordered: 61.2 m short, beyond the tolerance of 2.5 %."
    with language.speaking("de"):
        assert graded.said == "4 Punkte sind 4,54 auf 100 m²; die Grenze ist 47,84: Es ist erste Wahl."
        assert delivery.said == "58,8 m auf 120 m bestellt: 61,2 m zu wenig, außerhalb der Toleranz von 2,5 %."


def test_why_a_piece_goes_into_no_batch_is_said_with_the_way_it_goes(planner, warp):
    piece = perched(cut(warp, planner), planner)
    with pytest.raises(Refusal) as no:
        finishing.put_in([piece], step="press", by=planner, key="k")
    assert str(no.value) == f"Piece {piece} goes to scour next, not to press. Leave it out."
    with language.speaking("de"):
        assert no.value.message == f"Stück {piece} kommt als Nächstes zu scour, nicht zu press. Lassen Sie es weg."


def test_who_had_a_piece_in_hand_is_told_in_german_and_kept_in_english(planner, warp):
    piece = walked(cut(warp, planner, worker=make_worker(name="Una")), planner)
    with language.speaking("de"):
        told = origin_of(piece)
        assert told.by_person["Una"] == ["cut off"]
        assert told.told_by_person["Una"] == ["abgenommen"]
