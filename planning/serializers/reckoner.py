from collections.abc import Mapping
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from mill.units import plain
from mill.working import Step
from planning.forms.reckoner import typed_text, unit_of
from planning.reckoner import Answer, Figure, Input, Sum

_NUMBER_OR_TEXT: list[dict[str, Any]] = [{"type": "string"}, {"type": "number"}]
_MEASURE: list[dict[str, Any]] = [
    *_NUMBER_OR_TEXT,
    {
        "type": "object",
        "properties": {"value": {"oneOf": _NUMBER_OR_TEXT}, "unit": {"type": "string"}},
        "required": ["value"],
        "additionalProperties": False,
    },
]


@extend_schema_field({"oneOf": [*_MEASURE, {"type": "array", "items": {"oneOf": _MEASURE}}, {"type": "null"}]})
class SentField(serializers.Field[str, Any, Any, Any]):
    """An input as it may be sent; hands on what a person would have typed for it."""

    default_error_messages = {
        "unreadable": 'Write a text, a number, {{"value": …, "unit": …}}, or a list of these where several are asked.'
    }

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(allow_null=True, **kwargs)

    def run_validation(self, data: Any = None) -> str:
        text = typed_text(data)
        if text is None:
            self.fail("unreadable")
        return text


class ReckonSerializer(serializers.Serializer[dict[str, Any]]):
    """What to reckon with. An input that is not sent stands at its default: the mill's own value, where it has one."""

    inputs = serializers.DictField(
        child=SentField(),
        required=False,
        default=dict,
        help_text='By name: "7 %", "60 yd", "2/48 nw", 7.5, or {"value": "60", "unit": "yd"}; a bare number is in the'
        " input's own unit.",
    )


class MeasuredSerializer(serializers.Serializer[dict[str, str]]):
    value = serializers.CharField(allow_blank=True)
    unit = serializers.CharField(allow_blank=True)


class FigureSerializer(serializers.Serializer[Any]):
    name = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]
    value = serializers.SerializerMethodField(method_name="value_text")
    unit = serializers.CharField(allow_blank=True)

    def value_text(self, figure: Figure | Step) -> str:
        return figure.value if isinstance(figure.value, str) else plain(figure.value)


class StepSerializer(FigureSerializer):
    """One line of the working: the rule in the trade's words, the same with these numbers, and where it comes from."""

    formula = serializers.CharField()
    sum = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]


class AnswerSerializer(serializers.Serializer[dict[str, Any]]):
    name = serializers.CharField()
    title = serializers.CharField()
    inputs = serializers.DictField(child=MeasuredSerializer(), help_text="As they were understood.")
    figures = FigureSerializer(many=True)
    working = StepSerializer(many=True)
    remarks = serializers.ListField(child=serializers.CharField())


class WrongSerializer(serializers.Serializer[dict[str, Any]]):
    """Why there is no answer, in sentences: by input, or of the whole."""

    inputs = serializers.DictField(child=serializers.ListField(child=serializers.CharField()), required=False)
    refusal = serializers.CharField(required=False)
    detail = serializers.CharField(required=False, help_text="When the request itself can't be read.")


class UnknownSerializer(serializers.Serializer[dict[str, str]]):
    detail = serializers.CharField()


class ChoiceSerializer(serializers.Serializer[dict[str, str]]):
    key = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]


class InputSerializer(serializers.Serializer[Input]):
    name = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]
    kind = serializers.ChoiceField(
        choices=["number", "whole", "choice", "text", "count", "counts", "numbers", "reed", "faults"]
    )
    unit = serializers.SerializerMethodField(method_name="unit_text")
    default = serializers.SerializerMethodField(method_name="default_text")
    help = serializers.CharField(allow_blank=True)
    is_required = serializers.BooleanField(source="required")
    choices = serializers.SerializerMethodField(method_name="choices_data")

    def unit_text(self, given: Input) -> str:
        return unit_of(given)

    @extend_schema_field(ChoiceSerializer(many=True))
    def choices_data(self, given: Input) -> list[dict[str, str]]:
        return [{"key": key, "label": label} for key, label in given.choices]

    def default_text(self, given: Input) -> str:
        defaults: Mapping[str, str] = self.context["defaults"]
        return defaults[given.name]


class SumSerializer(serializers.Serializer[Sum]):
    name = serializers.CharField()
    title = serializers.CharField()
    group = serializers.CharField()
    about = serializers.CharField()
    inputs = InputSerializer(many=True)


def answer_data(asked: Sum, answer: Answer, inputs: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "name": asked.name,
        "title": asked.title,
        "inputs": inputs,
        "figures": FigureSerializer(answer.figures, many=True).data,
        "working": StepSerializer(answer.steps, many=True).data,
        "remarks": list(answer.remarks),
    }
