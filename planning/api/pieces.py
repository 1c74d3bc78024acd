from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from mill.models import Mill
from planning.models import Dispatch, FinishingBatch, Piece
from planning.piece import limit_per_100_m2
from planning.serializers.pieces import BatchSerializer, DispatchSerializer, MeasuresSerializer, PieceSerializer
from planning.services import finishing, pieces


def _standing(piece: Piece, *, mill: Mill | None = None) -> Piece:
    """With where it stands and how it is graded, which the serializer shows."""
    shown: Any = piece
    limit = pieces.limit_for(piece, mill=mill)
    grade = pieces.grade_of(piece, limit_per_100_yd2=limit.per_100_yd2)
    shown.stands = finishing.standing(piece).where
    shown.points_per_100_m2 = grade.points_per_100_m2 if grade else None
    shown.points_limit_per_100_m2 = limit_per_100_m2(limit.per_100_yd2)
    return piece


class PieceViewSet(viewsets.ReadOnlyModelViewSet[Piece]):
    """Pieces from the cut to dispatch. POST to `measure` writes down what the final perch measured."""

    queryset = Piece.objects.select_related(
        "spec__cloth", "warp", "line__order__customer", "woven_by"
    ).prefetch_related("spec__route_steps", "steps__batch", "mends")
    serializer_class = PieceSerializer
    lookup_field = "number"
    lookup_value_regex = "[^/]+"
    filterset_fields = {
        "state": ["exact"],
        "verdict": ["exact"],
        "warp__number": ["exact"],
        "line__order__number": ["exact"],
        "woven_on": ["gte", "lte"],
    }

    def get_object(self) -> Piece:
        return _standing(super().get_object())

    def paginate_queryset(self, queryset: Any) -> Any:
        page = super().paginate_queryset(queryset)
        mill = Mill.the_one()
        return page and [_standing(piece, mill=mill) for piece in page]

    @extend_schema(request=MeasuresSerializer, responses={200: PieceSerializer})
    @action(detail=True, methods=["post"])
    def measure(self, request: Request, number: str | None = None) -> Response:
        said = MeasuresSerializer(data=request.data)
        said.is_valid(raise_exception=True)
        pieces.measure(self.get_object(), by=request.user, **said.validated_data)
        return Response(PieceSerializer(self.get_object()).data)


class BatchViewSet(viewsets.ReadOnlyModelViewSet[FinishingBatch]):
    """Finishing batches, each with its pieces."""

    queryset = FinishingBatch.objects.prefetch_related("pieces__piece")
    serializer_class = BatchSerializer
    lookup_field = "number"
    lookup_value_regex = "[0-9]{1,9}"
    filterset_fields = {"step": ["exact"], "out_at": ["isnull"]}


class DispatchViewSet(viewsets.ReadOnlyModelViewSet[Dispatch]):
    """What was sent: a note's pieces, as they were measured."""

    queryset = Dispatch.objects.select_related("customer").prefetch_related("pieces__piece", "pieces__line__order")
    serializer_class = DispatchSerializer
    lookup_field = "number"
    lookup_value_regex = "[0-9]{1,9}"
    filterset_fields = {"customer__code": ["exact"], "sent_on": ["gte", "lte"]}


router = SimpleRouter()
router.register("pieces", PieceViewSet)
router.register("batches", BatchViewSet)
router.register("dispatches", DispatchViewSet)
urlpatterns = router.urls
