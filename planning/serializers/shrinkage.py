from rest_framework import serializers


class IntervalSerializer(serializers.Serializer[object]):
    low_pct = serializers.DecimalField(max_digits=7, decimal_places=2)
    high_pct = serializers.DecimalField(max_digits=7, decimal_places=2)


class DimensionSerializer(serializers.Serializer[object]):
    """Length or width: mean and spread in percent of the grey size; where the mean, the next and most pieces lie."""

    name = serializers.CharField()
    n = serializers.IntegerField(source="learned.n")
    mean_pct = serializers.DecimalField(source="learned.mean_pct", max_digits=7, decimal_places=2)
    spread_pct = serializers.DecimalField(source="learned.spread_pct", max_digits=7, decimal_places=2)
    mean_between = IntervalSerializer(source="learned.mean_between", allow_null=True)
    next_between = IntervalSerializer(source="learned.next_between", allow_null=True)
    most_between = IntervalSerializer(source="learned.most_between", allow_null=True)
    trend_pct = serializers.DecimalField(source="learned.trend_pct", max_digits=7, decimal_places=3)
    is_trend = serializers.BooleanField(source="learned.is_trend")
    specified_pct = serializers.DecimalField(source="evidence.specified_pct", max_digits=7, decimal_places=2)
    is_against = serializers.BooleanField(source="evidence.is_against")
    said = serializers.CharField(source="evidence.said")
    outliers = serializers.ListField(child=serializers.CharField())


class RouteLearnedSerializer(serializers.Serializer[object]):
    """What the pieces of one route taught; `is_current` for the route of the latest revision."""

    steps = serializers.ListField(child=serializers.CharField())
    is_current = serializers.BooleanField()
    dimensions = DimensionSerializer(many=True)
