from django.shortcuts import get_object_or_404
from django.urls import path
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.decorators import api_view
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.forms import LatenessForm
from inventory.models import Yarn
from mill.refusal import Refusal
from planning.serializers.dye_lots import DyeLotAheadSerializer
from planning.services import dye_lots

_ASKED = [
    OpenApiParameter("yarn", str, required=True, description="The yarn's code."),
    OpenApiParameter("late_by_days", int, description="What if every delivery came so many days later, 0 to 365."),
]


@extend_schema(parameters=_ASKED, responses={200: DyeLotAheadSerializer(many=True)})
@api_view(["GET"])
def dye_lots_of(request: Request) -> Response:
    """The draw-down of a yarn by dye lot, oldest first: out of which one each day's yarn comes. Writes nothing."""
    yarn = get_object_or_404(Yarn, code=request.query_params.get("yarn", ""))
    form = LatenessForm(request.query_params)
    if not form.is_valid():
        name, errors = next(iter(form.errors.items()))
        raise Refusal(str(errors[0]), field=name)
    found = dye_lots.of_yarn(yarn, late_by_days=form.asked_days)
    return Response(DyeLotAheadSerializer(found, many=True).data)


urlpatterns = [path("dye-lots/", dye_lots_of, name="api_dye_lots")]
