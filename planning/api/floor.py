from datetime import timedelta
from typing import Any

from django.urls import path
from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import viewsets
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter
from rest_framework.views import APIView

from mill.limits import FLOOR_CODE, Guesses, TooMuch, guesses_of
from mill.refusal import Refusal
from planning.forms.floor import FloorForm
from planning.models import FloorEvent, JobTicket
from planning.serializers.floor import (
    FloorEventSerializer,
    RunOutSerializer,
    TapsSerializer,
    ToldSerializer,
    WovenSerializer,
)
from planning.services import actuals, floor
from planning.views.floor import told


class TapsView(APIView):
    """What phones have kept while they had no connection: any number of times, each counts once by its key."""

    @extend_schema(request=TapsSerializer, responses={200: ToldSerializer(many=True)})
    def post(self, request: Request) -> Response:
        asked = TapsSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        tickets = {
            ticket.token: ticket
            for ticket in JobTicket.objects.filter(
                token__in={tap["token"] for tap in asked.validated_data["events"]}
            ).select_related("warp", "loom")
        }
        guesses = guesses_of(FLOOR_CODE, request)
        # A phone that is not listened to keeps what it has and sends it again later.
        guesses.listen()
        # One after the other, in the order in which they were told; each a transaction of its own.
        return Response([_told(tap, tickets, request.user, guesses) for tap in asked.validated_data["events"]])


def _told(tap: dict[str, Any], tickets: dict[str, JobTicket], by: Any, guesses: Guesses) -> dict[str, Any]:
    key = tap["key"]
    ticket = tickets.get(tap["token"])
    if ticket is None:
        return _not_kept(key, _("This paper is not in the book. Scan its code again."))
    form = FloorForm({name: value for name, value in tap.items() if name not in ("token", "age_s")})
    if not form.is_valid():
        return _not_kept(key, " ".join(str(error) for errors in form.errors.values() for error in errors))
    try:
        age = timedelta(seconds=min(tap["age_s"], int(floor.WAIT_MOST.total_seconds())))
        event = told(form, warp=ticket.warp, ticket=ticket, by=by, guesses=guesses, age=age)
    except Refusal as refusal:
        return _not_kept(key, refusal.message)
    except TooMuch as too_much:
        return _not_kept(key, str(too_much.detail))
    return {"key": key, "is_kept": True, "said": floor.said_of(event), "refused": event.why_refused}


def _not_kept(key: str, why: str) -> dict[str, Any]:
    return {"key": key, "is_kept": False, "said": "", "refused": why}


class FloorEventViewSet(viewsets.ReadOnlyModelViewSet[FloorEvent]):
    """Everything that the floor told, as it was told."""

    queryset = FloorEvent.objects.select_related("warp", "loom", "worker", "undoes")
    serializer_class = FloorEventSerializer
    lookup_field = "key"
    filterset_fields = {"kind": ["exact"], "warp__number": ["exact"], "happened_at": ["gte", "lte"]}


DAYS = OpenApiParameter("days", int, description="So many days back, 1 to 366; 28 when nothing is said.")


class WovenView(APIView):
    """What was woven of late and how looms ran, by loom, cloth, weaver and shift."""

    @extend_schema(parameters=[DAYS], responses={200: WovenSerializer(many=True)})
    def get(self, request: Request) -> Response:
        asked = request.query_params.get("days", "28")
        if not asked.isdecimal() or not 1 <= int(asked) <= 366:
            raise Refusal(f"{asked!r} days can't be looked back. Write 1 to 366.", field="days")
        rows = [
            {
                "by": by,
                "name": group.name,
                "pieces": group.pieces,
                "picks": group.tally.picks,
                "length_m": group.tally.length_m,
                "meant_min": group.tally.meant_min,
                "ran_min": group.tally.ran_min,
                "waited_min": group.tally.waited_min,
                "efficiency_pct": group.tally.efficiency_pct,
                "stood": [{"reason": reason, "minutes": minutes} for reason, minutes in group.stood],
            }
            for by, groups in actuals.groups_of(days=int(asked)).items()
            for group in groups
        ]
        return Response(WovenSerializer(rows, many=True).data)


class RunOutsView(APIView):
    """Every warp that weaves, soonest out first."""

    @extend_schema(responses={200: RunOutSerializer(many=True)})
    def get(self, request: Request) -> Response:
        return Response(RunOutSerializer(actuals.run_outs(), many=True).data)


router = SimpleRouter()
router.register("floor/events", FloorEventViewSet)
urlpatterns = [
    path("floor/taps/", TapsView.as_view(), name="api_taps"),
    path("floor/woven/", WovenView.as_view(), name="api_woven"),
    path("floor/run-outs/", RunOutsView.as_view(), name="api_run_outs"),
    *router.urls,
]
