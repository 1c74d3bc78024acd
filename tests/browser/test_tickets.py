"""The tickets on paper: one A4 each, nothing cut off, the words of the PDF those of the book, the QR code readable."""

import shutil
import subprocess
from pathlib import Path

import pytest

from planning.models import JobTicket
from planning.ticket import from_json
from tests.conftest import opened
from tests.planning.crowded import crowded_ticket

pytestmark = pytest.mark.browser

SIDES = {"job": 1, "warper": 1, "tuner": 1, "weaver": 1, "finisher": 3}


@pytest.fixture
def ticket(live_server, planner) -> JobTicket:
    return crowded_ticket(planner)


def printed(page, ticket: JobTicket, papers: str, to: Path) -> Path:
    page.goto(f"/tickets/{ticket.number}/print/{papers}/")
    page.wait_for_selector("html[data-fitted]", state="attached")
    page.emulate_media(media="print")
    pdf = to / f"{papers}.pdf"
    page.pdf(path=pdf, prefer_css_page_size=True, print_background=True)
    return pdf


def words_of(pdf: Path) -> str:
    done = subprocess.run(["pdftotext", "-layout", str(pdf), "-"], capture_output=True, text=True, check=True)
    return done.stdout


def run_in(text: str) -> str:
    """Without what breaks a word over two lines or spaces thousands."""
    return "".join(text.split())


def test_each_paper_is_one_a4_with_every_figure_on_it_and_a_code_that_reads(
    chromium, live_server, desk, ticket, tmp_path
):
    for tool in ("pdftotext", "pdftoppm", "zbarimg"):
        assert shutil.which(tool), f"{tool} is needed to look at paper"
    figures = from_json(ticket.figures)
    wanted = {
        "job": [str(figures.ends), f"{figures.warp_length_m}m", f"{figures.beam_gross_kg}kg", str(figures.picks)],
        "warper": [str(figures.ends), f"{figures.warp_length_m}m", f"{figures.beam_gross_kg}kg", figures.beam_code],
        "tuner": [str(figures.ends), str(figures.cloth.dents), f"{figures.cloth.reed_width_cm}cm", figures.beam_code],
        "weaver": [str(figures.picks), f"{figures.cloth.grey_width_cm}cm", figures.runs[0].weft_order],
        "finisher": [f"{figures.cloth.grey_width_cm}cm", f"{figures.runs[2].grey_length_m}m"],
    }
    wanted["warper"] += [str(section.ends) for section in figures.sections]
    wanted["weaver"] += [str(mark) for run in figures.runs for mark in run.cut_marks_m]
    wanted["tuner"] += [str(n) for n in figures.cloth.healds]
    # Sixteen shafts are drawn small, so that draft and lifting stand in words as well.
    wanted["tuner"] += ["1-16 15-2", *("+".join(map(str, sorted(lift))) for lift in figures.runs[0].lifting)]
    wanted["tuner"] += [f"{figures.cloth.reed_dents_per_10cm.normalize():f}", f"{figures.beam_gross_kg}kg"]
    wanted["warper"] += [section.colours for section in figures.sections] + [figures.warp_order]
    wanted["finisher"] += [f"{target.width_cm}cm" for run in figures.runs for target in run.targets]
    for use, papers in (("warp", "warper"), ("weft", "weaver")):
        wanted[papers] += [lot["lot"] for lot in ticket.extras["lots"][use]]
        wanted[papers] += [lot["dye_lot"] for lot in ticket.extras["lots"][use]]
        wanted["job"] += [lot["lot"] for lot in ticket.extras["lots"][use]]
    with opened(chromium, "desk", at=live_server.url, client=desk) as page:
        papers_printed = {papers: printed(page, ticket, papers, tmp_path) for papers in SIDES}
        for papers, sides in SIDES.items():
            pdf = papers_printed[papers]
            text = words_of(pdf)
            assert text.count("\f") == sides, f"{papers} takes {text.count(chr(12))} sides"
            for word in wanted[papers]:
                assert run_in(word) in run_in(text), f"{word} is not on the {papers} paper"
            small = page.evaluate(
                """() => [...document.querySelectorAll('.ticket.trade *')]
                .filter(e => e.childNodes.length && !e.closest('.cautions') && !e.closest('svg')
                  && [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim()))
                .filter(e => parseFloat(getComputedStyle(e).fontSize) < 15.99).map(e => e.textContent.trim())"""
            )
            # 12 pt are 16 px.
            assert small == []
            cut = page.evaluate(
                """() => [...document.querySelectorAll('.ticket *')]
                .filter(e => !e.closest('svg') && e.scrollWidth > e.clientWidth + 1 && e.clientWidth)
                .map(e => e.textContent.trim().slice(0, 60))"""
            )
            assert cut == []
            subprocess.run(["pdftoppm", "-r", "150", "-png", str(pdf), str(tmp_path / papers)], check=True)
            for side in sorted(tmp_path.glob(f"{papers}-*.png")):
                read = subprocess.run(["zbarimg", "-q", "--raw", str(side)], capture_output=True, text=True, check=True)
                assert read.stdout.strip() == f"{live_server.url}/t/{ticket.token}/"


def test_a_ticket_s_own_page_prints_the_ticket_and_nothing_else(chromium, live_server, desk, ticket, tmp_path):
    with opened(chromium, "desk", at=live_server.url, client=desk) as page:
        page.goto(f"/tickets/{ticket.number}/")
        page.wait_for_selector("html[data-fitted]", state="attached")
        page.pdf(path=tmp_path / "page.pdf", prefer_css_page_size=True)
    said = words_of(tmp_path / "page.pdf")
    assert said.count("\f") == 1
    assert "This ticket holds" not in said
