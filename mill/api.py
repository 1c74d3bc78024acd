"""The API of the whole book, which no app owns."""

from django.urls import path
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from mill import changes
from mill.refusal import Refusal
from mill.serializers import ChangesSerializer

AT_MOST = 500
SINCE = OpenApiParameter("since", str, description="The cursor `next` of the last answer; 0-0 begins at the beginning.")
LIMIT = OpenApiParameter(
    "limit", int, description=f"So many changes at most, 1 to {AT_MOST}; 100 when nothing is said."
)


class ChangesView(APIView):
    """What was changed after a cursor, oldest first: each change once, and none left out.

    Keep `next` and ask with it again. Changes are shown as soon as nothing that was begun before them can still come.
    """

    @extend_schema(parameters=[SINCE, LIMIT], responses={200: ChangesSerializer})
    def get(self, request: Request) -> Response:
        asked = request.query_params.get("limit", "100")
        if not (asked.isascii() and asked.isdecimal() and len(asked) < 5 and 1 <= int(asked) <= AT_MOST):
            raise Refusal(f"{asked!r} changes can't be shown at once. Write 1 to {AT_MOST}.", field="limit")
        found, cursor = changes.since(request.query_params.get("since") or "0-0", at_most=int(asked))
        answer = {"changes": found, "next": cursor, "has_more": len(found) == int(asked)}
        return Response(ChangesSerializer(answer).data)


urlpatterns = [path("changes/", ChangesView.as_view(), name="api_changes")]
