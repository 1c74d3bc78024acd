from collections.abc import Mapping
from decimal import ROUND_HALF_UP, Decimal
from typing import Any, get_args, get_origin, get_type_hints

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from inventory.models import Yarn
from inventory.serializers import ForeseenSerializer
from mill.fields import MeasureApiField
from mill.refusal import Refusal
from mill.working import Step
from planning import cloth as cloth_room
from planning import finishing
from planning.forms.cloths import read_reed
from planning.models import Cloth, ClothSpec
from planning.serializers.effects import EffectsSerializer
from planning.serializers.reckoner import StepSerializer
from planning.ticket import ClothFigures

# Figures


def _field_of(hint: Any) -> serializers.Field[Any, Any, Any, Any]:
    """How a column of a record of figures goes out: decimals as text, so that no digit is lost on the way."""
    if get_origin(hint) is tuple:
        [item, _] = get_args(hint)
        return StepSerializer(many=True) if item is Step else serializers.ListField(child=_field_of(item))
    if hint is Decimal:
        return serializers.DecimalField(max_digits=None, decimal_places=None)
    return {int: serializers.IntegerField, str: serializers.CharField}[hint]()


# A field each of the figures of a cloth, under their own names, so that a new figure is in the API by itself.
ClothFiguresSerializer: type[serializers.Serializer[Any]] = type(
    "ClothFiguresSerializer",
    (serializers.Serializer,),
    {
        "__doc__": "What follows from a cloth in one colourway, each figure with its working.",
        **{name: _field_of(hint) for name, hint in get_type_hints(ClothFigures).items()},
    },
)


class ColourwayFiguresSerializer(serializers.Serializer[dict[str, Any]]):
    colourway = serializers.CharField()
    figures = ClothFiguresSerializer()


# What is written


class StepOfRouteSerializer(serializers.Serializer[Any]):
    """Each percentage is a share of what enters the step; less than 0 where the cloth stretches."""

    name = serializers.CharField(max_length=60)
    width_shrink_pct = MeasureApiField(unit="pct", places=2, min_value=-50, max_value=99, default=Decimal(0))
    length_shrink_pct = MeasureApiField(unit="pct", places=2, min_value=-50, max_value=99, default=Decimal(0))
    mass_loss_pct = MeasureApiField(unit="pct", places=2, min_value=0, max_value=99, default=Decimal(0))
    note = serializers.CharField(max_length=120, allow_blank=True, default="")


class ColourwaySerializer(serializers.Serializer[Any]):
    id = serializers.IntegerField(
        required=False,
        allow_null=True,
        default=None,
        help_text="Of a colourway that the cloth has; none for a new one.",
    )
    name = serializers.CharField(max_length=60)
    yarns = serializers.DictField(
        child=serializers.CharField(), help_text='The code of the yarn at each letter of the orders: {"A": "MOS"}.'
    )


@extend_schema_field({"oneOf": [{"type": "string"}, {"type": "number"}]})
class ReedApiField(serializers.Field[Any, Any, Any, Any]):
    """42.3 dents per 10 cm, "16 dents/in", "Stockport 40"."""

    def to_internal_value(self, data: Any) -> Decimal:
        try:
            return read_reed(str(data))
        except Refusal as refusal:
            raise serializers.ValidationError(refusal.message) from refusal

    def to_representation(self, value: Decimal) -> str:
        return f"{value.normalize():f}"


class SpecColumnsSerializer(serializers.Serializer[Any]):
    """A revision's own columns, each percentage on the base that its name is kept on."""

    finished_width_cm = MeasureApiField(unit="cm", places=1, min_value=1, help_text="Between the selvedges.")
    reed_dents_per_10cm = ReedApiField(help_text='A number, "16 dents/in", or as stamped: "Stockport 40".')
    ends_per_dent = serializers.IntegerField(min_value=1, max_value=50)
    selvedge_ends = serializers.IntegerField(min_value=0, max_value=10_000, default=0, help_text="Both sides together.")
    selvedge_letter = serializers.CharField(max_length=1, allow_blank=True, default="")
    whole_repeats = serializers.BooleanField(default=False)
    loom_picks_per_cm = MeasureApiField(unit="per_cm", places=3, above=0, required=False)
    warp_crimp_pct = MeasureApiField(
        unit="pct", places=2, min_value=0, max_value=99, required=False, help_text="Of cloth length."
    )
    weaving_contraction_pct = MeasureApiField(unit="pct", places=2, max_value=98, help_text="Of reed width.")
    warp_waste_pct = MeasureApiField(unit="pct", places=2, max_value=98, help_text="Of the yarn issued.")
    weft_waste_pct = MeasureApiField(unit="pct", places=2, max_value=98, help_text="Of the yarn issued.")
    size_add_on_pct = MeasureApiField(
        unit="pct", places=2, max_value=99, default=Decimal(0), help_text="Of the unsized yarn."
    )
    warp_order = serializers.CharField(help_text="A24 B2; brackets repeat: (A4 B4)x6 A4.")
    weft_order = serializers.CharField()
    threading = serializers.CharField(help_text="The shaft of each end: 1 2 3 4.")
    lifting = serializers.CharField(help_text="The shafts lifted on each pick: 1+2 2+3 3+4 1+4.")
    finishing_days = serializers.IntegerField(min_value=0, max_value=366, default=10)


class DraftSerializer(SpecColumnsSerializer):
    """What a revision is to say: the whole of it, not what differs."""

    finished_picks_per_cm = MeasureApiField(
        unit="per_cm", places=3, above=0, required=False, write_only=True, help_text="Instead of loom_picks_per_cm."
    )
    warp_take_up_pct = MeasureApiField(
        unit="pct",
        places=2,
        max_value=99,
        required=False,
        write_only=True,
        help_text="Instead of warp_crimp_pct: of yarn length.",
    )
    route = StepOfRouteSerializer(many=True)
    colourways = ColourwaySerializer(many=True, allow_empty=False)
    note = serializers.CharField(max_length=200, allow_blank=True, default="", help_text="What changed, and why.")
    based_on = serializers.IntegerField(
        required=False, allow_null=True, default=None, help_text="The revision that this was written from."
    )

    def validate_colourways(self, colourways: list[dict[str, Any]]) -> list[dict[str, Any]]:
        codes = {code for colourway in colourways for code in colourway["yarns"].values()}
        yarns = Yarn.objects.in_bulk(codes, field_name="code")
        unknown = sorted(codes - set(yarns))
        if unknown:
            raise serializers.ValidationError(f"There is no yarn {unknown[0]}. Send the code it has in the store.")
        return [
            {
                "name": colourway["name"],
                "colourway_id": colourway["id"],
                "yarns": {letter.upper(): yarns[code] for letter, code in colourway["yarns"].items()},
            }
            for colourway in colourways
        ]

    def validate_route(self, steps: list[dict[str, Any]]) -> list[cloth_room.RouteStep]:
        try:
            return [cloth_room.RouteStep(**step) for step in steps]
        except Refusal as refusal:
            raise serializers.ValidationError(refusal.message) from refusal

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        for kept, other in (("loom_picks_per_cm", "finished_picks_per_cm"), ("warp_crimp_pct", "warp_take_up_pct")):
            if (kept in attrs) == (other in attrs):
                raise serializers.ValidationError({kept: f"Send either {kept} or {other}."})
        if (picks := attrs.pop("finished_picks_per_cm", None)) is not None:
            shrink_pct = finishing.route_shrink_pct(step.length_shrink_pct for step in attrs["route"])
            loom = cloth_room.sett_before(threads_per_cm=picks, shrink_pct=shrink_pct)
            attrs["loom_picks_per_cm"] = loom.quantize(Decimal("0.001"), ROUND_HALF_UP)
        if (take_up := attrs.pop("warp_take_up_pct", None)) is not None:
            crimp = cloth_room.crimp_pct_from_take_up(take_up)
            attrs["warp_crimp_pct"] = crimp.quantize(Decimal("0.01"), ROUND_HALF_UP)
        return attrs

    @property
    def said(self) -> dict[str, Any]:
        """What was sent, by the names of a draft: columns, route, colourways."""
        attrs: Mapping[str, Any] = self.validated_data
        return {
            "columns": {str(name): attrs[str(name)] for name in SpecColumnsSerializer().fields},
            "route": attrs["route"],
            "colourways": attrs["colourways"],
        }


class CorrectionSerializer(DraftSerializer):
    """What a revision is to say instead: the whole of it."""

    # It is the revision of the address that is corrected.
    based_on = None  # type: ignore[assignment]


class ClothHeadSerializer(serializers.Serializer[Any]):
    code = serializers.CharField(max_length=20)
    name = serializers.CharField(max_length=80)
    is_in_use = serializers.BooleanField(help_text="False puts it away: it can't be ordered any more.")


class ColourwayRowSerializer(serializers.Serializer[Any]):
    id = serializers.IntegerField(read_only=True)
    name = serializers.CharField(max_length=60)


class NewColourwaySerializer(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=60)
    yarns = serializers.DictField(
        child=serializers.SlugRelatedField(slug_field="code", queryset=Yarn.objects.all()),
        help_text='The code of the yarn at each letter of the latest revision: {"A": "MOS"}.',
    )

    def validate_yarns(self, yarns: dict[str, Yarn]) -> dict[str, Yarn]:
        return {letter.upper(): yarn for letter, yarn in yarns.items()}


class NewClothSerializer(DraftSerializer):
    code = serializers.CharField(max_length=20)
    name = serializers.CharField(max_length=80)


# What is written already


class ClothSerializer(serializers.ModelSerializer[Cloth]):
    """`revision` is the latest. Rows come from with_figures()."""

    revision = serializers.SerializerMethodField()
    colourways = serializers.SlugRelatedField[Any](slug_field="name", many=True, read_only=True)
    open_lines = serializers.IntegerField()

    class Meta:
        model = Cloth
        fields = ["code", "name", "is_in_use", "revision", "colourways", "open_lines"]
        read_only_fields = fields

    def get_revision(self, cloth: Cloth) -> int | None:
        spec = cloth.current_spec
        return spec.revision if spec else None


class RevisionSerializer(SpecColumnsSerializer):
    """A revision as it was written. Rows come from with_yarns()."""

    cloth = serializers.CharField(source="cloth.code")
    revision = serializers.IntegerField()
    note = serializers.CharField()
    made_at = serializers.DateTimeField()
    by = serializers.CharField(allow_null=True)
    route = StepOfRouteSerializer(source="route_steps", many=True)
    colourways = serializers.SerializerMethodField()

    @extend_schema_field(ColourwaySerializer(many=True))
    def get_colourways(self, spec: ClothSpec) -> list[dict[str, Any]]:
        found: dict[int, dict[str, Any]] = {}
        for entry in spec.colourway_yarns.all():
            colourway = found.setdefault(
                entry.colourway_id, {"id": entry.colourway_id, "name": entry.colourway.name, "yarns": {}}
            )
            colourway["yarns"][entry.letter] = entry.yarn.code
        return list(found.values())


class WorkedRevisionSerializer(RevisionSerializer):
    """With what follows from it in each of its colourways, and what it says otherwise than the one before."""

    figures = ColourwayFiguresSerializer(many=True)
    differences = serializers.ListField(child=serializers.CharField())


# What a draft would change


class WarpBriefSerializer(serializers.Serializer[Any]):
    ends = serializers.IntegerField()
    warp_length_m = serializers.DecimalField(max_digits=None, decimal_places=None)
    picks = serializers.IntegerField()
    weaving_min = serializers.IntegerField(allow_null=True)


class WarpChangeSerializer(serializers.Serializer[Any]):
    warp = serializers.IntegerField(source="warp.number")
    state = serializers.CharField(source="warp.state")
    before = WarpBriefSerializer(allow_null=True)
    after = WarpBriefSerializer(allow_null=True)
    trouble = serializers.CharField(help_text="Why it could not be woven then; empty when it could.")
    planned_stop = serializers.DateTimeField(allow_null=True)


class YarnChangeSerializer(serializers.Serializer[Any]):
    code = serializers.CharField()
    name = serializers.CharField()
    before_g = serializers.IntegerField()
    after_g = serializers.IntegerField()
    more_g = serializers.IntegerField()


class ConsequencesSerializer(serializers.Serializer[Any]):
    """What would follow from writing the draft as the next revision. Nothing is written."""

    revision = serializers.IntegerField()
    differences = serializers.ListField(child=serializers.CharField())
    warps = WarpChangeSerializer(many=True)
    staying = serializers.SerializerMethodField(help_text="Warps that are woven as planned: their yarn is drawn.")
    yarns = YarnChangeSerializer(many=True)
    tickets = serializers.SerializerMethodField(help_text="That would be overtaken.")
    weaving_min_before = serializers.IntegerField()
    weaving_min_after = serializers.IntegerField()
    picks_before = serializers.IntegerField()
    picks_after = serializers.IntegerField()
    foreseen = ForeseenSerializer(help_text="What it does to the draw-down of each yarn, and to what is held.")

    def get_staying(self, consequences: Any) -> list[int]:
        return [warp.number for warp in consequences.staying]

    def get_tickets(self, consequences: Any) -> list[int]:
        return [ticket.number for ticket in consequences.tickets]


class PreviewSerializer(serializers.Serializer[Any]):
    figures = ColourwayFiguresSerializer(many=True)
    consequences = ConsequencesSerializer(allow_null=True, help_text="Null for a cloth that is not written yet.")
    effects = EffectsSerializer(
        allow_null=True, help_text="On days, hours and tickets; null without a plan in force, and for a new cloth."
    )
    effects_refused = serializers.CharField(default="", help_text="Why they can't be told: a warp no longer fits.")
