from django.urls import path
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from mill import roles
from mill.refusal import Refusal
from planning.serializers.finding import FoundThingsSerializer
from planning.services import finding

ASKED = OpenApiParameter(
    "q", str, required=True, description="A number, name, reference or scanned address; a kind may stand before it."
)


class FindView(APIView):
    """What answers to a number, name, reference or scanned address, by kind; what is named just so first."""

    @extend_schema(parameters=[ASKED], responses={200: FoundThingsSerializer})
    def get(self, request: Request) -> Response:
        asked = finding.tidy(request.query_params.get("q", ""))
        if not asked:
            raise Refusal("There is nothing to look for. Write a number, a name or a reference.", field="q")
        return Response(
            FoundThingsSerializer(
                {"asked": asked, "groups": finding.find(asked, held=roles.roles_of(request.user))}
            ).data
        )


urlpatterns = [path("find/", FindView.as_view(), name="api_find")]
