from typing import Any

from rest_framework import serializers

from planning.models import WarpYarn

# What would end a shortage


class HolderSerializer(serializers.Serializer[Any]):
    """Yarn that is held for something else."""

    for_what = serializers.CharField()
    warp = serializers.IntegerField(source="warp.number", default=None, allow_null=True)
    lines = serializers.ListField(child=serializers.CharField(), help_text="The order lines on that warp.")
    dye_lot = serializers.CharField()
    grams = serializers.IntegerField()
    would_do = serializers.BooleanField(help_text="Were it let go, the shortage would be over.")


class CureSerializer(serializers.Serializer[Any]):
    """Promised deliveries that end a shortage together."""

    deliveries = serializers.ListField(child=serializers.CharField(), source="numbers")
    on = serializers.DateField(help_text="The day on which the last of them is expected.")
    late_days = serializers.IntegerField(help_text="After the day on which the yarn is wanted.")


class ToOrderSerializer(serializers.Serializer[Any]):
    """What to order where no promised delivery ends a shortage."""

    grams = serializers.IntegerField()
    is_smallest = serializers.BooleanField(help_text="Less would do; the supplier sends no less.")
    is_one_dye_lot = serializers.BooleanField()
    comes_on = serializers.DateField(allow_null=True, help_text="Were it ordered today.")
    late_days = serializers.IntegerField(allow_null=True)


class ShortageSerializer(serializers.Serializer[Any]):
    """What would end a shortage: whose yarn would do, which delivery comes, what to order."""

    short_g = serializers.IntegerField()
    holders = HolderSerializer(many=True)
    more_holders = serializers.IntegerField()
    cure = CureSerializer(allow_null=True)
    order = ToOrderSerializer(allow_null=True)


# Shares


class TakenLotSerializer(serializers.Serializer[Any]):
    lot = serializers.CharField(source="lot.label")
    dye_lot = serializers.CharField(source="lot.dye_lot")
    grams = serializers.IntegerField()
    pieces = serializers.ListField(
        child=serializers.IntegerField(),
        help_text="Of a weft: which of the pieces still to be held it is woven into, from 1.",
    )


class OptionSerializer(serializers.Serializer[Any]):
    dye_lot = serializers.CharField()
    is_taken = serializers.BooleanField()
    covers = serializers.BooleanField()
    consequence = serializers.CharField()


class ShareLineSerializer(serializers.Serializer[Any]):
    """A yarn of a warp that is still to be held, and what it would have beside all others."""

    warp = serializers.IntegerField(source="warp.number")
    use = serializers.CharField(source="waiting.need.use")
    order_lines = serializers.ListField(child=serializers.CharField())
    wanted_on = serializers.DateField(source="waiting.wanted_on")
    left_g = serializers.IntegerField(source="waiting.left_g")
    chosen = serializers.CharField(allow_blank=True, help_text="The dye lot that was chosen for it, - for nothing yet.")
    is_met = serializers.BooleanField()
    takes = TakenLotSerializer(many=True, source="choice.takes", default=list)
    why = serializers.CharField(source="choice.why", default="", help_text="Why these lots, or what is short.")
    dye_lots = OptionSerializer(many=True, source="options")
    shortage = ShortageSerializer(allow_null=True)


class RestSerializer(serializers.Serializer[Any]):
    """What becomes of a dye lot."""

    dye_lot = serializers.CharField()
    received_on = serializers.DateField()
    free_g = serializers.IntegerField()
    left_g = serializers.IntegerField()
    is_useless = serializers.BooleanField(help_text="Less is left than is of use.")
    takers = serializers.ListField(child=serializers.CharField())


class YarnSharesSerializer(serializers.Serializer[Any]):
    """All that is still to be held of a yarn, decided together."""

    yarn = serializers.CharField(source="yarn.code")
    lines = ShareLineSerializer(many=True)
    rests = RestSerializer(many=True, source="shared.rests")
    short = serializers.IntegerField(help_text="Lines that nothing free covers.")
    is_proven = serializers.BooleanField(source="shared.is_proven", help_text="No other way is better.")
    is_fewest_short = serializers.BooleanField(
        source="shared.is_fewest_short", help_text="No other way has less short."
    )
    changes = serializers.ListField(
        child=serializers.CharField(), help_text="What the choices change against the proposal, a sentence each."
    )


# What is asked for


class NeedSerializer(serializers.Serializer[Any]):
    warp = serializers.IntegerField(min_value=1, max_value=999_999_999, help_text="Its number.")
    use = serializers.ChoiceField(choices=WarpYarn.USES)
    yarn = serializers.CharField(max_length=30, help_text="Its code.")


class ChosenSerializer(NeedSerializer):
    dye_lot = serializers.CharField(max_length=40, help_text="- for nothing yet: what is free is left to the others.")


class WhatIfSerializer(serializers.Serializer[Any]):
    chosen = serializers.ListField(child=ChosenSerializer(), allow_empty=False, max_length=500)


class GivenLotSerializer(serializers.Serializer[Any]):
    lot = serializers.CharField(max_length=30)
    grams = serializers.IntegerField(min_value=1, max_value=1_000_000_000)
    pieces = serializers.ListField(
        child=serializers.IntegerField(min_value=1, max_value=100_000), default=list, max_length=1000
    )


class GivenSerializer(NeedSerializer):
    takes = serializers.ListField(child=GivenLotSerializer(), allow_empty=False, max_length=200)


class HoldSharesSerializer(serializers.Serializer[Any]):
    shares = serializers.ListField(
        child=GivenSerializer(), allow_empty=False, max_length=2000, help_text="All of them are held, or none."
    )


class HeldSharesSerializer(serializers.Serializer[Any]):
    lines = serializers.IntegerField()
    grams = serializers.IntegerField()
    already = serializers.IntegerField(help_text="Lines for which all was held already.")
