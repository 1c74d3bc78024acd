from collections.abc import Mapping
from decimal import Decimal
from html.parser import HTMLParser
from typing import Any

import pytest
from django.urls import reverse

from inventory.models import Yarn
from mill.templatetags.mill import num
from planning.cloth import Cloth, write_order
from planning.forms.cloths import BASES, ClothSheet, on_kept_base
from planning.models import ClothSpec, OrderLine, Reed, Warp
from planning.services import cloths, working_out
from planning.ticket import work_out
from planning.views.cloths import GROUPS, workings
from planning.weave import lifting_text, threading_text
from tests.make import (
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
from tests.sheets import MILL, PLAID, PLAID_3_PIECES, SHEETS

pytestmark = pytest.mark.django_db


class Typed(HTMLParser):
    """What a browser without a script would send of the page's form: every control with what stands in it."""

    def __init__(self) -> None:
        super().__init__()
        self.sent: dict[str, str] = {}
        self.select = self.textarea = ""
        self.depth = 0

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        facts = dict(attrs)
        if tag == "form":
            self.depth = 1 if facts.get("id") == "cloth-form" else 0
        if not self.depth:
            return
        name = facts.get("name", "")
        if tag == "input" and name and (facts.get("type") != "checkbox" or "checked" in facts):
            self.sent[name] = facts.get("value", "")
        elif tag == "select":
            self.select = name
        elif tag == "option" and self.select and ("selected" in facts or self.select not in self.sent):
            self.sent[self.select] = facts.get("value", "")
        elif tag == "textarea":
            self.textarea, self.sent[name] = name, ""

    def handle_endtag(self, tag: str) -> None:
        if tag == "select":
            self.select = ""
        elif tag == "textarea":
            # A browser drops the line break that follows the tag.
            self.sent[self.textarea] = self.sent[self.textarea].removeprefix("\n")
            self.textarea = ""
        elif tag == "form":
            self.depth = 0

    def handle_data(self, data: str) -> None:
        if self.textarea:
            self.sent[self.textarea] += data


def typed(response, **changes: str) -> dict[str, str]:
    reader = Typed()
    reader.feed(response.content.decode())
    return reader.sent | changes


def revise_page(desk, spec: ClothSpec):
    return desk.get(reverse("cloth_revise", args=[spec.cloth.code]))


def follows(response) -> str:
    """The panel of what follows, without what the page sends to other places."""
    return response.content.decode()


def spec_of(cloth: Cloth, code: str = "HILL") -> ClothSpec:
    """A cloth of the sheets, written into the book."""
    yarns = {
        letter: Yarn.objects.filter(code=yarn.code).first()
        or make_yarn(
            code=yarn.code, name=yarn.name, colour=yarn.colour, count_tex=yarn.count_tex, spinning=yarn.spinning
        )
        for letter, yarn in cloth.yarns.items()
    }
    columns = {name: getattr(cloth, name) for name in cloths.COLUMNS if hasattr(cloth, name)}
    return make_spec(
        cloth=make_cloth(code=code, name=cloth.name),
        yarns=yarns,
        route=[
            (step.name, str(step.width_shrink_pct), str(step.length_shrink_pct), str(step.mass_loss_pct))
            for step in cloth.route
        ],
        **columns
        | {
            "warp_crimp_pct": cloth.warp_crimp_pct.quantize(Decimal("0.01")),
            "warp_order": write_order(cloth.warp_order),
            "weft_order": write_order(cloth.weft_order),
            "threading": threading_text(cloth.threading),
            "lifting": lifting_text(cloth.lifting),
        },
    )


def cloth_figures_of(sheet) -> Mapping[str, Any]:
    return {path.removeprefix("cloth."): value for path, value in sheet.figures.items() if path.startswith("cloth.")}


# The hand-worked sheets, on the page


@pytest.mark.parametrize("name", [name for name, sheet in SHEETS.items() if cloth_figures_of(sheet)])
def test_the_page_of_a_cloth_shows_what_the_sheet_was_worked_to_by_hand(desk, name):
    sheet = SHEETS[name]
    spec = spec_of(sheet.runs[0].cloth)
    shown = desk.get(reverse("cloth", args=["HILL"])).context["groups"]
    on_page = {line.name: line.value for _, lines in shown for line in lines}
    expected = {name: value for name, value in cloth_figures_of(sheet).items() if name in on_page}
    assert len(expected) > 3
    assert {name: on_page[name] for name in expected} == {
        name: ", ".join(map(str, value)) if isinstance(value, tuple) else value for name, value in expected.items()
    }
    html = desk.get(reverse("cloth", args=["HILL"])).content.decode()
    for name, value in expected.items():
        if isinstance(value, Decimal):
            assert num(value) in html, name
    assert spec.revision == 1


def test_every_figure_that_was_worked_out_opens_to_its_working(desk):
    spec = make_spec()
    html = desk.get(reverse("cloth", args=[spec.cloth.code])).content.decode()
    figures = cloths.figures_of(spec.as_cloth(spec.cloth.colourways.get()))
    assert len(figures.working) > 20
    shown = {name for _, lines in GROUPS for name, _, _ in lines}
    for step in figures.working:
        assert step.name in shown, f"{step.name} is worked out and stands nowhere on the page"
        assert f'<details class="sum" id="sum-{step.name}">' in html
    assert "ISO 7211-3" in html


# A cloth's page


def test_the_page_switches_between_colourways(desk):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    red = make_yarn(colour="#b01020", name="Scarlet")
    peat = make_colourway(spec=spec, name="Peat", yarns={"A": red, "B": red})
    page = desk.get(reverse("cloth", args=["HER7"]), {"colourway": peat.pk})
    assert page.context["colourway"] == peat
    assert "#b01020" in page.content.decode()
    assert "#b01020" not in desk.get(reverse("cloth", args=["HER7"])).content.decode()


def test_revisions_stand_with_their_differences_in_words(desk, planner):
    first = make_spec(cloth=make_cloth(code="HER7"))
    draft = cloths.draft_of(first)
    second = cloths.revise(
        first.cloth,
        cloths.SpecDraft({**draft.columns, "ends_per_dent": 3}, draft.route, draft.colourways),
        by=planner,
        note="Closer",
    )
    html = desk.get(reverse("cloth", args=["HER7"])).content.decode()
    assert "Ends per dent: 2 → 3" in html
    assert "Closer" in html
    older = desk.get(reverse("cloth", args=["HER7"]), {"revision": 1})
    assert older.context["spec"] == first
    assert "The cloth is now at" in older.content.decode()
    assert desk.get(reverse("cloth", args=["HER7"]), {"revision": 9}).status_code == 404
    assert second.revision == 2


def test_the_page_says_where_the_cloth_is_used_and_asks_again_while_it_is_worked_out(desk):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    warp = make_warp(spec=spec)
    make_warp(spec=spec, state=Warp.WOVEN_OUT)
    working_out.WarpFigures.objects.create(warp=warp, is_stale=True)
    html = desk.get(reverse("cloth", args=["HER7"])).content.decode()
    assert str(warp) in html
    assert html.count('<span class="state">planned') == 1
    asks_again = f'hx-get="{reverse("cloth_used", args=["HER7"])}"'
    assert asks_again in html
    working_out.rework_warps()
    part = desk.get(reverse("cloth_used", args=["HER7"])).content.decode()
    assert asks_again not in part
    assert "1\u202f500 ends" in part


def test_a_reed_that_the_mill_has_not_and_looms_that_are_too_narrow_are_said(desk):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    Reed.objects.create(code="R7", dents_per_10cm=Decimal("42.000"), width_cm=Decimal("200.0"))
    make_loom(code="L1", reed_space_cm=Decimal("150.0"))
    html = desk.get(reverse("cloth", args=["HER7"])).content.decode()
    assert "The mill has no reed of 42.3 dents per 10 cm" in html
    assert "No loom of the mill takes it" in html
    make_loom(code="L2")
    Reed.objects.create(code="R8", dents_per_10cm=spec.reed_dents_per_10cm, width_cm=Decimal("200.0"))
    html = desk.get(reverse("cloth", args=["HER7"])).content.decode()
    assert "The mill has no reed" not in html
    assert "No loom of the mill takes it" not in html


def test_a_cloth_that_cant_be_worked_out_any_more_says_why_and_stays_on_its_page(desk):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    spec.colourway_yarns.filter(letter="B").delete()
    page = desk.get(reverse("cloth", args=["HER7"]))
    assert "no yarn stands there" in page.content.decode()
    assert "As it is specified" in page.content.decode()
    assert desk.get(reverse("cloths")).status_code == 200


def test_names_are_written_as_text_wherever_they_stand(desk):
    bad = "<script>alert(1)</script>"
    yarn = make_yarn(code="<b>1", name=bad)
    spec = make_spec(
        cloth=make_cloth(code="HER7", name=bad), yarns={"A": yarn}, note=bad, route=[(bad, "10", "6", "8")]
    )
    make_colourway(spec=spec, name=bad, yarns={"A": yarn, "B": yarn})
    Reed.objects.create(code="<i>", dents_per_10cm=Decimal("42.000"), width_cm=Decimal("200.0"))
    make_line(spec=spec)
    pages = [
        reverse("cloths"),
        reverse("cloth", args=["HER7"]),
        reverse("cloth_revise", args=["HER7"]),
        reverse("cloth_new") + "?like=HER7",
        reverse("colourway_new", args=["HER7"]),
    ]
    for address in pages:
        html = desk.get(address).content.decode()
        assert bad not in html, address
        assert "&lt;script&gt;" in html or address.endswith("HER7") or "cloths/" in address
        assert "<b>1" not in html
        assert "<i>" not in html
    page = revise_page(desk, spec)
    live = desk.post(reverse("cloth_revise_figures", args=["HER7"]), typed(page, note=bad)).content.decode()
    assert bad not in live
    assert "<b>1" not in live


# The list


def test_the_list_narrows_by_text_yarn_and_use(desk):
    oat = make_yarn(code="OAT")
    her = make_spec(cloth=make_cloth(code="HER7", name="Harrow"), yarns={"B": oat})
    make_spec(cloth=make_cloth(code="PLD2", name="Candle plaid"))
    old = make_spec(cloth=make_cloth(code="OLD1", name="Gone", is_in_use=False), yarns={"A": oat})
    make_spec(cloth=old.cloth, yarns={"A": make_yarn()})

    def found(**narrow: str) -> list[str]:
        return [line["row"].code for line in desk.get(reverse("cloths"), narrow).context["lines"]]

    assert found() == ["HER7", "OLD1", "PLD2"]
    assert found(text="plaid") == ["PLD2"]
    assert found(text="her") == ["HER7"]
    # OLD1 had the yarn in an earlier revision only.
    assert found(yarn="OAT") == ["HER7"]
    assert found(is_in_use="True") == ["HER7", "PLD2"]
    assert found(is_in_use="False") == ["OLD1"]
    assert her.cloth.code == "HER7"


def test_the_list_leaves_as_csv_with_figures(desk):
    spec = make_spec(cloth=make_cloth(code="HER7", name="=Harrow"))
    make_line(spec=spec)
    make_line(spec=spec, state=OrderLine.SENT)
    lines = b"".join(desk.get(reverse("cloths"), {"csv": 1})).decode("utf-8-sig").splitlines()
    assert lines[0].startswith("Code,Name,Yarns,Revision,Shafts,Reed (per 10 cm),Finished width (cm)")
    figures = cloths.figures_of(spec.as_cloth(spec.cloth.colourways.get()))
    assert lines[1].startswith("HER7,'=Harrow,")
    assert f",1,4,42.300,{figures.made_width_cm},{figures.finished_g_per_m2}," in lines[1]
    assert lines[1].endswith(",1")


def test_ten_times_the_cloths_ask_no_more_of_the_database(desk, django_assert_max_num_queries):
    def ask(most: int):
        with django_assert_max_num_queries(most) as asked:
            assert desk.get(reverse("cloths")).status_code == 200
        return len(asked)

    make_line(spec=make_spec())
    few = ask(20)
    for _ in range(10):
        make_line(spec=make_spec(cloth=make_spec().cloth))
    ask(few)


def test_a_cloth_with_many_revisions_warps_and_colourways_asks_no_more(desk, django_assert_max_num_queries, planner):
    few, many = make_spec(cloth=make_cloth(code="FEW")), make_spec(cloth=make_cloth(code="MANY"))
    make_ticket(make_warp(spec=few))
    for n in range(9):
        make_colourway(spec=many, name=f"Shade {n}")
    for _ in range(8):
        last = make_spec(cloth=many.cloth)
        make_warp(spec=last)
        make_ticket(make_warp(spec=last))

    def ask(code: str, name: str, most: int) -> int:
        with django_assert_max_num_queries(most) as asked:
            assert desk.get(reverse(name, args=[code])).status_code == 200
        return len(asked)

    for name in ("cloth", "cloth_used", "cloth_revise"):
        # The colourways that no warp is of cost nothing more either.
        ask("MANY", name, ask("FEW", name, 45))


# The form, without a script


def test_the_form_of_a_revision_says_nothing_new_until_something_is_typed(desk):
    spec = make_spec(cloth=make_cloth(code="HER7"), selvedge_ends=24, selvedge_letter="B")
    answer = desk.post(reverse("cloth_revise", args=["HER7"]), typed(revise_page(desk, spec)))
    assert "Nothing here differs from revision 1" in answer.content.decode()
    assert spec.cloth.specs.count() == 1


def test_a_revision_is_written_by_a_form_without_a_script(desk, planner):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    warp = make_warp(spec=spec)
    sent = typed(
        revise_page(desk, spec), finished_width_cm="59 in", loom_picks_per_cm="24 picks/in", note="For the new customer"
    )
    answer = desk.post(reverse("cloth_revise", args=["HER7"]), sent, follow=True)
    assert "HER7" in answer.content.decode()
    assert "is now revision 2. It is followed by 1 warp, being worked out now." in answer.content.decode()
    made = ClothSpec.objects.get(cloth=spec.cloth, revision=2)
    assert (made.finished_width_cm, made.loom_picks_per_cm) == (Decimal("149.9"), Decimal("9.449"))
    assert (made.by, made.note) == (planner, "For the new customer")
    assert warp.parts.get().spec == made


def test_show_what_follows_writes_nothing_and_keeps_what_was_typed(desk):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    make_ticket(make_warp(spec=spec, number=118), number=40)
    sent = typed(revise_page(desk, spec), loom_picks_per_cm="9", show="yes")
    page = desk.post(reverse("cloth_revise", args=["HER7"]), sent)
    html = page.content.decode()
    assert typed(page)["loom_picks_per_cm"] == "9"
    assert "Picks in the loom: 8.46 → 9 per cm" in html
    assert "1 ticket would be overtaken: 40 (Warp 118)" in html
    assert spec.cloth.specs.count() == 1


def test_the_live_panel_shows_the_figures_that_are_then_saved(desk):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    sent = typed(revise_page(desk, spec), loom_picks_per_cm="9.2", warp_order="A30 B2", ends_per_dent="3")
    live = desk.post(reverse("cloth_revise_figures", args=["HER7"]), sent)
    before = {line.name: line.value for _, lines in live.context["groups"] for line in lines}
    assert "<html" not in live.content.decode()
    assert spec.cloth.specs.count() == 1
    desk.post(reverse("cloth_revise", args=["HER7"]), sent)
    page = desk.get(reverse("cloth", args=["HER7"]))
    after = {line.name: line.value for _, lines in page.context["groups"] for line in lines}
    assert page.context["spec"].revision == 2
    assert before == after


def test_picks_counted_in_the_finished_cloth_stand_wider_in_the_loom(desk):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    sent = typed(revise_page(desk, spec), loom_picks_per_cm="10", picks_are="finished")
    desk.post(reverse("cloth_revise", args=["HER7"]), sent)
    # 6 % shorter when finished: 10 x 0.94 in the loom.
    assert spec.cloth.specs.get(revision=2).loom_picks_per_cm == Decimal("9.400")


@pytest.mark.parametrize(
    ("name", "written", "kept"),
    [
        ("warp_crimp_pct", "7", "7.53"),  # 7 / 93
        ("weaving_contraction_pct", "25", "20.00"),  # 25 / 125
        ("warp_waste_pct", "25", "20.00"),
        ("weft_waste_pct", "4", "3.85"),  # 4 / 104
        ("size_add_on_pct", "20", "25.00"),  # 20 / 80
    ],
)
def test_a_percentage_on_the_other_base_is_put_on_ours(desk, name, written, kept):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    sent = typed(revise_page(desk, spec), **{name: written, f"{name}_base": "other"})
    desk.post(reverse("cloth_revise", args=["HER7"]), sent)
    assert getattr(spec.cloth.specs.get(revision=2), name) == Decimal(kept)
    assert on_kept_base(Decimal(written), BASES[name][2]) == Decimal(kept)


@pytest.mark.parametrize(
    ("written", "dents"),
    [("63", "63"), ("16 dents/in", "62.992"), ("Stockport 40", "78.740"), ("r8", "80"), ("42,3", "42.3")],
)
def test_a_reed_is_written_as_it_is_counted_stamped_or_called(desk, written, dents):
    Reed.objects.create(code="R8", dents_per_10cm=Decimal("80.000"), width_cm=Decimal("200.0"))
    spec = make_spec(cloth=make_cloth(code="HER7"), reed_dents_per_10cm=Decimal("50"))
    desk.post(reverse("cloth_revise", args=["HER7"]), typed(revise_page(desk, spec), reed_dents_per_10cm=written))
    assert spec.cloth.specs.get(revision=2).reed_dents_per_10cm == Decimal(dents)


def test_a_usual_weave_is_written_out_in_threading_and_lifting(desk):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    sent = typed(revise_page(desk, spec), usual_weave="2/2 herringbone, 8 and 8")
    live = desk.post(reverse("cloth_revise_figures", args=["HER7"]), sent).content.decode()
    assert 'id="weave-fields" class="sheet two" hx-swap-oob="true"' in live
    shown = typed(desk.post(reverse("cloth_revise", args=["HER7"]), sent | {"show": "yes"}))
    assert shown["threading"] == "1-4 1-4 2 1 4-1 4 3"
    assert shown["usual_weave"] == ""
    desk.post(reverse("cloth_revise", args=["HER7"]), sent)
    assert spec.cloth.specs.get(revision=2).threading == "1-4 1-4 2 1 4-1 4 3"


# The route


def test_the_last_step_leaves_the_finished_width_that_stands_on_the_page_and_on_the_ticket():
    # 964 dents ÷ 60 × 10 × 0.95 × 0.94 = 143.475 cm; from the grey width as it is shown, 152.6 cm, it were 143.4.
    shown = workings(PLAID)
    (run,) = work_out(PLAID_3_PIECES.runs, mill=MILL, loom=PLAID_3_PIECES.loom).runs
    assert shown["figures"].overall_width_cm == Decimal("143.5")
    assert shown["step_lines"][-1].width_cm == run.targets[-1].width_cm == Decimal("143.5")


def test_steps_are_put_in_the_order_of_their_numbers(desk):
    spec = make_spec(cloth=make_cloth(code="HER7"), route=[("scour", "1", "0", "0"), ("mill", "2", "0", "0")])
    sent = typed(
        revise_page(desk, spec),
        **{
            "step-0-position": "3",
            "step-2-position": "1.5",
            "step-2-name": "wash off",
            "step-2-width_shrink_pct": "-2",
            "step-3-name": "press",
        },
    )
    desk.post(reverse("cloth_revise", args=["HER7"]), sent)
    made = spec.cloth.specs.get(revision=2)
    steps = [(s.position, s.name, s.width_shrink_pct) for s in made.route_steps.all()]
    # One without a number stays behind the row above it: "press" behind "wash off".
    assert steps == [
        (1, "wash off", Decimal("-2.00")),
        (2, "press", Decimal("0.00")),
        (3, "mill", Decimal("2.00")),
        (4, "scour", Decimal("1.00")),
    ]


def test_blank_rows_are_always_at_hand(desk):
    spec = make_spec(cloth=make_cloth(code="HER7"), route=[])
    names = {f"step-{n}-name": f"step {n}" for n in range(3)}
    page = desk.post(reverse("cloth_revise", args=["HER7"]), typed(revise_page(desk, spec), show="yes", **names))
    assert {"step-3-name", "step-4-name", "step-5-name"} < set(typed(page))
    named = {"colourway-1-name": "Peat"}
    page = desk.post(reverse("cloth_revise", args=["HER7"]), typed(revise_page(desk, spec), show="yes", **named))
    assert "colourway-2-name" in typed(page)


def test_shrinkages_may_be_shares_of_what_leaves_the_step(desk):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    sent = typed(revise_page(desk, spec), route_base="other", **{"step-0-width_shrink_pct": "25"})
    desk.post(reverse("cloth_revise", args=["HER7"]), sent)
    step = spec.cloth.specs.get(revision=2).route_steps.get(position=1)
    # 25 / 125, 6 / 106, 8 / 108
    assert (step.width_shrink_pct, step.length_shrink_pct, step.mass_loss_pct) == (
        Decimal("20.00"),
        Decimal("5.66"),
        Decimal("7.41"),
    )


# The table of yarns


def test_a_new_letter_brings_a_row_and_a_refusal_beside_its_cell(desk):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    sent = typed(revise_page(desk, spec), warp_order="A24 B2 C1")
    live = desk.post(reverse("cloth_revise_figures", args=["HER7"]), sent).content.decode()
    assert 'id="yarn-table" hx-swap-oob="true"' in live
    assert 'name="colourway-0-C"' in live
    page = desk.post(reverse("cloth_revise", args=["HER7"]), sent)
    [first] = [form for form in page.context["sheet"].colourways if "C" in form.errors]
    assert "has no yarn at C" in first.errors["C"][0]
    yarn = make_yarn(code="PEA")
    answer = desk.post(reverse("cloth_revise", args=["HER7"]), typed(page, **{"colourway-0-C": "pea"}))
    assert answer.status_code == 302
    assert spec.cloth.specs.get(revision=2).colourway_yarns.get(letter="C").yarn == yarn


def test_the_table_is_sent_again_only_when_its_letters_change(desk):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    live = desk.post(reverse("cloth_revise_figures", args=["HER7"]), typed(revise_page(desk, spec), ends_per_dent="3"))
    assert 'id="yarn-table"' not in live.content.decode()


def test_a_yarn_that_there_is_not_is_said_beside_its_cell_and_stays_typed(desk):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    page = desk.post(
        reverse("cloth_revise", args=["HER7"]), typed(revise_page(desk, spec), **{"colourway-0-A": "NOSUCH"})
    )
    assert "There is no yarn NOSUCH. Choose one by its code." in page.content.decode()
    assert typed(page)["colourway-0-A"] == "NOSUCH"
    assert spec.cloth.specs.count() == 1


def test_another_colourway_is_named_beside_the_first(desk):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    yarn = make_yarn(code="PEA")
    sent = typed(
        revise_page(desk, spec), **{"colourway-1-name": "Peat", "colourway-1-A": "PEA", "colourway-1-B": "PEA"}
    )
    desk.post(reverse("cloth_revise", args=["HER7"]), sent)
    made = spec.cloth.specs.get(revision=2)
    assert {e.yarn for e in made.colourway_yarns.filter(colourway__name="Peat")} == {yarn}


def test_the_panel_shows_the_colourway_that_was_asked_for(desk):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    red = make_yarn(colour="#b01020")
    make_colourway(spec=spec, name="Zinnia", yarns={"A": red, "B": red})
    sent = typed(revise_page(desk, spec))
    address = reverse("cloth_revise_figures", args=["HER7"])
    assert 'stroke="#b01020"' not in desk.post(address, sent | {"shown": "0"}).content.decode()
    assert 'stroke="#b01020"' in desk.post(address, sent | {"shown": "1"}).content.decode()
    assert desk.post(address, sent | {"shown": "99x"}).context["shown"] == 0


# Wrong things


@pytest.mark.parametrize(
    ("changes", "beside", "said"),
    [
        ({"finished_width_cm": "5 kg"}, "finished_width_cm", "is a mass, and a width is wanted"),
        ({"finished_width_cm": "0"}, "finished_width_cm", "too little"),
        ({"finished_width_cm": "100 m", "reed_dents_per_10cm": "900"}, "finished_width_cm", "more than 100000 ends"),
        ({"reed_dents_per_10cm": "Nowhere 40"}, "reed_dents_per_10cm", "no reed system we know"),
        ({"warp_order": "A24 (B2"}, "warp_order", "this bracket is never closed"),
        ({"weft_order": ""}, "weft_order", "required"),
        ({"threading": "1 2 x"}, "threading", "can&#x27;t be read"),
        ({"lifting": "1+2 2+3 3+5 1+4"}, "lifting", "lifts shaft 5"),
        ({"selvedge_ends": "7"}, "selvedge_ends", "can&#x27;t be halved"),
        ({"warp_crimp_pct": "100"}, "warp_crimp_pct", "write less than 100"),
        ({"warp_crimp_pct": "60", "warp_crimp_pct_base": "other"}, "warp_crimp_pct", "60 % of yarn (take-up) is 150 %"),
        ({"loom_picks_per_cm": "-3"}, "loom_picks_per_cm", "below 0"),
        ({"ends_per_dent": "0"}, "ends_per_dent", "greater than or equal to 1"),
        ({"picks_are": "sideways"}, "picks_are", "not one of the available choices"),
        ({"step-0-width_shrink_pct": "100"}, "step-0-width_shrink_pct", "write 99 % or less"),
        ({"step-2-mass_loss_pct": "4"}, "step-2-name", "has figures and no name"),
        ({"colourway-0-name": ""}, "colourway-0-name", "has yarns and no name"),
    ],
)
def test_what_is_wrong_is_said_beside_its_field_and_stays_typed(desk, changes, beside, said):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    page = desk.post(reverse("cloth_revise", args=["HER7"]), typed(revise_page(desk, spec), **changes))
    html = page.content.decode()
    place = html.split(f'id="id_{beside}_wrong"')[1].split("</div>")[0]
    assert said in place
    for name, value in changes.items():
        if name != "picks_are":
            assert typed(page)[name] == value
    assert spec.cloth.specs.count() == 1


def test_somebody_elses_revision_in_between_is_said_and_nothing_is_lost(desk, planner):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    sent = typed(revise_page(desk, spec), ends_per_dent="3")
    make_spec(cloth=spec.cloth)
    page = desk.post(reverse("cloth_revise", args=["HER7"]), sent)
    assert " 2 stands" in page.content.decode()
    assert typed(page)["ends_per_dent"] == "3"
    assert typed(page)["based_on"] == "1"


def test_the_button_to_correct_a_revision_is_there_only_while_nothing_stands_on_it(desk):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    page = revise_page(desk, spec)
    assert 'name="correct"' in page.content.decode()
    sent = typed(page, ends_per_dent="3", correct="yes")
    make_warp(spec=spec)
    assert 'name="correct"' not in revise_page(desk, spec).content.decode()
    refused = desk.post(reverse("cloth_revise", args=["HER7"]), sent)
    assert "is in use: 1 warp. Write revision 2 instead." in refused.content.decode()
    Warp.objects.all().delete()
    assert desk.post(reverse("cloth_revise", args=["HER7"]), sent).status_code == 302
    assert [(s.revision, s.ends_per_dent) for s in spec.cloth.specs.all()] == [(1, 3)]


@pytest.mark.parametrize("colourways", ["", "-1", "x", "99999999", "²"])
def test_a_tampered_number_of_colourways_is_no_more_than_an_empty_table(desk, colourways):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    sent = typed(revise_page(desk, spec), colourways=colourways)
    page = desk.post(reverse("cloth_revise_figures", args=["HER7"]), sent)
    assert page.status_code == 200


def test_an_empty_form_lists_what_is_still_to_be_written_and_marks_nothing(desk):
    live = desk.post(reverse("cloth_new_figures"), {"finished_width_cm": "", "warp_order": "", "lifting": "1+2"})
    html = live.content.decode()
    assert "Still to be written" in html
    assert 'class="errors"' not in html


# A new cloth


def test_a_new_cloth_is_written_from_an_empty_page(desk, planner):
    make_yarn(code="MOS")
    make_yarn(code="OAT")
    page = desk.get(reverse("cloth_new"))
    assert typed(page)["warp_waste_pct"] == "2"
    sent = typed(
        page,
        code="HER7",
        name="Harrow herringbone",
        finished_width_cm="150",
        reed_dents_per_10cm="42.3",
        loom_picks_per_cm="8.46",
        warp_order="A4 B4",
        weft_order="A4 B4",
        usual_weave="2/2 twill",
        **{
            "colourway-0-name": "Moss",
            "colourway-0-A": "MOS",
            "colourway-0-B": "OAT",
            "step-0-name": "scour",
            "step-0-width_shrink_pct": "10",
        },
    )
    live = desk.post(reverse("cloth_new_figures"), sent)
    assert live.context["figures"].ends > 1000
    answer = desk.post(reverse("cloth_new"), sent)
    assert answer["Location"] == reverse("cloth", args=["HER7"])
    spec = ClothSpec.objects.get(cloth__code="HER7")
    assert (spec.revision, spec.by, spec.lifting) == (1, planner, "1+2 2+3 3+4 1+4")


def test_a_new_cloth_may_begin_like_another(desk):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    page = desk.get(reverse("cloth_new"), {"like": "HER7"})
    answer = desk.post(reverse("cloth_new"), typed(page, code="HER8", name="Harrow, light"))
    assert answer.status_code == 302
    made = ClothSpec.objects.get(cloth__code="HER8")
    assert made.cloth != spec.cloth
    assert made.colourway_yarns.first().colourway.cloth == made.cloth
    assert made.warp_order == spec.warp_order


@pytest.mark.parametrize("code", ["HER7", "HER/8", ""])
def test_a_code_that_cant_be_is_said_beside_it(desk, code):
    make_spec(cloth=make_cloth(code="HER7"))
    page = desk.get(reverse("cloth_new"), {"like": "HER7"})
    refused = desk.post(reverse("cloth_new"), typed(page, code=code, name="Harrow"))
    assert refused.status_code == 200
    assert refused.context["form"].errors["code"]
    assert 'class="errors" id="id_code_error"' in refused.content.decode()


# Its name and its colourways


def test_a_cloth_is_renamed_and_put_away(desk):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    answer = desk.post(reverse("cloth_edit", args=["HER7"]), {"code": "HER9", "name": "Harrow"})
    assert answer["Location"] == reverse("cloth", args=["HER9"])
    spec.cloth.refresh_from_db()
    assert (spec.cloth.name, spec.cloth.is_in_use) == ("Harrow", False)


def test_a_cloth_on_order_is_not_put_away(desk):
    line = make_line()
    code = line.cloth.code
    page = desk.post(reverse("cloth_edit", args=[code]), {"code": code, "name": "Harrow"})
    assert "has 1 open order line" in page.content.decode()


def test_a_colourway_is_added_and_renamed(desk):
    spec = make_spec(cloth=make_cloth(code="HER7"))
    make_yarn(code="PEA")
    address = reverse("colourway_new", args=["HER7"])
    refused = desk.post(address, {"name": "Peat", "A": "PEA", "B": ""})
    assert set(refused.context["form"].errors) == {"B"}
    answer = desk.post(address, {"name": "Peat", "A": "PEA", "B": "pea"})
    peat = spec.cloth.colourways.get(name="Peat")
    assert answer["Location"].endswith(f"?colourway={peat.pk}")
    desk.post(reverse("colourway_rename", args=["HER7", peat.pk]), {"name": "Sedge"})
    peat.refresh_from_db()
    assert peat.name == "Sedge"
    taken = spec.cloth.colourways.exclude(pk=peat.pk).get().name
    refused = desk.post(reverse("colourway_rename", args=["HER7", peat.pk]), {"name": taken})
    assert "Another colourway" in refused.content.decode()


def test_a_sheet_of_a_cloth_holds_what_its_revision_says():
    spec = make_spec(cloth=make_cloth(code="HER7"), selvedge_letter="B", selvedge_ends=12)
    unmade = make_colourway(cloth=spec.cloth, name="Unmade")
    put_yarns(make_spec(), unmade, {})
    sheet = ClothSheet(spec=cloths.latest_of(spec.cloth), cloth=spec.cloth)
    assert sheet.letters == ["A", "B"]
    assert [form.initial.get("name") for form in sheet.colourways] == [
        *sorted(spec.cloth.colourways.values_list("name", flat=True)),
        None,
    ]
