from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from planning.models import Loom, PlanRun
from planning.serializers.looms import (
    LoomSerializer,
    NewPlanSerializer,
    PlanBriefSerializer,
    PlanSerializer,
)
from planning.serializers.tickets import RefusalSerializer
from planning.services import plans
from planning.views.looms import plan_in_force, with_queue


class LoomViewSet(viewsets.ReadOnlyModelViewSet[Loom]):
    """The looms, each with its queue in the plan in force."""

    queryset = Loom.objects.all()
    serializer_class = LoomSerializer
    lookup_field = "code"
    lookup_value_regex = "[^/]+"
    filterset_fields = ["is_held", "is_jacquard"]

    def get_queryset(self) -> QuerySet[Loom]:
        return with_queue(Loom.objects.all(), plan_in_force())


class PlanViewSet(
    mixins.ListModelMixin, mixins.RetrieveModelMixin, mixins.CreateModelMixin, viewsets.GenericViewSet[PlanRun]
):
    """Plans of warps on looms. POST makes one, offered; nothing follows from it until it is put in force."""

    queryset = PlanRun.objects.all()
    filterset_fields = ["state"]

    def get_queryset(self) -> QuerySet[PlanRun]:
        rows = super().get_queryset()
        return rows if self.action == "list" else rows.prefetch_related("slots__warp", "slots__loom")

    def get_serializer_class(self) -> type[PlanSerializer]:
        return PlanBriefSerializer if self.action == "list" else PlanSerializer

    @extend_schema(request=NewPlanSerializer, responses={201: PlanSerializer, 400: RefusalSerializer})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        asked = NewPlanSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        run = plans.make_plan(rule=asked.validated_data["rule"], by=request.user)
        return Response(PlanSerializer(run).data, status=201)

    @extend_schema(request=None, responses={200: PlanSerializer, 400: RefusalSerializer})
    @action(detail=True, methods=["post"], url_path="put-in-force")
    def put_in_force(self, request: Request, pk: str | None = None) -> Response:
        return Response(PlanSerializer(plans.put_in_force(self.get_object(), by=request.user)).data)


router = SimpleRouter()
router.register("looms", LoomViewSet)
router.register("plans", PlanViewSet)
urlpatterns = router.urls
