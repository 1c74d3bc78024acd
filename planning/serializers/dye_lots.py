from typing import Any

from rest_framework import serializers

from inventory.serializers import DrawdownSerializer, OutlookDaySerializer


class DyeLotAheadSerializer(serializers.Serializer[Any]):
    dye_lot = serializers.CharField(source="name", help_text="Empty for what nobody has named a dye lot for yet.")
    on_hand_g = serializers.IntegerField()
    held_g = serializers.IntegerField()
    left_g = serializers.IntegerField(help_text="At the end of all that is planned; below 0 it is wanting.")
    worked = DrawdownSerializer()
    days = OutlookDaySerializer(source="worked.days", many=True)
