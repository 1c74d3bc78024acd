from rest_framework import serializers

from mill.fields import MeasureApiField
from planning.models import BatchPiece, Dispatch, DispatchPiece, FinishingBatch, Piece, Worker


class PieceSerializer(serializers.ModelSerializer[Piece]):
    cloth = serializers.CharField(source="spec.cloth.code")
    revision = serializers.IntegerField(source="spec.revision")
    warp = serializers.IntegerField(source="warp.number", allow_null=True, default=None)
    line = serializers.CharField(source="line.__str__", allow_null=True, default=None)
    stands = serializers.CharField(help_text="Where it is between the loom and dispatch, in a word.")
    verdict = serializers.ChoiceField(choices=Piece.VERDICTS, allow_blank=True, help_text="Empty until it is judged.")
    woven_by = serializers.CharField(source="woven_by.code", allow_null=True, default=None)
    points_per_100_m2 = serializers.DecimalField(
        max_digits=None, decimal_places=2, allow_null=True, help_text="Four-point grading; none until measured."
    )
    points_limit_per_100_m2 = serializers.DecimalField(
        max_digits=None, decimal_places=2, help_text="The customer's, else the mill's own."
    )

    class Meta:
        model = Piece
        fields = [
            "number",
            "cloth",
            "revision",
            "warp",
            "cut",
            "line",
            "state",
            "stands",
            "verdict",
            "woven_on",
            "woven_by",
            "picks",
            "grey_length_m",
            "grey_width_cm",
            "perched_on",
            "mending_min",
            "finished_on",
            "finished_length_m",
            "finished_width_cm",
            "mass_g",
            "points",
            "points_per_100_m2",
            "points_limit_per_100_m2",
            "round",
            "note",
        ]
        read_only_fields = fields


class MeasuresSerializer(serializers.Serializer[dict[str, object]]):
    """A piece measured finished and relaxed."""

    length_m = MeasureApiField(unit="m", above=0, places=2)
    width_cm = MeasureApiField(unit="cm", above=0, places=1)
    mass_g = MeasureApiField(unit="g", min_value=1, max_value=2_000_000, places=0, required=False, default=None)
    worker = serializers.SlugRelatedField(
        slug_field="code", queryset=Worker.objects.filter(is_in_use=True), required=False, default=None
    )


class BatchPieceSerializer(serializers.ModelSerializer[BatchPiece]):
    piece = serializers.CharField(source="piece.number")

    class Meta:
        model = BatchPiece
        fields = ["piece", "position", "round", "step_position", "is_out", "width_cm", "length_m"]


class BatchSerializer(serializers.ModelSerializer[FinishingBatch]):
    pieces = BatchPieceSerializer(many=True, read_only=True, help_text="As they are sewn, from the front.")

    class Meta:
        model = FinishingBatch
        fields = ["number", "step", "in_at", "out_at", "note", "pieces"]
        read_only_fields = fields


class DispatchPieceSerializer(serializers.ModelSerializer[DispatchPiece]):
    piece = serializers.CharField(source="piece.number")
    line = serializers.CharField(source="line.__str__")

    class Meta:
        model = DispatchPiece
        fields = ["piece", "line", "length_m", "width_cm", "mass_g"]


class DispatchSerializer(serializers.ModelSerializer[Dispatch]):
    customer = serializers.CharField(source="customer.code")
    pieces = DispatchPieceSerializer(many=True, read_only=True)

    class Meta:
        model = Dispatch
        fields = ["number", "customer", "sent_on", "note", "taken_back_at", "taken_back_why", "pieces"]
        read_only_fields = fields
