from typing import Any

from django.db.models import Prefetch, QuerySet
from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, viewsets
from rest_framework.decorators import action, api_view
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from inventory.serializers import ForeseenSerializer
from mill.edits import Versioned
from planning.models import Customer, Order, OrderLine
from planning.serializers.effects import EffectsOrNoneSerializer
from planning.serializers.orders import (
    CustomerSerializer,
    LineChangeSerializer,
    LineFiguresSerializer,
    NewLineSerializer,
    NewOrderSerializer,
    OrderHeadSerializer,
    OrderLineSerializer,
    OrderSerializer,
    ReasonSerializer,
)
from planning.services import line_figures, line_foresight, orders
from planning.services.orders import LineDraft
from planning.views.orders import CustomerFilter, LineFilter, with_plan


def _draft(request: Request, line: OrderLine | None = None) -> LineDraft:
    """A line as it was sent; of a change, what is not named stays."""
    context = {"cloth": line.cloth.code, "colourway": line.colourway.name} if line else {}
    asked = NewLineSerializer(data=request.data, partial=line is not None, context=context)
    asked.is_valid(raise_exception=True)
    before = vars(orders.draft_of(line)) if line else {}
    return LineDraft(**{**before, **asked.validated_data})


class CustomerViewSet(Versioned, viewsets.ReadOnlyModelViewSet[Customer]):
    """Customers. POST writes a new one down, PATCH changes one."""

    queryset = Customer.objects.order_by("name", "pk")
    serializer_class = CustomerSerializer
    lookup_field = "code"
    lookup_value_regex = "[^/]+"
    filterset_class = CustomerFilter

    @extend_schema(responses={201: CustomerSerializer})
    def create(self, request: Request) -> Response:
        asked = CustomerSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        written = orders.write_customer(Customer(**asked.validated_data), by=request.user)
        return Response(CustomerSerializer(written).data, status=201)

    @extend_schema(responses={200: CustomerSerializer})
    def partial_update(self, request: Request, code: str) -> Response:
        found = self.get_object()
        asked = CustomerSerializer(found, data=request.data, partial=True)
        asked.is_valid(raise_exception=True)
        for name, value in asked.validated_data.items():
            setattr(found, name, value)
        written = orders.write_customer(found, by=request.user, seen=self.seen(found), changed=asked.validated_data)
        return Response(CustomerSerializer(written).data)


class OrderViewSet(Versioned, viewsets.ReadOnlyModelViewSet[Order]):
    """Orders with their lines. POST places one: all of it, or nothing; the same one told twice is one.

    PATCH changes what it says beside its lines.
    """

    queryset = Order.objects.order_by("-placed_on", "-pk")
    serializer_class = OrderSerializer
    lookup_field = "number"
    lookup_value_regex = "[^/]+"
    filterset_fields = {"customer__code": ["exact"], "placed_on": ["gte", "lte"], "reference": ["exact"]}

    def get_queryset(self) -> QuerySet[Order]:
        lines = Prefetch("lines", OrderLineSerializer.rows().order_by("position"))
        return super().get_queryset().select_related("customer").prefetch_related(lines)

    @extend_schema(request=NewOrderSerializer, responses={201: OrderSerializer})
    def create(self, request: Request) -> Response:
        asked = NewOrderSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        said = dict(asked.validated_data)
        lines = [LineDraft(**line) for line in said.pop("lines")]
        placed = orders.place_order(lines=lines, by=request.user, **said)
        return Response(OrderSerializer(self.get_queryset().get(pk=placed.pk)).data, status=201)

    @extend_schema(request=OrderHeadSerializer(partial=True), responses={200: OrderSerializer})
    def partial_update(self, request: Request, number: str) -> Response:
        """What is not sent stays. Its lines are changed one by one."""
        found = self.get_object()
        asked = OrderHeadSerializer(data=request.data, partial=True)
        asked.is_valid(raise_exception=True)
        head = {name: getattr(found, name) for name in ("customer", "reference", "placed_on", "note")}
        orders.change_order(found, by=request.user, seen=self.seen(found), **{**head, **asked.validated_data})
        return Response(OrderSerializer(self.get_queryset().get(pk=found.pk)).data)

    @extend_schema(request=NewLineSerializer, responses={201: OrderLineSerializer})
    @action(detail=True, methods=["post"])
    def lines(self, request: Request, number: str) -> Response:
        """One more line."""
        line = orders.add_line(self.get_object(), _draft(request), by=request.user)
        return Response(OrderLineSerializer(OrderLineSerializer.rows().get(pk=line.pk)).data, status=201)


class OrderLineViewSet(Versioned, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[OrderLine]):
    """Order lines; without a state asked for, those that are open. PATCH changes one, and says what that reached."""

    queryset = OrderLine.objects.order_by("due_on", "pk")
    serializer_class = OrderLineSerializer
    lookup_value_regex = "[0-9]{1,18}"

    @property
    def filterset_class(self) -> type[LineFilter] | None:
        return LineFilter if self.action == "list" else None

    def get_queryset(self) -> QuerySet[OrderLine]:
        return with_plan(OrderLine.objects.order_by("due_on", "pk"))

    @extend_schema(request=NewLineSerializer, responses={200: LineChangeSerializer})
    def partial_update(self, request: Request, pk: str) -> Response:
        line = self.get_object()
        change = orders.change_line(line, _draft(request, line), by=request.user, seen=self.seen(line))
        told = {
            "line": self.get_queryset().get(pk=line.pk),
            "differences": change.differences,
            "warps": [warp.number for warp in change.warps],
            "tickets_overtaken": change.tickets,
        }
        return Response(LineChangeSerializer(told).data)

    @extend_schema(request=NewLineSerializer, responses={200: ForeseenSerializer})
    @action(detail=True, methods=["post"])
    def foresee(self, request: Request, pk: str) -> Response:
        """What changing it so would do to yarn, and to what is held for its warps. Writes nothing."""
        line = self.get_object()
        return Response(ForeseenSerializer(line_foresight.foresee_line(line, _draft(request, line))).data)

    @extend_schema(request=NewLineSerializer, responses={200: EffectsOrNoneSerializer})
    @action(detail=True, methods=["post"])
    def effects(self, request: Request, pk: str) -> Response:
        """What changing it so would do to days, hours and tickets. Writes nothing."""
        line = self.get_object()
        found = line_foresight.effects_of_line(line, _draft(request, line))
        return Response(EffectsOrNoneSerializer({"effects": found}).data)

    @extend_schema(request=ReasonSerializer, responses={200: OrderLineSerializer})
    @action(detail=True, methods=["post"], url_path="call-off")
    def call_off(self, request: Request, pk: str) -> Response:
        """The customer doesn't want it any more. Refused once its yarn is drawn, with where it is."""
        asked = ReasonSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        line = orders.call_off_line(self.get_object(), by=request.user, reason=asked.validated_data["reason"])
        return Response(OrderLineSerializer(self.get_queryset().get(pk=line.pk)).data)

    @extend_schema(request=None, responses={200: OrderLineSerializer})
    @action(detail=True, methods=["post"], url_path="take-up")
    def take_up(self, request: Request, pk: str) -> Response:
        """A line that was called off is wanted after all."""
        line = orders.take_up_line(self.get_object(), by=request.user)
        return Response(OrderLineSerializer(self.get_queryset().get(pk=line.pk)).data)


@extend_schema(request=NewLineSerializer(many=True), responses={200: LineFiguresSerializer(many=True)})
@api_view(["POST"])
def order_line_figures(request: Request) -> Response:
    """What lines take that are not ordered yet, each alone on a warp, earlier ones served first. Writes nothing."""
    asked = NewLineSerializer(data=request.data, many=True)
    asked.is_valid(raise_exception=True)
    found = line_figures.what_lines_take([LineDraft(**said) for said in asked.validated_data])
    return Response(LineFiguresSerializer(found, many=True).data)


@extend_schema(request=NewLineSerializer(many=True), responses={200: ForeseenSerializer})
@api_view(["POST"])
def order_line_foresight(request: Request) -> Response:
    """What lines not ordered yet would do to yarn, each drawing by the last day that serves it. Writes nothing."""
    asked = NewLineSerializer(data=request.data, many=True)
    asked.is_valid(raise_exception=True)
    drafts = [LineDraft(**said) for said in asked.validated_data]
    takes = line_figures.what_lines_take(drafts)
    named = [(f"line {n}", draft, one) for n, (draft, one) in enumerate(zip(drafts, takes, strict=True), start=1)]
    return Response(ForeseenSerializer(line_foresight.foresee_lines(named)).data)


router = SimpleRouter()
router.register("customers", CustomerViewSet)
router.register("orders", OrderViewSet)
router.register("order-lines", OrderLineViewSet)
urlpatterns: list[Any] = [
    path("order-line-figures/", order_line_figures, name="order-line-figures"),
    path("order-line-foresight/", order_line_foresight, name="order-line-foresight"),
    *router.urls,
]
