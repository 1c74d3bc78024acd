"""Labels of lots and part cones: which are printed, and what stands on them. The codes are read in tests/browser."""

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory import services
from mill.refusal import Refusal
from tests.inventory.test_pages import in_days, opened, receive_said, rows_of_csv, text_of, written
from tests.make import make_delivery, make_lot, make_place, make_yarn

pytestmark = pytest.mark.django_db


def labels(response):
    """Each label's text."""
    html = response.content.decode()
    return [
        re.sub(r"[\s\u202f]+", " ", re.sub(r"<[^>]+>", " ", one)).strip()
        for one in re.findall(r"<article.*?</article>", html, flags=re.DOTALL)
    ]


@pytest.fixture
def lot(db):
    yarn = make_yarn(code="FELL-03", name="moss", count_as_bought="8 nm", count_tex=125)
    place = make_place(code="BAY-1")
    return make_lot(label="L-2041", yarn=yarn, grams=20_000, gross_g=21_250, packages=20, dye_lot="8814", place=place)


def test_a_lots_label_says_all_that_a_storeman_asks(desk, lot):
    (label,) = labels(opened(desk, "lot_labels", lot="L-2041"))
    assert label == (
        "L-2041 FELL-03 moss 8 nm, 125.0 tex Dye lot 8814 20.000 kg net, 21.250 kg gross, 20 cones"
        f" BAY-1, came {timezone.localdate():%-d %b %Y}"
    )
    assert 'aria-label="QR code of lot L-2041"' in opened(desk, "lot_labels", lot="L-2041").content.decode()


def test_from_the_label_of_one_lot_one_goes_back_to_it(desk, lot):
    make_lot(label="L-2042", yarn=lot.yarn)
    assert f'href="{reverse("lot", args=["L-2041"])}">Back' in opened(desk, "lot_labels", lot="L-2041").content.decode()
    both = opened(desk, "lot_labels", lot=["L-2041", "L-2042"]).content.decode()
    assert f'href="{reverse("lots")}">Back' in both


def test_the_label_has_the_mass_as_it_was_weighed_and_the_ledger_that_at_the_regain(desk):
    # 10 kg at 3 % are 11.359 kg at 17 %: 10 000 x 117 / 103 = 11 359.2.
    lot = make_lot(label="D1", grams=10_000, measured_regain_pct=3)
    assert lot.movements.get().change_g == 11_359
    assert "10.000 kg net" in labels(opened(desk, "lot_labels", lot="D1"))[0]


def test_a_bag_gets_a_label_each(desk, lot):
    found = labels(opened(desk, "lot_labels", lot="L-2041", copies=3))
    assert [re.search(r"\d of 3", label).group() for label in found] == ["1 of 3", "2 of 3", "3 of 3"]
    assert len(labels(opened(desk, "lot_labels", lot="L-2041", copies=0))) == 1
    assert len(labels(opened(desk, "lot_labels", lot="L-2041", copies="many"))) == 1


def test_the_lots_of_a_delivery_of_the_list_and_of_the_last_days(desk, lot):
    delivery = make_delivery(number="PO/7")
    for n in (1, 2):
        make_lot(label=f"P{n}", yarn=delivery.yarn, delivery=delivery, received_on=in_days(-20))
    first = [label.split()[0] for label in labels(opened(desk, "lot_labels", delivery="PO/7"))]
    assert first == ["P1", "P2"]
    assert [label.split()[0] for label in labels(opened(desk, "lot_labels", yarn=lot.yarn_id))] == ["L-2041"]
    assert [label.split()[0] for label in labels(opened(desk, "lot_labels", text="P2"))] == ["P2"]
    assert [label.split()[0] for label in labels(opened(desk, "lot_labels"))] == ["L-2041"]
    assert "that came in the last 7 days" in text_of(opened(desk, "lot_labels"))
    assert desk.get(reverse("lot_labels"), {"delivery": "none"}).status_code == 404
    assert "No lot is meant." in text_of(opened(desk, "lot_labels", lot="none"))


def test_lots_are_ticked_on_their_list(desk, lot):
    page = opened(desk, "lots").content.decode()
    assert re.search(r'<input type="checkbox" name="lot" value="L-2041" form="labels"', page)
    assert f'<form id="labels" method="get" action="{reverse("lot_labels")}">' in page
    assert "Label" not in rows_of_csv(opened(desk, "lots", csv=1))[0], "a tick is nothing to take away"
    assert 'href="/yarn/labels/?text=L-2041"' in opened(desk, "lots", text="L-2041").content.decode()


def test_no_more_than_so_many_are_printed_at_once(desk, lot):
    make_lot(label="L-2042", yarn=lot.yarn)
    response = opened(desk, "lot_labels", lot=["L-2041", "L-2042"], copies=99)
    assert len(labels(response)) == 198
    make_lot(label="L-2043", yarn=lot.yarn)
    response = opened(desk, "lot_labels", lot=["L-2041", "L-2042", "L-2043"], copies=99)
    assert len(labels(response)) == 198


def test_part_cones_are_labelled_as_they_come_back(desk, lot):
    hold = services.reserve(lot=lot, grams=8000, for_what="Warp 118, weft yarn", by=None)
    services.draw_down(reservation=hold, grams=8000, by=None)
    said = {"key": "back", "reservation": hold.pk, "grams": "1.4", "packages": "3"}
    response = written(desk, "lot_write", "L-2041", "return", said=said)
    assert "1.400 kg of part cones came back. Print their 3 labels" in text_of(response)
    address = re.search(r'href="([^"]+)">Print their', response.content.decode()).group(1)
    page = desk.get(address)
    assert [label.split(" Dye lot")[0] for label in labels(page)] == [
        f"L-2041 Part cone {n} of 3 FELL-03 moss 8 nm, 125.0 tex" for n in (1, 2, 3)
    ]
    assert "1.400 kg net together, 3 cones" in labels(page)[0]
    assert f"back {timezone.localdate():%-d %b %Y}" in labels(page)[0]
    assert "Back from Warp 118, weft yarn." in text_of(page)
    assert len(labels(desk.get(address, {"copies": 1}))) == 1
    # The life of the lot leads there too, and so does the page of labels, for what a phone brought back.
    assert address in opened(desk, "lot", "L-2041").content.decode()
    assert address in opened(desk, "lot_labels").content.decode()
    draw = lot.movements.get(kind="draw")
    assert desk.get(reverse("cone_labels", args=[draw.pk])).status_code == 404


def test_labels_of_many_lots_ask_as_often_as_those_of_few(desk, lot):
    def asked():
        with CaptureQueriesContext(connection) as captured:
            opened(desk, "lot_labels")
        return len(captured)

    few = asked()
    for _ in range(20):
        make_lot(place=make_place(), delivery=None)
    assert asked() == few


def test_the_gross_mass_is_written_when_yarn_comes_in(desk):
    written(desk, "lot_receive", said=receive_said(gross_g="21.5"))
    lot = opened(desk, "lot", "A12").context["lot"]
    assert (lot.gross_g, lot.weighed_g) == (21_500, 20_000)
    assert "21.500 kg" in text_of(opened(desk, "lot", "A12"))
    page = text_of(
        written(desk, "lot_receive", said=receive_said(yarn=lot.yarn_id, key="k2", label="A13", gross_g="19"))
    )
    assert "Lot A13 can" in page
    assert "weigh 19 000 g with its cones and 20 000 g without" in page


def test_a_lot_that_weighs_less_with_its_cones_is_refused(db):
    with pytest.raises(Refusal, match="Look which is which") as refused:
        make_lot(grams=10, gross_g=9)
    assert refused.value.field == "gross_g"
    assert make_lot(grams=10, gross_g=10, received_on=timezone.localdate() - timedelta(1)).gross_g == 10
