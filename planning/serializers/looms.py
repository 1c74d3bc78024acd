from rest_framework import serializers

from inventory.models import Delivery
from mill.fields import MeasureApiField
from mill.models import Job
from planning.models import Loom, PlanRun, ShiftPattern, Slot


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
            "first_starts_at",
            "first_stops_at",
            "late_min",
            "days_late",
            "why",
        ]


class LoomSerializer(serializers.ModelSerializer[Loom]):
    hours = serializers.CharField(source="shift_pattern.hours")
    queue = SlotSerializer(many=True, help_text="Its warps in the plan in force that are not woven out, in turn.")

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


class WrittenLoomSerializer(serializers.ModelSerializer[Loom]):
    """A loom as it is written down. Held, let go and its queue are said elsewhere."""

    reed_space_cm = MeasureApiField(unit="cm", min_value=1, places=1)
    shift_pattern = serializers.SlugRelatedField(
        slug_field="name", queryset=ShiftPattern.objects.all(), help_text="The hours it runs, by their name."
    )

    class Meta:
        model = Loom
        fields = [
            *("code", "kind", "reed_space_cm", "shafts", "is_jacquard", "weft_colours", "max_flange_mm", "ppm"),
            *("efficiency_pct", "tail_cm", "shift_pattern"),
        ]


class LoomHoldSerializer(serializers.Serializer[dict[str, str]]):
    reason = serializers.CharField(max_length=120, help_text="So that the next shift knows.")


class EfficiencySerializer(serializers.Serializer[dict[str, object]]):
    efficiency_pct = MeasureApiField(unit="pct", places=2, min_value=5, max_value=100)


class StandsSerializer(serializers.Serializer[dict[str, object]]):
    """A loom stands from now on."""

    until = serializers.DateTimeField(help_text="A guess can be changed later.")
    why = serializers.CharField(max_length=80, help_text="So that the next shift knows.")
    only_try = serializers.BooleanField(
        default=False, help_text="Nothing is written down until the plan that is found is put in force."
    )


class LateYarnSerializer(serializers.Serializer[dict[str, object]]):
    """A delivery comes on a later day."""

    delivery = serializers.SlugRelatedField(slug_field="number", queryset=Delivery.objects.all())
    expected_on = serializers.DateField()
    only_try = serializers.BooleanField(
        default=False, help_text="The day is not written down until the plan that is found is put in force."
    )


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


class LinkSerializer(serializers.Serializer[dict[str, object]]):
    """One link of what makes a warp late: yarn, warping, loom, tuner, set-up, weaving, finishing."""

    kind = serializers.CharField()
    minutes = serializers.IntegerField()
    said = serializers.CharField()


class LateSerializer(serializers.Serializer[dict[str, object]]):
    warp = serializers.CharField()
    loom = serializers.CharField()
    late_min = serializers.IntegerField(help_text="Summed over its pieces.")
    days = serializers.IntegerField(help_text="After it is due, the latest of its lines is finished.")
    chain = LinkSerializer(many=True)
    mend = serializers.ListField(child=serializers.CharField())


class WeekSerializer(serializers.Serializer[dict[str, object]]):
    """Minutes open and taken in the week from a Monday; the first week from the present minute on."""

    week = serializers.DateField()
    looms_open = serializers.IntegerField()
    looms_weaving = serializers.IntegerField()
    looms_setup = serializers.IntegerField()
    tuners_open = serializers.IntegerField()
    tuners_taken = serializers.IntegerField()
    warping_open = serializers.IntegerField()
    warping_taken = serializers.IntegerField()


class BesideSerializer(serializers.Serializer[dict[str, object]]):
    name = serializers.CharField()
    cost = CostSerializer()


class GainSerializer(serializers.Serializer[dict[str, object]]):
    weighted_tardy_min = serializers.IntegerField()
    setup_min = serializers.IntegerField()
    total = serializers.IntegerField()


class MoveSerializer(serializers.Serializer[dict[str, object]]):
    """A warp that leaves its loom or its turn, and what the plan would be worse by without that."""

    warp = serializers.CharField()
    from_loom = serializers.CharField()
    to_loom = serializers.CharField()
    said = serializers.CharField()
    gain = GainSerializer(allow_null=True)


class ExplainedSerializer(serializers.Serializer[dict[str, object]]):
    """Why the plan is as it is, said when it was made."""

    said = serializers.CharField(required=False)
    proof = serializers.CharField(required=False)
    bottleneck = serializers.CharField(source="bottleneck.said")
    late = LateSerializer(many=True)
    load = WeekSerializer(many=True)
    beside = BesideSerializer(many=True)
    moves = MoveSerializer(many=True, required=False)


class PlanSerializer(serializers.ModelSerializer[PlanRun]):
    by = serializers.CharField(source="by.username", default=None, allow_null=True, help_text="Whoever had it made.")
    decided_by = serializers.CharField(
        source="decided_by.username", default=None, allow_null=True, help_text="Whoever put it in force, or aside."
    )
    slots = SlotSerializer(many=True, read_only=True)
    left_out = LeftOutSerializer(many=True, read_only=True)
    cost = CostSerializer(read_only=True)
    explained = ExplainedSerializer(read_only=True)

    class Meta:
        model = PlanRun
        fields = [
            "id",
            "rule",
            "state",
            "made_at",
            "by",
            "in_force_from",
            "decided_at",
            "decided_by",
            "retimed_at",
            "fingerprint",
            "cost",
            "is_optimal",
            "duration_ms",
            "left_out",
            "explained",
            "slots",
        ]
        read_only_fields = fields


class PlanBriefSerializer(PlanSerializer):
    class Meta(PlanSerializer.Meta):
        fields = [name for name in PlanSerializer.Meta.fields if name not in {"slots", "left_out", "explained"}]
        read_only_fields = fields


class NewPlanSerializer(serializers.Serializer[dict[str, str]]):
    rule = serializers.ChoiceField(choices=["earliest_due_date", "setups_first", "best"], default="earliest_due_date")


class AskedMoveSerializer(serializers.Serializer[dict[str, object]]):
    warp = serializers.IntegerField(min_value=1, max_value=2_000_000_000, help_text="Its number.")
    loom = serializers.CharField(help_text="The loom's code.")
    turn = serializers.IntegerField(
        required=False,
        min_value=1,
        max_value=100_000,
        help_text="1 is woven first of what is not woven out; without one it is last.",
    )
    at = serializers.DateTimeField(required=False, help_text="Instead of a turn: where this moment falls on the loom.")
    pin = serializers.BooleanField(default=False, help_text="Keep it there once the plan is in force.")

    def validate(self, attrs: dict[str, object]) -> dict[str, object]:
        if "turn" in attrs and "at" in attrs:
            raise serializers.ValidationError({"at": ["Send a turn or a moment, not both."]})
        return attrs


class AskedSearchSerializer(serializers.Serializer[dict[str, object]]):
    seconds = serializers.ChoiceField(choices=[5, 20, 60], default=20)
    few_moves = serializers.BooleanField(
        default=False, help_text="Leave the plan in force as it is where that is fair."
    )


class SearchSerializer(serializers.ModelSerializer[Job]):
    """A search at work: ask again until its state is done; `run` is then the plan that was found."""

    run = serializers.SerializerMethodField()

    class Meta:
        model = Job
        fields = ["id", "state", "progress_pct", "progress_note", "run"]

    def get_run(self, job: Job) -> int | None:
        return (job.result or {}).get("run")
