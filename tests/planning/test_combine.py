"""Order lines into warps: what is proposed, and what becomes of it when it is accepted."""

import json
from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from inventory.models import Yarn
from mill import jobs
from mill.bench import combining as bench
from mill.refusal import Refusal
from planning.models import Loom, OrderLine, Warp
from planning.services import combine, warps
from planning.services.combine import Wishes
from planning.services.warps import Share
from tests.make import make_beam, make_line, make_loom, make_lot, make_shift, make_spec, make_ticket, make_yarn

pytestmark = pytest.mark.django_db
PIECE_M = Decimal("68.7") + Decimal("0.5")


@pytest.fixture
def tweed(db):
    spec = make_spec(yarns={"A": make_yarn(code="MOSS"), "B": make_yarn(code="CREAM")})
    make_beam(code="B1")
    make_loom(code="L1")
    return spec


def line_of(spec, *, pieces=2, days=90, **changes):
    return make_line(spec=spec, pieces=pieces, due_on=timezone.localdate() + timedelta(days=days), **changes)


def parts_of(group):
    return [[(part.key, part.pieces) for part in proposal.parts] for proposal in group.combination.proposals]


def wanted(group):
    return [[(part.key, part.pieces) for part in proposal.parts] for proposal in group.combination.proposals]


def test_lines_of_one_warp_are_proposed_together_and_say_what_they_save(tweed):
    one, two = line_of(tweed, days=90), line_of(tweed, days=95)
    (group,) = combine.propose()
    assert parts_of(group) == [[(one.pk, 2), (two.pk, 2)]]
    (warp,) = group.combination.proposals
    assert warp.warp_m == 4 * PIECE_M + 3
    assert (group.combination.saves.warps, group.combination.saves.thrums_m) == (1, Decimal("3.00"))
    # 3 m of 1500 ends at 125 tex: 562.5 g, rounded up with the warp's own grams.
    assert warp.thrums_g == 563
    # Creel 75, five sections of 8, doffing 15, and a tie-in of 1500 knots at 240 a minute beside its stop of 120.
    assert warp.setup_min == 75 + 5 * 8 + 15 + 120 + 7
    # Each of these figures with its sum, so that a planner can work it again on paper.
    sums = {step.name: (step.sum, str(step.value)) for step in group.working}
    assert sums == {
        "warp_1_m": ("2 × (68.7 + 0.5) + 2 × (68.7 + 0.5) + 3", "279.8"),
        "thrums_g": ("3 × 187.5035", "563"),
        "setup_min": ("75 + 5 × 8 + 15 + 127", "257"),
        "saved_thrums_m": ("1 × 3", "3"),
        "saved_thrums_g": ("1 × 563", "563"),
        "saved_setup_min": ("1 × 257", "257"),
    }


def test_cloths_that_only_the_weft_tells_apart_share_a_warp_and_others_do_not(tweed):
    yarns = {entry.letter: entry.yarn for entry in tweed.colourway_yarns.all()}
    checked, narrow = make_spec(yarns=yarns, weft_order="A4 B4"), make_spec(finished_width_cm=Decimal("120.0"))
    one, two, three = line_of(tweed), line_of(checked), line_of(narrow)
    groups = combine.propose()
    assert sorted(sorted(waiting.line.pk for waiting in group.lines) for group in groups) == [
        [one.pk, two.pk],
        [three.pk],
    ]


def test_another_colourway_is_another_warp(tweed):
    from tests.make import make_colourway

    heather = make_colourway(spec=tweed, yarns={"A": make_yarn(code="HEATHER")})
    line_of(tweed), line_of(tweed, colourway=heather)
    assert len(combine.propose()) == 2


def test_a_line_longer_than_the_beam_is_split_at_a_piece_and_others_are_not(tweed):
    long = line_of(tweed, pieces=30)
    (group,) = combine.propose()
    found = parts_of(group)
    assert sum(pieces for warp in found for _, pieces in warp) == 30
    assert len(found) > 1
    assert all(proposal.warp_m <= group.rules.max_warp_m for proposal in group.combination.proposals)
    assert group.longest_why == "the largest beam that takes it"
    made = combine.accept(wanted(group), by=None)
    assert {warp.beam.code for warp in made if warp.beam} == {"B1"}
    assert OrderLine.objects.get(pk=long.pk).state == OrderLine.ON_A_WARP


def test_the_longest_warp_is_one_that_the_beam_really_takes(tweed):
    line_of(tweed, pieces=200)
    (group,) = combine.propose()
    for pieces in {n for warp in parts_of(group) for _, n in warp}:
        warp = warps.make_warp([Share(OrderLine.objects.get(), pieces)], by=None)
        assert warp.beam is not None
        warps.take_apart(warp, by=None)


def test_a_sample_is_proposed_though_its_dye_lot_winds_less_than_is_worth_winding(tweed):
    """11.5 m with header and thrums are 15 m; the lot winds some 17 m, and the mill's least warp is 20 m."""
    sample = line_of(tweed, pieces=1, length_m=Decimal(10))
    (free,) = combine.propose()
    (need,) = [need for need in free.figures.warp_yarns if need.code == "MOSS"]
    make_lot(yarn=Yarn.objects.get(code="MOSS"), grams=need.issue_g * 115 // 100, dye_lot="881")
    (cream,) = [need for need in free.figures.warp_yarns if need.code == "CREAM"]
    make_lot(yarn=Yarn.objects.get(code="CREAM"), grams=cream.issue_g * 10, dye_lot="7")
    (group,) = combine.propose()
    assert group.longest_why == "the largest dye lot of MOSS on hand"
    assert Decimal(15) < group.rules.max_warp_m < Decimal(20)
    assert parts_of(group) == [[(sample.pk, 1)]]


def test_no_warp_is_longer_than_the_largest_dye_lot_allows(tweed):
    line_of(tweed, pieces=2), line_of(tweed, pieces=2)
    need_g = combine.propose()[0].lines[0].figures.warp_yarns[0].issue_g
    make_lot(yarn=Yarn.objects.get(code="CREAM"), grams=200_000)
    make_lot(yarn=Yarn.objects.get(code="MOSS"), grams=need_g + 100, dye_lot="881")
    make_lot(yarn=Yarn.objects.get(code="MOSS"), grams=need_g - 100, dye_lot="904")
    (group,) = combine.propose()
    assert group.longest_why == "the largest dye lot of MOSS on hand"
    assert [len(parts) for parts in parts_of(group)] == [1, 1]
    (free,) = combine.propose(Wishes(keeps_to_dye_lots=False))
    assert [len(parts) for parts in parts_of(free)] == [2]


def test_what_is_on_a_warp_is_not_proposed_again(tweed):
    one, two = line_of(tweed, pieces=4), line_of(tweed)
    warps.make_warp([Share(one, 3)], by=None)
    (group,) = combine.propose()
    assert [(waiting.line, waiting.pieces) for waiting in group.lines] == [(one, 1), (two, 2)]


def test_planned_warps_can_be_combined_afresh_but_not_those_that_somebody_stands_by(tweed):
    for n in range(5):
        make_beam(code=f"X{n}")
    lines = [line_of(tweed) for _ in range(5)]
    made = [warps.make_warp([Share(line, 2)], by=None) for line in lines]
    warps.lock_warp(made[0], is_locked=True, by=None)
    Warp.objects.filter(pk=made[1].pk).update(pin_loom=Loom.objects.get())
    make_ticket(made[2])
    (group,) = combine.propose(Wishes(includes_planned=True))
    assert {waiting.line for waiting in group.lines} == {lines[3], lines[4]}
    assert group.lines[0].on == (made[3],)
    (warp,) = combine.accept(wanted(group), by=None, includes_planned=True)
    assert [part.pieces for part in warp.parts.all()] == [2, 2]
    assert not Warp.objects.filter(pk__in=[made[3].pk, made[4].pk]).exists()
    assert combine.propose() == []


def test_a_piece_that_no_beam_holds_is_left_out_with_the_sentence_and_the_others_are_proposed(tweed):
    huge = line_of(tweed, pieces=1, length_m=Decimal("2000.00"))
    small = line_of(tweed)
    (group,) = combine.propose()
    assert parts_of(group) == [[(small.pk, 2)]]
    assert group.refused[0][0] == huge
    assert "and a warp is at most" in group.refused[0][1]


def test_half_the_hours_weave_half_the_warp_in_a_day(tweed):
    line_of(tweed)
    (two_shifts,) = combine.propose()
    Loom.objects.update(shift_pattern=make_shift(hours="Mon-Fri 06:00-14:00"))
    (one_shift,) = combine.propose()
    # 220 picks a minute at 70 %, 8 h on 5 days of 7, 8.46 picks a cm of 63.9 m from 68.7 m of warp.
    assert one_shift.rules.woven_m_per_day == Decimal("67.1")
    assert two_shifts.rules.woven_m_per_day == Decimal("134.2")


def test_a_cloth_that_no_loom_takes_is_not_proposed_and_says_why(tweed):
    line_of(
        make_spec(finished_width_cm=Decimal("170.0"), threading=" ".join(map(str, range(1, 21))), lifting="1+2 19+20")
    )
    (group,) = combine.propose()
    assert group.combination is None
    assert "it has 16 shafts, the draft needs 20" in group.trouble


def test_a_line_that_cant_be_worked_out_says_why(tweed):
    line = line_of(tweed)
    tweed.colourway_yarns.filter(letter="B").delete()
    (group,) = combine.propose()
    assert group.refused[0][0] == line
    assert "no yarn stands there" in group.trouble


def test_accepting_makes_planned_warps_and_asks_for_their_figures(tweed, planner):
    one, two = line_of(tweed, days=90), line_of(tweed, days=95)
    (group,) = combine.propose()
    (warp,) = combine.accept(wanted(group), by=planner)
    assert jobs.is_pending("planning.rework_warps")
    jobs.settle()
    warp.refresh_from_db()
    assert (warp.state, warp.beam.code, warp.worked.warp_length_m) == (
        Warp.PLANNED,
        "B1",
        group.combination.proposals[0].warp_m,
    )
    assert [part.line for part in warp.parts.all()] == [one, two]
    assert combine.propose() == []


def test_accepting_twice_makes_one(tweed, planner):
    line_of(tweed), line_of(tweed, days=95)
    asked = wanted(combine.propose()[0])
    first = combine.accept(asked, by=planner)
    assert combine.accept(asked, by=planner) == first
    assert Warp.objects.count() == 1


def test_what_has_gone_on_another_warp_meanwhile_is_refused_and_nothing_is_made(tweed, planner):
    one, two = line_of(tweed), line_of(tweed, days=95)
    asked = wanted(combine.propose()[0])
    taken = warps.make_warp([Share(one, 2)], by=planner)
    with pytest.raises(Refusal, match=rf"All 2 pieces of line {one} are on {taken} already"):
        combine.accept(asked, by=planner)
    assert Warp.objects.count() == 1
    assert OrderLine.objects.get(pk=two.pk).state == OrderLine.ENTERED


def test_accepting_nothing_or_lines_that_are_gone_is_refused(tweed, planner):
    with pytest.raises(Refusal, match=r"No warp is chosen"):
        combine.accept([[]], by=planner)
    with pytest.raises(Refusal, match=r"1 of these order lines are not in the book any more"):
        combine.accept([[(99, 1)]], by=planner)


def test_a_warp_put_together_by_hand_keeps_the_rules_or_says_which_it_breaks(tweed):
    from planning.combining import Part

    one, two = line_of(tweed, days=60), line_of(tweed, days=95)
    (group,) = combine.propose()
    assert len(group.combination.proposals) == 2
    with pytest.raises(Refusal, match=r"due 35 days apart; lines that share a warp are at most 21"):
        group.rework([Part(one.pk, 2), Part(two.pk, 2)])
    (wider,) = combine.propose(Wishes(due_spread_days=40))
    assert wider.rework([Part(one.pk, 2), Part(two.pk, 1)]).warp_m == 3 * PIECE_M + 3


def test_ten_times_the_lines_take_no_more_queries(tweed, django_assert_max_num_queries):
    line_of(tweed)
    with django_assert_max_num_queries(20) as counted:
        combine.propose()
    for _ in range(4):
        for days in range(60, 70):
            line_of(tweed, days=days)
    with django_assert_max_num_queries(len(counted)):
        combine.propose()


def test_the_benchmark_weighs_combined_warps_against_one_a_line(tweed):
    line_of(tweed, days=90), line_of(tweed, days=95)
    told = json.loads(bench.work_inside())["lines that wait"]
    # As above: one warp saved is 3 m of thrums, 563 g, and 257 minutes.
    assert (told["lines"], told["groups"], told["proven"]) == (2, 1, 1)
    assert (told["combined"]["warps"], told["apart"]["warps"]) == (1, 2)
    assert (told["combined"]["thrums_m"], told["apart"]["thrums_m"]) == (3, 6)
    assert (told["combined"]["thrums_g"], told["apart"]["thrums_g"]) == (563, 1126)
    assert (told["combined"]["setup_min"], told["apart"]["setup_min"]) == (257, 514)
    assert told["combined"]["cost_min"] < told["apart"]["cost_min"]
