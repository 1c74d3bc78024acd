"""The cost room: sheets worked by hand, shares that add up, prices that rise."""

from dataclasses import replace
from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mill.refusal import Refusal
from planning import cost as room
from planning.cost import (
    PER_DAY,
    PER_KG,
    PER_M,
    PieceJob,
    Rates,
    Stated,
    StepRate,
    WarpJob,
    YarnUsed,
    compare,
    of_pieces,
    planned_job,
    price_of,
    steps_of,
    together,
    work_out_cost,
)
from planning.rows import shared_out
from planning.ticket import Run, work_out
from tests.sheets import COST_OF_A_CHAIN, COST_OF_TWO_ORDERS, MILL, CostSheet, route, tweed

D = Decimal
SHEETS = {"a chain of 120 m": COST_OF_A_CHAIN, "two orders on a warp": COST_OF_TWO_ORDERS}


def job_of(sheet: CostSheet) -> WarpJob:
    figures = work_out(sheet.of.runs, mill=MILL, loom=sheet.of.loom, beam=sheet.of.beam)
    return planned_job(
        figures,
        name="The warp",
        prices=sheet.prices,
        set_up=sheet.set_up,
        set_up_min=sheet.set_up_min,
        mending_min_per_100_m=sheet.mending_min_per_100_m,
    )


@pytest.mark.parametrize("sheet", SHEETS.values(), ids=SHEETS)
def test_a_warp_costs_what_the_pencil_found(sheet):
    cost = work_out_cost(job_of(sheet), sheet.rates)
    assert {line.name: line.amount for line in cost.lines} == sheet.lines
    assert (cost.total, cost.per_m, cost.missing) == (sheet.total, sheet.per_m, ())
    for name, shares in sheet.shares.items():
        assert next(line.shares for line in cost.lines if line.name == name) == shares, name


def test_an_order_bears_the_shares_of_its_pieces():
    cost = work_out_cost(job_of(COST_OF_TWO_ORDERS), COST_OF_TWO_ORDERS.rates)
    first = of_pieces(cost, ["104/1 no. 1", "104/1 no. 2"], called="104/1")
    second = of_pieces(cost, ["105/2 no. 1"], called="105/2")
    assert second.total == D("362.98")
    assert first.total + second.total == cost.total
    share = next(step for step in second.working if step.name == "share.set_up")
    assert share.sum == "14.27 of 50.80, as 50 m of 178 m off the loom"
    assert together([("one", first), ("other", second)]).total == cost.total


def test_the_price_of_the_chain_leaves_its_margin():
    # 1287.54 / 120 / 0.75 = 14.306, up: 14.31; x 120 = 1717.20; less 1287.54 = 429.66, 25.02 % of the price.
    cost = work_out_cost(job_of(COST_OF_A_CHAIN), COST_OF_A_CHAIN.rates)
    price = price_of(cost, margin_pct=D(25))
    assert (price.per_m, price.total, price.margin) == (D("14.31"), D("1717.20"), D("429.66"))


def test_the_working_of_a_sheet_can_be_followed_line_by_line():
    cost = work_out_cost(job_of(COST_OF_A_CHAIN), COST_OF_A_CHAIN.rates)
    steps = {step.name: step for step in cost.working}
    assert len(steps) == len(cost.working)
    assert all(step.formula and step.source and step.sum and step.unit == "GBP" for step in cost.working)
    assert steps["yarn.warp.0"].label == "Yarn, warp W1"
    assert steps["yarn.warp.0"].sum == "26.959 kg (with waste, figures of the warp) × 9.5 GBP (in force from 1.1.2026)"
    assert steps["total"].value == cost.total


@pytest.mark.parametrize("sheet", [COST_OF_A_CHAIN, COST_OF_TWO_ORDERS])
def test_every_amount_opens_to_the_steps_that_end_in_it(sheet):
    """Whatever is shown of a warp, of a part of it, and of several together: the last of its steps gives the amount."""
    whole = work_out_cost(job_of(sheet), sheet.rates)
    part = of_pieces(whole, [whole.pieces[0].name])
    for cost in (whole, part, together([("one", whole), ("other", part)])):
        amounts = {line.name: line.amount for line in cost.lines} | {"total": cost.total, "per_m": cost.per_m}
        for name, amount in amounts.items():
            steps = steps_of(cost.working, name)
            assert steps[-1].value == amount, name
            assert all(step.sum and step.formula and step.source for step in steps)
        # Every step belongs to an amount: none stands there that opens from nowhere.
        reached = {step.name for name in (*amounts, "per_kg") for step in steps_of(cost.working, name)}
        assert reached == {step.name for step in cost.working}


def test_the_kilograms_of_a_line_are_those_of_its_steps():
    """By hand: 26.959 kg at 9.50 are 256.11; 3 m of thrums of 140.9 m wound are 5.45 of it, and 250.66 are in cloth."""
    cost = work_out_cost(job_of(COST_OF_A_CHAIN), COST_OF_A_CHAIN.rates)
    assert [step.value for step in steps_of(cost.working, "thrums")] == [D("256.11"), D("5.45")]
    assert [step.value for step in steps_of(cost.working, "warp_yarn")] == [D("256.11"), D("250.66")]


# Outside the project: two truths of costing, in a form that this room does not use.


@given(st.integers(2, 60), st.data(), st.decimals(0, 100, places=1))
def test_what_good_pieces_cost_is_all_costs_less_what_seconds_fetch_over_the_good_ones(pieces, data, worth_pct):
    """Usual spoilage with something left to sell, as textbooks of costing account for it: from memory."""
    spoiled = data.draw(st.integers(0, pieces - 1))
    each = D(100)
    jobs = tuple(piece(str(n), is_second=n < spoiled) for n in range(pieces))
    cost = work_out_cost(warp(pieces=jobs, weaving_min=60 * pieces), rates(worth_pct=worth_pct))
    assert cost.amount_of("weaving") == each * pieces
    good = (each * pieces - each * spoiled * worth_pct / 100) / (pieces - spoiled)
    assert abs(cost.total / pieces - good) <= D("0.01")


def test_a_margin_of_a_quarter_is_a_mark_up_of_a_third():
    """By definition: 25 of 100 on a cost of 75."""
    cost = work_out_cost(warp(weaving_min=45), rates())
    assert (cost.total, price_of(cost, margin_pct=D(25)).total) == (D(75), D(100))


# Small warps for the rules


def piece(name="1", **changes) -> PieceJob:
    facts = {"grey_m": D(10), "finished_m": D(10), "grey_g": 5000, "finished_g": 4800, "weaving": D(1000)}
    return PieceJob(name=name, **facts | changes)


def warp(**changes) -> WarpJob:
    """Nothing but what is changed costs anything; two metres of twelve are thrums."""
    facts = {
        "name": "Warp 1",
        "yarns": (),
        "warp_length_m": D(12),
        "thrums_m": D(2),
        "warping_min": 0,
        "set_up": "tie-in",
        "set_up_min": 0,
        "weaving_min": 0,
        "pieces": (piece(),),
    }
    return WarpJob(**facts | changes)


def rates(**changes) -> Rates:
    """A hundred an hour for everything."""
    hour = Stated(D(100))
    facts = {"currency": "GBP", "warping_per_h": hour, "set_up_per_h": hour, "loom_per_h": hour, "mending_per_h": hour}
    return Rates(**facts | {name: Stated(D(v)) if name.endswith("_pct") else v for name, v in changes.items()})


def test_what_is_not_stated_is_named_and_nothing_stands_for_it():
    used = (YarnUsed("warp", "FELL-03", 4000, None), YarnUsed("weft", "FELL-03", 3000, Stated(D(9)), lot="L7"))
    jobs = (piece(passes={"scour": 1, "raise": 1}, mending_min=D(6)),)
    cost = work_out_cost(
        warp(yarns=used, warping_min=30, set_up_min=30, weaving_min=30, pieces=jobs),
        Rates(
            "GBP",
            steps={"raise": StepRate(PER_DAY, Stated(D(90)))},
            seconds_pct=Stated(D(5)),
            overhead_pct=Stated(D(9)),
        ),
    )
    assert cost.missing == (
        "Yarn FELL-03 has no price.",
        "What an hour of warping costs is not stated.",
        "What an hour of set-up costs is not stated.",
        "What an hour of the loom that weaves it costs is not stated.",
        "What the finishing step “scour” costs is not stated.",
        "No machine is named for “raise”: a day of it has no metres.",
        "What an hour of mending costs is not stated.",
        "What a second fetches, as a share of its cost, is not stated.",
    )
    assert (cost.total, cost.per_m, cost.known) == (None, None, D(27))
    with pytest.raises(Refusal, match=r"no price without the cost\. Yarn FELL-03 has no price"):
        price_of(cost, margin_pct=D(20))


def test_nothing_is_missing_for_what_nobody_does():
    assert work_out_cost(warp(weaving_min=6), Rates("GBP", loom_per_h=Stated(D(20)))).total == D("2.00")


def test_a_warp_all_of_seconds_has_nothing_to_bear_their_cost():
    cost = work_out_cost(warp(weaving_min=60, pieces=(piece(is_second=True),)), rates(worth_pct=60))
    assert cost.missing == ("Every piece is a second: no first quality is left to bear their cost.",)
    with pytest.raises(Refusal, match="100 % of seconds leave nothing"):
        work_out_cost(warp(weaving_min=60), rates(worth_pct=60, seconds_pct=100))


def test_a_step_costs_by_the_metre_the_kilogram_or_its_machine_s_day():
    jobs = (piece(passes={"scour": 2, "raise": 1, "press": 1}),)
    steps = {
        "scour": StepRate(PER_KG, Stated(D("1.20"))),
        "raise": StepRate(PER_DAY, Stated(D(300)), D(400)),
        "press": StepRate(PER_M, Stated(D("0.25"))),
    }
    cost = work_out_cost(warp(pieces=jobs), rates(steps=steps))
    # 2 x 5 kg x 1.20 = 12; 10 m / 400 x 300 = 7.50; 10 m x 0.25 = 2.50.
    assert cost.amount_of("finishing") == D("22.00")


def test_a_step_that_comes_twice_in_the_route_is_paid_twice():
    """Raise and crop are done several times over: 127.7 m x (2 x 0.30 + 2 x 0.20) = 127.70, worked by hand."""
    steps = [(name, "0", "0", "0") for name in ("raise", "crop", "raise", "crop")]
    cloth = tweed(route=route(("scour", "10", "6", "8"), *steps))
    figures = work_out([Run("101/1", "Fernside", cloth, 1, D(120))], mill=MILL)
    job = planned_job(figures, name="The warp", prices={}, set_up="gait-up", set_up_min=0, weaving_min=0)
    by_the_m = {"scour": "0", "raise": "0.30", "crop": "0.20"}
    stated = {name: StepRate(PER_M, Stated(D(amount))) for name, amount in by_the_m.items()}
    assert work_out_cost(job, rates(steps=stated)).amount_of("finishing") == D("127.70")


def test_a_currency_without_small_coins_has_none_on_the_sheet():
    cost = work_out_cost(warp(weaving_min=1), replace(rates(), currency="JPY"))
    assert (cost.total, cost.per_m) == (D(2), D(0))
    assert work_out_cost(warp(weaving_min=1), replace(rates(), currency="KWD")).total == D("1.667")
    with pytest.raises(Refusal, match="GBP and JPY can't be added"):
        together([("a", cost), ("b", work_out_cost(warp(), rates()))])


def test_a_warp_without_pieces_and_a_piece_without_length_are_refused():
    with pytest.raises(Refusal, match="Warp 1 has no piece to bear its cost"):
        warp(pieces=())
    with pytest.raises(Refusal, match="Piece 9 has a finished length of 0 m"):
        piece("9", finished_m=D(0))


# Properties

amounts = st.decimals(0, 99_999, places=2)
grams = st.integers(0, 500_000)


@st.composite
def jobs(draw) -> WarpJob:
    codes = draw(st.lists(st.sampled_from("ABCDE"), min_size=1, max_size=4, unique=True))
    names = draw(st.integers(1, 5))
    lengths = st.decimals("0.5", 200, places=2)
    pieces = tuple(
        PieceJob(
            name=str(n),
            grey_m=draw(lengths),
            finished_m=draw(lengths),
            grey_g=draw(grams),
            finished_g=draw(grams),
            weaving=D(draw(st.integers(0, 200_000))),
            weft_g={code: D(draw(grams)) for code in codes},
            passes={step: draw(st.integers(0, 2)) for step in ("scour", "press")},
            mending_min=draw(st.decimals(0, 300, places=1)),
        )
        for n in range(names)
    )
    yarns = tuple(
        YarnUsed(use, code, draw(grams), Stated(draw(st.decimals(0, 90, places=2))))
        for use in ("warp", "weft")
        for code in codes
    )
    minutes = st.integers(0, 9_000)
    return WarpJob("W", yarns, D(200), D(3), draw(minutes), "tie-in", draw(minutes), draw(minutes), pieces)


FULL = rates(
    steps={"scour": StepRate(PER_M, Stated(D("0.85"))), "press": StepRate(PER_KG, Stated(D("0.40")))},
    seconds_pct=4,
    worth_pct=60,
    overhead_pct=12,
)


@given(jobs())
def test_the_pieces_shares_of_every_line_add_up_to_it(job):
    cost = work_out_cost(job, FULL)
    for line in cost.lines:
        assert sum(line.shares) == line.amount, line.name
        assert min(line.shares) >= 0, line.name
    parts = [of_pieces(cost, [bearer.name]) for bearer in cost.pieces]
    assert sum(part.total for part in parts) == cost.total
    assert together([(part.pieces[0].name, part) for part in parts]).total == cost.total


@given(amounts, st.lists(st.decimals(0, 10_000, places=2), min_size=1, max_size=30), st.sampled_from((0, 2, 3)))
def test_an_amount_is_shared_out_to_the_last_coin(amount, weights, places):
    amount = amount.quantize(D(1).scaleb(-places))
    shares = shared_out(amount, weights, places=places)
    assert sum(shares) == amount
    whole = sum(weights)
    if whole:
        for share, weight in zip(shares, weights, strict=True):
            assert abs(share - amount * weight / whole) <= D(1).scaleb(-places)


@given(jobs(), st.data(), st.decimals("0.01", 50, places=2))
def test_a_price_that_rises_never_makes_pieces_cheaper(job, data, more):
    before = work_out_cost(job, FULL)
    n = data.draw(st.integers(0, len(job.yarns) - 1))
    dearer = replace(job.yarns[n], price=Stated(job.yarns[n].price.amount + more))
    yarns = (*job.yarns[:n], dearer, *job.yarns[n + 1 :])
    assert work_out_cost(replace(job, yarns=yarns), FULL).total >= before.total
    name = data.draw(st.sampled_from(("warping_per_h", "set_up_per_h", "loom_per_h", "mending_per_h", "overhead_pct")))
    raised = replace(FULL, **{name: Stated(getattr(FULL, name).amount + more)})
    assert work_out_cost(job, raised).total >= before.total


@given(jobs())
def test_what_went_as_planned_costs_as_planned(job):
    planned = work_out_cost(job, FULL)
    assert all(row.off == 0 for row in compare(planned, work_out_cost(job, FULL)))


@given(st.decimals("0.01", 9000, places=2), st.lists(st.decimals(0, 95, places=1), min_size=2, max_size=5))
def test_more_margin_is_never_a_lower_price(rate, margins):
    cost = work_out_cost(warp(weaving_min=60), rates(loom_per_h=Stated(rate)))
    prices = [price_of(cost, margin_pct=margin).per_m for margin in sorted(margins)]
    assert all(lower <= higher for lower, higher in pairwise(prices))
    assert all(price * cost.finished_m >= cost.total - D("0.005") for price in prices)


def test_lines_stand_in_the_order_of_a_cost_sheet():
    cost = work_out_cost(job_of(COST_OF_A_CHAIN), COST_OF_A_CHAIN.rates)
    assert [line.name for line in cost.lines] == list(room.LINES)
