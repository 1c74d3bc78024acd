"""An empty book is written down in an order in which nothing wants what is not there yet."""

import pytest
from django.urls import reverse
from django.utils import timezone

from inventory.models import Fibre
from inventory.yarn import REGAINS
from mill import laying_aside
from mill.models import Mill
from mill.refusal import Refusal
from planning.services import beginning
from tests.make import make_line, make_loom

pytestmark = pytest.mark.django_db


def test_the_first_thing_that_is_missing_is_next(desk):
    assert beginning.next_step().name == "The mill’s name and its figures"
    Mill.objects.create(pk=1, name="Our own")
    assert beginning.next_step().name == "Hours"
    make_loom()
    assert beginning.next_step().name == "Closures"
    page = desk.get(reverse("beginning")).content.decode()
    assert "3 of 17 are begun" in page
    assert '<span class="state">next</span>' in page
    assert "Next: <b>Closures</b>" in desk.get("/").content.decode()


def test_every_step_leads_to_a_list_a_form_and_a_file(desk):
    for step in beginning.steps():
        assert desk.get(reverse(step.see)).status_code == 200, step.name
        assert desk.get(reverse(step.write)).status_code == 200, step.name
        if step.bring:
            assert desk.get(reverse("import_csv_kind", args=[step.bring])).status_code == 200, step.name


def test_nothing_waits_in_an_empty_book_and_every_list_is_narrowed_by_words(desk):
    looms = desk.get("/looms/").content.decode()
    assert "No plan is in force." in looms
    assert "the warps wait" not in looms
    for name in ("looms", "tickets", "pieces", "warps", "orders", "quotes", "lots", "claims"):
        assert "---------" not in desk.get(reverse(name)).content.decode(), name


def test_a_book_with_a_plan_in_force_is_begun(desk, planner):
    from planning.models import PlanRun

    make_line()
    assert beginning.is_under_way()
    PlanRun.objects.create(rule="by hand", state=PlanRun.IN_FORCE, starts_at=timezone.now(), fingerprint="x")
    assert not beginning.is_under_way()
    assert "being begun" not in desk.get("/").content.decode()


def test_the_fibres_of_a_table_are_written_in_one_act_and_once(desk):
    Fibre.objects.create(name="silk", regain_pct="10.5", regain_authority="the mill’s own", key="own")
    page = desk.post(reverse("fibres_of_table"), {"authority": "EU 1007/2011 annex IX"}, follow=True).content.decode()
    of_eu = [regain for regain in REGAINS.values() if regain.authority == "EU 1007/2011 annex IX"]
    assert f"{len(of_eu) - 1} fibres written down" in page
    # What the mill had written itself stays.
    assert Fibre.objects.get(name="silk").regain_authority == "the mill’s own"
    # EU 1007/2011 annex IX: carded wool 17 %, cotton 8.5 %.
    wool, cotton = Fibre.objects.get(name="wool & animal hair, carded"), Fibre.objects.get(name="cotton")
    assert (wool.regain_pct, wool.is_protein) == (17, True)
    assert (float(cotton.regain_pct), cotton.is_protein) == (8.5, False)
    assert wool.history.get().history_user.username == "planner"
    again = desk.post(reverse("fibres_of_table"), {"authority": "EU 1007/2011 annex IX"}, follow=True)
    assert b"The book has all of them already" in again.content
    wrong = desk.post(reverse("fibres_of_table"), {"authority": "hearsay"}, follow=True).content.decode()
    assert "There is no table “hearsay” here" in wrong


def test_the_api_writes_a_table_too(desk):
    sent = {"authority": "ASTM D1909"}
    written = desk.post(reverse("fibre-of-table"), sent, content_type="application/json")
    assert written.status_code == 201
    assert {row["name"] for row in written.json()} >= {"wool", "cotton", "nylon"}
    assert desk.post(reverse("fibre-of-table"), sent, content_type="application/json").json() == []


def test_only_the_example_is_laid_aside_and_only_where_start_can_do_it(desk):
    Mill.objects.create(pk=1, name="Our own")
    assert "the example mill" not in desk.get(reverse("beginning")).content.decode()
    page = desk.post(reverse("lay_example_aside"), follow=True).content.decode()
    assert "This is the book of Our own" in page
    Mill.objects.update(name=laying_aside.EXAMPLE)
    with pytest.raises(Refusal, match=r"where `manage\.py start` has opened the book"):
        laying_aside.ask()
    assert not laying_aside.is_asked()
