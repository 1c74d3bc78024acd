"""The API of the whole book, which no app owns."""

from typing import Any

from csp.constants import SELF, UNSAFE_INLINE
from csp.decorators import csp_update
from django.db.models import QuerySet
from django.urls import path, reverse
from drf_spectacular.utils import OpenApiParameter, extend_schema
from drf_spectacular.views import SpectacularRedocView
from rest_framework import viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter
from rest_framework.views import APIView

from mill import backup, changes, jobs, roles, tokens
from mill.limits import ApiThrottle, BackupsThrottle
from mill.models import ApiToken, Job
from mill.refusal import Refusal
from mill.serializers import (
    BackupsSerializer,
    ChangesSerializer,
    JobSerializer,
    TokenMadeSerializer,
    TokenNewSerializer,
    TokenSerializer,
)

AT_MOST = 500
SINCE = OpenApiParameter("since", str, description="The cursor `next` of the last answer; 0-0 begins at the beginning.")
LIMIT = OpenApiParameter(
    "limit", int, description=f"So many changes at most, 1 to {AT_MOST}; 100 when nothing is said."
)


class ChangesView(APIView):
    """What was changed after a cursor, oldest first: each change once, and none left out.

    Keep `next` and ask with it again. Changes are shown as soon as nothing that was begun before them can still come;
    those that one's roles don't read are left out.
    """

    @extend_schema(parameters=[SINCE, LIMIT], responses={200: ChangesSerializer})
    def get(self, request: Request) -> Response:
        asked = request.query_params.get("limit", "100")
        if not (asked.isascii() and asked.isdecimal() and len(asked) < 5 and 1 <= int(asked) <= AT_MOST):
            raise Refusal(f"{asked!r} changes can't be shown at once. Write 1 to {AT_MOST}.", field="limit")
        found, cursor = changes.since(
            request.query_params.get("since") or "0-0",
            at_most=int(asked),
            without=changes.kept_from(roles.roles_of(request.user)),
        )
        answer = {"changes": found, "next": cursor, "has_more": len(found) == int(asked)}
        return Response(ChangesSerializer(answer).data)


class BackupsView(APIView):
    """The backups that are kept, and one to be written now."""

    throttle_classes = [ApiThrottle, BackupsThrottle]

    @extend_schema(responses={200: BackupsSerializer})
    def get(self, request: Request) -> Response:
        return Response(BackupsSerializer(_backups()).data)

    @extend_schema(request=None, responses={202: BackupsSerializer})
    def post(self, request: Request) -> Response:
        """Have a backup written in the background: it is kept when `is_pending` is false again and it is listed."""
        backup.ask(by=request.user)
        return Response(BackupsSerializer(_backups()).data, status=202)


def _backups() -> dict[str, Any]:
    kept = [
        {
            "file": path.name,
            "written_at": backup.moment_of(path),
            "bytes": path.stat().st_size,
            "address": reverse("backup_file", args=[path.name]),
        }
        for path in backup.all_kept()
    ]
    return {"backups": kept, "is_pending": jobs.is_pending(backup.TASK)}


class TokenViewSet(viewsets.ReadOnlyModelViewSet[ApiToken]):
    """Tokens of programs: one's own, and everybody's to the owner. Their secrets are not kept."""

    queryset = ApiToken.objects.none()
    serializer_class = TokenSerializer
    lookup_value_regex = "[0-9]{1,18}"

    def get_queryset(self) -> QuerySet[ApiToken]:
        return tokens.seen_by(self.request.user).select_related("user")

    @extend_schema(request=TokenNewSerializer, responses={201: TokenMadeSerializer})
    def create(self, request: Request) -> Response:
        """By somebody who signed in, never by another token. The answer alone says the secret, once."""
        asked = TokenNewSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        token, secret = tokens.make_token(**asked.validated_data, by=request.user)
        answer = TokenMadeSerializer({"token": token, "secret": secret}).data
        return Response(answer, status=201, headers={"Cache-Control": "no-store"})

    @extend_schema(request=None, responses={200: TokenSerializer})
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, pk: str) -> Response:
        """From now on it opens nothing. Withdrawn twice, it is withdrawn once."""
        tokens.withdraw_token(self.get_object(), by=request.user)
        return Response(TokenSerializer(self.get_object()).data)


class JobViewSet(viewsets.ReadOnlyModelViewSet[Job]):
    """Work in the background, the latest first."""

    queryset = Job.objects.select_related("asked_by", "stopped_by").order_by("-pk")
    serializer_class = JobSerializer
    lookup_value_regex = "[0-9]{1,18}"
    filterset_fields = ["state", "task"]

    @extend_schema(request=None, responses={200: JobSerializer})
    @action(detail=True, methods=["post"])
    def stop(self, request: Request, pk: str) -> Response:
        """Ask it to end with what it has; what nobody has begun is not begun any more."""
        jobs.stop(self.get_object(), by=request.user)
        return Response(JobSerializer(self.get_object()).data)

    @extend_schema(request=None, responses={200: JobSerializer})
    @action(detail=True, methods=["post"], url_path="try-again")
    def try_again(self, request: Request, pk: str) -> Response:
        """What was given up is begun anew, with all its tries; its like that waits already does for both."""
        return Response(JobSerializer(jobs.try_again(self.get_object(), by=request.user)).data)


class DescriptionView(SpectacularRedocView):
    """The description to read and look things up in, drawn by a reader that is shipped along."""

    url_name = "api_schema"
    template_name = "mill/api_description.html"


# The reader writes its styles into the page, and looks things up in a worker of its own making. No other page may.
api_description = csp_update({"style-src": [SELF, UNSAFE_INLINE], "worker-src": [SELF, "blob:"]})(
    DescriptionView.as_view()
)

router = SimpleRouter()
router.register("jobs", JobViewSet)
router.register("tokens", TokenViewSet, basename="token")
urlpatterns = [
    *router.urls,
    path("changes/", ChangesView.as_view(), name="api_changes"),
    path("backups/", BackupsView.as_view(), name="api_backups"),
]
