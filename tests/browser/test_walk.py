"""The main job, walked as the planner walks it: files in, warps, looms, a ticket on paper, a new revision.

The figures are a sheet worked by hand, from the order to the paper, and stand the same on the warp's page, in the
API, on the ticket's page and in the text of the printed PDF.

Hill tweed in moss, ordered finished: one piece of 120 m and two of 60 m, 150 cm wide. From its specification: 42.3
dents per 10 cm, 2 ends a dent, 8.46 picks per cm in the loom, crimp 7.5 % of cloth length, contraction 6 % of reed
width, the scour takes 10 % of width and 6 % of length; 8 Nm is 125 tex; waste 2 % of the warp issued.

    reed     150 / 0.90 = 166.7 cm grey; / 0.94 = 177.3 cm; x 8.46 ends per cm = 1500 ends in 750 dents,
             and 750 dents are 177.305 cm in the reed, upwards 177.4 cm
    grey     120 / 0.94 = 127.66, upwards 127.7 m; 60 / 0.94 = 63.83, upwards 63.9 m
    warp     127.7 x 1.075 = 137.28, upwards 137.3 m; 63.9 x 1.075 = 68.69, upwards 68.7 m
             137.3 + 2 x 68.7 + 3 headers of 0.5 + thrums 3.0 = 279.2 m
    yarn     1500 x 279.2 m x 125 g per 1000 m = 52 350 g; / 0.98 = 53 418.4, upwards 53 419 g
    picks    8.46 x 12 770 cm = 108 034.2, upwards 108 035; 8.46 x 6 390 = 54 059.4, upwards 54 060
             108 035 + 2 x 54 060 = 216 155

The revision makes it 9.4 dents per cm: 94 per 10 cm is one end a dent wider set, so the sheet is worked again:
             166.7 / 0.94 = 177.3 cm x 9.0 ends per cm (45 dents per 10 cm) = 1596 ends in 798 dents
"""

import re
import subprocess
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from pypdf import PdfReader

from mill import jobs
from planning.models import JobTicket, Warp

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

DATA = Path(__file__).resolve().parent.parent / "data"
KINDS = [
    "fibres",
    "suppliers",
    "places",
    "reeds",
    "beams",
    "looms",
    "customers",
    "yarns",
    "deliveries",
    "lots",
    "cloths",
    "orders",
]

ENDS, WARP_M, PICKS, REED_CM, WARP_G = "1500", "279.2", "216155", "177.4", "53419"


def plain(text: str) -> str:
    """Text without its spaces: thin ones part thousands on the page, and the printed page has ordinary ones there."""
    return re.sub(r"\s+", "", text)


def bring_in(page: "Page", kind: str) -> None:
    page.goto(f"/import/{kind}/")
    page.set_input_files("input[type=file]", DATA / f"{kind}.csv")
    check = page.get_by_label("Only check it")
    if check.is_checked():
        check.uncheck()
    page.get_by_role("button", name=f"Bring the {kind} in").click()
    assert " new" in page.locator(".note.good, .messages").first.inner_text()


def press(page: "Page", name: str) -> None:
    page.get_by_role("button", name=name, exact=True).first.click()
    page.wait_for_load_state()


def qr_of(pdf: bytes, folder: Path) -> str:
    """What a phone reads from the printed page."""
    (folder / "ticket.pdf").write_bytes(pdf)
    subprocess.run(["pdftoppm", "-r", "150", "-png", "-singlefile", "ticket.pdf", "ticket"], cwd=folder, check=True)
    read = subprocess.run(
        ["zbarimg", "-q", "--raw", "--nodbus", "ticket.png"], cwd=folder, check=True, capture_output=True, text=True
    )
    return read.stdout.strip()


def test_from_files_to_an_overtaken_ticket(desk_page, axe, tmp_path):
    page = desk_page
    for kind in KINDS:
        bring_in(page, kind)
    jobs.settle()

    # Order lines into warps: the two lines of hill tweed share one.
    page.goto("/warps/combine/")
    assert f"{WARP_M}m" in plain(page.inner_text("main"))
    press(page, "Make the ticked warps")
    jobs.settle()
    warp = Warp.objects.get()
    page.goto(f"/warps/{warp.number}/")
    for figure in (ENDS, WARP_M, PICKS, WARP_G):
        assert figure in plain(page.inner_text("main"))
    axe(page)

    # Onto a loom by earliest due date, and the plan in force.
    page.goto("/looms/")
    press(page, "Plan the looms")
    press(page, "Put it in force")
    jobs.settle()
    page.goto("/looms/")
    assert "is in force" in page.inner_text("main")
    axe(page)

    # The yarn is held by lot, and drawn down where the plan asks for it.
    page.goto(f"/warps/{warp.number}/yarn/")
    press(page, "Hold these lots")
    assert "is held" in page.inner_text(".messages")
    page.goto("/yarns/FELL-03/")
    assert "53.4" in plain(page.inner_text("main"))
    axe(page)

    # The ticket, on screen, in the API and on paper.
    page.goto(f"/warps/{warp.number}/")
    press(page, "Issue a ticket")
    ticket = JobTicket.objects.get()
    assert page.url.endswith(f"/tickets/{ticket.number}/")
    screen = plain(page.inner_text(".ticket"))
    answer = page.request.get(f"/api/tickets/{ticket.number}/").json()
    assert answer["figures"]["ends"] == int(ENDS)
    assert answer["figures"]["warp_length_m"] == WARP_M
    assert answer["figures"]["picks"] == int(PICKS)
    assert answer["figures"]["warp_issue_g"] == int(WARP_G)
    axe(page)
    page.goto(f"/tickets/{ticket.number}/print/")
    pdf = page.pdf(prefer_css_page_size=True)
    (paper,) = PdfReader(BytesIO(pdf)).pages
    printed = plain(paper.extract_text())
    for figure in (ENDS, f"{WARP_M}m", PICKS, f"{REED_CM}cm", "53.42kg", "166.7cm", "8814", "K-1041/1"):
        assert figure in screen
        assert figure in printed
    address = qr_of(pdf, tmp_path)
    assert address.endswith(f"/t/{ticket.token}/")

    # A new revision: every figure follows, and the paper on the floor says that it no longer holds.
    page.goto("/cloths/TW1/revise/")
    page.locator("[name=reed_dents_per_10cm]").fill("45")
    page.locator("[name=note]").fill("closer in the reed")
    press(page, "Write revision 2")
    jobs.settle()
    page.goto(f"/warps/{warp.number}/")
    assert "1596" in plain(page.inner_text("main"))
    page.goto(address)
    assert "Don’t work from this" in page.inner_text("main")
    page.goto(f"/tickets/{ticket.number}/print/")
    assert "OVERTAKEN" in PdfReader(BytesIO(page.pdf())).pages[0].extract_text()
    ticket.refresh_from_db()
    assert ticket.figures["ends"] == int(ENDS)
    assert "revision" in ticket.overtaken_why
