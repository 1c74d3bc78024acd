from rest_framework import serializers

from planning.models import JobTicket


class TicketSerializer(serializers.ModelSerializer[JobTicket]):
    warp = serializers.IntegerField(source="warp.number")
    loom = serializers.CharField(source="loom.code", allow_null=True, default=None)
    withdrawn_by = serializers.CharField(source="withdrawn_by.username", default=None, allow_null=True, read_only=True)
    revisions = serializers.StringRelatedField[JobTicket](source="specs", many=True, read_only=True)

    class Meta:
        model = JobTicket
        fields = [
            "number",
            "warp",
            "loom",
            "revisions",
            "day",
            "issued_at",
            "overtaken_at",
            "overtaken_why",
            "withdrawn_at",
            "withdrawn_why",
            "withdrawn_by",
        ]
        read_only_fields = fields


class FrozenTicketSerializer(TicketSerializer):
    """With everything that was printed: the figures, and what stood beside them."""

    figures = serializers.DictField(read_only=True)
    extras = serializers.DictField(read_only=True)

    class Meta(TicketSerializer.Meta):
        fields = [*TicketSerializer.Meta.fields, "figures", "extras"]
        read_only_fields = fields


class DaySerializer(serializers.Serializer[dict[str, object]]):
    day = serializers.DateField(help_text="Warps whose work begins on it by the plan in force.")


class IssuedSerializer(serializers.Serializer[dict[str, object]]):
    tickets = TicketSerializer(many=True)
    refused = serializers.ListField(
        child=serializers.CharField(), help_text="A sentence for each warp that can't have one yet."
    )


class WithdrawSerializer(serializers.Serializer[dict[str, object]]):
    why = serializers.CharField(max_length=200, help_text="Somebody may still hold it.")


class IssueSerializer(serializers.Serializer[dict[str, int]]):
    warp = serializers.IntegerField(min_value=1, max_value=2_000_000_000)
