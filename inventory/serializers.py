from decimal import Decimal
from typing import Any, ClassVar

from rest_framework import serializers

from inventory.count_sheet import as_stored
from inventory.models import (
    Claim,
    ClaimLot,
    Delivery,
    Fibre,
    Inspection,
    Movement,
    Place,
    Reservation,
    Supplier,
    Trap,
    Treatment,
    Yarn,
    YarnLot,
    YarnOutlook,
)
from inventory.store_care import SPECIES
from inventory.yarn import ASTM_D1909, EU_1007, read_count
from mill.fields import MeasureApiField
from mill.models import Mill
from mill.refusal import Refusal

GRAMS_MAX = 1_000_000_000


class YarnShareSerializer(serializers.Serializer[Any]):
    fibre = serializers.CharField(source="fibre.name")
    share_pct = serializers.DecimalField(max_digits=5, decimal_places=2)


class YarnSerializer(serializers.ModelSerializer[Yarn]):
    supplier = serializers.CharField(source="supplier.code", default=None, allow_null=True, read_only=True)
    fibres = YarnShareSerializer(source="shares", many=True, read_only=True)

    class Meta:
        model = Yarn
        fields = [
            "id",
            "code",
            "name",
            "colour",
            "count_as_bought",
            "count_tex",
            "spinning",
            "fibres",
            "regain_pct",
            "regain_authority",
            "supplier",
            "min_order_g",
            "is_in_use",
        ]
        read_only_fields = fields


class WrittenShareSerializer(serializers.Serializer[Any]):
    fibre = serializers.SlugRelatedField(slug_field="name", queryset=Fibre.objects.all())
    share_pct = serializers.DecimalField(
        max_digits=5, decimal_places=2, min_value=Decimal("0.01"), max_value=Decimal(100), help_text="Of the mass."
    )


class WrittenYarnSerializer(serializers.ModelSerializer[Yarn]):
    """A yarn as it is written down; its tex is read from the count as bought."""

    count_as_bought = serializers.CharField(max_length=40, help_text="16 ysw, 2/48 nw, Nm 2/28, R 60/2 tex.")
    supplier = serializers.SlugRelatedField(
        slug_field="code", queryset=Supplier.objects.all(), required=False, allow_null=True
    )
    fibres = WrittenShareSerializer(many=True, required=False, help_text="Together 100 %, or none.")

    class Meta:
        model = Yarn
        fields = [
            *("code", "name", "colour", "count_as_bought", "spinning", "fibres", "regain_pct", "regain_authority"),
            *("supplier", "min_order_g", "is_in_use"),
        ]

    def validate_count_as_bought(self, text: str) -> str:
        try:
            count = read_count(text)
        except Refusal as refusal:
            raise serializers.ValidationError(refusal.message) from refusal
        self.count_tex = as_stored(count.count_tex)
        if self.count_tex < 1:
            raise serializers.ValidationError(
                f"{text} is {self.count_tex} tex; a yarn has 1 tex or more. Look at the count."
            )
        return " ".join(count.text.split()) or count.notation

    def validate_fibres(self, rows: list[dict[str, Any]]) -> dict[Fibre, Decimal]:
        shares = {row["fibre"]: row["share_pct"] for row in rows}
        if len(shares) < len(rows):
            raise serializers.ValidationError("A fibre stands twice. Write its shares together.")
        return shares

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        return {**attrs, "count_tex": self.count_tex} if "count_as_bought" in attrs else attrs


class OutlookDaySerializer(serializers.Serializer[dict[str, Any]]):
    day = serializers.DateField()
    in_g = serializers.IntegerField()
    out_g = serializers.IntegerField()
    balance_g = serializers.IntegerField(help_text="At the end of the day; below 0 it is wanting.")
    labels = serializers.ListField(child=serializers.CharField())


class OutlookSerializer(serializers.ModelSerializer[YarnOutlook]):
    """What a yarn will have. `is_being_worked_out` while something has changed that these figures don't know yet."""

    yarn = serializers.CharField(source="yarn.code", read_only=True)
    days = OutlookDaySerializer(many=True, read_only=True)
    is_being_worked_out = serializers.BooleanField(read_only=True)

    class Meta:
        model = YarnOutlook
        fields = [
            "yarn",
            "on_hand_g",
            "held_g",
            "incoming_g",
            "demand_g",
            "short_on",
            "short_g",
            "short_for",
            "order_by",
            "order_g",
            "days",
            "worked_at",
            "is_being_worked_out",
        ]
        read_only_fields = fields


class DrawdownSerializer(serializers.Serializer[Any]):
    """When a yarn runs short, and by how much; no day when it never does."""

    short_on = serializers.DateField(allow_null=True)
    short_g = serializers.IntegerField(help_text="Wanting at the end of that day.")
    short_for = serializers.CharField(allow_blank=True)
    lowest_on = serializers.DateField()
    lowest_g = serializers.IntegerField(help_text="Below 0 it is wanting.")


class YarnForeseenSerializer(serializers.Serializer[Any]):
    yarn = serializers.CharField(source="yarn.code")
    verdict = serializers.CharField(source="sight.verdict")
    is_worse = serializers.BooleanField(source="sight.is_worse")
    draws_now_g = serializers.IntegerField(source="sight.draws_now_g")
    draws_then_g = serializers.IntegerField(source="sight.draws_then_g")
    comes_now_g = serializers.IntegerField(source="sight.comes_now_g")
    comes_then_g = serializers.IntegerField(source="sight.comes_then_g")
    now = DrawdownSerializer(source="sight.now")
    then = DrawdownSerializer(source="sight.then")


class HoldLostSerializer(serializers.Serializer[Any]):
    for_what = serializers.CharField()
    yarn = serializers.CharField()
    lots = serializers.ListField(child=serializers.CharField())
    held_g = serializers.IntegerField()
    lost_g = serializers.IntegerField(help_text="Held, and then for nothing.")


class ForeseenSerializer(serializers.Serializer[Any]):
    """What a change would do to yarn, were it written: each yarn that it touches, those that it makes worse first."""

    yarns = YarnForeseenSerializer(many=True)
    lost = HoldLostSerializer(many=True)


class LotSerializer(serializers.ModelSerializer[YarnLot]):
    yarn = serializers.CharField(source="yarn.code", read_only=True)
    place = serializers.CharField(source="place.code", default=None, allow_null=True, read_only=True)
    on_hand_g = serializers.IntegerField(read_only=True)
    held_g = serializers.IntegerField(read_only=True)
    available_g = serializers.IntegerField(read_only=True)

    class Meta:
        model = YarnLot
        fields = [
            "id",
            "label",
            "yarn",
            "dye_lot",
            "place",
            "received_on",
            "packages",
            "gross_g",
            "weighed_g",
            "measured_tex",
            "measured_regain_pct",
            "is_shade_approved",
            "is_quarantined",
            "quarantine_reason",
            "on_hand_g",
            "held_g",
            "available_g",
        ]
        read_only_fields = fields


class MovementSerializer(serializers.ModelSerializer[Movement]):
    lot = serializers.CharField(source="lot.label", read_only=True)
    by = serializers.CharField(source="by.username", default=None, allow_null=True, read_only=True)
    for_what = serializers.CharField(source="reservation.for_what", default=None, allow_null=True, read_only=True)
    place_from = serializers.CharField(source="place_from.code", default=None, allow_null=True, read_only=True)
    place_to = serializers.CharField(source="place_to.code", default=None, allow_null=True, read_only=True)

    class Meta:
        model = Movement
        fields = [
            "id",
            "lot",
            "seq",
            "kind",
            "change_g",
            "held_change_g",
            "on_hand_after_g",
            "held_after_g",
            "packages_change",
            "reservation",
            "for_what",
            "place_from",
            "place_to",
            "document",
            "reason",
            "reverses",
            "at",
            "by",
            "key",
        ]
        read_only_fields = fields


class KeyedSerializer(serializers.Serializer[Any]):
    """What every writing request carries: a key of its own, with which it counts once however often it is sent."""

    key = serializers.CharField(max_length=56, help_text="Of your own choosing, new for each thing that you write.")


def grams_field(**kwargs: Any) -> MeasureApiField:
    return MeasureApiField(
        unit="g", places=0, max_value=GRAMS_MAX, help_text="Whole grams, or a mass with its unit.", **kwargs
    )


def regain_field() -> serializers.DecimalField:
    return serializers.DecimalField(
        max_digits=5,
        decimal_places=2,
        min_value=Decimal(0),
        max_value=Decimal(100),
        required=False,
        allow_null=True,
        default=None,
        help_text="Of the oven-dry mass, when it was measured: the mass is then reckoned at the yarn's own.",
    )


class RegainSerializer(KeyedSerializer):
    measured_regain_pct = regain_field()


class ReceiveSerializer(RegainSerializer):
    yarn = serializers.SlugRelatedField(slug_field="code", queryset=Yarn.objects.all())
    grams = grams_field(above=0)
    gross_g = grams_field(above=0, required=False, allow_null=True, default=None)
    label = serializers.CharField(max_length=30)  # type: ignore[assignment]
    dye_lot = serializers.CharField(max_length=40)
    delivery = serializers.SlugRelatedField(
        slug_field="number", queryset=Delivery.objects.all(), required=False, allow_null=True, default=None
    )
    place = serializers.SlugRelatedField(
        slug_field="code", queryset=Place.objects.all(), required=False, allow_null=True, default=None
    )
    received_on = serializers.DateField(required=False, allow_null=True, default=None)
    packages = serializers.IntegerField(min_value=0, max_value=100_000, default=0)
    is_shade_approved = serializers.BooleanField(default=True)
    document = serializers.CharField(max_length=60, allow_blank=True, default="")
    note = serializers.CharField(max_length=200, allow_blank=True, default="")


class DrawSerializer(KeyedSerializer):
    """Out of a hold when `reservation` is given, else out of what is free, for `for_what`."""

    grams = grams_field(above=0)
    reservation = serializers.PrimaryKeyRelatedField(
        queryset=Reservation.objects.all(), required=False, allow_null=True, default=None
    )
    for_what = serializers.CharField(max_length=120, allow_blank=True, default="")
    packages = serializers.IntegerField(min_value=0, max_value=100_000, default=0)
    document = serializers.CharField(max_length=60, allow_blank=True, default="")


class ReturnSerializer(RegainSerializer):
    grams = grams_field(above=0)
    reservation = serializers.PrimaryKeyRelatedField(
        queryset=Reservation.objects.all(), required=False, allow_null=True, default=None
    )
    packages = serializers.IntegerField(min_value=0, max_value=100_000, default=0)
    document = serializers.CharField(max_length=60, allow_blank=True, default="")
    reason = serializers.CharField(max_length=200, allow_blank=True, default="")


class CorrectSerializer(KeyedSerializer):
    to_g = grams_field(min_value=0)
    reason = serializers.CharField(max_length=200)


class LotHoldSerializer(KeyedSerializer):
    grams = grams_field(above=0)
    for_what = serializers.CharField(max_length=120)


class ReleaseSerializer(KeyedSerializer):
    """What of the hold has not been drawn is let go."""

    reservation = serializers.PrimaryKeyRelatedField(queryset=Reservation.objects.all())
    reason = serializers.CharField(max_length=200, allow_blank=True, default="")


class WasteSerializer(KeyedSerializer):
    grams = grams_field(above=0)
    reason = serializers.CharField(max_length=200)
    packages = serializers.IntegerField(min_value=0, max_value=100_000, default=0)


class LotMoveSerializer(KeyedSerializer):
    place = serializers.SlugRelatedField(slug_field="code", queryset=Place.objects.all())
    reason = serializers.CharField(max_length=200, allow_blank=True, default="")


class ReverseSerializer(KeyedSerializer):
    reason = serializers.CharField(max_length=200)


class CountSerializer(RegainSerializer):
    """All that lies there, without cones."""

    weighed_g = grams_field(min_value=0)
    reason = serializers.CharField(max_length=100, allow_blank=True, default="", help_text="A remark.")


class BarredSerializer(KeyedSerializer):
    reason = serializers.CharField(max_length=180)


class ReleaseLotSerializer(KeyedSerializer):
    """Out of quarantine, after a treatment where one was written down."""

    reason = serializers.CharField(max_length=90)
    treatment = serializers.PrimaryKeyRelatedField(
        queryset=Treatment.objects.all(), required=False, allow_null=True, default=None
    )


# Deliveries, claims and the store's care


class DeliverySerializer(serializers.ModelSerializer[Delivery]):
    """Yarn that a supplier has promised. received_g is what has come of it, outstanding_g what is still to come."""

    yarn = serializers.SlugRelatedField(slug_field="code", queryset=Yarn.objects.all())
    supplier = serializers.SlugRelatedField(
        slug_field="code", queryset=Supplier.objects.all(), required=False, allow_null=True, default=None
    )
    ordered_g = grams_field(above=0)
    received_g = serializers.IntegerField(read_only=True)
    outstanding_g = serializers.IntegerField(read_only=True)

    class Meta:
        model = Delivery
        fields = [
            *("id", "number", "yarn", "supplier", "ordered_g", "dye_lot", "ordered_on", "expected_on", "is_closed"),
            *("received_g", "outstanding_g"),
        ]


class NewDeliverySerializer(DeliverySerializer):
    """Sent again by its key, it is the same delivery."""

    key = serializers.CharField(max_length=56, required=False, default="", write_only=True)

    class Meta(DeliverySerializer.Meta):
        fields = [*DeliverySerializer.Meta.fields, "key"]
        # That a number is taken is said by the verb, which knows a delivery that is told again.
        extra_kwargs: ClassVar[dict[str, Any]] = {"number": {"validators": []}}


class SupplierSerializer(serializers.ModelSerializer[Supplier]):
    class Meta:
        model = Supplier
        fields = ["id", "code", "name", "lead_time_days", "notes"]


class FibreSerializer(serializers.ModelSerializer[Fibre]):
    class Meta:
        model = Fibre
        fields = ["id", "name", "is_protein", "regain_pct", "regain_authority"]


class TableOfRegainsSerializer(serializers.Serializer[Any]):
    authority = serializers.ChoiceField(choices=[EU_1007, ASTM_D1909])


class PlaceSerializer(serializers.ModelSerializer[Place]):
    class Meta:
        model = Place
        fields = ["id", "code", "name", "is_dark"]


class CountedLotSerializer(serializers.Serializer[Any]):
    lot = serializers.SlugRelatedField(slug_field="label", queryset=YarnLot.objects.all())
    weighed_g = grams_field(min_value=0)
    measured_regain_pct = regain_field()


class PlaceWeighedSerializer(serializers.Serializer[Any]):
    """Every lot of a place that was weighed; what is left out is not counted."""

    weighed = CountedLotSerializer(many=True, allow_empty=False)

    def validate_weighed(self, rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
        labels = [row["lot"].label for row in rows]
        twice = next((label for label in labels if labels.count(label) > 1), None)
        if twice:
            raise serializers.ValidationError(
                f"Lot {twice} stands here {labels.count(twice)} times. Send it once, with all that was weighed of it."
            )
        return rows


class CountedAsShownSerializer(CountedLotSerializer):
    book_g = serializers.IntegerField(
        min_value=0,
        max_value=GRAMS_MAX,
        required=False,
        help_text="What the look showed the book to have. Nothing is written when it has other by now.",
    )


class PlaceCountSerializer(KeyedSerializer, PlaceWeighedSerializer):
    """Every lot of a place that was weighed, to be written into the book."""

    weighed = CountedAsShownSerializer(many=True, allow_empty=False)


class TogetherCountedSerializer(serializers.Serializer[Any]):
    weighed_g = serializers.IntegerField()
    book_g = serializers.IntegerField()
    off_g = serializers.IntegerField(help_text="As weighed, less what the book has.")
    explained_g = serializers.IntegerField(help_text="Of that, what is water alone.")
    reckoned_g = serializers.IntegerField(help_text="As weighed, at the yarn's agreed regain.")
    left_g = serializers.IntegerField(help_text="What the count would write; less than 0 where yarn is missing.")


class CountedSerializer(TogetherCountedSerializer):
    lot = serializers.CharField(source="label")


class PlaceDifferencesSerializer(serializers.Serializer[Any]):
    """What a count would change, before it is written."""

    lots = CountedSerializer(many=True)
    together = TogetherCountedSerializer()
    uncounted = serializers.IntegerField(help_text="Lots that lie here and were not weighed.")


class TrapSerializer(serializers.ModelSerializer[Trap]):
    place = serializers.SlugRelatedField(slug_field="code", queryset=Place.objects.all())

    class Meta:
        model = Trap
        fields = ["id", "code", "place", "catches", "lure_renewed_on", "is_hung"]


class TriggersSerializer(serializers.ModelSerializer[Mill]):
    """When the store is looked over: the mill's own, no published threshold of a trap was found."""

    class Meta:
        model = Mill
        fields = [
            *("store_inspect_days", "store_soon_days", "store_unmoved_days", "store_catch_trigger", "store_lure_days"),
        ]


class InspectionSerializer(serializers.ModelSerializer[Inspection]):
    """What was found in a place, by species."""

    place = serializers.CharField(source="place.code", read_only=True)
    by = serializers.CharField(source="by.username", default=None, allow_null=True, read_only=True)

    class Meta:
        model = Inspection
        fields = ["id", "place", "on", *(name for name, *_ in SPECIES), "note", "by"]
        read_only_fields = fields


def found_field(help_text: str = "") -> serializers.IntegerField:
    return serializers.IntegerField(min_value=0, max_value=100_000, default=0, help_text=help_text)


class FoundSerializer(serializers.Serializer[Any]):
    """Counts by species; what is left out is none."""

    webbing_moths = found_field("Tineola bisselliella")
    case_moths = found_field("Tinea pellionella")
    moths = found_field("Not told apart.")
    larvae = found_field()
    beetles = found_field("Anthrenus")


class NewInspectionSerializer(KeyedSerializer):
    place = serializers.SlugRelatedField(slug_field="code", queryset=Place.objects.all())
    on = serializers.DateField()
    found = FoundSerializer(required=False)
    note = serializers.CharField(max_length=200, allow_blank=True, default="")
    renewed = serializers.SlugRelatedField(
        slug_field="code", queryset=Trap.objects.all(), many=True, required=False, help_text="Traps with a new lure."
    )


class VerdictSerializer(serializers.Serializer[Any]):
    """What was measured, held against the figure in print; is_met is null where none is kept."""

    is_met = serializers.BooleanField(allow_null=True)
    said = serializers.CharField()


class TreatmentSerializer(serializers.ModelSerializer[Treatment]):
    """Lots, or all that lay in a place, frozen or heated. `published` is the figure in print, and its source."""

    lots: Any = serializers.SlugRelatedField(slug_field="label", many=True, read_only=True)
    place = serializers.CharField(source="place.code", default=None, allow_null=True, read_only=True)
    by = serializers.CharField(source="by.username", default=None, allow_null=True, read_only=True)
    published = serializers.CharField(source="published.says", read_only=True)
    published_source = serializers.CharField(source="published.source", read_only=True)
    verdict = VerdictSerializer(allow_null=True, read_only=True, help_text="Null while it is under way.")

    class Meta:
        model = Treatment
        fields = [
            *("id", "way", "lots", "place", "target_core_c", "target_h", "began_on", "ended_on", "core_c", "held_h"),
            *("measured_how", "done_by", "note", "published", "published_source", "verdict", "by"),
        ]
        read_only_fields = fields


def core_field(**kwargs: Any) -> serializers.DecimalField:
    return serializers.DecimalField(
        max_digits=5, decimal_places=1, required=False, allow_null=True, default=None, **kwargs
    )


def hours_field(**kwargs: Any) -> serializers.DecimalField:
    return serializers.DecimalField(
        max_digits=6, decimal_places=1, min_value=0, required=False, allow_null=True, default=None, **kwargs
    )


class NewTreatmentSerializer(KeyedSerializer):
    """Either lots by their labels, or a place with all that lies in it."""

    way = serializers.ChoiceField(choices=Treatment.WAYS)
    lots = serializers.SlugRelatedField(slug_field="label", queryset=YarnLot.objects.all(), many=True, required=False)
    place = serializers.SlugRelatedField(
        slug_field="code", queryset=Place.objects.all(), required=False, allow_null=True, default=None
    )
    began_on = serializers.DateField()
    target_core_c = core_field(help_text="Degrees Celsius.")
    target_h = hours_field()
    done_by = serializers.CharField(max_length=120, allow_blank=True, default="")
    note = serializers.CharField(max_length=200, allow_blank=True, default="")


class EndTreatmentSerializer(serializers.Serializer[Any]):
    ended_on = serializers.DateField()
    core_c = core_field(help_text="The worst that the core had all the while, degrees Celsius.")
    held_h = hours_field(help_text="Hours that it stayed so.")
    measured_how = serializers.CharField(max_length=120, allow_blank=True, default="")
    note = serializers.CharField(max_length=200, allow_blank=True, default="")


class ReleaseTreatedSerializer(KeyedSerializer):
    reason = serializers.CharField(max_length=90)


class ClaimLotSerializer(serializers.ModelSerializer[ClaimLot]):
    lot = serializers.CharField(source="lot.label", read_only=True)

    class Meta:
        model = ClaimLot
        fields = ["lot", "weighed_g", "measured_regain_pct", "due_g"]
        read_only_fields = fields


class ClaimSerializer(serializers.ModelSerializer[Claim]):
    """Short weight, claimed of a supplier. `steps` is its working, `said` its state in plain words."""

    delivery = serializers.CharField(source="delivery.number", read_only=True)
    lots = ClaimLotSerializer(many=True, read_only=True)
    said = serializers.CharField(read_only=True)

    class Meta:
        model = Claim
        fields = [
            *("id", "number", "delivery", "invoice", "invoiced_g", "agreed_regain_pct", "agreed_by", "weighed_g"),
            *("due_g", "short_g", "lots", "steps", "note", "made_on", "state", "said", "sent_on", "answered_on"),
            *("allowed_g", "answer"),
        ]
        read_only_fields = fields


class WeighedLotSerializer(serializers.Serializer[Any]):
    lot = serializers.SlugRelatedField(slug_field="label", queryset=YarnLot.objects.all())
    weighed_g = grams_field(above=0)
    measured_regain_pct = serializers.DecimalField(
        max_digits=5, decimal_places=2, min_value=Decimal(0), max_value=Decimal(100), help_text="Of the oven-dry mass."
    )


class NewClaimSerializer(KeyedSerializer):
    delivery = serializers.SlugRelatedField(slug_field="number", queryset=Delivery.objects.all())
    invoiced_g = grams_field(above=0)
    invoice = serializers.CharField(max_length=60, allow_blank=True, default="")
    weighed = WeighedLotSerializer(many=True)
    note = serializers.CharField(max_length=200, allow_blank=True, default="")


class SentSerializer(serializers.Serializer[Any]):
    sent_on = serializers.DateField()


class ClaimAnswerSerializer(serializers.Serializer[Any]):
    answered_on = serializers.DateField()
    allowed_g = grams_field(min_value=0)
    answer = serializers.CharField(max_length=200, allow_blank=True, default="")


class DropSerializer(serializers.Serializer[Any]):
    answer = serializers.CharField(max_length=200)
