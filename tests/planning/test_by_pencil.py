"""Every sum that is printed gives the figure beside it, worked with a pencil from what stands in it."""

import pytest

from inventory.count_sheet import work_out_count
from inventory.yarn import read_count
from mill.models import Mill
from planning.cost import planned_job, work_out_cost
from planning.forms.reckoner import SumForm
from planning.reckoner import REGISTRY
from planning.ticket import work_out
from tests.pencil import comes_to
from tests.sheets import COST_OF_A_CHAIN, COST_OF_TWO_ORDERS, MILL, SHEETS

# Sums that are said in words: how many of which yarn, of which letter, what was counted, a verdict, an order.
IN_WORDS = {"threads", "sections", "packages", "creel_packages", "number", "scaled_order", "verdict"}
IN_WORDS |= {"shared_efficiency_pct"}  # N and ρ alone: the formula is a series


def wrong(steps):
    words = [step for step in steps if step.name.rpartition(".")[2] in IN_WORDS or "repeats of" in step.sum]
    shown = [step for step in steps if step not in words]
    return [(step.name, step.sum, step.value) for step in shown if not comes_to(step)]


@pytest.mark.parametrize("sheet", SHEETS.values(), ids=SHEETS)
def test_of_a_warp(sheet):
    figures = work_out(sheet.runs, mill=MILL, loom=sheet.loom, beam=sheet.beam)
    runs = [step for run in figures.runs for step in run.working]
    assert wrong([*figures.cloth.working, *figures.working, *runs]) == []


@pytest.mark.parametrize("sheet", [COST_OF_A_CHAIN, COST_OF_TWO_ORDERS])
def test_of_a_cost(sheet):
    figures = work_out(sheet.of.runs, mill=MILL, loom=sheet.of.loom, beam=sheet.of.beam)
    job = planned_job(figures, name="The warp", prices=sheet.prices, set_up=sheet.set_up, set_up_min=sheet.set_up_min)
    assert wrong(work_out_cost(job, sheet.rates).working) == []


@pytest.mark.parametrize("count", ["150 den", "1500 den", "3/2 ne", "2/48 nw", "16 ysw", "R 60/2 tex", "6 lb jute"])
def test_of_a_count(count):
    _, working = work_out_count(read_count(count))
    assert wrong(working.steps) == []


@pytest.mark.parametrize("asked", REGISTRY.values(), ids=REGISTRY)
def test_of_the_reckoner(asked):
    answer = SumForm(asked, {}, mill=Mill(pk=1)).reckon()
    assert answer is not None
    assert wrong(answer.steps) == []
