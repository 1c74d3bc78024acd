from typing import Any

from rest_framework import serializers

from planning.models import FeedLink, Loom


class FeedSerializer(serializers.ModelSerializer[FeedLink]):
    """A feed, without its address."""

    loom = serializers.CharField(source="loom.code", default=None, allow_null=True, read_only=True)
    whose = serializers.CharField(source="user.username", default=None, allow_null=True, read_only=True)

    class Meta:
        model = FeedLink
        fields = ["id", "what", "loom", "label", "whose", "made_at", "last_used_at", "withdrawn_at"]
        read_only_fields = fields


class FeedNewSerializer(serializers.Serializer[Any]):
    what = serializers.ChoiceField(choices=FeedLink.WHAT)
    loom = serializers.SlugRelatedField(
        slug_field="code",
        queryset=Loom.objects.all(),
        allow_null=True,
        default=None,
        help_text="When it is one loom's.",
    )
    label = serializers.CharField(max_length=60, help_text="Who or what will read it.")  # type: ignore[assignment]


class FeedMadeSerializer(serializers.Serializer[Any]):
    feed = FeedSerializer(read_only=True)
    address = serializers.CharField(read_only=True, help_text="It is said this once.")
