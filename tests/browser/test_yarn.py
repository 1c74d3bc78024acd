"""The yarn and store rooms in a real browser: what follows the typing, what waits, and no rule broken at any width."""

import subprocess
from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone
from playwright.sync_api import expect
from pypdf import PdfReader

from inventory import services
from inventory.models import Delivery, Movement, Treatment
from mill import jobs
from tests.make import make_delivery, make_demand, make_lot, make_place, make_supplier, make_trap, make_yarn

pytestmark = pytest.mark.browser


@pytest.fixture
def stock(live_server):
    """A yarn that runs short in ten days, with a lot held in part that lies in the dark."""
    today = timezone.localdate()
    yarn = make_yarn(code="P1", name="Peat", supplier=make_supplier())
    place = make_place(code="B2", is_dark=True)
    lot = make_lot(label="A12", yarn=yarn, grams=9000, place=place, received_on=today - timedelta(120))
    services.reserve(lot=lot, grams=4000, for_what="Warp 118", by=None)
    make_demand(yarn=yarn, on=today + timedelta(10), grams=12_000, label="Warp 119")
    make_delivery(yarn=yarn, number="D7", ordered_g=20_000, expected_on=today + timedelta(8))
    barred = make_lot(label="Q2", yarn=yarn, place=place)
    services.quarantine(lot=barred, reason="larvae", by=None)
    make_trap(code="T1", place=place, lure_renewed_on=today - timedelta(60))
    began = {"began_on": today - timedelta(8), "target_core_c": Decimal(-20), "target_h": Decimal(144), "by": None}
    services.begin_treatment(way="freezing", lots=[barred], **began)
    damp = make_delivery(number="D8", ordered_g=30_000)
    moist = make_lot(label="M1", yarn=damp.yarn, grams=28_000, measured_regain_pct=20, delivery=damp)
    weighed = {moist.pk: (28_000, Decimal(20))}
    services.make_claim(delivery=damp, invoiced_g=30_000, weighed=weighed, by=None)
    jobs.settle()
    return lot


ADDRESSES = [
    *("/yarn/", "/yarn/new/", "/yarns/P1/", "/yarns/P1/?late_by_days=5", "/yarns/P1/edit/", "/yarn/receive/"),
    *("/lots/", "/lots/A12/", "/lots/Q2/", "/deliveries/", "/deliveries/new/", "/yarn/suppliers/", "/yarn/fibres/"),
    *("/store/", "/store/places/", "/store/triggers/", "/yarn/labels/?lot=A12"),
    *("/store/due/", "/store/traps/", "/store/traps/new/", "/store/treatments/", "/store/treatments/new/"),
    *("/claims/", "/claims/1/", "/claims/1/print/"),
]


def test_the_pages_break_no_rule_at_any_width(page, axe, stock):
    line = stock.movements.first()
    place = f"/store/places/{stock.place_id}/"
    treatment, delivery = Treatment.objects.get(), Delivery.objects.get(number="D8")
    claim = f"/deliveries/{delivery.pk}/claim/"
    more = (
        f"/store/treatments/{treatment.pk}/",
        f"/deliveries/{delivery.pk}/",
        claim,
        f"/store/treatments/new/?place={stock.place_id}",
    )
    for address in (
        *ADDRESSES,
        *more,
        place,
        f"{place}inspect/",
        f"{place}count/",
        f"{place}count/sheet/",
        f"/lines/{line.pk}/take-back/",
    ):
        page.goto(address)
        axe(page)
        assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth"), address


def test_the_tex_follows_the_typing(desk_page, live_server):
    desk_page.goto("/yarn/new/")
    desk_page.get_by_label("Count as bought").press_sequentially("2/48 nw", delay=20)
    expect(desk_page.locator("#count")).to_contain_text("36.9 tex")
    desk_page.locator("#count summary").click()
    expect(desk_page.locator("#step-count_tex")).to_contain_text("2 × 885.8118712 ÷ 48")


def test_what_if_follows_the_typing_and_leaves_the_pen_in_the_hand(desk_page, stock):
    desk_page.goto("/yarns/P1/")
    expect(desk_page.locator("#outlook")).to_contain_text("It lasts")
    days = desk_page.get_by_label("What if every delivery came late by")
    days.fill("5")
    expect(desk_page.locator("#outlook")).to_contain_text("if deliveries come 5 days late")
    expect(desk_page.locator("#outlook")).to_contain_text("by 3.0 kg")
    expect(desk_page.locator("#outlook")).to_contain_text("comes 3 days too late")
    expect(days).to_be_focused()


def test_a_page_that_waits_for_the_working_shows_it_when_it_is_done(desk_page, stock):
    services.record_waste(lot=stock, grams=5000, reason="oil", by=None)
    desk_page.goto("/yarns/P1/")
    expect(desk_page.locator("#outlook .working-out")).to_be_visible()
    jobs.settle()
    expect(desk_page.locator("#outlook .working-out")).to_have_count(0)
    assert desk_page.locator("#outlook").get_attribute("hx-trigger") is None, "it asks no more"


def test_yarn_is_drawn_on_a_phone_and_a_double_tap_counts_once(phone_page, stock):
    phone_page.goto("/lots/A12/")
    phone_page.get_by_text("Draw yarn").tap()
    phone_page.locator("#draw_reservation").select_option(label="Warp 118")
    phone_page.locator("#draw_grams").fill("1.5 kg")
    phone_page.get_by_role("button", name="Draw it").dblclick()
    expect(phone_page.get_by_text("yarn drawn: 7.500 kg on hand")).to_be_visible()
    assert Movement.objects.filter(kind="draw").count() == 1


def test_without_a_script_everything_is_still_done(chromium, live_server, desk, stock):
    context = chromium.new_context(base_url=live_server.url, java_script_enabled=False)
    context.add_cookies([{"name": name, "value": c.value, "url": live_server.url} for name, c in desk.cookies.items()])
    page = context.new_page()
    page.goto("/yarns/P1/")
    page.get_by_label("What if every delivery came late by").fill("5")
    page.get_by_role("button", name="Show it").click()
    expect(page.locator("#outlook")).to_contain_text("if deliveries come 5 days late")
    page.goto("/lots/A12/")
    page.get_by_text("Write off").click()
    page.locator("#waste_grams").fill("0.25")
    page.locator("#waste_reason").fill("oil")
    page.get_by_role("button", name="Write it off").click()
    expect(page.get_by_text("yarn written off: 8.750 kg on hand")).to_be_visible()
    context.close()


def codes_of(pdf, folder):
    """What a phone reads from each page of a PDF."""
    (folder / "labels.pdf").write_bytes(pdf)
    subprocess.run(["pdftoppm", "-r", "200", "-png", "labels.pdf", "labels"], cwd=folder, check=True)
    pages = sorted(path.name for path in folder.glob("labels*.png"))
    read = subprocess.run(
        ["zbarimg", "-q", "--raw", "--nodbus", *pages], cwd=folder, capture_output=True, text=True, check=True
    )
    return read.stdout.split()


def test_labels_come_on_paper_and_their_codes_open_the_lot(desk_page, live_server, stock, tmp_path):
    odd = make_lot(label="881/2 b", yarn=stock.yarn, grams=4000, packages=4)
    hold = stock.reservations.get()
    services.draw_down(reservation=hold, grams=4000, by=None)
    line = services.return_to_stock(lot=stock, reservation=hold, grams=400, packages=2, by=None)
    desk_page.goto("/lots/")
    desk_page.get_by_label("Label of A12").check()
    desk_page.get_by_label("Label of 881/2 b").check()
    desk_page.get_by_role("button", name="Labels of the ticked lots").click()
    desk_page.wait_for_url("**/labels/**")
    addresses = codes_of(desk_page.pdf(prefer_css_page_size=True), tmp_path)
    assert sorted(addresses) == [f"{live_server.url}/lots/{name}/" for name in ("881/2%20b", "A12")]
    for address, lot in zip(sorted(addresses), (odd, stock), strict=True):
        desk_page.goto(address)
        expect(desk_page.locator("h1")).to_contain_text(f"Lot {lot}")
    desk_page.goto(f"/lines/{line.pk}/labels/")
    folder = tmp_path / "cones"
    folder.mkdir()
    assert codes_of(desk_page.pdf(prefer_css_page_size=True), folder) == [f"{live_server.url}/lots/A12/"] * 2


def test_a_claim_of_ten_lots_comes_on_one_a4(desk_page, stock, tmp_path):
    delivery = make_delivery(number="D9")
    lots = [make_lot(yarn=delivery.yarn, delivery=delivery, grams=28_000) for _ in range(10)]
    weighed = {lot.pk: (28_000, Decimal("20.5")) for lot in lots}
    services.make_claim(delivery=delivery, invoiced_g=300_000, weighed=weighed, by=None)
    desk_page.goto("/claims/2/print/")
    pdf = desk_page.pdf(prefer_css_page_size=True)
    (tmp_path / "claim.pdf").write_bytes(pdf)
    said = subprocess.run(
        ["pdftotext", "-layout", tmp_path / "claim.pdf", "-"], capture_output=True, text=True, check=True
    )
    assert len(PdfReader(tmp_path / "claim.pdf").pages) == 1
    assert "Short, and claimed" in said.stdout


def test_what_a_delivery_does_follows_the_typing(desk_page, stock):
    delivery = Delivery.objects.get(number="D7")
    desk_page.goto(f"/deliveries/{delivery.pk}/")
    desk_page.get_by_label("Closed").check()
    expect(desk_page.locator("#foresight")).to_contain_text("do not come any more")
    delivery.refresh_from_db()
    assert not delivery.is_closed
