from decimal import Decimal
from typing import Any

from rest_framework import serializers

from mill.fields import MeasureApiField
from planning.models import BatchPiece, Customer, Dispatch, DispatchPiece, FinishingBatch, OrderLine, Piece, Worker
from planning.piece import Fault


class PieceSerializer(serializers.ModelSerializer[Piece]):
    cloth = serializers.CharField(source="spec.cloth.code")
    revision = serializers.IntegerField(source="spec.revision")
    warp = serializers.IntegerField(source="warp.number", allow_null=True, default=None)
    line = serializers.SerializerMethodField(help_text="The order line that it is put to.")
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

    def get_line(self, piece: Piece) -> str | None:
        return str(piece.line) if piece.line else None


def worker_field() -> Any:
    return serializers.SlugRelatedField(
        slug_field="code",
        queryset=Worker.objects.filter(is_in_use=True),
        required=False,
        allow_null=True,
        default=None,
        help_text="Who did it, by the short code of the floor.",
    )


def minutes_field(**kwargs: Any) -> MeasureApiField:
    return MeasureApiField(unit="min", places=0, max_value=100_000, **kwargs)


class MeasuresSerializer(serializers.Serializer[dict[str, object]]):
    """A piece measured finished and relaxed."""

    length_m = MeasureApiField(unit="m", above=0, places=2, max_value=Decimal("99999.99"))
    width_cm = MeasureApiField(unit="cm", above=0, places=1, max_value=Decimal("99999.9"))
    mass_g = MeasureApiField(unit="g", min_value=1, max_value=2_000_000, places=0, required=False, default=None)
    worker = worker_field()


class PerchedSerializer(serializers.Serializer[Any]):
    """What the grey perch found: the piece relaxed, and so many minutes asked of the menders."""

    length_m = MeasureApiField(unit="m", above=0, places=2, max_value=Decimal("99999.99"))
    width_cm = MeasureApiField(unit="cm", above=0, places=1, max_value=Decimal("99999.9"))
    mending_min = minutes_field(min_value=0, default=0)
    worker = worker_field()
    note = serializers.CharField(max_length=200, allow_blank=True, default="")


class MendedSerializer(serializers.Serializer[Any]):
    """Minutes that a mender spent. The same key counts once."""

    key = serializers.CharField(max_length=64, help_text="Of your own choosing, new for each spell of mending.")
    minutes = minutes_field(min_value=1)
    is_mended = serializers.BooleanField(default=False, help_text="Nothing is left to mend.")
    worker = worker_field()


class FaultSerializer(serializers.Serializer[Any]):
    at_m = MeasureApiField(unit="m", min_value=0, places=2, max_value=Decimal("99999.99"), help_text="Where it begins.")
    length_mm = MeasureApiField(
        unit="mm", min_value=1, places=1, max_value=Decimal("999999.9"), help_text="In its longest direction."
    )
    is_hole = serializers.BooleanField(default=False)
    name = serializers.CharField(max_length=60, allow_blank=True, default="")

    def to_internal_value(self, data: Any) -> Any:
        said = super().to_internal_value(data)
        return Fault(**said)


class FaultsSerializer(serializers.Serializer[Any]):
    """All faults of the piece, in place of those written before."""

    faults = serializers.ListField(child=FaultSerializer(), max_length=1000)
    worker = worker_field()


class FinalPerchSerializer(MeasuresSerializer):
    """Measured, graded and judged in one go: all of it or nothing."""

    faults = serializers.ListField(child=FaultSerializer(), default=list, max_length=1000)
    verdict = serializers.ChoiceField(choices=[Piece.PASS, Piece.SECOND], default=Piece.PASS)
    why = serializers.CharField(
        max_length=200, allow_blank=True, default="", help_text="For a second, or more points than the limit."
    )


class JudgedSerializer(serializers.Serializer[Any]):
    verdict = serializers.ChoiceField(choices=Piece.VERDICTS)
    why = serializers.CharField(
        max_length=200, allow_blank=True, default="", help_text="Where it does not pass, or has more points."
    )
    mending_min = minutes_field(min_value=0, default=0, help_text="For mend again.")
    from_step = serializers.IntegerField(
        min_value=1, max_value=1000, default=1, help_text="For re-finish: the step of its route to begin again from."
    )
    worker = worker_field()


class AllocatedSerializer(serializers.Serializer[Any]):
    line = serializers.PrimaryKeyRelatedField(
        queryset=OrderLine.objects.all(), allow_null=True, help_text="The order line's id; null puts it to none."
    )
    why = serializers.CharField(max_length=200, allow_blank=True, default="")


class CorrectedLengthSerializer(serializers.Serializer[Any]):
    grey_length_m = MeasureApiField(unit="m", above=0, places=2, max_value=Decimal("99999.99"))
    why = serializers.CharField(max_length=200)


def pieces_field(**kwargs: Any) -> Any:
    return serializers.SlugRelatedField(
        slug_field="number",
        queryset=Piece.objects.select_related("line"),
        many=True,
        allow_empty=False,
        **kwargs,
    )


class NewBatchSerializer(serializers.Serializer[Any]):
    """Pieces for a step, sewn end to end in this order. Sent again by its key, it is the same batch."""

    key = serializers.CharField(max_length=64)
    step = serializers.CharField(max_length=60, help_text="As the route of each of them has it next.")
    pieces = pieces_field(help_text="Their numbers.")
    worker = worker_field()
    note = serializers.CharField(max_length=200, allow_blank=True, default="")


class SizeSerializer(serializers.Serializer[Any]):
    """A piece as it came out of a step, as far as somebody measured it."""

    piece = serializers.CharField(max_length=20)
    width_cm = MeasureApiField(
        unit="cm", above=0, places=1, max_value=Decimal("99999.9"), required=False, allow_null=True, default=None
    )
    length_m = MeasureApiField(
        unit="m", above=0, places=2, max_value=Decimal("99999.99"), required=False, allow_null=True, default=None
    )


class BatchOutSerializer(serializers.Serializer[Any]):
    sizes = SizeSerializer(many=True, default=list)
    worker = worker_field()


class WhySerializer(serializers.Serializer[Any]):
    why = serializers.CharField(max_length=200)


class NewDispatchSerializer(serializers.Serializer[Any]):
    """Ready pieces of a customer that leave together. Sent again by its key, it is the same dispatch."""

    key = serializers.CharField(max_length=64)
    customer = serializers.SlugRelatedField(slug_field="code", queryset=Customer.objects.all())
    pieces = pieces_field(help_text="Their numbers.")
    sent_on = serializers.DateField()
    note = serializers.CharField(max_length=200, allow_blank=True, default="", help_text="For the customer.")


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
