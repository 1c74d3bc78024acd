import re
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mill.refusal import Refusal
from planning.cloth import Cloth, RouteStep, YarnBook, YarnUse, read_order
from planning.picture import beam_svg, cloth_picture_svg, draft_svg, is_warp_up, weft_runs, window_of
from planning.ticket import BeamFacts
from planning.weave import PRESETS, Weave

SVG = "{http://www.w3.org/2000/svg}"
COLOURS = {"A": "#5b6b4e", "B": "#e0c9a0", "C": "#7a2f2a"}
YARNS = {letter: YarnUse(f"Y{letter}", f"Shade {letter}", colour, Decimal(125)) for letter, colour in COLOURS.items()}
TWEED = Cloth(
    name="HER7 Heather",
    revision=3,
    finished_width_cm=Decimal(150),
    reed_dents_per_10cm=Decimal("42.3"),
    ends_per_dent=2,
    selvedge_ends=0,
    whole_repeats=False,
    loom_picks_per_cm=Decimal("8.46"),
    warp_crimp_pct=Decimal("7.5"),
    weaving_contraction_pct=Decimal(6),
    warp_waste_pct=Decimal(2),
    weft_waste_pct=Decimal(5),
    size_add_on_pct=Decimal(0),
    route=(RouteStep("scour", Decimal(10), Decimal(6), Decimal(8)),),
    warp_order=read_order("A24 B2"),
    weft_order=read_order("A20 B2 C2"),
    yarns=YARNS,
    threading=(1, 2, 3, 4),
    lifting=((1, 2), (2, 3), (3, 4), (1, 4)),
)
BEAM = BeamFacts(code="B7", width_cm=Decimal("178.0"), barrel_mm=180, flange_mm=760, tare_kg=Decimal(60))


def seen(svg: str) -> list[list[str]]:
    """What the drawing shows: the colour of every crossing, first pick first. Paints it as a browser would."""
    root = ET.fromstring(svg)
    ends, picks = (int(n) for n in root.attrib["viewBox"].split()[2:])
    rows = [[""] * ends for _ in range(picks)]
    for path in root.iter(f"{SVG}path"):
        if "stroke" in path.attrib:
            for end, length in re.findall(r"M(\d+)\.5 0v(\d+)", path.attrib["d"]):
                assert int(length) == picks
                for row in rows:
                    row[int(end)] = path.attrib["stroke"]
    runs = {p.attrib["id"]: p.attrib["d"] for p in root.iter(f"{SVG}path") if "id" in p.attrib}
    for use in root.iter(f"{SVG}use"):
        row = rows[picks - 1 - int(use.attrib["y"])]
        for first, n in re.findall(r"M(\d+)(?:\.07)? \.5h(\d+)", runs[use.attrib["href"][1:]]):
            is_short = ".86" in runs[use.attrib["href"][1:]]
            for end in range(int(first), int(first) + int(n) + is_short):
                row[end] = use.attrib["stroke"]
    return rows


def by_hand(cloth: Cloth, *, ends: int, picks: int) -> list[list[str]]:
    warp = [s.letter for s in cloth.warp_order for _ in range(s.n)]
    weft = [s.letter for s in cloth.weft_order for _ in range(s.n)]
    return [
        [
            COLOURS[
                warp[end % len(warp)]
                if cloth.threading[end % len(cloth.threading)] in cloth.lifting[pick % len(cloth.lifting)]
                else weft[pick % len(weft)]
            ]
            for end in range(ends)
        ]
        for pick in range(picks)
    ]


def warp_up_of(cloth: Cloth, *, ends: int, picks: int) -> int:
    return sum(is_warp_up(cloth, end=end, pick=pick) for end in range(ends) for pick in range(picks))


weaves = st.integers(2, 6).flatmap(
    lambda shafts: st.tuples(
        st.lists(st.integers(1, shafts), min_size=1, max_size=9).map(lambda more: [*range(1, shafts + 1), *more]),
        st.lists(st.sets(st.integers(1, shafts)).map(sorted).map(tuple), min_size=1, max_size=7),
    )
)
orders = st.lists(st.tuples(st.sampled_from("ABC"), st.integers(1, 30)), min_size=1, max_size=5).map(
    lambda stripes: read_order(" ".join(f"{letter}{n}" for letter, n in stripes))
)


@given(weaves)
def test_ends_on_top_in_one_repeat_are_those_that_the_lifting_lifts(
    weave: tuple[list[int], Sequence[tuple[int, ...]]],
) -> None:
    threading, lifting = weave
    cloth = replace(TWEED, threading=tuple(threading), lifting=tuple(lifting))
    lifted = sum(threading.count(shaft) for lift in lifting for shaft in lift)
    assert warp_up_of(cloth, ends=len(threading), picks=len(lifting)) == lifted
    covered = sum(n for pick in range(len(lifting)) for _, n in weft_runs(cloth, pick=pick, ends=len(threading)))
    assert lifted + covered == len(threading) * len(lifting)


@given(weaves, orders, orders, st.integers(1, 2), st.sampled_from([30, 90, 110]))
def test_every_crossing_is_drawn_in_the_colour_of_the_thread_on_top(weave, warp, weft, repeats, threads_max) -> None:
    threading, lifting = weave
    cloth = replace(TWEED, threading=tuple(threading), lifting=tuple(lifting), warp_order=warp, weft_order=weft)
    drawn = seen(cloth_picture_svg(cloth, repeats=repeats, threads_max=threads_max))
    assert drawn == by_hand(cloth, ends=len(drawn[0]), picks=len(drawn))


def test_every_colour_of_the_cloth_is_in_its_drawing() -> None:
    drawn = {colour for row in seen(cloth_picture_svg(TWEED)) for colour in row}
    assert drawn == set(COLOURS.values())


def test_the_drawing_has_the_proportions_of_the_finished_cloth() -> None:
    window = window_of(TWEED)
    # 10 ends and 9 picks per cm finished (the chain of 120 m): 100 ends are 10 cm wide, 90 picks 10 cm long.
    assert round(window.ends_per_cm, 6) == 10
    assert round(window.picks_per_cm, 6) == 9
    root = ET.fromstring(cloth_picture_svg(TWEED))
    drawn = int(root.attrib["width"]) / int(root.attrib["height"])
    assert drawn == pytest.approx(float(window.width_cm / window.height_cm), rel=0.01)


def test_a_cloth_of_one_weft_is_not_drawn_as_a_ribbon() -> None:
    window = window_of(replace(TWEED, warp_order=read_order("A200"), weft_order=read_order("A1")))
    assert window.ends == 240
    assert float(window.height_cm / window.width_cm) == pytest.approx(1, abs=0.1)


@pytest.mark.slow
@pytest.mark.parametrize("weave", PRESETS.values(), ids=PRESETS)
def test_a_pattern_of_a_thousand_ends_fits_in_200_kb_whole(weave: Weave) -> None:
    cloth = replace(
        TWEED,
        warp_order=read_order("(A1 B1)x300 C100 A200 B100"),
        weft_order=read_order("(B1 A1)x300 C100 A200 B100"),
        threading=weave.threading,
        lifting=tuple(tuple(sorted(lift)) for lift in weave.lifting),
    )
    svg = cloth_picture_svg(cloth, threads_max=1000)
    assert len(svg) < 200_000
    assert len(seen(svg)[0]) == 1000


def test_names_and_colours_cant_bring_in_marks_of_their_own() -> None:
    yarns = dict(YARNS) | {"A": YarnUse("<b>", '"><script>x</script>', "#5b6b4e", Decimal(125))}
    svg = cloth_picture_svg(replace(TWEED, name="<script>alert(1)</script>", yarns=YarnBook(yarns)))
    assert "<script" not in svg
    title = ET.fromstring(svg).find(f"{SVG}title")
    assert title is not None
    assert title.text == "<script>alert(1)</script>, revision 3, as it looks finished"
    bad = YarnUse("YA", "Shade", "#5b6b4e", Decimal(125))
    object.__setattr__(bad, "colour", '#fff" onload="x')
    with pytest.raises(Refusal, match="can't be drawn"):
        cloth_picture_svg(replace(TWEED, yarns=YarnBook(yarns | {"A": bad})))


def test_no_drawing_carries_a_style_which_the_pages_policy_would_refuse() -> None:
    for svg in (cloth_picture_svg(TWEED), draft_svg((1, 2), ((1,), (2,))), beam_svg(BEAM, filled_mm=620)):
        assert "style" not in svg
        assert ET.fromstring(svg).attrib["role"] == "img"


def test_two_drawings_on_a_page_share_no_ids() -> None:
    def ids(name: str) -> set[str]:
        root = ET.fromstring(cloth_picture_svg(TWEED, name=name))
        return {element.attrib["id"] for element in root.iter() if "id" in element.attrib}

    assert len(ids("near")) == 4
    assert not ids("near") & ids("far")


def black_squares(svg: str) -> int:
    return sum(path.attrib["d"].count("z") for path in ET.fromstring(svg).iter(f"{SVG}path") if "fill" in path.attrib)


@given(weaves)
def test_the_draft_blackens_the_crossings_where_the_end_is_on_top(weave) -> None:
    threading, lifting = weave
    svg = draft_svg(threading, lifting)
    assert black_squares(svg) == sum(shaft in lift for lift in lifting for shaft in threading)


def test_the_draft_of_a_2_2_twill_writes_its_shafts_where_a_weaver_looks_for_them() -> None:
    twill = PRESETS["2/2 twill"]
    root = ET.fromstring(draft_svg(twill.threading, twill.lifting))
    placed = [(float(t.attrib["x"]), float(t.attrib["y"]), t.text) for t in root.iter(f"{SVG}text")]
    digits = [(x, y, int(text)) for x, y, text in placed if text and text.isdigit() and "pick" not in text]
    drafted, lifted = digits[:4], digits[4:12]
    # Straight draft: each end further right and one shaft higher.
    assert [n for _, _, n in sorted(drafted)] == [1, 2, 3, 4]
    assert [n for _, _, n in sorted(drafted, key=lambda at: -at[1])] == [1, 2, 3, 4]
    # Pick 1, lowest row, lifts 1 and 2; pick 4, highest, lifts 1 and 4.
    rows = sorted({y for _, y, _ in lifted}, reverse=True)
    assert [sorted(n for _, y, n in lifted if y == row) for row in rows] == [[1, 2], [2, 3], [3, 4], [1, 4]]


def test_a_long_draft_is_cut_off_and_says_so() -> None:
    svg = draft_svg(tuple(range(1, 9)) * 20, ((1,), (2,)), ends_max=64)
    assert "The first 64 of 160 ends and 2 of 2 picks." in svg
    assert black_squares(svg) == 16


def layers(svg: str) -> list[tuple[int, int]]:
    """(top, height) of the yarn above and below the barrel."""
    rects = ET.fromstring(svg).iter(f"{SVG}rect")
    return [(int(r.attrib["y"]), int(r.attrib["height"])) for r in rects if r.attrib["fill"] == "#d9d2c0"]


def test_the_beam_is_filled_to_scale() -> None:
    half, full = layers(beam_svg(BEAM, filled_mm=470)), layers(beam_svg(BEAM, filled_mm=760))
    assert len(half) == len(full) == 2
    # 145 mm of yarn against 290 mm.
    assert full[0][1] == pytest.approx(2 * half[0][1], abs=2)
    assert layers(beam_svg(BEAM, filled_mm=180)) == []


@pytest.mark.parametrize(
    ("filled_mm", "said"), [(620, "70 mm to the flange&#x27;s edge"), (800, "20 mm over the flange")]
)
def test_the_beam_says_what_room_is_left(filled_mm: int, said: str) -> None:
    assert said in beam_svg(BEAM, filled_mm=filled_mm)
