from typing import Any

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from inventory.serializers import ForeseenSerializer
from mill import jobs
from mill.edits import Versioned
from mill.models import Job
from planning.api.records import as_sent
from planning.models import Loom, PlanRun, Warp
from planning.serializers.effects import (
    EffectsOrNoneSerializer,
    EffectsSerializer,
    LateDaySerializer,
    StandsUntilSerializer,
)
from planning.serializers.looms import (
    AskedMoveSerializer,
    AskedSearchSerializer,
    EfficiencySerializer,
    LateYarnSerializer,
    LoomHoldSerializer,
    LoomSerializer,
    NewPlanSerializer,
    PlanBriefSerializer,
    PlanSerializer,
    SearchSerializer,
    StandsSerializer,
    WrittenLoomSerializer,
)
from planning.services import actuals, board, effects, foresight, improving, looms, plans
from planning.views.looms import plan_in_force, with_queue


class LoomViewSet(Versioned, viewsets.ReadOnlyModelViewSet[Loom]):
    """The looms, each with its queue in the plan in force. POST writes a new one down, PATCH changes one."""

    queryset = Loom.objects.all()
    serializer_class = LoomSerializer
    lookup_field = "code"
    lookup_value_regex = "[^/]+"
    filterset_fields = ["is_held", "is_jacquard"]

    def get_queryset(self) -> QuerySet[Loom]:
        return with_queue(Loom.objects.all(), plan_in_force())

    def _told(self, loom: Loom, status: int = 200) -> Response:
        return Response(LoomSerializer(self.get_queryset().get(pk=loom.pk)).data, status=status)

    @extend_schema(request=WrittenLoomSerializer, responses={201: LoomSerializer})
    def create(self, request: Request) -> Response:
        return self._told(
            looms.write_down(as_sent(WrittenLoomSerializer(data=request.data), Loom()), by=request.user), 201
        )

    @extend_schema(request=WrittenLoomSerializer(partial=True), responses={200: LoomSerializer})
    def partial_update(self, request: Request, code: str) -> Response:
        found = get_object_or_404(Loom, pk=self.get_object().pk)
        asked = WrittenLoomSerializer(found, data=request.data, partial=True)
        return self._told(
            looms.write_down(
                as_sent(asked, found), by=request.user, seen=self.seen(found), changed=asked.validated_data
            )
        )

    @extend_schema(request=LoomHoldSerializer, responses={200: LoomSerializer})
    @action(detail=True, methods=["post"])
    def hold(self, request: Request, code: str) -> Response:
        """Nothing new is planned on it until it is let go; what hangs on it stays."""
        asked = LoomHoldSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        looms.hold_loom(self.get_object(), reason=asked.validated_data["reason"], by=request.user)
        return self._told(self.get_object())

    @extend_schema(request=None, responses={200: LoomSerializer})
    @action(detail=True, methods=["post"], url_path="let-go")
    def let_go(self, request: Request, code: str) -> Response:
        """It is planned on again from the next plan on."""
        looms.let_go(self.get_object(), by=request.user)
        return self._told(self.get_object())

    @extend_schema(request=StandsSerializer, responses={202: SearchSerializer})
    @action(detail=True, methods=["post"])
    def stands(self, request: Request, code: str) -> Response:
        """It stands until a moment: written down or only tried, and the shed is re-planned with few moves."""
        asked = StandsSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        job = improving.ask_without(self.get_object(), by=request.user, **asked.validated_data)
        return Response(SearchSerializer(job).data, status=202)

    @extend_schema(request=StandsUntilSerializer, responses={200: EffectsOrNoneSerializer})
    @action(detail=True, methods=["post"], url_path="stands/effects", url_name="stands-effects")
    def stands_effects(self, request: Request, code: str) -> Response:
        """What it would do to days, hours and tickets that it stands until a moment. Writes nothing."""
        asked = StandsUntilSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        found = effects.of_breakdown(self.get_object(), **asked.validated_data)
        return Response(EffectsOrNoneSerializer({"effects": found}).data)

    @extend_schema(request=EfficiencySerializer, responses={200: LoomSerializer})
    @action(detail=True, methods=["post"])
    def efficiency(self, request: Request, code: str) -> Response:
        """Reckon it at the efficiency that it was woven with; warps and demand on it are worked out again."""
        asked = EfficiencySerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        return self._told(actuals.take_efficiency(self.get_object(), by=request.user, **asked.validated_data))


class PlanViewSet(
    mixins.ListModelMixin, mixins.RetrieveModelMixin, mixins.CreateModelMixin, viewsets.GenericViewSet[PlanRun]
):
    """Plans of warps on looms. POST makes one, offered; nothing follows from it until it is put in force."""

    queryset = PlanRun.objects.select_related("by", "decided_by")
    filterset_fields = ["state"]

    def get_queryset(self) -> QuerySet[PlanRun]:
        rows = super().get_queryset()
        return rows if self.action == "list" else rows.prefetch_related("slots__warp", "slots__loom")

    def get_serializer_class(self) -> type[PlanSerializer]:
        return PlanBriefSerializer if self.action == "list" else PlanSerializer

    @extend_schema(request=NewPlanSerializer, responses={201: PlanSerializer})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        asked = NewPlanSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        run = plans.make_plan(rule=asked.validated_data["rule"], by=request.user)
        return Response(PlanSerializer(run).data, status=201)

    @extend_schema(responses={200: ForeseenSerializer})
    @action(detail=True)
    def foresight(self, request: Request, pk: str | None = None) -> Response:
        """What the plan would do to yarn, were it put in force. Writes nothing."""
        return Response(ForeseenSerializer(foresight.foresee_plan(self.get_object())).data)

    @extend_schema(responses={200: EffectsSerializer})
    @action(detail=True)
    def effects(self, request: Request, pk: str | None = None) -> Response:
        """What the plan, a move by hand too, would do to days, hours and tickets once in force. Writes nothing."""
        return Response(EffectsSerializer(effects.of_plan(self.get_object())).data)

    @extend_schema(request=None, responses={200: PlanSerializer})
    @action(detail=True, methods=["post"], url_path="put-in-force")
    def put_in_force(self, request: Request, pk: str | None = None) -> Response:
        return Response(PlanSerializer(plans.put_in_force(self.get_object(), by=request.user)).data)

    @extend_schema(request=None, responses={200: PlanSerializer})
    @action(detail=True, methods=["post"], url_path="bring-back")
    def bring_back(self, request: Request, pk: str | None = None) -> Response:
        """An overtaken plan is put back in force, timed afresh as a plan of its own."""
        return Response(PlanSerializer(plans.bring_back(self.get_object(), by=request.user)).data)

    @extend_schema(request=None, responses={200: PlanSerializer})
    @action(detail=True, methods=["post"], url_path="put-aside")
    def put_aside(self, request: Request, pk: str | None = None) -> Response:
        """An offered plan is refused; it stays in the book."""
        plans.refuse_plan(self.get_object(), by=request.user)
        return Response(PlanSerializer(self.get_object()).data)

    @extend_schema(request=None, responses={200: PlanSerializer})
    @action(detail=True, methods=["post"], url_path="take-back")
    def take_back(self, request: Request, pk: str | None = None) -> Response:
        """The last move by hand is undone: its copy is put aside, and the plan that it was made from is answered."""
        return Response(PlanSerializer(board.take_back(self.get_object(), by=request.user)).data)

    @extend_schema(request=AskedMoveSerializer, responses={201: PlanSerializer})
    @action(detail=True, methods=["post"])
    def move(self, request: Request, pk: str | None = None) -> Response:
        """A warp moved by hand, in a copy of the plan that is offered."""
        asked = AskedMoveSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        words = asked.validated_data
        run = board.move(
            self.get_object(),
            get_object_or_404(Warp, number=words["warp"]),
            loom=get_object_or_404(Loom, code=words["loom"]),
            turn=words["turn"] - 1 if "turn" in words else None,
            at=words.get("at"),
            pin=words["pin"],
            by=request.user,
        )
        return Response(PlanSerializer(run).data, status=201)


class SearchViewSet(mixins.RetrieveModelMixin, viewsets.GenericViewSet[Job]):
    """A better plan looked for in the background. POST asks for one; it is offered, not put in force."""

    queryset = Job.objects.filter(task=improving.TASK)
    serializer_class = SearchSerializer

    @extend_schema(request=AskedSearchSerializer, responses={202: SearchSerializer})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        asked = AskedSearchSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        job = improving.ask(by=request.user, **asked.validated_data)
        return Response(SearchSerializer(job).data, status=202)

    @extend_schema(request=LateYarnSerializer, responses={202: SearchSerializer})
    @action(detail=False, methods=["post"], url_path="late-yarn")
    def late_yarn(self, request: Request) -> Response:
        """A delivery comes later: written down or only tried, and the shed is re-planned with few moves."""
        asked = LateYarnSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        said = dict(asked.validated_data)
        job = improving.ask_with_late_yarn(said.pop("delivery"), by=request.user, **said)
        return Response(SearchSerializer(job).data, status=202)

    @extend_schema(request=LateDaySerializer, responses={200: EffectsOrNoneSerializer})
    @action(detail=False, methods=["post"], url_path="late-yarn/effects", url_name="late-yarn-effects")
    def late_yarn_effects(self, request: Request) -> Response:
        """What a later delivery would do to days, hours and tickets. Writes nothing."""
        asked = LateDaySerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        said = dict(asked.validated_data)
        delivery = said.pop("delivery")
        improving.refuse_no_later(delivery, said["expected_on"])
        found = effects.of_late_delivery(delivery, **said)
        return Response(EffectsOrNoneSerializer({"effects": found}).data)

    @extend_schema(request=None, responses={200: SearchSerializer})
    @action(detail=True, methods=["post"])
    def stop(self, request: Request, pk: str | None = None) -> Response:
        """End it with the best that it has found."""
        job = self.get_object()
        jobs.stop(job, by=request.user)
        job.refresh_from_db()
        return Response(SearchSerializer(job).data)


router = SimpleRouter()
router.register("looms", LoomViewSet)
router.register("plans", PlanViewSet)
router.register("plan-searches", SearchViewSet, basename="plan-search")
urlpatterns = router.urls
