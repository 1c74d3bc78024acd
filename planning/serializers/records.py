from typing import Any

from rest_framework import serializers

from mill.fields import MeasureApiField
from mill.models import Mill
from mill.public_days import YEARS
from mill.refusal import Refusal
from planning.models import Beam, Closure, Loom, Machine, Reed, ShiftPattern, Worker
from planning.worktime import read_week


class WeekField(serializers.CharField):
    """Hours as a person writes them; refused in a sentence where they can't be read."""

    def to_internal_value(self, data: Any) -> str:
        text: str = super().to_internal_value(data)
        try:
            read_week(text)
        except Refusal as refusal:
            raise serializers.ValidationError(refusal.message) from refusal
        return text


class ReedSerializer(serializers.ModelSerializer[Reed]):
    width_cm = MeasureApiField(unit="cm", min_value=1, places=1)

    class Meta:
        model = Reed
        fields = ["id", "code", "as_bought", "dents_per_10cm", "width_cm", "quantity"]


class BeamSerializer(serializers.ModelSerializer[Beam]):
    width_cm = MeasureApiField(unit="cm", min_value=1, places=1, help_text="Between the flanges.")

    class Meta:
        model = Beam
        fields = ["id", "code", "width_cm", "barrel_mm", "flange_mm", "tare_kg", "is_in_use"]


class ShiftPatternSerializer(serializers.ModelSerializer[ShiftPattern]):
    hours = WeekField(max_length=200, help_text="Mon-Fri 06:00-14:00, 14:00-22:00; Sat 06:00-12:00")

    class Meta:
        model = ShiftPattern
        fields = ["id", "name", "hours"]


class ClosureSerializer(serializers.ModelSerializer[Closure]):
    """The mill, or one loom, stands still."""

    loom = serializers.SlugRelatedField(
        slug_field="code",
        queryset=Loom.objects.all(),
        required=False,
        allow_null=True,
        help_text="Without one the whole mill stands.",
    )

    class Meta:
        model = Closure
        fields = ["id", "name", "loom", "starts_at", "stops_at"]


class WorkerSerializer(serializers.ModelSerializer[Worker]):
    class Meta:
        model = Worker
        fields = ["id", "code", "name", "trade", "is_in_use"]


class MachineSerializer(serializers.ModelSerializer[Machine]):
    m_per_day = MeasureApiField(unit="m", min_value=1, places=1)

    class Meta:
        model = Machine
        fields = ["id", "name", "step", "m_per_day"]


class PublicDaysSerializer(serializers.Serializer[Any]):
    place = serializers.CharField(max_length=12, help_text="ISO 3166: GB, or GB-SCT for a part with days of its own.")
    year = serializers.IntegerField(min_value=YEARS[0], max_value=YEARS[-1])
    days = serializers.ListField(
        child=serializers.DateField(), required=False, max_length=100, help_text="Those of them; all when left out."
    )


class MillSerializer(serializers.ModelSerializer[Mill]):
    """The mill's own starting values. Who gets in, and when the store is looked over, is said elsewhere."""

    thrums_m = MeasureApiField(unit="m", min_value=0, places=2, help_text="Tie-on and thrums, once a warp.")
    header_m = MeasureApiField(unit="m", min_value=0, places=2, help_text="Header and cut mark, once a piece.")
    beam_min_m = MeasureApiField(unit="m", min_value=0, places=1, help_text="No shorter warp is worth winding.")
    warping_hours = WeekField(max_length=200, help_text="Mon-Fri 06:00-14:00")
    tuner_hours = WeekField(max_length=200, help_text="Mon-Fri 06:00-18:00")

    class Meta:
        model = Mill
        fields = [
            field.name
            for field in Mill._meta.concrete_fields
            if field.editable
            and field.name != "lies_open"
            and not field.primary_key
            and not field.name.startswith("store_")
        ]
