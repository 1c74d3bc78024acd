"""Money over the API: prices, rates, what things cost, quotes. For owners and planners alone."""

from rest_framework.routers import SimpleRouter

from planning.api.records import BookViewSet
from planning.models import Rate, YarnPrice
from planning.serializers.money import RateSerializer, YarnPriceSerializer


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


router = SimpleRouter()
router.register("rates", RateViewSet)
router.register("yarn-prices", YarnPriceViewSet)
urlpatterns = router.urls
