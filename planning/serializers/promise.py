from typing import Any

from rest_framework import serializers

from planning.models import Colourway


class AskedPromiseSerializer(serializers.Serializer[dict[str, object]]):
    colourway = serializers.PrimaryKeyRelatedField(queryset=Colourway.objects.select_related("cloth"))
    pieces = serializers.IntegerField(min_value=1, max_value=10_000)
    length_m = serializers.DecimalField(max_digits=7, decimal_places=2, help_text="Finished, each piece.")
    due_on = serializers.DateField(required=False, allow_null=True, help_text="The date wished for.")

    def validate_length_m(self, value: object) -> object:
        if not value or value <= 0:  # type: ignore[operator]
            raise serializers.ValidationError("A piece has a length above 0 m.")
        return value


class PushSerializer(serializers.Serializer[dict[str, object]]):
    """A warp that would be late, or later, for it."""

    warp = serializers.IntegerField()
    customers = serializers.CharField()
    off_on = serializers.DateField()
    later_on = serializers.DateField()
    days = serializers.IntegerField()


class WaySerializer(serializers.Serializer[dict[str, object]]):
    looms = serializers.ListField(child=serializers.CharField())
    starts_on = serializers.DateField()
    off_on = serializers.DateField()
    ready_on = serializers.DateField()
    chain = serializers.ListField(child=serializers.CharField(), help_text="How the date comes about, link by link.")
    pushes = PushSerializer(many=True)


class PromiseSerializer(serializers.Serializer[Any]):
    safe_on = serializers.DateField(help_text="What the customer can be told.")
    days_over = serializers.IntegerField(allow_null=True)
    warps = serializers.IntegerField()
    warp_length_m = serializers.DecimalField(max_digits=9, decimal_places=1)
    safe = WaySerializer()
    jump = WaySerializer(allow_null=True, help_text="The queue jumped; null where that gains nothing.")
    cautions = serializers.ListField(child=serializers.CharField())
