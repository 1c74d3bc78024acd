"""Bringing a file in, in a real browser at three widths."""

from pathlib import Path

import pytest
from django.urls import reverse

from planning.models import Beam

pytestmark = pytest.mark.browser
DATA = Path(__file__).resolve().parent.parent / "data"


def test_a_file_is_checked_refused_and_brought_in(page, axe, tmp_path):
    page.goto(reverse("import_csv"))
    page.get_by_role("navigation", name="What the file holds").get_by_role("link", name="Beams").click()
    axe(page)
    bad = tmp_path / "beams.csv"
    bad.write_text((DATA / "beams.csv").read_text().replace("W2,178", "W2,178 kg"))
    page.get_by_label("File", exact=True).set_input_files(bad)
    page.get_by_role("button", name="Bring the beams in").click()
    page.get_by_text("One thing is wrong with these beams, so nothing of them is brought in.").wait_for()
    assert page.get_by_text("Row 3, width_cm").is_visible()
    axe(page)
    page.get_by_label("File", exact=True).set_input_files(DATA / "beams.csv")
    page.get_by_label("Only check it").check()
    page.get_by_role("button", name="Bring the beams in").click()
    page.get_by_text("All 6 rows of these beams can be brought in: 6 new").wait_for()
    assert not Beam.objects.exists()
    axe(page)
    page.get_by_label("File", exact=True).set_input_files(DATA / "beams.csv")
    page.get_by_label("Only check it").uncheck()
    page.get_by_role("button", name="Bring the beams in").click()
    page.get_by_text("Beams: 6 new, 0 changed, 0 the same.").wait_for()
    assert Beam.objects.count() == 6
    width = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert width <= 0, "the page scrolls sideways"
