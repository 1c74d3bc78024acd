"""Two people at one record in two real browsers: the second reads both versions, chooses, and loses nothing."""

import pytest
from django.contrib.auth import get_user_model
from django.test import Client

from planning.models import Customer
from tests.conftest import opened
from tests.make import make_customer

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_the_second_of_two_reads_both_versions_and_takes_of_each(page, chromium, live_server, axe):
    make_customer(code="HOL1", name="Holm", notes="")
    ann = Client()
    ann.force_login(get_user_model().objects.create_user("ann", first_name="Ann", is_superuser=True))
    page.goto("/customer/HOL1/edit/")
    page.get_by_label("Name").fill("Holm & Daughters")
    page.get_by_label("Notes").fill("Pays by the piece.")
    with opened(chromium, "desk", at=live_server.url, client=ann) as hers:
        hers.goto("/customer/HOL1/edit/")
        hers.get_by_label("Name").fill("Holm Brothers")
        hers.get_by_label("Points of a piece").fill("30")
        hers.get_by_role("button", name="Write it down").click()
        hers.get_by_text("is written down").wait_for()

    page.get_by_role("button", name="Write it down").click()
    name = page.get_by_role("group", name="Name")
    name.wait_for()
    axe(page)
    assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
    assert "Ann wrote here while you had it open" in page.get_by_role("alert").inner_text()
    assert name.locator("p").inner_text().split("\n") == ["When you opened it", "Holm"]
    assert page.get_by_role("textbox", name="Notes").input_value() == "Pays by the piece."
    name.get_by_role("radio", name="Stands now Holm Brothers").check()
    assert not name.get_by_role("radio", name="Yours Holm & Daughters").is_checked()
    page.get_by_role("button", name="Write it down so").click()
    page.get_by_text("is written down").wait_for()
    kept = Customer.objects.get(code="HOL1")
    assert (kept.name, kept.notes, kept.points_limit_per_100_yd2) == ("Holm Brothers", "Pays by the piece.", 30)
