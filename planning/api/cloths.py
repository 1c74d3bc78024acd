from typing import Any

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework import viewsets
from rest_framework.decorators import action, api_view
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from mill.edits import Versioned
from mill.refusal import Refusal
from planning.models import Cloth, ClothSpec, Colourway
from planning.serializers.cloths import (
    ClothHeadSerializer,
    ClothSerializer,
    ColourwayRowSerializer,
    CorrectionSerializer,
    DraftSerializer,
    NewClothSerializer,
    NewColourwaySerializer,
    PreviewSerializer,
    RevisionSerializer,
    WorkedRevisionSerializer,
)
from planning.services import cloths
from planning.services.cloths import ColourwayDraft, SpecDraft
from planning.services.revision_foresight import effects_of_revision
from planning.views.cloths import ClothFilter, with_figures


def _read(serializer: DraftSerializer) -> SpecDraft:
    serializer.is_valid(raise_exception=True)
    said = serializer.said
    return SpecDraft(said["columns"], said["route"], [ColourwayDraft(**said) for said in said["colourways"]])


def _figures(draft: SpecDraft, *, cloth: Cloth, revision: int) -> list[dict[str, Any]]:
    made = cloths.as_cloths(draft, cloth=cloth, revision=revision)
    return [{"colourway": name, "figures": cloths.figures_of(numbers)} for name, numbers in made.items()]


def worked(spec: ClothSpec) -> dict[str, Any]:
    draft = cloths.draft_of(spec)
    earlier = spec.cloth.specs.filter(revision__lt=spec.revision).order_by("-revision")
    before = cloths.with_yarns(earlier).first()
    worked: Any = spec
    worked.figures = _figures(draft, cloth=spec.cloth, revision=spec.revision)
    worked.differences = cloths.differences(cloths.draft_of(before), draft) if before else []
    return dict(WorkedRevisionSerializer(worked).data)


class ClothViewSet(Versioned, viewsets.ReadOnlyModelViewSet[Cloth]):
    """Cloths with their latest revision's number. POST writes a new cloth down, PATCH changes what one is called."""

    queryset = Cloth.objects.order_by("code")
    serializer_class = ClothSerializer
    lookup_field = "code"
    lookup_value_regex = "[^/]+"
    filterset_class = ClothFilter

    of_one = Versioned.of_one | {"colourway", "revision", "correct"}

    def mark(self, row: Cloth | ClothSpec | Colourway) -> str:
        """Of a revision its yarns and route count too, though they are no columns of it."""
        return cloths.mark_of(row) if isinstance(row, ClothSpec) else super().mark(row)

    def get_queryset(self) -> QuerySet[Cloth]:
        return with_figures(Cloth.objects.order_by("code"))

    @extend_schema(request=NewClothSerializer, responses={201: WorkedRevisionSerializer})
    def create(self, request: Request) -> Response:
        asked = NewClothSerializer(data=request.data)
        draft = _read(asked)
        code, name, note = (asked.validated_data[key] for key in ("code", "name", "note"))
        spec = cloths.new_cloth(code=code, name=name, draft=draft, by=request.user, note=note)
        return Response(worked(spec), status=201)

    @extend_schema(request=ClothHeadSerializer(partial=True), responses={200: ClothSerializer})
    def partial_update(self, request: Request, code: str) -> Response:
        """Another code or name, or put away."""
        own = self._versioned = get_object_or_404(Cloth, code=code)
        asked = ClothHeadSerializer(data=request.data, partial=True)
        asked.is_valid(raise_exception=True)
        head = {name: getattr(own, name) for name in ("code", "name", "is_in_use")}
        changed = cloths.change_cloth(own, by=request.user, seen=self.seen(own), **{**head, **asked.validated_data})
        return Response(ClothSerializer(self.get_queryset().get(pk=changed.pk)).data)

    @extend_schema(responses=ColourwayRowSerializer(many=True))
    @action(detail=True, pagination_class=None, filterset_class=None)
    def colourways(self, request: Request, code: str) -> Response:
        """Every colourway, by name."""
        own = get_object_or_404(Cloth, code=code)
        return Response(ColourwayRowSerializer(own.colourways.order_by("name", "pk"), many=True).data)

    @extend_schema(request=NewColourwaySerializer, responses={201: ColourwayRowSerializer})
    @colourways.mapping.post
    def add_colourway(self, request: Request, code: str) -> Response:
        """One more colourway of the cloth as it stands: no revision, since nothing that is woven changes."""
        own = get_object_or_404(Cloth, code=code)
        asked = NewColourwaySerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        added = cloths.add_colourway(own, by=request.user, **asked.validated_data)
        return Response(ColourwayRowSerializer(added).data, status=201)

    @extend_schema(request=ColourwayRowSerializer, responses={200: ColourwayRowSerializer})
    @action(detail=True, methods=["patch"], url_path=r"colourways/(?P<colourway>[0-9]{1,18})")
    def colourway(self, request: Request, code: str, colourway: str) -> Response:
        """Another name of a colourway."""
        found = self._versioned = get_object_or_404(Colourway, pk=int(colourway), cloth__code=code)
        asked = ColourwayRowSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        said = asked.validated_data
        return Response(
            ColourwayRowSerializer(cloths.rename_colourway(found, by=request.user, seen=self.seen(found), **said)).data
        )

    @extend_schema(responses=RevisionSerializer(many=True))
    @action(detail=True, pagination_class=None, filterset_class=None)
    def revisions(self, request: Request, code: str) -> Response:
        """Every revision, the latest first."""
        own = get_object_or_404(Cloth, code=code)
        rows = cloths.with_yarns(own.specs.order_by("-revision"))
        return Response(RevisionSerializer(rows, many=True).data)

    @extend_schema(request=DraftSerializer, responses={201: WorkedRevisionSerializer})
    @revisions.mapping.post
    def revise(self, request: Request, code: str) -> Response:
        """Write the next revision. Warps that no yarn is drawn for follow it; tickets of earlier ones are overtaken."""
        own = get_object_or_404(Cloth, code=code)
        asked = DraftSerializer(data=request.data)
        draft = _read(asked)
        note, based_on = asked.validated_data["note"], asked.validated_data["based_on"]
        spec = cloths.revise(own, draft, by=request.user, note=note, based_on=based_on)
        return Response(worked(spec), status=201)

    @extend_schema(responses=WorkedRevisionSerializer)
    @action(detail=True, url_path=r"revisions/(?P<revision>\d{1,6})")
    def revision(self, request: Request, code: str, revision: str) -> Response:
        """One revision, with its figures and their working in each of its colourways."""
        rows = cloths.with_yarns(ClothSpec.objects.filter(cloth__code=code))
        found = self._versioned = get_object_or_404(rows, revision=int(revision))
        return Response(worked(found))

    @extend_schema(request=CorrectionSerializer, responses={200: WorkedRevisionSerializer})
    @revision.mapping.put
    def correct(self, request: Request, code: str, revision: str) -> Response:
        """Write the latest revision anew, while no warp, ticket or piece stands on it."""
        found = get_object_or_404(ClothSpec.objects.filter(cloth__code=code), revision=int(revision))
        asked = CorrectionSerializer(data=request.data)
        draft = _read(asked)
        spec = cloths.edit_spec(found, draft, by=request.user, note=asked.validated_data["note"], seen=self.seen(found))
        now = self._versioned = cloths.with_yarns(ClothSpec.objects.filter(pk=spec.pk)).get()
        return Response(worked(now))

    @extend_schema(request=DraftSerializer, responses={200: PreviewSerializer})
    @action(detail=True, methods=["post"])
    def preview(self, request: Request, code: str) -> Response:
        """What a draft comes to, and what it would change as the next revision. Writes nothing."""
        own = get_object_or_404(Cloth, code=code)
        draft = _read(DraftSerializer(data=request.data))
        consequences = cloths.what_it_changes(own, draft)
        figures = _figures(draft, cloth=own, revision=consequences.revision)
        answer: dict[str, Any] = {"figures": figures, "consequences": consequences, "effects": None}
        try:
            answer["effects"] = effects_of_revision(own, draft)
        except Refusal as refusal:
            answer["effects_refused"] = refusal.message
        return Response(PreviewSerializer(answer).data)


@extend_schema(request=NewClothSerializer, responses={200: PreviewSerializer})
@api_view(["POST"])
def cloth_preview(request: Request) -> Response:
    """What a new cloth comes to. Writes nothing."""
    asked = NewClothSerializer(data=request.data)
    draft = _read(asked)
    cloth = Cloth(code=asked.validated_data["code"], name=asked.validated_data["name"])
    figures = _figures(draft, cloth=cloth, revision=1)
    return Response(PreviewSerializer({"figures": figures, "consequences": None, "effects": None}).data)


router = SimpleRouter()
router.register("cloths", ClothViewSet)
urlpatterns = [*router.urls, path("cloth-preview/", cloth_preview, name="cloth-preview-new")]
