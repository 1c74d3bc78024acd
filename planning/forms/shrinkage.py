from decimal import Decimal

from django import forms
from django.utils.translation import gettext_lazy

from mill.fields import MeasureField, PercentField


class WeaveForForm(forms.Form):
    """How long to weave so that an order reaches its length."""

    pieces = MeasureField(unit="number", label=gettext_lazy("Pieces"), min_value=1, max_value=1000, places=0, initial=1)
    length_m = MeasureField(
        unit="m", label=gettext_lazy("Finished length, each"), above=0, max_value=10_000, places=2, initial=60
    )
    chance_pct = PercentField(
        label=gettext_lazy("Chance of reaching it, all together"),
        min_value=50,
        max_value=Decimal("99.9"),
        initial=95,
        help_text=gettext_lazy("50 to 99.9 %."),
    )
