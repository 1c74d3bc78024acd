"""A mill that measures in yards is asked in yards, and what it writes is kept in metres."""

from decimal import Decimal

import pytest
from django import forms
from django.template import Context, Template
from django.urls import reverse

from inventory.yarn import ASTM_D1909, EU_1007, REGAINS
from mill.fields import MeasureField
from mill.models import Mill
from mill.units import MEASURES, YARDS, read, show
from planning.models import OrderLine
from tests.make import make_spec
from tests.planning.test_orders_pages import said


class Lengths(forms.Form):
    length_m = MeasureField(unit="m", places=2)
    waste_pct = MeasureField(unit="pct")


def control(form, asks_in):
    page = Template('{% for f in form %}{% include "mill/_field.html" with field=f %}{% endfor %}')
    return page.render(Context({"form": form, "the_mill": Mill(asks_in=asks_in)}))


def test_a_field_is_shown_in_the_unit_that_the_mill_chose():
    form = Lengths(initial={"length_m": Decimal("54.86"), "waste_pct": Decimal(5)})
    metric, yards = control(form, "metric"), control(form, "yards")
    assert 'value="54.86"' in metric
    assert "length_m-in" not in metric
    # 60 yd are 54.864 m: the yard is 0.9144 m exactly, by the agreement of 1959.
    assert '<span class="unit">yd</span>' in yards
    assert 'value="60"' in yards
    assert '<input type="hidden" name="length_m-in" value="yd">' in yards
    assert 'value="5"' in yards
    assert "waste_pct-in" not in yards


@pytest.mark.parametrize(
    ("written", "metres"),
    [
        ("60", "54.86"),
        ("60.5", "55.32"),
        ("7 1/2", "6.86"),
        ("1 250", "1143.00"),
        ("60 m", "60.00"),
        ("2 yd 1 ft", "2.13"),
    ],
)
def test_a_bare_number_is_in_the_unit_that_its_page_asked_for(written, metres):
    form = Lengths({"length_m": written, "length_m-in": "yd", "waste_pct": "5"})
    assert form.is_valid(), form.errors
    assert form.cleaned_data == {"length_m": Decimal(metres), "waste_pct": Decimal(5)}


def test_a_page_that_asked_for_metres_is_read_in_metres_whatever_the_mill_chose_since():
    form = Lengths({"length_m": "60", "waste_pct": "5"})
    assert form.is_valid()
    assert form.cleaned_data["length_m"] == Decimal(60)


def test_a_unit_that_nobody_asked_for_is_refused():
    assert not Lengths({"length_m": "60", "length_m-in": "furlongs per fortnight", "waste_pct": "5"}).is_valid()


@pytest.mark.parametrize("unit", YARDS)
def test_what_a_field_shows_comes_back_as_it_was_kept(unit):
    class Measures(forms.Form):
        one = MeasureField(unit=unit, places=2)

    for value in ("0.01", "0.33", "8.46", "54.86", "1234.57", "99999.99"):
        if Decimal(value) * 2 > MEASURES[unit].most:
            continue
        shown = Measures(initial={"one": Decimal(value)})["one"]
        shown.likes = YARDS[unit]
        form = Measures({"one": shown.value(), "one-in": YARDS[unit]}, initial={"one": Decimal(value)})
        assert form.is_valid(), (value, shown.value(), form.errors)
        assert form.cleaned_data["one"] == Decimal(value)
        assert not form.has_changed()
        assert read(show(Decimal(value), unit, YARDS[unit], places=9), unit).quantize(Decimal("0.01")) == Decimal(value)


@pytest.mark.django_db
def test_an_order_is_written_in_yards_once_the_mill_says_so(desk):
    Mill.objects.create(pk=1)
    figures = {n: "" if v is None else v for n, v in desk.get(reverse("mill")).context["form"].initial.items()}
    chosen = {**figures, "asks_in": "yards", "regain_authority": ASTM_D1909}
    assert desk.post(reverse("mill"), chosen).status_code == 302
    assert (Mill.the_one().asks_in, Mill.the_one().regain_authority) == ("yards", ASTM_D1909)
    told = desk.get(reverse("changes_of", kwargs={"kind": "mill.mill", "pk": 1})).content.decode()
    assert "yards" in told
    assert ASTM_D1909 in told
    assert (
        '<input type="hidden" name="lines-0-length_m-in" value="yd">' in desk.get(reverse("order_new")).content.decode()
    )
    order = said(make_spec(), **{"lines-0-length_m": "60", "lines-0-length_m-in": "yd"})
    assert desk.post(reverse("order_new"), order).status_code == 302
    assert OrderLine.objects.get().length_m == Decimal("54.86")


@pytest.mark.django_db
def test_a_yarn_is_offered_the_regains_of_the_table_that_the_mill_chose(desk):
    Mill.objects.update_or_create(pk=1, defaults={"regain_authority": ASTM_D1909})
    page = desk.get(reverse("yarn_new")).content.decode()
    assert 'value="astm-wool"' in page
    assert 'value="eu-wool-carded"' not in page
    beginning = desk.get(reverse("beginning")).content.decode()
    assert f'value="{ASTM_D1909}"' in beginning
    assert f'value="{EU_1007}"' not in beginning


def test_each_table_of_regains_can_be_chosen():
    choices = {value for value, _ in Mill._meta.get_field("regain_authority").choices} - {""}
    assert choices == {regain.authority.partition(" [")[0] for regain in REGAINS.values()}
