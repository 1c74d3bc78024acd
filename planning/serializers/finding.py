from typing import Any

from django.urls import reverse
from rest_framework import serializers


class FoundThingSerializer(serializers.Serializer[Any]):
    title = serializers.CharField()
    said = serializers.CharField(help_text="What tells it from its like.")
    page = serializers.SerializerMethodField(help_text="The address of its page.")
    is_exact = serializers.BooleanField(help_text="Its number, name or code is just what was asked.")

    def get_page(self, hit: Any) -> str:
        return reverse(hit.page, args=hit.args)


class FoundKindSerializer(serializers.Serializer[Any]):
    kind = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]
    hits = FoundThingSerializer(many=True)
    has_more = serializers.BooleanField(help_text="There are more of them than are shown.")


class FoundThingsSerializer(serializers.Serializer[Any]):
    asked = serializers.CharField()
    groups = FoundKindSerializer(many=True)
