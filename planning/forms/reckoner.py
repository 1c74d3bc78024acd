"""The form of a sum, built from what it asks for: the page and the API both read by it."""

import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext as _

from inventory.yarn import Count
from mill.fields import MeasureField, measure_text
from mill.models import Mill
from mill.refusal import Refusal
from mill.said_working import unit_said, words_said
from mill.units import MEASURES, plain
from planning.forms.measures import CountField, CountsField, FaultsField, NumbersField, ReedField, SettField, WholeField
from planning.piece import Fault
from planning.reckoner import Answer, Input, Sum

PLACES = 6


class SumForm(forms.Form):
    """One sum with what was typed. What was not sent at all stands at its default, so an address may name a part.

    mill    its own starting values take the place of a default of the same name
    """

    def __init__(self, asked: Sum, typed: Mapping[str, Any], *, mill: Mill) -> None:
        self.asked = asked
        super().__init__({given.name: typed.get(given.name, default_said(given, mill)) for given in asked.inputs})
        for given in asked.inputs:
            self.fields[given.name] = field_of(given)
        # "Ends per cm" has said its unit already.
        self.beside = {
            given.name: unit_said(unit)
            for given in asked.inputs
            if not re.search(rf"\b{re.escape(unit := unit_of(given))}(?!\w)", given.label, re.IGNORECASE)
        }

    def reckon(self) -> Answer | None:
        """The answer; None, and what is wrong in `errors`, when there is none."""
        if not self.is_valid():
            return None
        try:
            return self.asked.reckon(self.cleaned_data)
        except Refusal as refusal:
            self.add_error(refusal.field if refusal.field in self.fields else None, refusal.message)
            return None

    def normalised(self) -> dict[str, dict[str, str]]:
        """Every input as it was understood, in its canonical unit; typed again, it makes the same sum."""
        return {
            given.name: {"value": written(self.cleaned_data[given.name]), "unit": unit_of(given)}
            for given in self.asked.inputs
        }


def default_text(given: Input, mill: Mill) -> str:
    """The default as a person would type it: the mill's own, where it has a value of that name."""
    own = getattr(mill, given.name, None)
    return plain(own) if isinstance(own, Decimal | int) else given.default


def default_said(given: Input, mill: Mill) -> str:
    """The same as it is typed in the language of the page."""
    default = default_text(given, mill)
    return default if given.kind == "choice" else words_said(default)


def unit_of(given: Input) -> str:
    """The unit as it is written beside the value."""
    if given.kind == "reed":
        return MEASURES["dents_per_10cm"].written
    return MEASURES[given.unit].written if given.unit in MEASURES else given.unit


def field_of(given: Input) -> forms.Field:
    common: dict[str, Any] = {
        "label": words_said(given.label),
        "help_text": words_said(given.help),
        "required": given.required,
    }
    if given.required:
        common["error_messages"] = {
            "required": _("%(label)s: there is nothing written. Such as: %(such)s.")
            % {"label": common["label"], "such": _such(given)}
        }
    bounds: dict[str, Any] = {
        "min_value": given.least,
        "max_value": given.most,
        "above": given.above,
        "below": given.below,
    }
    match given.kind:
        case "number" if given.unit == "per_cm":
            return SettField(places=PLACES, **bounds, **common)
        case "number":
            return MeasureField(unit=given.unit, places=PLACES, **bounds, **common)
        case "whole":
            unit = given.unit if given.unit in MEASURES else "number"
            return WholeField(unit=unit, written=unit_said(unit_of(given)), **bounds, **common)
        case "numbers":
            return NumbersField(unit=given.unit, min_value=given.least, below=given.below, places=PLACES, **common)
        case "choice":
            return _choice(given, common)
        case "count":
            return CountField(**common)
        case "counts":
            return CountsField(**common)
        case "reed":
            return ReedField(**common)
        case "faults":
            return FaultsField(widget=forms.Textarea(attrs={"rows": 3}), **common)
        case "text":
            return forms.CharField(max_length=500, **common)


def _such(given: Input) -> str:
    return words_said(given.default) or "1"


def _choice(given: Input, common: dict[str, Any]) -> forms.ChoiceField:
    known = ", ".join(key for key, label in given.choices)
    common.setdefault("error_messages", {})["invalid_choice"] = _('"%(sent)s" is none of %(known)s.') % {
        "sent": "%(value)s",
        "known": known,
    }
    return forms.ChoiceField(choices=[(key, words_said(label)) for key, label in given.choices], **common)


def written(value: Any) -> str:
    """A value that was read, as a person would type it in its canonical unit."""
    match value:
        case None:
            return ""
        case Count():
            return value.notation
        case Fault():
            return f"{plain(value.at_m)} m: {plain(value.length_mm)} mm{' hole' if value.is_hole else ''}"
        case tuple():
            return "; ".join(written(part) for part in value)
        case Decimal() | int():
            return plain(value)
        case _:
            return str(value)


def typed_text(sent: Any) -> str | None:
    """What the API was sent for an input, as a person would type it; None for what nobody could."""
    if sent is None:
        return ""
    if isinstance(sent, list):
        parts = [measure_text(part) for part in sent]
        return None if None in parts else "\n".join(str(part) for part in parts)
    return measure_text(sent)
