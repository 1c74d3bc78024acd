"""What is typed about money: rates, prices of yarn, and what a quote is asked for."""

from typing import Any

import django_filters
from django import forms
from django.db.models import Q, QuerySet

from inventory.models import Delivery, YarnLot
from mill.fields import DayInput
from planning.models import Rate, YarnPrice


class RateForm(forms.ModelForm):
    class Meta:
        model = Rate
        fields = ["kind", "of", "basis", "amount", "from_on"]
        labels = {"kind": "Rate", "of": "Of", "basis": "A price of", "amount": "Amount", "from_on": "From"}
        widgets = {"from_on": DayInput()}
        help_texts = {
            "from_on": "What was woven before keeps the rate that was in force then. A rate that changes is a new one.",
        }


class _Named(forms.ModelChoiceField):
    """A record by the number that stands on it: there are too many to choose from a list."""

    widget = forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"})

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(required=False, **kwargs)
        self.error_messages["invalid_choice"] = (
            "There is no “%(value)s”. Write it as it stands on it, or leave it empty."
        )


class PriceForm(forms.ModelForm):
    delivery = _Named(queryset=Delivery.objects.all(), to_field_name="number", label="Of a delivery")
    lot = _Named(queryset=YarnLot.objects.all(), to_field_name="label", label="Of a lot")

    class Meta:
        model = YarnPrice
        fields = ["yarn", "delivery", "lot", "per_kg", "from_on"]
        labels = {"yarn": "Yarn", "per_kg": "A kilogram", "from_on": "From"}
        widgets = {"from_on": DayInput()}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, number in (("delivery", "number"), ("lot", "label")):
            found = getattr(self.instance, name)
            self.initial[name] = getattr(found, number) if found else None
        self.fields["yarn"].required = False
        self.fields["yarn"].help_text = "Of a delivery or a lot it is its own, and may be left empty."

    def clean(self) -> dict[str, Any]:
        said: dict[str, Any] = super().clean() or {}
        of = said.get("lot") or said.get("delivery")
        if said.get("yarn") is None and of is not None:
            said["yarn"] = self.instance.yarn = of.yarn
        if said.get("yarn") is None and not self.errors:
            self.add_error("yarn", "Say of which yarn, or of which delivery or lot.")
        return said


class RateFilter(django_filters.FilterSet):
    kind = django_filters.ChoiceFilter(label="Rate", choices=Rate.KINDS, empty_label="all")
    of = django_filters.CharFilter(label="Of", lookup_expr="icontains")

    class Meta:
        model = Rate
        fields = ["kind", "of"]


class PriceFilter(django_filters.FilterSet):
    text = django_filters.CharFilter(label="Yarn, delivery or lot", method="by_text")

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
