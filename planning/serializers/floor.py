from rest_framework import serializers

from planning.models import FloorEvent


class TapSerializer(serializers.Serializer[dict[str, object]]):
    """One thing told at a machine. `age_s` is how long the phone has kept it.

    What was typed may be of any length here: the form refuses it tap by tap, and one that is too long keeps no other
    in the phone.
    """

    key = serializers.CharField(max_length=60)
    token = serializers.CharField(max_length=24, help_text="Of the ticket whose code was scanned.")
    kind = serializers.CharField(
        max_length=40, help_text='As the buttons say it; a stop with its reason: "stopped:tuner".'
    )
    worker = serializers.CharField()
    age_s = serializers.IntegerField(min_value=0, default=0)
    length_m = serializers.CharField(required=False, allow_blank=True)
    weft_lot = serializers.CharField(required=False, allow_blank=True)
    back_lot = serializers.CharField(required=False, allow_blank=True)
    grams = serializers.CharField(required=False, allow_blank=True)
    picks = serializers.CharField(required=False, allow_blank=True)
    why = serializers.CharField(required=False, allow_blank=True)
    undoes = serializers.IntegerField(required=False)
    undoes_key = serializers.CharField(
        max_length=60, required=False, allow_blank=True, help_text="In place of undoes, of a tap that was sent before."
    )


class TapsSerializer(serializers.Serializer[dict[str, object]]):
    events = serializers.ListField(child=TapSerializer(), max_length=50)


class ToldSerializer(serializers.Serializer[dict[str, object]]):
    """What became of a tap.

    is_kept   the book has it; the phone need not keep it any longer
    refused   why it could not be done, when it could not
    """

    key = serializers.CharField()
    is_kept = serializers.BooleanField()
    said = serializers.CharField()
    refused = serializers.CharField(allow_blank=True)


class FloorEventSerializer(serializers.ModelSerializer[FloorEvent]):
    warp = serializers.IntegerField(source="warp.number")
    loom = serializers.CharField(source="loom.code", allow_null=True, default=None)
    worker = serializers.CharField(source="worker.code")
    undoes = serializers.CharField(source="undoes.key", allow_null=True, default=None)
    facts = serializers.DictField()

    class Meta:
        model = FloorEvent
        fields = ["key", "kind", "warp", "loom", "worker", "happened_at", "received_at", "facts", "undoes", "refused"]


class StoodSerializer(serializers.Serializer[object]):
    reason = serializers.CharField()
    minutes = serializers.IntegerField()


class WovenSerializer(serializers.Serializer[object]):
    """What one loom, cloth, weaver or shift wove."""

    by = serializers.ChoiceField(choices=["loom", "cloth", "weaver", "shift"])
    name = serializers.CharField()
    pieces = serializers.IntegerField()
    picks = serializers.IntegerField()
    length_m = serializers.DecimalField(max_digits=None, decimal_places=2)
    meant_min = serializers.IntegerField(help_text="Working minutes less the waits.")
    ran_min = serializers.IntegerField(help_text="Less every stop that was told.")
    waited_min = serializers.IntegerField()
    efficiency_pct = serializers.DecimalField(
        max_digits=None, decimal_places=1, allow_null=True, help_text="Running: picks of those that meant_min allow."
    )
    stood = StoodSerializer(many=True, help_text="Why, the longest first.")


class LateWarpSerializer(serializers.Serializer[object]):
    line = serializers.CharField(source="line.__str__")
    off_at = serializers.DateTimeField()
    last_day = serializers.DateTimeField(help_text="By which it had to be off for its due date.")
    ready_on = serializers.DateField(help_text="When it is finished, coming off then.")
    days_late = serializers.IntegerField(help_text="After it is due.")


class RunOutSerializer(serializers.Serializer[object]):
    """A warp that weaves: what is left of it, and when it is out by what was really woven."""

    warp = serializers.IntegerField(source="warp.number")
    loom = serializers.CharField(source="loom.code")
    picks_left = serializers.IntegerField(help_text="Of those that were told.")
    picks_left_now = serializers.IntegerField(help_text="Less what was woven since, as near as can be said.")
    efficiency_pct = serializers.DecimalField(max_digits=6, decimal_places=2)
    is_woven_pct = serializers.BooleanField(help_text="The loom's own of late, not that of its record.")
    out_at = serializers.DateTimeField()
    planned_at = serializers.DateTimeField(allow_null=True, help_text="By the plan as it was put in force.")
    stands_for = serializers.CharField(source="stop.reason", allow_null=True, default=None)
    late = LateWarpSerializer(many=True)
