from collections.abc import Iterable, Mapping
from typing import Any

from django.urls import path
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.decorators import api_view
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.models import Yarn, YarnLot
from mill.refusal import Refusal
from planning.forms.lot_shares import LookForm
from planning.serializers.lot_shares import (
    HeldSharesSerializer,
    HoldSharesSerializer,
    WhatIfSerializer,
    YarnSharesSerializer,
)
from planning.services import lot_shares
from planning.services.lot_shares import Key, Share
from planning.views.lot_shares import looked_at

_LOOK = [
    OpenApiParameter("yarn", OpenApiTypes.STR, description="Part of a yarn's code or name."),
    OpenApiParameter("warp", OpenApiTypes.INT, description="Only yarns of which this warp still takes some."),
    OpenApiParameter("show", OpenApiTypes.STR, enum=["short"], description="Only yarns of which something is short."),
]


def _asked(serializer: Any) -> dict[str, Any]:
    serializer.is_valid(raise_exception=True)
    return dict(serializer.validated_data)


def _known(model: Any, name: str, said: Iterable[str]) -> dict[str, int]:
    """Primary keys by code or label. Refuses one that is not in the book."""
    wanted = set(said)
    found = dict(model.objects.filter(**{f"{name}__in": wanted}).values_list(name, "pk"))
    for one in sorted(wanted - set(found)):
        raise Refusal(f"There is no {model._meta.verbose_name} {one} in the book. Write one that is.")
    return found


def _key(one: Mapping[str, Any], yarns: Mapping[str, int]) -> Key:
    return one["warp"], one["use"], yarns[one["yarn"]]


@extend_schema(methods=["GET"], parameters=_LOOK, responses={200: YarnSharesSerializer(many=True)})
@extend_schema(methods=["POST"], request=HoldSharesSerializer, responses={200: HeldSharesSerializer})
@api_view(["GET", "POST"])
def shares(request: Request) -> Response:
    """Lots for all warps together, yarn by yarn. POST holds the lots that are sent, all or none; told twice, once."""
    if request.method == "GET":
        form = LookForm(request.query_params)
        if not form.is_valid():
            name, errors = next(iter(form.errors.items()))
            raise Refusal(str(errors[0]), field=name)
        found, _ = lot_shares.waiting()
        told = lot_shares.told([one for ones in looked_at(found, form.cleaned_data) for one in ones])
        return Response(YarnSharesSerializer(told, many=True).data)
    said = _asked(HoldSharesSerializer(data=request.data))["shares"]
    yarns = _known(Yarn, "code", (one["yarn"] for one in said))
    lots = _known(YarnLot, "label", (take["lot"] for one in said for take in one["takes"]))
    held = lot_shares.hold_shares(
        [
            Share(
                _key(one, yarns),
                tuple((lots[take["lot"]], take["grams"], tuple(take["pieces"])) for take in one["takes"]),
            )
            for one in said
        ],
        by=request.user,
    )
    return Response(HeldSharesSerializer(held).data)


@extend_schema(request=WhatIfSerializer, responses={200: YarnSharesSerializer(many=True)})
@api_view(["POST"])
def what_if(request: Request) -> Response:
    """What other dye lots would mean: their yarns decided with these choices, and what that changes. Writes nothing."""
    said = _asked(WhatIfSerializer(data=request.data))["chosen"]
    yarns = _known(Yarn, "code", (one["yarn"] for one in said))
    chosen = {_key(one, yarns): one["dye_lot"] for one in said}
    told = lot_shares.propose(yarns=set(yarns.values()), chosen=chosen)
    return Response(YarnSharesSerializer(told, many=True).data)


urlpatterns = [
    path("lot-shares/", shares, name="lot-shares"),
    path("lot-shares/what-if/", what_if, name="lot-shares-what-if"),
]
