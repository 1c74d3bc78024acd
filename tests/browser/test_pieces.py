"""The pages of pieces, finishing and dispatch in a real browser: no rule broken at any width, labels that read."""

import subprocess
from decimal import Decimal

import pytest
from django.utils import timezone

from planning.models import Machine
from planning.services import dispatch, finishing, pieces
from tests.conftest import opened
from tests.make import make_customer, make_line, make_order, make_spec
from tests.planning.floor_walk import cut, finished, weaving_warp

pytestmark = pytest.mark.browser


@pytest.fixture
def mill(live_server, planner):
    """A piece at every station between the loom and the customer."""
    spec = make_spec()
    customer = make_customer(code="HAZ", name="Hazel and Sons")
    line = make_line(spec=spec, order=make_order(customer=customer), pieces=6, tolerance_pct=Decimal("2.5"))
    warp = weaving_warp(planner, spec=spec, lines=[line], number=118)
    Machine.objects.create(name="Dolly", step="scour", m_per_day=Decimal(200))
    cuts = [cut(warp, planner) for _ in range(6)]
    for piece, minutes in zip(cuts[1:4], (0, 0, 90), strict=True):
        pieces.perch_grey(piece, length_m=Decimal(64), width_cm=Decimal(165), mending_min=minutes, by=planner)
    finishing.put_in([cuts[1]], step="scour", by=planner, key="k")
    for piece in cuts[4:]:
        finished(piece, planner)
    dispatch.send(customer, [finished_piece(cuts[5])], sent_on=timezone.localdate(), by=planner, key="k")
    return warp


def finished_piece(piece):
    return type(piece).objects.select_related("line__order").get(pk=piece.pk)


@pytest.mark.parametrize(
    "address",
    [
        "/pieces/",
        "/pieces/118-3/",
        "/pieces/118-6/origin/",
        "/pieces/labels/",
        "/finishing/",
        "/finishing/batches/1/",
        "/dispatch/",
        "/dispatch/new/HAZ/",
        "/dispatch/1/",
    ],
)
def test_the_pages_break_no_rule_at_any_width(page, axe, mill, address):
    page.goto(address)
    axe(page)
    assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth")


def test_labels_and_packing_list_come_on_paper_and_the_codes_read(chromium, live_server, desk, mill, tmp_path):
    with opened(chromium, "desk", at=live_server.url, client=desk) as page:
        page.goto("/pieces/labels/?piece=118-1&piece=118-2")
        page.pdf(path=tmp_path / "labels.pdf", prefer_css_page_size=True)
        page.goto("/dispatch/1/print/")
        page.pdf(path=tmp_path / "list.pdf", prefer_css_page_size=True)
    subprocess.run(["pdftoppm", "-r", "200", "-png", tmp_path / "labels.pdf", tmp_path / "labels"], check=True)
    read = subprocess.run(
        ["zbarimg", "-q", "--raw", *sorted(tmp_path.glob("labels*.png"))], capture_output=True, text=True, check=True
    )
    assert sorted(read.stdout.split()) == [f"{live_server.url}/pieces/118-{n}/" for n in (1, 2)]
    text = subprocess.run(
        ["pdftotext", "-layout", tmp_path / "list.pdf", "-"], capture_output=True, text=True, check=True
    )
    assert "118-6" in text.stdout
    assert "60.00" in text.stdout
    assert "Hazel and Sons" in text.stdout
