from collections.abc import Mapping
from decimal import Decimal
from typing import Any

import django_filters
from django.db.models import Exists, OuterRef, QuerySet
from django.shortcuts import get_object_or_404
from django.urls import path
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter
from rest_framework.views import APIView

from inventory import services
from inventory.models import (
    Claim,
    Delivery,
    Fibre,
    Inspection,
    Movement,
    OutlookMark,
    Place,
    Reservation,
    Supplier,
    Trap,
    Treatment,
    Yarn,
    YarnLot,
    YarnOutlook,
)
from inventory.serializers import (
    BarredSerializer,
    ClaimAnswerSerializer,
    ClaimSerializer,
    CorrectSerializer,
    CountSerializer,
    DeliverySerializer,
    DrawSerializer,
    DropSerializer,
    EndTreatmentSerializer,
    FibreSerializer,
    ForeseenSerializer,
    InspectionSerializer,
    KeyedSerializer,
    LotHoldSerializer,
    LotMoveSerializer,
    LotSerializer,
    MovementSerializer,
    NewClaimSerializer,
    NewDeliverySerializer,
    NewInspectionSerializer,
    NewTreatmentSerializer,
    OutlookSerializer,
    PlaceCountSerializer,
    PlaceDifferencesSerializer,
    PlaceSerializer,
    PlaceWeighedSerializer,
    ReceiveSerializer,
    ReleaseLotSerializer,
    ReleaseSerializer,
    ReleaseTreatedSerializer,
    ReturnSerializer,
    ReverseSerializer,
    SentSerializer,
    SupplierSerializer,
    TableOfRegainsSerializer,
    TrapSerializer,
    TreatmentSerializer,
    TriggersSerializer,
    WasteSerializer,
    WrittenYarnSerializer,
    YarnSerializer,
)
from inventory.stocktake import together
from mill.edits import Versioned
from mill.models import Mill
from mill.refusal import Refusal


def as_sent(row: Any, said: Mapping[str, Any]) -> Any:
    """The record with what was said written into it, not saved yet."""
    for name, value in said.items():
        setattr(row, name, value)
    return row


class YarnApiFilter(django_filters.FilterSet):
    code = django_filters.CharFilter()
    short = django_filters.BooleanFilter(field_name="outlook__short_on", lookup_expr="isnull", exclude=True)

    class Meta:
        model = Yarn
        fields = ["code", "spinning", "is_in_use"]


class YarnViewSet(Versioned, viewsets.ReadOnlyModelViewSet[Yarn]):
    """The yarns, as they are bought. POST writes a new one down, PATCH changes one."""

    queryset = Yarn.objects.select_related("supplier").prefetch_related("shares__fibre").order_by("code")
    serializer_class = YarnSerializer
    filterset_class = YarnApiFilter

    @extend_schema(request=WrittenYarnSerializer, responses={201: YarnSerializer})
    def create(self, request: Request) -> Response:
        return self._written(request, WrittenYarnSerializer(data=request.data), Yarn(), status=201)

    @extend_schema(request=WrittenYarnSerializer(partial=True), responses={200: YarnSerializer})
    def partial_update(self, request: Request, pk: str | None = None) -> Response:
        """What hangs on it is worked out again. Fibres that are sent are all of its fibres."""
        yarn = get_object_or_404(Yarn, pk=self.get_object().pk)
        sent = WrittenYarnSerializer(yarn, data=request.data, partial=True)
        return self._written(request, sent, yarn, status=200)

    def _written(self, request: Request, sent: WrittenYarnSerializer, yarn: Yarn, *, status: int) -> Response:
        sent.is_valid(raise_exception=True)
        said = dict(sent.validated_data)
        had = {share.fibre: share.share_pct for share in yarn.shares.select_related("fibre")} if yarn.pk else {}
        shares = said.pop("fibres", had)
        kept = services.write_yarn(
            yarn=as_sent(yarn, said), changed=said, shares=shares, by=request.user, seen=self.seen(yarn)
        )
        return Response(YarnSerializer(self.get_queryset().get(pk=kept.pk)).data, status=status)

    @extend_schema(responses={200: OutlookSerializer, 404: OpenApiResponse(description="It has not been worked out.")})
    @action(detail=True)
    def outlook(self, request: Request, pk: str | None = None) -> Response:
        """What the yarn will have, day by day, and when it runs short."""
        rows = YarnOutlook.objects.select_related("yarn").annotate(
            is_being_worked_out=Exists(OutlookMark.objects.filter(yarn=OuterRef("yarn")))
        )
        return Response(OutlookSerializer(get_object_or_404(rows, yarn=self.get_object())).data)


class LotApiFilter(django_filters.FilterSet):
    label = django_filters.CharFilter()
    yarn = django_filters.CharFilter(field_name="yarn__code")
    place = django_filters.CharFilter(field_name="place__code")
    free = django_filters.BooleanFilter(method="by_free", help_text="With something free, or nothing.")

    class Meta:
        model = YarnLot
        fields = ["label", "yarn", "place", "dye_lot", "is_quarantined", "is_shade_approved"]

    def by_free(self, rows: QuerySet[YarnLot], _name: str, value: bool) -> QuerySet[YarnLot]:
        return rows.filter(**{"available_g__gt" if value else "available_g__lte": 0})


class LotViewSet(viewsets.ReadOnlyModelViewSet[YarnLot]):
    """The lots with their balances, and what is done to them. Each writing request counts once by its key."""

    queryset = YarnLot.objects.all()
    serializer_class = LotSerializer
    filterset_class = LotApiFilter

    def get_queryset(self) -> QuerySet[YarnLot]:
        if self.is_verb:
            return YarnLot.objects.all()  # its balance is read once nobody else can change it
        return YarnLot.objects.select_related("yarn", "place").with_balance().order_by("pk")

    def filter_queryset(self, queryset: QuerySet[Any]) -> QuerySet[Any]:
        return queryset if self.is_verb else super().filter_queryset(queryset)

    @property
    def is_verb(self) -> bool:
        return self.action not in {"list", "retrieve", "metadata"}

    @extend_schema(request=ReceiveSerializer, responses={201: MovementSerializer})
    @action(detail=False, methods=["post"], filterset_class=None, pagination_class=None)
    def receive(self, request: Request) -> Response:
        """Yarn of one dye lot comes in and becomes a lot."""
        return self._written(request, ReceiveSerializer, lambda said: services.receive(by=request.user, **said))

    @extend_schema(request=LotHoldSerializer, responses={201: MovementSerializer})
    @action(detail=True, methods=["post"])
    def hold(self, request: Request, pk: str | None = None) -> Response:
        """Grams are held for something. The line that comes back names its hold as `reservation`."""
        lot = self.get_object()

        def write(said: dict[str, Any]) -> Movement:
            held = services.reserve(lot=lot, by=request.user, **said)
            return held.movements.select_related("lot", "by").earliest("seq")

        return self._written(request, LotHoldSerializer, write)

    @extend_schema(request=ReleaseSerializer, responses={201: MovementSerializer})
    @action(detail=True, methods=["post"], url_path="let-go")
    def let_go(self, request: Request, pk: str | None = None) -> Response:
        """What of a hold has not been drawn is free again."""
        lot = self.get_object()

        def write(said: dict[str, Any]) -> Movement:
            _is_of(said["reservation"], lot, "Let it go")
            return services.release(by=request.user, **said)

        return self._written(request, ReleaseSerializer, write)

    @extend_schema(request=DrawSerializer, responses={201: MovementSerializer})
    @action(detail=True, methods=["post"])
    def draw(self, request: Request, pk: str | None = None) -> Response:
        """Yarn leaves the store: out of its hold, or out of what is free."""
        lot = self.get_object()

        def write(said: dict[str, Any]) -> Movement:
            reservation, for_what = said.pop("reservation"), said.pop("for_what")
            if reservation is None:
                return services.draw_free(lot=lot, for_what=for_what, by=request.user, **said)
            _is_of(reservation, lot, "Draw it")
            return services.draw_down(reservation=reservation, by=request.user, **said)

        return self._written(request, DrawSerializer, write)

    @extend_schema(request=ReturnSerializer, responses={201: MovementSerializer})
    @action(detail=True, methods=["post"], url_path="return")
    def give_back(self, request: Request, pk: str | None = None) -> Response:
        """Part cones come back, weighed."""
        lot = self.get_object()
        return self._written(
            request, ReturnSerializer, lambda said: services.return_to_stock(lot=lot, by=request.user, **said)
        )

    @extend_schema(request=CorrectSerializer, responses={201: MovementSerializer})
    @action(detail=True, methods=["post"])
    def correct(self, request: Request, pk: str | None = None) -> Response:
        """The book is set to what is there, with the reason why."""
        lot = self.get_object()
        return self._written(
            request, CorrectSerializer, lambda said: services.correct(lot=lot, by=request.user, **said)
        )

    @extend_schema(request=WasteSerializer, responses={201: MovementSerializer})
    @action(detail=True, methods=["post"])
    def waste(self, request: Request, pk: str | None = None) -> Response:
        """Free yarn is written off, with the reason why."""
        lot = self.get_object()
        return self._written(
            request, WasteSerializer, lambda said: services.record_waste(lot=lot, by=request.user, **said)
        )

    @extend_schema(request=LotMoveSerializer, responses={201: MovementSerializer})
    @action(detail=True, methods=["post"])
    def move(self, request: Request, pk: str | None = None) -> Response:
        """The lot lies in another place from now on."""
        lot = self.get_object()
        return self._written(request, LotMoveSerializer, lambda said: services.move(lot=lot, by=request.user, **said))

    @extend_schema(request=CountSerializer, responses={201: MovementSerializer})
    @action(detail=True, methods=["post"])
    def count(self, request: Request, pk: str | None = None) -> Response:
        """The lot was weighed: the book is set to that. A count that agrees is written down as well."""
        lot = self.get_object()
        return self._written(request, CountSerializer, lambda said: services.count(lot=lot, by=request.user, **said))

    @extend_schema(request=BarredSerializer, responses={201: MovementSerializer})
    @action(detail=True, methods=["post"])
    def quarantine(self, request: Request, pk: str | None = None) -> Response:
        """Nothing of it can be held or drawn until it is released. What is held stays held."""
        lot = self.get_object()
        return self._written(
            request, BarredSerializer, lambda said: services.quarantine(lot=lot, by=request.user, **said)
        )

    @extend_schema(request=ReleaseLotSerializer, responses={201: MovementSerializer})
    @action(detail=True, methods=["post"])
    def release(self, request: Request, pk: str | None = None) -> Response:
        """Out of quarantine; the line says whether the treatment met the figure in print."""
        lot = self.get_object()
        return self._written(
            request,
            ReleaseLotSerializer,
            lambda said: services.release_from_quarantine(lot=lot, by=request.user, **said),
        )

    @extend_schema(request=KeyedSerializer, responses={201: MovementSerializer})
    @action(detail=True, methods=["post"])
    def approve(self, request: Request, pk: str | None = None) -> Response:
        """Its shade was compared and is right."""
        lot = self.get_object()
        return self._written(
            request, KeyedSerializer, lambda said: services.approve_shade(lot=lot, by=request.user, **said)
        )

    @extend_schema(request=BarredSerializer, responses={201: MovementSerializer})
    @action(detail=True, methods=["post"])
    def reject(self, request: Request, pk: str | None = None) -> Response:
        """Its shade is not right: nothing of it can be held or drawn until it is approved."""
        lot = self.get_object()
        return self._written(
            request, BarredSerializer, lambda said: services.reject_shade(lot=lot, by=request.user, **said)
        )

    def _written(self, request: Request, read: type[serializers.Serializer[Any]], write: Any) -> Response:
        sent = read(data=request.data)
        sent.is_valid(raise_exception=True)
        return Response(MovementSerializer(write(dict(sent.validated_data))).data, status=201)


def _is_of(reservation: Reservation, lot: YarnLot, act: str) -> None:
    if reservation.lot_id != lot.pk:
        raise Refusal(
            f"Hold {reservation.pk} is of lot {reservation.lot}, not of lot {lot}. {act} there.", field="reservation"
        )


class MovementApiFilter(django_filters.FilterSet):
    lot = django_filters.CharFilter(field_name="lot__label")
    yarn = django_filters.CharFilter(field_name="lot__yarn__code")
    since = django_filters.IsoDateTimeFilter(field_name="at", lookup_expr="gte")
    until = django_filters.IsoDateTimeFilter(field_name="at", lookup_expr="lt")

    class Meta:
        model = Movement
        fields = ["lot", "yarn", "kind", "reservation", "key"]


class MovementViewSet(mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Movement]):
    """The ledger: lines that are only ever added to, in the order in which they were written."""

    queryset = Movement.objects.select_related("lot", "by", "reservation", "place_from", "place_to").order_by("pk")
    serializer_class = MovementSerializer
    filterset_class = MovementApiFilter

    @extend_schema(request=ReverseSerializer, responses={201: MovementSerializer})
    @action(detail=True, methods=["post"], filterset_class=None, pagination_class=None)
    def reverse(self, request: Request, pk: str | None = None) -> Response:
        """A line is taken back by a line against it; both stay."""
        sent = ReverseSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        line = services.reverse(movement=self.get_object(), by=request.user, **sent.validated_data)
        return Response(MovementSerializer(line).data, status=201)


# Deliveries, claims and the store's care


class Keyed(viewsets.GenericViewSet[Any]):
    """What is written by a verb: read what was sent, do it, show the row."""

    def written(self, request: Request, read: type[serializers.Serializer[Any]], write: Any, status: int) -> Response:
        sent = read(data=request.data)
        sent.is_valid(raise_exception=True)
        row = write(dict(sent.validated_data))
        shown = self.get_serializer_class()(self.get_queryset().get(pk=row.pk))
        return Response(shown.data, status=status)


class DeliveryApiFilter(django_filters.FilterSet):
    number = django_filters.CharFilter()
    yarn = django_filters.CharFilter(field_name="yarn__code")
    supplier = django_filters.CharFilter(field_name="supplier__code")
    open = django_filters.BooleanFilter(method="by_open", help_text="Something of it is still to come.")

    class Meta:
        model = Delivery
        fields = ["number", "yarn", "supplier", "is_closed"]

    def by_open(self, rows: QuerySet[Delivery], _name: str, value: bool) -> QuerySet[Delivery]:
        return rows.filter(**{"outstanding_g__gt" if value else "outstanding_g__lte": 0})


class DeliveryViewSet(Versioned, mixins.ListModelMixin, mixins.RetrieveModelMixin, Keyed):
    """Deliveries that are expected, and those that have come. PATCH changes one."""

    queryset = Delivery.objects.all()
    serializer_class = DeliverySerializer

    @property
    def filterset_class(self) -> type[DeliveryApiFilter] | None:
        return DeliveryApiFilter if self.action == "list" else None

    def get_queryset(self) -> QuerySet[Delivery]:
        return Delivery.objects.select_related("yarn", "supplier").with_received().order_by("expected_on", "pk")

    @extend_schema(request=NewDeliverySerializer, responses={201: DeliverySerializer})
    def create(self, request: Request) -> Response:
        def write(said: dict[str, Any]) -> Delivery:
            key = said.pop("key")
            return services.write_delivery(delivery=Delivery(**said), changed=said, by=request.user, key=key)

        return self.written(request, NewDeliverySerializer, write, 201)

    @extend_schema(request=DeliverySerializer(partial=True), responses={200: DeliverySerializer})
    def partial_update(self, request: Request, pk: str | None = None) -> Response:
        delivery, changed = self._as_sent(request)
        services.write_delivery(delivery=delivery, changed=changed, by=request.user, seen=self.seen(delivery))
        return Response(DeliverySerializer(self.get_queryset().get(pk=delivery.pk)).data)

    def _as_sent(self, request: Request) -> tuple[Delivery, set[str]]:
        """The delivery as it would be, not written, and what of it was sent."""
        delivery = Delivery.objects.get(pk=self.get_object().pk)
        sent = DeliverySerializer(delivery, data=request.data, partial=True)
        sent.is_valid(raise_exception=True)
        return as_sent(delivery, sent.validated_data), set(sent.validated_data)

    @extend_schema(request=DeliverySerializer(partial=True), responses={200: ForeseenSerializer})
    @action(detail=True, methods=["post"])
    def foresee(self, request: Request, pk: str | None = None) -> Response:
        """What changing it so would do to its yarn. Writes nothing."""
        return Response(ForeseenSerializer(services.foresee_delivery(self._as_sent(request)[0])).data)

    @extend_schema(
        operation_id="deliveries_foresee_new",
        request=NewDeliverySerializer,
        responses={200: ForeseenSerializer},
    )
    @action(detail=False, methods=["post"], url_path="foresee", url_name="foresee-new", pagination_class=None)
    def foresee_new(self, request: Request) -> Response:
        """What a new delivery would do to its yarn. Writes nothing."""
        sent = NewDeliverySerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        said = dict(sent.validated_data)
        del said["key"]
        return Response(ForeseenSerializer(services.foresee_delivery(Delivery(**said))).data)


class RecordViewSet(Versioned, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Any]):
    """A small record of the store: POST writes a new one down, PATCH changes one."""

    lookup_value_regex = "[0-9]{1,18}"

    def create(self, request: Request) -> Response:
        sent = self.get_serializer(data=request.data)
        sent.is_valid(raise_exception=True)
        new = self.get_queryset().model(**sent.validated_data)
        row = services.write_record(row=new, changed=sent.validated_data, by=request.user)
        return Response(self.get_serializer(row).data, status=201)

    def partial_update(self, request: Request, pk: str) -> Response:
        row = self.get_object()
        sent = self.get_serializer(row, data=request.data, partial=True)
        sent.is_valid(raise_exception=True)
        said = sent.validated_data
        services.write_record(row=as_sent(row, said), changed=said, by=request.user, seen=self.seen(row))
        return Response(self.get_serializer(row).data)


class SupplierViewSet(RecordViewSet):
    """Who sells the mill its yarn, and how long that takes."""

    queryset = Supplier.objects.order_by("code")
    serializer_class = SupplierSerializer
    filterset_fields = ["code"]


class FibreViewSet(RecordViewSet):
    """Fibres, with the commercial regain that the mill reckons by."""

    queryset = Fibre.objects.order_by("name")
    serializer_class = FibreSerializer
    filterset_fields = ["name", "is_protein"]

    @extend_schema(request=TableOfRegainsSerializer, responses={201: FibreSerializer(many=True)})
    @action(
        detail=False,
        methods=["post"],
        url_path="of-table",
        url_name="of-table",
        pagination_class=None,
        filterset_fields=None,
    )
    def of_table(self, request: Request) -> Response:
        """Write the fibres of a table of regains that the book has not got yet; answers with those written."""
        sent = TableOfRegainsSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        written = services.write_fibres_of(authority=sent.validated_data["authority"], by=request.user)
        return Response(FibreSerializer(written, many=True).data, status=201)


class PlaceViewSet(RecordViewSet):
    """Where yarn lies: a bay, a shelf, a cage."""

    queryset = Place.objects.order_by("code")
    serializer_class = PlaceSerializer
    filterset_fields = ["code", "is_dark"]

    @extend_schema(request=PlaceWeighedSerializer, responses={200: PlaceDifferencesSerializer})
    @action(detail=True, methods=["post"], url_path="count/look", url_name="count-look", pagination_class=None)
    def look(self, request: Request, pk: str) -> Response:
        """What a stock-take would change, lot by lot, and how much of it moisture explains. Writes nothing."""
        place = self.get_object()
        sent = PlaceWeighedSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        lots = services.differences(place, _as_weighed(sent.validated_data))
        lying = place.lots.with_balance().filter(on_hand_g__gt=0).exclude(label__in=[one.label for one in lots])
        answer = {"lots": lots, "together": together(lots), "uncounted": lying.count()}
        return Response(PlaceDifferencesSerializer(answer).data)

    @extend_schema(request=PlaceCountSerializer, responses={201: MovementSerializer(many=True)})
    @action(detail=True, methods=["post"], filterset_fields=None, pagination_class=None)
    def count(self, request: Request, pk: str) -> Response:
        """A stock-take of what lies here: every lot that was weighed is set to that, or none of them."""
        place = self.get_object()
        sent = PlaceCountSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        said = sent.validated_data
        shown_g = {row["lot"].pk: row["book_g"] for row in said["weighed"] if "book_g" in row}
        lines = services.count_place(
            place=place, weighed=_as_weighed(said), shown_g=shown_g, by=request.user, key=said["key"]
        )
        return Response(MovementSerializer(lines, many=True).data, status=201)


def _as_weighed(said: dict[str, Any]) -> dict[int, tuple[int, Decimal | None]]:
    return {row["lot"].pk: (row["weighed_g"], row["measured_regain_pct"]) for row in said["weighed"]}


class TrapViewSet(RecordViewSet):
    """Moth traps and when their lures were renewed."""

    queryset = Trap.objects.select_related("place").order_by("code")
    serializer_class = TrapSerializer
    filterset_fields = ["is_hung", "catches"]


class TriggersView(Versioned, APIView):
    """When the store is looked over."""

    def versioned(self) -> Mill:
        return Mill.the_one()

    @extend_schema(responses={200: TriggersSerializer})
    def get(self, request: Request) -> Response:
        return Response(TriggersSerializer(Mill.the_one()).data)

    @extend_schema(request=TriggersSerializer(partial=True), responses={200: TriggersSerializer})
    def patch(self, request: Request) -> Response:
        mill = Mill.the_one()
        sent = TriggersSerializer(mill, data=request.data, partial=True)
        sent.is_valid(raise_exception=True)
        said = sent.validated_data
        services.write_triggers(mill=as_sent(mill, said), changed=said, by=request.user, seen=self.seen(mill))
        return Response(TriggersSerializer(mill).data)


class InspectionViewSet(mixins.ListModelMixin, mixins.RetrieveModelMixin, Keyed):
    """Places looked over for moth and beetle, the latest first."""

    queryset = Inspection.objects.select_related("place", "by").order_by("-on", "-pk")
    serializer_class = InspectionSerializer

    @extend_schema(request=NewInspectionSerializer, responses={201: InspectionSerializer})
    def create(self, request: Request) -> Response:
        return self.written(
            request, NewInspectionSerializer, lambda said: services.inspect(by=request.user, **said), 201
        )


class TreatmentViewSet(mixins.ListModelMixin, mixins.RetrieveModelMixin, Keyed):
    """Lots frozen or heated, held against the figures in print. POST begins one: its lots go into quarantine."""

    queryset = Treatment.objects.select_related("place", "by").prefetch_related("lots").order_by("-began_on", "-pk")
    serializer_class = TreatmentSerializer

    @extend_schema(request=NewTreatmentSerializer, responses={201: TreatmentSerializer})
    def create(self, request: Request) -> Response:
        return self.written(
            request, NewTreatmentSerializer, lambda said: services.begin_treatment(by=request.user, **said), 201
        )

    @extend_schema(request=EndTreatmentSerializer, responses={200: TreatmentSerializer})
    @action(detail=True, methods=["post"])
    def end(self, request: Request, pk: str | None = None) -> Response:
        """What the probe read. The lots stay in quarantine until they are released."""
        row = self.get_object()

        def write(said: dict[str, Any]) -> Treatment:
            return services.end_treatment(treatment=row, by=request.user, **said)

        return self.written(request, EndTreatmentSerializer, write, 200)

    @extend_schema(request=ReleaseTreatedSerializer, responses={200: TreatmentSerializer})
    @action(detail=True, methods=["post"])
    def release(self, request: Request, pk: str | None = None) -> Response:
        """Its lots may be used again; each lot's life says whether the figure in print was met."""
        row = self.get_object()

        def write(said: dict[str, Any]) -> Treatment:
            services.release_treated(treatment=row, by=request.user, **said)
            return row

        return self.written(request, ReleaseTreatedSerializer, write, 200)


class ClaimViewSet(mixins.ListModelMixin, mixins.RetrieveModelMixin, Keyed):
    """Claims for short weight. POST works one out from a delivery; it is then sent, answered or dropped."""

    queryset = Claim.objects.select_related("delivery").prefetch_related("lots__lot").order_by("-number")
    serializer_class = ClaimSerializer
    filterset_fields = ["state", "number"]

    @extend_schema(request=NewClaimSerializer, responses={201: ClaimSerializer})
    def create(self, request: Request) -> Response:
        def write(said: dict[str, Any]) -> Claim:
            rows = said.pop("weighed")
            weighed = {row["lot"].pk: (row["weighed_g"], row["measured_regain_pct"]) for row in rows}
            return services.make_claim(weighed=weighed, by=request.user, **said)

        return self.written(request, NewClaimSerializer, write, 201)

    @extend_schema(request=SentSerializer, responses={200: ClaimSerializer})
    @action(detail=True, methods=["post"])
    def send(self, request: Request, pk: str | None = None) -> Response:
        """It has gone to the supplier."""
        return self._told(request, SentSerializer, services.send_claim)

    @extend_schema(request=ClaimAnswerSerializer, responses={200: ClaimSerializer})
    @action(detail=True, methods=["post"])
    def answer(self, request: Request, pk: str | None = None) -> Response:
        """What the supplier allows of it; 0 grams is a refusal."""
        return self._told(request, ClaimAnswerSerializer, services.answer_claim)

    @extend_schema(request=DropSerializer, responses={200: ClaimSerializer})
    @action(detail=True, methods=["post"])
    def drop(self, request: Request, pk: str | None = None) -> Response:
        """The mill doesn't follow it up, with the reason why."""
        return self._told(request, DropSerializer, services.drop_claim)

    def _told(self, request: Request, read: type[serializers.Serializer[Any]], verb: Any) -> Response:
        row = self.get_object()
        return self.written(request, read, lambda said: verb(claim=row, by=request.user, **said), 200)


router = SimpleRouter()
router.register("yarns", YarnViewSet)
router.register("lots", LotViewSet)
router.register("movements", MovementViewSet)
router.register("deliveries", DeliveryViewSet)
router.register("suppliers", SupplierViewSet)
router.register("fibres", FibreViewSet)
router.register("places", PlaceViewSet)
router.register("traps", TrapViewSet)
router.register("inspections", InspectionViewSet)
router.register("treatments", TreatmentViewSet)
router.register("claims", ClaimViewSet)
urlpatterns = [path("store/triggers/", TriggersView.as_view(), name="api_store_triggers"), *router.urls]
