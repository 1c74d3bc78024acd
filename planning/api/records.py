from typing import Any

from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework import viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter
from rest_framework.serializers import BaseSerializer
from rest_framework.views import APIView

from mill.edits import Versioned
from mill.models import Mill
from planning.models import Beam, Closure, Machine, Reed, ShiftPattern, Worker
from planning.serializers.records import (
    BeamSerializer,
    ClosureSerializer,
    MachineSerializer,
    MillSerializer,
    PublicDaysSerializer,
    ReedSerializer,
    ShiftPatternSerializer,
    WorkerSerializer,
)
from planning.services import closing, looms


def as_sent(asked: BaseSerializer[Any], row: Any) -> Any:
    """The record with what was sent written into it, not saved yet."""
    asked.is_valid(raise_exception=True)
    for name, value in asked.validated_data.items():
        setattr(row, name, value)
    return row


class BookViewSet(Versioned, viewsets.ModelViewSet[Any]):
    """A small record of the shed: written down and struck out by the same verbs as on its page."""

    http_method_names = ["get", "post", "patch", "delete", "head", "options"]
    lookup_value_regex = "[0-9]{1,18}"

    def perform_create(self, serializer: BaseSerializer[Any]) -> None:
        model = serializer.Meta.model  # type: ignore[attr-defined]
        serializer.instance = looms.write_down(model(**serializer.validated_data), by=self.request.user)

    def perform_update(self, serializer: BaseSerializer[Any]) -> None:
        serializer.instance = looms.write_down(
            as_sent(serializer, serializer.instance),
            by=self.request.user,
            seen=self.seen(serializer.instance),
            changed=serializer.validated_data,
        )

    def perform_destroy(self, instance: Any) -> None:
        looms.strike_out(instance, by=self.request.user, seen=self.seen(instance))


class ReedViewSet(BookViewSet):
    """The reeds, and how many there are of each."""

    queryset = Reed.objects.order_by("dents_per_10cm", "code")
    serializer_class = ReedSerializer
    filterset_fields = ["code"]


class BeamViewSet(BookViewSet):
    """The beams, whether warps lie on them or not."""

    queryset = Beam.objects.order_by("code")
    serializer_class = BeamSerializer
    filterset_fields = ["code", "is_in_use"]


class ShiftPatternViewSet(BookViewSet):
    """Hours of work by name; a loom runs by one of them."""

    queryset = ShiftPattern.objects.order_by("name")
    serializer_class = ShiftPatternSerializer
    filterset_fields = ["name"]


class ClosureViewSet(BookViewSet):
    """When the mill, or one loom, stands still."""

    queryset = Closure.objects.select_related("loom").order_by("starts_at", "pk")
    serializer_class = ClosureSerializer
    filterset_fields = {"loom__code": ["exact"], "starts_at": ["gte", "lte"], "stops_at": ["gte", "lte"]}

    @extend_schema(
        operation_id="closures_public_days",
        request=PublicDaysSerializer,
        responses={200: ClosureSerializer(many=True)},
    )
    @action(
        detail=False,
        methods=["post"],
        url_path="public-days",
        url_name="public-days",
        pagination_class=None,
        filterset_fields=None,
    )
    def public_days(self, request: Request) -> Response:
        """Close the whole mill on the public holidays of a place; answers with the closures that were written."""
        sent = PublicDaysSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        said = sent.validated_data
        days = said.get("days")
        if days is None:
            days = [one.day for one in closing.days_off(said["place"], said["year"])]
        written = closing.close_on(said["place"], said["year"], days=days, by=request.user)
        return Response(ClosureSerializer(written, many=True).data)


class WorkerViewSet(BookViewSet):
    """People of the floor, by their short codes."""

    queryset = Worker.objects.order_by("code")
    serializer_class = WorkerSerializer
    filterset_fields = ["code", "trade", "is_in_use"]


class MachineViewSet(BookViewSet):
    """Machines of the finishing, and what each gets through in a working day."""

    queryset = Machine.objects.order_by("step", "name")
    serializer_class = MachineSerializer
    filterset_fields = ["step"]


class MillView(Versioned, APIView):
    """The mill's own values, from which figures begin."""

    def versioned(self) -> Mill:
        return Mill.the_one()

    @extend_schema(responses={200: MillSerializer})
    def get(self, request: Request) -> Response:
        return Response(MillSerializer(Mill.the_one()).data)

    @extend_schema(request=MillSerializer(partial=True), responses={200: MillSerializer})
    def patch(self, request: Request) -> Response:
        """Write some of them down anew. Warps that no yarn is drawn for are worked out again."""
        mill = Mill.the_one()
        asked = MillSerializer(mill, data=request.data, partial=True)
        kept = looms.write_down(
            as_sent(asked, mill), by=request.user, seen=self.seen(mill), changed=asked.validated_data
        )
        return Response(MillSerializer(kept).data)


router = SimpleRouter()
router.register("reeds", ReedViewSet)
router.register("beams", BeamViewSet)
router.register("shift-patterns", ShiftPatternViewSet)
router.register("closures", ClosureViewSet)
router.register("workers", WorkerViewSet)
router.register("machines", MachineViewSet)
urlpatterns = [path("mill/", MillView.as_view(), name="api_mill"), *router.urls]
