from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import viewsets
from rest_framework.decorators import action
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from planning.models import JobTicket, Warp
from planning.serializers.tickets import (
    DaySerializer,
    FrozenTicketSerializer,
    IssuedSerializer,
    IssueSerializer,
    TicketSerializer,
    WithdrawSerializer,
)
from planning.services import tickets


class TicketViewSet(viewsets.ReadOnlyModelViewSet[JobTicket]):
    """Tickets as they were printed. POST issues one for a warp, or gives the one that still holds."""

    queryset = JobTicket.objects.select_related("warp", "loom", "withdrawn_by").prefetch_related("specs__cloth")
    lookup_field = "number"
    lookup_value_regex = "[0-9]{1,9}"
    filterset_fields = {"day": ["exact", "gte", "lte"], "warp__number": ["exact"], "overtaken_at": ["isnull"]}

    def get_serializer_class(self) -> type[TicketSerializer]:
        return TicketSerializer if self.action == "list" else FrozenTicketSerializer

    @extend_schema(request=IssueSerializer, responses={201: FrozenTicketSerializer})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        asked = IssueSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        warp = get_object_or_404(Warp, number=asked.validated_data["warp"])
        ticket = tickets.issue_ticket(warp, by=request.user)
        return Response(FrozenTicketSerializer(ticket).data, status=201)

    @extend_schema(request=DaySerializer, responses={201: IssuedSerializer})
    @action(detail=False, methods=["post"], url_path="of-day", filterset_fields=None, pagination_class=None)
    def of_day(self, request: Request) -> Response:
        """Issue a ticket for every warp whose work begins on a day; those that still hold are given again."""
        asked = DaySerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        issued, refused = tickets.issue_tickets_of(asked.validated_data["day"], by=request.user)
        return Response(IssuedSerializer({"tickets": issued, "refused": refused}).data, status=201)

    @extend_schema(request=WithdrawSerializer, responses={200: FrozenTicketSerializer})
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, number: str) -> Response:
        """Take it out of use; it stays in the book and says so when it is opened."""
        asked = WithdrawSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        tickets.withdraw_ticket(self.get_object(), why=asked.validated_data["why"], by=request.user)
        return Response(FrozenTicketSerializer(self.get_object()).data)


router = SimpleRouter()
router.register("tickets", TicketViewSet)
urlpatterns = router.urls
