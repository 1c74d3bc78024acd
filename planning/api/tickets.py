from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import viewsets
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from planning.models import JobTicket, Warp
from planning.serializers.tickets import FrozenTicketSerializer, IssueSerializer, TicketSerializer
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


router = SimpleRouter()
router.register("tickets", TicketViewSet)
urlpatterns = router.urls
