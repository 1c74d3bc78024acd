"""Numbers, days and measures as each language writes them, beside the Unicode CLDR (in Babel's copy of it)."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from babel.dates import format_date, format_skeleton
from babel.numbers import format_decimal, get_decimal_symbol
from django.template import Context, Template

from mill import language, signs
from mill.fields import MeasureField
from mill.listing import Column
from mill.refusal import Refusal
from mill.signs import NARROW_SPACE
from mill.templatetags.mill import cells_of, day, days_late, hours, kg, moment, moment_folded, num, signed
from mill.units import read, typed

DAYS = [date(2026, 1, 1) + timedelta(days=n) for n in range(0, 1100, 5)]


def test_the_decimal_sign_is_the_one_of_cldr():
    for code, one in signs.OF.items():
        assert one.decimal == get_decimal_symbol(code.replace("-", "_").replace("gb", "GB"))


def test_a_german_number_is_that_of_cldr_with_the_house_s_space_between_thousands():
    for number in ("0", "7", "7.5", "-12.25", "1234.5", "12345.6", "1234567.891"):
        cldr = format_decimal(Decimal(number), locale="de", decimal_quantization=False)
        with language.speaking("de"):
            assert num(Decimal(number)) == cldr.replace(".", NARROW_SPACE)


def test_german_days_are_those_of_cldr_by_name_and_order():
    for on in DAYS:
        # Its names that stand by themselves, without the full stop of an abbreviation.
        assert signs.GERMAN.day_said(on, with_year=False) == format_date(on, "ccc, d. LLL", locale="de")
        assert signs.GERMAN.day_said(on, with_year=True) == format_date(on, "ccc, d. LLL y", locale="de")


def test_english_days_have_the_names_of_cldr_and_the_house_s_order():
    for on in DAYS:
        # British CLDR writes Sept with four letters, alone of all.
        month = format_skeleton("MMM", on, locale="en_GB").replace("Sept", "Sep")
        assert (
            signs.ENGLISH.day_said(on, with_year=False)
            == f"{format_skeleton('E', on, locale='en_GB')} {on.day} {month}"
        )


def test_every_figure_of_a_page_is_written_so(time_machine):
    time_machine.move_to(datetime(2026, 11, 24, 12, tzinfo=UTC))
    at = datetime(2026, 11, 24, 14, 5, tzinfo=ZoneInfo("Europe/London"))
    with language.speaking("de"):
        assert (num(Decimal("0.5"), 2), signed(Decimal("-1.5")), kg(12345)) == ("0,50", "−1,5", "12,3")
        assert (day(at), moment(at)) == ("Di, 24. Nov", "Di, 24. Nov, 14:05")
        assert day(date(2027, 3, 1)) == "Mo, 1. Mär 2027"
        assert (hours(702), days_late(3000)) == ("11 h 42 min", "3 Tage")
        assert Template("{{ f }}").render(Context({"f": Decimal("12.5")})) == "12,5"
    assert (num(Decimal("0.5"), 2), day(at)) == ("0.50", "Tue 24 Nov")


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("12,5 m", "m", "12.5"),
        ("12.5 m", "m", "12.5"),
        ("1,234", "m", "1.234"),
        ("0.125", "m", "0.125"),
        ("1.234,5", "m", "1234.5"),
        ("1 234,5", "m", "1234.5"),
        ("1.234.567", "g", "1234567"),
        ("11 Fäden je cm", "per_cm", "11"),
        ("24 Schuss/Zoll", "per_cm", "9.448818897638"),
        ("63 Rohre pro 10 cm", "dents_per_10cm", "63"),
        ("2 Std 30 Minuten", "min", "150"),
        ("2 Std. 30", "min", "150"),
        ("7,5 Prozent", "pct", "7.5"),
        ("60 yd", "m", "54.864"),
    ],
)
def test_what_a_german_types_is_read_as_it_is_meant(text, unit, value):
    with language.speaking("de"):
        assert read(text, unit) == Decimal(value)


def test_a_day_in_a_list_stays_on_one_line_and_a_moment_folds_before_its_time():
    columns = [Column("Due", lambda on: on, shown=day), Column("Late", lambda on: "no")]
    cells = cells_of(Context({}), [column.cell(DAYS[0]) for column in columns])
    assert cells == f'<td class="nowrap">{day(DAYS[0])}</td><td>no</td>'
    at = datetime(2026, 11, 24, 14, 5, tzinfo=UTC)
    for code in signs.OF:
        with language.speaking(code):
            assert moment_folded(at).replace("\u00a0", " ") == moment(at)
            assert moment_folded(at).split(" ")[1:] == ["14:05"]


def test_what_could_be_thousands_is_asked_about_in_either_language():
    with pytest.raises(Refusal, match=r"1,234 can mean 1234 or 1\.234"):
        read("1,234 m", "m")
    assert read("1.234 m", "m") == Decimal("1.234")
    with (
        language.speaking("de"),
        pytest.raises(Refusal, match=r"1\.234 kann 1234 oder 1,234 heißen\. .* mit Komma oder ohne Punkt"),
    ):
        read("1.234 m", "m")


def test_what_stands_in_a_field_is_read_back_as_it_was():
    field = MeasureField(unit="m", places=3)
    for code in signs.OF:
        with language.speaking(code):
            for value in map(Decimal, ("1.234", "12345.678", "0.5", "1000")):
                assert read(typed(value), "m") == value
                assert field.to_python(field.prepare_value(value)) == value
                assert not field.has_changed(value, typed(value))


def test_examples_of_what_to_write_are_in_the_language_and_are_read():
    with language.speaking("de"):
        with pytest.raises(Refusal) as said:
            read("viel", "m")
        assert (
            said.value.message
            == "„viel“ ist nicht zu lesen (Länge). Schreiben Sie es in m, etwa 60 m, 65,5 yd oder 5000 cm."
        )
        from mill.units import MEASURES, _example

        for unit, measure in MEASURES.items():
            for example in measure.examples:
                assert read(_example(example), unit) > 0
