"""What people type, read into canonical units; published factors by their definitions."""

import subprocess
import sys
from decimal import Decimal

import pytest
from django import forms
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from mill.fields import MeasureApiField, MeasureField, PercentField, formfield_by_name, measure_text
from mill.models import Mill
from mill.refusal import Refusal
from mill.units import MEASURES, plain, read, show

D = Decimal

# International yard and pound agreement, 1959: 1 yd = 0.9144 m, 1 lb = 0.453 592 37 kg, exactly.
# The rest follows: 1 in = yd/36, 1 ft = yd/3, 1 oz = lb/16.
DEFINED = [
    ("1 yd", "m", "0.9144"),
    ("1 ft", "m", "0.3048"),
    ("1 in", "cm", "2.54"),
    ("1 in", "mm", "25.4"),
    ("1 lb", "kg", "0.45359237"),
    ("1 lb", "g", "453.59237"),
    ("1 oz", "g", "28.349523125"),
    ("1 cwt", "kg", "50.80234544"),
    ("1 h", "min", "60"),
    ("1 t", "kg", "1000"),
]

# 12 oz/yd2: 12 x 28.349523125 g over 0.9144 m squared = 340.1942775 / 0.83612736 = 406.8690 g/m2.
# 28 ends/in: 28 / 2.54 cm = 11.0236. 16 dents/in: 160 / 2.54 = 62.9921 in 10 cm.
TYPED = [
    ("60 yd", "m", "54.864"),
    ("60yds.", "m", "54.864"),
    ("1,5 m", "m", "1.5"),
    ("1,5 m", "cm", "150"),
    (",5 m", "m", "0.5"),
    ("150cm", "cm", "150"),
    ("59 in", "cm", "149.86"),
    ('59"', "cm", "149.86"),
    ("5' 3\"", "cm", "160.02"),
    ("7½ in", "cm", "19.05"),
    ("7 1/2 in", "cm", "19.05"),
    ("1/2 yd", "m", "0.4572"),
    ("1 500 m", "m", "1500"),
    ("12\u202f345.6", "m", "12345.6"),
    ("1,500.5 m", "m", "1500.5"),
    ("1.500,5 m", "m", "1500.5"),
    ("3 lb 7 oz", "g", "1559.223771875"),
    ("3lb7oz", "g", "1559.223771875"),
    ("16 oz", "g", "453.59237"),
    ("5 kg", "g", "5000"),
    ("2 h 30 min", "min", "150"),
    ("2h30", "min", "150"),
    ("2:05", "min", "125"),
    ("1.5 hours", "min", "90"),
    ("90 s", "min", "1.5"),
    ("28 ends/in", "per_cm", "11.023622047244"),
    ("28 ends per inch", "per_cm", "11.023622047244"),
    ("28 epi", "per_cm", "11.023622047244"),
    ("28/in", "per_cm", "11.023622047244"),
    ("24 picks/in", "per_cm", "9.448818897638"),
    ("110 ends per 10 cm", "per_cm", "11"),
    ("110/10cm", "per_cm", "11"),
    ("16 dents/in", "dents_per_10cm", "62.992125984252"),
    ("63 per 10 cm", "dents_per_10cm", "63"),
    ("12 oz/yd2", "g_per_m2", "406.868969698588"),
    ("12 oz per sq. yd", "g_per_m2", "406.868969698588"),
    ("300 g/m²", "g_per_m2", "300"),
    ("0.4 g/cm3", "kg_per_m3", "400"),
    ("100 yd/min", "m_per_min", "91.44"),
    ("220 ppm", "picks_per_min", "220"),
    ("7 per cent", "pct", "7"),
    ("7,5%", "pct", "7.5"),
]


@pytest.mark.parametrize(("text", "unit", "value"), DEFINED + TYPED)
def test_what_is_typed_is_read(text, unit, value):
    assert read(text, unit) == D(value)


@pytest.mark.parametrize("unit", MEASURES)
def test_a_bare_number_is_in_the_canonical_unit(unit):
    assert read("7", unit) == 7
    assert read(" 7.25 ", unit) == D("7.25")


@pytest.mark.parametrize(("unit", "measure"), MEASURES.items())
def test_every_example_that_a_refusal_gives_can_be_read(unit, measure):
    for example in measure.examples:
        assert read(example, unit) > 0
    assert read(f"7 {measure.written}", unit) == 7


@pytest.mark.parametrize(
    ("text", "unit", "says"),
    [
        ("", "m", "There is nothing written. Write it in m, such as 60 m"),
        ("   ", "m", "There is nothing written"),
        ("five", "m", '"five" can\'t be read as a length'),
        ("nan", "m", '"nan" can\'t be read as a length'),
        ("inf", "kg", '"inf" can\'t be read as a mass'),
        ("1e5", "m", 'has a unit we don\'t know, "e"'),
        ("5 kg", "m", '"5 kg" is a mass, and a length is wanted here. Write it in m'),
        ("28 ends/in", "dents_per_10cm", '"28 ends/in" is a sett, and a reed is wanted here'),
        ("16 dents/in", "per_cm", '"16 dents/in" is a reed, and a sett is wanted here'),
        ("12 oz", "g_per_m2", '"12 oz" is a mass, and a mass of cloth is wanted here'),
        ("28 ends", "per_cm", '"28 ends" is a number, and a sett is wanted here'),
        ("5 m2", "m", '"5 m2" is not a length'),
        ("many", "number", '"many" can\'t be read as a number. Write 12, 7.5 or 1 500.'),
        ("7 m", "pct", '"7 m" is a length, and a percentage is wanted here'),
        ("5 furlongs", "m", '"5 furlongs" has a unit we don\'t know, "furlongs"'),
        ("-3 m", "m", '"-3 m" is below 0'),
        ("−3 m", "m", "is below 0"),
        ("+-3 m", "m", "can't be read as a length"),
        ("1,500 m", "m", "1,500 can mean 1500 or 1.500"),
        ("60 m 5", "m", "5 has no unit"),
        ("1/0 m", "m", "nothing can be shared by 0"),
        ("9999999999999999 m", "m", "has more than 15 figures"),
        ("99999999999 m", "m", "comes to more than 1000000000 m"),
        ("1.5.2 m", "m", "can't be read as a length"),
        ("5 //m", "m", "can't be read as a length"),
        ("5 m m", "m", "can't be read as a length"),
        ("٣ m", "m", "can't be read as a length"),
        ("2 days", "min", 'has a unit we don\'t know, "days"'),
        ("6" * 101, "m", "is longer than any length"),
    ],
)
def test_what_can_not_be_meant_is_refused_in_a_sentence(text, unit, says):
    with pytest.raises(Refusal) as refused:
        read(text, unit)
    assert says in refused.value.message


def test_a_number_below_nought_is_read_where_it_can_be_meant():
    assert read("-3 %", "pct", signed=True) == -3
    assert read("−3,5", "pct", signed=True) == D("-3.5")


LIKED = [
    ("m", "yd"),
    ("m", "cm"),
    ("cm", "in"),
    ("mm", "in"),
    ("g", "oz"),
    ("g", "kg"),
    ("kg", "lb"),
    ("per_cm", "ends/in"),
    ("per_cm", "per in"),
    ("dents_per_10cm", "dents/in"),
    ("g_per_m2", "oz/yd2"),
    ("g_per_m", "oz/yd"),
    ("kg_per_m3", "lb/ft3"),
    ("m_per_min", "yd/min"),
    ("min", "h"),
]
hundredths = st.integers(min_value=1, max_value=25_000).map(lambda n: D(n) / 100)


@pytest.mark.parametrize(("unit", "liked"), LIKED)
@given(number=hundredths)
def test_a_measure_typed_in_any_unit_is_shown_again_as_it_was_typed(unit, liked, number):
    stored = read(f"{number} {liked}", unit)
    assert show(stored, unit, liked) == f"{plain(number)} {liked}"


@given(ounces=st.integers(min_value=0, max_value=16_000), minutes=st.integers(min_value=0, max_value=100_000))
def test_pounds_and_ounces_and_hours_and_minutes_come_back(ounces, minutes):
    assert read(show(read(f"{ounces} oz", "g"), "g", "lb oz"), "g") == read(f"{ounces} oz", "g")
    assert read(show(minutes, "min", "h min"), "min") == minutes


def value_or_refusal(text, unit):
    try:
        return read(text, unit)
    except Refusal as refused:
        return refused.message


@given(st.text(max_size=120), st.sampled_from(sorted(MEASURES)))
def test_any_text_is_read_or_refused(text, unit):
    answer = value_or_refusal(text, unit)
    assert answer.endswith(".") if isinstance(answer, str) else 0 <= answer <= MEASURES[unit].most


@given(st.text(alphabet="0123456789.,/ -'\"½perinchmyodkglbz%²2", max_size=20), st.sampled_from(sorted(MEASURES)))
def test_almost_a_measure_is_read_or_refused(text, unit):
    answer = value_or_refusal(text, unit)
    assert answer.endswith(".") if isinstance(answer, str) else 0 <= answer <= MEASURES[unit].most


def test_pint_is_not_imported_until_a_unit_is_met():
    code = (
        "import sys, mill.units as u; assert 'pint' not in sys.modules; u.read('7', 'm'); "
        "assert 'pint' not in sys.modules; u.read('7 m', 'm'); assert 'pint' in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


# Form fields.


def test_a_field_hands_on_the_canonical_unit_rounded_to_its_places():
    assert MeasureField(unit="per_cm", places=3).clean("28 ends/in") == D("11.024")
    assert MeasureField(unit="m", places=2).clean("60 yd") == D("54.86")
    grams = MeasureField(unit="g", places=0).clean("3 lb 7 oz")
    assert grams == 1559
    assert isinstance(grams, int)


@pytest.mark.parametrize(
    ("field", "text", "says"),
    [
        (MeasureField(unit="m", min_value=1), "50 cm", "0.5 m is too little: write 1 m or more."),
        (MeasureField(unit="m", max_value=100), "200 yd", "182.88 m is too much: write 100 m or less."),
        (MeasureField(unit="m", above=0), "0", "0 m is too little: write more than 0 m."),
        (MeasureField(unit="m"), "5 kg", '"5 kg" is a mass, and a length is wanted here.'),
        (PercentField(), "101", "101 % is too much: write 100 % or less."),
        (PercentField(below=100), "100 %", "100 % is too much: write less than 100 %."),
        (PercentField(), "-1", '"-1" is below 0'),
        (PercentField(min_value=-50), "-51", "-51 % is too little: write -50 % or more."),
        (MeasureField(unit="m"), "", "required"),
    ],
)
def test_a_field_says_what_is_wrong(field, text, says):
    with pytest.raises(ValidationError) as wrong:
        field.clean(text)
    assert says in " ".join(wrong.value.messages)


class Sheet(forms.Form):
    length_m = MeasureField(unit="m", places=2, label="Length")
    shrink_pct = PercentField(min_value=-50, required=False)


def test_what_was_typed_stands_in_the_form_again():
    sheet = Sheet({"length_m": "60 parsec", "shrink_pct": "-3,5 %"})
    assert not sheet.is_valid()
    assert 'value="60 parsec"' in str(sheet["length_m"])
    assert sheet.cleaned_data["shrink_pct"] == D("-3.5")
    assert sheet.fields["length_m"].unit == "m"


def test_a_stored_value_stands_without_idle_noughts_and_is_not_a_change():
    sheet = Sheet({"length_m": "54.86", "shrink_pct": ""}, initial={"length_m": D("54.8600")})
    assert 'value="54.86"' in str(Sheet(initial={"length_m": D("54.8600")})["length_m"])
    assert 'inputmode="decimal"' in str(sheet["length_m"])
    assert not sheet.has_changed()
    assert Sheet({"length_m": "60 m"}, initial={"length_m": D("54.86")}).changed_data == ["length_m"]


class MillForm(forms.ModelForm):
    class Meta:
        model = Mill
        fields = ["thrums_m", "warp_waste_pct", "creel_load_min", "cone_g", "beam_density_kg_per_m3", "tuners"]
        formfield_callback = formfield_by_name


def test_columns_named_for_a_unit_get_measure_fields_with_their_own_bounds(db):
    form = MillForm(
        {
            "thrums_m": "3,5 yd",
            "warp_waste_pct": "51",
            "creel_load_min": "1 h 15 min",
            "cone_g": "2 lb",
            "beam_density_kg_per_m3": "0.42 g/cm3",
            "tuners": "2",
        }
    )
    assert form.errors == {"warp_waste_pct": ["51 % is too much: write 50 % or less."]}
    assert form.cleaned_data["thrums_m"] == D("3.20")
    assert form.cleaned_data["creel_load_min"] == 75
    assert form.cleaned_data["cone_g"] == 907
    assert form.cleaned_data["beam_density_kg_per_m3"] == 420
    assert form.fields["thrums_m"].label == "Thrums"
    assert form.fields["beam_density_kg_per_m3"].unit == "kg/m³"
    assert not isinstance(form.fields["tuners"], MeasureField)


# The API's field.


@pytest.mark.parametrize(
    "sent", ["60 yd", {"value": "60", "unit": "yd"}, {"value": 60, "unit": "yd"}, "54.864", 54.864]
)
def test_the_api_takes_a_measure_as_text_number_or_pair(sent):
    field = MeasureApiField(unit="m")
    assert field.run_validation(sent) == D("54.864")
    assert field.to_representation(D("54.8640")) == "54.864"


@pytest.mark.parametrize(
    "sent", [True, [60], {"unit": "yd"}, {"value": 60, "unit": 3}, {"value": 1, "also": 2}, "5 kg", float("nan"), -1]
)
def test_the_api_refuses_what_is_no_measure(sent):
    with pytest.raises(Exception) as wrong:
        MeasureApiField(unit="m").run_validation(sent)
    assert wrong.typename == "ValidationError"


def test_a_small_float_is_written_out():
    assert measure_text(1e-07) == "0.0000001"
