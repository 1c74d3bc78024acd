"""Forms of records: what a person writes in them can be kept."""

from decimal import Decimal

import pytest
from django.db import models

from mill.fields import MeasureField
from mill.models import Mill
from planning.forms.looms import LoomForm, MillForm
from planning.models import Beam, Loom, Reed
from planning.views.mill import BOOKS
from tests.make import make_shift

FORMS = [LoomForm, MillForm, *(book.form for book in BOOKS)]


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.__name__)
def test_a_measure_is_read_to_as_many_places_as_its_column_keeps(form):
    for name, field in form.base_fields.items():
        if isinstance(field, MeasureField):
            column = form._meta.model._meta.get_field(name)
            assert field.places == (column.decimal_places if isinstance(column, models.DecimalField) else 0), name


@pytest.mark.django_db
def test_each_figure_of_the_mill_stands_under_one_heading():
    form = MillForm()
    grouped = [field.name for group in form.groups() for field in group["fields"]]
    assert sorted(grouped) == sorted(field.name for field in form.visible_fields())


@pytest.mark.django_db
def test_a_reed_a_beam_a_loom_and_the_mill_s_figures_are_written_down_on_their_pages(desk):
    said = {"code": "R63", "dents_per_10cm": "63", "width_cm": "71 in", "quantity": "2"}
    assert desk.post("/mill/reeds/new/", said).status_code == 302
    said = {"code": "B9", "width_cm": "180", "barrel_mm": "150", "flange_mm": "600", "tare_kg": "90"}
    assert desk.post("/mill/beams/new/", said).status_code == 302
    said = {"code": "9", "kind": "Pedal", "reed_space_cm": "190", "shafts": "8", "weft_colours": "2", "ppm": "120"}
    more = {"max_flange_mm": "700", "efficiency_pct": "70", "tail_cm": "0", "shift_pattern": make_shift().pk}
    assert desk.post("/looms/new/", {**said, **more}).status_code == 302
    assert (Reed.objects.get().width_cm, Beam.objects.get().width_cm) == (Decimal("180.3"), Decimal(180))
    assert Loom.objects.get().reed_space_cm == 190
    form = desk.get("/mill/").context["form"]
    said = {name: form[name].value() for name in form.fields if form[name].value() is not None}
    assert desk.post("/mill/", {**said, "thrums_m": "4 yd"}).status_code == 302
    assert Mill.the_one().thrums_m == Decimal("3.66")
