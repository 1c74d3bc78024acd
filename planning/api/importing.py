from collections import defaultdict

from django.urls import path
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.exceptions import PermissionDenied
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from mill import roles
from mill.limits import ApiThrottle, ImportsThrottle
from mill.problems import PROBLEM_JSON, problem
from planning.csv_book import KINDS
from planning.serializers.importing import BroughtSerializer, ImportKindSerializer, ImportSerializer
from planning.services import importing
from planning.services.importing import NotBroughtIn

KIND = OpenApiParameter("kind", OpenApiTypes.STR, OpenApiParameter.PATH, enum=KINDS)


class ImportKindsView(APIView):
    """The kinds of files that are brought in, each with its columns, in the order in which an empty book is filled."""

    @extend_schema(operation_id="imports_list", responses={200: ImportKindSerializer(many=True)})
    def get(self, request: Request) -> Response:
        return Response(ImportKindSerializer(importing.KINDS.values(), many=True).data)


class ImportView(APIView):
    """A file brought in: all of it or nothing. Brought in twice, it changes nothing the second time."""

    throttle_classes = [ApiThrottle, ImportsThrottle]

    @extend_schema(parameters=[KIND], request=ImportSerializer, responses={200: BroughtSerializer})
    def post(self, request: Request, kind: str) -> Response:
        """What is wrong with it stands under `errors` by row and column: row 3.width_cm."""
        if not roles.may_bring_in(roles.roles_of(request.user), kind):
            raise PermissionDenied(f"Your roles don't bring in {kind}; the owner or a planner does.")
        asked = ImportSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        said = asked.validated_data
        try:
            brought = importing.bring_in(
                kind, said["csv"].encode(), by=request.user, decimal=said["decimal"], is_check=said["is_check"]
            )
        except NotBroughtIn as refusal:
            errors: dict[str, list[str]] = defaultdict(list)
            for wrong in refusal.wrong:
                row = f"row {wrong.row}" if wrong.row else "csv"
                errors[f"{row}.{wrong.column}" if wrong.column else row].append(wrong.said)
            return Response(problem(400, refusal.message, errors), status=400, content_type=PROBLEM_JSON)
        return Response(BroughtSerializer(brought).data)


urlpatterns = [
    path("imports/", ImportKindsView.as_view(), name="api_import_kinds"),
    path("imports/<str:kind>/", ImportView.as_view(), name="api_import"),
]
