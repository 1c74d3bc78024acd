from typing import Any

import django_filters
from django.db.models import Exists, OuterRef, QuerySet
from django.shortcuts import get_object_or_404
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from inventory import services
from inventory.models import Movement, OutlookMark, Reservation, Yarn, YarnLot, YarnOutlook
from inventory.serializers import (
    CorrectSerializer,
    DrawSerializer,
    LotHoldSerializer,
    LotMoveSerializer,
    LotSerializer,
    MovementSerializer,
    OutlookSerializer,
    ReceiveSerializer,
    ReleaseSerializer,
    ReturnSerializer,
    ReverseSerializer,
    WasteSerializer,
    YarnSerializer,
)
from mill.refusal import Refusal

# The store says no; or what was sent can't be read, and then each field that can't has a list of sentences.
NO = OpenApiResponse(
    {
        "type": "object",
        "properties": {"refusal": {"type": "string"}, "field": {"type": ["string", "null"]}},
        "additionalProperties": True,
    },
    description="The store's no as a sentence, `refusal`, and the field it is about; or, by field, what can't be read.",
)


class YarnApiFilter(django_filters.FilterSet):
    code = django_filters.CharFilter()
    short = django_filters.BooleanFilter(field_name="outlook__short_on", lookup_expr="isnull", exclude=True)

    class Meta:
        model = Yarn
        fields = ["code", "spinning", "is_in_use"]


class YarnViewSet(viewsets.ReadOnlyModelViewSet[Yarn]):
    """The yarns, as they are bought."""

    queryset = Yarn.objects.select_related("supplier").prefetch_related("shares__fibre").order_by("code")
    serializer_class = YarnSerializer
    filterset_class = YarnApiFilter

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
        return YarnLot.objects.select_related("yarn", "place").with_balance().order_by("pk")

    @extend_schema(request=ReceiveSerializer, responses={201: MovementSerializer, 400: NO})
    @action(detail=False, methods=["post"], filterset_class=None, pagination_class=None)
    def receive(self, request: Request) -> Response:
        """Yarn of one dye lot comes in and becomes a lot."""
        return self._written(request, ReceiveSerializer, lambda said: services.receive(by=request.user, **said))

    @extend_schema(request=LotHoldSerializer, responses={201: MovementSerializer, 400: NO})
    @action(detail=True, methods=["post"])
    def hold(self, request: Request, pk: str | None = None) -> Response:
        """Grams are held for something. The line that comes back names its hold as `reservation`."""
        lot = self.get_object()

        def write(said: dict[str, Any]) -> Movement:
            return services.reserve(lot=lot, by=request.user, **said).movements.earliest("seq")

        return self._written(request, LotHoldSerializer, write)

    @extend_schema(request=ReleaseSerializer, responses={201: MovementSerializer, 400: NO})
    @action(detail=True, methods=["post"], url_path="let-go")
    def let_go(self, request: Request, pk: str | None = None) -> Response:
        """What of a hold has not been drawn is free again."""
        lot = self.get_object()

        def write(said: dict[str, Any]) -> Movement:
            _is_of(said["reservation"], lot, "Let it go")
            return services.release(by=request.user, **said)

        return self._written(request, ReleaseSerializer, write)

    @extend_schema(request=DrawSerializer, responses={201: MovementSerializer, 400: NO})
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

    @extend_schema(request=ReturnSerializer, responses={201: MovementSerializer, 400: NO})
    @action(detail=True, methods=["post"], url_path="return")
    def give_back(self, request: Request, pk: str | None = None) -> Response:
        """Part cones come back, weighed."""
        lot = self.get_object()
        return self._written(
            request, ReturnSerializer, lambda said: services.return_to_stock(lot=lot, by=request.user, **said)
        )

    @extend_schema(request=CorrectSerializer, responses={201: MovementSerializer, 400: NO})
    @action(detail=True, methods=["post"])
    def correct(self, request: Request, pk: str | None = None) -> Response:
        """The book is set to what is there, with the reason why."""
        lot = self.get_object()
        return self._written(
            request, CorrectSerializer, lambda said: services.correct(lot=lot, by=request.user, **said)
        )

    @extend_schema(request=WasteSerializer, responses={201: MovementSerializer, 400: NO})
    @action(detail=True, methods=["post"])
    def waste(self, request: Request, pk: str | None = None) -> Response:
        """Free yarn is written off, with the reason why."""
        lot = self.get_object()
        return self._written(
            request, WasteSerializer, lambda said: services.record_waste(lot=lot, by=request.user, **said)
        )

    @extend_schema(request=LotMoveSerializer, responses={201: MovementSerializer, 400: NO})
    @action(detail=True, methods=["post"])
    def move(self, request: Request, pk: str | None = None) -> Response:
        """The lot lies in another place from now on."""
        lot = self.get_object()
        return self._written(request, LotMoveSerializer, lambda said: services.move(lot=lot, by=request.user, **said))

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

    @extend_schema(request=ReverseSerializer, responses={201: MovementSerializer, 400: NO})
    @action(detail=True, methods=["post"], filterset_class=None, pagination_class=None)
    def reverse(self, request: Request, pk: str | None = None) -> Response:
        """A line is taken back by a line against it; both stay."""
        sent = ReverseSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        line = services.reverse(movement=self.get_object(), by=request.user, **sent.validated_data)
        return Response(MovementSerializer(line).data, status=201)


router = SimpleRouter()
router.register("yarns", YarnViewSet)
router.register("lots", LotViewSet)
router.register("movements", MovementViewSet)
urlpatterns = router.urls
