from typing import Any

from rest_framework import serializers

from inventory.models import Delivery


class LineDaySerializer(serializers.Serializer[Any]):
    line = serializers.CharField()
    customer = serializers.CharField(source="line.order.customer.name")
    due_on = serializers.DateField(source="line.due_on")
    now = serializers.DateField(
        allow_null=True, help_text="When it is finished by the plan in force; null: in no plan."
    )
    then = serializers.DateField(allow_null=True)
    days = serializers.IntegerField(allow_null=True, help_text="Later; less than 0 is sooner.")
    becomes_late = serializers.BooleanField()


class WorkingHoursSerializer(serializers.Serializer[Any]):
    setup_min = serializers.IntegerField()
    weaving_min = serializers.IntegerField()


class ElsewhereSerializer(serializers.Serializer[Any]):
    warp = serializers.IntegerField(source="warp.number")
    now = serializers.CharField(allow_null=True, help_text="The loom's code; null: in no plan.")
    then = serializers.CharField(allow_null=True)


class EffectsSerializer(serializers.Serializer[Any]):
    """What a change does to days, hours and tickets, before it is confirmed; what it does to yarn is told beside it."""

    lines = LineDaySerializer(many=True, help_text="Those that are finished on another day, most days later first.")
    n_lines = serializers.IntegerField(help_text="Lines in the plan by then.")
    now = WorkingHoursSerializer(help_text="Working minutes from now on.")
    then = WorkingHoursSerializer()
    elsewhere = ElsewhereSerializer(many=True, help_text="Warps on another loom.")
    overtaken = serializers.SerializerMethodField(help_text="Tickets whose figures would hold no longer.")
    redated = serializers.SerializerMethodField(help_text="Tickets that hold, with other days than those printed.")

    def get_overtaken(self, effects: Any) -> list[int]:
        return [ticket.number for ticket in effects.overtaken]

    def get_redated(self, effects: Any) -> list[int]:
        return [ticket.number for ticket in effects.redated]


class EffectsOrNoneSerializer(serializers.Serializer[Any]):
    """Null while no plan is in force: then no line has a day that could move."""

    effects = EffectsSerializer(allow_null=True)


class StandsUntilSerializer(serializers.Serializer[Any]):
    until = serializers.DateTimeField()


class LateDaySerializer(serializers.Serializer[Any]):
    delivery = serializers.SlugRelatedField(slug_field="number", queryset=Delivery.objects.select_related("yarn"))
    expected_on = serializers.DateField()
