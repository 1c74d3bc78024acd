from decimal import Decimal
from typing import Any

from django.db.models import Prefetch
from rest_framework import serializers

from mill.fields import MeasureApiField
from planning.models import Colourway, Customer, Order, OrderLine, WarpPart


class CustomerSerializer(serializers.ModelSerializer[Customer]):
    # The verb says what is wrong with a code, in a sentence.
    code = serializers.CharField(max_length=20)

    class Meta:
        model = Customer
        fields = ["code", "name", "points_limit_per_100_yd2", "notes"]


class LinePartSerializer(serializers.ModelSerializer[WarpPart]):
    """Pieces of a line on a warp."""

    warp = serializers.IntegerField(source="warp.number")
    state = serializers.CharField(source="warp.state")

    class Meta:
        model = WarpPart
        fields = ["warp", "pieces", "state"]


class OrderLineSerializer(serializers.ModelSerializer[OrderLine]):
    line = serializers.CharField(source="__str__")
    order = serializers.CharField(source="order.number")
    customer = serializers.CharField(source="order.customer.code")
    cloth = serializers.CharField(source="cloth.code")
    colourway = serializers.CharField(source="colourway.name")
    length_m = MeasureApiField(unit="m", places=2, help_text="Finished, each piece.")
    tolerance_pct = MeasureApiField(unit="pct", places=1)
    parts = LinePartSerializer(many=True)

    class Meta:
        model = OrderLine
        fields = [
            "id",
            "line",
            "order",
            "customer",
            "cloth",
            "colourway",
            "pieces",
            "length_m",
            "due_on",
            "tolerance_pct",
            "weight",
            "note",
            "state",
            "parts",
        ]
        read_only_fields = fields

    @classmethod
    def rows(cls) -> Any:
        """Lines with what is sent of them: a constant number of queries."""
        parts = Prefetch("parts", WarpPart.objects.select_related("warp").order_by("warp__number"))
        return OrderLine.objects.select_related("order__customer", "cloth", "colourway").prefetch_related(parts)


class OrderSerializer(serializers.ModelSerializer[Order]):
    customer = serializers.CharField(source="customer.code")
    lines = OrderLineSerializer(many=True, read_only=True)

    class Meta:
        model = Order
        fields = ["number", "customer", "reference", "placed_on", "note", "lines"]
        read_only_fields = fields


# What is written


class NewLineSerializer(serializers.Serializer[Any]):
    """A line as it is ordered: the cloth by its code, the colourway by its name."""

    cloth = serializers.CharField(max_length=20)
    colourway = serializers.CharField(max_length=60)
    pieces = serializers.IntegerField(min_value=1, max_value=10_000)
    length_m = MeasureApiField(
        unit="m", places=2, above=0, max_value=Decimal("99999.99"), help_text="Finished, each piece: 60, or 65.5 yd."
    )
    due_on = serializers.DateField()
    tolerance_pct = MeasureApiField(unit="pct", places=1, max_value=50, default=Decimal(0))
    weight = serializers.IntegerField(min_value=1, max_value=9, default=1, help_text="How much a day late matters.")
    note = serializers.CharField(max_length=200, allow_blank=True, default="")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Cloth and colourway become one row; of a change that names neither, both stay."""
        if "cloth" not in attrs and "colourway" not in attrs:
            return attrs
        code = attrs.pop("cloth", self.context.get("cloth"))
        name = attrs.pop("colourway", self.context.get("colourway"))
        found = Colourway.objects.select_related("cloth").filter(cloth__code=code, name=name).first()
        if found is None:
            raise serializers.ValidationError({"colourway": [f"There is no cloth {code} in a colourway {name}."]})
        return {**attrs, "colourway": found}


class NewOrderSerializer(serializers.Serializer[Any]):
    number = serializers.CharField(max_length=30, allow_blank=True, default="", help_text="Without one, the next.")
    customer = serializers.SlugRelatedField(slug_field="code", queryset=Customer.objects.all())
    reference = serializers.CharField(max_length=60, allow_blank=True, default="")
    placed_on = serializers.DateField()
    note = serializers.CharField(allow_blank=True, default="")
    lines = NewLineSerializer(many=True, allow_empty=False)


class OrderHeadSerializer(serializers.Serializer[Any]):
    """What an order says beside its lines."""

    customer = serializers.SlugRelatedField(slug_field="code", queryset=Customer.objects.all())
    reference = serializers.CharField(max_length=60, allow_blank=True)
    placed_on = serializers.DateField()
    note = serializers.CharField(allow_blank=True)


class ReasonSerializer(serializers.Serializer[Any]):
    reason = serializers.CharField(max_length=100, allow_blank=True, default="")


class LineChangeSerializer(serializers.Serializer[Any]):
    """A line after a change, and what the change reached."""

    line = OrderLineSerializer()
    differences = serializers.ListField(child=serializers.CharField())
    warps = serializers.ListField(child=serializers.IntegerField(), help_text="Open warps that it is on.")
    tickets_overtaken = serializers.IntegerField()


# What a line takes


class SupplySerializer(serializers.Serializer[Any]):
    code = serializers.CharField(source="need.code")
    use = serializers.ChoiceField(choices=["warp", "weft"], source="need.use")
    issue_g = serializers.IntegerField(source="need.issue_g")
    suffices = serializers.BooleanField(help_text="What is on hand and free covers it, lines before it served first.")
    why = serializers.CharField(source="choice.why")


class LoomTimeSerializer(serializers.Serializer[Any]):
    loom = serializers.CharField(source="loom.code")
    weaving_min = serializers.IntegerField()


class LineFiguresSerializer(serializers.Serializer[Any]):
    """A line alone on a warp."""

    trouble = serializers.CharField(allow_blank=True)
    grey_length_m = serializers.DecimalField(None, None, source="run.grey_length_m", default=None)
    warp_length_m = serializers.DecimalField(None, None, source="figures.warp_length_m", default=None)
    warp_issue_g = serializers.IntegerField(source="figures.warp_issue_g", default=None)
    weft_issue_g = serializers.IntegerField(source="figures.weft_issue_g", default=None)
    looms = LoomTimeSerializer(many=True)
    yarns = SupplySerializer(many=True)
    earliest_on = serializers.DateField(allow_null=True, help_text="If a loom stood free.")
    earliest_how = serializers.CharField(allow_blank=True)
