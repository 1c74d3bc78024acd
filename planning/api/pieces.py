from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from mill.models import Mill
from mill.refusal import Refusal
from planning.models import Dispatch, FinishingBatch, Piece
from planning.piece import limit_per_100_m2
from planning.serializers.pieces import (
    AllocatedSerializer,
    BatchOutSerializer,
    BatchSerializer,
    CorrectedLengthSerializer,
    DispatchSerializer,
    FaultsSerializer,
    FinalPerchSerializer,
    JudgedSerializer,
    MeasuresSerializer,
    MendedSerializer,
    NewBatchSerializer,
    NewDispatchSerializer,
    PerchedSerializer,
    PieceSerializer,
    WhySerializer,
)
from planning.services import dispatch, finishing, pieces


def _asked(serializer: Any) -> dict[str, Any]:
    serializer.is_valid(raise_exception=True)
    return dict(serializer.validated_data)


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
    """Pieces from the cut to dispatch, and what the perch, the menders and the final perch say of them."""

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
        """Measured finished and relaxed, and weighed."""
        pieces.measure(self.get_object(), by=request.user, **_asked(MeasuresSerializer(data=request.data)))
        return self._told()

    def _told(self) -> Response:
        return Response(PieceSerializer(self.get_object()).data)

    @extend_schema(request=PerchedSerializer, responses={200: PieceSerializer})
    @action(detail=True, methods=["post"])
    def perch(self, request: Request, number: str | None = None) -> Response:
        """At the grey perch: measured relaxed, and so many minutes asked of the menders. Done again it counts anew."""
        pieces.perch_grey(self.get_object(), by=request.user, **_asked(PerchedSerializer(data=request.data)))
        return self._told()

    @extend_schema(request=MendedSerializer, responses={200: PieceSerializer})
    @action(detail=True, methods=["post"])
    def mend(self, request: Request, number: str | None = None) -> Response:
        """Minutes that a mender spent; with `is_mended` nothing is left."""
        pieces.mend(self.get_object(), by=request.user, **_asked(MendedSerializer(data=request.data)))
        return self._told()

    @extend_schema(request=FaultsSerializer, responses={200: PieceSerializer})
    @action(detail=True, methods=["post"])
    def faults(self, request: Request, number: str | None = None) -> Response:
        """All faults as the percher found them, in place of those written before; its points follow."""
        pieces.write_faults(self.get_object(), by=request.user, **_asked(FaultsSerializer(data=request.data)))
        return self._told()

    @extend_schema(request=FinalPerchSerializer, responses={200: PieceSerializer})
    @action(detail=True, methods=["post"], url_path="final-perch")
    def final_perch(self, request: Request, number: str | None = None) -> Response:
        """Measured, graded and judged in one go; all of it or nothing."""
        pieces.final_perch(self.get_object(), by=request.user, **_asked(FinalPerchSerializer(data=request.data)))
        return self._told()

    @extend_schema(request=JudgedSerializer, responses={200: PieceSerializer})
    @action(detail=True, methods=["post"])
    def judge(self, request: Request, number: str | None = None) -> Response:
        """Pass, a second, mend again, or finish again from a step. A second leaves its order line."""
        pieces.judge(self.get_object(), by=request.user, **_asked(JudgedSerializer(data=request.data)))
        return self._told()

    @extend_schema(request=AllocatedSerializer, responses={200: PieceSerializer})
    @action(detail=True, methods=["post"])
    def allocate(self, request: Request, number: str | None = None) -> Response:
        """Put it to an order line of its cloth and colourway, or to none."""
        pieces.allocate(self.get_object(), by=request.user, **_asked(AllocatedSerializer(data=request.data)))
        return self._told()

    @extend_schema(request=CorrectedLengthSerializer, responses={200: PieceSerializer})
    @action(detail=True, methods=["post"], url_path="correct-length")
    def correct_length(self, request: Request, number: str | None = None) -> Response:
        """Another length off the loom than was written; both stay in its account."""
        pieces.correct_length(
            self.get_object(), by=request.user, **_asked(CorrectedLengthSerializer(data=request.data))
        )
        return self._told()


class BatchViewSet(viewsets.ReadOnlyModelViewSet[FinishingBatch]):
    """Finishing batches, each with its pieces. POST puts pieces into a step that is next for each of them."""

    queryset = FinishingBatch.objects.prefetch_related("pieces__piece")
    serializer_class = BatchSerializer
    lookup_field = "number"
    lookup_value_regex = "[0-9]{1,9}"
    filterset_fields = {"step": ["exact"], "out_at": ["isnull"]}

    def _told(self, batch: FinishingBatch, status: int = 200) -> Response:
        return Response(BatchSerializer(self.get_queryset().get(pk=batch.pk)).data, status=status)

    @extend_schema(request=NewBatchSerializer, responses={201: BatchSerializer})
    def create(self, request: Request) -> Response:
        said = _asked(NewBatchSerializer(data=request.data))
        return self._told(finishing.put_in(said.pop("pieces"), by=request.user, **said), status=201)

    @extend_schema(request=BatchOutSerializer, responses={200: BatchSerializer})
    @action(detail=True, methods=["post"])
    def out(self, request: Request, number: str) -> Response:
        """It is through its step. Told twice, it is out once."""
        said = _asked(BatchOutSerializer(data=request.data))
        batch = self.get_object()
        its = {row.piece.number: row.piece_id for row in batch.pieces.all()}
        strange = next((size["piece"] for size in said["sizes"] if size["piece"] not in its), None)
        if strange is not None:
            raise Refusal(
                f"Piece {strange} is not one of the {len(its)} pieces in {batch}: {', '.join(its)}. Leave it out.",
                field="sizes",
            )
        sizes = {its[size["piece"]]: (size["width_cm"], size["length_m"]) for size in said["sizes"]}
        return self._told(finishing.take_out(batch, by=request.user, sizes=sizes, worker=said["worker"]))

    @extend_schema(request=WhySerializer, responses={204: None})
    @action(detail=True, methods=["post"])
    def undo(self, request: Request, number: str) -> Response:
        """It was never put in: it is struck out, and its pieces stand where they stood."""
        finishing.undo_batch(self.get_object(), by=request.user, **_asked(WhySerializer(data=request.data)))
        return Response(status=204)


class DispatchViewSet(viewsets.ReadOnlyModelViewSet[Dispatch]):
    """What was sent: a note's pieces, as they were measured. POST sends ready pieces of a customer."""

    queryset = Dispatch.objects.select_related("customer").prefetch_related("pieces__piece", "pieces__line__order")
    serializer_class = DispatchSerializer
    lookup_field = "number"
    lookup_value_regex = "[0-9]{1,9}"
    filterset_fields = {"customer__code": ["exact"], "sent_on": ["gte", "lte"]}

    def _told(self, sent: Dispatch, status: int = 200) -> Response:
        return Response(DispatchSerializer(self.get_queryset().get(pk=sent.pk)).data, status=status)

    @extend_schema(request=NewDispatchSerializer, responses={201: DispatchSerializer})
    def create(self, request: Request) -> Response:
        said = _asked(NewDispatchSerializer(data=request.data))
        customer, chosen = said.pop("customer"), said.pop("pieces")
        return self._told(dispatch.send(customer, chosen, by=request.user, **said), status=201)

    @extend_schema(request=WhySerializer, responses={200: DispatchSerializer})
    @action(detail=True, methods=["post"], url_path="take-back")
    def take_back(self, request: Request, number: str) -> Response:
        """It was not sent after all: its pieces are ready again; the note stays in the book and says so."""
        said = _asked(WhySerializer(data=request.data))
        return self._told(dispatch.take_back(self.get_object(), by=request.user, **said))


router = SimpleRouter()
router.register("pieces", PieceViewSet)
router.register("batches", BatchViewSet)
router.register("dispatches", DispatchViewSet)
urlpatterns = router.urls
