"""Shrinkage learned: against tables and worked examples in print, against numpy, and by simulation."""

from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from mill.refusal import Refusal
from planning.finishing import route_shrink_pct
from planning.models import Piece
from planning.services import shrinkage as services
from planning.shrinkage import (
    PIECES_LEAST,
    against,
    chi2_quantile,
    learn,
    mean_and_spread,
    outliers,
    scaled_route,
    t_quantile,
    t_share,
    trend,
    two_sided_factor,
    weave_for,
)
from tests.make import make_cloth, make_colourway, make_spec

FIVE = [Decimal(n) for n in ("5.8", "6.1", "6.4", "5.9", "6.3")]


# NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2, upper critical values of Student's t. From memory.
@pytest.mark.parametrize(
    ("share", "freedom", "printed"),
    [
        (0.90, 1, 3.078),
        (0.95, 1, 6.314),
        (0.975, 1, 12.706),
        (0.975, 2, 4.303),
        (0.95, 4, 2.132),
        (0.975, 4, 2.776),
        (0.99, 4, 3.747),
        (0.95, 10, 1.812),
        (0.975, 10, 2.228),
        (0.995, 10, 3.169),
        (0.95, 30, 1.697),
        (0.975, 30, 2.042),
        (0.999, 30, 3.385),
        (0.975, 100, 1.984),
    ],
)
def test_students_t_is_that_of_the_printed_table(share, freedom, printed):
    assert t_quantile(share, freedom) == pytest.approx(printed, abs=0.0006)
    assert t_quantile(1 - share, freedom) == -t_quantile(share, freedom)


# The same, 1.3.6.7.4: chi-square. From memory.
@pytest.mark.parametrize(
    ("share", "freedom", "printed"),
    [
        (0.05, 4, 0.711),
        (0.95, 4, 9.488),
        (0.05, 10, 3.940),
        (0.99, 10, 23.209),
        (0.01, 42, 23.650),
        (0.95, 100, 124.342),
    ],
)
def test_chi_square_is_that_of_the_printed_table(share, freedom, printed):
    assert chi2_quantile(share, freedom) == pytest.approx(printed, abs=0.0006)


def test_the_alloy_in_print_has_the_intervals_in_print():
    """Montgomery and Runger, Applied Statistics and Probability for Engineers, examples 8-4 and 8-8: load at failure of
    22 specimens of U-700 alloy. Mean 13.71, s 3.55; 95 % confidence interval of the mean 12.14 to 15.28, 95 % prediction
    interval of the next specimen 6.16 to 21.26. The 22 loads are from memory, and have the printed mean and s.
    """
    loads = "19.8 10.1 14.9 7.5 15.4 15.4 15.4 18.5 7.9 12.7 11.9 11.4 11.4 14.1 17.6 16.7 15.8 19.5 8.8 13.6 11.9 11.4"
    learned = learn([Decimal(load) for load in loads.split()])
    assert (learned.n, learned.mean_pct, learned.spread_pct) == (22, Decimal("13.71"), Decimal("3.55"))
    # Printed from the rounded mean and s.
    for found, printed in (
        (learned.mean_between, ("12.14", "15.28")),
        (learned.next_between, ("6.16", "21.26")),
    ):
        assert abs(found.low_pct - Decimal(printed[0])) <= Decimal("0.02")
        assert abs(found.high_pct - Decimal(printed[1])) <= Decimal("0.02")


def test_forty_three_wafers_have_the_tolerance_factor_in_print():
    """NIST/SEMATECH e-Handbook, 7.2.6.3: 90 % of the wafers with 99 % confidence, N = 43: k2 = 2.217."""
    assert two_sided_factor(43, share=0.90, confidence=0.99) == pytest.approx(2.217, abs=0.0005)


def test_the_worked_outlier_in_print_is_found_and_no_other():
    """Tietjen and Moore's mass spectrometer readings, NIST/SEMATECH e-Handbook 1.3.5.17.1: 245.57. From memory."""
    readings = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
    assert outliers(readings) == (7,)
    assert outliers(readings[:-1]) == ()
    assert outliers([6.0] * 9 + [9.0]) == (9,)
    assert outliers([6.0] * 10) == ()


@given(st.lists(st.floats(-20, 60), min_size=2, max_size=40))
def test_mean_and_spread_are_numpys(values):
    mean, spread = mean_and_spread(values)
    assert mean == pytest.approx(np.mean(values), abs=1e-9)
    assert spread == pytest.approx(np.std(values, ddof=1), abs=1e-6)


@given(st.lists(st.floats(-20, 60), min_size=3, max_size=40))
def test_the_trend_is_numpys(values):
    assert trend(values)[0] == pytest.approx(np.polyfit(range(len(values)), values, 1)[0], abs=1e-6)


def test_a_trend_is_seen_in_what_climbs_and_in_few_chance_series():
    assert trend([5.0, 5.4, 6.1, 6.2, 6.9, 7.3])[1]
    rng = np.random.default_rng(7)
    seen = sum(trend(list(rng.normal(6, 0.5, 12)))[1] for _ in range(1000))
    assert 25 <= seen <= 80


@given(st.floats(0.5, 0.9995), st.integers(1, 200))
def test_quantile_and_share_take_each_other_back(share, freedom):
    assert t_share(t_quantile(share, freedom), freedom) == pytest.approx(share, abs=1e-7)


@pytest.mark.slow
@pytest.mark.parametrize(("n", "pieces", "chance"), [(5, 1, 90), (8, 3, 95), (20, 2, 75), (30, 6, 99)])
def test_the_stated_chance_of_reaching_length_holds_over_ten_thousand_orders(n, pieces, chance):
    """Each order has a history of its own, drawn afresh: what is stated is the chance before anything is known."""
    rng = np.random.default_rng(20_261_125 + n)
    reached = 0
    for _ in range(10_000):
        history = [Decimal(str(round(pct, 4))) for pct in rng.normal(7.0, 0.8, n)]
        advice = weave_for(history, length_m=Decimal(60), pieces=pieces, chance_pct=Decimal(chance))
        came = rng.normal(7.0, 0.8, pieces)
        reached += float(advice.grey_length_m) * np.sum(1 - came / 100) >= 60 * pieces
    assert abs(reached / 100 - chance) <= 2


def test_no_advice_is_given_on_under_five_pieces():
    assert PIECES_LEAST == 5
    assert weave_for(FIVE[:4], length_m=Decimal(60), pieces=1, chance_pct=Decimal(95)) is None
    learned = learn(FIVE[:4])
    assert not against(learned, specified_pct=Decimal(20)).is_against
    assert "5 are needed" in against(learned, specified_pct=Decimal(20)).said


def test_the_sum_is_shown_and_can_be_done_again_with_a_pencil():
    advice = weave_for(FIVE, length_m=Decimal(60), pieces=2, chance_pct=Decimal(95))
    # 6.1 + 2.1318 x 0.255 x sqrt(1/2 + 1/5) = 6.5548, up: 6.56; 60 / 0.9344 = 64.213, up: 64.22
    assert advice.sum == ("6.1 % + 2.1318 × 0.255 % × √(1/2 + 1/5) = 6.56 %; 60 m ÷ (1 − 6.56 %) = 64.22 m")
    assert advice.mean_length_m == Decimal("63.90")
    assert advice.more_m == Decimal("0.32")


def test_a_better_chance_or_fewer_pieces_never_asks_for_less():
    lengths = [
        weave_for(FIVE, length_m=Decimal(60), pieces=2, chance_pct=Decimal(chance)).grey_length_m
        for chance in (50, 75, 90, 95, 99)
    ]
    assert all(a <= b for a, b in pairwise(lengths))
    one, ten = (weave_for(FIVE, length_m=Decimal(60), pieces=n, chance_pct=Decimal(95)).grey_length_m for n in (1, 10))
    assert ten <= one


def test_what_can_t_be_asked_is_refused():
    with pytest.raises(Refusal, match=r"choose 50 to 99\.9"):
        weave_for(FIVE, length_m=Decimal(60), pieces=1, chance_pct=Decimal(100))
    with pytest.raises(Refusal, match="no length is safe"):
        weave_for([Decimal(n) for n in (0, 90, 0, 90, 0)], length_m=Decimal(9), pieces=1, chance_pct=Decimal(99))
    with pytest.raises(Refusal, match="No piece has been measured"):
        learn([])


@given(st.lists(st.integers(-500, 3000), min_size=1, max_size=8), st.integers(0, 6000))
def test_a_scaled_route_takes_what_was_asked_to_a_hundredth_or_so(steps, to):
    before = [Decimal(step) / 100 for step in steps]
    to_pct = Decimal(to) / 100
    total = route_shrink_pct(scaled_route(before, to_pct=to_pct))
    if all(-50 <= pct < 99 for pct in scaled_route(before, to_pct=to_pct)):
        assert abs(total - to_pct) <= Decimal("0.02")


# The book

pytestmark = pytest.mark.django_db


def measured_pieces(spec, shrinkages, *, width_pct=10.0):
    """Finished pieces whose length shrank so much."""
    for n, pct in enumerate(shrinkages):
        Piece.objects.create(
            number=f"{spec.cloth.code}-{spec.revision}-{n}",
            spec=spec,
            state=Piece.READY,
            woven_on=date(2026, 3, 1),
            grey_length_m=Decimal(100),
            grey_width_cm=Decimal(200),
            finished_on=date(2026, 3, 20) + timedelta(days=n),
            finished_length_m=Decimal(str(round(100 - pct, 2))),
            finished_width_cm=Decimal(str(round(200 - 2 * width_pct, 1))),
        )


SIX_OFF = (8.1, 8.4, 7.9, 8.3, 8.0, 8.3)


def test_pieces_are_learned_from_by_route_and_a_wrong_specification_is_offered_a_revision(planner, desk):
    # Its route, scour and press, takes 6 % of the length and 10 % of the width.
    spec = make_spec(cloth=make_cloth(code="HER"))
    measured_pieces(spec, SIX_OFF)
    route = services.current_of(spec.cloth)
    length, width = route.dimensions
    assert (length.learned.mean_pct, length.evidence.specified_pct) == (Decimal("8.17"), Decimal("6.00"))
    assert length.evidence.is_against
    assert not width.evidence.is_against
    page = desk.get("/cloths/HER/shrinkage/").content.decode()
    assert "6 pieces shrank 8.17 % on average" in page
    assert page.count('class="point"') == 12
    answer = desk.post("/cloths/HER/shrinkage/take/", follow=True).content.decode()
    assert "length 6 to 8.17 %" in answer
    latest = spec.cloth.specs.get(revision=2)
    assert route_shrink_pct(s.length_shrink_pct for s in latest.route_steps.all()) == pytest.approx(Decimal("8.17"))
    assert route_shrink_pct(s.width_shrink_pct for s in latest.route_steps.all()) == Decimal(10)
    refused = desk.post("/cloths/HER/shrinkage/take/", follow=True).content.decode()
    assert "there is nothing to take over" in refused


def test_pieces_of_another_route_and_pieces_to_be_finished_again_don_t_count(planner):
    cloth = make_cloth()
    make_colourway(cloth=cloth)
    old = make_spec(cloth=cloth, route=(("mill", "0", "20", "0"),))
    measured_pieces(old, (19.0, 20.0, 21.0))
    new = make_spec(cloth=cloth)
    measured_pieces(new, SIX_OFF)
    Piece.objects.filter(number=f"{cloth.code}-2-0").update(verdict=Piece.RE_FINISH)
    current, other = services.learned_of(cloth)
    assert (current.steps, len(current.pieces)) == (("scour", "press"), 5)
    assert (other.steps, len(other.pieces)) == (("mill",), 3)
    # Cut off the loom, two have the width of their plan until the grey perch has measured it.
    Piece.objects.filter(number=f"{cloth.code}-2-1").update(cut=1)
    Piece.objects.filter(number=f"{cloth.code}-2-2").update(cut=2, perched_on=date(2026, 3, 2))
    current, _ = services.learned_of(cloth)
    assert [piece.number[-1] for piece in current.pieces] == ["2", "3", "4", "5"]


def test_an_outlier_is_named_on_the_page_and_crossed_in_the_picture(desk):
    spec = make_spec(cloth=make_cloth(code="HER"))
    measured_pieces(spec, (6.0, 6.1, 5.9, 6.05, 5.95, 46.0))
    page = desk.get("/cloths/HER/shrinkage/").content.decode()
    assert page.count('class="apart"') == 1
    assert 'href="/pieces/HER-1-5/"' in page
    assert "style=" not in page


def test_how_long_to_weave_is_worked_out_on_the_page_and_refused_under_five(desk):
    spec = make_spec(cloth=make_cloth(code="HER"))
    asked = {"pieces": "2", "length_m": "60", "chance_pct": "95"}
    measured_pieces(spec, (5.8, 6.1, 6.4, 5.9))
    assert "under five pieces the book advises nothing" in desk.get("/cloths/HER/shrinkage/", asked).content.decode()
    Piece.objects.all().delete()
    measured_pieces(spec, (5.8, 6.1, 6.4, 5.9, 6.3))
    assert "64.22 m" in desk.get("/cloths/HER/shrinkage/", asked).content.decode()
    wrong = desk.get("/cloths/HER/shrinkage/", asked | {"chance_pct": "20"}).content.decode()
    assert "too little" in wrong


def test_a_cloth_without_pieces_has_its_page(desk):
    make_spec(cloth=make_cloth(code="NEW"))
    assert "No piece of NEW has been measured" in desk.get("/cloths/NEW/shrinkage/").content.decode()


def test_the_page_takes_as_many_queries_for_sixty_pieces_as_for_six(desk, django_assert_max_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    spec = make_spec(cloth=make_cloth(code="HER"))
    measured_pieces(spec, SIX_OFF)
    with CaptureQueriesContext(connection) as few:
        desk.get("/cloths/HER/shrinkage/")
    Piece.objects.all().delete()
    measured_pieces(spec, SIX_OFF * 10)
    with django_assert_max_num_queries(len(few)):
        desk.get("/cloths/HER/shrinkage/")


def test_the_api_says_what_the_page_says(desk):
    spec = make_spec(cloth=make_cloth(code="HER"))
    measured_pieces(spec, SIX_OFF)
    (route,) = desk.get("/api/cloths/HER/shrinkage/").json()
    length = route["dimensions"][0]
    assert (length["mean_pct"], length["specified_pct"], length["is_against"]) == ("8.17", "6.00", True)
    assert length["said"] in desk.get("/cloths/HER/shrinkage/").content.decode()
    assert desk.get("/api/cloths/NONE/shrinkage/").status_code == 404
