from decimal import Decimal
from typing import Any

from django.core.exceptions import NON_FIELD_ERRORS
from django.urls import path
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework.decorators import api_view
from rest_framework.exceptions import NotFound, ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from mill.models import Mill
from planning.forms.reckoner import SumForm, default_text
from planning.reckoner import REGISTRY
from planning.serializers.reckoner import (
    AnswerSerializer,
    ReckonSerializer,
    SumSerializer,
    UnknownSerializer,
    answer_data,
)

_NAME = OpenApiParameter("name", str, OpenApiParameter.PATH, enum=list(REGISTRY), description="Which sum.")
_TAKE_UP = REGISTRY["take-up"]
_ASKED = [
    OpenApiExample(
        asked.name,
        summary=asked.title,
        value={"inputs": {given.name: given.default for given in asked.inputs if given.default}},
        request_only=True,
    )
    for asked in REGISTRY.values()
]
_ANSWERED = OpenApiExample(
    "take-up answered",
    summary=_TAKE_UP.title,
    value=answer_data(
        _TAKE_UP, _TAKE_UP.reckon({"take_up_pct": Decimal(7)}), {"take_up_pct": {"value": "7", "unit": "%"}}
    ),
    response_only=True,
    status_codes=["200"],
)
_WRONG = OpenApiExample(
    "wrong unit",
    value={"inputs": {"warp_crimp_pct": ['"7 m" is a length, and a percentage is wanted here. …']}},
    response_only=True,
    status_codes=["400"],
)


@extend_schema(responses=SumSerializer(many=True), operation_id="reckoner_sums")
@api_view(["GET"])
def sums(request: Request) -> Response:
    """The sums of the reckoner, in the order of the trade, with what each asks for."""
    mill = Mill.the_one()
    listed = []
    for asked in REGISTRY.values():
        defaults = {given.name: default_text(given, mill) for given in asked.inputs}
        listed.append(SumSerializer(asked, context={"defaults": defaults}).data)
    return Response(listed)


@extend_schema(
    parameters=[_NAME],
    request=ReckonSerializer,
    responses={200: AnswerSerializer, 404: UnknownSerializer},
    examples=[*_ASKED, _ANSWERED, _WRONG],
    operation_id="reckoner_reckon",
)
@api_view(["POST"])
def reckon(request: Request, name: str) -> Response:
    """One sum, answered with its working.

    Values come with units as a person would type them, as numbers in the input's own unit, or as value and unit;
    all numbers go out as text. Nothing is written down.
    """
    if name not in REGISTRY:
        raise NotFound(f'There is no sum called "{name[:40]}". There are {", ".join(REGISTRY)}.')
    asked = REGISTRY[name]
    sent = ReckonSerializer(data=request.data)
    if not sent.is_valid():
        wrong = sent.errors.get("inputs")
        if isinstance(wrong, dict):
            raise ValidationError({"inputs": wrong})
        raise ValidationError('Write {"inputs": {…}}, each input by its name.')
    typed = sent.validated_data["inputs"]
    names = [given.name for given in asked.inputs]
    unknown = [given for given in typed if given not in names]
    if unknown:
        says = f"{asked.title} asks for no such input. It asks for {', '.join(names)}."
        raise ValidationError({"inputs": {given: [says] for given in unknown}})
    form = SumForm(asked, typed, mill=Mill.the_one())
    answer = form.reckon()
    if answer is None:
        raise ValidationError(wrong_data(form))
    return Response(answer_data(asked, answer, form.normalised()))


def wrong_data(form: SumForm) -> dict[str, Any]:
    """What is wrong, by input; and of the whole, when it is no one input's fault."""
    inputs = {field: list(sentences) for field, sentences in form.errors.items() if field != NON_FIELD_ERRORS}
    refusal = " ".join(str(sentence) for sentence in form.non_field_errors())
    return {**({"inputs": inputs} if inputs else {}), **({"non_field_errors": [refusal]} if refusal else {})}


urlpatterns = [
    path("reckoner/", sums, name="api_reckoner"),
    path("reckoner/<slug:name>/", reckon, name="api_reckoner_sum"),
]
