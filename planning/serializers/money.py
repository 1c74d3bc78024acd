from decimal import Decimal
from typing import Any

from rest_framework import serializers

from inventory.models import Delivery, Yarn, YarnLot
from mill.fields import MeasureApiField
from planning.gaiting import SetUp
from planning.models import Colourway, Customer, Loom, Quote, Rate, YarnPrice
from planning.serializers.reckoner import StepSerializer


class RateSerializer(serializers.ModelSerializer[Rate]):
    """What the mill reckons with when it costs, from a day on."""

    class Meta:
        model = Rate
        fields = ["id", "kind", "of", "basis", "amount", "from_on"]
        extra_kwargs = {"of": {"required": False, "default": ""}}


class YarnPriceSerializer(serializers.ModelSerializer[YarnPrice]):
    """What a kilogram costs: of a yarn from a day on, or as it was paid for one delivery, or for one lot."""

    yarn = serializers.SlugRelatedField(slug_field="code", queryset=Yarn.objects.all())
    delivery: serializers.SlugRelatedField[Delivery] = serializers.SlugRelatedField(
        slug_field="number", queryset=Delivery.objects.all(), required=False, allow_null=True
    )
    lot: serializers.SlugRelatedField[YarnLot] = serializers.SlugRelatedField(
        slug_field="label", queryset=YarnLot.objects.all(), required=False, allow_null=True
    )

    class Meta:
        model = YarnPrice
        fields = ["id", "yarn", "delivery", "lot", "per_kg", "from_on"]
        # The record says so itself, in a sentence.
        validators: list[object] = []


def _amount(**kwargs: Any) -> serializers.DecimalField:
    return serializers.DecimalField(max_digits=14, decimal_places=None, **kwargs)


class ComparedSerializer(serializers.Serializer[Any]):
    """A line of a cost sheet; null where something of it has no price."""

    name = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]
    planned = _amount(allow_null=True)
    actual = _amount(allow_null=True)
    off = _amount(allow_null=True, help_text="Actual less planned.")


class CostSheetSerializer(serializers.Serializer[Any]):
    """What something costs, planned and as it goes: what was told so far, the rest as planned."""

    of = serializers.CharField()
    currency = serializers.CharField(source="planned.currency")
    rates_on = serializers.DateField(source="on", help_text="The day whose rates count.")
    pieces = serializers.IntegerField()
    woven = serializers.IntegerField()
    planned_m = _amount(source="planned.finished_m", help_text="Finished.")
    actual_m = _amount(source="actual.finished_m", help_text="Finished.")
    lines = ComparedSerializer(source="rows", many=True, help_text="The sum, and a finished metre, last.")
    missing = serializers.ListField(child=serializers.CharField(), help_text="Which price or rate is not stated.")
    notes = serializers.ListField(child=serializers.CharField())
    planned_working = StepSerializer(source="planned.working", many=True)
    actual_working = StepSerializer(source="actual.working", many=True)


class AskedQuoteSerializer(serializers.Serializer[Any]):
    """What a quote is asked for."""

    colourway = serializers.PrimaryKeyRelatedField(queryset=Colourway.objects.select_related("cloth"))
    pieces = serializers.IntegerField(min_value=1, max_value=10_000)
    length_m = MeasureApiField(unit="m", above=0, max_value=Decimal("99999.99"), places=2, help_text="Finished, each.")
    wished_on = serializers.DateField(required=False, allow_null=True)
    set_up = serializers.ChoiceField(
        choices=[kind.value for kind in SetUp], required=False, help_text="Before it; a gait-up when nothing is said."
    )
    loom = serializers.SlugRelatedField(
        slug_field="code",
        queryset=Loom.objects.all(),
        required=False,
        allow_null=True,
        help_text="Without one the fastest that takes it.",
    )
    margin_pct = MeasureApiField(
        unit="pct",
        min_value=0,
        max_value=99,
        places=2,
        required=False,
        allow_null=True,
        help_text="Of the price; without one the mill's own.",
    )


class NewQuoteSerializer(AskedQuoteSerializer):
    customer = serializers.SlugRelatedField(
        slug_field="code", queryset=Customer.objects.all(), required=False, allow_null=True
    )
    valid_until = serializers.DateField(required=False, allow_null=True)
    note = serializers.CharField(max_length=200, required=False, allow_blank=True)
    seen_price = serializers.DecimalField(
        max_digits=14,
        decimal_places=4,
        required=False,
        allow_null=True,
        help_text="What it was shown as: refused when it is another by now.",
    )
    key = serializers.CharField(max_length=56, help_text="Of your own choosing, new for each quote.")


class PriceLineSerializer(serializers.Serializer[Any]):
    name = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]
    amount = _amount(allow_null=True)


class FiguredQuoteSerializer(serializers.Serializer[Any]):
    """A quote worked out and not kept; prices are null while something has no price."""

    currency = serializers.CharField(source="alone.cost.currency")
    lines = PriceLineSerializer(source="alone.cost.lines", many=True)
    cost = _amount(source="alone.cost.total", allow_null=True)
    cost_per_m = _amount(source="alone.cost.per_m", allow_null=True, help_text="Finished.")
    margin_pct = _amount()
    price_per_m = _amount(source="price.per_m", default=None, allow_null=True)
    price = _amount(source="price.total", default=None, allow_null=True)
    promised_on = serializers.DateField(source="promise.safe_on", default=None, allow_null=True)
    no_promise = serializers.CharField(allow_blank=True, help_text="Why no day can be promised.")
    warps = serializers.IntegerField(source="alone.warps")
    loom = serializers.CharField(source="alone.loom.code")
    set_up = serializers.CharField(source="alone.set_up")
    missing = serializers.ListField(source="alone.cost.missing", child=serializers.CharField())
    notes = serializers.ListField(source="alone.notes", child=serializers.CharField())
    working = StepSerializer(many=True)


class QuoteSerializer(serializers.ModelSerializer[Quote]):
    """A quote as it was kept; `figures` is its cost sheet as it was worked."""

    cloth = serializers.CharField(source="spec.cloth.code", read_only=True)
    revision = serializers.IntegerField(source="spec.revision", read_only=True)
    colourway_name = serializers.CharField(source="colourway.name", read_only=True)
    customer = serializers.CharField(source="customer.code", default=None, allow_null=True, read_only=True)
    order = serializers.CharField(source="order.number", default=None, allow_null=True, read_only=True)
    stands = serializers.ChoiceField(choices=["open", "run out", "ordered", "dropped"], read_only=True)

    class Meta:
        model = Quote
        fields = [
            *("number", "stands", "customer", "cloth", "revision", "colourway", "colourway_name", "pieces", "length_m"),
            *("made_on", "wished_on", "promised_on", "valid_until", "currency", "cost", "margin_pct", "per_m", "price"),
            *("order", "dropped_on", "dropped_why", "note", "figures"),
        ]
        read_only_fields = fields


class PlaceQuoteSerializer(serializers.Serializer[Any]):
    customer = serializers.SlugRelatedField(
        slug_field="code", queryset=Customer.objects.all(), required=False, allow_null=True
    )
    due_on = serializers.DateField(required=False, allow_null=True, help_text="Without one, the day promised.")
    number = serializers.CharField(max_length=30, required=False, allow_blank=True)
    reference = serializers.CharField(max_length=60, required=False, allow_blank=True)
