from typing import Any

from django.urls import reverse
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from mill.paging import AT_MOST


class TodayEntrySerializer(serializers.Serializer[Any]):
    """One thing: what is the matter with it, the one next thing to do, and what follows."""

    what = serializers.CharField()
    address = serializers.CharField(help_text="Of its page.")
    matter = serializers.CharField()
    act = serializers.CharField(help_text="The one thing to do about it.")
    act_address = serializers.CharField(help_text="Of the page on which it is done.")
    effect = serializers.CharField(
        allow_blank=True, help_text="What follows from doing it, or from leaving it; empty where the act says it all."
    )


class TodayElsewhereSerializer(serializers.Serializer[Any]):
    title = serializers.CharField()
    n = serializers.IntegerField(help_text="So many things stand in it.")
    list_address = serializers.CharField()


class TodayChapterSerializer(TodayElsewhereSerializer):
    is_routine = serializers.BooleanField(help_text="The day's work, with nothing the matter.")
    all_well = serializers.CharField(help_text="What is said when nothing stands in it.")
    entries = serializers.SerializerMethodField(help_text=f"Those that press most first, {AT_MOST} at most.")

    @extend_schema_field(TodayEntrySerializer(many=True))
    def get_entries(self, chapter: Any) -> Any:
        return TodayEntrySerializer(chapter.entries[:AT_MOST], many=True).data


class BeginningSerializer(serializers.Serializer[Any]):
    name = serializers.CharField()
    why = serializers.CharField(help_text="What the book does with it.")
    address = serializers.SerializerMethodField(help_text="Where one is written by hand.")

    def get_address(self, step: Any) -> str:
        return reverse(step.write)


class DayBookSerializer(serializers.Serializer[Any]):
    on = serializers.DateTimeField()
    chapters = TodayChapterSerializer(
        source="own", many=True, help_text="Of the roles of whoever asks; empty ones too."
    )
    elsewhere = TodayElsewhereSerializer(many=True, help_text="What is others' and not empty, counted.")
    next = BeginningSerializer(allow_null=True, help_text="While a book is being begun: what is written down next.")
