import copy
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from planning.models import ClothSpec
from planning.services import cloths
from tests.make import make_cloth, make_colourway, make_line, make_loom, make_spec, make_ticket, make_warp, make_yarn
from tests.planning.test_cloth_views import cloth_figures_of, spec_of
from tests.sheets import SHEETS

pytestmark = pytest.mark.django_db


@pytest.fixture
def spec() -> ClothSpec:
    yarns = {"A": make_yarn(code="MOS"), "B": make_yarn(code="OAT")}
    return make_spec(cloth=make_cloth(code="HER7", name="Harrow"), yarns=yarns)


def sent_of(desk: Client, revision: int = 1, **changes: Any) -> dict[str, Any]:
    """A revision as it came from the API, ready to be sent back with changes: what goes out comes in."""
    worked = desk.get(f"/api/cloths/HER7/revisions/{revision}/").json()
    for name in ("cloth", "revision", "made_at", "by", "figures", "differences"):
        del worked[name]
    return copy.deepcopy(worked) | changes


def send(desk: Client, address: str, data: dict[str, Any]):
    return desk.post(address, data, content_type="application/json")


@pytest.mark.parametrize("name", [name for name, sheet in SHEETS.items() if cloth_figures_of(sheet)])
def test_a_revision_has_the_figures_that_the_sheet_was_worked_to_by_hand(desk, name):
    spec_of(SHEETS[name].runs[0].cloth)
    [worked] = desk.get("/api/cloths/HILL/revisions/1/").json()["figures"]
    for figure, value in cloth_figures_of(SHEETS[name]).items():
        got = worked["figures"][figure]
        if isinstance(value, tuple):
            assert got == list(value), figure
        else:
            assert got == value or Decimal(got) == value, figure
    steps = {step["name"]: step for step in worked["figures"]["working"]}
    assert Decimal(steps["reed_width_cm"]["value"]) == Decimal(worked["figures"]["reed_width_cm"])
    assert steps["reed_width_cm"]["sum"]


def test_cloths_are_listed_and_narrowed(desk, spec):
    make_line(spec=spec)
    make_spec(cloth=make_cloth(code="PLD2"))
    assert desk.get("/api/cloths/?yarn=MOS").json()["results"] == [
        {
            "code": "HER7",
            "name": "Harrow",
            "is_in_use": True,
            "revision": 1,
            "colourways": [spec.cloth.colourways.get().name],
            "open_lines": 1,
        }
    ]
    assert desk.get("/api/cloths/").json()["count"] == 2
    assert desk.get("/api/cloths/HER7/").json()["open_lines"] == 1
    assert desk.get("/api/cloths/NONE/").status_code == 404


def test_what_goes_out_comes_in_as_the_same(desk, spec):
    refused = send(desk, "/api/cloths/HER7/revisions/", sent_of(desk))
    assert refused.status_code == 400
    assert refused.headers["Content-Type"] == "application/problem+json"
    assert refused.json() == {
        "type": "about:blank",
        "title": "Bad Request",
        "status": 400,
        "detail": "Nothing here differs from revision 1 of HER7.",
        "errors": {},
    }


def test_a_revision_is_written_with_trade_units(desk, spec, planner):
    make_warp(spec=spec)
    data = sent_of(
        desk,
        finished_width_cm="59 in",
        loom_picks_per_cm={"value": "24", "unit": "picks/in"},
        reed_dents_per_10cm="Stockport 40",
        note="For the new customer",
        based_on=1,
    )
    answer = send(desk, "/api/cloths/HER7/revisions/", data)
    assert answer.status_code == 201, answer.content
    made = spec.cloth.specs.get(revision=2)
    assert (made.finished_width_cm, made.loom_picks_per_cm, made.reed_dents_per_10cm) == (
        Decimal("149.9"),
        Decimal("9.449"),
        Decimal("78.740"),
    )
    assert (made.by, made.note) == (planner, "For the new customer")
    assert answer.json()["revision"] == 2
    assert answer.json()["differences"][0] == "Finished width: 150 → 149.9 cm"


def test_the_other_bases_are_taken_and_not_both(desk, spec):
    data = sent_of(desk, finished_picks_per_cm="10", warp_take_up_pct="7")
    both = send(desk, "/api/cloths/HER7/revisions/", data)
    assert both.status_code == 400
    assert "either" in str(both.json()["errors"]["loom_picks_per_cm"])
    del data["loom_picks_per_cm"], data["warp_crimp_pct"]
    assert send(desk, "/api/cloths/HER7/revisions/", data).status_code == 201
    made = spec.cloth.specs.get(revision=2)
    # 10 x 0.94; 7 / 93
    assert (made.loom_picks_per_cm, made.warp_crimp_pct) == (Decimal("9.400"), Decimal("7.53"))


def test_a_preview_says_what_it_comes_to_and_writes_nothing(desk, spec):
    warp = make_warp(spec=spec, pin_loom=make_loom())
    ticket = make_ticket(warp)
    answer = send(desk, "/api/cloths/HER7/preview/", sent_of(desk, loom_picks_per_cm="9"))
    assert answer.status_code == 200, answer.content
    said = answer.json()["consequences"]
    assert said["revision"] == 2
    assert said["differences"] == ["Picks in the loom: 8.46 → 9 per cm"]
    assert said["tickets"] == [ticket.number]
    [change] = said["warps"]
    assert (change["warp"], change["before"]["picks"], change["after"]["picks"]) == (warp.number, 108_120, 115_020)
    assert (said["weaving_min_before"], said["weaving_min_after"]) == (703, 747)
    assert {yarn["code"] for yarn in said["yarns"]} == {"MOS", "OAT"}
    assert spec.cloth.specs.count() == 1
    assert warp.parts.get().spec == spec


def test_the_preview_has_the_figures_that_are_then_saved(desk, spec):
    data = sent_of(desk, warp_order="A30 B2", ends_per_dent=3)
    preview = send(desk, "/api/cloths/HER7/preview/", data).json()["figures"]
    saved = send(desk, "/api/cloths/HER7/revisions/", data).json()["figures"]
    assert preview == saved


def test_a_new_cloth_is_tried_and_then_written(desk, spec):
    data = sent_of(desk, code="HER8", name="Harrow, light")
    for colourway in data["colourways"]:
        del colourway["id"]
    tried = send(desk, "/api/cloth-preview/", data)
    assert tried.status_code == 200, tried.content
    assert tried.json()["consequences"] is None
    assert not ClothSpec.objects.filter(cloth__code="HER8").exists()
    made = send(desk, "/api/cloths/", data)
    assert made.status_code == 201, made.content
    assert made.json()["figures"] == tried.json()["figures"]
    again = send(desk, "/api/cloths/", data)
    assert again.status_code == 400
    assert list(again.json()["errors"]) == ["code"]


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"finished_width_cm": "5 kg"}, "finished_width_cm"),
        ({"reed_dents_per_10cm": "Nowhere 40"}, "reed_dents_per_10cm"),
        ({"ends_per_dent": 0}, "ends_per_dent"),
        ({"colourways": []}, "colourways"),
        ({"colourways": [{"name": "Moss", "yarns": {"A": "NOSUCH", "B": "OAT"}}]}, "colourways"),
        ({"route": [{"name": "scour", "width_shrink_pct": "100"}]}, "route"),
    ],
)
def test_what_cant_be_read_is_said_by_its_field(desk, spec, changes, field):
    answer = send(desk, "/api/cloths/HER7/revisions/", sent_of(desk, **changes))
    assert answer.status_code == 400
    assert {path.split(".")[0] for path in answer.json()["errors"]} == {field}
    assert spec.cloth.specs.count() == 1


@pytest.mark.parametrize(
    ("changes", "field", "said"),
    [
        ({"lifting": "1+2 2+3 3+5 1+4"}, "lifting", "lifts shaft 5"),
        ({"warp_order": "A24 (B2"}, "warp_order", "never closed"),
        ({"selvedge_ends": 7}, "selvedge_ends", "can't be halved"),
        ({"warp_order": "A24 C2"}, "colourways.0.C", "has no yarn at C"),
    ],
)
def test_a_refusal_is_an_answer_with_its_field(desk, spec, changes, field, said):
    for address in ("/api/cloths/HER7/revisions/", "/api/cloths/HER7/preview/"):
        answer = send(desk, address, sent_of(desk, **changes))
        assert answer.status_code == 400
        assert list(answer.json()["errors"]) == [field]
        assert said in answer.json()["detail"]
    assert spec.cloth.specs.count() == 1


def test_somebody_elses_revision_in_between_is_refused(desk, spec):
    data = sent_of(desk, ends_per_dent=3, based_on=1)
    make_spec(cloth=spec.cloth)
    assert "has meanwhile become revision 2" in send(desk, "/api/cloths/HER7/revisions/", data).json()["detail"]


def test_revisions_come_latest_first_in_a_constant_number_of_queries(desk, spec, django_assert_max_num_queries):
    def ask(most: int) -> int:
        with django_assert_max_num_queries(most) as asked:
            numbers = [row["revision"] for row in desk.get("/api/cloths/HER7/revisions/").json()]
        assert numbers == sorted(numbers, reverse=True)
        return len(asked)

    few = ask(10)
    for n in range(10):
        make_colourway(spec=spec, name=f"Shade {n}")
        make_spec(cloth=spec.cloth)
    assert ask(few) == few


def test_nobody_who_is_not_signed_in_sees_or_writes(client, spec):
    assert client.get("/api/cloths/").status_code in (302, 401, 403)
    assert send(client, "/api/cloths/HER7/revisions/", {}).status_code in (302, 401, 403)


def test_every_figure_of_a_cloth_is_described_and_sent(desk, spec):
    schema = desk.get("/api/schema/?format=json").json()["components"]["schemas"]
    figures = cloths.figures_of(spec.as_cloth(spec.cloth.colourways.get()))
    names = set(type(figures).__dataclass_fields__)
    assert set(schema["ClothFigures"]["properties"]) == names
    [worked] = desk.get("/api/cloths/HER7/revisions/1/").json()["figures"]
    assert set(worked["figures"]) == names
    assert schema["ClothFigures"]["properties"]["reed_width_cm"] == {"type": "string", "format": "decimal"}
    assert "Of cloth length" in schema["Draft"]["properties"]["warp_crimp_pct"]["description"]
