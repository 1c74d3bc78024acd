from rest_framework import serializers

from inventory.models import Delivery, Yarn, YarnLot
from planning.models import Rate, YarnPrice


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
