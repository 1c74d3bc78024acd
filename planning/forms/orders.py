"""What is typed into an order: its head, its lines, and the customer it is for."""

from collections.abc import Iterable, Iterator
from decimal import Decimal
from itertools import groupby
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from mill.fields import DayInput, MeasureField, PercentField
from planning.models import Colourway, Customer, Order, OrderLine

BLANK_LINES = 2
MOST_LINES = 60
LONGEST_M = Decimal("99999.99")


class CustomerForm(forms.ModelForm):
    class Meta:
        model = Customer
        fields = ["code", "name", "points_limit_per_100_yd2", "notes"]
        labels = {
            "code": gettext_lazy("Code"),
            "name": gettext_lazy("Name"),
            "points_limit_per_100_yd2": gettext_lazy("Points of a piece that they take (in 100 square yards)"),
            "notes": gettext_lazy("Notes"),
        }
        help_texts = {
            "code": gettext_lazy("Short, as it stands in lists: HOL1."),
            "points_limit_per_100_yd2": gettext_lazy(
                "Four-point grading, as agreed with them. Empty: the mill’s own limit holds."
            ),
        }
        error_messages = {"code": {"unique": gettext_lazy("Customer with this Code already exists.")}}
        widgets = {"notes": forms.Textarea(attrs={"rows": 3})}


class OrderForm(forms.ModelForm):
    class Meta:
        model = Order
        fields = ["number", "customer", "reference", "placed_on", "note"]
        labels = {
            "number": gettext_lazy("Number"),
            "customer": gettext_lazy("Customer"),
            "reference": gettext_lazy("Their number"),
            "placed_on": gettext_lazy("Placed on"),
            "note": gettext_lazy("Note"),
        }
        help_texts = {"reference": gettext_lazy("The customer's own number.")}
        widgets = {"placed_on": DayInput(), "note": forms.Textarea(attrs={"rows": 2})}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        customer = self.fields["customer"]
        assert isinstance(customer, forms.ModelChoiceField)
        customer.empty_label = _("Choose …")
        if self.instance.pk:
            # Tickets and letters name it: an order keeps its number.
            del self.fields["number"]

    def validate_unique(self) -> None:
        """The verb says it, and gives the order back when the same one is told twice."""


class ColourwayField(forms.ChoiceField):
    """A cloth in one of its colourways: one list, cloth by cloth, so that the two always belong together."""

    def __init__(self, **kwargs: Any) -> None:
        self.by_pk: dict[str, Colourway] = {}
        super().__init__(**kwargs)

    def offer(self, colourways: Iterable[Colourway]) -> None:
        """The colourways in the order of their cloths. Read once for all lines of a form."""
        self.by_pk = {str(one.pk): one for one in colourways}
        self.choices = [("", _("Choose …")), *self._groups()]

    def _groups(self) -> Iterator[tuple[str, list[tuple[str, str]]]]:
        for cloth, of_it in groupby(self.by_pk.values(), key=lambda one: one.cloth):
            yield str(cloth), [(str(one.pk), f"{cloth.code} {one.name}") for one in of_it]

    def prepare_value(self, value: Any) -> Any:
        return value.pk if isinstance(value, Colourway) else value

    def has_changed(self, initial: Any, data: Any) -> bool:
        return str(self.prepare_value(initial) or "") != str(data or "")

    def to_python(self, value: Any) -> Any:
        return self.by_pk.get(str(value), value) if value else None

    def validate(self, value: Any) -> None:
        if value is None:
            if self.required:
                raise forms.ValidationError(_("Choose the cloth and its colourway."), code="required")
        elif not isinstance(value, Colourway):
            raise forms.ValidationError(_("This colourway can’t be ordered any more. Choose another."), code="gone")


class LineForm(forms.Form):
    """One line of an order; its fields are named as the columns of OrderLine."""

    colourway = ColourwayField(label=gettext_lazy("Cloth and colourway"))
    pieces = forms.IntegerField(min_value=1, max_value=10_000, label=gettext_lazy("Pieces"))
    length_m = MeasureField(
        unit="m",
        places=2,
        above=0,
        max_value=LONGEST_M,
        label=gettext_lazy("Finished length, each"),
        help_text=gettext_lazy("60 m, 65.5 yd"),
    )
    due_on = forms.DateField(label=gettext_lazy("Due"), widget=DayInput())
    tolerance_pct = PercentField(max_value=50, places=1, initial=Decimal(0), label=gettext_lazy("Tolerance"))
    weight = forms.IntegerField(
        min_value=1,
        max_value=9,
        initial=1,
        label=gettext_lazy("Weight"),
        help_text=gettext_lazy("How much a day late matters: 1 to 9."),
    )
    note = forms.CharField(max_length=200, required=False, label=gettext_lazy("Note"))

    def __init__(self, *args: Any, colourways: Iterable[Colourway] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["colourway"]
        assert isinstance(field, ColourwayField)
        field.offer(colourways)

    @classmethod
    def of(cls, line: OrderLine, **kwargs: Any) -> "LineForm":
        """The form of a written line."""
        names = ("pieces", "length_m", "due_on", "tolerance_pct", "weight", "note")
        initial = {"colourway": line.colourway, **{name: getattr(line, name) for name in names}}
        return cls(initial=initial, **kwargs)

    @property
    def is_said(self) -> bool:
        """Somebody has begun to write this line, and all of it can be read."""
        return self.has_changed() and self.is_valid()


class BaseLineFormSet(forms.BaseFormSet):
    """The lines of a new order. A row in which nothing is written is no line."""

    @property
    def said(self) -> list[LineForm]:
        return [form for form in self.forms if form.has_changed()]

    def clean(self) -> None:
        if not any(self.errors) and not self.said:
            raise forms.ValidationError(_("Write at least one line: a cloth, pieces and a length."))


LineFormSet = forms.formset_factory(
    LineForm, formset=BaseLineFormSet, extra=BLANK_LINES, max_num=MOST_LINES, absolute_max=MOST_LINES
)


def one_more_line(data: QueryDict) -> QueryDict:
    """What was sent, with another blank line."""
    more = data.copy()
    name = "lines-TOTAL_FORMS"
    total = more.get(name, "")
    more[name] = str(min(MOST_LINES, int(total) + 1)) if total.isdecimal() else str(BLANK_LINES)
    return more
