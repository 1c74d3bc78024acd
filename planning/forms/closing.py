import unicodedata
from datetime import date
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from mill.public_days import YEARS, countries, parts_of, read_place
from mill.refusal import Refusal


def _countries() -> list[tuple[str, str]]:
    """By their names in the language of the page; Österreich stands among the O."""
    named = ((code, _(name)) for code, name in countries().items())
    return sorted(named, key=lambda one: unicodedata.normalize("NFD", one[1]))


class PlaceOfHolidaysForm(forms.Form):
    """Whose public holidays, and of which year."""

    country = forms.ChoiceField(label=gettext_lazy("Country"), choices=lambda: [("", _("Choose")), *_countries()])
    part = forms.CharField(
        label=gettext_lazy("Part of the country"),
        required=False,
        max_length=10,
        help_text=gettext_lazy("Where it keeps days of its own: SCT."),
    )
    year = forms.IntegerField(label=gettext_lazy("Year"), min_value=YEARS[0], max_value=YEARS[-1])

    def __init__(self, *args: Any, place: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        country, _dash, part = place.partition("-")
        today = timezone.localdate()
        self.initial = {"country": country, "part": part, "year": today.year + (today.month > 9), **self.initial}
        said = self.data.get("country", country) if self.is_bound else country
        if known := parts_of(said):
            self.fields["part"].help_text = _("Where it keeps days of its own: %(parts)s.") % {
                "parts": ", ".join(known)
            }

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if said.get("country"):
            part = said.get("part", "").strip().upper()
            said["place"] = f"{said['country']}-{part}" if part else said["country"]
            try:
                read_place(said["place"])
            except Refusal as refusal:
                self.add_error("part", refusal.message)
        return said


class DaysOffForm(PlaceOfHolidaysForm):
    """The days on which the mill closes, of those offered."""

    def clean(self) -> dict[str, Any]:
        said = super().clean()
        try:
            said["days"] = [date.fromisoformat(day) for day in self.data.getlist("day")]  # type: ignore[attr-defined]
        except ValueError:
            raise forms.ValidationError(_("A day can't be read. Load the page again.")) from None
        if not said["days"]:
            raise forms.ValidationError(_("No day is ticked. Tick those on which the mill closes."))
        return said
