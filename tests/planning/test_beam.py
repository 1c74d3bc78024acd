from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mill.refusal import Refusal
from planning import beam
from planning.beam import BeamFacts

D = Decimal
WIDE = BeamFacts("W1", D(178), barrel_mm=180, flange_mm=760, tare_kg=D(95))
DENSITY = D(350)


@st.composite
def some_beams(draw):
    barrel_mm = draw(st.integers(80, 300))
    return BeamFacts("B", draw(st.decimals(60, 400, places=1)), barrel_mm, barrel_mm + draw(st.integers(1, 900)), D(50))


def test_the_worked_beam_holds_267_kg_and_1423_m():
    # pi / 4 x (0.76^2 - 0.18^2) x 1.78 x 350 = 266.8 kg; of 1500 ends of 125 tex 1423 m.
    assert round(beam.capacity_kg(WIDE, density_kg_per_m3=DENSITY)) == 267
    assert round(beam.capacity_m(WIDE, density_kg_per_m3=DENSITY, g_per_m=D("187.5"))) == 1423


def test_a_full_beam_is_as_thick_as_its_flanges():
    full_kg = beam.capacity_kg(WIDE, density_kg_per_m3=DENSITY)
    assert round(beam.diameter_mm(WIDE, yarn_kg=full_kg, density_kg_per_m3=DENSITY), 9) == 760


def test_an_empty_beam_is_as_thick_as_its_barrel():
    assert beam.diameter_mm(WIDE, yarn_kg=D(0), density_kg_per_m3=DENSITY) == 180


@given(some_beams(), st.decimals(D("0.1"), 2000, places=1), st.decimals(200, 700))
def test_diameter_and_mass_invert_each_other(any_beam, yarn_kg, density):
    diameter_mm = beam.diameter_mm(any_beam, yarn_kg=yarn_kg, density_kg_per_m3=density)
    back_kg = beam.yarn_kg(any_beam, diameter_mm=diameter_mm, density_kg_per_m3=density)
    assert float(back_kg) == pytest.approx(float(yarn_kg), rel=1e-12)


@given(
    st.decimals(1, 3000, places=1),
    st.integers(1, 10_000),
    st.decimals(5, 500, places=1),
    some_beams(),
)
def test_diameter_and_length_invert_each_other(length_m, ends, tex, any_beam):
    yarn_kg = beam.warp_kg(length_m=length_m, ends=ends, count_tex=tex)
    diameter_mm = beam.diameter_mm(any_beam, yarn_kg=yarn_kg, density_kg_per_m3=DENSITY)
    back_kg = beam.yarn_kg(any_beam, diameter_mm=diameter_mm, density_kg_per_m3=DENSITY)
    back_m = beam.length_m(yarn_kg=back_kg, ends=ends, count_tex=tex)
    assert float(back_m) == pytest.approx(float(length_m), rel=1e-9)
    assert round(beam.count_tex(yarn_kg=yarn_kg, ends=ends, length_m=length_m), 9) == tex


@given(some_beams(), st.decimals(D("0.1"), 900, places=1), st.decimals(D("0.1"), 900, places=1))
def test_more_yarn_never_makes_a_thinner_beam(any_beam, a, b):
    thin, thick = (beam.diameter_mm(any_beam, yarn_kg=kg, density_kg_per_m3=DENSITY) for kg in sorted((a, b)))
    assert thin <= thick


def test_a_warp_that_fits_is_let_on():
    beam.check_beam(WIDE, yarn_kg=D("266.7"), density_kg_per_m3=DENSITY, warp_width_cm=D(178))


@pytest.mark.parametrize(
    ("yarn_kg", "width_cm", "says"),
    [
        (D(267), D(170), r"Beam W1: the warp is 267 kg of yarn, the beam holds 266\.8 kg at 350 kg/m³"),
        (D(100), D("178.1"), r"Beam W1: the warp is 178\.1 cm wide in the reed, the beam 178 cm between its flanges"),
    ],
)
def test_a_warp_that_does_not_fit_is_refused_with_both_numbers(yarn_kg, width_cm, says):
    with pytest.raises(Refusal, match=says) as refused:
        beam.check_beam(WIDE, yarn_kg=yarn_kg, density_kg_per_m3=DENSITY, warp_width_cm=width_cm)
    assert "split the warp" in refused.value.message
    assert refused.value.field == "beam"


def smallest(beams, **changes):
    facts = {"yarn_kg": D(150), "density_kg_per_m3": DENSITY, "warp_width_cm": D(150)}
    return beam.smallest_beam(beams, **facts | changes).code


def test_the_smallest_beam_that_fits_is_taken():
    beams = [
        WIDE,
        replace(WIDE, code="W2", flange_mm=650),
        replace(WIDE, code="N1", width_cm=D(140)),
        replace(WIDE, code="W3", flange_mm=500),
    ]
    assert smallest(beams) == "W2"
    assert smallest(beams, yarn_kg=D(200)) == "W1"
    assert smallest(beams, warp_width_cm=D(140)) == "N1"
    assert smallest(beams, yarn_kg=D(60)) == "W3"


def test_a_loom_may_not_clear_the_larger_flanges():
    with pytest.raises(Refusal, match=r"None of the 1 beams with flanges up to 700 mm takes 150 kg of yarn, 150 cm"):
        smallest([WIDE], max_flange_mm=700)
    assert smallest([WIDE], max_flange_mm=760) == "W1"


def test_a_mill_without_a_beam_large_enough_is_told_so():
    with pytest.raises(Refusal, match="None of the 2 beams takes 900 kg of yarn"):
        smallest([WIDE, replace(WIDE, code="W2")], yarn_kg=D(900))


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"width_cm": D(0)}, "width_cm"),
        ({"barrel_mm": 0}, "flange_mm"),
        ({"flange_mm": 180}, "flange_mm"),
        ({"tare_kg": D(-1)}, "tare_kg"),
    ],
)
def test_a_beam_that_cannot_be_is_refused(changes, field):
    with pytest.raises(Refusal) as refused:
        replace(WIDE, **changes)
    assert refused.value.field == field


def test_a_beam_lighter_full_than_empty_is_weighed_again():
    with pytest.raises(Refusal, match="90 kg full and 95 kg empty"):
        beam.net_kg(gross_kg=D(90), tare_kg=D(95))
    assert beam.net_kg(gross_kg=beam.gross_kg(WIDE, yarn_kg=D("26.4")), tare_kg=WIDE.tare_kg) == D("26.4")
