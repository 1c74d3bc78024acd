"""Grading by four points, and a piece against its ticket and its order."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mill.refusal import Refusal
from planning import piece
from planning.piece import INCH_BANDS, METRIC_BANDS, Fault, Measured, Planned, working

D = Decimal


@pytest.mark.parametrize(
    ("bands", "length_mm", "points"),
    [
        (INCH_BANDS, "76.2", 1),
        (INCH_BANDS, "76.3", 2),
        (INCH_BANDS, "152.4", 2),
        (INCH_BANDS, "152.5", 3),
        (INCH_BANDS, "228.6", 3),
        (INCH_BANDS, "228.7", 4),
        (METRIC_BANDS, "75", 1),
        (METRIC_BANDS, "76", 2),
        (METRIC_BANDS, "150", 2),
        (METRIC_BANDS, "151", 3),
        (METRIC_BANDS, "230", 3),
        (METRIC_BANDS, "231", 4),
    ],
)
def test_a_fault_has_the_points_of_its_length(bands, length_mm, points):
    assert piece.fault_points(Fault(D(1), D(length_mm)), bands=bands) == points


@pytest.mark.parametrize(
    ("bands", "length_mm", "points"),
    [(INCH_BANDS, "25.4", 2), (INCH_BANDS, "25.5", 4), (METRIC_BANDS, "25", 2), (METRIC_BANDS, "26", 4)],
)
def test_a_hole_counts_more_than_its_length(bands, length_mm, points):
    assert piece.fault_points(Fault(D(1), D(length_mm), is_hole=True), bands=bands) == points


def test_a_metre_has_four_points_at_most():
    # 4 + 4 + 1 on the fourth metre are 4; 2 on the fifth: 6.
    faults = [
        Fault(D("3.1"), D(300)),
        Fault(D("3.5"), D(300)),
        Fault(D("3.99"), D(50)),
        Fault(D("4.0"), D(100)),
    ]
    assert piece.piece_points(faults) == 6


def test_a_yard_is_shorter_than_a_metre():
    # 0.95 m is on the first metre but on the second yard.
    faults = [Fault(D("0.1"), D(300)), Fault(D("0.95"), D(300))]
    assert piece.piece_points(faults, bands=METRIC_BANDS) == 4
    assert piece.piece_points(faults, bands=INCH_BANDS) == 8


def test_a_running_fault_has_four_points_on_each_metre_it_reaches():
    # From 2.5 to 5.5 m: metres 3, 4, 5 and 6.
    assert piece.piece_points([Fault(D("2.5"), D(3000))]) == 16
    # From 2 to 5 m: metres 3, 4 and 5, not 6.
    assert piece.piece_points([Fault(D(2), D(3000))]) == 12


def test_a_fault_of_a_metre_counts_where_it_begins():
    assert piece.piece_points([Fault(D("2.5"), D(1000))]) == 4


@given(
    st.lists(
        st.builds(
            Fault,
            st.integers(0, 59_999).map(lambda mm: D(mm) / 1000),
            st.integers(1, 900).map(D),
            st.booleans(),
        ),
        max_size=80,
    )
)
def test_a_piece_never_has_more_than_four_points_a_metre(faults):
    points = piece.piece_points(faults)
    assert points <= 4 * 60
    assert points <= sum(piece.fault_points(fault) for fault in faults)
    assert bool(points) is bool(faults)


def test_the_printed_roll_in_both_measures():
    # 24 points on 120 yd of 46 in: 24 x 3600 / (120 x 46) = 15.65 in 100 yd2; / 0.8361 = 18.72 in 100 m2.
    graded = piece.grade_points(
        24, length_m=120 * piece.M_PER_YD, width_cm=46 * D("2.54"), limit_per_100_m2=piece.limit_per_100_m2(D(40))
    )
    assert graded.points_per_100_yd2.quantize(D("0.01")) == D("15.65")
    assert graded.points_per_100_m2.quantize(D("0.01")) == D("18.72")
    assert graded.passes
    assert graded.said == "24 points are 18.72 in 100 m²; the limit is 47.84: it passes."


@pytest.mark.parametrize(("points", "passes"), [(39, True), (40, True), (41, False)])
def test_a_piece_on_its_limit_passes(points, passes):
    graded = piece.grade_points(points, length_m=D(100), width_cm=D(100), limit_per_100_m2=D(40))
    assert graded.passes is passes


def test_a_piece_just_over_its_limit_is_not_shown_on_it():
    graded = piece.grade_points(10, length_m=D("24.9999"), width_cm=D(100), limit_per_100_m2=D(40))
    assert not graded.passes
    assert graded.said == "10 points are 40.01 in 100 m²; the limit is 40: it does not pass."


@given(st.integers(0, 500), st.integers(1, 20_000), st.integers(1, 40_000))
def test_square_yards_and_square_metres_agree(points, length_cm, width_mm):
    length_m, width_cm = D(length_cm) / 100, D(width_mm) / 10
    per_m2 = piece.points_per_100_m2(points, length_m=length_m, width_cm=width_cm)
    in_yd_and_in = points * 3600 / ((length_m / D("0.9144")) * (width_cm / D("2.54")))
    per_yd2 = piece.points_per_100_yd2(points, length_m=length_m, width_cm=width_cm)
    assert abs(per_yd2 - in_yd_and_in) <= in_yd_and_in * D("1e-24")
    assert abs(piece.limit_per_100_m2(per_yd2) - per_m2) <= per_m2 * D("1e-24")


def test_a_piece_against_its_ticket_by_hand():
    # Length: (127.7 - 118.8) / 127.7 = 6.97 % where 6 % was planned: 0.97 points more, 1.2 m short of 120.
    # Width: (166.7 - 150) / 166.7 = 10.02 %. Mass: 57.4 kg on 118.8 x 1.50 m = 322.1 g/m2, 2.7 % under 331.
    found = piece.compare(
        piece.Measured(D("127.7"), D("166.7"), D("118.8"), D("150.0"), mass_g=57_400),
        piece.Planned(D("120.0"), D("150.0"), D(6), D(10), D(331)),
    )
    assert found.length_shrink_pct.quantize(D("0.01")) == D("6.97")
    assert found.length_shrink_off_pct.quantize(D("0.01")) == D("0.97")
    assert found.length_off_m == D("-1.2")
    assert found.width_shrink_pct.quantize(D("0.01")) == D("10.02")
    assert found.width_off_cm == 0
    assert found.g_per_m2.quantize(D("0.1")) == D("322.1")
    assert found.g_per_m2_off_pct.quantize(D("0.1")) == D("-2.7")


def test_a_piece_not_weighed_is_compared_without_its_mass():
    found = piece.compare(
        piece.Measured(D(64), D(160), D(65), D(160)), piece.Planned(D(60), D(150), D(6), D(6), D(320))
    )
    assert found.g_per_m2 is None
    assert found.g_per_m2_off_pct is None
    assert found.length_shrink_pct < 0  # it grew in the tenter
    assert found.width_shrink_pct == 0


@given(st.integers(1, 10**7), st.integers(1, 20_000), st.integers(1, 40_000))
def test_a_weighed_piece_is_as_long_as_its_mass_says(mass_g, length_cm, width_mm):
    length_m, width_cm = D(length_cm) / 100, D(width_mm) / 10
    g_per_m2 = piece.mass_g_per_m2(mass_g, length_m=length_m, width_cm=width_cm)
    back = piece.length_m_of_mass(mass_g, g_per_m2=g_per_m2, width_cm=width_cm)
    assert abs(back - length_m) <= length_m * D("1e-24")


@pytest.mark.parametrize(
    ("lengths", "off", "within", "said"),
    [
        (["60", "60"], "0", True, "120 m for 120 m ordered: as ordered."),
        (["58.5", "58.5"], "-3", True, "117 m for 120 m ordered: 3 m short, within the tolerance of 2.5 %."),
        (["58.5", "58.4"], "-3.1", False, "116.9 m for 120 m ordered: 3.1 m short, beyond the tolerance of 2.5 %."),
        (["61.5", "61.5"], "3", True, "123 m for 120 m ordered: 3 m over, within the tolerance of 2.5 %."),
        (["123.05"], "3.05", False, "123.05 m for 120 m ordered: 3.05 m over, beyond the tolerance of 2.5 %."),
        ([], "-120", False, "0 m for 120 m ordered: 120 m short, beyond the tolerance of 2.5 %."),
    ],
)
def test_pieces_against_their_order(lengths, off, within, said):
    # 2.5 % of 120 m is 3 m either way.
    sent = piece.against_order(map(D, lengths), ordered_m=D(120), tolerance_pct=D("2.5"))
    assert (sent.least_m, sent.most_m) == (117, 123)
    assert sent.off_m == D(off)
    assert sent.is_within is within
    assert sent.said == said


@pytest.mark.parametrize(
    ("ask", "said"),
    [
        (lambda: Fault(D(-1), D(10)), "A fault at -1 m lies before the piece begins"),
        (lambda: Fault(D(1), D(0)), "A fault of 0 mm is none"),
        (
            lambda: piece.grade([Fault(D(61), D(10))], length_m=D(60), width_cm=D(150), limit_per_100_m2=D(40)),
            "A fault at 61 m lies beyond the piece, which ends at 60 m",
        ),
        (lambda: piece.points_per_100_m2(-1, length_m=D(60), width_cm=D(150)), "can't have -1 points"),
        (lambda: piece.points_per_100_m2(1, length_m=D(0), width_cm=D(150)), "The length can't be 0 m: write"),
        (lambda: piece.points_per_100_m2(1, length_m=D(60), width_cm=D(0)), "The width can't be 0 cm: write"),
        (
            lambda: piece.grade_points(1, length_m=D(60), width_cm=D(150), limit_per_100_m2=D(-1)),
            "A limit of -1 points can't be",
        ),
        (lambda: piece.shrink_pct(grey=D(0), finished=D(1)), "The grey size can't be 0: write"),
        (lambda: piece.mass_g_per_m2(0, length_m=D(1), width_cm=D(1)), "The mass can't be 0 g: write"),
        (lambda: piece.against_order([D(1)], ordered_m=D(0), tolerance_pct=D(1)), "The order can't be 0 m: write"),
        (lambda: piece.against_order([D(-1)], ordered_m=D(1), tolerance_pct=D(1)), "A piece of -1 m can't be"),
        (lambda: piece.against_order([D(1)], ordered_m=D(1), tolerance_pct=D(100)), "A tolerance of 100 % can't be"),
    ],
)
def test_what_no_piece_can_be_is_refused(ask, said):
    with pytest.raises(Refusal, match=said):
        ask()


def test_the_working_of_a_piece_against_its_plan_ends_in_its_figures():
    """By hand: (64 − 60) ÷ 64 = 6.25 %, as planned; (160 − 144) ÷ 160 = 10 %, 3.75 more; 25 920 g are 300 g/m²."""
    came = Measured(Decimal(64), Decimal(160), Decimal(60), Decimal(144), mass_g=25_920)
    plan = Planned(Decimal(60), Decimal(150), Decimal("6.25"), Decimal("6.25"), Decimal(320))
    steps = {step.name: (step.sum, step.value) for step in working(came, plan)}
    assert steps == {
        "length_shrink_pct": ("(64 m − 60 m) ÷ 64 m", Decimal("6.3")),
        "length_shrink_off_pct": ("6.25 % − 6.25 %", Decimal("0.0")),
        "width_shrink_pct": ("(160 cm − 144 cm) ÷ 160 cm", Decimal("10.0")),
        "width_shrink_off_pct": ("10 % − 6.25 %", Decimal("3.8")),
        "length_off_m": ("60 m − 60 m", Decimal("0.0")),
        "width_off_cm": ("144 cm − 150 cm", Decimal("-6.0")),
        "g_per_m2": ("25920 g × 100 ÷ (60 m × 144 cm)", Decimal(300)),
    }
