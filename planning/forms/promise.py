"""What a promise is asked for: a line as it is typed on an order, its due date not needed yet."""

from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy

from mill.fields import DayInput, MeasureField
from planning.forms.orders import LONGEST_M, ColourwayField
from planning.models import Colourway


class PromiseForm(forms.Form):
    colourway = ColourwayField(label=gettext_lazy("Cloth and colourway"))
    pieces = forms.IntegerField(min_value=1, max_value=10_000, label=gettext_lazy("Pieces"), initial=1)
    length_m = MeasureField(
        unit="m",
        places=2,
        above=0,
        max_value=LONGEST_M,
        label=gettext_lazy("Finished length, each"),
        help_text=gettext_lazy("60 m, 65.5 yd"),
    )
    due_on = forms.DateField(label=gettext_lazy("Wished for"), widget=DayInput(), required=False)

    def __init__(self, *args: Any, colourways: Iterable[Colourway] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["colourway"]
        assert isinstance(field, ColourwayField)
        field.offer(colourways)
