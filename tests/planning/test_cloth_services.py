from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from decimal import Decimal
from threading import Barrier, Event
from time import sleep

import pytest
from django.db import connection, transaction
from django.utils import timezone

from mill.models import Job
from mill.refusal import Refusal
from planning.cloth import RouteStep
from planning.models import Cloth, ClothSpec, OrderLine, Warp
from planning.services import cloths, warps, working_out
from planning.services.cloths import ColourwayDraft, SpecDraft
from tests.make import (
    make_beam,
    make_cloth,
    make_colourway,
    make_line,
    make_loom,
    make_spec,
    make_ticket,
    make_warp,
    make_yarn,
    put_yarns,
)

pytestmark = pytest.mark.django_db


def changed(spec: ClothSpec, **columns) -> SpecDraft:
    draft = cloths.draft_of(spec)
    return replace(draft, columns={**draft.columns, **columns})


MORE_PICKS = {"loom_picks_per_cm": Decimal("9.000")}


# New revisions


def test_a_new_cloth_begins_at_revision_1_with_its_colourways(planner):
    draft = cloths.draft_of(make_spec())
    yarns = {"A": make_yarn(), "B": make_yarn()}
    spec = cloths.new_cloth(
        code="HER7", name="Heather", draft=replace(draft, colourways=[ColourwayDraft("Moss", yarns)]), by=planner
    )
    assert (spec.cloth.code, spec.revision, spec.by) == ("HER7", 1, planner)
    assert {e.letter: e.yarn for e in spec.colourway_yarns.all()} == yarns
    assert [s.name for s in spec.route_steps.all()] == ["scour", "press"]


def test_a_revision_in_use_is_never_edited(planner):
    spec = make_spec()
    make_warp(spec=spec)
    with pytest.raises(Refusal, match=r"Revision 1 of \w+ is in use: 1 warp. Write revision 2 instead."):
        cloths.edit_spec(spec, changed(spec, **MORE_PICKS), by=planner)
    made = cloths.revise(spec.cloth, changed(spec, **MORE_PICKS), by=planner, note="Too sleazy")
    spec.refresh_from_db()
    assert (spec.revision, spec.loom_picks_per_cm) == (1, Decimal("8.460"))
    assert (made.revision, made.loom_picks_per_cm, made.note, made.by) == (2, Decimal("9.000"), "Too sleazy", planner)


@pytest.mark.parametrize("used_by", ["ticket", "piece"])
def test_a_revision_is_in_use_as_long_as_anything_was_made_from_it(planner, used_by):
    spec = make_spec()
    if used_by == "ticket":
        warp = make_warp(spec=spec)
        make_ticket(warp)
        warp.parts.all().delete()
    else:
        spec.woven_pieces.create(number="P1", woven_on=timezone.localdate(), grey_length_m=64, grey_width_cm=166)
    with pytest.raises(Refusal, match=f"is in use: 1 {used_by}."):
        cloths.edit_spec(spec, changed(spec, **MORE_PICKS), by=planner)


def test_a_revision_that_nothing_stands_on_is_corrected_in_place(planner):
    spec = make_spec()
    cloths.edit_spec(
        spec,
        replace(changed(spec, **MORE_PICKS), route=[RouteStep("mill", Decimal(20), Decimal(9), Decimal(5))]),
        by=planner,
    )
    spec = ClothSpec.objects.get(cloth=spec.cloth)
    assert (spec.revision, spec.loom_picks_per_cm) == (1, Decimal("9.000"))
    assert [(s.name, s.width_shrink_pct) for s in spec.route_steps.all()] == [("mill", Decimal("20.00"))]
    assert spec.colourway_yarns.count() == 2


def test_only_the_latest_revision_is_corrected(planner):
    first = make_spec()
    make_spec(cloth=first.cloth)
    with pytest.raises(Refusal, match=r"has been followed by revision 2\. Revise that"):
        cloths.edit_spec(first, changed(first, **MORE_PICKS), by=planner)


def test_a_revision_that_says_nothing_new_is_refused(planner):
    spec = make_spec(warp_order="A24 B2 A24 B2")
    with pytest.raises(Refusal, match="Nothing here differs from revision 1"):
        cloths.revise(spec.cloth, changed(spec, warp_order="(a24 b2)x2"), by=planner)
    assert spec.cloth.specs.count() == 1


def test_two_people_revising_at_once_are_told_of_each_other(planner):
    spec = make_spec()
    cloths.revise(spec.cloth, changed(spec, **MORE_PICKS), by=planner, based_on=1)
    with pytest.raises(Refusal, match="has meanwhile become revision 2 by planner; this was written from revision 1"):
        cloths.revise(spec.cloth, changed(spec, ends_per_dent=3), by=planner, based_on=1)
    assert spec.cloth.specs.count() == 2


@pytest.mark.django_db(transaction=True)
def test_of_two_who_write_in_the_same_moment_one_is_told_no(planner):
    spec = make_spec()
    warp = make_warp(spec=spec)
    both_ready = Barrier(2)

    def write(ends_per_dent: int) -> str:
        try:
            draft = changed(ClothSpec.objects.get(pk=spec.pk), ends_per_dent=ends_per_dent)
            both_ready.wait(timeout=10)
            made = cloths.revise(spec.cloth, draft, by=planner, based_on=1)
            return f"revision {made.revision}"
        except Refusal as refusal:
            return refusal.message
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as two:
        said = sorted(two.map(write, (3, 4)), key=len)
    assert said[0] == "revision 2"
    assert "has meanwhile become revision 2" in said[1]
    assert spec.cloth.specs.count() == 2
    assert warp.parts.get().spec.revision == 2


@pytest.mark.django_db(transaction=True)
def test_a_warp_made_while_a_revision_is_written_stands_on_that_revision(planner):
    spec = make_spec()
    line = make_line(spec=spec)
    make_beam()
    is_written = Event()

    def revise() -> None:
        try:
            with transaction.atomic():
                cloths.revise(spec.cloth, changed(spec, **MORE_PICKS), by=planner)
                is_written.set()
                # Long enough for the other to begin, and to be kept waiting.
                sleep(0.5)
        finally:
            connection.close()

    def combine() -> int:
        try:
            is_written.wait(timeout=10)
            return warps.make_warp([warps.Share(line, 2)], by=planner).parts.get().spec.revision
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as two:
        revised, combined = two.submit(revise), two.submit(combine)
        revised.result()
        assert combined.result() == 2


def test_a_refused_revision_leaves_nothing_behind(planner):
    spec = make_spec()
    warp = make_warp(spec=spec)
    with pytest.raises(Refusal) as refused:
        cloths.revise(spec.cloth, changed(spec, lifting="1+2 2+3 3+5 1+4"), by=planner)
    assert refused.value.field == "lifting"
    assert ClothSpec.objects.filter(cloth=spec.cloth).count() == 1
    assert warp.parts.get().spec == spec
    assert not Job.objects.exists()


# What follows


def test_warps_that_no_yarn_is_drawn_for_follow_and_the_others_stay(planner):
    spec = make_spec()
    warps = {state: make_warp(spec=spec, state=state) for state, _ in Warp.STATES}
    made = cloths.revise(spec.cloth, changed(spec, **MORE_PICKS), by=planner)
    on = {state: warp.parts.get().spec for state, warp in warps.items()}
    assert [state for state in on if on[state] == made] == [Warp.PROPOSED, Warp.PLANNED]
    assert {on[state] for state in on} == {made, spec}


def test_the_warps_that_follow_are_worked_out_again(planner):
    spec = make_spec()
    follows, stays = make_warp(spec=spec), make_warp(spec=spec, state=Warp.WEAVING)
    cloths.revise(spec.cloth, changed(spec, **MORE_PICKS), by=planner)
    assert Job.objects.get().task == "planning.rework_warps"
    assert working_out.is_being_worked_out(Warp.objects.filter(pk=follows.pk))
    assert not working_out.is_being_worked_out(Warp.objects.filter(pk=stays.pk))
    working_out.rework_warps()
    follows.refresh_from_db()
    # 60 m at 6 %: 63.9 m grey (rounded up), at 9 a cm 57,510 picks, two pieces.
    assert follows.worked.picks == 2 * 57_510


def test_tickets_of_older_revisions_are_overtaken_and_say_by_what(planner):
    first = make_spec(cloth=make_cloth(code="HER7"))
    old = make_ticket(make_warp(spec=first, state=Warp.WEAVING))
    second = make_spec(cloth=first.cloth)
    young = make_ticket(make_warp(spec=second))
    cloths.revise(first.cloth, changed(second, **MORE_PICKS), by=planner)
    old.refresh_from_db()
    young.refresh_from_db()
    assert old.overtaken_why == "Cloth HER7 is now revision 3; this ticket is from revision 1."
    assert young.overtaken_why == "Cloth HER7 is now revision 3; this ticket is from revision 2."
    assert old.overtaken_at
    assert young.overtaken_at


def test_tickets_that_are_withdrawn_woven_out_or_of_another_cloth_are_left_alone(planner):
    spec = make_spec()
    withdrawn = make_ticket(make_warp(spec=spec), withdrawn_at=timezone.now())
    woven_out = make_ticket(make_warp(spec=spec, state=Warp.WOVEN_OUT))
    other = make_ticket(make_warp())
    before = timezone.now()
    overtaken = make_ticket(make_warp(spec=spec), overtaken_at=before, overtaken_why="Ticket 9 takes its place.")
    cloths.revise(spec.cloth, changed(spec, **MORE_PICKS), by=planner)
    for ticket in (withdrawn, woven_out, other, overtaken):
        ticket.refresh_from_db()
    assert [t.overtaken_at for t in (withdrawn, woven_out, other)] == [None] * 3
    assert (overtaken.overtaken_at, overtaken.overtaken_why) == (before, "Ticket 9 takes its place.")


def test_a_part_of_another_cloth_on_the_same_warp_keeps_its_revision(planner):
    spec, other = make_spec(), make_spec()
    warp = make_warp(spec=spec)
    warp.parts.create(position=2, line=make_line(spec=other), spec=other, pieces=1)
    made = cloths.revise(spec.cloth, changed(spec, **MORE_PICKS), by=planner)
    assert [part.spec for part in warp.parts.all()] == [made, other]


# Colourways and their letters


def test_a_letter_without_a_yarn_is_refused_at_its_place_in_the_table(planner):
    spec = make_spec()
    with pytest.raises(Refusal, match="has no yarn at C; the orders use A, B, C") as refused:
        cloths.revise(spec.cloth, changed(spec, warp_order="A24 B2 C1"), by=planner)
    assert refused.value.field == "colourways.0.C"


def test_a_yarn_at_a_letter_that_no_order_uses_is_not_written(planner):
    spec = make_spec()
    made = cloths.revise(spec.cloth, changed(spec, warp_order="A24", weft_order="A24"), by=planner)
    assert [entry.letter for entry in made.colourway_yarns.all()] == ["A"]


def test_the_selvedge_may_have_a_letter_of_its_own(planner):
    spec = make_spec()
    draft = changed(spec, selvedge_letter="S", selvedge_ends=48)
    with pytest.raises(Refusal, match="has no yarn at S"):
        cloths.revise(spec.cloth, draft, by=planner)
    [moss] = draft.colourways
    moss = replace(moss, yarns={**moss.yarns, "S": make_yarn()})
    made = cloths.revise(spec.cloth, replace(draft, colourways=[moss]), by=planner)
    assert "".join(made.colourway_yarns.values_list("letter", flat=True)) == "ABS"


def test_a_colourway_on_order_is_not_left_out(planner):
    spec = make_spec()
    peat = make_colourway(spec=spec, name="Peat")
    line = make_line(spec=spec, colourway=peat)
    draft = changed(spec, **MORE_PICKS)
    without = replace(draft, colourways=[c for c in draft.colourways if c.name != "Peat"])
    with pytest.raises(Refusal, match="Colourway Peat has 1 open order line and no yarns here"):
        cloths.revise(spec.cloth, without, by=planner)
    OrderLine.objects.filter(pk=line.pk).update(state=OrderLine.SENT)
    made = cloths.revise(spec.cloth, without, by=planner)
    assert not made.colourway_yarns.filter(colourway=peat).exists()


def test_two_colourways_exchange_their_names(planner):
    cloth = make_cloth()
    one, other = make_colourway(cloth=cloth, name="Moss"), make_colourway(cloth=cloth, name="Peat")
    draft = cloths.draft_of(make_spec(cloth=cloth))
    names = {"Moss": "Peat", "Peat": "Moss"}
    cloths.revise(
        cloth, replace(draft, colourways=[replace(c, name=names[c.name]) for c in draft.colourways]), by=planner
    )
    one.refresh_from_db()
    other.refresh_from_db()
    assert (one.name, other.name) == ("Peat", "Moss")


def test_two_colourways_of_one_name_are_refused(planner):
    spec = make_spec(cloth=make_cloth())
    draft = cloths.draft_of(spec)
    [had] = draft.colourways
    twin = ColourwayDraft(had.name.upper(), had.yarns)
    with pytest.raises(Refusal, match="Two colourways are called") as refused:
        cloths.revise(spec.cloth, replace(draft, colourways=[had, twin]), by=planner)
    assert refused.value.field == "colourways.1.name"


def test_a_colourway_of_another_cloth_cant_be_brought_in(planner):
    spec = make_spec()
    draft = cloths.draft_of(spec)
    # A number that is none at all, too: it came from a field that nobody sees.
    for pk in (make_colourway().pk, 10**20):
        stranger = replace(draft.colourways[0], colourway_id=pk, name="Stranger")
        with pytest.raises(Refusal, match="Stranger is not of this cloth any more"):
            cloths.revise(spec.cloth, replace(draft, colourways=[*draft.colourways, stranger]), by=planner)
    assert spec.cloth.specs.count() == 1


def test_a_colourway_is_added_to_a_revision_in_use_without_touching_what_is_woven(planner):
    spec = make_spec()
    make_ticket(make_warp(spec=spec))
    before = list(spec.colourway_yarns.values_list("pk", flat=True))
    yarns = {"A": make_yarn(), "B": make_yarn()}
    with pytest.raises(Refusal, match="has no yarn at B"):
        cloths.add_colourway(spec.cloth, name="Slate", yarns={"A": yarns["A"]}, by=None)
    added = cloths.add_colourway(spec.cloth, name="Slate", yarns=yarns, by=None)
    assert {e.letter: e.yarn for e in added.yarns.filter(spec=spec)} == yarns
    assert set(before) < set(spec.colourway_yarns.values_list("pk", flat=True))
    with pytest.raises(Refusal, match="Two colourways are called Slate"):
        cloths.add_colourway(spec.cloth, name="slate", yarns=yarns, by=None)
    assert not Job.objects.exists()


def test_a_colourway_is_not_renamed_to_anothers_name(planner):
    cloth = make_cloth()
    moss = make_colourway(cloth=cloth, name="Moss")
    make_colourway(cloth=cloth, name="Peat")
    with pytest.raises(Refusal, match="Another colourway"):
        cloths.rename_colourway(moss, name="peat", by=None)
    assert cloths.rename_colourway(moss, name="Sedge", by=None).name == "Sedge"


# The cloth itself


def test_a_cloth_with_open_lines_is_not_put_away(planner):
    line = make_line()
    facts = {"code": line.cloth.code, "name": line.cloth.name}
    with pytest.raises(Refusal, match="has 1 open order line"):
        cloths.change_cloth(line.cloth, **facts, is_in_use=False, by=None)
    OrderLine.objects.filter(pk=line.pk).update(state=OrderLine.SENT)
    assert not cloths.change_cloth(line.cloth, **facts, is_in_use=False, by=None).is_in_use
    assert not Job.objects.exists()


@pytest.mark.parametrize("code", ["", "HER/7", "HER 7", "x" * 21, "<b>"])
def test_a_code_stands_in_addresses_and_is_refused_when_it_cant(planner, code):
    with pytest.raises(Refusal, match="can't be a cloth's code"):
        cloths.new_cloth(code=code, name="Heather", draft=cloths.draft_of(make_spec()), by=planner)


def test_a_code_is_given_once(planner):
    make_cloth(code="HER7")
    draft = cloths.draft_of(make_spec())
    with pytest.raises(Refusal) as refused:
        cloths.new_cloth(code="HER7", name="Heather", draft=draft, by=planner)
    assert refused.value.field == "code"
    assert Cloth.objects.filter(code="HER7").count() == 1


# Said in words


def test_differences_are_said_in_the_words_of_the_trade():
    spec = make_spec(route=[("scour", "10", "6", "8"), ("press", "0", "0", "0")])
    draft = changed(spec, loom_picks_per_cm=Decimal("9"), whole_repeats=True, weft_order="A24 B4")
    raised = RouteStep("raise", Decimal(1), Decimal(0), Decimal(2))
    scoured = RouteStep("scour", Decimal(12), Decimal(6), Decimal(8))
    [moss] = draft.colourways
    peat = make_yarn(code="PEA", name="Peat")
    moss = replace(moss, name="Moss", yarns={**moss.yarns, "B": peat})
    after = replace(draft, route=[scoured, raised, draft.route[1]], colourways=[moss])
    old = cloths.draft_of(spec).colourways[0]
    assert cloths.differences(cloths.draft_of(spec), after) == [
        "Whole repeats: no → yes",
        "Picks in the loom: 8.46 → 9 per cm",
        "Weft order: A24 B2 → A24 B4",
        "Route: scour, press → scour, raise, press",
        "Scour, width: 10 → 12 %",
        "Raise, width: 0 → 1 %",
        "Raise, mass: 0 → 2 %",
        f"Colourway {old.name} is called Moss",
        f"Moss B: {old.yarns['B']} → PEA Peat",
    ]
    assert cloths.differences(after, after) == []


# What a revision would change


def test_what_it_changes_says_beforehand_what_the_revision_then_does(planner):
    spec = make_spec()
    loom = make_loom()
    follows = make_warp(spec=spec, pin_loom=loom)
    stays = make_warp(spec=spec, state=Warp.WOUND)
    ticket = make_ticket(follows)
    draft = changed(spec, **MORE_PICKS)
    said = cloths.what_it_changes(spec.cloth, draft)
    assert ClothSpec.objects.filter(cloth=spec.cloth).count() == 1
    assert said.revision == 2
    assert said.differences == ("Picks in the loom: 8.46 → 9 per cm",)
    assert [change.warp for change in said.warps] == [follows]
    assert list(said.staying) == [stays]
    assert list(said.tickets) == [ticket]

    cloths.revise(spec.cloth, draft, by=planner)
    working_out.rework_warps()
    follows = Warp.objects.get(pk=follows.pk)
    assert said.picks_after == follows.worked.picks
    assert sum(said.grams[1:]) == follows.worked.warp_g + follows.worked.weft_g
    assert {y.code: y.after_g for y in said.yarns} == {
        code: sum(n.issue_g for n in follows.yarns.filter(yarn__code=code)) for code in {y.code for y in said.yarns}
    }
    assert said.weaving_min_after == said.warps[0].after.weaving_min


def test_hours_and_grams_before_and_after_are_those_of_a_hand_reckoning():
    # 2 pieces of 60 m: 60 / 0.94 = 63.9 m grey. 8.46 picks a cm are 54,060 a piece; 9 are 57,510.
    # 220 ppm at 70 %: 154 picks a minute. 108,120 are 703 min, 115,020 are 747 min, both rounded up.
    spec = make_spec()
    make_warp(spec=spec, pin_loom=make_loom())
    said = cloths.what_it_changes(spec.cloth, changed(spec, **MORE_PICKS))
    assert (said.picks_before, said.picks_after) == (108_120, 115_020)
    assert (said.weaving_min_before, said.weaving_min_after) == (703, 747)
    assert said.warps[0].more_min == 44
    # Warp yarn stays, weft yarn grows by 9 / 8.46.
    assert said.grams[0] < said.grams[1]
    assert all(yarn.more_g > 0 for yarn in said.yarns)


def test_a_warp_that_could_not_be_woven_any_more_is_named_with_the_reason():
    spec = make_spec()
    narrow = make_loom(code="L9", reed_space_cm=Decimal("180.0"))
    make_warp(spec=spec, pin_loom=narrow)
    said = cloths.what_it_changes(spec.cloth, changed(spec, finished_width_cm=Decimal("160.0")))
    assert "L9" in said.warps[0].trouble
    assert said.warps[0].more_min is None


def test_a_draft_that_cant_be_woven_is_refused_before_it_is_weighed():
    spec = make_spec()
    with pytest.raises(Refusal) as refused:
        cloths.what_it_changes(spec.cloth, changed(spec, selvedge_ends=7))
    assert refused.value.field == "selvedge_ends"


def test_weighing_ten_times_the_warps_asks_no_more_of_the_database(django_assert_max_num_queries):
    few, many = make_spec(), make_spec()
    make_warp(spec=few)
    make_ticket(make_warp(spec=few))
    for _ in range(10):
        make_warp(spec=many)
        make_ticket(make_warp(spec=many))
    with django_assert_max_num_queries(32) as counted:
        cloths.what_it_changes(few.cloth, changed(few, **MORE_PICKS))
    with django_assert_max_num_queries(len(counted)):
        assert len(cloths.what_it_changes(many.cloth, changed(many, **MORE_PICKS)).warps) == 20


def test_the_latest_revision_of_each_cloth_is_found():
    first = make_spec()
    second = make_spec(cloth=first.cloth)
    other = make_spec()
    assert set(cloths.latest_specs()) == {second, other}
    assert second.cloth.current_spec == second


def test_a_draft_of_a_written_revision_says_what_it_says():
    spec = make_spec()
    extra = make_colourway(cloth=spec.cloth, name="Unmade")
    put_yarns(make_spec(), extra, {})
    draft = cloths.draft_of(spec)
    [colourway] = draft.colourways
    made = cloths.as_cloths(draft, cloth=spec.cloth, revision=1)[colourway.name]
    assert made == spec.as_cloth(spec.colourway_yarns.first().colourway)
