from dataclasses import fields, is_dataclass
from decimal import Decimal
from types import UnionType
from typing import Any, get_args, get_origin, get_type_hints

from rest_framework import serializers

from inventory.models import YarnLot
from mill.fields import MeasureApiField
from mill.working import Step
from planning.models import Loom, OrderLine, Ruling, RulingPart, Warp, WarpPart, WarpYarn
from planning.serializers.lot_shares import ShortageSerializer
from planning.serializers.reckoner import StepSerializer
from planning.ticket import Figures

# Figures: a field each, under their own names, so that a new figure is in the API by itself.


def _field_of(hint: Any) -> serializers.Field[Any, Any, Any, Any]:
    """How a column of a record goes out: decimals as text, so that no digit is lost on the way."""
    if get_origin(hint) is tuple:
        item = get_args(hint)[0]
        if item is Step:
            return StepSerializer(many=True)
        return _record(item)(many=True) if is_dataclass(item) else serializers.ListField(child=_field_of(item))
    if is_dataclass(hint):
        return _record(hint)()
    if get_origin(hint) is UnionType:
        (known,) = [one for one in get_args(hint) if one is not type(None)]
        field = _field_of(known)
        field.allow_null = True
        return field
    if hint is Decimal:
        return serializers.DecimalField(max_digits=None, decimal_places=None)
    return {int: serializers.IntegerField, str: serializers.CharField}[hint]()


_KNOWN: dict[Any, type[serializers.Serializer[Any]]] = {}


def _record(record: Any) -> type[serializers.Serializer[Any]]:
    """A serializer of a record, made once."""
    if record not in _KNOWN:
        hints = get_type_hints(record)
        columns = {column.name: _field_of(hints[column.name]) for column in fields(record)}
        first_line = (record.__doc__ or "").split("\n")[0]
        _KNOWN[record] = type(
            f"Warp{record.__name__}Serializer", (serializers.Serializer,), {"__doc__": first_line, **columns}
        )
    return _KNOWN[record]


WarpFiguresSerializer = _record(Figures)


# Warps


class WarpPartSerializer(serializers.ModelSerializer[WarpPart]):
    line = serializers.IntegerField(source="line_id", help_text="The order line's id.")
    order_line = serializers.CharField(source="line.__str__")
    customer = serializers.CharField(source="line.order.customer.code")
    cloth = serializers.CharField(source="spec.cloth.code")
    revision = serializers.IntegerField(source="spec.revision")
    colourway = serializers.CharField(source="line.colourway.name")
    due_on = serializers.DateField(source="line.due_on")

    class Meta:
        model = WarpPart
        fields = ["id", "line", "order_line", "customer", "cloth", "revision", "colourway", "pieces", "due_on"]


class WarpSerializer(serializers.ModelSerializer[Warp]):
    beam = serializers.CharField(source="beam.code", default=None, allow_null=True)
    loom = serializers.CharField(source="loom.code", default=None, allow_null=True, help_text="Where it hangs or hung.")
    planned_loom = serializers.CharField(allow_null=True, help_text="By the plan in force.")
    weaving_starts_at = serializers.DateTimeField(source="starts_at", allow_null=True)
    weaving_stops_at = serializers.DateTimeField(source="stops_at", allow_null=True)
    late_min = serializers.IntegerField(allow_null=True, help_text="Summed over its pieces.")
    days_late = serializers.IntegerField(
        allow_null=True, help_text="After it is due, the latest of its lines is finished."
    )
    ends = serializers.IntegerField(source="worked.ends", default=None)
    warp_length_m = serializers.DecimalField(None, None, source="worked.warp_length_m", default=None)
    picks = serializers.IntegerField(source="worked.picks", default=None)
    warp_issue_g = serializers.IntegerField(source="worked.warp_g", default=None)
    weft_issue_g = serializers.IntegerField(source="worked.weft_g", default=None)
    is_being_worked_out = serializers.BooleanField(source="worked.is_stale", default=True)
    trouble = serializers.CharField(source="worked.trouble", default="")
    parts = WarpPartSerializer(many=True)

    class Meta:
        model = Warp
        fields = [
            "number",
            "state",
            "is_locked",
            "beam",
            "loom",
            "planned_loom",
            "weaving_starts_at",
            "weaving_stops_at",
            "late_min",
            "days_late",
            "ends",
            "warp_length_m",
            "picks",
            "picks_woven",
            "warp_issue_g",
            "weft_issue_g",
            "is_being_worked_out",
            "trouble",
            "woven_out_on",
            "note",
            "parts",
        ]
        read_only_fields = fields


class HeldLotSerializer(serializers.Serializer[Any]):
    lot = serializers.CharField(source="reservation.lot.label")
    dye_lot = serializers.CharField(source="reservation.lot.dye_lot")
    drawn_g = serializers.IntegerField()


class DyeLotSerializer(serializers.Serializer[Any]):
    dye_lot = serializers.CharField()
    free_g = serializers.IntegerField()
    serves = serializers.BooleanField()
    is_chosen = serializers.BooleanField()
    consequence = serializers.CharField()


class WarpYarnSerializer(serializers.Serializer[Any]):
    """A yarn of a warp in one use: what it takes, what is held and drawn, where the rest could come from."""

    use = serializers.CharField(source="need.use")
    yarn = serializers.CharField(source="need.yarn.code")
    net_g = serializers.IntegerField(source="need.net_g")
    issue_g = serializers.IntegerField(source="need.issue_g")
    held_g = serializers.IntegerField()
    drawn_g = serializers.IntegerField()
    left_g = serializers.IntegerField()
    lots = HeldLotSerializer(many=True, source="holds")
    why = serializers.CharField(source="choice.why", default="", help_text="Why these lots, or what is short.")
    dye_lots = DyeLotSerializer(many=True)
    shortage = ShortageSerializer(allow_null=True, help_text="What would end it, where nothing free covers the rest.")


class WorkedWarpSerializer(WarpSerializer):
    """With its figures, each with its working, and its yarn."""

    figures = WarpFiguresSerializer(allow_null=True, read_only=True)
    yarns = WarpYarnSerializer(many=True, read_only=True, source="yarn_states")
    seen = serializers.CharField(
        read_only=True,
        help_text="Its parts as they stand: sent along with a change of them, that is refused if they differ by now.",
    )

    class Meta(WarpSerializer.Meta):
        fields = [*WarpSerializer.Meta.fields, "seen", "figures", "yarns"]
        read_only_fields = fields


# What is asked for


class SeenSerializer(serializers.Serializer[Any]):
    """A change of what is on a warp."""

    seen = serializers.CharField(
        max_length=40, required=False, allow_null=True, default=None, help_text="As the warp had it when you looked."
    )


def part_field() -> serializers.IntegerField:
    return serializers.IntegerField(min_value=1, max_value=2_000_000_000, help_text="The id of one of its parts.")


class MovePartSerializer(SeenSerializer):
    part = part_field()
    where = serializers.ChoiceField(choices=["earlier", "later"])


class TakeOffSerializer(SeenSerializer):
    part = part_field()


class PutOnSerializer(SeenSerializer):
    line = serializers.PrimaryKeyRelatedField(queryset=OrderLine.objects.all(), help_text="The order line's id.")
    pieces = serializers.IntegerField(min_value=1, max_value=2_000_000_000)


class LockSerializer(serializers.Serializer[Any]):
    is_locked = serializers.BooleanField()


class NoteSerializer(serializers.Serializer[Any]):
    note = serializers.CharField(max_length=200, allow_blank=True, help_text="For its ticket.")


class PinSerializer(serializers.Serializer[Any]):
    loom = serializers.SlugRelatedField(
        slug_field="code", queryset=Loom.objects.all(), allow_null=True, help_text="null takes the pin out."
    )
    starts_at = serializers.DateTimeField(
        required=False, allow_null=True, default=None, help_text="Then and not before: the loom waits for it."
    )


class HoldLotSerializer(serializers.Serializer[Any]):
    use = serializers.ChoiceField(choices=WarpYarn.USES)
    lot = serializers.SlugRelatedField(slug_field="label", queryset=YarnLot.objects.all())
    grams = MeasureApiField(unit="g", places=0, above=0, max_value=1_000_000_000)


class LetGoSerializer(serializers.Serializer[Any]):
    use = serializers.ChoiceField(
        choices=WarpYarn.USES, required=False, allow_null=True, default=None, help_text="Both where neither is said."
    )


class SplitSerializer(SeenSerializer):
    after = serializers.IntegerField(
        min_value=1, max_value=2_000_000_000, help_text="Pieces that stay, in the order of weaving."
    )


class JoinSerializer(SeenSerializer):
    other = serializers.IntegerField(
        min_value=1, max_value=2_000_000_000, help_text="The number of the warp whose pieces come to this one."
    )


class BeamChoiceSerializer(serializers.Serializer[Any]):
    beam = serializers.CharField(allow_null=True, max_length=20, help_text="null gives the beam back.")


class ChosenDyeLotSerializer(serializers.Serializer[Any]):
    use = serializers.ChoiceField(choices=["warp", "weft"])
    yarn = serializers.CharField(max_length=30)
    dye_lot = serializers.CharField(max_length=40)


class HoldSerializer(serializers.Serializer[Any]):
    chosen = ChosenDyeLotSerializer(many=True, default=list, help_text="Dye lots instead of the ones proposed.")


class HeldSerializer(serializers.Serializer[Any]):
    short = serializers.ListField(child=serializers.CharField(), help_text="A sentence for each need that stays short.")
    yarns = WarpYarnSerializer(many=True)


STEPS = ["draw yarn", "draw weft", "wind", "gait", "begin weaving", "weave out", "back"]


class StepOfWarpSerializer(serializers.Serializer[Any]):
    """A step on, or with `back` the last one taken back. Told twice, it counts once."""

    step = serializers.ChoiceField(choices=STEPS)
    loom = serializers.CharField(max_length=20, default="", allow_blank=True, help_text="For gait.")
    reason = serializers.CharField(max_length=100, default="", allow_blank=True, help_text="For back.")
    seen_state = serializers.ChoiceField(
        choices=Warp.STATES, required=False, help_text="For back: the state that is taken back, so that it counts once."
    )


# Proposals


class ProposedPartSerializer(serializers.Serializer[Any]):
    line = serializers.IntegerField(source="key", help_text="The order line's id.")
    pieces = serializers.IntegerField()


class SavingSerializer(serializers.Serializer[Any]):
    warps = serializers.IntegerField()
    thrums_m = serializers.DecimalField(None, None)
    thrums_g = serializers.IntegerField()
    setup_min = serializers.IntegerField()
    cost_min = serializers.DecimalField(None, None)


class ProposalSerializer(serializers.Serializer[Any]):
    """One warp, and what it saves against winding each of its parts apart."""

    parts = ProposedPartSerializer(many=True)
    pieces = serializers.IntegerField()
    warp_m = serializers.DecimalField(None, None)
    thrums_m = serializers.DecimalField(None, None)
    thrums_g = serializers.IntegerField()
    headers_m = serializers.DecimalField(None, None)
    short_m = serializers.DecimalField(None, None)
    late_days = serializers.IntegerField()
    setup_min = serializers.IntegerField()
    cost_min = serializers.DecimalField(None, None)
    saves = SavingSerializer()


class WaitingLineSerializer(serializers.Serializer[Any]):
    line = serializers.IntegerField(source="line.pk")
    order_line = serializers.CharField(source="line.__str__")
    pieces = serializers.IntegerField()
    warp_per_piece_m = serializers.DecimalField(None, None, source="piece_m")
    due_on = serializers.DateField(source="line.due_on")
    off_by = serializers.DateField()


class RefusedLineSerializer(serializers.Serializer[Any]):
    line = serializers.IntegerField(source="0.pk")
    why = serializers.CharField(source="1")


class GroupSerializer(serializers.Serializer[Any]):
    """Lines of one warp specification, and the warps proposed for them."""

    warp_key = serializers.CharField(allow_blank=True)
    cloths = serializers.ListField(child=serializers.CharField())
    lines = WaitingLineSerializer(many=True)
    longest_m = serializers.DecimalField(None, None, source="rules.max_warp_m", default=None)
    longest_why = serializers.CharField(allow_blank=True)
    warps = ProposalSerializer(many=True, source="proposals", help_text="The locked ones that hold come first.")
    saves = SavingSerializer(default=None, help_text="Against one warp a line.")
    working = StepSerializer(many=True, help_text="How the warps’ lengths, and what is saved, came about.")
    is_proven = serializers.BooleanField(source="combination.is_proven", default=False)
    refused = RefusedLineSerializer(many=True)
    trouble = serializers.CharField(allow_blank=True)


class RulingPartSerializer(serializers.ModelSerializer[RulingPart]):
    line = serializers.PrimaryKeyRelatedField(queryset=OrderLine.objects.all(), help_text="The order line's id.")

    class Meta:
        model = RulingPart
        fields = ["line", "pieces"]


class RulingSerializer(serializers.ModelSerializer[Ruling]):
    """A planner's word on a proposed warp: its pieces kept together, or its lines kept apart."""

    parts = RulingPartSerializer(many=True, allow_empty=False)
    by = serializers.CharField(source="by.username", default=None, read_only=True)

    class Meta:
        model = Ruling
        fields = ["id", "kind", "parts", "by", "made_at"]
        read_only_fields = ["id", "made_at"]


class WantedPartSerializer(serializers.Serializer[Any]):
    line = serializers.IntegerField(min_value=1, max_value=2_000_000_000)
    pieces = serializers.IntegerField(min_value=1, max_value=2_000_000_000)


class AcceptSerializer(serializers.Serializer[Any]):
    warps = serializers.ListField(
        child=WantedPartSerializer(many=True, allow_empty=False),
        allow_empty=False,
        max_length=200,
        help_text="Each a list of parts, in the order of weaving.",
    )
    includes_planned = serializers.BooleanField(
        default=False, help_text="Planned warps that these lines are on are taken apart first."
    )
