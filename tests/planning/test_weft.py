from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mill.refusal import Refusal
from planning import weft

D = Decimal
lengths_m = st.decimals(D("0.1"), 500, places=1)
setts_per_cm = st.decimals(1, 60, places=2)


def test_whole_picks_are_not_rounded_up():
    # 3 x 33.3 is 99.9, which no float says.
    assert weft.picks_per_piece(grey_length_m=D("33.3"), loom_picks_per_cm=D(3)) == 9990
    assert weft.picks_per_piece(grey_length_m=D("33.3"), loom_picks_per_cm=D("3.001")) == 9994


@given(lengths_m, lengths_m, setts_per_cm)
def test_a_longer_piece_never_has_fewer_picks(a, b, picks_per_cm):
    short, long = (
        weft.picks_per_piece(grey_length_m=length_m, loom_picks_per_cm=picks_per_cm) for length_m in sorted((a, b))
    )
    assert short <= long


@pytest.mark.parametrize("grey_length_m", [D(0), D(-1)])
def test_a_piece_of_no_length_is_refused(grey_length_m):
    with pytest.raises(Refusal, match="There is nothing to weave"):
        weft.picks_per_piece(grey_length_m=grey_length_m, loom_picks_per_cm=D(9))


def test_weft_is_laid_at_reed_width_and_not_at_the_cloths():
    # 1000 picks, 177.4 cm in the reed, 166.7 in the cloth.
    assert weft.weft_length_m(picks=1000, reed_width_cm=D("177.4"), tail_cm=D(0)) == 1774


def test_tails_are_cut_off_every_pick():
    assert weft.weft_length_m(picks=1000, reed_width_cm=D(170), tail_cm=D(9)) == 1790


@given(st.dictionaries(st.sampled_from("ABCD"), st.integers(1, 9999), min_size=1), st.integers(1, 40))
def test_pieces_multiply_every_colour(per_piece, pieces):
    picks = weft.picks_by_letter(per_piece=per_piece, pieces=pieces)
    assert sum(picks.values()) == pieces * sum(per_piece.values())
    assert picks.keys() == per_piece.keys()


def test_waste_is_a_share_of_what_is_issued():
    assert weft.issue_g(net_g=95_000, waste_pct=D(5)) == 100_000


def test_tex_is_grams_of_a_kilometre():
    assert weft.mass_g(length_m=D(1000), count_tex=D(125)) == 125
