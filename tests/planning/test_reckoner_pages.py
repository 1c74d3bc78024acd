"""The reckoner's pages: they say what the API says, keep what was typed, and need no script."""

from decimal import Decimal
from html import unescape

import pytest

from mill.models import Mill
from planning.reckoner import REGISTRY

TYPED = [
    ("count", {"count": "16 ysw", "to_system": "nm"}),
    ("ends", {"finished_width_cm": "59 in", "reed": "Stockport 32", "selvedge_ends": "24"}),
    ("warp-mass", {"ends": "1 500", "warp_length_m": "154 yd", "count": "2/16 ysw", "size_add_on_pct": "7,5 %"}),
    ("sett", {"warp_count": "R 60/2 tex", "weft_count": "", "ends_per_cm": "28 ends/in", "picks_per_cm": ""}),
    ("to-grey", {"width_steps_pct": "10 % + 5 % + -2 %", "finished_g_per_m2": "12 oz/yd2"}),
    ("grade", {"faults": "1: 3 in; 2: 240 mm; 5 m: 1 in hole", "points": ""}),
    ("beam-length", {"gross_kg": "3 cwt 20 lb", "tare_kg": "30 kg"}),
    ("warp-length", {"length_shrink_pct": "100"}),
    ("efficiency", {"warp_stop_min": "-1", "looms": "1.5"}),
]


def sentences_of(page):
    return {name: list(sentences) for name, sentences in page.context["form"].errors.items()}


@pytest.mark.parametrize(
    ("name", "typed"),
    [*((name, {}) for name in REGISTRY), *TYPED],
    ids=lambda part: part if isinstance(part, str) else "",
)
def test_the_page_says_what_the_api_says(desk, name, typed):
    page = desk.get(f"/reckoner/{name}/", typed)
    api = desk.post(f"/api/reckoner/{name}/", {"inputs": typed}, content_type="application/json")
    html = unescape(page.content.decode())
    if api.status_code == 400:
        assert {f"inputs.{one}": said for one, said in sentences_of(page).items()} == api.json()["errors"]
        for sentences in sentences_of(page).values():
            assert all(sentence in html for sentence in sentences)
        return
    said = api.json()
    for step in said["working"]:
        assert f'id="step-{step["name"]}"' in html
        for words in ("label", "formula", "sum", "source"):
            assert step[words] in html
        assert f"<output>{step['value']}" in html
    for figure in said["figures"]:
        assert f'href="#step-{figure["name"]}"' in html
    for remark in said["remarks"]:
        assert remark in html


def test_every_sum_is_listed_under_its_group_in_the_order_of_the_trade(desk):
    html = unescape(desk.get("/reckoner/").content.decode())
    places = [html.index(f'href="/reckoner/{name}/"') for name in REGISTRY]
    assert places == sorted(places)
    for asked in REGISTRY.values():
        assert asked.about in html


def test_an_address_names_a_part_and_the_rest_stands_at_its_default(desk):
    page = desk.get("/reckoner/count/?count=2/48+nw")
    assert page.context["form"]["count"].value() == "2/48 nw"
    assert page.context["form"]["to_system"].value() == "nm"
    assert str(page.context["answer"].figures[0].value) == "36.9088"


def test_the_mills_own_values_stand_in_the_form(desk):
    Mill.objects.create(pk=1, thrums_m=Decimal("4.50"))
    assert 'value="4.5"' in desk.get("/reckoner/warp-length/").content.decode()


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("", "there is nothing written"),
        ("-3 m", "is below 0"),
        ("5 kg", "is a mass, and a length is wanted here"),
        ("9999999999999 m", "the most that a length can be"),
        ("sixty", "can't be read as a length"),
    ],
)
def test_what_was_typed_is_kept_with_the_sentence_beside_it(desk, typed, says):
    page = desk.get("/reckoner/warp-length/", {"finished_length_m": typed, "pieces": "7"})
    html = unescape(page.content.decode())
    field = html[html.index('<label for="id_finished_length_m"') : html.index('<label for="id_pieces"')]
    assert says in field
    assert f'value="{typed}"' in field or typed == ""
    assert 'value="7"' in html
    assert "There is no answer yet." in html
    assert page.context["answer"] is None


def test_a_shrinkage_of_the_whole_cloth_is_refused(desk):
    html = unescape(desk.get("/reckoner/ends/?width_shrink_pct=100+%25").content.decode())
    assert "100 % is too much: write less than 100 %." in html


def test_the_form_needs_no_script(desk):
    html = desk.get("/reckoner/loom-hours/").content.decode()
    form = html[html.index('<form method="get"') : html.index('<section id="answer"')]
    assert 'action="/reckoner/loom-hours/"' in form
    assert '<button type="submit" class="main">Reckon</button>' in form
    assert 'inputmode="decimal"' in form


def test_a_live_answer_is_the_same_part_with_a_slot_for_every_field(desk):
    whole = desk.get("/reckoner/loom-hours/?ppm=180").content.decode()
    live = desk.get("/reckoner/loom-hours/?ppm=180", headers={"HX-Request": "true"}).content.decode()
    assert "<html" not in live
    answer = live[: live.index("</section>")]
    assert answer in whole
    for given in REGISTRY["loom-hours"].inputs:
        assert f'id="id_{given.name}_error" hx-swap-oob="true"' in live
    wrong = unescape(desk.get("/reckoner/loom-hours/?ppm=0", headers={"HX-Request": "true"}).content.decode())
    assert "0 picks/min is too little: write 1 picks/min or more." in wrong


def test_a_figure_is_also_said_in_the_other_units_of_the_trade(desk):
    html = desk.get("/reckoner/warp-length/?finished_length_m=60+yd&length_shrink_pct=0").content.decode()
    assert '<span class="also">60 yd</span>' not in html  # 54.864 m rounded up is a hair more
    assert '<span class="also">60.01 yd</span>' in html
    html = desk.get("/reckoner/loom-hours/").content.decode()
    assert '<span class="also">11 h 42 min</span>' in html


def test_what_was_typed_can_do_no_harm_on_the_page(desk):
    typed = '"><script>alert(1)</script>'
    assert "<script>alert" not in desk.get("/reckoner/count/", {"count": typed}).content.decode()


def test_an_unknown_sum_is_not_found(desk):
    assert desk.get("/reckoner/fortune/").status_code == 404


def test_nothing_is_written_down_by_reckoning(desk):
    assert desk.post("/reckoner/count/", {}).status_code == 405


def test_a_page_costs_the_same_few_questions_however_long_the_working(desk, django_assert_max_num_queries):
    for name in ("take-up", "sett"):
        with django_assert_max_num_queries(6):
            desk.get(f"/reckoner/{name}/")


def test_nobody_reckons_without_signing_in(client, db):
    assert client.get("/reckoner/").status_code == 302
