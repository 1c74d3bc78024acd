"""What is typed about money: rates, prices of yarn, and what a quote is asked for."""

from collections.abc import Iterable
from decimal import Decimal
from typing import Any

import django_filters
from django import forms
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.models import Delivery, YarnLot
from mill.fields import DayInput, MeasureField, PercentField
from planning.forms.orders import LONGEST_M, ColourwayField
from planning.gaiting import SetUp
from planning.models import Colourway, Customer, Loom, Quote, Rate, YarnPrice


class RateForm(forms.ModelForm):
    class Meta:
        model = Rate
        fields = ["kind", "of", "basis", "amount", "from_on"]
        labels = {
            "kind": gettext_lazy("Rate"),
            "of": gettext_lazy("Of"),
            "basis": gettext_lazy("A price of"),
            "amount": gettext_lazy("Amount"),
            "from_on": gettext_lazy("From"),
        }
        widgets = {"from_on": DayInput()}
        help_texts = {
            "of": gettext_lazy(
                "A loom's number or kind, without one every loom; of a finishing step its name, as routes write it."
            ),
            "basis": gettext_lazy("Of a finishing step."),
            "amount": gettext_lazy("In the mill's currency, or in the unit that its kind says."),
            "from_on": gettext_lazy(
                "What was woven before keeps the rate that was in force then. A rate that changes is a new one."
            ),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices = _in_words(Rate.KINDS)  # type: ignore[attr-defined]
        self.fields["basis"].choices = _in_words(Rate.BASES)  # type: ignore[attr-defined]


def _in_words(choices: Iterable[tuple[str, str]]) -> list[tuple[str, Any]]:
    """Choices of a column in the language of the page, none chosen before them."""
    return [("", "---------"), *((value, gettext_lazy(words)) for value, words in choices)]


class _Named(forms.ModelChoiceField):
    """A record by the number that stands on it: there are too many to choose from a list."""

    widget = forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"})

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(required=False, **kwargs)
        self.error_messages["invalid_choice"] = gettext_lazy(
            "There is no “%(value)s”. Write it as it stands on it, or leave it empty."
        )


class PriceForm(forms.ModelForm):
    delivery = _Named(queryset=Delivery.objects.all(), to_field_name="number", label=gettext_lazy("Of a delivery"))
    lot = _Named(queryset=YarnLot.objects.all(), to_field_name="label", label=gettext_lazy("Of a lot"))

    class Meta:
        model = YarnPrice
        fields = ["yarn", "delivery", "lot", "per_kg", "from_on"]
        labels = {
            "yarn": gettext_lazy("Yarn"),
            "per_kg": gettext_lazy("A kilogram"),
            "from_on": gettext_lazy("From"),
        }
        help_texts = {
            "per_kg": gettext_lazy("In the mill's currency."),
            "from_on": gettext_lazy("In force from this day on; of a delivery or a lot, the day of its invoice."),
        }
        widgets = {"from_on": DayInput()}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, number in (("delivery", "number"), ("lot", "label")):
            found = getattr(self.instance, name)
            self.initial[name] = getattr(found, number) if found else None
        self.fields["yarn"].required = False
        self.fields["yarn"].help_text = _("Of a delivery or a lot it is its own, and may be left empty.")

    def clean(self) -> dict[str, Any]:
        said: dict[str, Any] = super().clean() or {}
        of = said.get("lot") or said.get("delivery")
        if said.get("yarn") is None and of is not None:
            said["yarn"] = self.instance.yarn = of.yarn
        if said.get("yarn") is None and not self.errors:
            self.add_error("yarn", _("Say of which yarn, or of which delivery or lot."))
        return said


class RateFilter(django_filters.FilterSet):
    kind = django_filters.ChoiceFilter(
        label=gettext_lazy("Rate"), choices=_in_words(Rate.KINDS)[1:], empty_label=gettext_lazy("all")
    )
    of = django_filters.CharFilter(label=gettext_lazy("Of"), lookup_expr="icontains")

    class Meta:
        model = Rate
        fields = ["kind", "of"]


class PriceFilter(django_filters.FilterSet):
    text = django_filters.CharFilter(label=gettext_lazy("Yarn, delivery or lot"), method="by_text")

    class Meta:
        model = YarnPrice
        fields: list[str] = []

    def by_text(self, rows: QuerySet[YarnPrice], _name: str, value: str) -> QuerySet[YarnPrice]:
        return rows.filter(
            Q(yarn__code__icontains=value)
            | Q(yarn__name__icontains=value)
            | Q(delivery__number__icontains=value)
            | Q(lot__label__icontains=value)
        )


class QuoteForm(forms.Form):
    """What is quoted: a cloth, so many pieces, and how it is reckoned."""

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
    wished_on = forms.DateField(label=gettext_lazy("Wished for"), widget=DayInput(), required=False)
    set_up = forms.ChoiceField(
        choices=[(kind.value, gettext_lazy(kind.value)) for kind in SetUp],
        initial=SetUp.GAIT_UP.value,
        label=gettext_lazy("Set-up before it"),
        help_text=gettext_lazy("A full gait-up, unless it follows its like."),
    )
    loom = forms.ModelChoiceField(
        Loom.objects.order_by("code"),
        label=gettext_lazy("Loom"),
        required=False,
        empty_label=gettext_lazy("the fastest that takes it"),
    )
    margin_pct = PercentField(
        label=gettext_lazy("Margin, of the price"),
        required=False,
        max_value=Decimal("99"),
        help_text=gettext_lazy("Empty: the mill’s own."),
    )

    def __init__(self, *args: Any, colourways: Iterable[Colourway] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["colourway"]
        assert isinstance(field, ColourwayField)
        field.offer(colourways)


class KeepQuoteForm(forms.Form):
    """What is said beside the figures when a quote is kept."""

    customer = forms.ModelChoiceField(
        Customer.objects.order_by("name"),
        label=gettext_lazy("For"),
        required=False,
        empty_label=gettext_lazy("nobody named yet"),
    )
    valid_until = forms.DateField(label=gettext_lazy("Stands until"), widget=DayInput())
    note = forms.CharField(
        label=gettext_lazy("Note"), max_length=200, required=False, help_text=gettext_lazy("It stands on the quote.")
    )
    seen_price = forms.DecimalField(widget=forms.HiddenInput, max_digits=14, decimal_places=4)
    key = forms.CharField(widget=forms.HiddenInput, max_length=64)


class PlaceQuoteForm(forms.Form):
    """The order that is made of a quote."""

    customer = forms.ModelChoiceField(
        Customer.objects.order_by("name"), label=gettext_lazy("Customer"), empty_label=gettext_lazy("Choose …")
    )
    due_on = forms.DateField(label=gettext_lazy("Due"), widget=DayInput())
    number = forms.CharField(
        label=gettext_lazy("Order number"),
        max_length=30,
        required=False,
        help_text=gettext_lazy("Empty: the next one."),
    )
    reference = forms.CharField(label=gettext_lazy("Their number"), max_length=60, required=False)


class DropQuoteForm(forms.Form):
    why = forms.CharField(
        label=gettext_lazy("Why"),
        max_length=200,
        error_messages={"required": gettext_lazy("Say why it is dropped: the next price for them is made by it.")},
    )


class QuoteFilter(django_filters.FilterSet):
    text = django_filters.CharFilter(label=gettext_lazy("Number, customer or cloth"), method="by_text")
    stands = django_filters.ChoiceFilter(
        label=gettext_lazy("Stands"),
        choices=[(said, gettext_lazy(said)) for said in ("open", "run out", "ordered", "dropped")],
        empty_label=gettext_lazy("all"),
        method="by_standing",
    )

    class Meta:
        model = Quote
        fields: list[str] = []

    def by_text(self, rows: QuerySet[Quote], _name: str, value: str) -> QuerySet[Quote]:
        found = (
            Q(customer__name__icontains=value)
            | Q(colourway__cloth__code__icontains=value)
            | Q(colourway__cloth__name__icontains=value)
        )
        number = value.strip().lower().removeprefix("quote").removeprefix(_("Quote").lower()).strip()
        if number.isascii() and number.isdecimal() and len(number) < 9:
            found |= Q(number=int(number))
        return rows.filter(found)

    def by_standing(self, rows: QuerySet[Quote], _name: str, value: str) -> QuerySet[Quote]:
        today = timezone.localdate()
        neither = rows.filter(order=None, dropped_on=None)
        match value:
            case "open":
                return neither.filter(valid_until__gte=today)
            case "run out":
                return neither.filter(valid_until__lt=today)
            case "ordered":
                return rows.exclude(order=None)
            case _:
                return rows.exclude(dropped_on=None)
