"""Money over the API: prices, rates, what things cost, quotes. For owners and planners alone."""

from typing import Any

from django.shortcuts import get_object_or_404
from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter
from rest_framework.views import APIView

from planning.api.records import BookViewSet
from planning.models import OrderLine, Piece, Quote, Rate, Warp, YarnPrice
from planning.serializers.money import (
    AskedQuoteSerializer,
    CostSheetSerializer,
    FiguredQuoteSerializer,
    NewQuoteSerializer,
    PlaceQuoteSerializer,
    QuoteSerializer,
    RateSerializer,
    YarnPriceSerializer,
)
from planning.serializers.pieces import WhySerializer
from planning.services import costing, quotes
from planning.services.quotes import Asked, Said


class RateViewSet(BookViewSet):
    """What the mill reckons with when it costs, each from its day on. A rate that changes is a new one."""

    queryset = Rate.objects.order_by("kind", "of", "-from_on")
    serializer_class = RateSerializer
    filterset_fields = {"kind": ["exact"], "of": ["exact"], "from_on": ["gte", "lte"]}


class YarnPriceViewSet(BookViewSet):
    """What a kilogram of a yarn costs from a day on, and what was paid for a delivery or a lot."""

    queryset = YarnPrice.objects.select_related("yarn", "delivery", "lot").order_by("yarn__code", "-from_on", "pk")
    serializer_class = YarnPriceSerializer
    filterset_fields = {"yarn__code": ["exact"], "lot__label": ["exact"], "delivery__number": ["exact"]}


# A number beyond what the database holds is nobody's.
LARGEST = 2**31 - 1


class WarpCostView(APIView):
    """What a warp costs, planned beside actual."""

    @extend_schema(responses={200: CostSheetSerializer})
    def get(self, request: Request, number: int) -> Response:
        found = get_object_or_404(Warp, number=min(number, LARGEST))
        return Response(CostSheetSerializer(costing.cost_of_warp(found)).data)


class PieceCostView(APIView):
    """What a piece costs: its share of its warp, planned beside actual."""

    @extend_schema(responses={200: CostSheetSerializer})
    def get(self, request: Request, number: str) -> Response:
        found = get_object_or_404(Piece.objects.select_related("warp"), number=number)
        return Response(CostSheetSerializer(costing.cost_of_piece(found)).data)


class LineCostView(APIView):
    """What an order line costs: its pieces' shares of their warps, planned beside actual."""

    @extend_schema(responses={200: CostSheetSerializer})
    def get(self, request: Request, pk: int) -> Response:
        rows = OrderLine.objects.select_related("order", "colourway__cloth")
        found = get_object_or_404(rows, pk=min(pk, LARGEST))
        return Response(CostSheetSerializer(costing.cost_of_line(found)).data)


class QuoteFiguresView(APIView):
    """What so many pieces of a cloth would cost, be quoted at, and when they could be ready. Writes nothing."""

    @extend_schema(request=AskedQuoteSerializer, responses={200: FiguredQuoteSerializer})
    def post(self, request: Request) -> Response:
        asked = AskedQuoteSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        return Response(FiguredQuoteSerializer(quotes.figure(Asked(**asked.validated_data))).data)


SAID = frozenset(("customer", "valid_until", "note", "seen_price"))


class QuoteViewSet(mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Quote]):
    """Quotes that were kept, with the price and the day that were told. POST keeps one: once by its key."""

    queryset = Quote.objects.select_related("customer", "colourway", "spec__cloth", "order").order_by("-number")
    serializer_class = QuoteSerializer
    lookup_field = "number"
    lookup_value_regex = "[0-9]{1,9}"
    filterset_fields = {"customer__code": ["exact"], "made_on": ["gte", "lte"], "order__number": ["exact"]}

    def _told(self, quote: Quote, status: int = 200) -> Response:
        return Response(QuoteSerializer(self.get_queryset().get(pk=quote.pk)).data, status=status)

    @extend_schema(request=NewQuoteSerializer, responses={201: QuoteSerializer})
    def create(self, request: Request) -> Response:
        asked = NewQuoteSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        said = dict(asked.validated_data)
        key = said.pop("key")
        beside = Said(**{name: said.pop(name) for name in SAID & said.keys()})
        return self._told(quotes.keep_quote(Asked(**said), beside, by=request.user, key=key), status=201)

    @extend_schema(request=PlaceQuoteSerializer, responses={200: QuoteSerializer})
    @action(detail=True, methods=["post"])
    def place(self, request: Request, number: str) -> Response:
        """Make the order of it: told twice, it is one order."""
        quote = self.get_object()
        quotes.place(quote, by=request.user, **_said(PlaceQuoteSerializer(data=request.data)))
        return self._told(quote)

    @extend_schema(request=WhySerializer, responses={200: QuoteSerializer})
    @action(detail=True, methods=["post"])
    def drop(self, request: Request, number: str) -> Response:
        """The customer doesn't want it."""
        return self._told(quotes.drop(self.get_object(), by=request.user, **_said(WhySerializer(data=request.data))))


def _said(asked: Any) -> dict[str, Any]:
    asked.is_valid(raise_exception=True)
    return dict(asked.validated_data)


router = SimpleRouter()
router.register("rates", RateViewSet)
router.register("yarn-prices", YarnPriceViewSet)
router.register("quotes", QuoteViewSet)
urlpatterns = [
    path("costs/warps/<int:number>/", WarpCostView.as_view(), name="api_warp_cost"),
    path("costs/pieces/<str:number>/", PieceCostView.as_view(), name="api_piece_cost"),
    path("costs/order-lines/<int:pk>/", LineCostView.as_view(), name="api_line_cost"),
    path("quote-figures/", QuoteFiguresView.as_view(), name="api_quote_figures"),
    *router.urls,
]
