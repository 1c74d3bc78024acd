from collections.abc import Callable
from typing import Any

from django.db.models import QuerySet
from django.urls import path
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import mixins, viewsets
from rest_framework.decorators import action, api_view
from rest_framework.exceptions import PermissionDenied
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from inventory.models import Yarn
from mill import roles
from mill.gate import MayByRole
from mill.refusal import Refusal
from planning.forms.warps import AFRESH, WishesForm
from planning.models import Beam, Loom, Ruling, Warp
from planning.serializers.warps import (
    AcceptSerializer,
    BeamChoiceSerializer,
    GroupSerializer,
    HeldSerializer,
    HoldLotSerializer,
    HoldSerializer,
    JoinSerializer,
    LetGoSerializer,
    LockSerializer,
    MovePartSerializer,
    NoteSerializer,
    PinSerializer,
    PutOnSerializer,
    RulingSerializer,
    SplitSerializer,
    StepOfWarpSerializer,
    TakeOffSerializer,
    WarpSerializer,
    WorkedWarpSerializer,
)
from planning.services import combine, plans, rulings, warp_steps, warp_yarn, warps
from planning.services.combine import Wishes
from planning.ticket import from_json
from planning.views.warps import WarpFilter, for_list


def _asked(serializer: Any) -> dict[str, Any]:
    serializer.is_valid(raise_exception=True)
    return dict(serializer.validated_data)


class WarpViewSet(viewsets.ReadOnlyModelViewSet[Warp]):
    """Warps; without a state asked for, those that are open. One warp comes with its figures and their working."""

    queryset = Warp.objects.order_by("number")
    serializer_class = WarpSerializer
    lookup_field = "number"
    lookup_value_regex = "[0-9]{1,9}"

    @property
    def filterset_class(self) -> type[WarpFilter] | None:
        return WarpFilter if self.action == "list" else None

    def get_queryset(self) -> QuerySet[Warp]:
        return for_list(Warp.objects.order_by("number"))

    def _warp(self) -> Warp:
        return get_object_or_404(Warp, number=self.kwargs["number"])

    def _told(self, warp: Warp, status: int = 200) -> Response:
        row: Any = self.get_queryset().get(pk=warp.pk)
        worked = getattr(row, "worked", None)
        row.figures = from_json(worked.figures) if worked and worked.figures else None
        row.yarn_states = warp_yarn.states(row) if row.figures else []
        row.seen = warps.parts_seen(row)
        return Response(WorkedWarpSerializer(row).data, status=status)

    @extend_schema(responses=WorkedWarpSerializer)
    def retrieve(self, request: Request, number: str) -> Response:
        return self._told(self._warp())

    @extend_schema(request=SplitSerializer, responses={200: WarpSerializer(many=True)})
    @action(detail=True, methods=["post"], pagination_class=None)
    def split(self, request: Request, number: str) -> Response:
        """Two warps of one: so many pieces stay, the others go on a new warp."""
        both = warps.split(self._warp(), by=request.user, **_asked(SplitSerializer(data=request.data)))
        rows = self.get_queryset().filter(pk__in=[warp.pk for warp in both])
        return Response(WarpSerializer(rows, many=True).data)

    @extend_schema(request=JoinSerializer, responses={200: WorkedWarpSerializer})
    @action(detail=True, methods=["post"])
    def join(self, request: Request, number: str) -> Response:
        """The other warp's pieces come to this one; all are woven in the order of their due dates."""
        said = _asked(JoinSerializer(data=request.data))
        other = get_object_or_404(Warp, number=said["other"])
        return self._told(warps.join(self._warp(), other, by=request.user, seen=said["seen"]))

    @extend_schema(request=MovePartSerializer, responses={200: WorkedWarpSerializer})
    @action(detail=True, methods=["post"])
    def move(self, request: Request, number: str) -> Response:
        """A part one place earlier or later in the weaving; at either end it stays where it is."""
        said = _asked(MovePartSerializer(data=request.data))
        earlier = said["where"] == "earlier"
        moved = warps.move_part(self._warp(), said["part"], earlier=earlier, by=request.user, seen=said["seen"])
        return self._told(moved)

    @extend_schema(request=TakeOffSerializer, responses={200: WorkedWarpSerializer, 204: None})
    @action(detail=True, methods=["post"], url_path="take-off")
    def take_off(self, request: Request, number: str) -> Response:
        """A part is taken off; its line waits for a warp again. 204 when nothing was left and the warp is apart."""
        said = _asked(TakeOffSerializer(data=request.data))
        left = warps.take_off(self._warp(), said["part"], by=request.user, seen=said["seen"])
        return self._told(left) if left else Response(status=204)

    @extend_schema(request=PutOnSerializer, responses={200: WorkedWarpSerializer})
    @action(detail=True, methods=["post"], url_path="put-on")
    def put_on(self, request: Request, number: str) -> Response:
        """More pieces on it, behind what is there."""
        said = _asked(PutOnSerializer(data=request.data))
        return self._told(warps.put_on(self._warp(), said.pop("line"), by=request.user, **said))

    @extend_schema(request=LockSerializer, responses={200: WorkedWarpSerializer})
    @action(detail=True, methods=["post"])
    def lock(self, request: Request, number: str) -> Response:
        """Combining, splitting and joining leave a locked warp as it is."""
        return self._told(warps.lock_warp(self._warp(), by=request.user, **_asked(LockSerializer(data=request.data))))

    @extend_schema(request=NoteSerializer, responses={200: WorkedWarpSerializer})
    @action(detail=True, methods=["post"])
    def note(self, request: Request, number: str) -> Response:
        """What its ticket is to say beside the figures."""
        return self._told(warps.write_note(self._warp(), by=request.user, **_asked(NoteSerializer(data=request.data))))

    @extend_schema(request=PinSerializer, responses={200: WorkedWarpSerializer})
    @action(detail=True, methods=["post"])
    def pin(self, request: Request, number: str) -> Response:
        """Keep it to a loom, and from a moment if one is said, in every later plan; or take the pin out."""
        warp = self._warp()
        plans.pin_warp(warp, by=request.user, **_asked(PinSerializer(data=request.data)))
        return self._told(warp)

    @extend_schema(request=None, responses={204: None})
    @action(detail=True, methods=["post"], url_path="take-apart")
    def take_apart(self, request: Request, number: str) -> Response:
        """Its lines wait for a warp again, its yarn is let go."""
        warps.take_apart(self._warp(), by=request.user)
        return Response(status=204)

    @extend_schema(request=BeamChoiceSerializer, responses={200: WorkedWarpSerializer})
    @action(detail=True, methods=["post"])
    def beam(self, request: Request, number: str) -> Response:
        """Keep a beam for the warp. Refused with both numbers where it doesn't take it."""
        code = _asked(BeamChoiceSerializer(data=request.data))["beam"]
        beam = get_object_or_404(Beam, code=code) if code else None
        return self._told(warps.choose_beam(self._warp(), beam, by=request.user))

    @extend_schema(request=HoldSerializer, responses={200: HeldSerializer})
    @action(detail=True, methods=["post"], url_path="hold-yarn")
    def hold_yarn(self, request: Request, number: str) -> Response:
        """Hold lots for all that the warp still needs, one dye lot a colour in the warp. Told twice, it holds once."""
        chosen = _asked(HoldSerializer(data=request.data))["chosen"]
        by_code = dict(Yarn.objects.filter(code__in=[one["yarn"] for one in chosen]).values_list("code", "pk"))
        missing = [one["yarn"] for one in chosen if one["yarn"] not in by_code]
        if missing:
            raise Refusal(f"There is no yarn {missing[0]}. Write the code of one of the warp's yarns.", field="chosen")
        warp = self._warp()
        wanted = {(one["use"], by_code[one["yarn"]]): one["dye_lot"] for one in chosen}
        short = warp_yarn.hold_yarn(warp, by=request.user, chosen=wanted)
        return Response(HeldSerializer({"short": short, "yarns": warp_yarn.states(warp)}).data)

    @extend_schema(request=HoldLotSerializer, responses={200: HeldSerializer})
    @action(detail=True, methods=["post"], url_path="hold-lot")
    def hold_lot(self, request: Request, number: str) -> Response:
        """Hold so much of one lot that you name; a second dye lot of a colour in warp or piece is refused."""
        warp = self._warp()
        warp_yarn.hold_lot(warp, by=request.user, **_asked(HoldLotSerializer(data=request.data)))
        return Response(HeldSerializer({"short": [], "yarns": warp_yarn.states(warp)}).data)

    @extend_schema(request=LetGoSerializer, responses={200: HeldSerializer})
    @action(detail=True, methods=["post"], url_path="let-go")
    def let_go(self, request: Request, number: str) -> Response:
        """Let go of what is held and not drawn, in one use or in both."""
        warp = self._warp()
        warp_yarn.release_holds(warp, by=request.user, use=_asked(LetGoSerializer(data=request.data))["use"])
        return Response(HeldSerializer({"short": [], "yarns": warp_yarn.states(warp)}).data)

    @extend_schema(request=StepOfWarpSerializer, responses={200: WorkedWarpSerializer})
    @action(detail=True, methods=["post"])
    def step(self, request: Request, number: str) -> Response:
        """Take the warp a step on, or back. Each step only from the state before it, and counted once."""
        said = _asked(StepOfWarpSerializer(data=request.data))
        page, take = _STEPS[said["step"]]
        if not roles.may(roles.roles_of(request.user), page, "POST"):
            raise PermissionDenied(MayByRole.message)
        warp = self._warp()
        take(warp, said, request.user)
        return self._told(warp)


def _gait(warp: Warp, said: dict[str, Any], by: Any) -> Warp:
    return warp_steps.gait(warp, loom=get_object_or_404(Loom, code=said["loom"]), by=by)


def _back(warp: Warp, said: dict[str, Any], by: Any) -> Warp:
    return warp_steps.step_back(warp, reason=said["reason"], by=by, seen_state=said.get("seen_state"))


# Each with the page's button that does the same: whoever may press that may take the step.
_STEPS: dict[str, tuple[str, Callable[[Warp, dict[str, Any], Any], object]]] = {
    "draw yarn": ("warp_draw", lambda warp, said, by: warp_steps.draw_yarn(warp, by=by)),
    "draw weft": ("warp_draw_weft", lambda warp, said, by: warp_steps.draw_weft(warp, by=by)),
    "wind": ("warp_wind", lambda warp, said, by: warp_steps.wind(warp, by=by)),
    "gait": ("warp_gait", _gait),
    "begin weaving": ("warp_begin", lambda warp, said, by: warp_steps.begin_weaving(warp, by=by)),
    "weave out": ("warp_out", lambda warp, said, by: warp_steps.weave_out(warp, by=by)),
    "back": ("warp_back", _back),
}

_WISHES = [
    OpenApiParameter("due_spread_days", OpenApiTypes.INT, description="Due dates apart at most."),
    OpenApiParameter("min_warp_m", OpenApiTypes.STR, description="Shortest warp worth winding: 20, 25 yd."),
    OpenApiParameter("max_warp_m", OpenApiTypes.STR, description="Longest warp, below what the beam holds."),
    OpenApiParameter("min_per_kg", OpenApiTypes.INT, description="Minutes that a kilogram of lost yarn is worth."),
    OpenApiParameter("min_per_late_day", OpenApiTypes.INT, description="Minutes that a piece a day late is worth."),
    OpenApiParameter("lines", OpenApiTypes.STR, enum=["waiting", "afresh"], description="Also those on planned warps."),
    OpenApiParameter("dye_lots", OpenApiTypes.STR, enum=["keep", "any"], description="Keep to dye lots on hand."),
]


@extend_schema(methods=["GET"], parameters=_WISHES, responses={200: GroupSerializer(many=True)})
@extend_schema(methods=["POST"], request=AcceptSerializer, responses={201: WarpSerializer(many=True)})
@api_view(["GET", "POST"])
def warp_proposals(request: Request) -> Response:
    """Warps proposed for the lines that wait, by warp specification; POST makes warps: all that are sent, or none."""
    if request.method == "POST":
        said = _asked(AcceptSerializer(data=request.data))
        wanted = [[(part["line"], part["pieces"]) for part in warp] for warp in said["warps"]]
        made = combine.accept(wanted, by=request.user, includes_planned=said["includes_planned"])
        rows = for_list(Warp.objects.filter(pk__in=[warp.pk for warp in made]).order_by("number"))
        return Response(WarpSerializer(rows, many=True).data, status=201)
    form = WishesForm(request.query_params)
    if not form.is_valid():
        name, errors = next(iter(form.errors.items()))
        raise Refusal(str(errors[0]), field=name)
    return Response(GroupSerializer(combine.propose(Wishes(**form.said())), many=True).data)


class RulingViewSet(
    mixins.ListModelMixin, mixins.CreateModelMixin, mixins.DestroyModelMixin, viewsets.GenericViewSet[Ruling]
):
    """A planner's word on proposed warps. POST locks one or refuses it; DELETE takes that back."""

    queryset = Ruling.objects.select_related("by").prefetch_related("parts")
    serializer_class = RulingSerializer

    @extend_schema(responses={201: RulingSerializer})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Told twice, it is one ruling. `lines` in the address is as for the proposals."""
        said = _asked(RulingSerializer(data=request.data))
        parts = [(part["line"].pk, part["pieces"]) for part in said["parts"]]
        if said["kind"] == Ruling.TOGETHER:
            afresh = request.query_params.get("lines") == AFRESH
            ruling = rulings.lock(parts, by=request.user, includes_planned=afresh)
        else:
            ruling = rulings.refuse(parts, by=request.user)
        return Response(RulingSerializer(ruling).data, status=201)

    def perform_destroy(self, instance: Ruling) -> None:
        rulings.take_back(instance.pk, by=self.request.user)


router = SimpleRouter()
router.register("warps", WarpViewSet)
router.register("warp-rulings", RulingViewSet)
urlpatterns: list[Any] = [path("warp-proposals/", warp_proposals, name="warp-proposals"), *router.urls]
