from rest_framework import serializers

from planning.models import Loom, PlanRun, Slot


class SlotSerializer(serializers.ModelSerializer[Slot]):
    warp = serializers.IntegerField(source="warp.number")
    loom = serializers.CharField(source="loom.code")

    class Meta:
        model = Slot
        fields = [
            "warp",
            "loom",
            "position",
            "setup",
            "setup_min",
            "winding_on",
            "setup_starts_at",
            "setup_stops_at",
            "weaving_starts_at",
            "weaving_stops_at",
            "late_min",
            "why",
        ]


class LoomSerializer(serializers.ModelSerializer[Loom]):
    hours = serializers.CharField(source="shift_pattern.hours")
    queue = SlotSerializer(many=True, help_text="The loom's slots in the plan in force, in the order of weaving.")

    class Meta:
        model = Loom
        fields = [
            "code",
            "kind",
            "reed_space_cm",
            "shafts",
            "is_jacquard",
            "weft_colours",
            "max_flange_mm",
            "ppm",
            "efficiency_pct",
            "tail_cm",
            "hours",
            "is_held",
            "held_reason",
            "queue",
        ]


class LeftOutSerializer(serializers.Serializer[dict[str, object]]):
    warp = serializers.IntegerField()
    why = serializers.CharField()


class CostSerializer(serializers.Serializer[dict[str, int]]):
    """What a plan costs, in its parts; each in minutes times its dearness, and what it was made of."""

    total = serializers.IntegerField()
    tardiness = serializers.IntegerField()
    setup = serializers.IntegerField()
    makespan = serializers.IntegerField()
    weighted_tardy_min = serializers.IntegerField()
    setup_min = serializers.IntegerField()
    tardy_pieces = serializers.IntegerField()


class PlanSerializer(serializers.ModelSerializer[PlanRun]):
    slots = SlotSerializer(many=True, read_only=True)
    left_out = LeftOutSerializer(many=True, read_only=True)
    cost = CostSerializer(read_only=True)

    class Meta:
        model = PlanRun
        fields = [
            "id",
            "rule",
            "state",
            "made_at",
            "in_force_from",
            "fingerprint",
            "cost",
            "is_optimal",
            "duration_ms",
            "left_out",
            "slots",
        ]
        read_only_fields = fields


class PlanBriefSerializer(PlanSerializer):
    class Meta(PlanSerializer.Meta):
        fields = [name for name in PlanSerializer.Meta.fields if name not in {"slots", "left_out"}]
        read_only_fields = fields


class NewPlanSerializer(serializers.Serializer[dict[str, str]]):
    rule = serializers.ChoiceField(choices=["earliest_due_date", "setups_first", "best"], default="earliest_due_date")
