"""Form and API fields for what the mill measures: they take what a person types and hand on the canonical unit."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal, InvalidOperation
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from mill.language import called
from mill.refusal import Refusal
from mill.units import MEASURES, YARDS, plain, read, typed, typed_in

# The ends of the names of measured columns, longest first: loom_picks_per_cm is a sett and no width.
_ENDINGS = sorted(MEASURES.keys() - {"number"}, key=len, reverse=True)


class DayInput(forms.DateInput):
    """A day with the browser's own calendar; every browser sends it as year-month-day."""

    input_type = "date"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%d")


class MeasureInput(forms.TextInput):
    input_type = "text"

    def __init__(self, attrs: dict[str, Any] | None = None) -> None:
        super().__init__({"inputmode": "decimal", "autocomplete": "off", "spellcheck": "false", **(attrs or {})})

    def value_from_datadict(self, data: Mapping[str, Any], files: Any, name: str) -> Any:
        """What was written, with the unit that its page asked for where the writer named none.

        The page sends that unit along, so that a page opened before the mill chose another is read as it was meant.
        """
        text, asked = super().value_from_datadict(data, files, name), data.get(unit_name(name))
        is_bare = isinstance(text, str) and re.search(r"\d", text) and not re.search(r"[^\W\d_]|[%'\"′″’”:]", text)
        return f"{text.strip()} {asked}" if asked and is_bare else text


def unit_name(name: str) -> str:
    """Under which a form sends the unit that a field asked for."""
    return f"{name}-in"


class MeasureBoundField(forms.BoundField):
    """A measure on a page; `likes` is the unit that it is asked in, when that is not the canonical one."""

    field: MeasureField
    likes = ""

    def value(self) -> Any:
        if not self.likes or self.form.is_bound or self.initial in self.field.empty_values:
            return super().value()
        try:
            number = Decimal(str(self.initial))
        except InvalidOperation:
            return super().value()
        return typed_in(number, self.field.canonical, self.likes, places=self.field.places)


@dataclass(frozen=True)
class Asked:
    """A field as a page asks for it: the unit that stands beside its label, and its control."""

    unit: str
    control: SafeString


def in_words(field: forms.BoundField) -> None:
    """Have a field's choices said in the language of the page: a word that is stored, a record by its name there."""
    inner = field.field
    if isinstance(inner, forms.ModelChoiceField):
        if inner.empty_label:
            inner.empty_label = _(str(inner.empty_label))
        if getattr(inner.label_from_instance, "__func__", None) is forms.ModelChoiceField.label_from_instance:
            inner.label_from_instance = called  # type: ignore[method-assign, assignment]
    elif isinstance(inner, forms.ChoiceField):
        inner.widget.choices = list(_said(inner.choices))


def _said(choices: Any) -> Iterator[tuple[Any, Any]]:
    for key, label in choices:
        yield key, list(_said(label)) if isinstance(label, list | tuple) else _(str(label)) if label else label


def asked(field: forms.BoundField, asks_in: str) -> Asked:
    """A field in the units that the mill chose, mill.models.Mill.asks_in; one that measures nothing, as it is."""
    in_words(field)
    likes = YARDS.get(getattr(field.field, "canonical", "")) if asks_in == "yards" else None
    if likes is None or not isinstance(field, MeasureBoundField):
        return Asked(getattr(field.field, "unit", ""), field.as_widget())
    field.likes = likes
    unit = format_html('<input type="hidden" name="{}" value="{}">', unit_name(field.html_name), likes)
    return Asked(likes.replace("yd2", "yd²"), format_html("{}{}", field.as_widget(), unit))


class MeasureField(forms.Field):
    """A length, width, mass, sett, time ... as a person writes it: 60 yd, 150cm, 28 ends/in, 3 lb 7 oz.

    unit                    canonical, one of mill.units.MEASURES; a bare number is in it
    min_value, max_value    in that unit, both allowed
    above, below            the value must be more, or less, than these: above 0 for what can't be nothing, below 100
                            for a shrinkage, which can't take the whole cloth
    places                  kept after the point, rounded to the nearest; 0 hands on an int

    For templates, `field.field.unit` is how the unit is written: "cm", "g/m²".
    """

    widget = MeasureInput

    def __init__(
        self,
        *,
        unit: str,
        min_value: Decimal | int | None = None,
        max_value: Decimal | int | None = None,
        above: Decimal | int | None = None,
        below: Decimal | int | None = None,
        places: int = 3,
        written: str = "",
        **kwargs: Any,
    ) -> None:
        self.measure = MEASURES[unit]
        self.canonical = unit
        written = written or self.measure.written
        self.unit: Any = gettext_lazy(written) if written else ""
        self.min_value, self.max_value, self.above, self.below = min_value, max_value, above, below
        self.places = places
        super().__init__(**kwargs)

    def get_bound_field(self, form: Any, field_name: str) -> MeasureBoundField:
        return MeasureBoundField(form, self, field_name)

    def prepare_value(self, value: Any) -> Any:
        """A stored value without idle noughts; what was typed stands as it was typed."""
        return typed(value) if isinstance(value, Decimal) and value.is_finite() else value

    def to_python(self, value: Any) -> Decimal | int | None:
        if value in self.empty_values:
            return None
        try:
            return measured(value, self.canonical, self.places, min_value=self.min_value)
        except Refusal as refusal:
            raise ValidationError(refusal.message, code="unreadable") from refusal

    def validate(self, value: Any) -> None:
        super().validate(value)
        if value is None:
            return
        try:
            within(
                value,
                self.unit,
                min_value=self.min_value,
                max_value=self.max_value,
                above=self.above,
                below=self.below,
            )
        except Refusal as refusal:
            raise ValidationError(refusal.message, code="out_of_range") from refusal

    def has_changed(self, initial: Any, data: Any) -> bool:
        if self.disabled:
            return False
        try:
            was = None if initial in self.empty_values else self.to_python(str(self.prepare_value(initial)))
            return self.to_python(data) != was
        except ValidationError:
            return True


class PercentField(MeasureField):
    """A percentage from 0 to 100, both allowed unless said otherwise. On what it is a share stands in `help_text`."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"unit": "pct", "min_value": 0, "max_value": 100, "places": 2, **kwargs})


def whole(text: str | None) -> int | None:
    """A number that a page itself wrote into an address or a form; None for anything else, however long.

    >>> whole("12"), whole(""), whole("-1"), whole("9" * 5000)
    (12, None, None, None)
    """
    return int(text) if text and re.fullmatch("[0-9]{1,18}", text) else None


def measured(value: Any, unit: str, places: int, *, min_value: Decimal | int | None = None) -> Decimal | int:
    """A typed or sent value in the canonical unit, rounded to the places that are kept. Raises Refusal."""
    signed = min_value is not None and min_value < 0
    number = read(str(value), unit, signed=signed)
    kept = number.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)
    return int(kept) if places == 0 else kept


def within(
    value: Decimal | int,
    written: str,
    *,
    min_value: Decimal | int | None = None,
    max_value: Decimal | int | None = None,
    above: Decimal | int | None = None,
    below: Decimal | int | None = None,
) -> None:
    """Refuse a value outside its bounds, with both numbers."""

    def said(number: Decimal | int) -> str:
        return f"{typed(number)} {written}".rstrip()

    if above is not None and value <= above:
        raise Refusal(
            _("%(value)s is too little: write more than %(bound)s.") % {"value": said(value), "bound": said(above)}
        )
    if min_value is not None and value < min_value:
        raise Refusal(
            _("%(value)s is too little: write %(bound)s or more.") % {"value": said(value), "bound": said(min_value)}
        )
    if max_value is not None and value > max_value:
        raise Refusal(
            _("%(value)s is too much: write %(bound)s or less.") % {"value": said(value), "bound": said(max_value)}
        )
    if below is not None and value >= below:
        raise Refusal(
            _("%(value)s is too much: write less than %(bound)s.") % {"value": said(value), "bound": said(below)}
        )


def unit_of_name(name: str) -> str | None:
    """The canonical unit that a column's name ends with.

    >>> unit_of_name("loom_picks_per_cm"), unit_of_name("header_m"), unit_of_name("pieces")
    ('per_cm', 'm', None)
    """
    return next((unit for unit in _ENDINGS if name == unit or name.endswith(f"_{unit}")), None)


def formfield_by_name(column: models.Field[Any, Any], **kwargs: Any) -> forms.Field | None:
    """For `formfield_callback` of a ModelForm's Meta: columns whose names end in a unit become measure fields.

    Bounds, places, hint and whether it may be empty are the column's own; the label loses the unit, which stands
    beside it instead.
    """
    unit = unit_of_name(column.name)
    if unit is None or not isinstance(column, models.DecimalField | models.IntegerField) or "widget" in kwargs:
        return column.formfield(**kwargs)
    least = [v.limit_value for v in column.validators if isinstance(v, MinValueValidator)]
    most = [v.limit_value for v in column.validators if isinstance(v, MaxValueValidator)]
    label = column.name.removesuffix(unit).rstrip("_").replace("_", " ").capitalize()
    return MeasureField(
        **{
            "unit": unit,
            "min_value": max(least, default=0),
            "max_value": min([*most, _most_of(column)]),
            "places": column.decimal_places if isinstance(column, models.DecimalField) else 0,
            "required": not column.blank,
            "label": gettext_lazy(label) if label else column.verbose_name,
            "help_text": column.help_text,
            "initial": column.get_default() if column.has_default() else None,
            **kwargs,
        }
    )


def _most_of(column: models.DecimalField[Any, Any] | models.IntegerField[Any, Any]) -> Decimal:
    """The largest number that a column holds."""
    if isinstance(column, models.IntegerField):
        return Decimal(2_147_483_647)
    return (10 ** Decimal(column.max_digits - column.decimal_places)) - Decimal(1).scaleb(-column.decimal_places)


@extend_schema_field(
    {
        "oneOf": [
            {"type": "string"},
            {"type": "number"},
            {
                "type": "object",
                "properties": {
                    "value": {"oneOf": [{"type": "string"}, {"type": "number"}]},
                    "unit": {"type": "string"},
                },
                "required": ["value"],
            },
        ]
    }
)
class MeasureApiField(serializers.Field):
    """The same in the API: "60 yd", "54.864", 54.864 or {"value": "60", "unit": "yd"} come in, "54.864" goes out."""

    default_error_messages = {"no_measure": 'Write a measure as text or a number, or as {{"value": …, "unit": …}}.'}

    def __init__(
        self,
        *,
        unit: str,
        min_value: Decimal | int | None = None,
        max_value: Decimal | int | None = None,
        above: Decimal | int | None = None,
        below: Decimal | int | None = None,
        places: int = 3,
        **kwargs: Any,
    ) -> None:
        self.canonical = unit
        self.min_value, self.max_value, self.above, self.below = min_value, max_value, above, below
        self.places = places
        super().__init__(**kwargs)

    def to_internal_value(self, data: Any) -> Decimal | int:
        text = measure_text(data)
        if text is None:
            self.fail("no_measure")
        try:
            value = measured(text, self.canonical, self.places, min_value=self.min_value)
            within(
                value,
                MEASURES[self.canonical].written,
                min_value=self.min_value,
                max_value=self.max_value,
                above=self.above,
                below=self.below,
            )
        except Refusal as refusal:
            raise serializers.ValidationError(refusal.message) from refusal
        return value

    def to_representation(self, value: Any) -> str:
        return plain(value)


class SeveralField(forms.ModelMultipleChoiceField):
    """Rows ticked out of those offered. A number that the database can't hold is none of them, and no fault."""

    def clean(self, value: Any) -> Any:
        try:
            return super().clean(value)
        except OverflowError as error:
            raise ValidationError(
                self.error_messages["invalid_choice"], code="invalid_choice", params={"value": _("This")}
            ) from error


def measure_text(data: Any) -> str | None:
    """A measure sent as text, number or {"value", "unit"}, as a person would type it; None for anything else.

    >>> measure_text({"value": "60", "unit": "yd"}), measure_text(7.5), measure_text([7])
    ('60 yd', '7.5', None)
    """
    if isinstance(data, Mapping):
        if set(data) - {"value", "unit"} or "value" not in data:
            return None
        value, unit = measure_text(data["value"]), data.get("unit", "")
        if value is None or not isinstance(unit, str):
            return None
        return f"{value} {unit}".strip() if value else ""
    if isinstance(data, bool) or not isinstance(data, str | int | float | Decimal):
        return None
    if isinstance(data, float):
        # 1e-07 as a person writes it: 0.0000001.
        return f"{Decimal(repr(data)):f}"
    return str(data)
