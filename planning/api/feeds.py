from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from planning.models import FeedLink
from planning.serializers.feeds import FeedMadeSerializer, FeedNewSerializer, FeedSerializer
from planning.services import feeds
from planning.views.feeds import feed_address


class FeedViewSet(viewsets.ReadOnlyModelViewSet[FeedLink]):
    """Feeds by secret address: one's own, and everybody's to the owner. Their addresses are not kept."""

    queryset = FeedLink.objects.none()
    serializer_class = FeedSerializer
    lookup_value_regex = "[0-9]{1,18}"

    def get_queryset(self) -> QuerySet[FeedLink]:
        return feeds.seen_by(self.request.user)

    @extend_schema(request=FeedNewSerializer, responses={201: FeedMadeSerializer})
    def create(self, request: Request) -> Response:
        """By somebody who signed in, never by a token. The answer alone says the address, once."""
        asked = FeedNewSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        link, secret = feeds.make_link(**asked.validated_data, by=request.user)
        address = feed_address(request._request, link, secret)
        answer = FeedMadeSerializer({"feed": link, "address": address}).data
        return Response(answer, status=201, headers={"Cache-Control": "no-store"})

    @extend_schema(request=None, responses={200: FeedSerializer})
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, pk: str) -> Response:
        """From now on its address answers nobody. Withdrawn twice, it is withdrawn once."""
        feeds.withdraw_link(self.get_object(), by=request.user)
        return Response(FeedSerializer(self.get_object()).data)


router = SimpleRouter()
router.register("feeds", FeedViewSet, basename="feedlink")
urlpatterns: list[Any] = router.urls
