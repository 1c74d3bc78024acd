"""The stock keeper's day on a phone and the planner's on a desk, from a delivery to a cone that comes back.

The grams are worked by hand beside each step; the ledger is added up at the end.
"""

from datetime import timedelta

import pytest
from django.db.models import Sum
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from inventory import services
from inventory.models import Delivery, Movement, Reservation, YarnLot
from mill import jobs
from planning.services import warps
from planning.services.warps import Share
from tests.browser.test_yarn import codes_of
from tests.make import make_beam, make_delivery, make_line, make_lot, make_place, make_spec, make_supplier, make_yarn

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def act(page, title):
    """Opens one of the forms on a lot's page, and gives it."""
    page.get_by_text(title, exact=True).tap()
    return page.locator("details[open]", has=page.get_by_text(title, exact=True))


def on_paper(desk_page, address):
    """A page printed by the store's own machine: phones have no printer."""
    desk_page.goto(address)
    return desk_page.pdf(prefer_css_page_size=True)


def test_the_stock_keeper_takes_yarn_in_gives_it_out_and_takes_cones_back(phone_page, desk_page, live_server, tmp_path):
    place = make_place(code="B2")
    yarn = make_yarn(code="P1", name="Peat", supplier=make_supplier())
    make_delivery(yarn=yarn, number="D7", ordered_g=20_000, expected_on=timezone.localdate())
    page = phone_page

    # 12.5 of the 20 kg come; nobody has compared the shade yet. A finger lands twice.
    page.goto("/deliveries/")
    page.get_by_role("link", name="receive").tap()
    page.get_by_label("Lot", exact=True).fill("A12")
    page.get_by_label("Dye lot").fill("881")
    page.get_by_label("Net mass").fill("12.5")
    page.get_by_label("Gross mass").fill("13.1")
    page.get_by_label("Cones").fill("10")
    page.get_by_label("Where it lies").select_option(label=str(place))
    page.get_by_label("Shade compared, and right").uncheck()
    page.locator("main form button.main").dblclick()
    expect(page.locator("h1")).to_contain_text("Lot A12")
    expect(page.get_by_text("Its shade is not approved")).to_be_visible()
    assert Movement.objects.count() == 1
    lot = YarnLot.objects.get()

    # The label goes on the bag; its code opens the lot.
    page.get_by_role("link", name="Label", exact=True).tap()
    page.wait_for_url("**/labels/**")
    (address,) = codes_of(on_paper(desk_page, page.url), tmp_path)
    page.goto(address)
    expect(page.locator("h1")).to_contain_text("Lot A12")

    # Without an approved shade there is nothing to draw it with; with it 12.5 - 4 = 8.5 kg are left.
    expect(page.get_by_text("Draw yarn", exact=True)).to_have_count(0)
    act(page, "Approve the shade").get_by_role("button").tap()
    expect(page.get_by_text("shade approved: 12.500 kg on hand")).to_be_visible()
    services.reserve(lot=lot, grams=4000, for_what="Warp 118", by=None)
    page.reload()
    form = act(page, "Draw yarn")
    form.get_by_label("Out of the hold for").select_option(label="Warp 118")
    form.get_by_label("How much").fill("4.5")
    form.get_by_role("button").tap()
    expect(page.get_by_text("4000 g of lot A12 are held for Warp 118")).to_be_visible()
    form = page.locator("details[open]")
    assert form.get_by_label("How much").input_value() == "4.5"
    form.get_by_label("How much").fill("4 kg")
    form.get_by_label("Cones").fill("4")
    form.get_by_role("button").tap()
    expect(page.get_by_text("yarn drawn: 8.500 kg on hand")).to_be_visible()

    # Two part cones come back, 0.35 kg: 8.85 kg. Each gets a label that opens the lot.
    form = act(page, "Part cones come back")
    form.get_by_label("Back from").select_option(label="Warp 118")
    form.get_by_label("How much").fill("350 g")
    form.get_by_label("Cones").fill("2")
    form.get_by_role("button").tap()
    expect(page.get_by_text("part cones back: 8.850 kg on hand")).to_be_visible()
    page.get_by_role("link", name="Print their 2 labels").tap()
    page.wait_for_url("**/labels/**")
    folder = tmp_path / "cones"
    folder.mkdir()
    assert codes_of(on_paper(desk_page, page.url), folder) == [f"{live_server.url}/lots/A12/"] * 2

    # A slip is taken back by a line against it: 8.85 - 0.2 + 0.2.
    page.goto("/lots/A12/")
    form = act(page, "Write off")
    form.get_by_label("How much").fill("0.2")
    form.get_by_label("Why").fill("oil")
    form.get_by_role("button").tap()
    expect(page.get_by_text("yarn written off: 8.650 kg on hand")).to_be_visible()
    page.get_by_role("link", name="Take back line 6").tap()
    page.get_by_label("Why").fill("it was another lot")
    page.locator("main form button.main").dblclick()
    expect(page.locator("h1")).to_contain_text("Lot A12")
    assert Movement.objects.filter(kind=Movement.REVERSE).count() == 1

    # Counted without the book in sight: 8.7 kg lie there, 0.15 kg less than the book has.
    page.goto(f"/store/places/{place.pk}/")
    page.get_by_role("link", name="Count it").tap()
    expect(page.get_by_text("8.850")).to_have_count(0)
    page.get_by_label("Lot A12, weighed").fill("8.7")
    page.get_by_role("button", name="Show the differences").tap()
    expect(page.get_by_role("row", name="A12")).to_contain_text("8.850")
    expect(page.get_by_role("row", name="A12")).to_contain_text("-0.150")
    page.get_by_role("button", name="Post the corrections").dblclick()
    expect(page.get_by_text("1 lot of B2 counted: 1 differed from the book")).to_be_visible()
    assert Movement.objects.filter(kind=Movement.COUNT).count() == 1

    # Larvae: nothing can be drawn until it is released.
    page.goto("/lots/A12/")
    act(page, "Into quarantine").get_by_label("Why").fill("larvae in the bag")
    page.locator("details[open]").get_by_role("button").tap()
    expect(page.get_by_text("In quarantine: larvae in the bag")).to_be_visible()
    expect(page.get_by_text("Draw yarn", exact=True)).to_have_count(0)
    page.goto("/store/")
    expect(page.get_by_role("link", name="A12").first).to_be_visible()

    # 20 - 12.5 = 7.5 kg of the delivery are still to come.
    page.goto(f"/deliveries/{Delivery.objects.get().pk}/")
    expect(page.get_by_text("7.5 kg", exact=True)).to_be_visible()
    assert lot.movements.aggregate(g=Sum("change_g"))["g"] == 12_500 - 4_000 + 350 - 200 + 200 - 150
    services.check_invariants()


def test_the_planner_sees_a_shortage_mends_it_and_holds_the_lots(desk_page):
    peat, cream = make_yarn(code="P1", name="Peat", supplier=make_supplier()), make_yarn(code="C1", name="Cream")
    spec = make_spec(yarns={"A": peat, "B": cream}, warp_order="A4", weft_order="B4")
    make_beam()
    line = make_line(spec=spec, pieces=2, due_on=timezone.localdate() + timedelta(70))
    warp = warps.make_warp([Share(line, 2)], by=None)
    jobs.settle()
    peat_g = warp.yarns.get(use="warp").issue_g
    cream_g = warp.yarns.get(use="weft").issue_g
    make_lot(label="C9", yarn=cream, grams=cream_g + 5_000, dye_lot="20")
    page = desk_page

    # Nothing of the warp yarn is here: all of it is short.
    jobs.settle()
    page.goto(reverse("yarn"))
    page.get_by_role("link", name="P1", exact=True).click()
    expect(page.locator("#outlook")).to_contain_text(f"by {peat_g / 1000:.1f} kg")
    expect(page.locator("#outlook")).to_contain_text(f"Warp {warp.number}")

    # A delivery of what is wanted: before it is written down, the leaf says that the yarn is short no longer.
    page.get_by_role("link", name="New delivery").click()
    page.get_by_label("Ordered", exact=False).first.fill(f"{peat_g + 2_000} g")
    page.get_by_label("Expected on").fill((timezone.localdate() + timedelta(3)).isoformat())
    expect(page.locator(".follows")).to_contain_text("no longer short")
    assert not Delivery.objects.exists()
    page.get_by_label("Delivery", exact=True).fill("D7")
    page.get_by_role("button", name="Write it down").dblclick()
    expect(page.get_by_role("link", name="D7", exact=True)).to_be_visible()
    assert Delivery.objects.count() == 1
    jobs.settle()

    # In time as expected, too late when everything comes a year late; trying changes nothing.
    page.goto("/yarns/P1/")
    expect(page.locator("#outlook")).to_contain_text("It lasts")
    page.get_by_label("What if every delivery came late by").fill("365")
    expect(page.locator("#outlook")).to_contain_text("comes")
    expect(page.locator("#outlook")).to_contain_text("too late")
    assert Delivery.objects.get().expected_on == timezone.localdate() + timedelta(3)

    # It comes, all of one dye lot; then the lots of both yarns are held in one go.
    services.receive(
        yarn=peat,
        grams=peat_g + 2_000,
        label="P9",
        dye_lot="881",
        received_on=timezone.localdate(),
        delivery=Delivery.objects.get(),
        by=None,
    )
    jobs.settle()
    page.goto(reverse("lot_shares"))
    expect(page.locator("main")).to_contain_text("P9")
    expect(page.locator("main")).to_contain_text("C9")
    page.get_by_role("button", name="Hold what is ticked").dblclick()
    expect(page.get_by_text("Yarn is held for every warp that takes any.")).to_be_visible()
    assert sorted(Reservation.objects.values_list("lot__label", flat=True)) == ["C9", "P9"]
    held = dict(Reservation.objects.with_remaining().values_list("lot__label", "remaining_g"))
    assert held == {"P9": peat_g, "C9": cream_g}
    services.check_invariants()
