from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mill.refusal import Refusal
from planning import warp

D = Decimal


def test_crimp_multiplies_the_cloths_length():
    # Dividing by 1 - 7.5 % would wind 69.19 m for 64 m of cloth.
    assert warp.warp_length_per_piece_m(grey_length_m=D(64), warp_crimp_pct=D("7.5")) == D("68.8")


@pytest.mark.parametrize("grey_length_m", [D(0), D(-4)])
def test_a_piece_of_no_length_is_refused(grey_length_m):
    with pytest.raises(Refusal, match=f"the grey length is {grey_length_m} m"):
        warp.warp_length_per_piece_m(grey_length_m=grey_length_m, warp_crimp_pct=D(7))


def test_headers_count_by_piece_and_thrums_once():
    assert warp.warp_to_wind_m(pieces_m=[D(10)] * 4, header_m=D("0.5"), thrums_m=D(3)) == 45


def test_a_warp_of_no_piece_is_refused():
    with pytest.raises(Refusal, match="has no piece"):
        warp.warp_to_wind_m(pieces_m=[], header_m=D(0), thrums_m=D(3))


def test_the_last_cut_mark_leaves_the_thrums():
    pieces_m, header_m, thrums_m = [D("68.8"), D("53.8")], D("0.5"), D(3)
    marks_m = warp.cut_marks_m(pieces_m=pieces_m, header_m=header_m)
    assert warp.warp_to_wind_m(pieces_m=pieces_m, header_m=header_m, thrums_m=thrums_m) - marks_m[-1] == thrums_m


def test_selvedges_join_their_letter_or_bring_one():
    assert warp.ends_by_letter(ground={"A": 40}, selvedge_letter="B", selvedge_ends=8) == {"A": 40, "B": 8}
    assert warp.ends_by_letter(ground={"A": 40}, selvedge_letter="A", selvedge_ends=8) == {"A": 48}
    assert warp.ends_by_letter(ground={"A": 40}, selvedge_letter="B", selvedge_ends=0) == {"A": 40}


@pytest.mark.parametrize(
    ("ground", "selvedges", "repeat", "creel", "sections"),
    [
        (1500, 0, 1, 300, (300, 300, 300, 300, 300)),
        (1500, 24, 1, 300, (262, 250, 250, 250, 250, 262)),
        (1904, 24, 34, 300, (284, 272, 272, 272, 272, 272, 284)),
        (100, 20, 10, 300, (120,)),
        (280, 20, 10, 300, (300,)),
        (290, 20, 10, 300, (160, 150)),
        (1000, 0, 400, 300, (250, 250, 250, 250)),
        # A repeat fits beside the one selvedge that its section has; beside both it would not.
        (840, 24, 280, 300, (292, 280, 292)),
        (840, 24, 289, 300, (292, 280, 292)),
        (7, 0, 1, 3, (3, 3, 1)),
    ],
)
def test_sections_are_few_even_and_of_whole_repeats(ground, selvedges, repeat, creel, sections):
    assert (
        warp.sections(ground_ends=ground, selvedge_ends=selvedges, repeat_ends=repeat, ends_per_section=creel)
        == sections
    )


@given(
    ground=st.integers(1, 6000),
    side=st.integers(0, 30),
    repeat=st.integers(1, 700),
    creel=st.integers(62, 600),
)
def test_sections_hold_every_end_once_and_fit_the_creel(ground, side, repeat, creel):
    sections = warp.sections(ground_ends=ground, selvedge_ends=2 * side, repeat_ends=repeat, ends_per_section=creel)
    assert sum(sections) == ground + 2 * side
    assert min(sections) > 0
    assert max(sections) <= creel
    if ground > repeat and repeat + side <= creel and len(sections) > 1:
        grounds = [sections[0] - side, *sections[1:-1]]
        assert all(ends % repeat == 0 for ends in grounds)


def test_a_creel_smaller_than_the_selvedges_is_refused():
    with pytest.raises(Refusal, match="creel holds 20 packages; with 24 selvedge ends"):
        warp.sections(ground_ends=500, selvedge_ends=24, repeat_ends=1, ends_per_section=20)


def test_a_package_runs_only_in_the_sections_that_have_its_yarn():
    needs = warp.packages(section_ends=[{"A": 10}, {"A": 8, "B": 2}, {"B": 10}], length_m=D(50))
    assert (needs["A"].packages, needs["A"].sections, needs["A"].length_m) == (10, 2, 100)
    assert (needs["B"].packages, needs["B"].sections, needs["B"].length_m) == (10, 2, 100)


@given(st.integers(0, 10**6), st.integers(1, 5000))
def test_packages_hold_the_amount_with_less_than_one_to_spare(amount, each):
    n = warp.full_packages(amount, each)
    assert 0 <= n * each - amount < each


def test_waste_is_a_share_of_what_is_issued():
    # 95 kg net at 5 % is 100 kg issued, not 99.75.
    assert warp.issue_g(net_g=95_000, waste_pct=D(5)) == 100_000


def test_a_sized_warp_lighter_than_before_is_refused():
    with pytest.raises(Refusal, match="80 g can't weigh 74 g sized"):
        warp.size_add_on_pct(unsized_g=D(80), sized_g=D(74))


def test_a_size_add_on_is_read_back_from_the_scales():
    assert warp.size_add_on_pct(unsized_g=D(55), sized_g=warp.sized_g(unsized_g=D(55), size_add_on_pct=D(25))) == 25


def warping_min(**changes):
    facts = {
        "sections": 5,
        "length_m": D(141),
        "creel_load_min": D(75),
        "section_change_min": D(8),
        "drum_m_per_min": D(250),
        "beaming_m_per_min": D(40),
        "doff_min": D(15),
    }
    return warp.warping_min(**facts | changes)


def test_minutes_that_come_out_even_are_not_rounded_up():
    # 75 + (1000 / 250 + 8) + 1000 / 40 + 15 = 127; a metre more is a minute more.
    assert warping_min(sections=1, length_m=D(1000)) == 127
    assert warping_min(sections=1, length_m=D(1001)) == 128


def test_a_faster_drum_hardly_helps_a_short_warp():
    assert warping_min() - warping_min(drum_m_per_min=D(500)) <= 2
    assert warping_min() - warping_min(creel_load_min=D(60)) == 15


def test_a_clock_shows_what_the_roller_has_measured():
    assert warp.clock_length_m(roller_m=D("0.5"), wheels=(54, 132), wraps=1, teeth=0) == 3564
    assert warp.clock_length_m(roller_m=D("0.5"), wheels=(54, 132), wraps=0, teeth=1) == 27
